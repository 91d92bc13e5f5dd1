package store_test

import (
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"coatbook/store"
	"coatbook/store/storetest"
)

// thinParts are parts whose film failed, each on a hold of its own.
func thinParts(t *testing.T, s *storetest.Shop, n int) (parts []uuid.UUID, holds []store.Hold) {
	t.Helper()
	s.Verify(0)
	parts = s.Ready(n, 0)
	for _, p := range parts {
		s.Finish(p)
		saved := s.Film(p, "57", "60", "59", "62", "53")
		h, err := s.DB.HoldByNumber(t.Context(), s.Site.ID, saved.HoldNumber)
		if err != nil {
			t.Fatal(err)
		}
		holds = append(holds, h)
	}
	return parts, holds
}

func TestConcessionCountsDownAndTheFourthPartOfThreeIsRefused(t *testing.T) {
	s := storetest.NewShop(t)
	parts, holds := thinParts(t, s, 4)
	d := store.Decision{Code: "concession", Reason: "Covered after assembly", ConcessionRef: "CR-9", ConcessionQuantity: 3}
	decide := func(i int) error {
		d.Parts = parts[i : i+1]
		return s.DB.Decide(t.Context(), s.Everyone, holds[i].ID, d, s.Proof(s.Everyone))
	}
	for i := range 3 {
		if err := decide(i); err != nil {
			t.Fatal(err)
		}
		// The reference alone says which concession it is from the second part on.
		d.ConcessionQuantity = 0
		c, err := s.DB.Concessions(t.Context(), s.Site.ID, parts[i])
		if err != nil || len(c) != 1 || c[0].Reference != "CR-9" || *c[0].QuantityLeft != 2-i || c[0].Limits() != "for 3 parts" {
			t.Fatalf("part %d: %+v, %v", i+1, c, err)
		}
	}
	err := decide(3)
	refusedBy(t, err, store.RuleConcession)
	if !strings.Contains(err.Error(), "has 0 left") {
		t.Error(err)
	}
	if p := status(t, s, "TH-0004"); p.Status != store.StatusOnHold {
		t.Errorf("the fourth part is %s", p.Status)
	}
	// Another number under the same reference is another concession, and refused as such.
	d.ConcessionQuantity = 5
	refusedBy(t, decide(3), store.RuleConcession)
}

func TestTwoPeopleCannotTakeTheLastPartOfAConcession(t *testing.T) {
	s := storetest.NewShop(t)
	parts, holds := thinParts(t, s, 2)
	proof := s.Proof(s.Everyone)
	errs := make([]error, 2)
	var wait sync.WaitGroup
	for i := range errs {
		wait.Go(func() {
			errs[i] = s.DB.Decide(t.Context(), s.Everyone, holds[i].ID, store.Decision{Parts: parts[i : i+1], Code: "concession", Reason: "Covered after assembly",
				ConcessionRef: "CR-1", ConcessionQuantity: 1}, proof)
		})
	}
	wait.Wait()
	if (errs[0] == nil) == (errs[1] == nil) {
		t.Fatalf("one of two must win: %v, %v", errs[0], errs[1])
	}
	for _, err := range errs {
		if err != nil {
			refusedBy(t, err, store.RuleConcession)
		}
	}
}

func TestConcessionHoldsToTheEndOfItsLastDayAndNoLonger(t *testing.T) {
	s := storetest.NewShop(t)
	parts, holds := thinParts(t, s, 3)
	ends := time.Date(2026, 11, 26, 0, 0, 0, 0, time.UTC)
	d := store.Decision{Parts: parts[:1], Code: "concession", Reason: "Covered after assembly", ConcessionRef: "CR-9", ConcessionEnds: ends}
	if err := s.DB.Decide(t.Context(), s.Everyone, holds[0].ID, d, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	// Ten in the evening of the last day in Chicago is the 27th in UTC.
	s.Now = time.Date(2026, 11, 27, 4, 0, 0, 0, time.UTC)
	d.Parts, d.ConcessionEnds = parts[1:2], time.Time{}
	if err := s.DB.Decide(t.Context(), s.Everyone, holds[1].ID, d, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	if err := s.DB.Release(t.Context(), s.Everyone, parts[:1], s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	s.Now = time.Date(2026, 11, 27, 7, 0, 0, 0, time.UTC)
	d.Parts = parts[2:]
	refusedBy(t, s.DB.Decide(t.Context(), s.Everyone, holds[2].ID, d, s.Proof(s.Everyone)), store.RuleConcession)
	refusedBy(t, s.DB.Release(t.Context(), s.Everyone, parts[1:2], s.Proof(s.Everyone)), store.RuleGateClosed)
	d.ConcessionRef, d.ConcessionEnds = "CR-10", ends
	refusedBy(t, s.DB.Decide(t.Context(), s.Everyone, holds[2].ID, d, s.Proof(s.Everyone)), store.RuleConcession)
}
