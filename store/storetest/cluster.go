package storetest

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"net/url"
	"strings"
	"sync/atomic"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"

	"coatbook/store"
)

// namePrefix starts the name of every database made here. Eight hexadecimal digits follow that stand for the
// test binary, which keeps a session of that same application_name open for as long as it lives.
const namePrefix = "coatbook_test_"

// cluster is a PostgreSQL server and what this test binary made in it.
type cluster struct {
	url   string // the owner's address of a database to make others from
	admin *pgxpool.Pool
	id    string // namePrefix and eight digits
	made  atomic.Int64
}

// openCluster finds or starts the server, clears what dead test binaries left in it, and migrates the template.
func openCluster() (*cluster, error) {
	ctx, cancel := context.WithTimeout(context.Background(), limit)
	defer cancel()
	address, err := findServer(ctx)
	if err != nil {
		return nil, err
	}
	c, err := connect(ctx, address)
	if err != nil {
		return nil, err
	}
	if err := c.dropLeftovers(ctx); err != nil {
		return nil, fmt.Errorf("drop what earlier tests left: %w", err)
	}
	if err := c.migrateTemplate(ctx); err != nil {
		return nil, fmt.Errorf("make the template: %w", err)
	}
	return c, nil
}

func connect(ctx context.Context, address string) (*cluster, error) {
	var digits [4]byte
	rand.Read(digits[:]) // never fails (crypto/rand)
	c := &cluster{url: address, id: namePrefix + hex.EncodeToString(digits[:])}
	config, err := pgxpool.ParseConfig(address)
	if err != nil {
		return nil, err
	}
	config.ConnConfig.RuntimeParams["application_name"] = c.id
	if c.admin, err = pgxpool.NewWithConfig(ctx, config); err != nil {
		return nil, err
	}
	// Held until the process ends: the session by which other binaries see that this one lives.
	if err := holdSession(ctx, c.admin); err != nil {
		c.admin.Close()
		return nil, err
	}
	return c, nil
}

// holdSession takes one connection for good. A container answers on its port a moment before PostgreSQL does.
func holdSession(ctx context.Context, pool *pgxpool.Pool) error {
	for {
		_, err := pool.Acquire(ctx)
		var refusal *pgconn.PgError
		if err == nil || !errors.As(err, &refusal) || refusal.Code != "57P03" { // cannot_connect_now
			return err
		}
		select {
		case <-ctx.Done():
			return err
		case <-time.After(50 * time.Millisecond):
		}
	}
}

func (c *cluster) template() string { return c.id + "_template" }

// migrateTemplate runs the migrations once. They also make the roles, which belong to the whole server, so
// test binaries that share one take turns.
func (c *cluster) migrateTemplate(ctx context.Context) error {
	if _, err := c.admin.Exec(ctx, "CREATE DATABASE "+c.template()); err != nil {
		return err
	}
	address, err := withDatabase(c.url, c.template())
	if err != nil {
		return err
	}
	conn, err := c.admin.Acquire(ctx)
	if err != nil {
		return err
	}
	defer conn.Release()
	const turn = "hashtext('coatbook storetest migrates')"
	if _, err := conn.Exec(ctx, "SELECT pg_advisory_lock("+turn+")"); err != nil {
		return err
	}
	err = store.Migrate(ctx, address)
	_, unlockErr := conn.Exec(ctx, "SELECT pg_advisory_unlock("+turn+")")
	return errors.Join(err, unlockErr)
}

// create makes a database, as a copy of another or, of "", with nothing in it, and returns its name.
func (c *cluster) create(ctx context.Context, of string) (string, error) {
	name := fmt.Sprintf("%s_%d", c.id, c.made.Add(1))
	sql := "CREATE DATABASE " + name
	if of != "" {
		sql += " TEMPLATE " + of
	}
	_, err := c.admin.Exec(ctx, sql)
	return name, err
}

// drop removes a database and ends whatever session a test has left in it.
func (c *cluster) drop(ctx context.Context, name string) error {
	_, err := c.admin.Exec(ctx, "DROP DATABASE IF EXISTS "+pgx.Identifier{name}.Sanitize()+" WITH (FORCE)")
	return err
}

// dropLeftovers drops our databases whose test binary holds no session any more. Each binary leaves at least
// its template on a server that outlives it.
func (c *cluster) dropLeftovers(ctx context.Context) error {
	rows, err := c.admin.Query(ctx, `
		SELECT datname::text
		FROM pg_database
		WHERE datname ~ ('^' || $1 || '[0-9a-f]{8}_')
		  AND datdba = (SELECT oid FROM pg_roles WHERE rolname = current_user)
		  AND left(datname, length($1) + 8) NOT IN (SELECT application_name FROM pg_stat_activity
		                                            WHERE application_name IS NOT NULL)`, namePrefix)
	if err != nil {
		return err
	}
	names, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return err
	}
	for _, name := range names {
		if err := c.drop(ctx, name); err != nil {
			return err
		}
	}
	return nil
}

// withDatabase is the address with another database in it, in either of the two forms PostgreSQL has.
func withDatabase(address, database string) (string, error) {
	if !strings.HasPrefix(address, "postgres://") && !strings.HasPrefix(address, "postgresql://") {
		return address + " dbname=" + database, nil // the last one counts
	}
	u, err := url.Parse(address)
	if err != nil {
		return "", errors.New("the database address cannot be read as a URL") // err would show its password
	}
	u.Path = "/" + database
	return u.String(), nil
}
