package web

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"
	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
)

// param returns a part of the address as it was meant: browsers escape what serials may hold.
func param(r *http.Request, name string) string {
	text := chi.URLParam(r, name)
	if plain, err := url.PathUnescape(text); err == nil {
		return plain
	}
	return text
}

// dueKinds are the checks on single parts that wait at each kind of station. Where none are named, all are.
var dueKinds = map[string][]quality.Kind{
	"weld": {quality.Weld}, "wash": {quality.Pretreatment}, "booth": {quality.Coating}, "oven": {quality.Cure, quality.CureTest, quality.PanelTest},
	"final": {quality.Finish, quality.Film, quality.CureTest, quality.PanelTest},
}

// mostDue bounds the list of a station: what does not fit a screen is found by scanning.
const mostDue = 30

// benchPage is what waits at this station, what hangs and bakes, and the gauges.
func (s *Server) benchPage(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	// A page that is being typed on only says that its person is still there.
	if r.Header.Get("X-Ping") != "" {
		w.WriteHeader(http.StatusNoContent)
		return nil
	}
	kinds := quality.Kinds
	if v.device != nil && len(dueKinds[v.device.StationKind]) > 0 {
		kinds = dueKinds[v.device.StationKind]
	}
	parts, err := s.store.PartsDue(r.Context(), v.site.ID, kinds, mostDue+1)
	if err != nil {
		return err
	}
	racks, err := s.store.OpenRacks(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	loads, err := s.store.RecentLoads(r.Context(), v.site.ID, s.store.Clock().Add(-24*time.Hour))
	if err != nil {
		return err
	}
	gauges, err := s.store.Instruments(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	view := page.BenchView{Frame: s.benchFrame(v, "Bench"), Racks: rackLines(v.site, racks, s.store.Clock()), Loads: loadLines(v.site, loads, s.store.Clock()), Gauges: gaugeLines(v.site, gauges, s.store.Clock())}
	articles, err := s.store.FirstArticlesDue(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	if bench.admits(v) == nil {
		view.Articles = articleDues(articles)
	}
	if v.device == nil || v.device.StationKind == "wash" {
		baths, err := s.store.BathStandings(r.Context(), v.site, s.store.Clock())
		if err != nil {
			return err
		}
		view.Baths = bathDues(baths)
	}
	if len(parts) > mostDue {
		parts, view.More = parts[:mostDue], fmt.Sprintf("These are the %d that have waited longest. Scan a hangtag for any other part.", mostDue)
	}
	ids := make([]uuid.UUID, len(parts))
	for i, p := range parts {
		ids[i] = p.ID
	}
	sampled, err := s.store.SampledAmong(r.Context(), v.site.ID, ids)
	if err != nil {
		return err
	}
	for _, p := range parts {
		href, what := stepAddress(p), p.NextKind.Name()
		for _, due := range sampled[p.ID] {
			href = sampleHref(p.Serial, p.NextKind)
			if rule := due.Of.Rule(); rule != "" {
				what += ", with " + rule
			}
			what += ", sample of lot " + due.Lot
		}
		view.Due = append(view.Due, page.Due{Href: href, What: what, Subject: p.Serial, About: p.PartName + " " + p.PartNumber,
			Since: "since " + clockWords(v.site, p.ChangedAt, s.store.Clock())})
	}
	return s.render(w, r, http.StatusOK, page.Bench(view))
}

// stepAddress is where a part's next step is recorded: on the part itself, or on the rack or load that it is in.
func stepAddress(p store.PartRow) string {
	part := "/parts/" + url.PathEscape(p.Serial)
	switch p.NextKind {
	case quality.Weld, quality.Finish, quality.Film:
		return part + "/" + string(p.NextKind)
	case quality.Pretreatment, quality.Coating:
		if p.Rack != "" {
			return "/racks/" + url.PathEscape(p.Rack)
		}
	case quality.Cure, quality.CureTest, quality.PanelTest:
		if p.Load != "" {
			return "/loads/" + url.PathEscape(p.Load)
		}
	}
	return part
}

// clockWords prints a time of today as hours and minutes, an earlier one with its day.
func clockWords(site store.Site, at, now time.Time) string {
	local := at.In(site.Location())
	if local.Format(time.DateOnly) == now.In(site.Location()).Format(time.DateOnly) {
		return local.Format("15:04")
	}
	return local.Format("2 Jan 15:04")
}

func rackLines(site store.Site, racks []store.Rack, now time.Time) []page.Due {
	var lines []page.Due
	for _, k := range racks {
		lines = append(lines, page.Due{Href: "/racks/" + url.PathEscape(k.Number), Subject: k.Number, What: counted(k.Parts, "part"), About: rackState(k), Since: clockWords(site, k.HungAt, now)})
	}
	return lines
}

// rackState says in words what a rack waits for.
func rackState(k store.Rack) string {
	switch {
	case slices.Contains(k.Done, string(quality.Coating)) && k.Load != "":
		return "coated, in load " + k.Load
	case slices.Contains(k.Done, string(quality.Coating)):
		return "coated, waits for the oven"
	case slices.Contains(k.Done, string(quality.Pretreatment)):
		return "washed, waits for powder"
	case k.Parts == 0:
		return "empty"
	}
	return "hung, waits for the wash"
}

func loadLines(site store.Site, loads []store.OvenLoad, now time.Time) []page.Due {
	var lines []page.Due
	for _, l := range loads {
		state := "open"
		switch {
		case slices.Contains(l.Done, string(quality.CureTest)):
			state = "cured and tested"
		case slices.Contains(l.Done, string(quality.Cure)):
			state = "cured, waits for its cure test"
		}
		lines = append(lines, page.Due{Href: "/loads/" + url.PathEscape(l.Number), Subject: l.Number, What: counted(l.Racks, "rack"), About: l.Oven + ", " + state, Since: clockWords(site, l.OpenedAt, now)})
	}
	return lines
}

// gaugeLines are the thickness gauges with whether each may be used in this shift.
func gaugeLines(site store.Site, all []store.Instrument, now time.Time) []page.GaugeLine {
	day, shift := site.ShopDay(now)
	var lines []page.GaugeLine
	for _, g := range all {
		if g.Kind != "film_gauge" || g.Status == "withdrawn" {
			continue
		}
		line := page.GaugeLine{Code: g.Code, Verdict: "none", Href: "/gauges/" + url.PathEscape(g.Code) + "/verification", Words: "tap to verify"}
		switch {
		case g.Status == "doubtful":
			line.Verdict, line.Words = "none", "dropped or doubtful, verify it"
		case g.Status == "failed" || g.Verdict == string(quality.Fail):
			line.Verdict, line.Words = "fail", "take another one"
		case g.VerifiedDay != nil && g.VerifiedDay.Equal(day) && g.VerifiedShift == shift && g.Verdict == string(quality.Pass):
			line.Verdict, line.Words = "pass", clockWords(site, *g.VerifiedAt, now)
		}
		lines = append(lines, line)
	}
	return lines
}

// scan goes to what a code names, or says what it is not.
func (s *Server) scan(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	code := form.ParseCode(r.URL.Query().Get("code"))
	if code.Value == "" {
		http.Redirect(w, r, "/bench", http.StatusSeeOther)
		return nil
	}
	if code.Type == "BADGE" {
		return s.render(w, r, http.StatusUnprocessableEntity, page.Scan(page.ScanView{Frame: s.benchFrame(v, "A badge"), Code: "badge", Sentence: "That is a badge. Lock first, then scan it on the sign-on page."}))
	}
	check := ""
	if code.Type == "CERTIFICATE" {
		code.Value, check, _ = strings.Cut(code.Value, ".")
	}
	found, err := s.store.Scan(r.Context(), v.site.ID, code.Value)
	if errors.Is(err, store.ErrNotFound) {
		return s.render(w, r, http.StatusNotFound, page.Scan(page.ScanView{Frame: s.benchFrame(v, "Not known"), Code: clipped(code.Value),
			Sentence: "No hangtag, rack, oven load, gauge or lot of this site is called so. Scan it once more; if the label is right, ask a supervisor whether the job is entered yet."}))
	}
	if err != nil {
		return err
	}
	to := map[string]string{"part": "/parts/", "rack": "/racks/", "load": "/loads/", "gauge": "/gauges/", "panel": "/panels/", "lot": "/parts?q=", "certificate": "/certificates/", "shipment": "/shipments/"}[found.Kind]
	switch found.Kind {
	case "gauge":
		to += url.PathEscape(found.Code) + "/verification"
	case "lot":
		to += url.QueryEscape(found.Code)
	case "certificate":
		to = address(to+url.PathEscape(found.Code), "check", check)
	default:
		to += url.PathEscape(found.Code)
	}
	http.Redirect(w, r, to, http.StatusSeeOther)
	return nil
}

// scanned takes the type mark off a scanned field and says when the label is of another kind.
func scanned(text, mark, thing string) (code, problem string) {
	c := form.ParseCode(text)
	switch {
	case c.Value == "":
		return "", fmt.Sprintf("Scan or type the %s.", thing)
	case c.Type != "" && c.Type != mark:
		return "", fmt.Sprintf("“%s” is not a %s. Scan a %s.", clipped(text), thing, thing)
	}
	return strings.TrimSpace(c.Value), ""
}
