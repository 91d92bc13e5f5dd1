package store_test

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

// exportDay is a day whose texts are as nasty as texts get.
func exportDay(t *testing.T) *storetest.Shop {
	t.Helper()
	s := storetest.NewShop(t)
	parts := s.Ready(2, 0)
	s.Verify(0.4)
	s.Finish(parts[0])
	s.Film(parts[0], "84.20", "81,0", "79", "80", "82")
	s.Now = s.Now.Add(time.Second)
	finish := store.NewID()
	_, err := s.DB.Save(t.Context(), s.Everyone, store.Entry{RecordID: finish, Kind: quality.Finish, Subject: store.Subject{Kind: quality.OnPart, ID: parts[1]},
		Note: "=1+1, he said \"thin\"\r\nnear the µ mark", Check: quality.Check{Defects: []quality.Defect{{Code: quality.NoneFound}}}})
	if err != nil {
		t.Fatal(err)
	}
	s.Film(parts[1], "3.20 mil", "1.82 mil", "3 mil", "3.1mil", "3.15 mil")
	if err := s.DB.Release(t.Context(), s.Everyone, parts[:1], s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	for _, reason := range []string{"The note was meant for another part.", "=looked at, again"} {
		e := store.Entry{RecordID: store.NewID(), Kind: quality.Finish, Subject: store.Subject{Kind: quality.OnPart, ID: parts[1]}, Check: quality.Check{Defects: []quality.Defect{{Code: quality.NoneFound}}}}
		s.Now = s.Now.Add(time.Minute)
		if _, err := s.DB.Correct(t.Context(), s.Everyone, e, store.Correction{Of: finish, Code: "other", Text: reason}, s.Proof(s.Everyone)); err != nil {
			t.Fatal(err)
		}
		finish = e.RecordID
	}
	return s
}

func export(t *testing.T, s *storetest.Shop, file string, f store.ExportFilter) string {
	t.Helper()
	var b bytes.Buffer
	lines, err := s.DB.Export(t.Context(), s.Site, file, f, &b)
	if err != nil {
		t.Fatal(err)
	}
	n, err := s.DB.CountExport(t.Context(), s.Site, file, f)
	if err != nil || int64(n) != lines {
		t.Errorf("%s: counted %d lines beforehand, %v, and wrote %d", file, n, err, lines)
	}
	return b.String()
}

var november = store.ExportFilter{From: tuesday.AddDate(0, 0, -23), To: tuesday.AddDate(0, 0, 6)}

// strict reads a file by the letter of RFC 4180: CRLF, the same number of columns on each line, quotes only around a whole
// field and doubled inside it.
func strict(file string) (rows [][]string, err error) {
	var row []string
	for i := 0; i < len(file); {
		field, next, quoted := "", 0, file[i] == '"'
		if quoted {
			i++
			for {
				end := strings.IndexByte(file[i:], '"')
				if end < 0 {
					return nil, errors.New("a quote is not closed")
				}
				field += file[i : i+end]
				if i += end + 1; i >= len(file) || file[i] != '"' {
					break
				}
				field += `"`
				i++
			}
		} else {
			next = strings.IndexAny(file[i:], ",\"\r\n")
			if next < 0 || file[i+next] == '"' || file[i+next] == '\n' {
				return nil, fmt.Errorf("a field ends badly near %.20q", file[i:])
			}
			field = file[i : i+next]
			i += next
		}
		row = append(row, field)
		switch {
		case strings.HasPrefix(file[i:], ","):
			i++
		case strings.HasPrefix(file[i:], "\r\n"):
			i += 2
			if rows = append(rows, row); len(row) != len(rows[0]) {
				return nil, fmt.Errorf("line %d has %d columns, the header %d", len(rows), len(row), len(rows[0]))
			}
			row = nil
		default:
			return nil, fmt.Errorf("a field is followed by %.10q", file[i:])
		}
	}
	if row != nil {
		return nil, errors.New("the last line does not end")
	}
	return rows, nil
}

func TestTwoStrictReadersReadEveryExportAlike(t *testing.T) {
	s := exportDay(t)
	sampleADay(t, s)
	articleADay(t, s)
	excludeADay(t, s)
	for _, f := range store.ExportFiles() {
		text := export(t, s, f.Name, november)
		mine, err := strict(text)
		if err != nil {
			t.Fatalf("%s: %v", f.Name, err)
		}
		r := csv.NewReader(strings.NewReader(text))
		theirs, err := r.ReadAll()
		if err != nil {
			t.Fatalf("%s: %v", f.Name, err)
		}
		if len(mine) != len(theirs) || len(mine) < 3 {
			t.Fatalf("%s: %d and %d lines", f.Name, len(mine), len(theirs))
		}
		for i := range mine {
			for k := range mine[i] {
				// encoding/csv turns a line break inside a field into LF.
				if strings.ReplaceAll(mine[i][k], "\r\n", "\n") != theirs[i][k] {
					t.Errorf("%s line %d column %d: %q and %q", f.Name, i+1, k+1, mine[i][k], theirs[i][k])
				}
			}
		}
	}
}

func TestExportHeadersAreTheDictionary(t *testing.T) {
	s := exportDay(t)
	var b bytes.Buffer
	if err := store.Dictionary(&b); err != nil {
		t.Fatal(err)
	}
	dictionary, err := strict(b.String())
	if err != nil {
		t.Fatal(err)
	}
	if len(dictionary)-1 != store.DictionaryLines() {
		t.Errorf("%d lines, DictionaryLines says %d", len(dictionary)-1, store.DictionaryLines())
	}
	columns := map[string][]string{}
	for _, row := range dictionary[1:] {
		columns[row[0]] = append(columns[row[0]], row[1])
		if row[4] == "" || row[6] == "" {
			t.Errorf("%s %s has no meaning or version", row[0], row[1])
		}
	}
	for _, f := range store.ExportFiles() {
		header, _, _ := strings.Cut(export(t, s, f.Name, november), "\r\n")
		if want := strings.Join(columns[f.Name], ","); header != want {
			t.Errorf("%s: header %s\ndictionary %s", f.Name, header, want)
		}
	}
}

// suffixes are the endings that a numeric column may have: a unit, or a count that has none.
var suffixes = regexp.MustCompile(`_(um|mm|degc|s|min|ms|percent|ph|us_per_cm|kv|ua|mohm|lx|gu|n_m|ml|l|g|kg|cm2|g_per_l|g_per_m2|no|count)$`)

func TestNumericColumnsNameTheirUnit(t *testing.T) {
	canonical := map[quality.Unit]bool{}
	for _, f := range store.ExportFiles() {
		for _, c := range f.Columns {
			if (c.Type == store.Number || c.Type == store.Integer) && !suffixes.MatchString(c.Name) {
				t.Errorf("%s: numeric column %s does not end in a unit", f.Name, c.Name)
			}
			if c.Type == store.Number && c.Unit == "" {
				t.Errorf("%s: %s has no unit in the dictionary", f.Name, c.Name)
			}
			if strings.HasPrefix(c.Name, "value_") && c.Type == store.Number {
				canonical[quality.Unit(c.Unit)] = true
			}
		}
	}
	for _, c := range quality.Characteristics() {
		if !canonical[c.Canonical()] {
			t.Errorf("readings.csv has no column for %s in %s", c.Code, c.Canonical())
		}
	}
}

// table reads an export by column name.
func table(t *testing.T, text string) []map[string]string {
	t.Helper()
	rows, err := strict(text)
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, row := range rows[1:] {
		m := map[string]string{}
		for i, cell := range row {
			m[rows[0][i]] = cell
		}
		out = append(out, m)
	}
	return out
}

func TestExportKeepsRecordedDigitsAndConvertsBeside(t *testing.T) {
	s := exportDay(t)
	got := map[string]string{}
	for _, r := range table(t, export(t, s, "readings.csv", november)) {
		if r["characteristic"] == "film_thickness" {
			got[r["value_recorded"]+" "+r["unit_recorded"]] = r["value_um"]
			if r["value_degc"] != "" || r["value_mm"] != "" {
				t.Errorf("a film reading stands in another unit's column too: %v", r)
			}
		}
	}
	want := map[string]string{"84.20 um": "84.2", "81.0 um": "81", "79 um": "79", "80 um": "80", "82 um": "82",
		"3.20 mil": "81.28", "1.82 mil": "46.228", "3 mil": "76.2", "3.1 mil": "78.74", "3.15 mil": "80.01"}
	if len(got) != len(want) {
		t.Fatalf("got %v, want %v", got, want)
	}
	for recorded, um := range want {
		if got[recorded] != um {
			t.Errorf("%s is exported as %q µm, want %q", recorded, got[recorded], um)
		}
	}
}

func TestExportGuardsTypedTextAndNothingElse(t *testing.T) {
	s := exportDay(t)
	parts := table(t, export(t, s, "parts.csv", november))
	if got := parts[0]["order_reference"]; got != "'=PO 7" {
		t.Errorf("order reference %q, want it with a quote in front", got)
	}
	if got := parts[0]["customer"]; got != `Halden, "Balconies"` {
		t.Errorf("customer %q was changed", got)
	}
	notes := ""
	for _, c := range table(t, export(t, s, "checks.csv", november)) {
		if c["note"] != "" {
			notes = c["note"]
		}
		if c["kind"] == "coating" && c["powder_lots"] != "000123" {
			t.Errorf("powder lot %q lost its zeros", c["powder_lots"])
		}
	}
	if want := "'=1+1, he said \"thin\"\r\nnear the µ mark"; notes != want {
		t.Errorf("note %q, want %q", notes, want)
	}
}

var withOffset = regexp.MustCompile(`^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}[+-]\d\d:\d\d$`)

func TestExportedTimesCarryTheOffset(t *testing.T) {
	s := exportDay(t)
	for _, f := range store.ExportFiles() {
		for i, row := range table(t, export(t, s, f.Name, november)) {
			for _, c := range f.Columns {
				if c.Type != store.Timestamp || row[c.Name] == "" {
					continue
				}
				local := row[strings.TrimSuffix(c.Name, "_at")+"_local"]
				if !withOffset.MatchString(row[c.Name]) || !strings.HasPrefix(row[c.Name], local) || !strings.HasSuffix(row[c.Name], "-06:00") {
					t.Errorf("%s line %d: %s is %q, local %q", f.Name, i+1, c.Name, row[c.Name], local)
				}
			}
		}
	}
}

func TestSignaturesOfReleasesAreExported(t *testing.T) {
	s := exportDay(t)
	for _, p := range table(t, export(t, s, "parts.csv", november)) {
		released := p["status"] == "released"
		if signed := p["released_by"] == "Maren Holt" && p["release_meaning"] == "released" && p["released_at"] != ""; released != signed {
			t.Errorf("part %s is %s; signed by %q, %q, %q", p["part_serial"], p["status"], p["released_by"], p["release_meaning"], p["released_at"])
		}
	}
}

func TestExportFilters(t *testing.T) {
	s := exportDay(t)
	count := func(file string, f store.ExportFilter) int { return len(table(t, export(t, s, file, f))) }
	all := count("checks.csv", november)
	other, rightJob, early := november, november, november
	other.Job, rightJob.Job = "99999", "24117"
	early.To = tuesday.AddDate(0, 0, -1)
	if n := count("checks.csv", other); n != 0 {
		t.Errorf("another job has %d checks, want none", n)
	}
	// The verification belongs to no part.
	if n := count("checks.csv", rightJob); n != all-1 {
		t.Errorf("the job has %d checks, want %d: all but the gauge's", n, all-1)
	}
	if n := count("parts.csv", early); n != 0 {
		t.Errorf("%d parts before the day, want none", n)
	}
	rightJob.PartNumber = "RF-999"
	if n := count("readings.csv", rightJob); n != 0 {
		t.Errorf("another part number has %d readings, want none", n)
	}
	if _, err := s.DB.Export(t.Context(), s.Site, "secrets.csv", november, &bytes.Buffer{}); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("an unknown file gives %v, want not found", err)
	}
}

// unstable are ids and hashes: other at each run, and the same within one.
var unstable = regexp.MustCompile(`[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[0-9a-f]{4}-[0-9a-f]{12}|\b[0-9a-f]{64}\b`)

func TestExportsMatchTheGoldenFiles(t *testing.T) {
	s := exportDay(t)
	names := map[string]string{}
	for _, f := range store.ExportFiles() {
		got := unstable.ReplaceAllStringFunc(export(t, s, f.Name, november), func(id string) string {
			if names[id] == "" {
				names[id] = fmt.Sprintf("id-%d", len(names)+1)
			}
			return names[id]
		})
		path := filepath.Join("..", "testdata", "golden", "export-"+f.Name)
		if os.Getenv("WRITE_GOLDEN") != "" {
			if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if got != string(want) {
			t.Errorf("%s differs from %s; got\n%s", f.Name, path, got)
		}
	}
}

type brokenWriter struct{}

func (brokenWriter) Write([]byte) (int, error) { return 0, errors.New("the browser went away") }

func TestExportReportsABrokenDownload(t *testing.T) {
	s := exportDay(t)
	if _, err := s.DB.Export(t.Context(), s.Site, "checks.csv", november, brokenWriter{}); err == nil {
		t.Error("a download that broke off was reported as complete")
	}
}

func TestReadingsLeaveInTheOrderTheyWereEntered(t *testing.T) {
	s := exportDay(t)
	last := map[string]int{}
	for _, r := range table(t, export(t, s, "readings.csv", november)) {
		var seq int
		if _, err := fmt.Sscan(r["seq_no"], &seq); err != nil {
			t.Fatal(err)
		}
		key := r["record_id"] + r["line"]
		if seq != last[key]+1 {
			t.Errorf("record %s: %s %d follows %d", r["record_id"], r["line"], seq, last[key])
		}
		last[key] = seq
	}
}
