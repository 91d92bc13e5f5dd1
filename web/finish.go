package web

import (
	"fmt"
	"net/http"

	"github.com/a-h/templ"

	"coatbook/quality"
	"coatbook/web/page"
	"coatbook/web/ui"
)

func (s *Server) finish(w http.ResponseWriter, r *http.Request) error {
	return s.enterOnPart(w, r, entryKind{kind: quality.Finish, hazards: []string{"hot"}, fields: finishFields})
}

func finishFields(e *entryForm) func(page.Entry) templ.Component {
	spec := quality.FinishCheckSpec{}
	if e.form.Spec.Finish != nil {
		spec = *e.form.Spec.Finish
	}
	v := page.FinishView{}
	distance := e.reading(measure{name: "viewing_distance", characteristic: "viewing_distance"})
	if !e.posted() && spec.DistanceMM > 0 {
		distance.Value = quality.Number(spec.DistanceMM, 0)
	}
	v.Conditions = []ui.Field{distance, e.reading(measure{name: "light", characteristic: "light", limits: spec.Light, optional: spec.Light.None()})}
	group := page.CodeGroup{Name: "Finish"}
	for _, d := range quality.FinishDefects {
		group.Codes = append(group.Codes, ui.Choice{Value: d.Code, Label: d.Name, Hint: d.Look})
	}
	v.Found = e.defects(page.DefectLines{Legend: "What the eye finds", None: "None found", Groups: []page.CodeGroup{group}, CountOf: true, PlaceHint: "top rail, left"})
	if g := spec.Gloss; g != nil {
		v.GlossAsked = fmt.Sprintf("%s ± %s GU at %d°", quality.Number(g.Nominal, 1), quality.Number(g.Tolerance, 1), g.GeometryDeg)
		v.Gloss = []ui.Field{e.reading(measure{name: "gloss", characteristic: "gloss", label: fmt.Sprintf("Gloss at %d°", g.GeometryDeg),
			limits: quality.Between(g.Nominal-g.Tolerance, g.Nominal+g.Tolerance, quality.GlossUnit)})}
	}
	if a := spec.Adhesion; a != nil {
		v.AdhesionAsked = a.Method + ", " + a.Worst + " or better"
		var choices []ui.Choice
		for _, class := range quality.AdhesionClasses(a.Method) {
			choices = append(choices, ui.Choice{Value: class, Label: class})
		}
		v.Adhesion, v.AdhesionProblem = e.rating("adhesion", quality.RatingAdhesion, "Adhesion: choose the class that was found.", choices)
	}
	return func(entry page.Entry) templ.Component {
		v.Entry = entry
		return page.Finish(v)
	}
}
