package colour

import (
	"fmt"
	"math"
)

// Weights are the parametric factors of CIEDE2000, for conditions of viewing other than the reference ones: kL for
// lightness, kC for chroma, kH for hue. All are 1 for a smooth coated panel; textiles use kL = 2.
type Weights struct{ L, C, H float64 }

// CIEDE2000 returns ΔE₀₀ between two colours with kL = kC = kH = 1:
//
//	ΔE₀₀ = √( (ΔL′/S_L)² + (ΔC′/S_C)² + (ΔH′/S_H)² + R_T (ΔC′/S_C)(ΔH′/S_H) )
//	a′ = a*(1 + G),  G = ½(1 − √(C̄⁷/(C̄⁷ + 25⁷))),  C̄ the mean of both chromas
//	T = 1 − 0.17 cos(h̄′−30°) + 0.24 cos 2h̄′ + 0.32 cos(3h̄′+6°) − 0.20 cos(4h̄′−63°)
//	S_L = 1 + 0.015(L̄′−50)²/√(20+(L̄′−50)²),  S_C = 1 + 0.045 C̄′,  S_H = 1 + 0.015 C̄′T
//	R_T = −sin(2Δθ) · 2√(C̄′⁷/(C̄′⁷+25⁷)),  Δθ = 30° exp(−((h̄′−275°)/25°)²)
//
// The mean hue h̄′ is taken across 0° where the hues lie more than 180° apart; hues exactly opposite are averaged as they
// stand; where one colour is grey the other's hue counts. ΔE₀₀ is symmetric, 0 only for equal colours, and made for
// differences up to about 5; beyond, it is a number but no longer a perceived distance.
//
// It returns ErrNotColour for coordinates that are none.
//
// Source: ISO/CIE 11664-6; G. Sharma, W. Wu, E. Dalal, Color Research & Application 30 (2005), 21–30, whose test pairs it
// meets to all printed digits.
func CIEDE2000(standard, sample Lab) (float64, error) {
	return CIEDE2000Weighted(standard, sample, Weights{1, 1, 1})
}

// CIEDE2000Weighted returns ΔE₀₀ as CIEDE2000 does, with each part divided by its own weight: ΔL′/(kL·S_L) and so on. It
// returns ErrWeight for weights that are not over 0.
//
// Source: as CIEDE2000.
func CIEDE2000Weighted(standard, sample Lab, k Weights) (float64, error) {
	if err := check(standard, sample); err != nil {
		return 0, err
	}
	if !usable(k.L) || !usable(k.C) || !usable(k.H) {
		return 0, fmt.Errorf("%w: %v", ErrWeight, k)
	}
	return ciede2000(standard, sample, k), nil
}

func ciede2000(one, two Lab, k Weights) float64 {
	g := 1.5 - 0.5*chromaShare((one.Chroma()+two.Chroma())/2)
	one.A, two.A = g*one.A, g*two.A
	c1, c2 := one.Chroma(), two.Chroma()
	cos, sin, hues := meanHue(one, two, c1, c2)

	cos2, sin2 := 2*cos*cos-1, 2*sin*cos
	cos3, sin3 := cos*(4*cos*cos-3), sin*(3-4*sin*sin)
	cos4, sin4 := 2*cos2*cos2-1, 2*sin2*cos2
	t := 1 - 0.17*(cos*cos30+sin*sin30) + 0.24*cos2 + 0.32*(cos3*cos6-sin3*sin6) - 0.20*(cos4*cos63+sin4*sin63)

	mean := (c1 + c2) / 2
	l := (one.L+two.L)/2 - 50
	dL := (two.L - one.L) / (k.L * (1 + 0.015*l*l/math.Sqrt(20+l*l)))
	dC := (c2 - c1) / (k.C * (1 + 0.045*mean))
	dH := hues / (k.H * (1 + 0.015*mean*t))
	// The form is positive, since |R_T| < 2; rounding alone can take it under 0 for colours that are all but equal.
	return math.Sqrt(max(0, dL*dL+dC*dC+dH*dH+rotation(cos, sin, mean)*dC*dH))
}

// rotation returns R_T for a mean hue, given by its cosine and sine, and a mean chroma. It bends the ellipses of blue, and
// for hues from 0° to 117°, over six widths of its bell away from 275°, it is under 2·10⁻¹⁷ and needs no arc tangent.
func rotation(cos, sin, mean float64) float64 {
	const cosMiddle, sinMiddle = 0.51877326, 0.85491187 // 58.75°, the middle of those hues
	if cos*cosMiddle+sin*sinMiddle > cosMiddle {
		return 0
	}
	away := (degrees(hue(cos, sin)) - 275) / 25
	return -2 * chromaShare(mean) * math.Sin(math.Pi/3*math.Exp(-away*away))
}

// The constant angles of T, as cosine and sine so that one cosine of the hue serves all four terms.
var (
	cos30, sin30 = math.Cos(math.Pi / 6), math.Sin(math.Pi / 6)
	cos6, sin6   = math.Cos(math.Pi / 30), math.Sin(math.Pi / 30)
	cos63, sin63 = math.Cos(63 * math.Pi / 180), math.Sin(63 * math.Pi / 180)
)

// chromaShare returns √(C⁷/(C⁷ + 25⁷)).
func chromaShare(c float64) float64 {
	c2 := c * c
	c7 := c2 * c2 * c2 * c
	return math.Sqrt(c7 / (c7 + 6103515625))
}

// meanHue returns cosine and sine of the mean hue of two colours with chromas c1 and c2, and ΔH′, the distance of their
// hues. Unless the hues are nearly opposite the mean is the direction of the sum of the two unit vectors, which takes no
// angle at all.
func meanHue(one, two Lab, c1, c2 float64) (cos, sin, distance float64) {
	product, dot := c1*c2, one.A*two.A+one.B*two.B
	if product > 1e-100 && dot > -0.9*product {
		inverse := 1 / math.Sqrt(2*product*(product+dot))
		cos, sin = (one.A*c2+two.A*c1)*inverse, (one.B*c2+two.B*c1)*inverse
		return cos, sin, (one.A*two.B - two.A*one.B) * math.Sqrt(2/(product+dot))
	}
	mean, apart := meanAngle(one, two, product)
	sin, cos = math.Sincos(mean)
	return cos, sin, 2 * math.Sqrt(product) * math.Sin(apart/2)
}

// meanAngle returns the mean hue of two colours and the difference of their hues as the paper defines them, both in
// radians. product is that of the chromas: where it is 0 one of the two is grey, the other's hue is the mean and the
// difference 0.
func meanAngle(one, two Lab, product float64) (mean, difference float64) {
	h1, h2 := hue(one.A, one.B), hue(two.A, two.B)
	if product == 0 {
		return h1 + h2, 0
	}
	mean, difference = (h1+h2)/2, h2-h1
	if !acrossZero(one, two, difference) {
		return mean, difference
	}
	if mean < math.Pi {
		mean += math.Pi
	} else {
		mean -= math.Pi
	}
	return mean, difference - math.Copysign(2*math.Pi, difference)
}

// acrossZero reports whether two hues lie more than half a turn apart, counted without crossing 0. Two hues exactly
// opposite do not, but the difference of two rounded angles cannot tell; there the cross product of the colours does, and
// without that a last bit would turn the mean hue to the other side.
func acrossZero(one, two Lab, difference float64) bool {
	apart := math.Abs(difference)
	if math.Abs(apart-math.Pi) > 1e-9 {
		return apart > math.Pi
	}
	p, q := one.A*two.B, two.A*one.B
	cross := p - q
	if math.Abs(cross) <= 4e-16*(math.Abs(p)+math.Abs(q)) {
		return false
	}
	return (cross > 0) != (difference > 0)
}
