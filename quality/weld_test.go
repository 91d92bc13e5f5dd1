package quality

import (
	"math"
	"slices"
	"strings"
	"testing"
)

func mm(v float64) *float64 { return &v }

// weldRows are rows of a site that has entered its own: undercut at level C up to 0.1·t, not over 0.5 mm.
var weldRows = []WeldLimit{
	{Level: "C", Code: "100"},
	{Level: "C", Code: "5011", Permitted: true, PerWall: 0.1, MaxMM: mm(0.5)},
	{Level: "D", Code: "5011", Permitted: true, PerWall: 0.2, MaxMM: mm(1)},
	{Level: "C", Code: "504", Permitted: true, PlusMM: 4},
}

func weldWith(defects ...Defect) Check { return Check{Kind: Weld, Defects: defects} }

func TestWeldImperfectionAgainstItsRow(t *testing.T) {
	for name, c := range map[string]struct {
		level string
		wall  float64
		check Check
		want  Verdict
		says  string
	}{
		"none found":           {"C", 4, weldWith(Defect{Code: NoneFound}), Pass, "Nothing was found."},
		"empty":                {"C", 4, weldWith(), Incomplete, "Nothing is entered. Enter what was found, or state that nothing was found."},
		"none beside a crack":  {"C", 4, weldWith(Defect{Code: NoneFound}, Defect{Code: "5011", SizeMM: mm(0.1)}), Incomplete, "“Nothing found” stands beside a finding. Take one of the two out."},
		"crack":                {"C", 4, weldWith(Defect{Code: "100", Place: "2"}), Fail, "Weld 2: Crack (100) is not permitted at level C."},
		"undercut at limit":    {"C", 4, weldWith(Defect{Code: "5011", SizeMM: mm(0.4), SizeText: "0.4"}), Pass, "Continuous undercut (5011), 0.4 mm meets at most 0.4 mm permitted at level C."},
		"undercut over":        {"C", 4, weldWith(Defect{Code: "5011", Place: "2", SizeMM: mm(0.45), SizeText: "0.45"}), Fail, "Weld 2: continuous undercut (5011), 0.45 mm is over 0.4 mm permitted at level C."},
		"capped by MaxMM":      {"C", 8, weldWith(Defect{Code: "5011", SizeMM: mm(0.6)}), Fail, "Continuous undercut (5011), 0.6 mm is over 0.5 mm permitted at level C."},
		"other level":          {"D", 4, weldWith(Defect{Code: "5011", SizeMM: mm(0.6)}), Pass, ""},
		"no size":              {"C", 4, weldWith(Defect{Code: "5011"}), Incomplete, "Continuous undercut (5011) is permitted up to 0.4 mm. Measure its size."},
		"no wall":              {"C", 0, weldWith(Defect{Code: "5011", SizeMM: mm(0.1)}), Incomplete, "Continuous undercut (5011) is limited by the wall thickness, which is not known."},
		"no wall needed":       {"C", 0, weldWith(Defect{Code: "504", SizeMM: mm(4)}), Pass, ""},
		"no row":               {"C", 4, weldWith(Defect{Code: "602"}), Fail, "Spatter (602) has no limit row for level C, so it is not permitted. Add the row or repair the weld."},
		"unknown imperfection": {"C", 4, weldWith(Defect{Code: "9999"}), Fail, "Imperfection 9999 has no limit row for level C, so it is not permitted. Add the row or repair the weld."},
	} {
		got := JudgeWeld(WeldSpec{Level: c.level}, Circumstance{WallMM: c.wall, WeldLimits: weldRows}, &c.check)
		if got.Verdict != c.want || c.says != "" && !contains(got.Findings, c.says) {
			t.Errorf("%s: %s, want %s and %q, but\n\t%s", name, got.Verdict, c.want, c.says, texts(got.Findings))
		}
		sound(t, got)
	}
}

func TestWeldFaultIsTheNumberOfTheImperfection(t *testing.T) {
	check := weldWith(Defect{Code: "5011", SizeMM: mm(0.9)}, Defect{Code: "504", SizeMM: mm(2)})
	got := JudgeWeld(WeldSpec{Level: "C"}, Circumstance{WallMM: 4, WeldLimits: weldRows}, &check).sorted()
	if got.Findings[0].Fault != "5011" || FaultName("5011") != "Continuous undercut" {
		t.Errorf("fault %q, named %q", got.Findings[0].Fault, FaultName(got.Findings[0].Fault))
	}
	if check.Defects[0].Flag != High || check.Defects[1].Flag != In {
		t.Errorf("flags %q and %q, want high and in", check.Defects[0].Flag, check.Defects[1].Flag)
	}
}

func TestWeldSizesOfEveryWeldAreAskedFor(t *testing.T) {
	spec := WeldSpec{Level: "C", Leg: AtLeast(4, Millimetre), Throat: Between(2.8, 5, Millimetre), Light: AtLeast(350, Lux)}
	size := func(code string, weld int, v float64) Reading {
		return Reading{Characteristic: code, Spot: weld, Value: v, Unit: Millimetre}
	}
	light := Reading{Characteristic: "light", Value: 500, Unit: Lux}
	full := []Reading{size("weld_leg", 1, 4), size("weld_leg", 2, 4.5), size("weld_throat", 1, 2.8), size("weld_throat", 2, 3), light}
	for name, c := range map[string]struct {
		readings []Reading
		want     Verdict
		says     string
	}{
		"all":            {full, Pass, ""},
		"a leg missing":  {slices.Concat(full[:1], full[2:]), Incomplete, "Weld 2: the leg length is not measured."},
		"a leg short":    {slices.Concat([]Reading{size("weld_leg", 1, 3.9)}, full[1:]), Fail, "Weld 1: leg length 3.9 mm is under 4 mm."},
		"throat too big": {slices.Concat(full[:3], []Reading{size("weld_throat", 2, 5.1), light}), Fail, "Weld 2: throat thickness 5.1 mm is over 5 mm."},
		"no light":       {full[:4], Incomplete, "Light is missing; the spec says at least 350 lx."},
		"weak light":     {slices.Concat(full[:4], []Reading{{Characteristic: "light", Value: 349, Unit: Lux}}), Incomplete, "Light at the part 349 lx is under 350 lx. Look again in the light that is asked for."},
	} {
		check := Check{Kind: Weld, Readings: slices.Clone(c.readings), Defects: []Defect{{Code: NoneFound}}}
		got := JudgeWeld(spec, Circumstance{WallMM: 4, Welds: 2, WeldLimits: weldRows}, &check)
		if got.Verdict != c.want || c.says != "" && !contains(got.Findings, c.says) {
			t.Errorf("%s: %s, want %s and %q, but\n\t%s", name, got.Verdict, c.want, c.says, texts(got.Findings))
		}
		sound(t, got)
	}
}

// a = 0.707 z for equal legs and a flat face (seen, weldingandndt.com); the table of leg against throat is worked out from it.
func TestThroatAndLeg(t *testing.T) {
	for leg, throat := range map[float64]float64{3: 2.12, 4: 2.83, 5: 3.54, 6: 4.24, 8: 5.66} {
		if got := ThroatFromLeg(leg); math.Abs(got-throat) > 0.005 {
			t.Errorf("leg %v mm: throat %.3f mm, want %v mm", leg, got, throat)
		}
		if got := LegFromThroat(ThroatFromLeg(leg)); math.Abs(got-leg) > 1e-12 {
			t.Errorf("leg %v mm and back: %v mm", leg, got)
		}
	}
}

func TestDefaultWeldLimitsSayWhereTheyComeFrom(t *testing.T) {
	names := map[string]bool{}
	for _, w := range WeldImperfections {
		names[w.Code] = true
	}
	seen := map[string]bool{}
	for _, row := range DefaultWeldLimits() {
		key := row.Level + " " + row.Code
		if seen[key] {
			t.Errorf("%s stands there twice", key)
		}
		seen[key] = true
		if !names[row.Code] {
			t.Errorf("%s is not in the catalogue", key)
		}
		if !strings.Contains(row.Source, "check") {
			t.Errorf("%s does not ask to be checked before use: %q", key, row.Source)
		}
	}
	// Cracks are not permitted at any level (from memory, firm).
	for _, level := range []string{"B", "C", "D"} {
		if row, ok := weldRow(DefaultWeldLimits(), level, "100"); !ok || row.Permitted {
			t.Errorf("level %s permits cracks", level)
		}
	}
}

func TestDefaultWeldLimitsAreStricterAtTheBetterLevel(t *testing.T) {
	rows := DefaultWeldLimits()
	for _, w := range WeldImperfections {
		for _, wall := range []float64{3, 4, 6, 10, 40} {
			limit := func(level string) float64 {
				row, ok := weldRow(rows, level, w.Code)
				if !ok || !row.Permitted {
					return 0
				}
				return row.limitMM(wall)
			}
			if b, c, d := limit("B"), limit("C"), limit("D"); b > c || c > d {
				t.Errorf("%s at %v mm: B %v, C %v, D %v mm", w.Code, wall, b, c, d)
			}
		}
	}
}

// ISO 10042 from memory, unverified: undercut 0.1·t up to 0.5 mm at level C, 0.2·t up to 1 mm at level D.
func TestDefaultUndercutLimits(t *testing.T) {
	for _, c := range []struct {
		level      string
		wall, want float64
	}{{"C", 4, 0.4}, {"C", 5, 0.5}, {"C", 10, 0.5}, {"D", 4, 0.8}, {"D", 10, 1}} {
		row, _ := weldRow(DefaultWeldLimits(), c.level, "5011")
		if got := row.limitMM(c.wall); got != c.want {
			t.Errorf("level %s, wall %v mm: %v mm, want %v mm", c.level, c.wall, got, c.want)
		}
	}
}
