package quality

import (
	"slices"
	"testing"
)

// Common practice, no published source: 50 double rubs with MEK. Ratings 3 and 4 pass: Qualicoat polymerisation test, seen in a
// restatement (finishing.com 458/77). 30 s of waiting: same page; the specification from memory says 30 min.
var mek = CureTestSpec{Solvent: "MEK", Rubs: 50, WaitS: 30, PassFrom: 3, Reference: "a fully cured panel of the same powder"}

func rubbed(rubs, wait float64, rating string) Check {
	return Check{Kind: CureTest,
		Readings: []Reading{{Characteristic: "rubs", Value: rubs, Unit: DoubleRubs}, {Characteristic: "rub_wait", Value: wait, Unit: Second}},
		Ratings:  []Rating{{Characteristic: RatingRub, Code: rating}, {Characteristic: RatingSwab, Code: "slight"}, {Characteristic: RatingControl, Code: "CP-12"}}}
}

func TestRubRatingOnTheFourStepScale(t *testing.T) {
	for rating, want := range map[string]Verdict{"1": Fail, "2": Fail, "3": Pass, "4": Pass, "5": Incomplete, "0": Incomplete, "3.5": Incomplete, "+3": Incomplete, "": Incomplete, "ok": Incomplete} {
		check := rubbed(50, 30, rating)
		got := JudgeCureTest(mek, &check)
		if got.Verdict != want {
			t.Errorf("rating %q: %s, want %s: %s", rating, got.Verdict, want, got.Sentence())
		}
		sound(t, got)
	}
	if len(RubRatings) != 4 {
		t.Errorf("%d steps, want 4", len(RubRatings))
	}
}

func TestRubMadeAsTheSpecSays(t *testing.T) {
	for name, c := range map[string]struct {
		check Check
		want  Verdict
		says  string
	}{
		"as it should be":       {rubbed(50, 30, "4"), Pass, "Solvent rub: rating 4, no visible change, a nail leaves no mark; 3 or better passes."},
		"more rubs than asked":  {rubbed(60, 45, "4"), Pass, ""},
		"too few rubs":          {rubbed(49, 30, "4"), Incomplete, "Count of 49 double rubs is under 50 double rubs. Make the test again."},
		"gave way early":        {rubbed(20, 30, "1"), Fail, "Solvent rub: rating 1, very dull and soft; 3 or better passes."},
		"judged too soon":       {rubbed(50, 29, "4"), Incomplete, "Wait before judging 29 s is under 30 s. Make the test again."},
		"no number of rubs":     {Check{Kind: CureTest, Readings: rubbed(50, 30, "4").Readings[1:], Ratings: rubbed(50, 30, "4").Ratings}, Incomplete, "Count of double rubs is missing; the spec says at least 50 double rubs."},
		"no control panel":      {Check{Kind: CureTest, Readings: rubbed(50, 30, "4").Readings, Ratings: rubbed(50, 30, "4").Ratings[:2]}, Incomplete, "The control panel is missing; the rub is judged against a fully cured panel of the same powder."},
		"strong colour, sound":  {swab(rubbed(50, 30, "4"), "strong"), Pass, ""},
		"nonsense on the cloth": {swab(rubbed(50, 30, "4"), "purple"), Incomplete, "Colour on the cloth: “purple” is not none, slight or strong."},
	} {
		got := JudgeCureTest(mek, &c.check)
		if got.Verdict != c.want || c.says != "" && !contains(got.Findings, c.says) {
			t.Errorf("%s: %s, want %s and %q, but\n\t%s", name, got.Verdict, c.want, c.says, texts(got.Findings))
		}
		sound(t, got)
	}
}

func swab(c Check, colour string) Check {
	c.Ratings = slices.Clone(c.Ratings)
	c.Ratings[1].Code = colour
	return c
}
