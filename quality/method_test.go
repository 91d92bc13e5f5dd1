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
	}
	for kind, want := range map[Kind]string{
		Weld:         "Welds examined by eye before coating, quality level C by wall thickness",
		Pretreatment: "Wash of 2 stages: cleaner, conversion; water-break test after the last rinse",
		Coating:      "Powder lot, booth and air recorded for each rack",
		Cure:         "Metal temperature at 3 places or more, time at metal temperature from 190 °C against the powder's window",
		CureTest:     "Solvent rub, 50 double rubs with MEK, rated 1 to 4, 4 best, from 3 on passes",
		Finish:       "Finish seen by eye from 3 m; gloss at 60 degrees (ISO 2813); adhesion by ISO 2409 cross-cut",
		Film:         "Dry film thickness by gauge on aluminium (eddy current, ISO 2360), 5 spots of 1 reading",
		BathReading:  "",
	} {
		if got := spec.Method(kind); got != want {
			t.Errorf("%s: %q, want %q", kind, got, want)
		}
	}
	if got := (FinishSpec{}).Method(Film); got != "" {
		t.Errorf("a spec without film says %q", got)
	}
}
