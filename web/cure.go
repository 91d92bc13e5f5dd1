package web

import (
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"github.com/a-h/templ"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
	"coatbook/web/ui"
)

var cureEntry = entryKind{kind: quality.Cure, find: onLoad, read: readCure, show: showCure, hazards: []string{"cure"}}

// cure records the cure run of an oven load.
func (s *Server) cure(w http.ResponseWriter, r *http.Request) error { return s.enter(w, r, cureEntry) }

// maxChannels bounds the places a cure run may record.
const maxChannels = 12

// usualPlaces are where thermocouples usually sit, in the order they are offered.
var usualPlaces = []string{"heaviest section", "lightest section", "top of rack", "middle of rack", "bottom of rack", "near the door"}

func (sh *sheet) ovenSlots() []form.Slot {
	return []form.Slot{
		{Name: "set_point", Label: "Oven set point", Characteristic: "set_point", Unit: sh.temperature()},
		{Name: "oven_air", Label: "Oven air reading", Characteristic: "oven_air", Unit: sh.temperature(), Optional: true},
		{Name: "oven_time", Label: "Time in oven", Characteristic: "oven_time", Unit: quality.Minute},
	}
}

// asked is how many channels the spec asks for.
func (sh *sheet) askedChannels() int {
	if sh.form.Spec.Cure == nil {
		return 1
	}
	return max(sh.form.Spec.Cure.Channels, 1)
}

// channels is how many places the form shows: those asked for, those filled, and more when asked.
func (sh *sheet) channels() int {
	n := sh.askedChannels()
	for i := n + 1; i <= maxChannels; i++ {
		if sh.Values.Has(fmt.Sprintf("peak-%d", i)) {
			n = i
		}
	}
	if sh.Values.Get("more") != "" {
		n++
	}
	return min(n, maxChannels)
}

func (sh *sheet) channelSlots(n int) (peak, above form.Slot) {
	optional := n > sh.askedChannels()
	place := strings.TrimSpace(sh.Values.Get(fmt.Sprintf("place-%d", n)))
	peak = form.Slot{Name: fmt.Sprintf("peak-%d", n), Label: fmt.Sprintf("Place %d, peak", n), Characteristic: "metal_peak", Location: place, Spot: n, Unit: sh.temperature(), Optional: optional}
	above = form.Slot{Name: fmt.Sprintf("above-%d", n), Label: fmt.Sprintf("Place %d, time at temperature", n), Characteristic: "metal_time", Location: place, Spot: n, Unit: quality.Minute, Optional: optional}
	return peak, above
}

func readCure(sh *sheet) (quality.Check, []store.Use) {
	slots := sh.ovenSlots()
	for n := 1; n <= sh.channels(); n++ {
		peak, above := sh.channelSlots(n)
		if len([]rune(peak.Location)) > 80 {
			sh.Say(fmt.Sprintf("place-%d", n), fmt.Sprintf("Place %d has more than 80 characters.", n))
		}
		slots = append(slots, peak, above)
	}
	check := quality.Check{Kind: quality.Cure, Readings: sh.Readings(append(slots, sh.windowSlots()...), sh.visit.comma())}
	if source := strings.TrimSpace(sh.Values.Get(quality.RatingWindowSource)); source != "" {
		if len([]rune(source)) > 120 {
			sh.Say(quality.RatingWindowSource, "Where the window comes from has more than 120 characters.")
		}
		check.Ratings = []quality.Rating{{Characteristic: quality.RatingWindowSource, Code: source}}
	}
	return check, nil
}

// windowPoints is how many points of a cure window can be typed for one load.
const windowPoints = 2

// windowSlots are the points of a cure window that is typed in place of the powder's.
func (sh *sheet) windowSlots() []form.Slot {
	var slots []form.Slot
	for n := 1; n <= windowPoints; n++ {
		slots = append(slots,
			form.Slot{Name: fmt.Sprintf("window_metal-%d", n), Label: fmt.Sprintf("Point %d, metal at", n), Characteristic: quality.WindowMetal, Spot: n, Unit: sh.temperature(), Optional: true},
			form.Slot{Name: fmt.Sprintf("window_least-%d", n), Label: fmt.Sprintf("Point %d, at least", n), Characteristic: quality.WindowLeast, Spot: n, Unit: quality.Minute, Optional: true},
			form.Slot{Name: fmt.Sprintf("window_longest-%d", n), Label: fmt.Sprintf("Point %d, at most", n), Characteristic: quality.WindowLongest, Spot: n, Unit: quality.Minute, Optional: true})
	}
	return slots
}

func showCure(sh *sheet, e page.Entry) templ.Component {
	v := page.CureView{Entry: e}
	for _, slot := range sh.ovenSlots() {
		v.Oven = append(v.Oven, sh.field(slot, quality.Limits{}))
	}
	if spec := sh.form.Spec.Cure; spec != nil {
		v.Schedule = fmt.Sprintf("time counts from %s °C on the metal", quality.Number(spec.ScheduleC, 1))
		if sh.temperature() == quality.Fahrenheit {
			f, err := quality.Convert(spec.ScheduleC, quality.Celsius, quality.Fahrenheit)
			if err == nil {
				v.Schedule = fmt.Sprintf("time counts from %s °F on the metal", quality.Number(f, 1))
			}
		}
	}
	v.Window = windowSentence(sh.form.Circumstance.Window)
	for _, slot := range sh.windowSlots() {
		field := sh.field(slot, quality.Limits{})
		v.Typed, v.TypedOpen = append(v.Typed, field), v.TypedOpen || field.Value != ""
	}
	v.TypedSource = ui.TextField{Name: quality.RatingWindowSource, Label: "Where it comes from", Hint: "such as the maker's letter with its date", Value: sh.Values.Get(quality.RatingWindowSource),
		Problem: sh.Wrong[quality.RatingWindowSource], Optional: true}
	for n := 1; n <= sh.channels(); n++ {
		peak, above := sh.channelSlots(n)
		place := ui.TextField{Name: fmt.Sprintf("place-%d", n), Label: fmt.Sprintf("Place %d", n), Hint: "where on the load", Value: sh.Values.Get(fmt.Sprintf("place-%d", n)), Problem: sh.Wrong[fmt.Sprintf("place-%d", n)]}
		if !sh.Values.Has(place.Name) && n <= len(usualPlaces) {
			place.Value = usualPlaces[n-1]
		}
		v.Channels = append(v.Channels, page.Channel{Number: strconv.Itoa(n), Place: place, Peak: sh.field(peak, quality.Limits{}), Time: sh.field(above, quality.Limits{})})
	}
	return page.Cure(v)
}

// windowSentence is the powder's cure window in words.
func windowSentence(w quality.CureWindow) string {
	var points []string
	for _, p := range w.Points {
		words := fmt.Sprintf("%s min", quality.Number(p.MinMinutes, 1))
		if p.MaxMinutes > 0 {
			words = fmt.Sprintf("%s to %s min", quality.Number(p.MinMinutes, 1), quality.Number(p.MaxMinutes, 1))
		}
		points = append(points, fmt.Sprintf("%s at %s °C", words, quality.Number(p.MetalC, 1)))
	}
	if len(points) == 0 {
		return "No cure window is on record for this powder."
	}
	return "The powder's window: " + strings.Join(points, "; ") + "."
}
