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
)

// A Change is something of a shop day that a reviewer must have seen.
type Change struct {
	Kind string    `db:"kind"` // one of the constants below
	ID   uuid.UUID `db:"id"`
	At   time.Time `db:"at"`
	// Person did it; By authorised it, where that was somebody else.
	PersonID uuid.NullUUID `db:"person_id"`
	Person   string        `db:"person"`
	ByID     uuid.NullUUID `db:"by_id"`
	By       string        `db:"by_name"`
	// Record is the record it is about, if any; Subject is what that is about, in words.
	RecordID uuid.NullUUID `db:"record_id"`
	Subject  string        `db:"subject"`
	Detail   string        `db:"detail"`
}

// The kinds of changes.
const (
	ChangeCorrection  = "correction"
	ChangeVoid        = "void"
	ChangeLate        = "late"
	ChangeException   = "exception"
	ChangeClock       = "clock"
	ChangeGauge       = "gauge"
	ChangeUnlocked    = "unlocked"
	ChangeSpec        = "spec"
	ChangeReleaseVoid = "release_void"
	ChangeKey         = "seal_key"
)

func (c Change) key() string { return c.Kind + " " + c.ID.String() }

func changeKeys(changes []Change) []string {
	keys := make([]string, len(changes))
	for i, c := range changes {
		keys[i] = c.key()
	}
	return keys
}

// selectChanges finds what was changed, voided, entered late, authorised or out of order among what was recorded from begins
// up to and not including ends: in the records first, then in the events.
const selectChanges = `
	WITH changed AS (
		SELECT v.kind AS change, v.id, v.by_id, v.detail, r.* FROM record r CROSS JOIN LATERAL (
			SELECT CASE r.verdict WHEN 'void' THEN 'void' ELSE 'correction' END, r.record_id, NULL::uuid, r.reason WHERE r.supersedes_id IS NOT NULL
			UNION ALL SELECT 'late', r.record_id, NULL, r.late_reason WHERE r.late_reason <> ''
			UNION ALL SELECT 'clock', r.record_id, NULL, (r.clock_offset_ms / 1000)::text WHERE abs(r.clock_offset_ms) > @clock_ms
			UNION ALL SELECT 'gauge', r.record_id, NULL, r.rule WHERE r.kind IN ('verification', 'calibration') AND r.verdict = 'fail'
			UNION ALL SELECT 'exception', o.override_id, s.person_id, o.sentence || ' Reason: ' || o.reason FROM override o
				JOIN signature s ON s.site_id = o.site_id AND s.signature_id = o.signature_id WHERE o.site_id = r.site_id AND o.record_id = r.record_id
		) v (kind, id, by_id, detail)
		WHERE r.site_id = @site AND r.recorded_at >= @begins AND r.recorded_at < @ends)
	SELECT r.change AS kind, r.id, r.recorded_at AS at, r.person_id, coalesce(pe.name, '') AS person, r.by_id, coalesce(au.name, '') AS by_name, r.record_id,
		replace(r.kind, '_', ' ') || ' of ' || ` + subjectOf + ` AS subject, r.detail
	FROM changed r LEFT JOIN person pe ON pe.site_id = r.site_id AND pe.person_id = r.person_id LEFT JOIN person au ON au.site_id = r.site_id AND au.person_id = r.by_id ` + subjectJoins + `
	UNION ALL
	SELECT CASE e.verb WHEN 'person unlocked' THEN 'unlocked' WHEN 'release void' THEN 'release_void' WHEN 'seal key registered' THEN 'seal_key' ELSE 'spec' END, e.event_id, e.at, e.person_id, coalesce(pe.name, ''), NULL, '', NULL,
		coalesce('part ' || pa.serial, f.code || coalesce(' revision ' || (e.after ->> 'Revision'), ''), su.name, e.subject_kind), CASE e.reason WHEN '' THEN e.verb ELSE e.verb || ': ' || e.reason END
	FROM event e LEFT JOIN person pe ON pe.site_id = e.site_id AND pe.person_id = e.person_id
	LEFT JOIN part pa ON pa.site_id = e.site_id AND pa.part_id = e.subject_id
	LEFT JOIN finish_spec f ON f.site_id = e.site_id AND f.spec_id = e.subject_id
	LEFT JOIN person su ON su.site_id = e.site_id AND su.person_id = e.subject_id
	WHERE e.site_id = @site AND e.at >= @begins AND e.at < @ends
	AND e.verb IN ('person unlocked', 'release void', 'seal key registered', 'spec approved', 'spec withdrawn')
	ORDER BY at, id, kind`

func dayChanges(ctx context.Context, q querier, st Site, begins, ends time.Time) ([]Change, error) {
	changes, err := list[Change](ctx, q, selectChanges, sqlArgs{"site": st.ID, "begins": begins, "ends": ends, "clock_ms": int64(st.ClockLimitSeconds) * 1000})
	if err != nil {
		return nil, fmt.Errorf("changes of a day: %w", err)
	}
	return changes, nil
}

// A DayReview is one sealed day and its review; By is zero while nobody has reviewed it.
type DayReview struct {
	signed
	Number     int64      `db:"number"`
	ShopDay    time.Time  `db:"shop_day"`
	Begins     time.Time  `db:"begins"`
	Ends       time.Time  `db:"ends"`
	SealedAt   time.Time  `db:"sealed_at"`
	Leaves     int64      `db:"leaves"`
	Head       string     `db:"head"`
	KeyID      string     `db:"key_id"`
	By         uuid.UUID  `db:"reviewed_by"`
	Reviewer   string     `db:"printed_name"`
	ReviewedAt *time.Time `db:"reviewed_at"`
	Listed     []string   `db:"listed"`
	Note       string     `db:"note"`
}

// Reviewed reports whether somebody has signed the review.
func (r DayReview) Reviewed() bool { return r.ReviewedAt != nil }

const (
	reviewColumns = `SELECT 'The review of ' || l.shop_day AS what, coalesce(r.review_id, '00000000-0000-0000-0000-000000000000') AS id, ` + signatureColumns + `,
		l.number, l.shop_day, l.begins, l.ends, l.sealed_at, l.leaves, encode(l.head, 'hex') AS head, l.key_id,
		coalesce(r.reviewed_by, '00000000-0000-0000-0000-000000000000') AS reviewed_by, coalesce(s.printed_name, '') AS printed_name, r.reviewed_at,
		coalesce(r.listed, '{}') AS listed, coalesce(r.note, '') AS note `
	reviewSignature = ` LEFT JOIN signature s ON s.site_id = r.site_id AND s.signature_id = r.signature_id WHERE l.site_id = @site `
	selectReview    = reviewColumns + `FROM day_review r JOIN seal l ON l.site_id = r.site_id AND l.number = r.number` + reviewSignature
	selectDay       = reviewColumns + `FROM seal l LEFT JOIN day_review r ON r.site_id = l.site_id AND r.number = l.number` + reviewSignature
)

// SealedDays returns the last sealed days, newest first, with their reviews.
func (db *DB) SealedDays(ctx context.Context, site uuid.UUID, limit int) ([]DayReview, error) {
	return list[DayReview](ctx, db.pool, selectDay+`ORDER BY l.number DESC LIMIT @limit`, sqlArgs{"site": site, "limit": limit})
}

// A ReviewedDay is a shop day with what changed on it.
type ReviewedDay struct {
	DayReview
	// Sealed is false for a day that is not sealed yet: what changed may still grow.
	Sealed  bool
	Changes []Change
}

// MadeBy reports whether a person made or authorised one of the changes.
func (d ReviewedDay) MadeBy(person uuid.UUID) bool {
	return slices.ContainsFunc(d.Changes, func(c Change) bool { return c.PersonID.UUID == person || c.ByID.UUID == person })
}

// ReviewOf returns a shop day with its changes. A day that is not sealed yet is shown from the last seal to its own close;
// one without a seal that is over was empty, or its hours went into the seal after it.
func (db *DB) ReviewOf(ctx context.Context, st Site, day time.Time) (ReviewedDay, error) {
	return reviewOf(ctx, db.pool, st, day)
}

func reviewOf(ctx context.Context, q querier, st Site, day time.Time) (d ReviewedDay, err error) {
	d.DayReview, err = one[DayReview](ctx, q, selectDay+`AND l.shop_day = @day`, sqlArgs{"site": st.ID, "day": day})
	switch {
	case err == nil:
		d.Sealed = true
	case errors.Is(err, ErrNotFound):
		d.ShopDay, d.Begins, d.Ends = day, st.DayBegins(day), st.DayBegins(day.AddDate(0, 0, 1))
	default:
		return d, fmt.Errorf("review of %s: %w", day.Format(time.DateOnly), err)
	}
	d.Changes, err = dayChanges(ctx, q, st, d.Begins, d.Ends)
	return d, err
}

// SignReview signs the review of a sealed day: a supervisor or an engineer has seen what changed. Who made or authorised one
// of the changes cannot.
func (db *DB) SignReview(ctx context.Context, a Actor, day time.Time, note string, proof Proof) error {
	if !a.Has(Supervisor, Engineer) {
		return refuse(RuleNoRight, "A supervisor or an engineer reviews the day.")
	}
	return db.inTx(ctx, a.Site, func(tx querier) error {
		st, err := site(ctx, tx, a.Site)
		if err != nil {
			return err
		}
		d, err := reviewOf(ctx, tx, st, day)
		switch {
		case err != nil:
			return err
		case !d.Sealed:
			return refuse(RuleNotSealed, "This day is not sealed yet, so it may still change. It is sealed by itself ten minutes after it closes.")
		case d.Reviewed():
			return refuse("day_review_once", fmt.Sprintf("%s has reviewed this day already.", d.Reviewer))
		case d.MadeBy(a.Person):
			return refuse(RuleOwnChanges, "You made or authorised one of these changes. Another supervisor or engineer reviews this day.")
		}
		note, keys := strings.TrimSpace(note), changeKeys(d.Changes)
		b := &pgx.Batch{}
		signature, err := db.sign(b, a, proof, "reviewed", ReviewStatement(d), reviewContent(d.Number, d.Head, keys, note))
		if err != nil {
			return err
		}
		b.Queue(`INSERT INTO day_review (site_id, review_id, number, signature_id, reviewed_by, reviewed_at, listed, note)
			VALUES (@site, @id, @number, @signature, @by, @at, @listed, @note)`, sqlArgs{"site": a.Site, "id": NewID(), "number": d.Number,
			"signature": signature, "by": a.Person, "at": db.Clock(), "listed": keys, "note": note})
		if err := db.queueEvent(b, a, Event{Verb: "day reviewed", SubjectKind: "day", After: map[string]any{"seal": d.Number,
			"day": day.Format(time.DateOnly), "changes": len(keys)}, Reason: note}); err != nil {
			return err
		}
		return send(ctx, tx, b)
	})
}

// ReviewStatement is the sentence that the reviewer of a day signs.
func ReviewStatement(d ReviewedDay) string {
	return fmt.Sprintf("Reviewed the %d changes of %s, seal %d.", len(d.Changes), d.ShopDay.Format("Monday 2 January 2006"), d.Number)
}

// Unattended is what of seals and reviews waits for somebody.
type Unattended struct {
	// Days is how many sealed days nobody has reviewed, Oldest the first of them.
	Days   int
	Oldest time.Time
	// Unsealed is the first day that should be sealed and is not, zero when there is none.
	Unsealed time.Time
}

// WaitingReviews returns what waits: a sealed day for its review, a closed one for its seal.
func (db *DB) WaitingReviews(ctx context.Context, site uuid.UUID) (u Unattended, err error) {
	type row struct {
		Days   int        `db:"days"`
		Oldest *time.Time `db:"oldest"`
	}
	r, err := one[row](ctx, db.pool, `SELECT count(*) AS days, min(shop_day) AS oldest FROM seal l WHERE site_id = @site
		AND NOT EXISTS (SELECT 1 FROM day_review v WHERE v.site_id = l.site_id AND v.number = l.number)`, sqlArgs{"site": site})
	if err != nil {
		return u, fmt.Errorf("days to review: %w", err)
	}
	u.Days = r.Days
	if r.Oldest != nil {
		u.Oldest = *r.Oldest
	}
	// The sealer comes round every few minutes; an hour later it does not run, or has no key.
	s, due, err := db.At(db.Clock().Add(-time.Hour)).nextSeal(ctx, db.pool, site)
	if due {
		u.Unsealed = s.ShopDay
	}
	return u, err
}
