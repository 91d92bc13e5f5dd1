package main

import (
	"bytes"
	"errors"
	"fmt"
	"go/format"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// step is one check of test or lint.
type step struct {
	name string
	do   func() error
}

// lintSteps need nothing from outside. All of them run, so that one round shows every complaint.
var lintSteps = []step{
	{"formatting", checkFormat},
	{"vet", func() error { return show("go", "vet", "./...") }},
	{"staticcheck", func() error { return show("go", "tool", "staticcheck", "./...") }},
	{"generated code", checkGenerated},
}

func lint(args []string) error {
	if err := flags("lint", args, nil); err != nil {
		return err
	}
	return all(lintSteps)
}

// all runs every step, prints how long each took, and fails if any did.
func all(steps []step) error {
	var failed []string
	for _, s := range steps {
		if timed(s) != nil {
			failed = append(failed, s.name)
		}
	}
	if failed != nil {
		return fmt.Errorf("failed: %s", strings.Join(failed, ", "))
	}
	return nil
}

// inOrder runs the steps until one fails, for steps that build on each other.
func inOrder(steps []step) error {
	for _, s := range steps {
		if timed(s) != nil {
			return fmt.Errorf("failed: %s", s.name)
		}
	}
	return nil
}

// timed runs one step between its heading and its time.
func timed(s step) error {
	fmt.Println("==", s.name)
	begin := time.Now()
	err := s.do()
	word := "ok"
	if err != nil {
		word = "FAILED: " + err.Error()
	}
	fmt.Printf("   %s  %.1f s  %s\n", s.name, time.Since(begin).Seconds(), word)
	return err
}

// checkFormat names each hand-written Go file that gofmt would change.
func checkFormat() error {
	files, err := goFiles(".")
	if err != nil {
		return err
	}
	wrong := 0
	for _, path := range files {
		if strings.HasSuffix(path, "_templ.go") {
			continue // written by templ; checkGenerated compares it
		}
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		formatted, err := format.Source(text)
		if err != nil {
			return fmt.Errorf("%s: %w", path, err)
		}
		if !bytes.Equal(text, formatted) {
			fmt.Println(path)
			wrong++
		}
	}
	if wrong > 0 {
		return fmt.Errorf("%d files need gofmt -w", wrong)
	}
	return nil
}

// goFiles lists the Go files below dir, without hidden folders.
func goFiles(dir string) ([]string, error) {
	var files []string
	err := filepath.WalkDir(dir, func(path string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if entry.IsDir() && path != dir && strings.HasPrefix(entry.Name(), ".") {
			return filepath.SkipDir
		}
		if !entry.IsDir() && strings.HasSuffix(path, ".go") {
			files = append(files, path)
		}
		return nil
	})
	return files, err
}

// checkGenerated compares the committed *_templ.go files with what templ writes now. Nothing is changed, but
// for one thing that templ does of itself: it removes orphans, so they are looked for first.
func checkGenerated() error {
	files, err := goFiles(".")
	if err != nil {
		return err
	}
	left := orphans(files, func(path string) bool { _, err := os.Stat(path); return err == nil })
	for _, path := range left {
		fmt.Println(path, "has no .templ file any more")
	}
	if err := quiet("go", "tool", "templ", "generate", "-check"); err != nil {
		return fmt.Errorf("stale (%w): run go run ./cmd/dev generate, and commit what it writes", err)
	}
	if left != nil {
		return errors.New("generated code without a source: commit its removal")
	}
	return nil
}

// orphans are the generated files whose .templ file is gone.
func orphans(files []string, exists func(string) bool) []string {
	var left []string
	for _, path := range files {
		if stem, generated := strings.CutSuffix(path, "_templ.go"); generated && !exists(stem+".templ") {
			left = append(left, path)
		}
	}
	return left
}

// generate writes the Go code of every templ file.
func generate(args []string) error {
	if err := flags("generate", args, nil); err != nil {
		return err
	}
	return show("go", "tool", "templ", "generate")
}
