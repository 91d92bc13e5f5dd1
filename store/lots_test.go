package store_test

import (
	"reflect"
	"strings"
	"testing"

	"coatbook/store"
)

func lotOf(t *testing.T, p store.Material, number string) store.MaterialLot {
	t.Helper()
	return store.MaterialLot{MaterialID: p.ID, LotNumber: number, MadeOn: ptr(day(t, "2026-10-01")), ReceivedOn: day(t, "2026-10-20"),
		ExpiresOn: ptr(day(t, "2027-04-01")), Quantity: 250, Certificate: "C-118"}
}

func TestReceivedLotIsFoundByTheNumberOnItsBox(t *testing.T) {
	db, a := openShop(t)
	p := addPowder(t, db, a, "P-10")
	added, err := db.AddMaterialLot(t.Context(), a, lotOf(t, p, "0042-B"))
	if err != nil {
		t.Fatal(err)
	}
	got, err := db.MaterialLotByNumber(t.Context(), a.Site, "0042-B")
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(got, added) || got.MaterialCode != "P-10" || got.Status != "accepted" || !got.ExpiresOn.Equal(day(t, "2027-04-01")) {
		t.Errorf("got %+v, want %+v accepted", got, added)
	}
	_, err = db.AddMaterialLot(t.Context(), a, lotOf(t, p, "0042-B"))
	refusedBy(t, err, "material_lot_number_unique")
}

func TestLotWithContradictoryDatesIsRefused(t *testing.T) {
	db, a := openShop(t)
	p := addPowder(t, db, a, "P-10")
	expired := lotOf(t, p, "L1")
	expired.ExpiresOn = expired.MadeOn
	_, err := db.AddMaterialLot(t.Context(), a, expired)
	refusedBy(t, err, "material_lot_dates_ordered")
	early := lotOf(t, p, "L2")
	early.ReceivedOn = day(t, "2026-09-30")
	_, err = db.AddMaterialLot(t.Context(), a, early)
	refusedBy(t, err, "material_lot_dates_ordered")
	if lots, err := db.MaterialLots(t.Context(), a.Site); err != nil || len(lots) != 0 {
		t.Errorf("stored all the same: %v, %v", lots, err)
	}
}

func TestLotIsRejectedOnlyWithAReasonThatStays(t *testing.T) {
	db, a := openShop(t)
	lot, err := db.AddMaterialLot(t.Context(), a, lotOf(t, addPowder(t, db, a, "P-10"), "L1"))
	if err != nil {
		t.Fatal(err)
	}
	set := func(status, reason string) error {
		_, err := db.SetLotStatus(t.Context(), a, lot.ID, status, reason)
		return err
	}
	refusedBy(t, set("rejected", " no "), "reason_given")
	refusedBy(t, set("burnt", "lumps in the box"), "material_lot_status_known")
	if err := set("rejected", "lumps in the box"); err != nil {
		t.Fatal(err)
	}
	if got, err := db.MaterialLot(t.Context(), a.Site, lot.ID); err != nil || got.Status != "rejected" {
		t.Errorf("status %q, %v, want rejected", got.Status, err)
	}
	events := eventsOf(t, db, a, lot.ID)
	last := events[len(events)-1]
	if len(events) != 2 || last.reason != "lumps in the box" || !strings.Contains(string(last.before), "accepted") || !strings.Contains(string(last.after), "rejected") {
		t.Errorf("%d events, last %+v", len(events), last)
	}
}
