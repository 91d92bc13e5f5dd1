package calc

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"
)

// The published values are run through the command itself, from the file to the printed figure. Sources and status stand in the
// first line of each file.

func TestPublishedSummaries(t *testing.T) {
	for _, row := range published(t, "strd-univariate/expected.csv") {
		got := figures(t, "", "describe", "--value", "y", publishedFolder+"strd-univariate/"+row["set"]+".csv")
		want(t, got, "n", row["n"], 0)
		want(t, got, "mean", row["recomputed_mean"], 1e-14)
		want(t, got, "sd", row["recomputed_sd"], 1e-9)
		want(t, got, "lag1_autocorrelation", row["recomputed_lag1"], 1e-9)
	}
}

// NIST StRD, univariate set NumAcc4, from memory: 1001 values, mean 10000000.2, standard deviation 0.1, lag-1 autocorrelation
// -0.999. Nearest binary fractions alone would leave eight right digits of the standard deviation.
func TestDigitsThatNeverChangeCostNoDigitsOfTheSpread(t *testing.T) {
	got := figures(t, "y\n10000000.2\n"+strings.Repeat("10000000.1\n10000000.3\n", 500), "describe", "--value", "y")
	want(t, got, "n", "1001", 0)
	want(t, got, "mean", "10000000.2", 0)
	want(t, got, "sd", "0.1", 1e-14)
	want(t, got, "lag1_autocorrelation", "-0.999", 1e-14)
	want(t, got, "min", "10000000.1", 0)
	want(t, got, "max", "10000000.3", 0)
}

func TestPublishedNormality(t *testing.T) {
	sets := published(t, "normality/sets.csv")
	columns := map[string]string{"zarr13": "control-charts/zarr13.csv y", "Lew": "strd-univariate/Lew.csv y", "Mavro": "strd-univariate/Mavro.csv y",
		"nonnormal_film_lognormal": "capability/nonnormal_film_lognormal.csv x"}
	for _, row := range published(t, "normality/expected.csv") {
		name := row["set"]
		var got map[string]any
		input := rowsOf(sets, func(r map[string]string) bool { return r["set"] == name }, "x")
		if place, other := columns[name]; other {
			file, column, _ := strings.Cut(place, " ")
			got = figures(t, "", "normality", "--value", column, publishedFolder+file)
		} else {
			got = figures(t, input, "normality", "--value", "x")
		}
		want(t, got, "n", row["n"], 0)
		want(t, got, "anderson_darling.statistic", row["A2"], 1e-8)
		want(t, got, "anderson_darling.adjusted", row["A2_star"], 1e-8)
		want(t, got, "anderson_darling.p", row["p_dagostino_stephens"], 1e-6)
		absolute(t, got, "shapiro_wilk.statistic", row["W_shapiro"], 1e-5)
		absolute(t, got, "shapiro_wilk.p", row["p_shapiro_royston"], 1e-5)
	}
}

// absolute compares to an absolute tolerance.
func absolute(t *testing.T, object any, path, text string, tolerance float64) {
	t.Helper()
	w, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	if g, isNumber := follow(t, object, path).(float64); !isNumber || math.Abs(g-w) > tolerance {
		t.Errorf("%s is %v, want %v within %g", path, g, w, tolerance)
	}
}

// given puts flags of a row in front of a command line; an empty cell is no flag.
func given(row map[string]string, pairs ...string) []string {
	var args []string
	for i := 0; i < len(pairs); i += 2 {
		if row[pairs[i+1]] != "" {
			args = append(args, "--"+pairs[i], row[pairs[i+1]])
		}
	}
	return args
}

func TestPublishedIndices(t *testing.T) {
	for _, row := range published(t, "capability/indices.csv") {
		args := append([]string{"capability", "--n", "30"}, given(row, "mean", "mean", "sd", "sd", "lower", "lsl", "upper", "usl", "target", "target")...)
		if row["Cpk"] == "" { // not defined at all: said in a sentence
			if r := run("", args...); r.status != 2 || r.out != "" || strings.Count(r.errors, "\n") != 1 {
				t.Errorf("%s: status %d, %q, %q", row["id"], r.status, r.out, r.errors)
			}
			continue
		}
		got := figures(t, "", args...)
		for key, column := range map[string]string{"cp": "Cp", "cpl": "Cpl", "cpu": "Cpu", "cpk": "Cpk", "cpm": "Cpm", "pp": "Cp", "ppl": "Cpl", "ppu": "Cpu", "ppk": "Cpk"} {
			want(t, got, key, row[column], 1e-8)
		}
		want(t, got, "ppm_expected_below", row["ppm_below"], 1e-6)
		want(t, got, "ppm_expected_above", row["ppm_above"], 1e-6)
	}
}

func TestPublishedBounds(t *testing.T) {
	for _, row := range published(t, "capability/cpk_ci.csv") {
		got := figures(t, "", append([]string{"capability"}, given(row, "n", "n", "mean", "mean", "sd", "sd", "lower", "lsl", "upper", "usl", "confidence", "conf")...)...)
		if row["Cp"] == "" {
			want(t, got, "cp_interval", "", 0)
		} else {
			want(t, got, "cp_interval.0", row["Cp_lo"], 1e-6)
			want(t, got, "cp_interval.1", row["Cp_hi"], 1e-6)
		}
		for _, index := range []string{"cpk", "ppk"} {
			want(t, got, index+"_interval.0", row["Cpk_bissell_lo"], 1e-6)
			want(t, got, index+"_interval.1", row["Cpk_bissell_hi"], 1e-6)
			want(t, got, index+"_lower", row["Cpk_bissell_lower_1s"], 1e-6)
		}
		want(t, got, "cpl_lower_exact", row["Cpl_exact_lower_1s"], 1e-5)
		want(t, got, "cpu_lower_exact", row["Cpu_exact_lower_1s"], 1e-5)
		want(t, got, "cpk", row["Cpk"], 1e-8)
	}
}

func TestPublishedSubgroups(t *testing.T) {
	spreads := map[string]string{"pooled": "pooled", "rbar": "R_bar/d2", "sbar": "S_bar/c4", "moving-range": "MR_bar/d2"}
	rows := map[string]map[string]string{}
	for _, row := range published(t, "capability/subgroups_expected.csv") {
		rows[row["sigma_kind"]] = row
	}
	limits := published(t, "capability/subgroups_limits.csv")[0]
	for within, kind := range spreads {
		args := append([]string{"capability", publishedFolder + "capability/subgroups.csv", "--value", "film_um", "--by", "subgroup", "--within", within},
			given(limits, "lower", "lsl", "upper", "usl", "target", "target")...)
		got := figures(t, "", args...)
		want(t, got, "n", "125", 0)
		want(t, got, "subgroups", "25", 0)
		want(t, got, "sd_within", rows[kind]["sigma"], 1e-8)
		want(t, got, "cp", rows[kind]["Cp_or_Pp"], 1e-8)
		want(t, got, "cpk", rows[kind]["Cpk_or_Ppk"], 1e-8)
		want(t, got, "cpm", rows[kind]["Cpm"], 1e-8)
		want(t, got, "sd_overall", rows["overall"]["sigma"], 1e-8)
		want(t, got, "pp", rows["overall"]["Cp_or_Pp"], 1e-8)
		want(t, got, "ppk", rows["overall"]["Cpk_or_Ppk"], 1e-8)
	}
	unequal := map[string]string{}
	for _, row := range published(t, "capability/subgroups_unequal_expected.csv") {
		unequal[row["item"]] = row["value"]
	}
	for within, item := range map[string]string{"pooled": "s_pooled", "sbar": "sigma from S, weights c4^2/(1-c4^2)", "rbar": "sigma from R, weights d2^2/d3^2"} {
		got := figures(t, "", "capability", "--lower", "60", publishedFolder+"capability/subgroups_unequal.csv", "--value", "film_um", "--by", "subgroup", "--within", within)
		want(t, got, "n", unequal["N"], 0)
		want(t, got, "mean", unequal["mean"], 1e-10)
		want(t, got, "sd_within", unequal[item], 1e-8)
		want(t, got, "sd_overall", unequal["sd_overall"], 1e-8)
	}
}

func TestPublishedDistributions(t *testing.T) {
	names := map[string]string{"normal (sd n-1)": "normal", "lognormal MLE (sd of logs, n)": "lognormal", "weibull MLE": "weibull", "box-cox MLE then normal (sd n-1)": "boxcox"}
	for _, set := range []string{"nonnormal_film_lognormal", "nonnormal_weibull"} {
		limits := published(t, "capability/"+set+"_limits.csv")[0]
		for _, row := range published(t, "capability/"+set+"_expected.csv") {
			law, mine := names[row["method"]]
			if !mine {
				continue
			}
			args := append([]string{"capability", "--value", "x", "--distribution", law}, given(limits, "lower", "lsl", "upper", "usl")...)
			got := figures(t, "", append(args, publishedFolder+"capability/"+set+".csv")...)
			tolerance := 1e-6
			if law == "boxcox" { // lambda is printed to six figures
				tolerance = 1e-5
			}
			for key, column := range map[string]string{"pp": "Pp", "ppl": "Ppl", "ppu": "Ppu", "ppk": "Ppk"} {
				want(t, got, key, row[column], tolerance)
			}
			if row["ppm_above"] != "" {
				want(t, got, "ppm_expected_above", row["ppm_above"], 1e-4)
			}
		}
	}
}

func TestPublishedVarianceComponents(t *testing.T) {
	factors := map[string]string{"nist_machine_operator": "machine,operator y", "three_level_book": "a,b,c y", "film_nested_balanced": "day,rack,part film_um",
		"film_nested_unbalanced": "day,rack,part film_um", "film_nested_negative": "day,rack,part film_um"}
	results := map[string]map[string]any{}
	find := func(set, method, source, list string) any {
		key := set + method
		if results[key] == nil {
			by, value, _ := strings.Cut(factors[set], " ")
			results[key] = figures(t, "", "variance", "--value", value, "--by", by, "--method", method, publishedFolder+"variance-components/"+set+".csv")
		}
		for _, part := range follow(t, results[key], list).([]any) {
			if part.(map[string]any)["factor"] == source {
				return part
			}
		}
		t.Fatalf("%s: no factor %s", set, source)
		return nil
	}
	for _, row := range published(t, "variance-components/expected_anova.csv") {
		part := find(row["set"], "moments", row["source"], "components")
		want(t, part, "variance", row["component_mom_truncated_at_0"], 1e-8)
		want(t, part, "raw_variance", row["component_mom"], 1e-8)
		line := find(row["set"], "moments", row["source"], "anova")
		want(t, line, "df", row["df"], 0)
		want(t, line, "ss", row["ss"], 1e-8)
		want(t, line, "ms", row["ms"], 1e-8)
	}
	for _, row := range published(t, "variance-components/expected_reml.csv") {
		part := find(row["set"], "reml", row["source"], "components")
		if row["component_reml"] == "0" {
			absolute(t, part, "variance", "0", 1e-9)
			continue
		}
		want(t, part, "variance", row["component_reml"], 1e-4)
	}
}

func TestPublishedOneWayAnova(t *testing.T) {
	generator := published(t, "strd-anova/smls_generator.csv")
	for _, row := range published(t, "strd-anova/expected.csv") {
		args := []string{"variance", "--value", "y", "--by", "group", "--method", "moments"}
		input := ""
		if row["set"] == "SiRstv" {
			args = append(args, publishedFolder+"strd-anova/SiRstv.csv")
		} else {
			input = smls(t, generator, row["set"])
		}
		got := figures(t, input, args...)
		want(t, got, "anova.0.df", row["df_between"], 0)
		want(t, got, "anova.0.ss", row["ss_between"], 1e-9)
		want(t, got, "anova.1.ss", row["ss_within"], 1e-9)
		want(t, got, "anova.0.f", row["F"], 1e-9)
		want(t, got, "components.0.raw_variance", row["var_between_mom(recomputed)"], 1e-7)
	}
}

// smls writes a set out as decimals: the first value of a group, then first-0.1 and first+0.1 in turn.
func smls(t *testing.T, generator []map[string]string, set string) string {
	t.Helper()
	var b strings.Builder
	b.WriteString("group,y\n")
	for _, row := range generator {
		if row["set"] != set {
			continue
		}
		whole, tenth, _ := strings.Cut(row["first_value"], ".")
		d, err := strconv.Atoi(tenth)
		if err != nil || d < 1 || d > 8 || len(tenth) != 1 {
			t.Fatalf("%s: first value %s", set, row["first_value"])
		}
		n, err := strconv.Atoi(row["replicates"])
		if err != nil {
			t.Fatal(err)
		}
		for i := range n {
			digit := d
			if i > 0 {
				digit = d + 1 - 2*(i%2)
			}
			fmt.Fprintf(&b, "%s,%s.%d\n", row["group"], whole, digit)
		}
	}
	return b.String()
}

func TestPublishedGaugeStudies(t *testing.T) {
	methods := map[string][]string{"range": {"--method", "range"}, "anova_interaction_kept": {"--method", "anova", "--interaction", "keep"},
		"anova_pooled": {"--method", "anova", "--interaction", "pool"}, "anova": {"--method", "anova"}}
	paths := map[string]string{"EV": "repeatability.sd", "AV": "reproducibility.sd", "INT": "interaction.sd", "GRR": "gauge.sd", "PV": "part.sd", "TV": "total.sd",
		"pct_EV": "repeatability.percent_study", "pct_AV": "reproducibility.percent_study", "pct_INT": "interaction.percent_study", "pct_GRR": "gauge.percent_study",
		"pct_PV": "part.percent_study", "ndc": "distinct_categories", "ndc_raw": "distinct_categories_raw", "pct_GRR_of_tolerance(6 sigma)": "gauge.percent_tolerance",
		"p_interaction": "interaction_p"}
	tolerance := map[string]string{"msa_10x3x3": "6", "film_8x2x2": "40"} // percentages of tolerance are given for these
	checked := 0
	for _, row := range published(t, "gauge-rr/expected.csv") {
		path, shown := paths[row["item"]]
		if !shown || methods[row["method"]] == nil {
			continue
		}
		args := append([]string{"gauge-study", "--value", "y", "--part", "part", "--appraiser", "appraiser", "--tolerance", tolerance[row["set"]]}, methods[row["method"]]...)
		got := figures(t, "", append(args, publishedFolder+"gauge-rr/"+row["set"]+".csv")...)
		limit := 1e-8
		if strings.HasPrefix(row["method"], "range") { // the printed K factors have four decimals
			limit = 1e-4
		}
		want(t, got, path, row["expected"], limit)
		checked++
	}
	if checked < 50 {
		t.Errorf("only %d published figures were compared", checked)
	}
}

func TestPublishedTolerance(t *testing.T) {
	for _, row := range published(t, "tolerance/k_factors.csv") {
		got := figures(t, "", append([]string{"tolerance"}, given(row, "n", "n", "coverage", "coverage", "confidence", "confidence")...)...)
		want(t, got, "two_sided_k", row["k2_exact"], 1e-6)
		want(t, got, "two_sided_k_howe", row["k2_howe"], 1e-6)
		want(t, got, "one_sided_k", row["k1_exact"], 1e-6)
	}
	got := figures(t, "", "tolerance", "--n", "43", "--coverage", "0.90", "--confidence", "0.99")
	for _, row := range published(t, "tolerance/examples.csv") {
		for item, path := range map[string]string{"NIST 7.2.6.3: n=43 p=0.90 conf=0.99 k2 (Howe)": "two_sided_k_howe", "same, k2 exact": "two_sided_k", "same, k1 exact (noncentral t)": "one_sided_k"} {
			if row["item"] == item {
				want(t, got, path, row["expected"], 1e-6)
			}
		}
		var side string
		var coverage, confidence float64
		if n, _ := fmt.Sscanf(strings.ReplaceAll(row["item"], "(min,max) ", ""), "%s distribution-free n, coverage %f confidence %f", &side, &coverage, &confidence); n == 3 {
			got := figures(t, "", "tolerance", "--n", "10", "--coverage", fmt.Sprint(coverage), "--confidence", fmt.Sprint(confidence))
			want(t, got, "distribution_free_n_"+strings.ReplaceAll(side, "-", "_"), row["expected"], 0)
		}
	}
}
