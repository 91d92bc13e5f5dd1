package process

import (
	"encoding/binary"
	"math"
	"math/big"
	"math/rand/v2"
	"slices"
	"testing"
)

func accumulate(t testing.TB, values ...float64) *Accumulator {
	t.Helper()
	var a Accumulator
	for _, x := range values {
		if err := a.Add(x); err != nil {
			t.Fatal(err)
		}
	}
	return &a
}

// The accumulator rounds once: its figures are those of exact rational arithmetic, to the last digit or two.
func TestAccumulatorAgreesWithExactArithmetic(t *testing.T) {
	for _, row := range published(t, "strd-univariate/expected.csv") {
		values := column(t, "strd-univariate/"+row["set"]+".csv", "y")
		mean, square := exactMoments(values)
		s := accumulate(t, values...).Summary()
		if s.Mean != mean || s.M2 != square {
			t.Errorf("%s: mean %.17g, M2 %.17g; exact %.17g and %.17g", row["set"], s.Mean, s.M2, mean, square)
		}
		near(t, row["set"]+", sd", s.sd(), num(t, row, "certified_sd"), 1e-9)
	}
	for _, values := range [][]float64{
		{5e-324, -5e-324, 0, 1e-310}, {1e140, -1e140, 3}, {1e15, 1e15 + 1, 1e15 + 2.5}, {-0.1, -0.2, -0.3, 1e-200},
	} {
		mean, square := exactMoments(values)
		if s := accumulate(t, values...).Summary(); s.Mean != mean || s.M2 != square {
			t.Errorf("%v: mean %.17g, M2 %.17g; exact %.17g and %.17g", values, s.Mean, s.M2, mean, square)
		}
	}
}

// exactMoments returns mean and sum of squared deviations in rational arithmetic.
func exactMoments(values []float64) (mean, square float64) {
	sum, total := new(big.Rat), new(big.Rat)
	for _, x := range values {
		sum.Add(sum, new(big.Rat).SetFloat64(x))
	}
	middle := sum.Quo(sum, big.NewRat(int64(len(values)), 1))
	for _, x := range values {
		d := new(big.Rat).SetFloat64(x)
		d.Sub(d, middle)
		total.Add(total, d.Mul(d, d))
	}
	mean, _ = middle.Float64()
	square, _ = total.Float64()
	return mean, square
}

// The textbook formulas, two passes: another way to the same figures.
func TestShapeAndAutocorrelationAgreeWithTwoPasses(t *testing.T) {
	values := normalValues(500, 80, 5)
	for i := range values {
		values[i] = math.Exp(values[i] / 30)
	}
	d, err := accumulate(t, values...).Describe()
	if err != nil {
		t.Fatal(err)
	}
	var cubes, fourths, neighbours, previous float64
	for i, x := range values {
		z := (x - d.Mean) / *d.SD
		cubes += z * z * z
		fourths += z * z * z * z
		if i > 0 {
			neighbours += z * previous
		}
		previous = z
	}
	n := float64(d.N)
	near(t, "skewness", *d.Skewness, n/((n-1)*(n-2))*cubes, 1e-12)
	near(t, "kurtosis", *d.ExcessKurtosis, n*(n+1)/((n-1)*(n-2)*(n-3))*fourths-3*(n-1)*(n-1)/((n-2)*(n-3)), 1e-12)
	near(t, "lag 1", *d.Lag1, neighbours/(n-1), 1e-11)
}

func TestAccumulatorsMergeToTheSameBitsInAnyOrder(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 5))
	values := make([]float64, 3000)
	for i := range values {
		values[i] = math.Ldexp(random.NormFloat64(), random.IntN(200)-100)
	}
	whole := accumulate(t, values...)
	want, err := whole.Describe()
	if err != nil {
		t.Fatal(err)
	}
	for range 10 {
		var pieces []*Accumulator
		for start := 0; start < len(values); {
			end := min(len(values), start+random.IntN(200))
			pieces = append(pieces, accumulate(t, values[start:end]...))
			start = end
		}
		ordered := new(Accumulator)
		for _, piece := range pieces {
			ordered.Merge(piece)
		}
		got, err := ordered.Describe()
		if err != nil {
			t.Fatal(err)
		}
		if *got.Lag1 != *want.Lag1 {
			t.Errorf("merged in time order: lag 1 %v, want %v", *got.Lag1, *want.Lag1)
		}
		for len(pieces) > 1 { // any tree of merges
			i, j := random.IntN(len(pieces)), random.IntN(len(pieces))
			if i != j {
				pieces[i].Merge(pieces[j])
				pieces = slices.Delete(pieces, j, j+1)
			}
		}
		got, err = pieces[0].Describe()
		if err != nil {
			t.Fatal(err)
		}
		if got.N != want.N || got.Mean != want.Mean || *got.SD != *want.SD || got.Min != want.Min || got.Max != want.Max ||
			*got.Skewness != *want.Skewness || *got.ExcessKurtosis != *want.ExcessKurtosis {
			t.Errorf("another order: %+v, want the same bits as %+v", got, want)
		}
	}
}

func TestMergeAllGivesTheSameBitsInAnyOrder(t *testing.T) {
	random := rand.New(rand.NewPCG(8, 5))
	groups := make([]Summary, 400)
	for i := range groups {
		groups[i] = summarize(t, normalValues(1+i%7, 80, 5)...)
	}
	want := MergeAll(groups)
	for range 20 {
		random.Shuffle(len(groups), func(i, j int) { groups[i], groups[j] = groups[j], groups[i] })
		if got := MergeAll(groups); got != want {
			t.Errorf("another order: %+v, want the same bits as %+v", got, want)
		}
	}
	var plain Summary
	for _, s := range groups {
		plain.Merge(s)
	}
	near(t, "mean by single merges", plain.Mean, want.Mean, 1e-14)
	near(t, "M2 by single merges", plain.M2, want.M2, 1e-12)
}

func TestCarriesAreTakenInTime(t *testing.T) {
	a := accumulate(t, 1e140, -1e-300, 7.25)
	want := a.Summary()
	a.settle()
	if got := a.Summary(); got != want {
		t.Errorf("taking carries changes the figures from %+v to %+v", want, got)
	}
	for range 40 { // 2^40 times three readings: limbs overflow unless carries are taken
		a.Merge(a)
	}
	s := a.Summary()
	if s.N != 3<<40 || s.Mean != want.Mean {
		t.Errorf("n %d, mean %g; want %d and %g", s.N, s.Mean, 3<<40, want.Mean)
	}
}

func TestAccumulatorTakesNoMemoryForEachReading(t *testing.T) {
	var a Accumulator
	x := 0.1
	if n := testing.AllocsPerRun(1000, func() {
		x += 0.37
		if err := a.Add(x); err != nil {
			t.Fatal(err)
		}
	}); n != 0 {
		t.Errorf("%g allocations for each reading, want 0", n)
	}
}

func TestAccumulatorRefusesWhatIsNoNumber(t *testing.T) {
	a := accumulate(t, 1, 2)
	before := *a
	fails(t, "NaN", a.Add(math.NaN()), ErrNotFinite)
	fails(t, "too large", a.Add(1e141), ErrNotFinite)
	if *a != before {
		t.Error("a refused value changed the accumulator")
	}
	_, err := new(Accumulator).Describe()
	fails(t, "nothing", err, ErrTooFewReadings)
	if s := new(Accumulator).Summary(); s != (Summary{}) {
		t.Errorf("nothing: %+v", s)
	}
}

// FuzzAccumulatorMerge cuts readings in two at any place: both orders of merging give the bits of the whole, and no figure is
// NaN or infinite.
func FuzzAccumulatorMerge(f *testing.F) {
	f.Add(floats(1e15, -3, 0.1, 0.1, 7e-200, 9e139), uint(3))
	f.Add(floats(0, 5e-324, -5e-324), uint(1))
	f.Fuzz(func(t *testing.T, data []byte, cut uint) {
		values := numbersOf(data)
		if len(values) == 0 {
			return
		}
		at := int(cut % uint(len(values)+1))
		whole := accumulate(t, values...)
		forth, back := accumulate(t, values[:at]...), accumulate(t, values[at:]...)
		first := *forth
		forth.Merge(back)
		back.Merge(&first)
		if forth.Summary() != whole.Summary() || back.Summary() != whole.Summary() {
			t.Errorf("whole %+v, merged %+v and %+v", whole.Summary(), forth.Summary(), back.Summary())
		}
		if err := whole.Summary().Check(); err != nil {
			t.Error(err)
		}
		a, err := whole.Describe()
		if err != nil {
			t.Fatal(err)
		}
		b, err := forth.Describe()
		if err != nil {
			t.Fatal(err)
		}
		for _, pair := range [][2]*float64{{a.SD, b.SD}, {a.Skewness, b.Skewness}, {a.ExcessKurtosis, b.ExcessKurtosis}, {a.Lag1, b.Lag1}} {
			if (pair[0] == nil) != (pair[1] == nil) || pair[0] != nil && *pair[0] != *pair[1] {
				t.Errorf("described %+v, merged %+v", a, b)
			}
		}
		if mean, square := exactMoments(values); whole.Summary().Min != whole.Summary().Max && math.Abs(square) > 1e-300 &&
			(whole.Summary().M2 != square || whole.Summary().Mean != mean) {
			t.Errorf("mean %g, M2 %g; exact %g and %g", whole.Summary().Mean, whole.Summary().M2, mean, square)
		}
	})
}

// numbersOf reads the ordinary numbers of fuzz data; see floats.
func numbersOf(data []byte) []float64 {
	var values []float64
	for ; len(data) >= 8; data = data[8:] {
		if x := math.Float64frombits(binary.LittleEndian.Uint64(data)); ordinary(x) {
			values = append(values, x)
		}
	}
	return values
}
