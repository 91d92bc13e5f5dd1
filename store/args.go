package store

import (
	"context"
	"fmt"
	"sync"

	"github.com/jackc/pgx/v5"
)

// sqlArgs are the values of a statement by the names it gives them (@site). It does what pgx.StrictNamedArgs does, but reads each
// statement once: reading them anew took a tenth of the processor time of a save. Statements are texts of the program, so there are
// only so many.
type sqlArgs map[string]any

// A positional is a statement with numbered places and the names of the values that go there.
type positional struct {
	sql   string
	names []any
}

var positionals sync.Map // by the statement with names

// RewriteQuery gives the driver the statement with numbered places. A name without a value, or a value without a name, is an error.
func (a sqlArgs) RewriteQuery(ctx context.Context, conn *pgx.Conn, sql string, _ []any) (string, []any, error) {
	known, ok := positionals.Load(sql)
	if !ok {
		names := pgx.StrictNamedArgs{}
		for name := range a {
			names[name] = name
		}
		text, order, err := names.RewriteQuery(ctx, conn, sql, nil)
		if err != nil {
			return "", nil, err
		}
		known = positional{text, order}
		positionals.Store(sql, known)
	}
	p := known.(positional)
	values := make([]any, len(p.names))
	for i, name := range p.names {
		v, ok := a[name.(string)]
		if !ok {
			return "", nil, fmt.Errorf("no value for @%s", name)
		}
		values[i] = v
	}
	if len(a) != len(values) {
		return "", nil, fmt.Errorf("%d values for %d places", len(a), len(values))
	}
	return p.sql, values, nil
}
