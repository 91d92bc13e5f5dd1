package web

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"github.com/go-chi/chi/v5"
	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
)

// A hand is somebody who enters records on the bench pages of a shop.
type hand struct{ *desk }

func newHand(t testing.TB) *hand { return &hand{newDesk(t)} }

func (h *hand) send(method, path string, form url.Values, header http.Header) *httptest.ResponseRecorder {
	h.t.Helper()
	router := chi.NewRouter()
	for _, route := range h.server.benchRoutes() {
		router.Method(route.method, route.pattern, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			v := &visit{site: h.Site, person: &store.Person{ID: h.who.Person, Name: h.who.Name, Roles: h.who.Roles, FilmUnit: h.unit}, actor: h.who}
			r = r.WithContext(context.WithValue(r.Context(), visitKey{}, v))
			err := route.who.admits(v)
			if err == nil && r.Method == http.MethodPost {
				err = r.ParseForm()
			}
			if err == nil {
				err = route.handle(w, r)
			}
			if err != nil {
				h.server.fail(w, r, err)
			}
		}))
	}
	r := httptest.NewRequest(method, path, strings.NewReader(form.Encode()))
	for name := range header {
		r.Header.Set(name, header.Get(name))
	}
	if method == http.MethodPost {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	w := httptest.NewRecorder()
	h.server.sessions.LoadAndSave(router).ServeHTTP(w, r)
	return w
}

// open reads a page.
func (h *hand) open(path string, want int) string {
	h.t.Helper()
	return h.answer("GET", path, nil, want)
}

// enter posts a form with a record id of its own, unless it brings one.
func (h *hand) enter(path string, form url.Values, want int) string {
	h.t.Helper()
	if !form.Has("record") {
		form.Set("record", store.NewID().String())
	}
	return h.answer("POST", path, form, want)
}

func (h *hand) answer(method, path string, form url.Values, want int) string {
	h.t.Helper()
	w := h.send(method, path, form, nil)
	if w.Code != want {
		h.t.Fatalf("%s %s: status %d, want %d\n%s", method, path, w.Code, want, textOf(w.Body.String()))
	}
	if w.Code == http.StatusSeeOther {
		return w.Header().Get("Location")
	}
	return w.Body.String()
}

func (h *hand) serial(part uuid.UUID) string {
	h.t.Helper()
	parts, err := h.DB.PartsOf(h.t.Context(), h.Site.ID, store.Subject{Kind: quality.OnPart, ID: part})
	if err != nil || len(parts) != 1 {
		h.t.Fatalf("part %s: %v, %v", part, parts, err)
	}
	return parts[0].Serial
}

func (h *hand) status(serial string) string {
	h.t.Helper()
	p, err := h.DB.PartBySerial(h.t.Context(), h.Site.ID, serial)
	if err != nil {
		h.t.Fatal(err)
	}
	return p.Status
}

// onRecord counts the records of a kind on a part.
func (h *hand) onRecord(part uuid.UUID, kind quality.Kind) int {
	h.t.Helper()
	records, err := h.DB.RecordsOn(h.t.Context(), h.Site.ID, store.Subject{Kind: quality.OnPart, ID: part})
	if err != nil {
		h.t.Fatal(err)
	}
	n := 0
	for _, r := range records {
		if r.Kind == kind {
			n++
		}
	}
	return n
}

// ready is a part at the final bench with its gauge verified.
func (h *hand) ready() (uuid.UUID, string) {
	h.t.Helper()
	part := h.Ready(1, 0)[0]
	h.Verify(0)
	return part, "/parts/" + h.serial(part) + "/film"
}

func (h *hand) filmForm(values ...string) url.Values {
	form := url.Values{"gauge": {h.Gauge.ID.String()}, "unit": {"um"}, "save": {"1"}}
	for i, v := range values {
		form.Set(fmt.Sprintf("film-%d-1", i+1), v)
	}
	return form
}

func TestFilmPostedTwiceIsOneRecord(t *testing.T) {
	h := newHand(t)
	part, address := h.ready()
	form := h.filmForm("78.2", "80.1", "77.5", "86.0", "90.3")
	first := h.enter(address, form, http.StatusSeeOther)
	h.enter(address, form, http.StatusSeeOther)
	if n := h.onRecord(part, quality.Film); n != 1 || first != "/parts/"+h.serial(part) {
		t.Errorf("%d film records, sent to %s; want one record and the part's page", n, first)
	}
}

func TestBadReadingsComeBackAsTypedAndNothingIsStored(t *testing.T) {
	h := newHand(t)
	part, address := h.ready()
	for _, text := range []string{"3,2", "-1", "2.8.1", "", "1e9", "NaN", "8420", "<b>"} {
		page := h.enter(address, h.filmForm("78.2", text, "77.5", "86.0", "90.3"), http.StatusUnprocessableEntity)
		contains(t, page, "Spot 2, reading 1")
		for _, kept := range []string{`value="78.2"`, `aria-invalid="true"`, `id="film-2-1-problem"`} {
			if !strings.Contains(page, kept) {
				t.Errorf("%q: the page lacks %s", text, kept)
			}
		}
		if text == "3,2" && !strings.Contains(page, `value="3,2"`) {
			t.Error("the typed text was not kept")
		}
	}
	if n := h.onRecord(part, quality.Film); n != 0 {
		t.Errorf("%d film records were stored", n)
	}
}

func TestMicrometresInAFormInMilAreCaught(t *testing.T) {
	h := newHand(t)
	_, address := h.ready()
	form := h.filmForm("76", "80", "77", "86", "90")
	form.Set("unit", "mil")
	contains(t, h.enter(address, form, http.StatusUnprocessableEntity), "is it µm?")
}

func TestEnterOnlyChecksAndNeverSaves(t *testing.T) {
	h := newHand(t)
	part, address := h.ready()
	form := h.filmForm("78.2", "80.1", "45.1", "86.0", "90.3")
	form.Del("save")
	form.Set("preview", "1")
	page := h.enter(address, form, http.StatusOK)
	contains(t, page, "fail", "45.1 µm")
	if n := h.onRecord(part, quality.Film); n != 0 {
		t.Errorf("checking stored %d records", n)
	}
	w := h.send("POST", address, form, http.Header{"X-Fragment": {"1"}})
	if body := w.Body.String(); w.Code != http.StatusOK || strings.Contains(body, "<html") || !strings.Contains(body, "fail") {
		t.Errorf("the fragment is %d %q", w.Code, body)
	}
}

func TestThinSpotPutsThePartOnHold(t *testing.T) {
	h := newHand(t)
	part, address := h.ready()
	h.enter(address, h.filmForm("78.2", "80.1", "45.1", "86.0", "90.3"), http.StatusSeeOther)
	if got := h.status(h.serial(part)); got != store.StatusOnHold {
		t.Errorf("the part is %s, want on hold", got)
	}
	contains(t, h.open(address, http.StatusOK), "is on hold")
}

func TestSpotThatCannotBeReachedIsAStateNotAZero(t *testing.T) {
	h := newHand(t)
	_, address := h.ready()
	form := h.filmForm("78.2", "80.1", "", "86.0", "90.3")
	form.Set("spot-3-absent", "not_measured")
	form.Set("preview", "1")
	contains(t, h.enter(address, form, http.StatusOK), "incomplete")
}

func TestValuesTypedByAnotherPersonAreNotSavedUnderMyName(t *testing.T) {
	h := newHand(t)
	part, address := h.ready()
	form := h.filmForm("78.2", "80.1", "77.5", "86.0", "90.3")
	form.Set("entered_by", store.NewID().String())
	contains(t, h.enter(address, form, http.StatusUnprocessableEntity), "typed by another person")
	if n := h.onRecord(part, quality.Film); n != 0 {
		t.Errorf("%d records were stored under the wrong name", n)
	}
}

func TestThePagesScriptLearnsWhereASaveLeads(t *testing.T) {
	h := newHand(t)
	part, address := h.ready()
	form := h.filmForm("78.2", "80.1", "77.5", "86.0", "90.3")
	form.Set("record", store.NewID().String())
	w := h.send("POST", address, form, http.Header{"X-Outbox": {"1"}})
	if w.Code != http.StatusOK || w.Header().Get("Saved-To") != "/parts/"+h.serial(part) {
		t.Errorf("got %d and %q", w.Code, w.Header().Get("Saved-To"))
	}
}

func TestGaugeNotVerifiedThisShiftIsRefusedWithTheWayOut(t *testing.T) {
	h := newHand(t)
	part := h.Ready(1, 0)[0]
	page := h.enter("/parts/"+h.serial(part)+"/film", h.filmForm("78.2", "80.1", "77.5", "86.0", "90.3"), http.StatusUnprocessableEntity)
	contains(t, page, "is not verified", "Verify it on the zero plate and shims first")
	if !strings.Contains(page, `value="80.1"`) {
		t.Error("the typed values were lost")
	}
}

func TestReadingsKeepTheirSourceAndText(t *testing.T) {
	h := newHand(t)
	part, address := h.ready()
	form := h.filmForm("78.20", "80.1", "77.5", "86.0", "90.3")
	form.Set("film-1-1-source", "wedge")
	form.Set("film-1-1-raw", "78.20")
	h.enter(address, form, http.StatusSeeOther)
	records, err := h.DB.RecordsOn(t.Context(), h.Site.ID, store.Subject{Kind: quality.OnPart, ID: part})
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range records {
		if r.Kind != quality.Film {
			continue
		}
		full, err := h.DB.RecordByID(t.Context(), h.Site.ID, r.ID)
		if err != nil {
			t.Fatal(err)
		}
		first := full.Check.Readings[0]
		if first.Text != "78.20" || first.Source != "wedge" || full.Check.Readings[1].Source != "typed" {
			t.Errorf("got %+v", full.Check.Readings[:2])
		}
		return
	}
	t.Error("no film record")
}
