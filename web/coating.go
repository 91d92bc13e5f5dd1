package web

import (
	"fmt"
	"net/http"
	"strings"

	"github.com/a-h/templ"
	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
	"coatbook/web/ui"
)

var coatingEntry = entryKind{kind: quality.Coating, find: onRack, read: readCoating, show: showCoating, hazards: []string{"coating"}}

// coating records the coating run of a rack; the first of a shift in a booth carries the booth's start-up.
func (s *Server) coating(w http.ResponseWriter, r *http.Request) error {
	started, err := s.startedBooths(r.Context(), visitFrom(r))
	if err != nil {
		return err
	}
	kind := coatingEntry
	kind.started = started
	return s.enter(w, r, kind)
}

// coatingSlots are the conditions at the booth and at the gun; what the spec limits must be measured.
func (sh *sheet) coatingSlots() (booth, gun []form.Slot) {
	spec := quality.CoatingSpec{}
	if sh.form.Spec.Coating != nil {
		spec = *sh.form.Spec.Coating
	}
	slot := func(code string, unit quality.Unit, asked bool) form.Slot {
		c, _ := quality.CharacteristicOf(code)
		return form.Slot{Name: code, Label: c.Name, Characteristic: code, Unit: unit, Optional: !asked}
	}
	dew := spec.DewPointMarginC > 0
	booth = []form.Slot{
		slot("air_temperature", sh.temperature(), dew || !spec.Air.None()),
		slot("humidity", quality.Percent, dew || !spec.Humidity.None()),
		slot("surface_temperature", sh.temperature(), false),
	}
	gun = []form.Slot{
		slot("gun_voltage", quality.Kilovolt, !spec.Voltage.None()),
		slot("gun_current", quality.Microampere, false),
		slot("ground_resistance", quality.Megohm, !spec.Ground.None()),
		slot("reclaim", quality.Percent, false),
	}
	return booth, gun
}

func (sh *sheet) coatingLimits(code string) quality.Limits {
	spec := sh.form.Spec.Coating
	if spec == nil {
		return quality.Limits{}
	}
	return map[string]quality.Limits{"air_temperature": spec.Air, "humidity": spec.Humidity, "gun_voltage": spec.Voltage, "ground_resistance": spec.Ground}[code]
}

func readCoating(sh *sheet) (quality.Check, []store.Use) {
	lot, station := sh.use("powder", "powder"), sh.use("booth", "booth")
	starts := len(station) > 0 && sh.starts(station[0].ID)
	booth, gun := sh.coatingSlots()
	for i := range gun {
		if starts && gun[i].Characteristic == "ground_resistance" {
			gun[i].Optional = false
		}
	}
	check := quality.Check{Kind: quality.Coating, Readings: sh.Readings(append(booth, gun...), sh.visit.comma())}
	if starts {
		sh.readStart(&check)
	}
	if len(lot) == 0 {
		sh.Say("powder", "Powder lot: scan or choose the lot.")
	}
	if len(station) == 0 {
		sh.Say("booth", "Booth: choose where it was sprayed.")
	}
	return check, append(lot, station...)
}

func showCoating(sh *sheet, e page.Entry) templ.Component {
	booth, gun := sh.coatingSlots()
	v := page.CoatingView{Entry: e}
	for _, slot := range booth {
		v.Booths = append(v.Booths, sh.field(slot, sh.coatingLimits(slot.Characteristic)))
	}
	for _, slot := range gun {
		v.Gun = append(v.Gun, sh.field(slot, sh.coatingLimits(slot.Characteristic)))
	}
	if spec := sh.form.Spec.Coating; spec != nil && len(spec.Powders) > 0 {
		v.Allowed = "the spec allows " + strings.Join(spec.Powders, ", ")
	}
	if since := sh.form.Circumstance.SincePretreatment; since > 0 {
		v.Since = fmt.Sprintf("%d h %d min since pretreatment.", int(since.Hours()), int(since.Minutes())%60)
		if p := sh.form.Spec.Pretreatment; p != nil && p.MaxHoursToCoat > 0 {
			v.Since += fmt.Sprintf(" The spec allows %s h.", quality.Number(p.MaxHoursToCoat, 2))
		}
	}
	v.Lot = sh.lotSelect("powder", "powder", store.Powder, true)
	station, known := sh.chosen("booth", "booth")
	if !known && sh.visit.device != nil && sh.visit.device.StationKind == "booth" {
		station = sh.visit.device.StationID.UUID
	}
	v.Start = sh.startView(station, station != uuid.Nil)
	v.Booth = ui.Select{Name: "booth", Label: "Booth", Empty: "choose", Scan: "STATION", Problem: sh.Wrong["booth"], Choices: stationChoices(sh.form.Booths, station)}
	return page.Coating(v)
}
