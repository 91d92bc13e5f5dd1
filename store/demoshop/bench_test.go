package demoshop

import (
	"context"
	"fmt"
	"net/url"
	"os"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/localpg"
)

const (
	clients   = 8  // people who save at the same time
	rounds    = 6  // turns that the store and the bare driver take, after a first one that only warms up
	perClient = 10 // film checks of a client in a turn
)

// BenchmarkSaveFilm saves film checks of five spots of three readings by eight clients on a durable PostgreSQL, and replays
// the very statements that this takes through the bare driver, on a copy of the same database, turn by turn in the same run.
func BenchmarkSaveFilm(b *testing.B) {
	cluster := startDurable(b)
	saves := shopBeforeFilm(b, cluster)
	for n := 0; b.Loop(); n++ {
		watched, timed, bare := cluster.copy(b, "watched", n), cluster.copy(b, "timed", n), cluster.copy(b, "bare", n)
		acts := watch(b, watched, saves)
		db, err := store.Open(b.Context(), timed)
		if err != nil {
			b.Fatal(err)
		}
		ours, theirs := takeTurns(b, saves, func(_, i int) error { return saves[i].into(b.Context(), db) }, replayer(b, bare, acts))
		db.Close()
		if got, want := rowsIn(b, timed), rowsIn(b, bare); got != want {
			b.Fatalf("the store left %s, the bare driver %s: they did not do the same", got, want)
		}
		total := float64((rounds - 1) * clients * perClient)
		b.ReportMetric(total/ours.Seconds(), "saves/s")
		b.ReportMetric(total/theirs.Seconds(), "bare_saves/s")
		b.ReportMetric(theirs.Seconds()/ours.Seconds(), "of_bare_pgx")
		b.ReportMetric(0, "ns/op")
	}
}

// takeTurns gives the store and the bare driver the same shares of the saves in turns, so that both meet the same machine,
// and returns the time each of them took for all turns but the first.
func takeTurns(b *testing.B, saves []save, save, replay func(client, i int) error) (ours, theirs time.Duration) {
	b.Helper()
	turn := func(round int, do func(client, i int) error) time.Duration {
		var wg sync.WaitGroup
		start := time.Now()
		for client := range clients {
			wg.Go(func() {
				first := (round*clients + client) * perClient
				for i := first; i < first+perClient; i++ {
					if err := do(client, i); err != nil {
						b.Errorf("save %d: %v", i, err)
						return
					}
				}
			})
		}
		wg.Wait()
		return time.Since(start)
	}
	for round := range rounds {
		var save1, replay1 time.Duration
		if round%2 == 0 {
			save1, replay1 = turn(round, save), turn(round, replay)
		} else {
			replay1, save1 = turn(round, replay), turn(round, save)
		}
		if b.Failed() {
			b.FailNow()
		}
		if round > 0 {
			ours, theirs = ours+save1, theirs+replay1
		}
	}
	return ours, theirs
}

// A save is one film check, ready to be sent.
type save struct {
	actor store.Actor
	entry store.Entry
	at    time.Time
}

func (s save) into(ctx context.Context, db *store.DB) error {
	_, err := db.At(s.at).Save(ctx, s.actor, s.entry)
	return err
}

// shopBeforeFilm takes oven loads of a first day as far as the film check, and prepares the checks of their parts.
func shopBeforeFilm(b *testing.B, c *durable) []save {
	b.Helper()
	ctx := b.Context()
	if err := store.Migrate(ctx, c.url); err != nil {
		b.Fatal(err)
	}
	db, err := OpenLoader(ctx, c.url)
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close()
	zone, err := time.LoadLocation("America/Chicago")
	if err != nil {
		b.Fatal(err)
	}
	midnight := time.Date(2026, 11, 25, 0, 0, 0, 0, zone)
	shop, err := Open(ctx, db, midnight.AddDate(0, 0, -1))
	if err != nil {
		b.Fatal(err)
	}
	sim := &simulation{Shop: shop, now: midnight.Add(12 * time.Hour), zone: zone, dayDrift: map[int]float64{}, recoat: map[*Product][]*part{}, serials: map[*Product]int{}}
	if err := sim.verify(ctx, 0, midnight.Add(6*time.Hour), "EC-07"); err != nil {
		b.Fatal(err)
	}
	const needed = rounds * clients * perClient
	var loads []*load
	// One part in ten is held on its way here.
	for n := range needed*10/9/(2*partsPerRack) + 1 {
		l, err := sim.newLoad(ctx, 0, n, midnight.Add(6*time.Hour+20*time.Minute))
		if err != nil {
			b.Fatal(err)
		}
		loads = append(loads, l)
	}
	prepared := make([][]save, len(loads))
	var mu sync.Mutex
	var work []func() error
	for _, l := range loads {
		work = append(work, func() error {
			saves, err := l.filmChecks(ctx)
			mu.Lock()
			defer mu.Unlock()
			prepared[l.n] = saves
			return err
		})
	}
	if err := inParallel(work); err != nil {
		b.Fatal(err)
	}
	var saves []save
	for _, s := range prepared {
		saves = append(saves, s...)
	}
	if len(saves) < needed {
		b.Fatalf("%d parts came as far as the film check, want %d", len(saves), needed)
	}
	if err := db.Analyze(ctx); err != nil {
		b.Fatal(err)
	}
	return saves[:needed]
}

// filmChecks takes the load as far as the film check and returns the checks of its parts.
func (l *load) filmChecks(ctx context.Context) (saves []save, err error) {
	for _, step := range []func(context.Context) error{l.receive, l.weld, l.hang, l.wash, l.coat, l.bake, l.rub} {
		if err := step(ctx); err != nil {
			return nil, err
		}
	}
	const at = 230
	t := l.base.Add(at * time.Minute)
	for r, parts := range l.parts {
		if err := l.finish(ctx, 196+2.2*float64(partsPerRack*r), parts); err != nil {
			return nil, err
		}
		for _, p := range parts {
			if p.gone {
				continue
			}
			check, gauge := l.filmCheck(at, r, p)
			saves = append(saves, save{l.inspector(at), store.Entry{RecordID: store.NewID(), Kind: quality.Film, Subject: onPart(p), ObservedAt: t.Add(-30 * time.Second),
				Check: check, Uses: []store.Use{gauge}}, t})
		}
	}
	return saves, nil
}

// A durable is a PostgreSQL that writes to the disk before it acknowledges, as a shop's does.
type durable struct{ url string }

func startDurable(b *testing.B) *durable {
	b.Helper()
	// Not the folder for temporary files, which may be memory; and open to the user PostgreSQL runs as.
	dir, err := os.MkdirTemp("/var/tmp", "coatbook-bench-")
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { os.RemoveAll(dir) })
	if err := os.Chmod(dir, 0o711); err != nil {
		b.Fatal(err)
	}
	server, err := localpg.Start(b.Context(), dir, localpg.Options{})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		if err := server.Stop(); err != nil {
			b.Error(err)
		}
	})
	return &durable{server.URL(localpg.Superuser)}
}

// copy makes one more database like the shop's and returns its address.
func (c *durable) copy(b *testing.B, name string, n int) string {
	b.Helper()
	u, err := url.Parse(c.url)
	if err != nil {
		b.Fatal(err)
	}
	name = fmt.Sprintf("%s%d", name, n)
	u.Path = "/postgres"
	conn, err := pgx.Connect(b.Context(), u.String())
	if err != nil {
		b.Fatal(err)
	}
	defer conn.Close(b.Context())
	if _, err := conn.Exec(b.Context(), "CREATE DATABASE "+name+" TEMPLATE "+localpg.Database); err != nil {
		b.Fatal(err)
	}
	u.Path = "/" + name
	return u.String()
}

// rowsIn counts what the saves leave behind.
func rowsIn(b *testing.B, url string) string {
	b.Helper()
	conn, err := pgx.Connect(b.Context(), url)
	if err != nil {
		b.Fatal(err)
	}
	defer conn.Close(b.Context())
	var rows string
	if err := conn.QueryRow(b.Context(), `SELECT format('%s records, %s readings, %s findings, %s events, %s accepted', (SELECT count(*) FROM record), (SELECT count(*) FROM reading),
		(SELECT count(*) FROM finding), (SELECT count(*) FROM event), (SELECT count(*) FROM part_status WHERE status = 'accepted'))`).Scan(&rows); err != nil {
		b.Fatal(err)
	}
	return rows
}

// A statement is one piece of SQL with its values in the order of their places.
type statement struct {
	sql    string
	values []any
}

// A trip is what goes to the database at once: one statement, or a batch of them.
type trip struct {
	batch      bool
	statements []statement
}

// An act is what one save sends.
type act []trip

// watch saves everything once, one after the other, and returns what each save sent.
func watch(b *testing.B, url string, saves []save) []act {
	b.Helper()
	w := &watcher{open: map[*pgx.Conn]act{}}
	db, err := store.Open(b.Context(), url, func(c *pgxpool.Config) { c.ConnConfig.Tracer = w })
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close()
	for _, s := range saves {
		if err := s.into(b.Context(), db); err != nil {
			b.Fatal(err)
		}
	}
	if w.err != nil || len(w.acts) != len(saves) {
		b.Fatalf("watched %d transactions of %d saves: %v", len(w.acts), len(saves), w.err)
	}
	return w.acts
}

// A watcher keeps what goes through the connections of a pool, transaction by transaction.
type watcher struct {
	mu   sync.Mutex
	open map[*pgx.Conn]act
	acts []act
	err  error
}

func (w *watcher) TraceQueryStart(ctx context.Context, conn *pgx.Conn, q pgx.TraceQueryStartData) context.Context {
	w.see(ctx, conn, trip{false, []statement{{q.SQL, q.Args}}})
	return ctx
}

func (w *watcher) TraceBatchStart(ctx context.Context, conn *pgx.Conn, d pgx.TraceBatchStartData) context.Context {
	t := trip{batch: true}
	for _, q := range d.Batch.QueuedQueries {
		t.statements = append(t.statements, statement{q.SQL, q.Arguments})
	}
	w.see(ctx, conn, t)
	return ctx
}

func (*watcher) TraceQueryEnd(context.Context, *pgx.Conn, pgx.TraceQueryEndData)     {}
func (*watcher) TraceBatchQuery(context.Context, *pgx.Conn, pgx.TraceBatchQueryData) {}
func (*watcher) TraceBatchEnd(context.Context, *pgx.Conn, pgx.TraceBatchEndData)     {}

func (w *watcher) see(ctx context.Context, conn *pgx.Conn, t trip) {
	w.mu.Lock()
	defer w.mu.Unlock()
	// Names become places now: that is work of the store, not of the bare driver.
	for i, s := range t.statements {
		if len(s.values) == 0 {
			continue
		}
		if named, ok := s.values[0].(pgx.QueryRewriter); ok {
			var err error
			if t.statements[i].sql, t.statements[i].values, err = named.RewriteQuery(ctx, conn, s.sql, s.values[1:]); err != nil {
				w.err = err
			}
		}
	}
	open, begun := w.open[conn]
	if !begun && t.statements[0].sql != "begin" {
		return
	}
	w.open[conn] = append(open, t)
	if t.statements[len(t.statements)-1].sql == "commit" {
		w.acts = append(w.acts, w.open[conn])
		delete(w.open, conn)
	}
}

// replayer connects the clients without a store and returns what sends an act again.
func replayer(b *testing.B, url string, acts []act) func(client, i int) error {
	b.Helper()
	config, err := pgx.ParseConfig(url)
	if err != nil {
		b.Fatal(err)
	}
	config.RuntimeParams["synchronous_commit"], config.RuntimeParams["timezone"] = "on", "UTC"
	conns := make([]*pgx.Conn, clients)
	for i := range conns {
		if conns[i], err = pgx.ConnectConfig(b.Context(), config); err != nil {
			b.Fatal(err)
		}
		b.Cleanup(func() { conns[i].Close(context.WithoutCancel(b.Context())) })
		if _, err := conns[i].Exec(b.Context(), "SET ROLE "+store.AppRole); err != nil {
			b.Fatal(err)
		}
	}
	return func(client, i int) error { return acts[i].replay(b.Context(), conns[client]) }
}

// replay sends an act through a bare connection, in the same trips.
func (a act) replay(ctx context.Context, conn *pgx.Conn) error {
	for _, t := range a {
		if !t.batch {
			if _, err := conn.Exec(ctx, t.statements[0].sql, t.statements[0].values...); err != nil {
				return err
			}
			continue
		}
		batch := &pgx.Batch{}
		for _, s := range t.statements {
			batch.Queue(s.sql, s.values...)
		}
		if err := conn.SendBatch(ctx, batch).Close(); err != nil {
			return err
		}
	}
	return nil
}
