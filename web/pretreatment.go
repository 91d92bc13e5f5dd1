package web

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"

	"github.com/a-h/templ"
	"github.com/go-chi/chi/v5"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/page"
	"coatbook/web/ui"
)

// enterOnRack answers an entry page about one rack.
func (s *Server) enterOnRack(w http.ResponseWriter, r *http.Request, k entryKind) error {
	rack, err := s.store.RackByNumber(r.Context(), visitFrom(r).site.ID, chi.URLParam(r, "number"))
	if err != nil {
		return err
	}
	return s.enter(w, r, k, store.Subject{Kind: quality.OnRack, ID: rack.ID}, fmt.Sprintf("tag %s, %d parts", rack.Tag, rack.Parts), "/racks/"+rack.Number)
}

func (s *Server) pretreatment(w http.ResponseWriter, r *http.Request) error {
	return s.enterOnRack(w, r, entryKind{kind: quality.Pretreatment, hazards: []string{"pretreatment"}, fields: pretreatmentFields})
}

// stageOrder is the order in which the readings of a stage are asked.
var stageOrder = []string{"concentration", "ph", "conductivity", "stage_temperature", "stage_time"}

func pretreatmentFields(e *entryForm) func(page.Entry) templ.Component {
	spec := quality.PretreatmentSpec{}
	if e.form.Spec.Pretreatment != nil {
		spec = *e.form.Spec.Pretreatment
	}
	v := page.PretreatmentView{AsksWater: spec.WaterBreak}
	used := map[string]bool{}
	for i, stage := range spec.Stages {
		n := strconv.Itoa(i + 1)
		block := page.StageBlock{Number: n, Name: stage.Name}
		block.Bath = e.bath("bath-"+n, stage.Stage, used)
		var codes []string
		for _, code := range stageOrder {
			if _, asked := stage.Limits[code]; asked {
				codes = append(codes, code)
			}
		}
		for code := range stage.Limits {
			if !slices.Contains(codes, code) {
				codes = append(codes, code)
			}
		}
		slices.Sort(codes[min(len(codes), len(stageOrder)):])
		for _, code := range codes {
			block.Fields = append(block.Fields, e.reading(measure{name: "stage-" + n + "-" + code, characteristic: code, location: quality.StageKey(i, stage),
				unit: limitUnit(stage.Limits[code]), limits: stage.Limits[code], absent: true}))
		}
		v.Stages = append(v.Stages, block)
	}
	if spec.WaterBreak {
		v.Water, v.WaterProblem = e.rating("water_break", quality.RatingWaterBreak, "Water break: tap whether the film of water held or broke.",
			[]ui.Choice{{Value: "held", Label: "Film held", Hint: "whole while draining"}, {Value: "broken", Label: "Film broke"}})
	}
	return func(entry page.Entry) templ.Component {
		v.Entry = entry
		return page.Pretreatment(v)
	}
}

// limitUnit is the unit a limit is written in, in which its reading is then asked; empty without a limit.
func limitUnit(l quality.Limits) quality.Unit {
	switch {
	case l.Low != nil:
		return l.Low.Unit
	case l.High != nil:
		return l.High.Unit
	}
	return ""
}

// bath builds the choice of the vessel of a stage; the first free vessel of that kind is chosen when the page opens.
func (e *entryForm) bath(name, stage string, used map[string]bool) ui.Select {
	list := ui.Select{Name: name, Label: "Bath", Empty: "none", Scan: "BATH"}
	chosen := ""
	for _, b := range e.form.Baths {
		if !b.Active || b.Stage != stage {
			continue
		}
		c := ui.Choice{Value: b.ID.String(), Label: b.Name, Code: b.Code}
		if !used[c.Value] && chosen == "" {
			chosen = c.Value
		}
		list.Choices = append(list.Choices, c)
	}
	if e.posted() {
		chosen = e.values.Get(name)
	}
	for i, c := range list.Choices {
		if c.Value != chosen {
			continue
		}
		list.Choices[i].Chosen = true
		used[c.Value] = true
		if e.posted() {
			for _, b := range e.form.Baths {
				if b.ID.String() == chosen {
					e.uses = append(e.uses, store.Use{Role: "bath", ID: b.ID})
				}
			}
		}
	}
	return list
}
