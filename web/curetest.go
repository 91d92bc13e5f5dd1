package web

import (
	"fmt"
	"net/http"

	"github.com/a-h/templ"

	"coatbook/quality"
	"coatbook/web/page"
	"coatbook/web/ui"
)

func (s *Server) cureTest(w http.ResponseWriter, r *http.Request) error {
	return s.enterOnLoad(w, r, entryKind{kind: quality.CureTest, hazards: []string{"cure_test"}, fields: cureTestFields})
}

// cureTestOnPart records the rub on one part, when rework made the test due again for it alone.
func (s *Server) cureTestOnPart(w http.ResponseWriter, r *http.Request) error {
	return s.enterOnPart(w, r, entryKind{kind: quality.CureTest, hazards: []string{"cure_test"}, fields: cureTestFields})
}

func cureTestFields(e *entryForm) func(page.Entry) templ.Component {
	spec := quality.CureTestSpec{}
	if e.form.Spec.CureTest != nil {
		spec = *e.form.Spec.CureTest
	}
	v := page.CureTestView{Solvent: spec.Solvent}
	v.Rubs = e.reading(measure{name: "rubs", characteristic: "rubs", limits: quality.AtLeast(float64(spec.Rubs), quality.DoubleRubs)})
	wait := measure{name: "rub_wait", characteristic: "rub_wait", optional: spec.WaitS == 0}
	if spec.WaitS > 0 {
		wait.limits = quality.AtLeast(float64(spec.WaitS), quality.Second)
	}
	v.Wait = e.reading(wait)
	var ratings, swab []ui.Choice
	for _, r := range quality.RubRatings {
		ratings = append(ratings, ui.Choice{Value: r.Code, Label: r.Code, Hint: r.Text})
	}
	for _, c := range quality.SwabColours {
		swab = append(swab, ui.Choice{Value: c, Label: c})
	}
	v.Ratings, v.RatingProblem = e.rating("rating", quality.RatingRub, fmt.Sprintf("Rating: tap how the rubbed place looks; %d or better passes.", spec.PassFrom), ratings)
	v.Swab, v.SwabProblem = e.rating("swab", quality.RatingSwab, "Colour on the cloth: tap none, slight or strong.", swab)
	if e.form.Subject.Kind == quality.OnLoad {
		list := ui.Select{Name: "tested_part", Label: "Part that was rubbed", Hint: "scan or choose", Scan: "PART", Empty: "choose"}
		for _, p := range e.form.Parts {
			list.Choices = append(list.Choices, ui.Choice{Value: p.ID.String(), Label: p.Serial, Code: p.Serial})
		}
		v.Tested = e.pick("tested_part", list, "Part that was rubbed: scan or choose it.")
	}
	v.Control = ui.TextField{Name: "control_panel", Label: "Control panel", Hint: "number of the fully cured panel", Value: e.text("control_panel", 40), Optional: spec.Reference == ""}
	if v.Control.Value != "" {
		e.check.Ratings = append(e.check.Ratings, quality.Rating{Characteristic: quality.RatingControl, Code: v.Control.Value})
	}
	return func(entry page.Entry) templ.Component {
		v.Entry = entry
		return page.CureTest(v)
	}
}
