package store_test

import (
	"slices"
	"testing"

	"coatbook/quality"
	"coatbook/store"
)

func TestNewSiteStartsWithTheDefaultWeldLimits(t *testing.T) {
	db, a := openShop(t)
	got, err := db.WeldLimits(t.Context(), a.Site)
	if err != nil {
		t.Fatal(err)
	}
	if want := len(quality.DefaultWeldLimits()); len(got) != want || want == 0 {
		t.Fatalf("%d rows, want %d", len(got), want)
	}
	for _, l := range got {
		if l.Source == "" {
			t.Errorf("level %s, %s has no source", l.Level, l.Code)
		}
	}
}

func TestWeldLimitIsChangedAddedAndTakenOut(t *testing.T) {
	db, a := openShop(t)
	most := 0.5
	row := quality.WeldLimit{Level: "C", Code: "5011", Permitted: true, PerWall: 0.1, MaxMM: &most, Source: "house rule 7, edition 2026"}
	if err := db.SaveWeldLimit(t.Context(), a, row); err != nil {
		t.Fatal(err)
	}
	if got := weldRow(t, db, a, "C", "5011"); got == nil || got.PerWall != 0.1 || *got.MaxMM != 0.5 || got.Source != row.Source {
		t.Errorf("got %+v, want %+v", got, row)
	}
	if err := db.DeleteWeldLimit(t.Context(), a, "C", "5011"); err != nil {
		t.Fatal(err)
	}
	if got := weldRow(t, db, a, "C", "5011"); got != nil {
		t.Errorf("still there: %+v", got)
	}
	notFound(t, db.DeleteWeldLimit(t.Context(), a, "C", "5011"))
	got := verbs(t, db, a, a.Site)
	if !slices.Equal(got[len(got)-2:], []string{"weld limit saved", "weld limit removed"}) {
		t.Errorf("events %v", got)
	}
}

func TestWeldLimitWithoutASourceIsRefused(t *testing.T) {
	db, a := openShop(t)
	refusedBy(t, db.SaveWeldLimit(t.Context(), a, quality.WeldLimit{Level: "C", Code: "5011", Permitted: true}), "weld_limit_source_present")
	refusedBy(t, db.SaveWeldLimit(t.Context(), a, quality.WeldLimit{Level: "A", Code: "5011", Source: "house rule"}), "weld_limit_level_known")
	refusedBy(t, db.SaveWeldLimit(t.Context(), a, quality.WeldLimit{Level: "C", Code: "5011", PlusMM: -1, Source: "house rule"}), "weld_limit_sizes")
}

func weldRow(t *testing.T, db *store.DB, a store.Actor, level, code string) *quality.WeldLimit {
	t.Helper()
	rows, err := db.WeldLimits(t.Context(), a.Site)
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range rows {
		if l.Level == level && l.Code == code {
			return &l
		}
	}
	return nil
}
