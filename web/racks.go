package web

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
)

// racks is the page of all hanging racks.
func (s *Server) racks(w http.ResponseWriter, r *http.Request) error {
	return s.renderRacks(w, r, http.StatusOK, "")
}

// renderRacks lists the racks that hang, with what was wrong with a new one.
func (s *Server) renderRacks(w http.ResponseWriter, r *http.Request, status int, problem string) error {
	v := visitFrom(r)
	racks, err := s.store.OpenRacks(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	return s.render(w, r, status, page.Racks(page.RacksView{Frame: s.benchFrame(v, "Racks"), Record: keptRecord(r), Tag: r.PostFormValue("tag"), Problem: problem,
		Racks: rackLines(v.site, racks, s.store.Clock())}))
}

// keptRecord is the id of the thing to be made: the one posted, so that a repeat makes no second one, or a new one.
func keptRecord(r *http.Request) string {
	if posted := r.PostFormValue("record"); posted != "" {
		return posted
	}
	return store.NewID().String()
}

// hangRack opens a rack on a free tag.
func (s *Server) hangRack(w http.ResponseWriter, r *http.Request) error {
	tag, problem := scanned(r.PostFormValue("tag"), "RACK", "rack tag")
	if problem != "" {
		return s.renderRacks(w, r, http.StatusUnprocessableEntity, problem)
	}
	id, err := uuid.Parse(r.PostFormValue("record"))
	if err != nil {
		return s.renderRacks(w, r, http.StatusUnprocessableEntity, "The form has lost its number. Reload the page and scan the tag again.")
	}
	rack, err := s.store.HangRack(r.Context(), visitFrom(r).actor, id, tag)
	var refusal *store.Refusal
	if errors.As(err, &refusal) {
		return s.renderRacks(w, r, http.StatusUnprocessableEntity, refusal.Sentence)
	}
	if err != nil {
		return err
	}
	http.Redirect(w, r, "/racks/"+url.PathEscape(rack.Number), http.StatusSeeOther)
	return nil
}

// rack is the page of one rack.
func (s *Server) rack(w http.ResponseWriter, r *http.Request) error {
	return s.renderRack(w, r, http.StatusOK, "", nil)
}

func (s *Server) renderRack(w http.ResponseWriter, r *http.Request, status int, problem string, panel *form.Answers) error {
	v := visitFrom(r)
	rack, err := s.store.RackByNumber(r.Context(), v.site.ID, param(r, "number"))
	if err != nil {
		return err
	}
	subject := store.Subject{Kind: quality.OnRack, ID: rack.ID}
	parts, err := s.store.PartsOf(r.Context(), v.site.ID, subject)
	if err != nil {
		return err
	}
	records, err := s.store.RecordsOn(r.Context(), v.site.ID, subject)
	if err != nil {
		return err
	}
	address := "/racks/" + url.PathEscape(rack.Number)
	view := page.RackView{Frame: s.benchFrame(v, "Rack "+rack.Number), Number: rack.Number, Tag: rack.Tag, AddProblem: problem, AddValue: r.PostFormValue("serial"),
		About: fmt.Sprintf("tag %s, hung %s by %s", rack.Tag, clockWords(v.site, rack.HungAt, s.store.Clock()), rack.HungBy)}
	if problem == "" {
		view.AddValue = ""
	}
	open := rack.UnloadedAt == nil && len(rack.Done) == 0
	switch {
	case open:
		view.Add = address + "/parts"
	case rack.UnloadedAt != nil:
		view.WhyNoMore = "This rack was taken down. Hang a new one."
	default:
		view.WhyNoMore = "Work has been recorded on this rack, so its parts stay together."
	}
	if rack.UnloadedAt == nil {
		view.Unload = address + "/unload"
	}
	if rack.Load != "" {
		view.Load, view.LoadTo = rack.Load, "/loads/"+url.PathEscape(rack.Load)
	}
	for i, p := range parts {
		line := page.RackPart{Position: strconv.Itoa(i + 1), Serial: p.Serial, Name: p.PartName + " " + p.PartNumber, Href: "/parts/" + url.PathEscape(p.Serial)}
		line.Verdict, line.Words = standsAt(p)
		if open {
			line.RemoveAction = address + "/parts/" + url.PathEscape(p.Serial) + "/remove"
		}
		view.Parts = append(view.Parts, line)
	}
	if view.Samples, err = s.carrierLots(r, subject); err != nil {
		return err
	}
	if view.Panels, err = s.panelBlock(r, subject, address, nil, panel); err != nil {
		return err
	}
	if rack.UnloadedAt != nil {
		view.Panels.Action = ""
	}
	view.Steps = steps(records, rack.UnloadedAt != nil || len(parts) == 0, []stepTo{
		{quality.Pretreatment, address + "/pretreatment", "Record the wash"}, {quality.Coating, address + "/coating", "Record the coating run"}})
	return s.render(w, r, status, page.Rack(view))
}

// standsAt says where a part stands, as a mark and in words.
func standsAt(p store.PartRow) (verdict, words string) {
	switch p.Status {
	case store.StatusOnHold:
		return "hold", "on hold"
	case "open", "in_progress":
		if p.NextKind == "" {
			return "none", "all recorded"
		}
		return "none", "next: " + lowerFirst(p.NextKind.Name())
	case "accepted":
		return "pass", "ready to release"
	case "released":
		return "pass", "released"
	case store.StatusShipped:
		return "pass", "shipped"
	}
	return "none", strings.ReplaceAll(p.Status, "_", " ")
}

// A stepTo is a kind of record with where and how it is done.
type stepTo struct {
	kind     quality.Kind
	href, do string
}

// steps prints what has been recorded on a rack or load and offers the first step that has not.
func steps(records []store.Header, closed bool, list []stepTo) []page.Step {
	var out []page.Step
	offered := closed
	for _, to := range list {
		step := page.Step{Name: to.kind.Name(), Verdict: "none", Href: to.href}
		for _, rec := range records {
			if rec.Kind == to.kind {
				step.Verdict, step.Words = string(rec.Verdict), fmt.Sprintf("%s, %s", strings.ReplaceAll(string(rec.Verdict), "_", " "), rec.Person)
			}
		}
		if step.Verdict == "none" && !offered {
			step.Do, offered = to.do, true
		}
		out = append(out, step)
	}
	return out
}

// hangPart hangs one part on the rack.
func (s *Server) hangPart(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	serial, problem := scanned(r.PostFormValue("serial"), "PART", "hangtag")
	if problem != "" {
		return s.renderRack(w, r, http.StatusUnprocessableEntity, problem, nil)
	}
	rack, err := s.store.RackByNumber(r.Context(), v.site.ID, param(r, "number"))
	if err != nil {
		return err
	}
	part, err := s.store.PartBySerial(r.Context(), v.site.ID, serial)
	if errors.Is(err, store.ErrNotFound) {
		return s.renderRack(w, r, http.StatusUnprocessableEntity, fmt.Sprintf("“%s” is not a part of this site. Scan its hangtag again.", clipped(serial)), nil)
	}
	if err != nil {
		return err
	}
	err = s.store.HangParts(r.Context(), v.actor, rack.ID, []uuid.UUID{part.ID})
	var refusal *store.Refusal
	if errors.As(err, &refusal) {
		return s.renderRack(w, r, http.StatusUnprocessableEntity, refusal.Sentence, nil)
	}
	if err != nil {
		return err
	}
	http.Redirect(w, r, "/racks/"+url.PathEscape(rack.Number), http.StatusSeeOther)
	return nil
}

// takeOff takes a part off before the rack's first run.
func (s *Server) takeOff(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	rack, err := s.store.RackByNumber(r.Context(), v.site.ID, param(r, "number"))
	if err != nil {
		return err
	}
	part, err := s.store.PartBySerial(r.Context(), v.site.ID, param(r, "serial"))
	if err != nil {
		return err
	}
	if err := s.store.TakeOff(r.Context(), v.actor, rack.ID, part.ID); err != nil {
		return err
	}
	s.flash(r, fmt.Sprintf("%s is off the rack.", part.Serial))
	http.Redirect(w, r, "/racks/"+url.PathEscape(rack.Number), http.StatusSeeOther)
	return nil
}

// unloadRack frees the rack's tag for the next hanging.
func (s *Server) unloadRack(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	rack, err := s.store.RackByNumber(r.Context(), v.site.ID, param(r, "number"))
	if err != nil {
		return err
	}
	if err := s.store.Unload(r.Context(), v.actor, rack.ID); err != nil {
		return err
	}
	s.flash(r, fmt.Sprintf("Rack %s is down; tag %s can be used again.", rack.Number, rack.Tag))
	http.Redirect(w, r, "/bench", http.StatusSeeOther)
	return nil
}

// has reports whether a kind is among those recorded.
func has(done []string, kind quality.Kind) bool { return slices.Contains(done, string(kind)) }
