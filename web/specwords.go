package web

import (
	"cmp"
	"fmt"
	"strings"

	"coatbook/quality"
	"coatbook/web/page"
)

// specWords prints a spec section by section, every figure of it: what an approver signs and an auditor reads.
func specWords(s quality.FinishSpec) []page.SetupWords {
	var out []page.SetupWords
	add := func(head string, facts ...page.DeskFact) {
		out = append(out, page.SetupWords{Head: head, Facts: facts})
	}
	limits := func(term string, l quality.Limits) page.DeskFact { return page.Plain(term, l.String()) }
	if w := s.Weld; w != nil {
		add("Weld check", page.Plain("Quality level", w.Level), limits("Leg length", w.Leg), limits("Throat thickness", w.Throat), limits("Light at the weld", w.Light),
			page.Plain("Filler metal's lot named", specYesNo(s.Requires.Filler)), page.Plain("Heat of the aluminium named", specYesNo(s.Requires.Heat)))
	}
	if p := s.Pretreatment; p != nil {
		facts := []page.DeskFact{page.Plain("Water-break test", specYesNo(p.WaterBreak)), page.Plain("Longest time to powder", specZeroIsNone(p.MaxHoursToCoat, "h")),
			page.Plain("Lots of the chemicals named", specYesNo(s.Requires.Chemicals)), page.Plain("Wash in an unchecked bath", labelOf(specWashBath.Options, cmp.Or(p.BathUnchecked, quality.BathFlag)))}
		for i, stage := range p.Stages {
			facts = append(facts, page.Plain(fmt.Sprintf("%d %s", i+1, stage.Name), specStageWords(stage)))
		}
		add("Pretreatment", facts...)
	}
	if c := s.Coating; c != nil {
		powders := "any"
		if len(c.Powders) > 0 {
			powders = strings.Join(c.Powders, ", ")
		}
		add("Coating", page.Plain("Powders allowed", powders), limits("Air temperature", c.Air), limits("Relative humidity", c.Humidity),
			page.Plain("Part above the dew point by", specZeroIsNone(c.DewPointMarginC, "K")), limits("Resistance to earth", c.Ground), limits("Gun voltage", c.Voltage))
	}
	if c := s.Cure; c != nil {
		add("Cure", page.Plain("Time counts from metal at", setupNumber(c.ScheduleC)+" °C"), page.Plain("Metal temperatures", fmt.Sprint(c.Channels)),
			page.Plain("Peaks apart by at most", specZeroIsNone(c.MaxSpreadC, "K")), page.Plain("Window", "the powder's"))
	}
	if c := s.CureTest; c != nil {
		add("Cure test", page.Plain("Solvent", c.Solvent), page.Plain("Double rubs", fmt.Sprint(c.Rubs)), page.Plain("Wait before judging", fmt.Sprintf("%d s", c.WaitS)),
			page.Plain("Lowest rating that passes", fmt.Sprint(c.PassFrom)), page.Plain("Judged against", wordOrNone(c.Reference)), page.Plain("Solvent's lot named", specYesNo(s.Requires.Solvent)))
	}
	if s.PanelTest != nil {
		add("Panel test", specPanelWords(*s.PanelTest)...)
	}
	if s.Finish != nil {
		add("Finish check", specFinishWords(*s.Finish)...)
	}
	if s.Film != nil {
		add("Film thickness", specFilmWords(*s.Film)...)
	}
	if facts := specSampleWords(s.Sampling); len(facts) > 0 {
		add("Sampling", facts...)
	}
	if f := s.FirstArticle; f != nil {
		gap := "no limit"
		if f.GapDays > 0 {
			gap = counted(f.GapDays, "day")
		}
		add("First article", page.Plain("Approved before series work", "yes"), page.Plain("Due again without a series part for", gap))
	}
	add("In all", page.Plain("Trips through coating", fmt.Sprint(s.MaxCycles)), page.Plain("Release by a second person", specYesNo(s.ReleaserNotSoleInspector)))
	return out
}

func specYesNo(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

func specZeroIsNone(v float64, unit string) string {
	if v == 0 {
		return "no limit"
	}
	return setupNumber(v) + " " + unit
}

func specStageWords(stage quality.StageSpec) string {
	words := []string{labelOf(washStageOptions, stage.Stage)}
	for _, l := range specStageLimits {
		if limits, ok := stage.Limits[l.code]; ok && !limits.None() {
			words = append(words, strings.ToLower(l.label[:1])+l.label[1:]+" "+limits.String())
		}
	}
	return strings.Join(words, "; ")
}

func specFinishWords(f quality.FinishCheckSpec) []page.DeskFact {
	facts := []page.DeskFact{page.Plain("Viewing distance", specZeroIsNone(f.DistanceMM, "mm")), page.Plain("Light at the part", f.Light.String())}
	permitted := []string{}
	for _, d := range f.Allowed {
		says := fmt.Sprintf("%s up to %d", labelOf(specDefectOptions(), d.Code), d.Count)
		if d.SizeMM > 0 {
			says += " of at most " + setupNumber(d.SizeMM) + " mm"
		}
		permitted = append(permitted, says)
	}
	facts = append(facts, page.Plain("Permitted defects", wordOrNone(strings.Join(permitted, "; "))))
	if g := f.Gloss; g != nil {
		facts = append(facts, page.Plain("Gloss", fmt.Sprintf("%s ± %s GU at %d°", setupNumber(g.Nominal), setupNumber(g.Tolerance), g.GeometryDeg)))
	}
	if a := f.Adhesion; a != nil {
		facts = append(facts, page.Plain("Adhesion", labelOf(specAdhesionOptions(), a.Method+" "+a.Worst)+" or better"), page.Plain("Temperature and humidity noted", specYesNo(a.Conditions)))
	}
	return facts
}

func specFilmWords(f quality.FilmSpec) []page.DeskFact {
	facts := []page.DeskFact{page.Plain("Limits", f.Limits.String()), page.Plain("Acceptance rule", labelOf(specRuleOptions(), string(f.Rule)))}
	if f.Rule == quality.SpotArea {
		facts = append(facts, page.Plain("Restriction level", fmt.Sprint(f.Level)))
	}
	if f.Rule == quality.ShareOfReadings {
		facts = append(facts, page.Plain("Share at the minimum", setupNumber(f.Share*100)+" %"))
	}
	if f.Floor != nil {
		facts = append(facts, page.Plain("No reading under", f.Floor.String()))
	}
	unit := ""
	if f.Limits.Low != nil {
		unit = f.Limits.Low.Unit.Symbol()
	}
	facts = append(facts, page.Plain("Spots and readings", fmt.Sprintf("at least %d spots, %d readings each", f.Spots, f.ReadingsPerSpot)))
	guard := "none: simple acceptance"
	if f.Guard > 0 {
		guard = setupNumber(f.Guard) + " " + unit
	}
	facts = append(facts, page.Plain("Guard band", guard))
	if f.MaxTotal != nil {
		facts = append(facts, page.Plain("Greatest film after recoating", f.MaxTotal.String()))
	}
	return facts
}
