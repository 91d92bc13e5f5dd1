package calc

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"
)

func TestPublishedSamplingPlans(t *testing.T) {
	for _, row := range published(t, "sampling/single_plans_105E.csv") {
		got := figures(t, "", append([]string{"sampling"}, given(row, "severity", "severity", "code-letter", "code_letter", "aql", "aql")...)...)
		for key, column := range map[string]string{"n": "n", "accept": "Ac", "reject": "Re"} {
			want(t, got, key, row[column], 0)
		}
		if got["plan_letter"] != row["plan_letter"] {
			t.Errorf("%v: plan letter %v", row, got["plan_letter"])
		}
	}
	for _, row := range published(t, "sampling/lookups_105E.csv") {
		got := figures(t, "", append([]string{"sampling"}, given(row, "lot", "lot_size", "level", "level", "severity", "severity", "aql", "aql")...)...)
		for key, column := range map[string]string{"n": "sample_size", "accept": "Ac", "reject": "Re"} {
			want(t, got, key, row[column], 0)
		}
		if got["plan_letter"] != row["plan_letter"] || got["code_letter"] != row["code_letter"] || got["inspect_all"] != (row["note"] != "") {
			t.Errorf("%v: %v", row, got)
		}
	}
	letters := published(t, "sampling/code_letters_105E.csv")
	for _, row := range letters {
		for _, level := range []string{"S-1", "S-2", "S-3", "S-4", "I", "II", "III"} {
			got := figures(t, "", "sampling", "--lot", row["lot_from"], "--level", level, "--aql", "1.0")
			if got["code_letter"] != row[level] {
				t.Errorf("lot %s, level %s: letter %v, want %s", row["lot_from"], level, got["code_letter"], row[level])
			}
		}
	}
}

func TestPublishedOperatingCharacteristics(t *testing.T) {
	for _, row := range published(t, "sampling/oc_points.csv") {
		got := figures(t, "", append([]string{"sampling", "--oc"}, given(row, "n", "n", "accept", "Ac", "lot", "lot", "at", "p")...)...)
		want(t, got, "binomial", row["Pa_binomial"], 1e-8)
		if row["lot"] != "" {
			want(t, got, "hypergeometric", row["Pa_hypergeometric"], 1e-8)
		}
	}
	for _, row := range published(t, "sampling/oc_quality_levels.csv") {
		for _, p := range []string{"0.95", "0.50", "0.10"} {
			got := figures(t, "", "sampling", "--oc", "--n", row["n"], "--accept", row["Ac"], "--at", row["p_at_Pa_"+p])
			want(t, got, "binomial", p, 1e-6)
		}
	}
	for _, row := range published(t, "sampling/switching.csv") {
		got := figures(t, "", "sampling", "--switching", row["lots(a accept, r reject, g accept between Ac and Re)"])
		if got["severities"] != row["severity_used(N,T,R,D)"] {
			t.Errorf("%v: %v", row, got["severities"])
		}
	}
}

func TestPublishedProportions(t *testing.T) {
	for _, row := range published(t, "attributes/proportion_intervals.csv") {
		got := figures(t, "", append([]string{"proportion"}, given(row, "count", "x", "of", "n", "confidence", "conf")...)...)
		for path, column := range map[string]string{"wilson.0": "wilson_lo", "wilson.1": "wilson_hi", "clopper_pearson.0": "clopper_lo", "clopper_pearson.1": "clopper_hi",
			"clopper_pearson_upper": "clopper_upper_one_sided"} {
			if row[column] != "" {
				absolute(t, got, path, row[column], 1e-9)
			}
		}
	}
}

func TestPublishedYields(t *testing.T) {
	rows := published(t, "attributes/yield_steps.csv")
	for i := range rows {
		rows[i]["recovered"] = rows[i]["recovered_by_rework"]
	}
	expected := map[string]string{}
	for _, row := range published(t, "attributes/yield_expected.csv") {
		expected[row["line"]+" "+row["item"]] = row["expected"]
	}
	for _, line := range []string{"line_A", "line_B"} {
		of := func(r map[string]string) bool { return r["line"] == line }
		got := figures(t, rowsOf(rows, of, "recovered", "step", "units_in", "failed_first_pass"), "yield")
		i := 0
		for _, row := range rows {
			if of(row) {
				want(t, got, fmt.Sprintf("first_pass.%d", i), row["first_pass_yield"], 1e-9)
				want(t, got, fmt.Sprintf("final.%d", i), row["final_yield"], 1e-9)
				i++
			}
		}
		want(t, got, "rolled", expected[line+" rolled_throughput_yield"], 1e-9)
		want(t, got, "final_rolled", expected[line+" product of final (after rework) yields"], 1e-9)
		want(t, got, "normalized", expected[line+" normalised_yield (RTY^(1/steps))"], 1e-9)
	}
}

func TestPublishedFilmVerdicts(t *testing.T) {
	for _, row := range published(t, "film-acceptance/worked_examples.csv") {
		for _, repeats := range []int{1, 3} { // one value an area, or three equal readings
			var b strings.Builder
			b.WriteString("area,reading\n")
			for i, v := range strings.Fields(row["area_values_um"]) {
				b.WriteString(strings.Repeat(fmt.Sprintf("a%d,%s\n", i+1, v), repeats))
			}
			got := figures(t, b.String(), "film", "--rule", "areas80", "--min", row["minimum_um"])
			if got["verdict"] != row["verdict"] {
				t.Errorf("%v: %v", row, got["verdict"])
			}
			want(t, got, "mean", row["mean_um"], 1e-12)
			for i, v := range strings.Fields(row["area_values_um"]) {
				want(t, got, fmt.Sprintf("areas.%d", i), v, 0)
			}
		}
	}
}

func TestPublishedCureProfiles(t *testing.T) {
	results := map[string]map[string]any{}
	for _, row := range published(t, "cure/expected.csv") {
		for _, level := range []string{"160", "180", "190", "200"} {
			for _, energy := range []string{"60", "80", "100"} {
				key := row["profile"] + level + energy
				if results[key] == nil {
					results[key] = figures(t, "", "cure", "--time", "time_s", "--channels", "pmt1_C,pmt2_C,pmt3_C,pmt4_C,pmt5_C,pmt6_C",
						"--reference-c", "200", "--activation-kj-mol", energy, "--above-c", level, publishedFolder+"cure/"+row["profile"]+".csv")
				}
				channel, err := strconv.Atoi(row["channel"])
				if err != nil {
					t.Fatal(err)
				}
				got := follow(t, results[key], fmt.Sprintf("channels.%d", channel-1))
				want(t, got, "peak_c", row["peak_C"], 0)
				want(t, got, "peak_at_s", row["time_of_first_peak_s"], 0)
				want(t, got, "seconds_above", row["s_above_"+level], 1e-8)
				want(t, got, "equivalent_minutes", row["eqmin200_trapezoid_Ea"+energy], 1e-8)
				want(t, got, "equivalent_minutes_linear", row["eqmin200_linear_Ea"+energy], 1e-8)
				if level == "190" {
					want(t, got, "longest_run_seconds", row["longest_run_above_190_s"], 1e-8)
				}
			}
		}
	}
	items := map[string]string{"s_above_190": "190 seconds_above", "s_above_210 (at or above)": "210 seconds_above", "s_above_180": "180 seconds_above",
		"eqmin200 trapezoid Ea=80000": "190 equivalent_minutes", "eqmin200 linear temperature Ea=80000": "190 equivalent_minutes_linear"}
	for _, row := range published(t, "cure/tiny_expected.csv") {
		level, key, _ := strings.Cut(items[row["item"]], " ")
		got := figures(t, "", "cure", "--time", "time_s", "--channels", "pmt_C", "--activation-kj-mol", "80", "--above-c", level, publishedFolder+"cure/tiny_profile.csv")
		want(t, got, "channels.0."+key, row["expected"], 1e-8)
	}
}

func TestPublishedIsothermalCure(t *testing.T) {
	for _, row := range published(t, "cure/isothermal_checks.csv") {
		var at, minutes, energy float64
		if n, _ := fmt.Sscanf(row["case"], "isothermal %f C for %f min, Ea=%f", &at, &minutes, &energy); n != 3 {
			continue
		}
		input := fmt.Sprintf("t,c\n0,%g\n%g,%g\n", at, minutes*60, at)
		got := figures(t, input, "cure", "--time", "t", "--channels", "c", "--above-c", "100", "--activation-kj-mol", fmt.Sprint(energy/1000), "--max-gap", "7200")
		want(t, got, "channels.0.equivalent_minutes", row["expected_equivalent_minutes"], 1e-9)
	}
}

func TestPublishedColours(t *testing.T) {
	for _, row := range published(t, "colour/ciede2000_pairs.csv") {
		got := figures(t, "", "colour", row["L1"], row["a1"], row["b1"], row["L2"], row["a2"], row["b2"])
		absolute(t, got, "ciede2000", row["dE00_published"], 5.1e-5)
		absolute(t, got, "ciede2000", row["dE00_recomputed"], 1e-9)
		absolute(t, got, "cie76", row["dE_ab_1976"], 1e-6)
	}
}

func TestPublishedDewPoints(t *testing.T) {
	for _, row := range published(t, "dew-point/table.csv") {
		got := figures(t, "", "dew-point", "--air-c", row["air_C"], "--humidity", row["rh_pct"])
		absolute(t, got, "dew_point_c", row["wmo_17.62_243.12"], 5.1e-5)
	}
	for _, row := range published(t, "dew-point/margin_cases.csv") {
		args := append([]string{"dew-point"}, given(row, "air-c", "air_C", "humidity", "rh_pct", "surface-c", "surface_C")...)
		if row["surface_minus_dew"] == "" {
			if r := run("", args...); r.status != 2 {
				t.Errorf("%v: status %d", row, r.status)
			}
			continue
		}
		absolute(t, figures(t, "", args...), "margin_c", row["surface_minus_dew"], 5.1e-5)
	}
}

// Every folder of published values is run through the command by a test above, or named here with the reason why not.
func TestNoPublishedFolderIsLeftOut(t *testing.T) {
	covered := []string{"attributes", "capability", "colour", "control-charts", "cure", "dew-point", "film-acceptance", "gauge-rr", "normality", "run-rules",
		"sampling", "strd-anova", "strd-univariate", "tolerance", "variance-components"}
	for _, folder := range folders(t, publishedFolder) {
		if !slices.Contains(covered, folder) {
			t.Errorf("testdata/published/%s goes through no calculation", folder)
		}
	}
}
