package store

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"coatbook/quality"
)

// The statuses of a part. The server computes them from the records; nobody sets them.
const (
	StatusOpen            = "open"
	StatusInProgress      = "in_progress"
	StatusOnHold          = "on_hold"
	StatusAccepted        = "accepted"
	StatusUnderConcession = "under_concession"
	StatusReleased        = "released"
	StatusShipped         = "shipped"
	StatusScrapped        = "scrapped"
	StatusReturned        = "returned"
	StatusRegraded        = "regraded"
)

// finished statuses are ends: no further record is taken.
var finished = map[string]bool{StatusReleased: true, StatusShipped: true, StatusScrapped: true, StatusReturned: true, StatusRegraded: true}

// Finished reports whether a status is an end, after which no work is done on the part.
func Finished(status string) bool { return finished[status] }

// dispositionEnds maps the dispositions that end a part's way to its status.
var dispositionEnds = map[string]string{"scrap": StatusScrapped, "return": StatusReturned, "regrade": StatusRegraded}

// A standing is all that decides where one part stands.
type standing struct {
	PartID         uuid.UUID     `db:"part_id"`
	Serial         string        `db:"serial"`
	Cycle          int           `db:"cycle"`
	Round          int           `db:"round"`
	RoundStartedAt time.Time     `db:"round_started_at"`
	Status         string        `db:"status"`
	SpecID         uuid.UUID     `db:"spec_id"`
	PartNumberID   uuid.UUID     `db:"part_number_id"`
	Alloy          string        `db:"alloy"`
	WallMM         float64       `db:"wall_mm"`
	Welds          int           `db:"welds"`
	RackID         uuid.NullUUID `db:"rack_id"`
	LoadID         uuid.NullUUID `db:"load_id"`
	OpenHolds      int           `db:"open_holds"`
	Released       bool          `db:"released"`
	Shipped        bool          `db:"shipped"`
	FinalCode      string        `db:"final_code"`

	evidence []quality.Evidence
	places   []placeRow // in inspection lots of this cycle
	before   string     // status before the change
}

// standingSQL asks of each part what decides its status. A question with LIMIT 1 is put part by part, where for EXISTS the planner
// may read all that was ever released or shipped.
const standingSQL = `
	SELECT ps.part_id, p.serial, ps.cycle, ps.round, ps.round_started_at, ps.status, pn.spec_id, p.part_number_id, pn.alloy, pn.wall_mm, pn.welds,
		rp.rack_id, lr.load_id,
		(SELECT count(*) FROM hold_part hp WHERE hp.site_id = ps.site_id AND hp.part_id = ps.part_id AND hp.open)::int AS open_holds,
		coalesce((SELECT true FROM release rl WHERE rl.site_id = ps.site_id AND rl.part_id = ps.part_id
			AND NOT EXISTS (SELECT 1 FROM release_void v WHERE v.site_id = rl.site_id AND v.release_id = rl.release_id) LIMIT 1), false) AS released,
		coalesce((SELECT true FROM shipment_part sp WHERE sp.site_id = ps.site_id AND sp.part_id = ps.part_id AND ` + notReturned + ` LIMIT 1), false) AS shipped,
		coalesce((SELECT d.code FROM disposition d WHERE d.site_id = ps.site_id AND d.part_id = ps.part_id
			AND d.code IN ('scrap', 'return', 'regrade') LIMIT 1), '') AS final_code
	FROM part_status ps
	JOIN part p ON p.site_id = ps.site_id AND p.part_id = ps.part_id
	JOIN part_number pn ON pn.site_id = p.site_id AND pn.part_number_id = p.part_number_id
	LEFT JOIN rack_part rp ON rp.site_id = ps.site_id AND rp.part_id = ps.part_id AND rp.cycle = ps.cycle
	LEFT JOIN load_rack lr ON lr.site_id = rp.site_id AND lr.rack_id = rp.rack_id
	WHERE ps.site_id = @site AND `

var standingWhere = map[quality.Subject]string{
	quality.OnPart: `ps.part_id = @id`,
	quality.OnRack: `rp.rack_id = @id`,
	quality.OnLoad: `lr.load_id = @id`,
	// A panel speaks for the parts of the load that it went with.
	quality.OnPanel: `lr.load_id = ` + loadOfPanel,
}

// lockParts makes concurrent acts on the same parts wait for each other. Locks are taken in the order of the ids, so that
// two acts on overlapping sets cannot block each other for ever.
func lockParts(ctx context.Context, tx querier, site uuid.UUID, parts []uuid.UUID) error {
	_, err := tx.Exec(ctx, lockSQL, sqlArgs{"site": site, "parts": parts})
	return err
}

const lockSQL = `SELECT 1 FROM part_status WHERE site_id = @site AND part_id = ANY(@parts) ORDER BY part_id FOR UPDATE`

// lockCarrier keeps parts from joining a rack or load while something is recorded on it: the record speaks for the parts that
// were there, and for no others. Loads are locked before racks and racks before parts, here as where parts are hung and loaded.
func lockCarrier(b *pgx.Batch, site uuid.UUID, s Subject) {
	switch args := (sqlArgs{"site": site, "id": s.ID}); s.Kind {
	case quality.OnRack:
		b.Queue(`SELECT 1 FROM rack WHERE site_id = @site AND rack_id = @id FOR SHARE`, args)
	case quality.OnLoad:
		b.Queue(`SELECT 1 FROM oven_load WHERE site_id = @site AND load_id = @id FOR SHARE`, args)
	}
}

// subjectParts returns the ids of the parts that a subject stands for now, in their order.
func subjectParts(ctx context.Context, q querier, site uuid.UUID, s Subject) ([]uuid.UUID, error) {
	b := &pgx.Batch{}
	ids := askSubjectParts(b, site, s)
	if err := send(ctx, q, b); err != nil {
		return nil, fmt.Errorf("parts of %s %s: %w", s.Kind, s.ID, err)
	}
	return *ids, nil
}

func askSubjectParts(b *pgx.Batch, site uuid.UUID, s Subject) *[]uuid.UUID {
	if s.Kind == quality.OnPart {
		return &[]uuid.UUID{s.ID}
	}
	where, ok := standingWhere[s.Kind]
	if !ok {
		return &[]uuid.UUID{}
	}
	return askColumn[uuid.UUID](b, `SELECT ps.part_id FROM part_status ps
		JOIN rack_part rp ON rp.site_id = ps.site_id AND rp.part_id = ps.part_id AND rp.cycle = ps.cycle
		LEFT JOIN load_rack lr ON lr.site_id = rp.site_id AND lr.rack_id = rp.rack_id
		WHERE ps.site_id = @site AND `+where+` ORDER BY ps.part_id`, sqlArgs{"site": site, "id": s.ID})
}

// standings reads where the given parts stand, with the evidence of their current cycle, in the order of their serials.
func (db *DB) standings(ctx context.Context, q querier, site uuid.UUID, parts []uuid.UUID) ([]*standing, error) {
	b := &pgx.Batch{}
	answered := db.askStandings(b, site, parts)
	if err := send(ctx, q, b); err != nil {
		return nil, fmt.Errorf("where parts stand: %w", err)
	}
	return answered(), nil
}

// askStandings asks within a batch; the answer is there once the batch was sent.
func (db *DB) askStandings(b *pgx.Batch, site uuid.UUID, parts []uuid.UUID) (answered func() []*standing) {
	rows := ask[standing](b, standingSQL+`ps.part_id = ANY(@parts) ORDER BY p.serial`, sqlArgs{"site": site, "parts": parts})
	evidence := ask[evidenceRow](b, evidenceSQL, sqlArgs{"site": site, "parts": parts, "now": db.Clock()})
	places := ask[placeRow](b, placeSQL, sqlArgs{"site": site, "parts": parts, "now": db.Clock()})
	return func() []*standing {
		byPart := make(map[uuid.UUID]*standing, len(*rows))
		out := make([]*standing, len(*rows))
		for i := range *rows {
			s := &(*rows)[i]
			s.before = s.Status
			out[i], byPart[s.PartID] = s, s
		}
		for _, r := range *evidence {
			s := byPart[r.PartID]
			s.evidence = append(s.evidence, quality.Evidence{RecordID: r.RecordID.String(), Kind: r.Kind, Verdict: r.Verdict, At: r.At,
				Round: r.Round, Person: r.Person.String(), Superseded: r.Superseded, Waived: r.Waived, Sentence: onPanel(r.Panel, r.Sentence), Findings: r.Findings, Unconfirmed: r.Unconfirmed})
		}
		for _, p := range *places {
			byPart[p.PartID].places = append(byPart[p.PartID].places, p)
		}
		return out
	}
}

type evidenceRow struct {
	PartID     uuid.UUID       `db:"part_id"`
	RecordID   uuid.UUID       `db:"record_id"`
	Kind       quality.Kind    `db:"kind"`
	Verdict    quality.Verdict `db:"verdict"`
	At         time.Time       `db:"observed_at"`
	Round      int             `db:"round"`
	Person     uuid.UUID       `db:"person_id"`
	Superseded bool            `db:"superseded"`
	Waived     string          `db:"waived"`
	Sentence   string          `db:"sentence"`
	// Unconfirmed is what a second person has to confirm before the record counts.
	Unconfirmed string `db:"unconfirmed"`
	Panel       string `db:"panel"` // code of the witness panel that was tested
	// Findings are those of the characteristics that a spec may sample apart from their check.
	Findings []quality.Finding `db:"findings"`
}

// onPanel names the panel that a test was made on.
func onPanel(code, sentence string) string {
	if code == "" {
		return sentence
	}
	return "Panel " + code + ": " + sentence
}

// evidenceSQL finds the records that speak for each part in its current cycle: on the part, on the rack that holds it, on
// the load that holds the rack, on a witness panel of that load. A record that is not on the part itself counts for the part's
// round when it was made after that began.
//
// They are found first, so that a plan starts what is asked of each record once, not once a source.
const (
	evidenceColumns = `r.site_id, r.record_id, r.kind, r.verdict, r.observed_at, r.person_id, r.rule`
	evidenceRound   = `CASE WHEN r.counted_at >= t.round_started_at THEN t.round ELSE 0 END`
	evidenceSQL     = `
		WITH t AS (
			SELECT ps.part_id, ps.cycle, ps.round, ps.round_started_at, rp.rack_id, lr.load_id
			FROM part_status ps
			LEFT JOIN rack_part rp ON rp.site_id = ps.site_id AND rp.part_id = ps.part_id AND rp.cycle = ps.cycle
			LEFT JOIN load_rack lr ON lr.site_id = rp.site_id AND lr.rack_id = rp.rack_id
			WHERE ps.site_id = @site AND ps.part_id = ANY(@parts)),
		r AS (
			SELECT t.part_id AS of, r.round AS in_round, '' AS panel, ` + evidenceColumns + ` FROM t JOIN record r ON r.site_id = @site AND r.part_id = t.part_id AND r.cycle = t.cycle
			UNION ALL
			SELECT t.part_id, ` + evidenceRound + `, '', ` + evidenceColumns + ` FROM t JOIN record r ON r.site_id = @site AND r.rack_id = t.rack_id
			UNION ALL
			SELECT t.part_id, ` + evidenceRound + `, '', ` + evidenceColumns + ` FROM t JOIN record r ON r.site_id = @site AND r.load_id = t.load_id
			UNION ALL
			SELECT t.part_id, ` + evidenceRound + `, pl.code, ` + evidenceColumns + ` FROM t JOIN ` + panelsOfLoad + ` ON true
				JOIN record r ON r.site_id = @site AND r.panel_id = pl.panel_id)
		SELECT t.part_id, r.in_round AS round, r.panel, r.record_id, r.kind, r.verdict, r.observed_at, r.person_id,
			coalesce((SELECT true FROM record s WHERE s.site_id = r.site_id AND s.supersedes_id = r.record_id LIMIT 1), false) OR ` + recalledEvidence + ` AS superseded,
			coalesce((SELECT d.concession_ref FROM disposition d JOIN hold h ON h.site_id = d.site_id AND h.hold_id = d.hold_id
				WHERE r.verdict = 'fail' AND d.site_id = r.site_id AND d.part_id = t.part_id AND d.code = 'concession' AND h.record_id = r.record_id
				AND (d.concession_ends IS NULL OR d.concession_ends >= (@now::timestamptz AT TIME ZONE (SELECT time_zone FROM site WHERE site.site_id = r.site_id))::date) LIMIT 1), '') AS waived,
			coalesce((SELECT f.sentence FROM finding f WHERE f.site_id = r.site_id AND f.record_id = r.record_id ORDER BY f.seq LIMIT 1), r.rule) AS sentence,
			CASE WHEN r.kind IN ('weld', 'finish') THEN (SELECT jsonb_agg(jsonb_build_object('Rule', f.rule, 'Verdict', f.verdict, 'Text', f.sentence) ORDER BY f.seq) FROM finding f
				WHERE f.site_id = r.site_id AND f.record_id = r.record_id AND f.rule IN ('leg length', 'throat thickness', 'gloss', 'adhesion')) END AS findings, ` + unconfirmedEvidence + `
		FROM r CROSS JOIN LATERAL (SELECT r.of AS part_id) t`
)

// recoated reports whether a coat may lie over an older one: the part is in a later cycle, or was coated again after it had
// been cured.
func (s *standing) recoated() bool {
	for _, coat := range s.evidence {
		for _, cure := range s.evidence {
			if coat.Kind == quality.Coating && cure.Kind == quality.Cure && !coat.Superseded && !cure.Superseded && coat.At.After(cure.At) {
				return true
			}
		}
	}
	return s.Cycle > 1
}

// gate returns the part's gate under a spec.
func (s *standing) gate(spec quality.FinishSpec) []quality.Item {
	return quality.Gate(spec, s.Round, s.evidence, s.placesNow()...)
}

// settle works out the part's status and next step from what is known of it.
func (s *standing) settle(spec quality.FinishSpec) (status string, next quality.Kind) {
	items := s.gate(spec)
	switch {
	case s.Shipped:
		// Where the part is, whatever is found of it later: it comes back by an act of its own.
		return StatusShipped, ""
	case s.Released:
		return StatusReleased, ""
	case s.FinalCode != "":
		return dispositionEnds[s.FinalCode], ""
	case s.OpenHolds > 0:
		return StatusOnHold, ""
	case quality.Open(items):
		for _, item := range items {
			if item.State == quality.Waived {
				return StatusUnderConcession, ""
			}
		}
		return StatusAccepted, ""
	case len(s.evidence) > 0:
		return StatusInProgress, quality.Next(items)
	}
	return StatusOpen, quality.Next(items)
}

// settleAll writes the status of parts after a change, in the transaction of the change.
func (db *DB) settleAll(ctx context.Context, tx querier, site uuid.UUID, all []*standing, specs map[uuid.UUID]quality.FinishSpec) error {
	b := &pgx.Batch{}
	db.queueSettle(b, site, all, specs)
	if err := send(ctx, tx, b); err != nil {
		return fmt.Errorf("writing where parts stand: %w", err)
	}
	return nil
}

// queueSettle adds the status of parts to what goes to the database next.
func (db *DB) queueSettle(b *pgx.Batch, site uuid.UUID, all []*standing, specs map[uuid.UUID]quality.FinishSpec) {
	var ids []uuid.UUID
	var statuses, nexts []string
	var cycles, rounds []int
	var racks []*uuid.UUID
	var starts []time.Time
	var concessions []bool
	for _, s := range all {
		status, next := s.settle(specs[s.SpecID])
		waived := false
		for _, e := range s.evidence {
			waived = waived || e.Waived != "" && !e.Superseded
		}
		var rack *uuid.UUID
		if s.RackID.Valid {
			rack = &s.RackID.UUID
		}
		s.Status = status
		ids, statuses, nexts, racks = append(ids, s.PartID), append(statuses, status), append(nexts, string(next)), append(racks, rack)
		cycles, rounds, starts, concessions = append(cycles, s.Cycle), append(rounds, s.Round), append(starts, s.RoundStartedAt), append(concessions, waived)
	}
	if len(ids) == 0 {
		return
	}
	b.Queue(`UPDATE part_status ps SET status = n.status, next_kind = n.next_kind, cycle = n.cycle, round = n.round,
			round_started_at = n.started, rack_id = n.rack_id, concession = n.concession, changed_at = @at
		FROM unnest(@ids::uuid[], @statuses::text[], @nexts::text[], @cycles::int[], @rounds::int[], @starts::timestamptz[], @racks::uuid[], @concessions::bool[])
			AS n(part_id, status, next_kind, cycle, round, started, rack_id, concession)
		WHERE ps.site_id = @site AND ps.part_id = ANY(@ids) AND ps.part_id = n.part_id`, sqlArgs{"site": site, "at": db.Clock(), "ids": ids, "statuses": statuses,
		"nexts": nexts, "cycles": cycles, "rounds": rounds, "starts": starts, "racks": racks, "concessions": concessions})
}

// specsOf returns the spec bodies in force now for the parts' specs. A part whose spec has none in force asks for nothing
// and so never passes the gate.
func (db *DB) specsOf(ctx context.Context, q querier, site uuid.UUID, all []*standing) (map[uuid.UUID]quality.FinishSpec, error) {
	specs := map[uuid.UUID]quality.FinishSpec{}
	for _, s := range all {
		if _, done := specs[s.SpecID]; done {
			continue
		}
		_, spec, err := db.approvedSpec(ctx, q, site, s.SpecID, db.Clock())
		if _, refused := err.(*Refusal); err != nil && !refused {
			return nil, err
		}
		specs[s.SpecID] = spec
	}
	return specs, nil
}

// refresh reads the parts anew and writes their status.
func (db *DB) refresh(ctx context.Context, tx querier, site uuid.UUID, parts []uuid.UUID) ([]*standing, error) {
	all, err := db.standings(ctx, tx, site, parts)
	if err != nil {
		return nil, err
	}
	specs, err := db.specsOf(ctx, tx, site, all)
	if err != nil {
		return nil, err
	}
	return all, db.settleAll(ctx, tx, site, all, specs)
}

// Rebuild works out the status of every part of a site from records alone and returns how many rows it had to change. On a
// sound book that is none.
func (db *DB) Rebuild(ctx context.Context, site uuid.UUID) (changed int, err error) {
	err = db.inTx(ctx, site, func(tx querier) error {
		parts, err := column[uuid.UUID](ctx, tx, `SELECT part_id FROM part_status WHERE site_id = @site ORDER BY part_id`, sqlArgs{"site": site})
		if err != nil {
			return err
		}
		// A part's status follows from its lots', so these come first.
		if changed, err = db.rebuildLots(ctx, tx, site); err != nil {
			return err
		}
		all, err := db.refresh(ctx, tx, site, parts)
		for _, s := range all {
			if s.Status != s.before {
				changed++
			}
		}
		return err
	})
	return changed, err
}
