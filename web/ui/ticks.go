package ui

import (
	"math"
	"strconv"
)

// ticks returns the marks of an axis that cover low to high: steps of 1, 2 or 5 times a power of ten, about want of
// them, and the decimals that the step needs. An empty range is widened, so that one value, or equal ones, still have a
// picture.
func ticks(low, high float64, want int) (marks []float64, decimals int) {
	low, high = widen(low, high)
	step := niceStep((high - low) / float64(max(want, 1)))
	decimals = max(0, -int(math.Floor(math.Log10(step)+1e-9)))
	first, last := math.Floor(low/step+1e-9), math.Ceil(high/step-1e-9)
	for i := first; i <= last; i++ {
		marks = append(marks, i*step)
	}
	return marks, decimals
}

// widen makes room around a range that has none; a twentieth of the value, or 1 about zero.
func widen(low, high float64) (float64, float64) {
	if high > low && high-low > 1e-12*math.Max(math.Abs(low), math.Abs(high)) {
		return low, high
	}
	room := math.Max(math.Abs(low)/20, 1)
	return low - room, high + room
}

// niceStep is the smallest of 1, 2 and 5 times a power of ten that is not below rough.
func niceStep(rough float64) float64 {
	power := math.Pow(10, math.Floor(math.Log10(rough)))
	for _, factor := range []float64{1, 2, 5} {
		if factor*power >= rough*(1-1e-9) {
			return factor * power
		}
	}
	return 10 * power
}

// fixed prints a number with so many decimals, and zero without a sign.
func fixed(value float64, decimals int) string {
	s := strconv.FormatFloat(value, 'f', decimals, 64)
	if len(s) > 1 && s[0] == '-' {
		if v, err := strconv.ParseFloat(s, 64); err == nil && v == 0 {
			return s[1:]
		}
	}
	return s
}

// at prints a coordinate: one decimal is finer than any screen or printer needs and keeps the picture small.
func at(v float64) string { return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64) }
