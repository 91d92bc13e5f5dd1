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
	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

var (
	filmPasses = []string{"82", "68", "75", "93", "86"}
	filmFails  = []string{"85", "67", "71", "64", "44"}
)

// sampledSpec puts a spec PC-S into force that asks for film thickness by a rule of sampling and for nothing else, with a part
// number of its own.
func (d *desk) sampledSpec(rule quality.SampleRule) store.PartNumber {
	d.t.Helper()
	ctx := d.t.Context()
	rev, err := d.DB.AddSpec(ctx, d.Everyone, "PC-S", "Brackets, on a sample", "A", quality.FinishSpec{Version: quality.SpecVersion, MaxCycles: 2,
		Film:     &quality.FilmSpec{Limits: quality.Between(60, 120, quality.Micrometre), Rule: quality.Areas80, Spots: 5, ReadingsPerSpot: 1},
		Sampling: map[quality.Sampled]quality.SampleRule{quality.Sampled(quality.Film): rule}})
	if err == nil {
		err = d.DB.ApproveSpec(ctx, d.Everyone, rev.ID, d.Proof(d.Everyone))
	}
	if err != nil {
		d.t.Fatal(err)
	}
	number, err := d.DB.AddPartNumber(ctx, d.Everyone, store.PartNumber{Code: "BR-7", Name: "Bracket", SpecID: rev.SpecID, Alloy: "6060 T66", BaseForm: "extrusion", WallMM: 3, Sketch: "bracket"})
	if err != nil {
		d.t.Fatal(err)
	}
	return number
}

// sampledJob receives n parts of a part number in a job of their own.
func (d *desk) sampledJob(number store.PartNumber, job string, n int) []uuid.UUID {
	d.t.Helper()
	j, err := d.DB.AddJob(d.t.Context(), d.Everyone, store.Job{Number: job, Customer: "Halden"})
	if err != nil {
		d.t.Fatal(err)
	}
	serials := make([]string, n)
	for i := range serials {
		serials[i] = fmt.Sprintf("%s-%02d", job, i+1)
	}
	ids, err := d.DB.AddParts(d.t.Context(), d.Everyone, j.ID, number.ID, serials)
	if err != nil {
		d.t.Fatal(err)
	}
	return ids
}

// makeSampledLot makes the parts of a job a lot, and returns it with its sample in order and the other parts.
func (d *desk) makeSampledLot(job string) (l store.InspectionLot, drawn, rest []store.LotPart) {
	d.t.Helper()
	ctx := d.t.Context()
	number, err := d.DB.MakeLot(ctx, d.Everyone, store.LotOffer{ID: store.NewID(), Spec: "PC-S", Of: quality.Sampled(quality.Film), Job: job})
	if err == nil {
		l, err = d.DB.InspectionLotByNumber(ctx, d.Site.ID, number)
	}
	if err != nil {
		d.t.Fatal(err)
	}
	parts, err := d.DB.LotParts(ctx, d.Site.ID, l.ID)
	if err != nil {
		d.t.Fatal(err)
	}
	for _, p := range parts {
		if p.Seq > 0 {
			drawn = append(drawn, p)
		} else {
			rest = append(rest, p)
		}
	}
	slices.SortFunc(drawn, func(a, b store.LotPart) int { return a.Seq - b.Seq })
	return l, drawn, rest
}

// inspectionLot is a lot with something on every part of its page: a swap, a rejection and its hold.
func (d *desk) inspectionLot() string {
	d.t.Helper()
	number := d.sampledSpec(quality.SampleRule{By: quality.SampleLot, Plan: quality.PlanCoating})
	d.sampledJob(number, "S-90", 14)
	l, drawn, _ := d.makeSampledLot("S-90")
	if _, err := d.DB.SwapSample(d.t.Context(), d.Everyone, l.ID, drawn[9].Serial, "Hangs out of reach."); err != nil {
		d.t.Fatal(err)
	}
	d.sampledJob(number, "S-91", 4)
	return l.Number
}

func TestLotIsMadeSwappedAndReadOnItsPages(t *testing.T) {
	d := newDesk(t)
	number := d.sampledSpec(quality.SampleRule{By: quality.SampleLot, Plan: quality.PlanCoating})
	d.sampledJob(number, "S-1", 20)
	contains(t, d.get("/sampling", http.StatusOK), "No lot waits for its samples", "PC-S, film thickness: 20 parts of job S-1", "No lot yet.")
	contains(t, d.get("/parts/S-1-01", http.StatusOK), "a supervisor makes the lot on the Sampling page")
	id := store.NewID().String()
	contains(t, d.post("/sampling", http.StatusUnprocessableEntity, url.Values{"lot": {id}}), "Choose the parts that are offered together.")
	again := d.post("/sampling", http.StatusUnprocessableEntity, url.Values{"lot": {id}, "parts": {"film|PC-S|job|S-404"}})
	contains(t, again, "“S-404” is not a job or oven load of this site")
	if !strings.Contains(again, id) {
		t.Error("the lot's own number is lost with the refusal")
	}
	offer := url.Values{"lot": {id}, "parts": {"film|PC-S|job|S-1"}}
	d.post("/sampling", http.StatusSeeOther, offer)
	d.post("/sampling", http.StatusSeeOther, offer) // sent twice, made once
	lots, err := d.DB.InspectionLots(t.Context(), d.Site.ID, 10)
	if err != nil || len(lots) != 1 {
		t.Fatalf("%d lots, %v", len(lots), err)
	}
	at := "/sampling/" + lots[0].Number
	contains(t, d.get("/sampling", http.StatusOK), "1 lot waits for its samples", lots[0].Number, "0 of 10 checked")
	contains(t, d.get(at, http.StatusOK), "20 parts, job S-1: 0 of 10 samples checked, 0 failed, 1 allowed", "10 of 20, accept with up to 1 failed, reject with 2", "coating quality label",
		"Seed of the draw", fmt.Sprintf("%x", lots[0].Seed), "In a long series, lots with 3.7 % bad are accepted 95 times in 100, lots with 33.7 % bad 10 times in 100", "none needed")
	parts, err := d.DB.LotParts(t.Context(), d.Site.ID, lots[0].ID)
	if err != nil {
		t.Fatal(err)
	}
	var first string
	for _, p := range parts {
		if p.Seq == 1 {
			first = p.Serial
		}
	}
	refused := d.post(at+"/swap", http.StatusUnprocessableEntity, url.Values{"sample": {first}, "reason": {"no"}})
	contains(t, refused, "Say in a few words why the part is taken out of the sample.")
	if !strings.Contains(refused, `value="no"`) || !strings.Contains(refused, `value="`+first+`" selected`) {
		t.Error("what was typed is lost with the refusal")
	}
	contains(t, d.post(at+"/swap", http.StatusUnprocessableEntity, url.Values{"reason": {"Hangs out of reach."}}), "Choose the sample that is taken out.")
	d.post(at+"/swap", http.StatusSeeOther, url.Values{"sample": {first}, "reason": {"Hangs out of reach."}})
	contains(t, d.get(at, http.StatusOK), "Swapped", "Hangs out of reach.", first)
	// Only now is it known who stands on the lot: the swap may have drawn any of those left out before.
	parts, err = d.DB.LotParts(t.Context(), d.Site.ID, lots[0].ID)
	if err != nil {
		t.Fatal(err)
	}
	var drawn []store.LotPart
	stands := ""
	for _, p := range parts {
		if p.Seq > 0 {
			drawn = append(drawn, p)
		} else if !p.Sampled {
			stands = p.Serial
		}
	}
	contains(t, d.get("/parts/"+stands, http.StatusOK), "Stands on lot "+lots[0].Number+", which waits for its samples: 0 of 10 are checked")
	// One sample short: the page refuses the release of what stands on the lot.
	d.Verify(0)
	for _, p := range drawn[:9] {
		d.Film(p.PartID, filmPasses...)
	}
	release := func(want int) string {
		return d.post("/parts/"+stands+"/release", want, url.Values{"pin": {storetest.PIN}, "signer": {"maren"}})
	}
	contains(t, release(http.StatusUnprocessableEntity), "9 of 10 are checked")
	d.Film(drawn[9].PartID, filmPasses...)
	contains(t, d.get("/parts/"+stands, http.StatusOK), "Stands on lot "+lots[0].Number+", accepted: 0 of 10 samples failed, 1 allowed.")
	release(http.StatusSeeOther)

	d.who = d.AddPerson("Ona Reyes", "ona", store.Inspector)
	d.get(at, http.StatusOK)
	d.post(at+"/swap", http.StatusForbidden, url.Values{})
	d.post("/sampling", http.StatusForbidden, url.Values{})
	d.post("/sampling/resume", http.StatusForbidden, url.Values{})
}

func TestStoppedInspectionIsResumedOnThePage(t *testing.T) {
	d := newDesk(t)
	d.Verify(0)
	number := d.sampledSpec(quality.SampleRule{By: quality.SampleLot, Plan: quality.PlanAQL, Level: "II", AQL: 6.5})
	for i, failing := range []bool{true, true, false, true, false, true, false, true, false, true, false, true} {
		job := fmt.Sprintf("S-%d", i+1)
		d.sampledJob(number, job, 4)
		_, drawn, _ := d.makeSampledLot(job)
		for _, p := range drawn {
			if failing {
				d.Film(p.PartID, filmFails...)
				break
			}
			d.Film(p.PartID, filmPasses...)
		}
	}
	contains(t, d.get("/sampling", http.StatusOK), "stopped", "Begin again: PC-S, film thickness", "Ten lots in a row stayed on tightened inspection.", "Two of five lots in a row or fewer were rejected.")
	d.sampledJob(number, "S-13", 4)
	contains(t, d.post("/sampling", http.StatusUnprocessableEntity, url.Values{"lot": {store.NewID().String()}, "parts": {"film|PC-S|job|S-13"}}), "Inspection by lot is stopped")
	typed := url.Values{"spec": {"PC-S"}, "kind": {"film"}, "reason": {"Gun 2 was replaced."}, "pin": {"000000"}, "signer": {"maren"}}
	refused := d.post("/sampling/resume", http.StatusUnprocessableEntity, typed)
	if !strings.Contains(refused, "Gun 2 was replaced.") {
		t.Error("the reason is lost with the refusal")
	}
	typed.Set("pin", storetest.PIN)
	d.post("/sampling/resume", http.StatusSeeOther, typed)
	contains(t, d.get("/sampling", http.StatusOK), "inspected tightened", "Gun 2 was replaced.", "Maren Holt, signed: authorised")
}

func TestSpecFormTakesTheRulesOfSampling(t *testing.T) {
	d := openSetupDesk(t, store.Engineer)
	status, body := d.post("/setup/specs", "code", "FS-9", "title", "Sampled", "revision", "A")
	d.must(status, body, "FS-9")
	revisions, err := d.db.SpecRevisions(t.Context(), d.actor.Site, "FS-9")
	if err != nil || len(revisions) != 1 {
		t.Fatalf("%d revisions, %v", len(revisions), err)
	}
	page := "/setup/specs/FS-9/" + revisions[0].ID.String()
	fields := []string{"cycles", "2", "film", "yes", "film-unit", "um", "film-um-low", "60", "film-rule", "areas80", "film-spots", "5", "film-readings", "3", "film-guard", "0",
		"sample-film-by", "aql", "sample-film-level", "II", "sample-film-aql", "0.65", "sample-film-number", "7"}
	if status, body := d.post(page, append(fields, "sample-film-reduced", "yes")...); status != http.StatusOK {
		t.Fatalf("saving the draft: status %d\n%s", status, textOf(body))
	}
	revision, err := d.db.SpecRevision(t.Context(), d.actor.Site, revisions[0].ID)
	if err != nil {
		t.Fatal(err)
	}
	spec, err := revision.Spec()
	if want := (quality.SampleRule{By: quality.SampleLot, Plan: quality.PlanAQL, Level: "II", AQL: 0.65, Reduced: true}); err != nil || len(spec.Sampling) != 1 || spec.Sampling[quality.Sampled(quality.Film)] != want {
		t.Errorf("the rules are %+v, want %+v; %v", spec.Sampling, want, err)
	}
	_, shown := d.get(page)
	if !strings.Contains(shown, `value="0.65" selected`) || !strings.Contains(shown, `value="aql" selected`) {
		t.Error("the stored rule does not stand in its form")
	}
	// What cannot be used is said at its section, and what was typed stays.
	status, body = d.post(page, append(fields[:len(fields)-8:len(fields)-8], "sample-film-by", "rack", "sample-film-number", "some")...)
	if status != http.StatusUnprocessableEntity || !strings.Contains(body, `value="some"`) {
		t.Errorf("status %d for a number in words", status)
	}
	contains(t, body, "“some”")
	if status, body := d.post(page, append(fields[:len(fields)-8:len(fields)-8], "sample-film-by", "aql")...); status != http.StatusOK {
		t.Fatalf("saving an unfinished rule: status %d\n%s", status, textOf(body))
	}
	_, shown = d.get(page)
	contains(t, shown, "Sampling, film thickness: choose an inspection level.", "Sampling, film thickness: choose an AQL of the table.")
}

// TestRejectedSampleHoldsItsLotAndTightensInspection is the story of a rejected sample: a lot is made, its sample asked for at
// the bench, the second lot rejected, what it stood for held, and the next lot inspected tightened.
func TestRejectedSampleHoldsItsLotAndTightensInspection(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	d.Now = time.Now()
	number := d.sampledSpec(quality.SampleRule{By: quality.SampleLot, Plan: quality.PlanAQL, Level: "II", AQL: 6.5})
	d.DB.Clock = time.Now
	d.Verify(0)
	d.sampledJob(number, "S-1", 8)
	_, drawn, _ := d.makeSampledLot("S-1")
	d.Film(drawn[0].PartID, filmFails...)
	d.sampledJob(number, "S-2", 8)

	b := newBrowser(t, d.DB)
	b.enrolAndSignOn(d.Shop)
	b.open("/sampling")
	b.sees("PC-S, film thickness: 8 parts of job S-2", "inspected normal")
	b.fill("Parts that are offered together", "PC-S, film thickness: 8 parts of job S-2")
	b.press("Make the lot")
	b.until("the lot's page", `/^\/sampling\/IL-/.test(location.pathname)`)
	b.sees("waits for its samples", "0 failed, 0 allowed")
	lot := strings.TrimPrefix(b.eval("location.pathname"), "/sampling/")
	serials := strings.Split(b.eval(`[...document.querySelectorAll('#sample tbody tr')].map(r => r.cells[1].innerText.trim()).join(' ')`), " ")
	b.open("/bench")
	b.sees("sample of lot " + lot)
	if got := b.eval(`[...document.querySelectorAll('a')].filter(a => a.innerText.includes('sample of lot')).length`); got != fmt.Sprint(len(serials)) {
		t.Errorf("the bench asks for %s parts, the sample has %d", got, len(serials))
	}
	b.open("/parts/" + serials[0] + "/film?unit=um")
	b.wait("input.reading")
	b.fill("Gauge", "FG-01")
	for i, v := range filmFails {
		b.eval(fmt.Sprintf(`(() => { const e = document.querySelectorAll('input.reading')[%d]; e.value = %q; e.dispatchEvent(new Event('change', {bubbles: true})); })()`, i, v))
	}
	b.save()
	b.sees("Lot "+lot+" is rejected", "Inspection is tightened from the next lot on.")
	b.open("/sampling/" + lot)
	b.sees("rejected", "Each part is checked itself")
	b.press("H-")
	b.sees("Rejected sample: lot "+lot, "S-2-")
	b.open("/sampling")
	b.sees("inspected tightened", "Two of five lots in a row or fewer were rejected.")
	for _, g := range glasses {
		b.show(g)
		for _, path := range []string{"/sampling", "/sampling/" + lot} {
			b.open(path)
			b.keep(path, g)
			if b.eval(`document.documentElement.scrollWidth > document.documentElement.clientWidth`) == "true" {
				t.Errorf("%s scrolls sideways at %s", path, g)
			}
		}
	}
	b.do(chromedp.EmulateViewport(1280, 800))
}
