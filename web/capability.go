package web

import (
	"fmt"
	"strings"

	"coatbook/quality"
	"coatbook/quality/process"
	"coatbook/web/page"
)

// capability words a result with everything that must stand beside an index: how many, by what subgroup, of which period,
// against which limits of which revision, mean, both standard deviations, method, stability, distribution and lower bound.
func (g *filmGroup) capability(d filmDrawing, r process.Result, chart process.Chart, drawn bool, gauge figureGauge) page.Capability {
	c := page.Capability{BoundWords: fmt.Sprintf("at least, with %s %% confidence", quality.Number(r.Confidence*100, 1))}
	name, value, lower, ok := r.Headline()
	why := gauge.withheld()
	if ok = ok && why == ""; why != "" {
		c.Withheld = why
	} else if ok {
		c.Marked = gauge.marked()
		c.Name, c.Estimate, c.Bound = name, fmt.Sprintf("%.2f", value), fmt.Sprintf("%.2f", lower)
	} else {
		c.Withheld = strings.Join(r.Reasons, " ")
		if r.N > 0 {
			c.Withheld += fmt.Sprintf(" The readings lie between %s and %s.", filmText(r.Min, d.unit), filmText(r.Max, d.unit))
		}
	}
	switch {
	case ok && r.Quotable:
		c.Standing = page.Standing{Word: "stable: no run rule signals", Kind: "pass"}
	case ok:
		c.Standing = page.Standing{Word: "not shown to be stable, so this is performance, not capability", Kind: "hold"}
	}
	c.Facts = []page.DeskFact{
		page.Plain("From", fmt.Sprintf("%s of %s, each part a subgroup%s; %s", counted(r.N, "reading"), counted(r.Subgroups, "film check"), sizes(r), g.leftOutWords())),
		page.Plain("Period", periodWords(d.period, d.today)),
		page.Plain("Limits", g.film.Limits.String()+", "+g.name()),
		page.Plain("Decision rule", decisionRule(g.film)),
		gauge.fact,
		page.Plain("Mean", filmText(r.Mean, d.unit)+" of all readings"),
		page.Plain("Spread", spreads(d, r)),
		page.Plain("Method", method(d, r)),
		page.Plain("Stability", stability(r, chart, drawn)),
		page.Plain("Distribution", distribution(r)),
	}
	if ok && len(r.Reasons) > 0 {
		c.Facts = append(c.Facts, page.Plain("Why not Cpk", strings.Join(r.Reasons, " ")))
	}
	for _, note := range r.Notes {
		c.Facts = append(c.Facts, page.Plain("Note", note))
	}
	return c
}

// leftOutWords says how much is left out.
func (g *filmGroup) leftOutWords() string {
	n := 0
	for _, c := range g.checks {
		if c.All != nil {
			n += c.All.N - c.N
		}
	}
	if n == 0 {
		return "none is left out"
	}
	return counted(n, "reading") + " left out, listed below"
}

func sizes(r process.Result) string {
	if r.SmallestSubgroup == r.LargestSubgroup {
		return fmt.Sprintf(" of %d", r.LargestSubgroup)
	}
	return fmt.Sprintf(" of %d to %d", r.SmallestSubgroup, r.LargestSubgroup)
}

func decisionRule(f quality.FilmSpec) string {
	if f.Guard > 0 {
		return fmt.Sprintf("guard band of %s inside the limits", quality.Number(f.Guard, 2))
	}
	return "simple acceptance: a value equal to a limit is within it"
}

func spreads(d filmDrawing, r process.Result) string {
	within, overall := "not known", "not known"
	if r.SDWithin != nil {
		within = filmText(*r.SDWithin, d.unit)
	}
	if r.SDOverall != nil {
		overall = filmText(*r.SDOverall, d.unit)
	}
	return fmt.Sprintf("short-term %s (%s), overall %s (n − 1)", within, withinWords[r.Within], overall)
}

// withinWords say how the short-term standard deviation was estimated.
var withinWords = map[process.Within]string{
	process.PooledSD: "pooled within parts", process.FromSBar: "mean s within parts, over c₄", process.FromRBar: "mean range within parts, over d₂",
	process.FromMovingRange: "mean moving range, over d₂", process.BetweenAndWithin: "between parts by moving ranges of their means, plus within parts, pooled",
}

func method(d filmDrawing, r process.Result) string {
	side := "both limits"
	switch {
	case r.Spec.Upper == nil:
		side = "one-sided: the spec sets no maximum"
	case r.Spec.Lower == nil:
		side = "one-sided: the spec sets no minimum"
	}
	bound := "bound after Bissell"
	if r.Spec.Upper == nil || r.Spec.Lower == nil {
		bound = "exact bound, noncentral t"
	}
	return fmt.Sprintf("normal distribution, %s; %s, one-sided, counting %s independent readings", side, bound, quality.Number(independent(r), 0))
}

func independent(r process.Result) float64 {
	if r.Quotable {
		return r.IndependentWithin
	}
	return r.IndependentOverall
}

func stability(r process.Result, chart process.Chart, drawn bool) string {
	rules := make([]string, 0, 2)
	for _, rule := range process.DefaultRules() {
		rules = append(rules, rule.String())
	}
	words := "rules: " + strings.Join(rules, "; ")
	switch {
	case r.Stable:
		return "stable, " + words
	case r.Unstable != "":
		return r.Unstable + " (" + words + ")"
	case drawn && !chart.Stable():
		return "not stable, " + words
	}
	return "not judged: too few parts (" + words + ")"
}

func distribution(r process.Result) string {
	n := r.Normality
	if n == nil {
		return "not checked: too few values"
	}
	verdict := "nothing speaks against a normal distribution"
	if n.P < 0.05 {
		verdict = "not normal; the index is a rough guide"
	}
	return fmt.Sprintf("Anderson-Darling on %s: A*² %.3f, p %.3f: %s", r.NormalityOf, n.Adjusted, n.P, verdict)
}
