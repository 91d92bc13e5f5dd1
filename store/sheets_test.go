package store_test

import (
	"bytes"
	"strings"
	"testing"

	"coatbook/store"
	"coatbook/store/demoshop"
	"coatbook/store/storetest"
)

// sheetOf adds a safety data sheet of a date to a material.
func sheetOf(t *testing.T, s *storetest.Shop, m store.Material, body []byte, issued string) (store.File, error) {
	t.Helper()
	return s.DB.AddFile(t.Context(), s.Everyone, store.FileOwner{Kind: store.FileOfMaterial, ID: m.ID, IssuedOn: ptr(day(t, issued))}, body, " 4.1 ")
}

func addSolvent(t *testing.T, s *storetest.Shop) store.Material {
	t.Helper()
	m, err := s.DB.AddMaterial(t.Context(), s.Everyone, store.Material{Kind: store.Solvent, Code: "MEK", Name: "Methyl ethyl ketone", Maker: "Millrace Chemicals",
		SheetPaperAt: "Final bench", SheetLink: "https://example.org/mek.pdf", SheetIssuedOn: ptr(day(t, "2019-01-01"))}, nil)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func TestLatestSheetCountsOlderOnesStayAndAWithdrawnOneIsNotGivenOut(t *testing.T) {
	s := newSealedShop(t)
	m := addSolvent(t, s.Shop)
	counts := func(want store.File, standing string) {
		t.Helper()
		got, err := s.DB.MaterialByCode(t.Context(), s.Site.ID, "MEK")
		if err != nil || got.SheetFile.UUID != want.ID || got.SheetStanding(s.Now) != standing {
			t.Errorf("%+v, %v: want sheet %s, %s", got, err, want.ID, standing)
		}
	}
	counts(store.File{}, "old")
	newer, err := sheetOf(t, s.Shop, m, demoshop.SafetySheet("MEK, newer"), "2025-03-01")
	if err != nil || newer.Caption != "4.1" || newer.Kind != "pdf" {
		t.Fatal(newer, err)
	}
	// The date on the sheet decides, not the order in which they came.
	older, err := sheetOf(t, s.Shop, m, demoshop.SafetySheet("MEK, older"), "2020-01-01")
	if err != nil {
		t.Fatal(err)
	}
	counts(newer, "ok")
	if again, err := sheetOf(t, s.Shop, m, demoshop.SafetySheet("MEK, newer"), "2025-03-01"); err != nil || again.ID != newer.ID {
		t.Errorf("the same sheet again is %s, %v", again.ID, err)
	}
	for _, f := range []store.File{newer, older} {
		if body, err := s.DB.SheetBytes(t.Context(), s.Site.ID, f.ID); err != nil || !bytes.HasPrefix(body, []byte("%PDF-1.4")) {
			t.Errorf("sheet %s: %v", f.ID, err)
		}
	}
	if err := s.DB.WithdrawSheet(t.Context(), s.Everyone, m.ID, newer.ID, "sheet of another product"); err != nil {
		t.Fatal(err)
	}
	counts(older, "old")
	_, err = s.DB.SheetBytes(t.Context(), s.Site.ID, newer.ID)
	notFound(t, err)
	if _, _, err := s.DB.FileBytes(t.Context(), s.Site.ID, newer.ID, false); err != nil {
		t.Errorf("the withdrawn sheet is gone from the book: %v", err)
	}
	// A sheet withdrawn by mistake is added again.
	back, err := sheetOf(t, s.Shop, m, demoshop.SafetySheet("MEK, newer"), "2025-03-01")
	if err != nil || back.ID == newer.ID {
		t.Fatalf("%s, %v: the sheet that comes again after its withdrawal is a new one", back.ID, err)
	}
	counts(back, "ok")
	sheets, err := s.DB.SheetsOf(t.Context(), s.Site.ID, m.ID)
	if err != nil || len(sheets) != 3 || sheets[0].ID != back.ID || sheets[1].Withdrawn != "sheet of another product" || sheets[1].WithdrawnBy != s.Everyone.Name || sheets[2].ID != older.ID {
		t.Errorf("%+v, %v", sheets, err)
	}
	if got := verbs(t, s.DB, s.Everyone, m.ID); count(got, "safety data sheet added") != 3 || count(got, "safety data sheet withdrawn") != 1 {
		t.Errorf("events %v", got)
	}
	// A change of the material leaves its sheets alone.
	if err := s.DB.ChangeMaterial(t.Context(), s.Everyone, m, nil); err != nil {
		t.Fatal(err)
	}
	counts(back, "ok")
	if _, faults := s.verify(store.Trust{}); faults != "" {
		t.Fatal(faults)
	}
	s.close()
	s.forge(`DELETE FROM sheet_withdrawal WHERE file_id = $1 RETURNING file_id::text`, newer.ID)
	if _, faults := s.verify(store.Trust{}); !strings.Contains(faults, newer.ID.String()) {
		t.Errorf("a withdrawal that is gone is not found: %q", faults)
	}
}

func TestWhatIsNoSheetOfTheMaterialIsRefused(t *testing.T) {
	s := storetest.NewShop(t)
	m, pdf := addSolvent(t, s), demoshop.SafetySheet("MEK")
	add := func(a store.Actor, of store.FileOwner, body []byte) error {
		_, err := s.DB.AddFile(t.Context(), a, of, body, "")
		return err
	}
	of := store.FileOwner{Kind: store.FileOfMaterial, ID: m.ID, IssuedOn: ptr(day(t, "2025-03-01"))}
	refusedBy(t, add(s.Everyone, of, pictured(t, 9)), store.RuleFile)
	refusedBy(t, add(s.Everyone, of, []byte("%PDF-1.4\n%%EOF\n")), store.RuleFile)
	refusedBy(t, add(s.AddPerson("Teo Brandt", "teo", store.Inspector, store.Supervisor), of, pdf), store.RuleNoRight)
	tomorrow, none, elsewhere := of, of, of
	tomorrow.IssuedOn, none.IssuedOn, elsewhere.ID = ptr(s.Now.AddDate(0, 0, 1)), nil, store.NewID()
	refusedBy(t, add(s.Everyone, tomorrow, pdf), store.RuleFuture)
	refusedBy(t, add(s.Everyone, none, pdf), "file_sheet_dated")
	refusedBy(t, add(s.Everyone, elsewhere, pdf), "file_material_fkey")
	heat, err := s.DB.AddMaterial(t.Context(), s.Everyone, store.Material{Kind: store.Heat, Code: "6060", Name: "Extrusion", Maker: "Ridgeway Extrusions"}, nil)
	if err != nil {
		t.Fatal(err)
	}
	article := of
	article.ID = heat.ID
	refusedBy(t, add(s.Everyone, article, pdf), store.RuleInvalid)
	f, err := sheetOf(t, s, m, pdf, "2025-03-01")
	if err != nil {
		t.Fatal(err)
	}
	refusedBy(t, s.DB.WithdrawSheet(t.Context(), s.AddPerson("Ilse Brandt", "ilse", store.Inspector), m.ID, f.ID, "another product"), store.RuleNoRight)
	refusedBy(t, s.DB.WithdrawSheet(t.Context(), s.Everyone, m.ID, f.ID, " x "), "sheet_withdrawal_reason_given")
	refusedBy(t, s.DB.WithdrawSheet(t.Context(), s.Everyone, heat.ID, f.ID, "another product"), "sheet_withdrawal_file_fkey")
	if err := s.DB.WithdrawSheet(t.Context(), s.Everyone, m.ID, f.ID, "another product"); err != nil {
		t.Fatal(err)
	}
	refusedBy(t, s.DB.WithdrawSheet(t.Context(), s.Everyone, m.ID, f.ID, "another product"), store.RuleInvalid)
	// A file that is no sheet is not given out as one.
	saved := s.Weld(s.Parts(1)[0], "100")
	picture, err := s.DB.AddFile(t.Context(), s.Everyone, store.FileOwner{Kind: store.FileOfRecord, ID: saved.RecordID}, pictured(t, 7), "")
	if err != nil {
		t.Fatal(err)
	}
	_, err = s.DB.SheetBytes(t.Context(), s.Site.ID, picture.ID)
	notFound(t, err)
}
