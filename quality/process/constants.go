package process

import (
	"fmt"
	"math"
	"sync"

	"gonum.org/v1/gonum/integrate/quad"
)

// Constants are the factors of control charts for subgroups of N normal readings, exact rather than from a printed
// table; printed tables differ from them, and from each other, by up to one in the third decimal.
//
// The printed tables use the letter D₃ twice, for the standard deviation of the range and for a limit: here D2 and D3
// belong to the range of N standard normal readings, and the limit factors are LimitD1 to LimitD4.
type Constants struct {
	N  int
	C4 float64 // mean of s / σ
	D2 float64 // mean of the range / σ
	D3 float64 // standard deviation of the range / σ

	A, A2, A3                          float64 // limits of means about the centre: A·σ, A2·R̄, A3·s̄
	B3, B4, B5, B6                     float64 // limits of s: B3·s̄ and B4·s̄; B5·σ and B6·σ
	LimitD1, LimitD2, LimitD3, LimitD4 float64 // limits of the range: D1·σ and D2·σ; D3·R̄ and D4·R̄
	E2, E3                             float64 // limits of single readings: E2·R̄, E3·s̄
}

// largestSubgroup bounds the size for which the integrals below were checked.
const largestSubgroup = 1_000_000

// ConstantsFor returns the control chart constants for subgroups of n readings. For a moving range of two, n is 2.
//
//	c₄ = √(2/(n-1))·Γ(n/2)/Γ((n-1)/2)       d₂ = ∫[1 - Φ(x)ⁿ - (1-Φ(x))ⁿ]dx
//	d₃ = √(E W² - d₂²),  E W² = ∫2w(1-Fₙ(w))dw,  Fₙ the law of the range W
//
// and, with 3 standard errors, A = 3/√n, A₂ = 3/(d₂√n), A₃ = 3/(c₄√n), B₃ and B₄ = 1 ∓ 3√(1-c₄²)/c₄, B₅ and
// B₆ = c₄ ∓ 3√(1-c₄²), D₁ and D₂ = d₂ ∓ 3d₃, D₃ and D₄ = 1 ∓ 3d₃/d₂, E₂ = 3/d₂, E₃ = 3/c₄; lower limits are not
// below 0. The integrals are taken by Gauss-Legendre quadrature to 1e-10 and kept.
//
// It returns ErrSubgroupSize for n below 2 or over a million.
//
// Source: definitions as in ASTM MNL 7 (printed values seen); exact values recomputed in two languages, n 2 to 25.
func ConstantsFor(n int) (Constants, error) {
	if n < 2 || n > largestSubgroup {
		return Constants{}, fmt.Errorf("control chart constants for subgroups of %d: %w", n, ErrSubgroupSize)
	}
	root := math.Sqrt(float64(n))
	mean, sd := rangeMoments(n)
	ratio := c4(n)
	spread := math.Sqrt(1 - ratio*ratio)
	return Constants{
		N: n, C4: ratio, D2: mean, D3: sd,
		A: 3 / root, A2: 3 / (mean * root), A3: 3 / (ratio * root),
		B3: max(0, 1-3*spread/ratio), B4: 1 + 3*spread/ratio,
		B5: max(0, ratio-3*spread), B6: ratio + 3*spread,
		LimitD1: max(0, mean-3*sd), LimitD2: mean + 3*sd,
		LimitD3: max(0, 1-3*sd/mean), LimitD4: 1 + 3*sd/mean,
		E2: 3 / mean, E3: 3 / ratio,
	}, nil
}

// c4 returns E(s)/σ for n normal readings, n >= 2.
func c4(n int) float64 {
	x := float64(n-1) / 2
	if n <= 100 {
		above, _ := math.Lgamma(x + 0.5)
		below, _ := math.Lgamma(x)
		return math.Exp(above-below) / math.Sqrt(x)
	}
	// The two logarithms cancel for large n; the asymptotic series of the ratio is exact to 1e-14 from here on.
	y := 1 / x
	return 1 + y*(-1.0/8+y*(1.0/128+y*(5.0/1024+y*(-21.0/32768+y*(-399.0/262144)))))
}

// c4Lack returns √(1-c₄²), the standard deviation of s / σ.
func c4Lack(n int) float64 {
	ratio := c4(n)
	return math.Sqrt((1 - ratio) * (1 + ratio))
}

// rangeMomentsOf keeps what rangeMoments has integrated, by subgroup size: [2]float64 of mean and standard deviation.
var rangeMomentsOf sync.Map

// rangeMoments returns d₂ and d₃ for n >= 2.
func rangeMoments(n int) (mean, sd float64) {
	if kept, ok := rangeMomentsOf.Load(n); ok {
		moments := kept.([2]float64)
		return moments[0], moments[1]
	}
	size := float64(n)
	mean = 2 * panels(func(x float64) float64 {
		q := upperTail(x)
		return -math.Expm1(size*math.Log1p(-q)) - math.Pow(q, size)
	}, 0, 16, 8)
	square := panels(func(w float64) float64 { return 2 * w * (1 - rangeCDF(w, size)) }, 0, 24, 12)
	sd = math.Sqrt(square - mean*mean)
	rangeMomentsOf.Store(n, [2]float64{mean, sd})
	return mean, sd
}

// rangeCDF returns the probability that the range of n standard normal readings is at most w:
//
//	(2Φ(w/2)-1)ⁿ + 2n∫_{w/2}^∞ φ(x)[Φ(x)-Φ(x-w)]^{n-1}dx
//
// the half line suffices because the integrand is symmetric about w/2 (there: the two ends of the sample trade places).
func rangeCDF(w, n float64) float64 {
	power := func(missing, exponent float64) float64 {
		return math.Exp(exponent * math.Log1p(-min(missing, 1)))
	}
	tail := panels(func(x float64) float64 {
		return math.Exp(-x*x/2) * power(upperTail(x)+upperTail(w-x), n-1)
	}, w/2, w/2+10, 5)
	return power(2*upperTail(w/2), n) + 2*n*tail/math.Sqrt(2*math.Pi)
}

// upperTail returns 1-Φ(x).
func upperTail(x float64) float64 { return math.Erfc(x/math.Sqrt2) / 2 }

// nodes and weights are those of 24-point Gauss-Legendre quadrature on -1 to 1.
var nodes, weights = func() (x, w [24]float64) {
	quad.Legendre{}.FixedLocations(x[:], w[:], -1, 1)
	return x, w
}()

// panels integrates f from a to b by Gauss-Legendre on equal panels.
func panels(f func(float64) float64, a, b float64, count int) float64 {
	total := 0.0
	step := (b - a) / float64(count)
	for i := range count {
		middle := a + (float64(i)+0.5)*step
		for k, node := range nodes {
			total += weights[k] * f(middle+node*step/2)
		}
	}
	return total * step / 2
}
