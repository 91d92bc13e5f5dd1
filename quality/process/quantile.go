package process

import (
	"fmt"
	"math"
	"slices"
)

// QuantileDefinition says where between two sorted readings a quantile lies. Definitions differ most in the tails: print
// the name beside the figure. The numbers are those of Hyndman and Fan.
type QuantileDefinition int

// The definitions of this package: the place h of the quantile p among n sorted readings counted from 1.
const (
	// Type7 takes h = (n-1)p + 1: the ends are the smallest and the largest reading. It is the usual default of
	// spreadsheets and statistics programs.
	Type7 QuantileDefinition = 7
	// Type6 takes h = (n+1)p, held to 1 and n: the share below a random further reading is p on average.
	Type6 QuantileDefinition = 6
	// Type8 takes h = (n+1/3)p + 1/3, held to 1 and n: near the median of the quantile whatever the distribution.
	Type8 QuantileDefinition = 8
)

// String returns the definition in words, for printing beside a quantile.
func (d QuantileDefinition) String() string {
	switch d {
	case Type6:
		return "type 6, place (n+1)p"
	case Type7:
		return "type 7, place (n-1)p+1"
	case Type8:
		return "type 8, place (n+1/3)p+1/3"
	}
	return fmt.Sprintf("type %d", int(d))
}

// Quantiles returns the quantiles of values at the shares p, each from 0 to 1, in the order of shares. With h the place by
// the definition and j its whole part,
//
//	q = x₍ⱼ₎ + (h-j)·(x₍ⱼ₊₁₎-x₍ⱼ₎)
//
// Values may be in any order and are not changed. Quantiles need all readings: no summary has them. It returns
// ErrTooFewReadings for no values, ErrNotFinite, ErrBadCoverage for a share outside 0 to 1, and ErrUnknownMethod.
//
// Source: Hyndman and Fan 1996, The American Statistician 50(4) (from memory; values recomputed in two languages).
func Quantiles(values []float64, definition QuantileDefinition, shares ...float64) ([]float64, error) {
	if _, err := Summarize(values); err != nil {
		return nil, fmt.Errorf("quantiles: %w", err)
	}
	if len(values) == 0 {
		return nil, fmt.Errorf("quantiles: %w", ErrTooFewReadings)
	}
	sorted := slices.Sorted(slices.Values(values))
	n := float64(len(sorted))
	quantiles := make([]float64, len(shares))
	for i, p := range shares {
		if !(p >= 0 && p <= 1) {
			return nil, fmt.Errorf("quantile %g: %w", p, ErrBadCoverage)
		}
		var place float64
		switch definition {
		case Type6:
			place = (n + 1) * p
		case Type7:
			place = (n-1)*p + 1
		case Type8:
			place = (n+1.0/3)*p + 1.0/3
		default:
			return nil, fmt.Errorf("quantile of %s: %w", definition, ErrUnknownMethod)
		}
		place = min(max(place, 1), n)
		whole := math.Floor(place)
		low := sorted[int(whole)-1]
		quantiles[i] = low
		if rest := place - whole; rest > 0 {
			quantiles[i] = low + rest*(sorted[int(whole)]-low)
		}
	}
	return quantiles, nil
}
