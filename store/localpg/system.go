package localpg

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
)

// runOn starts cmd and waits for it in a goroutine of its own. hold is called before the start, and what it
// returns after the end.
func runOn(cmd *exec.Cmd, hold func() func()) (started, ended <-chan error) {
	begun, over := make(chan error, 1), make(chan error, 1)
	go func() {
		defer hold()()
		if err := cmd.Start(); err != nil {
			begun <- err
			return
		}
		begun <- nil
		over <- cmd.Wait()
	}()
	return begun, over
}

// maxSocketPath is the longest socket path that both Linux (107 bytes) and macOS (103) take.
const maxSocketPath = 103

// chooseSockets finds a folder for the socket: the box, or a temporary folder when that is too long a path or
// has a comma, which separates one folder from the next both for PostgreSQL and for its clients.
func (s *Server) chooseSockets() error {
	if len(filepath.Join(s.box, socketName)) <= maxSocketPath && !strings.Contains(s.box, ",") {
		return nil
	}
	dir, err := os.MkdirTemp("", "coatbook-")
	if err != nil {
		return fmt.Errorf("socket folder: %w", err)
	}
	s.sockets = dir
	if len(filepath.Join(dir, socketName)) > maxSocketPath {
		return fmt.Errorf("both the data folder %s and the temporary folder %s are too long for a socket: "+
			"choose a shorter data folder (--data)", s.dir, dir)
	}
	if err := s.who.own(dir); err != nil {
		return fmt.Errorf("socket folder: %w", err)
	}
	return s.who.canReach(dir)
}

// localeArgs are initdb's: text sorts by code point and letters are Unicode's, on every system alike. macOS
// has no C.UTF-8, so the two halves are named apart there.
func localeArgs() []string {
	if runtime.GOOS == "darwin" {
		return []string{"--locale=C", "--lc-ctype=en_US.UTF-8"}
	}
	return []string{"--locale=C.UTF-8"}
}

// localeEnv must name a locale that exists, or a postmaster on macOS refuses to start.
func localeEnv() []string {
	if runtime.GOOS == "darwin" {
		return []string{"LC_ALL=en_US.UTF-8"}
	}
	return []string{"LC_ALL=C.UTF-8"}
}

// DefaultDir is where a data folder called name lies when nobody chose one: below /var/lib for root, whose
// home is closed to the database's user, and in the user's own data folder otherwise.
func DefaultDir(name string) (string, error) {
	if os.Geteuid() == 0 {
		return filepath.Join("/var/lib/coatbook", name), nil
	}
	if base := os.Getenv("XDG_DATA_HOME"); filepath.IsAbs(base) {
		return filepath.Join(base, "coatbook", name), nil
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", fmt.Errorf("default data folder: %w", err)
	}
	if runtime.GOOS == "darwin" {
		return filepath.Join(home, "Library", "Application Support", "coatbook", name), nil
	}
	return filepath.Join(home, ".local", "share", "coatbook", name), nil
}

// logLimit keeps the log from growing for ever; one older log is kept beside it.
const logLimit = 8 << 20

func (s *Server) logPath() string { return filepath.Join(s.dir, "postgres.log") }

func openLog(path string) (*os.File, error) {
	if info, err := os.Stat(path); err == nil && info.Size() > logLimit {
		if err := os.Rename(path, path+".1"); err != nil {
			return nil, fmt.Errorf("PostgreSQL's log: %w", err)
		}
	}
	file, err := os.OpenFile(path, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return nil, fmt.Errorf("PostgreSQL's log: %w", err)
	}
	return file, nil
}

// logTail is the end of the log, for an error message.
func logTail(path string) string {
	text, err := os.ReadFile(path)
	if err != nil {
		return err.Error()
	}
	return lastLines(string(text))
}

func lastLines(text string) string {
	lines := strings.Split(strings.TrimSpace(text), "\n")
	if len(lines) > 8 {
		lines = lines[len(lines)-8:]
	}
	return strings.Join(lines, "\n")
}

// syncDir makes a rename inside dir last through a loss of power.
func syncDir(dir string) error {
	handle, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer handle.Close()
	return handle.Sync()
}
