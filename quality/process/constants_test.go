package process

import (
	"math"
	"testing"
)

func TestConstantsAgreeWithExactValues(t *testing.T) {
	for _, row := range published(t, "control-charts/constants.csv") {
		c, err := ConstantsFor(integer(t, row, "n"))
		if err != nil {
			t.Fatal(err)
		}
		for column, got := range map[string]float64{
			"d2": c.D2, "d3": c.D3, "c4": c.C4, "A": c.A, "A2": c.A2, "A3": c.A3, "B3": c.B3, "B4": c.B4, "B5": c.B5,
			"B6": c.B6, "D1": c.LimitD1, "D2": c.LimitD2, "D3": c.LimitD3, "D4": c.LimitD4, "E2": c.E2, "E3": c.E3,
		} {
			if want := num(t, row, column); math.Abs(got-want) > 1e-8 {
				t.Errorf("n %d, %s: got %.10f, want %.8f", c.N, column, got, want)
			}
		}
		// Printed tables are right to one in the third decimal only.
		for column, got := range map[string]float64{
			"pub_d2": c.D2, "pub_d3": c.D3, "pub_c4": c.C4, "pub_A2": c.A2, "pub_A3": c.A3, "pub_B3": c.B3,
			"pub_B4": c.B4, "pub_D3": c.LimitD3, "pub_D4": c.LimitD4,
		} {
			if want := num(t, row, column); math.Abs(got-want) > 0.001 {
				t.Errorf("n %d, %s: got %.6f, printed %.4f", c.N, column, got, want)
			}
		}
	}
}

func TestConstantsOfTwoHaveClosedForms(t *testing.T) {
	c, err := ConstantsFor(2)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "d2", c.D2, 2/math.Sqrt(math.Pi), 1e-12)   // by hand: mean of |x-y|
	near(t, "d3", c.D3, math.Sqrt(2-4/math.Pi), 1e-11) // by hand
	near(t, "c4", c.C4, math.Sqrt(2/math.Pi), 1e-14)   // by hand
}

// The two forms of c4 meet at n = 100; for large n it is 1 - 1/4n to the second order.
func TestC4ForLargeSubgroups(t *testing.T) {
	for _, n := range []int{101, 150, 300} {
		above, _ := math.Lgamma(float64(n) / 2)
		below, _ := math.Lgamma(float64(n-1) / 2)
		near(t, "c4", c4(n), math.Exp(above-below)*math.Sqrt(2/float64(n-1)), 1e-12)
	}
	near(t, "c4 of a million", c4(1_000_000), 1-1/(4*1e6-4), 1e-12)
}

// Tippett's double integral for E W² is another way to the same moment.
func TestRangeOfLargeSubgroups(t *testing.T) {
	for _, n := range []int{40, 200, 2000} {
		mean, sd := rangeMoments(n)
		size := float64(n)
		square := 2 * panels(func(y float64) float64 {
			return panels(func(x float64) float64 {
				p, q := 1-upperTail(y), upperTail(x)
				return 1 - math.Pow(p, size) - math.Pow(q, size) + math.Pow(max(0, p-1+q), size)
			}, -9, y, 12)
		}, -9, 9, 12)
		near(t, "d3", sd, math.Sqrt(square-mean*mean), 1e-7)
	}
}

func TestConstantsNeedASubgroupOfTwo(t *testing.T) {
	for _, n := range []int{-1, 0, 1, largestSubgroup + 1} {
		_, err := ConstantsFor(n)
		fails(t, "constants", err, ErrSubgroupSize)
	}
}

// Some printed entries are not the rounding of the exact value; ours must be the exact one.
func TestConstantsAreExactWherePrintedTablesAreNot(t *testing.T) {
	for _, row := range published(t, "control-charts/constants_published_vs_exact.csv") {
		c, err := ConstantsFor(integer(t, row, "n"))
		if err != nil {
			t.Fatal(err)
		}
		got := map[string]float64{"D3": c.LimitD3, "D4": c.LimitD4}[row["constant"]]
		if math.Abs(got-num(t, row, "exact")) > 1e-6 || math.Abs(got-num(t, row, "published")) > 0.001 {
			t.Errorf("n %d, %s: got %.6f, exact %s, printed %s", c.N, row["constant"], got, row["exact"], row["published"])
		}
	}
}
