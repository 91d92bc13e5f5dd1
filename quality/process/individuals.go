package process

import (
	"fmt"
	"math"
)

// Individuals returns the chart of single readings in time order and of their moving ranges:
//
//	readings: x̄ ± 3σ̂     moving ranges: σ̂(d₂ + 3d₃) above, 0 below     σ̂ = MR̄/d₂, n = 2
//
// x̄ and σ̂ come from opt.Limits where given. The unit is that of the readings; values are not changed. A moving range
// stands at the later of its two readings, and only the rule "one point beyond" is run on it: neighbours share a
// reading.
//
// The chart assumes independent and roughly normal readings. It returns ErrTooFewReadings below two readings (one when
// limits are given), ErrNoSpread when all are equal: limits would collapse to one line and mean nothing; ErrNotFinite
// and ErrUnknownRule for input that is none.
//
// Source: NIST/SEMATECH e-Handbook 6.3.2.2 (seen in an older copy), which rounds d₂ to 1.128.
func Individuals(values []float64, opt ChartOptions) (Chart, error) {
	all, err := Summarize(values)
	if err != nil {
		return Chart{}, fmt.Errorf("individuals chart: %w", err)
	}
	limits, err := singleLimits(values, all, opt.Limits)
	if err != nil {
		return Chart{}, fmt.Errorf("individuals chart: %w", err)
	}
	c := Chart{Kind: KindIndividuals, Limits: limits, Frozen: opt.Limits != nil}
	c.Panel, c.Dispersion, err = singlePanels(values, limits.Center, limits.Sigma, opt.Rules)
	if err != nil {
		return Chart{}, fmt.Errorf("individuals chart: %w", err)
	}
	return c, nil
}

func singleLimits(values []float64, all Summary, given *Limits) (Limits, error) {
	if given != nil {
		if len(values) == 0 {
			return Limits{}, ErrTooFewReadings
		}
		return *given, given.check(given.Sigma)
	}
	spread, err := movingRange(values)
	if err != nil {
		return Limits{}, err
	}
	if !varies(spread.Sigma, size(all)) {
		return Limits{}, ErrNoSpread
	}
	return Limits{Center: all.Mean, Sigma: spread.Sigma}, nil
}

// BetweenWithin returns the chart for parts with several readings each, where parts differ from each other by more than
// the readings on one part explain. Parts are given by their summaries, in time order. It has three panels:
//
//	part means:                x̄ ± 3σ̂b          σ̂b = MR̄/d₂ of the part means
//	MovingRange, of the means: σ̂b(d₂ + 3d₃) above, 0 below
//	Dispersion, within parts:  σ̂w(c₄(nᵢ) ± 3√(1-c₄(nᵢ)²))   σ̂w pooled within parts
//
// x̄ is the mean of the part means, every part counting once; its lines do not move with the number of readings, so
// that parts with very different numbers of them should not be mixed. Limits.Between is σ̂b and Limits.Sigma σ̂w; both
// are used where opt.Limits gives them. A part with one reading has no point under Dispersion.
//
// It returns the errors of XbarS; ErrNoSpread stands for part means that are all equal, or parts without spread.
//
// Source: the three-way chart of textbooks on control charts (common practice).
func BetweenWithin(subgroups []Summary, opt ChartOptions) (Chart, error) {
	s, err := checkSubgroups(subgroups)
	if err != nil {
		return Chart{}, fmt.Errorf("between/within chart: %w", err)
	}
	return s.betweenWithin(opt)
}

func (s sample) betweenWithin(opt ChartOptions) (Chart, error) {
	limits, err := s.betweenLimits(opt.Limits)
	if err != nil {
		return Chart{}, fmt.Errorf("between/within chart: %w", err)
	}
	c := Chart{Kind: KindBetweenWithin, Limits: limits, Frozen: opt.Limits != nil}
	var moving Panel
	c.Panel, moving, err = singlePanels(s.means(), limits.Center, limits.Between, opt.Rules)
	if err != nil {
		return Chart{}, fmt.Errorf("between/within chart: %w", err)
	}
	c.MovingRange = &moving
	c.Dispersion, err = spreadPanel(KindBetweenWithin, s.groups, limits.Sigma, opt.Rules)
	if err != nil {
		return Chart{}, fmt.Errorf("between/within chart: spread within parts: %w", err)
	}
	return c, nil
}

func (s sample) betweenLimits(given *Limits) (Limits, error) {
	if given != nil {
		if err := s.atLeast(1); err != nil {
			return Limits{}, err
		}
		return *given, given.check(min(given.Sigma, given.Between))
	}
	parts, err := s.betweenParts()
	if err != nil {
		return Limits{}, err
	}
	limits := Limits{Sigma: parts.Within, Between: parts.Means}
	for i, part := range s.groups {
		limits.Center += (part.Mean - limits.Center) / float64(i+1)
	}
	if scale := size(s.all); !varies(limits.Sigma, scale) || !varies(limits.Between, scale) {
		return Limits{}, ErrNoSpread
	}
	return limits, nil
}

// singlePanels draws values and their moving ranges about given lines.
func singlePanels(values []float64, center, sigma float64, rules []Rule) (level, moving Panel, err error) {
	lines := make([]line, len(values))
	for i, x := range values {
		lines[i] = line{at: i, point: x, center: center, sigma: sigma}
	}
	if level, err = panel(lines, rules); err != nil {
		return Panel{}, Panel{}, err
	}
	d2, d3 := rangeMoments(2)
	lines = lines[:0]
	for i := 1; i < len(values); i++ {
		lines = append(lines, line{
			at: i, point: math.Abs(values[i] - values[i-1]), center: d2 * sigma, sigma: d3 * sigma, floor: true,
		})
	}
	moving, err = panel(lines, rangeRules(rules))
	return level, moving, err
}
