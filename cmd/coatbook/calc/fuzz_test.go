package calc

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
)

// sound asks what every command line owes whatever was typed: status 0 with a result and no complaint, or status 2 with one
// sentence and no result. A result in JSON is JSON and holds no number that is none.
func sound(t *testing.T, r ran, asJSON bool) {
	t.Helper()
	switch {
	case r.status == 0 && r.errors == "" && r.out != "":
		if asJSON && !json.Valid([]byte(r.out)) {
			t.Errorf("not JSON: %s", r.out)
		}
		for _, wrong := range []string{"NaN", "+Inf", "-Inf"} {
			if !asJSON && strings.Contains(r.out, wrong) {
				t.Errorf("a result holds %s: %s", wrong, r.out)
			}
		}
	case r.status == 2 && r.out == "" && strings.Count(r.errors, "\n") == 1 && strings.HasSuffix(r.errors, ".\n"):
	default:
		t.Errorf("status %d, out %q, errors %q", r.status, r.out, r.errors)
	}
}

func FuzzTableReader(f *testing.F) {
	for _, seed := range []string{spots, "v\n1\n2\n", "\ufeffv;w\r\n1;2\r\n", "# r\nv\n\"1\"\n", "v\n\"1", "v,w\n1\n", "v\n\n1\n", "v\n1e5\n-.5\n", "\xff\xfe", "v\tw\n1\t2\n", "v\n" + strings.Repeat("9", 400)} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, file string) {
		sound(t, run(file, "describe", "--value", "v", "--json"), true)
		table, err := newTable("file", strings.NewReader(file))
		if err != nil {
			return
		}
		lines := 1 + strings.Count(file, "\n") + strings.Count(file, "\r")
		last := 0
		err = table.each(func() error {
			if len(table.record) != len(table.header) || table.line <= last || table.line > lines {
				t.Errorf("row of %d cells under %d headers on line %d of %d, after line %d", len(table.record), len(table.header), table.line, lines, last)
			}
			last = table.line
			for column := range table.record {
				if v, err := table.number(column); err == nil && (math.IsNaN(v) || math.IsInf(v, 0)) {
					t.Errorf("%q was read as %v", table.record[column], v)
				}
			}
			return nil
		})
		if err != nil && plain(err) == "" {
			t.Error("an error without words")
		}
	})
}

func FuzzNumber(f *testing.F) {
	for _, seed := range []string{"1", "-1.5", ".5", "5.", "1e5", "NaN", "inf", "0x1p4", "1_0", "", " 7 ", "1e400", "--1", "+", "."} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		v, why := parseNumber(text)
		if why == "" && (math.IsNaN(v) || math.Abs(v) > 1e140 || strings.ContainsAny(text, "xXpP_nNiI")) {
			t.Errorf("%q was read as %v", text, v)
		}
	})
}

func FuzzFlags(f *testing.F) {
	for _, r := range runs {
		f.Add(r.args)
	}
	for _, seed := range []string{"", "--help", "describe -", "colour 1 -2 -.5 -e 5 6", "chart --kind= --value v", "describe -- --value", "capability --n -1 --mean 1e300 --sd 1e-300 --lower -1e140", "tolerance --n 1000000000 --coverage 0.999999999999 --confidence 0.5"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, line string) {
		var args []string
		for _, word := range strings.Fields(line) {
			// No files are opened or written, and no plan or constant of a thousand million is computed.
			if strings.HasPrefix(word, "--svg") || strings.ContainsAny(word, "/") || len(word) > 12 && strings.Trim(word, "0123456789") == "" {
				return
			}
			args = append(args, word)
		}
		sound(t, run(spots, args...), false)
	})
}

func FuzzFilmVerdict(f *testing.F) {
	f.Add(areas, 60.0, 100.0, uint8(0))
	f.Add("area,spot,reading\nA,1,82\nA,2,\nB,1,70\n", 60.0, 0.0, uint8(1))
	f.Add("area,reading\n1,-5\n1,1e140\n", 1e-9, 1e140, uint8(3))
	f.Fuzz(func(t *testing.T, file string, low, high float64, rule uint8) {
		name := []string{"areas80", "spot-area", "each", "share"}[rule%4]
		number := func(v float64) string { b, _ := json.Marshal(v); return string(b) }
		r := run(file, "film", "--rule", name, "--min", number(low), "--max", number(high), "--compare", "--json")
		sound(t, r, true)
		var got struct {
			Verdict  string
			Findings []struct{ Verdict string }
		}
		if r.status != 0 {
			return
		}
		if err := json.Unmarshal([]byte(r.out), &got); err != nil {
			t.Fatal(err)
		}
		for _, finding := range got.Findings {
			if got.Verdict == "pass" && finding.Verdict != "pass" {
				t.Errorf("a pass with a finding that is %s: %s", finding.Verdict, r.out)
			}
		}
		if strings.Contains(r.out, `"areas":[null`) && got.Verdict == "pass" {
			t.Errorf("a pass with an area that has no reading: %s", r.out)
		}
	})
}

func FuzzCureProfile(f *testing.F) {
	f.Add(oven, 190.0, 80.0)
	f.Add("t,T1,T2\n0,20,\n1,9999,20\n", 20.0, 1000.0)
	f.Add("t,T1,T2\n-1e12,499,-50\n1e12,-50,499\n", -50.0, 0.001)
	f.Fuzz(func(t *testing.T, file string, above, energy float64) {
		number := func(v float64) string { b, _ := json.Marshal(v); return string(b) }
		r := run(file, "cure", "--time", "t", "--channels", "T1,T2", "--above-c", number(above), "--activation-kj-mol", number(energy), "--json")
		sound(t, r, true)
		if r.status == 0 && strings.Contains(r.out, `"complete":false,"above_c"`) == strings.Contains(r.out, `"incomplete":[]`) && strings.Count(r.out, `"incomplete":[]`) == 2 {
			t.Errorf("an incomplete record without a reason: %s", r.out)
		}
	})
}
