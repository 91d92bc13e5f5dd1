package process

import (
	"math"
	"math/big"
)

// Accumulator takes readings one at a time and describes them, in fixed memory (about 5 kB) however many there are. The
// zero value holds no readings.
//
// It compensates every rounding: sums of powers up to the fourth, and of products of neighbours, are kept as whole
// numbers, and one division at the end rounds. Each figure is therefore that of the readings to the last digit or
// two, and N, mean, standard deviation, smallest, largest and shape are the same to the last bit in whatever order
// readings are added and accumulators merged. Lag1 alone needs order: readings in time order, and Merge called with
// the readings that follow.
type Accumulator struct {
	n                      int
	low, high, first, last float64
	pending                uint32 // additions since carries were last taken
	sum                    [limbs1]int64
	squares, neighbours    [limbs2]int64
	cubes                  [limbs3]int64
	fourths                [limbs4]int64
}

// mostPending keeps a limb of 32-bit digits, plus as many again from a merge, within 63 bits.
const mostPending = 1 << 29

// Add takes one more reading. It returns ErrNotFinite, and takes nothing, for a value that is not an ordinary number. It
// allocates nothing.
func (a *Accumulator) Add(x float64) error {
	if !ordinary(x) {
		return ErrNotFinite
	}
	negative, mantissa, place := mantissaOf(x)
	if a.n == 0 {
		a.low, a.high, a.first = x, x, x
	} else {
		a.low, a.high = min(a.low, x), max(a.high, x)
		a.pair(a.last, x)
	}
	a.n++
	a.last = x
	power := wide{mantissa}
	addTo(a.sum[:], &power, 1, place, negative)
	power.times(mantissa)
	addTo(a.squares[:], &power, 2, 2*place, false)
	power.times(mantissa)
	addTo(a.cubes[:], &power, 3, 3*place, negative)
	power.times(mantissa)
	addTo(a.fourths[:], &power, 4, 4*place, false)
	if a.pending++; a.pending >= mostPending {
		a.settle()
	}
	return nil
}

// pair adds the product of two neighbours.
func (a *Accumulator) pair(x, y float64) {
	negativeX, mantissaX, placeX := mantissaOf(x)
	negativeY, mantissaY, placeY := mantissaOf(y)
	product := wide{mantissaX}
	product.times(mantissaY)
	addTo(a.neighbours[:], &product, 2, placeX+placeY, negativeX != negativeY)
}

// settle takes the carries.
func (a *Accumulator) settle() {
	for _, limbs := range [][]int64{a.sum[:], a.squares[:], a.neighbours[:], a.cubes[:], a.fourths[:]} {
		carry(limbs)
	}
	a.pending = 0
}

// Merge takes the readings of b, which is not changed, as if they followed those of a. All figures but Lag1 are the
// same bits for any order and grouping of merges; Lag1 is that of the readings in the order of the merges.
func (a *Accumulator) Merge(b *Accumulator) {
	switch {
	case b.n == 0:
		return
	case a.n == 0:
		*a = *b
		return
	}
	other := *b
	a.settle()
	other.settle()
	a.pair(a.last, other.first)
	for _, both := range [][2][]int64{
		{a.sum[:], other.sum[:]}, {a.squares[:], other.squares[:]}, {a.neighbours[:], other.neighbours[:]},
		{a.cubes[:], other.cubes[:]}, {a.fourths[:], other.fourths[:]},
	} {
		for i, limb := range both[1] {
			both[0][i] += limb
		}
	}
	a.pending = 2
	a.n += other.n
	a.low, a.high, a.last = min(a.low, other.low), max(a.high, other.high), other.last
}

// Summary returns what has to be stored of the readings; the zero Summary for none.
func (a *Accumulator) Summary() Summary {
	if a.n == 0 {
		return Summary{}
	}
	return summaryOf(a.n, integerOf(a.sum[:]), integerOf(a.squares[:]), a.low, a.high)
}

// summaryOf rounds exact sums of readings and of their squares to a Summary.
func summaryOf(n int, sum, squares *big.Int, low, high float64) Summary {
	count := big.NewInt(int64(n))
	deviations := productOf(count, squares)
	deviations.Sub(deviations, productOf(sum, sum))
	s := Summary{
		N: n, Mean: rounded(sum, unitBits, count), M2: rounded(deviations, 2*unitBits, count),
		Min: low, Max: high,
	}
	s.tidy()
	return s
}

// Describe returns the description of the readings; its errors and formulas are those of the function Describe.
func (a *Accumulator) Describe() (Description, error) {
	s := a.Summary()
	d := Description{N: s.N, Mean: s.Mean, Min: s.Min, Max: s.Max}
	if s.N == 0 {
		return d, ErrTooFewReadings
	}
	if s.N < 2 {
		return d, nil
	}
	sd := s.sd()
	d.SD = &sd
	if !varies(sd, size(s)) {
		return d, nil
	}
	m := a.moments()
	n := float64(s.N)
	d.Lag1 = finite(m.lag1)
	if s.N >= 3 {
		d.Skewness = finite(n * math.Sqrt(n-1) / (n - 2) * m.skew)
	}
	if s.N >= 4 {
		d.ExcessKurtosis = finite(n*(n+1)*(n-1)/((n-2)*(n-3))*m.kurt - 3*(n-1)*(n-1)/((n-2)*(n-3)))
	}
	return d, nil
}

// ratios are sums of powers of deviations D from the mean, free of any unit.
type ratios struct {
	skew float64 // ΣD³ / (ΣD²)^{3/2}
	kurt float64 // ΣD⁴ / (ΣD²)²
	lag1 float64 // ΣDᵢDᵢ₊₁ / ΣD²
}

// moments turns sums of powers Sₖ into sums about the mean, times a power of n so that they stay whole:
//
//	nΣD² = nS₂-S₁²   n²ΣD³ = n²S₃-3nS₁S₂+2S₁³   n³ΣD⁴ = n³S₄-4n²S₁S₃+6nS₁²S₂-3S₁⁴
//	n²ΣDᵢDᵢ₊₁ = n²P-nS₁(2S₁-x₁-xₙ)+(n-1)S₁²,  P the sum of products of neighbours
func (a *Accumulator) moments() ratios {
	n := big.NewInt(int64(a.n))
	s1, s2 := integerOf(a.sum[:]), integerOf(a.squares[:])
	s3, s4 := integerOf(a.cubes[:]), integerOf(a.fourths[:])
	add := func(terms ...*big.Int) *big.Int {
		total := new(big.Int)
		for _, term := range terms {
			total.Add(total, term)
		}
		return total
	}
	times := func(factor int64, factors ...*big.Int) *big.Int {
		return productOf(append(factors, big.NewInt(factor))...)
	}
	second := add(times(1, n, s2), times(-1, s1, s1))
	third := add(times(1, n, n, s3), times(-3, n, s1, s2), times(2, s1, s1, s1))
	fourth := add(times(1, n, n, n, s4), times(-4, n, n, s1, s3), times(6, n, s1, s1, s2), times(-3, s1, s1, s1, s1))
	ends := add(exactly(a.first), exactly(a.last))
	neighbours := add(times(1, n, n, integerOf(a.neighbours[:])), times(-2, n, s1, s1), times(1, n, s1, ends),
		times(int64(a.n)-1, s1, s1))

	square := quotient(second, 2*unitBits, n)
	root := new(big.Float).Sqrt(square)
	skew := quotient(third, 3*unitBits, productOf(n, n))
	skew.Quo(skew, root.Mul(root, square))
	kurt := quotient(fourth, 4*unitBits, productOf(n, n, n))
	kurt.Quo(kurt, new(big.Float).Mul(square, square))
	lag1 := quotient(neighbours, 2*unitBits, productOf(n, n))
	lag1.Quo(lag1, square)
	return ratios{skew: nearest(skew), kurt: nearest(kurt), lag1: nearest(lag1)}
}

// exactly returns x in units of the smallest float64.
func exactly(x float64) *big.Int {
	negative, mantissa, place := mantissaOf(x)
	value := new(big.Int).SetUint64(mantissa)
	value.Lsh(value, uint(place))
	if negative {
		value.Neg(value)
	}
	return value
}
