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
	"coatbook/quality/sampling"
)

// A decidedLot is a lot as it counts for the severity of the next one.
type decidedLot struct {
	LotID    uuid.UUID         `db:"lot_id"`
	Number   string            `db:"number"`
	Severity sampling.Severity `db:"severity"`
	State    quality.LotState  `db:"state"`
	At       time.Time         `db:"decided_at"`
}

// strictness orders the severities.
var strictness = map[sampling.Severity]int{sampling.Reduced: 0, sampling.Normal: 1, sampling.Tightened: 2, sampling.Discontinued: 2}

// severityAfter follows the lots of one spec and what it samples in the order in which they were first decided, and returns how the next
// one is inspected, the lots behind the last change, and why. A lot that was drawn before a change counts by the numbers it
// was drawn with: rejected always, accepted only where it was inspected at least as strictly as is due. resumed are the times
// at which an engineer let inspection begin again.
func severityAfter(lots []decidedLot, resumed []time.Time, reduced bool) (now sampling.Severity, causes []decidedLot, why string) {
	s := sampling.Switcher{NoReduced: !reduced}
	now = s.Severity()
	var since []decidedLot
	begin := func(until time.Time) {
		for len(resumed) > 0 && resumed[0].Before(until) {
			s.Resume()
			resumed, now, since, causes, why = resumed[1:], s.Severity(), nil, nil, ""
		}
	}
	for _, l := range lots {
		begin(l.At)
		outcome := sampling.Accepted
		switch l.State {
		case quality.LotRejected:
			outcome = sampling.Rejected
		case quality.LotBetween:
			outcome = sampling.Between
		}
		if outcome == sampling.Accepted && strictness[l.Severity] < strictness[now] {
			continue
		}
		// The outcomes are the three that exist.
		after, _ := s.Record(outcome)
		since = append(since, l)
		if after != now {
			causes, why = causesOf(now, after, since)
			now, since = after, nil
		}
	}
	if len(resumed) > 0 {
		begin(resumed[len(resumed)-1].Add(1))
	}
	return now, causes, why
}

// causesOf names the lots that a rule of switching looked at, and the rule.
func causesOf(from, to sampling.Severity, since []decidedLot) ([]decidedLot, string) {
	last := func(n int) []decidedLot { return since[max(0, len(since)-n):] }
	switch {
	case to == sampling.Tightened:
		rejected := slices.DeleteFunc(slices.Clone(last(5)), func(l decidedLot) bool { return l.State != quality.LotRejected })
		return rejected, "Two of five lots in a row or fewer were rejected."
	case to == sampling.Discontinued:
		return last(10), "Ten lots in a row stayed on tightened inspection."
	case to == sampling.Reduced:
		return last(10), "Ten lots in a row were accepted."
	case from == sampling.Tightened:
		return last(5), "Five lots in a row were accepted."
	}
	return last(1), "A lot was not accepted outright on reduced inspection."
}

// lockSeverity returns how the next lot of a spec is inspected for what it samples, and keeps it from changing until the transaction
// ends.
func lockSeverity(ctx context.Context, tx querier, site, spec uuid.UUID, what quality.Sampled) (sampling.Severity, error) {
	args := sqlArgs{"site": site, "spec": spec, "kind": string(what)}
	if _, err := tx.Exec(ctx, `INSERT INTO inspection_severity (site_id, spec_id, kind) VALUES (@site, @spec, @kind) ON CONFLICT DO NOTHING`, args); err != nil {
		return "", fmt.Errorf("severity of inspection: %w", err)
	}
	return value[sampling.Severity](ctx, tx, `SELECT severity FROM inspection_severity WHERE site_id = @site AND spec_id = @spec AND kind = @kind FOR UPDATE`, args)
}

// severityNow follows all lots on record.
func (db *DB) severityNow(ctx context.Context, tx querier, site, spec uuid.UUID, what quality.Sampled) (now sampling.Severity, causes []decidedLot, why string, err error) {
	args := sqlArgs{"site": site, "spec": spec, "kind": string(what)}
	lots, err := list[decidedLot](ctx, tx, `SELECT l.lot_id, l.number, l.severity, st.state, v.decided_at FROM inspection_lot l
		JOIN inspection_lot_status st ON st.site_id = l.site_id AND st.lot_id = l.lot_id AND st.state <> 'open'
		JOIN inspection_verdict v ON v.site_id = l.site_id AND v.lot_id = l.lot_id AND v.version = 1
		WHERE l.site_id = @site AND l.spec_id = @spec AND l.kind = @kind AND l.plan = 'aql' AND l.first_offered ORDER BY v.decided_at, v.verdict_id`, args)
	if err != nil {
		return "", nil, "", err
	}
	resumed, err := column[time.Time](ctx, tx, `SELECT switched_at FROM inspection_switch WHERE site_id = @site AND spec_id = @spec AND kind = @kind AND signature_id IS NOT NULL ORDER BY switched_at`, args)
	if err != nil {
		return "", nil, "", err
	}
	_, body, err := db.approvedSpec(ctx, tx, site, spec, db.Clock())
	if _, refused := err.(*Refusal); err != nil && !refused {
		return "", nil, "", err
	}
	now, causes, why = severityAfter(lots, resumed, body.Sampling[what].Reduced)
	return now, causes, why, nil
}

// settleSeverity follows the lots of a spec and what it samples anew and records a change of severity. It returns the change in words.
func (db *DB) settleSeverity(ctx context.Context, tx querier, a Actor, spec uuid.UUID, what quality.Sampled) (string, error) {
	before, err := lockSeverity(ctx, tx, a.Site, spec, what)
	if err != nil {
		return "", err
	}
	now, causes, why, err := db.severityNow(ctx, tx, a.Site, spec, what)
	if err != nil {
		return "", fmt.Errorf("following lots: %w", err)
	}
	if now == before {
		return "", nil
	}
	if why == "" {
		why = "A verdict or the spec was changed."
	}
	if err := db.writeSwitch(ctx, tx, a, NewID(), spec, what, before, now, why, uuid.Nil, causes); err != nil {
		return "", err
	}
	return fmt.Sprintf("Inspection is %s from the next lot on.", now), nil
}

func (db *DB) writeSwitch(ctx context.Context, tx querier, a Actor, id, spec uuid.UUID, what quality.Sampled, from, to sampling.Severity, why string, signature uuid.UUID, causes []decidedLot) error {
	lots, numbers := make([]uuid.UUID, len(causes)), make([]string, len(causes))
	for i, l := range causes {
		lots[i], numbers[i] = l.LotID, l.Number
	}
	args := sqlArgs{"site": a.Site, "id": id, "spec": spec, "kind": string(what), "from": string(from), "to": string(to), "why": why, "signature": null(signature), "by": a.Person, "at": db.Clock()}
	b := &pgx.Batch{}
	b.Queue(`INSERT INTO inspection_switch (site_id, switch_id, spec_id, kind, version, from_severity, to_severity, reason, signature_id, switched_by, switched_at)
		SELECT @site, @id, @spec, @kind, count(*) + 1, @from, @to, @why, @signature, @by, @at FROM inspection_switch WHERE site_id = @site AND spec_id = @spec AND kind = @kind`, args)
	b.Queue(`INSERT INTO inspection_switch_lot (site_id, switch_id, lot_id) SELECT @site, @id, unnest(@lots::uuid[])`, sqlArgs{"site": a.Site, "id": id, "lots": lots})
	b.Queue(`UPDATE inspection_severity SET severity = @to WHERE site_id = @site AND spec_id = @spec AND kind = @kind`,
		sqlArgs{"site": a.Site, "spec": spec, "kind": string(what), "to": string(to)})
	if err := db.queueEvent(b, a, Event{Verb: "inspection switched", SubjectKind: "finish_spec", Subject: spec, Before: map[string]any{"kind": what, "severity": from},
		After: map[string]any{"severity": to, "lots": numbers}, Reason: why}); err != nil {
		return err
	}
	if err := send(ctx, tx, b); err != nil {
		return fmt.Errorf("switching inspection: %w", err)
	}
	return nil
}

// settleSeverities follows the lots of a spec after its rules of sampling changed.
func (db *DB) settleSeverities(ctx context.Context, tx querier, a Actor, spec uuid.UUID) error {
	all, err := column[quality.Sampled](ctx, tx, `SELECT kind FROM inspection_severity WHERE site_id = @site AND spec_id = @spec ORDER BY kind`, sqlArgs{"site": a.Site, "spec": spec})
	for _, what := range all {
		if _, err := db.settleSeverity(ctx, tx, a, spec, what); err != nil {
			return err
		}
	}
	return err
}

// rebuildSeverities works out the severity of each spec and what it samples from the verdicts alone.
func (db *DB) rebuildSeverities(ctx context.Context, tx querier, site uuid.UUID) (changed int, err error) {
	type row struct {
		SpecID   uuid.UUID         `db:"spec_id"`
		Of       quality.Sampled   `db:"kind"`
		Severity sampling.Severity `db:"severity"`
	}
	rows, err := list[row](ctx, tx, `SELECT spec_id, kind, severity FROM inspection_severity WHERE site_id = @site ORDER BY spec_id, kind`, sqlArgs{"site": site})
	if err != nil {
		return 0, err
	}
	for _, r := range rows {
		now, _, _, err := db.severityNow(ctx, tx, site, r.SpecID, r.Of)
		if err != nil {
			return changed, err
		}
		if now == r.Severity {
			continue
		}
		changed++
		if err := run(ctx, tx, `UPDATE inspection_severity SET severity = @now WHERE site_id = @site AND spec_id = @spec AND kind = @kind`,
			sqlArgs{"site": site, "spec": r.SpecID, "kind": string(r.Of), "now": string(now)}); err != nil {
			return changed, err
		}
	}
	return changed, nil
}

// ResumeInspection lets inspection by lot begin again, on tightened inspection, after it had stopped: an engineer signs what
// was done about the cause.
func (db *DB) ResumeInspection(ctx context.Context, a Actor, spec string, what quality.Sampled, reason string, proof Proof) error {
	reason = strings.TrimSpace(reason)
	switch {
	case !a.Has(Engineer):
		return refuse(RuleNoRight, "An engineer lets inspection begin again.")
	case len([]rune(reason)) < 5:
		return refuse("inspection_switch_reason_given", constraintSentences["inspection_switch_reason_given"])
	}
	return db.inTx(ctx, a.Site, func(tx querier) error {
		id, err := value[uuid.UUID](ctx, tx, `SELECT spec_id FROM finish_spec WHERE site_id = @site AND code = @code`, sqlArgs{"site": a.Site, "code": spec})
		if err != nil {
			return err
		}
		severity, err := lockSeverity(ctx, tx, a.Site, id, what)
		if err != nil {
			return err
		}
		if severity != sampling.Discontinued {
			return refuse(RuleChanged, fmt.Sprintf("Inspection of %s, %s, is %s and goes on. Reload the page.", spec, lower(what.Name()), severity))
		}
		b, switchID := &pgx.Batch{}, NewID()
		signature, err := db.sign(b, a, proof, "authorised", fmt.Sprintf("Inspection by lot of %s, %s, begins again on tightened inspection: %s", spec, lower(what.Name()), reason),
			resumeContent(switchID, id, what, reason))
		if err != nil {
			return err
		}
		if err := send(ctx, tx, b); err != nil {
			return fmt.Errorf("signing: %w", err)
		}
		return db.writeSwitch(ctx, tx, a, switchID, id, what, sampling.Discontinued, sampling.Tightened, reason, signature, nil)
	})
}
