package process

import (
	"fmt"
	"math"
)

// The usual weight and width of an EWMA chart, and the usual allowance and decision interval of a CUSUM in standard
// deviations of the plotted value.
//
// Source: common practice.
const (
	DefaultLambda = 0.2
	DefaultWidth  = 3
	DefaultK      = 0.5
	DefaultH      = 5
)

// EWMA returns the chart of the exponentially weighted moving average of values in time order, which finds a small
// lasting shift sooner than Individuals does:
//
//	z₀ = T   zₜ = λxₜ + (1-λ)zₜ₋₁     T ± Lσ√(λ/(2-λ)·(1-(1-λ)²ᵗ))
//
// λ is the weight of the newest value, over 0 and up to 1; L the width in standard errors, above 0; T the centre line and
// σ the standard deviation of one value, from opt or else the mean and MR̄/d₂. The limits are the exact ones, which
// widen over the first points; for large t they reach the constant limits that some charts draw from the start. Points
// are the averages. Each phase starts afresh at T. Neighbouring averages share most of their readings, so that only the
// rule of one point beyond the limits (n1, or we1) is run.
//
// It assumes independent values of one spread. It returns ErrBadWeight for λ or L outside their range, and the errors
// of Individuals.
//
// Source: NIST/SEMATECH e-Handbook 6.3.2.4 (formula seen, with constant limits), exact limits from memory; values
// recomputed in two languages.
func EWMA(values []float64, lambda, width float64, opt ChartOptions) (Chart, error) {
	if !(lambda > 0 && lambda <= 1) || !(width > 0) || !ordinary(width) {
		return Chart{}, fmt.Errorf("EWMA chart: weight %g, width %g: %w", lambda, width, ErrBadWeight)
	}
	return byPhase(len(values), opt, func(stretch Span, opt ChartOptions) (Chart, error) {
		values := values[stretch.From:stretch.To]
		limits, err := singleLimits(values, opt)
		if err != nil {
			return Chart{}, fmt.Errorf("EWMA chart: %w", err)
		}
		c := Chart{Kind: KindEWMA, Limits: limits, Frozen: opt.frozen()}
		z, forgotten := limits.Center, 2*math.Log1p(-lambda)
		c.Panel, err = panel(len(values), func(i int) line {
			z += lambda * (values[i] - z)
			variance := lambda / (2 - lambda) * -math.Expm1(float64(i+1)*forgotten)
			// A line stands 3 of its sigmas from the centre.
			return line{at: i, point: z, center: limits.Center, sigma: width / 3 * limits.Sigma * math.Sqrt(variance)}
		}, rangeRules(opt.Rules))
		if err != nil {
			return Chart{}, fmt.Errorf("EWMA chart: %w", err)
		}
		return c, nil
	})
}

// CusumOptions chooses what the sums are taken about. Target, Sigma, Limits, Base and Phases of ChartOptions apply; Rules
// do not.
type CusumOptions struct {
	ChartOptions
	// K is the allowance and H the decision interval, both in the unit of the values, not in standard deviations; nil
	// means DefaultK·σ and DefaultH·σ. With both given σ is not needed.
	K, H *float64
	// HeadStart is where both sums start, in the unit of the values: 0, or H/2 for a fast initial response.
	HeadStart float64
}

// Cusum is a tabular CUSUM chart.
type Cusum struct {
	Target, K, H float64   // of the last phase, in the unit of the values
	Points       []float64 // the values
	High, Low    []float64 // both sums, one of each for each value, never below 0
	// Signals are CusumHigh and CusumLow, one for each point at which a sum is beyond H, by sum and then in order. The
	// points of a signal are those since the sum last left 0: where they start is where the shift is likely to have
	// begun.
	Signals []Signal
	Phases  []Phase
}

// CUSUM returns the tabular cumulative sum chart of values in time order:
//
//	highᵢ = max(0, highᵢ₋₁ + xᵢ - T - k)     lowᵢ = max(0, lowᵢ₋₁ + T - k - xᵢ)     signal when a sum > h
//
// T is the target, k the allowance, usually half the shift to be found, and h the decision interval; all in the unit of
// the values. T and σ come from opt, or else are the mean and MR̄/d₂. Each phase starts its sums afresh. A sum equal to
// h does not signal. After a signal the sums go on; they are not reset. The slice is not changed.
//
// It returns ErrBadWeight for a negative k or head start or an h that is not above 0, ErrTooFewReadings for no values (for
// one value where σ is needed), and ErrNoSpread, ErrNotFinite and ErrBadSpan.
//
// Source: NIST/SEMATECH e-Handbook 6.3.2.3 (from memory; agrees with the printed sums).
func CUSUM(values []float64, opt CusumOptions) (Cusum, error) {
	if !(opt.HeadStart >= 0) || !ordinary(opt.HeadStart) {
		return Cusum{}, fmt.Errorf("CUSUM chart: head start %g: %w", opt.HeadStart, ErrBadWeight)
	}
	c := Cusum{Points: append([]float64{}, values...)}
	// Both sums travel as the two panels of a chart, so that phases are joined in one place.
	sums, err := byPhase(len(values), opt.ChartOptions, func(stretch Span, chart ChartOptions) (Chart, error) {
		values := values[stretch.From:stretch.To]
		limits, err := opt.limits(values, chart)
		if err != nil {
			return Chart{}, err
		}
		c.Target, c.K, c.H = limits.Center, DefaultK*limits.Sigma, DefaultH*limits.Sigma
		if opt.K != nil {
			c.K = *opt.K
		}
		if opt.H != nil {
			c.H = *opt.H
		}
		if !(c.K >= 0) || !(c.H > 0) || !ordinary(c.K) || !ordinary(c.H) {
			return Chart{}, fmt.Errorf("k %g, h %g: %w", c.K, c.H, ErrBadWeight)
		}
		sums := Chart{Limits: limits}
		sums.Panel = c.sum(values, 1, opt.HeadStart, CusumHigh)
		sums.Dispersion = c.sum(values, -1, opt.HeadStart, CusumLow)
		return sums, nil
	})
	if err != nil {
		return Cusum{}, fmt.Errorf("CUSUM chart: %w", err)
	}
	c.High, c.Low, c.Phases = sums.Points, sums.Dispersion.Points, sums.Phases
	c.Signals = append(append([]Signal{}, sums.Signals...), sums.Dispersion.Signals...)
	return c, nil
}

// limits takes the target and the spread; the spread only where k or h follows from it.
func (opt CusumOptions) limits(values []float64, chart ChartOptions) (Limits, error) {
	if opt.K == nil || opt.H == nil {
		return singleLimits(values, chart)
	}
	all, err := Summarize(values)
	switch {
	case err != nil:
		return Limits{}, err
	case all.N == 0:
		return Limits{}, ErrTooFewReadings
	}
	limits := Limits{Center: all.Mean}
	if chart.Limits != nil {
		limits = *chart.Limits
	} else if chart.Target != nil {
		limits.Center = *chart.Target
	}
	if !ordinary(limits.Center) {
		return Limits{}, fmt.Errorf("target: %w", ErrNotFinite)
	}
	return limits, nil
}

// sum adds up what lies beyond target and allowance on one side, 1 for above and -1 for below.
func (c Cusum) sum(values []float64, side, start float64, rule Rule) Panel {
	p := Panel{Points: make([]float64, len(values))}
	total, began := start, 0
	positions := make([]int, len(values)) // shared by all signals: one lasting shift signals at every point
	for i, x := range values {
		total += side*(x-c.Target) - c.K
		if total <= 0 {
			total, began = 0, i+1
		}
		p.Points[i], positions[i] = total, i
		if total > c.H {
			p.Signals = append(p.Signals, Signal{Rule: rule, Points: positions[began : i+1 : i+1]})
		}
	}
	return p
}
