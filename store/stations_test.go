package store_test

import (
	"slices"
	"strings"
	"testing"

	"coatbook/store"
)

func TestStationIsAddedOnceAndItsCodeAndKindStay(t *testing.T) {
	db, a := openShop(t)
	added, err := db.AddStation(t.Context(), a, store.Station{Code: "BOOTH-1", Name: "Booth 1", Kind: "booth"})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.AddStation(t.Context(), a, store.Station{Code: "BOOTH-1", Name: "Other", Kind: "oven"}); err == nil {
		t.Fatal("a second station took the same code")
	} else {
		refusedBy(t, err, "station_code_unique")
	}
	if err := db.ChangeStation(t.Context(), a, store.Station{ID: added.ID, Code: "X", Name: "Booth one", Kind: "oven", Active: false}); err != nil {
		t.Fatal(err)
	}
	got, err := db.Station(t.Context(), a.Site, added.ID)
	if err != nil {
		t.Fatal(err)
	}
	want := store.Station{ID: added.ID, Code: "BOOTH-1", Name: "Booth one", Kind: "booth", Active: false}
	if got != want {
		t.Errorf("got %+v, want %+v", got, want)
	}
	if got := verbs(t, db, a, added.ID); !slices.Equal(got, []string{"station added", "station changed"}) {
		t.Errorf("events %v", got)
	}
}

func TestStationEventTellsOldAndNewName(t *testing.T) {
	db, a := openShop(t)
	added, err := db.AddStation(t.Context(), a, store.Station{Code: "OVEN-1", Name: "Oven", Kind: "oven"})
	if err != nil {
		t.Fatal(err)
	}
	if err := db.ChangeStation(t.Context(), a, store.Station{ID: added.ID, Name: "Oven 1", Active: true}); err != nil {
		t.Fatal(err)
	}
	events := eventsOf(t, db, a, added.ID)
	last := events[len(events)-1]
	if !strings.Contains(string(last.before), `"Oven"`) || !strings.Contains(string(last.after), `"Oven 1"`) || last.person != "Maren Holt" {
		t.Errorf("event by %q: before %s, after %s", last.person, last.before, last.after)
	}
}

func TestStationOfAnotherSiteIsNotFound(t *testing.T) {
	db, a := openShop(t)
	added, err := db.AddStation(t.Context(), a, store.Station{Code: "W1", Name: "Weld bench", Kind: "weld"})
	if err != nil {
		t.Fatal(err)
	}
	other, err := db.AddSite(t.Context(), store.NewSite{Code: "TW", Name: "Second yard", TimeZone: "America/Chicago"})
	if err != nil {
		t.Fatal(err)
	}
	notFound(t, db.ChangeStation(t.Context(), store.Actor{Site: other.ID, Person: a.Person}, store.Station{ID: added.ID, Name: "Taken"}))
	if stations, err := db.Stations(t.Context(), other.ID); err != nil || len(stations) != 0 {
		t.Errorf("the other site sees %v, %v", stations, err)
	}
}
