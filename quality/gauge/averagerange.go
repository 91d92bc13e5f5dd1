package gauge

import (
	"fmt"
	"math"

	"coatbook/quality/process"
)

// RangeFigures are the intermediate figures of an average-and-range study.
type RangeFigures struct {
	AppraiserMeans, AppraiserRanges []float64 // by appraiser, in order of appearance
	Appraisers                      []string
	MeanRange                       float64 // R̿, of all ranges of one appraiser on one part
	MeanDifference                  float64 // largest less smallest appraiser mean
	PartRange                       float64 // largest less smallest part mean
	K1, K2, K3                      float64 // K2 is 0 with one appraiser
	// UpperRange is D₄·R̿; RangesAbove lists the parts and appraisers whose range is beyond it, which are to be explained
	// before the study is believed.
	UpperRange  float64
	RangesAbove []Cell
}

// Cell is what one appraiser did on one part.
type Cell struct {
	Appraiser, Part string
	Range           float64
}

// AverageAndRange returns a crossed gauge study by ranges:
//
//	EV = R̿·K₁       AV = √(max(0, (X̄diff·K₂)² - EV²/(n·r)))       PV = Rp·K₃
//
// n parts, r trials. EV is Repeatability, AV Reproducibility, PV Part; the method cannot show the interaction.
// K₁ = 1/d₂(trials), K₂ = 1/d₂*(appraisers), K₃ = 1/d₂*(parts) with d₂* = √(d₂²+d₃²) for a single range, each rounded to
// four decimals, as they are printed, unless opt.ExactConstants. Every appraiser measures every part equally often, at
// least twice, in any order. Values and tolerance share one unit.
//
// It assumes normal readings and no interaction, and checks neither; ANOVA is the better estimate from the same readings.
//
// Errors: ErrUnbalanced, ErrOneTrial, ErrTooFewParts, ErrBadTolerance, and process.ErrTooFewReadings, ErrNoSpread,
// ErrNotFinite.
//
// Source: AIAG Measurement Systems Analysis manual (method and K seen in secondary sources; worked example from memory,
// recomputed in two languages).
func AverageAndRange(readings []Reading, opt Options) (Study, error) {
	t, err := crossed(readings, opt)
	if err != nil {
		return Study{}, err
	}
	if t.trials < 2 {
		return Study{}, fmt.Errorf("average and range: %w", ErrOneTrial)
	}
	s := t.study(ByRange)
	f := t.ranges()
	s.Range = f
	trials, err := process.ConstantsFor(t.trials)
	if err != nil {
		return Study{}, err
	}
	f.UpperRange = trials.LimitD4 * f.MeanRange
	f.K1 = printed(1/trials.D2, opt)
	if f.K3, err = singleRange(len(t.parts), opt); err != nil {
		return Study{}, err
	}
	repeatability := square(f.MeanRange * f.K1)
	var reproducibility *float64
	if len(t.appraisers) > 1 {
		if f.K2, err = singleRange(len(t.appraisers), opt); err != nil {
			return Study{}, err
		}
		v := square(f.MeanDifference*f.K2) - repeatability/float64(len(t.parts)*t.trials)
		reproducibility = new(s.floor0(v, "reproducibility"))
	}
	s.finish(repeatability, reproducibility, nil, square(f.PartRange*f.K3), opt)
	s.note("The average-and-range method cannot show the interaction of part and appraiser.")
	for a, row := range t.value {
		for p, cell := range row {
			if r := spread(cell); r > f.UpperRange*(1+1e-12) {
				f.RangesAbove = append(f.RangesAbove, Cell{Appraiser: t.appraisers[a], Part: t.parts[p], Range: r})
			}
		}
	}
	return s, nil
}

// study starts a result with what the table shows.
func (t *table) study(m Method) Study {
	s := Study{Method: m, Parts: len(t.parts), Appraisers: len(t.appraisers), Trials: t.trials}
	s.N = s.Parts * s.Appraisers * s.Trials
	if s.Appraisers == 1 {
		s.note("One appraiser: reproducibility and interaction are not measured, so that the gauge figure is repeatability alone.")
	}
	return s
}

// ranges returns means and ranges, without constants.
func (t *table) ranges() *RangeFigures {
	f := &RangeFigures{Appraisers: t.appraisers}
	partSums := make([]float64, len(t.parts))
	var means []float64 // less the shift
	total := 0.0
	for _, row := range t.value {
		sum, ranges := 0.0, 0.0
		for p, cell := range row {
			for _, x := range cell {
				sum += x
				partSums[p] += x
			}
			ranges += spread(cell)
		}
		means = append(means, sum/float64(len(t.parts)*t.trials))
		f.AppraiserRanges = append(f.AppraiserRanges, ranges/float64(len(t.parts)))
		total += ranges
	}
	for _, m := range means {
		f.AppraiserMeans = append(f.AppraiserMeans, t.shift+m)
	}
	f.MeanRange = total / float64(len(t.parts)*len(t.appraisers))
	f.MeanDifference = spread(means)
	f.PartRange = spread(partSums) / float64(len(t.appraisers)*t.trials)
	return f
}

// singleRange returns 1/d₂*, for a standard deviation from one range of n.
func singleRange(n int, opt Options) (float64, error) {
	c, err := process.ConstantsFor(n)
	if err != nil {
		return 0, err
	}
	return printed(1/math.Hypot(c.D2, c.D3), opt), nil
}

// printed rounds a constant to four decimals unless exact ones are asked for.
func printed(k float64, opt Options) float64 {
	if opt.ExactConstants {
		return k
	}
	return math.Round(k*1e4) / 1e4
}

// spread returns largest less smallest.
func spread(values []float64) float64 {
	low, high := values[0], values[0]
	for _, x := range values {
		low, high = min(low, x), max(high, x)
	}
	return high - low
}

func square(x float64) float64 { return x * x }
