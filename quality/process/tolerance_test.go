package process

import (
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mathext"
)

func TestToleranceFactorsAgreeWithPublishedValues(t *testing.T) {
	for _, row := range published(t, "tolerance/k_factors.csv") {
		n, coverage, confidence := integer(t, row, "n"), num(t, row, "coverage"), num(t, row, "confidence")
		for name, factor := range map[string]func(int, float64, float64) (float64, error){
			"k2_exact": TwoSidedFactor, "k2_howe": HoweFactor, "k1_exact": OneSidedFactor,
		} {
			k, err := factor(n, coverage, confidence)
			if err != nil {
				t.Fatal(err)
			}
			near(t, name+" for n "+row["n"], k, num(t, row, name), 6e-7) // printed to 7 digits
		}
	}
}

func TestToleranceExamplesAgreeWithPublishedValues(t *testing.T) {
	want := map[string]float64{}
	for _, row := range published(t, "tolerance/examples.csv") {
		want[row["item"]] = num(t, row, "expected")
	}
	howe, err := HoweFactor(43, 0.90, 0.99)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "Howe", howe, want["NIST 7.2.6.3: n=43 p=0.90 conf=0.99 k2 (Howe)"], 1e-7)
	near(t, "lower by Howe", 97.07-howe*0.0268, want["interval for mean 97.07 sd 0.0268, lower (Howe)"], 1e-9)
	s := Summary{N: 43, Mean: 97.07, M2: 42 * 0.0268 * 0.0268, Min: 97, Max: 97.14}
	two, err := ToleranceInterval(s, 0.90, 0.99)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "exact two-sided", (two.High-97.07)/0.0268, want["same, k2 exact"], 1e-7)
	one, err := ToleranceBounds(s, 0.90, 0.99)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "exact one-sided", (97.07-one.Low)/0.0268, want["same, k1 exact (noncentral t)"], 1e-7)
	near(t, "sides alike", one.High-97.07, 97.07-one.Low, 1e-9)

	size := func(n int, err error) float64 {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return float64(n)
	}
	for item, got := range map[string]float64{
		"n for mean within E=1.5, sigma=6, 95% (z)":                                 size(SizeForMean(1.5, 6, 0.95)),
		"n for mean within E=1.5, sigma=6, 95% (t, smallest n with t*s/sqrt(n)<=E)": size(SizeForMeanEstimated(1.5, 6, 0.95)),
		"n to detect shift delta=1 sigma, alpha=.05 two-sided, beta=.10 (z)":        size(SizeForShift(1, 0.95, 0.90)),
		"n for proportion p=.05 within .02, 95% (normal)":                           size(SizeForProportion(0.05, 0.02, 0.95)),
		"zero-failure n, reliability .9 confidence .9":                              size(DistributionFreeSize(0.9, 0.9, false)),
	} {
		expected, known := want[item]
		if !known || got != expected {
			t.Errorf("%s: got %g, want %g (in the file: %v)", item, got, expected, known)
		}
	}
	checked := 0
	for item, expected := range want {
		sides, figures, found := strings.Cut(item, "distribution-free ")
		if !found {
			continue
		}
		figures = figures[strings.Index(figures, "coverage "):]
		words := strings.Fields(figures) // coverage P confidence G
		row := map[string]string{"p": words[1], "g": words[3]}
		n, err := DistributionFreeSize(num(t, row, "p"), num(t, row, "g"), strings.HasPrefix(sides, "two"))
		if err != nil || float64(n) != expected {
			t.Errorf("%s: got %d (%v), want %g", item, n, err, expected)
		}
		checked++
	}
	if checked != 10 {
		t.Errorf("%d distribution-free sizes checked, want 10", checked)
	}
}

// The defining equations are solved to the last digits, for few and for many readings.
func TestToleranceFactorsSolveTheirEquations(t *testing.T) {
	for _, c := range []struct {
		n                    int
		coverage, confidence float64
	}{{2, 0.9, 0.95}, {3, 0.5, 0.5}, {7, 0.99, 0.99}, {100, 0.95, 0.999}, {5000, 0.9973, 0.95}, {2, 0.001, 0.01}} {
		k, err := TwoSidedFactor(c.n, c.coverage, c.confidence)
		if err != nil {
			t.Fatal(err)
		}
		df, root := float64(c.n-1), math.Sqrt(float64(c.n))
		content := panels(func(z float64) float64 { // twice as many panels as the function takes
			r := reach(z/root, c.coverage)
			return mathext.GammaIncRegComp(df/2, df/2*(r/k)*(r/k)) * math.Exp(-z*z/2) * math.Sqrt(2/math.Pi)
		}, 0, 11, 30)
		near(t, "confidence of the two-sided factor", content, c.confidence, 1e-11)
		one, err := OneSidedFactor(c.n, c.coverage, c.confidence)
		if err != nil {
			t.Fatal(err)
		}
		// The factor is that of OneSidedLower turned round: an index z/3 is shown with just this confidence.
		bound, err := OneSidedLower(one/3, float64(c.n), df, c.confidence)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "coverage of the one-sided factor", 1-upperTail(3*bound), c.coverage, 1e-10)
	}
}

func TestToleranceRefusesBadInput(t *testing.T) {
	for name, c := range map[string]struct {
		n                    int
		coverage, confidence float64
		want                 error
	}{
		"one reading": {1, 0.9, 0.9, ErrTooFewReadings}, "coverage 1": {5, 1, 0.9, ErrBadCoverage},
		"percent": {5, 95, 0.9, ErrBadCoverage}, "confidence": {5, 0.9, 0, ErrBadConfidence}, "NaN": {5, math.NaN(), 0.9, ErrBadCoverage},
	} {
		_, err := TwoSidedFactor(c.n, c.coverage, c.confidence)
		fails(t, name, err, c.want)
		_, err = OneSidedFactor(c.n, c.coverage, c.confidence)
		fails(t, name, err, c.want)
		_, err = HoweFactor(c.n, c.coverage, c.confidence)
		fails(t, name, err, c.want)
	}
	_, err := ToleranceInterval(summarize(t, 3, 3, 3), 0.9, 0.9)
	fails(t, "equal readings", err, ErrNoSpread)
	_, err = DistributionFreeSize(0.95, 1, true)
	fails(t, "certainty", err, ErrBadConfidence)
	_, err = DistributionFreeSize(1-1.5e-9, 0.95, true)
	fails(t, "everything", err, ErrTooManyReadings)
	_, err = DistributionFreeConfidence(1, 0.9, true)
	fails(t, "two ends of one", err, ErrTooFewReadings)
	_, err = SizeForMean(0, 1, 0.9)
	fails(t, "no margin", err, ErrNotFinite)
	_, err = SizeForShift(1, 0.95, 1)
	fails(t, "certain power", err, ErrBadConfidence)
	_, err = SizeForProportion(0, 0.1, 0.95)
	fails(t, "no share", err, ErrBadCoverage)
}

// Whatever is asked, the factor is a number: at the ends of what may be asked too.
func TestToleranceFactorsAreFinite(t *testing.T) {
	for _, n := range []int{2, 3, 50, 1_000_000} {
		for _, p := range []float64{2e-9, 1e-6, 0.5, 0.999999, 1 - 2e-9} {
			for _, g := range []float64{2e-9, 1e-6, 0.5, 0.999999, 1 - 2e-9} {
				for name, factor := range map[string]func(int, float64, float64) (float64, error){
					"two-sided": TwoSidedFactor, "Howe": HoweFactor, "one-sided": OneSidedFactor,
				} {
					k, err := factor(n, p, g)
					if err != nil || math.IsNaN(k) || math.IsInf(k, 0) || name != "one-sided" && k < 0 {
						t.Errorf("%s for n %d, coverage %g, confidence %g: %g, %v", name, n, p, g, k, err)
					}
				}
			}
		}
	}
}
