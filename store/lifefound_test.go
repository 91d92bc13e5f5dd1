package store_test

import (
	"strings"
	"testing"

	"github.com/google/uuid"

	"coatbook/store"
	"coatbook/store/storetest"
)

// What drawn lives found about recalls, first articles and lots, each as a test of its own.

// A drawn life found that a concession on the recall's hold let the part out of the gate while the recall was undecided.
func TestPartInAnUndecidedRecallIsNotReleasedWhateverItsHoldSays(t *testing.T) {
	s := storetest.NewShop(t)
	parts := s.Ready(1, 0)
	s.Verify(0)
	s.Finish(parts[0])
	s.Film(parts[0], "80", "84", "79", "90", "92")
	bad := s.Verify(9)
	holds, err := s.DB.OpenHolds(t.Context(), s.Site.ID)
	if err != nil || len(holds) != 1 || bad.RecallNumber == "" {
		t.Fatalf("%+v, %v, recall %q", holds, err, bad.RecallNumber)
	}
	if err := s.DB.Decide(t.Context(), s.Everyone, holds[0].ID, store.Decision{Parts: parts, Code: "concession", Reason: "the customer takes it", ConcessionRef: "CR-1", ConcessionQuantity: 1}, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	err = s.DB.Release(t.Context(), s.Everyone, parts, s.Proof(s.Everyone))
	refusedBy(t, err, store.RuleUndecided)
	says(t, err, "is in recall "+bad.RecallNumber+" without a decision and cannot be released")
	if words, err := s.DB.ReleaseWaits(t.Context(), s.Site.ID, parts[0]); err != nil || !strings.Contains(words, bad.RecallNumber) {
		t.Errorf("the release page says %q, %v", words, err)
	}
	review, err := s.DB.RecallByNumber(t.Context(), s.Site.ID, bad.RecallNumber)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.DB.DecideRecall(t.Context(), s.Everyone, review.ID, store.RecallDecision{Parts: parts, Code: "no_effect", Reason: "measured again with another gauge"}, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	if err := s.DB.Release(t.Context(), s.Everyone, parts, s.Proof(s.Everyone)); err != nil {
		t.Errorf("after the decision: %v", err)
	}
}

// A drawn life loaded a rack whose parts had all been stripped, under a spec that asks for first articles.
func TestRackWhosePartsWereAllStrippedIsNotLoaded(t *testing.T) {
	s := newArticleShop(t, 0)
	s.approved(s.Lot, true)
	parts, rack := s.washed(1)
	s.mustDo(s.coat(rack, s.Lot, 0))
	id := store.NewID()
	if _, err := s.DB.OpenHold(t.Context(), s.Everyone, store.HandHold{ID: id, Serials: []string{"TH-0002"}, Cause: "Dropped from the trolley"}); err != nil {
		t.Fatal(err)
	}
	s.mustDo(s.DB.Decide(t.Context(), s.Everyone, id, store.Decision{Parts: parts, Code: "strip_recoat", Reason: "scratched to the metal"}, s.Proof(s.Everyone)))
	load, err := s.DB.OpenLoad(t.Context(), s.Everyone, store.NewID(), s.Oven.ID)
	s.mustDo(err)
	refusedBy(t, s.DB.AddRack(t.Context(), s.Everyone, load.ID, rack), store.RuleNoParts)
}

// A drawn life waited for a first article to be recorded anew on a part that had left.
func TestVoidApprovalOfAShippedArticleAsksForAnotherPart(t *testing.T) {
	s := newArticleShop(t, 0)
	part, article := s.approved(s.Lot, true)
	s.mustDo(s.DB.Release(t.Context(), s.Everyone, []uuid.UUID{part}, s.Proof(s.Everyone)))
	ship(t, s.Shop, "DN-1", part)
	_, err := s.DB.Void(t.Context(), s.Everyone, store.NewID(), store.Correction{Of: s.read(article.Number).RecordID.UUID, Code: "other", Text: "Signed for the wrong drawing"}, s.Proof(s.Everyone))
	s.mustDo(err)
	_, rack := s.washed(1)
	err = s.coat(rack, s.Lot, 0)
	refusedBy(t, err, store.RuleFirstArticle)
	says(t, err, "the first article record was voided", "First article "+article.Number+" counts no longer, and its part TH-0001 is shipped. Name and record another part")
	s.approved(s.Lot, true)
	s.mustDo(s.coat(rack, s.Lot, 0))
}
