package process

import (
	"fmt"
	"math"
)

// PChart returns the chart of the share of defective parts in samples of sizes n, which may differ:
//
//	pᵢ = defectiveᵢ/nᵢ     p̄ ± 3√(p̄(1-p̄)/nᵢ), within 0 to 1     p̄ = Σdefective/Σn
//
// p̄ is not the mean of the shares, which would give a small sample the weight of a large one. opt.Target or opt.Limits give
// another centre line; opt.Sigma is not used, since the spread follows from the centre. A lower limit of 0 never signals.
//
// The chart assumes independent parts of one chance: where the share varies from rack to rack by more than that, nearly
// every point signals, and Individuals of the shares is the chart. The slices are not changed.
//
// It returns ErrTooFewSubgroups for no sample, ErrBadCount for slices of different length, a negative count, an empty
// sample or more defective parts than parts; ErrNoSpread where no part or every part was defective; ErrBadLimits for a
// centre line outside 0 to 1; ErrBadSpan and ErrUnknownRule.
//
// Source: NIST/SEMATECH e-Handbook 6.3.3.2 (data seen, limits from memory; values recomputed in two languages).
func PChart(defective, sizes []int, opt ChartOptions) (Chart, error) {
	return shareChart(KindP, defective, sizes, opt)
}

// NPChart returns the chart of the number of defective parts, as PChart does for their share:
//
//	defectiveᵢ     nᵢp̄ ± 3√(nᵢp̄(1-p̄)), within 0 to nᵢ
//
// With unequal sizes the centre line moves too; PChart is then easier to read. Limits.Center is the share p̄, and
// opt.Target gives a share. Errors are those of PChart.
func NPChart(defective, sizes []int, opt ChartOptions) (Chart, error) {
	return shareChart(KindNP, defective, sizes, opt)
}

func shareChart(kind Kind, defective, sizes []int, opt ChartOptions) (Chart, error) {
	of := make([]float64, len(sizes))
	for i, n := range sizes {
		of[i] = float64(n)
		if i < len(defective) && (n < 1 || defective[i] > n) {
			return Chart{}, fmt.Errorf("%s chart: sample %d: %d of %d: %w", kind, i+1, defective[i], n, ErrBadCount)
		}
	}
	return countChart(kind, defective, of, opt, func(center, n float64) line {
		variance := center * (1 - center)
		if kind == KindNP {
			return line{center: n * center, sigma: math.Sqrt(n * variance), floor: true, ceiling: n}
		}
		return line{center: center, sigma: math.Sqrt(variance / n), floor: true, ceiling: 1}
	})
}

// CChart returns the chart of defects counted on samples of one size: c̄ ± 3√c̄, not below 0. opt, assumption and errors
// are as for PChart, with defects that fall at random.
//
// Source: NIST/SEMATECH e-Handbook 6.3.3.1 (data seen, limits from memory; values recomputed in two languages).
func CChart(defects []int, opt ChartOptions) (Chart, error) {
	one := make([]float64, len(defects))
	for i := range one {
		one[i] = 1
	}
	return countChart(KindC, defects, one, opt, poissonLine)
}

// UChart returns the chart of defects for each unit, from defects counted on samples of so many units: square metres,
// metres of weld, parts. The sizes are above 0, may differ and need not be whole:
//
//	uᵢ = defectsᵢ/sizeᵢ     ū ± 3√(ū/sizeᵢ), not below 0     ū = Σdefects/Σsize
//
// opt, assumption and errors are as for CChart.
func UChart(defects []int, sizes []float64, opt ChartOptions) (Chart, error) {
	return countChart(KindU, defects, sizes, opt, poissonLine)
}

func poissonLine(center, n float64) line {
	return line{center: center, sigma: math.Sqrt(center / n), floor: true}
}

// countChart draws counts on samples of given sizes; lineOf gives the line of a sample from the centre.
func countChart(kind Kind, counts []int, sizes []float64, opt ChartOptions, lineOf func(center, n float64) line) (Chart, error) {
	if len(counts) != len(sizes) {
		return Chart{}, fmt.Errorf("%s chart: %d counts, %d sizes: %w", kind, len(counts), len(sizes), ErrBadCount)
	}
	for i, n := range sizes {
		if counts[i] < 0 || !(n > 0) || !ordinary(n) {
			return Chart{}, fmt.Errorf("%s chart: sample %d: %d on %g: %w", kind, i+1, counts[i], n, ErrBadCount)
		}
	}
	return byPhase(len(counts), opt, func(stretch Span, opt ChartOptions) (Chart, error) {
		counts, sizes := counts[stretch.From:stretch.To], sizes[stretch.From:stretch.To]
		center, err := rate(kind, counts, sizes, opt)
		if err != nil {
			return Chart{}, fmt.Errorf("%s chart: %w", kind, err)
		}
		c := Chart{
			Kind: kind, Limits: Limits{Center: center}, Frozen: opt.Limits != nil || opt.Base != nil || opt.Target != nil,
		}
		c.Panel, err = panel(len(counts), func(i int) line {
			l := lineOf(center, sizes[i])
			l.at, l.point = i, float64(counts[i])
			if kind == KindP || kind == KindU {
				l.point /= sizes[i]
			}
			return l
		}, opt.Rules)
		if err != nil {
			return Chart{}, fmt.Errorf("%s chart: %w", kind, err)
		}
		return c, nil
	})
}

// rate is the centre line of counts: the given one, or that of the counts.
func rate(kind Kind, counts []int, sizes []float64, opt ChartOptions) (float64, error) {
	if len(counts) == 0 {
		return 0, ErrTooFewSubgroups
	}
	var center float64
	switch {
	case opt.Limits != nil:
		center = opt.Limits.Center
	case opt.Target != nil:
		center = *opt.Target
	default:
		var total, of float64
		for i, n := range sizes {
			total += float64(counts[i])
			of += n
		}
		center = total / of
		if total == 0 || (kind == KindP || kind == KindNP) && total == of {
			return 0, ErrNoSpread
		}
	}
	share := kind == KindP || kind == KindNP
	if !(center > 0) || !ordinary(center) || share && !(center < 1) {
		return 0, fmt.Errorf("centre line %g: %w", center, ErrBadLimits)
	}
	return center, nil
}
