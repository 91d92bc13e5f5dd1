package quality

import (
	"slices"
	"testing"
)

var (
	gauge = Gauge{Abs: 1, Share: 0.01, Unit: Micrometre}
	shims = []Shim{{Code: "S25", Nominal: 24.6, Abs: 0.5, Unit: Micrometre}, {Code: "S75", Nominal: 76, Abs: 0.5, Share: 0.01, Unit: Micrometre}}
)

func shimCheck(zero, low, high float64, unit Unit) Check {
	return Check{Kind: Verification, Readings: []Reading{
		{Characteristic: "zero_reading", Value: zero, Unit: unit},
		{Characteristic: "shim_reading", Location: "S25", Value: low, Unit: unit},
		{Characteristic: "shim_reading", Location: "S75", Value: high, Unit: unit},
	}}
}

// Tolerances by hand: S25 ±(1 + 0.246 + 0.5) = ±1.746 µm, S75 ±(1 + 0.76 + 0.5 + 0.76) = ±3.02 µm. That gauge and shim
// tolerance are added: ASTM D7091 (from memory, unverified).
func TestGaugeIsHeldToItsOwnAndTheShimsTolerance(t *testing.T) {
	for _, c := range []struct {
		zero, low, high float64
		want            Verdict
	}{
		{0, 24.6, 76, Pass},
		{1, 24.6, 76, Pass},
		{-1, 24.6, 76, Pass},
		{1.1, 24.6, 76, Fail},
		{-1.1, 24.6, 76, Fail},
		{0, 26.346, 76, Pass},
		{0, 26.35, 76, Fail},
		{0, 22.85, 76, Fail},
		{0, 24.6, 79.02, Pass},
		{0, 24.6, 79.03, Fail},
		{0, 24.6, 72.97, Fail},
	} {
		check := shimCheck(c.zero, c.low, c.high, Micrometre)
		got := JudgeVerification(gauge, shims, &check)
		if got.Verdict != c.want {
			t.Errorf("zero %v, S25 %v, S75 %v µm: %s, want %s", c.zero, c.low, c.high, got.Verdict, c.want)
		}
		sound(t, got)
	}
}

func TestGaugeInMilIsHeldToShimsInMicrometres(t *testing.T) {
	check := shimCheck(0, 24.6/25.4, 76/25.4, Mil)
	if got := JudgeVerification(gauge, shims, &check); got.Verdict != Pass {
		t.Errorf("%s: %s", got.Verdict, got.Sentence())
	}
	check = shimCheck(0, 24.6/25.4, 80/25.4, Mil)
	if got := JudgeVerification(gauge, shims, &check); got.Verdict != Fail {
		t.Errorf("80 µm in mil on 76 µm: %s, want fail", got.Verdict)
	}
}

func TestVerificationFindingShowsNominalAndTolerance(t *testing.T) {
	shims := []Shim{shims[0], {Code: "S76", Nominal: 76, Abs: 1.54, Unit: Micrometre}}
	check := shimCheck(0, 24.6, 80, Micrometre)
	check.Readings[2].Location, check.Readings[2].Text = "S76", "80.0"
	got := JudgeVerification(gauge, shims, &check).sorted()
	if f := got.Findings[0]; f.Limit != "76.0 ± 3.3 µm" || f.Text != "Shim S76: reads 80.0 µm, outside 76.0 ± 3.3 µm." || f.Fault != "gauge_error" {
		t.Errorf("finding is %+v", f)
	}
	if check.Readings[2].Flag != High || check.Readings[1].Flag != In {
		t.Errorf("flags are %+v", check.Readings)
	}
}

func TestVerificationMissingSomethingDoesNotClearTheGauge(t *testing.T) {
	full := shimCheck(0, 24.6, 76, Micrometre).Readings
	for name, c := range map[string]struct {
		gauge    Gauge
		shims    []Shim
		readings []Reading
		says     string
	}{
		"no bare plate":     {gauge, shims, full[1:], "The reading on the bare plate is missing."},
		"a shim missing":    {gauge, shims, full[:2], "Shim S75: the reading is missing."},
		"one shim only":     {gauge, shims[:1], full[:2], "Verify on at least two shims of different thickness, one below and one above the film."},
		"twice the same":    {gauge, []Shim{shims[0], shims[0]}, full[:2], "Verify on at least two shims of different thickness, one below and one above the film."},
		"unknown shim":      {gauge, shims, append(slices.Clone(full), Reading{Characteristic: "shim_reading", Location: "X", Value: 50, Unit: Micrometre}), "A reading is on shim “X”, which is not one of the shims in use."},
		"no tolerance":      {Gauge{Unit: Micrometre}, shims, full, "The gauge has no tolerance on record, so it cannot be verified. Enter it from the maker's data."},
		"other quantity":    {gauge, []Shim{shims[0], {Code: "S75", Nominal: 76, Unit: Celsius}}, full, "Shim S75 in °C cannot be set against a gauge in µm."},
		"nothing was taken": {gauge, shims, nil, "Shim S25: the reading is missing."},
	} {
		check := Check{Kind: Verification, Readings: slices.Clone(c.readings)}
		got := JudgeVerification(c.gauge, c.shims, &check)
		if got.Verdict == Pass || got.Verdict == GuardBand || !contains(got.Findings, c.says) {
			t.Errorf("%s: %s, want %q, but\n\t%s", name, got.Verdict, c.says, texts(got.Findings))
		}
		sound(t, got)
	}
}
