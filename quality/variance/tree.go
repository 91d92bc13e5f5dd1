package variance

import (
	"fmt"
	"math"

	"coatbook/quality/process"
)

// tree is the nesting of the readings. Level 0 is everything, level i the i-th factor; the nodes of the innermost
// level are the cells, which hold the readings.
type tree struct {
	names  []string // names[i] belongs to levels[i+1]
	levels []level
	within float64 // sum of squares of the readings about their cell means
	shift  float64 // constant subtracted from the readings
	notes  []string
}

// level is all nodes of one level.
type level struct {
	parent []int     // position in the level above
	n      []float64 // readings below the node
	mean   []float64 // their mean, less shift
}

// grow checks the shape and builds the tree of values under factors, outermost first.
func grow(values []float64, factors []Factor) (*tree, error) {
	if err := checkShape(values, factors); err != nil {
		return nil, err
	}
	t := &tree{levels: []level{{parent: []int{0}}}}
	cell := make([]int, len(values)) // the node of each reading, level by level inwards
	for i, f := range factors {
		outer := len(t.levels[i].parent)
		inner, parent := nest(cell, f.Labels)
		if i > 0 && i == len(factors)-1 && len(parent) == len(values) {
			t.notes = append(t.notes, fmt.Sprintf("Each %s holds one reading, so that its variation is the error.", f.Name))
			break
		}
		switch {
		case i == 0 && len(parent) == 1:
			return nil, fmt.Errorf("%s is “%s” throughout: %w", f.Name, f.Labels[0], ErrOneLevel)
		case len(parent) == outer:
			return nil, fmt.Errorf("each %s has one %s: %w", factors[i-1].Name, f.Name, ErrConfounded)
		case len(parent) == len(values):
			return nil, fmt.Errorf("each %s has one reading: %w", f.Name, ErrConfounded)
		}
		t.names = append(t.names, f.Name)
		t.levels = append(t.levels, level{parent: parent})
		cell = inner
	}
	t.measure(values, cell)
	if !(t.total() > 0) {
		return nil, fmt.Errorf("%d readings: %w", len(values), process.ErrNoSpread)
	}
	return t, nil
}

func checkShape(values []float64, factors []Factor) error {
	if len(factors) == 0 {
		return fmt.Errorf("no factor: %w", ErrShape)
	}
	for _, f := range factors {
		if len(f.Labels) != len(values) {
			return fmt.Errorf("%s has %d labels for %d readings: %w", f.Name, len(f.Labels), len(values), ErrShape)
		}
	}
	if len(values) < 3 {
		return fmt.Errorf("components of variance from %d: %w", len(values), process.ErrTooFewReadings)
	}
	for i, x := range values {
		if !(math.Abs(x) <= 1e140) {
			return fmt.Errorf("reading %d is %v: %w", i+1, x, process.ErrNotFinite)
		}
	}
	return nil
}

// nest numbers the pairs of node and label in order of appearance. It returns the number of each reading, and for each
// number the node that it lies in.
func nest(node []int, labels []string) (inner, parent []int) {
	type key struct {
		node  int
		label string
	}
	seen := map[key]int{}
	inner = make([]int, len(node))
	for i := range node {
		k := key{node[i], labels[i]}
		number, ok := seen[k]
		if !ok {
			number = len(parent)
			seen[k] = number
			parent = append(parent, node[i])
		}
		inner[i] = number
	}
	return inner, parent
}

// measure fills sizes and means from the cells outwards, then the sum of squares inside the cells about their means.
func (t *tree) measure(values []float64, cell []int) {
	centered, shift := Centered(values)
	t.shift = shift
	last := len(t.levels) - 1
	sums := make([]sum, len(t.levels[last].parent))
	n := make([]float64, len(sums))
	for i, x := range centered {
		sums[cell[i]].add(x)
		n[cell[i]]++
	}
	for i := last; i >= 0; i-- {
		l := &t.levels[i]
		l.n, l.mean = n, make([]float64, len(n))
		for g := range l.mean {
			l.mean[g] = sums[g].value() / n[g]
		}
		if i == 0 {
			break
		}
		outer := make([]sum, len(t.levels[i-1].parent))
		n = make([]float64, len(outer))
		for g, p := range l.parent {
			outer[p].add(sums[g].total)
			outer[p].add(sums[g].lost)
			n[p] += l.n[g]
		}
		sums = outer
	}
	var within sum
	for i, x := range centered {
		d := x - t.levels[last].mean[cell[i]]
		within.add(d * d)
	}
	t.within = within.value()
}

// between is the sum of squares of the nodes of level i (1 or more) about the means of their parents.
func (t *tree) between(i int) float64 {
	l, outer := t.levels[i], t.levels[i-1]
	var squares sum
	for g, p := range l.parent {
		d := l.mean[g] - outer.mean[p]
		squares.add(l.n[g] * d * d)
	}
	return squares.value()
}

// total is the sum of squares of all readings about their mean.
func (t *tree) total() float64 {
	squares := t.within
	for i := 1; i < len(t.levels); i++ {
		squares += t.between(i)
	}
	return squares
}

// readings is their number.
func (t *tree) readings() float64 { return t.levels[0].n[0] }

// balanced says whether each level's nodes hold equally many readings. With all nodes of each level equally large they
// also hold equally many nodes of the next.
func (t *tree) balanced() bool {
	for _, l := range t.levels {
		for _, n := range l.n {
			if n != l.n[0] {
				return false
			}
		}
	}
	return true
}
