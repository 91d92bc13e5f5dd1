package quality

import (
	"fmt"
	"math"
	"sort"
)

// A FilmSummary is what a film check measured, by level: readings, spots, all. The three are never mixed: a spot's mean
// is of its readings, the overall mean is of the spot means.
type FilmSummary struct {
	Unit     Unit
	Spots    []SpotMean // in the order of the spot numbers
	Readings int
	Mean     float64 // mean of the spot means
	Min, Max float64 // of the single readings
}

// A SpotMean is the mean of the readings taken at one spot.
type SpotMean struct {
	Spot  int
	Place string // "Spot 3" or "Spot 3, top rail"
	Area  string
	N     int
	Mean  float64
	Flag  Flag // against what the spec's rule asks of one spot, Unflagged where it judges single readings only
}

// FilmSummaryOf returns the spot means and the overall mean of a film check, flagged by the spec's rule. Readings without
// a number are left out. A check without readings, or with readings in more than one unit, has no spots: means of a
// mixture would be of nothing.
func FilmSummaryOf(spec FilmSpec, c Circumstance, check Check) FilmSummary {
	f := gatherFilm(c, &check)
	if f.problem != "" || len(f.spots) == 0 {
		return FilmSummary{Unit: f.unit}
	}
	s := FilmSummary{Unit: f.unit, Min: math.Inf(1), Max: math.Inf(-1)}
	limits := spec.spotLimits()
	var means []float64
	for _, spot := range f.spots {
		mean := spot.mean()
		flag := Unflagged
		if spec.Rule == Areas80 || spec.Rule == SpotArea {
			flag, _ = limits.guarded(mean, f.unit, spec.Guard)
		}
		s.Spots = append(s.Spots, SpotMean{Spot: spot.number, Place: spot.place, Area: spot.area, N: len(spot.readings), Mean: mean, Flag: flag})
		means = append(means, mean)
		for _, r := range spot.readings {
			s.Readings++
			s.Min, s.Max = math.Min(s.Min, r.Value), math.Max(s.Max, r.Value)
		}
	}
	s.Mean = meanOf(means)
	return s
}

// JudgeFilm judges film thickness readings by the spec's acceptance rule and flags each reading.
//
//   - Areas80: each spot is a measuring area and its value is the mean of its readings. The mean of the area values is at
//     least the minimum and no area value is under 80 % of it. A maximum, where the spec sets one, holds for each area value.
//   - SpotArea: spot means and the mean of the spots of each area are within the ranges of the restriction level. Single
//     readings are not judged.
//   - EachReading: every single reading is within the limits.
//   - ShareOfReadings: at least Share of the readings are at or over the minimum, none (or at most UnderFloor of them) is under
//     Floor, and none is over a maximum where the spec sets one; with MeanToo their mean reaches the minimum besides.
//
// A reading's flag says what the reading would mean alone: under areas80 and spot_area it is Low under the spot's floor and
// High over the spot's maximum, and decides nothing by itself, since those rules judge means; under the other rules it is
// Low under the minimum.
//
// Guard, where set, applies to each comparison of the rule alike. The check is incomplete when a planned spot or reading is
// missing, when readings are in different units, or when a reading says below or above the gauge's range. A spot marked as
// not measured or not applicable is excused as long as the spec's number of spots is measured in full. Under SpotArea the
// spec's Areas and SpotsPerArea, and what FilmAreas asks for by SurfaceM2 where that is known, must be there too.
//
// Sources: areas80 Qualicoat specifications 2.3 (from memory, unverified); spot_area SSPC-PA 2 (levels 1 and 3 seen in
// summaries, the others from memory); share AAMA 2603 to 2605 (seen in a comparison table), ISO 19840 (mean and floor seen in
// a summary, the share from memory).
func JudgeFilm(spec FilmSpec, c Circumstance, check *Check) Judgement {
	j := Judgement{Rule: spec.ruleInWords()}
	f := gatherFilm(c, check)
	spec.flag(check)
	if f.problem != "" {
		j.missing("readings", "", "", "%s", f.problem)
		return j
	}
	f.complete(&j, spec, c, check)
	if len(f.spots) == 0 {
		return j.conclude()
	}
	if spec.Limits.Low == nil && spec.Rule != EachReading || spec.Limits.None() {
		j.missing("minimum", "", "", "The finish spec sets no minimum film thickness, so nothing can be judged.")
		return j
	}
	switch spec.Rule {
	case Areas80:
		f.areas80(&j, spec)
	case SpotArea:
		f.spotArea(&j, spec)
	case EachReading:
		f.eachReading(&j, spec)
	case ShareOfReadings:
		f.share(&j, spec)
	default:
		j.missing("rule", "", "", "“%s” is not a film acceptance rule that the book knows.", spec.Rule)
	}
	f.total(&j, spec, c)
	return j
}

// ruleInWords names the rule with its limits, as it is stored and printed with the verdict.
func (f FilmSpec) ruleInWords() string {
	rule := fmt.Sprintf("film thickness by %s, %s", FilmRuleNames[f.Rule], f.Limits)
	if f.Rule == SpotArea {
		rule += fmt.Sprintf(", level %d", f.Level)
	}
	if f.Rule == ShareOfReadings && f.Floor != nil {
		few := "none"
		if f.UnderFloor > 0 {
			few = fmt.Sprintf("at most %s %%", Number(f.UnderFloor*100, 1))
		}
		rule += fmt.Sprintf(", %s %% of the readings, %s under %s", Number(f.Share*100, 1), few, f.Floor)
		if f.MeanToo {
			rule += ", and their mean"
		}
	}
	if f.Guard > 0 {
		rule += ", guard band " + withUnit(Number(f.Guard, 3), comparison{limits: f.Limits}.guardUnit())
	} else {
		rule += ", simple acceptance"
	}
	return rule
}

// levels are the factors on the specified minimum and maximum of the spot and area rule, by restriction level. The areas'
// range is the specified one. Zero means no limit.
//
// Source: SSPC-PA 2, seen in summaries for level 1 and for 80 % and 120 % at level 3; levels 2, 4 and 5 from memory,
// unverified.
var levels = map[int]struct{ spotLow, spotHigh, areaHigh float64 }{
	1: {1, 1, 1},
	2: {1, 1.2, 1},
	3: {0.8, 1.2, 1},
	4: {0.8, 1.5, 1},
	5: {0.8, 0, 0},
}

// spotLimits returns what the rule asks of one spot: its mean under the rules that judge means, else each reading.
func (f FilmSpec) spotLimits() Limits {
	low, high := 1.0, 1.0
	switch f.Rule {
	case Areas80:
		low = 0.8
	case SpotArea:
		low, high = levels[f.Level].spotLow, levels[f.Level].spotHigh
	}
	var l Limits
	if f.Limits.Low != nil {
		l.Low = f.Limits.Low.scaled(low)
	}
	if f.Limits.High != nil && high > 0 {
		l.High = f.Limits.High.scaled(high)
	}
	return l
}

// flag marks every film reading by what it would mean alone.
func (f FilmSpec) flag(check *Check) {
	limits := f.spotLimits()
	for i := range check.Readings {
		r := &check.Readings[i]
		if r.Characteristic != "film_thickness" {
			continue
		}
		r.Flag = Unflagged
		if !r.measured() {
			continue
		}
		guard := 0.0
		if f.Rule == EachReading {
			guard = f.Guard
		}
		if flag, err := limits.guarded(r.Value, r.Unit, guard); err == nil {
			r.Flag = flag
		}
	}
}

// A filmSpot holds what was measured at one spot.
type filmSpot struct {
	number   int
	place    string
	area     string
	readings []Reading
}

func (s filmSpot) mean() float64 {
	values := make([]float64, len(s.readings))
	for i, r := range s.readings {
		values[i] = r.Value
	}
	return meanOf(values)
}

// meanOf returns the arithmetic mean, summed with compensation so that it does not depend on the order of the values.
func meanOf(values []float64) float64 {
	var sum compensated
	for _, v := range values {
		sum.add(v)
	}
	return sum.total() / float64(len(values))
}

// compensated is a sum that carries what rounding loses (Neumaier's form of Kahan's sum).
type compensated struct{ sum, lost float64 }

func (c *compensated) add(v float64) {
	t := c.sum + v
	if math.Abs(c.sum) >= math.Abs(v) {
		c.lost += (c.sum - t) + v
	} else {
		c.lost += (v - t) + c.sum
	}
	c.sum = t
}

func (c compensated) total() float64 { return c.sum + c.lost }

// filmCheck is a film check sorted by spot. problem is a sentence when the readings cannot be put together at all.
type filmCheck struct {
	unit    Unit
	spots   []filmSpot   // those with at least one number
	excused map[int]bool // spots marked as not measured or not applicable
	planned map[int]Place
	problem string
}

func gatherFilm(c Circumstance, check *Check) filmCheck {
	f := filmCheck{excused: map[int]bool{}, planned: map[int]Place{}}
	for _, p := range c.Plan {
		f.planned[p.Spot] = p
	}
	found := map[int]*filmSpot{}
	for _, r := range check.Of("film_thickness") {
		if r.Absence == NotMeasured || r.Absence == NotApplicable {
			f.excused[r.Spot] = true
		}
		if !r.measured() {
			continue
		}
		if r.Unit != Micrometre && r.Unit != Mil {
			f.problem = fmt.Sprintf("A film reading is in %s. Film thickness is given in µm or mil.", r.Unit.Symbol())
			return f
		}
		if f.unit != "" && r.Unit != f.unit {
			f.problem = fmt.Sprintf("The readings are partly in %s and partly in %s. Enter all of them in one unit.", f.unit.Symbol(), r.Unit.Symbol())
			return f
		}
		f.unit = r.Unit
		if r.Spot < 1 {
			f.problem = fmt.Sprintf("The reading %s has no spot number.", withUnit(r.digitsOf(), r.Unit))
			return f
		}
		spot := found[r.Spot]
		if spot == nil {
			spot = f.newSpot(r)
			found[r.Spot] = spot
		}
		spot.readings = append(spot.readings, r)
	}
	for _, spot := range found {
		f.spots = append(f.spots, *spot)
	}
	sort.Slice(f.spots, func(a, b int) bool { return f.spots[a].number < f.spots[b].number })
	return f
}

func (f filmCheck) newSpot(r Reading) *filmSpot {
	spot := &filmSpot{number: r.Spot, area: r.Location, place: f.place(r.Spot)}
	if p, ok := f.planned[r.Spot]; ok {
		spot.area = p.Area
	}
	return spot
}

// place names a spot, with the plan's words for it where there are any.
func (f filmCheck) place(spot int) string {
	if name := f.planned[spot].Name; name != "" {
		return fmt.Sprintf("Spot %d, %s", spot, name)
	}
	return fmt.Sprintf("Spot %d", spot)
}

// complete adds a finding for everything the plan or the spec asks for that is not there.
func (f filmCheck) complete(j *Judgement, spec FilmSpec, c Circumstance, check *Check) {
	perSpot := max(spec.ReadingsPerSpot, c.PerSpot, 1)
	full, have := 0, map[int]bool{}
	for _, spot := range f.spots {
		have[spot.number] = true
		if len(spot.readings) >= perSpot {
			full++
			continue
		}
		if !f.excused[spot.number] {
			j.missing("readings at a spot", spot.place, "at least "+counted(perSpot, "reading"),
				"%s: %s, %d are asked.", spot.place, counted(len(spot.readings), "reading"), perSpot)
		}
	}
	for _, p := range c.Plan {
		if !have[p.Spot] && !f.excused[p.Spot] {
			j.missing("planned spots", f.place(p.Spot), "", "%s is not measured yet.", f.place(p.Spot))
		}
	}
	f.absent(j, spec, full, check)
	if spec.Rule == SpotArea {
		f.areas(j, spec, c, perSpot)
	}
	if full < spec.Spots {
		j.missing("spots", "", "at least "+counted(spec.Spots, "spot"),
			"%s measured in full, %d are asked.", counted(full, "spot"), spec.Spots)
	}
}

// absent weighs the readings that stand there without a number. Out of the gauge's range is never excused: the film may be
// bare or double, and only another gauge can tell.
func (f filmCheck) absent(j *Judgement, spec FilmSpec, full int, check *Check) {
	for _, r := range check.Of("film_thickness") {
		if r.measured() {
			continue
		}
		place := f.place(r.Spot)
		switch {
		case r.Absence != NotMeasured && r.Absence != NotApplicable:
			j.missing("readings", place, "", "%s: a reading %s. Measure it.", place, r.why())
		case full >= spec.Spots:
			j.met("spots", place, "at least "+counted(spec.Spots, "spot"), "%s: a reading %s; %s measured in full are enough.", place, r.why(), counted(full, "spot"))
		default:
			j.missing("spots", place, "at least "+counted(spec.Spots, "spot"), "%s: a reading %s, and only %s measured in full.", place, r.why(), counted(full, "spot"))
		}
	}
}
