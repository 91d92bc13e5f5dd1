package ui

import (
	"math"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

func TestGlovedTargetsAre20mmOnEveryTablet(t *testing.T) {
	css, err := os.ReadFile("../static/bench.css")
	if err != nil {
		t.Fatal(err)
	}
	touch := map[string]int{}
	for _, m := range regexp.MustCompile(`\.(ppi-\d+) \{ --touch: (\d+)px; \}`).FindAllStringSubmatch(string(css), -1) {
		touch[m[1]], _ = strconv.Atoi(m[2])
	}
	for ppi := 90; ppi <= 220; ppi++ {
		need := 20 / 25.4 * float64(ppi)
		if got := touch[Scale(ppi)]; float64(got) < math.Floor(need) {
			t.Errorf("%d px per inch: a target is %d px, 20 mm are %.1f px", ppi, got, need)
		}
	}
	if Scale(0) != "ppi-132" {
		t.Errorf("a tablet without a scale is %s, want the usual 132", Scale(0))
	}
}

func TestLimitStripShowsWhereAReadingLies(t *testing.T) {
	low, high, floor := 60.0, 120.0, 48.0
	s := NewLimitStrip(&low, &high, &floor, []float64{46, 84, 500}, "")
	x := func(text string) float64 {
		v, err := strconv.ParseFloat(text, 64)
		if err != nil {
			t.Fatalf("%q is no coordinate", text)
		}
		return v
	}
	if !(x(s.Ticks[0].X) < x(s.Floor) && x(s.Floor) < x(s.Low) && x(s.Low) < x(s.Ticks[1].X) && x(s.Ticks[1].X) < x(s.High) && x(s.High) < x(s.Ticks[2].X)) {
		t.Errorf("the order on the strip is wrong: %+v", s)
	}
	if !s.Ticks[0].Out || s.Ticks[1].Out || !s.Ticks[2].Out {
		t.Errorf("46 and 500 are out, 84 is not: %+v", s.Ticks)
	}
	for _, limits := range [][3]*float64{{nil, nil, nil}, {&low, nil, nil}, {nil, &high, nil}, {&low, &low, nil}} {
		s := NewLimitStrip(limits[0], limits[1], limits[2], []float64{60}, "")
		for _, text := range []string{s.From, s.To, s.Within, s.Width, s.Ticks[0].X} {
			if v := x(text); math.IsNaN(v) || math.IsInf(v, 0) {
				t.Errorf("%v: %+v has no place", limits, s)
			}
		}
	}
}

func TestEveryVerdictHasAWordAndAShapeOfItsOwn(t *testing.T) {
	shapes := map[string]string{}
	for _, kind := range []string{"pass", "fail", "hold", "guard_band", "incomplete", "none"} {
		var out strings.Builder
		if err := Mark(kind).Render(t.Context(), &out); err != nil {
			t.Fatal(err)
		}
		for other, shape := range shapes {
			if shape == out.String() {
				t.Errorf("%s and %s look alike", kind, other)
			}
		}
		shapes[kind] = out.String()
		if verdictWords(kind, "") == "" {
			t.Errorf("%s has no word", kind)
		}
	}
}

func TestCautionsWarnAndDefer(t *testing.T) {
	defers := map[string][]string{"en": {"safety data sheet", "local codes"}, "es": {"ficha de datos de seguridad", "normas locales"}}
	for kind, c := range cautions {
		for _, text := range c.inOrder("es") {
			for _, words := range defers[text.language] {
				if !strings.Contains(text.rest, words) {
					t.Errorf("the caution of %s in %s does not defer to %q", kind, text.language, words)
				}
			}
			if len(text.headline) > 62 || text.headline == "" {
				t.Errorf("the headline of %s in %s has %d bytes; a caution is brief", kind, text.language, len(text.headline))
			}
		}
	}
}
