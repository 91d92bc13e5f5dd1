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

var pretreatmentEntry = entryKind{kind: quality.Pretreatment, find: onRack, read: readPretreatment, show: showPretreatment, hazards: []string{"pretreatment"}}

// pretreatment records the wash of a rack.
func (s *Server) pretreatment(w http.ResponseWriter, r *http.Request) error {
	return s.enter(w, r, pretreatmentEntry)
}

// stageOrder is the order in which the readings of a stage are asked for.
var stageOrder = []string{"concentration", "ph", "conductivity", "stage_temperature", "stage_time"}

func (sh *sheet) stages() []quality.StageSpec {
	if sh.form.Spec.Pretreatment == nil {
		return nil
	}
	return sh.form.Spec.Pretreatment.Stages
}

// stageSlots are the readings of one stage: those the spec limits must be taken (asked), temperature and time may be added.
func (sh *sheet) stageSlots(i int, stage quality.StageSpec, asked bool) []form.Slot {
	var slots []form.Slot
	for _, code := range stageOrder {
		_, limited := stage.Limits[code]
		if limited != asked || !limited && code != "stage_temperature" && code != "stage_time" {
			continue
		}
		c, _ := quality.CharacteristicOf(code)
		unit := c.Canonical()
		if code == "stage_temperature" {
			unit = sh.temperature()
		}
		slots = append(slots, form.Slot{Name: fmt.Sprintf("stage-%d-%s", i+1, code), Label: c.Name, Characteristic: code, Location: quality.StageKey(i, stage), Unit: unit, Optional: !limited})
	}
	return slots
}

func readPretreatment(sh *sheet) (quality.Check, []store.Use) {
	check := quality.Check{Kind: quality.Pretreatment}
	var uses []store.Use
	for i, stage := range sh.stages() {
		for _, slot := range slices.Concat(sh.stageSlots(i, stage, true), sh.stageSlots(i, stage, false)) {
			slot.Label = stage.Name + ", " + slot.Label
			if r, ok := sh.Reading(slot, sh.visit.comma()); ok {
				check.Readings = append(check.Readings, r)
			}
		}
		for _, u := range append(sh.use(fmt.Sprintf("bath-%d", i+1), "bath"), sh.use(fmt.Sprintf("lot-%d", i+1), "chemical")...) {
			if !slices.Contains(uses, u) {
				uses = append(uses, u)
			}
		}
	}
	if p := sh.form.Spec.Pretreatment; p != nil && p.WaterBreak {
		switch code := sh.Values.Get("water_break"); code {
		case "held", "broken":
			check.Ratings = append(check.Ratings, quality.Rating{Characteristic: quality.RatingWaterBreak, Code: code})
		default:
			sh.Say("water_break", "Water break: say whether the film of water held or broke.")
		}
	}
	return check, uses
}

func showPretreatment(sh *sheet, e page.Entry) templ.Component {
	v := page.PretreatmentView{Entry: e, WaterProblem: sh.Wrong["water_break"], Water: choicesWith([]ui.Choice{
		{Value: "held", Label: "Film held", Hint: "water stayed whole while draining"},
		{Value: "broken", Label: "Film broke", Hint: "water drew back or beaded"}}, sh.Values.Get("water_break"))}
	v.AsksWater = sh.form.Spec.Pretreatment != nil && sh.form.Spec.Pretreatment.WaterBreak
	for i, stage := range sh.stages() {
		block := page.StageBlock{Number: strconv.Itoa(i + 1), Name: stage.Name, Bath: sh.bathSelect(i, stage), Lot: sh.stageLot(i, stage)}
		for _, c := range block.Bath.Choices {
			if j := slices.IndexFunc(sh.form.Baths, func(b store.BathStanding) bool { return c.Chosen && b.ID.String() == c.Value }); j >= 0 {
				block.Against = sh.form.Baths[j].Against()
			}
		}
		for _, slot := range sh.stageSlots(i, stage, true) {
			f := sh.field(slot, stage.Limits[slot.Characteristic])
			f.MayBeAbsent = true
			block.Fields = append(block.Fields, f)
		}
		for _, slot := range sh.stageSlots(i, stage, false) {
			slot.Label = stage.Name + ", " + lowerFirst(slot.Label)
			v.More = append(v.More, sh.field(slot, quality.Limits{}))
			v.MoreOpen = v.MoreOpen || sh.Values.Get(slot.Name) != ""
		}
		v.Stages = append(v.Stages, block)
	}
	return page.Pretreatment(v)
}

// bathSelect offers the vessels of a stage. The n-th stage of a kind takes the n-th vessel of that kind by itself.
func (sh *sheet) bathSelect(i int, stage quality.StageSpec) ui.Select {
	s := ui.Select{Name: fmt.Sprintf("bath-%d", i+1), Label: "Bath", Scan: "BATH"}
	before := 0
	for _, earlier := range sh.stages()[:i] {
		if earlier.Stage == stage.Stage {
			before++
		}
	}
	chosen := sh.Values.Get(s.Name)
	n := 0
	for _, b := range sh.form.Baths {
		if b.Stage != stage.Stage || !b.Active {
			continue
		}
		id := b.ID.String()
		s.Choices = append(s.Choices, ui.Choice{Value: id, Label: b.Code, Hint: b.Name, Code: b.Code, Chosen: id == chosen || chosen == "" && n == before})
		n++
	}
	return s
}
