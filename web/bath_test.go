package web

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

// watch sets the shop's conversion bath up: pH daily, and the conductivity at 20 °C once a week.
func watch(t testing.TB, s *storetest.Shop) {
	t.Helper()
	nominal, volume := 4.4, 1500.0
	bath := s.Bath
	bath.VolumeL = &volume
	if err := s.DB.ChangeBath(t.Context(), s.Everyone, bath); err != nil {
		t.Fatal(err)
	}
	for _, c := range []store.BathControl{
		{BathControl: quality.BathControl{Characteristic: "ph", Method: quality.ReadDirect, Unit: quality.PH, Nominal: &nominal, Limits: quality.Between(3.8, 5, quality.PH)}, Rhythm: "day", Source: "supplier's sheet", Active: true},
		{BathControl: quality.BathControl{Characteristic: "bath_conductivity", Method: quality.CorrectedToTemp, Unit: quality.MicroSiemens, Limits: quality.AtMost(30, quality.MicroSiemens), ReferenceC: 20, PerDegree: 0.02},
			Rhythm: "week", Source: "quality label", Active: true},
	} {
		if err := s.DB.SetBathControl(t.Context(), s.Everyone, s.Bath.ID, c); err != nil {
			t.Fatal(err)
		}
	}
}

// conversionLot receives a lot of a conversion chemical that holds fluoride.
func conversionLot(t testing.TB, s *storetest.Shop) store.MaterialLot {
	t.Helper()
	expires := s.Now.AddDate(1, 0, 0)
	m, err := s.DB.AddMaterial(t.Context(), s.Everyone, store.Material{Kind: store.Conversion, Code: "ZR-1", Name: "Zirconium conversion", Maker: "Invented Chemicals", Hazards: []string{"acid", "fluoride"},
		SheetLink: "https://example.org/sheet.pdf", SheetIssuedOn: &s.Now}, nil)
	if err != nil {
		t.Fatal(err)
	}
	lot, err := s.DB.AddMaterialLot(t.Context(), s.Everyone, store.MaterialLot{MaterialID: m.ID, LotNumber: "ZC-1", ReceivedOn: s.Now.AddDate(0, -1, 0), ExpiresOn: &expires, Quantity: 25, Unit: "L"})
	if err != nil {
		t.Fatal(err)
	}
	return lot
}

// newestRecord is the record that was stored last.
func newestRecord(t testing.TB, s *storetest.Shop) store.Record {
	t.Helper()
	var id uuid.UUID
	if err := storetest.Owner(t, s.DB).QueryRow(t.Context(), "SELECT record_id FROM record ORDER BY record_id DESC LIMIT 1").Scan(&id); err != nil {
		t.Fatal(err)
	}
	record, err := s.DB.RecordByID(t.Context(), s.Site.ID, id)
	if err != nil {
		t.Fatal(err)
	}
	return record
}

func TestBathIsReadOnItsPageWithUnitAndReferenceTemperature(t *testing.T) {
	h := newHand(t)
	watch(t, h.Shop)
	conversionLot(t, h.Shop)
	page := h.open("/baths/CONV/reading", http.StatusOK)
	contains(t, page, "nominal 4.4, limits 3.8 to 5", "overdue", "At 20 °C = as measured / (1 + 0.02", "Acids, alkalis and fluorides", "holds fluoride", "eyewash", "first-aid section")
	if links(t, page)["https://example.org/sheet.pdf"] == "" {
		t.Error("the safety data sheet of the conversion chemical is not one tap away")
	}
	values := func(measured, unit string) url.Values {
		return url.Values{"ph": {"4.5"}, "conductivity_measured": {measured}, "conductivity_measured-unit": {unit}, "conductivity_temperature": {"20"}, "conductivity_temperature-unit": {"degC"}}
	}
	contains(t, h.enter("/baths/CONV/reading", values("30", ""), http.StatusUnprocessableEntity), "say in which unit the meter shows it")
	alone := values("30", "uS/cm")
	alone.Del("conductivity_temperature")
	contains(t, h.enter("/baths/CONV/reading", alone, http.StatusUnprocessableEntity), "Temperature of the sample is empty")
	contains(t, h.enter("/baths/CONV/reading", url.Values{}, http.StatusUnprocessableEntity), "pH is empty")
	for _, c := range []struct{ measured, unit, verdict string }{{"30", "uS/cm", "pass"}, {"30.1", "uS/cm", "fail"}, {"0.03", "mS/cm", "pass"}} {
		h.Now = h.Now.Add(time.Minute)
		if to := h.enter("/baths/CONV/reading", values(c.measured, c.unit), http.StatusSeeOther); to != "/baths/CONV" {
			t.Fatalf("the save leads to %s", to)
		}
		if r := newestRecord(t, h.Shop); string(r.Verdict) != c.verdict || r.Kind != quality.BathReading || r.Subject != "CONV" {
			t.Errorf("%s %s at 20 °C: %s of %s, want %s", c.measured, c.unit, r.Verdict, r.Subject, c.verdict)
		}
	}
	contains(t, h.open("/baths/CONV", http.StatusOK), "Conductivity at 20 °C", "at most 30 µS/cm", "30.1 µS/cm / (1 + 0.02·(20 − 20)) = 30.1 µS/cm", "too high", "Early", h.who.Name, "once in 24 hours of work", "maximum 30 µS/cm")
}

func TestAdditionIsProposedRecordedAndReadAgain(t *testing.T) {
	h := newHand(t)
	h.who.Roles = append(h.who.Roles, store.Administrator)
	watch(t, h.Shop)
	lot := conversionLot(t, h.Shop)
	concentration := store.BathControl{BathControl: quality.BathControl{Characteristic: "concentration", Method: quality.TitrateFactor, Unit: quality.Percent, Limits: quality.Between(2, 4, quality.Percent), Factor: 0.4},
		Rhythm: "shift", Source: "supplier's sheet", Active: true}
	if err := h.DB.SetBathControl(t.Context(), h.Everyone, h.Bath.ID, concentration); err != nil {
		t.Fatal(err)
	}
	reading := url.Values{"ph": {"4.5"}, "titrant_volume-concentration": {"3.5"}, "conductivity_measured": {"20"}, "conductivity_measured-unit": {"uS/cm"}, "conductivity_temperature": {"20"}, "conductivity_temperature-unit": {"degC"}}
	preview := url.Values{"preview": {"1"}}
	for name, v := range reading {
		preview[name] = v
	}
	contains(t, h.enter("/baths/CONV/reading", preview, http.StatusOK), "3.5 mL · 0.4 = 1.4 %", "Bath: concentration 1.4 % is under 2 %")
	h.enter("/baths/CONV/reading", reading, http.StatusSeeOther)
	contains(t, h.open("/bench", http.StatusOK), "out of limits", "needs a corrective addition today")
	// 1500 L from 1.4 % to the middle of 2 and 4 %: 1500 · 1.6 / 100 = 24 L.
	contains(t, h.open("/baths/CONV/addition", http.StatusOK), "add 24 L to 1500 L", "Dumped and made up", "holds fluoride")
	h.Now = h.Now.Add(time.Minute)
	added := url.Values{"act": {"chemical"}, "added": {"24"}, "added-unit": {"L"}, "reason": {"1.4 % under 2 %"}}
	contains(t, h.enter("/baths/CONV/addition", added, http.StatusUnprocessableEntity), "Scan the lot of the chemical")
	contains(t, h.enter("/baths/CONV/addition", url.Values{}, http.StatusUnprocessableEntity), "What was done: choose one", "Reason is empty", "Amount is empty")
	added.Set("chemical", lot.ID.String())
	h.enter("/baths/CONV/addition", added, http.StatusSeeOther)
	contains(t, h.open("/baths/CONV", http.StatusOK), "Chemical added", "24 L, lot ZC-1: 1.4 % under 2 %", "corrected, read it again", "Set up its controls")
	h.Now = h.Now.Add(time.Minute)
	reading.Set("titrant_volume-concentration", "7.5")
	reading.Set("record", store.NewID().String())
	h.enter("/baths/CONV/reading", reading, http.StatusSeeOther)
	contains(t, h.open("/baths", http.StatusOK), "in limits")
	if page := h.open("/bench", http.StatusOK); strings.Contains(page, "All baths") {
		t.Error("a bath that waits for nothing stands on the bench")
	}
}

func TestUncheckedBathShowsBeforeTheWashAndOnTheDay(t *testing.T) {
	h := newHand(t)
	watch(t, h.Shop)
	part := h.Parts(1)[0]
	h.Weld(part, quality.NoneFound)
	rack := h.enter("/racks", url.Values{"tag": {"K7"}}, http.StatusSeeOther)
	h.enter(rack+"/parts", url.Values{"serial": {h.serial(part)}}, http.StatusSeeOther)
	contains(t, h.open(rack+"/pretreatment", http.StatusOK), "Bath CONV: pH is overdue: it was never read")
	h.enter(rack+"/pretreatment", url.Values{"stage-1-ph": {"4.6"}, "bath-1": {h.Bath.ID.String()}}, http.StatusSeeOther)
	record := newestRecord(t, h.Shop)
	contains(t, h.get("/records/"+record.ID.String(), http.StatusOK), "Flagged: Bath CONV: pH is overdue")
	contains(t, h.get("/day", http.StatusOK), "Bath CONV is overdue", "Conversion, pH")
}

func TestControlsOfABathAreSetUp(t *testing.T) {
	d := openSetupDesk(t)
	status, body := d.post("/setup/baths", "code", "W1", "name", "Cleaner", "stage", "clean", "volume_l", "2000", "dump_days", "90")
	d.must(status, body, "Set now what is read in it")
	contains(t, body, "Nothing is watched in this bath yet")
	status, body = d.post("/setup/baths/W1/controls", "characteristic", "concentration", "method", "titration", "unit", "percent", "minimum", "2", "maximum", "4", "rhythm", "shift", "source", "data sheet", "watched", "yes")
	if status != http.StatusUnprocessableEntity || !strings.Contains(body, "Factor: enter a number over 0.") {
		t.Errorf("a titration without its factor: %d, %s", status, textOf(body))
	}
	status, body = d.post("/setup/baths/W1/controls", "characteristic", "concentration", "method", "titration", "unit", "percent", "nominal", "3", "minimum", "2", "maximum", "4", "factor", "0.4", "rhythm", "shift",
		"source", "data sheet", "watched", "yes")
	d.must(status, body, "Concentration of bath W1 is watched from now on")
	contains(t, body, "2 to 4 %", "in each shift", "titration, mL times a factor")
	status, body = d.post("/setup/baths/W1/controls", "characteristic", "concentration", "method", "titration", "unit", "percent", "minimum", "2", "maximum", "4", "factor", "0.4", "rhythm", "shift", "source", "data sheet")
	d.must(status, body, "is no longer watched")
	contains(t, body, "Nothing is watched in this bath yet")
}

// TestBathDriftsOutIsCorrectedAndUsedAgain is a morning at the wash line, before the glass: the pH is out, the wash is refused,
// the bath is corrected and read again, and the rack is washed.
func TestBathDriftsOutIsCorrectedAndUsedAgain(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	watch(t, d.Shop)
	lot := conversionLot(t, d.Shop)
	rev, err := d.DB.NewRevision(t.Context(), d.Everyone, d.Spec.Code, "B")
	if err != nil {
		t.Fatal(err)
	}
	spec, err := quality.DecodeFinishSpec(rev.Body)
	if err != nil {
		t.Fatal(err)
	}
	spec.Pretreatment.BathUnchecked = quality.BathRefuse
	if err := d.DB.SaveDraft(t.Context(), d.Everyone, rev.ID, spec); err != nil {
		t.Fatal(err)
	}
	if err := d.DB.ApproveSpec(t.Context(), d.Everyone, rev.ID, d.Proof(d.Everyone)); err != nil {
		t.Fatal(err)
	}
	parts := d.Parts(1)
	d.Weld(parts[0], quality.NoneFound)
	rack := store.NewID()
	if _, err := d.DB.HangRack(t.Context(), d.Everyone, rack, "K9"); err != nil {
		t.Fatal(err)
	}
	if err := d.DB.HangParts(t.Context(), d.Everyone, rack, parts); err != nil {
		t.Fatal(err)
	}
	racks, err := d.DB.OpenRacks(t.Context(), d.Site.ID)
	if err != nil {
		t.Fatal(err)
	}
	// The tablet shows the time that it is.
	d.DB.Clock = time.Now
	b := newBrowser(t, d.DB)
	b.enrolAndSignOn(d.Shop)
	read := func(ph string) {
		b.open("/baths/CONV/reading")
		b.wait("#ph")
		b.fill("pH", ph)
		b.fill("Conductivity as measured", "22")
		b.fill("Temperature of the sample", "25")
		b.clean("bath-reading")
		b.save()
		b.until("the log", `location.pathname === '/baths/CONV'`)
	}
	read("5.2")
	b.sees("out of limits", "needs a corrective addition today", "20 µS/cm")
	b.clean("bath-log")
	b.open("/baths")
	b.clean("baths")

	wash := "/racks/" + racks[0].Number + "/pretreatment"
	b.open(wash)
	b.wait("[name=stage-1-ph]")
	b.sees("Bath CONV: pH was 5.2")
	b.fill("pH", "4.6")
	b.eval(`document.querySelector('button[name=save]').click()`)
	b.until("the refusal", `document.body.innerText.includes('Read and correct the bath first')`)

	b.open("/baths/CONV/addition")
	b.wait("#added")
	b.tap("Chemical added")
	b.fill("Amount", "1.2")
	b.fill("Conversion chemical lot", lot.LotNumber)
	b.fill("Reason", "pH 5.2 over 5")
	b.clean("bath-addition")
	b.save()
	b.until("the log", `location.pathname === '/baths/CONV'`)
	b.sees("corrected, read it again", "1.2 L, lot ZC-1: pH 5.2 over 5")
	read("4.5")
	b.sees("in limits")

	b.open(wash)
	b.wait("[name=stage-1-ph]")
	b.fill("pH", "4.6")
	b.save()
	b.until("the wash", `location.pathname === '/racks/`+racks[0].Number+`'`)
	record := newestRecord(t, d.Shop)
	if record.Kind != quality.Pretreatment || record.Verdict != quality.Pass {
		t.Fatalf("the wash: %s %s", record.Kind, record.Verdict)
	}
	b.open("/records/" + record.ID.String())
	b.sees("last read")
}

// watchedBath is the shop's bath with its controls, two readings and an addition on its log.
func (d *desk) watchedBath() string {
	d.t.Helper()
	ctx := d.t.Context()
	if log, err := d.DB.BathLog(ctx, d.Site.ID, d.Bath.ID, d.Now.AddDate(0, 0, -1), d.Now.AddDate(0, 0, 1), 9); err != nil || len(log) > 0 {
		if err != nil {
			d.t.Fatal(err)
		}
		return d.Bath.Code
	}
	watch(d.t, d.Shop)
	read := func(ph string) {
		d.Save(quality.BathReading, quality.OnBath, d.Bath.ID, quality.Check{Readings: []quality.Reading{d.Reading("ph", "", 0, ph, quality.PH), d.Reading("conductivity_measured", "", 0, "22", quality.MicroSiemens),
			d.Reading("conductivity_temperature", "", 0, "25", quality.Celsius)}})
	}
	read("5.2")
	d.Save(quality.BathAddition, quality.OnBath, d.Bath.ID, quality.Check{Readings: []quality.Reading{d.Reading(quality.AddedVolume, "", 0, "1.2", quality.Litre)},
		Ratings: []quality.Rating{{Characteristic: quality.RatingAct, Code: quality.AddedWater}, {Characteristic: quality.RatingReason, Code: "pH 5.2 over 5"}}})
	read("4.5")
	return d.Bath.Code
}
