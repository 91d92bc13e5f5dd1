package web

import (
	"strconv"
	"strings"

	"coatbook/quality"
	"coatbook/web/form"
	"coatbook/web/page"
)

// The sections of a finish spec on how many parts are checked, one for each kind of check that may be made on a sample.

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

// sampleEntries are the fields of one kind of check.
func sampleEntries(kind quality.Kind) (by, number, level, aql, reduced, share, confidence form.Entry) {
	at := func(e form.Entry, name string) form.Entry { return e.As("sample-" + string(kind) + "-" + name) }
	by = at(sampleBy, "by")
	if kind == quality.Weld { // no part hangs on a rack before its welds are checked
		by.Options = append(append([]form.Option{}, by.Options[0]), by.Options[3:]...)
	}
	return by, at(sampleNumber, "number"), at(sampleLevel, "level"), at(sampleAQL, "aql"), at(sampleReduced, "reduced"), at(sampleShare, "share"), at(sampleConfidence, "confidence")
}

// specSampleGroups are the sections, folded where every part is checked.
func specSampleGroups(a *form.Answers, says map[string][]string) []page.SetupGroup {
	var groups []page.SetupGroup
	for _, kind := range quality.SampledKinds {
		by, number, level, aql, reduced, share, confidence := sampleEntries(kind)
		chosen := a.Values.Get(by.Name)
		problems := says["sample-"+string(kind)]
		wrong := false
		for _, e := range []form.Entry{by, number, level, aql, share, confidence} {
			wrong = wrong || a.Wrong[e.Name] != ""
		}
		groups = append(groups, page.SetupGroup{Legend: "Sampling: " + lowerFirst(kind.Name()), Problems: problems, Folded: (chosen == "" || chosen == "every") && len(problems) == 0 && !wrong,
			Note:   "Parts that are not drawn stand on the sample. One that fails, or more than the plan allows, holds them all.",
			Fields: fields(a, by, number, level, aql, share, confidence, reduced)})
	}
	return groups
}

// specStandSampling writes the rules into the form.
func specStandSampling(a *form.Answers, rules map[quality.Kind]quality.SampleRule) {
	for _, kind := range quality.SampledKinds {
		by, number, level, aql, reduced, share, confidence := sampleEntries(kind)
		a.Values.Set(by.Name, "every")
		rule, ok := rules[kind]
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

// specReadSampling reads the rules; a kind that is checked on every part has none. What the chosen way does not use is left
// out, so that an approver signs what counts.
func specReadSampling(a *form.Answers) map[quality.Kind]quality.SampleRule {
	var rules map[quality.Kind]quality.SampleRule
	for _, kind := range quality.SampledKinds {
		by, number, level, aql, reduced, share, confidence := sampleEntries(kind)
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
			rules = map[quality.Kind]quality.SampleRule{}
		}
		rules[kind] = rule
	}
	return rules
}

// specSampleWords are the rules in words.
func specSampleWords(rules map[quality.Kind]quality.SampleRule) []page.DeskFact {
	var facts []page.DeskFact
	for _, kind := range quality.SampledKinds {
		if rule, ok := rules[kind]; ok {
			facts = append(facts, page.Plain(kind.Name(), rule.String()))
		}
	}
	return facts
}

// sampleSection names the section that a sentence of Validate about sampling is about, empty for any other.
func sampleSection(sentence string) string {
	for _, kind := range quality.SampledKinds {
		if strings.HasPrefix(sentence, "Sampling, "+lowerFirst(kind.Name())) {
			return "sample-" + string(kind)
		}
	}
	return ""
}
