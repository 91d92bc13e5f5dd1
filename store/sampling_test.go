package store_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

// A sampledShop is a shop with a spec of its own that asks for film thickness on a sample and for nothing else, so that parts
// are ready as soon as they are received.
type sampledShop struct {
	*storetest.Shop
	t      *testing.T
	spec   store.SpecRevision
	number store.PartNumber
	jobs   int
	serial int
}

var (
	good = []string{"82", "68", "75", "93", "86"}
	bad  = []string{"85", "67", "71", "64", "44"}
)

func newSampledShop(t *testing.T, rule quality.SampleRule) *sampledShop {
	t.Helper()
	s := sampleIn(t, storetest.NewShop(t), rule)
	s.Verify(0)
	return s
}

// sampleIn puts the sampled spec and its part number into a shop.
func sampleIn(t *testing.T, shop *storetest.Shop, rule quality.SampleRule) *sampledShop {
	t.Helper()
	s := &sampledShop{Shop: shop, t: t}
	ctx, a := t.Context(), s.Everyone
	body := quality.FinishSpec{Version: quality.SpecVersion, MaxCycles: 2,
		Film:     &quality.FilmSpec{Limits: quality.Between(60, 120, quality.Micrometre), Rule: quality.Areas80, Spots: 5, ReadingsPerSpot: 1},
		Sampling: map[quality.Sampled]quality.SampleRule{quality.Sampled(quality.Film): rule}}
	var err error
	if s.spec, err = s.DB.AddSpec(ctx, a, "PC-S", "Sampled", "A", body); err != nil {
		t.Fatal(err)
	}
	if err := s.DB.ApproveSpec(ctx, a, s.spec.ID, s.Proof(a)); err != nil {
		t.Fatal(err)
	}
	if s.number, err = s.DB.AddPartNumber(ctx, a, store.PartNumber{Code: "BR-7", Name: "Bracket", SpecID: s.spec.SpecID, Alloy: "6060 T66", BaseForm: "extrusion", WallMM: 3, Sketch: "bracket"}); err != nil {
		t.Fatal(err)
	}
	return s
}

// sampleADay adds two lots with their samples, one swapped, to the book of a shop.
func sampleADay(t *testing.T, shop *storetest.Shop) {
	t.Helper()
	s := sampleIn(t, shop, byCoatingTable)
	for range 2 {
		job, _ := s.job(12)
		l := s.lot(job)
		drawn, _ := s.samples(l)
		if _, err := s.DB.SwapSample(t.Context(), s.Everyone, l.ID, drawn[0].Serial, "=Hangs \"high\", out of reach"); err != nil {
			t.Fatal(err)
		}
	}
}

// job receives n parts in a job of their own and returns its number and their ids.
func (s *sampledShop) job(n int) (string, []uuid.UUID) {
	s.t.Helper()
	s.jobs++
	job, err := s.DB.AddJob(s.t.Context(), s.Everyone, store.Job{Number: fmt.Sprintf("S-%d", s.jobs), Customer: "Halden"})
	if err != nil {
		s.t.Fatal(err)
	}
	var all []uuid.UUID
	for n > 0 {
		serials := make([]string, min(n, 500))
		for i := range serials {
			s.serial++
			serials[i] = fmt.Sprintf("BR-%05d", s.serial)
		}
		ids, err := s.DB.AddParts(s.t.Context(), s.Everyone, job.ID, s.number.ID, serials)
		if err != nil {
			s.t.Fatal(err)
		}
		all, n = append(all, ids...), n-len(serials)
	}
	return job.Number, all
}

// lot makes a lot of a job's parts.
func (s *sampledShop) lot(job string) store.InspectionLot {
	s.t.Helper()
	number, err := s.DB.MakeLot(s.t.Context(), s.Everyone, store.LotOffer{ID: store.NewID(), Spec: "PC-S", Of: quality.Sampled(quality.Film), Job: job})
	if err != nil {
		s.t.Fatal(err)
	}
	return s.read(number)
}

func (s *sampledShop) read(number string) store.InspectionLot {
	s.t.Helper()
	l, err := s.DB.InspectionLotByNumber(s.t.Context(), s.Site.ID, number)
	if err != nil {
		s.t.Fatal(err)
	}
	return l
}

// samples returns the sample of a lot in its order, and the parts that were not drawn.
func (s *sampledShop) samples(l store.InspectionLot) (drawn, rest []store.LotPart) {
	s.t.Helper()
	parts, err := s.DB.LotParts(s.t.Context(), s.Site.ID, l.ID)
	if err != nil {
		s.t.Fatal(err)
	}
	for _, p := range parts {
		if p.Seq > 0 {
			drawn = append(drawn, p)
		} else {
			rest = append(rest, p)
		}
	}
	slices.SortFunc(drawn, func(a, b store.LotPart) int { return a.Seq - b.Seq })
	return drawn, rest
}

// decide makes a lot of size parts and checks its sample, the first failing ones bad.
func (s *sampledShop) decide(size, failing int) store.InspectionLot {
	s.t.Helper()
	job, _ := s.job(size)
	l := s.lot(job)
	drawn, _ := s.samples(l)
	for i, p := range drawn {
		readings := good
		if i < failing {
			readings = bad
		}
		s.Film(p.PartID, readings...)
		if s.read(l.Number).State == quality.LotRejected {
			break
		}
	}
	return s.read(l.Number)
}

func (s *sampledShop) status(part uuid.UUID) string {
	s.t.Helper()
	rows, err := s.DB.PartsOf(s.t.Context(), s.Site.ID, store.Subject{Kind: quality.OnPart, ID: part})
	if err != nil || len(rows) != 1 {
		s.t.Fatalf("%d parts, %v", len(rows), err)
	}
	return rows[0].Status
}

func (s *sampledShop) rebuilt() {
	s.t.Helper()
	if n, err := s.DB.Rebuild(s.t.Context(), s.Site.ID); err != nil || n != 0 {
		s.t.Errorf("%d rows were not what the records say, %v", n, err)
	}
}

var byCoatingTable = quality.SampleRule{By: quality.SampleLot, Plan: quality.PlanCoating}

// Lot sizes and numbers: the lot table of the Qualideco specification (seen).
func TestLotKeepsItsPlanAndIsNotAcceptedOnFewerSamples(t *testing.T) {
	s := newSampledShop(t, byCoatingTable)
	for _, want := range []struct{ size, sample, accept int }{{10, 10, 0}, {200, 10, 1}, {201, 15, 1}, {501, 30, 3}} {
		job, _ := s.job(want.size)
		l := s.lot(job)
		if l.Size != want.size || l.Sample != want.sample || l.Accept != want.accept || l.Reject != want.accept+1 || l.Plan != "coating" || len(l.Seed) != 32 {
			t.Errorf("a lot of %d has %+v", want.size, l)
		}
		drawn, rest := s.samples(l)
		if len(drawn) != want.sample || len(rest) != want.size-want.sample {
			t.Errorf("a lot of %d: %d drawn, %d not", want.size, len(drawn), len(rest))
		}
		last := drawn[len(drawn)-1]
		for i, p := range drawn[:len(drawn)-1] {
			readings := good
			if i < want.accept {
				readings = bad // as many as the plan allows
			}
			s.Film(p.PartID, readings...)
		}
		stands := last
		if len(rest) > 0 {
			stands = rest[0]
		}
		err := s.DB.Release(t.Context(), s.Everyone, []uuid.UUID{stands.PartID}, s.Proof(s.Everyone))
		if ruleOf(err) != store.RuleGateClosed || s.read(l.Number).State != quality.LotOpen {
			t.Errorf("a lot of %d, one sample short, is %s: %v", want.size, s.read(l.Number).State, err)
		}
		saved := s.Film(last.PartID, good...)
		if l = s.read(l.Number); l.State != quality.LotAccepted || len(saved.Lots) != 1 || l.Checked != want.sample || l.Failed != want.accept {
			t.Errorf("a lot of %d with its whole sample is %+v: %v", want.size, l, saved.Lots)
		}
		if err := s.DB.Release(t.Context(), s.Everyone, []uuid.UUID{stands.PartID}, s.Proof(s.Everyone)); err != nil {
			t.Errorf("a part of the accepted lot of %d: %v", want.size, err)
		}
	}
	s.rebuilt()
}

func TestUnsampledPartNeedsNoCheckAndStandsOnItsLot(t *testing.T) {
	s := newSampledShop(t, byCoatingTable)
	job, parts := s.job(20)
	due := func() []store.PartRow {
		t.Helper()
		rows, err := s.DB.PartsDue(t.Context(), s.Site.ID, []quality.Kind{quality.Film}, 100)
		if err != nil {
			t.Fatal(err)
		}
		return rows
	}
	if n := len(due()); n != 0 {
		t.Errorf("%d parts are due before there is a lot", n)
	}
	waiting, err := s.DB.WaitingForLots(t.Context(), s.Site.ID)
	if err != nil || len(waiting) != 1 || waiting[0] != (store.LotWaiting{Spec: "PC-S", Of: quality.Sampled(quality.Film), Job: job, Parts: 20}) {
		t.Fatalf("waiting: %+v, %v", waiting, err)
	}
	l := s.lot(job)
	drawn, rest := s.samples(l)
	if n := len(due()); n != 10 {
		t.Errorf("%d parts are due, want the 10 drawn", n)
	}
	for _, p := range drawn {
		s.Film(p.PartID, good...)
	}
	items, _, err := s.DB.GateOf(t.Context(), s.Site.ID, rest[0].PartID)
	if err != nil || items[0].State != quality.Met || items[0].Lot != l.Number || items[0].RecordID != "" || !strings.Contains(items[0].Sentence, "Stands on lot "+l.Number+", accepted") {
		t.Errorf("the gate of an unsampled part: %+v, %v", items, err)
	}
	for _, p := range parts {
		if got := s.status(p); got != store.StatusAccepted {
			t.Errorf("a part of the accepted lot is %s", got)
		}
	}
	s.rebuilt()
}

func TestRejectedLotHoldsWhatItStoodForUntilItIsScreened(t *testing.T) {
	s := newSampledShop(t, byCoatingTable)
	ctx := t.Context()
	job, _ := s.job(14)
	l := s.lot(job)
	drawn, rest := s.samples(l)
	s.Film(drawn[0].PartID, good...)
	s.Film(drawn[1].PartID, bad...)
	saved := s.Film(drawn[2].PartID, bad...)
	if l = s.read(l.Number); l.State != quality.LotRejected || l.Hold == "" || len(saved.Lots) != 1 || !strings.Contains(saved.Lots[0], l.Hold) {
		t.Fatalf("two failed, one allowed: %+v, %v", l, saved.Lots)
	}
	hold, err := s.DB.HoldByNumber(ctx, s.Site.ID, l.Hold)
	if err != nil || !strings.HasPrefix(hold.Cause, "Rejected sample: lot "+l.Number) || hold.Parts != 11 {
		t.Errorf("hold %+v, %v; want the 4 unsampled and the 7 samples without a record", hold, err)
	}
	if got := s.status(drawn[0].PartID); got != store.StatusAccepted {
		t.Errorf("the sample that passed is %s", got)
	}
	lift := func(part uuid.UUID) error {
		return s.DB.Decide(ctx, s.Everyone, hold.ID, store.Decision{Parts: []uuid.UUID{part}, Code: "no_defect", Reason: "Checked itself, and good."}, s.Proof(s.Everyone))
	}
	if err := lift(rest[0].PartID); ruleOf(err) != store.RuleInvalid {
		t.Errorf("a part that nobody checked leaves the hold: %v", err)
	}
	s.Film(rest[0].PartID, good...)
	if err := lift(rest[0].PartID); err != nil || s.status(rest[0].PartID) != store.StatusAccepted {
		t.Errorf("a part that was screened: %v, %s", err, s.status(rest[0].PartID))
	}
	if err := s.DB.Decide(ctx, s.Everyone, hold.ID, store.Decision{Parts: []uuid.UUID{rest[1].PartID}, Code: "concession", Reason: "Customer agrees.", ConcessionRef: "CR-1", ConcessionQuantity: 3},
		s.Proof(s.Everyone)); err != nil || s.status(rest[1].PartID) != store.StatusUnderConcession {
		t.Errorf("a part under concession: %v, %s", err, s.status(rest[1].PartID))
	}
	if err := s.DB.Decide(ctx, s.Everyone, hold.ID, store.Decision{Parts: []uuid.UUID{rest[2].PartID}, Code: "rework", Reason: "Coated again at the edge."}, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	if items, _, _ := s.DB.GateOf(ctx, s.Site.ID, rest[2].PartID); items[0].Lot != "" || items[0].Waits {
		t.Errorf("a reworked part still rests on its old lot: %+v", items)
	}
	s.rebuilt()
}

func TestCorrectedSampleBringsAnotherVerdictAndVoidsReleases(t *testing.T) {
	s := newSampledShop(t, byCoatingTable)
	ctx := t.Context()
	job, _ := s.job(20)
	l := s.lot(job)
	drawn, rest := s.samples(l)
	for i, p := range drawn {
		readings := good
		if i == 0 {
			readings = bad
		}
		s.Film(p.PartID, readings...)
	}
	if err := s.DB.Release(ctx, s.Everyone, []uuid.UUID{rest[0].PartID}, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	record := func(part uuid.UUID) uuid.UUID {
		records, err := s.DB.RecordsOn(ctx, s.Site.ID, store.Subject{Kind: quality.OnPart, ID: part})
		if err != nil || len(records) == 0 {
			t.Fatal(err)
		}
		return records[0].ID
	}
	check := quality.Check{}
	for i, text := range bad {
		check.Readings = append(check.Readings, s.Reading("film_thickness", "", i+1, text, quality.Micrometre))
	}
	correction := store.Entry{RecordID: store.NewID(), Kind: quality.Film, Subject: store.Subject{Kind: quality.OnPart, ID: drawn[1].PartID}, Check: check, Uses: []store.Use{{Role: "gauge", ID: s.Gauge.ID}}}
	why := store.Correction{Of: record(drawn[1].PartID), Code: "typing_error", Text: "Two readings were swapped."}
	inspector := s.AddPerson("Ona Reyes", "ona", store.Inspector)
	saved, err := s.DB.Correct(ctx, s.Everyone, correction, why, s.Proof(s.Everyone))
	if err != nil {
		t.Fatal(err)
	}
	if l = s.read(l.Number); l.State != quality.LotRejected || len(saved.Lots) != 1 {
		t.Fatalf("a second failed sample: %+v, %v", l, saved.Lots)
	}
	for _, p := range rest {
		if got := s.status(p.PartID); got != store.StatusOnHold {
			t.Errorf("part %s of the lot that is rejected now is %s", p.Serial, got)
		}
	}
	s.rebuilt()
	// The same record voided: one sample short, and nothing is accepted on it.
	if _, err := s.DB.Void(ctx, inspector, store.NewID(), store.Correction{Of: correction.RecordID, Code: "other", Text: "Taken on the wrong face."}, s.Proof(inspector)); ruleOf(err) != store.RuleNoRight {
		t.Errorf("an inspector voids another's record: %v", err)
	}
	if _, err := s.DB.Void(ctx, s.Everyone, store.NewID(), store.Correction{Of: correction.RecordID, Code: "other", Text: "Taken on the wrong face."}, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	if l = s.read(l.Number); l.State != quality.LotOpen || l.Checked != 9 {
		t.Errorf("one sample short, the lot is %+v", l)
	}
	verdicts, err := s.DB.LotVerdicts(ctx, s.Site.ID, l.ID)
	if err != nil || len(verdicts) != 3 || verdicts[0].Verdict != quality.LotAccepted || verdicts[1].Verdict != quality.LotRejected || verdicts[2].Verdict != quality.LotOpen {
		t.Errorf("verdicts %+v, %v", verdicts, err)
	}
	s.rebuilt()
}

func TestTwoInspectorsOnTheLastSamplesGiveOneVerdict(t *testing.T) {
	s := newSampledShop(t, byCoatingTable)
	for range 4 {
		job, _ := s.job(30)
		l := s.lot(job)
		drawn, _ := s.samples(l)
		for _, p := range drawn[:8] {
			s.Film(p.PartID, good...)
		}
		check := func(texts []string) quality.Check {
			var c quality.Check
			for i, text := range texts {
				c.Readings = append(c.Readings, s.Reading("film_thickness", "", i+1, text, quality.Micrometre))
			}
			return c
		}
		errs := make([]error, 2)
		var wg sync.WaitGroup
		for i, readings := range []quality.Check{check(bad), check(bad)} {
			wg.Go(func() {
				_, errs[i] = s.DB.Save(t.Context(), s.Everyone, store.Entry{RecordID: store.NewID(), Kind: quality.Film, Subject: store.Subject{Kind: quality.OnPart, ID: drawn[8+i].PartID},
					Check: readings, Uses: []store.Use{{Role: "gauge", ID: s.Gauge.ID}}})
			})
		}
		wg.Wait()
		if err := errors.Join(errs...); err != nil {
			t.Fatal(err)
		}
		verdicts, err := s.DB.LotVerdicts(t.Context(), s.Site.ID, l.ID)
		if err != nil || len(verdicts) != 1 || verdicts[0].Verdict != quality.LotRejected || verdicts[0].Failed != 2 {
			t.Fatalf("verdicts %+v, %v", verdicts, err)
		}
	}
	s.rebuilt()
}
