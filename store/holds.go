package store

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"coatbook/quality"
)

// The dispositions, in the trade's order, with who may decide them.
var dispositionRights = map[string][]string{
	"rework":       {Supervisor, Engineer},
	"strip_recoat": {Supervisor, Engineer},
	"concession":   {Engineer, Supervisor},
	"regrade":      {Engineer},
	"return":       {Engineer, Supervisor},
	"scrap":        {Supervisor, Engineer},
	"no_defect":    {Supervisor, Engineer},
}

// Dispositions lists the codes in the order of the screens.
var Dispositions = []string{"rework", "strip_recoat", "concession", "regrade", "return", "scrap", "no_defect"}

// MayDecide reports whether the actor has the right to a disposition.
func MayDecide(a Actor, code string) bool { return a.Has(dispositionRights[code]...) }

// openHold opens a numbered hold on parts in the transaction of the record that caused it, and returns its number.
func (db *DB) openHold(ctx context.Context, tx querier, a Actor, st Site, cause, requirement string, record uuid.UUID, parts []*standing) (string, error) {
	return db.openHoldAs(ctx, tx, a, st, NewID(), cause, requirement, record, parts)
}

// openHoldAs is openHold with an id that was made before.
func (db *DB) openHoldAs(ctx context.Context, tx querier, a Actor, st Site, id uuid.UUID, cause, requirement string, record uuid.UUID, parts []*standing) (string, error) {
	var held []*standing
	for _, s := range parts {
		if !finished[s.Status] {
			held = append(held, s)
		}
	}
	if len(held) == 0 {
		return "", nil
	}
	now := db.Clock()
	year := now.In(st.Location()).Year()
	n, err := nextNumber(ctx, tx, a.Site, fmt.Sprintf("hold %d", year))
	if err != nil {
		return "", err
	}
	number := fmt.Sprintf("H-%d-%04d", year, n)
	day, _ := st.ShopDay(now)
	if err := run(ctx, tx, `INSERT INTO hold (site_id, hold_id, number, cause, record_id, requirement, opened_by, opened_at, shop_day)
		VALUES (@site, @hold, @number, @cause, @record, @requirement, @by, @at, @day)`, sqlArgs{"site": a.Site, "hold": id, "number": number,
		"cause": cause, "record": null(record), "requirement": requirement, "by": a.Person, "at": now, "day": day}); err != nil {
		return "", fmt.Errorf("opening a hold: %w", err)
	}
	if err := db.holdParts(ctx, tx, a, id, number, held); err != nil {
		return "", err
	}
	return number, nil
}

// holdParts puts parts under a hold, each with its event.
func (db *DB) holdParts(ctx context.Context, tx querier, a Actor, hold uuid.UUID, number string, parts []*standing) error {
	b := &pgx.Batch{}
	for _, s := range parts {
		b.Queue(`INSERT INTO hold_part (site_id, hold_id, part_id, cycle) VALUES (@site, @hold, @part, @cycle)`,
			sqlArgs{"site": a.Site, "hold": hold, "part": s.PartID, "cycle": s.Cycle})
		s.OpenHolds++
		if err := db.queueEvent(b, a, Event{Verb: "part held", SubjectKind: "part", Subject: s.PartID, Before: map[string]string{"status": s.Status},
			After: map[string]string{"status": StatusOnHold, "hold": number}}); err != nil {
			return err
		}
	}
	if err := send(ctx, tx, b); err != nil {
		return fmt.Errorf("holding parts: %w", err)
	}
	return nil
}

// A Hold is a numbered stop on parts, with its cause.
type Hold struct {
	ID          uuid.UUID     `db:"hold_id"`
	Number      string        `db:"number"`
	Cause       string        `db:"cause"`
	Requirement string        `db:"requirement"`
	RecordID    uuid.NullUUID `db:"record_id"`
	RecordKind  string        `db:"record_kind"`
	OpenedBy    string        `db:"opened_by"`
	OpenedAt    time.Time     `db:"opened_at"`
	Parts       int           `db:"parts"`
	OpenParts   int           `db:"open_parts"`
}

const holdSQL = `SELECT h.hold_id, h.number, h.cause, h.requirement, h.record_id, coalesce(r.kind, '') AS record_kind, p.name AS opened_by, h.opened_at,
	(SELECT count(*) FROM hold_part hp WHERE hp.site_id = h.site_id AND hp.hold_id = h.hold_id)::int AS parts,
	(SELECT count(*) FROM hold_part hp WHERE hp.site_id = h.site_id AND hp.hold_id = h.hold_id AND hp.open)::int AS open_parts
	FROM hold h JOIN person p ON p.site_id = h.site_id AND p.person_id = h.opened_by
	LEFT JOIN record r ON r.site_id = h.site_id AND r.record_id = h.record_id
	WHERE h.site_id = @site`

// OpenHolds returns the holds with undecided parts, the oldest first.
func (db *DB) OpenHolds(ctx context.Context, site uuid.UUID) ([]Hold, error) {
	return list[Hold](ctx, db.pool, holdSQL+` AND EXISTS (SELECT 1 FROM hold_part o WHERE o.site_id = h.site_id AND o.hold_id = h.hold_id AND o.open)
		ORDER BY h.opened_at`, sqlArgs{"site": site})
}

// RecentHolds returns the latest decided holds, newest first.
func (db *DB) RecentHolds(ctx context.Context, site uuid.UUID, limit int) ([]Hold, error) {
	return list[Hold](ctx, db.pool, holdSQL+` AND NOT EXISTS (SELECT 1 FROM hold_part o WHERE o.site_id = h.site_id AND o.hold_id = h.hold_id AND o.open)
		ORDER BY h.opened_at DESC LIMIT @limit`, sqlArgs{"site": site, "limit": limit})
}

// HoldByNumber returns one hold.
func (db *DB) HoldByNumber(ctx context.Context, site uuid.UUID, number string) (Hold, error) {
	return one[Hold](ctx, db.pool, holdSQL+` AND h.number = @number`, sqlArgs{"site": site, "number": number})
}

// A HeldPart is a part under a hold and what was decided of it.
type HeldPart struct {
	PartID        uuid.UUID  `db:"part_id"`
	Serial        string     `db:"serial"`
	PartNumber    string     `db:"part_number"`
	Customer      string     `db:"customer"`
	Cycle         int        `db:"cycle"`
	Open          bool       `db:"open"`
	Status        string     `db:"status"`
	Code          string     `db:"code"`
	Reason        string     `db:"reason"`
	ConcessionRef string     `db:"concession_ref"`
	DecidedBy     string     `db:"decided_by"`
	DecidedAt     *time.Time `db:"decided_at"`
}

// HeldParts returns the parts of a hold by serial, decided ones included.
func (db *DB) HeldParts(ctx context.Context, site, hold uuid.UUID) ([]HeldPart, error) {
	return list[HeldPart](ctx, db.pool, `SELECT hp.part_id, p.serial, pn.code AS part_number, j.customer, hp.cycle, hp.open, ps.status,
			coalesce(d.code, '') AS code, coalesce(d.reason, '') AS reason, coalesce(d.concession_ref, '') AS concession_ref,
			coalesce(who.name, '') AS decided_by, d.decided_at
		FROM hold_part hp
		JOIN part p ON p.site_id = hp.site_id AND p.part_id = hp.part_id
		JOIN part_number pn ON pn.site_id = p.site_id AND pn.part_number_id = p.part_number_id
		JOIN job j ON j.site_id = p.site_id AND j.job_id = p.job_id
		JOIN part_status ps ON ps.site_id = hp.site_id AND ps.part_id = hp.part_id
		LEFT JOIN disposition d ON d.site_id = hp.site_id AND d.hold_id = hp.hold_id AND d.part_id = hp.part_id
		LEFT JOIN person who ON who.site_id = d.site_id AND who.person_id = d.decided_by
		WHERE hp.site_id = @site AND hp.hold_id = @hold ORDER BY p.serial`, sqlArgs{"site": site, "hold": hold})
}

// ExtendHold puts further parts under a hold in one act.
func (db *DB) ExtendHold(ctx context.Context, a Actor, hold uuid.UUID, parts []uuid.UUID) error {
	return db.inTx(ctx, a.Site, func(tx querier) error {
		h, err := one[Hold](ctx, tx, holdSQL+` AND h.hold_id = @hold`, sqlArgs{"site": a.Site, "hold": hold})
		if err != nil {
			return err
		}
		if err := lockParts(ctx, tx, a.Site, parts); err != nil {
			return err
		}
		all, err := db.standings(ctx, tx, a.Site, parts)
		if err != nil {
			return err
		}
		if len(all) != len(parts) {
			return ErrNotFound
		}
		for _, s := range all {
			if finished[s.Status] {
				return refuse(RuleChanged, fmt.Sprintf("Part %s is %s by now and cannot be held. Reload the page.", s.Serial, s.Status))
			}
		}
		under, err := column[string](ctx, tx, `SELECT p.serial FROM hold_part hp JOIN part p ON p.site_id = hp.site_id AND p.part_id = hp.part_id
			WHERE hp.site_id = @site AND hp.hold_id = @hold AND hp.part_id = ANY(@parts) ORDER BY p.serial`, sqlArgs{"site": a.Site, "hold": hold, "parts": parts})
		if err != nil {
			return err
		}
		if len(under) > 0 {
			return refuse(RuleChanged, fmt.Sprintf("Part %s is under hold %s already. Reload the page.", strings.Join(under, ", "), h.Number))
		}
		if err := db.holdParts(ctx, tx, a, h.ID, h.Number, all); err != nil {
			return err
		}
		specs, err := db.specsOf(ctx, tx, a.Site, all)
		if err != nil {
			return err
		}
		return db.settleAll(ctx, tx, a.Site, all, specs)
	})
}

// A Decision is what a supervisor decides of held parts.
type Decision struct {
	Parts         []uuid.UUID
	Code          string
	Reason        string
	ConcessionRef string
	// ConcessionEnds and ConcessionQuantity are the limits of a concession: the last day it holds, the number of parts it is
	// for, or both. They may be left out when the reference is on record already.
	ConcessionEnds     time.Time
	ConcessionQuantity int
}

// Decide writes a signed disposition for each part, wholly or not at all. Rework opens a new round in the same cycle; strip
// and recoat opens the next cycle, up to the spec's limit.
func (db *DB) Decide(ctx context.Context, a Actor, hold uuid.UUID, d Decision, proof Proof) error {
	switch {
	case dispositionRights[d.Code] == nil:
		return refuse(RuleInvalid, "Choose what happens to the parts.")
	case !MayDecide(a, d.Code):
		return refuse(RuleNoRight, "Your role may not decide this. Ask an engineer.")
	case len(d.Parts) == 0:
		return refuse(RuleInvalid, "Choose at least one part.")
	case len(d.Reason) < 5:
		return refuse(RuleInvalid, "Give the reason, in at least five letters.")
	case d.Code == "concession" && strings.TrimSpace(d.ConcessionRef) == "":
		return refuse(RuleConcession, "A concession needs the customer's reference, as it stands on their letter.")
	}
	return db.inTx(ctx, a.Site, func(tx querier) error { return db.decide(ctx, tx, a, hold, d, proof) })
}

func (db *DB) decide(ctx context.Context, tx querier, a Actor, hold uuid.UUID, d Decision, proof Proof) error {
	st, err := site(ctx, tx, a.Site)
	if err != nil {
		return err
	}
	if err := lockParts(ctx, tx, a.Site, d.Parts); err != nil {
		return err
	}
	all, err := db.standings(ctx, tx, a.Site, d.Parts)
	if err != nil {
		return err
	}
	specs, err := db.specsOf(ctx, tx, a.Site, all)
	if err != nil {
		return err
	}
	if d.Code == "no_defect" {
		ofLot, err := db.lotHoldEnds(ctx, tx, a.Site, hold, all, specs)
		if err == nil && !ofLot {
			err = causeIsGone(ctx, tx, a.Site, hold)
		}
		if err != nil {
			return err
		}
	}
	underConcession := uuid.Nil
	if d.Code != "concession" {
		d.ConcessionRef, d.ConcessionEnds, d.ConcessionQuantity = "", time.Time{}, 0
	} else if underConcession, err = db.takeConcession(ctx, tx, a, st, &d); err != nil {
		return err
	}
	day, _ := st.ShopDay(db.Clock())
	b := &pgx.Batch{}
	for _, s := range all {
		if s.Shipped && d.Code != "concession" && d.Code != "no_defect" {
			return refuse(RuleFinished, fmt.Sprintf("Part %s is shipped. Take it back first, on the page of its shipment; until then only a concession or no defect can be decided.", s.Serial))
		}
		if limit := specs[s.SpecID].MaxCycles; d.Code == "strip_recoat" && s.Cycle >= limit {
			return refuse(RuleCycles, fmt.Sprintf("Part %s is in cycle %d; its spec allows %d. Choose another disposition.", s.Serial, s.Cycle, limit))
		}
		if err := run(ctx, tx, `UPDATE hold_part SET open = false WHERE site_id = @site AND hold_id = @hold AND part_id = @part AND open`,
			sqlArgs{"site": a.Site, "hold": hold, "part": s.PartID}); err != nil {
			return refuse(RuleChanged, fmt.Sprintf("Part %s was decided by somebody else meanwhile. Reload the page.", s.Serial))
		}
		signature, err := db.sign(b, a, proof, "disposed", fmt.Sprintf("Decided %s for part %s: %s", d.Code, s.Serial, d.Reason),
			dispositionContent(hold, s.PartID, d.Code, d.Reason, d.ConcessionRef, d.ConcessionEnds))
		if err != nil {
			return err
		}
		var ends any
		if !d.ConcessionEnds.IsZero() {
			ends = d.ConcessionEnds
		}
		b.Queue(`INSERT INTO disposition (site_id, disposition_id, hold_id, part_id, code, reason, concession_ref, concession_ends, concession_id, signature_id, decided_by, decided_at, shop_day)
			VALUES (@site, @id, @hold, @part, @code, @reason, @ref, @ends::date, @concession, @signature, @by, @at, @day)`, sqlArgs{"site": a.Site, "id": NewID(),
			"hold": hold, "part": s.PartID, "code": d.Code, "reason": d.Reason, "ref": d.ConcessionRef, "ends": ends, "concession": null(underConcession), "signature": signature,
			"by": a.Person, "at": db.Clock(), "day": day})
		if err := db.queueEvent(b, a, Event{Verb: "disposed", SubjectKind: "part", Subject: s.PartID, Before: map[string]any{"status": s.Status, "cycle": s.Cycle, "round": s.Round},
			After: map[string]any{"code": d.Code, "hold": hold, "concession_ref": d.ConcessionRef}, Reason: d.Reason}); err != nil {
			return err
		}
		switch d.Code {
		case "rework":
			s.Round, s.RoundStartedAt = s.Round+1, db.Clock()
		case "strip_recoat":
			s.Cycle, s.Round, s.RoundStartedAt, s.RackID = s.Cycle+1, 1, db.Clock(), uuid.NullUUID{}
		}
	}
	// Cycle and round move first, then everything is read anew under them: evidence of the old ones no longer counts.
	db.queueSettle(b, a.Site, all, specs)
	if err := send(ctx, tx, b); err != nil {
		return err
	}
	_, err = db.refresh(ctx, tx, a.Site, d.Parts)
	return err
}

// causeIsGone refuses to lift a hold as without a defect while what is behind it stands: the record, as it is after all
// corrections, says that something is wrong; the lot is still held or rejected; the recall is not decided. Behind a hold by
// hand stands only the person's word, and the signed decision answers it.
func causeIsGone(ctx context.Context, q querier, site, hold uuid.UUID) error {
	type behind struct {
		Record bool `db:"record"`
		Lots   int  `db:"lots"`
		Recall bool `db:"recall"`
	}
	args := sqlArgs{"site": site, "hold": hold}
	b, err := one[behind](ctx, q, `SELECT h.record_id IS NOT NULL AS record,
		(SELECT count(*) FROM lot_hold lh JOIN material_lot l ON l.site_id = lh.site_id AND l.lot_id = lh.lot_id
			WHERE lh.site_id = h.site_id AND lh.hold_id = h.hold_id AND l.status <> 'accepted')::int AS lots,
		EXISTS (SELECT 1 FROM recall_review rr WHERE rr.site_id = h.site_id AND rr.hold_id = h.hold_id) AS recall
		FROM hold h WHERE h.site_id = @site AND h.hold_id = @hold`, args)
	switch {
	case err != nil:
		return err
	case b.Recall && !b.Record:
		return refuse(RuleInvalid, "A recall stands behind this hold. Decide on the part there, on the Recalls page.")
	case b.Lots > 0:
		return refuse(RuleInvalid, "The lot behind this hold is not accepted. Accept it first, under Setup, Lots, or choose another disposition.")
	case !b.Record:
		return nil
	}
	verdict, err := value[quality.Verdict](ctx, q, `WITH RECURSIVE chain AS (
			SELECT r.record_id, r.verdict FROM hold h JOIN record r ON r.site_id = h.site_id AND r.record_id = h.record_id
			WHERE h.site_id = @site AND h.hold_id = @hold
			UNION ALL SELECT s.record_id, s.verdict FROM chain c JOIN record s ON s.site_id = @site AND s.supersedes_id = c.record_id)
		SELECT verdict FROM chain c WHERE NOT EXISTS (SELECT 1 FROM record s WHERE s.site_id = @site AND s.supersedes_id = c.record_id)`, args)
	if err == nil && (verdict == quality.Fail || verdict == quality.Incomplete) {
		return refuse(RuleInvalid, "The record behind this hold still stands. Correct or void it first, or choose another disposition.")
	}
	return err
}

// A HoldOf names an open hold of a part.
type HoldOf struct {
	Number string `db:"number"`
	Cause  string `db:"cause"`
}

// HoldsOf returns the open holds of a part.
func (db *DB) HoldsOf(ctx context.Context, site, part uuid.UUID) ([]HoldOf, error) {
	return list[HoldOf](ctx, db.pool, `SELECT h.number, h.cause FROM hold_part hp JOIN hold h ON h.site_id = hp.site_id AND h.hold_id = hp.hold_id
		WHERE hp.site_id = @site AND hp.part_id = @part AND hp.open ORDER BY h.number`, sqlArgs{"site": site, "part": part})
}

// Kind is the kind of the record that caused the hold, empty for a hold opened by hand.
func (h Hold) Kind() quality.Kind { return quality.Kind(h.RecordKind) }
