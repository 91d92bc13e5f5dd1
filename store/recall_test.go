package store_test

import (
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

// released brings parts through film and release.
func released(t *testing.T, s *storetest.Shop, parts []uuid.UUID) {
	t.Helper()
	for _, p := range parts {
		s.Finish(p)
		s.Film(p, "82", "68", "75", "93", "86")
	}
	if err := s.DB.Release(t.Context(), s.Everyone, parts, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
}

func theRecall(t *testing.T, s *storetest.Shop, number string) (store.Recall, []store.RecallLine) {
	t.Helper()
	r, err := s.DB.RecallByNumber(t.Context(), s.Site.ID, number)
	if err != nil {
		t.Fatal(err)
	}
	lines, err := s.DB.RecallLines(t.Context(), s.Site.ID, r.ID)
	if err != nil {
		t.Fatal(err)
	}
	return r, lines
}

func partsOf(lines []store.RecallLine, pick func(store.RecallLine) bool) []uuid.UUID {
	var ids []uuid.UUID
	for _, l := range lines {
		if pick(l) {
			ids = append(ids, l.PartID)
		}
	}
	return ids
}

func decideRecall(t *testing.T, s *storetest.Shop, r store.Recall, code string, parts []uuid.UUID) error {
	t.Helper()
	return s.DB.DecideRecall(t.Context(), s.Everyone, r.ID, store.RecallDecision{Parts: parts, Code: code, Reason: "Lowest reading is well over the limit."}, s.Proof(s.Everyone))
}

// Five readings before the good check, forty after it, then a bad check: the forty and no other are in doubt.
func TestFailedVerificationRecallsExactlyWhatWasMeasuredSinceTheLastGoodOne(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	before := s.Ready(5, 0)
	for _, p := range before {
		s.Finish(p)
		s.Film(p, "82", "68", "75", "93", "86")
	}
	good := s.Verify(0.5)
	after := s.Ready(40, 0)
	released(t, s, after[:15])
	for _, p := range after[15:] {
		s.Film(p, "82", "68", "75", "93", "86")
	}
	bad := s.Verify(9)
	if bad.Judgement.Verdict != quality.Fail || bad.RecallNumber == "" || bad.HoldNumber == "" {
		t.Fatalf("the failed verification: %+v", bad)
	}
	r, lines := theRecall(t, s, bad.RecallNumber)
	if r.Records != 40 || r.Parts != 40 || r.Undecided != 40 || r.Out != 15 || r.GoodID.UUID != good.RecordID || r.RecordID.UUID != bad.RecordID || r.Hold != bad.HoldNumber {
		t.Errorf("the review: %+v", r)
	}
	records, err := s.DB.RecallRecords(t.Context(), s.Site.ID, r.ID)
	if err != nil || len(records) != 40 {
		t.Errorf("%d records, %v", len(records), err)
	}
	for _, l := range lines {
		out := slices.Contains(after[:15], l.PartID)
		if !slices.Contains(after, l.PartID) || l.Customer == "" || l.Records != 1 || out != (l.ReleasedAt != nil) || out == l.HoldOpen || out != (l.Now == store.StatusReleased) {
			t.Errorf("%s: %+v", l.Serial, l)
		}
	}
	for _, p := range before {
		if slices.ContainsFunc(lines, func(l store.RecallLine) bool { return l.PartID == p }) {
			t.Error("a part that was measured before the good check is recalled")
		}
	}
	// A later good verification lifts nothing, and does not put the gauge back in use.
	s.Now = s.Now.Add(time.Minute)
	s.Verify(0)
	if _, lines := theRecall(t, s, bad.RecallNumber); len(partsOf(lines, func(l store.RecallLine) bool { return l.HoldOpen })) != 25 {
		t.Error("a good verification lifted a hold")
	}
	g, err := s.DB.InstrumentByCode(t.Context(), s.Site.ID, s.Gauge.Code)
	if err != nil || g.Status != "failed" {
		t.Errorf("the gauge is %s, %v", g.Status, err)
	}
	if changed, err := s.DB.Rebuild(t.Context(), s.Site.ID); changed != 0 || err != nil {
		t.Errorf("rebuilding changed %d parts, %v", changed, err)
	}
}

func TestRecallClosesOnlyWithADecisionOnEachPart(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	parts := s.Ready(4, 0)
	released(t, s, parts[:2])
	for _, p := range parts[2:] {
		s.Finish(p)
		s.Film(p, "82", "68", "75", "93", "86")
	}
	r, _ := theRecall(t, s, s.Verify(9).RecallNumber)
	closing := func() error {
		return s.DB.CloseRecall(t.Context(), s.Everyone, r.ID, "Decided part by part.", s.Proof(s.Everyone))
	}

	inspector := s.AddPerson("Ona Reyes", "ona", store.Inspector)
	d := store.RecallDecision{Parts: parts[:1], Code: "no_effect", Reason: "Looks good to me."}
	refusedBy(t, s.DB.DecideRecall(t.Context(), inspector, r.ID, d, s.Proof(inspector)), store.RuleNoRight)
	refusedBy(t, s.DB.CloseRecall(t.Context(), inspector, r.ID, "Decided.", s.Proof(inspector)), store.RuleNoRight)
	refusedBy(t, decideRecall(t, s, r, "notify_customer", parts[2:3]), store.RuleInvalid)
	refusedBy(t, decideRecall(t, s, r, "forget", parts[2:3]), "recall_decision_code_known")
	refusedBy(t, s.DB.DecideRecall(t.Context(), s.Everyone, r.ID, store.RecallDecision{Parts: parts[:1], Code: "no_effect", Reason: " x "}, s.Proof(s.Everyone)), "recall_decision_reason_given")
	refusedBy(t, s.DB.DecideRecall(t.Context(), s.Everyone, r.ID, d, store.Proof{}), store.RuleWrongSecret)

	for code, part := range map[string][]uuid.UUID{"notify_customer": parts[:1], "no_effect": parts[2:3], "hold": parts[3:]} {
		refusedBy(t, closing(), store.RuleUndecided)
		if err := decideRecall(t, s, r, code, part); err != nil {
			t.Fatalf("%s: %v", code, err)
		}
	}
	refusedBy(t, closing(), store.RuleUndecided)
	refusedBy(t, decideRecall(t, s, r, "no_effect", parts[:1]), "recall_decision_once")
	if err := decideRecall(t, s, r, "re_measure", parts[1:2]); err != nil {
		t.Fatal(err)
	}
	if err := closing(); err != nil {
		t.Fatal(err)
	}
	refusedBy(t, closing(), store.RuleChanged)
	closed, _ := theRecall(t, s, r.Number)
	if closed.ClosedAt == nil || closed.ClosedBy != s.Everyone.Name || closed.Undecided != 0 {
		t.Errorf("closed: %+v", closed)
	}
	for serial, want := range map[string]string{"TH-0001": store.StatusReleased, "TH-0002": store.StatusInProgress, "TH-0003": store.StatusAccepted, "TH-0004": store.StatusOnHold} {
		if got := status(t, s, serial); got.Status != want {
			t.Errorf("%s is %s, want %s", serial, got.Status, want)
		}
	}
	if changed, err := s.DB.Rebuild(t.Context(), s.Site.ID); changed != 0 || err != nil {
		t.Errorf("rebuilding changed %d parts, %v", changed, err)
	}
}

func TestPartToBeMeasuredAgainNeedsNewReadingsAndANewRelease(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	part := s.Ready(1, 0)[0]
	s.Finish(part)
	film := s.Film(part, "82", "68", "75", "93", "86")
	if err := s.DB.Release(t.Context(), s.Everyone, []uuid.UUID{part}, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	r, _ := theRecall(t, s, s.Verify(9).RecallNumber)
	if err := decideRecall(t, s, r, "re_measure", []uuid.UUID{part}); err != nil {
		t.Fatal(err)
	}
	refusedBy(t, s.DB.Release(t.Context(), s.Everyone, []uuid.UUID{part}, s.Proof(s.Everyone)), store.RuleGateClosed)
	// Correcting the old reading does not bring it back into count: it is still of the gauge that was wrong.
	if _, err := correct(t, s, film.RecordID, filmEntry(s, part, "83", "68", "75", "93", "86")); err != nil {
		t.Fatal(err)
	}
	refusedBy(t, s.DB.Release(t.Context(), s.Everyone, []uuid.UUID{part}, s.Proof(s.Everyone)), store.RuleGateClosed)
	if again, _ := theRecall(t, s, r.Number); again.Records != 1 {
		t.Errorf("the review counts %d records, want the one with its correction", again.Records)
	}
	if _, err := s.DB.SetInstrumentStatus(t.Context(), s.Everyone, s.Gauge.ID, "in_use", "Adjusted and read true again."); err != nil {
		t.Fatal(err)
	}
	s.Verify(0)
	s.Film(part, "81", "67", "75", "93", "86")
	if err := s.DB.Release(t.Context(), s.Everyone, []uuid.UUID{part}, s.Proof(s.Everyone)); err != nil {
		t.Errorf("after measuring again: %v", err)
	}
}

func TestSecondFailureBeforeAnyNewReadingOpensNoSecondReview(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	part := s.Ready(1, 0)[0]
	s.Film(part, "82", "68", "75", "93", "86")
	first := s.Verify(9)
	if second := s.Verify(9); second.RecallNumber != "" || first.RecallNumber == "" {
		t.Errorf("first %q, second %q", first.RecallNumber, second.RecallNumber)
	}
	other := storetest.NewShop(t)
	if bad := other.Verify(9); bad.RecallNumber != "" || bad.Judgement.Verdict != quality.Fail {
		t.Errorf("nothing was measured and a review was opened: %+v", bad)
	}
}

func TestPartStrippedSinceIsListedAndNotHeld(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	part := s.Ready(1, 0)[0]
	thin := s.Film(part, "28", "28", "28", "28", "28")
	h, err := s.DB.HoldByNumber(t.Context(), s.Site.ID, thin.HoldNumber)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.DB.Decide(t.Context(), s.Everyone, h.ID, store.Decision{Parts: []uuid.UUID{part}, Code: "strip_recoat", Reason: "Too thin, strip it."}, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	bad := s.Verify(9)
	r, lines := theRecall(t, s, bad.RecallNumber)
	if r.Records != 1 || len(lines) != 1 || lines[0].Held || bad.HoldNumber != "" {
		t.Errorf("%+v, hold %q", lines, bad.HoldNumber)
	}
}

// Film checks race the failing verification: each is in the recall, or was refused. None slips through.
func TestFilmThatRacesTheFailedVerificationIsRecalledOrRefused(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	parts := s.Ready(12, 0)
	s.Now = s.Now.Add(time.Minute)
	entries := make([]store.Entry, len(parts))
	for i, p := range parts {
		entries[i] = filmEntry(s, p)
	}
	check := quality.Check{Readings: []quality.Reading{s.Reading("zero_reading", "", 0, "0.2", quality.Micrometre)}}
	e := store.Entry{RecordID: store.NewID(), Kind: quality.Verification, Subject: store.Subject{Kind: quality.OnInstrument, ID: s.Gauge.ID}}
	for i, text := range []string{"59.0", "134.0"} {
		check.Readings = append(check.Readings, s.Reading("shim_reading", s.Shims[i].Code, 0, text, quality.Micrometre))
		e.Uses = append(e.Uses, store.Use{Role: "shim", ID: s.Shims[i].ID})
	}
	e.Check = check
	var wg sync.WaitGroup
	errs := make([]error, len(parts))
	var failed store.Saved
	var failure error
	for i := range entries {
		if i == len(entries)/2 {
			wg.Go(func() { failed, failure = s.DB.Save(t.Context(), s.Everyone, e) })
		}
		wg.Go(func() { _, errs[i] = s.DB.Save(t.Context(), s.Everyone, entries[i]) })
	}
	wg.Wait()
	if failure != nil || failed.Judgement.Verdict != quality.Fail {
		t.Fatalf("the verification: %+v, %v", failed, failure)
	}
	recalled := map[uuid.UUID]bool{}
	if failed.RecallNumber != "" {
		r, _ := theRecall(t, s, failed.RecallNumber)
		records, err := s.DB.RecallRecords(t.Context(), s.Site.ID, r.ID)
		if err != nil {
			t.Fatal(err)
		}
		for _, rec := range records {
			recalled[rec.RecordID] = true
		}
	}
	for i, err := range errs {
		switch {
		case err == nil && !recalled[entries[i].RecordID]:
			t.Errorf("film check %d was stored and is not recalled", i)
		case err != nil && ruleOf(err) != store.RuleGaugeFailed:
			t.Errorf("film check %d: %v", i, err)
		case err != nil && recalled[entries[i].RecordID]:
			t.Errorf("film check %d was refused and is recalled", i)
		}
	}
}

func TestVerificationCorrectedToAFailureRecalls(t *testing.T) {
	s := storetest.NewShop(t)
	good := s.Verify(0)
	part := s.Ready(1, 0)[0]
	s.Film(part, "82", "68", "75", "93", "86")
	check := quality.Check{Readings: []quality.Reading{s.Reading("zero_reading", "", 0, "0.2", quality.Micrometre),
		s.Reading("shim_reading", s.Shims[0].Code, 0, "59", quality.Micrometre), s.Reading("shim_reading", s.Shims[1].Code, 0, "134", quality.Micrometre)}}
	wrong, err := correct(t, s, good.RecordID, store.Entry{RecordID: store.NewID(), Kind: quality.Verification, Subject: store.Subject{Kind: quality.OnInstrument, ID: s.Gauge.ID},
		Check: check, Uses: []store.Use{{Role: "shim", ID: s.Shims[0].ID}, {Role: "shim", ID: s.Shims[1].ID}}})
	if err != nil || wrong.RecallNumber == "" {
		t.Fatalf("%+v, %v", wrong, err)
	}
	if r, _ := theRecall(t, s, wrong.RecallNumber); r.Records != 1 || r.From != nil {
		t.Errorf("%+v", r)
	}
}

func TestDeviceMarkedAsFailedByHandIsRecalledToo(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	part := s.Ready(1, 0)[0]
	s.Film(part, "82", "68", "75", "93", "86")
	number, err := s.DB.SetInstrumentStatus(t.Context(), s.Everyone, s.Gauge.ID, "failed", "Display is dark after a fall.")
	if err != nil {
		t.Fatal(err)
	}
	r, lines := theRecall(t, s, number)
	if r.RecordID.Valid || r.Records != 1 || !lines[0].HoldOpen {
		t.Errorf("%+v %+v", r, lines)
	}
}
