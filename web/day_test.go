package web

import (
	"bufio"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"coatbook/quality"
)

var leading = regexp.MustCompile(`^\D*(\d+)`)

func TestEveryNumberOnTheDayOpensAsManyRows(t *testing.T) {
	d := newDesk(t)
	d.busy()
	for _, address := range []string{"/day", "/day?date=2026-11-24&shift=Early"} {
		checked := 0
		for href, words := range links(t, d.get(address, http.StatusOK)) {
			if !strings.HasPrefix(href, "/parts?") || strings.Contains(href, "booth=") {
				continue
			}
			digits := leading.FindStringSubmatch(words)
			if strings.Contains(href, "fault=") {
				digits = regexp.MustCompile(`(\d+)$`).FindStringSubmatch(words)
			}
			if digits == nil {
				t.Errorf("%s: %q leads to %s without a number", address, words, href)
				continue
			}
			want, _ := strconv.Atoi(digits[1])
			if got := rowsOf(d.get(href, http.StatusOK)); got != want {
				t.Errorf("%q opens %s with %d rows", words, href, got)
			}
			checked++
		}
		// 7 stages with passed and through, 3 with failures, final, 3 faults, film.
		if checked < 20 {
			t.Errorf("%s: only %d numbers lead to a list", address, checked)
		}
	}
}

func TestDaySaysYieldHoldsAndWhatIsFirst(t *testing.T) {
	d := newDesk(t)
	d.busy()
	page := d.get("/day", http.StatusOK)
	contains(t, page, "Tuesday 24 November", "Weld check 83.3 %", "5 of 6 parts", "1 of 2 racks", "Film thickness 66.7 %", "Final 100.0 %",
		"Booth 1 film failed on 1 of 3 parts", "Hold H-2026-0001", "Conversion, pH is too high: 5.4", "Thin film", "too high", "FG-01", "Clopper-Pearson")
	// 5 of 6: Clopper-Pearson 0.3588 to 0.9958 (R binom.test, from memory); printed in percent.
	contains(t, page, "35.9 to 99.6 %")
	if !strings.Contains(page, `sse-connect="/day/live"`) {
		t.Error("today's page is not live")
	}
	if strings.Contains(d.get("/day?date=2026-11-20", http.StatusOK), "sse-connect") {
		t.Error("a past day is live")
	}
	if strings.Contains(page, "style=") || strings.Contains(page, "onclick") {
		t.Error("the page has inline style or script, which the policy forbids")
	}
}

func TestMissingClosingCheckShowsOnTheDayAfterItsShift(t *testing.T) {
	d := newDesk(t)
	d.busy()
	if strings.Contains(textOf(d.get("/day", http.StatusOK)), "no closing check") {
		t.Error("the running shift is told that it lacks its closing check")
	}
	d.Now = d.Now.Add(8 * time.Hour)
	contains(t, d.get("/day", http.StatusOK), "has no closing check for the Early shift, after 3 film checks")
}

func TestDayWithoutRecordsSaysWhereToLook(t *testing.T) {
	d := newDesk(t)
	d.busy()
	contains(t, d.get("/day?date=2026-11-29", http.StatusOK), "Nothing was recorded on this day and shift.", "Tuesday 24 November")
	d.get("/day?date=yesterday", http.StatusNotFound)
	d.get("/day?shift=Tea", http.StatusNotFound)
}

func TestDayIsToldOfChanges(t *testing.T) {
	d := newDesk(t)
	site := httptest.NewServer(d.handler())
	defer site.Close()
	part := d.Parts(1)[0]
	answer, err := http.Get(site.URL + "/day/live")
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	if got := answer.Header.Get("Content-Type"); got != "text/event-stream" {
		t.Fatalf("content type %q", got)
	}
	lines := bufio.NewScanner(answer.Body)
	lines.Scan() // the stream is open and subscribed
	d.Weld(part, quality.NoneFound)
	timer := time.AfterFunc(10*time.Second, func() { answer.Body.Close() })
	defer timer.Stop()
	for lines.Scan() {
		if lines.Text() == "event: change" {
			return
		}
	}
	t.Error("no change was announced within 10 s")
}
