package process

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Rule names one run rule. The numbers are Nelson's (n1 to n8) and those of the four zone rules (we1 to we4).
type Rule string

// Nelson's eight rules and the four zone rules. Sigma is the standard error of the plotted point. "Beyond" is strict:
// a point on a line is not beyond it, and a point on the centre line is on neither side.
//
// Source: Nelson 1984, Journal of Quality Technology 16(4); Western Electric handbook 1956 (from memory, unverified).
const (
	N1 Rule = "n1" // 1 point beyond 3 sigma
	N2 Rule = "n2" // 9 points in a row on one side of the centre line
	N3 Rule = "n3" // 6 points in a row rising, or falling: 5 steps
	N4 Rule = "n4" // 14 points in a row alternating up and down: 13 steps
	N5 Rule = "n5" // 2 of 3 points beyond 2 sigma on the same side, the last one of them
	N6 Rule = "n6" // 4 of 5 points beyond 1 sigma on the same side, the last one of them
	N7 Rule = "n7" // 15 points in a row within 1 sigma, on either side
	N8 Rule = "n8" // 8 points in a row beyond 1 sigma, both sides present

	WE1 Rule = "we1" // as n1
	WE2 Rule = "we2" // as n5
	WE3 Rule = "we3" // as n6
	WE4 Rule = "we4" // 8 points in a row on one side of the centre line

	// The two signals of CUSUM, which are not run rules and cannot be chosen.
	CusumHigh Rule = "cusum-high" // the upper sum beyond h
	CusumLow  Rule = "cusum-low"  // the lower sum beyond h
)

// sentences says each rule as a supervisor reads it.
var sentences = map[Rule]string{
	N1: "1 point beyond 3 sigma", N2: "9 points in a row on one side", N3: "6 points in a row rising or falling",
	N4: "14 points in a row alternating up and down", N5: "2 of 3 points beyond 2 sigma on one side",
	N6: "4 of 5 points beyond 1 sigma on one side", N7: "15 points in a row within 1 sigma",
	N8: "8 points in a row beyond 1 sigma, on both sides", WE1: "1 point beyond 3 sigma",
	WE2: "2 of 3 points beyond 2 sigma on one side", WE3: "4 of 5 points beyond 1 sigma on one side",
	WE4: "8 points in a row on one side",

	CusumHigh: "upper cumulative sum beyond its limit", CusumLow: "lower cumulative sum beyond its limit",
}

// String returns what the rule looks for, in words: "9 points in a row on one side".
func (r Rule) String() string {
	if text, ok := sentences[r]; ok {
		return text
	}
	return string(r)
}

// NelsonRules returns n1 to n8. All eight together raise a false alarm about every 70 points; use some of them.
func NelsonRules() []Rule { return []Rule{N1, N2, N3, N4, N5, N6, N7, N8} }

// ZoneRules returns we1 to we4.
func ZoneRules() []Rule { return []Rule{WE1, WE2, WE3, WE4} }

// DefaultRules returns n1 and n2: one point far out, and a lasting shift. Each raises a false alarm about every 370
// points or less often; every further rule finds a drift sooner and cries wolf more.
func DefaultRules() []Rule { return []Rule{N1, N2} }

// ParseRules reads a choice of rules: "nelson", "zone", or names separated by commas such as "n1,n2,we3". Spaces and
// capitals do not matter. An empty text is no rules. It returns ErrUnknownRule, naming the word, for anything else.
func ParseRules(text string) ([]Rule, error) {
	chosen := []Rule{}
	for word := range strings.SplitSeq(strings.ToLower(text), ",") {
		switch word = strings.TrimSpace(word); word {
		case "":
		case "nelson":
			chosen = append(chosen, NelsonRules()...)
		case "zone":
			chosen = append(chosen, ZoneRules()...)
		default:
			if _, known := patterns[Rule(word)]; !known {
				return nil, fmt.Errorf("%q: %w", word, ErrUnknownRule)
			}
			chosen = append(chosen, Rule(word))
		}
	}
	return chosen, nil
}

// Signal is one pattern that a rule found.
type Signal struct {
	Rule Rule
	// Points are the points of the pattern, counted from 0 in the order of the chart; the last one completes it. A
	// pattern that goes on signals again at each further point.
	Points []int
}

// RunRules returns the signals of the rules on z, points in sigma units about their centre line (0 on the line, 3 on
// the upper limit), by rule and then in order. Nil rules mean DefaultRules; z is not changed.
//
// Points within 1e-9 sigma of a line count as on it, so that rounding never makes a signal. It returns ErrNotFinite
// for a point that is no number and ErrUnknownRule for a rule that does not exist.
func RunRules(z []float64, rules []Rule) ([]Signal, error) {
	for i, value := range z {
		if !ordinary(value) {
			return nil, fmt.Errorf("point %d: %w", i+1, ErrNotFinite)
		}
	}
	return runRules(z, z, rules)
}

// runRules evaluates the rules on one unbroken stretch of a chart. The steps of n3 and n4 are judged on the plotted
// values: with unequal subgroups a lower point can be the higher one in sigma units.
func runRules(values, z []float64, rules []Rule) ([]Signal, error) {
	if rules == nil {
		rules = DefaultRules()
	}
	var found []Signal
	for _, rule := range rules {
		pattern, ok := patterns[rule]
		if !ok {
			return nil, fmt.Errorf("%q: %w", string(rule), ErrUnknownRule)
		}
		for end := pattern.length; end <= len(z); end++ {
			window := end - pattern.length
			if points := pattern.match(values[window:end], z[window:end]); points != nil {
				for i := range points {
					points[i] += window
				}
				found = append(found, Signal{Rule: rule, Points: points})
			}
		}
	}
	return found, nil
}

// touch is the distance, in sigma, within which a point lies on a line.
const touch = 1e-9

// pattern is one rule: the window that it looks at, and which points of the window form the pattern, nil for none.
type pattern struct {
	length int
	match  func(values, z []float64) []int
}

var patterns = map[Rule]pattern{
	N1: {1, someBeyond(1, 3)}, N2: {9, oneSide}, N3: {6, trend}, N4: {14, alternating},
	N5: {3, someBeyond(2, 2)}, N6: {5, someBeyond(4, 1)}, N7: {15, hugging}, N8: {8, avoiding},
	WE1: {1, someBeyond(1, 3)}, WE2: {3, someBeyond(2, 2)}, WE3: {5, someBeyond(4, 1)}, WE4: {8, oneSide},
}

// someBeyond matches when the last point lies beyond the line and, with it, at least need points on the same side.
func someBeyond(need int, line float64) func(values, z []float64) []int {
	return func(_, z []float64) []int {
		last := z[len(z)-1]
		if math.Abs(last) <= line+touch {
			return nil
		}
		side := math.Copysign(1, last)
		var points []int
		for i, value := range z {
			if side*value > line+touch {
				points = append(points, i)
			}
		}
		if len(points) < need {
			return nil
		}
		return points
	}
}

func oneSide(_, z []float64) []int {
	side := math.Copysign(1, z[0])
	for _, value := range z {
		if side*value <= touch {
			return nil
		}
	}
	return whole(z)
}

func trend(values, _ []float64) []int {
	direction := step(values, 1)
	for i := 1; i < len(values); i++ {
		if direction == 0 || step(values, i) != direction {
			return nil
		}
	}
	return whole(values)
}

func alternating(values, _ []float64) []int {
	direction := step(values, 1)
	for i := 1; i < len(values); i++ {
		if direction == 0 || step(values, i) != direction {
			return nil
		}
		direction = -direction
	}
	return whole(values)
}

// step is the direction from point i-1 to point i: -1, 0 or 1.
func step(values []float64, i int) int {
	switch {
	case values[i] > values[i-1]:
		return 1
	case values[i] < values[i-1]:
		return -1
	}
	return 0
}

func hugging(_, z []float64) []int {
	if slices.ContainsFunc(z, func(value float64) bool { return math.Abs(value) > 1+touch }) {
		return nil
	}
	return whole(z)
}

func avoiding(_, z []float64) []int {
	above := 0
	for _, value := range z {
		if math.Abs(value) <= 1+touch {
			return nil
		}
		if value > 0 {
			above++
		}
	}
	if above == 0 || above == len(z) {
		return nil
	}
	return whole(z)
}

// whole is every point of the window.
func whole(z []float64) []int {
	points := make([]int, len(z))
	for i := range points {
		points[i] = i
	}
	return points
}
