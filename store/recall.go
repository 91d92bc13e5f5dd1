package store

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// goodCheck is a verification or calibration after which a device read true.
type goodCheck struct {
	RecordID   uuid.UUID `db:"record_id"`
	ObservedAt time.Time `db:"observed_at"`
}

// suspectWindow returns the last good check of a device before it was found wrong, and the first one after: what was measured
// between them is in doubt. Either is nil when there is none.
func suspectWindow(ctx context.Context, q querier, site, device uuid.UUID, wrong time.Time) (before, after *goodCheck, err error) {
	checks, err := list[goodCheck](ctx, q, `SELECT r.record_id, r.observed_at FROM record r
		WHERE r.site_id = @site AND r.instrument_id = @device AND r.kind IN ('verification', 'calibration') AND `+leftGood+`
		AND NOT EXISTS (SELECT 1 FROM record s WHERE s.site_id = r.site_id AND s.supersedes_id = r.record_id)
		AND r.observed_at <> @wrong ORDER BY r.observed_at`, sqlArgs{"site": site, "device": device, "wrong": wrong})
	for i := range checks {
		if checks[i].ObservedAt.Before(wrong) {
			before = &checks[i]
		} else if after == nil {
			after = &checks[i]
		}
	}
	return before, after, err
}

// suspectRecords returns the records that were made with a device from its last good check on, those of earlier reviews left
// out: they have their decision. What counts nowhere any more is left out as well.
func suspectRecords(ctx context.Context, q querier, site, device uuid.UUID, before, after *goodCheck) ([]uuid.UUID, error) {
	var from, to *time.Time
	if before != nil {
		from = &before.ObservedAt
	}
	if after != nil {
		to = &after.ObservedAt
	}
	return column[uuid.UUID](ctx, q, `SELECT DISTINCT r.record_id FROM record_use u JOIN record r ON r.site_id = u.site_id AND r.record_id = u.record_id
		WHERE u.site_id = @site AND u.instrument_id = @device AND r.verdict <> 'void'
		AND (@from::timestamptz IS NULL OR r.observed_at >= @from) AND (@to::timestamptz IS NULL OR r.observed_at < @to)
		AND NOT EXISTS (SELECT 1 FROM record s WHERE s.site_id = r.site_id AND s.supersedes_id = r.record_id)
		AND NOT EXISTS (SELECT 1 FROM recall_record rr JOIN recall_review v ON v.site_id = rr.site_id AND v.review_id = rr.review_id
			WHERE rr.site_id = r.site_id AND rr.record_id = r.record_id AND v.instrument_id = @device)`,
		sqlArgs{"site": site, "device": device, "from": from, "to": to})
}

// openRecall opens the review of everything that was made with a device since it was last good, in the transaction of what
// found it wrong: it lists the records and the parts behind them, holds the parts in house under one hold, and notes which are
// released. Where nothing was made with the device there is nothing to decide, and no review is opened. The device is locked
// by the caller, so that a record made at the same moment is either in the list or refused.
func (db *DB) openRecall(ctx context.Context, tx querier, a Actor, st Site, device Instrument, wrong time.Time, record uuid.UUID, cause string, w *work) (hold string, err error) {
	before, after, err := suspectWindow(ctx, tx, a.Site, device.ID, wrong)
	if err != nil {
		return "", fmt.Errorf("last good check of %s: %w", device.Code, err)
	}
	records, err := suspectRecords(ctx, tx, a.Site, device.ID, before, after)
	if err != nil || len(records) == 0 {
		return "", err
	}
	parts, err := column[uuid.UUID](ctx, tx, `SELECT DISTINCT x.part_id FROM record r CROSS JOIN `+partsOfRecord+` WHERE r.site_id = @site AND r.record_id = ANY(@records)`,
		sqlArgs{"site": a.Site, "records": records})
	if err != nil {
		return "", fmt.Errorf("parts measured with %s: %w", device.Code, err)
	}
	if err := lockParts(ctx, tx, a.Site, parts); err != nil {
		return "", err
	}
	all, err := db.standings(ctx, tx, a.Site, parts)
	if err != nil {
		return "", err
	}
	now := db.Clock()
	year := now.In(st.Location()).Year()
	n, err := nextNumber(ctx, tx, a.Site, fmt.Sprintf("recall %d", year))
	if err != nil {
		return "", err
	}
	w.recall = fmt.Sprintf("RC-%d-%04d", year, n)
	affected := map[string]bool{}
	for _, id := range records {
		affected[id.String()] = true
	}
	var held []*standing
	for _, s := range all {
		if !finished[s.Status] && s.rests(affected) {
			held = append(held, s)
		}
	}
	requirement := fmt.Sprintf("Recall %s: what was measured with %s since it was last good is decided part by part.", w.recall, device.Code)
	if hold, err = db.openHold(ctx, tx, a, st, cause, requirement, record, held); err != nil {
		return "", err
	}
	review := recallRow{id: NewID(), number: w.recall, device: device.ID, record: record, before: before, wrong: wrong, after: after, cause: cause, hold: hold, records: records, lines: all, held: held}
	if err := db.insertRecall(ctx, tx, a, st, review); err != nil {
		return "", fmt.Errorf("opening %s: %w", w.recall, err)
	}
	specs, err := db.specsOf(ctx, tx, a.Site, held)
	if err != nil {
		return "", err
	}
	return hold, db.settleAll(ctx, tx, a.Site, held, specs)
}

// rests reports whether one of the records counts for the part in its current cycle. A part that was stripped since then
// does not rest on what was measured before.
func (s *standing) rests(on map[string]bool) bool {
	for _, e := range s.evidence {
		if on[e.RecordID] {
			return true
		}
	}
	return false
}

// recallRow is a review as it is opened.
type recallRow struct {
	id             uuid.UUID
	number, cause  string
	device, record uuid.UUID
	before, after  *goodCheck
	wrong          time.Time
	hold           string
	records        []uuid.UUID
	lines, held    []*standing
}

func (db *DB) insertRecall(ctx context.Context, tx querier, a Actor, st Site, r recallRow) error {
	now := db.Clock()
	day, _ := st.ShopDay(now)
	args := sqlArgs{"site": a.Site, "review": r.id, "number": r.number, "device": r.device, "record": null(r.record), "good": uuid.NullUUID{}, "from": (*time.Time)(nil),
		"to": r.wrong, "cause": r.cause, "hold": r.hold, "by": a.Person, "at": now, "day": day}
	if r.before != nil {
		args["good"], args["from"] = null(r.before.RecordID), &r.before.ObservedAt
	}
	if r.after != nil {
		args["to"] = r.after.ObservedAt
	}
	b := &pgx.Batch{}
	b.Queue(`INSERT INTO recall_review (site_id, review_id, number, instrument_id, record_id, good_id, suspect_from, suspect_to, cause, hold_id, opened_by, opened_at, shop_day)
		VALUES (@site, @review, @number, @device, @record, @good, @from, @to, @cause, (SELECT hold_id FROM hold WHERE site_id = @site AND number = @hold), @by, @at, @day)`, args)
	b.Queue(`INSERT INTO recall_record (site_id, entry_id, review_id, record_id, listed_at) SELECT @site, gen_random_uuid(), @review, unnest(@records::uuid[]), @at`,
		sqlArgs{"site": a.Site, "review": r.id, "records": r.records, "at": now})
	held := map[uuid.UUID]bool{}
	for _, s := range r.held {
		held[s.PartID] = true
	}
	released := 0
	for _, s := range r.lines {
		status := s.before
		if s.Released {
			released++
		}
		b.Queue(`INSERT INTO recall_line (site_id, review_id, part_id, status, release_id, held) VALUES (@site, @review, @part, @status,
			(SELECT rl.release_id FROM release rl WHERE rl.site_id = @site AND rl.part_id = @part
				AND NOT EXISTS (SELECT 1 FROM release_void v WHERE v.site_id = rl.site_id AND v.release_id = rl.release_id) ORDER BY rl.released_at DESC LIMIT 1), @held)`,
			sqlArgs{"site": a.Site, "review": r.id, "part": s.PartID, "status": status, "held": held[s.PartID]})
	}
	if err := db.queueEvent(b, a, Event{Verb: "recall opened", SubjectKind: "recall", Subject: r.id, Record: r.record, Reason: r.cause,
		After: map[string]any{"number": r.number, "device": r.device, "records": len(r.records), "parts": len(r.lines), "held": len(r.held), "released": released, "hold": r.hold}}); err != nil {
		return err
	}
	return send(ctx, tx, b)
}

// recallCorrected puts the correction of a recalled record into the same reviews: the readings are still those of a device
// that was wrong.
func (db *DB) recallCorrected(b *pgx.Batch, site, original, correction uuid.UUID) {
	b.Queue(`INSERT INTO recall_record (site_id, entry_id, review_id, record_id, listed_at)
		SELECT site_id, gen_random_uuid(), review_id, @correction, @at FROM recall_record WHERE site_id = @site AND record_id = @original`,
		sqlArgs{"site": site, "original": original, "correction": correction, "at": db.Clock()})
}

// refuseRecalled refuses a correction that names a device for a time at which it is known to have been wrong.
func refuseRecalled(ctx context.Context, q querier, site uuid.UUID, device Instrument, at time.Time) error {
	number, err := value[string](ctx, q, `SELECT number FROM recall_review WHERE site_id = @site AND instrument_id = @device
		AND (suspect_from IS NULL OR suspect_from <= @at) AND suspect_to >= @at LIMIT 1`, sqlArgs{"site": site, "device": device.ID, "at": at})
	if errors.Is(err, ErrNotFound) {
		return nil
	}
	if err != nil {
		return err
	}
	return refuse(RuleGaugeFailed, fmt.Sprintf("%s was found wrong for that time, see recall %s. Measure again with another one.", device.Code, number))
}

// recalledEvidence says of a record r and a part t that the part is to be measured again: what the record says of it no
// longer counts.
const recalledEvidence = `coalesce((SELECT true FROM recall_record rr JOIN recall_decision rd ON rd.site_id = rr.site_id AND rd.review_id = rr.review_id
	WHERE rr.site_id = r.site_id AND rr.record_id = r.record_id AND rd.part_id = t.part_id AND rd.code = 're_measure' LIMIT 1), false)`
