package quality

import (
	"slices"
	"strings"
	"testing"
)

// Viewing from 3 m: Qualicoat in the plant (seen, technicdoor.com).
var seen = FinishCheckSpec{DistanceMM: 3000, Allowed: []DefectLimit{{Code: "inclusion", Count: 2, SizeMM: 0.5}, {Code: "orange_peel", Count: 1}}}

func looked(mm float64, defects ...Defect) Check {
	return Check{Kind: Finish, Defects: defects, Readings: []Reading{{Characteristic: "viewing_distance", Value: mm, Unit: Millimetre}}}
}

func TestFinishDefectsAgainstTheSpec(t *testing.T) {
	none := Defect{Code: NoneFound}
	for name, c := range map[string]struct {
		check Check
		want  Verdict
		says  string
	}{
		"none found":        {looked(3000, none), Pass, "Nothing was found."},
		"empty":             {looked(3000), Incomplete, "Nothing is entered. Enter what was found, or state that nothing was found."},
		"permitted":         {looked(3000, Defect{Code: "inclusion", Count: 1, SizeMM: mm(0.5)}), Pass, "Inclusion, 0.5 mm meets at most 0.5 mm."},
		"too large":         {looked(3000, Defect{Code: "inclusion", Count: 1, SizeMM: mm(0.6), Place: "top rail"}), Fail, "Top rail: inclusion, 0.6 mm is over 0.5 mm."},
		"too many":          {looked(3000, Defect{Code: "inclusion", Count: 3, SizeMM: mm(0.2)}), Fail, "Inclusion: 3 on the part, at most 2 permitted."},
		"too many in lines": {looked(3000, Defect{Code: "inclusion", Count: 2, SizeMM: mm(0.2)}, Defect{Code: "inclusion", Count: 1, SizeMM: mm(0.2)}), Fail, "Inclusion: 3 on the part, at most 2 permitted."},
		"size missing":      {looked(3000, Defect{Code: "inclusion", Count: 1}), Incomplete, "Inclusion is permitted up to 0.5 mm. Measure its size."},
		"no size asked":     {looked(3000, Defect{Code: "orange_peel", Count: 1}), Pass, "Orange peel: 1 on the part, at most 1 permitted."},
		"not permitted":     {looked(3000, Defect{Code: "crater", Count: 1}), Fail, "Crater is not permitted by the spec."},
		"unknown":           {looked(3000, Defect{Code: "x", Count: 1}), Fail, "Defect x is not permitted by the spec."},
		"no distance":       {Check{Kind: Finish, Defects: []Defect{none}}, Incomplete, "Viewing distance is missing; the spec says at most 3000 mm."},
		"nearer":            {looked(1000, none), Pass, ""},
		"farther":           {looked(3500, none), Incomplete, "Viewing distance 3500 mm is over 3000 mm. Look again from nearer."},
	} {
		got := JudgeFinish(seen, &c.check)
		if got.Verdict != c.want || c.says != "" && !contains(got.Findings, c.says) {
			t.Errorf("%s: %s, want %s and %q, but\n\t%s", name, got.Verdict, c.want, c.says, texts(got.Findings))
		}
		sound(t, got)
	}
}

// A scratch through to metal is rejected at any distance (seen, technicdoor.com).
func TestScratchToMetalIsNeverPermitted(t *testing.T) {
	spec := seen
	spec.Allowed = append(slices.Clone(spec.Allowed), DefectLimit{Code: ScratchToMetal, Count: 99})
	check := looked(3000, Defect{Code: ScratchToMetal, Count: 1, SizeMM: mm(0.1)})
	if got := JudgeFinish(spec, &check); got.Verdict != Fail {
		t.Errorf("got %s, want fail", got.Verdict)
	}
	whole := FinishSpec{Finish: &spec, MaxCycles: 1}
	if !slices.Contains(whole.Validate(), "A scratch to metal cannot be permitted.") {
		t.Errorf("the spec is let through: %v", whole.Validate())
	}
}

// Tolerances on gloss at 60°: ±5 up to 30, ±7 up to 70, ±10 up to 100 (seen, coatechcoatings.com on Qualicoat).
func TestGlossBands(t *testing.T) {
	for nominal, want := range map[float64]float64{0: 5, 30: 5, 31: 7, 70: 7, 71: 10, 100: 10} {
		if got, ok := GlossBand(nominal); !ok || got != want {
			t.Errorf("nominal %v: ±%v, want ±%v", nominal, got, want)
		}
	}
	for _, nominal := range []float64{-1, 101, nan()} {
		if _, ok := GlossBand(nominal); ok {
			t.Errorf("nominal %v has a band", nominal)
		}
	}
}

func TestGlossIsWithinNominalAndTolerance(t *testing.T) {
	spec := FinishCheckSpec{Gloss: &GlossSpec{GeometryDeg: 60, Nominal: 70, Tolerance: 7}}
	for value, want := range map[float64]Verdict{63: Pass, 77: Pass, 62.9: Fail, 77.1: Fail} {
		check := Check{Kind: Finish, Defects: []Defect{{Code: NoneFound}}, Readings: []Reading{{Characteristic: "gloss", Value: value, Unit: GlossUnit}}}
		got := JudgeFinish(spec, &check)
		if got.Verdict != want {
			t.Errorf("%v GU against 70 ± 7: %s, want %s", value, got.Verdict, want)
		}
	}
	check := Check{Kind: Finish, Defects: []Defect{{Code: NoneFound}}}
	if got := JudgeFinish(spec, &check); got.Verdict != Incomplete {
		t.Errorf("without a reading: %s, want incomplete", got.Verdict)
	}
}

// ASTM D3359 B seen (pslc.ws); ISO 2409 seen in makers' reproductions. The wordings part at exactly 5 %: "under" against "up to".
func TestAdhesionClassByEachStandardsOwnWording(t *testing.T) {
	for _, c := range []struct {
		percent   float64
		astm, iso string
	}{
		{0, "5B", "0"}, {0.1, "4B", "1"}, {4.9, "4B", "1"}, {5, "3B", "1"}, {5.1, "3B", "2"}, {15, "3B", "2"}, {15.1, "2B", "3"},
		{35, "2B", "3"}, {35.1, "1B", "4"}, {65, "1B", "4"}, {65.1, "0B", "5"}, {100, "0B", "5"},
		{-0.1, "", ""}, {100.1, "", ""}, {nan(), "", ""},
	} {
		if got := AdhesionClassD3359B(c.percent); got != c.astm {
			t.Errorf("%v %%: D3359 B class %q, want %q", c.percent, got, c.astm)
		}
		if got := AdhesionClassISO2409(c.percent); got != c.iso {
			t.Errorf("%v %%: ISO 2409 class %q, want %q", c.percent, got, c.iso)
		}
	}
}

func TestAdhesionScalesRunInOppositeDirections(t *testing.T) {
	for _, c := range []struct {
		method, worst, code string
		want                Verdict
	}{
		{"D3359B", "4B", "5B", Pass}, {"D3359B", "4B", "4B", Pass}, {"D3359B", "4B", "3B", Fail},
		{"ISO2409", "1", "0", Pass}, {"ISO2409", "1", "1", Pass}, {"ISO2409", "1", "2", Fail}, {"ISO2409", "0", "5", Fail},
		{"D3359A", "4A", "5A", Pass}, {"D3359A", "4A", "3A", Fail},
		{"D3359B", "4B", "4.5B", Incomplete}, {"D3359B", "4B", "5A", Incomplete}, {"D3359B", "4B", "5", Incomplete},
		{"ISO2409", "1", "0.5", Incomplete}, {"ISO2409", "1", "5B", Incomplete}, {"D3359B", "4B", "", Incomplete}, {"other", "4B", "5B", Incomplete},
	} {
		check := Check{Kind: Finish, Defects: []Defect{{Code: NoneFound}}, Ratings: []Rating{{Characteristic: RatingAdhesion, Code: c.code}}}
		got := JudgeFinish(FinishCheckSpec{Adhesion: &AdhesionSpec{Method: c.method, Worst: c.worst}}, &check)
		if got.Verdict != c.want {
			t.Errorf("%s, worst %s, found %q: %s, want %s", c.method, c.worst, c.code, got.Verdict, c.want)
		}
		sound(t, got)
	}
	if got := AdhesionClasses("ISO2409"); strings.Join(got, "") != "012345" {
		t.Errorf("ISO 2409 from best to worst: %v", got)
	}
	if got := AdhesionClasses("D3359B"); got[0] != "5B" || AdhesionClasses("other") != nil {
		t.Errorf("D3359 B from best to worst: %v", got)
	}
}

func TestEveryFaultHasAName(t *testing.T) {
	for code, name := range FaultNames {
		if name == "" || name == code {
			t.Errorf("%s has no name", code)
		}
	}
	codes := map[string]bool{}
	for _, d := range FinishDefects {
		if codes[d.Code] || d.Name == "" || d.Look == "" || d.Cause == "" {
			t.Errorf("defect %q stands there twice or lacks a word", d.Code)
		}
		codes[d.Code] = true
	}
	if FaultName("thin_film") != "Thin film" || FaultName("unheard_of") != "unheard_of" {
		t.Error("FaultName does not name faults")
	}
}
