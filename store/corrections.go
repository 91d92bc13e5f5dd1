package store

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"coatbook/quality"
)

// CorrectionCodes are the reasons for which a record is corrected or voided, in the order of the screens. The code
// EntryUndone is given by TakeBack alone.
var CorrectionCodes = []string{"typing_error", "wrong_part", "device_fault", "late_information", "other"}

// EntryUndone is the reason code of an entry that its author took back at once.
const EntryUndone = "entry_undone"

// TakeBackWithin is how long the author of an entry may take it back with one tap: about as long as the answer to it stays
// on the screen.
const TakeBackWithin = 2 * time.Minute

// A Correction says which record an entry takes the place of, and why. Nothing of it is filled in beforehand.
type Correction struct {
	Of   uuid.UUID
	Code string
	Text string
}

// target is the record that a correction takes the place of.
type target struct {
	RecordID     uuid.UUID       `db:"record_id"`
	Kind         quality.Kind    `db:"kind"`
	PartID       uuid.NullUUID   `db:"part_id"`
	RackID       uuid.NullUUID   `db:"rack_id"`
	LoadID       uuid.NullUUID   `db:"load_id"`
	InstrumentID uuid.NullUUID   `db:"instrument_id"`
	BathID       uuid.NullUUID   `db:"bath_id"`
	OvenID       uuid.NullUUID   `db:"oven_id"`
	PanelID      uuid.NullUUID   `db:"panel_id"`
	Cycle        int             `db:"cycle"`
	Round        int             `db:"round"`
	FirstPass    bool            `db:"first_pass"`
	SpecID       uuid.NullUUID   `db:"spec_revision_id"`
	PersonID     uuid.UUID       `db:"person_id"`
	ObservedAt   time.Time       `db:"observed_at"`
	RecordedAt   time.Time       `db:"recorded_at"`
	CountedAt    time.Time       `db:"counted_at"`
	Verdict      quality.Verdict `db:"verdict"`
	ContentHash  string          `db:"content_hash"`
	CorrectedBy  string          `db:"corrected_by"`
	// Gauge and Verification are what measured the original.
	Gauge        uuid.NullUUID `db:"gauge_id"`
	Verification uuid.NullUUID `db:"verification_id"`
}

// subject returns what the record is about.
func (t target) subject() Subject {
	for kind, id := range map[quality.Subject]uuid.NullUUID{quality.OnPart: t.PartID, quality.OnRack: t.RackID, quality.OnLoad: t.LoadID,
		quality.OnInstrument: t.InstrumentID, quality.OnBath: t.BathID, quality.OnOven: t.OvenID, quality.OnPanel: t.PanelID} {
		if id.Valid {
			return Subject{kind, id.UUID}
		}
	}
	return Subject{}
}

const targetSQL = `SELECT r.record_id, r.kind, r.part_id, r.rack_id, r.load_id, r.instrument_id, r.bath_id, r.oven_id, r.panel_id, r.cycle, r.round, r.first_pass,
	r.spec_revision_id, r.person_id, r.observed_at, r.recorded_at, r.counted_at, r.verdict, r.content_hash,
	coalesce((SELECT p.name FROM record s JOIN person p ON p.site_id = s.site_id AND p.person_id = s.person_id
		WHERE s.site_id = r.site_id AND s.supersedes_id = r.record_id), '') AS corrected_by,
	u.instrument_id AS gauge_id, u.verification_id
	FROM record r LEFT JOIN record_use u ON u.site_id = r.site_id AND u.record_id = r.record_id AND u.role = 'gauge'
	WHERE r.site_id = @site AND r.record_id = @record`

// Correct stores an entry in the place of a record, judged anew by the spec that was in force when the thing was observed.
// The entry keeps the time, cycle and round of the original. Gate, holds and releases follow in the same transaction: a
// corrected record that now fails opens a hold, and a part that was released on it is held and needs a new release.
func (db *DB) Correct(ctx context.Context, a Actor, e Entry, c Correction, proof Proof) (Saved, error) {
	if err := c.check(); err != nil {
		return Saved{}, err
	}
	e.correction, e.proof = &c, proof
	return db.Save(ctx, a, e)
}

// Void takes a record out of count and puts nothing in its place. id is the void's own id, made where it was asked for.
func (db *DB) Void(ctx context.Context, a Actor, id uuid.UUID, c Correction, proof Proof) (Saved, error) {
	if err := c.check(); err != nil {
		return Saved{}, err
	}
	return db.void(ctx, a, id, c, proof)
}

// TakeBack voids an entry that its author made within TakeBackWithin, without a PIN: the entry stays readable as undone.
func (db *DB) TakeBack(ctx context.Context, a Actor, id, record uuid.UUID) (Saved, error) {
	return db.void(ctx, a, id, Correction{Of: record, Code: EntryUndone, Text: "Taken back by its author at once."}, Proof{})
}

func (db *DB) void(ctx context.Context, a Actor, id uuid.UUID, c Correction, proof Proof) (Saved, error) {
	t, err := one[target](ctx, db.pool, targetSQL, sqlArgs{"site": a.Site, "record": c.Of})
	if err != nil {
		return Saved{}, err
	}
	return db.Save(ctx, a, Entry{RecordID: id, Kind: t.Kind, Subject: t.subject(), correction: &c, proof: proof, voids: true})
}

func (c Correction) check() error {
	known := false
	for _, code := range CorrectionCodes {
		known = known || code == c.Code
	}
	switch {
	case !known:
		return refuse("record_reason_code_known", "Choose why the record is corrected.")
	case len([]rune(strings.TrimSpace(c.Text))) < 5:
		return refuse("record_amendment_reason", "Say in a few words why the record is corrected.")
	}
	return nil
}

// askTarget reads and checks the record that an entry corrects, and gives the entry the original's time.
func (db *DB) askTarget(ctx context.Context, tx querier, a Actor, e *Entry) (*target, error) {
	t, err := one[target](ctx, tx, targetSQL, sqlArgs{"site": a.Site, "record": e.correction.Of})
	switch {
	case errors.Is(err, ErrNotFound):
		return nil, refuse("record_supersedes_fkey", constraintSentences["record_supersedes_fkey"])
	case err != nil:
		return nil, err
	case t.CorrectedBy != "":
		return nil, refuse("record_superseded_once", fmt.Sprintf("%s has corrected this record meanwhile. Look at the correction first; nothing of yours was stored.", t.CorrectedBy))
	case t.Verdict == quality.Voided:
		return nil, refuse(RuleChanged, "This record is void. Enter a new one.")
	case !a.Has(Supervisor, Engineer) && t.PersonID != a.Person:
		return nil, refuse(RuleNoRight, "Its author, a supervisor or an engineer corrects a record.")
	case t.Kind != e.Kind || t.subject() != e.Subject:
		return nil, refuse(RuleInvalid, "A correction is about the same thing as its original. If it was entered on the wrong part, void it and enter it on the right one.")
	}
	if e.correction.Code == EntryUndone && (t.PersonID != a.Person || db.Clock().Sub(t.RecordedAt) > TakeBackWithin) {
		return nil, refuse(RuleNoRight, "Only its author can take an entry back, within two minutes. Correct it with a reason instead.")
	}
	e.ObservedAt, e.ClockOffset, e.LateReason = t.ObservedAt, 0, ""
	return &t, nil
}

// checkCorrectedGauge makes sure that a gauge named in a correction was verified in the shift of the original, and returns
// the verification that vouches for it.
func (db *DB) checkCorrectedGauge(ctx context.Context, tx querier, a Actor, e Entry, w *work, t *target) (uuid.UUID, error) {
	if w.gauge == nil || e.Kind == quality.Verification || e.Kind == quality.Calibration {
		return uuid.Nil, nil
	}
	if t.Gauge.Valid && t.Gauge.UUID == w.gauge.ID {
		return t.Verification.UUID, nil
	}
	if err := refuseRecalled(ctx, tx, a.Site, *w.gauge, t.ObservedAt); err != nil {
		return uuid.Nil, err
	}
	day, shift := w.site.ShopDay(t.ObservedAt)
	id, err := value[uuid.UUID](ctx, tx, `SELECT r.record_id FROM record r WHERE r.site_id = @site AND r.instrument_id = @gauge AND r.kind = 'verification'
		AND r.verdict = 'pass' AND r.shop_day = @day AND r.shift = @shift AND r.observed_at <= @at
		AND NOT EXISTS (SELECT 1 FROM record s WHERE s.site_id = r.site_id AND s.supersedes_id = r.record_id)
		ORDER BY r.observed_at DESC LIMIT 1`, sqlArgs{"site": a.Site, "gauge": w.gauge.ID, "day": day, "shift": shift, "at": t.ObservedAt})
	if errors.Is(err, ErrNotFound) {
		return uuid.Nil, refuse(RuleGaugeUnverified, fmt.Sprintf("Gauge %s was not verified in the %s shift of %s, so it cannot have taken these readings.",
			w.gauge.Code, shift, day.Format("2 January 2006")))
	}
	return id, err
}

// checkCorrectedLots refuses a correction that names another lot than the original did when that lot may not be used: an
// exception is authorised where the work is entered, not here.
func (db *DB) checkCorrectedLots(ctx context.Context, tx querier, a Actor, e Entry, w *work, t *target) error {
	var bad *Refusal
	for _, r := range w.refusals {
		if r.Rule == RuleLotExpired || r.Rule == RuleLotRejected {
			bad = r
		}
	}
	if bad == nil {
		return nil
	}
	before, err := db.UsesAsEntered(ctx, a.Site, t.RecordID)
	if err != nil {
		return err
	}
	for _, u := range e.Uses {
		if useColumns[u.Role] == "lot_id" && !slices.Contains(before, u) {
			return refuse(bad.Rule, bad.Sentence+" If it was used all the same, void this record and enter the work anew with a supervisor's exception.")
		}
	}
	return nil
}

// saveCorrection writes an entry in the place of a record. The rules on who and what may be used were applied to the
// original; what counts now is that it is the same thing, seen at the same time.
func (db *DB) saveCorrection(ctx context.Context, tx querier, st Site, a Actor, e Entry, hash string) (Saved, error) {
	original, err := db.askTarget(ctx, tx, a, &e)
	if err != nil {
		return Saved{}, err
	}
	w, err := db.prepare(ctx, tx, st, a, &e, nil)
	if err != nil {
		return Saved{}, err
	}
	w.original, w.clockWarning = original, ""
	if e.Kind == quality.Film && original.Cycle < w.parts[0].Cycle {
		w.circumstance.Recoated = original.Cycle > 1
	}
	w.sampledThen(original)
	if w.verification, err = db.checkCorrectedGauge(ctx, tx, a, e, w, original); err != nil {
		return Saved{}, err
	}
	if err := db.checkCorrectedLots(ctx, tx, a, e, w, original); err != nil {
		return Saved{}, err
	}
	j := judgementOfVoid(*e.correction)
	if !e.voids {
		j = quality.Judge(w.spec, w.circumstance, &e.Check)
	}
	batch := &pgx.Batch{}
	if e.correction.Code != EntryUndone {
		statement := fmt.Sprintf("Corrected a record (%s): %s", strings.ReplaceAll(e.correction.Code, "_", " "), e.correction.Text)
		if w.signature, err = db.sign(batch, a, e.proof, "corrected", statement, correctionContent(e.RecordID, hash, original.RecordID, original.ContentHash)); err != nil {
			return Saved{}, err
		}
	}
	told := Event{Verb: "corrected", SubjectKind: string(e.Subject.Kind), Subject: e.Subject.ID, Record: e.RecordID,
		Before: map[string]any{"record": original.RecordID, "verdict": original.Verdict, "content_hash": original.ContentHash},
		After:  map[string]any{"verdict": j.Verdict, "code": e.correction.Code, "content_hash": hash}, Reason: e.correction.Text}
	if err := db.queueRecord(batch, a, e, w, j, hash, told); err != nil {
		return Saved{}, err
	}
	if !e.voids {
		db.recallCorrected(batch, a.Site, original.RecordID, e.RecordID)
	}
	if err := send(ctx, tx, batch); err != nil {
		return Saved{}, fmt.Errorf("writing the correction of record %s: %w", original.RecordID, err)
	}
	saved := Saved{RecordID: e.RecordID, Judgement: j}
	if e.Subject.Kind == quality.OnOven || e.Subject.Kind == quality.OnBath {
		return saved, nil
	}
	if e.Subject.Kind == quality.OnInstrument {
		saved.HoldNumber, err = db.noteDevice(ctx, tx, a, e, w, j)
		saved.RecallNumber = w.recall
		return saved, err
	}
	if saved.HoldNumber, err = db.applyCorrection(ctx, tx, a, e, w, j, original); err != nil {
		return Saved{}, err
	}
	lots, err := lotsOf(ctx, tx, a.Site, e.Kind, idsOf(w.parts))
	if err != nil {
		return Saved{}, err
	}
	saved.Lots, err = db.settleLots(ctx, tx, a, st, lots, change{e.RecordID, e.correction.Text})
	return saved, err
}

// applyCorrection does what a correction entails once it is on record: releases signed over the original are void and their
// parts held, and every part concerned is read anew.
func (db *DB) applyCorrection(ctx context.Context, tx querier, a Actor, e Entry, w *work, j quality.Judgement, t *target) (hold string, err error) {
	var released, failing []*standing
	for _, s := range w.parts {
		counts := false
		for _, ev := range s.evidence {
			// A release does not stand on a first article.
			counts = counts || ev.RecordID == t.RecordID.String() && ev.Kind != quality.FirstArticle
		}
		switch {
		case s.Released && counts:
			released = append(released, s)
		case j.Verdict == quality.Fail && counts && t.Verdict != quality.Fail:
			failing = append(failing, s)
		}
	}
	if len(released) > 0 {
		if !a.Has(Supervisor, Engineer) {
			return "", refuse(RuleNoRight, fmt.Sprintf("Part %s was released on this record. A supervisor or an engineer corrects it.", released[0].Serial))
		}
		for _, s := range released {
			if err := db.voidRelease(ctx, tx, a, s, e.RecordID, e.correction.Text); err != nil {
				return "", err
			}
		}
	}
	if held := append(released, failing...); len(held) > 0 {
		cause := fmt.Sprintf("%s corrected: %s", e.Kind.Name(), j.Sentence())
		switch {
		case len(released) > 0:
			cause = fmt.Sprintf("%s corrected after release: %s", e.Kind.Name(), j.Sentence())
		case e.voids:
			cause = e.Kind.Name() + " voided"
		}
		if hold, err = db.openHold(ctx, tx, a, w.site, cause, "Correction of a record: "+e.correction.Text, e.RecordID, held); err != nil {
			return "", err
		}
	}
	ids := make([]uuid.UUID, len(w.parts))
	for i, s := range w.parts {
		ids[i] = s.PartID
	}
	_, err = db.refresh(ctx, tx, a.Site, ids)
	return hold, err
}

// voidRelease takes back the release of a part because of a record.
func (db *DB) voidRelease(ctx context.Context, tx querier, a Actor, s *standing, record uuid.UUID, reason string) error {
	if err := run(ctx, tx, `INSERT INTO release_void (site_id, release_id, record_id, voided_at)
		SELECT rl.site_id, rl.release_id, @record, @at FROM release rl WHERE rl.site_id = @site AND rl.part_id = @part
		AND NOT EXISTS (SELECT 1 FROM release_void v WHERE v.site_id = rl.site_id AND v.release_id = rl.release_id)`,
		sqlArgs{"site": a.Site, "record": record, "at": db.Clock(), "part": s.PartID}); err != nil {
		return fmt.Errorf("voiding the release of %s: %w", s.Serial, err)
	}
	if err := db.event(ctx, tx, a, Event{Verb: "release void", SubjectKind: "part", Subject: s.PartID, Record: record,
		Before: map[string]string{"status": s.Status}, Reason: reason}); err != nil {
		return err
	}
	s.Released, s.Status = false, StatusInProgress
	return nil
}

// judgementOfVoid is what a void says instead of a verdict.
func judgementOfVoid(c Correction) quality.Judgement {
	return quality.Judgement{Verdict: quality.Voided, Rule: "Void: " + c.Text}
}
