package main

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

func TestOrphansAreGeneratedFilesWithoutSource(t *testing.T) {
	files := []string{"web/page/day.go", "web/page/day_templ.go", "web/page/gone_templ.go"}
	got := orphans(files, func(path string) bool { return path == "web/page/day.templ" })
	if !slices.Equal(got, []string{"web/page/gone_templ.go"}) {
		t.Errorf("got %v, want the one whose .templ is gone", got)
	}
}

// write puts files into a fresh folder and makes it the working folder of the test.
func write(t *testing.T, files map[string]string) {
	t.Helper()
	t.Chdir(t.TempDir())
	for path, text := range files {
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

func TestFormatCheckSeesHandWrittenFilesOnly(t *testing.T) {
	const tidy, untidy = "package a\n\nvar x = 1\n", "package a\nvar   x = 1\n"
	write(t, map[string]string{"a/a.go": tidy, "a/page_templ.go": untidy, ".hidden/b.go": untidy})
	if err := checkFormat(); err != nil {
		t.Errorf("tidy files: %v", err)
	}
	write(t, map[string]string{"a/a.go": tidy, "b/b.go": untidy})
	if err := checkFormat(); err == nil || !strings.Contains(err.Error(), "1 files") {
		t.Errorf("one untidy file: %v, want a complaint about 1", err)
	}
	write(t, map[string]string{"a/a.go": "package a\nfunc {"})
	if err := checkFormat(); err == nil || !strings.Contains(err.Error(), "a/a.go") {
		t.Errorf("a file that is not Go: %v, want its name", err)
	}
}

func TestAllRunsEveryStepAndNamesTheFailed(t *testing.T) {
	var ran []string
	record := func(name string, err error) step {
		return step{name, func() error { ran = append(ran, name); return err }}
	}
	err := all([]step{record("one", os.ErrInvalid), record("two", nil), record("three", os.ErrInvalid)})
	if err == nil || err.Error() != "failed: one, three" {
		t.Errorf("got %v, want both failed steps named", err)
	}
	if got := strings.Join(ran, " "); got != "one two three" {
		t.Errorf("ran %s, want all three", got)
	}
}

func TestInOrderStopsAtTheFirstFailure(t *testing.T) {
	second := false
	err := inOrder([]step{
		{"one", func() error { return os.ErrInvalid }},
		{"two", func() error { second = true; return nil }},
	})
	if err == nil || err.Error() != "failed: one" || second {
		t.Errorf("got %v, second ran: %v; want to stop at one", err, second)
	}
}

// What go test -json prints for two packages, shortened.
const jsonOfTwoPackages = `{"Action":"start","Package":"coatbook/quality"}
{"Action":"run","Package":"coatbook/quality","Test":"TestThin"}
{"Action":"output","Package":"coatbook/quality","Test":"TestThin","Output":"=== RUN   TestThin\n"}
{"Action":"output","Package":"coatbook/quality","Test":"TestThin","Output":"    film_test.go:9: got 41 µm, want 60 µm\n"}
{"Action":"fail","Package":"coatbook/quality","Test":"TestThin","Elapsed":0}
{"Action":"output","Package":"coatbook/quality","Test":"TestThick","Output":"=== RUN   TestThick\n"}
{"Action":"pass","Package":"coatbook/quality","Test":"TestThick","Elapsed":0}
{"Action":"output","Package":"coatbook/quality","Output":"FAIL\n"}
{"Action":"output","Package":"coatbook/quality","Output":"FAIL\tcoatbook/quality\t0.010s\n"}
{"Action":"fail","Package":"coatbook/quality","Elapsed":0.01}
{"Action":"output","Package":"coatbook/store","Test":"TestAway","Output":"    a_test.go:3: no database\n"}
{"Action":"skip","Package":"coatbook/store","Test":"TestAway","Elapsed":0}
{"Action":"output","Package":"coatbook/store","Output":"PASS\n"}
{"Action":"output","Package":"coatbook/store","Output":"ok  \tcoatbook/store\t0.020s\n"}
{"Action":"pass","Package":"coatbook/store","Elapsed":0.02}
`

func TestReportShowsFailuresAndClosingLines(t *testing.T) {
	var out strings.Builder
	got, err := report(strings.NewReader(jsonOfTwoPackages), &out)
	if err != nil {
		t.Fatal(err)
	}
	if want := "1 passed, 1 failed, 1 skipped"; got.String() != want {
		t.Errorf("counted %s, want %s", got, want)
	}
	if !slices.Equal(got.skipped, []string{"coatbook/store.TestAway"}) {
		t.Errorf("skipped %v, want the test by name", got.skipped)
	}
	for _, want := range []string{"got 41 µm, want 60 µm", "FAIL\tcoatbook/quality", "ok  \tcoatbook/store", "no database"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("the report does not show %q", want)
		}
	}
	for _, noise := range []string{"TestThick", "PASS\n"} {
		if strings.Contains(out.String(), noise) {
			t.Errorf("the report shows %q, which nobody needs", noise)
		}
	}
}

func TestReportShowsWhatAPanickingTestPrinted(t *testing.T) {
	const panicking = `{"Action":"output","Package":"coatbook/web","Test":"TestDay","Output":"panic: nil map\n"}
{"Action":"output","Package":"coatbook/web","Output":"FAIL\tcoatbook/web\t0.010s\n"}
{"Action":"fail","Package":"coatbook/web","Elapsed":0.01}
`
	var out strings.Builder
	if _, err := report(strings.NewReader(panicking), &out); err != nil {
		t.Fatal(err)
	}
	if want := "panic: nil map\nFAIL\tcoatbook/web\t0.010s\n"; out.String() != want {
		t.Errorf("got %q, want %q", out.String(), want)
	}
}

func TestReportPassesOtherTextThrough(t *testing.T) {
	const mixed = "go: downloading something\n" + `{"Action":"build-output","ImportPath":"coatbook/web","Output":"web/day.go:3: undefined: x\n"}`
	var out strings.Builder
	if _, err := report(strings.NewReader(mixed), &out); err != nil {
		t.Fatal(err)
	}
	if want := "go: downloading something\nweb/day.go:3: undefined: x\n"; out.String() != want {
		t.Errorf("got %q, want %q", out.String(), want)
	}
}

func TestFlagsRefuseStrayArguments(t *testing.T) {
	if err := flags("lint", []string{"web"}, nil); err == nil || !strings.Contains(err.Error(), `"web"`) {
		t.Errorf("got %v, want a refusal of web", err)
	}
	if err := flags("lint", nil, nil); err != nil {
		t.Errorf("no argument: %v", err)
	}
}
