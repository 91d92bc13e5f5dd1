package web

import (
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

// answeredArticle is a new part that is named as first article, with a record of somebody whose lines are all answered by hand.
func (d *desk) answeredArticle(by store.Actor) store.FirstArticle {
	d.t.Helper()
	part := d.Parts(1)[0]
	named, err := d.DB.NameFirstArticle(d.t.Context(), d.Everyone, part)
	if err != nil {
		d.t.Fatal(err)
	}
	form, err := d.DB.ArticleFormOf(d.t.Context(), d.Everyone, part, true)
	if err != nil {
		d.t.Fatal(err)
	}
	var lines []quality.ArticleLine
	for _, l := range form.Lines {
		lines = append(lines, quality.ArticleLine{Number: l.Number, Result: "as asked, seen by eye", Verdict: quality.Pass})
	}
	d.Now = d.Now.Add(time.Second)
	if _, err := d.DB.Save(d.t.Context(), by, store.Entry{RecordID: store.NewID(), Kind: quality.FirstArticle, Subject: store.Subject{Kind: quality.OnPart, ID: part},
		Check: quality.Check{Article: &quality.ArticleCheck{Full: true, Lines: lines}}}); err != nil {
		d.t.Fatal(err)
	}
	return named
}

// decidedArticles are one first article that waits for its decision by Everyone, and one that Everyone declined.
func (d *desk) decidedArticles() (waiting, declined string) {
	d.t.Helper()
	inspector := d.AddPerson("Wanda Reuter", "wanda", store.Inspector)
	w, gone := d.answeredArticle(inspector), d.answeredArticle(inspector)
	f, err := d.DB.FirstArticleByNumber(d.t.Context(), d.Site.ID, gone.Number)
	if err == nil {
		err = d.DB.DeclineFirstArticle(d.t.Context(), d.Everyone, f.Number, f.RecordID.UUID, "not_like_series", "Hung alone in the middle of the oven, where the series never hangs", d.Proof(d.Everyone))
	}
	if err != nil {
		d.t.Fatal(err)
	}
	return w.Number, gone.Number
}

var seenBox = regexp.MustCompile(`name="seen" value="([^"]+)"`)

// seen is what a form of the page is about.
func seen(t *testing.T, page string) string {
	t.Helper()
	m := seenBox.FindStringSubmatch(page)
	if m == nil {
		t.Fatalf("no form on the page:\n%s", textOf(page))
	}
	return m[1]
}

func TestFirstArticleIsDeclinedAndTheDeclineVoidedOnItsPages(t *testing.T) {
	h := newHand(t)
	h.askForArticles()
	f := h.answeredArticle(h.Everyone)
	approver := h.AddPerson("Ada Lindqvist", "ada", store.Engineer)
	article := articleHref(f.Number)
	rack := h.washedRack("K1", h.Parts(2)...)
	record, err := h.DB.FirstArticleByNumber(t.Context(), h.Site.ID, f.Number)
	if err != nil {
		t.Fatal(err)
	}
	own := h.desk.get(article, http.StatusOK)
	contains(t, own, "You recorded it, so somebody else approves or declines it")
	if strings.Contains(own, "/decline") {
		t.Error("the author is led to the decline")
	}
	contains(t, h.desk.get(article+"/decline", http.StatusOK), "A second person approves or declines it")
	whole := func() url.Values {
		return url.Values{"seen": {record.RecordID.UUID.String()}, "code": {"device"}, "reason": {"The hole is measured with a worn plug"}, "pin": {storetest.PIN}}
	}
	contains(t, h.desk.post(article+"/decline", http.StatusForbidden, whole()), "You recorded this first article. A second person")
	h.desk.post(article+"/approve", http.StatusForbidden, url.Values{"seen": {record.RecordID.UUID.String()}, "pin": {storetest.PIN}})

	h.who = approver
	contains(t, h.desk.get(article, http.StatusOK), "Sign the approval", "Decline it instead")
	form := h.desk.get(article+"/decline", http.StatusOK)
	contains(t, form, "Decline first article "+f.Number, "Device or method not fit", "series work on RF-210 may not rest on this record")
	for _, bad := range []struct{ field, value, words string }{{"code", "", "Choose why the first article is declined"}, {"code", "because", "Choose why the first article is declined"}, {"reason", " no ", "Say why in 5 to 500 characters; this has 2"},
		{"reason", strings.Repeat("x", 501), "this has 501"}, {"pin", "000000", "Sign and decline"}} {
		wrong := whole()
		wrong.Set(bad.field, bad.value)
		again := h.desk.post(article+"/decline", http.StatusUnprocessableEntity, wrong)
		contains(t, again, bad.words)
		if bad.field != "reason" && !strings.Contains(again, "worn plug") {
			t.Errorf("the reason was lost with a bad %s", bad.field)
		}
	}
	h.desk.post(article+"/decline", http.StatusNotFound, url.Values{"seen": {"x"}})
	nasty := whole()
	nasty.Set("seen", seen(t, form))
	nasty.Set("reason", "The <b>hole</b> is measured with a worn plug")
	h.desk.post(article+"/decline", http.StatusSeeOther, nasty)
	contains(t, h.desk.post(article+"/decline", http.StatusConflict, whole()), "was declined by Ada Lindqvist")

	page := h.desk.get(article, http.StatusOK)
	contains(t, page, "Declined by Ada Lindqvist", "<b>hole</b>", "Device or method not fit for the requirement", "meaning: reviewed", "Put right what was wrong", "Record it anew", "Declined by mistake?")
	if strings.Contains(textOf(page), "Sign the approval") {
		t.Error("a declined article can still be approved")
	}
	contains(t, h.desk.get("/first-articles", http.StatusOK), "declined by Ada Lindqvist", "Series parts wait until one is approved")
	contains(t, h.desk.get("/parts/"+f.Serial, http.StatusOK), f.Number+", declined", "Declined first article "+f.Number, "Record its first article")
	contains(t, h.desk.get("/day", http.StatusOK), "was declined by Ada Lindqvist")
	contains(t, h.desk.get(article+"/sheet", http.StatusOK), "Declined by Ada Lindqvist", "Not approved")
	h.who = h.Everyone
	contains(t, h.open("/bench", http.StatusOK), f.Number+" on "+f.Serial+": declined")
	coating := started(url.Values{"powder": {h.Lot.ID.String()}, "booth": {h.Booths[0].ID.String()}, "humidity": {"48"}})
	contains(t, h.enter(rack+"/coating", coating, http.StatusUnprocessableEntity), "was declined by Ada Lindqvist: The <b>hole</b> is measured with a worn plug. Put right what was wrong")

	// It was a mistake: the record waits for its approval again.
	contains(t, h.desk.get(article+"/void-decline", http.StatusOK), "A second person voids its decline")
	h.who = approver
	form = h.desk.get(article+"/void-decline", http.StatusOK)
	contains(t, form, "was declined by Ada Lindqvist", "both stay in the book")
	decline := seen(t, form)
	undo := func(reason string) url.Values {
		return url.Values{"seen": {decline}, "reason": {reason}, "pin": {storetest.PIN}}
	}
	contains(t, h.desk.post(article+"/void-decline", http.StatusUnprocessableEntity, undo("")), "Say why in 5 to 500 characters")
	h.desk.post(article+"/void-decline", http.StatusNotFound, url.Values{"seen": {"x"}})
	h.who = h.Everyone
	h.desk.post(article+"/void-decline", http.StatusForbidden, undo("Looked at the wrong article"))
	h.who = approver
	h.desk.post(article+"/void-decline", http.StatusSeeOther, undo("Looked at the wrong article"))
	h.desk.post(article+"/void-decline", http.StatusConflict, undo("Looked at the wrong article"))
	contains(t, h.desk.get(article, http.StatusOK), "waits for approval", "Decline void by Ada Lindqvist", "Looked at the wrong article", "Sign the approval")
}

func TestDeclineKeepsToTheRolesOfTheApproval(t *testing.T) {
	h := newHand(t)
	f := h.answeredArticle(h.Everyone)
	article := articleHref(f.Number)
	for i, role := range store.Roles {
		h.who = h.AddPerson("Person of "+role, fmt.Sprintf("p%d", i), role)
		want, may := http.StatusForbidden, role == store.Supervisor || role == store.Engineer
		if may {
			want = http.StatusOK
		}
		for _, path := range []string{"/decline", "/void-decline"} {
			h.desk.get(article+path, want)
			if !may {
				h.desk.post(article+path, want, url.Values{"seen": {store.NewID().String()}, "code": {"result"}, "reason": {"not what it says"}, "pin": {storetest.PIN}})
			}
		}
		if says := strings.Contains(h.desk.get(article, http.StatusOK), "Decline it instead"); says != may {
			t.Errorf("%s is led to the decline: %v", role, says)
		}
	}
}
