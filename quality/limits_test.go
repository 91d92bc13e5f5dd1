package quality

import (
	"errors"
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestValueEqualToALimitIsWithinIt(t *testing.T) {
	limits := Between(60, 120, Micrometre)
	for value, want := range map[float64]Flag{59.99: Low, 60: In, 90: In, 120: In, 120.01: High} {
		if got, err := limits.Judge(value, Micrometre); err != nil || got != want {
			t.Errorf("%v µm: %q, want %q (%v)", value, got, want, err)
		}
	}
	if got, err := (Limits{}).Judge(1, Micrometre); err != nil || got != Unflagged {
		t.Errorf("no limits: %q, %v", got, err)
	}
}

func TestWhatCannotBeComparedIsAnError(t *testing.T) {
	if _, err := AtLeast(60, Micrometre).Judge(60, Celsius); !errors.Is(err, ErrUnits) {
		t.Errorf("60 °C against µm: %v, want ErrUnits", err)
	}
	for _, v := range []float64{nan(), math.Inf(1), math.Inf(-1)} {
		if flag, err := Between(0, 1, Micrometre).Judge(v, Micrometre); !errors.Is(err, ErrNotNumber) || flag != Unflagged {
			t.Errorf("%v: %q, %v; want ErrNotNumber", v, flag, err)
		}
	}
}

// By definition: 1 mil is 25.4 µm, °C = (°F − 32)/1.8, 1 min is 60 s. The figures in °C are worked out from it.
func TestConvert(t *testing.T) {
	for _, c := range []struct {
		value    float64
		from, to Unit
		want     float64
	}{
		{1, Mil, Micrometre, 25.4}, {2, Mil, Micrometre, 50.8}, {3, Mil, Micrometre, 76.2}, {4, Mil, Micrometre, 101.6},
		{25.4, Micrometre, Mil, 1}, {60, Micrometre, Mil, 2.36}, {120, Micrometre, Mil, 4.72},
		{375, Fahrenheit, Celsius, 190.6}, {400, Fahrenheit, Celsius, 204.4}, {450, Fahrenheit, Celsius, 232.2},
		{180, Celsius, Fahrenheit, 356}, {190, Celsius, Fahrenheit, 374}, {200, Celsius, Fahrenheit, 392}, {-40, Celsius, Fahrenheit, -40},
		{1.5, Minute, Second, 90}, {90, Second, Minute, 1.5}, {7, Lux, Lux, 7}, {2, Hour, Minute, 120}, {45, Minute, Hour, 0.75},
		{1.6, Millimetre, Micrometre, 1600}, {0.0625, Inch, Millimetre, 1.5875}, {5, Foot, Metre, 1.524}, {100, SquareFoot, SquareMetre, 9.29},
		{30, MilliPerFt2, MilliPerM2, 322.9}, {40, MilliPerFt2, MilliPerM2, 430.6}, {1, MilliPerFt2, MilliPerM2, 10.76}, {1.2, GramPerM2, MilliPerM2, 1200},
		{80, InchPound, NewtonMetre, 9.0}, {2.5, NewtonMetre, InchPound, 22.1},
	} {
		if got, err := Convert(c.value, c.from, c.to); err != nil || math.Abs(got-c.want) > 0.051 {
			t.Errorf("%v %s: %v %s, want %v (%v)", c.value, c.from, got, c.to, c.want, err)
		}
	}
	for _, pair := range [][2]Unit{{Micrometre, Celsius}, {Lux, Percent}, {"", Mil}, {Millimetre, SquareMetre}, {GramPerM2, GramPerLitre}} {
		if _, err := Convert(1, pair[0], pair[1]); !errors.Is(err, ErrUnits) {
			t.Errorf("%s to %s: %v, want ErrUnits", pair[0], pair[1], err)
		}
	}
}

func TestConvertThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pair := rapid.SampledFrom([][2]Unit{{Micrometre, Mil}, {Celsius, Fahrenheit}, {Second, Minute}}).Draw(t, "units")
		v := rapid.Float64Range(-1000, 1000).Draw(t, "value")
		there, err := Convert(v, pair[0], pair[1])
		back, errBack := Convert(there, pair[1], pair[0])
		if err != nil || errBack != nil || math.Abs(back-v) > 1e-12*math.Max(1000, math.Abs(v)) {
			t.Fatalf("%v %s, there and back %v", v, pair[0], back)
		}
	})
}

func TestLimitsInWords(t *testing.T) {
	paired := Limits{Low: &Limit{Value: 60, Unit: Micrometre, Paired: &PairedLimit{Value: 2.4, Unit: Mil}}}
	for want, l := range map[string]Limits{
		"60 to 120 µm": Between(60, 120, Micrometre), "at least 60 µm": AtLeast(60, Micrometre), "at most 30 µS/cm": AtMost(30, MicroSiemens),
		"at least 60 µm / 2.4 mil": paired, "no limit": {}, "3.5 to 5": Between(3.5, 5, PH),
		"60 µm to 5 mil": {Low: &Limit{Value: 60, Unit: Micrometre}, High: &Limit{Value: 5, Unit: Mil}},
	} {
		if got := l.String(); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}

func TestNumberDropsTrailingZeros(t *testing.T) {
	for _, c := range []struct {
		value    float64
		decimals int
		want     string
	}{{60, 1, "60"}, {60.50, 2, "60.5"}, {0.04, 1, "0"}, {-0.04, 1, "0"}, {100, 0, "100"}, {1234.5678, 3, "1234.568"}} {
		if got := Number(c.value, c.decimals); got != c.want {
			t.Errorf("%v: %q, want %q", c.value, got, c.want)
		}
	}
}

// What a sentence prints stands in the same order as the exact values, in whatever unit.
func TestSentenceNeverRoundsAcrossTheLimit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		limit := float64(rapid.IntRange(1, 2000).Draw(t, "limit")) / 10
		away := math.Pow(10, -rapid.Float64Range(0, 9).Draw(t, "digits")) * rapid.SampledFrom([]float64{-1, 1}).Draw(t, "side")
		value, unit := limit+away, Micrometre
		if rapid.Bool().Draw(t, "in mil") {
			value, unit = value/25.4, Mil
		}
		var j Judgement
		flag := j.compare(comparison{rule: "r", what: "value", value: value, unit: unit, limits: AtLeast(limit, Micrometre), low: "thin_film"})
		words := strings.Fields(j.Findings[0].Text)
		shown, err := strconv.ParseFloat(words[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		exact, _ := Convert(limit, Micrometre, unit)
		if flag == Low && shown >= exact || flag == In && shown < exact-1e-9 {
			t.Fatalf("%v %s against %v µm: flag %s, the sentence says %s", value, unit, limit, flag, j.Findings[0].Text)
		}
	})
}

func TestGuardInAnotherUnitIsTheSameGuard(t *testing.T) {
	limits := Between(60, 120, Micrometre)
	for um, want := range map[float64]Flag{59.9: Low, 60: Guard, 62.9: Guard, 63: In, 117: In, 117.1: Guard, 120: Guard, 120.1: High} {
		if got, err := limits.guarded(um, Micrometre, 3); err != nil || got != want {
			t.Errorf("%v µm: %q, want %q (%v)", um, got, want, err)
		}
		if got, err := limits.guarded(um/25.4, Mil, 3); err != nil || got != want {
			t.Errorf("%v µm in mil: %q, want %q (%v)", um, got, want, err)
		}
	}
	// A guard of 2 K is 3.6 °F, not 35.6.
	if got, err := AtLeast(190, Celsius).guarded(377, Fahrenheit, 2); err != nil || got != Guard {
		t.Errorf("377 °F: %q, want guard (%v)", got, err)
	}
	if got, err := AtLeast(190, Celsius).guarded(378, Fahrenheit, 2); err != nil || got != In {
		t.Errorf("378 °F: %q, want in (%v)", got, err)
	}
}
