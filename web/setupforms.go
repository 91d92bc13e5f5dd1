package web

import (
	"errors"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"github.com/go-chi/chi/v5"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
	"coatbook/web/ui"
)

// lookAgain heads a form that came back.
const lookAgain = "Nothing was saved. Look at the marked fields."

// attempt runs act when nothing is wrong with the answers. What the store refuses goes beside the field the rule is about,
// or to the head of the form. problem is empty when it was done; other errors pass through.
func attempt(a *form.Answers, entries []form.Entry, act func() error) (problem string, err error) {
	if !a.OK() {
		return lookAgain, nil
	}
	err = act()
	var refusal *store.Refusal
	if !errors.As(err, &refusal) {
		return "", err
	}
	if name := fieldOfRule(refusal.Rule, entries); name != "" {
		a.Say(name, refusal.Sentence)
		return lookAgain, nil
	}
	return refusal.Sentence, nil
}

// fieldOfRule returns the entry that a rule of the schema is about: rules are named table_field_what.
func fieldOfRule(rule string, entries []form.Entry) string {
	found := ""
	for _, e := range entries {
		if strings.Contains(rule, "_"+e.Name+"_") && len(e.Name) > len(found) {
			found = e.Name
		}
	}
	return found
}

// fields turns entries into printed fields with what was typed and what is wrong.
func fields(a *form.Answers, entries ...form.Entry) []page.SetupField {
	out := make([]page.SetupField, len(entries))
	for i, e := range entries {
		out[i] = field(a, e)
	}
	return out
}

func field(a *form.Answers, e form.Entry) page.SetupField {
	f := page.SetupField{Kind: string(e.Kind), Name: e.Name, Label: e.Label, Hint: e.Range(), Unit: e.Unit, Value: a.Values.Get(e.Name),
		Problem: a.Wrong[e.Name], Max: strconv.Itoa(e.Limit()), Optional: e.Optional, First: e.First, Wide: e.Wide}
	switch {
	case e.Kind == form.Secret:
		f.Value = ""
	case e.Kind == form.Pick && f.Hint == "":
		f.Hint = "choose one"
	case e.Kind == form.Date && f.Hint == "":
		f.Hint = "a date"
	}
	for _, o := range e.Options {
		chosen := false
		for _, v := range a.Values[e.Name] {
			chosen = chosen || v == o.Value
		}
		f.Choices = append(f.Choices, ui.Choice{Value: o.Value, Label: o.Label, Chosen: chosen})
	}
	return f
}

// span prints several entries as one row under a label; words stand before the boxes.
func span(a *form.Answers, name, label, hint string, entries ...form.Entry) page.SetupField {
	f := page.SetupField{Kind: "span", Name: name, Label: label, Hint: hint}
	for _, e := range entries {
		one := field(a, e)
		f.Boxes = append(f.Boxes, page.SetupBox{Kind: one.Kind, Name: e.Name, Word: e.Label, Value: one.Value, Unit: e.Unit, Problem: one.Problem,
			Wide: e.Wide, Choices: one.Choices})
	}
	return f
}

// simpleForm is a form with one group of fields.
func simpleForm(action, submit, problem string, fields []page.SetupField) page.SetupForm {
	return page.SetupForm{Action: action, Submit: submit, Problem: problem, Groups: []page.SetupGroup{{Fields: fields}}}
}

// done sends the browser on after a change, with a sentence that says what was done.
func (s *Server) done(w http.ResponseWriter, r *http.Request, to, sentence string) error {
	s.flash(r, sentence)
	http.Redirect(w, r, to, http.StatusSeeOther)
	return nil
}

// idParam reads a UUID from the address; anything else names nothing.
func idParam(r *http.Request, name string) (uuid.UUID, error) {
	id, err := uuid.Parse(chi.URLParam(r, name))
	if err != nil {
		return uuid.Nil, store.ErrNotFound
	}
	return id, nil
}

// values makes what stands in a form that opens.
func values(pairs ...string) url.Values {
	v := url.Values{}
	for i := 0; i+1 < len(pairs); i += 2 {
		v.Set(pairs[i], pairs[i+1])
	}
	return v
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return ""
}

// setupNumber prints a stored number as people type it: no trailing zeros, a point.
func setupNumber(v float64) string { return quality.Number(v, 6) }

func setupNumberOrEmpty(v *float64) string {
	if v == nil {
		return ""
	}
	return setupNumber(*v)
}

// setupDay prints a date.
func setupDay(d time.Time) string { return d.Format("2 January 2006") }

// today is the site's calendar day, as midnight UTC.
func today(v *visit) time.Time {
	now := time.Now().In(v.site.Location())
	return time.Date(now.Year(), now.Month(), now.Day(), 0, 0, 0, 0, time.UTC)
}

// inUse is the standing of a thing that may be retired.
func inUse(active bool) page.SetupCell {
	if active {
		return page.Stands("pass", "in use")
	}
	return page.Stands("none", "retired")
}

// optionsOf makes options of pairs: value, label, value, label.
func optionsOf(pairs ...string) []form.Option {
	var out []form.Option
	for i := 0; i+1 < len(pairs); i += 2 {
		out = append(out, form.Option{Value: pairs[i], Label: pairs[i+1]})
	}
	return out
}

// labelOf returns the label of a value among options.
func labelOf(options []form.Option, value string) string {
	for _, o := range options {
		if o.Value == value {
			return o.Label
		}
	}
	return value
}

// numbered prints a count with its noun, such as 1 spec or 3 specs.
func numbered(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return strconv.Itoa(n) + " " + noun + "s"
}
