package web

import (
	"fmt"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/ui"
)

// lotField is the first field of an entry page that names a lot, for the link from a refusal.
var lotField = map[quality.Kind]string{quality.Weld: "filler", quality.Pretreatment: "lot-1", quality.Coating: "powder", quality.CureTest: "solvent", quality.PanelTest: "tape", quality.BathReading: "titrant", quality.BathAddition: "chemical"}

// lotSelect offers the lots of one kind of material, with when they expire and how they stand. What was used last is chosen
// by itself; a lot that the spec does not ask for may stay empty.
func (sh *sheet) lotSelect(name, role, kind string, asked bool) ui.Select {
	material := store.MaterialKindNames[kind]
	s := ui.Select{Name: name, Label: upperFirst(material) + " lot", Hint: "scan the box", Empty: "scan or choose", Scan: "LOT", Problem: sh.Wrong[name]}
	if kind == store.Heat {
		s.Label, s.Hint = upperFirst(material), "scan the bundle's label"
	}
	if !asked {
		s.Empty = "not noted"
	}
	lot, _ := sh.chosen(name, role)
	for _, l := range sh.form.Lots {
		if l.Kind != kind {
			continue
		}
		hint := l.MaterialName
		if l.ExpiresOn != nil {
			hint = fmt.Sprintf("%s, expires %s", l.MaterialName, l.ExpiresOn.Format("2 Jan 2006"))
		}
		if l.Status != "accepted" {
			hint += ", " + l.Status
		}
		s.Choices = append(s.Choices, ui.Choice{Value: l.ID.String(), Label: l.LotNumber, Hint: hint, Code: l.LotNumber, Chosen: l.ID == lot})
	}
	return s
}

// stageLot offers the lots of a wash stage's chemical, none for a rinse. What was used last is chosen only where one stage takes
// the kind: two cleaners in a line are two products.
func (sh *sheet) stageLot(i int, stage quality.StageSpec) ui.Select {
	kind := store.StageMaterial(stage.Stage)
	if kind == "" {
		return ui.Select{}
	}
	role, takers := "chemical:"+kind, 0
	for _, other := range sh.stages() {
		if store.StageMaterial(other.Stage) == kind {
			takers++
		}
	}
	if takers > 1 {
		role = ""
	}
	return sh.lotSelect(fmt.Sprintf("lot-%d", i+1), role, kind, sh.form.Spec.Requires.Chemicals)
}
