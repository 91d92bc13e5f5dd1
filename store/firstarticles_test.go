package store_test

import (
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

func TestANewPowderBlocksTheNextLoadUntilAFirstArticleIsApproved(t *testing.T) {
	s := newArticleShop(t, 0)
	_, rack := s.washed(2)
	err := s.coat(rack, s.Lot, 0)
	refusedBy(t, err, store.RuleFirstArticle)
	says(t, err, "RF-210", "new part number", "Name a part as first article", "have it approved")
	if got := s.due(); !strings.Contains(got, "RF-210: new part number") {
		t.Errorf("due: %q", got)
	}
	s.approved(s.Lot, true)
	if err := s.coat(rack, s.Lot, 0); err != nil {
		t.Fatalf("series after the approval: %v", err)
	}
	s.Bake([]uuid.UUID{rack}, "196")
	if got := s.due(); got != "" {
		t.Errorf("due after the approval: %q", got)
	}

	red := s.powder("PE-3020", "Nordlys RAL 3020")
	_, next := s.washed(2)
	err = s.coat(next, red, 0)
	refusedBy(t, err, store.RuleFirstArticle)
	says(t, err, "new powder: Nordlys RAL 3020 (PE-3020) in place of Polyester, matt (PE-7016)")
	part, article := s.throughWith(red)
	err = s.coat(next, red, 0)
	refusedBy(t, err, store.RuleFirstArticle)
	says(t, err, "is named as first article "+article.Number)
	if _, err := s.record(part, false); err != nil {
		t.Fatal(err)
	}
	refusedBy(t, s.coat(next, red, 0), store.RuleFirstArticle)
	if err := s.approve(article.Number, s.approver); err != nil {
		t.Fatal(err)
	}
	if err := s.coat(next, red, 0); err != nil {
		t.Fatalf("series with the approved powder: %v", err)
	}
}

func TestSpecLineDrawingAndGapMakeAFirstArticleDueAgain(t *testing.T) {
	s := newArticleShop(t, 30)
	s.approved(s.Lot, true)
	_, rack := s.washed(1)
	says(t, s.coat(rack, s.Lot, 1), "changed line: Booth 2 in place of Booth 1")
	if err := s.coat(rack, s.Lot, 0); err != nil {
		t.Fatal(err)
	}
	// Another oven is seen when the rack is put on its load.
	oven, err := s.DB.AddStation(t.Context(), s.Everyone, store.Station{Code: "OV2", Name: "Oven 2", Kind: "oven"})
	if err != nil {
		t.Fatal(err)
	}
	load, err := s.DB.OpenLoad(t.Context(), s.Everyone, store.NewID(), oven.ID)
	if err != nil {
		t.Fatal(err)
	}
	err = s.DB.AddRack(t.Context(), s.Everyone, load.ID, rack)
	refusedBy(t, err, store.RuleFirstArticle)
	says(t, err, "changed line: Oven 2 in place of Oven 1")

	s.Now = s.Now.AddDate(0, 0, 30)
	if got := s.due(); got != "" {
		t.Errorf("on the last day of the gap: %q", got)
	}
	s.Now = s.Now.AddDate(0, 0, 1)
	if got := s.due(); !strings.Contains(got, "no series part was run for 31 days, and 30 are allowed") {
		t.Errorf("after the gap: %q", got)
	}
	s.Now = s.Now.AddDate(0, 0, -10)
	if _, err := s.DB.AddDrawingList(t.Context(), s.Everyone, s.PartNumber.ID, 0, store.DrawingList{Drawing: "RF-210 issue 3", Requirements: []quality.DrawingRequirement{{Number: "7", Text: "Hole 9.0 to 9.2 mm"}}}); err != nil {
		t.Fatal(err)
	}
	if got := s.due(); !strings.Contains(got, "new list of drawing requirements: revision 1 in place of none") {
		t.Errorf("after a drawing change: %q", got)
	}
	s.revise("C", func(spec *quality.FinishSpec) { spec.Film.Limits = quality.Between(70, 120, quality.Micrometre) })
	if got := s.due(); !strings.Contains(got, "new spec revision: PC-60 rev C in place of PC-60 rev B") {
		t.Errorf("after a new revision: %q", got)
	}
}

func TestWithoutTheSectionNothingIsAskedAndNothingIsBlocked(t *testing.T) {
	s := storetest.NewShop(t)
	s.Ready(2, 0)
	due, err := s.DB.FirstArticlesDue(t.Context(), s.Site.ID)
	if err != nil || len(due) != 0 {
		t.Errorf("due %v, %v", due, err)
	}
}

func TestApprovalNeedsEveryLineAnsweredAndASecondPerson(t *testing.T) {
	s := newArticleShop(t, 0)
	if _, err := s.DB.AddDrawingList(t.Context(), s.Everyone, s.PartNumber.ID, 0, store.DrawingList{Requirements: []quality.DrawingRequirement{{Number: "7", Text: "Hole 9.0 to 9.2 mm"}}}); err != nil {
		t.Fatal(err)
	}
	part, article := s.throughWith(s.Lot)
	says(t, s.approve(article.Number, s.approver), "There is no record")
	open := func(lines []quality.ArticleLine) []quality.ArticleLine {
		lines[len(lines)-1].Verdict, lines[len(lines)-1].Result = quality.Incomplete, "not looked at yet"
		return lines
	}
	if saved, err := s.record(part, true, open); err != nil || saved.Judgement.Verdict != quality.Incomplete {
		t.Fatalf("an open line: %v, %v", saved.Judgement.Verdict, err)
	}
	says(t, s.approve(article.Number, s.approver), "not answered")
	left := func(lines []quality.ArticleLine) []quality.ArticleLine { return lines[:len(lines)-1] }
	if saved, err := s.record(part, true, left); err != nil || saved.Judgement.Verdict != quality.Incomplete {
		t.Fatalf("a line left out: %v, %v", saved.Judgement.Verdict, err)
	}
	says(t, s.approve(article.Number, s.approver), "not answered")
	seen := s.read(article.Number).RecordID.UUID
	if _, err := s.record(part, true); err != nil {
		t.Fatal(err)
	}
	says(t, s.DB.ApproveFirstArticle(t.Context(), s.approver, article.Number, seen, s.Proof(s.approver)), "recorded "+article.Number+" anew meanwhile")
	refusedBy(t, s.approve(article.Number, s.Everyone), store.RuleSameInspector)
	refusedBy(t, s.approve(article.Number, s.AddPerson("Op Erator", "op", store.Operator)), store.RuleNoRight)
	says(t, s.DB.ApproveFirstArticle(t.Context(), s.approver, article.Number, s.read(article.Number).RecordID.UUID, store.Proof{}), "PIN")
	if err := s.approve(article.Number, s.approver); err != nil {
		t.Fatal(err)
	}
	if f := s.read(article.Number); f.State() != store.ArticleApproved || f.ApprovedBy != "Ada Lindqvist" || !strings.Contains(f.Statement, "full first article "+article.Number) {
		t.Errorf("%+v", f)
	}
	_, err := s.record(part, true)
	says(t, err, "is approved by Ada Lindqvist")
	s.verified()
}

func TestAFailedLineHoldsThePartAndCannotBeApproved(t *testing.T) {
	s := newArticleShop(t, 0)
	part, article := s.throughWith(s.Lot)
	fail := func(lines []quality.ArticleLine) []quality.ArticleLine {
		lines[0] = quality.ArticleLine{Number: lines[0].Number, Result: "undercut on weld 2", Verdict: quality.Fail}
		return lines
	}
	saved, err := s.record(part, true, fail)
	if err != nil || saved.Judgement.Verdict != quality.Fail || saved.HoldNumber == "" {
		t.Fatalf("%+v, %v", saved, err)
	}
	says(t, s.approve(article.Number, s.approver), "failed", "another part")
}

func TestAPartialFirstArticleListsWhatChangedAndRefusesCopiedResults(t *testing.T) {
	s := newArticleShop(t, 0)
	_, one := s.approved(s.Lot, true)
	before, err := s.DB.ArticleLines(t.Context(), s.Site.ID, one.RecordID.UUID)
	if err != nil || len(before) != 7 {
		t.Fatalf("%d lines, %v", len(before), err)
	}
	red := s.powder("PE-3020", "Nordlys RAL 3020")
	part, two := s.throughWith(red)
	f, err := s.DB.ArticleFormOf(t.Context(), s.Everyone, part, false)
	if err != nil || f.Whole {
		t.Fatalf("%+v, %v", f, err)
	}
	var codes []string
	for _, l := range f.Lines {
		codes = append(codes, l.Code)
	}
	if got := strings.Join(codes, "|"); got != "cure|rub|finish|film A|film B" {
		t.Errorf("the partial one lists %s", got)
	}
	evidence := map[string]string{}
	for _, l := range before {
		evidence[l.Code] = l.Evidence
	}
	for i, code := range codes {
		copied := func(lines []quality.ArticleLine) []quality.ArticleLine {
			lines[i] = quality.ArticleLine{Number: lines[i].Number, Evidence: evidence[code]}
			return lines
		}
		_, err := s.record(part, false, copied)
		refusedBy(t, err, store.RuleFirstArticle)
		says(t, err, one.Number, "new results only")
	}
	other := s.otherRecord()
	_, err = s.record(part, false, func(lines []quality.ArticleLine) []quality.ArticleLine {
		lines[0].Evidence = other
		return lines
	})
	says(t, err, "does not count for this part now")
	saved, err := s.record(part, false)
	if err != nil || saved.Judgement.Verdict != quality.Pass {
		t.Fatalf("%+v, %v", saved, err)
	}
	if err := s.approve(two.Number, s.approver); err != nil {
		t.Fatal(err)
	}
	text := export(t, s.Shop, "first-articles.csv", store.ExportFilter{From: s.Now.AddDate(0, 0, -2), To: s.Now.AddDate(0, 0, 2)})
	lines := map[string]int{}
	for _, row := range table(t, text) {
		lines[row["article"]+" "+row["scope"]]++
		if row["requirement_no"] == "" || row["requirement"] == "" || row["result"] == "" || row["verdict"] != "pass" || row["evidence_record_id"] == "" || row["approval"] != "valid" || row["approved_by"] != "Ada Lindqvist" {
			t.Errorf("a line says too little: %v", row)
		}
		if strings.HasPrefix(row["requirement"], "Film") && row["measuring_device"] != "FG-01" {
			t.Errorf("the device of the film is %q", row["measuring_device"])
		}
	}
	if lines[one.Number+" full"] != 7 || lines[two.Number+" partial"] != 5 || len(lines) != 2 {
		t.Errorf("lines in the export: %v", lines)
	}
}

// otherRecord is the id of a record that is about none of the first articles.
func (s *articleShop) otherRecord() string {
	s.t.Helper()
	return s.Weld(s.Parts(1)[0], quality.NoneFound).RecordID.String()
}

func TestCorrectedEvidenceMakesTheApprovalVoidAndBlocksAgain(t *testing.T) {
	s := newArticleShop(t, 0)
	part, article := s.approved(s.Lot, true)
	lines, err := s.DB.ArticleLines(t.Context(), s.Site.ID, article.RecordID.UUID)
	if err != nil {
		t.Fatal(err)
	}
	var film uuid.UUID
	for _, l := range lines {
		if l.Code == "film A" {
			film = uuid.MustParse(l.Evidence)
		}
	}
	s.Now = s.Now.Add(time.Minute)
	if _, err := s.DB.Void(t.Context(), s.Everyone, store.NewID(), store.Correction{Of: film, Code: "wrong_part", Text: "Measured on the part beside it"}, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	f := s.read(article.Number)
	if f.State() != store.ArticleVoid || !strings.Contains(f.Void, "film record was voided by Maren Holt (Measured on the part beside it)") {
		t.Errorf("state %s, void %q", f.State(), f.Void)
	}
	_, rack := s.washed(1)
	says(t, s.coat(rack, s.Lot, 0), "the approval is void: the film record was voided", "record it anew")
	// The same part is measured again, recorded again, and approved again.
	s.Film(part, "80", "84", "79", "90", "92")
	if _, err := s.record(part, true); err != nil {
		t.Fatal(err)
	}
	if err := s.approve(article.Number, s.approver); err != nil {
		t.Fatal(err)
	}
	if err := s.coat(rack, s.Lot, 0); err != nil {
		t.Errorf("after the second approval: %v", err)
	}
	// Voiding the first article's own record does the same.
	if _, err := s.DB.Void(t.Context(), s.Everyone, store.NewID(), store.Correction{Of: s.read(article.Number).RecordID.UUID, Code: "other", Text: "Signed for the wrong drawing"}, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	if f := s.read(article.Number); f.State() != store.ArticleVoid {
		t.Errorf("after the void of its record: %s", f.State())
	}
	s.verified()
}

func TestEvidenceCorrectedBeforeTheApprovalRefusesIt(t *testing.T) {
	s := newArticleShop(t, 0)
	part, article := s.throughWith(s.Lot)
	if _, err := s.record(part, true); err != nil {
		t.Fatal(err)
	}
	lines, err := s.DB.ArticleLines(t.Context(), s.Site.ID, s.read(article.Number).RecordID.UUID)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.DB.Void(t.Context(), s.Everyone, store.NewID(), store.Correction{Of: uuid.MustParse(lines[len(lines)-1].Evidence), Code: "wrong_part", Text: "Another part"}, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	says(t, s.approve(article.Number, s.approver), "rests on a record that was corrected")
}

func TestOfTwoApprovalsAtOnceOneWins(t *testing.T) {
	s := newArticleShop(t, 0)
	part, article := s.throughWith(s.Lot)
	if _, err := s.record(part, true); err != nil {
		t.Fatal(err)
	}
	other := s.AddPerson("Bo Ek", "bo", store.Supervisor)
	seen := s.read(article.Number).RecordID.UUID
	proofs := []store.Proof{s.Proof(s.approver), s.Proof(other)}
	errs := make([]error, 2)
	var wg sync.WaitGroup
	for i, who := range []store.Actor{s.approver, other} {
		wg.Go(func() { errs[i] = s.DB.ApproveFirstArticle(t.Context(), who, article.Number, seen, proofs[i]) })
	}
	wg.Wait()
	if (errs[0] == nil) == (errs[1] == nil) {
		t.Fatalf("%v and %v: want one to win", errs[0], errs[1])
	}
	for _, err := range errs {
		if err != nil {
			refusedBy(t, err, store.RuleChanged)
			says(t, err, "meanwhile")
		}
	}
}

func TestNamingIsOnceAPartAndAtMostFiveAtATime(t *testing.T) {
	s := newArticleShop(t, 0)
	parts := s.Parts(store.MostOpenArticles + 1)
	numbers := make([]string, 2)
	var wg sync.WaitGroup
	for i := range numbers {
		wg.Go(func() {
			f, err := s.DB.NameFirstArticle(t.Context(), s.Everyone, parts[0])
			if err != nil {
				t.Error(err)
			}
			numbers[i] = f.Number
		})
	}
	wg.Wait()
	if numbers[0] != numbers[1] || numbers[0] != "FA-0001" {
		t.Errorf("named twice at once: %v", numbers)
	}
	for _, p := range parts[1:store.MostOpenArticles] {
		if _, err := s.DB.NameFirstArticle(t.Context(), s.Everyone, p); err != nil {
			t.Fatal(err)
		}
	}
	_, err := s.DB.NameFirstArticle(t.Context(), s.Everyone, parts[store.MostOpenArticles])
	says(t, err, "which is the most")
	_, err = s.DB.NameFirstArticle(t.Context(), s.AddPerson("Op Erator", "op", store.Operator), parts[0])
	refusedBy(t, err, store.RuleNoRight)
	_, err = s.record(parts[store.MostOpenArticles], true)
	says(t, err, "not named as first article")
}

func TestBadLinesOfAFirstArticleAreRefused(t *testing.T) {
	s := newArticleShop(t, 0)
	if _, err := s.DB.AddDrawingList(t.Context(), s.Everyone, s.PartNumber.ID, 0, store.DrawingList{Requirements: []quality.DrawingRequirement{{Number: "7", Text: "Hole 9.0 to 9.2 mm"}}}); err != nil {
		t.Fatal(err)
	}
	part, _ := s.throughWith(s.Lot)
	last := func(line quality.ArticleLine) func([]quality.ArticleLine) []quality.ArticleLine {
		return func(lines []quality.ArticleLine) []quality.ArticleLine {
			line.Number = lines[len(lines)-1].Number
			lines[len(lines)-1] = line
			return lines
		}
	}
	for words, line := range map[string]quality.ArticleLine{
		"Enter the result": {Verdict: quality.Pass, Result: "  "}, "passes, fails": {Verdict: "fine", Result: "9.1"}, "That is not a record": {Evidence: "x"},
		"up to 2000 characters": {Verdict: quality.Pass, Result: strings.Repeat("x", 2001)}, "does not count for this part now": {Evidence: store.NewID().String()},
	} {
		_, err := s.record(part, true, last(line))
		says(t, err, words)
	}
	_, err := s.record(part, true, func(lines []quality.ArticleLine) []quality.ArticleLine {
		return append(lines, quality.ArticleLine{Number: "99", Result: "x", Verdict: quality.Pass})
	})
	says(t, err, "No. 99 is not a requirement")
	_, err = s.record(part, false)
	says(t, err, "A partial first article is not enough")
	for _, bad := range [][]quality.DrawingRequirement{{{Number: "", Text: "Hole"}}, {{Number: "1", Text: "x"}}, {{Number: "1", Text: "Hole"}, {Number: "1", Text: "Slot"}}} {
		_, err := s.DB.AddDrawingList(t.Context(), s.Everyone, s.PartNumber.ID, 1, store.DrawingList{Requirements: bad})
		if _, ok := err.(*store.Refusal); !ok {
			t.Errorf("%v: %v", bad, err)
		}
	}
	_, err = s.DB.AddDrawingList(t.Context(), s.Everyone, s.PartNumber.ID, 0, store.DrawingList{})
	refusedBy(t, err, "drawing_list_revision_unique")
}
