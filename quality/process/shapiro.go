package process

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Shapiro is the result of a Shapiro-Wilk test whether readings look normal.
type Shapiro struct {
	N int
	// Statistic is W: 1 for readings that lie on the normal law exactly, less the further they stray.
	Statistic float64
	// P is the probability of a W this small from a normal process.
	P float64
}

// mostShapiro is the largest sample for which Royston fitted the law of W.
const mostShapiro = 5000

// ShapiroWilk tests whether values are normal, by comparing their spread with that of the line which their normal scores
// would draw:
//
//	W = (Σaᵢx₍ᵢ₎)² / (Σaᵢ²·Σ(x-x̄)²)
//
// a are the weights of Royston's approximation. Values may be in any order and are not changed. W finds most departures with
// fewer readings than Anderson-Darling needs; both assume independent readings, and both fail for readings rounded
// to few steps.
//
// It returns ErrTooFewReadings below three readings, ErrTooManyReadings over 5000, ErrNoSpread and ErrNotFinite.
//
// Source: Royston 1995, Applied Statistics 44(4), algorithm AS R94 (coefficients from memory; W and P of ten sets agree
// with two other implementations).
func ShapiroWilk(values []float64) (Shapiro, error) {
	s, err := Summarize(values)
	switch {
	case err != nil:
		return Shapiro{}, fmt.Errorf("normality: %w", err)
	case s.N < 3:
		return Shapiro{}, fmt.Errorf("normality of %d: %w", s.N, ErrTooFewReadings)
	case s.N > mostShapiro:
		return Shapiro{}, fmt.Errorf("Shapiro-Wilk test of %d, over %d: %w", s.N, mostShapiro, ErrTooManyReadings)
	case !varies(s.sd(), size(s)):
		return Shapiro{}, fmt.Errorf("normality: %w", ErrNoSpread)
	}
	sorted := slices.Sorted(slices.Values(values))
	weights := shapiroWeights(s.N)
	var line, square float64
	for i, a := range weights {
		line += a * ((sorted[s.N-1-i] - sorted[i]) / s.Range())
		square += 2 * a * a
	}
	// Values in units of their range keep squares of any unit within float64.
	deviations := 0.0
	for _, x := range sorted {
		z := (x - s.Mean) / s.Range()
		deviations += z * z
	}
	// 1-W as a product, since W is near 1 and P depends on what is missing.
	length := math.Sqrt(square * deviations)
	lack := max(0, (length-line)*(length+line)/(square*deviations))
	return Shapiro{N: s.N, Statistic: 1 - lack, P: shapiroP(s.N, lack)}, nil
}

// shapiroWeights returns the weights of the upper half of n sorted readings, the largest first. The lower half has the
// same with opposite sign.
func shapiroWeights(n int) []float64 {
	weights := make([]float64, n/2)
	if n == 3 {
		weights[0] = math.Sqrt2 / 2
		return weights
	}
	size := float64(n)
	total := 0.0
	for i := range weights {
		weights[i] = -distuv.UnitNormal.Quantile((float64(i+1) - 0.375) / (size + 0.25))
		total += 2 * weights[i] * weights[i]
	}
	length, inverse := math.Sqrt(total), 1/math.Sqrt(size)
	first := weights[0]/length + polynomial(inverse, 0, 0.221157, -0.147981, -2.07119, 4.434685, -2.706056)
	ends, left, taken := 1, total-2*weights[0]*weights[0], 1-2*first*first
	second := 0.0
	if n > 5 {
		second = weights[1]/length + polynomial(inverse, 0, 0.042981, -0.293762, -1.752461, 5.682633, -3.582633)
		ends, left, taken = 2, left-2*weights[1]*weights[1], taken-2*second*second
	}
	for i := ends; i < len(weights); i++ {
		weights[i] /= math.Sqrt(left / taken)
	}
	weights[0] = first
	if n > 5 {
		weights[1] = second
	}
	return weights
}

// shapiroP is the p-value of W = 1-lack for n readings.
func shapiroP(n int, lack float64) float64 {
	size := float64(n)
	if n == 3 { // exact: by hand from the angle of three points; W is at least 3/4
		return min(max(6/math.Pi*(math.Asin(math.Sqrt(1-lack))-math.Asin(math.Sqrt(0.75))), 0), 1)
	}
	if lack == 0 {
		return 1
	}
	y := math.Log(lack)
	var mean, sd float64
	if n <= 11 {
		end := polynomial(size, -2.273, 0.459)
		if y >= end {
			return 0
		}
		y = -math.Log(end - y)
		mean = polynomial(size, 0.544, -0.39978, 0.025054, -6.714e-4)
		sd = math.Exp(polynomial(size, 1.3822, -0.77857, 0.062767, -0.0020322))
	} else {
		log := math.Log(size)
		mean = polynomial(log, -1.5861, -0.31082, -0.083751, 0.0038915)
		sd = math.Exp(polynomial(log, -0.4803, -0.082676, 0.0030302))
	}
	return upperTail((y - mean) / sd)
}

// polynomial returns c₀ + c₁x + c₂x² + …
func polynomial(x float64, c ...float64) float64 {
	total := 0.0
	for i := len(c) - 1; i >= 0; i-- {
		total = total*x + c[i]
	}
	return total
}
