package store

import (
	"context"
	"sync"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5/pgxpool"
)

const channel = "coatbook_changed"

// notices collects which sites changed and announces them.
type notices struct {
	pool  *pgxpool.Pool
	mu    sync.Mutex
	dirty map[uuid.UUID]bool // sites changed since the last notification
	quit  chan struct{}
	done  chan struct{}
}

func newNotices(pool *pgxpool.Pool) *notices {
	n := &notices{pool: pool, dirty: map[uuid.UUID]bool{}, quit: make(chan struct{}), done: make(chan struct{})}
	go n.loop()
	return n
}

// changed marks a site so that its open pages are told. One notification per site and 100 ms is enough for people, and
// keeps the commit path free of the lock that NOTIFY takes.
func (n *notices) changed(site uuid.UUID) {
	if site == uuid.Nil {
		return
	}
	n.mu.Lock()
	n.dirty[site] = true
	n.mu.Unlock()
}

func (n *notices) loop() {
	defer close(n.done)
	tick := time.NewTicker(100 * time.Millisecond)
	defer tick.Stop()
	for {
		select {
		case <-n.quit:
			n.announce()
			return
		case <-tick.C:
			n.announce()
		}
	}
}

func (n *notices) announce() {
	n.mu.Lock()
	sites := n.dirty
	n.dirty = map[uuid.UUID]bool{}
	n.mu.Unlock()
	for site := range sites {
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		// A lost notification only delays a live page until the next one; the records are safe.
		_, _ = n.pool.Exec(ctx, "SELECT pg_notify($1, $2)", channel, site.String())
		cancel()
	}
}

// stop announces what is left and ends the loop.
func (n *notices) stop() {
	close(n.quit)
	<-n.done
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
