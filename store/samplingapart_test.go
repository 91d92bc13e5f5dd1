package store_test

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

// A sheenShop is a shop with a spec of its own whose finish check asks for gloss (70 ± 7) and adhesion (ISO 2409, class 1 or
// better), each sampled apart from what the eye finds. With a cure run in the spec parts come out of an oven load; without
// one they are ready as soon as they are received.
type sheenShop struct {
	*sampledShop
}

type rules = map[quality.Sampled]quality.SampleRule

var (
	twoOfALoad = quality.SampleRule{By: quality.SampleLoad, Number: 2}
	oneOfALoad = quality.SampleRule{By: quality.SampleLoad, Number: 1}
)

func newSheenShop(t *testing.T, baked bool, sampled rules) *sheenShop {
	t.Helper()
	s := &sheenShop{&sampledShop{Shop: storetest.NewShop(t), t: t}}
	ctx, a := t.Context(), s.Everyone
	body := quality.FinishSpec{Version: quality.SpecVersion, MaxCycles: 2, Sampling: sampled,
		Finish: &quality.FinishCheckSpec{Gloss: &quality.GlossSpec{GeometryDeg: 60, Nominal: 70, Tolerance: 7}, Adhesion: &quality.AdhesionSpec{Method: "ISO2409", Worst: "1"}}}
	if baked {
		body.Coating, body.Cure = &quality.CoatingSpec{Humidity: quality.Between(30, 70, quality.Percent)}, &quality.CureSpec{ScheduleC: 190, Channels: 1}
	}
	var err error
	if s.spec, err = s.DB.AddSpec(ctx, a, "PC-G", "Sheen", "A", body); err == nil {
		err = s.DB.ApproveSpec(ctx, a, s.spec.ID, s.Proof(a))
	}
	if err == nil {
		s.number, err = s.DB.AddPartNumber(ctx, a, store.PartNumber{Code: "SH-1", Name: "Cover", SpecID: s.spec.SpecID, Alloy: "6060 T66", BaseForm: "sheet", WallMM: 3, Sketch: "panel"})
	}
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// bake brings n new parts on two racks through one oven load, and returns the racks and the load.
func (s *sheenShop) bake(n int) (parts, racks []uuid.UUID, load store.OvenLoad) {
	s.t.Helper()
	ctx, a := s.t.Context(), s.Everyone
	_, parts = s.job(n)
	load, err := s.DB.OpenLoad(ctx, a, store.NewID(), s.Oven.ID)
	for i, some := range [][]uuid.UUID{parts[:n/2], parts[n/2:]} {
		rack := store.NewID()
		if err == nil {
			_, err = s.DB.HangRack(ctx, a, rack, fmt.Sprintf("G%d%s", i, strings.ToUpper(rack.String()[29:34])))
		}
		if err == nil {
			err = s.DB.HangParts(ctx, a, rack, some)
		}
		if err == nil {
			s.Save(quality.Coating, quality.OnRack, rack, quality.Check{Readings: []quality.Reading{s.Reading("humidity", "", 0, "48", quality.Percent)}},
				store.Use{Role: "powder", ID: s.Lot.ID}, store.Use{Role: "booth", ID: s.Booths[0].ID})
			err = s.DB.AddRack(ctx, a, load.ID, rack)
		}
		racks = append(racks, rack)
	}
	if err != nil {
		s.t.Fatal(err)
	}
	s.Save(quality.Cure, quality.OnLoad, load.ID, quality.Check{Readings: []quality.Reading{s.Reading("metal_peak", "middle", 1, "196", quality.Celsius),
		s.Reading("metal_time", "middle", 1, "14", quality.Minute)}}, store.Use{Role: "oven", ID: s.Oven.ID})
	return parts, racks, load
}

// look is a finish check: a defect or none, with gloss and an adhesion class where they are given.
func (s *sheenShop) look(gloss, class string, defects ...string) quality.Check {
	s.t.Helper()
	check := quality.Check{Defects: []quality.Defect{{Code: quality.NoneFound}}}
	for i, code := range defects {
		check.Defects = append(check.Defects[:i], quality.Defect{Code: code, Place: "face", Count: 1})
	}
	if gloss != "" {
		check.Readings = append(check.Readings, s.Reading("gloss", "", 0, gloss, quality.GlossUnit))
	}
	if class != "" {
		check.Ratings = append(check.Ratings, quality.Rating{Characteristic: quality.RatingAdhesion, Code: class})
	}
	return check
}

func (s *sheenShop) saveLook(part uuid.UUID, gloss, class string, defects ...string) store.Saved {
	s.t.Helper()
	return s.Save(quality.Finish, quality.OnPart, part, s.look(gloss, class, defects...))
}

// lotFor returns the one lot for what is sampled.
func (s *sheenShop) lotFor(what quality.Sampled) store.InspectionLot {
	s.t.Helper()
	lots, err := s.DB.InspectionLots(s.t.Context(), s.Site.ID, 100)
	if err != nil {
		s.t.Fatal(err)
	}
	lots = slices.DeleteFunc(lots, func(l store.InspectionLot) bool { return l.Of != what })
	if len(lots) != 1 {
		s.t.Fatalf("%d lots for %s, want one", len(lots), what)
	}
	return lots[0]
}

func (s *sheenShop) item(part uuid.UUID, what quality.Sampled) quality.Item {
	s.t.Helper()
	items, _, err := s.DB.GateOf(s.t.Context(), s.Site.ID, part)
	if err != nil {
		s.t.Fatal(err)
	}
	for _, item := range items {
		if item.Sampled() == what {
			return item
		}
	}
	s.t.Fatalf("the gate has nothing for %s: %+v", what, items)
	return quality.Item{}
}

// latest is the last record on a part.
func (s *sheenShop) latest(part uuid.UUID) uuid.UUID {
	s.t.Helper()
	records, err := s.DB.RecordsOn(s.t.Context(), s.Site.ID, store.Subject{Kind: quality.OnPart, ID: part})
	if err != nil || len(records) == 0 {
		s.t.Fatalf("%d records, %v", len(records), err)
	}
	return slices.MaxFunc(records, func(a, b store.Header) int {
		return cmp.Or(a.ObservedAt.Compare(b.ObservedAt), strings.Compare(a.ID.String(), b.ID.String()))
	}).ID
}

func (s *sheenShop) correct(part uuid.UUID, check quality.Check) (store.Saved, error) {
	s.t.Helper()
	return s.DB.Correct(s.t.Context(), s.Everyone, store.Entry{RecordID: store.NewID(), Kind: quality.Finish, Subject: store.Subject{Kind: quality.OnPart, ID: part}, Check: check},
		store.Correction{Of: s.latest(part), Code: "typing_error", Text: "Read off the wrong line."}, s.Proof(s.Everyone))
}

func idsIn(parts []store.LotPart) []uuid.UUID {
	ids := make([]uuid.UUID, len(parts))
	for i, p := range parts {
		ids[i] = p.PartID
	}
	return ids
}

func TestGlossAndAdhesionOfALoadAreAskedOnlyOfTheirOwnSamples(t *testing.T) {
	s := newSheenShop(t, true, rules{quality.FinishGloss: twoOfALoad, quality.FinishAdhesion: oneOfALoad})
	ctx := t.Context()
	parts, racks, load := s.bake(10)
	glossy, gripped := s.lotFor(quality.FinishGloss), s.lotFor(quality.FinishAdhesion)
	if glossy.Size != 10 || glossy.Sample != 2 || gripped.Sample != 1 || glossy.Source != load.Number || glossy.Accept != 0 {
		t.Fatalf("lots %+v, %+v", glossy, gripped)
	}
	sheen, _ := s.samples(glossy)
	grip, _ := s.samples(gripped)
	inSheen, inGrip := idsIn(sheen), idsIn(grip)
	if item := s.item(inSheen[0], quality.FinishGloss); !strings.Contains(item.Sentence, "one of the 2 samples of oven load "+load.Number+", lot "+glossy.Number) {
		t.Errorf("a sample is told: %q", item.Sentence)
	}
	var free []uuid.UUID
	for _, p := range parts {
		if !slices.Contains(inSheen, p) && !slices.Contains(inGrip, p) {
			free = append(free, p)
		}
	}
	form, err := s.DB.Form(ctx, s.Everyone, quality.Finish, store.Subject{Kind: quality.OnPart, ID: free[0]})
	if err != nil || len(form.Circumstance.Sampled) != 2 || form.Circumstance.Sampled[0].Due() || form.Circumstance.Sampled[1].Due() {
		t.Errorf("the form of a part that is no sample: %+v, %v", form.Circumstance.Sampled, err)
	}
	for _, p := range free {
		if saved := s.saveLook(p, "", ""); saved.Judgement.Verdict != quality.Pass {
			t.Fatalf("a finish check of a part that is no sample: %+v", saved.Judgement)
		}
	}
	if item := s.item(free[0], quality.FinishGloss); item.State != quality.Missing || !item.Waits || item.Lot != glossy.Number {
		t.Errorf("its gloss waits for the sample: %+v", item)
	}
	if err := s.DB.Release(ctx, s.Everyone, free[:1], s.Proof(s.Everyone)); ruleOf(err) != store.RuleGateClosed || !strings.Contains(err.Error(), glossy.Number) {
		t.Errorf("released before its samples are checked: %v", err)
	}
	both := slices.Contains(inSheen, inGrip[0])
	if saved := s.saveLook(inSheen[0], "", ""); saved.Judgement.Verdict != quality.Incomplete || !strings.Contains(saved.Judgement.Sentence(), "Gloss is missing") {
		t.Errorf("a sample without its gloss: %+v", saved.Judgement)
	}
	if due, err := s.DB.SampledAmong(ctx, s.Site.ID, inSheen[:1]); err != nil || len(due[inSheen[0]]) < 1 || due[inSheen[0]][0].Of != quality.FinishGloss {
		t.Errorf("what is due on it: %+v, %v", due, err)
	}
	for _, p := range inSheen {
		class := ""
		if slices.Contains(inGrip, p) {
			class = "0"
		}
		if saved := s.saveLook(p, "71", class); saved.Judgement.Verdict != quality.Pass {
			t.Fatalf("a sample: %+v", saved.Judgement)
		}
	}
	if l := s.read(glossy.Number); l.State != quality.LotAccepted || l.Checked != 2 {
		t.Errorf("the gloss of the load: %+v", l)
	}
	if !both {
		s.saveLook(inGrip[0], "", "1")
	}
	if l := s.read(gripped.Number); l.State != quality.LotAccepted {
		t.Errorf("the adhesion of the load: %+v", l)
	}
	if err := s.DB.Release(ctx, s.Everyone, parts, s.Proof(s.Everyone)); err != nil {
		t.Errorf("all parts of the accepted load: %v", err)
	}
	for _, on := range []store.Subject{{Kind: quality.OnLoad, ID: load.ID}, {Kind: quality.OnRack, ID: racks[0]}} {
		if samples, err := s.DB.SamplesOn(ctx, s.Site.ID, on); err != nil || len(samples) != 3 || samples[0].Verdict != quality.Pass {
			t.Errorf("samples of the %s: %+v, %v", on.Kind, samples, err)
		}
	}
	s.rebuilt()
}

func TestPartWithoutADrawMayBeMeasuredAllTheSameAndIsJudged(t *testing.T) {
	s := newSheenShop(t, true, rules{quality.FinishGloss: twoOfALoad, quality.FinishAdhesion: oneOfALoad})
	s.bake(10)
	l := s.lotFor(quality.FinishGloss)
	_, rest := s.samples(l)
	grip, _ := s.samples(s.lotFor(quality.FinishAdhesion))
	rest = slices.DeleteFunc(rest, func(p store.LotPart) bool { return p.PartID == grip[0].PartID })
	good, bad := rest[0].PartID, rest[1].PartID
	s.saveLook(good, "75", "")
	if item := s.item(good, quality.FinishGloss); item.State != quality.Met || item.Lot != "" || item.RecordID == "" {
		t.Errorf("its own gloss counts: %+v", item)
	}
	if saved := s.saveLook(bad, "50", ""); saved.Judgement.Verdict != quality.Fail || saved.HoldNumber == "" || len(saved.Lots) != 0 {
		t.Errorf("its own gloss fails: %+v", saved)
	}
	if got := s.read(l.Number); got.State != quality.LotOpen || got.Checked != 0 {
		t.Errorf("a part that was not drawn decided the lot: %+v", got)
	}
	// The reading was another part's: taken away, nothing is missed on a part that is no sample.
	saved, err := s.correct(good, s.look("", ""))
	if err != nil || saved.Judgement.Verdict != quality.Pass {
		t.Errorf("the reading taken away: %+v, %v", saved.Judgement, err)
	}
	if item := s.item(good, quality.FinishGloss); item.Lot != l.Number || !item.Waits {
		t.Errorf("without its own gloss it stands on the lot: %+v", item)
	}
	s.rebuilt()
}

func TestFailedGlossHoldsWhatItStandsForAndAPinholeDoesNot(t *testing.T) {
	s := newSheenShop(t, true, rules{quality.FinishGloss: twoOfALoad})
	ctx := t.Context()
	parts, _, _ := s.bake(8)
	l := s.lotFor(quality.FinishGloss)
	drawn, rest := s.samples(l)
	for _, p := range rest {
		s.saveLook(p.PartID, "", "0")
	}
	if saved := s.saveLook(drawn[0].PartID, "70", "0", "pinhole"); saved.HoldNumber == "" || len(saved.Lots) != 0 {
		t.Errorf("a pinhole on a sample with good gloss: %+v", saved)
	}
	if got := s.read(l.Number); got.State != quality.LotOpen || got.Checked != 1 || got.Failed != 0 {
		t.Errorf("its gloss is counted as good: %+v", got)
	}
	saved := s.saveLook(drawn[1].PartID, "62.9", "0")
	l = s.read(l.Number)
	if l.State != quality.LotRejected || l.Hold == "" || len(saved.Lots) != 1 || !strings.Contains(saved.Lots[0], l.Hold) {
		t.Fatalf("a gloss under 63: %+v, %v", l, saved.Lots)
	}
	hold, err := s.DB.HoldByNumber(ctx, s.Site.ID, l.Hold)
	if err != nil || hold.Parts != len(rest) || !strings.HasPrefix(hold.Cause, "Rejected sample: lot "+l.Number+", gloss of the finish check") {
		t.Errorf("the hold of the load: %+v, %v", hold, err)
	}
	for _, p := range rest {
		if got := s.status(p.PartID); got != store.StatusOnHold {
			t.Errorf("part %s of the load is %s", p.Serial, got)
		}
	}
	lift := func(p uuid.UUID) error {
		return s.DB.Decide(ctx, s.Everyone, hold.ID, store.Decision{Parts: []uuid.UUID{p}, Code: "no_defect", Reason: "Measured itself, and good."}, s.Proof(s.Everyone))
	}
	screened := rest[0].PartID
	if err := lift(screened); ruleOf(err) != store.RuleInvalid || !strings.Contains(err.Error(), "no gloss of the finish check of its own that passed") {
		t.Errorf("lifted without its own gloss: %v", err)
	}
	// A held part may be screened, and gloss is asked of it now.
	if saved := s.saveLook(screened, "", "0"); saved.Judgement.Verdict != quality.Incomplete {
		t.Errorf("screened without gloss: %+v", saved.Judgement)
	}
	s.saveLook(screened, "69", "0")
	if err := lift(screened); err != nil || s.status(screened) != store.StatusAccepted {
		t.Errorf("screened: %v, %s", err, s.status(screened))
	}
	if err := s.DB.Decide(ctx, s.Everyone, hold.ID, store.Decision{Parts: []uuid.UUID{rest[1].PartID}, Code: "concession", Reason: "Customer takes the sheen.", ConcessionRef: "CR-9", ConcessionQuantity: len(parts)},
		s.Proof(s.Everyone)); err != nil || s.item(rest[1].PartID, quality.FinishGloss).State != quality.Waived {
		t.Errorf("under concession: %v, %+v", err, s.item(rest[1].PartID, quality.FinishGloss))
	}
	s.rebuilt()
}
