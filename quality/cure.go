package quality

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// Errors of a cure window.
var (
	// ErrNoWindow is returned for a window without points, or with points that make no sense.
	ErrNoWindow = errors.New("quality: the powder has no usable cure window")
	// ErrUnderWindow is returned for a temperature under the lowest point: no time there is known to cure.
	ErrUnderWindow = errors.New("quality: temperature under the powder's cure window")
	// ErrOverWindow is returned for a temperature over the highest point.
	ErrOverWindow = errors.New("quality: temperature over the powder's cure window")
)

// A CureWindow is what the powder's data sheet asks of the metal: points of temperature and time. No single activation
// energy fits published schedules, so the points themselves are kept and interpolated between.
type CureWindow struct {
	Points []CurePoint `json:"points"`
}

// A CurePoint is one line of the data sheet: at this metal temperature at least MinMinutes, and at most MaxMinutes where
// that is not 0.
type CurePoint struct {
	MetalC     float64 `json:"metal_c"`
	MinMinutes float64 `json:"min_minutes"`
	MaxMinutes float64 `json:"max_minutes,omitempty"`
}

// Validate returns one sentence for each thing that keeps the window from being used.
func (w CureWindow) Validate() []string {
	var wrong []string
	if len(w.Points) == 0 {
		return []string{"Cure window: enter at least one point of metal temperature and time."}
	}
	points := w.sorted()
	for i, p := range points {
		if !(p.MetalC >= 50 && p.MetalC <= 300) {
			wrong = append(wrong, fmt.Sprintf("Cure window: %s °C is outside 50 to 300 °C.", Number(p.MetalC, 1)))
		}
		if !(p.MinMinutes > 0 && p.MinMinutes <= 180) || !(p.MaxMinutes == 0 || p.MaxMinutes >= p.MinMinutes && p.MaxMinutes <= 600) {
			wrong = append(wrong, fmt.Sprintf("Cure window at %s °C: enter a least time over 0 and up to 180 min, and a longest time that is not shorter.", Number(p.MetalC, 1)))
		}
		if i == 0 {
			continue
		}
		if p.MetalC == points[i-1].MetalC {
			wrong = append(wrong, fmt.Sprintf("Cure window: %s °C stands there twice.", Number(p.MetalC, 1)))
		} else if p.MinMinutes > points[i-1].MinMinutes {
			wrong = append(wrong, fmt.Sprintf("Cure window at %s °C: more time than at %s °C, although hotter metal cures faster.", Number(p.MetalC, 1), Number(points[i-1].MetalC, 1)))
		}
	}
	return wrong
}

func (w CureWindow) sorted() []CurePoint {
	points := slices.Clone(w.Points)
	slices.SortFunc(points, func(a, b CurePoint) int {
		switch {
		case a.MetalC < b.MetalC:
			return -1
		case a.MetalC > b.MetalC:
			return 1
		}
		return 0
	})
	return points
}

// At returns the limits on the time at a metal temperature in °C, in minutes. Between two points ln t is interpolated in
// 1/T with T in kelvin, the straight line of Arrhenius:
//
//	ln t = ln t₁ + (1/T − 1/T₁)/(1/T₂ − 1/T₁) · (ln t₂ − ln t₁)
//
// A longest time is interpolated in the same way where both points have one; where only one has, that one holds.
//
// Nothing is extrapolated: it returns ErrUnderWindow or ErrOverWindow outside the outer points, and ErrNoWindow for a window
// that Validate objects to.
func (w CureWindow) At(metalC float64) (Limits, error) {
	if len(w.Validate()) > 0 || math.IsNaN(metalC) {
		return Limits{}, ErrNoWindow
	}
	points := w.sorted()
	if below(metalC, points[0].MetalC) {
		return Limits{}, ErrUnderWindow
	}
	if below(points[len(points)-1].MetalC, metalC) {
		return Limits{}, ErrOverWindow
	}
	for i, p := range points {
		if !below(p.MetalC, metalC) && !below(metalC, p.MetalC) {
			return minutes(p.MinMinutes, p.MaxMinutes), nil
		}
		if p.MetalC > metalC {
			return between(points[i-1], p, metalC), nil
		}
	}
	return Limits{}, ErrNoWindow
}

func between(a, b CurePoint, metalC float64) Limits {
	const zero = 273.15
	x := (1/(metalC+zero) - 1/(a.MetalC+zero)) / (1/(b.MetalC+zero) - 1/(a.MetalC+zero))
	along := func(t1, t2 float64) float64 { return tidy(math.Exp(math.Log(t1) + x*(math.Log(t2)-math.Log(t1)))) }
	longest := max(a.MaxMinutes, b.MaxMinutes)
	if a.MaxMinutes > 0 && b.MaxMinutes > 0 {
		longest = along(a.MaxMinutes, b.MaxMinutes)
	}
	return minutes(along(a.MinMinutes, b.MinMinutes), longest)
}

func minutes(least, longest float64) Limits {
	l := AtLeast(least, Minute)
	if longest > 0 {
		l.High = &Limit{Value: longest, Unit: Minute}
	}
	return l
}

// The faults of a cure run.
const (
	underCure  = "under_cure"
	overCure   = "over_cure"
	unevenCure = "uneven_cure"
)

// A cureChannel is what one thermocouple on the metal said.
type cureChannel struct {
	number int
	place  string
	peak   *Reading
	time   *Reading
}

// JudgeCure judges an oven load by the figures that were read off the metal's own temperature: the clock starts when the metal gets there, not when the
// oven does. For every channel (Spot) metal_peak is the highest temperature and metal_time the time at or over the spec's
// ScheduleC. The load passes when
//
//   - each channel's peak reached ScheduleC and the powder's lowest point, and none went over the window's highest point;
//   - each channel's time is at least what the window asks for at ScheduleC and at most what it allows there;
//   - the peaks lie within MaxSpreadC, where the spec sets it.
//
// The coldest channel is thereby the one that decides. Missing channels, and a schedule outside the powder's window, make
// the run incomplete: nothing is extrapolated. set_point, oven_air and oven_time are recorded and judge nothing, because
// none of them is the metal's. Where the spec decides by another measure than the time at temperature the run is incomplete:
// that takes the recorded profile, see JudgeCureProfile.
func JudgeCure(spec CureSpec, window CureWindow, check *Check) Judgement {
	j := Judgement{Rule: spec.ruleInWords()}
	if m := spec.measure(); m != TimeAbove {
		j.missing("profile", "", "", "The spec judges by the %s, which only the recorded profile shows; a peak and a time are not enough.", m.words())
		return j
	}
	channels := cureChannels(check)
	for _, ch := range channels {
		if ch.peak == nil {
			j.missing("channels", ch.place, "", "%s: the peak metal temperature is missing.", ch.place)
		}
		if ch.time == nil {
			j.missing("channels", ch.place, "", "%s: the time at or over %s °C is missing.", ch.place, Number(spec.ScheduleC, 1))
		}
	}
	if len(channels) < spec.Channels || len(channels) == 0 {
		want := max(spec.Channels, 1)
		j.missing("channels", "", "at least "+counted(want, "channel"), "%s with a metal temperature, %d are asked.", counted(len(channels), "channel"), want)
	}
	limits, err := window.At(spec.ScheduleC)
	if err != nil {
		j.noWindow(spec, window, err)
	}
	for _, ch := range channels {
		judgePeak(&j, spec, window, ch)
		if ch.time != nil && err == nil {
			judgeTime(&j, spec, limits, ch)
		}
	}
	if spec.MaxSpreadC > 0 {
		judgeSpread(&j, spec.MaxSpreadC, channels)
	}
	return j.conclude()
}

func (j *Judgement) noWindow(spec CureSpec, window CureWindow, err error) {
	if errors.Is(err, ErrNoWindow) {
		j.missing("cure window", "", "", "The powder has no usable cure window. Enter the points of its data sheet.")
		return
	}
	points := window.sorted()
	j.missing("cure window", "", "", "The spec counts time from %s °C, outside the powder's cure window of %s to %s °C; nothing is extrapolated.",
		Number(spec.ScheduleC, 1), Number(points[0].MetalC, 1), Number(points[len(points)-1].MetalC, 1))
}

func judgePeak(j *Judgement, spec CureSpec, window CureWindow, ch cureChannel) {
	if ch.peak == nil {
		return
	}
	ch.peak.Flag = j.compare(comparison{rule: "peak metal temperature", place: ch.place, what: "peak metal temperature", value: ch.peak.Value,
		text: ch.peak.digitsOf(), unit: ch.peak.Unit, limits: spec.peakLimits(window), low: underCure, high: overCure})
}

// peakLimits returns what a channel's peak must keep: the window's outer points, and the schedule temperature where time
// counts from it.
func (s CureSpec) peakLimits(window CureWindow) Limits {
	least := s.ScheduleC
	if m := s.measure(); m == EquivalentTime || m == WindowDose {
		least = coldestC
	}
	if len(window.Validate()) > 0 {
		return AtLeast(least, Celsius)
	}
	points := window.sorted()
	least = math.Max(least, points[0].MetalC)
	if most := points[len(points)-1].MetalC; least <= most {
		return Between(least, most, Celsius)
	}
	return AtMost(points[len(points)-1].MetalC, Celsius)
}

// judgeTime compares one channel's time with the window at the schedule temperature and says how much is short.
func judgeTime(j *Judgement, spec CureSpec, limits Limits, ch cureChannel) {
	flag := j.compareTime(comparison{rule: CureMeasureNames[TimeAbove], place: ch.place, what: fmt.Sprintf("time at or over %s °C,", Number(spec.ScheduleC, 1)),
		value: ch.time.Value, text: ch.time.digitsOf(), unit: ch.time.Unit, limits: limits, low: underCure, high: overCure})
	if ch.time.Flag = flag; flag == Low {
		ch.time.Flag = Short
	}
}

// compareTime compares a time and says how much a short one lacks.
func (j *Judgement) compareTime(c comparison) Flag {
	flag := j.compare(c)
	if flag != Low {
		return flag
	}
	least, errLimit := c.limits.Low.In(Second)
	got, errTime := Convert(c.value, c.unit, Second)
	if last := &j.Findings[len(j.Findings)-1]; errLimit == nil && errTime == nil {
		last.Text += fmt.Sprintf(" It is %s s short.", Number(math.Max(least-got, 0.1), 1))
	}
	return flag
}

func judgeSpread(j *Judgement, most float64, channels []cureChannel) {
	low, high, n := math.Inf(1), math.Inf(-1), 0
	for _, ch := range channels {
		if ch.peak == nil {
			continue
		}
		if c, err := ch.peak.In(Celsius); err == nil {
			low, high, n = math.Min(low, c), math.Max(high, c), n+1
		}
	}
	if n < 2 {
		j.missing("spread of the peaks", "", AtMost(most, kelvin).String(), "The spread between channels needs at least two of them.")
		return
	}
	j.compare(comparison{rule: "spread of the peaks", what: "spread of the peaks,", value: tidy(high - low), unit: kelvin,
		limits: AtMost(most, kelvin), high: unevenCure})
}

// cureChannels collects the channels in the order of their numbers. A second reading of the same kind on one channel is the
// later word and counts.
func cureChannels(check *Check) []cureChannel {
	byNumber := map[int]*cureChannel{}
	for i := range check.Readings {
		r := &check.Readings[i]
		if r.Characteristic != "metal_peak" && r.Characteristic != "metal_time" {
			continue
		}
		ch := byNumber[r.Spot]
		if ch == nil {
			ch = &cureChannel{number: r.Spot, place: fmt.Sprintf("Channel %d", r.Spot)}
			byNumber[r.Spot] = ch
		}
		if r.Location != "" {
			ch.place = fmt.Sprintf("Channel %d, %s", r.Spot, r.Location)
		}
		r.Flag = Unflagged
		switch {
		case !r.measured():
		case r.Characteristic == "metal_peak":
			ch.peak = r
		default:
			ch.time = r
		}
	}
	var channels []cureChannel
	for _, ch := range byNumber {
		channels = append(channels, *ch)
	}
	slices.SortFunc(channels, func(a, b cureChannel) int { return a.number - b.number })
	return channels
}
