package store_test

import (
	"errors"
	"strings"
	"testing"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

// releaseOne takes one part of a ready set through the final bench and releases it.
func releaseOne(t *testing.T, s *storetest.Shop, part uuid.UUID) {
	t.Helper()
	s.Verify(0)
	s.Finish(part)
	s.Film(part, "84", "85", "86", "84", "85")
	if err := s.DB.Release(t.Context(), s.Everyone, []uuid.UUID{part}, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
}

func TestHoldingALotListsItsPartsAndHoldsThoseInHouseInOneAct(t *testing.T) {
	s := storetest.NewShop(t)
	ready := s.Ready(3, 0)
	releaseOne(t, s, ready[0])
	untouched := s.Parts(1)[0]
	s.Weld(untouched, quality.NoneFound)

	touched, err := s.DB.PartsOfLot(t.Context(), s.Site.ID, s.Lot.ID)
	if err != nil {
		t.Fatal(err)
	}
	var inHouse []uuid.UUID
	for _, p := range touched {
		if p.InHouse() {
			inHouse = append(inHouse, p.PartID)
		} else if p.PartID != ready[0] || p.Customer != s.Job.Customer || p.ReleasedAt == nil {
			t.Errorf("gone: %+v, want the released part with its customer", p)
		}
	}
	if len(touched) != 3 || len(inHouse) != 2 {
		t.Fatalf("%d parts touched, %d in house, want 3 and 2: %+v", len(touched), len(inHouse), touched)
	}
	number, err := s.DB.SetLotStatus(t.Context(), s.Everyone, s.Lot.ID, "held", "Maker recalls the batch", inHouse...)
	if err != nil {
		t.Fatal(err)
	}
	h, err := s.DB.HoldByNumber(t.Context(), s.Site.ID, number)
	if err != nil || h.OpenParts != 2 || !strings.Contains(h.Cause, "Powder lot 000123 (PE-7016) is held: Maker recalls the batch") {
		t.Errorf("hold %+v, %v, want both parts for the lot's reason", h, err)
	}
	for i, serial := range []string{"TH-0001", "TH-0002", "TH-0003"} {
		want := []string{store.StatusReleased, store.StatusOnHold, store.StatusOnHold}[i]
		if got := status(t, s, serial).Status; got != want {
			t.Errorf("part %s is %s, want %s", serial, got, want)
		}
	}
	lot, err := s.DB.MaterialLot(t.Context(), s.Site.ID, s.Lot.ID)
	if err != nil || lot.Status != "held" {
		t.Errorf("lot %+v, %v, want held", lot, err)
	}
	again, err := s.DB.PartsOfLot(t.Context(), s.Site.ID, s.Lot.ID)
	if err != nil || again[1].Held != number || again[0].Held != "" {
		t.Errorf("after the hold: %+v, %v, want its number on the parts it holds", again, err)
	}
	_, err = s.DB.SetLotStatus(t.Context(), s.Everyone, s.Lot.ID, "rejected", "Maker recalls the batch", inHouse[0])
	refusedBy(t, err, store.RuleChanged)
}

func TestLotIsNotHeldWhenOneOfItsPartsCannotBe(t *testing.T) {
	s := storetest.NewShop(t)
	ready := s.Ready(2, 0)
	releaseOne(t, s, ready[0])
	_, err := s.DB.SetLotStatus(t.Context(), s.Everyone, s.Lot.ID, "held", "Maker recalls the batch", ready...)
	refusedBy(t, err, store.RuleChanged)
	stranger := s.Parts(1)[0]
	_, err = s.DB.SetLotStatus(t.Context(), s.Everyone, s.Lot.ID, "held", "Maker recalls the batch", stranger)
	notFound(t, err)
	_, err = s.DB.SetLotStatus(t.Context(), s.Everyone, s.Lot.ID, "accepted", "All is well again", ready[1])
	refusedBy(t, err, store.RuleInvalid)
	if lot, err := s.DB.MaterialLot(t.Context(), s.Site.ID, s.Lot.ID); err != nil || lot.Status != "accepted" {
		t.Errorf("lot %+v, %v: nothing may change when the act is refused", lot, err)
	}
	if got := status(t, s, "TH-0002").Status; got == store.StatusOnHold {
		t.Error("a part is held although the act was refused")
	}
}

func TestVoidedRecordNoLongerTouchesItsPart(t *testing.T) {
	s := storetest.NewShop(t)
	part := s.Parts(1)[0]
	heat := lotOfKind(t, s, store.Heat, "HT-1")
	e := weldEntry(part, store.Use{Role: "heat", ID: heat.ID})
	if _, err := save(t, s, e); err != nil {
		t.Fatal(err)
	}
	if _, err := s.DB.Void(t.Context(), s.Everyone, store.NewID(), store.Correction{Of: e.RecordID, Code: "wrong_part", Text: "Scanned the wrong hangtag"}, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	if touched, err := s.DB.PartsOfLot(t.Context(), s.Site.ID, heat.ID); err != nil || len(touched) != 0 {
		t.Errorf("%+v, %v, want no part", touched, err)
	}
}

// TestWhatUsesALotInTheInstantItIsHeldWaitsAndIsRefused holds a lot in a transaction that is still open when a record with the lot
// arrives: the record waits for the answer instead of taking the lot for accepted.
func TestWhatUsesALotInTheInstantItIsHeldWaitsAndIsRefused(t *testing.T) {
	s := storetest.NewShop(t)
	part := s.Parts(1)[0]
	heat := lotOfKind(t, s, store.Heat, "HT-1")
	owner := storetest.Owner(t, s.DB)
	tx, err := owner.Begin(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer tx.Rollback(t.Context())
	if _, err := tx.Exec(t.Context(), `UPDATE material_lot SET status = 'held' WHERE lot_id = $1`, heat.ID); err != nil {
		t.Fatal(err)
	}
	answer := make(chan error, 1)
	go func() {
		_, err := s.DB.Save(t.Context(), s.Everyone, weldEntry(part, store.Use{Role: "heat", ID: heat.ID}))
		answer <- err
	}()
	for waiting := 0; waiting == 0; {
		if err := owner.QueryRow(t.Context(), `SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND wait_event_type = 'Lock'`).Scan(&waiting); err != nil {
			t.Fatal(err)
		}
		select {
		case err := <-answer:
			t.Fatalf("the record did not wait: %v", err)
		default:
		}
	}
	if err := tx.Commit(t.Context()); err != nil {
		t.Fatal(err)
	}
	var refusal *store.Refusal
	if err := <-answer; !errors.As(err, &refusal) || !strings.Contains(refusal.Sentence, "HT-1 is held") {
		t.Errorf("%v, want that the lot is held", err)
	}
}
