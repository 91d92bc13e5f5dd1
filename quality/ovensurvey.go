package quality

import "math"

// SurveyPlaces is how many places in the oven a uniformity survey reads at least. Source: QUALIDECO 3.3.2.3 (three places;
// seen in a copy).
const SurveyPlaces = 3

// unevenOven is the fault of an oven whose places lie too far apart.
const unevenOven = "uneven_oven"

// JudgeOvenSurvey judges the uniformity of an empty or loaded oven by oven_place, one reading for each place (Location, Spot):
// the difference between the warmest and the coldest place is at most maxSpreadC, in K. Fewer than SurveyPlaces places, or a
// place named twice, make the survey incomplete.
func JudgeOvenSurvey(maxSpreadC float64, check *Check) Judgement {
	j := Judgement{Rule: "spread between places in the oven"}
	low, high := math.Inf(1), math.Inf(-1)
	places := map[string]bool{}
	for _, r := range check.Of("oven_place") {
		c, err := r.In(Celsius)
		if !r.measured() || err != nil {
			continue
		}
		if places[r.Location] {
			j.missing("places", r.Location, "", "“%s” stands there twice. Name each place once.", clip(r.Location))
		}
		places[r.Location] = true
		low, high = min(low, c), max(high, c)
	}
	if len(places) < SurveyPlaces {
		j.missing("places", "", "at least "+counted(SurveyPlaces, "place"), "%s with a temperature; %d are asked.", counted(len(places), "place"), SurveyPlaces)
		return j.conclude()
	}
	j.compare(comparison{rule: j.Rule, what: "difference between the warmest and the coldest place,", value: tidy(high - low), unit: kelvin,
		limits: AtMost(maxSpreadC, kelvin), high: unevenOven})
	return j.conclude()
}
