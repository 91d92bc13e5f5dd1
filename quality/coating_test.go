package quality

import (
	"errors"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestDewPointAgainstTheTable(t *testing.T) {
	for _, row := range published(t, "dew-point/table.csv") {
		got, err := DewPoint(number(t, row["air_C"]), number(t, row["rh_pct"]))
		if want := number(t, row["wmo_17.62_243.12"]); err != nil || math.Abs(got-want) > 6e-5 {
			t.Errorf("%s °C, %s %%: %.4f °C, published %.4f °C (%v)", row["air_C"], row["rh_pct"], got, want, err)
		}
	}
}

// A printed chart of dew points (seen, scribd 332361849), which truncates, so 0.1 °C is allowed.
func TestDewPointAgainstAPrintedChart(t *testing.T) {
	for _, c := range [][3]float64{{16, 50, 5.6}, {20, 50, 9.3}, {20, 60, 12.0}, {25, 50, 13.8}, {30, 50, 18.4}, {30, 60, 21.4}} {
		if got, err := DewPoint(c[0], c[1]); err != nil || math.Abs(got-c[2]) > 0.1 {
			t.Errorf("%v °C, %v %%: %.2f °C, the chart says %v °C (%v)", c[0], c[1], got, c[2], err)
		}
	}
}

func TestDewPointRefusesWhatIsNoAir(t *testing.T) {
	for _, c := range [][2]float64{{20, 0}, {20, -1}, {20, 100.1}, {nan(), 50}, {20, nan()}, {-60, 50}, {61, 50}} {
		if _, err := DewPoint(c[0], c[1]); !errors.Is(err, ErrNotNumber) {
			t.Errorf("%v °C, %v %%: error %v", c[0], c[1], err)
		}
	}
}

func TestDewPointIsNeverAboveTheAirAndRisesWithHumidity(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		air := rapid.Float64Range(0, 50).Draw(t, "air")
		rh := rapid.Float64Range(1, 99).Draw(t, "humidity")
		dew, err := DewPoint(air, rh)
		wetter, errWetter := DewPoint(air, rh+1)
		if err != nil || errWetter != nil || dew > air || wetter <= dew || wetter > air+1e-9 {
			t.Fatalf("air %v °C: dew point %v at %v %%, %v at %v %%", air, dew, rh, wetter, rh+1)
		}
	})
}

func booth(air, humidity float64, surface ...float64) Check {
	c := Check{Kind: Coating, Readings: []Reading{
		{Characteristic: "air_temperature", Value: air, Unit: Celsius}, {Characteristic: "humidity", Value: humidity, Unit: Percent}}}
	for _, s := range surface {
		c.Readings = append(c.Readings, Reading{Characteristic: "surface_temperature", Value: s, Unit: Celsius})
	}
	return c
}

func TestDewPointMarginCases(t *testing.T) {
	for _, row := range published(t, "dew-point/margin_cases.csv") {
		check := booth(number(t, row["air_C"]), number(t, row["rh_pct"]), number(t, row["surface_C"]))
		got := JudgeCoating(CoatingSpec{DewPointMarginC: 3}, nil, Circumstance{}, &check)
		if want := row["ok_at_3K"] == "1"; (got.Verdict == Pass) != want {
			t.Errorf("air %s °C, %s %%, surface %s °C: %s, want ok %v: %s", row["air_C"], row["rh_pct"], row["surface_C"], got.Verdict, want, got.Sentence())
		}
		if margin := *got.Findings[0].Value; math.Abs(margin-number(t, row["surface_minus_dew"])) > 6e-5 {
			t.Errorf("margin %.4f K, published %s K", margin, row["surface_minus_dew"])
		}
	}
}

func TestCoatingConditions(t *testing.T) {
	spec := CoatingSpec{Powders: []string{"PE-7016"}, Air: Between(20, 27, Celsius), Humidity: Between(40, 60, Percent), Ground: AtMost(1, Megohm)}
	good := func() Check {
		c := booth(23, 50)
		c.Readings = append(c.Readings, Reading{Characteristic: "ground_resistance", Value: 1, Unit: Megohm})
		return c
	}
	known := Circumstance{Powder: "PE-7016", SincePretreatment: 16 * time.Hour}
	for name, c := range map[string]struct {
		change func(c *Check, k *Circumstance)
		want   Verdict
		says   string
	}{
		"as it should be": {func(*Check, *Circumstance) {}, Pass, "Time from pretreatment to powder 16 h meets at most 16 h."},
		"too late":        {func(_ *Check, k *Circumstance) { k.SincePretreatment += time.Minute }, Fail, "Time from pretreatment to powder 16.02 h is over 16 h."},
		"never washed":    {func(_ *Check, k *Circumstance) { k.SincePretreatment = 0 }, Incomplete, "No pretreatment of the rack is known, so the time since it cannot be judged."},
		"before the wash": {func(_ *Check, k *Circumstance) { k.SincePretreatment = -time.Hour }, Incomplete, "The coating run is dated before the pretreatment. Correct one of the times."},
		"wrong powder":    {func(_ *Check, k *Circumstance) { k.Powder = "PE-9005" }, Fail, "Powder PE-9005 is not one the spec allows."},
		"no powder":       {func(_ *Check, k *Circumstance) { k.Powder = "" }, Incomplete, "The powder lot is missing."},
		"poor earth":      {func(c *Check, _ *Circumstance) { c.Readings[2].Value = 1.1 }, Fail, "Resistance of hanger to earth 1.1 MΩ is over 1 MΩ."},
		"no humidity":     {func(c *Check, _ *Circumstance) { c.Readings[1].Absence = NotMeasured }, Incomplete, "Relative humidity was not measured; the limit is 40 to 60 %."},
		"damp booth":      {func(c *Check, _ *Circumstance) { c.Readings[1].Value = 61 }, Fail, "Relative humidity 61 % is over 60 %."},
	} {
		check, circumstance := good(), known
		c.change(&check, &circumstance)
		got := JudgeCoating(spec, &wash, circumstance, &check)
		if got.Verdict != c.want || !contains(got.Findings, c.says) {
			t.Errorf("%s: %s, want %s and %q, but\n\t%s", name, got.Verdict, c.want, c.says, texts(got.Findings))
		}
		sound(t, got)
	}
}

func TestDewPointNeedsAirAndHumidity(t *testing.T) {
	check := booth(23, 50)
	check.Readings = check.Readings[:1]
	if got := JudgeCoating(CoatingSpec{DewPointMarginC: 3}, nil, Circumstance{}, &check); got.Verdict != Incomplete {
		t.Errorf("without humidity: %s, want incomplete", got.Verdict)
	}
	// A part that was not measured is taken to be as warm as the booth: 23 °C and 50 % leave 11 K.
	check = booth(23, 50)
	if got := JudgeCoating(CoatingSpec{DewPointMarginC: 3}, nil, Circumstance{}, &check); got.Verdict != Pass {
		t.Errorf("without a surface temperature: %s, want pass", got.Verdict)
	}
}

func TestCoatingRunOfASpecWithoutLimitsIsRecorded(t *testing.T) {
	check := Check{Kind: Coating}
	if got := JudgeCoating(CoatingSpec{}, nil, Circumstance{}, &check); got.Verdict != Pass {
		t.Errorf("got %s, want pass", got.Verdict)
	}
}
