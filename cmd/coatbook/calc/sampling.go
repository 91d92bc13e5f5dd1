package calc

import (
	"strings"

	"coatbook/quality/sampling"
)

var samplingCommand = command{
	name: "sampling", summary: "sampling plans, what they let through, and switching between severities",
	usage: "--lot N --aql A [--level II] [--severity normal|tightened|reduced]\n" +
		"coatbook calc sampling --code-letter C --aql A [--severity S]\n" +
		"coatbook calc sampling --oc --n N --accept C --at P [--lot N]\n" +
		"coatbook calc sampling --switching STRING",
	run: samplingForm,
	flags: []flagDef{
		{"lot", "N", "pieces in the lot"}, {"level", "L", "inspection level S-1 to S-4, I, II (default), III"},
		{"aql", "A", "acceptable quality level, in percent"}, {"severity", "S", "normal (default), tightened or reduced"},
		{"code-letter", "C", "sample size code letter, in place of lot and level"},
		{"oc", "", "probability of acceptance of a plan"}, {"n", "N", "with --oc: pieces taken"},
		{"accept", "C", "with --oc: acceptance number"}, {"at", "P", "with --oc: fraction bad, such as 0.02"},
		{"switching", "STRING", "outcomes of lots in order: a accepted, r rejected, g between the numbers of reduced inspection"}, jsonFlag,
	},
	notes: []string{
		"Plans are those of MIL-STD-105E, single sampling. An arrow moves to another row, and its sample size is used; when the sample",
		"reaches the lot, all is inspected. hypergeometric is for a lot of its own (bad pieces fraction·lot, rounded); binomial for a",
		"long series. severities has one letter for each lot, the severity it was inspected under: N, T, R, or D for discontinued.",
	},
	example: "--lot 500 --level II --aql 1.5 --severity normal",
}

func samplingForm(c *call) (*result, error) {
	plan, curve := []string{"level", "aql", "severity", "code-letter"}, []string{"oc", "n", "accept", "at"}
	switch {
	case c.has("switching"):
		if err := c.without("beside --switching", append(append([]string{"lot"}, plan...), curve...)...); err != nil {
			return nil, err
		}
		return switching(c)
	case c.has("oc"):
		if err := c.without("beside --oc", plan...); err != nil {
			return nil, err
		}
		return operatingCharacteristic(c)
	}
	if err := c.without("without --oc", curve...); err != nil {
		return nil, err
	}
	return singlePlan(c)
}

func singlePlan(c *call) (*result, error) {
	if !c.has("lot") && !c.has("code-letter") {
		return nil, refuse("give --lot, --code-letter, --oc or --switching; “coatbook calc sampling --help” shows the forms")
	}
	if err := c.need("aql"); err != nil {
		return nil, err
	}
	aql, err := c.number("aql")
	if err != nil {
		return nil, err
	}
	severity, err := sampling.ParseSeverity(c.or("severity", "normal"))
	if err != nil {
		return nil, refuse("--severity is “%s”; give normal, tightened or reduced", clip(c.text("severity")))
	}
	var p sampling.Plan
	if c.has("code-letter") {
		if err := c.without("beside --code-letter", "lot", "level"); err != nil {
			return nil, err
		}
		p, err = sampling.SingleByLetter(strings.ToUpper(c.text("code-letter")), *aql, severity)
	} else {
		lot, wrong := c.whole("lot")
		if wrong != nil {
			return nil, wrong
		}
		level, wrong := sampling.ParseLevel(c.or("level", "II"))
		if wrong != nil {
			return nil, refuse("--level is “%s”; give S-1, S-2, S-3, S-4, I, II or III", clip(c.text("level")))
		}
		p, err = sampling.Single(lot, level, *aql, severity)
	}
	if err != nil {
		return nil, err
	}
	return &result{notes: p.Notes, values: object{
		{"standard", string(p.Standard)}, {"code_letter", p.CodeLetter}, {"plan_letter", p.PlanLetter}, {"n", p.N}, {"accept", p.Accept}, {"reject", p.Reject},
		{"inspect_all", p.All}, {"table_n", p.TableN}, {"severity", string(p.Severity)}, {"status", string(p.Status)},
	}}, nil
}

func operatingCharacteristic(c *call) (*result, error) {
	if err := c.need("n", "accept", "at"); err != nil {
		return nil, err
	}
	n, err := c.whole("n")
	if err != nil {
		return nil, err
	}
	accept, err := c.whole("accept")
	if err != nil {
		return nil, err
	}
	at, err := c.number("at")
	if err != nil {
		return nil, err
	}
	lot, err := c.whole("lot")
	if err != nil {
		return nil, err
	}
	if c.has("lot") && lot < 1 {
		return nil, refuse("--lot is %d; give the pieces in the lot", lot)
	}
	points, err := sampling.OC(lot, n, accept, []float64{*at})
	if err != nil {
		return nil, err
	}
	p := points[0]
	r := &result{values: object{
		{"n", n}, {"accept", accept}, {"at", p.Fraction}, {"binomial", p.Binomial}, {"hypergeometric", p.Hypergeometric}, {"bad_in_lot", p.Bad},
		{"average_outgoing_quality", p.AOQ}, {"average_total_inspection", p.ATI},
	}}
	if p.Hypergeometric == nil {
		r.notes = append(r.notes, "Without --lot there is no hypergeometric probability, and no number of bad or inspected pieces.")
	}
	return r, nil
}

func switching(c *call) (*result, error) {
	severities, err := sampling.Severities(c.text("switching"))
	if err != nil {
		return nil, err
	}
	if len(severities) == 0 {
		return nil, refuse("--switching names no lot")
	}
	var letters strings.Builder
	var words []string
	for _, s := range severities {
		letters.WriteString(s.Letter())
		words = append(words, string(s))
	}
	return &result{
		values: object{{"severities", letters.String()}, {"severity_of_each_lot", words}},
		text:   object{{"severities", letters.String()}},
		notes:  []string{"Every condition for reduced inspection besides ten accepted lots is taken as met."},
	}, nil
}
