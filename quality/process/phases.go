package process

import "fmt"

// Span is a stretch of a chart: from the point From up to, but not with, the point To, counted from 0.
type Span struct{ From, To int }

// Phase is a stretch of a chart with lines of its own: after a new gun, a new powder, a repaired oven.
type Phase struct {
	Start  int // its first point, counted from 0; it ends where the next one starts
	Limits Limits
}

// byPhase draws a chart of n points phase by phase, so that neither lines nor run rules nor moving ranges know of the
// phase before. draw draws one stretch as a chart of its own.
func byPhase(n int, opt ChartOptions, draw func(stretch Span, opt ChartOptions) (Chart, error)) (Chart, error) {
	starts, err := opt.starts(n)
	if err != nil {
		return Chart{}, err
	}
	if opt.Base != nil && opt.Limits == nil {
		base, err := draw(*opt.Base, ChartOptions{Rules: []Rule{}, Target: opt.Target, Sigma: opt.Sigma})
		if err != nil {
			return Chart{}, fmt.Errorf("base period: %w", err)
		}
		opt.Limits = &base.Limits
	}
	var whole Chart
	for i, start := range starts {
		stretch := Span{From: start, To: n}
		if i+1 < len(starts) {
			stretch.To = starts[i+1]
		}
		c, err := draw(stretch, opt)
		if err != nil && len(starts) > 1 {
			return Chart{}, fmt.Errorf("phase from point %d: %w", start+1, err)
		}
		if err != nil {
			return Chart{}, err
		}
		phase := Phase{Start: start, Limits: c.Limits}
		if i == 0 {
			whole = c
			whole.Phases = []Phase{phase}
			continue
		}
		whole.Limits = c.Limits
		whole.Phases = append(whole.Phases, phase)
		whole.Panel = whole.Panel.followedBy(c.Panel, start)
		whole.Dispersion = whole.Dispersion.followedBy(c.Dispersion, start)
		if whole.MovingRange != nil {
			moving := whole.MovingRange.followedBy(*c.MovingRange, start)
			whole.MovingRange = &moving
		}
	}
	return whole, nil
}

// starts returns where the phases of n points start, the first at 0.
func (opt ChartOptions) starts(n int) ([]int, error) {
	if base := opt.Base; base != nil && !(0 <= base.From && base.From < base.To && base.To <= n) {
		return nil, fmt.Errorf("base period %d to %d of %d points: %w", base.From, base.To, n, ErrBadSpan)
	}
	starts := make([]int, 1, len(opt.Phases)+1)
	for _, start := range opt.Phases {
		if start == 0 && len(starts) == 1 {
			continue
		}
		if start <= starts[len(starts)-1] || start >= n {
			return nil, fmt.Errorf("phase starting at %d of %d points: %w", start, n, ErrBadSpan)
		}
		starts = append(starts, start)
	}
	return starts, nil
}

// followedBy puts the panel of a later phase behind that of the earlier ones. Positions in next count from its start.
func (p Panel) followedBy(next Panel, start int) Panel {
	n, m := float64(len(p.Points)), float64(len(next.Points))
	if n+m > 0 {
		p.Center = (p.Center*n + next.Center*m) / (n + m)
	}
	for _, at := range next.At {
		p.At = append(p.At, at+start)
	}
	for _, signal := range next.Signals {
		later := make([]int, len(signal.Points)) // signals of one sum share their points
		for i, at := range signal.Points {
			later[i] = at + start
		}
		p.Signals = append(p.Signals, Signal{Rule: signal.Rule, Points: later})
	}
	p.Points = append(p.Points, next.Points...)
	p.Lower = append(p.Lower, next.Lower...)
	p.Centers = append(p.Centers, next.Centers...)
	p.Upper = append(p.Upper, next.Upper...)
	return p
}

// settle returns the limits to draw from: the frozen ones, or estimates with Target and Sigma in place of what they
// replace. With both given nothing is estimated.
func (opt ChartOptions) settle(center float64, estimate func() (Limits, error)) (Limits, error) {
	if opt.Limits != nil {
		return *opt.Limits, opt.Limits.check(opt.Limits.Sigma)
	}
	limits := Limits{Center: center}
	if opt.Sigma == nil {
		var err error
		if limits, err = estimate(); err != nil {
			return Limits{}, err
		}
	} else {
		limits.Sigma = *opt.Sigma
	}
	if opt.Target != nil {
		limits.Center = *opt.Target
	}
	return limits, limits.check(limits.Sigma)
}

// frozen tells whether the lines do not depend on the points that they judge.
func (opt ChartOptions) frozen() bool {
	return opt.Limits != nil || opt.Base != nil || opt.Target != nil && opt.Sigma != nil
}

// stretch is the subgroups of one phase.
func (s sample) stretch(of Span) sample {
	if of.From == 0 && of.To == len(s.groups) {
		return s
	}
	part := sample{groups: s.groups[of.From:of.To]}
	for _, group := range part.groups {
		part.all.Merge(group)
	}
	return part
}
