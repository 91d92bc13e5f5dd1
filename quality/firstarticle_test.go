package quality

import (
	"slices"
	"strings"
	"testing"
	"time"
)

var articleDay = time.Date(2026, 11, 24, 8, 0, 0, 0, time.UTC)

func basis(spec, powder, booth, oven string) ArticleBasis {
	named := func(s string) Named {
		if s == "" {
			return Named{}
		}
		return Named{s, "the " + s}
	}
	return ArticleBasis{Spec: named(spec), Powder: named(powder), Booth: named(booth), Oven: named(oven)}
}

func TestEachChangeAsksForAFirstArticleInWords(t *testing.T) {
	approved := ApprovedArticle{ArticleBasis: basis("A", "grey", "B1", "O1"), Full: true, ApprovedAt: articleDay}
	withDrawing := basis("A", "grey", "B1", "O1")
	withDrawing.Drawing = Named{"1", "revision 1"}
	for name, c := range map[string]struct {
		approved []ApprovedArticle
		want     ArticleBasis
		days     int
		gap      int
		changes  []ArticleChange
		words    string
	}{
		"nothing changed":      {[]ApprovedArticle{approved}, basis("A", "grey", "B1", "O1"), 0, 0, nil, ""},
		"oven not known yet":   {[]ApprovedArticle{approved}, basis("A", "grey", "B1", ""), 0, 0, nil, ""},
		"new part":             {nil, basis("A", "grey", "B1", ""), 0, 0, []ArticleChange{NewPart}, "new part number"},
		"new revision":         {[]ApprovedArticle{approved}, basis("B", "grey", "B1", ""), 0, 0, []ArticleChange{NewSpec}, "new spec revision: the B in place of the A"},
		"new powder":           {[]ApprovedArticle{approved}, basis("A", "red", "B1", ""), 0, 0, []ArticleChange{NewPowder}, "new powder: the red in place of the grey"},
		"other booth":          {[]ApprovedArticle{approved}, basis("A", "grey", "B2", ""), 0, 0, []ArticleChange{NewBooth}, "changed line: the B2 in place of the B1"},
		"other oven":           {[]ApprovedArticle{approved}, basis("A", "grey", "B1", "O2"), 0, 0, []ArticleChange{NewOven}, "changed line: the O2 in place of the O1"},
		"drawing list":         {[]ApprovedArticle{approved}, withDrawing, 0, 0, []ArticleChange{NewDrawing}, "revision 1 in place of none"},
		"gap just allowed":     {[]ApprovedArticle{approved}, basis("A", "grey", "B1", ""), 90, 90, nil, ""},
		"gap a day too long":   {[]ApprovedArticle{approved}, basis("A", "grey", "B1", ""), 91, 90, []ArticleChange{LongGap}, "no series part was run for 91 days, and 90 are allowed"},
		"no gap asked":         {[]ApprovedArticle{approved}, basis("A", "grey", "B1", ""), 900, 0, nil, ""},
		"two changes at once":  {[]ApprovedArticle{approved}, basis("B", "red", "B1", ""), 0, 0, []ArticleChange{NewSpec, NewPowder}, "the red"},
		"the only one is void": {[]ApprovedArticle{{ArticleBasis: approved.ArticleBasis, Full: true, ApprovedAt: articleDay, Void: "the film record was corrected"}}, basis("A", "grey", "B1", ""), 0, 0, []ArticleChange{NotValid}, "the approval is void: the film record was corrected"},
	} {
		got := FirstArticleSpec{GapDays: c.gap}.ArticleTriggers(c.want, c.approved, articleDay.AddDate(0, 0, c.days))
		var changes []ArticleChange
		words := ""
		for _, trigger := range got {
			changes = append(changes, trigger.Change)
			words += trigger.Text + "; "
		}
		if !slices.Equal(changes, c.changes) || !strings.Contains(words, c.words) {
			t.Errorf("%s: %v %q, want %v %q", name, changes, words, c.changes, c.words)
		}
	}
}

func TestTwoApprovedPowdersTakeTurns(t *testing.T) {
	grey := ApprovedArticle{ArticleBasis: basis("A", "grey", "B1", "O1"), Full: true, ApprovedAt: articleDay}
	red := ApprovedArticle{ArticleBasis: basis("A", "red", "B1", "O1"), ApprovedAt: articleDay.Add(time.Hour)}
	spec := FirstArticleSpec{}
	if got := spec.ArticleTriggers(basis("A", "grey", "B1", ""), []ApprovedArticle{grey, red}, articleDay); got != nil {
		t.Errorf("back to the first powder: %v", got)
	}
	red.Void = "the film record was voided"
	if got := spec.ArticleTriggers(basis("A", "grey", "B1", ""), []ApprovedArticle{grey, red}, articleDay); got != nil {
		t.Errorf("the other powder's void approval blocks this one: %v", got)
	}
	got := spec.ArticleTriggers(basis("A", "red", "B1", ""), []ApprovedArticle{grey, red}, articleDay)
	if len(got) != 2 || got[0].Change != NotValid || got[1].Change != NewPowder {
		t.Errorf("the void one's own powder: %v", got)
	}
	if MayBePartial(got, []ApprovedArticle{grey, red}) || !MayBePartial(got[1:], []ApprovedArticle{grey, red}) || MayBePartial(got[1:], []ApprovedArticle{red}) {
		t.Error("partial only where a full one counts and nothing is void")
	}
}

func articleSpec() FinishSpec {
	return FinishSpec{Weld: &WeldSpec{Level: "C", Leg: AtLeast(3, Millimetre)},
		Pretreatment: &PretreatmentSpec{WaterBreak: true, Stages: []StageSpec{{Stage: "rinse", Name: "Rinse"}, {Stage: "convert", Name: "Conversion", Limits: map[string]Limits{"ph": Between(3.8, 5, PH)}}}},
		Cure:         &CureSpec{ScheduleC: 190, Channels: 1}, CureTest: &CureTestSpec{Solvent: "MEK", Rubs: 50, PassFrom: 3},
		Finish: &FinishCheckSpec{DistanceMM: 3000, Gloss: &GlossSpec{GeometryDeg: 60, Nominal: 30, Tolerance: 5}, Adhesion: &AdhesionSpec{Method: "D3359B", Worst: "4B"}},
		Film:   &FilmSpec{Limits: Between(60, 120, Micrometre), Rule: Areas80}}
}

func TestRequirementsAreNumberedFromSpecAndDrawing(t *testing.T) {
	places := []Place{{1, "A", "top"}, {2, "A", "side"}, {3, "B", "foot"}}
	window := CureWindow{Points: []CurePoint{{180, 12, 30}}}
	list := ArticleRequirements(articleSpec(), places, window, []DrawingRequirement{{"7", "Hole 9.0 to 9.2 mm free of powder"}})
	var got []string
	for _, r := range list {
		got = append(got, r.Number+" "+r.Code)
	}
	want := "1 weld|2 wash 2-convert|3 water break|4 cure|5 rub|6 finish|7 gloss|8 adhesion|9 film A|10 film B|D7 drawing 7"
	if strings.Join(got, "|") != want {
		t.Errorf("got %s\nwant %s", strings.Join(got, "|"), want)
	}
	for i, words := range map[int]string{0: "quality level C; leg at least 3 mm", 1: "Conversion: pH 3.8 to 5", 3: "180 °C 12 to 30 min", 4: "50 double rubs with MEK, rated 3 or better", 6: "30 ± 5 GU at 60°",
		7: "class 4B or better", 8: "area A: 60 to 120 µm"} {
		if !strings.Contains(strings.ToLower(list[i].Text), strings.ToLower(words)) {
			t.Errorf("requirement %d says %q, want %q in it", i, list[i].Text, words)
		}
	}
	texts := map[string]string{}
	for _, r := range list {
		texts[r.Code] = r.Text
	}
	codes := func(rs []Requirement) string {
		var s []string
		for _, r := range rs {
			s = append(s, r.Code)
		}
		return strings.Join(s, "|")
	}
	if got := codes(ChangedRequirements(list, texts, []Trigger{{Change: NewOven}})); got != "cure|rub|gloss|adhesion" {
		t.Errorf("after a new oven: %s", got)
	}
	texts["weld"] = "Welds: quality level D"
	delete(texts, "drawing 7")
	if got := codes(ChangedRequirements(list, texts, []Trigger{{Change: NewSpec}})); got != "weld|drawing 7" {
		t.Errorf("after another text and a new line: %s", got)
	}
}

func TestARecordAnswersItsRequirementsOneByOne(t *testing.T) {
	list := ArticleRequirements(articleSpec(), []Place{{1, "A", "top"}, {2, "B", "foot"}}, CureWindow{}, nil)
	of := func(code string) Requirement {
		i := slices.IndexFunc(list, func(r Requirement) bool { return r.Code == code })
		if i < 0 {
			t.Fatalf("no requirement %s", code)
		}
		return list[i]
	}
	gloss := Reading{Characteristic: "gloss", Value: 41, Text: "41", Unit: GlossUnit}
	finish := Check{Kind: Finish, Readings: []Reading{gloss}, Ratings: []Rating{{RatingAdhesion, "", "5B"}}, Defects: []Defect{{Code: NoneFound}}}
	for code, want := range map[string]struct {
		result  string
		verdict Verdict
	}{"gloss": {"gloss 41 GU", Fail}, "adhesion": {"class 5B", Pass}} {
		result, verdict := of(code).Answer(finish, nil, Fail)
		if verdict != want.verdict || result != want.result {
			t.Errorf("%s: %q %s, want %q %s", code, result, verdict, want.result, want.verdict)
		}
	}
	film := Check{Kind: Film, Readings: []Reading{{Characteristic: "film_thickness", Spot: 1, Value: 81.2, Text: "81.2", Unit: Micrometre},
		{Characteristic: "film_thickness", Spot: 1, Value: 79.0, Text: "79.0", Unit: Micrometre}, {Characteristic: "film_thickness", Spot: 2, Value: 99, Text: "99", Unit: Micrometre}}}
	if result, verdict := of("film A").Answer(film, nil, Pass); result != "film thickness 79.0 to 81.2 µm (2 readings)" || verdict != Pass {
		t.Errorf("film of area A: %q %s", result, verdict)
	}
	if result, verdict := of("water break").Answer(Check{Ratings: []Rating{{RatingWaterBreak, "", "broken"}}}, []Finding{{Rule: "water break", Verdict: Fail}, {Rule: "ph", Place: "Conversion", Verdict: Pass}}, Fail); result != "broken" || verdict != Fail {
		t.Errorf("water break: %q %s", result, verdict)
	}
	if result, verdict := of("wash 2-convert").Answer(Check{Readings: []Reading{{Characteristic: "ph", Location: "2-convert", Value: 4.6, Text: "4.6", Unit: PH}}}, []Finding{{Rule: "pH", Place: "Conversion", Verdict: Pass}, {Rule: "water break", Verdict: Fail}}, Fail); verdict != Pass || !strings.Contains(result, "4.6") {
		t.Errorf("conversion: %q %s", result, verdict)
	}
}

func TestAnUnansweredLineIsIncompleteAndAFailedOneFails(t *testing.T) {
	line := func(v Verdict) ArticleLine {
		return ArticleLine{Number: "4", Requirement: "Cure", Result: "14 min", Verdict: v}
	}
	for want, lines := range map[Verdict][]ArticleLine{Pass: {line(Pass), line(Pass)}, Incomplete: {line(Pass), line(Incomplete)}, Fail: {line(Incomplete), line(Fail)}, GuardBand: {line(Pass), line(GuardBand)}} {
		j := JudgeFirstArticle(ArticleCheck{Full: true, Lines: lines})
		if j.Verdict != want || len(j.Findings) != 2 {
			t.Errorf("%v: %s", lines, j.Verdict)
		}
	}
	if j := JudgeFirstArticle(ArticleCheck{}); j.Verdict != Incomplete {
		t.Errorf("an empty one is %s", j.Verdict)
	}
}

func TestFirstArticleGapIsChecked(t *testing.T) {
	spec := articleSpec()
	spec.Version, spec.MaxCycles = SpecVersion, 2
	for gap, good := range map[int]bool{0: true, 180: true, 3650: true, 3651: false, -1: false} {
		spec.FirstArticle = &FirstArticleSpec{GapDays: gap}
		said := strings.Contains(strings.Join(spec.Validate(), " "), "first article")
		if said == good {
			t.Errorf("gap %d: %v", gap, spec.Validate())
		}
	}
}
