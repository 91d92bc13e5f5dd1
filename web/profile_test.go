package web

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/hex"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

// workedProfile is the worked profile of trade knowledge: a reading a minute, peak 200 °C; 8.0 min over 180 °C; 6.1 min over 190 °C.
//
//go:embed testdata/profile-worked.csv
var workedProfile []byte

// fahrenheitProfile is a run of our own invention: °F, semicolons, decimal commas, two lines before the header, Windows-1252.
//
//go:embed testdata/profile-fahrenheit.csv
var fahrenheitProfile []byte

// An ovenHand is somebody at the oven: a signed-on tablet of a shop, before the whole server.
type ovenHand struct {
	*guest
	shop *storetest.Shop
}

func newOvenHand(t *testing.T, shop *storetest.Shop) *ovenHand {
	t.Helper()
	h := &ovenHand{newGuest(t, shop), shop}
	h.enrol(shop)
	h.signOn(shop.Everyone)
	return h
}

// load brings one part to an oven load before its cure run.
func (h *ovenHand) load() string {
	h.t.Helper()
	return bakeable(h.t, h.shop)
}

func bakeable(t *testing.T, shop *storetest.Shop) string {
	t.Helper()
	part, load := shop.Parts(1), store.NewID()
	shop.Weld(part[0], quality.NoneFound)
	rack := shop.Wash(part, "4.6", 0)
	opened, err := shop.DB.OpenLoad(t.Context(), shop.Everyone, load, shop.Oven.ID)
	if err == nil {
		err = shop.DB.AddRack(t.Context(), shop.Everyone, load, rack)
	}
	if err != nil {
		t.Fatal(err)
	}
	return opened.Number
}

// upload posts a file for a load and returns the answer.
func (h *ovenHand) upload(load, name string, body []byte) *http.Response {
	h.t.Helper()
	var form bytes.Buffer
	m := multipart.NewWriter(&form)
	part, err := m.CreateFormFile("file", name)
	if err != nil {
		h.t.Fatal(err)
	}
	part.Write(body)
	m.Close()
	return h.post("/loads/"+load+"/profile", &form, m.FormDataContentType())
}

func (h *ovenHand) post(path string, body io.Reader, kind string) *http.Response {
	h.t.Helper()
	r := httptest.NewRequest("POST", "https://coatbook.test"+path, body)
	r.Header.Set("Content-Type", kind)
	for name, value := range h.cookies {
		r.AddCookie(&http.Cookie{Name: name, Value: value})
	}
	w := httptest.NewRecorder()
	h.server.ServeHTTP(w, r)
	return w.Result()
}

func (h *ovenHand) page(r *http.Response, want int) string {
	h.t.Helper()
	body, err := io.ReadAll(r.Body)
	if err != nil || r.StatusCode != want {
		h.t.Fatalf("%s, %v, want %d\n%s", r.Status, err, want, textOf(string(body)))
	}
	return string(body)
}

// save posts the page of a file as it stands, with these answers changed.
func (h *ovenHand) save(address, body string, change url.Values) *http.Response {
	h.t.Helper()
	form := formOn(body)
	form.Set("record", store.NewID().String())
	form.Set("set_point", "205")
	form.Set("save", "1")
	for name, values := range change {
		form[name] = values
	}
	return h.send("POST", address, form)
}

var (
	inputField  = regexp.MustCompile(`<input[^>]*>`)
	selectField = regexp.MustCompile(`(?s)<select[^>]*name="([^"]+)".*?</select>`)
	chosenField = regexp.MustCompile(`(?s)<option value="([^"]*)"[^>]* selected`)
	attribute   = regexp.MustCompile(`([a-z-]+)(?:="([^"]*)")?`)
)

// formOn reads what a page's form would send.
func formOn(body string) url.Values {
	form := url.Values{}
	body = body[strings.Index(body, "data-entry"):]
	for _, tag := range inputField.FindAllString(body, -1) {
		a := map[string]string{}
		for _, m := range attribute.FindAllStringSubmatch(tag[len("<input"):], -1) {
			a[m[1]] = m[2]
		}
		_, checked := a["checked"]
		if a["name"] == "" || a["type"] == "radio" && !checked || a["type"] == "submit" {
			continue
		}
		form.Set(a["name"], a["value"])
	}
	for _, m := range selectField.FindAllStringSubmatch(body, -1) {
		if chosen := chosenField.FindStringSubmatch(m[0]); chosen != nil {
			form.Set(m[1], strings.NewReplacer("&#34;", `"`).Replace(chosen[1]))
		}
	}
	return form
}

func TestWorkedProfileIsImportedJudgedAndGivenBackByteForByte(t *testing.T) {
	h := newOvenHand(t, storetest.NewShop(t))
	load := h.load()
	if got := h.page(h.send("GET", "/loads/"+load, nil), 200); !strings.Contains(got, "/loads/"+load+"/profile") {
		t.Error("the load does not lead to its logger's file")
	}
	r := h.upload(load, "../../run 12.csv", workedProfile)
	address := r.Header.Get("Location")
	if r.StatusCode != http.StatusSeeOther {
		t.Fatal(r.Status, textOf(h.page(r, r.StatusCode)))
	}
	preview := h.page(h.send("GET", address, nil), 200)
	// The shop's spec counts time from 190 °C: 6.1 min, where its powder asks for 10.4.
	for _, want := range []string{"peak 200 °C, 6.1 min at or over 190 °C", "time counts from 190 °C", "minute 0 to 15", "16 in 15 min", "run 12.csv", "<svg", "10.4"} {
		if !strings.Contains(preview, want) {
			t.Errorf("the preview has no %q\n%s", want, textOf(preview))
		}
	}
	if n := recordsOf(t, h.shop, quality.Cure); n != 0 {
		t.Fatalf("%d records before the save", n)
	}
	if r := h.save(address, preview, nil); r.StatusCode != http.StatusSeeOther {
		t.Fatal(textOf(h.page(r, r.StatusCode)))
	}
	record := lastRecord(t, h.shop)
	sum := sha256.Sum256(workedProfile)
	page := h.page(h.send("GET", "/records/"+record.ID.String(), nil), 200)
	for _, want := range []string{"SHA-256 " + hex.EncodeToString(sum[:]), "window then", "12 to 30 min", "<svg", "200", "6.1", "Oven set point", "205", "run 12.csv"} {
		if !strings.Contains(page, want) {
			t.Errorf("the record has no %q\n%s", want, textOf(page))
		}
	}
	if record.Verdict != quality.Fail || !strings.Contains(record.Findings[0].Text, "s short") {
		t.Errorf("%s: %+v, want a fail that says how much is short", record.Verdict, record.Findings)
	}
	if got := h.page(h.send("GET", "/loads/"+load, nil), 200); !strings.Contains(got, "<svg") || strings.Contains(got, "/profile\"") {
		t.Error("the load's page shows no profile, or still asks for one")
	}
	file := regexp.MustCompile(`/records/[^"]+/logger-file/[^"]+`).FindString(page)
	r = h.send("GET", file, nil)
	if got := h.page(r, 200); got != string(workedProfile) {
		t.Errorf("the download has %d bytes, want the %d that came", len(got), len(workedProfile))
	}
	if d := r.Header.Get("Content-Disposition"); !strings.HasPrefix(d, "attachment;") || r.Header.Get("Content-Type") != "application/octet-stream" || r.Header.Get("X-Content-Type-Options") != "nosniff" {
		t.Errorf("the original is served as %q, %q", d, r.Header.Get("Content-Type"))
	}
	if r := h.send("GET", "/records/"+record.ID.String()+"/logger-file/other.csv", nil); r.StatusCode != http.StatusNotFound {
		t.Errorf("under another name: %s", r.Status)
	}
	other := h.load()
	if got := h.page(h.upload(other, "again.csv", workedProfile), http.StatusConflict); !strings.Contains(got, "profile of load "+load) {
		t.Errorf("the second import: %s", textOf(got))
	}
}

func recordsOf(t *testing.T, shop *storetest.Shop, kind quality.Kind) (n int) {
	t.Helper()
	if err := storetest.Owner(t, shop.DB).QueryRow(t.Context(), "SELECT count(*) FROM record WHERE kind = $1", string(kind)).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

func lastRecord(t *testing.T, shop *storetest.Shop) store.Record {
	t.Helper()
	var id uuid.UUID
	if err := storetest.Owner(t, shop.DB).QueryRow(t.Context(), "SELECT record_id FROM record WHERE kind IN ('cure', 'oven_survey') ORDER BY recorded_at DESC, record_id DESC LIMIT 1").Scan(&id); err != nil {
		t.Fatal(err)
	}
	record, err := shop.DB.RecordByID(t.Context(), shop.Site.ID, id)
	if err != nil {
		t.Fatal(err)
	}
	return record
}

func TestFahrenheitFileWithSemicolonsAndCommasGivesTheRightCelsiusCurve(t *testing.T) {
	h := newOvenHand(t, storetest.NewShop(t))
	r := h.upload(h.load(), "Lauf.csv", fahrenheitProfile)
	address := r.Header.Get("Location")
	preview := h.page(h.send("GET", address, nil), 200)
	form := formOn(preview)
	for name, want := range map[string]string{"separator": "semicolon", "decimal": ",", "encoding": "windows-1252", "skip": "3", "time_column": "1", "time_form": "min", "role-2": "metal", "role-4": "air", "unit-2": "F"} {
		if form.Get(name) != want {
			t.Errorf("%s is taken for %q, want %q", name, form.Get(name), want)
		}
	}
	r = h.save(address, preview, url.Values{"place-2": {"heaviest section"}, "place-3": {"lightest section"}})
	if r.StatusCode != http.StatusSeeOther {
		t.Fatal(textOf(h.page(r, r.StatusCode)))
	}
	record := lastRecord(t, h.shop)
	// By hand: 392 °F are 200 °C, 399.2 °F are 204 °C, 410 °F are 210 °C.
	peaks, air := record.Check.Of("metal_peak"), record.Check.Of("oven_air")
	if record.Verdict != quality.Pass || len(peaks) != 2 || peaks[0].Text != "200" || peaks[0].Location != "heaviest section" || peaks[1].Text != "204" || len(air) != 1 || air[0].Text != "210" {
		t.Errorf("%s %+v, air %+v", record.Verdict, peaks, air)
	}
	p, err := h.shop.DB.ProfileOf(t.Context(), h.shop.Site.ID, record.ID)
	// 77 °F at the start are 25 °C.
	if err != nil || p.Channels[0].Celsius[0] != 25 || p.Channels[0].Celsius[10] != 200 {
		t.Errorf("the curve starts at %v, %v", p.Channels[0].Celsius[:11], err)
	}
}

func TestEveryGuessCanBeCorrectedAndNothingIsSavedMeanwhile(t *testing.T) {
	h := newOvenHand(t, storetest.NewShop(t))
	r := h.upload(h.load(), "run.csv", []byte("a;b;c\n0;25;9\n1;100;9\n2;390;9\n3;392;9\n"))
	address := r.Header.Get("Location")
	first := h.page(h.send("GET", address, nil), 200)
	if !strings.Contains(first, "seconds are assumed") || !strings.Contains(first, "°C is assumed") || !strings.Contains(first, "Is the file in °F?") {
		t.Errorf("what was assumed is not said: %s", textOf(first))
	}
	form := formOn(first)
	for name, value := range map[string]string{"time_form": "min", "unit-2": "F", "role-3": "left out", "place-2": "bottom rail", "again": "1"} {
		form.Set(name, value)
	}
	second := h.page(h.send("POST", address, form), 200)
	if !strings.Contains(second, "peak 200 °C") || !strings.Contains(second, "4 in 3 min") || !strings.Contains(second, "bottom rail") {
		t.Errorf("the corrections are not followed: %s", textOf(second))
	}
	form = formOn(second)
	form.Set("separator", "comma")
	form.Set("again", "1")
	third := h.page(h.send("POST", address, form), 200)
	if !strings.Contains(third, "The file cannot be read so") {
		t.Errorf("a wrong separator: %s", textOf(third))
	}
	if got := h.page(h.save(address, third, nil), http.StatusUnprocessableEntity); !strings.Contains(got, "Not saved") {
		t.Errorf("saved although it cannot be read: %s", textOf(got))
	}
	form = formOn(second)
	form.Set("skip", "many")
	form.Set("again", "1")
	if got := h.page(h.send("POST", address, form), 200); !strings.Contains(got, "“many” is not a whole number") {
		t.Errorf("a word for a number: %s", textOf(got))
	}
	if n := recordsOf(t, h.shop, quality.Cure); n != 0 {
		t.Errorf("%d records by looking only", n)
	}
}

func TestLoadsOfOneFileAreAssignedOnceEach(t *testing.T) {
	h := newOvenHand(t, storetest.NewShop(t))
	body := twoLoads()
	first, second := h.load(), h.load()
	address := h.upload(first, "day.csv", body).Header.Get("Location")
	preview := h.page(h.send("GET", address, nil), 200)
	if n := strings.Count(preview, `name="stretch"`); n != 2 {
		t.Fatalf("%d stretches are offered, want 2\n%s", n, textOf(preview))
	}
	if r := h.save(address, preview, nil); r.StatusCode != http.StatusSeeOther {
		t.Fatal(textOf(h.page(r, r.StatusCode)))
	}
	address = h.upload(second, "day.csv", body).Header.Get("Location")
	preview = h.page(h.send("GET", address, nil), 200)
	if n := strings.Count(preview, `name="stretch"`); n != 1 || !strings.Contains(preview, "is the profile of load "+first) {
		t.Errorf("%d stretches are left, want 1\n%s", n, textOf(preview))
	}
	// The stretch of the other load, sent all the same.
	taken := h.save(address, preview, url.Values{"stretch": {"0_2010"}})
	if got := h.page(taken, http.StatusUnprocessableEntity); !strings.Contains(got, "Choose which stretch") {
		t.Error(textOf(got))
	}
	if r := h.save(address, preview, nil); r.StatusCode != http.StatusSeeOther {
		t.Fatal(textOf(h.page(r, r.StatusCode)))
	}
	h.page(h.upload(h.load(), "day.csv", body), http.StatusConflict)
}

// twoLoads is a file of two runs, a sample every ten seconds.
func twoLoads() []byte {
	var b strings.Builder
	b.WriteString("time_s,rail_c\n")
	for i := range 480 {
		minute := float64(i%240) / 6
		metal := 25.0
		switch {
		case minute < 8:
			metal = 25 + 175*minute/8
		case minute < 24:
			metal = 200
		case minute < 32:
			metal = 200 - 175*(minute-24)/8
		}
		fmt.Fprintf(&b, "%d,%.1f\n", 10*i, metal)
	}
	return []byte(b.String())
}

func TestUploadsAreBoundedAndWhatIsNoProfileIsRefused(t *testing.T) {
	h := newOvenHand(t, storetest.NewShop(t))
	load := h.load()
	for name, c := range map[string]struct {
		body   string
		status int
		says   string
	}{
		"empty":        {"", 422, "The file is empty."},
		"program":      {"#!/bin/sh\nexec rm -rf /\n", 422, "No table of samples"},
		"picture":      {"\xFF\xD8\xFF\xE0\x00\x10JFIF\x00", 422, "Line 1"},
		"zip":          {"PK\x03\x04\x14\x00\x00\x00", 422, "Line 1"},
		"one column":   {"20\n21\n22\n", 422, "one column only"},
		"over 20 MB":   {strings.Repeat("0;20.5;21\n", 2_200_000), 422, "more than 20 MB"},
		"way over it":  {strings.Repeat("0;20.5;21\n", 2_500_000), 413, "more than 20 MB"},
		"half a UTF16": {"\xFF\xFE" + "t\x00;\x00r\x00\n\x000\x00;\x002\x00\n\x001\x00;\x002", 422, "middle of a character"},
	} {
		if got := h.page(h.upload(load, "run.csv", []byte(c.body)), c.status); !strings.Contains(got, c.says) {
			t.Errorf("%s: %s, want %q", name, textOf(got), c.says)
		}
	}
	if got := h.page(h.send("POST", "/loads/"+load+"/profile", url.Values{"file": {"x"}}), 422); !strings.Contains(got, "Choose the logger&#39;s file") {
		t.Errorf("no file: %s", textOf(got))
	}
	if r := h.upload("L-99999", "run.csv", workedProfile); r.StatusCode != http.StatusNotFound {
		t.Errorf("for a load that is none: %s", r.Status)
	}
	// What depends on how the file is read shows with its line, and cannot be saved.
	address := h.upload(load, "run.csv", []byte("t;rail;air\n0;20,5;21\n5;21,5;22\n5;22,5;23\n")).Header.Get("Location")
	got := h.page(h.send("GET", address, nil), 200)
	if !strings.Contains(got, "Line 4: The time of this sample is the same as the one before it") {
		t.Errorf("a repeated time: %s", textOf(got))
	}
	h.page(h.save(address, got, nil), 422)
	var files int
	if err := storetest.Owner(t, h.shop.DB).QueryRow(t.Context(), "SELECT count(*) FROM logger_file").Scan(&files); err != nil || files != 1 {
		t.Errorf("%d files are kept, %v, want the one that is a table", files, err)
	}
}

// loggerFile puts a file of two runs into the book, for the walk over all pages.
func (d *desk) loggerFile() string {
	d.t.Helper()
	f, err := d.DB.ReceiveLoggerFile(d.t.Context(), d.Everyone, "day.csv", twoLoads(), uuid.NullUUID{})
	if err != nil {
		d.t.Fatal(err)
	}
	return f.ID.String()
}
