package calc

import (
	"strings"

	"coatbook/quality/process"
)

var proportionCommand = command{
	name: "proportion", summary: "a share with its intervals", usage: "--count X --of N [--confidence G] [--json]", run: proportion,
	flags: []flagDef{{"count", "X", "how many had it"}, {"of", "N", "of how many"}, levelFlag, jsonFlag},
	notes: []string{
		"wilson is the score interval without continuity correction; clopper_pearson is exact, never less sure than it says.",
		"clopper_pearson_upper is the exact one-sided upper bound.",
	},
	example: "--count 81 --of 263 --confidence 0.95",
}

func proportion(c *call) (*result, error) {
	if err := c.need("count", "of"); err != nil {
		return nil, err
	}
	count, err := c.whole("count")
	if err != nil {
		return nil, err
	}
	of, err := c.whole("of")
	if err != nil {
		return nil, err
	}
	confidence, err := c.confidence()
	switch {
	case err != nil:
		return nil, err
	case of == 0:
		return nil, refuse("--of is 0; there is no share of nothing")
	case count > of:
		return nil, refuse("--count %d is more than --of %d", count, of)
	}
	p, err := process.NewProportion(count, of, confidence)
	if err != nil {
		return nil, err
	}
	upper, err := process.ClopperPearsonUpper(count, of, confidence)
	if err != nil {
		return nil, err
	}
	return &result{values: object{
		{"count", p.Count}, {"of", p.Of}, {"proportion", p.Value}, {"confidence", p.Confidence},
		{"wilson", &p.Wilson}, {"clopper_pearson", &p.Exact}, {"clopper_pearson_upper", upper},
	}}, nil
}

// The columns of a yield file.
const (
	stepColumn, inColumn, failedColumn, recoveredColumn = "step", "units_in", "failed_first_pass", "recovered"
)

var yieldCommand = command{
	name: "yield", summary: "first-pass, final and rolled yield of the steps of a line",
	usage: "[--confidence G] [--json] [FILE|-]", readsFile: true, run: lineYield,
	flags: []flagDef{levelFlag, jsonFlag},
	notes: []string{
		"The file has the columns step, units_in, failed_first_pass and recovered, one row for each step in order. A part that was reworked",
		"and then passed has failed first pass and is recovered. rolled is the product of the first-pass yields; dpu is all first-pass",
		"failures over the units into the first step. A step without units has no yield.",
	},
	input:   "step,units_in,failed_first_pass,recovered\npretreat,480,12,8\npowder,468,20,15\ncure,463,6,0\n",
	example: "",
}

func lineYield(c *call) (*result, error) {
	confidence, err := c.confidence()
	if err != nil {
		return nil, err
	}
	t, err := c.open()
	if err != nil {
		return nil, err
	}
	at, err := t.columns(stepColumn, inColumn, failedColumn, recoveredColumn)
	if err != nil {
		return nil, err
	}
	var steps []process.Step
	err = t.each(func() error {
		if t.rows > 10000 {
			return refuse("%s, line %d: more than 10000 steps", t.name, t.line)
		}
		s, err := t.step(at)
		steps = append(steps, s)
		return err
	})
	if err != nil {
		return nil, err
	}
	y, err := process.LineYield(steps, confidence)
	if err != nil {
		return nil, t.in(err, inColumn, failedColumn, recoveredColumn)
	}
	return yieldResult(y), nil
}

// step reads one row of a yield file.
func (t *table) step(at []int) (s process.Step, err error) {
	name, err := t.label(at[0])
	if err != nil {
		return s, err
	}
	counts := [3]int{}
	for i := range counts {
		if counts[i], err = t.count(at[i+1]); err != nil {
			return s, err
		}
	}
	s = process.Step{Name: strings.Clone(name), In: counts[0], FailedFirstPass: counts[1], Recovered: counts[2]}
	switch {
	case s.FailedFirstPass > s.In:
		return s, refuse("%s: %d failed of %d units", t.at(at[2]), s.FailedFirstPass, s.In)
	case s.Recovered > s.FailedFirstPass:
		return s, refuse("%s: %d recovered of %d that failed", t.at(at[3]), s.Recovered, s.FailedFirstPass)
	}
	return s, nil
}

func yieldResult(y process.Yield) *result {
	r := &result{}
	var names []string
	var first, final []*float64
	var firstIntervals []object
	var rows []object
	for _, s := range y.Steps {
		names = append(names, s.Name)
		var a, b *float64
		var interval *process.Interval
		if s.FirstPass != nil {
			a, b, interval = &s.FirstPass.Value, &s.Final.Value, &s.FirstPass.Exact
		} else {
			r.notes = append(r.notes, "No units went through step “"+s.Name+"”, so it has no yield.")
		}
		first, final = append(first, a), append(final, b)
		firstIntervals = append(firstIntervals, object{{"step", s.Name}, {"clopper_pearson", interval}})
		rows = append(rows, object{{"step", s.Name}, {"units_in", s.In}, {"first_pass", a}, {"interval", interval}, {"final", b}})
	}
	line := object{
		{"rolled", y.Rolled}, {"rolled_interval", y.RolledInterval}, {"rolled_guaranteed", y.RolledGuaranteed},
		{"normalized", y.Normalized}, {"final_rolled", y.Final}, {"dpu", y.FailuresPerUnit},
	}
	r.values = append(object{{"steps", names}, {"first_pass", first}, {"final", final}}, line...)
	r.values = append(r.values, field{"confidence", y.Confidence}, field{"first_pass_intervals", firstIntervals})
	r.text = append(object{{"steps", rows}}, line...)
	if y.Rolled == nil {
		r.notes = append(r.notes, y.Reason)
	}
	if y.FailuresPerUnit == nil {
		r.notes = append(r.notes, "Nothing went into the first step, so there are no defects per unit.")
	}
	r.notes = append(r.notes, "The interval of rolled: "+process.RolledMethod+".")
	return r
}
