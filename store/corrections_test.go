package store_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

func typingError(record uuid.UUID) store.Correction {
	return store.Correction{Of: record, Code: "typing_error", Text: "Read 28 for 82."}
}

func correct(t *testing.T, s *storetest.Shop, of uuid.UUID, e store.Entry) (store.Saved, error) {
	t.Helper()
	s.Now = s.Now.Add(time.Minute)
	return s.DB.Correct(t.Context(), s.Everyone, e, typingError(of), s.Proof(s.Everyone))
}

// ruleOf names the rule that refused, empty when none did.
func ruleOf(err error) string {
	var r *store.Refusal
	if errors.As(err, &r) {
		return r.Rule
	}
	return ""
}

func TestCorrectionTakesThePlaceAndTheOldValueStays(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	part := s.Ready(1, 0)[0]
	s.Finish(part)
	wrong, err := save(t, s, filmEntry(s, part, "28", "68", "75", "93", "86"))
	if err != nil || wrong.Judgement.Verdict != quality.Fail {
		t.Fatalf("thin film: %v, %v", wrong.Judgement.Verdict, err)
	}
	right, err := correct(t, s, wrong.RecordID, filmEntry(s, part, "82", "68", "75", "93", "86"))
	if err != nil || right.Judgement.Verdict != quality.Pass || right.HoldNumber != "" {
		t.Fatalf("correction: %+v, %v", right, err)
	}
	old, err := s.DB.RecordByID(t.Context(), s.Site.ID, wrong.RecordID)
	if err != nil || old.Check.Readings[0].Text != "28" || old.SupersededBy.UUID != right.RecordID {
		t.Errorf("the old record reads %q, corrected by %v, %v", old.Check.Readings[0].Text, old.SupersededBy, err)
	}
	now, err := s.DB.RecordByID(t.Context(), s.Site.ID, right.RecordID)
	if err != nil || !now.ObservedAt.Equal(old.ObservedAt) || !now.FirstPass {
		t.Errorf("the correction was observed at %v (original %v), first pass %v, %v", now.ObservedAt, old.ObservedAt, now.FirstPass, err)
	}
	// A hold ends only by a signed disposition, and now it may say that nothing was wrong.
	if got := status(t, s, "TH-0001").Status; got != store.StatusOnHold {
		t.Errorf("status is %s, want on hold until decided", got)
	}
	h, err := s.DB.HoldByNumber(t.Context(), s.Site.ID, wrong.HoldNumber)
	if err != nil {
		t.Fatal(err)
	}
	lift := store.Decision{Parts: []uuid.UUID{part}, Code: "no_defect", Reason: "The reading was mistyped."}
	if err := s.DB.Decide(t.Context(), s.Everyone, h.ID, lift, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	if got := status(t, s, "TH-0001").Status; got != store.StatusAccepted {
		t.Errorf("status is %s, want accepted", got)
	}
	stages, err := s.DB.Stages(t.Context(), s.Site.ID, store.OneDay(now.ShopDay, ""))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range stages {
		if c.Kind == quality.Film && (c.Units != 1 || c.Passed != 1 || c.Failed != 0) {
			t.Errorf("first-pass yield counts %d film checks, %d passed, %d failed; want the corrected one only", c.Units, c.Passed, c.Failed)
		}
	}
	if changed, err := s.DB.Rebuild(t.Context(), s.Site.ID); changed != 0 || err != nil {
		t.Errorf("rebuilding changed %d parts, %v", changed, err)
	}
}

func TestHoldIsNotLiftedWhileItsRecordStands(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	part := s.Ready(1, 0)[0]
	failed, err := save(t, s, filmEntry(s, part, "28", "68", "75", "93", "86"))
	if err != nil {
		t.Fatal(err)
	}
	h, err := s.DB.HoldByNumber(t.Context(), s.Site.ID, failed.HoldNumber)
	if err != nil {
		t.Fatal(err)
	}
	lift := store.Decision{Parts: []uuid.UUID{part}, Code: "no_defect", Reason: "Looks good to me."}
	if err := s.DB.Decide(t.Context(), s.Everyone, h.ID, lift, s.Proof(s.Everyone)); ruleOf(err) != store.RuleInvalid {
		t.Errorf("lifting a hold over a standing fail: %v", err)
	}
}

func TestCorrectionThatFailsHoldsAtOnce(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	part := s.Ready(1, 0)[0]
	good, err := save(t, s, filmEntry(s, part))
	if err != nil {
		t.Fatal(err)
	}
	bad, err := correct(t, s, good.RecordID, filmEntry(s, part, "28", "68", "75", "93", "86"))
	if err != nil || bad.Judgement.Verdict != quality.Fail || bad.HoldNumber == "" {
		t.Fatalf("correction to a fail: %+v, %v", bad, err)
	}
	if got := status(t, s, "TH-0001").Status; got != store.StatusOnHold {
		t.Errorf("status is %s, want on hold", got)
	}
}

func TestCorrectionAfterReleaseVoidsItAndHolds(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	part := s.Ready(1, 0)[0]
	s.Finish(part)
	film, err := save(t, s, filmEntry(s, part))
	if err != nil {
		t.Fatal(err)
	}
	if err := s.DB.Release(t.Context(), s.Everyone, []uuid.UUID{part}, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	inspector := s.AddPerson("Ona Reyes", "ona", store.Inspector)
	s.Now = s.Now.Add(time.Minute)
	if _, err := s.DB.Correct(t.Context(), inspector, filmEntry(s, part, "82", "68", "75", "93", "85"), typingError(film.RecordID), s.Proof(inspector)); ruleOf(err) != store.RuleNoRight {
		t.Errorf("an inspector corrects what was released: %v", err)
	}
	corrected, err := correct(t, s, film.RecordID, filmEntry(s, part, "82", "68", "75", "93", "85"))
	if err != nil || corrected.Judgement.Verdict != quality.Pass || corrected.HoldNumber == "" {
		t.Fatalf("correction after release: %+v, %v", corrected, err)
	}
	if got := status(t, s, "TH-0001").Status; got != store.StatusOnHold {
		t.Errorf("status is %s, want on hold", got)
	}
	void := false
	story, err := s.DB.Story(t.Context(), s.Site.ID, part)
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range story {
		void = void || line.What == "release" && line.Superseded
	}
	if !void {
		t.Error("the story does not say that the release's signature is void")
	}
	h, err := s.DB.HoldByNumber(t.Context(), s.Site.ID, corrected.HoldNumber)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.DB.Decide(t.Context(), s.Everyone, h.ID, store.Decision{Parts: []uuid.UUID{part}, Code: "no_defect", Reason: "Still within limits."}, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	if err := s.DB.Release(t.Context(), s.Everyone, []uuid.UUID{part}, s.Proof(s.Everyone)); err != nil {
		t.Fatalf("releasing anew: %v", err)
	}
	if got := status(t, s, "TH-0001").Status; got != store.StatusReleased {
		t.Errorf("status is %s, want released", got)
	}
}

func TestVoidTakesTheRecordOutOfCount(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	part := s.Ready(1, 0)[0]
	s.Finish(part)
	film, err := save(t, s, filmEntry(s, part))
	if err != nil {
		t.Fatal(err)
	}
	s.Now = s.Now.Add(time.Minute)
	if _, err := s.DB.Void(t.Context(), s.Everyone, store.NewID(), store.Correction{Of: film.RecordID, Code: "wrong_part", Text: "Belongs to TH-0002."}, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	items, _, err := s.DB.GateOf(t.Context(), s.Site.ID, part)
	if err != nil {
		t.Fatal(err)
	}
	for _, item := range items {
		if item.Kind == quality.Film && item.State != quality.Void {
			t.Errorf("film is %s at the gate, want void", item.State)
		}
	}
	if err := s.DB.Release(t.Context(), s.Everyone, []uuid.UUID{part}, s.Proof(s.Everyone)); ruleOf(err) != store.RuleGateClosed {
		t.Errorf("release on void evidence: %v", err)
	}
	again, err := save(t, s, filmEntry(s, part))
	if err != nil {
		t.Fatal(err)
	}
	if r, err := s.DB.RecordByID(t.Context(), s.Site.ID, again.RecordID); err != nil || !r.FirstPass {
		t.Errorf("the first valid film check is not the first pass: %v", err)
	}
	if _, err := s.DB.Void(t.Context(), s.Everyone, store.NewID(), store.Correction{Of: film.RecordID, Code: "wrong_part", Text: "Belongs to TH-0002."}, s.Proof(s.Everyone)); ruleOf(err) != "record_superseded_once" {
		t.Errorf("voiding twice: %v", err)
	}
}

func TestCorrectionNeedsReasonCodeAndPIN(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	part := s.Ready(1, 0)[0]
	film, err := save(t, s, filmEntry(s, part))
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]store.Correction{
		"no code":   {Of: film.RecordID, Text: "Read 28 for 82."},
		"blanks":    {Of: film.RecordID, Code: "typing_error", Text: "          "},
		"own code":  {Of: film.RecordID, Code: store.EntryUndone, Text: "Taken back."},
		"few words": {Of: film.RecordID, Code: "other", Text: "oops"},
	} {
		if _, err := s.DB.Correct(t.Context(), s.Everyone, filmEntry(s, part), c, s.Proof(s.Everyone)); err == nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := s.DB.Correct(t.Context(), s.Everyone, filmEntry(s, part), typingError(film.RecordID), store.Proof{}); ruleOf(err) != store.RuleWrongSecret {
		t.Errorf("without a PIN: %v", err)
	}
	other := s.Ready(1, 0)[0]
	if _, err := correct(t, s, film.RecordID, filmEntry(s, other)); ruleOf(err) != store.RuleInvalid {
		t.Errorf("correcting onto another part: %v", err)
	}
}

func TestAuthorTakesTheirLastEntryBackForTwoMinutes(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	parts := s.Ready(2, 0)
	film, err := save(t, s, filmEntry(s, parts[0]))
	if err != nil {
		t.Fatal(err)
	}
	other := s.AddPerson("Ona Reyes", "ona", store.Inspector)
	s.Now = s.Now.Add(30 * time.Second)
	if _, err := s.DB.TakeBack(t.Context(), other, store.NewID(), film.RecordID); ruleOf(err) != store.RuleNoRight {
		t.Errorf("another takes it back: %v", err)
	}
	undone, err := s.DB.TakeBack(t.Context(), s.Everyone, store.NewID(), film.RecordID)
	if err != nil {
		t.Fatal(err)
	}
	if r, err := s.DB.RecordByID(t.Context(), s.Site.ID, undone.RecordID); err != nil || r.Verdict != quality.Voided || !strings.Contains(r.Rule, "Taken back") {
		t.Errorf("the void reads %q %q, %v", r.Verdict, r.Rule, err)
	}
	late, err := save(t, s, filmEntry(s, parts[1]))
	if err != nil {
		t.Fatal(err)
	}
	s.Now = s.Now.Add(store.TakeBackWithin + time.Second)
	if _, err := s.DB.TakeBack(t.Context(), s.Everyone, store.NewID(), late.RecordID); ruleOf(err) != store.RuleNoRight {
		t.Errorf("taking back after the window: %v", err)
	}
}

func TestCorrectedGaugeMustHaveBeenVerifiedThatShift(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	part := s.Ready(1, 0)[0]
	film, err := save(t, s, filmEntry(s, part))
	if err != nil {
		t.Fatal(err)
	}
	other, err := s.DB.AddInstrument(t.Context(), s.Everyone, store.Instrument{Code: "FG-02", Kind: "film_gauge", MakerSerial: "00732", Owner: "company", Unit: "um",
		ToleranceAbs: 1, IntervalDays: 365, DueOn: s.Now.AddDate(1, 0, 0)})
	if err != nil {
		t.Fatal(err)
	}
	e := filmEntry(s, part)
	e.Uses = []store.Use{{Role: "gauge", ID: other.ID}}
	if _, err := correct(t, s, film.RecordID, e); ruleOf(err) != store.RuleGaugeUnverified {
		t.Errorf("naming an unverified gauge: %v", err)
	}
	// A day later the original gauge is not verified in the new shift, and the correction does not ask for that.
	s.Now = s.Now.Add(24 * time.Hour)
	if _, err := correct(t, s, film.RecordID, filmEntry(s, part, "81", "68", "75", "93", "86")); err != nil {
		t.Errorf("correcting the day after: %v", err)
	}
}
