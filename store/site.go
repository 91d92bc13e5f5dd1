package store

import (
	"context"
	"fmt"
	"sync"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5/pgtype"
)

// A Site is one plant and its settings.
type Site struct {
	ID                uuid.UUID     `db:"site_id"`
	Code              string        `db:"code"`
	Name              string        `db:"name"`
	TimeZone          string        `db:"time_zone"`
	ShiftNames        []string      `db:"shift_names"`
	ShiftStarts       []pgtype.Time `db:"shift_starts"`
	FilmUnit          string        `db:"film_unit"`
	TemperatureUnit   string        `db:"temperature_unit"`
	LateAfterMinutes  int           `db:"late_after_minutes"`
	ClockLimitSeconds int           `db:"clock_limit_seconds"`
	IdleMinutes       int           `db:"idle_minutes"`
	OverridesAllowed  bool          `db:"overrides_allowed"`
}

const siteColumns = `site_id, code, name, time_zone, shift_names, shift_starts, film_unit, temperature_unit,
	late_after_minutes, clock_limit_seconds, idle_minutes, overrides_allowed`

// Location is the site's time zone; UTC if the machine does not know it.
func (s Site) Location() *time.Location {
	if known, ok := locations.Load(s.TimeZone); ok {
		return known.(*time.Location)
	}
	loc, err := time.LoadLocation(s.TimeZone)
	if err != nil {
		loc = time.UTC
	}
	locations.Store(s.TimeZone, loc)
	return loc
}

// locations are the time zones read so far: reading one takes a file, and every record asks for its site's.
var locations sync.Map

// ShopDay returns the day and shift that an instant belongs to: the shop day opens with the first shift, so a night shift
// that ends after midnight belongs to the day it began on. day is midnight UTC of that date.
func (s Site) ShopDay(at time.Time) (day time.Time, shift string) {
	local := at.In(s.Location())
	sinceMidnight := time.Duration(local.Hour())*time.Hour + time.Duration(local.Minute())*time.Minute + time.Duration(local.Second())*time.Second
	start := func(i int) time.Duration { return time.Duration(s.ShiftStarts[i].Microseconds) * time.Microsecond }
	date := time.Date(local.Year(), local.Month(), local.Day(), 0, 0, 0, 0, time.UTC)
	if sinceMidnight < start(0) {
		return date.AddDate(0, 0, -1), s.ShiftNames[len(s.ShiftNames)-1]
	}
	shift = s.ShiftNames[0]
	for i := range s.ShiftNames {
		if sinceMidnight >= start(i) {
			shift = s.ShiftNames[i]
		}
	}
	return date, shift
}

// Sites returns all sites, in order of their code.
func (db *DB) Sites(ctx context.Context) ([]Site, error) {
	return list[Site](ctx, db.pool, `SELECT `+siteColumns+` FROM site ORDER BY code`, sqlArgs{})
}

// Site returns one site.
func (db *DB) Site(ctx context.Context, id uuid.UUID) (Site, error) { return site(ctx, db.pool, id) }

const selectSite = `SELECT ` + siteColumns + ` FROM site WHERE site_id = @site`

func site(ctx context.Context, q querier, id uuid.UUID) (Site, error) {
	s, err := one[Site](ctx, q, selectSite, sqlArgs{"site": id})
	if err != nil {
		return s, fmt.Errorf("site %s: %w", id, err)
	}
	return s, nil
}

// Shift is one shift of a site's pattern: its name and its start as hh:mm.
type Shift struct{ Name, Start string }

// DefaultShifts is the pattern a new site starts with.
var DefaultShifts = []Shift{{"Early", "06:00"}, {"Late", "14:00"}, {"Night", "22:00"}}

// NewSite is what it takes to open a site.
type NewSite struct {
	Code, Name, TimeZone string
	Shifts               []Shift
	FilmUnit             string
}

// AddSite opens a site with the default weld limit rows, as the first thing on an empty database or as a further plant.
func (db *DB) AddSite(ctx context.Context, n NewSite) (Site, error) {
	if _, err := time.LoadLocation(n.TimeZone); err != nil || n.TimeZone == "" {
		return Site{}, refuse(RuleInvalid, fmt.Sprintf("“%s” is not a time zone. Enter one like Europe/Oslo or America/Chicago.", n.TimeZone))
	}
	if len(n.Shifts) == 0 {
		n.Shifts = DefaultShifts
	}
	if n.FilmUnit == "" {
		n.FilmUnit = "um"
	}
	names, starts, err := splitShifts(n.Shifts)
	if err != nil {
		return Site{}, err
	}
	id := NewID()
	err = db.inTx(ctx, id, func(tx querier) error {
		if err := run(ctx, tx, `INSERT INTO site (site_id, code, name, time_zone, shift_names, shift_starts, film_unit)
			VALUES (@site, @code, @name, @zone, @names, @starts::time[], @unit)`, sqlArgs{
			"site": id, "code": n.Code, "name": n.Name, "zone": n.TimeZone, "names": names, "starts": starts, "unit": n.FilmUnit}); err != nil {
			return err
		}
		if err := addDefaultWeldLimits(ctx, tx, id); err != nil {
			return err
		}
		return db.event(ctx, tx, Actor{Site: id}, Event{Verb: "site opened", SubjectKind: "site", Subject: id, After: n})
	})
	if err != nil {
		return Site{}, err
	}
	return db.Site(ctx, id)
}

func splitShifts(shifts []Shift) (names, starts []string, err error) {
	last := -1
	for _, s := range shifts {
		t, err := time.Parse("15:04", s.Start)
		if err != nil || s.Name == "" {
			return nil, nil, refuse(RuleInvalid, fmt.Sprintf("“%s %s” is not a shift. Give a name and a start like 06:00.", s.Name, s.Start))
		}
		minute := t.Hour()*60 + t.Minute()
		if minute <= last {
			return nil, nil, refuse(RuleInvalid, "The shifts must be in order of their start, the first one opening the shop day.")
		}
		last = minute
		names, starts = append(names, s.Name), append(starts, s.Start)
	}
	return names, starts, nil
}

// SiteSettings are the settings of a site that may change.
type SiteSettings struct {
	Name              string
	Shifts            []Shift
	FilmUnit          string
	TemperatureUnit   string
	LateAfterMinutes  int
	ClockLimitSeconds int
	IdleMinutes       int
	OverridesAllowed  bool
}

// ChangeSite changes a site's settings. Records already written keep their shop day and shift.
func (db *DB) ChangeSite(ctx context.Context, a Actor, n SiteSettings) error {
	names, starts, err := splitShifts(n.Shifts)
	if err != nil {
		return err
	}
	return db.inTx(ctx, a.Site, func(tx querier) error {
		before, err := site(ctx, tx, a.Site)
		if err != nil {
			return err
		}
		if err := run(ctx, tx, `UPDATE site SET name = @name, shift_names = @names, shift_starts = @starts::time[], film_unit = @film,
			temperature_unit = @temperature, late_after_minutes = @late, clock_limit_seconds = @clock, idle_minutes = @idle,
			overrides_allowed = @overrides WHERE site_id = @site`, sqlArgs{
			"site": a.Site, "name": n.Name, "names": names, "starts": starts, "film": n.FilmUnit, "temperature": n.TemperatureUnit,
			"late": n.LateAfterMinutes, "clock": n.ClockLimitSeconds, "idle": n.IdleMinutes, "overrides": n.OverridesAllowed}); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "site changed", SubjectKind: "site", Subject: a.Site, Before: before, After: n})
	})
}

// nextNumber takes the next number of a series, such as holds of a year, for good.
func nextNumber(ctx context.Context, tx querier, site uuid.UUID, series string) (int64, error) {
	return value[int64](ctx, tx, `INSERT INTO counter (site_id, name, value) VALUES (@site, @name, 1)
		ON CONFLICT (site_id, name) DO UPDATE SET value = counter.value + 1 RETURNING value`,
		sqlArgs{"site": site, "name": series})
}
