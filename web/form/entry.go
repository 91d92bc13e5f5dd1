// Package form turns posted text into typed values, with a sentence for each field that is wrong. Nothing is guessed: a
// number that cannot be right comes back as it was typed.
package form

import (
	"fmt"

	"coatbook/quality"
)

// A Kind is how a field is asked for and read.
type Kind string

// The kinds of field.
const (
	Text   Kind = "text"   // one line of words
	Area   Kind = "area"   // several lines of words
	Number Kind = "number" // a decimal number from Low to High
	Whole  Kind = "whole"  // a whole number from Low to High
	Date   Kind = "date"   // yyyy-mm-dd
	Pick   Kind = "pick"   // one of Options
	Many   Kind = "many"   // any of Options
	Tick   Kind = "tick"   // yes or no
	Secret Kind = "secret" // a PIN; never printed back
)

// An Option is one answer to a Pick or Many field.
type Option struct{ Value, Label string }

// An Entry describes one field once: the same words and bounds stand beside the box and in the check behind it.
type Entry struct {
	Kind     Kind
	Name     string // in the form
	Label    string
	Hint     string // what belongs there; numbers print their range by themselves
	Unit     string // printed
	Low      float64
	High     float64
	Max      int // characters of words; 0 means 120
	Optional bool
	Options  []Option
	// Wide asks for the whole width of the form.
	Wide bool
	// First takes the focus when the page opens.
	First bool
}

const usualMax = 120

// Limit is the number of characters that words may have.
func (e Entry) Limit() int {
	if e.Max > 0 {
		return e.Max
	}
	return usualMax
}

// Range returns what stands beside the box, such as "0 to 50 °C" or "optional".
func (e Entry) Range() string {
	says := e.Hint
	if e.Kind == Number || e.Kind == Whole {
		says = e.bounds()
		if e.Hint != "" {
			says += ", " + e.Hint
		}
	}
	if e.Optional {
		if says == "" {
			return "optional"
		}
		return says + ", optional"
	}
	return says
}

func (e Entry) bounds() string {
	says := fmt.Sprintf("%s to %s", quality.Number(e.Low, 2), quality.Number(e.High, 2))
	if e.Unit != "" {
		says += " " + e.Unit
	}
	return says
}

// As returns the entry under another name, for a field that repeats by row.
func (e Entry) As(name string) Entry {
	e.Name = name
	return e
}
