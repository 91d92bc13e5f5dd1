package web

import (
	"io"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

func TestEveryKindOfMaterialIsAddedAndReceivedByScan(t *testing.T) {
	d := openSetupDesk(t)
	day := time.Now().Format(time.DateOnly)
	status, body := d.get("/setup/materials?kind=conversion")
	d.must(status, body, "Add a conversion chemical")
	if strings.Contains(body, "Cure window</legend>") || strings.Contains(body, `name="colour"`) {
		t.Error("a conversion chemical is asked for colour or cure window")
	}
	status, body = d.postAll("/setup/materials", url.Values{"kind": {"conversion"}, "code": {"ZR-5"}, "name": {"Zirconium conversion"}, "maker": {"Invented Chemicals"}, "storage-min": {"2"}, "storage": {"30"},
		"hazards": {"acid", "fluoride"}, "sheet_link": {"/files/zr5.pdf"}, "sheet_dated": {day}, "sheet_paper": {"Wash line"}})
	d.must(status, body, "Conversion chemical ZR-5 is added")
	status, body = d.post("/setup/materials", "kind", "heat", "code", "6060-T66", "name", "Extrusion", "maker", "Invented Mill")
	d.must(status, body, "Aluminium heat 6060-T66 is added")

	_, body = d.get("/setup/lots?lot=LOT.HN-1")
	heat, zr := d.option(body, "6060-T66"), d.option(body, "ZR-5")
	status, body = d.post("/setup/lots", "number", "HN-1", "material", heat, "received", day, "quantity", "600", "unit", "kg", "certificate_file", "https://example.org/31.pdf")
	d.must(status, body, "Lot HN-1 is received")
	status, body = d.post("/setup/lots", "number", "ZC-1", "material", zr, "received", day, "quantity", "25", "unit", "L")
	if status != http.StatusUnprocessableEntity || !strings.Contains(body, `id="expires-problem"`) || !strings.Contains(body, "need the day they expire") {
		t.Errorf("%d: a chemical without its last day must come back with a sentence at the date: %v", status, problemsOn(body))
	}
	status, body = d.post("/setup/lots", "number", "ZC-1", "material", zr, "received", day, "quantity", "25", "unit", "L", "expires", "2099-01-01", "certificate_file", "javascript:alert(1)")
	if status != http.StatusUnprocessableEntity || !strings.Contains(body, `id="certificate_file-problem"`) {
		t.Errorf("%d: a certificate that is no address was taken", status)
	}
	status, body = d.post("/setup/materials/ZR-5", "name", "Zirconium conversion", "maker", "Invented Chemicals", "storage", "30", "active", "yes", "sheet_link", "//elsewhere.example/x", "sheet_dated", day)
	if status != http.StatusUnprocessableEntity || !strings.Contains(body, `id="sheet_link-problem"`) {
		t.Errorf("%d: a sheet at //elsewhere was taken", status)
	}
}

// marked asks for pieces of a page as it is sent, addresses and fields included.
func marked(t *testing.T, page string, pieces ...string) {
	t.Helper()
	for _, piece := range pieces {
		if !strings.Contains(page, piece) {
			t.Errorf("the page has no %s", piece)
		}
	}
}

func bodyOf(t *testing.T, r *http.Response) string {
	t.Helper()
	body, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	return string(body)
}

func TestHoldingALotProposesItsPartsAndHoldsThemInOneAct(t *testing.T) {
	h := newHand(t)
	ready := h.Ready(3, 0)
	h.Verify(0)
	h.Finish(ready[0])
	h.Film(ready[0], "84", "85", "86", "84", "85")
	if err := h.DB.Release(t.Context(), h.Everyone, ready[:1], h.Proof(h.Everyone)); err != nil {
		t.Fatal(err)
	}
	g := newGuest(t, h.Shop)
	g.enrol(h.Shop)
	g.signOn(h.Everyone)
	lot := "/setup/lots/" + h.Lot.ID.String()
	read := func(r *http.Response) string { return bodyOf(t, r) }
	page := read(g.send("GET", lot, nil))
	contains(t, page, "Parts in house that it touched: 2", "Parts that left or ended: 1", "Halden", "TH-0001", "released")
	first := g.send("POST", lot, url.Values{"status": {"held"}, "reason": {"Maker recalls the batch"}})
	step := read(first)
	contains(t, step, "Which of its parts go on hold?", "Tell the customers of released parts", "TH-0002", "TH-0003")
	marked(t, step, `value="`+ready[1].String()+`" checked`)
	if strings.Contains(step, `value="`+ready[0].String()+`"`) {
		t.Error("a released part is offered for the hold")
	}
	if l, err := h.DB.MaterialLot(t.Context(), h.Site.ID, h.Lot.ID); err != nil || l.Status != "accepted" {
		t.Fatalf("the first step changed the lot: %+v, %v", l, err)
	}
	r := g.send("POST", lot, url.Values{"step": {"hold"}, "status": {"held"}, "reason": {"Maker recalls the batch"}, "part": {ready[1].String(), ready[2].String()}})
	if r.StatusCode != http.StatusSeeOther {
		t.Fatalf("%s: %s", r.Status, read(r))
	}
	contains(t, read(g.send("GET", lot, nil)), "2 parts on hold H-2026-0001", "held")
	if got := h.status("TH-0002"); got != store.StatusOnHold {
		t.Errorf("part TH-0002 is %s, want on hold", got)
	}
}

func TestCautionIsAskedOnceAShiftInBothLanguages(t *testing.T) {
	h := newHand(t)
	if _, err := h.DB.AddMaterial(t.Context(), h.Everyone, store.Material{Kind: store.Conversion, Code: "ZR-5", Name: "Zirconium conversion", Maker: "Invented Chemicals", Hazards: []string{"acid", "fluoride"},
		SheetLink: "/files/zr5.pdf", SheetIssuedOn: &h.Now, SheetPaperAt: "Wash line"}, nil); err != nil {
		t.Fatal(err)
	}
	parts := h.Parts(2)
	h.Weld(parts[0], quality.NoneFound)
	rack := store.NewID()
	if _, err := h.DB.HangRack(t.Context(), h.Everyone, rack, "K1"); err != nil {
		t.Fatal(err)
	}
	if err := h.DB.HangParts(t.Context(), h.Everyone, rack, parts[:1]); err != nil {
		t.Fatal(err)
	}
	racks, err := h.DB.OpenRacks(t.Context(), h.Site.ID)
	if err != nil || len(racks) != 1 {
		t.Fatal(racks, err)
	}
	path := "/racks/" + racks[0].Number + "/pretreatment"
	page := h.open(path, http.StatusOK)
	contains(t, page, "Acids, alkalis and fluorides in the wash.", "Ácidos, álcalis y fluoruros en el lavado.", "A conversion chemical in use holds fluoride.", "first-aid section", "protection section",
		"eyewash", "no medical advice", "paper: Wash line")
	marked(t, page, `name="read" value="pretreatment"`, `name="read" value="fluoride"`, `href="/files/zr5.pdf"`)
	h.enter(path, url.Values{"stage-1-ph": {"4.5"}, "read": {"pretreatment", "fluoride", "cure"}, "save": {"1"}}, http.StatusSeeOther)
	read, err := h.DB.CautionsRead(t.Context(), h.Site, h.Everyone.Person, h.Now)
	if err != nil || len(read) != 2 {
		t.Fatalf("read %+v, %v, want the two of the step and no other", read, err)
	}
	if again := h.open(path, http.StatusOK); strings.Contains(again, `name="read"`) || !strings.Contains(again, "Read this shift at") {
		t.Error("the caution is asked again in the same shift")
	}
	marked(t, h.open("/parts/"+h.serial(parts[1])+"/weld", http.StatusOK), `name="read" value="weld"`)
}

func TestWeldPageTakesFillerAndHeatAndNamesAHeldLot(t *testing.T) {
	h := newHand(t)
	lot := func(kind, number string) store.MaterialLot {
		m, err := h.DB.AddMaterial(t.Context(), h.Everyone, store.Material{Kind: kind, Code: "M-" + number, Name: "Trial", Maker: "Invented Mill"}, nil)
		if err != nil {
			t.Fatal(err)
		}
		l, err := h.DB.AddMaterialLot(t.Context(), h.Everyone, store.MaterialLot{MaterialID: m.ID, LotNumber: number, ReceivedOn: h.Now, Quantity: 10})
		if err != nil {
			t.Fatal(err)
		}
		return l
	}
	filler, heat := lot(store.Filler, "FW-1"), lot(store.Heat, "HN-1")
	part := h.serial(h.Parts(1)[0])
	path := "/parts/" + part + "/weld"
	contains(t, h.open(path, http.StatusOK), "Filler metal lot", "Aluminium heat", "FW-1", "HN-1")
	if _, err := h.DB.SetLotStatus(t.Context(), h.Everyone, heat.ID, "held", "Certificate is missing"); err != nil {
		t.Fatal(err)
	}
	form := url.Values{"none_found": {"yes"}, "filler": {filler.ID.String()}, "heat": {heat.ID.String()}, "save": {"1"}}
	refused := h.enter(path, form, http.StatusUnprocessableEntity)
	contains(t, refused, "Aluminium heat lot HN-1 is held.")
	marked(t, refused, `href="#filler"`)
	form.Set("override-rule", store.RuleLotRejected)
	form.Set("override-by", h.Everyone.Person.String())
	form.Set("override-reason", "Certificate arrived by mail")
	form.Set("override-pin", storetest.PIN)
	h.enter(path, form, http.StatusSeeOther)
	d := h.desk
	contains(t, d.get("/parts/"+part, http.StatusOK), "HN-1 is held", "Certificate arrived by mail", "filler metal lot")
	contains(t, d.get("/trace?kind=lot&name=HN-1", http.StatusOK), part)
}
