package calc

import (
	"errors"
	"slices"
	"strings"

	"coatbook/quality/gauge"
	"coatbook/quality/process"
	"coatbook/quality/variance"
)

var varianceCommand = command{
	name: "variance", summary: "components of variance of nested readings",
	usage: "--value COL --by OUTER,…,INNER [--method moments|reml] [--json] [FILE|-]", readsFile: true, run: components,
	flags: []flagDef{
		valueFlag, {"by", "COLS", "columns of the factors, the outermost first, with commas between"},
		{"method", "NAME", "moments (default) or reml"}, jsonFlag,
	},
	notes: []string{
		"A label is read inside its parent. The innermost source, the values inside one cell, is called error. A negative estimate is set",
		"to 0 and said; raw_variance keeps it. anova is the sequential nested table; f and p are null where no exact test exists.",
		"Values are held in memory, up to 1000000.",
	},
	input:   "machine,operator,y\nM1,A,0.125\nM1,A,0.127\nM1,B,0.118\nM1,B,0.122\nM2,A,0.131\nM2,A,0.128\nM2,B,0.126\nM2,B,0.129\n",
	example: "--value y --by machine,operator --method moments",
}

func components(c *call) (*result, error) {
	if err := c.need("value", "by"); err != nil {
		return nil, err
	}
	method, err := c.one("method", "moments", "reml")
	if err != nil {
		return nil, err
	}
	names := strings.Split(c.text("by"), ",")
	for i, name := range names {
		if names[i] = strings.TrimSpace(name); slices.Contains(names[:i], names[i]) {
			return nil, refuse("--by names the column “%s” twice", clip(names[i]))
		}
	}
	g, err := c.group(names...)
	if err != nil {
		return nil, err
	}
	var factors []variance.Factor
	for i, name := range names {
		factors = append(factors, variance.Factor{Name: name, Labels: g.column(i)})
	}
	estimate := variance.Moments
	if method == "reml" {
		estimate = variance.REML
	}
	v, err := estimate(g.values, factors...)
	if err != nil {
		return nil, g.table.spreadless(err, g.values, c.text("value"))
	}
	return varianceResult(v), nil
}

func varianceResult(v variance.Result) *result {
	var parts, rows []object
	undefinedF := false
	for _, part := range v.Components {
		parts = append(parts, object{{"factor", part.Factor}, {"variance", part.Variance}, {"raw_variance", part.Raw}, {"sd", part.SD}, {"percent", part.Percent}})
	}
	for _, row := range v.Anova {
		rows = append(rows, object{{"factor", row.Factor}, {"df", row.DF}, {"ss", row.SS}, {"ms", row.MS}, {"f", row.F}, {"p", row.P}})
		undefinedF = undefinedF || row.F == nil && row.Factor != variance.ErrorFactor
	}
	r := &result{notes: v.Notes, values: object{
		{"method", string(v.Method)}, {"n", v.N}, {"mean", v.Mean}, {"total_variance", v.Total}, {"balanced", v.Balanced},
		{"components", parts}, {"anova", rows},
	}}
	if undefinedF {
		r.notes = append(r.notes, "Where F is not defined, no exact F test exists for that factor in these data.")
	}
	r.notes = append(r.notes, "The error row has no F: nothing stands below it.")
	return r
}

var gaugeCommand = command{
	name: "gauge-study", summary: "repeatability and reproducibility of a measuring system",
	usage: "--value COL --part COL --appraiser COL [flags] [FILE|-]", readsFile: true, run: gaugeStudy,
	flags: []flagDef{
		valueFlag, {"part", "COL", "column of the part"}, {"appraiser", "COL", "column of the appraiser"},
		{"tolerance", "X", "upper less lower limit, for percent of tolerance"},
		{"method", "NAME", "anova (default) or range"},
		{"interaction", "NAME", "of part and appraiser, anova only: keep (default), pool, or pool-above-p"},
		{"pool-above", "P", "the p-value of pool-above-p, default 0.25"}, jsonFlag,
	},
	notes: []string{
		"percent_study is 100·sd/total sd; percent_tolerance is 100·6·sd/tolerance. distinct_categories is the whole part of",
		"1.41·part/gauge. The range method uses the printed K1, K2, K3 to four decimals. keep leaves the interaction in the gauge's",
		"variation, 0 when its estimate is negative; pool adds it to repeatability. Values are held in memory, up to 1000000.",
	},
	input: "part,who,film\n1,A,81.2\n1,A,81.6\n2,A,75.1\n2,A,74.8\n3,A,88.4\n3,A,88.1\n" +
		"1,B,81.9\n1,B,81.7\n2,B,75.0\n2,B,75.6\n3,B,88.8\n3,B,88.6\n",
	example: "--value film --part part --appraiser who --tolerance 40 --method anova --interaction pool",
}

func gaugeStudy(c *call) (*result, error) {
	if err := c.need("value", "part", "appraiser"); err != nil {
		return nil, err
	}
	method, err := c.one("method", "anova", "range")
	if err != nil {
		return nil, err
	}
	interaction, err := c.one("interaction", "keep", "pool", "pool-above-p")
	if err != nil {
		return nil, err
	}
	if method == "range" {
		if err := c.without("with --method range, which cannot show the interaction", "interaction", "pool-above"); err != nil {
			return nil, err
		}
	}
	opt := gauge.Options{Interaction: gauge.Interaction(interaction)}
	if opt.Tolerance, err = c.numberOr("tolerance", 0); err != nil {
		return nil, err
	}
	if c.has("tolerance") && !(opt.Tolerance > 0) {
		return nil, refuse("--tolerance is %s; it must be above 0", rounded(opt.Tolerance))
	}
	if opt.PoolAbove, err = c.numberOr("pool-above", 0); err != nil {
		return nil, err
	}
	g, err := c.group(c.text("part"), c.text("appraiser"))
	if err != nil {
		return nil, err
	}
	parts, appraisers := g.column(0), g.column(1)
	readings := make([]gauge.Reading, len(g.values))
	for i, v := range g.values {
		readings[i] = gauge.Reading{Part: parts[i], Appraiser: appraisers[i], Value: v}
	}
	study := gauge.ANOVA
	if method == "range" {
		study = gauge.AverageAndRange
	}
	s, err := study(readings, opt)
	if errors.Is(err, process.ErrNoSpread) {
		return nil, g.table.spreadless(err, g.values, c.text("value"))
	}
	if err != nil {
		return nil, g.table.in(err, c.text("value"), c.text("part"), c.text("appraiser"))
	}
	return gaugeResult(s), nil
}

func gaugeResult(s gauge.Study) *result {
	r := &result{notes: s.Notes}
	source := func(v *gauge.Variation) object {
		if v == nil {
			return object{{"sd", nil}, {"percent_study", nil}, {"percent_tolerance", nil}, {"percent_contribution", nil}}
		}
		return object{{"sd", v.SD}, {"percent_study", v.PercentStudy}, {"percent_tolerance", v.PercentTolerance}, {"percent_contribution", v.PercentContribution}}
	}
	sources := []struct {
		key string
		v   *gauge.Variation
	}{{"repeatability", &s.Repeatability}, {"reproducibility", s.Reproducibility}, {"interaction", s.Interaction}, {"gauge", &s.Gauge}, {"part", &s.Part}, {"total", &s.Total}}
	r.values = object{{"method", string(s.Method)}, {"parts", s.Parts}, {"appraisers", s.Appraisers}, {"trials", s.Trials}, {"n", s.N}}
	r.text = slices.Clone(r.values)
	var rows []object
	for _, src := range sources {
		r.values = append(r.values, field{src.key, source(src.v)})
		rows = append(rows, append(object{{"source", src.key}}, source(src.v)...))
	}
	figures := object{{"distinct_categories", s.DistinctCategories}, {"distinct_categories_raw", s.DistinctCategoriesRaw}, {"interaction_p", s.InteractionP}, {"pooled", s.Pooled}}
	r.values = append(r.values, figures...)
	r.text = append(append(r.text, figures...), field{"variation", rows})
	if len(s.Anova) > 0 {
		var anova []object
		for _, row := range s.Anova {
			anova = append(anova, object{{"source", row.Source}, {"df", row.DF}, {"ss", row.SS}, {"ms", row.MS}, {"f", row.F}, {"p", row.P}})
		}
		r.values = append(r.values, field{"anova", anova})
		r.text = append(r.text, field{"anova", anova})
	}
	for _, missing := range []struct {
		is   bool
		note string
	}{
		{s.Repeatability.PercentTolerance == nil, "Percent of tolerance is not defined without --tolerance."},
		{s.Reproducibility == nil, "Reproducibility is not defined with one appraiser."},
		{s.Interaction == nil, "The interaction cannot be shown by this method or these data."},
		{s.DistinctCategories == nil, "Distinct categories are not defined: the gauge shows no variation."},
		{s.InteractionP == nil, "The p-value of the interaction is not defined by this method or these data."},
	} {
		if missing.is {
			r.notes = append(r.notes, missing.note)
		}
	}
	return r
}
