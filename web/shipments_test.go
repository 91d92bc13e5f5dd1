package web

import (
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

// shipped is a shop from which two released parts of three left with a certificate.
func (d *desk) shipped() (parts []uuid.UUID, shipment store.Shipment, certificate store.Certificate) {
	d.t.Helper()
	d.Verify(0)
	parts = d.Ready(3, 0)
	for _, p := range parts {
		d.Finish(p)
		d.Film(p, "82", "68", "75", "93", "86")
	}
	if err := d.DB.Release(d.t.Context(), d.Everyone, parts, d.Proof(d.Everyone)); err != nil {
		d.t.Fatal(err)
	}
	return parts, d.shipOut(parts[:2]), d.certified("DN-1")
}

func (d *desk) shipOut(parts []uuid.UUID) store.Shipment {
	d.t.Helper()
	d.Now = d.Now.Add(time.Minute)
	s, err := d.DB.Ship(d.t.Context(), d.Everyone, store.NewShipment{Parts: parts, DeliveryNote: "DN-1", Carrier: "Own van"})
	if err != nil {
		d.t.Fatal(err)
	}
	return s
}

func (d *desk) certified(note string) store.Certificate {
	d.t.Helper()
	found, err := d.DB.Shipments(d.t.Context(), d.Site.ID, note, 1)
	if err != nil || len(found) != 1 {
		d.t.Fatal(found, err)
	}
	c, err := d.DB.Certify(d.t.Context(), d.Everyone, store.NewCertificate{Shipment: found[0].ID}, d.Proof(d.Everyone))
	if err != nil {
		d.t.Fatal(err)
	}
	return c
}

// papers are a shipment of TH-0002, which busy released, and its certificate, by number.
func (d *desk) papers() (shipment, certificate string) {
	d.t.Helper()
	part, err := d.DB.PartBySerial(d.t.Context(), d.Site.ID, "TH-0002")
	if err != nil {
		d.t.Fatal(err)
	}
	if part.Status == store.StatusReleased {
		d.shipOut([]uuid.UUID{part.ID})
		d.certified("DN-1")
	}
	papers, err := d.DB.PapersOf(d.t.Context(), d.Site.ID, part.ID)
	if err != nil {
		d.t.Fatal(err)
	}
	return papers.Shipment, papers.Certificate
}

func TestPartsAreShippedCertifiedAndTakenBackOnTheirPages(t *testing.T) {
	d := newDesk(t)
	d.Verify(0)
	parts := d.Ready(2, 0)
	for _, p := range parts {
		d.Finish(p)
		d.Film(p, "82", "68", "75", "93", "86")
	}
	contains(t, d.get("/shipments/new?job=24117", http.StatusOK), "No released part of this job is in house")
	if err := d.DB.Release(t.Context(), d.Everyone, parts, d.Proof(d.Everyone)); err != nil {
		t.Fatal(err)
	}
	contains(t, d.get("/shipments", http.StatusOK), "Ship parts of job 24117", "2 parts", "Nothing has been shipped yet")
	contains(t, d.get("/shipments/new?job=24117", http.StatusOK), "TH-0001", "TH-0002", "Delivery note number")
	ids := []string{parts[0].String(), parts[1].String()}
	form := url.Values{"record": {store.NewID().String()}, "job": {"24117"}, "part": ids, "carrier": {"Own van"}, "order": {"PO 7"}}
	kept := d.post("/shipments", http.StatusUnprocessableEntity, form)
	contains(t, kept, "Enter the number of the delivery note.")
	if !strings.Contains(kept, `value="Own van"`) {
		t.Error("what was typed is lost")
	}
	form.Set("note", "DN-1")
	d.post("/shipments", http.StatusSeeOther, form)
	contains(t, d.get("/shipments/S-2026-0001", http.StatusOK), "2 parts to Halden", "DN-1", "Own van", "PO 7", "Maren Holt", "Issue the certificate", "Parts of it came back")
	form.Set("record", store.NewID().String())
	form.Set("note", "DN-2")
	contains(t, d.post("/shipments", http.StatusUnprocessableEntity, form), "Part TH-0001 is shipped already, with S-2026-0001.")

	contains(t, d.get("/certificates/new?shipment=S-2026-0001", http.StatusOK), "It will state", "Each of the 2 parts listed conforms to PC-60 revision A.", "No value behind this certificate was changed", "Meaning of the signature: approved")
	certify := url.Values{"record": {store.NewID().String()}, "shipment": {"S-2026-0001"}, "part": ids, "order": {"PO 7"}, "pin": {"000000"}}
	d.post("/certificates", http.StatusUnprocessableEntity, certify)
	certify.Set("pin", storetest.PIN)
	d.post("/certificates", http.StatusSeeOther, certify)
	contains(t, d.get("/certificates?q=TH-0002", http.StatusOK), "C-2026-0001", "in force", "S-2026-0001")
	contains(t, d.get("/certificates?q=nothing", http.StatusOK), "No certificate, part, customer, job")
	contains(t, d.get("/shipments?q=DN-1", http.StatusOK), "S-2026-0001", "C-2026-0001")
	contains(t, d.get("/parts/TH-0001", http.StatusOK), "shipped", "S-2026-0001", "delivery note DN-1", "C-2026-0001", "meaning: approved")
	contains(t, d.get("/trace?kind=lot&name=000123", http.StatusOK), "S-2026-0001", "C-2026-0001", "note DN-1", "Released or shipped to Halden")
	contains(t, d.post("/trace", http.StatusOK, url.Values{"kind": {"lot"}, "name": {"000123"}}), "0 in house, 0 released and 2 shipped, for 1 customer")

	back := url.Values{"part": ids[:1], "reason": {"no"}, "pin": {storetest.PIN}}
	contains(t, d.post("/shipments/S-2026-0001/return", http.StatusUnprocessableEntity, back), "Say why the customer sent it back")
	back.Set("reason", "Scratched on the site.")
	d.post("/shipments/S-2026-0001/return", http.StatusSeeOther, back)
	contains(t, d.get("/shipments/S-2026-0001", http.StatusOK), "1 of 2 came back", "Scratched on the site.", "meaning: performed", "on hold")
	contains(t, d.get("/parts/TH-0001", http.StatusOK), "on hold", "Came back", "Release, ended")
	contains(t, d.get("/certificates/C-2026-0001", http.StatusOK), "Part TH-0001 came back on 24 November 2026: Scratched on the site.")

	d.who = d.AddPerson("Ona Reyes", "ona", store.Inspector)
	d.get("/shipments/new?job=24117", http.StatusForbidden)
	d.post("/shipments", http.StatusForbidden, form)
	d.post("/certificates", http.StatusForbidden, certify)
	contains(t, d.get("/certificates/C-2026-0001", http.StatusOK), "Certificate of conformity")
}

// The printed text, item by item, as ISO/IEC 17025 7.8.6 and EN 10204 ask (see the requirements).
func TestPrintedCertificateCarriesEveryItem(t *testing.T) {
	d := newDesk(t)
	_, shipment, c := d.shipped()
	printed := d.get("/certificates/"+c.Number, http.StatusOK)
	contains(t, printed, "Certificate of conformity", "C-2026-0001", "Tern Hollow Metalworks", `Halden, "Balconies"`, "=PO 7", // who and what for
		shipment.Number, "delivery note DN-1", "TH-0001", "TH-0002", "RF-210 Rail frame", "6060 T66", "24117", // part identities
		"PC-60 revision A", "in force from 2026-11-24", // spec and revision
		"Dry film thickness by gauge on aluminium (eddy current, ISO 2360), 5 spots of 1 reading", "Solvent rub, 50 double rubs with MEK", // methods
		"film thickness by mean and 80 %", "simple acceptance", "A value equal to a limit is within it", // decision rule
		"2 of 2 parts checked", "1 oven load, for 2 of 2 parts", // sample sizes
		"Film thickness, µm", "80.8", "68.0", "93.0", "spot 2: 68.0, minimum 68.0 (n 1)", // n, mean, least, most, areas
		"14 min", "50", "4.6", "Nothing was found", // cure, rub, wash, welds and finish
		"FG-01", "00731", "2027-11-24", // devices with due date
		"000123", "PE-7016 Polyester, matt", "C-1", // lots
		"Each of the 2 parts listed conforms to PC-60 revision A.", "No value behind this certificate was changed since it was first entered.",
		"Signed by Maren Holt, 24 November 2026", "meaning: approved", "Approved certificate C-2026-0001", c.ContentHash)
	if strings.Contains(textOf(printed), "TH-0003") {
		t.Error("the certificate names a part that it is not for")
	}
	if strings.Contains(printed, "<form") && strings.Contains(printed[strings.Index(printed, `<article`):], "<form") {
		t.Error("there is a form on the paper")
	}
	file := d.get("/certificates/"+c.Number+"/results.csv", http.StatusOK)
	if !strings.Contains(file, "C-2026-0001,\"Halden, \"\"Balconies\"\"\",'=PO 7,TH-0001,film,part TH-0001,mean,,5,80.8,µm,") {
		t.Errorf("the results as CSV:\n%s", file)
	}
	// A print with another check code is not a print of it.
	contains(t, d.get("/certificates/"+c.Number+"?check=0000000000000000", http.StatusOK), "not that of this certificate")
	if page := d.get("/certificates/"+c.Number+"?check="+c.ContentHash[:16], http.StatusOK); strings.Contains(page, "not that of this certificate") {
		t.Error("the right check code is refused")
	}
}

func TestPrintedCertificateMarksAmendmentsAndCountsThem(t *testing.T) {
	d := newDesk(t)
	d.Verify(0)
	parts := d.Ready(2, 0)
	for _, p := range parts {
		d.Finish(p)
		d.Film(p, "82", "68", "75", "93", "86")
	}
	film := d.latest("TH-0001", quality.Film)
	entry := store.Entry{RecordID: store.NewID(), Kind: quality.Film, Subject: store.Subject{Kind: quality.OnPart, ID: parts[0]}, Uses: []store.Use{{Role: "gauge", ID: d.Gauge.ID}}}
	for i, text := range []string{"84", "68", "75", "93", "86"} {
		entry.Check.Readings = append(entry.Check.Readings, d.Reading("film_thickness", "", i+1, text, quality.Micrometre))
	}
	d.Now = d.Now.Add(time.Minute)
	if _, err := d.DB.Correct(t.Context(), d.Everyone, entry, store.Correction{Of: film.ID, Code: "typing_error", Text: "Read 82 for 84."}, d.Proof(d.Everyone)); err != nil {
		t.Fatal(err)
	}
	if err := d.DB.Release(t.Context(), d.Everyone, parts, d.Proof(d.Everyone)); err != nil {
		t.Fatal(err)
	}
	d.shipOut(parts)
	printed := d.get("/certificates/"+d.certified("DN-1").Number, http.StatusOK)
	contains(t, printed, "1 change was made to records behind this certificate", "1 part is marked “amended”", "amended, 1 change", "was 82 µm, now 84 µm", "Read 82 for 84.")
	if n := strings.Count(textOf(printed), "amended, 1 change"); n != 1 {
		t.Errorf("%d parts are marked, want 1", n)
	}
}

func TestPrintedCertificateCarriesTheConcession(t *testing.T) {
	d := newDesk(t)
	d.Verify(0)
	parts := d.Ready(1, 0)
	d.Finish(parts[0])
	held := d.Film(parts[0], "57", "60", "59", "62", "53")
	h, err := d.DB.HoldByNumber(t.Context(), d.Site.ID, held.HoldNumber)
	if err != nil {
		t.Fatal(err)
	}
	if err := d.DB.Decide(t.Context(), d.Everyone, h.ID, store.Decision{Parts: parts, Code: "concession", Reason: "Covered after assembly", ConcessionRef: "CR-9", ConcessionQuantity: 3}, d.Proof(d.Everyone)); err != nil {
		t.Fatal(err)
	}
	if err := d.DB.Release(t.Context(), d.Everyone, parts, d.Proof(d.Everyone)); err != nil {
		t.Fatal(err)
	}
	d.shipOut(parts)
	contains(t, d.get("/certificates/"+d.certified("DN-1").Number, http.StatusOK), "under concession CR-9", "for 3 parts", "Covered after assembly", "outside, accepted under concession")
}

func TestOldCertificateSaysWhatWasChangedAndByWhichItWasSuperseded(t *testing.T) {
	d := newDesk(t)
	parts, _, c := d.shipped()
	at := "/certificates/" + c.Number
	film := d.latest("TH-0001", quality.Film)
	d.Now = d.Now.Add(time.Minute)
	saved, err := d.DB.Void(t.Context(), d.Everyone, store.NewID(), store.Correction{Of: film.ID, Code: "device_fault", Text: "Probe was worn."}, d.Proof(d.Everyone))
	if err != nil {
		t.Fatal(err)
	}
	contains(t, d.get(at, http.StatusOK), "A value behind this certificate was changed on 24 November 2026", "Probe was worn.", "80.8")
	contains(t, d.get("/certificates", http.StatusOK), "something behind it was changed")
	contains(t, d.get(at+"/reissue", http.StatusOK), "Part TH-0001 is on hold "+saved.HoldNumber)
	form := url.Values{"record": {store.NewID().String()}, "part": {parts[1].String()}, "order": {"PO 7"}, "pin": {storetest.PIN}}
	contains(t, d.post(at+"/reissue", http.StatusUnprocessableEntity, form), "Choose why it is issued anew.", "Give the reason in words")
	form.Set("code", "record_corrected")
	form.Set("reason", "TH-0001 is measured again.")
	d.post(at+"/reissue", http.StatusSeeOther, form)
	contains(t, d.get(at, http.StatusOK), "Superseded by C-2026-0002")
	contains(t, d.get("/certificates/C-2026-0002", http.StatusOK), "Takes the place of C-2026-0001. A record behind it was corrected: TH-0001 is measured again.", "TH-0002", "The part listed conforms")
	// Sent again it is the same certificate; asked for anew it is refused.
	d.post(at+"/reissue", http.StatusSeeOther, form)
	form.Set("record", store.NewID().String())
	contains(t, d.post(at+"/reissue", http.StatusUnprocessableEntity, form), "C-2026-0001 was superseded by C-2026-0002 meanwhile.")
}

// TestBadPowderLotTracedToShippedParts is the story of a lot that turns out bad after parts left: from the trace to the
// shipped parts with customer and certificate, the hold on those in house, and the paper for the customer.
func TestBadPowderLotTracedToShippedParts(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	_, shipment, c := d.shipped()
	b := newBrowser(t, d.DB)
	b.enrolAndSignOn(d.Shop)
	inHouse := d.Parts(1)
	d.Weld(inHouse[0], quality.NoneFound)
	d.Bake([]uuid.UUID{d.Wash(inHouse, "4.6", 0)}, "196")

	b.open("/trace?kind=lot&name=" + d.Lot.LotNumber)
	b.sees("Material lot 000123 touched 4 parts", "Shipped", shipment.Number, c.Number, "Released or shipped to Halden")
	b.clean("trace-shipped")
	b.press("Mock recall against the clock")
	b.until("the exercise", `document.body.innerText.includes('Mock recall: 4 parts found in')`)
	b.sees("1 in house, 1 released and 2 shipped, for 1 customer")

	b.open("/setup/lots/" + d.Lot.ID.String())
	b.sees("Parts that left or ended: 3", "certificate "+c.Number, "delivery note DN-1")
	b.open("/trace?kind=lot&name=" + d.Lot.LotNumber)
	b.press(c.Number)
	b.until("the certificate", `location.pathname === '/certificates/`+c.Number+`'`)
	b.sees("Certificate of conformity", "TH-0001", "000123", "PE-7016")
	b.clean("certificate")
	b.open("/shipments/" + shipment.Number)
	b.sees("DN-1", "Halden")
	b.clean("shipment")
	for name, path := range map[string]string{"shipments": "/shipments", "ship": "/shipments/new?job=24117", "certificates": "/certificates", "certify": "/certificates/new?job=24117",
		"reissue": "/certificates/" + c.Number + "/reissue"} {
		b.open(path)
		b.clean(name)
	}
	// On paper of either size it takes more than a sheet, and the browser numbers them: page n of m.
	for name, paper := range map[string]chromedp.PaperSize{"a4": chromedp.PaperA4, "letter": chromedp.PaperLetter} {
		b.open("/certificates/" + c.Number)
		numbered := b.eval(`[...document.styleSheets].flatMap(s => [...s.cssRules]).flatMap(r => r.cssRules ? [...r.cssRules] : [r]).some(r => r.cssText.includes('@page') && r.cssText.includes('counter(page)') && r.cssText.includes('counter(pages)'))`)
		if sheets := b.sheets("certificate-"+name, paper); sheets < 2 || numbered != "true" {
			t.Errorf("on %s it has %d sheets, numbered: %s", name, sheets, numbered)
		}
	}
}

// sheets prints the open page and returns how many sheets it takes. The file is kept where COATBOOK_PAGES names a folder.
func (b *tablet) sheets(name string, paper chromedp.PaperSize) int {
	b.t.Helper()
	pdf, err := chromedp.Run(b.ctx, chromedp.PrintToPDF(chromedp.PDFPaper(paper)))
	if err != nil {
		b.t.Fatal(err)
	}
	if dir := os.Getenv("COATBOOK_PAGES"); dir != "" {
		if err := os.WriteFile(filepath.Join(dir, name+".pdf"), pdf, 0o644); err != nil {
			b.t.Fatal(err)
		}
	}
	return len(regexp.MustCompile(`/Type\s*/Page\b`).FindAll(pdf, -1))
}
