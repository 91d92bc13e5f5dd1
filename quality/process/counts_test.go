package process

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// whole reads one column of whole numbers.
func wholes(t testing.TB, name, key string) []int {
	t.Helper()
	var values []int
	for _, x := range column(t, name, key) {
		values = append(values, int(x))
	}
	return values
}

// items reads the expected items of one chart; items that are no number are left out.
func items(t testing.TB, name, chart string) (numbers map[string]float64, texts map[string]string) {
	t.Helper()
	numbers, texts = map[string]float64{}, map[string]string{}
	for _, row := range published(t, name) {
		if row["chart"] == chart {
			texts[row["item"]] = row["expected"]
			if x, err := strconv.ParseFloat(row["expected"], 64); err == nil {
				numbers[row["item"]] = x
			}
		}
	}
	return numbers, texts
}

func TestCountChartsAgreeWithPublishedValues(t *testing.T) {
	const wafers, motors, wire = "attributes/nist_p_wafers.csv", "attributes/motors_p.csv", "attributes/wire_u.csv"
	opt := ChartOptions{Rules: []Rule{N1}}
	draw := func(c Chart, err error) Chart {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	for _, c := range []struct {
		name, center string
		chart        Chart
	}{
		{"c:nist_wafers", "c_bar", draw(CChart(wholes(t, "attributes/nist_c_wafers.csv", "defects"), opt))},
		{"p:nist_wafers", "p_bar", draw(PChart(wholes(t, wafers, "defective"), wholes(t, wafers, "n"), opt))},
		{"p:motors", "p_bar", draw(PChart(wholes(t, motors, "defective"), wholes(t, motors, "n"), opt))},
		{"u:wire", "u_bar", draw(UChart(wholes(t, wire, "cracks"), column(t, wire, "length_m"), opt))},
	} {
		want, texts := items(t, "attributes/expected.csv", c.name)
		near(t, c.name+" centre", c.chart.Center, want[c.center], 1e-8)
		checked := 0
		for item, value := range want {
			side, at, found := strings.Cut(item, "_")
			if item == "ucl" || item == "lcl" {
				side, at, found = item, "1", true
			}
			if at == "last" {
				at = strconv.Itoa(len(c.chart.Points))
			}
			i, err := strconv.Atoi(at)
			if !found || err != nil {
				continue
			}
			line := c.chart.Upper
			if side == "lcl" {
				line = c.chart.Lower
			}
			near(t, c.name+" "+item, line[i-1], value, 1e-8)
			checked++
		}
		if checked < 2 {
			t.Errorf("%s: %d limits checked", c.name, checked)
		}
		if got, want := ends(c.chart.Signals, N1), points(t, texts["outside"]); !slices.Equal(got, want) {
			t.Errorf("%s: outside %v, want %v", c.name, got, want)
		}
		if largest, known := want["largest standardised |z|"]; known {
			z := 0.0
			for i, x := range c.chart.Points {
				n := float64(wholes(t, map[string]string{"p:motors": motors, "p:nist_wafers": wafers}[c.name], "n")[i])
				z = max(z, math.Abs(x-c.chart.Center)/math.Sqrt(c.chart.Center*(1-c.chart.Center)/n))
			}
			near(t, c.name+" largest z", z, largest, 1e-8)
		}
	}
	want, _ := items(t, "attributes/expected.csv", "p:nist_wafers")
	np := draw(NPChart(wholes(t, wafers, "defective"), wholes(t, wafers, "n"), opt))
	near(t, "np centre", np.Center, want["np_bar"], 1e-8)
	near(t, "np upper", np.Upper[0], want["np_ucl"], 1e-8)
	near(t, "np lower", np.Lower[0], want["np_lcl"], 1e-8)
}

// Shares and numbers of defective parts tell the same story: signals agree, and the lines are n times as high.
func TestNumberAndShareChartsAgree(t *testing.T) {
	defective, sizes := wholes(t, "attributes/motors_p.csv", "defective"), wholes(t, "attributes/motors_p.csv", "n")
	p, err := PChart(defective, sizes, ChartOptions{Rules: []Rule{N1, N2, N5, N6, N7, N8}})
	if err != nil {
		t.Fatal(err)
	}
	np, err := NPChart(defective, sizes, ChartOptions{Rules: []Rule{N1, N2, N5, N6, N7, N8}})
	if err != nil {
		t.Fatal(err)
	}
	for i, n := range sizes {
		near(t, "upper", np.Upper[i], p.Upper[i]*float64(n), 1e-12)
		near(t, "centre", np.Centers[i], p.Centers[i]*float64(n), 1e-12)
	}
	if !slices.EqualFunc(p.Signals, np.Signals, func(a, b Signal) bool { return a.Rule == b.Rule && slices.Equal(a.Points, b.Points) }) {
		t.Errorf("signals %v and %v", p.Signals, np.Signals)
	}
}

func TestCountLimitsStayWithinWhatCanBe(t *testing.T) {
	c, err := PChart([]int{0, 1, 5, 5}, []int{2, 2, 5, 5}, ChartOptions{Target: new(0.8)})
	if err != nil {
		t.Fatal(err)
	}
	if slices.Min(c.Lower) < 0 || slices.Max(c.Upper) > 1 || !c.Frozen || c.Center != 0.8 {
		t.Errorf("limits %v to %v about %g", c.Lower, c.Upper, c.Center)
	}
	quiet, err := CChart([]int{0, 0, 1, 2, 0, 1}, ChartOptions{Rules: []Rule{N1}})
	if err != nil {
		t.Fatal(err)
	}
	if len(quiet.Signals) != 0 || slices.Max(quiet.Lower) != 0 {
		t.Errorf("a lower limit of 0 signals: %v, limits %v", quiet.Signals, quiet.Lower)
	}
}

func TestCountChartsRefuseBadInput(t *testing.T) {
	for name, c := range map[string]struct {
		counts, sizes []int
		target        *float64
		want          error
	}{
		"none": {nil, nil, nil, ErrTooFewSubgroups}, "lengths": {[]int{1, 2}, []int{5}, nil, ErrBadCount},
		"negative": {[]int{-1}, []int{5}, nil, ErrBadCount}, "too many": {[]int{6}, []int{5}, nil, ErrBadCount},
		"empty": {[]int{0}, []int{0}, nil, ErrBadCount}, "all good": {[]int{0, 0}, []int{5, 5}, nil, ErrNoSpread},
		"all bad": {[]int{5, 5}, []int{5, 5}, nil, ErrNoSpread}, "target": {[]int{1}, []int{5}, new(1.5), ErrBadLimits},
	} {
		_, err := PChart(c.counts, c.sizes, ChartOptions{Target: c.target})
		fails(t, name, err, c.want)
		_, err = NPChart(c.counts, c.sizes, ChartOptions{Target: c.target})
		fails(t, name, err, c.want)
	}
	_, err := UChart([]int{1}, []float64{math.NaN()}, ChartOptions{})
	fails(t, "NaN size", err, ErrBadCount)
	_, err = CChart([]int{0, 0}, ChartOptions{})
	fails(t, "no defects", err, ErrNoSpread)
	_, err = CChart([]int{1, 2}, ChartOptions{Target: new(-1.0)})
	fails(t, "negative target", err, ErrBadLimits)
}
