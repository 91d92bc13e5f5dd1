package web

import (
	"context"
	"net/http"
	"time"

	"github.com/alexedwards/scs/pgxstore"
	"github.com/jackc/pgx/v5/pgxpool"
)

// A sessionStore keeps sittings in the database. A sitting that ended while a request of it was under way stays ended: what that
// request would write back goes nowhere, where the library's own store would make the sitting anew.
type sessionStore struct {
	*pgxstore.PostgresStore
	pool *pgxpool.Pool
}

func newSessionStore(pool *pgxpool.Pool) sessionStore {
	return sessionStore{pgxstore.NewWithCleanupInterval(pool, 10*time.Minute), pool}
}

// loadedKey leads to the token that a request's sitting was found by.
type loadedKey struct{}

// remembers gives each request a place for that token; it goes before the session middleware.
func (sessionStore) remembers(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		next.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), loadedKey{}, new(string))))
	})
}

// FindCtx implements scs.CtxStore.
func (s sessionStore) FindCtx(ctx context.Context, token string) ([]byte, bool, error) {
	b, found, err := s.Find(token)
	if loaded, ok := ctx.Value(loadedKey{}).(*string); ok && found {
		*loaded = token
	}
	return b, found, err
}

// CommitCtx implements scs.CtxStore.
func (s sessionStore) CommitCtx(ctx context.Context, token string, b []byte, expiry time.Time) error {
	if loaded, ok := ctx.Value(loadedKey{}).(*string); !ok || *loaded != token {
		return s.Commit(token, b, expiry)
	}
	// The request may have been given up by now; the sitting is written all the same, as the library does.
	_, err := s.pool.Exec(context.WithoutCancel(ctx), "UPDATE sessions SET data = $2, expiry = $3 WHERE token = $1", token, b, expiry)
	return err
}

// DeleteCtx implements scs.CtxStore.
func (s sessionStore) DeleteCtx(_ context.Context, token string) error { return s.Delete(token) }
