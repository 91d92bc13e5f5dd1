package gauge

import (
	"fmt"

	"coatbook/quality/process"
	"coatbook/quality/variance"

	"gonum.org/v1/gonum/stat/distuv"
)

// ANOVA returns a crossed gauge study by the analysis of variance of y = μ + part + appraiser + interaction + error, all
// random. With p parts, a appraisers, r trials, from the mean squares:
//
//	repeatability = MS_e                       interaction = (MS_pa - MS_e)/r
//	reproducibility = (MS_a - MS_pa)/(p·r)     part = (MS_p - MS_pa)/(a·r)
//
// and with the interaction pooled, MS = (SS_pa + SS_e)/(df_pa + df_e):
//
//	repeatability = MS     reproducibility = (MS_a - MS)/(p·r)     part = (MS_p - MS)/(a·r)
//
// Negative estimates are 0 and noted. Every appraiser measures every part equally often, in any order; with one trial the
// interaction cannot be told from repeatability and is pooled. Values and tolerance share one unit.
//
// InteractionP assumes normal errors of equal spread; nothing is checked. Errors as for AverageAndRange, without
// ErrOneTrial except for one appraiser, and ErrBadOption.
//
// Source: AIAG Measurement Systems Analysis manual (worked example from memory, recomputed in two languages).
func ANOVA(readings []Reading, opt Options) (Study, error) {
	t, err := crossed(readings, opt)
	if err != nil {
		return Study{}, err
	}
	s := t.study(ByANOVA)
	ss := t.squares()
	if s.Appraisers == 1 {
		if t.trials < 2 {
			return Study{}, fmt.Errorf("one appraiser: %w", ErrOneTrial)
		}
		between := row(PartSource, ss.part, s.Parts-1)
		inside := row(RepeatabilitySource, ss.cell, s.Parts*(t.trials-1))
		between.against(inside)
		s.Anova = []Row{between, inside}
		s.finish(inside.MS, nil, nil, s.floor0((between.MS-inside.MS)/float64(t.trials), "parts"), opt)
		return s, nil
	}
	s.crossed(ss, opt)
	return s, nil
}

// squares are the sums of squares of a crossed table.
type squares struct{ part, appraiser, interaction, cell float64 }

// crossed fills the study from its sums of squares, two appraisers or more.
func (s *Study) crossed(ss squares, opt Options) {
	p, a, r := s.Parts, s.Appraisers, s.Trials
	part, appraiser := row(PartSource, ss.part, p-1), row(AppraiserSource, ss.appraiser, a-1)
	both := row(InteractionSource, ss.interaction, (p-1)*(a-1))
	inside := row(RepeatabilitySource, ss.cell, p*a*(r-1))
	if r > 1 {
		both.against(inside)
		s.InteractionP = both.P
	}
	s.Pooled = s.pools(opt)
	if s.Pooled {
		pooled := row(RepeatabilitySource, ss.interaction+ss.cell, both.DF+inside.DF)
		part.against(pooled)
		appraiser.against(pooled)
		s.Anova = []Row{part, appraiser, pooled}
		if r > 1 {
			s.Anova = []Row{part, appraiser, both, inside}
		}
		s.finish(pooled.MS, new(s.floor0((appraiser.MS-pooled.MS)/float64(p*r), "reproducibility")), new(0.0),
			s.floor0((part.MS-pooled.MS)/float64(a*r), "parts"), opt)
		return
	}
	part.against(both)
	appraiser.against(both)
	s.Anova = []Row{part, appraiser, both, inside}
	interaction := s.floor0((both.MS-inside.MS)/float64(r), "the interaction")
	s.finish(inside.MS, new(s.floor0((appraiser.MS-both.MS)/float64(p*r), "reproducibility")), &interaction,
		s.floor0((part.MS-both.MS)/float64(a*r), "parts"), opt)
}

// pools decides about the interaction, with a note where the reader should know.
func (s *Study) pools(opt Options) bool {
	if s.Trials == 1 {
		s.note("One trial: the interaction cannot be told from repeatability and is pooled with it.")
		return true
	}
	switch opt.Interaction {
	case PoolInteraction:
		return true
	case PoolAboveP:
		level := opt.PoolAbove
		if level == 0 {
			level = DefaultPoolAbove
		}
		if s.InteractionP == nil {
			s.note("The interaction has no p-value, because repeated readings never differ; it is kept.")
			return false
		}
		if *s.InteractionP > level {
			s.note("The interaction (p = %.3g) is above p = %g and is pooled into repeatability.", *s.InteractionP, level)
			return true
		}
		s.note("The interaction (p = %.3g) is not above p = %g and is kept.", *s.InteractionP, level)
	}
	return false
}

// squares returns the sums of squares of the table.
func (t *table) squares() squares {
	a, p := len(t.appraisers), len(t.parts)
	cells := make([][]float64, a)
	byAppraiser, byPart := make([]float64, a), make([]float64, p)
	var ss squares
	for i, row := range t.value {
		cells[i] = make([]float64, p)
		for j, cell := range row {
			m := mean(cell)
			cells[i][j] = m
			byAppraiser[i] += m / float64(p)
			byPart[j] += m / float64(a)
			for _, x := range cell {
				ss.cell += square(x - m)
			}
		}
	}
	all := mean(byPart)
	for i := range cells {
		ss.appraiser += square(byAppraiser[i] - all)
		for j, m := range cells[i] {
			ss.interaction += square(m - byAppraiser[i] - byPart[j] + all)
		}
	}
	for _, m := range byPart {
		ss.part += square(m - all)
	}
	ss.appraiser *= float64(p * t.trials)
	ss.part *= float64(a * t.trials)
	ss.interaction *= float64(t.trials)
	// What the two means leave over where there is no interaction is rounding.
	if ss.interaction < 1e-26*(ss.part+ss.appraiser+ss.cell) {
		ss.interaction = 0
	}
	return ss
}

func mean(values []float64) float64 {
	total := 0.0
	for _, x := range values {
		total += x
	}
	return total / float64(len(values))
}

func row(source string, ss float64, df int) Row {
	r := Row{Source: source, DF: df, SS: ss}
	if df > 0 {
		r.MS = ss / float64(df)
	}
	return r
}

// against sets F and P against another row.
func (r *Row) against(below Row) {
	if below.MS > 0 {
		r.F = new(r.MS / below.MS)
		r.P = new(distuv.F{D1: float64(r.DF), D2: float64(below.DF)}.Survival(*r.F))
	}
}

// Nested returns a gauge study in which each part belongs to one appraiser, as when a cross cut or a bend test uses the part
// up: y = μ + appraiser + part(appraiser) + error, by the moments of variance.Moments, balanced or not. A part label is
// read inside its appraiser. Interaction is nil: it cannot be told from the parts. Repeatability then contains whatever
// differs between pieces that were taken for one part.
//
// Negative estimates are 0 and noted. Errors: those of variance.Moments (variance.ErrConfounded when no part was
// measured twice), ErrTooFewParts, ErrBadTolerance.
//
// Source: nested analysis of variance, NIST/SEMATECH e-Handbook 3.2.3.3 (seen); use in gauge studies common practice.
func Nested(readings []Reading, opt Options) (Study, error) {
	if err := check(readings, opt); err != nil {
		return Study{}, err
	}
	values := make([]float64, len(readings))
	appraiser := variance.Factor{Name: AppraiserSource, Labels: make([]string, len(readings))}
	part := variance.Factor{Name: PartSource, Labels: make([]string, len(readings))}
	counts := map[Reading]int{}
	appraisers := map[string]bool{}
	for i, r := range readings {
		values[i], appraiser.Labels[i], part.Labels[i] = r.Value, r.Appraiser, r.Part
		counts[Reading{Part: r.Part, Appraiser: r.Appraiser}]++
		appraisers[r.Appraiser] = true
	}
	if len(counts) < 2 {
		return Study{}, fmt.Errorf("%d: %w", len(counts), ErrTooFewParts)
	}
	if len(counts) == len(readings) {
		return Study{}, fmt.Errorf("nested study: %w", ErrOneTrial)
	}
	s := Study{Method: ByNested, Parts: len(counts), Appraisers: len(appraisers), Trials: equalCount(counts), N: len(readings)}
	factors := []variance.Factor{appraiser, part}
	if len(appraisers) == 1 {
		s.note("One appraiser: reproducibility is not measured, so that the gauge figure is repeatability alone.")
		factors = factors[1:]
	}
	r, err := variance.Moments(values, factors...)
	if err != nil {
		return Study{}, err
	}
	for _, line := range r.Anova {
		source := line.Factor
		if source == variance.ErrorFactor {
			source = RepeatabilitySource
		}
		s.Anova = append(s.Anova, Row{Source: source, DF: line.DF, SS: line.SS, MS: line.MS, F: line.F, P: line.P})
	}
	s.Notes = append(s.Notes, r.Notes...)
	last := len(r.Components) - 1
	var reproducibility *float64
	if last == 2 {
		reproducibility = &r.Components[0].Variance
	}
	if r.Total == 0 {
		return Study{}, fmt.Errorf("every estimate is 0: %w", process.ErrNoSpread)
	}
	s.finish(r.Components[last].Variance, reproducibility, nil, r.Components[last-1].Variance, opt)
	return s, nil
}

// equalCount returns the count that all share, 0 if they differ.
func equalCount(counts map[Reading]int) int {
	same := 0
	for _, n := range counts {
		if same != 0 && n != same {
			return 0
		}
		same = n
	}
	return same
}
