package quality

import "testing"

// By hand: what each section of a spec says of its method.
func TestMethodSaysHowEachKindIsMade(t *testing.T) {
	spec := FinishSpec{
		Weld: &WeldSpec{Level: "C"}, Coating: &CoatingSpec{},
		Pretreatment: &PretreatmentSpec{Stages: []StageSpec{{Name: "Cleaner"}, {Name: "Conversion"}}, WaterBreak: true},
		Cure:         &CureSpec{ScheduleC: 190, Channels: 3}, CureTest: &CureTestSpec{Solvent: "MEK", Rubs: 50, PassFrom: 3},
		Finish: &FinishCheckSpec{DistanceMM: 3000, Gloss: &GlossSpec{GeometryDeg: 60}, Adhesion: &AdhesionSpec{Method: "ISO2409"}},
		Film:   &FilmSpec{Spots: 5, ReadingsPerSpot: 1},
		PanelTest: &PanelSpec{Adhesion: &AdhesionSpec{Method: "D3359B", Conditions: true}, Gloss: &GlossSpec{GeometryDeg: 60}, Pencil: &PencilSpec{Method: "ISO15184", Softest: "F"},
			Bend: &BendSpec{MandrelMM: 5}, Impact: &ImpactSpec{EnergyNm: 2.5, Tape: true}},
	}
	for kind, want := range map[Kind]string{
		Weld:         "Welds examined by eye before coating, quality level C by wall thickness",
		Pretreatment: "Wash of 2 stages: cleaner, conversion; water-break test after the last rinse",
		Coating:      "Powder lot, booth and air recorded for each rack",
		Cure:         "Metal temperature at 3 places or more, time at metal temperature from 190 °C against the powder's window",
		CureTest:     "Solvent rub, 50 double rubs with MEK, rated 1 to 4, 4 best, from 3 on passes",
		Finish:       "Finish seen by eye from 3 m; gloss at 60 degrees (ISO 2813); adhesion by ISO 2409 cross-cut",
		Film:         "Dry film thickness by gauge on aluminium (eddy current, ISO 2360), 5 spots of 1 reading",
		PanelTest: "Destructive tests on a witness panel of the oven load: adhesion by ASTM D3359 method B, cross-cut, temperature and humidity recorded; gloss at 60 degrees (ISO 2813); " +
			"pencil hardness by ISO 15184; bend over a mandrel of 5 mm, seen for cracks; impact of 2.5 N·m on the back, cracks judged by tape",
		BathReading: "",
	} {
		if got := spec.Method(kind); got != want {
			t.Errorf("%s: %q, want %q", kind, got, want)
		}
	}
	if got := (FinishSpec{}).Method(Film); got != "" {
		t.Errorf("a spec without film says %q", got)
	}
}

func TestMethodOfAPanelTestNamesOnlyWhatIsAsked(t *testing.T) {
	for want, panel := range map[string]PanelSpec{
		"Destructive tests on a witness panel of the oven load: adhesion by ASTM D3359 method A, X-cut":                {Adhesion: &AdhesionSpec{Method: "D3359A"}},
		"Destructive tests on a witness panel of the oven load: pencil hardness by ASTM D3363":                         {Pencil: &PencilSpec{Method: "D3363", Softest: "H"}},
		"Destructive tests on a witness panel of the oven load: bend over a mandrel of 12.5 mm, cracks judged by tape": {Bend: &BendSpec{MandrelMM: 12.5, Tape: true}},
		"Destructive tests on a witness panel of the oven load: impact of 10 N·m on the back, seen for cracks":         {Impact: &ImpactSpec{EnergyNm: 10}},
	} {
		if got := (FinishSpec{PanelTest: &panel}).Method(PanelTest); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
	if got := (FinishSpec{}).Method(PanelTest); got != "" {
		t.Errorf("a spec without panels says %q", got)
	}
}
