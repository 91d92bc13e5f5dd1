package main

import (
	"encoding/csv"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// requirementCounts is how many rows each chapter of the requirements has: quality records, electronic records, security,
// tablet, data exchange, statistics, reliability, safety notes.
var requirementCounts = []struct {
	chapter string
	rows    int
}{{"Q", 36}, {"E", 21}, {"S", 31}, {"T", 28}, {"D", 20}, {"A", 17}, {"R", 18}, {"H", 9}}

// traceRow is one line of testdata/requirements.csv.
type traceRow struct {
	id, requirement string
	tests           []string // none while the row is not met
}

// readTrace reads the trace from requirements to tests, and says what is wrong with its form.
func readTrace(text string) ([]traceRow, error) {
	lines, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		return nil, err
	}
	if len(lines) == 0 || !slices.Equal(lines[0], []string{"id", "requirement", "tests"}) {
		return nil, fmt.Errorf("the columns are not id, requirement, tests")
	}
	rows := make([]traceRow, 0, len(lines))
	for _, line := range lines[1:] {
		row := traceRow{id: line[0], requirement: line[1]}
		if strings.TrimSpace(row.requirement) == "" {
			return nil, fmt.Errorf("%s has no words", row.id)
		}
		if line[2] != "" {
			row.tests = strings.Split(line[2], ";")
		}
		rows = append(rows, row)
	}
	return rows, nil
}

// traceFaults lists what is wrong with rows when these tests exist: a test that does not, one named twice in its row, an
// identity that is missing, unknown, doubled or out of order.
func traceFaults(rows []traceRow, exists map[string]bool) []string {
	var faults, want, got []string
	for _, c := range requirementCounts {
		for n := 1; n <= c.rows; n++ {
			want = append(want, fmt.Sprintf("%s-%d", c.chapter, n))
		}
	}
	for _, row := range rows {
		if slices.Contains(got, row.id) {
			faults = append(faults, row.id+" stands there twice")
		}
		if !slices.Contains(want, row.id) {
			faults = append(faults, row.id+" is not a requirement")
		}
		got = append(got, row.id)
		for i, test := range row.tests {
			if !exists[test] {
				faults = append(faults, fmt.Sprintf("%s names %q, which is no test", row.id, test))
			}
			if slices.Contains(row.tests[:i], test) {
				faults = append(faults, fmt.Sprintf("%s names %s twice", row.id, test))
			}
		}
	}
	for _, id := range want {
		if !slices.Contains(got, id) {
			faults = append(faults, id+" is missing")
		}
	}
	if len(faults) == 0 && !slices.Equal(got, want) {
		faults = append(faults, "the rows are not in order")
	}
	return faults
}

var testFunction = regexp.MustCompile(`(?m)^func (Test\w+)\(\w+ \*testing\.T\)`)

func TestRequirementsNameTestsThatExist(t *testing.T) {
	exists := map[string]bool{}
	walkGo(t, func(file string) {
		if !strings.HasSuffix(file, "_test.go") {
			return
		}
		for _, m := range testFunction.FindAllStringSubmatch(readFile(t, file), -1) {
			exists[m[1]] = true
		}
	})
	rows, err := readTrace(readFile(t, "testdata/requirements.csv"))
	if err != nil {
		t.Fatal(err)
	}
	for _, fault := range traceFaults(rows, exists) {
		t.Error(fault)
	}
}

func TestFaultsOfTheTraceAreSeen(t *testing.T) {
	good := func() []traceRow {
		var rows []traceRow
		for _, c := range requirementCounts {
			for n := 1; n <= c.rows; n++ {
				rows = append(rows, traceRow{id: fmt.Sprintf("%s-%d", c.chapter, n), requirement: "words"})
			}
		}
		return rows
	}
	exists := map[string]bool{"TestThin": true}
	if rows := good(); len(rows) != 180 || len(traceFaults(rows, exists)) > 0 {
		t.Fatalf("%d rows, faults %v; want 180 and none", len(rows), traceFaults(rows, exists))
	}
	for _, c := range []struct {
		name, want string
		spoil      func(rows []traceRow) []traceRow
	}{
		{"unknown test", `Q-1 names "TestGone", which is no test`, func(r []traceRow) []traceRow { r[0].tests = []string{"TestThin", "TestGone"}; return r }},
		{"test named twice", "Q-1 names TestThin twice", func(r []traceRow) []traceRow { r[0].tests = []string{"TestThin", "TestThin"}; return r }},
		{"row missing", "H-9 is missing", func(r []traceRow) []traceRow { return r[:179] }},
		{"row doubled", "Q-1 stands there twice", func(r []traceRow) []traceRow { return append(r, r[0]) }},
		{"row unknown", "Q-37 is not a requirement", func(r []traceRow) []traceRow { return append(r, traceRow{id: "Q-37"}) }},
		{"out of order", "the rows are not in order", func(r []traceRow) []traceRow { r[0], r[1] = r[1], r[0]; return r }},
	} {
		if faults := traceFaults(c.spoil(good()), exists); !slices.Contains(faults, c.want) {
			t.Errorf("%s: faults %v, want %q", c.name, faults, c.want)
		}
	}
	if _, err := readTrace("id,requirement\nQ-1,words\n"); err == nil {
		t.Error("a trace without the column of tests was taken")
	}
	if _, err := readTrace("id,requirement,tests\nQ-1,,TestThin\n"); err == nil {
		t.Error("a row without words was taken")
	}
}
