package store_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/quality/sampling"
	"coatbook/store"
	"coatbook/store/storetest"
)

var byAQL = quality.SampleRule{By: quality.SampleLot, Plan: quality.PlanAQL, Level: "II", AQL: 6.5, Reduced: true}

// A lot of 8 at level II and AQL 6.5 is letter A, whose arrow leads to letter B or further: small enough to feed a sequence.
// The numbers of the rules are those of MIL-STD-105E 4.7 (from memory, unverified).
func TestInspectionSwitchesByTheSequenceOfLotsEachSwitchARecord(t *testing.T) {
	s := newSampledShop(t, byAQL)
	ctx := t.Context()
	severity := func() sampling.Severity {
		t.Helper()
		all, err := s.DB.Severities(ctx, s.Site.ID)
		if err != nil || len(all) != 1 {
			t.Fatalf("%+v, %v", all, err)
		}
		return all[0].Severity
	}
	reject, accept := func() store.InspectionLot { t.Helper(); return s.decide(8, 8) }, func() store.InspectionLot { t.Helper(); return s.decide(8, 0) }
	first := reject()
	for range 2 {
		accept()
	}
	if first.State != quality.LotRejected || severity() != sampling.Normal {
		t.Fatalf("after one rejection: %s, %+v", severity(), first)
	}
	second := reject()
	if severity() != sampling.Tightened {
		t.Fatalf("two rejections in five: %s", severity())
	}
	for i := range 5 {
		if got := severity(); got != sampling.Tightened {
			t.Fatalf("after %d accepted: %s", i, got)
		}
		if l := accept(); l.Severity != sampling.Tightened {
			t.Errorf("the lot after the switch was drawn %s", l.Severity)
		}
	}
	if severity() != sampling.Normal {
		t.Fatalf("five accepted in a row: %s", severity())
	}
	switches, err := s.DB.Switches(ctx, s.Site.ID)
	if err != nil || len(switches) != 2 {
		t.Fatalf("switches %+v, %v", switches, err)
	}
	if w := switches[1]; w.From != sampling.Normal || w.To != sampling.Tightened || !slices.Equal(w.Lots, []string{first.Number, second.Number}) || w.Of.Check() != quality.Film {
		t.Errorf("the first switch: %+v, want the lots %s and %s", w, first.Number, second.Number)
	}
	if w := switches[0]; w.From != sampling.Tightened || w.To != sampling.Normal || len(w.Lots) != 5 {
		t.Errorf("the second switch: %+v", w)
	}
	for range 10 {
		accept()
	}
	if severity() != sampling.Reduced {
		t.Errorf("ten accepted in a row: %s", severity())
	}
	if l := reject(); severity() != sampling.Normal || l.Severity != sampling.Reduced {
		t.Errorf("a rejection on reduced inspection: %s, %+v", severity(), l)
	}
	s.rebuilt()
}

func TestStoppedInspectionBeginsAgainOnlyByAnEngineersSignature(t *testing.T) {
	s := newSampledShop(t, byAQL)
	ctx := t.Context()
	for range 2 {
		s.decide(8, 8)
	}
	for i := range 10 {
		s.decide(8, []int{8, 0}[i%2])
	}
	job, _ := s.job(8)
	offer := store.LotOffer{ID: store.NewID(), Spec: "PC-S", Of: quality.Sampled(quality.Film), Job: job}
	if _, err := s.DB.MakeLot(ctx, s.Everyone, offer); ruleOf(err) != store.RuleStopped {
		t.Fatalf("a lot after ten on tightened inspection: %v", err)
	}
	supervisor := s.AddPerson("Ona Reyes", "ona", store.Supervisor)
	if err := s.DB.ResumeInspection(ctx, supervisor, "PC-S", quality.Sampled(quality.Film), "Gun was replaced.", s.Proof(supervisor)); ruleOf(err) != store.RuleNoRight {
		t.Errorf("a supervisor lets inspection begin again: %v", err)
	}
	if err := s.DB.ResumeInspection(ctx, s.Everyone, "PC-S", quality.Sampled(quality.Film), "", s.Proof(s.Everyone)); ruleOf(err) != "inspection_switch_reason_given" {
		t.Errorf("without a reason: %v", err)
	}
	s.rebuilt()
	if err := s.DB.ResumeInspection(ctx, s.Everyone, "PC-S", quality.Sampled(quality.Film), "Gun was replaced.", s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	number, err := s.DB.MakeLot(ctx, s.Everyone, offer)
	if err != nil || s.read(number).Severity != sampling.Tightened {
		t.Errorf("the lot after the new beginning: %v", err)
	}
	switches, err := s.DB.Switches(ctx, s.Site.ID)
	if err != nil || !switches[0].Signed || switches[0].From != sampling.Discontinued || switches[0].To != sampling.Tightened {
		t.Errorf("switches %+v, %v", switches, err)
	}
	s.rebuilt()
}

func TestDrawIsRepeatedFromItsSeedAndASwapNeedsAReason(t *testing.T) {
	s := newSampledShop(t, byCoatingTable)
	ctx := t.Context()
	job, _ := s.job(40)
	l := s.lot(job)
	drawn, rest := s.samples(l)
	order, err := sampling.Draw([32]byte(l.Seed), l.Size)
	if err != nil {
		t.Fatal(err)
	}
	for i, p := range drawn {
		if p.Position != order[i]+1 {
			t.Errorf("sample %d is part %d of the list, the seed gives %d", p.Seq, p.Position, order[i]+1)
		}
	}
	if _, err := s.DB.SwapSample(ctx, s.Everyone, l.ID, drawn[3].Serial, "  "); ruleOf(err) != "inspection_sample_reason_given" {
		t.Errorf("a swap without a reason: %v", err)
	}
	if _, err := s.DB.SwapSample(ctx, s.Everyone, l.ID, rest[0].Serial, "Cannot be reached."); ruleOf(err) != store.RuleInvalid {
		t.Errorf("a swap of a part that is not in the sample: %v", err)
	}
	s.Film(drawn[0].PartID, good...)
	if _, err := s.DB.SwapSample(ctx, s.Everyone, l.ID, drawn[0].Serial, "Cannot be reached."); ruleOf(err) != store.RuleInvalid {
		t.Errorf("a swap of a part that is checked: %v", err)
	}
	in, err := s.DB.SwapSample(ctx, s.Everyone, l.ID, drawn[3].Serial, "=Hangs under the hoist, cannot be reached.")
	if err != nil {
		t.Fatal(err)
	}
	swapped, _ := s.samples(l)
	if swapped[3].Serial != in || swapped[3].Position != order[10]+1 {
		t.Errorf("%s took its place, part %d; the next of the draw is %d", in, swapped[3].Position, order[10]+1)
	}
	if rows, err := s.DB.SampledAmong(ctx, s.Site.ID, []uuid.UUID{drawn[3].PartID, swapped[3].PartID}); err != nil || len(rows) != 1 || len(rows[swapped[3].PartID]) != 1 || rows[swapped[3].PartID][0].Lot != l.Number {
		t.Errorf("due: %+v, %v", rows, err)
	}
	day, _ := s.Site.ShopDay(s.Now)
	var file strings.Builder
	if _, err := s.DB.Export(ctx, s.Site, "samples.csv", store.ExportFilter{From: day, To: day}, &file); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(file.String(), "\"'=Hangs under the hoist, cannot be reached.\"") || !strings.Contains(file.String(), drawn[3].Serial) {
		t.Errorf("the export does not tell of the swap:\n%s", file.String())
	}
	s.rebuilt()
}

func TestSampleOfARackStandsForTheRackAndAFailHoldsIt(t *testing.T) {
	s := storetest.NewShop(t)
	ctx, a := t.Context(), s.Everyone
	draft, err := s.DB.NewRevision(ctx, a, s.Spec.Code, "B")
	if err != nil {
		t.Fatal(err)
	}
	spec, err := draft.Spec()
	if err != nil {
		t.Fatal(err)
	}
	spec.Sampling = map[quality.Sampled]quality.SampleRule{quality.Sampled(quality.Film): {By: quality.SampleRack, Number: 2}, quality.Sampled(quality.CureTest): {By: quality.SampleLoad, Number: 1}}
	if err := s.DB.SaveDraft(ctx, a, draft.ID, spec); err != nil {
		t.Fatal(err)
	}
	if err := s.DB.ApproveSpec(ctx, a, draft.ID, s.Proof(a)); err != nil {
		t.Fatal(err)
	}
	s.Verify(0)
	parts := s.Parts(8)
	for _, p := range parts {
		s.Weld(p, quality.NoneFound)
	}
	racks := []uuid.UUID{s.Wash(parts[:4], "4.6", 0), s.Wash(parts[4:], "4.6", 1)}
	load, err := s.DB.OpenLoad(ctx, a, store.NewID(), s.Oven.ID)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range racks {
		if err := s.DB.AddRack(ctx, a, load.ID, r); err != nil {
			t.Fatal(err)
		}
	}
	s.Save(quality.Cure, quality.OnLoad, load.ID, quality.Check{Readings: []quality.Reading{s.Reading("metal_peak", "middle", 1, "196", quality.Celsius),
		s.Reading("metal_time", "middle", 1, "14", quality.Minute)}}, store.Use{Role: "oven", ID: s.Oven.ID})
	lots, err := s.DB.InspectionLots(ctx, s.Site.ID, 10)
	if err != nil || len(lots) != 3 {
		t.Fatalf("lots after the cure: %+v, %v", lots, err)
	}
	rub := quality.Check{Readings: []quality.Reading{s.Reading("rubs", "", 0, "50", quality.DoubleRubs)}, Ratings: []quality.Rating{{Characteristic: quality.RatingRub, Code: "4"}}}
	_, err = s.DB.Save(ctx, a, store.Entry{RecordID: store.NewID(), Kind: quality.CureTest, Subject: store.Subject{Kind: quality.OnLoad, ID: load.ID}, Check: rub})
	if ruleOf(err) != store.RuleInvalid {
		t.Errorf("one rub for a whole load that is sampled: %v", err)
	}
	sampleOf := map[string][]store.LotPart{}
	for _, l := range lots {
		all, err := s.DB.LotParts(ctx, s.Site.ID, l.ID)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range all {
			if p.Seq > 0 {
				sampleOf[l.Number] = append(sampleOf[l.Number], p)
			}
		}
		if l.Of.Check() == quality.CureTest {
			s.Save(quality.CureTest, quality.OnPart, sampleOf[l.Number][0].PartID, rub)
		}
	}
	for _, p := range parts {
		s.Finish(p)
	}
	failed := false
	for _, l := range lots {
		if l.Of.Check() != quality.Film {
			continue
		}
		if len(sampleOf[l.Number]) != 2 || l.Size != 4 || l.Accept != 0 || l.SourceKind != "rack" {
			t.Fatalf("the sample of a rack: %+v", l)
		}
		for _, p := range sampleOf[l.Number] {
			if failed {
				s.Film(p.PartID, good...)
			} else {
				s.Film(p.PartID, bad...)
				failed = true
				break
			}
		}
	}
	counts := map[string]int{}
	for _, p := range parts {
		rows, err := s.DB.PartsOf(ctx, s.Site.ID, store.Subject{Kind: quality.OnPart, ID: p})
		if err != nil {
			t.Fatal(err)
		}
		counts[rows[0].Status]++
	}
	if counts[store.StatusOnHold] != 4 || counts[store.StatusAccepted] != 4 {
		t.Errorf("one rack failed, the other passed: %v", counts)
	}
	if n, err := s.DB.Rebuild(ctx, s.Site.ID); err != nil || n != 0 {
		t.Errorf("%d rows were not what the records say, %v", n, err)
	}
}
