package web

import (
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/a-h/templ"
	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
	"coatbook/web/ui"
)

// An entryKind is one kind of record as a page: a new kind is a new one of these, in a file of its own.
type entryKind struct {
	kind quality.Kind
	// find names what the address is about, and where to go after a save.
	find func(s *Server, r *http.Request) (subject store.Subject, back string, err error)
	// read turns the posted form into a check and what went into it; sentences stand at the fields that are wrong.
	read func(sh *sheet) (quality.Check, []store.Use)
	// show is the page with what is typed so far.
	show    func(sh *sheet, e page.Entry) templ.Component
	hazards []string
	// started are the booths whose start-up is on record this shift; only a coating run asks.
	started []string
	// readAt says when the person read the caution of a hazard this shift.
	readAt map[string]string
}

// A sheet is one entry page while a request is answered.
type sheet struct {
	entryKind
	*form.Answers
	visit  *visit
	form   store.Form
	action string
	back   string
	// refused is the rule that kept a save out, nil if none did.
	refused *store.Refusal
	preview *page.Preview
}

// enter shows the form with everything that is known filled in; posted, it saves the entry, or only says what it would be, or
// brings the form back with what is wrong.
func (s *Server) enter(w http.ResponseWriter, r *http.Request, k entryKind) error {
	sh, err := s.openSheet(r, k)
	if err != nil {
		return err
	}
	if r.Method != http.MethodPost || sh.Values.Get("more") != "" {
		return s.renderSheet(w, r, http.StatusOK, sh)
	}
	entry := sh.entry()
	if sh.Values.Get("preview") != "" {
		return s.previewEntry(w, r, sh, entry)
	}
	if !sh.OK() {
		return s.renderSheet(w, r, http.StatusUnprocessableEntity, sh)
	}
	if read := sh.justRead(); len(read) > 0 {
		if err := s.store.ReadCautions(r.Context(), sh.visit.actor, read, sh.language(), entry.ObservedAt); err != nil {
			return err
		}
	}
	saved, err := s.store.Save(r.Context(), sh.visit.actor, entry)
	if errors.As(err, &sh.refused) {
		return s.renderSheet(w, r, http.StatusUnprocessableEntity, sh)
	}
	if err != nil {
		return err
	}
	s.flash(r, sh.savedWords(saved))
	s.offerTakeBack(r.Context(), saved.RecordID, sh.kind.Name()+" of "+sh.form.Label)
	return done(w, r, sh.back)
}

// openSheet finds what the page is about and what is known of it.
func (s *Server) openSheet(r *http.Request, k entryKind) (*sheet, error) {
	v := visitFrom(r)
	subject, back, err := k.find(s, r)
	if err != nil {
		return nil, err
	}
	f, err := s.store.Form(r.Context(), v.actor, k.kind, subject)
	if err != nil {
		return nil, err
	}
	values := r.URL.Query()
	if r.Method == http.MethodPost {
		values = r.PostForm
	}
	sh := &sheet{entryKind: k, Answers: form.New(values), visit: v, form: f, action: r.URL.Path, back: back}
	return sh, s.readCautions(r.Context(), sh)
}

// done answers a save: a redirect for a browser, the address to go to for the page's own script.
func done(w http.ResponseWriter, r *http.Request, to string) error {
	if r.Header.Get("X-Outbox") != "" {
		w.Header().Set("Saved-To", to)
		w.WriteHeader(http.StatusOK)
		return nil
	}
	http.Redirect(w, r, to, http.StatusSeeOther)
	return nil
}

// previewEntry says what the book would decide, alone for the page's script or within the page.
func (s *Server) previewEntry(w http.ResponseWriter, r *http.Request, sh *sheet, entry store.Entry) error {
	p := page.Preview{}
	if !sh.OK() {
		p.Problems = sh.problems()
	} else {
		j, err := s.store.Preview(r.Context(), sh.visit.actor, entry)
		var refusal *store.Refusal
		switch {
		case errors.As(err, &refusal):
			p.Problems = []page.FieldProblem{{Sentence: refusal.Sentence}}
		case err != nil:
			return err
		default:
			p.Verdict, p.Rule = string(j.Verdict), j.Rule
			for _, f := range j.Findings {
				p.Findings = append(p.Findings, page.PreviewFinding{Verdict: string(f.Verdict), Text: f.Text})
			}
		}
	}
	if r.Header.Get("X-Fragment") != "" {
		return s.render(w, r, http.StatusOK, page.PreviewBlock(p))
	}
	sh.preview = &p
	return s.renderSheet(w, r, http.StatusOK, sh)
}

func (s *Server) renderSheet(w http.ResponseWriter, r *http.Request, status int, sh *sheet) error {
	return s.render(w, r, status, sh.show(sh, s.entryView(sh)))
}

// lasting are the rules that choosing something else on the page does not mend.
var lasting = []string{store.RuleFinished, store.RuleOnHold, store.RuleNoParts, store.RuleMixed, store.RuleSpecNotApproved, store.RuleNotQualified, store.RuleInvalid, store.RulePanelLoose}

// entryView fills in what all entry pages show.
func (s *Server) entryView(sh *sheet) page.Entry {
	record := sh.Values.Get("record")
	if _, err := uuid.Parse(record); err != nil {
		record = store.NewID().String()
	}
	name := sh.kind.Name()
	e := page.Entry{Frame: s.benchFrame(sh.visit, name+" "+sh.form.Label), Heading: name, Subject: sh.form.Label, About: sh.about(), Facts: sh.facts(),
		Action: sh.action, Record: record, Draft: sh.action + "|" + sh.Values.Get("unit"), ObservedAt: sh.Values.Get("observed_at"), ClockOffset: sh.Values.Get("clock_offset_ms"),
		Hazards: sh.cautions(), Sheets: sheetLinksOf(sh.form.Sheets), Problems: nil, Note: sh.Values.Get("note"), LateReason: sh.Values.Get("late_reason"), LateProblem: sh.Wrong["late_reason"],
		Preview: sh.preview, Save: "Save " + strings.ToLower(name[:1]) + name[1:], Comma: sh.visit.comma()}
	e.Will = []page.Fact{{Name: "On", Value: sh.form.Label}, {Name: "By", Value: e.Frame.Person}}
	blocks := sh.form.Blocks
	if sh.refused != nil {
		e.Problems = append(e.Problems, page.FieldProblem{Field: sh.fieldOf(sh.refused.Rule), Sentence: sh.refused.Sentence})
		if sh.refused.Rule == store.RuleLate {
			e.LateProblem = sh.refused.Sentence
		}
		blocks = append(slices.Clone(blocks), sh.refused)
	}
	if sh.preview == nil {
		e.Problems = append(e.Problems, sh.problems()...)
	}
	seen := map[string]bool{}
	for _, b := range blocks {
		if seen[b.Rule] {
			continue
		}
		seen[b.Rule] = true
		refusal := ui.Refusal{Rule: b.Rule, Sentence: b.Sentence, MayOverride: b.MayOverride && sh.visit.site.OverridesAllowed}
		if b != sh.refused {
			e.Refusals = append(e.Refusals, refusal)
		}
		if refusal.MayOverride {
			e.Override.Rules = append(e.Override.Rules, refusal)
		} else if slices.Contains(lasting, b.Rule) {
			e.Cannot = true
		}
	}
	for _, p := range sh.form.Authorisers {
		e.Override.Supervisors = append(e.Override.Supervisors, ui.Choice{Value: p.ID.String(), Label: p.Name, Chosen: p.ID.String() == sh.Values.Get("override-by")})
	}
	e.Override.Reason, e.Override.Problem = sh.Values.Get("override-reason"), sh.Wrong["override-by"]
	return e
}

// fieldOf is the field that a refusal is about, for the link that leads to it.
func (sh *sheet) fieldOf(rule string) string {
	switch rule {
	case store.RuleGaugeMissing, store.RuleGaugeOverdue, store.RuleGaugeFailed, store.RuleGaugeUnverified:
		return "gauge"
	case store.RuleLotMissing, store.RuleLotExpired, store.RuleLotRejected:
		return lotField[sh.kind]
	case store.RuleConditions:
		return quality.TestTemperature
	case store.RuleWindow:
		return "window_metal-1"
	case store.RuleBathUnchecked:
		return "bath-1"
	case store.RuleLate, store.RuleFuture:
		return "late_reason"
	}
	return ""
}

// problems lists what is wrong, in the order of the field names.
func (sh *sheet) problems() []page.FieldProblem {
	names := make([]string, 0, len(sh.Wrong))
	for name := range sh.Wrong {
		names = append(names, name)
	}
	slices.SortFunc(names, byNumberParts)
	var list []page.FieldProblem
	for _, name := range names {
		list = append(list, page.FieldProblem{Field: name, Sentence: sh.Wrong[name]})
	}
	return list
}

// byNumberParts orders film-2-1 before film-10-1.
func byNumberParts(a, b string) int {
	if len(a) != len(b) && strings.SplitN(a, "-", 2)[0] == strings.SplitN(b, "-", 2)[0] {
		return len(a) - len(b)
	}
	return strings.Compare(a, b)
}

// entry reads the posted form into what the store saves.
func (sh *sheet) entry() store.Entry {
	check, uses := sh.read(sh)
	e := store.Entry{Kind: sh.kind, Subject: sh.form.Subject, Check: check, Uses: uses, Note: strings.TrimSpace(sh.Values.Get("note")), LateReason: strings.TrimSpace(sh.Values.Get("late_reason"))}
	var err error
	if e.RecordID, err = uuid.Parse(sh.Values.Get("record")); err != nil {
		sh.Say("record", "The form has lost its number. Send it again; what you typed is kept.")
	}
	if by := sh.Values.Get("entered_by"); by != "" && by != sh.visit.actor.Person.String() {
		sh.Say("record", "This was typed by another person. They sign on and save it themselves; nothing was saved under your name.")
	}
	if len([]rune(e.Note)) > 2000 {
		sh.Say("note", "The note has more than 2000 characters.")
	}
	sh.times(&e)
	e.Overrides = sh.overrides()
	return e
}

// times reads when it was seen: the device's own time less its measured offset, or a time of the day as typed.
func (sh *sheet) times(e *store.Entry) {
	if text := sh.Values.Get("clock_offset_ms"); text != "" {
		offset, err := time.ParseDuration(text + "ms")
		if err != nil || offset.Abs() > 20*365*24*time.Hour {
			sh.Say("late_reason", "The tablet's clock offset is not readable. Reload the page.")
		}
		e.ClockOffset = offset
	}
	switch observed, seen := sh.Values.Get("observed_at"), sh.Values.Get("seen_at"); {
	case observed != "":
		at, err := time.Parse(time.RFC3339, observed)
		if err != nil {
			sh.Say("late_reason", fmt.Sprintf("“%s” is not a time.", observed))
		}
		e.ObservedAt = at.Add(-e.ClockOffset)
	case seen != "":
		at, err := time.ParseInLocation("2006-01-02T15:04", seen, sh.visit.site.Location())
		if err != nil {
			sh.Say("late_reason", fmt.Sprintf("“%s” is not a time. Enter one such as 2026-11-24T14:30.", seen))
		}
		e.ObservedAt = at
	}
}

// overrides reads the exception that a supervisor signs; none when no PIN was entered.
func (sh *sheet) overrides() []store.Override {
	pin := sh.Values.Get("override-pin")
	if pin == "" {
		return nil
	}
	by, err := uuid.Parse(sh.Values.Get("override-by"))
	reason := strings.TrimSpace(sh.Values.Get("override-reason"))
	if err != nil || len([]rune(reason)) < 5 {
		sh.Say("override-by", "Choose the supervisor who allows it and give the reason in 5 characters or more.")
		return nil
	}
	var list []store.Override
	for _, rule := range sh.Values["override-rule"] {
		list = append(list, store.Override{Rule: rule, Reason: reason, By: by, PIN: pin})
	}
	return list
}

// about is the thing in words.
func (sh *sheet) about() string {
	switch n := len(sh.form.Parts); {
	case n == 1 || sh.form.Subject.Kind == quality.OnPart && n > 0:
		p := sh.form.Parts[0]
		return fmt.Sprintf("%s %s, cycle %d", p.PartName, p.PartNumber, p.Cycle)
	case n > 1:
		return fmt.Sprintf("%d parts, %s %s", n, sh.form.Parts[0].PartName, sh.form.Parts[0].PartNumber)
	}
	return ""
}

// facts are what is known already and not asked again.
func (sh *sheet) facts() []page.Fact {
	var facts []page.Fact
	if sh.form.SpecCode != "" {
		facts = append(facts, page.Fact{Name: "Spec", Value: sh.form.SpecCode + " rev " + sh.form.Revision})
	}
	if len(sh.form.Parts) == 0 {
		return facts
	}
	p := sh.form.Parts[0]
	facts = append(facts, page.Fact{Name: "Job", Value: p.JobNumber + ", " + p.Customer})
	if p.Rack != "" && sh.form.Subject.Kind == quality.OnPart {
		facts = append(facts, page.Fact{Name: "Rack", Value: p.Rack})
	}
	if p.Load != "" && sh.form.Subject.Kind == quality.OnPart {
		facts = append(facts, page.Fact{Name: "Load", Value: p.Load})
	}
	return facts
}

// savedWords is the sentence after a save.
func (sh *sheet) savedWords(saved store.Saved) string {
	words := fmt.Sprintf("%s of %s saved: %s.", sh.kind.Name(), sh.form.Label, strings.ReplaceAll(string(saved.Judgement.Verdict), "_", " "))
	if saved.Already {
		words = fmt.Sprintf("%s of %s was saved before and is on record once: %s.", sh.kind.Name(), sh.form.Label, saved.Judgement.Verdict)
	}
	if saved.Judgement.Verdict != quality.Pass {
		words += " " + saved.Judgement.Sentence()
	}
	if saved.HoldNumber != "" {
		words += " On hold: " + saved.HoldNumber + "."
	}
	for _, sentence := range saved.Lots {
		words += " " + sentence
	}
	if saved.RecallNumber != "" {
		words += " Recall " + saved.RecallNumber + " lists what was measured with it since it was last good."
	}
	return strings.TrimSpace(words + " " + saved.ClockWarning)
}
