package gauge

import (
	"fmt"
	"math"
	"slices"

	"coatbook/quality/process"
	"coatbook/quality/variance"

	"gonum.org/v1/gonum/stat/distuv"
)

// ShimReading is a reading on a shim, and the shim's certified value, in one unit.
type ShimReading struct {
	Reference, Value float64
}

// BiasResult is how far a gauge reads from one reference on average.
type BiasResult struct {
	Reference  float64
	N          int
	Mean, Bias float64 // Bias is Mean less Reference
	Confidence float64
	// SD of the readings, SE = SD/√N of the bias, T = Bias/SE with N-1 degrees of freedom, P its two-sided tail, and
	// Interval of the bias. All are nil for one reading; T and P also when the readings do not vary.
	SD, SE, T, P *float64
	Interval     *process.Interval
}

// Bias returns the mean of readings less the reference with its t interval at the confidence, such as 0.95. The bias is
// shown not to matter when the whole interval lies within what is permitted; that 0 lies inside shows only that none was
// proven. Values are in the reference's unit, in any order. It assumes independent, roughly normal readings.
//
// It returns process.ErrTooFewReadings for none, ErrNotFinite and ErrBadConfidence.
//
// Source: one-sample t, AIAG Measurement Systems Analysis manual, independent sample method (from memory, unverified).
func Bias(reference float64, values []float64, confidence float64) (BiasResult, error) {
	if !(confidence > 0 && confidence < 1) {
		return BiasResult{}, process.ErrBadConfidence
	}
	if !(math.Abs(reference) <= 1e140) {
		return BiasResult{}, fmt.Errorf("reference %v: %w", reference, process.ErrNotFinite)
	}
	if len(values) == 0 {
		return BiasResult{}, fmt.Errorf("bias at %g: %w", reference, process.ErrTooFewReadings)
	}
	// The differences are taken in decimals, so that 50.1 less 50 is 0.1.
	differences, err := process.Summarize(lessReference(reference, values))
	if err != nil {
		return BiasResult{}, fmt.Errorf("bias at %g: %w", reference, err)
	}
	r := BiasResult{Reference: reference, N: differences.N, Bias: differences.Mean, Mean: reference + differences.Mean, Confidence: confidence}
	if r.N < 2 {
		return r, nil
	}
	sd := math.Sqrt(differences.M2 / float64(r.N-1))
	se := sd / math.Sqrt(float64(r.N))
	r.SD, r.SE = &sd, &se
	law := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(r.N - 1)}
	half := law.Quantile((1+confidence)/2) * se
	r.Interval = &process.Interval{Low: r.Bias - half, High: r.Bias + half}
	if se > 0 {
		r.T, r.P = tTest(r.Bias, se, float64(r.N-1))
	}
	return r, nil
}

// lessReference subtracts as decimals; the values must be finite for that, so others are subtracted as they are.
func lessReference(reference float64, values []float64) []float64 {
	finite := !slices.ContainsFunc(values, func(x float64) bool { return !(math.Abs(x) <= 1e140) })
	if !finite {
		return values
	}
	// Centered subtracts the middle value: with one more than twice as many entries that is the reference.
	padded := append(slices.Clone(values), slices.Repeat([]float64{reference}, len(values)+1)...)
	centered, _ := variance.Centered(padded)
	return centered[:len(values)]
}

// tTest returns estimate/se and its two-sided p-value.
func tTest(estimate, se, df float64) (t, p *float64) {
	ratio := estimate / se
	return &ratio, new(2 * distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Survival(math.Abs(ratio)))
}

// LinearityResult is how the bias of a gauge changes over its range: bias = Intercept + Slope·reference.
type LinearityResult struct {
	N                      int
	Confidence             float64
	Shims                  []BiasResult // by reference, smallest first
	Bias                   float64      // mean of all differences
	Slope, Intercept       float64
	SlopeSE, InterceptSE   float64
	ResidualSD             float64 // with DF = N-2
	DF                     int
	RSquared               *float64 // nil when all differences are equal
	SlopeT, SlopeP         *float64 // nil when the line fits without residual
	InterceptT, InterceptP *float64
	SlopeInterval          process.Interval
	InterceptInterval      process.Interval
	meanReference, spreadX float64
}

// Linearity fits the straight line of reading less reference on reference through single readings:
//
//	slope = Σ(x-x̄)(d-d̄)/Σ(x-x̄)²    intercept = d̄ - slope·x̄    s² = Σ(d - intercept - slope·x)²/(N-2)
//	SE(slope) = s/√Σ(x-x̄)²    SE(intercept) = s·√(1/N + x̄²/Σ(x-x̄)²)
//
// with t tests of both against 0 and intervals at the confidence. A slope of 0.02 means that the bias grows by 0.02 µm for
// each micrometre. Readings come in any order, values and references in one unit. At least two different references and three
// readings are needed; five references over the gauge's range with ten readings each are usual.
//
// It assumes that all shims have the same scatter and that bias is a line in the reference; look at Shims before believing it.
//
// It returns process.ErrTooFewReadings, ErrNotFinite, ErrBadConfidence, and ErrTooFewParts for a single reference.
//
// Source: AIAG Measurement Systems Analysis manual, linearity (worked example from memory; the printed slope, intercept
// and t values are reproduced).
func Linearity(readings []ShimReading, confidence float64) (LinearityResult, error) {
	r := LinearityResult{N: len(readings), Confidence: confidence, DF: len(readings) - 2}
	byReference := map[float64][]float64{}
	for i, s := range readings {
		if !(math.Abs(s.Reference) <= 1e140 && math.Abs(s.Value) <= 1e140) {
			return r, fmt.Errorf("reading %d is %v on %v: %w", i+1, s.Value, s.Reference, process.ErrNotFinite)
		}
		byReference[s.Reference] = append(byReference[s.Reference], s.Value)
	}
	switch {
	case len(readings) < 3:
		return r, fmt.Errorf("linearity from %d: %w", len(readings), process.ErrTooFewReadings)
	case len(byReference) < 2:
		return r, fmt.Errorf("%d shim: %w", len(byReference), ErrTooFewParts)
	}
	for reference, values := range byReference {
		shim, err := Bias(reference, values, confidence)
		if err != nil {
			return r, err
		}
		r.Shims = append(r.Shims, shim)
	}
	slices.SortFunc(r.Shims, func(a, b BiasResult) int {
		if a.Reference < b.Reference {
			return -1
		}
		return 1
	})
	r.fit(byReference)
	return r, nil
}

// fit computes the line from the biases of the shims and the scatter inside them.
func (r *LinearityResult) fit(byReference map[float64][]float64) {
	n := float64(r.N)
	for _, s := range r.Shims {
		r.Bias += float64(s.N) * s.Bias / n
		r.meanReference += float64(s.N) * s.Reference / n
	}
	cross, total, scatter := 0.0, 0.0, 0.0
	for _, s := range r.Shims {
		dx, dy := s.Reference-r.meanReference, s.Bias-r.Bias
		r.spreadX += float64(s.N) * dx * dx
		cross += float64(s.N) * dx * dy
		total += float64(s.N) * dy * dy
		for _, d := range lessReference(s.Reference, byReference[s.Reference]) {
			scatter += square(d - s.Bias)
		}
	}
	r.Slope = cross / r.spreadX
	r.Intercept = r.Bias - r.Slope*r.meanReference
	residual := scatter
	for _, s := range r.Shims {
		residual += float64(s.N) * square(s.Bias-r.Bias-r.Slope*(s.Reference-r.meanReference))
	}
	total += scatter
	// What a line through exact points leaves over is rounding.
	if residual <= 1e-26*(total+n*r.Bias*r.Bias) {
		residual = 0
	}
	if total > 0 {
		r.RSquared = new(max(0, 1-residual/total))
	}
	df := float64(r.DF)
	r.ResidualSD = math.Sqrt(residual / df)
	r.SlopeSE = r.ResidualSD / math.Sqrt(r.spreadX)
	r.InterceptSE = r.ResidualSD * math.Sqrt(1/n+square(r.meanReference)/r.spreadX)
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile((1 + r.Confidence) / 2)
	r.SlopeInterval = process.Interval{Low: r.Slope - t*r.SlopeSE, High: r.Slope + t*r.SlopeSE}
	r.InterceptInterval = process.Interval{Low: r.Intercept - t*r.InterceptSE, High: r.Intercept + t*r.InterceptSE}
	if residual > 0 {
		r.SlopeT, r.SlopeP = tTest(r.Slope, r.SlopeSE, df)
		r.InterceptT, r.InterceptP = tTest(r.Intercept, r.InterceptSE, df)
	}
}

// At returns the fitted bias at a reference and its interval at the study's confidence:
//
//	intercept + slope·x ± t·s·√(1/N + (x-x̄)²/Σ(x-x̄)²)
//
// Linearity is acceptable by the usual graph when 0 lies inside the interval over the whole range of use.
func (r LinearityResult) At(reference float64) (bias float64, interval process.Interval) {
	dx := reference - r.meanReference
	bias = r.Bias + r.Slope*dx
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(r.DF)}.Quantile((1 + r.Confidence) / 2)
	half := t * r.ResidualSD * math.Sqrt(1/float64(r.N)+dx*dx/r.spreadX)
	return bias, process.Interval{Low: bias - half, High: bias + half}
}
