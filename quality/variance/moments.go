package variance

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Moments returns the components of variance of values nested in factors, outermost first, by the method of moments on
// the sequential (type I) analysis of variance, also known as Henderson's method 1:
//
//	SSᵢ = Σ n_g (ȳ_g - ȳ_p)²      over the nodes g of factor i, p the node of factor i-1 around g
//	E(MSᵢ) = σ² + Σⱼ≥ᵢ cᵢⱼ σ²ⱼ,    cᵢⱼ = [Σ_g Σ_h n_h²/n_g - Σ_p Σ_h n_h²/n_p] / dfᵢ
//
// h are the nodes of factor j in g and in p. The triangular equations MSᵢ = E(MSᵢ) are solved from the inside out with
// the estimates as they fall, negative ones too; these are then reported as 0, kept in Raw, and named in Notes. Each
// factor has one label per reading; a factor whose innermost levels hold one reading each is the error itself, and is
// left out with a note. Values are in any unit, variances in its square. Nothing is changed.
//
// The model is y = μ + a + b(a) + … + e with independent effects of equal variance at each level; the estimates
// need no normality, the p-values in Anova do. Neither is checked.
//
// Errors: ErrShape, ErrOneLevel, ErrConfounded, and process.ErrTooFewReadings (below 3), ErrNoSpread, ErrNotFinite.
//
// Source: Searle, Casella and McCulloch 1992, chapter 5 (from memory, unverified); NIST/SEMATECH e-Handbook 3.2.3.3 for
// the balanced case (seen); values recomputed in two languages.
func Moments(values []float64, factors ...Factor) (Result, error) {
	t, err := grow(values, factors)
	if err != nil {
		return Result{}, err
	}
	rows := t.anova()
	raw := make([]float64, len(rows))
	for i := len(rows) - 1; i >= 0; i-- {
		left := rows[i].MS
		for j := i + 1; j < len(rows); j++ {
			left -= rows[i].EMS[j] * raw[j]
		}
		raw[i] = left / rows[i].EMS[i]
	}
	r := t.result(ByMoments, rows, raw)
	r.Mean = t.shift + t.levels[0].mean[0]
	for _, c := range r.Components {
		if c.AtZero {
			r.Notes = append(r.Notes, fmt.Sprintf("The estimate for %s was negative (%.4g); it is reported as 0.", c.Factor, c.Raw))
		}
	}
	return r, nil
}

// result fills what both methods share.
func (t *tree) result(method Method, rows []Row, raw []float64) Result {
	r := Result{Method: method, N: int(t.readings()), Anova: rows, Balanced: t.balanced(), Notes: t.notes}
	for i, row := range rows {
		variance := max(0, raw[i])
		r.Total += variance
		r.Components = append(r.Components, Component{
			Factor: row.Factor, Variance: variance, Raw: raw[i], SD: math.Sqrt(variance), AtZero: raw[i] < 0,
		})
	}
	if r.Total > 0 {
		for i := range r.Components {
			r.Components[i].Percent = new(100 * r.Components[i].Variance / r.Total)
		}
	}
	return r
}

// anova returns the sequential table with expected mean squares.
func (t *tree) anova() []Row {
	depth := len(t.levels)
	rows := make([]Row, depth)
	for i := range t.names {
		l := t.levels[i+1]
		rows[i] = Row{Factor: t.names[i], Levels: len(l.n), DF: len(l.n) - len(t.levels[i].n), SS: t.between(i + 1)}
	}
	n := int(t.readings())
	rows[depth-1] = Row{Factor: ErrorFactor, Levels: n, DF: n - len(t.levels[depth-1].n), SS: t.within}
	q := t.shares()
	for i := range rows {
		df := float64(rows[i].DF)
		rows[i].MS = rows[i].SS / df
		rows[i].EMS = make([]float64, depth)
		for j := i; j < depth-1; j++ {
			rows[i].EMS[j] = (q[i+1][j+1] - q[i][j+1]) / df
		}
		rows[i].EMS[depth-1] = 1
	}
	for i := range depth - 1 {
		rows[i].test(rows[i+1])
	}
	return rows
}

// shares returns q[i][j] = Σ over the nodes h of level j of n_h²/n_g, g the node of level i around h.
func (t *tree) shares() [][]float64 {
	depth := len(t.levels)
	q := make([][]float64, depth)
	for i := range q {
		q[i] = make([]float64, depth)
	}
	for j := depth - 1; j > 0; j-- {
		squares := make([]float64, len(t.levels[j].n))
		for h, n := range t.levels[j].n {
			squares[h] = n * n
		}
		for i := j; ; i-- {
			var total sum
			for g, s := range squares {
				total.add(s / t.levels[i].n[g])
			}
			q[i][j] = total.value()
			if i == 0 {
				break
			}
			outer := make([]float64, len(t.levels[i-1].n))
			for g, s := range squares {
				outer[t.levels[i].parent[g]] += s
			}
			squares = outer
		}
	}
	return q
}

// test sets F and P of a row against the next row inside, if that is an exact test.
func (r *Row) test(inner Row) {
	for j := range r.EMS {
		if inner.EMS[j] != 0 && math.Abs(r.EMS[j]-inner.EMS[j]) > 1e-9*inner.EMS[j] {
			return
		}
	}
	if inner.MS > 0 {
		r.F = new(r.MS / inner.MS)
		r.P = new(distuv.F{D1: float64(r.DF), D2: float64(inner.DF)}.Survival(*r.F))
	}
}
