package process

import (
	"fmt"
	"math"
)

// largest is the magnitude above which a reading is refused: the square of a difference of two such readings, times
// any count, still fits a float64.
const largest = 1e140

// Summary is what has to be kept of a set of readings so that it can be described later and combined with others:
// how many, their mean, the sum of squared deviations from that mean, the smallest and the largest. The zero value is
// the summary of no readings.
//
// Every field is in the unit of the readings, M2 in its square. A Summary is stored with each check, so that a year's
// statistics read one row a check instead of every reading.
type Summary struct {
	N    int     // number of readings
	Mean float64 // arithmetic mean; 0 when N is 0
	M2   float64 // sum of (x - Mean)² over the readings
	Min  float64 // smallest reading
	Max  float64 // largest reading
}

// Summarize returns the summary of values, in one pass through memory. The slice is not changed.
//
// Blocks that fit a processor's cache are summed twice, the second time about the block's mean with the rounding of
// the first taken out (the corrected two-pass sum), and merged. It returns ErrNotFinite, with the position counted
// from 1, for a value that is not an ordinary number. No values give the zero Summary.
//
// Source: Chan, Golub and LeVeque 1983, The American Statistician 37(3), for the corrected sum and the merge (from
// memory, unverified); checked against the NIST Statistical Reference Datasets.
func Summarize(values []float64) (Summary, error) {
	const block = 256
	var total Summary
	for start := 0; start < len(values); start += block {
		part := values[start:min(start+block, len(values))]
		s := summarizeBlock(part)
		// A sum of squares is NaN or infinite as soon as one value is; only then is the culprit looked for.
		if !(math.Abs(s.Min) <= largest && math.Abs(s.Max) <= largest && s.M2 <= math.MaxFloat64) {
			for i, x := range part {
				if !ordinary(x) {
					return Summary{}, fmt.Errorf("reading %d: %w", start+i+1, ErrNotFinite)
				}
			}
		}
		total.Merge(s)
	}
	return total, nil
}

// summarizeBlock sums twice; two running sums keep the adder busy.
func summarizeBlock(values []float64) Summary {
	n := len(values)
	var even, odd float64
	low, high := values[0], values[0]
	i := 0
	for ; i+1 < n; i += 2 {
		a, b := values[i], values[i+1]
		even += a
		odd += b
		low = min(low, a, b)
		high = max(high, a, b)
	}
	if i < n {
		even += values[i]
		low = min(low, values[i])
		high = max(high, values[i])
	}
	mean := (even + odd) / float64(n)
	var sum0, sum1, squares0, squares1 float64
	for i = 0; i+1 < n; i += 2 {
		a, b := values[i]-mean, values[i+1]-mean
		sum0 += a
		sum1 += b
		squares0 += a * a
		squares1 += b * b
	}
	if i < n {
		a := values[i] - mean
		sum0 += a
		squares0 += a * a
	}
	left := sum0 + sum1
	s := Summary{N: n, Mean: mean + left/float64(n), M2: squares0 + squares1 - left*left/float64(n), Min: low, Max: high}
	s.tidy()
	return s
}

// Add takes one more reading into the summary. It returns ErrNotFinite, and leaves the summary as it was, for a value
// that is not an ordinary number.
//
// The mean and M2 are updated, not recomputed: Welford 1962, Technometrics 4(3) (from memory, unverified).
func (s *Summary) Add(x float64) error {
	if !ordinary(x) {
		return ErrNotFinite
	}
	if s.N == 0 {
		*s = Summary{N: 1, Mean: x, Min: x, Max: x}
		return nil
	}
	s.N++
	before := x - s.Mean
	s.Mean += before / float64(s.N)
	s.M2 += before * (x - s.Mean)
	s.Min, s.Max = min(s.Min, x), max(s.Max, x)
	return nil
}

// Merge takes the readings of t into s. Merging is commutative to the last bit and associative up to rounding; MergeAll and
// Accumulator are exact for any order and grouping:
//
//	n = n₁+n₂   mean = mean₁ + δ·n₂/n   M2 = M2₁ + M2₂ + δ²·n₁n₂/n   with δ = mean₂ - mean₁
//
// Both must be valid; see Check.
func (s *Summary) Merge(t Summary) {
	switch {
	case t.N == 0:
		return
	case s.N == 0:
		*s = t
		return
	}
	// The larger set leads, so that the order of the call does not matter.
	a, b := *s, t
	if b.N > a.N || b.N == a.N && b.Mean < a.Mean {
		a, b = b, a
	}
	n := float64(a.N) + float64(b.N)
	delta := b.Mean - a.Mean
	share := float64(b.N) / n
	*s = Summary{
		N:    a.N + b.N,
		Mean: a.Mean + delta*share,
		M2:   (a.M2 + b.M2) + delta*delta*float64(a.N)*share,
		Min:  min(a.Min, b.Min),
		Max:  max(a.Max, b.Max),
	}
	s.tidy()
}

// tidy takes out what rounding alone can bring in: a mean outside the readings, a spread of equal readings.
func (s *Summary) tidy() {
	s.Mean = min(max(s.Mean, s.Min), s.Max)
	if s.Min == s.Max || s.M2 < 0 {
		s.M2 = 0
	}
}

// MergeAll returns the summary of all readings behind the summaries, the same to the last bit in whatever order they
// stand: the sums ΣN·mean and Σ(M2 + N·mean²) are kept exactly and rounded once. It does not change the summaries,
// which must be valid; see Check.
func MergeAll(summaries []Summary) Summary {
	var sum [limbs1]int64
	var squares [limbs2]int64
	total := Summary{}
	for i, s := range summaries {
		if s.N == 0 {
			continue
		}
		if total.N == 0 {
			total.Min, total.Max = s.Min, s.Max
		}
		total.N += s.N
		total.Min, total.Max = min(total.Min, s.Min), max(total.Max, s.Max)
		negative, mantissa, place := mantissaOf(s.Mean)
		level := wide{mantissa}
		level.times(uint64(s.N))
		addTo(sum[:], &level, 2, place, negative)
		level.times(mantissa)
		addTo(squares[:], &level, 3, 2*place, false)
		_, mantissa, place = mantissaOf(s.M2)
		addTo(squares[:], &wide{mantissa}, 1, unitBits+place, false)
		if i%mostPending == mostPending-1 {
			carry(sum[:])
			carry(squares[:])
		}
	}
	if total.N == 0 {
		return Summary{}
	}
	return summaryOf(total.N, integerOf(sum[:]), integerOf(squares[:]), total.Min, total.Max)
}

// SD returns the sample standard deviation, √(M2/(N-1)). It returns ErrTooFewReadings below two readings.
func (s Summary) SD() (float64, error) {
	if s.N < 2 {
		return 0, fmt.Errorf("standard deviation of %d: %w", s.N, ErrTooFewReadings)
	}
	return s.sd(), nil
}

// sd is SD for summaries already known to hold two readings or more.
func (s Summary) sd() float64 { return math.Sqrt(s.M2 / float64(s.N-1)) }

// Range returns the largest reading minus the smallest; 0 for no readings.
func (s Summary) Range() float64 { return s.Max - s.Min }

// Check returns ErrNotFinite or ErrBadSummary when the fields cannot come from readings: a summary read from a file
// or made by hand. One that only Add, Merge and Summarize touched is valid. A little room is left for fields that were
// rounded on the way.
func (s Summary) Check() error {
	switch {
	case s == Summary{}:
		return nil
	case !ordinary(s.Mean) || !ordinary(s.Min) || !ordinary(s.Max) || !(math.Abs(s.M2) <= math.MaxFloat64):
		return ErrNotFinite
	case s.N < 1:
		return fmt.Errorf("%d readings: %w", s.N, ErrBadSummary)
	case s.Min > s.Max || s.M2 < 0:
		return fmt.Errorf("smallest above largest, or a negative spread: %w", ErrBadSummary)
	}
	room := 1e-6*(s.Max-s.Min) + 1e-9*max(math.Abs(s.Min), math.Abs(s.Max))
	if s.Mean < s.Min-room || s.Mean > s.Max+room {
		return fmt.Errorf("mean outside the readings: %w", ErrBadSummary)
	}
	// No set of n readings in a range R has more than n·R²/4.
	if reach := s.Max - s.Min + room; s.M2 > float64(s.N)*reach*reach/4*(1+1e-6) {
		return fmt.Errorf("spread wider than the range allows: %w", ErrBadSummary)
	}
	return nil
}

// ordinary tells a number that can be squared from NaN, infinities and absurd sizes.
func ordinary(x float64) bool { return math.Abs(x) <= largest }

// varies tells spread from rounding. A spread below 1e-12 of the readings' size is what adding equal decimals leaves
// behind; no gauge resolves it.
func varies(sd, size float64) bool { return sd > 1e-12*math.Abs(size) && sd > 1e-140 }
