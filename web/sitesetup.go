package web

import (
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
)

var (
	siteName      = form.Entry{Kind: form.Text, Name: "name", Label: "Name of the site", Max: 80}
	siteFilmUnit  = form.Entry{Kind: form.Pick, Name: "film_unit", Label: "Film thickness in", Options: optionsOf("um", "µm", "mil", "mil")}
	siteTempUnit  = form.Entry{Kind: form.Pick, Name: "temperature_unit", Label: "Temperatures in", Options: optionsOf("degC", "°C", "degF", "°F")}
	siteLate      = form.Entry{Kind: form.Whole, Name: "late_after", Label: "An entry is late after", Unit: "min", Low: 1, High: 10080}
	siteClock     = form.Entry{Kind: form.Whole, Name: "clock_limit", Label: "A tablet's clock may be off by", Unit: "s", Low: 5, High: 3600}
	siteIdle      = form.Entry{Kind: form.Whole, Name: "idle", Label: "A tablet locks after", Unit: "min", Low: 1, High: 480}
	siteOverrides = form.Entry{Kind: form.Tick, Name: "overrides", Label: "A supervisor may authorise exceptions", Hint: "such as a lot past its date; each needs a reason and shows on the part"}
	shiftName     = form.Entry{Kind: form.Text, Label: "name", Max: 30, Optional: true, Wide: true}
	shiftStart    = form.Entry{Kind: form.Text, Label: "starts at", Max: 5, Optional: true}
	siteEntries   = []form.Entry{siteName, siteFilmUnit, siteTempUnit, siteLate, siteClock, siteIdle}
)

// shiftRows is how many shifts a site can have.
const shiftRows = 6

func (s *Server) sitePage(w http.ResponseWriter, r *http.Request) error {
	site := visitFrom(r).site
	stands := values("name", site.Name, "film_unit", site.FilmUnit, "temperature_unit", site.TemperatureUnit, "late_after", strconv.Itoa(site.LateAfterMinutes),
		"clock_limit", strconv.Itoa(site.ClockLimitSeconds), "idle", strconv.Itoa(site.IdleMinutes), "overrides", yes(site.OverridesAllowed))
	for i, name := range site.ShiftNames {
		minutes := site.ShiftStarts[i].Microseconds / 60_000_000
		stands.Set(fmt.Sprintf("shift%d-name", i), name)
		stands.Set(fmt.Sprintf("shift%d-start", i), fmt.Sprintf("%02d:%02d", minutes/60, minutes%60))
	}
	return s.renderSite(w, r, http.StatusOK, form.New(stands), "")
}

func (s *Server) renderSite(w http.ResponseWriter, r *http.Request, status int, a *form.Answers, problem string) error {
	v := visitFrom(r)
	f := simpleForm("/setup/site", "Save", problem, fields(a, siteName, siteFilmUnit, siteTempUnit))
	shifts := page.SetupGroup{Legend: "Shifts", Note: "In order of their start, such as 06:00. The first one opens the shop day; a night shift that ends after midnight belongs to the day it began on."}
	for i := range shiftRows {
		name := fmt.Sprintf("shift%d", i)
		shifts.Fields = append(shifts.Fields, span(a, name, fmt.Sprintf("Shift %d", i+1), "", shiftName.As(name+"-name"), shiftStart.As(name+"-start")))
	}
	f.Groups = append(f.Groups, shifts, page.SetupGroup{Legend: "Tablets and exceptions", Fields: fields(a, siteIdle, siteLate, siteClock, siteOverrides)})
	return s.render(w, r, status, page.SetupThing(page.SetupThingView{Frame: s.deskFrame(v, "Site", "Setup"), Subject: "Site", Title: "How does this site work?",
		Facts: []page.DeskFact{page.Plain("Code", v.site.Code), page.Plain("Time zone", v.site.TimeZone)},
		Parts: []page.SetupSection{{Head: "Settings", Note: "Code and time zone stay as they are. Records already written keep their shop day and shift.", Form: &f}}}))
}

func readShifts(a *form.Answers) []store.Shift {
	var shifts []store.Shift
	for i := range shiftRows {
		name := fmt.Sprintf("shift%d", i)
		if rowEmpty(a, []form.Entry{shiftName.As(name + "-name"), shiftStart.As(name + "-start")}) {
			continue
		}
		nameEntry, startEntry := shiftName.As(name+"-name"), shiftStart.As(name+"-start")
		nameEntry.Optional, nameEntry.Label = false, fmt.Sprintf("Shift %d, name", i+1)
		startEntry.Optional, startEntry.Label, startEntry.Hint = false, fmt.Sprintf("Shift %d, start", i+1), "hours and minutes such as 06:00"
		shifts = append(shifts, store.Shift{Name: a.Text(nameEntry), Start: strings.TrimSpace(a.Text(startEntry))})
	}
	if len(shifts) == 0 {
		a.Say("shift0-name", "Give the site at least one shift, such as Day from 06:00.")
	}
	return shifts
}

func (s *Server) changeSite(w http.ResponseWriter, r *http.Request) error {
	a := form.New(r.PostForm)
	n := store.SiteSettings{Name: a.Text(siteName), Shifts: readShifts(a), FilmUnit: a.Pick(siteFilmUnit), TemperatureUnit: a.Pick(siteTempUnit),
		LateAfterMinutes: a.Whole(siteLate), ClockLimitSeconds: a.Whole(siteClock), IdleMinutes: a.Whole(siteIdle), OverridesAllowed: a.Yes("overrides")}
	problem, err := attempt(a, siteEntries, func() error { return s.store.ChangeSite(r.Context(), visitFrom(r).actor, n) })
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderSite(w, r, http.StatusUnprocessableEntity, a, problem)
	}
	return s.done(w, r, "/setup/site", "The site's settings are saved.")
}
