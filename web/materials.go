package web

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
)

// hazardNames are what a safety data sheet can warn of, in the order of the form.
var hazardNames = optionsOf("acid", "Acid", "alkali", "Alkali", "fluoride", "Holds or sets free fluoride", "flammable", "Burns easily", "oxidiser", "Feeds a fire",
	"harmful", "Harmful to breathe, swallow or touch", "dust", "Dust can burn", "fume", "Gives off fume in use")

var (
	materialCode       = form.Entry{Kind: form.Text, Name: "code", Label: "Code", Hint: "the maker's product code, in capitals", Max: 30}
	materialName       = form.Entry{Kind: form.Text, Name: "name", Label: "Name", Hint: "what people call it", Max: 80}
	materialMaker      = form.Entry{Kind: form.Text, Name: "maker", Label: "Maker", Max: 80}
	materialColour     = form.Entry{Kind: form.Text, Name: "colour", Label: "Colour", Hint: "such as slate grey", Max: 60}
	materialColdest    = form.Entry{Kind: form.Number, Name: "storage-min", Label: "Coldest storage", Unit: "°C", Low: -20, High: 30, Optional: true}
	materialWarmest    = form.Entry{Kind: form.Number, Name: "storage", Label: "Warmest storage", Unit: "°C", Low: 0, High: 50}
	materialStored     = form.Entry{Kind: form.Text, Name: "storage-note", Label: "Storage rule", Hint: "such as dry, closed, away from acids", Max: 160, Optional: true}
	materialSource     = form.Entry{Kind: form.Text, Name: "source", Label: "Source of the figures", Hint: "the technical data sheet and its edition", Max: 160}
	materialFilm       = form.Entry{Kind: form.Number, Name: "film", Unit: "µm", Low: 1, High: 2000, Optional: true}
	materialRub        = form.Entry{Kind: form.Text, Name: "rub", Label: "Solvent rub by the maker", Hint: "solvent, count and rating, such as MEK, 50 double rubs", Max: 160, Optional: true}
	materialHazards    = form.Entry{Kind: form.Many, Name: "hazards", Label: "What its safety data sheet warns of", Options: hazardNames, Optional: true, Wide: true}
	materialSheet      = form.Entry{Kind: form.Text, Name: "sheet_link", Label: "Address of the maker's sheet", Hint: "https://…; opens with network only and counts while no sheet is in the book", Max: 400, Optional: true, Wide: true}
	materialSheetDay   = form.Entry{Kind: form.Date, Name: "sheet_dated", Label: "Issued on", Hint: "the date of the sheet at that address", Optional: true}
	materialSheetPaper = form.Entry{Kind: form.Text, Name: "sheet_paper", Label: "Paper copy at", Hint: "where it hangs, such as wash bay, red binder", Max: 120, Optional: true}

	pointMetal = form.Entry{Kind: form.Number, Label: "metal", Unit: "°C", Low: 50, High: 300, Optional: true}
	pointMin   = form.Entry{Kind: form.Number, Label: "at least", Unit: "min", Low: 0.5, High: 240, Optional: true}
	pointMax   = form.Entry{Kind: form.Number, Label: "at most", Unit: "min", Low: 0.5, High: 240, Optional: true}
)

// curePointRows is how many lines of a cure window the form has; data sheets give two to four.
const curePointRows = 5

// materialEntries are the fields of a kind of material, those of the product first.
func materialEntries(kind string) []form.Entry {
	entries := []form.Entry{materialCode, materialName, materialMaker}
	warmest, source := materialWarmest, materialSource
	warmest.Optional, source.Optional = kind != store.Powder, kind != store.Powder
	if kind == store.Powder {
		entries = append(entries, materialColour)
	}
	if kind == store.Heat {
		return append(entries, source)
	}
	entries = append(entries, materialColdest, warmest, materialStored, source)
	if kind == store.Powder {
		entries = append(entries, materialFilm.As("film-low"), materialFilm.As("film-high"), materialRub)
	}
	if store.NeedsSheet(kind) {
		entries = append(entries, materialHazards, materialSheet, materialSheetDay, materialSheetPaper)
	}
	return entries
}

// filmEnd is one end of the maker's film range.
func filmEnd(name, word string) form.Entry {
	e := materialFilm.As(name)
	e.Label = word
	return e
}

// kindOf reads which kind of material a page is about; powder where it is not said.
func kindOf(values url.Values) string {
	if kind := values.Get("kind"); slices.Contains(store.MaterialKinds, kind) {
		return kind
	}
	return store.Powder
}

func (s *Server) materialsPage(w http.ResponseWriter, r *http.Request) error {
	return s.renderMaterials(w, r, http.StatusOK, form.New(url.Values{"kind": {kindOf(r.URL.Query())}}), "")
}

func (s *Server) renderMaterials(w http.ResponseWriter, r *http.Request, status int, a *form.Answers, problem string) error {
	v := visitFrom(r)
	kind := kindOf(a.Values)
	materials, err := s.store.Materials(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	table := page.SetupTable{Caption: "Materials", Heads: []string{"Code", "Kind", "Name", "Maker", "Cure window", "Safety data sheet"},
		Empty: "No material yet. Add the first powder with the cure points of its data sheet; the oven is judged by them."}
	for _, m := range materials {
		window := page.Words("")
		if m.Kind == store.Powder {
			points, err := s.store.CurePoints(r.Context(), v.site.ID, m.ID)
			if err != nil {
				return err
			}
			if window = page.Stands("none", "missing"); len(points) > 0 {
				window = page.Words(cureWindowWords(points))
			}
		}
		table.Rows = append(table.Rows, []page.SetupCell{page.Code(m.Code, "/setup/materials/"+m.Code), page.Words(store.MaterialKindNames[m.Kind]), page.Words(m.Name),
			page.Words(m.Maker), window, sheetStands(m, today(v))})
	}
	view := page.SetupMaterialsView{Frame: s.deskFrame(v, "Materials", "Setup"), Table: table, AddHead: "Add " + kindWithArticle(kind),
		Form: materialForm(a, kind, "/setup/materials", "Add the "+store.MaterialKindNames[kind], problem, materialEntries(kind))}
	for _, k := range store.MaterialKinds {
		view.Kinds = append(view.Kinds, page.KindLink{Ref: page.Ref{Text: upperFirst(store.MaterialKindNames[k]), Href: "/setup/materials?kind=" + k + "#add"}, Chosen: k == kind})
	}
	return s.render(w, r, status, page.SetupMaterials(view))
}

func kindWithArticle(kind string) string {
	name := store.MaterialKindNames[kind]
	if strings.ContainsRune("aeiou", rune(name[0])) {
		return "an " + name
	}
	return "a " + name
}

// sheetStands says in a word how a safety data sheet stands on a day.
func sheetStands(m store.Material, day time.Time) page.SetupCell {
	switch standing := m.SheetStanding(day); {
	case standing == "missing" && sheetHref(m) != "":
		return page.Stands("fail", "no paper copy")
	case standing == "missing":
		return page.Stands("fail", "missing")
	case standing == "old":
		return page.Stands("hold", fmt.Sprintf("over %d years old", store.SheetMaxAge))
	case standing == "ok":
		return page.Stands("pass", m.SheetIssued().Format(time.DateOnly))
	}
	return page.Stands("none", "not needed")
}

// cureWindowWords prints a cure window on one line.
func cureWindowWords(points []store.CurePoint) string {
	words := make([]string, len(points))
	for i, p := range points {
		words[i] = fmt.Sprintf("%s °C: %s to %s min", setupNumber(p.MetalC), setupNumber(p.MinutesMin), setupNumber(p.MinutesMax))
	}
	return strings.Join(words, " · ")
}

// materialForm lays out the fields of a kind: the product, its coat and cure where it is a powder, its safety data sheet.
func materialForm(a *form.Answers, kind, action, submit, problem string, entries []form.Entry) page.SetupForm {
	f := simpleForm(action, submit, problem, nil)
	f.Hidden = []page.SetupBox{{Name: "kind", Value: kind}}
	where := "below"
	if action == "/setup/materials" {
		where = "on the material's own page, once it is in the book"
	}
	sheet := page.SetupGroup{Legend: "Safety data sheet", Note: fmt.Sprintf("One tap from the step that uses it, two from the locked sign-on page. The sheet itself is added %s. One over %d years old shows on the setup page.", where, store.SheetMaxAge)}
	coat := page.SetupGroup{Legend: "Coat by the maker", Note: "What the technical data sheet gives. The finish spec decides; these stand beside it."}
	for _, e := range entries {
		switch e.Name {
		case "film-low":
			coat.Fields = append(coat.Fields, span(a, "film", "Film thickness", "1 to 2000 µm, optional", filmEnd("film-low", "from"), filmEnd("film-high", "to")))
		case "film-high":
		case "rub":
			coat.Fields = append(coat.Fields, field(a, e))
		case "hazards", "sheet_link", "sheet_dated", "sheet_paper":
			sheet.Fields = append(sheet.Fields, field(a, e))
		default:
			f.Groups[0].Fields = append(f.Groups[0].Fields, field(a, e))
		}
	}
	if kind == store.Powder {
		window := page.SetupGroup{Legend: "Cure window", Note: "One line for each point of the data sheet, at metal temperature: 50 to 300 °C, 0.5 to 240 min. Leave lines that are not needed empty."}
		for i := range curePointRows {
			name := fmt.Sprintf("point%d", i)
			window.Fields = append(window.Fields, span(a, name, fmt.Sprintf("Point %d", i+1), "", pointMetal.As(name+"-metal"), pointMin.As(name+"-min"), pointMax.As(name+"-max")))
		}
		f.Groups = append(f.Groups, coat, window)
	}
	if len(sheet.Fields) > 0 {
		f.Groups = append(f.Groups, sheet)
	}
	return f
}

// readCurePoints reads the lines that are not empty. A half line is an error at its empty field.
func readCurePoints(a *form.Answers) []store.CurePoint {
	var points []store.CurePoint
	for i := range curePointRows {
		name := fmt.Sprintf("point%d", i)
		entries := []form.Entry{pointMetal.As(name + "-metal"), pointMin.As(name + "-min"), pointMax.As(name + "-max")}
		if rowEmpty(a, entries) {
			continue
		}
		var numbers [3]float64
		for k, e := range entries {
			e.Optional = false
			e.Label = fmt.Sprintf("Point %d, %s", i+1, e.Label)
			numbers[k] = a.Amount(e)
		}
		if a.OK() && numbers[2] <= numbers[1] {
			a.Say(name+"-max", fmt.Sprintf("Point %d: the longest time must be over the shortest, %s min.", i+1, setupNumber(numbers[1])))
		}
		points = append(points, store.CurePoint{MetalC: numbers[0], MinutesMin: numbers[1], MinutesMax: numbers[2]})
	}
	if len(points) == 0 {
		a.Say("point0-metal", "The cure window is empty. Enter at least one point of the data sheet.")
	}
	return points
}

// rowEmpty reports whether nothing is entered in a row of fields.
func rowEmpty(a *form.Answers, entries []form.Entry) bool {
	for _, e := range entries {
		if strings.TrimSpace(a.Values.Get(e.Name)) != "" {
			return false
		}
	}
	return true
}

// readMaterial reads the fields of a kind, and a powder's cure window.
func readMaterial(a *form.Answers, kind string) (m store.Material, points []store.CurePoint) {
	m.Kind, m.Active = kind, true
	for _, e := range materialEntries(kind) {
		switch e.Name {
		case "name":
			m.Name = a.Text(e)
		case "maker":
			m.Maker = a.Text(e)
		case "colour":
			m.Colour = a.Text(e)
		case "storage-min":
			m.StorageMinC = a.Number(e)
		case "storage":
			m.StorageMaxC = a.Number(e)
		case "storage-note":
			m.StorageNote = a.Text(e)
		case "source":
			m.Source = a.Text(e)
		case "film-low":
			m.FilmMinUM = a.Number(e)
		case "film-high":
			m.FilmMaxUM = a.Number(e)
		case "rub":
			m.RubMethod = a.Text(e)
		case "hazards":
			m.Hazards = a.Many(e)
		case "sheet_link":
			m.SheetLink = a.Text(e)
		case "sheet_dated":
			m.SheetIssuedOn = optionalDay(a, e)
		case "sheet_paper":
			m.SheetPaperAt = a.Text(e)
		}
	}
	if (m.FilmMinUM == nil) != (m.FilmMaxUM == nil) || m.FilmMinUM != nil && *m.FilmMaxUM <= *m.FilmMinUM {
		a.Say("film-low", "Film thickness: give both ends of the maker's range, the lower one first, or none.")
	}
	if m.SheetLink != "" && m.SheetIssuedOn == nil {
		a.Say("sheet_dated", "Issued on is empty. The date stands on the safety data sheet.")
	}
	if m.SheetIssuedOn != nil && m.SheetLink == "" {
		a.Say("sheet_link", "Address of the maker's sheet is empty. Give it, or leave its date empty too.")
	}
	if kind == store.Powder {
		points = readCurePoints(a)
	}
	return m, points
}

// optionalDay reads a date that may be left out.
func optionalDay(a *form.Answers, e form.Entry) *time.Time {
	if strings.TrimSpace(a.Values.Get(e.Name)) == "" && e.Optional {
		return nil
	}
	day := a.Date(e)
	return &day
}

func (s *Server) addMaterial(w http.ResponseWriter, r *http.Request) error {
	a := form.New(r.PostForm)
	kind := kindOf(a.Values)
	code := a.Code(materialCode)
	m, points := readMaterial(a, kind)
	m.Code = code
	problem, err := attempt(a, materialEntries(kind), func() error {
		_, err := s.store.AddMaterial(r.Context(), visitFrom(r).actor, m, points)
		return err
	})
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderMaterials(w, r, http.StatusUnprocessableEntity, a, problem)
	}
	return s.done(w, r, "/setup/materials?kind="+kind, upperFirst(store.MaterialKindNames[kind])+" "+m.Code+" is added.")
}

// materialForms are the forms of a material's page with what is wrong in each.
type materialForms struct {
	change, sheet, withdraw                *form.Answers
	problem, sheetProblem, withdrawProblem string
}

func (s *Server) materialPage(w http.ResponseWriter, r *http.Request) error {
	m, err := s.store.MaterialByCode(r.Context(), visitFrom(r).site.ID, chi.URLParam(r, "code"))
	if err != nil {
		return err
	}
	stands, err := s.materialStands(r, m)
	if err != nil {
		return err
	}
	return s.renderMaterial(w, r, http.StatusOK, m, materialForms{change: stands, sheet: form.New(nil), withdraw: form.New(nil)})
}

// materialStands fills the form of a material with what the book has.
func (s *Server) materialStands(r *http.Request, m store.Material) (*form.Answers, error) {
	points, err := s.store.CurePoints(r.Context(), visitFrom(r).site.ID, m.ID)
	if err != nil {
		return nil, err
	}
	stands := values("name", m.Name, "maker", m.Maker, "colour", m.Colour, "storage-min", setupNumberOrEmpty(m.StorageMinC), "storage", setupNumberOrEmpty(m.StorageMaxC),
		"storage-note", m.StorageNote, "source", m.Source, "film-low", setupNumberOrEmpty(m.FilmMinUM), "film-high", setupNumberOrEmpty(m.FilmMaxUM), "rub", m.RubMethod,
		"sheet_link", m.SheetLink, "sheet_paper", m.SheetPaperAt, "active", yes(m.Active))
	stands["hazards"] = m.Hazards
	if m.SheetIssuedOn != nil {
		stands.Set("sheet_dated", m.SheetIssuedOn.Format(time.DateOnly))
	}
	for i, point := range points {
		name := fmt.Sprintf("point%d", i)
		stands.Set(name+"-metal", setupNumber(point.MetalC))
		stands.Set(name+"-min", setupNumber(point.MinutesMin))
		stands.Set(name+"-max", setupNumber(point.MinutesMax))
	}
	return form.New(stands), nil
}

func (s *Server) renderMaterial(w http.ResponseWriter, r *http.Request, status int, m store.Material, f materialForms) error {
	v := visitFrom(r)
	change := materialForm(f.change, m.Kind, "/setup/materials/"+m.Code, "Save", f.problem, materialEntries(m.Kind)[1:])
	change.Groups[0].Fields = append(change.Groups[0].Fields, field(f.change, activeTick))
	change.Cancel = "/setup/materials"
	note := "Records already made keep what they were judged by."
	if m.Kind == store.Powder {
		note = "Cure runs already recorded keep their verdict; the next ones are judged by the window as it stands here."
	}
	facts := []page.DeskFact{page.Plain("Code", m.Code), page.Plain("Kind", store.MaterialKindNames[m.Kind]), page.Plain("Safety data sheet", sheetStands(m, today(v)).Standing.Word)}
	parts := []page.SetupSection{{Head: "Change", Note: note, Form: &change, Links: []page.Ref{{Text: "Lots of " + m.Code, Href: "/setup/lots?kind=" + m.Kind}}}}
	if store.NeedsSheet(m.Kind) {
		sheets, err := s.sheetSections(r, m, f)
		if err != nil {
			return err
		}
		parts = append(parts, sheets...)
	}
	return s.render(w, r, status, page.SetupThing(page.SetupThingView{Frame: s.deskFrame(v, m.Name, "Setup"), Subject: "Materials",
		Back: page.Ref{Text: "All materials", Href: "/setup/materials"}, Title: m.Name, Facts: facts, Parts: parts}))
}

func (s *Server) changeMaterial(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	m, err := s.store.MaterialByCode(r.Context(), v.site.ID, chi.URLParam(r, "code"))
	if err != nil {
		return err
	}
	a := form.New(r.PostForm)
	changed, points := readMaterial(a, m.Kind)
	changed.ID, changed.Active = m.ID, a.Yes("active")
	problem, err := attempt(a, materialEntries(m.Kind), func() error { return s.store.ChangeMaterial(r.Context(), v.actor, changed, points) })
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderMaterial(w, r, http.StatusUnprocessableEntity, m, materialForms{change: a, problem: problem, sheet: form.New(nil), withdraw: form.New(nil)})
	}
	return s.done(w, r, "/setup/materials?kind="+m.Kind, upperFirst(store.MaterialKindNames[m.Kind])+" "+m.Code+" is changed.")
}
