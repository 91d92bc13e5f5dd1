package form

import (
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// Answers are the posted values of a form and what is wrong with them, by field name.
type Answers struct {
	Values url.Values
	Wrong  map[string]string
}

// New starts from values as typed, or as they stand for a form that opens.
func New(values url.Values) *Answers {
	if values == nil {
		values = url.Values{}
	}
	return &Answers{Values: values, Wrong: map[string]string{}}
}

// OK reports whether nothing is wrong so far.
func (a *Answers) OK() bool { return len(a.Wrong) == 0 }

// Say puts a sentence at a field. The first one stays.
func (a *Answers) Say(name, sentence string) {
	if a.Wrong[name] == "" {
		a.Wrong[name] = sentence
	}
}

// given returns the trimmed text of a field, and whether it can be read on: it says what is wrong with text that is missing,
// too long or not printable.
func (a *Answers) given(e Entry) (string, bool) {
	text := strings.TrimSpace(a.Values.Get(e.Name))
	switch {
	case text == "" && e.Optional:
		return "", false
	case text == "":
		a.Say(e.Name, e.missing())
		return "", false
	case !utf8.ValidString(text) || strings.ContainsFunc(text, unprintable):
		a.Say(e.Name, fmt.Sprintf("%s has characters that cannot be printed. Type it again.", e.Label))
		return "", false
	}
	return text, true
}

func unprintable(r rune) bool { return unicode.IsControl(r) && r != '\n' && r != '\r' && r != '\t' }

func (e Entry) missing() string {
	switch e.Kind {
	case Number, Whole:
		return fmt.Sprintf("%s is empty. Enter %s.", e.Label, e.bounds())
	case Date:
		return fmt.Sprintf("%s is empty. Enter a date such as 2026-11-24.", e.Label)
	case Pick, Many:
		return fmt.Sprintf("%s: choose one.", e.Label)
	case Secret:
		return "Enter your PIN: it is your signature."
	}
	if e.Hint != "" {
		return fmt.Sprintf("%s is empty. Enter %s.", e.Label, e.Hint)
	}
	return fmt.Sprintf("%s is empty.", e.Label)
}

// Text returns words, or "" with a sentence.
func (a *Answers) Text(e Entry) string {
	text, ok := a.given(e)
	if !ok {
		return ""
	}
	if n := utf8.RuneCountInString(text); n > e.Limit() {
		a.Say(e.Name, fmt.Sprintf("%s has %d characters; up to %d fit.", e.Label, n, e.Limit()))
		return ""
	}
	return text
}

// Code returns words in capitals, as codes on labels are kept.
func (a *Answers) Code(e Entry) string {
	code := strings.ToUpper(a.Text(e))
	if code != "" {
		a.Values.Set(e.Name, code)
	}
	return code
}

// Number returns a decimal number within the entry's bounds, or nil with a sentence; nil without one for an optional field
// that is empty.
func (a *Answers) Number(e Entry) *float64 {
	text, ok := a.given(e)
	if !ok {
		return nil
	}
	value, ok := parseNumber(text)
	switch {
	case !ok && strings.Contains(text, ","):
		a.Say(e.Name, fmt.Sprintf("“%s” is not a number. Write it with a point, not a comma: %s.", clip(text), e.bounds()))
	case !ok:
		a.Say(e.Name, fmt.Sprintf("“%s” is not a number. Enter %s.", clip(text), e.bounds()))
	case value < e.Low || value > e.High:
		a.Say(e.Name, fmt.Sprintf("“%s” is out of range. Enter %s.", clip(text), e.bounds()))
	default:
		return &value
	}
	return nil
}

// Amount is Number for a field that must be filled: 0 when something is wrong.
func (a *Answers) Amount(e Entry) float64 {
	if value := a.Number(e); value != nil {
		return *value
	}
	return 0
}

// Whole returns a whole number within the entry's bounds, or 0: with a sentence when something is wrong.
func (a *Answers) Whole(e Entry) int {
	text, ok := a.given(e)
	if !ok {
		return 0
	}
	value, err := strconv.Atoi(text)
	switch {
	case err != nil:
		a.Say(e.Name, fmt.Sprintf("“%s” is not a whole number. Enter %s.", clip(text), e.bounds()))
	case float64(value) < e.Low || float64(value) > e.High:
		a.Say(e.Name, fmt.Sprintf("“%s” is out of range. Enter %s.", clip(text), e.bounds()))
	default:
		return value
	}
	return 0
}

// Date returns midnight UTC of a date, or the zero time. Dates lie between 2000 and 2099: others are slips of the finger.
func (a *Answers) Date(e Entry) time.Time {
	text, ok := a.given(e)
	if !ok {
		return time.Time{}
	}
	date, err := time.Parse(time.DateOnly, text)
	if err != nil || date.Year() < 2000 || date.Year() > 2099 {
		a.Say(e.Name, fmt.Sprintf("“%s” is not a date. Enter one such as 2026-11-24.", clip(text)))
		return time.Time{}
	}
	return date
}

// Pick returns the chosen option's value, or "" with a sentence.
func (a *Answers) Pick(e Entry) string {
	text, ok := a.given(e)
	if !ok {
		return ""
	}
	if !slices.ContainsFunc(e.Options, func(o Option) bool { return o.Value == text }) {
		a.Say(e.Name, fmt.Sprintf("“%s” is not on the list. %s: choose one.", clip(text), e.Label))
		return ""
	}
	return text
}

// Many returns the values ticked, in the order of the options.
func (a *Answers) Many(e Entry) []string {
	var chosen []string
	for _, o := range e.Options {
		if slices.Contains(a.Values[e.Name], o.Value) {
			chosen = append(chosen, o.Value)
		}
	}
	for _, posted := range a.Values[e.Name] {
		if posted != "" && !slices.ContainsFunc(e.Options, func(o Option) bool { return o.Value == posted }) {
			a.Say(e.Name, fmt.Sprintf("“%s” is not on the list.", clip(posted)))
		}
	}
	if len(chosen) == 0 && !e.Optional {
		a.Say(e.Name, fmt.Sprintf("%s: choose at least one.", e.Label))
	}
	return chosen
}

// Yes reports whether a box is ticked.
func (a *Answers) Yes(name string) bool { return a.Values.Get(name) == "yes" }

// parseNumber accepts an optional sign, digits and at most one point. No exponent, no grouping, no NaN.
func parseNumber(s string) (float64, bool) {
	points, digits := 0, 0
	for i, r := range s {
		switch {
		case r >= '0' && r <= '9':
			digits++
		case r == '.':
			points++
		case (r == '-' || r == '+') && i == 0:
		default:
			return 0, false
		}
	}
	if points > 1 || digits == 0 || digits > 15 {
		return 0, false
	}
	value, err := strconv.ParseFloat(s, 64)
	return value, err == nil
}

// clip shortens a flood of text for a sentence.
func clip(s string) string {
	runes := []rune(s)
	if len(runes) > 40 {
		return string(runes[:40]) + "…"
	}
	return s
}
