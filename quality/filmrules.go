package quality

import (
	"fmt"
	"sort"
)

// The faults of film thickness.
const (
	thinFilm  = "thin_film"
	thickFilm = "thick_film"
)

func (f filmCheck) areas80(j *Judgement, spec FilmSpec) {
	var means []float64
	for _, spot := range f.spots {
		means = append(means, spot.mean())
	}
	j.compare(comparison{rule: "mean of the spots", what: "mean of " + counted(len(means), "spot"), value: meanOf(means), unit: f.unit,
		limits: Limits{Low: spec.Limits.Low}, note: ", the minimum", guard: spec.Guard, low: thinFilm})
	limits := spec.spotLimits()
	for _, spot := range f.spots {
		f.twoSided(j, comparison{rule: "spot mean", place: spot.place, what: "mean", value: spot.mean(), unit: f.unit,
			limits: limits, note: ", 80 % of the minimum", guard: spec.Guard}, ", the maximum")
	}
}

func (f filmCheck) spotArea(j *Judgement, spec FilmSpec) {
	level, ok := levels[spec.Level]
	if !ok {
		j.missing("restriction level", "", "", "Level %d is not a restriction level; they are 1 to 5.", spec.Level)
		return
	}
	limits := spec.spotLimits()
	byArea := map[string][]float64{}
	for _, spot := range f.spots {
		mean := spot.mean()
		byArea[spot.area] = append(byArea[spot.area], mean)
		f.twoSided(j, comparison{rule: "spot mean", place: spot.place, what: "mean", value: mean, unit: f.unit,
			limits: limits, note: share(level.spotLow, "minimum"), guard: spec.Guard}, share(level.spotHigh, "maximum"))
	}
	areaLimits := Limits{Low: spec.Limits.Low}
	if level.areaHigh > 0 {
		areaLimits.High = spec.Limits.High
	}
	for _, area := range sortedKeys(byArea) {
		f.twoSided(j, comparison{rule: "area mean", place: areaName(area), what: "mean of " + counted(len(byArea[area]), "spot"),
			value: meanOf(byArea[area]), unit: f.unit, limits: areaLimits, note: ", the minimum", guard: spec.Guard}, ", the maximum")
	}
}

// share words a limit that is a share of another: ", 80 % of the minimum".
func share(factor float64, of string) string {
	if factor == 1 {
		return ", the " + of
	}
	return fmt.Sprintf(", %s %% of the %s", Number(factor*100, 1), of)
}

func (f filmCheck) eachReading(j *Judgement, spec FilmSpec) {
	for _, spot := range f.spots {
		for i, r := range spot.readings {
			j.compare(comparison{rule: "every reading", place: spot.place, what: fmt.Sprintf("reading %d,", repOf(r, i)), value: r.Value,
				text: r.digitsOf(), unit: f.unit, limits: spec.Limits, guard: spec.Guard, low: thinFilm, high: thickFilm})
		}
	}
}

func repOf(r Reading, i int) int {
	if r.Rep > 0 {
		return r.Rep
	}
	return i + 1
}

// share judges how many readings reach the minimum, and each one, or their share, against the low limit.
func (f filmCheck) share(j *Judgement, spec FilmSpec) {
	if spec.Floor == nil {
		j.missing("low limit", "", "", "The finish spec names no low limit for single readings, so its rule cannot be applied.")
		return
	}
	each := Limits{Low: spec.Floor, High: spec.Limits.High}
	if spec.UnderFloor > 0 {
		each.Low = nil
	}
	minimum, floor := filmCount{limit: spec.Limits.Low}, filmCount{limit: spec.Floor}
	var values []float64
	for _, spot := range f.spots {
		for i, r := range spot.readings {
			values = append(values, r.Value)
			minimum.take(r.Value, f.unit, spec.Guard)
			floor.take(r.Value, f.unit, spec.Guard)
			if !each.None() {
				f.twoSided(j, comparison{rule: "low limit of a reading", place: spot.place, what: fmt.Sprintf("reading %d,", repOf(r, i)), value: r.Value,
					text: r.digitsOf(), unit: f.unit, limits: each, note: ", the low limit", guard: spec.Guard}, ", the maximum")
			}
		}
	}
	j.add(minimum.finding("share of readings", spec.Share, spec.Guard))
	if spec.UnderFloor > 0 {
		j.add(floor.finding("share over the low limit", 1-spec.UnderFloor, spec.Guard))
	}
	if spec.MeanToo {
		j.compare(comparison{rule: "mean of the readings", what: "mean of " + counted(len(values), "reading"), value: meanOf(values), unit: f.unit,
			limits: Limits{Low: spec.Limits.Low}, note: ", the minimum", guard: spec.Guard, low: thinFilm})
	}
}

// A filmCount counts the readings that are at or over a limit, and those of them that clear the guard band.
type filmCount struct {
	limit         *Limit
	n, met, clear int
}

func (c *filmCount) take(value float64, unit Unit, guard float64) {
	c.n++
	if flag, err := (Limits{Low: c.limit}).guarded(value, unit, guard); err == nil && flag != Low {
		c.met++
		if flag == In {
			c.clear++
		}
	}
}

// finding compares the count with the share of the readings that must be there.
func (c filmCount) finding(rule string, share, guard float64) Finding {
	percent := 100 * float64(c.met) / float64(c.n)
	asked := Number(share*100, 1)
	text := fmt.Sprintf("%d of %s are at %s or more; at least %s %% must be.", c.met, counted(c.n, "reading"), c.limit, asked)
	f := Finding{Rule: rule, Limit: fmt.Sprintf("at least %s %% of the readings at %s or more", asked, c.limit), Value: &percent, Unit: Percent,
		Verdict: Pass, Text: text}
	switch need := share * float64(c.n); {
	case below(float64(c.met), need):
		f.Verdict, f.Fault = Fail, thinFilm
	case below(float64(c.clear), need):
		f.Verdict = GuardBand
		f.Text = fmt.Sprintf("%s Only %d of them clear the guard band of %s.", text, c.clear, withUnit(Number(guard, 3), c.limit.Unit))
	}
	return f
}

// total bounds the whole film after recoating over the old coat, at the level that the rule judges by.
func (f filmCheck) total(j *Judgement, spec FilmSpec, c Circumstance) {
	if !c.Recoated || spec.MaxTotal == nil {
		return
	}
	limits := Limits{High: spec.MaxTotal}
	for _, spot := range f.spots {
		if spec.Rule == Areas80 || spec.Rule == SpotArea {
			j.compare(comparison{rule: "total film after recoating", place: spot.place, what: "mean", value: spot.mean(), unit: f.unit,
				limits: limits, note: ", the maximum after recoating", guard: spec.Guard, high: thickFilm})
			continue
		}
		for i, r := range spot.readings {
			j.compare(comparison{rule: "total film after recoating", place: spot.place, what: fmt.Sprintf("reading %d,", repOf(r, i)), value: r.Value,
				text: r.digitsOf(), unit: f.unit, limits: limits, note: ", the maximum after recoating", guard: spec.Guard, high: thickFilm})
		}
	}
}

// twoSided compares with each end of the limits on its own, so that each finding names the one limit it is about. When
// both are met one finding, for the lower end, says enough.
func (f filmCheck) twoSided(j *Judgement, c comparison, highNote string) {
	low, high := c, c
	low.limits, high.limits = Limits{Low: c.limits.Low}, Limits{High: c.limits.High}
	low.low, high.high, high.note = thinFilm, thickFilm, highNote
	lowMet, highMet := low.met(), high.met()
	if high.limits.High != nil && (!highMet || low.limits.Low == nil) {
		j.compare(high)
	}
	if low.limits.Low != nil && (!lowMet || highMet) {
		j.compare(low)
	}
}

// met reports whether the value is clear of the limits, or there are none.
func (c comparison) met() bool {
	flag, err := c.limits.guarded(c.value, c.unit, c.guard)
	return err == nil && (flag == In || c.limits.None())
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}
