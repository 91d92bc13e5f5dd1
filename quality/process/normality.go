package process

import (
	"fmt"
	"math"
	"slices"
)

// Normality is the result of a test whether readings look normal.
type Normality struct {
	N int
	// Statistic is the Anderson-Darling A² with mean and standard deviation estimated; Adjusted is
	// A²(1 + 0.75/n + 2.25/n²), which P belongs to.
	Statistic, Adjusted float64
	// P is the probability of an Adjusted this large from a normal process.
	P float64
	// Few says that there are under 8 readings: P is not to be trusted.
	Few bool
}

// AndersonDarling tests whether values are normal:
//
//	A² = -n - (1/n)·Σ(2i-1)[ln Φ(z₍ᵢ₎) + ln(1-Φ(z₍ₙ₊₁₋ᵢ₎))],  z = (x-x̄)/s, sorted
//
// Values may be in any order and are not changed. It assumes independent readings: spots on one part are not, and
// readings rounded to few steps fail for that reason alone. With thousands of readings it finds departures that do not
// matter; look at the histogram.
//
// It returns ErrTooFewReadings below three readings, ErrNoSpread and ErrNotFinite.
//
// Source: D'Agostino and Stephens 1986, table 4.9 (reference seen, coefficients of P from memory; values recomputed in
// two languages).
func AndersonDarling(values []float64) (Normality, error) {
	s, err := Summarize(values)
	if err != nil {
		return Normality{}, fmt.Errorf("normality: %w", err)
	}
	if s.N < 3 {
		return Normality{}, fmt.Errorf("normality of %d: %w", s.N, ErrTooFewReadings)
	}
	sd := s.sd()
	if !varies(sd, size(s)) {
		return Normality{}, fmt.Errorf("normality: %w", ErrNoSpread)
	}
	z := make([]float64, s.N)
	for i, x := range values {
		z[i] = (x - s.Mean) / sd
	}
	slices.Sort(z)
	n := float64(s.N)
	sum := 0.0
	for i := range z {
		sum += float64(2*i+1) * (logPhi(z[i]) + logPhi(-z[s.N-1-i]))
	}
	r := Normality{N: s.N, Statistic: -n - sum/n, Few: s.N < 8}
	r.Adjusted = r.Statistic * (1 + 0.75/n + 2.25/(n*n))
	r.P = andersonDarlingP(r.Adjusted)
	return r, nil
}

// andersonDarlingP is the p-value of the adjusted statistic. The last quadratic turns up again beyond 153, where the
// probability has long vanished.
func andersonDarlingP(a float64) float64 {
	var p float64
	switch {
	case a < 0.2:
		p = 1 - math.Exp(-13.436+101.14*a-223.73*a*a)
	case a < 0.34:
		p = 1 - math.Exp(-8.318+42.796*a-59.938*a*a)
	case a < 0.6:
		p = math.Exp(0.9177 - 4.279*a - 1.38*a*a)
	case a < 153:
		p = math.Exp(1.2937 - 5.709*a + 0.0186*a*a)
	}
	return min(max(p, 0), 1)
}

// logPhi returns ln Φ(z). Below -30 Φ nears the smallest float64, and the first terms of its asymptotic series are
// exact to 1e-6.
func logPhi(z float64) float64 {
	switch {
	case z > 5:
		return math.Log1p(-upperTail(z))
	case z > -30:
		return math.Log(upperTail(-z))
	}
	return -z*z/2 - math.Log(-z) - math.Log(2*math.Pi)/2 + math.Log1p(-1/(z*z))
}
