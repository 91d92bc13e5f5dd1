package web

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"
	"github.com/google/uuid"

	"coatbook/store"
	"coatbook/web/page"
)

// A disposition is one way to decide of held parts, in words.
type disposition struct{ name, does string }

var dispositions = map[string]disposition{
	"rework":       {"Rework", "Repair without stripping. Every check is due again in this cycle."},
	"strip_recoat": {"Strip and recoat", "Take the coat off and start the next cycle, from the weld check on."},
	"concession":   {"Accept under concession", "The customer accepts the parts as they are. Needs their reference, and an end date or a number of parts."},
	"regrade":      {"Regrade", "The parts leave this order for another use."},
	"return":       {"Return", "The parts go back to whom they came from."},
	"scrap":        {"Scrap", "The parts end here. Their serials are never given out again."},
	"no_defect":    {"No defect", "The record behind the hold was corrected or voided, or the parts were held by hand, and nothing is wrong with them."},
}

func dispositionName(code string) string {
	if d, ok := dispositions[code]; ok {
		return d.name
	}
	return code
}

// holdRow is a hold in a list.
func holdRow(h store.Hold, now time.Time, zone *time.Location) page.HoldRow {
	href := "/holds/" + url.PathEscape(h.Number)
	old := now.Sub(h.OpenedAt)
	row := page.HoldRow{Number: page.Ref{Text: h.Number, Href: href}, Cause: h.Cause, Parts: page.Ref{Text: fmt.Sprint(h.OpenParts), Href: href},
		Age: age(old), Since: stamp(h.OpenedAt, zone), Next: page.Ref{Text: "Decide", Href: href + "/decide"}, Old: old > 24*time.Hour}
	if h.OpenParts == 0 {
		row.Parts.Text, row.Next, row.Old = fmt.Sprint(h.Parts), page.Ref{Text: "decided"}, false
	}
	return row
}

// holdsPage is the queue of holds, oldest first.
func (s *Server) holdsPage(w http.ResponseWriter, r *http.Request) error {
	v, ctx := visitFrom(r), r.Context()
	open, err := s.store.OpenHolds(ctx, v.site.ID)
	if err != nil {
		return err
	}
	decided, err := s.store.RecentHolds(ctx, v.site.ID, 20)
	if err != nil {
		return err
	}
	actions, err := s.store.OpenActions(ctx, v.site.ID)
	if err != nil {
		return err
	}
	view := page.HoldsView{Frame: s.deskFrame(v, "Holds", "Holds"), Title: "No part is on hold"}
	if deciders.admits(v) == nil {
		view.New = page.Ref{Text: "Hold parts by hand", Href: "/holds/new"}
	}
	today, _ := v.site.ShopDay(s.store.Clock())
	for _, a := range actions {
		view.Actions = append(view.Actions, actionRow(a, today))
	}
	parts := 0
	now := s.store.Clock()
	for _, h := range open {
		parts += h.OpenParts
		view.Open = append(view.Open, holdRow(h, now, v.site.Location()))
	}
	for _, h := range decided {
		view.Decided = append(view.Decided, holdRow(h, now, v.site.Location()))
	}
	if len(open) > 0 {
		view.Title = fmt.Sprintf("%s with %s wait for a decision", counted(len(open), "hold"), counted(parts, "part"))
	}
	return s.render(w, r, http.StatusOK, page.Holds(view))
}

// holdPage shows one hold, its parts and the others that may share the cause.
func (s *Server) holdPage(w http.ResponseWriter, r *http.Request) error {
	return s.renderHold(w, r, http.StatusOK, "")
}

func (s *Server) renderHold(w http.ResponseWriter, r *http.Request, status int, problem string) error {
	v, ctx := visitFrom(r), r.Context()
	h, err := s.store.HoldByNumber(ctx, v.site.ID, chi.URLParam(r, "number"))
	if err != nil {
		return err
	}
	parts, err := s.store.HeldParts(ctx, v.site.ID, h.ID)
	if err != nil {
		return err
	}
	neighbours, err := s.store.Neighbours(ctx, v.site.ID, h.ID)
	if err != nil {
		return err
	}
	zone := v.site.Location()
	view := page.HoldView{Frame: s.deskFrame(v, "Hold "+h.Number, "Holds"), Number: h.Number, Cause: h.Cause, Requirement: h.Requirement, Problem: problem, Form: store.NewID().String(),
		Standing: page.Standing{Word: "decided", Kind: "none"},
		Facts:    []page.DeskFact{page.Plain("Opened", longTime(h.OpenedAt, zone)), page.Plain("By", h.OpenedBy), page.Plain("Parts", fmt.Sprintf("%d, %d undecided", h.Parts, h.OpenParts))}}
	if h.RecordID.Valid {
		view.Record = page.Ref{Text: h.Kind().Name() + " that opened it", Href: "/records/" + h.RecordID.UUID.String()}
	}
	for _, p := range parts {
		view.Parts = append(view.Parts, heldPart(p, zone))
	}
	may := deciders.admits(v) == nil
	if h.OpenParts > 0 {
		view.Standing = page.Standing{Word: fmt.Sprintf("%d of %s undecided", h.OpenParts, counted(h.Parts, "part")), Kind: "hold"}
		view.MayNot = "A supervisor or an engineer decides."
		if may {
			view.Decide = page.Ref{Text: "Decide what happens to " + counted(h.OpenParts, "part"), Href: "/holds/" + url.PathEscape(h.Number) + "/decide"}
		}
	}
	view.Neighbours = neighbourGroups(neighbours, may)
	actions, err := s.store.HoldActions(ctx, v.site.ID, h.ID)
	if err != nil {
		return err
	}
	today, _ := v.site.ShopDay(s.store.Clock())
	view.Actions = actionEntries(actions, today, zone)
	if may && (len(actions) == 0 || !actions[0].Closed) {
		view.EnterAction = page.Ref{Text: "Enter an action", Href: "/holds/" + url.PathEscape(h.Number) + "/action"}
		if len(actions) > 0 {
			view.EnterAction.Text = "Change or close the action"
		}
	}
	if view.Files, err = s.filesView(r, store.FileOwner{Kind: store.FileOfHold, ID: h.ID}, "/holds/"+url.PathEscape(h.Number), ""); err != nil {
		return err
	}
	return s.render(w, r, status, page.Hold(view))
}

func heldPart(p store.HeldPart, zone *time.Location) page.HoldPart {
	part := page.HoldPart{Serial: page.Ref{Text: p.Serial, Href: subjectHref("part", p.Serial)}, What: p.PartNumber + ", " + p.Customer, Standing: partStanding(p.Status, "")}
	if p.Code != "" {
		part.Decision = dispositionName(p.Code) + ": " + p.Reason
		if p.ConcessionRef != "" {
			part.Decision += " (" + p.ConcessionRef + ")"
		}
		part.Signed = fmt.Sprintf("Signed by %s, %s, meaning: disposed", p.DecidedBy, longTime(*p.DecidedAt, zone))
	}
	return part
}

// neighbourWords say what suspects share, before its number.
var neighbourWords = map[string]string{"rack": "on the same rack, ", "load": "in the same oven load, ", "bath": "washed in the same bath, ", "lot": "made with the same lot, ",
	"gauge": "measured with the same gauge, "}

// neighbourGroups are the suspects by what they share, the closest first.
func neighbourGroups(all []store.Neighbour, may bool) []page.Neighbours {
	var groups []page.Neighbours
	for _, n := range all {
		title := "Not on this hold, but " + neighbourWords[n.Shares] + n.Number
		if len(groups) == 0 || groups[len(groups)-1].Title != title {
			groups = append(groups, page.Neighbours{Title: title})
		}
		g := &groups[len(groups)-1]
		g.Parts = append(g.Parts, page.NeighbourPart{ID: n.PartID.String(), Serial: page.Ref{Text: n.Serial, Href: subjectHref("part", n.Serial)}, Standing: partStanding(n.Status, ""), CanHold: true})
	}
	for i := range groups {
		if n := len(groups[i].Parts); may && n > 1 {
			groups[i].Button = fmt.Sprintf("Put these %d parts on this hold too", n)
		} else if may {
			groups[i].Button = "Put this part on this hold too"
		}
	}
	return groups
}

// postedParts reads the parts ticked on a form.
func postedParts(r *http.Request) ([]uuid.UUID, error) {
	var ids []uuid.UUID
	for _, text := range r.PostForm["part"] {
		id, err := uuid.Parse(text)
		if err != nil {
			return nil, fmt.Errorf("part %q: %w", text, store.ErrNotFound)
		}
		ids = append(ids, id)
	}
	return ids, nil
}

// extendHold puts the suspects on the hold too.
func (s *Server) extendHold(w http.ResponseWriter, r *http.Request) error {
	v, ctx := visitFrom(r), r.Context()
	h, err := s.store.HoldByNumber(ctx, v.site.ID, chi.URLParam(r, "number"))
	if err != nil {
		return err
	}
	parts, err := postedParts(r)
	if err != nil {
		return err
	}
	if len(parts) == 0 {
		return s.renderHold(w, r, http.StatusUnprocessableEntity, "Choose at least one part to hold.")
	}
	err = s.store.ExtendHold(ctx, v.actor, h.ID, parts)
	if problem, _, refused := refusedForm(err); refused {
		return s.renderHold(w, r, http.StatusUnprocessableEntity, problem)
	}
	if err != nil {
		return err
	}
	s.flash(r, counted(len(parts), "part")+" put on hold "+h.Number+".")
	http.Redirect(w, r, "/holds/"+url.PathEscape(h.Number), http.StatusSeeOther)
	return nil
}

// decidePage asks what shall happen to the held parts.
func (s *Server) decidePage(w http.ResponseWriter, r *http.Request) error {
	view, err := s.decideView(r)
	if err != nil {
		return err
	}
	for i := range view.Parts {
		view.Parts[i].On = true
	}
	return s.render(w, r, http.StatusOK, page.Decide(view))
}

// decideView is the form with what was posted, or empty.
func (s *Server) decideView(r *http.Request) (page.DecideView, error) {
	v, ctx := visitFrom(r), r.Context()
	h, err := s.store.HoldByNumber(ctx, v.site.ID, chi.URLParam(r, "number"))
	if err != nil {
		return page.DecideView{}, err
	}
	held, err := s.store.HeldParts(ctx, v.site.ID, h.ID)
	if err != nil {
		return page.DecideView{}, err
	}
	view := page.DecideView{Frame: s.deskFrame(v, "Decide on hold "+h.Number, "Holds"), Number: h.Number, Cause: h.Cause, Wrong: map[string]string{},
		Reason: strings.TrimSpace(r.PostFormValue("reason")), Ref: strings.TrimSpace(r.PostFormValue("reference")), Ends: strings.TrimSpace(r.PostFormValue("ends")), Quantity: strings.TrimSpace(r.PostFormValue("quantity")),
		Code: r.PostFormValue("code"), Form: firstOf(r.PostFormValue("record"), store.NewID().String())}
	for _, p := range held {
		if p.Open {
			id := p.PartID.String()
			view.Parts = append(view.Parts, page.DecidePart{ID: id, Serial: p.Serial, What: fmt.Sprintf("%s, cycle %d", p.PartNumber, p.Cycle), On: slices.Contains(r.PostForm["part"], id)})
		}
	}
	for _, code := range store.Dispositions {
		c := page.DecideCode{Code: code, Name: dispositions[code].name, Does: dispositions[code].does, On: code == view.Code}
		if !store.MayDecide(v.actor, code) {
			c.Not = "Your role does not include this decision."
		}
		view.Codes = append(view.Codes, c)
	}
	return view, nil
}

// decide takes the two steps of a decision: the first checks it and shows what will be signed, the second signs it.
func (s *Server) decide(w http.ResponseWriter, r *http.Request) error {
	v, ctx := visitFrom(r), r.Context()
	view, err := s.decideView(r)
	if err != nil {
		return err
	}
	decision, err := decisionOf(r, &view)
	if err != nil {
		return err
	}
	if len(view.Wrong) > 0 {
		return s.render(w, r, http.StatusUnprocessableEntity, page.Decide(view))
	}
	view.Statement = decisionStatement(v, view)
	if r.PostFormValue("step") != "sign" {
		return s.render(w, r, http.StatusOK, page.Decide(view))
	}
	h, err := s.store.HoldByNumber(ctx, v.site.ID, view.Number)
	if err != nil {
		return err
	}
	proof, err := s.sign(r)
	if err == nil {
		err = s.store.Decide(ctx, v.actor, h.ID, decision, proof)
	}
	if problem, wrong, refused := refusedForm(err); refused {
		view.Problem = problem
		if wrong != nil {
			view.Wrong = wrong
		} else {
			// What was refused is the decision, not the signature: back to the choice.
			view.Statement = nil
		}
		return s.render(w, r, http.StatusUnprocessableEntity, page.Decide(view))
	}
	if err != nil {
		return err
	}
	s.flash(r, fmt.Sprintf("Decided: %s for %s.", lowerFirst(dispositionName(decision.Code)), counted(len(decision.Parts), "part")))
	http.Redirect(w, r, "/holds/"+url.PathEscape(view.Number), http.StatusSeeOther)
	return nil
}

// decisionOf reads the posted decision and puts a sentence at each field that is wrong.
func decisionOf(r *http.Request, view *page.DecideView) (d store.Decision, err error) {
	if d.Parts, err = postedParts(r); err != nil {
		return d, err
	}
	d.Code, d.Reason, d.ConcessionRef = view.Code, view.Reason, view.Ref
	if len(d.Parts) == 0 {
		view.Wrong["part"] = "Choose at least one part."
	}
	if _, ok := dispositions[d.Code]; !ok {
		view.Wrong["code"] = "Choose what happens to the parts."
	}
	if len([]rune(d.Reason)) < 5 {
		view.Wrong["reason"] = "Give the reason, in at least 5 letters."
	}
	if d.Code != "concession" {
		d.ConcessionRef = ""
		return d, nil
	}
	if d.ConcessionRef == "" {
		view.Wrong["reference"] = "Enter the customer's reference of the concession."
	}
	var ok bool
	if d.ConcessionEnds, ok = parseDay(view.Ends); !ok && view.Ends != "" {
		view.Wrong["ends"] = "Enter the day until which the concession holds, or leave it empty."
	}
	if d.ConcessionQuantity, err = strconv.Atoi(view.Quantity); view.Quantity != "" && (err != nil || d.ConcessionQuantity < 1 || d.ConcessionQuantity > 100000) {
		view.Wrong["quantity"] = "Enter a whole number of parts, 1 to 100000, or leave it empty."
	}
	return d, nil
}

// decisionStatement is what will be signed.
func decisionStatement(v *visit, view page.DecideView) []string {
	var serials []string
	for _, p := range view.Parts {
		if p.On {
			serials = append(serials, p.Serial)
		}
	}
	lines := []string{
		fmt.Sprintf("I, %s, decide on hold %s: %s.", v.person.Name, view.Number, lowerFirst(dispositionName(view.Code))),
		fmt.Sprintf("%s: %s.", upperFirst(counted(len(serials), "part")), strings.Join(serials, ", ")),
		"Reason: " + view.Reason,
	}
	if view.Code == "concession" {
		line := "Concession " + view.Ref
		if view.Ends != "" {
			line += ", valid to " + view.Ends
		}
		if view.Quantity != "" {
			line += ", for " + view.Quantity + " parts"
		}
		if view.Ends == "" && view.Quantity == "" {
			line += ", as it is on record"
		}
		lines = append(lines, line+".")
	}
	return append(lines, "Meaning of the signature: disposed.")
}
