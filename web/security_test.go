package web

import (
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/go-chi/chi/v5"

	"coatbook/store"
	"coatbook/store/storetest"
	"coatbook/web/static"
)

// A guest is a browser without a screen: it keeps cookies and follows nothing.
type guest struct {
	t       *testing.T
	server  *Server
	cookies map[string]string
	from    string // address and port it calls from; empty for that of every test request
}

func newGuest(t *testing.T, shop *storetest.Shop) *guest {
	t.Helper()
	s := New(shop.DB, slog.New(slog.NewTextHandler(io.Discard, nil)), Config{TLS: true})
	t.Cleanup(func() { s.Drain(); s.Close() })
	return &guest{t: t, server: s, cookies: map[string]string{}}
}

func (g *guest) send(method, path string, form url.Values, header ...string) *http.Response {
	g.t.Helper()
	var body io.Reader
	if form != nil {
		body = strings.NewReader(form.Encode())
	}
	r := httptest.NewRequest(method, "https://coatbook.test"+path, body)
	if form != nil {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	for i := 0; i+1 < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
	}
	if g.from != "" {
		r.RemoteAddr = g.from
	}
	for name, value := range g.cookies {
		r.AddCookie(&http.Cookie{Name: name, Value: value})
	}
	w := httptest.NewRecorder()
	g.server.ServeHTTP(w, r)
	for _, c := range w.Result().Cookies() {
		if c.MaxAge < 0 || c.Value == "" {
			delete(g.cookies, c.Name)
		} else {
			g.cookies[c.Name] = c.Value
		}
	}
	return w.Result()
}

// enrol makes the guest an enrolled tablet.
func (g *guest) enrol(shop *storetest.Shop) {
	g.t.Helper()
	_, secret, err := shop.DB.AddDevice(g.t.Context(), shop.Everyone, store.NewDevice{Name: "Tablet " + store.NewID().String()[30:], LocationClass: "unclassified"})
	if err != nil {
		g.t.Fatal(err)
	}
	if r := g.send("POST", "/enrol/"+secret, url.Values{"location_class": {"unclassified"}, "css_px_per_inch": {"132"}}); r.StatusCode != http.StatusSeeOther {
		g.t.Fatalf("enrolling: %s", r.Status)
	}
}

func (g *guest) signOn(a store.Actor) *http.Response {
	g.t.Helper()
	return g.send("POST", "/signon/pin", url.Values{"person": {a.Person.String()}, "pin": {storetest.PIN}})
}

func TestEveryRouteIsInTheRoleMatrixAndHeldForEveryRole(t *testing.T) {
	shop := storetest.NewShop(t)
	g := newGuest(t, shop)
	matrix := map[string]access{}
	for _, route := range g.server.routes() {
		if _, twice := matrix[route.method+" "+route.pattern]; twice {
			t.Errorf("%s %s stands in the matrix twice", route.method, route.pattern)
		}
		matrix[route.method+" "+route.pattern] = route.who
	}
	open := map[string]bool{"GET /healthz/alive": true, "GET /healthz/ready": true}
	err := chi.Walk(g.server.handler.(chi.Routes), func(method, pattern string, _ http.Handler, _ ...func(http.Handler) http.Handler) error {
		if _, known := matrix[method+" "+pattern]; !known && !open[method+" "+pattern] && pattern != "/static/*" {
			t.Errorf("%s %s is answered and not in the role matrix", method, pattern)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for i, role := range append([]string{""}, store.Roles...) {
		// Each from an address of their own, so that the limit for slow acts is not what denies them.
		who := &guest{t: t, server: g.server, cookies: map[string]string{}, from: fmt.Sprintf("192.0.2.%d:1234", i+10)}
		if role != "" {
			who.enrol(shop)
			if r := who.signOn(shop.AddPerson("A "+role, role, role)); r.StatusCode != http.StatusSeeOther {
				t.Fatalf("%s cannot sign on: %s", role, r.Status)
			}
		}
		for name, access := range matrix {
			method, pattern, _ := strings.Cut(name, " ")
			if access.public || pattern == "/day/live" {
				continue
			}
			path := strings.NewReplacer("{serial}", "none", "{number}", "none", "{code}", "none", "{id}", store.NewID().String(), "{file}", "none.csv", "{secret}", "none").Replace(pattern)
			var form url.Values
			if method == "POST" {
				form = url.Values{}
			}
			r := who.send(method, path, form)
			allowed := role != "" && slices.Contains(access.roles, role)
			denied := r.StatusCode == http.StatusForbidden || r.StatusCode == http.StatusUnauthorized ||
				r.StatusCode == http.StatusSeeOther && strings.HasPrefix(r.Header.Get("Location"), "/signon")
			if allowed == denied && !(allowed && r.StatusCode == http.StatusForbidden && strings.Contains(pattern, "decide")) {
				t.Errorf("%s as %q: %s, allowed %v", name, role, r.Status, allowed)
			}
			if r.StatusCode >= 500 {
				t.Errorf("%s as %q: %s", name, role, r.Status)
			}
		}
	}
}

func TestForeignPostIsRefusedAndNothingChangesByGet(t *testing.T) {
	shop := storetest.NewShop(t)
	g := newGuest(t, shop)
	g.enrol(shop)
	g.signOn(shop.Everyone)
	for _, header := range [][]string{{"Sec-Fetch-Site", "cross-site"}, {"Origin", "https://elsewhere.test"}} {
		if r := g.send("POST", "/racks", url.Values{"tag": {"K9"}}, header...); r.StatusCode != http.StatusForbidden {
			t.Errorf("POST with %v: %s, want 403", header, r.Status)
		}
	}
	racks, err := shop.DB.OpenRacks(t.Context(), shop.Site.ID)
	if err != nil || len(racks) != 0 {
		t.Errorf("a foreign post hung %d racks (%v)", len(racks), err)
	}
	count := func() (n int) {
		if err := storetest.Owner(t, shop.DB).QueryRow(t.Context(), "SELECT (SELECT count(*) FROM record) + (SELECT count(*) FROM part) + (SELECT count(*) FROM hold) + (SELECT count(*) FROM rack)").Scan(&n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	before := count()
	for _, route := range g.server.routes() {
		if route.method == "GET" && !strings.Contains(route.pattern, "{") && route.pattern != "/day/live" {
			g.send("GET", route.pattern, nil)
		}
	}
	if after := count(); after != before {
		t.Errorf("GET requests changed the book: %d rows before, %d after", before, after)
	}
}

func TestSessionCookieIsLockedDownAndDiesAtSignOff(t *testing.T) {
	shop := storetest.NewShop(t)
	g := newGuest(t, shop)
	g.enrol(shop)
	r := g.signOn(shop.Everyone)
	var session *http.Cookie
	for _, c := range r.Cookies() {
		if c.Name == "__Host-coatbook" {
			session = c
		}
	}
	if session == nil || !session.Secure || !session.HttpOnly || session.SameSite == http.SameSiteNoneMode || session.Path != "/" || session.Domain != "" {
		t.Fatalf("session cookie: %+v", session)
	}
	if len(session.Value) < 22 {
		t.Errorf("session token %q carries fewer than 128 bits", session.Value)
	}
	old := g.cookies["__Host-coatbook"]
	g.signOn(shop.Everyone)
	if g.cookies["__Host-coatbook"] == old {
		t.Error("the token is not renewed at sign-on")
	}
	current := g.cookies["__Host-coatbook"]
	g.send("POST", "/lock", url.Values{})
	for _, token := range []string{old, current} {
		g.cookies["__Host-coatbook"] = token
		if r := g.send("GET", "/holds", nil); r.StatusCode != http.StatusSeeOther {
			t.Errorf("an old token still opens a page: %s", r.Status)
		}
	}
}

func TestARequestUnderWayDoesNotBringAnEndedSittingBack(t *testing.T) {
	shop := storetest.NewShop(t)
	g := newGuest(t, shop)
	g.enrol(shop)
	g.signOn(shop.Everyone)
	current := g.cookies["__Host-coatbook"]
	s := g.server
	slow := s.sittings.remembers(s.sessions.LoadAndSave(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		g.send("POST", "/lock", url.Values{})
		s.sessions.Put(r.Context(), "seen", int64(1))
	})))
	r := httptest.NewRequest("GET", "https://coatbook.test/bench", nil)
	r.AddCookie(&http.Cookie{Name: "__Host-coatbook", Value: current})
	slow.ServeHTTP(httptest.NewRecorder(), r)
	g.cookies["__Host-coatbook"] = current
	if r := g.send("GET", "/holds", nil); r.StatusCode != http.StatusSeeOther {
		t.Errorf("the sitting is back after Lock: %s", r.Status)
	}
}

func TestSentenceForTheNextPageOutlastsAScriptsRequest(t *testing.T) {
	shop := storetest.NewShop(t)
	g := newGuest(t, shop)
	g.enrol(shop)
	g.signOn(shop.Everyone)
	said := g.server.sittings.remembers(g.server.sessions.LoadAndSave(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) { g.server.flash(r, "Kept for the page.") })))
	r := httptest.NewRequest("POST", "https://coatbook.test/said", nil)
	r.AddCookie(&http.Cookie{Name: "__Host-coatbook", Value: g.cookies["__Host-coatbook"]})
	said.ServeHTTP(httptest.NewRecorder(), r)
	g.send("GET", "/bench", nil, "Sec-Fetch-Mode", "cors")
	page, err := io.ReadAll(g.send("GET", "/bench", nil, "Sec-Fetch-Mode", "navigate").Body)
	if err != nil || !strings.Contains(string(page), "Kept for the page.") {
		t.Errorf("the page does not say it; %v", err)
	}
}

func TestPINWorksOnAnEnrolledTabletOnly(t *testing.T) {
	shop := storetest.NewShop(t)
	g := newGuest(t, shop)
	if r := g.signOn(shop.Everyone); r.StatusCode != http.StatusUnauthorized {
		t.Errorf("right PIN, browser not enrolled: %s, want 401", r.Status)
	}
	g.enrol(shop)
	if r := g.signOn(shop.Everyone); r.StatusCode != http.StatusSeeOther {
		t.Fatalf("right PIN on an enrolled tablet: %s", r.Status)
	}
	devices, err := shop.DB.Devices(t.Context(), shop.Site.ID)
	if err != nil {
		t.Fatal(err)
	}
	if err := shop.DB.RevokeDevice(t.Context(), shop.Everyone, devices[0].ID, "Lost"); err != nil {
		t.Fatal(err)
	}
	if r := g.send("GET", "/bench", nil); r.StatusCode != http.StatusSeeOther {
		t.Errorf("sitting on a revoked tablet: %s", r.Status)
	}
	if r := g.signOn(shop.Everyone); r.StatusCode != http.StatusUnauthorized {
		t.Errorf("right PIN on a revoked tablet: %s", r.Status)
	}
}

func TestEveryAnswerCarriesTheSecurityHeaders(t *testing.T) {
	shop := storetest.NewShop(t)
	g := newGuest(t, shop)
	g.enrol(shop)
	g.signOn(shop.Everyone)
	for _, path := range []string{"/day", "/bench", "/holds", "/parts", "/exports", "/setup", "/nothing-here", "/healthz/alive", "/signon"} {
		h := g.send("GET", path, nil).Header
		csp := h.Get("Content-Security-Policy")
		if !strings.Contains(csp, "default-src 'none'") || !strings.Contains(csp, "frame-ancestors 'none'") || strings.Contains(csp, "unsafe") {
			t.Errorf("%s: policy %q", path, csp)
		}
		if h.Get("X-Content-Type-Options") != "nosniff" || h.Get("Referrer-Policy") == "" || h.Get("Cache-Control") != "no-store" || !strings.Contains(h.Get("Strict-Transport-Security"), "max-age=31536000") {
			t.Errorf("%s: headers %v", path, h)
		}
		if !strings.Contains(h.Get("Content-Type"), "charset=utf-8") {
			t.Errorf("%s: content type %q", path, h.Get("Content-Type"))
		}
	}
}

func TestHostileTextIsShownAsText(t *testing.T) {
	shop := storetest.NewShop(t)
	g := newGuest(t, shop)
	g.enrol(shop)
	g.signOn(shop.Everyone)
	const hostile = `<img src=x onerror=alert(1)>`
	r := g.send("GET", "/scan?code="+url.QueryEscape(hostile), nil)
	body, _ := io.ReadAll(r.Body)
	if r.StatusCode != http.StatusNotFound || strings.Contains(string(body), "<img src=x") || !strings.Contains(string(body), "&lt;img src=x") {
		t.Errorf("a hostile code came back as %s: markup %v", r.Status, strings.Contains(string(body), "<img src=x"))
	}
	r = g.send("GET", "/parts/"+url.PathEscape("x'); drop table part"), nil)
	if r.StatusCode != http.StatusNotFound {
		t.Errorf("a part named like SQL: %s", r.Status)
	}
}

func TestBrokenDatabaseSaysNotSavedAndOpensNothing(t *testing.T) {
	shop := storetest.NewShop(t)
	shop.Parts(1)
	g := newGuest(t, shop)
	g.enrol(shop)
	g.signOn(shop.Everyone)
	owner := storetest.Owner(t, shop.DB)
	var name string
	if err := owner.QueryRow(t.Context(), "SELECT current_database()").Scan(&name); err != nil {
		t.Fatal(err)
	}
	// Read only from now on, for new transactions of every connection.
	if _, err := owner.Exec(t.Context(), "ALTER DATABASE "+name+" SET default_transaction_read_only = on"); err != nil {
		t.Fatal(err)
	}
	shop.DB.Pool().Reset()
	form := url.Values{"record": {store.NewID().String()}, "none_found": {"1"}, "light": {"500"}, "save": {"1"}, "welder": {shop.Everyone.Person.String()}}
	r := g.send("POST", "/parts/TH-0001/weld", form, "X-Outbox", "1")
	body, _ := io.ReadAll(r.Body)
	if r.StatusCode != http.StatusServiceUnavailable || !strings.Contains(string(body), "Not saved") {
		t.Errorf("with a read-only database: %s, %.200s", r.Status, body)
	}
	for _, leak := range []string{"SELECT", "INSERT", "pgx", "25006", "goroutine"} {
		if strings.Contains(string(body), leak) {
			t.Errorf("the page shows %q", leak)
		}
	}
	if r := g.send("GET", "/healthz/alive", nil); r.StatusCode != http.StatusOK {
		t.Errorf("alive: %s", r.Status)
	}
}

func TestReadySaysNoWhileDraining(t *testing.T) {
	shop := storetest.NewShop(t)
	s := New(shop.DB, slog.New(slog.NewTextHandler(io.Discard, nil)), Config{})
	t.Cleanup(s.Close)
	g := &guest{t: t, server: s, cookies: map[string]string{}}
	if r := g.send("GET", "/healthz/ready", nil); r.StatusCode != http.StatusOK {
		t.Fatalf("ready: %s", r.Status)
	}
	s.Drain()
	if r := g.send("GET", "/healthz/ready", nil); r.StatusCode != http.StatusServiceUnavailable {
		t.Errorf("ready while draining: %s", r.Status)
	}
	if r := g.send("GET", "/healthz/alive", nil); r.StatusCode != http.StatusOK {
		t.Errorf("alive while draining: %s", r.Status)
	}
}

func TestNothingOfTheServersInsidesIsPublic(t *testing.T) {
	g := newGuest(t, storetest.NewShop(t))
	for _, path := range []string{"/debug/pprof/", "/debug/vars", "/metrics", "/static/", static.Prefix(), static.Prefix() + "fonts/", static.Prefix() + "vendor/", static.Prefix() + "embed.go", "/.git/config", "/.env", "/go.mod", "/migrations/"} {
		if r := g.send("GET", path, nil); r.StatusCode != http.StatusNotFound {
			t.Errorf("%s: %s, want 404", path, r.Status)
		}
	}
	for _, path := range []string{"/", "/day", "/signon", "/static/", "/healthz/alive"} {
		if r := g.send("TRACE", path, nil); r.StatusCode != http.StatusMethodNotAllowed && r.StatusCode != http.StatusNotFound {
			t.Errorf("TRACE %s: %s", path, r.Status)
		}
	}
}

// secret finds a credential that is written down: a private key, or a password, token or secret set to a literal.
var secret = regexp.MustCompile(`-----BEGIN [A-Z ]*PRIVATE KEY-----|(?i)(?:password|passwd|secret|token|api_?key)["']?\s*[:=]+\s*["'][^"'\s$<{]{8,}["']|://[^:/@\s"{$]+:[^@/\s"{$]+@[a-z0-9.]+`)

// codeWord is a constant's name for a rule, such as wrong_secret.
var codeWord = regexp.MustCompile(`"[a-z]+(_[a-z]+)+"$`)

func TestNoSecretIsWrittenInTheProject(t *testing.T) {
	if !secret.MatchString(`DB_PASSWORD: "correct-horse"`) || !secret.MatchString("postgres://app:hunter22@db/coatbook") {
		t.Fatal("the search would not find a secret")
	}
	seen := 0
	err := filepath.WalkDir("..", func(path string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		switch {
		case entry.IsDir() && (entry.Name() == ".git" || entry.Name() == "testdata" || entry.Name() == "vendor"):
			return fs.SkipDir
		case entry.IsDir() || strings.HasSuffix(path, "_test.go") || strings.HasSuffix(path, ".woff2"):
			return nil
		}
		body, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		seen++
		for _, found := range secret.FindAll(body, -1) {
			if !codeWord.Match(found) {
				t.Errorf("%s has a secret: %.40s", path, found)
			}
		}
		return nil
	})
	if err != nil || seen < 100 {
		t.Fatalf("%d files searched, %v", seen, err)
	}
}
