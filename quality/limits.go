package quality

import (
	"errors"
	"fmt"
	"math"
)

// ErrNotNumber is returned when what is to be compared with a limit is not a finite number.
var ErrNotNumber = errors.New("quality: not a finite number")

// A Limit is one bound as the spec writes it: a value in a unit, and optionally the spec's own figure in the other unit
// (60 µm / 2.4 mil). The pair is not a conversion; each figure rules for readings taken in its unit.
type Limit struct {
	Value  float64      `json:"value"`
	Unit   Unit         `json:"unit"`
	Paired *PairedLimit `json:"paired,omitempty"`
}

// A PairedLimit is the same bound in the spec's other unit.
type PairedLimit struct {
	Value float64 `json:"value"`
	Unit  Unit    `json:"unit"`
}

// In returns the bound for readings taken in unit: the spec's own figure where it has one, else the exact conversion. It
// returns ErrUnits when the units measure different things.
func (l Limit) In(unit Unit) (float64, error) {
	if l.Unit != unit && l.Paired != nil && l.Paired.Unit == unit {
		return l.Paired.Value, nil
	}
	return Convert(l.Value, l.Unit, unit)
}

// String prints the bound as the spec writes it.
func (l Limit) String() string {
	s := withUnit(Number(l.Value, 3), l.Unit)
	if l.Paired != nil {
		s += " / " + withUnit(Number(l.Paired.Value, 3), l.Paired.Unit)
	}
	return s
}

// Limits is a range with either end open. A nil bound does not limit.
type Limits struct {
	Low  *Limit `json:"low,omitempty"`
	High *Limit `json:"high,omitempty"`
}

// Between makes closed limits in one unit, for specs and tests.
func Between(low, high float64, unit Unit) Limits {
	return Limits{Low: &Limit{Value: low, Unit: unit}, High: &Limit{Value: high, Unit: unit}}
}

// AtLeast makes a lower limit only.
func AtLeast(low float64, unit Unit) Limits { return Limits{Low: &Limit{Value: low, Unit: unit}} }

// AtMost makes an upper limit only.
func AtMost(high float64, unit Unit) Limits { return Limits{High: &Limit{Value: high, Unit: unit}} }

// None reports whether neither end is set.
func (l Limits) None() bool { return l.Low == nil && l.High == nil }

// Judge compares a value in unit with the limits. A value equal to a limit is within it; this is the only place in the
// book where a value meets a limit, besides the derived limits of the film rules, which call it too. It returns ErrUnits
// when the limits are written for another quantity, and ErrNotNumber for a value that is not finite.
func (l Limits) Judge(value float64, unit Unit) (Flag, error) {
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return Unflagged, ErrNotNumber
	}
	if l.Low != nil {
		low, err := l.Low.In(unit)
		if err != nil {
			return Unflagged, err
		}
		if below(value, low) {
			return Low, nil
		}
	}
	if l.High != nil {
		high, err := l.High.In(unit)
		if err != nil {
			return Unflagged, err
		}
		if below(high, value) {
			return High, nil
		}
	}
	if l.None() {
		return Unflagged, nil
	}
	return In, nil
}

// below reports a < b, treating values that differ only by the noise of binary arithmetic (a mean of 60.0, 60.1 and 59.9
// is 60) as equal. The noise allowed is a few units in the fifteenth digit, far below any digit a gauge shows.
func below(a, b float64) bool {
	return a < b && math.Abs(a-b) > 4e-15*math.Max(math.Abs(a), math.Abs(b))*8
}

// String prints the limits in words: "60 to 120 µm", "at least 60 µm", "at most 30 µS/cm".
func (l Limits) String() string {
	switch {
	case l.Low != nil && l.High != nil && l.Low.Unit == l.High.Unit && l.Low.Paired == nil && l.High.Paired == nil:
		return Number(l.Low.Value, 3) + " to " + withUnit(Number(l.High.Value, 3), l.High.Unit)
	case l.Low != nil && l.High != nil:
		return fmt.Sprintf("%s to %s", l.Low, l.High)
	case l.Low != nil:
		return "at least " + l.Low.String()
	case l.High != nil:
		return "at most " + l.High.String()
	}
	return "no limit"
}
