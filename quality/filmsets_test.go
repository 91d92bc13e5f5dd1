package quality

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// verdicts returns the verdict of every rule set by its code.
func verdicts(spec FilmSpec, check Check) map[string]Verdict {
	out := map[string]Verdict{}
	for _, c := range CompareFilmRules(spec, Circumstance{}, check) {
		out[c.Set.Code] = c.Judgement.Verdict
	}
	return out
}

// By hand: five spots of one reading, minimum 60 and maximum 120 µm. The mean is 65.6, one reading of 56 is under the minimum.
func TestRulesSideBySide(t *testing.T) {
	spec := FilmSpec{Limits: Between(60, 120, Micrometre), Rule: Areas80, Spots: 5, ReadingsPerSpot: 1}
	check := film(Micrometre, spots(75, 68, 63, 66, 56)...)
	want := map[string]Verdict{
		"areas80": Pass, "spot_area": Pass, "each": Fail, "share": Pass,
		"spot_area_1": Fail, "spot_area_2": Fail, "spot_area_3": Pass, "spot_area_4": Pass, "spot_area_5": Pass,
		"share_iso_19840": Pass, "share_90_10": Fail, "share_aama_2604": Pass, "share_aama_2605": Pass,
	}
	for code, got := range verdicts(spec, check) {
		if got != want[code] {
			t.Errorf("%s: %s, want %s", code, got, want[code])
		}
	}
	if n := len(FilmRuleSets(spec)); n != len(want) {
		t.Errorf("%d rule sets, want %d", n, len(want))
	}
	for i, rule := range []FilmRule{Areas80, SpotArea, EachReading, ShareOfReadings} {
		if set := FilmRuleSets(spec)[i]; set.Code != string(rule) || set.Spec.Rule != rule {
			t.Errorf("rule set %d is %s, want the family %s", i, set.Code, rule)
		}
	}
	for _, r := range check.Readings {
		if r.Flag != Unflagged {
			t.Fatalf("comparing rules flagged a reading: %+v", r)
		}
	}
}

// A share rule by its numbers: 20 readings against a minimum of 30 µm and a floor of 25.5 µm (by hand).
func TestShareRulesCount(t *testing.T) {
	base := FilmSpec{Limits: AtLeast(30, Micrometre), Rule: ShareOfReadings, Share: 0.8, Floor: &Limit{Value: 25.5, Unit: Micrometre}, Spots: 20, ReadingsPerSpot: 1}
	under, mean := base, base
	under.UnderFloor, mean.MeanToo = 0.05, true
	low := func(values ...float64) []float64 {
		out := slices.Clone(values)
		for len(out) < 20 {
			out = append(out, 31)
		}
		return out
	}
	for name, c := range map[string]struct {
		spec   FilmSpec
		values []float64
		want   Verdict
		says   string
	}{
		"four of twenty under":     {base, low(29, 29, 28, 26), Pass, ""},
		"five of twenty under":     {base, low(29, 29, 28, 26, 29), Fail, "15 of 20 readings are at 30 µm or more; at least 80 % must be."},
		"one under the floor":      {base, low(25), Fail, "Spot 1: reading 1, 25 µm is under 25.5 µm, the low limit."},
		"one of twenty permitted":  {under, low(25), Pass, ""},
		"two of twenty too many":   {under, low(25, 25), Fail, "18 of 20 readings are at 25.5 µm or more; at least 95 % must be."},
		"mean under the minimum":   {mean, low(26, 26, 26, 26)[:20], Fail, ""},
		"mean at the minimum":      {mean, slices.Repeat([]float64{31, 31, 31, 31, 26}, 4), Pass, "Mean of 20 readings 30 µm meets at least 30 µm, the minimum."},
		"five of twenty and floor": {under, low(25, 29, 29, 29, 29), Fail, ""},
	} {
		if name == "mean under the minimum" {
			for i := 4; i < 20; i++ {
				c.values[i] = 30.5
			}
		}
		check := film(Micrometre, spots(c.values...)...)
		got := JudgeFilm(c.spec, Circumstance{}, &check)
		if got.Verdict != c.want || c.says != "" && !contains(got.Findings, c.says) {
			t.Errorf("%s: %s, want %s and %q, but\n\t%s", name, got.Verdict, c.want, c.says, texts(got.Deciding()))
		}
		sound(t, got)
	}
}

// SSPC-PA 2 (seen in a summary). 3 areas up to 100 m², then 1 for each further 100 m² or part.
func TestAreasAskedForBySurface(t *testing.T) {
	for _, c := range []struct {
		surface float64
		unit    Unit
		areas   int
		every   bool
	}{
		{0.4, SquareMetre, 1, true}, {10, SquareMetre, 1, true}, {10.1, SquareMetre, 2, true}, {29.9, SquareMetre, 3, true}, {30, SquareMetre, 3, false},
		{100, SquareMetre, 3, false}, {100.1, SquareMetre, 4, false}, {200, SquareMetre, 4, false}, {950, SquareMetre, 12, false},
		{299, SquareFoot, 3, true}, {1000, SquareFoot, 3, false}, {1001, SquareFoot, 4, false}, {12500, SquareFoot, 15, false},
	} {
		plan, err := FilmAreas(c.surface, c.unit)
		if want := (FilmAreaPlan{c.areas, c.every, 5, 3}); err != nil || plan != want {
			t.Errorf("%v %s: %+v, want %+v (%v)", c.surface, c.unit, plan, want, err)
		}
	}
	for _, bad := range []float64{0, -1, nan(), math.Inf(1)} {
		if _, err := FilmAreas(bad, SquareMetre); !errors.Is(err, ErrSurface) {
			t.Errorf("%v m²: %v, want ErrSurface", bad, err)
		}
	}
	if _, err := FilmAreas(10, Metre); !errors.Is(err, ErrSurface) {
		t.Errorf("in metres: %v, want ErrSurface", err)
	}
}

func TestSpotAndAreaAsksForTheAreasOfTheSurface(t *testing.T) {
	spec := FilmSpec{Limits: Between(60, 120, Micrometre), Rule: SpotArea, Level: 3, Spots: 5, ReadingsPerSpot: 1}
	areas := func(spotsPer ...int) Check {
		check := Check{Kind: Film}
		for area, n := range spotsPer {
			for range n {
				check.Readings = append(check.Readings, Reading{Characteristic: "film_thickness", Location: fmt.Sprintf("%c", 'A'+area), Spot: len(check.Readings) + 1, Value: 80, Unit: Micrometre})
			}
		}
		return check
	}
	for name, c := range map[string]struct {
		spec    FilmSpec
		surface float64
		check   Check
		want    Verdict
		says    string
	}{
		"surface not known": {spec, 0, areas(5), Pass, ""},
		"one small area":    {spec, 8, areas(5), Pass, ""},
		"two areas asked":   {spec, 15, areas(5), Incomplete, "1 area measured, 2 are asked."},
		"two areas":         {spec, 15, areas(5, 5), Pass, ""},
		"a spot too few":    {spec, 15, areas(5, 4), Incomplete, "Area B: 4 spots measured in full, 5 are asked."},
		"three of many":     {spec, 80, areas(5, 5, 5), Pass, ""},
		"four of many":      {spec, 180, areas(5, 5, 5), Incomplete, "3 areas measured, 4 are asked."},
		"no such surface":   {spec, 1e300, areas(5), Incomplete, ""},
		"spec asks areas":   {FilmSpec{Limits: spec.Limits, Rule: SpotArea, Level: 3, Spots: 5, ReadingsPerSpot: 1, Areas: 2, SpotsPerArea: 3}, 0, areas(3, 2), Incomplete, "Area B: 2 spots measured in full, 3 are asked."},
		"other rule":        {areas80(60, 5, 1), 800, areas(5), Pass, ""},
	} {
		got := JudgeFilm(c.spec, Circumstance{SurfaceM2: c.surface}, &c.check)
		if got.Verdict != c.want || c.says != "" && !contains(got.Findings, c.says) {
			t.Errorf("%s: %s, want %s and %q, but\n\t%s", name, got.Verdict, c.want, c.says, texts(got.Deciding()))
		}
		sound(t, got)
	}
}

// By hand; the search ends with two conforming spots in a row and the plain limits hold, not the 80 % of the level.
func TestExtentOfAFailedArea(t *testing.T) {
	got, err := MapFilmExtent(Between(60, 120, Micrometre), Micrometre, 1.5, []FilmLine{
		{"left", []float64{52, 61, 58, 60, 63, 40}}, {"right", []float64{70, 80}}, {"up", []float64{130, 70}}, {"down", nil},
	})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []LineExtent{
		{"left", []Flag{Low, In, Low, In, In, Low}, 6, true}, {"right", []Flag{In, In}, 1.5, true}, {"up", []Flag{High, In}, 3, false}, {"down", nil, 0, false},
	} {
		if l := got.Lines[i]; l.Direction != want.Direction || !slices.Equal(l.Flags, want.Flags) || l.Reach != want.Reach || l.Closed != want.Closed {
			t.Errorf("got %+v, want %+v", l, want)
		}
	}
	if got.Complete {
		t.Error("two lines are still open, and the map is called complete")
	}
	line := []FilmLine{{"left", []float64{70, 80}}}
	if whole, err := MapFilmExtent(AtLeast(60, Micrometre), Micrometre, 5, line); err != nil || !whole.Complete {
		t.Errorf("one closed line: %+v (%v)", whole, err)
	}
	for name, c := range map[string]struct {
		limits Limits
		step   float64
		lines  []FilmLine
		want   error
	}{
		"no lines": {AtLeast(60, Micrometre), 1, nil, ErrMapping}, "no step": {AtLeast(60, Micrometre), 0, line, ErrMapping}, "step is none": {AtLeast(60, Micrometre), nan(), line, ErrMapping},
		"no limits": {Limits{}, 1, line, ErrMapping}, "not a number": {AtLeast(60, Micrometre), 1, []FilmLine{{"", []float64{nan()}}}, ErrNotNumber},
		"other quantity": {AtLeast(60, Celsius), 1, line, ErrUnits},
	} {
		if _, err := MapFilmExtent(c.limits, Micrometre, c.step, c.lines); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", name, err, c.want)
		}
	}
}

// Rows of the lot table of the Qualideco specification (seen): 11 to 200 parts 10 and 1, 501 to 800 parts 30 and 3.
func TestLotVerdict(t *testing.T) {
	parts := func(pass, fail, guard, incomplete int) []Verdict {
		return slices.Concat(slices.Repeat([]Verdict{Pass}, pass), slices.Repeat([]Verdict{Fail}, fail), slices.Repeat([]Verdict{GuardBand}, guard), slices.Repeat([]Verdict{Incomplete}, incomplete))
	}
	small, large := LotPlan{120, 10, 1}, LotPlan{600, 30, 3}
	for name, c := range map[string]struct {
		plan  LotPlan
		parts []Verdict
		want  Verdict
	}{
		"all good":             {small, parts(10, 0, 0, 0), Pass},
		"at the limit":         {small, parts(9, 1, 0, 0), Pass},
		"over the limit":       {small, parts(8, 2, 0, 0), Fail},
		"over it early":        {small, parts(0, 2, 0, 0), Fail},
		"too few so far":       {small, parts(9, 0, 0, 0), Incomplete},
		"one not finished":     {small, parts(9, 0, 0, 1), Incomplete},
		"large at the limit":   {large, parts(27, 3, 0, 0), Pass},
		"large over it":        {large, parts(26, 4, 0, 0), Fail},
		"guard band":           {small, parts(8, 1, 1, 0), GuardBand},
		"guard, within reach":  {small, parts(9, 0, 1, 0), Pass},
		"more than the sample": {small, parts(12, 1, 0, 0), Incomplete},
		"whole lot":            {LotPlan{4, 4, 0}, parts(4, 0, 0, 0), Pass},
		"nothing":              {small, nil, Incomplete},
		"sample over lot":      {LotPlan{5, 10, 1}, parts(10, 0, 0, 0), Incomplete},
		"accepts everything":   {LotPlan{5, 3, 3}, parts(3, 0, 0, 0), Incomplete},
	} {
		got := JudgeFilmLot(c.plan, c.parts)
		if got.Verdict != c.want {
			t.Errorf("%s: %s, want %s: %s", name, got.Verdict, c.want, texts(got.Findings))
		}
		sound(t, got)
	}
}

func TestEveryRuleAgreesInMicrometresAndMils(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		_, values := drawFilm(t)
		spec := FilmSpec{Limits: Between(60, 120, Micrometre), Spots: 3, ReadingsPerSpot: 2, Guard: float64(rapid.IntRange(0, 3).Draw(t, "guard"))}
		um, mil := film(Micrometre, values...), film(Micrometre, values...)
		for i := range mil.Readings {
			mil.Readings[i].Value /= 25.4
			mil.Readings[i].Unit = Mil
		}
		a, b := verdicts(spec, um), verdicts(spec, mil)
		for code, verdict := range a {
			if b[code] != verdict {
				t.Fatalf("%s on %v: %s in µm, %s in mil", code, values, verdict, b[code])
			}
		}
	})
}

func FuzzCompareFilmRules(f *testing.F) {
	f.Add(60.0, 120.0, 3.0, 15.0, 0.05, []byte{70, 71, 0, 255, 60, 48})
	f.Add(math.Inf(1), -1.0, math.NaN(), 1e300, 2.0, []byte{1})
	f.Fuzz(func(t *testing.T, low, high, guard, surface, under float64, data []byte) {
		spec := FilmSpec{Limits: Between(low, high, Micrometre), Spots: 3, ReadingsPerSpot: 1, Guard: guard, UnderFloor: under, MeanToo: len(data)%2 == 0}
		check := Check{Kind: Film}
		missing := 0
		for i, b := range data {
			r := Reading{Characteristic: "film_thickness", Spot: i/2 + 1, Location: string(rune('A' + i%3)), Value: float64(b), Unit: Micrometre}
			if b == 0 {
				r.Absence = BelowRange
				missing++
			}
			if b == 255 {
				r.Value = nan()
				missing++
			}
			check.Readings = append(check.Readings, r)
		}
		for _, c := range CompareFilmRules(spec, Circumstance{SurfaceM2: surface}, check) {
			sound(t, c.Judgement)
			if (c.Judgement.Verdict == Pass || c.Judgement.Verdict == GuardBand) && (missing > 0 || len(data) < 5) {
				t.Fatalf("%s passed with %d readings missing of %d", c.Set.Code, missing, len(data))
			}
		}
	})
}
