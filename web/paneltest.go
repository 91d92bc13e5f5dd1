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

var panelTestEntry = entryKind{kind: quality.PanelTest, find: onPanel, read: readPanelTest, show: showPanelTest, hazards: []string{"panel_test"}}

// panelTest records the destructive tests on a witness panel.
func (s *Server) panelTest(w http.ResponseWriter, r *http.Request) error {
	return s.enter(w, r, panelTestEntry)
}

var cureTestOnPanelEntry = entryKind{kind: quality.CureTest, find: onPanel, read: readCureTest, show: showCureTest, hazards: []string{"cure_test"}}

// cureTestOnPanel records a solvent rub on a witness panel.
func (s *Server) cureTestOnPanel(w http.ResponseWriter, r *http.Request) error {
	return s.enter(w, r, cureTestOnPanelEntry)
}

func (sh *sheet) panelSpec() quality.PanelSpec {
	if sh.form.Spec.PanelTest == nil {
		return quality.PanelSpec{}
	}
	return *sh.form.Spec.PanelTest
}

// testConditionSlots are temperature and humidity at the test: asked where the adhesion method says so and the class was read.
func (sh *sheet) testConditionSlots(a *quality.AdhesionSpec) []form.Slot {
	optional := a == nil || !a.Conditions || sh.Values.Get("adhesion") == string(quality.NotMeasured)
	return []form.Slot{
		{Name: quality.TestTemperature, Label: "Temperature", Characteristic: quality.TestTemperature, Unit: sh.temperature(), Optional: optional},
		{Name: quality.TestHumidity, Label: "Relative humidity", Characteristic: quality.TestHumidity, Unit: quality.Percent, Optional: optional},
	}
}

func (sh *sheet) conditionFields(a *quality.AdhesionSpec) []ui.Field {
	var fields []ui.Field
	for _, slot := range sh.testConditionSlots(a) {
		fields = append(fields, sh.field(slot, quality.Limits{}))
	}
	return fields
}

// readAdhesion reads the class of the cross-cut.
func (sh *sheet) readAdhesion(a *quality.AdhesionSpec) []quality.Rating {
	if a == nil {
		return nil
	}
	class := sh.Values.Get("adhesion")
	switch {
	case class == "":
		sh.Say("adhesion", "Adhesion: choose the class, or mark it as not measured.")
	case slices.Contains(quality.AdhesionClasses(a.Method), class):
		return []quality.Rating{{Characteristic: quality.RatingAdhesion, Code: class}}
	case class != string(quality.NotMeasured):
		sh.Say("adhesion", fmt.Sprintf("Adhesion: “%s” is not a class of the method.", class))
	}
	return nil
}

func (sh *sheet) adhesionChoices(a quality.AdhesionSpec) []ui.Choice {
	var choices []ui.Choice
	for _, class := range quality.AdhesionClasses(a.Method) {
		choices = append(choices, ui.Choice{Value: class, Label: class, Chosen: class == sh.Values.Get("adhesion")})
	}
	return append(choices, ui.Choice{Value: string(quality.NotMeasured), Label: "not measured", Chosen: sh.Values.Get("adhesion") == string(quality.NotMeasured)})
}

// glossSlots are up to three readings of gloss.
func glossSlots() []form.Slot {
	var slots []form.Slot
	for n := 1; n <= 3; n++ {
		slots = append(slots, form.Slot{Name: fmt.Sprintf("gloss-%d", n), Label: fmt.Sprintf("Gloss, reading %d", n), Characteristic: "gloss", Rep: n, Unit: quality.GlossUnit, Optional: n > 1})
	}
	return slots
}

var (
	mandrelSlot = form.Slot{Name: "mandrel", Label: "Mandrel", Characteristic: "mandrel", Unit: quality.Millimetre}
	impactSlot  = form.Slot{Name: "impact_energy", Label: "Impact energy", Characteristic: "impact_energy", Unit: quality.NewtonMetre}
)

func readPanelTest(sh *sheet) (quality.Check, []store.Use) {
	spec, check := sh.panelSpec(), quality.Check{Kind: quality.PanelTest}
	var slots []form.Slot
	rate := func(field, rating, wrong string, known func(string) bool) {
		switch code := sh.Values.Get(field); {
		case known(code):
			check.Ratings = append(check.Ratings, quality.Rating{Characteristic: rating, Code: code})
		default:
			sh.Say(field, wrong)
		}
	}
	deformation := func(code string) bool {
		return slices.ContainsFunc(quality.Deformations, func(d quality.Deformation) bool { return d.Code == code })
	}
	check.Ratings = sh.readAdhesion(spec.Adhesion)
	if spec.Gloss != nil {
		slots = append(slots, glossSlots()...)
	}
	if p := spec.Pencil; p != nil {
		rate("pencil", quality.RatingPencil, "Pencil hardness: choose the hardest pencil that left no damage.", func(code string) bool { return slices.Contains(quality.PencilGrades(p.Method), code) })
	}
	if spec.Bend != nil {
		slots = append(slots, mandrelSlot)
		rate("bend", quality.RatingBend, "Bend: choose what the coat did.", deformation)
	}
	if spec.Impact != nil {
		slots = append(slots, impactSlot)
		rate("impact", quality.RatingImpact, "Impact: choose what the coat did.", deformation)
	}
	if spec.Adhesion != nil {
		slots = append(slots, sh.testConditionSlots(spec.Adhesion)...)
	}
	check.Readings = sh.Readings(slots, sh.visit.comma())
	return check, sh.use("tape", "tape")
}

func (sh *sheet) deformations(field string) []ui.Choice {
	var choices []ui.Choice
	for _, d := range quality.Deformations {
		choices = append(choices, ui.Choice{Value: d.Code, Label: d.Code, Hint: d.Text, Chosen: d.Code == sh.Values.Get(field)})
	}
	return choices
}

func showPanelTest(sh *sheet, e page.Entry) templ.Component {
	spec, v := sh.panelSpec(), page.PanelTestView{Entry: e}
	if a := spec.Adhesion; a != nil {
		tape := sh.lotSelect("tape", "tape", store.Tape, false)
		b := page.PanelTestBlock{Title: "Adhesion", Asked: labelOf(specAdhesionOptions(), a.Method+" "+a.Worst) + " or better", Name: "adhesion", Problem: sh.Wrong["adhesion"], Choices: sh.adhesionChoices(*a)}
		if len(tape.Choices) > 0 {
			b.Lot = &tape
		}
		v.Blocks = append(v.Blocks, b)
		v.Conditions = sh.conditionFields(a)
	}
	if b := spec.Bend; b != nil {
		v.Blocks = append(v.Blocks, page.PanelTestBlock{Title: "Bend", Asked: deformationAsked("over "+setupNumber(b.MandrelMM)+" mm", b.Tape), Name: "bend", Problem: sh.Wrong["bend"],
			Fields: []ui.Field{sh.field(mandrelSlot, quality.AtMost(b.MandrelMM, quality.Millimetre))}, Choices: sh.deformations("bend")})
	}
	if i := spec.Impact; i != nil {
		v.Blocks = append(v.Blocks, page.PanelTestBlock{Title: "Impact", Asked: deformationAsked("on the back with "+setupNumber(i.EnergyNm)+" N·m", i.Tape), Name: "impact", Problem: sh.Wrong["impact"],
			Fields: []ui.Field{sh.field(impactSlot, quality.AtLeast(i.EnergyNm, quality.NewtonMetre))}, Choices: sh.deformations("impact")})
	}
	if g := spec.Gloss; g != nil {
		b := page.PanelTestBlock{Title: "Gloss", Asked: fmt.Sprintf("at %d°, %s ± %s GU", g.GeometryDeg, quality.Number(g.Nominal, 1), quality.Number(g.Tolerance, 1))}
		for _, slot := range glossSlots() {
			b.Fields = append(b.Fields, sh.field(slot, quality.Between(g.Nominal-g.Tolerance, g.Nominal+g.Tolerance, quality.GlossUnit)))
		}
		v.Blocks = append(v.Blocks, b)
	}
	if p := spec.Pencil; p != nil {
		list := ui.Select{Name: "pencil", Label: "Hardest pencil without damage", Empty: "choose", Problem: sh.Wrong["pencil"]}
		for _, grade := range quality.PencilGrades(p.Method) {
			list.Choices = append(list.Choices, ui.Choice{Value: grade, Label: grade, Chosen: grade == sh.Values.Get("pencil")})
		}
		v.Blocks = append(v.Blocks, page.PanelTestBlock{Title: "Pencil hardness", Asked: fmt.Sprintf("%s or harder by %s", p.Softest, quality.PencilMethodName(p.Method)), List: &list})
	}
	return page.PanelTest(v)
}

func deformationAsked(how string, tape bool) string {
	if tape {
		return how + ", nothing lifts on the tape"
	}
	return how + ", no crack"
}
