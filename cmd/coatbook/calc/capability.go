package calc

import (
	"errors"
	"fmt"
	"strings"

	"coatbook/quality/process"
)

var capabilityCommand = command{
	name: "capability", summary: "capability and performance against limits, with bounds and whether they may be quoted",
	usage: "--value COL [--by COL] [--lower X] [--upper X] [flags] [FILE|-]\n" +
		"coatbook calc capability --n N --mean X --sd X [--lower X] [--upper X] [flags]",
	readsFile: true, run: capability,
	flags: []flagDef{
		valueFlag,
		{"by", "COL", "column that names the subgroup of each value; a subgroup need not stand together"},
		{"lower", "X", "lower specification limit"}, {"upper", "X", "upper specification limit"},
		{"target", "X", "the value aimed at, for Cpm"},
		{"within", "NAME", "spread within subgroups: pooled (default with --by), rbar, sbar, moving-range (default without)"},
		levelFlag,
		{"distribution", "NAME", "normal (default), lognormal, weibull, boxcox"},
		{"n", "N", "number of values, in place of a file"}, {"mean", "X", "their mean"}, {"sd", "X", "their standard deviation, which serves as both"},
		svgFlag, jsonFlag,
	},
	notes: []string{
		"Cp to Cpm use sd_within, Pp to Ppk sd_overall. Every index that is defined is printed; quotable and reasons say what it is worth.",
		"Intervals: chi-square for Cp, Bissell's with 2(n-1) for Cpk and Ppk; the exact ones are noncentral t. ppm_expected uses sd_overall.",
		"A distribution other than normal gives Pp to Ppk by percentiles (0.135, 50, 99.865 %), and no Cp. A value on a limit is within it.",
		"Without --by each value is a subgroup of its own. Values are held in memory up to 1000000; a longer file without --by is read in",
		"one pass, and then neither chart nor distribution is judged. --svg draws a histogram with limits.",
	},
	input:   "part,film\n1,78.9\n1,80.2\n2,81.5\n2,83.1\n3,79.4\n3,82.2\n",
	example: "--value film --by part --lower 60 --upper 100",
}

// spec reads the limits.
func (c *call) spec() (process.Spec, error) {
	var s process.Spec
	var err error
	for name, field := range map[string]**float64{"lower": &s.Lower, "upper": &s.Upper, "target": &s.Target} {
		if *field, err = c.number(name); err != nil {
			return s, err
		}
	}
	switch {
	case s.Lower == nil && s.Upper == nil:
		return s, refuse("give --lower, --upper or both: without a limit there is no capability")
	case s.Lower != nil && s.Upper != nil && *s.Lower >= *s.Upper:
		return s, refuse("--lower %s is not below --upper %s", rounded(*s.Lower), rounded(*s.Upper))
	}
	return s, nil
}

// confidence reads --confidence, which must lie between 0 and 1.
func (c *call) confidence() (float64, error) {
	v, err := c.numberOr("confidence", process.DefaultConfidence)
	if err == nil && !(v > 0 && v < 1) {
		err = refuse("--confidence is “%s”; give a figure between 0 and 1, such as 0.95", clip(c.text("confidence")))
	}
	return v, err
}

func capability(c *call) (*result, error) {
	opt, err := c.capabilityOptions()
	if err != nil {
		return nil, err
	}
	if c.has("n") || c.has("mean") || c.has("sd") {
		return c.capabilityFromFigures(opt)
	}
	if !c.has("by") {
		return c.capabilityOfSingles(opt)
	}
	g, err := c.group(c.text("by"))
	if err != nil {
		return nil, err
	}
	subgroups, err := g.subgroups()
	if err != nil {
		return nil, g.table.in(err, c.text("value"))
	}
	opt.Readings = g.values
	r, err := process.Capability(subgroups, opt)
	return c.judged(g.table, r, g.values, err)
}

func (c *call) capabilityOptions() (process.Options, error) {
	spec, err := c.spec()
	if err != nil {
		return process.Options{}, err
	}
	confidence, err := c.confidence()
	if err != nil {
		return process.Options{}, err
	}
	within, err := c.one("within", "", "pooled", "rbar", "sbar", "moving-range")
	if err != nil {
		return process.Options{}, refuse("--within is “%s”; give pooled, rbar, sbar or moving-range", clip(c.text("within")))
	}
	law, err := c.one("distribution", "normal", "lognormal", "weibull", "boxcox")
	if err != nil {
		return process.Options{}, err
	}
	return process.Options{Spec: spec, Confidence: confidence, Within: process.Within(within), Distribution: process.Distribution(law), Always: true}, nil
}

func (c *call) capabilityFromFigures(opt process.Options) (*result, error) {
	if err := c.need("n", "mean", "sd"); err != nil {
		return nil, err
	}
	if err := c.without("beside --n, --mean and --sd", "value", "by", "within", "distribution"); err != nil {
		return nil, err
	}
	if len(c.args) > 0 {
		return nil, refuse("“%s”: a file has no meaning beside --n, --mean and --sd", clip(c.args[0]))
	}
	n, err := c.whole("n")
	if err != nil {
		return nil, err
	}
	mean, err := c.number("mean")
	if err != nil {
		return nil, err
	}
	sd, err := c.number("sd")
	if err != nil {
		return nil, err
	}
	switch {
	case n < 2:
		return nil, refuse("--n is %d; at least 2 values are needed for a spread", n)
	case !(*sd > 0):
		return nil, refuse("--sd is %s; without spread there is no capability", rounded(*sd))
	}
	r, err := process.CapabilityFromFigures(n, *mean, *sd, opt)
	if err != nil {
		return nil, err
	}
	out := c.capabilityResult(r)
	out.values[1].value = nil
	out.notes = append(out.notes, "The number of subgroups is not known: the figures were given.")
	return out, nil
}

// capabilityOfSingles takes each value as a subgroup. Beyond what may be held it goes on in one pass.
func (c *call) capabilityOfSingles(opt process.Options) (*result, error) {
	var held []float64
	var long *onePass
	t, err := c.eachValue(func(v float64) error {
		if long != nil {
			return long.add(v)
		}
		if held = append(held, v); len(held) <= mostHeld {
			return nil
		}
		if opt.Distribution != process.NormalLaw || c.has("svg") {
			return errTooLong
		}
		long = &onePass{spec: opt.Spec}
		for _, v := range held {
			if err := long.add(v); err != nil {
				return err
			}
		}
		held = nil
		return nil
	})
	if errors.Is(err, errTooLong) {
		return nil, refuse("the column “%s” has more than %d values; --distribution and --svg hold them in memory and take no more", clip(c.text("value")), mostHeld)
	}
	if err != nil {
		return nil, err
	}
	if long != nil {
		r, err := long.result(opt)
		if err != nil {
			return nil, t.in(err, c.text("value"))
		}
		return c.capabilityResult(r), nil
	}
	singles := make([]process.Summary, len(held))
	for i, v := range held {
		singles[i] = process.Summary{N: 1, Mean: v, Min: v, Max: v}
	}
	opt.Readings = held
	r, err := process.Capability(singles, opt)
	return c.judged(t, r, held, err)
}

// judged refuses values without spread, and renders the rest.
func (c *call) judged(t *table, r process.Result, values []float64, err error) (*result, error) {
	if err == nil && r.SDOverall == nil {
		err = process.ErrNoSpread
		if r.N < 2 {
			err = process.ErrTooFewReadings
		}
	}
	if err == nil && r.Ppk == nil && r.Fit == nil {
		return nil, refuse("%s: the spread vanishes beside the limits, so that an index has no meaning", t.where(c.text("value")))
	}
	if err != nil {
		return nil, t.spreadless(err, values, c.text("value"))
	}
	out := c.capabilityResult(r)
	out.svg = histogram(values, r)
	return out, nil
}

func (c *call) capabilityResult(r process.Result) *result {
	reasons := r.Reasons
	if reasons == nil {
		reasons = []string{}
	}
	values := object{
		{"n", r.N}, {"subgroups", r.Subgroups}, {"mean", r.Mean}, {"sd_within", r.SDWithin}, {"sd_overall", r.SDOverall},
		{"cp", r.Cp}, {"cpl", r.Cpl}, {"cpu", r.Cpu}, {"cpk", r.Cpk}, {"cpm", r.Cpm},
		{"pp", r.Pp}, {"ppl", r.Ppl}, {"ppu", r.Ppu}, {"ppk", r.Ppk},
		{"cp_interval", r.CpInterval}, {"cpk_interval", r.CpkInterval}, {"pp_interval", r.PpInterval}, {"ppk_interval", r.PpkInterval},
		{"cpk_lower", r.CpkLower}, {"cpl_lower_exact", r.CplLowerExact}, {"cpu_lower_exact", r.CpuLowerExact},
		{"ppk_lower", r.PpkLower}, {"ppl_lower_exact", r.PplLowerExact}, {"ppu_lower_exact", r.PpuLowerExact},
		{"ppm_expected_below", r.ExpectedBelow}, {"ppm_expected_above", r.ExpectedAbove},
		{"ppm_observed_below", r.ObservedBelowPPM}, {"ppm_observed_above", r.ObservedAbovePPM},
		{"within", ifGiven(r.Within != "", string(r.Within))}, {"confidence", r.Confidence},
		{"quotable", r.Quotable}, {"name", r.Name}, {"reasons", reasons},
	}
	notes := append(missingIndices(r), r.Notes...)
	if f := r.Fit; f != nil {
		var parameters object
		for _, p := range f.Parameters {
			parameters = append(parameters, field{strings.ToLower(p.Name), p.Value})
		}
		values = append(values, field{"distribution", string(f.Distribution)}, field{"parameters", parameters},
			field{"quantiles", []*float64{f.Low, f.Middle, f.High}},
			field{"goodness_of_fit", object{{"statistic", f.GoodnessOfFit.Statistic}, {"adjusted", f.GoodnessOfFit.Adjusted}, {"p", f.GoodnessOfFit.P}}})
	} else {
		values = append(values, field{"distribution", string(process.NormalLaw)})
	}
	return &result{values: values, notes: notes}
}

// missingIndices says why figures are null.
func missingIndices(r process.Result) []string {
	var notes []string
	say := func(format string, args ...any) { notes = append(notes, fmt.Sprintf(format, args...)) }
	switch {
	case r.Spec.Lower == nil:
		say("There is no lower limit, so Cp, Cpl, Cpm, Pp, Ppl and what depends on them are not defined; Cpk is Cpu and Ppk is Ppu.")
	case r.Spec.Upper == nil:
		say("There is no upper limit, so Cp, Cpu, Cpm, Pp, Ppu and what depends on them are not defined; Cpk is Cpl and Ppk is Ppl.")
	case r.Spec.Target == nil:
		say("Cpm is not defined without --target.")
	}
	if r.Fit != nil {
		say("The %s distribution gives performance by percentiles: Cp to Cpm and the intervals are not defined.", r.Fit.Distribution)
		if r.Fit.Low == nil || r.Fit.High == nil {
			say("The fitted distribution has no 0.135 %% or 99.865 %% point.")
		}
	} else if r.Cpk == nil {
		say("There is no spread within subgroups, so Cp to Cpm and their intervals are not defined.")
	}
	if r.ObservedBelowPPM == nil && r.ObservedAbovePPM == nil {
		say("The values outside the limits could not be counted without single values.")
	}
	return notes
}
