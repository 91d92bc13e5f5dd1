package web

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"

	"github.com/a-h/templ"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
	"coatbook/web/ui"
)

var calibrationEntry = entryKind{kind: quality.Calibration, find: onDevice, read: readCalibration, show: showCalibration}

// calibration records the calibration of a device, as found and as left.
func (s *Server) calibration(w http.ResponseWriter, r *http.Request) error {
	return s.enter(w, r, calibrationEntry)
}

// onDevice finds the device an address is about, and leads back to its page.
func onDevice(s *Server, r *http.Request) (store.Subject, string, error) {
	g, err := gaugeByCode(r.Context(), s, visitFrom(r).site.ID, param(r, "code"))
	return store.Subject{Kind: quality.OnInstrument, ID: g.ID}, "/gauges/" + url.PathEscape(g.Code), err
}

// calibrationPoints is how many points the form has room for.
const calibrationPoints = 5

// calibrationWords are the words that a calibration keeps, with the names of their fields.
var calibrationWords = []struct{ name, rating, label, hint string }{
	{"standard_name", quality.RatingStandard, "Standard not in the register", "what it is called, such as Step block 7"},
	{"standard_certificate", quality.RatingStandardRef, "Its certificate", "number"},
	{"laboratory", quality.RatingLaboratory, "Calibrated by", "the laboratory; empty for our own"},
	{"certificate", quality.RatingCertificate, "Certificate of this calibration", "number"},
}

var coverageField = struct{ name, label, hint string }{"coverage_k", "Coverage factor k", "1 to 10, usually 2, from the certificate"}

func (sh *sheet) deviceUnit() quality.Unit { return sh.form.Circumstance.Gauge.Unit }

// pointSlots are the known value and the readings of one point.
func (sh *sheet) pointSlots(n int) []form.Slot {
	q, unit := quality.QuantityOf(sh.deviceUnit()), sh.deviceUnit()
	slot := func(name, label string) form.Slot {
		return form.Slot{Name: fmt.Sprintf("%s-%d", name, n), Label: label, Characteristic: name + "_" + q, Spot: n, Unit: unit, Optional: true}
	}
	return []form.Slot{slot("reference", "Value of the standard"), slot("found", "As found"), slot("left", "As left, if adjusted")}
}

func (sh *sheet) conditionSlots() []form.Slot {
	return []form.Slot{{Name: "air_temperature", Label: "Air temperature", Characteristic: "air_temperature", Unit: sh.temperature()},
		{Name: "humidity", Label: "Relative humidity", Characteristic: "humidity", Unit: quality.Percent}}
}

func (sh *sheet) uncertaintySlot() form.Slot {
	return form.Slot{Name: "uncertainty", Label: "Expanded uncertainty", Characteristic: "uncertainty_" + quality.QuantityOf(sh.deviceUnit()), Unit: sh.deviceUnit()}
}

func readCalibration(sh *sheet) (quality.Check, []store.Use) {
	check := quality.Check{Kind: quality.Calibration, Readings: sh.Readings(append(sh.conditionSlots(), sh.uncertaintySlot()), sh.visit.comma())}
	points := 0
	for n := 1; n <= calibrationPoints; n++ {
		for i, slot := range sh.pointSlots(n) {
			if r, ok := sh.Reading(slot, sh.visit.comma()); ok {
				check.Readings = append(check.Readings, r)
				if i == 0 {
					points++
				}
			}
		}
	}
	if points == 0 {
		sh.Say("reference-1", "Value of the standard: enter at least one point.")
	}
	for _, w := range calibrationWords {
		if text := strings.TrimSpace(sh.Values.Get(w.name)); text != "" {
			if len([]rune(text)) > 80 {
				sh.Say(w.name, w.label+" has more than 80 characters.")
			}
			check.Ratings = append(check.Ratings, quality.Rating{Characteristic: w.rating, Code: text})
		}
	}
	k := form.Entry{Kind: form.Number, Name: coverageField.name, Label: coverageField.label, Low: 1, High: 10}
	if sh.Number(k) != nil {
		check.Ratings = append(check.Ratings, quality.Rating{Characteristic: quality.RatingCoverage, Code: strings.Replace(strings.TrimSpace(sh.Values.Get(k.Name)), ",", ".", 1)})
	}
	return check, sh.use("standard", "standard")
}

func showCalibration(sh *sheet, e page.Entry) templ.Component {
	v := page.CalibrationView{Entry: e, Coverage: ui.TextField{Name: coverageField.name, Label: coverageField.label, Hint: coverageField.hint,
		Value: sh.Values.Get(coverageField.name), Problem: sh.Wrong[coverageField.name]}}
	for n := 1; n <= calibrationPoints; n++ {
		p := page.CalibrationPoint{Title: fmt.Sprintf("Point %d", n)}
		for i, slot := range sh.pointSlots(n) {
			f := sh.field(slot, quality.Limits{})
			f.First = n == 1 && i == 0 && f.Value == ""
			p.Fields = append(p.Fields, f)
		}
		v.Points = append(v.Points, p)
	}
	v.Standard = ui.Select{Name: "standard", Label: "Standard from the register", Empty: "none of these", Problem: sh.Wrong["standard"]}
	for _, s := range sh.form.Standards {
		v.Standard.Choices = append(v.Standard.Choices, ui.Choice{Value: s.ID.String(), Label: s.Code, Hint: s.Certificate, Code: s.Code, Chosen: s.ID.String() == sh.Values.Get("standard")})
	}
	for _, w := range calibrationWords {
		v.Named = append(v.Named, ui.TextField{Name: w.name, Label: w.label, Hint: w.hint, Value: sh.Values.Get(w.name), Problem: sh.Wrong[w.name], Optional: true})
	}
	for _, slot := range sh.conditionSlots() {
		v.Conditions = append(v.Conditions, sh.field(slot, quality.Limits{}))
	}
	v.How = append(v.How, sh.field(sh.uncertaintySlot(), quality.Limits{}))
	g := sh.form.Circumstance.Gauge
	v.Facts = append(v.Facts, page.Fact{Name: "Permitted error", Value: fmt.Sprintf("± %s %s and %s %% of the value", quality.Number(g.Abs, 3), g.Unit.Symbol(), quality.Number(g.Share*100, 2))})
	return page.Calibration(v)
}
