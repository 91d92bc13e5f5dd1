package store_test

import (
	"bytes"
	"encoding/csv"
	"errors"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

func serials(parts []store.TracedPart) []string {
	var list []string
	for _, p := range parts {
		list = append(list, p.Serial)
	}
	return list
}

func traced(t *testing.T, s *storetest.Shop, f store.TraceFrom) []string {
	t.Helper()
	parts, err := s.DB.Trace(t.Context(), s.Site.ID, f)
	if err != nil {
		t.Fatal(err)
	}
	return serials(parts)
}

// Six parts on three racks in two loads; the second rack in booth 2 with another powder lot.
func TestTraceEqualsWhatWasSeeded(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	parts := s.Parts(6)
	for _, p := range parts {
		s.Weld(p, quality.NoneFound)
	}
	first := s.Wash(parts[:2], "4.6", 0)
	other := s.Lot
	made, expires := s.Now.AddDate(0, -2, 0), s.Now.AddDate(1, 0, 0)
	lot, err := s.DB.AddMaterialLot(t.Context(), s.Everyone, store.MaterialLot{MaterialID: other.MaterialID, LotNumber: "000124", MadeOn: &made,
		ReceivedOn: s.Now.AddDate(0, -1, 0), ExpiresOn: &expires, Quantity: 500})
	if err != nil {
		t.Fatal(err)
	}
	s.Lot = lot
	second := s.Wash(parts[2:4], "4.6", 1)
	noon := s.Now.Add(30 * time.Second)
	s.Now = s.Now.Add(time.Minute)
	s.Lot = other
	third := s.Wash(parts[4:], "4.6", 0)
	s.Bake([]uuid.UUID{first, second}, "196")
	s.Bake([]uuid.UUID{third}, "196")
	for _, p := range parts[:3] {
		s.Finish(p)
	}
	film, err := save(t, s, filmEntry(s, parts[0]))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := save(t, s, filmEntry(s, parts[1])); err != nil {
		t.Fatal(err)
	}
	if err := s.DB.Release(t.Context(), s.Everyone, parts[:2], s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	all := []string{"TH-0001", "TH-0002", "TH-0003", "TH-0004", "TH-0005", "TH-0006"}
	for name, c := range map[string]struct {
		from store.TraceFrom
		want []string
	}{
		"lot":                {store.TraceFrom{Kind: "lot", Name: "000123"}, []string{"TH-0001", "TH-0002", "TH-0005", "TH-0006"}},
		"other lot":          {store.TraceFrom{Kind: "lot", Name: "000124"}, all[2:4]},
		"booth":              {store.TraceFrom{Kind: "booth", Name: "B2"}, all[2:4]},
		"bath":               {store.TraceFrom{Kind: "bath", Name: "CONV"}, all},
		"bath until noon":    {store.TraceFrom{Kind: "bath", Name: "CONV", To: noon}, all[:4]},
		"bath from noon":     {store.TraceFrom{Kind: "bath", Name: "CONV", From: noon}, all[4:]},
		"gauge":              {store.TraceFrom{Kind: "gauge", Name: "FG-01"}, all[:2]},
		"oven":               {store.TraceFrom{Kind: "oven", Name: "OV1"}, all},
		"part number":        {store.TraceFrom{Kind: "part_number", Name: "RF-210"}, all},
		"spec":               {store.TraceFrom{Kind: "spec", Name: "PC-60 rev A"}, all},
		"person":             {store.TraceFrom{Kind: "person", Name: "maren"}, all},
		"rack of the second": {store.TraceFrom{Kind: "rack", Name: rackNumber(t, s, second)}, all[2:4]},
		"load of the third":  {store.TraceFrom{Kind: "load", Name: loadOf(t, s, third)}, all[4:]},
	} {
		if got := traced(t, s, c.from); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}
	// A voided record ties nothing together any more.
	s.Now = s.Now.Add(time.Minute)
	if _, err := s.DB.Void(t.Context(), s.Everyone, store.NewID(), store.Correction{Of: film.RecordID, Code: "wrong_part", Text: "Not this part."}, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	if got := traced(t, s, store.TraceFrom{Kind: "gauge", Name: "FG-01"}); !slices.Equal(got, all[1:2]) {
		t.Errorf("after the void the gauge touched %v, want %v", got, all[1:2])
	}
	if _, err := s.DB.Trace(t.Context(), s.Site.ID, store.TraceFrom{Kind: "lot", Name: "none"}); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("an unknown lot: %v", err)
	}
}

func rackNumber(t *testing.T, s *storetest.Shop, rack uuid.UUID) string {
	t.Helper()
	racks, err := s.DB.OpenRacks(t.Context(), s.Site.ID)
	if err != nil {
		t.Fatal(err)
	}
	for _, k := range racks {
		if k.ID == rack {
			return k.Number
		}
	}
	t.Fatal("no such rack")
	return ""
}

func loadOf(t *testing.T, s *storetest.Shop, rack uuid.UUID) string {
	t.Helper()
	racks, err := s.DB.OpenRacks(t.Context(), s.Site.ID)
	if err != nil {
		t.Fatal(err)
	}
	for _, k := range racks {
		if k.ID == rack {
			return k.Load
		}
	}
	return ""
}

func TestMockRecallTimesItselfAndItsFileHoldsEveryPart(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	parts := s.Ready(3, 0)
	s.Finish(parts[0])
	if _, err := save(t, s, filmEntry(s, parts[0])); err != nil {
		t.Fatal(err)
	}
	if err := s.DB.Release(t.Context(), s.Everyone, parts[:1], s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	m, err := s.DB.MockRecall(t.Context(), s.Everyone, store.TraceFrom{Kind: "lot", Name: "000123"})
	if err != nil {
		t.Fatal(err)
	}
	if len(m.Parts) != 3 || m.Released != 1 || m.InHouse != 2 || m.Customers["Halden, \"Balconies\""] != 1 || m.Took <= 0 {
		t.Errorf("mock recall: %d parts, %d released, %d in house, %v, %v", len(m.Parts), m.Released, m.InHouse, m.Customers, m.Took)
	}
	var exercises int
	if err := storetest.Owner(t, s.DB).QueryRow(t.Context(), `SELECT count(*) FROM event WHERE verb = 'mock recall' AND (after->>'parts')::int = 3 AND after ? 'took_ms'`).Scan(&exercises); err != nil || exercises != 1 {
		t.Errorf("%d exercises in the events, %v", exercises, err)
	}
	var b bytes.Buffer
	if err := store.WriteTrace(&b, s.Site, m.Parts); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil || len(rows) != 4 || rows[1][0] != "TH-0001" || rows[1][5] != "released" || rows[1][6] == "" || rows[1][4] != "'=PO 7" {
		t.Errorf("the file: %v, %v", rows, err)
	}
}
