package gauge

import (
	"errors"
	"math"
	"testing"

	"coatbook/quality/process"
)

// linearity readings of the AIAG manual: five references, twelve readings each (from memory; they reproduce the printed
// averages, slope, intercept and t values below).
func linearityStudy() []ShimReading {
	var readings []ShimReading
	for i, values := range [][]float64{
		{2.7, 2.5, 2.4, 2.5, 2.7, 2.3, 2.5, 2.5, 2.4, 2.4, 2.6, 2.4},
		{5.1, 3.9, 4.2, 5.0, 3.8, 3.9, 3.9, 3.9, 3.9, 4.0, 4.1, 3.8},
		{5.8, 5.7, 5.9, 5.9, 6.0, 6.1, 6.0, 6.1, 6.4, 6.3, 6.0, 6.1},
		{7.6, 7.7, 7.8, 7.7, 7.8, 7.8, 7.8, 7.7, 7.8, 7.5, 7.6, 7.7},
		{9.1, 9.3, 9.5, 9.3, 9.4, 9.5, 9.5, 9.5, 9.6, 9.2, 9.3, 9.4},
	} {
		for _, v := range values {
			readings = append(readings, ShimReading{Reference: float64(2 * (i + 1)), Value: v})
		}
	}
	return readings
}

func TestLinearityOfTheManual(t *testing.T) {
	r, err := Linearity(linearityStudy(), 0.95)
	if err != nil {
		t.Fatal(err)
	}
	for i, bias := range []float64{0.491667, 0.125, 0.025, -0.291667, -0.616667} {
		near(t, "average bias", r.Shims[i].Bias, bias, 2e-6)
	}
	near(t, "slope", r.Slope, -0.131667, 3e-6)
	near(t, "intercept", r.Intercept, 0.736667, 1e-6)
	near(t, "slope t", *r.SlopeT, -12.043, 5e-5)
	near(t, "intercept t", *r.InterceptT, 10.158, 5e-5)
	near(t, "R²", *r.RSquared, 0.714, 1e-3)
	near(t, "residual s", r.ResidualSD, 0.23954, 1e-4)
	bias, band := r.At(6)
	near(t, "bias in the middle", bias, r.Bias, 1e-12)
	near(t, "band in the middle", band.High-band.Low, 2*2.0017174841*r.ResidualSD/math.Sqrt(60), 1e-8) // t 0.975, 58 df
	zero, at0 := r.At(0)
	near(t, "bias at 0", zero, r.Intercept, 1e-12)
	near(t, "band at 0", at0.Low, r.InterceptInterval.Low, 1e-12)
}

func TestExactLineLeavesNoTest(t *testing.T) {
	r, err := Linearity([]ShimReading{{50, 50.1}, {100, 100.2}, {150, 150.3}}, 0.9)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "slope", r.Slope, 0.002, 1e-12)
	if r.ResidualSD != 0 || r.SlopeT != nil || r.InterceptP != nil || *r.RSquared != 1 {
		t.Errorf("got %+v", r)
	}
	r, err = Linearity([]ShimReading{{50, 50.5}, {100, 100.5}, {150, 150.5}}, 0.9)
	if err != nil || r.RSquared != nil || r.Slope != 0 {
		t.Errorf("constant bias: %+v, %v", r, err)
	}
}

func TestBiasOnAShim(t *testing.T) {
	r, err := Bias(50, []float64{50.1, 50.3, 49.9, 50.5}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "bias", r.Bias, 0.2, 1e-12)                          // by hand
	near(t, "s", *r.SD, math.Sqrt(0.2/3), 1e-12)                 // by hand: squares 0.01, 0.01, 0.09, 0.09
	near(t, "t", *r.T, 0.2/math.Sqrt(0.2/12), 1e-12)             // by hand
	near(t, "low", r.Interval.Low, 0.2-3.1824463053**r.SE, 1e-9) // t 0.975, 3 df
	one, err := Bias(50, []float64{50.2}, 0.95)
	if err != nil || one.SD != nil || one.Interval != nil || math.Abs(one.Bias-0.2) > 1e-15 {
		t.Errorf("one reading: %+v, %v", one, err)
	}
	still, err := Bias(50, []float64{51, 51}, 0.95)
	if err != nil || still.T != nil || *still.SD != 0 {
		t.Errorf("equal readings: %+v, %v", still, err)
	}
}

func TestBadShimsAreErrors(t *testing.T) {
	some := []ShimReading{{50, 50}, {50, 51}, {100, 101}}
	for _, c := range []struct {
		name       string
		readings   []ShimReading
		confidence float64
		want       error
	}{
		{"two readings", some[1:], 0.95, process.ErrTooFewReadings},
		{"one shim", []ShimReading{{50, 50}, {50, 51}, {50, 52}}, 0.95, ErrTooFewParts},
		{"NaN", []ShimReading{{50, 50}, {50, 51}, {100, math.NaN()}}, 0.95, process.ErrNotFinite},
		{"confidence", some, 1, process.ErrBadConfidence},
	} {
		if _, err := Linearity(c.readings, c.confidence); !errors.Is(err, c.want) {
			t.Errorf("%s: got error %v, want %v", c.name, err, c.want)
		}
	}
	if _, err := Bias(50, nil, 0.95); !errors.Is(err, process.ErrTooFewReadings) {
		t.Errorf("no reading: %v", err)
	}
	if _, err := Bias(math.NaN(), []float64{1}, 0.95); !errors.Is(err, process.ErrNotFinite) {
		t.Errorf("reference NaN: %v", err)
	}
	if _, err := Bias(50, []float64{math.Inf(1), 50}, 0.95); !errors.Is(err, process.ErrNotFinite) {
		t.Errorf("infinite reading: %v", err)
	}
}
