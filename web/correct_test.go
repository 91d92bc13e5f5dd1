package web

import (
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
	"coatbook/web/form"
)

// boxes are the fields of a correction as the page holds them: what a person sends back who changes nothing.
func (d *desk) boxes(record uuid.UUID) url.Values {
	d.t.Helper()
	full, err := d.DB.RecordByID(d.t.Context(), d.Site.ID, record)
	if err != nil {
		d.t.Fatal(err)
	}
	values := (&correction{record: full, Answers: form.New(nil)}).onRecord()
	page := d.get("/records/"+record.String()+"/correct", http.StatusOK)
	for name, list := range values {
		if list[0] != "" && !strings.Contains(page, `name="`+name+`"`) {
			d.t.Errorf("%s of %s: the page has no field %s", full.Kind, full.Subject, name)
		}
	}
	values.Set("record", store.NewID().String())
	return values
}

// because adds a reason and a signature.
func because(form url.Values, reason string) url.Values {
	form.Set("code", "typing_error")
	form.Set("reason", reason)
	form.Set("pin", storetest.PIN)
	return form
}

// latest is the newest record of a kind on a part.
func (d *desk) latest(serial string, kind quality.Kind) store.Header {
	d.t.Helper()
	part, err := d.DB.PartBySerial(d.t.Context(), d.Site.ID, serial)
	if err != nil {
		d.t.Fatal(err)
	}
	records, err := d.DB.RecordsOn(d.t.Context(), d.Site.ID, store.Subject{Kind: quality.OnPart, ID: part.ID})
	if err != nil {
		d.t.Fatal(err)
	}
	for _, r := range records {
		if r.Kind == kind && !r.SupersededBy.Valid {
			return r
		}
	}
	d.t.Fatalf("no %s of %s", kind, serial)
	return store.Header{}
}

// correctNote corrects the weld check of a part by a note.
func (d *desk) correctNote(serial string) {
	d.t.Helper()
	record := d.latest(serial, quality.Weld)
	d.Now = d.Now.Add(time.Second)
	form := because(d.boxes(record.ID), "The note was left out.")
	form.Set("note", "Looked at under the lamp.")
	d.post("/records/"+record.ID.String()+"/correct", http.StatusSeeOther, form)
}

func TestCorrectionStandsBesideTheOldValueWithWhoWhenAndWhy(t *testing.T) {
	d := newDesk(t)
	part := d.Ready(1, 0)[0]
	d.Verify(0)
	d.Finish(part)
	film := d.Film(part, "28", "68", "75", "93", "86")
	at := "/records/" + film.RecordID.String()
	d.Now = d.Now.Add(time.Minute)
	contains(t, d.get(at, http.StatusOK), "Correct this record", "Void this record")
	form := because(d.boxes(film.RecordID), "Read 28 for 82.")
	form.Set("reading-1", "82")
	preview := url.Values{"preview": {"1"}}
	for name, value := range form {
		if name != "pin" && name != "reason" && name != "code" {
			preview[name] = value
		}
	}
	contains(t, d.post(at+"/correct", http.StatusOK, preview), "Would be pass")
	d.post(at+"/correct", http.StatusSeeOther, form)
	now := d.get("/records/"+form.Get("record"), http.StatusOK)
	contains(t, now, "82 was 28 µm", "Corrected by Maren Holt, 24 November 2026", "Typing error: Read 28 for 82.", "Signed by Maren Holt, 24 November 2026", "meaning: corrected", "was 28 µm now 82 µm", "Entered by Maren Holt")
	if !strings.Contains(now, "<s>28 µm</s>") || !strings.Contains(now, `href="`+at+`"`) {
		t.Error("the old value is not struck, or the record before is not linked")
	}
	before := d.get(at, http.StatusOK)
	contains(t, before, "Corrected by Maren Holt", "Read 28 for 82", "This record counts nowhere", "28 low")
	if !strings.Contains(before, `href="/records/`+form.Get("record")+`"`) || strings.Contains(before, at+"/correct") {
		t.Error("the old record does not lead to the new one, or still offers to correct it")
	}
	contains(t, d.get("/parts/TH-0001", http.StatusOK), "was 28 µm", "now 82 µm", "Corrected by Maren Holt", "typing error: Read 28 for 82", "Signed by Maren Holt")
	d.get(at+"/correct", http.StatusConflict)
}

func TestReasonIsNeverFilledInAndNothingTypedIsLost(t *testing.T) {
	d := newDesk(t)
	part := d.Ready(1, 0)[0]
	d.Verify(0)
	film := d.Film(part, "82", "68", "75", "93", "86")
	at := "/records/" + film.RecordID.String() + "/correct"
	fresh := d.get(at, http.StatusOK)
	if regexp.MustCompile(`name="code"[^>]*checked`).MatchString(fresh) || !regexp.MustCompile(`name="reason"[^>]*></textarea>`).MatchString(fresh) {
		t.Error("a reason is filled in beforehand")
	}
	for name, c := range map[string]struct {
		change url.Values
		says   string
	}{
		"nothing changed":     {url.Values{}, "Nothing is changed yet"},
		"no code":             {url.Values{"reading-1": {"81"}, "code": {""}}, "Choose why the record is corrected."},
		"unknown code":        {url.Values{"reading-1": {"81"}, "code": {"entry_undone"}}, "Choose why the record is corrected."},
		"no reason":           {url.Values{"reading-1": {"81"}, "reason": {""}}, "at least 5 letters"},
		"blanks for a reason": {url.Values{"reading-1": {"81"}, "reason": {"        "}}, "at least 5 letters"},
		"two points":          {url.Values{"reading-1": {"8.1.4"}}, "“8.1.4” is not a number"},
		"a comma":             {url.Values{"reading-1": {"81,4"}}, "has a comma"},
		"far too thick":       {url.Values{"reading-1": {"84000"}}, "cannot be right"},
		"hostile":             {url.Values{"reading-1": {"<script>alert(1)</script>"}}, "is not a number"},
		"empty":               {url.Values{"reading-1": {""}}, "is empty"},
		"value and absence":   {url.Values{"reading-1": {"81"}, "reading-1-absent": {"not_measured"}}, "also marked as missing"},
		"unknown absence":     {url.Values{"reading-1": {""}, "reading-1-absent": {"lost"}}, "not a reason for a missing value"},
		"unknown gauge":       {url.Values{"use-1": {"FG-99"}}, "“FG-99” is not in the book"},
		"no gauge":            {url.Values{"use-1": {""}}, "Gauge is empty"},
		"wrong PIN":           {url.Values{"reading-1": {"81"}, "pin": {"000000"}}, "did not match"},
		"somebody else signs": {url.Values{"reading-1": {"81"}, "signer": {"Ilse Brandt"}}, "Maren Holt is signed on here"},
		"form without its id": {url.Values{"reading-1": {"81"}, "record": {"x"}}, "lost its number"},
		"note far too long":   {url.Values{"note": {strings.Repeat("x", 2001)}}, "more than 2000"},
		"reason far too long": {url.Values{"reading-1": {"81"}, "reason": {strings.Repeat("x", 501)}}, "more than 500"},
		"reading of a flood":  {url.Values{"reading-1": {strings.Repeat("9", 5000)}}, "is not a number"},
		"a shim for a gauge":  {url.Values{"use-1": {"SH-1"}}, "SH-1 is not a thickness gauge"},
	} {
		t.Run(name, func(t *testing.T) {
			form := because(d.boxes(film.RecordID), "Read the wrong line.")
			for field, value := range c.change {
				form[field] = value
			}
			body := d.post(at, http.StatusUnprocessableEntity, form)
			contains(t, body, c.says)
			for field, value := range c.change {
				typed := strings.NewReplacer("<", "&lt;", ">", "&gt;").Replace(value[0])
				if strings.HasPrefix(field, "reading-1") && typed != "" && typed != "lost" && !strings.Contains(body, `value="`+typed+`"`) {
					t.Errorf("what was typed in %s is lost", field)
				}
			}
			if reason := form.Get("reason"); len(reason) < 500 && strings.TrimSpace(reason) != "" && !strings.Contains(body, reason) {
				t.Error("the reason is lost")
			}
		})
	}
	if r, err := d.DB.RecordByID(t.Context(), d.Site.ID, film.RecordID); err != nil || r.SupersededBy.Valid {
		t.Errorf("a refused correction was stored, %v", err)
	}
}

func TestEveryKindOfRecordIsCorrectedOnOnePageAndReadsTheSame(t *testing.T) {
	d := newDesk(t)
	d.busy()
	rows, err := storetest.Owner(t, d.DB).Query(t.Context(), `SELECT DISTINCT ON (kind, verdict) record_id FROM record ORDER BY kind, verdict, record_id`)
	if err != nil {
		t.Fatal(err)
	}
	var ids []uuid.UUID
	for rows.Next() {
		var id uuid.UUID
		if err := rows.Scan(&id); err != nil {
			t.Fatal(err)
		}
		ids = append(ids, id)
	}
	kinds := map[quality.Kind]bool{}
	for _, id := range ids {
		before, err := d.DB.RecordByID(t.Context(), d.Site.ID, id)
		if err != nil {
			t.Fatal(err)
		}
		kinds[before.Kind] = true
		d.Now = d.Now.Add(time.Minute)
		form := because(d.boxes(id), "The note was left out.")
		form.Set("note", "Seen again.")
		d.post("/records/"+id.String()+"/correct", http.StatusSeeOther, form)
		after, err := d.DB.RecordByID(t.Context(), d.Site.ID, uuid.MustParse(form.Get("record")))
		if err != nil || after.Verdict != before.Verdict || !after.ObservedAt.Equal(before.ObservedAt) {
			t.Errorf("%s: verdict %s became %s, observed %v became %v, %v", before.Kind, before.Verdict, after.Verdict, before.ObservedAt, after.ObservedAt, err)
		}
		changes := changesBetween(before, after)
		if len(changes) != 1 || changes[0].What != "Note" || changes[0].Now != "Seen again." {
			t.Errorf("%s: a new note changed %+v", before.Kind, changes)
		}
	}
	if len(kinds) < 8 {
		t.Errorf("only %d kinds were corrected: %v", len(kinds), kinds)
	}
}

func TestDefectsRatingsAndUsesAreCorrected(t *testing.T) {
	d := newDesk(t)
	part := d.Parts(1)[0]
	d.Weld(part, quality.NoneFound)
	weld := d.latest("TH-0001", quality.Weld)
	d.Now = d.Now.Add(time.Minute)
	form := because(d.boxes(weld.ID), "The crack was seen on second look.")
	form.Del("none_found")
	for field, value := range map[string]string{"defect-1-code": "100", "defect-1-place": "weld 2", "defect-1-length": "4"} {
		form.Set(field, value)
	}
	d.post("/records/"+weld.ID.String()+"/correct", http.StatusSeeOther, form)
	contains(t, d.get("/records/"+form.Get("record"), http.StatusOK), "fail", "was none found", "Crack", "Opened hold H-2026-0001")
	if got := d.latest("TH-0001", quality.Weld).Verdict; got != quality.Fail {
		t.Errorf("the weld check reads %s after the crack", got)
	}
}

func TestVoidTakesNothingFromTheReader(t *testing.T) {
	d := newDesk(t)
	part := d.Ready(1, 0)[0]
	d.Verify(0)
	film := d.Film(part, "82", "68", "75", "93", "86")
	at := "/records/" + film.RecordID.String() + "/void"
	d.Now = d.Now.Add(time.Minute)
	contains(t, d.get(at, http.StatusOK), "Void film thickness", "82 µm", "Entered on the wrong part")
	form := url.Values{"record": {store.NewID().String()}}
	contains(t, d.post(at, http.StatusUnprocessableEntity, form), "Choose why", "at least 5 letters")
	form = because(form, "Measured on TH-0009.")
	form.Set("code", "wrong_part")
	d.post(at, http.StatusSeeOther, form)
	d.post(at, http.StatusSeeOther, form) // the same again is the same record
	contains(t, d.get("/records/"+form.Get("record"), http.StatusOK), "void", "Voided by Maren Holt", "Entered on the wrong part: Measured on TH-0009.", "meaning: corrected")
	contains(t, d.get("/records/"+film.RecordID.String(), http.StatusOK), "82", "Voided by Maren Holt", "counts nowhere")
	contains(t, d.get("/parts/TH-0001", http.StatusOK), "Film thickness", "Corrected by Maren Holt", "next: finish check")
	d.get("/records/"+form.Get("record")+"/correct", http.StatusConflict)
}

func TestTwoPeopleCorrectingOneRecordSeeBothValues(t *testing.T) {
	d := newDesk(t)
	part := d.Ready(1, 0)[0]
	d.Verify(0)
	film := d.Film(part, "28", "68", "75", "93", "86")
	at := "/records/" + film.RecordID.String() + "/correct"
	mine := because(d.boxes(film.RecordID), "Read 28 for 83.")
	mine.Set("reading-1", "83")
	d.who = d.AddPerson("Jana Orr", "jana", store.Supervisor)
	theirs := because(d.boxes(film.RecordID), "Read 28 for 82.")
	theirs.Set("reading-1", "82")
	d.Now = d.Now.Add(time.Minute)
	d.post(at, http.StatusSeeOther, theirs)
	d.who = d.Everyone
	stale := d.post(at, http.StatusConflict, mine)
	contains(t, stale, "Corrected meanwhile", "Corrected by Jana Orr", "Read 28 for 82", "Nothing of yours was stored", "28 µm 82 µm 83 µm", "Go on with my values", "Open the record that stands now")
	if strings.Contains(stale, storetest.PIN) {
		t.Error("the page carries the PIN")
	}
	// Going on puts what was typed beside what stands now, and stores nothing.
	next := "/records/" + theirs.Get("record") + "/correct"
	mine.Set("again", "1")
	on := d.post(next, http.StatusOK, mine)
	contains(t, on, "82 µm")
	if !strings.Contains(on, `value="83"`) || strings.Contains(on, mine.Get("record")) {
		t.Error("the typed value is lost, or the form keeps the id of the refused correction")
	}
	mine.Del("again")
	mine.Set("record", store.NewID().String())
	d.post(next, http.StatusSeeOther, mine)
	versions, err := d.DB.Versions(t.Context(), d.Site.ID, film.RecordID)
	if err != nil || len(versions) != 3 {
		t.Errorf("%d versions, %v", len(versions), err)
	}
	void := because(url.Values{"record": {store.NewID().String()}}, "Not this part.")
	contains(t, d.post("/records/"+film.RecordID.String()+"/void", http.StatusConflict, void), "Corrected meanwhile", "Look at the record that stands now")
}

func TestCorrectionAfterReleaseShowsTheSignatureVoid(t *testing.T) {
	d := newDesk(t)
	d.busy()
	film := d.latest("TH-0001", quality.Film)
	at := "/records/" + film.ID.String() + "/correct"
	d.who = d.AddPerson("Ilse Brandt", "ilse", store.Inspector)
	d.get(at, http.StatusForbidden)
	contains(t, d.get("/records/"+film.ID.String(), http.StatusOK), "Its author, a supervisor or an engineer corrects a record.")
	d.who = d.Everyone
	contains(t, d.get(at, http.StatusOK), "Released on this record: TH-0001", "signature of the release void")
	form := because(d.boxes(film.ID), "The last digit was wrong.")
	form.Set("reading-1", "84.90")
	d.Now = d.Now.Add(time.Minute)
	d.post(at, http.StatusSeeOther, form)
	contains(t, d.get("/records/"+form.Get("record"), http.StatusOK), "Release of TH-0001 signed by Maren Holt", "signature void", "Opened hold H-2026-000")
	story := d.get("/parts/TH-0001", http.StatusOK)
	contains(t, story, "on hold", "Release, signature void", "Signature void: a record it was signed on was corrected by Maren Holt", "The last digit was wrong", "was 84.20 µm", "now 84.90 µm", "meaning: released")
	if !strings.Contains(story, `href="/records/`+form.Get("record")+`"`) {
		t.Error("the void release does not lead to the record that made it void")
	}
	signatures := d.get("/exports/signatures.csv?from=2026-11-01&to=2026-11-30", http.StatusOK)
	if !regexp.MustCompile(`,released,.*,TH-0001,.*,void,`+form.Get("record")).MatchString(signatures) || !regexp.MustCompile(`,released,.*,TH-0002,.*,valid,,`).MatchString(signatures) {
		t.Errorf("signatures.csv does not tell the void release from the valid one:\n%s", signatures)
	}
	corrections := d.get("/exports/corrections.csv?from=2026-11-01&to=2026-11-30", http.StatusOK)
	contains(t, corrections, film.ID.String()+",typing_error,The last digit was wrong.,pass,pass,Maren Holt,Maren Holt,", ",Maren Holt,corrected,", ",TH-0001,")
	// Valid and corrected together are all records there are.
	all, corrected := strings.Count(d.get("/exports/checks.csv?from=2026-11-01&to=2026-11-30", http.StatusOK), "\r\n")-1, strings.Count(corrections, "\r\n")-1
	var valid int
	if err := storetest.Owner(t, d.DB).QueryRow(t.Context(), `SELECT count(*) FROM record r WHERE NOT EXISTS (SELECT 1 FROM record s WHERE s.supersedes_id = r.record_id)`).Scan(&valid); err != nil || valid+corrected != all {
		t.Errorf("%d valid and %d corrected are not the %d rows of checks.csv, %v", valid, corrected, all, err)
	}
}

func TestAuthorTakesAnEntryBackWithOneTapWithinTwoMinutes(t *testing.T) {
	shop := storetest.NewShop(t)
	parts := shop.Parts(3)
	g := newGuest(t, shop)
	g.enrol(shop)
	g.signOn(shop.Everyone)
	text := func(r *http.Response) string {
		body, err := io.ReadAll(r.Body)
		if err != nil {
			t.Fatal(err)
		}
		return string(body)
	}
	weld := func(n int, header ...string) string {
		t.Helper()
		form := url.Values{"record": {store.NewID().String()}, "none_found": {"1"}, "aid": {"eye"}, "welder": {shop.Everyone.Person.String()}, "save": {"1"}}
		if r := g.send("POST", fmt.Sprintf("/parts/TH-%04d/weld", n), form, header...); r.StatusCode >= 400 {
			t.Fatalf("saving: %s %s", r.Status, textOf(text(r)))
		}
		return form.Get("record")
	}
	first := weld(1)
	offer := text(g.send("GET", "/parts/TH-0001", nil))
	contains(t, offer, "Weld check of TH-0001 can be taken back", "Take back")
	id := regexp.MustCompile(`/records/` + first + `/take-back"[^>]*>\s*<input type="hidden" name="record" value="([^"]+)"`).FindStringSubmatch(offer)
	if id == nil {
		t.Fatalf("no form takes %s back", first)
	}
	for range 2 { // two taps are one
		if r := g.send("POST", "/records/"+first+"/take-back", url.Values{"record": {id[1]}}); r.StatusCode != http.StatusSeeOther {
			t.Fatalf("taking back: %s %s", r.Status, textOf(text(r)))
		}
	}
	after := text(g.send("GET", "/parts/TH-0001", nil))
	contains(t, after, "is taken back", "entry undone")
	if strings.Contains(after, "take-back") {
		t.Error("what was taken back is offered again")
	}
	// An entry that waited on the tablet and came later: the script's form has no id of its own.
	waited := weld(2, "X-Outbox", "1")
	if r := g.send("POST", "/records/"+waited+"/take-back", url.Values{}); r.StatusCode != http.StatusSeeOther {
		t.Errorf("taking back a waited entry: %s", r.Status)
	}
	late := weld(3)
	shop.Now = shop.Now.Add(store.TakeBackWithin + time.Second)
	if strings.Contains(text(g.send("GET", "/parts/TH-0003", nil)), "take-back") {
		t.Error("the offer stands after two minutes")
	}
	r := g.send("POST", "/records/"+late+"/take-back", url.Values{})
	if body := text(r); r.StatusCode != http.StatusConflict || !strings.Contains(body, "/records/"+late+"/correct") || !strings.Contains(textOf(body), "Correct it with a reason instead") {
		t.Errorf("after two minutes: %s %s", r.Status, textOf(body))
	}
	for i, want := range []int{2, 2, 1} {
		records, err := shop.DB.RecordsOn(t.Context(), shop.Site.ID, store.Subject{Kind: quality.OnPart, ID: parts[i]})
		if err != nil || len(records) != want {
			t.Errorf("part %d has %d records, want %d, %v", i+1, len(records), want, err)
		}
	}
}

func TestFirstSignatureOfASittingAsksWhoAndLaterOnesTheSecret(t *testing.T) {
	shop := storetest.NewShop(t)
	parts := shop.Ready(5, 0)
	shop.Verify(0)
	for _, p := range parts {
		shop.Finish(p)
		shop.Film(p, "82", "80", "81", "79", "83")
	}
	g := newGuest(t, shop)
	g.enrol(shop)
	g.signOn(shop.Everyone)
	page := func(n int) string {
		body, _ := io.ReadAll(g.send("GET", fmt.Sprintf("/parts/TH-%04d/release", n), nil).Body)
		return string(body)
	}
	release := func(n, want int, pairs ...string) string {
		t.Helper()
		form := url.Values{}
		for i := 0; i < len(pairs); i += 2 {
			form.Set(pairs[i], pairs[i+1])
		}
		r := g.send("POST", fmt.Sprintf("/parts/TH-%04d/release", n), form)
		body, _ := io.ReadAll(r.Body)
		if r.StatusCode != want {
			t.Fatalf("releasing %d with %v: %s, want %d\n%s", n, pairs, r.Status, want, textOf(string(body)))
		}
		return string(body)
	}
	if !strings.Contains(page(1), `name="signer"`) {
		t.Error("the first signature does not ask who signs")
	}
	contains(t, release(1, http.StatusUnprocessableEntity, "pin", storetest.PIN), "Enter your sign-on name")
	contains(t, release(1, http.StatusUnprocessableEntity, "signer", "ilse", "pin", storetest.PIN), "Maren Holt is signed on here")
	release(1, http.StatusUnprocessableEntity, "signer", "maren", "pin", "111222")
	if !strings.Contains(page(1), `name="signer"`) {
		t.Error("a refused signature began the sitting")
	}
	release(1, http.StatusSeeOther, "signer", " Maren ", "pin", storetest.PIN)
	if strings.Contains(page(2), `name="signer"`) {
		t.Error("the second signature asks who signs again")
	}
	release(2, http.StatusSeeOther, "pin", storetest.PIN)
	// A hand-over ends the sitting.
	g.send("POST", "/lock", url.Values{})
	g.signOn(shop.Everyone)
	release(3, http.StatusUnprocessableEntity, "pin", storetest.PIN)
	release(3, http.StatusSeeOther, "signer", "Maren Holt", "pin", storetest.PIN)
	// So does lying idle.
	shop.Now = shop.Now.Add(time.Duration(shop.Site.IdleMinutes+1) * time.Minute)
	if r := g.send("POST", "/parts/TH-0004/release", url.Values{"pin": {storetest.PIN}}); r.StatusCode != http.StatusUnauthorized {
		t.Errorf("signing after the idle limit: %s", r.Status)
	}
	g.signOn(shop.Everyone)
	badge, err := shop.DB.IssueBadge(t.Context(), shop.Everyone, shop.Everyone.Person)
	if err != nil {
		t.Fatal(err)
	}
	release(4, http.StatusSeeOther, "signer", "BADGE."+badge, "pin", storetest.PIN)
	release(5, http.StatusSeeOther, "pin", storetest.PIN)
	rows, err := storetest.Owner(t, shop.DB).Query(t.Context(), `SELECT s.auth_used FROM release r JOIN signature s USING (site_id, signature_id) JOIN part p USING (site_id, part_id) ORDER BY p.serial`)
	if err != nil {
		t.Fatal(err)
	}
	var used []string
	for rows.Next() {
		var auth string
		if err := rows.Scan(&auth); err != nil {
			t.Fatal(err)
		}
		used = append(used, auth)
	}
	if want := "pin+name pin pin+name pin+badge pin"; strings.Join(used, " ") != want {
		t.Errorf("the signatures say %v, want %s", used, want)
	}
}

// TestEverySignatureGoesThroughTheSitting keeps a new page from asking the store for a signature by itself.
func TestEverySignatureGoesThroughTheSitting(t *testing.T) {
	files, err := filepath.Glob("*.go")
	if err != nil || len(files) < 40 {
		t.Fatal(len(files), err)
	}
	for _, name := range files {
		body, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		if name != "session.go" && !strings.HasSuffix(name, "_test.go") && regexp.MustCompile(`store\.Sign(First)?\(`).Match(body) {
			t.Errorf("%s asks for a signature without the sitting; use Server.sign", name)
		}
	}
}
