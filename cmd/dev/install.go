package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"

	"coatbook/store/localpg"
)

// need is a program from outside that a chore cannot do without, and how each system installs it.
type need struct {
	what   string
	find   func() error
	apt    string   // the package on Debian and its relatives
	snap   string   // the snap on Ubuntu, where apt has no such package
	brew   []string // arguments of brew install
	byHand string   // what to do where none of these works
}

var postgreSQL = need{
	what: fmt.Sprintf("PostgreSQL %d or newer", localpg.MinMajor),
	find: func() error { _, err := localpg.FindBinaries(0); return err },
	apt:  "postgresql",
	brew: []string{"postgresql@17"},
	byHand: "install PostgreSQL's server package (Debian, Ubuntu 24.04 and newer: sudo apt-get install postgresql; " +
		"Fedora: sudo dnf install postgresql-server; macOS: brew install postgresql@17), " +
		"or put the folder of its postgres and initdb on PATH",
}

var chromium = need{
	what: "Chromium",
	find: findChromium,
	apt:  "chromium",
	snap: "chromium",
	brew: []string{"--cask", "google-chrome"},
	byHand: "install Chromium (Debian: sudo apt-get install chromium; Ubuntu: sudo snap install chromium; " +
		"Fedora: sudo dnf install chromium; macOS: Google Chrome or Chromium in /Applications)",
}

// findChromium looks where the browser tests will.
func findChromium() error {
	places := []string{"chromium", "chromium-browser", "google-chrome"}
	if runtime.GOOS == "darwin" {
		places = []string{
			"/Applications/Chromium.app/Contents/MacOS/Chromium",
			"/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
		}
	}
	for _, place := range places {
		if _, err := exec.LookPath(place); err == nil {
			return nil
		}
	}
	return fmt.Errorf("no Chromium found (looked for %s)", strings.Join(places, ", "))
}

// machine is what the way of installing depends on.
type machine struct {
	goos string
	like []string // Linux: the distribution and what it descends from, as in os-release
	root bool
	sudo bool // sudo asks for no password
	has  func(program string) bool
}

func thisMachine() machine {
	m := machine{goos: runtime.GOOS, root: os.Geteuid() == 0}
	m.has = func(program string) bool { _, err := exec.LookPath(program); return err == nil }
	if text, err := os.ReadFile("/etc/os-release"); err == nil {
		m.like = distribution(string(text))
	}
	m.sudo = !m.root && m.has("sudo") && exec.Command("sudo", "-n", "true").Run() == nil
	return m
}

// distribution reads ID and ID_LIKE from the text of os-release.
func distribution(osRelease string) []string {
	var names []string
	for line := range strings.Lines(osRelease) {
		key, value, _ := strings.Cut(strings.TrimSpace(line), "=")
		if key == "ID" || key == "ID_LIKE" {
			names = append(names, strings.Fields(strings.Trim(value, `"'`))...)
		}
	}
	return names
}

// plan says how to install n on m: commands to run now, or none and the advice to print.
func (m machine) plan(n need) (commands [][]string, advice string) {
	switch {
	case m.goos == "darwin" && m.has("brew"):
		return [][]string{append([]string{"brew", "install"}, n.brew...)}, ""
	case m.goos == "linux" && n.snap != "" && slices.Contains(m.like, "ubuntu"):
		if m.has("snap") {
			commands = [][]string{{"snap", "install", n.snap}}
		}
	case m.goos == "linux" && m.has("apt-get"):
		apt := []string{"env", "DEBIAN_FRONTEND=noninteractive", "apt-get"}
		commands = [][]string{
			append(slices.Clone(apt), "update"),
			append(slices.Clone(apt), "install", "-y", "--no-install-recommends", n.apt),
		}
	}
	if commands == nil {
		return nil, n.byHand
	}
	if m.root {
		return commands, ""
	}
	var lines []string
	for i := range commands {
		commands[i] = append([]string{"sudo"}, commands[i]...)
		lines = append(lines, strings.Join(commands[i], " "))
	}
	if m.sudo {
		return commands, ""
	}
	return nil, "run: " + strings.Join(lines, " && ")
}

// ensure makes sure that n is there: found, or installed now. Otherwise the error says what to do.
func ensure(needs ...need) error {
	for _, n := range needs {
		if n.find() == nil {
			continue
		}
		m := thisMachine()
		commands, advice := m.plan(n)
		if commands == nil {
			return fmt.Errorf("%s is missing and cannot be installed from here; %s", n.what, advice)
		}
		for _, command := range commands {
			fmt.Println("+", strings.Join(command, " "))
			err := show(command[0], command[1:]...)
			// One unreachable source among many fails an update; the installation shows whether it mattered.
			if err != nil && command[len(command)-1] != "update" {
				return fmt.Errorf("install %s: %s: %w", n.what, filepath.Base(command[0]), err)
			}
		}
		if err := n.find(); err != nil {
			return fmt.Errorf("%s is still missing after the installation: %w; %s", n.what, err, n.byHand)
		}
	}
	return nil
}
