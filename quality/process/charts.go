package process

import (
	"fmt"
	"math"
)

// Kind names a chart.
type Kind string

// The charts of this package.
const (
	KindXbarS         Kind = "xbar-s"
	KindXbarR         Kind = "xbar-r"
	KindIndividuals   Kind = "individuals"
	KindBetweenWithin Kind = "between-within"
	KindEWMA          Kind = "ewma"
	KindCUSUM         Kind = "cusum"
	KindP             Kind = "p"
	KindNP            Kind = "np"
	KindC             Kind = "c"
	KindU             Kind = "u"
)

// Limits are the few figures from which all lines of a chart follow, for subgroups of any size. A chart returns those
// it used; keep them with the name of the base period, and give them back to freeze the lines.
type Limits struct {
	// Center is the centre line: the grand mean, or the mean of the part means for KindBetweenWithin; the share of
	// defective parts for KindP and KindNP, the defects of one sample for KindC and of one unit for KindU.
	Center float64
	// Sigma is the spread of single readings: within subgroups, or from moving ranges for KindIndividuals. Charts of
	// counts have none: it follows from Center.
	Sigma float64
	// Between is the spread of subgroup means from their moving ranges. Only KindBetweenWithin has it.
	Between float64
}

// ChartOptions chooses what a chart compares its points with. The zero value takes limits from the data and
// DefaultRules.
type ChartOptions struct {
	// Limits, when given, are frozen or agreed limits, used for every phase; nil computes them from the points of the
	// chart itself.
	Limits *Limits
	// Base, when given, computes the limits from these points alone and holds all others against them.
	Base *Span
	// Target and Sigma, when given, stand in for the centre line and the spread of single readings that would be
	// estimated. Limits and a Base that was frozen with them go before.
	Target, Sigma *float64
	// Phases are the points, counted from 0 and rising, at which the process was changed: each starts a phase with limits
	// of its own (unless Limits or Base fix them), and no run rule and no moving range reaches across.
	Phases []int
	// Rules are the run rules in use; nil means DefaultRules, an empty slice none.
	Rules []Rule
}

// Panel is one of the pictures of a chart: points with their lines.
type Panel struct {
	// At is the position of each point in the input, counted from 0: a moving range stands at its later reading, and a
	// subgroup of one has no standard deviation to show.
	At []int
	// Points, Lower, Upper and Centers have one value for each point; the lines are 3 standard errors from the centre
	// and move with the subgroup size.
	Points, Lower, Centers, Upper []float64
	// Center is the centre line, or the mean of the centre lines where they move.
	Center float64
	// Signals are the patterns found, with points counted as in At.
	Signals []Signal
}

// Chart is a control chart: the level in the embedded Panel, the spread in Dispersion.
type Chart struct {
	Kind   Kind
	Limits Limits // what the lines were computed from; those of the last phase
	Frozen bool   // whether the limits were given, or come from a base period
	Phases []Phase
	Panel
	// Dispersion is the chart of standard deviations, ranges or moving ranges that belongs to the level. It is empty for
	// charts of counts and KindEWMA.
	Dispersion Panel
	// MovingRange is the third panel of KindBetweenWithin, moving ranges of the part means; nil otherwise.
	MovingRange *Panel
}

// Stable tells whether no rule signals on the level, nor on the spread within subgroups. Moving ranges are left out:
// a shift that they show, the level shows too, and alone they give a false alarm about every 110 points.
func (c Chart) Stable() bool { return len(c.Signals) == 0 && len(c.withinSignals()) == 0 }

// withinSignals are the signals of the spread within subgroups.
func (c Chart) withinSignals() []Signal {
	if c.Kind == KindIndividuals {
		return nil
	}
	return c.Dispersion.Signals
}

// line is what one point is compared with.
type line struct {
	at                   int
	point, center, sigma float64
	floor                bool    // the lower limit does not go below 0: ranges, standard deviations and counts
	ceiling              float64 // the upper limit does not go above it: shares; 0 for none
}

// panel draws n lines, which next gives one after the other, and runs the rules.
func panel(n int, next func(i int) line, rules []Rule) (Panel, error) {
	values := make([]float64, 5*n) // one allocation for all columns: charts of 100,000 parts are drawn
	column := func(i int) []float64 { return values[i*n : (i+1)*n : (i+1)*n] }
	p := Panel{At: make([]int, n), Points: column(0), Lower: column(1), Centers: column(2), Upper: column(3)}
	z := column(4)
	for i := range n {
		l := next(i)
		p.At[i], p.Points[i], p.Centers[i] = l.at, l.point, l.center
		p.Lower[i], p.Upper[i] = l.center-3*l.sigma, l.center+3*l.sigma
		if l.floor {
			p.Lower[i] = max(0, p.Lower[i])
		}
		if l.ceiling > 0 {
			p.Upper[i] = min(l.ceiling, p.Upper[i])
		}
		z[i] = (l.point - l.center) / l.sigma
		if !ordinary(z[i]) || !ordinary(p.Lower[i]) || !ordinary(p.Upper[i]) {
			return Panel{}, fmt.Errorf("point %d: %w", l.at+1, ErrNotFinite)
		}
		p.Center += (l.center - p.Center) / float64(i+1)
	}
	signals, err := runRules(p.Points, z, rules)
	if err != nil {
		return Panel{}, err
	}
	for _, signal := range signals {
		for i, at := range signal.Points {
			signal.Points[i] = p.At[at]
		}
	}
	p.Signals = signals
	return p, nil
}

// spreadRules keeps the rules that mean something on a chart of spread, whose law is skewed: a point outside the limits, runs,
// trends and alternation. The zones between are drawn for a symmetric law.
func spreadRules(rules []Rule) []Rule {
	return keepRules(rules, N1, N2, N3, N4, WE1, WE4)
}

// rangeRules keeps the one rule that neighbouring moving ranges allow: they share a reading, so that runs are no news.
func rangeRules(rules []Rule) []Rule { return keepRules(rules, N1, WE1) }

func keepRules(rules []Rule, allowed ...Rule) []Rule {
	if rules == nil {
		rules = DefaultRules()
	}
	kept := []Rule{}
	for _, rule := range rules {
		_, known := patterns[rule]
		for _, a := range allowed {
			if rule == a {
				kept = append(kept, rule)
			}
		}
		if !known {
			kept = append(kept, rule) // so that the unknown name is reported
		}
	}
	return kept
}

// sample is subgroups known to be valid, each with readings, and the summary of them all.
type sample struct {
	groups []Summary
	all    Summary
}

// checkSubgroups refuses what nothing can be computed from, and leaves positions as they are so that every point still
// leads to its record.
func checkSubgroups(subgroups []Summary) (sample, error) {
	checked := sample{groups: subgroups}
	for i, s := range subgroups {
		if err := s.Check(); err != nil {
			return sample{}, fmt.Errorf("subgroup %d: %w", i+1, err)
		}
		if s.N == 0 {
			return sample{}, fmt.Errorf("subgroup %d: %w", i+1, ErrTooFewReadings)
		}
		checked.all.Merge(s)
	}
	return checked, nil
}

// atLeast returns ErrTooFewSubgroups below so many subgroups.
func (s sample) atLeast(least int) error {
	if len(s.groups) < least {
		return fmt.Errorf("%d subgroups, %d needed: %w", len(s.groups), least, ErrTooFewSubgroups)
	}
	return nil
}

// check refuses given limits that are no limits.
func (l Limits) check(spread float64) error {
	if !ordinary(l.Center) || !ordinary(l.Sigma) || !ordinary(l.Between) {
		return fmt.Errorf("chart limits: %w", ErrNotFinite)
	}
	if l.Sigma < 0 || l.Between < 0 || !varies(spread, 0) {
		return fmt.Errorf("chart limits: %w", ErrNoSpread)
	}
	return nil
}

// size is the largest magnitude among the readings, the yardstick for what is rounding and what is spread.
func size(all Summary) float64 { return max(math.Abs(all.Min), math.Abs(all.Max)) }
