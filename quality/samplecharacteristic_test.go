package quality_test

import (
	"slices"
	"strings"
	"testing"

	"coatbook/quality"
)

func sheenAndGrip(rules map[quality.Sampled]quality.SampleRule) quality.FinishSpec {
	return quality.FinishSpec{Version: quality.SpecVersion, MaxCycles: 2, Sampling: rules,
		Finish: &quality.FinishCheckSpec{Gloss: &quality.GlossSpec{GeometryDeg: 60, Nominal: 70, Tolerance: 7}, Adhesion: &quality.AdhesionSpec{Method: "ISO2409", Worst: "1"}}}
}

var twoOfEachLoad = quality.SampleRule{By: quality.SampleLoad, Number: 2}

// What a rule names behind the point is how records are searched for it, so it has to be the rule of the findings, found or missing.
func TestCharacteristicOfARuleIsTheRuleOfItsFindings(t *testing.T) {
	full := quality.Check{Kind: quality.Finish, Defects: []quality.Defect{{Code: quality.NoneFound}},
		Readings: []quality.Reading{{Characteristic: "gloss", Value: 71, Text: "71", Unit: quality.GlossUnit}}, Ratings: []quality.Rating{{Characteristic: quality.RatingAdhesion, Code: "0"}}}
	for _, check := range []quality.Check{full, {Kind: quality.Finish, Defects: full.Defects}} {
		judged := quality.Judge(sheenAndGrip(nil), quality.Circumstance{}, &check)
		for _, what := range []quality.Sampled{quality.FinishGloss, quality.FinishAdhesion} {
			if !slices.ContainsFunc(judged.Findings, func(f quality.Finding) bool { return f.Rule == what.Rule() }) {
				t.Errorf("%s has no finding of its own among %+v", what, judged.Findings)
			}
		}
	}
	welded := quality.FinishSpec{Weld: &quality.WeldSpec{Level: "C", Leg: quality.AtLeast(4, quality.Millimetre), Throat: quality.AtLeast(3, quality.Millimetre)}}
	for _, readings := range [][]quality.Reading{nil, {{Characteristic: "weld_leg", Spot: 1, Value: 5, Text: "5", Unit: quality.Millimetre}, {Characteristic: "weld_throat", Spot: 1, Value: 3.5, Text: "3.5", Unit: quality.Millimetre}}} {
		judged := quality.Judge(welded, quality.Circumstance{Welds: 1}, &quality.Check{Kind: quality.Weld, Defects: full.Defects, Readings: readings})
		for _, what := range []quality.Sampled{quality.WeldLeg, quality.WeldThroat} {
			if !slices.ContainsFunc(judged.Findings, func(f quality.Finding) bool { return f.Rule == what.Rule() }) {
				t.Errorf("%s has no finding of its own among %+v", what, judged.Findings)
			}
		}
	}
	if quality.FinishGloss.Check() != quality.Finish || quality.FinishGloss.Name() != "Gloss of the finish check" || quality.Sampled(quality.Film).Name() != "Film thickness" {
		t.Errorf("%s is %q of %s", quality.FinishGloss, quality.FinishGloss.Name(), quality.FinishGloss.Check())
	}
}

func TestFinishCheckIsCompleteWithoutWhatIsNotDueOnThePart(t *testing.T) {
	spec := sheenAndGrip(map[quality.Sampled]quality.SampleRule{quality.FinishGloss: twoOfEachLoad, quality.FinishAdhesion: twoOfEachLoad})
	open := func(what quality.Sampled, drawn bool) quality.SamplePlace {
		return quality.SamplePlace{Of: what, Lot: "IL-1", From: "oven load L-3", Round: 1, Drawn: drawn, State: quality.LotOpen, Sample: 2}
	}
	gloss := func(text string, value float64) []quality.Reading {
		return []quality.Reading{{Characteristic: "gloss", Value: value, Text: text, Unit: quality.GlossUnit}}
	}
	absent := []quality.Reading{{Characteristic: "gloss", Absence: quality.NotMeasured}}
	class := func(code string) []quality.Rating {
		return []quality.Rating{{Characteristic: quality.RatingAdhesion, Code: code}}
	}
	for _, c := range []struct {
		name            string
		glossy, gripped bool // drawn
		readings        []quality.Reading
		ratings         []quality.Rating
		want            quality.Verdict
	}{
		{"neither drawn nor measured", false, false, nil, nil, quality.Pass},
		{"marked as not measured on a part that is no sample", false, false, absent, nil, quality.Pass},
		{"measured all the same, and good", false, false, gloss("70", 70), class("1"), quality.Pass},
		{"measured all the same, and bad", false, false, gloss("55", 55), nil, quality.Fail},
		{"tested all the same, and bad", false, false, nil, class("3"), quality.Fail},
		{"a sample without its gloss", true, false, nil, nil, quality.Incomplete},
		{"a sample whose gloss was not measured", true, false, absent, nil, quality.Incomplete},
		{"a sample of gloss alone", true, false, gloss("77", 77), nil, quality.Pass},
		{"a sample of gloss that fails", true, false, gloss("77.1", 77.1), nil, quality.Fail},
		{"a sample of adhesion without it", false, true, gloss("70", 70), nil, quality.Incomplete},
		{"a sample of adhesion alone", false, true, nil, class("1"), quality.Pass},
		{"a sample of both", true, true, gloss("70", 70), class("0"), quality.Pass},
	} {
		on := quality.OnSample(spec, quality.Finish, 1, []quality.SamplePlace{open(quality.FinishGloss, c.glossy), open(quality.FinishAdhesion, c.gripped)})
		check := quality.Check{Kind: quality.Finish, Defects: []quality.Defect{{Code: quality.NoneFound}}, Readings: c.readings, Ratings: c.ratings}
		if got := quality.Judge(spec, quality.Circumstance{Sampled: on}, &check); got.Verdict != c.want {
			t.Errorf("%s: %s, want %s: %s", c.name, got.Verdict, c.want, got.Sentence())
		}
	}
	// A part that hangs in no lot, such as one that was on hold at the draw, is measured itself.
	check := quality.Check{Kind: quality.Finish, Defects: []quality.Defect{{Code: quality.NoneFound}}}
	if got := quality.Judge(spec, quality.Circumstance{Sampled: quality.OnSample(spec, quality.Finish, 1, nil)}, &check); got.Verdict != quality.Incomplete {
		t.Errorf("a part of no lot: %s", got.Verdict)
	}
}

func TestWeldCheckIsCompleteWithoutASizeThatIsNotDueOnThePart(t *testing.T) {
	spec := quality.FinishSpec{Weld: &quality.WeldSpec{Level: "C", Leg: quality.AtLeast(4, quality.Millimetre)}, Pretreatment: &quality.PretreatmentSpec{},
		Sampling: map[quality.Sampled]quality.SampleRule{quality.WeldLeg: {By: quality.SampleLot, Plan: quality.PlanCoating}}}
	leg := func(weld int, text string, value float64) quality.Reading {
		return quality.Reading{Characteristic: "weld_leg", Spot: weld, Value: value, Text: text, Unit: quality.Millimetre}
	}
	for _, c := range []struct {
		name     string
		drawn    bool
		readings []quality.Reading
		want     quality.Verdict
	}{
		{"neither drawn nor measured", false, nil, quality.Pass},
		{"drawn and not measured", true, nil, quality.Incomplete},
		{"drawn and measured", true, []quality.Reading{leg(1, "4", 4), leg(2, "5", 5)}, quality.Pass},
		{"measured all the same, one of two welds", false, []quality.Reading{leg(1, "4", 4)}, quality.Incomplete},
		{"measured all the same, and too small", false, []quality.Reading{leg(1, "4", 4), leg(2, "3.9", 3.9)}, quality.Fail},
	} {
		on := quality.OnSample(spec, quality.Weld, 1, []quality.SamplePlace{{Of: quality.WeldLeg, Lot: "IL-1", Round: 1, Drawn: c.drawn, State: quality.LotOpen, Sample: 2}})
		check := quality.Check{Kind: quality.Weld, Defects: []quality.Defect{{Code: quality.NoneFound}}, Readings: c.readings}
		if got := quality.Judge(spec, quality.Circumstance{Welds: 2, Sampled: on}, &check); got.Verdict != c.want {
			t.Errorf("%s: %s, want %s: %s", c.name, got.Verdict, c.want, got.Sentence())
		}
	}
	// The wash waits until the lot is made and accepted, as it does where the whole weld check is by lot.
	looked := []quality.Evidence{{RecordID: "a", Kind: quality.Weld, Verdict: quality.Pass, Round: 1}}
	for state, want := range map[quality.LotState]bool{"": false, quality.LotOpen: false, quality.LotAccepted: true} {
		var places []quality.SamplePlace
		if state != "" {
			places = append(places, quality.SamplePlace{Of: quality.WeldLeg, Lot: "IL-1", Round: 1, State: state})
		}
		if ok, why := quality.MayStart(quality.Pretreatment, quality.Gate(spec, 1, looked, places...)); ok != want {
			t.Errorf("washed with the lot %q: %v %q", state, ok, why)
		}
	}
	spec.Sampling[quality.WeldLeg] = quality.SampleRule{By: quality.SampleLoad, Number: 1}
	if said := strings.Join(spec.Validate(), " "); !strings.Contains(said, "Sampling, leg length of the weld check: welds are checked before the part hangs on a rack") {
		t.Errorf("by load: %q", said)
	}
}

// The requirement that a part has for gloss, beside that for its finish check.
func TestGateOfACharacteristicWithADrawOfItsOwn(t *testing.T) {
	spec := sheenAndGrip(map[quality.Sampled]quality.SampleRule{quality.FinishGloss: twoOfEachLoad})
	place := func(p quality.SamplePlace) []quality.SamplePlace {
		p.Of, p.Lot, p.From, p.Sample = quality.FinishGloss, "IL-1", "oven load L-3", 2
		if p.Round == 0 {
			p.Round = 1
		}
		return []quality.SamplePlace{p}
	}
	record := func(id string, round int, v quality.Verdict, gloss ...quality.Verdict) quality.Evidence {
		e := quality.Evidence{RecordID: id, Kind: quality.Finish, Verdict: v, Round: round, Sentence: "own"}
		for _, g := range gloss {
			e.Findings = append(e.Findings, quality.Finding{Rule: "gloss", Verdict: g, Text: "gloss " + string(g)})
		}
		e.Findings = append(e.Findings, quality.Finding{Rule: "adhesion", Verdict: quality.Pass, Text: "adhesion"})
		return e
	}
	superseded := record("a", 1, quality.Fail, quality.Fail)
	superseded.Superseded = true
	conceded := record("a", 1, quality.Fail, quality.Pass)
	conceded.Waived = "CR-1"
	for _, c := range []struct {
		name          string
		round         int
		evidence      []quality.Evidence
		places        []quality.SamplePlace
		finish, gloss quality.State
		next          quality.Kind
		says          string
	}{
		{"drawn, nothing on record", 1, nil, place(quality.SamplePlace{Drawn: true, State: quality.LotOpen}), quality.Missing, quality.Missing, quality.Finish, "Gloss of the finish check is due: this part is one of the 2 samples of oven load L-3, lot IL-1."},
		{"drawn after its finish check", 1, []quality.Evidence{record("a", 1, quality.Pass)}, place(quality.SamplePlace{Drawn: true, State: quality.LotOpen}), quality.Met, quality.Missing, quality.Finish, "is due"},
		{"not drawn, checked", 1, []quality.Evidence{record("a", 1, quality.Pass)}, place(quality.SamplePlace{State: quality.LotOpen}), quality.Met, quality.Missing, "", "waits for its samples"},
		{"not drawn, lot accepted", 1, []quality.Evidence{record("a", 1, quality.Pass)}, place(quality.SamplePlace{State: quality.LotAccepted, Checked: 2}), quality.Met, quality.Met, "", "Stands on lot IL-1, accepted"},
		{"not drawn, lot rejected", 1, []quality.Evidence{record("a", 1, quality.Pass)}, place(quality.SamplePlace{State: quality.LotRejected, Checked: 1, Failed: 1}), quality.Met, quality.Missing, quality.Finish, "gloss of the finish check is due on this part itself"},
		{"drawn, gloss good and a pinhole", 1, []quality.Evidence{record("a", 1, quality.Fail, quality.Pass)}, place(quality.SamplePlace{Drawn: true, State: quality.LotOpen}), quality.Failed, quality.Met, quality.Finish, "gloss pass"},
		{"one reading of two outside", 1, []quality.Evidence{record("a", 1, quality.Fail, quality.Pass, quality.Fail)}, place(quality.SamplePlace{Drawn: true, State: quality.LotRejected}), quality.Failed, quality.Failed, quality.Finish, "gloss fail"},
		{"the concession is about the pinhole", 1, []quality.Evidence{conceded}, place(quality.SamplePlace{Drawn: true, State: quality.LotAccepted}), quality.Waived, quality.Met, "", "gloss pass"},
		{"looked at again without gloss", 1, []quality.Evidence{record("a", 1, quality.Pass, quality.Pass), record("b", 1, quality.Pass)}, place(quality.SamplePlace{Drawn: true, State: quality.LotOpen}), quality.Met, quality.Met, "", "gloss pass"},
		{"its reading was corrected away", 1, []quality.Evidence{superseded, record("b", 1, quality.Pass)}, place(quality.SamplePlace{Drawn: true, State: quality.LotOpen}), quality.Met, quality.Missing, quality.Finish, "is due"},
		{"measured without being drawn", 1, []quality.Evidence{record("a", 1, quality.Pass, quality.Pass)}, place(quality.SamplePlace{State: quality.LotOpen}), quality.Met, quality.Met, "", "gloss pass"},
		{"reworked after its lot was accepted", 2, []quality.Evidence{record("a", 1, quality.Pass), record("b", 2, quality.Pass)}, place(quality.SamplePlace{State: quality.LotAccepted}), quality.Met, quality.Missing, quality.Finish, "due again after rework"},
		{"reworked and measured", 2, []quality.Evidence{record("a", 1, quality.Pass), record("b", 2, quality.Pass, quality.Pass)}, place(quality.SamplePlace{State: quality.LotAccepted}), quality.Met, quality.Met, "", "gloss pass"},
	} {
		items := quality.Gate(spec, c.round, c.evidence, c.places...)
		if len(items) != 2 || items[0].State != c.finish || items[0].Characteristic != "" || items[1].State != c.gloss || items[1].Sampled() != quality.FinishGloss || items[1].Kind != quality.Finish ||
			quality.Next(items) != c.next || !strings.Contains(items[1].Sentence, c.says) {
			t.Errorf("%s: %+v, next %q; want %s and %s, next %q, %q", c.name, items, quality.Next(items), c.finish, c.gloss, c.next, c.says)
		}
	}
	// Without a rule of its own gloss is part of its check, as it was before there were such rules.
	spec.Sampling = nil
	if items := quality.Gate(spec, 1, []quality.Evidence{record("a", 1, quality.Pass, quality.Pass)}, place(quality.SamplePlace{State: quality.LotRejected})...); len(items) != 1 || items[0].State != quality.Met {
		t.Errorf("without a rule: %+v", items)
	}
}

func TestCharacteristicIsSampledOnlyWhereItIsAskedForAndNotOnPanelsToo(t *testing.T) {
	byGloss := map[quality.Sampled]quality.SampleRule{quality.FinishGloss: twoOfEachLoad}
	noGloss, noFinish, both, other := sheenAndGrip(byGloss), sheenAndGrip(byGloss), sheenAndGrip(byGloss), sheenAndGrip(byGloss)
	noGloss.Finish.Gloss = nil
	noFinish.Finish, noFinish.Film = nil, filmOnly(quality.SampleRule{}).Film
	both.PanelTest = &quality.PanelSpec{Gloss: both.Finish.Gloss}
	other.PanelTest = &quality.PanelSpec{Adhesion: other.Finish.Adhesion}
	unruled := both
	unruled.Sampling = nil
	for name, c := range map[string]struct {
		spec  quality.FinishSpec
		wrong string
	}{
		"asked for":                            {sheenAndGrip(byGloss), ""},
		"both apart":                           {sheenAndGrip(map[quality.Sampled]quality.SampleRule{quality.FinishGloss: twoOfEachLoad, quality.FinishAdhesion: {By: quality.SampleLot, Plan: quality.PlanCoating}}), ""},
		"apart from a check on a sample":       {sheenAndGrip(map[quality.Sampled]quality.SampleRule{quality.FinishGloss: twoOfEachLoad, quality.Sampled(quality.Finish): {By: quality.SampleLot, Plan: quality.PlanCoating}}), ""},
		"not asked for":                        {noGloss, "Sampling, gloss of the finish check: the spec does not ask for it"},
		"without its check":                    {noFinish, "Sampling, gloss of the finish check: the spec does not ask for it"},
		"on panels too":                        {both, "Sampling, gloss of the finish check: the panel test asks for gloss on each oven load already"},
		"another characteristic on panels":     {other, ""},
		"on panels and every part, as before":  {unruled, ""},
		"no number":                            {sheenAndGrip(map[quality.Sampled]quality.SampleRule{quality.FinishGloss: {By: quality.SampleRack}}), "Sampling, gloss of the finish check: enter 1 to 999 parts of each rack"},
		"a characteristic that nobody samples": {sheenAndGrip(map[quality.Sampled]quality.SampleRule{"film.area": twoOfEachLoad}), "is recorded for every part"},
	} {
		said := strings.Join(c.spec.Validate(), " ")
		if c.wrong == "" && said != "" || !strings.Contains(said, c.wrong) {
			t.Errorf("%s: %q, want %q", name, said, c.wrong)
		}
	}
}

func TestMethodOfACertificateKeepsApartWhatIsSampledApart(t *testing.T) {
	spec := sheenAndGrip(map[quality.Sampled]quality.SampleRule{quality.FinishGloss: twoOfEachLoad})
	if got := spec.Method(quality.Finish); strings.Contains(got, "gloss") || !strings.Contains(got, "adhesion by") {
		t.Errorf("the finish check is made so: %q", got)
	}
	if got := spec.MethodOf(quality.FinishGloss); got != "Gloss at 60 degrees (ISO 2813)" {
		t.Errorf("gloss is measured so: %q", got)
	}
	spec.Sampling = nil
	if got := spec.Method(quality.Finish); !strings.Contains(got, "gloss at 60 degrees") {
		t.Errorf("without a rule: %q", got)
	}
}
