package web

import (
	"fmt"
	"math"
	"net/http"
	"net/url"
	"strings"
	"time"

	"coatbook/quality"
	"coatbook/quality/gauge"
	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
	"coatbook/web/ui"
)

// deviceChecks is how many checks a device's page lists.
const deviceChecks = 60

var (
	studyMethod = form.Entry{Kind: form.Pick, Name: "method", Label: "How it was worked out", Options: optionsOf("entered", "Result entered", "anova", "From readings, analysis of variance", "range", "From readings, average and range")}
	studyGRR    = form.Entry{Kind: form.Number, Name: "grr", Label: "Spread of gauge and people", Unit: "%", Low: 0, High: 1000, Optional: true}
	studyOf     = form.Entry{Kind: form.Pick, Name: "grr_of", Label: "In percent of", Options: optionsOf("tolerance", "the tolerance", "study", "the study variation")}
	studyNDC    = form.Entry{Kind: form.Whole, Name: "ndc", Label: "Distinct categories", Low: 0, High: 1000, Optional: true}
	studyMade   = form.Entry{Kind: form.Date, Name: "made_on", Label: "Made on"}
	studyValid  = form.Entry{Kind: form.Date, Name: "valid_to", Label: "Valid to", Hint: "usually a year"}
	studyReport = form.Entry{Kind: form.Text, Name: "report", Label: "Report", Hint: "its number", Max: 80, Optional: true}
	studyWidth  = form.Entry{Kind: form.Number, Name: "tolerance_width", Label: "Tolerance width", Hint: "upper less lower, in the readings' unit; for readings only", Low: 0, High: 100000, Optional: true}
	studyTable  = form.Entry{Kind: form.Area, Name: "table", Label: "Readings as CSV", Hint: "a head line with part, appraiser and value, then a line each", Max: 100000, Optional: true, Wide: true}

	studyEntries = []form.Entry{studyMethod, studyGRR, studyOf, studyNDC, studyMade, studyValid, studyReport, studyWidth, studyTable}
)

// trustWords say what a study allows.
var trustWords = map[gauge.Trust]page.Standing{gauge.Free: {Word: "under 10 %", Kind: "pass"}, gauge.Marked: {Word: "figures are marked", Kind: "hold"},
	gauge.Withheld: {Word: "figures withheld", Kind: "fail"}, "": {Word: "run out", Kind: "none"}}

// devicePage shows one measuring device with its checks, for everybody.
func (s *Server) devicePage(w http.ResponseWriter, r *http.Request) error {
	return s.renderDevice(w, r, http.StatusOK, "", form.New(values("method", "entered", "grr_of", "tolerance")), "")
}

func (s *Server) renderDevice(w http.ResponseWriter, r *http.Request, status int, problem string, study *form.Answers, studyProblem string) error {
	v, ctx := visitFrom(r), r.Context()
	i, err := gaugeByCode(ctx, s, v.site.ID, param(r, "code"))
	if err != nil {
		return err
	}
	checks, err := s.store.DeviceChecks(ctx, v.site.ID, i.ID, deviceChecks)
	if err != nil {
		return err
	}
	recalls, err := s.store.RecallsOf(ctx, v.site.ID, i.ID)
	if err != nil {
		return err
	}
	studies, err := s.store.StudiesOf(ctx, v.site.ID, i.ID)
	if err != nil {
		return err
	}
	zone, day := v.site.Location(), today(v)
	view := page.DeviceView{Frame: s.deskFrame(v, i.Code, ""), Code: i.Code, What: labelOf(gaugeKind.Options, i.Kind), Standing: gaugeStanding(i, day).Standing, Problem: problem,
		Facts: deviceFacts(i, studies, day), Checks: checkTable(checks, zone), Recalls: recallTable(recalls, zone), Studies: studyTableOf(studies, day)}
	if i.DoubtedAt != nil {
		view.Why = fmt.Sprintf("Blocked since %s: %s", longTime(*i.DoubtedAt, zone), i.Doubt)
	}
	at := "/gauges/" + url.PathEscape(i.Code)
	measures := bench.admits(v) == nil
	if i.Kind == "film_gauge" && measures {
		view.Links = append(view.Links, page.Ref{Text: "Verify it on shims", Href: at + "/verification"})
	}
	if deciders.admits(v) == nil {
		view.Links = append(view.Links, page.Ref{Text: "Calibrate it", Href: at + "/calibration"})
	}
	if setup.admits(v) == nil {
		view.Links = append(view.Links, page.Ref{Text: "Register and status", Href: "/setup" + at})
	}
	if i.Status == "in_use" && measures {
		view.Doubt = []ui.Choice{{Value: "dropped", Label: "Dropped"}, {Value: "doubtful_reading", Label: "Doubtful reading"}}
	}
	if engineers.admits(v) == nil {
		f := simpleForm(at+"/studies", "Add the study", studyProblem, fields(study, studyEntries...))
		view.Study = &f
	}
	view.Error = errorPlot(i, checks, zone)
	if view.Files, err = s.filesView(r, store.FileOwner{Kind: store.FileOfInstrument, ID: i.ID}, at, ""); err != nil {
		return err
	}
	return s.render(w, r, status, page.Device(view))
}

func deviceFacts(i store.Instrument, studies []store.Study, day time.Time) []page.DeskFact {
	unit := quality.Unit(i.Unit).Symbol()
	with := func(v *float64) string {
		if v == nil {
			return "not on record"
		}
		return strings.TrimSpace(setupNumber(*v) + " " + unit)
	}
	owner := labelOf(gaugeOwner.Options, i.Owner)
	if i.OwnerName != "" {
		owner += ": " + i.OwnerName
	}
	span := "not on record"
	if i.RangeLow != nil && i.RangeHigh != nil {
		span = strings.TrimSpace(fmt.Sprintf("%s to %s %s", setupNumber(*i.RangeLow), setupNumber(*i.RangeHigh), unit))
	}
	uncertainty := with(i.Uncertainty)
	if i.Uncertainty != nil && i.CoverageK != nil {
		uncertainty += ", k = " + setupNumber(*i.CoverageK)
	}
	facts := []page.DeskFact{page.Plain("Maker's serial", i.MakerSerial), page.Plain("Owner", owner), page.Plain("Location", dash(i.Location)), page.Plain("Range", span),
		page.Plain("Resolution", with(i.Resolution)), page.Plain("Permitted error", strings.TrimSpace(fmt.Sprintf("± %s %s and %s %%", setupNumber(i.ToleranceAbs), unit, setupNumber(i.ToleranceShare*100)))),
		page.Plain("Uncertainty", uncertainty), page.Plain("Calibration", fmt.Sprintf("every %d days, due on %s", i.IntervalDays, setupDay(i.DueOn))), page.Plain("Certificate", dash(i.Certificate))}
	if i.Nominal != nil {
		facts = append(facts, page.Plain("Certified value", with(i.Nominal)))
	}
	if i.Alloy != "" {
		facts = append(facts, page.Plain("Alloy", i.Alloy))
	}
	trust := "no study on record"
	if len(studies) > 0 {
		trust = trustWords[studies[0].Trust(day)].Word
	}
	return append(facts, page.Plain("Measurement study", trust))
}

func checkTable(checks []store.DeviceCheck, zone *time.Location) page.SetupTable {
	t := page.SetupTable{Caption: "Verifications and calibrations", Heads: []string{"When", "What", "By", "Verdict", "Known value: as found, as left"}, Empty: "Nothing on record yet."}
	for _, c := range checks {
		what := c.Kind.Name()
		if words := occasionWords[c.Occasion]; words != "" {
			what += ", " + lowerFirst(words)
		}
		if c.Certificate != "" {
			what += ", certificate " + c.Certificate
		}
		verdict := verdictStanding(c.Verdict)
		if c.SupersededBy.Valid {
			verdict = page.Standing{Word: "corrected", Kind: "none"}
		}
		var points []string
		for _, p := range c.Points {
			points = append(points, pointWords(p))
		}
		t.Rows = append(t.Rows, []page.SetupCell{{Ref: page.Ref{Text: shortTime(c.ObservedAt, zone), Href: "/records/" + c.RecordID.String()}}, page.Words(what), page.Words(c.Person),
			{Standing: verdict}, page.Words(strings.Join(points, "; "))})
	}
	return t
}

func pointWords(p store.DevicePoint) string {
	nominal := p.Place
	if p.Nominal != nil && p.Place != "bare plate" {
		nominal += " (" + quality.Number(*p.Nominal, 2) + ")"
	}
	return fmt.Sprintf("%s: %s, %s", nominal, dash(p.FoundAs), dash(p.LeftAs))
}

func recallTable(recalls []store.Recall, zone *time.Location) page.SetupTable {
	t := page.SetupTable{Caption: "Recalls", Heads: []string{"Recall", "Device", "Opened", "Records", "Parts", "Standing"}, Empty: "None. A device that is found wrong opens one by itself."}
	for _, r := range recalls {
		t.Rows = append(t.Rows, []page.SetupCell{page.Code(r.Number, "/recalls/"+r.Number), page.Words(r.Device), page.Words(r.OpenedAt.In(zone).Format("2 January 2006")),
			page.Words(fmt.Sprint(r.Records)), page.Words(fmt.Sprint(r.Parts)), {Standing: recallStanding(r)}})
	}
	return t
}

func studyTableOf(studies []store.Study, day time.Time) page.SetupTable {
	t := page.SetupTable{Caption: "Measurement studies", Heads: []string{"Made", "Spread", "Categories", "Valid to", "Says", "By"},
		Empty: "No study on record: nothing says how much of the spread is the gauge's own."}
	for _, st := range studies {
		ndc := "–"
		if st.NDC != nil {
			ndc = fmt.Sprint(*st.NDC)
		}
		t.Rows = append(t.Rows, []page.SetupCell{page.Words(setupDay(st.MadeOn)), page.Words(quality.Number(st.GRR, 1) + " % of " + labelOf(studyOf.Options, st.Of)), page.Words(ndc),
			page.Words(setupDay(st.ValidTo)), {Standing: trustWords[st.Trust(day)]}, page.Words(st.AddedBy)})
	}
	return t
}

// errorPlot is the largest error of each check against its permitted error; nil with fewer than two checks that can be drawn.
func errorPlot(i store.Instrument, checks []store.DeviceCheck, zone *time.Location) *ui.Plot {
	q := quality.QuantityOf(quality.Unit(i.Unit))
	c, ok := quality.CharacteristicOf("found_" + q)
	if !ok {
		return nil
	}
	abs, err := quality.Convert(i.ToleranceAbs, quality.Unit(i.Unit), c.Canonical())
	if err != nil || strings.HasPrefix(q, "temperature") {
		abs = i.ToleranceAbs
	}
	data := ui.ChartData{Name: "Error of " + i.Code + " over time", Axis: "error, " + c.Canonical().Symbol(), Width: 680, Height: 220}
	for n := len(checks) - 1; n >= 0; n-- {
		check := checks[n]
		if check.SupersededBy.Valid || check.Verdict == quality.Voided {
			continue
		}
		var worst *store.DevicePoint
		for k := range check.Points {
			p := &check.Points[k]
			if p.Nominal != nil && p.Found != nil && (worst == nil || math.Abs(*p.Found-*p.Nominal) > math.Abs(*worst.Found-*worst.Nominal)) {
				worst = p
			}
		}
		if worst == nil {
			continue
		}
		e, allowed := *worst.Found-*worst.Nominal, abs+i.ToleranceShare*math.Abs(*worst.Nominal)
		pt := ui.ChartPoint{Value: e, Lower: -allowed, Upper: allowed, Mark: ui.Disc, Href: "/records/" + check.RecordID.String(), When: check.ObservedAt.In(zone).Format("2 Jan"),
			Title: fmt.Sprintf("%s, %s: error %s %s at %s", check.ObservedAt.In(zone).Format("2 Jan 15:04"), lowerFirst(check.Kind.Name()), quality.Number(e, 2), c.Canonical().Symbol(), worst.Place)}
		if check.Verdict == quality.Fail {
			pt.Mark = ui.Square
		}
		data.Points = append(data.Points, pt)
	}
	if len(data.Points) < 2 {
		return nil
	}
	plot := ui.NewPlot(data)
	return &plot
}

// doubtDevice blocks a device that was dropped or gave a reading nobody believes.
func (s *Server) doubtDevice(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	i, err := gaugeByCode(r.Context(), s, v.site.ID, param(r, "code"))
	if err != nil {
		return err
	}
	note := r.PostFormValue("note")
	if len([]rune(note)) > 200 {
		note = string([]rune(note)[:200])
	}
	err = s.store.DoubtInstrument(r.Context(), v.actor, i.ID, r.PostFormValue("what"), note)
	if problem, _, refused := refusedForm(err); refused {
		return s.renderDevice(w, r, http.StatusUnprocessableEntity, problem, form.New(nil), "")
	}
	if err != nil {
		return err
	}
	return s.done(w, r, "/gauges/"+url.PathEscape(i.Code), i.Code+" is blocked until it is verified.")
}

// addStudy keeps a measurement study of a device.
func (s *Server) addStudy(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	i, err := gaugeByCode(r.Context(), s, v.site.ID, param(r, "code"))
	if err != nil {
		return err
	}
	a := form.New(r.PostForm)
	st := store.Study{InstrumentID: i.ID, Method: a.Pick(studyMethod), Of: a.Pick(studyOf), MadeOn: a.Date(studyMade), ValidTo: a.Date(studyValid), Report: a.Text(studyReport)}
	grr, width, table := a.Number(studyGRR), a.Amount(studyWidth), a.Text(studyTable)
	if strings.TrimSpace(r.PostFormValue("ndc")) != "" {
		ndc := a.Whole(studyNDC)
		st.NDC = &ndc
	}
	switch {
	case st.Method == "entered" && grr == nil:
		a.Say("grr", "Spread of gauge and people is empty. Enter it, or choose to compute it from readings.")
	case st.Method == "entered":
		st.GRR = *grr
	case table == "":
		a.Say("table", "Readings are empty. Paste the table of the study.")
	default:
		st.SourceData = table
	}
	problem, err := attempt(a, studyEntries, func() error {
		_, err := s.store.AddStudy(r.Context(), v.actor, st, width)
		return err
	})
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderDevice(w, r, http.StatusUnprocessableEntity, "", a, problem)
	}
	return s.done(w, r, "/gauges/"+url.PathEscape(i.Code)+"#studies", "The study is on record.")
}
