package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strings"

	"coatbook/store"
	"coatbook/web/page"
)

// confirmView is what of a record a second person has to say; nil when nothing.
func (s *Server) confirmView(ctx context.Context, v *visit, record store.Record) (*page.ConfirmView, error) {
	c := record.Critical
	if len(c.Sentences) == 0 {
		return nil, nil
	}
	zone := v.site.Location()
	view := &page.ConfirmView{Sentences: c.Sentences, Entered: fmt.Sprintf("Entered by %s, %s.", record.Person, longTime(record.RecordedAt, zone)),
		Standing: page.Standing{Word: "waits for a second person", Kind: "hold"}}
	switch c.Outcome {
	case "confirmed":
		view.Standing = page.Standing{Word: "confirmed", Kind: "pass"}
	case "declined":
		view.Standing = page.Standing{Word: "declined", Kind: "fail"}
	}
	if c.Outcome != "" {
		view.Decided = fmt.Sprintf("%s by %s, %s, meaning: reviewed.", upperFirst(c.Outcome), c.By, longTime(*c.At, zone))
		if c.Reason != "" {
			view.Decided += " Reason: " + c.Reason
		}
		return view, nil
	}
	if record.SupersededBy.Valid {
		view.Standing = page.Standing{Word: "corrected before anybody confirmed it", Kind: "none"}
		return view, nil
	}
	var refusal *store.Refusal
	switch err := s.store.MayConfirm(ctx, v.actor, record.ID); {
	case errors.As(err, &refusal):
		view.MayNot = refusal.Sentence
	case err != nil:
		return nil, err
	default:
		view.Action = "/records/" + record.ID.String() + "/confirm"
		view.Statement = append([]string{fmt.Sprintf("I, %s, checked this as the second person:", v.person.Name)}, c.Sentences...)
	}
	return view, nil
}

// confirm signs what a second person says of a record, or brings the page back.
func (s *Server) confirm(w http.ResponseWriter, r *http.Request) error {
	v, ctx := visitFrom(r), r.Context()
	record, err := s.recordAt(r)
	if err != nil {
		return err
	}
	// Who may not is told before anybody gives a PIN.
	if err := s.store.MayConfirm(ctx, v.actor, record.ID); err != nil {
		return err
	}
	outcome, reason := r.PostFormValue("outcome"), strings.TrimSpace(r.PostFormValue("reason"))
	again := func(problem string, wrong map[string]string) error {
		return s.renderRecordWith(w, r, http.StatusUnprocessableEntity, "", &page.ConfirmView{Problem: problem, Wrong: wrong, Reason: reason})
	}
	switch {
	case outcome != "confirmed" && outcome != "declined":
		return again("Choose: confirm it, or decline it.", nil)
	case outcome == "declined" && len([]rune(reason)) < 5:
		return again("", map[string]string{"reason": "Say why it is declined, in at least 5 letters."})
	}
	proof, err := s.sign(r)
	if err == nil {
		err = s.store.Confirm(ctx, v.actor, record.ID, outcome == "confirmed", reason, proof)
	}
	var refusal *store.Refusal
	if errors.As(err, &refusal) && (refusal.Rule == store.RuleChanged || refusal.Rule == store.RuleNoRight) {
		return err
	}
	if problem, wrong, refused := refusedForm(err); refused {
		return again(problem, wrong)
	}
	if err != nil {
		return err
	}
	return s.done(w, r, "/records/"+record.ID.String(), fmt.Sprintf("%s of %s is %s.", record.Kind.Name(), record.Subject, outcome))
}
