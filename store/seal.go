package store

import (
	"context"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// Seals make a change behind the program's back visible.
//
// The rule: a seal covers everything that was recorded since the seal before, up to the close of a shop day. What is entered
// late belongs to the day on which it was recorded, not to the day on which it was observed, so that a sealed day never
// grows. A day on which nothing was recorded has no seal; its hours are covered by the next one. A day is sealed SealGrace
// after its close, when no save that began within it can still be under way.
//
// The bytes: a leaf is SHA-256 over 0x00 and the rows of one group, header first, then its lines, table by table (see
// appendRow); values are what PostgreSQL's cast to text gives with time zone UTC, date style ISO and extra_float_digits 1. The
// leaves of a seal stand kind by kind in the order of its layout, each kind by time and id. The root is that of RFC 6962.
// The statement is a few lines of text (see statement), its SHA-256 is the seal's head, and the next seal states that head.
// The site's key signs the statement by Ed25519. The heads are also written outside the database (LogLine), so that a
// database that was cut short, or sealed anew as a whole, does not fit them.

// SealGrace is how long after its close a shop day is sealed. It is longer than any save takes and than servers' clocks differ.
const SealGrace = 10 * time.Minute

// A Seal is one sealed shop day.
type Seal struct {
	Site      uuid.UUID `db:"site_id"`
	Number    int64     `db:"number"`
	ShopDay   time.Time `db:"shop_day"`
	Begins    time.Time `db:"begins"`
	Ends      time.Time `db:"ends"`
	SealedAt  time.Time `db:"sealed_at"`
	Layout    string    `db:"layout"`
	Leaves    int64     `db:"leaves"`
	Root      []byte    `db:"root"`
	Previous  []byte    `db:"previous"`
	Head      []byte    `db:"head"`
	KeyID     string    `db:"key_id"`
	Signature []byte    `db:"signature"`
}

const selectSeal = `SELECT site_id, number, shop_day, begins, ends, sealed_at, layout, leaves, root, previous, head, key_id, signature FROM seal WHERE site_id = @site `

const sealTime = "2006-01-02T15:04:05.000000Z"

// statement is what a seal says and what is signed, a line each with a line feed behind it.
func (s Seal) statement() []byte {
	layout := sha256.Sum256([]byte(s.Layout))
	return fmt.Appendf(nil, "coatbook seal 1\nsite %s\nnumber %d\nday %s\nbegins %s\nends %s\nsealed %s\nlayout %x\nleaves %d\nroot %x\nprevious %x\nkey %s\n",
		s.Site, s.Number, s.ShopDay.Format(time.DateOnly), s.Begins.UTC().Format(sealTime), s.Ends.UTC().Format(sealTime), s.SealedAt.UTC().Format(sealTime),
		layout, s.Leaves, s.Root, s.Previous, s.KeyID)
}

// LogLine is what is kept of a seal outside the database: site, number, day, leaves, head, key and signature.
func (s Seal) LogLine() string {
	return fmt.Sprintf("%s %d %s %d %x %s %s", s.Site, s.Number, s.ShopDay.Format(time.DateOnly), s.Leaves, s.Head, s.KeyID, base64.StdEncoding.EncodeToString(s.Signature))
}

// KeyID names a public key: the first 16 bytes of its SHA-256, in hex.
func KeyID(public ed25519.PublicKey) string {
	sum := sha256.Sum256(public)
	return hex.EncodeToString(sum[:16])
}

// AddSealKey registers the public half of a key that seals of the site may be signed with. The same key again is no change.
func (db *DB) AddSealKey(ctx context.Context, a Actor, public ed25519.PublicKey) error {
	return db.inTx(ctx, a.Site, func(tx querier) error {
		id := KeyID(public)
		tag, err := tx.Exec(ctx, `INSERT INTO seal_key (site_id, key_id, public_key, made_at) VALUES (@site, @id, @key, @at) ON CONFLICT (site_id, key_id) DO NOTHING`,
			sqlArgs{"site": a.Site, "id": id, "key": []byte(public), "at": db.Clock()})
		if err != nil {
			return fmt.Errorf("registering a seal key: %w", err)
		}
		if tag.RowsAffected() == 0 {
			return nil
		}
		return db.event(ctx, tx, a, Event{Verb: "seal key registered", SubjectKind: "site", Subject: a.Site, After: map[string]string{"key": id}})
	})
}

// SealKeys returns the public keys of a site by their id.
func (db *DB) SealKeys(ctx context.Context, site uuid.UUID) (map[string]ed25519.PublicKey, error) {
	return sealKeys(ctx, db.pool, site)
}

func sealKeys(ctx context.Context, q querier, site uuid.UUID) (map[string]ed25519.PublicKey, error) {
	type row struct {
		ID  string `db:"key_id"`
		Key []byte `db:"public_key"`
	}
	rows, err := list[row](ctx, q, `SELECT key_id, public_key FROM seal_key WHERE site_id = @site`, sqlArgs{"site": site})
	if err != nil {
		return nil, fmt.Errorf("seal keys: %w", err)
	}
	keys := map[string]ed25519.PublicKey{}
	for _, r := range rows {
		keys[r.ID] = r.Key
	}
	return keys, nil
}

// SealsAfter returns the seals of a site behind a number, in order.
func (db *DB) SealsAfter(ctx context.Context, site uuid.UUID, number int64) ([]Seal, error) {
	return list[Seal](ctx, db.pool, selectSeal+`AND number > @number ORDER BY number`, sqlArgs{"site": site, "number": number})
}

// SealDays seals every shop day of a site that is due and not sealed yet, oldest first, and returns how many it sealed. Of
// several servers that try at once one seals a day; the others find it done.
func (db *DB) SealDays(ctx context.Context, site uuid.UUID, key ed25519.PrivateKey) (n int, err error) {
	for {
		done, err := db.sealNext(ctx, site, key)
		if violates(err, "seal_pkey") || violates(err, "seal_day_once") {
			continue // another server sealed it between our look and our write
		}
		if err != nil || !done {
			return n, err
		}
		n++
	}
}

// sealNext seals the oldest day that is due, if there is one. A seal is no event: it would begin the next day's.
func (db *DB) sealNext(ctx context.Context, id uuid.UUID, key ed25519.PrivateKey) (done bool, err error) {
	err = db.still(ctx, pgx.ReadWrite, func(tx pgx.Tx) error {
		mine, err := value[bool](ctx, tx, `SELECT pg_try_advisory_xact_lock(hashtextextended('coatbook seal ' || @site::text, 0))`, sqlArgs{"site": id.String()})
		if err != nil || !mine {
			return err
		}
		s, due, err := db.nextSeal(ctx, tx, id)
		if err != nil || !due {
			return err
		}
		layout, err := currentLayout(ctx, tx)
		if err != nil {
			return err
		}
		text, err := json.Marshal(layout)
		if err != nil {
			return err
		}
		s.Layout, s.SealedAt = string(text), db.Clock().UTC().Truncate(time.Microsecond)
		s.KeyID = KeyID(key.Public().(ed25519.PublicKey))
		pages, err := db.fillSeal(ctx, tx, &s, layout)
		if err != nil {
			return err
		}
		statement := s.statement()
		head := sha256.Sum256(statement)
		s.Head, s.Signature = head[:], ed25519.Sign(key, statement)
		if err := storeSeal(ctx, tx, s, pages); err != nil {
			return err
		}
		done = true
		return nil
	})
	if err == nil && done {
		db.notices.changed(id)
	}
	return done, err
}

// still runs work on a snapshot that does not move, with the text forms that seals are made of.
func (db *DB) still(ctx context.Context, mode pgx.TxAccessMode, work func(tx pgx.Tx) error) error {
	return pgx.BeginTxFunc(ctx, db.pool, pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: mode}, func(tx pgx.Tx) error {
		for _, setting := range []string{"SET LOCAL timezone = 'UTC'", "SET LOCAL datestyle = 'ISO, YMD'", "SET LOCAL extra_float_digits = 1",
			"SET LOCAL bytea_output = 'hex'", "SET LOCAL intervalstyle = 'postgres'"} {
			if _, err := tx.Exec(ctx, setting); err != nil {
				return err
			}
		}
		return work(tx)
	})
}

// nextSeal begins the seal that is due next. Every change writes an event, so the first event that is not sealed says which
// day that is.
func (db *DB) nextSeal(ctx context.Context, q querier, id uuid.UUID) (s Seal, due bool, err error) {
	st, err := site(ctx, q, id)
	if err != nil {
		return s, false, err
	}
	s = Seal{Site: id, Number: 1, Previous: make([]byte, sha256.Size)}
	last, err := one[Seal](ctx, q, selectSeal+`ORDER BY number DESC LIMIT 1`, sqlArgs{"site": id})
	switch {
	case err == nil:
		s.Number, s.Begins, s.Previous = last.Number+1, last.Ends, last.Head
	case !errors.Is(err, ErrNotFound):
		return s, false, err
	}
	first, err := value[*time.Time](ctx, q, `SELECT min(at) FROM event WHERE site_id = @site AND at >= @begins`, sqlArgs{"site": id, "begins": s.Begins})
	if err != nil || first == nil {
		return s, false, err
	}
	s.ShopDay, _ = st.ShopDay(*first)
	if !last.ShopDay.IsZero() && !s.ShopDay.After(last.ShopDay) {
		// The shop day was made to begin later since the last seal: what came between belongs to the day after.
		s.ShopDay = last.ShopDay.AddDate(0, 0, 1)
	}
	s.Ends = st.DayBegins(s.ShopDay.AddDate(0, 0, 1))
	return s, !db.Clock().Before(s.Ends.Add(SealGrace)), nil
}

// DayBegins is the instant at which a shop day opens: the start of its first shift.
func (s Site) DayBegins(day time.Time) time.Time {
	start := time.Duration(s.ShiftStarts[0].Microseconds) * time.Microsecond
	return time.Date(day.Year(), day.Month(), day.Day(), int(start.Hours()), int(start.Minutes())%60, int(start.Seconds())%60, 0, s.Location())
}

// A stored leaf is the place of its kind in the layout (one byte), the row's id (16) and the hash (32).
const (
	leafBytes    = 49
	leavesOnPage = 1024
)

// fillSeal hashes what the seal covers, and returns its leaves in pages.
func (db *DB) fillSeal(ctx context.Context, tx pgx.Tx, s *Seal, layout []sealGroup) (pages [][]byte, err error) {
	var tree merkle
	_, err = eachLeaf(ctx, tx, s.Site, layout, s.Begins, s.Ends, func(group int, l leaf) error {
		if tree.n%leavesOnPage == 0 {
			pages = append(pages, make([]byte, 0, leafBytes*leavesOnPage))
		}
		last := &pages[len(pages)-1]
		*last = append(append(append(*last, byte(group)), l.id[:]...), l.hash[:]...)
		tree.add(l.hash)
		return nil
	})
	root := tree.root()
	s.Leaves, s.Root = int64(tree.n), root[:]
	return pages, err
}

func storeSeal(ctx context.Context, tx pgx.Tx, s Seal, pages [][]byte) error {
	if err := run(ctx, tx, `INSERT INTO seal (site_id, number, shop_day, begins, ends, sealed_at, layout, leaves, root, previous, head, key_id, signature)
		VALUES (@site, @number, @day, @begins, @ends, @at, @layout, @leaves, @root, @previous, @head, @key, @signature)`, sqlArgs{
		"site": s.Site, "number": s.Number, "day": s.ShopDay, "begins": s.Begins, "ends": s.Ends, "at": s.SealedAt, "layout": s.Layout, "leaves": s.Leaves,
		"root": s.Root, "previous": s.Previous, "head": s.Head, "key": s.KeyID, "signature": s.Signature}); err != nil {
		return fmt.Errorf("storing the seal of %s: %w", s.ShopDay.Format(time.DateOnly), err)
	}
	b := &pgx.Batch{}
	for i, page := range pages {
		b.Queue(`INSERT INTO seal_page (site_id, number, page, leaves) VALUES (@site, @number, @page, @leaves)`,
			sqlArgs{"site": s.Site, "number": s.Number, "page": i + 1, "leaves": page})
	}
	return send(ctx, tx, b)
}
