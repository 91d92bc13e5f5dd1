package quality

import (
	"strings"
	"testing"
)

func TestOvenSurveyComparesTheWarmestAndTheColdestPlace(t *testing.T) {
	survey := func(unit Unit, readings ...float64) *Check {
		c := &Check{Kind: OvenSurvey}
		for i, v := range readings {
			c.Readings = append(c.Readings, Reading{Characteristic: "oven_place", Location: string(rune('a' + i)), Spot: i + 1, Value: v, Unit: unit})
		}
		return c
	}
	twice := survey(Celsius, 198, 200, 201)
	twice.Readings[2].Location = "a"
	for name, c := range map[string]struct {
		check *Check
		want  Verdict
		says  string
	}{
		"equal to the limit":  {survey(Celsius, 195, 200, 205), Pass, "10 K meets"},
		"over it":             {survey(Celsius, 195, 200, 205.1), Fail, "10.1 K is over 10 K"},
		"eighteen °F are ten": {survey(Fahrenheit, 383, 392, 401), Pass, "10 K meets"},
		"two places":          {survey(Celsius, 200, 200), Incomplete, "2 places with a temperature; 3 are asked"},
		"one place twice":     {twice, Incomplete, "stands there twice"},
	} {
		j := Judge(FinishSpec{}, Circumstance{OvenSpreadC: 10}, c.check)
		if j.Verdict != c.want || !strings.Contains(j.Findings[0].Text, c.says) {
			t.Errorf("%s: got %s, %+v, want %s with %q", name, j.Verdict, j.Findings, c.want, c.says)
		}
	}
}

func TestRecordedCureIsJudgedByItsProfileAndFlagsItsFigures(t *testing.T) {
	// Trade knowledge, worked profile of one probe, a reading a minute: peak 200 °C, 8.0 min over 180 °C.
	p, err := NewProfiler(ProfileSettings{AboveC: 180}, "rail")
	if err != nil {
		t.Fatal(err)
	}
	for i, c := range []float64{25, 60, 95, 125, 150, 168, 180, 188, 193, 196, 198, 199, 200, 200, 180, 140} {
		if err := p.Add(float64(60*i), []float64{c}); err != nil {
			t.Fatal(err)
		}
	}
	profile, err := p.Profile()
	if err != nil {
		t.Fatal(err)
	}
	spec := FinishSpec{Cure: &CureSpec{ScheduleC: 180, Channels: 1}}
	for minutes, want := range map[float64]Verdict{8: Pass, 8.5: Fail} {
		check := &Check{Kind: Cure, Readings: []Reading{{Characteristic: "metal_peak", Location: "rail", Spot: 1, Value: 200, Unit: Celsius},
			{Characteristic: "metal_time", Location: "rail", Spot: 1, Value: 8, Unit: Minute}}}
		c := Circumstance{Profile: &profile, Window: CureWindow{Points: []CurePoint{{MetalC: 180, MinMinutes: minutes}, {MetalC: 210, MinMinutes: 5}}}}
		j := Judge(spec, c, check)
		if j.Verdict != want || check.Readings[0].Flag != In || (check.Readings[1].Flag == Short) != (want == Fail) {
			t.Errorf("%g min asked: %s, flags %s and %s, want %s", minutes, j.Verdict, check.Readings[0].Flag, check.Readings[1].Flag, want)
		}
		if want == Fail && !strings.Contains(j.Findings[0].Text, "30 s short") {
			t.Errorf("got %q, want the 30 s that are short", j.Findings[0].Text)
		}
	}
}
