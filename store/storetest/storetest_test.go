package storetest

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"coatbook/store"
)

// scalar asks the database at url for one text.
func scalar(t *testing.T, url, sql string) string {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	var text string
	if err := conn.QueryRow(t.Context(), sql).Scan(&text); err != nil {
		t.Fatalf("%s: %v", sql, err)
	}
	return text
}

func TestTwoTestsDoNotSeeEachOther(t *testing.T) {
	first, second := New(t), New(t)
	if _, err := Owner(t, first).Exec(t.Context(), "CREATE TABLE mine AS SELECT 1 AS n"); err != nil {
		t.Fatal(err)
	}
	const exists = "SELECT (to_regclass('mine') IS NOT NULL)::text"
	if got := scalar(t, OwnerURL(t, first), exists); got != "true" {
		t.Errorf("the first database does not have the table that was made in it")
	}
	if got := scalar(t, OwnerURL(t, second), exists); got != "false" {
		t.Errorf("the second database has a table made in the first")
	}
}

func TestFilledBookIsFilledOnceAndCopiedForEach(t *testing.T) {
	var book Filled[string]
	fills := 0
	add := func(db *store.DB, code string) {
		t.Helper()
		if _, err := db.AddSite(t.Context(), store.NewSite{Code: code, Name: "Works", TimeZone: "America/Chicago"}); err != nil {
			t.Fatal(err)
		}
	}
	for range 2 {
		db, said := book.New(t, func(db *store.DB) string { fills++; add(db, "TH"); return "filled" })
		add(db, "OT") // refused where the copy before has it too: codes are unique
		sites, err := db.Sites(t.Context())
		if err != nil || len(sites) != 2 || said != "filled" {
			t.Errorf("got %d sites (%v) and %q, want the one filled in, the one added and filled", len(sites), err, said)
		}
	}
	if fills != 1 {
		t.Errorf("filled %d times, want once", fills)
	}
}

func TestFreshDatabaseIsMigratedAndEmptyIsNot(t *testing.T) {
	const migrated = "SELECT (to_regclass('schema_migrations') IS NOT NULL)::text"
	if got := scalar(t, URL(t), migrated); got != "true" {
		t.Error("URL gives a database that was not migrated")
	}
	if got := scalar(t, Empty(t), migrated); got != "false" {
		t.Error("Empty gives a database with tables in it")
	}
}

func TestDatabaseIsDroppedAfterItsTest(t *testing.T) {
	var url string
	t.Run("user", func(t *testing.T) {
		url = URL(t)
		// A session left open must not keep the database.
		if _, err := pgx.Connect(context.Background(), url); err != nil {
			t.Fatal(err)
		}
	})
	if conn, err := pgx.Connect(t.Context(), url); err == nil {
		conn.Close(t.Context())
		t.Error("the database outlived its test")
	}
}

func TestLeftoversOfDeadBinariesAreDropped(t *testing.T) {
	c, err := shared()
	if err != nil {
		t.Fatal(err)
	}
	const dead = namePrefix + "00000000_1" // no session has this binary's name
	if _, err := c.admin.Exec(t.Context(), "CREATE DATABASE "+dead); err != nil {
		t.Fatal(err)
	}
	mine := URL(t)
	if err := c.dropLeftovers(t.Context()); err != nil {
		t.Fatal(err)
	}
	var left int
	err = c.admin.QueryRow(t.Context(), "SELECT count(*) FROM pg_database WHERE datname = $1", dead).Scan(&left)
	if err != nil || left != 0 {
		t.Errorf("%d databases of a dead binary left (%v), want 0", left, err)
	}
	if got := scalar(t, mine, "SELECT 'alive'"); got != "alive" {
		t.Error("a database in use was dropped")
	}
}

func TestWithDatabaseKnowsBothForms(t *testing.T) {
	for _, c := range []struct{ address, want string }{
		{"postgres://kim:p%40ss@db:5433/old?sslmode=disable", "postgres://kim:p%40ss@db:5433/new?sslmode=disable"},
		{"postgresql://coatbook@/coatbook?host=%2Frun%2Fpg", "postgresql://coatbook@/new?host=%2Frun%2Fpg"},
		{"host=/run/pg dbname=old user=kim", "host=/run/pg dbname=old user=kim dbname=new"},
	} {
		got, err := withDatabase(c.address, "new")
		if err != nil || got != c.want {
			t.Errorf("%s: got %s (%v), want %s", c.address, got, err, c.want)
			continue
		}
		config, err := pgx.ParseConfig(got)
		if err != nil || config.Database != "new" {
			t.Errorf("%s: pgx reads database %q (%v), want new", got, config.Database, err)
		}
	}
}

func TestUnreadableAddressKeepsItsPassword(t *testing.T) {
	_, err := withDatabase("postgres://kim:secret@db:port/old", "new")
	if err == nil || strings.Contains(err.Error(), "secret") {
		t.Errorf("got %v, want an error without the password", err)
	}
}

func TestMissingImageFailsInsteadOfFallingBack(t *testing.T) {
	const image = "coatbook-image-that-does-not-exist:0"
	_, err := startContainer(t.Context(), image)
	if err == nil || !strings.Contains(err.Error(), image) {
		t.Errorf("got %v, want an error that names %s", err, image)
	}
}

func TestAbandonedFoldersAreRemoved(t *testing.T) {
	base := t.TempDir()
	old := time.Now().Add(-time.Hour)
	for _, name := range []string{"coatbook-test-dead", "coatbook-test-young", "other"} {
		dir := filepath.Join(base, name)
		if err := os.Mkdir(dir, 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, "server.lock"), nil, 0o600); err != nil {
			t.Fatal(err)
		}
		if name == "coatbook-test-young" {
			continue
		}
		if err := os.Chtimes(dir, old, old); err != nil {
			t.Fatal(err)
		}
	}
	removeAbandoned(base)
	left, err := os.ReadDir(base)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, entry := range left {
		names = append(names, entry.Name())
	}
	if got := strings.Join(names, " "); got != "coatbook-test-young other" {
		t.Errorf("left: %s; want coatbook-test-young other", got)
	}
}

// The cleaner must run when the process it watches is killed, so the test watches one and kills it.
func TestAfterwardsRunsWhenTheProcessIsKilled(t *testing.T) {
	if target := os.Getenv("COATBOOK_STORETEST_TARGET"); target != "" {
		if err := afterwards(`echo cleaned > "$1"`, target); err != nil {
			t.Fatal(err)
		}
		os.Stdout.WriteString("watched\n")
		select {}
	}
	target := filepath.Join(t.TempDir(), "sign")
	cmd := exec.Command(os.Args[0], "-test.run=^TestAfterwardsRunsWhenTheProcessIsKilled$")
	cmd.Env = append(os.Environ(), "COATBOOK_STORETEST_TARGET="+target)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	if _, err := out.Read(make([]byte, 16)); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(target); err == nil {
		t.Error("the cleaner ran while its process lived")
	}
	if err := cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = cmd.Wait() // killed, so always an error
	for range 500 {
		if text, err := os.ReadFile(target); err == nil && string(text) == "cleaned\n" {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Error("the cleaner did not run within 5 s of the kill")
}
