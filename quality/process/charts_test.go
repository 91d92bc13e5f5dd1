package process

import (
	"math"
	"slices"
	"strings"
	"testing"
)

// expectedChart are the rows of one chart in the file of worked charts.
func expectedChart(t *testing.T, name string) map[string]string {
	t.Helper()
	items := map[string]string{}
	for _, row := range published(t, "control-charts/expected.csv") {
		if row["chart"] == name {
			items[row["item"]] = row["expected"]
		}
	}
	if len(items) == 0 {
		t.Fatalf("no expected chart %q", name)
	}
	return items
}

// nearItem leaves room for the file's constants, which are rounded to 8 decimals.
func nearItem(t *testing.T, items map[string]string, item string, got float64) {
	t.Helper()
	near(t, item, got, num(t, items, item), 3e-8)
}

func TestIndividualsAgreesWithWorkedCharts(t *testing.T) {
	for _, c := range []struct{ name, column string }{{"flowrate", "flowrate"}, {"zarr13", "y"}} {
		values := column(t, "control-charts/"+c.name+".csv", c.column)
		items := expectedChart(t, "individuals:"+c.name)
		chart, err := Individuals(values, ChartOptions{Rules: []Rule{N1}})
		if err != nil {
			t.Fatal(err)
		}
		nearItem(t, items, "mean", chart.Center)
		nearItem(t, items, "sigma_mr", chart.Limits.Sigma)
		nearItem(t, items, "ucl_x", chart.Upper[0])
		nearItem(t, items, "lcl_x", chart.Lower[0])
		nearItem(t, items, "mr_bar", chart.Dispersion.Center)
		nearItem(t, items, "ucl_mr", chart.Dispersion.Upper[0])
		nearItem(t, items, "lcl_mr", chart.Dispersion.Lower[0])
		if got, want := ends(chart.Signals, N1), points(t, items["points_outside"]); !slices.Equal(got, want) {
			t.Errorf("%s: outside %v, want %v", c.name, got, want)
		}
		got, want := ends(chart.Dispersion.Signals, N1), points(t, items["mr_outside(index of later point)"])
		if !slices.Equal(got, want) {
			t.Errorf("%s: moving ranges outside %v, want %v", c.name, got, want)
		}
		if len(chart.Dispersion.Points) != len(values)-1 || chart.Dispersion.At[0] != 1 {
			t.Errorf("%s: moving ranges do not stand at their later readings", c.name)
		}
	}
}

func TestSubgroupChartsAgreeWithWorkedCharts(t *testing.T) {
	for _, c := range []struct{ name, by, column string }{
		{"thickness", "day", "thickness"}, {"gear", "batch", "diameter"},
	} {
		groups, _ := groupsOf(t, "control-charts/"+c.name+".csv", c.by, c.column)
		items := expectedChart(t, "subgroups:"+c.name)
		for kind, draw := range map[string]func([]Summary, ChartOptions) (Chart, error){"R": XbarR, "S": XbarS} {
			chart, err := draw(groups, ChartOptions{Rules: []Rule{N1}})
			if err != nil {
				t.Fatal(err)
			}
			if len(chart.Points) != len(groups) || len(groups) != integer(t, items, "k") {
				t.Errorf("%s: %d points of %d subgroups, want %s", c.name, len(chart.Points), len(groups), items["k"])
			}
			nearItem(t, items, "grand_mean", chart.Center)
			nearItem(t, items, "sigma_"+kind, chart.Limits.Sigma)
			nearItem(t, items, "ucl_xbar_"+kind, chart.Upper[0])
			nearItem(t, items, "lcl_xbar_"+kind, chart.Lower[0])
			nearItem(t, items, kind+"_bar", chart.Dispersion.Center)
			nearItem(t, items, "ucl_"+kind, chart.Dispersion.Upper[0])
			nearItem(t, items, "lcl_"+kind, chart.Dispersion.Lower[0])
			if got, want := ends(chart.Signals, N1), points(t, items["xbar_outside_"+kind+"_limits"]); !slices.Equal(got, want) {
				t.Errorf("%s, means: outside %v, want %v", c.name, got, want)
			}
			if got, want := ends(chart.Dispersion.Signals, N1), points(t, items[kind+"_outside"]); !slices.Equal(got, want) {
				t.Errorf("%s, %s: outside %v, want %v", c.name, kind, got, want)
			}
		}
		within, err := SpreadWithin(groups, PooledSD)
		if err != nil {
			t.Fatal(err)
		}
		nearItem(t, items, "s_pooled", within.Sigma)
		nearItem(t, items, "sd_overall", MergeAll(groups).sd())
	}
}

func TestLimitsCollapseWhenNothingVaries(t *testing.T) {
	constant := []float64{70.1, 70.1, 70.1, 70.1, 70.1, 70.1}
	_, err := Individuals(constant, ChartOptions{})
	fails(t, "individuals", err, ErrNoSpread)
	same := summarize(t, constant...)
	for name, draw := range subgroupCharts {
		_, err := draw([]Summary{same, same, same}, ChartOptions{})
		fails(t, name, err, ErrNoSpread)
	}
}

var subgroupCharts = map[string]func([]Summary, ChartOptions) (Chart, error){
	"xbar-s": XbarS, "xbar-r": XbarR, "between-within": BetweenWithin,
}

func TestLinesMoveWithSubgroupSize(t *testing.T) {
	groups := []Summary{summarize(t, 9, 10, 11, 12), summarize(t, 10), summarize(t, 8, 11), summarize(t, 9, 10, 12)}
	chart, err := XbarS(groups, ChartOptions{Limits: &Limits{Center: 10, Sigma: 2}})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{13, 16, 10 + 6/math.Sqrt2, 10 + 6/math.Sqrt(3)} { // by hand: 10 + 3·2/√n
		near(t, "upper line", chart.Upper[i], want, 1e-14)
		near(t, "lower line", chart.Lower[i], 20-want, 1e-13)
	}
	if !slices.Equal(chart.Dispersion.At, []int{0, 2, 3}) {
		t.Errorf("standard deviations stand at %v; a subgroup of one has none", chart.Dispersion.At)
	}
	near(t, "centre of s, n 2", chart.Dispersion.Centers[1], 2*math.Sqrt(2/math.Pi), 1e-14)
	near(t, "upper line of s, n 2", chart.Dispersion.Upper[1], 2*2.60631539, 1e-8) // B6·σ
	if !chart.Frozen {
		t.Error("given limits are frozen")
	}
}

func TestUnequalSubgroupsWeighByTheirInformation(t *testing.T) {
	groups, _ := groupsOf(t, "capability/subgroups_unequal.csv", "subgroup", "film_um")
	want := map[string]float64{}
	for _, row := range published(t, "capability/subgroups_unequal_expected.csv") {
		want[row["item"]] = num(t, row, "value")
	}
	for method, item := range map[Within]string{
		PooledSD: "s_pooled", FromSBar: "sigma from S, weights c4^2/(1-c4^2)", FromRBar: "sigma from R, weights d2^2/d3^2",
	} {
		spread, err := SpreadWithin(groups, method)
		if err != nil {
			t.Fatal(err)
		}
		near(t, item, spread.Sigma, want[item], 1e-8)
	}
	spread, _ := SpreadWithin(groups, PooledSD)
	near(t, "degrees of freedom", spread.DF, want["pooled_df"], 0)
	all := MergeAll(groups)
	near(t, "overall mean", all.Mean, want["mean"], 1e-11)
	near(t, "overall sd", all.sd(), want["sd_overall"], 1e-11)
}

func TestFrozenLimitsDoNotMoveWithNewData(t *testing.T) {
	groups, _ := groupsOf(t, "control-charts/thickness.csv", "day", "thickness")
	base, err := XbarS(groups[:15], ChartOptions{})
	if err != nil {
		t.Fatal(err)
	}
	later, err := XbarS(groups, ChartOptions{Limits: &base.Limits})
	if err != nil {
		t.Fatal(err)
	}
	if later.Upper[19] != base.Upper[0] || later.Limits != base.Limits || !later.Frozen {
		t.Errorf("limits moved from %v to %v", base.Limits, later.Limits)
	}
	free, err := XbarS(groups, ChartOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if free.Upper[0] == base.Upper[0] {
		t.Error("the new data would not have moved the limits: the test shows nothing")
	}
}

// parts makes subgroups with a level of their own each, as spots on parts have.
func parts(t *testing.T, levels []float64, spots ...float64) []Summary {
	t.Helper()
	groups := make([]Summary, len(levels))
	for i, level := range levels {
		wider := 1 + 0.3*math.Sin(2.3*float64(i)) // the spread within has a spread of its own
		for _, spot := range spots {
			if err := groups[i].Add(level + spot*wider); err != nil {
				t.Fatal(err)
			}
		}
	}
	return groups
}

// Levels that jump about by far more than the spots of one part explain, without trend: a stable line.
var jumping = []float64{80, 84, 77, 81, 85, 78, 82, 76, 83, 79, 80, 86, 77, 82, 78, 84, 79, 81, 76, 83, 80, 85, 78, 82, 79, 77, 84, 81}

func TestPartsThatDifferAreJudgedByHowTheyDiffer(t *testing.T) {
	groups := parts(t, jumping, -1, 0.5, 1, -0.5)
	plain, err := XbarS(groups, ChartOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if n := len(ends(plain.Signals, N1)); n < len(groups)/3 {
		t.Errorf("an X̄-s chart of parts signals %d times; the example should show why it is the wrong chart", n)
	}
	chart, err := BetweenWithin(groups, ChartOptions{Rules: NelsonRules()[:2]})
	if err != nil {
		t.Fatal(err)
	}
	if !chart.Stable() {
		t.Errorf("between/within chart signals: %v, %v", chart.Signals, chart.Dispersion.Signals)
	}
	means := make([]float64, len(groups))
	for i, s := range groups {
		means[i] = s.Mean
	}
	single, err := Individuals(means, ChartOptions{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "upper line of part means", chart.Upper[0], single.Upper[0], 1e-12)
	near(t, "moving ranges of part means", chart.MovingRange.Center, single.Dispersion.Center, 1e-12)
	within, _ := SpreadWithin(groups, PooledSD)
	near(t, "spread within parts", chart.Limits.Sigma, within.Sigma, 1e-14)
	near(t, "its centre line", chart.Dispersion.Center, c4(4)*within.Sigma, 1e-14)
}

func TestBetweenWithinFindsWhatChanges(t *testing.T) {
	shifted := slices.Clone(jumping)
	for i := 18; i < len(shifted); i++ {
		shifted[i] += 8
	}
	chart, err := BetweenWithin(parts(t, shifted, -1, 0.5, 1, -0.5), ChartOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if chart.Stable() || len(ends(chart.Signals, N2)) == 0 {
		t.Errorf("a lasting shift from part 19 gives %v", chart.Signals)
	}
	wide := parts(t, jumping, -1, 0.5, 1, -0.5)
	wide[11] = summarize(t, 70, 90, 78, 86)
	chart, err = BetweenWithin(wide, ChartOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if got := ends(chart.Dispersion.Signals, N1); !slices.Equal(got, []int{11}) || chart.Stable() {
		t.Errorf("one part with wide spots: signals of spread at %v, want part 11; stable %v", got, chart.Stable())
	}
}

func TestComponentsOfParts(t *testing.T) {
	// By hand: means 10, 14, 10, 14 have moving ranges of 4; spots ±1 have variance 2 within.
	groups := []Summary{summarize(t, 9, 11), summarize(t, 13, 15), summarize(t, 9, 11), summarize(t, 13, 15)}
	c, err := BetweenParts(groups)
	if err != nil {
		t.Fatal(err)
	}
	d2 := 2 / math.Sqrt(math.Pi)
	near(t, "within", c.Within, math.Sqrt2, 1e-14)
	near(t, "means", c.Means, 4/d2, 1e-12)
	near(t, "between", c.Between, math.Sqrt(16/d2/d2-2.0/2), 1e-12)
	spread, err := SpreadWithin(groups, BetweenAndWithin)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "both", spread.Sigma, math.Sqrt(16/d2/d2-1+2), 1e-12)

	alike := []Summary{summarize(t, 8, 12), summarize(t, 12.1, 8), summarize(t, 8, 12), summarize(t, 8.1, 12)}
	c, err = BetweenParts(alike)
	if err != nil {
		t.Fatal(err)
	}
	if !c.NegativeBetween || c.Between != 0 {
		t.Errorf("parts that hardly differ: between %g, negative %v; want 0, true", c.Between, c.NegativeBetween)
	}
}

func TestChartsSayWhatTheyCannotDraw(t *testing.T) {
	good := []Summary{summarize(t, 1, 2), summarize(t, 2, 4)}
	for name, draw := range subgroupCharts {
		_, err := draw(good[:1], ChartOptions{})
		fails(t, name+" of one subgroup", err, ErrTooFewSubgroups)
		_, err = draw([]Summary{good[0], {}, good[1]}, ChartOptions{})
		fails(t, name+" with an empty subgroup", err, ErrTooFewReadings)
		if !strings.Contains(err.Error(), "subgroup 2") {
			t.Errorf("%v does not say which subgroup", err)
		}
		_, err = draw([]Summary{summarize(t, 1), summarize(t, 2)}, ChartOptions{})
		fails(t, name+" of single readings", err, ErrTooFewReadings)
		_, err = draw([]Summary{good[0], {N: 2, Mean: 9, Min: 1, Max: 2}}, ChartOptions{})
		fails(t, name+" with a false summary", err, ErrBadSummary)
		_, err = draw(good, ChartOptions{Rules: []Rule{"n9"}})
		fails(t, name+" with a false rule", err, ErrUnknownRule)
		_, err = draw(good, ChartOptions{Limits: &Limits{Center: 1}})
		fails(t, name+" with limits without spread", err, ErrNoSpread)
		_, err = draw(good, ChartOptions{Limits: &Limits{Center: math.NaN(), Sigma: 1, Between: 1}})
		fails(t, name+" with limits that are no numbers", err, ErrNotFinite)
	}
	_, err := Individuals([]float64{1}, ChartOptions{})
	fails(t, "individuals of one", err, ErrTooFewReadings)
	_, err = Individuals(nil, ChartOptions{Limits: &Limits{Center: 1, Sigma: 1}})
	fails(t, "individuals of none", err, ErrTooFewReadings)
	_, err = Individuals([]float64{1, math.Inf(1)}, ChartOptions{})
	fails(t, "individuals with infinity", err, ErrNotFinite)
	_, err = SpreadWithin(good, "guess")
	fails(t, "unknown estimate", err, ErrUnknownMethod)
	_, err = SpreadWithin(good, FromMovingRange)
	fails(t, "moving range of pairs", err, ErrSubgroupSize)
}

func TestChartWithoutRulesIsQuiet(t *testing.T) {
	groups, _ := groupsOf(t, "control-charts/thickness.csv", "day", "thickness")
	chart, err := XbarS(groups, ChartOptions{Rules: []Rule{}})
	if err != nil {
		t.Fatal(err)
	}
	if !chart.Stable() || len(chart.Signals)+len(chart.Dispersion.Signals) != 0 {
		t.Errorf("signals without rules: %v, %v", chart.Signals, chart.Dispersion.Signals)
	}
}
