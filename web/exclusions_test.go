package web

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"coatbook/store"
	"coatbook/store/storetest"
)

func TestExcludedValuesAreListedAndTheResultIsShownBothWays(t *testing.T) {
	d := newDesk(t)
	d.steadyFilm(30)
	day, _ := d.Site.ShopDay(d.Now)
	checks, err := d.DB.FilmChecks(t.Context(), d.Site.ID, store.FilmFilter{Period: store.OneDay(day, "")})
	if err != nil {
		t.Fatal(err)
	}
	record := "/records/" + checks[0].RecordID.String()
	const chart = "/charts/film?date=2026-11-24"
	before := indexOf(t, d.get(chart, http.StatusOK))
	contains(t, d.get(record, http.StatusOK), "Leave values out of the statistics")
	contains(t, d.get(record+"/exclude", http.StatusOK), "All readings of this check", "spot 5", "fault of the gauge")
	page := d.post(record+"/exclude", http.StatusUnprocessableEntity, url.Values{"reason": {"kept text"}, "pin": {storetest.PIN}})
	contains(t, page, "Tick the readings to leave out", "Choose why the values are left out.", "kept text")
	d.post(record+"/exclude", http.StatusSeeOther, url.Values{"seq": {"1", "3"}, "code": {"wrong_spot"}, "reason": {"Read beside the part"}, "pin": {storetest.PIN}})

	for _, path := range []string{chart, "/day"} {
		page := d.get(path, http.StatusOK)
		contains(t, page, "148 readings of 30 film checks", "2 readings left out, listed below", "With all values", "150 readings of 30 film checks, mean", "Without those left out", "148 readings of 30 film checks, mean",
			"Left out of these figures", checks[0].Serial, "measured at a wrong spot: Read beside the part", "Maren Holt")
		if after := indexOf(t, page); after == before {
			t.Errorf("%s: the index is %s with and without the values", path, after)
		}
		if !strings.Contains(textOf(page), "pk "+before) {
			t.Errorf("%s: the index with all values, %s, is not shown", path, before)
		}
	}
	all, err := d.DB.ExclusionsOf(t.Context(), d.Site.ID, checks[0].RecordID)
	if err != nil || len(all) != 2 {
		t.Fatalf("%v, %v", all, err)
	}
	contains(t, d.get("/exclusions/"+all[0].ID.String(), http.StatusOK), "Take values back into the statistics", "Read beside the part")
	for _, x := range all {
		contains(t, d.post("/exclusions/"+x.ID.String(), http.StatusUnprocessableEntity, url.Values{"pin": {storetest.PIN}}), "Say in a few words why the values count again.")
		d.post("/exclusions/"+x.ID.String(), http.StatusSeeOther, url.Values{"reason": {"It was on the part"}, "pin": {storetest.PIN}})
	}
	if again := indexOf(t, d.get(chart, http.StatusOK)); again != before {
		t.Errorf("taken back, the index is %s, before it was %s", again, before)
	}
	contains(t, d.get(record, http.StatusOK), "Counts again since", "It was on the part")

	// A part of which all is left out is on no chart.
	d.post(record+"/exclude", http.StatusSeeOther, url.Values{"all": {"1"}, "code": {"special_cause"}, "reason": {"Gun was being cleaned"}, "pin": {storetest.PIN}})
	page = d.get(chart, http.StatusOK)
	contains(t, page, "145 readings of 29 film checks", "5 readings left out")
	if n := strings.Count(page, `class="c-point`); n != 58 {
		t.Errorf("%d points, want 29 on either chart", n)
	}
	d.who = d.AddPerson("Pal Strand", "pal", store.Inspector)
	d.get(record+"/exclude", http.StatusForbidden)
}

// indexOf is the index that a page shows.
func indexOf(t *testing.T, page string) string {
	t.Helper()
	found := regexp.MustCompile(`pk <b class="num">(-?\d+\.\d\d)</b>`).FindStringSubmatch(page)
	if found == nil {
		t.Fatalf("no index is shown:\n%s", textOf(page))
	}
	return found[1]
}

func TestFiguresNameTheGaugeStudyAndFollowIt(t *testing.T) {
	d := newDesk(t)
	d.steadyFilm(30)
	const chart = "/charts/film?date=2026-11-24"
	contains(t, d.get(chart, http.StatusOK), "Gauge study", "FG-01: none on record")
	made := d.Now.AddDate(0, -2, 0)
	for _, c := range []struct {
		grr    float64
		groups int
		says   string
		shown  bool
	}{
		{8, 12, "8 % of the tolerance, 12 groups told apart: free", true},
		{22, 7, "Marked: gauge FG-01 takes 22 % of the tolerance.", true},
		{34, 6, "Gauge FG-01 takes 34 % of the tolerance by its study", false},
		{8, 4, "Marked: gauge FG-01 tells only 4 groups of parts apart; 5 are asked.", true},
	} {
		made = made.AddDate(0, 0, 1)
		groups := c.groups
		if _, err := d.DB.AddStudy(t.Context(), d.Everyone, store.Study{InstrumentID: d.Gauge.ID, GRR: c.grr, Of: "tolerance", NDC: &groups, MadeOn: made, ValidTo: d.Now.AddDate(1, 0, 0), Report: "MSA-7"}, 0); err != nil {
			t.Fatal(err)
		}
		for _, path := range []string{chart, "/day"} {
			page := d.get(path, http.StatusOK)
			contains(t, page, c.says, "study of "+made.Format("2 January 2006"))
			shown := regexp.MustCompile(`pk <b class="num">`).MatchString(page)
			if shown != c.shown {
				t.Errorf("%v %%, %d groups: on %s the index is shown: %v, want %v", c.grr, c.groups, path, shown, c.shown)
			}
			if free := c.grr < 10 && c.groups >= 5; free == strings.Contains(textOf(page), "Marked:") && c.shown {
				t.Errorf("%v %%, %d groups: marked %v on %s", c.grr, c.groups, !free, path)
			}
		}
	}
	// A study that has run out says nothing.
	made = made.AddDate(0, 0, 1)
	if _, err := d.DB.AddStudy(t.Context(), d.Everyone, store.Study{InstrumentID: d.Gauge.ID, GRR: 34, Of: "tolerance", MadeOn: made, ValidTo: made, Report: "MSA-8"}, 0); err != nil {
		t.Fatal(err)
	}
	contains(t, d.get(chart, http.StatusOK), "ran out on")
}
