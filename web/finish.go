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
		gloss = glossSlots()
		gloss[0].Optional = !sh.asked(quality.FinishGloss)
	}
	return conditions, gloss
}

func knownDefect(code string) bool {
	return slices.ContainsFunc(quality.FinishDefects, func(d quality.FinishDefect) bool { return d.Code == code })
}

func readFinish(sh *sheet) (quality.Check, []store.Use) {
	conditions, gloss := sh.finishSlots()
	slots := append(conditions, gloss...)
	a := sh.finishSpec().Adhesion
	if a != nil {
		slots = append(slots, sh.finishConditions(a)...)
	}
	check := quality.Check{Kind: quality.Finish, Defects: sh.Defects(knownDefect), Readings: sh.Readings(slots, sh.visit.comma())}
	if sh.Values.Get("adhesion") != "" || sh.asked(quality.FinishAdhesion) {
		check.Ratings = sh.readAdhesion(a)
	}
	return check, nil
}

// finishConditions are temperature and humidity at the adhesion test, which nobody misses where it is not made.
func (sh *sheet) finishConditions(a *quality.AdhesionSpec) []form.Slot {
	slots := sh.testConditionSlots(a)
	for i := range slots {
		slots[i].Optional = slots[i].Optional || sh.Values.Get("adhesion") == "" && !sh.asked(quality.FinishAdhesion)
	}
	return slots
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
		var typed []string
		for _, slot := range gloss {
			v.Gloss, typed = append(v.Gloss, sh.field(slot, limits)), append(typed, slot.Name)
		}
		v.GlossApart = sh.apart(typed, quality.FinishGloss)
	}
	if a := spec.Adhesion; a != nil {
		v.AdhesionAsked = fmt.Sprintf("%s, %s or better", a.Method, a.Worst)
		v.Adhesion, v.AdhesionApart = sh.adhesionChoices(*a), sh.apart([]string{"adhesion", quality.TestTemperature, quality.TestHumidity}, quality.FinishAdhesion)
		for _, slot := range sh.finishConditions(a) {
			v.TestConditions = append(v.TestConditions, sh.field(slot, quality.Limits{}))
		}
	}
	group := page.CodeGroup{Name: "Defects of the finish"}
	for _, d := range quality.FinishDefects {
		group.Codes = append(group.Codes, ui.Choice{Value: d.Code, Label: d.Name + ": " + d.Look})
	}
	v.Found = sh.lines(page.DefectLines{Legend: "Defects found", None: "None found", CountOf: true, PlaceHint: "top rail, left", Groups: []page.CodeGroup{group}})
	return page.Finish(v)
}
