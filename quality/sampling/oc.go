package sampling

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// AcceptBinomial returns the probability that a lot from a long series with the fraction bad is accepted: at most accept bad
// pieces in n (type B).
//
//	Σ C(n,x) pˣ (1-p)ⁿ⁻ˣ, x = 0 … accept
//
// It returns ErrPlan for n below 1 or a negative accept, and ErrFraction.
func AcceptBinomial(n, accept int, fraction float64) (float64, error) {
	if err := checkPlan(n, accept, fraction); err != nil {
		return 0, err
	}
	switch {
	case accept >= n || fraction == 0:
		return 1, nil
	case fraction == 1:
		return 0, nil
	}
	return mathext.RegIncBeta(float64(n-accept), float64(accept)+1, 1-fraction), nil
}

// AcceptPoisson returns the probability of at most accept nonconformities when n units carry fraction each on average. As
// an approximation to AcceptBinomial it is near only for fractions under 0.1. It returns ErrPlan, and ErrFraction for a negative
// fraction; above 1 is allowed.
func AcceptPoisson(n, accept int, fraction float64) (float64, error) {
	if err := checkPlan(n, accept, min(fraction, 1)); err != nil {
		return 0, err
	}
	if math.IsInf(fraction, 1) {
		return 0, fmt.Errorf("%v: %w", fraction, ErrFraction)
	}
	return distuv.Poisson{Lambda: float64(n) * fraction}.CDF(float64(accept)), nil
}

// AcceptHypergeometric returns the probability that a lot with bad pieces among its own is accepted: at most accept bad in a
// sample of n without putting back (type A).
//
//	Σ C(bad,x) C(lot-bad,n-x) / C(lot,n), x = 0 … accept
//
// It returns ErrPlan when n is below 1 or above the lot, bad is negative or above it, or accept is negative.
func AcceptHypergeometric(lot, bad, n, accept int) (float64, error) {
	if n < 1 || n > lot || bad < 0 || bad > lot || accept < 0 {
		return 0, fmt.Errorf("%d bad in a lot of %d, %d taken, %d allowed: %w", bad, lot, n, accept, ErrPlan)
	}
	low, high := max(0, n-(lot-bad)), min(n, bad)
	if accept >= high {
		return 1, nil
	}
	if accept < low {
		return 0, nil
	}
	// Terms relative to the most likely count, by their ratios; all are positive, so that no digit is lost to
	// cancellation, and only terms below 1e-300 of the largest vanish.
	mode := int((float64(n) + 1) * (float64(bad) + 1) / (float64(lot) + 2))
	mode = min(max(mode, low), high)
	ratio := func(x int) float64 { // term x+1 over term x
		return float64(bad-x) * float64(n-x) / (float64(x+1) * float64(lot-bad-n+x+1))
	}
	within, all := 0.0, 0.0
	add := func(x int, term float64) {
		all += term
		if x <= accept {
			within += term
		}
	}
	add(mode, 1)
	for x, term := mode, 1.0; x < high && term > 0; x++ {
		term *= ratio(x)
		add(x+1, term)
	}
	for x, term := mode, 1.0; x > low && term > 0; x-- {
		term /= ratio(x - 1)
		add(x-1, term)
	}
	return min(1, within/all), nil
}

// BadInLot returns how many bad pieces a fraction is in a lot: fraction·lot rounded to the nearest whole number, halves to
// the even one. It returns ErrFraction and ErrLotSize below 1.
func BadInLot(lot int, fraction float64) (int, error) {
	switch {
	case !(fraction >= 0 && fraction <= 1):
		return 0, fmt.Errorf("%v: %w", fraction, ErrFraction)
	case lot < 1:
		return 0, fmt.Errorf("a lot of %d: %w", lot, ErrLotSize)
	}
	return int(math.RoundToEven(fraction * float64(lot))), nil
}

// OCPoint is one point of an operating characteristic.
type OCPoint struct {
	Fraction float64
	Binomial float64
	// Bad is the fraction as pieces of the lot, and Hypergeometric the probability for them; nil without a lot.
	Bad            *int
	Hypergeometric *float64
	// AOQ is the average fraction bad after rejected lots were sorted; ATI the average number of pieces inspected per lot,
	// nil without a lot. Both from Binomial.
	AOQ float64
	ATI *float64
}

// OC returns the operating characteristic of a plan at fractions bad: the probabilities of acceptance and what comes of them.
// Lot is 0 for a long series. It returns ErrPlan, also for n above the lot, and ErrFraction.
func OC(lot, n, accept int, fractions []float64) ([]OCPoint, error) {
	points := make([]OCPoint, 0, len(fractions))
	for _, fraction := range fractions {
		chance, err := AcceptBinomial(n, accept, fraction)
		if err != nil {
			return nil, err
		}
		p := OCPoint{Fraction: fraction, Binomial: chance}
		if p.AOQ, err = AOQ(lot, n, accept, fraction); err != nil {
			return nil, err
		}
		if lot > 0 {
			bad, err := BadInLot(lot, fraction)
			if err != nil {
				return nil, err
			}
			exact, err := AcceptHypergeometric(lot, bad, n, accept)
			if err != nil {
				return nil, err
			}
			p.Bad, p.Hypergeometric = &bad, &exact
			p.ATI = new(float64(n) + (1-chance)*float64(lot-n))
		}
		points = append(points, p)
	}
	return points, nil
}

// AOQ returns the average outgoing fraction bad when rejected lots are sorted completely and every bad piece found is
// replaced by a good one:
//
//	AOQ = Pa·p·(N-n)/N,   and Pa·p in a long series (lot 0)
//
// Pa is AcceptBinomial. It returns ErrPlan, also for n above the lot or a negative lot, and ErrFraction.
func AOQ(lot, n, accept int, fraction float64) (float64, error) {
	chance, err := AcceptBinomial(n, accept, fraction)
	if err != nil {
		return 0, err
	}
	left := 1.0
	switch {
	case lot < 0 || lot > 0 && n > lot:
		return 0, fmt.Errorf("%d from a lot of %d: %w", n, lot, ErrPlan)
	case lot > 0:
		left = float64(lot-n) / float64(lot)
	}
	return chance * fraction * left, nil
}

// AOQL returns the largest AOQ over all fractions, and the fraction at which it is reached. With accept at or above n
// nothing is ever rejected and the limit is all that comes in; with all of the lot inspected it is 0. Errors as for AOQ.
func AOQL(lot, n, accept int) (limit, at float64, err error) {
	if _, err := AOQ(lot, n, accept, 0); err != nil {
		return 0, 0, err
	}
	if n == lot {
		return 0, 0, nil
	}
	value := func(p float64) float64 {
		// The arguments were checked; only the fraction changes, inside 0 to 1.
		q, _ := AOQ(lot, n, accept, p)
		return q
	}
	if accept >= n {
		return value(1), 1, nil
	}
	// Pa·p has one maximum. Golden section finds the place to half the digits and the value to all.
	low, high := 0.0, 1.0
	const golden = 0.6180339887498949
	a, b := high-golden*(high-low), low+golden*(high-low)
	va, vb := value(a), value(b)
	for high-low > 1e-9*high {
		// A tail of zeros on the right falls to the left.
		if va >= vb {
			high, b, vb = b, a, va
			a = high - golden*(high-low)
			va = value(a)
		} else {
			low, a, va = a, b, vb
			b = low + golden*(high-low)
			vb = value(b)
		}
	}
	at = (low + high) / 2
	return value(at), at, nil
}

// QualityAt returns the fraction bad at which a plan accepts with the probability, by the binomial law: 0.95 gives the
// producer's quality, 0.10 the consumer's.
//
//	p with I_{1-p}(n-accept, accept+1) = probability
//
// It returns ErrPlan, also when accept is n or more so that no fraction is rejected, and ErrFraction for a probability that
// is not between 0 and 1.
func QualityAt(n, accept int, probability float64) (float64, error) {
	if err := checkPlan(n, accept, probability); err != nil {
		return 0, err
	}
	if accept >= n {
		return 0, fmt.Errorf("%d allowed in %d: %w", accept, n, ErrPlan)
	}
	if probability == 0 || probability == 1 {
		return 1 - probability, nil
	}
	if accept == 0 { // without losing digits of a small fraction
		return -math.Expm1(math.Log(probability) / float64(n)), nil
	}
	return distuv.Beta{Alpha: float64(accept) + 1, Beta: float64(n - accept)}.Quantile(1 - probability), nil
}

func checkPlan(n, accept int, fraction float64) error {
	switch {
	case n < 1 || accept < 0:
		return fmt.Errorf("%d allowed in %d: %w", accept, n, ErrPlan)
	case !(fraction >= 0 && fraction <= 1):
		return fmt.Errorf("%v: %w", fraction, ErrFraction)
	}
	return nil
}
