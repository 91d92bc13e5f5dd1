package web

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"

	"github.com/a-h/templ"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
	"coatbook/web/ui"
)

var verificationEntry = entryKind{kind: quality.Verification, find: onGauge, read: readVerification, show: showVerification}

// verification records the verification of a gauge.
func (s *Server) verification(w http.ResponseWriter, r *http.Request) error {
	return s.enter(w, r, verificationEntry)
}

// occasionWords are the times of a verification in words.
var occasionWords = map[string]string{"before_first": "Before the first reading", "end_of_shift": "End of shift", "after_drop": "After a drop or doubtful reading", "other": "Other"}

// occasion is the time of a verification: what was chosen, else what the gauge's state suggests.
func (sh *sheet) occasion() string {
	if chosen := sh.Values.Get("occasion"); slices.Contains(quality.Occasions, chosen) {
		return chosen
	}
	g := sh.form.Device
	if g == nil {
		return "other"
	}
	day, shift := sh.visit.site.ShopDay(sh.form.Now)
	switch {
	case g.Status == "doubtful":
		return "after_drop"
	case g.VerifiedDay == nil || !g.VerifiedDay.Equal(day) || g.VerifiedShift != shift:
		return "before_first"
	}
	return "end_of_shift"
}

// zeroSlots are the bare plates: those of the register, each of its alloy, else one without a name.
func (sh *sheet) zeroSlots(left bool) []form.Slot {
	name, characteristic, after := "zero", "zero_reading", ""
	if left {
		name, characteristic, after = "zero-left", "zero_as_left", " as left"
	}
	if len(sh.form.Plates) == 0 {
		return []form.Slot{{Name: name, Label: "Bare plate" + after, Characteristic: characteristic, Unit: sh.filmUnit(), Optional: left}}
	}
	var slots []form.Slot
	for _, p := range sh.form.Plates {
		label := "Bare plate " + p.Code
		if p.Alloy != "" {
			label += ", " + p.Alloy
		}
		slots = append(slots, form.Slot{Name: name + "-" + p.Code, Label: label + after, Characteristic: characteristic, Location: p.Code, Unit: sh.filmUnit(), Optional: true})
	}
	return slots
}

func (sh *sheet) shimSlot(shim store.Instrument) form.Slot {
	label := "Shim " + shim.Code
	if shim.Nominal != nil {
		label += ", " + quality.Number(*shim.Nominal, 2) + " " + quality.Unit(shim.Unit).Symbol()
	}
	return form.Slot{Name: "shim-" + shim.Code, Label: label, Characteristic: "shim_reading", Location: shim.Code, Unit: sh.filmUnit(), Optional: true}
}

func (sh *sheet) shimLeftSlot(shim store.Instrument) form.Slot {
	slot := sh.shimSlot(shim)
	slot.Name, slot.Label, slot.Characteristic = "shim-left-"+shim.Code, slot.Label+" as left", "shim_as_left"
	return slot
}

func readVerification(sh *sheet) (quality.Check, []store.Use) {
	check := quality.Check{Kind: quality.Verification, Ratings: []quality.Rating{{Characteristic: quality.RatingOccasion, Code: sh.occasion()}}}
	var uses []store.Use
	for i, slot := range sh.zeroSlots(false) {
		r, ok := sh.Reading(slot, sh.visit.comma())
		if !ok {
			continue
		}
		check.Readings = append(check.Readings, r)
		if len(sh.form.Plates) > 0 {
			uses = append(uses, store.Use{Role: "standard", ID: sh.form.Plates[i].ID})
		}
	}
	if len(sh.form.Plates) > 0 && len(uses) == 0 {
		sh.Say(sh.zeroSlots(false)[0].Name, "Bare plate: read at least the one of the part's alloy.")
	}
	shims := 0
	for _, shim := range sh.form.Shims {
		if r, ok := sh.Reading(sh.shimSlot(shim), sh.visit.comma()); ok {
			check.Readings = append(check.Readings, r)
			uses = append(uses, store.Use{Role: "shim", ID: shim.ID})
			shims++
		}
	}
	for _, slot := range sh.leftSlots() {
		if r, ok := sh.Reading(slot, sh.visit.comma()); ok {
			check.Readings = append(check.Readings, r)
		}
	}
	if shims < 2 && len(sh.form.Shims) > 0 {
		sh.Say("shim-"+sh.form.Shims[0].Code, "Shims: read at least two, one below and one above the film.")
	}
	return check, uses
}

func (sh *sheet) leftSlots() []form.Slot {
	slots := sh.zeroSlots(true)
	for _, shim := range sh.form.Shims {
		slots = append(slots, sh.shimLeftSlot(shim))
	}
	return slots
}

func showVerification(sh *sheet, e page.Entry) templ.Component {
	e.Unit = string(sh.filmUnit())
	v := page.VerificationView{Entry: e, Device: page.Ref{Text: "Dropped, or a doubtful reading? Block it here.", Href: "/gauges/" + url.PathEscape(sh.form.Label)}}
	for _, code := range quality.Occasions {
		v.Occasion = append(v.Occasion, ui.Choice{Value: code, Label: occasionWords[code], Chosen: code == sh.occasion()})
	}
	for i, slot := range sh.zeroSlots(false) {
		zero := sh.field(slot, quality.Limits{})
		zero.First = i == 0 && zero.Value == ""
		v.Zero = append(v.Zero, zero)
	}
	for _, shim := range sh.form.Shims {
		v.Shims = append(v.Shims, page.ShimRow{Code: shim.Code, Reading: sh.field(sh.shimSlot(shim), quality.Limits{})})
	}
	for _, slot := range sh.leftSlots() {
		f := sh.field(slot, quality.Limits{})
		v.LeftOpen = v.LeftOpen || f.Value != "" || f.Problem != ""
		v.Left = append(v.Left, f)
	}
	g := sh.form.Circumstance.Gauge
	v.Facts = append(v.Facts, page.Fact{Name: "Permitted error", Value: fmt.Sprintf("± %s %s and %s %% of the value", quality.Number(g.Abs, 3), g.Unit.Symbol(), quality.Number(g.Share*100, 2))})
	v.Last = "Verify before the first reading of the shift, at its end, and after a drop."
	return page.Verification(v)
}
