package ui

import (
	"bytes"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

func TestTicksAreStepsOf125WithTheDecimalsOfTheStep(t *testing.T) {
	for _, tt := range []struct {
		low, high float64
		want      string
	}{
		{0, 100, "0 20 40 60 80 100"},
		{61.8, 97.2, "60 70 80 90 100"},
		{59.98, 60.03, "59.98 59.99 60.00 60.01 60.02 60.03"},
		{-3, 3, "-4 -2 0 2 4"},
		{0.0012, 0.0049, "0.001 0.002 0.003 0.004 0.005"},
		{60, 60, "56 58 60 62 64"},
		{0, 0, "-1.0 -0.5 0.0 0.5 1.0"},
	} {
		marks, decimals := ticks(tt.low, tt.high, 5)
		var got []string
		for _, m := range marks {
			got = append(got, fixed(m, decimals))
		}
		if strings.Join(got, " ") != tt.want {
			t.Errorf("%g to %g: got %s, want %s", tt.low, tt.high, strings.Join(got, " "), tt.want)
		}
	}
}

func TestTicksCoverAnyRangeWithFewMarks(t *testing.T) {
	for _, low := range []float64{-1e6, -1, 0, 1e-9, 60, 1e12} {
		for _, span := range []float64{0, 1e-6, 0.3, 7, 1e5} {
			marks, _ := ticks(low, low+span, 5)
			if len(marks) < 2 || len(marks) > 12 {
				t.Errorf("%g + %g: %d marks", low, span, len(marks))
				continue
			}
			room := 1e-9 * math.Max(1, math.Abs(low))
			if marks[0] > low+room || marks[len(marks)-1] < low+span-room {
				t.Errorf("%g + %g: marks from %g to %g do not cover it", low, span, marks[0], marks[len(marks)-1])
			}
		}
	}
}

func chartOf(n int, runs ...ChartRun) ChartData {
	d := ChartData{Name: "Film", Axis: "µm", Width: 680, Height: 250, Runs: runs, Limits: []ChartLimit{{60, "minimum 60 µm"}, {400, "maximum 400 µm"}}}
	for i := range n {
		d.Points = append(d.Points, ChartPoint{Value: 80 + float64(i%7), Lower: 70, Centre: 83, Upper: 96, Title: fmt.Sprintf("part %d", i), Href: fmt.Sprintf("/records/%d", i),
			When: fmt.Sprintf("%02d:00", i%24), Mark: []PointMark{Disc, Triangle, Square}[i%3]})
	}
	return d
}

func drawn(t *testing.T, d ChartData) string {
	t.Helper()
	var b bytes.Buffer
	if err := ControlChart(NewPlot(d)).Render(t.Context(), &b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestEveryPointLeadsToItsRecordInWords(t *testing.T) {
	svg := drawn(t, chartOf(30))
	for i := range 30 {
		if !strings.Contains(svg, fmt.Sprintf(`href="/records/%d"`, i)) || !strings.Contains(svg, fmt.Sprintf("<title>part %d</title>", i)) {
			t.Errorf("point %d has no link or no words", i)
		}
	}
	if strings.Contains(svg, "style=") || strings.Contains(svg, "<script") {
		t.Error("the chart has a style attribute or a script")
	}
}

func TestFlaggedPointsDifferInShapeNotOnlyInColour(t *testing.T) {
	p := NewPlot(chartOf(3))
	paths := map[string]bool{}
	for _, pt := range p.Points {
		paths[regexp.MustCompile(`[0-9.-]+`).ReplaceAllString(pt.Path, "")] = true
	}
	if len(paths) != 3 {
		t.Errorf("disc, triangle and square have %d outlines, want 3", len(paths))
	}
}

func TestFarLimitIsToldInsteadOfPressingTheChartFlat(t *testing.T) {
	svg := drawn(t, chartOf(10))
	if !strings.Contains(svg, "maximum 400 µm, above this picture") {
		t.Error("the limit outside the picture is not told")
	}
	if !strings.Contains(svg, ">minimum 60 µm<") {
		t.Error("the near limit is not drawn")
	}
}

func TestWordsOfLimitsOutsideThePictureStandWhereNoPointCanBe(t *testing.T) {
	d := chartOf(10)
	d.Limits = append(d.Limits, ChartLimit{Value: 500, Words: "maximum 500 µm"}, ChartLimit{Value: -900, Words: "minimum -900 µm"})
	p := NewPlot(d)
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	seen := map[string]bool{}
	for _, l := range p.Beyond {
		// The letters are 12 units high; a run's words stand on the 6 units above the plotting area.
		y := number(l.Y)
		if y > number(p.Top)-18 && y < number(p.Bottom)+18+12 || y < 10 || y > d.Height || seen[l.Y] {
			t.Errorf("%q at %s: the plotting area goes from %s to %s, the picture to %g", l.Text, l.Y, p.Top, p.Bottom, d.Height)
		}
		seen[l.Y] = true
	}
	if len(p.Beyond) != 3 {
		t.Errorf("%d limits are told outside the picture, want 3", len(p.Beyond))
	}
}

func TestRunsOfOneRuleThatOverlapAreOneStory(t *testing.T) {
	p := NewPlot(chartOf(40, ChartRun{3, 11, "9 in a row"}, ChartRun{4, 12, "9 in a row"}, ChartRun{20, 20, "1 beyond"}))
	if len(p.Bands) != 2 || p.Bands[0].Words != "9 in a row" {
		t.Errorf("got %+v, want two bands", p.Bands)
	}
}

func TestOddDataStillGivesAPicture(t *testing.T) {
	for name, d := range map[string]ChartData{"none": chartOf(0), "one": chartOf(1), "many": chartOf(3000), "equal": {Width: 680, Height: 130,
		Points: []ChartPoint{{Value: 5, Lower: 5, Centre: 5, Upper: 5}, {Value: 5, Lower: 5, Centre: 5, Upper: 5}}}} {
		if svg := drawn(t, d); strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") {
			t.Errorf("%s: a coordinate is no number", name)
		}
	}
}

func TestIntervalsShareTheirScale(t *testing.T) {
	for lowest, want := range map[float64]float64{0.97: 0.9, 0.9: 0.9, 0.518: 0.5, 0.04: 0} {
		if got := IntervalFrom(lowest); math.Abs(got-want) > 1e-9 {
			t.Errorf("lowest bound %g: scale from %g, want %g", lowest, got, want)
		}
	}
	s := NewInterval(0.75, 0.6, 0.9, 0.5, "60 to 90 %")
	if s.Low != "20" || s.Width != "60" || s.At != "50" {
		t.Errorf("got %+v, want the interval from 20 over 60 with its mark at 50", s)
	}
}

func TestBarsAreParetoWithSharesSoFar(t *testing.T) {
	bars := NewBars([]Count{{"Thin film", "/a", 3}, {"Inclusion", "/b", 1}})
	if bars[0].Width != "100" || bars[1].Width != "33.3" || bars[0].Share != "75 %" || bars[1].Share != "100 %" {
		t.Errorf("got %+v", bars)
	}
}

func TestHangtagCodeHasItsQuietZone(t *testing.T) {
	q, err := NewQR("PART.TH-24117-03")
	if err != nil {
		t.Fatal(err)
	}
	for _, at := range regexp.MustCompile(`M(\d+) (\d+)h`).FindAllStringSubmatch(q.Path, -1) {
		for _, c := range at[1:] {
			var n, side int
			fmt.Sscan(c, &n)
			fmt.Sscan(q.Side, &side)
			if n < 4 || n >= side-4 {
				t.Fatalf("a module at %s,%s lies in the quiet zone of 4", at[1], at[2])
			}
		}
	}
	if _, err := NewQR(strings.Repeat("x", 5000)); err == nil {
		t.Error("5000 letters fit on a hangtag")
	}
}

func BenchmarkControlChart500(b *testing.B) {
	d := chartOf(500)
	var out bytes.Buffer
	for b.Loop() {
		out.Reset()
		if err := ControlChart(NewPlot(d)).Render(b.Context(), &out); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(out.Len()), "bytes")
}
