package calc

import (
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

func decoded(t *testing.T, page []byte) map[string]any {
	t.Helper()
	var object map[string]any
	if err := json.Unmarshal(page, &object); err != nil {
		t.Fatal(err)
	}
	return object
}

const (
	spots = "part,film,who,size\n1,78.9,A,50\n1,80.2,A,50\n2,81.5,A,60\n2,83.1,A,60\n1,79.4,B,50\n1,79.6,B,50\n2,82.2,B,40\n2,82.9,B,40\n"
	steps = "step,units_in,failed_first_pass,recovered\npretreat,480,12,8\npowder,468,20,15\n"
	areas = "area,reading\n1,82\n2,68\n3,75\n4,93\n5,86\n"
	oven  = "t,T1,T2\n0,25,24\n30,150,140\n60,201,195\n90,203,199\n120,160,150\n"
	count = "bad,n\n3,50\n5,50\n2,40\n6,60\n"
)

// runs is one command line for each name and form, with the keys that programs may rely on.
var runs = []struct{ input, args, keys string }{
	{spots, "describe --value film", "n mean sd min max lag1_autocorrelation skewness excess_kurtosis"},
	{spots, "normality --value film", "anderson_darling.statistic anderson_darling.adjusted anderson_darling.p shapiro_wilk.statistic shapiro_wilk.p"},
	{spots, "capability --value film --by part --lower 60 --upper 100 --target 80", capabilityKeys + " cp_interval.1 cpk_interval.1 ppk_interval.1"},
	{spots, "capability --value film --lower 60", capabilityKeys},
	{spots, "capability --value film --upper 100 --distribution weibull", capabilityKeys},
	{"", "capability --n 30 --mean 78.4 --sd 6.2 --lower 60 --upper 100", capabilityKeys + " cp_interval.1"},
	{spots, "chart --kind xbar-r --value film --by part", panelKeys + " dispersion.center dispersion.upper.1 dispersion.lower.1 dispersion.points.1 dispersion.signals"},
	{spots, "chart --kind xbar-s --value film --by part", panelKeys + " dispersion.center"},
	{spots, "chart --kind individuals --value film", panelKeys + " dispersion.center"},
	{spots, "chart --kind between-within --value film --by part", panelKeys + " dispersion.center moving_range.center"},
	{spots, "chart --kind ewma --value film", panelKeys + " dispersion"},
	{spots, "chart --kind cusum --value film", "center upper lower points.0 signals dispersion high.7 low.7"},
	{count, "chart --kind p --value bad --size n", panelKeys + " dispersion"},
	{count, "chart --kind np --value bad --size n", panelKeys},
	{count, "chart --kind c --value bad", panelKeys},
	{count, "chart --kind u --value bad --size n", panelKeys},
	{"", "constants --n 7", "d2 d3 c4 a2 a3 b3 b4 d3_limit d4_limit e2"},
	{spots, "variance --value film --by part --method moments", varianceKeys},
	{spots, "variance --value film --by part,who --method reml", varianceKeys},
	{spots, "gauge-study --value film --part part --appraiser who --tolerance 40 --method anova --interaction keep", gaugeKeys},
	{spots, "gauge-study --value film --part part --appraiser who --method range", gaugeKeys},
	{"", "tolerance --n 43 --coverage 0.9 --confidence 0.99", "two_sided_k two_sided_k_howe one_sided_k"},
	{"", "sampling --lot 500 --level II --aql 1.5 --severity normal", "code_letter plan_letter n accept reject"},
	{"", "sampling --code-letter H --aql 1.5 --severity reduced", "code_letter plan_letter n accept reject"},
	{"", "sampling --oc --n 50 --accept 1 --at 0.02 --lot 500", "binomial hypergeometric"},
	{"", "sampling --oc --n 50 --accept 1 --at 0.02", "binomial hypergeometric"},
	{"", "sampling --switching aaaraag", "severities"},
	{"", "proportion --count 3 --of 20 --confidence 0.9", "wilson.0 wilson.1 clopper_pearson.0 clopper_pearson.1"},
	{steps, "yield", "first_pass.1 final.1 rolled dpu"},
	{"step,units_in,failed_first_pass,recovered\na,0,0,0\n", "yield", "first_pass.0 final.0 rolled dpu"},
	{areas, "film --rule areas80 --min 60", filmKeys},
	{areas, "film --rule spot-area --level 3 --min 60 --max 100", filmKeys},
	{areas, "film --rule each --min 60 --max 90 --compare", filmKeys + " compare.0.rule compare.0.verdict"},
	{areas, "film --rule share --min 70 --share 0.8 --floor 60", filmKeys},
	{"area,reading\n1,82\n2,\n", "film --rule each --min 60", filmKeys},
	{oven, "cure --time t --channels T1,T2 --reference-c 200 --activation-kj-mol 80 --above-c 190 --points 190:15,200:10", cureKeys + " channels.0.dose"},
	{oven, "cure --time t --channels T1 --above-c 205", cureKeys},
	{"", "colour 50 2.6 -79 50 0 -82", "cie76 cmc ciede2000"},
	{"", "dew-point --air-c 20 --humidity 60", "dew_point_c margin_c"},
	{"", "dew-point --air-c 20 --humidity 60 --surface-c 16", "dew_point_c margin_c"},
}

const (
	capabilityKeys = "n subgroups mean sd_within sd_overall cp cpl cpu cpk cpm pp ppl ppu ppk cp_interval cpk_interval ppk_interval cpk_lower cpl_lower_exact " +
		"cpu_lower_exact ppk_lower ppm_expected_below ppm_expected_above quotable reasons"
	panelKeys    = "center upper.0 lower.0 points.0 signals"
	varianceKeys = "components.0.factor components.0.variance components.0.raw_variance anova.0.factor anova.0.df anova.0.ss anova.0.ms"
	gaugeKeys    = "repeatability.sd repeatability.percent_study repeatability.percent_tolerance reproducibility.sd interaction.sd gauge.percent_study part.sd total.sd " +
		"distinct_categories distinct_categories_raw interaction_p"
	filmKeys = "verdict mean areas.0 findings.0.rule findings.0.limit findings.0.value findings.0.unit"
	cureKeys = "channels.0.name channels.0.peak_c channels.0.seconds_above channels.0.longest_run_seconds channels.0.equivalent_minutes spread_c"
)

func TestEveryPromisedKeyIsThere(t *testing.T) {
	for _, r := range runs {
		t.Run(r.args, func(t *testing.T) {
			got := figures(t, r.input, strings.Fields(r.args)...)
			for _, key := range strings.Fields(r.keys) {
				follow(t, got, key)
			}
			if _, isList := got["notes"].([]any); !isList {
				t.Error("notes is not a list")
			}
		})
	}
}

func TestEveryNullHasItsSentence(t *testing.T) {
	for _, r := range runs {
		got := figures(t, r.input, strings.Fields(r.args)...)
		notes := fmt.Sprint(got["notes"], got["reasons"])
		nulls := nullsIn("", got)
		if len(nulls) > 0 && strings.Count(notes, ".") == 0 {
			t.Errorf("%s: %v are null and nothing says why", r.args, nulls)
		}
	}
	for args, words := range map[string]string{
		"capability --value film --lower 60":            "There is no upper limit",
		"capability --value film --lower 60 --upper 99": "Cpm is not defined without --target",
		"describe --value one":                          "all values are equal",
	} {
		got := figures(t, "film,one\n81,5\n82,5\n85,5\n83,5\n", strings.Fields(args)...)
		if !strings.Contains(fmt.Sprint(got["notes"]), words) {
			t.Errorf("%s: notes %v do not say %q", args, got["notes"], words)
		}
	}
}

func nullsIn(path string, value any) []string {
	var out []string
	switch v := value.(type) {
	case nil:
		return []string{path}
	case map[string]any:
		for key, inner := range v {
			out = append(out, nullsIn(path+"."+key, inner)...)
		}
	case []any:
		for i, inner := range v {
			out = append(out, nullsIn(fmt.Sprint(path, ".", i), inner)...)
		}
	}
	return out
}

func TestTableForPeopleIsPlainText(t *testing.T) {
	for _, r := range runs {
		got := run(r.input, strings.Fields(r.args)...)
		if got.status != 0 || len(got.out) == 0 {
			t.Errorf("%s: status %d, %s", r.args, got.status, got.errors)
		}
		for _, wrong := range []string{"NaN", "Inf", "<nil>", "0x", "{", "map["} {
			if strings.Contains(got.out, wrong) {
				t.Errorf("%s prints %s:\n%s", r.args, wrong, got.out)
			}
		}
	}
}

func TestNumbersReadBackAsTheyWere(t *testing.T) {
	got := run("v\n0.1\n0.2\n0.30000000000000004\n", "describe", "--value", "v", "--json")
	if !strings.Contains(got.out, `"max":0.30000000000000004`) || !strings.Contains(got.out, `"min":0.1`) {
		t.Errorf("%s", got.out)
	}
	for v, want := range map[float64]string{0: "0", 79.6024: "79.6024", 1000000.25: "1000000", -0.000123456789: "-0.0001234568", 12345678: "12345678", 1e-9: "1e-09", 66.2: "66.2"} {
		if text := rounded(v); text != want {
			t.Errorf("%v is shown as %s, want %s", v, text, want)
		}
	}
}

func TestPicturesAreWellFormed(t *testing.T) {
	for _, r := range runs {
		args := strings.Fields(r.args)
		if !slices.Contains([]string{"chart", "capability", "cure"}, args[0]) || slices.Contains(args, "--n") {
			continue
		}
		file := filepath.Join(t.TempDir(), "picture.svg")
		if got := run(r.input, append(args, "--svg", file)...); got.status != 0 {
			t.Errorf("%s: %s", r.args, got.errors)
			continue
		}
		picture, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		checkPicture(t, r.args, string(picture))
	}
}

func checkPicture(t *testing.T, name, picture string) {
	t.Helper()
	d, elements := xml.NewDecoder(strings.NewReader(picture)), 0
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatalf("%s: %v in %s", name, err, picture)
		}
		if start, is := token.(xml.StartElement); is {
			if elements++; elements == 1 && (start.Name.Local != "svg" || start.Name.Space != "http://www.w3.org/2000/svg") {
				t.Errorf("%s: the picture is no SVG", name)
			}
			if start.Name.Local == "a" {
				t.Errorf("%s: a link in a picture", name)
			}
		}
	}
	if elements < 15 || strings.Contains(picture, "NaN") || strings.Contains(picture, "Inf") {
		t.Errorf("%s: %d elements, or a coordinate that is no number", name, elements)
	}
}

func TestNoPictureIsLeftBehindAnError(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "picture.svg")
	told(t, run("film\n81\nthick\n", "chart", "--kind", "individuals", "--value", "film", "--svg", file), "line 3")
	told(t, run("", "capability", "--n", "30", "--mean", "80", "--sd", "5", "--lower", "60", "--svg", file), "no picture")
	told(t, run(spots, "chart", "--kind", "individuals", "--value", "film", "--svg", filepath.Join(dir, "nowhere", "p.svg")), "cannot be written")
	told(t, run(spots, "describe", "--value", "film", "--svg", file), "not a flag")
	if left, err := os.ReadDir(dir); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

type broken struct{}

func (broken) Write([]byte) (int, error) { return 0, errors.New("no room") }

func TestResultThatCannotBeWrittenIsAnError(t *testing.T) {
	var said strings.Builder
	if status := Run([]string{"constants", "--n", "5"}, strings.NewReader(""), broken{}, &said); status != 2 || !strings.Contains(said.String(), "no room") {
		t.Errorf("status %d, %s", status, said.String())
	}
}

// Rows of a set of readings may come in any order where time plays no part, and columns always.
func TestOrderOfRowsDoesNotMatterWithoutTime(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 11))
	lines := strings.Split(strings.TrimSpace(spots), "\n")
	for _, args := range []string{
		"normality --value film", "variance --value film --by part,who --method moments", "variance --value film --by part --method reml",
		"gauge-study --value film --part part --appraiser who", "capability --value film --by part --lower 60 --upper 100",
	} {
		wanted := figures(t, spots, strings.Fields(args)...)
		for range 20 {
			rows := slices.Clone(lines[1:])
			random.Shuffle(len(rows), func(i, j int) { rows[i], rows[j] = rows[j], rows[i] })
			got := figures(t, lines[0]+"\n"+strings.Join(rows, "\n"), strings.Fields(args)...)
			near(t, args, got, wanted)
		}
	}
}

// near compares two results, floats to twelve digits.
func near(t *testing.T, path string, got, wanted any) {
	t.Helper()
	switch w := wanted.(type) {
	case map[string]any:
		for key, inner := range w {
			if key != "notes" && key != "reasons" && key != "mean" {
				near(t, path+"."+key, follow(t, got, key), inner)
			}
		}
	case []any:
		// Levels may be listed in another order, sums may not differ.
		if list, is := got.([]any); !is || len(list) != len(w) {
			t.Errorf("%s is %v, want %v", path, got, wanted)
			return
		}
		for i := range w {
			near(t, fmt.Sprint(path, ".", i), got.([]any)[i], w[i])
		}
	case float64:
		want(t, map[string]any{"x": got}, "x", fmt.Sprint(w), 1e-9)
	default:
		if got != wanted {
			t.Errorf("%s is %v, want %v", path, got, wanted)
		}
	}
}

// Micrometres or mils, moved or not: an index is the same number.
func TestIndexHasNoUnit(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 5))
	um, mil := "d,v\n", "d,v\n"
	for i := range 100 {
		v := 80 + 5*random.NormFloat64()
		um += fmt.Sprintf("%d,%v\n", i/4, v)
		mil += fmt.Sprintf("%d,%v\n", i/4, v/25.4)
	}
	a := figures(t, um, "capability", "--value", "v", "--by", "d", "--lower", "60", "--upper", "100", "--target", "80")
	b := figures(t, mil, "capability", "--value", "v", "--by", "d", "--lower", fmt.Sprint(60/25.4), "--upper", fmt.Sprint(100/25.4), "--target", fmt.Sprint(80/25.4))
	for _, key := range []string{"cp", "cpl", "cpu", "cpk", "cpm", "pp", "ppk", "cpk_lower", "ppk_lower", "ppm_expected_below"} {
		want(t, b, key, fmt.Sprint(a[key]), 1e-9)
	}
}
