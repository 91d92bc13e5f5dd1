package web

import (
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"github.com/a-h/templ"
	"github.com/go-chi/chi/v5"
	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
	"coatbook/web/ui"
)

// fillOven puts what the load's oven waits for, and the recorded profile, into the load's page.
func (s *Server) fillOven(r *http.Request, load store.OvenLoad, records []store.Header, view *page.LoadView) error {
	v := visitFrom(r)
	address := "/loads/" + url.PathEscape(load.Number)
	var cure uuid.UUID
	for _, rec := range records {
		if rec.Kind == quality.Cure && !rec.SupersededBy.Valid && rec.Verdict != quality.Voided {
			cure = rec.ID
		}
	}
	if cure != uuid.Nil {
		record, err := s.store.RecordByID(r.Context(), v.site.ID, cure)
		if err != nil {
			return err
		}
		plot, p, err := s.recordedPlot(r, record)
		if err != nil || plot == nil {
			return err
		}
		view.Chart, view.File = plot, fileRef(cure, p.File)
		return nil
	}
	if len(view.Racks) > 0 {
		view.Profile = address + "/profile"
	}
	due, err := s.store.OvenDueAt(r.Context(), v.site, load.OvenID, s.store.Clock())
	if err != nil {
		return err
	}
	for _, d := range due {
		if d.Overdue {
			view.Overdue = append(view.Overdue, load.Oven+": "+d.Sentence)
		} else {
			view.Due = append(view.Due, load.Oven+": "+d.Sentence)
		}
	}
	oven, err := s.store.Station(r.Context(), v.site.ID, load.OvenID)
	if err != nil {
		return err
	}
	view.Survey = "/ovens/" + url.PathEscape(oven.Code) + "/survey"
	return nil
}

// overdueOvens says what is overdue at the ovens, for the page on which the next load is opened.
func (s *Server) overdueOvens(r *http.Request, ovens []store.Station) ([]string, error) {
	if len(ovens) == 0 {
		return nil, nil
	}
	v, now := visitFrom(r), s.store.Clock()
	standings, err := s.store.OvenStandings(r.Context(), v.site.ID, now)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, o := range standings {
		for _, d := range o.Due(v.site, now) {
			if d.Overdue {
				out = append(out, o.Name+": "+d.Sentence)
			}
		}
	}
	return out, nil
}

// surveyEntry is a survey of an oven's uniformity.
var surveyEntry = entryKind{kind: quality.OvenSurvey, find: onOven, read: readSurvey, show: showSurvey, hazards: []string{"cure"}}

// ovenSurvey records how evenly an oven heats.
func (s *Server) ovenSurvey(w http.ResponseWriter, r *http.Request) error {
	return s.enter(w, r, surveyEntry)
}

// onOven finds the oven an address is about.
func onOven(s *Server, r *http.Request) (store.Subject, string, error) {
	o, err := s.store.OvenByCode(r.Context(), visitFrom(r).site.ID, strings.ToUpper(param(r, "code")))
	return store.Subject{Kind: quality.OnOven, ID: o.OvenID}, "/loads", err
}

// usualOvenPlaces are offered as the places of a survey.
var usualOvenPlaces = []string{"front, low", "middle", "back, high", "left wall", "right wall", "near the door"}

const maxSurveyPlaces = 20

// surveyPlaces is how many places the form shows: those asked, those filled, and one more when asked.
func (sh *sheet) surveyPlaces() int {
	n := quality.SurveyPlaces
	for i := n + 1; i <= maxSurveyPlaces; i++ {
		if sh.Values.Has(fmt.Sprintf("oven-%d", i)) {
			n = i
		}
	}
	if sh.Values.Get("more") != "" {
		n++
	}
	return min(n, maxSurveyPlaces)
}

func (sh *sheet) surveySlot(n int) form.Slot {
	return form.Slot{Name: fmt.Sprintf("oven-%d", n), Label: fmt.Sprintf("Place %d, temperature", n), Characteristic: "oven_place", Spot: n, Unit: sh.temperature(),
		Location: strings.TrimSpace(sh.Values.Get(fmt.Sprintf("place-%d", n))), Optional: n > quality.SurveyPlaces}
}

func readSurvey(sh *sheet) (quality.Check, []store.Use) {
	var slots []form.Slot
	for n := 1; n <= sh.surveyPlaces(); n++ {
		slot := sh.surveySlot(n)
		switch {
		case len([]rune(slot.Location)) > 80:
			sh.Say(fmt.Sprintf("place-%d", n), fmt.Sprintf("Place %d has more than 80 characters.", n))
		case slot.Location == "" && strings.TrimSpace(sh.Values.Get(slot.Name)) != "":
			sh.Say(fmt.Sprintf("place-%d", n), fmt.Sprintf("Place %d: say where in the oven it is.", n))
		}
		slots = append(slots, slot)
	}
	return quality.Check{Kind: quality.OvenSurvey, Readings: sh.Readings(slots, sh.visit.comma())}, sh.use("logger", "logger")
}

func showSurvey(sh *sheet, e page.Entry) templ.Component {
	v := page.SurveyView{Entry: e, Limit: fmt.Sprintf("at most %s °C between the warmest and the coldest place", quality.Number(sh.form.Circumstance.OvenSpreadC, 1))}
	for n := 1; n <= sh.surveyPlaces(); n++ {
		place := ui.TextField{Name: fmt.Sprintf("place-%d", n), Label: fmt.Sprintf("Place %d", n), Hint: "where in the oven", Value: sh.Values.Get(fmt.Sprintf("place-%d", n)), Problem: sh.Wrong[fmt.Sprintf("place-%d", n)]}
		if !sh.Values.Has(place.Name) && n <= len(usualOvenPlaces) {
			place.Value = usualOvenPlaces[n-1]
		}
		v.Places = append(v.Places, page.SurveyPlace{Place: place, Temperature: sh.field(sh.surveySlot(n), quality.Limits{})})
	}
	return page.Survey(v)
}

var (
	ovenProfiles = form.Entry{Kind: form.Whole, Name: "profiles", Label: "Profiles of the parts' temperature", Unit: "a week", Hint: "0 does not ask", Low: 0, High: 50}
	ovenAir      = form.Entry{Kind: form.Tick, Name: "air", Label: "Oven temperature in every shift", Hint: "recorded with a cure run or a survey"}
	ovenDays     = form.Entry{Kind: form.Whole, Name: "survey_days", Label: "Uniformity survey every", Unit: "days", Hint: "0 does not ask", Low: 0, High: 400}
	ovenSpread   = form.Entry{Kind: form.Number, Name: "spread", Label: "Places may lie apart", Unit: "°C", Low: 0.1, High: 50}
	ovenEntries  = []form.Entry{ovenProfiles, ovenAir, ovenDays, ovenSpread}
)

// ovensPage answers how often each oven is measured and what is overdue.
func (s *Server) ovensPage(w http.ResponseWriter, r *http.Request) error {
	v, now := visitFrom(r), s.store.Clock()
	standings, err := s.store.OvenStandings(r.Context(), v.site.ID, now)
	if err != nil {
		return err
	}
	table := page.SetupTable{Caption: "Ovens", Heads: []string{"Code", "Name", "Profiles", "Survey", "Last profile", "Last survey", "Standing"},
		Empty: "No oven in use. Add one under Stations."}
	for _, o := range standings {
		standing := page.Stands("pass", "nothing overdue")
		for _, d := range o.Due(v.site, now) {
			if d.Overdue {
				standing = page.Stands("fail", "overdue")
			}
		}
		row := []page.SetupCell{page.Code(o.Code, "/setup/ovens/"+url.PathEscape(o.Code)), page.Words(o.Name), page.Words(timesWords(o.ProfilesPerWeek, "%d a week")), page.Words(timesWords(o.SurveyDays, "every %d days")),
			page.Words("never"), page.Words("never"), standing}
		if o.ProfileAt != nil {
			row[4] = page.Words(clockWords(v.site, *o.ProfileAt, now))
		}
		if o.SurveyAt != nil {
			row[5] = page.Words(clockWords(v.site, *o.SurveyAt, now) + ", " + o.SurveyVerdict)
		}
		table.Rows = append(table.Rows, row)
	}
	return s.render(w, r, http.StatusOK, page.SetupThing(page.SetupThingView{Frame: s.deskFrame(v, "Ovens", "Setup"), Subject: "Ovens", Back: page.Ref{Text: "Setup", Href: "/setup"},
		Title: "How often is each oven measured?", Parts: []page.SetupSection{{Head: "Ovens in use", Note: "The quality label or the customer says how often. What is overdue shows before the next load and on the Day page.", Table: &table}}}))
}

func timesWords(n int, format string) string {
	if n == 0 {
		return "not asked"
	}
	return fmt.Sprintf(format, n)
}

func (s *Server) oven(r *http.Request) (store.OvenRhythm, error) {
	return s.store.OvenByCode(r.Context(), visitFrom(r).site.ID, chi.URLParam(r, "code"))
}

// ovenPage is the rhythm of one oven.
func (s *Server) ovenPage(w http.ResponseWriter, r *http.Request) error {
	o, err := s.oven(r)
	if err != nil {
		return err
	}
	a := form.New(values("profiles", strconv.Itoa(o.ProfilesPerWeek), "air", yes(o.AirEachShift), "survey_days", strconv.Itoa(o.SurveyDays), "spread", quality.Number(o.MaxSpreadC, 1)))
	return s.renderOven(w, r, http.StatusOK, o, a, "")
}

func (s *Server) renderOven(w http.ResponseWriter, r *http.Request, status int, o store.OvenRhythm, a *form.Answers, problem string) error {
	change := simpleForm("/setup/ovens/"+url.PathEscape(o.Code), "Save", problem, fields(a, ovenEntries...))
	change.Cancel = "/setup/ovens"
	return s.render(w, r, status, page.SetupThing(page.SetupThingView{Frame: s.deskFrame(visitFrom(r), o.Name, "Setup"), Subject: "Ovens",
		Back: page.Ref{Text: "All ovens", Href: "/setup/ovens"}, Title: o.Name, Facts: []page.DeskFact{page.Plain("Code", o.Code)},
		Parts: []page.SetupSection{{Head: "How often it is measured", Note: "A profile is a logger's file that became a cure run; typed peaks and times are none.", Form: &change}}}))
}

func (s *Server) changeOven(w http.ResponseWriter, r *http.Request) error {
	o, err := s.oven(r)
	if err != nil {
		return err
	}
	a := form.New(r.PostForm)
	changed := store.OvenRhythm{OvenID: o.OvenID, ProfilesPerWeek: a.Whole(ovenProfiles), AirEachShift: a.Yes("air"), SurveyDays: a.Whole(ovenDays), MaxSpreadC: a.Amount(ovenSpread)}
	problem, err := attempt(a, ovenEntries, func() error { return s.store.SetOvenRhythm(r.Context(), visitFrom(r).actor, changed) })
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderOven(w, r, http.StatusUnprocessableEntity, o, a, problem)
	}
	return s.done(w, r, "/setup/ovens", "The rhythm of "+o.Name+" is changed.")
}
