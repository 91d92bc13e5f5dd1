package calc

import (
	"coatbook/quality/process"
)

var constantsCommand = command{
	name: "constants", summary: "control chart constants for a subgroup size", usage: "--n N [--json]", run: constants,
	flags: []flagDef{{"n", "N", "values in a subgroup, 2 or more"}, jsonFlag},
	notes: []string{
		"Exact, by integration; printed tables differ by up to one in the third decimal. d2 and d3 belong to the range of n standard normal",
		"values; d3_limit and d4_limit are the factors of the range chart that tables call D3 and D4.",
	},
	example: "--n 5",
}

func constants(c *call) (*result, error) {
	if err := c.need("n"); err != nil {
		return nil, err
	}
	n, err := c.whole("n")
	if err != nil {
		return nil, err
	}
	k, err := process.ConstantsFor(n)
	if err != nil {
		return nil, refuse("--n is %d; a subgroup has 2 to 1000000 values", n)
	}
	return &result{values: object{
		{"n", k.N}, {"d2", k.D2}, {"d3", k.D3}, {"c4", k.C4}, {"a", k.A}, {"a2", k.A2}, {"a3", k.A3},
		{"b3", k.B3}, {"b4", k.B4}, {"b5", k.B5}, {"b6", k.B6},
		{"d1_limit", k.LimitD1}, {"d2_limit", k.LimitD2}, {"d3_limit", k.LimitD3}, {"d4_limit", k.LimitD4}, {"e2", k.E2}, {"e3", k.E3},
	}}, nil
}

var toleranceCommand = command{
	name: "tolerance", summary: "factors of tolerance intervals for normal values",
	usage: "--n N --coverage P --confidence G [--json]", run: tolerance,
	flags: []flagDef{
		{"n", "N", "number of values, 2 or more"}, {"coverage", "P", "share of the process that the interval holds"},
		{"confidence", "G", "confidence that it does"}, jsonFlag,
	},
	notes: []string{
		"The interval is mean ± two_sided_k·sd; the bound on one side is mean + one_sided_k·sd, or minus. Both are exact; Howe's is the",
		"approximation that handbooks print. distribution_free_n is the least number of values whose smallest and largest hold the",
		"coverage whatever the distribution; on one side, the smallest or the largest alone.",
	},
	example: "--n 43 --coverage 0.90 --confidence 0.99",
}

func tolerance(c *call) (*result, error) {
	if err := c.need("n", "coverage", "confidence"); err != nil {
		return nil, err
	}
	n, err := c.whole("n")
	if err != nil {
		return nil, err
	}
	coverage, err := c.number("coverage")
	if err != nil {
		return nil, err
	}
	confidence, err := c.confidence()
	if err != nil {
		return nil, err
	}
	values := object{{"n", n}, {"coverage", *coverage}, {"confidence", confidence}}
	for _, f := range []struct {
		key    string
		factor func(int, float64, float64) (float64, error)
	}{{"two_sided_k", process.TwoSidedFactor}, {"two_sided_k_howe", process.HoweFactor}, {"one_sided_k", process.OneSidedFactor}} {
		k, err := f.factor(n, *coverage, confidence)
		if err != nil {
			return nil, err
		}
		values = append(values, field{f.key, k})
	}
	r := &result{}
	for _, two := range []bool{true, false} {
		key := map[bool]string{true: "distribution_free_n_two_sided", false: "distribution_free_n_one_sided"}[two]
		size, err := process.DistributionFreeSize(*coverage, confidence, two)
		values = append(values, field{key, ifGiven(err == nil, size)})
		if err != nil {
			r.notes = append(r.notes, "The distribution-free number of values is too large to be given.")
		}
	}
	r.values = values
	return r, nil
}
