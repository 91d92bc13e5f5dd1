package main

import (
	"strings"
	"testing"
)

// What go test -bench prints, shortened.
const printedByBench = `goos: linux
pkg: coatbook/store/demoshop
BenchmarkSaveFilm-2   	       1	       505.0 bare_saves/s	         0.8061 of_bare_pgx	       407.1 saves/s
pkg: coatbook/cmd/coatbook
BenchmarkDemoShop/day-2          	       1	        11.20 p50_ms	        48.25 p95_ms
BenchmarkDemoShop/start
BenchmarkDemoShop/start-2        	       1	         0.812 second_start_s
PASS
`

func TestSummaryTellsFiguresWithTheirAims(t *testing.T) {
	measured := map[string]float64{}
	if err := readFigures(strings.NewReader(printedByBench), measured); err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	summary(&out, measured)
	want := `
Film checks saved a second by 8 clients                        407
  of the rate of the same statements through bare pgx         0.81  aim: at least 0.70
Second start on its data folder, until ready                0.81 s  aim: at most 2.00 s
Day page, half of the requests within                      11.2 ms
  95 of 100 within                                         48.2 ms  aim: at most 40.0 ms, missed
`
	if out.String() != want {
		t.Errorf("got\n%s\nwant\n%s", out.String(), want)
	}
}

func TestBenchGroupsAreChosenByName(t *testing.T) {
	got, err := chooseGroups("demo,saves")
	if err != nil || len(got) != 2 || got[0].name != "saves" || got[1].name != "demo" {
		t.Errorf("got %v %v, want saves and demo", got, err)
	}
	if _, err := chooseGroups("demo,speed"); err == nil || !strings.Contains(err.Error(), `"speed"`) {
		t.Errorf("got %v, want the unknown group named", err)
	}
	trace, err := chooseGroups("trace")
	if err != nil {
		t.Fatal(err)
	}
	told := strings.Join(trace[0].command(benchOptions{parts: 1_000_000, keep: "/kept"}), " ")
	if !strings.HasSuffix(told, "./store/demoshop -args -parts=1000000 -keep=/kept") {
		t.Errorf("trace is run by go %s, want it told how many parts and where to keep them", told)
	}
	if all, err := chooseGroups(""); err != nil || len(all) != len(benchGroups) {
		t.Errorf("got %v %v, want all groups", all, err)
	}
}
