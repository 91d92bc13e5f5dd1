package web

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"coatbook/store"
	"coatbook/web/page"
)

// effects are the answers to whether an action worked, in words.
var effects = []page.Option{{Value: store.EffectPending, Text: "Not checked yet"}, {Value: store.EffectYes, Text: "Yes, it worked"}, {Value: store.EffectNo, Text: "No, it did not"}}

func effectName(code string) string {
	for _, e := range effects {
		if e.Value == code {
			return e.Text
		}
	}
	return code
}

// actionStanding says where an action stands on a shop day.
func actionStanding(a store.HoldAction, today time.Time) page.Standing {
	switch {
	case a.Closed:
		return page.Standing{Word: "closed", Kind: "pass"}
	case a.Overdue(today):
		return page.Standing{Word: "overdue", Kind: "fail"}
	}
	return page.Standing{Word: "open", Kind: "hold"}
}

// actionRow is an open action in a list.
func actionRow(a store.HoldAction, today time.Time) page.ActionRow {
	return page.ActionRow{Hold: page.Ref{Text: a.Hold, Href: "/holds/" + url.PathEscape(a.Hold)}, Action: a.Action, Owner: a.Owner, Due: a.Due.Format("2 January 2006"),
		Standing: actionStanding(a, today), Effect: effectName(a.Effective)}
}

// actionEntries are what was entered on a hold's action, the latest first.
func actionEntries(all []store.HoldAction, today time.Time, zone *time.Location) []page.HoldActionEntry {
	entries := make([]page.HoldActionEntry, len(all))
	for i, a := range all {
		e := page.HoldActionEntry{Facts: []page.DeskFact{page.Plain("Cause", a.Cause), page.Plain("Action", a.Action), page.Plain("By", a.Owner),
			page.Plain("Due", a.Due.Format("2 January 2006")), page.Plain("Worked?", effectName(a.Effective))}, Entered: fmt.Sprintf("Entered by %s, %s", a.By, longTime(a.At, zone))}
		if a.Evidence != "" {
			e.Facts = append(e.Facts, page.Plain("How it was seen", a.Evidence))
		}
		if i == 0 {
			e.Standing = actionStanding(a, today)
		}
		entries[i] = e
	}
	return entries
}

// holdAction asks for the next entry on a hold's action and takes it.
func (s *Server) holdAction(w http.ResponseWriter, r *http.Request) error {
	v, ctx := visitFrom(r), r.Context()
	h, err := s.store.HoldByNumber(ctx, v.site.ID, param(r, "number"))
	if err != nil {
		return err
	}
	people, err := s.store.People(ctx, v.site.ID)
	if err != nil {
		return err
	}
	view := page.HoldActionView{Frame: s.deskFrame(v, "Action on hold "+h.Number, "Holds"), Number: h.Number, Held: h.Cause, Effects: effects, Wrong: map[string]string{}}
	for _, p := range people {
		if p.Active {
			view.Owners = append(view.Owners, page.Option{Value: p.ID.String(), Text: p.Name})
		}
	}
	if r.Method == http.MethodPost {
		return s.enterAction(w, r, h, view)
	}
	all, err := s.store.HoldActions(ctx, v.site.ID, h.ID)
	if err != nil {
		return err
	}
	view.After, view.Effect = "0", store.EffectPending
	if len(all) > 0 {
		a := all[0]
		if a.Closed {
			http.Redirect(w, r, "/holds/"+url.PathEscape(h.Number), http.StatusSeeOther)
			return nil
		}
		view.After, view.Cause, view.Action, view.Owner = strconv.Itoa(a.Version), a.Cause, a.Action, a.OwnerID.String()
		view.Due, view.Effect, view.Evidence = a.Due.Format(time.DateOnly), a.Effective, a.Evidence
	}
	return s.render(w, r, http.StatusOK, page.HoldAction(view))
}

// actionFields say at which field of the form a refusal stands.
var actionFields = map[string]string{"hold_action_cause_given": "cause", "hold_action_action_given": "action", "hold_action_owner_fkey": "owner",
	"hold_action_effective_known": "effective", "hold_action_evidence_given": "evidence", "hold_action_closed_effective": "close"}

func (s *Server) enterAction(w http.ResponseWriter, r *http.Request, h store.Hold, view page.HoldActionView) error {
	v := visitFrom(r)
	text := func(name string) string { return strings.TrimSpace(r.PostFormValue(name)) }
	view.After, view.Cause, view.Action, view.Owner, view.Due = text("after"), text("cause"), text("action"), text("owner"), text("due")
	view.Effect, view.Evidence, view.Close = text("effective"), text("evidence"), r.PostFormValue("close") != ""
	n := store.NewHoldAction{Cause: view.Cause, Action: view.Action, Effective: view.Effect, Evidence: view.Evidence, Close: view.Close}
	n.After, _ = strconv.Atoi(view.After)
	// An owner that is no id is nobody, which the store refuses in words.
	n.Owner, _ = uuid.Parse(view.Owner)
	var ok bool
	if n.Due, ok = parseDay(view.Due); !ok {
		view.Wrong["due"] = "Enter the day by which it is done."
		return s.render(w, r, http.StatusUnprocessableEntity, page.HoldAction(view))
	}
	err := s.store.EnterAction(r.Context(), v.actor, h.ID, n)
	var refusal *store.Refusal
	if errors.As(err, &refusal) {
		if field := actionFields[refusal.Rule]; field != "" {
			view.Wrong[field] = refusal.Sentence
		} else {
			view.Problem = refusal.Sentence
		}
		return s.render(w, r, answerTo(r, err).status, page.HoldAction(view))
	}
	if err != nil {
		return err
	}
	s.flash(r, "The action on hold "+h.Number+" is entered.")
	http.Redirect(w, r, "/holds/"+url.PathEscape(h.Number), http.StatusSeeOther)
	return nil
}

// newHoldPage asks which parts to hold by hand and why.
func (s *Server) newHoldPage(w http.ResponseWriter, r *http.Request) error {
	return s.render(w, r, http.StatusOK, page.NewHold(page.NewHoldView{Frame: s.deskFrame(visitFrom(r), "Hold parts", "Holds"), Form: store.NewID().String()}))
}

// openHold opens a hold on scanned parts.
func (s *Server) openHold(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	view := page.NewHoldView{Frame: s.deskFrame(v, "Hold parts", "Holds"), Form: firstOf(r.PostFormValue("record"), store.NewID().String()), Wrong: map[string]string{},
		Serials: strings.TrimSpace(r.PostFormValue("parts")), Cause: strings.TrimSpace(r.PostFormValue("cause")), Requirement: strings.TrimSpace(r.PostFormValue("requirement"))}
	h := store.HandHold{Cause: view.Cause, Requirement: view.Requirement}
	var err error
	if h.ID, err = uuid.Parse(view.Form); err != nil {
		return fmt.Errorf("hold %q: %w", view.Form, store.ErrNotFound)
	}
	seen := map[string]bool{}
	for _, text := range strings.Fields(view.Serials) {
		serial, problem := scanned(text, "PART", "hangtag")
		if problem != "" {
			view.Wrong["parts"] = problem
		} else if !seen[serial] {
			h.Serials, seen[serial] = append(h.Serials, serial), true
		}
	}
	if len(view.Wrong) > 0 {
		return s.render(w, r, http.StatusUnprocessableEntity, page.NewHold(view))
	}
	number, err := s.store.OpenHold(r.Context(), v.actor, h)
	var refusal *store.Refusal
	if errors.As(err, &refusal) {
		if refusal.Rule == "hold_cause_present" {
			view.Wrong["cause"] = refusal.Sentence
		} else {
			view.Wrong["parts"] = refusal.Sentence
		}
		return s.render(w, r, answerTo(r, err).status, page.NewHold(view))
	}
	if err != nil {
		return err
	}
	s.flash(r, "Hold "+number+" is open.")
	http.Redirect(w, r, "/holds/"+url.PathEscape(number), http.StatusSeeOther)
	return nil
}

// firstActions are the actions on holds that are past their day.
func (d *dayRead) firstActions() (items []page.DayFirst) {
	for _, a := range d.actions {
		if a.Overdue(d.day) {
			items = append(items, page.DayFirst{Kind: "fail", Link: page.Ref{Text: "The action on hold " + a.Hold + " is overdue", Href: "/holds/" + url.PathEscape(a.Hold)},
				Rest: fmt.Sprintf(": %s was due on %s, by %s.", a.Action, a.Due.Format("2 January 2006"), a.Owner)})
		}
	}
	return items
}
