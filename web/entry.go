package web

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/a-h/templ"
	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/page"
	"coatbook/web/ui"
)

// An entryForm reads an entry page's fields and builds its view in one pass: each field is described once, prints its own
// range and limit, and is read by the same description when the form comes back.
type entryForm struct {
	visit    *visit
	form     store.Form
	values   url.Values // posted; nil when the page opens
	more     bool       // asked for further lines
	unit     quality.Unit
	check    quality.Check
	uses     []store.Use
	problems []page.FieldProblem
}

func (e *entryForm) posted() bool { return e.values != nil }

func (e *entryForm) say(field, sentence string) {
	e.problems = append(e.problems, page.FieldProblem{Field: field, Sentence: sentence})
}

// A measure describes one reading of a form.
type measure struct {
	name           string // in the form
	characteristic string
	label          string // empty takes the characteristic's name
	location       string
	spot, rep      int
	unit           quality.Unit // empty takes the canonical one
	limits         quality.Limits
	optional       bool
	absent         bool // offers the absence codes
}

// reading builds the field of a measure and, when posted, reads it into the check.
func (e *entryForm) reading(m measure) ui.Field {
	c, _ := quality.CharacteristicOf(m.characteristic)
	if m.unit == "" {
		m.unit = c.Canonical()
	}
	if m.label == "" {
		m.label = c.Name
	}
	f := ui.Field{Name: m.name, Label: m.label, Unit: m.unit.Symbol(), Range: c.Range(m.unit), Optional: m.optional, MayBeAbsent: m.absent}
	if !m.limits.None() {
		f.Limit = m.limits.String()
		f.Low, f.High = bound(m.limits.Low, m.unit), bound(m.limits.High, m.unit)
	}
	if low, err := quality.Convert(c.Low, c.Canonical(), m.unit); err == nil {
		f.PlausibleLow = quality.Number(low, 2)
	}
	if high, err := quality.Convert(c.High, c.Canonical(), m.unit); err == nil {
		f.PlausibleHigh = quality.Number(high, 2)
	}
	if !e.posted() {
		return f
	}
	f.Value, f.Source, f.Raw, f.Absent = e.values.Get(m.name), e.values.Get(m.name+"-source"), e.values.Get(m.name+"-raw"), e.values.Get(m.name+"-absent")
	r, problem := e.parse(m, f)
	if problem != "" {
		f.Problem = problem
		e.say(m.name, m.label+": "+problem)
		return f
	}
	if r != nil {
		e.check.Readings = append(e.check.Readings, *r)
	}
	return f
}

// parse turns a posted field into a reading, nil for an optional one left empty, or a sentence.
func (e *entryForm) parse(m measure, f ui.Field) (*quality.Reading, string) {
	place := quality.Reading{Characteristic: m.characteristic, Location: m.location, Spot: m.spot, Rep: m.rep, Unit: m.unit, Source: "typed"}
	switch quality.Absence(f.Absent) {
	case quality.Present:
	case quality.NotMeasured, quality.NotApplicable, quality.BelowRange, quality.AboveRange, quality.Pending:
		if strings.TrimSpace(f.Value) != "" {
			return nil, "There is a value and a reason why there is none. Take one of them away."
		}
		place.Absence = quality.Absence(f.Absent)
		return &place, ""
	default:
		return nil, "That is not a reason the book knows."
	}
	if strings.TrimSpace(f.Value) == "" && m.optional {
		return nil, ""
	}
	if strings.Contains(f.Value, ",") && !e.visit.comma() {
		return nil, fmt.Sprintf("“%s” has a comma. Write it with a point, such as %s.", clipText(f.Value), strings.ReplaceAll(clipText(strings.TrimSpace(f.Value)), ",", "."))
	}
	r, problem := quality.ParseReading(m.characteristic, f.Value, m.unit)
	if problem != "" {
		return nil, problem
	}
	r.Location, r.Spot, r.Rep = m.location, m.spot, m.rep
	if f.Source == "wedge" || f.Source == "scan" {
		r.Source = f.Source
	}
	if f.Raw != "" && len(f.Raw) <= 80 {
		r.Raw = f.Raw
	}
	return &r, ""
}

func bound(l *quality.Limit, unit quality.Unit) string {
	if l == nil {
		return ""
	}
	v, err := l.In(unit)
	if err != nil {
		return ""
	}
	return strconv.FormatFloat(v, 'g', 12, 64)
}

func clipText(s string) string {
	runes := []rune(s)
	if len(runes) > 24 {
		return string(runes[:24]) + "…"
	}
	return s
}

// rating builds the choices of a rating and, when posted, reads it into the check. A required one that is missing is said.
func (e *entryForm) rating(name, characteristic, missing string, choices []ui.Choice) (marked []ui.Choice, problem string) {
	if !e.posted() {
		return choices, ""
	}
	value := e.values.Get(name)
	for i, c := range choices {
		if c.Value == value {
			choices[i].Chosen = true
			e.check.Ratings = append(e.check.Ratings, quality.Rating{Characteristic: characteristic, Code: value})
			return choices, ""
		}
	}
	if missing != "" {
		e.say(name, missing)
	}
	return choices, missing
}

// pick builds the list of things of one role and, when posted, reads the choice into the uses. What was used last is chosen
// when the page opens, so that it is not asked again.
func (e *entryForm) pick(role string, list ui.Select, missing string) ui.Select {
	if list.Name == "" {
		list.Name = role
	}
	chosen := ""
	if id, ok := e.form.LastUsed[role]; ok {
		chosen = id.String()
	}
	if e.posted() {
		chosen = e.values.Get(list.Name)
	}
	found := false
	for i, c := range list.Choices {
		if c.Value == chosen && chosen != "" {
			list.Choices[i].Chosen, found = true, true
			if e.posted() {
				if id, err := uuid.Parse(chosen); err == nil {
					e.uses = append(e.uses, store.Use{Role: role, ID: id})
				}
			}
		}
	}
	if e.posted() && !found && missing != "" {
		list.Problem = missing
		e.say(list.Name, missing)
	}
	return list
}

// text returns the trimmed text of a field, at most max characters.
func (e *entryForm) text(name string, max int) string {
	if !e.posted() {
		return ""
	}
	s := strings.TrimSpace(e.values.Get(name))
	if len([]rune(s)) > max {
		e.say(name, fmt.Sprintf("That text is longer than %d characters.", max))
	}
	return s
}

// lineCount is how many empty or filled lines a repeating block shows.
func (e *entryForm) lineCount(prefix, suffix string, least, most int) int {
	n := least
	for i := 1; i <= most; i++ {
		if e.posted() && e.values.Get(fmt.Sprintf("%s%d%s", prefix, i, suffix)) != "" {
			n = max(n, i)
		}
	}
	if e.more {
		n += 3
	}
	return min(n, most)
}

// defects builds the block of what was found and, when posted, reads it. An empty block is not "none found": that is said.
func (e *entryForm) defects(d page.DefectLines) page.DefectLines {
	known := map[string]bool{}
	for _, g := range d.Groups {
		for _, c := range g.Codes {
			known[c.Value] = true
		}
	}
	for i := 1; i <= e.lineCount("defect-", "-code", 2, 30); i++ {
		line := page.DefectLine{N: strconv.Itoa(i)}
		if e.posted() {
			get := func(field string) string { return strings.TrimSpace(e.values.Get("defect-" + line.N + "-" + field)) }
			line.Code, line.Place, line.Size, line.Length, line.Count = get("code"), get("place"), get("size"), get("length"), get("count")
			if line.Code != "" || line.Place != "" || line.Size != "" || line.Length != "" {
				e.readDefect(&line, known)
			}
		}
		d.Lines = append(d.Lines, line)
	}
	if !e.posted() {
		return d
	}
	d.NoneChecked = e.values.Get("none_found") != ""
	switch {
	case d.NoneChecked && len(e.check.Defects) > 0:
		d.Problem = "“" + d.None + "” is ticked, and something is listed. Take one of them away."
		e.say("none_found", d.Problem)
	case d.NoneChecked:
		e.check.Defects = []quality.Defect{{Code: quality.NoneFound}}
	case len(e.check.Defects) == 0 && !anyLine(d.Lines):
		d.Problem = "List what was found, or tick “" + d.None + "”."
		e.say("none_found", d.Problem)
	}
	return d
}

func anyLine(lines []page.DefectLine) bool {
	for _, l := range lines {
		if l.Code != "" || l.Problem != "" {
			return true
		}
	}
	return false
}

func (e *entryForm) readDefect(line *page.DefectLine, known map[string]bool) {
	d := quality.Defect{Code: line.Code, Place: line.Place, Count: 1}
	if !known[line.Code] {
		line.Problem = "Choose what was found."
	}
	number := func(text, what string, high float64) *float64 {
		if text == "" {
			return nil
		}
		v, err := strconv.ParseFloat(text, 64)
		if err != nil || strings.ContainsAny(text, "eExXnNiI_") || v < 0 || v > high {
			line.Problem = fmt.Sprintf("“%s” is not a %s. Enter 0 to %s mm.", clipText(text), what, quality.Number(high, 0))
			return nil
		}
		return &v
	}
	d.SizeMM, d.SizeText = number(line.Size, "size", 500), line.Size
	d.LengthMM, d.LengthText = number(line.Length, "length", 5000), line.Length
	if line.Count != "" {
		n, err := strconv.Atoi(line.Count)
		if err != nil || n < 1 || n > 999 {
			line.Problem = fmt.Sprintf("“%s” is not a count. Enter 1 to 999.", clipText(line.Count))
		}
		d.Count = n
	}
	if len([]rune(line.Place)) > 80 {
		line.Problem = "The place is longer than 80 characters."
	}
	if line.Problem != "" {
		e.say("defect-"+line.N+"-code", "Line "+line.N+": "+line.Problem)
		return
	}
	e.check.Defects = append(e.check.Defects, d)
}

// An entryKind is one kind of record's page: what it asks and how it looks. fields reads and builds in one pass and returns
// the page for an entry frame that is completed afterwards.
type entryKind struct {
	kind    quality.Kind
	hazards []string
	fields  func(e *entryForm) func(page.Entry) templ.Component
	plan    bool
}

// enter answers an entry page: opening it, checking what is typed, and saving it.
func (s *Server) enter(w http.ResponseWriter, r *http.Request, k entryKind, subject store.Subject, about, back string) error {
	v := visitFrom(r)
	f, err := s.store.Form(r.Context(), v.actor, k.kind, subject)
	if err != nil {
		return err
	}
	e := &entryForm{visit: v, form: f, unit: quality.Unit(v.unit())}
	if u := r.FormValue("unit"); u == string(quality.Micrometre) || u == string(quality.Mil) {
		e.unit = quality.Unit(u)
	}
	if r.Method == http.MethodPost {
		e.values, e.more = r.PostForm, r.PostFormValue("more") != ""
	}
	view := k.fields(e)
	entry := s.entryFrame(r, e, k, about)
	if !e.posted() || e.more {
		if len(f.Blocks) > 0 {
			entry.Refusals, entry.Override = refusals(f)
		}
		if e.more {
			entry.Problems = nil
		}
		return s.render(w, r, http.StatusOK, view(entry))
	}
	if r.PostFormValue("save") == "" {
		return s.previewEntry(w, r, e, entry, view, subject)
	}
	return s.saveEntry(w, r, e, entry, view, subject, back)
}

// entryFrame fills in what every entry page shows.
func (s *Server) entryFrame(r *http.Request, e *entryForm, k entryKind, about string) page.Entry {
	f := e.form
	entry := page.Entry{Frame: s.benchFrame(e.visit, k.kind.Name()+", "+f.Label), Heading: k.kind.Name(), Subject: f.Label, About: about, Action: r.URL.Path,
		Record: r.PostFormValue("record"), Draft: string(k.kind) + " " + f.Label, Hazards: k.hazards, Plan: k.plan, Save: "Save " + strings.ToLower(k.kind.Name()),
		Note: e.text("note", 2000), LateReason: e.text("late_reason", 400), ObservedAt: r.PostFormValue("observed_at"), ClockOffset: r.PostFormValue("clock_offset_ms")}
	if _, err := uuid.Parse(entry.Record); err != nil {
		entry.Record = store.NewID().String()
	}
	if f.SpecCode != "" {
		entry.Facts = append(entry.Facts, page.Fact{Name: "Spec", Value: f.SpecCode + " rev " + f.Revision})
	}
	if len(f.Parts) > 1 {
		entry.Facts = append(entry.Facts, page.Fact{Name: "Parts", Value: strconv.Itoa(len(f.Parts))})
	}
	entry.Will = []page.Fact{{Name: "Signed on", Value: e.visit.person.Name}}
	entry.Problems = e.problems
	return entry
}

// refusals lists the rules in the way and, where a supervisor may pass some over, the form to do so.
func refusals(f store.Form, also ...*store.Refusal) ([]ui.Refusal, ui.OverrideForm) {
	var all []ui.Refusal
	var o ui.OverrideForm
	for _, b := range append(f.Blocks, also...) {
		r := ui.Refusal{Rule: b.Rule, Sentence: b.Sentence, MayOverride: b.MayOverride}
		all = append(all, r)
		if b.MayOverride {
			o.Rules = append(o.Rules, r)
		}
	}
	for _, p := range f.Authorisers {
		o.Supervisors = append(o.Supervisors, ui.Choice{Value: p.ID.String(), Label: p.Name})
	}
	return all, o
}

// previewEntry says what the book would decide of what is typed. Nothing is stored.
func (s *Server) previewEntry(w http.ResponseWriter, r *http.Request, e *entryForm, entry page.Entry, view func(page.Entry) templ.Component, subject store.Subject) error {
	preview := page.Preview{Problems: e.problems}
	if len(e.problems) == 0 {
		j, err := s.store.Preview(r.Context(), e.visit.actor, e.entry(subject))
		var refusal *store.Refusal
		switch {
		case errors.As(err, &refusal):
			preview.Problems = []page.FieldProblem{{Sentence: refusal.Sentence}}
		case err != nil:
			return err
		default:
			preview.Verdict, preview.Rule = string(j.Verdict), j.Rule
			for _, f := range j.Findings {
				preview.Findings = append(preview.Findings, page.PreviewFinding{Verdict: string(f.Verdict), Text: f.Text})
			}
		}
	}
	if r.Header.Get("X-Fragment") != "" {
		return s.render(w, r, http.StatusOK, page.PreviewBlock(preview))
	}
	entry.Preview = &preview
	return s.render(w, r, http.StatusOK, view(entry))
}

// entry is what is saved, as far as it was typed.
func (e *entryForm) entry(subject store.Subject) store.Entry {
	e.check.Kind = e.form.Kind
	return store.Entry{Kind: e.form.Kind, Subject: subject, Check: e.check, Uses: e.uses}
}

// saveEntry saves, or brings the page back with the reason and everything that was typed.
func (s *Server) saveEntry(w http.ResponseWriter, r *http.Request, e *entryForm, page_ page.Entry, view func(page.Entry) templ.Component, subject store.Subject, back string) error {
	entry := e.entry(subject)
	if by := r.PostFormValue("entered_by"); by != "" && by != e.visit.person.ID.String() {
		e.say("", "This was typed while somebody else was signed on. It waits for them; enter your own values afresh.")
	}
	var err error
	if entry.RecordID, err = uuid.Parse(page_.Record); err != nil {
		return err
	}
	entry.Note, entry.LateReason = page_.Note, page_.LateReason
	entry.ObservedAt, entry.ClockOffset = observed(r, e.visit.site)
	if entry.Overrides, err = overrides(r); err != nil {
		e.say("override-by", err.Error())
	}
	if page_.Problems = e.problems; len(e.problems) > 0 {
		page_.Refusals, page_.Override = refusals(e.form)
		return s.render(w, r, http.StatusUnprocessableEntity, view(page_))
	}
	saved, err := s.store.Save(r.Context(), e.visit.actor, entry)
	var refusal *store.Refusal
	if errors.As(err, &refusal) {
		e.form.Blocks = nil
		page_.Refusals, page_.Override = refusals(e.form, refusal)
		if refusal.Rule == store.RuleLate {
			page_.LateProblem = refusal.Sentence
		}
		if len(entry.Overrides) > 0 && !refusal.MayOverride {
			page_.Override.Problem = refusal.Sentence
		}
		page_.Override.Reason = r.PostFormValue("override-reason")
		return s.render(w, r, http.StatusUnprocessableEntity, view(page_))
	}
	if err != nil {
		return err
	}
	sentence := fmt.Sprintf("%s of %s saved: %s.", e.form.Kind.Name(), e.form.Label, saved.Judgement.Verdict)
	if saved.HoldNumber != "" {
		sentence = fmt.Sprintf("%s of %s saved: fail. Held as %s. %s", e.form.Kind.Name(), e.form.Label, saved.HoldNumber, saved.Judgement.Sentence())
	}
	if saved.ClockWarning != "" {
		sentence += " " + saved.ClockWarning
	}
	s.flash(r, sentence)
	if r.Header.Get("X-Outbox") != "" {
		// The script goes there itself, so that the message waits for the page people see.
		w.Header().Set("Saved-To", back)
		plain(w, http.StatusCreated, sentence)
		return nil
	}
	http.Redirect(w, r, back, http.StatusSeeOther)
	return nil
}

// observed returns when the entry was observed, by the server's clock, and how far the device's clock is ahead of it. No
// time at all means now.
func observed(r *http.Request, site store.Site) (time.Time, time.Duration) {
	ms, err := strconv.ParseInt(r.PostFormValue("clock_offset_ms"), 10, 64)
	if err != nil || ms > 1e12 || ms < -1e12 {
		ms = 0
	}
	offset := time.Duration(ms) * time.Millisecond
	if at, err := time.Parse(time.RFC3339Nano, r.PostFormValue("observed_at")); err == nil {
		return at.Add(-offset), offset
	}
	if at, err := time.ParseInLocation("2006-01-02T15:04", r.PostFormValue("seen_at"), site.Location()); err == nil {
		return at, offset
	}
	return time.Time{}, offset
}

// overrides reads the signed exceptions of a form; none when nobody signs.
func overrides(r *http.Request) ([]store.Override, error) {
	by := r.PostFormValue("override-by")
	if by == "" {
		return nil, nil
	}
	id, err := uuid.Parse(by)
	if err != nil {
		return nil, errors.New("Choose who allows the exception.") //lint:ignore ST1005 a sentence for people
	}
	var all []store.Override
	for _, rule := range r.PostForm["override-rule"] {
		all = append(all, store.Override{Rule: rule, Reason: strings.TrimSpace(r.PostFormValue("override-reason")), By: id, PIN: r.PostFormValue("override-pin")})
	}
	return all, nil
}
