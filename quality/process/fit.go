package process

import (
	"fmt"
	"math"
	"slices"
)

// Distribution names the law that readings are taken to follow.
type Distribution string

// The distributions of this package. All but NormalLaw need readings above 0.
const (
	NormalLaw    Distribution = "normal"
	LognormalLaw Distribution = "lognormal" // the logarithms are normal
	WeibullLaw   Distribution = "weibull"   // from 0 up, two parameters
	BoxCoxLaw    Distribution = "boxcox"    // normal after y = (x^λ-1)/λ
)

// Parameter is one figure of a fitted distribution.
type Parameter struct {
	Name  string
	Value float64
}

// Fit is a distribution fitted to readings, and how well it fits.
type Fit struct {
	Distribution Distribution
	N            int
	// Parameters are mean and sd (n-1) of NormalLaw; mu and sigma (divisor n) of the natural logarithms; shape and scale; or
	// lambda, and mean and sd (n-1) of the transformed readings.
	Parameters []Parameter
	// Low, Middle and High are the quantiles of the law at Φ(-3), 1/2 and Φ(3), which enclose 99.73 % as ±3 sigma do; nil
	// where a Box-Cox law has none.
	Low, Middle, High *float64
	// GoodnessOfFit is the Anderson-Darling test of the readings against the law: of the readings, their logarithms or the
	// transformed readings against the normal law, or against the Weibull law. Under 8 readings P is not to be trusted.
	GoodnessOfFit Normality

	center, spread float64                 // of the normal law behind, and of the transformed readings
	transform      func(x float64) float64 // to normal readings; nil for the Weibull law
	shape, scale   float64                 // of the Weibull law
}

// FitDistribution fits the distribution to values by maximum likelihood (the standard deviation of NormalLaw and of transformed
// readings with divisor n-1) and tests the fit. Values may be in any order and are not changed; all share one unit.
//
//	lognormal: mean and standard deviation (divisor n) of ln x
//	Weibull:   shape b from Σxᵇln x/Σxᵇ - 1/b = mean of ln x, scale (Σxᵇ/n)^{1/b}
//	Box-Cox:   λ maximises -(n/2)·ln(Σ(y-ȳ)²/n) + (λ-1)·Σln x,  y = (x^λ-1)/λ, ln x at λ = 0
//
// A fit that is not rejected is not proved: with few readings several laws fit, and give tails that differ by far.
//
// It returns ErrTooFewReadings below three readings, ErrNoSpread, ErrNotFinite (also for a transform that leaves the range
// of numbers), ErrNotPositive for a reading at or below 0 where the law has none, and ErrUnknownMethod.
//
// Source: Box and Cox 1964, Journal of the Royal Statistical Society B 26; textbook likelihoods (from memory; values
// recomputed in two languages).
func FitDistribution(values []float64, law Distribution) (Fit, error) {
	s, err := Summarize(values)
	switch {
	case err != nil:
		return Fit{}, fmt.Errorf("%s fit: %w", law, err)
	case s.N < 3:
		return Fit{}, fmt.Errorf("%s fit of %d: %w", law, s.N, ErrTooFewReadings)
	case !varies(s.sd(), size(s)):
		return Fit{}, fmt.Errorf("%s fit: %w", law, ErrNoSpread)
	case law != NormalLaw && s.Min <= 0:
		return Fit{}, fmt.Errorf("%s fit, smallest reading %g: %w", law, s.Min, ErrNotPositive)
	}
	f := Fit{Distribution: law, N: s.N}
	switch law {
	case NormalLaw:
		err = f.normal(values)
	case LognormalLaw:
		err = f.lognormal(values)
	case WeibullLaw:
		err = f.weibull(values)
	case BoxCoxLaw:
		err = f.boxCox(values)
	default:
		err = ErrUnknownMethod
	}
	if err != nil {
		return Fit{}, fmt.Errorf("%s fit: %w", law, err)
	}
	for _, parameter := range f.Parameters {
		if finite(parameter.Value) == nil {
			return Fit{}, fmt.Errorf("%s fit, %s: %w", law, parameter.Name, ErrNotFinite)
		}
	}
	return f, nil
}

func (f *Fit) normal(values []float64) error {
	s, err := Summarize(values)
	if err != nil {
		return err
	}
	f.center, f.spread = s.Mean, s.sd()
	f.transform = func(x float64) float64 { return x }
	f.Parameters = []Parameter{{"mean", s.Mean}, {"sd", f.spread}}
	f.quantiles(func(z float64) float64 { return f.center + z*f.spread })
	f.GoodnessOfFit, err = AndersonDarling(values)
	return err
}

func (f *Fit) lognormal(values []float64) error {
	logs := make([]float64, len(values))
	for i, x := range values {
		logs[i] = math.Log(x)
	}
	s, err := Summarize(logs)
	if err != nil {
		return err
	}
	f.center, f.spread = s.Mean, math.Sqrt(s.M2/float64(s.N))
	f.transform = math.Log
	f.Parameters = []Parameter{{"mu", f.center}, {"sigma", f.spread}}
	f.quantiles(func(z float64) float64 { return math.Exp(f.center + z*f.spread) })
	f.GoodnessOfFit, err = AndersonDarling(logs)
	return err
}

// quantiles sets the three quantiles from the function that gives them by normal score.
func (f *Fit) quantiles(at func(z float64) float64) {
	f.Low, f.Middle, f.High = finite(at(-3)), finite(at(0)), finite(at(3))
}

// relative returns the logarithms of values about their mean, which no unit moves, and that mean.
func relative(values []float64) (logs []float64, mean float64, reach float64, err error) {
	logs = make([]float64, len(values))
	for i, x := range values {
		logs[i] = math.Log(x)
	}
	s, err := Summarize(logs)
	if err != nil {
		return nil, 0, 0, err
	}
	if !varies(s.sd(), size(s)) {
		return nil, 0, 0, ErrNoSpread
	}
	for i := range logs {
		logs[i] -= s.Mean
	}
	return logs, s.Mean, s.Range(), nil
}

func (f *Fit) weibull(values []float64) error {
	logs, mean, reach, err := relative(values)
	if err != nil {
		return err
	}
	top := slices.Max(logs)
	score := func(shape float64) float64 {
		var sum, weighted float64
		for _, u := range logs {
			power := math.Exp(shape * (u - top)) // in units of the largest: nothing overflows
			sum += power
			weighted += power * u
		}
		return weighted/sum - 1/shape
	}
	low, high := 1/reach, 1/reach
	for score(low) > 0 {
		low /= 2
	}
	for score(high) < 0 {
		high *= 2
	}
	f.shape = root(score, low, high)
	sum := 0.0
	for _, u := range logs {
		sum += math.Exp(f.shape * (u - top))
	}
	f.scale = math.Exp(mean + top + math.Log(sum/float64(len(logs)))/f.shape)
	f.Parameters = []Parameter{{"shape", f.shape}, {"scale", f.scale}}
	f.quantiles(func(z float64) float64 {
		return f.scale * math.Pow(-math.Log(upperTail(z)), 1/f.shape)
	})
	f.GoodnessOfFit = f.weibullTest(values)
	return nil
}

// weibullTest is the Anderson-Darling test against the fitted Weibull law. Adjusted is A²(1 + 0.2/√n), and
//
//	P = 1/(1 + exp(-0.1 + 1.24·ln A*² + 4.48·A*²))
//
// Source: MIL-HDBK-17-1F (from memory, unverified); the critical values of Stephens 1977, Biometrika 64, agree to 0.002.
func (f *Fit) weibullTest(values []float64) Normality {
	sorted := slices.Sorted(slices.Values(values))
	n := float64(len(sorted))
	logHazard := func(x float64) float64 { return f.shape * (math.Log(x) - math.Log(f.scale)) }
	sum := 0.0
	for i, x := range sorted {
		below := logHazard(x) // ln F, for an F so small that it is its own hazard
		if below > -36 {
			below = math.Log(-math.Expm1(-math.Exp(below)))
		}
		sum += float64(2*i+1) * (below - math.Exp(logHazard(sorted[len(sorted)-1-i])))
	}
	test := Normality{N: len(sorted), Statistic: -n - sum/n, Few: len(sorted) < 8}
	test.Adjusted = test.Statistic * (1 + 0.2/math.Sqrt(n))
	test.P = weibullP(test.Adjusted)
	return test
}

// weibullP is the p-value of the adjusted statistic.
func weibullP(a float64) float64 {
	return 1 / (1 + math.Exp(-0.1+1.24*math.Log(max(a, 1e-9))+4.48*a))
}

// boxCox finds λ where the slope of the likelihood is 0. With u = ln x about its mean, y = (e^{λu}-1)/λ and y' its slope in λ,
// that slope is -n·Σ(y-ȳ)(y'-ȳ')/Σ(y-ȳ)²: the unit of x falls out.
func (f *Fit) boxCox(values []float64) error {
	logs, mean, reach, err := relative(values)
	if err != nil {
		return err
	}
	n := float64(len(logs))
	slope := func(lambda float64) float64 {
		var y, dy, yy, ydy float64
		for _, u := range logs {
			a, b := powerOf(lambda, u)
			y, dy, yy, ydy = y+a, dy+b, yy+a*a, ydy+a*b
		}
		return (ydy - y*dy/n) / (yy - y*y/n)
	}
	// The likelihood falls on both sides; beyond 100/reach the smallest or largest reading is all that counts.
	step := 1 / reach
	for slope(-step) > 0 || slope(step) < 0 {
		if step *= 2; step > 200/reach {
			return fmt.Errorf("lambda: %w", ErrNotFinite)
		}
	}
	lambda := root(slope, -step, step)
	transformed := make([]float64, len(logs))
	for i, u := range logs {
		transformed[i], _ = powerOf(lambda, u)
	}
	s, err := Summarize(transformed)
	if err != nil {
		return err
	}
	f.center, f.spread = s.Mean, s.sd()
	f.transform = func(x float64) float64 {
		y, _ := powerOf(lambda, math.Log(x)-mean)
		return y
	}
	unit := math.Exp(lambda * mean) // from readings about their geometric mean to those in their unit
	shift, _ := powerOf(lambda, mean)
	f.Parameters = []Parameter{{"lambda", lambda}, {"mean", shift + unit*f.center}, {"sd", unit * f.spread}}
	f.quantiles(func(z float64) float64 {
		y := f.center + z*f.spread
		if lambda == 0 {
			return math.Exp(mean + y)
		}
		return math.Exp(mean + math.Log1p(lambda*y)/lambda) // NaN where the law has no such quantile
	})
	f.GoodnessOfFit, err = AndersonDarling(transformed)
	return err
}

// powerOf returns (e^{λu}-1)/λ and its slope in λ, by their series where λu is small.
func powerOf(lambda, u float64) (y, slope float64) {
	w := lambda * u
	if math.Abs(w) < 1e-3 {
		return u * (1 + w/2*(1+w/3*(1+w/4*(1+w/5)))), u * u * (1.0/2 + w*(1.0/3+w*(1.0/8+w*(1.0/30+w/144))))
	}
	return math.Expm1(w) / lambda, (w*math.Exp(w) - math.Expm1(w)) / (lambda * lambda)
}

// Indices returns the indices of the law by the percentile method, and for BoxCoxLaw those of the normal law of transformed
// readings against transformed limits:
//
//	P = (upper-lower)/(x₉₉.₈₆₅-x₀.₁₃₅)   L = (x₅₀-lower)/(x₅₀-x₀.₁₃₅)   U = (upper-x₅₀)/(x₉₉.₈₆₅-x₅₀)   K the smaller of L and U
//
// For a normal law they are those of ComputeIndices. There is no PM. A limit at or below 0 is none for a law of positive
// readings after Box and Cox: its index is nil. It returns ErrNoLimits, ErrBadLimits, ErrNoSpread and ErrNotFinite.
//
// Source: ISO 22514-2 (from memory, unverified); values recomputed in two languages.
func (f Fit) Indices(spec Spec) (Indices, error) {
	if err := spec.check(); err != nil {
		return Indices{}, err
	}
	if spec.none() {
		return Indices{}, ErrNoLimits
	}
	if f.Distribution == NormalLaw || f.Distribution == BoxCoxLaw {
		moved := Spec{Lower: f.moved(spec.Lower), Upper: f.moved(spec.Upper)}
		if moved.none() {
			return Indices{}, fmt.Errorf("limits at or below 0: %w", ErrBadLimits)
		}
		return ComputeIndices(f.center, f.spread, moved)
	}
	if f.Low == nil || f.Middle == nil || f.High == nil || !(*f.Low < *f.Middle && *f.Middle < *f.High) {
		return Indices{}, ErrNotFinite
	}
	var x Indices
	if spec.Lower != nil {
		x.L = finite((*f.Middle - *spec.Lower) / (*f.Middle - *f.Low))
		x.K = x.L
	}
	if spec.Upper != nil {
		x.U = finite((*spec.Upper - *f.Middle) / (*f.High - *f.Middle))
		if x.K == nil || x.U != nil && *x.U < *x.K {
			x.K = x.U
		}
	}
	if spec.Lower != nil && spec.Upper != nil {
		x.P = finite((*spec.Upper - *spec.Lower) / (*f.High - *f.Low))
	}
	return x, nil
}

// moved returns a limit on the scale of the transformed readings, or nil where it has no place there.
func (f Fit) moved(limit *float64) *float64 {
	if limit == nil || f.Distribution == BoxCoxLaw && *limit <= 0 {
		return nil
	}
	return finite(f.transform(*limit))
}

// ExpectedOutside returns the parts per million that the law puts below the lower and above the upper limit; nil for a limit
// that is not set. Far in the tail it is a figure of the law, not of the readings.
func (f Fit) ExpectedOutside(spec Spec) (below, above *float64, err error) {
	if err := spec.check(); err != nil {
		return nil, nil, err
	}
	if spec.none() {
		return nil, nil, ErrNoLimits
	}
	if spec.Lower != nil {
		below = finite(1e6 * f.share(*spec.Lower, false))
	}
	if spec.Upper != nil {
		above = finite(1e6 * f.share(*spec.Upper, true))
	}
	return below, above, nil
}

// share is how much of the law lies above, or below, x.
func (f Fit) share(x float64, above bool) float64 {
	switch {
	case f.Distribution != NormalLaw && x <= 0 && above:
		return 1
	case f.Distribution != NormalLaw && x <= 0:
		return 0
	case f.Distribution == WeibullLaw && above:
		return math.Exp(-math.Exp(f.shape * math.Log(x/f.scale)))
	case f.Distribution == WeibullLaw:
		return -math.Expm1(-math.Exp(f.shape * math.Log(x/f.scale)))
	}
	z := (f.transform(x) - f.center) / f.spread
	if above {
		return upperTail(z)
	}
	return upperTail(-z)
}
