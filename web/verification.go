package web

import (
	"fmt"
	"net/http"

	"github.com/a-h/templ"
	"github.com/go-chi/chi/v5"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/page"
	"coatbook/web/ui"
)

// verification proves a gauge on the bare plate and on certified shims.
func (s *Server) verification(w http.ResponseWriter, r *http.Request) error {
	g, err := s.store.InstrumentByCode(r.Context(), visitFrom(r).site.ID, chi.URLParam(r, "code"))
	if err != nil {
		return err
	}
	k := entryKind{kind: quality.Verification, fields: func(e *entryForm) func(page.Entry) templ.Component { return verificationFields(e, g) }}
	return s.enter(w, r, k, store.Subject{Kind: quality.OnInstrument, ID: g.ID}, "serial "+g.MakerSerial, "/bench")
}

func verificationFields(e *entryForm, g store.Instrument) func(page.Entry) templ.Component {
	v := page.VerificationView{Last: "not verified yet"}
	if g.VerifiedAt != nil {
		v.Last = fmt.Sprintf("%s at %s", g.Verdict, g.VerifiedAt.In(e.visit.site.Location()).Format("15:04 on 2 January"))
	}
	unit := quality.Unit(g.Unit)
	gauge := quality.Gauge{Abs: g.ToleranceAbs, Share: g.ToleranceShare, Unit: unit}
	v.Zero = []ui.Field{e.reading(measure{name: "zero", characteristic: "zero_reading", label: "Bare plate of the same alloy", unit: unit,
		limits: quality.Between(-gauge.Abs, gauge.Abs, unit)})}
	for _, shim := range e.form.Shims {
		if shim.Nominal == nil {
			continue
		}
		allowed := gauge.Abs + gauge.Share**shim.Nominal + shim.ToleranceAbs + shim.ToleranceShare**shim.Nominal
		row := page.ShimRow{Code: shim.Code, Nominal: quality.Number(*shim.Nominal, 2) + " " + quality.Unit(shim.Unit).Symbol(), Allowed: "± " + quality.Number(allowed, 2)}
		// Two shims around the working range are enough; which ones is the inspector's choice.
		row.Reading = e.reading(measure{name: "shim-" + shim.Code, characteristic: "shim_reading", label: "Shim " + shim.Code, location: shim.Code, unit: unit, optional: true,
			limits: quality.Between(*shim.Nominal-allowed, *shim.Nominal+allowed, quality.Unit(shim.Unit))})
		if e.posted() && row.Reading.Value != "" && row.Reading.Problem == "" {
			e.uses = append(e.uses, store.Use{Role: "shim", ID: shim.ID})
		}
		v.Shims = append(v.Shims, row)
	}
	return func(entry page.Entry) templ.Component {
		v.Entry = entry
		return page.Verification(v)
	}
}
