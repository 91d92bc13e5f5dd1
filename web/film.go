package web

import (
	"fmt"
	"net/http"
	"strconv"

	"github.com/a-h/templ"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/page"
	"coatbook/web/ui"
)

func (s *Server) film(w http.ResponseWriter, r *http.Request) error {
	return s.enterOnPart(w, r, entryKind{kind: quality.Film, hazards: []string{"hot"}, fields: filmFields, plan: true})
}

func filmFields(e *entryForm) func(page.Entry) templ.Component {
	spec := quality.FilmSpec{}
	if e.form.Spec.Film != nil {
		spec = *e.form.Spec.Film
	}
	unit := e.unit
	v := page.FilmView{Outline: e.form.Sketch, UnitSymbol: unit.Symbol(), SketchWords: "Where the film is measured on this part"}
	other := quality.Mil
	if unit == quality.Mil {
		other = quality.Micrometre
	}
	v.OtherUnit, v.OtherHref = other.Symbol(), "?unit="+string(other)
	limits := filmBounds(spec, unit)
	v.Low, v.High, v.Floor, v.Minimum = plainNumber(limits.low), plainNumber(limits.high), plainNumber(limits.floor), plainNumber(limits.minimum)
	v.LimitsHead = spec.Limits.String()
	v.Absences = []ui.Choice{{Value: string(quality.NotMeasured), Label: "cannot be reached"}, {Value: string(quality.NotApplicable), Label: "does not apply"}}
	perSpot := max(e.form.Circumstance.PerSpot, spec.ReadingsPerSpot, 1)
	for i := range perSpot {
		v.Columns = append(v.Columns, strconv.Itoa(i+1))
	}
	for i, spot := range filmSpots(e.form, spec) {
		v.Spots = append(v.Spots, filmSpot(e, spot, perSpot, limits))
		state := "missing"
		if i == 0 && !e.posted() {
			state = "next"
		}
		v.Marks = append(v.Marks, ui.SketchSpot{Number: strconv.Itoa(spot.Spot), X: strconv.Itoa(spot.X), Y: strconv.Itoa(spot.Y), State: state})
	}
	if len(v.Spots) > 0 && len(v.Spots[0].Readings) > 0 {
		v.Spots[0].Readings[0].First = true
	}
	v.Gauge = e.pick("gauge", ui.Select{Label: "Gauge", Hint: "scan or choose", Scan: "GAUGE", Empty: "choose", Choices: gauges(e.form.Gauges)}, "Gauge: scan or choose the one that took these readings.")
	return func(entry page.Entry) templ.Component {
		entry.Unit = string(unit)
		entry.Facts = append(entry.Facts, page.Fact{Name: "Film", Value: spec.Limits.String()}, page.Fact{Name: "Rule", Value: quality.FilmRuleNames[spec.Rule]})
		if len(e.form.Parts) > 0 && e.form.Parts[0].Load != "" {
			entry.Facts = append(entry.Facts, page.Fact{Name: "Load", Value: e.form.Parts[0].Load})
		}
		v.Entry = entry
		return page.Film(v)
	}
}

// filmSpots is the part's measuring plan; without one, as many unnamed spots as the spec asks.
func filmSpots(f store.Form, spec quality.FilmSpec) []store.Spot {
	if len(f.Spots) > 0 {
		return f.Spots
	}
	var spots []store.Spot
	for i := range max(spec.Spots, 1) {
		spots = append(spots, store.Spot{Spot: i + 1, Area: "A", Place: fmt.Sprintf("Spot %d", i+1), X: 40 + 48*i, Y: 132})
	}
	return spots
}

// filmSpot is one row of the page and, when posted, its readings.
func filmSpot(e *entryForm, spot store.Spot, perSpot int, limits spotBounds) page.FilmSpot {
	n := strconv.Itoa(spot.Spot)
	row := page.FilmSpot{Number: n, Place: spot.Place, Strip: ui.NewLimitStrip(limits.low, limits.high, limits.floor, nil, "Limits of a spot")}
	if e.posted() {
		row.Absent = e.values.Get("spot-" + n + "-absent")
	}
	for rep := 1; rep <= perSpot; rep++ {
		m := measure{name: fmt.Sprintf("film-%d-%d", spot.Spot, rep), characteristic: "film_thickness", label: fmt.Sprintf("Spot %d, reading %d", spot.Spot, rep),
			location: spot.Area, spot: spot.Spot, rep: rep, unit: e.unit}
		if row.Absent != "" {
			// The whole spot has no value; the reason stands on each of its readings.
			e.values.Set(m.name+"-absent", row.Absent)
		}
		f := e.reading(m)
		f.Low, f.High, f.Floor = plainNumber(limits.low), plainNumber(limits.high), plainNumber(limits.floor)
		row.Readings = append(row.Readings, f)
	}
	return row
}

// spotBounds are the limits of a spot in one unit: outside low and high it is flagged, under floor it fails by itself, and
// minimum bounds the mean of all spots.
type spotBounds struct{ low, high, floor, minimum *float64 }

func filmBounds(spec quality.FilmSpec, unit quality.Unit) spotBounds {
	in := func(l *quality.Limit, share float64) *float64 {
		if l == nil {
			return nil
		}
		x, err := l.In(unit)
		if err != nil {
			return nil
		}
		x *= share
		return &x
	}
	b := spotBounds{low: in(spec.Limits.Low, 1), high: in(spec.Limits.High, 1)}
	switch spec.Rule {
	case quality.Areas80:
		b.floor, b.minimum = in(spec.Limits.Low, 0.8), b.low
	case quality.SpotArea:
		b.minimum = b.low
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
	return strconv.FormatFloat(*v, 'g', 12, 64)
}

func gauges(all []store.Instrument) []ui.Choice {
	var choices []ui.Choice
	for _, g := range all {
		hint := "not verified yet"
		if g.VerifiedAt != nil {
			hint = g.Verdict + " at " + g.VerifiedAt.Format("15:04 on 2 Jan")
		}
		choices = append(choices, ui.Choice{Value: g.ID.String(), Label: g.Code, Hint: hint, Code: g.Code})
	}
	return choices
}
