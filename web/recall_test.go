package web

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"coatbook/store"
	"coatbook/store/storetest"
)

// badGauge is a shop whose gauge failed after two parts were measured, one of them released.
func badGauge(d *desk) (recall string, parts []uuid.UUID) {
	d.t.Helper()
	d.Verify(0)
	parts = d.Ready(2, 0)
	for _, p := range parts {
		d.Finish(p)
		d.Film(p, "82", "68", "75", "93", "86")
	}
	if err := d.DB.Release(d.t.Context(), d.Everyone, parts[:1], d.Proof(d.Everyone)); err != nil {
		d.t.Fatal(err)
	}
	return d.Verify(9).RecallNumber, parts
}

func TestRecallIsReviewedOnItsPagePartByPart(t *testing.T) {
	d := newDesk(t)
	number, parts := badGauge(d)
	at := "/recalls/" + number
	contains(t, d.get("/recalls", http.StatusOK), number, "2 of 2 parts undecided")
	contains(t, d.get(at, http.StatusOK), "2 records made with FG-01 since it was last good", "2 parts, 1 of them released", "TH-0001", "released 24 November 2026", "TH-0002", "on hold")
	contains(t, d.get("/day?date=2026-11-24", http.StatusOK), "Recall "+number+" for FG-01")
	contains(t, d.get("/gauges/FG-01", http.StatusOK), "failed", number, "59")
	notice := d.get(at+"/notice", http.StatusOK)
	contains(t, notice, "Notice of recall "+number, "TH-0001", "Halden", "PO 7", "1 part still in house is kept back")
	if strings.Contains(textOf(notice), "TH-0002") {
		t.Error("the notice names a part that never left")
	}

	decide := func(want int, code string, part uuid.UUID, pin string) string {
		return d.post(at+"/decide", want, url.Values{"part": {part.String()}, "code": {code}, "reason": {"Lowest reading is far over the limit."}, "pin": {pin}, "signer": {"maren"}})
	}
	contains(t, d.post(at+"/decide", http.StatusUnprocessableEntity, url.Values{}), "Tick at least one part.", "Choose what is decided.", "Give the reason")
	contains(t, decide(http.StatusUnprocessableEntity, "notify_customer", parts[1], storetest.PIN), "still in house")
	d.post(at+"/close", http.StatusUnprocessableEntity, url.Values{"reason": {"All done."}, "pin": {storetest.PIN}, "signer": {"maren"}})
	decide(http.StatusSeeOther, "notify_customer", parts[0], storetest.PIN)
	contains(t, d.post(at+"/close", http.StatusUnprocessableEntity, url.Values{"reason": {"All done."}, "pin": {storetest.PIN}, "signer": {"maren"}}), "1 of 2 parts")
	decide(http.StatusSeeOther, "no_effect", parts[1], storetest.PIN)
	d.post(at+"/close", http.StatusSeeOther, url.Values{"reason": {"Customer told, the other part is good."}, "pin": {storetest.PIN}, "signer": {"maren"}})
	contains(t, d.get(at, http.StatusOK), "closed", "Signed by Maren Holt", "Notify the customer: Lowest reading", "No effect: Lowest reading")
	contains(t, d.get("/recalls", http.StatusOK), "No recall is open")

	d.who = d.AddPerson("Ona Reyes", "ona", store.Inspector)
	d.post(at+"/decide", http.StatusForbidden, url.Values{})
}

func TestRegisterShowsEveryDeviceWithItsStandingInWords(t *testing.T) {
	d := openSetupDesk(t, store.Engineer)
	for _, device := range [][2]string{{"LX-01", "in use"}, {"PH-01", "withdrawn"}, {"TH-01", "overdue"}, {"CL-01", "dropped or doubtful"}, {"GL-01", "failed"}} {
		due := "2031-01-01"
		if device[1] == "overdue" {
			due = "2020-01-01"
		}
		status, body := d.post("/setup/gauges", "code", device[0], "kind", "other", "serial", "S1", "unit", "lx", "owner", "employee", "owner_name", "R. Aske", "range_low", "0", "range_high", "2000",
			"resolution", "1", "tolerance", "20", "share", "0", "interval", "365", "due", due, "certificate", "C-1", "uncertainty", "8", "coverage_k", "2", "location", "Weld bench")
		d.must(status, body, device[0])
		i, err := d.db.InstrumentByCode(t.Context(), d.actor.Site, device[0])
		if err != nil {
			t.Fatal(err)
		}
		if i.OwnerName != "R. Aske" || i.Location != "Weld bench" || *i.Uncertainty != 8 || *i.CoverageK != 2 || *i.Resolution != 1 || *i.RangeHigh != 2000 || i.Certificate != "C-1" || i.IntervalDays != 365 {
			t.Errorf("%+v", i)
		}
		switch device[1] {
		case "withdrawn", "failed":
			_, err = d.db.SetInstrumentStatus(t.Context(), d.actor, i.ID, device[1], "for the register")
		case "dropped or doubtful":
			err = d.db.DoubtInstrument(t.Context(), d.actor, i.ID, "dropped", "")
		}
		if err != nil {
			t.Fatal(err)
		}
		_, list := d.get("/setup/gauges")
		contains(t, list, device[0], device[1], "Weld bench")
	}
}

func TestCalibrationPageTakesAsFoundAndRefusesAsLeftAlone(t *testing.T) {
	h := newHand(t)
	f := url.Values{"reference-1": {"100"}, "left-1": {"100.2"}, "air_temperature": {"21"}, "humidity": {"45"}, "uncertainty": {"0.8"}, "coverage_k": {"2"}, "standard_name": {"Step block 7"},
		"standard_certificate": {"SB-7"}, "certificate": {"CAL-17"}, "record": {store.NewID().String()}}
	contains(t, h.open("/gauges/FG-01/calibration", http.StatusOK), "As found", "As left", "Expanded uncertainty")
	contains(t, h.enter("/gauges/FG-01/calibration", f, http.StatusUnprocessableEntity), "as found")
	f.Set("found-1", "109")
	h.enter("/gauges/FG-01/calibration", f, http.StatusSeeOther)
	contains(t, h.get("/gauges/FG-01", http.StatusOK), "109", "100.2", "CAL-17", "failed")
	v := url.Values{"zero-left": {"0.1"}, "shim-left-SH-1": {"50"}, "record": {store.NewID().String()}}
	h.enter("/gauges/FG-01/verification", v, http.StatusUnprocessableEntity)
}

func TestDroppedGaugeIsBlockedFromItsPage(t *testing.T) {
	d := newDesk(t)
	d.Verify(0)
	d.who = d.AddPerson("Ona Reyes", "ona", store.Inspector)
	contains(t, d.post("/gauges/FG-01/doubt", http.StatusUnprocessableEntity, url.Values{"what": {"lost"}}), "Say what happened")
	d.post("/gauges/FG-01/doubt", http.StatusSeeOther, url.Values{"what": {"dropped"}, "note": {"From the bench."}})
	contains(t, d.get("/gauges/FG-01", http.StatusOK), "dropped or doubtful", "From the bench.")
	d.post("/gauges/FG-01/studies", http.StatusForbidden, url.Values{})
}

func TestStudyIsEnteredOnTheDevicesPage(t *testing.T) {
	d := newDesk(t)
	f := url.Values{"method": {"entered"}, "grr": {"34"}, "grr_of": {"tolerance"}, "ndc": {"6"}, "made_on": {"2026-11-01"}, "valid_to": {time.Now().AddDate(1, 0, 0).Format(time.DateOnly)}}
	d.post("/gauges/FG-01/studies", http.StatusSeeOther, f)
	contains(t, d.get("/gauges/FG-01", http.StatusOK), "34 % of the tolerance", "figures withheld")
	f.Set("method", "anova")
	contains(t, d.post("/gauges/FG-01/studies", http.StatusUnprocessableEntity, f), "Paste the table")
	f.Set("table", "part,appraiser\n1,A\n")
	contains(t, d.post("/gauges/FG-01/studies", http.StatusUnprocessableEntity, f), "no column")
}

// TestGaugeRecallFromTheFailedCheckToTheClosedReview is the whole story: two parts are measured and one released; the gauge
// fails its check at the end of the shift; the supervisor finds the recall, tells the customer, has the other part measured
// again, and closes the review.
func TestGaugeRecallFromTheFailedCheckToTheClosedReview(t *testing.T) {
	b := newTablet(t)
	b.addParts("TH-24117-01", "TH-24117-02")
	b.throughTheLine("K7", "TH-24117-01", "TH-24117-02")
	b.as("ilse")
	b.verifyGauge("EC-07")
	for _, serial := range []string{"TH-24117-01", "TH-24117-02"} {
		b.finishCheck(serial)
		b.film(serial, "EC-07", goodFilm)
		b.save()
	}
	b.as("marek")
	b.open("/parts/TH-24117-01/release")
	b.signed("marek", "846120")

	b.as("ilse")
	b.open("/gauges/EC-07/verification")
	b.wait("input.reading")
	b.readShims(map[string]string{"Bare plate": "0.2", "SH-48": "58.0", "SH-76": "86.5", "SH-124": "136.0"})
	b.save()
	b.sees("fail", "Recall RC-")

	b.as("marek")
	b.open("/day")
	b.sees("Recall RC-")
	b.press("Recall RC-")
	b.wait("input[name=code]")
	b.sees("TH-24117-01", "Halden Balconies", "TH-24117-02", "on hold", "2 of 2 parts undecided")
	b.decideRecall("TH-24117-01", "notify_customer", "The customer is told before they are fitted.")
	b.wait("input[name=code]")
	b.decideRecall("TH-24117-02", "re_measure", "In house, so it is measured again.")
	b.wait("#f-conclusion")
	b.fillArea("#f-conclusion", "One part told, one to be measured again.")
	b.signed("marek", "846120")
	b.sees("closed", "meaning: reviewed")
	b.press("Notice to print")
	b.sees("Notice of recall", "TH-24117-01", "notify the customer")

	b.as("ilse")
	b.verifyGauge("EC-09")
	b.film("TH-24117-02", "EC-09", goodFilm)
	b.sees("pass")
	b.save()
	b.open("/parts/TH-24117-02")
	b.sees("accepted")
}

// decideRecall ticks one part and signs a decision on it.
func (b *tablet) decideRecall(serial, code, reason string) {
	b.t.Helper()
	b.eval(`(() => { const row = [...document.querySelectorAll('tr')].find(r => r.textContent.includes('` + serial + `')); row.querySelector('input[type=checkbox]').click();
		document.querySelector('input[value=` + code + `]').click(); })()`)
	b.fillArea("#f-reason", reason)
	b.signed("marek", "846120")
}

func (b *tablet) fillArea(sel, text string) {
	b.t.Helper()
	b.eval(`document.querySelector('` + sel + `').value = '` + text + `'`)
}

// signed signs the form that is open and waits for the page after it.
func (b *tablet) signed(name, pin string) {
	b.t.Helper()
	b.eval(`document.body.dataset.before = '1'`)
	b.sign(name, pin)
	b.until("the signature", `document.body && !document.body.dataset.before`)
}

// recalled is the number of a recall of the shop; the first call makes one of a gauge that nothing else is measured with.
func (d *desk) recalled() string {
	d.t.Helper()
	all, err := d.DB.Recalls(d.t.Context(), d.Site.ID)
	if err != nil {
		d.t.Fatal(err)
	}
	if len(all) > 0 {
		return all[0].Number
	}
	gauge := d.Gauge
	defer func() { d.Gauge = gauge }()
	due := d.Now.AddDate(1, 0, 0)
	if d.Gauge, err = d.DB.AddInstrument(d.t.Context(), d.Everyone, store.Instrument{Code: "FG-09", Kind: "film_gauge", MakerSerial: "00739", Owner: "company", Unit: "um", ToleranceAbs: 1,
		ToleranceShare: 0.02, IntervalDays: 365, DueOn: due}); err != nil {
		d.t.Fatal(err)
	}
	d.Verify(0)
	parts := d.Ready(2, 0)
	for _, p := range parts {
		d.Finish(p)
		d.Film(p, "82", "68", "75", "93", "86")
	}
	if err := d.DB.Release(d.t.Context(), d.Everyone, parts[:1], d.Proof(d.Everyone)); err != nil {
		d.t.Fatal(err)
	}
	return d.Verify(9).RecallNumber
}

func TestReleasePageNamesTheRecallThatIsNotDecided(t *testing.T) {
	d := newDesk(t)
	parts := d.Ready(1, 0)
	d.Verify(0)
	d.Finish(parts[0])
	d.Film(parts[0], "80", "84", "79", "90", "92")
	d.Verify(9)
	holds, err := d.DB.OpenHolds(t.Context(), d.Site.ID)
	if err != nil || len(holds) != 1 {
		t.Fatal(holds, err)
	}
	if err := d.DB.Decide(t.Context(), d.Everyone, holds[0].ID, store.Decision{Parts: parts, Code: "concession", Reason: "the customer takes it", ConcessionRef: "CR-1", ConcessionQuantity: 1}, d.Proof(d.Everyone)); err != nil {
		t.Fatal(err)
	}
	page := d.get("/parts/TH-0001/release", http.StatusOK)
	contains(t, page, "is in recall RC-2026-0001 without a decision and cannot be released. Decide on it on the Recalls page first.")
	if strings.Contains(textOf(page), "Sign and release") {
		t.Error("the page offers to sign")
	}
	contains(t, d.post("/parts/TH-0001/release", http.StatusUnprocessableEntity, url.Values{"pin": {storetest.PIN}}), "without a decision")
}
