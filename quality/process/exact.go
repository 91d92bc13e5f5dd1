package process

import (
	"math"
	"math/big"
	"math/bits"
)

// Exact sums. A float64 is a whole number of 2^-1074, its k-th power one of 2^-1074k: sums of powers kept as whole
// numbers in these units do not round, and so do not depend on the order in which they are added.

// unitBits is the binary place of the smallest float64.
const unitBits = 1074

// Limbs hold 32 bits each. The largest reading is below 2^466, and a count below 2^63 adds up.
const (
	limbs1 = (1*unitBits + 1*466 + 64 + 64) / 32
	limbs2 = (2*unitBits + 1024 + 64 + 64) / 32 // a sum of squares read from a Summary can be as large as a float64
	limbs3 = (3*unitBits + 3*466 + 64 + 64) / 32
	limbs4 = (4*unitBits + 4*466 + 64 + 64) / 32
)

// wide is a whole number of up to 256 bits, the lowest word first.
type wide [4]uint64

// times multiplies w by m. The product must fit, as powers of a 53-bit mantissa up to the fourth do.
func (w *wide) times(m uint64) {
	var carry uint64
	for i, word := range w {
		high, low := bits.Mul64(word, m)
		var over uint64
		w[i], over = bits.Add64(low, carry, 0)
		carry = high + over
	}
}

// mantissaOf splits x into a sign, a whole mantissa below 2^53, and its place counted from unitBits, at 0 or above.
func mantissaOf(x float64) (negative bool, mantissa uint64, place int) {
	raw := math.Float64bits(x)
	negative = raw>>63 != 0
	mantissa = raw & (1<<52 - 1)
	if exponent := int(raw >> 52 & (1<<11 - 1)); exponent > 0 {
		return negative, mantissa | 1<<52, exponent - 1
	}
	return negative, mantissa, 0
}

// addTo adds ±w·2^place to the limbs, where w has no more than so many words. Limbs take a 32-bit digit each time and have 63
// bits, so carries can wait.
func addTo(limbs []int64, w *wide, words, place int, negative bool) {
	shift := uint(place % 32)
	at := limbs[place/32:][:2*words+1]
	sign := int64(0) // all ones for a negative number: (x^sign)-sign is -x
	if negative {
		sign = -1
	}
	var rest uint64 // bits shifted out of the word below
	for i := range words {
		shifted := w[i]<<shift | rest
		rest = w[i] >> (64 - shift) // 0 for a shift of 0, as Go defines it
		at[2*i] += (int64(shifted&math.MaxUint32) ^ sign) - sign
		at[2*i+1] += (int64(shifted>>32) ^ sign) - sign
	}
	at[2*words] += (int64(rest) ^ sign) - sign
}

// carry brings every limb but the last into 0 to 2³²-1; the last keeps the sign.
func carry(limbs []int64) {
	var over int64
	for i := range len(limbs) - 1 {
		sum := limbs[i] + over
		limbs[i] = sum & math.MaxUint32
		over = sum >> 32
	}
	limbs[len(limbs)-1] += over
}

// integerOf returns the number that the limbs hold, in its unit.
func integerOf(limbs []int64) *big.Int {
	total, limb := new(big.Int), new(big.Int)
	for i := len(limbs) - 1; i >= 0; i-- {
		total.Lsh(total, 32)
		total.Add(total, limb.SetInt64(limbs[i]))
	}
	return total
}

// quotient returns a·2^-place/b to 256 bits, many more than a float64 has.
func quotient(a *big.Int, place int, b *big.Int) *big.Float { return divided(a, place, b, 256) }

// rounded returns the float64 nearest to a·2^-place/b. No quotient of such numbers lies so near to the middle between two
// floats, without being that middle, that this precision would not tell.
func rounded(a *big.Int, place int, b *big.Int) float64 {
	return nearest(divided(a, place, b, uint(a.BitLen()+b.BitLen()+64)))
}

func divided(a *big.Int, place int, b *big.Int, precision uint) *big.Float {
	top := new(big.Float).SetPrec(precision).SetInt(a)
	top.SetMantExp(top, -place)
	return top.Quo(top, new(big.Float).SetPrec(precision).SetInt(b))
}

// nearest returns the float64 nearest to x.
func nearest(x *big.Float) float64 {
	value, _ := x.Float64()
	return value
}

// productOf returns the product of whole numbers.
func productOf(factors ...*big.Int) *big.Int {
	total := big.NewInt(1)
	for _, factor := range factors {
		total.Mul(total, factor)
	}
	return total
}
