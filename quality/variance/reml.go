package variance

import (
	"fmt"
	"math"

	"coatbook/quality/process"
)

// REML returns the components of variance of values nested in factors, outermost first, by restricted maximum
// likelihood: the values that minimise
//
//	log|V| + log|1'V⁻¹1| + (y-m)'V⁻¹(y-m)
//
// with V the covariance of the readings, m the generalized least squares mean, and no component below 0. A component whose
// minimum lies at the bound is 0 and named in Notes. The same numbers as Moments come out of balanced data without
// negative estimates. Shapes, units, labels and the Anova table are as for Moments.
//
// The likelihood of a nested model is a recursion over the nodes, so that one evaluation with all first and second
// derivatives takes time in proportion to the number of cells; a hundred thousand readings in four levels take a
// fraction of a second. The search is Newton's method on the ratios to the error variance, confined to 0 and above, from
// two starting points, and ends when no ratio moves by more than 1e-9 of itself.
//
// It assumes independent normal effects of equal variance at each level and checks none of this.
//
// Errors: as for Moments; process.ErrNoSpread also when the readings inside each cell are all equal, because the
// likelihood then has no maximum; ErrNotConverged.
//
// Source: Patterson and Thompson 1971, Biometrika 58; Searle, Casella and McCulloch 1992, chapter 6 (from memory,
// unverified). Values compared with an independent mixed-model program to its 1e-4.
func REML(values []float64, factors ...Factor) (Result, error) {
	t, err := grow(values, factors)
	if err != nil {
		return Result{}, err
	}
	if t.within <= 1e-26*t.total() {
		return Result{}, fmt.Errorf("the readings inside each %s are equal: %w", t.names[len(t.names)-1], process.ErrNoSpread)
	}
	f := newLikelihood(t)
	rows := t.anova()
	best, err := f.search(starts(rows))
	if err != nil {
		return Result{}, err
	}
	c := f.at(best.theta)
	df := t.readings() - 1
	noise := f.q.v / df
	raw := make([]float64, len(rows))
	for i := range raw {
		raw[i] = noise
		if i < len(best.theta) {
			raw[i] = noise * best.theta[len(best.theta)-1-i]
		}
	}
	r := t.result(ByREML, rows, raw)
	r.Mean = t.shift + f.blocks[0].m[0].v
	r.Criterion = new(c.v + df*(1+math.Log(2*math.Pi/df)))
	r.Iterations = best.steps
	for i := range r.Components {
		if part := &r.Components[i]; part.Variance == 0 {
			part.AtZero = true
			r.Notes = append(r.Notes, fmt.Sprintf("The estimate for %s is 0, the least a variance can be.", part.Factor))
		}
	}
	return r, nil
}

// starts returns ratios to begin from, parameter 0 innermost: those of the moments, and all equal.
func starts(rows []Row) [][]float64 {
	params := len(rows) - 1
	noise := rows[params].MS
	moments, equal := make([]float64, params), make([]float64, params)
	inner := noise
	for i := params - 1; i >= 0; i-- {
		moments[params-1-i] = max(0, (rows[i].MS-inner)/(rows[i].EMS[i]*noise))
		equal[params-1-i] = 1
		inner = rows[i].MS
	}
	return [][]float64{moments, equal}
}
