package web

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
	"coatbook/web/ui"
)

// loads is the page of the oven loads of the last day.
func (s *Server) loads(w http.ResponseWriter, r *http.Request) error {
	return s.renderLoads(w, r, http.StatusOK, "")
}

// renderLoads lists the loads of the last day, with what was wrong with a new one.
func (s *Server) renderLoads(w http.ResponseWriter, r *http.Request, status int, problem string) error {
	v := visitFrom(r)
	loads, err := s.store.RecentLoads(r.Context(), v.site.ID, s.store.Clock().Add(-24*time.Hour))
	if err != nil {
		return err
	}
	stations, err := s.store.Stations(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	var ovens []store.Station
	for _, st := range stations {
		if st.Kind == "oven" && st.Active {
			ovens = append(ovens, st)
		}
	}
	chosen, _ := uuid.Parse(r.PostFormValue("oven"))
	if chosen == uuid.Nil && v.device != nil && v.device.StationKind == "oven" {
		chosen = v.device.StationID.UUID
	}
	view := page.LoadsView{Frame: s.benchFrame(v, "Oven loads"), Record: keptRecord(r), Problem: problem, Loads: loadLines(v.site, loads, s.store.Clock()),
		Ovens: ui.Select{Name: "oven", Label: "Oven", Scan: "STATION", Choices: stationChoices(ovens, chosen)}}
	if view.Overdue, err = s.overdueOvens(r, ovens); err != nil {
		return err
	}
	if len(ovens) > 1 {
		view.Ovens.Empty = "choose"
	}
	return s.render(w, r, status, page.Loads(view))
}

// openLoad opens a load in an oven.
func (s *Server) openLoad(w http.ResponseWriter, r *http.Request) error {
	oven, err := uuid.Parse(r.PostFormValue("oven"))
	if err != nil {
		return s.renderLoads(w, r, http.StatusUnprocessableEntity, "Oven: choose which one.")
	}
	id, err := uuid.Parse(r.PostFormValue("record"))
	if err != nil {
		return s.renderLoads(w, r, http.StatusUnprocessableEntity, "The form has lost its number. Reload the page and open the load again.")
	}
	load, err := s.store.OpenLoad(r.Context(), visitFrom(r).actor, id, oven)
	var refusal *store.Refusal
	if errors.As(err, &refusal) {
		return s.renderLoads(w, r, http.StatusUnprocessableEntity, refusal.Sentence)
	}
	if err != nil {
		return err
	}
	http.Redirect(w, r, "/loads/"+url.PathEscape(load.Number), http.StatusSeeOther)
	return nil
}

// load is the page of one oven load.
func (s *Server) load(w http.ResponseWriter, r *http.Request) error {
	return s.renderLoad(w, r, http.StatusOK, "", nil)
}

func (s *Server) renderLoad(w http.ResponseWriter, r *http.Request, status int, problem string, panel *form.Answers) error {
	v := visitFrom(r)
	load, err := s.store.LoadByNumber(r.Context(), v.site.ID, param(r, "number"))
	if err != nil {
		return err
	}
	racks, err := s.store.RacksOf(r.Context(), v.site.ID, load.ID)
	if err != nil {
		return err
	}
	records, err := s.store.RecordsOn(r.Context(), v.site.ID, store.Subject{Kind: quality.OnLoad, ID: load.ID})
	if err != nil {
		return err
	}
	address := "/loads/" + url.PathEscape(load.Number)
	view := page.LoadView{Frame: s.benchFrame(v, "Oven load "+load.Number), Number: load.Number, AddProblem: problem,
		About: fmt.Sprintf("%s, opened %s by %s, %s", load.Oven, clockWords(v.site, load.OpenedAt, s.store.Clock()), load.OpenedBy, counted(load.Parts, "part"))}
	if problem != "" {
		view.AddValue = r.PostFormValue("rack")
	}
	if has(load.Done, quality.Cure) {
		view.WhyNoMore = "The cure run is recorded, so no more racks go in."
	} else {
		view.Add = address + "/racks"
	}
	for _, k := range racks {
		view.Racks = append(view.Racks, page.LoadRack{Number: k.Number, Words: counted(k.Parts, "part") + ", " + rackState(k), Href: "/racks/" + url.PathEscape(k.Number)})
	}
	if err := s.fillOven(r, load, records, &view); err != nil {
		return err
	}
	if view.Samples, err = s.carrierLots(r, store.Subject{Kind: quality.OnLoad, ID: load.ID}); err != nil {
		return err
	}
	if view.Panels, err = s.panelBlock(r, store.Subject{Kind: quality.OnLoad, ID: load.ID}, address, racks, panel); err != nil {
		return err
	}
	if has(load.Done, quality.Cure) {
		if view.Panels.Asked, err = s.panelAsked(r, load); err != nil {
			return err
		}
	}
	view.Steps = steps(records, len(racks) == 0, []stepTo{{quality.Cure, address + "/cure", "Record the cure run"}, {quality.CureTest, address + "/cure-test", "Record the cure test"}})
	return s.render(w, r, status, page.Load(view))
}

// addRack puts a rack into the load.
func (s *Server) addRack(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	code, problem := scanned(r.PostFormValue("rack"), "RACK", "rack tag")
	if problem != "" {
		return s.renderLoad(w, r, http.StatusUnprocessableEntity, problem, nil)
	}
	load, err := s.store.LoadByNumber(r.Context(), v.site.ID, param(r, "number"))
	if err != nil {
		return err
	}
	found, err := s.store.Scan(r.Context(), v.site.ID, code)
	if errors.Is(err, store.ErrNotFound) || err == nil && found.Kind != "rack" {
		return s.renderLoad(w, r, http.StatusUnprocessableEntity, fmt.Sprintf("“%s” is not a rack that hangs. Scan its tag again.", clipped(code)), nil)
	}
	if err != nil {
		return err
	}
	rack, err := s.store.RackByNumber(r.Context(), v.site.ID, found.Code)
	if err != nil {
		return err
	}
	err = s.store.AddRack(r.Context(), v.actor, load.ID, rack.ID)
	var refusal *store.Refusal
	if errors.As(err, &refusal) {
		return s.renderLoad(w, r, http.StatusUnprocessableEntity, refusal.Sentence, nil)
	}
	if err != nil {
		return err
	}
	http.Redirect(w, r, "/loads/"+url.PathEscape(load.Number), http.StatusSeeOther)
	return nil
}
