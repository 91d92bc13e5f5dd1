package quality

import (
	"fmt"
	"math"
	"slices"
)

// A CureProfile is what a Profiler measured. Times are in seconds, temperatures in °C, rates in K/min.
type CureProfile struct {
	Settings         ProfileSettings
	Rows             int
	StartS, EndS     float64
	LongestIntervalS float64
	// MaxGapS is the longest interval that was bridged: as set, or as chosen from the usual interval.
	MaxGapS float64
	// Gaps are the first five intervals that were longer, and GapCount how many there are. Nothing is counted across a gap.
	Gaps     []Stretch
	GapCount int
	Channels []ChannelProfile
	// SoakS is how long every channel was at or over AboveC at once, and SoakSpreadC the largest difference between
	// channels at one moment of that time, in K. SoakSpreadC is nil with fewer than two channels and where the channels
	// were never there together.
	SoakS       float64
	SoakSpreadC *float64
	// PeakSpreadC is the difference between the highest and the lowest of the channels' peaks, which need not fall in one
	// moment; nil with fewer than two channels that have readings.
	PeakSpreadC *float64
	// Notes say in sentences what is not defined and why, and what has to be known about the record.
	Notes []string
}

// A ChannelProfile is what one thermocouple on the metal said. Figures count only what was recorded: nothing across a gap
// or an open thermocouple. Incomplete is empty, or says in sentences what is missing; the figures are then the least that
// is certain.
type ChannelProfile struct {
	Name string
	// Readings is how many good readings there are; without any, all figures are 0 or nil.
	Readings int
	// PeakC is the highest reading, PeakAtS when it was first read.
	PeakC, PeakAtS float64
	// SecondsAbove is the time at or over AboveC, LongestRunS its longest unbroken stretch. The temperature between two
	// readings is a straight line and its crossing of AboveC is interpolated.
	SecondsAbove, LongestRunS float64
	// ReachedS is when the channel was first at or over AboveC, nil if it never was.
	ReachedS *float64
	// RampKPerMin is the steepest rise (or slowest fall, where there is no rise) between two readings that follow each
	// other; nil without such a pair.
	RampKPerMin *float64
	// EquivalentMinutes is the time at ReferenceC that cures as much:
	//
	//	(1/60) ∫ exp( −(Ea/R)·(1/T − 1/T_ref) ) dt
	//
	// by the trapezoid rule on the rate at the readings. EquivalentMinutesLinear is the same integral, exact for a
	// temperature that runs straight between readings; the two part when readings are far apart. Both are nil when no
	// activation energy is set.
	EquivalentMinutes, EquivalentMinutesLinear *float64
	// Dose is the share of the cure that the powder's own points ask for, ∫ dt / t(T), 1 being just enough; t(T) as in
	// CureWindow.At, nothing counted under the coldest point and no more than its rate over the hottest. It is nil when the
	// settings hold no points. DoseExtrapolated prolongs the points at both ends; it is an estimate and never decides.
	Dose, DoseExtrapolated *float64
	// SecondsOverWindow is the time over the window's hottest point.
	SecondsOverWindow float64
	// StartsAbove and EndsAbove say that the record starts or ends at or over AboveC: the true time is then longer.
	StartsAbove, EndsAbove bool
	// Open are the first five stretches in which the thermocouple was open, OpenReadings how many readings that were.
	Open         []Stretch
	OpenReadings int
	Incomplete   []string
}

// Complete reports whether the channel has no gap and no open reading.
func (c ChannelProfile) Complete() bool { return len(c.Incomplete) == 0 }

// Complete reports whether every channel is complete. A record that is not never passes; see JudgeCureProfile.
func (p CureProfile) Complete() bool {
	return !slices.ContainsFunc(p.Channels, func(c ChannelProfile) bool { return !c.Complete() })
}

// Profile returns what was measured so far. Rows may be added afterwards. It returns ErrTooFewRows for fewer than two rows,
// and ErrCureFigure when a figure is too large to be one, which only settings far from any powder can bring about.
func (p *Profiler) Profile() (CureProfile, error) {
	if p.maxGap == 0 && len(p.waitingT) > 1 {
		p.settle()
	}
	if p.rows < 2 {
		return CureProfile{}, ErrTooFewRows
	}
	out := CureProfile{Settings: p.settings, Rows: p.rows, StartS: p.start, EndS: p.last, LongestIntervalS: p.longest, MaxGapS: p.maxGap,
		Gaps: slices.Clone(p.gaps.first), GapCount: p.gaps.n, SoakS: p.soakS.total()}
	low, high, n := math.Inf(1), math.Inf(-1), 0
	for _, ch := range p.channels {
		c, err := ch.profile(p)
		if err != nil {
			return CureProfile{}, err
		}
		out.Channels = append(out.Channels, c)
		if c.Readings > 0 {
			low, high, n = min(low, c.PeakC), max(high, c.PeakC), n+1
		}
	}
	if n >= 2 {
		out.PeakSpreadC = figure(high - low)
	}
	if p.soaked && len(p.channels) >= 2 {
		out.SoakSpreadC = figure(p.soakMax)
	}
	out.Notes = out.notes()
	return out, nil
}

// profile closes a copy of the channel at the end of the record.
func (ch profileChannel) profile(p *Profiler) (ChannelProfile, error) {
	ends := ch.inRun && ch.whole && ch.at == p.last
	ch.endRun(ch.at)
	c := ChannelProfile{Name: ch.name, Readings: ch.good, PeakC: ch.peak, PeakAtS: ch.peakAt, SecondsAbove: ch.above.total(), LongestRunS: ch.longest,
		SecondsOverWindow: ch.overWindow, StartsAbove: ch.starts, EndsAbove: ends, Open: slices.Clone(ch.open.first), OpenReadings: ch.opens}
	if ch.reached {
		c.ReachedS = figure(ch.reachedAt)
	}
	if ch.ramped {
		c.RampKPerMin = figure(ch.ramp)
	}
	if p.cure.energy > 0 {
		c.EquivalentMinutes, c.EquivalentMinutesLinear = figure(ch.equivalent.total()/60), figure(ch.linear.total()/60)
	}
	if points := len(p.cure.window.c); points > 0 {
		c.Dose = figure(ch.dose.total() / 60)
		if points > 1 {
			c.DoseExtrapolated = figure(ch.doseOut.total() / 60)
		}
	}
	for _, f := range []*float64{c.RampKPerMin, c.EquivalentMinutes, c.EquivalentMinutesLinear, c.Dose, c.DoseExtrapolated} {
		if f != nil && (math.IsNaN(*f) || math.IsInf(*f, 0)) {
			return c, fmt.Errorf("%w: channel %s", ErrCureFigure, clip(ch.name))
		}
	}
	c.Incomplete = ch.missing(p)
	return c, nil
}

func figure(v float64) *float64 { return &v }

// missing says what a channel lacks.
func (ch profileChannel) missing(p *Profiler) []string {
	var out []string
	switch {
	case ch.good == 0:
		return []string{"The thermocouple is open in the whole record."}
	case ch.opens > 0:
		out = append(out, fmt.Sprintf("The thermocouple is open for %s, %s.", counted(ch.opens, "reading"), ch.open.when()))
	}
	if p.gaps.n > 0 {
		out = append(out, fmt.Sprintf("Nothing is recorded %s; intervals over %s s are not bridged.", p.gaps.when(), Number(p.maxGap, 1)))
	}
	return out
}

// when prints the stretches in words: "from 600 to 640 s and 3 more times".
func (s stretches) when() string {
	first := s.first[0]
	text := fmt.Sprintf("from %s to %s s", Number(first.FromS, 1), Number(first.ToS, 1))
	if first.FromS == first.ToS {
		text = fmt.Sprintf("at %s s", Number(first.FromS, 1))
	}
	switch {
	case s.n == 2:
		text += " and once more"
	case s.n > 2:
		text += fmt.Sprintf(" and %d more times", s.n-1)
	}
	return text
}

func (p CureProfile) notes() []string {
	var notes []string
	say := func(format string, args ...any) { notes = append(notes, fmt.Sprintf(format, args...)) }
	above := Number(p.Settings.AboveC, 1)
	for _, c := range p.Channels {
		for _, missing := range c.Incomplete {
			say("%s: %s The record is incomplete.", c.Name, missing)
		}
		if c.StartsAbove || c.EndsAbove {
			say("%s: the record does not show the metal both heating and cooling through %s °C, so the time there is at least the figure.", c.Name, above)
		}
	}
	if p.SoakSpreadC == nil {
		if len(p.Channels) < 2 {
			say("The spread at soak needs at least two channels.")
		} else {
			say("The spread at soak is not defined: the channels were never at or over %s °C together.", above)
		}
	}
	if p.Settings.ActivationKJMol > 0 {
		say("Equivalent minutes at %s °C by the trapezoid rule on the rate between readings, %s kJ/mol.", Number(p.Settings.ReferenceC, 1), Number(p.Settings.ActivationKJMol, 3))
	}
	if points := p.Settings.Window.sorted(); len(points) > 0 && (p.Settings.ReferenceC < points[0].MetalC || p.Settings.ReferenceC > points[len(points)-1].MetalC) && p.Settings.ActivationKJMol > 0 {
		say("The reference lies outside the powder's points, %s to %s °C; times there are extrapolated.", Number(points[0].MetalC, 1), Number(points[len(points)-1].MetalC, 1))
	}
	return notes
}
