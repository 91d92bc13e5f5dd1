// Package calc is the command coatbook calc: the statistics of package quality on a CSV file, without a database.
//
//	coatbook calc NAME [flags] [FILE|-]
//
// Run is the whole command. It prints one result, as a table for people or as JSON for programs, or one sentence on standard
// error and nothing else: a result is rendered in full before its first byte is written.
package calc

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
)

// The exit statuses.
const (
	done    = 0
	refused = 2
)

// A command is one NAME.
type command struct {
	name, summary string
	usage         string // what stands behind the name
	flags         []flagDef
	notes         []string // how the figures are defined, one sentence each
	input         string   // CSV of the example; empty where the command reads none
	example       string   // what stands behind the name in the example
	readsFile     bool
	arguments     int // how many arguments stand there instead of a file
	run           func(*call) (*result, error)
}

// A result is what a command found. text, where set, is printed for people in place of values.
type result struct {
	values object
	text   object
	notes  []string
	svg    func(io.Writer) error
}

// commands in the order in which they are listed.
var commands = []*command{
	&describeCommand, &normalityCommand, &capabilityCommand, &chartCommand, &constantsCommand, &varianceCommand, &gaugeCommand,
	&toleranceCommand, &samplingCommand, &proportionCommand, &yieldCommand, &filmCommand, &cureCommand, &colourCommand, &dewPointCommand,
}

// Run carries out one command line, args being what stands behind “coatbook calc”, and returns the exit status: 0, or 2 with
// one sentence on stderr and nothing on stdout.
func Run(args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	if len(args) == 0 || args[0] == "help" || isHelp(args[0]) {
		return write(stdout, stderr, []byte(listing()))
	}
	for _, c := range commands {
		if c.name == args[0] {
			return c.execute(args[1:], stdin, stdout, stderr)
		}
	}
	return complain(stderr, "", refuse("“%s” is not a calculation; “coatbook calc” alone lists them", clip(args[0])))
}

func (c *command) execute(args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	call, err := c.parse(args)
	if err != nil {
		return complain(stderr, c.name, err)
	}
	if call.help {
		return write(stdout, stderr, []byte(c.help()))
	}
	call.stdin = stdin
	defer call.close()
	page, picture, err := call.answer()
	if err == nil && picture != nil {
		err = save(call.text("svg"), picture)
	}
	if err != nil {
		return complain(stderr, c.name, err)
	}
	return write(stdout, stderr, page)
}

// answer computes and renders everything, and writes nothing.
func (c *call) answer() (page, picture []byte, err error) {
	res, err := c.command.run(c)
	if err != nil {
		return nil, nil, err
	}
	if c.has("json") {
		page, err = res.json()
	} else {
		page = res.table()
	}
	if err != nil || !c.has("svg") {
		return page, nil, err
	}
	if res.svg == nil {
		return nil, nil, refuse("--svg: there is no picture for this form of the calculation")
	}
	var b bytes.Buffer
	if err := res.svg(&b); err != nil {
		return nil, nil, err
	}
	return page, b.Bytes(), nil
}

// save writes the picture beside its place and moves it there, so that no half picture is left.
func save(name string, picture []byte) error {
	wrong := func(err error) error { return refuse("--svg: “%s” cannot be written: %v", clip(name), bare(err)) }
	f, err := os.CreateTemp(filepath.Dir(name), ".coatbook-*.svg")
	if err != nil {
		return wrong(err)
	}
	_, err = f.Write(picture)
	if closed := f.Close(); err == nil {
		err = closed
	}
	if err == nil {
		err = os.Chmod(f.Name(), 0o644)
	}
	if err == nil {
		err = os.Rename(f.Name(), name)
	}
	if err != nil {
		_ = os.Remove(f.Name()) // the first error is the one to tell
		return wrong(err)
	}
	return nil
}

func write(stdout, stderr io.Writer, page []byte) int {
	if _, err := stdout.Write(page); err != nil {
		return complain(stderr, "", refuse("the result could not be written: %v", bare(err)))
	}
	return done
}

func complain(stderr io.Writer, name string, err error) int {
	sentence := strings.Join(strings.Fields(plain(err)), " ")
	if !strings.HasSuffix(sentence, ".") {
		sentence += "."
	}
	fmt.Fprintln(stderr, strings.TrimSpace("coatbook calc "+name)+": "+sentence)
	return refused
}
