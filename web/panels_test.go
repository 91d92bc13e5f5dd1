package web

import (
	"errors"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
)

// panelSpec makes new parts of the shop follow a spec that asks for a panel of each load.
func (d *desk) panelSpec() {
	d.t.Helper()
	ctx := d.t.Context()
	spec, err := d.Spec.Spec()
	if err != nil {
		d.t.Fatal(err)
	}
	spec.PanelTest = &quality.PanelSpec{Adhesion: &quality.AdhesionSpec{Method: "D3359B", Worst: "4B", Conditions: true}, Bend: &quality.BendSpec{MandrelMM: 5}, Impact: &quality.ImpactSpec{EnergyNm: 2.5, Tape: true},
		Pencil: &quality.PencilSpec{Method: "D3363", Softest: "F"}, Gloss: &quality.GlossSpec{GeometryDeg: 60, Nominal: 30, Tolerance: 5}}
	spec.Finish = &quality.FinishCheckSpec{Adhesion: &quality.AdhesionSpec{Method: "D3359B", Worst: "4B", Conditions: true}}
	revision, err := d.DB.AddSpec(ctx, d.Everyone, "PC-P", "Railing, with panels", "A", spec)
	if err == nil {
		err = d.DB.ApproveSpec(ctx, d.Everyone, revision.ID, d.Proof(d.Everyone))
	}
	if err != nil {
		d.t.Fatal(err)
	}
	if d.PartNumber, err = d.DB.AddPartNumber(ctx, d.Everyone, store.PartNumber{Code: "RF-P", Name: "Rail frame", SpecID: revision.SpecID, Alloy: "6060 T66", BaseForm: "extrusion", WallMM: 3, Welds: 4, Sketch: "rail"}); err != nil {
		d.t.Fatal(err)
	}
}

func newPanel(code, place string) url.Values {
	return url.Values{"panel-code": {code}, "panel-position": {place}, "panel-alloy": {"6060 T66"}, "panel-pretreated": {"with the rack"}}
}

func tested() url.Values {
	return url.Values{"adhesion": {"5B"}, "test_temperature": {"23"}, "test_humidity": {"48"}, "mandrel": {"5"}, "bend": {"whole"}, "impact_energy": {"2.5"}, "impact": {"cracked"},
		"pencil": {"H"}, "gloss-1": {"31"}}
}

func TestPanelIsAddedLinkedToItsLoadAndTested(t *testing.T) {
	h := newHand(t)
	h.panelSpec()
	part := h.Parts(1)[0]
	h.Weld(part, quality.NoneFound)
	rackID := h.Wash([]uuid.UUID{part}, "4.6", 0)
	racks, err := h.DB.OpenRacks(t.Context(), h.Site.ID)
	if err != nil || len(racks) != 1 {
		t.Fatalf("%v, %v", racks, err)
	}
	rack := "/racks/" + racks[0].Number

	// What is missing comes back with what was typed.
	page := h.enter(rack+"/panels", url.Values{"panel-code": {"WP-9"}, "panel-alloy": {""}}, http.StatusUnprocessableEntity)
	contains(t, page, "Alloy is empty", "Place is empty")
	if !strings.Contains(page, `value="WP-9"`) {
		t.Error("the code that was typed is gone")
	}
	if to := h.enter(rack+"/panels", newPanel("wp-9", "left upright"), http.StatusSeeOther); to != rack+"#panels" {
		t.Errorf("after adding it leads to %s", to)
	}
	contains(t, h.open(rack, http.StatusOK), "WP-9", "left upright", "not tested")
	contains(t, h.enter(rack+"/panels", newPanel("WP-9", "right upright"), http.StatusUnprocessableEntity), "already a panel with this code")

	// On a rack that is on no load a test is refused.
	contains(t, h.enter("/panels/WP-9/test", tested(), http.StatusUnprocessableEntity), "is on no oven load", "Put the rack on its load")
	contains(t, h.open("/panels/WP-9", http.StatusOK), "on no oven load yet")

	h.Bake([]uuid.UUID{rackID}, "196")
	loads, err := h.DB.RecentLoads(t.Context(), h.Site.ID, h.Now.AddDate(0, 0, -1))
	if err != nil || len(loads) != 1 {
		t.Fatalf("%v, %v", loads, err)
	}
	load := "/loads/" + loads[0].Number
	contains(t, h.open(load, http.StatusOK), "The spec asks for a test on a panel of this load; 1 part waits for it.", "WP-9", "not tested")
	contains(t, h.open("/bench", http.StatusOK), "Panel test", h.serial(part))
	h.enter(load+"/panels", newPanel("WP-10", "beside the door"), http.StatusSeeOther)
	contains(t, h.open("/panels/WP-10", http.StatusOK), loads[0].Number, h.Lot.LotNumber)

	form := h.open("/panels/WP-9/test", http.StatusOK)
	contains(t, form, "Adhesion", "class 4B or better", "Bend", "over 5 mm, no crack", "Impact", "nothing lifts on the tape", "Pencil hardness", "F or harder by ASTM D3363", "Conditions at the test", "0 to 50 °C", "1 to 100 %", "Blades cut")
	without := tested()
	without.Del("test_humidity")
	without.Del("test_temperature")
	contains(t, h.enter("/panels/WP-9/test", without, http.StatusUnprocessableEntity), "Temperature", "Relative humidity", "is empty")
	preview := tested()
	preview.Set("preview", "1")
	preview.Set("bend", "cracked")
	contains(t, h.enter("/panels/WP-9/test", preview, http.StatusOK), "Bend: fine cracks")
	h.enter("/panels/WP-9/test", tested(), http.StatusSeeOther)
	contains(t, h.open("/panels/WP-9", http.StatusOK), "Panel test", "pass")
	story := h.get("/parts/"+h.serial(part), http.StatusOK)
	contains(t, story, "Panel test, panel WP-9", "Panel WP-9: ")
	contains(t, h.get("/trace?kind=panel&name=WP-9", http.StatusOK), h.serial(part))
}

func TestFailedPanelTestHoldsTheLoadOnThePage(t *testing.T) {
	h := newHand(t)
	h.panelSpec()
	part := h.Parts(1)[0]
	h.Weld(part, quality.NoneFound)
	load := h.Bake([]uuid.UUID{h.Wash([]uuid.UUID{part}, "4.6", 0)}, "196")
	if err := h.DB.AddPanel(t.Context(), h.Everyone, store.Panel{ID: store.NewID(), Code: "WP-1", LoadID: uuid.NullUUID{UUID: load, Valid: true}, Alloy: "6060", PretreatedWith: "with the load", Position: "top"}); err != nil {
		t.Fatal(err)
	}
	form := tested()
	form.Set("adhesion", "2B")
	h.enter("/panels/WP-1/test", form, http.StatusSeeOther)
	if got := h.status(h.serial(part)); got != store.StatusOnHold {
		t.Errorf("the part is %s, want on hold", got)
	}
	h.enter("/panels/WP-1/cure-test", url.Values{"rubs": {"50"}, "rating": {"4"}, "swab": {"none"}}, http.StatusUnprocessableEntity)
}

func TestAdhesionOnAPartAsksForConditionsOnThePage(t *testing.T) {
	h := newHand(t)
	h.panelSpec()
	part := h.Ready(1, 0)[0]
	path := "/parts/" + h.serial(part) + "/finish"
	contains(t, h.open(path, http.StatusOK), "Conditions at the test")
	form := url.Values{"none_found": {"1"}, "adhesion": {"5B"}, "test_temperature": {"23"}}
	contains(t, h.enter(path, form, http.StatusUnprocessableEntity), "Relative humidity is empty")
	form.Set("test_humidity", "48")
	h.enter(path, form, http.StatusSeeOther)
	records, err := h.DB.RecordsOn(t.Context(), h.Site.ID, store.Subject{Kind: quality.OnPart, ID: part})
	if err != nil || records[0].Kind != quality.Finish {
		t.Fatalf("%v, %v", records, err)
	}
	contains(t, h.get("/records/"+records[0].ID.String(), http.StatusOK), "Temperature at the test", "23", "°C", "Relative humidity at the test", "48")
}

// panelAndExclusion are a panel on a load and a reading left out of the statistics, for the walks over all pages.
func (d *desk) panelAndExclusion(load uuid.UUID, films []string) (panel, exclusion string) {
	d.t.Helper()
	ctx := d.t.Context()
	if err := d.DB.AddPanel(ctx, d.Everyone, store.Panel{ID: store.NewID(), Code: "WP-77", LoadID: uuid.NullUUID{UUID: load, Valid: true}, Alloy: "6060 T66", PretreatedWith: "with the load", Position: "top"}); err != nil {
		var refusal *store.Refusal
		if !errors.As(err, &refusal) || refusal.Rule != "panel_code_unique" {
			d.t.Fatal(err)
		}
	}
	if len(films) == 0 {
		d.t.Fatal("no film check among the records of the walk")
	}
	record := uuid.MustParse(films[0])
	exclusions, err := d.DB.ExclusionsOf(ctx, d.Site.ID, record)
	if err == nil && len(exclusions) == 0 {
		if err = d.DB.Exclude(ctx, d.Everyone, record, []int{1}, "wrong_spot", "Read beside the part", d.Proof(d.Everyone)); err == nil {
			exclusions, err = d.DB.ExclusionsOf(ctx, d.Site.ID, record)
		}
	}
	if err != nil {
		d.t.Fatal(err)
	}
	return "WP-77", exclusions[0].ID.String()
}
