package storetest

import (
	"context"
	"errors"
	"sync"
	"testing"

	"coatbook/store"
)

// Filled is a book that is filled once in a test binary and copied for every test that asks for it, which is much less work
// than filling it anew. T is what the filling knows of it; all tests share that value and must not change it. The zero value
// is ready for New.
type Filled[T any] struct {
	once sync.Once
	name string // of the database
	what T
	err  error
}

// New opens a copy of the book, for t alone, and returns what fill returned. The first call fills it: fill gets the open
// book, with the rights of the server's role, and should end t when it cannot go on. Where it fails every later test fails.
func (f *Filled[T]) New(t testing.TB, fill func(*store.DB) T) (*store.DB, T) {
	t.Helper()
	f.once.Do(func() {
		f.err = errors.New("the first test to ask for this book could not fill it") // where fill ends t
		f.err = f.make(fill)
	})
	if f.err != nil {
		t.Fatalf("no book to copy: %v", f.err)
	}
	return open(t, clone(t, f.name)), f.what
}

func (f *Filled[T]) make(fill func(*store.DB) T) error {
	c, err := shared()
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(context.Background(), limit)
	defer cancel()
	if f.name, err = c.create(ctx, c.template()); err != nil {
		return err
	}
	url, err := withDatabase(c.url, f.name)
	if err != nil {
		return err
	}
	db, err := store.Open(ctx, url)
	if err != nil {
		return err
	}
	defer db.Close() // nobody may be connected to a database that is copied
	f.what = fill(db)
	return nil
}
