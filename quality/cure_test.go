package quality

import (
	"errors"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// The schedule of a polyester powder: 12 min at 190 °C, 10 min at 200 °C, 8 min at 210 °C (seen, process-heating.com article on
// ensuring adequate curing). The longest times are ours: twice the shortest, a common limit from memory.
var polyester = CureWindow{Points: []CurePoint{{200, 10, 20}, {190, 12, 24}, {210, 8, 16}}}

func TestCureWindowInterpolatesInLogTimeAgainstInverseTemperature(t *testing.T) {
	for _, c := range []struct {
		metalC, least, tolerance float64
		source                   string
	}{
		{190, 12, 0, "data sheet point"},
		{200, 10, 0, "data sheet point"},
		{210, 8, 0, "data sheet point"},
		{195, 10.9, 0.05, "worked out from the points in the reference table"},
		{205, 8.9, 0.05, "worked out from the points in the reference table"},
	} {
		limits, err := polyester.At(c.metalC)
		if err != nil || math.Abs(limits.Low.Value-c.least) > c.tolerance {
			t.Errorf("%v °C: %v min, want %v min, %s (%v)", c.metalC, limits.Low.Value, c.least, c.source, err)
		}
		if math.Abs(limits.High.Value-2*limits.Low.Value) > 1e-9 {
			t.Errorf("%v °C: longest time %v min, want twice %v min", c.metalC, limits.High.Value, limits.Low.Value)
		}
	}
}

// 15 min at 190 °C and 10 min at 200 °C imply 73.88 kJ/mol; between them the window must follow Arrhenius with that energy.
// Value and R = 8.314462618 from recomputed isothermal checks.
func TestCureWindowFollowsArrheniusBetweenTwoPoints(t *testing.T) {
	const energy, gas = 73876.81866, 8.314462618
	w := CureWindow{Points: []CurePoint{{190, 15, 0}, {200, 10, 0}}}
	for _, metalC := range []float64{191, 193.7, 195, 199.9} {
		limits, err := w.At(metalC)
		want := 10 * math.Exp(energy/gas*(1/(metalC+273.15)-1/(200+273.15)))
		if err != nil || math.Abs(limits.Low.Value-want) > 1e-8 {
			t.Errorf("%v °C: %v min, Arrhenius says %v min (%v)", metalC, limits.Low.Value, want, err)
		}
		if limits.High != nil {
			t.Errorf("%v °C: a longest time out of nothing: %v", metalC, limits.High)
		}
	}
}

func TestCureWindowNeverExtrapolates(t *testing.T) {
	for metalC, want := range map[float64]error{189.9: ErrUnderWindow, 210.1: ErrOverWindow, 20: ErrUnderWindow, 1e9: ErrOverWindow} {
		if _, err := polyester.At(metalC); !errors.Is(err, want) {
			t.Errorf("%v °C: error %v, want %v", metalC, err, want)
		}
	}
	for name, w := range map[string]CureWindow{
		"empty":            {},
		"no time":          {Points: []CurePoint{{200, 0, 0}}},
		"longest shortest": {Points: []CurePoint{{200, 10, 9}}},
		"twice":            {Points: []CurePoint{{200, 10, 0}, {200, 11, 0}}},
		"slower hotter":    {Points: []CurePoint{{190, 10, 0}, {200, 11, 0}}},
		"not a number":     {Points: []CurePoint{{nan(), 10, 0}}},
	} {
		if _, err := w.At(200); !errors.Is(err, ErrNoWindow) {
			t.Errorf("%s: error %v, want ErrNoWindow", name, err)
		}
		if len(w.Validate()) == 0 {
			t.Errorf("%s: Validate has no objection", name)
		}
	}
}

func TestHotterMetalNeverNeedsLonger(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.Float64Range(190, 210).Draw(t, "a")
		b := rapid.Float64Range(a, 210).Draw(t, "b")
		cold, errCold := polyester.At(a)
		hot, errHot := polyester.At(b)
		if errCold != nil || errHot != nil || hot.Low.Value > cold.Low.Value+1e-9 {
			t.Fatalf("%v °C needs %v, %v °C needs %v", a, cold.Low, b, hot.Low)
		}
	})
}

// metal makes a cure run of channels, each a peak in °C and minutes at or over the schedule temperature.
func metal(channels ...[2]float64) Check {
	c := Check{Kind: Cure}
	for i, ch := range channels {
		c.Readings = append(c.Readings,
			Reading{Characteristic: "metal_peak", Spot: i + 1, Value: ch[0], Unit: Celsius},
			Reading{Characteristic: "metal_time", Spot: i + 1, Value: ch[1], Unit: Minute})
	}
	return c
}

func TestCureRunByTheColdestChannel(t *testing.T) {
	spec := CureSpec{ScheduleC: 190, Channels: 3, MaxSpreadC: 10}
	good := metal([2]float64{200, 14}, [2]float64{198, 13}, [2]float64{195, 12})
	for name, c := range map[string]struct {
		change func(c *Check)
		want   Verdict
		says   string
		fault  string
	}{
		"as it should be":   {func(*Check) {}, Pass, "Channel 3: time at or over 190 °C, 12 min meets 12 to 24 min.", ""},
		"coldest too short": {func(c *Check) { c.Readings[5].Value = 11.5 }, Fail, "Channel 3: time at or over 190 °C, 11.5 min is under 12 min. It is 30 s short.", "under_cure"},
		"in seconds":        {func(c *Check) { c.Readings[5].Value, c.Readings[5].Unit = 690, Second }, Fail, "Channel 3: time at or over 190 °C, 690 s is under 720 s. It is 30 s short.", "under_cure"},
		"never got there":   {func(c *Check) { c.Readings[4].Value = 189 }, Fail, "Channel 3: peak metal temperature 189 °C is under 190 °C.", "under_cure"},
		"over the window":   {func(c *Check) { c.Readings[0].Value = 210.5 }, Fail, "Channel 1: peak metal temperature 210.5 °C is over 210 °C.", "over_cure"},
		"too long":          {func(c *Check) { c.Readings[1].Value = 24.5 }, Fail, "Channel 1: time at or over 190 °C, 24.5 min is over 24 min.", "over_cure"},
		"uneven":            {func(c *Check) { c.Readings[0].Value = 206 }, Fail, "Spread of the peaks, 11 K is over 10 K.", "uneven_cure"},
		"channel missing":   {func(c *Check) { c.Readings = c.Readings[:4] }, Incomplete, "2 channels with a metal temperature, 3 are asked.", ""},
		"peak missing":      {func(c *Check) { c.Readings = slices.Delete(c.Readings, 4, 5) }, Incomplete, "Channel 3: the peak metal temperature is missing.", ""},
		"time pending":      {func(c *Check) { c.Readings[5].Absence = Pending }, Incomplete, "Channel 3: the time at or over 190 °C is missing.", ""},
		"nothing":           {func(c *Check) { c.Readings = nil }, Incomplete, "0 channels with a metal temperature, 3 are asked.", ""},
		"named channel":     {func(c *Check) { c.Readings[4].Location, c.Readings[4].Value = "bottom rail", 189 }, Fail, "Channel 3, bottom rail: peak metal temperature 189 °C is under 190 °C.", "under_cure"},
		"peak in °F":        {func(c *Check) { c.Readings[0].Value, c.Readings[0].Unit = 400, Fahrenheit }, Pass, "", ""},
	} {
		check := Check{Kind: Cure, Readings: slices.Clone(good.Readings)}
		c.change(&check)
		got := JudgeCure(spec, polyester, &check).sorted()
		if got.Verdict != c.want || c.says != "" && !contains(got.Findings, c.says) {
			t.Errorf("%s: %s, want %s and %q, but\n\t%s", name, got.Verdict, c.want, c.says, texts(got.Findings))
		}
		if c.fault != "" && got.Findings[0].Fault != c.fault {
			t.Errorf("%s: fault %q, want %q", name, got.Findings[0].Fault, c.fault)
		}
		sound(t, got)
	}
}

func TestCureFlags(t *testing.T) {
	check := metal([2]float64{200, 11}, [2]float64{185, 13})
	JudgeCure(CureSpec{ScheduleC: 190, Channels: 2}, polyester, &check)
	for i, want := range []Flag{In, Short, Low, In} {
		if check.Readings[i].Flag != want {
			t.Errorf("reading %d is flagged %q, want %q", i, check.Readings[i].Flag, want)
		}
	}
}

func TestScheduleOutsideThePowdersWindowNeverPasses(t *testing.T) {
	for schedule, says := range map[float64]string{
		180: "The spec counts time from 180 °C, outside the powder's cure window of 190 to 210 °C; nothing is extrapolated.",
		215: "The spec counts time from 215 °C, outside the powder's cure window of 190 to 210 °C; nothing is extrapolated.",
	} {
		check := metal([2]float64{205, 60})
		got := JudgeCure(CureSpec{ScheduleC: schedule, Channels: 1}, polyester, &check)
		if got.Verdict != Incomplete || !contains(got.Findings, says) {
			t.Errorf("schedule %v °C: %s\n\t%s", schedule, got.Verdict, texts(got.Findings))
		}
	}
	check := metal([2]float64{185, 60})
	if got := JudgeCure(CureSpec{ScheduleC: 180, Channels: 1}, polyester, &check); got.Verdict != Fail {
		t.Errorf("a peak of 185 °C under a window from 190 °C: %s, want fail", got.Verdict)
	}
	if got := JudgeCure(CureSpec{ScheduleC: 190, Channels: 1}, CureWindow{}, &check); got.Verdict == Pass || !contains(got.Findings, "The powder has no usable cure window. Enter the points of its data sheet.") {
		t.Errorf("without a window: %s", got.Verdict)
	}
}

func TestOvenOverFourHundredFahrenheitForHalfAnHour(t *testing.T) {
	// Common practice, no published source: the oven stands over 400 °F and the part is in it for about 30 min.
	set, problem := ParseReading("set_point", "400", Fahrenheit)
	if problem != "" {
		t.Fatal(problem)
	}
	if c, err := set.In(Celsius); err != nil || math.Abs(c-204.4) > 0.05 {
		t.Errorf("400 °F is %v °C, want 204.4 °C", c)
	}
	in, problem := ParseReading("oven_time", "30", Minute)
	if problem != "" {
		t.Fatal(problem)
	}
	// Of those 30 min light parts spend some 12 heating up: 18 min at the metal's schedule pass the powder's window.
	check := metal([2]float64{203, 18})
	check.Readings = append(check.Readings, set, in)
	if got := JudgeCure(CureSpec{ScheduleC: 190, Channels: 1}, polyester, &check); got.Verdict != Pass {
		t.Errorf("%s: %s", got.Verdict, got.Sentence())
	}
}

func TestMoreTimeBelowTheMaximumNeverTurnsPassIntoFail(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		spec := CureSpec{ScheduleC: rapid.Float64Range(190, 210).Draw(t, "schedule"), Channels: 1}
		limits, err := polyester.At(spec.ScheduleC)
		if err != nil {
			t.Fatal(err)
		}
		minutes := rapid.Float64Range(0, limits.High.Value).Draw(t, "minutes")
		check := metal([2]float64{210, minutes})
		want := Fail
		if minutes >= limits.Low.Value {
			want = Pass
		}
		if got := JudgeCure(spec, polyester, &check).Verdict; got != want {
			t.Fatalf("%v min of %s: %s, want %s", minutes, limits, got, want)
		}
	})
}

func FuzzJudgeCure(f *testing.F) {
	f.Add(190.0, 10.0, 200.0, 14.0, 190.0, 12.0, 24.0, 1, uint8(0))
	f.Add(nan(), nan(), nan(), nan(), nan(), nan(), nan(), -1, uint8(3))
	f.Add(300.0, 1e300, -1e308, 1e308, 300.0, 1e-300, 1e300, 0, uint8(1))
	f.Fuzz(func(t *testing.T, schedule, spread, peak, minutes, at, least, longest float64, channel int, absence uint8) {
		check := metal([2]float64{peak, minutes}, [2]float64{at, least})
		check.Readings[0].Spot = channel
		check.Readings[1].Absence = []Absence{Present, Pending, NotMeasured, BelowRange}[int(absence)%4]
		window := CureWindow{Points: []CurePoint{{at, least, longest}, {200, 10, 20}}}
		got := JudgeCure(CureSpec{ScheduleC: schedule, Channels: 2, MaxSpreadC: spread}, window, &check)
		sound(t, got)
		if got.Verdict == Pass && len(window.Validate()) > 0 {
			t.Fatalf("a window that makes no sense let a run pass: %+v", window)
		}
	})
}
