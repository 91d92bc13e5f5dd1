package sampling

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// published reads a file of check values; its first line names source and status.
func published(t testing.TB, name string) [][]string {
	t.Helper()
	file, err := os.Open(filepath.Join("..", "..", "testdata", "published", "sampling", name))
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
	return lines[1:]
}

func num(t testing.TB, text string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

func whole(t testing.TB, text string) int { return int(num(t, text)) }

func near(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*math.Abs(want)) {
		t.Errorf("%s: got %.15g, want %.15g (relative tolerance %g)", what, got, want, tolerance)
	}
}

func TestPublishedPlans(t *testing.T) {
	for _, row := range published(t, "single_plans_105E.csv") {
		what := strings.Join(row[:3], " ")
		p, err := SingleByLetter(row[1], num(t, row[2]), Severity(row[0]))
		if err != nil {
			t.Fatalf("%s: %v", what, err)
		}
		arrow := "own"
		if p.PlanLetter > p.CodeLetter {
			arrow = "down"
		} else if p.PlanLetter < p.CodeLetter {
			arrow = "up"
		}
		if arrow != row[3] || p.PlanLetter != row[4] || p.N != whole(t, row[5]) || p.Accept != whole(t, row[6]) || p.Reject != whole(t, row[7]) {
			t.Errorf("%s: got %s %s n %d (%d, %d), want %v", what, arrow, p.PlanLetter, p.N, p.Accept, p.Reject, row[3:])
		}
	}
}

func TestPublishedLookups(t *testing.T) {
	for _, row := range published(t, "lookups_105E.csv") {
		what := strings.Join(row[:4], " ")
		p, err := Single(whole(t, row[0]), Level(row[1]), num(t, row[2]), Severity(row[3]))
		if err != nil {
			t.Fatalf("%s: %v", what, err)
		}
		if p.CodeLetter != row[4] || p.PlanLetter != row[5] || p.N != whole(t, row[6]) || p.All != (row[7] != "") ||
			p.Accept != whole(t, row[8]) || p.Reject != whole(t, row[9]) {
			t.Errorf("%s: got %+v, want %v", what, p, row[4:])
		}
	}
}

func TestPublishedCodeLetters(t *testing.T) {
	for _, row := range published(t, "code_letters_105E.csv") {
		for _, lot := range row[:2] {
			if lot == "" {
				lot = "2000000"
			}
			for i, level := range levelNames {
				if got, err := CodeLetter(whole(t, lot), level); err != nil || got != row[2+i] {
					t.Errorf("lot %s level %s: got %s, %v, want %s", lot, level, got, err, row[2+i])
				}
			}
		}
	}
	for _, row := range published(t, "code_letters_414.csv") {
		for _, lot := range row[:2] {
			if lot == "" {
				lot = "2000000"
			}
			for i, level := range variablesLevels {
				p, err := Variables(whole(t, lot), level, 1, Normal)
				if err != nil || p.CodeLetter != row[2+i] {
					t.Errorf("variables, lot %s level %s: got %s, %v, want %s", lot, level, p.CodeLetter, err, row[2+i])
				}
			}
		}
	}
}

func TestPublishedSwitching(t *testing.T) {
	for _, row := range published(t, "switching.csv") {
		used, err := Severities(row[0])
		if err != nil {
			t.Fatal(err)
		}
		got := ""
		for _, s := range used {
			got += s.Letter()
		}
		if got != row[1] {
			t.Errorf("%s: got %s, want %s", row[0], got, row[1])
		}
	}
}

func TestPublishedVariablesPlans(t *testing.T) {
	for _, row := range published(t, "variables_414_s_method.csv") {
		what := row[0] + " at " + row[2]
		p, err := VariablesByLetter(row[0], num(t, row[2]), Normal)
		if err != nil {
			t.Fatal(err)
		}
		if row[3] == "down" {
			if p.PlanLetter <= p.CodeLetter {
				t.Errorf("%s: plan of %s, want one below", what, p.PlanLetter)
			}
			continue
		}
		if p.PlanLetter != row[0] || p.N != whole(t, row[1]) || p.K != num(t, row[4]) {
			t.Errorf("%s: got %s, n %d, k %g; want n %s, k %s", what, p.PlanLetter, p.N, p.K, row[1], row[4])
		}
		chance, err := p.AcceptProbability(p.AQL / 100)
		if err != nil {
			t.Fatal(err)
		}
		near(t, what+" acceptance at the AQL", chance, num(t, row[5]), 1e-6)
	}
}

func TestPublishedVariablesDecisions(t *testing.T) {
	for _, row := range published(t, "variables_worked.csv") {
		p, err := VariablesByLetter(row[2], num(t, row[3]), Normal)
		if err != nil {
			t.Fatal(err)
		}
		var readings []float64
		for _, word := range strings.Fields(row[1]) {
			readings = append(readings, num(t, word))
		}
		limit := func(text string) *float64 {
			if text == "" {
				return nil
			}
			return new(num(t, text))
		}
		d, err := p.Judge(readings, limit(row[4]), limit(row[5]))
		if err != nil {
			t.Fatal(err)
		}
		q := d.QLower
		if q == nil {
			q = d.QUpper
		}
		near(t, row[0]+" mean", d.Mean, num(t, row[6]), 1e-9)
		near(t, row[0]+" s", d.SD, num(t, row[7]), 1e-9)
		near(t, row[0]+" Q", *q, num(t, row[8]), 5e-8)
		if p.K != num(t, row[9]) || d.Accept != (row[10] == "accept") {
			t.Errorf("%s: k %g, accept %v, want %s, %s", row[0], p.K, d.Accept, row[9], row[10])
		}
	}
}

func TestPublishedOperatingCharacteristics(t *testing.T) {
	for _, row := range published(t, "oc_points.csv") {
		what := strings.Join(row[:4], " ")
		n, accept, lot, fraction := whole(t, row[0]), whole(t, row[1]), whole(t, row[2]), num(t, row[3])
		points, err := OC(lot, n, accept, []float64{fraction})
		if err != nil {
			t.Fatal(err)
		}
		poisson, err := AcceptPoisson(n, accept, fraction)
		if err != nil {
			t.Fatal(err)
		}
		if *points[0].Bad != whole(t, row[5]) {
			t.Errorf("%s: %d bad, want %s", what, *points[0].Bad, row[5])
		}
		// Ten printed digits; the guide asks for 1e-8.
		near(t, what+" binomial", points[0].Binomial, num(t, row[4]), 1e-9)
		near(t, what+" hypergeometric", *points[0].Hypergeometric, num(t, row[6]), 1e-9)
		near(t, what+" Poisson", poisson, num(t, row[7]), 1e-9)
	}
	for _, row := range published(t, "oc_quality_levels.csv") {
		for i, chance := range []float64{0.95, 0.50, 0.10} {
			p, err := QualityAt(whole(t, row[0]), whole(t, row[1]), chance)
			if err != nil {
				t.Fatal(err)
			}
			near(t, strings.Join(row[:2], " "), p, num(t, row[2+i]), 5e-8)
		}
	}
}

// The lot table of the trade reference, both ends of each row (seen in the Qualideco specification).
func TestCoatingLotTable(t *testing.T) {
	for _, c := range []struct{ from, to, n, accept int }{
		{11, 200, 10, 1}, {201, 300, 15, 1}, {301, 500, 20, 2}, {501, 800, 30, 3}, {801, 1300, 40, 3},
		{1301, 3200, 55, 4}, {3201, 8000, 75, 6}, {8001, 22000, 115, 8}, {22001, 110000, 150, 11},
	} {
		for _, lot := range []int{c.from, c.to} {
			p, err := CoatingLot(lot)
			if err != nil || p.N != c.n || p.Accept != c.accept || p.Reject != c.accept+1 || p.All {
				t.Errorf("lot %d: got %+v, %v", lot, p, err)
			}
		}
	}
	for _, lot := range []int{1, 10} {
		if p, err := CoatingLot(lot); err != nil || p.N != lot || p.Accept != 0 || !p.All {
			t.Errorf("lot %d: got %+v, %v", lot, p, err)
		}
	}
}
