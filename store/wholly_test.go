package store_test

import (
	"context"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

// An act is something that changes several tables at once. ready prepares parts for it and returns the act itself.
type act struct {
	name  string
	ready func(t *testing.T, s *storetest.Shop) func(context.Context) error
	// touches are tables that the act must write; others may come to it.
	touches []string
}

// finishedPart is a part that wants nothing but its release, and its film record.
func finishedPart(t *testing.T, s *storetest.Shop) (part, film uuid.UUID) {
	t.Helper()
	part = s.Ready(1, 0)[0]
	s.Verify(0)
	s.Finish(part)
	s.Now = s.Now.Add(time.Second)
	saved, err := save(t, s, filmEntry(s, part))
	if err != nil {
		t.Fatal(err)
	}
	return part, saved.RecordID
}

func releasedPart(t *testing.T, s *storetest.Shop) (part, film uuid.UUID) {
	t.Helper()
	part, film = finishedPart(t, s)
	if err := s.DB.Release(t.Context(), s.Everyone, []uuid.UUID{part}, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	return part, film
}

var acts = []act{
	{"save a failing check", func(t *testing.T, s *storetest.Shop) func(context.Context) error {
		part := s.Ready(1, 0)[0]
		s.Verify(0)
		e := filmEntry(s, part, "28", "68", "75", "93", "86")
		return func(ctx context.Context) error { _, err := s.DB.Save(ctx, s.Everyone, e); return err }
	}, []string{"record", "reading", "finding", "record_use", "film_summary", "hold", "hold_part", "part_status", "event"}},
	{"release", func(t *testing.T, s *storetest.Shop) func(context.Context) error {
		part, _ := finishedPart(t, s)
		return func(ctx context.Context) error {
			return s.DB.Release(ctx, s.Everyone, []uuid.UUID{part}, s.Proof(s.Everyone))
		}
	}, []string{"release", "signature", "part_status", "event"}},
	{"correct after release", func(t *testing.T, s *storetest.Shop) func(context.Context) error {
		part, film := releasedPart(t, s)
		e := filmEntry(s, part, "82", "68", "75", "93", "85")
		return func(ctx context.Context) error {
			_, err := s.DB.Correct(ctx, s.Everyone, e, typingError(film), s.Proof(s.Everyone))
			return err
		}
	}, []string{"record", "reading", "signature", "release_void", "hold", "hold_part", "part_status", "event"}},
	{"void after release", func(t *testing.T, s *storetest.Shop) func(context.Context) error {
		_, film := releasedPart(t, s)
		id := store.NewID()
		return func(ctx context.Context) error {
			_, err := s.DB.Void(ctx, s.Everyone, id, typingError(film), s.Proof(s.Everyone))
			return err
		}
	}, []string{"record", "signature", "release_void", "hold", "hold_part", "part_status", "event"}},
	{"take back", func(t *testing.T, s *storetest.Shop) func(context.Context) error {
		_, film := finishedPart(t, s)
		id := store.NewID()
		return func(ctx context.Context) error { _, err := s.DB.TakeBack(ctx, s.Everyone, id, film); return err }
	}, []string{"record", "part_status", "event"}},
	{"decide", func(t *testing.T, s *storetest.Shop) func(context.Context) error {
		part := s.Ready(1, 0)[0]
		s.Verify(0)
		failed, err := save(t, s, filmEntry(s, part, "28", "68", "75", "93", "86"))
		if err != nil {
			t.Fatal(err)
		}
		h, err := s.DB.HoldByNumber(t.Context(), s.Site.ID, failed.HoldNumber)
		if err != nil {
			t.Fatal(err)
		}
		d := store.Decision{Parts: []uuid.UUID{part}, Code: "strip_recoat", Reason: "Thin on spot 1."}
		return func(ctx context.Context) error { return s.DB.Decide(ctx, s.Everyone, h.ID, d, s.Proof(s.Everyone)) }
	}, []string{"disposition", "signature", "hold_part", "part_status", "event"}},
}

// book is what every table of the database holds, as a digest by table. Counters of sign-on tries belong to no act.
func book(t *testing.T, owner *pgxpool.Pool) map[string]string {
	t.Helper()
	rows, err := owner.Query(t.Context(), `SELECT tablename::text FROM pg_tables WHERE schemaname = 'public' AND tablename <> 'sign_on_guard' ORDER BY 1`)
	if err != nil {
		t.Fatal(err)
	}
	tables, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil || len(tables) < 30 {
		t.Fatalf("%d tables, %v", len(tables), err)
	}
	held := map[string]string{}
	for _, table := range tables {
		var digest string
		if err := owner.QueryRow(t.Context(), fmt.Sprintf(`SELECT count(*) || ' ' || md5(coalesce(string_agg(x::text, '|' ORDER BY x::text), '')) FROM %s x`, pgx.Identifier{table}.Sanitize())).Scan(&digest); err != nil {
			t.Fatal(err)
		}
		held[table] = digest
	}
	return held
}

// differing are the tables that two digests of the book tell apart.
func differing(a, b map[string]string) []string {
	var names []string
	for table := range a {
		if a[table] != b[table] {
			names = append(names, table)
		}
	}
	slices.Sort(names)
	return names
}

// TestActOfSeveralPartsHappensWhollyOrNotAtAll lets each act run once to learn what it writes; then every table of these
// refuses in turn to be written, at the server's own role, and the act must leave the book exactly as it was.
func TestActOfSeveralPartsHappensWhollyOrNotAtAll(t *testing.T) {
	for _, a := range acts {
		t.Run(a.name, func(t *testing.T) {
			s := storetest.NewShop(t)
			owner := storetest.Owner(t, s.DB)
			exec := func(sql string) {
				t.Helper()
				if _, err := owner.Exec(t.Context(), sql); err != nil {
					t.Fatal(err)
				}
			}
			run := a.ready(t, s)
			before := book(t, owner)
			if err := run(t.Context()); err != nil {
				t.Fatal(err)
			}
			written := differing(before, book(t, owner))
			for _, table := range a.touches {
				if !slices.Contains(written, table) {
					t.Errorf("the act left %s alone; it wrote %v", table, written)
				}
			}
			run = a.ready(t, s)
			before = book(t, owner)
			for _, table := range written {
				name := pgx.Identifier{table}.Sanitize()
				// A trigger of the test refuses the write, wherever in the act it comes.
				exec(`CREATE FUNCTION refuse_write() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'this test refuses'; END $$`)
				exec(`CREATE TRIGGER refuse_write BEFORE INSERT OR UPDATE OR DELETE ON ` + name + ` FOR EACH ROW EXECUTE FUNCTION refuse_write()`)
				if err := run(t.Context()); err == nil {
					t.Fatalf("the act went through without writing %s", table)
				}
				exec(`DROP TRIGGER refuse_write ON ` + name)
				exec(`DROP FUNCTION refuse_write`)
				if left := differing(before, book(t, owner)); len(left) > 0 {
					t.Errorf("refused at %s, the act left something in %v", table, left)
				}
			}
			if err := run(t.Context()); err != nil {
				t.Errorf("after all faults are mended: %v", err)
			}
		})
	}
}

// TestReleaseOfSeveralPartsStopsAtTheLastOne releases three parts in one act and refuses the last of them.
func TestReleaseOfSeveralPartsStopsAtTheLastOne(t *testing.T) {
	s := storetest.NewShop(t)
	owner := storetest.Owner(t, s.DB)
	parts := s.Ready(3, 0)
	s.Verify(0)
	for _, p := range parts {
		s.Finish(p)
		s.Film(p, "82", "80", "81", "79", "83")
	}
	for _, sql := range []string{`CREATE FUNCTION refuse_write() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'this test refuses'; END $$`,
		fmt.Sprintf(`CREATE TRIGGER refuse_write BEFORE INSERT ON release FOR EACH ROW WHEN (NEW.part_id = '%s') EXECUTE FUNCTION refuse_write()`, parts[2])} {
		if _, err := owner.Exec(t.Context(), sql); err != nil {
			t.Fatal(err)
		}
	}
	before := book(t, owner)
	if err := s.DB.Release(t.Context(), s.Everyone, parts, s.Proof(s.Everyone)); err == nil {
		t.Fatal("the release went through")
	}
	if left := differing(before, book(t, owner)); len(left) > 0 {
		t.Errorf("the release left something in %v", left)
	}
	for i := range parts {
		if got := status(t, s, fmt.Sprintf("TH-%04d", i+1)).Status; got != store.StatusAccepted {
			t.Errorf("part %d is %s, want accepted", i+1, got)
		}
	}
	if items, _, err := s.DB.GateOf(t.Context(), s.Site.ID, parts[0]); err != nil || !quality.Open(items) {
		t.Errorf("the gate of the first part is %v, %v", items, err)
	}
}
