package process

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// The least data before an index is given, and the confidence of bounds, where Options does not say otherwise.
//
// Source: common practice.
const (
	DefaultMinSubgroups = 25
	DefaultMinReadings  = 50 // where every subgroup is a single reading
	DefaultConfidence   = 0.95
)

// Options says against what, and how, a capability is computed. Only Spec has no default.
type Options struct {
	Spec Spec
	// Within is the spread within subgroups; "" means PooledSD, or FromMovingRange where all subgroups are single
	// readings. For spots on parts use BetweenAndWithin.
	Within Within
	// Confidence of intervals and bounds; 0 means DefaultConfidence.
	Confidence float64
	// MinSubgroups and MinReadings are the least data for an index; 0 means the defaults. MinReadings counts where
	// all subgroups are single readings.
	MinSubgroups, MinReadings int
	// Chart is the chart that must show stability; "" takes the one that belongs to Within.
	Chart Kind
	// Rules are the run rules of that chart, nil for DefaultRules; Limits its frozen limits, nil for those of the data.
	Rules  []Rule
	Limits *Limits
	// Readings are all single readings in time order, where the caller has them: for the check of normality, the moving
	// range, and the count outside. Without them normality is checked on the subgroup means. With one subgroup only,
	// they are also the points of the chart. Subgroups of one are readings already: they need not be given again.
	Readings []float64
	// Distribution is the law of the readings; "" means NormalLaw. Any other needs Readings, and gives performance by the
	// percentile method (see Fit.Indices) without intervals; there is no Cp then.
	Distribution Distribution
	// Gauge is what is known of the gauge; nil when nothing is, which the Notes then say.
	Gauge *Gauge
	// Always computes every index that is defined, where it would be withheld: with too few subgroups, or without shown
	// stability. For a program that has its own eyes on Quotable, Name and Reasons; never for a screen that shows an
	// index alone.
	Always bool
	// Subgroup and Reading are what a subgroup and one value are called in sentences, singular: "part", "spot mean".
	// Values of different kinds must not be mixed. Empty means "subgroup" and "reading".
	Subgroup, Reading string
}

// Gauge is what is known of the gauge behind the readings.
type Gauge struct {
	// Resolution is the smallest step that it shows, in the unit of the readings; 0 when not known.
	Resolution float64
	// Study is the spread of repeated measurement in percent of the tolerance or of the process, from a gauge study; nil
	// without one.
	Study *float64
	// Of is what Study is a share of, "" for the spread.
	Of string
	// Categories is how many groups the gauge tells apart; nil when not known.
	Categories *int
}

// What a gauge must be for an index to be quoted: ten steps within the tolerance and within six standard deviations, and a
// spread of its own of 30 % at most. From 10 % on a note warns.
//
// Source: common practice, as in AIAG Measurement Systems Analysis (from memory, unverified).
const (
	GaugeSteps   = 10
	GaugeMostGRR = 30.0
	GaugeGoodGRR = 10.0
	GaugeGroups  = 5    // fewer groups told apart are marked
	leastNormalP = 0.05 // below it readings are said not to follow their law
)

// Result is a capability with everything that must be printed beside it. A figure that is not defined, or that would
// mislead, is nil, and Reasons says why in sentences for people.
type Result struct {
	// Name is "capability" for a process shown to be stable by enough data, and "performance" for any other.
	Name                                  string
	N, Subgroups                          int
	SmallestSubgroup, LargestSubgroup     int
	Mean, Min, Max                        float64 // 0 when N is 0
	SDWithin, SDOverall                   *float64
	Within                                Within
	Spec                                  Spec
	Confidence                            float64
	IndependentWithin, IndependentOverall float64 // how many independent readings the mean is worth in either bound
	DFWithin, DFOverall                   float64 // degrees of freedom of either standard deviation
	BetweenShare                          *float64
	BetweenSignificant                    bool // whether subgroups differ more than chance (F test, 1 %)

	// Capability: from SDWithin, only where the process is shown to be stable.
	Cp, Cpl, Cpu, Cpk, Cpm       *float64
	CpInterval, CpkInterval      *Interval // two-sided
	CpkLower                     *float64  // one-sided bound after Bissell
	CplLowerExact, CpuLowerExact *float64  // exact one-sided bounds

	// Performance: from SDOverall.
	Pp, Ppl, Ppu, Ppk, Ppm       *float64
	PpInterval, PpkInterval      *Interval
	PpkLower                     *float64
	PplLowerExact, PpuLowerExact *float64

	// ExpectedBelow and ExpectedAbove are parts per million outside for a normal law with Mean and SDOverall, or for the
	// law of Fit. ObservedBelow and ObservedAbove count readings outside, and the other two are the same in parts per
	// million, where single readings were given.
	ExpectedBelow, ExpectedAbove       *float64
	ObservedBelow, ObservedAbove       *int
	ObservedBelowPPM, ObservedAbovePPM *float64
	// Fit is the fitted law, where Options.Distribution names one other than the normal; Normality is then its test.
	Fit *Fit

	// Chart is the control chart that stability was judged by; nil where none could be drawn.
	Chart *Chart
	// Stable says that a chart was drawn and no rule signals; otherwise Unstable says why not, in a phrase.
	Stable   bool
	Unstable string
	// Normality is the check of the distribution, made on NormalityOf; nil with a note where it could not be made.
	Normality   *Normality
	NormalityOf string
	// Quotable says that Cpk, or Ppk of a Fit, may be quoted as capability. Reasons, when it may not, says why not. Notes are to be read
	// with the figures in any case. Both are whole sentences.
	Quotable bool
	Reasons  []string
	Notes    []string
}

// Headline returns the one index to show first with its one-sided lower bound: Cpk where it is given, else Ppk. The bound
// is the exact one where only one limit is set, and that after Bissell where both are. It returns false where there is
// neither index, or no bound to print beside it.
func (r Result) Headline() (name string, value, lower float64, ok bool) {
	if bound := r.oneBound(r.CpkLower, r.CplLowerExact, r.CpuLowerExact); r.Cpk != nil && bound != nil {
		return "Cpk", *r.Cpk, *bound, true
	}
	if bound := r.oneBound(r.PpkLower, r.PplLowerExact, r.PpuLowerExact); r.Ppk != nil && bound != nil {
		return "Ppk", *r.Ppk, *bound, true
	}
	return "", 0, 0, false
}

// oneBound chooses the bound that fits the limits.
func (r Result) oneBound(both, lower, upper *float64) *float64 {
	switch {
	case r.Spec.Upper == nil:
		return lower
	case r.Spec.Lower == nil:
		return upper
	}
	return both
}

// punctuate ends the sentences, which were put together from phrases.
func (r *Result) punctuate() {
	for _, sentences := range [][]string{r.Reasons, r.Notes} {
		for i := range sentences {
			sentences[i] += "."
		}
	}
}

// Capability returns the capability and performance of a process from its subgroups in time order, each given by its
// summary. Subgroups without readings are left out, and the points of Chart count the others. All values share one unit with the limits; the indices have none.
//
//	Cp… from the spread within subgroups (Options.Within)    Pp… from √(Σ(x-x̄)²/(N-1)) of all readings
//
// The formulas are on Indices, those of the bounds on CpInterval, CpkInterval and OneSidedLower. Bounds take the number
// of readings for n, except with BetweenAndWithin: readings on one part share its level, and count as the fewer
// independent ones that carry as much (N/(1+(n₀-1)·BetweenShare) for the overall spread).
//
// Three things stand between readings and an index. Fewer than MinSubgroups (or MinReadings) give no index at all. No
// limits or no spread give none either. And Cp to Cpm need a control chart without a signal: without it the process has
// performance, Pp to Ppm, but no capability. One-sided limits give the index of their side only.
//
// All that is in the Result, not in the error; with Options.Always the figures are given and the judgement stays. An index is
// quotable when, besides, nothing speaks against the law of the readings (5 %) and the gauge is good enough (GaugeSteps,
// GaugeMostGRR). The error is ErrNotPositive for a law that such readings cannot have, ErrBadLimits, ErrBadConfidence, ErrNotFinite, ErrBadSummary,
// ErrUnknownRule, ErrUnknownMethod, or ErrBadCount when Readings are not as many as the summaries say.
//
// Source: naming as in ISO 22514-2 (capability only of a stable process) and AIAG SPC (within and overall spread), from
// memory, unverified.
func Capability(subgroups []Summary, opt Options) (Result, error) {
	s, err := opt.prepare(subgroups)
	if err != nil {
		return Result{}, err
	}
	all := s.all
	r := Result{
		N: all.N, Subgroups: len(s.groups), Mean: all.Mean, Min: all.Min, Max: all.Max,
		Within: opt.Within, Spec: opt.Spec, Confidence: opt.Confidence, Name: performance,
	}
	if all.N == 0 {
		r.Unstable = "No readings"
		r.Reasons = []string{r.Unstable}
		r.punctuate()
		return r, nil
	}
	r.SmallestSubgroup, r.LargestSubgroup = sizes(s.groups)
	within, overall := r.spreads(s, opt)
	r.judgeStability(s, opt)
	r.judgeGauge(opt)
	if err := r.checkLaw(s, opt); err != nil {
		return Result{}, err
	}
	r.countOutside(opt.Readings)
	if enough := r.demand(opt); (enough || opt.Always) && overall != nil && !opt.Spec.none() {
		if err := r.addIndices(within, overall, opt.Always); err != nil {
			return Result{}, err
		}
	}
	r.Quotable = len(r.Reasons) == 0 && (r.Cpk != nil || r.Fit != nil && r.Ppk != nil)
	r.punctuate()
	return r, nil
}

// addIndices computes performance, and capability where it is shown or asked for all the same.
func (r *Result) addIndices(within, overall *Spread, always bool) error {
	var err error
	if r.Fit != nil {
		err = r.addPercentiles()
	} else {
		err = r.addPerformance(*overall)
		if err == nil && within != nil && (r.Stable || always) {
			err = r.addCapability(*within)
		}
		r.warnFew()
	}
	if errors.Is(err, ErrNoSpread) {
		r.Reasons = append(r.Reasons, "No spread beside limits so wide: an index has no meaning")
		return nil
	}
	return err
}

// CapabilityFromFigures returns the indices of a process known only by its number of readings, mean and standard
// deviation, which serves as both spreads. All indices are computed, but nothing is quotable: figures alone show no
// stability. Of opt, Spec and Confidence are used.
//
// It returns the errors of ComputeIndices, ErrBadConfidence, and ErrTooFewReadings for n below 2.
func CapabilityFromFigures(n int, mean, sd float64, opt Options) (Result, error) {
	if _, err := opt.prepare(nil); err != nil {
		return Result{}, err
	}
	if n < 2 {
		return Result{}, fmt.Errorf("capability from %d: %w", n, ErrTooFewReadings)
	}
	spread := Spread{Sigma: sd, DF: float64(n - 1), Readings: float64(n)}
	r := Result{
		Name: performance, N: n, Mean: mean, SDWithin: &sd, SDOverall: &sd, Spec: opt.Spec, Confidence: opt.Confidence,
		IndependentWithin: spread.Readings, IndependentOverall: spread.Readings, DFWithin: spread.DF, DFOverall: spread.DF,
		Unstable: "Stability cannot be judged from a mean and a standard deviation alone",
		Notes:    []string{"Distribution not checked: no readings were given"},
	}
	if err := r.addPerformance(spread); err != nil {
		return Result{}, err
	}
	if err := r.addCapability(spread); err != nil {
		return Result{}, err
	}
	r.Reasons = []string{r.Unstable}
	if n < opt.MinReadings {
		r.Reasons = append(r.Reasons, fmt.Sprintf("Only %s; %d are needed before an index is quoted",
			counted(n, opt.Reading), opt.MinReadings))
	}
	r.warnFew()
	r.punctuate()
	return r, nil
}

// warnFew warns of the approximation behind the bounds of Cpk and Ppk.
func (r *Result) warnFew() {
	if r.N < fewForBissell {
		r.Notes = append(r.Notes, fmt.Sprintf("The bounds of Cpk and Ppk are an approximation that is far off below %d readings",
			fewForBissell))
	}
}

// The two names of a Result.
const (
	capability  = "capability"
	performance = "performance"
)

// prepare fills in the defaults and refuses what is not usable. Subgroups without readings are left out.
func (opt *Options) prepare(subgroups []Summary) (sample, error) {
	if err := opt.Spec.check(); err != nil {
		return sample{}, err
	}
	defaultTo(&opt.Confidence, DefaultConfidence)
	defaultTo(&opt.MinSubgroups, DefaultMinSubgroups)
	defaultTo(&opt.MinReadings, DefaultMinReadings)
	defaultTo(&opt.Subgroup, "subgroup")
	defaultTo(&opt.Reading, "reading")
	defaultTo(&opt.Distribution, NormalLaw)
	if !inside(opt.Confidence) {
		return sample{}, ErrBadConfidence
	}
	filled := subgroups
	if empty := func(group Summary) bool { return group == Summary{} }; slices.ContainsFunc(subgroups, empty) {
		filled = slices.DeleteFunc(slices.Clone(subgroups), empty)
	}
	s, err := checkSubgroups(filled)
	if err != nil {
		return sample{}, err
	}
	single := s.all.N == len(filled)
	if single && s.all.N > 0 && opt.Readings == nil {
		opt.Readings = s.means()
	}
	if opt.Distribution != NormalLaw && opt.Readings == nil {
		return sample{}, fmt.Errorf("the %s law needs the single readings: %w", opt.Distribution, ErrTooFewReadings)
	}
	if opt.Readings != nil && len(opt.Readings) != s.all.N {
		return sample{}, fmt.Errorf("%d single readings, %d in the subgroups: %w", len(opt.Readings), s.all.N, ErrBadCount)
	}
	if single {
		defaultTo(&opt.Within, FromMovingRange)
	}
	defaultTo(&opt.Within, PooledSD)
	if opt.Chart == "" {
		switch {
		case single, len(filled) == 1 && opt.Readings != nil:
			opt.Chart = KindIndividuals
		case opt.Within == BetweenAndWithin:
			opt.Chart = KindBetweenWithin
		case opt.Within == FromRBar:
			opt.Chart = KindXbarR
		default:
			opt.Chart = KindXbarS
		}
	}
	return s, opt.checkNames()
}

// checkNames refuses a rule, an estimate or a chart that does not exist, whether or not there are readings to use it.
func (opt *Options) checkNames() error {
	switch opt.Within {
	case PooledSD, FromSBar, FromRBar, FromMovingRange, BetweenAndWithin:
	default:
		return fmt.Errorf("%q: %w", string(opt.Within), ErrUnknownMethod)
	}
	switch opt.Chart {
	case KindXbarS, KindXbarR, KindIndividuals, KindBetweenWithin:
	default:
		return fmt.Errorf("%q: %w", string(opt.Chart), ErrUnknownMethod)
	}
	switch opt.Distribution {
	case NormalLaw, LognormalLaw, WeibullLaw, BoxCoxLaw:
	default:
		return fmt.Errorf("%q: %w", string(opt.Distribution), ErrUnknownMethod)
	}
	if g := opt.Gauge; g != nil && (!(g.Resolution >= 0) || !ordinary(g.Resolution) || g.Study != nil && !(*g.Study >= 0 && ordinary(*g.Study))) {
		return fmt.Errorf("gauge: %w", ErrNotFinite)
	}
	for _, rule := range opt.Rules {
		if _, known := patterns[rule]; !known {
			return fmt.Errorf("%q: %w", string(rule), ErrUnknownRule)
		}
	}
	_, err := Summarize(opt.Readings)
	return err
}

func defaultTo[T comparable](field *T, value T) {
	var zero T
	if *field == zero {
		*field = value
	}
}

func sizes(groups []Summary) (smallest, largest int) {
	smallest = math.MaxInt
	for _, s := range groups {
		smallest, largest = min(smallest, s.N), max(largest, s.N)
	}
	return smallest, largest
}

// counted says a number of things: "1 part", "18 parts".
func counted(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
