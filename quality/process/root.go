package process

import "math"

// root returns where f, rising or falling and with different signs at low and high, is 0: regula falsi that halves the
// value of an end which stays (the Illinois rule), with a bisection wherever that is slow.
func root(f func(float64) float64, low, high float64) float64 {
	atLow, atHigh := f(low), f(high)
	for range 300 {
		if atLow == 0 {
			return low
		}
		if atHigh == 0 {
			return high
		}
		width := high - low
		if !(width > 4e-16*math.Abs(high)) || width < 1e-300 {
			break
		}
		next := high - atHigh*(width/(atHigh-atLow))
		if !(next > low && next < high) {
			next = low + width/2
			if !(next > low && next < high) {
				break
			}
		}
		at := f(next)
		if (at < 0) == (atHigh < 0) {
			high, atHigh, atLow = next, at, atLow/2
		} else {
			low, atLow, atHigh = next, at, atHigh/2
		}
		if next = low + (high-low)/2; high-low > width/2 && next > low && next < high {
			if at := f(next); (at < 0) == (atHigh < 0) {
				high, atHigh = next, at
			} else {
				low, atLow = next, at
			}
		}
	}
	if math.Abs(atLow) < math.Abs(atHigh) {
		return low
	}
	return high
}
