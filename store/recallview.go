package store

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
)

// A Recall is the review of everything measured with a device that was found wrong.
type Recall struct {
	ID         uuid.UUID     `db:"review_id"`
	Number     string        `db:"number"`
	DeviceID   uuid.UUID     `db:"instrument_id"`
	Device     string        `db:"device"`
	Serial     string        `db:"maker_serial"`
	RecordID   uuid.NullUUID `db:"record_id"` // what found it wrong; null when it was marked by hand
	GoodID     uuid.NullUUID `db:"good_id"`   // the last good check before
	From       *time.Time    `db:"suspect_from"`
	To         time.Time     `db:"suspect_to"`
	Cause      string        `db:"cause"`
	HoldID     uuid.NullUUID `db:"hold_id"`
	Hold       string        `db:"hold"`
	OpenedBy   string        `db:"opened_by"`
	OpenedAt   time.Time     `db:"opened_at"`
	Records    int           `db:"records"`
	Parts      int           `db:"parts"`
	Undecided  int           `db:"undecided"`
	Out        int           `db:"out"` // parts that were released or gone when it was opened
	Conclusion string        `db:"conclusion"`
	ClosedBy   string        `db:"closed_by"`
	ClosedAt   *time.Time    `db:"closed_at"`
}

const recallSQL = `SELECT v.review_id, v.number, v.instrument_id, i.code AS device, i.maker_serial, v.record_id, v.good_id, v.suspect_from, v.suspect_to, v.cause,
	v.hold_id, coalesce(h.number, '') AS hold, p.name AS opened_by, v.opened_at,
	(SELECT count(*) FROM recall_record rr JOIN record r ON r.site_id = rr.site_id AND r.record_id = rr.record_id WHERE rr.site_id = v.site_id AND rr.review_id = v.review_id
		AND NOT EXISTS (SELECT 1 FROM recall_record o WHERE o.site_id = v.site_id AND o.review_id = v.review_id AND o.record_id = r.supersedes_id))::int AS records,
	(SELECT count(*) FROM recall_line l WHERE l.site_id = v.site_id AND l.review_id = v.review_id)::int AS parts,
	(SELECT count(*) FROM recall_line l WHERE l.site_id = v.site_id AND l.review_id = v.review_id AND NOT EXISTS
		(SELECT 1 FROM recall_decision d WHERE d.site_id = l.site_id AND d.review_id = l.review_id AND d.part_id = l.part_id))::int AS undecided,
	(SELECT count(*) FROM recall_line l WHERE l.site_id = v.site_id AND l.review_id = v.review_id AND l.release_id IS NOT NULL)::int AS out,
	coalesce(c.conclusion, '') AS conclusion, coalesce(cs.printed_name, '') AS closed_by, c.closed_at
	FROM recall_review v JOIN instrument i ON i.site_id = v.site_id AND i.instrument_id = v.instrument_id
	JOIN person p ON p.site_id = v.site_id AND p.person_id = v.opened_by
	LEFT JOIN hold h ON h.site_id = v.site_id AND h.hold_id = v.hold_id
	LEFT JOIN recall_closing c ON c.site_id = v.site_id AND c.review_id = v.review_id
	LEFT JOIN signature cs ON cs.site_id = c.site_id AND cs.signature_id = c.signature_id
	WHERE v.site_id = @site`

// Recalls returns the reviews of a site, the open ones first, then the newest.
func (db *DB) Recalls(ctx context.Context, site uuid.UUID) ([]Recall, error) {
	return list[Recall](ctx, db.pool, recallSQL+` ORDER BY c.closed_at IS NOT NULL, v.opened_at DESC LIMIT 200`, sqlArgs{"site": site})
}

// OpenRecalls returns the reviews that are not closed, the oldest first.
func (db *DB) OpenRecalls(ctx context.Context, site uuid.UUID) ([]Recall, error) {
	return list[Recall](ctx, db.pool, recallSQL+` AND c.closed_at IS NULL ORDER BY v.opened_at`, sqlArgs{"site": site})
}

// RecallsOf returns the reviews of a device, the newest first.
func (db *DB) RecallsOf(ctx context.Context, site, device uuid.UUID) ([]Recall, error) {
	return list[Recall](ctx, db.pool, recallSQL+` AND v.instrument_id = @device ORDER BY v.opened_at DESC`, sqlArgs{"site": site, "device": device})
}

// RecallByNumber returns one review.
func (db *DB) RecallByNumber(ctx context.Context, site uuid.UUID, number string) (Recall, error) {
	r, err := one[Recall](ctx, db.pool, recallSQL+` AND v.number = @number`, sqlArgs{"site": site, "number": number})
	if err != nil {
		return r, fmt.Errorf("recall %q: %w", number, err)
	}
	return r, nil
}

// A RecallLine is a part in a review: whose it is, where it was and is, and what was decided of it.
type RecallLine struct {
	PartID     uuid.UUID  `db:"part_id"`
	Serial     string     `db:"serial"`
	PartNumber string     `db:"part_number"`
	Job        string     `db:"job"`
	Customer   string     `db:"customer"`
	OrderRef   string     `db:"order_ref"`
	Status     string     `db:"status"` // when the review was opened
	Now        string     `db:"now"`
	Held       bool       `db:"held"`      // by the review
	HoldOpen   bool       `db:"hold_open"` // and still undecided
	ReleasedAt *time.Time `db:"released_at"`
	ReleasedBy string     `db:"released_by"`
	Papers
	Records   int        `db:"records"`
	Code      string     `db:"code"`
	Reason    string     `db:"reason"`
	DecidedBy string     `db:"decided_by"`
	DecidedAt *time.Time `db:"decided_at"`
}

const recallLineSQL = `SELECT l.part_id, p.serial, pn.code AS part_number, j.number AS job, j.customer, j.order_ref, l.status, ps.status AS now, l.held,
	EXISTS (SELECT 1 FROM hold_part hp WHERE hp.site_id = l.site_id AND hp.hold_id = v.hold_id AND hp.part_id = l.part_id AND hp.open) AS hold_open,
	rl.released_at, coalesce(rs.printed_name, '') AS released_by, ` + papersColumns + `,
	(SELECT count(*) FROM recall_record rr JOIN record r ON r.site_id = rr.site_id AND r.record_id = rr.record_id CROSS JOIN ` + partsOfRecord + `
		WHERE rr.site_id = l.site_id AND rr.review_id = l.review_id AND x.part_id = l.part_id)::int AS records,
	coalesce(d.code, '') AS code, coalesce(d.reason, '') AS reason, coalesce(ds.printed_name, '') AS decided_by, d.decided_at
	FROM recall_line l JOIN recall_review v ON v.site_id = l.site_id AND v.review_id = l.review_id
	JOIN part p ON p.site_id = l.site_id AND p.part_id = l.part_id
	JOIN part_number pn ON pn.site_id = p.site_id AND pn.part_number_id = p.part_number_id
	JOIN job j ON j.site_id = p.site_id AND j.job_id = p.job_id
	JOIN part_status ps ON ps.site_id = l.site_id AND ps.part_id = l.part_id` + papersOf + `
	LEFT JOIN release rl ON rl.site_id = l.site_id AND rl.release_id = l.release_id
	LEFT JOIN signature rs ON rs.site_id = rl.site_id AND rs.signature_id = rl.signature_id
	LEFT JOIN recall_decision d ON d.site_id = l.site_id AND d.review_id = l.review_id AND d.part_id = l.part_id
	LEFT JOIN signature ds ON ds.site_id = d.site_id AND ds.signature_id = d.signature_id
	WHERE l.site_id = @site AND l.review_id = @review`

// RecallLines returns the parts of a review by customer and serial, those that are out of the house first.
func (db *DB) RecallLines(ctx context.Context, site, review uuid.UUID) ([]RecallLine, error) {
	return list[RecallLine](ctx, db.pool, recallLineSQL+` ORDER BY l.release_id IS NULL, j.customer, p.serial`, sqlArgs{"site": site, "review": review})
}

// A RecallRecord is a record in a review; its part is empty when it is about a bath or another device.
type RecallRecord struct {
	RecordID   uuid.UUID    `db:"record_id"`
	Kind       quality.Kind `db:"kind"`
	Serial     string       `db:"serial"`
	Other      string       `db:"other"`
	ObservedAt time.Time    `db:"observed_at"`
	Person     string       `db:"person"`
	Verdict    string       `db:"verdict"`
}

// RecallRecords returns what was recorded with the device, one line for each part a record speaks for, by part and time.
func (db *DB) RecallRecords(ctx context.Context, site, review uuid.UUID) ([]RecallRecord, error) {
	return list[RecallRecord](ctx, db.pool, `SELECT r.record_id, r.kind, coalesce(p.serial, '') AS serial, coalesce(i.code, ba.code, ov.code, '') AS other, r.observed_at,
			pe.name AS person, r.verdict
		FROM recall_record rr JOIN record r ON r.site_id = rr.site_id AND r.record_id = rr.record_id
		JOIN person pe ON pe.site_id = r.site_id AND pe.person_id = r.person_id
		LEFT JOIN `+partsOfRecord+` ON true
		LEFT JOIN part p ON p.site_id = r.site_id AND p.part_id = x.part_id
		LEFT JOIN instrument i ON i.site_id = r.site_id AND i.instrument_id = r.instrument_id
		LEFT JOIN bath ba ON ba.site_id = r.site_id AND ba.bath_id = r.bath_id
		LEFT JOIN station ov ON ov.site_id = r.site_id AND ov.station_id = r.oven_id
		WHERE rr.site_id = @site AND rr.review_id = @review ORDER BY p.serial NULLS LAST, r.observed_at, r.record_id`, sqlArgs{"site": site, "review": review})
}

// A DeviceCheck is one verification or calibration of a device with the value of each point, as found and as left.
type DeviceCheck struct {
	RecordID     uuid.UUID       `db:"record_id"`
	Kind         quality.Kind    `db:"kind"`
	ObservedAt   time.Time       `db:"observed_at"`
	Person       string          `db:"person"`
	Verdict      quality.Verdict `db:"verdict"`
	Occasion     string          `db:"occasion"`
	Certificate  string          `db:"certificate"`
	SupersededBy uuid.NullUUID   `db:"superseded_by"`
	Points       []DevicePoint   `db:"-"`
}

// A DevicePoint is a reading at a known value. Values are in the unit in which the readings are stored.
type DevicePoint struct {
	RecordID uuid.UUID `db:"record_id"`
	Place    string    `db:"place"`
	Nominal  *float64  `db:"nominal"`
	Found    *float64  `db:"found"`
	Left     *float64  `db:"left"`
	FoundAs  string    `db:"found_as"` // the digits as entered
	LeftAs   string    `db:"left_as"`
	Unit     string    `db:"unit"`
	Flag     string    `db:"flag"`
}

// DeviceChecks returns the verifications and calibrations of a device, the newest first.
func (db *DB) DeviceChecks(ctx context.Context, site, device uuid.UUID, limit int) ([]DeviceCheck, error) {
	args := sqlArgs{"site": site, "device": device, "limit": limit}
	checks, err := list[DeviceCheck](ctx, db.pool, `SELECT r.record_id, r.kind, r.observed_at, p.name AS person, r.verdict,
			coalesce((SELECT ra.code FROM rating ra WHERE ra.site_id = r.site_id AND ra.record_id = r.record_id AND ra.characteristic = 'occasion' LIMIT 1), '') AS occasion,
			coalesce((SELECT ra.code FROM rating ra WHERE ra.site_id = r.site_id AND ra.record_id = r.record_id AND ra.characteristic = 'certificate' LIMIT 1), '') AS certificate,
			(SELECT s.record_id FROM record s WHERE s.site_id = r.site_id AND s.supersedes_id = r.record_id) AS superseded_by
		FROM record r JOIN person p ON p.site_id = r.site_id AND p.person_id = r.person_id
		WHERE r.site_id = @site AND r.instrument_id = @device AND r.kind IN ('verification', 'calibration') ORDER BY r.observed_at DESC, r.record_id DESC LIMIT @limit`, args)
	if err != nil || len(checks) == 0 {
		return checks, err
	}
	ids := make([]uuid.UUID, len(checks))
	at := map[uuid.UUID]int{}
	for i, c := range checks {
		ids[i], at[c.RecordID] = c.RecordID, i
	}
	points, err := list[DevicePoint](ctx, db.pool, `SELECT f.record_id, CASE WHEN f.characteristic = 'zero_reading' THEN 'bare plate' WHEN f.location <> '' THEN f.location ELSE 'point ' || f.spot END AS place,
			CASE WHEN f.characteristic = 'zero_reading' THEN 0 WHEN f.characteristic = 'shim_reading' THEN (SELECT s.nominal * CASE s.unit WHEN 'mil' THEN 25.4 ELSE 1 END FROM instrument s
				WHERE s.site_id = f.site_id AND s.code = f.location)
				ELSE (SELECT n.value FROM reading n WHERE n.site_id = f.site_id AND n.record_id = f.record_id AND n.spot = f.spot AND n.characteristic LIKE 'reference\_%' LIMIT 1) END AS nominal,
			f.value AS found, l.value AS left, f.value_text AS found_as, coalesce(l.value_text, '') AS left_as, f.unit, f.flag
		FROM reading f LEFT JOIN reading l ON l.site_id = f.site_id AND l.record_id = f.record_id AND l.location = f.location AND l.spot = f.spot
			AND l.characteristic = CASE f.characteristic WHEN 'zero_reading' THEN 'zero_as_left' WHEN 'shim_reading' THEN 'shim_as_left' ELSE 'left_' || substr(f.characteristic, 7) END
		WHERE f.site_id = @site AND f.record_id = ANY(@ids) AND (f.characteristic IN ('zero_reading', 'shim_reading') OR f.characteristic LIKE 'found\_%')
		ORDER BY f.record_id, f.seq`, sqlArgs{"site": site, "ids": ids})
	if err != nil {
		return nil, fmt.Errorf("readings of a device's checks: %w", err)
	}
	for _, p := range points {
		c := &checks[at[p.RecordID]]
		c.Points = append(c.Points, p)
	}
	return checks, nil
}
