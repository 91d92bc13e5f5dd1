package variance

import (
	"math"
	"math/big"
	"strconv"
)

// largestExact is the largest whole number up to which every whole number is a float64.
const largestExact = 1 << 53

// Centered returns values less a common constant, and the constant. Where every value is a decimal of at most 15 or so
// digits, as typed readings are, the subtraction is exact in decimals: 1000000000000.4 and 1000000000000.3 less
// 1000000000000.3 are 0.1 and 0, where float64 subtraction gives 0.0999755859375. Other values are subtracted in
// float64. The constant is one of the values, the middle one in order of entry. Values are not changed and must be
// finite; none gives nil and 0.
func Centered(values []float64) (centered []float64, constant float64) {
	if len(values) == 0 {
		return nil, 0
	}
	constant = values[len(values)/2]
	centered = make([]float64, len(values))
	scale, exact := commonScale(1, values...)
	for i, x := range values {
		if exact {
			centered[i] = less(x, constant, scale)
		} else {
			centered[i] = x - constant
		}
	}
	return centered, constant
}

// less returns x less y where scale makes both whole numbers below 2⁵³: their exact difference, rounded once.
func less(x, y, scale float64) float64 {
	return float64(int64(math.Round(x*scale))-int64(math.Round(y*scale))) / scale
}

// commonScale returns the least power of ten from a first one up that makes every value a whole number below 2⁵³, if there is
// one. The test m/10ᵈ == x is exact: with both below 2⁵³ and d at most 15 the quotient is rounded once, as the parser rounds
// a typed decimal.
func commonScale(first float64, values ...float64) (scale float64, ok bool) {
	scale = first
	for _, x := range values {
		for {
			m := math.Round(x * scale)
			if math.Abs(m) >= largestExact {
				return 0, false
			}
			if m/scale == x {
				break
			}
			if scale *= 10; scale > 1e15 {
				return 0, false
			}
		}
	}
	// A value checked early was checked at a smaller scale: a whole number times a power of ten stays whole, but may
	// have grown too large.
	for _, x := range values {
		if math.Abs(x)*scale >= largestExact {
			return 0, false
		}
	}
	return scale, true
}

// An Origin is a value that others are counted from, one by one, where Centered takes a whole sample.
type Origin struct {
	value float64
	scale float64 // the least power of ten that made every value so far, and this one, whole
}

// NewOrigin returns the origin at a finite value.
func NewOrigin(value float64) *Origin { return &Origin{value: value, scale: 1} }

// Less returns x less the origin: exact in decimals and rounded once where both are decimals of at most 15 or so digits, in
// float64 otherwise. x must be finite.
func (o *Origin) Less(x float64) float64 {
	scale, exact := commonScale(o.scale, x, o.value)
	if !exact {
		return x - o.value
	}
	o.scale = scale
	return less(x, o.value, scale)
}

// Plus returns the origin, as the shortest decimal that names it, and d, rounded once. d must be finite.
func (o *Origin) Plus(d float64) float64 {
	sum, ok := new(big.Rat).SetString(strconv.FormatFloat(o.value, 'g', -1, 64))
	if !ok {
		return o.value + d
	}
	x, _ := sum.Add(sum, new(big.Rat).SetFloat64(d)).Float64()
	return x
}

// sum is a compensated sum (Neumaier): its error does not grow with the number of terms.
type sum struct{ total, lost float64 }

func (s *sum) add(x float64) {
	t := s.total + x
	if math.Abs(s.total) >= math.Abs(x) {
		s.lost += (s.total - t) + x
	} else {
		s.lost += (x - t) + s.total
	}
	s.total = t
}

func (s *sum) value() float64 { return s.total + s.lost }
