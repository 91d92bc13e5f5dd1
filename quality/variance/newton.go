package variance

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

const (
	mostSteps = 300
	// settled ends the search: Newton's error after a step is of the order of the step squared.
	settled = 1e-9
	// nothing is a ratio to the error variance that no data can tell from 0.
	nothing = 1e-12
)

// optimum is where a search ended.
type optimum struct {
	theta []float64
	value float64
	steps int
}

// search returns the lowest of the minima reached from the starting points.
func (f *likelihood) search(starts [][]float64) (optimum, error) {
	best := optimum{value: math.Inf(1)}
	steps := 0
	for _, start := range starts {
		if o, ok := f.descend(start); ok {
			steps += o.steps
			// The two ends of one minimum differ by rounding only; keep the first.
			if o.value < best.value-1e-9*math.Abs(best.value) || best.theta == nil {
				best = o
			}
		}
	}
	if best.theta == nil {
		return best, fmt.Errorf("restricted maximum likelihood, %d steps: %w", mostSteps, ErrNotConverged)
	}
	best.steps = steps
	return best, nil
}

// descend minimises from start by Newton steps, projected on θ >= 0.
func (f *likelihood) descend(start []float64) (optimum, bool) {
	theta := append([]float64(nil), start...)
	here := f.at(theta)
	for step := 1; step <= mostSteps; step++ {
		free := freeParameters(theta, here)
		if len(free) == 0 {
			return optimum{theta, here.v, step}, true
		}
		move, log := direction(theta, here, free)
		next, value, moved := f.walk(theta, here, move, log)
		if !moved {
			// No step improves on rounding.
			return optimum{theta, here.v, step}, true
		}
		change := 0.0
		for i := range theta {
			change = max(change, math.Abs(next[i]-theta[i])/max(theta[i], next[i], nothing/settled))
		}
		theta, here = next, value
		if change < settled {
			return optimum{theta, here.v, step}, true
		}
	}
	return optimum{}, false
}

// freeParameters are those not held at the bound 0: there, a slope within rounding of 0 holds too.
func freeParameters(theta []float64, here dual) []int {
	var free []int
	for i := range theta {
		if theta[i] > 0 || here.d[i] < -nothing {
			free = append(free, i)
		}
	}
	return free
}

// direction returns the step of the free parameters: Newton's in θ where the Hessian is positive definite there, else
// Newton's in log θ, else downhill in log θ.
func direction(theta []float64, here dual, free []int) (move []float64, log bool) {
	if move, ok := newton(theta, here, free, false); ok {
		return move, false
	}
	if move, ok := newton(theta, here, free, true); ok {
		return move, true
	}
	move = make([]float64, len(theta))
	for _, i := range free {
		move[i] = -math.Copysign(1, here.d[i])
	}
	return move, true
}

func newton(theta []float64, here dual, free []int, log bool) (move []float64, ok bool) {
	h := mat.NewSymDense(len(free), nil)
	g := mat.NewVecDense(len(free), nil)
	for r, i := range free {
		slope := here.d[i]
		if log {
			slope *= theta[i]
		}
		g.SetVec(r, -slope)
		for s, j := range free[:r+1] {
			curve := here.dd[i*(i+1)/2+j]
			if log {
				curve *= theta[i] * theta[j]
				if i == j {
					curve += theta[i] * here.d[i]
				}
			}
			h.SetSym(r, s, curve)
		}
	}
	var factor mat.Cholesky
	if !factor.Factorize(h) {
		return nil, false
	}
	var solved mat.VecDense
	if err := factor.SolveVecTo(&solved, g); err != nil {
		return nil, false
	}
	move = make([]float64, len(theta))
	for r, i := range free {
		move[i] = solved.AtVec(r)
	}
	return move, true
}

// walk goes along move, halving it until the value falls. A step so small that the fall drowns in rounding is taken whole.
func (f *likelihood) walk(theta []float64, here dual, move []float64, log bool) (next []float64, value dual, moved bool) {
	for scale := 1.0; scale > 1e-10; scale /= 2 {
		next = stepped(theta, here, move, scale, log)
		expected := 0.0
		for i := range theta {
			expected += here.d[i] * (next[i] - theta[i])
		}
		value = f.at(next)
		rounding := 1e-13 * (1 + math.Abs(here.v))
		if value.v <= here.v+1e-4*expected || math.Abs(expected) < 1e3*rounding && value.v <= here.v+1e2*rounding {
			return next, value, true
		}
	}
	return nil, here, false
}

// stepped returns θ after a step. In log θ a step is at most a factor of e², a parameter at 0 first leaves it, and one
// that has become small on the way down is put there; walk sees whether that is lower.
func stepped(theta []float64, here dual, move []float64, scale float64, log bool) []float64 {
	next := make([]float64, len(theta))
	for i := range theta {
		switch {
		case move[i] == 0:
			next[i] = theta[i]
		case !log:
			if next[i] = theta[i] + scale*move[i]; next[i] < nothing {
				next[i] = 0
			}
		case theta[i] == 0:
			next[i] = 1e-4 * scale
		case theta[i] < 1e-4 && here.d[i] > 0:
			next[i] = 0
		default:
			next[i] = theta[i] * math.Exp(max(-2, min(2, scale*move[i])))
		}
	}
	return next
}
