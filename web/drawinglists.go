package web

import (
	"fmt"
	"net/http"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
)

// The drawing requirements of a part number.

const (
	drawingRows      = store.MostDrawingRequirements
	spareDrawingRows = 3
)

var (
	drawingName   = form.Entry{Kind: form.Text, Name: "drawing", Label: "Drawing", Hint: "its number and issue", Max: 80, Optional: true, Wide: true}
	drawingNumber = form.Entry{Kind: form.Text, Label: "number", Max: 12, Optional: true}
	drawingText   = form.Entry{Kind: form.Text, Label: "requirement", Max: 300, Optional: true, Wide: true}
)

func drawingRow(i int) []form.Entry {
	name := fmt.Sprintf("drawing%d", i)
	return []form.Entry{drawingNumber.As(name + "-number"), drawingText.As(name + "-text")}
}

func drawingStands(l store.DrawingList) *form.Answers {
	stands := values("drawing", l.Drawing, "after", fmt.Sprint(l.Revision))
	for i, r := range l.Requirements {
		row := drawingRow(i)
		stands.Set(row[0].Name, r.Number)
		stands.Set(row[1].Name, r.Text)
	}
	return form.New(stands)
}

func drawingForm(a *form.Answers, action, problem string) page.SetupForm {
	f := simpleForm(action, "Save as the next revision", problem, fields(a, drawingName))
	f.Hidden = append(f.Hidden, page.SetupBox{Name: "after", Value: a.Values.Get("after")})
	rows := page.SetupGroup{Legend: "Requirements", Note: "The number is the one on the drawing. Empty lines are left out; saving gives more."}
	last := 0
	for i := range drawingRows {
		if !rowEmpty(a, drawingRow(i)) {
			last = i + 1
		}
	}
	for i := range min(last+spareDrawingRows, drawingRows) {
		rows.Fields = append(rows.Fields, span(a, fmt.Sprintf("drawing%d", i), fmt.Sprintf("Requirement %d", i+1), "", drawingRow(i)...))
		rows.Fields[i].Wide = true
	}
	f.Groups = append(f.Groups, rows)
	return f
}

// reviseDrawing saves the drawing requirements of a part number as the next revision.
func (s *Server) reviseDrawing(w http.ResponseWriter, r *http.Request) error {
	n, plan, err := s.partNumber(r)
	if err != nil {
		return err
	}
	a := form.New(r.PostForm)
	next := store.DrawingList{Drawing: a.Text(drawingName)}
	for i := range drawingRows {
		row := drawingRow(i)
		if rowEmpty(a, row) {
			continue
		}
		for k := range row {
			row[k].Optional, row[k].Label = false, fmt.Sprintf("Requirement %d, %s", i+1, row[k].Label)
		}
		next.Requirements = append(next.Requirements, quality.DrawingRequirement{Number: a.Text(row[0]), Text: a.Text(row[1])})
	}
	after := 0
	if _, err := fmt.Sscan(r.PostFormValue("after"), &after); err != nil {
		a.Say("drawing", "The form has lost which revision it was made from. Reload the page.")
	}
	problem, err := attempt(a, []form.Entry{drawingName}, func() error {
		_, err := s.store.AddDrawingList(r.Context(), visitFrom(r).actor, n.ID, after, next)
		return err
	})
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderPartNumber(w, r, http.StatusUnprocessableEntity, n, plan, numberStands(n), "", planStands(plan), "", drawingProblem{a, problem})
	}
	return s.done(w, r, "/setup/part-numbers/"+n.ID.String()+"#drawing", "The drawing requirements are saved. A first article is due again where the spec asks for one.")
}

// A drawingProblem is a list of drawing requirements that was posted and refused.
type drawingProblem struct {
	answers *form.Answers
	problem string
}

func drawingSays(l store.DrawingList) string {
	if l.Revision == 0 {
		return "No list yet. A first article of this part number shows what its finish spec asks, and nothing of the drawing."
	}
	return fmt.Sprintf("Revision %d is in force: %s. A change is the next revision, after which a first article is due again.", l.Revision, counted(len(l.Requirements), "requirement"))
}
