package colour

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"
)

// published reads a table of published values; its first line is a comment that names the source.
func published(t *testing.T, name string) []map[string]float64 {
	t.Helper()
	file, err := os.Open("../../testdata/published/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	r := csv.NewReader(file)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil || len(rows) < 2 {
		t.Fatalf("%s: %d rows, %v", name, len(rows), err)
	}
	var out []map[string]float64
	for _, row := range rows[1:] {
		m := map[string]float64{}
		for i, key := range rows[0] {
			if m[key], err = strconv.ParseFloat(row[i], 64); err != nil {
				t.Fatal(err)
			}
		}
		out = append(out, m)
	}
	return out
}

func TestPublishedPairs(t *testing.T) {
	for _, row := range published(t, "colour/ciede2000_pairs.csv") {
		one, two := Lab{row["L1"], row["a1"], row["b1"]}, Lab{row["L2"], row["a2"], row["b2"]}
		for name, c := range map[string]struct {
			of              func(a, b Lab) (float64, error)
			want, tolerance float64
		}{
			"ΔE00 as printed":    {CIEDE2000, row["dE00_published"], 5.0001e-5},
			"ΔE00 recomputed":    {CIEDE2000, row["dE00_recomputed"], 1e-9},
			"ΔE*ab recomputed":   {CIE76, row["dE_ab_1976"], 5.0001e-7},
			"ΔE00, pair swapped": {func(a, b Lab) (float64, error) { return CIEDE2000(b, a) }, row["dE00_recomputed"], 1e-9},
		} {
			if got, err := c.of(one, two); err != nil || math.Abs(got-c.want) > c.tolerance {
				t.Errorf("pair %v, %s: %.10f, want %.10f (%v)", row["pair"], name, got, c.want, err)
			}
		}
	}
}

// The other pairs of Sharma, Wu and Dalal (2005), as far as remembered (from memory, unverified): they are told apart by
// the last digit of a coordinate where the hues are opposite.
func TestPairsWithOppositeHues(t *testing.T) {
	for _, c := range []struct {
		one, two Lab
		want     float64
	}{
		{Lab{50, -1, 2}, Lab{50, 0, 0}, 2.3669},
		{Lab{50, 2.49, -0.001}, Lab{50, -2.49, 0.0009}, 7.1792},
		{Lab{50, 2.49, -0.001}, Lab{50, -2.49, 0.0010}, 7.1792},
		{Lab{50, 2.49, -0.001}, Lab{50, -2.49, 0.0011}, 7.2195},
		{Lab{50, -0.001, 2.49}, Lab{50, 0.0009, -2.49}, 4.8045},
		{Lab{50, -0.001, 2.49}, Lab{50, 0.0010, -2.49}, 4.8045},
		{Lab{50, -0.001, 2.49}, Lab{50, 0.0011, -2.49}, 4.7461},
		{Lab{50, 2.5, 0}, Lab{61, -5, 29}, 22.8977},
		{Lab{50, 2.5, 0}, Lab{58, 24, 15}, 19.4535},
		{Lab{22.7233, 20.0904, -46.6940}, Lab{23.0331, 14.9730, -42.5619}, 2.0373},
		{Lab{2.0776, 0.0795, -1.1350}, Lab{0.9033, -0.0636, -0.5514}, 0.9082},
	} {
		there, err := CIEDE2000(c.one, c.two)
		back, errBack := CIEDE2000(c.two, c.one)
		if err != nil || errBack != nil || math.Abs(there-c.want) > 5.0001e-5 || math.Abs(there-back) > 1e-12 {
			t.Errorf("%v and %v: %.6f, swapped %.6f, want %.4f", c.one, c.two, there, back, c.want)
		}
	}
}

// Values of the tests of a general colour library, colour-science for Python (seen), to the digits printed there; the last
// row is printed in another library's documentation (seen).
func TestCMC(t *testing.T) {
	reference := Lab{100, 21.57210357, 272.22819350}
	for _, c := range []struct {
		standard, sample  Lab
		lightness, chroma float64
		want, tolerance   float64
	}{
		{reference, Lab{100, 426.67945353, 72.39590835}, 2, 1, 172.70477129, 5e-9},
		{reference, Lab{100, 74.05216981, 276.45318193}, 2, 1, 20.59732717, 5e-9},
		{reference, Lab{100, 8.32281957, -73.58297716}, 1, 1, 121.71841479, 5e-9},
		{Lab{48.99183622, -0.10561667, 400.65619925}, Lab{50.65907324, -0.11671910, 402.82235718}, 2, 1, 0.899699975683419, 1e-12},
		{Lab{50, 2.6772, -79.7751}, Lab{50, 0, -82.7485}, 2, 1, 1.7387, 5e-5},
	} {
		if got, err := CMC(c.standard, c.sample, c.lightness, c.chroma); err != nil || math.Abs(got-c.want) > c.tolerance {
			t.Errorf("%v and %v, %v:%v: %.10f, want %.10f (%v)", c.standard, c.sample, c.lightness, c.chroma, got, c.want, err)
		}
	}
}
