package store

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
)

// Trust is what Verify holds the book against besides itself.
type Trust struct {
	// Keys are the public keys that seals may be signed with; empty means those in the database, which somebody who can
	// change seals can change too.
	Keys []ed25519.PublicKey
	// Heads are the heads kept outside the database, by the number of the seal; nil when there is no such list.
	Heads map[int64]string
}

// A Mismatch is one thing that is not as it was sealed or signed. Sentence names it: kind, subject, number and day.
type Mismatch struct {
	Seal     int64 // 0 when it is about no seal
	Sentence string
}

// Verified is what Verify found. The book is as it was sealed and signed when there is no Mismatch.
type Verified struct {
	Seals, Leaves, Rows int64
	// Anchored is how many seals have their head in the list outside; Open how many groups were recorded since the last seal.
	Anchored, Open int64
	Last           Seal
	Hashes         int64 // content hashes and signatures that were made again
	Mismatches     []Mismatch
}

func (v *Verified) fault(seal int64, format string, args ...any) {
	v.Mismatches = append(v.Mismatches, Mismatch{seal, fmt.Sprintf(format, args...)})
}

// Verify makes every seal of a site again from the rows, checks chain, signatures and counts, compares the heads with those
// kept outside, and makes the content hashes and signed contents again, sealed or not. It reads one snapshot and so may run
// beside the server, and keeps one batch of rows in memory. Of each seal it names the first row that does not match.
func (db *DB) Verify(ctx context.Context, st Site, trust Trust) (v Verified, err error) {
	err = db.still(ctx, pgx.ReadOnly, func(tx pgx.Tx) error {
		keys, err := sealKeys(ctx, tx, st.ID)
		if err != nil {
			return err
		}
		if len(trust.Keys) > 0 {
			keys = map[string]ed25519.PublicKey{}
			for _, k := range trust.Keys {
				keys[KeyID(k)] = k
			}
		}
		if err := v.chain(ctx, tx, st, keys, trust.Heads); err != nil {
			return err
		}
		if err := v.open(ctx, tx, st); err != nil {
			return err
		}
		return v.contents(ctx, tx, st)
	})
	return v, err
}

// chain walks the seals in order.
func (v *Verified) chain(ctx context.Context, tx pgx.Tx, st Site, keys map[string]ed25519.PublicKey, heads map[int64]string) error {
	expected := Seal{Number: 1, Previous: make([]byte, sha256.Size)}
	for {
		seals, err := list[Seal](ctx, tx, selectSeal+`AND number >= @number ORDER BY number LIMIT 50`, sqlArgs{"site": st.ID, "number": expected.Number})
		if err != nil {
			return fmt.Errorf("reading seals: %w", err)
		}
		for _, s := range seals {
			if s.Number != expected.Number {
				v.fault(expected.Number, "Seal %d is missing; the next one there is %d of %s.", expected.Number, s.Number, s.ShopDay.Format(time.DateOnly))
			} else if !bytes.Equal(s.Previous, expected.Previous) || !s.Begins.Equal(expected.Begins) {
				v.fault(s.Number, "Seal %d of %s does not follow from the seal before it.", s.Number, s.ShopDay.Format(time.DateOnly))
			}
			v.seal(s, keys)
			if head, kept := heads[s.Number]; kept {
				v.Anchored++
				if head != hex.EncodeToString(s.Head) {
					v.fault(s.Number, "Seal %d of %s is not the one in the list outside the database: its head there is %s, here %x.", s.Number, s.ShopDay.Format(time.DateOnly), head, s.Head)
				}
			}
			if err := v.leaves(ctx, tx, st, s); err != nil {
				return err
			}
			v.Seals, v.Last = v.Seals+1, s
			expected = Seal{Number: s.Number + 1, Previous: s.Head, Begins: s.Ends}
		}
		if len(seals) < 50 {
			break
		}
	}
	most := v.Last.Number
	for number := range heads {
		most = max(most, number)
	}
	if most > v.Last.Number {
		v.fault(most, "The list outside the database goes on to seal %d; the database ends at seal %d: the end of the book was cut off.", most, v.Last.Number)
	}
	return nil
}

// seal checks what a seal says against its own head and signature.
func (v *Verified) seal(s Seal, keys map[string]ed25519.PublicKey) {
	day := s.ShopDay.Format(time.DateOnly)
	statement := s.statement()
	head := sha256.Sum256(statement)
	key, known := keys[s.KeyID]
	switch {
	case !bytes.Equal(head[:], s.Head):
		v.fault(s.Number, "Seal %d of %s was changed: its text does not have the head that is stored with it.", s.Number, day)
	case !known:
		v.fault(s.Number, "Seal %d of %s is signed with key %s, which is not among the site's keys.", s.Number, day, s.KeyID)
	case len(key) != ed25519.PublicKeySize || KeyID(key) != s.KeyID || !ed25519.Verify(key, statement, s.Signature):
		v.fault(s.Number, "Seal %d of %s is not signed by the site's key %s.", s.Number, day, s.KeyID)
	}
}

// leaves makes the leaves of a seal again and names the first that is not as it was sealed.
func (v *Verified) leaves(ctx context.Context, tx pgx.Tx, st Site, s Seal) error {
	day := s.ShopDay.Format(time.DateOnly)
	layout, err := readLayout(s.Layout)
	if err != nil {
		v.fault(s.Number, "Seal %d of %s has a layout that cannot be read.", s.Number, day)
		return nil
	}
	stored := storedLeaves{tx: tx, seal: s}
	if err := stored.next(ctx); err != nil {
		return err
	}
	var tree merkle
	var odd *oddity
	// The walk has read a batch before it hands it on, so the list may be read in between. It goes on behind the first
	// mismatch, because only the root says whether the rows or the list were changed.
	rows, err := eachLeaf(ctx, tx, st.ID, layout, s.Begins, s.Ends, func(group int, l leaf) error {
		tree.add(l.hash)
		if odd != nil {
			return nil
		}
		if stored.done || stored.group != group || stored.leaf != l {
			odd = &oddity{group, l}
			return nil
		}
		return stored.next(ctx)
	})
	if err != nil {
		return err
	}
	v.Rows, v.Leaves = v.Rows+rows, v.Leaves+int64(tree.n)
	root := tree.root()
	sound := bytes.Equal(root[:], s.Root) && int64(tree.n) == s.Leaves
	switch {
	case sound && (odd != nil || !stored.done):
		v.fault(s.Number, "Seal %d of %s: its list of leaves was changed; the rows are as they were sealed.", s.Number, day)
	case odd != nil || !stored.done:
		return v.nameOdd(ctx, tx, st, s, layout, stored, odd)
	case !sound:
		v.fault(s.Number, "Seal %d of %s: the rows and the list of leaves were both changed; together they no longer give its root.", s.Number, day)
	}
	return nil
}

// An oddity is the first leaf that is not the one expected.
type oddity struct {
	group int
	leaf
}

// storedLeaves reads the list of leaves page by page.
type storedLeaves struct {
	tx    pgx.Tx
	seal  Seal
	page  int
	rest  []byte
	group int
	leaf  leaf
	done  bool
}

func (l *storedLeaves) next(ctx context.Context) error {
	if len(l.rest) < leafBytes {
		l.page++
		page, err := value[[]byte](ctx, l.tx, `SELECT leaves FROM seal_page WHERE site_id = @site AND number = @number AND page = @page`,
			sqlArgs{"site": l.seal.Site, "number": l.seal.Number, "page": l.page})
		if errors.Is(err, ErrNotFound) {
			l.done = true
			return nil
		}
		if err != nil {
			return fmt.Errorf("reading the leaves of seal %d: %w", l.seal.Number, err)
		}
		if l.rest = page; len(page) < leafBytes {
			l.done = true
			return nil
		}
	}
	l.group = int(l.rest[0])
	copy(l.leaf.id[:], l.rest[1:17])
	copy(l.leaf.hash[:], l.rest[17:leafBytes])
	l.rest = l.rest[leafBytes:]
	return nil
}

// nameOdd says which row is the first that does not match: the one expected is missing or changed, or the one found is new.
// odd is nil when the rows ended before the list.
func (v *Verified) nameOdd(ctx context.Context, tx pgx.Tx, st Site, s Seal, layout []sealGroup, stored storedLeaves, odd *oddity) error {
	where := fmt.Sprintf("Seal %d of %s", s.Number, s.ShopDay.Format(time.DateOnly))
	switch pages := int((s.Leaves + leavesOnPage - 1) / leavesOnPage); {
	case stored.done && stored.page <= pages:
		v.fault(s.Number, "%s: page %d of its list of leaves is missing, and its rows do not give its root.", where, stored.page)
		return nil
	case stored.done:
		what, err := describe(ctx, tx, st, layout[odd.group], odd.id)
		v.fault(s.Number, "%s: %s was added after the day was sealed.", where, what)
		return err
	case stored.group >= len(layout):
		v.fault(s.Number, "%s: its list of leaves was changed, and its rows do not give its root.", where)
		return nil
	}
	what, err := describe(ctx, tx, st, layout[stored.group], stored.leaf.id)
	if err != nil {
		return err
	}
	if odd != nil && stored.group == odd.group && stored.leaf.id == odd.id {
		v.fault(s.Number, "%s: %s was changed.", where, what)
		return nil
	}
	at, err := recordedAt(ctx, tx, st.ID, layout[stored.group], stored.leaf.id)
	switch {
	case errors.Is(err, ErrNotFound):
		v.fault(s.Number, "%s: %s is missing.", where, what)
		return nil
	case err != nil:
		return err
	case odd == nil || at.Before(s.Begins) || !at.Before(s.Ends):
		v.fault(s.Number, "%s: %s was changed: it now says that it was recorded at %s.", where, what, at.UTC().Format(time.RFC3339))
		return nil
	}
	return v.nameMoved(ctx, tx, st, s, layout, stored, *odd, what)
}

// nameMoved decides between two rows of which each is where the other was expected: one that the list knows as it is now is
// not the one that was changed.
func (v *Verified) nameMoved(ctx context.Context, tx pgx.Tx, st Site, s Seal, layout []sealGroup, stored storedLeaves, odd oddity, expected string) error {
	where := fmt.Sprintf("Seal %d of %s", s.Number, s.ShopDay.Format(time.DateOnly))
	found, err := describe(ctx, tx, st, layout[odd.group], odd.id)
	if err != nil {
		return err
	}
	for !stored.done {
		if stored.group == odd.group && stored.leaf.id == odd.id {
			if stored.leaf.hash == odd.hash {
				found = expected
			}
			v.fault(s.Number, "%s: %s was changed, and with it the time at which it says it was recorded.", where, found)
			return nil
		}
		if err := stored.next(ctx); err != nil {
			return err
		}
	}
	v.fault(s.Number, "%s: %s was added after the day was sealed.", where, found)
	return nil
}

// open counts what was recorded since the last seal.
func (v *Verified) open(ctx context.Context, tx pgx.Tx, st Site) error {
	layout, err := currentLayout(ctx, tx)
	if err != nil {
		return err
	}
	_, err = eachLeaf(ctx, tx, st.ID, layout, v.Last.Ends, time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC), func(int, leaf) error {
		v.Open++
		return nil
	})
	return err
}
