package process

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Proportion is a share with both counts that it comes from and what they say about the share behind them.
type Proportion struct {
	Count, Of  int
	Value      float64 // Count/Of
	Confidence float64
	// Exact is the two-sided Clopper-Pearson interval: never less sure than it says. Wilson is the shorter interval
	// that is right on average.
	Exact, Wilson Interval
}

// NewProportion returns the proportion of count in of, with intervals at the confidence, such as 0.95.
//
// It returns ErrTooFewReadings when of is 0 (there is no share of nothing), ErrBadCount for a negative count or one over
// of, and ErrBadConfidence.
func NewProportion(count, of int, confidence float64) (Proportion, error) {
	exact, err := ClopperPearson(count, of, confidence)
	if err != nil {
		return Proportion{}, err
	}
	wilson, err := Wilson(count, of, confidence)
	if err != nil {
		return Proportion{}, err
	}
	return Proportion{
		Count: count, Of: of, Value: float64(count) / float64(of), Confidence: confidence, Exact: exact, Wilson: wilson,
	}, nil
}

// ClopperPearson returns the exact two-sided interval of a proportion x/n: its ends are the proportions under which x
// or more, and x or fewer, would have probability (1-confidence)/2. They are quantiles of the beta distribution, 0 at
// x = 0 and 1 at x = n. Errors as for NewProportion.
//
// Source: Clopper and Pearson 1934, Biometrika 26 (from memory, unverified; values recomputed in two languages).
func ClopperPearson(x, n int, confidence float64) (Interval, error) {
	if err := checkProportion(x, n, confidence); err != nil {
		return Interval{}, err
	}
	tail := (1 - confidence) / 2
	return Interval{Low: exactLow(x, n, tail), High: exactHigh(x, n, tail)}, nil
}

// ClopperPearsonUpper returns the exact one-sided upper bound of a proportion x/n: with the stated confidence the share
// is no larger. Errors as for NewProportion.
func ClopperPearsonUpper(x, n int, confidence float64) (float64, error) {
	if err := checkProportion(x, n, confidence); err != nil {
		return 0, err
	}
	return exactHigh(x, n, 1-confidence), nil
}

func exactLow(x, n int, tail float64) float64 {
	switch x {
	case 0:
		return 0
	case n:
		return math.Pow(tail, 1/float64(n))
	}
	return distuv.Beta{Alpha: float64(x), Beta: float64(n-x) + 1}.Quantile(tail)
}

func exactHigh(x, n int, tail float64) float64 {
	switch x {
	case n:
		return 1
	case 0: // 1 - tail^{1/n} without losing the digits of a small bound
		return -math.Expm1(math.Log(tail) / float64(n))
	}
	return distuv.Beta{Alpha: float64(x) + 1, Beta: float64(n - x)}.Quantile(1 - tail)
}

// Wilson returns the score interval of a proportion x/n, without continuity correction:
//
//	(p + z²/2n ± z√(p(1-p)/n + z²/4n²)) / (1 + z²/n)
//
// Errors as for NewProportion.
//
// Source: Wilson 1927; recommended by Newcombe 1998, Statistics in Medicine 17 (from memory, unverified; values
// recomputed in two languages).
func Wilson(x, n int, confidence float64) (Interval, error) {
	if err := checkProportion(x, n, confidence); err != nil {
		return Interval{}, err
	}
	size := float64(n)
	p := float64(x) / size
	z := distuv.UnitNormal.Quantile((1 + confidence) / 2)
	middle := p + z*z/(2*size)
	half := z * math.Sqrt(p*(1-p)/size+z*z/(4*size*size))
	scale := 1 + z*z/size
	ends := Interval{Low: max(0, (middle-half)/scale), High: min(1, (middle+half)/scale)}
	// At the ends of the scale the difference above is exactly 0 or 1 but for rounding.
	if x == 0 {
		ends.Low = 0
	}
	if x == n {
		ends.High = 1
	}
	return ends, nil
}

// CountInterval returns the exact two-sided interval of the mean of a Poisson count: defects on a day's parts, say.
//
//	χ²_{α/2, 2x}/2 … χ²_{1-α/2, 2x+2}/2, from 0 at x = 0
//
// It returns ErrBadCount for a negative count and ErrBadConfidence.
//
// Source: Garwood 1936, Biometrika 28 (from memory, unverified; values recomputed in two languages).
func CountInterval(x int, confidence float64) (Interval, error) {
	if !inside(confidence) {
		return Interval{}, ErrBadConfidence
	}
	if x < 0 {
		return Interval{}, fmt.Errorf("%d: %w", x, ErrBadCount)
	}
	tail := (1 - confidence) / 2
	ends := Interval{High: distuv.ChiSquared{K: 2*float64(x) + 2}.Quantile(1-tail) / 2}
	if x > 0 {
		ends.Low = distuv.ChiSquared{K: 2 * float64(x)}.Quantile(tail) / 2
	}
	return ends, nil
}

func checkProportion(x, n int, confidence float64) error {
	switch {
	case !inside(confidence):
		return ErrBadConfidence
	case n == 0 && x == 0:
		return fmt.Errorf("a share of none: %w", ErrTooFewReadings)
	case x < 0 || n < 0 || x > n:
		return fmt.Errorf("%d of %d: %w", x, n, ErrBadCount)
	}
	return nil
}
