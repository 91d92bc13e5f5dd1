package quality

import (
	"fmt"
)

// The ratings that checks hold, by their characteristic.
const (
	// RatingWaterBreak is the water-break test: "held" or "broken".
	RatingWaterBreak = "water_break"
	// RatingRub is the solvent rub on the four-step scale: "1" to "4".
	RatingRub = "solvent_rub"
	// RatingSwab is the colour on the cloth after the rub: "none", "slight" or "strong".
	RatingSwab = "swab_colour"
	// RatingControl names the fully cured control panel the rub was compared with.
	RatingControl = "control_panel"
	// RatingAdhesion is the class of the cross-cut or X-cut, in the wording of its own standard.
	RatingAdhesion = "adhesion"
)

// RuleBathChecked is the rule of the finding that flags a bath which was out of limits or unchecked when a wash used it.
const RuleBathChecked = "bath checked"

// StageKey is the Location of the readings of one stage: its place in the line from 1 and its kind, such as "1-clean". The
// index i starts at 0, as in Stages.
func StageKey(i int, s StageSpec) string { return fmt.Sprintf("%d-%s", i+1, s.Stage) }

// JudgePretreatment judges a wash: in each stage every characteristic that the spec limits, and the water break after the
// last rinse where the spec asks for it. Readings have StageKey as their Location. A limited characteristic that was not
// measured makes the run incomplete. What speaks against a bath that was used, where the spec flags it and does not refuse,
// stands in a finding that decides nothing.
func JudgePretreatment(spec PretreatmentSpec, c Circumstance, check *Check) Judgement {
	j := Judgement{Rule: "stage limits"}
	for _, sentence := range c.Baths {
		j.met(RuleBathChecked, "", "", "Flagged: %s", sentence)
	}
	for i, stage := range spec.Stages {
		key := StageKey(i, stage)
		name := stage.Name
		if name == "" {
			name = "Stage " + key
		}
		for _, code := range sortedKeys(stage.Limits) {
			if limits := stage.Limits[code]; !limits.None() {
				judgeEach(&j, check, each{code: code, location: key, anywhere: false, place: name, limits: limits, low: code, high: code})
			}
		}
	}
	if spec.WaterBreak {
		judgeWaterBreak(&j, check)
	}
	if len(j.Findings) == len(c.Baths) && len(spec.Stages) > 0 {
		j.met("stages", "", "", "The stages are recorded; the spec limits none of them.")
	}
	return j.conclude()
}

func judgeWaterBreak(j *Judgement, check *Check) {
	code, ok := check.anyRating(RatingWaterBreak)
	switch {
	case !ok:
		j.missing("water break", "", "held", "The water-break test is not recorded.")
	case code == "held":
		j.met("water break", "", "held", "Water break: the film of water held.")
	case code == "broken":
		j.failed("water break", "", "held", "water_break", "Water break: the film of water broke, so the surface is not clean.")
	default:
		j.missing("water break", "", "held", "Water break: “%s” is neither held nor broken.", clip(code))
	}
}

// anyRating returns the first rating of a characteristic, wherever it was taken.
func (c Check) anyRating(characteristic string) (string, bool) {
	for _, r := range c.Ratings {
		if r.Characteristic == characteristic && r.Code != "" {
			return r.Code, true
		}
	}
	return "", false
}

// each says what judgeEach judges: all readings of one characteristic, at one location or anywhere.
type each struct {
	code      string
	location  string
	anywhere  bool
	place     string
	limits    Limits
	low, high string
}

// judgeEach compares every reading of a characteristic and asks for at least one.
func judgeEach(j *Judgement, check *Check, e each) {
	name := e.code
	if c, ok := CharacteristicOf(e.code); ok {
		name = lowerFirst(c.Name)
	}
	found := false
	var absent *Reading
	for i := range check.Readings {
		r := &check.Readings[i]
		if r.Characteristic != e.code || !e.anywhere && r.Location != e.location {
			continue
		}
		if !r.measured() {
			absent = r
			continue
		}
		found = true
		r.Flag = j.compare(comparison{rule: name, place: e.place, what: name, value: r.Value, text: r.digitsOf(), unit: r.Unit,
			limits: e.limits, low: e.low, high: e.high})
	}
	prefix := ""
	if e.place != "" {
		prefix = e.place + ": "
	}
	switch {
	case found:
	case absent != nil:
		j.missing(name, e.place, e.limits.String(), "%s%s %s; the limit is %s.", prefix, caseFor(prefix, name), absent.why(), e.limits)
	default:
		j.missing(name, e.place, e.limits.String(), "%s%s is missing; the limit is %s.", prefix, caseFor(prefix, name), e.limits)
	}
}

// caseFor starts a sentence with a capital letter when nothing stands before.
func caseFor(prefix, s string) string {
	if prefix == "" {
		return upperFirst(s)
	}
	return s
}
