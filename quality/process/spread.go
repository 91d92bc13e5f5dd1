package process

import (
	"fmt"
	"math"
)

// Within names the way in which the spread within subgroups is estimated. The ways give different figures from the
// same readings, and so different indices: print the name beside the number.
type Within string

// The estimates of the spread within subgroups.
const (
	// PooledSD is √(Σ(nᵢ-1)sᵢ²/Σ(nᵢ-1)), the default, and the most efficient when subgroups are alike.
	PooledSD Within = "pooled"
	// FromSBar is s̄/c₄, as the X̄-s chart uses it.
	FromSBar Within = "sbar"
	// FromRBar is R̄/d₂, as the X̄-R chart uses it.
	FromRBar Within = "rbar"
	// FromMovingRange is MR̄/d₂ of the single readings in time order, as the individuals chart uses it.
	FromMovingRange Within = "moving-range"
	// BetweenAndWithin is √(σ²between + σ²within) of one reading on one part, where parts differ more than the readings
	// on one part do: between from the moving ranges of the part means, within pooled. For spots on parts.
	BetweenAndWithin Within = "between-within"
)

// String returns the estimate in words, for printing beside an index.
func (w Within) String() string {
	switch w {
	case PooledSD:
		return "pooled standard deviation within subgroups"
	case FromSBar:
		return "mean standard deviation / c4"
	case FromRBar:
		return "mean range / d2"
	case FromMovingRange:
		return "mean moving range / d2"
	case BetweenAndWithin:
		return "short-term spread between and within subgroups"
	}
	return string(w)
}

// Spread is an estimate of a standard deviation, with what a confidence statement about it needs.
type Spread struct {
	Sigma float64
	// DF is the number of degrees of freedom that the estimate is worth.
	DF float64
	// Readings is how many independent readings the mean is worth. It is their number, except for BetweenAndWithin,
	// where the readings on one part share its level and are worth less.
	Readings float64
}

// SpreadWithin estimates the standard deviation within subgroups by the named method. Subgroups may differ in size;
// those of one reading say nothing about it and are left out, except for FromMovingRange, which takes the subgroups as
// single readings in time order, and BetweenAndWithin. Sizes weigh as c₄²/(1-c₄²) for standard deviations and d₂²/d₃²
// for ranges; equal sizes give the plain s̄/c₄ and R̄/d₂.
//
// DF is exact for PooledSD, and otherwise that of the chi-square with the same coefficient of variation, 1/(2·CV²).
//
// It returns ErrTooFewSubgroups, ErrTooFewReadings, ErrNoSpread, ErrSubgroupSize (a moving range of subgroups larger
// than one) or ErrUnknownMethod.
//
// Source: weights as in ASTM MNL 7 (from memory, unverified); values recomputed in two languages.
func SpreadWithin(subgroups []Summary, method Within) (Spread, error) {
	s, err := checkSubgroups(subgroups)
	if err != nil {
		return Spread{}, err
	}
	return s.spreadWithin(method)
}

func (s sample) spreadWithin(method Within) (Spread, error) {
	err := s.atLeast(1)
	if err != nil {
		return Spread{}, err
	}
	var spread Spread
	switch method {
	case PooledSD, "":
		spread, err = pooled(s.groups)
	case FromSBar:
		spread, err = weighted(s.groups, Summary.sd, func(n int) (float64, float64) { return c4(n), c4Lack(n) })
	case FromRBar:
		spread, err = weighted(s.groups, Summary.Range, rangeMoments)
	case FromMovingRange:
		spread, err = movingRangeOfSingles(s.groups)
	case BetweenAndWithin:
		var parts Components
		if parts, err = s.betweenParts(); err == nil {
			spread = parts.total()
		}
	default:
		err = fmt.Errorf("%q: %w", string(method), ErrUnknownMethod)
	}
	if err != nil {
		return Spread{}, err
	}
	if !varies(spread.Sigma, size(s.all)) {
		return Spread{}, fmt.Errorf("within subgroups: %w", ErrNoSpread)
	}
	return spread, nil
}

func pooled(subgroups []Summary) (Spread, error) {
	var squares, df, readings float64
	for _, s := range subgroups {
		squares += s.M2
		df += float64(s.N - 1)
		readings += float64(s.N)
	}
	if df == 0 {
		return Spread{}, fmt.Errorf("no subgroup has two: %w", ErrTooFewReadings)
	}
	return Spread{Sigma: math.Sqrt(squares / df), DF: df, Readings: readings}, nil
}

// weighted averages a measure of spread over subgroups; moments gives its mean and standard deviation in σ.
func weighted(subgroups []Summary, measure func(Summary) float64, moments func(int) (float64, float64)) (Spread, error) {
	var sum, weights, readings, mean, sd float64
	known := 0 // most charts have one size: look its constants up once
	for i, s := range subgroups {
		readings += float64(s.N)
		if s.N < 2 {
			continue
		}
		if s.N > largestSubgroup {
			return Spread{}, fmt.Errorf("subgroup %d: %w", i+1, ErrSubgroupSize)
		}
		if s.N != known {
			mean, sd = moments(s.N)
			known = s.N
		}
		weight := (mean / sd) * (mean / sd)
		sum += weight * measure(s) / mean
		weights += weight
	}
	if weights == 0 {
		return Spread{}, fmt.Errorf("no subgroup has two: %w", ErrTooFewReadings)
	}
	return Spread{Sigma: sum / weights, DF: weights / 2, Readings: readings}, nil
}

// movingRangeWorth is the degrees of freedom of MR̄/d₂ for each reading: its variance tends to 0.8265σ²/n, since
// neighbouring ranges share a reading (from memory, unverified; held by a simulation in the tests).
const movingRangeWorth = 1 / (2 * 0.8265)

func movingRangeOfSingles(subgroups []Summary) (Spread, error) {
	values := make([]float64, len(subgroups))
	for i, s := range subgroups {
		if s.N != 1 {
			return Spread{}, fmt.Errorf("moving range: subgroup %d is not a single reading: %w", i+1, ErrSubgroupSize)
		}
		values[i] = s.Mean
	}
	return movingRange(values)
}

// movingRange estimates σ from the ranges of neighbours.
func movingRange(values []float64) (Spread, error) {
	if len(values) < 2 {
		return Spread{}, fmt.Errorf("moving range of %d: %w", len(values), ErrTooFewReadings)
	}
	var sum float64
	for i := 1; i < len(values); i++ {
		sum += math.Abs(values[i] - values[i-1])
	}
	n := float64(len(values))
	d2, _ := rangeMoments(2)
	return Spread{Sigma: sum / (n - 1) / d2, DF: max(1, n*movingRangeWorth), Readings: n}, nil
}

// Components splits the short-term spread of a reading into what lies between parts and what lies within one.
type Components struct {
	Parts    int
	Readings int     // in all parts together
	PerPart  float64 // harmonic mean of the readings on a part
	// Within is the pooled standard deviation of readings on one part.
	Within float64
	// Between is √max(0, Means² - Within²/PerPart), the spread of the parts themselves. NegativeBetween says that the
	// difference was below 0, as it is by chance when parts hardly differ.
	Between         float64
	NegativeBetween bool
	// Means is the spread of the part means, from the moving ranges of neighbours.
	Means float64
}

// BetweenParts splits the spread of readings on parts, each part a subgroup, parts in time order.
//
// It assumes that the readings on a part are a sample of it. The moving range makes Between the short-term spread from
// part to part: slow drift does not swell it. It returns ErrTooFewSubgroups below two parts, and ErrTooFewReadings when
// no part has two readings.
//
// Source: the between/within chart of textbooks on control charts (common practice); estimates by the method of moments.
func BetweenParts(subgroups []Summary) (Components, error) {
	s, err := checkSubgroups(subgroups)
	if err != nil {
		return Components{}, err
	}
	return s.betweenParts()
}

func (s sample) betweenParts() (Components, error) {
	if err := s.atLeast(2); err != nil {
		return Components{}, err
	}
	within, err := pooled(s.groups)
	if err != nil {
		return Components{}, err
	}
	inverse := 0.0
	for _, part := range s.groups {
		inverse += 1 / float64(part.N)
	}
	level, err := movingRange(s.means())
	if err != nil {
		return Components{}, err
	}
	c := Components{
		Parts: len(s.groups), Readings: s.all.N, PerPart: float64(len(s.groups)) / inverse,
		Within: within.Sigma, Means: level.Sigma,
	}
	if square := c.Means*c.Means - c.Within*c.Within/c.PerPart; square >= 0 {
		c.Between = math.Sqrt(square)
	} else {
		c.NegativeBetween = true
	}
	return c, nil
}

// means are the means of the subgroups in order.
func (s sample) means() []float64 {
	means := make([]float64, len(s.groups))
	for i, group := range s.groups {
		means[i] = group.Mean
	}
	return means
}

// total is the spread of one reading on one part, with degrees of freedom after Satterthwaite 1946, Biometrics
// Bulletin 2(6) (from memory, unverified), for σ² = Means² + Within²(1-1/PerPart).
func (c Components) total() Spread {
	inside := c.Within * c.Within
	if c.NegativeBetween {
		readings := float64(c.Readings)
		return Spread{Sigma: c.Within, DF: readings - float64(c.Parts), Readings: readings}
	}
	means, rest := c.Means*c.Means, inside*(1-1/c.PerPart)
	sigma2 := means + rest
	parts := float64(c.Parts)
	s := Spread{Sigma: math.Sqrt(sigma2), DF: 1, Readings: float64(c.Readings)}
	if sigma2 > 0 {
		a, b := means/sigma2, rest/sigma2 // shares, since fourth powers leave the range of float64
		s.DF = max(1, 1/(a*a/max(1, parts*movingRangeWorth)+b*b/(float64(c.Readings)-parts)))
	}
	if means > 0 {
		// The grand mean of the parts varies by Means²/Parts: as much as that of so many independent readings.
		s.Readings = min(s.Readings, parts*sigma2/means)
	}
	return s
}
