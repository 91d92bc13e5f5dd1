package web

import (
	"fmt"
	"net/http"
	"strings"

	"github.com/a-h/templ"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/page"
	"coatbook/web/ui"
)

func (s *Server) coating(w http.ResponseWriter, r *http.Request) error {
	return s.enterOnRack(w, r, entryKind{kind: quality.Coating, hazards: []string{"coating"}, fields: coatingFields})
}

func coatingFields(e *entryForm) func(page.Entry) templ.Component {
	spec := quality.CoatingSpec{}
	if e.form.Spec.Coating != nil {
		spec = *e.form.Spec.Coating
	}
	v := page.CoatingView{Allowed: strings.Join(spec.Powders, ", ")}
	var lots []ui.Choice
	for _, l := range e.form.Lots {
		lots = append(lots, ui.Choice{Value: l.ID.String(), Label: l.LotNumber, Hint: l.PowderCode + ", expires " + l.ExpiresOn.Format("2006-01-02"), Code: l.LotNumber})
	}
	v.Lot = e.pick("powder", ui.Select{Label: "Powder lot", Hint: "scan the box or choose", Scan: "LOT", Empty: "choose", Choices: lots}, "Powder lot: scan or choose it.")
	v.Booth = e.pick("booth", ui.Select{Label: "Booth", Empty: "choose", Choices: stationChoices(e.form.Booths)}, "Booth: choose where the rack was coated.")
	v.Booths = []ui.Field{
		e.reading(measure{name: "air_temperature", characteristic: "air_temperature", limits: spec.Air, unit: limitUnit(spec.Air)}),
		e.reading(measure{name: "humidity", characteristic: "humidity", limits: spec.Humidity}),
		e.reading(measure{name: "surface_temperature", characteristic: "surface_temperature", optional: true}),
		e.reading(measure{name: "ground_resistance", characteristic: "ground_resistance", limits: spec.Ground, optional: spec.Ground.None()}),
	}
	v.Gun = []ui.Field{
		e.reading(measure{name: "gun_voltage", characteristic: "gun_voltage", limits: spec.Voltage, optional: spec.Voltage.None()}),
		e.reading(measure{name: "gun_current", characteristic: "gun_current", optional: true}),
		e.reading(measure{name: "reclaim", characteristic: "reclaim", optional: true}),
	}
	if p := e.form.Spec.Pretreatment; p != nil {
		if since := e.form.Circumstance.SincePretreatment; since > 0 {
			v.Since = fmt.Sprintf("Pretreated %s ago", hoursMinutes(since))
		}
		if p.MaxHoursToCoat > 0 {
			v.Since = strings.TrimPrefix(v.Since+fmt.Sprintf("; at most %s h between wash and powder", quality.Number(p.MaxHoursToCoat, 1)), "; ")
		}
	}
	return func(entry page.Entry) templ.Component {
		v.Entry = entry
		return page.Coating(v)
	}
}

func stationChoices(all []store.Station) []ui.Choice {
	var choices []ui.Choice
	for _, s := range all {
		choices = append(choices, ui.Choice{Value: s.ID.String(), Label: s.Name, Code: s.Code})
	}
	return choices
}
