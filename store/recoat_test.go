package store_test

import (
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

func TestFilmOverTheRecoatLimitFailsFromTheSecondCycleOn(t *testing.T) {
	s := storetest.NewShop(t)
	draft, err := s.DB.NewRevision(t.Context(), s.Everyone, s.Spec.Code, "B")
	if err != nil {
		t.Fatal(err)
	}
	spec, err := quality.DecodeFinishSpec([]byte(draft.Body))
	if err != nil {
		t.Fatal(err)
	}
	spec.Film.MaxTotal = &quality.Limit{Value: 100, Unit: quality.Micrometre}
	if err := s.DB.SaveDraft(t.Context(), s.Everyone, draft.ID, spec); err != nil {
		t.Fatal(err)
	}
	if err := s.DB.ApproveSpec(t.Context(), s.Everyone, draft.ID, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	s.Now = s.Now.Add(time.Minute)
	s.Verify(0)
	part := s.Ready(1, 0)
	s.Finish(part[0])
	thin := s.Film(part[0], "40", "40", "41", "42", "43")
	hold, err := s.DB.HoldByNumber(t.Context(), s.Site.ID, thin.HoldNumber)
	if err != nil {
		t.Fatal(err)
	}
	s.Now = s.Now.Add(time.Minute)
	if err := s.DB.Decide(t.Context(), s.Everyone, hold.ID, store.Decision{Parts: part, Code: "strip_recoat", Reason: "Too thin, strip it."}, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	s.Weld(part[0], quality.NoneFound)
	s.Bake([]uuid.UUID{s.Wash(part, "4.6", 0)}, "196")
	s.Finish(part[0])
	// 110 µm is within 60 to 120; after recoating the spec allows 100.
	thick := s.Film(part[0], "110", "110", "110", "110", "110")
	if thick.Judgement.Verdict != quality.Fail || !strings.Contains(thick.Judgement.Sentence(), "over 100 µm, the maximum after recoating") || thick.HoldNumber == "" {
		t.Errorf("%s: %s", thick.Judgement.Verdict, thick.Judgement.Sentence())
	}
	first := s.Ready(1, 0)
	s.Finish(first[0])
	if once := s.Film(first[0], "110", "110", "110", "110", "110"); once.Judgement.Verdict != quality.Pass {
		t.Errorf("a part coated once: %s", once.Judgement.Sentence())
	}
	// A second strip and recoat is beyond the spec's two cycles.
	if hold, err = s.DB.HoldByNumber(t.Context(), s.Site.ID, thick.HoldNumber); err != nil {
		t.Fatal(err)
	}
	refusedBy(t, s.DB.Decide(t.Context(), s.Everyone, hold.ID, store.Decision{Parts: part, Code: "strip_recoat", Reason: "Too thick, strip it."}, s.Proof(s.Everyone)), store.RuleCycles)
}
