package store

import (
	"context"
	"fmt"
	"strings"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"coatbook/quality"
	"coatbook/quality/sampling"
)

// sampleRecord is the record that decides on a part m of an inspection lot: the last one of the lot's kind that was made on
// the part itself, in the cycle and round of the lot, and that still counts. Where the lot is for one characteristic of the check,
// it is the last one that says something of it, and its verdict is the worst of the findings on that alone.
const sampleRecord = `LEFT JOIN LATERAL (SELECT r.record_id, v.verdict FROM record r CROSS JOIN (SELECT m.part_id) t
		CROSS JOIN LATERAL (SELECT CASE ` + sampledCharacteristic + ` WHEN '' THEN r.verdict ELSE (SELECT f.verdict FROM finding f
			WHERE f.site_id = r.site_id AND f.record_id = r.record_id AND f.rule = ` + sampledCharacteristic + `
			ORDER BY array_position(ARRAY['fail', 'incomplete', 'guard_band', 'pass'], f.verdict) LIMIT 1) END AS verdict) v
		WHERE v.verdict IS NOT NULL AND r.site_id = m.site_id AND r.part_id = m.part_id AND r.kind = ` + sampledCheck + ` AND r.cycle = m.cycle AND r.round = m.round AND r.verdict <> 'void'
		AND NOT EXISTS (SELECT 1 FROM record s WHERE s.site_id = r.site_id AND s.supersedes_id = r.record_id) AND NOT ` + recalledEvidence + `
		ORDER BY r.observed_at DESC, r.record_id DESC LIMIT 1) c ON true `

// A lotTally is where a lot stands by what is kept and by its records.
type lotTally struct {
	LotID   uuid.UUID        `db:"lot_id"`
	Number  string           `db:"number"`
	SpecID  uuid.UUID        `db:"spec_id"`
	Of      quality.Sampled  `db:"kind"`
	Plan    string           `db:"plan"`
	Rule    string           `db:"rule"`
	Sample  int              `db:"sample_size"`
	Accept  int              `db:"accept"`
	Reject  int              `db:"reject"`
	State   quality.LotState `db:"state"`
	Before  int              `db:"checked_before"`
	Failing int              `db:"failed_before"`
	Checked int              `db:"checked"`
	Failed  int              `db:"failed"`
}

const tallySQL = `SELECT l.lot_id, l.number, l.spec_id, l.kind, l.plan, fs.code || ' rev ' || rev.revision || ': ' || l.sample_size || ' of ' || l.lot_size || ' parts, at most ' || l.accept || ' failed' AS rule,
		l.sample_size, l.accept, l.reject, st.state, st.checked AS checked_before, st.failed AS failed_before, n.checked, n.failed
	FROM inspection_lot l
	JOIN inspection_lot_status st ON st.site_id = l.site_id AND st.lot_id = l.lot_id
	JOIN finish_spec_revision rev ON rev.site_id = l.site_id AND rev.revision_id = l.spec_revision_id
	JOIN finish_spec fs ON fs.site_id = l.site_id AND fs.spec_id = l.spec_id
	CROSS JOIN LATERAL (SELECT count(*) FILTER (WHERE c.verdict IN ('pass', 'guard_band', 'fail'))::int AS checked, count(*) FILTER (WHERE c.verdict = 'fail')::int AS failed
		FROM inspection_sample s JOIN inspection_lot_part m ON m.site_id = s.site_id AND m.lot_id = s.lot_id AND m.part_id = s.part_id ` + sampleRecord + `
		WHERE s.site_id = l.site_id AND s.lot_id = l.lot_id AND ` + sampledNow + `) n
	WHERE l.site_id = @site`

// state is the lot's verdict by its records. A lot is rejected as soon as its sample cannot be accepted any more; it is never
// accepted before all of its sample is checked.
func (t lotTally) state() quality.LotState {
	switch (sampling.Plan{Accept: t.Accept, Reject: t.Reject}).Judge(t.Failed) {
	case sampling.Rejected:
		return quality.LotRejected
	case sampling.Between:
		if t.Checked >= t.Sample {
			return quality.LotBetween
		}
	case sampling.Accepted:
		if t.Checked >= t.Sample {
			return quality.LotAccepted
		}
	}
	return quality.LotOpen
}

// keep writes the lot's standing. It reports false when it was kept so already.
func (t lotTally) keep(b *pgx.Batch, site uuid.UUID) bool {
	if t.state() == t.State && t.Checked == t.Before && t.Failed == t.Failing {
		return false
	}
	b.Queue(`UPDATE inspection_lot_status SET state = @state, checked = @checked, failed = @failed WHERE site_id = @site AND lot_id = @lot`,
		sqlArgs{"site": site, "lot": t.LotID, "state": string(t.state()), "checked": t.Checked, "failed": t.Failed})
	return true
}

// A change is what made somebody look at lots again: the record behind it, and why, for a correction.
type change struct {
	record uuid.UUID
	why    string
}

// settleLots works out again where lots stand after a record on one of their parts, and does what a new verdict entails: a
// rejected lot holds what it stood for, a release that rested on an accepted one is void when it no longer is, and the
// severity of inspection follows. All parts of the lots are locked by the caller. It returns a sentence for each new verdict.
func (db *DB) settleLots(ctx context.Context, tx querier, a Actor, st Site, lots []uuid.UUID, by change) (said []string, err error) {
	if len(lots) == 0 {
		return nil, nil
	}
	tallies, err := list[lotTally](ctx, tx, tallySQL+` AND l.lot_id = ANY(@lots) ORDER BY l.spec_id, l.kind, l.lot_id`, sqlArgs{"site": a.Site, "lots": lots})
	if err != nil {
		return nil, fmt.Errorf("counting samples: %w", err)
	}
	b := &pgx.Batch{}
	for _, t := range tallies {
		if !t.keep(b, a.Site) {
			continue
		}
		if err := send(ctx, tx, b); err != nil {
			return nil, fmt.Errorf("lot %s: %w", t.Number, err)
		}
		if t.state() == t.State {
			continue
		}
		sentence, err := db.decideLot(ctx, tx, a, st, t, by)
		if err != nil {
			return nil, err
		}
		said = append(said, sentence)
	}
	return said, nil
}

// lotWords are the states in a sentence.
var lotWords = map[quality.LotState]string{quality.LotOpen: "open again", quality.LotAccepted: "accepted", quality.LotBetween: "accepted, and ends reduced inspection", quality.LotRejected: "rejected"}

func (db *DB) decideLot(ctx context.Context, tx querier, a Actor, st Site, t lotTally, by change) (string, error) {
	state := t.state()
	said := fmt.Sprintf("Lot %s is %s: %d of %d samples checked, %d failed, %d allowed.", t.Number, lotWords[state], t.Checked, t.Sample, t.Failed, t.Accept)
	b := &pgx.Batch{}
	b.Queue(`INSERT INTO inspection_verdict (site_id, verdict_id, lot_id, version, verdict, checked, failed, record_id, decided_by, decided_at)
		SELECT @site, @id, @lot, count(*) + 1, @verdict, @checked, @failed, @record, @by, @at FROM inspection_verdict WHERE site_id = @site AND lot_id = @lot`,
		sqlArgs{"site": a.Site, "id": NewID(), "lot": t.LotID, "verdict": string(state), "checked": t.Checked, "failed": t.Failed, "record": by.record, "by": a.Person, "at": db.Clock()})
	if err := db.queueEvent(b, a, Event{Verb: "inspection lot " + string(state), SubjectKind: "inspection_lot", Subject: t.LotID, Record: by.record, Before: map[string]any{"state": t.State},
		After: map[string]any{"number": t.Number, "checked": t.Checked, "failed": t.Failed}, Reason: by.why}); err != nil {
		return "", err
	}
	if err := send(ctx, tx, b); err != nil {
		return "", fmt.Errorf("verdict on lot %s: %w", t.Number, err)
	}
	parts, err := column[uuid.UUID](ctx, tx, `SELECT part_id FROM inspection_lot_part WHERE site_id = @site AND lot_id = @lot ORDER BY part_id`, sqlArgs{"site": a.Site, "lot": t.LotID})
	if err != nil {
		return "", err
	}
	if !state.Accepted() {
		held, hold, err := db.holdLot(ctx, tx, a, st, t, parts, by)
		if err != nil {
			return "", err
		}
		if hold != "" {
			said += fmt.Sprintf(" What it stood for is on hold: %d, %s.", held, hold)
		}
	}
	words := ""
	if t.Plan == string(quality.PlanAQL) {
		if words, err = db.settleSeverity(ctx, tx, a, t.SpecID, t.Of); err != nil {
			return "", err
		}
	}
	_, err = db.refresh(ctx, tx, a.Site, parts)
	return strings.TrimSpace(said + " " + words), err
}

// holdLot holds what a lot stood for: all of it when the lot is rejected, else what was released on it while it was accepted.
func (db *DB) holdLot(ctx context.Context, tx querier, a Actor, st Site, t lotTally, parts []uuid.UUID, by change) (n int, hold string, err error) {
	all, err := db.standings(ctx, tx, a.Site, parts)
	if err != nil {
		return 0, "", err
	}
	specs, err := db.specsOf(ctx, tx, a.Site, all)
	if err != nil {
		return 0, "", err
	}
	var held []*standing
	for _, s := range all {
		if !s.standsOn(specs[s.SpecID], t.Of, t.Number) {
			continue
		}
		if s.Released {
			if !a.Has(Supervisor, Engineer) {
				return 0, "", refuse(RuleNoRight, fmt.Sprintf("Part %s was released on lot %s. A supervisor or an engineer corrects what the lot rests on.", s.Serial, t.Number))
			}
			if err := db.voidRelease(ctx, tx, a, s, by.record, fmt.Sprintf("Lot %s is %s. %s", t.Number, lotWords[t.state()], by.why)); err != nil {
				return 0, "", err
			}
		} else if t.state() != quality.LotRejected {
			continue
		}
		if p := s.placeIn(t.Of); p == nil || p.Held == 0 {
			held = append(held, s)
		}
	}
	id := NewID()
	cause := fmt.Sprintf("Rejected sample: lot %s, %s, %d of %d samples failed, %d allowed", t.Number, lower(t.Of.Name()), t.Failed, t.Sample, t.Accept)
	if t.state() != quality.LotRejected {
		cause = fmt.Sprintf("Lot %s, %s, has %d of %d samples after a correction; parts were released on it", t.Number, lower(t.Of.Name()), t.Checked, t.Sample)
	}
	if hold, err = db.openHoldAs(ctx, tx, a, st, id, cause, t.Rule, uuid.Nil, held); err != nil || hold == "" {
		return 0, "", err
	}
	return len(held), hold, run(ctx, tx, `INSERT INTO inspection_hold (site_id, hold_id, lot_id) VALUES (@site, @hold, @lot)`, sqlArgs{"site": a.Site, "hold": id, "lot": t.LotID})
}

// lotHoldEnds refuses to lift the hold of a rejected lot from parts that were not checked themselves. It reports false when no
// lot stands behind the hold.
func (db *DB) lotHoldEnds(ctx context.Context, q querier, site, hold uuid.UUID, parts []*standing, specs map[uuid.UUID]quality.FinishSpec) (bool, error) {
	type behind struct {
		Number string           `db:"number"`
		Of     quality.Sampled  `db:"kind"`
		State  quality.LotState `db:"state"`
	}
	found, err := list[behind](ctx, q, `SELECT l.number, l.kind, st.state FROM inspection_hold ih JOIN inspection_lot l ON l.site_id = ih.site_id AND l.lot_id = ih.lot_id
		JOIN inspection_lot_status st ON st.site_id = l.site_id AND st.lot_id = l.lot_id WHERE ih.site_id = @site AND ih.hold_id = @hold`, sqlArgs{"site": site, "hold": hold})
	if err != nil || len(found) == 0 {
		return false, err
	}
	l := found[0]
	if l.State.Accepted() {
		return true, nil
	}
	for _, s := range parts {
		for _, item := range s.gate(specs[s.SpecID]) {
			if item.Sampled() == l.Of && item.State != quality.Met {
				return true, refuse(RuleInvalid, fmt.Sprintf("Lot %s behind this hold is %s, and part %s has no %s of its own that passed. Check the part itself first, or choose another disposition.",
					l.Number, l.State, s.Serial, lower(l.Of.Name())))
			}
		}
	}
	return true, nil
}

// rebuildLots works out where all lots and severities of a site stand from records alone, and returns how many it had to
// change.
func (db *DB) rebuildLots(ctx context.Context, tx querier, site uuid.UUID) (changed int, err error) {
	tallies, err := list[lotTally](ctx, tx, tallySQL, sqlArgs{"site": site})
	if err != nil {
		return 0, fmt.Errorf("counting samples: %w", err)
	}
	b := &pgx.Batch{}
	for _, t := range tallies {
		if t.keep(b, site) {
			changed++
		}
	}
	if err := send(ctx, tx, b); err != nil {
		return changed, err
	}
	n, err := db.rebuildSeverities(ctx, tx, site)
	return changed + n, err
}
