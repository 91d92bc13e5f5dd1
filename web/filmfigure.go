package web

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/quality/process"
	"coatbook/store"
	"coatbook/web/page"
	"coatbook/web/ui"
)

// A filmGroup is film checks that were judged by the same limits of the same spec: only such may share a chart.
type filmGroup struct {
	spec      string
	revisions []string
	film      quality.FilmSpec
	lower     *float64 // µm
	upper     *float64
	checks    []store.FilmCheck
}

// filmGroups parts checks by spec and limits, the largest group first.
func filmGroups(checks []store.FilmCheck, bodies map[uuid.UUID]quality.FinishSpec) ([]*filmGroup, error) {
	var groups []*filmGroup
	byKey := map[string]*filmGroup{}
	for _, c := range checks {
		film := bodies[c.RevisionID].Film
		if film == nil {
			return nil, fmt.Errorf("film check %s: spec %s rev %s has no film section", c.RecordID, c.Spec, c.Revision)
		}
		key := c.Spec + " " + film.Limits.String()
		g := byKey[key]
		if g == nil {
			g = &filmGroup{spec: c.Spec, film: *film, lower: inMicrometres(film.Limits.Low), upper: inMicrometres(film.Limits.High)}
			byKey[key] = g
			groups = append(groups, g)
		}
		if !slices.Contains(g.revisions, c.Revision) {
			g.revisions = append(g.revisions, c.Revision)
		}
		g.checks = append(g.checks, c)
	}
	slices.SortStableFunc(groups, func(a, b *filmGroup) int { return len(b.checks) - len(a.checks) })
	return groups, nil
}

func inMicrometres(l *quality.Limit) *float64 {
	if l == nil {
		return nil
	}
	um, err := l.In(quality.Micrometre)
	if err != nil {
		return nil
	}
	return &um
}

// name is the spec with the revisions that set these limits.
func (g *filmGroup) name() string { return g.spec + " rev " + strings.Join(g.revisions, ", ") }

// revisionIDs are the spec revisions of checks, each once.
func revisionIDs(checks []store.FilmCheck) []uuid.UUID {
	var ids []uuid.UUID
	for _, c := range checks {
		if !slices.Contains(ids, c.RevisionID) {
			ids = append(ids, c.RevisionID)
		}
	}
	return ids
}

// A filmDrawing says how a figure is drawn and worded.
type filmDrawing struct {
	width, height float64
	unit          string // of the person: um or mil
	zone          *time.Location
	period        store.Period
	today         time.Time
	kind          process.Kind
	list          string // address of the parts behind it
	gauges        []store.GaugeBehind
	leftOut       func(x store.Exclusion, serial string) page.LeftOut
}

// filmKinds are the charts that film can be shown on, in the order of the choice.
var filmKinds = []struct {
	kind process.Kind
	name string
}{
	{process.KindBetweenWithin, "part means, for several spots on a part"},
	{process.KindXbarS, "X̄ and s, limits from the spread within parts"},
}

// figure draws a group's control chart and computes its capability.
func (g *filmGroup) figure(d filmDrawing) page.FilmFigure {
	f := page.FilmFigure{
		Caption: fmt.Sprintf("%s, %s, %s", counted(len(g.checks), "film check"), periodWords(d.period, d.today), g.name()),
		List:    page.Ref{Text: "List " + counted(len(g.checks), "film check"), Href: d.list},
	}
	kept, figures, all := g.without()
	gauge := gaugeOf(d.gauges, d.period.To)
	for _, c := range g.checks {
		for _, x := range c.LeftOut {
			f.LeftOut = append(f.LeftOut, d.leftOut(x, c.Serial))
		}
	}
	result, err := g.compute(d, figures, gauge)
	if err != nil {
		f.Empty = "The film of these parts cannot be computed: " + err.Error() + "."
		return f
	}
	chart, err := g.chart(d.kind, figures, result)
	if err != nil {
		f.Empty = noChart(err, len(kept.checks))
	} else {
		f.Level, f.Spread = kept.draw(d, chart)
		f.Signals = kept.signals(d, chart)
	}
	c := g.capability(d, result, chart, err == nil, gauge)
	if len(f.LeftOut) > 0 {
		whole, err := g.compute(d, all, gauge)
		if err != nil {
			f.Empty = "The film of these parts cannot be computed: " + err.Error() + "."
			return f
		}
		c.Facts = append([]page.DeskFact{page.Plain("With all values", indexWords(d, whole, gauge)), page.Plain("Without those left out", indexWords(d, result, gauge))}, c.Facts...)
	}
	f.Capability = &c
	return f
}

// without parts what counts from what is left out: the checks with values that count and their figures, and the figures of
// all values.
func (g *filmGroup) without() (kept *filmGroup, figures, all []process.Summary) {
	summary := func(f store.FilmFigures) process.Summary {
		return process.Summary{N: f.N, Mean: f.MeanUM, M2: f.M2, Min: f.MinUM, Max: f.MaxUM}
	}
	copied := *g
	copied.checks = nil
	for _, c := range g.checks {
		whole := c.FilmFigures
		if c.All != nil {
			whole = *c.All
		}
		all = append(all, summary(whole))
		if c.N > 0 {
			copied.checks = append(copied.checks, c)
			figures = append(figures, summary(c.FilmFigures))
		}
	}
	return &copied, figures, all
}

func (g *filmGroup) compute(d filmDrawing, subgroups []process.Summary, gauge figureGauge) (process.Result, error) {
	within := process.BetweenAndWithin
	if d.kind == process.KindXbarS {
		within = process.FromSBar
	}
	return process.Capability(subgroups, process.Options{Spec: process.Spec{Lower: g.lower, Upper: g.upper}, Within: within, Chart: d.kind,
		Subgroup: "part", Reading: "reading", Gauge: gauge.gauge})
}

// indexWords is a result in one line: how many, and the index or why there is none.
func indexWords(d filmDrawing, r process.Result, gauge figureGauge) string {
	words := fmt.Sprintf("%s of %s, mean %s", counted(r.N, "reading"), counted(r.Subgroups, "film check"), filmText(r.Mean, d.unit))
	name, value, lower, ok := r.Headline()
	if !ok || gauge.withheld() != "" {
		return words + ", no index"
	}
	return words + fmt.Sprintf(", %s %.2f, at least %.2f", name, value, lower)
}

// chart is the chart that stability was judged by; below the least count for an index it is drawn all the same.
func (g *filmGroup) chart(kind process.Kind, subgroups []process.Summary, r process.Result) (process.Chart, error) {
	if r.Chart != nil {
		return *r.Chart, nil
	}
	if kind == process.KindXbarS {
		return process.XbarS(subgroups, process.ChartOptions{})
	}
	return process.BetweenWithin(subgroups, process.ChartOptions{})
}

func noChart(err error, n int) string {
	switch {
	case errors.Is(err, process.ErrTooFewSubgroups):
		return fmt.Sprintf("%s: a control chart needs two.", counted(n, "film check"))
	case errors.Is(err, process.ErrNoSpread):
		return "All parts read alike, so there is no spread to draw limits from. Check the gauge."
	case errors.Is(err, process.ErrTooFewReadings):
		return "Each part has one reading, so the spread within parts is not known."
	}
	return "No control chart can be drawn: " + err.Error() + "."
}

// scale turns µm into the person's unit.
func (d filmDrawing) scale(um float64) float64 {
	if d.unit == string(quality.Mil) {
		return um / 25.4
	}
	return um
}

func (d filmDrawing) symbol() string { return quality.Unit(d.unit).Symbol() }

// when labels the axis: times on one day, dates on several.
func (d filmDrawing) when(at time.Time) string {
	if d.period.From.Equal(d.period.To) {
		return at.In(d.zone).Format("15:04")
	}
	return at.In(d.zone).Format("2 Jan")
}

// clock says when a part was measured: the time on one day, with the date on several.
func (d filmDrawing) clock(at time.Time) string {
	if d.period.From.Equal(d.period.To) {
		return clock(at, d.zone, d.period.To)
	}
	return at.In(d.zone).Format("2 Jan 15:04")
}

func (g *filmGroup) draw(d filmDrawing, c process.Chart) (level, spread ui.Plot) {
	top := ui.ChartData{Name: "Control chart of the film of each part, " + g.name(), Axis: "Mean of a part's readings, " + d.symbol(), Width: d.width, Height: d.height,
		Points: g.points(d, c.Panel, func(c store.FilmCheck) string {
			return fmt.Sprintf("mean %s of %d readings", filmText(c.MeanUM, d.unit), c.N)
		}), Runs: runs(c.Panel)}
	for _, limit := range []struct {
		um   *float64
		word string
	}{{g.lower, "minimum "}, {g.upper, "maximum "}} {
		if limit.um != nil {
			top.Limits = append(top.Limits, ui.ChartLimit{Value: d.scale(*limit.um), Words: limit.word + quality.Number(d.scale(*limit.um), 2) + " " + d.symbol()})
		}
	}
	bottom := ui.ChartData{Name: "Control chart of the spread within each part, " + g.name(), Axis: "Standard deviation of the readings on a part, " + d.symbol(),
		Width: d.width, Height: 130, Runs: runs(c.Dispersion), Points: g.points(d, c.Dispersion, func(store.FilmCheck) string { return "spread of the readings" })}
	return ui.NewPlot(top), ui.NewPlot(bottom)
}

// points are the plotted values of one panel; each leads to its record.
func (g *filmGroup) points(d filmDrawing, p process.Panel, say func(store.FilmCheck) string) []ui.ChartPoint {
	flagged := map[int]bool{}
	for _, s := range p.Signals {
		for _, i := range s.Points {
			flagged[i] = true
		}
	}
	points := make([]ui.ChartPoint, len(p.Points))
	for i, value := range p.Points {
		c := g.checks[p.At[i]]
		points[i] = ui.ChartPoint{Value: d.scale(value), Lower: d.scale(p.Lower[i]), Centre: d.scale(p.Centers[i]), Upper: d.scale(p.Upper[i]),
			Href: "/records/" + c.RecordID.String(), When: d.when(c.ObservedAt), Mark: ui.Disc,
			Title: fmt.Sprintf("%s, %s, %s: %s, %s", c.Serial, d.clock(c.ObservedAt), dash(c.BoothName), say(c), verdictStanding(c.Verdict).Word)}
		switch {
		case c.Verdict == quality.Fail:
			points[i].Mark = ui.Square
		case flagged[p.At[i]]:
			points[i].Mark = ui.Triangle
		}
	}
	return points
}

// runs turns signals, counted as positions in the input, into stretches of plotted points.
func runs(p process.Panel) []ui.ChartRun {
	place := map[int]int{}
	for i, at := range p.At {
		place[at] = i
	}
	var out []ui.ChartRun
	for _, s := range p.Signals {
		out = append(out, ui.ChartRun{From: place[s.Points[0]], To: place[s.Points[len(s.Points)-1]], Words: s.Rule.String()})
	}
	return out
}

// mostSignals is how many patterns are told one by one.
const mostSignals = 6

// signals tells the patterns in words, those of the level first. Patterns of one rule that overlap are one story.
func (g *filmGroup) signals(d filmDrawing, c process.Chart) []page.Signal {
	var out []page.Signal
	for _, panel := range []struct {
		process.Panel
		what string
	}{{c.Panel, "part means"}, {c.Dispersion, "spread within parts"}} {
		for _, run := range ui.MergeRuns(runs(panel.Panel)) {
			first, last := g.checks[panel.At[run.From]], g.checks[panel.At[run.To]]
			side := "above"
			if panel.Points[run.To] < panel.Centers[run.To] {
				side = "below"
			}
			when := "at " + d.clock(first.ObservedAt)
			if run.To > run.From {
				when = fmt.Sprintf("from %s to %s, %s", d.clock(first.ObservedAt), d.clock(last.ObservedAt), counted(run.To-run.From+1, "part"))
			}
			out = append(out, page.Signal{Link: page.Ref{Text: run.Words, Href: "/records/" + first.RecordID.String()},
				Rest: fmt.Sprintf(" %s, %s the centre line (%s).", when, side, panel.what)})
		}
	}
	if len(out) > mostSignals {
		rest := len(out) - mostSignals + 1
		out = append(out[:mostSignals-1], page.Signal{Rest: fmt.Sprintf("And %s more.", counted(rest, "pattern"))})
	}
	return out
}

// recordIDs are the records of checks.
func recordIDs(checks []store.FilmCheck) []uuid.UUID {
	ids := make([]uuid.UUID, len(checks))
	for i, c := range checks {
		ids[i] = c.RecordID
	}
	return ids
}
