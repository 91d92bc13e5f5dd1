package web

import (
	"context"
	"crypto/tls"
	"html"
	"io"
	"log/slog"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/pquerna/otp/totp"

	"coatbook/store"
	"coatbook/store/storetest"
)

const (
	setupPassword = "seven tired gulls over the yard"
	setupPIN      = "594713"
)

// A setupDesk is a browser in which an administrator who is also the engineer and supervisor of a new shop is signed on.
type setupDesk struct {
	t      *testing.T
	db     *store.DB
	actor  store.Actor
	url    string
	client *http.Client
	signer string // sign-on name of who is signed on
}

// openSetupDesk opens a server on an empty shop and signs its first person on, as after coatbook setup.
func openSetupDesk(t *testing.T, roles ...string) *setupDesk {
	t.Helper()
	db := storetest.New(t)
	server := New(db, slog.New(slog.NewTextHandler(io.Discard, nil)), Config{})
	ts := httptest.NewTLSServer(server)
	t.Cleanup(func() { server.Drain(); ts.Close(); server.Close() })
	site, err := db.AddSite(t.Context(), store.NewSite{Code: "TH", Name: "Tern Hollow Metalworks", TimeZone: "America/Chicago"})
	if err != nil {
		t.Fatal(err)
	}
	if len(roles) == 0 {
		roles = []string{store.Administrator, store.Engineer, store.Supervisor}
	}
	d := &setupDesk{t: t, db: db, url: ts.URL, client: newSetupClient(t)}
	d.actor = store.Actor{Site: site.ID, Roles: roles}
	p := d.addSignedPerson("Petra Lindqvist", "petra", roles...)
	d.actor.Person, d.actor.Name = p.ID, p.Name
	d.signOn("petra", p)
	return d
}

func newSetupClient(t *testing.T) *http.Client {
	t.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	return &http.Client{Jar: jar, Timeout: 30 * time.Second, Transport: &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}}
}

// codeSecret is the secret of every code app in these tests.
const codeSecret = "JBSWY3DPEHPK3PXPJBSWY3DPEHPK3PXP"

func (d *setupDesk) addSignedPerson(name, signOn string, roles ...string) store.Person {
	d.t.Helper()
	ctx := context.Background()
	p, err := d.db.AddPerson(ctx, d.actor, store.NewPerson{Name: name, SignOnName: signOn, Roles: roles})
	if err != nil {
		d.t.Fatal(err)
	}
	secret, err := d.db.Invite(ctx, d.actor, p.ID)
	if err != nil {
		d.t.Fatal(err)
	}
	if _, err := d.db.Accept(ctx, secret, setupPIN, setupPassword, codeSecret, d.code()); err != nil {
		d.t.Fatal(err)
	}
	return p
}

func (d *setupDesk) code() string {
	d.t.Helper()
	code, err := totp.GenerateCode(codeSecret, time.Now())
	if err != nil {
		d.t.Fatal(err)
	}
	return code
}

func (d *setupDesk) signOn(name string, p store.Person) {
	d.t.Helper()
	code := ""
	if p.NeedsSecondFactor() {
		code = d.code()
	}
	d.client, d.signer = newSetupClient(d.t), name
	d.client.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	resp, err := d.client.PostForm(d.url+"/signon/password", url.Values{"name": {name}, "password": {setupPassword}, "code": {code}})
	if err != nil {
		d.t.Fatal(err)
	}
	resp.Body.Close()
	if resp.StatusCode != http.StatusSeeOther {
		d.t.Fatalf("signing %s on: status %d, want a redirect", name, resp.StatusCode)
	}
	d.client.CheckRedirect = nil
}

// get returns a page's status and text.
func (d *setupDesk) get(path string) (int, string) {
	d.t.Helper()
	resp, err := d.client.Get(d.url + path)
	return d.read(resp, err)
}

// post sends a form and follows to where it leads.
func (d *setupDesk) post(path string, pairs ...string) (int, string) {
	d.t.Helper()
	form := values(pairs...)
	if form.Has("pin") {
		form.Set("signer", d.signer)
	}
	resp, err := d.client.PostForm(d.url+path, form)
	return d.read(resp, err)
}

// postAll sends a form in which fields may repeat.
func (d *setupDesk) postAll(path string, form url.Values) (int, string) {
	d.t.Helper()
	resp, err := d.client.PostForm(d.url+path, form)
	return d.read(resp, err)
}

func (d *setupDesk) read(resp *http.Response, err error) (int, string) {
	d.t.Helper()
	if err != nil {
		d.t.Fatal(err)
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	if err != nil {
		d.t.Fatal(err)
	}
	return resp.StatusCode, html.UnescapeString(string(body))
}

// must fails the test unless the answer is 200 and holds the text.
func (d *setupDesk) must(status int, body, text string) string {
	d.t.Helper()
	if status != http.StatusOK || !strings.Contains(body, text) {
		d.t.Fatalf("status %d, want 200 and a page with %q; problems on the page: %v", status, text, problemsOn(body))
	}
	return body
}

var problemText = regexp.MustCompile(`class="(?:problem|d-problem)"[^>]*>(?:<svg.*?</svg>)?(?:<span>)?([^<]*)`)

func problemsOn(body string) (found []string) {
	for _, m := range problemText.FindAllStringSubmatch(body, -1) {
		found = append(found, m[1])
	}
	return found
}

// option returns the value of the option in a page's list whose words begin with text.
func (d *setupDesk) option(body, text string) string {
	d.t.Helper()
	m := regexp.MustCompile(`<option value="([^"]*)"[^>]*>` + regexp.QuoteMeta(text)).FindStringSubmatch(body)
	if m == nil {
		d.t.Fatalf("no option %q on the page", text)
	}
	return m[1]
}

// link returns the address on a page that matches the pattern.
func (d *setupDesk) link(body, pattern string) string {
	d.t.Helper()
	found := regexp.MustCompile(pattern).FindString(body)
	if found == "" {
		d.t.Fatalf("no address like %s on the page", pattern)
	}
	return found
}

const idPattern = `[0-9a-f]{8}-[0-9a-f-]{27}`
