package web

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
)

// sheenSpec asks for a finish check with gloss on two parts of each oven load and adhesion on one.
var sheenSpec = quality.FinishSpec{Version: quality.SpecVersion, MaxCycles: 2,
	Coating: &quality.CoatingSpec{Powders: []string{}, Humidity: quality.Between(30, 70, quality.Percent)}, Cure: &quality.CureSpec{ScheduleC: 190, Channels: 1},
	Finish:   &quality.FinishCheckSpec{Gloss: &quality.GlossSpec{GeometryDeg: 60, Nominal: 70, Tolerance: 7}, Adhesion: &quality.AdhesionSpec{Method: "ISO2409", Worst: "1", Conditions: true}},
	Sampling: map[quality.Sampled]quality.SampleRule{quality.FinishGloss: {By: quality.SampleLoad, Number: 2}, quality.FinishAdhesion: {By: quality.SampleLoad, Number: 1}}}

// A sheenLoad is an oven load whose samples are drawn: of gloss, of adhesion, and the serials of the parts in neither.
type sheenLoad struct {
	rack, load     string
	gloss          store.InspectionLot
	drawn, gripped []store.LotPart
	free           []string
}

// bakeSheen brings n parts by that spec through booth and oven.
func (d *desk) bakeSheen(n int) sheenLoad {
	d.t.Helper()
	ctx, a := d.t.Context(), d.Everyone
	check := func(err error) {
		d.t.Helper()
		if err != nil {
			d.t.Fatal(err)
		}
	}
	rev, err := d.DB.AddSpec(ctx, a, "PC-G", "Sheen", "A", sheenSpec)
	check(err)
	check(d.DB.ApproveSpec(ctx, a, rev.ID, d.Proof(a)))
	number, err := d.DB.AddPartNumber(ctx, a, store.PartNumber{Code: "SH-1", Name: "Cover", SpecID: rev.SpecID, Alloy: "6060 T66", BaseForm: "sheet", WallMM: 3, Sketch: "panel"})
	check(err)
	parts := d.sampledJob(number, "G-1", n)
	rack, err := d.DB.HangRack(ctx, a, store.NewID(), "K7")
	check(err)
	check(d.DB.HangParts(ctx, a, rack.ID, parts))
	d.Save(quality.Coating, quality.OnRack, rack.ID, quality.Check{Readings: []quality.Reading{d.Reading("humidity", "", 0, "48", quality.Percent)}},
		store.Use{Role: "powder", ID: d.Lot.ID}, store.Use{Role: "booth", ID: d.Booths[0].ID})
	load, err := d.DB.OpenLoad(ctx, a, store.NewID(), d.Oven.ID)
	check(err)
	check(d.DB.AddRack(ctx, a, load.ID, rack.ID))
	d.Save(quality.Cure, quality.OnLoad, load.ID, quality.Check{Readings: []quality.Reading{d.Reading("metal_peak", "middle", 1, "196", quality.Celsius),
		d.Reading("metal_time", "middle", 1, "14", quality.Minute)}}, store.Use{Role: "oven", ID: d.Oven.ID})
	lots, err := d.DB.InspectionLots(ctx, d.Site.ID, 10)
	check(err)
	out := sheenLoad{rack: rack.Number, load: load.Number}
	in := map[uuid.UUID]bool{}
	for _, l := range lots {
		all, err := d.DB.LotParts(ctx, d.Site.ID, l.ID)
		check(err)
		drawn := slices.DeleteFunc(slices.Clone(all), func(p store.LotPart) bool { return p.Seq == 0 })
		for _, p := range drawn {
			in[p.PartID] = true
		}
		if l.Of == quality.FinishGloss {
			out.gloss, out.drawn = l, drawn
		} else {
			out.gripped = drawn
		}
		if len(in) == 0 {
			d.t.Fatal("nothing was drawn")
		}
	}
	for _, p := range parts {
		if !in[p] {
			out.free = append(out.free, (&hand{d}).serial(p))
		}
	}
	return out
}

func TestFinishFormAsksForGlossAndAdhesionOnlyOnTheirSamplesAndSaysWhy(t *testing.T) {
	h := newHand(t)
	l := h.bakeSheen(8)
	free := "/parts/" + l.free[0]
	contains(t, h.open(free+"/finish", http.StatusOK), "Gloss: not asked for on this part", "Adhesion: not asked for on this part", "Stands on lot "+l.gloss.Number+", which waits for its samples: 0 of 2 are checked. A value that is entered all the same is judged.", "Gloss", "Adhesion, ISO2409, 1 or better")
	h.enter(free+"/finish", url.Values{"none_found": {"1"}}, http.StatusSeeOther)
	contains(t, h.desk.get(free, http.StatusOK), "Gloss of the finish check", "Adhesion of the finish check", "Stands on lot "+l.gloss.Number+", which waits for its samples: 0 of 2 are checked")
	contains(t, h.desk.get(free+"/release", http.StatusOK), "Not ready to release", "0 of 2 are checked")

	sample := "/parts/" + l.drawn[0].Serial
	due := "Gloss of the finish check is due: this part is one of the 2 samples of oven load " + l.load + ", lot " + l.gloss.Number + "."
	contains(t, h.open(sample+"/finish", http.StatusOK), due)
	contains(t, h.desk.get(sample, http.StatusOK), due)
	contains(t, h.open("/bench", http.StatusOK), "Finish check, with gloss, sample of lot "+l.gloss.Number)
	contains(t, h.enter(sample+"/finish", url.Values{"none_found": {"1"}, "adhesion": {"0"}, "test_temperature": {"21"}, "test_humidity": {"50"}}, http.StatusUnprocessableEntity), "Gloss, reading 1 is empty")
	grip := "/parts/" + l.gripped[0].Serial
	contains(t, h.open(grip+"/finish", http.StatusOK), "Adhesion of the finish check is due: this part is one of the 1 sample of oven load "+l.load)
	contains(t, h.enter(grip+"/finish", url.Values{"none_found": {"1"}, "gloss-1": {"70"}}, http.StatusUnprocessableEntity), "Adhesion: choose the class, or mark it as not measured.")

	// Measured all the same, a part that is no sample is judged; the preview says so before.
	typed := url.Values{"none_found": {"1"}, "gloss-1": {"55"}}
	typed.Set("preview", "1")
	contains(t, h.enter("/parts/"+l.free[1]+"/finish", typed, http.StatusOK), "Gloss 55")
	typed.Del("preview")
	h.enter("/parts/"+l.free[1]+"/finish", typed, http.StatusSeeOther)
	contains(t, h.desk.get("/parts/"+l.free[1], http.StatusOK), "On hold")

	contains(t, h.open("/loads/"+l.load, http.StatusOK), "Gloss of the finish check: on a sample", "Adhesion of the finish check: on a sample", "Lot "+l.gloss.Number, l.drawn[0].Serial, l.drawn[1].Serial, "to be checked")
	contains(t, h.open("/racks/"+l.rack, http.StatusOK), "Gloss of the finish check: on a sample", l.drawn[0].Serial)
	full := url.Values{"none_found": {"1"}, "gloss-1": {"70"}, "adhesion": {"0"}, "test_temperature": {"21"}, "test_humidity": {"50"}}
	for _, p := range append(l.drawn, l.gripped...) {
		full.Set("record", store.NewID().String())
		h.enter("/parts/"+p.Serial+"/finish", full, http.StatusSeeOther)
	}
	contains(t, h.desk.get(free, http.StatusOK), "Stands on lot "+l.gloss.Number+", accepted: 0 of 2 samples failed, 0 allowed.", "Release this part")
	contains(t, h.desk.get("/sampling", http.StatusOK), "PC-G, gloss of the finish check", "PC-G, adhesion of the finish check")
	contains(t, h.desk.get("/sampling/"+l.gloss.Number, http.StatusOK), "Gloss of the finish check of 8 parts, oven load "+l.load+": 2 of 2 samples checked, 0 failed, 0 allowed.")
}

func TestWeldFormAsksForSizesOnlyOnTheirSamples(t *testing.T) {
	h := newHand(t)
	ctx, a := t.Context(), h.Everyone
	rev, err := h.DB.AddSpec(ctx, a, "PC-S", "Welded", "A", quality.FinishSpec{Version: quality.SpecVersion, MaxCycles: 1,
		Weld:     &quality.WeldSpec{Level: "C", Leg: quality.AtLeast(4, quality.Millimetre)},
		Sampling: map[quality.Sampled]quality.SampleRule{quality.WeldLeg: {By: quality.SampleLot, Plan: quality.PlanCoating}}})
	if err == nil {
		err = h.DB.ApproveSpec(ctx, a, rev.ID, h.Proof(a))
	}
	if err != nil {
		t.Fatal(err)
	}
	number, err := h.DB.AddPartNumber(ctx, a, store.PartNumber{Code: "WD-1", Name: "Foot", SpecID: rev.SpecID, Alloy: "6060 T66", BaseForm: "extrusion", WallMM: 3, Welds: 1, Sketch: "frame"})
	if err != nil {
		t.Fatal(err)
	}
	h.sampledJob(number, "W-1", 12)
	contains(t, h.open("/parts/W-1-01/weld", http.StatusOK), "Weld sizes: not asked for on this part", "Leg length of the weld check is by lot: a supervisor makes the lot on the Sampling page.")
	h.enter("/parts/W-1-01/weld", url.Values{"none_found": {"1"}}, http.StatusSeeOther)
	contains(t, h.desk.get("/sampling", http.StatusOK), "PC-S, leg length of the weld check: 12 parts of job W-1")
	h.desk.post("/sampling", http.StatusSeeOther, url.Values{"lot": {store.NewID().String()}, "parts": {"weld.leg_length|PC-S|job|W-1"}})
	lots, err := h.DB.InspectionLots(ctx, h.Site.ID, 10)
	if err != nil || len(lots) != 1 || lots[0].Of != quality.WeldLeg {
		t.Fatalf("lots %+v, %v", lots, err)
	}
	parts, err := h.DB.LotParts(ctx, h.Site.ID, lots[0].ID)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range parts {
		form := h.open("/parts/"+p.Serial+"/weld", http.StatusOK)
		if p.Seq == 0 {
			contains(t, form, "Weld sizes: not asked for on this part", "Stands on lot "+lots[0].Number)
			continue
		}
		contains(t, form, "Leg length of the weld check is due: this part is one of the 10 samples of lot "+lots[0].Number+".")
		contains(t, h.enter("/parts/"+p.Serial+"/weld", url.Values{"none_found": {"1"}}, http.StatusUnprocessableEntity), "leg is empty")
		break
	}
}

func TestSpecFormTakesARuleForGlossAndSaysHowItGoesWithPanels(t *testing.T) {
	d := openSetupDesk(t, store.Engineer)
	status, body := d.post("/setup/specs", "code", "FS-9", "title", "Sheen", "revision", "A")
	d.must(status, body, "FS-9")
	revisions, err := d.db.SpecRevisions(t.Context(), d.actor.Site, "FS-9")
	if err != nil || len(revisions) != 1 {
		t.Fatalf("%d revisions, %v", len(revisions), err)
	}
	at := "/setup/specs/FS-9/" + revisions[0].ID.String()
	_, blank := d.get(at)
	contains(t, blank, "Sampling: gloss of the finish check", "every part that gets a finish check", "on witness panels only, ask for it under Panel test and take it out of the finish check above")
	fields := []string{"cycles", "2", "finish", "yes", "finish-distance", "0", "gloss", "yes", "gloss-geometry", "60", "gloss-nominal", "70", "gloss-tolerance", "7",
		"adhesion", "yes", "adhesion-class", "ISO2409 1", "sample-finish-gloss-by", "load", "sample-finish-gloss-number", "2", "sample-finish-adhesion-by", "zero", "sample-finish-adhesion-share", "5", "sample-finish-adhesion-confidence", "90"}
	if status, body := d.post(at, fields...); status != http.StatusOK {
		t.Fatalf("saving the draft: status %d\n%s", status, textOf(body))
	}
	revision, err := d.db.SpecRevision(t.Context(), d.actor.Site, revisions[0].ID)
	if err != nil {
		t.Fatal(err)
	}
	spec, err := revision.Spec()
	if err != nil || len(spec.Sampling) != 2 || spec.Sampling[quality.FinishGloss] != (quality.SampleRule{By: quality.SampleLoad, Number: 2}) ||
		spec.Sampling[quality.FinishAdhesion] != (quality.SampleRule{By: quality.SampleLot, Plan: quality.PlanZero, SharePercent: 5, ConfidencePercent: 90}) {
		t.Errorf("the rules are %+v, %v", spec.Sampling, err)
	}
	words := ""
	for _, section := range specWords(spec) {
		for _, f := range section.Facts {
			words += fmt.Sprintln(section.Head, f.Term, f.Refs[0].Text)
		}
	}
	contains(t, words, "Sampling Gloss of the finish check 2 of each oven load", "Sampling Adhesion of the finish check by lot, none bad")
	// A panel of each load besides is said at the section of the draw.
	_, shown := d.post(at, append(fields, "panel", "yes", "panel-gloss", "yes", "panel-geometry", "60", "panel-nominal", "70", "panel-tolerance", "7")...)
	contains(t, shown, "Sampling, gloss of the finish check: the panel test asks for gloss on each oven load already.")
}

// TestInspectorIsToldWhichPartsOfALoadToMeasure looks at the pages that name the samples, on every glass.
func TestInspectorIsToldWhichPartsOfALoadToMeasure(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	d.Now = time.Now().Add(-time.Minute)
	l := d.bakeSheen(8)
	draft, err := d.DB.NewRevision(t.Context(), d.Everyone, "PC-G", "B")
	if err != nil {
		t.Fatal(err)
	}
	d.DB.Clock = time.Now
	b := newBrowser(t, d.DB)
	b.enrolAndSignOn(d.Shop)
	b.open("/loads/" + l.load)
	b.sees("Gloss of the finish check: on a sample")
	b.press(l.drawn[0].Serial)
	b.until("the form of the sample", fmt.Sprintf(`location.pathname === %q`, "/parts/"+l.drawn[0].Serial+"/finish"))
	b.sees("is due: this part is one of the 2 samples of oven load " + l.load)
	// On a part that is no sample a gauge that types goes on to the review: what is folded away asks for nothing.
	b.open("/parts/" + l.free[0] + "/finish")
	b.wait("#light")
	b.do(chromedp.SendKeys("#light", "800"+kb.Enter))
	b.until("the review", `document.activeElement.matches('[data-review]')`)
	for _, g := range glasses {
		b.show(g)
		for _, path := range []string{"/loads/" + l.load, "/racks/" + l.rack, "/parts/" + l.drawn[0].Serial + "/finish", "/parts/" + l.free[0] + "/finish", "/parts/" + l.free[0], "/bench",
			"/sampling/" + l.gloss.Number, "/setup/specs/PC-G/" + draft.ID.String()} {
			b.open(path)
			b.eval(`(document.querySelector('.block details.act, [name="sample-finish-gloss-by"]') ?? document.body).scrollIntoView()`)
			b.keep(strings.NewReplacer(l.drawn[0].Serial, "drawn", draft.ID.String(), "draft").Replace(path), g)
			b.bringAxe()
			for _, line := range b.axe() {
				t.Errorf("%s at %s: %s", path, g, line)
			}
			if b.eval(`document.documentElement.scrollWidth > document.documentElement.clientWidth`) == "true" {
				t.Errorf("%s scrolls sideways at %s", path, g)
			}
		}
	}
}
