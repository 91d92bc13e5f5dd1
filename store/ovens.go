package store

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
)

// An OvenRhythm says how often an oven is measured. A figure of 0 does not ask.
type OvenRhythm struct {
	OvenID          uuid.UUID `db:"oven_id"`
	Code            string    `db:"code"`
	Name            string    `db:"name"`
	ProfilesPerWeek int       `db:"profiles_per_week"`
	AirEachShift    bool      `db:"air_each_shift"`
	SurveyDays      int       `db:"survey_days"`
	MaxSpreadC      float64   `db:"max_spread_c"` // between the places of a survey
}

const rhythmColumns = `s.station_id AS oven_id, s.code, s.name, coalesce(h.profiles_per_week, 0) AS profiles_per_week, coalesce(h.air_each_shift, false) AS air_each_shift,
	coalesce(h.survey_days, 0) AS survey_days, coalesce(h.max_spread_c, 10) AS max_spread_c`

const rhythmFrom = ` FROM station s LEFT JOIN oven_rhythm h ON h.site_id = s.site_id AND h.oven_id = s.station_id `

// OvenRhythms returns the rhythm of every oven in use, in order of their code.
func (db *DB) OvenRhythms(ctx context.Context, site uuid.UUID) ([]OvenRhythm, error) {
	return list[OvenRhythm](ctx, db.pool, `SELECT `+rhythmColumns+rhythmFrom+`WHERE s.site_id = @site AND s.kind = 'oven' AND s.active ORDER BY s.code`, sqlArgs{"site": site})
}

// OvenByCode returns one oven with its rhythm.
func (db *DB) OvenByCode(ctx context.Context, site uuid.UUID, code string) (OvenRhythm, error) {
	return one[OvenRhythm](ctx, db.pool, `SELECT `+rhythmColumns+rhythmFrom+`WHERE s.site_id = @site AND s.kind = 'oven' AND s.code = @code`, sqlArgs{"site": site, "code": code})
}

// SetOvenRhythm changes how often an oven is measured.
func (db *DB) SetOvenRhythm(ctx context.Context, a Actor, r OvenRhythm) error {
	return db.inTx(ctx, a.Site, func(tx querier) error {
		before, err := one[OvenRhythm](ctx, tx, `SELECT `+rhythmColumns+rhythmFrom+`WHERE s.site_id = @site AND s.kind = 'oven' AND s.station_id = @oven`,
			sqlArgs{"site": a.Site, "oven": r.OvenID})
		if err != nil {
			return err
		}
		if err := run(ctx, tx, `INSERT INTO oven_rhythm (site_id, oven_id, profiles_per_week, air_each_shift, survey_days, max_spread_c)
			VALUES (@site, @oven, @profiles, @air, @survey, @spread) ON CONFLICT (site_id, oven_id) DO UPDATE
			SET profiles_per_week = @profiles, air_each_shift = @air, survey_days = @survey, max_spread_c = @spread`, sqlArgs{"site": a.Site, "oven": r.OvenID,
			"profiles": r.ProfilesPerWeek, "air": r.AirEachShift, "survey": r.SurveyDays, "spread": r.MaxSpreadC}); err != nil {
			return err
		}
		r.Code, r.Name = before.Code, before.Name
		return db.event(ctx, tx, a, Event{Verb: "oven rhythm changed", SubjectKind: "station", Subject: r.OvenID, Before: before, After: r})
	})
}

// An OvenStanding is an oven's rhythm with when it was last measured.
type OvenStanding struct {
	OvenRhythm
	ProfileID     uuid.NullUUID `db:"profile_id"` // the last cure run with a recorded profile
	ProfileAt     *time.Time    `db:"profile_at"`
	AirAt         *time.Time    `db:"air_at"` // when the oven's temperature was last recorded
	SurveyID      uuid.NullUUID `db:"survey_id"`
	SurveyAt      *time.Time    `db:"survey_at"`
	SurveyVerdict string        `db:"survey_verdict"`
	SurveySays    string        `db:"survey_says"`
}

// lookBack is how far back a profile is looked for: longer than any rhythm.
const lookBack = 60 * 24 * time.Hour

// OvenStandings returns how the ovens in use stand at an instant.
func (db *DB) OvenStandings(ctx context.Context, site uuid.UUID, at time.Time) ([]OvenStanding, error) {
	return list[OvenStanding](ctx, db.pool, `SELECT `+rhythmColumns+`, p.record_id AS profile_id, p.observed_at AS profile_at, t.air_at,
			v.record_id AS survey_id, v.observed_at AS survey_at, coalesce(v.verdict, '') AS survey_verdict, coalesce(v.says, '') AS survey_says`+rhythmFrom+`
		LEFT JOIN LATERAL (SELECT r.record_id, r.observed_at FROM oven_load o JOIN record r ON r.site_id = o.site_id AND r.load_id = o.load_id AND r.kind = 'cure'
			JOIN cure_profile c ON c.site_id = r.site_id AND c.record_id = r.record_id
			WHERE o.site_id = s.site_id AND o.oven_id = s.station_id AND o.opened_at > @since AND r.observed_at <= @at AND `+counts+`
			ORDER BY r.observed_at DESC LIMIT 1) p ON true
		LEFT JOIN LATERAL (SELECT max(x.at) AS air_at FROM (
			SELECT r.observed_at AS at FROM oven_load o JOIN record r ON r.site_id = o.site_id AND r.load_id = o.load_id AND r.kind = 'cure'
				JOIN reading d ON d.site_id = r.site_id AND d.record_id = r.record_id AND d.characteristic = 'oven_air' AND d.value IS NOT NULL
				WHERE o.site_id = s.site_id AND o.oven_id = s.station_id AND o.opened_at > @lately AND r.observed_at <= @at AND `+counts+`
			UNION ALL
			SELECT r.observed_at FROM record r WHERE r.site_id = s.site_id AND r.oven_id = s.station_id AND r.kind = 'oven_survey' AND r.observed_at BETWEEN @lately AND @at AND `+counts+`) x) t ON true
		LEFT JOIN LATERAL (SELECT r.record_id, r.observed_at, r.verdict,
				coalesce((SELECT f.sentence FROM finding f WHERE f.site_id = r.site_id AND f.record_id = r.record_id ORDER BY f.seq LIMIT 1), '') AS says FROM record r
			WHERE r.site_id = s.site_id AND r.oven_id = s.station_id AND r.kind = 'oven_survey' AND r.observed_at <= @at AND `+counts+`
			ORDER BY r.observed_at DESC LIMIT 1) v ON true
		WHERE s.site_id = @site AND s.kind = 'oven' AND s.active ORDER BY s.code`,
		sqlArgs{"site": site, "at": at, "since": at.Add(-lookBack), "lately": at.Add(-48 * time.Hour)})
}

// An OvenDue is one measurement that an oven waits for.
type OvenDue struct {
	Overdue  bool
	Sentence string
}

// Due returns what an oven waits for at an instant, by its rhythm and the site's shifts: what is overdue, the temperature of
// this shift, and a survey that was not uniform.
func (o OvenStanding) Due(st Site, at time.Time) []OvenDue {
	var due []OvenDue
	say := func(overdue bool, format string, args ...any) {
		due = append(due, OvenDue{overdue, fmt.Sprintf(format, args...)})
	}
	when := func(t time.Time) string { return t.In(st.Location()).Format("2 January 15:04") }
	if o.SurveyVerdict == string(quality.Fail) {
		say(true, "The last survey, %s, was not uniform: %s", when(*o.SurveyAt), o.SurveySays)
	}
	if n := o.ProfilesPerWeek; n > 0 {
		every := 7 * 24 * time.Hour / time.Duration(n)
		asked := fmt.Sprintf("%d a week are asked", n)
		if n == 1 {
			asked = "one a week is asked"
		}
		switch {
		case o.ProfileAt == nil:
			say(true, "No profile of the parts' temperature is on record for the last 60 days; %s.", asked)
		case at.Sub(*o.ProfileAt) > every:
			say(true, "The last profile of the parts' temperature was on %s; %s, so it is overdue.", when(*o.ProfileAt), asked)
		case at.Sub(*o.ProfileAt) > every*3/4:
			say(false, "A profile of the parts' temperature is due by %s.", when(o.ProfileAt.Add(every)))
		}
	}
	if d := o.SurveyDays; d > 0 {
		every := time.Duration(d) * 24 * time.Hour
		switch {
		case o.SurveyAt == nil:
			say(true, "The oven has no uniformity survey; one is asked every %d days.", d)
		case at.Sub(*o.SurveyAt) > every:
			say(true, "The last uniformity survey was on %s; one is asked every %d days, so it is overdue.", when(*o.SurveyAt), d)
		case at.Sub(*o.SurveyAt) > every*6/7:
			say(false, "A uniformity survey is due by %s.", when(o.SurveyAt.Add(every)))
		}
	}
	if o.AirEachShift {
		day, shift := st.ShopDay(at)
		if o.AirAt != nil {
			if d, s := st.ShopDay(*o.AirAt); d.Equal(day) && s == shift {
				return due
			}
		}
		say(false, "The oven's temperature is not recorded in the %s shift yet. Enter it with the next cure run.", shift)
	}
	return due
}

// OvenDueAt returns what the oven waits for at an instant.
func (db *DB) OvenDueAt(ctx context.Context, st Site, oven uuid.UUID, at time.Time) ([]OvenDue, error) {
	all, err := db.OvenStandings(ctx, st.ID, at)
	if err != nil {
		return nil, fmt.Errorf("what oven %s waits for: %w", oven, err)
	}
	for _, o := range all {
		if o.OvenID == oven {
			return o.Due(st, at), nil
		}
	}
	return nil, nil
}

// prepareOven reads what a survey of an oven depends on.
func (db *DB) prepareOven(ctx context.Context, q querier, a Actor, e *Entry, w *work, read *asked) error {
	o, err := one[OvenRhythm](ctx, q, `SELECT `+rhythmColumns+rhythmFrom+`WHERE s.site_id = @site AND s.kind = 'oven' AND s.station_id = @oven`,
		sqlArgs{"site": a.Site, "oven": e.Subject.ID})
	if errors.Is(err, ErrNotFound) {
		return refuse(RuleInvalid, "A survey is made of an oven. Choose one of the site's ovens.")
	}
	if err != nil {
		return err
	}
	w.label, w.circumstance.OvenSpreadC = o.Code, o.MaxSpreadC
	read.qualified(e, w)
	return nil
}
