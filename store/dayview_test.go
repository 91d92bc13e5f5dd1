package store_test

import (
	"math"
	"testing"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

func TestFilmChecksCarrySummaryBoothAndSpec(t *testing.T) {
	s := storetest.NewShop(t)
	first, second := s.Ready(1, 0), s.Ready(1, 1)
	s.Verify(0)
	s.Film(first[0], "80", "90", "70", "80", "80")
	s.Film(second[0], "61", "62", "63", "64", "65")
	ctx := t.Context()
	checks, err := s.DB.FilmChecks(ctx, s.Site.ID, store.FilmFilter{Period: store.OneDay(tuesday, "")})
	if err != nil || len(checks) != 2 {
		t.Fatalf("got %d checks, %v, want 2", len(checks), err)
	}
	c := checks[0]
	// By hand: mean 80, deviations 0 +10 -10 0 0, sum of squares 200.
	if c.N != 5 || c.MeanUM != 80 || math.Abs(c.M2-200) > 1e-9 || c.MinUM != 70 || c.MaxUM != 90 || c.LowestSpot != 70 {
		t.Errorf("summary %+v, want n 5, mean 80, sum of squares 200, 70 to 90", c)
	}
	if c.Booth != "B1" || checks[1].Booth != "B2" || c.Spec != "PC-60" || c.Revision != "A" || c.PartNumber != "RF-210" || c.Verdict != quality.Pass {
		t.Errorf("got booths %s and %s, spec %s rev %s", c.Booth, checks[1].Booth, c.Spec, c.Revision)
	}
	for name, f := range map[string]store.FilmFilter{"booth": {Booth: "B2"}, "spec": {Spec: "PC-60"}, "part number": {PartNumber: "RF-999"}} {
		f.Period = store.OneDay(tuesday, "")
		want := map[string]int{"booth": 1, "spec": 2, "part number": 0}[name]
		if got, err := s.DB.FilmChecks(ctx, s.Site.ID, f); err != nil || len(got) != want {
			t.Errorf("by %s: %d checks, %v, want %d", name, len(got), err, want)
		}
	}
	bodies, err := s.DB.SpecBodies(ctx, s.Site.ID, []uuid.UUID{c.RevisionID})
	if err != nil || bodies[c.RevisionID].Film == nil || bodies[c.RevisionID].Film.Limits.Low.Value != 60 {
		t.Errorf("spec bodies %+v, %v, want the film minimum of 60", bodies, err)
	}
}

func TestBathAndOvenDaysGiveMeanAndLast(t *testing.T) {
	s := storetest.NewShop(t)
	for _, ph := range []string{"4.2", "4.60"} {
		parts := s.Parts(1)
		s.Weld(parts[0], quality.NoneFound)
		s.Bake([]uuid.UUID{s.Wash(parts, ph, 0)}, map[string]string{"4.2": "194", "4.60": "197"}[ph])
	}
	ctx := t.Context()
	baths, err := s.DB.BathDays(ctx, s.Site.ID, tuesday.AddDate(0, 0, -6), tuesday)
	if err != nil || len(baths) != 1 {
		t.Fatalf("got %+v, %v, want one day of one bath", baths, err)
	}
	b := baths[0]
	if b.Code != "CONV" || b.Characteristic != "ph" || b.Location != "1-convert" || b.N != 2 || math.Abs(b.Value-4.4) > 1e-9 || b.Last != 4.6 || b.LastText != "4.60" {
		t.Errorf("got %+v, want mean 4.4 of 2, last 4.60", b)
	}
	ovens, err := s.DB.OvenDays(ctx, s.Site.ID, tuesday, tuesday)
	if err != nil || len(ovens) != 1 {
		t.Fatalf("got %+v, %v, want one day of one oven", ovens, err)
	}
	if o := ovens[0]; o.Code != "OV1" || o.Loads != 2 || o.ColdestC != 195.5 || o.LastC != 197 || o.LastMinutes == nil || *o.LastMinutes != 14 || o.Verdict != "pass" {
		t.Errorf("got %+v, want 2 loads, mean 195.5, last 197 °C and 14 min", o)
	}
}

func TestMissingEndOfShiftCheckIsSeenPerShift(t *testing.T) {
	s := storetest.NewShop(t)
	parts := s.Ready(2, 0)
	s.Verify(0)
	s.Film(parts[0], "80", "90", "70", "80", "80")
	shifts := func() []store.GaugeShift {
		t.Helper()
		g, err := s.DB.GaugeShifts(t.Context(), s.Site.ID, tuesday)
		if err != nil {
			t.Fatal(err)
		}
		return g
	}
	if g := shifts(); len(g) != 1 || !g[0].Before || g[0].After || g[0].Shift != "Early" || g[0].Checks != 1 {
		t.Fatalf("after one film check: %+v, want verified before, not after", g)
	}
	s.Verify(0)
	if g := shifts(); !g[0].After {
		t.Errorf("after the closing check: %+v, want verified after", g)
	}
	s.Now = s.Now.Add(7 * time.Hour)
	s.Verify(0)
	s.Film(parts[1], "80", "90", "70", "80", "80")
	if g := shifts(); len(g) != 2 || !g[0].After || g[1].After || g[1].Shift != "Late" {
		t.Errorf("in the late shift: %+v, want the early one closed and the late one open", g)
	}
	last, err := s.DB.LastVerifications(t.Context(), s.Site.ID, tuesday)
	if err != nil || len(last) != 1 || last[0].Shift != "Late" || last[0].Verdict != "pass" {
		t.Errorf("last verification %+v, %v, want the late one", last, err)
	}
}

func TestNeighbouringShopDaysSkipDaysWithoutRecords(t *testing.T) {
	s := storetest.NewShop(t)
	s.Weld(s.Parts(1)[0], quality.NoneFound)
	got, err := s.DB.LastShopDay(t.Context(), s.Site.ID, tuesday.AddDate(0, 0, 5), false)
	if err != nil || !got.Equal(tuesday) {
		t.Errorf("before the weekend: %v, %v, want %v", got, err, tuesday)
	}
	if got, err = s.DB.LastShopDay(t.Context(), s.Site.ID, tuesday.AddDate(0, 0, -9), true); err != nil || !got.Equal(tuesday) {
		t.Errorf("after a holiday: %v, %v, want %v", got, err, tuesday)
	}
	_, err = s.DB.LastShopDay(t.Context(), s.Site.ID, tuesday, false)
	notFound(t, err)
}
