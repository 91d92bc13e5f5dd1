package web

import (
	"fmt"
	"net/http"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

// atTheWeldBench opens the weld check of a fresh part as Teodor.
func (b *tablet) atTheWeldBench(serial string) string {
	b.t.Helper()
	b.addParts(serial)
	b.as("teodor")
	address := "/parts/" + serial + "/weld"
	b.open(address)
	b.wait("#light")
	return address
}

func (b *tablet) records(serial string) []store.Header {
	b.t.Helper()
	p, err := b.shop.DB.PartBySerial(b.t.Context(), b.shop.Site.ID, serial)
	if err != nil {
		b.t.Fatal(err)
	}
	records, err := b.shop.DB.RecordsOn(b.t.Context(), b.shop.Site.ID, store.Subject{Kind: quality.OnPart, ID: p.ID})
	if err != nil {
		b.t.Fatal(err)
	}
	return records
}

func TestGaugeThatTypesMovesOnFlagsAndNeverSaves(t *testing.T) {
	b := newTablet(t)
	b.as("ilse")
	b.open("/gauges/EC-07/verification?unit=um")
	b.wait("input.reading")
	// An impossible value stays where it is and asks to check the gauge.
	b.until("the first reading in focus", `document.activeElement.matches('input.reading')`)
	zero := b.eval(`document.activeElement.id`) // the bare plate
	b.do(chromedp.KeyEvent("8420" + kb.Enter))
	b.sees("cannot be right: check the gauge")
	if b.eval(`document.activeElement.id`) != zero {
		t.Error("an impossible value moved on")
	}
	// A burst of characters as a gauge sends it, then Enter: nothing is lost and the next reading has the focus.
	b.eval(fmt.Sprintf(`(() => { const zero = document.getElementById(%q); zero.focus(); zero.select();
		for (const c of '0.2') document.execCommand('insertText', false, c);
		zero.form.requestSubmit(zero.form.querySelector('[name=preview][hidden]')); })()`, zero))
	b.until("the next reading", fmt.Sprintf(`document.activeElement.matches('input.reading') && document.activeElement.id !== %q`, zero))
	if got := b.eval(fmt.Sprintf(`document.getElementById(%[1]q).value + '|' + document.querySelector('[name=' + %[1]q + '-source]').value`, zero)); got != "0.2|wedge" {
		t.Errorf("the gauge's reading is %q, want 0.2 from a wedge", got)
	}
	// A powder lot scanned while a reading has the focus leaves the reading empty.
	id := b.eval(`document.activeElement.id`)
	b.do(chromedp.KeyEvent("BATH.B1" + kb.Enter))
	b.sees("has no place on this page")
	if got := b.eval(fmt.Sprintf(`document.getElementById(%q).value`, id)); got != "" {
		t.Errorf("the scan went into the reading: %q", got)
	}
	if b.eval(`location.pathname`) != "/gauges/EC-07/verification" {
		t.Error("Enter left the page")
	}
}

func TestHalfTypedValuesComeBackToTheirAuthorAlone(t *testing.T) {
	b := newTablet(t)
	address := b.atTheWeldBench("TH-24117-01")
	b.do(chromedp.SendKeys("#light", "612"))
	b.until("the draft", `Object.keys(localStorage).some(k => k.startsWith('draft|') && localStorage[k].includes('612'))`)
	b.as("ilse")
	b.open(address)
	b.wait("#light")
	if got := b.eval(`document.getElementById('light').value`); got != "" {
		t.Errorf("Ilse sees what Teodor typed: %q", got)
	}
	b.as("teodor")
	b.open(address)
	b.until("his value", `document.getElementById('light').value === '612'`)
	b.sees("have not saved them")
	b.tap("None found")
	b.fill("Welder", "Ruben Aske")
	b.save()
	if b.eval(`Object.keys(localStorage).some(k => k.startsWith('draft|'))`) != "false" {
		t.Error("the draft stayed after the save")
	}
}

func TestEntryWaitsOnTheTabletWhileTheBookIsAway(t *testing.T) {
	b := newTablet(t)
	b.atTheWeldBench("TH-24117-01")
	b.fill("Welder", "Ruben Aske")
	b.fill("Light", "620")
	b.tap("None found")
	b.front.serve(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusServiceUnavailable) }))
	b.click("button[name=save]")
	b.until("the notice that it waits", `document.getElementById('saved').innerText.includes('Not saved yet: 1 waiting')`)
	if n := len(b.records("TH-24117-01")); n != 0 {
		t.Fatalf("%d records while the book is away", n)
	}
	record, err := uuid.Parse(b.eval(`document.querySelector('[name=record]').value`))
	if err != nil {
		t.Fatal(err)
	}
	b.front.serve(b.server)
	b.eval(`dispatchEvent(new Event('online'))`)
	b.untilSaved()
	records := b.records("TH-24117-01")
	if len(records) != 1 || records[0].ID != record || time.Since(records[0].ObservedAt) > 5*time.Minute {
		t.Errorf("got %+v, want the one record %s", records, record)
	}
}

func TestBrowserThatKeepsNothingStillSavesAndSaysWhenItCannot(t *testing.T) {
	b := newTablet(t)
	b.atTheWeldBench("TH-24117-01")
	b.eval(`IDBObjectStore.prototype.put = () => { throw new DOMException('full', 'QuotaExceededError'); }; ''`)
	b.fill("Welder", "Ruben Aske")
	b.fill("Light", "620")
	b.tap("None found")
	b.front.serve(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusServiceUnavailable) }))
	b.click("button[name=save]")
	b.sees("this browser cannot keep the entry for later")
	b.front.serve(b.server)
	b.click("button[name=save]")
	b.untilSaved()
	if n := len(b.records("TH-24117-01")); n != 1 {
		t.Errorf("%d records, want 1", n)
	}
}

func TestFormSentBeforeItsValuesWereBackGetsThemBack(t *testing.T) {
	b := newTablet(t)
	b.atTheWeldBench("TH-24117-01")
	b.fill("Light", "633")
	b.tap("None found")
	b.until("the draft", `Object.keys(localStorage).some(k => k.startsWith('draft|') && localStorage[k].includes('633'))`)
	// As the page stands before its scripts run: empty, and sent by the browser itself.
	b.eval(`(() => { const f = document.querySelector('form[data-entry]'); f.elements.light.value = ''; for (const e of f.elements) e.checked = false;
		f.append(Object.assign(document.createElement('input'), {type: 'hidden', name: 'save', value: '1'})); HTMLFormElement.prototype.submit.call(f); })()`)
	b.until("the problems and the values", `!!document.getElementById('problems') && document.getElementById('light').value === '633' && document.querySelector('[name=none_found]').checked`)
}

// untilSaved waits for the page after a save and for the strip to say so.
func (b *tablet) untilSaved() {
	b.t.Helper()
	b.until("the save", `!/\/(weld|signon)$/.test(location.pathname) && document.readyState === 'complete'`)
	b.until("all saved", `document.getElementById('saved')?.innerText.includes('All saved') ?? true`)
}

func TestEndedSittingAsksForSignOnAndThenSavesTheSameValuesOnce(t *testing.T) {
	b := newTablet(t)
	address := b.atTheWeldBench("TH-24117-01")
	b.fill("Welder", "Ruben Aske")
	b.fill("Light", "633")
	b.tap("None found")
	b.until("the draft", `Object.keys(localStorage).some(k => k.startsWith('draft|') && localStorage[k].includes('633'))`)
	record := b.eval(`document.querySelector('[name=record]').value`)
	if _, err := storetest.Owner(t, b.shop.DB).Exec(t.Context(), "DELETE FROM sessions"); err != nil {
		t.Fatal(err)
	}
	b.click("button[name=save]")
	b.wait("#pin-form")
	if n := len(b.records("TH-24117-01")); n != 0 {
		t.Fatalf("%d records were saved after the sitting had ended", n)
	}
	b.tap("Teodor Quist")
	b.do(chromedp.SendKeys("#pin", "530681"+kb.Enter))
	b.untilSaved()
	records := b.records("TH-24117-01")
	if len(records) != 1 || records[0].ID.String() != record {
		t.Errorf("got %+v, want the one record %s", records, record)
	}
	b.open(address)
	b.wait("#light")
	if got := b.eval(`document.getElementById('light').value + Object.keys(localStorage).filter(k => k.startsWith('draft|')).length`); got != "0" {
		t.Errorf("what was saved comes back as a draft: %q", got)
	}
}

func TestLockIsOneTapAndLeavesNothingBehind(t *testing.T) {
	b := newTablet(t)
	b.atTheWeldBench("TH-24117-01")
	b.sees("TH-24117-01", "Teodor Quist")
	b.click("#lock button")
	b.wait("#pin-form")
	b.do(chromedp.Evaluate[chromedp.Void](`history.back()`))
	b.until("the page after Back", `document.readyState === 'complete' && !!document.querySelector('#pin-form, h1')`)
	b.wait("#pin-form")
	for _, left := range []string{"TH-24117-01", "Halden", "Weld check"} {
		if b.eval(fmt.Sprintf(`document.documentElement.outerHTML.replace(/name="next"[^>]*>/g, '').includes(%q)`, left)) == "true" {
			t.Errorf("after Lock and Back the page still has %q", left)
		}
	}
}

func TestQueuedSavedAndRefusedAreAnnouncedWithoutMovingTheFocus(t *testing.T) {
	b := newTablet(t)
	b.atTheWeldBench("TH-24117-01")
	b.fill("Welder", "Ruben Aske")
	b.tap("None found")
	listen := `window.heard = []; for (const e of document.querySelectorAll('[role=status], [aria-live]')) new MutationObserver(() => heard.push(e.innerText)).observe(e, {childList: true, subtree: true, characterData: true}); ''`
	b.eval(listen)
	b.do(chromedp.SendKeys("#light", "620"))
	save := func() {
		b.eval(`document.querySelector('form[data-entry]').requestSubmit(document.querySelector('button[name=save]'))`)
	}
	announced := func(words string) {
		t.Helper()
		b.until("“"+words+"” in a live region", fmt.Sprintf(`heard.some(h => h.includes(%q))`, words))
		if at := b.eval(`document.activeElement.id`); at != "light" {
			t.Errorf("“%s” moved the focus to %q", words, at)
		}
	}
	b.front.serve(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusServiceUnavailable) }))
	save()
	announced("Not saved yet: the book cannot be reached")
	announced("1 waiting since")
	b.front.serve(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Refused-Because", "Part%20TH-24117-01%20is%20on%20hold.")
		w.WriteHeader(http.StatusUnprocessableEntity)
	}))
	b.eval(`dispatchEvent(new Event('online'))`)
	announced("needs attention")
	b.sees("Part TH-24117-01 is on hold.")
	b.front.serve(b.server)
	b.press("Open it again")
	b.until("the form", `document.readyState === 'complete' && !!document.getElementById('draft') && document.getElementById('light')?.value === '620'`)
	b.click("button[name=save]")
	b.untilSaved()
	if b.eval(`document.querySelector('.flash[role=status]')?.innerText.includes('saved: pass')`) != "true" {
		t.Error("the page after the save does not announce it in a live region")
	}
}

func TestNotesAndSaveAreOnTheGlassBesideTheKeys(t *testing.T) {
	b := newTablet(t)
	b.addParts("TH-24117-01")
	b.throughTheLine("K7", "TH-24117-01")
	b.as("ilse")
	b.verifyGauge("EC-07")
	reachable := func(g glass, what string) {
		t.Helper()
		b.until(what+" at "+g.String(), fmt.Sprintf(`(() => { const all = [...document.querySelectorAll(%q)]; return all.length > 0 && all.every(e => { const r = e.getBoundingClientRect();
			return r.top >= 0 && r.bottom <= innerHeight && e.contains(document.elementFromPoint(r.left + r.width / 2, r.bottom - 4)); }); })()`, what))
	}
	for _, g := range []glass{{1280, 800}, {800, 1280}} {
		b.show(g)
		b.open("/parts/TH-24117-01/film?unit=um")
		b.until("the keys", `document.querySelector('form.typing') && document.activeElement.matches('input.reading')`)
		b.eval(`scrollTo(0, 0)`)
		reachable(g, "details.act > summary")
		b.picture("film-typing-" + g.String())
		b.film("TH-24117-01", "EC-07", thinFilm)
		b.until("a verdict", `!!document.querySelector('[data-preview] .big-verdict')`)
		reachable(g, "button[name=save]")
		b.picture("film-review-" + g.String())
		b.eval(`localStorage.clear()`)
	}
}
