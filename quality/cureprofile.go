package quality

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// Errors of an oven profile.
var (
	// ErrProfileSettings is returned for settings that no profile can be measured by.
	ErrProfileSettings = errors.New("quality: the settings of the oven profile are not usable")
	// ErrTimeOrder is returned for a row whose time is not after the row before.
	ErrTimeOrder = errors.New("quality: the time of a row is not after the row before")
	// ErrChannels is returned for a row that has not one temperature for each channel.
	ErrChannels = errors.New("quality: a row has not one temperature for each channel")
	// ErrTooFewRows is returned for a profile of fewer than two rows: it has no duration.
	ErrTooFewRows = errors.New("quality: an oven profile needs at least two rows")
)

// ProfileSettings say what is measured on an oven profile.
type ProfileSettings struct {
	// AboveC is the metal temperature in °C at or over which time counts.
	AboveC float64
	// ReferenceC and ActivationKJMol are for the equivalent time: minutes at ReferenceC (°C) that cure as much as the whole
	// profile, for an activation energy in kJ/mol. An energy of 0 leaves it out.
	ReferenceC, ActivationKJMol float64
	// Window holds the powder's own points of temperature and time, for the dose; without points it is left out.
	Window CureWindow
	// MaxGapS is the longest interval between two rows in seconds that is bridged by a straight line. 0 chooses it: five
	// times the usual interval (the median of the first 256), but at least 60 s.
	MaxGapS float64
}

// What a metal probe in a curing oven can read, in °C. Loggers write a value far outside when a thermocouple is open.
// Common practice, no published source.
const (
	coldestC = -50
	hottestC = 500
)

// validate returns ErrProfileSettings with a sentence about the first thing that is wrong.
func (s ProfileSettings) validate() error {
	switch {
	case !(s.AboveC >= coldestC && s.AboveC <= hottestC):
		return fmt.Errorf("%w: time counts from %v °C; give −50 to 500 °C", ErrProfileSettings, s.AboveC)
	case s.ActivationKJMol != 0 && !(s.ActivationKJMol > 0 && s.ActivationKJMol <= maxActivation):
		return fmt.Errorf("%w: the activation energy is %v kJ/mol; give a figure over 0 and up to 1000", ErrProfileSettings, s.ActivationKJMol)
	case s.ActivationKJMol != 0 && !(s.ReferenceC >= 50 && s.ReferenceC <= 300):
		return fmt.Errorf("%w: the reference is %v °C; give 50 to 300 °C", ErrProfileSettings, s.ReferenceC)
	case !(s.MaxGapS >= 0) || math.IsInf(s.MaxGapS, 0):
		return fmt.Errorf("%w: the longest interval is %v s; give 0 or more", ErrProfileSettings, s.MaxGapS)
	case len(s.Window.Points) > 0 && len(s.Window.Validate()) > 0:
		return fmt.Errorf("%w: %s", ErrProfileSettings, s.Window.Validate()[0])
	}
	return nil
}

// usualRows is how many rows a Profiler keeps back to find the usual interval.
const usualRows = 257

// A Profiler measures an oven profile row by row, as a logger or a file gives it. It keeps a few numbers for each channel
// and, at the start, up to 257 rows, so that a profile of any length takes the same memory.
//
// A Profiler must not be used from two goroutines at once.
type Profiler struct {
	settings ProfileSettings
	maxGap   float64 // 0 as long as rows are kept back to choose it
	channels []profileChannel
	cure     cureRates

	rows     int // measured
	start    float64
	last     float64
	longest  float64
	gaps     stretches
	soakS    compensated
	soakMax  float64
	soaked   bool
	waitingT []float64 // rows kept back
	waiting  []float64
}

// NewProfiler returns a Profiler for the metal's own channels, in the order in which Add will give their temperatures. An
// air probe is no channel here: the part is cured by the metal's temperature. It returns ErrProfileSettings for settings
// that cannot be used, for no channel at all and for two of one name.
func NewProfiler(s ProfileSettings, channels ...string) (*Profiler, error) {
	if err := s.validate(); err != nil {
		return nil, err
	}
	if len(channels) == 0 {
		return nil, fmt.Errorf("%w: name at least one channel", ErrProfileSettings)
	}
	p := &Profiler{settings: s, maxGap: s.MaxGapS, cure: newCureRates(s)}
	for i, name := range channels {
		if slices.Contains(channels[:i], name) {
			return nil, fmt.Errorf("%w: channel “%s” stands there twice", ErrProfileSettings, clip(name))
		}
		p.channels = append(p.channels, profileChannel{name: name})
	}
	return p, nil
}

// Add takes one row: the time in seconds and one metal temperature in °C for each channel. Intervals may be of any length
// and need not be equal. NaN, and anything outside −50 to 500 °C, is an open thermocouple. The slice is not kept.
//
// It returns ErrTimeOrder for a time that is not a number after the row before, and ErrChannels for a row of another
// width. The row is then left out and the Profiler stays as it was.
func (p *Profiler) Add(seconds float64, celsius []float64) error {
	if len(celsius) != len(p.channels) {
		return fmt.Errorf("%w: %d temperatures, %s", ErrChannels, len(celsius), counted(len(p.channels), "channel"))
	}
	before, any := p.last, p.rows > 0
	if n := len(p.waitingT); n > 0 {
		before, any = p.waitingT[n-1], true
	}
	if !(math.Abs(seconds) <= 1e12) || any && !(seconds > before) {
		return fmt.Errorf("%w: %v s", ErrTimeOrder, seconds)
	}
	if p.maxGap > 0 {
		p.row(seconds, celsius)
		return nil
	}
	p.waitingT = append(p.waitingT, seconds)
	p.waiting = append(p.waiting, celsius...)
	if len(p.waitingT) == usualRows {
		p.settle()
	}
	return nil
}

// settle chooses the longest interval that is bridged, from the rows kept back, and measures them.
func (p *Profiler) settle() {
	intervals := make([]float64, 0, usualRows)
	for i := 1; i < len(p.waitingT); i++ {
		intervals = append(intervals, p.waitingT[i]-p.waitingT[i-1])
	}
	p.maxGap = 60
	if len(intervals) > 0 {
		slices.Sort(intervals)
		p.maxGap = max(60, 5*intervals[len(intervals)/2])
	}
	n := len(p.channels)
	for i, t := range p.waitingT {
		p.row(t, p.waiting[i*n:(i+1)*n])
	}
	p.waitingT, p.waiting = nil, nil
}

// row measures one row against the row before.
func (p *Profiler) row(t float64, celsius []float64) {
	gap := false
	if p.rows == 0 {
		p.start = t
	} else {
		p.longest = max(p.longest, t-p.last)
		if gap = t-p.last > p.maxGap; gap {
			p.gaps.open(p.last)
			p.gaps.extend(t)
		} else {
			p.soak(t-p.last, celsius)
		}
	}
	for i := range p.channels {
		p.channels[i].step(p, t, celsius[i], gap)
	}
	p.rows++
	p.last = t
}

// soak weighs the stretch of an interval in which every channel is at or over the temperature from which time counts. The
// difference between highest and lowest of straight lines is largest at an end of the stretch.
func (p *Profiler) soak(dt float64, celsius []float64) {
	from, to, above := 0.0, 1.0, p.settings.AboveC
	for i, b := range celsius {
		a := p.channels[i].celsius
		switch {
		case !p.channels[i].whole || isOpen(b), a < above && b < above:
			return
		case a < above:
			from = max(from, (above-a)/(b-a))
		case b < above:
			to = min(to, (a-above)/(a-b))
		}
	}
	if from > to {
		return
	}
	p.soaked = true
	p.soakS.add(dt * (to - from))
	p.soakMax = max(p.soakMax, p.spreadAt(from, celsius), p.spreadAt(to, celsius))
}

// spreadAt returns the difference between highest and lowest at a share of the interval.
func (p *Profiler) spreadAt(share float64, celsius []float64) float64 {
	low, high := math.Inf(1), math.Inf(-1)
	for i, b := range celsius {
		// In this form the ends of the interval return the readings themselves.
		v := (1-share)*p.channels[i].celsius + share*b
		low, high = min(low, v), max(high, v)
	}
	return high - low
}

func isOpen(celsius float64) bool { return !(celsius >= coldestC && celsius <= hottestC) }

// A profileChannel is what is kept of one thermocouple.
type profileChannel struct {
	name  string
	good  int
	opens int
	open  stretches

	whole   bool // the row before is good, so that a line leads from it to the next
	at      float64
	celsius float64
	rate    cureRate

	peak, peakAt  float64
	ramp          float64
	ramped        bool
	reachedAt     float64
	reached       bool
	starts        bool // at or over the temperature from which time counts when the record starts
	inRun         bool
	runStart      float64
	above         compensated
	longest       float64
	equivalent    compensated // seconds at the reference, trapezoid rule
	linear        compensated // seconds at the reference, exact for straight lines
	dose, doseOut compensated // seconds over the window's seconds, within its points and with its ends prolonged
	overWindow    float64
}

// step measures one reading.
func (ch *profileChannel) step(p *Profiler, t, celsius float64, gap bool) {
	if gap || isOpen(celsius) {
		ch.endRun(ch.at)
		ch.whole = false
	}
	if isOpen(celsius) {
		if ch.opens++; !ch.open.current {
			ch.open.open(t)
		}
		ch.open.extend(t)
		return
	}
	ch.open.current = false
	above, rate := p.settings.AboveC, p.cure.at(celsius)
	if ch.whole {
		ch.segment(p, celsius, t, rate)
	} else if celsius >= above {
		ch.startRun(t)
		ch.starts = ch.starts || ch.good == 0
	}
	if ch.good == 0 || celsius > ch.peak {
		ch.peak, ch.peakAt = celsius, t
	}
	ch.good++
	ch.whole, ch.at, ch.celsius, ch.rate = true, t, celsius, rate
}

// segment measures the straight line from the reading before to this one.
func (ch *profileChannel) segment(p *Profiler, b, t float64, rate cureRate) {
	a, dt, above := ch.celsius, t-ch.at, p.settings.AboveC
	if rise := (b - a) / dt * 60; !ch.ramped || rise > ch.ramp {
		ch.ramp, ch.ramped = rise, true
	}
	switch {
	case a < above && b >= above:
		ch.startRun(ch.at + dt*((above-a)/(b-a)))
	case a >= above && b < above:
		ch.endRun(ch.at + dt*((a-above)/(a-b)))
	}
	p.cure.add(ch, dt, b, rate)
}

func (ch *profileChannel) startRun(t float64) {
	ch.inRun, ch.runStart = true, t
	if !ch.reached {
		ch.reached, ch.reachedAt = true, t
	}
}

func (ch *profileChannel) endRun(t float64) {
	if !ch.inRun {
		return
	}
	ch.inRun = false
	ch.above.add(t - ch.runStart)
	ch.longest = max(ch.longest, t-ch.runStart)
}

// A Stretch is a stretch of a profile's time, in seconds as the rows give it.
type Stretch struct{ FromS, ToS float64 }

// stretches counts stretches of time in which something is missing and keeps the first few: a thermocouple that flickers
// has thousands.
type stretches struct {
	n       int
	first   []Stretch
	current bool
}

const maxStretches = 5

func (s *stretches) open(t float64) {
	s.n++
	s.current = true
	if len(s.first) < maxStretches {
		s.first = append(s.first, Stretch{t, t})
	}
}

func (s *stretches) extend(t float64) {
	if s.n <= maxStretches {
		s.first[s.n-1].ToS = t
	}
}
