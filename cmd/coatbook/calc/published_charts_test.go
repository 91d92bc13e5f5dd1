package calc

import (
	"fmt"
	"strconv"
	"strings"
	"testing"
)

func TestPublishedConstants(t *testing.T) {
	for _, row := range published(t, "control-charts/constants.csv") {
		got := figures(t, "", "constants", "--n", row["n"])
		for key, column := range map[string]string{"d2": "d2", "d3": "d3", "c4": "c4", "a2": "A2", "a3": "A3", "b3": "B3", "b4": "B4", "d3_limit": "D3", "d4_limit": "D4", "e2": "E2",
			"a": "A", "b5": "B5", "b6": "B6", "d1_limit": "D1", "d2_limit": "D2", "e3": "E3"} {
			absolute(t, got, key, row[column], 6e-9)
		}
	}
	for _, row := range published(t, "control-charts/constants_published_vs_exact.csv") {
		got := figures(t, "", "constants", "--n", row["n"])
		key := map[string]string{"D3": "d3_limit", "D4": "d4_limit"}[row["constant"]]
		if key == "" {
			key = strings.ToLower(row["constant"])
		}
		absolute(t, got, key, row["exact"], 1e-6)
	}
}

func expectedOf(t *testing.T, file, chart string) map[string]string {
	out := map[string]string{}
	for _, row := range published(t, file) {
		if row["chart"] == chart {
			out[row["item"]] = row["expected"]
		}
	}
	if len(out) == 0 {
		t.Fatalf("%s has no %s", file, chart)
	}
	return out
}

// beyond lists the points at which rule n1 signals, as “45;46;189”, or “none”.
func beyond(t *testing.T, object any, path string) string {
	t.Helper()
	var points []string
	for _, s := range follow(t, object, path).([]any) {
		signal := s.(map[string]any)
		list := signal["points"].([]any)
		if signal["rule"] == "n1" {
			points = append(points, fmt.Sprint(list[len(list)-1]))
		}
	}
	if points == nil {
		return "none"
	}
	return strings.Join(points, ";")
}

func TestPublishedIndividuals(t *testing.T) {
	for set, column := range map[string]string{"flowrate": "flowrate", "zarr13": "y"} {
		w := expectedOf(t, "control-charts/expected.csv", "individuals:"+set)
		got := figures(t, "", "chart", "--kind", "individuals", "--value", column, publishedFolder+"control-charts/"+set+".csv")
		want(t, got, "center", w["mean"], 1e-9)
		want(t, got, "sigma", w["sigma_mr"], 1e-8) // the published figures used constants of eight decimals
		want(t, got, "upper.0", w["ucl_x"], 1e-9)
		want(t, got, "lower.0", w["lcl_x"], 1e-9)
		want(t, got, "dispersion.center", w["mr_bar"], 1e-9)
		want(t, got, "dispersion.upper.0", w["ucl_mr"], 1e-9)
		want(t, got, "dispersion.lower.0", w["lcl_mr"], 1e-9)
		if out := beyond(t, got, "signals"); out != w["points_outside"] {
			t.Errorf("%s: points beyond %s, want %s", set, out, w["points_outside"])
		}
		if out := beyond(t, got, "dispersion.signals"); out != w["mr_outside(index of later point)"] {
			t.Errorf("%s: ranges beyond %s, want %s", set, out, w["mr_outside(index of later point)"])
		}
	}
	if r := run("y\n70\n70\n70\n70\n70\n70\n", "chart", "--kind", "individuals", "--value", "y"); r.status != 2 || !strings.Contains(r.errors, "all 6 values are 70") {
		t.Errorf("equal values: status %d, %s", r.status, r.errors)
	}
}

func TestPublishedSubgroupCharts(t *testing.T) {
	for set, columns := range map[string][2]string{"thickness": {"day", "thickness"}, "gear": {"batch", "diameter"}} {
		w := expectedOf(t, "control-charts/expected.csv", "subgroups:"+set)
		file := publishedFolder + "control-charts/" + set + ".csv"
		for kind, letter := range map[string]string{"xbar-r": "R", "xbar-s": "S"} {
			got := figures(t, "", "chart", "--kind", kind, "--value", columns[1], "--by", columns[0], file)
			want(t, got, "center", w["grand_mean"], 1e-9)
			want(t, got, "sigma", w["sigma_"+letter], 1e-8)
			want(t, got, "dispersion.center", w[letter+"_bar"], 1e-9)
			for item, path := range map[string]string{"ucl_xbar_" + letter: "upper.0", "lcl_xbar_" + letter: "lower.0", "ucl_" + letter: "dispersion.upper.0", "lcl_" + letter: "dispersion.lower.0"} {
				text, there := w[item]
				if !there {
					t.Errorf("%s: no item %s among the published", set, item)
					continue
				}
				want(t, got, path, text, 3e-8) // constants of eight decimals, magnified where limits nearly cancel
			}
		}
	}
}

func TestPublishedCusum(t *testing.T) {
	rows := published(t, "control-charts/cusum_nist.csv")
	got := figures(t, "", "chart", "--kind", "cusum", "--value", "mean", "--target", "325", "--k", "0.3175", "--h", "4.1959", publishedFolder+"control-charts/cusum_nist.csv")
	first := ""
	for i, row := range rows {
		absolute(t, got, fmt.Sprintf("high.%d", i), row["S_hi"], 6e-5)
		absolute(t, got, fmt.Sprintf("low.%d", i), row["S_lo"], 6e-5)
		if row["signal_hi"] == "1" && first == "" {
			first = row["group"]
		}
	}
	points := follow(t, got, "signals.0.points").([]any)
	if last := fmt.Sprint(points[len(points)-1]); last != first || follow(t, got, "signals.0.rule") != "cusum-high" {
		t.Errorf("first signal at %s, want %s", last, first)
	}
}

func TestPublishedEWMA(t *testing.T) {
	rows := published(t, "control-charts/ewma_nist.csv")
	got := figures(t, "", "chart", "--kind", "ewma", "--value", "x", "--lambda", "0.3", "--target", "50", "--sigma", "2.0539", publishedFolder+"control-charts/ewma_nist.csv")
	for i, row := range rows {
		absolute(t, got, fmt.Sprintf("points.%d", i), row["ewma"], 6e-6)
		absolute(t, got, fmt.Sprintf("upper.%d", i), row["ucl_exact"], 6e-6)
		absolute(t, got, fmt.Sprintf("lower.%d", i), row["lcl_exact"], 6e-6)
		absolute(t, got, "upper_asymptotic", row["ucl_asymptotic"], 6e-6)
		absolute(t, got, "lower_asymptotic", row["lcl_asymptotic"], 6e-6)
	}
}

func TestPublishedRunRules(t *testing.T) {
	series := published(t, "run-rules/series.csv")
	for _, row := range published(t, "run-rules/expected.csv") {
		input := rowsOf(series, func(r map[string]string) bool { return r["series"] == row["series"] }, "z")
		got := figures(t, input, "chart", "--kind", "individuals", "--value", "z", "--target", "0", "--sigma", "1", "--rules", strings.ToLower(row["rule"]))
		var ends []string
		for _, s := range follow(t, got, "signals").([]any) {
			points := s.(map[string]any)["points"].([]any)
			ends = append(ends, fmt.Sprint(points[len(points)-1]))
		}
		out := strings.Join(ends, ";")
		if out == "" {
			out = "none"
		}
		if out != row["signal_points"] {
			t.Errorf("%s, %s: signals at %s, want %s", row["series"], row["rule"], out, row["signal_points"])
		}
	}
}

func TestPublishedCountCharts(t *testing.T) {
	file := "attributes/expected.csv"
	folder := publishedFolder + "attributes/"
	c := expectedOf(t, file, "c:nist_wafers")
	got := figures(t, "", "chart", "--kind", "c", "--value", "defects", folder+"nist_c_wafers.csv")
	want(t, got, "center", c["c_bar"], 1e-9)
	want(t, got, "upper.0", c["ucl"], 1e-9)
	want(t, got, "lower.0", c["lcl"], 1e-9)
	if out := beyond(t, got, "signals"); out != c["outside"] {
		t.Errorf("c: beyond %s, want %s", out, c["outside"])
	}
	for set, data := range map[string]string{"p:nist_wafers": "nist_p_wafers.csv", "p:motors": "motors_p.csv"} {
		p := expectedOf(t, file, set)
		got := figures(t, "", "chart", "--kind", "p", "--value", "defective", "--size", "n", folder+data)
		want(t, got, "center", p["p_bar"], 1e-9)
		for item, text := range p {
			side, point, numbered := strings.Cut(item, "_")
			if i, err := strconv.Atoi(point); numbered && err == nil {
				want(t, got, fmt.Sprintf("%s.%d", map[string]string{"ucl": "upper", "lcl": "lower"}[side], i-1), text, 1e-9)
			}
		}
		if out := beyond(t, got, "signals"); out != p["outside"] {
			t.Errorf("%s: beyond %s, want %s", set, out, p["outside"])
		}
	}
	p := expectedOf(t, file, "p:nist_wafers")
	got = figures(t, "", "chart", "--kind", "np", "--value", "defective", "--size", "n", folder+"nist_p_wafers.csv")
	want(t, got, "center", p["np_bar"], 1e-9)
	want(t, got, "upper.0", p["np_ucl"], 1e-9)
	want(t, got, "lower.0", p["np_lcl"], 1e-9)
	u := expectedOf(t, file, "u:wire")
	rows := published(t, "attributes/wire_u.csv")
	got = figures(t, "", "chart", "--kind", "u", "--value", "cracks", "--size", "length_m", folder+"wire_u.csv")
	want(t, got, "center", u["u_bar"], 1e-9)
	want(t, got, "upper.0", u["ucl_1"], 1e-9)
	want(t, got, "lower.0", u["lcl_1"], 1e-9)
	want(t, got, fmt.Sprintf("upper.%d", len(rows)-1), u["ucl_last"], 1e-9)
	if out := beyond(t, got, "signals"); out != u["outside"] {
		t.Errorf("u: beyond %s, want %s", out, u["outside"])
	}
}
