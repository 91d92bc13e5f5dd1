package quality

import (
	"errors"
	"math"
	"math/big"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Exact by definition of the units; the mils of 60 and 120 µm and the °F of round °C as printed in the reference table.
func TestConvertTextKeepsTheDigits(t *testing.T) {
	for _, c := range []struct {
		text     string
		from, to Unit
		want     string
	}{
		{"1", Mil, Micrometre, "25.4"}, {"2.40", Mil, Micrometre, "60.96"}, {"3,0", Mil, Micrometre, "76.2"}, {"0.001", Mil, Micrometre, "0.0254"},
		{"84", Micrometre, Mil, "3.31"}, {"60", Micrometre, Mil, "2.36"}, {"120", Micrometre, Mil, "4.72"}, {"60.0", Micrometre, Mil, "2.362"},
		{"25.4", Micrometre, Mil, "1.000"}, {"400", Fahrenheit, Celsius, "204.4"}, {"375", Fahrenheit, Celsius, "190.6"}, {"450", Fahrenheit, Celsius, "232.2"},
		{"190", Celsius, Fahrenheit, "374"}, {"200.5", Celsius, Fahrenheit, "392.9"}, {"-40", Fahrenheit, Celsius, "-40.0"},
		{"1.5", Minute, Second, "90"}, {"90", Second, Minute, "1.50"}, {"100", Second, Minute, "1.67"}, {"84.20", Micrometre, Micrometre, "84.20"},
		{"22", InchPound, NewtonMetre, "2.4856662386075674"},
	} {
		got, err := ConvertText(c.text, c.from, c.to)
		if err != nil || got != c.want {
			t.Errorf("%s %s: %q %s, want %q (%v)", c.text, c.from, got, c.to, c.want, err)
		}
	}
}

func TestConvertedDigitsComeBackAsTyped(t *testing.T) {
	pairs := [][2]Unit{{Micrometre, Mil}, {Mil, Micrometre}, {Celsius, Fahrenheit}, {Fahrenheit, Celsius}, {Second, Minute}, {Millimetre, Inch}, {InchPound, NewtonMetre}}
	rapid.Check(t, func(t *rapid.T) {
		pair := rapid.SampledFrom(pairs).Draw(t, "units")
		decimals := rapid.IntRange(0, 4).Draw(t, "decimals")
		text := big.NewRat(int64(rapid.IntRange(-9999999, 9999999).Draw(t, "digits")), int64(math.Pow10(decimals))).FloatString(decimals)
		there, err := ConvertText(text, pair[0], pair[1])
		if err != nil {
			t.Fatal(err)
		}
		exact, err := Convert(number2(t, text), pair[0], pair[1])
		if err != nil || math.Abs(exact-number2(t, there)) > 1e-9*math.Abs(exact)+math.Pow10(-decimalsOf(there)) {
			t.Fatalf("%s %s: text %s, number %v %s", text, pair[0], there, exact, pair[1])
		}
		// Back by exact arithmetic, rounded to the decimals that were typed.
		value, _ := new(big.Rat).SetString(there)
		a, b, err := pathOf(pair[1], pair[0])
		if err != nil {
			t.Fatal(err)
		}
		value.Sub(value, big.NewRat(a.zero, 1)).Mul(value, big.NewRat(a.between(b))).Add(value, big.NewRat(b.zero, 1))
		if back := value.FloatString(decimals); back != text && "-"+text != back {
			t.Fatalf("%s %s is %s %s, and back %s", text, pair[0], there, pair[1], back)
		}
	})
}

func number2(t *rapid.T, text string) float64 {
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func decimalsOf(text string) int {
	if point := strings.IndexByte(text, '.'); point >= 0 {
		return len(text) - point - 1
	}
	return 0
}

func TestConvertRefusesWhatIsNoFigure(t *testing.T) {
	for _, text := range []string{"", "7,x", "1e3", "NaN", "1.2.3", "--1", "1234567890123", "1/3"} {
		if got, err := ConvertText(text, Mil, Micrometre); !errors.Is(err, ErrNotNumber) || got != "" {
			t.Errorf("%q: %q, %v; want ErrNotNumber", text, got, err)
		}
	}
	if _, err := ConvertText("1", Mil, Celsius); !errors.Is(err, ErrUnits) {
		t.Errorf("mil to °C: %v, want ErrUnits", err)
	}
	for _, v := range []float64{nan(), math.Inf(1), 1e308} {
		if _, err := Convert(v, Inch, Micrometre); !errors.Is(err, ErrNotNumber) {
			t.Errorf("%v in: %v, want ErrNotNumber", v, err)
		}
	}
}

func TestEveryScaleLeadsToItsBase(t *testing.T) {
	for unit, s := range scales {
		if base, ok := scales[s.base]; !ok || base.num != 1 || base.den != 1 || base.zero != 0 {
			t.Errorf("%s leads to %s, which is no base unit", unit, s.base)
		}
	}
}
