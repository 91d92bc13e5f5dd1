package quality

import (
	"fmt"
	"math"
)

// measure returns the measure that decides.
func (s CureSpec) measure() CureMeasure {
	if s.Decides == "" {
		return TimeAbove
	}
	return s.Decides
}

// words names the measure in a sentence.
func (m CureMeasure) words() string {
	if words, ok := CureMeasureNames[m]; ok {
		return words
	}
	return "measure “" + clip(string(m)) + "”"
}

// ruleInWords names the measure with what it is counted by, as it is stored and printed with the verdict.
func (s CureSpec) ruleInWords() string {
	switch m := s.measure(); m {
	case EquivalentTime:
		return fmt.Sprintf("%s at %s °C, %s kJ/mol", m.words(), Number(s.ReferenceC, 1), Number(s.ActivationKJMol, 3))
	case WindowDose:
		return m.words()
	default:
		return fmt.Sprintf("%s of %s °C", m.words(), Number(s.ScheduleC, 1))
	}
}

// ProfileSettings returns the settings by which a profile must be measured to be judged by this spec and window.
func (s CureSpec) ProfileSettings(window CureWindow) ProfileSettings {
	settings := ProfileSettings{AboveC: s.ScheduleC}
	switch s.measure() {
	case EquivalentTime:
		settings.ReferenceC, settings.ActivationKJMol = s.ReferenceC, s.ActivationKJMol
	case WindowDose:
		settings.Window = window
	}
	return settings
}

// JudgeCureProfile judges an oven load by its recorded profile. The measure that the spec's Decides names is compared with
// the powder's window for every channel:
//
//   - TimeAbove, LongestRun: the time at or over ScheduleC against the window's times at ScheduleC;
//   - EquivalentTime: the equivalent minutes against the window's times at ReferenceC. The smaller of the trapezoid rule and
//     the exact integral for straight lines counts against the least time and the larger against the longest, so that coarse
//     sampling never makes a pass;
//   - WindowDose: at least 100 %, and at most the longest over the least time at ScheduleC where the window has one there.
//
// Besides, every peak lies within the window's outer points (and at or over ScheduleC where time counts from it), and the
// peaks lie within MaxSpreadC where the spec sets it.
//
// A gap, an open thermocouple, a missing channel, a profile measured by other settings than spec.ProfileSettings, a window
// without points or one that the schedule lies outside of make the run incomplete, and so does a record that starts or ends
// hot where the time is limited upwards. Incomplete is never a pass: what was not recorded is not known to have cured.
func JudgeCureProfile(spec CureSpec, window CureWindow, p CureProfile) Judgement {
	j := Judgement{Rule: spec.ruleInWords()}
	if want := max(spec.Channels, 1); len(p.Channels) < want {
		j.missing("channels", "", "at least "+counted(want, "channel"), "%s with a metal temperature, %d are asked.", counted(len(p.Channels), "channel"), want)
	}
	for _, c := range p.Channels {
		for _, missing := range c.Incomplete {
			j.missing("record", c.Name, "", "%s: %s", upperFirst(c.Name), lowerFirst(missing))
		}
	}
	if !spec.measuredBy(window, p.Settings) {
		j.missing("profile", "", "", "The profile was measured by other settings than the spec's. Measure it again for %s.", j.Rule)
		return j
	}
	limits, ok := spec.measureLimits(&j, window)
	peaks := spec.peakLimits(window)
	for _, c := range p.Channels {
		if c.Readings == 0 {
			continue
		}
		j.compare(comparison{rule: "peak metal temperature", place: c.Name, what: "peak metal temperature", value: c.PeakC, unit: Celsius,
			limits: peaks, low: underCure, high: overCure})
		if ok {
			spec.judgeMeasure(&j, limits, c)
		}
	}
	if spec.MaxSpreadC > 0 {
		if p.PeakSpreadC == nil {
			j.missing("spread of the peaks", "", AtMost(spec.MaxSpreadC, kelvin).String(), "The spread between channels needs at least two of them.")
		} else {
			j.compare(comparison{rule: "spread of the peaks", what: "spread of the peaks,", value: tidy(*p.PeakSpreadC), unit: kelvin,
				limits: AtMost(spec.MaxSpreadC, kelvin), high: unevenCure})
		}
	}
	return j.conclude()
}

// judgeRecordedCure judges a cure run by its profile and flags the figures that were read off it.
func judgeRecordedCure(spec CureSpec, c Circumstance, check *Check) Judgement {
	j := JudgeCureProfile(spec, c.Window, *c.Profile)
	limits, err := c.Window.At(spec.ScheduleC)
	var figures Judgement // the profile has decided; these only mark the lines
	for _, ch := range cureChannels(check) {
		judgePeak(&figures, spec, c.Window, ch)
		if ch.time != nil && err == nil && spec.measure() == TimeAbove {
			judgeTime(&figures, spec, limits, ch)
		}
	}
	return j
}

// measuredBy reports whether a profile's settings give the figure that decides.
func (s CureSpec) measuredBy(window CureWindow, got ProfileSettings) bool {
	switch s.measure() {
	case TimeAbove, LongestRun:
		return got.AboveC == s.ScheduleC
	case EquivalentTime:
		return got.ReferenceC == s.ReferenceC && got.ActivationKJMol == s.ActivationKJMol && got.ActivationKJMol > 0
	case WindowDose:
		return sameLine(got.Window, window)
	}
	return false
}

// sameLine reports whether two windows ask for the same least times; without points they are never the same.
func sameLine(a, b CureWindow) bool {
	p, q := a.sorted(), b.sorted()
	if len(p) != len(q) {
		return false
	}
	for i := range p {
		if p[i].MetalC != q[i].MetalC || p[i].MinMinutes != q[i].MinMinutes {
			return false
		}
	}
	return len(p) > 0
}

// measureLimits returns what the window asks of the measure, and a finding where it asks nothing that can be used.
func (s CureSpec) measureLimits(j *Judgement, window CureWindow) (Limits, bool) {
	at := s
	if s.measure() == EquivalentTime {
		at.ScheduleC = s.ReferenceC
	}
	limits, err := window.At(at.ScheduleC)
	if s.measure() == WindowDose && len(window.Validate()) == 0 {
		share := AtLeast(100, Percent)
		if err == nil && limits.High != nil {
			share.High = &Limit{Value: tidy(100 * limits.High.Value / limits.Low.Value), Unit: Percent}
		}
		return share, true
	}
	if err != nil {
		j.noWindow(at, window, err)
	}
	return limits, err == nil
}

// judgeMeasure compares one channel's figure with the limits on it.
func (s CureSpec) judgeMeasure(j *Judgement, limits Limits, c ChannelProfile) {
	least, most, unit, what := s.figures(c)
	one := comparison{rule: s.measure().words(), place: c.Name, what: what, value: least, unit: unit, limits: limits, low: underCure, high: overCure}
	if flag, err := limits.Judge(most, unit); err == nil && flag == High {
		one.value = most
	}
	flag := j.compareTime(one)
	if flag == In && limits.High != nil && (c.StartsAbove || c.EndsAbove) {
		j.missing("record", c.Name, limits.String(), "%s: the record starts or ends hot, so that the time may be over %s.", upperFirst(c.Name), limits.High)
	}
}

// figures returns the least and the most that the measure may be, its unit and how a sentence names it.
func (s CureSpec) figures(c ChannelProfile) (least, most float64, unit Unit, what string) {
	switch s.measure() {
	case LongestRun:
		return c.LongestRunS / 60, c.LongestRunS / 60, Minute, fmt.Sprintf("longest time at or over %s °C,", Number(s.ScheduleC, 1))
	case EquivalentTime:
		a, b := valueOf(c.EquivalentMinutes), valueOf(c.EquivalentMinutesLinear)
		return min(a, b), max(a, b), Minute, fmt.Sprintf("equivalent time at %s °C,", Number(s.ReferenceC, 1))
	case WindowDose:
		return 100 * valueOf(c.Dose), 100 * valueOf(c.Dose), Percent, "dose by the powder's points,"
	}
	return c.SecondsAbove / 60, c.SecondsAbove / 60, Minute, fmt.Sprintf("time at or over %s °C,", Number(s.ScheduleC, 1))
}

// valueOf returns a figure, or NaN for one that was not measured, which no comparison lets pass.
func valueOf(f *float64) float64 {
	if f == nil {
		return math.NaN()
	}
	return *f
}
