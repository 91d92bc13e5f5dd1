package quality_test

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"coatbook/quality"
	"coatbook/quality/sampling"
)

const (
	film = quality.Sampled(quality.Film)
	weld = quality.Sampled(quality.Weld)
)

func filmOnly(rule quality.SampleRule) quality.FinishSpec {
	return quality.FinishSpec{Version: quality.SpecVersion, MaxCycles: 1, Film: &quality.FilmSpec{Limits: quality.Between(60, 120, quality.Micrometre), Rule: quality.Areas80, Spots: 5, ReadingsPerSpot: 3},
		Sampling: map[quality.Sampled]quality.SampleRule{film: rule}}
}

func TestAQLsAndLevelsOfASpecAreThoseOfTheTable(t *testing.T) {
	var want []float64
	for _, aql := range sampling.AQLs() {
		if aql <= 10 {
			want = append(want, aql)
		}
	}
	if !slices.Equal(quality.SampleAQLs, want) {
		t.Errorf("a spec may name %v, the table has %v", quality.SampleAQLs, want)
	}
	for _, level := range quality.SampleLevels {
		if _, err := sampling.CodeLetter(50, sampling.Level(level)); err != nil {
			t.Errorf("level %s: %v", level, err)
		}
	}
}

func TestSamplingRuleSaysWhatKeepsItFromBeingUsed(t *testing.T) {
	lot := func(r quality.SampleRule) quality.SampleRule { r.By = quality.SampleLot; return r }
	for _, c := range []struct {
		what  quality.Sampled
		rule  quality.SampleRule
		wrong string
	}{
		{film, lot(quality.SampleRule{Plan: quality.PlanCoating}), ""},
		{film, lot(quality.SampleRule{Plan: quality.PlanAQL, Level: "II", AQL: 2.5}), ""},
		{film, lot(quality.SampleRule{Plan: quality.PlanZero, SharePercent: 5, ConfidencePercent: 90}), ""},
		{film, quality.SampleRule{By: quality.SampleRack, Number: 2}, ""},
		{film, quality.SampleRule{By: quality.SampleRack}, "1 to 999 parts"},
		{film, lot(quality.SampleRule{Plan: quality.PlanAQL, Level: "II", AQL: 3}), "choose an AQL"},
		{film, lot(quality.SampleRule{Plan: quality.PlanAQL, Level: "IV", AQL: 2.5}), "inspection level"},
		{film, lot(quality.SampleRule{Plan: quality.PlanZero, SharePercent: 0, ConfidencePercent: 90}), "share bad"},
		{film, lot(quality.SampleRule{}), "choose a plan"},
		{film, quality.SampleRule{}, "what a sample stands for"},
		{weld, quality.SampleRule{By: quality.SampleRack, Number: 2}, "before the part hangs on a rack"},
		{quality.Sampled(quality.Finish), lot(quality.SampleRule{Plan: quality.PlanCoating}), "does not ask for finish check"},
		{quality.Sampled(quality.Coating), lot(quality.SampleRule{Plan: quality.PlanCoating}), "recorded for every part"},
	} {
		spec := filmOnly(quality.SampleRule{By: quality.SampleRack, Number: 1})
		spec.Weld = &quality.WeldSpec{Level: "C"}
		spec.Sampling = map[quality.Sampled]quality.SampleRule{c.what: c.rule}
		said := strings.Join(spec.Validate(), " ")
		if c.wrong == "" && said != "" || !strings.Contains(said, c.wrong) {
			t.Errorf("%s %+v: %q, want %q", c.what, c.rule, said, c.wrong)
		}
	}
}

// The gate of one part by what its lot has come to.
func TestGateOfASampledCheck(t *testing.T) {
	spec := filmOnly(quality.SampleRule{By: quality.SampleLot, Plan: quality.PlanCoating})
	place := func(p quality.SamplePlace) []quality.SamplePlace {
		p.Of, p.Lot, p.Sample, p.Accept = film, "IL-1", 10, 1
		if p.Round == 0 {
			p.Round = 1
		}
		return []quality.SamplePlace{p}
	}
	own := func(v quality.Verdict, round int) []quality.Evidence {
		return []quality.Evidence{{RecordID: "r", Kind: quality.Film, Verdict: v, Round: round, Sentence: "own"}}
	}
	for _, c := range []struct {
		name     string
		round    int
		evidence []quality.Evidence
		places   []quality.SamplePlace
		state    quality.State
		next     quality.Kind
		says     string
	}{
		{"without a lot", 1, nil, nil, quality.Missing, "", "a supervisor makes the lot"},
		{"not drawn, open", 1, nil, place(quality.SamplePlace{State: quality.LotOpen, Checked: 3}), quality.Missing, "", "3 of 10 are checked"},
		{"not drawn, accepted", 1, nil, place(quality.SamplePlace{State: quality.LotAccepted, Checked: 10, Failed: 1}), quality.Met, "", "Stands on lot IL-1, accepted: 1 of 10 samples failed, 1 allowed."},
		{"not drawn, accepted between the numbers", 1, nil, place(quality.SamplePlace{State: quality.LotBetween, Checked: 10, Failed: 2}), quality.Met, "", "accepted"},
		{"not drawn, rejected", 1, nil, place(quality.SamplePlace{State: quality.LotRejected, Checked: 4, Failed: 2}), quality.Missing, quality.Film, "due on this part itself"},
		{"not drawn, rejected, under concession", 1, nil, place(quality.SamplePlace{State: quality.LotRejected, Waived: "CR-1"}), quality.Waived, "", "concession CR-1"},
		{"drawn", 1, nil, place(quality.SamplePlace{Drawn: true, State: quality.LotOpen}), quality.Missing, quality.Film, "one of the 10 samples of lot IL-1"},
		{"drawn and passed", 1, own(quality.Pass, 1), place(quality.SamplePlace{Drawn: true, State: quality.LotOpen}), quality.Met, "", "own"},
		{"drawn and failed", 1, own(quality.Fail, 1), place(quality.SamplePlace{Drawn: true, State: quality.LotAccepted}), quality.Failed, quality.Film, "own"},
		{"not drawn, screened", 1, own(quality.Pass, 1), place(quality.SamplePlace{State: quality.LotRejected}), quality.Met, "", "own"},
		{"reworked after its lot was accepted", 2, nil, place(quality.SamplePlace{State: quality.LotAccepted}), quality.Missing, quality.Film, "due again after rework"},
		{"reworked without ever being in a lot", 2, nil, nil, quality.Missing, quality.Film, "not recorded yet"},
	} {
		items := quality.Gate(spec, c.round, c.evidence, c.places...)
		if len(items) != 1 || items[0].State != c.state || quality.Next(items) != c.next || !strings.Contains(items[0].Sentence, c.says) {
			t.Errorf("%s: %+v, next %q; want %s, next %q, %q", c.name, items, quality.Next(items), c.state, c.next, c.says)
		}
	}
	// Every part is the rule where a spec says nothing, whatever lots there once were.
	spec.Sampling = nil
	if items := quality.Gate(spec, 1, nil, place(quality.SamplePlace{State: quality.LotAccepted})...); items[0].State != quality.Missing {
		t.Errorf("without a rule: %+v", items)
	}
}

func TestWashWaitsForTheLotOfTheWelds(t *testing.T) {
	spec := quality.FinishSpec{MaxCycles: 1, Weld: &quality.WeldSpec{Level: "C"}, Pretreatment: &quality.PretreatmentSpec{},
		Sampling: map[quality.Sampled]quality.SampleRule{weld: {By: quality.SampleLot, Plan: quality.PlanCoating}}}
	lot := quality.SamplePlace{Of: weld, Lot: "IL-1", Round: 1, State: quality.LotOpen, Sample: 10}
	if ok, why := quality.MayStart(quality.Pretreatment, quality.Gate(spec, 1, nil, lot)); ok || !strings.Contains(why, "stands on lot IL-1") {
		t.Errorf("washed before the lot is accepted: %v %q", ok, why)
	}
	lot.State = quality.LotAccepted
	if ok, why := quality.MayStart(quality.Pretreatment, quality.Gate(spec, 1, nil, lot)); !ok {
		t.Errorf("the accepted lot is not washed: %s", why)
	}
	// Baked again in a later round: the welds are under the film and are no obstacle, though release asks for them.
	items := quality.Gate(spec, 2, nil, lot)
	if ok, why := quality.MayStart(quality.Pretreatment, items); !ok || quality.Open(items) {
		t.Errorf("after rework: %v %q %+v", ok, why, items)
	}
}

func TestSpecKeepsItsSamplingRules(t *testing.T) {
	spec := filmOnly(quality.SampleRule{By: quality.SampleLot, Plan: quality.PlanAQL, Level: "II", AQL: 0.65, Reduced: true})
	body, err := spec.Encode()
	if err != nil {
		t.Fatal(err)
	}
	read, err := quality.DecodeFinishSpec(body)
	if err != nil || read.Sampling[film] != spec.Sampling[film] {
		t.Errorf("%+v, %v", read.Sampling, err)
	}
	spec.Sampling = nil
	if body, _ := json.Marshal(spec); strings.Contains(string(body), "sampling") {
		t.Error("a spec without a rule says something about sampling")
	}
}
