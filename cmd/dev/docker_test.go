package main

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

func TestMirrorIsTheOneOfTheRelease(t *testing.T) {
	const paragraphs = "Types: deb\nURIs: http://mirror.example/debian-security\nSuites: bookworm-security\nComponents: main\n\n" +
		"Types: deb\n# the archive\nURIs: http://mirror.example/debian\nSuites: bookworm bookworm-updates\nComponents: main\n"
	for _, c := range []struct{ name, text, want string }{
		{"paragraphs", paragraphs, "http://mirror.example/debian"},
		{"one line", "# deb http://old.example bookworm main\ndeb http://mirror.example/debian bookworm main\n", "http://mirror.example/debian"},
		{"one line with options", "deb [arch=amd64 signed-by=/a.gpg] http://mirror.example/debian bookworm main\n", "http://mirror.example/debian"},
		{"another release", "deb http://mirror.example/debian trixie main\n", ""},
		{"sources are not packages", "deb-src http://mirror.example/debian bookworm main\n", ""},
		{"cut short", "deb [arch=amd64\ndeb\nURIs:\nSuites: bookworm\n", ""},
	} {
		if got := mirrorOf("bookworm", []string{"", c.text}); got != c.want {
			t.Errorf("%s: got %q, want %q", c.name, got, c.want)
		}
	}
}

func TestTrimKeepsProgramsAndRemovesTheRest(t *testing.T) {
	root := t.TempDir()
	for _, path := range []string{
		"usr/bin/psql", "usr/share/doc/psql/copyright", "var/lib/postgresql/15/main/PG_VERSION", "var/cache/apt/archives/a.deb",
	} {
		if err := os.MkdirAll(filepath.Join(root, filepath.Dir(path)), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(root, path), nil, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if err := trim(root); err != nil {
		t.Fatal(err)
	}
	var left []string
	err := filepath.WalkDir(root, func(path string, entry os.DirEntry, err error) error {
		if err == nil && !entry.IsDir() {
			left = append(left, strings.TrimPrefix(path, root+"/"))
		}
		return err
	})
	if err != nil || !slices.Equal(left, []string{"usr/bin/psql"}) {
		t.Errorf("left %v (%v), want the program only", left, err)
	}
}

// The builder without BuildKit runs each stage before the one it is asked for, so the stage that needs no
// registry has to stand first; and nobody runs Coatbook as root.
func TestDockerfileStartsWithTheLocalStage(t *testing.T) {
	text, err := os.ReadFile("../coatbook/Dockerfile")
	if err != nil {
		t.Fatal(err)
	}
	var stages []string
	user := ""
	for line := range strings.Lines(string(text)) {
		line = strings.TrimSpace(line)
		if strings.HasPrefix(line, "FROM ") {
			stages, user = append(stages, line), ""
		}
		if strings.HasPrefix(line, "USER ") {
			user = line
		}
	}
	if len(stages) == 0 || stages[0] != "FROM scratch AS local" {
		t.Errorf("stages are %v, want FROM scratch AS local first", stages)
	}
	if user != "USER 65534:65534" {
		t.Errorf("the last stage says %q, want USER 65534:65534", user)
	}
}
