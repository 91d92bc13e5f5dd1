package quality

import (
	"strings"
	"testing"
)

func TestOneFailFailsAndOneGapKeepsFromPassing(t *testing.T) {
	order := []Verdict{Pass, GuardBand, Incomplete, Fail}
	for i, a := range order {
		for k, b := range order {
			var j Judgement
			j.add(Finding{Verdict: a})
			j.add(Finding{Verdict: b})
			if want := order[max(i, k)]; j.Verdict != want {
				t.Errorf("%s and %s: %s, want %s", a, b, j.Verdict, want)
			}
		}
	}
}

func TestSentenceOfAJudgement(t *testing.T) {
	j := Judgement{Rule: "the rule"}
	j.met("a", "", "", "Fine.")
	if got := j.Sentence(); got != "the rule" {
		t.Errorf("a pass says %q", got)
	}
	j.failed("b", "", "", "thin_film", "Thin.")
	if got := j.Sentence(); got != "Thin." {
		t.Errorf("one fail says %q", got)
	}
	j.missing("c", "", "", "Gone.")
	if got := j.sorted().Sentence(); got != "Thin. And 1 more." {
		t.Errorf("two things say %q", got)
	}
}

func TestEveryKindHasASubjectAndAName(t *testing.T) {
	for _, kind := range append([]Kind{Verification}, Kinds...) {
		if len(Subjects[kind]) == 0 || kind.Name() == string(kind) {
			t.Errorf("%s has subjects %v and the name %q", kind, Subjects[kind], kind.Name())
		}
		if kind.IsRun() && Subjects[kind][0] == OnPart {
			t.Errorf("%s is a run on a part", kind)
		}
	}
	if Kind("tea").Name() != "tea" {
		t.Error("an unknown kind must show its code")
	}
}

func TestRatingsAreFoundByPlace(t *testing.T) {
	c := Check{Ratings: []Rating{{"adhesion", "front", "4B"}, {"adhesion", "", "5B"}}}
	if code, ok := c.RatingOf("adhesion", ""); code != "5B" || !ok {
		t.Errorf("got %q", code)
	}
	if _, ok := c.RatingOf("water_break", ""); ok {
		t.Error("a rating out of nothing")
	}
}

func TestEachAbsenceHasItsOwnWords(t *testing.T) {
	seen := map[string]Absence{}
	for _, a := range []Absence{NotMeasured, NotApplicable, BelowRange, AboveRange, Pending} {
		r := Reading{Absence: a, Value: 70, Unit: Micrometre}
		if r.measured() {
			t.Errorf("%s counts as a number", a)
		}
		if other, twice := seen[r.why()]; twice {
			t.Errorf("%s and %s both say %q", a, other, r.why())
		}
		seen[r.why()] = a
	}
}

func TestWrongQuantityIsIncompleteEverywhere(t *testing.T) {
	wrong := func(code, location string) Check {
		return Check{Readings: []Reading{{Characteristic: code, Location: location, Spot: 1, Value: 5, Unit: Kilovolt}}, Defects: []Defect{{Code: NoneFound}}}
	}
	stage := StageSpec{Stage: "rinse", Limits: map[string]Limits{"conductivity": AtMost(30, MicroSiemens)}}
	for name, got := range map[string]Judgement{
		"weld": one(wrong("weld_leg", ""), func(c *Check) Judgement { return JudgeWeld(WeldSpec{Leg: AtLeast(3, Millimetre)}, Circumstance{}, c) }),
		"pretreatment": one(wrong("conductivity", "1-rinse"), func(c *Check) Judgement {
			return JudgePretreatment(PretreatmentSpec{Stages: []StageSpec{stage}}, Circumstance{}, c)
		}),
		"coating": one(wrong("humidity", ""), func(c *Check) Judgement {
			return JudgeCoating(CoatingSpec{Humidity: AtMost(60, Percent)}, nil, Circumstance{}, c)
		}),
		"finish":       one(wrong("viewing_distance", ""), func(c *Check) Judgement { return JudgeFinish(seen, c) }),
		"verification": one(wrong("zero_reading", ""), func(c *Check) Judgement { return JudgeVerification(gauge, shims, c) }),
		"film":         one(wrong("film_thickness", ""), func(c *Check) Judgement { return JudgeFilm(areas80(60, 1, 1), Circumstance{}, c) }),
		"film rule": one(film(Micrometre, []float64{70}), func(c *Check) Judgement {
			return JudgeFilm(FilmSpec{Limits: AtLeast(60, Micrometre)}, Circumstance{}, c)
		}),
		"film minimum": one(film(Micrometre, []float64{70}), func(c *Check) Judgement { return JudgeFilm(FilmSpec{Rule: Areas80}, Circumstance{}, c) }),
		"film level": one(film(Micrometre, []float64{70}), func(c *Check) Judgement {
			return JudgeFilm(FilmSpec{Rule: SpotArea, Limits: AtLeast(60, Micrometre)}, Circumstance{}, c)
		}),
		"film floor": one(film(Micrometre, []float64{70}), func(c *Check) Judgement {
			return JudgeFilm(FilmSpec{Rule: ShareOfReadings, Share: 1, Limits: AtLeast(60, Micrometre)}, Circumstance{}, c)
		}),
		"cure": one(wrong("metal_peak", ""), func(c *Check) Judgement { return JudgeCure(CureSpec{ScheduleC: 190, Channels: 1}, polyester, c) }),
	} {
		if got.Verdict != Incomplete {
			t.Errorf("%s: %s, want incomplete: %s", name, got.Verdict, texts(got.Findings))
		}
		sound(t, got)
	}
}

func one(c Check, judge func(*Check) Judgement) Judgement { return judge(&c) }

func TestFloodsOfTextAreClipped(t *testing.T) {
	if got := clip(strings.Repeat("ä", 1000)); len([]rune(got)) != 25 {
		t.Errorf("%d characters", len([]rune(got)))
	}
}
