package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"slices"
	"strings"
)

// test is every check of the project. The quick ones all run before the tests are started, so that a slip of
// form is known in seconds and one round shows all of them.
func test(args []string) error {
	if err := flags("test", args, nil); err != nil {
		return err
	}
	// Compilers and tests live for minutes at most; collecting their memory less often leaves more time for the work.
	if os.Getenv("GOGC") == "" {
		if err := os.Setenv("GOGC", "400"); err != nil {
			return err
		}
	}
	return inOrder([]step{
		// PostgreSQL also when DATABASE_URL names another: the private one has tests of its own.
		{"tools", func() error { return ensure(postgreSQL, chromium) }},
		{"form", func() error { return all(lintSteps) }},
		{"tests", runTests},
	})
}

// runTests runs every test and fails when one failed or was skipped: a skipped test is a promise nobody kept.
func runTests() error {
	// vet has run already, so go test need not do its own. The longest packages start first, so that none of them is alone at
	// the end.
	cmd := exec.Command("go", "test", "-json", "-vet=off", "-count=1", "-timeout=40m", "./web", "./store", "./...")
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		return err
	}
	if err := cmd.Start(); err != nil {
		return err
	}
	tally, readErr := report(out, os.Stdout)
	runErr := cmd.Wait()
	fmt.Println(tally)
	switch {
	case runErr != nil || tally.failed > 0:
		return errors.New("go test failed")
	case readErr != nil:
		return readErr
	case len(tally.skipped) > 0:
		return fmt.Errorf("skipped: %s", strings.Join(tally.skipped, ", "))
	case tally.passed == 0:
		return errors.New("no test ran")
	}
	return nil
}

// tally counts tests, subtests included.
type tally struct {
	passed, failed int
	skipped        []string
}

func (t tally) String() string {
	return fmt.Sprintf("%d passed, %d failed, %d skipped", t.passed, t.failed, len(t.skipped))
}

// event is one line of go test -json (go doc test2json).
type event struct {
	Action, Package, Test, Output string
}

// report turns go test's JSON into what a person wants to see as it happens: each package's closing line, and
// everything a failed test printed. It returns the count when the input ends.
func report(in io.Reader, out io.Writer) (tally, error) {
	var t tally
	said := map[string][]string{} // what each running test has printed
	lines := bufio.NewReader(in)
	for {
		line, err := lines.ReadString('\n')
		if err != nil && line == "" {
			if err == io.EOF {
				err = nil
			}
			return t, err
		}
		var e event
		if json.Unmarshal([]byte(line), &e) != nil {
			fmt.Fprint(out, line) // not from test2json: show it as it is
			continue
		}
		t.count(e, said, out)
	}
}

// count takes one event into the tally, and prints what it is time to print.
func (t *tally) count(e event, said map[string][]string, out io.Writer) {
	test := e.Package + "." + e.Test
	switch e.Action {
	case "build-output":
		fmt.Fprint(out, e.Output)
	case "output":
		said[test] = append(said[test], e.Output)
	case "pass", "fail", "skip":
		if e.Test == "" {
			t.closePackage(e, said, out)
			return
		}
		switch e.Action {
		case "pass":
			t.passed++
		case "fail":
			t.failed++
			fmt.Fprint(out, strings.Join(said[test], ""))
		case "skip":
			t.skipped = append(t.skipped, test)
			fmt.Fprint(out, strings.Join(said[test], ""))
		}
		delete(said, test)
	}
}

// closePackage prints a package's closing line. When the package failed it prints all that was not said by a
// test with an end of its own too: a panic or a time-out leaves tests without one.
func (t *tally) closePackage(e event, said map[string][]string, out io.Writer) {
	var unfinished []string
	for test := range said {
		if strings.HasPrefix(test, e.Package+".") && test != e.Package+"." {
			unfinished = append(unfinished, test)
		}
	}
	slices.Sort(unfinished)
	for _, test := range unfinished {
		if e.Action == "fail" {
			fmt.Fprint(out, strings.Join(said[test], ""))
		}
		delete(said, test)
	}
	own := said[e.Package+"."]
	delete(said, e.Package+".")
	if e.Action != "fail" && len(own) > 0 {
		own = own[len(own)-1:] // "ok  coatbook/quality 0.3s", without the line PASS
	}
	fmt.Fprint(out, strings.Join(own, ""))
}
