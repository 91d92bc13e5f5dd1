package store

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
)

// A PartRow is a part as lists show it.
type PartRow struct {
	ID         uuid.UUID     `db:"part_id"`
	Serial     string        `db:"serial"`
	JobNumber  string        `db:"job_number"`
	Customer   string        `db:"customer"`
	PartNumber string        `db:"part_number"`
	PartName   string        `db:"part_name"`
	Status     string        `db:"status"`
	NextKind   quality.Kind  `db:"next_kind"`
	Cycle      int           `db:"cycle"`
	Round      int           `db:"round"`
	RackID     uuid.NullUUID `db:"rack_id"`
	Rack       string        `db:"rack"`
	Load       string        `db:"load"`
	Concession bool          `db:"concession"`
	ReceivedAt time.Time     `db:"received_at"`
	ChangedAt  time.Time     `db:"changed_at"`
}

// partRowSQL lists parts; callers add conditions on p, ps, pn, j, rk, ol.
const partRowSQL = `SELECT p.part_id, p.serial, j.number AS job_number, j.customer, pn.code AS part_number, pn.name AS part_name, ps.status, ps.next_kind,
		ps.cycle, ps.round, ps.rack_id, coalesce(rk.number, '') AS rack, coalesce(ol.number, '') AS load, ps.concession, p.received_at, ps.changed_at
	FROM part p
	JOIN part_status ps ON ps.site_id = p.site_id AND ps.part_id = p.part_id
	JOIN part_number pn ON pn.site_id = p.site_id AND pn.part_number_id = p.part_number_id
	JOIN job j ON j.site_id = p.site_id AND j.job_id = p.job_id
	LEFT JOIN rack_part rp ON rp.site_id = p.site_id AND rp.part_id = p.part_id AND rp.cycle = ps.cycle
	LEFT JOIN rack rk ON rk.site_id = rp.site_id AND rk.rack_id = rp.rack_id
	LEFT JOIN load_rack lr ON lr.site_id = rp.site_id AND lr.rack_id = rp.rack_id
	LEFT JOIN oven_load ol ON ol.site_id = lr.site_id AND ol.load_id = lr.load_id
	WHERE p.site_id = @site`

// A Part is one part with what its page needs besides its story.
type Part struct {
	PartRow
	OrderRef     string
	PartNumberID uuid.UUID
	SpecID       uuid.UUID
	Alloy        string
	WallMM       float64
	Welds        int
	Sketch       string
}

// PartBySerial returns a part by its hangtag, or ErrNotFound.
func (db *DB) PartBySerial(ctx context.Context, site uuid.UUID, serial string) (Part, error) {
	row, err := one[PartRow](ctx, db.pool, partRowSQL+` AND p.serial = @serial`, sqlArgs{"site": site, "serial": serial})
	if err != nil {
		return Part{}, fmt.Errorf("part %q: %w", serial, err)
	}
	type more struct {
		OrderRef     string    `db:"order_ref"`
		PartNumberID uuid.UUID `db:"part_number_id"`
		SpecID       uuid.UUID `db:"spec_id"`
		Alloy        string    `db:"alloy"`
		WallMM       float64   `db:"wall_mm"`
		Welds        int       `db:"welds"`
		Sketch       string    `db:"sketch"`
	}
	m, err := one[more](ctx, db.pool, `SELECT j.order_ref, p.part_number_id, pn.spec_id, pn.alloy, pn.wall_mm, pn.welds, pn.sketch
		FROM part p JOIN job j ON j.site_id = p.site_id AND j.job_id = p.job_id
		JOIN part_number pn ON pn.site_id = p.site_id AND pn.part_number_id = p.part_number_id
		WHERE p.site_id = @site AND p.part_id = @part`, sqlArgs{"site": site, "part": row.ID})
	return Part{row, m.OrderRef, m.PartNumberID, m.SpecID, m.Alloy, m.WallMM, m.Welds, m.Sketch}, err
}

// PartsDue returns up to limit parts in house whose next record is one of the kinds, the longest waiting first.
func (db *DB) PartsDue(ctx context.Context, site uuid.UUID, kinds []quality.Kind, limit int) ([]PartRow, error) {
	names := make([]string, len(kinds))
	for i, k := range kinds {
		names[i] = string(k)
	}
	return list[PartRow](ctx, db.pool, partRowSQL+` AND ps.status IN ('open', 'in_progress') AND ps.next_kind = ANY(@kinds)
		ORDER BY ps.changed_at, p.serial LIMIT @limit`, sqlArgs{"site": site, "kinds": names, "limit": limit})
}

// PartsOf returns the parts of a rack or load, by serial. They are found first (ARRAY), so that no plan reads all parts to join them.
func (db *DB) PartsOf(ctx context.Context, site uuid.UUID, s Subject) ([]PartRow, error) {
	switch s.Kind {
	case quality.OnRack:
		return list[PartRow](ctx, db.pool, partRowSQL+` AND p.part_id = ANY(ARRAY(SELECT part_id FROM rack_part WHERE site_id = @site AND rack_id = @id)) ORDER BY p.serial`,
			sqlArgs{"site": site, "id": s.ID})
	case quality.OnLoad:
		return list[PartRow](ctx, db.pool, partRowSQL+` AND p.part_id = ANY(ARRAY(SELECT x.part_id FROM load_rack y JOIN rack_part x ON x.site_id = y.site_id AND x.rack_id = y.rack_id
			WHERE y.site_id = @site AND y.load_id = @id)) ORDER BY p.serial`, sqlArgs{"site": site, "id": s.ID})
	case quality.OnPanel:
		return list[PartRow](ctx, db.pool, partRowSQL+` AND p.part_id = ANY(ARRAY(SELECT x.part_id FROM load_rack y JOIN rack_part x ON x.site_id = y.site_id AND x.rack_id = y.rack_id
			WHERE y.site_id = @site AND y.load_id = `+loadOfPanel+`)) ORDER BY p.serial`, sqlArgs{"site": site, "id": s.ID})
	}
	return list[PartRow](ctx, db.pool, partRowSQL+` AND p.part_id = @id`, sqlArgs{"site": site, "id": s.ID})
}

// GateOf returns where a part stands: each requirement of the spec in force, and the spec's code and revision.
func (db *DB) GateOf(ctx context.Context, site, part uuid.UUID) (items []quality.Item, rev SpecHead, err error) {
	all, err := db.standings(ctx, db.pool, site, []uuid.UUID{part})
	if err != nil {
		return nil, rev, err
	}
	if len(all) == 0 {
		return nil, rev, ErrNotFound
	}
	rev, spec, err := db.approvedSpec(ctx, db.pool, site, all[0].SpecID, db.Clock())
	if _, refused := err.(*Refusal); err != nil && !refused {
		return nil, rev, err
	}
	return all[0].gate(spec), rev, nil
}

// A StoryLine is one entry of a part's story: a record, hold, disposition, release, exception, shipment, return or certificate.
type StoryLine struct {
	At         time.Time     `db:"at"`
	OffsetS    int           `db:"utc_offset_s"`
	Cycle      int           `db:"cycle"`
	Round      int           `db:"round"`
	What       string        `db:"what"` // a record kind, or hold, disposition, release, override, shipment, return, certificate
	RecordID   uuid.NullUUID `db:"record_id"`
	Number     string        `db:"number"` // hold, rack or load number
	Verdict    string        `db:"verdict"`
	Rule       string        `db:"rule"`
	Sentence   string        `db:"sentence"`
	Person     string        `db:"person"`
	Station    string        `db:"station"`
	Spec       string        `db:"spec"`
	Reason     string        `db:"reason"`
	Superseded bool          `db:"superseded"`
	Late       string        `db:"late"`
	// Later is the record that took the place of this one, or whose correction made this release's signature void; LaterBy,
	// LaterAt, LaterCode and LaterWhy say who did it, when and why.
	Later     uuid.NullUUID `db:"later_id"`
	LaterBy   string        `db:"later_by"`
	LaterAt   *time.Time    `db:"later_at"`
	LaterCode string        `db:"later_code"`
	LaterWhy  string        `db:"later_why"`
	// Before is the record that this one corrects, with the reason and the signature.
	Before   uuid.NullUUID `db:"before_id"`
	Code     string        `db:"reason_code"`
	Why      string        `db:"correction_reason"`
	Signer   string        `db:"signer"`
	SignedAt *time.Time    `db:"signed_at"`
}

// Story returns everything about a part in the order it happened: what was recorded on it, on its racks and its loads, what
// was decided, and its release.
func (db *DB) Story(ctx context.Context, site, part uuid.UUID) ([]StoryLine, error) {
	return list[StoryLine](ctx, db.pool, `
		WITH line AS (WITH mine AS (
			SELECT r.*, r.cycle AS in_cycle, '' AS number FROM record r WHERE r.site_id = @site AND r.part_id = @part
			UNION ALL
			SELECT r.*, rp.cycle, rk.number FROM rack_part rp JOIN record r ON r.site_id = rp.site_id AND r.rack_id = rp.rack_id
				JOIN rack rk ON rk.site_id = rp.site_id AND rk.rack_id = rp.rack_id WHERE rp.site_id = @site AND rp.part_id = @part
			UNION ALL
			SELECT r.*, rp.cycle, ol.number FROM rack_part rp JOIN load_rack lr ON lr.site_id = rp.site_id AND lr.rack_id = rp.rack_id
				JOIN record r ON r.site_id = lr.site_id AND r.load_id = lr.load_id
				JOIN oven_load ol ON ol.site_id = lr.site_id AND ol.load_id = lr.load_id WHERE rp.site_id = @site AND rp.part_id = @part
			UNION ALL
			SELECT r.*, rp.cycle, 'panel ' || pl.code FROM rack_part rp JOIN load_rack t ON t.site_id = rp.site_id AND t.rack_id = rp.rack_id
				JOIN `+panelsOfLoad+` ON true JOIN record r ON r.site_id = rp.site_id AND r.panel_id = pl.panel_id WHERE rp.site_id = @site AND rp.part_id = @part)
		SELECT m.observed_at AS at, m.utc_offset_s, m.in_cycle AS cycle, m.round, m.kind AS what, m.record_id, m.number, m.verdict, m.rule,
			coalesce((SELECT f.sentence FROM finding f WHERE f.site_id = m.site_id AND f.record_id = m.record_id ORDER BY f.seq LIMIT 1), '') AS sentence,
			p.name AS person, coalesce(st.name, '') AS station, coalesce(fs.code || ' rev ' || sr.revision, '') AS spec, m.note AS reason,
			EXISTS (SELECT 1 FROM record s WHERE s.site_id = m.site_id AND s.supersedes_id = m.record_id) AS superseded, m.late_reason AS late,
			(SELECT s.record_id FROM record s WHERE s.site_id = m.site_id AND s.supersedes_id = m.record_id) AS later_id,
			m.supersedes_id AS before_id, m.reason_code, m.reason AS correction_reason, m.signature_id
		FROM mine m JOIN person p ON p.site_id = m.site_id AND p.person_id = m.person_id
		LEFT JOIN station st ON st.site_id = m.site_id AND st.station_id = m.station_id
		LEFT JOIN finish_spec_revision sr ON sr.site_id = m.site_id AND sr.revision_id = m.spec_revision_id
		LEFT JOIN finish_spec fs ON fs.site_id = sr.site_id AND fs.spec_id = sr.spec_id
		UNION ALL
		SELECT h.opened_at, 0, hp.cycle, 0, 'hold', h.record_id, h.number, '', h.requirement, h.cause, p.name, '', '', '', false, '', NULL, NULL, '', '', NULL
		FROM hold_part hp JOIN hold h ON h.site_id = hp.site_id AND h.hold_id = hp.hold_id
		JOIN person p ON p.site_id = h.site_id AND p.person_id = h.opened_by WHERE hp.site_id = @site AND hp.part_id = @part
		UNION ALL
		SELECT d.decided_at, 0, hp.cycle, 0, 'disposition', NULL, h.number, d.code, '', sg.statement, sg.printed_name, '', '',
			d.reason || CASE WHEN d.concession_ref <> '' THEN ' · concession ' || d.concession_ref || coalesce(' until ' || d.concession_ends, '') ELSE '' END, false, '', NULL, NULL, '', '', NULL
		FROM disposition d JOIN hold h ON h.site_id = d.site_id AND h.hold_id = d.hold_id
		JOIN hold_part hp ON hp.site_id = d.site_id AND hp.hold_id = d.hold_id AND hp.part_id = d.part_id
		JOIN signature sg ON sg.site_id = d.site_id AND sg.signature_id = d.signature_id WHERE d.site_id = @site AND d.part_id = @part
		UNION ALL
		SELECT rl.released_at, 0, rl.cycle, 0, 'release', NULL, '', 'released', '', sg.statement, sg.printed_name, '', '', '',
			EXISTS (SELECT 1 FROM release_void v WHERE v.site_id = rl.site_id AND v.release_id = rl.release_id), '',
			(SELECT v.record_id FROM release_void v WHERE v.site_id = rl.site_id AND v.release_id = rl.release_id), NULL, '', '', NULL
		FROM release rl JOIN signature sg ON sg.site_id = rl.site_id AND sg.signature_id = rl.signature_id WHERE rl.site_id = @site AND rl.part_id = @part
		UNION ALL
		SELECT s.shipped_at, 0, rl.cycle, 0, 'shipment', NULL, s.number, 'shipped', '', 'to ' || s.customer || ', delivery note ' || s.delivery_note || ', order ' || s.order_ref
			|| CASE WHEN s.carrier <> '' THEN ', by ' || s.carrier ELSE '' END, pe.name, '', '', '', false, '', NULL, NULL, '', '', NULL
		FROM shipment_part sp JOIN shipment s ON s.site_id = sp.site_id AND s.shipment_id = sp.shipment_id JOIN release rl ON rl.site_id = sp.site_id AND rl.release_id = sp.release_id
		JOIN person pe ON pe.site_id = s.site_id AND pe.person_id = s.shipped_by WHERE sp.site_id = @site AND sp.part_id = @part
		UNION ALL
		SELECT b.taken_at, 0, rl.cycle, 0, 'return', NULL, s.number, 'performed', '', sg.statement, sg.printed_name, '', '', b.reason, false, '', NULL, NULL, '', '', NULL
		FROM shipment_return b JOIN shipment_part sp ON sp.site_id = b.site_id AND sp.shipment_id = b.shipment_id AND sp.part_id = b.part_id
		JOIN shipment s ON s.site_id = b.site_id AND s.shipment_id = b.shipment_id JOIN release rl ON rl.site_id = sp.site_id AND rl.release_id = sp.release_id
		JOIN signature sg ON sg.site_id = b.site_id AND sg.signature_id = b.signature_id WHERE b.site_id = @site AND b.part_id = @part
		UNION ALL
		SELECT c.signed_at, 0, rl.cycle, 0, 'certificate', NULL, c.number, 'approved', '', sg.statement, sg.printed_name, '', '', '',
			NOT (`+notReplaced+`), '', NULL, NULL, '', '', NULL
		FROM certificate_part cp JOIN certificate c ON c.site_id = cp.site_id AND c.certificate_id = cp.certificate_id JOIN release rl ON rl.site_id = cp.site_id AND rl.release_id = cp.release_id
		JOIN signature sg ON sg.site_id = c.site_id AND sg.signature_id = c.signature_id WHERE cp.site_id = @site AND cp.part_id = @part
		UNION ALL
		SELECT sg.signed_at, 0, m.in_cycle, m.round, 'override', o.record_id, '', '', o.rule, o.sentence, sg.printed_name, '', '', o.reason, false, '',
			(SELECT s.record_id FROM record s WHERE s.site_id = m.site_id AND s.supersedes_id = m.record_id), NULL, '', '', NULL
		FROM mine m JOIN override o ON o.site_id = m.site_id AND o.record_id = m.record_id
		JOIN signature sg ON sg.site_id = o.site_id AND sg.signature_id = o.signature_id
		UNION ALL
		SELECT sg.signed_at, 0, m.in_cycle, m.round, 'confirmation', cf.record_id, '', cf.outcome, '', sg.statement, sg.printed_name, '', '', cf.reason, false, '', NULL, NULL, '', '', NULL
		FROM mine m JOIN confirmation cf ON cf.site_id = m.site_id AND cf.record_id = m.record_id
		JOIN signature sg ON sg.site_id = cf.site_id AND sg.signature_id = cf.signature_id
		UNION ALL
		SELECT sg.signed_at, 0, m.in_cycle, m.round, 'confirmation', d.record_id, '', 'declined', '', sg.statement, sg.printed_name, '', '', d.reason, false, '', NULL, NULL, '', '', NULL
		FROM mine m JOIN (SELECT site_id, record_id, reason, signature_id FROM first_article_decline UNION ALL SELECT d.site_id, d.record_id, v.reason, v.signature_id
			FROM first_article_decline d JOIN first_article_decline_void v ON v.site_id = d.site_id AND v.decline_id = d.decline_id) d ON d.site_id = m.site_id AND d.record_id = m.record_id
		JOIN signature sg ON sg.site_id = d.site_id AND sg.signature_id = d.signature_id)
		SELECT line.at, line.utc_offset_s, line.cycle, line.round, line.what, line.record_id, line.number, line.verdict, line.rule, line.sentence, line.person,
			line.station, line.spec, line.reason, line.superseded, line.late, line.later_id, coalesce(lp.name, '') AS later_by, l.recorded_at AS later_at,
			coalesce(l.reason_code, '') AS later_code, coalesce(l.reason, '') AS later_why, line.before_id, line.reason_code, line.correction_reason,
			coalesce(sg.printed_name, '') AS signer, sg.signed_at
		FROM line LEFT JOIN record l ON l.site_id = @site AND l.record_id = line.later_id
		LEFT JOIN person lp ON lp.site_id = l.site_id AND lp.person_id = l.person_id
		LEFT JOIN signature sg ON sg.site_id = @site AND sg.signature_id = line.signature_id
		ORDER BY line.at, line.what, line.before_id IS NOT NULL, line.later_id IS NULL, line.record_id`, sqlArgs{"site": site, "part": part})
}

// A UseLine is one thing that went into a record, with its name.
type UseLine struct {
	RecordID uuid.UUID `db:"record_id"`
	Role     string    `db:"role"`
	Name     string    `db:"name"`
	// Detail is what stands beside the name: the powder's product, the time of the gauge's verification.
	Detail string `db:"detail"`
	// Vouched is the record that vouches for it: the verification of a gauge, the last reading of a bath.
	Vouched uuid.NullUUID `db:"vouched"`
}

// UsesOf returns what went into the given records.
func (db *DB) UsesOf(ctx context.Context, site uuid.UUID, records []uuid.UUID) ([]UseLine, error) {
	return list[UseLine](ctx, db.pool, `SELECT u.record_id, u.role, coalesce(i.code, l.lot_number, pe.name, st.name, b.name, pa.serial, '') AS name,
			coalesce(pw.code, to_char(v.observed_at, 'YYYY-MM-DD"T"HH24:MI:SS"Z"'), '') AS detail, u.verification_id AS vouched
		FROM record_use u
		LEFT JOIN instrument i ON i.site_id = u.site_id AND i.instrument_id = u.instrument_id
		LEFT JOIN material_lot l ON l.site_id = u.site_id AND l.lot_id = u.lot_id
		LEFT JOIN material pw ON pw.site_id = l.site_id AND pw.material_id = l.material_id
		LEFT JOIN person pe ON pe.site_id = u.site_id AND pe.person_id = u.person_id
		LEFT JOIN station st ON st.site_id = u.site_id AND st.station_id = u.station_id
		LEFT JOIN bath b ON b.site_id = u.site_id AND b.bath_id = u.bath_id
		LEFT JOIN part pa ON pa.site_id = u.site_id AND pa.part_id = u.part_id
		LEFT JOIN record v ON v.site_id = u.site_id AND v.record_id = u.verification_id
		WHERE u.site_id = @site AND u.record_id = ANY(@records) ORDER BY u.record_id, u.seq`, sqlArgs{"site": site, "records": records})
}

// A Scanned is what a scanned or typed code turned out to be.
type Scanned struct {
	Kind string // part, rack, load, gauge, lot, certificate, shipment
	Code string // as it stands in its address
}

// Scan finds what a code names: a part by serial, an open rack by tag or a rack by number, an oven load, a gauge, a powder
// lot. ErrNotFound if nothing of the site has it.
func (db *DB) Scan(ctx context.Context, site uuid.UUID, code string) (Scanned, error) {
	type row struct {
		Kind string `db:"kind"`
		Code string `db:"code"`
	}
	r, err := one[row](ctx, db.pool, `SELECT kind, code FROM (
			SELECT 1 AS rank, 'part' AS kind, serial AS code FROM part WHERE site_id = @site AND serial = @code
			UNION ALL SELECT 2, 'rack', number FROM rack WHERE site_id = @site AND (number = @code OR tag = upper(@code) AND unloaded_at IS NULL)
			UNION ALL SELECT 3, 'load', number FROM oven_load WHERE site_id = @site AND number = @code
			UNION ALL SELECT 4, 'gauge', code FROM instrument WHERE site_id = @site AND code = upper(@code)
			UNION ALL SELECT 5, 'lot', lot_number FROM material_lot WHERE site_id = @site AND lot_number = @code
			UNION ALL SELECT 6, 'panel', code FROM panel WHERE site_id = @site AND code = upper(@code)
			UNION ALL SELECT 7, 'certificate', number FROM certificate WHERE site_id = @site AND number = upper(@code)
			UNION ALL SELECT 8, 'shipment', number FROM shipment WHERE site_id = @site AND (number = upper(@code) OR delivery_note = @code)) AS found
		ORDER BY rank LIMIT 1`, sqlArgs{"site": site, "code": code})
	return Scanned(r), err
}
