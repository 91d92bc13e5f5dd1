package store

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"
)

// NeighbourShares are what a part can share with a held one, the closest first.
var NeighbourShares = []string{"rack", "load", "bath", "lot", "gauge"}

// A Neighbour is a part that shares a cause with a held one and is not held with it.
type Neighbour struct {
	PartID uuid.UUID `db:"part_id"`
	Serial string    `db:"serial"`
	Shares string    `db:"shares"` // one of NeighbourShares
	Number string    `db:"number"` // what it is called, with the window for bath and gauge
	Status string    `db:"status"`
}

// neighbourSQL goes from the held parts to the records of the cycle they were held in, from those to what was used, and from
// that to the other parts in house: on the same rack or oven load, in the same bath in the same shift, with the same lot, or
// measured with the same gauge from its last good check before on.
const neighbourSQL = `
	WITH held AS (
		SELECT hp.part_id, hp.cycle, rp.rack_id, lr.load_id FROM hold_part hp
		LEFT JOIN rack_part rp ON rp.site_id = hp.site_id AND rp.part_id = hp.part_id AND rp.cycle = hp.cycle
		LEFT JOIN load_rack lr ON lr.site_id = rp.site_id AND lr.rack_id = rp.rack_id
		WHERE hp.site_id = @site AND hp.hold_id = @hold),
	mine AS MATERIALIZED (
		SELECT r.record_id, r.shop_day, r.shift, r.observed_at FROM held JOIN record r ON r.site_id = @site AND r.part_id = held.part_id AND r.cycle = held.cycle WHERE ` + counts + `
		UNION SELECT r.record_id, r.shop_day, r.shift, r.observed_at FROM held JOIN record r ON r.site_id = @site AND r.rack_id = held.rack_id WHERE ` + counts + `
		UNION SELECT r.record_id, r.shop_day, r.shift, r.observed_at FROM held JOIN record r ON r.site_id = @site AND r.load_id = held.load_id WHERE ` + counts + `),
	used AS MATERIALIZED (
		SELECT DISTINCT u.lot_id, u.bath_id, CASE WHEN u.role = 'gauge' THEN u.instrument_id END AS gauge_id, m.shop_day, m.shift, m.observed_at
		FROM mine m JOIN record_use u ON u.site_id = @site AND u.record_id = m.record_id),
	gauges AS MATERIALIZED (
		SELECT g.gauge_id, (SELECT max(r.observed_at) FROM record r WHERE r.site_id = @site AND r.instrument_id = g.gauge_id AND r.kind IN ('verification', 'calibration')
			AND ` + leftGood + ` AND r.observed_at <= g.first AND ` + counts + `) AS since
		FROM (SELECT gauge_id, min(observed_at) AS first FROM used WHERE gauge_id IS NOT NULL GROUP BY gauge_id) g),
	found AS (
		SELECT rp.part_id, rp.cycle, 'rack' AS shares, rk.number FROM rack_part rp JOIN rack rk ON rk.site_id = rp.site_id AND rk.rack_id = rp.rack_id
			WHERE rp.site_id = @site AND rp.rack_id IN (SELECT rack_id FROM held)
		UNION ALL
		SELECT rp.part_id, rp.cycle, 'load', ol.number FROM load_rack lr JOIN rack_part rp ON rp.site_id = lr.site_id AND rp.rack_id = lr.rack_id
			JOIN oven_load ol ON ol.site_id = lr.site_id AND ol.load_id = lr.load_id
			WHERE lr.site_id = @site AND lr.load_id IN (SELECT load_id FROM held)
		UNION ALL
		SELECT x.part_id, NULL, 'bath', b.code || ', ' || w.shift || ' shift of ' || to_char(w.shop_day, 'YYYY-MM-DD')
			FROM (SELECT DISTINCT bath_id, shop_day, shift FROM used WHERE bath_id IS NOT NULL) w
			JOIN bath b ON b.site_id = @site AND b.bath_id = w.bath_id
			JOIN record_use u ON u.site_id = @site AND u.bath_id = w.bath_id
			JOIN record r ON r.site_id = @site AND r.record_id = u.record_id AND r.shop_day = w.shop_day AND r.shift = w.shift
			CROSS JOIN ` + partsOfRecord + ` WHERE ` + counts + `
		UNION ALL
		SELECT x.part_id, NULL, 'lot', m.code || ' ' || l.lot_number
			FROM (SELECT DISTINCT lot_id FROM used WHERE lot_id IS NOT NULL) w
			JOIN material_lot l ON l.site_id = @site AND l.lot_id = w.lot_id JOIN material m ON m.site_id = l.site_id AND m.material_id = l.material_id
			JOIN record_use u ON u.site_id = @site AND u.lot_id = w.lot_id
			JOIN record r ON r.site_id = @site AND r.record_id = u.record_id
			CROSS JOIN ` + partsOfRecord + ` WHERE ` + counts + `
		UNION ALL
		SELECT x.part_id, NULL, 'gauge', i.code || coalesce(', since it was good on ' || to_char(w.since AT TIME ZONE st.time_zone, 'FMDD Mon YYYY HH24:MI'), '')
			FROM gauges w JOIN instrument i ON i.site_id = @site AND i.instrument_id = w.gauge_id JOIN site st ON st.site_id = @site
			JOIN record_use u ON u.site_id = @site AND u.instrument_id = w.gauge_id AND u.role = 'gauge'
			JOIN record r ON r.site_id = @site AND r.record_id = u.record_id AND (w.since IS NULL OR r.observed_at >= w.since)
			CROSS JOIN ` + partsOfRecord + ` WHERE ` + counts + `)
	SELECT DISTINCT p.part_id, p.serial, f.shares, f.number, ps.status
	FROM found f JOIN part_status ps ON ps.site_id = @site AND ps.part_id = f.part_id AND (f.cycle IS NULL OR ps.cycle = f.cycle)
	JOIN part p ON p.site_id = ps.site_id AND p.part_id = ps.part_id
	WHERE ps.status NOT IN ('released', 'shipped', 'scrapped', 'returned', 'regraded')
	AND NOT EXISTS (SELECT 1 FROM hold_part hp WHERE hp.site_id = ps.site_id AND hp.hold_id = @hold AND hp.part_id = ps.part_id)`

// Neighbours proposes the other suspect parts of a hold, each once under the closest thing that it shares, in the order of
// NeighbourShares and then of serials. Parts that left the house or are under this hold already are not among them.
func (db *DB) Neighbours(ctx context.Context, site, hold uuid.UUID) ([]Neighbour, error) {
	found, err := list[Neighbour](ctx, db.pool, neighbourSQL, sqlArgs{"site": site, "hold": hold})
	if err != nil {
		return nil, fmt.Errorf("neighbours of a hold: %w", err)
	}
	slices.SortFunc(found, func(a, b Neighbour) int {
		return cmp.Or(cmp.Compare(slices.Index(NeighbourShares, a.Shares), slices.Index(NeighbourShares, b.Shares)), cmp.Compare(a.Number, b.Number), cmp.Compare(a.Serial, b.Serial))
	})
	seen := map[uuid.UUID]bool{}
	return slices.DeleteFunc(found, func(n Neighbour) bool {
		before := seen[n.PartID]
		seen[n.PartID] = true
		return before
	}), nil
}

// A HandHold is a hold that a person opens on parts, without a record that failed. ID is made where it is entered; sending
// the same hold again is the same hold.
type HandHold struct {
	ID          uuid.UUID
	Serials     []string
	Cause       string
	Requirement string
}

// OpenHold opens a numbered hold on scanned parts, wholly or not at all, and returns its number.
func (db *DB) OpenHold(ctx context.Context, a Actor, h HandHold) (number string, err error) {
	h.Cause, h.Requirement = strings.TrimSpace(h.Cause), strings.TrimSpace(h.Requirement)
	switch {
	case !a.Has(Supervisor, Engineer):
		return "", refuse(RuleNoRight, "A supervisor or an engineer opens a hold.")
	case len([]rune(h.Cause)) < 5:
		return "", refuse("hold_cause_present", "Say why the parts are held, in at least five letters.")
	case len(h.Serials) == 0:
		return "", refuse(RuleInvalid, "Scan at least one part.")
	case h.ID == uuid.Nil:
		return "", refuse(RuleInvalid, "The hold has no number of its own. Reload the page and enter it again.")
	}
	err = db.inTx(ctx, a.Site, func(tx querier) error {
		known, err := one[Hold](ctx, tx, holdSQL+` AND h.hold_id = @hold`, sqlArgs{"site": a.Site, "hold": h.ID})
		if err == nil {
			number = known.Number
			return nil
		}
		if !errors.Is(err, ErrNotFound) {
			return err
		}
		number, err = db.openByHand(ctx, tx, a, h)
		return err
	})
	return number, err
}

func (db *DB) openByHand(ctx context.Context, tx querier, a Actor, h HandHold) (string, error) {
	st, err := site(ctx, tx, a.Site)
	if err != nil {
		return "", err
	}
	type row struct {
		ID     uuid.UUID `db:"part_id"`
		Serial string    `db:"serial"`
	}
	found, err := list[row](ctx, tx, `SELECT part_id, serial FROM part WHERE site_id = @site AND serial = ANY(@serials)`, sqlArgs{"site": a.Site, "serials": h.Serials})
	if err != nil {
		return "", err
	}
	ids := make([]uuid.UUID, len(found))
	for i, p := range found {
		ids[i] = p.ID
	}
	for _, serial := range h.Serials {
		if !slices.ContainsFunc(found, func(p row) bool { return p.Serial == serial }) {
			return "", refuse(RuleInvalid, fmt.Sprintf("“%s” is not a part of this site. Scan its hangtag again.", serial))
		}
	}
	if err := lockParts(ctx, tx, a.Site, ids); err != nil {
		return "", err
	}
	all, err := db.standings(ctx, tx, a.Site, ids)
	if err != nil {
		return "", err
	}
	for _, s := range all {
		if finished[s.Status] {
			return "", refuse(RuleFinished, fmt.Sprintf("Part %s is %s and cannot be held. Take it off the list.", s.Serial, s.Status))
		}
	}
	number, err := db.openHoldAs(ctx, tx, a, st, h.ID, h.Cause, orElse(h.Requirement, "Held by hand"), uuid.Nil, all)
	if err != nil {
		return "", err
	}
	specs, err := db.specsOf(ctx, tx, a.Site, all)
	if err != nil {
		return "", err
	}
	return number, db.settleAll(ctx, tx, a.Site, all, specs)
}
