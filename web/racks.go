package web

import (
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"github.com/go-chi/chi/v5"
	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/page"
)

// refusalSentence returns the sentence of a refusal, and whether err is one.
func refusalSentence(err error) (string, bool) {
	var refusal *store.Refusal
	if errors.As(err, &refusal) {
		return refusal.Sentence, true
	}
	return "", false
}

func (s *Server) racks(w http.ResponseWriter, r *http.Request) error {
	return s.renderRacks(w, r, http.StatusOK, "", "")
}

func (s *Server) renderRacks(w http.ResponseWriter, r *http.Request, status int, tag, problem string) error {
	v := visitFrom(r)
	racks, err := s.store.OpenRacks(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	view := page.RacksView{Frame: s.benchFrame(v, "Racks"), Record: store.NewID().String(), Tag: tag, Problem: problem}
	for _, k := range racks {
		view.Racks = append(view.Racks, rackDue(v, k))
	}
	return s.render(w, r, status, page.Racks(view))
}

func rackDue(v *visit, k store.Rack) page.Due {
	words := "being hung"
	switch {
	case k.Load != "":
		words = "on load " + k.Load
	case contains(k.Done, "coating"):
		words = "waits for an oven load"
	case contains(k.Done, "pretreatment"):
		words = "waits for powder"
	case k.Parts > 0:
		words = "waits for the wash"
	}
	return page.Due{Href: "/racks/" + k.Number, What: words, Subject: k.Tag, About: fmt.Sprintf("%s, %d parts", k.Number, k.Parts), Since: k.HungAt.In(v.site.Location()).Format("15:04")}
}

func (s *Server) hangRack(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	tag := strings.ToUpper(bareCode(strings.TrimSpace(r.PostFormValue("tag"))))
	id, err := uuid.Parse(r.PostFormValue("record"))
	if err != nil {
		id = store.NewID()
	}
	rack, err := s.store.HangRack(r.Context(), v.actor, id, tag)
	if sentence, refused := refusalSentence(err); refused {
		return s.renderRacks(w, r, http.StatusUnprocessableEntity, tag, sentence)
	}
	if err != nil {
		return err
	}
	http.Redirect(w, r, "/racks/"+rack.Number, http.StatusSeeOther)
	return nil
}

func (s *Server) rack(w http.ResponseWriter, r *http.Request) error {
	return s.renderRack(w, r, http.StatusOK, "", "")
}

func (s *Server) renderRack(w http.ResponseWriter, r *http.Request, status int, typed, problem string) error {
	ctx, v := r.Context(), visitFrom(r)
	k, err := s.store.RackByNumber(ctx, v.site.ID, chi.URLParam(r, "number"))
	if err != nil {
		return err
	}
	subject := store.Subject{Kind: quality.OnRack, ID: k.ID}
	parts, err := s.store.PartsOf(ctx, v.site.ID, subject)
	if err != nil {
		return err
	}
	view := page.RackView{Frame: s.benchFrame(v, "Rack "+k.Tag), Number: k.Number, Tag: k.Tag, AddValue: typed, AddProblem: problem,
		About: fmt.Sprintf("hung %s by %s", k.HungAt.In(v.site.Location()).Format("15:04 on 2 January"), k.HungBy), Load: k.Load}
	if k.Load != "" {
		view.LoadTo = "/loads/" + k.Load
	}
	open := k.UnloadedAt == nil && len(k.Done) == 0
	for i, p := range parts {
		row := page.RackPart{Position: strconv.Itoa(i + 1), Serial: p.Serial, Name: p.PartNumber + " " + p.PartName, Verdict: p.Status, Words: partStanding(p.Status, p.NextKind).Word, Href: "/parts/" + p.Serial}
		if open {
			row.RemoveAction = fmt.Sprintf("/racks/%s/parts/%s/remove", k.Number, p.Serial)
		}
		view.Parts = append(view.Parts, row)
	}
	switch {
	case open:
		view.Add = "/racks/" + k.Number + "/parts"
	case k.UnloadedAt != nil:
		view.WhyNoMore = "This rack was unloaded. Its records stay."
	default:
		view.WhyNoMore = "This rack has been through the line; a further part hangs on a new rack."
	}
	if k.UnloadedAt == nil {
		view.Unload = "/racks/" + k.Number + "/unload"
	}
	blocked := ""
	if len(parts) == 0 {
		blocked = "Hang at least one part first."
	}
	if view.Steps, err = s.steps(r, subject, "/racks/"+k.Number, blocked, quality.Pretreatment, quality.Coating); err != nil {
		return err
	}
	return s.render(w, r, status, page.Rack(view))
}

// steps lists what was or can be recorded on a rack or load.
func (s *Server) steps(r *http.Request, subject store.Subject, at, blocked string, kinds ...quality.Kind) ([]page.Step, error) {
	v := visitFrom(r)
	records, err := s.store.RecordsOn(r.Context(), v.site.ID, subject)
	if err != nil {
		return nil, err
	}
	addresses := map[quality.Kind]string{quality.Pretreatment: "/pretreatment", quality.Coating: "/coating", quality.Cure: "/cure", quality.CureTest: "/cure-test"}
	var steps []page.Step
	for _, k := range kinds {
		step := page.Step{Name: k.Name(), Verdict: "none", Words: "not recorded yet", Do: at + addresses[k], Blocked: blocked}
		for _, h := range records {
			if h.Kind == k && !h.SupersededBy.Valid {
				step.Verdict, step.Href = string(h.Verdict), "/records/"+h.ID.String()
				step.Words = fmt.Sprintf("%s at %s, %s", h.Verdict, h.ObservedAt.In(v.site.Location()).Format("15:04 on 2 January"), h.Person)
				break
			}
		}
		if bench.admits(v) != nil {
			step.Do = ""
		}
		steps = append(steps, step)
	}
	return steps, nil
}

func (s *Server) hangPart(w http.ResponseWriter, r *http.Request) error {
	ctx, v := r.Context(), visitFrom(r)
	k, err := s.store.RackByNumber(ctx, v.site.ID, chi.URLParam(r, "number"))
	if err != nil {
		return err
	}
	typed := strings.TrimSpace(r.PostFormValue("serial"))
	p, err := s.store.PartBySerial(ctx, v.site.ID, bareCode(typed))
	if errors.Is(err, store.ErrNotFound) {
		return s.renderRack(w, r, http.StatusUnprocessableEntity, typed, fmt.Sprintf("“%s” is not a hangtag of this shop. Scan the part's tag again.", clipText(typed)))
	}
	if err != nil {
		return err
	}
	if err := s.store.HangParts(ctx, v.actor, k.ID, []uuid.UUID{p.ID}); err != nil {
		if sentence, refused := refusalSentence(err); refused {
			return s.renderRack(w, r, http.StatusUnprocessableEntity, typed, sentence)
		}
		return err
	}
	http.Redirect(w, r, "/racks/"+k.Number, http.StatusSeeOther)
	return nil
}

func (s *Server) takeOff(w http.ResponseWriter, r *http.Request) error {
	ctx, v := r.Context(), visitFrom(r)
	k, err := s.store.RackByNumber(ctx, v.site.ID, chi.URLParam(r, "number"))
	if err != nil {
		return err
	}
	p, err := s.store.PartBySerial(ctx, v.site.ID, chi.URLParam(r, "serial"))
	if err != nil {
		return err
	}
	if err := s.store.TakeOff(ctx, v.actor, k.ID, p.ID); err != nil {
		return err
	}
	http.Redirect(w, r, "/racks/"+k.Number, http.StatusSeeOther)
	return nil
}

func (s *Server) unloadRack(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	k, err := s.store.RackByNumber(r.Context(), v.site.ID, chi.URLParam(r, "number"))
	if err != nil {
		return err
	}
	if err := s.store.Unload(r.Context(), v.actor, k.ID); err != nil {
		return err
	}
	s.flash(r, "Rack "+k.Tag+" is free again.")
	http.Redirect(w, r, "/racks", http.StatusSeeOther)
	return nil
}
