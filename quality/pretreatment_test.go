package quality

import (
	"slices"
	"testing"
)

// A wash of four stages. The 30 µS/cm of the last rinse: an older Qualicoat edition, 3.3, for electrophoretic lines (seen); the
// rest common practice.
var wash = PretreatmentSpec{WaterBreak: true, MaxHoursToCoat: 16, Stages: []StageSpec{
	{Stage: "clean", Name: "Clean", Limits: map[string]Limits{"stage_temperature": Between(40, 65, Celsius), "stage_time": Between(60, 120, Second), "concentration": Between(1, 5, Percent)}},
	{Stage: "rinse", Name: "Rinse"},
	{Stage: "convert", Name: "Convert", Limits: map[string]Limits{"ph": Between(3.5, 5, PH)}},
	{Stage: "final_rinse", Name: "Final rinse", Limits: map[string]Limits{"conductivity": AtMost(30, MicroSiemens)}},
}}

func washed() Check {
	r := func(code, stage string, v float64, unit Unit) Reading {
		return Reading{Characteristic: code, Location: stage, Value: v, Unit: unit}
	}
	return Check{Kind: Pretreatment,
		Readings: []Reading{r("stage_temperature", "1-clean", 55, Celsius), r("stage_time", "1-clean", 90, Second), r("concentration", "1-clean", 3, Percent),
			r("ph", "3-convert", 4.2, PH), r("conductivity", "4-final_rinse", 30, MicroSiemens)},
		Ratings: []Rating{{Characteristic: RatingWaterBreak, Code: "held"}}}
}

func TestStageKeysCountFromOne(t *testing.T) {
	if got := StageKey(0, wash.Stages[0]); got != "1-clean" {
		t.Errorf("got %q, want 1-clean", got)
	}
	if got := StageKey(3, wash.Stages[3]); got != "4-final_rinse" {
		t.Errorf("got %q, want 4-final_rinse", got)
	}
}

func TestPretreatmentAgainstStageLimits(t *testing.T) {
	for name, c := range map[string]struct {
		change func(c *Check)
		want   Verdict
		says   string
	}{
		"as it should be":       {func(*Check) {}, Pass, "Final rinse: conductivity at 20 °C 30 µS/cm meets at most 30 µS/cm."},
		"rinse over its limit":  {func(c *Check) { c.Readings[4].Value = 30.1 }, Fail, "Final rinse: conductivity at 20 °C 30.1 µS/cm is over 30 µS/cm."},
		"bath too cold":         {func(c *Check) { c.Readings[0].Value = 38 }, Fail, "Clean: temperature 38 °C is under 40 °C."},
		"bath in °F":            {func(c *Check) { c.Readings[0].Value, c.Readings[0].Unit = 131, Fahrenheit }, Pass, ""},
		"stage time in minutes": {func(c *Check) { c.Readings[1].Value, c.Readings[1].Unit = 1.5, Minute }, Pass, ""},
		"no pH":                 {func(c *Check) { c.Readings = slices.Delete(c.Readings, 3, 4) }, Incomplete, "Convert: pH is missing; the limit is 3.5 to 5."},
		"pH pending":            {func(c *Check) { c.Readings[3].Absence = Pending }, Incomplete, "Convert: pH is still to come; the limit is 3.5 to 5."},
		"pH of another stage":   {func(c *Check) { c.Readings[3].Location = "2-rinse" }, Incomplete, "Convert: pH is missing; the limit is 3.5 to 5."},
		"water broke":           {func(c *Check) { c.Ratings[0].Code = "broken" }, Fail, "Water break: the film of water broke, so the surface is not clean."},
		"no water break":        {func(c *Check) { c.Ratings = nil }, Incomplete, "The water-break test is not recorded."},
		"nonsense water break":  {func(c *Check) { c.Ratings[0].Code = "maybe" }, Incomplete, "Water break: “maybe” is neither held nor broken."},
	} {
		check := washed()
		c.change(&check)
		got := JudgePretreatment(wash, Circumstance{}, &check)
		if got.Verdict != c.want || c.says != "" && !contains(got.Findings, c.says) {
			t.Errorf("%s: %s, want %s and %q, but\n\t%s", name, got.Verdict, c.want, c.says, texts(got.Findings))
		}
		sound(t, got)
	}
}

func TestPretreatmentWithoutStagesProvesNothing(t *testing.T) {
	check := Check{Kind: Pretreatment}
	if got := JudgePretreatment(PretreatmentSpec{}, Circumstance{}, &check); got.Verdict != Incomplete {
		t.Errorf("got %s, want incomplete", got.Verdict)
	}
}
