package store

import (
	"cmp"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"coatbook/quality"
	"coatbook/quality/sampling"
)

// A LotOffer says which parts are offered together: those of one job, or of one oven load, that follow a spec and wait for a
// lot. ID is made where the lot is named; sending the same offer again is the same lot.
type LotOffer struct {
	ID   uuid.UUID
	Spec string // its code
	Of   quality.Sampled
	Job  string // one of Job and Load, by number
	Load string
}

// lotRow is a lot as it is made.
type lotRow struct {
	id       uuid.UUID
	revision SpecHead
	of       quality.Sampled
	basis    quality.SampleBy
	job      uuid.UUID
	rack     uuid.UUID
	load     uuid.UUID
	plan     string
	numbers  sampling.Plan
}

// MakeLot makes an inspection lot of the parts that were offered, stores its plan and draws its sample at random. It returns
// the lot's number.
func (db *DB) MakeLot(ctx context.Context, a Actor, o LotOffer) (number string, err error) {
	switch {
	case !a.Has(Supervisor, Engineer):
		return "", refuse(RuleNoRight, "A supervisor or an engineer makes a lot.")
	case o.ID == uuid.Nil:
		return "", refuse(RuleInvalid, "The lot has no number of its own. Reload the page and make it again.")
	case (o.Job == "") == (o.Load == ""):
		return "", refuse("inspection_lot_source_named", constraintSentences["inspection_lot_source_named"])
	}
	err = db.inTx(ctx, a.Site, func(tx querier) error {
		number, err = value[string](ctx, tx, `SELECT number FROM inspection_lot WHERE site_id = @site AND lot_id = @lot`, sqlArgs{"site": a.Site, "lot": o.ID})
		if !errors.Is(err, ErrNotFound) {
			return err
		}
		number, err = db.makeOffered(ctx, tx, a, o)
		return err
	})
	return number, err
}

func (db *DB) makeOffered(ctx context.Context, tx querier, a Actor, o LotOffer) (string, error) {
	st, err := site(ctx, tx, a.Site)
	if err != nil {
		return "", err
	}
	specID, err := value[uuid.UUID](ctx, tx, `SELECT spec_id FROM finish_spec WHERE site_id = @site AND code = @code`, sqlArgs{"site": a.Site, "code": o.Spec})
	if err != nil {
		return "", err
	}
	revision, spec, err := db.approvedSpec(ctx, tx, a.Site, specID, db.Clock())
	if err != nil {
		return "", err
	}
	rule, sampled := spec.Sampling[o.Of]
	if !sampled || rule.By != quality.SampleLot {
		return "", refuse(RuleInvalid, fmt.Sprintf("%s rev %s does not ask for %s by lot.", revision.Code, revision.Revision, lower(o.Of.Name())))
	}
	l := lotRow{id: o.ID, revision: revision, of: o.Of, basis: quality.SampleLot, plan: string(rule.Plan)}
	parts, err := offeredParts(ctx, tx, a.Site, specID, o, &l)
	if err != nil {
		return "", err
	}
	if err := lockParts(ctx, tx, a.Site, parts); err != nil {
		return "", err
	}
	all, err := db.standings(ctx, tx, a.Site, parts)
	if err != nil {
		return "", err
	}
	all = slices.DeleteFunc(all, func(s *standing) bool { return !waitsForLot(s, spec, o.Of) })
	if len(all) == 0 {
		return "", refuse(RuleNoParts, fmt.Sprintf("No part of %s waits for a lot: each is in one already, is checked itself, is on hold, or has not come this far.", cmp.Or(o.Job, o.Load)))
	}
	severity, err := lockSeverity(ctx, tx, a.Site, specID, o.Of)
	if err != nil {
		return "", err
	}
	if l.numbers, err = samplePlan(rule, len(all), severity); err != nil {
		return "", err
	}
	number, err := db.insertLot(ctx, tx, a, st, l, all)
	if err != nil {
		return "", err
	}
	_, err = db.refresh(ctx, tx, a.Site, idsOf(all))
	return number, err
}

// offeredParts finds the parts of a job or load that follow the spec, and notes in the lot where they come from.
func offeredParts(ctx context.Context, tx querier, site, spec uuid.UUID, o LotOffer, l *lotRow) (parts []uuid.UUID, err error) {
	args := sqlArgs{"site": site, "number": cmp.Or(o.Job, o.Load)}
	if o.Job != "" {
		l.job, err = value[uuid.UUID](ctx, tx, `SELECT job_id FROM job WHERE site_id = @site AND number = @number`, args)
	} else {
		l.load, err = value[uuid.UUID](ctx, tx, `SELECT load_id FROM oven_load WHERE site_id = @site AND number = @number`, args)
	}
	if errors.Is(err, ErrNotFound) {
		return nil, refuse(RuleInvalid, fmt.Sprintf("“%s” is not a job or oven load of this site. Choose one from the list.", clip(cmp.Or(o.Job, o.Load))))
	}
	if err != nil {
		return nil, err
	}
	return column[uuid.UUID](ctx, tx, `SELECT p.part_id FROM part p
		JOIN part_number pn ON pn.site_id = p.site_id AND pn.part_number_id = p.part_number_id AND pn.spec_id = @spec
		JOIN part_status ps ON ps.site_id = p.site_id AND ps.part_id = p.part_id AND ps.status IN ('open', 'in_progress')
		WHERE p.site_id = @site AND (p.job_id = @job OR p.part_id IN (SELECT rp.part_id FROM load_rack lr JOIN rack_part rp ON rp.site_id = lr.site_id AND rp.rack_id = lr.rack_id
			JOIN part_status now ON now.site_id = rp.site_id AND now.part_id = rp.part_id AND now.cycle = rp.cycle WHERE lr.site_id = @site AND lr.load_id = @load))`,
		sqlArgs{"site": site, "spec": spec, "job": null(l.job), "load": null(l.load)})
}

// waitsForLot reports whether a lot for what is sampled may take the part now: it is in none, has no record of its own, is not held,
// and has come as far as the check.
func waitsForLot(s *standing, spec quality.FinishSpec, what quality.Sampled) bool {
	if finished[s.Status] || s.OpenHolds > 0 {
		return false
	}
	items := s.gate(spec)
	for _, item := range items {
		if item.Sampled() == what && item.Waits && item.Lot == "" {
			ok, _ := quality.MayStart(item.Kind, items)
			return ok
		}
	}
	return false
}

// samplePlan looks up the plan of a lot under a rule.
func samplePlan(rule quality.SampleRule, size int, severity sampling.Severity) (sampling.Plan, error) {
	switch {
	case rule.By != quality.SampleLot:
		n := min(rule.Number, size)
		return sampling.Plan{Standard: sampling.Standard("number of parts by the spec"), Lot: size, N: n, Reject: 1, All: n == size}, nil
	case rule.Plan == quality.PlanCoating:
		return planRefused(sampling.CoatingLot(size))
	case rule.Plan == quality.PlanZero:
		return planRefused(sampling.ZeroAcceptance(size, rule.SharePercent/100, rule.ConfidencePercent/100))
	case severity == sampling.Discontinued:
		return sampling.Plan{}, refuse(RuleStopped, "Inspection by lot is stopped: ten lots in a row stayed on tightened inspection. An engineer lets it begin again on the Sampling page once the cause is mended; until then check every part.")
	case size == 1: // the table begins at two
		return sampling.Plan{Standard: sampling.MILSTD105E, Lot: 1, Level: sampling.Level(rule.Level), AQL: rule.AQL, Severity: severity, N: 1, Reject: 1, All: true}, nil
	}
	return planRefused(sampling.Single(size, sampling.Level(rule.Level), rule.AQL, severity))
}

func planRefused(p sampling.Plan, err error) (sampling.Plan, error) {
	if err != nil {
		return p, refuse(RuleInvalid, "There is no plan for this lot: "+err.Error()+".")
	}
	return p, nil
}

// insertLot writes a lot with its parts and draws its sample. The parts are locked and stand in the order of their serials.
func (db *DB) insertLot(ctx context.Context, tx querier, a Actor, st Site, l lotRow, parts []*standing) (string, error) {
	var seed [32]byte
	if _, err := rand.Read(seed[:]); err != nil {
		return "", fmt.Errorf("drawing a sample: %w", err)
	}
	order, err := sampling.Draw(seed, len(parts))
	if err != nil {
		return "", err
	}
	now := db.Clock()
	year := now.In(st.Location()).Year()
	n, err := nextNumber(ctx, tx, a.Site, fmt.Sprintf("inspection lot %d", year))
	if err != nil {
		return "", err
	}
	number := fmt.Sprintf("IL-%d-%04d", year, n)
	day, _ := st.ShopDay(now)
	ids := idsOf(parts)
	cycles, rounds, serials := make([]int, len(parts)), make([]int, len(parts)), make([]string, l.numbers.N)
	for i, s := range parts {
		cycles[i], rounds[i] = s.Cycle, s.Round
	}
	drawn := make([]uuid.UUID, l.numbers.N)
	for i := range drawn {
		drawn[i], serials[i] = ids[order[i]], parts[order[i]].Serial
	}
	var aql *float64
	if l.numbers.AQL > 0 {
		aql = &l.numbers.AQL
	}
	b := &pgx.Batch{}
	b.Queue(`INSERT INTO inspection_lot (site_id, lot_id, number, spec_id, spec_revision_id, kind, basis, job_id, rack_id, load_id, first_offered, plan, standard, level, aql, severity,
			code_letter, plan_letter, lot_size, sample_size, accept, reject, seed, made_by, made_at, shop_day)
		SELECT @site, @lot, @number, @spec, @revision, @kind, @basis, @job, @rack, @load,
			NOT EXISTS (SELECT 1 FROM inspection_lot_part m JOIN inspection_verdict v ON v.site_id = m.site_id AND v.lot_id = m.lot_id AND v.verdict = 'rejected'
				WHERE m.site_id = @site AND m.part_id = ANY(@parts) AND m.kind = @kind),
			@plan, @standard, @level, @aql, @severity, @letter, @plan_letter, @size, @sample, @accept, @reject, @seed, @by, @at, @day`,
		sqlArgs{"site": a.Site, "lot": l.id, "number": number, "spec": l.revision.SpecID, "revision": l.revision.ID, "kind": string(l.of), "basis": string(l.basis),
			"job": null(l.job), "rack": null(l.rack), "load": null(l.load), "parts": ids, "plan": l.plan, "standard": string(l.numbers.Standard), "level": string(l.numbers.Level), "aql": aql,
			"severity": string(l.numbers.Severity), "letter": l.numbers.CodeLetter, "plan_letter": l.numbers.PlanLetter, "size": len(parts), "sample": l.numbers.N, "accept": l.numbers.Accept,
			"reject": l.numbers.Reject, "seed": seed[:], "by": a.Person, "at": now, "day": day})
	b.Queue(`INSERT INTO inspection_lot_part (site_id, lot_id, part_id, kind, cycle, round, position)
		SELECT @site, @lot, n.part_id, @kind, n.cycle, n.round, n.position FROM unnest(@parts::uuid[], @cycles::int[], @rounds::int[]) WITH ORDINALITY AS n(part_id, cycle, round, position)`,
		sqlArgs{"site": a.Site, "lot": l.id, "kind": string(l.of), "parts": ids, "cycles": cycles, "rounds": rounds})
	b.Queue(`INSERT INTO inspection_sample (site_id, sample_id, lot_id, seq, version, part_id, drawn_by, drawn_at)
		SELECT @site, gen_random_uuid(), @lot, n.seq, 1, n.part_id, @by, @at FROM unnest(@drawn::uuid[]) WITH ORDINALITY AS n(part_id, seq)`,
		sqlArgs{"site": a.Site, "lot": l.id, "drawn": drawn, "by": a.Person, "at": now})
	b.Queue(`INSERT INTO inspection_lot_status (site_id, lot_id) VALUES (@site, @lot)`, sqlArgs{"site": a.Site, "lot": l.id})
	if err := db.queueEvent(b, a, Event{Verb: "inspection lot made", SubjectKind: "inspection_lot", Subject: l.id,
		After: map[string]any{"number": number, "kind": l.of, "lot_size": len(parts), "sample": l.numbers.N, "accept": l.numbers.Accept, "drawn": serials}}); err != nil {
		return "", err
	}
	if err := send(ctx, tx, b); err != nil {
		return "", fmt.Errorf("making lot %s: %w", number, err)
	}
	return number, nil
}

func idsOf(parts []*standing) []uuid.UUID {
	ids := make([]uuid.UUID, len(parts))
	for i, s := range parts {
		ids[i] = s.PartID
	}
	return ids
}

// drawAfterCure draws the samples of racks and loads that a spec asks for, once their cure run is on record: what is checked
// on a sample of them comes after the oven, and from then on no part joins or leaves them. Parts on hold are left out; they
// are checked themselves.
func (db *DB) drawAfterCure(ctx context.Context, tx querier, a Actor, e Entry, w *work) error {
	made := false
	for _, what := range quality.Sampleable {
		rule, ok := w.spec.Sampling[what]
		if !ok || rule.By == quality.SampleLot {
			continue
		}
		groups := map[uuid.UUID][]*standing{}
		var order []uuid.UUID
		for _, s := range w.parts {
			if finished[s.Status] || s.OpenHolds > 0 || s.placeIn(what) != nil || s.recorded(what) {
				continue
			}
			key := e.Subject.ID
			if rule.By == quality.SampleRack {
				key = s.RackID.UUID
			}
			if groups[key] == nil {
				order = append(order, key)
			}
			groups[key] = append(groups[key], s)
		}
		for _, key := range order {
			l := lotRow{id: NewID(), revision: w.revision, of: what, basis: rule.By, plan: "number"}
			if rule.By == quality.SampleRack {
				l.rack = key
			} else {
				l.load = key
			}
			var err error
			if l.numbers, err = samplePlan(rule, len(groups[key]), ""); err != nil {
				return err
			}
			if _, err := db.insertLot(ctx, tx, a, w.site, l, groups[key]); err != nil {
				return err
			}
			made = true
		}
	}
	if !made {
		return nil
	}
	_, err := db.refresh(ctx, tx, a.Site, idsOf(w.parts))
	return err
}

// recorded reports whether the part has a valid record of its own for what is sampled in its present round.
func (s *standing) recorded(what quality.Sampled) bool {
	return slices.ContainsFunc(s.evidence, func(e quality.Evidence) bool {
		return e.Says(what) && e.Round == s.Round && !e.Superseded && e.Verdict != quality.Voided
	})
}

// SwapSample takes a part out of the sample of a lot, for a reason that stays with it. The next part of the draw takes its
// place, so that nobody chooses it; its serial is returned. A part that was checked stays in.
func (db *DB) SwapSample(ctx context.Context, a Actor, lot uuid.UUID, serial, reason string) (replacement string, err error) {
	reason = strings.TrimSpace(reason)
	switch {
	case !a.Has(Supervisor, Engineer):
		return "", refuse(RuleNoRight, "A supervisor or an engineer swaps a part of the sample.")
	case strings.TrimSpace(serial) == "":
		return "", refuse(RuleInvalid, "Choose the part that is taken out of the sample.")
	case len([]rune(reason)) < 5:
		return "", refuse("inspection_sample_reason_given", constraintSentences["inspection_sample_reason_given"])
	}
	err = db.inTx(ctx, a.Site, func(tx querier) error {
		replacement, err = db.swapSample(ctx, tx, a, lot, serial, reason)
		return err
	})
	return replacement, err
}

func (db *DB) swapSample(ctx context.Context, tx querier, a Actor, lot uuid.UUID, serial, reason string) (string, error) {
	l, err := one[InspectionLot](ctx, tx, lotSQL+` AND l.lot_id = @lot`, sqlArgs{"site": a.Site, "lot": lot})
	if err != nil {
		return "", err
	}
	members, err := list[LotPart](ctx, tx, lotPartSQL, sqlArgs{"site": a.Site, "lot": lot})
	if err != nil {
		return "", err
	}
	ids := make([]uuid.UUID, len(members))
	for i, m := range members {
		ids[i] = m.PartID
	}
	if err := lockParts(ctx, tx, a.Site, ids); err != nil {
		return "", err
	}
	// What stood before the locks may have changed meanwhile.
	if l, err = one[InspectionLot](ctx, tx, lotSQL+` AND l.lot_id = @lot`, sqlArgs{"site": a.Site, "lot": lot}); err != nil {
		return "", err
	}
	if members, err = list[LotPart](ctx, tx, lotPartSQL, sqlArgs{"site": a.Site, "lot": lot}); err != nil {
		return "", err
	}
	out := slices.IndexFunc(members, func(m LotPart) bool { return m.Serial == serial })
	switch {
	case l.State != quality.LotOpen:
		return "", refuse(RuleChanged, fmt.Sprintf("Lot %s is %s; its sample stays as it is.", l.Number, l.State))
	case out < 0 || members[out].Seq == 0:
		return "", refuse(RuleInvalid, fmt.Sprintf("“%s” is not in the sample of lot %s. Choose one of its samples.", clip(serial), l.Number))
	case members[out].Verdict != "":
		return "", refuse(RuleInvalid, fmt.Sprintf("Part %s is checked and stays in the sample. If its record is wrong, correct or void that.", serial))
	}
	order, err := sampling.Draw([32]byte(l.Seed), len(members))
	if err != nil {
		return "", err
	}
	for _, i := range order {
		m := members[i]
		if m.Sampled || m.Verdict != "" {
			continue
		}
		return m.Serial, db.writeSwap(ctx, tx, a, l, members[out], m, reason)
	}
	return "", refuse(RuleInvalid, fmt.Sprintf("Lot %s has no other part that could take its place: every one is or was in the sample, or is checked. Check this part, or decide on it by a hold.", l.Number))
}

func (db *DB) writeSwap(ctx context.Context, tx querier, a Actor, l InspectionLot, out, in LotPart, reason string) error {
	if err := run(ctx, tx, `INSERT INTO inspection_sample (site_id, sample_id, lot_id, seq, version, part_id, reason, drawn_by, drawn_at)
		SELECT @site, @id, @lot, @seq, max(version) + 1, @part, @reason, @by, @at FROM inspection_sample WHERE site_id = @site AND lot_id = @lot AND seq = @seq`,
		sqlArgs{"site": a.Site, "id": NewID(), "lot": l.ID, "seq": out.Seq, "part": in.PartID, "reason": reason, "by": a.Person, "at": db.Clock()}); err != nil {
		return fmt.Errorf("swapping a sample of %s: %w", l.Number, err)
	}
	if err := db.event(ctx, tx, a, Event{Verb: "sample swapped", SubjectKind: "inspection_lot", Subject: l.ID, Before: map[string]string{"part": out.Serial},
		After: map[string]any{"part": in.Serial, "sample": out.Seq, "lot": l.Number}, Reason: reason}); err != nil {
		return err
	}
	_, err := db.refresh(ctx, tx, a.Site, []uuid.UUID{out.PartID, in.PartID})
	return err
}
