// Package storetest gives every test a PostgreSQL database of its own, migrated and empty.
//
// The server is, in this order: the one DATABASE_URL names; a container of the image COATBOOK_TEST_IMAGE
// names; a private one from the PostgreSQL installed on this machine. Without any of them a test fails: a
// database test that skips itself shows nothing. The server is started once for each test binary, and a
// template is migrated once in it; each test works on a clone of the template, or of a book Filled with what many
// tests begin with, dropped at its end.
package storetest

import (
	"context"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"

	"coatbook/store"
)

// limit bounds each step on the database server, so that a hang fails the test that met it.
const limit = 2 * time.Minute

// shared is the server of this test binary and the template in it.
var shared = sync.OnceValues(openCluster)

// urls remembers the address behind each store that New opened.
var urls sync.Map // *store.DB -> string

// New opens a fresh database as the server does, with the rights of the server's role and no more.
func New(t testing.TB) *store.DB {
	t.Helper()
	return open(t, URL(t))
}

// open opens the database at url until the test is over.
func open(t testing.TB, url string) *store.DB {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), limit)
	defer cancel()
	db, err := store.Open(ctx, url)
	if err != nil {
		t.Fatalf("open the test's database: %v", err)
	}
	urls.Store(db, url)
	t.Cleanup(func() {
		urls.Delete(db)
		db.Close()
	})
	return db
}

// URL is the owner's address of a fresh, migrated database, for tests that start a server of their own.
func URL(t testing.TB) string {
	t.Helper()
	c, err := shared()
	if err != nil {
		t.Fatalf("no database to test on: %v", err)
	}
	return clone(t, c.template())
}

// Empty is the owner's address of a database without any table, for tests of the migrations themselves.
func Empty(t testing.TB) string {
	t.Helper()
	return clone(t, "")
}

// OwnerURL is the owner's address of the database that New opened.
func OwnerURL(t testing.TB, db *store.DB) string {
	t.Helper()
	url, ok := urls.Load(db)
	if !ok {
		t.Fatal("storetest: the store was not opened by New, or its test is over")
	}
	return url.(string)
}

// Owner opens the database of db with its owner's rights: for a test that must look at, or do, what the
// server's role may not.
func Owner(t testing.TB, db *store.DB) *pgxpool.Pool {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), limit)
	defer cancel()
	pool, err := pgxpool.New(ctx, OwnerURL(t, db))
	if err != nil {
		t.Fatalf("open the database as its owner: %v", err)
	}
	t.Cleanup(pool.Close)
	return pool
}

// clone makes a database for the test, as create does, and has it dropped when the test is over.
func clone(t testing.TB, of string) string {
	t.Helper()
	c, err := shared()
	if err != nil {
		t.Fatalf("no database to test on: %v", err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), limit)
	defer cancel()
	name, err := c.create(ctx, of)
	if err != nil {
		t.Fatalf("make the test's database: %v", err)
	}
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), limit)
		defer cancel()
		if err := c.drop(ctx, name); err != nil {
			t.Errorf("drop the test's database: %v", err)
		}
	})
	url, err := withDatabase(c.url, name)
	if err != nil {
		t.Fatal(err)
	}
	return url
}
