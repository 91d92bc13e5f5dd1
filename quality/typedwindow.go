package quality

import "fmt"

// A cure window that is typed for one run in place of the powder's: the readings and the rating that hold it. Its points are
// told apart by their Spot.
const (
	WindowMetal   = "window_metal"
	WindowLeast   = "window_least"
	WindowLongest = "window_longest"
	// RatingWindowSource says where the typed window comes from, in the words of the person.
	RatingWindowSource = "window_source"
)

// TypedWindow returns the cure window that a check holds, and whether it holds one. A point without a longest time is open
// upwards. Whether it makes sense is for Validate to say.
func TypedWindow(check Check) (window CureWindow, typed bool) {
	points := map[int]*CurePoint{}
	var order []int
	for _, r := range check.Readings {
		if r.Characteristic != WindowMetal && r.Characteristic != WindowLeast && r.Characteristic != WindowLongest || !r.measured() {
			continue
		}
		if points[r.Spot] == nil {
			points[r.Spot] = &CurePoint{}
			order = append(order, r.Spot)
		}
		switch r.Characteristic {
		case WindowMetal:
			if c, err := r.In(Celsius); err == nil {
				points[r.Spot].MetalC = c
			}
		case WindowLeast:
			points[r.Spot].MinMinutes = r.Value
		case WindowLongest:
			points[r.Spot].MaxMinutes = r.Value
		}
	}
	for _, spot := range order {
		window.Points = append(window.Points, *points[spot])
	}
	return window, len(order) > 0
}

// Words prints a window, point by point.
func (w CureWindow) Words() string {
	words := ""
	for i, p := range w.sorted() {
		if i > 0 {
			words += "; "
		}
		words += Number(p.MinMinutes, 1)
		if p.MaxMinutes > 0 {
			words += " to " + Number(p.MaxMinutes, 1)
		}
		words += fmt.Sprintf(" min at %s °C", Number(p.MetalC, 1))
	}
	return words
}
