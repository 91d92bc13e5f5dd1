package web

import (
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/page"
)

// soonDays is how near a drift must be to its limit before the day speaks of it.
const soonDays = 7

// A bathLine is one characteristic of one bath over the days that were read.
type bathLine struct {
	store.BathPoint // the latest day
	limits          quality.Limits
	points          []dayValue
}

// bathLines gathers the days of each bath and characteristic. Points come in that order already.
func (d *dayRead) bathLines() []bathLine {
	var lines []bathLine
	for _, p := range d.baths {
		n := len(lines)
		if n == 0 || lines[n-1].BathID != p.BathID || lines[n-1].Characteristic != p.Characteristic {
			lines = append(lines, bathLine{})
			n++
		}
		line := &lines[n-1]
		line.BathPoint = p
		line.points = append(line.points, dayValue{p.Day, p.Value})
		line.limits = bathLimits(d.specs[p.RevisionID], p.Location, p.Characteristic)
	}
	return lines
}

// bathLimits are the limits of a characteristic at the stage that a location names.
func bathLimits(spec quality.FinishSpec, location, characteristic string) quality.Limits {
	if spec.Pretreatment == nil {
		return quality.Limits{}
	}
	for i, stage := range spec.Pretreatment.Stages {
		if quality.StageKey(i, stage) == location {
			return stage.Limits[characteristic]
		}
	}
	return quality.Limits{}
}

// canonical is the unit that the day's means of a characteristic are in.
func canonical(characteristic string) (name string, unit quality.Unit) {
	c, ok := quality.CharacteristicOf(characteristic)
	if !ok {
		return characteristic, ""
	}
	return lowerFirst(c.Name), c.Canonical()
}

// drift is the trend of the line where it is significant and leads towards a limit, with the days until it meets it.
func (l bathLine) drift() (t trend, limit, days float64, ok bool) {
	t, significant := trendOf(l.points)
	if !significant {
		return t, 0, 0, false
	}
	_, unit := canonical(l.Characteristic)
	limit, days, ok = t.soonest(l.limits, unit)
	return t, limit, days, ok
}

func (d *dayRead) bathGroup() page.PlantGroup {
	g := page.PlantGroup{Title: "Baths", Empty: fmt.Sprintf("No bath was read in the %d days to this one.", trendDays)}
	for _, l := range d.bathLines() {
		if l.Characteristic == "stage_temperature" && l.LastFlag != "low" && l.LastFlag != "high" {
			continue // the chemistry is what drifts; a temperature shows when it is out
		}
		name, _ := canonical(l.Characteristic)
		row := page.PlantRow{Name: page.Ref{Text: l.Name + ", " + name, Href: "/records/" + l.RecordID.String()},
			Value:  strings.TrimSpace(l.LastText + " " + unitAfter(quality.Unit(l.LastUnit))),
			Beside: fmt.Sprintf("%s, %s", l.limits, clock(l.At, d.site.Location(), d.day)), Standing: page.Standing{Word: "in limits", Kind: "pass"}}
		t, _, days, drifts := l.drift()
		switch {
		case l.LastFlag == "low" || l.LastFlag == "high":
			row.Standing = page.Standing{Word: "too " + l.LastFlag, Kind: "fail"}
		case l.limits.None():
			row.Standing = page.Standing{Word: "no limit", Kind: "none"}
		case !l.Day.Equal(d.day):
			row.Standing = page.Standing{Word: "not read this day", Kind: "none"}
		case drifts && days <= soonDays:
			row.Standing = page.Standing{Word: fmt.Sprintf("%s %d days", t.direction(), t.days), Kind: "hold"}
		}
		g.Rows = append(g.Rows, row)
	}
	for _, b := range d.bathsWatched {
		for _, c := range b.Controls {
			if s := controlStanding(c); s.Kind != "pass" {
				beside := "never read"
				if c.Reading.Text != "" {
					beside = fmt.Sprintf("%s, %s", c.Limits, clock(c.At, d.site.Location(), d.day))
				}
				g.Rows = append(g.Rows, page.PlantRow{Name: page.Ref{Text: b.Name + ", " + lowerFirst(c.Name()), Href: bathHref(b.Code)}, Value: c.Words(), Beside: beside, Standing: s})
			}
		}
	}
	return g
}

// unitAfter is a unit behind a number; a pH has none.
func unitAfter(u quality.Unit) string {
	if u == quality.PH {
		return ""
	}
	return u.Symbol()
}

// An ovenLine is the coldest metal of one oven over the days that were read.
type ovenLine struct {
	store.OvenDay // the latest day
	scheduleC     float64
	points        []dayValue
}

func (d *dayRead) ovenLines() []ovenLine {
	var lines []ovenLine
	for _, o := range d.ovens {
		n := len(lines)
		if n == 0 || lines[n-1].OvenID != o.OvenID {
			lines = append(lines, ovenLine{})
			n++
		}
		line := &lines[n-1]
		line.OvenDay = o
		line.points = append(line.points, dayValue{o.Day, o.ColdestC})
		if cure := d.specs[o.RevisionID].Cure; cure != nil {
			line.scheduleC = cure.ScheduleC
		}
	}
	return lines
}

// drift is the trend of the coldest metal where it falls significantly, with the days until it meets the schedule: none
// where it has met it already.
func (l ovenLine) drift() (t trend, days float64, ok bool) {
	t, significant := trendOf(l.points)
	if !significant || t.perDay > 0 || l.scheduleC == 0 {
		return t, 0, false
	}
	if t.last <= l.scheduleC {
		return t, 0, true
	}
	days, ok = t.daysTo(l.scheduleC)
	return t, days, ok
}

func (d *dayRead) ovenGroup() page.PlantGroup {
	g := page.PlantGroup{Title: "Ovens", Empty: fmt.Sprintf("No cure run is on record in the %d days to this one.", trendDays)}
	for _, l := range d.ovenLines() {
		row := page.PlantRow{Name: page.Ref{Text: l.Name, Href: "/records/" + l.RecordID.String()}, Value: fmt.Sprintf("%+.1f °C", l.LastC-l.scheduleC),
			Beside:   fmt.Sprintf("coldest metal over %s °C, %s", quality.Number(l.scheduleC, 1), clock(l.At, d.site.Location(), d.day)),
			Standing: page.Standing{Word: "in window", Kind: "pass"}}
		t, _, drifts := l.drift()
		switch {
		case l.Verdict == string(quality.Fail):
			row.Standing = page.Standing{Word: "last load failed", Kind: "fail"}
		case !l.Day.Equal(d.day):
			row.Standing = page.Standing{Word: "no load this day", Kind: "none"}
		case drifts:
			row.Standing = page.Standing{Word: fmt.Sprintf("falling %d days", t.days), Kind: "hold"}
		}
		g.Rows = append(g.Rows, row)
	}
	return g
}

// filmGauges are the thickness gauges in the register.
func (d *dayRead) filmGauges() []store.Instrument {
	var gauges []store.Instrument
	for _, i := range d.gauges {
		if i.Kind == "film_gauge" {
			gauges = append(gauges, i)
		}
	}
	return gauges
}

func (d *dayRead) lastVerification(gauge uuid.UUID) (store.LastVerification, bool) {
	for _, l := range d.verifications {
		if l.InstrumentID == gauge {
			return l, true
		}
	}
	return store.LastVerification{}, false
}

// dueSoon is how long before its due date a gauge is named.
const dueSoon = 14 * 24 * time.Hour

func (d *dayRead) gaugeGroup() page.PlantGroup {
	g := page.PlantGroup{Title: "Thickness gauges", Empty: "No thickness gauge is in the register. Add one under Setup, Gauges."}
	for _, i := range d.filmGauges() {
		row := page.PlantRow{Name: page.Ref{Text: i.Code, Href: subjectHref("instrument", i.Code)}, Beside: "never verified, due " + i.DueOn.Format("2 January 2006")}
		last, known := d.lastVerification(i.ID)
		if known {
			row.Beside = fmt.Sprintf("verified %s, due %s", clock(last.At, d.site.Location(), d.day), i.DueOn.Format("2 January 2006"))
			row.Name.Href = "/records/" + last.RecordID.String()
		}
		switch {
		case i.Status == "failed" || known && last.Verdict == string(quality.Fail):
			row.Standing = page.Standing{Word: "failed", Kind: "fail"}
		case i.Status == "doubtful":
			row.Standing = page.Standing{Word: "dropped or doubtful", Kind: "fail"}
		case i.Status == "withdrawn":
			row.Standing = page.Standing{Word: "withdrawn", Kind: "none"}
		case d.day.After(i.DueOn):
			row.Standing = page.Standing{Word: "overdue", Kind: "fail"}
		case !known || !last.Day.Equal(d.day) || d.current != "" && last.Shift != d.current:
			row.Standing = page.Standing{Word: "not verified this shift", Kind: "none"}
			if d.current == "" {
				row.Standing.Word = "not verified this day"
			}
		case i.DueOn.Sub(d.day) <= dueSoon:
			row.Standing = page.Standing{Word: "verified, due soon", Kind: "hold"}
		default:
			row.Standing = page.Standing{Word: "verified", Kind: "pass"}
		}
		g.Rows = append(g.Rows, row)
	}
	return g
}
