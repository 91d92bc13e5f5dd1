package main

import (
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/a-h/templ"

	"coatbook/web/page"
)

// repository is the top of the tree, seen from this package.
const repository = "../.."

// topLevel is everything that stands at the top, besides files that begin with a dot. The list is short on purpose: a new
// thing has its place inside one of these folders (DEVELOPERS.md).
var topLevel = []string{
	"DEVELOPERS.md", "LICENSE", "README.md", "cmd", "docker-compose.yml", "go.mod", "go.sum",
	"migrations", "quality", "store", "testdata", "web",
}

func TestTopLevelIsTheListedSet(t *testing.T) {
	entries, err := os.ReadDir(repository)
	if err != nil {
		t.Fatal(err)
	}
	var found []string
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), ".") {
			found = append(found, e.Name())
		}
	}
	for _, name := range topLevel {
		if !slices.Contains(found, name) {
			t.Errorf("%s is missing at the top level", name)
		}
	}
	for _, name := range found {
		if !slices.Contains(topLevel, name) && !ignored(name) {
			t.Errorf("%s does not belong at the top level: DEVELOPERS.md says where things go", name)
		}
	}
}

// ignored reports whether .gitignore names a thing that is not tracked, such as a program somebody built.
func ignored(name string) bool {
	cmd := exec.Command("git", "check-ignore", "--quiet", name)
	cmd.Dir = repository
	return cmd.Run() == nil
}

// mayUse says which layers each layer may import besides itself: cmd → web → store → quality, and never back.
var mayUse = map[string][]string{
	"cmd":        {"web", "store", "quality"},
	"web":        {"store", "quality"},
	"store":      {"migrations", "quality"},
	"migrations": {},
	"quality":    {},
}

// wrongImport says why a package must not import another of ours, or nothing. Both are paths below the module.
func wrongImport(from, to string) string {
	layer, _, _ := strings.Cut(from, "/")
	used, _, _ := strings.Cut(to, "/")
	if used != layer && !slices.Contains(mayUse[layer], used) {
		return "imports go cmd → web → store → quality"
	}
	// What draws a page is given words and numbers; it never asks the database for more.
	if (within(from, "web/page") || within(from, "web/ui")) && used == "store" {
		return "pages and their pieces are given all they show by the handler"
	}
	return ""
}

func within(dir, parent string) bool { return dir == parent || strings.HasPrefix(dir, parent+"/") }

func TestImportsGoOneWay(t *testing.T) {
	seen := map[string]bool{}
	walkGo(t, func(file string) {
		from := path.Dir(file)
		layer, _, _ := strings.Cut(from, "/")
		seen[layer] = true
		parsed, err := parser.ParseFile(token.NewFileSet(), filepath.Join(repository, file), nil, parser.ImportsOnly)
		if err != nil {
			t.Errorf("%s: %v", file, err)
			return
		}
		for _, spec := range parsed.Imports {
			imported, err := strconv.Unquote(spec.Path.Value)
			if err != nil {
				t.Errorf("%s: %v", file, err)
				continue
			}
			to, ours := strings.CutPrefix(imported, "coatbook/")
			if !ours {
				continue
			}
			if why := wrongImport(from, to); why != "" {
				t.Errorf("%s imports %s: %s", file, imported, why)
			}
		}
	})
	for layer := range mayUse {
		if !seen[layer] {
			t.Errorf("no Go file found in %s: the walk has missed it", layer)
		}
	}
}

func TestWrongImportsAreSeen(t *testing.T) {
	for _, c := range []struct {
		from, to string
		allowed  bool
	}{
		{"cmd/coatbook", "web", true},
		{"cmd/coatbook", "store/localpg", true},
		{"web", "store", true},
		{"web", "web/page", true},
		{"web/page", "web/ui", true},
		{"web/page", "quality", true},
		{"store", "migrations", true},
		{"store/storetest", "store", true},
		{"quality", "quality/process", true},
		{"web/page", "store", false},
		{"web/ui", "store/demoshop", false},
		{"store", "web/form", false},
		{"store", "cmd/coatbook", false},
		{"web", "cmd/dev", false},
		{"web", "migrations", false},
		{"quality", "store", false},
		{"quality/process", "migrations", false},
		{"migrations", "quality", false},
	} {
		if why := wrongImport(c.from, c.to); (why == "") != c.allowed {
			t.Errorf("%s importing %s: got %q, want allowed %v", c.from, c.to, why, c.allowed)
		}
	}
}

// walkGo calls visit with the path of every Go file below the top, with slashes.
func walkGo(t *testing.T, visit func(file string)) {
	t.Helper()
	err := filepath.WalkDir(repository, func(file string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		name, err := filepath.Rel(repository, file)
		if err != nil {
			return err
		}
		switch {
		case d.IsDir() && name != "." && strings.HasPrefix(d.Name(), "."):
			return filepath.SkipDir
		case !d.IsDir() && strings.HasSuffix(name, ".go"):
			visit(filepath.ToSlash(name))
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// settingsIn finds the flags and environment variables that cmd/coatbook/config.go reads.
var settingsIn = regexp.MustCompile(`text\(&c\.\w+, "([a-z-]+)", "([A-Z_]*)"`)

func TestReadmeListsEverySetting(t *testing.T) {
	readme, config := readFile(t, "README.md"), readFile(t, "cmd/coatbook/config.go")
	settings := settingsIn.FindAllStringSubmatch(config, -1)
	if calls := strings.Count(config, "text(&c."); calls == 0 || calls != len(settings) {
		t.Fatalf("understood %d of %d settings", len(settings), calls)
	}
	for _, s := range settings {
		row := "| `--" + s[1] + "` |"
		if s[2] != "" {
			row += " `" + s[2] + "` |"
		}
		if !strings.Contains(readme, row) {
			t.Errorf("README.md has no row %s", row)
		}
	}
	if !strings.Contains(readme, "`DATABASE_URL`") {
		t.Error("README.md does not name DATABASE_URL")
	}
}

// The guide and the first screens warn in the same sense: where an ordinary tablet must not go, and that records protect
// nobody.
func TestGuideAndFirstScreensCarryTheCautions(t *testing.T) {
	screen := func(c templ.Component) string {
		var b strings.Builder
		if err := c.Render(t.Context(), &b); err != nil {
			t.Fatal(err)
		}
		return b.String()
	}
	signOn, enrol := screen(page.SignOn(page.SignOnView{})), screen(page.Enrol(page.EnrolView{}))
	for place, c := range map[string]struct {
		text string
		says []string
	}{
		"README.md": {readFile(t, "README.md"), []string{"not a safety system", "Interlocks, alarms", "Safety data sheets, local codes", "licensed practice",
			"An ordinary tablet, scanner or gauge is not approved for a classified spray area", "unless it is rated"}},
		"sign-on":   {signOn, []string{"no safety system", "interlocks and alarms stand alone", "safety data sheets, local codes", "licensed practice", "outside the classified spray area"}},
		"enrolment": {enrol, []string{"no safety system", "An ordinary tablet, scanner or gauge is not approved for a classified spray area", `name="location_class"`}},
	} {
		text := strings.Join(strings.Fields(c.text), " ")
		for _, want := range c.says {
			if !strings.Contains(text, want) {
				t.Errorf("%s does not say %q", place, want)
			}
		}
	}
}

func readFile(t *testing.T, name string) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(repository, name))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}
