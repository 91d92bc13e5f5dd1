// Command dev does the project's own chores. Run it from anywhere in the repository:
//
//	go run ./cmd/dev demo      start the demo shop
//	go run ./cmd/dev test      run every check: this is what CI runs
//
// It needs nothing but Go. What a chore needs besides, PostgreSQL or a browser, it finds or installs.
package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
)

// chore is one thing dev can do.
type chore struct {
	name    string
	purpose string
	do      func(args []string) error
}

var chores = []chore{
	{"demo", "start the demo shop (--listen ADDRESS, --data FOLDER)", demo},
	{"test", "formatting, vet, staticcheck, generated code, then every test with database and browser", test},
	{"lint", "formatting, vet, staticcheck, generated code", lint},
	{"generate", "write the Go code of the templ files", generate},
	{"bench", "run the benchmarks and sum up (--only saves,demo,trace,computing, --parts N of the trace)", bench},
	{"docker", "build the images without a registry, bring docker-compose.yml up and check it (--keep)", docker},
}

func main() {
	if err := run(os.Args[1:]); err != nil {
		if !errors.Is(err, flag.ErrHelp) {
			fmt.Fprintln(os.Stderr, "dev:", err)
		}
		os.Exit(1)
	}
}

func run(args []string) error {
	if len(args) > 0 {
		for _, c := range chores {
			if c.name == args[0] {
				if err := enterRoot(); err != nil {
					return err
				}
				return c.do(args[1:])
			}
		}
	}
	usage(os.Stderr)
	return flag.ErrHelp
}

func usage(w io.Writer) {
	fmt.Fprintln(w, "usage: go run ./cmd/dev CHORE [flags]")
	for _, c := range chores {
		fmt.Fprintf(w, "  %-9s %s\n", c.name, c.purpose)
	}
}

// enterRoot makes the repository's top the working folder, so that every path in dev is relative to it.
func enterRoot() error {
	dir, err := os.Getwd()
	if err != nil {
		return err
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return os.Chdir(dir)
		}
		if dir == filepath.Dir(dir) {
			return errors.New("no go.mod here or above: run dev inside the repository")
		}
		dir = filepath.Dir(dir)
	}
}

// flags reads a chore's flags and refuses anything else.
func flags(name string, args []string, declare func(*flag.FlagSet)) error {
	set := flag.NewFlagSet("dev "+name, flag.ContinueOnError)
	if declare != nil {
		declare(set)
	}
	if err := set.Parse(args); err != nil {
		return flag.ErrHelp // the flag set has said it already
	}
	if set.NArg() > 0 {
		return fmt.Errorf("%s takes no argument %q", name, set.Arg(0))
	}
	return nil
}

// show runs a program with its output on ours.
func show(program string, args ...string) error {
	cmd := exec.Command(program, args...)
	cmd.Stdout, cmd.Stderr = os.Stdout, os.Stderr
	return cmd.Run()
}

// quiet runs a program and shows its output only when it fails.
func quiet(program string, args ...string) error {
	out, err := exec.Command(program, args...).CombinedOutput()
	if err != nil {
		os.Stdout.Write(out)
	}
	return err
}
