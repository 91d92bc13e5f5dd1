package web

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

func TestOverdueOvenShowsBeforeTheNextLoadAndOnTheDayPage(t *testing.T) {
	h := newOvenHand(t, storetest.NewShop(t))
	r := h.send("POST", "/setup/ovens/OV1", url.Values{"profiles": {"2"}, "air": {"yes"}, "survey_days": {"0"}, "spread": {"10"}})
	if r.StatusCode != http.StatusSeeOther {
		t.Fatal(textOf(h.page(r, r.StatusCode)))
	}
	load := h.load()
	address := h.upload(load, "day.csv", twoLoads()).Header.Get("Location")
	if r := h.save(address, h.page(h.send("GET", address, nil), 200), nil); r.StatusCode != http.StatusSeeOther {
		t.Fatal(textOf(h.page(r, r.StatusCode)))
	}
	if got := h.page(h.send("GET", "/loads", nil), 200); strings.Contains(got, "Overdue.") {
		t.Errorf("overdue on the day of the profile: %s", textOf(got))
	}
	h.shop.Now = h.shop.Now.AddDate(0, 0, 4)
	h.signOn(h.shop.Everyone)
	next := h.load()
	for _, path := range []string{"/loads", "/loads/" + next, "/day"} {
		if got := textOf(h.page(h.send("GET", path, nil), 200)); !strings.Contains(got, "2 a week are asked, so it is overdue") {
			t.Errorf("%s says nothing of the overdue profile: %s", path, got)
		}
	}
	if got := h.page(h.send("GET", "/loads/"+next, nil), 200); !strings.Contains(got, "not recorded in the Early shift yet") {
		t.Errorf("the shift's temperature is not asked for: %s", textOf(got))
	}
	bad := h.page(h.send("POST", "/setup/ovens/OV1", url.Values{"profiles": {"500"}, "survey_days": {"x"}, "spread": {"0"}}), 422)
	for _, want := range []string{"“500” is", "“x” is not", "“0” is out of range"} {
		if !strings.Contains(textOf(bad), want) {
			t.Errorf("a rhythm out of range without %q: %s", want, textOf(bad))
		}
	}
}

func TestOvenSurveyIsRecordedAndJudged(t *testing.T) {
	h := newOvenHand(t, storetest.NewShop(t))
	form := h.page(h.send("GET", "/ovens/OV1/survey", nil), 200)
	if !strings.Contains(form, "at most 10 °C between") || !strings.Contains(form, "Hot parts, hot oven") {
		t.Error(textOf(form))
	}
	post := func(a, b, c string) *http.Response {
		return h.send("POST", "/ovens/OV1/survey", url.Values{"record": {store.NewID().String()}, "place-1": {"front"}, "place-2": {"middle"}, "place-3": {"back"},
			"oven-1": {a}, "oven-2": {b}, "oven-3": {c}, "save": {"1"}})
	}
	if got := h.page(post("200", "", "201"), 422); !strings.Contains(got, "Place 2, temperature") {
		t.Error(textOf(got))
	}
	if r := post("195", "200", "206"); r.StatusCode != http.StatusSeeOther {
		t.Fatal(textOf(h.page(r, r.StatusCode)))
	}
	if r := lastRecord(t, h.shop); r.Kind != quality.OvenSurvey || r.Verdict != quality.Fail || r.Subject != "OV1" {
		t.Errorf("%s of %s: %s", r.Kind, r.Subject, r.Verdict)
	}
	if got := h.page(h.send("GET", "/loads", nil), 200); !strings.Contains(got, "was not uniform") {
		t.Error(textOf(got))
	}
	if r := h.send("GET", "/ovens/B1/survey", nil); r.StatusCode != http.StatusNotFound {
		t.Errorf("a booth has a survey: %s", r.Status)
	}
}
