package process

import (
	"fmt"
	"math"
)

// Description is the full description of readings taken in order. A figure that is not defined for them is nil: the
// shape and the autocorrelation of equal or too few readings, the standard deviation of one.
type Description struct {
	N        int
	Mean     float64
	Min, Max float64
	// SD is the sample standard deviation (n-1 divisor).
	SD *float64
	// Skewness is the adjusted Fisher-Pearson coefficient G₁ = √(n(n-1))/(n-2) · m₃/m₂^{3/2}; three readings or more.
	Skewness *float64
	// ExcessKurtosis is the adjusted G₂ = (n-1)/((n-2)(n-3)) · ((n+1)(m₄/m₂² - 3) + 6); four readings or more.
	ExcessKurtosis *float64
	// Lag1 is the autocorrelation of neighbours, Σ(xᵢ-x̄)(xᵢ₊₁-x̄) / Σ(xᵢ-x̄)², both about the overall mean.
	Lag1 *float64
}

// Describe returns the description of values in the order in which they were taken; mₖ in the formulas of Description
// is the k-th moment about the mean with divisor n. The slice is not changed.
//
// It returns ErrTooFewReadings for an empty slice and ErrNotFinite for a value that is not an ordinary number.
//
// Source: NIST/SEMATECH e-Handbook 1.3.5.11 and 1.3.5.12 for shape and autocorrelation (from memory, unverified); mean,
// SD and Lag1 agree with the NIST Statistical Reference Datasets to 9 digits and more.
func Describe(values []float64) (Description, error) {
	s, err := Summarize(values)
	if err != nil {
		return Description{}, err
	}
	if s.N == 0 {
		return Description{}, fmt.Errorf("describe: %w", ErrTooFewReadings)
	}
	d := Description{N: s.N, Mean: s.Mean, Min: s.Min, Max: s.Max}
	if s.N < 2 {
		return d, nil
	}
	sd := s.sd()
	d.SD = &sd
	if !varies(sd, max(math.Abs(s.Min), math.Abs(s.Max))) {
		return d, nil
	}
	// Standardised deviations keep the third and fourth powers in range whatever the unit.
	var cubes, fourths, neighbours float64
	previous := 0.0
	for i, x := range values {
		z := (x - s.Mean) / sd
		cubes += z * z * z
		fourths += z * z * z * z
		if i > 0 {
			neighbours += previous * z
		}
		previous = z
	}
	n := float64(s.N)
	d.Lag1 = finite(neighbours / (n - 1))
	if s.N >= 3 {
		d.Skewness = finite(n / ((n - 1) * (n - 2)) * cubes)
	}
	if s.N >= 4 {
		d.ExcessKurtosis = finite(n*(n+1)/((n-1)*(n-2)*(n-3))*fourths - 3*(n-1)*(n-1)/((n-2)*(n-3)))
	}
	return d, nil
}

// finite returns a pointer to x, or nil when x is no number: the last guard before a figure is shown.
func finite(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}
