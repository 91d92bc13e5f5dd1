package store_test

import (
	"crypto/ed25519"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

// A sealedShop is a shop with two days of every kind of record and decision behind it, sealed, and an owner who can change
// anything in the database without the program.
type sealedShop struct {
	*storetest.Shop
	t     testing.TB
	key   ed25519.PrivateKey
	owner *pgxpool.Pool
	parts []uuid.UUID
}

func newSealedShop(t testing.TB) *sealedShop {
	t.Helper()
	public, key, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	s := &sealedShop{Shop: storetest.NewShop(t), t: t, key: key}
	ctx, db, a := t.Context(), s.DB, s.Everyone
	check := func(what string, err error) {
		t.Helper()
		if err != nil {
			t.Fatalf("%s: %v", what, err)
		}
	}
	check("key", db.AddSealKey(ctx, a, public))
	_, err = db.AddPlan(ctx, a, s.PartNumber.ID, store.Plan{ReadingsPerSpot: 1, Spots: []store.Spot{{Area: "front", Place: "rail, middle", X: 10, Y: 20}}})
	check("plan", err)
	s.Verify(0.3)
	s.parts = s.Ready(3, 0)
	good, thin, wrong := s.parts[0], s.parts[1], s.parts[2]
	for _, p := range s.parts {
		s.Finish(p)
	}
	released := s.Film(good, "82.4", "79.1", "85.0", "88.2", "80.6")
	check("release", db.Release(ctx, a, []uuid.UUID{good}, s.Proof(a)))
	failed := s.Film(thin, "41.0", "42.0", "43.5", "40.2", "44.1")
	hold, err := db.HoldByNumber(ctx, s.Site.ID, failed.HoldNumber)
	check("hold", err)
	s.Now = s.Now.Add(time.Minute)
	check("decision", db.Decide(ctx, a, hold.ID, store.Decision{Parts: []uuid.UUID{thin}, Code: "concession", Reason: "customer accepts the thin film",
		ConcessionRef: "CR-1", ConcessionEnds: s.Now.AddDate(0, 1, 0)}, s.Proof(a)))
	first := s.Film(wrong, "83.0", "84.0", "85.0", "86.0", "87.0")
	s.addPanel(thin)
	s.close()
	// The next day: a late entry under an exception, a void, a correction after release.
	s.Verify(0.2)
	s.Now = s.Now.Add(3 * time.Hour)
	boss := s.AddPerson("Sven Aho", "sven", store.Supervisor)
	late := store.Entry{RecordID: store.NewID(), Kind: quality.Film, Subject: store.Subject{Kind: quality.OnPart, ID: wrong}, ObservedAt: s.Now.Add(-2 * time.Hour),
		LateReason: "tablet was flat", Note: "taken on paper", Uses: []store.Use{{Role: "gauge", ID: s.Gauge.ID}}}
	for spot := 1; spot <= 5; spot++ {
		late.Check.Readings = append(late.Check.Readings, s.Reading("film_thickness", "", spot, "3.3", quality.Mil))
	}
	_, err = db.Save(ctx, a, late)
	check("late entry", err)
	_, err = db.Save(ctx, a, store.Entry{RecordID: store.NewID(), Kind: quality.Finish, Subject: store.Subject{Kind: quality.OnPart, ID: s.Parts(1)[0]},
		Check:     quality.Check{Defects: []quality.Defect{{Code: quality.NoneFound}}},
		Overrides: []store.Override{{Rule: store.RuleStepMissing, Reason: "came coated from the other plant", By: boss.Person, PIN: storetest.PIN}}})
	check("exception", err)
	s.Now = s.Now.Add(time.Minute)
	_, err = db.Void(ctx, a, store.NewID(), store.Correction{Of: first.RecordID, Code: "wrong_part", Text: "was the part beside it"}, s.Proof(a))
	check("void", err)
	_, err = db.Correct(ctx, a, filmEntry(s.Shop, good, "81", "80", "79", "78", "77"), store.Correction{Of: released.RecordID, Code: "typing_error", Text: "read another line"}, s.Proof(a))
	check("correction after release", err)
	s.close()
	reviewer := s.AddPerson("Ada Berg", "ada", store.Supervisor)
	check("review", db.SignReview(ctx, reviewer, shopDate(24), "seen", s.Proof(reviewer)))
	s.close()
	s.owner = storetest.Owner(t, db)
	return s
}

// shopDate is a day of the November in which shops of tests live.
func shopDate(n int) time.Time { return time.Date(2026, 11, n, 0, 0, 0, 0, time.UTC) }

// close lets the shop day end and seals it.
func (s *sealedShop) close() {
	s.t.Helper()
	today, _ := s.Site.ShopDay(s.Now)
	s.Now = s.Site.DayBegins(today.AddDate(0, 0, 1)).Add(store.SealGrace - time.Second)
	if n, err := s.DB.SealDays(s.t.Context(), s.Site.ID, s.key); n != 0 || err != nil {
		s.t.Fatalf("%d days sealed within the grace, %v", n, err)
	}
	s.Now = s.Now.Add(time.Second)
	if n, err := s.DB.SealDays(s.t.Context(), s.Site.ID, s.key); n != 1 || err != nil {
		s.t.Fatalf("%d days sealed at the end of %s, want 1, %v", n, today.Format(time.DateOnly), err)
	}
}

// addPanel hangs a witness panel beside a part.
func (s *sealedShop) addPanel(part uuid.UUID) {
	s.t.Helper()
	if _, err := s.DB.Pool().Exec(s.t.Context(), `INSERT INTO panel (site_id, panel_id, code, rack_id, alloy, pretreated_with, position, added_by, added_at)
		SELECT $1, $2, 'P-1', rack_id, '5005', 'conversion', 'top', $4, $5 FROM rack_part WHERE site_id = $1 AND part_id = $3`,
		s.Site.ID, store.NewID(), part, s.Everyone.Person, s.Now); err != nil {
		s.t.Fatal(err)
	}
}

// verify returns what was verified and all that is wrong with the book.
func (s *sealedShop) verify(trust store.Trust) (store.Verified, string) {
	s.t.Helper()
	v, err := s.DB.Verify(s.t.Context(), s.Site, trust)
	if err != nil {
		s.t.Fatalf("verify: %v", err)
	}
	var all []string
	for _, m := range v.Mismatches {
		all = append(all, m.Sentence)
	}
	return v, strings.Join(all, "\n")
}

// forge runs a statement as the owner, behind the program's back and past every foreign key, and returns what it returns.
func (s *sealedShop) forge(sql string, args ...any) (returned string) {
	s.t.Helper()
	err := pgx.BeginFunc(s.t.Context(), s.owner, func(tx pgx.Tx) error {
		if _, err := tx.Exec(s.t.Context(), "SET LOCAL session_replication_role = replica"); err != nil {
			return err
		}
		rows, err := tx.Query(s.t.Context(), sql, args...)
		if err != nil {
			return err
		}
		found, err := pgx.CollectRows(rows, pgx.RowTo[string])
		if len(found) > 0 {
			returned = found[0]
		}
		if err == nil && rows.CommandTag().RowsAffected() == 0 && !strings.HasPrefix(sql, "ALTER") {
			return pgx.ErrNoRows
		}
		return err
	})
	if err != nil {
		s.t.Fatalf("%s: %v", sql, err)
	}
	return returned
}

// dropChecks takes away every rule of the schema that would keep a forger from writing what he likes.
func (s *sealedShop) dropChecks() {
	s.t.Helper()
	rows, err := s.owner.Query(s.t.Context(), `SELECT format('ALTER TABLE %s DROP CONSTRAINT %I', conrelid::regclass, conname) FROM pg_constraint
		WHERE contype = 'c' AND connamespace = 'public'::regnamespace`)
	if err != nil {
		s.t.Fatal(err)
	}
	statements, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		s.t.Fatal(err)
	}
	for _, sql := range statements {
		s.forge(sql)
	}
}

func (s *sealedShop) heads() map[int64]string {
	s.t.Helper()
	seals, err := s.DB.SealsAfter(s.t.Context(), s.Site.ID, 0)
	if err != nil {
		s.t.Fatal(err)
	}
	heads := map[int64]string{}
	for _, seal := range seals {
		heads[seal.Number] = hex.EncodeToString(seal.Head)
	}
	return heads
}

// layout is what the first seal says it covers.
func (s *sealedShop) layout() []store.SealGroup {
	s.t.Helper()
	seals, err := s.DB.SealsAfter(s.t.Context(), s.Site.ID, 0)
	if err != nil {
		s.t.Fatal(err)
	}
	layout, err := store.ReadLayout(seals[0].Layout)
	if err != nil {
		s.t.Fatal(err)
	}
	return layout
}

func TestSealedBookVerifiesAndItsSealsFormAChain(t *testing.T) {
	s := newSealedShop(t)
	v, faults := s.verify(store.Trust{Keys: []ed25519.PublicKey{s.key.Public().(ed25519.PublicKey)}, Heads: s.heads()})
	if faults != "" {
		t.Fatalf("a sound book does not verify:\n%s", faults)
	}
	if v.Seals != 3 || v.Anchored != 3 || v.Leaves < 100 || v.Hashes < 20 || v.Open != 0 {
		t.Errorf("verified %+v, want 3 seals, all anchored, over 100 leaves, over 20 hashes and nothing open", v)
	}
	// What comes after the last seal is counted as open.
	s.Parts(1)
	if v, faults := s.verify(store.Trust{}); v.Open != 2 || faults != "" {
		t.Errorf("a part and its event leave %d open, want 2; %s", v.Open, faults)
	}
}

func TestLateEntryIsSealedOnTheDayItWasRecorded(t *testing.T) {
	s := newSealedShop(t)
	s.Now = s.Now.Add(2 * time.Hour)
	e := store.Entry{RecordID: store.NewID(), Kind: quality.Finish, Subject: store.Subject{Kind: quality.OnPart, ID: s.parts[2]}, ObservedAt: s.Now.Add(-3 * time.Hour),
		LateReason: "paper sheet found in the morning", Check: quality.Check{Defects: []quality.Defect{{Code: quality.NoneFound}}}}
	saved, err := s.DB.Save(t.Context(), s.Everyone, e)
	if err != nil {
		t.Fatal(err)
	}
	r, err := s.DB.RecordByID(t.Context(), s.Site.ID, saved.RecordID)
	if err != nil || !r.ShopDay.Equal(shopDate(26)) {
		t.Fatalf("observed on shop day %s, want the 26th, which is sealed; %v", r.ShopDay, err)
	}
	s.close()
	if _, faults := s.verify(store.Trust{}); faults != "" {
		t.Errorf("a late entry breaks a seal: %s", faults)
	}
	review, err := s.DB.ReviewOf(t.Context(), s.Site, shopDate(27))
	if err != nil || !slices.ContainsFunc(review.Changes, func(c store.Change) bool { return c.Kind == store.ChangeLate && c.ID == saved.RecordID }) {
		t.Errorf("the late entry is not among the changes of the day it was recorded: %+v, %v", review.Changes, err)
	}
}

// TestAnyByteChangedBehindTheProgramIsFound changes, as the owner of the database and past all its rules, a value of every
// column that is sealed, and wants the row named.
func TestAnyByteChangedBehindTheProgramIsFound(t *testing.T) {
	s := newSealedShop(t)
	s.dropChecks()
	columns := 0
	for _, g := range s.layout() {
		for _, table := range append([]store.SealTable{g.Header}, g.Lines...) {
			for _, column := range table.Columns {
				if s.changeColumn(table.Table, column, g.Key) {
					columns++
				}
			}
		}
	}
	if columns < 140 {
		t.Errorf("only %d columns were changed; the test proves little", columns)
	}
	if _, faults := s.verify(store.Trust{}); faults != "" {
		t.Fatalf("after everything was put back: %s", faults)
	}
}

// changedForms make another value of each type; %s is the column.
var changedForms = map[string]string{
	"uuid": "gen_random_uuid()", "text": "coalesce(%[1]s, '') || ' '", "jsonb": `coalesce(%[1]s, '{}') || '{"x": 1}'`, "boolean": "NOT %[1]s",
	"timestamp with time zone": "coalesce(%[1]s, now()) + interval '1 microsecond'", "date": "coalesce(%[1]s, current_date) + 4000",
	"double precision": "coalesce(%[1]s + greatest(abs(%[1]s), 1) * 3e-16, 0)", "text[]": "coalesce(%[1]s, '{}') || 'x'::text",
	"integer": "coalesce(%[1]s, 0) + 100000", "bigint": "coalesce(%[1]s, 0) + 100000", "bytea": "set_byte(%[1]s, 0, get_byte(%[1]s, 0) # 1)",
}

// changeColumn changes one value, wants it found with what the key column says, and puts it back. It reports false for a table
// without rows: what the small shop of these tests does not record is sealed in the same way.
func (s *sealedShop) changeColumn(table, column, key string) (changed bool) {
	s.t.Helper()
	var kind, ctid, id string
	var before *string
	if err := s.owner.QueryRow(s.t.Context(), `SELECT format_type(atttypid, NULL) FROM pg_attribute WHERE attrelid = ('"' || $1 || '"')::regclass AND attname = $2`, table, column).Scan(&kind); err != nil {
		s.t.Fatal(table, column, err)
	}
	name := `"` + column + `"`
	err := s.owner.QueryRow(s.t.Context(), fmt.Sprintf(`SELECT ctid::text, %s::text, %s::text FROM "%s" ORDER BY random() LIMIT 1`, name, key, table)).Scan(&ctid, &before, &id)
	if errors.Is(err, pgx.ErrNoRows) {
		return false
	}
	if err != nil {
		s.t.Fatalf("%s.%s: %v", table, column, err)
	}
	form := changedForms[kind]
	if form == "" {
		s.t.Fatalf("%s.%s: the test has no way to change a %s", table, column, kind)
	}
	if strings.Contains(form, "%") {
		form = fmt.Sprintf(form, name)
	}
	heads := s.heads() // kept outside, so as they were before the change
	now := s.forge(fmt.Sprintf(`UPDATE "%s" SET %s = %s WHERE ctid = $1::text::tid RETURNING ctid::text`, table, name, form), ctid)
	if _, faults := s.verify(store.Trust{Heads: heads}); faults == "" {
		s.t.Errorf("%s.%s of %s was changed and nothing was found", table, column, id)
	} else if !strings.Contains(faults, id) {
		s.t.Errorf("%s.%s of %s was changed; it is not named:\n%s", table, column, id, faults)
	}
	s.forge(fmt.Sprintf(`UPDATE "%s" SET %s = $2::text::%s WHERE ctid = $1::text::tid RETURNING ctid::text`, table, name, kind), now, before)
	return true
}

// TestAnyRowDeletedIsFound deletes a row of every sealed table, the last one too, and wants it named.
func TestAnyRowDeletedIsFound(t *testing.T) {
	s := newSealedShop(t)
	tables := 0
	for _, g := range s.layout() {
		for _, table := range append([]store.SealTable{g.Header}, g.Lines...) {
			for _, order := range []string{"random()", g.Key + " DESC"} {
				var id, row string
				err := s.owner.QueryRow(t.Context(), fmt.Sprintf(`SELECT %s::text, to_jsonb(t)::text FROM "%s" t ORDER BY %s LIMIT 1`, g.Key, table.Table, order)).Scan(&id, &row)
				if errors.Is(err, pgx.ErrNoRows) {
					continue
				}
				if err != nil {
					t.Fatal(table.Table, err)
				}
				tables++
				s.forge(fmt.Sprintf(`DELETE FROM "%s" t WHERE to_jsonb(t) = $1::text::jsonb`, table.Table), row)
				if _, faults := s.verify(store.Trust{}); !strings.Contains(faults, id) {
					t.Errorf("a row of %s with %s was deleted; found: %q", table.Table, id, faults)
				}
				s.forge(fmt.Sprintf(`INSERT INTO "%[1]s" SELECT * FROM jsonb_populate_record(NULL::public."%[1]s", $1::text::jsonb)`, table.Table), row)
			}
		}
	}
	// The last day_review, release_void and the like have one row each: both ways of choosing take it.
	if tables < 2*18 {
		t.Errorf("rows of %d tables were deleted, twice each; the test proves little", tables/2)
	}
	if _, faults := s.verify(store.Trust{}); faults != "" {
		t.Fatalf("after everything was put back: %s", faults)
	}
}

func TestDeletedRecordIsNamedByKindSubjectAndDay(t *testing.T) {
	s := newSealedShop(t)
	id := s.forge(`DELETE FROM record WHERE kind = 'finish' AND part_id = $1 RETURNING record_id::text`, s.parts[1])
	_, faults := s.verify(store.Trust{})
	for _, words := range []string{"Seal 1 of 2026-11-24", "the finish record of part TH-0002", id, "is missing"} {
		if !strings.Contains(faults, words) {
			t.Errorf("the sentence does not say %q:\n%s", words, faults)
		}
	}
}

func TestRowSlippedIntoASealedDayIsFound(t *testing.T) {
	s := newSealedShop(t)
	id := s.forge(`INSERT INTO event (site_id, event_id, at, verb, subject_kind) SELECT site_id, gen_random_uuid(), at, 'released', 'part' FROM event ORDER BY at LIMIT 1 RETURNING event_id::text`)
	if _, faults := s.verify(store.Trust{}); !strings.Contains(faults, id) || !strings.Contains(faults, "was added") {
		t.Errorf("an event was slipped in; found: %s", faults)
	}
}

func TestSealsThemselvesCannotBeChangedUnseen(t *testing.T) {
	s := newSealedShop(t)
	s.dropChecks()
	for _, column := range []string{"site_id", "number", "shop_day", "begins", "ends", "sealed_at", "layout", "leaves", "root", "previous", "head", "key_id", "signature"} {
		s.changeColumn("seal", column, "''")
	}
	for _, column := range []string{"site_id", "number", "page", "leaves"} {
		s.changeColumn("seal_page", column, "''")
	}
	for _, column := range []string{"site_id", "key_id", "public_key"} {
		s.changeColumn("seal_key", column, "''")
	}
}

func TestEndOfTheBookCutOffIsMissedByTheListOutside(t *testing.T) {
	s := newSealedShop(t)
	outside := s.heads()
	cut := time.Time{}
	if err := s.owner.QueryRow(t.Context(), `SELECT begins FROM seal WHERE number = 3`).Scan(&cut); err != nil {
		t.Fatal(err)
	}
	for _, sql := range []string{`DELETE FROM event WHERE at >= $1`, `DELETE FROM signature WHERE signed_at >= $1`, `DELETE FROM day_review WHERE reviewed_at >= $1`,
		`DELETE FROM seal WHERE begins >= $1`, `DELETE FROM seal_page WHERE number = 3 AND $1::timestamptz IS NOT NULL`} {
		s.forge(sql, cut)
	}
	if _, faults := s.verify(store.Trust{}); faults != "" {
		t.Errorf("inside the database nothing can be missed, yet: %s", faults)
	}
	if _, faults := s.verify(store.Trust{Heads: outside}); !strings.Contains(faults, "goes on to seal 3") || !strings.Contains(faults, "cut off") {
		t.Errorf("the list outside misses nothing: %s", faults)
	}
}

// TestBookSealedAnewByAForgerDoesNotFit seals a changed book with another key, as somebody with every right could.
func TestBookSealedAnewByAForgerDoesNotFit(t *testing.T) {
	s := newSealedShop(t)
	outside, key := s.heads(), s.key.Public().(ed25519.PublicKey)
	s.forge(`DELETE FROM seal_page`)
	s.forge(`DELETE FROM seal`)
	s.forge(`UPDATE reading SET value = 99, value_text = '99' WHERE value_text = '41.0' AND characteristic = 'film_thickness'`)
	public, forger, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.DB.AddSealKey(t.Context(), s.Everyone, public); err != nil {
		t.Fatal(err)
	}
	if n, err := s.DB.SealDays(t.Context(), s.Site.ID, forger); n != 3 || err != nil {
		t.Fatal(n, err)
	}
	if _, faults := s.verify(store.Trust{Keys: []ed25519.PublicKey{key}}); !strings.Contains(faults, "which is not among the site's keys") {
		t.Errorf("the forger's key is taken for the site's: %s", faults)
	}
	if _, faults := s.verify(store.Trust{Heads: outside}); !strings.Contains(faults, "is not the one in the list outside") {
		t.Errorf("the heads outside are taken for the forger's: %s", faults)
	}
}

// TestSignatureMovedToAnotherRecordIsReported copies the signature of one release to another part's, on a day that is not
// sealed yet.
func TestSignatureMovedToAnotherRecordIsReported(t *testing.T) {
	shop := storetest.NewShop(t)
	s := &sealedShop{Shop: shop, t: t, owner: storetest.Owner(t, shop.DB)}
	s.Verify(0)
	parts := s.Ready(2, 0)
	for _, p := range parts {
		s.Finish(p)
		s.Film(p, "82", "81", "80", "79", "78")
	}
	if err := s.DB.Release(t.Context(), s.Everyone, parts, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	if _, faults := s.verify(store.Trust{}); faults != "" {
		t.Fatal(faults)
	}
	id := s.forge(`INSERT INTO signature SELECT s.site_id, gen_random_uuid(), s.person_id, s.printed_name, s.meaning, s.statement, s.signed_at, s.content_hash, s.auth_used
		FROM signature s JOIN release r ON r.site_id = s.site_id AND r.signature_id = s.signature_id WHERE r.part_id = $1 RETURNING signature_id::text`, parts[0])
	s.forge(`UPDATE release SET signature_id = $2::text::uuid WHERE part_id = $1`, parts[1], id)
	if _, faults := s.verify(store.Trust{}); !strings.Contains(faults, "The release of part TH-0002") || strings.Contains(faults, "TH-0001") {
		t.Errorf("found: %s", faults)
	}
	// A reading changed before any seal does not have the content that was entered.
	s.forge(`UPDATE reading SET value_text = '83', value = 83 WHERE value_text = '82' AND record_id IN (SELECT record_id FROM record WHERE part_id = $1)`, parts[0])
	if _, faults := s.verify(store.Trust{}); !strings.Contains(faults, "film record of part TH-0001") {
		t.Errorf("found: %s", faults)
	}
}

func TestSeveralServersSealADayOnce(t *testing.T) {
	s := newSealedShop(t)
	s.Parts(3)
	today, _ := s.Site.ShopDay(s.Now)
	s.Now = s.Site.DayBegins(today.AddDate(0, 0, 1)).Add(store.SealGrace)
	var total atomic.Int64
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			n, err := s.DB.SealDays(t.Context(), s.Site.ID, s.key)
			if err != nil {
				t.Error(err)
			}
			total.Add(int64(n))
		})
	}
	wg.Wait()
	if total.Load() != 1 {
		t.Errorf("four servers sealed %d days, want 1", total.Load())
	}
	if v, faults := s.verify(store.Trust{}); faults != "" || v.Seals != 4 {
		t.Errorf("%d seals, %s", v.Seals, faults)
	}
}

// TestEveryInsertOnlyTableIsSealed walks the schema: a table that the server may insert into and never change belongs into a
// seal, or says why not.
func TestEveryInsertOnlyTableIsSealed(t *testing.T) {
	db := storetest.New(t)
	rows, err := storetest.Owner(t, db).Query(t.Context(), `SELECT c.relname::text FROM pg_class c WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p')
		AND has_table_privilege('coatbook_app', c.oid, 'INSERT') AND NOT has_table_privilege('coatbook_app', c.oid, 'DELETE')
		AND NOT has_any_column_privilege('coatbook_app', c.oid, 'UPDATE') ORDER BY 1`)
	if err != nil {
		t.Fatal(err)
	}
	tables, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil || len(tables) < 15 {
		t.Fatalf("%d tables, %v", len(tables), err)
	}
	covered := map[string]bool{}
	for _, g := range store.Sealed {
		covered[g.Header.Table] = true
		for _, l := range g.Lines {
			covered[l.Table] = true
		}
		if store.NamesOfRows[g.Header.Table] == "" {
			t.Errorf("verify has no words for a row of %s", g.Header.Table)
		}
	}
	for _, table := range tables {
		if !covered[table] && store.Unsealed[table] == "" {
			t.Errorf("%s is insert only and no seal covers it: add it to sealed in store/sealbytes.go, or say in unsealed why not", table)
		}
	}
}
