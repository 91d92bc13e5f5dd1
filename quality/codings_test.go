package quality

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// ASTM D610 seen in a copy; ISO 4628-3 and ASTM D1654 from memory, unverified. The upper end belongs to the better grade.
func TestGradesAtTheirEnds(t *testing.T) {
	for name, c := range map[string]struct {
		of   func(float64) (int, error)
		want map[float64]int
		most float64
	}{
		"D610":  {RustGradeD610, map[float64]int{0: 10, 0.01: 10, 0.011: 9, 0.03: 9, 0.1: 8, 0.3: 7, 0.31: 6, 1: 6, 3: 5, 10: 4, 16: 3, 33: 2, 50: 1, 50.1: 0, 100: 0}, 100},
		"Ri":    {RustGradeISO4628, map[float64]int{0: 0, 0.01: 1, 0.05: 1, 0.5: 2, 0.51: 3, 1: 3, 8: 4, 8.1: 5, 45: 5, 100: 5}, 100},
		"D1654": {CreepRatingD1654, map[float64]int{0: 10, 0.1: 9, 0.5: 9, 0.6: 8, 1: 8, 2: 7, 3: 6, 5: 5, 7: 4, 10: 3, 13: 2, 16: 1, 16.5: 0}, 1000},
	} {
		for value, want := range c.want {
			if got, err := c.of(value); err != nil || got != want {
				t.Errorf("%s of %v: %d, want %d (%v)", name, value, got, want, err)
			}
		}
		for _, bad := range []float64{-0.1, c.most * 1.01, nan(), math.Inf(1)} {
			if _, err := c.of(bad); !errors.Is(err, ErrOutOfScale) {
				t.Errorf("%s of %v: %v, want ErrOutOfScale", name, bad, err)
			}
		}
	}
}

func TestWorseSurfaceNeverRatesBetter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.Float64Range(0, 100).Draw(t, "a")
		b := rapid.Float64Range(a, 100).Draw(t, "b")
		rustA, _ := RustGradeD610(a)
		rustB, _ := RustGradeD610(b)
		riA, _ := RustGradeISO4628(a)
		riB, _ := RustGradeISO4628(b)
		creepA, _ := CreepRatingD1654(a)
		creepB, _ := CreepRatingD1654(b)
		if rustB > rustA || riB < riA || creepB > creepA {
			t.Fatalf("%v and %v: D610 %d %d, Ri %d %d, D1654 %d %d", a, b, rustA, rustB, riA, riB, creepA, creepB)
		}
	})
}

func TestNetMeanCreep(t *testing.T) {
	// By hand: (140 − 20)/(2·100).
	if got, err := NetMeanCreep(140, 20, 100); err != nil || got != 0.6 {
		t.Errorf("got %v mm, want 0.6 mm (%v)", got, err)
	}
	for _, bad := range [][3]float64{{10, 20, 100}, {140, -1, 100}, {140, 20, 0}, {nan(), 20, 100}, {140, 20, nan()}, {math.Inf(1), 20, 100}} {
		if _, err := NetMeanCreep(bad[0], bad[1], bad[2]); !errors.Is(err, ErrOutOfScale) {
			t.Errorf("%v: %v, want ErrOutOfScale", bad, err)
		}
	}
}

func TestRatingsOfISO4628(t *testing.T) {
	for text, want := range map[string]float64{"0": 0, "5": 5, "2": 2, "2.5": 2.5, "2,5": 2.5} {
		if got, err := RatingISO4628(text, true); err != nil || got != want {
			t.Errorf("%q: %v, want %v (%v)", text, got, want, err)
		}
	}
	for _, text := range []string{"", "5.5", "-1", "2.3", "two"} {
		if _, err := RatingISO4628(text, true); !errors.Is(err, ErrOutOfScale) {
			t.Errorf("%q: %v, want ErrOutOfScale", text, err)
		}
	}
	if _, err := RatingISO4628("2.5", false); !errors.Is(err, ErrOutOfScale) {
		t.Errorf("a half step that was not agreed: %v", err)
	}
}

func TestBlisters(t *testing.T) {
	limit := Blisters{2, 2}
	for text, within := range map[string]bool{"0": true, "2(S2)": true, "1(S1)": true, " 2 (s2) ": true, "3(S1)": false, "1(S3)": false, "5(S5)": false} {
		b, err := ParseBlisters(text)
		if err != nil || b.Within(limit) != within {
			t.Errorf("%q within %s: %v, want %v (%v)", text, limit, b.Within(limit), within, err)
		}
		if again, err := ParseBlisters(b.String()); err != nil || again != b {
			t.Errorf("%q prints %s and reads back %v (%v)", text, b, again, err)
		}
	}
	for _, text := range []string{"", "2", "2(S)", "6(S1)", "2(S6)", "0(S2)", "2(S0)", "x(Sy)"} {
		if b, err := ParseBlisters(text); !errors.Is(err, ErrOutOfScale) {
			t.Errorf("%q: %v, %v; want ErrOutOfScale", text, b, err)
		}
	}
	few := BlistersD714{8, "F"}
	for text, within := range map[string]bool{"10": true, "8 F": true, "8 f": true, "8 M": false, "6 F": false, "2 D": false} {
		if b, err := ParseBlistersD714(text); err != nil || b.Within(few) != within {
			t.Errorf("%q within 8 F: %v, want %v (%v)", text, b.Within(few), within, err)
		}
	}
	for _, text := range []string{"", "8", "F", "7 F", "10 F", "8 X", "0 F", "8 F M"} {
		if b, err := ParseBlistersD714(text); !errors.Is(err, ErrOutOfScale) {
			t.Errorf("%q: %v, %v; want ErrOutOfScale", text, b, err)
		}
	}
}

func TestPencilHardness(t *testing.T) {
	trials := func(whole, broke string) []PencilTrial { return []PencilTrial{{broke, true}, {whole, false}} }
	for name, c := range map[string]struct {
		method string
		trials []PencilTrial
		grade  string
		found  bool
	}{
		"neighbours":      {"D3363", trials("F", "H"), "F", true},
		"a grade between": {"D3363", trials("F", "2H"), "F", false},
		"none broke":      {"ISO15184", []PencilTrial{{"H", false}, {"F", false}}, "H", false},
		"hardest of all":  {"ISO15184", []PencilTrial{{"9H", false}}, "9H", true},
		"harder by luck":  {"ISO15184", []PencilTrial{{"HB", false}, {"F", true}, {"H", false}}, "HB", true},
	} {
		if grade, found, err := PencilHardness(c.method, c.trials); err != nil || grade != c.grade || found != c.found {
			t.Errorf("%s: %s, found %v; want %s, %v (%v)", name, grade, found, c.grade, c.found, err)
		}
	}
	for name, trials := range map[string][]PencilTrial{"nothing": nil, "all broke": {{"B", true}}, "no such pencil": {{"10H", false}}, "both ways": {{"B", true}, {"B", false}}} {
		if _, _, err := PencilHardness("ISO15184", trials); !errors.Is(err, ErrOutOfScale) {
			t.Errorf("%s: %v, want ErrOutOfScale", name, err)
		}
	}
	if _, _, err := PencilHardness("D3363", []PencilTrial{{"9H", false}}); !errors.Is(err, ErrOutOfScale) {
		t.Errorf("9H by D3363: %v, want ErrOutOfScale", err)
	}
	for _, c := range []struct {
		got  string
		want bool
	}{{"F", true}, {"H", true}, {"2H", true}, {"HB", false}, {"6B", false}} {
		if ok, err := PencilMeets("D3363", c.got, "F"); err != nil || ok != c.want {
			t.Errorf("%s against F: %v, want %v (%v)", c.got, ok, c.want, err)
		}
	}
	if n, m := len(PencilGrades("ISO15184")), len(PencilGrades("D3363")); n != 20 || m != 14 || PencilGrades("other") != nil {
		t.Errorf("%d and %d grades, want 20 and 14", n, m)
	}
	if _, err := PencilMeets("other", "F", "F"); !errors.Is(err, ErrOutOfScale) {
		t.Errorf("unknown method: %v", err)
	}
}

func TestCutPatternFollowsTheMethod(t *testing.T) {
	for _, c := range []struct {
		method string
		film   float64
		want   CutPattern
	}{
		{"D3359B", 50, CutPattern{11, 1}}, {"D3359B", 55, CutPattern{6, 2}}, {"D3359B", 125, CutPattern{6, 2}},
		{"ISO2409", 55, CutPattern{6, 1}}, {"ISO2409", 60, CutPattern{6, 1}}, {"ISO2409", 61, CutPattern{6, 2}}, {"ISO2409", 120, CutPattern{6, 2}}, {"ISO2409", 250, CutPattern{6, 3}},
	} {
		if got, err := CutPatternFor(c.method, c.film); err != nil || got != c.want {
			t.Errorf("%s on %v µm: %v, want %v (%v)", c.method, c.film, got, c.want, err)
		}
	}
	for method, film := range map[string]float64{"D3359B": 126, "ISO2409": 251, "D3359A": 60, "": 60} {
		if _, err := CutPatternFor(method, film); !errors.Is(err, ErrOutOfScale) {
			t.Errorf("%q on %v µm: %v, want ErrOutOfScale", method, film, err)
		}
	}
	for i, class := range XCutClasses {
		if AdhesionClasses("D3359A")[i] != class.Code || class.Text == "" {
			t.Errorf("X-cut class %d is %+v", i, class)
		}
	}
}

func TestBathChemistry(t *testing.T) {
	for name, c := range map[string]struct {
		of   func() (float64, error)
		want float64
	}{
		"factor, by hand":            {func() (float64, error) { return TitrationPercent(8.4, 0.25) }, 2.1},
		"g/L, by hand":               {func() (float64, error) { return TitrationGramsPerLitre(12.5, 0.5, 40, 50) }, 5},
		"top-up, by hand":            {func() (float64, error) { return TopUp(2000, 3, 2.4) }, 12},
		"bath over its target":       {func() (float64, error) { return TopUp(2000, 3, 3.2) }, 0},
		"etch, by hand":              {func() (float64, error) { return EtchLoss(25.1234, 25.1009, 0.015) }, 1.5},
		"gloss geometry over 70":     {func() (float64, error) { g, err := GlossGeometry(70.1); return float64(g), err }, 20},
		"gloss geometry at 70":       {func() (float64, error) { g, err := GlossGeometry(70); return float64(g), err }, 60},
		"gloss geometry at 10":       {func() (float64, error) { g, err := GlossGeometry(10); return float64(g), err }, 60},
		"gloss geometry under 10":    {func() (float64, error) { g, err := GlossGeometry(9.9); return float64(g), err }, 85},
		"throat of equal legs":       {func() (float64, error) { return ThroatFromLegs(5, 5) }, 3.5355339059327378},
		"throat of 3 and 4, by hand": {func() (float64, error) { return ThroatFromLegs(3, 4) }, 2.4},
	} {
		if got, err := c.of(); err != nil || math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%s: %v, want %v (%v)", name, got, c.want, err)
		}
	}
	for name, of := range map[string]func(v float64) (float64, error){
		"factor": func(v float64) (float64, error) { return TitrationPercent(8, v) },
		"g/L":    func(v float64) (float64, error) { return TitrationGramsPerLitre(8, 0.5, 40, v) },
		"top-up": func(v float64) (float64, error) { return TopUp(v, 3, 2) },
		"etch":   func(v float64) (float64, error) { return EtchLoss(25, 24, v) },
		"throat": func(v float64) (float64, error) { return ThroatFromLegs(5, v) },
		"gloss":  func(v float64) (float64, error) { g, err := GlossGeometry(v); return float64(g), err },
		"caustic": func(v float64) (float64, error) {
			c, err := TitrateCaustic(1, 2, 0.5, v)
			return c.SodiumHydroxide, err
		},
		"caustic, M<P": func(v float64) (float64, error) {
			c, err := TitrateCaustic(2, v, 0.5, 50)
			return c.SodiumHydroxide, err
		},
	} {
		for _, bad := range []float64{-1, nan(), math.Inf(1), math.Inf(-1)} {
			if got, err := of(bad); !errors.Is(err, ErrOutOfScale) || got != 0 {
				t.Errorf("%s with %v: %v, %v; want ErrOutOfScale", name, bad, got, err)
			}
		}
	}
}

// The shop's formulas for 50 mL and 0.5 N: NaOH % = (2P − M)·0.04, Na₂CO₃ % = (M − P)·0.106 (seen, arithmetic checked).
func TestCausticByTwoEndPoints(t *testing.T) {
	for _, c := range [][2]float64{{20, 24}, {15, 15}, {12, 24}, {0, 0}} {
		p, m := c[0], c[1]
		got, err := TitrateCaustic(p, m, 0.5, 50)
		if err != nil || math.Abs(got.SodiumHydroxide/10-(2*p-m)*0.04) > 1e-12 || math.Abs(got.SodiumCarbonate/10-(m-p)*0.106) > 1e-12 || got.Spent || got.Bicarbonate != 0 {
			t.Errorf("P %v, M %v: %+v (%v)", p, m, got, err)
		}
	}
	got, err := TitrateCaustic(8, 20, 0.5, 50)
	// By hand: carbonate 2·8·0.53, bicarbonate 4·0.84 g/L.
	if err != nil || !got.Spent || got.SodiumHydroxide != 0 || math.Abs(got.SodiumCarbonate-8.48) > 1e-12 || math.Abs(got.Bicarbonate-3.36) > 1e-12 {
		t.Errorf("2P under M: %+v (%v)", got, err)
	}
}

func TestDewPointMarginAgreesWithThePublishedCases(t *testing.T) {
	for _, row := range published(t, "dew-point/margin_cases.csv") {
		dew, margin, err := DewPointMargin(number(t, row["air_C"]), number(t, row["rh_pct"]), number(t, row["surface_C"]))
		if err != nil || math.Abs(dew-number(t, row["dew_point_C(wmo)"])) > 5.1e-5 || math.Abs(margin-number(t, row["surface_minus_dew"])) > 5.1e-5 {
			t.Errorf("%v: dew point %v, margin %v (%v)", row, dew, margin, err)
		}
		if ok := margin >= 3; ok != (row["ok_at_3K"] == "1") {
			t.Errorf("%v: margin %v K, at least 3 K: %v", row, margin, ok)
		}
	}
	for _, bad := range []float64{nan(), math.Inf(1), -46, 301} {
		if _, _, err := DewPointMargin(20, 60, bad); !errors.Is(err, ErrNotNumber) {
			t.Errorf("surface at %v °C: %v, want ErrNotNumber", bad, err)
		}
	}
}
