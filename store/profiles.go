package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"coatbook/quality"
	"coatbook/store/loggerfile"
)

// A ProfileUse says which stretch of which logger file is the profile of a load, and how the file is read. Its times are in
// seconds from the first sample of the file, both ends included.
type ProfileUse struct {
	FileID     uuid.UUID
	Layout     loggerfile.Layout
	FromS, ToS float64
}

// maxProfileChannels bounds the thermocouples of one profile.
const maxProfileChannels = 24

// A recordedRun is what was read off a logger file for one entry.
type recordedRun struct {
	file     LoggerFile
	profile  quality.CureProfile
	aboveC   float64
	started  *time.Time // nil for a file without a clock
	zoned    bool       // whether the file names the clock's zone
	seconds  []float32
	channels []ProfileChannel
	layout   []byte
}

// A ProfileChannel is one thermocouple of a profile with its samples in °C, NaN where it was open.
type ProfileChannel struct {
	Channel int       `db:"channel"`
	Role    string    `db:"role"` // metal or air
	Place   string    `db:"place"`
	Column  int       `db:"column_number"`
	Celsius []float32 `db:"celsius"`
}

func (u ProfileUse) check() error {
	if err := u.Layout.Validate(); err != nil {
		return asFileRefusal(err)
	}
	if !(u.FromS >= 0 && u.ToS > u.FromS) {
		return refuse("cure_profile_stretch", constraintSentences["cure_profile_stretch"])
	}
	places := map[string]bool{}
	channels := u.Layout.Channels()
	if len(channels) > maxProfileChannels {
		return refuse(RuleLoggerFile, fmt.Sprintf("%d channels are on; a profile has up to %d. Leave some out.", len(channels), maxProfileChannels))
	}
	for _, c := range channels {
		place := placeOf(c)
		if len([]rune(place)) > 80 {
			return refuse(RuleLoggerFile, fmt.Sprintf("The place of column %d has more than 80 characters.", c.Number))
		}
		if c.Role == loggerfile.Metal && places[place] {
			return refuse(RuleLoggerFile, fmt.Sprintf("Two thermocouples are at “%s”. Give each its own place on the load.", place))
		}
		places[place] = places[place] || c.Role == loggerfile.Metal
	}
	return nil
}

// placeOf is where a channel's thermocouple sits: as a person said, else as the file calls it.
func placeOf(c loggerfile.Column) string {
	if p := strings.TrimSpace(c.Place); p != "" {
		return p
	}
	if n := strings.TrimSpace(c.Name); n != "" {
		return n
	}
	return "column " + strconv.Itoa(c.Number)
}

// errEnough ends the reading of a file behind the stretch.
var errEnough = errors.New("store: the stretch has been read")

// measure reads the profile that an entry names and adds its figures to the entry as readings from a file. An entry that
// could not be judged anyway, for want of parts or a spec, is left as it is: prepare says why.
func (db *DB) measure(ctx context.Context, a Actor, e *Entry) error {
	if e.Profile == nil {
		return nil
	}
	u := *e.Profile
	if err := u.check(); err != nil {
		return err
	}
	spec, window, known, err := db.cureSpecOf(ctx, a, *e)
	if err != nil || !known {
		return err
	}
	m := &recordedRun{aboveC: spec.ScheduleC}
	if m.file, err = db.LoggerFileByID(ctx, a.Site, u.FileID); err != nil {
		return err
	}
	if err := m.read(db.LoggerFileBytes(ctx, a.Site, u.FileID), u, spec.ProfileSettings(window)); err != nil {
		return err
	}
	st, err := site(ctx, db.pool, a.Site)
	if err != nil {
		return err
	}
	if t := m.started; t != nil && !m.zoned {
		// A clock that names no zone shows the shop's time.
		local := time.Date(t.Year(), t.Month(), t.Day(), t.Hour(), t.Minute(), t.Second(), t.Nanosecond(), st.Location())
		m.started = &local
	}
	if m.layout, err = json.Marshal(u.Layout); err != nil {
		return err
	}
	e.recorded = m
	e.Check.Readings = append(e.Check.Readings, m.readings(u, e.Check)...)
	if m.file.LoggerID.Valid && e.use("logger") == uuid.Nil {
		e.Uses = append(e.Uses[:len(e.Uses):len(e.Uses)], Use{"logger", m.file.LoggerID.UUID})
	}
	return nil
}

// cureSpecOf returns the section on cure of the spec that a load follows and the window of its powder; false where the load has none.
func (db *DB) cureSpecOf(ctx context.Context, a Actor, e Entry) (spec quality.CureSpec, window quality.CureWindow, known bool, err error) {
	ids, err := subjectParts(ctx, db.pool, a.Site, e.Subject)
	if err != nil || len(ids) == 0 {
		return spec, window, false, err
	}
	at := e.ObservedAt
	if at.IsZero() {
		at = db.Clock()
	}
	revisions, err := list[SpecHead](ctx, db.pool, partSpecsSQL, sqlArgs{"site": a.Site, "parts": ids[:1]})
	if err != nil {
		return spec, window, false, err
	}
	revision, known := inForce(revisions, at)
	if !known {
		return spec, window, false, nil
	}
	body, err := db.readSpec(ctx, db.pool, a.Site, revision)
	if err != nil || body.Cure == nil {
		return spec, window, false, err
	}
	var w work
	err = db.cureWindow(ctx, db.pool, a.Site, e.Subject.ID, &w)
	if typed, ok := quality.TypedWindow(e.Check); ok {
		w.circumstance.Window = typed
	}
	return *body.Cure, w.circumstance.Window, true, err
}

// read measures the stretch and keeps its samples.
func (m *recordedRun) read(r interface{ Read([]byte) (int, error) }, u ProfileUse, settings quality.ProfileSettings) error {
	channels := u.Layout.Channels()
	var names []string
	var metal []int
	for i, c := range channels {
		m.channels = append(m.channels, ProfileChannel{Channel: i + 1, Role: string(c.Role), Place: placeOf(c), Column: c.Number})
		if c.Role == loggerfile.Metal {
			names, metal = append(names, placeOf(c)), append(metal, i)
		}
	}
	if len(settings.Window.Points) > 0 && len(settings.Window.Validate()) > 0 {
		settings.Window = quality.CureWindow{} // judged as a window that cannot be used
	}
	profiler, err := quality.NewProfiler(settings, names...)
	if err != nil {
		return refuse(RuleLoggerFile, "The profile cannot be measured: "+err.Error()+".")
	}
	row := make([]float64, len(metal))
	sum, err := loggerfile.Read(r, u.Layout, func(seconds float64, celsius []float64) error {
		if seconds < u.FromS {
			return nil
		}
		if seconds > u.ToS {
			return errEnough
		}
		for i, c := range metal {
			row[i] = celsius[c]
		}
		m.seconds = append(m.seconds, float32(seconds-u.FromS))
		for i := range m.channels {
			m.channels[i].Celsius = append(m.channels[i].Celsius, float32(celsius[i]))
		}
		return profiler.Add(seconds-u.FromS, row)
	})
	if err != nil && !errors.Is(err, errEnough) {
		return asFileRefusal(err)
	}
	if !sum.Start.IsZero() {
		m.started, m.zoned = &sum.Start, sum.Zoned
	}
	m.profile, err = profiler.Profile()
	if errors.Is(err, quality.ErrTooFewRows) {
		return refuse("cure_profile_samples_whole", constraintSentences["cure_profile_samples_whole"])
	}
	return err
}

// readings are the figures of each metal channel, and the warmest oven air where nobody typed it. Raw names the file and the
// column, so that the record's content hash holds the file's.
func (m *recordedRun) readings(u ProfileUse, typed quality.Check) []quality.Reading {
	var out []quality.Reading
	figure := func(characteristic, place string, spot, column int, value float64, decimals int, unit quality.Unit, known bool) {
		r := quality.Reading{Characteristic: characteristic, Location: place, Spot: spot, Unit: unit, Source: "file",
			Raw: fmt.Sprintf("file SHA-256 %s, column %d, %s to %s s", m.file.Hash(), column, quality.Number(u.FromS, 3), quality.Number(u.ToS, 3))}
		if known {
			r.Text = quality.Number(value, decimals)
			r.Value, _ = strconv.ParseFloat(r.Text, 64)
		} else {
			r.Absence = quality.NotMeasured
		}
		out = append(out, r)
	}
	metal := 0
	air, airColumn, airPlace := math.Inf(-1), 0, ""
	for _, c := range m.channels {
		if c.Role == string(loggerfile.Air) {
			for _, v := range c.Celsius {
				if float64(v) > air {
					air, airColumn, airPlace = float64(v), c.Column, c.Place
				}
			}
			continue
		}
		p := m.profile.Channels[metal]
		metal++
		figure("metal_peak", c.Place, metal, c.Column, p.PeakC, 1, quality.Celsius, p.Readings > 0)
		figure("metal_time", c.Place, metal, c.Column, p.SecondsAbove/60, 2, quality.Minute, p.Readings > 0)
	}
	if airColumn > 0 && len(typed.Of("oven_air")) == 0 {
		figure("oven_air", airPlace, 0, airColumn, air, 1, quality.Celsius, true)
	}
	return out
}

// checkStretch refuses a stretch of a file that is the profile of another record. The lock makes two who save the same
// stretch at once wait for each other.
func (db *DB) checkStretch(ctx context.Context, q querier, site uuid.UUID, e *Entry, w *work) error {
	if e.Profile == nil {
		return nil
	}
	if e.recorded == nil {
		return refuse(RuleLoggerFile, "The profile could not be measured: the load has no approved finish spec with a cure section.")
	}
	w.circumstance.Profile = &e.recorded.profile
	if _, err := q.Exec(ctx, `SELECT pg_advisory_xact_lock(hashtextextended(@file, 0))`, sqlArgs{"file": e.Profile.FileID.String()}); err != nil {
		return err
	}
	taken, err := takenStretches(ctx, q, site, e.Profile.FileID)
	if err != nil {
		return err
	}
	if t := overlapping(taken, e.Profile.FromS, e.Profile.ToS); t != nil {
		return refuse(RuleUsedBefore, fmt.Sprintf("This stretch of the file is the profile of load %s. Choose the stretch of this load.", t.Load))
	}
	return nil
}

// queueCure adds the window that a cure run was judged by and, for a recorded one, its profile.
func queueCure(b *pgx.Batch, site uuid.UUID, e Entry, w *work) {
	for _, p := range w.circumstance.Window.Points {
		b.Queue(`INSERT INTO cure_window (site_id, record_id, metal_c, minutes_min, minutes_max) VALUES (@site, @record, @metal, @least, @longest)`,
			sqlArgs{"site": site, "record": e.RecordID, "metal": p.MetalC, "least": p.MinMinutes, "longest": p.MaxMinutes})
	}
	m := e.recorded
	if m == nil {
		return
	}
	b.Queue(`INSERT INTO cure_profile (site_id, record_id, file_id, from_s, to_s, layout, started_at, above_c, samples, seconds)
		VALUES (@site, @record, @file, @from, @to, @layout, @started, @above, @samples, @seconds)`, sqlArgs{"site": site, "record": e.RecordID,
		"file": e.Profile.FileID, "from": e.Profile.FromS, "to": e.Profile.ToS, "layout": m.layout, "started": m.started, "above": m.aboveC, "samples": len(m.seconds), "seconds": m.seconds})
	for _, c := range m.channels {
		b.Queue(`INSERT INTO cure_channel (site_id, record_id, channel, role, place, column_number, celsius) VALUES (@site, @record, @channel, @role, @place, @column, @celsius)`,
			sqlArgs{"site": site, "record": e.RecordID, "channel": c.Channel, "role": c.Role, "place": c.Place, "column": c.Column, "celsius": c.Celsius})
	}
}

// A Profile is the recorded profile behind a cure run.
type Profile struct {
	File       LoggerFile
	FromS, ToS float64
	StartedAt  *time.Time // of the file, by the logger's clock
	AboveC     float64
	Seconds    []float32
	Channels   []ProfileChannel
}

// ProfileOf returns the profile of a cure record; ErrNotFound where peaks and times were typed.
func (db *DB) ProfileOf(ctx context.Context, site, record uuid.UUID) (Profile, error) {
	type row struct {
		FileID    uuid.UUID  `db:"file_id"`
		FromS     float64    `db:"from_s"`
		ToS       float64    `db:"to_s"`
		StartedAt *time.Time `db:"started_at"`
		AboveC    float64    `db:"above_c"`
		Seconds   []float32  `db:"seconds"`
	}
	args := sqlArgs{"site": site, "record": record}
	r, err := one[row](ctx, db.pool, `SELECT file_id, from_s, to_s, started_at, above_c, seconds FROM cure_profile WHERE site_id = @site AND record_id = @record`, args)
	if err != nil {
		return Profile{}, err
	}
	p := Profile{FromS: r.FromS, ToS: r.ToS, StartedAt: r.StartedAt, AboveC: r.AboveC, Seconds: r.Seconds}
	if p.File, err = db.LoggerFileByID(ctx, site, r.FileID); err != nil {
		return p, err
	}
	p.Channels, err = list[ProfileChannel](ctx, db.pool, `SELECT channel, role, place, column_number, celsius FROM cure_channel WHERE site_id = @site AND record_id = @record ORDER BY channel`, args)
	return p, err
}

// CureWindowOf returns the powder's window that a cure record was judged by, as it was then; without points where there was none.
func (db *DB) CureWindowOf(ctx context.Context, site, record uuid.UUID) (w quality.CureWindow, err error) {
	points, err := list[CurePoint](ctx, db.pool, `SELECT metal_c, minutes_min, minutes_max FROM cure_window WHERE site_id = @site AND record_id = @record ORDER BY metal_c`,
		sqlArgs{"site": site, "record": record})
	for _, p := range points {
		w.Points = append(w.Points, quality.CurePoint{MetalC: p.MetalC, MinMinutes: p.MinutesMin, MaxMinutes: p.MinutesMax})
	}
	return w, err
}

// PreviewProfile measures the profile that an entry names and judges it, without storing anything: what Preview does, with
// the figures and samples.
func (db *DB) PreviewProfile(ctx context.Context, a Actor, e Entry) (quality.CureProfile, Profile, error) {
	if err := db.measure(ctx, a, &e); err != nil {
		return quality.CureProfile{}, Profile{}, err
	}
	if e.recorded == nil {
		return quality.CureProfile{}, Profile{}, ErrNotFound
	}
	m := e.recorded
	return m.profile, Profile{File: m.file, FromS: e.Profile.FromS, ToS: e.Profile.ToS, StartedAt: m.started, AboveC: m.aboveC, Seconds: m.seconds, Channels: m.channels}, nil
}
