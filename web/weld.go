package web

import (
	"fmt"
	"net/http"
	"strconv"

	"github.com/a-h/templ"
	"github.com/go-chi/chi/v5"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/page"
	"coatbook/web/ui"
)

// enterOnPart answers an entry page about one part.
func (s *Server) enterOnPart(w http.ResponseWriter, r *http.Request, k entryKind) error {
	p, err := s.store.PartBySerial(r.Context(), visitFrom(r).site.ID, chi.URLParam(r, "serial"))
	if err != nil {
		return err
	}
	about := fmt.Sprintf("%s %s, cycle %d", p.PartName, p.PartNumber, p.Cycle)
	return s.enter(w, r, k, store.Subject{Kind: quality.OnPart, ID: p.ID}, about, "/parts/"+p.Serial)
}

func (s *Server) weld(w http.ResponseWriter, r *http.Request) error {
	return s.enterOnPart(w, r, entryKind{kind: quality.Weld, hazards: []string{"weld"}, fields: weldFields})
}

func weldFields(e *entryForm) func(page.Entry) templ.Component {
	spec := quality.WeldSpec{}
	if e.form.Spec.Weld != nil {
		spec = *e.form.Spec.Weld
	}
	v := page.WeldView{Aids: []ui.Choice{{Value: "eye", Label: "Eye"}, {Value: "lens", Label: "Lens"}, {Value: "mirror", Label: "Mirror"}, {Value: "gauge", Label: "Gauge"}}}
	v.Welder = e.pick("welder", ui.Select{Label: "Welder", Hint: "scan a badge or choose", Empty: "choose", Choices: people(e.form.Welders)}, "Welder: choose who welded.")
	v.Light = e.reading(measure{name: "light", characteristic: "light", limits: spec.Light})
	v.Aids, _ = e.rating("aid", "viewing_aid", "", v.Aids)
	v.Found = e.defects(page.DefectLines{Legend: "What was found", None: "None found on any weld", Groups: weldGroups(), PlaceHint: "weld 3, toe"})
	sized := !spec.Leg.None() || !spec.Throat.None()
	for weld := 1; sized && weld <= e.form.Circumstance.Welds; weld++ {
		n := strconv.Itoa(weld)
		size := page.WeldSize{Number: n}
		size.Leg = e.reading(measure{name: "leg-" + n, characteristic: "weld_leg", label: "Weld " + n + ", leg", spot: weld, limits: spec.Leg, optional: spec.Leg.None()})
		size.Throat = e.reading(measure{name: "throat-" + n, characteristic: "weld_throat", label: "Weld " + n + ", throat", spot: weld, limits: spec.Throat, optional: spec.Throat.None()})
		v.Sizes = append(v.Sizes, size)
	}
	if !spec.Leg.None() {
		v.Asked = "leg " + spec.Leg.String()
	}
	if !spec.Throat.None() {
		v.Asked += " throat " + spec.Throat.String()
	}
	return func(entry page.Entry) templ.Component {
		entry.Facts = append(entry.Facts, page.Fact{Name: "Level", Value: spec.Level}, page.Fact{Name: "Wall", Value: quality.Number(e.form.Circumstance.WallMM, 1) + " mm"})
		v.Entry = entry
		return page.Weld(v)
	}
}

func people(all []store.Person) []ui.Choice {
	var choices []ui.Choice
	for _, p := range all {
		choices = append(choices, ui.Choice{Value: p.ID.String(), Label: p.Name})
	}
	return choices
}

// weldGroups is the catalogue of ISO 6520-1 numbers by group.
func weldGroups() []page.CodeGroup {
	var groups []page.CodeGroup
	for _, w := range quality.WeldImperfections {
		if len(groups) == 0 || groups[len(groups)-1].Name != w.Group {
			groups = append(groups, page.CodeGroup{Name: w.Group})
		}
		last := &groups[len(groups)-1]
		last.Codes = append(last.Codes, ui.Choice{Value: w.Code, Label: w.Code + " " + w.Name})
	}
	return groups
}
