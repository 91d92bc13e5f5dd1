package calc

import (
	"fmt"
	"math"

	"coatbook/quality/process"
)

// onePass is the capability of a file too long to be held: sums of the values and of their moving ranges.
type onePass struct {
	spec         process.Spec
	all          process.Accumulator
	ranges       process.Summary
	started      bool
	last         float64
	below, above int
}

func (p *onePass) add(v float64) error {
	if p.started {
		if err := p.ranges.Add(math.Abs(v - p.last)); err != nil {
			return err
		}
	}
	p.started, p.last = true, v
	if p.spec.Lower != nil && v < *p.spec.Lower {
		p.below++
	}
	if p.spec.Upper != nil && v > *p.spec.Upper {
		p.above++
	}
	return p.all.Add(v)
}

// result gives performance from all values and capability from the moving ranges. Nothing is quotable: the chart and the
// distribution were not looked at.
func (p *onePass) result(opt process.Options) (process.Result, error) {
	all := p.all.Summary()
	sd, err := all.SD()
	if err != nil {
		return process.Result{}, err
	}
	r, err := process.CapabilityFromFigures(all.N, all.Mean, sd, opt)
	if err != nil {
		return process.Result{}, err
	}
	r.Min, r.Max, r.Subgroups = all.Min, all.Max, all.N
	r.Within = process.FromMovingRange
	r.Reasons = []string{fmt.Sprintf("More than %d values: neither the chart nor the distribution was judged.", mostHeld)}
	r.Notes = []string{"The intervals of Cp and Cpk are not computed for so many values; they would be narrower than the last digits matter."}
	r.Cp, r.Cpl, r.Cpu, r.Cpk, r.Cpm, r.SDWithin = nil, nil, nil, nil, nil, nil
	r.CpInterval, r.CpkInterval, r.CpkLower, r.CplLowerExact, r.CpuLowerExact = nil, nil, nil, nil, nil
	p.observe(&r)
	if opt.Within != "" && opt.Within != process.FromMovingRange {
		return r, nil
	}
	constants, err := process.ConstantsFor(2)
	if err != nil {
		return r, err
	}
	sigma := p.ranges.Mean / constants.D2
	indices, err := process.ComputeIndices(all.Mean, sigma, opt.Spec)
	if err != nil {
		return r, err
	}
	r.SDWithin = &sigma
	r.Cp, r.Cpl, r.Cpu, r.Cpk, r.Cpm = indices.P, indices.L, indices.U, indices.K, indices.PM
	return r, nil
}

func (p *onePass) observe(r *process.Result) {
	perMillion := func(count int) *float64 {
		v := 1e6 * float64(count) / float64(r.N)
		return &v
	}
	if p.spec.Lower != nil {
		r.ObservedBelow, r.ObservedBelowPPM = &p.below, perMillion(p.below)
	}
	if p.spec.Upper != nil {
		r.ObservedAbove, r.ObservedAbovePPM = &p.above, perMillion(p.above)
	}
}
