package store

import (
	"context"
	"fmt"
	"slices"
	"sync"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"coatbook/quality"
)

// arrive answers entries that were saved before, makes other acts on the same parts wait, and then, in the same trip, reads what
// the entries depend on.
func (db *DB) arrive(ctx context.Context, tx querier, a Actor, entries []Entry, hashes []string) (st Site, read *asked, saved []Saved, err error) {
	b := &pgx.Batch{}
	subject := entries[0].Subject // several entries are each on a part
	lockCarrier(b, a.Site, subject)
	ids := askSubjectParts(b, a.Site, subject)
	if err := send(ctx, tx, b); err != nil {
		return st, nil, nil, err
	}
	parts, records := *ids, make([]uuid.UUID, len(entries))
	for i, e := range entries {
		records[i] = e.RecordID
		if i > 0 {
			parts = append(parts, e.Subject.ID)
		}
	}
	lockDevices(b, a.Site, entries)
	lockLots(b, a.Site, entries)
	b.Queue(lockSavedSQL, sqlArgs{"site": a.Site, "parts": parts, "kind": string(entries[0].Kind)})
	// Asked once the parts are locked: the same entry may just have been written by another request.
	before := ask[storedRow](b, storedSQL, sqlArgs{"site": a.Site, "records": records})
	sites := ask[Site](b, selectSite, sqlArgs{"site": a.Site})
	if entries[0].correction == nil {
		read = db.askFor(b, a, entries, parts)
	}
	if err := send(ctx, tx, b); err != nil {
		return st, nil, nil, err
	}
	if len(*sites) == 0 {
		return st, nil, nil, fmt.Errorf("site %s: %w", a.Site, ErrNotFound)
	}
	saved = make([]Saved, len(entries))
	for _, r := range *before {
		i := slices.Index(records, r.RecordID)
		if saved[i], err = db.again(ctx, tx, a.Site, r.RecordID, hashes[i], r); err != nil {
			return st, nil, nil, err
		}
	}
	return (*sites)[0], read, saved, nil
}

// asked is what the verdict and admission of entries depend on, read in one trip.
type asked struct {
	present   *[]uuid.UUID // parts that the subject stands for once they are locked; nil where that cannot change
	standings func() []*standing
	revisions *[]SpecHead
	qualified func(e *Entry, w *work)
	film      func(e *Entry, w *work) error
	lots      func(e *Entry, w *work) error
	device    func(id uuid.UUID) (Instrument, error)
	welds     map[string][]quality.WeldLimit // by level, read when first needed
}

// askFor puts all that entries on these parts depend on into a batch: one entry, or several of one kind by one person.
func (db *DB) askFor(b *pgx.Batch, a Actor, entries []Entry, parts []uuid.UUID) *asked {
	r := &asked{qualified: askQualification(b, a, entries[0].Kind), lots: askLots(b, a.Site, entries), device: askDevices(b, a.Site, entries),
		welds: map[string][]quality.WeldLimit{}}
	if len(parts) == 0 {
		return r
	}
	if subject := entries[0].Subject; subject.Kind != quality.OnPart {
		r.present = askSubjectParts(b, a.Site, subject)
	}
	r.standings = sync.OnceValue(db.askStandings(b, a.Site, parts))
	r.revisions = ask[SpecHead](b, partSpecsSQL, sqlArgs{"site": a.Site, "parts": parts})
	if entries[0].Kind == quality.Film {
		r.film = askFilm(b, a.Site, parts, entries, r.device)
	}
	return r
}

// weldLimits sets the limits that the welds of an entry are judged by.
func (r *asked) weldLimits(ctx context.Context, q querier, site uuid.UUID, w *work) (err error) {
	level := w.spec.Weld.Level
	if r.welds[level] == nil {
		if r.welds[level], err = weldLimits(ctx, q, site, level); err != nil {
			return err
		}
	}
	w.circumstance.WeldLimits = r.welds[level]
	return nil
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
		read = db.askFor(b, a, []Entry{*e}, ids)
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
	return w, w.admitDevices(e, read.device)
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
		w.parts = slices.DeleteFunc(slices.Clone(read.standings()), func(s *standing) bool {
			return e.Subject.Kind == quality.OnPart && s.PartID != e.Subject.ID || read.present != nil && !slices.Contains(*read.present, s.PartID)
		})
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
	ofOtherSpecs := func(r SpecHead) bool { return r.SpecID != w.parts[0].SpecID }
	var known bool
	if w.revision, known = inForce(slices.DeleteFunc(slices.Clone(*read.revisions), ofOtherSpecs), e.ObservedAt); !known {
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
	return db.circumstances(ctx, q, a, e, w, read)
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
