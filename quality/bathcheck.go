package quality

import "strings"

// JudgeBath judges a reading of a bath: each control whose value was found lies within its limits. A control that was due and
// is missing makes the reading incomplete, and one that a meter could not read as well. A caustic bath without free caustic
// fails whatever its limits.
//
// Source: nominal, limit and actual value of each bath on its own log, QUALICOAT 6.1.1 (seen).
func JudgeBath(controls []BathControl, check *Check) Judgement {
	j := Judgement{Rule: "controls of the bath, each within its limits"}
	found := 0
	for _, c := range controls {
		value := -1
		var absent *Reading
		for i := range check.Readings {
			switch r := &check.Readings[i]; {
			case r.Characteristic != c.Characteristic:
			case r.measured():
				value = i
			default:
				absent = r
			}
		}
		switch {
		case value >= 0:
			found++
			r := &check.Readings[value]
			r.Flag = j.compare(comparison{rule: lowerFirst(c.Name()), place: "Bath", what: lowerFirst(c.Name()), value: r.Value, unit: r.Unit, limits: c.Limits,
				low: c.Characteristic, high: c.Characteristic})
			if r.Source == "computed" && r.Raw != "" {
				last := &j.Findings[len(j.Findings)-1]
				last.Text = strings.TrimSuffix(last.Text, ".") + ": " + r.Raw + "."
			}
			if _, spent, ok, _ := c.Result(*check); ok && spent && c.Characteristic == bathConcentration {
				j.failed("free caustic", "Bath", "2P at least M", bathConcentration, "No free caustic is left: 2P is under M. Dose now.")
			}
		case absent != nil:
			j.missing(lowerFirst(c.Name()), "Bath", c.Limits.String(), "%s %s; the limit is %s.", c.Name(), absent.why(), c.Limits)
		case c.Due:
			j.missing(lowerFirst(c.Name()), "Bath", c.Limits.String(), "%s is due and missing; the limit is %s.", c.Name(), c.Limits)
		}
	}
	if len(controls) == 0 {
		j.missing("controls", "Bath", "", "The bath has no controls, so nothing can be judged. An engineer sets them under Setup, Baths.")
	} else if found == 0 && len(j.Findings) == 0 {
		j.missing("controls", "Bath", "", "Nothing was read that the bath is controlled by.")
	}
	return j.conclude()
}
