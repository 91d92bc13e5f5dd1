package web

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
)

// namedArticle is a new part that is named as first article, with a record whose lines are partly answered.
func (d *desk) namedArticle() store.FirstArticle {
	d.t.Helper()
	part := d.Parts(1)[0]
	f, err := d.DB.NameFirstArticle(d.t.Context(), d.Everyone, part)
	if err != nil {
		d.t.Fatal(err)
	}
	d.Now = d.Now.Add(time.Second)
	if _, err := d.DB.Save(d.t.Context(), d.Everyone, store.Entry{RecordID: store.NewID(), Kind: quality.FirstArticle, Subject: store.Subject{Kind: quality.OnPart, ID: part},
		Check: quality.Check{Article: &quality.ArticleCheck{Full: true, Lines: []quality.ArticleLine{{Number: "1", Result: "no imperfection found", Verdict: quality.Pass}}}}}); err != nil {
		d.t.Fatal(err)
	}
	return f
}

// askForArticles approves a revision of the shop's spec that asks for first articles.
func (d *desk) askForArticles() {
	d.t.Helper()
	draft, err := d.DB.NewRevision(d.t.Context(), d.Everyone, d.Spec.Code, "B")
	if err != nil {
		d.t.Fatal(err)
	}
	spec, err := draft.Spec()
	if err != nil {
		d.t.Fatal(err)
	}
	spec.FirstArticle = &quality.FirstArticleSpec{GapDays: 180}
	if err := d.DB.SaveDraft(d.t.Context(), d.Everyone, draft.ID, spec); err != nil {
		d.t.Fatal(err)
	}
	if err := d.DB.ApproveSpec(d.t.Context(), d.Everyone, draft.ID, d.Proof(d.Everyone)); err != nil {
		d.t.Fatal(err)
	}
	d.Now = d.Now.Add(time.Second)
}

var hiddenBox = regexp.MustCompile(`<input type="hidden" name="((?:evidence-[^"]+)|scope)" value="([^"]*)"`)

// answers are the lines of a first article's form that records answer, as the form would post them.
func answers(page string) url.Values {
	form := url.Values{}
	for _, m := range hiddenBox.FindAllStringSubmatch(page, -1) {
		form.Set(m[1], m[2])
	}
	return form
}

// washedRack hangs and washes new parts and returns the address of their rack.
func (h *hand) washedRack(tag string, parts ...uuid.UUID) string {
	h.t.Helper()
	rack := h.enter("/racks", url.Values{"tag": {tag}}, http.StatusSeeOther)
	for _, p := range parts {
		h.Weld(p, quality.NoneFound)
		h.enter(rack+"/parts", url.Values{"serial": {h.serial(p)}}, http.StatusSeeOther)
	}
	h.enter(rack+"/pretreatment", url.Values{"stage-1-ph": {"4.6"}, "bath-1": {h.Bath.ID.String()}}, http.StatusSeeOther)
	return rack
}

func TestFirstArticleGoesFromDueToApprovedOnItsPages(t *testing.T) {
	h := newHand(t)
	h.askForArticles()
	if _, err := h.DB.AddDrawingList(t.Context(), h.Everyone, h.PartNumber.ID, 0, store.DrawingList{Drawing: "RF-210 issue 3", Requirements: []quality.DrawingRequirement{{Number: "7", Text: "Hole 9.0 to 9.2 mm free of powder"}}}); err != nil {
		t.Fatal(err)
	}
	approver := h.AddPerson("Ada Lindqvist", "ada", store.Engineer)
	series := h.Parts(2)
	seriesRack := h.washedRack("K1", series...)
	coating := started(url.Values{"powder": {h.Lot.ID.String()}, "booth": {h.Booths[0].ID.String()}, "humidity": {"48"}})
	refused := h.enter(seriesRack+"/coating", coating, http.StatusUnprocessableEntity)
	contains(t, refused, "A first article of RF-210 is due (new part number", "Name a part as first article on its page")
	if !strings.Contains(refused, `value="48"`) {
		t.Error("the typed humidity was lost")
	}
	contains(t, h.open("/bench", http.StatusOK), "First article due, series parts wait", "new part number")
	contains(t, h.desk.get("/day", http.StatusOK), "Series of RF-210 waits for a first article")
	contains(t, h.desk.get("/first-articles", http.StatusOK), "1 part number waits for a first article", "Name a part of it")

	part := h.Parts(1)[0]
	serial := h.serial(part)
	contains(t, h.desk.get("/parts/"+serial, http.StatusOK), "Name as first article")
	form := "/parts/" + serial + "/first-article"
	contains(t, h.open(form, http.StatusOK), "Name "+serial+" as first article?")
	h.enter(form, url.Values{}, http.StatusUnprocessableEntity)
	article := h.enter(form+"/name", url.Values{}, http.StatusSeeOther)
	contains(t, h.desk.get(article, http.StatusOK), "named, not recorded", "new part number")
	rack := h.washedRack("K2", part)
	h.enter(rack+"/coating", started(url.Values{"powder": {h.Lot.ID.String()}, "booth": {h.Booths[0].ID.String()}, "humidity": {"48"}}), http.StatusSeeOther)
	load := h.enter("/loads", url.Values{"oven": {h.Oven.ID.String()}}, http.StatusSeeOther)
	h.enter(load+"/racks", url.Values{"rack": {"K2"}}, http.StatusSeeOther)
	h.enter(load+"/cure", url.Values{"set_point": {"205"}, "oven_time": {"30"}, "peak-1": {"199.5"}, "above-1": {"15"}, "place-1": {"heaviest section"}}, http.StatusSeeOther)
	h.enter(load+"/cure-test", url.Values{"rubs": {"50"}, "rating": {"4"}, "swab": {"none"}, "tested": {part.String()}}, http.StatusSeeOther)
	h.enter("/parts/"+serial+"/finish", url.Values{"none_found": {"1"}}, http.StatusSeeOther)
	h.Verify(0)
	h.enter("/parts/"+serial+"/film", h.filmForm("78.2", "80.1", "77.5", "86.0", "90.3"), http.StatusSeeOther)

	page := h.open(form, http.StatusOK)
	contains(t, page, "Every requirement of PC-60 rev B and of the drawing RF-210 issue 3", "No. 6", "Film thickness: 60 to 120 µm", "77.5 to 90.3 µm (5 readings)", "with FG-01", "No. D7", "Hole 9.0 to 9.2 mm free of powder")
	typed := answers(page)
	// One line is left open first: the record says so and cannot be approved.
	h.enter(form, typed, http.StatusSeeOther)
	contains(t, h.desk.get(article, http.StatusOK), "lines not answered", "not answered", "Record it anew")
	for _, bad := range []struct{ field, value, words string }{{"verdict-D7", "pass", "No. D7: enter what was found"}, {"verdict-D7", "good", "No. D7: choose pass or fail"},
		{"result-D7", strings.Repeat("9", 401), "more than 400 characters"}} {
		wrong := answers(page)
		wrong.Set(bad.field, bad.value)
		contains(t, h.enter(form, wrong, http.StatusUnprocessableEntity), bad.words)
	}
	typed = answers(page)
	typed.Set("result-D7", "9.1 mm, <b>free</b>")
	typed.Set("device-D7", "plug gauge P-12")
	typed.Set("verdict-D7", "pass")
	preview := url.Values{"preview": {"1"}}
	for name, v := range typed {
		preview[name] = v
	}
	contains(t, h.enter(form, preview, http.StatusOK), "pass", "full first article, 7 requirements")
	if to := h.enter(form, typed, http.StatusSeeOther); to != article {
		t.Errorf("sent to %s, want %s", to, article)
	}
	own := h.desk.get(article, http.StatusOK)
	contains(t, own, "waits for approval", "You recorded it, so somebody else approves or declines it", "9.1 mm, <b>free</b>", "plug gauge P-12")
	h.attach(article+"/files", "hole.jpg", photoWithPlace(t), http.StatusSeeOther)

	h.who = approver
	page = h.desk.get(article, http.StatusOK)
	seen := regexp.MustCompile(`name="seen" value="([^"]+)"`).FindStringSubmatch(page)
	if seen == nil {
		t.Fatalf("no approval on the page:\n%s", textOf(page))
	}
	contains(t, page, "Approved the full first article FA-0001 on part "+serial+" for series work on RF-210")
	contains(t, h.desk.post(article+"/approve", http.StatusUnprocessableEntity, url.Values{"seen": {seen[1]}, "pin": {"000000"}}), "Sign the approval")
	h.desk.post(article+"/approve", http.StatusNotFound, url.Values{"seen": {"x"}, "pin": {"594713"}})
	h.desk.post(article+"/approve", http.StatusSeeOther, url.Values{"seen": {seen[1]}, "pin": {"594713"}})
	contains(t, h.desk.post(article+"/approve", http.StatusConflict, url.Values{"seen": {seen[1]}, "pin": {"594713"}}), "approved by Ada Lindqvist meanwhile")
	contains(t, h.desk.get(article+"/sheet", http.StatusOK), "Signed by Ada Lindqvist", "meaning: approved", "Tern Hollow Metalworks")
	h.who = h.Everyone
	coating.Set("record", store.NewID().String())
	h.enter(seriesRack+"/coating", coating, http.StatusSeeOther)
	contains(t, h.desk.get("/first-articles", http.StatusOK), "No first article is due", "approved by Ada Lindqvist")
	if page := textOf(h.open("/bench", http.StatusOK)); strings.Contains(page, "First article due") {
		t.Error("the bench still says that a first article is due")
	}
}

func TestFirstArticlePagesKeepToRolesAndRefuseWhatIsUnknown(t *testing.T) {
	h := newHand(t)
	h.askForArticles()
	part := h.Parts(1)[0]
	h.desk.get("/first-articles/FA-9999", http.StatusNotFound)
	h.open("/parts/TH-9999/first-article", http.StatusNotFound)
	h.who = h.AddPerson("Op Erator", "op", store.Operator)
	contains(t, h.open("/parts/"+h.serial(part)+"/first-article", http.StatusOK), "An inspector, a supervisor or an engineer names a first article")
	h.enter("/parts/"+h.serial(part)+"/first-article/name", url.Values{}, http.StatusForbidden)
	h.who = h.AddPerson("Au Ditor", "au", store.Auditor)
	h.open("/parts/"+h.serial(part)+"/first-article", http.StatusForbidden)
	h.desk.get("/first-articles", http.StatusOK)
	h.desk.post("/first-articles/FA-0001/approve", http.StatusForbidden, url.Values{})
}
