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
