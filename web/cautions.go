package web

import (
	"context"
	"slices"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/page"
	"coatbook/web/ui"
)

// hazardsOf are the hazards of the step: those of the kind, and fluoride where a chemical in use holds it.
func (sh *sheet) hazardsOf() []string {
	hazards := slices.Clone(sh.hazards)
	wet := []quality.Kind{quality.Pretreatment, quality.BathReading, quality.BathAddition}
	if slices.Contains(wet, sh.kind) && slices.ContainsFunc(sh.form.Sheets, func(m store.Material) bool { return slices.Contains(m.Hazards, "fluoride") }) {
		hazards = append(hazards, "fluoride")
	}
	return hazards
}

// readCautions reads which cautions the person read this shift.
func (s *Server) readCautions(ctx context.Context, sh *sheet) error {
	read, err := s.store.CautionsRead(ctx, sh.visit.site, sh.visit.actor.Person, s.store.Clock())
	if err != nil {
		return err
	}
	sh.readAt = map[string]string{}
	for _, c := range read {
		sh.readAt[c.Hazard] = c.At.In(sh.visit.site.Location()).Format("15:04")
	}
	return nil
}

// cautions are the step's cautions, each asking to be read once a shift.
func (sh *sheet) cautions() []ui.CautionView {
	var views []ui.CautionView
	for _, h := range sh.hazardsOf() {
		at := sh.readAt[h]
		views = append(views, ui.CautionView{Kind: h, Language: sh.language(), Asks: at == "", Read: at, On: slices.Contains(sh.Values["read"], h)})
	}
	return views
}

// language is the one the person reads.
func (sh *sheet) language() string {
	if sh.visit.person.Language == "es" {
		return "es"
	}
	return "en"
}

// justRead are the cautions ticked on the posted form that this step has. An entry typed without network says so when it
// arrives.
func (sh *sheet) justRead() []string {
	var read []string
	for _, h := range sh.hazardsOf() {
		if slices.Contains(sh.Values["read"], h) {
			read = append(read, h)
		}
	}
	return read
}

// sheetLinksOf are the safety data sheets of the step's materials, one tap away.
func sheetLinksOf(materials []store.Material) []page.SheetLink {
	links := make([]page.SheetLink, len(materials))
	for i, m := range materials {
		links[i] = page.SheetLink{Name: m.Name, Code: m.Code, Href: sheetHref(m), Paper: m.SheetPaperAt}
	}
	return links
}
