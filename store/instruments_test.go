package store_test

import (
	"testing"

	"coatbook/store"
)

func num(v float64) *float64 { return &v }

func gauge(t *testing.T, code string) store.Instrument {
	t.Helper()
	return store.Instrument{Code: code, Kind: "film_gauge", MakerSerial: "007-31", Owner: "customer", Unit: "um", RangeLow: num(0), RangeHigh: num(1250),
		Resolution: num(0.1), ToleranceAbs: 1, ToleranceShare: 0.02, IntervalDays: 365, DueOn: day(t, "2027-03-01"), Certificate: "K-2026-88"}
}

func TestGaugeGoesIntoTheRegisterUnverified(t *testing.T) {
	db, a := openShop(t)
	added, err := db.AddInstrument(t.Context(), a, gauge(t, "FG-01"))
	if err != nil {
		t.Fatal(err)
	}
	got, err := db.InstrumentByCode(t.Context(), a.Site, "FG-01")
	if err != nil {
		t.Fatal(err)
	}
	if got.ID != added.ID || got.Status != "in_use" || got.VerifiedAt != nil || got.Verdict != "" || got.VerificationID.Valid || got.LastGoodAt != nil {
		t.Errorf("got %+v, want in use and never verified", got)
	}
	if got.Owner != "customer" || *got.RangeHigh != 1250 || *got.Resolution != 0.1 || got.ToleranceShare != 0.02 || got.MakerSerial != "007-31" {
		t.Errorf("got %+v: an attribute was lost", got)
	}
}

func TestShimWithoutItsCertifiedValueIsRefused(t *testing.T) {
	db, a := openShop(t)
	shim := gauge(t, "SH-50")
	shim.Kind = "shim"
	_, err := db.AddInstrument(t.Context(), a, shim)
	refusedBy(t, err, "instrument_nominal_of_shim")
	shim.Nominal = num(50.4)
	if _, err := db.AddInstrument(t.Context(), a, shim); err != nil {
		t.Fatal(err)
	}
	reversed := gauge(t, "FG-02")
	reversed.RangeLow, reversed.RangeHigh = num(100), num(10)
	_, err = db.AddInstrument(t.Context(), a, reversed)
	refusedBy(t, err, "instrument_range_ordered")
}

func TestRecalibrationMovesTheDueDateAndKeepsTheIdentity(t *testing.T) {
	db, a := openShop(t)
	i, err := db.AddInstrument(t.Context(), a, gauge(t, "FG-01"))
	if err != nil {
		t.Fatal(err)
	}
	i.Code, i.Kind, i.MakerSerial, i.DueOn, i.Certificate = "FG-77", "shim", "other", day(t, "2028-03-01"), "K-2027-12"
	if err := db.ChangeInstrument(t.Context(), a, i); err != nil {
		t.Fatal(err)
	}
	got, err := db.InstrumentByCode(t.Context(), a.Site, "FG-01")
	if err != nil {
		t.Fatal(err)
	}
	if got.Kind != "film_gauge" || got.MakerSerial != "007-31" || !got.DueOn.Equal(day(t, "2028-03-01")) || got.Certificate != "K-2027-12" {
		t.Errorf("got %+v", got)
	}
}

func TestDeviceIsWithdrawnWithAReason(t *testing.T) {
	db, a := openShop(t)
	i, err := db.AddInstrument(t.Context(), a, gauge(t, "FG-01"))
	if err != nil {
		t.Fatal(err)
	}
	_, err = db.SetInstrumentStatus(t.Context(), a, i.ID, "withdrawn", "")
	refusedBy(t, err, "reason_given")
	_, err = db.SetInstrumentStatus(t.Context(), a, i.ID, "lost", "fell off the bench")
	refusedBy(t, err, "instrument_status_known")
	if _, err := db.SetInstrumentStatus(t.Context(), a, i.ID, "withdrawn", "fell off the bench"); err != nil {
		t.Fatal(err)
	}
	got, err := db.InstrumentByCode(t.Context(), a.Site, "FG-01")
	if err != nil || got.Standing(day(t, "2026-11-25")) != "withdrawn" {
		t.Errorf("standing %q, %v, want withdrawn", got.Standing(day(t, "2026-11-25")), err)
	}
}

func TestDeviceIsUsableThroughItsDueDate(t *testing.T) {
	i := store.Instrument{Status: "in_use", DueOn: day(t, "2026-11-30")}
	for date, want := range map[string]string{
		"2026-11-15": "in_use", "2026-11-16": "due_soon", "2026-11-30": "due_soon", "2026-12-01": "overdue",
	} {
		if got := i.Standing(day(t, date)); got != want {
			t.Errorf("on %s: %s, want %s", date, got, want)
		}
	}
	i.Status = "failed"
	if got := i.Standing(day(t, "2026-12-01")); got != "failed" {
		t.Errorf("a failed and overdue device stands as %s, want failed", got)
	}
}
