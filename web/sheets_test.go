package web

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"coatbook/store"
	"coatbook/store/demoshop"
	"coatbook/store/storetest"
	"coatbook/web/static"
)

// solvent is a material that has a paper copy and a link, and no sheet in the book yet.
func solvent(t *testing.T, shop *storetest.Shop) store.Material {
	t.Helper()
	m, err := shop.DB.AddMaterial(t.Context(), shop.Everyone, store.Material{Kind: store.Solvent, Code: "MEK", Name: "Methyl ethyl ketone", Maker: "Invented Chemicals", Hazards: []string{"flammable"},
		SheetLink: "https://example.org/mek.pdf", SheetIssuedOn: &shop.Now, SheetPaperAt: "Final bench, red binder"}, nil)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func TestSafetyDataSheetsOpenOnALockedTabletAndNowhereElseWithoutASignOn(t *testing.T) {
	shop := storetest.NewShop(t)
	m := solvent(t, shop)
	g := newGuest(t, shop)
	if r := g.send("GET", "/sheets", nil); r.StatusCode == http.StatusOK {
		t.Error("a browser that is no tablet of the shop sees its materials without a sign-on")
	}
	g.enrol(shop)
	marked(t, bodyOf(t, g.send("GET", "/signon", nil)), `href="/sheets"`, `src="`+static.Path("sheets.js")+`"`)
	r := g.send("GET", "/sheets", nil)
	if r.StatusCode != http.StatusOK || !strings.Contains(r.Header.Get("Cache-Control"), "private, max-age=") {
		t.Errorf("%s, %q: the locked tablet must open the list and may keep it", r.Status, r.Header.Get("Cache-Control"))
	}
	list := bodyOf(t, r)
	marked(t, list, `href="https://example.org/mek.pdf"`)
	contains(t, list, "Methyl ethyl ketone", "Burns easily", "paper: Final bench, red binder", "in date", "opens with network only")
	body := demoshop.SafetySheet("MEK")
	f, err := shop.DB.AddFile(t.Context(), shop.Everyone, store.FileOwner{Kind: store.FileOfMaterial, ID: m.ID, IssuedOn: &shop.Now}, body, "")
	if err != nil {
		t.Fatal(err)
	}
	address := "/sheets/" + f.ID.String()
	list = bodyOf(t, g.send("GET", "/sheets", nil))
	marked(t, list, `href="`+address+`"`)
	if strings.Contains(list, "example.org") || strings.Contains(list, "network only") {
		t.Error("the maker's address stands before the sheet in the book")
	}
	r = g.send("GET", address, nil)
	h := r.Header
	if got := bodyOf(t, r); r.StatusCode != http.StatusOK || got != string(body) || h.Get("Content-Type") != "application/pdf" || h.Get("X-Content-Type-Options") != "nosniff" ||
		h.Get("Content-Disposition") != `inline; filename="`+f.ID.String()+`.pdf"` || !strings.HasPrefix(h.Get("Content-Security-Policy"), "default-src 'none'; ") || len(h["Set-Cookie"]) > 0 {
		t.Errorf("the sheet on a locked tablet: %s %v", r.Status, h)
	}
	if r := newGuest(t, shop).send("GET", address, nil); r.StatusCode == http.StatusOK {
		t.Error("a browser that is no tablet of the shop opens a sheet without a sign-on")
	}
	g.signOn(shop.Everyone)
	if body := bodyOf(t, g.send("GET", "/sheets", nil)); strings.Contains(body, shop.Everyone.Name) {
		t.Error("the page that a tablet keeps names a person")
	}
	// Files of records are not given out as sheets, and a withdrawn sheet is none any more.
	saved := shop.Weld(shop.Parts(1)[0], "100")
	secret, err := shop.DB.AddFile(t.Context(), shop.Everyone, store.FileOwner{Kind: store.FileOfRecord, ID: saved.RecordID}, body, "")
	if err != nil {
		t.Fatal(err)
	}
	if err := shop.DB.WithdrawSheet(t.Context(), shop.Everyone, m.ID, f.ID, "sheet of another product"); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{"/sheets/" + secret.ID.String(), address, "/sheets/none", "/sheets/" + store.NewID().String()} {
		if r := g.send("GET", path, nil); r.StatusCode != http.StatusNotFound {
			t.Errorf("%s: %s", path, r.Status)
		}
	}
}

// uploadSheet posts the form of a material's sheet as a browser does.
func (g *guest) uploadSheet(code, issued, revision string, body []byte) *http.Response {
	g.t.Helper()
	var form bytes.Buffer
	m := multipart.NewWriter(&form)
	for _, field := range [][2]string{{"issued", issued}, {"caption", revision}} {
		if err := m.WriteField(field[0], field[1]); err != nil {
			g.t.Fatal(err)
		}
	}
	part, err := m.CreateFormFile("file", "../../sheet.html")
	if err != nil {
		g.t.Fatal(err)
	}
	part.Write(body)
	m.Close()
	r := httptest.NewRequest(http.MethodPost, "https://coatbook.test/setup/materials/"+code+"/sheets", &form)
	r.Header.Set("Content-Type", m.FormDataContentType())
	for name, value := range g.cookies {
		r.AddCookie(&http.Cookie{Name: name, Value: value})
	}
	w := httptest.NewRecorder()
	g.server.ServeHTTP(w, r)
	return w.Result()
}

func TestSheetIsAddedAndWithdrawnOnItsMaterialsPageAndABadOneComesBackWithWhatWasTyped(t *testing.T) {
	shop := storetest.NewShop(t)
	m := solvent(t, shop)
	g := newGuest(t, shop)
	g.enrol(shop)
	g.signOn(shop.Everyone)
	good := demoshop.SafetySheet("MEK")
	for name, c := range map[string]struct {
		issued string
		body   []byte
		status int
		says   string
	}{
		"nothing":        {"2025-03-01", nil, 422, "Choose a picture or a PDF."},
		"a page":         {"2025-03-01", []byte("<html><script>alert(1)</script>"), 422, "This is not a PDF."},
		"noise":          {"2025-03-01", append([]byte("%PDF-1.7\n"), append(bytes.Repeat([]byte{0x9c, 0x02}, 3000), "%%EOF"...)...), 422, "cannot be read"},
		"with a lock":    {"2025-03-01", bytes.Replace(good, []byte("/Root"), []byte("/Encrypt 9 0 R /Root"), 1), 422, "password"},
		"too large":      {"2025-03-01", append(bytes.Clone(good), make([]byte, store.MaxFile)...), 422, "more than 12 MB"},
		"far too large":  {"2025-03-01", make([]byte, store.MaxFile+2*maxBody), 413, "more than 12 MB"},
		"without a date": {"", good, 422, "Issued or revised on is empty"},
		"of a bad date":  {"31.12.2024", good, 422, "“31.12.2024” is not a date"},
		"of tomorrow":    {shop.Now.AddDate(0, 0, 1).Format(time.DateOnly), good, 422, "has not come yet"},
	} {
		r := g.uploadSheet("MEK", c.issued, "Revision <7>", c.body)
		page := bodyOf(t, r)
		if r.StatusCode != c.status {
			t.Errorf("%s: %s, want %d", name, r.Status, c.status)
		}
		contains(t, page, c.says, "Methyl ethyl ketone")
		marked(t, page, `name="issued" value="`+c.issued+`"`, `value="Revision &lt;7&gt;"`, `name="name" value="Methyl ethyl ketone"`)
	}
	if sheets, err := shop.DB.SheetsOf(t.Context(), shop.Site.ID, m.ID); err != nil || len(sheets) != 0 {
		t.Fatalf("%d sheets, %v, want none", len(sheets), err)
	}
	if r := g.uploadSheet("MEK", "2025-03-01", "7", good); r.StatusCode != http.StatusSeeOther || r.Header.Get("Location") != "/setup/materials/MEK#sheets" {
		t.Fatalf("%s to %s", r.Status, r.Header.Get("Location"))
	}
	page := bodyOf(t, g.send("GET", "/setup/materials/MEK", nil))
	contains(t, page, "2025-03-01", "counts", shop.Everyone.Name, "Withdraw a sheet")
	if strings.Contains(page, "sheet.html") {
		t.Error("the name of the upload is on the page")
	}
	id := regexp.MustCompile(`/sheets/([0-9a-f-]{36})"`).FindStringSubmatch(page)
	if id == nil {
		t.Fatal("no link to the sheet")
	}
	contains(t, bodyOf(t, g.send("POST", "/setup/materials/MEK/sheets/withdraw", values("sheet", "x", "reason", "Wrong product"))), "Nothing was saved", "Sheet")
	r := g.send("POST", "/setup/materials/MEK/sheets/withdraw", values("sheet", id[1], "reason", "No"))
	marked(t, bodyOf(t, r), `id="reason-problem"`, `value="No"`)
	if r := g.send("POST", "/setup/materials/MEK/sheets/withdraw", values("sheet", id[1], "reason", "Wrong product")); r.StatusCode != http.StatusSeeOther {
		t.Fatal(r.Status)
	}
	page = bodyOf(t, g.send("GET", "/setup/materials/MEK", nil))
	contains(t, page, "withdrawn", "Wrong product ("+shop.Everyone.Name)
	marked(t, page, `href="/files/`+id[1]+`"`)
	if r := g.send("GET", "/setup/materials/NONE/sheets", nil); r.StatusCode != http.StatusMethodNotAllowed {
		t.Errorf("%s", r.Status)
	}
	inspector := shop.AddPerson("Teo Brandt", "teo", store.Inspector, store.Supervisor)
	g.signOn(inspector)
	if r := g.uploadSheet("MEK", "2025-03-01", "7", good); r.StatusCode != http.StatusForbidden {
		t.Errorf("a supervisor adds a sheet: %s", r.Status)
	}
}

func TestTabletKeepsTheSheetsAndOpensThemFromTheLockPageWithoutNetwork(t *testing.T) {
	t.Parallel()
	shop := storetest.NewShop(t)
	shop.DB.Clock = time.Now
	shop.Now = time.Now()
	m := solvent(t, shop)
	b := newBrowser(t, shop.DB)
	b.enrolAndSignOn(shop)
	body := demoshop.SafetySheet("Methyl ethyl ketone")
	path := filepath.Join(t.TempDir(), "mek.pdf")
	if err := os.WriteFile(path, body, 0o600); err != nil {
		t.Fatal(err)
	}
	// A worker of an earlier release, which the bench replaces by its own.
	b.eval(`navigator.serviceWorker.register('/static/000000000000/sheets-worker.js', {scope: '/sheets'}).then(() => { window.early = true }); ''`)
	b.until("the early worker", `window.early === true`)
	b.open("/setup/materials/MEK")
	b.fill("Issued or revised on", time.Now().AddDate(-1, 0, 0).Format(time.DateOnly))
	b.do(chromedp.SetUploadFiles("#file", []string{path}))
	b.press("Add the sheet")
	b.wait("#withdraw")
	b.open("/bench")
	b.wait(".columns")
	sheet := b.keptSheet()
	b.until("this release's worker", fmt.Sprintf(`(navigator.serviceWorker.getRegistration('/sheets').then(r => { window.script = r.active?.scriptURL ?? '' }), (window.script ?? '').endsWith(%q))`, static.Path("sheets-worker.js")))
	b.press("Lock")
	b.wait("#pin-form")

	// No answer comes from here on.
	b.front.serve(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { panic(http.ErrAbortHandler) }))
	b.press("Safety data sheets")
	b.wait(".sheet-list")
	b.sees("Methyl ethyl ketone", "in date", "paper: Final bench, red binder")
	sum := sha256.Sum256(body)
	b.eval(fmt.Sprintf(`fetch(%q).then(async r => { window.got = r.headers.get('content-type') + ' ' + r.headers.get('content-security-policy').slice(0, 18) + ' ' +
		[...new Uint8Array(await crypto.subtle.digest('SHA-256', await r.arrayBuffer()))].map(n => n.toString(16).padStart(2, '0')).join('') }); ''`, sheet))
	b.until("the sheet's bytes", `typeof window.got === 'string'`)
	if got, want := b.eval(`window.got`), "application/pdf default-src 'none' "+hex.EncodeToString(sum[:]); got != want {
		t.Errorf("without network the sheet is %s, want %s", got, want)
	}
	if look := b.eval(`getComputedStyle(document.querySelector('.sheet-list li')).display`); look != "grid" {
		t.Errorf("the kept list has lost its look: %s", look)
	}
	// Nothing else is answered for: not the bench, not from the controlled page either.
	b.eval(`fetch('/bench').then(() => { window.bench = 'answered' }, () => { window.bench = 'none' }); ''`)
	b.until("the bench", `typeof window.bench === 'string'`)
	if got := b.eval(`window.bench`); got != "none" {
		t.Error("the worker answers for the bench")
	}
	b.eval(`caches.keys().then(async names => { window.text = names.join() ; for (const n of names) { const c = await caches.open(n); for (const k of await c.keys())
		window.text += '\nkept ' + new URL(k.url).pathname + '\n' + await (await c.match(k)).text() } window.whole = true }); ''`)
	b.until("what is kept", `window.whole === true`)
	kept := b.eval(`window.text`)
	if strings.Contains(kept, shop.Everyone.Name) || strings.Contains(kept, shop.Everyone.Person.String()) {
		t.Error("what the tablet keeps names a person")
	}
	addresses := regexp.MustCompile(`(?m)^kept /(\S*)$`).FindAllStringSubmatch(kept, -1)
	if len(addresses) < 5 {
		t.Errorf("the tablet keeps %v", addresses)
	}
	for _, line := range addresses {
		if !regexp.MustCompile(`^(sheets|sheets/[0-9a-f-]{36}|static/[0-9a-f]{12}/\S+)$`).MatchString(line[1]) {
			t.Errorf("the tablet keeps /%s", line[1])
		}
	}
	b.press("Methyl ethyl ketone")
	b.until("the sheet in place", fmt.Sprintf(`document.contentType === 'application/pdf' && location.pathname === %q`, sheet))

	// With network again a withdrawn sheet goes.
	b.front.serve(b.server)
	id := strings.TrimPrefix(sheet, "/sheets/")
	sheets, err := shop.DB.SheetsOf(t.Context(), shop.Site.ID, m.ID)
	if err != nil || len(sheets) != 1 || sheets[0].ID.String() != id {
		t.Fatal(sheets, err)
	}
	if err := shop.DB.WithdrawSheet(t.Context(), shop.Everyone, m.ID, sheets[0].ID, "sheet of another product"); err != nil {
		t.Fatal(err)
	}
	b.open("/signon")
	b.wait("#pin-form")
	b.until("the withdrawn sheet is gone", fmt.Sprintf(`(caches.match(%q).then(r => { window.there = !!r }), window.there === false)`, sheet))
	b.front.serve(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { panic(http.ErrAbortHandler) }))
	b.press("Safety data sheets")
	b.wait(".sheet-list")
	b.sees("Methyl ethyl ketone", "opens with network only")
	b.open(sheet)
	b.sees("this sheet is not kept on this tablet")

	// A tablet that is none any more keeps nothing.
	b.front.serve(b.server)
	devices, err := shop.DB.Devices(t.Context(), shop.Site.ID)
	if err != nil || len(devices) != 1 {
		t.Fatal(devices, err)
	}
	if err := shop.DB.RevokeDevice(t.Context(), shop.Everyone, devices[0].ID, "lost in the yard"); err != nil {
		t.Fatal(err)
	}
	b.open("/sheets")
	b.sees("This browser is not an enrolled tablet")
	b.until("nothing is kept", `(caches.has('sheets').then(has => { window.has = has }), window.has === false)`)
}

func TestLockWithoutNetworkHidesThePageLeadsToTheSheetsAndEndsTheSittingLater(t *testing.T) {
	t.Parallel()
	shop := storetest.NewShop(t)
	shop.DB.Clock = time.Now
	shop.Now = time.Now()
	m := solvent(t, shop)
	issued := shop.Now.AddDate(0, 0, -1) // at night in Greenwich today has not come yet in Chicago
	if _, err := shop.DB.AddFile(t.Context(), shop.Everyone, store.FileOwner{Kind: store.FileOfMaterial, ID: m.ID, IssuedOn: &issued}, demoshop.SafetySheet("MEK"), ""); err != nil {
		t.Fatal(err)
	}
	b := newBrowser(t, shop.DB)
	b.enrolAndSignOn(shop)
	b.open("/bench")
	b.keptSheet()
	b.front.serve(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { panic(http.ErrAbortHandler) }))
	b.press("Lock")
	b.wait(".locked")
	if page := b.eval(`document.body.innerText`); strings.Contains(page, shop.Everyone.Name) || strings.Contains(page, "Due here") || b.eval(`!!document.querySelector('#scan')`) == "true" {
		t.Errorf("the locked page still shows\n%s", page)
	}
	b.press("Safety data sheets")
	b.wait(".sheet-list")
	b.sees("Methyl ethyl ketone")
	// The page that asked for the lock is gone; the next one that the book sends ends the sitting before anybody can use it.
	b.front.serve(b.server)
	b.open("/bench")
	b.wait("#pin-form")
	b.open("/bench")
	b.wait("#pin-form")
	if got := b.eval(`location.pathname`); got != "/signon" {
		t.Errorf("after the lock the bench opens at %s", got)
	}
	b.tap(shop.Everyone.Name)
	b.do(chromedp.SendKeys("#pin", storetest.PIN+kb.Enter))
	b.wait("#lock")
	b.sees(shop.Everyone.Name)

	// Where nobody leaves the locked page, it ends the sitting itself as soon as the book answers.
	b.front.serve(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { panic(http.ErrAbortHandler) }))
	b.press("Lock")
	b.wait(".locked")
	b.front.serve(b.server)
	b.wait("#pin-form")
}

// keptSheet waits until the tablet keeps the list and a sheet, and returns the sheet's address.
func (b *tablet) keptSheet() string {
	b.t.Helper()
	b.until("the list and its sheet are kept", `(caches.open('sheets').then(c => c.keys()).then(all => { window.kept = all.map(k => new URL(k.url).pathname) }),
		(window.kept ?? []).includes('/sheets') && window.kept.some(k => k.startsWith('/sheets/')))`)
	return b.eval(`window.kept.find(k => k.startsWith('/sheets/'))`)
}

func TestSetupListsMissingAndOldSheetsAndTheReviewOfTheCautions(t *testing.T) {
	d := openSetupDesk(t)
	for _, m := range [][]string{{"MEK", "solvent", ""}, {"ALK", "cleaner", "2001-01-01"}} {
		link, paper := "", ""
		if m[2] != "" {
			link, paper = "/files/1.pdf", "Wash line"
		}
		status, body := d.post("/setup/materials", "kind", m[1], "code", m[0], "name", "Trial", "maker", "Invented Chemicals", "sheet_link", link, "sheet_dated", m[2], "sheet_paper", paper)
		d.must(status, body, m[0]+" is added")
	}
	status, body := d.get("/setup")
	d.must(status, body, "1 missing or without a paper copy, 1 over 5 years old")
	d.must(status, body, "not reviewed yet")
	status, body = d.post("/setup/cautions", "reviewer", "", "qualification", "hygienist", "reviewed_on", "2026-01-10")
	if status != http.StatusUnprocessableEntity || !strings.Contains(body, `id="reviewer-problem"`) {
		t.Errorf("%d: a review by nobody was taken", status)
	}
	status, body = d.post("/setup/cautions", "reviewer", "Ines Varga", "qualification", "occupational hygienist", "reviewed_on", "2026-01-10")
	d.must(status, body, "reviewed by Ines Varga (occupational hygienist) on 10 January 2026")
	d.must(status, body, "El disolvente arde")
	status, body = d.get("/setup")
	d.must(status, body, "reviewed by Ines Varga")
}
