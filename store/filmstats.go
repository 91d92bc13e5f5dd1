package store

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
)

// A FilmFilter chooses film checks for a chart: a period, and a part number, a booth or a spec, empty for all.
type FilmFilter struct {
	Period
	PartNumber, Booth, Spec string // their codes
}

// A FilmCheck is the summary of one film check in µm, with what it was judged by and where the part was coated.
type FilmCheck struct {
	RecordID   uuid.UUID       `db:"record_id"`
	PartID     uuid.UUID       `db:"part_id"`
	Serial     string          `db:"serial"`
	PartNumber string          `db:"part_number"`
	RevisionID uuid.UUID       `db:"revision_id"`
	Spec       string          `db:"spec"`
	Revision   string          `db:"revision"`
	Booth      string          `db:"booth"` // code, empty when the coating run is not on record
	BoothName  string          `db:"booth_name"`
	RackID     uuid.NullUUID   `db:"rack_id"`
	ShopDay    time.Time       `db:"shop_day"`
	ObservedAt time.Time       `db:"observed_at"`
	Verdict    quality.Verdict `db:"verdict"`
	LowestSpot float64         `db:"lowest_spot_um"`
	// FilmFigures are of the values that count; N is 0 where all are left out.
	FilmFigures
	// HasExclusions says that values are left out. LeftOut are those, and All the figures with all values, nil without any.
	HasExclusions bool         `db:"has_exclusions"`
	LeftOut       []Exclusion  `db:"-"`
	All           *FilmFigures `db:"-"`
}

// FilmFigures sum up film readings in µm: how many, mean, sum of squared deviations, least and greatest.
type FilmFigures struct {
	N      int     `db:"n"`
	MeanUM float64 `db:"mean_um"`
	M2     float64 `db:"m2_um2"`
	MinUM  float64 `db:"min_um"`
	MaxUM  float64 `db:"max_um"`
}

// boothOfRack is where the rack of film checks f was coated last.
const boothOfRack = `LATERAL (SELECT st.code, st.name FROM record c
	JOIN record_use u ON u.site_id = c.site_id AND u.record_id = c.record_id AND u.role = 'booth'
	JOIN station st ON st.site_id = u.site_id AND st.station_id = u.station_id
	WHERE c.site_id = @site AND c.rack_id = f.rack_id AND c.kind = 'coating' ORDER BY c.observed_at DESC LIMIT 1) b`

// FilmChecks returns the current film checks of a choice in the order they were observed. It reads the summaries, one row a
// check, and the readings only of those of which values are left out. The booth is that of the latest coating run of the rack that held the part in that cycle.
func (db *DB) FilmChecks(ctx context.Context, site uuid.UUID, f FilmFilter) ([]FilmCheck, error) {
	args := f.args(site)
	args["part_number"], args["booth"], args["spec"] = f.PartNumber, f.Booth, f.Spec
	// In two parts, because the planner tries every order of the tables it joins at once.
	checks, err := list[FilmCheck](ctx, db.pool, `
		WITH films AS MATERIALIZED (
			SELECT r.record_id, s.part_id, r.spec_revision_id, rp.rack_id, r.shop_day, r.observed_at, r.verdict, s.n, s.mean_um, s.m2_um2, s.min_um, s.max_um, s.lowest_spot_um
			FROM record r
			JOIN film_summary s ON s.site_id = r.site_id AND s.record_id = r.record_id
			LEFT JOIN rack_part rp ON rp.site_id = r.site_id AND rp.part_id = s.part_id AND rp.cycle = r.cycle
			WHERE r.kind = 'film' AND `+inPeriod+`)
		SELECT f.record_id, f.part_id, pa.serial, pn.code AS part_number, f.spec_revision_id AS revision_id, fs.code AS spec, sr.revision,
			coalesce(b.code, '') AS booth, coalesce(b.name, '') AS booth_name, f.rack_id, f.shop_day, f.observed_at, f.verdict,
			f.n, f.mean_um, f.m2_um2, f.min_um, f.max_um, f.lowest_spot_um,
			EXISTS (SELECT 1 FROM exclusion x WHERE x.site_id = @site AND x.record_id = f.record_id
				AND NOT EXISTS (SELECT 1 FROM exclusion_end e WHERE e.site_id = x.site_id AND e.exclusion_id = x.exclusion_id)) AS has_exclusions
		FROM films f
		JOIN part pa ON pa.site_id = @site AND pa.part_id = f.part_id
		JOIN part_number pn ON pn.site_id = @site AND pn.part_number_id = pa.part_number_id
		JOIN finish_spec_revision sr ON sr.site_id = @site AND sr.revision_id = f.spec_revision_id
		JOIN finish_spec fs ON fs.site_id = @site AND fs.spec_id = sr.spec_id
		LEFT JOIN `+boothOfRack+` ON true
		WHERE (@part_number = '' OR pn.code = @part_number) AND (@booth = '' OR b.code = @booth) AND (@spec = '' OR fs.code = @spec)
		ORDER BY f.observed_at, f.record_id`, args)
	if err != nil {
		return nil, fmt.Errorf("film checks: %w", err)
	}
	return checks, db.leaveOut(ctx, site, checks)
}

// SpecBodies returns the bodies of the given spec revisions. Approved bodies never change.
func (db *DB) SpecBodies(ctx context.Context, site uuid.UUID, revisions []uuid.UUID) (map[uuid.UUID]quality.FinishSpec, error) {
	bodies := make(map[uuid.UUID]quality.FinishSpec, len(revisions))
	if len(revisions) == 0 {
		return bodies, nil
	}
	rows, err := db.pool.Query(ctx, `SELECT revision_id, body FROM finish_spec_revision WHERE site_id = $1 AND revision_id = ANY($2)`, site, revisions)
	if err != nil {
		return nil, fmt.Errorf("spec bodies: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		var id uuid.UUID
		var body []byte
		if err := rows.Scan(&id, &body); err != nil {
			return nil, fmt.Errorf("spec bodies: %w", err)
		}
		if bodies[id], err = quality.DecodeFinishSpec(body); err != nil {
			return nil, fmt.Errorf("spec revision %s: %w", id, err)
		}
	}
	return bodies, rows.Err()
}

// A FilmDay is the film of one booth and spec on one shop day: checks, how many failed, the mean and the lowest of the part
// means.
type FilmDay struct {
	Booth     string    `db:"booth"`
	BoothName string    `db:"booth_name"`
	Spec      string    `db:"spec"`
	Day       time.Time `db:"day"`
	Checks    int       `db:"checks"`
	Failed    int       `db:"failed"`
	MeanUM    float64   `db:"mean_um"`
	LowestUM  float64   `db:"lowest_um"`
}

// FilmDays returns the film of a period by booth, spec and shop day. Parts whose coating run is not on record are left out.
func (db *DB) FilmDays(ctx context.Context, site uuid.UUID, from, to time.Time) ([]FilmDay, error) {
	days, err := list[FilmDay](ctx, db.pool, `
		WITH films AS MATERIALIZED (
			SELECT rp.rack_id, r.spec_revision_id, r.shop_day, count(*) AS checks, count(*) FILTER (WHERE r.verdict = 'fail') AS failed,
				sum(s.mean_um) AS total_um, min(s.mean_um) AS lowest_um
			FROM record r
			JOIN film_summary s ON s.site_id = r.site_id AND s.record_id = r.record_id
			JOIN rack_part rp ON rp.site_id = r.site_id AND rp.part_id = s.part_id AND rp.cycle = r.cycle
			WHERE r.kind = 'film' AND `+inPeriod+` GROUP BY rp.rack_id, r.spec_revision_id, r.shop_day)
		SELECT b.code AS booth, b.name AS booth_name, fs.code AS spec, f.shop_day AS day, sum(f.checks)::int AS checks, sum(f.failed)::int AS failed,
			sum(f.total_um) / sum(f.checks)::float8 AS mean_um, min(f.lowest_um) AS lowest_um
		FROM films f
		JOIN finish_spec_revision sr ON sr.site_id = @site AND sr.revision_id = f.spec_revision_id
		JOIN finish_spec fs ON fs.site_id = @site AND fs.spec_id = sr.spec_id
		CROSS JOIN `+boothOfRack+`
		GROUP BY b.code, b.name, fs.code, f.shop_day ORDER BY b.code, fs.code, f.shop_day`, Period{From: from, To: to}.args(site))
	if err != nil {
		return nil, fmt.Errorf("film by day: %w", err)
	}
	return days, nil
}
