package calc

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// asCommand makes the test program stand in for coatbook, so that a shell can run the examples of the help.
const asCommand = "COATBOOK_CALC_TEST_AS_COMMAND"

func TestMain(m *testing.M) {
	if os.Getenv(asCommand) != "" {
		args := os.Args[1:]
		if len(args) > 0 && args[0] == "calc" {
			args = args[1:]
		}
		os.Exit(Run(args, os.Stdin, os.Stdout, os.Stderr))
	}
	os.Exit(m.Run())
}

const publishedFolder = "../../../testdata/published/"

// ran is what one command line did.
type ran struct {
	status      int
	out, errors string
}

func run(stdin string, args ...string) ran {
	var out, errors bytes.Buffer
	status := Run(args, strings.NewReader(stdin), &out, &errors)
	return ran{status, out.String(), errors.String()}
}

// figures runs a command with --json and returns its object.
func figures(t *testing.T, stdin string, args ...string) map[string]any {
	t.Helper()
	r := run(stdin, append(args, "--json")...)
	if r.status != 0 || r.errors != "" {
		t.Fatalf("%s: status %d, %s", strings.Join(args, " "), r.status, r.errors)
	}
	var object map[string]any
	if err := json.Unmarshal([]byte(r.out), &object); err != nil {
		t.Fatalf("%s: %v in %s", strings.Join(args, " "), err, r.out)
	}
	return object
}

// at follows a path such as "channels.0.peak_c" through an object.
func follow(t *testing.T, object any, path string) any {
	t.Helper()
	for _, step := range strings.Split(path, ".") {
		switch v := object.(type) {
		case map[string]any:
			next, there := v[step]
			if !there {
				t.Fatalf("no key %s on the way to %s", step, path)
			}
			object = next
		case []any:
			i, err := strconv.Atoi(step)
			if err != nil || i >= len(v) {
				t.Fatalf("no element %s on the way to %s", step, path)
			}
			object = v[i]
		default:
			t.Fatalf("%s: %v has no %s", path, object, step)
		}
	}
	return object
}

// want compares a figure to a relative tolerance, absolute about 0. An empty text asks for null.
func want(t *testing.T, object any, path, text string, tolerance float64) {
	t.Helper()
	got := follow(t, object, path)
	if text == "" {
		if got != nil {
			t.Errorf("%s is %v, want null", path, got)
		}
		return
	}
	w, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	g, isNumber := got.(float64)
	if !isNumber || math.Abs(g-w) > tolerance*max(math.Abs(w), 1e-12) && !(w == 0 && math.Abs(g) <= tolerance) {
		t.Errorf("%s is %v, want %v within %g", path, got, w, tolerance)
	}
}

// published reads a table of published values.
func published(t *testing.T, name string) []map[string]string {
	t.Helper()
	file, err := os.Open(publishedFolder + name)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	r := csv.NewReader(file)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) < 2 {
		t.Fatalf("%s holds no values", name)
	}
	var out []map[string]string
	for _, row := range rows[1:] {
		m := map[string]string{}
		for i, key := range rows[0] {
			m[key] = row[i]
		}
		out = append(out, m)
	}
	return out
}

// rowsOf makes a CSV of some columns of the published rows that fit.
func rowsOf(rows []map[string]string, fits func(map[string]string) bool, columns ...string) string {
	var b strings.Builder
	b.WriteString(strings.Join(columns, ",") + "\n")
	for _, row := range rows {
		if !fits(row) {
			continue
		}
		for i, column := range columns {
			if i > 0 {
				b.WriteByte(',')
			}
			b.WriteString(row[column])
		}
		b.WriteByte('\n')
	}
	return b.String()
}

func TestEveryHelpExampleRunsInAShell(t *testing.T) {
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	if err := os.Symlink(self, filepath.Join(dir, "coatbook")); err != nil {
		t.Fatal(err)
	}
	for _, c := range commands {
		r := run("", c.name, "--help")
		if r.status != 0 || !strings.HasPrefix(r.out, "coatbook calc "+c.name) {
			t.Fatalf("%s --help: status %d, %s", c.name, r.status, r.errors)
		}
		_, example, found := strings.Cut(r.out, "Example:\n\n")
		if !found {
			t.Errorf("%s: the help shows no example", c.name)
			continue
		}
		for _, form := range []string{"", " --json"} {
			shell := exec.Command("/bin/sh", "-c", strings.TrimSpace(example)+form)
			shell.Env = append(os.Environ(), asCommand+"=1", "PATH="+dir+":"+os.Getenv("PATH"))
			out, err := shell.CombinedOutput()
			if err != nil || len(out) == 0 {
				t.Errorf("%s: %v: %s", strings.TrimSpace(example), err, out)
			}
			if form != "" && !json.Valid(out) {
				t.Errorf("%s: not JSON: %s", c.name, out)
			}
		}
	}
}

func TestEveryFlagStandsInTheHelp(t *testing.T) {
	for _, c := range commands {
		help := run("", c.name, "--help").out
		for _, f := range c.flags {
			if !strings.Contains(help, "--"+f.name) {
				t.Errorf("%s: the help does not name --%s", c.name, f.name)
			}
		}
	}
}

func TestCalcAloneListsTheNames(t *testing.T) {
	for _, args := range [][]string{nil, {"--help"}, {"help"}} {
		r := run("", args...)
		if r.status != 0 {
			t.Errorf("%v: status %d", args, r.status)
		}
		for _, name := range []string{"describe", "normality", "capability", "chart", "constants", "variance", "gauge-study", "tolerance",
			"sampling", "proportion", "yield", "film", "cure", "colour", "dew-point"} {
			if !strings.Contains(r.out, "\n  "+name+" ") {
				t.Errorf("%v: %s is not listed", args, name)
			}
		}
	}
}

func folders(t *testing.T, dir string) []string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range entries {
		if e.IsDir() {
			names = append(names, e.Name())
		}
	}
	return names
}

// README.md shows two commands with what they print; both are run here.
func TestReadmeShowsTrueOutput(t *testing.T) {
	text, err := os.ReadFile("../../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, section, _ := strings.Cut(string(text), "## The statistics on a CSV, without a database\n")
	section, _, _ = strings.Cut(section, "\n## ")
	for command, r := range map[string]ran{
		"coatbook calc describe --value film_um testdata/published/capability/subgroups.csv\n": run("", "describe", "--value", "film_um", publishedFolder+"capability/subgroups.csv"),
		"coatbook calc film --rule areas80 --min 60\n":                                         run("area,reading\n1,82\n2,68\n3,75\n4,44\n5,86\n", "film", "--rule", "areas80", "--min", "60"),
	} {
		shown := command
		for _, line := range strings.SplitAfter(strings.TrimRight(r.out, "\n")+"\n", "\n") {
			if line != "\n" && line != "" {
				line = "    " + line
			}
			shown += line
		}
		if r.status != 0 || !strings.Contains(section, shown) {
			t.Errorf("README.md does not show\n%s", shown)
		}
	}
}
