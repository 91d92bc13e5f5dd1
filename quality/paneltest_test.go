package quality

import (
	"strings"
	"testing"
)

func onMandrel(mm, result string) Check {
	r, _ := ParseReading("mandrel", mm, Millimetre)
	return Check{Kind: PanelTest, Readings: []Reading{r}, Ratings: []Rating{{Characteristic: RatingBend, Code: result}}}
}

// Qualicoat, struck on the reverse with 2.5 N·m: class 1 shows no crack; class 2 and 3 may crack, but nothing lifts on the
// tape (seen in a restatement, chinapowdercoatpowder.com/impact-test-qualicoat). Mandrel 5 mm: from memory.
func TestPanelTestJudgesWhatTheSpecAsks(t *testing.T) {
	classOne := &ImpactSpec{EnergyNm: 2.5}
	classTwo := &ImpactSpec{EnergyNm: 2.5, Tape: true}
	struck := func(energy string, unit Unit, result string) Check {
		r, problem := ParseReading("impact_energy", energy, unit)
		if problem != "" {
			t.Fatal(problem)
		}
		return Check{Readings: []Reading{r}, Ratings: []Rating{{Characteristic: RatingImpact, Code: result}}}
	}
	rated := func(characteristic, code string) Check {
		return Check{Ratings: []Rating{{Characteristic: characteristic, Code: code}}}
	}
	for name, c := range map[string]struct {
		spec  PanelSpec
		check Check
		want  Verdict
		says  string
	}{
		"class 1, whole":                     {PanelSpec{Impact: classOne}, struck("2.5", NewtonMetre, "whole"), Pass, ""},
		"class 1, cracks":                    {PanelSpec{Impact: classOne}, struck("2.5", NewtonMetre, "cracked"), Fail, "Impact: fine cracks"},
		"class 2, cracks":                    {PanelSpec{Impact: classTwo}, struck("2.5", NewtonMetre, "cracked"), Pass, ""},
		"class 2, lifts":                     {PanelSpec{Impact: classTwo}, struck("2.5", NewtonMetre, "lifted"), Fail, "the coat lifts"},
		"a weak blow shows nothing":          {PanelSpec{Impact: classOne}, struck("2.4", NewtonMetre, "whole"), Incomplete, "under 2.5"},
		"a weak blow that cracks":            {PanelSpec{Impact: classOne}, struck("1.5", NewtonMetre, "cracked"), Fail, "cracks"},
		"23 in·lbf is 2.6 N·m":               {PanelSpec{Impact: classOne}, struck("23", InchPound, "whole"), Pass, ""},
		"22 in·lbf is 2.486 N·m":             {PanelSpec{Impact: classOne}, struck("22", InchPound, "whole"), Incomplete, "under"},
		"no result":                          {PanelSpec{Impact: classOne}, Check{}, Incomplete, "missing"},
		"mandrel as asked":                   {PanelSpec{Bend: &BendSpec{MandrelMM: 5}}, onMandrel("5", "whole"), Pass, ""},
		"a narrower mandrel asks more":       {PanelSpec{Bend: &BendSpec{MandrelMM: 5}}, onMandrel("4", "whole"), Pass, ""},
		"a wider mandrel shows nothing":      {PanelSpec{Bend: &BendSpec{MandrelMM: 5}}, onMandrel("6", "whole"), Incomplete, "over 5"},
		"a result nobody knows":              {PanelSpec{Bend: &BendSpec{MandrelMM: 5}}, onMandrel("5", "fine"), Incomplete, "not a result"},
		"pencil F where F is asked":          {PanelSpec{Pencil: &PencilSpec{"D3363", "F"}}, rated(RatingPencil, "F"), Pass, ""},
		"HB is softer than F":                {PanelSpec{Pencil: &PencilSpec{"D3363", "F"}}, rated(RatingPencil, "HB"), Fail, "HB is softer than F"},
		"9H is no pencil of D3363":           {PanelSpec{Pencil: &PencilSpec{"D3363", "F"}}, rated(RatingPencil, "9H"), Incomplete, "not a pencil"},
		"cross-cut 4B where 4B is asked":     {PanelSpec{Adhesion: &AdhesionSpec{Method: "D3359B", Worst: "4B"}}, rated(RatingAdhesion, "4B"), Pass, ""},
		"cross-cut 3B where 4B is asked":     {PanelSpec{Adhesion: &AdhesionSpec{Method: "D3359B", Worst: "4B"}}, rated(RatingAdhesion, "3B"), Fail, "3B"},
		"class 1 of ISO 2409 is not a D one": {PanelSpec{Adhesion: &AdhesionSpec{Method: "D3359B", Worst: "4B"}}, rated(RatingAdhesion, "1"), Incomplete, "not a class"},
		"a spec that asks for nothing":       {PanelSpec{}, Check{}, Incomplete, "proves nothing"},
	} {
		check := c.check
		check.Kind = PanelTest
		j := Judge(FinishSpec{PanelTest: &c.spec}, Circumstance{}, &check)
		if j.Verdict != c.want || !strings.Contains(j.Sentence(), c.says) {
			t.Errorf("%s: %s, %q; want %s, %q", name, j.Verdict, j.Sentence(), c.want, c.says)
		}
	}
}

func TestPanelSpecIsRefusedWhereItCannotBeUsed(t *testing.T) {
	for says, spec := range map[string]PanelSpec{
		"Panel test: choose at least one test.":                                       {},
		"Pencil hardness: “9H” is not a grade of D3363.":                              {Pencil: &PencilSpec{"D3363", "9H"}},
		"Bend, mandrel: enter 1 to 50 mm.":                                            {Bend: &BendSpec{MandrelMM: 0}},
		"Impact: enter 0.1 to 50 N·m.":                                                {Impact: &ImpactSpec{EnergyNm: 0}},
		"Adhesion: “1” is not a class of ASTM D3359 B.":                               {Adhesion: &AdhesionSpec{Method: "D3359B", Worst: "1"}},
		"Gloss: enter a nominal, a tolerance over 0 and a geometry of 20, 60 or 85°.": {Gloss: &GlossSpec{GeometryDeg: 45, Nominal: 30, Tolerance: 5}},
	} {
		got := FinishSpec{MaxCycles: 1, PanelTest: &spec}.Validate()
		if len(got) != 1 || got[0] != says {
			t.Errorf("got %q, want %q", got, says)
		}
	}
}

func TestConditionsAreAskedWhereTheMethodSaysSo(t *testing.T) {
	spec := FinishSpec{PanelTest: &PanelSpec{Adhesion: &AdhesionSpec{Method: "D3359B", Worst: "4B", Conditions: true}}, Finish: &FinishCheckSpec{Adhesion: &AdhesionSpec{Method: "D3359B", Worst: "4B"}}}
	tested := []Rating{{Characteristic: RatingAdhesion, Code: "5B"}}
	air, _ := ParseReading(TestTemperature, "73", Fahrenheit)
	damp, _ := ParseReading(TestHumidity, "48", Percent)
	for name, c := range map[string]struct {
		check Check
		says  string
	}{
		"none":                     {Check{Kind: PanelTest, Ratings: tested}, "temperature and humidity"},
		"no humidity":              {Check{Kind: PanelTest, Ratings: tested, Readings: []Reading{air}}, "relative humidity"},
		"no temperature":           {Check{Kind: PanelTest, Ratings: tested, Readings: []Reading{damp}}, "the temperature"},
		"both":                     {Check{Kind: PanelTest, Ratings: tested, Readings: []Reading{air, damp}}, ""},
		"adhesion not tested":      {Check{Kind: PanelTest}, ""},
		"a spec that does not ask": {Check{Kind: Finish, Ratings: tested}, ""},
	} {
		got := ConditionsMissing(spec, c.check)
		if (got == "") != (c.says == "") || !strings.Contains(got, c.says) {
			t.Errorf("%s: %q, want %q", name, got, c.says)
		}
	}
	if _, problem := ParseReading(TestTemperature, "73", Celsius); !strings.Contains(problem, "°F") {
		t.Errorf("73 °C in a test room is taken: %q", problem)
	}
}

func TestRecordThatWaitsForASecondPersonDoesNotOpenTheGateAndHoldsUpNoWork(t *testing.T) {
	all := allPassed()
	for i := range all {
		if all[i].Kind == Cure {
			all[i].Unconfirmed = "It waits."
		}
	}
	items := Gate(whole, 1, all)
	if Open(items) || Next(items) != "" {
		t.Errorf("open %v, next %q: the gate waits and nothing is to be recorded", Open(items), Next(items))
	}
	if ok, reason := MayStart(Film, items); !ok {
		t.Errorf("the work stands still: %s", reason)
	}
	failed := evidence(Cure, Fail, 3)
	failed.Unconfirmed = "It waits."
	if got := Gate(FinishSpec{Cure: whole.Cure}, 1, []Evidence{failed})[0].State; got != Failed {
		t.Errorf("a failed record that waits is %s, want failed", got)
	}
}

func TestTypedWindowIsReadPointByPoint(t *testing.T) {
	read := func(code, text string, unit Unit, spot int) Reading {
		r, problem := ParseReading(code, text, unit)
		if problem != "" {
			t.Fatal(problem)
		}
		r.Spot = spot
		return r
	}
	check := Check{Readings: []Reading{read(WindowMetal, "356", Fahrenheit, 1), read(WindowLeast, "15", Minute, 1), read(WindowMetal, "200", Celsius, 2), read(WindowLeast, "8", Minute, 2), read(WindowLongest, "20", Minute, 2)}}
	window, typed := TypedWindow(check)
	if want := "15 min at 180 °C; 8 to 20 min at 200 °C"; !typed || window.Words() != want || len(window.Validate()) != 0 {
		t.Errorf("typed %v, %q, want %q", typed, window.Words(), want)
	}
	if _, typed := TypedWindow(Check{}); typed {
		t.Error("a check without a window has one")
	}
}
