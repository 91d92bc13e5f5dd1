package quality

import (
	"slices"
	"testing"
	"time"
)

var whole = FinishSpec{Version: SpecVersion, MaxCycles: 2,
	Weld: &WeldSpec{Level: "C"}, Pretreatment: &wash, Coating: &CoatingSpec{}, Cure: &CureSpec{ScheduleC: 190, Channels: 1},
	CureTest: &mek, PanelTest: &PanelSpec{Bend: &BendSpec{MandrelMM: 5}}, Finish: &seen, Film: &FilmSpec{Limits: AtLeast(60, Micrometre), Rule: Areas80, Spots: 5, ReadingsPerSpot: 3}}

var morning = time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)

func evidence(kind Kind, verdict Verdict, minute int) Evidence {
	return Evidence{RecordID: string(kind), Kind: kind, Verdict: verdict, At: morning.Add(time.Duration(minute) * time.Minute), Round: 1, Sentence: kind.Name()}
}

func allPassed() []Evidence {
	var all []Evidence
	for i, kind := range Kinds {
		all = append(all, evidence(kind, Pass, i))
	}
	return all
}

func stateOf(items []Item, kind Kind) State {
	for _, item := range items {
		if item.Kind == kind {
			return item.State
		}
	}
	return ""
}

func TestGateOpensOnlyWithAllEvidence(t *testing.T) {
	if items := Gate(whole, 1, allPassed()); !Open(items) || Next(items) != "" {
		t.Fatalf("all passed, and the gate is %+v", items)
	}
	for i, kind := range Kinds {
		without := slices.Delete(allPassed(), i, i+1)
		if items := Gate(whole, 1, without); Open(items) || stateOf(items, kind) != Missing {
			t.Errorf("without %s the gate is %+v", kind, items)
		}
		for verdict, want := range map[Verdict]State{Fail: Failed, Incomplete: Missing, GuardBand: Met, "": Failed} {
			with := allPassed()
			with[i].Verdict = verdict
			items := Gate(whole, 1, with)
			if stateOf(items, kind) != want || Open(items) != (want == Met) {
				t.Errorf("%s with verdict %q: %s, open %v", kind, verdict, stateOf(items, kind), Open(items))
			}
		}
	}
	if Open(Gate(FinishSpec{}, 1, allPassed())) {
		t.Error("a spec that asks for nothing opens the gate")
	}
}

func TestLatestRecordDecidesAndACorrectedOneDoesNot(t *testing.T) {
	spec := FinishSpec{Film: whole.Film}
	fail, pass := evidence(Film, Fail, 1), evidence(Film, Pass, 2)
	for name, c := range map[string]struct {
		evidence []Evidence
		want     State
	}{
		"fail then pass":         {[]Evidence{fail, pass}, Met},
		"listed the other way":   {[]Evidence{pass, fail}, Met},
		"pass then fail":         {[]Evidence{evidence(Film, Pass, 1), evidence(Film, Fail, 2)}, Failed},
		"corrected":              {[]Evidence{superseded(pass)}, Void},
		"corrected, older stays": {[]Evidence{fail, superseded(pass)}, Failed},
		"corrected and repeated": {[]Evidence{superseded(fail), pass}, Met},
	} {
		if got := stateOf(Gate(spec, 1, c.evidence), Film); got != c.want {
			t.Errorf("%s: %s, want %s", name, got, c.want)
		}
	}
}

func superseded(e Evidence) Evidence {
	e.Superseded = true
	return e
}

func TestOfTwoRecordsAtOneInstantTheLaterNumberDecidesInAnyOrder(t *testing.T) {
	first, second := evidence(Film, Pass, 1), evidence(Film, Fail, 1)
	first.RecordID, second.RecordID = "01a", "01b"
	for _, read := range [][]Evidence{{first, second}, {second, first}} {
		if items := Gate(FinishSpec{Film: whole.Film}, 1, read); stateOf(items, Film) != Failed {
			t.Errorf("read as %s, %s the gate is %+v", read[0].RecordID, read[1].RecordID, items)
		}
	}
}

func TestReworkMakesChecksDueAgainAndLeavesRunsStanding(t *testing.T) {
	items := Gate(whole, 2, allPassed())
	for _, kind := range Kinds {
		want := Missing
		if kind.IsRun() {
			want = Met
		}
		if got := stateOf(items, kind); got != want {
			t.Errorf("%s after rework: %s, want %s", kind, got, want)
		}
	}
	for _, e := range [][]Evidence{allPassed(), {superseded(evidence(Film, Pass, 1))}} {
		for _, item := range Gate(FinishSpec{Film: whole.Film}, 2, e) {
			if item.Sentence != "Film thickness is due again after rework." {
				t.Errorf("the gate says %q", item.Sentence)
			}
		}
	}
}

func TestConcessionWaivesAFail(t *testing.T) {
	e := evidence(Film, Fail, 1)
	e.Waived, e.Sentence = "C-17", "Spot 3 is thin."
	items := Gate(FinishSpec{Film: whole.Film}, 1, []Evidence{e})
	if items[0].State != Waived || items[0].Sentence != "Accepted under concession C-17: Spot 3 is thin." || !Open(items) {
		t.Errorf("the gate is %+v", items)
	}
}

func TestNothingStartsBeforeWhatItNeeds(t *testing.T) {
	all := allPassed()
	for n, next := range Kinds {
		items := Gate(whole, 1, all[:n])
		if ok, reason := MayStart(next, items); !ok {
			t.Errorf("%s after %d steps: %s", next, n, reason)
		}
		if got := Next(items); got != next {
			t.Errorf("after %d steps the next is %q, want %q", n, got, next)
		}
	}
	ok, reason := MayStart(Cure, Gate(whole, 1, all[:2]))
	if ok || reason != "Cure cannot be recorded yet: coating is missing." {
		t.Errorf("cure before coating: %v %q", ok, reason)
	}
	failed := Gate(whole, 1, []Evidence{evidence(Weld, Fail, 1)})
	if ok, reason := MayStart(Pretreatment, failed); ok || reason != "Pretreatment cannot be recorded yet: weld check failed." {
		t.Errorf("wash after a failed weld: %v %q", ok, reason)
	}
	if ok, _ := MayStart(Film, nil); !ok {
		t.Error("a spec that asks for no earlier step blocks")
	}
}

func TestJudgeIsTheOneWayIn(t *testing.T) {
	checks := map[Kind]Check{Weld: weldWith(Defect{Code: NoneFound}), Pretreatment: washed(), Coating: {}, Cure: metal([2]float64{200, 14}),
		CureTest: rubbed(50, 30, "4"), PanelTest: onMandrel("5", "whole"), Finish: looked(3000, Defect{Code: NoneFound}), Film: film(Micrometre, []float64{70, 71, 72}, []float64{70, 71, 72}, []float64{70, 71, 72}, []float64{70, 71, 72}, []float64{70, 71, 72})}
	circumstance := Circumstance{WallMM: 4, Window: polyester, SincePretreatment: time.Hour}
	for _, kind := range Kinds {
		check := checks[kind]
		check.Kind = kind
		got := Judge(whole, circumstance, &check)
		if got.Verdict != Pass {
			t.Errorf("%s: %s: %s", kind, got.Verdict, got.Sentence())
		}
		sound(t, got)
		if got := Judge(FinishSpec{}, circumstance, &check); got.Verdict != Incomplete {
			t.Errorf("%s with a spec that does not ask for it: %s, want incomplete", kind, got.Verdict)
		}
	}
	shimmed := shimCheck(0, 24.6, 76, Micrometre)
	if got := Judge(FinishSpec{}, Circumstance{Gauge: gauge, Shims: shims}, &shimmed); got.Verdict != Pass {
		t.Errorf("verification: %s: %s", got.Verdict, got.Sentence())
	}
}

func TestJudgePutsWhatIsWrongFirstAndSetsEveryFlagItself(t *testing.T) {
	check := film(Micrometre, spots(80, 80, 40)...)
	check.Readings[0].Flag = High
	check.Readings = append(check.Readings, Reading{Characteristic: "light", Value: 500, Unit: Lux, Flag: Low})
	got := Judge(FinishSpec{Film: &FilmSpec{Limits: AtLeast(60, Micrometre), Rule: Areas80, Spots: 3, ReadingsPerSpot: 1}}, Circumstance{}, &check)
	if got.Findings[0].Verdict != Fail || got.Findings[len(got.Findings)-1].Verdict != Pass {
		t.Errorf("findings are\n\t%s", texts(got.Findings))
	}
	for i, want := range []Flag{In, In, Low, Unflagged} {
		if check.Readings[i].Flag != want {
			t.Errorf("reading %d is flagged %q, want %q", i, check.Readings[i].Flag, want)
		}
	}
	if want := "Spot 3: mean 40 µm is under 48 µm, 80 % of the minimum."; got.Sentence() != want {
		t.Errorf("got %q, want %q", got.Sentence(), want)
	}
}
