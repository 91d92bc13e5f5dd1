package gauge

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"coatbook/quality/process"

	"gonum.org/v1/gonum/stat/distuv"
)

// ErrOneCategory means that every rating is the same, so that agreement beyond chance is not defined.
var ErrOneCategory = errors.New("all ratings are the same")

// Kappa is agreement between raters beyond chance: 1 is full agreement, 0 what chance alone would give, below 0 worse.
type Kappa struct {
	Value              float64
	Observed, Expected float64 // shares of agreeing ratings, seen and by chance
	Items, Raters      int
	// SE is the standard error of Value for an interval (Cohen only, else nil). NullSE is that under chance agreement,
	// Z = Value/NullSE, and P the upper tail of Z: the probability of such a kappa by chance.
	SE           *float64
	NullSE, Z, P *float64
	// Categories holds the kappa of each category against all others together, by name (Fleiss only).
	Categories []CategoryKappa
}

// CategoryKappa is agreement on one category. Share is the part of all ratings in it. Value is nil for a category that
// took every rating or none.
type CategoryKappa struct {
	Category string
	Share    float64
	Value    *float64
}

// Cohen returns the agreement of two raters on the same items, a[i] and b[i] the category that each gave item i:
//
//	κ = (p_o - p_e)/(1 - p_e),   p_o = Σ p_kk,   p_e = Σ p_k+ p_+k
//
// Categories have no order: a miss by one class counts as much as by five. A category is a word; spelling counts.
//
// It returns ErrShape for lists of different length, process.ErrTooFewReadings for fewer than two items, and
// ErrOneCategory when both gave one and the same category throughout.
//
// Source: Cohen 1960, Educational and Psychological Measurement 20; standard errors Fleiss, Cohen and Everitt 1969,
// Psychological Bulletin 72 (from memory; the interval's checked by the delta method).
func Cohen(a, b []string) (Kappa, error) {
	if len(a) != len(b) {
		return Kappa{}, fmt.Errorf("%d and %d ratings: %w", len(a), len(b), ErrShape)
	}
	if len(a) < 2 {
		return Kappa{}, fmt.Errorf("kappa of %d items: %w", len(a), process.ErrTooFewReadings)
	}
	categories := distinct(a, b)
	p := make([][]float64, len(categories))
	for i := range p {
		p[i] = make([]float64, len(categories))
	}
	for i := range a {
		p[slices.Index(categories, a[i])][slices.Index(categories, b[i])]++
	}
	for i := range p {
		for j := range p {
			p[i][j] /= float64(len(a))
		}
	}
	if len(categories) == 1 {
		return Kappa{}, fmt.Errorf("“%s”: %w", categories[0], ErrOneCategory)
	}
	k := cohen(p, float64(len(a)))
	k.Items = len(a)
	return k, nil
}

// cohen computes from the shares of a square table, n items.
func cohen(p [][]float64, n float64) Kappa {
	rows, columns := margins(p)
	k := Kappa{Raters: 2}
	skew := 0.0
	for i := range p {
		k.Observed += p[i][i]
		k.Expected += rows[i] * columns[i]
		skew += rows[i] * columns[i] * (rows[i] + columns[i])
	}
	rest := 1 - k.Expected
	k.Value = (k.Observed - k.Expected) / rest
	spread := -square(k.Observed*k.Expected - 2*k.Expected + k.Observed)
	for i := range p {
		for j := range p {
			if i == j {
				spread += p[i][i] * square(rest-(rows[i]+columns[i])*(1-k.Observed))
			} else {
				spread += square(1-k.Observed) * p[i][j] * square(columns[i]+rows[j])
			}
		}
	}
	k.SE = new(math.Sqrt(max(0, spread)/n) / (rest * rest))
	k.test(math.Sqrt(max(0, k.Expected+k.Expected*k.Expected-skew)/n) / rest)
	return k
}

func margins(p [][]float64) (rows, columns []float64) {
	rows, columns = make([]float64, len(p)), make([]float64, len(p))
	for i := range p {
		for j, share := range p[i] {
			rows[i] += share
			columns[j] += share
		}
	}
	return rows, columns
}

// test sets the test against chance, if the standard error is not 0.
func (k *Kappa) test(nullSE float64) {
	// Below this the standard error is a difference of equal numbers: one rater used a single category.
	if nullSE > 1e-7 {
		k.NullSE = &nullSE
		k.Z = new(k.Value / nullSE)
		k.P = new(distuv.UnitNormal.Survival(*k.Z))
	}
}

// Fleiss returns the agreement of several raters, ratings[i] the categories given to item i in any order and by any raters,
// equally many for each item:
//
//	κ = (P̄ - P̄e)/(1 - P̄e),   P̄ = mean over items of Σ n_k(n_k-1)/(m(m-1)),   P̄e = Σ p_k²
//
// m ratings an item, p_k the share of category k in all ratings. With two raters it is Scott's pi and not Cohen's kappa.
//
// It returns ErrShape for items with different or fewer than two ratings, process.ErrTooFewReadings for fewer than two
// items, ErrOneCategory.
//
// Source: Fleiss 1971, Psychological Bulletin 76; standard error under chance Fleiss, Nee and Landis 1979 (from memory;
// the 1971 example is reproduced).
func Fleiss(ratings [][]string) (Kappa, error) {
	if len(ratings) < 2 {
		return Kappa{}, fmt.Errorf("kappa of %d items: %w", len(ratings), process.ErrTooFewReadings)
	}
	m := len(ratings[0])
	for i, item := range ratings {
		if len(item) != m || m < 2 {
			return Kappa{}, fmt.Errorf("item %d has %d ratings, item 1 has %d; two or more are needed: %w", i+1, len(item), m, ErrShape)
		}
	}
	categories := distinct(ratings...)
	if len(categories) == 1 {
		return Kappa{}, fmt.Errorf("“%s”: %w", categories[0], ErrOneCategory)
	}
	items, raters := float64(len(ratings)), float64(m)
	total := make([]float64, len(categories))
	split := make([]float64, len(categories)) // Σ n_k(m-n_k)
	for _, item := range ratings {
		count := make([]float64, len(categories))
		for _, category := range item {
			count[slices.Index(categories, category)]++
		}
		for c, n := range count {
			total[c] += n
			split[c] += n * (raters - n)
		}
	}
	k := Kappa{Items: len(ratings), Raters: m}
	disagree, chance, lean := 0.0, 0.0, 0.0
	for c, category := range categories {
		p := total[c] / (items * raters)
		q := 1 - p
		k.Expected += p * p
		chance += p * q
		lean += p * q * (q - p)
		disagree += split[c] / (items * raters * (raters - 1))
		own := CategoryKappa{Category: category, Share: p}
		if p > 0 && q > 0 {
			own.Value = new(1 - split[c]/(items*raters*(raters-1)*p*q))
		}
		k.Categories = append(k.Categories, own)
	}
	k.Observed = 1 - disagree
	k.Value = 1 - disagree/chance
	k.test(math.Sqrt(2*max(0, chance*chance-lean)/(items*raters*(raters-1))) / chance)
	return k, nil
}

// distinct returns the categories used, sorted.
func distinct(lists ...[]string) []string {
	var all []string
	for _, list := range lists {
		all = append(all, list...)
	}
	slices.Sort(all)
	return slices.Compact(all)
}
