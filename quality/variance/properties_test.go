package variance

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"testing"

	"coatbook/quality/process"

	"gonum.org/v1/gonum/mat"
)

// simulated returns unbalanced nested readings: sds outermost first, the last one of the error.
func simulated(seed uint64, outer int, sds ...float64) ([]float64, []Factor) {
	random := rand.New(rand.NewPCG(seed, 7))
	factors := make([]Factor, len(sds)-1)
	for i := range factors {
		factors[i].Name = "f" + strconv.Itoa(i+1)
	}
	var values []float64
	labels := make([]string, len(factors))
	var grow func(depth int, mean float64)
	grow = func(depth int, mean float64) {
		count := 2 + random.IntN(3)
		if depth == 0 {
			count = outer
		}
		for k := range count {
			x := mean + sds[depth]*random.NormFloat64()
			if depth == len(factors) {
				for i := range factors {
					factors[i].Labels = append(factors[i].Labels, labels[i])
				}
				values = append(values, math.Round(x*100)/100)
				continue
			}
			labels[depth] = strconv.Itoa(k)
			grow(depth+1, x)
		}
	}
	grow(0, 80)
	return values, factors
}

// dense computes the restricted criterion from the covariance matrix itself.
func dense(t *testing.T, values []float64, factors []Factor, components []float64) float64 {
	t.Helper()
	n := len(values)
	v := mat.NewSymDense(n, nil)
	for i := range n {
		for j := range i + 1 {
			c := 0.0
			for k := range factors {
				if factors[k].Labels[i] != factors[k].Labels[j] {
					break
				}
				c += components[k]
			}
			if i == j {
				c += components[len(factors)]
			}
			v.SetSym(i, j, c)
		}
	}
	var factor mat.Cholesky
	if !factor.Factorize(v) {
		t.Fatal("covariance is not positive definite")
	}
	ones, y := mat.NewVecDense(n, nil), mat.NewVecDense(n, nil)
	for i, x := range values {
		ones.SetVec(i, 1)
		y.SetVec(i, x)
	}
	var s, residual mat.VecDense
	if err := factor.SolveVecTo(&s, ones); err != nil {
		t.Fatal(err)
	}
	a := mat.Dot(&s, ones)
	residual.AddScaledVec(y, -mat.Dot(&s, y)/a, ones)
	if err := factor.SolveVecTo(&s, &residual); err != nil {
		t.Fatal(err)
	}
	return factor.LogDet() + math.Log(a) + mat.Dot(&s, &residual) + float64(n-1)*math.Log(2*math.Pi)
}

func TestREMLIsTheMinimumOfTheDenseCriterion(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 3))
	for seed := range uint64(12) {
		sds := [][]float64{{2, 1}, {3, 2, 1}, {0, 2, 3, 2}, {1, 1, 1, 1, 1}}[seed%4]
		values, factors := simulated(seed, 4, sds...)
		r, err := REML(values, factors...)
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		at := make([]float64, len(r.Components))
		for i, c := range r.Components {
			at[i] = c.Variance
		}
		best := dense(t, values, factors, at)
		near(t, fmt.Sprintf("seed %d criterion", seed), *r.Criterion, best, 1e-12)
		for range 20 {
			moved := slices.Clone(at)
			for i := range moved {
				moved[i] = max(0, moved[i]*(1+0.02*random.NormFloat64())+0.001*math.Abs(random.NormFloat64()))
			}
			if d := dense(t, values, factors, moved); d < best-1e-9 {
				t.Errorf("seed %d: criterion %.12g at %v, %.12g at the estimate %v", seed, d, moved, best, at)
			}
		}
	}
}

func TestLikelihoodDerivativesMatchDifferences(t *testing.T) {
	values, factors := simulated(5, 5, 2, 2, 1, 1)
	tr, err := grow(values, factors)
	if err != nil {
		t.Fatal(err)
	}
	f := newLikelihood(tr)
	theta := []float64{0.4, 1.5, 0.8}
	here := f.at(theta)
	const h = 1e-5
	for i := range theta {
		shifted := slices.Clone(theta)
		shifted[i] += h
		up := f.at(shifted)
		shifted[i] -= 2 * h
		down := f.at(shifted)
		near(t, "gradient", here.d[i], (up.v-down.v)/(2*h), 1e-5)
		for j := range theta {
			r, s := max(i, j), min(i, j)
			near(t, "Hessian", here.dd[r*(r+1)/2+s], (up.d[j]-down.d[j])/(2*h), 1e-5)
		}
	}
}

func TestBalancedDataGiveTheSameByBothMethods(t *testing.T) {
	for _, set := range []string{"three_level_book", "film_nested_balanced"} {
		values, factors := load(t, set)
		moments, err := Moments(values, factors...)
		if err != nil {
			t.Fatal(err)
		}
		reml, err := REML(values, factors...)
		if err != nil {
			t.Fatal(err)
		}
		for i, c := range moments.Components {
			near(t, set+" "+c.Factor, reml.Components[i].Variance, c.Variance, 1e-10)
		}
		if !reml.Balanced || !moments.Balanced {
			t.Errorf("%s is balanced", set)
		}
	}
}

func TestUnitShiftAndOrderDoNotMatter(t *testing.T) {
	values, factors := load(t, "film_nested_unbalanced")
	order := rand.New(rand.NewPCG(1, 2)).Perm(len(values))
	moved := make([]float64, len(values))
	other := make([]Factor, len(factors))
	for i := range other {
		other[i] = Factor{Name: factors[i].Name, Labels: make([]string, len(values))}
	}
	for to, from := range order {
		moved[to] = (values[from] + 1e6) * 1000 // nanometres, on a plate of a metre
		for i := range other {
			other[i].Labels[to] = factors[i].Labels[from]
		}
	}
	for _, estimate := range []func([]float64, ...Factor) (Result, error){Moments, REML} {
		a, err := estimate(values, factors...)
		if err != nil {
			t.Fatal(err)
		}
		b, err := estimate(moved, other...)
		if err != nil {
			t.Fatal(err)
		}
		for i := range a.Components {
			near(t, string(a.Method)+" "+a.Components[i].Factor, b.Components[i].Raw/1e6, a.Components[i].Raw, 1e-9)
		}
		near(t, "mean", b.Mean, (a.Mean+1e6)*1000, 1e-12)
	}
}

func TestSumsOfSquaresAddUp(t *testing.T) {
	values, factors := simulated(9, 6, 1, 2, 3, 1)
	r, err := Moments(values, factors...)
	if err != nil {
		t.Fatal(err)
	}
	s, err := process.Summarize(values)
	if err != nil {
		t.Fatal(err)
	}
	ss, df := 0.0, 0
	for _, row := range r.Anova {
		ss += row.SS
		df += row.DF
	}
	near(t, "total sum of squares", ss, s.M2, 1e-12)
	if df != len(values)-1 {
		t.Errorf("%d degrees of freedom of %d readings", df, len(values))
	}
}

func TestExactTestsOnly(t *testing.T) {
	values, factors := load(t, "nist_machine_operator")
	r, err := Moments(values, factors...)
	if err != nil {
		t.Fatal(err)
	}
	// NIST/SEMATECH e-Handbook 3.2.3.3: machines are tested against operators.
	near(t, "machine F", *r.Anova[0].F, 20.38, 5e-4)
	values, factors = load(t, "film_nested_unbalanced")
	if r, err = Moments(values, factors...); err != nil {
		t.Fatal(err)
	}
	if r.Anova[0].F != nil || r.Anova[1].F != nil || r.Anova[2].F == nil || r.Anova[3].F != nil {
		t.Errorf("unbalanced data: only the innermost factor has an exact test, got %+v", r.Anova)
	}
}

func TestInnermostFactorOfSingleReadingsIsTheError(t *testing.T) {
	values, factors := nested(t, "film_nested_unbalanced", "film_um", "day", "rack", "part", "spot")
	r, err := Moments(values, factors...)
	if err != nil {
		t.Fatal(err)
	}
	without, err := Moments(values, factors[:3]...)
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Components) != 4 || r.Components[3] != without.Components[3] && r.Components[3].Raw != without.Components[3].Raw || len(r.Notes) != 2 {
		t.Errorf("got %+v with notes %q", r.Components, r.Notes)
	}
}

func TestBadSamplesAreErrors(t *testing.T) {
	day := func(labels ...string) Factor { return Factor{Name: "day", Labels: labels} }
	rack := func(labels ...string) Factor { return Factor{Name: "rack", Labels: labels} }
	for _, c := range []struct {
		name    string
		values  []float64
		factors []Factor
		want    error
	}{
		{"no factor", []float64{1, 2, 3}, nil, ErrShape},
		{"label missing", []float64{1, 2, 3}, []Factor{day("a", "b")}, ErrShape},
		{"two readings", []float64{1, 2}, []Factor{day("a", "b")}, process.ErrTooFewReadings},
		{"one day", []float64{1, 2, 3}, []Factor{day("a", "a", "a")}, ErrOneLevel},
		{"one reading a day", []float64{1, 2, 3}, []Factor{day("a", "b", "c")}, ErrConfounded},
		{"one rack a day", []float64{1, 2, 3, 5}, []Factor{day("a", "a", "b", "b"), rack("1", "1", "1", "1")}, ErrConfounded},
		{"all equal", []float64{4, 4, 4, 4}, []Factor{day("a", "a", "b", "b")}, process.ErrNoSpread},
		{"not a number", []float64{4, math.NaN(), 4, 4}, []Factor{day("a", "a", "b", "b")}, process.ErrNotFinite},
		{"infinite", []float64{4, math.Inf(1), 4, 4}, []Factor{day("a", "a", "b", "b")}, process.ErrNotFinite},
	} {
		for _, estimate := range []func([]float64, ...Factor) (Result, error){Moments, REML} {
			if _, err := estimate(c.values, c.factors...); !errors.Is(err, c.want) {
				t.Errorf("%s: got error %v, want %v", c.name, err, c.want)
			}
		}
	}
	// Equal readings in each cell: moments say so exactly, the likelihood has no maximum.
	values, f := []float64{1, 1, 2, 2, 4, 4}, day("a", "a", "b", "b", "c", "c")
	if _, err := REML(values, f); !errors.Is(err, process.ErrNoSpread) {
		t.Errorf("REML of equal readings in each cell: %v", err)
	}
	r, err := Moments(values, f)
	if err != nil || r.Components[1].Variance != 0 || r.Anova[0].F != nil {
		t.Errorf("moments of equal readings in each cell: %+v, %v", r, err)
	}
	near(t, "day", r.Components[0].Variance, 7.0/3, 1e-14) // by hand: variance of 1, 2, 4
}

func TestDecimalsAreSubtractedAsTyped(t *testing.T) {
	for _, c := range []struct{ values, want []float64 }{
		{[]float64{1000000000000.4, 1000000000000.3}, []float64{0.1, 0}},
		{[]float64{0.1, 0.2, 0.3}, []float64{-0.1, 0, 0.1}},
		{[]float64{1e-20, 2e-20}, []float64{-1e-20, 0}}, // too many decimals: float64 subtraction
		{[]float64{9007199254740993, 0.5, 1}, []float64{9007199254740991.5, 0, 0.5}},
	} {
		got, constant := Centered(c.values)
		if !slices.Equal(got, c.want) {
			t.Errorf("%v: got %v, want %v", c.values, got, c.want)
		}
		origin := NewOrigin(constant)
		for i, x := range c.values {
			if got := origin.Less(x); got != c.want[i] {
				t.Errorf("%v less %v one by one: got %v, want %v", x, constant, got, c.want[i])
			}
			if got := origin.Plus(c.want[i]); math.Abs(got-x) > 1e-15*math.Abs(x) {
				t.Errorf("%v and back: got %v, want %v", c.want[i], got, x)
			}
		}
	}
}

func FuzzNested(f *testing.F) {
	f.Add([]byte{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12})
	f.Add([]byte("\x012\x030\x057\a0\tc0")) // the minimum is at 0 with a slope of 0
	f.Add([]byte{0, 0, 0, 255, 255, 1, 1, 9, 200, 100, 50, 25, 12, 6, 3, 1})
	f.Fuzz(func(t *testing.T, data []byte) {
		var values []float64
		factors := []Factor{{Name: "day"}, {Name: "rack"}}
		for i := 0; i+1 < len(data); i += 2 {
			values = append(values, float64(data[i])/10)
			factors[0].Labels = append(factors[0].Labels, strconv.Itoa(int(data[i+1]%4)))
			factors[1].Labels = append(factors[1].Labels, strconv.Itoa(int(data[i+1]/4%3)))
		}
		for _, estimate := range []func([]float64, ...Factor) (Result, error){Moments, REML} {
			r, err := estimate(values, factors...)
			if err != nil {
				if errors.Is(err, ErrNotConverged) {
					t.Fatalf("%v on %v", err, values)
				}
				continue
			}
			for _, c := range r.Components {
				if !(c.Variance >= 0) || math.IsInf(c.Variance, 0) || math.IsNaN(c.Raw) {
					t.Fatalf("%s: %+v", r.Method, c)
				}
			}
		}
	})
}

// BenchmarkREML takes a hundred thousand readings in four levels: day, rack in day, part on rack, spot on part.
func BenchmarkREML(b *testing.B) {
	random := rand.New(rand.NewPCG(4, 4))
	factors := []Factor{{Name: "day"}, {Name: "rack"}, {Name: "part"}}
	var values []float64
	for d := 0; len(values) < 100_000; d++ {
		day := 80 + 3*random.NormFloat64()
		for k := range 8 + random.IntN(5) {
			rack := day + 2*random.NormFloat64()
			for p := range 8 + random.IntN(5) {
				part := rack + 3*random.NormFloat64()
				for range 4 + random.IntN(3) {
					values = append(values, math.Round(10*(part+2*random.NormFloat64()))/10)
					for i, label := range []int{d, k, p} {
						factors[i].Labels = append(factors[i].Labels, strconv.Itoa(label))
					}
				}
			}
		}
	}
	b.ResetTimer()
	for b.Loop() {
		if _, err := REML(values, factors...); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(values)), "readings")
}

// At a minimum confined to 0 and above, the slope is 0 for a ratio inside, and not downhill for one at the bound.
func TestSearchEndsWhereTheSlopeIsZero(t *testing.T) {
	random := rand.New(rand.NewPCG(11, 11))
	for seed := range uint64(300) {
		sds := make([]float64, 2+random.IntN(4))
		for i := range sds {
			sds[i] = math.Exp(3 * random.NormFloat64())
			if i < len(sds)-1 && random.IntN(3) == 0 {
				sds[i] = 0
			}
		}
		sds[len(sds)-1] = max(sds[len(sds)-1], 0.05) // readings are rounded to 0.01
		values, factors := simulated(seed, 2+random.IntN(4), sds...)
		tr, err := grow(values, factors)
		if err != nil {
			t.Fatal(err)
		}
		f := newLikelihood(tr)
		best, err := f.search(starts(tr.anova()))
		if err != nil {
			t.Fatalf("seed %d, sds %v: %v", seed, sds, err)
		}
		here := f.at(best.theta)
		for i, ratio := range best.theta {
			if slope := here.d[i]; ratio > 0 && math.Abs(ratio*slope) > 1e-6 || ratio == 0 && slope < -1e-6 {
				t.Errorf("seed %d, sds %v: slope %g at ratio %g", seed, sds, slope, ratio)
			}
		}
	}
}
