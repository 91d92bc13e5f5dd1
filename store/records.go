package store

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"coatbook/quality"
)

// A Subject is the thing a record is about.
type Subject struct {
	Kind quality.Subject
	ID   uuid.UUID
}

// A Use is one thing that went into an act: a gauge, a shim, a powder lot, a welder, a booth, an oven, a bath, the part a
// load's test was made on.
type Use struct {
	Role string
	ID   uuid.UUID
}

// An Override is a supervisor's leave to pass over one rule for one record, given with their PIN where the work is.
type Override struct {
	Rule   string
	Reason string
	By     uuid.UUID
	PIN    string
}

// An Entry is what one form enters: a record of any kind, not yet judged. RecordID is made where it is entered; sending the
// same entry again is the same record.
type Entry struct {
	RecordID    uuid.UUID
	Kind        quality.Kind
	Subject     Subject
	ObservedAt  time.Time // device time corrected by ClockOffset; zero means now
	ClockOffset time.Duration
	LateReason  string
	Note        string
	Check       quality.Check
	Uses        []Use
	Overrides   []Override
	// Profile is set for a cure run whose figures are read off a logger's file instead of being typed.
	Profile *ProfileUse

	recorded *recordedRun // what Profile gave
	// Set by Correct, Void and TakeBack: the record that this one takes the place of, and the PIN given for it.
	correction *Correction
	proof      Proof
	voids      bool
}

func (e Entry) use(role string) uuid.UUID {
	for _, u := range e.Uses {
		if u.Role == role {
			return u.ID
		}
	}
	return uuid.Nil
}

// Saved is the answer to an acknowledged entry.
type Saved struct {
	RecordID   uuid.UUID
	Judgement  quality.Judgement
	HoldNumber string
	// RecallNumber is that of the review of everything measured with a device that this record found wrong.
	RecallNumber string
	// Lots are sentences about inspection lots that this record decided.
	Lots []string
	// Already is set when this record was on disk before: the entry came twice.
	Already bool
	// ClockWarning is a sentence when the device's clock was too far off and the server's time was kept instead.
	ClockWarning string
}

// Save judges an entry and writes the record, its lines, findings, holds, part status and event in one transaction. When it
// returns nil everything is on disk. A *Refusal says which rule keeps the entry out; then nothing is stored.
func (db *DB) Save(ctx context.Context, a Actor, e Entry) (Saved, error) {
	// Judging sets flags in place; the caller's lines stay as they are, and a repeat has the same content as the first try.
	e.Check.Readings, e.Check.Defects = slices.Clone(e.Check.Readings), slices.Clone(e.Check.Defects)
	if err := db.measure(ctx, a, &e); err != nil {
		return Saved{}, err
	}
	if err := db.workOutBath(ctx, a, &e); err != nil {
		return Saved{}, err
	}
	if err := db.answerArticle(ctx, a, &e); err != nil {
		return Saved{}, err
	}
	proofs, err := db.checkOverrides(ctx, a, e.Overrides)
	if err != nil {
		return Saved{}, err
	}
	saved, err := db.saveOnce(ctx, a, []Entry{e}, proofs)
	if err != nil {
		return Saved{}, asRefusal(err)
	}
	return saved[0], nil
}

// SaveAll is Save for checks of one kind that one person made on several parts and that come together, such as what a gauge
// remembers of a rack: all of them or none. What they depend on is asked for once, so that a dozen take the database little more
// than two. It answers in the order of the entries; an error names the one that it is about.
func (db *DB) SaveAll(ctx context.Context, a Actor, entries []Entry) ([]Saved, error) {
	entries = slices.Clone(entries)
	seen := map[uuid.UUID]bool{}
	for i := range entries {
		e := &entries[i]
		switch {
		case e.Subject.Kind != quality.OnPart || e.Kind != entries[0].Kind || seen[e.Subject.ID]:
			return nil, fmt.Errorf("entry %d of %d: checks that come together are of one kind, each on a part of its own", i+1, len(entries))
		case e.Kind == quality.FirstArticle || len(e.Overrides) > 0 || e.Profile != nil || e.correction != nil:
			return nil, fmt.Errorf("entry %d of %d: a first article, an exception or a correction is saved by itself", i+1, len(entries))
		}
		seen[e.Subject.ID] = true
		e.Check.Readings, e.Check.Defects = slices.Clone(e.Check.Readings), slices.Clone(e.Check.Defects)
	}
	if len(entries) == 0 {
		return nil, nil
	}
	saved, err := db.saveOnce(ctx, a, entries, nil)
	return saved, asRefusal(err)
}

// saveOnce saves entries in one transaction, however often they come.
func (db *DB) saveOnce(ctx context.Context, a Actor, entries []Entry, proofs map[string]Proof) ([]Saved, error) {
	saved, err := db.tryToSave(ctx, a, entries, proofs)
	if cameTwice(err) {
		// The same entry arrived twice at once; the other one is on disk now.
		saved, err = db.tryToSave(ctx, a, entries, proofs)
	}
	return saved, err
}

func (db *DB) tryToSave(ctx context.Context, a Actor, entries []Entry, proofs map[string]Proof) (saved []Saved, err error) {
	err = db.transact(ctx, func(tx *saving) error {
		saved, err = db.save(ctx, tx, a, entries, proofs)
		return err
	})
	if err != nil {
		return nil, err
	}
	db.notices.changed(a.Site)
	return saved, nil
}

// Preview judges an entry without storing it, for the review before the save.
func (db *DB) Preview(ctx context.Context, a Actor, e Entry) (quality.Judgement, error) {
	st, err := site(ctx, db.pool, a.Site)
	if err != nil {
		return quality.Judgement{}, err
	}
	if err := asFound(&e); err != nil {
		return quality.Judgement{}, err
	}
	e.Check.Readings = slices.Clone(e.Check.Readings)
	if err := db.measure(ctx, a, &e); err != nil {
		return quality.Judgement{}, err
	}
	if err := db.workOutBath(ctx, a, &e); err != nil {
		return quality.Judgement{}, err
	}
	if err := db.answerArticle(ctx, a, &e); err != nil {
		return quality.Judgement{}, err
	}
	w, err := db.prepare(ctx, db.pool, st, a, &e, nil)
	if err != nil {
		return quality.Judgement{}, err
	}
	return quality.Judge(w.spec, w.circumstance, &e.Check), nil
}

// work is what saving one entry needs to know.
type work struct {
	site         Site
	label        string
	parts        []*standing
	revision     SpecHead
	spec         quality.FinishSpec
	circumstance quality.Circumstance
	station      uuid.NullUUID
	gauge        *Instrument
	refusals     []*Refusal
	clockWarning string
	// original is the record that the entry corrects, nil for a new one.
	original     *target
	verification uuid.UUID // what vouches for the gauge
	signature    uuid.UUID // of a correction
	// bathReadings are the last readings of the baths that a wash names, by bath.
	bathReadings map[uuid.UUID]uuid.UUID
	recall       string // number of the review that a failed device opened
	critical     []critical
	saved        *Saved                   // the answer to the entry
	lots         func() ([]string, error) // what the record means for inspection lots; nil where the spec samples nothing
}

// save judges and writes entries: one of any kind, or several checks of parts.
func (db *DB) save(ctx context.Context, tx *saving, a Actor, entries []Entry, proofs map[string]Proof) ([]Saved, error) {
	hashes := make([]string, len(entries))
	for i := range entries {
		var err error
		if hashes[i], err = entries[i].arrived(); err != nil {
			return nil, err
		}
	}
	st, read, saved, err := db.arrive(ctx, tx, a, entries, hashes)
	if err != nil {
		return nil, err
	}
	batch := &pgx.Batch{}
	var written []*work
	for i := range entries {
		e := &entries[i]
		if saved[i].Already {
			continue
		}
		if e.correction != nil {
			saved[i], err = db.saveCorrection(ctx, tx, st, a, *e, hashes[i])
			return saved, err
		}
		w, err := db.prepare(ctx, tx, st, a, e, read)
		if err == nil {
			w.saved = &saved[i]
			err = db.write(ctx, tx, batch, a, *e, w, hashes[i], proofs)
		}
		switch {
		case err != nil && len(entries) > 1:
			return nil, fmt.Errorf("entry %d of %d: %w", i+1, len(entries), err)
		case err != nil:
			return nil, err
		}
		written = append(written, w)
	}
	return saved, db.settleWritten(ctx, tx, batch, a, written)
}

// arrived readies an entry to be judged and returns the hash of its content.
func (e *Entry) arrived() (hash string, err error) {
	if e.RecordID == uuid.Nil {
		return "", refuse(RuleInvalid, "The entry has no number of its own. Reload the page and enter it again.")
	}
	if err := asFound(e); err != nil {
		return "", err
	}
	for i := range e.Check.Readings {
		e.Check.Readings[i].Flag = quality.Unflagged
		e.Check.Readings[i].Source = orElse(e.Check.Readings[i].Source, "typed")
	}
	for i := range e.Check.Defects {
		e.Check.Defects[i].Flag = quality.Unflagged
	}
	return e.contentHash()
}

// write judges an entry and adds its record, and what its verdict entails, to what goes to the database next.
func (db *DB) write(ctx context.Context, tx querier, batch *pgx.Batch, a Actor, e Entry, w *work, hash string, proofs map[string]Proof) (err error) {
	for _, r := range w.refusals {
		if _, allowed := proofs[r.Rule]; !(r.MayOverride && w.site.OverridesAllowed && allowed) {
			return r
		}
	}
	w.ownExceptions(a, proofs)
	j := quality.Judge(w.spec, w.circumstance, &e.Check)
	told := Event{Verb: "recorded", SubjectKind: string(e.Subject.Kind), Subject: e.Subject.ID, Record: e.RecordID,
		After: map[string]any{"kind": e.Kind, "verdict": j.Verdict, "content_hash": hash}, Reason: e.LateReason}
	if err := db.queueRecord(batch, a, e, w, j, hash, told); err != nil {
		return err
	}
	if len(w.refusals) > 0 {
		if err := send(ctx, tx, batch); err != nil {
			return fmt.Errorf("writing record %s: %w", e.RecordID, err)
		}
	}
	for _, r := range w.refusals {
		if err := db.insertOverride(ctx, tx, a, e, r, proofs[r.Rule]); err != nil {
			return err
		}
	}
	*w.saved = Saved{RecordID: e.RecordID, Judgement: j, ClockWarning: w.clockWarning}
	if w.saved.HoldNumber, err = db.consequences(ctx, tx, batch, a, e, w, j); err != nil {
		return err
	}
	w.saved.RecallNumber = w.recall
	if len(w.spec.Sampling) > 0 {
		w.lots = func() ([]string, error) { return db.lotsAfter(ctx, tx, a, e, w, j) }
	}
	return nil
}

// settleWritten sends what is still to be written, with where the parts stand now, and commits; where a spec samples, the lots come
// last, because their verdict is read from what was written.
func (db *DB) settleWritten(ctx context.Context, tx *saving, batch *pgx.Batch, a Actor, written []*work) (err error) {
	var parts []*standing
	specs := map[uuid.UUID]quality.FinishSpec{}
	lots, newer := false, false
	for _, w := range written {
		lots = lots || w.lots != nil
		if len(w.parts) > 0 {
			// The revision that judged the entry is still in force, or a newer one rules what the part needs next.
			parts, specs[w.parts[0].SpecID], newer = append(parts, w.parts...), w.spec, newer || w.revision.ObsoleteAt != nil
		}
	}
	if newer {
		if specs, err = db.specsOf(ctx, tx, a.Site, parts); err != nil {
			return err
		}
	}
	db.queueSettle(batch, a.Site, parts, specs)
	if !lots {
		if err := tx.commitWith(ctx, batch); err != nil {
			return fmt.Errorf("writing %d records: %w", len(written), err)
		}
		return nil
	}
	if err := send(ctx, tx, batch); err != nil {
		return fmt.Errorf("writing %d records: %w", len(written), err)
	}
	for _, w := range written {
		if w.lots == nil {
			continue
		}
		if w.saved.Lots, err = w.lots(); err != nil {
			return err
		}
	}
	return nil
}

// consequences does what a verdict entails: the part's evidence, a hold on a fail, a gauge's state. What needs no answer
// is added to the batch that writes the record.
func (db *DB) consequences(ctx context.Context, tx querier, batch *pgx.Batch, a Actor, e Entry, w *work, j quality.Judgement) (hold string, err error) {
	if e.Subject.Kind == quality.OnInstrument || j.Verdict == quality.Fail {
		// Holds and the gauge's state point at the record, which must be there first.
		if err := send(ctx, tx, batch); err != nil {
			return "", fmt.Errorf("writing record %s: %w", e.RecordID, err)
		}
	}
	if e.Subject.Kind == quality.OnInstrument {
		return db.noteDevice(ctx, tx, a, e, w, j)
	}
	if e.Subject.Kind == quality.OnOven || e.Subject.Kind == quality.OnBath {
		return "", nil // its verdict is read from the record; no part hangs on it
	}
	panel := ""
	if e.Subject.Kind == quality.OnPanel {
		if panel, err = labelIn(ctx, tx, a.Site, e.Subject); err != nil {
			return "", err
		}
	}
	for _, s := range w.parts {
		s.evidence = append(s.evidence, quality.Evidence{RecordID: e.RecordID.String(), Kind: e.Kind, Verdict: j.Verdict, At: e.ObservedAt,
			Round: s.Round, Person: a.Person.String(), Sentence: onPanel(panel, j.Sentence()), Findings: j.Findings, Unconfirmed: w.unconfirmed()})
	}
	if j.Verdict == quality.Fail {
		var held []*standing
		tested := e.use("tested_part")
		for _, s := range w.parts {
			if tested == uuid.Nil || s.PartID == tested {
				held = append(held, s)
			}
		}
		requirement := fmt.Sprintf("%s rev %s: %s", w.revision.Code, w.revision.Revision, j.Rule)
		if hold, err = db.openHold(ctx, tx, a, w.site, j.Sentence(), requirement, e.RecordID, held); err != nil {
			return "", err
		}
	}
	return hold, nil
}

// storedRow is a record with the id of an entry that arrives.
type storedRow struct {
	RecordID uuid.UUID       `db:"record_id"`
	Hash     string          `db:"content_hash"`
	Verdict  quality.Verdict `db:"verdict"`
	Rule     string          `db:"rule"`
	Hold     string          `db:"hold"`
}

const storedSQL = `SELECT record_id, content_hash, verdict, rule, coalesce((SELECT h.number FROM hold h WHERE h.site_id = r.site_id AND h.record_id = r.record_id LIMIT 1), '') AS hold
	FROM record r WHERE site_id = @site AND record_id = ANY(@records)`

// again answers an entry whose id is on record: the same content with what is stored; other content is refused.
func (db *DB) again(ctx context.Context, q querier, site, id uuid.UUID, hash string, r storedRow) (Saved, error) {
	if r.Hash != hash {
		return Saved{}, refuse(RuleSameID, "This entry was saved before with other values. Open the part to see what is on record; to change it, enter a new record.")
	}
	findings, err := findings(ctx, q, site, id)
	return Saved{RecordID: id, Judgement: quality.Judgement{Verdict: r.Verdict, Rule: r.Rule, Findings: findings}, HoldNumber: r.Hold, Already: true}, err
}
