package gauge

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// published reads a file of check values by column; its first line names source and status.
func published(t testing.TB, name string) []map[string]string {
	t.Helper()
	file, err := os.Open(filepath.Join("..", "..", "testdata", "published", "gauge-rr", name))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = file.Close() }()
	reader := csv.NewReader(file)
	reader.Comment = '#'
	lines, err := reader.ReadAll()
	if err != nil || len(lines) < 2 {
		t.Fatalf("%s: %d lines, %v", name, len(lines), err)
	}
	var rows []map[string]string
	for _, line := range lines[1:] {
		row := map[string]string{}
		for i, column := range lines[0] {
			row[column] = line[i]
		}
		rows = append(rows, row)
	}
	return rows
}

func num(t testing.TB, text string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

func near(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*max(1e-3, math.Abs(want))) {
		t.Errorf("%s: got %.15g, want %.15g (relative tolerance %g)", what, got, want, tolerance)
	}
}

func readingsOf(t testing.TB, set string) []Reading {
	t.Helper()
	var readings []Reading
	for _, row := range published(t, set+".csv") {
		readings = append(readings, Reading{Part: row["part"], Appraiser: row["appraiser"], Value: num(t, row["y"])})
	}
	return readings
}

// tolerances are what the file's last percentage was worked out with.
var tolerances = map[string]float64{"msa_10x3x3": 6, "film_8x2x2": 40}

// figures lists a study under the names of the published file.
func figures(s Study) map[string]float64 {
	f := map[string]float64{
		"EV": s.Repeatability.SD, "GRR": s.Gauge.SD, "PV": s.Part.SD, "TV": s.Total.SD,
		"pct_EV": s.Repeatability.PercentStudy, "pct_GRR": s.Gauge.PercentStudy, "pct_PV": s.Part.PercentStudy,
		"AV": s.Reproducibility.SD, "pct_AV": s.Reproducibility.PercentStudy,
		"pct_contribution_GRR": s.Gauge.PercentContribution,
		"ndc_raw":              *s.DistinctCategoriesRaw, "ndc": float64(*s.DistinctCategories),
		"pct_GRR_of_tolerance(6 sigma)": *s.Gauge.PercentTolerance,
		"var_equipment":                 square(s.Repeatability.SD), "var_appraiser": square(s.Reproducibility.SD), "var_part": square(s.Part.SD),
	}
	if s.Interaction != nil {
		f["INT"], f["pct_INT"] = s.Interaction.SD, s.Interaction.PercentStudy
		f["var_interaction"] = square(s.Interaction.SD)
	}
	if s.Pooled {
		f["MS_pooled"] = square(s.Repeatability.SD)
	}
	if r := s.Range; r != nil {
		f["R_double_bar"], f["xbar_diff"], f["Rp"], f["UCL_R"] = r.MeanRange, r.MeanDifference, r.PartRange, r.UpperRange
		for i := range r.Appraisers {
			f[fmt.Sprintf("xbar_appraiser_%d", i+1)] = r.AppraiserMeans[i]
			f[fmt.Sprintf("rbar_appraiser_%d", i+1)] = r.AppraiserRanges[i]
		}
	}
	return f
}

// table lists the analysis of variance under the names of the published file.
func tableOf(s Study) map[string]float64 {
	f := map[string]float64{"p_interaction": *s.InteractionP}
	names := map[string]string{PartSource: "part", AppraiserSource: "appraiser", InteractionSource: "interaction", RepeatabilitySource: "equipment"}
	for _, r := range s.Anova {
		f["SS_"+names[r.Source]], f["MS_"+names[r.Source]] = r.SS, r.MS
		if r.Source == InteractionSource {
			f["F_interaction"] = *r.F
		}
	}
	return f
}

func TestPublishedGaugeStudies(t *testing.T) {
	all := map[string]map[string]float64{}
	for set, tolerance := range tolerances {
		readings := readingsOf(t, set)
		run := func(name string, study func([]Reading, Options) (Study, error), opt Options) Study {
			opt.Tolerance = tolerance
			s, err := study(readings, opt)
			if err != nil {
				t.Fatal(err)
			}
			all[set+" "+name] = figures(s)
			return s
		}
		run("range", AverageAndRange, Options{})
		run("range_exact_constants", AverageAndRange, Options{ExactConstants: true})
		kept := run("anova_interaction_kept", ANOVA, Options{Interaction: KeepInteraction})
		run("anova_pooled", ANOVA, Options{Interaction: PoolInteraction})
		all[set+" anova"] = tableOf(kept)
	}
	for _, row := range published(t, "expected.csv") {
		what := row["set"] + " " + row["method"] + " " + row["item"]
		got, ok := all[row["set"]+" "+row["method"]][row["item"]]
		if !ok {
			t.Errorf("%s is not computed", what)
			continue
		}
		tolerance := 2e-9 // ten printed digits
		if row["method"] == "range_exact_constants" {
			tolerance = 5e-9 // the file took d₂ and d₃ to eight decimals
		}
		near(t, what, got, num(t, row["expected"]), tolerance)
		if printed := row["published"]; printed != "" {
			// The manual rounds on the way: the guide asks for ±0.0001, percentages to their printed digits.
			digits := len(printed) - strings.Index(printed, ".") - 1
			allowed := max(1e-4, 1.1*math.Pow(10, -float64(digits)))
			if !strings.Contains(printed, ".") {
				allowed = 0
			}
			if math.Abs(got-num(t, printed)) > allowed {
				t.Errorf("%s: got %.6f, printed %s", what, got, printed)
			}
		}
	}
}

func TestResistivityLevels(t *testing.T) {
	var days []CheckDay
	var probes []string
	for _, row := range published(t, "nist_resistivity.csv") {
		days = append(days, CheckDay{Artifact: row["wafer"], Run: row["run"], N: 6, Average: num(t, row["average"]), SD: num(t, row["stddev"])})
		probes = append(probes, row["probe"])
	}
	for _, row := range published(t, "nist_resistivity_expected.csv") {
		var own []CheckDay
		for i, d := range days {
			if probes[i] == row["probe"] && (row["wafer"] == "all" || row["wafer"] == d.Artifact) {
				own = append(own, d)
			}
		}
		r, err := Levels(own)
		if err != nil {
			t.Fatal(err)
		}
		what := row["probe"] + " wafer " + row["wafer"]
		near(t, what+" level 1 sum", square(r.Short)*float64(r.ShortDF), num(t, row["ss_level1"]), 1e-7)
		if r.ShortDF != int(num(t, row["df_level1"])) || r.DayDF != r.ShortDF/6 || r.RunDF != r.ShortDF/60 {
			t.Errorf("%s: degrees of freedom %d, %d, %d", what, r.ShortDF, r.DayDF, r.RunDF)
		}
		near(t, what+" s1", r.Short, num(t, row["s1_repeatability"]), 2e-7)
		near(t, what+" s2", r.Day, num(t, row["s2_day_to_day(df 10 a wafer, 50 all)"]), 2e-7)
		near(t, what+" s3", r.Run, num(t, row["s3_run_to_run(df 1 a wafer, 5 all)"]), 2e-7)
		near(t, what+" days alone", *r.DayAlone, math.Sqrt(max(0, square(r.Day)-square(r.Short)/6)), 1e-12)
	}
}
