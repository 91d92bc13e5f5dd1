package web

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"strings"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/ui"
)

// chosen returns the id chosen in a select that may be left to what was used last, and whether there is one.
func (sh *sheet) chosen(field, role string) (uuid.UUID, bool) {
	text := sh.Values.Get(field)
	if text == "" && !sh.Values.Has(field) {
		id, ok := sh.form.LastUsed[role]
		return id, ok
	}
	id, err := uuid.Parse(text)
	return id, err == nil
}

// use returns what a select names as something that went into the act; nothing when it names nothing.
func (sh *sheet) use(field, role string) []store.Use {
	id, err := uuid.Parse(sh.Values.Get(field))
	if err != nil {
		return nil
	}
	return []store.Use{{Role: role, ID: id}}
}

// field prints one slot with its range, the spec's limits and what is typed.
func (sh *sheet) field(slot form.Slot, limits quality.Limits) ui.Field {
	c, _ := quality.CharacteristicOf(slot.Characteristic)
	f := ui.Field{Name: slot.Name, Label: slot.Label, Unit: slot.Unit.Symbol(), Range: c.Range(slot.Unit), Value: sh.Values.Get(slot.Name),
		Source: sh.Values.Get(slot.Name + "-source"), Raw: sh.Values.Get(slot.Name + "-raw"), Absent: sh.Values.Get(slot.Name + "-absent"),
		Problem: sh.Wrong[slot.Name], Optional: slot.Optional}
	if slot.Optional {
		f.Range += ", optional"
	}
	if !limits.None() {
		f.Limit = limits.String()
		f.Low, f.High = bound(limits.Low, slot.Unit), bound(limits.High, slot.Unit)
	}
	low, err1 := quality.Convert(c.Low, c.Canonical(), slot.Unit)
	high, err2 := quality.Convert(c.High, c.Canonical(), slot.Unit)
	if err1 == nil && err2 == nil {
		f.PlausibleLow, f.PlausibleHigh = quality.Number(low, 4), quality.Number(high, 4)
	}
	return f
}

// bound prints one limit as a plain number in a unit, or "" when there is none.
func bound(l *quality.Limit, unit quality.Unit) string {
	if l == nil {
		return ""
	}
	value, err := l.In(unit)
	if err != nil {
		return ""
	}
	return quality.Number(value, 6)
}

// temperature is the unit the site reads temperatures in.
func (sh *sheet) temperature() quality.Unit { return quality.Unit(sh.visit.site.TemperatureUnit) }

// instruments prints gauges as choices, with whether they may be used.
func (sh *sheet) instruments(list []store.Instrument, selected uuid.UUID) []ui.Choice {
	var choices []ui.Choice
	for _, i := range list {
		hint := "not verified yet"
		if i.VerifiedAt != nil {
			hint = fmt.Sprintf("%s %s", verifiedWord(i), i.VerifiedAt.In(sh.visit.site.Location()).Format("2 Jan 15:04"))
		}
		choices = append(choices, ui.Choice{Value: i.ID.String(), Label: i.Code, Hint: hint, Code: i.Code, Chosen: i.ID == selected})
	}
	return choices
}

func verifiedWord(i store.Instrument) string {
	if i.Verdict == string(quality.Pass) {
		return "verified"
	}
	return "failed"
}

// stations prints stations as choices; the only one is chosen by itself.
func stationChoices(list []store.Station, selected uuid.UUID) []ui.Choice {
	var choices []ui.Choice
	for _, st := range list {
		choices = append(choices, ui.Choice{Value: st.ID.String(), Label: st.Name, Code: st.Code, Chosen: st.ID == selected})
	}
	return choices
}

// onPart finds the part an address is about.
func onPart(s *Server, r *http.Request) (store.Subject, string, error) {
	p, err := s.store.PartBySerial(r.Context(), visitFrom(r).site.ID, param(r, "serial"))
	return store.Subject{Kind: quality.OnPart, ID: p.ID}, "/parts/" + url.PathEscape(p.Serial), err
}

// onRack finds the rack an address is about.
func onRack(s *Server, r *http.Request) (store.Subject, string, error) {
	k, err := s.store.RackByNumber(r.Context(), visitFrom(r).site.ID, param(r, "number"))
	return store.Subject{Kind: quality.OnRack, ID: k.ID}, "/racks/" + url.PathEscape(k.Number), err
}

// onLoad finds the oven load an address is about.
func onLoad(s *Server, r *http.Request) (store.Subject, string, error) {
	l, err := s.store.LoadByNumber(r.Context(), visitFrom(r).site.ID, param(r, "number"))
	return store.Subject{Kind: quality.OnLoad, ID: l.ID}, "/loads/" + url.PathEscape(l.Number), err
}

// onGauge finds the gauge an address is about.
func onGauge(s *Server, r *http.Request) (store.Subject, string, error) {
	g, err := gaugeByCode(r.Context(), s, visitFrom(r).site.ID, param(r, "code"))
	return store.Subject{Kind: quality.OnInstrument, ID: g.ID}, "/bench", err
}

func gaugeByCode(ctx context.Context, s *Server, site uuid.UUID, code string) (store.Instrument, error) {
	return s.store.InstrumentByCode(ctx, site, strings.ToUpper(code))
}
