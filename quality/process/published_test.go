package process

import (
	"encoding/csv"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// published reads a file of check values; its first line names source and status.
func published(t testing.TB, name string) []map[string]string {
	t.Helper()
	file, err := os.Open(filepath.Join("..", "..", "testdata", "published", filepath.FromSlash(name)))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = file.Close() }()
	reader := csv.NewReader(file)
	reader.Comment = '#'
	lines, err := reader.ReadAll()
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	if len(lines) < 2 {
		t.Fatalf("%s has no rows", name)
	}
	rows := make([]map[string]string, 0, len(lines)-1)
	for _, line := range lines[1:] {
		row := map[string]string{}
		for i, column := range lines[0] {
			row[column] = line[i]
		}
		rows = append(rows, row)
	}
	return rows
}

// column reads one number column of a file.
func column(t testing.TB, name, column string) []float64 {
	t.Helper()
	var values []float64
	for _, row := range published(t, name) {
		values = append(values, num(t, row, column))
	}
	return values
}

// num reads one cell, which must be a number.
func num(t testing.TB, row map[string]string, column string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(row[column], 64)
	if err != nil {
		t.Fatalf("column %s of %v: %v", column, row, err)
	}
	return x
}

// integer reads one cell, which must be a whole number.
func integer(t testing.TB, row map[string]string, column string) int {
	t.Helper()
	return int(num(t, row, column))
}

// optional reads a cell that may be blank.
func optional(t testing.TB, row map[string]string, column string) *float64 {
	t.Helper()
	if row[column] == "" {
		return nil
	}
	return new(num(t, row, column))
}

// groupsOf reads readings with a subgroup column, in order.
func groupsOf(t testing.TB, name, by, value string) (groups []Summary, readings []float64) {
	t.Helper()
	previous := ""
	for _, row := range published(t, name) {
		if row[by] != previous {
			groups = append(groups, Summary{})
			previous = row[by]
		}
		x := num(t, row, value)
		if err := groups[len(groups)-1].Add(x); err != nil {
			t.Fatal(err)
		}
		readings = append(readings, x)
	}
	return groups, readings
}

// near fails unless got is want to a relative tolerance; near 0 the tolerance is absolute.
func near(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*max(1e-3, math.Abs(want))) {
		t.Errorf("%s: got %.15g, want %.15g (relative tolerance %g)", what, got, want, tolerance)
	}
}

// nearOrNone is near for a figure that the source may leave undefined.
func nearOrNone(t testing.TB, what string, got, want *float64, tolerance float64) {
	t.Helper()
	switch {
	case got == nil && want == nil:
	case got == nil:
		t.Errorf("%s: not defined, want %g", what, *want)
	case want == nil:
		t.Errorf("%s: got %g, want not defined", what, *got)
	default:
		near(t, what, *got, *want, tolerance)
	}
}

func fails(t testing.TB, what string, err, want error) {
	t.Helper()
	if !errors.Is(err, want) {
		t.Errorf("%s: got error %v, want %v", what, err, want)
	}
}

func summarize(t testing.TB, values ...float64) Summary {
	t.Helper()
	s, err := Summarize(values)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// points reads a list such as "19;20", counted from 1, into positions counted from 0; "none" is empty.
func points(t testing.TB, list string) []int {
	t.Helper()
	result := []int{}
	if list == "none" {
		return result
	}
	for word := range strings.SplitSeq(list, ";") {
		n, err := strconv.Atoi(word)
		if err != nil {
			t.Fatal(err)
		}
		result = append(result, n-1)
	}
	return result
}

// ends are the completing points of the signals of a rule.
func ends(signals []Signal, rule Rule) []int {
	result := []int{}
	for _, s := range signals {
		if s.Rule == rule {
			result = append(result, s.Points[len(s.Points)-1])
		}
	}
	return result
}
