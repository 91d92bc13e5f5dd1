package ui

import (
	"fmt"
	"math"
	"strconv"
)

// A LimitStrip is the small picture of limits and readings beside a row: the range within limits, the floor under it, and a
// tick for each reading. From and To are the values at its ends, for the script that adds ticks while typing.
type LimitStrip struct {
	From, To          string
	Low, High, Floor  string // x coordinates, empty when there is no such limit
	Within, WithinEnd string
	Width             string
	Ticks             []StripTick
	Words             string
}

// A StripTick is one reading on the strip.
type StripTick struct {
	X   string
	Out bool
}

const (
	stripLeft  = 3.0
	stripRight = 137.0
)

// NewLimitStrip lays a strip out for limits in one unit; nil means no such limit. Ticks outside the strip stand at its ends.
func NewLimitStrip(low, high, floor *float64, values []float64, words string) LimitStrip {
	from, to := stripRange(low, high, floor)
	x := func(v float64) float64 {
		return math.Min(stripRight, math.Max(stripLeft, stripLeft+(v-from)/(to-from)*(stripRight-stripLeft)))
	}
	at := func(v *float64) string {
		if v == nil {
			return ""
		}
		return fmt.Sprintf("%.1f", x(*v))
	}
	s := LimitStrip{From: short(from), To: short(to), Low: at(low), High: at(high), Floor: at(floor), Words: words}
	left, right := stripLeft, stripRight
	if low != nil {
		left = x(*low)
	}
	if high != nil {
		right = x(*high)
	}
	s.Within, s.Width = fmt.Sprintf("%.1f", left), fmt.Sprintf("%.1f", math.Max(0, right-left))
	for _, v := range values {
		out := floor != nil && v < *floor || floor == nil && low != nil && v < *low || high != nil && v > *high
		s.Ticks = append(s.Ticks, StripTick{X: fmt.Sprintf("%.1f", x(v)), Out: out})
	}
	return s
}

// stripRange leaves room beyond the outermost limits so that a reading outside them still shows where it is.
func stripRange(low, high, floor *float64) (from, to float64) {
	from, to = math.Inf(1), math.Inf(-1)
	for _, limit := range []*float64{low, high, floor} {
		if limit != nil {
			from, to = math.Min(from, *limit), math.Max(to, *limit)
		}
	}
	if math.IsInf(from, 1) {
		return 0, 1
	}
	margin := (to - from) * 0.15
	if high == nil {
		to = from + 2*math.Max(to-from, math.Abs(from)*0.5)
	}
	if margin == 0 {
		margin = math.Max(math.Abs(from)*0.15, 1)
	}
	return from - margin, to + margin
}

func short(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }
