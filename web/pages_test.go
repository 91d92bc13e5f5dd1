package web

import (
	"context"
	_ "embed"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

// axeSource is axe-core 4.14.1 (MPL-2.0, testdata/axe.LICENSE), for tests only.
//
//go:embed testdata/axe.min.js
var axeSource string

// newBrowser starts a server over a book and a browser of tablet size before it; nobody has enrolled it.
func newBrowser(t *testing.T, db *store.DB) *tablet {
	t.Helper()
	s := New(db, slog.New(slog.NewTextHandler(io.Discard, nil)), Config{})
	front := &front{}
	front.serve(s)
	site := httptest.NewServer(front)
	t.Cleanup(func() { s.Drain(); site.Close(); s.Close() })
	tab := browse(t, site.URL)
	tab.server, tab.front = s, front
	return tab
}

// theBrowser is one browser for all tests of this binary, because starting one costs as much as a short test does. It ends
// with the binary; see TestMain.
var theBrowser = sync.OnceValues(func() (context.Context, error) {
	path, err := browserPath()
	if err != nil {
		return nil, err
	}
	alloc, _ := chromedp.NewExecAllocator(context.Background(), chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.Headless,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-component-update", true), chromedp.Flag("hide-scrollbars", true),
		// What a browser does besides showing pages costs more than a test's own work.
		chromedp.Flag("disable-extensions", true), chromedp.Flag("disable-component-extensions-with-background-pages", true), chromedp.Flag("disable-default-apps", true),
		chromedp.Flag("disable-sync", true), chromedp.Flag("disable-breakpad", true), chromedp.Flag("no-first-run", true),
		// The pages behind the address bar, which every window would load.
		chromedp.Flag("disable-features", "PreloadTopChromeWebUI,WebUIOmniboxPopup,WebUIOmniboxFullPopup,WebUIOmniboxAimPopup"),
		// A tab behind another one keeps its pace.
		chromedp.Flag("disable-background-timer-throttling", true), chromedp.Flag("disable-backgrounding-occluded-windows", true), chromedp.Flag("disable-renderer-backgrounding", true))
	ctx, _ := chromedp.NewContext(alloc)
	if err := chromedp.Do(ctx); err != nil {
		return nil, fmt.Errorf("starting the browser: %w", err)
	}
	endBrowser = func() { _ = chromedp.Cancel(ctx) } // where this fails the kernel ends it with us
	return ctx, nil
})

// endBrowser ends theBrowser if a test has asked for it.
var endBrowser = func() {}

func TestMain(m *testing.M) {
	code := m.Run()
	endBrowser()
	os.Exit(code)
}

// browse opens a window of tablet size before the server at an address, with cookies, storage and workers of its own.
func browse(t *testing.T, address string) *tablet {
	t.Helper()
	browser, err := theBrowser()
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancelTab := chromedp.NewContext(browser, chromedp.WithNewBrowserContext())
	t.Cleanup(cancelTab)
	if err := chromedp.Do(ctx); err != nil {
		t.Fatalf("opening a window: %v", err)
	}
	ctx, cancelTimeout := context.WithTimeout(ctx, 20*time.Minute)
	t.Cleanup(cancelTimeout)
	tab := &tablet{t: t, ctx: ctx, url: address}
	// The focus is in this window, whichever of them the browser holds for the one in front.
	if _, err := chromedp.Call(ctx, emulation.SetFocusEmulationEnabled, emulation.SetFocusEmulationEnabledParams{Enabled: true}); err != nil {
		t.Fatal(err)
	}
	tab.do(chromedp.EmulateViewport(1280, 800, chromedp.EmulateTouch))
	return tab
}

// A front stands before a server and can be pointed elsewhere while requests run. It also has axe, which the browser keeps
// compiled; sent over the debugger's pipe it would be carried and compiled anew for each page.
type front struct{ now atomic.Pointer[http.Handler] }

const axeAddress = "/for-tests/axe.min.js"

func (f *front) serve(h http.Handler) { f.now.Store(&h) }
func (f *front) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if r.URL.Path == axeAddress {
		w.Header().Set("Content-Type", "text/javascript")
		w.Header().Set("Cache-Control", "max-age=3600, immutable")
		_, _ = io.WriteString(w, axeSource) // a browser that has gone needs no answer
		return
	}
	(*f.now.Load()).ServeHTTP(w, r)
}

// A glass is one size of screen.
type glass struct{ width, height int64 }

func (g glass) String() string { return fmt.Sprintf("%dx%d", g.width, g.height) }

// The tablet in both orientations and a phone.
var glasses = []glass{{1280, 800}, {800, 1280}, {390, 844}}

// newWalk is a browser in which somebody with every role is signed on, in a shop whose book has something on every page.
func newWalk(t *testing.T) (*tablet, *desk) {
	t.Helper()
	t.Parallel()
	d := newDesk(t)
	d.busy()
	part := d.Parts(1)[0]
	d.Weld(part, quality.NoneFound)
	d.correctNote("TH-0007")
	b := newBrowser(t, d.DB)
	b.enrolAndSignOn(d.Shop)
	return b, d
}

func (b *tablet) enrolAndSignOn(shop *storetest.Shop) {
	b.t.Helper()
	_, secret, err := shop.DB.AddDevice(b.t.Context(), shop.Everyone, store.NewDevice{Name: "Bench tablet", LocationClass: "unclassified"})
	if err != nil {
		b.t.Fatal(err)
	}
	b.open("/enrol/" + secret)
	b.press("Enrol this tablet")
	b.wait("#pin-form")
	b.tap(shop.Everyone.Name)
	b.do(chromedp.SendKeys("#pin", storetest.PIN+kb.Enter))
	b.wait("#lock")
}

// samples are what stands for the braces of the addresses, by the beginning of the pattern.
func (d *desk) samples() map[string][]string {
	d.t.Helper()
	ctx, site := d.t.Context(), d.Site.ID
	value := func(what string, v any, err error) {
		if err != nil {
			d.t.Fatalf("%s: %v", what, err)
		}
	}
	racks, err := d.DB.OpenRacks(ctx, site)
	value("racks", racks, err)
	loads, err := d.DB.RecentLoads(ctx, site, d.Now.AddDate(0, 0, -3))
	value("loads", loads, err)
	holds, err := d.DB.OpenHolds(ctx, site)
	value("holds", holds, err)
	part, err := d.DB.PartBySerial(ctx, site, "TH-0003")
	value("part", part, err)
	records, err := d.DB.RecordsOn(ctx, site, store.Subject{Kind: quality.OnPart, ID: part.ID})
	value("records", records, err)
	quals, err := d.DB.Qualifications(ctx, site, d.Everyone.Person)
	value("qualifications", quals, err)
	devices, err := d.DB.Devices(ctx, site)
	value("devices", devices, err)
	powders, err := d.DB.Materials(ctx, site, store.Powder)
	value("powders", powders, err)
	baths, err := d.DB.Baths(ctx, site)
	value("baths", baths, err)
	draft, err := d.DB.NewRevision(ctx, d.Everyone, d.Spec.Code, "B")
	value("draft", draft, err)
	person := d.Everyone.Person.String()
	article := d.namedArticle()
	waiting, declined := d.decidedArticles()
	shipment, certificate := d.papers()
	all := map[string][]string{
		"/parts/{serial}": {"TH-0003", "TH-0001", "TH-0007"}, "/parts/{serial}/weld": {"TH-0007"}, "/parts/{serial}/film": {"TH-0002", "TH-0004"}, "/parts/{serial}/": {"TH-0004"},
		"/racks/{number}": {racks[0].Number}, "/racks/{number}/": {racks[0].Number}, "/loads/{number}": {loads[0].Number}, "/loads/{number}/": {loads[0].Number},
		"/gauges/{code}": {d.Gauge.Code}, "/gauges/{code}/": {d.Gauge.Code}, "/recalls/{number}": {d.recalled()}, "/recalls/{number}/": {d.recalled()}, "/holds/{number}": {holds[0].Number}, "/holds/{number}/": {holds[0].Number},
		"/setup/stations/{code}": {d.Booths[0].Code}, "/setup/people/{id}": {person}, "/setup/people/{id}/": {person}, "/setup/people/{id}/qualifications/": {person, quals[0].ID.String()},
		"/setup/tablets/{id}": {devices[0].ID.String()}, "/setup/specs/{code}": {d.Spec.Code}, "/setup/specs/{code}/{id}": {d.Spec.Code, draft.ID.String()}, "/setup/specs/{code}/{id}/": {d.Spec.Code, draft.ID.String()},
		"/setup/part-numbers/{id}": {d.PartNumber.ID.String()}, "/setup/materials/{code}": {powders[0].Code}, "/setup/lots/{id}": {d.Lot.ID.String()},
		"/loads/{number}/profile/{id}": {loads[0].Number, d.loggerFile()}, "/ovens/{code}/": {d.Oven.Code}, "/setup/ovens/{code}": {d.Oven.Code},
		"/reviews/{date}":          {"2026-11-24"},
		"/first-articles/{number}": {article.Number, waiting, declined}, "/first-articles/{number}/": {article.Number}, "/first-articles/{number}/decline": {waiting}, "/first-articles/{number}/void-decline": {declined}, "/parts/{serial}/first-article": {"TH-0004", article.Serial},
		"/shipments/{number}": {shipment}, "/certificates/{number}": {certificate}, "/certificates/{number}/": {certificate},
		"/sampling/{number}": {d.inspectionLot()},
		"/baths/{code}":      {d.watchedBath()}, "/baths/{code}/": {d.watchedBath()}, "/setup/baths/{code}": {baths[0].Code}, "/setup/gauges/{code}": {d.Gauge.Code}, "/setup/jobs/{number}": {d.Job.Number}, "/setup/jobs/{number}/": {d.Job.Number},
	}
	var ids []string
	for _, r := range records {
		ids = append(ids, r.ID.String())
		if r.Kind == quality.Film && !r.SupersededBy.Valid {
			all["/records/{id}/exclude"] = []string{r.ID.String()}
		}
	}
	all["/records/{id}/"] = ids[:1]
	panel, exclusion := d.panelAndExclusion(loads[0].ID, all["/records/{id}/exclude"])
	all["/panels/{code}"], all["/panels/{code}/"], all["/exclusions/{id}"] = []string{panel}, []string{panel}, []string{exclusion}
	// A record that was corrected and the one in its place, where the walk has one.
	if corrected, err := d.DB.PartBySerial(ctx, site, "TH-0007"); err == nil {
		records, err := d.DB.RecordsOn(ctx, site, store.Subject{Kind: quality.OnPart, ID: corrected.ID})
		value("records", records, err)
		for _, r := range records {
			ids = append(ids, r.ID.String())
		}
	}
	all["/records/{id}"] = ids
	return all
}

// pagesOf are the addresses of all pages, made from the role matrix, so that a new page is in the walk or fails it.
func (d *desk) pagesOf(s *Server) []string {
	d.t.Helper()
	samples := d.samples()
	pages := []string{"/charts/film?date=2026-11-24", "/day?date=2026-11-24", "/exports?date=2026-11-24", "/parts?q=TH", "/scan?code=nothing"}
	for _, route := range s.routes() {
		if route.method != "GET" || route.pattern == "/" || route.pattern == "/day/live" || strings.Contains(route.pattern, "{file}") || strings.Contains(route.pattern, "{secret}") {
			continue
		}
		if !strings.Contains(route.pattern, "{") {
			pages = append(pages, route.pattern)
			continue
		}
		values := samplesOf(samples, route.pattern)
		if values == nil {
			d.t.Errorf("no sample for %s: say in samples what stands for its braces", route.pattern)
			continue
		}
		if strings.Count(route.pattern, "{") == 1 {
			for _, v := range values {
				pages = append(pages, fill(route.pattern, v))
			}
		} else {
			pages = append(pages, fill(route.pattern, values...))
		}
	}
	return pages
}

// samplesOf are the values for the braces of a pattern: those named for it, else those for what begins it; nil if none.
func samplesOf(samples map[string][]string, pattern string) []string {
	last := strings.LastIndex(pattern, "}")
	if last < 0 {
		return nil
	}
	for _, key := range []string{pattern, pattern[:min(last+2, len(pattern))], pattern[:strings.LastIndex(pattern[:last], "{")]} {
		if values, ok := samples[key]; ok {
			return values
		}
	}
	return nil
}

func fill(pattern string, values ...string) string {
	for _, v := range values {
		open, end := strings.Index(pattern, "{"), strings.Index(pattern, "}")
		if open < 0 {
			break
		}
		pattern = pattern[:open] + url.PathEscape(v) + pattern[end+1:]
	}
	return pattern
}

// show sets the size of the glass.
func (b *tablet) show(g glass) {
	b.t.Helper()
	b.do(chromedp.EmulateViewport(g.width, g.height, chromedp.EmulateTouch))
}

// bringAxe puts axe on the page that is open.
func (b *tablet) bringAxe() {
	b.t.Helper()
	b.eval(`new Promise((loaded, failed) => { const s = document.createElement('script'); s.onload = () => loaded(''); s.onerror = failed; s.src = '`+axeAddress+`'; document.head.append(s); })`,
		chromedp.EvalAwaitPromise)
}

// axe returns every violation that axe, which is on the page already, finds at this size, one line each.
func (b *tablet) axe() []string {
	b.t.Helper()
	found := b.eval(`axe.run(document, {resultTypes: ['violations'], runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']})
		.then(r => JSON.stringify(r.violations.flatMap(v => v.nodes.map(n => v.id + ' at ' + n.target.join(' ') + ': ' + n.failureSummary.replace(/\s+/g, ' ')))))`, chromedp.EvalAwaitPromise)
	var lines []string
	if err := json.Unmarshal([]byte(found), &lines); err != nil {
		b.t.Fatal(err)
	}
	return lines
}

// keep writes a picture of the whole page where COATBOOK_PAGES names a folder, for people to look at.
func (b *tablet) keep(path string, g glass) {
	b.t.Helper()
	dir := os.Getenv("COATBOOK_PAGES")
	if dir == "" {
		return
	}
	png, err := chromedp.Run(b.ctx, chromedp.CaptureScreenshot())
	if err != nil {
		b.t.Fatal(err)
	}
	name := strings.NewReplacer("/", "_", "?", "_", "=", "_").Replace(strings.Trim(path, "/"))
	if err := os.WriteFile(filepath.Join(dir, name+"-"+g.String()+".png"), png, 0o644); err != nil {
		b.t.Fatal(err)
	}
}

// One walk for both, because opening a page costs more than looking at it.
func TestAxeFindsNothingOnAnyPageAndEveryPageReflows(t *testing.T) {
	b, d := newWalk(t)
	for _, path := range d.pagesOf(b.server) {
		b.show(glasses[0])
		b.open(path)
		b.reflows(path, d.Everyone.Name)
		b.bringAxe()
		for _, g := range glasses {
			b.show(g)
			for _, line := range b.axe() {
				t.Errorf("%s at %s: %s", path, g, line)
			}
			b.keep(path, g)
		}
	}
}
