package form

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"coatbook/quality"
)

// A Slot is one reading that a page asks for: its field, what is measured there and where.
type Slot struct {
	Name           string // field name in the form
	Label          string
	Characteristic string
	Location       string
	Spot, Rep      int
	Unit           quality.Unit
	Optional       bool // an empty field is left out instead of being refused
	// Absent is the field that holds the absence code; empty means Name + "-absent".
	Absent string
}

// absences are the codes a form may post.
var absences = []quality.Absence{quality.NotMeasured, quality.NotApplicable, quality.BelowRange, quality.AboveRange, quality.Pending}

// Reading reads one slot. ok is false when there is no reading: the field is optional and empty, or a sentence now stands at
// it. A comma is a decimal mark only for people who write it so; for others it is a slip (3,200 or 3.2?) and comes back.
func (a *Answers) Reading(s Slot, comma bool) (reading quality.Reading, ok bool) {
	text := a.Values.Get(s.Name)
	absentField := s.Absent
	if absentField == "" {
		absentField = s.Name + "-absent"
	}
	absent := quality.Absence(a.Values.Get(absentField))
	switch {
	case absent != quality.Present && !slices.Contains(absences, absent):
		a.Say(s.Name, fmt.Sprintf("%s: “%s” is not a reason for a missing value.", s.Label, clip(string(absent))))
		return reading, false
	case absent != quality.Present && strings.TrimSpace(text) != "":
		a.Say(s.Name, fmt.Sprintf("%s has a value and is also marked as missing. Take one of the two out.", s.Label))
		return reading, false
	case absent != quality.Present:
		return s.at(quality.Reading{Characteristic: s.Characteristic, Unit: s.Unit, Source: "typed", Absence: absent}), true
	case strings.TrimSpace(text) == "" && s.Optional:
		return reading, false
	case strings.TrimSpace(text) == "":
		a.Say(s.Name, fmt.Sprintf("%s is empty. Enter %s.", s.Label, s.bounds()))
		return reading, false
	case strings.Contains(text, ",") && !comma:
		a.Say(s.Name, fmt.Sprintf("%s: “%s” has a comma: write %s.", s.Label, clip(text), clip(strings.Replace(strings.TrimSpace(text), ",", ".", 1))))
		return reading, false
	}
	reading, problem := quality.ParseReading(s.Characteristic, text, s.Unit)
	if problem != "" {
		a.Say(s.Name, s.Label+": "+problem)
		return quality.Reading{}, false
	}
	if a.Values.Get(s.Name+"-source") == "wedge" {
		reading.Source = "wedge"
		// What the gauge sent, as long as it is still what stands in the field.
		if raw := a.Values.Get(s.Name + "-raw"); strings.TrimSpace(raw) == strings.TrimSpace(text) {
			reading.Raw = raw
		}
	}
	return s.at(reading), true
}

func (s Slot) at(r quality.Reading) quality.Reading {
	r.Location, r.Spot, r.Rep = s.Location, s.Spot, s.Rep
	return r
}

func (s Slot) bounds() string {
	c, ok := quality.CharacteristicOf(s.Characteristic)
	if !ok {
		return "a value"
	}
	return c.Range(s.Unit)
}

// Readings reads all slots, in order.
func (a *Answers) Readings(slots []Slot, comma bool) []quality.Reading {
	var readings []quality.Reading
	for _, s := range slots {
		if r, ok := a.Reading(s, comma); ok {
			readings = append(readings, r)
		}
	}
	return readings
}

// MaxLines bounds the lines of imperfections that a form may post.
const MaxLines = 60

// Lines returns how many lines a form of imperfections shows: those that hold something, at least fewest, and more when asked.
func (a *Answers) Lines(fewest int) int {
	lines := fewest
	for n := 1; n <= MaxLines; n++ {
		for _, part := range []string{"code", "place", "size", "length", "count"} {
			if strings.TrimSpace(a.Values.Get(lineField(n, part))) != "" && n > lines {
				lines = n
			}
		}
	}
	if a.Values.Get("more") != "" {
		lines += 3
	}
	return min(lines, MaxLines)
}

func lineField(n int, part string) string { return fmt.Sprintf("defect-%d-%s", n, part) }

var (
	sizeEntry   = Entry{Kind: Number, Label: "Size", Unit: "mm", Low: 0, High: 500, Optional: true}
	lengthEntry = Entry{Kind: Number, Label: "Length", Unit: "mm", Low: 0, High: 5000, Optional: true}
	countEntry  = Entry{Kind: Whole, Label: "Count", Low: 1, High: 999, Optional: true}
)

// Defects reads the lines of imperfections by a catalogue of codes. A search without a find must be stated; a form that says
// nothing, or both, comes back with a sentence at "lines".
func (a *Answers) Defects(known func(code string) bool) []quality.Defect {
	none := a.Values.Get("none_found") != ""
	var found []quality.Defect
	for n := 1; n <= MaxLines; n++ {
		d, filled := a.line(n, known)
		if filled {
			found = append(found, d)
		}
	}
	switch {
	case none && len(found) > 0:
		a.Say("lines", "“None found” stands beside an imperfection. Take one of the two out.")
	case none:
		return []quality.Defect{{Code: quality.NoneFound}}
	case len(found) == 0:
		a.Say("lines", "Enter what was found, or state that none was found.")
	}
	return found
}

// line reads one line; a sentence about it stands at "defect-N".
func (a *Answers) line(n int, known func(string) bool) (d quality.Defect, filled bool) {
	get := func(part string) string { return strings.TrimSpace(a.Values.Get(lineField(n, part))) }
	d = quality.Defect{Code: get("code"), Place: get("place"), Count: 1}
	if d.Code == "" && d.Place == "" && get("size") == "" && get("length") == "" && get("count") == "" {
		return d, false
	}
	line := fmt.Sprintf("defect-%d", n)
	switch {
	case d.Code == "":
		a.Say(line, fmt.Sprintf("Line %d: choose the imperfection.", n))
	case !known(d.Code):
		a.Say(line, fmt.Sprintf("Line %d: “%s” is not in the catalogue.", n, clip(d.Code)))
	case len([]rune(d.Place)) > 80:
		a.Say(line, fmt.Sprintf("Line %d: the place has more than 80 characters.", n))
	}
	// The numbers are read by the same rules as everywhere, and their sentences are gathered at the line.
	inner := New(a.Values)
	for _, part := range []struct {
		entry Entry
		put   func(e Entry)
	}{
		{sizeEntry.As(lineField(n, "size")), func(e Entry) { d.SizeMM, d.SizeText = inner.Number(e), get("size") }},
		{lengthEntry.As(lineField(n, "length")), func(e Entry) { d.LengthMM, d.LengthText = inner.Number(e), get("length") }},
		{countEntry.As(lineField(n, "count")), func(e Entry) {
			if count := inner.Whole(e); count > 0 {
				d.Count = count
			}
		}},
	} {
		part.put(part.entry)
		if sentence := inner.Wrong[part.entry.Name]; sentence != "" {
			a.Say(line, "Line "+strconv.Itoa(n)+": "+sentence)
		}
	}
	return d, true
}

// A Code is a scanned label: its type mark, empty when it has none, and what it names.
type Code struct{ Type, Value string }

// Marks are the type marks that labels of the shop begin with, before a point: LOT.88-1403. Letters, digits and the point are
// the same keys on every keyboard a scanner pretends to be.
var Marks = []string{"PART", "RACK", "LOAD", "LOT", "GAUGE", "SHIM", "BADGE", "BATH", "STATION", "PERSON", "CERTIFICATE"}

// ParseCode takes the type mark off a scanned or typed code.
func ParseCode(text string) Code {
	text = strings.TrimSpace(text)
	mark, value, found := strings.Cut(text, ".")
	if found && value != "" && slices.Contains(Marks, strings.ToUpper(mark)) {
		return Code{Type: strings.ToUpper(mark), Value: value}
	}
	return Code{Value: text}
}
