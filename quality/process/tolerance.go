package process

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// TwoSidedFactor returns the exact factor k of a two-sided tolerance interval x̄ ± k·s: from n normal readings, the interval
// holds at least the share coverage of the process with the confidence. k solves
//
//	2√n ∫₀^∞ P(χ²ₙ₋₁ > (n-1)r²/k²)·φ(√n·x) dx = confidence,  r from Φ(x+r) - Φ(x-r) = coverage
//
// A specification that has the whole interval inside is met by that share; an interval of 95 % of the means is another thing.
//
// It returns ErrTooFewReadings for n below 2, ErrBadCoverage and ErrBadConfidence.
//
// Source: definition as in ISO 16269-6 (from memory, unverified); factors recomputed in two languages.
func TwoSidedFactor(n int, coverage, confidence float64) (float64, error) {
	if err := checkTolerance(n, coverage, confidence); err != nil {
		return 0, err
	}
	size, df := float64(n), float64(n-1)
	// r does not depend on k: find it once for each node of the integral.
	var reaches, shares []float64
	const count, end = 12, 9.5
	for panel := range count {
		const step = end / count
		for i, node := range nodes {
			z := (float64(panel) + 0.5 + node/2) * step
			reaches = append(reaches, reach(z/math.Sqrt(size), coverage))
			shares = append(shares, weights[i]*step/2*math.Exp(-z*z/2)*math.Sqrt(2/math.Pi))
		}
	}
	// The answer is compared on the side where it is small, so that no digits are lost at high confidence.
	lack := func(k float64) float64 {
		total := 0.0
		for i, r := range reaches {
			total += shares[i] * mathext.GammaIncReg(df/2, df/2*(r/k)*(r/k))
		}
		return total - (1 - confidence)
	}
	low := reach(0, coverage) // what it is for very many readings
	high := low
	for lack(low) < 0 {
		low /= 1.5
	}
	for lack(high) > 0 {
		high *= 1.5
	}
	return root(lack, low, high), nil
}

// reach returns r such that a normal law holds the share coverage within r of a point x standard deviations from its mean.
func reach(x, coverage float64) float64 {
	target := math.Log1p(-coverage)
	// Newton on a logarithm that is concave and falls: from the right it comes down to the root and cannot escape.
	r := x + distuv.UnitNormal.Quantile((1+coverage)/2)
	for range 100 {
		outside := upperTail(r+x) + upperTail(r-x)
		density := (math.Exp(-(r+x)*(r+x)/2) + math.Exp(-(r-x)*(r-x)/2)) / math.Sqrt(2*math.Pi)
		step := (math.Log(outside) - target) * outside / density
		r = max(r+step, r/2)
		if math.Abs(step) < 1e-15*r {
			break
		}
	}
	return r
}

// HoweFactor returns Howe's approximation of TwoSidedFactor, which handbooks print:
//
//	k = z₍₁₊ₚ₎/₂·√((n-1)(1+1/n)/χ²₁₋γ,ₙ₋₁),  the lower quantile of χ²
//
// It is right to about 1 % from n = 10 on. Errors as for TwoSidedFactor.
//
// Source: NIST/SEMATECH e-Handbook 7.2.6.3 (example seen), after Howe 1969.
func HoweFactor(n int, coverage, confidence float64) (float64, error) {
	if err := checkTolerance(n, coverage, confidence); err != nil {
		return 0, err
	}
	size := float64(n)
	z := distuv.UnitNormal.Quantile((1 + coverage) / 2)
	return z * math.Sqrt((size-1)*(1+1/size)/chiSquared(1-confidence, size-1)), nil
}

// OneSidedFactor returns the exact factor k of a one-sided tolerance bound, x̄ - k·s or x̄ + k·s: at least the share coverage of
// a normal process lies above, or below, with the confidence. It is t/√n, t the quantile of the noncentral t law with n-1
// degrees of freedom and noncentrality z·√n, z the normal quantile of the coverage. Errors as for TwoSidedFactor.
//
// Source: NIST/SEMATECH e-Handbook 7.2.6.3 (example seen); factors recomputed in two languages.
func OneSidedFactor(n int, coverage, confidence float64) (float64, error) {
	if err := checkTolerance(n, coverage, confidence); err != nil {
		return 0, err
	}
	size, df := float64(n), float64(n-1)
	delta := distuv.UnitNormal.Quantile(coverage) * math.Sqrt(size)
	short := func(t float64) float64 {
		probability, _ := noncentralT(t, df, delta)
		return probability - confidence
	}
	step := math.Sqrt(1 + delta*delta/(2*df))
	low, high := delta-step, delta+step
	for step *= 2; short(low) > 0; step *= 2 {
		low -= step
	}
	for step = math.Abs(high) + 1; short(high) < 0; step *= 2 {
		high += step
	}
	return root(short, low, high) / math.Sqrt(size), nil
}

// ToleranceInterval returns x̄ ± k·s with the exact two-sided factor: the interval that holds at least the share coverage of a
// normal process with the confidence. It is in the unit of the readings. It returns the errors of TwoSidedFactor, and
// ErrNoSpread.
func ToleranceInterval(s Summary, coverage, confidence float64) (Interval, error) {
	return around(s, coverage, confidence, TwoSidedFactor)
}

// ToleranceBounds returns both one-sided tolerance bounds, x̄ - k·s as Low and x̄ + k·s as High, each with the confidence on its
// own: use one of them. Errors as for ToleranceInterval.
func ToleranceBounds(s Summary, coverage, confidence float64) (Interval, error) {
	return around(s, coverage, confidence, OneSidedFactor)
}

func around(s Summary, coverage, confidence float64, factor func(int, float64, float64) (float64, error)) (Interval, error) {
	if err := s.Check(); err != nil {
		return Interval{}, err
	}
	k, err := factor(s.N, coverage, confidence)
	if err != nil {
		return Interval{}, err
	}
	sd := s.sd()
	if !varies(sd, size(s)) {
		return Interval{}, ErrNoSpread
	}
	return Interval{Low: s.Mean - k*sd, High: s.Mean + k*sd}, nil
}

func checkTolerance(n int, coverage, confidence float64) error {
	switch {
	case !inside(confidence):
		return ErrBadConfidence
	case !inside(coverage):
		return ErrBadCoverage
	case n < 2:
		return fmt.Errorf("tolerance factor for %d: %w", n, ErrTooFewReadings)
	}
	return nil
}
