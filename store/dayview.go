package store

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
)

// A BathPoint is one characteristic of one bath on one shop day: the mean, and the last value with its record.
type BathPoint struct {
	BathID         uuid.UUID
	Code           string
	Name           string
	Characteristic string
	Location       string // quality.StageKey of the stage
	Day            time.Time
	At             time.Time
	RecordID       uuid.UUID
	RevisionID     uuid.UUID
	Value          float64 // canonical unit; mean of the day
	Last           float64
	LastText       string
	LastUnit       string
	LastFlag       string
	N              int
}

// bathReading is one reading of a wash, before it is tied to its bath.
type bathReading struct {
	RecordID       uuid.UUID `db:"record_id"`
	RevisionID     uuid.UUID `db:"revision_id"`
	Day            time.Time `db:"day"`
	At             time.Time `db:"at"`
	Characteristic string    `db:"characteristic"`
	Location       string    `db:"location"`
	Value          float64   `db:"value"`
	Text           string    `db:"value_text"`
	Unit           string    `db:"unit"`
	Flag           string    `db:"flag"`
}

// usedBath is a bath that a wash named.
type usedBath struct {
	RecordID uuid.UUID `db:"record_id"`
	BathID   uuid.UUID `db:"bath_id"`
	Code     string    `db:"code"`
	Name     string    `db:"name"`
	Stage    string    `db:"stage"`
}

// BathDays returns, for each bath in use and each of its characteristics, one row for each shop day from the first to the
// last: the day's mean and its last value. A bath is tied to a stage by the order of its use: the first rinse bath named in
// a run served the first rinse.
func (db *DB) BathDays(ctx context.Context, site uuid.UUID, from, to time.Time) ([]BathPoint, error) {
	args := Period{From: from, To: to}.args(site)
	readings, err := list[bathReading](ctx, db.pool, `SELECT r.record_id, r.spec_revision_id AS revision_id, r.shop_day AS day, r.observed_at AS at,
			rd.characteristic, rd.location, rd.value, rd.value_text, rd.unit, rd.flag
		FROM record r JOIN reading rd ON rd.site_id = r.site_id AND rd.record_id = r.record_id
		WHERE r.kind = 'pretreatment' AND rd.value IS NOT NULL AND rd.characteristic IN ('concentration', 'ph', 'conductivity', 'stage_temperature') AND `+inPeriod+`
		ORDER BY r.observed_at, r.record_id, rd.seq`, args)
	if err != nil {
		return nil, fmt.Errorf("readings of baths: %w", err)
	}
	used, err := list[usedBath](ctx, db.pool, `SELECT r.record_id, b.bath_id, b.code, b.name, b.stage
		FROM record r JOIN record_use u ON u.site_id = r.site_id AND u.record_id = r.record_id AND u.role = 'bath'
		JOIN bath b ON b.site_id = u.site_id AND b.bath_id = u.bath_id AND b.active
		WHERE r.kind = 'pretreatment' AND `+inPeriod+` ORDER BY r.record_id, u.seq`, args)
	if err != nil {
		return nil, fmt.Errorf("baths used: %w", err)
	}
	return bathDays(readings, used), nil
}

// bathDays ties readings, in the order they were observed, to the baths of their runs and gathers them by day.
func bathDays(readings []bathReading, used []usedBath) []BathPoint {
	type place struct {
		record uuid.UUID
		stage  string
	}
	baths, locations := map[place][]usedBath{}, map[place][]string{}
	for _, u := range used {
		at := place{u.RecordID, u.Stage}
		baths[at] = append(baths[at], u)
	}
	type key struct {
		bath           uuid.UUID
		characteristic string
		day            time.Time
	}
	points := map[key]*BathPoint{}
	var order []*BathPoint
	for _, r := range readings {
		_, stage, _ := strings.Cut(r.Location, "-")
		at := place{r.RecordID, stage}
		k := slices.Index(locations[at], r.Location)
		if k < 0 {
			k = len(locations[at])
			locations[at] = append(locations[at], r.Location)
		}
		if k >= len(baths[at]) {
			continue
		}
		bath := baths[at][k]
		p := points[key{bath.BathID, r.Characteristic, r.Day}]
		if p == nil {
			p = &BathPoint{BathID: bath.BathID, Code: bath.Code, Name: bath.Name, Characteristic: r.Characteristic, Day: r.Day}
			points[key{bath.BathID, r.Characteristic, r.Day}] = p
			order = append(order, p)
		}
		p.N++
		p.Value += (r.Value - p.Value) / float64(p.N)
		p.Location, p.At, p.RecordID, p.RevisionID, p.Last, p.LastText, p.LastUnit, p.LastFlag = r.Location, r.At, r.RecordID, r.RevisionID, r.Value, r.Text, r.Unit, r.Flag
	}
	// In the order of the line, then of the characteristics, then of the days.
	slices.SortStableFunc(order, func(a, b *BathPoint) int {
		return cmp.Or(cmp.Compare(a.Location, b.Location), cmp.Compare(a.Code, b.Code), cmp.Compare(a.Characteristic, b.Characteristic), a.Day.Compare(b.Day))
	})
	out := make([]BathPoint, len(order))
	for i, p := range order {
		out[i] = *p
	}
	return out
}

// An OvenDay is what the cure runs of one oven on one shop day say of the coldest metal.
type OvenDay struct {
	OvenID      uuid.UUID `db:"oven_id"`
	Code        string    `db:"code"`
	Name        string    `db:"name"`
	Day         time.Time `db:"day"`
	At          time.Time `db:"at"` // of the last run
	RecordID    uuid.UUID `db:"record_id"`
	RevisionID  uuid.UUID `db:"revision_id"`
	Verdict     string    `db:"verdict"` // of the last run
	Loads       int       `db:"loads"`
	ColdestC    float64   `db:"coldest_c"`    // mean over the day's runs of the coldest channel's peak
	LastC       float64   `db:"last_c"`       // coldest channel's peak in the last run
	LastMinutes *float64  `db:"last_minutes"` // shortest time at metal temperature in the last run
}

// OvenDays returns one row for each oven and shop day with cure runs.
func (db *DB) OvenDays(ctx context.Context, site uuid.UUID, from, to time.Time) ([]OvenDay, error) {
	days, err := list[OvenDay](ctx, db.pool, `
		WITH runs AS (SELECT r.*, o.oven_id AS in_oven,
				(SELECT min(rd.value) FROM reading rd WHERE rd.site_id = r.site_id AND rd.record_id = r.record_id AND rd.characteristic = 'metal_peak') AS coldest,
				(SELECT min(rd.value) FROM reading rd WHERE rd.site_id = r.site_id AND rd.record_id = r.record_id AND rd.characteristic = 'metal_time') AS shortest
			FROM record r JOIN oven_load o ON o.site_id = r.site_id AND o.load_id = r.load_id WHERE `+inPeriod+` AND r.kind = 'cure')
		SELECT r.in_oven AS oven_id, s.code, s.name, r.shop_day AS day, max(r.observed_at) AS at,
			(array_agg(r.record_id ORDER BY r.observed_at DESC))[1] AS record_id, (array_agg(r.spec_revision_id ORDER BY r.observed_at DESC))[1] AS revision_id,
			(array_agg(r.verdict ORDER BY r.observed_at DESC))[1] AS verdict, count(*)::int AS loads,
			-- A second bake after a bad one says nothing about the oven's way down.
			coalesce(avg(r.coldest) FILTER (WHERE r.first_pass), avg(r.coldest)) AS coldest_c,
			(array_agg(r.coldest ORDER BY r.observed_at DESC))[1] AS last_c, (array_agg(r.shortest ORDER BY r.observed_at DESC))[1] AS last_minutes
		FROM runs r JOIN station s ON s.site_id = r.site_id AND s.station_id = r.in_oven
		WHERE r.coldest IS NOT NULL
		GROUP BY r.in_oven, s.code, s.name, r.shop_day ORDER BY s.code, r.shop_day`, Period{From: from, To: to}.args(site))
	if err != nil {
		return nil, fmt.Errorf("ovens by day: %w", err)
	}
	return days, nil
}

// A GaugeShift is a gauge's use for film on one shift, with whether it was verified before the first and after the last
// reading of it.
type GaugeShift struct {
	InstrumentID uuid.UUID `db:"instrument_id"`
	Code         string    `db:"code"`
	Shift        string    `db:"shift"`
	Checks       int       `db:"checks"`
	LastUse      time.Time `db:"last_use"`
	Before       bool      `db:"before"`
	After        bool      `db:"after"`
}

// GaugeShifts returns how each film gauge was used on a shop day, by shift.
func (db *DB) GaugeShifts(ctx context.Context, site uuid.UUID, day time.Time) ([]GaugeShift, error) {
	return list[GaugeShift](ctx, db.pool, `
		WITH used AS (SELECT u.instrument_id, r.shift, count(*)::int AS checks, min(r.observed_at) AS first_use, max(r.observed_at) AS last_use
			FROM record r JOIN record_use u ON u.site_id = r.site_id AND u.record_id = r.record_id AND u.role = 'gauge'
			WHERE r.site_id = @site AND r.shop_day = @day AND r.kind = 'film' GROUP BY u.instrument_id, r.shift)
		SELECT i.instrument_id, i.code, u.shift, u.checks, u.last_use,
			EXISTS (SELECT 1 FROM record v WHERE v.site_id = @site AND v.instrument_id = u.instrument_id AND v.kind = 'verification'
				AND v.shop_day = @day AND v.shift = u.shift AND v.observed_at <= u.first_use) AS before,
			EXISTS (SELECT 1 FROM record v WHERE v.site_id = @site AND v.instrument_id = u.instrument_id AND v.kind = 'verification'
				AND v.shop_day = @day AND v.shift = u.shift AND v.observed_at >= u.last_use) AS after
		FROM used u JOIN instrument i ON i.site_id = @site AND i.instrument_id = u.instrument_id
		ORDER BY i.code, u.last_use`, sqlArgs{"site": site, "day": day})
}

// A LastVerification is the latest verification of a gauge up to the end of a shop day, with what it read.
type LastVerification struct {
	InstrumentID uuid.UUID `db:"instrument_id"`
	RecordID     uuid.UUID `db:"record_id"`
	At           time.Time `db:"at"`
	Day          time.Time `db:"day"`
	Shift        string    `db:"shift"`
	Verdict      string    `db:"verdict"`
	Sentence     string    `db:"sentence"`
}

// LastVerifications returns the latest verification of each gauge up to the end of a shop day.
func (db *DB) LastVerifications(ctx context.Context, site uuid.UUID, day time.Time) ([]LastVerification, error) {
	return list[LastVerification](ctx, db.pool, `SELECT i.instrument_id, r.record_id, r.observed_at AS at, r.shop_day AS day, r.shift, r.verdict, `+firstSentence+` AS sentence
		FROM instrument i CROSS JOIN LATERAL (SELECT * FROM record v WHERE v.site_id = i.site_id AND v.instrument_id = i.instrument_id AND v.shop_day <= @day
			ORDER BY v.observed_at DESC LIMIT 1) r
		WHERE i.site_id = @site`, sqlArgs{"site": site, "day": day})
}

// LastShopDay returns the latest shop day before a day, or after it when forward, on which anything was recorded.
// ErrNotFound if there is none.
func (db *DB) LastShopDay(ctx context.Context, site uuid.UUID, day time.Time, forward bool) (time.Time, error) {
	// Ordered by the column as it is stored, so that the index answers without reading every record.
	sql := `SELECT shop_day::timestamptz FROM record WHERE site_id = @site AND shop_day < @day ORDER BY record.shop_day DESC LIMIT 1`
	if forward {
		sql = `SELECT shop_day::timestamptz FROM record WHERE site_id = @site AND shop_day > @day ORDER BY record.shop_day LIMIT 1`
	}
	return value[time.Time](ctx, db.pool, sql, sqlArgs{"site": site, "day": day})
}
