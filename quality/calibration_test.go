package quality

import (
	"slices"
	"strings"
	"testing"
)

func point(spot int, characteristic string, value float64, text string) Reading {
	return Reading{Characteristic: characteristic, Spot: spot, Value: value, Text: text, Unit: Micrometre}
}

// A gauge of ±(1 µm + 3 %): at a standard of 76.0 µm it may read 72.72 to 79.28 µm.
var calibrated = Gauge{Abs: 1, Share: 0.03, Unit: Micrometre}

func calibration(found, left float64, foundText, leftText string) Check {
	return Check{Kind: Calibration, Readings: []Reading{point(1, "reference_thickness", 76, "76.0"), point(1, "found_thickness", found, foundText), point(1, "left_thickness", left, leftText)}}
}

func TestCalibrationIsJudgedAsFoundAndAsLeft(t *testing.T) {
	for name, c := range map[string]struct {
		check      Check
		want       Verdict
		foundWrong bool
		leftGood   bool
	}{
		"good and left alone":            {calibration(79.28, 79.28, "79.28", "79.28"), Pass, false, true},
		"wrong as found, put right":      {calibration(79.3, 76.2, "79.3", "76.2"), Fail, true, true},
		"wrong as found and as left":     {calibration(72.7, 72.7, "72.7", "72.7"), Fail, true, false},
		"good as found, wrong afterward": {calibration(76, 80, "76.0", "80.0"), Fail, false, false},
	} {
		got := Judge(FinishSpec{}, Circumstance{Gauge: calibrated}, &c.check)
		if got.Verdict != c.want || c.check.FoundWrong() != c.foundWrong || c.check.LeftGood() != c.leftGood {
			t.Errorf("%s: %s, found wrong %v, left good %v: %s", name, got.Verdict, c.check.FoundWrong(), c.check.LeftGood(), got.Sentence())
		}
	}
}

func TestCalibrationWithAGapIsIncomplete(t *testing.T) {
	whole := calibration(76, 76, "76.0", "76.0")
	for i, r := range whole.Readings {
		check := Check{Kind: Calibration, Readings: slices.Delete(slices.Clone(whole.Readings), i, i+1)}
		if got := JudgeCalibration(calibrated, &check); got.Verdict != Incomplete {
			t.Errorf("without %s: %s", r.Characteristic, got.Verdict)
		}
	}
	if got := JudgeCalibration(Gauge{Unit: Micrometre}, &whole); got.Verdict != Incomplete {
		t.Errorf("without a permitted error: %s", got.Verdict)
	}
}

func TestDeviceThatWasNotAdjustedWasLeftAsFound(t *testing.T) {
	check := Check{Kind: Verification, Readings: []Reading{{Characteristic: "zero_reading", Value: 0.2, Text: "0.2", Unit: Micrometre},
		{Characteristic: "shim_reading", Location: "S75", Value: 75.4, Text: "75.4", Unit: Micrometre}}}
	if !check.LeaveAsFound() || len(check.Readings) != 4 {
		t.Fatalf("%+v", check.Readings)
	}
	if left := check.Of("shim_as_left"); len(left) != 1 || left[0].Text != "75.4" || left[0].Location != "S75" || left[0].Source != "computed" {
		t.Errorf("as left: %+v", left)
	}
	if check.LeaveAsFound(); len(check.Readings) != 4 {
		t.Errorf("completed twice: %+v", check.Readings)
	}
	shims := []Shim{{Code: "S75", Nominal: 75, Abs: 0.5, Unit: Micrometre}, {Code: "S50", Nominal: 50, Abs: 0.5, Unit: Micrometre}}
	if got := JudgeVerification(calibrated, shims[:1], &check); len(got.Findings) != 3 || !check.LeftGood() {
		t.Errorf("what was left as found is told twice: %+v, left good %v", got.Findings, check.LeftGood())
	}
	only := Check{Kind: Verification, Readings: []Reading{{Characteristic: "shim_as_left", Location: "S75", Value: 75.4, Text: "75.4", Unit: Micrometre}}}
	if only.LeaveAsFound() {
		t.Error("readings as left alone were taken for a whole check")
	}
}

func TestVerificationAfterAdjustmentStillFailsAsFound(t *testing.T) {
	shims := []Shim{{Code: "S50", Nominal: 50, Abs: 0.5, Unit: Micrometre}, {Code: "S125", Nominal: 125, Abs: 0.5, Unit: Micrometre}}
	read := func(characteristic, at string, v float64) Reading {
		return Reading{Characteristic: characteristic, Location: at, Value: v, Text: Number(v, 1), Unit: Micrometre}
	}
	check := Check{Kind: Verification, Readings: []Reading{read("zero_reading", "", 0.1), read("shim_reading", "S50", 58), read("shim_reading", "S125", 133),
		read("zero_as_left", "", 0), read("shim_as_left", "S50", 50.1), read("shim_as_left", "S125", 125.2)}}
	got := JudgeVerification(calibrated, shims, &check)
	if got.Verdict != Fail || !check.FoundWrong() || !check.LeftGood() {
		t.Errorf("%s, found wrong %v, left good %v", got.Verdict, check.FoundWrong(), check.LeftGood())
	}
	check.Readings = check.Readings[:5]
	if got := JudgeVerification(calibrated, shims, &check); !strings.Contains(got.sorted().Findings[len(got.Deciding())-1].Text, "S125 as left") {
		t.Errorf("a shim not read after the adjustment: %+v", got.Deciding())
	}
}

func TestEveryUnitOfTheRegisterBelongsToOneQuantity(t *testing.T) {
	for unit, want := range map[Unit]string{Mil: "thickness", Millimetre: "length", Fahrenheit: "temperature", PH: "ph", GlossUnit: "gloss", Lux: "light", Second: ""} {
		got := QuantityOf(unit)
		if got != want {
			t.Errorf("%s: %q, want %q", unit, got, want)
		}
		if _, known := CharacteristicOf("found_" + got); known != (want != "") {
			t.Errorf("%s: found_%s known %v", unit, got, known)
		}
	}
}
