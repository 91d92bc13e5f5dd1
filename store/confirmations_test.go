package store_test

import (
	"strings"
	"testing"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

// windowTyped is a cure run at 176 °C, under the powder's window from 180 °C, with a window of its own.
func windowTyped(s *storetest.Shop, load uuid.UUID, source string) store.Entry {
	at := func(code, text string, unit quality.Unit, spot int) quality.Reading {
		return s.Reading(code, "", spot, text, unit)
	}
	check := quality.Check{Readings: []quality.Reading{s.Reading("metal_peak", "middle", 1, "196", quality.Celsius), s.Reading("metal_time", "middle", 1, "9", quality.Minute),
		at(quality.WindowMetal, "180", quality.Celsius, 1), at(quality.WindowLeast, "10", quality.Minute, 1),
		at(quality.WindowMetal, "200", quality.Celsius, 2), at(quality.WindowLeast, "8", quality.Minute, 2)}}
	if source != "" {
		check.Ratings = []quality.Rating{{Characteristic: quality.RatingWindowSource, Code: source}}
	}
	return store.Entry{RecordID: store.NewID(), Kind: quality.Cure, Subject: store.Subject{Kind: quality.OnLoad, ID: load}, Check: check, Uses: []store.Use{{Role: "oven", ID: s.Oven.ID}}}
}

// loaded brings one part onto a load that is not cured yet.
func loaded(t *testing.T, s *storetest.Shop) (part, load uuid.UUID) {
	t.Helper()
	part, load = s.Parts(1)[0], store.NewID()
	s.Weld(part, quality.NoneFound)
	rack := s.Wash([]uuid.UUID{part}, "4.6", 0)
	if _, err := s.DB.OpenLoad(t.Context(), s.Everyone, load, s.Oven.ID); err != nil {
		t.Fatal(err)
	}
	if err := s.DB.AddRack(t.Context(), s.Everyone, load, rack); err != nil {
		t.Fatal(err)
	}
	return part, load
}

func TestTypedCureWindowWaitsForASecondPerson(t *testing.T) {
	s := storetest.NewShop(t)
	ctx := t.Context()
	second := s.AddPerson("Idun Bakke", "idun", store.Supervisor)
	reader := s.AddPerson("Pal Strand", "pal", store.Inspector)
	part, load := loaded(t, s)
	_, err := save(t, s, windowTyped(s, load, ""))
	refusedBy(t, err, store.RuleWindow)
	e := windowTyped(s, load, "maker's letter of 3 November")
	saved, err := save(t, s, e)
	// 9 minutes at 190 °C: the powder asks for 10.67, the typed window for 9.
	if err != nil || saved.Judgement.Verdict != quality.Pass {
		t.Fatalf("%+v, %v", saved, err)
	}
	item := gateItem(t, s, part, quality.Cure)
	if item.State != quality.Missing || !item.Pending || !strings.Contains(item.Sentence, "Maren Holt typed a cure window") || !strings.Contains(item.Sentence, "8 min at 200 °C") {
		t.Fatalf("the gate says %+v", item)
	}
	waiting, err := s.DB.WaitingRecords(ctx, s.Site.ID)
	if err != nil || len(waiting) != 1 || waiting[0].RecordID != e.RecordID || !strings.HasPrefix(waiting[0].Subject, "load ") {
		t.Fatalf("what waits: %+v, %v", waiting, err)
	}
	// The work goes on, the part does not get out.
	s.Save(quality.CureTest, quality.OnLoad, load, quality.Check{Readings: []quality.Reading{s.Reading("rubs", "", 0, "50", quality.DoubleRubs)},
		Ratings: []quality.Rating{{Characteristic: quality.RatingRub, Code: "4"}}})
	s.Verify(0)
	s.Finish(part)
	s.Film(part, "82", "68", "75", "93", "86")
	refusedBy(t, s.DB.Release(ctx, s.Everyone, []uuid.UUID{part}, s.Proof(s.Everyone)), store.RuleGateClosed)

	refusedBy(t, s.DB.Confirm(ctx, s.Everyone, e.RecordID, true, "", s.Proof(s.Everyone)), store.RuleNoRight)
	refusedBy(t, s.DB.Confirm(ctx, reader, e.RecordID, true, "", s.Proof(reader)), store.RuleNoRight)
	refusedBy(t, s.DB.Confirm(ctx, second, e.RecordID, false, "", s.Proof(second)), "confirmation_reason_given")
	if err := s.DB.Confirm(ctx, second, e.RecordID, true, "", s.Proof(second)); err != nil {
		t.Fatal(err)
	}
	if item := gateItem(t, s, part, quality.Cure); item.State != quality.Met {
		t.Errorf("after the confirmation the gate says %+v", item)
	}
	refusedBy(t, s.DB.Confirm(ctx, second, e.RecordID, true, "", s.Proof(second)), store.RuleChanged)
	record, err := s.DB.RecordByID(ctx, s.Site.ID, e.RecordID)
	if err != nil || record.Person != "Maren Holt" || record.Critical.By != "Idun Bakke" || record.Critical.Outcome != "confirmed" {
		t.Errorf("both names do not stand on the record: %+v, %v", record.Critical, err)
	}
	if err := s.DB.Release(ctx, s.Everyone, []uuid.UUID{part}, s.Proof(s.Everyone)); err != nil {
		t.Errorf("released after the confirmation: %v", err)
	}
	if changed, err := s.DB.Rebuild(ctx, s.Site.ID); err != nil || changed != 0 {
		t.Errorf("rebuilding changed %d parts, %v", changed, err)
	}
}

func TestDeclinedValueNeverCountsAndACorrectionWaitsAnew(t *testing.T) {
	s := storetest.NewShop(t)
	ctx := t.Context()
	second := s.AddPerson("Idun Bakke", "idun", store.Engineer)
	part, load := loaded(t, s)
	e := windowTyped(s, load, "maker's letter of 3 November")
	if _, err := save(t, s, e); err != nil {
		t.Fatal(err)
	}
	if err := s.DB.Confirm(ctx, second, e.RecordID, false, "The letter is about another powder.", s.Proof(second)); err != nil {
		t.Fatal(err)
	}
	if item := gateItem(t, s, part, quality.Cure); item.State != quality.Missing || !strings.Contains(item.Sentence, "Idun Bakke declined it: The letter is about another powder.") {
		t.Errorf("the gate says %+v", item)
	}
	if waiting, err := s.DB.WaitingRecords(ctx, s.Site.ID); err != nil || len(waiting) != 0 {
		t.Errorf("what is declined waits on: %+v, %v", waiting, err)
	}
	corrected := windowTyped(s, load, "maker's letter of 5 November")
	if _, err := s.DB.Correct(ctx, s.Everyone, corrected, store.Correction{Of: e.RecordID, Code: "late_information", Text: "The right letter was found."}, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	if item := gateItem(t, s, part, quality.Cure); item.State != quality.Missing || !strings.Contains(item.Sentence, "5 November") {
		t.Errorf("after the correction the gate says %+v", item)
	}
	refusedBy(t, s.DB.Confirm(ctx, second, e.RecordID, true, "", s.Proof(second)), store.RuleChanged)
	if err := s.DB.Confirm(ctx, second, corrected.RecordID, true, "", s.Proof(second)); err != nil {
		t.Fatal(err)
	}
	if item := gateItem(t, s, part, quality.Cure); item.State != quality.Met {
		t.Errorf("after the second confirmation the gate says %+v", item)
	}
}

func TestExceptionAllowedByItsOwnAuthorWaitsAndOneBySomebodyElseDoesNot(t *testing.T) {
	s := storetest.NewShop(t)
	second := s.AddPerson("Idun Bakke", "idun", store.Supervisor)
	s.Verify(0)
	for _, c := range []struct {
		by   store.Actor
		want bool
	}{{s.Everyone, true}, {second, false}} {
		part := s.Parts(1)[0]
		e := filmEntry(s, part)
		e.Overrides = []store.Override{{Rule: store.RuleStepMissing, Reason: "Trial part, customer agreed", By: c.by.Person, PIN: storetest.PIN}}
		if _, err := save(t, s, e); err != nil {
			t.Fatal(err)
		}
		item := gateItem(t, s, part, quality.Film)
		if item.Pending != c.want || c.want && !strings.Contains(item.Sentence, "allowed an exception for an entry of their own") {
			t.Errorf("allowed by %s: %+v", c.by.Name, item)
		}
	}
}
