package process

import (
	"fmt"
	"math"
)

// XbarS returns the chart of subgroup means and standard deviations. Each subgroup is given by its summary, in time
// order; sizes may differ, and the lines then move from point to point:
//
//	means: x̿ ± 3σ̂/√nᵢ     standard deviations: σ̂(c₄(nᵢ) ± 3√(1-c₄(nᵢ)²)), not below 0
//
// x̿ is the mean of all readings and σ̂ the estimate FromSBar. Where opt gives either, it is used instead. The unit is that of the readings. A subgroup of one has a mean but no point under Dispersion.
//
// The chart assumes that readings within a subgroup are independent and show the spread that the means should have by
// chance. Spots on a part do not: there every mean signals, and BetweenWithin is the chart.
//
// It returns ErrTooFewSubgroups below two subgroups (one when limits are given), ErrTooFewReadings for an empty
// subgroup or when none has two readings, ErrNoSpread when nothing varies within subgroups: limits would collapse to
// one line and mean nothing; ErrNotFinite, ErrBadSummary and ErrUnknownRule for input that is none.
//
// Source: NIST/SEMATECH e-Handbook 6.3.2.1 (from memory, unverified).
func XbarS(subgroups []Summary, opt ChartOptions) (Chart, error) {
	s, err := checkSubgroups(subgroups)
	if err != nil {
		return Chart{}, fmt.Errorf("%s chart: %w", KindXbarS, err)
	}
	return s.xbar(KindXbarS, opt)
}

// XbarR returns the chart of subgroup means and ranges, as XbarS does with σ̂ the estimate FromRBar and
//
//	ranges: σ̂(d₂(nᵢ) ± 3d₃(nᵢ)), not below 0
//
// The range wastes information in subgroups over about 10; prefer XbarS there. Errors are those of XbarS.
//
// Source: NIST/SEMATECH e-Handbook 6.3.2.1 (from memory, unverified).
func XbarR(subgroups []Summary, opt ChartOptions) (Chart, error) {
	s, err := checkSubgroups(subgroups)
	if err != nil {
		return Chart{}, fmt.Errorf("%s chart: %w", KindXbarR, err)
	}
	return s.xbar(KindXbarR, opt)
}

func (s sample) xbar(kind Kind, opt ChartOptions) (Chart, error) {
	return byPhase(len(s.groups), opt, func(stretch Span, opt ChartOptions) (Chart, error) {
		return s.stretch(stretch).xbarOnce(kind, opt)
	})
}

func (s sample) xbarOnce(kind Kind, opt ChartOptions) (Chart, error) {
	limits, err := s.subgroupLimits(kind, opt)
	if err != nil {
		return Chart{}, fmt.Errorf("%s chart: %w", kind, err)
	}
	c := Chart{Kind: kind, Limits: limits, Frozen: opt.frozen()}
	known, standardError := 0, 0.0
	c.Panel, err = panel(len(s.groups), func(i int) line {
		group := s.groups[i]
		if group.N != known {
			known, standardError = group.N, limits.Sigma/math.Sqrt(float64(group.N))
		}
		return line{at: i, point: group.Mean, center: limits.Center, sigma: standardError}
	}, opt.Rules)
	if err != nil {
		return Chart{}, fmt.Errorf("%s chart: %w", kind, err)
	}
	if c.Dispersion, err = spreadPanel(kind, s.groups, limits.Sigma, opt.Rules); err != nil {
		return Chart{}, fmt.Errorf("%s chart: spread: %w", kind, err)
	}
	return c, nil
}

// subgroupLimits takes the given limits, or those of the data.
func (s sample) subgroupLimits(kind Kind, opt ChartOptions) (Limits, error) {
	if err := s.atLeast(1); err != nil {
		return Limits{}, err
	}
	return opt.settle(s.all.Mean, func() (Limits, error) {
		if err := s.atLeast(2); err != nil {
			return Limits{}, err
		}
		method := FromSBar
		if kind == KindXbarR {
			method = FromRBar
		}
		spread, err := s.spreadWithin(method)
		if err != nil {
			return Limits{}, err
		}
		return Limits{Center: s.all.Mean, Sigma: spread.Sigma}, nil
	})
}

// spreadPanel draws standard deviations, or ranges for KindXbarR, of the subgroups that have them.
func spreadPanel(kind Kind, subgroups []Summary, sigma float64, rules []Rule) (Panel, error) {
	count := 0
	for i, s := range subgroups {
		if kind == KindXbarR && s.N > largestSubgroup {
			return Panel{}, fmt.Errorf("subgroup %d: %w", i+1, ErrSubgroupSize)
		}
		if s.N >= 2 {
			count++
		}
	}
	measure, moments := Summary.sd, func(n int) (float64, float64) { return c4(n), c4Lack(n) }
	if kind == KindXbarR {
		measure, moments = Summary.Range, rangeMoments
	}
	var mean, sd float64
	known, at := 0, -1
	return panel(count, func(int) line {
		for at++; subgroups[at].N < 2; at++ {
		}
		if s := subgroups[at]; s.N != known {
			known = s.N
			mean, sd = moments(known)
		}
		return line{at: at, point: measure(subgroups[at]), center: mean * sigma, sigma: sd * sigma, floor: true}
	}, spreadRules(rules))
}
