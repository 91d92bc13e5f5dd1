package store_test

import (
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
)

const declined = "The hole is measured with a worn plug"

// decline declines the latest record of a first article.
func (s *articleShop) decline(number string, who store.Actor) error {
	s.t.Helper()
	s.Now = s.Now.Add(time.Second)
	return s.DB.DeclineFirstArticle(s.t.Context(), who, number, s.read(number).RecordID.UUID, "device", declined+".", s.Proof(who))
}

func (s *articleShop) voidDecline(number string, who store.Actor) error {
	s.t.Helper()
	s.Now = s.Now.Add(time.Second)
	return s.DB.VoidDecline(s.t.Context(), who, number, s.read(number).DeclineID.UUID, "Signed at the wrong article", s.Proof(who))
}

func (s *articleShop) mustDo(err error) {
	s.t.Helper()
	if err != nil {
		s.t.Fatal(err)
	}
}

func TestDeclinedFirstArticleKeepsTheSeriesWaitingUntilAnotherRecordIsApproved(t *testing.T) {
	s := newArticleShop(t, 0)
	part, article := s.throughWith(s.Lot)
	_, err := s.record(part, true)
	s.mustDo(err)
	_, rack := s.washed(1)
	says(t, s.coat(rack, s.Lot, 0), "have it approved")
	s.mustDo(s.decline(article.Number, s.approver))

	f := s.read(article.Number)
	if f.State() != store.ArticleDeclined || f.DeclinedBy != "Ada Lindqvist" || f.DeclineCode != "device" || f.DeclineReason != declined+"." || f.DeclinedAt == nil {
		t.Errorf("%+v", f)
	}
	err = s.coat(rack, s.Lot, 0)
	refusedBy(t, err, store.RuleFirstArticle)
	says(t, err, "First article "+article.Number+" on part "+f.Serial+" was declined by Ada Lindqvist: "+declined+". Put right what was wrong and record it anew on this part, or name and record another part")
	err = s.approve(article.Number, s.approver)
	refusedBy(t, err, store.RuleChanged)
	says(t, err, "was declined by Ada Lindqvist: "+declined)
	says(t, s.decline(article.Number, s.approver), "was declined by")
	text := export(t, s.Shop, "first-articles.csv", store.ExportFilter{From: s.Now.AddDate(0, 0, -2), To: s.Now.AddDate(0, 0, 2)})
	for _, row := range table(t, text) {
		if row["declined_by"] != "Ada Lindqvist" || row["decline_code"] != "device" || row["decline_reason"] != declined+"." || !strings.HasPrefix(row["declined_at"], "2026-11-24T") || row["approval"] != "none" {
			t.Errorf("the export says %v", row)
		}
	}
	s.signatures("reviewed", "valid", "Declined first article "+article.Number)
	story, err := s.DB.Story(t.Context(), s.Site.ID, part)
	s.mustDo(err)
	told := false
	for _, l := range story {
		told = told || l.What == "confirmation" && l.RecordID == f.RecordID && strings.HasPrefix(l.Sentence, "Declined first article") && l.Person == "Ada Lindqvist" && l.Reason == declined+"."
	}
	if !told {
		t.Errorf("the part's story does not tell of it: %+v", story)
	}

	// Recorded anew on the same part it is another record, which is approved; what was said of the first one stays.
	_, err = s.record(part, true)
	s.mustDo(err)
	if f := s.read(article.Number); f.State() != store.ArticleRecorded {
		t.Errorf("recorded anew: %s", f.State())
	}
	says(t, s.coat(rack, s.Lot, 0), "have it approved")
	s.mustDo(s.approve(article.Number, s.approver))
	s.mustDo(s.coat(rack, s.Lot, 0))
	if all, err := s.DB.ArticleDeclines(t.Context(), s.Site.ID, f.ID); err != nil || len(all) != 1 || all[0].RecordID != f.RecordID.UUID || all[0].VoidedAt != nil {
		t.Errorf("declines %+v, %v", all, err)
	}
	s.verified()
}

// signatures wants one signature of that meaning and statement in the export, in that state.
func (s *articleShop) signatures(meaning, state, statement string) {
	s.t.Helper()
	found := 0
	for _, row := range table(s.t, export(s.t, s.Shop, "signatures.csv", store.ExportFilter{From: s.Now.AddDate(0, 0, -2), To: s.Now.AddDate(0, 0, 2)})) {
		if strings.HasPrefix(row["statement"], statement) && row["meaning"] == meaning && row["state"] == state && row["on_record_id"] != "" && row["part_serial"] != "" {
			found++
		}
	}
	if found != 1 {
		s.t.Errorf("%d signatures “%s” that are %s", found, statement, state)
	}
}

func TestDeclineIsRefusedToItsAuthorWithoutAReasonAndWithoutARight(t *testing.T) {
	s := newArticleShop(t, 0)
	part, article := s.throughWith(s.Lot)
	says(t, s.decline(article.Number, s.approver), "There is no record")
	_, err := s.record(part, true)
	s.mustDo(err)
	before := s.read(article.Number).RecordID.UUID
	refusedBy(t, s.decline(article.Number, s.Everyone), store.RuleSameInspector)
	refusedBy(t, s.decline(article.Number, s.AddPerson("In Spector", "in", store.Inspector, store.Operator)), store.RuleNoRight)
	proof := s.Proof(s.approver)
	for rule, try := range map[string][2]string{"first_article_decline_code_known": {"because", declined}, "first_article_decline_reason_given": {"result", "  no  "}} {
		refusedBy(t, s.DB.DeclineFirstArticle(t.Context(), s.approver, article.Number, before, try[0], try[1], proof), rule)
	}
	refusedBy(t, s.DB.DeclineFirstArticle(t.Context(), s.approver, article.Number, before, "result", strings.Repeat("x", 501), proof), "first_article_decline_reason_given")
	says(t, s.DB.DeclineFirstArticle(t.Context(), s.approver, article.Number, before, "result", declined, store.Proof{}), "PIN")
	_, err = s.record(part, true)
	s.mustDo(err)
	says(t, s.DB.DeclineFirstArticle(t.Context(), s.approver, article.Number, before, "result", declined, proof), "anew meanwhile")
	if all, err := s.DB.ArticleDeclines(t.Context(), s.Site.ID, article.ID); err != nil || len(all) != 0 {
		t.Errorf("declines %+v, %v", all, err)
	}
	// A part on hold is no reason to put off a decline, as it is for an approval.
	if _, err := s.DB.OpenHold(t.Context(), s.Everyone, store.HandHold{ID: store.NewID(), Serials: []string{article.Serial}, Cause: "Dropped from the trolley"}); err != nil {
		t.Fatal(err)
	}
	refusedBy(t, s.approve(article.Number, s.approver), store.RuleOnHold)
	s.mustDo(s.decline(article.Number, s.approver))
}

func TestDeclineMadeByMistakeIsVoidedAndTheRecordWaitsAgain(t *testing.T) {
	s := newArticleShop(t, 0)
	part, article := s.throughWith(s.Lot)
	_, err := s.record(part, true)
	s.mustDo(err)
	says(t, s.voidDecline(article.Number, s.approver), "No such decline")
	s.mustDo(s.decline(article.Number, s.approver))
	refusedBy(t, s.voidDecline(article.Number, s.Everyone), store.RuleSameInspector)
	decline := s.read(article.Number).DeclineID.UUID
	refusedBy(t, s.DB.VoidDecline(t.Context(), s.AddPerson("In Spector", "in", store.Inspector), article.Number, decline, "Signed at the wrong article", store.Proof{}), store.RuleNoRight)
	refusedBy(t, s.DB.VoidDecline(t.Context(), s.approver, article.Number, decline, " ", s.Proof(s.approver)), "first_article_decline_void_reason_given")
	s.mustDo(s.voidDecline(article.Number, s.approver))
	if f := s.read(article.Number); f.State() != store.ArticleRecorded || f.DeclineID.Valid {
		t.Errorf("after the void: %s, %+v", f.State(), f)
	}
	refusedBy(t, s.DB.VoidDecline(t.Context(), s.approver, article.Number, decline, "Signed at the wrong article", s.Proof(s.approver)), store.RuleChanged)
	s.signatures("reviewed", "void", "Declined first article "+article.Number)
	if all, err := s.DB.ArticleDeclines(t.Context(), s.Site.ID, article.ID); err != nil || len(all) != 1 || all[0].VoidedBy != "Ada Lindqvist" || all[0].VoidedFor != "Signed at the wrong article" {
		t.Errorf("declines %+v, %v", all, err)
	}
	// It may be declined again, and approved once that is void as well.
	s.mustDo(s.decline(article.Number, s.approver))
	s.mustDo(s.voidDecline(article.Number, s.approver))
	s.mustDo(s.approve(article.Number, s.approver))
	_, rack := s.washed(1)
	s.mustDo(s.coat(rack, s.Lot, 0))
	s.verified()
}

func TestOfApprovalAndDeclineAtOnceOneWins(t *testing.T) {
	s := newArticleShop(t, 0)
	part, article := s.throughWith(s.Lot)
	_, err := s.record(part, true)
	s.mustDo(err)
	other := s.AddPerson("Bo Ek", "bo", store.Supervisor)
	seen, yes, no := s.read(article.Number).RecordID.UUID, s.Proof(s.approver), s.Proof(other)
	var wg sync.WaitGroup
	var approved, refused error
	wg.Go(func() { approved = s.DB.ApproveFirstArticle(t.Context(), s.approver, article.Number, seen, yes) })
	wg.Go(func() {
		refused = s.DB.DeclineFirstArticle(t.Context(), other, article.Number, seen, "result", declined, no)
	})
	wg.Wait()
	if (approved == nil) == (refused == nil) {
		t.Fatalf("%v and %v: want one to win", approved, refused)
	}
	for _, err := range []error{approved, refused} {
		if err != nil {
			refusedBy(t, err, store.RuleChanged)
		}
	}
}

func TestRackCoatedBeforeIsNotLoadedNorReleasedWhileItsArticleIsDeclined(t *testing.T) {
	s := newArticleShop(t, 0)
	part, article := s.approved(s.Lot, true)
	series, rack := s.washed(2)
	s.mustDo(s.coat(rack, s.Lot, 0))
	late, second := s.washed(1)
	s.mustDo(s.coat(second, s.Lot, 0))
	s.Bake([]uuid.UUID{rack}, "196")
	s.Verify(0)
	for _, p := range series {
		s.Finish(p)
		s.Film(p, "80", "84", "79", "90", "92")
	}
	s.mustDo(s.DB.Release(t.Context(), s.Everyone, series[:1], s.Proof(s.Everyone)))

	// The approval is void, the article recorded anew, and that record declined.
	_, err := s.DB.Void(t.Context(), s.Everyone, store.NewID(), store.Correction{Of: s.read(article.Number).RecordID.UUID, Code: "other", Text: "Signed for the wrong drawing"}, s.Proof(s.Everyone))
	s.mustDo(err)
	err = s.DB.Release(t.Context(), s.Everyone, series[1:], s.Proof(s.Everyone))
	refusedBy(t, err, store.RuleFirstArticle)
	says(t, err, "no first article that counts stands for how it was made (the approval is void: the first article record was voided")
	_, err = s.record(part, true)
	s.mustDo(err)
	s.mustDo(s.decline(article.Number, s.approver))
	load, err := s.DB.OpenLoad(t.Context(), s.Everyone, store.NewID(), s.Oven.ID)
	s.mustDo(err)
	for _, err := range []error{s.DB.AddRack(t.Context(), s.Everyone, load.ID, second), s.DB.Release(t.Context(), s.Everyone, series[1:], s.Proof(s.Everyone))} {
		refusedBy(t, err, store.RuleFirstArticle)
		says(t, err, "was declined by Ada Lindqvist: "+declined+".")
	}
	if words, err := s.DB.ReleaseWaits(t.Context(), s.Site.ID, series[1]); err != nil || !strings.Contains(words, "was declined by") {
		t.Errorf("the part's page says %q, %v", words, err)
	}
	// The first article itself is released by its own evidence.
	if words, err := s.DB.ReleaseWaits(t.Context(), s.Site.ID, part); err != nil || words != "" {
		t.Errorf("the article waits for itself: %q, %v", words, err)
	}
	_, err = s.record(part, true)
	s.mustDo(err)
	s.mustDo(s.approve(article.Number, s.approver))
	s.mustDo(s.DB.AddRack(t.Context(), s.Everyone, load.ID, second))
	s.mustDo(s.DB.Release(t.Context(), s.Everyone, series[1:], s.Proof(s.Everyone)))
	if words, err := s.DB.ReleaseWaits(t.Context(), s.Site.ID, late[0]); err != nil || words != "" {
		t.Errorf("after the approval: %q, %v", words, err)
	}
}

func TestSeriesThatWasMadeUnderAnApprovalIsReleasedAfterAGapAndANewRevision(t *testing.T) {
	s := newArticleShop(t, 30)
	s.approved(s.Lot, true)
	series, rack := s.washed(1)
	s.mustDo(s.coat(rack, s.Lot, 0))
	s.Bake([]uuid.UUID{rack}, "196")
	s.Verify(0)
	s.Finish(series[0])
	s.Film(series[0], "80", "84", "79", "90", "92")
	s.Parts(1) // still in work, so that the number is looked at
	s.Now = s.Now.AddDate(0, 0, 40)
	s.revise("C", func(spec *quality.FinishSpec) { spec.Film.Limits = quality.Between(70, 120, quality.Micrometre) })
	if due := s.due(); !strings.Contains(due, "long gap") || !strings.Contains(due, "new spec revision") {
		t.Errorf("due: %q", due)
	}
	s.mustDo(s.DB.Release(t.Context(), s.Everyone, series, s.Proof(s.Everyone)))
}

func TestDeclineOnAPartThatIsFinishedAsksForAnotherPart(t *testing.T) {
	s := newArticleShop(t, 0)
	part, article := s.throughWith(s.Lot)
	_, err := s.record(part, true)
	s.mustDo(err)
	s.mustDo(s.decline(article.Number, s.approver))
	id := store.NewID()
	_, err = s.DB.OpenHold(t.Context(), s.Everyone, store.HandHold{ID: id, Serials: []string{article.Serial}, Cause: "Dropped from the trolley"})
	s.mustDo(err)
	s.mustDo(s.DB.Decide(t.Context(), s.Everyone, id, store.Decision{Parts: []uuid.UUID{part}, Code: "scrap", Reason: "bent beyond repair"}, s.Proof(s.Everyone)))
	_, rack := s.washed(1)
	says(t, s.coat(rack, s.Lot, 0), "was declined by Ada Lindqvist", "Name and record another part, and have it approved.")
	s.approved(s.Lot, true)
	s.mustDo(s.coat(rack, s.Lot, 0))
	// What was declined long ago is not what a later change waits for.
	_, next := s.washed(1)
	err = s.coat(next, s.powder("PE-3020", "Nordlys RAL 3020"), 0)
	says(t, err, "new powder", "Name a part as first article")
	if strings.Contains(err.Error(), "declined") {
		t.Errorf("names the old decline: %v", err)
	}
}
