package web

import (
	"encoding/csv"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

func TestRepeatedHourOfTheAutumnChangeKeepsBothInstants(t *testing.T) {
	d := newDesk(t)
	parts := d.Parts(2)
	// In 2027 the clocks of America/Chicago go back on 7 November: 01:30 comes at 06:30 and at 07:30 UTC.
	for i, at := range []string{"2027-11-07T06:30:00Z", "2027-11-07T07:30:00Z"} {
		d.Now, _ = time.Parse(time.RFC3339, at)
		d.Weld(parts[i], quality.NoneFound)
	}
	w := httptest.NewRecorder()
	d.handler().ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/exports/checks.csv?from=2027-11-06&to=2027-11-07", nil))
	rows, err := csv.NewReader(w.Body).ReadAll()
	if err != nil || len(rows) != 3 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	at := -1
	for i, name := range rows[0] {
		if name == "observed_at" {
			at = i
		}
	}
	if at < 0 || !strings.HasPrefix(rows[1][at], "2027-11-07T01:30:") || !strings.HasSuffix(rows[1][at], "-05:00") ||
		!strings.HasPrefix(rows[2][at], "2027-11-07T01:30:") || !strings.HasSuffix(rows[2][at], "-06:00") {
		t.Errorf("the export has %v", rows)
	}
	for i, offset := range []string{"-05:00", "-06:00"} {
		records, err := d.DB.RecordsOn(t.Context(), d.Site.ID, store.Subject{Kind: quality.OnPart, ID: parts[i]})
		if err != nil || len(records) != 1 {
			t.Fatal(records, err)
		}
		contains(t, d.get("/records/"+records[0].ID.String(), http.StatusOK), "01:30", offset)
	}
}

func TestTwoPeopleOnOneTabletKeepTheirOwnEntries(t *testing.T) {
	shop := storetest.NewShop(t)
	people := []store.Actor{shop.AddPerson("Ilse Brandt", "ilse", store.Inspector), shop.AddPerson("Amara Diallo", "amara", store.Inspector)}
	parts := shop.Parts(20)
	g := newGuest(t, shop)
	g.enrol(shop)
	for i := range parts {
		if r := g.signOn(people[i%2]); r.StatusCode != http.StatusSeeOther {
			t.Fatalf("sign-on %d: %s", i, r.Status)
		}
		form := url.Values{"record": {store.NewID().String()}, "none_found": {"1"}, "aid": {"eye"}, "welder": {shop.Everyone.Person.String()}, "save": {"1"}}
		if r := g.send("POST", fmt.Sprintf("/parts/TH-%04d/weld", i+1), form); r.StatusCode != http.StatusSeeOther {
			body, _ := io.ReadAll(r.Body)
			t.Fatalf("entry %d: %s %s", i, r.Status, textOf(string(body)))
		}
		g.send("POST", "/lock", url.Values{})
	}
	for i, part := range parts {
		records, err := shop.DB.RecordsOn(t.Context(), shop.Site.ID, store.Subject{Kind: quality.OnPart, ID: part})
		if err != nil || len(records) != 1 {
			t.Fatal(records, err)
		}
		full, err := shop.DB.RecordByID(t.Context(), shop.Site.ID, records[0].ID)
		if err != nil || full.Person != people[i%2].Name {
			t.Errorf("entry %d belongs to %q (%v), want %s", i, full.Person, err, people[i%2].Name)
		}
	}
	if _, err := shop.DB.AddPerson(t.Context(), shop.Everyone, store.NewPerson{Name: "Bench", SignOnName: "bench", Roles: []string{"shared"}}); err == nil {
		t.Error("a shared account was made")
	}
}

func TestOneSiteReachesNothingOfAnother(t *testing.T) {
	d := newDesk(t)
	d.busy()
	if _, _, err := d.DB.AddDevice(t.Context(), d.Everyone, store.NewDevice{Name: "Home tablet", LocationClass: "unclassified"}); err != nil {
		t.Fatal(err)
	}
	samples := d.samples()
	other := &storetest.Shop{DB: d.DB, Now: d.Now}
	var err error
	if other.Site, err = d.DB.AddSite(t.Context(), store.NewSite{Code: "SB", Name: "South Bay Plant", TimeZone: "America/Chicago"}); err != nil {
		t.Fatal(err)
	}
	home := d.Site
	d.Site = other.Site
	stranger := d.AddPerson("Sam Reed", "sam", store.Roles...)
	d.Site = home
	_, secret, err := d.DB.AddDevice(t.Context(), stranger, store.NewDevice{Name: "South tablet", LocationClass: "unclassified"})
	if err != nil {
		t.Fatal(err)
	}
	g := newGuest(t, d.Shop)
	g.send("POST", "/enrol/"+secret, url.Values{"location_class": {"unclassified"}, "css_px_per_inch": {"132"}})
	if r := g.signOn(stranger); r.StatusCode != http.StatusSeeOther {
		t.Fatalf("the stranger cannot sign on: %s", r.Status)
	}
	tried := 0
	for _, route := range g.server.routes() {
		values := samplesOf(samples, route.pattern)
		if values == nil {
			continue
		}
		path := fill(route.pattern, values...)
		var form url.Values
		if route.method == "POST" {
			form = url.Values{"record": {store.NewID().String()}, "pin": {storetest.PIN}, "step": {"review"}, "reason": {"a reason long enough"}, "status": {"withdrawn"}, "name": {"x"}}
		}
		r := g.send(route.method, path, form)
		body, _ := io.ReadAll(r.Body)
		// A date is every site's; what must not be there is what happened on it at the other one.
		own := route.pattern == "/reviews/{date}"
		if !own && r.StatusCode != http.StatusNotFound && r.StatusCode != http.StatusForbidden {
			t.Errorf("%s %s from another site: %s", route.method, path, r.Status)
		}
		for _, data := range []string{"Halden", "Rail frame", "Maren Holt", "000123"} {
			if strings.Contains(string(body), data) {
				t.Errorf("%s %s shows %q to another site", route.method, path, data)
			}
		}
		tried++
	}
	if tried < 40 {
		t.Errorf("only %d addresses were tried", tried)
	}
	for _, file := range []string{"parts.csv", "checks.csv", "readings.csv"} {
		r := g.send("GET", "/exports/"+file+"?from=2026-11-01&to=2026-11-30", nil)
		body, _ := io.ReadAll(r.Body)
		if r.StatusCode != http.StatusOK || strings.Contains(string(body), "TH-0") {
			t.Errorf("%s of another site: %s, %.200s", file, r.Status, body)
		}
	}
}

func TestSittingEndsAtItsLimitsOnTheTabletAndInABrowser(t *testing.T) {
	shop := storetest.NewShop(t)
	g := newGuest(t, shop)
	g.enrol(shop)
	idle := time.Duration(shop.Site.IdleMinutes) * time.Minute
	open := func() bool { return g.send("GET", "/holds", nil).StatusCode == http.StatusOK }
	g.signOn(shop.Everyone)
	shop.Now = shop.Now.Add(idle - time.Minute)
	if !open() {
		t.Errorf("the tablet locked before its %v", idle)
	}
	shop.Now = shop.Now.Add(idle + time.Minute)
	if open() {
		t.Errorf("the tablet is open after lying for more than %v", idle)
	}
	g.signOn(shop.Everyone)
	for range int(longestStint/idle) + 2 {
		shop.Now = shop.Now.Add(idle - time.Second)
		open()
	}
	if open() {
		t.Errorf("a busy sitting outlasts %v", longestStint)
	}
}

var selected = regexp.MustCompile(`<select id="(\w+)"[^>]*>(?s:.*?)</select>`)

// carried are the lists of a page that have a choice made already.
func carried(page string) map[string]string {
	found := map[string]string{}
	for _, list := range selected.FindAllStringSubmatch(page, -1) {
		if m := regexp.MustCompile(`<option value="([^"]+)"[^>]* selected`).FindStringSubmatch(list[0]); m != nil {
			found[list[1]] = m[1]
		}
	}
	return found
}

func TestLotBoothAndGaugeAreEnteredOnceForALoad(t *testing.T) {
	h := newHand(t)
	coat := func(tag string, part string, form url.Values) map[string]string {
		rack := h.enter("/racks", url.Values{"tag": {tag}}, http.StatusSeeOther)
		h.enter(rack+"/parts", url.Values{"serial": {part}}, http.StatusSeeOther)
		h.enter(rack+"/pretreatment", url.Values{"stage-1-ph": {"4.6"}, "bath-1": {h.Bath.ID.String()}}, http.StatusSeeOther)
		known := carried(h.open(rack+"/coating", http.StatusOK))
		for name, value := range known {
			if !form.Has(name) {
				form.Set(name, value)
			}
		}
		h.enter(rack+"/coating", form, http.StatusSeeOther)
		return known
	}
	parts := h.Parts(2)
	for _, p := range parts {
		h.Weld(p, quality.NoneFound)
	}
	first := started(url.Values{"powder": {h.Lot.ID.String()}, "booth": {h.Booths[1].ID.String()}, "humidity": {"48"}})
	coat("K7", h.serial(parts[0]), first)
	if known := coat("K8", h.serial(parts[1]), url.Values{"humidity": {"48"}}); known["powder"] != h.Lot.ID.String() || known["booth"] != h.Booths[1].ID.String() {
		t.Errorf("the second rack's page carries %v, want lot and booth of the first", known)
	}

	ready := h.Ready(10, 0)
	h.Verify(0)
	for i, p := range ready {
		address := "/parts/" + h.serial(p) + "/film"
		page := h.open(address, http.StatusOK)
		contains(t, page, h.serial(p), "L-0", "R-0", h.who.Name)
		form := h.filmForm("78.2", "80.1", "77.5", "86.0", "90.3")
		if i > 0 {
			form.Set("gauge", carried(page)["gauge"])
		}
		h.enter(address, form, http.StatusSeeOther)
	}
}

// started adds a booth's start-up to a coating run.
func started(form url.Values) url.Values {
	for name, value := range map[string]string{"booth_fan": "running", "booth_interlock": "proved", "earth_meter": "EM-3", "ground_resistance": "0.4"} {
		if !form.Has(name) {
			form.Set(name, value)
		}
	}
	return form
}

func TestFirstCoatingRunOfAShiftRecordsTheBoothsStartUp(t *testing.T) {
	h := newHand(t)
	spec, err := h.Spec.Spec()
	if err != nil {
		t.Fatal(err)
	}
	limited := *spec.Coating
	limited.Ground = quality.AtMost(1, quality.Megohm)
	spec.Coating = &limited
	revision, err := h.DB.NewRevision(t.Context(), h.Everyone, h.Spec.Code, "B")
	if err == nil {
		err = h.DB.SaveDraft(t.Context(), h.Everyone, revision.ID, spec)
	}
	if err == nil {
		err = h.DB.ApproveSpec(t.Context(), h.Everyone, revision.ID, h.Proof(h.Everyone))
	}
	if err != nil {
		t.Fatal(err)
	}
	coatable := func(tag string) string {
		part := h.Parts(1)[0]
		h.Weld(part, quality.NoneFound)
		rack := h.enter("/racks", url.Values{"tag": {tag}}, http.StatusSeeOther)
		h.enter(rack+"/parts", url.Values{"serial": {h.serial(part)}}, http.StatusSeeOther)
		h.enter(rack+"/pretreatment", url.Values{"stage-1-ph": {"4.6"}, "bath-1": {h.Bath.ID.String()}}, http.StatusSeeOther)
		return rack + "/coating"
	}
	run := func(extra ...string) url.Values {
		form := url.Values{"powder": {h.Lot.ID.String()}, "booth": {h.Booths[0].ID.String()}, "humidity": {"48"}, "ground_resistance": {"0.4"}}
		for i := 0; i < len(extra); i += 2 {
			form.Set(extra[i], extra[i+1])
		}
		return form
	}
	first := coatable("K1")
	contains(t, h.open(first, http.StatusOK), "Booth start-up", "Exhaust fan", "Interlock")
	contains(t, h.enter(first, run(), http.StatusUnprocessableEntity), "Exhaust fan: say", "Interlock: say", "name the meter")
	for _, bad := range []struct{ field, value, words string }{{"booth_fan", "stopped", "The booth is not ready: the exhaust fan is not running"},
		{"booth_interlock", "failed", "The booth is not ready: the interlock"}, {"ground_resistance", "1.4", "The booth is not ready: the hanger has 1.4 MΩ"}} {
		form := started(run())
		form.Set(bad.field, bad.value)
		contains(t, h.enter(first, form, http.StatusUnprocessableEntity), bad.words)
	}
	form := started(run())
	form.Set("ground_resistance", "1") // a value equal to the limit is within it
	form.Set("record", store.NewID().String())
	h.enter(first, form, http.StatusSeeOther)
	record := (&desk{Shop: h.Shop, t: t, server: h.server, who: h.who}).get("/records/"+form.Get("record"), http.StatusOK)
	contains(t, record, "Booth ready", "yes", "Booth fan", "running", "Booth interlock", "proved", "Earth meter", "EM-3", "MΩ")

	second := coatable("K2")
	if strings.Contains(h.open(second, http.StatusOK), "Booth start-up") {
		t.Error("the start-up is asked for twice in a shift")
	}
	contains(t, h.enter(second, run("booth", h.Booths[1].ID.String()), http.StatusUnprocessableEntity), "Exhaust fan: say")
	h.enter(second, run(), http.StatusSeeOther)
	third := coatable("K3")
	h.Now = h.Now.Add(8 * time.Hour)
	contains(t, h.enter(third, run(), http.StatusUnprocessableEntity), "Exhaust fan: say")
}
