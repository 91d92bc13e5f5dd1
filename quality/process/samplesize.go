package process

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// DistributionFreeConfidence returns the confidence with which n readings of any continuous process hold at least the share
// coverage of it: between the smallest and the largest of them,
//
//	two sides: 1 - n·pⁿ⁻¹ + (n-1)·pⁿ     one side (below the largest, or above the smallest): 1 - pⁿ
//
// Nothing is assumed of the distribution. The second is also the confidence in a reliability of p after n trials without a
// failure. It returns ErrTooFewReadings for n below 1 (2 for two sides) and ErrBadCoverage.
//
// Source: Wilks 1941, Annals of Mathematical Statistics 12 (from memory; sample sizes recomputed in two languages).
func DistributionFreeConfidence(n int, coverage float64, twoSided bool) (float64, error) {
	if !inside(coverage) {
		return 0, ErrBadCoverage
	}
	if n < 1 || twoSided && n < 2 {
		return 0, fmt.Errorf("distribution-free interval of %d: %w", n, ErrTooFewReadings)
	}
	size := float64(n)
	power := math.Exp(size * math.Log(coverage))
	if twoSided {
		return max(0, 1-power*(size/coverage-(size-1))), nil
	}
	return 1 - power, nil
}

// largestSample bounds the sample sizes that are worth an answer.
const largestSample = 1_000_000_000

// DistributionFreeSize returns the least n for which DistributionFreeConfidence reaches the confidence: 59 for 95 % of a
// process on one side with 95 % confidence, 93 on two sides. With one side it is also the number of trials without failure
// that shows a reliability. It returns ErrBadCoverage and ErrBadConfidence, and ErrTooManyReadings over a thousand million.
func DistributionFreeSize(coverage, confidence float64, twoSided bool) (int, error) {
	if !inside(coverage) {
		return 0, ErrBadCoverage
	}
	if !inside(confidence) {
		return 0, ErrBadConfidence
	}
	return smallest(2, func(n int) bool {
		got, err := DistributionFreeConfidence(n, coverage, twoSided)
		return err == nil && got >= confidence
	})
}

// SizeForMean returns how many readings bring the mean within ±margin with the confidence, for a known standard deviation
// sd, in one unit: the least n with z·sd/√n <= margin. It returns ErrNotFinite for a margin or sd that is not above 0,
// ErrBadConfidence, and ErrTooManyReadings over a thousand million.
//
// Source: NIST/SEMATECH e-Handbook 7.2.2.2 (from memory, unverified; values recomputed in two languages).
func SizeForMean(margin, sd, confidence float64) (int, error) {
	if err := checkSize(margin, sd, confidence); err != nil {
		return 0, err
	}
	z := distuv.UnitNormal.Quantile((1 + confidence) / 2)
	return smallest(1, func(n int) bool { return z*sd/math.Sqrt(float64(n)) <= margin })
}

// SizeForMeanEstimated is SizeForMean where the standard deviation will be estimated from the same readings and is expected to
// be sd: the least n with t·sd/√n <= margin, t of n-1 degrees of freedom.
func SizeForMeanEstimated(margin, sd, confidence float64) (int, error) {
	if err := checkSize(margin, sd, confidence); err != nil {
		return 0, err
	}
	return smallest(2, func(n int) bool {
		t := distuv.StudentsT{Sigma: 1, Nu: float64(n - 1)}.Quantile((1 + confidence) / 2)
		return t*sd/math.Sqrt(float64(n)) <= margin
	})
}

// SizeForShift returns how many readings find a shift of the mean by delta standard deviations with the probability power, in
// a two-sided test at 1-confidence: the least n with (z₍₁₊confidence₎/₂ + z_power)/√n <= delta. Errors are those of
// SizeForMean; ErrBadConfidence stands for a power not between 0 and 1 too.
func SizeForShift(delta, confidence, power float64) (int, error) {
	if err := checkSize(delta, 1, confidence); err != nil {
		return 0, err
	}
	if !inside(power) {
		return 0, fmt.Errorf("power %g: %w", power, ErrBadConfidence)
	}
	z := distuv.UnitNormal.Quantile((1+confidence)/2) + distuv.UnitNormal.Quantile(power)
	return smallest(1, func(n int) bool { return z/math.Sqrt(float64(n)) <= delta })
}

// SizeForProportion returns how many parts bring a share near p within ±margin with the confidence, by the normal
// approximation: the least n with z·√(p(1-p)/n) <= margin. It returns the errors of SizeForMean, and ErrBadCoverage for p not
// between 0 and 1.
func SizeForProportion(p, margin, confidence float64) (int, error) {
	if !inside(p) {
		return 0, fmt.Errorf("share %g: %w", p, ErrBadCoverage)
	}
	return SizeForMean(margin, math.Sqrt(p*(1-p)), confidence)
}

func checkSize(margin, sd, confidence float64) error {
	switch {
	case !inside(confidence):
		return ErrBadConfidence
	case !(margin > 0) || !ordinary(margin) || !(sd > 0) || !ordinary(sd):
		return fmt.Errorf("margin %g, standard deviation %g: %w", margin, sd, ErrNotFinite)
	}
	return nil
}

// smallest returns the least n, from least up, that is enough: doubling, then halving the gap.
func smallest(least int, enough func(n int) bool) (int, error) {
	high := least
	for !enough(high) {
		if high > largestSample {
			return 0, ErrTooManyReadings
		}
		least, high = high+1, 2*high
	}
	for least < high {
		if middle := least + (high-least)/2; enough(middle) {
			high = middle
		} else {
			least = middle + 1
		}
	}
	return least, nil
}
