package web

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"coatbook/store"
)

func TestEveryStepIsEnteredOnItsPage(t *testing.T) {
	h := newHand(t)
	part := h.Parts(1)[0]
	serial := h.serial(part)
	h.enter("/parts/"+serial+"/weld", url.Values{"none_found": {"1"}, "aid": {"eye"}, "welder": {h.who.Person.String()}}, http.StatusSeeOther)
	rack := h.enter("/racks", url.Values{"tag": {"RACK.K7"}}, http.StatusSeeOther)
	h.enter(rack+"/parts", url.Values{"serial": {"PART." + serial}}, http.StatusSeeOther)
	h.enter(rack+"/pretreatment", url.Values{"stage-1-ph": {"4.6"}, "bath-1": {h.Bath.ID.String()}}, http.StatusSeeOther)
	h.enter(rack+"/coating", started(url.Values{"powder": {h.Lot.ID.String()}, "booth": {h.Booths[0].ID.String()}, "humidity": {"48"}}), http.StatusSeeOther)
	load := h.enter("/loads", url.Values{"oven": {h.Oven.ID.String()}}, http.StatusSeeOther)
	h.enter(load+"/racks", url.Values{"rack": {"K7"}}, http.StatusSeeOther)
	h.enter(load+"/cure", url.Values{"set_point": {"205"}, "oven_time": {"30"}, "peak-1": {"199.5"}, "above-1": {"15"}, "place-1": {"heaviest section"}}, http.StatusSeeOther)
	h.enter(load+"/cure-test", url.Values{"rubs": {"50"}, "rating": {"4"}, "swab": {"none"}, "tested": {part.String()}}, http.StatusSeeOther)
	h.enter("/parts/"+serial+"/finish", url.Values{"none_found": {"1"}}, http.StatusSeeOther)
	h.enter("/gauges/"+h.Gauge.Code+"/verification", url.Values{"zero": {"0.2"}, "shim-SH-1": {"50.3"}, "shim-SH-2": {"124.6"}}, http.StatusSeeOther)
	h.enter("/parts/"+serial+"/film", h.filmForm("78.2", "80.1", "77.5", "86.0", "90.3"), http.StatusSeeOther)
	if got := h.status(serial); got != "accepted" {
		t.Errorf("after every step the part is %q, want accepted", got)
	}
}

func TestEntryPagesWarnAndStateRanges(t *testing.T) {
	h := newHand(t)
	part := h.Ready(1, 0)[0]
	p, err := h.DB.PartBySerial(t.Context(), h.Site.ID, h.serial(part))
	if err != nil {
		t.Fatal(err)
	}
	for path, words := range map[string][]string{
		"/parts/" + p.Serial + "/weld":              {"Weld fume, arc light, aluminium dust", "10 to 20000 lx", "2017 Surface pore", "None found"},
		"/parts/" + p.Serial + "/film":              {"may still be hot", "60 to 120 µm", "no spot below 80 %", "Spot cannot be reached"},
		"/parts/" + p.Serial + "/finish":            {"Defects found", "Orange peel"},
		"/racks/" + p.Rack + "/pretreatment":        {"Acids, alkalis and fluorides", "eyewash", "0 to 14", "Spec: 3.8 to 5"},
		"/racks/" + p.Rack + "/coating":             {"must be earthed", "stays outside the classified spray area", "1 to 100 %", "Powder lot"},
		"/loads/" + p.Load + "/cure":                {"Do not open during purge", "lock-out", "time counts from 190 °C", "12 to 30 min at 180 °C"},
		"/loads/" + p.Load + "/cure-test":           {"MEK and like solvents catch fire", "ovens, sparks and charged spray equipment", "gloved"},
		"/gauges/" + h.Gauge.Code + "/verification": {"Bare plate", "Shim SH-1, 50 µm", "Permitted error"},
	} {
		page := h.open(path, http.StatusOK)
		contains(t, page, words...)
		contains(t, page, "Review, then save", h.who.Name)
	}
}

func TestWeldCheckSaysWhatIsMissing(t *testing.T) {
	h := newHand(t)
	address := "/parts/" + h.serial(h.Parts(1)[0]) + "/weld"
	contains(t, h.enter(address, url.Values{"save": {"1"}}, http.StatusUnprocessableEntity), "state that none was found")
	page := h.enter(address, url.Values{"defect-1-place": {"weld 3"}, "defect-1-size": {"-1"}}, http.StatusUnprocessableEntity)
	contains(t, page, "Line 1: choose the imperfection.")
	if !strings.Contains(page, `value="weld 3"`) {
		t.Error("the typed place was lost")
	}
	if more := h.enter(address, url.Values{"more": {"1"}}, http.StatusOK); strings.Count(more, `-code"`) < 6 {
		t.Error("more lines brought no more lines")
	}
}

func TestScanGoesWhereTheLabelSays(t *testing.T) {
	h := newHand(t)
	serial := h.serial(h.Parts(1)[0])
	for code, to := range map[string]string{
		serial: "/parts/" + serial, "PART." + serial: "/parts/" + serial, "GAUGE.FG-01": "/gauges/FG-01/verification", "": "/bench",
	} {
		if got := h.open("/scan?code="+url.QueryEscape(code), http.StatusSeeOther); got != to {
			t.Errorf("%q leads to %s, want %s", code, got, to)
		}
	}
	contains(t, h.open("/scan?code=TH-9999", http.StatusNotFound), "Not known: TH-9999", "Scan it once more")
	contains(t, h.open("/scan?code=BADGE.x", http.StatusUnprocessableEntity), "That is a badge")
}

func TestRackRefusesWhatIsNoHangtag(t *testing.T) {
	h := newHand(t)
	rack := h.enter("/racks", url.Values{"tag": {"K7"}}, http.StatusSeeOther)
	contains(t, h.enter(rack+"/parts", url.Values{"serial": {"LOT.000123"}}, http.StatusUnprocessableEntity), "is not a hangtag")
	contains(t, h.enter(rack+"/parts", url.Values{"serial": {"TH-9999"}}, http.StatusUnprocessableEntity), "is not a part of this site")
	contains(t, h.enter("/racks", url.Values{"tag": {"PART.TH-0001"}}, http.StatusUnprocessableEntity), "is not a rack tag")
}

func TestRackHungTwiceIsOneRack(t *testing.T) {
	h := newHand(t)
	form := url.Values{"tag": {"K7"}, "record": {store.NewID().String()}}
	if first, second := h.enter("/racks", form, http.StatusSeeOther), h.enter("/racks", form, http.StatusSeeOther); first != second {
		t.Errorf("got %s and %s, want one rack", first, second)
	}
}

func TestPartTakenOffBeforeTheWash(t *testing.T) {
	h := newHand(t)
	part := h.Parts(1)[0]
	serial := h.serial(part)
	h.Weld(part, "none")
	rack := h.enter("/racks", url.Values{"tag": {"K7"}}, http.StatusSeeOther)
	h.enter(rack+"/parts", url.Values{"serial": {serial}}, http.StatusSeeOther)
	contains(t, h.open(rack, http.StatusOK), serial, "Take off")
	h.enter(rack+"/parts/"+serial+"/remove", url.Values{}, http.StatusSeeOther)
	contains(t, h.open(rack, http.StatusOK), "Nothing hangs here yet")
}

func TestBenchListsWhatIsDueAndWhichGaugesMayBeUsed(t *testing.T) {
	h := newHand(t)
	serial := h.serial(h.Parts(1)[0])
	contains(t, h.open("/bench", http.StatusOK), serial, "Weld check", "FG-01", "not verified this shift")
	h.Verify(0)
	contains(t, h.open("/bench", http.StatusOK), "verified")
}

func TestExpiredPowderIsSignedOrRefused(t *testing.T) {
	h := newHand(t)
	part := h.Parts(1)[0]
	h.Weld(part, "none")
	rack := h.enter("/racks", url.Values{"tag": {"K7"}}, http.StatusSeeOther)
	h.enter(rack+"/parts", url.Values{"serial": {h.serial(part)}}, http.StatusSeeOther)
	h.enter(rack+"/pretreatment", url.Values{"stage-1-ph": {"4.6"}}, http.StatusSeeOther)
	made, expired := h.Now.AddDate(-2, 0, 0), h.Now.AddDate(-1, 0, 0)
	old, err := h.DB.AddMaterialLot(t.Context(), h.Everyone, store.MaterialLot{MaterialID: h.Lot.MaterialID, LotNumber: "000099", MadeOn: &made,
		ReceivedOn: made, ExpiresOn: &expired, Quantity: 20})
	if err != nil {
		t.Fatal(err)
	}
	form := started(url.Values{"powder": {old.ID.String()}, "booth": {h.Booths[0].ID.String()}, "humidity": {"48"}})
	contains(t, h.enter(rack+"/coating", form, http.StatusUnprocessableEntity), "expired", "Allow this once, signed by a supervisor")
	form.Set("override-rule", store.RuleLotExpired)
	form.Set("override-by", h.Everyone.Person.String())
	form.Set("override-pin", "594713")
	contains(t, h.enter(rack+"/coating", form, http.StatusUnprocessableEntity), "give the reason")
	form.Set("override-reason", "Retested yesterday, within limits.")
	h.enter(rack+"/coating", form, http.StatusSeeOther)
}
