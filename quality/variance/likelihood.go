package variance

import "math"

// likelihood is the restricted likelihood of a nested model as a function of the ratios θ of each factor's variance to
// the error variance, with first and second derivatives, in one pass over the nodes.
//
// The covariance of the readings below a node, over σ², is the block diagonal of its children's plus θ·11' of the node's own
// effect. Three numbers carry all that is needed of a block V: a = 1'V⁻¹1, the mean m = 1'V⁻¹y/a, and
// q = (y-m)'V⁻¹(y-m). Blocks side by side add a, average m with weights a, and add q + Σa(mᵢ-m)². An effect
// on top of a block changes (Sherman and Morrison) only a, to a/(1+θa), and multiplies the determinant by 1+θa.
//
// Parameter 0 is the innermost factor, so that a node depends on the first few parameters only.
type likelihood struct {
	t      *tree
	blocks []blocks // one for each level of the tree
	q, l   dual     // quadratic form and log determinant
}

// blocks are a and m of every node of a level.
type blocks struct {
	active int // parameters that a and m depend on, the node's own effect not counted
	a, m   []dual
}

// dual is a value with its gradient, and its Hessian as packed lower rows: (r,s) at r(r+1)/2+s, s <= r.
type dual struct {
	v    float64
	d    []float64
	dd   []float64
	room []float64
}

func newDual(params int) dual {
	room := make([]float64, params+params*(params+1)/2)
	return dual{d: room[:params], dd: room[params:], room: room}
}

// clear sets the value and derivatives to 0.
func (x *dual) clear() {
	x.v = 0
	clear(x.room)
}

func newLikelihood(t *tree) *likelihood {
	depth := len(t.levels)
	f := &likelihood{t: t, blocks: make([]blocks, depth), q: newDual(depth - 1), l: newDual(depth - 1)}
	for i := range f.blocks {
		nodes := len(t.levels[i].n)
		active := depth - 1 - i
		// The block's a keeps room for the derivative by its own effect, which is added in place.
		b := blocks{active: active, a: duals(nodes, min(active+1, depth-1)), m: duals(nodes, active)}
		f.blocks[i] = b
	}
	return f
}

// duals returns many duals in one piece of memory.
func duals(count, params int) []dual {
	size := params + params*(params+1)/2
	room := make([]float64, count*size)
	all := make([]dual, count)
	for i := range all {
		own := room[i*size : (i+1)*size : (i+1)*size]
		all[i] = dual{d: own[:params], dd: own[params:], room: own}
	}
	return all
}

// at computes everything at θ, parameter 0 innermost. It returns the criterion less its constants,
// (N-1)·log q + log|V| + log a, with gradient and Hessian.
func (f *likelihood) at(theta []float64) dual {
	last := len(f.blocks) - 1
	f.q.clear()
	f.l.clear()
	f.q.v = f.t.within
	cells := f.t.levels[last]
	for g := range cells.n {
		a, m := &f.blocks[last].a[g], &f.blocks[last].m[g]
		a.clear()
		a.v, m.v = cells.n[g], cells.mean[g]
	}
	for i := last; i > 0; i-- {
		b := &f.blocks[i]
		for g := range b.a {
			f.effect(&b.a[g], b.active, theta[b.active])
		}
		f.join(i)
	}
	return f.profile()
}

// effect puts a random effect with ratio theta, parameter r, on top of a block.
func (f *likelihood) effect(a *dual, r int, theta float64) {
	u := 1 + theta*a.v
	f.l.v += math.Log1p(theta * a.v)
	inv := 1 / u
	byA, byT := inv*inv, -(a.v*inv)*(a.v*inv)
	aa, at, tt := -2*theta*inv*inv*inv, -2*a.v*inv*inv*inv, 2*(a.v*inv)*(a.v*inv)*(a.v*inv)
	lA, lT := theta*inv, a.v*inv
	row := r * (r + 1) / 2
	k := 0
	for s := range r {
		f.l.d[s] += lA * a.d[s]
		f.l.dd[row+s] += inv * inv * a.d[s]
		a.dd[row+s] = at * a.d[s]
		for t := range s + 1 {
			product := a.d[s] * a.d[t]
			f.l.dd[k] += lA*a.dd[k] - lA*lA*product
			a.dd[k] = byA*a.dd[k] + aa*product
			k++
		}
	}
	for s := range r {
		a.d[s] *= byA
	}
	f.l.d[r] += lT
	f.l.dd[row+r] -= lT * lT
	a.d[r], a.dd[row+r] = byT, tt
	a.v *= inv
}

// join adds the blocks of level i into their parents, and what their means differ by into q.
func (f *likelihood) join(i int) {
	inner, outer := &f.blocks[i], &f.blocks[i-1]
	parent := f.t.levels[i].parent
	for p := range outer.a {
		outer.a[p].clear()
		outer.m[p].clear()
	}
	for g, p := range parent {
		a, up := &inner.a[g], &outer.a[p]
		up.v += a.v
		for k, x := range a.room[:len(a.d)] {
			up.d[k] += x
		}
		for k, x := range a.dd {
			up.dd[k] += x
		}
		outer.m[p].v += a.v * inner.m[g].v
	}
	for p := range outer.m {
		outer.m[p].v /= outer.a[p].v
	}
	f.first(inner, outer, parent)
	f.second(inner, outer, parent)
}

// first adds the gradient of m, from Σa(mᵢ-m) = 0, and q with its gradient.
func (f *likelihood) first(inner, outer *blocks, parent []int) {
	own := inner.active + 1
	for g, p := range parent {
		a, m, up := &inner.a[g], &inner.m[g], &outer.m[p]
		delta := m.v - up.v
		f.q.v += a.v * delta * delta
		for s := range own {
			up.d[s] += a.d[s] * delta
			f.q.d[s] += a.d[s] * delta * delta
		}
		for s := range inner.active {
			up.d[s] += a.v * m.d[s]
			f.q.d[s] += 2 * a.v * delta * m.d[s]
		}
	}
	for p := range outer.m {
		for s := range own {
			outer.m[p].d[s] /= outer.a[p].v
		}
	}
}

// second adds the Hessians of m and q.
func (f *likelihood) second(inner, outer *blocks, parent []int) {
	own := inner.active + 1
	slope := make([]float64, own) // gradient of mᵢ-m
	for g, p := range parent {
		a, m, up := &inner.a[g], &inner.m[g], &outer.m[p]
		delta := m.v - up.v
		for s := range own {
			slope[s] = -up.d[s]
			if s < inner.active {
				slope[s] += m.d[s]
			}
		}
		k := 0
		for s := range own {
			for t := range s + 1 {
				mixed := a.d[s]*slope[t] + a.d[t]*slope[s]
				up.dd[k] += a.dd[k]*delta + mixed
				f.q.dd[k] += a.dd[k]*delta*delta + 2*delta*mixed + 2*a.v*slope[s]*slope[t]
				if s < inner.active {
					up.dd[k] += a.v * m.dd[k]
					f.q.dd[k] += 2 * a.v * delta * m.dd[k]
				}
				k++
			}
		}
	}
	for p := range outer.m {
		for k := range own * (own + 1) / 2 {
			outer.m[p].dd[k] /= outer.a[p].v
		}
	}
}

// profile puts q, log|V| and a of the whole together, σ² at its best q/(N-1).
func (f *likelihood) profile() dual {
	params := len(f.blocks) - 1
	whole := f.blocks[0].a[0]
	df := f.t.readings() - 1
	c := newDual(params)
	c.v = df*math.Log(f.q.v) + f.l.v + math.Log(whole.v)
	k := 0
	for s := range params {
		qs, as := f.q.d[s]/f.q.v, whole.d[s]/whole.v
		c.d[s] = df*qs + f.l.d[s] + as
		for t := range s + 1 {
			qt, at := f.q.d[t]/f.q.v, whole.d[t]/whole.v
			c.dd[k] = df*(f.q.dd[k]/f.q.v-qs*qt) + f.l.dd[k] + whole.dd[k]/whole.v - as*at
			k++
		}
	}
	return c
}
