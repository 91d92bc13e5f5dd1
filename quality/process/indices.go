package process

import (
	"fmt"
	"math"
)

// Spec is what a drawing or finish specification asks of a reading. A nil field is not asked. A reading equal to a
// limit is within it.
type Spec struct {
	Lower, Upper *float64
	// Target is the value aimed at, used by Cpm alone. It need not be the middle.
	Target *float64
}

// check returns ErrBadLimits for limits that contradict each other or are not numbers.
func (s Spec) check() error {
	for _, limit := range []*float64{s.Lower, s.Upper, s.Target} {
		if limit != nil && !ordinary(*limit) {
			return fmt.Errorf("not a number: %w", ErrBadLimits)
		}
	}
	if s.Lower != nil && s.Upper != nil && *s.Lower >= *s.Upper {
		return fmt.Errorf("lower %g, upper %g: %w", *s.Lower, *s.Upper, ErrBadLimits)
	}
	return nil
}

// none tells whether there is neither limit.
func (s Spec) none() bool { return s.Lower == nil && s.Upper == nil }

// Indices compare a spread with the limits. They are called Cp, Cpl, Cpu, Cpk, Cpm when the spread is that within
// subgroups of a stable process (capability) and Pp, Ppl, Ppu, Ppk, Ppm when it is that of all readings (performance).
// They have no unit. One that is not defined is nil: a one-sided limit gives the index of its side only.
type Indices struct {
	P  *float64 // (upper-lower)/6σ
	L  *float64 // (mean-lower)/3σ
	U  *float64 // (upper-mean)/3σ
	K  *float64 // the smaller of L and U, or the one that exists; negative with the mean outside a limit
	PM *float64 // (upper-lower)/(6√(σ²+(mean-target)²))
}

// ComputeIndices returns the indices of a process with the given mean and standard deviation, in the unit of the
// limits. It assumes a normal process and checks nothing about it; see Capability.
//
// It returns ErrNoLimits, ErrBadLimits, ErrNotFinite, or ErrNoSpread for a standard deviation of 0 or one that vanishes
// beside the limits.
//
// Source: NIST/SEMATECH e-Handbook 6.1.6 (from memory, unverified; values recomputed in two languages).
func ComputeIndices(mean, sd float64, spec Spec) (Indices, error) {
	if err := spec.check(); err != nil {
		return Indices{}, err
	}
	switch {
	case !ordinary(mean) || !ordinary(sd/10) || sd < 0: // a spread can be wider than its readings are large
		return Indices{}, fmt.Errorf("mean %g, standard deviation %g: %w", mean, sd, ErrNotFinite)
	case spec.none():
		return Indices{}, ErrNoLimits
	case !varies(sd, mean):
		return Indices{}, ErrNoSpread
	}
	var x Indices
	if spec.Lower != nil {
		x.L = finite((mean - *spec.Lower) / (3 * sd))
		x.K = x.L
	}
	if spec.Upper != nil {
		x.U = finite((*spec.Upper - mean) / (3 * sd))
		if x.K == nil || x.U != nil && *x.U < *x.K {
			x.K = x.U
		}
	}
	if spec.Lower != nil && spec.Upper != nil {
		width := *spec.Upper - *spec.Lower
		x.P = finite(width / (6 * sd))
		if spec.Target != nil {
			x.PM = finite(width / (6 * math.Hypot(sd, mean-*spec.Target)))
		}
	}
	for _, index := range []*float64{x.P, x.K, x.L, x.U} {
		if index != nil && math.Abs(*index) > largestIndex {
			return Indices{}, fmt.Errorf("beside the limits: %w", ErrNoSpread)
		}
	}
	return x, nil
}

// ExpectedOutside returns the parts per million that a normal process with this mean and standard deviation puts below
// the lower and above the upper limit; nil for a limit that is not set. Errors are those of ComputeIndices.
//
// It is a figure of the normal law, not of the readings: far in the tail it says little.
func ExpectedOutside(mean, sd float64, spec Spec) (below, above *float64, err error) {
	if _, err := ComputeIndices(mean, sd, spec); err != nil {
		return nil, nil, err
	}
	if spec.Lower != nil {
		below = finite(1e6 * upperTail((mean-*spec.Lower)/sd))
	}
	if spec.Upper != nil {
		above = finite(1e6 * upperTail((*spec.Upper-mean)/sd))
	}
	return below, above, nil
}
