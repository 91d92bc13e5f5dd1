package web

import (
	"fmt"
	"net/http"
	"slices"

	"github.com/a-h/templ"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
	"coatbook/web/ui"
)

var finishEntry = entryKind{kind: quality.Finish, find: onPart, read: readFinish, show: showFinish, hazards: []string{"hot"}}

// finish records the finish check of a part.
func (s *Server) finish(w http.ResponseWriter, r *http.Request) error {
	return s.enter(w, r, finishEntry)
}

func (sh *sheet) finishSpec() quality.FinishCheckSpec {
	if sh.form.Spec.Finish == nil {
		return quality.FinishCheckSpec{}
	}
	return *sh.form.Spec.Finish
}

// finishSlots are the conditions of looking, and the gloss where the spec asks for it.
func (sh *sheet) finishSlots() (conditions, gloss []form.Slot) {
	spec := sh.finishSpec()
	conditions = []form.Slot{
		{Name: "viewing_distance", Label: "Viewing distance", Characteristic: "viewing_distance", Unit: quality.Millimetre, Optional: spec.DistanceMM == 0},
		{Name: "light", Label: "Light at the part", Characteristic: "light", Unit: quality.Lux, Optional: spec.Light.None()},
	}
	if spec.Gloss != nil {
		for n := 1; n <= 3; n++ {
			gloss = append(gloss, form.Slot{Name: fmt.Sprintf("gloss-%d", n), Label: fmt.Sprintf("Gloss, reading %d", n), Characteristic: "gloss", Rep: n, Unit: quality.GlossUnit, Optional: n > 1})
		}
	}
	return conditions, gloss
}

func knownDefect(code string) bool {
	return slices.ContainsFunc(quality.FinishDefects, func(d quality.FinishDefect) bool { return d.Code == code })
}

func readFinish(sh *sheet) (quality.Check, []store.Use) {
	conditions, gloss := sh.finishSlots()
	check := quality.Check{Kind: quality.Finish, Defects: sh.Defects(knownDefect), Readings: sh.Readings(append(conditions, gloss...), sh.visit.comma())}
	if a := sh.finishSpec().Adhesion; a != nil {
		class := sh.Values.Get("adhesion")
		switch {
		case class == "":
			sh.Say("adhesion", "Adhesion: choose the class, or mark it as not measured.")
		case slices.Contains(quality.AdhesionClasses(a.Method), class):
			check.Ratings = append(check.Ratings, quality.Rating{Characteristic: quality.RatingAdhesion, Code: class})
		case class != string(quality.NotMeasured):
			sh.Say("adhesion", fmt.Sprintf("Adhesion: “%s” is not a class of the method.", class))
		}
	}
	return check, nil
}

func showFinish(sh *sheet, e page.Entry) templ.Component {
	spec := sh.finishSpec()
	conditions, gloss := sh.finishSlots()
	distance := quality.Limits{}
	if spec.DistanceMM > 0 {
		distance = quality.AtMost(spec.DistanceMM, quality.Millimetre)
	}
	v := page.FinishView{Entry: e, Conditions: []ui.Field{sh.field(conditions[0], distance), sh.field(conditions[1], spec.Light)}, AdhesionProblem: sh.Wrong["adhesion"]}
	if spec.Gloss != nil {
		limits := quality.Between(spec.Gloss.Nominal-spec.Gloss.Tolerance, spec.Gloss.Nominal+spec.Gloss.Tolerance, quality.GlossUnit)
		v.GlossAsked = fmt.Sprintf("at %d°, %s ± %s GU", spec.Gloss.GeometryDeg, quality.Number(spec.Gloss.Nominal, 1), quality.Number(spec.Gloss.Tolerance, 1))
		for _, slot := range gloss {
			v.Gloss = append(v.Gloss, sh.field(slot, limits))
		}
	}
	if a := spec.Adhesion; a != nil {
		v.AdhesionAsked = fmt.Sprintf("%s, %s or better", a.Method, a.Worst)
		for _, class := range quality.AdhesionClasses(a.Method) {
			v.Adhesion = append(v.Adhesion, ui.Choice{Value: class, Label: class, Chosen: class == sh.Values.Get("adhesion")})
		}
		v.Adhesion = append(v.Adhesion, ui.Choice{Value: string(quality.NotMeasured), Label: "not measured", Chosen: sh.Values.Get("adhesion") == string(quality.NotMeasured)})
	}
	group := page.CodeGroup{Name: "Defects of the finish"}
	for _, d := range quality.FinishDefects {
		group.Codes = append(group.Codes, ui.Choice{Value: d.Code, Label: d.Name + ": " + d.Look})
	}
	v.Found = sh.lines(page.DefectLines{Legend: "Defects found", None: "None found", CountOf: true, PlaceHint: "top rail, left", Groups: []page.CodeGroup{group}})
	return page.Finish(v)
}
