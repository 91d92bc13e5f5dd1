package localpg

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

// TestMain lets this binary be the Coatbook server that a test kills; see helper_test.go.
func TestMain(m *testing.M) {
	if dir := os.Getenv(helperDir); dir != "" {
		os.Exit(helperServer(dir, os.Getenv(helperOrphan) != ""))
	}
	os.Exit(m.Run())
}

// testFolder is a data folder that the database's user may reach, also when the tests run as root under a
// strict temporary folder. It is emptied only after every server on it was stopped. It lies in memory where
// there is room: these tests end processes, not the power, so a disk would add nothing but waiting.
func testFolder(t *testing.T) string {
	t.Helper()
	base := ""
	var memory syscall.Statfs_t
	if syscall.Statfs("/dev/shm", &memory) == nil && memory.Bavail*uint64(memory.Bsize) > 2<<30 {
		base = "/dev/shm"
	}
	dir, err := os.MkdirTemp(base, "pg")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := os.RemoveAll(dir); err != nil {
			t.Error(err)
		}
	})
	return dir
}

func start(t *testing.T, dir string, opts Options) *Server {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	s, err := Start(ctx, dir, opts)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Stop() }) // the test that looks at the result has called Stop itself
	return s
}

// query runs SQL with one text result, or none, on the server as its superuser.
func query(t *testing.T, s *Server, sql string) string {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), s.URL(Superuser))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	var text string
	if err := conn.QueryRow(t.Context(), sql).Scan(&text); err != nil && !errors.Is(err, pgx.ErrNoRows) {
		t.Fatalf("%s: %v", sql, err)
	}
	return text
}

func TestStopAndStartKeepsWhatWasWritten(t *testing.T) {
	t.Parallel()
	dir := testFolder(t)
	s := start(t, dir, Options{})
	query(t, s, "CREATE TABLE note AS SELECT 'kept'::text AS body")
	if err := s.Stop(); err != nil {
		t.Fatalf("Stop: %v", err)
	}
	select {
	case <-s.Done():
	default:
		t.Error("Done is open after Stop")
	}
	if err := s.Stop(); err != nil {
		t.Errorf("second Stop: %v", err)
	}

	again := start(t, dir, Options{})
	if got := query(t, again, "SELECT body FROM note"); got != "kept" {
		t.Errorf("after a restart the note says %q, want kept", got)
	}
}

func TestDurabilityBeatsWhatWasAltered(t *testing.T) {
	t.Parallel()
	dir := testFolder(t)
	s := start(t, dir, Options{})
	query(t, s, "ALTER SYSTEM SET fsync = off")
	query(t, s, "ALTER SYSTEM SET synchronous_commit = off")
	query(t, s, "ALTER SYSTEM SET full_page_writes = off")
	if err := s.Stop(); err != nil {
		t.Fatal(err)
	}
	again := start(t, dir, Options{})
	for _, setting := range []string{"fsync", "synchronous_commit", "full_page_writes", "data_checksums"} {
		if got := query(t, again, "SHOW "+setting); got != "on" {
			t.Errorf("%s is %s, want on", setting, got)
		}
	}
	if got := query(t, again, "SHOW listen_addresses"); got != "" {
		t.Errorf("listens on %q, want no address but the socket", got)
	}
}

func TestThrowawayIsNotDurable(t *testing.T) {
	t.Parallel()
	s := start(t, testFolder(t), Options{Throwaway: true})
	if got := query(t, s, "SHOW fsync"); got != "off" {
		t.Errorf("fsync is %s, want off", got)
	}
}

func TestSecondServerIsRefused(t *testing.T) {
	t.Parallel()
	dir := testFolder(t)
	first := start(t, dir, Options{Throwaway: true})
	_, err := Start(t.Context(), dir, Options{Throwaway: true})
	if !errors.Is(err, ErrInUse) {
		t.Fatalf("second Start: %v, want ErrInUse", err)
	}
	for _, want := range []string{dir, fmt.Sprint(os.Getpid())} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("%q does not name %s", err, want)
		}
	}
	if got := query(t, first, "SELECT 'alive'"); got != "alive" {
		t.Error("the refusal disturbed the first server")
	}
}

func TestSocketFolderIsClosedToOthers(t *testing.T) {
	t.Parallel()
	dir := testFolder(t)
	start(t, dir, Options{Throwaway: true})
	info, err := os.Stat(filepath.Join(dir, "box"))
	if err != nil {
		t.Fatal(err)
	}
	if got := info.Mode().Perm(); got != 0o700 {
		t.Errorf("box has mode %o, want 700: trust is safe only behind it", got)
	}
}

func TestLongDataPathGetsAShortSocket(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(testFolder(t), strings.Repeat("long", 30), "with, comma")
	s := start(t, dir, Options{Throwaway: true})
	if got := query(t, s, "SELECT 'reached'"); got != "reached" {
		t.Errorf("got %q", got)
	}
	sockets := s.sockets
	if sockets == s.box {
		t.Fatal("the socket lies in a folder whose path is too long")
	}
	if err := s.Stop(); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(sockets); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the temporary socket folder is still there: %v", err)
	}
}

func TestUnfinishedDatabaseIsMadeAnew(t *testing.T) {
	t.Parallel()
	dir := testFolder(t)
	half := filepath.Join(dir, "box", "pg.new")
	if err := os.MkdirAll(half, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(half, "PG_VERSION"), []byte("15\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	s := start(t, dir, Options{Throwaway: true})
	if got := query(t, s, "SELECT 'whole'"); got != "whole" {
		t.Errorf("got %q", got)
	}
}

func TestOtherMajorIsNeverReplaced(t *testing.T) {
	t.Parallel()
	dir := testFolder(t)
	data := filepath.Join(dir, "box", "pg")
	if err := os.MkdirAll(data, 0o700); err != nil {
		t.Fatal(err)
	}
	version := filepath.Join(data, "PG_VERSION")
	if err := os.WriteFile(version, []byte("9\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	_, err := Start(t.Context(), dir, Options{})
	if !errors.Is(err, ErrNoBinaries) || !strings.Contains(err.Error(), "version 9") {
		t.Errorf("Start on a version 9 folder: %v, want ErrNoBinaries naming version 9", err)
	}
	if text, err := os.ReadFile(version); err != nil || string(text) != "9\n" {
		t.Errorf("the old database was touched: %q, %v", text, err)
	}
}

func TestUnknownContentIsNotOverwritten(t *testing.T) {
	t.Parallel()
	dir := testFolder(t)
	data := filepath.Join(dir, "box", "pg")
	if err := os.MkdirAll(data, 0o700); err != nil {
		t.Fatal(err)
	}
	if _, err := Start(t.Context(), dir, Options{}); err == nil || !strings.Contains(err.Error(), data) {
		t.Errorf("Start on a folder that is no database: %v, want a refusal naming %s", err, data)
	}
}

func TestCancelledStartLeavesNothingRunning(t *testing.T) {
	t.Parallel()
	dir := testFolder(t)
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Millisecond) // in the middle of initdb
	defer cancel()
	if s, err := Start(ctx, dir, Options{Throwaway: true}); err == nil {
		t.Fatal("Start succeeded in 30 ms; the test needs a shorter limit", s.Stop())
	}
	s := start(t, dir, Options{Throwaway: true})
	if got := query(t, s, "SELECT 'ready'"); got != "ready" {
		t.Errorf("got %q", got)
	}
}
