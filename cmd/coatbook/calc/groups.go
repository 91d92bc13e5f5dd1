package calc

import (
	"errors"
	"strings"

	"coatbook/quality/process"
)

// grouped is a column of values with the labels of other columns beside it. Labels are kept once each, and a number per row.
type grouped struct {
	table  *table
	values []float64
	labels [][]int32  // by column, then by row: index into names
	names  [][]string // by column, in order of first appearance
}

// group reads the --value column and the columns that name what each value belongs to.
func (c *call) group(columns ...string) (*grouped, error) {
	if err := c.need("value"); err != nil {
		return nil, err
	}
	t, err := c.open()
	if err != nil {
		return nil, err
	}
	value, err := t.column(c.text("value"))
	if err != nil {
		return nil, err
	}
	at, err := t.columns(columns...)
	if err != nil {
		return nil, err
	}
	g := &grouped{table: t, labels: make([][]int32, len(at)), names: make([][]string, len(at))}
	known := make([]map[string]int32, len(at))
	for i := range known {
		known[i] = map[string]int32{}
	}
	return g, t.each(func() error {
		if err := t.hold(); err != nil {
			return err
		}
		v, err := t.number(value)
		if err != nil {
			return err
		}
		g.values = append(g.values, v)
		for i, column := range at {
			name, err := t.label(column)
			if err != nil {
				return err
			}
			index, seen := known[i][name]
			if !seen {
				name = strings.Clone(name) // the record is used again for the next row
				index = int32(len(g.names[i]))
				known[i][name] = index
				g.names[i] = append(g.names[i], name)
			}
			g.labels[i] = append(g.labels[i], index)
		}
		return nil
	})
}

// column returns the label of every row in one of the columns.
func (g *grouped) column(i int) []string {
	out := make([]string, len(g.labels[i]))
	for row, index := range g.labels[i] {
		out[row] = g.names[i][index]
	}
	return out
}

// subgroups returns the summaries of the values by the first column, in order of first appearance.
func (g *grouped) subgroups() ([]process.Summary, error) {
	parts := make([][]float64, len(g.names[0]))
	for row, index := range g.labels[0] {
		parts[index] = append(parts[index], g.values[row])
	}
	out := make([]process.Summary, len(parts))
	for i, part := range parts {
		s, err := process.Summarize(part)
		if err != nil {
			return nil, err
		}
		out[i] = s
	}
	return out, nil
}

// equal returns the value that all values have, if they do.
func equal(values []float64) (float64, bool) {
	for _, v := range values {
		if v != values[0] {
			return 0, false
		}
	}
	return values[0], len(values) > 1
}

// spreadless turns what has no spread, or too few values, into one sentence that says which.
func (t *table) spreadless(err error, values []float64, column string) error {
	if v, same := equal(values); same && errors.Is(err, process.ErrNoSpread) {
		return refuse("%s: all %d values are %s, so nothing can be measured by their spread", t.where(column), len(values), rounded(v))
	}
	if len(values) == 1 && (errors.Is(err, process.ErrTooFewReadings) || errors.Is(err, process.ErrTooFewSubgroups)) {
		return refuse("%s: one value alone has no spread", t.where(column))
	}
	return t.in(err, column)
}
