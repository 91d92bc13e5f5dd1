package web

import (
	"net/http"
	"strconv"

	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
)

var (
	tabletName  = form.Entry{Kind: form.Text, Name: "name", Label: "Name", Hint: "where it hangs, such as Booth 1 tablet", Max: 60}
	tabletClass = form.Entry{Kind: form.Pick, Name: "location", Label: "Where it is used", Options: optionsOf("unclassified", "Outside the classified spray area", "rated", "Rated for the area it is in (see its plate)")}
	tabletScale = form.Entry{Kind: form.Whole, Name: "scale", Label: "Pixels per inch of its screen", Hint: "132 for a usual 10-inch tablet", Low: 90, High: 220}
)

// tabletStation offers the stations in use.
func tabletStation(stations []store.Station) form.Entry {
	e := form.Entry{Kind: form.Pick, Name: "station", Label: "Station"}
	for _, st := range stations {
		if st.Active {
			e.Options = append(e.Options, form.Option{Value: st.ID.String(), Label: st.Name})
		}
	}
	return e
}

func tabletEntries(stations []store.Station) []form.Entry {
	return []form.Entry{tabletName, tabletStation(stations), tabletClass, tabletScale}
}

func (s *Server) tabletsPage(w http.ResponseWriter, r *http.Request) error {
	return s.renderTablets(w, r, http.StatusOK, form.New(values("scale", "132")), "")
}

func tabletStanding(d store.Device) page.SetupCell {
	switch {
	case d.RevokedAt != nil:
		return page.Stands("none", "revoked")
	case d.EnrolledAt == nil:
		return page.Stands("hold", "link not used yet")
	}
	return page.Stands("pass", "enrolled")
}

func (s *Server) renderTablets(w http.ResponseWriter, r *http.Request, status int, a *form.Answers, problem string) error {
	v := visitFrom(r)
	devices, err := s.store.Devices(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	stations, err := s.store.Stations(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	table := page.SetupTable{Caption: "Tablets", Heads: []string{"Name", "Station", "Used", "Pixels per inch", "Standing"},
		Empty: "No tablet yet. On an enrolled tablet a badge or a PIN is enough to sign on."}
	for _, d := range devices {
		table.Rows = append(table.Rows, []page.SetupCell{{Ref: page.Ref{Text: d.Name, Href: "/setup/tablets/" + d.ID.String()}}, page.Words(wordOrNone(d.Station)),
			page.Words(labelOf(tabletClass.Options, d.LocationClass)), page.Figure(strconv.Itoa(d.PixelsPerInch)), tabletStanding(d)})
	}
	view := page.SetupListView{Frame: s.deskFrame(v, "Tablets", "Setup"), Subject: "Tablets", Title: "Which tablets may be signed on to with a badge or PIN?",
		Caution: "An ordinary tablet, scanner or gauge is not approved for a classified spray area and must stay outside it unless it is rated for it. Local codes and licensed practice decide where the area ends.",
		Table:   table, AddHead: "Enrol a tablet", Form: simpleForm("/setup/tablets", "Make the enrolment link", problem, fields(a, tabletEntries(stations)...))}
	if len(tabletStation(stations).Options) == 0 {
		view.CannotAdd, view.Needs = "A tablet belongs to a station.", page.Ref{Text: "Add the station first.", Href: "/setup/stations#add"}
	}
	return s.render(w, r, status, page.SetupList(view))
}

func (s *Server) addTablet(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	stations, err := s.store.Stations(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	a := form.New(r.PostForm)
	n := store.NewDevice{Name: a.Text(tabletName), Station: parsedID(a.Pick(tabletStation(stations))), LocationClass: a.Pick(tabletClass), PixelsPerInch: a.Whole(tabletScale)}
	secret := ""
	problem, err := attempt(a, tabletEntries(stations), func() (err error) {
		_, secret, err = s.store.AddDevice(r.Context(), v.actor, n)
		return err
	})
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderTablets(w, r, http.StatusUnprocessableEntity, a, problem)
	}
	return s.renderOnce(w, r, page.SetupOnceView{Subject: "Tablets", Title: "Enrol " + n.Name, For: n.Name, Label: "Open this address on the tablet", Text: s.address(r, "/enrol/"+secret),
		Says:    []string{"Point the tablet's camera at the code, or type the address. It works once, within a day, and is not shown again."},
		Caution: "The tablet stays outside the classified spray area unless it is rated for it.",
		Done:    page.Ref{Text: "Done, back to the tablets", Href: "/setup/tablets"}})
}

// tablet finds the tablet an address names.
func (s *Server) tablet(r *http.Request) (store.Device, error) {
	id, err := idParam(r, "id")
	if err != nil {
		return store.Device{}, err
	}
	devices, err := s.store.Devices(r.Context(), visitFrom(r).site.ID)
	if err != nil {
		return store.Device{}, err
	}
	for _, d := range devices {
		if d.ID == id {
			return d, nil
		}
	}
	return store.Device{}, store.ErrNotFound
}

func (s *Server) tabletPage(w http.ResponseWriter, r *http.Request) error {
	d, err := s.tablet(r)
	if err != nil {
		return err
	}
	return s.renderTablet(w, r, http.StatusOK, d, form.New(nil), "")
}

func (s *Server) renderTablet(w http.ResponseWriter, r *http.Request, status int, d store.Device, a *form.Answers, problem string) error {
	view := page.SetupThingView{Frame: s.deskFrame(visitFrom(r), d.Name, "Setup"), Subject: "Tablets", Back: page.Ref{Text: "All tablets", Href: "/setup/tablets"}, Title: d.Name,
		Facts: []page.DeskFact{page.Plain("Station", wordOrNone(d.Station)), page.Plain("Used", labelOf(tabletClass.Options, d.LocationClass)), page.Plain("Standing", tabletStanding(d).Standing.Word)}}
	if d.RevokedAt == nil {
		revoke := simpleForm("/setup/tablets/"+d.ID.String(), "Revoke the tablet", problem, fields(a, reasonEntry))
		revoke.Cancel = "/setup/tablets"
		view.Parts = []page.SetupSection{{Head: "Revoke it", Note: "For a tablet that is lost, broken or handed on. Its credential and every PIN on it stop working at once. To use it again, enrol it anew.", Form: &revoke}}
	}
	return s.render(w, r, status, page.SetupThing(view))
}

func (s *Server) revokeTablet(w http.ResponseWriter, r *http.Request) error {
	d, err := s.tablet(r)
	if err != nil {
		return err
	}
	a := form.New(r.PostForm)
	reason := a.Text(reasonEntry)
	problem, err := attempt(a, []form.Entry{reasonEntry}, func() error { return s.store.RevokeDevice(r.Context(), visitFrom(r).actor, d.ID, reason) })
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderTablet(w, r, http.StatusUnprocessableEntity, d, a, problem)
	}
	return s.done(w, r, "/setup/tablets", d.Name+" is revoked.")
}
