package web

import (
	"net/http"
	"net/url"
	"strconv"

	"github.com/go-chi/chi/v5"

	"coatbook/quality"
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
	bathVolume  = form.Entry{Kind: form.Number, Name: "volume_l", Label: "Volume", Unit: "L", Hint: "for top-ups", Low: 0.1, High: 1000000, Optional: true}
	bathDump    = form.Entry{Kind: form.Whole, Name: "dump_days", Label: "Dumped and made up every", Unit: "days", Hint: "empty or 0 does not ask", Low: 0, High: 1000, Optional: true}
	bathEntries = []form.Entry{bathCode, bathName, bathStage, bathVolume, bathDump}
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
		Title: "Which baths does the wash line have?", Lead: "A pretreatment run names the bath of each stage. What is read in a bath, how often and where it must lie stands on its own page.",
		Table: table, AddHead: "Add a bath", Form: simpleForm("/setup/baths", "Add the bath", problem, fields(a, bathEntries...))}))
}

func (s *Server) addBath(w http.ResponseWriter, r *http.Request) error {
	a := form.New(r.PostForm)
	b := store.Bath{Code: a.Code(bathCode), Name: a.Text(bathName), Stage: a.Pick(bathStage), VolumeL: a.Number(bathVolume), DumpDays: a.Whole(bathDump)}
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
	return s.done(w, r, "/setup/baths/"+url.PathEscape(b.Code), "Bath "+b.Code+" is added. Set now what is read in it.")
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
	return s.renderBath(w, r, http.StatusOK, b, bathStands(b), "", freshControl(), "")
}

// bathStands writes a bath into the form it is changed in.
func bathStands(b store.Bath) *form.Answers {
	return form.New(values("name", b.Name, "active", yes(b.Active), "volume_l", setupNumberOrEmpty(b.VolumeL), "dump_days", strconv.Itoa(b.DumpDays)))
}

func (s *Server) renderBath(w http.ResponseWriter, r *http.Request, status int, b store.Bath, a *form.Answers, problem string, control *form.Answers, wrong string) error {
	v := visitFrom(r)
	at := "/setup/baths/" + url.PathEscape(b.Code)
	change := simpleForm(at, "Save", problem, fields(a, bathName, bathVolume, bathDump, activeTick))
	change.Cancel = "/setup/baths"
	standings, err := s.store.BathStandings(r.Context(), v.site, s.store.Clock())
	if err != nil {
		return err
	}
	table := page.SetupTable{Caption: "Controls", Heads: []string{"What", "Nominal", "Limits", "How", "How often", "Source"}, Empty: "Nothing is watched in this bath yet. Set its first control below."}
	for _, st := range standings {
		if st.ID != b.ID {
			continue
		}
		for _, c := range st.Controls {
			table.Rows = append(table.Rows, []page.SetupCell{page.Words(c.Name()), page.Words(nominalWords(c.BathControl.BathControl)), page.Words(c.Limits.String()), page.Words(quality.BathMethodNames[c.Method]),
				page.Words(c.RhythmWords(v.site)), page.Words(c.Source)})
		}
	}
	set := page.SetupForm{Action: at + "/controls", Submit: "Set the control", Problem: wrong, Groups: []page.SetupGroup{
		{Fields: fields(control, controlWhat, controlMethod, controlUnit, controlNominal, controlMin, controlMax, controlRhythm, controlHours, controlSource, controlWatched)},
		{Legend: "For a titration", Note: "The factor, or normality and sample, stand on the chemical's data sheet.", Fields: fields(control, controlFactor, controlNormality, controlWeight, controlSample)},
		{Legend: "For a conductivity", Fields: fields(control, controlReference, controlPerDegree)}}}
	return s.render(w, r, status, page.SetupThing(page.SetupThingView{Frame: s.deskFrame(v, b.Name, "Setup"), Subject: "Baths",
		Back: page.Ref{Text: "All baths", Href: "/setup/baths"}, Title: b.Name,
		Facts: []page.DeskFact{page.Plain("Code", b.Code), page.Plain("Stage", labelOf(washStageOptions, b.Stage)), {Term: "Log", Refs: []page.Ref{{Text: "open", Href: bathHref(b.Code)}}}},
		Parts: []page.SetupSection{{Head: "What is read in it", Note: "Setting a control that is there already changes it from now on; records keep the limits they were judged by.", Table: &table},
			{ID: "control", Head: "Set a control", Form: &set},
			{Head: "Change", Note: "Code and stage stay as they are: old records name them.", Form: &change}}}))
}

func (s *Server) changeBath(w http.ResponseWriter, r *http.Request) error {
	b, err := s.bath(r)
	if err != nil {
		return err
	}
	a := form.New(r.PostForm)
	changed := store.Bath{ID: b.ID, Name: a.Text(bathName), Active: a.Yes("active"), VolumeL: a.Number(bathVolume), DumpDays: a.Whole(bathDump)}
	problem, err := attempt(a, bathEntries, func() error { return s.store.ChangeBath(r.Context(), visitFrom(r).actor, changed) })
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderBath(w, r, http.StatusUnprocessableEntity, b, a, problem, freshControl(), "")
	}
	return s.done(w, r, "/setup/baths", "Bath "+b.Code+" is changed.")
}
