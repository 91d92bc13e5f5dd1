package demoshop_test

import (
	"crypto/ed25519"
	"crypto/rand"
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
	db, err := demoshop.OpenLoader(t.Context(), storetest.OwnerURL(t, fresh))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	start := time.Now()
	shop, err := demoshop.Load(t.Context(), db, evening, func(db *store.DB, site store.Site) (ed25519.PrivateKey, error) {
		public, key, err := ed25519.GenerateKey(rand.Reader)
		if err != nil {
			return nil, err
		}
		return key, db.AddSealKey(t.Context(), store.Actor{Site: site.ID}, public)
	})
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
	days, err := db.SealedDays(t.Context(), shop.Site.ID, 100)
	if err != nil {
		t.Fatal(err)
	}
	reviewed := 0
	for _, d := range days {
		if d.Reviewed() {
			reviewed++
		}
	}
	// The register is older than the first day of work, and the last day of work is not over.
	if len(days) != demoshop.Days || reviewed < demoshop.Days-3 || reviewed == len(days) {
		t.Errorf("%d days are sealed and %d reviewed, want %d and all but the last two", len(days), reviewed, demoshop.Days)
	}
	start = time.Now()
	v, err := db.Verify(t.Context(), shop.Site, store.Trust{})
	if err != nil || len(v.Mismatches) > 0 {
		t.Fatalf("the demo does not verify: %v, %v", v.Mismatches, err)
	}
	t.Logf("verified %d rows in %s", v.Rows, time.Since(start).Round(time.Millisecond))
	changed, err := db.At(evening).Rebuild(t.Context(), shop.Site.ID)
	if err != nil {
		t.Fatal(err)
	}
	if changed != 0 {
		t.Errorf("rebuilding the status of all parts from the records changed %d rows, want 0", changed)
	}
}
