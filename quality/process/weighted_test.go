package process

import (
	"math"
	"slices"
	"testing"
)

func TestEWMAAgreesWithPublishedValues(t *testing.T) {
	const file = "control-charts/ewma_nist.csv"
	c, err := EWMA(column(t, file, "x"), 0.3, 3, ChartOptions{Target: new(50.0), Sigma: new(2.0539)})
	if err != nil {
		t.Fatal(err)
	}
	for i, row := range published(t, file) {
		for key, got := range map[string]float64{"ewma": c.Points[i], "ucl_exact": c.Upper[i], "lcl_exact": c.Lower[i]} {
			if want := num(t, row, key); math.Abs(got-want) > 6e-6 { // five decimals in the file
				t.Errorf("point %d, %s: got %.7f, want %.5f", i+1, key, got, want)
			}
		}
	}
	want, _ := items(t, "control-charts/expected.csv", "ewma:nist")
	near(t, "last average", c.Points[19], want["ewma_20"], 1e-11)
	near(t, "upper limit at last", c.Upper[19], want["ucl_asymptotic"], 1e-6)
	if len(c.Signals) != 0 || !c.Frozen || c.Center != 50 {
		t.Errorf("signals %v, frozen %v, centre %g", c.Signals, c.Frozen, c.Center)
	}
}

// With λ = 1 nothing is remembered: the chart is that of individuals.
func TestEWMAOfFullWeightIsIndividuals(t *testing.T) {
	values := column(t, "control-charts/zarr13.csv", "y")
	plain, err := Individuals(values, ChartOptions{Rules: []Rule{N1}})
	if err != nil {
		t.Fatal(err)
	}
	c, err := EWMA(values, 1, 3, ChartOptions{Rules: NelsonRules()})
	if err != nil {
		t.Fatal(err)
	}
	for i := range values {
		near(t, "point", c.Points[i], values[i], 1e-12)
		near(t, "upper", c.Upper[i], plain.Upper[i], 1e-12)
	}
	if !slices.Equal(ends(c.Signals, N1), ends(plain.Signals, N1)) || len(c.Signals) != len(plain.Signals) {
		t.Errorf("signals %v, want %v", c.Signals, plain.Signals)
	}
	narrow, err := EWMA(values, 1, 2, ChartOptions{})
	if err != nil {
		t.Fatal(err)
	}
	for i := range values {
		beyond := math.Abs(values[i]-plain.Center) > 2*plain.Limits.Sigma
		if got := slices.Contains(ends(narrow.Signals, N1), i); got != beyond {
			t.Errorf("point %d at width 2: signal %v, beyond %v", i+1, got, beyond)
		}
	}
}

func TestCUSUMAgreesWithPublishedValues(t *testing.T) {
	const file = "control-charts/cusum_nist.csv"
	want, _ := items(t, "control-charts/expected.csv", "cusum:nist")
	opt := CusumOptions{ChartOptions: ChartOptions{Target: new(want["target"])}, K: new(want["k"]), H: new(want["h"])}
	values := column(t, file, "mean")
	c, err := CUSUM(values, opt)
	if err != nil {
		t.Fatal(err)
	}
	var high, low []int
	for i, row := range published(t, file) {
		near(t, "upper sum", c.High[i], num(t, row, "S_hi"), 1e-9)
		near(t, "lower sum", c.Low[i], num(t, row, "S_lo"), 1e-9)
		if row["signal_hi"] == "1" {
			high = append(high, i)
		}
		if row["signal_lo"] == "1" {
			low = append(low, i)
		}
	}
	if !slices.Equal(ends(c.Signals, CusumHigh), high) || !slices.Equal(ends(c.Signals, CusumLow), slices.Concat([]int{}, low)) {
		t.Errorf("signals %v, want high %v, low %v", c.Signals, high, low)
	}
	// The sum left 0 at group 13, so the first signal, at 14, has these two points (by hand).
	if first := c.Signals[0]; first.Rule != CusumHigh || !slices.Equal(first.Points, []int{12, 13}) {
		t.Errorf("first signal %v", first)
	}
	near(t, "sum at 14", c.High[13], want["S_hi_14"], 1e-9)
	near(t, "sum at 20", c.High[19], want["S_hi_20"], 1e-9)

	opt.HeadStart = want["h"] / 2
	fast, err := CUSUM(values, opt)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "upper sum with head start", fast.High[0], want["S_hi_1 with head start h/2"], 1e-9)
	near(t, "lower sum with head start", fast.Low[0], want["S_lo_1 with head start h/2"], 1e-9)
}

func TestCUSUMTakesItsFiguresFromTheData(t *testing.T) {
	values := column(t, "control-charts/flowrate.csv", "flowrate")
	c, err := CUSUM(values, CusumOptions{})
	if err != nil {
		t.Fatal(err)
	}
	plain, err := Individuals(values, ChartOptions{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "target", c.Target, plain.Center, 1e-14)
	near(t, "k", c.K, plain.Limits.Sigma/2, 1e-14)
	near(t, "h", c.H, 5*plain.Limits.Sigma, 1e-14)
	flat, err := CUSUM([]float64{70, 70, 70}, CusumOptions{K: new(0.5), H: new(4.0)})
	if err != nil || flat.Target != 70 || len(flat.Signals) != 0 {
		t.Errorf("equal values with k and h given: %+v, %v", flat, err)
	}
	// A second phase starts its sums afresh, about its own mean.
	both, err := CUSUM([]float64{10, 12, 20, 22}, CusumOptions{ChartOptions: ChartOptions{Phases: []int{2}}, K: new(0.5), H: new(0.4)})
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(both.High, []float64{0, 0.5, 0, 0.5}) || !slices.Equal(both.Low, []float64{0.5, 0, 0.5, 0}) { // by hand
		t.Errorf("high %v, low %v", both.High, both.Low)
	}
	if !slices.Equal(ends(both.Signals, CusumHigh), []int{1, 3}) || !slices.Equal(ends(both.Signals, CusumLow), []int{0, 2}) {
		t.Errorf("signals %v", both.Signals)
	}
}

func TestWeightedChartsRefuseBadParameters(t *testing.T) {
	values := []float64{1, 2, 3}
	for _, bad := range [][2]float64{{0, 3}, {1.1, 3}, {math.NaN(), 3}, {0.2, 0}, {0.2, math.Inf(1)}} {
		_, err := EWMA(values, bad[0], bad[1], ChartOptions{})
		fails(t, "EWMA", err, ErrBadWeight)
	}
	for _, opt := range []CusumOptions{
		{K: new(-1.0), H: new(4.0)}, {K: new(1.0), H: new(0.0)}, {H: new(math.NaN())}, {HeadStart: -1},
	} {
		_, err := CUSUM(values, opt)
		fails(t, "CUSUM", err, ErrBadWeight)
	}
	_, err := CUSUM(nil, CusumOptions{})
	fails(t, "no values", err, ErrTooFewReadings)
	_, err = CUSUM([]float64{math.NaN(), 1}, CusumOptions{K: new(1.0), H: new(1.0)})
	fails(t, "NaN", err, ErrNotFinite)
	_, err = EWMA([]float64{2, 2, 2}, 0.2, 3, ChartOptions{})
	fails(t, "no spread", err, ErrNoSpread)
}

// In mils, or shifted by the thickness of a coat below, charts signal at the same points and lines move with the values.
func TestWeightedChartsDoNotDependOnTheUnit(t *testing.T) {
	values := column(t, "control-charts/cusum_nist.csv", "mean")
	ewma, err := EWMA(values, 0.2, 3, ChartOptions{Base: &Span{From: 0, To: 12}})
	if err != nil {
		t.Fatal(err)
	}
	sums, err := CUSUM(values, CusumOptions{ChartOptions: ChartOptions{Base: &Span{From: 0, To: 12}}})
	if err != nil {
		t.Fatal(err)
	}
	if len(ewma.Signals) == 0 || len(sums.Signals) == 0 {
		t.Fatal("nothing signals: the test shows nothing")
	}
	for _, c := range []struct{ factor, shift float64 }{{1 / 25.4, 0}, {1, -300}, {1e-6, 40}} {
		other := make([]float64, len(values))
		for i, x := range values {
			other[i] = x*c.factor + c.shift
		}
		moved, err := EWMA(other, 0.2, 3, ChartOptions{Base: &Span{From: 0, To: 12}})
		if err != nil {
			t.Fatal(err)
		}
		otherSums, err := CUSUM(other, CusumOptions{ChartOptions: ChartOptions{Base: &Span{From: 0, To: 12}}})
		if err != nil {
			t.Fatal(err)
		}
		same := func(a, b Signal) bool { return a.Rule == b.Rule && slices.Equal(a.Points, b.Points) }
		if !slices.EqualFunc(moved.Signals, ewma.Signals, same) || !slices.EqualFunc(otherSums.Signals, sums.Signals, same) {
			t.Errorf("factor %g, shift %g: other signals", c.factor, c.shift)
		}
		for i := range values {
			near(t, "upper", moved.Upper[i], ewma.Upper[i]*c.factor+c.shift, 1e-9)
		}
		near(t, "h", otherSums.H, sums.H*c.factor, 1e-8)
	}
}

// FuzzCharts holds that no line and no sum is NaN or infinite, that signals point into the chart, and that nothing panics.
func FuzzCharts(f *testing.F) {
	f.Add(floats(80, 79, 81, 80, 82, 83), 0.3, 3.0, 2, uint8(1))
	f.Add(floats(1e139, -1e139, 4, 4), 1.0, 1e-9, 1, uint8(2))
	f.Add(floats(1, 2, 3, 4, 5, 6, 7, 8, 9, 10), 0.01, 0.5, 0, uint8(3))
	f.Fuzz(func(t *testing.T, data []byte, a, b float64, phase int, which uint8) {
		values := numbersOf(data)
		opt := ChartOptions{Rules: append(NelsonRules(), ZoneRules()...)}
		if phase != 0 {
			opt.Phases = []int{phase}
		}
		counts := make([]int, len(values))
		for i, x := range values {
			counts[i] = int(math.Mod(math.Abs(x), 1000))
		}
		var c Chart
		var err error
		switch which % 4 {
		case 0:
			c, err = Individuals(values, opt)
		case 1:
			c, err = EWMA(values, a, b, opt)
		case 2:
			var sums Cusum
			sums, err = CUSUM(values, CusumOptions{ChartOptions: opt, K: &a, H: &b})
			c.Points, c.Upper, c.Signals = sums.High, sums.Low, sums.Signals
		case 3:
			c, err = CChart(counts, opt)
		}
		if err != nil {
			return
		}
		for _, line := range [][]float64{c.Points, c.Lower, c.Centers, c.Upper} {
			for _, x := range line {
				if math.IsNaN(x) || math.IsInf(x, 0) {
					t.Errorf("chart %d of %v: %v", which%4, values, line)
				}
			}
		}
		for _, signal := range c.Signals {
			for i, at := range signal.Points {
				if at < 0 || at >= len(values) || i > 0 && at <= signal.Points[i-1] {
					t.Errorf("chart %d: signal %v of %d points", which%4, signal, len(values))
				}
			}
		}
	})
}
