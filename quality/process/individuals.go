package process

import (
	"fmt"
	"math"
)

// Individuals returns the chart of single readings in time order and of their moving ranges:
//
//	readings: x̄ ± 3σ̂     moving ranges: σ̂(d₂ + 3d₃) above, 0 below     σ̂ = MR̄/d₂, n = 2
//
// x̄ and σ̂ come from opt.Limits, opt.Base, or opt.Target and opt.Sigma where given. The unit is that of the readings; values are not changed. A moving range
// stands at the later of its two readings, and only the rule "one point beyond" is run on it: neighbours share a
// reading.
//
// The chart assumes independent and roughly normal readings. It returns ErrTooFewReadings below two readings (one when
// limits are given), ErrNoSpread when all are equal: limits would collapse to one line and mean nothing; ErrNotFinite
// and ErrUnknownRule for input that is none.
//
// Source: NIST/SEMATECH e-Handbook 6.3.2.2 (seen in an older copy), which rounds d₂ to 1.128.
func Individuals(values []float64, opt ChartOptions) (Chart, error) {
	return byPhase(len(values), opt, func(stretch Span, opt ChartOptions) (Chart, error) {
		values := values[stretch.From:stretch.To]
		limits, err := singleLimits(values, opt)
		if err != nil {
			return Chart{}, fmt.Errorf("individuals chart: %w", err)
		}
		c := Chart{Kind: KindIndividuals, Limits: limits, Frozen: opt.frozen()}
		c.Panel, c.Dispersion, err = singlePanels(values, limits.Center, limits.Sigma, opt.Rules)
		if err != nil {
			return Chart{}, fmt.Errorf("individuals chart: %w", err)
		}
		return c, nil
	})
}

// singleLimits takes the given limits, or those of single readings and their moving ranges.
func singleLimits(values []float64, opt ChartOptions) (Limits, error) {
	all, err := Summarize(values)
	if err != nil {
		return Limits{}, err
	}
	if all.N == 0 {
		return Limits{}, ErrTooFewReadings
	}
	return opt.settle(all.Mean, func() (Limits, error) {
		spread, err := movingRange(values)
		if err != nil {
			return Limits{}, err
		}
		if !varies(spread.Sigma, size(all)) {
			return Limits{}, ErrNoSpread
		}
		return Limits{Center: all.Mean, Sigma: spread.Sigma}, nil
	})
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
	return byPhase(len(s.groups), opt, func(stretch Span, opt ChartOptions) (Chart, error) {
		return s.stretch(stretch).betweenWithinOnce(opt)
	})
}

func (s sample) betweenWithinOnce(opt ChartOptions) (Chart, error) {
	limits, err := s.betweenLimits(opt)
	if err != nil {
		return Chart{}, fmt.Errorf("between/within chart: %w", err)
	}
	c := Chart{Kind: KindBetweenWithin, Limits: limits, Frozen: opt.frozen()}
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

// betweenLimits takes the given limits, or those of the data. Between is estimated even where Target and Sigma are given:
// neither says how parts differ.
func (s sample) betweenLimits(opt ChartOptions) (Limits, error) {
	if given := opt.Limits; given != nil {
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
	if opt.Target != nil {
		limits.Center = *opt.Target
	}
	if opt.Sigma != nil {
		limits.Sigma = *opt.Sigma
	}
	if scale := size(s.all); !varies(limits.Sigma, scale) || !varies(limits.Between, scale) {
		return Limits{}, ErrNoSpread
	}
	return limits, limits.check(limits.Sigma)
}

// singlePanels draws values and their moving ranges about given lines.
func singlePanels(values []float64, center, sigma float64, rules []Rule) (level, moving Panel, err error) {
	level, err = panel(len(values), func(i int) line {
		return line{at: i, point: values[i], center: center, sigma: sigma}
	}, rules)
	if err != nil {
		return Panel{}, Panel{}, err
	}
	d2, d3 := rangeMoments(2)
	moving, err = panel(max(0, len(values)-1), func(i int) line {
		return line{
			at: i + 1, point: math.Abs(values[i+1] - values[i]), center: d2 * sigma, sigma: d3 * sigma, floor: true,
		}
	}, rangeRules(rules))
	return level, moving, err
}
