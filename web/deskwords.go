package web

import (
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/page"
)

// partStanding says a part's status in words, with its shape.
func partStanding(status string, next quality.Kind) page.Standing {
	switch status {
	case store.StatusOpen:
		return page.Standing{Word: "open" + thenWords(next), Kind: "none"}
	case store.StatusInProgress:
		return page.Standing{Word: "in progress" + thenWords(next), Kind: "none"}
	case store.StatusOnHold:
		return page.Standing{Word: "on hold", Kind: "hold"}
	case store.StatusAccepted:
		return page.Standing{Word: "accepted, not released", Kind: "none"}
	case store.StatusUnderConcession:
		return page.Standing{Word: "under concession, not released", Kind: "none"}
	case store.StatusReleased:
		return page.Standing{Word: "released", Kind: "pass"}
	case store.StatusShipped:
		return page.Standing{Word: "shipped", Kind: "pass"}
	case store.StatusScrapped:
		return page.Standing{Word: "scrapped", Kind: "fail"}
	}
	return page.Standing{Word: status, Kind: "none"}
}

func thenWords(next quality.Kind) string {
	if next == "" {
		return ""
	}
	return ", next: " + lowerFirst(next.Name())
}

// verdictStanding says a verdict in words, with its shape.
func verdictStanding(v quality.Verdict) page.Standing {
	switch v {
	case quality.Pass, quality.Fail, quality.Incomplete:
		return page.Standing{Word: string(v), Kind: string(v)}
	case quality.GuardBand:
		return page.Standing{Word: "pass, inside the gauge's uncertainty", Kind: "guard_band"}
	case quality.Voided:
		return page.Standing{Word: "void", Kind: "none"}
	}
	return page.Standing{}
}

func lowerFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToLower(s[:1]) + s[1:]
}

// counted says a number with its noun: 1 part, 12 parts.
func counted(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return grouped(n) + " " + noun + "s"
}

// grouped sets thin spaces between thousands, for reading only.
func grouped(n int) string {
	s := strconv.Itoa(n)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "\u202f" + s[i:]
	}
	return s
}

// filmText prints a film thickness for reading, in the unit of the person: a tenth of a micrometre or a hundredth of a mil.
func filmText(um float64, unit string) string {
	if unit == string(quality.Mil) {
		return strconv.FormatFloat(um/25.4, 'f', 2, 64) + " mil"
	}
	return strconv.FormatFloat(um, 'f', 1, 64) + " µm"
}

// clock prints a time of day of the site; on another day than the one looked at, the day with it.
func clock(at time.Time, zone *time.Location, day time.Time) string {
	local := at.In(zone)
	switch apart := local.Format(time.DateOnly); {
	case apart == day.Format(time.DateOnly):
		return local.Format("15:04")
	case local.Sub(day).Abs() < 6*24*time.Hour:
		return local.Format("Mon 15:04")
	}
	return local.Format("2 Jan 15:04")
}

// stamp prints a time in full with its offset.
func stamp(at time.Time, zone *time.Location) string { return at.In(zone).Format(time.RFC3339) }

// longTime prints a time for a sentence.
func longTime(at time.Time, zone *time.Location) string {
	return at.In(zone).Format("2 January 2006 15:04 -07:00")
}

// shortTime prints a time in a table.
func shortTime(at time.Time, zone *time.Location) string {
	return at.In(zone).Format("2 Jan 2006 15:04")
}

// age says how old something is, in the largest unit that tells.
func age(d time.Duration) string {
	switch {
	case d < time.Hour:
		return fmt.Sprintf("%d min", int(d.Minutes()))
	case d < 48*time.Hour:
		return fmt.Sprintf("%d h", int(d.Hours()))
	}
	return fmt.Sprintf("%d d", int(d.Hours()/24))
}

// dayTitle names a shop day; days of another year than this one carry theirs.
func dayTitle(day, today time.Time) string {
	if day.Year() != today.Year() {
		return day.Format("Monday 2 January 2006")
	}
	return day.Format("Monday 2 January")
}

// address builds a local address from a path and pairs of name and value; empty values are left out.
func address(path string, pairs ...string) string {
	q := url.Values{}
	for i := 0; i+1 < len(pairs); i += 2 {
		if pairs[i+1] != "" {
			q.Set(pairs[i], pairs[i+1])
		}
	}
	if len(q) == 0 {
		return path
	}
	return path + "?" + q.Encode()
}

// subjectHref is the page of what a record is about.
func subjectHref(kind, subject string) string {
	switch kind {
	case "part":
		return "/parts/" + url.PathEscape(subject)
	case "rack":
		return "/racks/" + url.PathEscape(subject)
	case "load":
		return "/loads/" + url.PathEscape(subject)
	case "instrument":
		return "/gauges/" + url.PathEscape(subject)
	case "bath":
		return bathHref(subject)
	case "panel":
		return "/panels/" + url.PathEscape(subject)
	}
	return ""
}

// parseDay reads a date of the form yyyy-mm-dd as a shop day.
func parseDay(text string) (time.Time, bool) {
	day, err := time.Parse(time.DateOnly, strings.TrimSpace(text))
	return day, err == nil && day.Year() >= 2000 && day.Year() < 2200
}

// periodOf reads from, to and shift of an address. One missing end takes the other; none takes days up to today. problem is
// empty, or says what is wrong.
func periodOf(r *http.Request, today time.Time, days int) (p store.Period, problem string) {
	q := r.URL.Query()
	p = store.Period{From: today.AddDate(0, 0, 1-days), To: today, Shift: q.Get("shift")}
	if text := q.Get("date"); text != "" {
		day, ok := parseDay(text)
		if !ok {
			return p, fmt.Sprintf("“%s” is not a date. Enter one like %s.", clipped(text), today.Format(time.DateOnly))
		}
		return store.OneDay(day, p.Shift), ""
	}
	from, to := q.Get("from"), q.Get("to")
	if from == "" && to == "" {
		return p, ""
	}
	for _, end := range []struct {
		text string
		into *time.Time
	}{{from, &p.From}, {to, &p.To}} {
		if end.text == "" {
			continue
		}
		day, ok := parseDay(end.text)
		if !ok {
			return p, fmt.Sprintf("“%s” is not a date. Enter one like %s.", clipped(end.text), today.Format(time.DateOnly))
		}
		*end.into = day
	}
	if from == "" {
		p.From = p.To.AddDate(0, 0, 1-days)
	}
	if to == "" {
		p.To = today
	}
	if p.To.Before(p.From) {
		return p, fmt.Sprintf("The period ends on %s, before it begins on %s. Exchange the two dates.", p.To.Format(time.DateOnly), p.From.Format(time.DateOnly))
	}
	return p, ""
}

// periodWords names a period in a sentence.
func periodWords(p store.Period, today time.Time) string {
	words := dayTitle(p.From, today)
	if !p.To.Equal(p.From) {
		words = p.From.Format("2 January") + " to " + p.To.Format("2 January 2006")
	}
	if p.Shift != "" {
		return words + ", " + p.Shift + " shift"
	}
	return words
}

// periodQuery is a period as the pairs of an address.
func periodQuery(p store.Period) []string {
	if p.From.Equal(p.To) {
		return []string{"date", p.From.Format(time.DateOnly), "shift", p.Shift}
	}
	return []string{"from", p.From.Format(time.DateOnly), "to", p.To.Format(time.DateOnly), "shift", p.Shift}
}

// clipped shortens text that is quoted back.
func clipped(s string) string {
	if runes := []rune(s); len(runes) > 40 {
		return string(runes[:40]) + "…"
	}
	return s
}

// dash stands for a word that is missing.
func dash(s string) string {
	if s == "" {
		return "–"
	}
	return s
}
