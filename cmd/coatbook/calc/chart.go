package calc

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"coatbook/quality/process"
)

var chartCommand = command{
	name: "chart", summary: "control charts with their limits and signals",
	usage:     "--kind KIND --value COL [--by COL] [--size COL] [flags] [FILE|-]",
	readsFile: true, run: controlChart,
	flags: []flagDef{
		{"kind", "KIND", "xbar-r, xbar-s, individuals, between-within, ewma, cusum, p, np, c or u"},
		valueFlag,
		{"by", "COL", "column of the subgroup or part: xbar-r, xbar-s, between-within"},
		{"size", "COL", "column of the sample size: p, np, u"},
		{"target", "X", "centre line to use in place of the mean"},
		{"sigma", "X", "standard deviation of one value, in place of the estimate"},
		{"lambda", "X", "ewma: weight of the newest value, default 0.2"}, {"width", "X", "ewma: width in standard errors, default 3"},
		{"k", "X", "cusum: allowance in data units, default 0.5 sigma"}, {"h", "X", "cusum: decision interval in data units, default 5 sigma"},
		{"head-start", "X", "cusum: where both sums start, in data units, default 0"},
		{"rules", "LIST", "nelson (n1 to n8), zone (we1 to we4), or names with commas between; default n1,n2"},
		svgFlag, jsonFlag,
	},
	notes: []string{
		"Rows are in time order; subgroups stand in the order in which their names first appear. Points are counted from 1. A signal's points",
		"are those of its pattern, and the last completes it; a pattern that goes on signals again. A point on a line is not beyond it.",
		"upper and lower are 3 standard errors from the centre and have one figure for each point. ewma has exact limits, which widen over the",
		"first points; the constant ones are upper_asymptotic and lower_asymptotic. p and u take --target in their own unit, np the share.",
		"cusum gives both sums in high and low, and the signals cusum-high and cusum-low; it has no control limits. Held: 1000000 values.",
	},
	input:   "film\n81.5\n79.2\n84.0\n80.3\n82.6\n78.8\n81.1\n93.2\n",
	example: "--kind individuals --value film --rules n1,n2,we2",
}

func controlChart(c *call) (*result, error) {
	if err := c.need("kind", "value"); err != nil {
		return nil, err
	}
	kind, err := c.one("kind", "xbar-r", "xbar-s", "individuals", "between-within", "ewma", "cusum", "p", "np", "c", "u")
	if err != nil {
		return nil, err
	}
	opt, err := c.chartOptions(process.Kind(kind))
	if err != nil {
		return nil, err
	}
	switch process.Kind(kind) {
	case process.KindXbarR, process.KindXbarS, process.KindBetweenWithin:
		return c.subgroupChart(process.Kind(kind), opt)
	case process.KindP, process.KindNP, process.KindC, process.KindU:
		return c.countChart(process.Kind(kind), opt)
	case process.KindCUSUM:
		return c.cusumChart(opt)
	case process.KindEWMA:
		return c.ewmaChart(opt)
	}
	t, values, err := c.values()
	if err != nil {
		return nil, err
	}
	chart, err := process.Individuals(values, opt)
	if err != nil {
		return nil, t.spreadless(err, values, c.text("value"))
	}
	return c.chartResult(chart), nil
}

// belongs says which kinds a flag has a meaning for.
var belongs = map[string]string{
	"by": " xbar-r xbar-s between-within ", "size": " p np u ", "lambda": " ewma ", "width": " ewma ",
	"k": " cusum ", "h": " cusum ", "head-start": " cusum ", "sigma": " xbar-r xbar-s individuals between-within ewma cusum ",
	"rules": " xbar-r xbar-s individuals between-within ewma p np c u ",
}

func (c *call) chartOptions(kind process.Kind) (process.ChartOptions, error) {
	var opt process.ChartOptions
	for _, f := range c.command.flags {
		if kinds, some := belongs[f.name]; some && !strings.Contains(kinds, " "+string(kind)+" ") {
			if err := c.without("with --kind "+string(kind), f.name); err != nil {
				return opt, err
			}
		}
	}
	var err error
	if opt.Target, err = c.number("target"); err != nil {
		return opt, err
	}
	if opt.Sigma, err = c.number("sigma"); err != nil {
		return opt, err
	}
	if opt.Sigma != nil && !(*opt.Sigma > 0) {
		return opt, refuse("--sigma is %s; it must be above 0", rounded(*opt.Sigma))
	}
	if c.has("rules") {
		if opt.Rules, err = process.ParseRules(c.text("rules")); err != nil {
			return opt, refuse("--rules is “%s”; give nelson, zone, or names such as n1,n2,we3", clip(c.text("rules")))
		}
	}
	return opt, nil
}

func (c *call) subgroupChart(kind process.Kind, opt process.ChartOptions) (*result, error) {
	if err := c.need("by"); err != nil {
		return nil, err
	}
	g, err := c.group(c.text("by"))
	if err != nil {
		return nil, err
	}
	subgroups, err := g.subgroups()
	if err != nil {
		return nil, g.table.in(err, c.text("value"))
	}
	draw := map[process.Kind]func([]process.Summary, process.ChartOptions) (process.Chart, error){
		process.KindXbarR: process.XbarR, process.KindXbarS: process.XbarS, process.KindBetweenWithin: process.BetweenWithin,
	}[kind]
	chart, err := draw(subgroups, opt)
	if err != nil {
		return nil, g.table.spreadless(err, g.values, c.text("value"))
	}
	r := c.chartResult(chart)
	r.values = append(r.values, field{"subgroups", g.names[0]})
	return r, nil
}

// counts reads counts, and the sizes of their samples where the chart has them.
func (c *call) counts(sized bool) (t *table, counts []int, sizes []float64, err error) {
	if sized {
		if err := c.need("size"); err != nil {
			return nil, nil, nil, err
		}
	}
	if t, err = c.open(); err != nil {
		return nil, nil, nil, err
	}
	value, err := t.column(c.text("value"))
	if err != nil {
		return nil, nil, nil, err
	}
	size := -1
	if sized {
		if size, err = t.column(c.text("size")); err != nil {
			return nil, nil, nil, err
		}
	}
	whole := c.text("kind") != string(process.KindU)
	return t, counts, sizes, t.each(func() error {
		if err := t.hold(); err != nil {
			return err
		}
		count, err := t.count(value)
		if err != nil {
			return err
		}
		counts = append(counts, count)
		if !sized {
			return nil
		}
		n, err := t.number(size)
		switch {
		case err != nil:
			return err
		case !(n > 0) || whole && (n != math.Trunc(n) || n > 1e9):
			return refuse("%s: “%s” is not the size of a sample", t.at(size), clip(t.record[size]))
		case whole && float64(count) > n:
			return refuse("%s: %d defective in a sample of %s", t.at(value), count, rounded(n))
		}
		sizes = append(sizes, n)
		return nil
	})
}

func (c *call) countChart(kind process.Kind, opt process.ChartOptions) (*result, error) {
	t, counts, sizes, err := c.counts(kind != process.KindC)
	if err != nil {
		return nil, err
	}
	whole := make([]int, len(sizes))
	for i, n := range sizes {
		whole[i] = int(min(n, 1e9))
	}
	var chart process.Chart
	switch kind {
	case process.KindP:
		chart, err = process.PChart(counts, whole, opt)
	case process.KindNP:
		chart, err = process.NPChart(counts, whole, opt)
	case process.KindC:
		chart, err = process.CChart(counts, opt)
	default:
		chart, err = process.UChart(counts, sizes, opt)
	}
	switch {
	case errors.Is(err, process.ErrNoSpread):
		return nil, refuse("%s: nothing was found in any sample, or everything in all of them, so the counts set no limits", t.where(c.text("value")))
	case errors.Is(err, process.ErrBadLimits):
		return nil, refuse("--target is %s, which no centre line of this chart can be", clip(c.text("target")))
	case err != nil:
		return nil, t.in(err, c.text("value"))
	}
	return c.chartResult(chart), nil
}

func (c *call) ewmaChart(opt process.ChartOptions) (*result, error) {
	lambda, err := c.numberOr("lambda", process.DefaultLambda)
	if err != nil {
		return nil, err
	}
	width, err := c.numberOr("width", process.DefaultWidth)
	if err != nil {
		return nil, err
	}
	t, values, err := c.values()
	if err != nil {
		return nil, err
	}
	chart, err := process.EWMA(values, lambda, width, opt)
	if errors.Is(err, process.ErrBadWeight) {
		return nil, refuse("--lambda must be over 0 and up to 1, and --width over 0")
	}
	if err != nil {
		return nil, t.spreadless(err, values, c.text("value"))
	}
	r := c.chartResult(chart)
	reach := width * chart.Limits.Sigma * math.Sqrt(lambda/(2-lambda))
	r.values = append(r.values, field{"lambda", lambda}, field{"width", width},
		field{"upper_asymptotic", chart.Limits.Center + reach}, field{"lower_asymptotic", chart.Limits.Center - reach})
	return r, nil
}

func (c *call) cusumChart(opt process.ChartOptions) (*result, error) {
	options := process.CusumOptions{ChartOptions: opt}
	var err error
	if options.K, err = c.number("k"); err != nil {
		return nil, err
	}
	if options.H, err = c.number("h"); err != nil {
		return nil, err
	}
	if options.HeadStart, err = c.numberOr("head-start", 0); err != nil {
		return nil, err
	}
	t, values, err := c.values()
	if err != nil {
		return nil, err
	}
	sums, err := process.CUSUM(values, options)
	if errors.Is(err, process.ErrBadWeight) {
		return nil, refuse("--k and --head-start must be 0 or more, and --h over 0")
	}
	if err != nil {
		return nil, t.spreadless(err, values, c.text("value"))
	}
	r := &result{notes: []string{
		"A CUSUM has no control limits: each sum is compared with h. Upper and lower are not defined.",
		"A CUSUM has no chart of dispersion.",
	}}
	signals := signalRows(sums.Signals)
	r.values = object{
		{"kind", string(process.KindCUSUM)}, {"center", sums.Target}, {"k", sums.K}, {"h", sums.H}, {"upper", nil}, {"lower", nil},
		{"points", sums.Points}, {"high", sums.High}, {"low", sums.Low}, {"signals", signals}, {"dispersion", nil},
	}
	var rows []object
	for i, v := range sums.Points {
		rows = append(rows, object{{"point", i + 1}, {"value", v}, {"high", sums.High[i]}, {"low", sums.Low[i]}})
	}
	r.text = object{{"target", sums.Target}, {"k", sums.K}, {"h", sums.H}, {"points", rows}, {"signals", signals}}
	r.svg = cusumPicture(c.text("value"), sums)
	return r, nil
}

func signalRows(signals []process.Signal) []object {
	rows := []object{}
	for _, s := range signals {
		points := make([]int, len(s.Points))
		for i, p := range s.Points {
			points[i] = p + 1
		}
		rows = append(rows, object{{"rule", string(s.Rule)}, {"points", points}})
	}
	return rows
}

// panelObject is one picture of a chart: center, upper, lower, points and signals.
func panelObject(p process.Panel) object {
	at := make([]int, len(p.At))
	for i, position := range p.At {
		at[i] = position + 1
	}
	return object{
		{"center", p.Center}, {"upper", p.Upper}, {"lower", p.Lower}, {"points", p.Points}, {"at", at}, {"signals", signalRows(p.Signals)},
	}
}

func panelRows(p process.Panel) []object {
	var rows []object
	for i, v := range p.Points {
		rows = append(rows, object{{"point", p.At[i] + 1}, {"value", v}, {"lower", p.Lower[i]}, {"centre", p.Centers[i]}, {"upper", p.Upper[i]}})
	}
	return rows
}

func (c *call) chartResult(chart process.Chart) *result {
	r := &result{values: append(object{{"kind", string(chart.Kind)}}, panelObject(chart.Panel)...)}
	counts := strings.Contains(" p np c u ", " "+string(chart.Kind)+" ")
	r.text = object{{"kind", string(chart.Kind)}, {"center", chart.Center}}
	if counts {
		r.notes = append(r.notes, "A chart of counts has no sigma and no chart of dispersion: both follow from the centre line.")
		r.values = append(r.values, field{"sigma", nil}, field{"dispersion", nil})
	} else {
		r.values = append(r.values, field{"sigma", chart.Limits.Sigma})
		r.text = append(r.text, field{"sigma", chart.Limits.Sigma})
	}
	r.text = append(r.text, field{"points", panelRows(chart.Panel)}, field{"signals", signalRows(chart.Signals)})
	panels := []namedPanel{{c.text("value"), chart.Panel}}
	switch {
	case counts:
	case len(chart.Dispersion.Points) == 0:
		r.values = append(r.values, field{"dispersion", nil})
		r.notes = append(r.notes, "There is no chart of dispersion of this kind.")
	default:
		r.values = append(r.values, field{"dispersion", panelObject(chart.Dispersion)})
		r.text = append(r.text, field{"dispersion", panelRows(chart.Dispersion)}, field{"signals of dispersion", signalRows(chart.Dispersion.Signals)})
		panels = append(panels, namedPanel{dispersionName[chart.Kind] + " of " + c.text("value"), chart.Dispersion})
	}
	if chart.MovingRange != nil {
		r.values = append(r.values, field{"between_sigma", chart.Limits.Between}, field{"moving_range", panelObject(*chart.MovingRange)})
		r.notes = append(r.notes, fmt.Sprintf("Limits of the part means come from their moving ranges (sigma between %s); sigma is that within parts.", rounded(chart.Limits.Between)))
	}
	r.svg = chartPicture(panels)
	return r
}

var dispersionName = map[process.Kind]string{
	process.KindXbarR: "range", process.KindXbarS: "standard deviation", process.KindIndividuals: "moving range",
	process.KindBetweenWithin: "standard deviation within a part",
}
