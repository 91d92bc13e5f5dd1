package store

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"
)

// A saving is the transaction of one save. It begins with the first batch that is sent in it and can end with the last one,
// where pgx's own would make a trip to the database for BEGIN and another for COMMIT: two of the five that a save took. Until
// something was sent nothing is locked, and nothing is on disk before commitWith or Commit has returned nil.
type saving struct {
	conn         *pgxpool.Conn
	begun, ended bool
}

// saving takes a connection; close gives it back, and takes back what was not committed.
func (db *DB) saving(ctx context.Context) (*saving, error) {
	conn, err := db.pool.Acquire(ctx)
	if err != nil {
		return nil, fmt.Errorf("taking a connection: %w", err)
	}
	return &saving{conn: conn}, nil
}

// SendBatch sends a batch, after BEGIN where it is the first.
func (s *saving) SendBatch(ctx context.Context, b *pgx.Batch) pgx.BatchResults {
	if !s.begun {
		s.begun = true
		first := &pgx.Batch{}
		first.Queue("begin")
		first.QueuedQueries = append(first.QueuedQueries, b.QueuedQueries...)
		b = first
	}
	return s.conn.SendBatch(ctx, b)
}

// commitWith sends the last batch and commits.
func (s *saving) commitWith(ctx context.Context, b *pgx.Batch) error {
	b.Queue("commit")
	if err := send(ctx, s, b); err != nil {
		return err
	}
	s.ended = true
	return nil
}

// Commit ends the transaction unless commitWith did.
func (s *saving) Commit(ctx context.Context) error {
	if s.ended || !s.begun {
		return nil
	}
	tag, err := s.conn.Exec(ctx, "commit")
	if err != nil {
		return err
	}
	if tag.String() == "ROLLBACK" {
		return pgx.ErrTxCommitRollback
	}
	s.ended = true
	return nil
}

// close takes back what was not committed and gives the connection back.
func (s *saving) close(ctx context.Context) {
	if s.begun && !s.ended {
		_, _ = s.conn.Exec(context.WithoutCancel(ctx), "rollback") // a connection that cannot is thrown away by Release
	}
	s.conn.Release()
}

func (s *saving) start(ctx context.Context) error {
	if s.begun {
		return nil
	}
	s.begun = true
	_, err := s.conn.Exec(ctx, "begin")
	return err
}

// Exec runs one statement.
func (s *saving) Exec(ctx context.Context, sql string, args ...any) (pgconn.CommandTag, error) {
	if err := s.start(ctx); err != nil {
		return pgconn.CommandTag{}, err
	}
	return s.conn.Exec(ctx, sql, args...)
}

// Query asks one question.
func (s *saving) Query(ctx context.Context, sql string, args ...any) (pgx.Rows, error) {
	if err := s.start(ctx); err != nil {
		return nil, err
	}
	return s.conn.Query(ctx, sql, args...)
}
