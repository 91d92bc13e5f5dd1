package quality

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Rules, places and faults of the weld check.
const (
	weldUndersize = "weld_undersize"
	weldOversize  = "weld_oversize"
)

// JudgeWeld judges a visual weld check: the imperfections found, by their ISO 6520-1 numbers, against the rows in force for
// the spec's quality level, and the sizes of the welds against the drawing's limits.
//
// An imperfection passes when its row permits it and its size is at most min(PerWall·t + PlusMM, MaxMM), t being the wall
// thickness. An imperfection that its row does not permit, or that has no row at all, fails. One that is permitted up to a
// size and has no measured size makes the check incomplete, and so do a check that neither lists an imperfection nor states
// that none was found, a weld without a size that the spec limits, and light too weak to have seen anything by. Sizes that Sampled says are
// not due on this part are judged where the check has them, and are not missed.
//
// Reads WallMM, Welds, WeldLimits and Sampled. Readings weld_leg and weld_throat have the weld's number as their Spot.
func JudgeWeld(spec WeldSpec, c Circumstance, check *Check) Judgement {
	j := Judgement{Rule: fmt.Sprintf("weld quality level %s, wall %s mm", spec.Level, Number(c.WallMM, 2))}
	if j.searched(check) {
		for i := range check.Defects {
			if d := &check.Defects[i]; d.Code != NoneFound {
				d.Flag = judgeImperfection(&j, spec, c, *d)
			}
		}
	}
	judgeWeldSize(&j, c.Welds, "weld_leg", "leg length", spec.Leg, check, asks(WeldLeg, c.Sampled))
	judgeWeldSize(&j, c.Welds, "weld_throat", "throat thickness", spec.Throat, check, asks(WeldThroat, c.Sampled))
	j.lightEnough(spec.Light, check)
	return j
}

// searched reports whether the defect lines say anything, and adds the finding if they say nothing, both, or that none
// was found.
func (j *Judgement) searched(check *Check) bool {
	none, others := 0, 0
	for _, d := range check.Defects {
		if d.Code == NoneFound {
			none++
		} else {
			others++
		}
	}
	switch {
	case none == 0 && others == 0:
		j.missing("search", "", "", "Nothing is entered. Enter what was found, or state that nothing was found.")
	case none > 0 && others > 0:
		j.missing("search", "", "", "“Nothing found” stands beside a finding. Take one of the two out.")
	case none > 0:
		j.met("search", "", "", "Nothing was found.")
	}
	return others > 0
}

func judgeImperfection(j *Judgement, spec WeldSpec, c Circumstance, d Defect) Flag {
	name := imperfectionName(d.Code)
	place := weldPlace(d.Place)
	at := ""
	if place != "" {
		at = place + ": "
	}
	row, ok := weldRow(c.WeldLimits, spec.Level, d.Code)
	if !ok {
		j.failed("imperfection", place, "no limit row", d.Code,
			"%s%s has no limit row for level %s, so it is not permitted. Add the row or repair the weld.", at, name, spec.Level)
		return High
	}
	if !row.Permitted {
		j.failed("imperfection", place, "not permitted", d.Code, "%s%s is not permitted at level %s.", at, name, spec.Level)
		return High
	}
	if row.PerWall != 0 && !(c.WallMM > 0) {
		j.missing("imperfection", place, "", "%s%s is limited by the wall thickness, which is not known.", at, name)
		return Unflagged
	}
	limit := row.limitMM(c.WallMM)
	if d.SizeMM == nil {
		j.missing("imperfection", place, "at most "+Number(limit, 3)+" mm", "%s%s is permitted up to %s mm. Measure its size.", at, name, Number(limit, 3))
		return Unflagged
	}
	return j.compare(comparison{rule: "imperfection", place: place, what: lowerFirst(name) + ",", value: *d.SizeMM, text: sizeDigits(d.SizeText, *d.SizeMM),
		unit: Millimetre, limits: AtMost(limit, Millimetre), note: " permitted at level " + spec.Level, high: d.Code})
}

// limitMM returns the size permitted at a wall thickness in mm.
func (w WeldLimit) limitMM(wall float64) float64 {
	limit := w.PerWall*wall + w.PlusMM
	if w.MaxMM != nil {
		limit = math.Min(limit, *w.MaxMM)
	}
	return tidy(limit)
}

func weldRow(rows []WeldLimit, level, code string) (WeldLimit, bool) {
	for _, row := range rows {
		if row.Level == level && row.Code == code {
			return row, true
		}
	}
	return WeldLimit{}, false
}

// weldPlace turns a bare weld number into words and leaves anything else as it is.
func weldPlace(place string) string {
	place = strings.TrimSpace(place)
	if _, err := strconv.Atoi(place); err == nil {
		return "Weld " + place
	}
	return place
}

func sizeDigits(text string, value float64) string {
	return Reading{Text: text, Value: value}.digitsOf()
}

// judgeWeldSize judges one size of each weld. Nothing is missed where the spec sets no limits, or where the size is not asked for
// and none was measured.
func judgeWeldSize(j *Judgement, welds int, code, what string, limits Limits, check *Check, asked bool) {
	measured := map[int]bool{}
	for i := range check.Readings {
		r := &check.Readings[i]
		if r.Characteristic != code || !r.measured() {
			continue
		}
		r.Flag = Unflagged
		measured[r.Spot] = true
		if !limits.None() {
			r.Flag = j.compare(comparison{rule: what, place: fmt.Sprintf("Weld %d", r.Spot), what: what, value: r.Value, text: r.digitsOf(),
				unit: r.Unit, limits: limits, low: weldUndersize, high: weldOversize})
		}
	}
	if limits.None() || !asked && len(measured) == 0 {
		return
	}
	for weld := 1; weld <= welds; weld++ {
		if !measured[weld] {
			place := fmt.Sprintf("Weld %d", weld)
			j.missing(what, place, limits.String(), "%s: the %s is not measured.", place, what)
		}
	}
	if welds < 1 && len(measured) == 0 {
		j.missing(what, "", limits.String(), "The %s is not measured.", what)
	}
}

// lightEnough asks for a light reading within limits.
func (j *Judgement) lightEnough(limits Limits, check *Check) {
	if !limits.None() {
		j.condition(check, condition{code: "light", rule: "light", what: "light at the part", limits: limits, again: "Look again in the light that is asked for."})
	}
}

// ThroatFromLeg returns the throat a of a fillet weld with equal legs z and a flat face, a = z/√2, in the unit of z.
func ThroatFromLeg(leg float64) float64 { return leg / math.Sqrt2 }

// LegFromThroat returns the leg z of a fillet weld with throat a, equal legs and a flat face, z = a·√2, in the unit of a.
func LegFromThroat(throat float64) float64 { return throat * math.Sqrt2 }

// ThroatFromLegs returns the throat of a fillet weld with a flat face from both its legs, in their unit: the height of the
// right-angled triangle over its face,
//
//	a = z₁z₂/√(z₁² + z₂²)
//
// For equal legs it is ThroatFromLeg. European practice counts the largest isosceles triangle that fits in, so that there the
// throat of unequal legs is ThroatFromLeg of the shorter one, which is less (from memory, unverified). A hollow face has less
// than either, and must be gauged.
//
// It returns ErrOutOfScale for legs that are not over 0 and up to 1000.
func ThroatFromLegs(one, two float64) (float64, error) {
	if !(one > 0 && one <= 1000) || !(two > 0 && two <= 1000) {
		return 0, fmt.Errorf("%w: legs of %v and %v", ErrOutOfScale, one, two)
	}
	return one * two / math.Hypot(one, two), nil
}
