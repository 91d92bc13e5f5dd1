package store_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

// withPanels makes new parts of the shop follow a spec that asks for a cross-cut, with conditions, on a panel of each load.
func withPanels(t *testing.T, s *storetest.Shop) {
	t.Helper()
	ctx := t.Context()
	spec, err := s.Spec.Spec()
	if err != nil {
		t.Fatal(err)
	}
	spec.PanelTest = &quality.PanelSpec{Adhesion: &quality.AdhesionSpec{Method: "D3359B", Worst: "4B", Conditions: true}}
	revision, err := s.DB.AddSpec(ctx, s.Everyone, "PC-P", "Railing, with panels", "A", spec)
	if err == nil {
		err = s.DB.ApproveSpec(ctx, s.Everyone, revision.ID, s.Proof(s.Everyone))
	}
	if err != nil {
		t.Fatal(err)
	}
	if s.PartNumber, err = s.DB.AddPartNumber(ctx, s.Everyone, store.PartNumber{Code: "RF-P", Name: "Rail frame", SpecID: revision.SpecID, Alloy: "6060 T66",
		BaseForm: "extrusion", WallMM: 3, Welds: 4, Sketch: "rail"}); err != nil {
		t.Fatal(err)
	}
}

func addPanel(t *testing.T, s *storetest.Shop, code string, on quality.Subject, id uuid.UUID) store.Panel {
	t.Helper()
	p := store.Panel{ID: store.NewID(), Code: code, Alloy: "6060 T66", PretreatedWith: "with the rack", Position: "top, beside the door"}
	if on == quality.OnRack {
		p.RackID = uuid.NullUUID{UUID: id, Valid: true}
	} else {
		p.LoadID = uuid.NullUUID{UUID: id, Valid: true}
	}
	for range 2 { // the same again is the same panel
		if err := s.DB.AddPanel(t.Context(), s.Everyone, p); err != nil {
			t.Fatal(err)
		}
	}
	return p
}

// crossCut is a cross-cut on a panel; without conditions where they are left empty.
func crossCut(s *storetest.Shop, panel uuid.UUID, class, celsius, percent string) store.Entry {
	check := quality.Check{Ratings: []quality.Rating{{Characteristic: quality.RatingAdhesion, Code: class}}}
	if celsius != "" {
		check.Readings = append(check.Readings, s.Reading(quality.TestTemperature, "", 0, celsius, quality.Celsius))
	}
	if percent != "" {
		check.Readings = append(check.Readings, s.Reading(quality.TestHumidity, "", 0, percent, quality.Percent))
	}
	return store.Entry{RecordID: store.NewID(), Kind: quality.PanelTest, Subject: store.Subject{Kind: quality.OnPanel, ID: panel}, Check: check}
}

func gateItem(t *testing.T, s *storetest.Shop, part uuid.UUID, kind quality.Kind) quality.Item {
	t.Helper()
	items, _, err := s.DB.GateOf(t.Context(), s.Site.ID, part)
	if err != nil {
		t.Fatal(err)
	}
	for _, item := range items {
		if item.Kind == kind {
			return item
		}
	}
	t.Fatalf("the gate does not ask for %s: %+v", kind, items)
	return quality.Item{}
}

func TestPanelTestSpeaksForEveryPartOfItsLoadAndForNoOther(t *testing.T) {
	s := storetest.NewShop(t)
	withPanels(t, s)
	parts := s.Parts(3)
	for _, p := range parts {
		s.Weld(p, quality.NoneFound)
	}
	first, second, other := s.Wash(parts[:1], "4.6", 0), s.Wash(parts[1:2], "4.6", 0), s.Wash(parts[2:], "4.6", 0)
	panel := addPanel(t, s, "wp-1", quality.OnRack, first)

	// On a rack that is on no load, a test would speak for nothing.
	_, err := save(t, s, crossCut(s, panel.ID, "5B", "23", "48"))
	if sentence := refusedBy(t, err, store.RulePanelLoose); !strings.Contains(sentence, "Put the rack on its load") {
		t.Errorf("the refusal names no way out: %s", sentence)
	}
	load := s.Bake([]uuid.UUID{first, second}, "196")
	s.Bake([]uuid.UUID{other}, "196")
	if item := gateItem(t, s, parts[0], quality.PanelTest); item.State != quality.Missing {
		t.Fatalf("before the test the gate says %+v", item)
	}
	if next := status(t, s, "TH-0001").NextKind; next != quality.PanelTest {
		t.Errorf("the bench asks for %q next, want the panel test", next)
	}
	e := crossCut(s, panel.ID, "5B", "23", "48")
	if saved, err := save(t, s, e); err != nil || saved.Judgement.Verdict != quality.Pass {
		t.Fatalf("%+v, %v", saved, err)
	}
	for i, want := range []quality.State{quality.Met, quality.Met, quality.Missing} {
		item := gateItem(t, s, parts[i], quality.PanelTest)
		if item.State != want || want == quality.Met && !strings.HasPrefix(item.Sentence, "Panel WP-1: ") {
			t.Errorf("part %d: %+v, want %s with the panel named", i+1, item, want)
		}
	}
	story, err := s.DB.Story(t.Context(), s.Site.ID, parts[1])
	if err != nil || !slices.ContainsFunc(story, func(l store.StoryLine) bool { return l.What == "panel_test" && l.Number == "panel WP-1" }) {
		t.Errorf("the story of a part of the load does not tell of the panel: %v", err)
	}
	traced, err := s.DB.Trace(t.Context(), s.Site.ID, store.TraceFrom{Kind: "panel", Name: "WP-1"})
	if err != nil || len(traced) != 2 || traced[0].Serial != "TH-0001" || traced[1].Serial != "TH-0002" {
		t.Errorf("from the panel: %+v, %v; want the two parts of its load", traced, err)
	}
	powders, err := s.DB.PanelPowders(t.Context(), s.Site.ID, panel)
	if err != nil || len(powders) != 1 || powders[0] != s.Lot.LotNumber {
		t.Errorf("powder lots of the panel: %v, %v", powders, err)
	}
	onLoad, err := s.DB.PanelsOf(t.Context(), s.Site.ID, store.Subject{Kind: quality.OnLoad, ID: load})
	if err != nil || len(onLoad) != 1 || onLoad[0].RecordID.UUID != e.RecordID || onLoad[0].Verdict != quality.Pass {
		t.Errorf("panels of the load: %+v, %v", onLoad, err)
	}
	if changed, err := s.DB.Rebuild(t.Context(), s.Site.ID); err != nil || changed != 0 {
		t.Errorf("rebuilding changed %d parts, %v", changed, err)
	}
	again := panel
	again.ID = store.NewID()
	again.RackID.UUID = first
	refusedBy(t, s.DB.AddPanel(t.Context(), s.Everyone, again), "panel_code_unique")
}

func TestFailedPanelTestHoldsThePartsOfItsLoad(t *testing.T) {
	s := storetest.NewShop(t)
	withPanels(t, s)
	parts := s.Parts(3)
	for _, p := range parts {
		s.Weld(p, quality.NoneFound)
	}
	load := s.Bake([]uuid.UUID{s.Wash(parts[:2], "4.6", 0)}, "196")
	s.Bake([]uuid.UUID{s.Wash(parts[2:], "4.6", 0)}, "196")
	panel := addPanel(t, s, "WP-2", quality.OnLoad, load)
	saved, err := save(t, s, crossCut(s, panel.ID, "2B", "23", "48"))
	if err != nil || saved.Judgement.Verdict != quality.Fail || saved.HoldNumber == "" {
		t.Fatalf("%+v, %v", saved, err)
	}
	for i, want := range []string{store.StatusOnHold, store.StatusOnHold, store.StatusInProgress} {
		if p := status(t, s, []string{"TH-0001", "TH-0002", "TH-0003"}[i]); p.Status != want {
			t.Errorf("%s is %s, want %s", p.Serial, p.Status, want)
		}
	}
}

func TestAdhesionWithoutConditionsIsRefusedWhereTheMethodAsksForThem(t *testing.T) {
	s := storetest.NewShop(t)
	withPanels(t, s)
	parts := s.Parts(1)
	s.Weld(parts[0], quality.NoneFound)
	panel := addPanel(t, s, "WP-3", quality.OnLoad, s.Bake([]uuid.UUID{s.Wash(parts, "4.6", 0)}, "196"))
	for _, conditions := range [][2]string{{"", ""}, {"23", ""}, {"", "48"}} {
		_, err := save(t, s, crossCut(s, panel.ID, "5B", conditions[0], conditions[1]))
		refusedBy(t, err, store.RuleConditions)
	}
	e := crossCut(s, panel.ID, "5B", "23.5", "48")
	if _, err := save(t, s, e); err != nil {
		t.Fatal(err)
	}
	record, err := s.DB.RecordByID(t.Context(), s.Site.ID, e.RecordID)
	if err != nil || len(record.Check.Readings) != 2 || record.Check.Readings[0].Text != "23.5" || record.Check.Readings[1].Characteristic != quality.TestHumidity {
		t.Errorf("the conditions do not stand on the record: %+v, %v", record.Check.Readings, err)
	}
}

func TestCertificateSaysHowThePanelOfALoadWasTested(t *testing.T) {
	s := storetest.NewShop(t)
	withPanels(t, s)
	parts := s.Parts(2)
	for _, p := range parts {
		s.Weld(p, quality.NoneFound)
	}
	panel := addPanel(t, s, "WP-4", quality.OnLoad, s.Bake([]uuid.UUID{s.Wash(parts, "4.6", 0)}, "196"))
	s.Verify(0)
	for _, p := range parts {
		s.Finish(p)
		s.Film(p, "80", "84", "79", "90", "92")
	}
	refusedBy(t, s.DB.Release(t.Context(), s.Everyone, parts, s.Proof(s.Everyone)), store.RuleGateClosed)
	if _, err := save(t, s, crossCut(s, panel.ID, "4B", "23", "48")); err != nil {
		t.Fatal(err)
	}
	if err := s.DB.Release(t.Context(), s.Everyone, parts, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	got := stated(t, s, certify(t, s, store.NewCertificate{Shipment: ship(t, s, "DN-1", parts...).ID}).Number)
	i := slices.IndexFunc(got.Methods, func(m store.CertificateMethod) bool { return m.Kind == quality.PanelTest })
	if i < 0 {
		t.Fatalf("no panel test among the methods: %+v", got.Methods)
	}
	if m := got.Methods[i]; m.Method != "Destructive tests on a witness panel of the oven load: adhesion by ASTM D3359 method B, cross-cut, temperature and humidity recorded" ||
		m.Sample != "1 witness panel, for 2 of 2 parts" || m.Rule == "" || m.Spec != "PC-P rev A" {
		t.Errorf("the method: %+v", m)
	}
}
