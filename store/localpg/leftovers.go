package localpg

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"
)

const socketName = ".s.PGSQL.5432"

// clearLeftovers makes the data folder startable after any kind of end: it stops a server that outlived its
// Coatbook, and removes the lock files of one that did not live to remove them. We hold the folder's lock, so
// whatever is there belongs to nobody else.
//
// The lock files need removing by hand because a killed postmaster may remain as a zombie under a slow first
// process, common in containers: it still answers to its process id, and PostgreSQL would refuse to start.
func (s *Server) clearLeftovers(ctx context.Context) error {
	pidFile := filepath.Join(s.data, "postmaster.pid")
	text, err := os.ReadFile(pidFile)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("data folder: %w", err)
	}
	// Line 1 is the process id, line 5 the socket folder (PostgreSQL, miscadmin.h, LOCK_FILE_LINE_*).
	lines := strings.Split(string(text), "\n")
	postmaster, _ := strconv.Atoi(strings.TrimSpace(lines[0])) // 0, no process, when it is not a number
	if err := s.stopOrphans(ctx, postmaster); err != nil {
		return err
	}
	folders := []string{s.box}
	if len(lines) >= 5 && filepath.IsAbs(lines[4]) && lines[4] != s.box {
		folders = append(folders, lines[4])
	}
	stale := []string{pidFile}
	for _, folder := range folders {
		stale = append(stale, filepath.Join(folder, socketName), filepath.Join(folder, socketName+".lock"))
	}
	for _, path := range stale {
		if err := os.Remove(path); err != nil && !errors.Is(err, os.ErrNotExist) {
			return fmt.Errorf("clear what the last server left: %w", err)
		}
	}
	if len(folders) == 2 {
		_ = os.Remove(folders[1]) // a temporary socket folder; refused, and left, when anything else is in it
	}
	return nil
}

// stopOrphans ends every process that still works in the data folder. It never signals a process on the
// strength of the id in postmaster.pid alone: ids are used again.
func (s *Server) stopOrphans(ctx context.Context, postmaster int) error {
	begin := time.Now()
	told, insisted := false, false
	for {
		alive := processesOn(s.data, postmaster)
		if len(alive) == 0 {
			return nil
		}
		waited := time.Since(begin)
		switch {
		case !told:
			told = true
			for _, pid := range alive {
				// The postmaster ends its own workers; workers without one are told themselves.
				if pid == postmaster {
					_ = syscall.Kill(pid, syscall.SIGINT)
					break
				}
				_ = syscall.Kill(pid, syscall.SIGTERM)
			}
		case !insisted && waited > fastShutdown:
			insisted = true
			for _, pid := range alive {
				_ = syscall.Kill(pid, syscall.SIGQUIT)
			}
		case waited > fastShutdown+immediateShutdown:
			return fmt.Errorf("an earlier PostgreSQL still runs on %s (processes %v) and does not stop", s.dir, alive)
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("waiting for an earlier PostgreSQL on %s to stop: %w", s.dir, ctx.Err())
		case <-time.After(20 * time.Millisecond):
		}
	}
}

// processesOn lists the live processes whose working folder is data, the postmaster first. PostgreSQL and all
// its workers stand in their data folder. A zombie has no working folder and is not listed. Without /proc only
// the postmaster can be recognised; PostgreSQL's own shared memory check then guards against its workers.
func processesOn(data string, postmaster int) []int {
	if _, err := os.Readlink("/proc/self/cwd"); err != nil {
		if postmaster > 0 && psShows(postmaster, data) {
			return []int{postmaster}
		}
		return nil
	}
	entries, err := os.ReadDir("/proc")
	if err != nil {
		return nil
	}
	var found []int
	for _, entry := range entries {
		pid, err := strconv.Atoi(entry.Name())
		if err != nil {
			continue
		}
		cwd, err := os.Readlink(filepath.Join("/proc", entry.Name(), "cwd"))
		if err != nil || cwd != data {
			continue
		}
		if pid == postmaster {
			found = append([]int{pid}, found...)
		} else {
			found = append(found, pid)
		}
	}
	return found
}

// psShows asks ps whether process pid is a live postmaster of the data folder.
func psShows(pid int, data string) bool {
	out, err := exec.Command("ps", "-ww", "-o", "stat=,command=", "-p", strconv.Itoa(pid)).Output()
	return err == nil && isPostmaster(string(out), data)
}

// isPostmaster reads one line of ps: the state, then the command line that launch built.
func isPostmaster(line, data string) bool {
	state, command, _ := strings.Cut(strings.TrimSpace(line), " ")
	return !strings.HasPrefix(state, "Z") && strings.Contains(command+" ", "postgres -D "+data+" ")
}
