package quality

import (
	"fmt"
	"slices"
	"strings"
)

// The requirements that a first article takes from each section of a finish spec, and how a record answers them.

func weldRequirement(s WeldSpec) Requirement {
	text := "Welds: quality level " + s.Level
	for _, l := range []struct {
		name   string
		limits Limits
	}{{"leg", s.Leg}, {"throat", s.Throat}} {
		if !l.limits.None() {
			text += fmt.Sprintf("; %s %s", l.name, l.limits)
		}
	}
	return Requirement{Code: "weld", Kind: Weld, Text: text, answer: func(c Check, _ []Finding) (string, Verdict) { return summary(c), "" }}
}

func washRequirements(s PretreatmentSpec) []Requirement {
	var list []Requirement
	for i, stage := range s.Stages {
		var words []string
		for _, code := range sortedKeys(stage.Limits) {
			if limits := stage.Limits[code]; !limits.None() {
				words = append(words, fmt.Sprintf("%s %s", lowerFirst(characteristicName(code)), limits))
			}
		}
		if len(words) == 0 {
			continue
		}
		key, name := StageKey(i, stage), stage.Name
		list = append(list, Requirement{Code: "wash " + key, Kind: Pretreatment, Text: fmt.Sprintf("Pretreatment, %s: %s", name, strings.Join(words, "; ")),
			answer: func(c Check, findings []Finding) (string, Verdict) {
				own := Check{}
				for _, r := range c.Readings {
					if r.Location == key {
						own.Readings = append(own.Readings, r)
					}
				}
				return summary(own), worstOf(findings, func(f Finding) bool { return f.Place == name })
			}})
	}
	if s.WaterBreak {
		list = append(list, Requirement{Code: "water break", Kind: Pretreatment, Text: "Pretreatment: the film of water holds after the last rinse",
			answer: func(c Check, findings []Finding) (string, Verdict) {
				code, _ := c.anyRating(RatingWaterBreak)
				return code, worstOf(findings, func(f Finding) bool { return f.Rule == "water break" })
			}})
	}
	return list
}

func cureRequirement(s CureSpec, window CureWindow) Requirement {
	text := fmt.Sprintf("Cure: %s within the powder's window", s.ruleInWords())
	var points []string
	for _, p := range window.sorted() {
		points = append(points, fmt.Sprintf("%s °C %s to %s min", Number(p.MetalC, 1), Number(p.MinMinutes, 1), Number(p.MaxMinutes, 1)))
	}
	if len(points) > 0 {
		text += " (" + strings.Join(points, ", ") + ")"
	}
	return Requirement{Code: "cure", Kind: Cure, Text: text, after: []ArticleChange{NewPowder, NewOven}, answer: func(c Check, _ []Finding) (string, Verdict) { return summary(c), "" }}
}

func rubRequirement(s CureTestSpec) Requirement {
	return Requirement{Code: "rub", Kind: CureTest, Text: fmt.Sprintf("Solvent rub: %s with %s, rated %d or better", counted(s.Rubs, "double rub"), s.Solvent, s.PassFrom),
		after: []ArticleChange{NewPowder, NewOven}, answer: func(c Check, _ []Finding) (string, Verdict) { return summary(c), "" }}
}

func finishRequirements(s FinishCheckSpec) []Requirement {
	look := "Finish: no defect beyond what the spec permits"
	if s.DistanceMM > 0 {
		look += fmt.Sprintf(", seen from %s mm", Number(s.DistanceMM, 0))
	}
	alone := s
	alone.Gloss, alone.Adhesion = nil, nil
	list := []Requirement{{Code: "finish", Kind: Finish, Text: look, after: []ArticleChange{NewPowder, NewBooth}, answer: func(c Check, _ []Finding) (string, Verdict) {
		c.Defects = slices.Clone(c.Defects)
		return summary(Check{Defects: c.Defects}), JudgeFinish(alone, &c).Verdict
	}}}
	if g := s.Gloss; g != nil {
		list = append(list, Requirement{Code: "gloss", Kind: Finish, Text: fmt.Sprintf("Gloss: %s ± %s GU at %d°", Number(g.Nominal, 1), Number(g.Tolerance, 1), g.GeometryDeg),
			after: []ArticleChange{NewPowder, NewBooth, NewOven}, answer: func(c Check, _ []Finding) (string, Verdict) {
				c.Readings = slices.Clone(c.Readings)
				var j Judgement
				judgeGloss(&j, *g, &c)
				return summary(Check{Readings: c.Of("gloss")}), j.Verdict
			}})
	}
	if a := s.Adhesion; a != nil {
		list = append(list, Requirement{Code: "adhesion", Kind: Finish, Text: fmt.Sprintf("Adhesion: class %s or better by %s", a.Worst, methodName(a.Method)),
			after: []ArticleChange{NewPowder, NewOven}, answer: func(c Check, _ []Finding) (string, Verdict) {
				var j Judgement
				judgeAdhesion(&j, *a, &c)
				code, _ := c.anyRating(RatingAdhesion)
				return "class " + orNone(code), j.Verdict
			}})
	}
	return list
}

// filmRequirements are one for each area of the measuring plan, in its order; one in all where there is no plan.
func filmRequirements(s FilmSpec, places []Place) []Requirement {
	one := func(code, where string, spots []int) Requirement {
		return Requirement{Code: code, Kind: Film, Text: fmt.Sprintf("Film thickness%s: %s by the rule %s", where, s.Limits, FilmRuleNames[s.Rule]), after: []ArticleChange{NewPowder, NewBooth},
			answer: func(c Check, _ []Finding) (string, Verdict) {
				own := Check{}
				for _, r := range c.Of("film_thickness") {
					if spots == nil || slices.Contains(spots, r.Spot) {
						own.Readings = append(own.Readings, r)
					}
				}
				return summary(own), ""
			}}
	}
	var areas []string
	spots := map[string][]int{}
	for _, p := range places {
		if spots[p.Area] == nil {
			areas = append(areas, p.Area)
		}
		spots[p.Area] = append(spots[p.Area], p.Spot)
	}
	if len(areas) == 0 {
		return []Requirement{one("film", "", nil)}
	}
	var list []Requirement
	for _, area := range areas {
		list = append(list, one("film "+area, ", area "+area, spots[area]))
	}
	return list
}

// worstOf returns the worst verdict of the findings that own, or "" when there is none.
func worstOf(findings []Finding, own func(Finding) bool) Verdict {
	var v Verdict
	for _, f := range findings {
		if own(f) {
			if v == "" {
				v = Pass
			}
			v = worst(v, f.Verdict)
		}
	}
	return v
}

// summary is what a check found in one line: each characteristic with its least and greatest value as entered, ratings, and
// what was seen.
func summary(c Check) string {
	var words []string
	var codes []string
	for _, r := range c.Readings {
		if !slices.Contains(codes, r.Characteristic) {
			codes = append(codes, r.Characteristic)
		}
	}
	for _, code := range codes {
		words = append(words, lowerFirst(characteristicName(code))+" "+spanOf(c.Of(code)))
	}
	for _, r := range c.Ratings {
		words = append(words, strings.ReplaceAll(r.Characteristic, "_", " ")+" "+r.Code)
	}
	for _, d := range c.Defects {
		if d.Code == NoneFound {
			words = append(words, "none found")
			continue
		}
		words = append(words, strings.TrimSpace(FaultName(d.Code)+" "+d.Place))
	}
	return strings.Join(words, "; ")
}

// spanOf is the least and the greatest of some readings, as they were entered, and how many there are.
func spanOf(readings []Reading) string {
	var least, most *Reading
	n := 0
	for i := range readings {
		r := &readings[i]
		if r.Absence != Present {
			continue
		}
		n++
		if v, err := r.In(readings[0].Unit); err == nil {
			if least == nil || v < mustIn(*least, readings[0].Unit) {
				least = r
			}
			if most == nil || v > mustIn(*most, readings[0].Unit) {
				most = r
			}
		}
	}
	switch {
	case least == nil:
		return "not measured"
	case n == 1:
		return withUnit(least.Text, least.Unit)
	}
	return fmt.Sprintf("%s to %s (%s)", least.Text, withUnit(most.Text, most.Unit), counted(n, "reading"))
}

// mustIn is a reading's value in a unit that it was converted to before.
func mustIn(r Reading, unit Unit) float64 {
	v, _ := r.In(unit)
	return v
}

func characteristicName(code string) string {
	if c, ok := CharacteristicOf(code); ok {
		return c.Name
	}
	return code
}
