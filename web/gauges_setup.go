package web

import (
	"net/http"
	"time"

	"github.com/go-chi/chi/v5"

	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
)

var (
	gaugeCode   = form.Entry{Kind: form.Text, Name: "code", Label: "Code on its label", Hint: "capitals, digits, dashes, such as FG-01", Max: 20}
	gaugeKind   = form.Entry{Kind: form.Pick, Name: "kind", Label: "Kind", Options: optionsOf("film_gauge", "Film thickness gauge", "shim", "Certified shim", "zero_plate", "Zero plate", "gloss_meter", "Gloss meter", "weld_gauge", "Weld gauge", "thermometer", "Thermometer", "logger", "Temperature logger", "conductivity_meter", "Conductivity meter", "ph_meter", "pH meter", "light_meter", "Light meter", "climate_meter", "Temperature and humidity meter", "resistance_meter", "Earth resistance meter", "reference", "Reference standard", "other", "Other")}
	gaugeSerial = form.Entry{Kind: form.Text, Name: "serial", Label: "Maker's serial number", Hint: "as it stands on the device", Max: 60}
	gaugeOwner  = form.Entry{Kind: form.Pick, Name: "owner", Label: "Whose it is", Options: optionsOf("company", "The company's", "customer", "A customer's", "employee", "An employee's")}
	gaugeUnit   = form.Entry{Kind: form.Pick, Name: "unit", Label: "Unit it reads in", Options: optionsOf("um", "µm", "mil", "mil", "mm", "mm", "degC", "°C", "degF", "°F", "uS/cm", "µS/cm", "pH", "pH", "GU", "gloss units", "lx", "lx", "percent", "%", "Mohm", "MΩ")}

	gaugeRangeLow   = form.Entry{Kind: form.Number, Name: "range_low", Label: "from", Low: -100, High: 100000, Optional: true}
	gaugeRangeHigh  = form.Entry{Kind: form.Number, Name: "range_high", Label: "to", Low: -100, High: 100000, Optional: true}
	gaugeResolution = form.Entry{Kind: form.Number, Name: "resolution", Label: "Resolution", Hint: "in its unit", Low: 0.0001, High: 100, Optional: true}
	gaugeTolerance  = form.Entry{Kind: form.Number, Name: "tolerance", Label: "fixed, in its unit", Low: 0, High: 1000}
	gaugeShare      = form.Entry{Kind: form.Number, Name: "share", Label: "and of the value", Unit: "%", Low: 0, High: 50}
	gaugeNominal    = form.Entry{Kind: form.Number, Name: "nominal", Label: "Certified value", Hint: "in its unit, shims only", Low: 0.01, High: 5000, Optional: true}

	gaugeInterval    = form.Entry{Kind: form.Whole, Name: "interval", Label: "Calibration interval", Unit: "days", Low: 1, High: 1830}
	gaugeDue         = form.Entry{Kind: form.Date, Name: "due", Label: "Calibration due on", Hint: "last day it may be used"}
	gaugeCertificate = form.Entry{Kind: form.Text, Name: "certificate", Label: "Certificate", Hint: "its number", Max: 80, Optional: true}
	gaugeUncertainty = form.Entry{Kind: form.Number, Name: "uncertainty", Label: "Expanded uncertainty", Hint: "in its unit, from the certificate", Low: 0.0001, High: 1000, Optional: true}
	gaugeCoverage    = form.Entry{Kind: form.Number, Name: "coverage_k", Label: "Coverage factor k", Hint: "usually 2", Low: 1, High: 10, Optional: true}
	gaugeLocation    = form.Entry{Kind: form.Text, Name: "location", Label: "Where it is kept", Max: 80, Optional: true}
	gaugeOwnerName   = form.Entry{Kind: form.Text, Name: "owner_name", Label: "Owner's name", Hint: "the customer or employee", Max: 80, Optional: true}
	gaugeAlloy       = form.Entry{Kind: form.Text, Name: "alloy", Label: "Alloy", Hint: "zero plates only, such as 6060 T66", Max: 40, Optional: true}
	gaugeStatus      = form.Entry{Kind: form.Pick, Name: "status", Label: "New status", Options: optionsOf("in_use", "In use", "failed", "Failed", "withdrawn", "Withdrawn")}

	gaugeEntries = []form.Entry{gaugeCode, gaugeKind, gaugeSerial, gaugeOwner, gaugeUnit, gaugeRangeLow, gaugeRangeHigh, gaugeResolution, gaugeTolerance,
		gaugeShare, gaugeNominal, gaugeInterval, gaugeDue, gaugeCertificate, gaugeUncertainty, gaugeCoverage, gaugeLocation, gaugeOwnerName, gaugeAlloy}
)

// gaugeStanding is how a device stands, in words.
func gaugeStanding(i store.Instrument, day time.Time) page.SetupCell {
	switch i.Standing(day) {
	case "due_soon":
		return page.Stands("hold", "due soon")
	case "overdue":
		return page.Stands("fail", "overdue")
	case "doubtful":
		return page.Stands("fail", "dropped or doubtful")
	case "failed":
		return page.Stands("fail", "failed")
	case "withdrawn":
		return page.Stands("none", "withdrawn")
	}
	return page.Stands("pass", "in use")
}

func (s *Server) gaugesPage(w http.ResponseWriter, r *http.Request) error {
	return s.renderGauges(w, r, http.StatusOK, form.New(values("owner", "company", "interval", "365", "tolerance", "0", "share", "0")), "")
}

func (s *Server) renderGauges(w http.ResponseWriter, r *http.Request, status int, a *form.Answers, problem string) error {
	v := visitFrom(r)
	instruments, err := s.store.Instruments(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	table := page.SetupTable{Caption: "Gauges and shims", Heads: []string{"Code", "Kind", "Serial", "Owner", "Location", "Due", "Standing", "Last verified"},
		Empty: "No device yet. Add every gauge, whoever owns it, and at least two certified shims that bracket your film."}
	for _, i := range instruments {
		table.Rows = append(table.Rows, []page.SetupCell{page.Code(i.Code, "/setup/gauges/"+i.Code), page.Words(labelOf(gaugeKind.Options, i.Kind)),
			page.Words(i.MakerSerial), page.Words(labelOf(gaugeOwner.Options, i.Owner)), page.Words(dash(i.Location)), page.Words(i.DueOn.Format(time.DateOnly)), gaugeStanding(i, today(v)),
			page.Words(lastVerified(v, i))})
	}
	return s.render(w, r, status, page.SetupList(page.SetupListView{Frame: s.deskFrame(v, "Gauges", "Setup"), Subject: "Gauges",
		Title: "Which gauges and shims may be used?", Lead: "Every measuring device is in this register, whoever owns it. A film gauge is verified on shims at the bench before the first reading of a shift.",
		Caution: "An ordinary gauge is not approved for a classified spray area and stays outside it unless it is rated for it.",
		Table:   table, AddHead: "Add a gauge or shim", Form: gaugeForm(a, "/setup/gauges", "Add the device", problem, true)}))
}

// lastVerified says when a gauge was verified last and how it went.
func lastVerified(v *visit, i store.Instrument) string {
	if i.VerifiedAt == nil {
		return "never"
	}
	return i.VerifiedAt.In(v.site.Location()).Format("2 Jan 15:04") + ", " + i.Verdict
}

func gaugeForm(a *form.Answers, action, submit, problem string, fresh bool) page.SetupForm {
	f := page.SetupForm{Action: action, Submit: submit, Problem: problem}
	if fresh {
		f.Groups = append(f.Groups, page.SetupGroup{Legend: "What it is", Fields: fields(a, gaugeCode, gaugeKind, gaugeSerial, gaugeUnit)})
	}
	f.Groups = append(f.Groups,
		page.SetupGroup{Legend: "What it can do", Fields: []page.SetupField{
			span(a, "range", "Measuring range", "in its unit, optional", gaugeRangeLow, gaugeRangeHigh),
			field(a, gaugeResolution),
			span(a, "permitted", "Permitted error, plus or minus", "both are added; 0 to 1000, 0 to 50 %", gaugeTolerance, gaugeShare),
			field(a, gaugeNominal), field(a, gaugeAlloy)}},
		page.SetupGroup{Legend: "Whose it is and where", Fields: fields(a, gaugeOwner, gaugeOwnerName, gaugeLocation)},
		page.SetupGroup{Legend: "Its calibration", Fields: fields(a, gaugeInterval, gaugeDue, gaugeCertificate, gaugeUncertainty, gaugeCoverage)})
	return f
}

func readGauge(a *form.Answers) store.Instrument {
	i := store.Instrument{Owner: a.Pick(gaugeOwner), RangeLow: a.Number(gaugeRangeLow), RangeHigh: a.Number(gaugeRangeHigh), Resolution: a.Number(gaugeResolution),
		ToleranceAbs: a.Amount(gaugeTolerance), ToleranceShare: a.Amount(gaugeShare) / 100, Nominal: a.Number(gaugeNominal), IntervalDays: a.Whole(gaugeInterval),
		DueOn: a.Date(gaugeDue), Certificate: a.Text(gaugeCertificate), Uncertainty: a.Number(gaugeUncertainty), CoverageK: a.Number(gaugeCoverage),
		Location: a.Text(gaugeLocation), OwnerName: a.Text(gaugeOwnerName), Alloy: a.Text(gaugeAlloy)}
	if i.RangeLow != nil && i.RangeHigh != nil && *i.RangeHigh <= *i.RangeLow {
		a.Say("range_high", "Measuring range: the upper end must be over the lower end.")
	}
	return i
}

// gaugeMakesSense names the field that contradicts the kind of device.
func gaugeMakesSense(a *form.Answers, i store.Instrument) {
	if i.Kind == "shim" && i.Nominal == nil {
		a.Say("nominal", "Certified value is empty. A shim needs the value on its certificate.")
	}
	if (i.Kind == "film_gauge" || i.Kind == "shim") && i.ToleranceAbs == 0 && i.ToleranceShare == 0 {
		a.Say("tolerance", "Permitted error is 0, which no gauge or shim meets. Enter the figure of its certificate or data sheet.")
	}
	if (i.Kind == "film_gauge" || i.Kind == "shim") && i.Unit != "" && i.Unit != "um" && i.Unit != "mil" {
		a.Say("unit", "A film gauge or shim reads in µm or mil.")
	}
}

func (s *Server) addGauge(w http.ResponseWriter, r *http.Request) error {
	a := form.New(r.PostForm)
	i := readGauge(a)
	i.Code, i.Kind, i.MakerSerial, i.Unit = a.Code(gaugeCode), a.Pick(gaugeKind), a.Text(gaugeSerial), a.Pick(gaugeUnit)
	gaugeMakesSense(a, i)
	problem, err := attempt(a, gaugeEntries, func() error {
		_, err := s.store.AddInstrument(r.Context(), visitFrom(r).actor, i)
		return err
	})
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderGauges(w, r, http.StatusUnprocessableEntity, a, problem)
	}
	return s.done(w, r, "/setup/gauges", i.Code+" is in the register.")
}

func (s *Server) gaugePage(w http.ResponseWriter, r *http.Request) error {
	i, err := s.store.InstrumentByCode(r.Context(), visitFrom(r).site.ID, chi.URLParam(r, "code"))
	if err != nil {
		return err
	}
	return s.renderGauge(w, r, http.StatusOK, i, gaugeStands(i), "", form.New(nil), "")
}

// gaugeStands is what stands in the form of a device that opens.
func gaugeStands(i store.Instrument) *form.Answers {
	return form.New(values("owner", i.Owner, "range_low", setupNumberOrEmpty(i.RangeLow), "range_high", setupNumberOrEmpty(i.RangeHigh),
		"resolution", setupNumberOrEmpty(i.Resolution), "tolerance", setupNumber(i.ToleranceAbs), "share", setupNumber(i.ToleranceShare*100), "nominal", setupNumberOrEmpty(i.Nominal),
		"interval", setupNumber(float64(i.IntervalDays)), "due", i.DueOn.Format(time.DateOnly), "certificate", i.Certificate,
		"uncertainty", setupNumberOrEmpty(i.Uncertainty), "coverage_k", setupNumberOrEmpty(i.CoverageK), "location", i.Location, "owner_name", i.OwnerName, "alloy", i.Alloy))
}

func (s *Server) renderGauge(w http.ResponseWriter, r *http.Request, status int, i store.Instrument, a *form.Answers, problem string, st *form.Answers, stProblem string) error {
	v := visitFrom(r)
	change := gaugeForm(a, "/setup/gauges/"+i.Code, "Save", problem, false)
	change.Cancel = "/setup/gauges"
	stand := simpleForm("/setup/gauges/"+i.Code+"/status", "Change the status", stProblem, fields(st, gaugeStatus, reasonEntry))
	view := page.SetupThingView{Frame: s.deskFrame(v, i.Code, "Setup"), Subject: "Gauges", Back: page.Ref{Text: "All gauges", Href: "/setup/gauges"}, Title: i.Code,
		Lead: labelOf(gaugeKind.Options, i.Kind),
		Facts: []page.DeskFact{page.Plain("Maker's serial", i.MakerSerial), page.Plain("Unit", labelOf(gaugeUnit.Options, i.Unit)),
			page.Plain("Standing", gaugeStanding(i, today(v)).Standing.Word), page.Plain("Last verified", lastVerified(v, i))},
		Parts: []page.SetupSection{{Head: "Calibration and permitted error", Note: "Code, kind, serial and unit stay as they are: old readings name them.", Form: &change},
			{ID: "status", Head: "Withdraw it or take it back", Note: "A device that failed or was withdrawn cannot be used until it is taken back into use; after a failure an engineer does that. Marked as failed, everything measured with it since it was last good is recalled.", Form: &stand}}}
	checks := page.SetupSection{Head: "Checks", Note: "Its verifications, calibrations, recalls and measurement studies.", Links: []page.Ref{{Text: "History of " + i.Code, Href: "/gauges/" + i.Code}}}
	if i.Kind == "film_gauge" {
		checks.Links = append(checks.Links, page.Ref{Text: "Verify it on shims", Href: "/gauges/" + i.Code + "/verification"})
	}
	view.Parts = append([]page.SetupSection{checks}, view.Parts...)
	return s.render(w, r, status, page.SetupThing(view))
}

func (s *Server) changeGauge(w http.ResponseWriter, r *http.Request) error {
	i, err := s.store.InstrumentByCode(r.Context(), visitFrom(r).site.ID, chi.URLParam(r, "code"))
	if err != nil {
		return err
	}
	a := form.New(r.PostForm)
	changed := readGauge(a)
	changed.ID, changed.Kind, changed.Unit = i.ID, i.Kind, i.Unit
	gaugeMakesSense(a, changed)
	problem, err := attempt(a, gaugeEntries, func() error { return s.store.ChangeInstrument(r.Context(), visitFrom(r).actor, changed) })
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderGauge(w, r, http.StatusUnprocessableEntity, i, a, problem, form.New(nil), "")
	}
	return s.done(w, r, "/setup/gauges", i.Code+" is changed.")
}

func (s *Server) changeGaugeStatus(w http.ResponseWriter, r *http.Request) error {
	i, err := s.store.InstrumentByCode(r.Context(), visitFrom(r).site.ID, chi.URLParam(r, "code"))
	if err != nil {
		return err
	}
	a := form.New(r.PostForm)
	status, reason := a.Pick(gaugeStatus), a.Text(reasonEntry)
	recall := ""
	problem, err := attempt(a, []form.Entry{gaugeStatus, reasonEntry}, func() (err error) {
		recall, err = s.store.SetInstrumentStatus(r.Context(), visitFrom(r).actor, i.ID, status, reason)
		return err
	})
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderGauge(w, r, http.StatusUnprocessableEntity, i, gaugeStands(i), "", a, problem)
	}
	if recall != "" {
		return s.done(w, r, "/recalls/"+recall, i.Code+" is failed. "+recall+" lists what was measured with it since it was last good.")
	}
	return s.done(w, r, "/setup/gauges/"+i.Code, i.Code+" is now "+labelOf(gaugeStatus.Options, status)+".")
}
