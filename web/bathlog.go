package web

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/page"
	"coatbook/web/ui"
)

// controlStanding is how a control stands, in words.
func controlStanding(c store.ControlStanding) page.Standing {
	switch {
	case c.Out && c.Added:
		return page.Standing{Word: "corrected, read it again", Kind: "hold"}
	case c.Out:
		return page.Standing{Word: "out of limits", Kind: "fail"}
	case c.Overdue:
		return page.Standing{Word: "overdue", Kind: "fail"}
	case c.Due:
		return page.Standing{Word: "due", Kind: "hold"}
	}
	return page.Standing{Word: "in limits", Kind: "pass"}
}

// bathStanding is how a bath stands as a whole: as its worst control does.
func bathStanding(b store.BathStanding) page.Standing {
	if len(b.Controls) == 0 {
		return page.Standing{Word: "no controls set", Kind: "none"}
	}
	worst := page.Standing{Word: "in limits", Kind: "pass"}
	rank := map[string]int{"pass": 0, "hold": 1, "fail": 2}
	for _, c := range b.Controls {
		if s := controlStanding(c); rank[s.Kind] > rank[worst.Kind] {
			worst = s
		}
	}
	if b.DumpDue != "" && worst.Kind != "fail" {
		return page.Standing{Word: "make-up overdue", Kind: "hold"}
	}
	return worst
}

// bathSays are the sentences about what a bath waits for.
func bathSays(b store.BathStanding) []string {
	var says []string
	for _, c := range b.Controls {
		if c.Says != "" {
			says = append(says, c.Says)
		}
	}
	if b.DumpDue != "" {
		says = append(says, b.DumpDue)
	}
	return says
}

func bathHref(code string) string { return "/baths/" + url.PathEscape(code) }

// bathDues are the baths that wait for something, for the bench of the wash line.
func bathDues(baths []store.BathStanding) []page.Due {
	var dues []page.Due
	for _, b := range baths {
		says := bathSays(b)
		if len(says) == 0 {
			continue
		}
		about := says[0]
		if len(says) > 1 {
			about += fmt.Sprintf(" And %d more.", len(says)-1)
		}
		dues = append(dues, page.Due{Href: bathHref(b.Code), Subject: b.Code, What: bathStanding(b).Word, About: about})
	}
	return dues
}

// bathList answers which bath waits for a reading or a correction.
func (s *Server) bathList(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	baths, err := s.store.BathStandings(r.Context(), v.site, s.store.Clock())
	if err != nil {
		return err
	}
	view := page.BathListView{Frame: s.deskFrame(v, "Baths", "")}
	for _, b := range baths {
		line := page.BathLine{Name: page.Ref{Text: b.Name, Href: bathHref(b.Code)}, Code: b.Code, Standing: bathStanding(b), Says: bathSays(b)}
		if bench.admits(v) == nil {
			line.Read = page.Ref{Text: "Read " + b.Code, Href: bathHref(b.Code) + "/reading"}
		}
		view.Baths = append(view.Baths, line)
	}
	return s.render(w, r, http.StatusOK, page.BathList(view))
}

// mostBathLines bounds the log on the page; narrower spans hold the rest.
const mostBathLines = 1000

// bathLogDays are the spans that the log offers, in days.
var bathLogDays = []int{7, 30, 90, 365}

// bathLog shows the log of one bath.
func (s *Server) bathLog(w http.ResponseWriter, r *http.Request) error {
	v, ctx, now := visitFrom(r), r.Context(), s.store.Clock()
	standings, err := s.store.BathStandings(ctx, v.site, now)
	if err != nil {
		return err
	}
	b, err := s.bath(r)
	if err != nil {
		return err
	}
	standing := store.BathStanding{Bath: b}
	if i := slices.IndexFunc(standings, func(x store.BathStanding) bool { return x.ID == b.ID }); i >= 0 {
		standing = standings[i]
	}
	days := 30
	if asked, err := strconv.Atoi(r.URL.Query().Get("days")); err == nil && slices.Contains(bathLogDays, asked) {
		days = asked
	}
	lines, err := s.store.BathLog(ctx, v.site.ID, b.ID, now.AddDate(0, 0, -days), now.Add(time.Minute), mostBathLines)
	if err != nil {
		return err
	}
	history, err := s.store.ControlHistory(ctx, v.site.ID, b.ID)
	if err != nil {
		return err
	}
	view := page.BathLogView{Frame: s.deskFrame(v, b.Name, ""), Name: b.Name, Code: b.Code, Standing: bathStanding(standing), Says: bathSays(standing),
		Span: fmt.Sprintf("last %d days, newest first", days), Controls: controlTable(v.site, standing), Log: bathLogTable(v.site, lines, history), Charts: bathCharts(v.site, standing, lines)}
	if !b.Active {
		view.Standing = page.Standing{Word: "retired", Kind: "none"}
	}
	for _, f := range bathFacts(v.site, standing) {
		view.Facts = append(view.Facts, page.Plain(f.Name, f.Value))
	}
	if b.DumpDays > 0 {
		view.Facts = append(view.Facts, page.Plain("Dumped", fmt.Sprintf("every %d days", b.DumpDays)))
	}
	view.Facts = append(view.Facts, page.DeskFact{Term: "Trace", Refs: []page.Ref{{Text: "parts washed in it", Href: traceHref("bath", b.Code)}}})
	if bench.admits(v) == nil && b.Active {
		view.Links = append(view.Links, page.Ref{Text: "Read it", Href: bathHref(b.Code) + "/reading"}, page.Ref{Text: "Add to it or make it up", Href: bathHref(b.Code) + "/addition"})
	}
	if engineers.admits(v) == nil {
		view.Links = append(view.Links, page.Ref{Text: "Set up its controls", Href: "/setup/baths/" + url.PathEscape(b.Code)})
	}
	for _, d := range bathLogDays {
		if d != days {
			view.Spans = append(view.Spans, page.Ref{Text: fmt.Sprintf("%d days", d), Href: fmt.Sprintf("%s?days=%d", bathHref(b.Code), d)})
		}
	}
	return s.render(w, r, http.StatusOK, page.BathLog(view))
}

func nominalWords(c quality.BathControl) string {
	if c.Nominal == nil {
		return "–"
	}
	return quality.Number(*c.Nominal, 4) + spaced(unitAfter(c.Unit))
}

func controlTable(st store.Site, b store.BathStanding) page.SetupTable {
	t := page.SetupTable{Caption: "Controls", Heads: []string{"What", "Nominal", "Limits", "How", "How often", "Last value", "Read", "Standing"},
		Empty: "No control is set. An engineer sets under Setup, Baths what is read in this bath and where it must lie."}
	for _, c := range b.Controls {
		last, at := page.Words("never"), page.Words("–")
		if c.Reading.Text != "" {
			last = page.Code(c.Words(), "/records/"+c.RecordID.String())
			at = page.Words(c.At.In(st.Location()).Format("2 Jan 15:04"))
		}
		t.Rows = append(t.Rows, []page.SetupCell{page.Words(c.Name()), page.Words(nominalWords(c.BathControl.BathControl)), page.Words(c.Limits.String()), page.Words(quality.BathMethodNames[c.Method]), page.Words(c.RhythmWords(st)),
			last, at, {Standing: controlStanding(c)}})
	}
	return t
}

// controlAt is the setting of a control that was in force at a time; history is the newest first.
func controlAt(history []store.BathControl, characteristic string, at time.Time) (quality.BathControl, bool) {
	for _, c := range history {
		if c.Characteristic == characteristic && !c.SetAt.After(at) {
			return c.BathControl, c.Active
		}
	}
	return quality.BathControl{}, false
}

func bathLogTable(st store.Site, lines []store.BathLogLine, history []store.BathControl) page.SetupTable {
	t := page.SetupTable{Caption: "Log", Heads: []string{"When", "Shift", "By", "What", "Nominal", "Limits", "Found or added", "Standing"}, Empty: "Nothing is on record in this time."}
	for _, l := range lines {
		when := page.SetupCell{Ref: page.Ref{Text: shortTime(l.ObservedAt, st.Location()), Href: "/records/" + l.ID.String()}}
		struck := l.SupersededBy.Valid || l.Verdict == quality.Voided
		row := func(what, nominal, limits, found string, s page.Standing) {
			if struck {
				s = page.Standing{Word: "corrected, does not count", Kind: "none"}
			}
			t.Rows = append(t.Rows, []page.SetupCell{when, page.Words(l.Shift), page.Words(l.Person), page.Words(what), page.Words(nominal), page.Words(limits), page.Words(found), {Standing: s}})
		}
		if l.Kind == quality.BathAddition {
			row(additionWords(l))
			continue
		}
		for _, r := range l.Readings {
			c, ok := controlAt(history, r.Characteristic, l.ObservedAt)
			if !ok {
				continue
			}
			found := strings.TrimSpace(asEntered(r) + spaced(unitAfter(r.Unit)))
			if r.Absence != quality.Present {
				found = asEntered(r)
			}
			if r.Source == "computed" && r.Raw != "" {
				found += " (" + r.Raw + ")"
			}
			standing := page.Standing{Word: "in limits", Kind: "pass"}
			switch {
			case r.Flag == quality.Low || r.Flag == quality.High:
				standing = page.Standing{Word: "too " + string(r.Flag), Kind: "fail"}
			case r.Absence != quality.Present:
				standing = page.Standing{Word: "no value", Kind: "none"}
			}
			row(c.Name(), nominalWords(c), c.Limits.String(), found, standing)
		}
	}
	return t
}

// additionWords are the cells of what was done to a bath.
func additionWords(l store.BathLogLine) (what, nominal, limits, found string, s page.Standing) {
	what, nominal, limits, s = l.Kind.Name(), "–", "–", page.Standing{Word: "added", Kind: "none"}
	var reason string
	for _, r := range l.Ratings {
		switch r.Characteristic {
		case quality.RatingAct:
			what = bathActWords[r.Code][0]
			if r.Code == quality.MadeUp {
				s.Word = "made up"
			}
		case quality.RatingReason:
			reason = r.Code
		}
	}
	var words []string
	for _, r := range l.Readings {
		words = append(words, strings.TrimSpace(asEntered(r)+spaced(unitAfter(r.Unit))))
	}
	for _, u := range l.Uses {
		words = append(words, "lot "+u.Name)
	}
	return what, nominal, limits, strings.TrimPrefix(strings.Join(words, ", ")+": "+reason, ": "), s
}

// bathCharts are the trends of the controls with at least two values in the time.
func bathCharts(st store.Site, b store.BathStanding, lines []store.BathLogLine) []page.BathChart {
	var charts []page.BathChart
	for _, c := range b.Controls {
		known, ok := quality.CharacteristicOf(c.Characteristic)
		if !ok {
			continue
		}
		unit := known.Canonical()
		data := ui.ChartData{Name: c.Name() + " of bath " + b.Code + " over time", Axis: strings.TrimSuffix(lowerFirst(c.Name())+", "+unitAfter(unit), ", "), Width: 900, Height: 220}
		for _, end := range []struct {
			limit *quality.Limit
			words string
		}{{c.Limits.Low, "minimum "}, {c.Limits.High, "maximum "}} {
			if end.limit == nil {
				continue
			}
			if at, err := end.limit.In(unit); err == nil {
				data.Limits = append(data.Limits, ui.ChartLimit{Value: at, Words: end.words + end.limit.String()})
			}
		}
		var sum float64
		for n := len(lines) - 1; n >= 0; n-- {
			l := lines[n]
			if l.SupersededBy.Valid || l.Verdict == quality.Voided {
				continue
			}
			for _, r := range l.Readings {
				at, err := r.In(unit)
				if r.Characteristic != c.Characteristic || r.Absence != quality.Present || err != nil {
					continue
				}
				pt := ui.ChartPoint{Value: at, Mark: ui.Disc, Href: "/records/" + l.ID.String(), When: l.ObservedAt.In(st.Location()).Format("2 Jan"),
					Title: fmt.Sprintf("%s: %s%s", l.ObservedAt.In(st.Location()).Format("2 Jan 15:04"), r.Shown(), spaced(unitAfter(r.Unit)))}
				if r.Flag == quality.Low || r.Flag == quality.High {
					pt.Mark, pt.Title = ui.Square, pt.Title+", too "+string(r.Flag)
				}
				data.Points = append(data.Points, pt)
				sum += at
			}
		}
		if len(data.Points) < 2 {
			continue
		}
		centre := sum / float64(len(data.Points))
		if c.Nominal != nil {
			if at, err := quality.Convert(*c.Nominal, c.Unit, unit); err == nil {
				centre = at
			}
		}
		for i := range data.Points {
			data.Points[i].Lower, data.Points[i].Centre, data.Points[i].Upper = centre, centre, centre
		}
		charts = append(charts, page.BathChart{Title: c.Name(), Plot: ui.NewPlot(data)})
	}
	return charts
}
