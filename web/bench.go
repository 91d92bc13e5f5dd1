package web

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"time"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/page"
)

// dueAt says which kinds are recorded on parts at a kind of station; other places see all of them.
var dueAt = map[string][]quality.Kind{
	"weld":  {quality.Weld},
	"final": {quality.Finish, quality.Film, quality.CureTest},
	"wash":  {quality.Pretreatment},
	"booth": {quality.Coating},
	"oven":  {quality.Cure},
}

const dueShown = 12

// benchPage shows what is due at this station.
func (s *Server) benchPage(w http.ResponseWriter, r *http.Request) error {
	ctx, v := r.Context(), visitFrom(r)
	if r.Header.Get("X-Ping") != "" {
		w.WriteHeader(http.StatusNoContent)
		return nil
	}
	view := page.BenchView{Frame: s.benchFrame(v, "Bench")}
	kinds := quality.Kinds
	station := ""
	if v.device != nil {
		station = v.device.StationKind
	}
	if k, ok := dueAt[station]; ok {
		kinds = k
	}
	due, err := s.store.PartsDue(ctx, v.site.ID, kinds, dueShown+1)
	if err != nil {
		return err
	}
	if len(due) > dueShown {
		view.More = fmt.Sprintf("These are the %d that have waited longest; more wait. Scan any part to begin.", dueShown)
		due = due[:dueShown]
	}
	for _, p := range due {
		view.Due = append(view.Due, page.Due{Href: entryAddress(p), What: p.NextKind.Name(), Subject: p.Serial, About: p.PartNumber + " " + p.PartName + placeOf(p),
			Since: p.ChangedAt.In(v.site.Location()).Format("15:04")})
	}
	racks, err := s.store.OpenRacks(ctx, v.site.ID)
	if err != nil {
		return err
	}
	for _, k := range racks {
		view.Racks = append(view.Racks, rackDue(v, k))
	}
	loads, err := s.store.RecentLoads(ctx, v.site.ID, time.Now().Add(-16*time.Hour))
	if err != nil {
		return err
	}
	for _, l := range loads {
		if !contains(l.Done, "cure_test") {
			view.Loads = append(view.Loads, loadDue(v, l))
		}
	}
	if view.Gauges, err = s.gaugeLines(r); err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, page.Bench(view))
}

func placeOf(p store.PartRow) string {
	if p.Rack != "" {
		return ", rack " + p.Rack
	}
	return ""
}

// entryAddress is where the next record of a part is entered.
func entryAddress(p store.PartRow) string {
	switch p.NextKind {
	case quality.Weld, quality.Finish, quality.Film:
		return "/parts/" + p.Serial + "/" + string(p.NextKind)
	case quality.CureTest:
		if p.Round > 1 || p.Load == "" {
			return "/parts/" + p.Serial + "/cure-test"
		}
		return "/loads/" + p.Load + "/cure-test"
	case quality.Pretreatment, quality.Coating:
		if p.Rack != "" {
			return "/racks/" + p.Rack + "/" + string(p.NextKind)
		}
		return "/racks"
	case quality.Cure:
		if p.Load != "" {
			return "/loads/" + p.Load + "/cure"
		}
		return "/loads"
	}
	return "/parts/" + p.Serial
}

// gaugeLines tells which thickness gauges may be used this shift.
func (s *Server) gaugeLines(r *http.Request) ([]page.GaugeLine, error) {
	v := visitFrom(r)
	instruments, err := s.store.Instruments(r.Context(), v.site.ID)
	if err != nil {
		return nil, err
	}
	day, shift := v.site.ShopDay(time.Now())
	var lines []page.GaugeLine
	for _, g := range instruments {
		if g.Kind != "film_gauge" {
			continue
		}
		line := page.GaugeLine{Code: g.Code, Href: "/gauges/" + g.Code + "/verification", Verdict: "none", Words: "not verified in this shift"}
		switch {
		case g.Status != "in_use":
			line.Verdict, line.Words = "fail", g.Status
		case g.VerifiedDay != nil && g.VerifiedDay.Equal(day) && g.VerifiedShift == shift:
			line.Verdict, line.Words = g.Verdict, "verified at "+g.VerifiedAt.In(v.site.Location()).Format("15:04")
		}
		if g.DueOn.Before(day) {
			line.Verdict, line.Words = "hold", "calibration was due on "+g.DueOn.Format("2 January 2006")
		}
		lines = append(lines, line)
	}
	return lines, nil
}

// codeMarks are the type marks that the shop's own labels carry, so that a scan goes to the right place.
var codeMarks = []string{"PART:", "RACK:", "LOAD:", "LOT:", "GAUGE:", "BATH:"}

// bareCode takes the type mark off a scanned code.
func bareCode(code string) string {
	for _, mark := range codeMarks {
		if len(code) > len(mark) && strings.EqualFold(code[:len(mark)], mark) {
			return code[len(mark):]
		}
	}
	return code
}

// scan goes to whatever was scanned: a part's next record, a rack, a load, a gauge's verification, a lot.
func (s *Server) scan(w http.ResponseWriter, r *http.Request) error {
	ctx, v := r.Context(), visitFrom(r)
	code := strings.TrimSpace(r.FormValue("code"))
	if strings.HasPrefix(strings.ToUpper(code), "BADGE:") {
		return s.render(w, r, http.StatusUnprocessableEntity, page.Scan(page.ScanView{Frame: s.benchFrame(v, "Scan"), Code: "a badge",
			Sentence: "That is a badge. Lock this tablet first, then scan the badge to sign on."}))
	}
	found, err := s.store.Scan(ctx, v.site.ID, bareCode(code))
	if errors.Is(err, store.ErrNotFound) {
		return s.render(w, r, http.StatusNotFound, page.Scan(page.ScanView{Frame: s.benchFrame(v, "Scan"), Code: clipText(code),
			Sentence: "No part, rack, load, gauge or lot of this site has that number. Scan it again, or ask who printed the tag."}))
	}
	if err != nil {
		return err
	}
	to := map[string]string{"part": "/parts/", "rack": "/racks/", "load": "/loads/", "gauge": "/gauges/", "lot": "/setup/lots/"}[found.Kind] + url.PathEscape(found.Code)
	switch found.Kind {
	case "gauge":
		to += "/verification"
	case "part":
		p, err := s.store.PartBySerial(ctx, v.site.ID, found.Code)
		if err != nil {
			return err
		}
		if next := entryAddress(p.PartRow); p.NextKind != "" && bench.admits(v) == nil && v.device != nil {
			to = next
		}
	}
	http.Redirect(w, r, to, http.StatusSeeOther)
	return nil
}
