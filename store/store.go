// Package store keeps Coatbook's records in PostgreSQL: one file per subject, every query names the site, and every
// change writes its event in the same transaction. Rules that need no data are in package quality.
package store

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/golang-migrate/migrate/v4"
	mpgx "github.com/golang-migrate/migrate/v4/database/pgx/v5"
	"github.com/golang-migrate/migrate/v4/source/iofs"
	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/jackc/pgx/v5/stdlib"
	pgxuuid "github.com/vgarvardt/pgx-google-uuid/v5"

	"coatbook/migrations"
)

// AppRole is the database role the server works as. It can insert and read records, never update or delete them.
const AppRole = "coatbook_app"

// A DB is the book. It is safe for concurrent use; any number of servers may share one database.
type DB struct {
	pool *pgxpool.Pool
	// Clock gives the server's time. Only tests and the demo loader replace it.
	Clock func() time.Time

	notices *notices
	// specs keeps the read bodies of approved revisions by revision id; they never change.
	specs *sync.Map
}

// At returns the same book with its clock stopped at an instant, for the demo loader and for tests of rules about time.
func (db *DB) At(at time.Time) *DB {
	return &DB{pool: db.pool, Clock: func() time.Time { return at }, notices: db.notices, specs: db.specs}
}

// Open connects to the database at url and works there as AppRole, whoever logs in. Close it when done. Each configure has
// the last word on the pool's settings, for benchmarks that look on.
func Open(ctx context.Context, url string, configure ...func(*pgxpool.Config)) (*DB, error) {
	config, err := pgxpool.ParseConfig(url)
	if err != nil {
		return nil, fmt.Errorf("reading the database address: %w", err)
	}
	if config.ConnConfig.RuntimeParams == nil {
		config.ConnConfig.RuntimeParams = map[string]string{}
	}
	// "Saved" means on disk, whatever the cluster's default is.
	config.ConnConfig.RuntimeParams["synchronous_commit"] = "on"
	config.ConnConfig.RuntimeParams["timezone"] = "UTC"
	// Compiling a query takes longer than any of ours gains by it: an export of a month of readings spent a quarter of its time so.
	config.ConnConfig.RuntimeParams["jit"] = "off"
	config.ConnConfig.RuntimeParams["application_name"] = "coatbook"
	config.AfterConnect = func(ctx context.Context, conn *pgx.Conn) error {
		// Without it every id would travel as text, by way of database/sql's interfaces.
		pgxuuid.Register(conn.TypeMap())
		_, err := conn.Exec(ctx, "SET ROLE "+AppRole)
		return err
	}
	if config.MaxConns < 16 {
		config.MaxConns = 16
	}
	for _, set := range configure {
		set(config)
	}
	pool, err := pgxpool.NewWithConfig(ctx, config)
	if err != nil {
		return nil, fmt.Errorf("connecting to the database: %w", err)
	}
	if err := pool.Ping(ctx); err != nil {
		pool.Close()
		return nil, fmt.Errorf("connecting to the database: %w", err)
	}
	return &DB{pool: pool, Clock: time.Now, notices: newNotices(pool), specs: &sync.Map{}}, nil
}

// Close sends what is still to be announced and closes all connections.
func (db *DB) Close() {
	db.notices.stop()
	db.pool.Close()
}

// Pool is the connection pool, for the session library.
func (db *DB) Pool() *pgxpool.Pool { return db.pool }

// Ready reports whether the database answers.
func (db *DB) Ready(ctx context.Context) error { return db.pool.Ping(ctx) }

// Migrate brings the schema at url up to date as its owner. Several servers may call it at once; one does the work.
func Migrate(ctx context.Context, url string) error {
	pool, err := pgxpool.New(ctx, url)
	if err != nil {
		return fmt.Errorf("connecting to migrate: %w", err)
	}
	defer pool.Close()
	source, err := iofs.New(migrations.Files, ".")
	if err != nil {
		return fmt.Errorf("reading migrations: %w", err)
	}
	sqlDB := stdlib.OpenDBFromPool(pool)
	driver, err := mpgx.WithInstance(sqlDB, &mpgx.Config{})
	if err != nil {
		return fmt.Errorf("preparing to migrate: %w", err)
	}
	m, err := migrate.NewWithInstance("iofs", source, "pgx5", driver)
	if err != nil {
		return fmt.Errorf("preparing to migrate: %w", err)
	}
	defer m.Close()
	err = m.Up()
	var dirty migrate.ErrDirty
	switch {
	case errors.Is(err, migrate.ErrNoChange):
		return nil
	case errors.As(err, &dirty):
		return fmt.Errorf("migration %d stopped half way and was rolled back; set schema_migrations to version %d, dirty false, then start again: %w",
			dirty.Version, dirty.Version-1, err)
	case err != nil:
		return fmt.Errorf("migrating: %w", err)
	}
	return nil
}

// Analyze refreshes the planner's statistics after a bulk load. PostgreSQL does so by itself within a minute or so; until
// then plans made on empty tables read them from end to end. It works as the login role, which must own the tables.
func (db *DB) Analyze(ctx context.Context) error {
	return pgx.BeginFunc(ctx, db.pool, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, "SET LOCAL ROLE NONE"); err != nil {
			return fmt.Errorf("analyzing: %w", err)
		}
		// A small sample: the order of magnitude is what such plans lack.
		if _, err := tx.Exec(ctx, "SET LOCAL default_statistics_target = 10; ANALYZE"); err != nil {
			return fmt.Errorf("analyzing: %w", err)
		}
		return nil
	})
}

// querier is what a pool and a transaction have in common.
type querier interface {
	Query(ctx context.Context, sql string, args ...any) (pgx.Rows, error)
	Exec(ctx context.Context, sql string, args ...any) (commandTag, error)
	SendBatch(ctx context.Context, b *pgx.Batch) pgx.BatchResults
}

// send runs what a batch has collected in one round trip and empties it, so that it can collect anew.
func send(ctx context.Context, q querier, b *pgx.Batch) error {
	if b.Len() == 0 {
		return nil
	}
	err := q.SendBatch(ctx, b).Close()
	*b = pgx.Batch{}
	return err
}

// ask puts a question into a batch; its rows are there once the batch was sent.
func ask[T any](b *pgx.Batch, sql string, args sqlArgs) *[]T {
	return askAs(b, pgx.RowToStructByName[T], sql, args)
}

// askColumn is ask for rows of one column.
func askColumn[T any](b *pgx.Batch, sql string, args sqlArgs) *[]T {
	return askAs(b, pgx.RowTo[T], sql, args)
}

func askAs[T any](b *pgx.Batch, as pgx.RowToFunc[T], sql string, args sqlArgs) *[]T {
	answer := new([]T)
	b.Queue(sql, args).Query(func(rows pgx.Rows) (err error) {
		*answer, err = pgx.CollectRows(rows, as)
		return err
	})
	return answer
}

// inTx runs work in one transaction and announces the change of the site after the commit.
func (db *DB) inTx(ctx context.Context, site uuid.UUID, work func(tx querier) error) error {
	if err := db.transact(ctx, func(tx *saving) error { return work(tx) }); err != nil {
		return asRefusal(err)
	}
	db.notices.changed(site)
	return nil
}

// list returns one T for each row. A column without a field, or a field without a column, is an error.
func list[T any](ctx context.Context, q querier, sql string, args sqlArgs) ([]T, error) {
	rows, err := q.Query(ctx, sql, args)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, pgx.RowToStructByName[T])
}

// one returns exactly one T, or ErrNotFound.
func one[T any](ctx context.Context, q querier, sql string, args sqlArgs) (T, error) {
	rows, err := q.Query(ctx, sql, args)
	if err != nil {
		var zero T
		return zero, err
	}
	v, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByName[T])
	if errors.Is(err, pgx.ErrNoRows) {
		return v, ErrNotFound
	}
	return v, err
}

// value returns exactly one column of exactly one row, or ErrNotFound.
func value[T any](ctx context.Context, q querier, sql string, args sqlArgs) (T, error) {
	rows, err := q.Query(ctx, sql, args)
	if err != nil {
		var zero T
		return zero, err
	}
	v, err := pgx.CollectExactlyOneRow(rows, pgx.RowTo[T])
	if errors.Is(err, pgx.ErrNoRows) {
		return v, ErrNotFound
	}
	return v, err
}

// column returns one value for each row.
func column[T any](ctx context.Context, q querier, sql string, args sqlArgs) ([]T, error) {
	rows, err := q.Query(ctx, sql, args)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, pgx.RowTo[T])
}

// run executes a statement that must touch at least one row, or returns ErrNotFound.
func run(ctx context.Context, q querier, sql string, args sqlArgs) error {
	tag, err := q.Exec(ctx, sql, args)
	if err != nil {
		return err
	}
	if tag.RowsAffected() == 0 {
		return ErrNotFound
	}
	return nil
}

// NewID returns a fresh UUIDv7.
func NewID() uuid.UUID { return uuid.Must(uuid.NewV7()) }

// null is a UUID that is SQL null when zero.
func null(id uuid.UUID) uuid.NullUUID { return uuid.NullUUID{UUID: id, Valid: id != uuid.Nil} }
