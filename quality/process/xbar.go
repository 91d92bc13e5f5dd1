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
// x̿ is the mean of all readings and σ̂ the estimate FromSBar. Where x̿ and σ̂ are given in opt.Limits they are used
// instead. The unit is that of the readings. A subgroup of one has a mean but no point under Dispersion.
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
	limits, err := s.subgroupLimits(kind, opt.Limits)
	if err != nil {
		return Chart{}, fmt.Errorf("%s chart: %w", kind, err)
	}
	c := Chart{Kind: kind, Limits: limits, Frozen: opt.Limits != nil}
	means := make([]line, len(s.groups))
	known, standardError := 0, 0.0
	for i, group := range s.groups {
		if group.N != known {
			known, standardError = group.N, limits.Sigma/math.Sqrt(float64(group.N))
		}
		means[i] = line{at: i, point: group.Mean, center: limits.Center, sigma: standardError}
	}
	if c.Panel, err = panel(means, opt.Rules); err != nil {
		return Chart{}, fmt.Errorf("%s chart: %w", kind, err)
	}
	if c.Dispersion, err = spreadPanel(kind, s.groups, limits.Sigma, opt.Rules); err != nil {
		return Chart{}, fmt.Errorf("%s chart: spread: %w", kind, err)
	}
	return c, nil
}

// subgroupLimits takes the given limits, or those of the data.
func (s sample) subgroupLimits(kind Kind, given *Limits) (Limits, error) {
	if given != nil {
		if err := s.atLeast(1); err != nil {
			return Limits{}, err
		}
		return *given, given.check(given.Sigma)
	}
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
}

// spreadPanel draws standard deviations, or ranges for KindXbarR, of the subgroups that have them.
func spreadPanel(kind Kind, subgroups []Summary, sigma float64, rules []Rule) (Panel, error) {
	lines := make([]line, 0, len(subgroups))
	known := 0
	var mean, sd float64
	for i, s := range subgroups {
		if s.N < 2 {
			continue
		}
		point := s.Range()
		if kind != KindXbarR {
			point = s.sd()
		}
		if s.N != known {
			known = s.N
			if kind == KindXbarR {
				if s.N > largestSubgroup {
					return Panel{}, fmt.Errorf("subgroup %d: %w", i+1, ErrSubgroupSize)
				}
				mean, sd = rangeMoments(s.N)
			} else {
				mean, sd = c4(s.N), c4Lack(s.N)
			}
		}
		lines = append(lines, line{at: i, point: point, center: mean * sigma, sigma: sd * sigma, floor: true})
	}
	return panel(lines, spreadRules(rules))
}
