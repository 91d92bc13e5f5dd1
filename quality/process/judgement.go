package process

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// spreads estimates both standard deviations; one that cannot be estimated is nil, and a reason says why.
func (r *Result) spreads(s sample, opt Options) (within, overall *Spread) {
	all := s.all
	r.shareBetween(s)
	if all.N >= 2 && varies(all.sd(), size(all)) {
		n := float64(all.N)
		if opt.Within == BetweenAndWithin && r.BetweenShare != nil {
			n /= 1 + (averageSize(s.groups)-1)**r.BetweenShare
		}
		overall = &Spread{Sigma: all.sd(), DF: max(1, n-1), Readings: max(2, n)}
		r.SDOverall, r.DFOverall, r.IndependentOverall = &overall.Sigma, overall.DF, overall.Readings
	}
	spread, err := withinSpread(s, opt)
	if err != nil {
		if overall != nil {
			r.Reasons = append(r.Reasons, withinReason(err, opt))
		}
		return nil, overall
	}
	r.SDWithin, r.DFWithin, r.IndependentWithin = &spread.Sigma, spread.DF, spread.Readings
	return &spread, overall
}

// withinSpread is SpreadWithin, with single readings for the moving range where the subgroups are larger.
func withinSpread(s sample, opt Options) (Spread, error) {
	if opt.Within != FromMovingRange || opt.Readings == nil {
		return s.spreadWithin(opt.Within)
	}
	spread, err := movingRange(opt.Readings)
	if err == nil && !varies(spread.Sigma, size(s.all)) {
		err = ErrNoSpread
	}
	return spread, err
}

// withinReason says in a sentence why the spread within subgroups could not be estimated.
func withinReason(err error, opt Options) string {
	switch {
	case errors.Is(err, ErrNoSpread):
		return fmt.Sprintf("No spread within %ss, so there is no capability index", opt.Subgroup)
	case errors.Is(err, ErrTooFewReadings):
		return fmt.Sprintf("No %s has two %ss, so the spread within cannot be estimated", opt.Subgroup, opt.Reading)
	case errors.Is(err, ErrSubgroupSize):
		return fmt.Sprintf("The %s of these %ss needs the single %ss", opt.Within, opt.Subgroup, opt.Reading)
	}
	return fmt.Sprintf("Only %s, so the spread within cannot be estimated", counted(1, opt.Subgroup))
}

// shareBetween is how much of the variance lies between subgroups, by one-way analysis of variance with unequal sizes:
// σ²b = (MSb-MSw)/n₀, not below 0.
func (r *Result) shareBetween(s sample) {
	within, err := pooled(s.groups)
	if err != nil || len(s.groups) < 2 {
		return
	}
	between := 0.0
	for _, group := range s.groups {
		between += float64(group.N) * (group.Mean - s.all.Mean) * (group.Mean - s.all.Mean)
	}
	df := float64(len(s.groups) - 1)
	meanSquare, inside := between/df, within.Sigma*within.Sigma
	if !varies(math.Sqrt(meanSquare+inside), size(s.all)) {
		return
	}
	variance := max(0, (meanSquare-inside)/averageSize(s.groups))
	r.BetweenShare = finite(variance / (variance + inside))
	if inside > 0 {
		r.BetweenSignificant = distuv.F{D1: df, D2: within.DF}.Survival(meanSquare/inside) < 0.01
	} else {
		r.BetweenSignificant = meanSquare > 0
	}
}

// averageSize is n₀ = (N - Σnᵢ²/N)/(k-1), the size that unequal subgroups are worth in an analysis of variance.
func averageSize(groups []Summary) float64 {
	var n, squares float64
	for _, s := range groups {
		n += float64(s.N)
		squares += float64(s.N) * float64(s.N)
	}
	return (n - squares/n) / float64(len(groups)-1)
}

// judgeStability draws the chart and says what it shows.
func (r *Result) judgeStability(s sample, opt Options) {
	chart, err := drawChart(s, opt)
	if err != nil {
		r.Unstable = "Stability cannot be shown: " + unshown(err)
		return
	}
	r.Chart = &chart
	if r.Stable = chart.Stable(); r.Stable {
		return
	}
	panel, spread := chart.Signals, false
	if len(panel) == 0 {
		panel, spread = chart.withinSignals(), true
	}
	first := panel[0]
	noun := opt.Subgroup
	if chart.Kind == KindIndividuals && noun == "subgroup" {
		noun = opt.Reading
	}
	what, where := first.Rule.String(), fmt.Sprintf("at %s %d", noun, first.Points[len(first.Points)-1]+1)
	if len(first.Points) > 1 {
		where = "the last " + where
	}
	if spread {
		what += fmt.Sprintf(" on the spread within %ss", noun)
	}
	r.Unstable = fmt.Sprintf("Not stable: %s, %s", what, where)
	if more := len(chart.Signals) + len(chart.withinSignals()) - 1; more > 0 {
		r.Unstable += fmt.Sprintf(" (and %s)", counted(more, "more signal"))
	}
}

// drawChart draws the chart that was asked for. A chart of individuals shows the subgroup means, or the readings of the only
// subgroup.
func drawChart(s sample, opt Options) (Chart, error) {
	chartOptions := ChartOptions{Limits: opt.Limits, Rules: opt.Rules}
	switch opt.Chart {
	case KindBetweenWithin:
		return s.betweenWithin(chartOptions)
	case KindIndividuals:
		if len(s.groups) == 1 && opt.Readings != nil {
			return Individuals(opt.Readings, chartOptions)
		}
		return Individuals(s.means(), chartOptions)
	}
	return s.xbar(opt.Chart, chartOptions)
}

// unshown says in a phrase why no chart could be drawn.
func unshown(err error) string {
	switch {
	case errors.Is(err, ErrNoSpread):
		return "nothing varies"
	case errors.Is(err, ErrTooFewSubgroups), errors.Is(err, ErrTooFewReadings):
		return "too few readings for a chart"
	}
	return "the chart cannot be drawn from these figures"
}

// demand holds the data against what an index needs, and reports whether there is enough of it. All reasons are given, so
// that a supervisor does not clear them one by one.
func (r *Result) demand(opt Options) (enough bool) {
	count, need, noun := r.Subgroups, opt.MinSubgroups, opt.Subgroup
	if r.LargestSubgroup == 1 || r.Subgroups == 1 && opt.Readings != nil {
		count, need = r.N, opt.MinReadings
		if noun == "subgroup" {
			noun = opt.Reading
		}
	}
	var reasons []string
	if count < need {
		reasons = append(reasons, fmt.Sprintf("Only %s; %d are needed before an index is quoted", counted(count, noun), need))
	}
	if opt.Spec.none() {
		reasons = append(reasons, "No limits: there is nothing to compare the spread with")
	}
	if r.SDOverall == nil {
		if r.N < 2 {
			reasons = append(reasons, "No spread: one "+opt.Reading+" has none")
		} else {
			reasons = append(reasons, fmt.Sprintf("No spread: all %s are equal", counted(r.N, opt.Reading)))
		}
	}
	// Instability of constant readings would say the same thing twice.
	if !r.Stable && r.SDOverall != nil {
		text := r.Unstable
		if count >= need {
			text += ": shown as performance, not capability"
		}
		reasons = append(reasons, text)
	}
	r.Reasons = append(reasons, r.Reasons...)
	if r.BetweenSignificant && opt.Within != BetweenAndWithin {
		r.Notes = append(r.Notes, fmt.Sprintf("%.0f %% of the variance lies between %ss; the spread within them leaves it out",
			100**r.BetweenShare, opt.Subgroup))
	}
	if (opt.Spec.Lower == nil) != (opt.Spec.Upper == nil) {
		r.Notes = append(r.Notes, "One limit only: the index of its side is the only one")
	}
	if count >= need && r.Stable { // fewer points show no stability
		r.Name = capability
	}
	return count >= need
}

// checkLaw tests the law of single readings where there are any, else whether the subgroup means are normal. Readings that do
// not follow their law are a reason; means that do not are a note, since they are only a sign.
func (r *Result) checkLaw(s sample, opt Options) error {
	if opt.Distribution != NormalLaw {
		return r.checkFit(opt)
	}
	values, of := opt.Readings, opt.Reading+"s"
	if values == nil {
		values = s.means()
		if r.LargestSubgroup > 1 {
			of = opt.Subgroup + " means"
		}
	}
	test, err := AndersonDarling(values)
	if err != nil || test.Few {
		r.Notes = append(r.Notes, fmt.Sprintf("Distribution not checked: too few or equal %s", of))
		return nil
	}
	r.Normality, r.NormalityOf = &test, of
	if test.P < leastNormalP {
		text := fmt.Sprintf(
			"The %s do not look normal (Anderson-Darling p = %.2g): read the expected share outside with care", of, test.P)
		if opt.Readings != nil {
			r.Reasons = append(r.Reasons, text)
		} else {
			r.Notes = append(r.Notes, text)
		}
	}
	return nil
}

// checkFit fits the law that was named.
func (r *Result) checkFit(opt Options) error {
	fit, err := FitDistribution(opt.Readings, opt.Distribution)
	switch {
	case errors.Is(err, ErrNoSpread): // said once by demand
		return nil
	case errors.Is(err, ErrTooFewReadings):
		r.Reasons = append(r.Reasons, fmt.Sprintf("Too few %ss to fit a %s law", opt.Reading, opt.Distribution))
		return nil
	case err != nil:
		return err
	}
	r.Fit, r.Normality, r.NormalityOf = &fit, &fit.GoodnessOfFit, opt.Reading+"s"
	r.Notes = append(r.Notes, fmt.Sprintf("Indices by the percentile method of a %s law (Anderson-Darling p = %.2g), without intervals; "+
		"they describe all %ss, so there is no index from the spread within", opt.Distribution, fit.GoodnessOfFit.P, opt.Reading))
	switch {
	case fit.GoodnessOfFit.Few:
		r.Reasons = append(r.Reasons, fmt.Sprintf("Too few %ss to check the %s law", opt.Reading, opt.Distribution))
	case fit.GoodnessOfFit.P < leastNormalP:
		r.Reasons = append(r.Reasons, fmt.Sprintf("The %ss do not follow a %s law (Anderson-Darling p = %.2g)",
			opt.Reading, opt.Distribution, fit.GoodnessOfFit.P))
	}
	return nil
}

// judgeGauge says what the gauge does to an index. Readings tell the step of their gauge where nobody else does.
func (r *Result) judgeGauge(opt Options) {
	if r.SDOverall == nil {
		return
	}
	of := "spread"
	if opt.Gauge != nil && opt.Gauge.Of != "" {
		of = opt.Gauge.Of
	}
	step, reach := gaugeStep(opt), 6**r.SDOverall
	if opt.Spec.Lower != nil && opt.Spec.Upper != nil {
		reach = min(reach, *opt.Spec.Upper-*opt.Spec.Lower)
	}
	if step > reach/GaugeSteps*(1+1e-9) {
		r.Reasons = append(r.Reasons, fmt.Sprintf("The gauge resolves %.3g; steps of %.3g or less are needed to tell such %ss apart",
			step, reach/GaugeSteps, opt.Reading))
	}
	switch {
	case opt.Gauge == nil:
		r.Notes = append(r.Notes, "The gauge was not judged: no gauge study was given")
	case opt.Gauge.Study == nil:
		r.Reasons = append(r.Reasons, "No gauge study: the spread may be that of the gauge")
	case *opt.Gauge.Study > GaugeMostGRR:
		r.Reasons = append(r.Reasons, fmt.Sprintf("The gauge takes %.0f %% of the %s; %.0f %% is the most",
			*opt.Gauge.Study, of, GaugeMostGRR))
	case *opt.Gauge.Study >= GaugeGoodGRR:
		r.Notes = append(r.Notes, fmt.Sprintf("The gauge takes %.0f %% of the %s; under %.0f %% is good",
			*opt.Gauge.Study, of, GaugeGoodGRR))
	}
	if opt.Gauge != nil && opt.Gauge.Categories != nil && *opt.Gauge.Categories < GaugeGroups {
		r.Notes = append(r.Notes, fmt.Sprintf("The gauge tells only %s of %ss apart; %d are asked", counted(*opt.Gauge.Categories, "group"), opt.Reading, GaugeGroups))
	}
}

// gaugeStep is the resolution given, or the smallest gap between two different readings, of which the gauge resolves at least
// as much; 0 when neither is known.
func gaugeStep(opt Options) float64 {
	if opt.Gauge != nil && opt.Gauge.Resolution > 0 {
		return opt.Gauge.Resolution
	}
	sorted := slices.Sorted(slices.Values(opt.Readings))
	step := 0.0
	for i := 1; i < len(sorted); i++ {
		if gap := sorted[i] - sorted[i-1]; gap > 0 && (step == 0 || gap < step) {
			step = gap
		}
	}
	return step
}

// addPercentiles computes performance from the fitted law.
func (r *Result) addPercentiles() error {
	x, err := r.Fit.Indices(r.Spec)
	if err != nil {
		return err
	}
	r.Pp, r.Ppl, r.Ppu, r.Ppk = x.P, x.L, x.U, x.K
	r.ExpectedBelow, r.ExpectedAbove, err = r.Fit.ExpectedOutside(r.Spec)
	return err
}

func (r *Result) addPerformance(spread Spread) error {
	x, err := ComputeIndices(r.Mean, spread.Sigma, r.Spec)
	if err != nil {
		return err
	}
	r.Pp, r.Ppl, r.Ppu, r.Ppk, r.Ppm = x.P, x.L, x.U, x.K, x.PM
	b := boundsOf(x, spread, r.Confidence)
	r.PpInterval, r.PpkInterval, r.PpkLower = b.p, b.k, b.lower
	r.PplLowerExact, r.PpuLowerExact = b.lowerExact, b.upperExact
	r.ExpectedBelow, r.ExpectedAbove, err = ExpectedOutside(r.Mean, spread.Sigma, r.Spec)
	return err
}

func (r *Result) addCapability(spread Spread) error {
	x, err := ComputeIndices(r.Mean, spread.Sigma, r.Spec)
	if err != nil {
		return err
	}
	r.Cp, r.Cpl, r.Cpu, r.Cpk, r.Cpm = x.P, x.L, x.U, x.K, x.PM
	b := boundsOf(x, spread, r.Confidence)
	r.CpInterval, r.CpkInterval, r.CpkLower = b.p, b.k, b.lower
	r.CplLowerExact, r.CpuLowerExact = b.lowerExact, b.upperExact
	return nil
}

// bounds are the confidence statements about one set of indices.
type bounds struct {
	p, k                          *Interval
	lower, lowerExact, upperExact *float64
}

// boundsOf computes the bounds of the indices that exist. One that cannot be computed stays nil.
func boundsOf(x Indices, spread Spread, confidence float64) bounds {
	var b bounds
	if x.P != nil {
		if interval, err := CpInterval(*x.P, spread.DF, confidence); err == nil {
			b.p = &interval
		}
	}
	if x.K != nil {
		if interval, err := CpkInterval(*x.K, spread.Readings, spread.DF, confidence); err == nil {
			b.k = &interval
		}
		if lower, err := CpkLower(*x.K, spread.Readings, spread.DF, confidence); err == nil {
			b.lower = &lower
		}
	}
	exact := func(index *float64) *float64 {
		if index == nil {
			return nil
		}
		lower, err := OneSidedLower(*index, spread.Readings, spread.DF, confidence)
		if err != nil {
			return nil
		}
		return &lower
	}
	b.lowerExact, b.upperExact = exact(x.L), exact(x.U)
	return b
}

// countOutside counts single readings outside the limits; one equal to a limit is within it.
func (r *Result) countOutside(readings []float64) {
	if readings == nil {
		return
	}
	var below, above int
	for _, x := range readings {
		if r.Spec.Lower != nil && x < *r.Spec.Lower {
			below++
		}
		if r.Spec.Upper != nil && x > *r.Spec.Upper {
			above++
		}
	}
	ppm := func(count int) *float64 { return finite(1e6 * float64(count) / float64(len(readings))) }
	if r.Spec.Lower != nil {
		r.ObservedBelow, r.ObservedBelowPPM = &below, ppm(below)
	}
	if r.Spec.Upper != nil {
		r.ObservedAbove, r.ObservedAbovePPM = &above, ppm(above)
	}
}
