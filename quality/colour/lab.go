package colour

import (
	"errors"
	"fmt"
	"math"
)

// ErrNotColour means a coordinate that is not a finite number or lies outside −1000 to 1000, far from any surface.
var ErrNotColour = errors.New("not a colour in CIELAB")

// ErrWeight means a weighting factor that is not a finite number over 0.
var ErrWeight = errors.New("a weight of a colour difference must be over 0")

// largest is the bound on a coordinate. Surfaces have L* of 0 to 100 and a*, b* within ±130; the room above is for
// fluorescent and imagined colours, and the bound keeps the seventh powers far from overflow.
const largest = 1000

// A Lab is a colour in CIELAB: lightness L (0 black, 100 white), A from green (−) to red (+), B from blue (−) to yellow
// (+). All three are plain numbers without unit.
type Lab struct{ L, A, B float64 }

// Chroma returns C*ab = √(a*² + b*²), the distance from grey.
func (c Lab) Chroma() float64 { return math.Sqrt(c.A*c.A + c.B*c.B) }

// Hue returns the hue angle h_ab in degrees from 0 up to 360, 0 being red and 90 yellow. A grey (a* = b* = 0) has no hue;
// it returns 0.
func (c Lab) Hue() float64 { return degrees(hue(c.A, c.B)) }

func (c Lab) valid() bool {
	// Comparisons with NaN are false, so that NaN is refused too.
	return math.Abs(c.L) <= largest && math.Abs(c.A) <= largest && math.Abs(c.B) <= largest
}

func check(standard, sample Lab) error {
	if standard.valid() && sample.valid() {
		return nil
	}
	return fmt.Errorf("%w: %v and %v", ErrNotColour, standard, sample)
}

// hue returns the angle of (a, b) in radians, from 0 up to 2π, and 0 for a grey.
func hue(a, b float64) float64 {
	if a == 0 && b == 0 {
		return 0
	}
	h := math.Atan2(b, a)
	if h < 0 {
		h += 2 * math.Pi
	}
	return h
}

func degrees(radians float64) float64 { return radians * 180 / math.Pi }

// A Difference is how a sample departs from its standard, sample minus standard.
type Difference struct {
	DL float64 // over 0: lighter
	DA float64 // over 0: redder or less green
	DB float64 // over 0: yellower or less blue
	DC float64 // difference in chroma; over 0: more vivid
	DH float64 // difference in hue as a distance; over 0: anticlockwise, such as red towards yellow
}

// Compare returns the parts of the difference between a standard and a sample in CIELAB:
//
//	ΔL* = L*₂ − L*₁,  Δa*, Δb* and ΔC* likewise,  ΔH* = ±√(2(C₁C₂ − a₁a₂ − b₁b₂))
//
// so that ΔE*ab² = ΔL*² + Δa*² + Δb*² = ΔL*² + ΔC*² + ΔH*². ΔH* is 0 where one of the two is grey.
//
// It returns ErrNotColour for coordinates that are none.
//
// Source: ISO/CIE 11664-4 (formulas from memory; they follow from the definition of the space).
func Compare(standard, sample Lab) (Difference, error) {
	if err := check(standard, sample); err != nil {
		return Difference{}, err
	}
	return Difference{
		DL: sample.L - standard.L, DA: sample.A - standard.A, DB: sample.B - standard.B,
		DC: sample.Chroma() - standard.Chroma(), DH: hueDistance(standard, sample),
	}, nil
}

// hueDistance returns ΔH*. The cross product carries the sign and, for hues that lie close together, all the digits that
// the difference of two nearly equal products would lose.
func hueDistance(one, two Lab) float64 {
	cross := one.A*two.B - two.A*one.B
	dot := one.A*two.A + one.B*two.B
	product := one.Chroma() * two.Chroma()
	// Chromas so small that their product is nothing have no hue to speak of.
	if product < 1e-100 {
		return 0
	}
	if dot > 0 {
		return cross * math.Sqrt(2/(product+dot))
	}
	return math.Copysign(math.Sqrt(2*max(product-dot, 0)), cross)
}

// CIE76 returns ΔE*ab, the distance in CIELAB:
//
//	ΔE*ab = √( (L*₂−L*₁)² + (a*₂−a*₁)² + (b*₂−b*₁)² )
//
// It is symmetric. Equal figures look unequal: in saturated colours a difference of 3 may be hard to see, in greys 0.7 may
// show. It returns ErrNotColour for coordinates that are none.
//
// Source: ISO/CIE 11664-4.
func CIE76(standard, sample Lab) (float64, error) {
	if err := check(standard, sample); err != nil {
		return 0, err
	}
	dL, dA, dB := sample.L-standard.L, sample.A-standard.A, sample.B-standard.B
	return math.Sqrt(dL*dL + dA*dA + dB*dB), nil
}

// CMC returns ΔE CMC(l:c) with the weights l (lightness) and c (chroma). 2:1 is used to accept, 1:1 to tell apart what can
// just be seen.
//
//	ΔE = √( (ΔL*/(l·S_L))² + (ΔC*/(c·S_C))² + (ΔH*/S_H)² )
//	S_L = 0.040975 L*₁/(1 + 0.01765 L*₁), or 0.511 where L*₁ < 16
//	S_C = 0.0638 C₁/(1 + 0.0131 C₁) + 0.638,  S_H = S_C (F·T + 1 − F),  F = √(C₁⁴/(C₁⁴ + 1900))
//	T = 0.56 + |0.2 cos(h₁ + 168°)| for 164° ≤ h₁ ≤ 345°, else 0.36 + |0.4 cos(h₁ + 35°)|
//
// All weighting comes from the standard, so that the order of the two matters: swapped, the figure differs.
//
// It returns ErrNotColour for coordinates that are none and ErrWeight for weights that are not over 0.
//
// Source: the Colour Measurement Committee's formula, BS 6923 (from memory, unverified).
func CMC(standard, sample Lab, lightness, chroma float64) (float64, error) {
	if err := check(standard, sample); err != nil {
		return 0, err
	}
	if !usable(lightness) || !usable(chroma) {
		return 0, fmt.Errorf("%w: %v:%v", ErrWeight, lightness, chroma)
	}
	c1 := standard.Chroma()
	h1 := degrees(hue(standard.A, standard.B))
	t := 0.36 + math.Abs(0.4*math.Cos((h1+35)*math.Pi/180))
	if h1 >= 164 && h1 <= 345 {
		t = 0.56 + math.Abs(0.2*math.Cos((h1+168)*math.Pi/180))
	}
	c4 := c1 * c1 * c1 * c1
	f := math.Sqrt(c4 / (c4 + 1900))
	sL := 0.511
	if standard.L >= 16 {
		sL = 0.040975 * standard.L / (1 + 0.01765*standard.L)
	}
	sC := 0.0638*c1/(1+0.0131*c1) + 0.638
	sH := sC * (f*t + 1 - f)
	l := (sample.L - standard.L) / (lightness * sL)
	c := (sample.Chroma() - c1) / (chroma * sC)
	h := hueDistance(standard, sample) / sH
	return math.Sqrt(l*l + c*c + h*h), nil
}

// usable reports whether a weight may divide: over 0 and neither so small nor so large that a figure could overflow.
func usable(weight float64) bool { return weight >= 1e-3 && weight <= 1e3 }
