package web

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"coatbook/store"
	"coatbook/store/demoshop"
	"coatbook/store/storetest"
)

// A tablet is a headless browser of tablet size in front of a running server, with the demo shop's register and no work
// done yet.
type tablet struct {
	t      *testing.T
	ctx    context.Context
	url    string
	server *Server
	front  *front
	shop   *demoshop.Shop
}

// patience is how long a browser test waits for what it expects, on a machine that does other work as well.
const patience = time.Minute

func browserPath() (string, error) {
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome", "/Applications/Chromium.app/Contents/MacOS/Chromium",
		"/Applications/Google Chrome.app/Contents/MacOS/Google Chrome"} {
		if path, err := exec.LookPath(name); err == nil {
			return path, nil
		}
	}
	return "", errors.New("no Chromium found; go run ./cmd/dev test installs it")
}

// newTablet starts a server over a fresh shop and an enrolled tablet before it.
func newTablet(t *testing.T) *tablet {
	t.Helper()
	t.Parallel()
	tab := demoBrowser(t)
	db, shop := tab.shop.DB, tab.shop
	_, secret, err := db.AddDevice(t.Context(), shop.People["petra"], store.NewDevice{Name: "Bench tablet", Station: shop.Stations["FINAL-2"], LocationClass: "unclassified"})
	if err != nil {
		t.Fatal(err)
	}
	tab.open("/enrol/" + secret)
	tab.press("Enrol this tablet")
	tab.wait("#pin-form")
	return tab
}

// demoRegister is the book of the demo shop as it opened three days ago.
var demoRegister storetest.Filled[demoshop.Shop]

// demoBrowser is the demo shop with a browser before it. The server is one of the test's own, unless COATBOOK_TRY_URL names
// one that was set up otherwise and COATBOOK_TRY_DATABASE its database, as `go run ./cmd/dev docker` does.
func demoBrowser(t *testing.T) *tablet {
	t.Helper()
	open := func(db *store.DB) demoshop.Shop {
		shop, err := demoshop.Open(t.Context(), db, time.Now().AddDate(0, 0, -3))
		if err != nil {
			t.Fatal(err)
		}
		return *shop
	}
	var db *store.DB
	var tab *tablet
	var shop demoshop.Shop
	if address := os.Getenv("COATBOOK_TRY_URL"); address == "" {
		db, shop = demoRegister.New(t, open)
		tab = newBrowser(t, db)
	} else {
		var err error
		if db, err = store.Open(t.Context(), os.Getenv("COATBOOK_TRY_DATABASE")); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(db.Close)
		shop, tab = open(db), browse(t, address)
	}
	shop.DB = db
	tab.shop = &shop
	return tab
}

func (b *tablet) do(steps ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, patience)
	defer cancel()
	if err := chromedp.Do(ctx, steps...); err != nil {
		where, _ := chromedp.Run(b.ctx, chromedp.Location())
		text, _ := chromedp.Run(b.ctx, chromedp.Evaluate[string]("document.body.innerText"))
		b.t.Fatalf("at %s: %v\n%s", where, err, text)
	}
}

func (b *tablet) open(path string) { b.t.Helper(); b.do(chromedp.Navigate(b.url + path)) }
func (b *tablet) wait(sel string)  { b.t.Helper(); b.do(chromedp.WaitVisible(sel)) }

// eval runs a script and returns its text.
func (b *tablet) eval(js string, opts ...chromedp.EvaluateOption) string {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, patience)
	defer cancel()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[any](js, opts...))
	if err != nil {
		b.t.Fatalf("%s: %v", js, err)
	}
	return fmt.Sprint(v)
}

// until waits for a script to be true.
func (b *tablet) until(what, js string) {
	b.t.Helper()
	deadline := time.Now().Add(patience)
	for time.Now().Before(deadline) {
		ctx, cancel := context.WithTimeout(b.ctx, 5*time.Second)
		v, err := chromedp.Run(ctx, chromedp.Evaluate[any](js))
		cancel()
		if err == nil && v == true {
			return
		}
		time.Sleep(30 * time.Millisecond)
	}
	where, _ := chromedp.Run(b.ctx, chromedp.Location())
	b.t.Fatalf("at %s: waited for %s in vain\n%s", where, what, b.eval("document.body.innerText"))
}

// press clicks the button or link with these words and waits for the next page where it leads to one.
func (b *tablet) press(words string) {
	b.t.Helper()
	b.until("the button “"+words+"”", fmt.Sprintf(`(() => { const e = [...document.querySelectorAll('button, a, summary')].find(e => e.textContent.trim().startsWith(%q) && e.offsetParent && !e.disabled);
		if (!e) return false; e.click(); return true; })()`, words))
}

// click clicks an element wherever it stands: a preview that arrives moves the page under a pointer.
func (b *tablet) click(sel string) {
	b.t.Helper()
	b.until("the element "+sel, fmt.Sprintf(`(() => { const e = document.querySelector(%q); if (!e || e.disabled) return false; e.click(); return true; })()`, sel))
}

// fill types into the field whose label begins with these words, or chooses that option of its list.
func (b *tablet) fill(label, value string) {
	b.t.Helper()
	b.until("the field “"+label+"”", fmt.Sprintf(`(() => { const l = [...document.querySelectorAll('label[for]')].find(l => l.textContent.trim().startsWith(%q));
		const e = l && document.getElementById(l.htmlFor); if (!e) return false;
		if (e.tagName === 'SELECT') { const o = [...e.options].find(o => o.textContent.trim().startsWith(%q)); if (!o) return false; e.value = o.value; } else e.value = %q;
		e.dispatchEvent(new Event('input', {bubbles: true})); e.dispatchEvent(new Event('change', {bubbles: true})); return true; })()`, label, value, value))
}

// fillIn types into a field of the block whose heading contains these words.
func (b *tablet) fillIn(heading, label, value string) {
	b.t.Helper()
	b.until("the field “"+label+"” under “"+heading+"”", fmt.Sprintf(`(() => { const s = [...document.querySelectorAll('section')].find(s => s.querySelector('h2')?.textContent.includes(%q));
		const l = s && [...s.querySelectorAll('label[for]')].find(l => l.textContent.trim().startsWith(%q)); const e = l && document.getElementById(l.htmlFor); if (!e) return false;
		e.value = %q; e.dispatchEvent(new Event('input', {bubbles: true})); e.dispatchEvent(new Event('change', {bubbles: true})); return true; })()`, heading, label, value))
}

// choose taps the answer that stands for a value.
func (b *tablet) choose(name, value string) {
	b.t.Helper()
	b.until("the answer "+name+" "+value, fmt.Sprintf(`(() => { const e = document.querySelector('input[name=%s][value=%s]'); if (!e) return false; if (!e.checked) e.click(); return true; })()`,
		name, "\""+value+"\""))
}

// tap chooses the answer with these words.
func (b *tablet) tap(words string) {
	b.t.Helper()
	b.until("the answer “"+words+"”", fmt.Sprintf(`(() => { const l = [...document.querySelectorAll('label')].find(l => l.textContent.trim().startsWith(%q)); if (!l) return false; l.click(); return true; })()`, words))
}

// sign signs the form that is open: with the name where the sitting has no signature yet, and the PIN.
func (b *tablet) sign(name, pin string) {
	b.t.Helper()
	b.wait("input[name=pin]")
	if b.eval(`!!document.querySelector('input[name=signer]')`) == "true" {
		b.do(chromedp.SendKeys("input[name=signer]", name))
	}
	b.do(chromedp.SendKeys("input[name=pin]", pin+kb.Enter))
}

func (b *tablet) sees(words ...string) {
	b.t.Helper()
	for _, w := range words {
		b.until("“"+w+"”", fmt.Sprintf(`document.body.innerText.replace(/\s+/g, ' ').includes(%q)`, w))
	}
}

// as changes who is signed on.
func (b *tablet) as(name string) {
	b.t.Helper()
	b.open("/bench")
	if b.eval(`!!document.getElementById('lock')`) == "true" {
		b.press("Lock")
		b.wait("#pin-form")
	}
	for _, l := range demoshop.Logins {
		if l.SignOnName == name {
			b.tap(l.Name)
			b.do(chromedp.SendKeys("#pin", l.PIN+kb.Enter))
			b.wait("#lock")
		}
	}
}

// save presses the save button of an entry and waits until the book has it.
func (b *tablet) save() {
	b.t.Helper()
	from := b.eval("location.pathname")
	b.wait("button[name=save]")
	b.click("button[name=save]")
	b.until("the save", fmt.Sprintf(`location.pathname !== %q && document.readyState === 'complete'`, from))
}

// film types a film check as a gauge does, value by value with Enter, and saves it.
func (b *tablet) film(serial, gauge string, values []string) {
	b.t.Helper()
	b.open("/parts/" + serial + "/film?unit=um")
	b.wait("input.reading")
	b.fill("Gauge", gauge)
	b.eval(`document.querySelector('input.reading').focus()`)
	for i, v := range values {
		b.until("the focus in a reading", `document.activeElement.classList.contains('reading')`)
		if got := b.eval(`[...document.querySelectorAll('input.reading')].indexOf(document.activeElement)`); got != fmt.Sprint(i) {
			b.t.Fatalf("reading %d would go into box %s", i, got)
		}
		id := b.eval(`document.activeElement.id`)
		b.do(chromedp.SendKeys("#"+id, v+kb.Enter))
	}
	b.until("the review in focus", `!!document.activeElement.closest('[data-review]')`)
	if b.eval("location.pathname") != "/parts/"+serial+"/film" {
		b.t.Fatal("the last reading saved by itself")
	}
}

// picture keeps a screenshot for people to look at; two of them stand in README.md.
func (b *tablet) picture(name string) {
	b.t.Helper()
	png, err := chromedp.Run(b.ctx, chromedp.CaptureScreenshot())
	if err != nil {
		b.t.Fatal(err)
	}
	dir := os.Getenv("COATBOOK_PICTURES")
	if dir == "" {
		dir = b.t.TempDir()
	}
	if err := os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644); err != nil {
		b.t.Fatal(err)
	}
}

// goodFilm is fifteen readings well inside 60 to 120 µm; thinFilm has a spot under the 80 % floor.
var (
	goodFilm = []string{"78.2", "80.1", "77.5", "86.0", "90.3", "91.2", "75.1", "76.9", "77.0", "84.6", "83.9", "85.2", "88.1", "87.0", "86.4"}
	thinFilm = []string{"78.2", "80.1", "77.5", "86.0", "90.3", "91.2", "45.1", "46.9", "47.0", "84.6", "83.9", "85.2", "88.1", "87.0", "86.4"}
)

// throughTheLine takes parts from weld check to cure test.
func (b *tablet) throughTheLine(tag string, serials ...string) {
	b.t.Helper()
	b.as("teodor")
	for _, serial := range serials {
		b.open("/parts/" + serial + "/weld")
		b.fill("Welder", "Ruben Aske")
		b.fill("Light", "620")
		b.choose("none_found", "1")
		b.save()
	}
	b.as("jonas")
	b.open("/racks")
	b.do(chromedp.SendKeys("input[name=tag]", tag+kb.Enter))
	b.until("the rack", `/^\/racks\/R-/.test(location.pathname)`)
	rack := b.eval("location.pathname")
	for _, serial := range serials {
		b.open(rack)
		b.do(chromedp.SendKeys("input[name=serial]", serial+kb.Enter))
		b.sees(serial)
	}
	b.open(rack + "/pretreatment")
	b.wait("input.reading")
	for _, v := range []struct{ stage, label, value string }{{"Clean", "Concentration", "3.0"}, {"Clean", "Temperature", "53"}, {"Clean", "Time", "95"},
		{"Rinse", "Conductivity", "160"}, {"Convert", "pH", "4.5"}, {"Convert", "Time", "70"}, {"Last rinse", "Conductivity", "17"}, {"Dry off", "Temperature", "78"}} {
		b.fillIn(v.stage, v.label, v.value)
	}
	b.choose("water_break", "held")
	b.save()
	b.as("mirela")
	b.open(rack + "/coating")
	b.fill("Powder lot", "88-1403")
	b.fill("Booth", "Booth 1")
	for label, v := range map[string]string{"Air temperature": "22", "Relative humidity": "48", "Resistance of hanger": "0.2", "Gun voltage": "70"} {
		b.fill(label, v)
	}
	if b.eval(`!!document.getElementById('earth_meter')`) == "true" { // the first run of the shift in this booth
		b.choose("booth_fan", "running")
		b.choose("booth_interlock", "proved")
		b.fill("Resistance measured with", "EM-3")
	}
	b.save()
	b.open("/loads")
	b.fill("Oven", "Oven 1")
	b.press("Open")
	b.until("the load", `/^\/loads\/L-/.test(location.pathname)`)
	load := b.eval("location.pathname")
	b.do(chromedp.SendKeys("input[name=rack]", tag+kb.Enter))
	b.until("the rack in the load", fmt.Sprintf(`document.querySelector('main').innerText.includes(%q)`, strings.TrimPrefix(rack, "/racks/")))
	b.open(load + "/cure")
	for label, v := range map[string]string{"Oven set point": "205", "Oven air": "206", "Time in oven": "30"} {
		b.fill(label, v)
	}
	for i, v := range []string{"199.5", "17.0", "201.2", "18.1"} {
		b.eval(fmt.Sprintf(`(() => { const e = [...document.querySelectorAll('input.reading')].filter(e => /peak|time-|above/.test(e.name))[%d]; e.value = %q; })()`, i, v))
	}
	b.save()
	b.as("teodor")
	b.open(load + "/cure-test")
	b.fill("Double rubs", "50")
	b.fill("Wait", "30")
	b.choose("rating", "4")
	b.choose("swab", "none")
	b.fill("Part that was rubbed", serials[0])
	b.save()
}

func (b *tablet) finishCheck(serial string) {
	b.t.Helper()
	b.open("/parts/" + serial + "/finish")
	b.fill("Viewing distance", "3000")
	b.fill("Light", "800")
	b.fill("Gloss", "31.2")
	b.choose("none_found", "1")
	b.save()
}

func (b *tablet) verifyGauge(code string) {
	b.t.Helper()
	b.open("/gauges/" + code + "/verification")
	b.wait("input.reading")
	b.readShims(map[string]string{"Bare plate": "0.2", "SH-48": "48.9", "SH-76": "76.3", "SH-124": "124.0"})
	b.save()
}

// readShims types what the gauge shows on the plates and shims whose label has the words, as found.
func (b *tablet) readShims(shows map[string]string) {
	b.t.Helper()
	for words, v := range shows {
		b.eval(fmt.Sprintf(`document.querySelectorAll('input.reading').forEach(e => {
			const label = e.dataset.label || '';
			if (label.includes(%q) && !label.includes('as left')) { e.value = %q; e.dispatchEvent(new Event('change', {bubbles: true})); }
		})`, words, v))
	}
}

func (b *tablet) addParts(serials ...string) {
	b.t.Helper()
	office := b.shop.People["marek"]
	job, err := b.shop.DB.AddJob(b.t.Context(), office, store.Job{Number: "24117", Customer: "Halden Balconies", ReceivedAt: time.Now()})
	if err != nil {
		b.t.Fatal(err)
	}
	if _, err := b.shop.DB.AddParts(b.t.Context(), office, job.ID, b.shop.Products[0].PartNumber.ID, serials); err != nil {
		b.t.Fatal(err)
	}
}

// TestWholeJobFromHangtagToRelease is the whole job: weld check, rack, wash, powder, oven, cure test, finish, film typed as a
// gauge types; a thin spot, its hold, strip and recoat, the second cycle, release; then the day and the export agree.
func TestWholeJobFromHangtagToRelease(t *testing.T) {
	b := newTablet(t)
	b.addParts("TH-24117-01", "TH-24117-02")
	b.throughTheLine("K7", "TH-24117-01", "TH-24117-02")
	b.as("ilse")
	b.verifyGauge("EC-07")
	b.finishCheck("TH-24117-01")
	b.film("TH-24117-01", "EC-07", thinFilm)
	b.sees("fail")
	b.picture("film-thin")
	b.save()
	b.sees("H-")

	b.as("marek")
	b.open("/holds")
	b.press("H-")
	b.sees("TH-24117-01", "TH-24117-02") // held, and its neighbour on the rack proposed
	b.eval(`location.assign(location.pathname + '/decide')`)
	b.wait("textarea[name=reason]")
	b.eval(`document.querySelector('input[value=strip_recoat]').click(); document.querySelectorAll('input[name=part]').forEach(e => { if (!e.checked) e.click() }); document.querySelector('textarea[name=reason]').value = 'Strip chemically and recoat.'; document.querySelector('textarea[name=reason]').form.requestSubmit()`)
	b.wait("input[name=pin]")
	b.sees("TH-24117-01")
	b.sign("marek", "846120")
	b.until("the decision", `!document.querySelector('input[name=pin]')`)
	b.open("/parts/TH-24117-01")
	b.sees("next: weld check", "Cycle 1")

	b.throughTheLine("K8", "TH-24117-01")
	b.as("ilse")
	b.finishCheck("TH-24117-01")
	b.film("TH-24117-01", "EC-07", goodFilm)
	b.sees("pass")
	b.picture("film")
	b.save()

	b.as("marek")
	b.open("/parts/TH-24117-01/release")
	b.sign("marek", "846120")
	b.until("the release", `!document.querySelector('input[name=pin]')`)
	b.open("/parts/TH-24117-01")
	b.sees("released")

	b.open("/day")
	b.sees("Film")
	b.picture("day")
	b.checkExport(thinFilm, goodFilm)
}

// TestPublishedFilmExamplesTypedAtTheBench types the published worked examples of the mean and 80 % rule (minimum 60 µm; from
// memory, testdata/published/film-acceptance) as a gauge would, and reads the verdict that the page shows before the save.
func TestPublishedFilmExamplesTypedAtTheBench(t *testing.T) {
	b := newTablet(t)
	examples := []struct {
		areas   [5]string
		verdict string
	}{{[5]string{"82", "68", "75", "93", "86"}, "pass"}, {[5]string{"75", "68", "63", "66", "56"}, "pass"},
		{[5]string{"57", "60", "59", "62", "53"}, "fail"}, {[5]string{"85", "67", "71", "64", "44"}, "fail"}}
	var serials []string
	for i := range examples {
		serials = append(serials, fmt.Sprintf("TH-24117-0%d", i+1))
	}
	b.addParts(serials...)
	b.throughTheLine("K7", serials...)
	b.as("ilse")
	b.verifyGauge("EC-07")
	for i, example := range examples {
		var values []string
		for _, area := range example.areas {
			values = append(values, area, area, area)
		}
		b.film(serials[i], "EC-07", values)
		b.until("a verdict", `!!document.querySelector('[data-preview] .big-verdict')`)
		if got := b.eval(`document.querySelector('[data-preview] .big-verdict').innerText.trim()`); got != example.verdict {
			t.Errorf("example %d shows %q, want %q", i+1, got, example.verdict)
		}
		b.save()
	}
}

// checkExport reads the exported readings and compares the film's digits with what was typed.
func (b *tablet) checkExport(checks ...[]string) {
	b.t.Helper()
	day, _ := b.shop.Site.ShopDay(time.Now())
	b.eval(`fetch('/exports/readings.csv?from=` + day.AddDate(0, 0, -1).Format(time.DateOnly) + `&to=` + day.Format(time.DateOnly) + `').then(a => a.text()).then(t => { window.exported = t }); ''`)
	b.until("the export", `typeof window.exported === 'string'`)
	rows, err := csv.NewReader(strings.NewReader(b.eval("window.exported"))).ReadAll()
	if err != nil {
		b.t.Fatalf("the export is not CSV: %v", err)
	}
	column := map[string]int{}
	for i, name := range rows[0] {
		column[name] = i
	}
	var got []string
	for _, row := range rows[1:] {
		if row[column["characteristic"]] == "film_thickness" {
			got = append(got, row[column["value_recorded"]])
		}
	}
	var want []string
	for _, c := range checks {
		want = append(want, c...)
	}
	if strings.Join(got, " ") != strings.Join(want, " ") {
		b.t.Errorf("exported film readings\n%v\nwant what was typed\n%v", got, want)
	}
}
