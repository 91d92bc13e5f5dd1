package quality

import (
	"fmt"
	"math"
)

// JudgeVerification judges a gauge on the bare plate and on certified shims.
//
//   - zero_reading: on the bare plate, or on each of several (Location is the plate's code), within ±Abs of the gauge.
//   - shim_reading: on each shim (Location is the shim's code), within the gauge's and the shim's permitted error added:
//     ±(gauge.Abs + gauge.Share·nominal + shim.Abs + shim.Share·nominal).
//   - zero_as_left and shim_as_left, after an adjustment: the same limits, and then at every place.
//
// At least two shims of different thickness are asked for, one below and one above the film to be measured. Anything
// missing makes the check incomplete, which does not clear the gauge.
//
// Source: sum of both tolerances ASTM D7091 (from memory, unverified); shims that bracket the film: common practice.
func JudgeVerification(gauge Gauge, shims []Shim, check *Check) Judgement {
	j := Judgement{Rule: "gauge on bare plate and shims, gauge and shim tolerance added"}
	if gauge.Abs <= 0 && gauge.Share <= 0 {
		j.missing("gauge tolerance", "", "", "The gauge has no tolerance on record, so it cannot be verified. Enter it from the maker's data.")
	}
	nominals := map[float64]bool{}
	for _, shim := range shims {
		if um, err := Convert(shim.Nominal, shim.Unit, Micrometre); err == nil {
			nominals[um] = true
		}
	}
	if len(nominals) < 2 {
		j.missing("shims", "", "at least 2 shims", "Verify on at least two shims of different thickness, one below and one above the film.")
	}
	whens := []verificationTime{{"zero_reading", "shim_reading", ""}}
	if len(check.Of("zero_as_left"))+len(check.Of("shim_as_left")) > 0 {
		whens = append(whens, verificationTime{"zero_as_left", "shim_as_left", " as left"})
	}
	known := map[string]bool{}
	for _, when := range whens {
		judgeZero(&j, gauge, check, when)
		for _, shim := range shims {
			known[shim.Code] = true
			judgeShim(&j, gauge, shim, check, when)
		}
	}
	for _, r := range check.Of("shim_reading") {
		if !known[r.Location] {
			j.missing("shims", r.Location, "", "A reading is on shim “%s”, which is not one of the shims in use.", clip(r.Location))
		}
	}
	return j
}

// A verificationTime is the gauge as it was found, or as it was left after an adjustment.
type verificationTime struct{ zero, shim, words string }

func judgeZero(j *Judgement, gauge Gauge, check *Check, when verificationTime) {
	place := "Bare plate" + when.words
	found := false
	for i := range check.Readings {
		r := &check.Readings[i]
		if r.Characteristic != when.zero || !r.measured() {
			continue
		}
		found = true
		at := place
		if r.Location != "" {
			at = "Bare plate " + r.Location + when.words
		}
		r.Flag = j.unlessCopied(r).within(r, "bare plate", at, 0, gauge.Unit, gauge.Abs)
	}
	if !found {
		j.missing("bare plate", place, "", "The reading on the bare plate%s is missing.", when.words)
	}
}

func judgeShim(j *Judgement, gauge Gauge, shim Shim, check *Check, when verificationTime) {
	place := fmt.Sprintf("Shim %s%s", shim.Code, when.words)
	tolerance, err := shimTolerance(gauge, shim)
	if err != nil {
		j.missing("shims", place, "", "%s in %s cannot be set against a gauge in %s.", place, shim.Unit.Symbol(), gauge.Unit.Symbol())
		return
	}
	found := false
	for i := range check.Readings {
		r := &check.Readings[i]
		if r.Characteristic != when.shim || r.Location != shim.Code || !r.measured() {
			continue
		}
		found = true
		r.Flag = j.unlessCopied(r).within(r, "shim", place, shim.Nominal, shim.Unit, tolerance)
	}
	if !found {
		j.missing("shim", place, spread(shim.Nominal, tolerance, shim.Unit), "%s: the reading is missing.", place)
	}
}

// unlessCopied returns where the finding on a reading belongs: nowhere, when it only repeats the reading as found.
func (j *Judgement) unlessCopied(r *Reading) *Judgement {
	if isAsLeft(r.Characteristic) && r.Source == "computed" {
		return &Judgement{}
	}
	return j
}

// shimTolerance returns gauge and shim tolerance added, in the shim's unit.
func shimTolerance(gauge Gauge, shim Shim) (float64, error) {
	abs, err := Convert(gauge.Abs, gauge.Unit, shim.Unit)
	if err != nil {
		return 0, err
	}
	return tidy(abs + gauge.Share*math.Abs(shim.Nominal) + shim.Abs + shim.Share*math.Abs(shim.Nominal)), nil
}

// within adds the finding for a reading against nominal ± tolerance, both in unit.
func (j *Judgement) within(r *Reading, rule, place string, nominal float64, unit Unit, tolerance float64) Flag {
	limit := spread(nominal, tolerance, unit)
	c := comparison{value: r.Value, text: r.digitsOf(), unit: r.Unit, limits: Between(tidy(nominal-tolerance), tidy(nominal+tolerance), unit)}
	flag, err := c.limits.Judge(r.Value, r.Unit)
	f := Finding{Rule: rule, Place: place, Limit: limit, Value: &c.value, Unit: r.Unit, Verdict: Pass,
		Text: fmt.Sprintf("%s: reads %s, within %s.", place, withUnit(c.text, r.Unit), limit)}
	switch {
	case err != nil:
		f.Value, f.Verdict = nil, Incomplete
		f.Text = fmt.Sprintf("%s: a reading in %s cannot be compared with %s.", place, r.Unit.Symbol(), limit)
	case flag != In:
		f.Verdict, f.Fault = Fail, "gauge_error"
		f.Text = fmt.Sprintf("%s: reads %s, outside %s.", place, withUnit(c.text, r.Unit), limit)
	}
	j.add(f)
	return flag
}

// spread prints nominal and tolerance with the same number of decimals, such as "76.0 ± 3.3 µm".
func spread(nominal, tolerance float64, unit Unit) string {
	decimals := decimalsFor(unit)
	for _, v := range []float64{nominal, tolerance} {
		for decimals < 4 && math.Abs(v-roundTo(v, decimals)) > 1e-9 {
			decimals++
		}
	}
	return fmt.Sprintf("%.*f ± %.*f %s", decimals, nominal, decimals, tolerance, unit.Symbol())
}

func roundTo(v float64, decimals int) float64 {
	p := math.Pow(10, float64(decimals))
	return math.Round(v*p) / p
}
