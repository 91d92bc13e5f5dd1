package gauge

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"coatbook/quality/process"
	"coatbook/quality/variance"
)

// crossing makes readings of every appraiser on every part.
func crossing(parts, appraisers, trials int, value func(p, a, k int) float64) []Reading {
	var readings []Reading
	for p := range parts {
		for a := range appraisers {
			for k := range trials {
				readings = append(readings, Reading{Part: string(rune('a' + p)), Appraiser: string(rune('A' + a)), Value: value(p, a, k)})
			}
		}
	}
	return readings
}

func TestPoolingFollowsTheStatedP(t *testing.T) {
	readings := readingsOf(t, "film_8x2x2") // interaction p 0.306
	for level, pools := range map[float64]bool{0: true, 0.25: true, 0.35: false} {
		s, err := ANOVA(readings, Options{Interaction: PoolAboveP, PoolAbove: level})
		if err != nil {
			t.Fatal(err)
		}
		if s.Pooled != pools || len(s.Notes) != 1 {
			t.Errorf("level %g: pooled %v, want %v; notes %q", level, s.Pooled, pools, s.Notes)
		}
	}
}

func TestOrderUnitAndShiftLeaveThePercentages(t *testing.T) {
	readings := readingsOf(t, "msa_10x3x3")
	moved := make([]Reading, len(readings))
	for to, from := range rand.New(rand.NewPCG(1, 1)).Perm(len(readings)) {
		moved[to] = readings[from]
		moved[to].Value = (readings[from].Value + 1e9) * 25.4
	}
	for _, study := range []func([]Reading, Options) (Study, error){AverageAndRange, ANOVA} {
		a, err := study(readings, Options{Tolerance: 6})
		if err != nil {
			t.Fatal(err)
		}
		b, err := study(moved, Options{Tolerance: 6 * 25.4})
		if err != nil {
			t.Fatal(err)
		}
		// 1e9 in front leaves six decimals of float64 to the readings.
		near(t, "study", b.Gauge.PercentStudy, a.Gauge.PercentStudy, 2e-6)
		near(t, "tolerance", *b.Gauge.PercentTolerance, *a.Gauge.PercentTolerance, 2e-6)
	}
}

func TestContributionsAddUp(t *testing.T) {
	for _, interaction := range []Interaction{KeepInteraction, PoolInteraction} {
		s, err := ANOVA(readingsOf(t, "film_8x2x2"), Options{Interaction: interaction})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "contributions", s.Repeatability.PercentContribution+s.Reproducibility.PercentContribution+
			s.Interaction.PercentContribution+s.Part.PercentContribution, 100, 1e-12)
		near(t, "gauge", square(s.Gauge.SD), square(s.Repeatability.SD)+square(s.Reproducibility.SD)+square(s.Interaction.SD), 1e-12)
		if s.Part.PercentTolerance != nil {
			t.Error("a percentage of a tolerance that was not given")
		}
	}
}

func TestNestedStudyIsTheNestedAnalysis(t *testing.T) {
	readings := readingsOf(t, "film_8x2x2")
	s, err := Nested(readings, Options{})
	if err != nil {
		t.Fatal(err)
	}
	// By hand from the crossed sums of squares: parts in appraisers take part and interaction together.
	inside := 28.145 / 16
	part := (947.5871875 + 16.1696875) / 14
	near(t, "repeatability", s.Repeatability.SD, math.Sqrt(inside), 1e-9)
	near(t, "part", s.Part.SD, math.Sqrt((part-inside)/2), 1e-9)
	if s.Reproducibility.SD != 0 || s.Interaction != nil || s.Parts != 16 || s.Trials != 2 || len(s.Notes) == 0 {
		t.Errorf("got %+v", s)
	}
	if _, err := Nested(readings[:len(readings)-3], Options{}); err != nil {
		t.Errorf("unbalanced nested study: %v", err)
	}
}

func TestOneAppraiserHasNoReproducibility(t *testing.T) {
	readings := crossing(4, 1, 3, func(p, _, k int) float64 { return 60 + 5*float64(p) + []float64{-1, 0, 1}[k] })
	for _, study := range []func([]Reading, Options) (Study, error){AverageAndRange, ANOVA, Nested} {
		s, err := study(readings, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if s.Reproducibility != nil || s.Interaction != nil || s.Gauge != s.Repeatability || len(s.Notes) == 0 {
			t.Errorf("%s: got %+v", s.Method, s)
		}
	}
	s, err := ANOVA(readings, Options{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "repeatability", s.Repeatability.SD, 1, 1e-12)                  // by hand: -1, 0, 1 on every part
	near(t, "part", square(s.Part.SD), (3*25*5.0/3-1)/3, 1e-12)             // by hand: MS 3·s²(60,65,70,75), s² = 125/3
	near(t, "raw", *s.DistinctCategoriesRaw, 1.41*s.Part.SD/1, 1e-12)       // by hand
	if *s.DistinctCategories != int(math.Floor(*s.DistinctCategoriesRaw)) { // 9.08
		t.Errorf("%d categories", *s.DistinctCategories)
	}
}

func TestOneTrialPoolsTheInteraction(t *testing.T) {
	readings := crossing(3, 2, 1, func(p, a, _ int) float64 { return []float64{10, 20, 30, 11, 19, 33}[p+3*a] })
	s, err := ANOVA(readings, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if !s.Pooled || s.InteractionP != nil {
		t.Errorf("got %+v", s)
	}
	if _, err := AverageAndRange(readings, Options{}); !errors.Is(err, ErrOneTrial) {
		t.Errorf("average and range of one trial: %v", err)
	}
}

func TestGaugeWithoutVariationHasNoCategories(t *testing.T) {
	s, err := ANOVA(crossing(3, 2, 2, func(p, _, _ int) float64 { return float64(10 * p) }), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if s.DistinctCategories != nil || s.DistinctCategoriesRaw != nil || s.InteractionP != nil || s.Gauge.SD != 0 || len(s.Notes) == 0 {
		t.Errorf("got %+v", s)
	}
}

func TestWideRangeIsPointedOut(t *testing.T) {
	readings := crossing(5, 2, 2, func(p, a, k int) float64 {
		if p == 3 && a == 1 {
			return 100 + 9*float64(k)
		}
		return 100 + float64(p) + float64(k)
	})
	s, err := AverageAndRange(readings, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Range.RangesAbove) != 1 || s.Range.RangesAbove[0] != (Cell{Appraiser: "B", Part: "d", Range: 9}) {
		t.Errorf("got %+v", s.Range.RangesAbove)
	}
}

func TestBadStudiesAreErrors(t *testing.T) {
	good := crossing(3, 2, 2, func(p, a, k int) float64 { return float64(p*7 + a + k*k) })
	noNumber := append([]Reading{}, good...)
	noNumber[4].Value = math.NaN()
	for _, c := range []struct {
		name     string
		readings []Reading
		opt      Options
		want     error
	}{
		{"none", nil, Options{}, process.ErrTooFewReadings},
		{"missing cell", good[1:], Options{}, ErrUnbalanced},
		{"one part", good[:4], Options{}, ErrTooFewParts},
		{"NaN", noNumber, Options{}, process.ErrNotFinite},
		{"all equal", crossing(3, 2, 2, func(int, int, int) float64 { return 5 }), Options{}, process.ErrNoSpread},
		{"negative tolerance", good, Options{Tolerance: -1}, ErrBadTolerance},
		{"unknown interaction", good, Options{Interaction: "perhaps"}, ErrBadOption},
		{"pooling level", good, Options{Interaction: PoolAboveP, PoolAbove: 2}, ErrBadOption},
	} {
		for _, study := range []func([]Reading, Options) (Study, error){AverageAndRange, ANOVA} {
			if _, err := study(c.readings, c.opt); !errors.Is(err, c.want) {
				t.Errorf("%s: got error %v, want %v", c.name, err, c.want)
			}
		}
	}
	once := crossing(3, 2, 1, func(p, a, _ int) float64 { return float64(p + 3*a) })
	if _, err := Nested(once, Options{}); !errors.Is(err, ErrOneTrial) {
		t.Errorf("nested, one trial: %v", err)
	}
	onePart := crossing(1, 3, 2, func(_, a, k int) float64 { return float64(a + k) })
	if _, err := Nested(onePart, Options{}); !errors.Is(err, variance.ErrConfounded) {
		t.Errorf("nested, one part an appraiser: %v", err)
	}
}

func TestLevelsNeedRepeatedDays(t *testing.T) {
	for _, c := range []struct {
		days []CheckDay
		want error
	}{
		{nil, process.ErrTooFewReadings},
		{[]CheckDay{{"S", "1", 6, 50, 1}, {"S", "2", 6, 50, 1}}, process.ErrTooFewReadings},
		{[]CheckDay{{"S", "1", 1, 50, 1}}, process.ErrBadCount},
		{[]CheckDay{{"S", "1", 6, 50, math.NaN()}}, process.ErrNotFinite},
		{[]CheckDay{{"S", "1", 6, math.Inf(1), 1}}, process.ErrNotFinite},
	} {
		if _, err := Levels(c.days); !errors.Is(err, c.want) {
			t.Errorf("%v: got error %v, want %v", c.days, err, c.want)
		}
	}
	r, err := Levels([]CheckDay{{"S", "1", 6, 50, 1}, {"S", "1", 5, 52, 1}})
	if err != nil || r.RunDF != 0 || r.DayAlone != nil || r.RunAlone != nil || len(r.Notes) != 1 {
		t.Errorf("one run: %+v, %v", r, err)
	}
	near(t, "days", r.Day, math.Sqrt2, 1e-12) // by hand
}

func FuzzStudies(f *testing.F) {
	f.Add([]byte{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12}, uint8(2), uint8(2))
	f.Add([]byte{5, 5, 5, 5, 5, 5, 5, 6}, uint8(1), uint8(2))
	f.Fuzz(func(t *testing.T, data []byte, appraisers, trials uint8) {
		a, k := int(appraisers%4)+1, int(trials%4)+1
		var readings []Reading
		for i, b := range data {
			readings = append(readings, Reading{Part: string(rune('a' + i/(a*k)%26)), Appraiser: string(rune('A' + i/k%a)), Value: float64(b) / 10})
		}
		for _, study := range []func([]Reading, Options) (Study, error){AverageAndRange, ANOVA, Nested} {
			s, err := study(readings, Options{Tolerance: 3})
			if err != nil {
				continue
			}
			for _, v := range []*Variation{&s.Repeatability, s.Reproducibility, s.Interaction, &s.Gauge, &s.Part, &s.Total} {
				if v != nil && !(v.PercentStudy >= 0 && v.PercentStudy <= 100+1e-9 && v.SD >= 0 && *v.PercentTolerance >= 0) {
					t.Fatalf("%s: %+v", s.Method, s)
				}
			}
		}
	})
}
