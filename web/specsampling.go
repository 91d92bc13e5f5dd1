package web

import (
	"fmt"
	"strconv"
	"strings"

	"coatbook/quality"
	"coatbook/web/form"
	"coatbook/web/page"
)

// The sections of a finish spec on how many parts are checked, one for each check that may be made on a sample and each
// characteristic of one that may be sampled apart from it.

var (
	sampleBy         = form.Entry{Kind: form.Pick, Label: "Checked on", Options: optionsOf("every", "every part", "rack", "so many parts of each rack", "load", "so many parts of each oven load", "coating", "a lot: lot table for thickness", "aql", "a lot: MIL-STD-105E by level and AQL", "zero", "a lot: none bad in the sample")}
	sampleNumber     = form.Entry{Kind: form.Whole, Label: "Parts of each rack or load", Hint: "rack and load only", Low: 1, High: 999, Optional: true}
	sampleLevel      = form.Entry{Kind: form.Pick, Label: "Inspection level", Hint: "MIL-STD-105E only; II unless the contract says otherwise", Options: sampleLevels(), Optional: true}
	sampleAQL        = form.Entry{Kind: form.Pick, Label: "AQL", Unit: "%", Hint: "MIL-STD-105E only", Options: sampleAQLs(), Optional: true}
	sampleReduced    = form.Entry{Kind: form.Tick, Label: "Permit reduced inspection", Hint: "MIL-STD-105E only, after ten accepted lots in a row; production is steady, and who is responsible agrees", Wide: true}
	sampleShare      = form.Entry{Kind: form.Number, Label: "Find a share bad of", Unit: "%", Hint: "none-bad plan only", Low: 0.01, High: 99, Optional: true}
	sampleConfidence = form.Entry{Kind: form.Number, Label: "with a confidence of", Unit: "%", Hint: "none-bad plan only", Low: 1, High: 99.99, Optional: true}
)

func sampleLevels() []form.Option {
	var out []form.Option
	for _, level := range quality.SampleLevels {
		out = append(out, form.Option{Value: level, Label: level})
	}
	return out
}

func sampleAQLs() []form.Option {
	var out []form.Option
	for _, aql := range quality.SampleAQLs {
		text := setupNumber(aql)
		out = append(out, form.Option{Value: text, Label: text})
	}
	return out
}

// sampleField begins the names of the fields for what is sampled, and names their section.
func sampleField(what quality.Sampled) string {
	return "sample-" + strings.NewReplacer(".", "-", "_", "-").Replace(string(what))
}

// sampleEntries are the fields for what is sampled.
func sampleEntries(what quality.Sampled) (by, number, level, aql, reduced, share, confidence form.Entry) {
	at := func(e form.Entry, name string) form.Entry { return e.As(sampleField(what) + "-" + name) }
	by = at(sampleBy, "by")
	if what.Check() == quality.Weld { // no part hangs on a rack before its welds are checked
		by.Options = append(append([]form.Option{}, by.Options[0]), by.Options[3:]...)
	}
	if what.Characteristic() != "" {
		by.Label = "Measured on"
		by.Options = append([]form.Option{{Value: "every", Label: "every part that gets a " + lowerFirst(what.Check().Name())}}, by.Options[1:]...)
	}
	return by, at(sampleNumber, "number"), at(sampleLevel, "level"), at(sampleAQL, "aql"), at(sampleReduced, "reduced"), at(sampleShare, "share"), at(sampleConfidence, "confidence")
}

// sampleNote says what a draw means; for a characteristic also how it goes with its check and with witness panels.
func sampleNote(what quality.Sampled) string {
	if what.Characteristic() == "" {
		return "Parts that are not drawn stand on the sample. One that fails, or more than the plan allows, holds them all."
	}
	check, name := lowerFirst(what.Check().Name()), what.Rule()
	note := fmt.Sprintf("With a choice of its own here, %s is asked for in the %s of the parts drawn for it, and the %s of any other part is complete without it. Parts that are not drawn stand on the sample; one that fails in %s, or more than the plan allows, holds them all.", name, check, check, name)
	if what.Check() != quality.Finish {
		return note
	}
	return note + fmt.Sprintf(" For %s on witness panels only, ask for it under Panel test and take it out of the %s above: a panel then stands for its whole load. A spec asks for one of the two, not for both.", name, check)
}

// specSampleGroups are the sections, folded where there is no draw.
func specSampleGroups(a *form.Answers, says map[string][]string) []page.SetupGroup {
	var groups []page.SetupGroup
	for _, what := range quality.Sampleable {
		by, number, level, aql, reduced, share, confidence := sampleEntries(what)
		chosen := a.Values.Get(by.Name)
		problems := says[sampleField(what)]
		wrong := false
		for _, e := range []form.Entry{by, number, level, aql, share, confidence} {
			wrong = wrong || a.Wrong[e.Name] != ""
		}
		groups = append(groups, page.SetupGroup{Legend: "Sampling: " + lowerFirst(what.Name()), Problems: problems, Folded: (chosen == "" || chosen == "every") && len(problems) == 0 && !wrong,
			Note: sampleNote(what), Fields: fields(a, by, number, level, aql, share, confidence, reduced)})
	}
	return groups
}

// specStandSampling writes the rules into the form.
func specStandSampling(a *form.Answers, rules map[quality.Sampled]quality.SampleRule) {
	for _, what := range quality.Sampleable {
		by, number, level, aql, reduced, share, confidence := sampleEntries(what)
		a.Values.Set(by.Name, "every")
		rule, ok := rules[what]
		if !ok {
			continue
		}
		a.Values.Set(by.Name, string(rule.By))
		if rule.By == quality.SampleLot {
			a.Values.Set(by.Name, string(rule.Plan))
		}
		if rule.Number > 0 {
			a.Values.Set(number.Name, strconv.Itoa(rule.Number))
		}
		a.Values.Set(level.Name, rule.Level)
		for e, v := range map[string]float64{aql.Name: rule.AQL, share.Name: rule.SharePercent, confidence.Name: rule.ConfidencePercent} {
			if v > 0 {
				a.Values.Set(e, setupNumber(v))
			}
		}
		a.Values.Set(reduced.Name, yes(rule.Reduced))
	}
}

// specReadSampling reads the rules; what has no draw has none. What the chosen way does not use is left
// out, so that an approver signs what counts.
func specReadSampling(a *form.Answers) map[quality.Sampled]quality.SampleRule {
	var rules map[quality.Sampled]quality.SampleRule
	for _, what := range quality.Sampleable {
		by, number, level, aql, reduced, share, confidence := sampleEntries(what)
		by.Optional = true // a form without the section asks for every part
		chosen := a.Pick(by)
		if chosen == "" || chosen == "every" {
			continue
		}
		var rule quality.SampleRule
		switch chosen {
		case "rack", "load":
			rule = quality.SampleRule{By: quality.SampleBy(chosen), Number: a.Whole(number)}
		case "aql":
			rule = quality.SampleRule{By: quality.SampleLot, Plan: quality.PlanAQL, Level: a.Pick(level), Reduced: a.Yes(reduced.Name)}
			rule.AQL, _ = strconv.ParseFloat(a.Pick(aql), 64)
		case "zero":
			rule = quality.SampleRule{By: quality.SampleLot, Plan: quality.PlanZero, SharePercent: a.Amount(share), ConfidencePercent: a.Amount(confidence)}
		default:
			rule = quality.SampleRule{By: quality.SampleLot, Plan: quality.PlanCoating}
		}
		if rules == nil {
			rules = map[quality.Sampled]quality.SampleRule{}
		}
		rules[what] = rule
	}
	return rules
}

// specSampleWords are the rules in words.
func specSampleWords(rules map[quality.Sampled]quality.SampleRule) []page.DeskFact {
	var facts []page.DeskFact
	for _, what := range quality.Sampleable {
		if rule, ok := rules[what]; ok {
			facts = append(facts, page.Plain(what.Name(), rule.String()))
		}
	}
	return facts
}

// sampleSection names the section that a sentence of Validate about sampling is about, empty for any other.
func sampleSection(sentence string) string {
	for _, what := range quality.Sampleable {
		if strings.HasPrefix(sentence, "Sampling, "+lowerFirst(what.Name())) {
			return sampleField(what)
		}
	}
	return ""
}
