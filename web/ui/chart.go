package ui

import (
	"slices"
	"strings"
)

// A PointMark is the shape of a plotted point. The shape tells what the colour tells.
type PointMark string

// The marks: an ordinary point, a point that a run rule flags, a part that failed its spec.
const (
	Disc     PointMark = "disc"
	Triangle PointMark = "triangle"
	Square   PointMark = "square"
)

// A ChartPoint is one plotted value with its own lines, the words that a pointer or a reader gets and the record that
// it leads to. When is the label it may lend to the axis.
type ChartPoint struct {
	Value, Lower, Centre, Upper float64
	Title, Href, When           string
	Mark                        PointMark
}

// A ChartRun is a stretch of points, counted from 0, that a rule flagged, and the rule in words.
type ChartRun struct {
	From, To int
	Words    string
}

// A ChartLimit is a limit of the specification.
type ChartLimit struct {
	Value float64
	Words string
}

// ChartData is what a control chart shows. Points are in order of time; the axis is order, not time, so that a pause
// does not push the parts together.
type ChartData struct {
	Name   string // for those who do not see it
	Axis   string // what is plotted, with its unit
	Points []ChartPoint
	Runs   []ChartRun
	Limits []ChartLimit
	// Width and Height are the size in user units, about pixels on a desk screen.
	Width, Height float64
}

// Plot is a chart with every coordinate worked out.
type Plot struct {
	Name, Axis, Box                              string
	Width, Height, Left, Right, Top, Bottom, Mid string
	Deep, WordX                                  string // height of the plotting area; where words in it begin
	Grid                                         []plotLine
	Lines                                        []plotPath
	Edge                                         []plotLabel
	Limits                                       []plotLine
	Bands                                        []plotBand
	Trace                                        string
	Points                                       []plotPoint
	Whens                                        []plotLabel
	Beyond                                       []plotLabel
}

type plotLine struct{ Y, TextY, Text string }

type plotPath struct{ Class, D, Dash string }

type plotLabel struct{ X, Y, Text, Anchor string }

type plotBand struct{ X, Width, TextX, TextY, Words, Anchor string }

type plotPoint struct {
	X, Y, Path, Title, Href string
	HitX, HitWidth          string
	Mark                    PointMark
}

const (
	plotLeft, plotRight  = 46.0, 48.0
	plotTop, plotBottom  = 20.0, 26.0
	letter               = 6.4 // mean width of a letter at the chart's type size
	labelRoom, whenEvery = 12.0, 118.0
	beyondRow            = 14.0 // for each limit that lies outside the picture, outside the plotting area too
)

// frame maps points and values to the picture.
type frame struct {
	left, right, top, bottom, low, high, step float64
}

func (f frame) x(i int) float64 { return f.left + f.step*(float64(i)+0.5) }

func (f frame) y(v float64) float64 {
	return f.bottom - (v-f.low)/(f.high-f.low)*(f.bottom-f.top)
}

// NewPlot works out the picture. Data without points gives an empty frame.
func NewPlot(d ChartData) Plot {
	low, high := reach(d)
	marks, decimals := ticks(low, high, int(max(2, (d.Height-plotTop-plotBottom)/42)))
	f := frame{left: plotLeft, right: d.Width - plotRight, top: plotTop, bottom: d.Height - plotBottom, low: marks[0], high: marks[len(marks)-1]}
	for _, l := range d.Limits {
		switch {
		case l.Value > f.high:
			f.top += beyondRow
		case l.Value < f.low:
			f.bottom -= beyondRow
		}
	}
	f.step = (f.right - f.left) / float64(max(len(d.Points), 1))
	p := Plot{
		Name: d.Name, Axis: d.Axis, Box: "0 0 " + at(d.Width) + " " + at(d.Height), Width: at(d.Width), Height: at(d.Height),
		Left: at(f.left), Right: at(f.right), Top: at(f.top), Bottom: at(f.bottom), Mid: at(f.left - 8), Deep: at(f.bottom - f.top), WordX: at(f.left + 6),
	}
	for _, m := range marks {
		p.Grid = append(p.Grid, plotLine{Y: at(f.y(m)), TextY: at(f.y(m) + 4), Text: fixed(m, decimals)})
	}
	p.limits(d, f)
	if len(d.Points) == 0 {
		return p
	}
	p.lines(d, f, decimals+1)
	p.bands(d, f)
	p.points(d, f)
	p.whens(d, f)
	return p
}

// reach is the range that has to be seen: all points and their lines, and the spec limits that are not so far away that
// they would press everything else flat.
func reach(d ChartData) (low, high float64) {
	for i, pt := range d.Points {
		a, b := min(pt.Value, pt.Lower), max(pt.Value, pt.Upper)
		if i == 0 {
			low, high = a, b
		}
		low, high = min(low, a), max(high, b)
	}
	if len(d.Points) == 0 && len(d.Limits) > 0 {
		low, high = d.Limits[0].Value, d.Limits[0].Value
	}
	span := high - low
	from, to := low, high
	for _, l := range d.Limits {
		if len(d.Points) == 0 || l.Value >= from-span && l.Value <= to+span {
			low, high = min(low, l.Value), max(high, l.Value)
		}
	}
	return low, high
}

// limits draws the spec limits. Where one lies outside the picture, words outside the plotting area say so: above what stands
// over it, or below the times.
func (p *Plot) limits(d ChartData, f frame) {
	above, below := 0.0, 0.0
	for _, l := range d.Limits {
		switch {
		case l.Value > f.high:
			p.Beyond = append(p.Beyond, plotLabel{X: at(f.left), Y: at(12 + beyondRow*above), Text: l.Words + ", above this picture"})
			above++
		case l.Value < f.low:
			p.Beyond = append(p.Beyond, plotLabel{X: at(f.left), Y: at(f.bottom + 18 + beyondRow*(below+1)), Text: l.Words + ", below this picture"})
			below++
		default:
			y := f.y(l.Value)
			textY := y - 5
			if textY < f.top+8 {
				textY = y + 14
			}
			p.Limits = append(p.Limits, plotLine{Y: at(y), TextY: at(textY), Text: l.Words})
		}
	}
}

// lines draws the centre and the control limits as steps, since they move with the number of readings, and writes their
// last values at the edge.
func (p *Plot) lines(d ChartData, f frame, decimals int) {
	pick := []struct {
		class, dash string
		of          func(ChartPoint) float64
	}{
		{"centre", "", func(c ChartPoint) float64 { return c.Centre }},
		{"control", "6 4", func(c ChartPoint) float64 { return c.Upper }},
		{"control", "6 4", func(c ChartPoint) float64 { return c.Lower }},
	}
	last := d.Points[len(d.Points)-1]
	var taken []float64
	for _, line := range pick {
		p.Lines = append(p.Lines, plotPath{Class: line.class, Dash: line.dash, D: steps(d.Points, f, line.of)})
		y := f.y(line.of(last))
		if slices.ContainsFunc(taken, func(t float64) bool { return t-y < labelRoom && y-t < labelRoom }) {
			continue
		}
		taken = append(taken, y)
		p.Edge = append(p.Edge, plotLabel{X: at(f.right + 5), Y: at(y + 4), Text: fixed(line.of(last), decimals)})
	}
}

func steps(points []ChartPoint, f frame, of func(ChartPoint) float64) string {
	var b strings.Builder
	b.WriteString("M" + at(f.left) + " " + at(f.y(of(points[0]))))
	for i := 1; i < len(points); i++ {
		if of(points[i]) != of(points[i-1]) {
			b.WriteString("H" + at(f.left+f.step*float64(i)) + "V" + at(f.y(of(points[i]))))
		}
	}
	b.WriteString("H" + at(f.right))
	return b.String()
}

// bands shades the flagged runs. Words stand above their run where there is room; the page lists all of them in text.
func (p *Plot) bands(d ChartData, f frame) {
	free := f.left - 8
	for _, run := range MergeRuns(d.Runs) {
		x, end := f.left+f.step*float64(run.From)-2, f.left+f.step*float64(run.To+1)+2
		band := plotBand{X: at(x), Width: at(end - x), TextY: at(f.top - 6), Anchor: "start"}
		width := letter * float64(len([]rune(run.Words)))
		textX := x
		if textX+width > f.right+plotRight-4 {
			textX, band.Anchor = f.right+plotRight-4, "end"
		}
		start := textX
		if band.Anchor == "end" {
			start = textX - width
		}
		if start > free+8 {
			band.TextX, band.Words = at(textX), run.Words
			free = start + width
		}
		p.Bands = append(p.Bands, band)
	}
}

// MergeRuns joins runs of the same rule that overlap or touch: a pattern that goes on is one story.
func MergeRuns(runs []ChartRun) []ChartRun {
	runs = slices.Clone(runs)
	slices.SortStableFunc(runs, func(a, b ChartRun) int { return a.From - b.From })
	var out []ChartRun
	for _, r := range runs {
		if n := len(out); n > 0 && r.From <= out[n-1].To+1 && r.Words == out[n-1].Words {
			out[n-1].To = max(out[n-1].To, r.To)
			continue
		}
		out = append(out, r)
	}
	return out
}

func (p *Plot) points(d ChartData, f frame) {
	size := 3.2
	if f.step < 5 {
		size = max(1.6, f.step*0.62)
	}
	var trace strings.Builder
	p.Points = make([]plotPoint, len(d.Points))
	for i, pt := range d.Points {
		x, y := f.x(i), f.y(pt.Value)
		if i > 0 {
			trace.WriteByte(' ')
		}
		trace.WriteString(at(x) + "," + at(y))
		p.Points[i] = plotPoint{
			X: at(x), Y: at(y), Title: pt.Title, Href: pt.Href, Mark: pt.Mark, Path: outline(pt.Mark, x, y, size),
			HitX: at(x - f.step/2), HitWidth: at(f.step),
		}
	}
	p.Trace = trace.String()
}

// outline draws the mark: a disc as two arcs, a triangle, a crossed square whose cross is cut out.
func outline(m PointMark, x, y, r float64) string {
	switch m {
	case Triangle:
		r = 1.7 * max(r, 2.4)
		return "M" + at(x) + " " + at(y-r) + "l" + at(r) + " " + at(1.8*r) + "h" + at(-2*r) + "z"
	case Square:
		r = 1.5 * max(r, 2.8)
		return "M" + at(x-r) + " " + at(y-r) + "h" + at(2*r) + "v" + at(2*r) + "h" + at(-2*r) + "zm" +
			at(r*.5) + " " + at(r*.5) + "l" + at(r) + " " + at(r) + "m0 " + at(-r) + "l" + at(-r) + " " + at(r)
	}
	return "M" + at(x-r) + " " + at(y) + "a" + at(r) + " " + at(r) + " 0 1 0 " + at(2*r) + " 0a" + at(r) + " " + at(r) + " 0 1 0 " + at(-2*r) + " 0z"
}

// whens labels the axis with the times of some points, evenly chosen, none twice in a row.
func (p *Plot) whens(d ChartData, f frame) {
	n := len(d.Points)
	count := min(n, max(2, int((f.right-f.left)/whenEvery)))
	seen := ""
	for k := range count {
		i := 0
		if count > 1 {
			i = k * (n - 1) / (count - 1)
		}
		if d.Points[i].When == "" || d.Points[i].When == seen {
			continue
		}
		seen = d.Points[i].When
		anchor, x := "middle", f.x(i)
		if k == 0 && n > 1 {
			anchor, x = "start", f.left
		}
		if k == count-1 && n > 1 {
			anchor, x = "end", f.right
		}
		p.Whens = append(p.Whens, plotLabel{X: at(x), Y: at(f.bottom + 18), Text: seen, Anchor: anchor})
	}
}

// pointTab keeps the keyboard's way short: it stops at the points that were flagged; the list under the chart has all.
func pointTab(m PointMark) string {
	if m == Disc {
		return "-1"
	}
	return "0"
}

func markFill(m PointMark) string {
	switch m {
	case Triangle:
		return "#755000"
	case Square:
		return "#a83a00"
	}
	return "#17222b"
}

func markStroke(m PointMark) string {
	if m == Square {
		return "#ffffff"
	}
	return "none"
}
