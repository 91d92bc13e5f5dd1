package main

import (
	"errors"
	"slices"
	"strings"
	"testing"
)

func having(programs ...string) func(string) bool {
	return func(program string) bool { return slices.Contains(programs, program) }
}

func TestPlanFitsTheMachine(t *testing.T) {
	debian, ubuntu := []string{"debian"}, []string{"ubuntu", "debian"}
	for _, c := range []struct {
		name    string
		machine machine
		need    need
		want    string // the commands, one after another, or what the advice contains
		advice  bool
	}{
		{"Debian as root", machine{goos: "linux", like: debian, root: true, has: having("apt-get")}, postgreSQL,
			"env DEBIAN_FRONTEND=noninteractive apt-get update; " +
				"env DEBIAN_FRONTEND=noninteractive apt-get install -y --no-install-recommends postgresql", false},
		{"Debian with sudo", machine{goos: "linux", like: debian, sudo: true, has: having("apt-get")}, chromium,
			"sudo env DEBIAN_FRONTEND=noninteractive apt-get update; " +
				"sudo env DEBIAN_FRONTEND=noninteractive apt-get install -y --no-install-recommends chromium", false},
		{"Debian without rights", machine{goos: "linux", like: debian, has: having("apt-get")}, postgreSQL,
			"run: sudo env DEBIAN_FRONTEND=noninteractive apt-get update && " +
				"sudo env DEBIAN_FRONTEND=noninteractive apt-get install -y --no-install-recommends postgresql", true},
		{"Ubuntu's browser is a snap", machine{goos: "linux", like: ubuntu, root: true, has: having("apt-get", "snap")}, chromium,
			"snap install chromium", false},
		{"Ubuntu without snap", machine{goos: "linux", like: ubuntu, root: true, has: having("apt-get")}, chromium,
			"snap install chromium", true},
		{"Ubuntu's database is a package", machine{goos: "linux", like: ubuntu, root: true, has: having("apt-get", "snap")}, postgreSQL,
			"env DEBIAN_FRONTEND=noninteractive apt-get update; " +
				"env DEBIAN_FRONTEND=noninteractive apt-get install -y --no-install-recommends postgresql", false},
		{"macOS with Homebrew", machine{goos: "darwin", has: having("brew")}, postgreSQL, "brew install postgresql@17", false},
		{"macOS without", machine{goos: "darwin", has: having()}, postgreSQL, "brew install postgresql@17", true},
		{"a Linux we do not know", machine{goos: "linux", root: true, has: having()}, postgreSQL, "on PATH", true},
	} {
		commands, advice := c.machine.plan(c.need)
		var lines []string
		for _, command := range commands {
			lines = append(lines, strings.Join(command, " "))
		}
		got := strings.Join(lines, "; ")
		switch {
		case c.advice && (got != "" || !strings.Contains(advice, c.want)):
			t.Errorf("%s: runs %q, advises %q; want advice with %q", c.name, got, advice, c.want)
		case !c.advice && (got != c.want || advice != ""):
			t.Errorf("%s: runs %q, advises %q; want to run %q", c.name, got, advice, c.want)
		}
	}
}

func TestDistributionReadsOsRelease(t *testing.T) {
	const text = "PRETTY_NAME=\"Ubuntu 24.04 LTS\"\nVERSION_ID=\"24.04\"\nID=ubuntu\nID_LIKE=\"debian linux\"\nBUILD_ID=x\n"
	if got := strings.Join(distribution(text), " "); got != "ubuntu debian linux" {
		t.Errorf("got %q, want ubuntu debian linux", got)
	}
}

func TestEnsureLeavesAloneWhatIsThere(t *testing.T) {
	there := need{what: "a program that is there", find: func() error { return nil }, apt: "must-not-be-installed"}
	if err := ensure(there); err != nil {
		t.Error(err)
	}
}

func TestFoundProgramsAreThoseTheTestsUse(t *testing.T) {
	for _, n := range []need{postgreSQL, chromium} {
		if err := n.find(); err != nil {
			t.Errorf("%s: %v", n.what, errors.Join(err, errors.New(n.byHand)))
		}
	}
}
