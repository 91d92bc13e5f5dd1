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
	b.do(chromedp.SendKeys("#zero", "8420"+kb.Enter))
	b.sees("cannot be right: check the gauge")
	if b.eval(`document.activeElement.id`) != "zero" {
		t.Error("an impossible value moved on")
	}
	// A burst of characters as a gauge sends it, then Enter: nothing is lost and the next reading has the focus.
	b.eval(`(() => { const zero = document.getElementById('zero'); zero.focus(); zero.select();
		for (const c of '0.2') document.execCommand('insertText', false, c);
		zero.form.requestSubmit(zero.form.querySelector('[name=preview][hidden]')); })()`)
	b.until("the next reading", `document.activeElement.matches('input.reading') && document.activeElement.id !== 'zero'`)
	if got := b.eval(`document.getElementById('zero').value + '|' + document.querySelector('[name=zero-source]').value`); got != "0.2|wedge" {
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
	router := b.server.handler
	away := http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusServiceUnavailable) })
	b.server.handler = away
	b.do(chromedp.Click("button[name=save]"))
	b.until("the notice that it waits", `document.getElementById('saved').innerText.includes('Not saved yet: 1 waiting')`)
	if n := len(b.records("TH-24117-01")); n != 0 {
		t.Fatalf("%d records while the book is away", n)
	}
	record, err := uuid.Parse(b.eval(`document.querySelector('[name=record]').value`))
	if err != nil {
		t.Fatal(err)
	}
	b.server.handler = router
	b.eval(`dispatchEvent(new Event('online'))`)
	b.until("the save", `!location.pathname.endsWith('/weld') && document.readyState === 'complete'`)
	b.until("all saved", `document.getElementById('saved')?.innerText.includes('All saved') ?? true`)
	records := b.records("TH-24117-01")
	if len(records) != 1 || records[0].ID != record || time.Since(records[0].ObservedAt) > 5*time.Minute {
		t.Errorf("got %+v, want the one record %s", records, record)
	}
}
