package demoshop_test

import (
	"testing"
	"time"

	"coatbook/store"
	"coatbook/store/demoshop"
	"coatbook/store/storetest"
)

// A Wednesday evening, when both shifts have worked.
var evening = time.Date(2026, 11, 25, 21, 55, 0, 0, time.FixedZone("", -6*3600))

func TestDemoShopLoadsThroughTheStore(t *testing.T) {
	fresh := storetest.New(t)
	db, err := store.Open(t.Context(), demoshop.LoaderURL(storetest.OwnerURL(t, fresh)))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	start := time.Now()
	shop, err := demoshop.Load(t.Context(), db, evening)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("loaded in %s", time.Since(start).Round(10*time.Millisecond))
	holds, err := db.OpenHolds(t.Context(), shop.Site.ID)
	if err != nil {
		t.Fatal(err)
	}
	if len(holds) == 0 {
		t.Error("the demo shop has no open hold; there is nothing for a supervisor to decide")
	}
	changed, err := db.At(evening).Rebuild(t.Context(), shop.Site.ID)
	if err != nil {
		t.Fatal(err)
	}
	if changed != 0 {
		t.Errorf("rebuilding the status of all parts from the records changed %d rows, want 0", changed)
	}
}
