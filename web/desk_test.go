package web

import (
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/go-chi/chi/v5"
	"github.com/google/uuid"
	"golang.org/x/net/html"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

// A desk is a shop behind the review pages, with somebody signed on.
type desk struct {
	*storetest.Shop
	t      testing.TB
	server *Server
	who    store.Actor
	unit   *string
}

func newDesk(t testing.TB) *desk {
	t.Helper()
	shop := storetest.NewShop(t)
	s := New(shop.DB, slog.New(slog.NewTextHandler(io.Discard, nil)), Config{})
	t.Cleanup(func() { s.Drain(); s.Close() })
	return &desk{Shop: shop, t: t, server: s, who: shop.Everyone}
}

// handler answers the review pages as whoever is signed on, by the role matrix.
func (d *desk) handler() http.Handler {
	router := chi.NewRouter()
	for _, route := range d.server.reviewRoutes() {
		router.Method(route.method, route.pattern, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			v := &visit{site: d.Site, person: &store.Person{ID: d.who.Person, Name: d.who.Name, Roles: d.who.Roles, FilmUnit: d.unit}, actor: d.who}
			r = r.WithContext(context.WithValue(r.Context(), visitKey{}, v))
			err := route.who.admits(v)
			if err == nil && r.Method == http.MethodPost {
				err = r.ParseForm()
			}
			if err == nil {
				err = route.handle(w, r)
			}
			if err != nil {
				d.server.fail(w, r, err)
			}
		}))
	}
	return d.server.sessions.LoadAndSave(router)
}

func (d *desk) get(path string, want int) string {
	d.t.Helper()
	return d.send(httptest.NewRequest(http.MethodGet, path, nil), want)
}

func (d *desk) post(path string, want int, form url.Values) string {
	d.t.Helper()
	// Without cookies every request is a sitting of its own, and its signature the first.
	if form.Has("pin") && !form.Has("signer") {
		form.Set("signer", d.who.Name)
	}
	r := httptest.NewRequest(http.MethodPost, path, strings.NewReader(form.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	return d.send(r, want)
}

func (d *desk) send(r *http.Request, want int) string {
	d.t.Helper()
	w := httptest.NewRecorder()
	d.handler().ServeHTTP(w, r)
	if w.Code != want {
		d.t.Fatalf("%s %s: status %d, want %d\n%s", r.Method, r.URL, w.Code, want, textOf(w.Body.String()))
	}
	return w.Body.String()
}

func textOf(page string) string {
	text := regexp.MustCompile(`(?s)<(script|style|head)\b.*?</(script|style|head)>|<[^>]*>`).ReplaceAllString(page, " ")
	text = html.UnescapeString(strings.Join(strings.Fields(text), " "))
	// Where a tag ended, no space was.
	return strings.NewReplacer(" ,", ",", " :", ":", " .", ".").Replace(text)
}

func contains(t *testing.T, page string, words ...string) {
	t.Helper()
	text := textOf(page)
	for _, w := range words {
		if !strings.Contains(text, w) {
			t.Errorf("the page does not say %q:\n%s", w, text)
		}
	}
}

// links are the addresses and words of all links of a page.
func links(t *testing.T, page string) map[string]string {
	t.Helper()
	root, err := html.Parse(strings.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]string{}
	var walk func(*html.Node)
	walk = func(n *html.Node) {
		if n.Type == html.ElementNode && n.Data == "a" {
			for _, a := range n.Attr {
				if a.Key == "href" {
					var b strings.Builder
					_ = html.Render(&b, n)
					found[a.Val] += textOf(b.String())
				}
			}
		}
		for c := n.FirstChild; c != nil; c = c.NextSibling {
			walk(c)
		}
	}
	walk(root)
	return found
}

func rowsOf(page string) int {
	_, body, _ := strings.Cut(page, "<tbody>")
	return strings.Count(body, "<tr")
}

// busy is a day with something of everything: 6 parts welded, one cracked; 3 of them through to film, one thin; two released.
func (d *desk) busy() []uuid.UUID {
	d.t.Helper()
	parts := d.Parts(6)
	for _, p := range parts[:5] {
		d.Weld(p, quality.NoneFound)
	}
	d.Weld(parts[5], "100")
	good := d.Wash(parts[:3], "4.6", 0)
	d.Wash(parts[3:5], "5.4", 1)
	d.Bake([]uuid.UUID{good}, "196")
	d.Verify(0.4)
	for i, p := range parts[:3] {
		d.Finish(p)
		d.Film(p, "84.20", []string{"81.0", "81.0", "46.3"}[i], "79", "80", "82")
	}
	if err := d.DB.Release(d.t.Context(), d.Everyone, parts[:2], d.Proof(d.Everyone)); err != nil {
		d.t.Fatal(err)
	}
	return parts
}

func TestPartTellsItsStoryAndWhatReleaseAsks(t *testing.T) {
	d := newDesk(t)
	d.busy()
	held := d.get("/parts/TH-0003", http.StatusOK)
	contains(t, held, "on hold", "What release asks", "failed", "Film thickness", "H-2026-0003", "gauge FG-01", "powder lot 000123", "Cycle 1", "Maren Holt", "PC-60 rev A")
	if strings.Contains(held, "/release") {
		t.Error("a held part offers its release")
	}
	contains(t, d.get("/parts/TH-0001", http.StatusOK), "released", "Signed by Maren Holt", "meaning: released")
	waiting := d.get("/parts/TH-0004", http.StatusOK)
	contains(t, waiting, "on hold")
	d.get("/parts/TH-9999", http.StatusNotFound)
	tag := d.get("/parts/TH-0001?print=hangtag", http.StatusOK)
	contains(t, tag, "TH-0001", "Rail frame RF-210", "Job 24117")
	if !strings.Contains(tag, "Code of PART.TH-0001") {
		t.Error("the hangtag has no code with its type mark")
	}
}

func TestRecordShowsReadingsExactlyAsTyped(t *testing.T) {
	d := newDesk(t)
	d.busy()
	checks, err := d.DB.FilmChecks(t.Context(), d.Site.ID, store.FilmFilter{Period: store.OneDay(time.Date(2026, 11, 24, 0, 0, 0, 0, time.UTC), "")})
	if err != nil {
		t.Fatal(err)
	}
	page := d.get("/records/"+checks[2].RecordID.String(), http.StatusOK)
	contains(t, page, "84.20", "46.3 low", "fail", "Maren Holt", "-06:00", "PC-60 rev A", "FG-01", "Opened hold H-2026-0", "SHA-256")
	d.get("/records/"+uuid.Must(uuid.NewV7()).String(), http.StatusNotFound)
	d.get("/records/nonsense", http.StatusNotFound)
}

func TestReleaseIsReviewedAndCancelledWithoutTrace(t *testing.T) {
	d := newDesk(t)
	part := d.Ready(1, 0)[0]
	contains(t, d.get("/parts/TH-0001/release", http.StatusOK), "Not ready to release", "Finish check is not recorded yet.")
	d.post("/parts/TH-0001/release", http.StatusUnprocessableEntity, url.Values{"pin": {storetest.PIN}})
	d.Verify(0)
	d.Finish(part)
	d.Film(part, "80", "80", "81", "82", "83")
	review := d.get("/parts/TH-0001/release", http.StatusOK)
	contains(t, review, "Release this part?", "I, Maren Holt, release part TH-0001 in cycle 1, judged by PC-60 rev A.", "7 requirements: 7 met", "Meaning of the signature: released.", "Cancel, release nothing")
	wrong := d.post("/parts/TH-0001/release", http.StatusUnprocessableEntity, url.Values{"pin": {"000000"}})
	contains(t, wrong, "Release this part?")
	contains(t, d.get("/parts/TH-0001", http.StatusOK), "accepted, not released")
	d.post("/parts/TH-0001/release", http.StatusSeeOther, url.Values{"pin": {storetest.PIN}})
	contains(t, d.get("/parts/TH-0001", http.StatusOK), "released")
	contains(t, d.get("/parts/TH-0001/release", http.StatusOK), "released already")
}

func TestDecisionIsReviewedBeforeItIsSigned(t *testing.T) {
	d := newDesk(t)
	parts := d.busy()
	const at = "/holds/H-2026-0003"
	contains(t, d.get("/holds", http.StatusOK), "3 holds with 4 parts wait for a decision", "H-2026-0003")
	contains(t, d.get(at, http.StatusOK), "1 of 1 part undecided", "TH-0003", "PC-60 rev A")
	contains(t, d.get(at+"/decide", http.StatusOK), "What shall happen to these parts?", "Strip and recoat", "Regrade")
	form := url.Values{"step": {"review"}, "part": {parts[2].String()}, "code": {"concession"}, "reason": {"no"}}
	contains(t, d.post(at+"/decide", http.StatusUnprocessableEntity, form), "at least 5 letters", "Enter the customer's reference")
	form = url.Values{"step": {"review"}, "part": {parts[2].String()}, "code": {"strip_recoat"}, "reason": {"thin on spot 2"}}
	contains(t, d.post(at+"/decide", http.StatusOK, form), "Sign this decision?", "I, Maren Holt, decide on hold H-2026-0003: strip and recoat.", "1 part: TH-0003.", "Reason: thin on spot 2")
	contains(t, d.get(at, http.StatusOK), "1 of 1 part undecided")
	form.Set("step", "sign")
	form.Set("pin", "000000")
	contains(t, d.post(at+"/decide", http.StatusUnprocessableEntity, form), "Sign this decision?", "thin on spot 2")
	form.Set("pin", storetest.PIN)
	d.post(at+"/decide", http.StatusSeeOther, form)
	contains(t, d.get(at, http.StatusOK), "Strip and recoat: thin on spot 2", "Signed by Maren Holt", "decided")
	contains(t, d.get("/parts/TH-0003", http.StatusOK), "Cycle 1", "next: weld check")
	d.post(at+"/decide", http.StatusUnprocessableEntity, form)
}

func TestInspectorMayReadHoldsAndNotDecide(t *testing.T) {
	d := newDesk(t)
	d.busy()
	d.who = d.AddPerson("Ilse Brandt", "ilse", store.Inspector)
	page := d.get("/holds/H-2026-0001", http.StatusOK)
	contains(t, page, "A supervisor or an engineer decides.")
	d.get("/holds/H-2026-0001/decide", http.StatusForbidden)
	d.post("/holds/H-2026-0001/decide", http.StatusForbidden, url.Values{})
	d.post("/holds/H-2026-0001/parts", http.StatusForbidden, url.Values{})
	d.get("/exports", http.StatusForbidden)
}

func TestSuspectsOfAFailedPartAreHeldInOneAct(t *testing.T) {
	d := newDesk(t)
	parts := d.Ready(4, 0)
	d.Verify(0)
	d.Film(parts[0], "80", "46", "81", "82", "83")
	page := d.get("/holds/H-2026-0001", http.StatusOK)
	contains(t, page, "on the same rack", "TH-0002", "TH-0003", "TH-0004", "Put these 3 parts on this hold too")
	form := url.Values{}
	for _, p := range parts[1:] {
		form.Add("part", p.String())
	}
	d.post("/holds/H-2026-0001/parts", http.StatusSeeOther, form)
	contains(t, d.get("/holds/H-2026-0001", http.StatusOK), "4 of 4 parts undecided")
	d.post("/holds/H-2026-0001/parts", http.StatusUnprocessableEntity, url.Values{})
}

func TestExportsAreOfferedStreamedAndNoted(t *testing.T) {
	d := newDesk(t)
	d.busy()
	contains(t, d.get("/exports", http.StatusOK), "parts.csv", "checks.csv", "readings.csv", "dictionary.csv", "RFC 4180")
	w := httptest.NewRecorder()
	d.handler().ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/exports/readings.csv?date=2026-11-24", nil))
	if got := w.Header().Get("Content-Type"); w.Code != http.StatusOK || got != "text/csv; charset=utf-8; header=present" {
		t.Fatalf("status %d, content type %q", w.Code, got)
	}
	rows, err := csv.NewReader(w.Body).ReadAll()
	if err != nil || len(rows) < 20 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	contains(t, d.get("/exports?date=2026-11-24", http.StatusOK), fmt.Sprintf("readings.csv one measured value, rating or defect of a record %d", len(rows)-1))
	var notes int
	if err := storetest.Owner(t, d.DB).QueryRow(t.Context(), `SELECT count(*) FROM event WHERE site_id = $1 AND verb = 'exported' AND after->>'file' = 'readings.csv'`, d.Site.ID).Scan(&notes); err != nil || notes != 1 {
		t.Errorf("%d exports are noted, %v, want 1", notes, err)
	}
	d.get("/exports/person.csv", http.StatusNotFound)
	contains(t, d.get("/exports?from=2026-13-01", http.StatusUnprocessableEntity), "“2026-13-01” is not a date.")
	contains(t, d.get("/exports?from=2026-11-05&to=2026-11-01", http.StatusUnprocessableEntity), "before it begins")
	d.get("/exports/parts.csv?from=x", http.StatusUnprocessableEntity)
}

func TestPartsAreFoundByWhatTouchedThem(t *testing.T) {
	d := newDesk(t)
	d.busy()
	for query, want := range map[string]int{"kind=lot&name=000123": 3, "kind=gauge&name=FG-01": 3, "kind=bath&name=Conversion": 5, "kind=booth&name=B1": 3, "kind=oven&name=Oven+1": 3,
		"kind=part_number&name=RF-210": 6, "kind=gauge&name=FG-01&to=2026-11-20T08:00": 0} {
		if got := rowsOf(d.get("/trace?"+query, http.StatusOK)); got != want {
			t.Errorf("%s: %d parts, want %d", query, got, want)
		}
	}
	contains(t, d.get("/trace?kind=lot&name=x", http.StatusUnprocessableEntity), "The site has no material lot “x”")
	contains(t, d.get("/trace?kind=lot&name=000123&from=2026-13-01", http.StatusUnprocessableEntity), "“2026-13-01” is not a time.")
	d.get("/trace?kind=moon&name=x", http.StatusNotFound)
	contains(t, d.get("/parts?q=TH-0002", http.StatusOK), "1 part found for “TH-0002”")
	contains(t, d.get("/parts?q=zzz", http.StatusOK), "No serial begins with “zzz”")
}
