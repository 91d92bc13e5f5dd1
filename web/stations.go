package web

import (
	"net/http"

	"github.com/go-chi/chi/v5"

	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
)

var (
	stationCode = form.Entry{Kind: form.Text, Name: "code", Label: "Code", Hint: "capitals, digits, dashes, such as BOOTH-1", Max: 20}
	stationName = form.Entry{Kind: form.Text, Name: "name", Label: "Name", Hint: "as people say it", Max: 60}
	stationKind = form.Entry{Kind: form.Pick, Name: "kind", Label: "What is done there", Options: optionsOf("weld", "Weld bench", "wash", "Wash line",
		"booth", "Spray booth", "oven", "Oven", "final", "Final bench", "desk", "Desk")}
	activeTick = form.Entry{Kind: form.Tick, Name: "active", Label: "In use", Hint: "untick to retire it; its records stay"}
)

var stationEntries = []form.Entry{stationCode, stationName, stationKind}

func (s *Server) stationsPage(w http.ResponseWriter, r *http.Request) error {
	return s.renderStations(w, r, http.StatusOK, form.New(nil), "")
}

func (s *Server) renderStations(w http.ResponseWriter, r *http.Request, status int, a *form.Answers, problem string) error {
	v := visitFrom(r)
	stations, err := s.store.Stations(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	table := page.SetupTable{Caption: "Stations", Heads: []string{"Code", "Name", "What is done there", "Standing"},
		Empty: "No station yet. Add the places where work is recorded: weld bench, wash line, booths, ovens, final bench."}
	for _, st := range stations {
		table.Rows = append(table.Rows, []page.SetupCell{page.Code(st.Code, "/setup/stations/"+st.Code), page.Words(st.Name),
			page.Words(labelOf(stationKind.Options, st.Kind)), inUse(st.Active)})
	}
	return s.render(w, r, status, page.SetupList(page.SetupListView{Frame: s.deskFrame(v, "Stations", "Setup"), Subject: "Stations",
		Title: "Where is work recorded?", Lead: "A tablet is enrolled for a station; booths and ovens are named by the records made there.",
		Table: table, AddHead: "Add a station", Form: simpleForm("/setup/stations", "Add the station", problem, fields(a, stationEntries...))}))
}

func (s *Server) addStation(w http.ResponseWriter, r *http.Request) error {
	a := form.New(r.PostForm)
	st := store.Station{Code: a.Code(stationCode), Name: a.Text(stationName), Kind: a.Pick(stationKind)}
	problem, err := attempt(a, stationEntries, func() error {
		_, err := s.store.AddStation(r.Context(), visitFrom(r).actor, st)
		return err
	})
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderStations(w, r, http.StatusUnprocessableEntity, a, problem)
	}
	return s.done(w, r, "/setup/stations", "Station "+st.Code+" is added.")
}

// station finds the station an address names.
func (s *Server) station(r *http.Request) (store.Station, error) {
	stations, err := s.store.Stations(r.Context(), visitFrom(r).site.ID)
	if err != nil {
		return store.Station{}, err
	}
	for _, st := range stations {
		if st.Code == chi.URLParam(r, "code") {
			return st, nil
		}
	}
	return store.Station{}, store.ErrNotFound
}

func (s *Server) stationPage(w http.ResponseWriter, r *http.Request) error {
	st, err := s.station(r)
	if err != nil {
		return err
	}
	return s.renderStation(w, r, http.StatusOK, st, form.New(values("name", st.Name, "active", yes(st.Active))), "")
}

func (s *Server) renderStation(w http.ResponseWriter, r *http.Request, status int, st store.Station, a *form.Answers, problem string) error {
	change := simpleForm("/setup/stations/"+st.Code, "Save", problem, fields(a, stationName, activeTick))
	change.Cancel = "/setup/stations"
	return s.render(w, r, status, page.SetupThing(page.SetupThingView{Frame: s.deskFrame(visitFrom(r), st.Name, "Setup"), Subject: "Stations",
		Back: page.Ref{Text: "All stations", Href: "/setup/stations"}, Title: st.Name,
		Facts: []page.DeskFact{page.Plain("Code", st.Code), page.Plain("What is done there", labelOf(stationKind.Options, st.Kind))},
		Parts: []page.SetupSection{{Head: "Change", Note: "Code and kind stay as they are: old records name them.", Form: &change}}}))
}

func (s *Server) changeStation(w http.ResponseWriter, r *http.Request) error {
	st, err := s.station(r)
	if err != nil {
		return err
	}
	a := form.New(r.PostForm)
	changed := store.Station{ID: st.ID, Name: a.Text(stationName), Active: a.Yes("active")}
	problem, err := attempt(a, stationEntries, func() error { return s.store.ChangeStation(r.Context(), visitFrom(r).actor, changed) })
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderStation(w, r, http.StatusUnprocessableEntity, st, a, problem)
	}
	return s.done(w, r, "/setup/stations", "Station "+st.Code+" is changed.")
}
