package store_test

import (
	"strings"
	"testing"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

// lotOfKind receives a lot of a new material of a kind, good for a year.
func lotOfKind(t *testing.T, s *storetest.Shop, kind, number string) store.MaterialLot {
	t.Helper()
	m, err := s.DB.AddMaterial(t.Context(), s.Everyone, store.Material{Kind: kind, Code: strings.ToUpper("M-" + number), Name: "Trial " + kind, Maker: "Invented Chemicals",
		StorageMaxC: ptr(30.0)}, nil)
	if err != nil {
		t.Fatalf("material of kind %s: %v", kind, err)
	}
	lot, err := s.DB.AddMaterialLot(t.Context(), s.Everyone, store.MaterialLot{MaterialID: m.ID, LotNumber: number, MadeOn: ptr(s.Now.AddDate(0, -2, 0)),
		ReceivedOn: s.Now.AddDate(0, -1, 0), ExpiresOn: ptr(s.Now.AddDate(1, 0, 0)), Quantity: 20, Unit: "L"})
	if err != nil {
		t.Fatalf("lot of kind %s: %v", kind, err)
	}
	return lot
}

// askFor approves a revision of the shop's spec that asks for lots.
func askFor(t *testing.T, s *storetest.Shop, asks quality.MaterialsRequired) {
	t.Helper()
	r, err := s.DB.NewRevision(t.Context(), s.Everyone, s.Spec.Code, "B")
	if err != nil {
		t.Fatal(err)
	}
	spec, err := r.Spec()
	if err != nil {
		t.Fatal(err)
	}
	spec.Requires = asks
	if err := s.DB.SaveDraft(t.Context(), s.Everyone, r.ID, spec); err != nil {
		t.Fatal(err)
	}
	if err := s.DB.ApproveSpec(t.Context(), s.Everyone, r.ID, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
}

func weldEntry(part uuid.UUID, uses ...store.Use) store.Entry {
	return store.Entry{RecordID: store.NewID(), Kind: quality.Weld, Subject: store.Subject{Kind: quality.OnPart, ID: part},
		Check: quality.Check{Defects: []quality.Defect{{Code: quality.NoneFound}}}, Uses: uses}
}

func TestWeldTakesFillerAndHeatWhereTheSpecAsksForThem(t *testing.T) {
	s := storetest.NewShop(t)
	part := s.Parts(1)[0]
	filler, heat := lotOfKind(t, s, store.Filler, "FW-7"), lotOfKind(t, s, store.Heat, "HT-3310")
	askFor(t, s, quality.MaterialsRequired{Filler: true, Heat: true})
	_, err := save(t, s, weldEntry(part, store.Use{Role: "filler", ID: filler.ID}))
	if sentence := refusedBy(t, err, store.RuleLotMissing); !strings.Contains(sentence, "aluminium heat") || strings.Contains(sentence, "filler") {
		t.Errorf("refused with %q, want the heat named and the filler not", sentence)
	}
	if _, err := save(t, s, weldEntry(part, store.Use{Role: "filler", ID: filler.ID}, store.Use{Role: "heat", ID: heat.ID})); err != nil {
		t.Fatal(err)
	}
	touched, err := s.DB.PartsOfLot(t.Context(), s.Site.ID, heat.ID)
	if err != nil || len(touched) != 1 || touched[0].PartID != part || touched[0].Roles[0] != "heat" {
		t.Errorf("heat touched %+v, %v, want the welded part", touched, err)
	}
}

func TestWithoutTheSpecAskingNoLotIsDemanded(t *testing.T) {
	s := storetest.NewShop(t)
	if _, err := save(t, s, weldEntry(s.Parts(1)[0])); err != nil {
		t.Fatal(err)
	}
}

func TestSpecThatAsksForChemicalsRefusesAWashWithoutThem(t *testing.T) {
	s := storetest.NewShop(t)
	part := s.Parts(1)
	s.Weld(part[0], quality.NoneFound)
	askFor(t, s, quality.MaterialsRequired{Chemicals: true})
	rack := store.NewID()
	if _, err := s.DB.HangRack(t.Context(), s.Everyone, rack, "K1"); err != nil {
		t.Fatal(err)
	}
	if err := s.DB.HangParts(t.Context(), s.Everyone, rack, part); err != nil {
		t.Fatal(err)
	}
	e := store.Entry{RecordID: store.NewID(), Kind: quality.Pretreatment, Subject: store.Subject{Kind: quality.OnRack, ID: rack},
		Check: quality.Check{Readings: []quality.Reading{s.Reading("ph", "1-convert", 0, "4.5", quality.PH)}}}
	_, err := save(t, s, e)
	if sentence := refusedBy(t, err, store.RuleLotMissing); strings.Contains(sentence, "cleaner") {
		t.Errorf("%q asks for a cleaner; the spec has no cleaning stage", sentence)
	}
	e.Uses = []store.Use{{Role: "chemical", ID: lotOfKind(t, s, store.Conversion, "ZR-1").ID}}
	if _, err := save(t, s, e); err != nil {
		t.Fatal(err)
	}
}

func TestLotOfTheWrongKindIsRefusedByName(t *testing.T) {
	s := storetest.NewShop(t)
	_, err := save(t, s, weldEntry(s.Parts(1)[0], store.Use{Role: "filler", ID: lotOfKind(t, s, store.Solvent, "MEK-2").ID}))
	if sentence := refusedBy(t, err, store.RuleInvalid); !strings.Contains(sentence, "MEK-2 is a solvent") || !strings.Contains(sentence, "a filler metal") {
		t.Errorf("refused with %q", sentence)
	}
}

func TestEveryHeldOrExpiredLotOfAnActIsNamedInTheException(t *testing.T) {
	s := storetest.NewShop(t)
	part := s.Parts(1)[0]
	filler, heat := lotOfKind(t, s, store.Filler, "FW-7"), lotOfKind(t, s, store.Heat, "HT-3310")
	for _, lot := range []store.MaterialLot{filler, heat} {
		if _, err := s.DB.SetLotStatus(t.Context(), s.Everyone, lot.ID, "held", "Certificate is missing"); err != nil {
			t.Fatal(err)
		}
	}
	e := weldEntry(part, store.Use{Role: "filler", ID: filler.ID}, store.Use{Role: "heat", ID: heat.ID})
	_, err := save(t, s, e)
	if sentence := refusedBy(t, err, store.RuleLotRejected); !strings.Contains(sentence, "Filler metal lot FW-7 is held.") || !strings.Contains(sentence, "Aluminium heat lot HT-3310 is held.") {
		t.Fatalf("refused with %q, want both lots by name", sentence)
	}
	e.Overrides = []store.Override{{Rule: store.RuleLotRejected, Reason: "Certificates arrived by mail", By: s.Everyone.Person, PIN: storetest.PIN}}
	if _, err := save(t, s, e); err != nil {
		t.Fatal(err)
	}
	r, err := s.DB.RecordByID(t.Context(), s.Site.ID, e.RecordID)
	if err != nil || len(r.Overrides) != 1 || !strings.Contains(r.Overrides[0].Sentence, "FW-7") || !strings.Contains(r.Overrides[0].Sentence, "HT-3310") {
		t.Errorf("exceptions %+v, %v, want one that names both lots", r.Overrides, err)
	}
	if got := verbs(t, s.DB, s.Everyone, part); !strings.Contains(strings.Join(got, "; "), "exception authorised") {
		t.Errorf("events of the part: %v, want the exception among them", got)
	}
}

func TestSolventPastItsDateIsRefusedAtTheCureTest(t *testing.T) {
	s := storetest.NewShop(t)
	m, err := s.DB.AddMaterial(t.Context(), s.Everyone, store.Material{Kind: store.Solvent, Code: "MEK", Name: "Methyl ethyl ketone", Maker: "Invented Chemicals"}, nil)
	if err != nil {
		t.Fatal(err)
	}
	old, err := s.DB.AddMaterialLot(t.Context(), s.Everyone, store.MaterialLot{MaterialID: m.ID, LotNumber: "MEK-1", ReceivedOn: s.Now.AddDate(-1, 0, 0), ExpiresOn: ptr(s.Now.AddDate(0, 0, -1)), Quantity: 5, Unit: "L"})
	if err != nil {
		t.Fatal(err)
	}
	part := s.Parts(1)
	s.Weld(part[0], quality.NoneFound)
	load := s.Bake([]uuid.UUID{s.Wash(part, "4.5", 0)}, "190")
	_, err = save(t, s, store.Entry{RecordID: store.NewID(), Kind: quality.CureTest, Subject: store.Subject{Kind: quality.OnLoad, ID: load}, Check: quality.Check{
		Readings: []quality.Reading{s.Reading("rubs", "", 0, "50", quality.DoubleRubs)}, Ratings: []quality.Rating{{Characteristic: quality.RatingRub, Code: "4"}, {Characteristic: quality.RatingSwab, Code: "none"}}},
		Uses: []store.Use{{Role: "solvent", ID: old.ID}}})
	if sentence := refusedBy(t, err, store.RuleLotExpired); !strings.Contains(sentence, "Solvent lot MEK-1 expired on 23 November 2026") {
		t.Errorf("refused with %q", sentence)
	}
}
