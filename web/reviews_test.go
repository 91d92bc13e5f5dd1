package web

import (
	"crypto/ed25519"
	"crypto/rand"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

// closeDay lets the shop day of a desk end and seals it.
func (d *desk) closeDay(key ed25519.PrivateKey) {
	d.t.Helper()
	today, _ := d.Site.ShopDay(d.Now)
	d.Now = d.Site.DayBegins(today.AddDate(0, 0, 1)).Add(store.SealGrace)
	if n, err := d.DB.SealDays(d.t.Context(), d.Site.ID, key); n != 1 || err != nil {
		d.t.Fatalf("%d days sealed, %v", n, err)
	}
}

func (d *desk) sealKey() ed25519.PrivateKey {
	d.t.Helper()
	public, key, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		d.t.Fatal(err)
	}
	if err := d.DB.AddSealKey(d.t.Context(), d.Everyone, public); err != nil {
		d.t.Fatal(err)
	}
	return key
}

// TestDayIsReviewedAndSignedByOneWhoChangedNothing corrects, voids and enters late, closes the day, and has it reviewed: not
// by whoever made the changes.
func TestDayIsReviewedAndSignedByOneWhoChangedNothing(t *testing.T) {
	d := newDesk(t)
	key := d.sealKey()
	d.Verify(0)
	part := d.Ready(1, 0)[0]
	film := d.Film(part, "82", "81", "80", "79", "78")
	if _, err := d.DB.Void(t.Context(), d.Everyone, store.NewID(), store.Correction{Of: film.RecordID, Code: "wrong_part", Text: "was the part beside it"}, d.Proof(d.Everyone)); err != nil {
		t.Fatal(err)
	}
	d.Now = d.Now.Add(3 * time.Hour)
	if _, err := d.DB.Save(t.Context(), d.Everyone, store.Entry{RecordID: store.NewID(), Kind: quality.Finish, Subject: store.Subject{Kind: quality.OnPart, ID: part},
		ObservedAt: d.Now.Add(-2 * time.Hour), LateReason: "tablet was flat", Check: quality.Check{Defects: []quality.Defect{{Code: quality.NoneFound}}}}); err != nil {
		t.Fatal(err)
	}
	const path = "/reviews/2026-11-24"
	open := d.get(path, http.StatusOK)
	contains(t, open, "Voided", "was the part beside it", "Entered late", "tablet was flat", "Film of part TH-0001", "not sealed yet", "once it is sealed", "Finish specs approved or withdrawn", "PC-60")
	d.closeDay(key)
	contains(t, d.get("/day", http.StatusOK), "1 day waits for its review", "the oldest Tuesday 24 November")
	contains(t, d.get(path, http.StatusOK), "You made or authorised one of these changes")
	d.who = d.Everyone
	contains(t, d.post(path, http.StatusUnprocessableEntity, url.Values{"pin": {storetest.PIN}}), "You made or authorised one of these changes")
	d.who = d.AddPerson("Ada Berg", "ada", store.Supervisor)
	contains(t, d.get(path, http.StatusOK), "I, Ada Berg, have seen the", "changes listed of Tuesday 24 November 2026 as sealed under number 1.", "Meaning of the signature: reviewed.")
	contains(t, d.post(path, http.StatusUnprocessableEntity, url.Values{"pin": {"000000"}, "note": {"ask Maren"}}), "ask Maren")
	d.post(path, http.StatusSeeOther, url.Values{"pin": {storetest.PIN}, "note": {"ask Maren about the voided film"}})
	contains(t, d.get("/reviews", http.StatusOK), "Every sealed day is reviewed", "Ada Berg", "reviewed", "no. 1")
	contains(t, d.get(path, http.StatusOK), "meaning reviewed: ask Maren about the voided film")
	contains(t, d.post(path, http.StatusUnprocessableEntity, url.Values{"pin": {storetest.PIN}}), "Ada Berg has reviewed this day already.")
	var signed, own int
	if err := storetest.Owner(t, d.DB).QueryRow(t.Context(), `SELECT count(*), count(*) FILTER (WHERE v.reviewed_by IN (SELECT person_id FROM record WHERE supersedes_id IS NOT NULL OR late_reason <> ''))
		FROM seal l JOIN day_review v ON v.site_id = l.site_id AND v.number = l.number JOIN signature s ON s.site_id = v.site_id AND s.signature_id = v.signature_id AND s.meaning = 'reviewed'
		WHERE l.shop_day = '2026-11-24'`).Scan(&signed, &own); err != nil || signed != 1 || own != 0 {
		t.Errorf("the day has %d review signatures, %d by somebody who made one of its changes; want 1 and 0, %v", signed, own, err)
	}
}

func TestLostPartShowsOnTheReviewAndJobPages(t *testing.T) {
	d := newDesk(t)
	parts := d.Parts(4)
	const sound = "4 received = 0 released + 0 scrapped + 0 returned + 0 regraded + 4 in house"
	job, err := d.DB.JobByNumber(t.Context(), d.Site.ID, "24117")
	if err != nil {
		t.Fatal(err)
	}
	balance, err := d.DB.BalanceOf(t.Context(), d.Site.ID, job.ID)
	if err != nil || balanceWords(balance) != sound {
		t.Fatalf("%q, want %q, %v", balanceWords(balance), sound, err)
	}
	if strings.Contains(d.get("/reviews", http.StatusOK), "Parts that do not add up") {
		t.Error("parts that add up are shown as if they did not")
	}
	owner := storetest.Owner(t, d.DB)
	for i, sql := range []string{`DELETE FROM part_status WHERE part_id = $1`, `DELETE FROM part WHERE part_id = $1`} {
		if _, err := owner.Exec(t.Context(), sql, parts[0]); err != nil {
			t.Fatal(err)
		}
		const lost = "4 received is not 0 released + 0 scrapped + 0 returned + 0 regraded + 3 in house: 1 part is missing"
		for _, path := range []string{"/reviews", "/reviews/2026-11-24"} {
			contains(t, d.get(path, http.StatusOK), "Parts that do not add up", "Job 24117", lost)
		}
		if balance, err = d.DB.BalanceOf(t.Context(), d.Site.ID, job.ID); err != nil || balance.Missing() != 1 || !strings.Contains(balanceWords(balance), lost) {
			t.Errorf("after statement %d: %+v, %v", i, balance, err)
		}
	}
}

func TestClosedDayWithoutSealStandsFirst(t *testing.T) {
	d := newDesk(t)
	d.Parts(1)
	d.Now = d.Now.Add(26 * time.Hour)
	contains(t, d.get("/day", http.StatusOK), "A day is not sealed", "Tuesday 24 November is closed and not sealed.")
	contains(t, d.get("/reviews", http.StatusOK), "is closed and not sealed")
}
