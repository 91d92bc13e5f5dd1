package calc

import (
	"context"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"coatbook/quality/process"
	"coatbook/web/ui"
)

const (
	pictureWidth, panelHeight                     = 900.0, 320.0
	marginLeft, marginRight, marginTop, marginBot = 64.0, 110.0, 24.0, 44.0
)

// A canvas collects the elements of a picture with two axes.
type canvas struct {
	b                    strings.Builder
	lowX, highX, lowY, y float64 // the range shown; y is its upper end
}

func newCanvas(lowX, highX, lowY, highY float64) *canvas {
	c := &canvas{}
	c.lowX, c.highX = widen(lowX, highX)
	c.lowY, c.y = widen(lowY, highY)
	return c
}

// widen makes room around a range that has none.
func widen(low, high float64) (float64, float64) {
	if high > low && high-low > 1e-12*max(math.Abs(low), math.Abs(high)) {
		return low, high
	}
	room := max(math.Abs(low)/20, 1)
	return low - room, high + room
}

func (c *canvas) px(x float64) float64 {
	return marginLeft + (x-c.lowX)/(c.highX-c.lowX)*(pictureWidth-marginLeft-marginRight)
}

func (c *canvas) py(y float64) float64 {
	return panelHeight - marginBot - (y-c.lowY)/(c.y-c.lowY)*(panelHeight-marginTop-marginBot)
}

func (c *canvas) add(format string, args ...any) { fmt.Fprintf(&c.b, format+"\n", args...) }

func (c *canvas) text(x, y float64, anchor, words string) {
	c.add(`<text x="%s" y="%s" text-anchor="%s" fill="#17222b">%s</text>`, at(x), at(y), anchor, escape(words))
}

// upright draws a line at a value of x, with its words on top.
func (c *canvas) upright(x float64, colour, words string) {
	c.add(`<path d="M%s %sV%s" stroke="%s" stroke-width="1.6"/>`, at(c.px(x)), at(marginTop), at(panelHeight-marginBot), colour)
	c.text(c.px(x), marginTop-8, "middle", words)
}

// axes draws marks at round values and the name of the x axis.
func (c *canvas) axes(name string) {
	for _, x := range marks(c.lowX, c.highX) {
		c.add(`<path d="M%s %sv5" stroke="#4b5760"/>`, at(c.px(x)), at(panelHeight-marginBot))
		c.text(c.px(x), panelHeight-marginBot+18, "middle", rounded(x))
	}
	for _, y := range marks(c.lowY, c.y) {
		c.add(`<path d="M%s %sH%s" stroke="#e4dfd2"/>`, at(marginLeft), at(c.py(y)), at(pictureWidth-marginRight))
		c.text(marginLeft-8, c.py(y)+4, "end", rounded(y))
	}
	c.add(`<path d="M%s %sH%s" stroke="#4b5760"/>`, at(marginLeft), at(panelHeight-marginBot), at(pictureWidth-marginRight))
	c.text((marginLeft+pictureWidth-marginRight)/2, panelHeight-8, "middle", name)
}

func (c *canvas) write(w io.Writer, title string) error {
	_, err := fmt.Fprintf(w, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %s %s" width="%[1]s" height="%[2]s" font-family="sans-serif" font-size="12" role="img">
<title>%s</title>
<rect width="100%%" height="100%%" fill="#ffffff"/>
%s</svg>
`, at(pictureWidth), at(panelHeight), escape(title), c.b.String())
	return err
}

// marks are steps of 1, 2 or 5 times a power of ten inside a range, about seven of them.
func marks(low, high float64) []float64 {
	power := math.Pow(10, math.Floor(math.Log10((high-low)/7)))
	step := power
	for _, factor := range []float64{2, 5, 10} {
		if (high-low)/step > 8 {
			step = factor * power
		}
	}
	var out []float64
	for i := math.Ceil(low/step - 1e-9); i <= high/step+1e-9 && len(out) < 20; i++ {
		out = append(out, i*step)
	}
	return out
}

func at(v float64) string { return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64) }

func escape(words string) string {
	var b strings.Builder
	_ = xml.EscapeText(&b, []byte(words)) // a Builder never fails
	return b.String()
}

// histogram draws the values, the limits and, for the normal distribution, its curve.
func histogram(values []float64, r process.Result) func(io.Writer) error {
	return func(w io.Writer) error {
		bins := min(max(int(math.Ceil(math.Sqrt(float64(len(values))))), 5), 60)
		width := (r.Max - r.Min) / float64(bins)
		counts := make([]int, bins)
		tallest := 0
		for _, v := range values {
			i := min(int((v-r.Min)/width), bins-1)
			counts[i]++
			tallest = max(tallest, counts[i])
		}
		low, high := r.Min, r.Max
		for _, limit := range []*float64{r.Spec.Lower, r.Spec.Upper, r.Spec.Target} {
			if limit != nil {
				low, high = min(low, *limit), max(high, *limit)
			}
		}
		curve := func(x float64) float64 {
			z := (x - r.Mean) / *r.SDOverall
			return float64(len(values)) * width * math.Exp(-z*z/2) / (*r.SDOverall * math.Sqrt(2*math.Pi))
		}
		top := float64(tallest)
		if r.Fit == nil {
			top = max(top, curve(r.Mean))
		}
		c := newCanvas(low-(high-low)/20, high+(high-low)/20, 0, top)
		c.axes("value")
		for i, n := range counts {
			x := r.Min + float64(i)*width
			c.add(`<rect x="%s" y="%s" width="%s" height="%s" fill="#8f8a7d" stroke="#ffffff"/>`, at(c.px(x)), at(c.py(float64(n))),
				at(c.px(x+width)-c.px(x)), at(c.py(0)-c.py(float64(n))))
		}
		if r.Fit == nil {
			var path strings.Builder
			for i := range 101 {
				x := c.lowX + (c.highX-c.lowX)*float64(i)/100
				path.WriteString(at(c.px(x)) + "," + at(c.py(curve(x))) + " ")
			}
			c.add(`<polyline points="%s" fill="none" stroke="#17222b"/>`, strings.TrimSpace(path.String()))
		}
		for _, line := range []struct {
			value *float64
			words string
		}{{r.Spec.Lower, "lower "}, {r.Spec.Upper, "upper "}, {r.Spec.Target, "target "}} {
			if line.value != nil {
				c.upright(*line.value, "#a83a00", line.words+rounded(*line.value))
			}
		}
		return c.write(w, fmt.Sprintf("Histogram of %d values", len(values)))
	}
}

// profilePicture keeps the rows of an oven profile to draw them.
type profilePicture struct {
	above   float64
	names   []string
	seconds []float64
	celsius [][]float64 // by channel
}

func (p *profilePicture) add(seconds float64, celsius []float64) bool {
	if len(p.seconds) >= mostDrawn {
		return false
	}
	p.seconds = append(p.seconds, seconds)
	for i, v := range celsius {
		p.celsius[i] = append(p.celsius[i], v)
	}
	return true
}

// The channels differ by dash as well as by colour.
var (
	channelColours = []string{"#17222b", "#a83a00", "#755000", "#1d5a8a", "#3f6b2a", "#7a2f6d"}
	channelDashes  = []string{"", "8 3", "3 3", "10 3 2 3", "1 3", "14 4"}
)

func (p *profilePicture) draw(w io.Writer) error {
	low, high := p.above, p.above
	for _, channel := range p.celsius {
		for _, v := range channel {
			if v >= -50 && v <= 500 {
				low, high = min(low, v), max(high, v)
			}
		}
	}
	c := newCanvas(p.seconds[0], p.seconds[len(p.seconds)-1], low, high)
	c.axes("time, s")
	c.add(`<path d="M%s %sH%s" stroke="#a83a00" stroke-dasharray="6 4"/>`, at(marginLeft), at(c.py(p.above)), at(pictureWidth-marginRight))
	c.text(marginLeft+6, c.py(p.above)-5, "start", rounded(p.above)+" °C")
	for i, channel := range p.celsius {
		var path strings.Builder
		pen := "M"
		for k, v := range channel {
			if !(v >= -50 && v <= 500) {
				pen = "M" // an open thermocouple is a gap in the line
				continue
			}
			path.WriteString(pen + at(c.px(p.seconds[k])) + " " + at(c.py(v)))
			pen = "L"
		}
		colour, dash := channelColours[i%len(channelColours)], channelDashes[i%len(channelDashes)]
		c.add(`<path d="%s" fill="none" stroke="%s" stroke-dasharray="%s"/>`, path.String(), colour, dash)
		y := marginTop + 18*float64(i) + 8
		c.add(`<path d="M%s %sh22" stroke="%s" stroke-dasharray="%s"/>`, at(pictureWidth-marginRight+8), at(y-4), colour, dash)
		c.text(pictureWidth-marginRight+34, y, "start", clip(p.names[i]))
	}
	return c.write(w, "Oven profile, °C")
}

type namedPanel struct {
	name  string
	panel process.Panel
}

// chartPicture stacks the panels of a control chart, drawn as on the book's own pages.
func chartPicture(panels []namedPanel) func(io.Writer) error {
	return func(w io.Writer) error {
		var b strings.Builder
		for i, p := range panels {
			if len(p.panel.Points) > mostDrawn {
				return refuse("--svg: a picture shows at most %d points", mostDrawn)
			}
			if err := drawPanel(&b, p, panelHeight*float64(i)); err != nil {
				return err
			}
		}
		height := at(panelHeight * float64(len(panels)))
		_, err := fmt.Fprintf(w, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %s %s" width="%[1]s" height="%[2]s" font-family="sans-serif">
<rect width="100%%" height="100%%" fill="#ffffff"/>
%s</svg>
`, at(pictureWidth), height, b.String())
		return err
	}
}

func drawPanel(b *strings.Builder, p namedPanel, y float64) error {
	data := ui.ChartData{Name: clip(p.name), Axis: clip(p.name), Width: pictureWidth, Height: panelHeight - 24}
	place := map[int]int{}
	for i, v := range p.panel.Points {
		place[p.panel.At[i]] = i
		data.Points = append(data.Points, ui.ChartPoint{
			Value: v, Lower: p.panel.Lower[i], Centre: p.panel.Centers[i], Upper: p.panel.Upper[i], Mark: ui.Disc,
			When: strconv.Itoa(p.panel.At[i] + 1), Title: fmt.Sprintf("Point %d: %s", p.panel.At[i]+1, rounded(v)),
		})
	}
	for _, s := range p.panel.Signals {
		first, last := place[s.Points[0]], place[s.Points[len(s.Points)-1]]
		data.Runs = append(data.Runs, ui.ChartRun{From: first, To: last, Words: s.Rule.String()})
		data.Points[last].Mark = ui.Triangle
	}
	var page strings.Builder
	if err := ui.ControlChart(ui.NewPlot(data)).Render(context.Background(), &page); err != nil {
		return err
	}
	_, drawing, _ := strings.Cut(page.String(), "<svg ")
	drawing, _, _ = strings.Cut(drawing, "</svg>")
	// The page's points are links to records; a picture in a file has none.
	drawing = strings.NewReplacer(`<a href="" `, `<g `, `</a>`, `</g>`).Replace(drawing)
	fmt.Fprintf(b, `<text x="46" y="%s" font-size="13" fill="#17222b">%s</text>`+"\n"+`<svg y="%s" %s</svg>`+"\n", at(y+16), escape(data.Name), at(y+24), drawing)
	return nil
}

// cusumPicture draws both sums against the decision interval.
func cusumPicture(name string, sums process.Cusum) func(io.Writer) error {
	panel := func(words string, points []float64, rule process.Rule) namedPanel {
		p := process.Panel{Points: points}
		for i := range points {
			p.At = append(p.At, i)
			p.Lower, p.Centers, p.Upper = append(p.Lower, 0), append(p.Centers, 0), append(p.Upper, sums.H)
		}
		for _, s := range sums.Signals {
			if s.Rule == rule {
				p.Signals = append(p.Signals, s)
			}
		}
		return namedPanel{words + " of " + name, p}
	}
	return chartPicture([]namedPanel{panel("upper sum", sums.High, process.CusumHigh), panel("lower sum", sums.Low, process.CusumLow)})
}
