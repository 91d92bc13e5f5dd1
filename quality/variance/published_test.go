package variance

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// published reads a file of check values; its first line names source and status.
func published(t testing.TB, name string) (header []string, rows [][]string) {
	t.Helper()
	file, err := os.Open(filepath.Join("..", "..", "testdata", "published", filepath.FromSlash(name)))
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
	return lines[0], lines[1:]
}

// nested reads a data file: value column and factors, outermost first.
func nested(t testing.TB, name, value string, by ...string) ([]float64, []Factor) {
	t.Helper()
	header, rows := published(t, "variance-components/"+name+".csv")
	var values []float64
	for _, row := range rows {
		values = append(values, number(t, row[slices.Index(header, value)]))
	}
	var factors []Factor
	for _, name := range by {
		f := Factor{Name: name}
		for _, row := range rows {
			f.Labels = append(f.Labels, row[slices.Index(header, name)])
		}
		factors = append(factors, f)
	}
	return values, factors
}

func number(t testing.TB, text string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// near fails unless got is want to a relative tolerance.
func near(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*math.Abs(want)) {
		t.Errorf("%s: got %.15g, want %.15g (relative tolerance %g)", what, got, want, tolerance)
	}
}

// load reads one of the nested sets of the published files.
func load(t testing.TB, set string) ([]float64, []Factor) {
	t.Helper()
	switch set {
	case "nist_machine_operator":
		return nested(t, set, "y", "machine", "operator")
	case "three_level_book":
		return nested(t, set, "y", "a", "b", "c")
	}
	return nested(t, set, "film_um", "day", "rack", "part")
}

func TestPublishedMomentComponents(t *testing.T) {
	_, rows := published(t, "variance-components/expected_anova.csv")
	results := map[string]Result{}
	seen := map[string]int{}
	for _, row := range rows {
		set := row[0]
		r, ok := results[set]
		if !ok {
			values, factors := load(t, set)
			var err error
			if r, err = Moments(values, factors...); err != nil {
				t.Fatal(err)
			}
			results[set] = r
		}
		i := seen[set]
		seen[set]++
		line, part, what := r.Anova[i], r.Components[i], set+" "+row[1]
		if line.Factor != row[1] || part.Factor != row[1] || strconv.Itoa(line.DF) != row[2] {
			t.Errorf("%s: factor %s with %d df, want %s", what, line.Factor, line.DF, row[2])
		}
		// The file prints 12 significant digits of sums, 10 of components, 9 of coefficients.
		near(t, what+" SS", line.SS, number(t, row[3]), 6e-12)
		near(t, what+" MS", line.MS, number(t, row[4]), 6e-12)
		for j, c := range strings.Fields(row[5]) {
			near(t, what+" coefficient", line.EMS[j], number(t, c), 6e-9)
		}
		near(t, what+" raw", part.Raw, number(t, row[6]), 1e-9)
		near(t, what+" variance", part.Variance, number(t, row[7]), 1e-9)
		if part.AtZero != (part.Raw < 0) {
			t.Errorf("%s: AtZero %v with raw %g", what, part.AtZero, part.Raw)
		}
	}
}

func TestPublishedREML(t *testing.T) {
	_, rows := published(t, "variance-components/expected_reml.csv")
	results := map[string]Result{}
	seen := map[string]int{}
	for _, row := range rows {
		set := row[0]
		r, ok := results[set]
		if !ok {
			values, factors := load(t, set)
			var err error
			if r, err = REML(values, factors...); err != nil {
				t.Fatal(err)
			}
			results[set] = r
		}
		part := r.Components[seen[set]]
		seen[set]++
		// The file's program stops near 1e-5 relative.
		near(t, set+" "+row[1], part.Variance, number(t, row[2]), 1e-4)
		near(t, set+" mean", r.Mean, number(t, row[3]), 1e-7)
		near(t, set+" criterion", *r.Criterion, number(t, row[4]), 5e-9)
		if *r.Criterion > number(t, row[4])+5e-6 {
			t.Errorf("%s: criterion %.12g is above the other program's %s", set, *r.Criterion, row[4])
		}
	}
}

// Yield of dyestuff, six batches of five (Davies and Goldsmith 1972; data and the printed restricted estimates 1764 and 2451,
// criterion 319.6543, from memory; the balanced estimates follow from the mean squares 11271.5 and 2451.25 by hand).
func TestDyestuffBatches(t *testing.T) {
	values := []float64{
		1545, 1440, 1440, 1520, 1580, 1540, 1555, 1490, 1560, 1495, 1595, 1550, 1605, 1510, 1560,
		1445, 1440, 1595, 1465, 1545, 1595, 1630, 1515, 1635, 1625, 1520, 1455, 1450, 1480, 1445,
	}
	batch := Factor{Name: "batch"}
	for i := range values {
		batch.Labels = append(batch.Labels, strconv.Itoa(i/5))
	}
	r, err := REML(values, batch)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "between batches", r.Components[0].Variance, (11271.5-2451.25)/5, 1e-10)
	near(t, "inside batches", r.Components[1].Variance, 2451.25, 1e-10)
	near(t, "criterion", *r.Criterion, 319.6543, 2e-7)
	near(t, "mean", r.Mean, 1527.5, 1e-12)
}

// smls expands one of the generated sets.
func smls(t testing.TB, set string) ([]float64, Factor) {
	t.Helper()
	_, rows := published(t, "strd-anova/smls_generator.csv")
	var values []float64
	f := Factor{Name: "group"}
	for _, row := range rows {
		if row[0] != set {
			continue
		}
		whole, tenth, _ := strings.Cut(row[3], ".")
		for i := range int(number(t, row[2])) {
			digit := int(tenth[0]-'0') - 1 + 2*((i+1)%2)
			if i == 0 {
				digit = int(tenth[0] - '0')
			}
			values = append(values, number(t, whole+"."+strconv.Itoa(digit)))
			f.Labels = append(f.Labels, row[1])
		}
	}
	return values, f
}

func TestNISTAnalysisOfVarianceToItsDigits(t *testing.T) {
	_, rows := published(t, "strd-anova/expected.csv")
	for _, row := range rows {
		set := row[0]
		var values []float64
		var group Factor
		if set == "SiRstv" {
			_, data := published(t, "strd-anova/SiRstv.csv")
			group.Name = "instrument"
			for _, d := range data {
				values = append(values, number(t, d[1]))
				group.Labels = append(group.Labels, d[0])
			}
		} else {
			values, group = smls(t, set)
		}
		r, err := Moments(values, group)
		if err != nil {
			t.Fatal(err)
		}
		if strconv.Itoa(r.N) != row[1] || strconv.Itoa(r.Anova[0].Levels) != row[2] ||
			strconv.Itoa(r.Anova[0].DF) != row[3] || strconv.Itoa(r.Anova[1].DF) != row[7] {
			t.Errorf("%s: n %d, rows %+v", set, r.N, r.Anova)
		}
		// Also the sets with 13 equal leading digits: the decimals as typed hold all there is.
		near(t, set+" SS between", r.Anova[0].SS, number(t, row[4]), 2e-14)
		near(t, set+" MS between", r.Anova[0].MS, number(t, row[5]), 2e-14)
		near(t, set+" F", *r.Anova[0].F, number(t, row[6]), 2e-14)
		near(t, set+" SS within", r.Anova[1].SS, number(t, row[8]), 2e-14)
		near(t, set+" MS within", r.Anova[1].MS, number(t, row[9]), 2e-14)
		near(t, set+" R²", r.Anova[0].SS/(r.Anova[0].SS+r.Anova[1].SS), number(t, row[10]), 2e-14)
		near(t, set+" residual s", math.Sqrt(r.Anova[1].MS), number(t, row[11]), 2e-14)
		near(t, set+" component", r.Components[0].Variance, number(t, row[12]), 2e-8)
	}
}
