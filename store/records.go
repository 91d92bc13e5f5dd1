package store

import (
	"context"
	"errors"
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
	proofs, err := db.checkOverrides(ctx, a, e.Overrides)
	if err != nil {
		return Saved{}, err
	}
	saved, err := db.saveOnce(ctx, a, e, proofs)
	if violates(err, "record_pkey") {
		// The same entry arrived twice at once; the other one is on disk now.
		saved, err = db.saveOnce(ctx, a, e, proofs)
	}
	return saved, asRefusal(err)
}

func (db *DB) saveOnce(ctx context.Context, a Actor, e Entry, proofs map[string]Proof) (saved Saved, err error) {
	err = pgx.BeginFunc(ctx, db.pool, func(tx pgx.Tx) error {
		saved, err = db.save(ctx, tx, a, e, proofs)
		return err
	})
	if err == nil {
		db.notices.changed(a.Site)
	}
	return saved, err
}

// Preview judges an entry without storing it, for the review before the save.
func (db *DB) Preview(ctx context.Context, a Actor, e Entry) (quality.Judgement, error) {
	st, err := site(ctx, db.pool, a.Site)
	if err != nil {
		return quality.Judgement{}, err
	}
	w, err := db.prepare(ctx, db.pool, st, a, &e)
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
	revision     SpecRevision
	spec         quality.FinishSpec
	circumstance quality.Circumstance
	station      uuid.NullUUID
	gauge        *Instrument
	refusals     []*Refusal
	clockWarning string
}

func (db *DB) save(ctx context.Context, tx pgx.Tx, a Actor, e Entry, proofs map[string]Proof) (Saved, error) {
	st, err := site(ctx, tx, a.Site)
	if err != nil {
		return Saved{}, err
	}
	for i := range e.Check.Readings {
		e.Check.Readings[i].Flag = quality.Unflagged
	}
	for i := range e.Check.Defects {
		e.Check.Defects[i].Flag = quality.Unflagged
	}
	hash, err := ContentHash(struct {
		Kind    quality.Kind
		Subject Subject
		Check   quality.Check
		Uses    []Use
		Note    string
	}{e.Kind, e.Subject, e.Check, e.Uses, e.Note})
	if err != nil {
		return Saved{}, err
	}
	if saved, found, err := stored(ctx, tx, a.Site, e.RecordID, hash); found || err != nil {
		return saved, err
	}
	ids, err := subjectParts(ctx, tx, a.Site, e.Subject)
	if err != nil {
		return Saved{}, err
	}
	if err := lockParts(ctx, tx, a.Site, ids); err != nil {
		return Saved{}, err
	}
	w, err := db.prepare(ctx, tx, st, a, &e)
	if err != nil {
		return Saved{}, err
	}
	for _, r := range w.refusals {
		if _, allowed := proofs[r.Rule]; !(r.MayOverride && st.OverridesAllowed && allowed) {
			return Saved{}, r
		}
	}
	j := quality.Judge(w.spec, w.circumstance, &e.Check)
	if err := db.insertRecord(ctx, tx, a, e, w, j, hash); err != nil {
		return Saved{}, err
	}
	for _, r := range w.refusals {
		if err := db.insertOverride(ctx, tx, a, e, r, proofs[r.Rule]); err != nil {
			return Saved{}, err
		}
	}
	saved := Saved{RecordID: e.RecordID, Judgement: j, ClockWarning: w.clockWarning}
	if saved.HoldNumber, err = db.consequences(ctx, tx, a, e, w, j); err != nil {
		return Saved{}, err
	}
	return saved, db.event(ctx, tx, a, Event{Verb: "recorded", SubjectKind: string(e.Subject.Kind), Subject: e.Subject.ID, Record: e.RecordID,
		After: map[string]any{"kind": e.Kind, "verdict": j.Verdict, "content_hash": hash}, Reason: e.LateReason})
}

// consequences does what a verdict entails: the part's evidence, a hold on a fail, a gauge's state.
func (db *DB) consequences(ctx context.Context, tx pgx.Tx, a Actor, e Entry, w *work, j quality.Judgement) (hold string, err error) {
	if e.Kind == quality.Verification {
		return "", db.noteVerification(ctx, tx, a, e, w, j)
	}
	for _, s := range w.parts {
		s.evidence = append(s.evidence, quality.Evidence{RecordID: e.RecordID.String(), Kind: e.Kind, Verdict: j.Verdict, At: e.ObservedAt,
			Round: s.Round, Person: a.Person.String(), Sentence: j.Sentence()})
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
	// The revision that judged the entry is still in force, or a newer one rules what the part needs next.
	specs := map[uuid.UUID]quality.FinishSpec{w.parts[0].SpecID: w.spec}
	if w.revision.ObsoleteAt != nil {
		if specs, err = db.specsOf(ctx, tx, a.Site, w.parts); err != nil {
			return "", err
		}
	}
	return hold, db.settleAll(ctx, tx, a.Site, w.parts, specs)
}

// stored looks for a record with this id. The same content is answered with what is stored, other content is refused.
func stored(ctx context.Context, q querier, site, id uuid.UUID, hash string) (Saved, bool, error) {
	if id == uuid.Nil {
		return Saved{}, true, refuse(RuleInvalid, "The entry has no number of its own. Reload the page and enter it again.")
	}
	type row struct {
		Hash    string          `db:"content_hash"`
		Verdict quality.Verdict `db:"verdict"`
		Rule    string          `db:"rule"`
		Hold    string          `db:"hold"`
	}
	r, err := one[row](ctx, q, `SELECT content_hash, verdict, rule, coalesce((SELECT h.number FROM hold h WHERE h.site_id = r.site_id AND h.record_id = r.record_id LIMIT 1), '') AS hold
		FROM record r WHERE site_id = @site AND record_id = @record`, pgx.StrictNamedArgs{"site": site, "record": id})
	if errors.Is(err, ErrNotFound) {
		return Saved{}, false, nil
	}
	if err != nil {
		return Saved{}, false, err
	}
	if r.Hash != hash {
		return Saved{}, true, refuse(RuleSameID, "This entry was saved before with other values. Open the part to see what is on record; to change it, enter a new record.")
	}
	findings, err := findings(ctx, q, site, id)
	return Saved{RecordID: id, Judgement: quality.Judgement{Verdict: r.Verdict, Rule: r.Rule, Findings: findings}, HoldNumber: r.Hold, Already: true}, true, err
}

// prepare reads everything an entry's verdict and admission depend on, and collects the rules that speak against it.
func (db *DB) prepare(ctx context.Context, q querier, st Site, a Actor, e *Entry) (*work, error) {
	w := &work{site: st, station: a.Station}
	db.checkTime(st, e, w)
	if !onSubject(e.Kind, e.Subject.Kind) {
		return nil, refuse(RuleInvalid, fmt.Sprintf("%s is not recorded on a %s.", e.Kind.Name(), e.Subject.Kind))
	}
	e.Check.Kind = e.Kind
	if e.Subject.Kind == quality.OnInstrument {
		return w, db.prepareVerification(ctx, q, a, e, w)
	}
	ids, err := subjectParts(ctx, q, a.Site, e.Subject)
	if err != nil {
		return nil, err
	}
	if w.parts, err = db.standings(ctx, q, a.Site, ids); err != nil {
		return nil, err
	}
	if len(w.parts) == 0 {
		if e.Subject.Kind == quality.OnPart {
			return nil, ErrNotFound
		}
		return nil, refuse(RuleNoParts, fmt.Sprintf("There are no parts on this %s. Hang or load them first.", e.Subject.Kind))
	}
	for _, s := range w.parts[1:] {
		if s.SpecID != w.parts[0].SpecID {
			return nil, refuse(RuleMixed, fmt.Sprintf("The parts here follow different finish specs (%s and %s). Take one of them off.", w.parts[0].Serial, s.Serial))
		}
	}
	if w.revision, w.spec, err = approvedSpec(ctx, q, a.Site, w.parts[0].SpecID, e.ObservedAt); err != nil {
		return nil, err
	}
	w.admit(e)
	if err := db.checkQualification(ctx, q, a, e, w); err != nil {
		return nil, err
	}
	return w, db.circumstances(ctx, q, a, e, w)
}

func onSubject(k quality.Kind, s quality.Subject) bool {
	for _, allowed := range quality.Subjects[k] {
		if s == allowed {
			return true
		}
	}
	return false
}

// checkTime settles when the entry was observed. A device whose clock is off by more than the site's limit is not believed:
// the server's time is kept, with the offset and a warning.
func (db *DB) checkTime(st Site, e *Entry, w *work) {
	now := db.Clock()
	limit := time.Duration(st.ClockLimitSeconds) * time.Second
	if off := e.ClockOffset.Abs(); off > limit {
		e.ObservedAt = now
		w.clockWarning = fmt.Sprintf("This tablet's clock is off by %s. The server's time was recorded instead; set the clock.", off.Round(time.Second))
	}
	if e.ObservedAt.IsZero() {
		e.ObservedAt = now
	}
	switch gap := now.Sub(e.ObservedAt); {
	case gap < -2*time.Minute:
		w.refusals = append(w.refusals, refuse(RuleFuture, fmt.Sprintf("The time %s has not come yet. Check the tablet's clock.",
			e.ObservedAt.In(st.Location()).Format("15:04 on 2 January"))))
	case gap < 0:
		e.ObservedAt = now
	case gap > time.Duration(st.LateAfterMinutes)*time.Minute && len(e.LateReason) < 5:
		w.refusals = append(w.refusals, refuse(RuleLate, fmt.Sprintf("This was observed more than %d minutes ago. Say why it is entered late.", st.LateAfterMinutes)))
	}
}

// admit applies hold points: nothing on a finished or held part, and no step before the steps it needs.
func (w *work) admit(e *Entry) {
	free := 0
	for _, s := range w.parts {
		if finished[s.Status] {
			w.refusals = append(w.refusals, refuse(RuleFinished, fmt.Sprintf("Part %s is %s. No further record is taken.", s.Serial, s.Status)))
			return
		}
		if s.Status == StatusOnHold {
			continue
		}
		free++
		if ok, reason := quality.MayStart(e.Kind, s.gate(w.spec)); !ok {
			w.refusals = append(w.refusals, refuseUnlessAuthorised(RuleStepMissing, fmt.Sprintf("Part %s: %s", s.Serial, reason)))
			return
		}
	}
	if free == 0 {
		w.refusals = append(w.refusals, refuse(RuleOnHold, fmt.Sprintf("%s is on hold. A supervisor decides first, on the Holds page.", w.name())))
	}
}

func (w *work) name() string {
	if len(w.parts) == 1 {
		return "Part " + w.parts[0].Serial
	}
	return fmt.Sprintf("Every one of these %d parts", len(w.parts))
}

// checkQualification refuses a person whose qualification for the kind was not valid when the thing was observed.
func (db *DB) checkQualification(ctx context.Context, q querier, a Actor, e *Entry, w *work) error {
	until, err := value[*time.Time](ctx, q, `SELECT max(valid_to)::timestamptz FROM qualification WHERE site_id = @site AND person_id = @person AND record_kind = @kind
		AND valid_from <= @day::date`, pgx.StrictNamedArgs{"site": a.Site, "person": a.Person, "kind": e.Kind, "day": e.ObservedAt.In(w.site.Location()).Format(time.DateOnly)})
	if err != nil {
		return fmt.Errorf("qualification: %w", err)
	}
	today := e.ObservedAt.In(w.site.Location()).Format(time.DateOnly)
	switch {
	case until == nil:
		w.refusals = append(w.refusals, refuse(RuleNotQualified, fmt.Sprintf("%s has no qualification for %s. An administrator adds it under Setup, People.", a.Name, lower(e.Kind.Name()))))
	case until.Format(time.DateOnly) < today:
		w.refusals = append(w.refusals, refuse(RuleNotQualified, fmt.Sprintf("The qualification of %s for %s ended on %s. An administrator renews it under Setup, People.",
			a.Name, lower(e.Kind.Name()), until.Format("2 January 2006"))))
	}
	return nil
}
