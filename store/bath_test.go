package store_test

import (
	"testing"

	"coatbook/store"
)

func TestBathIsRetiredAndStaysOnTheList(t *testing.T) {
	db, a := openShop(t)
	added, err := db.AddBath(t.Context(), a, store.Bath{Code: "W2", Name: "Alkaline clean", Stage: "clean"})
	if err != nil {
		t.Fatal(err)
	}
	if err := db.ChangeBath(t.Context(), a, store.Bath{ID: added.ID, Name: "Alkaline clean, old tank", Stage: "etch", Active: false}); err != nil {
		t.Fatal(err)
	}
	baths, err := db.Baths(t.Context(), a.Site)
	if err != nil {
		t.Fatal(err)
	}
	want := store.Bath{ID: added.ID, Code: "W2", Name: "Alkaline clean, old tank", Stage: "clean", Active: false}
	if len(baths) != 1 || baths[0] != want {
		t.Errorf("got %+v, want %+v", baths, want)
	}
}

func TestBathOfUnknownStageIsRefused(t *testing.T) {
	db, a := openShop(t)
	_, err := db.AddBath(t.Context(), a, store.Bath{Code: "W3", Name: "Dip", Stage: "paint"})
	refusedBy(t, err, "bath_stage_known")
	if baths, err := db.Baths(t.Context(), a.Site); err != nil || len(baths) != 0 {
		t.Errorf("stored all the same: %v, %v", baths, err)
	}
}
