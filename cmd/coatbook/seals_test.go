package main

import (
	"context"
	"encoding/base64"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"

	"coatbook/store"
	"coatbook/store/storetest"
)

// a sealedBook is a site with a day that closed a week ago, sealed by the program's own round.
func sealedBook(t *testing.T) (c config, db *store.DB, site store.Site) {
	t.Helper()
	c = config{databaseURL: storetest.URL(t), data: t.TempDir()}
	db, err := store.Open(t.Context(), c.databaseURL)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(db.Close)
	if site, err = db.At(time.Now().AddDate(0, 0, -7)).AddSite(t.Context(), store.NewSite{Code: "TH", Name: "Tern Hollow Metalworks", TimeZone: "America/Chicago"}); err != nil {
		t.Fatal(err)
	}
	if err := sealOnce(t.Context(), slog.New(slog.NewTextHandler(io.Discard, nil)), db, c); err != nil {
		t.Fatal(err)
	}
	return c, db, site
}

func owner(t *testing.T, c config, sql string) {
	t.Helper()
	pool, err := pgxpool.New(context.WithoutCancel(t.Context()), c.databaseURL)
	if err != nil {
		t.Fatal(err)
	}
	defer pool.Close()
	if tag, err := pool.Exec(t.Context(), sql); err != nil || tag.RowsAffected() == 0 {
		t.Fatalf("%s: %d rows, %v", sql, tag.RowsAffected(), err)
	}
}

func TestSealKeyIsTheOwnersAloneAndHeadsAreKeptOutside(t *testing.T) {
	c, db, site := sealedBook(t)
	info, err := os.Stat(c.sealKeyFile(site))
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Fatalf("the key file has mode %v, want 0600, %v", info.Mode(), err)
	}
	heads, err := readHeads(c.sealLogFile())
	if err != nil || len(heads[site.ID]) != 1 {
		t.Fatalf("the list outside has %v, want one seal, %v", heads, err)
	}
	// A second round adds nothing, and the list is made again when it was lost.
	log := slog.New(slog.NewTextHandler(io.Discard, nil))
	before, _ := os.ReadFile(c.sealLogFile())
	if err := sealOnce(t.Context(), log, db, c); err != nil {
		t.Fatal(err)
	}
	if after, _ := os.ReadFile(c.sealLogFile()); string(after) != string(before) {
		t.Errorf("a second round wrote %q", after)
	}
	if err := verify(t.Context(), log, c); err != nil {
		t.Errorf("a sound book: %v", err)
	}
}

func TestVerifyFailsAndNamesTheFirstRowThatWasChanged(t *testing.T) {
	c, _, _ := sealedBook(t)
	owner(t, c, `UPDATE event SET reason = 'no reason' WHERE verb = 'site opened'`)
	err := verify(t.Context(), nil, c)
	if err == nil || !strings.Contains(err.Error(), "the event “site opened”") || !strings.Contains(err.Error(), "was changed") {
		t.Errorf("verify says %v", err)
	}
}

func TestVerifyMissesTheLastRowAndTheLastSeal(t *testing.T) {
	c, _, _ := sealedBook(t)
	owner(t, c, `DELETE FROM seal_page`)
	owner(t, c, `DELETE FROM seal`)
	owner(t, c, `DELETE FROM event WHERE verb = 'site opened'`)
	if err := verify(t.Context(), nil, c); err == nil || !strings.Contains(err.Error(), "goes on to seal 1; the database ends at seal 0") {
		t.Errorf("verify says %v", err)
	}
}

func TestVerifyWithAKeyKeptElsewhereRefusesAnother(t *testing.T) {
	c, _, site := sealedBook(t)
	kept, err := os.ReadFile(c.publicFile(site))
	if err != nil {
		t.Fatal(err)
	}
	c.publicKey = strings.TrimSpace(string(kept))
	if err := verify(t.Context(), nil, c); err != nil {
		t.Error(err)
	}
	c.publicKey = base64.StdEncoding.EncodeToString(make([]byte, 32))
	if err := verify(t.Context(), nil, c); err == nil || !strings.Contains(err.Error(), "not among the site's keys") {
		t.Errorf("verify says %v", err)
	}
}

// TestServerWithoutTheKeySealsNothingAndSaysSo loses the key file: nothing replaces it by itself.
func TestServerWithoutTheKeySealsNothingAndSaysSo(t *testing.T) {
	c, db, site := sealedBook(t)
	if err := os.Remove(c.sealKeyFile(site)); err != nil {
		t.Fatal(err)
	}
	log := slog.New(slog.NewTextHandler(io.Discard, nil))
	err := sealOnce(t.Context(), log, db, c)
	if err == nil || !strings.Contains(err.Error(), "coatbook seal --new-key") {
		t.Errorf("without a key: %v", err)
	}
	c.newKey = true
	if err := sealNow(t.Context(), log, c); err != nil {
		t.Fatal(err)
	}
	if keys, err := db.SealKeys(t.Context(), site.ID); err != nil || len(keys) != 2 {
		t.Errorf("%d keys are registered, want the lost and the new one, %v", len(keys), err)
	}
	if err := verify(t.Context(), log, c); err != nil {
		t.Errorf("after a new key: %v", err)
	}
}

func TestListOfSealsWithABrokenLineIsRefusedByItsNumber(t *testing.T) {
	name := filepath.Join(t.TempDir(), "seals.log")
	const line = "018f0000-0000-7000-8000-000000000001 1 2026-11-24 3 aa key sig\n"
	for text, want := range map[string]string{line + "nonsense\n": "line 2", line + strings.Replace(line, "aa", "bb", 1): "another head"} {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := readHeads(name); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want it to say %q", text, err, want)
		}
	}
}
