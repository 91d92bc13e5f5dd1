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
		place := "Area"
		if area != "" {
			place = "Area " + area
		}
		f.twoSided(j, comparison{rule: "area mean", place: place, what: "mean of " + counted(len(byArea[area]), "spot"),
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

// share judges how many readings reach the minimum, and each one against the low limit.
func (f filmCheck) share(j *Judgement, spec FilmSpec) {
	if spec.Floor == nil {
		j.missing("low limit", "", "", "The finish spec names no low limit for single readings, so its rule cannot be applied.")
		return
	}
	minimum := Limits{Low: spec.Limits.Low}
	n, met, clear := 0, 0, 0
	for _, spot := range f.spots {
		for i, r := range spot.readings {
			n++
			if flag, err := minimum.guarded(r.Value, f.unit, spec.Guard); err == nil && flag != Low {
				met++
				if flag == In {
					clear++
				}
			}
			f.twoSided(j, comparison{rule: "low limit of a reading", place: spot.place, what: fmt.Sprintf("reading %d,", repOf(r, i)), value: r.Value,
				text: r.digitsOf(), unit: f.unit, limits: Limits{Low: spec.Floor, High: spec.Limits.High}, note: ", the low limit", guard: spec.Guard}, ", the maximum")
		}
	}
	percent := 100 * float64(met) / float64(n)
	limit := fmt.Sprintf("at least %s %% of the readings at %s or more", Number(spec.Share*100, 1), spec.Limits.Low)
	text := fmt.Sprintf("%d of %s are at %s or more; at least %s %% must be.", met, counted(n, "reading"), spec.Limits.Low, Number(spec.Share*100, 1))
	finding := Finding{Rule: "share of readings", Limit: limit, Value: &percent, Unit: Percent, Verdict: Pass, Text: text}
	switch need := spec.Share * float64(n); {
	case below(float64(met), need):
		finding.Verdict, finding.Fault = Fail, thinFilm
	case below(float64(clear), need):
		finding.Verdict = GuardBand
		finding.Text = fmt.Sprintf("%s Only %d of them clear the guard band of %s.", text, clear, withUnit(Number(spec.Guard, 3), spec.Limits.Low.Unit))
	}
	j.add(finding)
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
