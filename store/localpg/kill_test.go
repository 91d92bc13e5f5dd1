package localpg

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

const rowsBeforeKill = 25

// checkRows starts the folder again and compares its rows with what was acknowledged. One row more is right:
// committed, and the process died before it could say so.
func checkRows(t *testing.T, dir string, acknowledged int) {
	t.Helper()
	s := start(t, dir, Options{})
	count, err := strconv.Atoi(query(t, s, "SELECT count(*)::text FROM entry"))
	if err != nil {
		t.Fatal(err)
	}
	if count != acknowledged && count != acknowledged+1 {
		t.Errorf("%d rows after the kill, but %d were acknowledged", count, acknowledged)
	}
	if highest := query(t, s, "SELECT max(n)::text FROM entry"); highest != strconv.Itoa(count) {
		t.Errorf("%d rows, but the highest is %s: one is missing", count, highest)
	}
	if err := s.Stop(); err != nil {
		t.Errorf("stop after recovery: %v", err)
	}
}

func TestKilledPostgresRecovers(t *testing.T) {
	t.Parallel()
	dir := testFolder(t)
	h := startHelper(t, dir, false)
	h.acknowledged(t, rowsBeforeKill)
	mustKill(t, h.postmaster)
	waitUntilGone(t, h.postmaster, filepath.Join(dir, "box", "pg"))
	h.kill()
	checkRows(t, dir, h.lastAcknowledged(rowsBeforeKill))
}

func TestKilledServerTakesPostgresAlong(t *testing.T) {
	t.Parallel()
	dir := testFolder(t)
	h := startHelper(t, dir, false)
	h.acknowledged(t, rowsBeforeKill)
	h.kill()
	// On Linux the kernel tells PostgreSQL; elsewhere checkRows' start stops it. Both must end here.
	checkRows(t, dir, h.lastAcknowledged(rowsBeforeKill))
	waitUntilGone(t, h.postmaster, filepath.Join(dir, "box", "pg"))
}

func TestBothKilledAtOnceRecover(t *testing.T) {
	t.Parallel()
	dir := testFolder(t)
	h := startHelper(t, dir, false)
	h.acknowledged(t, rowsBeforeKill)
	h.kill()
	mustKill(t, h.postmaster)
	checkRows(t, dir, h.lastAcknowledged(rowsBeforeKill))
}

func TestOrphanIsStoppedByTheNextStart(t *testing.T) {
	t.Parallel()
	dir := testFolder(t)
	data := filepath.Join(dir, "box", "pg")
	h := startHelper(t, dir, true)
	h.acknowledged(t, rowsBeforeKill)
	h.kill()
	acknowledged := h.lastAcknowledged(rowsBeforeKill)
	time.Sleep(200 * time.Millisecond) // long enough for a tied server to be gone
	if alive := processesOn(data, h.postmaster); len(alive) == 0 || alive[0] != h.postmaster {
		t.Fatalf("the orphan %d does not run, only %v: this test shows nothing", h.postmaster, alive)
	}
	if !psShows(h.postmaster, data) {
		t.Error("ps does not recognise the orphan, as systems without /proc need")
	}
	checkRows(t, dir, acknowledged)
	waitUntilGone(t, h.postmaster, data)
}

// A killed postmaster that nobody waits for keeps its process id, and PostgreSQL by itself would refuse to
// start for its sake.
func TestZombiePostmasterDoesNotBlockTheStart(t *testing.T) {
	t.Parallel()
	dir := testFolder(t)
	s := start(t, dir, Options{})
	query(t, s, "CREATE TABLE note AS SELECT 'kept'::text AS body")
	if err := s.Stop(); err != nil {
		t.Fatal(err)
	}

	zombie := exec.Command("sh", "-c", "exit 0")
	s.prepare(zombie, Options{})
	if err := zombie.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { _ = zombie.Wait() }()
	pid := strconv.Itoa(zombie.Process.Pid)
	lock := strings.Join([]string{pid, s.data, "1", "5432", s.box, "", "", "ready", ""}, "\n")
	for _, path := range []string{
		filepath.Join(s.data, "postmaster.pid"), filepath.Join(s.box, socketName+".lock"), filepath.Join(s.box, socketName),
	} {
		if err := os.WriteFile(path, []byte(lock), 0o600); err != nil {
			t.Fatal(err)
		}
		if credential := s.who.credential; credential != nil {
			if err := os.Chown(path, int(credential.Uid), int(credential.Gid)); err != nil {
				t.Fatal(err)
			}
		}
	}

	again := start(t, dir, Options{})
	if got := query(t, again, "SELECT body FROM note"); got != "kept" {
		t.Errorf("the note says %q, want kept", got)
	}
}

// A process id in postmaster.pid that now belongs to somebody else's process must not be signalled.
func TestStrangerWithThePostmastersIDIsLeftAlone(t *testing.T) {
	t.Parallel()
	dir := testFolder(t)
	s := start(t, dir, Options{})
	if err := s.Stop(); err != nil {
		t.Fatal(err)
	}
	stranger := exec.Command("sleep", "600")
	if err := stranger.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- stranger.Wait() }()
	defer func() { _ = stranger.Process.Kill() }()
	lock := strings.Join([]string{strconv.Itoa(stranger.Process.Pid), s.data, "1", "5432", s.box, "", ""}, "\n")
	if err := os.WriteFile(filepath.Join(s.data, "postmaster.pid"), []byte(lock), 0o600); err != nil {
		t.Fatal(err)
	}
	start(t, dir, Options{})
	select {
	case err := <-ended:
		t.Errorf("the start ended a process that is not PostgreSQL: %v", err)
	default:
	}
}

func TestServerSaysWhenPostgresEnds(t *testing.T) {
	t.Parallel()
	s := start(t, testFolder(t), Options{Throwaway: true})
	mustKill(t, s.PID())
	select {
	case <-s.Done():
	case <-time.After(10 * time.Second):
		t.Fatal("Done is still open 10 s after PostgreSQL was killed")
	}
	if err := s.Stop(); err == nil {
		t.Error("Stop does not say that PostgreSQL had been killed")
	}
}

func TestStartGivesUpWhenTheContextEnds(t *testing.T) {
	t.Parallel()
	dir := testFolder(t)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Start(ctx, dir, Options{Throwaway: true}); err == nil {
		t.Fatal("Start ignores a context that has ended")
	}
	start(t, dir, Options{Throwaway: true}) // the folder is free again
}
