package localpg

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

// Set for a child of the tests that plays a Coatbook server on the folder; see TestMain.
const (
	helperDir    = "COATBOOK_LOCALPG_HELPER_DIR"
	helperOrphan = "COATBOOK_LOCALPG_HELPER_ORPHAN"
)

// helperServer starts PostgreSQL, then commits one row after another and prints the number of each after its
// commit was acknowledged. It ends when it is killed.
func helperServer(dir string, orphan bool) int {
	ctx := context.Background()
	s, err := Start(ctx, dir, Options{orphan: orphan})
	if err != nil {
		fmt.Println("error:", err)
		return 1
	}
	conn, err := pgx.Connect(ctx, s.URL(Superuser))
	if err == nil {
		_, err = conn.Exec(ctx, "CREATE TABLE IF NOT EXISTS entry (n int PRIMARY KEY)")
	}
	fmt.Println("postmaster", s.PID())
	for n := 1; err == nil; n++ {
		if _, err = conn.Exec(ctx, "INSERT INTO entry VALUES ($1)", n); err == nil {
			fmt.Println(n)
		}
	}
	fmt.Println("ended:", err)
	select {} // wait for the kill: the test decides who ends first
}

// helper is a child that runs helperServer.
type helper struct {
	cmd        *exec.Cmd
	lines      *bufio.Scanner
	postmaster int
}

func startHelper(t *testing.T, dir string, orphan bool) *helper {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), helperDir+"="+dir)
	if orphan {
		cmd.Env = append(cmd.Env, helperOrphan+"=1")
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	h := &helper{cmd: cmd, lines: bufio.NewScanner(out)}
	t.Cleanup(h.kill)
	if !h.lines.Scan() {
		t.Fatal("the helper printed nothing")
	}
	pid, found := strings.CutPrefix(h.lines.Text(), "postmaster ")
	if !found {
		t.Fatalf("the helper said %q", h.lines.Text())
	}
	if h.postmaster, err = strconv.Atoi(pid); err != nil {
		t.Fatal(err)
	}
	return h
}

// acknowledged reads until n rows are acknowledged.
func (h *helper) acknowledged(t *testing.T, n int) {
	t.Helper()
	for h.lines.Scan() {
		if h.lines.Text() == strconv.Itoa(n) {
			return
		}
	}
	t.Fatalf("the helper ended before row %d: %v", n, h.lines.Err())
}

// lastAcknowledged reads what is left in the pipe of a killed helper.
func (h *helper) lastAcknowledged(already int) int {
	for h.lines.Scan() {
		if n, err := strconv.Atoi(h.lines.Text()); err == nil {
			already = n
		}
	}
	return already
}

// kill ends the helper as a power switch would. It may be called twice.
func (h *helper) kill() {
	_ = h.cmd.Process.Kill() // already ended is fine
}

// waitUntilGone fails the test when the process still runs after ten seconds. A zombie counts as gone.
func waitUntilGone(t *testing.T, pid int, data string) {
	t.Helper()
	for range 500 {
		gone := true
		for _, alive := range processesOn(data, pid) {
			gone = gone && alive != pid
		}
		if gone {
			return
		}
		time.Sleep(20 * time.Millisecond)
	}
	t.Fatalf("process %d still runs", pid)
}

// mustKill sends SIGKILL to a process this test started through its helper.
func mustKill(t *testing.T, pid int) {
	t.Helper()
	if err := syscall.Kill(pid, syscall.SIGKILL); err != nil && !errors.Is(err, syscall.ESRCH) {
		t.Fatal(err)
	}
}
