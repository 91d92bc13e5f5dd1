package store_test

import (
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

func TestActionDoesNotCloseWithoutACheckThatItWorked(t *testing.T) {
	s := storetest.NewShop(t)
	saved := s.Weld(s.Parts(1)[0], "100")
	h, err := s.DB.HoldByNumber(t.Context(), s.Site.ID, saved.HoldNumber)
	if err != nil {
		t.Fatal(err)
	}
	n := store.NewHoldAction{Cause: "Earth clamp was loose", Action: "Clamp renewed, checked each Monday", Owner: s.Everyone.Person, Due: time.Date(2026, 11, 27, 0, 0, 0, 0, time.UTC), Effective: store.EffectPending}
	enter := func() error { return s.DB.EnterAction(t.Context(), s.Everyone, h.ID, n) }
	inspector := s.AddPerson("Ilse Brandt", "ilse", store.Inspector)
	refusedBy(t, s.DB.EnterAction(t.Context(), inspector, h.ID, n), store.RuleNoRight)
	if err := enter(); err != nil {
		t.Fatal(err)
	}
	// The same again is made from an entry that is not the latest.
	refusedBy(t, enter(), store.RuleChanged)
	n.After, n.Close = 1, true
	refusedBy(t, enter(), "hold_action_closed_effective")
	n.Effective = store.EffectYes
	refusedBy(t, enter(), "hold_action_evidence_given")
	n.Effective, n.Evidence = store.EffectNo, "Two welds cracked again"
	refusedBy(t, enter(), "hold_action_closed_effective")
	n.Close = false
	if err := enter(); err != nil {
		t.Fatal(err)
	}
	n.After, n.Close, n.Effective, n.Evidence = 2, true, store.EffectYes, "None in 200 welds since"
	open, err := s.DB.OpenActions(t.Context(), s.Site.ID)
	if err != nil || len(open) != 1 || open[0].Version != 2 || open[0].Hold != h.Number {
		t.Fatalf("open actions %+v, %v", open, err)
	}
	if open[0].Overdue(open[0].Due) || !open[0].Overdue(open[0].Due.AddDate(0, 0, 1)) {
		t.Error("an action is overdue from the day after its due day on")
	}
	if err := enter(); err != nil {
		t.Fatal(err)
	}
	if open, err := s.DB.OpenActions(t.Context(), s.Site.ID); err != nil || len(open) != 0 {
		t.Errorf("after it was closed %+v is open, %v", open, err)
	}
	n.After = 3
	refusedBy(t, enter(), store.RuleChanged)
	// Every entry stays readable and is an event.
	all, err := s.DB.HoldActions(t.Context(), s.Site.ID, h.ID)
	if err != nil || len(all) != 3 || all[1].Evidence != "Two welds cracked again" || !all[0].Closed {
		t.Errorf("history %+v, %v", all, err)
	}
	events := 0
	if err := s.DB.Pool().QueryRow(t.Context(), `SELECT count(*) FROM event WHERE subject_id = $1 AND verb IN ('action entered', 'action changed', 'action closed')`, h.ID).Scan(&events); err != nil || events != 3 {
		t.Errorf("%d events, %v", events, err)
	}
	if _, err := s.DB.Pool().Exec(t.Context(), `UPDATE hold_action SET closed = true`); err == nil {
		t.Error("the server may change an entry")
	}
}

func TestHoldByHandIsNumberedWholeAndLiftedBySignature(t *testing.T) {
	s := storetest.NewShop(t)
	parts := s.Parts(3)
	h := store.HandHold{ID: store.NewID(), Serials: []string{"TH-0001", "TH-0002"}, Cause: "Dropped off the trolley"}
	wrong := h
	wrong.Serials = []string{"TH-0001", "TH-9999"}
	_, err := s.DB.OpenHold(t.Context(), s.Everyone, wrong)
	refusedBy(t, err, store.RuleInvalid)
	if p := status(t, s, "TH-0001"); p.Status != store.StatusOpen {
		t.Fatalf("a refused hold left TH-0001 %s", p.Status)
	}
	_, err = s.DB.OpenHold(t.Context(), s.AddPerson("Ilse Brandt", "ilse", store.Inspector), h)
	refusedBy(t, err, store.RuleNoRight)
	number, err := s.DB.OpenHold(t.Context(), s.Everyone, h)
	if err != nil || number != "H-2026-0001" {
		t.Fatalf("hold %q, %v", number, err)
	}
	// A second tap is the same hold.
	if again, err := s.DB.OpenHold(t.Context(), s.Everyone, h); err != nil || again != number {
		t.Errorf("again: %q, %v", again, err)
	}
	for serial, want := range map[string]string{"TH-0001": store.StatusOnHold, "TH-0002": store.StatusOnHold, "TH-0003": store.StatusOpen} {
		if p := status(t, s, serial); p.Status != want {
			t.Errorf("%s is %s, want %s", serial, p.Status, want)
		}
	}
	d := store.Decision{Parts: parts[:2], Code: "no_defect", Reason: "Straight by the gauge."}
	if err := s.DB.Decide(t.Context(), s.Everyone, h.ID, d, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	if p := status(t, s, "TH-0001"); p.Status != store.StatusOpen {
		t.Errorf("after the decision TH-0001 is %s", p.Status)
	}
}

func TestSuspectsShareRackLoadBathLotOrGauge(t *testing.T) {
	s := storetest.NewShop(t)
	good := s.Verify(0)
	shares := func(hold string) map[string][]string {
		t.Helper()
		h, err := s.DB.HoldByNumber(t.Context(), s.Site.ID, hold)
		if err != nil {
			t.Fatal(err)
		}
		found, err := s.DB.Neighbours(t.Context(), s.Site.ID, h.ID)
		if err != nil {
			t.Fatal(err)
		}
		by := map[string][]string{}
		for _, n := range found {
			by[n.Shares] = append(by[n.Shares], n.Serial)
		}
		return by
	}
	first := s.Ready(2, 0)  // TH-0001 and 2: same rack
	second := s.Ready(1, 1) // TH-0003: another rack and load, same bath, shift and lot
	s.Film(second[0], "80", "80", "81", "82", "83")
	failed := s.Film(first[0], "40", "40", "41", "42", "43")
	got := shares(failed.HoldNumber)
	if !slices.Equal(got["rack"], []string{"TH-0002"}) || !slices.Equal(got["bath"], []string{"TH-0003"}) || len(got) != 2 {
		t.Errorf("shares %v", got)
	}
	// The next morning: another shift in the bath, so the lot is the closest that is shared.
	s.Now = s.Now.Add(24 * time.Hour)
	s.Verify(0)
	third := s.Ready(1, 0) // TH-0004
	got = shares(failed.HoldNumber)
	if !slices.Equal(got["lot"], []string{"TH-0004"}) {
		t.Errorf("shares %v", got)
	}
	// A part that was only measured with the same gauge since its last good check before.
	s.Now = s.Now.Add(time.Minute)
	late := s.Film(third[0], "40", "40", "41", "42", "43")
	alone := s.Ready(1, 1) // TH-0005
	s.Film(alone[0], "80", "80", "81", "82", "83")
	if _, err := s.DB.SetLotStatus(t.Context(), s.Everyone, s.Lot.ID, "held", "wrong colour in the box"); err != nil {
		t.Fatal(err)
	}
	got = shares(late.HoldNumber)
	if !slices.Equal(got["bath"], []string{"TH-0005"}) || !slices.Equal(got["lot"], []string{"TH-0001", "TH-0002", "TH-0003"}) {
		t.Errorf("shares %v", got)
	}
	if good.Judgement.Verdict != quality.Pass {
		t.Fatal(good)
	}
	// Held together in one act, with one event each.
	h, err := s.DB.HoldByNumber(t.Context(), s.Site.ID, late.HoldNumber)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.DB.ExtendHold(t.Context(), s.Everyone, h.ID, []uuid.UUID{second[0], alone[0]}); err != nil {
		t.Fatal(err)
	}
	events := 0
	if err := s.DB.Pool().QueryRow(t.Context(), `SELECT count(*) FROM event WHERE verb = 'part held' AND after->>'hold' = $1`, h.Number).Scan(&events); err != nil || events != 3 {
		t.Errorf("%d events for 3 held parts, %v", events, err)
	}
}

func TestSuspectsByGaugeAloneReachBackToItsLastGoodCheck(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	before := s.Ready(1, 0) // TH-0001, measured before the check
	s.Film(before[0], "80", "80", "81", "82", "83")
	// Another lot and another shift in the bath for the next parts.
	other := func(lot string) {
		t.Helper()
		l, err := s.DB.AddMaterialLot(t.Context(), s.Everyone, store.MaterialLot{MaterialID: s.Lot.MaterialID, LotNumber: lot, MadeOn: ptrTo(s.Now.AddDate(0, -1, 0)), ReceivedOn: s.Now, ExpiresOn: ptrTo(s.Now.AddDate(1, 0, 0)), Quantity: 5, Certificate: "C-2"})
		if err != nil {
			t.Fatal(err)
		}
		s.Lot = l
	}
	s.Now = s.Now.Add(24 * time.Hour)
	other("000777")
	same := s.Ready(1, 0) // TH-0002
	s.Now = s.Now.Add(24 * time.Hour)
	s.Verify(0.2)
	other("000778")
	failing := s.Ready(1, 1) // TH-0003
	s.Film(same[0], "80", "80", "81", "82", "83")
	failed := s.Film(failing[0], "40", "40", "41", "42", "43")
	h, err := s.DB.HoldByNumber(t.Context(), s.Site.ID, failed.HoldNumber)
	if err != nil {
		t.Fatal(err)
	}
	found, err := s.DB.Neighbours(t.Context(), s.Site.ID, h.ID)
	if err != nil || len(found) != 1 || found[0].Serial != "TH-0002" || found[0].Shares != "gauge" {
		t.Errorf("found %+v, %v, want TH-0002 by the gauge alone", found, err)
	}
}

func ptrTo[T any](v T) *T { return &v }
