package gauge

import (
	"errors"
	"fmt"
	"math"

	"coatbook/quality/process"
	"coatbook/quality/variance"
)

// The reasons, beside those of package process, why there is no study.
var (
	// ErrUnbalanced means that not every appraiser measured every part equally often.
	ErrUnbalanced = errors.New("every appraiser must measure every part equally often")
	// ErrTooFewParts means fewer than two parts.
	ErrTooFewParts = errors.New("a study needs at least two parts")
	// ErrOneTrial means that no part was measured twice by the same appraiser, so that there is no repeatability.
	ErrOneTrial = errors.New("each part must be measured at least twice")
	// ErrBadTolerance means a tolerance that is negative or not a number.
	ErrBadTolerance = errors.New("tolerance must be above 0")
	// ErrBadOption means an interaction choice or pooling level that this package does not have.
	ErrBadOption = errors.New("unknown choice")
)

// Reading is one measurement in a study. Readings with the same part and appraiser are its trials.
type Reading struct {
	Part, Appraiser string
	Value           float64
}

// Method names how a study was worked out.
type Method string

// The methods.
const (
	ByRange  Method = "range"  // average and range
	ByANOVA  Method = "anova"  // crossed analysis of variance
	ByNested Method = "nested" // parts inside appraisers
)

// Interaction says what an analysis of variance does with the interaction of part and appraiser.
type Interaction string

// The choices. The zero value is KeepInteraction.
const (
	// KeepInteraction estimates it; a negative estimate is 0. It is part of the gauge's variation.
	KeepInteraction Interaction = "keep"
	// PoolInteraction adds its sum of squares to repeatability, whatever its p-value.
	PoolInteraction Interaction = "pool"
	// PoolAboveP pools when its p-value is above Options.PoolAbove, else keeps it.
	PoolAboveP Interaction = "pool-above-p"
)

// DefaultPoolAbove is the p-value above which PoolAboveP pools unless told otherwise: a level this high keeps interactions
// that a study of ordinary size could hardly prove (common practice).
const DefaultPoolAbove = 0.25

// Options of a study. The zero value is ready to use.
type Options struct {
	// Tolerance is the width of the specification, upper less lower, in the readings' unit; 0 for none.
	Tolerance float64
	// Interaction is used by ANOVA only.
	Interaction Interaction
	// PoolAbove is the level of PoolAboveP, between 0 and 1; 0 is DefaultPoolAbove.
	PoolAbove float64
	// ExactConstants makes AverageAndRange use K1, K2 and K3 in full precision instead of the four printed decimals.
	ExactConstants bool
}

// Variation is one source of spread.
type Variation struct {
	SD float64 // in the readings' unit
	// PercentStudy is 100·SD/total SD; PercentContribution is the same of variances.
	PercentStudy, PercentContribution float64
	// PercentTolerance is 100·6·SD/tolerance; nil without a tolerance.
	PercentTolerance *float64
}

// Row is one line of the analysis of variance: part, appraiser, interaction, repeatability. F and P compare with the row that
// the model sets against it, and are nil where nothing stands below or its mean square is 0.
type Row struct {
	Source string
	DF     int
	SS, MS float64
	F, P   *float64
}

// The sources of rows.
const (
	PartSource          = "part"
	AppraiserSource     = "appraiser"
	InteractionSource   = "interaction"
	RepeatabilitySource = "repeatability"
)

// Study is the outcome of a gauge study.
type Study struct {
	Method                       Method
	Parts, Appraisers, Trials, N int // Trials is 0 when they are unequal (Nested only)
	// Gauge is √(repeatability² + reproducibility² + interaction²), and Total √(gauge² + part²).
	Repeatability, Gauge, Part, Total Variation
	// Reproducibility is the spread of appraisers' levels alone, without the interaction; nil with one appraiser.
	Reproducibility *Variation
	// Interaction is that of part and appraiser; 0 when pooled, nil where the method or the data cannot show it.
	Interaction *Variation
	// DistinctCategories is the whole part of DistinctCategoriesRaw = 1.41·part/gauge: how many groups of parts the
	// gauge can tell apart. Both are nil when the gauge shows no variation.
	DistinctCategories    *int
	DistinctCategoriesRaw *float64
	// InteractionP is the upper tail of F = MS(interaction)/MS(repeatability); nil where that is not defined.
	InteractionP *float64
	// Pooled says that the interaction was pooled into repeatability.
	Pooled bool
	Anova  []Row         // empty for AverageAndRange
	Range  *RangeFigures // AverageAndRange only
	Notes  []string
}

// finish fills totals, percentages and categories from variances. Those that the study cannot show are nil.
func (s *Study) finish(repeatability float64, reproducibility, interaction *float64, part float64, opt Options) {
	gauge := repeatability
	for _, v := range []*float64{reproducibility, interaction} {
		if v != nil {
			gauge += *v
		}
	}
	total := gauge + part
	of := func(variance float64) Variation {
		v := Variation{SD: math.Sqrt(variance)}
		v.PercentStudy = 100 * v.SD / math.Sqrt(total)
		v.PercentContribution = 100 * variance / total
		if opt.Tolerance > 0 {
			v.PercentTolerance = new(100 * 6 * v.SD / opt.Tolerance)
		}
		return v
	}
	s.Repeatability, s.Gauge, s.Part, s.Total = of(repeatability), of(gauge), of(part), of(total)
	if reproducibility != nil {
		s.Reproducibility = new(of(*reproducibility))
	}
	if interaction != nil {
		s.Interaction = new(of(*interaction))
	}
	if gauge == 0 {
		s.note("The gauge shows no variation at all: its steps are too coarse, so that the categories are not defined.")
		return
	}
	raw := 1.41 * s.Part.SD / s.Gauge.SD
	s.DistinctCategoriesRaw = &raw
	if raw < math.MaxInt32 {
		s.DistinctCategories = new(int(math.Floor(raw)))
	}
}

func (s *Study) note(format string, args ...any) {
	s.Notes = append(s.Notes, fmt.Sprintf(format, args...))
}

// floor0 returns a variance estimate, 0 for a negative one, which is noted.
func (s *Study) floor0(variance float64, what string) float64 {
	if variance < 0 {
		s.note("The estimate for %s was negative (%.4g); it is reported as 0.", what, variance)
		return 0
	}
	return variance
}

// table is a balanced crossed study: readings by appraiser, part and trial, less a constant.
type table struct {
	appraisers, parts []string // in order of appearance
	trials            int
	value             [][][]float64
	shift             float64
}

// crossed checks readings and arranges them.
func crossed(readings []Reading, opt Options) (*table, error) {
	if err := check(readings, opt); err != nil {
		return nil, err
	}
	t := &table{}
	appraiser, part := map[string]int{}, map[string]int{}
	values := make([]float64, len(readings))
	for i, r := range readings {
		number(appraiser, &t.appraisers, r.Appraiser)
		number(part, &t.parts, r.Part)
		values[i] = r.Value
	}
	if len(t.parts) < 2 {
		return nil, fmt.Errorf("%d: %w", len(t.parts), ErrTooFewParts)
	}
	values, t.shift = variance.Centered(values)
	t.value = make([][][]float64, len(t.appraisers))
	for a := range t.value {
		t.value[a] = make([][]float64, len(t.parts))
	}
	for i, r := range readings {
		cell := &t.value[appraiser[r.Appraiser]][part[r.Part]]
		*cell = append(*cell, values[i])
	}
	t.trials = len(t.value[0][0])
	for a, row := range t.value {
		for p, cell := range row {
			if len(cell) != t.trials {
				return nil, fmt.Errorf("appraiser %s measured part %s %d times, and appraiser %s part %s %d times: %w",
					t.appraisers[a], t.parts[p], len(cell), t.appraisers[0], t.parts[0], t.trials, ErrUnbalanced)
			}
		}
	}
	return t, nil
}

// check finds what no study can take.
func check(readings []Reading, opt Options) error {
	switch {
	case !(opt.Tolerance >= 0) || math.IsInf(opt.Tolerance, 0):
		return fmt.Errorf("%v: %w", opt.Tolerance, ErrBadTolerance)
	case !(opt.PoolAbove >= 0 && opt.PoolAbove <= 1):
		return fmt.Errorf("pooling above p = %v: %w", opt.PoolAbove, ErrBadOption)
	case len(readings) < 3:
		return fmt.Errorf("gauge study of %d: %w", len(readings), process.ErrTooFewReadings)
	}
	switch opt.Interaction {
	case "", KeepInteraction, PoolInteraction, PoolAboveP:
	default:
		return fmt.Errorf("interaction “%s”: %w", opt.Interaction, ErrBadOption)
	}
	same := true
	for i, r := range readings {
		if !(math.Abs(r.Value) <= 1e140) {
			return fmt.Errorf("reading %d is %v: %w", i+1, r.Value, process.ErrNotFinite)
		}
		same = same && r.Value == readings[0].Value
	}
	if same {
		return fmt.Errorf("all %d readings are %v: %w", len(readings), readings[0].Value, process.ErrNoSpread)
	}
	return nil
}

// number gives each new name the next number.
func number(numbers map[string]int, names *[]string, name string) int {
	n, ok := numbers[name]
	if !ok {
		n = len(*names)
		numbers[name] = n
		*names = append(*names, name)
	}
	return n
}
