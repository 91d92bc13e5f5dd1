package store

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"
)

// A saving is the transaction of one act. It begins with the first batch that is sent in it and can end with the last one,
// where pgx's own would make a trip to the database for BEGIN and another for COMMIT: two of the five that a save took. Until
// something was sent nothing is locked, and nothing is on disk before commitWith or Commit has returned nil.
type saving struct {
	conn         *pgxpool.Conn
	begun, ended bool
}

// transact runs work in one transaction: what it wrote is on disk when transact returns nil, and else taken back.
func (db *DB) transact(ctx context.Context, work func(tx *saving) error) error {
	conn, err := db.pool.Acquire(ctx)
	if err != nil {
		return fmt.Errorf("taking a connection: %w", err)
	}
	tx := &saving{conn: conn}
	defer tx.close(ctx)
	if err := work(tx); err != nil {
		return err
	}
	return tx.Commit(ctx)
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

// Exec runs one statement, after BEGIN where it is the first.
func (s *saving) Exec(ctx context.Context, sql string, args ...any) (tag pgconn.CommandTag, err error) {
	if s.begun {
		return s.conn.Exec(ctx, sql, args...)
	}
	b := &pgx.Batch{}
	b.Queue(sql, args...).Exec(func(done pgconn.CommandTag) error {
		tag = done
		return nil
	})
	err = s.SendBatch(ctx, b).Close()
	return tag, err
}

// Query asks one question.
func (s *saving) Query(ctx context.Context, sql string, args ...any) (pgx.Rows, error) {
	if !s.begun {
		s.begun = true
		if _, err := s.conn.Exec(ctx, "begin"); err != nil {
			return nil, err
		}
	}
	return s.conn.Query(ctx, sql, args...)
}
