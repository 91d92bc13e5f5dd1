package web

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"
)

// fullDraft is a spec with every section, as typed into the form.
func fullDraft() url.Values {
	v := values("cycles", "2", "releaser", "yes",
		"weld", "yes", "weld-level", "C", "weld-throat-low", "3", "weld-light-low", "350",
		"wash", "yes", "wash-break", "yes", "wash-hours", "16",
		"stage0-kind", "clean", "stage0-name", "Alkaline clean", "stage0-temperature-low", "50", "stage0-temperature-high", "60", "stage0-time-low", "120",
		"stage1-kind", "final_rinse", "stage1-name", "Last rinse", "stage1-conductivity-high", "30",
		"coat", "yes", "coat-powders", "P-100", "coat-air-low", "15", "coat-air-high", "30", "coat-humidity-high", "65", "coat-dew", "3", "coat-ground-high", "1",
		"cure", "yes", "cure-schedule", "190", "cure-channels", "3", "cure-spread", "20",
		"rub", "yes", "rub-solvent", "MEK", "rub-count", "30", "rub-wait", "30", "rub-pass", "3", "rub-reference", "cured control panel",
		"finish", "yes", "finish-distance", "3000", "finish-light-low", "500", "defect0-code", "inclusion", "defect0-count", "2", "defect0-size", "0.5",
		"gloss", "yes", "gloss-geometry", "60", "gloss-nominal", "30", "gloss-tolerance", "5", "adhesion", "yes", "adhesion-class", "ISO2409 1", "adhesion-conditions", "yes",
		"panel", "yes", "panel-adhesion", "yes", "panel-class", "D3359B 4B", "panel-conditions", "yes", "panel-bend", "5", "panel-impact", "2.5", "panel-impact-tape", "yes", "panel-pencil", "D3363 F",
		"panel-gloss", "yes", "panel-geometry", "60", "panel-nominal", "30", "panel-tolerance", "5",
		"film", "yes", "film-unit", "um", "film-um-low", "60", "film-um-high", "120", "film-mil-low", "2.4", "film-mil-high", "4.7", "film-rule", "areas80",
		"film-spots", "5", "film-readings", "3", "film-guard", "0", "film-total", "250")
	return v
}

// One person opens a shop by hand: every page of setup in the order the index gives, from empty to the first hangtags.
func TestShopIsSetUpFromEmptyByHand(t *testing.T) {
	d := openSetupDesk(t)
	status, body := d.get("/setup")
	d.must(status, body, "things are missing before work can start")
	if !strings.Contains(body, "Next: Stations") {
		t.Error("the index does not lead to the stations first")
	}
	for _, st := range [][]string{{"WELD-1", "Weld bench", "weld"}, {"booth-1", "Booth 1", "booth"}, {"OVEN-1", "Oven 1", "oven"}, {"FINAL-1", "Final bench", "final"}} {
		status, body = d.post("/setup/stations", "code", st[0], "name", st[1], "kind", st[2])
		d.must(status, body, strings.ToUpper(st[0]))
	}
	status, body = d.postAll("/setup/people", url.Values{"name": {"Ines Varga"}, "sign_on_name": {"ines"}, "roles": {"inspector"}, "language": {"en"}})
	d.must(status, body, "Ines Varga is added")
	ines := d.link(body, `/setup/people/`+idPattern)
	day := time.Now().AddDate(0, 0, -1).Format(time.DateOnly) // a day that has come wherever the shop is
	status, body = d.postAll(ines+"/qualifications", url.Values{"kind": {"weld", "film"}, "certificate": {"VT 2"}, "from": {day}, "to": {"2099-01-01"}})
	d.must(status, body, "VT 2")

	status, body = d.post("/setup/specs", "code", "FS-100", "title", "Railings outdoors", "revision", "A")
	d.must(status, body, "The spec asks for nothing")
	draft := d.link(body, `/setup/specs/FS-100/`+idPattern)
	status, body = d.postAll(draft, fullDraft())
	d.must(status, body, "The saved draft is complete")
	status, body = d.get(draft + "/approve")
	d.must(status, body, "60 µm / 2.4 mil")
	status, body = d.post(draft+"/approve", "pin", setupPIN)
	d.must(status, body, "FS-100, revision A, is in force")

	_, body = d.get("/setup/part-numbers")
	spec := d.option(body, "FS-100")
	status, body = d.post("/setup/part-numbers", "code", "RS-100 L", "name", "Rail section", "alloy", "6060 T66", "form", "extrusion", "wall", "3", "welds", "4", "sketch", "rail", "spec", spec)
	d.must(status, body, "No plan yet")
	number := d.link(body, `/setup/part-numbers/`+idPattern)
	status, body = d.post(number+"/plan", "readings", "3", "spot0-area", "A", "spot0-place", "top rail", "spot0-x", "20", "spot0-y", "72", "spot4-area", "B", "spot4-place", "post", "spot4-x", "244", "spot4-y", "200")
	d.must(status, body, "Revision 1 is in force: 2 spots, 3 readings each")

	status, body = d.post("/setup/materials", "code", "P-100", "name", "Slate grey", "maker", "Harbour Powder", "colour", "slate grey", "storage", "25", "source", "data sheet 4",
		"point0-metal", "190", "point0-min", "10", "point0-max", "25", "point1-metal", "200", "point1-min", "8", "point1-max", "20")
	d.must(status, body, "190 °C: 10 to 25 min · 200 °C: 8 to 20 min")
	status, body = d.get("/setup/lots?lot=LOT.0042-B")
	d.must(status, body, `value="0042-B"`)
	status, body = d.post("/setup/lots", "number", "0042-B", "material", d.option(body, "P-100"), "unit", "kg", "made", "2026-01-10", "received", day, "expires", "2099-01-01", "quantity", "250.5")
	d.must(status, body, "Lot 0042-B is received")
	status, body = d.post("/setup/baths", "code", "W1", "name", "Cleaner", "stage", "clean")
	d.must(status, body, "Bath W1 is added")
	for _, g := range [][]string{{"FG-01", "film_gauge", ""}, {"SH-50", "shim", "50.4"}, {"SH-100", "shim", "100.2"}} {
		status, body = d.post("/setup/gauges", "code", g[0], "kind", g[1], "serial", "0031", "unit", "um", "owner", "customer", "tolerance", "1", "share", "2", "nominal", g[2], "interval", "365", "due", "2099-01-01")
		d.must(status, body, g[0]+" is in the register")
	}
	status, body = d.post("/setup/jobs", "number", "J-118", "customer", "Pierhead Ferries", "order", "PO 0017", "due", "2099-02-01")
	d.must(status, body, "Job J-118 is open")
	status, body = d.post("/setup/jobs/J-118/parts", "part_number", d.option(body, "RS-100 L"), "prefix", "J118-", "from", "8", "count", "3")
	d.must(status, body, "3 parts are added")
	if !strings.Contains(body, "J118-08") || !strings.Contains(body, "J118-10") || !strings.Contains(body, "Weld check") {
		t.Error("the job does not list its parts J118-08 to J118-10 waiting for their weld check")
	}
	status, body = d.get("/setup/jobs/J-118/hangtags")
	d.must(status, body, "Code of PART.J118-09")
	status, body = d.get("/setup")
	d.must(status, body, "The shop is set up")
}

// No matter what is typed, the form comes back with it, a sentence stands at the field, and nothing is stored.
func TestBadSetupInputComesBackWithASentenceAtTheField(t *testing.T) {
	d := openSetupDesk(t)
	for _, c := range []struct {
		what, path, field, text, says string
		rest                          []string
	}{
		{"code with a space", "/setup/stations", "code", "BOOTH 1", "A station code is", []string{"name", "Booth", "kind", "booth"}},
		{"no kind", "/setup/stations", "kind", "", "choose one", []string{"code", "B1", "name", "Booth"}},
		{"kind not on the list", "/setup/stations", "kind", "rocket", "not on the list", []string{"code", "B1", "name", "Booth"}},
		{"storage with a comma", "/setup/materials", "storage", "3,2", "with a point", powderRest("storage")},
		{"storage negative", "/setup/materials", "storage", "-1", "0 to 50 °C", powderRest("storage")},
		{"storage NaN", "/setup/materials", "storage", "NaN", "0 to 50 °C", powderRest("storage")},
		{"storage 1e308", "/setup/materials", "storage", "1e308", "0 to 50 °C", powderRest("storage")},
		{"half a cure point", "/setup/materials", "point0-max", "", "Point 1, at most is empty", powderRest("point0-max")},
		{"longest under shortest", "/setup/materials", "point0-max", "5", "must be over the shortest", powderRest("point0-max")},
		{"a zero byte", "/setup/baths", "name", "tank\x00", "cannot be printed", []string{"code", "W1", "stage", "clean"}},
		{"ten thousand letters", "/setup/baths", "name", strings.Repeat("x", 10000), "up to 60 fit", []string{"code", "W1", "stage", "clean"}},
		{"shim without a value", "/setup/gauges", "nominal", "", "needs the value on its certificate", gaugeRest("nominal")},
		{"range upside down", "/setup/gauges", "range_high", "1", "over the lower end", append(gaugeRest("range_high"), "range_low", "5")},
		{"due on no date", "/setup/gauges", "due", "30/02/2027", "not a date", gaugeRest("due")},
		{"interval of no days", "/setup/gauges", "interval", "0", "1 to 1830 days", gaugeRest("interval")},
		{"job without a customer", "/setup/jobs", "customer", " ", "Customer is empty", []string{"number", "J-1"}},
		{"level A", "/setup/weld-limits", "level", "A", "not on the list", []string{"code", "5011", "wall", "0.1", "plus", "0", "source", "house rule"}},
		{"limit without a size", "/setup/weld-limits", "wall", "0", "up to which size", []string{"level", "C", "code", "5011", "permitted", "yes", "plus", "0", "source", "house rule"}},
		{"sign-on name with a space", "/setup/people", "sign_on_name", "ines v", "A sign-on name is", []string{"name", "Ines", "roles", "inspector", "language", "en"}},
		{"person without a role", "/setup/people", "roles", "", "choose at least one", []string{"name", "Ines", "sign_on_name", "ines", "language", "en"}},
		{"shift at 25:00", "/setup/site", "shift0-start", "25:00", "is not a shift", []string{"shift0-name", "Day", "name", "TH", "film_unit", "um", "temperature_unit", "degC", "late_after", "60", "clock_limit", "300", "idle", "10"}},
	} {
		t.Run(c.what, func(t *testing.T) {
			status, body := d.post(c.path, append(c.rest, c.field, c.text)...)
			if status != http.StatusUnprocessableEntity {
				t.Fatalf("status %d, want 422", status)
			}
			if !strings.Contains(body, c.says) {
				t.Errorf("no sentence with %q; the page says %v", c.says, problemsOn(body))
			}
			if c.what != "shift at 25:00" && !strings.Contains(body, `id="`+c.field+`-problem"`) {
				t.Errorf("the sentence does not stand at the field %s", c.field)
			}
			if typed := c.text; typed != "" && len(typed) < 100 && !strings.ContainsAny(typed, "\x00 ") && c.field != "kind" && c.field != "level" && !strings.Contains(body, `value="`+typed+`"`) {
				t.Errorf("the typed text %q was lost", typed)
			}
		})
	}
	for path, empty := range map[string]string{"/setup/stations": "No station yet", "/setup/materials": "No material yet", "/setup/baths": "No bath yet", "/setup/gauges": "No device yet", "/setup/jobs": "No job yet"} {
		status, body := d.get(path)
		d.must(status, body, empty)
	}
}

func powderRest(without string) []string {
	return without2(without, "code", "P-1", "name", "Grey", "maker", "Harbour Powder", "colour", "grey", "storage", "25", "source", "data sheet", "point0-metal", "190", "point0-min", "10", "point0-max", "25")
}

func gaugeRest(without string) []string {
	return without2(without, "code", "SH-1", "kind", "shim", "serial", "1", "unit", "um", "owner", "company", "tolerance", "1", "share", "0", "nominal", "50", "interval", "365", "due", "2099-01-01")
}

// without2 leaves one field out of pairs.
func without2(name string, pairs ...string) (out []string) {
	for i := 0; i < len(pairs); i += 2 {
		if pairs[i] != name {
			out = append(out, pairs[i], pairs[i+1])
		}
	}
	return out
}

func TestPostedStatusAndIdsAreIgnored(t *testing.T) {
	d := openSetupDesk(t)
	status, body := d.post("/setup/stations", "code", "B1", "name", "Booth", "kind", "booth", "active", "", "station_id", "00000000-0000-7000-8000-000000000001", "site_id", "x")
	d.must(status, body, "Station B1 is added")
	stations, err := d.db.Stations(t.Context(), d.actor.Site)
	if err != nil || len(stations) != 1 || !stations[0].Active || strings.HasPrefix(stations[0].ID.String(), "00000000") {
		t.Errorf("stored %+v, %v, want the server's own id and an active station", stations, err)
	}
}
