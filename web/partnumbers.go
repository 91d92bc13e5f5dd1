package web

import (
	"errors"
	"fmt"
	"net/http"
	"strconv"

	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
	"coatbook/web/ui"
)

var (
	numberCode    = form.Entry{Kind: form.Text, Name: "code", Label: "Part number", Hint: "as on the drawing", Max: 40}
	numberName    = form.Entry{Kind: form.Text, Name: "name", Label: "Name", Hint: "as people say it", Max: 80}
	numberAlloy   = form.Entry{Kind: form.Text, Name: "alloy", Label: "Alloy and temper", Hint: "such as 6060 T66", Max: 40}
	numberForm    = form.Entry{Kind: form.Pick, Name: "form", Label: "Base form", Options: optionsOf("extrusion", "Extrusion", "sheet", "Sheet or plate", "tube", "Tube", "casting", "Casting", "other", "Other")}
	numberWall    = form.Entry{Kind: form.Number, Name: "wall", Label: "Wall thickness", Hint: "the thinner of the joined walls", Unit: "mm", Low: 0.51, High: 50}
	numberWelds   = form.Entry{Kind: form.Whole, Name: "welds", Label: "Welds on the part", Low: 0, High: 60}
	numberSketch  = form.Entry{Kind: form.Pick, Name: "sketch", Label: "Outline for the measuring spots", Options: optionsOf("frame", "Frame", "rail", "Rail", "bracket", "Bracket", "panel", "Panel", "post", "Post")}
	planReadings  = form.Entry{Kind: form.Whole, Name: "readings", Label: "Readings at each spot", Low: 1, High: 9}
	spotArea      = form.Entry{Kind: form.Text, Label: "area", Max: 20, Optional: true}
	spotPlace     = form.Entry{Kind: form.Text, Label: "place", Max: 80, Optional: true, Wide: true}
	spotX         = form.Entry{Kind: form.Whole, Label: "across", Low: 0, High: 270, Optional: true}
	spotY         = form.Entry{Kind: form.Whole, Label: "down", Low: 0, High: 250, Optional: true}
	numberEntries = []form.Entry{numberCode, numberName, numberAlloy, numberForm, numberWall, numberWelds, numberSketch}
)

// sparePlanRows is how many empty spots the plan's form offers beyond those it has.
const (
	fewestPlanRows = 6
	sparePlanRows  = 2
	mostPlanRows   = 99
)

// numberSpec offers the finish specs, with what state each is in.
func numberSpec(specs []store.SpecRevision) form.Entry {
	e := form.Entry{Kind: form.Pick, Name: "spec", Label: "Finish spec"}
	for _, spec := range specs {
		e.Options = append(e.Options, form.Option{Value: spec.SpecID.String(), Label: spec.Code + ", " + spec.Title + " (" + spec.State + ")"})
	}
	return e
}

func (s *Server) partNumbersPage(w http.ResponseWriter, r *http.Request) error {
	return s.renderPartNumbers(w, r, http.StatusOK, form.New(nil), "")
}

func (s *Server) renderPartNumbers(w http.ResponseWriter, r *http.Request, status int, a *form.Answers, problem string) error {
	v := visitFrom(r)
	numbers, err := s.store.PartNumbers(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	specs, err := s.store.Specs(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	table := page.SetupTable{Caption: "Part numbers", Heads: []string{"Part number", "Name", "Spec", "Measuring plan", "Standing"},
		Empty: "No part number yet. Add the first design the shop makes; its measuring plan comes next."}
	for _, n := range numbers {
		plan, err := s.store.PlanOf(r.Context(), v.site.ID, n.ID)
		has := page.Words(fmt.Sprintf("%d spots × %d", len(plan.Spots), plan.ReadingsPerSpot))
		if errors.Is(err, store.ErrNotFound) {
			has = page.Stands("none", "missing")
		} else if err != nil {
			return err
		}
		table.Rows = append(table.Rows, []page.SetupCell{page.Code(n.Code, "/setup/part-numbers/"+n.ID.String()), page.Words(n.Name), page.Words(n.SpecCode), has, inUse(n.Active)})
	}
	entries := append([]form.Entry{}, numberEntries...)
	view := page.SetupListView{Frame: s.deskFrame(v, "Part numbers", "Setup"), Subject: "Part numbers", Title: "Which designs does the shop make?",
		Lead: "A part number says which finish spec judges its parts, how thick the welded wall is, and where the film is measured.", Table: table, AddHead: "Add a part number",
		Form: simpleForm("/setup/part-numbers", "Add the part number", problem, fields(a, append(entries, numberSpec(specs))...))}
	if len(specs) == 0 {
		view.CannotAdd, view.Needs = "A part number is judged by a finish spec.", page.Ref{Text: "Draft the spec first.", Href: "/setup/specs#add"}
	}
	return s.render(w, r, status, page.SetupList(view))
}

func readPartNumber(a *form.Answers, specs []store.SpecRevision) store.PartNumber {
	return store.PartNumber{Name: a.Text(numberName), Alloy: a.Text(numberAlloy), BaseForm: a.Pick(numberForm), WallMM: a.Amount(numberWall), Welds: a.Whole(numberWelds),
		Sketch: a.Pick(numberSketch), SpecID: parsedID(a.Pick(numberSpec(specs)))}
}

func (s *Server) addPartNumber(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	specs, err := s.store.Specs(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	a := form.New(r.PostForm)
	n := readPartNumber(a, specs)
	n.Code = a.Text(numberCode)
	var added store.PartNumber
	problem, err := attempt(a, numberEntries, func() (err error) {
		added, err = s.store.AddPartNumber(r.Context(), v.actor, n)
		return err
	})
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderPartNumbers(w, r, http.StatusUnprocessableEntity, a, problem)
	}
	return s.done(w, r, "/setup/part-numbers/"+added.ID.String()+"#plan", n.Code+" is added. Next: where its film is measured.")
}

func (s *Server) partNumberPage(w http.ResponseWriter, r *http.Request) error {
	n, plan, err := s.partNumber(r)
	if err != nil {
		return err
	}
	return s.renderPartNumber(w, r, http.StatusOK, n, plan, numberStands(n), "", planStands(plan), "")
}

// partNumber finds the part number an address names, and its plan; a plan without spots when it has none.
func (s *Server) partNumber(r *http.Request) (store.PartNumber, store.Plan, error) {
	id, err := idParam(r, "id")
	if err != nil {
		return store.PartNumber{}, store.Plan{}, err
	}
	n, err := s.store.PartNumber(r.Context(), visitFrom(r).site.ID, id)
	if err != nil {
		return n, store.Plan{}, err
	}
	plan, err := s.store.PlanOf(r.Context(), visitFrom(r).site.ID, n.ID)
	if errors.Is(err, store.ErrNotFound) {
		return n, store.Plan{}, nil
	}
	return n, plan, err
}

func numberStands(n store.PartNumber) *form.Answers {
	return form.New(values("name", n.Name, "alloy", n.Alloy, "form", n.BaseForm, "wall", setupNumber(n.WallMM), "welds", strconv.Itoa(n.Welds), "sketch", n.Sketch,
		"spec", n.SpecID.String(), "active", yes(n.Active)))
}

func planStands(plan store.Plan) *form.Answers {
	readings := "3"
	if plan.Revision > 0 {
		readings = strconv.Itoa(plan.ReadingsPerSpot)
	}
	stands := values("readings", readings)
	for i, spot := range plan.Spots {
		row := planRow(i)
		stands.Set(row[0].Name, spot.Area)
		stands.Set(row[1].Name, spot.Place)
		stands.Set(row[2].Name, strconv.Itoa(spot.X))
		stands.Set(row[3].Name, strconv.Itoa(spot.Y))
	}
	return form.New(stands)
}

// planRow is the four fields of one spot.
func planRow(i int) []form.Entry {
	name := fmt.Sprintf("spot%d", i)
	return []form.Entry{spotArea.As(name + "-area"), spotPlace.As(name + "-place"), spotX.As(name + "-x"), spotY.As(name + "-y")}
}

// planRows is how many spots the form shows for what was posted or stands.
func planRows(a *form.Answers) int {
	last := 0
	for i := range mostPlanRows {
		if !rowEmpty(a, planRow(i)) {
			last = i + 1
		}
	}
	return min(max(last+sparePlanRows, fewestPlanRows), mostPlanRows)
}

func planForm(a *form.Answers, action, problem string) page.SetupForm {
	f := simpleForm(action, "Save as the next revision", problem, fields(a, planReadings))
	spots := page.SetupGroup{Legend: "Spots, in the order of measuring", Note: "The area is the name under which spots are averaged, such as A. Across is 0 to 270 and down 0 to 250 on the outline. Empty lines are left out; saving gives two more."}
	for i := range planRows(a) {
		spots.Fields = append(spots.Fields, span(a, fmt.Sprintf("spot%d", i), fmt.Sprintf("Spot %d", i+1), "", planRow(i)...))
		spots.Fields[i].Wide = true
	}
	f.Groups = append(f.Groups, spots)
	return f
}

func readPlan(a *form.Answers) store.Plan {
	plan := store.Plan{ReadingsPerSpot: a.Whole(planReadings)}
	for i := range mostPlanRows {
		row := planRow(i)
		if rowEmpty(a, row) {
			continue
		}
		for k := range row {
			row[k].Optional, row[k].Label = false, fmt.Sprintf("Spot %d, %s", i+1, row[k].Label)
		}
		plan.Spots = append(plan.Spots, store.Spot{Area: a.Text(row[0]), Place: a.Text(row[1]), X: a.Whole(row[2]), Y: a.Whole(row[3])})
	}
	if len(plan.Spots) == 0 {
		a.Say("spot0-place", "The plan has no spot. Enter at least one.")
	}
	return plan
}

func (s *Server) renderPartNumber(w http.ResponseWriter, r *http.Request, status int, n store.PartNumber, plan store.Plan, a *form.Answers, problem string, p *form.Answers, planProblem string, drawing ...drawingProblem) error {
	v := visitFrom(r)
	specs, err := s.store.Specs(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	at := "/setup/part-numbers/" + n.ID.String()
	list, err := s.store.DrawingListOf(r.Context(), v.site.ID, n.ID)
	if err != nil {
		return err
	}
	drawn := drawingProblem{answers: drawingStands(list)}
	if len(drawing) > 0 {
		drawn = drawing[0]
	}
	change := simpleForm(at, "Save", problem, fields(a, append(append([]form.Entry{}, numberEntries[1:]...), numberSpec(specs), activeTick)...))
	change.Cancel = "/setup/part-numbers"
	view := page.SetupPartNumberView{Frame: s.deskFrame(v, n.Code, "Setup"), Code: n.Code, Name: n.Name, Sketch: n.Sketch, Change: change,
		Drawing: drawingForm(drawn.answers, at+"/drawing", drawn.problem), DrawingSays: drawingSays(list), Plan: planForm(p, at+"/plan", planProblem), PlanSays: "No plan yet. The film of these parts cannot be measured until there is one."}
	if plan.Revision > 0 {
		view.PlanSays = fmt.Sprintf("Revision %d is in force: %d spots, %d readings each. A change is the next revision; checks already recorded keep theirs.", plan.Revision, len(plan.Spots), plan.ReadingsPerSpot)
	}
	for _, spot := range plan.Spots {
		view.Spots = append(view.Spots, ui.SketchSpot{Number: strconv.Itoa(spot.Spot), X: strconv.Itoa(spot.X), Y: strconv.Itoa(spot.Y), State: "done"})
	}
	return s.render(w, r, status, page.SetupPartNumber(view))
}

func (s *Server) changePartNumber(w http.ResponseWriter, r *http.Request) error {
	n, plan, err := s.partNumber(r)
	if err != nil {
		return err
	}
	v := visitFrom(r)
	specs, err := s.store.Specs(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	a := form.New(r.PostForm)
	changed := readPartNumber(a, specs)
	changed.ID, changed.Active = n.ID, a.Yes("active")
	problem, err := attempt(a, numberEntries, func() error { return s.store.ChangePartNumber(r.Context(), v.actor, changed) })
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderPartNumber(w, r, http.StatusUnprocessableEntity, n, plan, a, problem, planStands(plan), "")
	}
	return s.done(w, r, "/setup/part-numbers/"+n.ID.String(), n.Code+" is changed.")
}

func (s *Server) revisePlan(w http.ResponseWriter, r *http.Request) error {
	n, plan, err := s.partNumber(r)
	if err != nil {
		return err
	}
	a := form.New(r.PostForm)
	next := readPlan(a)
	problem, err := attempt(a, []form.Entry{planReadings}, func() error {
		_, err := s.store.AddPlan(r.Context(), visitFrom(r).actor, n.ID, next)
		return err
	})
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderPartNumber(w, r, http.StatusUnprocessableEntity, n, plan, numberStands(n), "", a, problem)
	}
	return s.done(w, r, "/setup/part-numbers/"+n.ID.String()+"#plan", "The measuring plan is saved.")
}
