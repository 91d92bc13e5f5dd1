package store_test

import (
	"reflect"
	"slices"
	"testing"

	"github.com/google/uuid"

	"coatbook/store"
)

// window is the cure window of the test powders: 10 to 25 min at 190 °C and 8 to 20 min at 200 °C.
func window() []store.CurePoint {
	return []store.CurePoint{{MetalC: 190, MinutesMin: 10, MinutesMax: 25}, {MetalC: 200, MinutesMin: 8, MinutesMax: 20}}
}

func ptr[T any](v T) *T { return &v }

func addPowder(t *testing.T, db *store.DB, a store.Actor, code string) store.Material {
	t.Helper()
	p, err := db.AddMaterial(t.Context(), a, store.Material{Kind: store.Powder, Code: code, Name: "Slate grey, fine texture", Maker: "Harbour Powder", Colour: "slate grey", StorageMaxC: ptr(25.0), Source: "data sheet, edition 4"}, window())
	if err != nil {
		t.Fatalf("add powder %s: %v", code, err)
	}
	return p
}

func TestPowderKeepsItsCureWindowInOrderOfTemperature(t *testing.T) {
	db, a := openShop(t)
	points := []store.CurePoint{{MetalC: 200, MinutesMin: 8, MinutesMax: 20}, {MetalC: 190, MinutesMin: 10, MinutesMax: 25}}
	p, err := db.AddMaterial(t.Context(), a, store.Material{Kind: store.Powder, Code: "P-10", Name: "Grey", Maker: "Harbour Powder", Colour: "grey", StorageMaxC: ptr(25.0)}, points)
	if err != nil {
		t.Fatal(err)
	}
	got, err := db.CurePoints(t.Context(), a.Site, p.ID)
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(got, window()) {
		t.Errorf("got %v, want %v", got, window())
	}
	if got, err := db.MaterialByCode(t.Context(), a.Site, "P-10"); err != nil || !reflect.DeepEqual(got, p) {
		t.Errorf("by code: got %+v, %v, want %+v", got, err, p)
	}
}

func TestChangedPowderReplacesItsWindowAndTheEventKeepsTheOldOne(t *testing.T) {
	db, a := openShop(t)
	p := addPowder(t, db, a, "P-20")
	p.Code, p.StorageMaxC = "P-99", ptr(30.0)
	if err := db.ChangeMaterial(t.Context(), a, p, []store.CurePoint{{MetalC: 180, MinutesMin: 15, MinutesMax: 30}}); err != nil {
		t.Fatal(err)
	}
	got, err := db.MaterialByCode(t.Context(), a.Site, "P-20")
	if err != nil || *got.StorageMaxC != 30 {
		t.Fatalf("got %+v, %v: the code must stay and the storage limit change", got, err)
	}
	points, err := db.CurePoints(t.Context(), a.Site, p.ID)
	if err != nil || len(points) != 1 || points[0].MetalC != 180 {
		t.Errorf("window %v, %v, want 180 °C alone", points, err)
	}
	if got := verbs(t, db, a, p.ID); !slices.Equal(got, []string{"powder added", "powder changed"}) {
		t.Errorf("events %v", got)
	}
}

func TestImpossibleCureWindowsAreRefusedWhole(t *testing.T) {
	db, a := openShop(t)
	for name, c := range map[string]struct {
		points []store.CurePoint
		rule   string
	}{
		"longest under shortest":    {[]store.CurePoint{{MetalC: 190, MinutesMin: 20, MinutesMax: 10}}, "powder_cure_point_minutes_ordered"},
		"no time":                   {[]store.CurePoint{{MetalC: 190, MinutesMin: 0, MinutesMax: 10}}, "powder_cure_point_minutes_ordered"},
		"cold":                      {[]store.CurePoint{{MetalC: 19, MinutesMin: 10, MinutesMax: 20}}, "powder_cure_point_temperature_range"},
		"same temperature twice":    {[]store.CurePoint{{MetalC: 190, MinutesMin: 10, MinutesMax: 20}, {MetalC: 190, MinutesMin: 12, MinutesMax: 20}}, "powder_cure_point_pkey"},
		"hotter takes longer":       {[]store.CurePoint{{MetalC: 190, MinutesMin: 10, MinutesMax: 20}, {MetalC: 200, MinutesMin: 12, MinutesMax: 20}}, "powder_cure_point_order"},
		"hotter takes just as long": {[]store.CurePoint{{MetalC: 200, MinutesMin: 10, MinutesMax: 20}, {MetalC: 190, MinutesMin: 10, MinutesMax: 20}}, "powder_cure_point_order"},
	} {
		_, err := db.AddMaterial(t.Context(), a, store.Material{Kind: store.Powder, Code: "P-30", Name: "Grey", Maker: "Harbour Powder", Colour: "grey", StorageMaxC: ptr(25.0)}, c.points)
		t.Run(name, func(t *testing.T) { refusedBy(t, err, c.rule) })
	}
	if powders, err := db.Materials(t.Context(), a.Site, store.Powder); err != nil || len(powders) != 0 {
		t.Errorf("stored all the same: %v, %v", powders, err)
	}
}

func TestUnknownPowderIsNotFound(t *testing.T) {
	db, a := openShop(t)
	_, err := db.MaterialByCode(t.Context(), a.Site, "NONE")
	notFound(t, err)
	notFound(t, db.ChangeMaterial(t.Context(), a, store.Material{ID: uuid.New(), Name: "x", Maker: "y"}, nil))
}
