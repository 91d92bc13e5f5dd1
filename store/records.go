package store

import (
	"context"
	"fmt"
	"slices"
	"strings"
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
	saved, err := db.saveOnce(ctx, a, e, proofs)
	if violates(err, "record_pkey") {
		// The same entry arrived twice at once; the other one is on disk now.
		saved, err = db.saveOnce(ctx, a, e, proofs)
	}
	return saved, asRefusal(err)
}

func (db *DB) saveOnce(ctx context.Context, a Actor, e Entry, proofs map[string]Proof) (saved Saved, err error) {
	tx, err := db.saving(ctx)
	if err != nil {
		return saved, err
	}
	defer tx.close(ctx)
	if saved, err = db.save(ctx, tx, a, e, proofs); err != nil {
		return saved, err
	}
	if err := tx.Commit(ctx); err != nil {
		return saved, err
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
}

func (db *DB) save(ctx context.Context, tx *saving, a Actor, e Entry, proofs map[string]Proof) (Saved, error) {
	if err := asFound(&e); err != nil {
		return Saved{}, err
	}
	for i := range e.Check.Readings {
		e.Check.Readings[i].Flag = quality.Unflagged
		e.Check.Readings[i].Source = orElse(e.Check.Readings[i].Source, "typed")
	}
	for i := range e.Check.Defects {
		e.Check.Defects[i].Flag = quality.Unflagged
	}
	hash, err := e.contentHash()
	if err != nil {
		return Saved{}, err
	}
	st, read, saved, found, err := db.arrive(ctx, tx, a, e, hash)
	if found || err != nil {
		return saved, err
	}
	if e.correction != nil {
		return db.saveCorrection(ctx, tx, st, a, e, hash)
	}
	w, err := db.prepare(ctx, tx, st, a, &e, read)
	if err != nil {
		return Saved{}, err
	}
	for _, r := range w.refusals {
		if _, allowed := proofs[r.Rule]; !(r.MayOverride && st.OverridesAllowed && allowed) {
			return Saved{}, r
		}
	}
	w.ownExceptions(a, proofs)
	j := quality.Judge(w.spec, w.circumstance, &e.Check)
	batch := &pgx.Batch{}
	db.queueRecord(batch, a, e, w, j, hash)
	if len(w.refusals) > 0 {
		if err := send(ctx, tx, batch); err != nil {
			return Saved{}, fmt.Errorf("writing record %s: %w", e.RecordID, err)
		}
	}
	for _, r := range w.refusals {
		if err := db.insertOverride(ctx, tx, a, e, r, proofs[r.Rule]); err != nil {
			return Saved{}, err
		}
	}
	saved = Saved{RecordID: e.RecordID, Judgement: j, ClockWarning: w.clockWarning}
	if saved.HoldNumber, err = db.consequences(ctx, tx, batch, a, e, w, j); err != nil {
		return Saved{}, err
	}
	saved.RecallNumber = w.recall
	if err := db.queueEvent(batch, a, Event{Verb: "recorded", SubjectKind: string(e.Subject.Kind), Subject: e.Subject.ID, Record: e.RecordID,
		After: map[string]any{"kind": e.Kind, "verdict": j.Verdict, "content_hash": hash}, Reason: e.LateReason}); err != nil {
		return Saved{}, err
	}
	if len(w.spec.Sampling) == 0 {
		if err := tx.commitWith(ctx, batch); err != nil {
			return Saved{}, fmt.Errorf("writing record %s: %w", e.RecordID, err)
		}
		return saved, nil
	}
	if err := send(ctx, tx, batch); err != nil {
		return Saved{}, fmt.Errorf("writing record %s: %w", e.RecordID, err)
	}
	saved.Lots, err = db.lotsAfter(ctx, tx, a, e, w, j)
	return saved, err
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
	db.queueRecord(batch, a, e, w, j, hash)
	if !e.voids {
		db.recallCorrected(batch, a.Site, original.RecordID, e.RecordID)
	}
	if err := db.queueEvent(batch, a, Event{Verb: "corrected", SubjectKind: string(e.Subject.Kind), Subject: e.Subject.ID, Record: e.RecordID,
		Before: map[string]any{"record": original.RecordID, "verdict": original.Verdict, "content_hash": original.ContentHash},
		After:  map[string]any{"verdict": j.Verdict, "code": e.correction.Code, "content_hash": hash}, Reason: e.correction.Text}); err != nil {
		return Saved{}, err
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

// arrive answers an entry that was saved before, makes other acts on the same parts wait, and then, in the same trip, reads what
// the entry depends on.
func (db *DB) arrive(ctx context.Context, tx querier, a Actor, e Entry, hash string) (st Site, w *asked, saved Saved, found bool, err error) {
	if e.RecordID == uuid.Nil {
		return st, nil, saved, true, refuse(RuleInvalid, "The entry has no number of its own. Reload the page and enter it again.")
	}
	b := &pgx.Batch{}
	lockCarrier(b, a.Site, e.Subject)
	ids := askSubjectParts(b, a.Site, e.Subject)
	if err := send(ctx, tx, b); err != nil {
		return st, nil, saved, false, err
	}
	sites := ask[Site](b, selectSite, sqlArgs{"site": a.Site})
	before := ask[storedRow](b, storedSQL, sqlArgs{"site": a.Site, "record": e.RecordID})
	lockDevices(b, a.Site, e)
	b.Queue(lockSavedSQL, sqlArgs{"site": a.Site, "parts": *ids, "kind": string(e.Kind)})
	if e.correction == nil {
		w = db.askFor(b, a, e, *ids)
	}
	if err := send(ctx, tx, b); err != nil {
		return st, nil, saved, false, err
	}
	if len(*sites) == 0 {
		return st, nil, saved, false, fmt.Errorf("site %s: %w", a.Site, ErrNotFound)
	}
	if len(*before) > 0 {
		saved, err = db.again(ctx, tx, a.Site, e.RecordID, hash, (*before)[0])
		return st, nil, saved, true, err
	}
	return (*sites)[0], w, saved, false, nil
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
	// The revision that judged the entry is still in force, or a newer one rules what the part needs next.
	specs := map[uuid.UUID]quality.FinishSpec{w.parts[0].SpecID: w.spec}
	if w.revision.ObsoleteAt != nil {
		if specs, err = db.specsOf(ctx, tx, a.Site, w.parts); err != nil {
			return "", err
		}
	}
	db.queueSettle(batch, a.Site, w.parts, specs)
	return hold, nil
}

// storedRow is a record with the id of an entry that arrives.
type storedRow struct {
	Hash    string          `db:"content_hash"`
	Verdict quality.Verdict `db:"verdict"`
	Rule    string          `db:"rule"`
	Hold    string          `db:"hold"`
}

const storedSQL = `SELECT content_hash, verdict, rule, coalesce((SELECT h.number FROM hold h WHERE h.site_id = r.site_id AND h.record_id = r.record_id LIMIT 1), '') AS hold
	FROM record r WHERE site_id = @site AND record_id = @record`

// again answers an entry whose id is on record: the same content with what is stored; other content is refused.
func (db *DB) again(ctx context.Context, q querier, site, id uuid.UUID, hash string, r storedRow) (Saved, error) {
	if r.Hash != hash {
		return Saved{}, refuse(RuleSameID, "This entry was saved before with other values. Open the part to see what is on record; to change it, enter a new record.")
	}
	findings, err := findings(ctx, q, site, id)
	return Saved{RecordID: id, Judgement: quality.Judgement{Verdict: r.Verdict, Rule: r.Rule, Findings: findings}, HoldNumber: r.Hold, Already: true}, err
}

// asked is what an entry's verdict and admission depend on, read in one trip.
type asked struct {
	present   *[]uuid.UUID // parts that the subject stands for once they are locked; nil where that cannot change
	standings func() []*standing
	revisions *[]SpecHead
	qualified func(e *Entry, w *work)
	film      func(e *Entry, w *work) error
	lots      func(e *Entry, w *work) error
	devices   func(e *Entry, w *work) error
}

// askFor puts all that an entry on these parts depends on into a batch.
func (db *DB) askFor(b *pgx.Batch, a Actor, e Entry, ids []uuid.UUID) *asked {
	r := &asked{qualified: askQualification(b, a, e.Kind), lots: askLots(b, a.Site, e), devices: askDevices(b, a.Site, e)}
	if len(ids) == 0 {
		return r
	}
	if e.Subject.Kind != quality.OnPart {
		r.present = askSubjectParts(b, a.Site, e.Subject)
	}
	r.standings = db.askStandings(b, a.Site, ids)
	r.revisions = ask[SpecHead](b, partSpecsSQL, sqlArgs{"site": a.Site, "part": ids[0]})
	if e.Kind == quality.Film {
		r.film = askFilm(b, a.Site, ids[0], e)
	}
	return r
}

// prepare works out what an entry's verdict and admission depend on, and collects the rules that speak against it. read is what
// was asked for already, or nil.
func (db *DB) prepare(ctx context.Context, q querier, st Site, a Actor, e *Entry, read *asked) (*work, error) {
	if read == nil {
		ids, err := subjectParts(ctx, q, a.Site, e.Subject)
		if err != nil {
			return nil, err
		}
		b := &pgx.Batch{}
		read = db.askFor(b, a, *e, ids)
		if err := send(ctx, q, b); err != nil {
			return nil, fmt.Errorf("reading what %s depends on: %w", e.Kind, err)
		}
	}
	w, err := db.prepareSubject(ctx, q, st, a, e, read)
	if err != nil {
		return nil, err
	}
	if err := read.lots(e, w); err != nil {
		return nil, err
	}
	if missing := quality.ConditionsMissing(w.spec, e.Check); missing != "" {
		w.refusals = append(w.refusals, refuse(RuleConditions, missing))
	}
	return w, read.devices(e, w)
}

func (db *DB) prepareSubject(ctx context.Context, q querier, st Site, a Actor, e *Entry, read *asked) (*work, error) {
	w := &work{site: st, station: a.Station}
	db.checkTime(st, e, w)
	if !onSubject(e.Kind, e.Subject.Kind) {
		return nil, refuse(RuleInvalid, fmt.Sprintf("%s is not recorded on a %s.", e.Kind.Name(), e.Subject.Kind))
	}
	e.Check.Kind = e.Kind
	switch e.Subject.Kind {
	case quality.OnInstrument:
		return w, db.prepareDevice(ctx, q, a, e, w, read)
	case quality.OnOven:
		return w, db.prepareOven(ctx, q, a, e, w, read)
	case quality.OnBath:
		return w, db.prepareBath(ctx, q, a, e, w, read)
	}
	return w, db.prepareParts(ctx, q, a, e, w, read)
}

// prepareParts is prepareSubject for what speaks for parts: a part, a rack, a load, a witness panel.
func (db *DB) prepareParts(ctx context.Context, q querier, a Actor, e *Entry, w *work, read *asked) (err error) {
	if read.standings != nil {
		w.parts = read.standings()
	}
	if read.present != nil {
		w.parts = slices.DeleteFunc(w.parts, func(s *standing) bool { return !slices.Contains(*read.present, s.PartID) })
	}
	switch {
	case len(w.parts) == 0 && e.Subject.Kind == quality.OnPart:
		return ErrNotFound
	case len(w.parts) == 0 && e.Subject.Kind == quality.OnPanel:
		return loosePanel(ctx, q, a.Site, e.Subject.ID)
	case len(w.parts) == 0:
		return refuse(RuleNoParts, fmt.Sprintf("There are no parts on this %s. Hang or load them first.", e.Subject.Kind))
	}
	for _, s := range w.parts[1:] {
		if s.SpecID != w.parts[0].SpecID {
			return refuse(RuleMixed, fmt.Sprintf("The parts here follow different finish specs (%s and %s). Take one of them off.", w.parts[0].Serial, s.Serial))
		}
	}
	var known bool
	if w.revision, known = inForce(*read.revisions, e.ObservedAt); !known {
		return noApprovedSpec(ctx, q, a.Site, w.parts[0].SpecID)
	}
	if w.spec, err = db.readSpec(ctx, q, a.Site, w.revision); err != nil {
		return err
	}
	w.admit(e)
	w.refuseSampled(e)
	read.qualified(e, w)
	if read.film != nil {
		return read.film(e, w)
	}
	return db.circumstances(ctx, q, a, e, w)
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
		if s.Status == StatusOnHold && !s.screened(e.Kind) {
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

// askQualification asks for the person's qualifications for a kind; the answer refuses them if none was valid when the thing was
// observed.
func askQualification(b *pgx.Batch, a Actor, kind quality.Kind) (answered func(e *Entry, w *work)) {
	rows := ask[Qualification](b, selectQualification+`WHERE site_id = @site AND person_id = @person AND record_kind = @kind`,
		sqlArgs{"site": a.Site, "person": a.Person, "kind": kind})
	return func(e *Entry, w *work) {
		today := e.ObservedAt.In(w.site.Location()).Format(time.DateOnly)
		var until time.Time // the last day of those that had begun
		for _, q := range *rows {
			if q.ValidFrom.Format(time.DateOnly) <= today && q.ValidTo.After(until) {
				until = q.ValidTo
			}
		}
		kind := lower(kind.Name())
		switch {
		case until.IsZero():
			w.refusals = append(w.refusals, refuse(RuleNotQualified, fmt.Sprintf("%s has no qualification for %s. An administrator adds it under Setup, People.", a.Name, kind)))
		case until.Format(time.DateOnly) < today:
			w.refusals = append(w.refusals, refuse(RuleNotQualified, fmt.Sprintf("The qualification of %s for %s ended on %s. An administrator renews it under Setup, People.",
				a.Name, kind, until.Format("2 January 2006"))))
		}
	}
}
