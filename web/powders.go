package web

import (
	"fmt"
	"net/http"
	"strings"

	"github.com/go-chi/chi/v5"

	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
)

var (
	powderCode    = form.Entry{Kind: form.Text, Name: "code", Label: "Code", Hint: "the maker's product code, in capitals", Max: 30}
	powderName    = form.Entry{Kind: form.Text, Name: "name", Label: "Name", Hint: "colour and texture in words", Max: 80}
	powderMaker   = form.Entry{Kind: form.Text, Name: "maker", Label: "Maker", Max: 80}
	powderColour  = form.Entry{Kind: form.Text, Name: "colour", Label: "Colour", Hint: "such as slate grey", Max: 60}
	powderStorage = form.Entry{Kind: form.Number, Name: "storage", Label: "Warmest storage", Unit: "°C", Low: 0, High: 50}
	powderSource  = form.Entry{Kind: form.Text, Name: "source", Label: "Source of the cure window", Hint: "the data sheet and its edition", Max: 160}

	pointMetal = form.Entry{Kind: form.Number, Label: "metal", Unit: "°C", Low: 50, High: 300, Optional: true}
	pointMin   = form.Entry{Kind: form.Number, Label: "at least", Unit: "min", Low: 0.5, High: 240, Optional: true}
	pointMax   = form.Entry{Kind: form.Number, Label: "at most", Unit: "min", Low: 0.5, High: 240, Optional: true}

	powderEntries = []form.Entry{powderCode, powderName, powderMaker, powderColour, powderStorage, powderSource}
)

// curePointRows is how many lines of a cure window the form has; data sheets give two to four.
const curePointRows = 5

func (s *Server) powdersPage(w http.ResponseWriter, r *http.Request) error {
	return s.renderPowders(w, r, http.StatusOK, form.New(nil), "")
}

func (s *Server) renderPowders(w http.ResponseWriter, r *http.Request, status int, a *form.Answers, problem string) error {
	v := visitFrom(r)
	powders, err := s.store.Powders(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	table := page.SetupTable{Caption: "Powders", Heads: []string{"Code", "Name", "Maker", "Cure window"},
		Empty: "No powder yet. Add the first one with the cure points of its data sheet; the oven is judged by them."}
	for _, p := range powders {
		points, err := s.store.CurePoints(r.Context(), v.site.ID, p.ID)
		if err != nil {
			return err
		}
		window := page.Stands("none", "missing")
		if len(points) > 0 {
			window = page.Words(cureWindowWords(points))
		}
		table.Rows = append(table.Rows, []page.SetupCell{page.Code(p.Code, "/setup/powders/"+p.Code), page.Words(p.Name), page.Words(p.Maker), window})
	}
	add := powderForm(a, "/setup/powders", "Add the powder", problem, powderEntries)
	return s.render(w, r, status, page.SetupList(page.SetupListView{Frame: s.deskFrame(v, "Powders", "Setup"), Subject: "Powders",
		Title: "Which powders does the shop spray?", Lead: "Storage limit and cure window belong to the product and come from its data sheet.",
		Table: table, AddHead: "Add a powder", Form: add}))
}

// cureWindowWords prints a cure window on one line.
func cureWindowWords(points []store.CurePoint) string {
	words := make([]string, len(points))
	for i, p := range points {
		words[i] = fmt.Sprintf("%s °C: %s to %s min", setupNumber(p.MetalC), setupNumber(p.MinutesMin), setupNumber(p.MinutesMax))
	}
	return strings.Join(words, " · ")
}

func powderForm(a *form.Answers, action, submit, problem string, entries []form.Entry) page.SetupForm {
	f := simpleForm(action, submit, problem, fields(a, entries...))
	window := page.SetupGroup{Legend: "Cure window", Note: "One line for each point of the data sheet, at metal temperature: 50 to 300 °C, 0.5 to 240 min. Leave lines that are not needed empty."}
	for i := range curePointRows {
		name := fmt.Sprintf("point%d", i)
		window.Fields = append(window.Fields, span(a, name, fmt.Sprintf("Point %d", i+1), "", pointMetal.As(name+"-metal"), pointMin.As(name+"-min"), pointMax.As(name+"-max")))
	}
	f.Groups = append(f.Groups, window)
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

func readPowder(a *form.Answers) store.Powder {
	return store.Powder{Name: a.Text(powderName), Maker: a.Text(powderMaker), Colour: a.Text(powderColour), StorageMaxC: a.Amount(powderStorage),
		Source: a.Text(powderSource)}
}

func (s *Server) addPowder(w http.ResponseWriter, r *http.Request) error {
	a := form.New(r.PostForm)
	p := readPowder(a)
	p.Code = a.Code(powderCode)
	points := readCurePoints(a)
	problem, err := attempt(a, powderEntries, func() error {
		_, err := s.store.AddPowder(r.Context(), visitFrom(r).actor, p, points)
		return err
	})
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderPowders(w, r, http.StatusUnprocessableEntity, a, problem)
	}
	return s.done(w, r, "/setup/powders", "Powder "+p.Code+" is added.")
}

func (s *Server) powderPage(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	p, err := s.store.PowderByCode(r.Context(), v.site.ID, chi.URLParam(r, "code"))
	if err != nil {
		return err
	}
	points, err := s.store.CurePoints(r.Context(), v.site.ID, p.ID)
	if err != nil {
		return err
	}
	stands := values("name", p.Name, "maker", p.Maker, "colour", p.Colour, "storage", setupNumber(p.StorageMaxC), "source", p.Source)
	for i, point := range points {
		name := fmt.Sprintf("point%d", i)
		stands.Set(name+"-metal", setupNumber(point.MetalC))
		stands.Set(name+"-min", setupNumber(point.MinutesMin))
		stands.Set(name+"-max", setupNumber(point.MinutesMax))
	}
	return s.renderPowder(w, r, http.StatusOK, p, form.New(stands), "")
}

func (s *Server) renderPowder(w http.ResponseWriter, r *http.Request, status int, p store.Powder, a *form.Answers, problem string) error {
	change := powderForm(a, "/setup/powders/"+p.Code, "Save", problem, powderEntries[1:])
	change.Cancel = "/setup/powders"
	return s.render(w, r, status, page.SetupThing(page.SetupThingView{Frame: s.deskFrame(visitFrom(r), p.Name, "Setup"), Subject: "Powders",
		Back: page.Ref{Text: "All powders", Href: "/setup/powders"}, Title: p.Name, Facts: []page.DeskFact{page.Plain("Code", p.Code)},
		Parts: []page.SetupSection{{Head: "Change", Note: "Cure runs already recorded keep their verdict; the next ones are judged by the window as it stands here.", Form: &change}}}))
}

func (s *Server) changePowder(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	p, err := s.store.PowderByCode(r.Context(), v.site.ID, chi.URLParam(r, "code"))
	if err != nil {
		return err
	}
	a := form.New(r.PostForm)
	changed := readPowder(a)
	changed.ID = p.ID
	points := readCurePoints(a)
	problem, err := attempt(a, powderEntries, func() error { return s.store.ChangePowder(r.Context(), v.actor, changed, points) })
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderPowder(w, r, http.StatusUnprocessableEntity, p, a, problem)
	}
	return s.done(w, r, "/setup/powders", "Powder "+p.Code+" is changed.")
}
