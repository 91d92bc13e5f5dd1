package store

import (
	"context"
	"fmt"
	"reflect"
	"slices"
	"strings"
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

// together makes one statement of the inserts in a batch that make up one thing, such as a record with its lines, because the
// database spends more on beginning and ending a statement than on a few rows. None of them may read what another one writes. A text that comes again, with other values, stays a statement of its own after the first. A name stands for the same
// value in all of them; it is an error if it does not.
func together(b *pgx.Batch) error {
	if len(b.QueuedQueries) < 2 {
		return nil
	}
	var texts []string
	var rest []*pgx.QueuedQuery
	args := sqlArgs{}
	for _, q := range b.QueuedQueries {
		if slices.Contains(texts, q.SQL) {
			rest = append(rest, q)
			continue
		}
		texts = append(texts, q.SQL)
		for name, v := range q.Arguments[0].(sqlArgs) {
			if before, taken := args[name]; taken && !reflect.DeepEqual(before, v) {
				return fmt.Errorf("@%s stands for two values in one statement", name)
			}
			args[name] = v
		}
	}
	// The first one is the statement proper; the others go before it.
	for i, text := range texts[1:] {
		texts[i+1] = fmt.Sprintf("line%d AS (%s)", i, text)
	}
	sql := texts[0]
	if len(texts) > 1 {
		texts[1] = strings.Join(texts[1:], ", ")
		sql = "WITH " + texts[1] + " " + texts[0]
	}
	*b = pgx.Batch{}
	b.Queue(sql, args)
	b.QueuedQueries = append(b.QueuedQueries, rest...)
	return nil
}
