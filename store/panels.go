package store

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
)

// A Panel is a witness panel: a piece of sheet that goes through wash, booth and oven with the parts, for the tests that
// destroy. It hangs on a rack, from which its load follows, or lies on a load by itself; its powder lot is that of the load.
type Panel struct {
	ID             uuid.UUID       `db:"panel_id"`
	Code           string          `db:"code"`
	RackID         uuid.NullUUID   `db:"rack_id"`
	Rack           string          `db:"rack"`
	LoadID         uuid.NullUUID   `db:"load_id"` // its own, or that of its rack
	Load           string          `db:"load"`
	Alloy          string          `db:"alloy"`
	PretreatedWith string          `db:"pretreated_with"`
	Position       string          `db:"position"`
	AddedBy        string          `db:"added_by"`
	AddedAt        time.Time       `db:"added_at"`
	RecordID       uuid.NullUUID   `db:"record_id"` // its latest test that counts
	Verdict        quality.Verdict `db:"verdict"`
}

const (
	panelSQL = `SELECT pl.panel_id, pl.code, pl.rack_id, coalesce(rk.number, '') AS rack, coalesce(pl.load_id, lr.load_id) AS load_id, coalesce(ol.number, '') AS load,
		pl.alloy, pl.pretreated_with, pl.position, p.name AS added_by, pl.added_at, t.record_id, coalesce(t.verdict, '') AS verdict
		FROM panel pl JOIN person p ON p.site_id = pl.site_id AND p.person_id = pl.added_by
		LEFT JOIN rack rk ON rk.site_id = pl.site_id AND rk.rack_id = pl.rack_id
		LEFT JOIN load_rack lr ON lr.site_id = pl.site_id AND lr.rack_id = pl.rack_id
		LEFT JOIN oven_load ol ON ol.site_id = pl.site_id AND ol.load_id = coalesce(pl.load_id, lr.load_id)
		LEFT JOIN LATERAL (SELECT r.record_id, r.verdict FROM record r WHERE r.site_id = pl.site_id AND r.panel_id = pl.panel_id AND r.kind = 'panel_test' AND r.verdict <> 'void'
			AND NOT EXISTS (SELECT 1 FROM record s WHERE s.site_id = r.site_id AND s.supersedes_id = r.record_id) ORDER BY r.observed_at DESC LIMIT 1) t ON true
		WHERE pl.site_id = @site`
	// loadOfPanel is the load that panel @id went with.
	loadOfPanel = `(SELECT coalesce(pl.load_id, k.load_id) FROM panel pl LEFT JOIN load_rack k ON k.site_id = pl.site_id AND k.rack_id = pl.rack_id
		WHERE pl.site_id = @site AND pl.panel_id = @id)`
	// panelsOfLoad are the panels pl of a load t: those on it, and those on its racks.
	panelsOfLoad = `LATERAL (SELECT p.panel_id, p.code FROM panel p WHERE p.site_id = @site AND p.load_id = t.load_id
		UNION ALL SELECT p.panel_id, p.code FROM load_rack k JOIN panel p ON p.site_id = k.site_id AND p.rack_id = k.rack_id
			WHERE k.site_id = @site AND k.load_id = t.load_id) pl`
)

// PanelByCode returns one panel.
func (db *DB) PanelByCode(ctx context.Context, site uuid.UUID, code string) (Panel, error) {
	return one[Panel](ctx, db.pool, panelSQL+` AND pl.code = @code`, sqlArgs{"site": site, "code": strings.ToUpper(code)})
}

// PanelsOf returns the panels that went with a rack or load, by code. Those of a load are on it or on one of its racks.
func (db *DB) PanelsOf(ctx context.Context, site uuid.UUID, on Subject) ([]Panel, error) {
	args := sqlArgs{"site": site, "id": on.ID}
	if on.Kind == quality.OnRack {
		return list[Panel](ctx, db.pool, panelSQL+` AND pl.rack_id = @id ORDER BY pl.code`, args)
	}
	return list[Panel](ctx, db.pool, panelSQL+` AND (pl.load_id = @id OR pl.rack_id IN (SELECT k.rack_id FROM load_rack k WHERE k.site_id = @site AND k.load_id = @id)) ORDER BY pl.code`, args)
}

// PanelPowders returns the powder lots that the racks beside a panel were coated with.
func (db *DB) PanelPowders(ctx context.Context, site uuid.UUID, p Panel) ([]string, error) {
	return column[string](ctx, db.pool, `SELECT DISTINCT l.lot_number FROM record r
		JOIN record_use u ON u.site_id = r.site_id AND u.record_id = r.record_id AND u.role = 'powder'
		JOIN material_lot l ON l.site_id = u.site_id AND l.lot_id = u.lot_id
		WHERE r.site_id = @site AND r.kind = 'coating' AND r.verdict <> 'void' AND r.rack_id = ANY(CASE WHEN @rack::uuid IS NOT NULL THEN ARRAY[@rack::uuid]
			ELSE ARRAY(SELECT k.rack_id FROM load_rack k WHERE k.site_id = @site AND k.load_id = @load::uuid) END)
		AND NOT EXISTS (SELECT 1 FROM record s WHERE s.site_id = r.site_id AND s.supersedes_id = r.record_id) ORDER BY 1`,
		sqlArgs{"site": site, "rack": p.RackID, "load": p.LoadID})
}

// AddPanel puts a panel on a rack or on a load; one of the two is named. The same id again is the same panel.
func (db *DB) AddPanel(ctx context.Context, a Actor, p Panel) error {
	p.Code = strings.ToUpper(strings.TrimSpace(p.Code))
	err := db.inTx(ctx, a.Site, func(tx querier) error {
		before, err := one[Panel](ctx, tx, panelSQL+` AND pl.panel_id = @id`, sqlArgs{"site": a.Site, "id": p.ID})
		if err == nil && before.Code == p.Code {
			return nil
		}
		if err == nil {
			return refuse(RuleSameID, "This panel was added before under another code. Reload the page.")
		}
		if !errors.Is(err, ErrNotFound) {
			return err
		}
		if err := run(ctx, tx, `INSERT INTO panel (site_id, panel_id, code, rack_id, load_id, alloy, pretreated_with, position, added_by, added_at)
			VALUES (@site, @id, @code, @rack, @load, @alloy, @with, @position, @by, @at)`, sqlArgs{"site": a.Site, "id": p.ID, "code": p.Code, "rack": p.RackID,
			"load": p.LoadID, "alloy": p.Alloy, "with": p.PretreatedWith, "position": p.Position, "by": a.Person, "at": db.Clock()}); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "panel added", SubjectKind: string(quality.OnPanel), Subject: p.ID,
			After: map[string]any{"code": p.Code, "rack": p.RackID, "load": p.LoadID, "alloy": p.Alloy, "pretreated_with": p.PretreatedWith, "position": p.Position}})
	})
	return asRefusal(err)
}

// loosePanel is the refusal of a test on a panel that no parts lie beside, because it is on no load.
func loosePanel(ctx context.Context, q querier, site, panel uuid.UUID) error {
	p, err := one[Panel](ctx, q, panelSQL+` AND pl.panel_id = @id`, sqlArgs{"site": site, "id": panel})
	switch {
	case err != nil:
		return err
	case !p.LoadID.Valid:
		return refuse(RulePanelLoose, fmt.Sprintf("Panel %s hangs on rack %s, which is on no oven load. A test on it would speak for no part. Put the rack on its load, then record the test.", p.Code, p.Rack))
	}
	return refuse(RuleNoParts, fmt.Sprintf("Load %s of panel %s carries no parts of this cycle any more.", p.Load, p.Code))
}
