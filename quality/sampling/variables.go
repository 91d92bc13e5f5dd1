package sampling

import (
	"fmt"
	"math"
	"strings"

	"coatbook/quality/process"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// VariablesPlan is a plan for one measured characteristic: take N pieces, accept the lot if the limit is at least K sample
// standard deviations from the mean.
type VariablesPlan struct {
	Standard   Standard
	Lot        int    // 0 if the plan was found by letter
	Level      string // of MIL-STD-414, I to V; not those of MIL-STD-105E
	CodeLetter string
	PlanLetter string
	AQL        float64 // percent
	Severity   Severity
	N          int
	K          float64
	// MaxPercent, the standard's M, is the largest estimated percentage outside that two limits together may have.
	MaxPercent float64
	TableN     int  // sample size before it was cut to the lot
	All        bool // it reached the lot: measure every piece against its limits; K has no meaning then
	Status     Status
	Notes      []string
}

// Variables returns the standard deviation method plan of MIL-STD-414 for a lot, level (I to V; IV is usual), AQL in percent
// and severity (normal or tightened). An arrow moves to the first plan below, sample size and K. Ask VariablesConditions first
// whether such a plan may be used at all.
//
// Errors: ErrLotSize below 3, ErrLevel, ErrAQL, and ErrSeverity for reduced inspection, which has a table of its own that is not
// held here, and for tightened inspection at the smallest AQL.
//
// Source: MIL-STD-414 tables A-2, B-1 and B-3 (public domain; from memory; K checked by its probability of acceptance, M by K).
func Variables(lot int, level string, aql float64, severity Severity) (VariablesPlan, error) {
	letter, err := variablesLetter(lot, level)
	if err != nil {
		return VariablesPlan{}, err
	}
	p, err := VariablesByLetter(letter, aql, severity)
	if err != nil {
		return VariablesPlan{}, err
	}
	p.Lot, p.Level = lot, strings.ToUpper(strings.TrimSpace(level))
	if p.N >= lot {
		p.N, p.All = lot, true
		p.Notes = append(p.Notes, fmt.Sprintf("The sample of %d reaches the lot: measure all %d pieces, each against its limits.", p.TableN, lot))
	}
	return p, nil
}

// variablesLetter looks up table A-2.
func variablesLetter(lot int, level string) (string, error) {
	column := -1
	for i, name := range variablesLevels {
		if strings.EqualFold(strings.TrimSpace(level), name) {
			column = i
		}
	}
	if column < 0 {
		return "", fmt.Errorf("“%s”: %w; for variables there are I, II, III, IV and V", level, ErrLevel)
	}
	if lot < 3 {
		return "", fmt.Errorf("a lot of %d: %w, which begins at 3; measure every piece", lot, ErrLotSize)
	}
	for _, row := range variablesLetters {
		if lot <= row.upTo || row.upTo == 0 {
			return row.letters[column], nil
		}
	}
	return "", fmt.Errorf("a lot of %d: %w", lot, ErrLotSize)
}

// VariablesByLetter returns the plan of a code letter, B to Q with I and O, as Variables does, without a lot. Errors:
// ErrCodeLetter, ErrAQL, ErrSeverity.
func VariablesByLetter(letter string, aql float64, severity Severity) (VariablesPlan, error) {
	row := -1
	for i, r := range variablesTable {
		if strings.EqualFold(r.letter, strings.TrimSpace(letter)) {
			row = i
		}
	}
	if row < 0 {
		return VariablesPlan{}, fmt.Errorf("“%s”: %w; for variables there are B to Q", letter, ErrCodeLetter)
	}
	column := -1
	for i, a := range variablesAQLs {
		if math.Abs(aql-a) <= 1e-9*a {
			column = i
		}
	}
	if column < 0 {
		return VariablesPlan{}, fmt.Errorf("%v: %w; choose one of %s", aql, ErrAQL, listAQLs(variablesAQLs[:]))
	}
	p := VariablesPlan{Standard: MILSTD414, CodeLetter: variablesTable[row].letter, AQL: variablesAQLs[column], Severity: severity, Status: FromMemory}
	switch {
	case severity == Tightened && column > 0:
		column--
	case severity != Normal:
		return VariablesPlan{}, fmt.Errorf("%s at AQL %v: %w", severity, aql, ErrSeverity)
	}
	for variablesTable[row].k[column] == 0 {
		row++
	}
	found := variablesTable[row]
	p.PlanLetter, p.N, p.TableN, p.K = found.letter, found.n, found.n, found.k[column]
	p.MaxPercent = found.m[column]
	if p.PlanLetter != p.CodeLetter {
		p.Notes = append(p.Notes, fmt.Sprintf("The table has an arrow at %s: the plan of letter %s is used.", p.CodeLetter, p.PlanLetter))
	}
	return p, nil
}

// VariablesDecision is what a sample says about a lot.
type VariablesDecision struct {
	Accept   bool
	Mean, SD float64
	// QLower = (x̄-lower)/s and QUpper = (upper-x̄)/s, of the limits that are set; nil when the readings do not vary.
	QLower, QUpper *float64
	// EstimatedPercent is the unbiased estimate of the percentage outside all limits.
	EstimatedPercent float64
	// Reason is the comparison that decided, in a sentence.
	Reason string
}

// Judge decides about a lot from the readings of its sample, in any order, and limits in their unit; a limit that is not set is
// nil.
//
// One limit (form 1): accept when Q is K or more. Two limits (form 2): accept when the estimated percentages outside both,
// added, are MaxPercent or less; two comparisons with K would let a centred, wide process through. When every reading is the
// same, the lot is accepted if that value is within the limits.
//
// It returns process.ErrTooFewReadings unless there are exactly N readings, ErrPlan for a plan that inspects the whole lot,
// process.ErrNoLimits, ErrBadLimits and ErrNotFinite.
//
// Source: MIL-STD-414 section B (public domain; from memory).
func (p VariablesPlan) Judge(readings []float64, lower, upper *float64) (VariablesDecision, error) {
	var d VariablesDecision
	switch {
	case p.All || p.N < 3:
		return d, fmt.Errorf("all pieces are measured against their limits: %w", ErrPlan)
	case len(readings) != p.N:
		return d, fmt.Errorf("%d readings for a sample of %d: %w", len(readings), p.N, process.ErrTooFewReadings)
	case lower == nil && upper == nil:
		return d, process.ErrNoLimits
	case lower != nil && !isFinite(*lower) || upper != nil && !isFinite(*upper) || lower != nil && upper != nil && *lower >= *upper:
		return d, process.ErrBadLimits
	}
	s, err := process.Summarize(readings)
	if err != nil {
		return d, err
	}
	d.Mean, d.SD = s.Mean, math.Sqrt(s.M2/float64(s.N-1))
	if s.Min == s.Max {
		d.Accept = (lower == nil || s.Min >= *lower) && (upper == nil || s.Max <= *upper)
		d.Reason = fmt.Sprintf("All %d readings are %g; they are compared with the limits as they are.", s.N, s.Min)
		if !d.Accept {
			d.EstimatedPercent = 100
		}
		return d, nil
	}
	if lower != nil {
		d.QLower = new((d.Mean - *lower) / d.SD)
		d.EstimatedPercent += 100 * estimatedOutside(*d.QLower, p.N)
	}
	if upper != nil {
		d.QUpper = new((*upper - d.Mean) / d.SD)
		d.EstimatedPercent += 100 * estimatedOutside(*d.QUpper, p.N)
	}
	if lower != nil && upper != nil {
		d.Accept = d.EstimatedPercent <= p.MaxPercent
		d.Reason = fmt.Sprintf("Estimated %.3g %% outside both limits; at most %.3g %% is allowed.", d.EstimatedPercent, p.MaxPercent)
		return d, nil
	}
	q := d.QLower
	if q == nil {
		q = d.QUpper
	}
	d.Accept = *q >= p.K
	d.Reason = fmt.Sprintf("The limit is %.4g standard deviations from the mean; at least %.4g is asked for.", *q, p.K)
	return d, nil
}

func isFinite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// estimatedOutside returns the minimum variance unbiased estimate of the fraction beyond a limit q sample standard deviations
// from the mean of n normal readings: I_x(n/2-1, n/2-1), x = 1/2 - q√n/(2(n-1)), held between 0 and 1.
func estimatedOutside(q float64, n int) float64 {
	size := float64(n)
	x := 0.5 - q*math.Sqrt(size)/(2*(size-1))
	if x <= 0 {
		return 0
	}
	if x >= 1 {
		return 1
	}
	return mathext.RegIncBeta(size/2-1, size/2-1, x)
}

// AcceptProbability returns the probability that the single-limit plan accepts a lot of normal pieces with a fraction
// beyond the limit:
//
//	P( T ≥ K√N ),  T noncentral t with N-1 degrees of freedom and noncentrality z√N,  Φ(-z) = fraction
//
// It returns ErrFraction unless the fraction lies between 0 and 1, ends left out.
func (p VariablesPlan) AcceptProbability(fraction float64) (float64, error) {
	if !(fraction > 0 && fraction < 1) {
		return 0, fmt.Errorf("%v: %w", fraction, ErrFraction)
	}
	if p.N < 2 {
		return 0, fmt.Errorf("a sample of %d: %w", p.N, ErrPlan)
	}
	z := distuv.UnitNormal.Quantile(1 - fraction)
	n, df := float64(p.N), float64(p.N-1)
	// s/σ is √(χ²/df): integrate the normal probability of the mean over it.
	lg, _ := math.Lgamma(df / 2)
	constant := math.Ln2 + df/2*math.Log(df/2) - lg
	integrand := func(s float64) float64 {
		return math.Exp(constant+(df-1)*math.Log(s)-df*s*s/2) * distuv.UnitNormal.CDF(math.Sqrt(n)*(z-p.K*s))
	}
	width := 10 / math.Sqrt(2*df)
	return min(1, quad.Fixed(integrand, max(0, 1-width), 1+width, 200, quad.Legendre{}, 0)), nil
}

// MinNormalityReadings is how many earlier readings VariablesConditions asks for: with fewer, a test of normality finds
// next to nothing (common practice).
const MinNormalityReadings = 25

// VariablesConditions is what must hold before a lot may be judged by mean and standard deviation in place of counting.
type VariablesConditions struct {
	// Readings of earlier lots of the same process, one per piece, MinNormalityReadings or more.
	Readings []float64
	// NormalityLevel is the p-value below which they count as not normal; 0 is 0.05.
	NormalityLevel float64
	// Stable says that a control chart of the process shows no signal.
	Stable bool
	// Sorted says that pieces outside the limits were taken out of the lot, which cuts the tails that the method counts on.
	Sorted bool
}

// Check returns whether a variables plan may be offered, and if not, why, in sentences. Normality is judged by
// process.AndersonDarling.
func (c VariablesConditions) Check() (offered bool, reasons []string) {
	level := c.NormalityLevel
	if level == 0 {
		level = 0.05
	}
	if !c.Stable {
		reasons = append(reasons, "The process is not shown to be stable.")
	}
	if c.Sorted {
		reasons = append(reasons, "The lot was sorted, so that its tails are cut off; count bad pieces instead.")
	}
	if len(c.Readings) < MinNormalityReadings {
		reasons = append(reasons, fmt.Sprintf("There are %d earlier readings; %d are needed to look for departures from normal.", len(c.Readings), MinNormalityReadings))
		return false, reasons
	}
	test, err := process.AndersonDarling(c.Readings)
	switch {
	case err != nil:
		reasons = append(reasons, fmt.Sprintf("Normality could not be tested: %v.", err))
	case test.P < level:
		reasons = append(reasons, fmt.Sprintf("The readings are not normal (Anderson-Darling p = %.3g, under %g).", test.P, level))
	}
	return len(reasons) == 0, reasons
}
