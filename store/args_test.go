package store

import (
	"reflect"
	"testing"

	"github.com/jackc/pgx/v5"
)

// TestStatementsAreReadOnceAndAsTheDriverWould gives statements the same places and values as pgx's own reader, the first time and
// from what was kept, with the values of each call.
func TestStatementsAreReadOnceAndAsTheDriverWould(t *testing.T) {
	const sql = `SELECT '@not', @b, "@nor", @a, @b -- @never`
	for _, values := range []map[string]any{{"a": 1, "b": "x"}, {"a": 2, "b": nil}, {"b": true, "a": 3}} {
		want, wantValues, err := pgx.StrictNamedArgs(values).RewriteQuery(t.Context(), nil, sql, nil)
		if err != nil {
			t.Fatal(err)
		}
		got, gotValues, err := sqlArgs(values).RewriteQuery(t.Context(), nil, sql, nil)
		if err != nil || got != want || !reflect.DeepEqual(gotValues, wantValues) {
			t.Errorf("%v: %q %v %v, want %q %v", values, got, gotValues, err, want, wantValues)
		}
	}
	for _, bad := range []sqlArgs{{"a": 1}, {"a": 1, "b": 2, "c": 3}, {"a": 1, "c": 2}, {}} {
		if _, _, err := bad.RewriteQuery(t.Context(), nil, sql, nil); err == nil {
			t.Errorf("%v: no error", bad)
		}
		if _, _, err := bad.RewriteQuery(t.Context(), nil, sql+" ", nil); err == nil {
			t.Errorf("%v, seen for the first time: no error", bad)
		}
	}
}

// TestInsertsOfOneThingBecomeOneStatement joins what may be joined: values of one name are one value, a text that comes again stays
// apart, and a name with two values is refused.
func TestInsertsOfOneThingBecomeOneStatement(t *testing.T) {
	b := &pgx.Batch{}
	b.Queue("INSERT INTO a VALUES (@id, @x)", sqlArgs{"id": 7, "x": "one"})
	b.Queue("INSERT INTO b VALUES (@id, @y)", sqlArgs{"id": 7, "y": []int{1, 2}})
	b.Queue("INSERT INTO b VALUES (@id, @y)", sqlArgs{"id": 7, "y": []int{3}})
	b.Queue("INSERT INTO c VALUES (@id)", sqlArgs{"id": 7})
	if err := together(b); err != nil {
		t.Fatal(err)
	}
	var got [][]any
	for _, q := range b.QueuedQueries {
		got = append(got, append([]any{q.SQL}, q.Arguments...))
	}
	want := [][]any{
		{"WITH line0 AS (INSERT INTO b VALUES (@id, @y)), line1 AS (INSERT INTO c VALUES (@id)) INSERT INTO a VALUES (@id, @x)",
			sqlArgs{"id": 7, "x": "one", "y": []int{1, 2}}},
		{"INSERT INTO b VALUES (@id, @y)", sqlArgs{"id": 7, "y": []int{3}}},
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("%v\nwant %v", got, want)
	}
	b = &pgx.Batch{}
	b.Queue("INSERT INTO a VALUES (@id)", sqlArgs{"id": 7})
	b.Queue("INSERT INTO b VALUES (@id)", sqlArgs{"id": 8})
	if err := together(b); err == nil {
		t.Error("a name with two values: no error")
	}
}
