package store

import (
	"context"
	"time"

	"github.com/google/uuid"
)

const channel = "coatbook_changed"

// changed marks a site so that its open pages are told. One notification per site and 100 ms is enough for people, and
// keeps the commit path free of the lock that NOTIFY takes.
func (db *DB) changed(site uuid.UUID) {
	if site == uuid.Nil {
		return
	}
	db.mu.Lock()
	db.dirty[site] = true
	db.mu.Unlock()
}

func (db *DB) notifyLoop() {
	defer close(db.done)
	tick := time.NewTicker(100 * time.Millisecond)
	defer tick.Stop()
	for {
		select {
		case <-db.quit:
			db.announce()
			return
		case <-tick.C:
			db.announce()
		}
	}
}

func (db *DB) announce() {
	db.mu.Lock()
	sites := db.dirty
	db.dirty = map[uuid.UUID]bool{}
	db.mu.Unlock()
	for site := range sites {
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		// A lost notification only delays a live page until the next one; the records are safe.
		_, _ = db.pool.Exec(ctx, "SELECT pg_notify($1, $2)", channel, site.String())
		cancel()
	}
}

// Listen calls changed with a site's id whenever something of that site was committed by any server, until ctx ends. It
// reconnects by itself and then reports uuid.Nil, which means "anything may have changed": notifications are not kept.
func (db *DB) Listen(ctx context.Context, changed func(site uuid.UUID)) {
	for ctx.Err() == nil {
		db.listenOnce(ctx, changed)
		select {
		case <-ctx.Done():
		case <-time.After(500 * time.Millisecond):
			changed(uuid.Nil)
		}
	}
}

func (db *DB) listenOnce(ctx context.Context, changed func(site uuid.UUID)) {
	pooled, err := db.pool.Acquire(ctx)
	if err != nil {
		return
	}
	conn := pooled.Hijack()
	defer conn.Close(context.WithoutCancel(ctx))
	if _, err := conn.Exec(ctx, "LISTEN "+channel); err != nil {
		return
	}
	for {
		n, err := conn.WaitForNotification(ctx)
		if err != nil {
			return
		}
		if site, err := uuid.Parse(n.Payload); err == nil {
			changed(site)
		}
	}
}
