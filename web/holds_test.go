package web

import (
	"bytes"
	"context"
	"encoding/binary"
	"image"
	"image/jpeg"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/go-chi/chi/v5"

	"coatbook/store"
	"coatbook/store/storetest"
)

func TestConcessionIsMarkedOnThePartAndItsTag(t *testing.T) {
	d := newDesk(t)
	parts := d.Ready(2, 0)
	d.Verify(0)
	for _, p := range parts {
		d.Finish(p)
		d.Film(p, "57", "60", "59", "62", "53")
	}
	form := url.Values{"step": {"review"}, "part": {parts[0].String()}, "code": {"concession"}, "reason": {"covered after assembly"}, "reference": {"CR-9"}, "quantity": {"none"}}
	contains(t, d.post("/holds/H-2026-0001/decide", http.StatusUnprocessableEntity, form), "Enter a whole number of parts")
	form.Set("quantity", "1")
	contains(t, d.post("/holds/H-2026-0001/decide", http.StatusOK, form), "Concession CR-9, for 1 parts.")
	form.Set("step", "sign")
	form.Set("pin", storetest.PIN)
	d.post("/holds/H-2026-0001/decide", http.StatusSeeOther, form)
	contains(t, d.get("/parts/TH-0001", http.StatusOK), "Under concession CR-9, for 1 parts, 0 left", "Hold H-2026-0001")
	contains(t, d.get("/parts/TH-0001?print=hangtag", http.StatusOK), "Under concession CR-9")
	if page := d.get("/parts/TH-0002?print=hangtag", http.StatusOK); strings.Contains(textOf(page), "oncession") {
		t.Error("the tag of a part without a concession speaks of one")
	}
	// The job's sheet of tags marks the same part and no other.
	router := chi.NewRouter()
	router.Get("/setup/jobs/{number}/hangtags", func(w http.ResponseWriter, r *http.Request) {
		v := &visit{site: d.Site, person: &store.Person{ID: d.who.Person, Name: d.who.Name, Roles: d.who.Roles}, actor: d.who}
		if err := d.server.hangtagsPage(w, r.WithContext(context.WithValue(r.Context(), visitKey{}, v))); err != nil {
			t.Error(err)
		}
	})
	w := httptest.NewRecorder()
	d.server.sessions.LoadAndSave(router).ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/setup/jobs/24117/hangtags", nil))
	if text := textOf(w.Body.String()); strings.Count(text, "Under concession CR-9") != 1 {
		t.Errorf("the job's tags: %s", text)
	}
	// The second part asks for one more than the customer gave.
	form.Set("part", parts[1].String())
	form.Del("quantity")
	contains(t, d.post("/holds/H-2026-0002/decide", http.StatusUnprocessableEntity, form), "has 0 left")
}

func TestSupervisorHoldsScannedPartsByHand(t *testing.T) {
	d := newDesk(t)
	d.Parts(3)
	contains(t, d.get("/holds", http.StatusOK), "Hold parts by hand")
	form := url.Values{"record": {store.NewID().String()}, "parts": {"PART.TH-0001\nTH-0002\nTH-0001"}, "cause": {"no"}}
	contains(t, d.post("/holds", http.StatusUnprocessableEntity, form), "Say why the parts are held", "PART.TH-0001")
	form.Set("cause", "dropped off the trolley")
	form.Set("parts", "TH-0001 TH-8888")
	contains(t, d.post("/holds", http.StatusUnprocessableEntity, form), "“TH-8888” is not a part of this site", "dropped off the trolley")
	form.Set("parts", "RACK.7")
	contains(t, d.post("/holds", http.StatusUnprocessableEntity, form), "is not a hangtag")
	form.Set("parts", "PART.TH-0001\nTH-0002\nTH-0001")
	d.post("/holds", http.StatusSeeOther, form)
	d.post("/holds", http.StatusSeeOther, form)
	contains(t, d.get("/holds/H-2026-0001", http.StatusOK), "dropped off the trolley", "2 of 2 parts undecided")
	d.get("/holds/H-2026-0002", http.StatusNotFound)
	d.who = d.AddPerson("Ilse Brandt", "ilse", store.Inspector)
	d.get("/holds/new", http.StatusForbidden)
	d.post("/holds", http.StatusForbidden, form)
}

func TestOverdueActionIsOnTheDayAndHoldsPagesUntilItWorked(t *testing.T) {
	d := newDesk(t)
	d.busy()
	const at = "/holds/H-2026-0001"
	form := url.Values{"after": {"0"}, "cause": {"earth clamp was loose"}, "action": {"renew the clamp"}, "owner": {""}, "due": {"2026-11-25"}, "effective": {"pending"}}
	contains(t, d.post(at+"/action", http.StatusUnprocessableEntity, form), "Choose who does it", "renew the clamp")
	form.Set("owner", d.Everyone.Person.String())
	form.Set("due", "")
	contains(t, d.post(at+"/action", http.StatusUnprocessableEntity, form), "Enter the day by which it is done")
	form.Set("due", "2026-11-25")
	d.post(at+"/action", http.StatusSeeOther, form)
	// Made from a form that was opened before.
	contains(t, d.post(at+"/action", http.StatusConflict, form), "has changed the action")
	contains(t, d.get(at, http.StatusOK), "earth clamp was loose", "renew the clamp", "Not checked yet", "Change or close the action")
	if page := textOf(d.get("/day", http.StatusOK)); strings.Contains(page, "The action on hold") {
		t.Error("an action is overdue before its day is over")
	}
	d.Now = d.Now.Add(48 * time.Hour)
	contains(t, d.get("/day", http.StatusOK), "The action on hold H-2026-0001 is overdue: renew the clamp was due on 25 November 2026, by Maren Holt.")
	contains(t, d.get("/holds", http.StatusOK), "Actions that are not closed", "renew the clamp", "overdue")
	contains(t, d.get(at+"/action", http.StatusOK), "renew the clamp")
	form.Set("after", "1")
	form.Set("close", "1")
	contains(t, d.post(at+"/action", http.StatusUnprocessableEntity, form), "The action closes once it was checked that it worked")
	form.Set("effective", "yes")
	contains(t, d.post(at+"/action", http.StatusUnprocessableEntity, form), "Say how it was seen")
	form.Set("evidence", "none in 200 welds since")
	d.post(at+"/action", http.StatusSeeOther, form)
	contains(t, d.get(at, http.StatusOK), "closed", "none in 200 welds since", "Entries before")
	if page := textOf(d.get("/day", http.StatusOK)); strings.Contains(page, "The action on hold") {
		t.Error("a closed action is on the day")
	}
	if page := textOf(d.get("/holds", http.StatusOK)); strings.Contains(page, "Actions that are not closed") {
		t.Error("a closed action is on the Holds page")
	}
}

// attach posts a file to a page as a browser does.
func (d *desk) attach(path, name string, body []byte, want int) string {
	d.t.Helper()
	var form bytes.Buffer
	m := multipart.NewWriter(&form)
	part, err := m.CreateFormFile("file", name)
	if err != nil {
		d.t.Fatal(err)
	}
	part.Write(body)
	if err := m.WriteField("caption", "the mark <b>near</b> weld 2"); err != nil {
		d.t.Fatal(err)
	}
	m.Close()
	r := httptest.NewRequest(http.MethodPost, path, &form)
	r.Header.Set("Content-Type", m.FormDataContentType())
	return d.send(r, want)
}

// photoWithPlace is a JPEG as a phone writes it: with an APP1 segment that says where it was taken.
func photoWithPlace(t *testing.T) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, 640, 480)), nil); err != nil {
		t.Fatal(err)
	}
	payload := []byte("Exif\x00\x00MM\x00\x2a\x00\x00\x00\x08\x00\x00\x00\x00\x00\x00GPS 48.2082 N 16.3738 E")
	segment := binary.BigEndian.AppendUint16([]byte{0xff, 0xe1}, uint16(len(payload)+2))
	return append(append(append(bytes.Clone(b.Bytes()[:2]), segment...), payload...), b.Bytes()[2:]...)
}

func TestUploadsAreCleanedNamedByTheServerAndServedAsDownloads(t *testing.T) {
	d := newDesk(t)
	d.busy()
	const at = "/holds/H-2026-0001"
	sent := photoWithPlace(t)
	d.attach(at+"/files", "../../x.jpg", sent, http.StatusSeeOther)
	page := d.get(at, http.StatusOK)
	contains(t, page, "the mark <b>near</b> weld 2", "Maren Holt")
	if strings.Contains(page, "x.jpg") || strings.Contains(page, "<b>near</b>") {
		t.Error("the name or the caption of the upload is in the page as it came")
	}
	id := regexp.MustCompile(`/files/([0-9a-f-]{36})"`).FindStringSubmatch(page)
	if id == nil {
		t.Fatalf("no link to the file:\n%s", page)
	}
	for _, path := range []string{"/files/" + id[1], "/files/" + id[1] + "/thumbnail"} {
		w := httptest.NewRecorder()
		d.handler().ServeHTTP(w, httptest.NewRequest(http.MethodGet, path, nil))
		h := w.Header()
		if w.Code != http.StatusOK || h.Get("Content-Type") != "image/jpeg" || h.Get("Content-Disposition") != `attachment; filename="`+id[1]+`.jpg"` ||
			h.Get("X-Content-Type-Options") != "nosniff" || h.Get("Content-Security-Policy") != "sandbox; default-src 'none'" {
			t.Errorf("%s: %d %v", path, w.Code, h)
		}
		if body := w.Body.Bytes(); bytes.Contains(body, []byte("GPS")) || !bytes.HasPrefix(body, []byte("\xff\xd8\xff")) {
			t.Errorf("%s tells where it was taken, or is no JPEG", path)
		}
	}
	for name, body := range map[string][]byte{"script.jpg": []byte("#!/bin/sh\nrm -rf /\n"), "page.png": []byte("<html><script>alert(1)</script>"), "broken.jpg": sent[:400], "empty.jpg": {}} {
		if page := d.attach(at+"/files", name, body, http.StatusUnprocessableEntity); strings.Contains(page, name) {
			t.Errorf("%s is named on the page", name)
		}
	}
	d.get("/files/"+store.NewID().String(), http.StatusNotFound)
	d.get("/files/..%2f..%2fx", http.StatusNotFound)
	// A record takes them as well.
	part, err := d.DB.PartBySerial(t.Context(), d.Site.ID, "TH-0003")
	if err != nil {
		t.Fatal(err)
	}
	records, err := d.DB.RecordsOn(t.Context(), d.Site.ID, store.Subject{Kind: "part", ID: part.ID})
	if err != nil || len(records) == 0 {
		t.Fatalf("%d records, %v", len(records), err)
	}
	record := "/records/" + records[0].ID.String()
	d.attach(record+"/files", "c.pdf", []byte("%PDF-1.4\n%%EOF\n"), http.StatusSeeOther)
	// Certificates of a device and of a lot; one of more than a megabyte, too.
	large := append([]byte("%PDF-1.4\n"), bytes.Repeat([]byte("% a calibration certificate\n"), 60000)...)
	d.attach("/gauges/"+d.Gauge.Code+"/files", "c.pdf", append(large, "%%EOF\n"...), http.StatusSeeOther)
	contains(t, d.get("/gauges/"+d.Gauge.Code, http.StatusOK), "weld 2 (PDF)")
	contains(t, d.attach("/gauges/"+d.Gauge.Code+"/files", "c.pdf", []byte("MZ"), http.StatusUnprocessableEntity), "Pictures and certificates")
	d.attach("/setup/lots/"+d.Lot.ID.String()+"/files", "c.pdf", []byte("%PDF-1.4\n%%EOF\n"), http.StatusSeeOther)
	if kept, err := d.DB.FilesOf(t.Context(), d.Site.ID, store.FileOwner{Kind: store.FileOfLot, ID: d.Lot.ID}); err != nil || len(kept) != 1 {
		t.Errorf("the lot has %d files, %v, want 1", len(kept), err)
	}
	contains(t, d.get(record, http.StatusOK), "weld 2 (PDF)")
	d.who = d.AddPerson("Orla Quist", "orla", store.Auditor)
	d.attach(at+"/files", "x.jpg", sent, http.StatusForbidden)
	if page := d.get(at, http.StatusOK); strings.Contains(page, `type="file"`) {
		t.Error("who may not add a picture is asked for one")
	}
}

func TestUploadLargerThanTheLimitIsNotReadToItsEnd(t *testing.T) {
	seen := int64(0)
	h := limitBody(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		n, err := new(bytes.Buffer).ReadFrom(r.Body)
		if seen = n; err == nil {
			t.Error("the whole body was read")
		}
	}))
	body := bytes.NewReader(make([]byte, store.MaxFile+2*maxBody))
	h.ServeHTTP(httptest.NewRecorder(), httptest.NewRequest(http.MethodPost, "/holds/H-2026-0001/files", body))
	if seen != store.MaxFile+maxBody {
		t.Errorf("%d bytes were read", seen)
	}
}
