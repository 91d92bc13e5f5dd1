package quality

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestBadInputIsRefusedWithAPlainSentence(t *testing.T) {
	for _, c := range []struct {
		code, text string
		unit       Unit
		want       string
	}{
		{"film_thickness", "-1", Micrometre, "“-1” cannot be right. Check the gauge and measure again: film thickness is from 0 to 1000 µm."},
		{"film_thickness", "2.8.1", Mil, "“2.8.1” is not a number. Enter film thickness from 0 to 39.3 mil."},
		{"film_thickness", "", Micrometre, "Film thickness is empty. Enter 0 to 1000 µm."},
		{"film_thickness", "   ", Micrometre, "Film thickness is empty. Enter 0 to 1000 µm."},
		{"film_thickness", "1e9", Micrometre, "“1e9” is not a number in µm. Enter film thickness from 0 to 1000 µm."},
		{"film_thickness", "NaN", Micrometre, "“NaN” is not a number in µm. Enter film thickness from 0 to 1000 µm."},
		{"film_thickness", "Inf", Micrometre, "“Inf” is not a number in µm. Enter film thickness from 0 to 1000 µm."},
		{"film_thickness", "8420", Micrometre, "“8420” cannot be right. Check the gauge and measure again: film thickness is from 0 to 1000 µm."},
		{"film_thickness", "76", Mil, "“76” cannot be right in mil: is it µm? Check the gauge. Enter film thickness from 0 to 39.3 mil."},
		{"film_thickness", "7,x", Micrometre, "“7,x” is not a number in µm. Enter film thickness from 0 to 1000 µm."},
		{"film_thickness", "76 mm", Micrometre, "“76 mm” is not a number in µm. Enter film thickness from 0 to 1000 µm."},
		{"film_thickness", "12-3", Micrometre, "“12-3” is not a number. Enter film thickness from 0 to 1000 µm."},
		{"film_thickness", "0x1F", Micrometre, "“0x1F” is not a number in µm. Enter film thickness from 0 to 1000 µm."},
		{"film_thickness", "1234567890123", Micrometre, "“1234567890123” is not a number. Enter film thickness from 0 to 1000 µm."},
		{"film_thickness", "76", Celsius, "Film thickness is not given in °C. Enter it from 0 to 1000 µm."},
		{"ph", "15", PH, "“15” cannot be right. Check the gauge and measure again: pH is from 0 to 14."},
		{"ph", "seven", PH, "“seven” is not a number. Enter pH from 0 to 14."},
		{"set_point", "400", Celsius, "“400” cannot be right in °C: is it °F? Check the gauge. Enter oven set point from 50 to 300 °C."},
		{"shoe_size", "42", Micrometre, "“shoe_size” is not something the book measures."},
	} {
		reading, problem := ParseReading(c.code, c.text, c.unit)
		if problem != c.want {
			t.Errorf("%s %q in %s: got %q, want %q", c.code, c.text, c.unit, problem, c.want)
		}
		if reading != (Reading{}) {
			t.Errorf("%s %q: a reading beside the refusal: %+v", c.code, c.text, reading)
		}
	}
}

func TestOutOfSpecIsNotImpossible(t *testing.T) {
	reading, problem := ParseReading("film_thickness", "38", Micrometre)
	if problem != "" {
		t.Fatalf("38 µm is refused: %s", problem)
	}
	check := Check{Kind: Film, Readings: []Reading{reading}}
	check.Readings[0].Spot = 1
	if got := JudgeFilm(areas80(60, 1, 1), Circumstance{}, &check); got.Verdict != Fail {
		t.Errorf("38 µm against 60 µm: %s, want fail", got.Verdict)
	}
}

func TestDigitsAreKeptAsTyped(t *testing.T) {
	for _, c := range []struct {
		text, digits string
		value        float64
		unit         Unit
	}{
		{"84.20", "84.20", 84.2, Micrometre}, {"84,2", "84.2", 84.2, Micrometre}, {" 84.2 um ", "84.2", 84.2, Micrometre}, {"84.2µm", "84.2", 84.2, Micrometre},
		{"84.2 μm", "84.2", 84.2, Micrometre}, {"3.3 mil", "3.3", 3.3, Mil}, {"3.3 MIL", "3.3", 3.3, Mil}, {"007", "007", 7, Micrometre}, {"+5", "+5", 5, Micrometre},
	} {
		r, problem := ParseReading("film_thickness", c.text, Micrometre)
		if problem != "" || r.Text != c.digits || r.Value != c.value || r.Unit != c.unit || r.Raw != c.text {
			t.Errorf("%q: %+v %s", c.text, r, problem)
		}
	}
}

func TestPrintedRangeIsAccepted(t *testing.T) {
	for _, c := range Characteristics() {
		for _, unit := range c.Units {
			words := strings.Fields(c.Range(unit))
			if len(words) < 3 {
				t.Fatalf("%s in %s has the range %q", c.Code, unit, c.Range(unit))
			}
			for _, text := range []string{words[0], words[2]} {
				if _, problem := ParseReading(c.Code, text, unit); problem != "" {
					t.Errorf("%s: the range is %s, but %s", c.Code, c.Range(unit), problem)
				}
			}
		}
		if _, err := Convert(1, c.Units[len(c.Units)-1], c.Canonical()); err != nil {
			t.Errorf("%s: %v", c.Code, err)
		}
	}
}

func TestAnyNumberInRangeIsParsedAsWritten(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := float64(rapid.IntRange(0, 10000).Draw(t, "tenths")) / 10
		text := Number(v, 1)
		if rapid.Bool().Draw(t, "comma") {
			text = strings.ReplaceAll(text, ".", ",")
		}
		if r, problem := ParseReading("film_thickness", text, Micrometre); problem != "" || r.Value != v {
			t.Fatalf("%q: %+v %s", text, r, problem)
		}
	})
}

func FuzzParseReading(f *testing.F) {
	for _, text := range []string{"", "74", "74,5", "-1", "2.8.1", "1e9", "NaN", "8420", "84.2 µm", "84.2 μm", "\x00", "9999999999999999", "++1", "１２", "3.3\tmil", "µ"} {
		for _, unit := range []string{"um", "mil", "degC", ""} {
			f.Add("film_thickness", text, unit)
		}
	}
	f.Add("ph", "7", "pH")
	f.Add("set_point", "400", "degF")
	f.Add("nothing", "1", "um")
	f.Add(strings.Repeat("0", 300), strings.Repeat("9", 300), "um")
	f.Add("film_thickness", "0", strings.Repeat("0", 300))
	f.Fuzz(func(t *testing.T, code, text, unit string) {
		r, problem := ParseReading(code, text, Unit(unit))
		if (problem == "") == (r == Reading{}) {
			t.Fatalf("%q: reading %+v and problem %q", text, r, problem)
		}
		if problem != "" {
			if len([]rune(problem)) > 300 || !strings.HasSuffix(problem, ".") {
				t.Fatalf("no plain sentence: %q", problem)
			}
			return
		}
		c, ok := CharacteristicOf(code)
		if !ok {
			t.Fatalf("%q was read as the unknown %q", text, code)
		}
		low, high, err := c.bounds(r.Unit)
		if err != nil || !(r.Value >= low && r.Value <= high) {
			t.Fatalf("%q was read as %v %s, outside %v to %v", text, r.Value, r.Unit, low, high)
		}
		if again, problem := ParseReading(code, r.Text, r.Unit); problem != "" || again.Value != r.Value {
			t.Fatalf("the digits %q read as %v, then as %v: %s", r.Text, r.Value, again.Value, problem)
		}
	})
}
