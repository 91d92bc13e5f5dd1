package store

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"coatbook/quality"
)

// A ControlStanding is one control of a bath with its last value, and what it waits for.
type ControlStanding struct {
	BathControl
	RecordID uuid.UUID // of the last value, zero when there is none
	At       time.Time
	Reading  quality.Reading
	// Due asks for it in the next reading; Overdue says that the bath went longer without than its rhythm allows; Out that its
	// last value is outside its limits, Added that something was done about it since.
	Due, Overdue, Out, Added bool
	Says                     string // what it waits for, in a sentence; empty for nothing
}

// A BathStanding is how a bath stands at an instant.
type BathStanding struct {
	Bath
	Controls []ControlStanding
	ReadID   uuid.UUID // the last reading of the bath, zero when there is none
	ReadAt   time.Time
	MadeUpAt *time.Time
	DumpDue  string // a sentence when it is time to dump and make up the bath
}

// Against says in sentences what speaks against using the bath: a value that was out of limits when it was last read, or
// that was not read for longer than its rhythm.
func (b BathStanding) Against() []string {
	var says []string
	for _, c := range b.Controls {
		if c.Out || c.Overdue {
			says = append(says, fmt.Sprintf("Bath %s: %s", b.Code, c.Says))
		}
	}
	return says
}

// bathReadBack is how far back the last value of a control is looked for: longer than any rhythm.
const bathReadBack = 120 * 24 * time.Hour

// BathStandings returns how the baths of a site stand at an instant, retired ones left out, in order of their code.
func (db *DB) BathStandings(ctx context.Context, st Site, at time.Time) ([]BathStanding, error) {
	return bathStandings(ctx, db.pool, st, at)
}

func bathStandings(ctx context.Context, q querier, st Site, at time.Time) ([]BathStanding, error) {
	controls, err := controlsAt(ctx, q, st.ID, at)
	if err != nil {
		return nil, err
	}
	type last struct {
		BathID         uuid.UUID `db:"bath_id"`
		Characteristic string    `db:"characteristic"`
		RecordID       uuid.UUID `db:"record_id"`
		At             time.Time `db:"at"`
		Location       string    `db:"location"`
		Value          float64   `db:"value"`
		Text           string    `db:"value_text"`
		Unit           string    `db:"unit"`
		Flag           string    `db:"flag"`
		Source         string    `db:"source"`
	}
	type done struct {
		BathID   uuid.UUID  `db:"bath_id"`
		AddedAt  *time.Time `db:"added_at"`
		MadeUpAt *time.Time `db:"made_up_at"`
		ReadID   *uuid.UUID `db:"read_id"`
		ReadAt   *time.Time `db:"read_at"`
	}
	type worked struct {
		Day   time.Time `db:"shop_day"`
		Shift string    `db:"shift"`
	}
	args := sqlArgs{"site": st.ID, "at": at, "since": at.Add(-bathReadBack)}
	b := &pgx.Batch{}
	baths := ask[Bath](b, `SELECT `+bathColumns+` FROM bath WHERE site_id = @site AND active ORDER BY code`, sqlArgs{"site": st.ID})
	lasts := ask[last](b, `SELECT DISTINCT ON (r.bath_id, d.characteristic) r.bath_id, d.characteristic, r.record_id, r.observed_at AS at, d.location, d.value, d.value_text, d.unit, d.flag, d.source
		FROM bath b JOIN record r ON r.site_id = b.site_id AND r.bath_id = b.bath_id JOIN reading d ON d.site_id = r.site_id AND d.record_id = r.record_id AND d.value IS NOT NULL
		WHERE b.site_id = @site AND b.active AND r.kind = 'bath_reading' AND r.observed_at > @since AND r.observed_at <= @at AND `+counts+`
		ORDER BY r.bath_id, d.characteristic, r.observed_at DESC, r.record_id DESC`, args)
	doings := ask[done](b, `SELECT b.bath_id, x.added_at, x.made_up_at, l.record_id AS read_id, l.observed_at AS read_at FROM bath b
		LEFT JOIN LATERAL (SELECT max(r.observed_at) AS added_at, max(r.observed_at) FILTER (WHERE EXISTS (SELECT 1 FROM rating t WHERE t.site_id = r.site_id AND t.record_id = r.record_id
				AND t.characteristic = 'bath_act' AND t.code = 'make_up')) AS made_up_at
			FROM record r WHERE r.site_id = b.site_id AND r.bath_id = b.bath_id AND r.kind = 'bath_addition' AND r.observed_at <= @at AND `+counts+`) x ON true
		LEFT JOIN LATERAL (SELECT r.record_id, r.observed_at FROM record r WHERE r.site_id = b.site_id AND r.bath_id = b.bath_id AND r.kind = 'bath_reading' AND r.observed_at > @since
			AND r.observed_at <= @at AND `+counts+` ORDER BY r.observed_at DESC, r.record_id DESC LIMIT 1) l ON true
		WHERE b.site_id = @site AND b.active`, args)
	shifts := ask[worked](b, `SELECT w.shop_day, w.shift FROM generate_series((@at::timestamptz - interval '32 days')::date, (@at::timestamptz + interval '1 day')::date, interval '1 day') AS d
		CROSS JOIN LATERAL (SELECT DISTINCT r.shop_day, r.shift FROM record r WHERE r.site_id = @site AND r.shop_day = d::date AND r.kind = 'pretreatment'
			AND r.observed_at <= @at AND r.verdict <> 'void') w`, sqlArgs{"site": st.ID, "at": at})
	if err := send(ctx, q, b); err != nil {
		return nil, fmt.Errorf("how the baths stand: %w", err)
	}
	day, shift := st.ShopDay(at)
	work := []span{st.shiftSpan(day, shift)}
	for _, w := range *shifts {
		if w.Shift != shift || !w.Day.Equal(day) {
			work = append(work, st.shiftSpan(w.Day, w.Shift))
		}
	}
	standings := make([]BathStanding, 0, len(*baths))
	for _, bath := range *baths {
		s := BathStanding{Bath: bath}
		i := slices.IndexFunc(*doings, func(d done) bool { return d.BathID == bath.ID })
		d := (*doings)[i]
		if s.MadeUpAt = d.MadeUpAt; d.ReadID != nil {
			s.ReadID, s.ReadAt = *d.ReadID, *d.ReadAt
		}
		for _, c := range controls[bath.ID] {
			cs := ControlStanding{BathControl: c}
			for _, l := range *lasts {
				if l.BathID == bath.ID && l.Characteristic == c.Characteristic {
					cs.RecordID, cs.At = l.RecordID, l.At
					cs.Reading = quality.Reading{Characteristic: l.Characteristic, Location: l.Location, Value: l.Value, Text: l.Text, Unit: quality.Unit(l.Unit), Flag: quality.Flag(l.Flag), Source: l.Source}
					if known, ok := quality.CharacteristicOf(l.Characteristic); ok {
						if v, err := quality.Convert(l.Value, known.Canonical(), cs.Reading.Unit); err == nil {
							cs.Reading.Value = v
						}
					}
				}
			}
			cs.Added = d.AddedAt != nil && d.AddedAt.After(cs.At)
			cs.stand(st, at, work)
			s.Controls = append(s.Controls, cs)
		}
		s.DumpDue = dumpDue(st, bath, d.MadeUpAt, at)
		standings = append(standings, s)
	}
	return standings, nil
}

// A span is a time from one instant to another.
type span struct{ from, to time.Time }

// shiftSpan returns when a shift of a shop day begins and ends.
func (s Site) shiftSpan(day time.Time, shift string) span {
	start := func(i int) time.Time {
		if i == len(s.ShiftStarts) {
			return s.DayBegins(day.AddDate(0, 0, 1))
		}
		at := time.Duration(s.ShiftStarts[i].Microseconds) * time.Microsecond
		return time.Date(day.Year(), day.Month(), day.Day(), int(at.Hours()), int(at.Minutes())%60, int(at.Seconds())%60, 0, s.Location())
	}
	for i, name := range s.ShiftNames {
		if name == shift {
			return span{start(i), start(i + 1)}
		}
	}
	// A shift that has since been renamed: its whole day.
	return span{start(0), start(len(s.ShiftStarts))}
}

// workedBetween is how much of the time from one instant to another lies in spans of work.
func workedBetween(from, to time.Time, work []span) (total time.Duration) {
	for _, w := range work {
		begin, end := w.from, w.to
		if begin.Before(from) {
			begin = from
		}
		if end.After(to) {
			end = to
		}
		if end.After(begin) {
			total += end.Sub(begin)
		}
	}
	return total
}

// allowed is how long a control may go without a reading, and the words for it. A week is counted by the calendar, the
// others in hours in which the line works.
func (c BathControl) allowed(st Site) (time.Duration, string) {
	switch c.Rhythm {
	case "hours":
		return time.Duration(c.EveryHours * float64(time.Hour)), fmt.Sprintf("every %s hours of work", quality.Number(c.EveryHours, 1))
	case "shift":
		var longest time.Duration
		for _, name := range st.ShiftNames {
			s := st.shiftSpan(time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC), name)
			longest = max(longest, s.to.Sub(s.from))
		}
		return longest, "in each shift"
	case "week":
		return 7 * 24 * time.Hour, "once a week"
	}
	return 24 * time.Hour, "once in 24 hours of work"
}

// RhythmWords say how often a control is asked for.
func (c BathControl) RhythmWords(st Site) string {
	_, words := c.allowed(st)
	return words
}

// stand works out what a control waits for at an instant.
func (c *ControlStanding) stand(st Site, at time.Time, work []span) {
	limit, asked := c.allowed(st)
	when := func(t time.Time) string { return t.In(st.Location()).Format("2 January 15:04") }
	if c.RecordID == uuid.Nil {
		c.Due, c.Overdue = true, true
		c.Says = fmt.Sprintf("%s is overdue: it was never read; it is asked %s.", c.Name(), asked)
		return
	}
	since := workedBetween(c.At, at, work)
	if c.Rhythm == "week" {
		since = at.Sub(c.At)
	}
	today, shift := st.ShopDay(at)
	readDay, readShift := st.ShopDay(c.At)
	switch c.Rhythm {
	case "shift":
		c.Due = !readDay.Equal(today) || readShift != shift
	case "day":
		c.Due = !readDay.Equal(today)
	default:
		c.Due = since > limit*3/4
	}
	c.Overdue = since > limit
	c.Due = c.Due || c.Overdue
	c.Out = c.Reading.Flag == quality.Low || c.Reading.Flag == quality.High
	switch {
	case c.Out && c.Added:
		c.Due = true
		c.Says = fmt.Sprintf("%s was %s on %s, limits %s; it was corrected since. Read it again.", c.Name(), c.Words(), when(c.At), c.Limits)
	case c.Out && !readDay.Equal(today):
		c.Due = true
		c.Says = fmt.Sprintf("%s was %s on %s, limits %s. The correction was due on the same day and is overdue.", c.Name(), c.Words(), when(c.At), c.Limits)
	case c.Out:
		c.Due = true
		c.Says = fmt.Sprintf("%s was %s on %s, limits %s. It needs a corrective addition today.", c.Name(), c.Words(), when(c.At), c.Limits)
	case c.Overdue:
		c.Says = fmt.Sprintf("%s was last read on %s; it is asked %s, so it is overdue.", c.Name(), when(c.At), asked)
	case c.Due:
		c.Says = fmt.Sprintf("%s is due; it was last read on %s.", c.Name(), when(c.At))
	}
}

// Words are the last value with its unit.
func (c ControlStanding) Words() string {
	if symbol := c.Reading.Unit.Symbol(); symbol != "" {
		return c.Reading.Shown() + " " + symbol
	}
	return c.Reading.Shown()
}

func dumpDue(st Site, b Bath, madeUp *time.Time, at time.Time) string {
	switch {
	case b.DumpDays == 0:
		return ""
	case madeUp == nil:
		return fmt.Sprintf("Its make-up is not on record; it is dumped every %d days.", b.DumpDays)
	case at.After(madeUp.AddDate(0, 0, b.DumpDays)):
		return fmt.Sprintf("It was made up on %s and is dumped every %d days, so a new make-up is overdue.", madeUp.In(st.Location()).Format("2 January 2006"), b.DumpDays)
	}
	return ""
}

// prepareBath reads what a reading of a bath, or an addition to it, depends on.
func (db *DB) prepareBath(ctx context.Context, q querier, a Actor, e *Entry, w *work, read *asked) error {
	standings, err := bathStandings(ctx, q, w.site, e.ObservedAt)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(standings, func(b BathStanding) bool { return b.ID == e.Subject.ID })
	if i < 0 {
		return refuse(RuleInvalid, "This bath is retired or not on the site's list. Choose another one.")
	}
	bath := standings[i]
	w.label = bath.Code
	for _, c := range bath.Controls {
		control := c.BathControl.BathControl
		control.Due = c.Due
		w.circumstance.Controls = append(w.circumstance.Controls, control)
	}
	read.qualified(e, w)
	if e.Kind == quality.BathAddition {
		return checkAddition(ctx, q, a.Site, e, bath.Bath, w)
	}
	return nil
}

// checkAddition asks for the lot of what goes into a bath, and refuses a chemical that belongs into another bath: acid and
// alkali are not poured together.
func checkAddition(ctx context.Context, q querier, site uuid.UUID, e *Entry, bath Bath, w *work) error {
	takes := StageMaterial(bath.Stage)
	lot := e.use("chemical")
	act := ""
	for _, r := range e.Check.Ratings {
		if r.Characteristic == quality.RatingAct {
			act = r.Code
		}
	}
	if lot == uuid.Nil {
		if act == quality.AddedChemical || act == quality.MadeUp && takes != "" {
			w.refusals = append(w.refusals, refuse(RuleLotMissing, "Scan the lot of the chemical that goes into the bath."))
		}
		return nil
	}
	l, err := materialLot(ctx, q, site, lot)
	if err != nil {
		return err
	}
	if takes != "" && l.Kind != takes {
		return refuse(RuleInvalid, fmt.Sprintf("Lot %s is %s, and bath %s takes %s. Do not pour it in; scan the right container.", l.LotNumber, article(l.Kind), bath.Code, article(takes)))
	}
	return nil
}

// workOutBath puts the computed values of a bath's controls into an entry, before it is hashed and judged.
func (db *DB) workOutBath(ctx context.Context, a Actor, e *Entry) error {
	if e.Kind != quality.BathReading || e.voids {
		return nil
	}
	at := e.ObservedAt
	if e.correction != nil {
		var err error
		if at, err = value[time.Time](ctx, db.pool, `SELECT observed_at FROM record WHERE site_id = @site AND record_id = @record`,
			sqlArgs{"site": a.Site, "record": e.correction.Of}); err != nil {
			return err
		}
	}
	if at.IsZero() {
		at = db.Clock()
	}
	controls, err := controlsAt(ctx, db.pool, a.Site, at)
	if err != nil {
		return err
	}
	var of []quality.BathControl
	for _, c := range controls[e.Subject.ID] {
		of = append(of, c.BathControl)
	}
	if err := e.Check.WorkOutBath(of); err != nil {
		_, figures, _ := strings.Cut(strings.TrimPrefix(err.Error(), "quality: "), ": ")
		return refuse(RuleInvalid, fmt.Sprintf("These figures do not fit together: %s. Check what was typed.", figures))
	}
	return nil
}

// checkBaths reads how the baths that a wash names stand: it notes the last reading of each, and refuses or flags one that
// is out of limits or was not read in time, as the spec says.
func (db *DB) checkBaths(ctx context.Context, q querier, e *Entry, w *work) error {
	if e.use("bath") == uuid.Nil {
		return nil
	}
	standings, err := bathStandings(ctx, q, w.site, e.ObservedAt)
	if err != nil {
		return err
	}
	w.bathReadings = map[uuid.UUID]uuid.UUID{}
	var against []string
	for _, b := range standings {
		if !slices.Contains(e.Uses, Use{Role: "bath", ID: b.ID}) {
			continue
		}
		if b.ReadID != uuid.Nil {
			w.bathReadings[b.ID] = b.ReadID
		}
		against = append(against, b.Against()...)
	}
	if len(against) == 0 {
		return nil
	}
	if w.spec.Pretreatment == nil || w.spec.Pretreatment.BathUnchecked != quality.BathRefuse {
		w.circumstance.Baths = against
		return nil
	}
	more := ""
	if len(against) > 1 {
		more = fmt.Sprintf(" And %d more.", len(against)-1)
	}
	w.refusals = append(w.refusals, refuseUnlessAuthorised(RuleBathUnchecked, against[0]+more+" Read and correct the bath first, or a supervisor authorises this wash."))
	return nil
}
