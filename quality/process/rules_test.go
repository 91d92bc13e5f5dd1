package process

import (
	"math"
	"slices"
	"strings"
	"testing"
)

func TestRulesSignalAtThePublishedPoints(t *testing.T) {
	series := map[string][]float64{}
	for _, row := range published(t, "run-rules/series.csv") {
		series[row["series"]] = append(series[row["series"]], num(t, row, "z"))
	}
	seen := map[Rule]bool{}
	for _, row := range published(t, "run-rules/expected.csv") {
		rule := Rule(strings.ToLower(row["rule"]))
		signals, err := RunRules(series[row["series"]], []Rule{rule})
		if err != nil {
			t.Fatal(err)
		}
		got, want := ends(signals, rule), points(t, row["signal_points"])
		if !slices.Equal(got, want) {
			t.Errorf("%s, %s: signals at %v, want %v (counted from 0)", row["series"], rule, got, want)
		}
		seen[rule] = seen[rule] || len(want) > 0
	}
	for rule := range patterns {
		if !seen[rule] {
			t.Errorf("no published series trips %s", rule)
		}
	}
}

func TestSignalHasThePointsOfItsPattern(t *testing.T) {
	for _, c := range []struct {
		name string
		z    []float64
		rule Rule
		want []int
	}{
		{"one beyond", []float64{0, -3.1}, N1, []int{1}},
		{"nine on one side", []float64{-1, .1, .2, .1, .2, .1, .2, .1, .2, .1}, N2, []int{1, 2, 3, 4, 5, 6, 7, 8, 9}},
		{"two of three", []float64{2.1, 0, 2.2}, N5, []int{0, 2}},
		{"other side does not count", []float64{-2.1, 2.3, 2.2}, N5, []int{1, 2}},
		{"four of five", []float64{0, -1.1, -1.2, .3, -1.3, -2}, N6, []int{1, 2, 4, 5}},
	} {
		signals, err := RunRules(c.z, []Rule{c.rule})
		if err != nil {
			t.Fatal(err)
		}
		if len(signals) != 1 || !slices.Equal(signals[0].Points, c.want) {
			t.Errorf("%s: got %v, want one signal at %v", c.name, signals, c.want)
		}
	}
}

func TestRoundingOnALineIsNoSignal(t *testing.T) {
	for _, z := range []float64{3, math.Nextafter(3, 4), 3 + 1e-12} {
		if signals, _ := RunRules([]float64{z}, NelsonRules()); len(signals) != 0 {
			t.Errorf("%v signals %v; a point on the limit is not beyond it", z, signals)
		}
	}
	if signals, _ := RunRules([]float64{3.000001}, nil); len(signals) != 1 {
		t.Errorf("3.000001 gives %v, want one signal", signals)
	}
}

func TestRulesSwitchOnAndOff(t *testing.T) {
	z := []float64{4, 4, 4, 4, 4, 4, 4, 4, 4}
	for text, want := range map[string]int{"": 0, "n1": 9, "n2": 1, "we4": 2, " N1 , we4": 11, "n3": 0} {
		rules, err := ParseRules(text)
		if err != nil {
			t.Fatal(err)
		}
		signals, err := RunRules(z, rules)
		if err != nil || len(signals) != want {
			t.Errorf("rules %q: %d signals (error %v), want %d", text, len(signals), err, want)
		}
	}
	if got, _ := ParseRules("nelson,zone"); !slices.Equal(got, append(NelsonRules(), ZoneRules()...)) {
		t.Errorf("nelson,zone is %v", got)
	}
	_, err := ParseRules("n1,n9")
	fails(t, "ParseRules", err, ErrUnknownRule)
	if !strings.Contains(err.Error(), `"n9"`) {
		t.Errorf("%v does not quote the unknown rule", err)
	}
	_, err = RunRules(z, []Rule{"n9"})
	fails(t, "RunRules", err, ErrUnknownRule)
	_, err = RunRules([]float64{0, math.NaN()}, nil)
	fails(t, "RunRules", err, ErrNotFinite)
}

func TestEveryRuleHasAPatternAndASentence(t *testing.T) {
	for _, rule := range append(NelsonRules(), ZoneRules()...) {
		if _, ok := patterns[rule]; !ok {
			t.Errorf("%s has no pattern", string(rule))
		}
		if rule.String() == string(rule) {
			t.Errorf("%s has no sentence", string(rule))
		}
	}
	if len(patterns) != 12 || len(sentences) != 14 {
		t.Errorf("%d patterns, %d sentences, want 12, and two more for CUSUM", len(patterns), len(sentences))
	}
}

// A series turned upside down signals at the same points.
func TestRulesTreatBothSidesAlike(t *testing.T) {
	series := map[string][]float64{}
	for _, row := range published(t, "run-rules/series.csv") {
		series[row["series"]] = append(series[row["series"]], num(t, row, "z"))
	}
	all := append(NelsonRules(), ZoneRules()...)
	for name, z := range series {
		up, err := RunRules(z, all)
		if err != nil {
			t.Fatal(err)
		}
		down := make([]float64, len(z))
		for i := range z {
			down[i] = -z[i]
		}
		mirrored, err := RunRules(down, all)
		if err != nil {
			t.Fatal(err)
		}
		same := slices.EqualFunc(up, mirrored, func(a, b Signal) bool {
			return a.Rule == b.Rule && slices.Equal(a.Points, b.Points)
		})
		if !same {
			t.Errorf("%s: %v, mirrored %v", name, up, mirrored)
		}
	}
}
