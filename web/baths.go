package web

import (
	"net/http"

	"github.com/go-chi/chi/v5"

	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
)

// washStageOptions are the stages of a wash in order.
var washStageOptions = optionsOf("clean", "Clean", "rinse", "Rinse", "etch", "Etch or deoxidise", "convert", "Convert", "final_rinse", "Last rinse", "dry_off", "Dry-off")

var (
	bathCode    = form.Entry{Kind: form.Text, Name: "code", Label: "Code", Hint: "capitals, digits, dashes, such as W2", Max: 20}
	bathName    = form.Entry{Kind: form.Text, Name: "name", Label: "Name", Hint: "as people say it", Max: 60}
	bathStage   = form.Entry{Kind: form.Pick, Name: "stage", Label: "Stage it serves", Options: washStageOptions}
	bathEntries = []form.Entry{bathCode, bathName, bathStage}
)

func (s *Server) bathsPage(w http.ResponseWriter, r *http.Request) error {
	return s.renderBaths(w, r, http.StatusOK, form.New(nil), "")
}

func (s *Server) renderBaths(w http.ResponseWriter, r *http.Request, status int, a *form.Answers, problem string) error {
	v := visitFrom(r)
	baths, err := s.store.Baths(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	table := page.SetupTable{Caption: "Baths", Heads: []string{"Code", "Name", "Stage", "Standing"},
		Empty: "No bath yet. Add each vessel of the wash line, from the first cleaner to the dry-off oven."}
	for _, b := range baths {
		table.Rows = append(table.Rows, []page.SetupCell{page.Code(b.Code, "/setup/baths/"+b.Code), page.Words(b.Name),
			page.Words(labelOf(washStageOptions, b.Stage)), inUse(b.Active)})
	}
	return s.render(w, r, status, page.SetupList(page.SetupListView{Frame: s.deskFrame(v, "Baths", "Setup"), Subject: "Baths",
		Title: "Which baths does the wash line have?", Lead: "A pretreatment run names the bath of each stage; the limits of the stages stand in the finish spec.",
		Table: table, AddHead: "Add a bath", Form: simpleForm("/setup/baths", "Add the bath", problem, fields(a, bathEntries...))}))
}

func (s *Server) addBath(w http.ResponseWriter, r *http.Request) error {
	a := form.New(r.PostForm)
	b := store.Bath{Code: a.Code(bathCode), Name: a.Text(bathName), Stage: a.Pick(bathStage)}
	problem, err := attempt(a, bathEntries, func() error {
		_, err := s.store.AddBath(r.Context(), visitFrom(r).actor, b)
		return err
	})
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderBaths(w, r, http.StatusUnprocessableEntity, a, problem)
	}
	return s.done(w, r, "/setup/baths", "Bath "+b.Code+" is added.")
}

// bath finds the bath an address names.
func (s *Server) bath(r *http.Request) (store.Bath, error) {
	baths, err := s.store.Baths(r.Context(), visitFrom(r).site.ID)
	if err != nil {
		return store.Bath{}, err
	}
	for _, b := range baths {
		if b.Code == chi.URLParam(r, "code") {
			return b, nil
		}
	}
	return store.Bath{}, store.ErrNotFound
}

func (s *Server) bathPage(w http.ResponseWriter, r *http.Request) error {
	b, err := s.bath(r)
	if err != nil {
		return err
	}
	return s.renderBath(w, r, http.StatusOK, b, form.New(values("name", b.Name, "active", yes(b.Active))), "")
}

func (s *Server) renderBath(w http.ResponseWriter, r *http.Request, status int, b store.Bath, a *form.Answers, problem string) error {
	change := simpleForm("/setup/baths/"+b.Code, "Save", problem, fields(a, bathName, activeTick))
	change.Cancel = "/setup/baths"
	return s.render(w, r, status, page.SetupThing(page.SetupThingView{Frame: s.deskFrame(visitFrom(r), b.Name, "Setup"), Subject: "Baths",
		Back: page.Ref{Text: "All baths", Href: "/setup/baths"}, Title: b.Name,
		Facts: []page.DeskFact{page.Plain("Code", b.Code), page.Plain("Stage", labelOf(washStageOptions, b.Stage))},
		Parts: []page.SetupSection{{Head: "Change", Note: "Code and stage stay as they are: old records name them.", Form: &change}}}))
}

func (s *Server) changeBath(w http.ResponseWriter, r *http.Request) error {
	b, err := s.bath(r)
	if err != nil {
		return err
	}
	a := form.New(r.PostForm)
	changed := store.Bath{ID: b.ID, Name: a.Text(bathName), Active: a.Yes("active")}
	problem, err := attempt(a, bathEntries, func() error { return s.store.ChangeBath(r.Context(), visitFrom(r).actor, changed) })
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderBath(w, r, http.StatusUnprocessableEntity, b, a, problem)
	}
	return s.done(w, r, "/setup/baths", "Bath "+b.Code+" is changed.")
}
