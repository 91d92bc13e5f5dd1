package loggerfile

import (
	"fmt"
	"io"
	"math"
)

// A Segment is a stretch of a file in which a load was in the oven, in seconds from the first sample: from the last sample
// under the temperature that tells loads apart to the first one under it again.
type Segment struct{ FromS, ToS, PeakC float64 }

// A ChannelSurvey is what one channel of a file holds.
type ChannelSurvey struct {
	Column Column
	// LowC and HighC are over the readings; NaN without any.
	LowC, HighC float64
	Open        int
}

// A Survey is what a whole file holds.
type Survey struct {
	Summary
	Channels []ChannelSurvey
	// Segments are the loads in order; one segment of the whole file where it holds no more than one load.
	Segments []Segment
	// Warnings say in sentences what looks wrong although it can be read.
	Warnings []string
}

// shortest is how long a load is in the oven at least, in seconds: less is a door that was opened for a look.
const shortest = 120

// Look reads a whole file by a layout and says what it holds. Errors are those of Read.
func Look(r io.Reader, l Layout) (Survey, error) {
	var s Survey
	channels := l.Channels()
	watched := make([]bool, len(channels))
	any := false
	for i, c := range channels {
		s.Channels = append(s.Channels, ChannelSurvey{Column: c, LowC: math.NaN(), HighC: math.NaN()})
		watched[i] = c.Role == l.SplitBy
		any = any || watched[i]
	}
	for i := range watched {
		watched[i] = watched[i] || !any
	}
	d := doors{belowC: l.SplitC}
	var err error
	s.Summary, err = Read(r, l, func(seconds float64, celsius []float64) error {
		highest, known := math.Inf(-1), false
		for i, c := range celsius {
			ch := &s.Channels[i]
			if math.IsNaN(c) {
				ch.Open++
				continue
			}
			if !(c >= ch.LowC) {
				ch.LowC = c
			}
			if !(c <= ch.HighC) {
				ch.HighC = c
			}
			if watched[i] {
				highest, known = max(highest, c), true
			}
		}
		d.sample(seconds, highest, known)
		return nil
	})
	if err != nil {
		return s, err
	}
	s.Segments = d.segments(s.EndS)
	s.warn()
	return s, nil
}

// doors follows when loads go in and come out.
type doors struct {
	belowC float64
	out    float64 // time of the last sample under it
	any    bool    // whether there was one
	inside bool
	now    Segment
	found  []Segment
}

func (d *doors) sample(seconds, highest float64, known bool) {
	switch {
	case !known: // open thermocouples open no door
	case highest >= d.belowC && !d.inside:
		d.inside, d.now = true, Segment{FromS: seconds, PeakC: highest}
		if d.any {
			d.now.FromS = d.out
		}
	case highest >= d.belowC:
		d.now.PeakC = max(d.now.PeakC, highest)
	case d.inside:
		d.inside, d.now.ToS = false, seconds
		d.found = append(d.found, d.now)
		d.out, d.any = seconds, true
	default:
		d.out, d.any = seconds, true
	}
}

// segments returns the loads of a file that ends at a time.
func (d *doors) segments(end float64) []Segment {
	if d.inside {
		d.now.ToS = end
		d.found = append(d.found, d.now)
	}
	var long []Segment
	peak := math.NaN()
	for _, s := range d.found {
		if s.ToS-s.FromS >= shortest {
			long = append(long, s)
		}
		if !(s.PeakC <= peak) {
			peak = s.PeakC
		}
	}
	if len(long) < 2 {
		return []Segment{{FromS: 0, ToS: end, PeakC: peak}}
	}
	return long
}

// warn points out what a person should look at.
func (s *Survey) warn() {
	for _, c := range s.Channels {
		switch {
		case math.IsNaN(c.HighC):
			s.Warnings = append(s.Warnings, fmt.Sprintf("%s has no reading in the whole file: its thermocouple is open.", c.Column.Name))
		case c.Column.Unit == "C" && c.HighC > 300:
			s.Warnings = append(s.Warnings, fmt.Sprintf("%s reaches %.0f °C, more than a curing oven has. Is the file in °F?", c.Column.Name, c.HighC))
		case c.Column.Unit == "F" && c.HighC < 120 && c.Column.Role == Metal:
			s.Warnings = append(s.Warnings, fmt.Sprintf("%s reaches %.0f °C only. Is the file in °C?", c.Column.Name, c.HighC))
		}
	}
}
