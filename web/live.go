package web

import (
	"context"
	"sync"

	"github.com/google/uuid"

	"coatbook/store"
)

// live fans the database's change notices out to the open pages of this server: one LISTEN for all of them.
type live struct {
	mu     sync.Mutex
	pages  map[uuid.UUID]map[chan struct{}]bool
	cancel context.CancelFunc
	ctx    context.Context
}

func newLive() *live {
	l := &live{pages: map[uuid.UUID]map[chan struct{}]bool{}}
	l.ctx, l.cancel = context.WithCancel(context.Background())
	return l
}

func (l *live) run(db *store.DB) { db.Listen(l.ctx, l.changed) }

// stop ends the listening and closes every page's channel for good.
func (l *live) stop() { l.cancel() }

// done is closed when the server drains.
func (l *live) done() <-chan struct{} { return l.ctx.Done() }

// changed tells the pages of a site, or of all sites for uuid.Nil. A page that has not read the last notice yet needs no
// second one.
func (l *live) changed(site uuid.UUID) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for id, pages := range l.pages {
		if id != site && site != uuid.Nil {
			continue
		}
		for page := range pages {
			select {
			case page <- struct{}{}:
			default:
			}
		}
	}
}

// Subscribe returns a channel that receives after each change of a site, and the function that ends it.
func (l *live) Subscribe(site uuid.UUID) (<-chan struct{}, func()) {
	page := make(chan struct{}, 1)
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.pages[site] == nil {
		l.pages[site] = map[chan struct{}]bool{}
	}
	l.pages[site][page] = true
	return page, func() {
		l.mu.Lock()
		defer l.mu.Unlock()
		delete(l.pages[site], page)
	}
}
