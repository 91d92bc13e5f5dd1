package process

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// Nine significant digits on every set is the pass mark; the one-pass formula Σx²-n·x̄² fails NumAcc3.
func TestSummaryAgreesWithCertifiedValues(t *testing.T) {
	for _, row := range published(t, "strd-univariate/expected.csv") {
		values := column(t, "strd-univariate/"+row["set"]+".csv", "y")
		var added Summary
		for _, x := range values {
			if err := added.Add(x); err != nil {
				t.Fatal(err)
			}
		}
		for how, s := range map[string]Summary{"Summarize": summarize(t, values...), "Add": added} {
			name := row["set"] + " by " + how
			sd, err := s.SD()
			if err != nil {
				t.Fatal(err)
			}
			near(t, name+", mean", s.Mean, num(t, row, "certified_mean"), 1e-14)
			near(t, name+", sd", sd, num(t, row, "certified_sd"), 1e-9)
			if s.N != integer(t, row, "n") {
				t.Errorf("%s: n %d, want %s", name, s.N, row["n"])
			}
		}
		d, err := Describe(values)
		if err != nil {
			t.Fatal(err)
		}
		nearOrNone(t, row["set"]+", lag 1", d.Lag1, optional(t, row, "certified_lag1_autocorr"), 1e-9)
		nearOrNone(t, row["set"]+", sd", d.SD, optional(t, row, "certified_sd"), 1e-9)
	}
}

func TestDescribeShape(t *testing.T) {
	film := column(t, "capability/nonnormal_film_lognormal.csv", "x")
	d, err := Describe(film)
	if err != nil {
		t.Fatal(err)
	}
	// The row "skewness (adjusted) / excess kurtosis (adjusted)" of the film set, recomputed in two languages.
	nearOrNone(t, "skewness", d.Skewness, new(0.670653504), 1e-8)
	nearOrNone(t, "excess kurtosis", d.ExcessKurtosis, new(1.29152133), 1e-8)
}

func TestDescribeLeavesOutWhatIsNotDefined(t *testing.T) {
	for _, c := range []struct {
		name                         string
		values                       []float64
		sd, lag, skewness, kurtosis_ bool
	}{
		{"one", []float64{7}, false, false, false, false},
		{"two", []float64{7, 8}, true, true, false, false},
		{"three", []float64{7, 8, 10}, true, true, true, false},
		{"four", []float64{7, 8, 10, 9}, true, true, true, true},
		{"equal", []float64{0.1, 0.1, 0.1, 0.1, 0.1, 0.1}, true, false, false, false},
	} {
		d, err := Describe(c.values)
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		got := []bool{d.SD != nil, d.Lag1 != nil, d.Skewness != nil, d.ExcessKurtosis != nil}
		if want := []bool{c.sd, c.lag, c.skewness, c.kurtosis_}; !slices.Equal(got, want) {
			t.Errorf("%s: sd, lag, skewness, kurtosis defined %v, want %v", c.name, got, want)
		}
	}
	_, err := Describe(nil)
	fails(t, "no readings", err, ErrTooFewReadings)
}

func TestEqualReadingsHaveNoSpread(t *testing.T) {
	values := make([]float64, 1000)
	for i := range values {
		values[i] = 0.1 // not a binary fraction: naive sums leave dust behind
	}
	s := summarize(t, values...)
	if s.Mean != 0.1 || s.M2 != 0 {
		t.Errorf("got mean %v, M2 %v; want exactly 0.1 and 0", s.Mean, s.M2)
	}
}

func TestSummaryRefusesWhatIsNoNumber(t *testing.T) {
	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e300, -1e141} {
		_, err := Summarize([]float64{1, bad, 3})
		fails(t, "Summarize", err, ErrNotFinite)
		s := summarize(t, 1, 2)
		before := s
		fails(t, "Add", s.Add(bad), ErrNotFinite)
		if s != before {
			t.Errorf("Add(%g) changed the summary to %+v", bad, s)
		}
	}
	_, err := summarize(t, 5).SD()
	fails(t, "SD of one", err, ErrTooFewReadings)
	if s := summarize(t); s != (Summary{}) {
		t.Errorf("no readings: %+v, want the zero Summary", s)
	}
}

func TestCheckFindsImpossibleSummaries(t *testing.T) {
	for name, s := range map[string]Summary{
		"negative n":           {N: -1, Mean: 1, Min: 1, Max: 1},
		"n of 0 with values":   {Mean: 1, Min: 1, Max: 1},
		"smallest above":       {N: 2, Mean: 1, Min: 2, Max: 1},
		"negative squares":     {N: 2, Mean: 1, M2: -1, Min: 0, Max: 2},
		"mean outside":         {N: 2, Mean: 5, M2: 1, Min: 0, Max: 2},
		"spread beyond range":  {N: 2, Mean: 1, M2: 3, Min: 0, Max: 2},
		"spread of one number": {N: 1, Mean: 1, M2: 1, Min: 1, Max: 1},
	} {
		fails(t, name, s.Check(), ErrBadSummary)
	}
	fails(t, "NaN", Summary{N: 1, Mean: math.NaN()}.Check(), ErrNotFinite)
	for name, s := range map[string]Summary{
		"none": {}, "two at the ends": summarize(t, 0, 2), "many": summarize(t, 61.2, 70, 88.4, 75),
	} {
		if err := s.Check(); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestMergeGivesTheSummaryOfAllReadings(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	values := make([]float64, 4000)
	for i := range values {
		values[i] = 1e6 + random.NormFloat64()
	}
	want := summarize(t, values...)
	var parts []Summary
	for start := 0; start < len(values); {
		end := min(len(values), start+random.IntN(40)) // some parts are empty
		parts = append(parts, summarize(t, values[start:end]...))
		start = end
	}
	for range 20 {
		random.Shuffle(len(parts), func(i, j int) { parts[i], parts[j] = parts[j], parts[i] })
		got := MergeAll(parts)
		near(t, "mean", got.Mean, want.Mean, 1e-14)
		near(t, "M2", got.M2, want.M2, 1e-9)
		if got.N != want.N || got.Min != want.Min || got.Max != want.Max {
			t.Errorf("got %+v, want %+v", got, want)
		}
	}
	if !slices.ContainsFunc(parts, func(s Summary) bool { return s.N == 0 }) {
		t.Error("no empty part was merged")
	}
}

func TestReadingsMayComeInAnyOrder(t *testing.T) {
	values := column(t, "strd-univariate/Mavro.csv", "y")
	want := summarize(t, values...)
	slices.Reverse(values)
	got := summarize(t, values...)
	near(t, "mean", got.Mean, want.Mean, 1e-15)
	near(t, "M2", got.M2, want.M2, 1e-12)
}

// FuzzSummaryMerge cuts readings in two at any place: the merged parts are the whole, whatever the order, and no field is
// ever NaN or infinite.
func FuzzSummaryMerge(f *testing.F) {
	f.Add([]byte{}, uint(0))
	f.Add(binary.LittleEndian.AppendUint64(nil, math.Float64bits(61.5)), uint(1))
	f.Add(floats(1e15, -3, 0.1, 0.1, 7e-200, 9e139), uint(3))
	f.Add(floats(math.NaN(), 2, math.Inf(1)), uint(1))
	f.Fuzz(func(t *testing.T, data []byte, cut uint) {
		var values []float64
		for ; len(data) >= 8; data = data[8:] {
			values = append(values, math.Float64frombits(binary.LittleEndian.Uint64(data)))
		}
		whole, err := Summarize(values)
		if err != nil {
			if !slices.ContainsFunc(values, func(x float64) bool { return !ordinary(x) }) {
				t.Fatalf("refused ordinary readings %v: %v", values, err)
			}
			return
		}
		at := int(cut % uint(len(values)+1))
		a, b := summarize(t, values[:at]...), summarize(t, values[at:]...)
		ab, ba := a, b
		ab.Merge(b)
		ba.Merge(a)
		if ab != ba {
			t.Errorf("order matters: %+v and %+v", ab, ba)
		}
		if err := ab.Check(); err != nil {
			t.Errorf("merged summary of %v: %v", values, err)
		}
		// Room for rounding: 1e-14 of the size in every deviation. Below 1e-300 float64 runs out of digits.
		reach, dust := whole.Range(), 1e-14*size(whole)+1e-300
		room := float64(whole.N)*(1e-12*reach*reach+reach*dust+dust*dust) + 1e-300
		if ab.N != whole.N || ab.Min != whole.Min || ab.Max != whole.Max ||
			math.Abs(ab.Mean-whole.Mean) > dust || math.Abs(ab.M2-whole.M2) > room {
			t.Errorf("merged %+v, whole %+v", ab, whole)
		}
	})
}

func floats(values ...float64) []byte {
	var data []byte
	for _, x := range values {
		data = binary.LittleEndian.AppendUint64(data, math.Float64bits(x))
	}
	return data
}
