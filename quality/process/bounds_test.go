package process

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

func TestIntervalsAgreeWithPublishedValues(t *testing.T) {
	for _, row := range published(t, "capability/cpk_ci.csv") {
		n, confidence := num(t, row, "n"), num(t, row, "conf")
		spec := Spec{Lower: optional(t, row, "lsl"), Upper: optional(t, row, "usl")}
		x, err := ComputeIndices(num(t, row, "mean"), num(t, row, "sd"), spec)
		if err != nil {
			t.Fatal(err)
		}
		id := row["id"] + " "
		if x.P != nil {
			interval, err := CpInterval(*x.P, n-1, confidence)
			if err != nil {
				t.Fatal(err)
			}
			near(t, id+"Cp_lo", interval.Low, num(t, row, "Cp_lo"), 1e-8)
			near(t, id+"Cp_hi", interval.High, num(t, row, "Cp_hi"), 1e-8)
			lower, err := CpLower(*x.P, n-1, confidence)
			if err != nil {
				t.Fatal(err)
			}
			near(t, id+"Cp_lower_1s", lower, num(t, row, "Cp_lower_1s"), 1e-8)
		}
		interval, err := CpkInterval(*x.K, n, n-1, confidence)
		if err != nil {
			t.Fatal(err)
		}
		lower, err := CpkLower(*x.K, n, n-1, confidence)
		if err != nil {
			t.Fatal(err)
		}
		near(t, id+"Cpk_bissell_lo", interval.Low, num(t, row, "Cpk_bissell_lo"), 1e-8)
		near(t, id+"Cpk_bissell_hi", interval.High, num(t, row, "Cpk_bissell_hi"), 1e-8)
		near(t, id+"Cpk_bissell_lower_1s", lower, num(t, row, "Cpk_bissell_lower_1s"), 1e-8)
		for side, index := range map[string]*float64{"Cpl": x.L, "Cpu": x.U} {
			if index == nil {
				if row[side+"_exact_lower_1s"] != "" {
					t.Errorf("%s%s is not defined, the source has it", id, side)
				}
				continue
			}
			exact, err := OneSidedLower(*index, n, n-1, confidence)
			if err != nil {
				t.Fatal(err)
			}
			both, err := OneSidedInterval(*index, n, n-1, confidence)
			if err != nil {
				t.Fatal(err)
			}
			near(t, id+side+" exact lower", exact, num(t, row, side+"_exact_lower_1s"), 1e-8)
			near(t, id+side+" exact low", both.Low, num(t, row, side+"_exact_lo_2s"), 1e-8)
			near(t, id+side+" exact high", both.High, num(t, row, side+"_exact_hi_2s"), 1e-8)
		}
	}
}

// The requirement's own vectors: n 30, mean 97, s 1.6, limits 90 and 100; and what an observed 1.33 supports.
func TestLowerBoundStandsFarBelowAFewReadings(t *testing.T) {
	x, err := ComputeIndices(97, 1.6, Spec{Lower: new(90.0), Upper: new(100.0)})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "Cpk", *x.K, 0.625, 1e-12)
	interval, _ := CpkInterval(*x.K, 30, 29, 0.95)
	lower, _ := CpkLower(*x.K, 30, 29, 0.95)
	for _, c := range []struct {
		what      string
		got, want float64
	}{{"low", interval.Low, 0.425}, {"high", interval.High, 0.825}, {"lower", lower, 0.457}} {
		if math.Abs(c.got-c.want) > 0.0005 {
			t.Errorf("%s: got %.4f, want %.3f", c.what, c.got, c.want)
		}
	}
	for n, want := range map[float64]float64{25: 0.996, 50: 1.096, 100: 1.165} {
		if got, _ := CpkLower(1.33, n, n-1, 0.95); math.Abs(got-want) > 0.0005 {
			t.Errorf("1.33 from %g readings supports %.4f, want %.3f", n, got, want)
		}
	}
}

// Where the series of the library holds, the integral must agree with it; its density is its slope in delta.
func TestNoncentralTAgreesWithTheSeries(t *testing.T) {
	for _, df := range []float64{1, 2, 4, 9, 29, 199} {
		for _, delta := range []float64{-3, 0, 0.5, 4, 16, 30} {
			for _, t0 := range []float64{delta - 1, delta, delta + 2.5} {
				got, slope := noncentralT(t0, df, delta)
				if want := (distuv.NoncentralT{Nu: df, Mu: delta}).CDF(t0); math.Abs(got-want) > 1e-9 {
					t.Errorf("P(T <= %g), df %g, delta %g: got %.12f, want %.12f", t0, df, delta, got, want)
				}
				const h = 1e-4
				above, _ := noncentralT(t0, df, delta+h)
				below, _ := noncentralT(t0, df, delta-h)
				if want := (below - above) / (2 * h); math.Abs(slope-want) > 1e-7 {
					t.Errorf("slope at %g, df %g, delta %g: got %g, want %g", t0, df, delta, slope, want)
				}
			}
		}
	}
}

func TestExactBoundHoldsForManyReadings(t *testing.T) {
	for _, n := range []float64{1e3, 3e4, 1e6} {
		exact, err := OneSidedLower(1.5, n, n-1, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		approximate, _ := CpkLower(1.5, n, n-1, 0.95)
		if math.Abs(exact-approximate) > 0.2/n+1e-9*n/1e6 {
			t.Errorf("n %g: exact %.8f, Bissell %.8f; they meet as n grows", n, exact, approximate)
		}
	}
}

func TestBoundsRefuseWhatHasNone(t *testing.T) {
	for _, confidence := range []float64{0, 1, -0.5, 2, 95, math.NaN()} {
		_, err := CpInterval(1, 29, confidence)
		fails(t, "CpInterval", err, ErrBadConfidence)
		_, err = CpkLower(1, 30, 29, confidence)
		fails(t, "CpkLower", err, ErrBadConfidence)
		_, err = OneSidedInterval(1, 30, 29, confidence)
		fails(t, "OneSidedInterval", err, ErrBadConfidence)
	}
	for _, n := range []float64{1, 0, -3, math.NaN(), math.Inf(1)} {
		_, err := CpkInterval(1, n, n-1, 0.95)
		fails(t, "CpkInterval", err, ErrTooFewReadings)
		_, err = OneSidedLower(1, n, n-1, 0.95)
		fails(t, "OneSidedLower", err, ErrTooFewReadings)
	}
	_, err := CpkLower(math.NaN(), 30, 29, 0.95)
	fails(t, "no index", err, ErrNotFinite)
}

// No bound is NaN or infinite, whatever may be asked.
func TestBoundsAreFinite(t *testing.T) {
	for _, n := range []float64{2, 3, 30, 1e6} {
		for _, index := range []float64{-50, -1, 0, 1e-9, 1.33, 40, 1e6} {
			for _, confidence := range []float64{2e-9, 0.1, 0.95, 0.99999, 1 - 2e-9} {
				for name, bound := range map[string]func(index, n, df, confidence float64) (float64, error){
					"one-sided": OneSidedLower, "Bissell": CpkLower,
					"Cp": func(index, _, df, confidence float64) (float64, error) { return CpLower(index, df, confidence) },
					"Cp upper": func(index, _, df, confidence float64) (float64, error) {
						interval, err := CpInterval(index, df, confidence)
						return interval.High, err
					},
				} {
					if got, err := bound(index, n, n-1, confidence); err != nil || math.IsNaN(got) || math.IsInf(got, 0) {
						t.Errorf("%s of %g, n %g, confidence %g: %g, %v", name, index, n, confidence, got, err)
					}
				}
			}
		}
	}
}
