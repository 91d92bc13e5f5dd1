package process

import (
	"math"
	"slices"
	"testing"
)

func TestNormalityAgreesWithPublishedValues(t *testing.T) {
	sets := map[string][]float64{
		"zarr13": column(t, "control-charts/zarr13.csv", "y"),
		"Lew":    column(t, "strd-univariate/Lew.csv", "y"), "Mavro": column(t, "strd-univariate/Mavro.csv", "y"),
		"nonnormal_film_lognormal": column(t, "capability/nonnormal_film_lognormal.csv", "x"),
	}
	for _, row := range published(t, "normality/sets.csv") {
		sets[row["set"]] = append(sets[row["set"]], num(t, row, "x"))
	}
	for _, row := range published(t, "normality/expected.csv") {
		values := sets[row["set"]]
		original := slices.Clone(values)
		test, err := AndersonDarling(values)
		if err != nil {
			t.Fatal(err)
		}
		near(t, row["set"]+" A2", test.Statistic, num(t, row, "A2"), 1e-8)
		near(t, row["set"]+" A2*", test.Adjusted, num(t, row, "A2_star"), 1e-8)
		// p is 1e-15 for one set: compared relative to itself, and only to the digits that A² leaves it.
		if p := num(t, row, "p_dagostino_stephens"); math.Abs(test.P-p) > 1e-6*p {
			t.Errorf("%s p: got %.9g, want %.9g", row["set"], test.P, p)
		}
		shapiro, err := ShapiroWilk(values)
		if err != nil {
			t.Fatal(err)
		}
		if w := num(t, row, "W_shapiro"); math.Abs(shapiro.Statistic-w) > 5e-6 {
			t.Errorf("%s: W %.9g, want %.9g", row["set"], shapiro.Statistic, w)
		}
		if p := num(t, row, "p_shapiro_royston"); math.Abs(shapiro.P-p) > max(5e-6, 1e-4*p) || p < 1e-6 && math.Abs(shapiro.P-p) > 1e-3*p {
			t.Errorf("%s: p of W %.9g, want %.9g", row["set"], shapiro.P, p)
		}
		if test.N != integer(t, row, "n") || test.Few != (test.N < 8) {
			t.Errorf("%s: n %d, few %v", row["set"], test.N, test.Few)
		}
		if !slices.Equal(values, original) {
			t.Errorf("%s: the readings were changed", row["set"])
		}
	}
}

func TestNormalityOfExtremeReadings(t *testing.T) {
	values := make([]float64, 3000)
	values[0] = 1e9 // 55 standard deviations out: Φ there is below the smallest float64
	for i := 1; i < len(values); i++ {
		values[i] = float64(i % 7)
	}
	test, err := AndersonDarling(values)
	if err != nil {
		t.Fatal(err)
	}
	if math.IsInf(test.Statistic, 0) || math.IsNaN(test.Statistic) || test.P != 0 {
		t.Errorf("got A² %g, p %g; want finite, 0", test.Statistic, test.P)
	}
}

func TestLogPhiJoinsItsPieces(t *testing.T) {
	for _, z := range []float64{-30, 5} {
		below, above := logPhi(math.Nextafter(z, z-1)), logPhi(math.Nextafter(z, z+1))
		if math.Abs(below-above) > 1e-5*math.Abs(above) && math.Abs(below-above) > 1e-12 {
			t.Errorf("ln Φ jumps at %g from %.12g to %.12g", z, below, above)
		}
	}
	near(t, "ln Φ(0)", logPhi(0), -math.Ln2, 1e-15)
}

func TestNormalityRefusesWhatItCannotJudge(t *testing.T) {
	_, err := AndersonDarling([]float64{1, 2})
	fails(t, "two", err, ErrTooFewReadings)
	_, err = AndersonDarling([]float64{3, 3, 3, 3})
	fails(t, "equal", err, ErrNoSpread)
	_, err = AndersonDarling([]float64{3, math.NaN(), 3, 3})
	fails(t, "NaN", err, ErrNotFinite)
}

// The weights approximate those of Shapiro and Wilk 1965, Biometrika 52 (table from memory), and have length 1 about.
func TestShapiroWeightsApproximateTheirTable(t *testing.T) {
	for n, want := range map[int][]float64{
		3: {0.7071}, 4: {0.6872, 0.1677}, 5: {0.6646, 0.2413}, 10: {0.5739, 0.3291, 0.2141, 0.1224, 0.0399},
	} {
		for i, a := range shapiroWeights(n) {
			if math.Abs(a-want[i]) > 0.003 {
				t.Errorf("n %d: weights %.4f, table %.4f", n, shapiroWeights(n), want)
				break
			}
		}
	}
}

func TestShapiroWilkRefusesWhatItCannotJudge(t *testing.T) {
	_, err := ShapiroWilk([]float64{1, 2})
	fails(t, "two", err, ErrTooFewReadings)
	_, err = ShapiroWilk([]float64{3, 3, 3, 3})
	fails(t, "equal", err, ErrNoSpread)
	_, err = ShapiroWilk([]float64{3, math.Inf(1), 3, 3})
	fails(t, "infinite", err, ErrNotFinite)
	_, err = ShapiroWilk(make([]float64, mostShapiro+1))
	fails(t, "many", err, ErrTooManyReadings)
	// W knows neither unit nor order.
	values := normalValues(40, 80, 5)
	a, err := ShapiroWilk(values)
	if err != nil {
		t.Fatal(err)
	}
	for i := range values {
		values[i] = values[i]/25.4 - 7
	}
	slices.Reverse(values)
	b, err := ShapiroWilk(values)
	if err != nil || math.Abs(a.Statistic-b.Statistic) > 1e-12 || math.Abs(a.P-b.P) > 1e-9 {
		t.Errorf("in mils: %+v, %v; want %+v", b, err, a)
	}
}
