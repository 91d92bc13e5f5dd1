package sampling

import (
	"errors"
	"fmt"
)

// ErrOutcome means an outcome that is none of a, r and g.
var ErrOutcome = errors.New("an outcome is a, r or g")

// Outcome is what became of a lot on original inspection.
type Outcome byte

// The outcomes.
const (
	Accepted Outcome = 'a'
	Rejected Outcome = 'r'
	// Between is a count over the acceptance number and under the rejection number of reduced inspection: the lot is
	// accepted, and normal inspection returns. Elsewhere there is no between, and it counts as accepted.
	Between Outcome = 'g'
)

// The numbers of MIL-STD-105E 4.7 (from memory, unverified).
const (
	tightenWindow  = 5  // lots in a row among which
	tightenRejects = 2  // rejections tighten
	relaxAfter     = 5  // accepted in a row on tightened
	reduceAfter    = 10 // accepted in a row on normal
	stopAfter      = 10 // lots in a row on tightened
)

// Switcher follows lots of one product and characteristic between severities. The zero value starts on normal
// inspection. Record only first inspections: a lot that was sorted and offered again does not count.
//
//	normal    → tightened      2 of 5 or fewer lots in a row rejected
//	tightened → normal         5 lots in a row accepted
//	tightened → discontinued   10 lots in a row on tightened inspection
//	normal    → reduced        10 lots in a row accepted, unless NoReduced
//	reduced   → normal         a lot rejected, or a count between the numbers, or NoReduced
//
// Counts begin anew at each change. MIL-STD-105E asks for more before reduced inspection: the bad pieces of the last ten lots
// within the limit number of its table VIII, steady production, and consent of whoever is responsible. These are for a
// person to judge: set NoReduced while one of them is lacking.
//
// Source: MIL-STD-105E 4.7 (public domain; numbers from memory, unverified). ISO 2859-1 differs, see ISO2859Differences.
type Switcher struct {
	// NoReduced keeps inspection from becoming reduced, and ends it before the next lot.
	NoReduced bool

	severity Severity
	lots     int  // on the present severity
	accepted int  // in a row
	recent   uint // the last lots on normal, newest in bit 0; 1 is a rejection
}

// Severity returns how the next lot is to be inspected.
func (s *Switcher) Severity() Severity {
	switch {
	case s.severity == "":
		return Normal
	case s.severity == Reduced && s.NoReduced:
		return Normal
	case s.severity == Normal && !s.NoReduced && s.accepted >= reduceAfter:
		return Reduced
	}
	return s.severity
}

// Record takes the outcome of the next lot and returns the severity for the one after it. On Discontinued nothing changes
// until Resume. It returns ErrOutcome for an outcome that does not exist.
func (s *Switcher) Record(o Outcome) (Severity, error) {
	if o != Accepted && o != Rejected && o != Between {
		return s.Severity(), fmt.Errorf("%q: %w", rune(o), ErrOutcome)
	}
	if now := s.Severity(); now != s.severity {
		s.enter(now)
	}
	s.lots++
	s.accepted++
	s.recent <<= 1
	if o == Rejected {
		s.accepted = 0
		s.recent |= 1
	}
	switch s.severity {
	case Normal:
		if s.rejectedRecently() >= tightenRejects {
			s.enter(Tightened)
		}
	case Tightened:
		if s.accepted >= relaxAfter {
			s.enter(Normal)
		} else if s.lots >= stopAfter {
			s.enter(Discontinued)
		}
	case Reduced:
		if o != Accepted {
			s.enter(Normal)
		}
	}
	return s.Severity(), nil
}

// Resume begins again on tightened inspection after Discontinued, once the supplier has mended the cause. On any other
// severity it does nothing.
func (s *Switcher) Resume() {
	if s.severity == Discontinued {
		s.enter(Tightened)
	}
}

func (s *Switcher) enter(severity Severity) {
	s.severity, s.lots, s.accepted, s.recent = severity, 0, 0, 0
}

func (s *Switcher) rejectedRecently() int {
	n := 0
	for i := range tightenWindow {
		n += int(s.recent >> i & 1)
	}
	return n
}

// Severities returns the severity that each lot of outcomes was inspected under, from normal inspection on, with every
// condition for reduced inspection met. Outcomes is a string of a (accepted), r (rejected) and g (between, reduced only);
// blanks are left out. It returns ErrOutcome with the position, counted from 1.
func Severities(outcomes string) ([]Severity, error) {
	var s Switcher
	used := []Severity{}
	for i, o := range outcomes {
		if o == ' ' {
			continue
		}
		if o > 'z' {
			return nil, fmt.Errorf("%q at %d: %w", o, i+1, ErrOutcome)
		}
		used = append(used, s.Severity())
		if _, err := s.Record(Outcome(o)); err != nil {
			return nil, fmt.Errorf("at %d: %w", i+1, err)
		}
	}
	return used, nil
}
