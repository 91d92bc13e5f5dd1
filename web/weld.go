package web

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"

	"github.com/a-h/templ"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
	"coatbook/web/ui"
)

var weldEntry = entryKind{kind: quality.Weld, find: onPart, read: readWeld, show: showWeld, hazards: []string{"weld"}}

// weld records the weld check of a part.
func (s *Server) weld(w http.ResponseWriter, r *http.Request) error { return s.enter(w, r, weldEntry) }

// ratingAid is what the welds were looked at with.
const ratingAid = "aid"

var aids = []ui.Choice{{Value: "eye", Label: "Eye"}, {Value: "lens", Label: "Lens"}, {Value: "mirror", Label: "Mirror"}, {Value: "gauge", Label: "Weld gauge"}}

// weldSlots are the sizes of each weld, asked for where the spec limits them, and the light.
func (sh *sheet) weldSlots() (light form.Slot, sizes []form.Slot) {
	spec := sh.form.Spec.Weld
	light = form.Slot{Name: "light", Label: "Light at the part", Characteristic: "light", Unit: quality.Lux, Optional: spec == nil || spec.Light.None()}
	if spec == nil {
		return light, nil
	}
	for n := 1; n <= sh.form.Circumstance.Welds; n++ {
		if !spec.Leg.None() {
			sizes = append(sizes, form.Slot{Name: fmt.Sprintf("leg-%d", n), Label: fmt.Sprintf("Weld %d, leg", n), Characteristic: "weld_leg", Spot: n, Unit: quality.Millimetre, Optional: !sh.asked(quality.WeldLeg)})
		}
		if !spec.Throat.None() {
			sizes = append(sizes, form.Slot{Name: fmt.Sprintf("throat-%d", n), Label: fmt.Sprintf("Weld %d, throat", n), Characteristic: "weld_throat", Spot: n, Unit: quality.Millimetre, Optional: !sh.asked(quality.WeldThroat)})
		}
	}
	return light, sizes
}

func knownImperfection(code string) bool {
	return slices.ContainsFunc(quality.WeldImperfections, func(w quality.WeldImperfection) bool { return w.Code == code })
}

func readWeld(sh *sheet) (quality.Check, []store.Use) {
	light, sizes := sh.weldSlots()
	check := quality.Check{Kind: quality.Weld, Defects: sh.Defects(knownImperfection)}
	check.Readings = sh.Readings(append(sizes, light), sh.visit.comma())
	if aid := sh.Values.Get("aid"); slices.ContainsFunc(aids, func(c ui.Choice) bool { return c.Value == aid }) {
		check.Ratings = append(check.Ratings, quality.Rating{Characteristic: ratingAid, Code: aid})
	}
	return check, slices.Concat(sh.use("welder", "welder"), sh.use("filler", "filler"), sh.use("heat", "heat"))
}

func showWeld(sh *sheet, e page.Entry) templ.Component {
	light, sizes := sh.weldSlots()
	v := page.WeldView{Entry: e, Aids: choicesWith(aids, firstText(sh.Values.Get("aid"), "eye"))}
	limits := quality.WeldSpec{}
	if spec := sh.form.Spec.Weld; spec != nil {
		limits = *spec
		v.Facts = append(v.Facts, page.Fact{Name: "Quality level", Value: fmt.Sprintf("%s, wall %s mm, %d welds", spec.Level, quality.Number(sh.form.Circumstance.WallMM, 2), sh.form.Circumstance.Welds)})
	}
	v.Light = sh.field(light, limits.Light)
	var typed []string
	for _, slot := range sizes {
		typed = append(typed, slot.Name)
		l := limits.Leg
		if slot.Characteristic == "weld_throat" {
			l = limits.Throat
		}
		v.Sizes = append(v.Sizes, sh.field(slot, l))
	}
	var together []quality.Sampled
	if !limits.Leg.None() {
		together = append(together, quality.WeldLeg)
	}
	if !limits.Throat.None() {
		together = append(together, quality.WeldThroat)
	}
	v.SizesApart = sh.apart(typed, together...)
	welder, _ := sh.chosen("welder", "welder")
	v.Welder = ui.Select{Name: "welder", Label: "Welder", Hint: "who welded it", Empty: "not known", Scan: "PERSON"}
	for _, p := range sh.form.Welders {
		v.Welder.Choices = append(v.Welder.Choices, ui.Choice{Value: p.ID.String(), Label: p.Name, Code: p.SignOnName, Chosen: p.ID == welder})
	}
	v.Lots = []ui.Select{sh.lotSelect("filler", "filler", store.Filler, sh.form.Spec.Requires.Filler), sh.lotSelect("heat", "heat", store.Heat, sh.form.Spec.Requires.Heat)}
	v.Found = sh.lines(page.DefectLines{Legend: "Imperfections found", None: "None found", PlaceHint: "weld 3, toe", Groups: weldGroups()})
	return page.Weld(v)
}

// weldGroups is the catalogue as headings with their numbers.
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

// lines fills a block of imperfections with what is typed.
func (sh *sheet) lines(d page.DefectLines) page.DefectLines {
	d.NoneChecked, d.Problem = sh.Values.Get("none_found") != "", sh.Wrong["lines"]
	for n := 1; n <= sh.Answers.Lines(3); n++ {
		number := strconv.Itoa(n)
		get := func(part string) string { return sh.Values.Get("defect-" + number + "-" + part) }
		d.Lines = append(d.Lines, page.DefectLine{N: number, Code: get("code"), Place: get("place"), Size: get("size"), Length: get("length"), Count: get("count"),
			Problem: sh.Wrong["defect-"+number]})
	}
	return d
}

// choicesWith returns the choices with one marked.
func choicesWith(choices []ui.Choice, value string) []ui.Choice {
	out := slices.Clone(choices)
	for i := range out {
		out[i].Chosen = out[i].Value == value
	}
	return out
}

// firstText returns the first text that is not empty.
func firstText(texts ...string) string {
	for _, t := range texts {
		if t != "" {
			return t
		}
	}
	return ""
}
