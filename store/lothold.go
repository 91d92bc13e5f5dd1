package store

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"
)

// A TouchedPart is a part that a record with a lot speaks for.
type TouchedPart struct {
	PartID     uuid.UUID  `db:"part_id"`
	Serial     string     `db:"serial"`
	PartNumber string     `db:"part_number"`
	JobNumber  string     `db:"job_number"`
	Customer   string     `db:"customer"`
	Status     string     `db:"status"`
	Roles      []string   `db:"roles"`
	LastUse    time.Time  `db:"last_use"`
	ReleasedAt *time.Time `db:"released_at"`
	Papers
	// Held is the number of an open hold that already stops the part because of this lot.
	Held string `db:"held"`
}

// InHouse reports whether the part can still be held.
func (p TouchedPart) InHouse() bool { return !finished[p.Status] }

// PartsOfLot lists every part that a record with the lot speaks for, released ones included, by serial, and those washed in
// a bath that the lot went into until it was next made up. Records that were
// corrected or voided do not count.
func (db *DB) PartsOfLot(ctx context.Context, site, lot uuid.UUID) (parts []TouchedPart, err error) {
	err = db.byKeys(ctx, func(tx querier) error {
		parts, err = partsOfLot(ctx, tx, site, lot)
		return err
	})
	return parts, err
}

func partsOfLot(ctx context.Context, q querier, site, lot uuid.UUID) ([]TouchedPart, error) {
	parts, err := list[TouchedPart](ctx, q, `WITH touched AS (
			SELECT x.part_id, array_agg(DISTINCT u.role ORDER BY u.role) AS roles, max(r.observed_at) AS last_use
			FROM (SELECT u.site_id, u.record_id, u.role FROM record_use u WHERE u.site_id = @site AND u.lot_id = @lot
				UNION ALL SELECT r.site_id, r.record_id, 'bath' FROM `+washedWithLot+`) u
			JOIN record r ON r.site_id = u.site_id AND r.record_id = u.record_id AND r.verdict <> 'void'
				AND NOT EXISTS (SELECT 1 FROM record s WHERE s.site_id = r.site_id AND s.supersedes_id = r.record_id)
			CROSS JOIN `+partsOfRecord+` GROUP BY x.part_id)
		SELECT p.part_id, p.serial, pn.code AS part_number, j.number AS job_number, j.customer, ps.status, t.roles, t.last_use,
			(SELECT max(rl.released_at) FROM release rl WHERE rl.site_id = p.site_id AND rl.part_id = p.part_id
				AND NOT EXISTS (SELECT 1 FROM release_void v WHERE v.site_id = rl.site_id AND v.release_id = rl.release_id)) AS released_at, `+papersColumns+`,
			coalesce((SELECT h.number FROM hold_part hp JOIN hold h ON h.site_id = hp.site_id AND h.hold_id = hp.hold_id
				JOIN lot_hold lh ON lh.site_id = h.site_id AND lh.hold_id = h.hold_id AND lh.lot_id = @lot
				WHERE hp.site_id = p.site_id AND hp.part_id = p.part_id AND hp.open LIMIT 1), '') AS held
		FROM touched t
		JOIN part p ON p.site_id = @site AND p.part_id = t.part_id
		JOIN part_status ps ON ps.site_id = p.site_id AND ps.part_id = p.part_id
		JOIN part_number pn ON pn.site_id = p.site_id AND pn.part_number_id = p.part_number_id
		JOIN job j ON j.site_id = p.site_id AND j.job_id = p.job_id`+papersOf+`
		ORDER BY p.serial`, sqlArgs{"site": site, "lot": lot, "ids": []uuid.UUID{lot}})
	if err != nil {
		return nil, fmt.Errorf("parts of lot %s: %w", lot, err)
	}
	return parts, nil
}

// SetLotStatus accepts, holds or rejects a lot from now on, for a reason that stays readable. Parts that the lot touched can
// be held in the same act: they go on one hold, whose number it returns.
func (db *DB) SetLotStatus(ctx context.Context, a Actor, id uuid.UUID, status, reason string, hold ...uuid.UUID) (number string, err error) {
	reason = strings.TrimSpace(reason)
	if len([]rune(reason)) < 5 {
		return "", refuse("reason_given", "Say why the lot's status changes, in a few words.")
	}
	if status == "accepted" && len(hold) > 0 {
		return "", refuse(RuleInvalid, "An accepted lot is no reason to hold parts. Hold or reject the lot, or take the parts off the list.")
	}
	err = db.inTx(ctx, a.Site, func(tx querier) error {
		before, err := one[MaterialLot](ctx, tx, selectLot+`WHERE l.site_id = @site AND l.lot_id = @id FOR UPDATE OF l`, sqlArgs{"site": a.Site, "id": id})
		if err != nil {
			return fmt.Errorf("lot %s: %w", id, err)
		}
		if err := run(ctx, tx, `UPDATE material_lot SET status = @status WHERE site_id = @site AND lot_id = @id`,
			sqlArgs{"site": a.Site, "id": id, "status": status}); err != nil {
			return err
		}
		after := map[string]any{"Status": status}
		if len(hold) > 0 {
			if number, err = db.holdForLot(ctx, tx, a, before, status, reason, hold); err != nil {
				return err
			}
			after["hold"] = number
		}
		if status != "accepted" {
			touched, err := partsOfLot(ctx, tx, a.Site, id)
			if err != nil {
				return err
			}
			gone := 0
			for _, p := range touched {
				if !p.InHouse() {
					gone++
				}
			}
			after["parts"], after["held"], after["not_in_house"] = len(touched), len(hold), gone
		}
		return db.event(ctx, tx, a, Event{Verb: MaterialKindNames[before.Kind] + " lot " + status, SubjectKind: "material_lot", Subject: id,
			Before: map[string]string{"Status": before.Status}, After: after, Reason: reason})
	})
	return number, err
}

// holdForLot holds parts that a lot touched under one number.
func (db *DB) holdForLot(ctx context.Context, tx querier, a Actor, lot MaterialLot, status, reason string, parts []uuid.UUID) (string, error) {
	if err := lockParts(ctx, tx, a.Site, parts); err != nil {
		return "", err
	}
	touched, err := partsOfLot(ctx, tx, a.Site, lot.ID)
	if err != nil {
		return "", err
	}
	known := map[uuid.UUID]TouchedPart{}
	for _, p := range touched {
		known[p.PartID] = p
	}
	for _, id := range parts {
		p, ok := known[id]
		switch {
		case !ok:
			return "", fmt.Errorf("part %s of lot %s: %w", id, lot.ID, ErrNotFound)
		case !p.InHouse():
			return "", refuse(RuleChanged, fmt.Sprintf("Part %s is %s by now and cannot be held. Reload the page.", p.Serial, p.Status))
		case p.Held != "":
			return "", refuse(RuleChanged, fmt.Sprintf("Part %s is on hold %s because of this lot already. Reload the page.", p.Serial, p.Held))
		}
	}
	all, err := db.standings(ctx, tx, a.Site, parts)
	if err != nil {
		return "", err
	}
	st, err := site(ctx, tx, a.Site)
	if err != nil {
		return "", err
	}
	cause := fmt.Sprintf("%s lot %s (%s) is %s: %s", upper(MaterialKindNames[lot.Kind]), lot.LotNumber, lot.MaterialCode, status, reason)
	number, err := db.openHold(ctx, tx, a, st, cause, "Lots used on parts are accepted and in date", uuid.Nil, all)
	if err != nil {
		return "", err
	}
	if err := run(ctx, tx, `INSERT INTO lot_hold (site_id, lot_id, hold_id) SELECT site_id, @lot, hold_id FROM hold WHERE site_id = @site AND number = @number`,
		sqlArgs{"site": a.Site, "lot": lot.ID, "number": number}); err != nil {
		return "", err
	}
	specs, err := db.specsOf(ctx, tx, a.Site, all)
	if err != nil {
		return "", err
	}
	return number, db.settleAll(ctx, tx, a.Site, all, specs)
}
