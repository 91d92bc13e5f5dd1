package ui

import (
	"math"
	"strings"
	"testing"
)

func TestProfileChartKeepsPeaksBreaksAtOpenThermocouplesAndSaysWhatItShows(t *testing.T) {
	d := ProfileData{Name: "Oven profile of load L-1", Unit: "°C", Above: 190, Low: 180, High: 210}
	line := ProfileLine{Place: "heaviest section", Says: "peak 200 °C"}
	for i := range 20000 {
		d.Minutes = append(d.Minutes, float64(i)/60)
		v := 195.0
		if i == 7001 {
			v = 208.4 // one sample of many
		}
		line.Values = append(line.Values, v)
	}
	d.Lines = []ProfileLine{line, {Place: "oven air", Air: true, Values: line.Values, Says: "open from 1 to 2 min"}}
	open := append([]float64{}, line.Values[:400]...)
	for i := 100; i < 200; i++ {
		open[i] = math.NaN()
	}
	p := NewProfilePlot(d)
	if n := strings.Count(p.Lines[0].D, "L"); n > 2*profilePoints || n < 100 {
		t.Errorf("%d points for 20000 samples", n)
	}
	// By hand: the axis runs from 180 to 210, so 208.4 lies (210 − 208.4)/30 of the height under the top.
	if want := at(14 + (210-208.4)/30*(280-14)); !strings.Contains(p.Lines[0].D, " "+want) {
		t.Errorf("the peak at %s is lost", want)
	}
	if p.Lines[0].Dash == p.Lines[1].Dash || p.Lines[0].Letter == p.Lines[1].Letter || p.Lines[0].Y == p.Lines[1].Y {
		t.Errorf("two lines look alike: %+v %+v", p.Lines[0].Letter, p.Lines[1].Letter)
	}
	d.Minutes, d.Lines = d.Minutes[:400], []ProfileLine{{Values: open}}
	if n := strings.Count(NewProfilePlot(d).Lines[0].D, "M"); n != 2 {
		t.Errorf("a line with one gap has %d pieces, want 2", n)
	}
	var b strings.Builder
	if err := ProfileChart(p).Render(t.Context(), &b); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`role="img"`, `aria-label="Oven profile of load L-1"`, "time counts from 190 °C", "heaviest section", "open from 1 to 2 min", `class="c-window"`} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("the chart has no %q", want)
		}
	}
	empty := NewProfilePlot(ProfileData{Above: math.NaN(), Low: math.NaN(), High: math.NaN()})
	if len(empty.Grid) < 2 || empty.BandY != "" {
		t.Errorf("without samples: %+v", empty)
	}
}
