package ui

import (
	"math"
	"strings"
)

// A ProfileLine is one thermocouple of an oven profile: its temperatures at the times of ProfileData, NaN where it was open.
type ProfileLine struct {
	Place  string
	Air    bool
	Values []float64
	// Says is what stands beside its letter in the legend: peak, time, whether it is complete.
	Says string
}

// ProfileData is an oven profile to be drawn. Minutes are the times of the samples.
type ProfileData struct {
	Name    string // for those who do not see it
	Unit    string // °C or °F
	Minutes []float64
	Lines   []ProfileLine
	// Above is the temperature from which time counts, Low and High the outer points of the powder's window; NaN for none.
	Above, Low, High float64
}

// ProfilePlot is an oven profile with every coordinate worked out.
type ProfilePlot struct {
	Name, Box, Unit                string
	Left, Right, Top, Bottom, Mid  string
	Grid, Levels                   []plotLine
	Whens                          []plotLabel
	Lines                          []profilePath
	Legend                         []ProfileLegend
	BandY, BandDeep, BandX, BandTo string // the window between its outer points; empty without one
}

type profilePath struct{ Class, D, Dash, Letter, X, Y string }

// A ProfileLegend is one line of the legend: the letter at the line's end, and what it is.
type ProfileLegend struct{ Letter, Place, Says string }

const (
	profileWidth, profileHeight = 760.0, 320.0
	// profilePoints is how many points a line has at most: more than a screen can show.
	profilePoints = 700
)

// profileDashes tell the lines apart without colour; the letter at the end says which is which.
var profileDashes = []string{"", "7 3", "2 3", "10 3 2 3", "14 4", "5 2 1 2"}

// NewProfilePlot works out the picture of a profile.
func NewProfilePlot(d ProfileData) ProfilePlot {
	low, high := math.Inf(1), math.Inf(-1)
	for _, l := range d.Lines {
		for _, v := range l.Values {
			if !math.IsNaN(v) {
				low, high = min(low, v), max(high, v)
			}
		}
	}
	for _, v := range []float64{d.Above, d.Low, d.High} {
		if !math.IsNaN(v) {
			low, high = min(low, v), max(high, v)
		}
	}
	if low > high {
		low, high = 0, 1
	}
	marks, decimals := ticks(low, high, 6)
	f := frame{left: 46, right: profileWidth - 34, top: 14, bottom: profileHeight - 40, low: marks[0], high: marks[len(marks)-1]}
	end := 1.0
	if n := len(d.Minutes); n > 0 && d.Minutes[n-1] > 0 {
		end = d.Minutes[n-1]
	}
	across := func(minute float64) float64 { return f.left + (f.right-f.left)*minute/end }
	p := ProfilePlot{Name: d.Name, Unit: d.Unit, Box: "0 0 " + at(profileWidth) + " " + at(profileHeight), Left: at(f.left), Right: at(f.right), Top: at(f.top), Bottom: at(f.bottom), Mid: at(f.left - 6)}
	for _, m := range marks {
		p.Grid = append(p.Grid, plotLine{Y: at(f.y(m)), TextY: at(f.y(m) + 4), Text: fixed(m, decimals)})
	}
	times, places := ticks(0, end, 8)
	for _, t := range times {
		if t <= end*1.0001 {
			p.Whens = append(p.Whens, plotLabel{X: at(across(t)), Y: at(f.bottom + 16), Text: fixed(t, places), Anchor: "middle"})
		}
	}
	p.Whens = append(p.Whens, plotLabel{X: at(f.right), Y: at(f.bottom + 33), Text: "minutes", Anchor: "end"})
	if !math.IsNaN(d.Low) && !math.IsNaN(d.High) {
		p.BandX, p.BandTo, p.BandY, p.BandDeep = at(f.left), at(f.right-f.left), at(f.y(d.High)), at(max(f.y(d.Low)-f.y(d.High), 1))
	}
	if !math.IsNaN(d.Above) {
		p.Levels = append(p.Levels, plotLine{Y: at(f.y(d.Above)), TextY: at(f.y(d.Above) + 14), Text: "time counts from " + fixed(d.Above, 0) + " " + d.Unit})
	}
	var ends [][2]float64
	for i, l := range d.Lines {
		letter := string(rune('A' + i%26))
		path, x, y := profileLine(d.Minutes, l.Values, across, f)
		ends = append(ends, [2]float64{x, y})
		class := "metal"
		if l.Air {
			class = "air"
		}
		p.Lines = append(p.Lines, profilePath{Class: class, D: path, Dash: profileDashes[i%len(profileDashes)], Letter: letter})
		p.Legend = append(p.Legend, ProfileLegend{Letter: letter, Place: l.Place, Says: l.Says})
	}
	for i, e := range letters(ends, f.top) {
		p.Lines[i].X, p.Lines[i].Y = at(e[0]+5), at(e[1]+4)
	}
	return p
}

// profileLine draws one line, broken where the thermocouple was open, and returns where it ends. Of many samples it keeps the
// lowest and the highest of each stretch, so that no peak is lost.
func profileLine(minutes, values []float64, across func(float64) float64, f frame) (path string, x, y float64) {
	var b strings.Builder
	x, y = f.left, f.bottom
	pen := false
	point := func(i int) {
		if math.IsNaN(values[i]) {
			pen = false
			return
		}
		x, y = across(minutes[i]), f.y(values[i])
		if pen {
			b.WriteString("L")
		} else {
			b.WriteString("M")
		}
		pen = true
		b.WriteString(at(x) + " " + at(y))
	}
	step := max(1, 2*len(values)/profilePoints)
	for from := 0; from < len(values); from += step {
		to := min(from+step, len(values))
		low, high, open := from, from, -1
		for i := from; i < to; i++ {
			switch {
			case math.IsNaN(values[i]):
				open = i
			case math.IsNaN(values[low]) || values[i] < values[low]:
				low = i
			}
			if !math.IsNaN(values[i]) && (math.IsNaN(values[high]) || values[i] > values[high]) {
				high = i
			}
		}
		point(min(low, high))
		if open >= 0 && step > 1 {
			pen = false
		}
		if low != high {
			point(max(low, high))
		}
	}
	return b.String(), x, y
}

// letters places each line's letter at its end, moved up where another stands there already.
func letters(ends [][2]float64, top float64) [][2]float64 {
	out := make([][2]float64, len(ends))
	for i, e := range ends {
		for moved := true; moved; {
			moved = false
			for _, o := range out[:i] {
				if math.Abs(o[0]-e[0]) < 10 && math.Abs(o[1]-e[1]) < 12 {
					e[1] = o[1] - 12
					moved = true
				}
			}
			if e[1] < top {
				e[0], e[1] = e[0]+11, ends[i][1]
			}
		}
		out[i] = e
	}
	return out
}
