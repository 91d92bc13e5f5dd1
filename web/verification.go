package web

import (
	"fmt"
	"net/http"

	"github.com/a-h/templ"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
)

var verificationEntry = entryKind{kind: quality.Verification, find: onGauge, read: readVerification, show: showVerification}

// verification records the verification of a gauge.
func (s *Server) verification(w http.ResponseWriter, r *http.Request) error {
	return s.enter(w, r, verificationEntry)
}

func (sh *sheet) zeroSlot() form.Slot {
	return form.Slot{Name: "zero", Label: "Bare plate", Characteristic: "zero_reading", Unit: sh.filmUnit()}
}

func (sh *sheet) shimSlot(shim store.Instrument) form.Slot {
	label := "Shim " + shim.Code
	if shim.Nominal != nil {
		label += ", " + quality.Number(*shim.Nominal, 2) + " " + quality.Unit(shim.Unit).Symbol()
	}
	return form.Slot{Name: "shim-" + shim.Code, Label: label, Characteristic: "shim_reading", Location: shim.Code, Unit: sh.filmUnit(), Optional: true}
}

func readVerification(sh *sheet) (quality.Check, []store.Use) {
	check := quality.Check{Kind: quality.Verification, Readings: sh.Readings([]form.Slot{sh.zeroSlot()}, sh.visit.comma())}
	var uses []store.Use
	for _, shim := range sh.form.Shims {
		if r, ok := sh.Reading(sh.shimSlot(shim), sh.visit.comma()); ok {
			check.Readings = append(check.Readings, r)
			uses = append(uses, store.Use{Role: "shim", ID: shim.ID})
		}
	}
	if len(uses) < 2 && len(sh.form.Shims) > 0 {
		sh.Say("shim-"+sh.form.Shims[0].Code, "Shims: read at least two, one below and one above the film.")
	}
	return check, uses
}

func showVerification(sh *sheet, e page.Entry) templ.Component {
	e.Unit = string(sh.filmUnit())
	v := page.VerificationView{Entry: e}
	zero := sh.field(sh.zeroSlot(), quality.Limits{})
	zero.First = zero.Value == ""
	v.Zero = append(v.Zero, zero)
	for _, shim := range sh.form.Shims {
		v.Shims = append(v.Shims, page.ShimRow{Code: shim.Code, Reading: sh.field(sh.shimSlot(shim), quality.Limits{})})
	}
	g := sh.form.Circumstance.Gauge
	v.Facts = append(v.Facts, page.Fact{Name: "Permitted error", Value: fmt.Sprintf("± %s %s and %s %% of the value", quality.Number(g.Abs, 3), g.Unit.Symbol(), quality.Number(g.Share*100, 2))})
	v.Last = "Verify before the first reading of the shift, at its end, and after a drop."
	return page.Verification(v)
}
