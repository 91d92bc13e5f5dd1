package store_test

import (
	"crypto/sha256"
	"encoding/hex"
	"strings"
	"testing"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

func TestDraftChangesAndApprovedRevisionNeverDoes(t *testing.T) {
	db, a := openShop(t)
	r := addSpec(t, db, a, "FS-100", filmOnly())
	changed := filmOnly()
	changed.Film.Limits = quality.Between(70, 130, quality.Micrometre)
	if err := db.SaveDraft(t.Context(), a, r.ID, changed); err != nil {
		t.Fatal(err)
	}
	approve(t, db, a, r)
	refusedBy(t, db.SaveDraft(t.Context(), a, r.ID, filmOnly()), "spec_frozen")
	got, err := db.SpecRevision(t.Context(), a.Site, r.ID)
	if err != nil {
		t.Fatal(err)
	}
	spec, err := got.Spec()
	if err != nil {
		t.Fatal(err)
	}
	if got.State != "approved" || got.ApprovedBy != "Maren Holt" || got.EffectiveAt == nil || spec.Film.Limits.Low.Value != 70 {
		t.Errorf("got %s by %q, minimum %v", got.State, got.ApprovedBy, spec.Film.Limits.Low)
	}
	sum := sha256.Sum256(got.Body)
	if got.BodyHash != hex.EncodeToString(sum[:]) {
		t.Errorf("hash %s, want the SHA-256 of the stored body %x", got.BodyHash, sum)
	}
}

func TestApprovalIsSignedWithItsMeaning(t *testing.T) {
	db, a := openShop(t)
	r := addSpec(t, db, a, "FS-100", filmOnly())
	refusedBy(t, db.ApproveSpec(t.Context(), a, r.ID, store.Proof{}), store.RuleWrongSecret)
	if got, err := db.SpecRevision(t.Context(), a.Site, r.ID); err != nil || got.State != "draft" {
		t.Fatalf("after an unsigned approval: %s, %v, want draft", got.State, err)
	}
	approve(t, db, a, r)
	var name, meaning, statement string
	if err := storetest.Owner(t, db).QueryRow(t.Context(), `SELECT printed_name, meaning, statement FROM signature WHERE site_id = $1`, a.Site).
		Scan(&name, &meaning, &statement); err != nil {
		t.Fatal(err)
	}
	if name != "Maren Holt" || meaning != "approved" || !strings.Contains(statement, "FS-100, revision A") {
		t.Errorf("signed by %q as %q: %s", name, meaning, statement)
	}
}

func TestDraftThatCannotBeUsedIsNotApproved(t *testing.T) {
	db, a := openShop(t)
	bad := filmOnly()
	bad.Film.Limits.Low = nil
	r := addSpec(t, db, a, "FS-100", bad)
	proof, err := db.Sign(t.Context(), a, registerPIN)
	if err != nil {
		t.Fatal(err)
	}
	sentence := refusedBy(t, db.ApproveSpec(t.Context(), a, r.ID, proof), "spec_invalid")
	if !strings.Contains(sentence, "enter the minimum") {
		t.Errorf("the refusal does not say what is wrong: %s", sentence)
	}
}

func TestNewRevisionCopiesTheBodyAndReplacesTheOldOneOnApproval(t *testing.T) {
	db, a := openShop(t)
	first := addSpec(t, db, a, "FS-100", filmOnly())
	approve(t, db, a, first)
	second, err := db.NewRevision(t.Context(), a, "FS-100", "B")
	if err != nil {
		t.Fatal(err)
	}
	if spec, err := second.Spec(); err != nil || spec.Film == nil || spec.Film.Limits.Low.Value != 60 {
		t.Errorf("the new draft holds %+v, %v, want the body of revision A", spec, err)
	}
	_, err = db.NewRevision(t.Context(), a, "FS-100", "C")
	refusedBy(t, err, "spec_draft_once")
	if got := specInForce(t, db, a); got.Revision != "A" {
		t.Errorf("while B is a draft, %s is in force, want A", got.Revision)
	}
	approve(t, db, a, second)
	if got := specInForce(t, db, a); got.Revision != "B" {
		t.Errorf("after approval %s is in force, want B", got.Revision)
	}
	was, err := db.SpecRevision(t.Context(), a.Site, first.ID)
	if err != nil || was.State != "obsolete" || was.ObsoleteAt == nil {
		t.Errorf("revision A is %s since %v, %v, want obsolete", was.State, was.ObsoleteAt, err)
	}
	_, err = db.NewRevision(t.Context(), a, "FS-100", "B")
	refusedBy(t, err, "finish_spec_revision_unique")
	if all, err := db.SpecRevisions(t.Context(), a.Site, "FS-100"); err != nil || len(all) != 2 || all[0].Revision != "B" {
		t.Errorf("revisions %v, %v, want B then A", all, err)
	}
}

// specInForce returns what the list of specs shows for the only one.
func specInForce(t *testing.T, db *store.DB, a store.Actor) store.SpecRevision {
	t.Helper()
	specs, err := db.Specs(t.Context(), a.Site)
	if err != nil || len(specs) != 1 {
		t.Fatalf("specs %v, %v, want one", specs, err)
	}
	return specs[0]
}

func TestSpecCodeIsTakenOnce(t *testing.T) {
	db, a := openShop(t)
	addSpec(t, db, a, "FS-100", filmOnly())
	_, err := db.AddSpec(t.Context(), a, "FS-100", "Another", "A", filmOnly())
	refusedBy(t, err, "finish_spec_code_unique")
	_, err = db.AddSpec(t.Context(), a, "FS-101", "Without a revision", " ", filmOnly())
	refusedBy(t, err, "finish_spec_revision_present")
}

func TestWithdrawnSpecTakesNoNewParts(t *testing.T) {
	db, a := openShop(t)
	r := addSpec(t, db, a, "FS-100", filmOnly())
	approve(t, db, a, r)
	n := addPartNumber(t, db, a, "RS-100", r)
	job := addJob(t, db, a, "J-1")
	refusedBy(t, db.WithdrawSpec(t.Context(), a, r.ID, "no"), "reason_given")
	if err := db.WithdrawSpec(t.Context(), a, r.ID, "customer changed the colour"); err != nil {
		t.Fatal(err)
	}
	_, err := db.AddParts(t.Context(), a, job.ID, n.ID, []string{"S-1"})
	if sentence := refusedBy(t, err, store.RuleSpecNotApproved); !strings.Contains(sentence, "obsolete") {
		t.Errorf("the refusal does not say why: %s", sentence)
	}
	refusedBy(t, db.WithdrawSpec(t.Context(), a, r.ID, "again and again"), "spec_not_in_force")
}
