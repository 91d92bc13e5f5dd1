package store_test

import (
	"crypto/ed25519"
	"crypto/rand"
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
	"pgregory.net/rapid"

	"coatbook/store"
	"coatbook/store/storetest"
)

// TestLifeOnceSealedTellsOfAnyCharacterChanged seals what a few drawn lives left behind, then changes one character of one
// value, wherever it may be, as somebody could who reaches the database without the program. The book as it was verifies; as
// it is then, it does not, and the row is named.
func TestLifeOnceSealedTellsOfAnyCharacterChanged(t *testing.T) {
	l := newLives(t, full)
	public, key, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	if err := l.DB.AddSealKey(t.Context(), l.Everyone, public); err != nil {
		t.Fatal(err)
	}
	checks(t, 4)
	rapid.Check(t, func(rt *rapid.T) { l.run(t, rt, 22) })
	s := &sealedShop{Shop: l.Shop, t: t, key: key, owner: storetest.Owner(t, l.DB)}
	s.close()
	if v, faults := s.verify(store.Trust{}); faults != "" || v.Seals != 1 || v.Open != 0 {
		t.Fatalf("%d seals, %d open, %s", v.Seals, v.Open, faults)
	}
	s.dropChecks()
	places := s.places()
	checks(t, 50)
	rapid.Check(t, func(rt *rapid.T) { s.changeCharacter(rt, places) })
	if _, faults := s.verify(store.Trust{}); faults != "" {
		t.Fatalf("after everything was put back: %s", faults)
	}
}

// A place is a column of a table that has rows, with the column that names its row.
type place struct {
	table, column, key string
	kind               string
	rows               int
}

// places lists where a value could be changed.
func (s *sealedShop) places() (all []place) {
	s.t.Helper()
	for _, g := range s.layout() {
		for _, table := range append([]store.SealTable{g.Header}, g.Lines...) {
			for _, column := range table.Columns {
				p := place{table: table.Table, column: column, key: g.Key}
				if err := s.owner.QueryRow(s.t.Context(), fmt.Sprintf(`SELECT count(%q), pg_typeof((SELECT %[1]q FROM %[2]q LIMIT 1))::text FROM %[2]q`, column, table.Table)).Scan(&p.rows, &p.kind); err != nil {
					s.t.Fatal(table.Table, column, err)
				}
				if p.rows > 0 {
					all = append(all, p)
				}
			}
		}
	}
	if len(all) < 150 {
		s.t.Fatalf("only %d columns have a value; the history is too thin to show anything", len(all))
	}
	return all
}

// changeCharacter changes one character of a drawn value, wants it found and the row named, and puts it back.
func (s *sealedShop) changeCharacter(rt *rapid.T, places []place) {
	// The table first, so that the widest one is not the only one that is ever drawn.
	var tables []string
	for _, p := range places {
		if len(tables) == 0 || tables[len(tables)-1] != p.table {
			tables = append(tables, p.table)
		}
	}
	table := rapid.SampledFrom(tables).Draw(rt, "table")
	var columns []place
	for _, p := range places {
		if p.table == table {
			columns = append(columns, p)
		}
	}
	p := rapid.SampledFrom(columns).Draw(rt, "column")
	var ctid, before, id string
	if err := s.owner.QueryRow(s.t.Context(), fmt.Sprintf(`SELECT ctid::text, %[1]q::text, %[2]q::text FROM %[3]q WHERE %[1]q IS NOT NULL ORDER BY ctid LIMIT 1 OFFSET %[4]d`,
		p.column, p.key, p.table, rapid.IntRange(0, p.rows-1).Draw(rt, "row"))).Scan(&ctid, &before, &id); err != nil {
		rt.Fatal(p, err)
	}
	after := otherText(rt, p.kind, before)
	update := fmt.Sprintf(`UPDATE %q SET %q = $2::text::%s WHERE ctid = $1::text::tid RETURNING ctid::text, %[2]q::text`, p.table, p.column, p.kind)
	now, read, err := s.put(update, ctid, after)
	if err != nil {
		rt.Skipf("%s.%s does not take %q: %v", p.table, p.column, after, err)
	}
	_, faults := s.verify(store.Trust{})
	if _, _, err := s.put(update, now, before); err != nil {
		rt.Fatalf("putting %s.%s back to %q: %v", p.table, p.column, before, err)
	}
	// A row whose own number was changed is found under the number it has now.
	if named := strings.Contains(faults, id) || p.column == p.key && strings.Contains(faults, read); read != before && !named {
		rt.Fatalf("%s.%s of %s was changed from %q to %q; found: %q", p.table, p.column, id, before, read, faults)
	}
}

// put writes a value as the owner, past every foreign key, and returns where the row is then and what it reads.
func (s *sealedShop) put(update, ctid, value string) (now, read string, err error) {
	err = pgx.BeginFunc(s.t.Context(), s.owner, func(tx pgx.Tx) error {
		if _, err := tx.Exec(s.t.Context(), "SET LOCAL session_replication_role = replica"); err != nil {
			return err
		}
		err := tx.QueryRow(s.t.Context(), update, ctid, value).Scan(&now, &read)
		if errors.Is(err, pgx.ErrNoRows) {
			s.t.Errorf("%s finds no row at %s", update, ctid)
		}
		return err
	})
	return now, read, err
}

// otherText is the text of a value with one character changed to another of its kind, or made longer by one.
func otherText(rt *rapid.T, kind, text string) string {
	if kind == "boolean" {
		return map[string]string{"true": "false", "false": "true"}[text]
	}
	runes := []rune(text)
	if len(runes) == 0 {
		return "x"
	}
	at := rapid.IntRange(0, len(runes)-1).Draw(rt, "character")
	step := rapid.IntRange(1, 5).Draw(rt, "step")
	switch r := runes[at]; {
	case r >= '0' && r <= '9':
		runes[at] = '0' + (r-'0'+rune(step))%10
	case r >= 'a' && r <= 'f':
		runes[at] = 'a' + (r-'a'+rune(step))%6
	case kind == "text":
		runes[at] = r + rune(step)
	default:
		rt.Skip("a sign that the form of the value needs")
	}
	return string(runes)
}
