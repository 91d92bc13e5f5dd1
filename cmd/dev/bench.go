package main

import (
	"bufio"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// A benchGroup is benchmarks that are run together.
type benchGroup struct {
	name     string
	packages []string
	args     []string
	own      func(benchOptions) []string // flags of the benchmark itself
}

// benchOptions are what the trace benchmark may be told.
type benchOptions struct {
	parts int
	keep  string
}

// benchGroups are all benchmarks. Those of the program make their own data and repeat what they measure themselves, so that
// one run of each is enough.
var benchGroups = []benchGroup{
	{name: "saves", packages: []string{"./store/demoshop"}, args: []string{"-bench=SaveFilm", "-benchtime=1x"}},
	{name: "demo", packages: []string{"./cmd/coatbook"}, args: []string{"-bench=DemoShop", "-benchtime=1x"}},
	{name: "trace", packages: []string{"./store/demoshop"}, args: []string{"-bench=Trace", "-benchtime=1x", "-timeout=3h"}, own: func(o benchOptions) []string {
		return []string{"-parts=" + strconv.Itoa(o.parts), "-keep=" + o.keep}
	}},
	{name: "computing", packages: []string{"./quality/...", "./web/..."}, args: []string{"-bench=.", "-benchmem"}},
}

// A figure is one line of the closing table: a metric of a benchmark, how it is written, and what it should reach.
type figure struct {
	benchmark, unit string
	text            string
	format          string
	atLeast, atMost float64 // zero where there is no aim
}

var figures = []figure{
	{benchmark: "SaveFilm", unit: "saves/s", text: "Film checks saved a second by 8 clients", format: "%.0f"},
	{benchmark: "SaveFilm", unit: "of_bare_pgx", text: "  of the rate of the same statements through bare pgx", format: "%.2f", atLeast: 0.7},
	{benchmark: "DemoShop/load", unit: "load_s", text: "Loading the demo shop", format: "%.1f s", atMost: 20},
	{benchmark: "DemoShop/start", unit: "second_start_s", text: "Second start on its data folder, until ready", format: "%.2f s", atMost: 2},
	{benchmark: "DemoShop/day", unit: "p50_ms", text: "Day page, half of the requests within", format: "%.1f ms"},
	{benchmark: "DemoShop/day", unit: "p95_ms", text: "  95 of 100 within", format: "%.1f ms", atMost: 40},
	{benchmark: "DemoShop/csv", unit: "rows/s", text: "Lines of readings.csv downloaded a second", format: "%.0f"},
	{benchmark: "DemoShop/csv", unit: "of_psql_copy", text: "  of the rate of the same rows through psql \\copy", format: "%.2f", atLeast: 0.7},
	{benchmark: "Trace/slowest_kind", unit: "parts", text: "Parts in the book that is traced, with 20 readings each", format: "%.0f"},
	{benchmark: "Trace/slowest_kind", unit: "ms", text: "  to the parts, from the slowest kind of thing", format: "%.0f ms", atMost: 200},
	{benchmark: "Trace/way_back", unit: "ms", text: "  from a part to all that touched it", format: "%.0f ms", atMost: 200},
	{benchmark: "Trace/mock_recall", unit: "ms", text: "  mock recall of a powder lot", format: "%.0f ms", atMost: 200},
}

// bench runs the benchmarks, and nothing else, and sums up.
func bench(args []string) error {
	var only string
	var options benchOptions
	err := flags("bench", args, func(set *flag.FlagSet) {
		set.StringVar(&only, "only", "", "groups to run, separated by commas: "+groupNames()+" (default: all)")
		set.IntVar(&options.parts, "parts", 20_000, "trace: parts in the book; a million takes about half an hour to fill, and 13 GB")
		set.StringVar(&options.keep, "keep", "", "trace: folder to keep the book in, used again the next time (default: thrown away)")
	})
	if err != nil {
		return err
	}
	groups, err := chooseGroups(only)
	if err != nil {
		return err
	}
	if options.keep != "" {
		// The benchmark runs in the folder of its package.
		if options.keep, err = filepath.Abs(options.keep); err != nil {
			return err
		}
	}
	if err := ensure(postgreSQL); err != nil {
		return err
	}
	measured := map[string]float64{}
	var steps []step
	for _, g := range groups {
		steps = append(steps, step{g.name, func() error { return g.run(options, os.Stdout, measured) }})
	}
	err = all(steps)
	summary(os.Stdout, measured)
	return err
}

// chooseGroups picks the named groups in their own order, all for no name.
func chooseGroups(only string) ([]benchGroup, error) {
	if only == "" {
		return benchGroups, nil
	}
	names := strings.Split(only, ",")
	var chosen []benchGroup
	for _, g := range benchGroups {
		if i := slices.Index(names, g.name); i >= 0 {
			chosen, names = append(chosen, g), slices.Delete(names, i, i+1)
		}
	}
	if len(names) > 0 {
		return nil, fmt.Errorf("there are no benchmarks %q: choose from %s", strings.Join(names, ","), groupNames())
	}
	return chosen, nil
}

func groupNames() string {
	var names []string
	for _, g := range benchGroups {
		names = append(names, g.name)
	}
	return strings.Join(names, ", ")
}

// command is what go is called with.
func (g benchGroup) command(options benchOptions) []string {
	args := slices.Concat([]string{"test", "-run=^$", "-timeout=30m"}, g.args, g.packages)
	if g.own != nil {
		args = append(append(args, "-args"), g.own(options)...)
	}
	return args
}

// run shows what the benchmarks print as they print it and takes their figures.
func (g benchGroup) run(options benchOptions, out io.Writer, measured map[string]float64) error {
	cmd := exec.Command("go", g.command(options)...)
	cmd.Stderr = os.Stderr
	pipe, err := cmd.StdoutPipe()
	if err != nil {
		return err
	}
	if err := cmd.Start(); err != nil {
		return err
	}
	readErr := readFigures(io.TeeReader(pipe, out), measured)
	if err := cmd.Wait(); err != nil {
		return err
	}
	return readErr
}

// readFigures takes the metrics of each benchmark line: name, runs, then values with their units
// (https://go.dev/design/14313-benchmark-format).
func readFigures(in io.Reader, measured map[string]float64) error {
	lines := bufio.NewScanner(in)
	for lines.Scan() {
		words := strings.Fields(lines.Text())
		if len(words) < 4 || !strings.HasPrefix(words[0], "Benchmark") {
			continue
		}
		name := strings.TrimPrefix(words[0], "Benchmark")
		if i := strings.LastIndex(name, "-"); i > 0 {
			name = name[:i] // the number of processors
		}
		for i := 2; i+1 < len(words); i += 2 {
			if v, err := strconv.ParseFloat(words[i], 64); err == nil {
				measured[name+" "+words[i+1]] = v
			}
		}
	}
	return lines.Err()
}

// summary prints the figures that were measured, each with its aim. A missed aim is told and is no failure: a benchmark
// says how fast this machine was just now.
func summary(out io.Writer, measured map[string]float64) {
	fmt.Fprintln(out)
	for _, f := range figures {
		v, ok := measured[f.benchmark+" "+f.unit]
		if !ok {
			continue
		}
		aim := ""
		switch {
		case f.atLeast > 0:
			aim = "  aim: at least " + fmt.Sprintf(f.format, f.atLeast) + met(v >= f.atLeast)
		case f.atMost > 0:
			aim = "  aim: at most " + fmt.Sprintf(f.format, f.atMost) + met(v <= f.atMost)
		}
		fmt.Fprintln(out, strings.TrimRight(fmt.Sprintf("%-55s %10s%s", f.text, fmt.Sprintf(f.format, v), aim), " "))
	}
}

func met(yes bool) string {
	if yes {
		return ""
	}
	return ", missed"
}
