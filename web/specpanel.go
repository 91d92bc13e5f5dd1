package web

import (
	"fmt"
	"strings"

	"coatbook/quality"
	"coatbook/web/form"
	"coatbook/web/page"
)

// The section of a finish spec on destructive tests on a witness panel of each oven load.
var (
	specPanelAsk        = specAskTick("panel", "Ask for a test on a witness panel of each oven load")
	specPanelAdhesion   = form.Entry{Kind: form.Tick, Name: "panel-adhesion", Label: "Test adhesion on the panel"}
	specPanelClass      = form.Entry{Kind: form.Pick, Name: "panel-class", Label: "Method and worst class on the panel", Options: specAdhesionOptions()}
	specPanelConditions = form.Entry{Kind: form.Tick, Name: "panel-conditions", Label: "Note temperature and humidity at the panel's adhesion test"}
	specPanelBend       = form.Entry{Kind: form.Number, Name: "panel-bend", Label: "Bend over a mandrel of", Unit: "mm", Hint: "empty does not ask", Low: 1, High: 50, Optional: true}
	specPanelBendTape   = form.Entry{Kind: form.Tick, Name: "panel-bend-tape", Label: "Bend: fine cracks pass, nothing lifts on the tape"}
	specPanelImpact     = form.Entry{Kind: form.Number, Name: "panel-impact", Label: "Impact on the back with", Unit: "N·m", Hint: "empty does not ask", Low: 0.1, High: 50, Optional: true}
	specPanelImpactTape = form.Entry{Kind: form.Tick, Name: "panel-impact-tape", Label: "Impact: fine cracks pass, nothing lifts on the tape"}
	specPanelPencil     = form.Entry{Kind: form.Pick, Name: "panel-pencil", Label: "Softest pencil hardness", Options: specPencilOptions(), Optional: true}
	specPanelGloss      = form.Entry{Kind: form.Tick, Name: "panel-gloss", Label: "Measure gloss on the panel"}
	specPanelGeometry   = form.Entry{Kind: form.Pick, Name: "panel-geometry", Label: "Gloss geometry on the panel", Options: specGlossGeometry.Options}
	specPanelNominal    = form.Entry{Kind: form.Number, Name: "panel-nominal", Label: "Nominal gloss of the panel", Unit: "GU", Low: 0, High: 2000}
	specPanelTolerance  = form.Entry{Kind: form.Number, Name: "panel-tolerance", Label: "Plus or minus on the panel", Unit: "GU", Low: 0.1, High: 100}

	specAdhesionConditions = form.Entry{Kind: form.Tick, Name: "adhesion-conditions", Label: "Note temperature and humidity at the adhesion test"}
)

func specPencilOptions() []form.Option {
	out := []form.Option{{Value: "none", Label: "not asked"}}
	for _, method := range quality.PencilMethods {
		for _, grade := range quality.PencilGrades(method) {
			out = append(out, form.Option{Value: method + " " + grade, Label: grade + " by " + quality.PencilMethodName(method)})
		}
	}
	return out
}

func specPanelGroup(a *form.Answers, problems []string) page.SetupGroup {
	return page.SetupGroup{Legend: "Panel test", Problems: problems, Note: "Every part of a load then needs a passing test on a panel that went with the load. A failed one holds them all. Adhesion and gloss that are asked for here are measured on the panel instead of on parts: take them out of the finish check, unless parts are to be measured as well.",
		Fields: fields(a, specPanelAsk, specPanelAdhesion, specPanelClass, specPanelConditions, specPanelBend, specPanelBendTape, specPanelImpact, specPanelImpactTape, specPanelPencil,
			specPanelGloss, specPanelGeometry, specPanelNominal, specPanelTolerance)}
}

func specStandPanel(a *form.Answers, s *quality.PanelSpec) {
	if s == nil {
		return
	}
	set := func(e form.Entry, text string) { a.Values.Set(e.Name, text) }
	set(specPanelAsk, "yes")
	if ad := s.Adhesion; ad != nil {
		set(specPanelAdhesion, "yes")
		set(specPanelClass, ad.Method+" "+ad.Worst)
		set(specPanelConditions, yes(ad.Conditions))
	}
	if b := s.Bend; b != nil {
		set(specPanelBend, setupNumber(b.MandrelMM))
		set(specPanelBendTape, yes(b.Tape))
	}
	if i := s.Impact; i != nil {
		set(specPanelImpact, setupNumber(i.EnergyNm))
		set(specPanelImpactTape, yes(i.Tape))
	}
	if p := s.Pencil; p != nil {
		set(specPanelPencil, p.Method+" "+p.Softest)
	}
	if g := s.Gloss; g != nil {
		set(specPanelGloss, "yes")
		set(specPanelGeometry, fmt.Sprint(g.GeometryDeg))
		set(specPanelNominal, setupNumber(g.Nominal))
		set(specPanelTolerance, setupNumber(g.Tolerance))
	}
}

func specReadPanel(a *form.Answers) *quality.PanelSpec {
	s := &quality.PanelSpec{}
	if a.Yes(specPanelAdhesion.Name) {
		method, class, _ := strings.Cut(a.Pick(specPanelClass), " ")
		s.Adhesion = &quality.AdhesionSpec{Method: method, Worst: class, Conditions: a.Yes(specPanelConditions.Name)}
	}
	if mm := a.Number(specPanelBend); mm != nil {
		s.Bend = &quality.BendSpec{MandrelMM: *mm, Tape: a.Yes(specPanelBendTape.Name)}
	}
	if energy := a.Number(specPanelImpact); energy != nil {
		s.Impact = &quality.ImpactSpec{EnergyNm: *energy, Tape: a.Yes(specPanelImpactTape.Name)}
	}
	if method, grade, asked := strings.Cut(a.Pick(specPanelPencil), " "); asked {
		s.Pencil = &quality.PencilSpec{Method: method, Softest: grade}
	}
	if a.Yes(specPanelGloss.Name) {
		g := &quality.GlossSpec{Nominal: a.Amount(specPanelNominal), Tolerance: a.Amount(specPanelTolerance)}
		_, _ = fmt.Sscan(a.Pick(specPanelGeometry), &g.GeometryDeg) // what is none of the options has its sentence
		s.Gloss = g
	}
	return s
}

func specPanelWords(s quality.PanelSpec) []page.DeskFact {
	var facts []page.DeskFact
	if a := s.Adhesion; a != nil {
		facts = append(facts, page.Plain("Adhesion", labelOf(specAdhesionOptions(), a.Method+" "+a.Worst)+" or better"), page.Plain("Temperature and humidity noted", specYesNo(a.Conditions)))
	}
	if b := s.Bend; b != nil {
		facts = append(facts, page.Plain("Bend", deformationAsked("over "+setupNumber(b.MandrelMM)+" mm", b.Tape)))
	}
	if i := s.Impact; i != nil {
		facts = append(facts, page.Plain("Impact", deformationAsked("on the back with "+setupNumber(i.EnergyNm)+" N·m", i.Tape)))
	}
	if p := s.Pencil; p != nil {
		facts = append(facts, page.Plain("Pencil hardness", p.Softest+" or harder by "+quality.PencilMethodName(p.Method)))
	}
	if g := s.Gloss; g != nil {
		facts = append(facts, page.Plain("Gloss", fmt.Sprintf("%s ± %s GU at %d°", setupNumber(g.Nominal), setupNumber(g.Tolerance), g.GeometryDeg)))
	}
	return facts
}
