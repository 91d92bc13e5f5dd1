package calc

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

// told asks for one sentence on standard error that holds every word, status 2 and no result.
func told(t *testing.T, r ran, words ...string) {
	t.Helper()
	if r.status != 2 || r.out != "" || !strings.HasPrefix(r.errors, "coatbook calc") || !strings.HasSuffix(r.errors, ".\n") || strings.Count(r.errors, "\n") != 1 {
		t.Errorf("status %d, out %q, errors %q", r.status, r.out, r.errors)
	}
	for _, w := range words {
		if !strings.Contains(r.errors, w) {
			t.Errorf("%q does not say %q", r.errors, w)
		}
	}
}

func TestBadInputIsOneSentenceWithItsPlace(t *testing.T) {
	limits := []string{"--lower", "60", "--upper", "100"}
	for _, c := range []struct {
		name, input, args string
		words             []string
	}{
		{"missing column", "film,day\n81,1\n", "describe --value gloss", []string{"line 1", "“gloss”", "“film”, “day”"}},
		{"text", "film\n81\nthick\n", "describe --value film", []string{"line 3", "column “film”", "“thick” is not a number"}},
		{"text after a remark", "# a remark\nfilm\n81\nthick\n", "describe --value film", []string{"line 4"}},
		{"NaN", "film\n81\nNaN\n", "describe --value film", []string{"line 3", "“NaN”"}},
		{"Inf", "film\n81\n-Inf\n", "describe --value film", []string{"line 3", "“-Inf”"}},
		{"hexadecimal", "film\n0x51\n", "describe --value film", []string{"line 2", "“0x51”"}},
		{"underscore", "film\n1_000\n", "describe --value film", []string{"line 2"}},
		{"decimal comma", "film;day\n81,2;1\n", "describe --value film", nil},
		{"empty cell", "film,day\n81,1\n,2\n", "describe --value film", []string{"line 3", "column “film”", "empty"}},
		{"empty line", "film\n81\n\n82\n", "describe --value film", []string{"line 3", "empty line"}},
		{"too large", "film\n1e300\n", "describe --value film", []string{"line 2", "too large"}},
		{"far too large", "film\n1e999\n", "describe --value film", []string{"line 2", "too large"}},
		{"short row", "day,film\n1,81\n2\n", "describe --value film", []string{"line 3", "column 2", "cut off"}},
		{"long row", "day,film\n1,81,5\n", "describe --value film", []string{"line 2", "3 cells"}},
		{"quote not closed", "day,film\n1,81\n2,\"80", "describe --value film", []string{"line 3", "cut off"}},
		{"quote not closed over lines", "day,film\n\"1,81\n2,80\n3,79\n", "describe --value film", []string{"line 2", "cut off"}},
		{"stray quote", "day,film\n1\",81\n", "describe --value film", []string{"line 2"}},
		{"empty file", "", "describe --value film", []string{"empty"}},
		{"header only", "film\n", "describe --value film", []string{"line 1", "no row"}},
		{"two columns of one name", "film,film\n81,82\n", "describe --value film", []string{"line 1", "two columns"}},
		{"not UTF-8", "film,who\n81,J\xf8rn\n", "describe --value film", []string{"line 2", "UTF-8"}},
		{"UTF-16", "\xff\xfef\x00i\x00", "describe --value film", []string{"UTF-8"}},
		{"no file", "", "describe --value film nowhere.csv", []string{"nowhere.csv"}},
		{"no column named", "film\n81\n", "describe", []string{"--value"}},
		{"one value", "film\n81\n", "capability --value film", []string{"line 2", "“film”", "one value"}},
		{"one value in normality", "film\n81\n", "normality --value film", []string{"too few"}},
		{"one value on a chart", "film\n81\n", "chart --kind individuals --value film", []string{"one value"}},
		{"all equal", "film\n81\n81\n81\n", "capability --value film", []string{"lines 2 to 4", "“film”", "all 3 values are 81"}},
		{"all equal in subgroups", "film,d\n81,1\n81,1\n81,2\n81,2\n", "capability --value film --by d", []string{"all 4 values are 81"}},
		{"all equal in normality", "film\n81\n81\n81\n", "normality --value film", []string{"do not vary"}},
		{"all equal in variance", "film,d\n81,1\n81,1\n81,2\n", "variance --value film --by d", []string{"all 3 values are 81"}},
		{"empty subgroup name", "film,d\n81,1\n82,\n", "chart --kind xbar-s --value film --by d", []string{"line 3", "“d”", "empty"}},
		{"a count that is none", "bad,n\n1.5,10\n", "chart --kind p --value bad --size n", []string{"line 2", "“bad”", "not a count"}},
		{"more defective than parts", "bad,n\n1,10\n11,10\n", "chart --kind p --value bad --size n", []string{"line 3", "11 defective"}},
		{"sample of none", "bad,n\n0,0\n", "chart --kind p --value bad --size n", []string{"line 2", "“n”"}},
		{"nothing defective", "bad,n\n0,10\n0,12\n", "chart --kind p --value bad --size n", []string{"nothing was found"}},
		{"more recovered than failed", "step,units_in,failed_first_pass,recovered\na,10,2,3\n", "yield", []string{"line 2", "“recovered”"}},
		{"more failed than units", "step,units_in,failed_first_pass,recovered\na,10,12,3\n", "yield", []string{"line 2", "“failed_first_pass”"}},
		{"time runs back", "t,c\n0,20\n10,30\n5,40\n", "cure --time t --channels c --above-c 190", []string{"line 4", "“t”"}},
		{"NaN in a channel", "t,c\n0,20\n10,NaN\n", "cure --time t --channels c --above-c 190", []string{"line 3", "“c”"}},
		{"text in film", "area,reading\n1,82\n1,thin\n", "film --rule each --min 60", []string{"line 3", "“reading”"}},
		{"unbalanced study", "v,p,a\n1,1,A\n2,1,A\n1,2,A\n2,2,A\n1,1,B\n", "gauge-study --value v --part p --appraiser a", []string{"equally often"}},
		{"one level", "v,d\n1,1\n2,1\n3,1\n", "variance --value v --by d", []string{"one level"}},
		{"distribution of values below 0", "v\n-1\n2\n3\n", "capability --value v --distribution lognormal", []string{"above 0"}},
	} {
		args := strings.Fields(c.args)
		if args[0] == "capability" {
			args = append(args, limits...)
		}
		for _, form := range [][]string{nil, {"--json"}} {
			t.Run(c.name, func(t *testing.T) { told(t, run(c.input, append(args, form...)...), c.words...) })
		}
	}
}

func TestBadFlagsAreOneSentence(t *testing.T) {
	for args, words := range map[string]string{
		"gloss":                                                  "“gloss” is not a calculation",
		"describe --gloss":                                       "“--gloss” is not a flag",
		"describe -v film":                                       "“-v” is not a flag",
		"describe --value":                                       "--value needs a value",
		"describe --value --json":                                "--value needs a value",
		"describe --value=":                                      "--value needs a value",
		"describe --json=yes":                                    "takes no value",
		"describe --value a --value a":                           "twice",
		"describe --value a b c":                                 "“c” is one argument too many",
		"capability --value film":                                "give --lower, --upper or both",
		"capability --value film --lower 100 --upper 60":         "--lower 100 is not below --upper 60",
		"capability --value film --lower low":                    "“low” is not a number",
		"capability --value film --lower 60 --within best":       "pooled, rbar, sbar or moving-range",
		"capability --value film --lower 60 --confidence 95":     "between 0 and 1",
		"capability --n 10 --mean 80 --lower 60":                 "--sd",
		"capability --n 10 --mean 80 --sd 0 --lower 60":          "--sd is 0",
		"capability --n 1 --mean 80 --sd 2 --lower 60":           "at least 2",
		"capability --n 10 --mean 80 --sd 2 --lower 60 film.csv": "a file has no meaning",
		"chart --kind pie --value film":                          "--kind is “pie”",
		"chart --kind individuals --value film --rules n9":       "--rules is “n9”",
		"chart --kind individuals --value film --lambda 0.2":     "has no meaning with --kind individuals",
		"chart --kind xbar-s --value film":                       "--by COL is missing",
		"chart --kind p --value film":                            "--size COL is missing",
		"constants --n 1":                                        "2 to 1000000",
		"constants --n 2.5":                                      "not a whole number",
		"variance --value v --by a,b,a":                          "“a” twice",
		"tolerance --n 10 --coverage 1 --confidence 0.9":         "between 0 and 1",
		"sampling":                                                        "give --lot",
		"sampling --lot 500":                                              "--aql A is missing",
		"sampling --lot 500 --aql 3":                                      "not a column of the table",
		"sampling --lot 1 --aql 1":                                        "a lot of 2",
		"sampling --lot 500 --aql 1 --level IV":                           "--level is “IV”",
		"sampling --code-letter I --aql 1":                                "without I and O",
		"sampling --oc --n 10 --accept 1":                                 "--at P is missing",
		"sampling --oc --n 10 --accept 1 --at 2":                          "between 0 and 1",
		"sampling --switching aax":                                        "a (accepted)",
		"sampling --switching aa --lot 5":                                 "no meaning",
		"proportion --count 5 --of 3":                                     "more than",
		"proportion --count 0 --of 0":                                     "nothing",
		"proportion --count -1 --of 3":                                    "not a whole number",
		"film --rule best --min 60":                                       "--rule is “best”",
		"film --rule areas80":                                             "--min X is missing",
		"film --rule each --min 60 --max 50":                              "above --max 50",
		"film --rule spot-area --min 60 --level 6":                        "1 to 5",
		"film --rule share --min 60 --share 80":                           "--share is 80",
		"cure --time t --channels a,a --above-c 190":                      "twice",
		"cure --time t --channels a --above-c 1900":                       "1900",
		"cure --time t --channels a --above-c 190 --points 190-15":        "190:15",
		"cure --time t --channels a --above-c 190 --points 190:10,200:15": "hotter metal cures faster",
		"colour 1 2 3":                                                    "six figures",
		"colour 1 2 3 4 5 red":                                            "b2",
		"colour 1 2 3 4 5 6 7":                                            "one argument too many",
		"colour 1 2 3 4 5 6000":                                           "−1000 to 1000",
		"dew-point --air-c 20":                                            "--humidity",
		"dew-point --air-c 20 --humidity 0":                               "over 0 and up to 100",
	} {
		t.Run(args, func(t *testing.T) { told(t, run("film,v,a,b\n1,2,3,4\n", strings.Fields(args)...), words) })
	}
}

func TestSameFigureWhateverTheFormOfTheFile(t *testing.T) {
	plainFile := "day,film\n1,81.5\n1,79.25\n2,84\n2,-3e-1\n"
	wanted := run(plainFile, "describe", "--value", "film", "--json")
	if wanted.status != 0 {
		t.Fatal(wanted.errors)
	}
	for name, file := range map[string]string{
		"CRLF":               strings.ReplaceAll(plainFile, "\n", "\r\n"),
		"byte order mark":    "\ufeff" + plainFile,
		"mark and CRLF":      "\ufeff" + strings.ReplaceAll(plainFile, "\n", "\r\n"),
		"no last line end":   strings.TrimSuffix(plainFile, "\n"),
		"empty lines behind": plainFile + "\n\n\r\n",
		"semicolons":         strings.ReplaceAll(plainFile, ",", ";"),
		"tabs":               strings.ReplaceAll(plainFile, ",", "\t"),
		"quotes":             "\"day\",\"film\"\n\"1\",\"81.5\"\n1,\"79.25\"\n2,84\n2,-3e-1\n",
		"blanks":             "day , film\n1, 81.5\n1, 79.25\n2, 84 \n2,-3e-1\n",
		"columns swapped":    "film,day\n81.5,1\n79.25,1\n84,2\n-3e-1,2\n",
		"line end in a cell": "day,film\n\"1\na\",81.5\n1,79.25\n2,84\n2,-3e-1\n",
		"remarks":            "# Source: invented\n# a second line, with \"quotes\n" + plainFile,
		"plus sign":          "day,film\n1,+81.5\n1,79.25\n2,84.\n2,-.3\n",
	} {
		if got := run(file, "describe", "--value", "film", "--json"); got != wanted {
			t.Errorf("%s: %v, want %v", name, got, wanted)
		}
		if got := run(file, "--json", "describe"); got.status != 2 {
			t.Errorf("a flag in place of the name: status %d", got.status)
		}
	}
	quoted := "\"film, µm\",\"the \"\"day\"\"\"\n81.5,1\n79.25,1\n84,2\n-0.3,2\n"
	if got := run(quoted, "describe", "--value", "film, µm", "--json"); got != wanted {
		t.Errorf("quoted header: %v", got)
	}
}

func TestFlagsStandBeforeOrBehindTheFile(t *testing.T) {
	file := filepath.Join(t.TempDir(), "film.csv")
	if err := os.WriteFile(file, []byte("film\n81\n82\n84\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	wanted := run("", "describe", "--value", "film", "--json", file)
	for _, args := range [][]string{
		{file, "--value", "film", "--json"}, {"--json", file, "--value=film"}, {"--value", "film", "--json", "--", file},
	} {
		if got := run("", append([]string{"describe"}, args...)...); got != wanted || got.status != 0 {
			t.Errorf("%v: %v", args, got)
		}
	}
	if got := run("film\n81\n82\n84\n", "describe", "-", "--value", "film", "--json"); got != wanted {
		t.Errorf("standard input: %v", got)
	}
	signs := run("", "colour", "50", "2.6", "-79", "50", "0", "-82", "--json")
	if again := run("", "colour", "--json", "--", "50", "2.6", "-79", "50", "0", "-82"); signs != again || signs.status != 0 {
		t.Errorf("%v, want %v", again, signs)
	}
}

// endless is a CSV file of any number of rows that is never held.
type endless struct {
	rows, at int
	rest     []byte
}

func (e *endless) Read(p []byte) (int, error) {
	for len(e.rest) == 0 {
		if e.at > e.rows {
			return 0, io.EOF
		}
		if e.at == 0 {
			e.rest = []byte("film\n")
		} else {
			e.rest = fmt.Appendf(nil, "%d.%d\n", 60+e.at*7919%40, e.at%10)
		}
		e.at++
	}
	n := copy(p, e.rest)
	e.rest = e.rest[n:]
	return n, nil
}

func TestLongFileTakesLittleMemory(t *testing.T) {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	var out, errors strings.Builder
	if status := Run([]string{"describe", "--value", "film", "--json"}, &endless{rows: mostHeld + 1}, &out, &errors); status != 0 || !strings.Contains(out.String(), fmt.Sprintf(`"n":%d,`, mostHeld+1)) {
		t.Fatalf("status %d, %s %s", status, out.String(), errors.String())
	}
	runtime.ReadMemStats(&after)
	if grown := after.Sys - before.Sys; grown > 16<<20 {
		t.Errorf("describe took %d bytes more for a million rows", grown)
	}
}

func TestFileTooLongToHoldIsRefusedOrReadInOnePass(t *testing.T) {
	calc := func(args ...string) ran {
		var out, errors strings.Builder
		status := Run(args, &endless{rows: mostHeld + 1}, &out, &errors)
		return ran{status, out.String(), errors.String()}
	}
	told(t, calc("normality", "--value", "film"), "more than 1000000 values")
	told(t, calc("variance", "--value", "film", "--by", "film"), "more than 1000000 rows", "line 1000002")
	r := calc("capability", "--value", "film", "--lower", "50", "--upper", "110", "--target", "80", "--json")
	if r.status != 0 {
		t.Fatal(r.errors)
	}
	for _, piece := range []string{`"n":1000001,`, `"quotable":false`, `"cpk_interval":null`, "neither the chart nor the distribution was judged"} {
		if !strings.Contains(r.out, piece) {
			t.Errorf("%s is not in %s", piece, r.out)
		}
	}
}

// One pass over a long file gives the figures that the values held in memory give.
func TestOnePassAgreesWithValuesHeld(t *testing.T) {
	c := &call{command: &capabilityCommand, flags: map[string]string{"lower": "61", "upper": "98", "target": "80"}}
	opt, err := c.capabilityOptions()
	if err != nil {
		t.Fatal(err)
	}
	p := &onePass{spec: opt.Spec}
	var b strings.Builder
	b.WriteString("film\n")
	for i := range 500 {
		v := 60 + float64(i*7919%401)/10
		if err := p.add(v); err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&b, "%.1f\n", v)
	}
	r, err := p.result(opt)
	if err != nil {
		t.Fatal(err)
	}
	page, err := c.capabilityResult(r).json()
	if err != nil {
		t.Fatal(err)
	}
	long := decoded(t, page)
	held := figures(t, b.String(), "capability", "--value", "film", "--lower", "61", "--upper", "98", "--target", "80")
	for _, key := range []string{"n", "mean", "sd_within", "sd_overall", "cp", "cpl", "cpu", "cpk", "cpm", "pp", "ppl", "ppu", "ppk", "ppm_observed_below", "ppm_observed_above", "ppm_expected_below"} {
		want(t, long, key, fmt.Sprint(held[key]), 1e-12)
	}
}

func TestRowWithoutEndIsRefusedInBoundedMemory(t *testing.T) {
	told(t, run("film\n\""+strings.Repeat("81\n", 1<<20), "describe", "--value", "film"), "line 2", "quote")
}
