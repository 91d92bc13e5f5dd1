package web

import (
	"fmt"
	"math"
	"net/url"
	"time"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/page"
)

// mostFirst is how many things can be done first.
const mostFirst = 9

// first is what needs a supervisor first, the most urgent first: film that fails or drifts, holds that wait, baths, ovens and
// gauges that are out or on their way there.
func (d *dayRead) first() []page.DayFirst {
	var items []page.DayFirst
	items = append(items, d.firstFilm()...)
	items = append(items, d.firstRecalls()...)
	items = append(items, d.firstConfirmations()...)
	items = append(items, d.firstHolds()...)
	items = append(items, d.firstActions()...)
	items = append(items, d.firstArticlesDue()...)
	items = append(items, d.firstReviews()...)
	items = append(items, d.firstBaths()...)
	items = append(items, d.firstOvens()...)
	items = append(items, d.firstRhythms()...)
	items = append(items, d.firstGauges()...)
	if len(items) > mostFirst {
		rest := len(items) - mostFirst + 1
		items = append(items[:mostFirst-1], page.DayFirst{Kind: "none", Rest: fmt.Sprintf("And %s below.", counted(rest, "thing"))})
	}
	return items
}

// A boothFilm is the film of one booth and spec over the days that were read.
type boothFilm struct {
	store.FilmDay // the latest day
	points        []dayValue
}

func (d *dayRead) boothFilms() []boothFilm {
	var all []boothFilm
	for _, f := range d.filmDays {
		n := len(all)
		if n == 0 || all[n-1].Booth != f.Booth || all[n-1].Spec != f.Spec {
			all = append(all, boothFilm{})
			n++
		}
		all[n-1].FilmDay = f
		all[n-1].points = append(all[n-1].points, dayValue{f.Day, f.MeanUM})
	}
	return all
}

func (d *dayRead) firstFilm() []page.DayFirst {
	var failing, drifting []page.DayFirst
	for _, f := range d.boothFilms() {
		if !f.Day.Equal(d.day) {
			continue
		}
		limits := d.filmLimits(f.Spec)
		href := d.list("list", "film", "booth", f.Booth, "spec", f.Spec)
		if f.Failed > 0 {
			failing = append(failing, page.DayFirst{Kind: "fail", Link: page.Ref{Text: fmt.Sprintf("%s film failed on %d of %s", f.BoothName, f.Failed, counted(f.Checks, "part")), Href: href},
				Rest: fmt.Sprintf(" (%s); lowest part mean %s, spec %s.", f.Spec, filmText(f.LowestUM, d.unit), limits)})
		}
		from := d.day.AddDate(0, 0, 1-trendDays).Format(time.DateOnly)
		chart := address("/charts/film", "from", from, "to", d.day.Format(time.DateOnly), "booth", f.Booth, "spec", f.Spec)
		if t, ok := trendOf(f.points); ok {
			rest := fmt.Sprintf(" (%s), %s a day over %d days, now %s", f.Spec, filmText(math.Abs(t.perDay), d.unit), t.days, filmText(t.last, d.unit))
			if limit, days, ok := t.soonest(limits, quality.Micrometre); ok && days < 30 {
				rest += fmt.Sprintf("; its mean meets %s in about %s at this rate", filmText(limit, d.unit), counted(int(math.Ceil(days)), "day"))
			}
			drifting = append(drifting, page.DayFirst{Kind: "hold", Link: page.Ref{Text: fmt.Sprintf("%s film is %s", f.BoothName, t.direction()), Href: chart}, Rest: rest + "."})
		} else if usual, low, high, ok := usualRange(f.points); ok && (f.MeanUM < low || f.MeanUM > high) {
			side := "below"
			if f.MeanUM > high {
				side = "above"
			}
			drifting = append(drifting, page.DayFirst{Kind: "hold", Link: page.Ref{Text: fmt.Sprintf("%s film is %s its usual level", f.BoothName, side), Href: chart},
				Rest: fmt.Sprintf(" (%s): mean %s against %s in the days before.", f.Spec, filmText(f.MeanUM, d.unit), filmText(usual, d.unit))})
		}
	}
	return append(failing, drifting...)
}

// filmLimits are the limits of a spec among the day's checks.
func (d *dayRead) filmLimits(spec string) quality.Limits {
	for _, c := range d.film {
		if film := d.specs[c.RevisionID].Film; c.Spec == spec && film != nil {
			return film.Limits
		}
	}
	return quality.Limits{}
}

// usualRange is the mean of the days before the last and three of their standard deviations about it, from their moving
// ranges (individuals chart); false with fewer than five days before.
func usualRange(points []dayValue) (usual, low, high float64, ok bool) {
	before := points[:len(points)-1]
	if len(before) < minTrendDays {
		return 0, 0, 0, false
	}
	var moves float64
	for i, p := range before {
		usual += p.value / float64(len(before))
		if i > 0 {
			moves += math.Abs(p.value - before[i-1].value)
		}
	}
	const d2 = 1.128379167 // 2/√π, the mean range of two normal values in standard deviations
	sigma := moves / float64(len(before)-1) / d2
	return usual, usual - 3*sigma, usual + 3*sigma, sigma > 0
}

// firstConfirmations are the records that wait for a second person, the oldest first.
func (d *dayRead) firstConfirmations() []page.DayFirst {
	var items []page.DayFirst
	for _, w := range d.waitingRecords {
		items = append(items, page.DayFirst{Kind: "hold", Link: page.Ref{Text: w.Kind.Name() + " of " + w.Subject, Href: "/records/" + w.RecordID.String() + "#confirm"},
			Rest: fmt.Sprintf(" waits for a second person, %s: %s", age(d.now.Sub(w.At)), w.Sentence)})
	}
	return items
}

func (d *dayRead) firstHolds() []page.DayFirst {
	if len(d.holds) == 0 {
		return nil
	}
	h := d.holds[0]
	rest := fmt.Sprintf(", %s, is %s old and has no decision.", counted(h.OpenParts, "part"), age(d.now.Sub(h.OpenedAt)))
	if more := len(d.holds) - 1; more > 0 {
		rest += fmt.Sprintf(" %s after it.", plural(more, "more hold waits", "more holds wait"))
	}
	return []page.DayFirst{{Kind: "hold", Link: page.Ref{Text: "Hold " + h.Number, Href: "/holds/" + url.PathEscape(h.Number)}, Rest: rest}}
}

func (d *dayRead) firstBaths() []page.DayFirst {
	var out, drifting []page.DayFirst
	for _, l := range d.bathLines() {
		name, unit := canonical(l.Characteristic)
		href := "/records/" + l.RecordID.String()
		t, limit, days, drifts := l.drift()
		switch {
		case l.Day.Equal(d.day) && (l.LastFlag == "low" || l.LastFlag == "high"):
			out = append(out, page.DayFirst{Kind: "fail", Link: page.Ref{Text: fmt.Sprintf("%s, %s is too %s", l.Name, name, l.LastFlag), Href: href},
				Rest: fmt.Sprintf(": %s %s, limits %s.", l.LastText, unitAfter(quality.Unit(l.LastUnit)), l.limits)})
		case drifts && days <= soonDays:
			drifting = append(drifting, page.DayFirst{Kind: "hold", Link: page.Ref{Text: fmt.Sprintf("%s, %s has been %s for %d days", l.Name, name, t.direction(), t.days), Href: href},
				Rest: fmt.Sprintf(" and meets its limit of %s in about %s.", quality.Number(limit, 2)+spaced(unitAfter(unit)), counted(int(math.Ceil(days)), "day"))})
		}
	}
	for _, b := range d.bathsWatched {
		for _, c := range b.Controls {
			if c.Out || c.Overdue {
				out = append(out, page.DayFirst{Kind: controlStanding(c).Kind, Link: page.Ref{Text: fmt.Sprintf("Bath %s is %s", b.Code, controlStanding(c).Word), Href: bathHref(b.Code)}, Rest: ". " + c.Says})
				break
			}
		}
	}
	return append(out, drifting...)
}

func spaced(s string) string {
	if s == "" {
		return ""
	}
	return " " + s
}

func (d *dayRead) firstOvens() []page.DayFirst {
	var items []page.DayFirst
	for _, l := range d.ovenLines() {
		href := "/records/" + l.RecordID.String()
		// A failed load stays first until the oven has baked a good one, also over the night.
		if l.Verdict == string(quality.Fail) {
			items = append(items, page.DayFirst{Kind: "fail", Link: page.Ref{Text: "The last load of " + l.Name + " failed its cure", Href: href},
				Rest: fmt.Sprintf(" (%s): coldest metal %s °C, schedule %s °C.", clock(l.At, d.site.Location(), d.day), quality.Number(l.LastC, 1), quality.Number(l.scheduleC, 1))})
		}
		if t, days, ok := l.drift(); ok && days <= 2*soonDays {
			meets := fmt.Sprintf("meets %s °C in about %s", quality.Number(l.scheduleC, 1), counted(int(math.Ceil(days)), "day"))
			if days == 0 {
				meets = fmt.Sprintf("is under the schedule of %s °C", quality.Number(l.scheduleC, 1))
			}
			items = append(items, page.DayFirst{Kind: "hold", Link: page.Ref{Text: "The cure margin of " + l.Name + " is falling", Href: href},
				Rest: fmt.Sprintf(", %.1f °C a day over %d days; its coldest metal %s.", -t.perDay, t.days, meets)})
		}
	}
	return items
}

// firstRhythms are the measurements that ovens wait for.
func (d *dayRead) firstRhythms() []page.DayFirst {
	var items []page.DayFirst
	for _, o := range d.rhythms {
		for _, due := range o.Due(d.site, d.asOf()) {
			if due.Overdue {
				items = append(items, page.DayFirst{Kind: "hold", Link: page.Ref{Text: o.Name + " has to be measured", Href: "/loads"}, Rest: ". " + due.Sentence})
			}
		}
	}
	return items
}

// firstRecalls are the open reviews of what was measured with a device that was found wrong, the oldest first.
func (d *dayRead) firstRecalls() []page.DayFirst {
	var items []page.DayFirst
	for _, r := range d.recalls {
		rest := fmt.Sprintf(" for %s, %s: %d of %s undecided, %d released.", r.Device, age(d.now.Sub(r.OpenedAt)), r.Undecided, counted(r.Parts, "part"), r.Out)
		if r.Undecided == 0 {
			rest = fmt.Sprintf(" for %s, %s: every part is decided, and nobody has closed it.", r.Device, age(d.now.Sub(r.OpenedAt)))
		}
		items = append(items, page.DayFirst{Kind: "hold", Link: page.Ref{Text: "Recall " + r.Number, Href: "/recalls/" + r.Number}, Rest: rest})
	}
	return items
}

func (d *dayRead) firstGauges() []page.DayFirst {
	var items []page.DayFirst
	for _, i := range d.gauges {
		if i.Kind != "film_gauge" && i.Status == "in_use" && d.day.After(i.DueOn) {
			items = append(items, page.DayFirst{Kind: "fail", Link: page.Ref{Text: i.Code, Href: subjectHref("instrument", i.Code)}, Rest: " was due for calibration on " + i.DueOn.Format("2 January 2006") + "."})
		}
		if i.Status == "doubtful" {
			items = append(items, page.DayFirst{Kind: "hold", Link: page.Ref{Text: i.Code, Href: subjectHref("instrument", i.Code)}, Rest: " is blocked until it is verified: " + i.Doubt})
		}
	}
	for _, i := range d.filmGauges() {
		link := page.Ref{Text: "Gauge " + i.Code, Href: traceHref("gauge", i.Code)}
		last, known := d.lastVerification(i.ID)
		switch {
		case known && last.Day.Equal(d.day) && last.Verdict == string(quality.Fail):
			items = append(items, page.DayFirst{Kind: "fail", Link: link, Rest: " failed its verification: " + last.Sentence + " See which parts were measured with it since it was last good."})
		case i.Status == "in_use" && d.day.After(i.DueOn):
			items = append(items, page.DayFirst{Kind: "fail", Link: link, Rest: " was due for calibration on " + i.DueOn.Format("2 January 2006") + "."})
		case i.Status == "in_use" && i.DueOn.Sub(d.day) <= dueSoon:
			items = append(items, page.DayFirst{Kind: "none", Link: link, Rest: " is due for calibration on " + i.DueOn.Format("2 January") + "."})
		}
	}
	for _, g := range d.gaugeShifts {
		if g.Shift == d.current || d.shift != "" && g.Shift != d.shift || g.After {
			continue
		}
		items = append(items, page.DayFirst{Kind: "none", Link: page.Ref{Text: "Gauge " + g.Code, Href: subjectHref("instrument", g.Code)},
			Rest: fmt.Sprintf(" has no closing check for the %s shift, after %s.", g.Shift, counted(g.Checks, "film check"))})
	}
	return items
}
