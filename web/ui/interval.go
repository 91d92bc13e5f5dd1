package ui

// IntervalStrip is an estimate with its interval on a scale of 0 to 100 %, every coordinate worked out.
type IntervalStrip struct {
	Low, Width, At  string
	ScaleLow, Words string
	Known           bool
}

// NewInterval places a share and its interval on a strip that begins at from; all are shares between 0 and 1. Strips that
// stand side by side share one scale, so that the eye may compare them. Words say the interval to those who do not see
// the strip.
func NewInterval(share, low, high, from float64, words string) IntervalStrip {
	place := func(v float64) float64 { return min(100, max(0, (v-from)/(1-from)*100)) }
	a, b := place(low), place(high)
	return IntervalStrip{
		Low: at(a), Width: at(max(b-a, 0.8)), At: at(min(place(share), 99)), ScaleLow: fixed(from*100, 0), Words: words, Known: true,
	}
}

// IntervalFrom is a common beginning for the scale of several strips: the tens below the lowest bound, at most 90 %.
func IntervalFrom(lowest float64) float64 {
	for from := 0.9; from > 0; from -= 0.1 {
		if lowest >= from {
			return float64(int(from*10+0.5)) / 10
		}
	}
	return 0
}
