package store_test

import (
	"slices"
	"testing"

	"coatbook/store"
)

func planOfTwo() store.Plan {
	return store.Plan{ReadingsPerSpot: 3, Spots: []store.Spot{{Area: "A", Place: "top rail, left", X: 10, Y: 20}, {Area: "A", Place: "post, middle", X: 60, Y: 50}}}
}

func TestPartNumberWithoutAPlanSaysSo(t *testing.T) {
	db, a := openShop(t)
	n := addPartNumber(t, db, a, "RS-100 L", addSpec(t, db, a, "FS-100", filmOnly()))
	if n.SpecCode != "FS-100" || !n.Active {
		t.Errorf("got %+v, want an active part number under FS-100", n)
	}
	_, err := db.PlanOf(t.Context(), a.Site, n.ID)
	notFound(t, err)
}

func TestChangedPlanIsTheNextRevisionAndTheOldOneStays(t *testing.T) {
	db, a := openShop(t)
	n := addPartNumber(t, db, a, "RS-100", addSpec(t, db, a, "FS-100", filmOnly()))
	first, err := db.AddPlan(t.Context(), a, n.ID, planOfTwo())
	if err != nil {
		t.Fatal(err)
	}
	changed := planOfTwo()
	changed.ReadingsPerSpot = 5
	changed.Spots = append(changed.Spots, store.Spot{Area: "B", Place: "bracket", X: 90, Y: 90})
	second, err := db.AddPlan(t.Context(), a, n.ID, changed)
	if err != nil {
		t.Fatal(err)
	}
	got, err := db.PlanOf(t.Context(), a.Site, n.ID)
	if err != nil {
		t.Fatal(err)
	}
	if first.Revision != 1 || second.Revision != 2 || got.ID != second.ID || got.ReadingsPerSpot != 5 || !slices.Equal(got.Spots, second.Spots) {
		t.Errorf("revisions %d, %d; in force %+v", first.Revision, second.Revision, got)
	}
	if got.Spots[2].Spot != 3 || got.Spots[2].Area != "B" {
		t.Errorf("spots are numbered %+v, want 1 to 3 in the order given", got.Spots)
	}
	if got := verbs(t, db, a, n.ID); !slices.Equal(got, []string{"part number added", "measuring plan revised", "measuring plan revised"}) {
		t.Errorf("events %v", got)
	}
}

func TestPlanWithoutSpotsOrWithTooManyReadingsIsRefused(t *testing.T) {
	db, a := openShop(t)
	n := addPartNumber(t, db, a, "RS-100", addSpec(t, db, a, "FS-100", filmOnly()))
	_, err := db.AddPlan(t.Context(), a, n.ID, store.Plan{ReadingsPerSpot: 3})
	refusedBy(t, err, "measuring_plan_spots")
	many := planOfTwo()
	many.ReadingsPerSpot = 10
	_, err = db.AddPlan(t.Context(), a, n.ID, many)
	refusedBy(t, err, "measuring_plan_readings_range")
	blank := planOfTwo()
	blank.Spots[1].Place = " "
	_, err = db.AddPlan(t.Context(), a, n.ID, blank)
	refusedBy(t, err, "measuring_spot_place_present")
	_, err = db.PlanOf(t.Context(), a.Site, n.ID)
	notFound(t, err)
}

func TestPartNumberKeepsItsCodeWhenItChanges(t *testing.T) {
	db, a := openShop(t)
	n := addPartNumber(t, db, a, "RS-100", addSpec(t, db, a, "FS-100", filmOnly()))
	other := addSpec(t, db, a, "FS-200", filmOnly())
	n.Code, n.SpecID, n.WallMM, n.Active = "RS-900", other.SpecID, 4, false
	if err := db.ChangePartNumber(t.Context(), a, n); err != nil {
		t.Fatal(err)
	}
	got, err := db.PartNumber(t.Context(), a.Site, n.ID)
	if err != nil || got.Code != "RS-100" || got.SpecCode != "FS-200" || got.WallMM != 4 || got.Active {
		t.Errorf("got %+v, %v", got, err)
	}
	n.WallMM = 0.2
	refusedBy(t, db.ChangePartNumber(t.Context(), a, n), "part_number_wall_range")
}
