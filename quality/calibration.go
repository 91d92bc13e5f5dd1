package quality

import (
	"fmt"
	"math"
	"strings"
)

// Codes of what calibrations and verifications keep beside their readings, as ratings.
const (
	RatingOccasion    = "occasion"             // when the verification was made; see Occasions
	RatingCertificate = "certificate"          // number of the calibration's certificate
	RatingStandard    = "reference_standard"   // standard that is not in the shop's register, in words
	RatingStandardRef = "standard_certificate" // certificate of that standard
	RatingLaboratory  = "laboratory"           // who calibrated, when it was not the shop itself
	RatingCoverage    = "coverage_k"           // coverage factor of the stated uncertainty
)

// Occasions are the times at which a gauge is verified, in the order of the screens.
var Occasions = []string{"before_first", "end_of_shift", "after_drop", "other"}

// quantities are what the devices of a shop measure, by the units they read in, with the plausible range of a calibration
// point in the first unit (common practice, to catch slips and wrong units).
var quantities = []struct {
	code, name string
	units      []Unit
	low, high  float64
}{
	{"thickness", "thickness", []Unit{Micrometre, Mil}, -50, 10000},
	{"length", "length", []Unit{Millimetre}, -1, 10000},
	{"temperature", "temperature", []Unit{Celsius, Fahrenheit}, -50, 1000},
	{"conductivity", "conductivity", []Unit{MicroSiemens}, 0, 200000},
	{"ph", "pH", []Unit{PH}, 0, 14},
	{"gloss", "gloss", []Unit{GlossUnit}, 0, 2000},
	{"light", "light", []Unit{Lux}, 0, 200000},
	{"humidity", "humidity", []Unit{Percent}, 0, 100},
	{"resistance", "resistance", []Unit{Megohm}, 0, 100000},
}

// calibrationCharacteristics are the value of the standard, the reading as found and as left, and the expanded uncertainty,
// for each quantity: one characteristic has one canonical unit.
func calibrationCharacteristics() []Characteristic {
	list := []Characteristic{
		{"zero_as_left", "Bare plate after adjustment", []Unit{Micrometre, Mil}, -50, 50},
		{"shim_as_left", "Shim after adjustment", []Unit{Micrometre, Mil}, 0, 1000},
	}
	for _, q := range quantities {
		list = append(list,
			Characteristic{"reference_" + q.code, "Standard, " + q.name, q.units, q.low, q.high},
			Characteristic{"found_" + q.code, "As found, " + q.name, q.units, q.low, q.high},
			Characteristic{"left_" + q.code, "As left, " + q.name, q.units, q.low, q.high},
			Characteristic{"uncertainty_" + q.code, "Expanded uncertainty, " + q.name, q.units, 0, q.high})
	}
	return list
}

// QuantityOf returns the quantity that a unit belongs to, such as thickness for µm: the ending of the characteristics of a
// calibration. It is empty for a unit in which no device of the register reads.
func QuantityOf(u Unit) string {
	for _, q := range quantities {
		for _, have := range q.units {
			if have == u {
				return q.code
			}
		}
	}
	return ""
}

// asLeft pairs the characteristic of a reading as found with that of the same reading as left.
func asLeft(characteristic string) (string, bool) {
	switch characteristic {
	case "zero_reading":
		return "zero_as_left", true
	case "shim_reading":
		return "shim_as_left", true
	}
	if q, ok := strings.CutPrefix(characteristic, "found_"); ok {
		return "left_" + q, true
	}
	return "", false
}

// isAsLeft reports whether a characteristic is a reading after adjustment.
func isAsLeft(characteristic string) bool {
	return characteristic == "zero_as_left" || characteristic == "shim_as_left" || strings.HasPrefix(characteristic, "left_")
}

// LeaveAsFound completes a verification or calibration that names no reading after adjustment: the device was not adjusted,
// so it was left as it was found, and both are on record. It reports false when there are readings as left and none as
// found, which says nothing about the work done before.
func (c *Check) LeaveAsFound() bool {
	var found []Reading
	left := false
	for _, r := range c.Readings {
		left = left || isAsLeft(r.Characteristic)
		if pair, ok := asLeft(r.Characteristic); ok && r.measured() {
			r.Characteristic, r.Source = pair, "computed"
			found = append(found, r)
		}
	}
	if !left {
		c.Readings = append(c.Readings[:len(c.Readings):len(c.Readings)], found...)
	}
	return len(found) > 0 || !left
}

// FoundWrong reports whether a judged verification or calibration found the device outside its permitted error, before any
// adjustment: then what was measured with it is in doubt.
func (c Check) FoundWrong() bool {
	for _, r := range c.Readings {
		if _, found := asLeft(r.Characteristic); found && (r.Flag == Low || r.Flag == High) {
			return true
		}
	}
	return false
}

// LeftGood reports whether a judged calibration left the device within its permitted error at every point.
func (c Check) LeftGood() bool {
	good := false
	for _, r := range c.Readings {
		if isAsLeft(r.Characteristic) {
			if r.Flag != In {
				return false
			}
			good = true
		}
	}
	return good
}

// JudgeCalibration judges a device at points of known value, as found and as left: a reading counts as met within
// ±(gauge.Abs + gauge.Share·value) of the standard. Readings belong together by their Spot. A point that misses the value of
// the standard or one of the readings makes the calibration incomplete.
//
// The uncertainty of the calibration is kept and not added to the permitted error.
//
// Source: as found and as left ISO/IEC 17025:2017 7.8.4.1 (from memory, unverified); permitted error of the device: common
// practice.
func JudgeCalibration(gauge Gauge, check *Check) Judgement {
	j := Judgement{Rule: "device at points of known value, as found and as left, within its permitted error"}
	if gauge.Abs <= 0 && gauge.Share <= 0 {
		j.missing("permitted error", "", "", "The device has no permitted error on record, so it cannot be judged. Enter it from the maker's data.")
		return j
	}
	q := QuantityOf(gauge.Unit)
	standards := check.Of("reference_" + q)
	if len(standards) == 0 {
		j.missing("standard", "", "", "No value of a reference standard is given.")
	}
	for _, standard := range standards {
		j.calibrationPoint(gauge, check, standard, "found_"+q, "as found")
		j.calibrationPoint(gauge, check, standard, "left_"+q, "as left")
	}
	return j
}

func (j *Judgement) calibrationPoint(gauge Gauge, check *Check, standard Reading, characteristic, when string) {
	place := fmt.Sprintf("Point %d, %s", standard.Spot, when)
	nominal, err := standard.In(gauge.Unit)
	if err != nil {
		j.missing("standard", place, "", "%s: the standard in %s cannot be set against a device in %s.", place, standard.Unit.Symbol(), gauge.Unit.Symbol())
		return
	}
	for i := range check.Readings {
		r := &check.Readings[i]
		if r.Characteristic == characteristic && r.Spot == standard.Spot && r.measured() {
			r.Flag = j.unlessCopied(r).within(r, when, place, tidy(nominal), gauge.Unit, tidy(gauge.Abs+gauge.Share*math.Abs(nominal)))
			return
		}
	}
	j.missing(when, place, "", "%s: the reading is missing.", place)
}
