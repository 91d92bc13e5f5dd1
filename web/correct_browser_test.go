package web

import (
	"encoding/csv"
	"net/http"
	"strings"
	"testing"
	"time"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

// clean runs axe over the page that is open, at every size of glass.
func (b *tablet) clean(name string) {
	b.t.Helper()
	b.bringAxe()
	for _, g := range glasses {
		b.show(g)
		for _, line := range b.axe() {
			b.t.Errorf("%s at %s: %s", name, g, line)
		}
		if b.eval(`document.documentElement.scrollWidth > document.documentElement.clientWidth`) == "true" {
			b.t.Errorf("%s at %s scrolls sideways", name, g)
		}
		b.keep(name, g)
	}
	b.show(glasses[0])
}

// TestCorrectionAfterReleaseFromRecordToNewRelease corrects a film value of a released part: the release is void, the part on
// hold, its story shows what was and what is; it is found to have no defect and released anew; the exports have both values.
func TestCorrectionAfterReleaseFromRecordToNewRelease(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	d.busy()
	film := d.latest("TH-0001", quality.Film)
	b := newBrowser(t, d.DB)
	b.enrolAndSignOn(d.Shop)

	b.open("/records/" + film.ID.String())
	b.press("Correct this record")
	b.wait("#reading-1")
	b.sees("Released on this record: TH-0001", "signature of the release void")
	b.clean("correct")
	b.fill("Film thickness spot 1", "84.90")
	b.press("Preview the verdict")
	b.sees("Would be", "pass")
	b.choose("code", "typing_error")
	b.fill("Reason in words", "The last digit was wrong.")
	b.sign("maren", storetest.PIN)
	b.until("the correction", `location.pathname.startsWith('/records/') && !location.pathname.includes('`+film.ID.String()+`')`)
	b.sees("Release of TH-0001 signed by Maren Holt", "signature void", "was 84.20 µm", "now 84.90 µm", "Typing error: The last digit was wrong.", "meaning: corrected")
	if got := b.eval(`getComputedStyle(document.querySelector('td .was s')).textDecorationLine`); got != "line-through" {
		t.Errorf("the old value is drawn with %q", got)
	}
	b.clean("corrected-record")

	b.open("/parts/TH-0001")
	b.sees("on hold", "was 84.20 µm", "now 84.90 µm", "Release, signature void", "Corrected by Maren Holt")
	b.clean("corrected-part")
	hold := b.eval(`[...document.querySelectorAll('a')].map(a => a.getAttribute('href')).filter(h => h.startsWith('/holds/H-')).pop()`)
	b.open(hold)
	b.press("Decide what happens")
	b.wait("textarea[name=reason]")
	b.choose("code", "no_defect")
	b.fill("Reason, at least", "Still within the limits.")
	b.press("Review before signing")
	b.wait("input[name=pin]")
	if b.eval(`!!document.querySelector('input[name=signer]')`) == "true" {
		t.Error("the second signature of the sitting asks who signs")
	}
	b.sign("maren", storetest.PIN)
	b.until("the decision", `!document.querySelector('input[name=pin]')`)
	b.open("/parts/TH-0001/release")
	b.sign("maren", storetest.PIN)
	b.until("the release", `!document.querySelector('input[name=pin]')`)
	part, err := d.DB.PartBySerial(t.Context(), d.Site.ID, "TH-0001")
	if err != nil || part.Status != store.StatusReleased {
		t.Errorf("TH-0001 is %s, %v, want released anew", part.Status, err)
	}

	b.eval(`fetch('/exports/readings.csv?from=2026-11-01&to=2026-11-30').then(a => a.text()).then(t => { window.exported = t }); ''`)
	b.until("the export", `typeof window.exported === 'string'`)
	rows, err := csv.NewReader(strings.NewReader(b.eval("window.exported"))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	at := map[string]int{}
	for i, name := range rows[0] {
		at[name] = i
	}
	found := map[string]string{}
	for _, row := range rows[1:] {
		if row[at["part_serial"]] == "TH-0001" && row[at["spot_no"]] == "1" {
			found[row[at["value_recorded"]]] = row[at["superseded"]]
		}
	}
	if found["84.20"] != "true" || found["84.90"] != "false" {
		t.Errorf("the export has %v, want the old value superseded and the new one not", found)
	}
}

// TestStalePageAndVoidPageAreCleanAndFit looks at the two pages that the story above does not pass.
func TestStalePageAndVoidPageAreCleanAndFit(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	d.busy()
	weld := d.latest("TH-0004", quality.Weld)
	b := newBrowser(t, d.DB)
	b.enrolAndSignOn(d.Shop)
	b.open("/records/" + weld.ID.String() + "/void")
	b.sees("Void weld check")
	b.clean("void")
	b.open("/records/" + weld.ID.String() + "/correct")
	b.wait("#f-note")
	b.clean("correct-weld")
	b.fill("Note", "Lamp was dim.")
	b.choose("code", "other")
	b.fill("Reason in words", "The note was left out.")
	d.Now = d.Now.Add(time.Second)
	d.correctNote("TH-0004")
	b.sign("maren", storetest.PIN)
	b.sees("Corrected meanwhile", "Nothing of yours was stored", "Looked at under the lamp.", "Lamp was dim.", "Go on with my values")
	b.clean("stale")
	b.press("Go on with my values")
	b.until("the values as typed", `document.getElementById('f-note')?.value === 'Lamp was dim.'`)
}

// TestTakeBackIsOneTapOfTwentyMillimetres saves a weld check at the bench and takes it back; then one that waited on the tablet
// while the book was away.
func TestTakeBackIsOneTapOfTwentyMillimetres(t *testing.T) {
	b := newTablet(t)
	b.atTheWeldBench("TH-24117-01")
	b.fill("Welder", "Ruben Aske")
	b.fill("Light", "620")
	b.tap("None found")
	b.save()
	b.wait("form.take-back button")
	// 132 CSS pixels an inch on this tablet: 20 mm are 104.
	if got := b.eval(`(() => { const r = document.querySelector('form.take-back button').getBoundingClientRect(); return Math.min(r.width, r.height) >= 103.9 })()`); got != "true" {
		t.Error("the target is smaller than 20 mm")
	}
	b.clean("take-back")
	b.press("Take back")
	b.sees("is taken back", "entry undone")

	b.open("/parts/TH-24117-01/weld")
	b.wait("#light")
	b.fill("Welder", "Ruben Aske")
	b.fill("Light", "620")
	b.tap("None found")
	b.front.serve(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusServiceUnavailable) }))
	b.click("button[name=save]")
	b.until("the notice that it waits", `document.getElementById('saved').innerText.includes('Not saved yet: 1 waiting')`)
	b.front.serve(b.server)
	b.eval(`dispatchEvent(new Event('online')); ''`)
	b.wait("form.take-back button")
	b.press("Take back")
	b.sees("is taken back")
	undone := 0
	for _, r := range b.records("TH-24117-01") {
		if r.ReasonCode == store.EntryUndone {
			undone++
		}
	}
	if undone != 2 {
		t.Errorf("%d entries were taken back, want 2", undone)
	}
}
