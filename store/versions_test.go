package store_test

import (
	"testing"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

func TestEveryVersionOfARecordStaysReadableWithWhoWhenAndWhy(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	part := s.Ready(1, 0)[0]
	first, err := save(t, s, filmEntry(s, part, "28", "68", "75", "93", "86"))
	if err != nil {
		t.Fatal(err)
	}
	second, err := correct(t, s, first.RecordID, filmEntry(s, part, "82", "68", "75", "93", "86"))
	if err != nil {
		t.Fatal(err)
	}
	third, err := s.DB.Void(t.Context(), s.Everyone, store.NewID(), store.Correction{Of: second.RecordID, Code: "wrong_part", Text: "Measured on TH-0009."}, s.Proof(s.Everyone))
	if err != nil {
		t.Fatal(err)
	}
	for _, from := range []uuid.UUID{first.RecordID, second.RecordID, third.RecordID} {
		versions, err := s.DB.Versions(t.Context(), s.Site.ID, from)
		if err != nil || len(versions) != 3 {
			t.Fatalf("from %s: %d versions, %v", from, len(versions), err)
		}
		if v := versions[0]; v.ID != first.RecordID || v.Verdict != quality.Fail || v.ReasonCode != "" || v.SignedAt != nil {
			t.Errorf("the first entry reads %+v", v)
		}
		if v := versions[1]; v.ID != second.RecordID || v.Verdict != quality.Pass || v.Reason != "Read 28 for 82." || v.PrintedName != "Maren Holt" || v.Meaning != "corrected" || v.SignedAt == nil {
			t.Errorf("the correction reads %+v", v)
		}
		if v := versions[2]; v.ID != third.RecordID || v.Verdict != quality.Voided || v.ReasonCode != "wrong_part" {
			t.Errorf("the void reads %+v", v)
		}
	}
}

func TestOnlyTheAuthorCorrectsUntilRelease(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	part := s.Ready(1, 0)[0]
	s.Finish(part)
	author, other := s.AddPerson("Ona Reyes", "ona", store.Inspector), s.AddPerson("Ivo Lind", "ivo", store.Inspector)
	auditor := s.AddPerson("Una Moss", "una", store.Auditor)
	s.Now = s.Now.Add(time.Second)
	film, err := s.DB.Save(t.Context(), author, filmEntry(s, part))
	if err != nil {
		t.Fatal(err)
	}
	for _, who := range []struct {
		name  string
		actor store.Actor
		rule  string
	}{{"author", author, ""}, {"another inspector", other, store.RuleNoRight}, {"auditor", auditor, store.RuleNoRight}, {"supervisor", s.Everyone, ""}} {
		if got := ruleOf(s.DB.MayCorrect(t.Context(), who.actor, film.RecordID)); got != who.rule {
			t.Errorf("%s before the release: %q, want %q", who.name, got, who.rule)
		}
	}
	if _, err := s.DB.Void(t.Context(), other, store.NewID(), typingError(film.RecordID), s.Proof(other)); ruleOf(err) != store.RuleNoRight {
		t.Errorf("another inspector voids it: %v", err)
	}
	if err := s.DB.Release(t.Context(), s.Everyone, []uuid.UUID{part}, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	if got := ruleOf(s.DB.MayCorrect(t.Context(), author, film.RecordID)); got != store.RuleNoRight {
		t.Errorf("the author after the release: %q", got)
	}
	if err := s.DB.MayCorrect(t.Context(), s.Everyone, film.RecordID); err != nil {
		t.Errorf("a supervisor after the release: %v", err)
	}
	corrected, err := correct(t, s, film.RecordID, filmEntry(s, part, "82", "68", "75", "93", "85"))
	if err != nil {
		t.Fatal(err)
	}
	void, err := s.DB.VoidedReleases(t.Context(), s.Site.ID, corrected.RecordID)
	if err != nil || len(void) != 1 || void[0].Serial != "TH-0001" || void[0].PrintedName != "Maren Holt" {
		t.Errorf("the correction voided %+v, %v", void, err)
	}
	if released, err := s.DB.ReleasedOn(t.Context(), s.Site.ID, film.RecordID); err != nil || len(released) != 0 {
		t.Errorf("released on the old value: %v, %v", released, err)
	}
}

func TestCorrectionToARefusedLotNamesTheWayOut(t *testing.T) {
	s := storetest.NewShop(t)
	part := s.Parts(1)[0]
	s.Weld(part, quality.NoneFound)
	rack := s.Wash([]uuid.UUID{part}, "4.6", 0)
	runs, err := s.DB.RecordsOn(t.Context(), s.Site.ID, store.Subject{Kind: quality.OnRack, ID: rack})
	if err != nil {
		t.Fatal(err)
	}
	made, out := s.Now.AddDate(-2, 0, 0), s.Now.AddDate(0, 0, -1)
	old, err := s.DB.AddMaterialLot(t.Context(), s.Everyone, store.MaterialLot{MaterialID: s.Lot.MaterialID, LotNumber: "000099", MadeOn: &made, ReceivedOn: made, ExpiresOn: &out, Quantity: 20})
	if err != nil {
		t.Fatal(err)
	}
	for _, run := range runs {
		if run.Kind != quality.Coating {
			continue
		}
		record, err := s.DB.RecordByID(t.Context(), s.Site.ID, run.ID)
		if err != nil {
			t.Fatal(err)
		}
		e := store.Entry{RecordID: store.NewID(), Kind: quality.Coating, Subject: store.Subject{Kind: quality.OnRack, ID: rack}, Check: record.Check}
		if e.Uses, err = s.DB.UsesAsEntered(t.Context(), s.Site.ID, run.ID); err != nil {
			t.Fatal(err)
		}
		if use, err := s.DB.NameUse(t.Context(), s.Site.ID, "powder", " 000099 "); err != nil || use.ID != old.ID {
			t.Fatalf("the lot is found as %v, %v", use, err)
		}
		if _, err := s.DB.NameUse(t.Context(), s.Site.ID, "powder", "999999"); ruleOf(err) != store.RuleInvalid {
			t.Errorf("an unknown lot: %v", err)
		}
		for i := range e.Uses {
			if e.Uses[i].Role == "powder" {
				e.Uses[i].ID = old.ID
			}
		}
		if _, err := correct(t, s, run.ID, e); ruleOf(err) != store.RuleLotExpired {
			t.Errorf("correcting to an expired lot: %v", err)
		}
		return
	}
	t.Fatal("no coating run")
}
