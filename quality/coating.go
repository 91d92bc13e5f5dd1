package quality

import (
	"fmt"
	"math"
	"slices"
	"time"
)

// JudgeCoating judges the conditions of a coating run: the powder against those allowed, the time since pretreatment, the
// air of the booth, the part's temperature above the dew point, the gun's voltage and the resistance of the hanger to earth.
// What the spec does not limit is not asked for.
//
// Reads Powder and SincePretreatment; a SincePretreatment of zero means that no pretreatment is known. The dew-point margin
// is that of surface_temperature, or of air_temperature where the part's surface was not measured and is taken to be as
// warm as the booth.
func JudgeCoating(spec CoatingSpec, pretreatment *PretreatmentSpec, c Circumstance, check *Check) Judgement {
	j := Judgement{Rule: "booth conditions"}
	if len(spec.Powders) > 0 {
		judgePowder(&j, spec.Powders, c.Powder)
	}
	if pretreatment != nil && pretreatment.MaxHoursToCoat > 0 {
		judgeDelay(&j, pretreatment.MaxHoursToCoat, c.SincePretreatment)
	}
	for _, e := range []each{
		{code: "air_temperature", limits: spec.Air},
		{code: "humidity", limits: spec.Humidity},
		{code: "gun_voltage", limits: spec.Voltage},
		{code: "ground_resistance", limits: spec.Ground},
	} {
		if e.limits.None() {
			continue
		}
		e.anywhere, e.low, e.high = true, e.code, e.code
		judgeEach(&j, check, e)
	}
	if spec.DewPointMarginC > 0 {
		judgeDewPoint(&j, spec.DewPointMarginC, check)
	}
	if len(j.Findings) == 0 {
		j.met("conditions", "", "", "The coating run is recorded; the spec limits no condition.")
	}
	return j
}

func judgePowder(j *Judgement, allowed []string, powder string) {
	limit := "one of those allowed"
	switch {
	case powder == "":
		j.missing("powder", "", limit, "The powder lot is missing.")
	case slices.Contains(allowed, powder):
		j.met("powder", "", limit, "Powder %s is allowed by the spec.", powder)
	default:
		j.failed("powder", "", limit, "wrong_powder", "Powder %s is not one the spec allows.", clip(powder))
	}
}

func judgeDelay(j *Judgement, maxHours float64, since time.Duration) {
	limit := "at most " + Number(maxHours, 2) + " h"
	switch hours := since.Hours(); {
	case since == 0:
		j.missing("time since pretreatment", "", limit, "No pretreatment of the rack is known, so the time since it cannot be judged.")
	case since < 0:
		j.missing("time since pretreatment", "", limit, "The coating run is dated before the pretreatment. Correct one of the times.")
	default:
		j.compare(comparison{rule: "time since pretreatment", what: "time from pretreatment to powder", value: hours, unit: Hour,
			limits: AtMost(maxHours, Hour), high: "late_coating"})
	}
}

// kelvin is the unit of differences of temperature: no reading is entered in it, and it does not convert.
const kelvin Unit = "K"

func judgeDewPoint(j *Judgement, margin float64, check *Check) {
	const rule = "margin over the dew point"
	limits := AtLeast(margin, kelvin)
	air, okAir := check.celsius("air_temperature")
	humidity, okHumidity := check.first("humidity")
	surface, measured := check.celsius("surface_temperature")
	what := "the part"
	if !measured {
		surface, what = air, "the part, taken to be as warm as the air,"
	}
	if !okAir || !okHumidity {
		j.missing(rule, "", limits.String(), "Air temperature and humidity are needed for the dew point; one of them is missing.")
		return
	}
	dew, over, err := DewPointMargin(air, humidity.Value, surface)
	if err != nil {
		j.missing(rule, "", limits.String(), "The dew point cannot be computed from %s °C and %s %%.", Number(air, 1), Number(humidity.Value, 1))
		return
	}
	j.compare(comparison{rule: rule, what: fmt.Sprintf("%s is at %s °C, the dew point is %s °C; the margin", what, Number(surface, 1), Number(dew, 1)),
		value: tidy(over), unit: kelvin, limits: limits, low: "dew_point"})
}

// first returns the first reading of a characteristic that holds a number.
func (c Check) first(characteristic string) (Reading, bool) {
	for _, r := range c.Of(characteristic) {
		if r.measured() {
			return r, true
		}
	}
	return Reading{}, false
}

func (c Check) celsius(characteristic string) (float64, bool) {
	r, ok := c.first(characteristic)
	if !ok {
		return 0, false
	}
	v, err := r.In(Celsius)
	return v, err == nil
}

// DewPoint returns the dew point in °C of air at airC (°C) with relative humidity rh in percent:
//
//	γ = ln(rh/100) + a·T/(b+T),  Td = b·γ/(a−γ),  a = 17.62, b = 243.12 °C
//
// It returns ErrNotNumber for a humidity that is not over 0 and up to 100, or a temperature outside −45 to 60 °C, the range
// of the constants.
//
// Source: WMO No. 8, Guide to Instruments and Methods of Observation, annex 4.B (seen).
func DewPoint(airC, rh float64) (float64, error) {
	if !(rh > 0 && rh <= 100) || !(airC >= -45 && airC <= 60) {
		return 0, fmt.Errorf("%w: no dew point of %v °C and %v %%", ErrNotNumber, airC, rh)
	}
	const a, b = 17.62, 243.12
	gamma := math.Log(rh/100) + a*airC/(b+airC)
	return b * gamma / (a - gamma), nil
}

// DewPointMargin returns the dew point in °C and how far the surface of the part is above it, in K. A margin of at least 3 K is
// usual; under 0 the part is wet. It returns ErrNotNumber as DewPoint does, and for a surface outside −45 to 300 °C.
//
// Source: DewPoint; the margin of 3 K ISO 8502-4 (seen in a guide to it) and common practice.
func DewPointMargin(airC, rh, surfaceC float64) (dewC, marginC float64, err error) {
	if dewC, err = DewPoint(airC, rh); err != nil {
		return 0, 0, err
	}
	if !(surfaceC >= -45 && surfaceC <= 300) {
		return 0, 0, fmt.Errorf("%w: no margin of a surface at %v °C", ErrNotNumber, surfaceC)
	}
	return dewC, surfaceC - dewC, nil
}
