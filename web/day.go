package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"time"

	"github.com/google/uuid"
	"golang.org/x/sync/errgroup"

	"coatbook/quality"
	"coatbook/quality/process"
	"coatbook/store"
	"coatbook/web/page"
	"coatbook/web/ui"
)

// trendDays is how far back the day looks for a drift of baths, ovens and film.
const trendDays = 10

// A dayRead is everything the day page reads, gathered at once.
type dayRead struct {
	now, today, day time.Time
	shift           string // that the day is narrowed to, empty for all
	current         string // shift that is running, when the day is today
	site            store.Site
	unit            string
	stages          []store.StageCount
	ends            []store.End
	faults          []store.FaultCount
	faulty          int
	film            []store.FilmCheck
	filmGaugesUsed  []store.GaugeBehind
	waitingRecords  []store.Waiting
	leftOut         func(x store.Exclusion, serial string) page.LeftOut
	filmDays        []store.FilmDay
	holds           []store.Hold
	actions         []store.HoldAction // open ones
	articles        []store.ArticleDue // part numbers that wait for a first article
	baths           []store.BathPoint
	ovens           []store.OvenDay
	rhythms         []store.OvenStanding
	bathsWatched    []store.BathStanding
	gauges          []store.Instrument
	recalls         []store.Recall
	gaugeShifts     []store.GaugeShift
	verifications   []store.LastVerification
	waiting         store.Unattended
	before, after   time.Time // neighbouring days with records, zero for none
	specs           map[uuid.UUID]quality.FinishSpec
}

// asOf is the instant for which the day says what is overdue: now, or the end of a day that is over.
func (d *dayRead) asOf() time.Time {
	if end := d.site.DayBegins(d.day.AddDate(0, 0, 1)); end.Before(d.now) {
		return end
	}
	return d.now
}

func (d *dayRead) period() store.Period { return store.OneDay(d.day, d.shift) }

// dayPage shows a shop day, today's by default.
func (s *Server) dayPage(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	d, err := s.readDay(r.Context(), v, r.URL.Query().Get("date"), r.URL.Query().Get("shift"))
	if err != nil {
		return err
	}
	view, err := d.view()
	if err != nil {
		return err
	}
	view.Frame = s.deskFrame(v, view.Title, "Day")
	return s.render(w, r, http.StatusOK, page.Day(view))
}

// readDay reads a day. A date that is none, and a shift that the site does not have, are ErrNotFound.
func (s *Server) readDay(ctx context.Context, v *visit, date, shift string) (*dayRead, error) {
	d := &dayRead{now: s.store.Clock(), site: v.site, unit: v.unit(), shift: shift,
		leftOut: func(x store.Exclusion, serial string) page.LeftOut { return s.leftOut(v, x, serial) }}
	today, current := v.site.ShopDay(d.now)
	d.today, d.day = today, today
	if date != "" {
		day, ok := parseDay(date)
		if !ok {
			return nil, fmt.Errorf("date %q: %w", date, store.ErrNotFound)
		}
		d.day = day
	}
	if d.day.Equal(today) {
		d.current = current
	}
	if shift != "" && !slices.Contains(v.site.ShiftNames, shift) {
		return nil, fmt.Errorf("shift %q: %w", shift, store.ErrNotFound)
	}
	g, ctx := errgroup.WithContext(ctx)
	// A day page takes at most a quarter of the pool, so that a few supervisors cannot keep the benches waiting.
	g.SetLimit(4)
	site, p, from := v.site.ID, d.period(), d.day.AddDate(0, 0, 1-trendDays)
	g.Go(func() (err error) { d.filmDays, err = s.store.FilmDays(ctx, site, from, d.day); return err })
	g.Go(func() (err error) { d.baths, err = s.store.BathDays(ctx, site, from, d.day); return err })
	g.Go(func() (err error) {
		d.film, err = s.store.FilmChecks(ctx, site, store.FilmFilter{Period: p})
		return err
	})
	g.Go(func() (err error) { d.ovens, err = s.store.OvenDays(ctx, site, from, d.day); return err })
	g.Go(func() (err error) { d.rhythms, err = s.store.OvenStandings(ctx, site, d.asOf()); return err })
	g.Go(func() (err error) { d.bathsWatched, err = s.store.BathStandings(ctx, v.site, d.asOf()); return err })
	g.Go(func() (err error) { d.stages, err = s.store.Stages(ctx, site, p); return err })
	g.Go(func() (err error) { d.ends, err = s.store.Ends(ctx, v.site, p); return err })
	g.Go(func() (err error) { d.faults, err = s.store.Faults(ctx, site, p); return err })
	g.Go(func() (err error) { d.faulty, err = s.store.FaultySubjects(ctx, site, p); return err })
	g.Go(func() (err error) { d.holds, err = s.store.OpenHolds(ctx, site); return err })
	g.Go(func() (err error) { d.articles, err = s.store.FirstArticlesDue(ctx, site); return err })
	g.Go(func() (err error) { d.actions, err = s.store.OpenActions(ctx, site); return err })
	g.Go(func() (err error) { d.recalls, err = s.store.OpenRecalls(ctx, site); return err })
	g.Go(func() (err error) { d.waitingRecords, err = s.store.WaitingRecords(ctx, site); return err })
	g.Go(func() (err error) { d.waiting, err = s.store.WaitingReviews(ctx, site); return err })
	g.Go(func() (err error) { d.gauges, err = s.store.Instruments(ctx, site); return err })
	g.Go(func() (err error) { d.gaugeShifts, err = s.store.GaugeShifts(ctx, site, d.day); return err })
	g.Go(func() (err error) { d.verifications, err = s.store.LastVerifications(ctx, site, d.day); return err })
	g.Go(func() (err error) { d.before, err = s.neighbour(ctx, site, d.day, false); return err })
	g.Go(func() (err error) { d.after, err = s.neighbour(ctx, site, d.day, true); return err })
	if err := g.Wait(); err != nil {
		return nil, err
	}
	revisions := revisionIDs(d.film)
	for _, b := range d.baths {
		revisions = append(revisions, b.RevisionID)
	}
	for _, o := range d.ovens {
		revisions = append(revisions, o.RevisionID)
	}
	slices.SortFunc(revisions, func(a, b uuid.UUID) int { return slices.Compare(a[:], b[:]) })
	var err error
	// The group's context has ended with it.
	d.specs, err = s.store.SpecBodies(context.WithoutCancel(ctx), site, slices.Compact(revisions))
	if err != nil {
		return nil, err
	}
	groups, err := filmGroups(d.film, d.specs)
	if err != nil || len(groups) == 0 {
		return d, err
	}
	// Of the group that the day's figure shows.
	d.filmGaugesUsed, err = s.store.GaugesBehind(context.WithoutCancel(ctx), site, recordIDs(groups[0].checks), d.day)
	return d, err
}

func (s *Server) neighbour(ctx context.Context, site uuid.UUID, day time.Time, forward bool) (time.Time, error) {
	other, err := s.store.LastShopDay(ctx, site, day, forward)
	if errors.Is(err, store.ErrNotFound) {
		return time.Time{}, nil
	}
	return other, err
}

// view words the day.
func (d *dayRead) view() (page.DayView, error) {
	zone := d.site.Location()
	shifts := "all shifts"
	if d.shift != "" {
		shifts = d.shift + " shift"
	}
	v := page.DayView{Title: dayTitle(d.day, d.today), AsOf: fmt.Sprintf("%s, as of %s", shifts, d.now.In(zone).Format("15:04")), Live: d.current != "",
		Self: d.self(d.day, d.shift), Review: page.Ref{Text: "Review and seal", Href: reviewHref(d.day)}, Date: d.day.Format(time.DateOnly), Shift: d.shift, YieldNote: yieldNote}
	if v.Live {
		v.AsOf += ", live"
	}
	d.choices(&v)
	film, err := d.filmFigure()
	if err != nil {
		return v, err
	}
	v.Film = film
	if v.Stages, err = d.yields(); err != nil {
		return v, err
	}
	if len(d.stages) == 0 {
		v.Empty = "Nothing was recorded on this day and shift."
		if !d.before.IsZero() {
			v.Empty += " The last day with records before it is " + dayTitle(d.before, d.today) + "."
		}
	}
	v.Holds, v.HoldsNote = d.holdRows()
	findings := 0
	counts := make([]ui.Count, len(d.faults))
	for i, f := range d.faults {
		findings += f.Findings
		counts[i] = ui.Count{Name: quality.FaultName(f.Fault), N: f.Findings, Href: d.list("fault", f.Fault)}
	}
	v.Faults = ui.NewBars(counts)
	if findings > 0 {
		v.FaultsNote = fmt.Sprintf("%s on %s", counted(findings, "finding"), plural(d.faulty, "part, rack or load", "parts, racks and loads"))
	}
	v.Plant = []page.PlantGroup{d.bathGroup(), d.ovenGroup()}
	v.Gauges = d.gaugeGroup()
	v.First = d.first()
	return v, nil
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return grouped(n) + " " + many
}

const yieldNote = "First time: of the parts, racks and loads whose first record of the kind, in their first cycle, was made in this time, the share that passed. " +
	"A repeat after rework does not count. Rolled is the product of the stages. Final: of the parts that came to their end in this time (released, scrapped, " +
	"returned or regraded), the share that was released, concessions included. Intervals hold 95 %; those of single stages are exact (Clopper-Pearson)."

func (d *dayRead) self(day time.Time, shift string) string {
	date := day.Format(time.DateOnly)
	if day.Equal(d.today) && shift == "" {
		return "/day"
	}
	return address("/day", "date", date, "shift", shift)
}

// list is the address of the parts behind a number of this day.
func (d *dayRead) list(pairs ...string) string {
	return address("/parts", append(pairs, periodQuery(d.period())...)...)
}

func (d *dayRead) choices(v *page.DayView) {
	before := d.before
	if before.IsZero() {
		before = d.day.AddDate(0, 0, -1)
	}
	v.Prev = page.Ref{Text: "Back to " + dayTitle(before, d.today), Href: d.self(before, d.shift)}
	switch {
	case !d.after.IsZero():
		v.Next = page.Ref{Text: "On to " + dayTitle(d.after, d.today), Href: d.self(d.after, d.shift)}
	case d.day.Before(d.today):
		v.Next = page.Ref{Text: "On to today", Href: d.self(d.today, d.shift)}
	}
	if !d.day.Equal(d.today) {
		v.Today = page.Ref{Text: "Today", Href: d.self(d.today, d.shift)}
	}
	v.Shifts = []page.DayShift{{Name: "All", Href: d.self(d.day, ""), On: d.shift == ""}}
	for _, name := range d.site.ShiftNames {
		v.Shifts = append(v.Shifts, page.DayShift{Name: name, Href: d.self(d.day, name), On: d.shift == name})
	}
}

// unitNouns are what a stage counts.
var unitNouns = map[string]string{"part": "part", "rack": "rack", "load": "load", "mixed": "record"}

// yields are the cells of the yield strip: each stage, rolled and final.
func (d *dayRead) yields() ([]page.DayStage, error) {
	steps := make([]process.Step, len(d.stages))
	for i, c := range d.stages {
		steps[i] = process.Step{Name: c.Kind.Name(), In: c.Units, FailedFirstPass: c.Units - c.Passed}
	}
	line := process.Yield{Reason: "no first checks"}
	if len(steps) > 0 {
		var err error
		if line, err = process.LineYield(steps, process.DefaultConfidence); err != nil {
			return nil, fmt.Errorf("yield of %s: %w", d.day.Format(time.DateOnly), err)
		}
	}
	lowest := 1.0
	see := func(i process.Interval) { lowest = min(lowest, i.Low) }
	for _, s := range line.Steps {
		if s.FirstPass != nil {
			see(s.FirstPass.Exact)
		}
	}
	final := d.finalYield()
	if final != nil {
		see(final.Exact)
	}
	if line.Rolled != nil && line.RolledInterval != nil {
		see(*line.RolledInterval)
	}
	from := ui.IntervalFrom(lowest)
	var cells []page.DayStage
	for i, c := range d.stages {
		cells = append(cells, d.stageCell(c, line.Steps[i].FirstPass, from))
	}
	if len(cells) == 0 && final == nil {
		return nil, nil
	}
	rolled := page.DayStage{Name: "Rolled", Percent: "–", Note: line.Reason, Sum: true}
	if line.Rolled != nil {
		rolled.Percent, rolled.Unit, rolled.Note = percent(*line.Rolled), " %", "product of the stages"
		if i := line.RolledInterval; i != nil {
			rolled.Interval = interval(*i)
			rolled.Strip = ui.NewInterval(*line.Rolled, i.Low, i.High, from, "Rolled yield, 95 % interval "+rolled.Interval)
		}
	}
	return append(cells, rolled, d.finalCell(final, from)), nil
}

func percent(share float64) string { return fmt.Sprintf("%.1f", share*100) }

func interval(i process.Interval) string {
	return fmt.Sprintf("%s to %s %%", percent(i.Low), percent(i.High))
}

func (d *dayRead) stageCell(c store.StageCount, p *process.Proportion, from float64) page.DayStage {
	noun := unitNouns[c.Subject]
	cell := page.DayStage{Name: c.Kind.Name(), Percent: "–",
		Through: page.Ref{Text: counted(c.Through, "part") + " through", Href: d.list("through", string(c.Kind))}}
	if p == nil {
		cell.Note = "no first checks"
		return cell
	}
	cell.Percent, cell.Unit, cell.Interval = percent(p.Value), " %", interval(p.Exact)
	cell.Strip = ui.NewInterval(p.Value, p.Exact.Low, p.Exact.High, from, c.Kind.Name()+", 95 % interval "+cell.Interval)
	cell.Of = page.Ref{Text: fmt.Sprintf("%d of %s", c.Passed, counted(c.Units, noun)), Href: d.list("first", string(c.Kind), "outcome", "passed")}
	if left := c.Units - c.Passed; left > 0 {
		cell.Failed = page.Ref{Text: fmt.Sprintf("%d did not", left), Href: d.list("first", string(c.Kind), "outcome", "not_passed")}
	}
	return cell
}

// finalYield is the share of finished parts that was released, or nil when none was finished.
func (d *dayRead) finalYield() *process.Proportion {
	released := 0
	for _, e := range d.ends {
		if e.Status == store.StatusReleased {
			released++
		}
	}
	p, err := process.NewProportion(released, len(d.ends), process.DefaultConfidence)
	if err != nil {
		return nil
	}
	return &p
}

func (d *dayRead) finalCell(p *process.Proportion, from float64) page.DayStage {
	cell := page.DayStage{Name: "Final", Percent: "–", Note: "no part was finished", Sum: true}
	if p == nil {
		return cell
	}
	cell.Percent, cell.Unit, cell.Interval = percent(p.Value), " %", interval(p.Exact)
	cell.Strip = ui.NewInterval(p.Value, p.Exact.Low, p.Exact.High, from, "Final yield, 95 % interval "+cell.Interval)
	cell.Of = page.Ref{Text: fmt.Sprintf("%d of %d", p.Count, p.Of), Href: d.list("end", "released")}
	cell.Note = "finished parts released"
	if lost := p.Of - p.Count; lost > 0 {
		cell.Failed = page.Ref{Text: fmt.Sprintf("%d were not", lost), Href: d.list("end", "other")}
	}
	return cell
}

// holdRows are the open holds, oldest first, as they stand now.
func (d *dayRead) holdRows() (rows []page.HoldRow, note page.Ref) {
	parts := 0
	for _, h := range d.holds {
		parts += h.OpenParts
		rows = append(rows, holdRow(h, d.now, d.site.Location()))
	}
	if len(rows) > 0 {
		note = page.Ref{Text: fmt.Sprintf("now: %s, %s", counted(len(rows), "hold"), counted(parts, "part")), Href: "/holds"}
	}
	if len(rows) > 8 {
		rows = rows[:8]
	}
	return rows, note
}

// filmFigure is the day's chart: of the spec with most parts, with a way to the others.
func (d *dayRead) filmFigure() (page.FilmFigure, error) {
	groups, err := filmGroups(d.film, d.specs)
	if err != nil {
		return page.FilmFigure{}, err
	}
	if len(groups) == 0 {
		return page.FilmFigure{Empty: "No film was measured on this day and shift."}, nil
	}
	g := groups[0]
	from := d.day.AddDate(0, 0, -29).Format(time.DateOnly)
	f := g.figure(filmDrawing{gauges: d.filmGaugesUsed, leftOut: d.leftOut, width: 680, height: 250, unit: d.unit, zone: d.site.Location(), period: d.period(), today: d.day, kind: process.KindBetweenWithin,
		list: d.list("list", "film", "spec", g.spec)})
	f.More = page.Ref{Text: "The 30 days to this one", Href: address("/charts/film", "from", from, "to", d.day.Format(time.DateOnly), "spec", g.spec)}
	for _, other := range groups[1:] {
		f.Others = append(f.Others, page.Ref{Text: fmt.Sprintf("%s: %s", other.name(), counted(len(other.checks), "film check")),
			Href: address("/charts/film", append(periodQuery(d.period()), "spec", other.spec)...)})
	}
	return f, nil
}

// dayLive tells open day pages that something of their site was committed. The page then reads itself anew.
func (s *Server) dayLive(w http.ResponseWriter, r *http.Request) error {
	changed, leave := s.live.Subscribe(visitFrom(r).site.ID)
	defer leave()
	control := http.NewResponseController(w)
	if err := control.SetWriteDeadline(time.Time{}); err != nil && !errors.Is(err, http.ErrNotSupported) {
		return err
	}
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("X-Accel-Buffering", "no")
	send := func(text string) bool {
		if _, err := w.Write([]byte(text)); err != nil {
			return false
		}
		return control.Flush() == nil
	}
	if !send(": open\n\n") {
		return nil
	}
	// A line now and then keeps proxies from closing a quiet stream.
	beat := time.NewTicker(15 * time.Second)
	defer beat.Stop()
	for {
		select {
		case <-r.Context().Done():
			return nil
		case <-s.live.done():
			return nil
		case <-changed:
			if !send("event: change\ndata: now\n\n") {
				return nil
			}
			// A burst of records is one change for the eye, and one reading of the day for the database.
			time.Sleep(400 * time.Millisecond)
		case <-beat.C:
			if !send(": still here\n\n") {
				return nil
			}
		}
	}
}
