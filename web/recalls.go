package web

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"coatbook/store"
	"coatbook/web/page"
)

// recallDecisions are the decisions on a recalled part in words.
var recallDecisions = map[string]disposition{
	"no_effect":       {"No effect", "The error cannot have hidden anything. A held part is free again."},
	"re_measure":      {"Measure again", "The readings no longer count; they are due again with another gauge. A release is void."},
	"hold":            {"Hold", "The part stays on hold, or is fetched back: a release is void. What happens to it is decided on the hold."},
	"notify_customer": {"Notify the customer", "The part is out of the house. The customer is told with the printed notice."},
}

func recallStanding(r store.Recall) page.Standing {
	switch {
	case r.ClosedAt != nil:
		return page.Standing{Word: "closed", Kind: "none"}
	case r.Undecided > 0:
		return page.Standing{Word: fmt.Sprintf("%d of %s undecided", r.Undecided, counted(r.Parts, "part")), Kind: "hold"}
	}
	return page.Standing{Word: "decided, not closed", Kind: "hold"}
}

// recallsPage lists the reviews, open ones first.
func (s *Server) recallsPage(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	all, err := s.store.Recalls(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	open := 0
	for _, one := range all {
		if one.ClosedAt == nil {
			open++
		}
	}
	view := page.RecallsView{Frame: s.deskFrame(v, "Recalls", "Holds"), Title: "No recall is open", Table: recallTable(all, v.site.Location())}
	if open > 0 {
		view.Title = plural(open, "recall waits for decisions", "recalls wait for decisions")
	}
	return s.render(w, r, http.StatusOK, page.Recalls(view))
}

// recallPage shows one review.
func (s *Server) recallPage(w http.ResponseWriter, r *http.Request) error {
	return s.renderRecall(w, r, http.StatusOK, "", map[string]string{})
}

func (s *Server) renderRecall(w http.ResponseWriter, r *http.Request, status int, problem string, wrong map[string]string) error {
	v, ctx := visitFrom(r), r.Context()
	one, err := s.store.RecallByNumber(ctx, v.site.ID, chi.URLParam(r, "number"))
	if err != nil {
		return err
	}
	lines, err := s.store.RecallLines(ctx, v.site.ID, one.ID)
	if err != nil {
		return err
	}
	records, err := s.store.RecallRecords(ctx, v.site.ID, one.ID)
	if err != nil {
		return err
	}
	zone := v.site.Location()
	view := page.RecallView{Frame: s.deskFrame(v, "Recall "+one.Number, "Holds"), Number: one.Number, Standing: recallStanding(one), Cause: one.Cause, Lead: recallLead(one, zone),
		Facts: recallFacts(one, zone), Problem: problem, Wrong: wrong, Form: store.NewID().String(), Undecided: one.Undecided, Reason: strings.TrimSpace(r.PostFormValue("reason")),
		May: one.ClosedAt == nil && deciders.admits(v) == nil}
	if one.ClosedAt != nil {
		view.Closed = fmt.Sprintf("Closed: %s Signed by %s, %s, meaning: reviewed.", one.Conclusion, one.ClosedBy, longTime(*one.ClosedAt, zone))
	} else if !view.May {
		view.MayNot = "A supervisor or an engineer decides."
	}
	for _, code := range store.RecallCodes {
		view.Codes = append(view.Codes, page.DecideCode{Code: code, Name: recallDecisions[code].name, Does: recallDecisions[code].does, On: r.PostFormValue("code") == code})
	}
	byPart := map[string][]page.Ref{}
	for _, rec := range records {
		ref := page.Ref{Text: lowerFirst(rec.Kind.Name()) + " " + rec.ObservedAt.In(zone).Format("2 Jan 15:04"), Href: "/records/" + rec.RecordID.String()}
		if rec.Serial == "" {
			view.Others = append(view.Others, page.RecallOther{Record: ref, About: rec.Other + ", by " + rec.Person})
			continue
		}
		byPart[rec.Serial] = append(byPart[rec.Serial], ref)
	}
	out, in := page.RecallGroup{Title: "Released before it was found"}, page.RecallGroup{Title: "In house, or ended here"}
	for _, l := range lines {
		p := recallPart(l, zone)
		p.Records, p.On = byPart[l.Serial], slices.Contains(r.PostForm["part"], p.ID)
		if l.ReleasedAt != nil {
			out.Parts = append(out.Parts, p)
		} else {
			in.Parts = append(in.Parts, p)
		}
	}
	for _, g := range []page.RecallGroup{out, in} {
		if len(g.Parts) > 0 {
			view.Groups = append(view.Groups, g)
		}
	}
	return s.render(w, r, status, page.Recall(view))
}

// recallLead is what the review is about, in a sentence.
func recallLead(r store.Recall, zone *time.Location) string {
	since := "ever since it came into the register, for no earlier check found it good"
	if r.From != nil {
		since = "since it was last good, " + longTime(*r.From, zone)
	}
	return fmt.Sprintf("%s made with %s %s: %s, %d of them released.", upperFirst(counted(r.Records, "record")), r.Device, since, counted(r.Parts, "part"), r.Out)
}

func recallFacts(r store.Recall, zone *time.Location) []page.DeskFact {
	facts := []page.DeskFact{{Term: "Device", Refs: []page.Ref{{Text: r.Device, Href: "/gauges/" + url.PathEscape(r.Device)}}}, page.Plain("Maker's serial", r.Serial),
		page.Plain("Opened", longTime(r.OpenedAt, zone)+", "+r.OpenedBy)}
	if r.RecordID.Valid {
		facts = append(facts, page.DeskFact{Term: "Found wrong by", Refs: []page.Ref{{Text: "this check", Href: "/records/" + r.RecordID.UUID.String()}}})
	}
	if r.GoodID.Valid {
		facts = append(facts, page.DeskFact{Term: "Last good", Refs: []page.Ref{{Text: longTime(*r.From, zone), Href: "/records/" + r.GoodID.UUID.String()}}})
	}
	if r.Hold != "" {
		facts = append(facts, page.DeskFact{Term: "Hold", Refs: []page.Ref{{Text: r.Hold, Href: "/holds/" + url.PathEscape(r.Hold)}}})
	}
	return facts
}

func recallPart(l store.RecallLine, zone *time.Location) page.RecallPart {
	p := page.RecallPart{ID: l.PartID.String(), Serial: page.Ref{Text: l.Serial, Href: subjectHref("part", l.Serial)}, What: l.PartNumber + ", " + l.Customer,
		Standing: partStanding(l.Now, ""), Open: l.Code == ""}
	if l.ReleasedAt != nil {
		p.Released = fmt.Sprintf("released %s by %s, order %s", longTime(*l.ReleasedAt, zone), l.ReleasedBy, dash(l.OrderRef))
		if papers := papersWords(l.Papers, zone); papers != "" {
			p.Released += ", " + papers
		}
	}
	if l.Code != "" {
		p.Decision = recallDecisions[l.Code].name + ": " + l.Reason
		p.Signed = fmt.Sprintf("Signed by %s, %s, meaning: disposed", l.DecidedBy, longTime(*l.DecidedAt, zone))
	}
	return p
}

// decideRecall signs a decision on the ticked parts.
func (s *Server) decideRecall(w http.ResponseWriter, r *http.Request) error {
	v, ctx := visitFrom(r), r.Context()
	one, err := s.store.RecallByNumber(ctx, v.site.ID, chi.URLParam(r, "number"))
	if err != nil {
		return err
	}
	parts, err := postedParts(r)
	if err != nil {
		return err
	}
	d := store.RecallDecision{Parts: parts, Code: r.PostFormValue("code"), Reason: strings.TrimSpace(r.PostFormValue("reason"))}
	wrong := map[string]string{}
	if len(parts) == 0 {
		wrong["part"] = "Tick at least one part."
	}
	if !slices.Contains(store.RecallCodes, d.Code) {
		wrong["code"] = "Choose what is decided."
	}
	if len([]rune(d.Reason)) < 5 {
		wrong["reason"] = "Give the reason, in at least 5 letters."
	}
	if len(wrong) > 0 {
		return s.renderRecall(w, r, http.StatusUnprocessableEntity, "", wrong)
	}
	proof, err := s.sign(r)
	if err == nil {
		err = s.store.DecideRecall(ctx, v.actor, one.ID, d, proof)
	}
	if problem, wrong, refused := refusedForm(err); refused {
		return s.renderRecall(w, r, http.StatusUnprocessableEntity, problem, wrong)
	}
	if err != nil {
		return err
	}
	return s.done(w, r, "/recalls/"+one.Number, fmt.Sprintf("Decided: %s for %s.", lowerFirst(recallDecisions[d.Code].name), counted(len(parts), "part")))
}

// closeRecall signs the end of a review.
func (s *Server) closeRecall(w http.ResponseWriter, r *http.Request) error {
	v, ctx := visitFrom(r), r.Context()
	one, err := s.store.RecallByNumber(ctx, v.site.ID, chi.URLParam(r, "number"))
	if err != nil {
		return err
	}
	conclusion := strings.TrimSpace(r.PostFormValue("reason"))
	if len([]rune(conclusion)) < 5 {
		return s.renderRecall(w, r, http.StatusUnprocessableEntity, "", map[string]string{"reason": "Say what the review came to, in at least 5 letters."})
	}
	proof, err := s.sign(r)
	if err == nil {
		err = s.store.CloseRecall(ctx, v.actor, one.ID, conclusion, proof)
	}
	if problem, wrong, refused := refusedForm(err); refused {
		return s.renderRecall(w, r, http.StatusUnprocessableEntity, problem, wrong)
	}
	if err != nil {
		return err
	}
	return s.done(w, r, "/recalls/"+one.Number, one.Number+" is closed.")
}

// recallNotice is the page to print and to send.
func (s *Server) recallNotice(w http.ResponseWriter, r *http.Request) error {
	v, ctx := visitFrom(r), r.Context()
	one, err := s.store.RecallByNumber(ctx, v.site.ID, chi.URLParam(r, "number"))
	if err != nil {
		return err
	}
	lines, err := s.store.RecallLines(ctx, v.site.ID, one.ID)
	if err != nil {
		return err
	}
	zone := v.site.Location()
	view := page.RecallNoticeView{Frame: s.deskFrame(v, "Notice of recall "+one.Number, "Holds"), Number: one.Number, Site: v.site.Name, Opened: longTime(one.OpenedAt, zone),
		Device: fmt.Sprintf("Measuring device %s, maker's serial %s.", one.Device, one.Serial), Found: one.Cause, Since: recallLead(one, zone)}
	held := 0
	for _, l := range lines {
		if l.Held {
			held++
		}
		if l.ReleasedAt == nil {
			continue
		}
		n := len(view.Customers)
		if n == 0 || view.Customers[n-1].Name != l.Customer {
			view.Customers = append(view.Customers, page.RecallCustomer{Name: l.Customer})
			n++
		}
		decision := "to be decided"
		if l.Code != "" {
			decision = lowerFirst(recallDecisions[l.Code].name)
		}
		c := &view.Customers[n-1]
		c.Parts = append(c.Parts, page.RecallNoticePart{Serial: l.Serial, PartNumber: l.PartNumber, Order: dash(l.OrderRef), Released: longTime(*l.ReleasedAt, zone),
			Papers: firstOf(papersWords(l.Papers, zone), "not shipped, no certificate"), Decision: decision})
	}
	view.InHouse = fmt.Sprintf("%s still in house %s kept back until decided.", upperFirst(counted(held, "part")), map[bool]string{true: "is", false: "are"}[held == 1])
	return s.render(w, r, http.StatusOK, page.RecallNotice(view))
}
