package web

import (
	"fmt"
	"net/http"
	"strconv"

	"github.com/a-h/templ"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
	"coatbook/web/ui"
)

var filmEntry = entryKind{kind: quality.Film, find: onPart, read: readFilm, show: showFilm, hazards: []string{"hot"}}

// film records the film thickness of a part.
func (s *Server) film(w http.ResponseWriter, r *http.Request) error { return s.enter(w, r, filmEntry) }

// filmUnit is the unit of this form: as switched on the page, else the person's.
func (sh *sheet) filmUnit() quality.Unit {
	switch unit := quality.Unit(sh.Values.Get("unit")); unit {
	case quality.Micrometre, quality.Mil:
		return unit
	}
	return quality.Unit(sh.visit.unit())
}

// filmSpots are the spots of the measuring plan, or plainly numbered ones where the part number has no plan yet.
func (sh *sheet) filmSpots() []store.Spot {
	if len(sh.form.Spots) > 0 || sh.form.Spec.Film == nil {
		return sh.form.Spots
	}
	var spots []store.Spot
	for n := 1; n <= sh.form.Spec.Film.Spots; n++ {
		spots = append(spots, store.Spot{Spot: n, Area: "1", Place: "spot " + strconv.Itoa(n), X: 40 + 45*((n-1)%5), Y: 60 + 60*((n-1)/5)})
	}
	return spots
}

func (sh *sheet) filmPerSpot() int {
	per := sh.form.Circumstance.PerSpot
	if film := sh.form.Spec.Film; film != nil {
		per = max(per, film.ReadingsPerSpot)
	}
	return max(per, 1)
}

func (sh *sheet) filmSlot(spot store.Spot, rep int) form.Slot {
	return form.Slot{Name: fmt.Sprintf("film-%d-%d", spot.Spot, rep), Label: fmt.Sprintf("Spot %d, reading %d", spot.Spot, rep), Characteristic: "film_thickness",
		Location: spot.Area, Spot: spot.Spot, Rep: rep, Unit: sh.filmUnit(), Absent: fmt.Sprintf("spot-%d-absent", spot.Spot)}
}

func readFilm(sh *sheet) (quality.Check, []store.Use) {
	check := quality.Check{Kind: quality.Film}
	for _, spot := range sh.filmSpots() {
		for rep := 1; rep <= sh.filmPerSpot(); rep++ {
			if r, ok := sh.Reading(sh.filmSlot(spot, rep), sh.visit.comma()); ok {
				check.Readings = append(check.Readings, r)
			}
		}
	}
	uses := sh.use("gauge", "gauge")
	if len(uses) == 0 {
		sh.Say("gauge", "Gauge: scan or choose the gauge that took these readings.")
	}
	return check, uses
}

// filmBounds are what one reading and one spot are flagged by while typing, in the form's unit. The verdict itself is the
// judge's alone.
type filmBounds struct{ low, high, floor *float64 }

func (sh *sheet) filmBounds() filmBounds {
	spec := sh.form.Spec.Film
	if spec == nil {
		return filmBounds{}
	}
	unit := sh.filmUnit()
	in := func(l *quality.Limit, factor float64) *float64 {
		if l == nil {
			return nil
		}
		value, err := l.In(unit)
		if err != nil {
			return nil
		}
		value *= factor
		return &value
	}
	b := filmBounds{low: in(spec.Limits.Low, 1), high: in(spec.Limits.High, 1)}
	switch spec.Rule {
	case quality.Areas80:
		b.floor = in(spec.Limits.Low, 0.8)
	case quality.SpotArea:
		if spec.Level >= 3 {
			b.floor = in(spec.Limits.Low, 0.8)
		}
		switch spec.Level {
		case 2, 3:
			b.high = in(spec.Limits.High, 1.2)
		case 4:
			b.high = in(spec.Limits.High, 1.5)
		case 5:
			b.high = nil
		}
	case quality.ShareOfReadings:
		b.floor = in(spec.Floor, 1)
	}
	return b
}

func plainNumber(v *float64) string {
	if v == nil {
		return ""
	}
	return quality.Number(*v, 3)
}

func filmRuleWords(spec *quality.FilmSpec) string {
	switch spec.Rule {
	case quality.Areas80:
		return fmt.Sprintf("mean %s, no spot below 80 %% of it", quality.Limits{Low: spec.Limits.Low})
	case quality.SpotArea:
		return fmt.Sprintf("spot and area, level %d", spec.Level)
	case quality.EachReading:
		return "every reading within the limits"
	case quality.ShareOfReadings:
		return fmt.Sprintf("%s %% of readings at the minimum, none below %s", quality.Number(spec.Share*100, 1), spec.Floor)
	}
	return string(spec.Rule)
}

func showFilm(sh *sheet, e page.Entry) templ.Component {
	unit, other := sh.filmUnit(), quality.Mil
	if unit == quality.Mil {
		other = quality.Micrometre
	}
	e.Plan, e.Unit, e.Draft = true, string(unit), sh.action+"|"+string(unit)
	b := sh.filmBounds()
	v := page.FilmView{Entry: e, Outline: sh.form.Sketch, UnitSymbol: unit.Symbol(), OtherUnit: other.Symbol(), OtherHref: sh.action + "?unit=" + string(other),
		Low: plainNumber(b.low), High: plainNumber(b.high), Floor: plainNumber(b.floor), Minimum: plainNumber(b.low), SoFar: "No spot is complete yet.",
		Absences: []ui.Choice{{Value: string(quality.NotMeasured), Label: "cannot be reached"}, {Value: string(quality.NotApplicable), Label: "not applicable"}}}
	if spec := sh.form.Spec.Film; spec != nil {
		v.Facts = append(v.Facts, page.Fact{Name: "Film", Value: spec.Limits.String()}, page.Fact{Name: "Rule", Value: filmRuleWords(spec)})
		v.LimitsHead = limitsHead(b)
	}
	gauge, _ := sh.chosen("gauge", "gauge")
	v.Gauge = ui.Select{Name: "gauge", Label: "Gauge", Scan: "GAUGE", Problem: sh.Wrong["gauge"], Empty: "scan or choose", Choices: sh.instruments(sh.form.Gauges, gauge)}
	spots, per := sh.filmSpots(), sh.filmPerSpot()
	for rep := 1; rep <= per; rep++ {
		v.Columns = append(v.Columns, strconv.Itoa(rep))
	}
	v.SketchWords = fmt.Sprintf("Measuring plan: %d spots", len(spots))
	free := true
	for _, spot := range spots {
		number := strconv.Itoa(spot.Spot)
		row := page.FilmSpot{Number: number, Place: spot.Place, Absent: sh.Values.Get("spot-" + number + "-absent"),
			Strip: ui.NewLimitStrip(b.low, b.high, b.floor, nil, "Limits "+v.LimitsHead+" "+unit.Symbol())}
		for rep := 1; rep <= per; rep++ {
			f := sh.field(sh.filmSlot(spot, rep), quality.Limits{})
			f.High, f.Floor = v.High, v.Floor
			if b.floor == nil {
				f.Low = v.Low
			}
			if free && f.Value == "" && row.Absent == "" {
				f.First, free = true, false
			}
			row.Readings = append(row.Readings, f)
		}
		v.Spots = append(v.Spots, row)
		v.Marks = append(v.Marks, ui.SketchSpot{Number: number, X: strconv.Itoa(spot.X), Y: strconv.Itoa(spot.Y), State: "missing"})
	}
	return page.Film(v)
}

// limitsHead heads the strips: the floor, then the range, such as "48 · 60 to 120".
func limitsHead(b filmBounds) string {
	head := ""
	if b.floor != nil {
		head = plainNumber(b.floor) + " · "
	}
	switch {
	case b.low != nil && b.high != nil:
		return head + plainNumber(b.low) + " to " + plainNumber(b.high)
	case b.low != nil:
		return head + "from " + plainNumber(b.low)
	case b.high != nil:
		return head + "up to " + plainNumber(b.high)
	}
	return head
}
