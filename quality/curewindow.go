package quality

import (
	"fmt"
	"math"
)

// A windowLine is a cure window ready for computing: temperatures in °C, inverse kelvin and logarithms of the least
// minutes, coldest first.
type windowLine struct{ c, x, y []float64 }

// line returns the window as a line of ln t against 1/T, empty for a window that Validate objects to.
func (w CureWindow) line() windowLine {
	var l windowLine
	if len(w.Validate()) > 0 {
		return l
	}
	for _, p := range w.sorted() {
		l.c = append(l.c, p.MetalC)
		l.x = append(l.x, 1/(p.MetalC+zeroCelsius))
		l.y = append(l.y, math.Log(p.MinMinutes))
	}
	return l
}

// logMinutes returns ln t at a temperature. Outside the outer points the line through the two nearest goes on; a single
// point holds everywhere. The result is bounded so that its exponential stays finite.
func (l windowLine) logMinutes(celsius float64) float64 {
	n := len(l.c)
	if n == 1 {
		return l.y[0]
	}
	i := 1
	for i < n-1 && celsius > l.c[i] {
		i++
	}
	x := 1 / (celsius + zeroCelsius)
	y := l.y[i-1] + (x-l.x[i-1])/(l.x[i]-l.x[i-1])*(l.y[i]-l.y[i-1])
	return min(max(y, -600), 600)
}

// certain returns the share of the cure per minute that is certain, given the rate on the prolonged line: none under the
// coldest point, and over the hottest no more than there.
func (l windowLine) certain(celsius, rate float64) float64 {
	switch last := len(l.c) - 1; {
	case celsius < l.c[0]:
		return 0
	case celsius > l.c[last]:
		return math.Exp(-l.y[last])
	}
	return rate
}

// within returns the mean of the certain rate over a straight line from a to b, whose rates are given, by the trapezoid
// rule. The line is cut where it crosses the coldest point, because the rate jumps there.
func (l windowLine) within(a, b, rateA, rateB float64) float64 {
	low, high := min(a, b), max(a, b)
	if high < l.c[0] {
		return 0
	}
	if low >= l.c[0] {
		return (rateA + rateB) / 2
	}
	return (high - l.c[0]) / (high - low) * (math.Exp(-l.y[0]) + max(rateA, rateB)) / 2
}

// Required returns the least minutes that the powder's points ask for at a metal temperature in °C, ln t interpolated in
// 1/T as At does. Outside the outer points it prolongs the line through the two nearest and says so: extrapolated minutes
// are an estimate to plan by and never decide a verdict.
//
// It returns ErrNoWindow for a window that Validate objects to, and outside a window of one point, which has no slope;
// ErrCureFigure for a temperature outside −50 to 500 °C.
func (w CureWindow) Required(metalC float64) (minutes float64, extrapolated bool, err error) {
	if isOpen(metalC) {
		return 0, false, fmt.Errorf("%w: %v °C", ErrCureFigure, metalC)
	}
	if limits, err := w.At(metalC); err == nil {
		return limits.Low.Value, false, nil
	}
	line := w.line()
	if len(line.c) < 2 {
		return 0, false, ErrNoWindow
	}
	return math.Exp(line.logMinutes(metalC)), true, nil
}
