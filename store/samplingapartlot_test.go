package store_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/quality/sampling"
	"coatbook/store"
)

func TestAdhesionByLotIsDrawnSwappedAndSwitchedLikeACheck(t *testing.T) {
	s := newSheenShop(t, false, rules{quality.FinishAdhesion: {By: quality.SampleLot, Plan: quality.PlanAQL, Level: "II", AQL: 6.5}})
	ctx := t.Context()
	var numbers []string
	for round := range 3 {
		job, parts := s.job(8)
		// The eye goes over all parts before the lot is made, and is not held up by it.
		for _, p := range parts {
			if saved := s.saveLook(p, "70", ""); saved.Judgement.Verdict != quality.Pass {
				t.Fatalf("before the lot: %+v", saved.Judgement)
			}
		}
		waiting, err := s.DB.WaitingForLots(ctx, s.Site.ID)
		if err != nil || !slices.Equal(waiting, []store.LotWaiting{{Spec: "PC-G", Of: quality.FinishAdhesion, Job: job, Parts: 8}}) {
			t.Fatalf("waiting %+v, %v", waiting, err)
		}
		number, err := s.DB.MakeLot(ctx, s.Everyone, store.LotOffer{ID: store.NewID(), Spec: "PC-G", Of: quality.FinishAdhesion, Job: job})
		if err != nil {
			t.Fatal(err)
		}
		l := s.read(number)
		numbers = append(numbers, number)
		drawn, rest := s.samples(l)
		order, err := sampling.Draw([32]byte(l.Seed), l.Size)
		if err != nil || drawn[0].Position != order[0]+1 || s.item(drawn[0].PartID, quality.FinishAdhesion).Waits || s.item(rest[0].PartID, quality.FinishAdhesion).Due() {
			t.Errorf("the draw of %s: %+v, %v", number, drawn, err)
		}
		if round == 2 {
			if l.Severity != sampling.Tightened {
				t.Errorf("the lot after two rejections was drawn %s", l.Severity)
			}
			break
		}
		in, err := s.DB.SwapSample(ctx, s.Everyone, l.ID, drawn[0].Serial, "Goes to the customer as a sample.")
		if err != nil {
			t.Fatal(err)
		}
		if now, _ := s.samples(l); now[0].Serial != in || s.item(drawn[0].PartID, quality.FinishAdhesion).Due() || !s.item(now[0].PartID, quality.FinishAdhesion).Due() {
			t.Errorf("%s took the place of %s", in, drawn[0].Serial)
		}
		drawn, _ = s.samples(l)
		s.saveLook(drawn[0].PartID, "70", "3")
		if l = s.read(number); l.State != quality.LotRejected && s.rejectRest(l, drawn) != quality.LotRejected {
			t.Fatalf("a lot whose samples lift: %+v", s.read(number))
		}
	}
	severities, err := s.DB.Severities(ctx, s.Site.ID)
	if err != nil || !slices.Equal(severities, []store.Severity{{SpecCode: "PC-G", Of: quality.FinishAdhesion, Severity: sampling.Tightened}}) {
		t.Errorf("severities %+v, %v", severities, err)
	}
	switches, err := s.DB.Switches(ctx, s.Site.ID)
	if err != nil || len(switches) != 1 || switches[0].Of != quality.FinishAdhesion || !slices.Equal(switches[0].Lots, numbers[:2]) {
		t.Errorf("switches %+v, %v", switches, err)
	}
	day, _ := s.Site.ShopDay(s.Now)
	var file strings.Builder
	if _, err := s.DB.Export(ctx, s.Site, "samples.csv", store.ExportFilter{From: day, To: day}, &file); err != nil || !strings.Contains(file.String(), "finish.adhesion") || !strings.Contains(file.String(), "Goes to the customer as a sample.") {
		t.Errorf("the export: %v\n%s", err, file.String())
	}
	s.rebuilt()
}

// rejectRest fails the other samples of a lot and returns where it stands.
func (s *sheenShop) rejectRest(l store.InspectionLot, drawn []store.LotPart) quality.LotState {
	s.t.Helper()
	for _, p := range drawn[1:] {
		if s.read(l.Number).State == quality.LotOpen {
			s.saveLook(p.PartID, "70", "3")
		}
	}
	return s.read(l.Number).State
}

func TestCorrectedGlossOfASampleBringsAnotherVerdict(t *testing.T) {
	s := newSheenShop(t, false, rules{quality.FinishGloss: {By: quality.SampleLot, Plan: quality.PlanZero, SharePercent: 30, ConfidencePercent: 80}})
	ctx := t.Context()
	job, parts := s.job(12)
	for _, p := range parts {
		s.saveLook(p, "", "0")
	}
	number, err := s.DB.MakeLot(ctx, s.Everyone, store.LotOffer{ID: store.NewID(), Spec: "PC-G", Of: quality.FinishGloss, Job: job})
	if err != nil {
		t.Fatal(err)
	}
	drawn, rest := s.samples(s.read(number))
	for _, p := range drawn {
		s.saveLook(p.PartID, "70", "0")
	}
	if got := s.read(number); got.State != quality.LotAccepted {
		t.Fatalf("the lot: %+v", got)
	}
	if err := s.DB.Release(ctx, s.Everyone, []uuid.UUID{rest[0].PartID}, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	// A correction of something else leaves the lot as it is.
	if saved, err := s.correct(drawn[0].PartID, s.look("70.5", "1")); err != nil || len(saved.Lots) != 0 {
		t.Errorf("a correction within the limits: %+v, %v", saved.Lots, err)
	}
	saved, err := s.correct(drawn[0].PartID, s.look("50.7", "1"))
	if err != nil || len(saved.Lots) != 1 || s.read(number).State != quality.LotRejected {
		t.Fatalf("its gloss was 50.7: %+v, %v", saved, err)
	}
	if got := s.status(rest[0].PartID); got != store.StatusOnHold {
		t.Errorf("what was released on the lot is %s", got)
	}
	s.rebuilt()
	if _, err := s.DB.Void(ctx, s.Everyone, store.NewID(), store.Correction{Of: s.latest(drawn[0].PartID), Code: "wrong_part", Text: "Measured on another part."}, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	// What is left on the part is the finish check from before the draw, which says nothing of gloss.
	if got := s.read(number); got.State != quality.LotOpen || got.Checked != len(drawn)-1 {
		t.Errorf("one sample short: %+v", got)
	}
	if item := s.item(drawn[0].PartID, quality.FinishGloss); !item.Due() {
		t.Errorf("the voided sample is due: %+v", item)
	}
	s.rebuilt()
}

func TestReworkedPartIsMeasuredItselfAgain(t *testing.T) {
	s := newSheenShop(t, true, rules{quality.FinishGloss: oneOfALoad})
	ctx := t.Context()
	s.bake(6)
	l := s.lotFor(quality.FinishGloss)
	drawn, rest := s.samples(l)
	s.saveLook(drawn[0].PartID, "70", "0")
	part := rest[0].PartID
	held := s.saveLook(part, "", "0", "crater")
	hold, err := s.DB.HoldByNumber(ctx, s.Site.ID, held.HoldNumber)
	if err == nil {
		err = s.DB.Decide(ctx, s.Everyone, hold.ID, store.Decision{Parts: []uuid.UUID{part}, Code: "rework", Reason: "Sanded and sprayed again."}, s.Proof(s.Everyone))
	}
	if err != nil {
		t.Fatal(err)
	}
	if item := s.item(part, quality.FinishGloss); !item.Due() || !item.Again || item.Sentence != "Gloss of the finish check is due again after rework." {
		t.Errorf("after rework: %+v", item)
	}
	s.Now = s.Now.Add(time.Minute)
	if saved := s.saveLook(part, "", "0"); saved.Judgement.Verdict != quality.Incomplete {
		t.Errorf("without gloss: %+v", saved.Judgement)
	}
	if saved := s.saveLook(part, "72", "0"); saved.Judgement.Verdict != quality.Pass || s.status(part) != store.StatusAccepted {
		t.Errorf("measured: %+v, %s", saved.Judgement, s.status(part))
	}
	// The first round is corrected as what it was: no sample, so no gloss is missed in it.
	records, err := s.DB.RecordsOn(ctx, s.Site.ID, store.Subject{Kind: quality.OnPart, ID: part})
	if err != nil {
		t.Fatal(err)
	}
	first := slices.MinFunc(records, func(a, b store.Header) int { return a.ObservedAt.Compare(b.ObservedAt) })
	saved, err := s.DB.Correct(ctx, s.Everyone, store.Entry{RecordID: store.NewID(), Kind: quality.Finish, Subject: store.Subject{Kind: quality.OnPart, ID: part}, Check: s.look("", "1")},
		store.Correction{Of: first.ID, Code: "typing_error", Text: "The crater was dust."}, s.Proof(s.Everyone))
	if err != nil || saved.Judgement.Verdict != quality.Pass {
		t.Errorf("a record of the round before: %+v, %v", saved.Judgement, err)
	}
	if got := s.read(l.Number); got.State != quality.LotAccepted {
		t.Errorf("the lot of the first round is %s", got.State)
	}
	s.rebuilt()
}

func TestCertificateSaysOnHowManyPartsGlossWasMeasured(t *testing.T) {
	s := newSheenShop(t, true, rules{quality.FinishGloss: oneOfALoad})
	ctx := t.Context()
	parts, _, load := s.bake(4)
	drawn, _ := s.samples(s.lotFor(quality.FinishGloss))
	for _, p := range parts {
		gloss := ""
		if p == drawn[0].PartID {
			gloss = "70"
		}
		s.saveLook(p, gloss, "0")
	}
	if err := s.DB.Release(ctx, s.Everyone, parts, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	c := certify(t, s.Shop, store.NewCertificate{Parts: parts, OrderRef: "PO-7"})
	got := stated(t, s.Shop, c.Number)
	var lines []string
	for _, m := range got.Methods {
		if m.Kind == quality.Finish {
			lines = append(lines, m.Name()+" | "+m.Method+" | "+m.Sample)
		}
	}
	if want := []string{"Finish check | Finish seen by eye; adhesion by ISO 2409 cross-cut | 4 of 4 parts checked", "Gloss of the finish check | Gloss at 60 degrees (ISO 2813) | 1 of 4 parts checked"}; !slices.Equal(lines, want) {
		t.Errorf("methods %q, want %q", lines, want)
	}
	sampled, results := 0, 0
	for _, p := range got.Parts {
		for _, words := range p.Sampled {
			if strings.HasPrefix(words, "Gloss of the finish check: Stands on lot ") {
				sampled++
			}
		}
	}
	for _, r := range got.Results {
		if r.Kind == quality.Finish {
			results++
			if len(r.Parts) != 1 {
				t.Errorf("a finish check speaks for %v", r.Parts)
			}
		}
	}
	if sampled != 3 || results != 4 {
		t.Errorf("%d parts stand on the sample of load %s and %d finish checks are printed, want 3 and 4", sampled, load.Number, results)
	}
}

func TestFirstArticleIsMeasuredInFullWhateverIsDrawn(t *testing.T) {
	s := newSheenShop(t, false, rules{quality.FinishGloss: byCoatingTable})
	ctx, a := t.Context(), s.Everyone
	draft, err := s.DB.NewRevision(ctx, a, "PC-G", "B")
	if err != nil {
		t.Fatal(err)
	}
	spec, err := draft.Spec()
	if err == nil {
		spec.FirstArticle = &quality.FirstArticleSpec{}
		err = s.DB.SaveDraft(ctx, a, draft.ID, spec)
	}
	if err == nil {
		err = s.DB.ApproveSpec(ctx, a, draft.ID, s.Proof(a))
	}
	_, parts := s.job(2)
	if err == nil {
		_, err = s.DB.NameFirstArticle(ctx, a, parts[0])
	}
	if err != nil {
		t.Fatal(err)
	}
	form, err := s.DB.Form(ctx, a, quality.Finish, store.Subject{Kind: quality.OnPart, ID: parts[0]})
	if err != nil || len(form.Circumstance.Sampled) != 1 || !form.Circumstance.Sampled[0].Due() || !strings.Contains(form.Circumstance.Sampled[0].Sentence, "first article, which is measured in full") {
		t.Errorf("the form of the first article: %+v, %v", form.Circumstance.Sampled, err)
	}
	if saved := s.saveLook(parts[0], "", "0"); saved.Judgement.Verdict != quality.Incomplete {
		t.Errorf("a first article without gloss: %+v", saved.Judgement)
	}
	if saved := s.saveLook(parts[1], "", "0"); saved.Judgement.Verdict != quality.Pass {
		t.Errorf("a series part: %+v", saved.Judgement)
	}
}

func TestWeldSizesByLotKeepPartsOffTheRackUntilTheyAreMeasured(t *testing.T) {
	s := newSheenShop(t, false, nil)
	ctx, a := t.Context(), s.Everyone
	spec, err := s.DB.AddSpec(ctx, a, "PC-W", "Welded", "A", quality.FinishSpec{Version: quality.SpecVersion, MaxCycles: 1,
		Weld:         &quality.WeldSpec{Level: "C", Leg: quality.AtLeast(4, quality.Millimetre)},
		Pretreatment: &quality.PretreatmentSpec{Stages: []quality.StageSpec{{Stage: "convert", Name: "Conversion", Limits: map[string]quality.Limits{"ph": quality.Between(3.8, 5, quality.PH)}}}},
		Sampling:     rules{quality.WeldLeg: {By: quality.SampleLot, Plan: quality.PlanZero, SharePercent: 40, ConfidencePercent: 80}}})
	if err == nil {
		err = s.DB.ApproveSpec(ctx, a, spec.ID, s.Proof(a))
	}
	if err == nil {
		s.number, err = s.DB.AddPartNumber(ctx, a, store.PartNumber{Code: "WD-1", Name: "Foot", SpecID: spec.SpecID, Alloy: "6060 T66", BaseForm: "extrusion", WallMM: 3, Welds: 1, Sketch: "frame"})
	}
	if err != nil {
		t.Fatal(err)
	}
	look := func(part uuid.UUID, leg string) store.Saved {
		t.Helper()
		check := quality.Check{Defects: []quality.Defect{{Code: quality.NoneFound}}}
		if leg != "" {
			check.Readings = []quality.Reading{s.Reading("weld_leg", "", 1, leg, quality.Millimetre)}
		}
		return s.Save(quality.Weld, quality.OnPart, part, check)
	}
	rack, err := s.DB.HangRack(ctx, a, store.NewID(), "W1")
	if err != nil {
		t.Fatal(err)
	}
	for _, leg := range []string{"4.2", "3.9"} {
		job, parts := s.job(8)
		for _, p := range parts {
			if saved := look(p, ""); saved.Judgement.Verdict != quality.Pass {
				t.Fatalf("before the lot: %+v", saved.Judgement)
			}
		}
		if err := s.DB.HangParts(ctx, a, rack.ID, parts[:1]); err == nil || !strings.Contains(err.Error(), "leg length of the weld check is by lot") {
			t.Errorf("hung before there is a lot: %v", err)
		}
		number, err := s.DB.MakeLot(ctx, a, store.LotOffer{ID: store.NewID(), Spec: "PC-W", Of: quality.WeldLeg, Job: job})
		if err != nil {
			t.Fatal(err)
		}
		drawn, rest := s.samples(s.read(number))
		if err := s.DB.HangParts(ctx, a, rack.ID, []uuid.UUID{rest[0].PartID}); err == nil || !strings.Contains(err.Error(), number) {
			t.Errorf("hung before the lot is measured: %v", err)
		}
		for _, p := range drawn {
			if s.read(number).State == quality.LotOpen {
				look(p.PartID, leg)
			}
		}
		switch l := s.read(number); {
		case leg == "4.2" && l.State != quality.LotAccepted, leg == "3.9" && (l.State != quality.LotRejected || s.status(rest[0].PartID) != store.StatusOnHold):
			t.Errorf("legs of %s mm: %+v, the rest is %s", leg, l, s.status(rest[0].PartID))
		}
		if err := s.DB.HangParts(ctx, a, rack.ID, []uuid.UUID{rest[0].PartID}); (err == nil) != (leg == "4.2") {
			t.Errorf("hung with legs of %s mm: %v", leg, err)
		}
	}
	s.rebuilt()
}
