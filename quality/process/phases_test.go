package process

import (
	"math"
	"slices"
	"testing"
)

func TestPhasesHaveTheirOwnLinesAndNoRuleCrosses(t *testing.T) {
	values := []float64{10, 11, 10, 11, 10, 20, 21, 20, 21, 20}
	c, err := Individuals(values, ChartOptions{Phases: []int{5}, Rules: NelsonRules()})
	if err != nil {
		t.Fatal(err)
	}
	if len(c.Phases) != 2 || c.Phases[1].Start != 5 || c.Centers[0] != 10.4 || c.Centers[9] != 20.4 { // means by hand
		t.Errorf("phases %+v, centres %v", c.Phases, c.Centers)
	}
	if want := []int{1, 2, 3, 4, 6, 7, 8, 9}; !slices.Equal(c.Dispersion.At, want) {
		t.Errorf("moving ranges at %v, want none across the change: %v", c.Dispersion.At, want)
	}
	if len(c.Signals) != 0 || !c.Stable() || len(c.Points) != 10 {
		t.Errorf("signals across the change: %v", c.Signals)
	}
	// As one chart, the five points before the change and five after lie on one side each; the ten alternate or hug.
	steady := ChartOptions{Target: new(15.0), Sigma: new(2.0), Rules: []Rule{N6}}
	whole, err := Individuals([]float64{18, 18, 18, 18, 18, 18}, steady)
	if err != nil {
		t.Fatal(err)
	}
	steady.Phases = []int{3}
	cut, err := Individuals([]float64{18, 18, 18, 18, 18, 18}, steady)
	if err != nil {
		t.Fatal(err)
	}
	if len(whole.Signals) == 0 || len(cut.Signals) != 0 {
		t.Errorf("whole %v, cut %v; a pattern of four must not be put together from two phases", whole.Signals, cut.Signals)
	}
}

// A phase is a chart of its own, whatever the chart.
func TestEachPhaseIsAChartOfItsOwn(t *testing.T) {
	groups, _ := groupsOf(t, "control-charts/thickness.csv", "day", "thickness")
	for name, draw := range map[string]func([]Summary, ChartOptions) (Chart, error){
		"xbar-s": XbarS, "xbar-r": XbarR, "between-within": BetweenWithin,
	} {
		rules := NelsonRules()
		both, err := draw(groups, ChartOptions{Phases: []int{0, 8}, Rules: rules})
		if err != nil {
			t.Fatal(err)
		}
		first, err := draw(groups[:8], ChartOptions{Rules: rules})
		if err != nil {
			t.Fatal(err)
		}
		second, err := draw(groups[8:], ChartOptions{Rules: rules})
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(both.Upper, slices.Concat(first.Upper, second.Upper)) || both.Limits != second.Limits ||
			!slices.Equal(both.Dispersion.Points, slices.Concat(first.Dispersion.Points, second.Dispersion.Points)) {
			t.Errorf("%s: lines are not those of the two phases", name)
		}
		if n := len(first.Signals) + len(second.Signals); len(both.Signals) != n {
			t.Errorf("%s: %d signals, want %d", name, len(both.Signals), n)
		}
		for i, signal := range both.Signals[len(first.Signals):] {
			if want := second.Signals[i].Points[0] + 8; signal.Points[0] != want {
				t.Errorf("%s: signal at %d, want %d", name, signal.Points[0], want)
			}
		}
		if both.MovingRange != nil && both.MovingRange.At[7] != 9 {
			t.Errorf("%s: first moving range of the second phase at %d, want 9", name, both.MovingRange.At[7])
		}
	}
}

func TestBasePeriodFreezesTheLines(t *testing.T) {
	groups, _ := groupsOf(t, "control-charts/thickness.csv", "day", "thickness")
	base, err := XbarS(groups[2:12], ChartOptions{})
	if err != nil {
		t.Fatal(err)
	}
	c, err := XbarS(groups, ChartOptions{Base: &Span{From: 2, To: 12}})
	if err != nil {
		t.Fatal(err)
	}
	if c.Limits != base.Limits || !c.Frozen || len(c.Points) != 20 || base.Frozen {
		t.Errorf("limits %v, want those of the base period %v", c.Limits, base.Limits)
	}
	counts, err := CChart([]int{4, 6, 5, 30}, ChartOptions{Base: &Span{From: 0, To: 3}})
	if err != nil || counts.Center != 5 || len(ends(counts.Signals, N1)) != 1 { // mean by hand
		t.Errorf("counts: %+v, %v", counts, err)
	}
}

func TestTargetAndSigmaReplaceEstimates(t *testing.T) {
	values := column(t, "control-charts/flowrate.csv", "flowrate")
	given, err := Individuals(values, ChartOptions{Target: new(50.0), Sigma: new(1.5)})
	if err != nil {
		t.Fatal(err)
	}
	if given.Upper[0] != 54.5 || given.Lower[0] != 45.5 || !given.Frozen { // 50 ± 3·1.5 by hand
		t.Errorf("limits %g to %g", given.Lower[0], given.Upper[0])
	}
	free, err := Individuals(values, ChartOptions{})
	if err != nil {
		t.Fatal(err)
	}
	moved, err := Individuals(values, ChartOptions{Target: new(50.0)})
	if err != nil {
		t.Fatal(err)
	}
	if moved.Center != 50 || moved.Limits.Sigma != free.Limits.Sigma || moved.Frozen {
		t.Errorf("target alone: %+v", moved.Limits)
	}
	// Figures that are given need no data to estimate them from.
	one, err := Individuals([]float64{70}, ChartOptions{Target: new(70.0), Sigma: new(2.0)})
	if err != nil || len(one.Points) != 1 {
		t.Errorf("one reading against given limits: %v", err)
	}
	groups, _ := groupsOf(t, "control-charts/thickness.csv", "day", "thickness")
	x, err := XbarR(groups, ChartOptions{Target: new(24.0), Sigma: new(1.0)})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "upper", x.Upper[0], 24+3/math.Sqrt(5), 1e-14) // by hand
	b, err := BetweenWithin(groups, ChartOptions{Target: new(24.0), Sigma: new(1.0)})
	if err != nil || b.Center != 24 || b.Limits.Sigma != 1 {
		t.Errorf("between/within: %+v, %v", b.Limits, err)
	}
}

func TestPhasesMustLieWithinTheChart(t *testing.T) {
	values := []float64{1, 3, 2, 4, 3, 5}
	for _, opt := range []ChartOptions{
		{Phases: []int{6}}, {Phases: []int{-1}}, {Phases: []int{4, 2}}, {Phases: []int{2, 2}},
		{Base: &Span{From: 0, To: 7}}, {Base: &Span{From: 3, To: 3}}, {Base: &Span{From: -1, To: 3}},
	} {
		_, err := Individuals(values, opt)
		fails(t, "span", err, ErrBadSpan)
	}
	_, err := Individuals(values, ChartOptions{Phases: []int{5}})
	fails(t, "a phase of one", err, ErrTooFewReadings)
	_, err = Individuals(values, ChartOptions{Target: new(3.0), Sigma: new(0.0)})
	fails(t, "no spread given", err, ErrNoSpread)
	_, err = Individuals(values, ChartOptions{Target: new(math.NaN())})
	fails(t, "target", err, ErrNotFinite)
}
