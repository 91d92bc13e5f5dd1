package store

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// A Powder is a product as its maker sells it.
type Powder struct {
	ID     uuid.UUID `db:"powder_id"`
	Code   string    `db:"code"`
	Name   string    `db:"name"`
	Maker  string    `db:"maker"`
	Colour string    `db:"colour"`
	// StorageMaxC is the warmest it may be stored.
	StorageMaxC float64 `db:"storage_max_c"`
	// Source names the data sheet that the cure window comes from.
	Source string `db:"source"`
}

// A CurePoint is one point of a powder's cure window: at this metal temperature, at least and at most this long.
type CurePoint struct {
	MetalC     float64 `db:"metal_c"`
	MinutesMin float64 `db:"minutes_min"`
	MinutesMax float64 `db:"minutes_max"`
}

// powderWithWindow is what the event of a change tells.
type powderWithWindow struct {
	Powder
	CurePoints []CurePoint
}

const powderColumns = `powder_id, code, name, maker, colour, storage_max_c, source`

// Powders returns all powders of a site in order of their code.
func (db *DB) Powders(ctx context.Context, site uuid.UUID) ([]Powder, error) {
	powders, err := list[Powder](ctx, db.pool, `SELECT `+powderColumns+` FROM powder WHERE site_id = @site ORDER BY code`,
		pgx.StrictNamedArgs{"site": site})
	if err != nil {
		return nil, fmt.Errorf("powders: %w", err)
	}
	return powders, nil
}

// PowderByCode returns one powder.
func (db *DB) PowderByCode(ctx context.Context, site uuid.UUID, code string) (Powder, error) {
	p, err := one[Powder](ctx, db.pool, `SELECT `+powderColumns+` FROM powder WHERE site_id = @site AND code = @code`,
		pgx.StrictNamedArgs{"site": site, "code": code})
	if err != nil {
		return p, fmt.Errorf("powder %q: %w", code, err)
	}
	return p, nil
}

// CurePoints returns the cure window of a powder in order of temperature; none is an empty slice.
func (db *DB) CurePoints(ctx context.Context, site, powder uuid.UUID) ([]CurePoint, error) {
	return curePoints(ctx, db.pool, site, powder)
}

func curePoints(ctx context.Context, q querier, site, powder uuid.UUID) ([]CurePoint, error) {
	points, err := list[CurePoint](ctx, q, `SELECT metal_c, minutes_min, minutes_max FROM powder_cure_point
		WHERE site_id = @site AND powder_id = @powder ORDER BY metal_c`, pgx.StrictNamedArgs{"site": site, "powder": powder})
	if err != nil {
		return nil, fmt.Errorf("cure points of powder %s: %w", powder, err)
	}
	return points, nil
}

// AddPowder adds a powder with its cure window.
func (db *DB) AddPowder(ctx context.Context, a Actor, p Powder, points []CurePoint) (Powder, error) {
	p.ID = NewID()
	if err := curePointsInOrder(points); err != nil {
		return Powder{}, err
	}
	err := db.inTx(ctx, a.Site, func(tx pgx.Tx) error {
		if err := run(ctx, tx, `INSERT INTO powder (site_id, powder_id, code, name, maker, colour, storage_max_c, source)
			VALUES (@site, @id, @code, @name, @maker, @colour, @storage, @source)`, pgx.StrictNamedArgs{
			"site": a.Site, "id": p.ID, "code": p.Code, "name": p.Name, "maker": p.Maker, "colour": p.Colour,
			"storage": p.StorageMaxC, "source": p.Source}); err != nil {
			return err
		}
		if err := insertCurePoints(ctx, tx, a.Site, p.ID, points); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "powder added", SubjectKind: "powder", Subject: p.ID, After: powderWithWindow{p, points}})
	})
	if err != nil {
		return Powder{}, err
	}
	return p, nil
}

// ChangePowder changes everything about a powder but its code, and replaces its cure window. Cure runs already recorded
// keep the verdict they were given.
func (db *DB) ChangePowder(ctx context.Context, a Actor, p Powder, points []CurePoint) error {
	if err := curePointsInOrder(points); err != nil {
		return err
	}
	return db.inTx(ctx, a.Site, func(tx pgx.Tx) error {
		before, err := one[Powder](ctx, tx, `SELECT `+powderColumns+` FROM powder WHERE site_id = @site AND powder_id = @id FOR UPDATE`,
			pgx.StrictNamedArgs{"site": a.Site, "id": p.ID})
		if err != nil {
			return fmt.Errorf("powder %s: %w", p.ID, err)
		}
		had, err := curePoints(ctx, tx, a.Site, p.ID)
		if err != nil {
			return err
		}
		p.Code = before.Code
		if err := run(ctx, tx, `UPDATE powder SET name = @name, maker = @maker, colour = @colour, storage_max_c = @storage, source = @source
			WHERE site_id = @site AND powder_id = @id`, pgx.StrictNamedArgs{"site": a.Site, "id": p.ID, "name": p.Name,
			"maker": p.Maker, "colour": p.Colour, "storage": p.StorageMaxC, "source": p.Source}); err != nil {
			return err
		}
		if _, err := tx.Exec(ctx, `DELETE FROM powder_cure_point WHERE site_id = @site AND powder_id = @id`,
			pgx.StrictNamedArgs{"site": a.Site, "id": p.ID}); err != nil {
			return err
		}
		if err := insertCurePoints(ctx, tx, a.Site, p.ID, points); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "powder changed", SubjectKind: "powder", Subject: p.ID,
			Before: powderWithWindow{before, had}, After: powderWithWindow{p, points}})
	})
}

func insertCurePoints(ctx context.Context, tx pgx.Tx, site, powder uuid.UUID, points []CurePoint) error {
	for _, point := range points {
		if err := run(ctx, tx, `INSERT INTO powder_cure_point (site_id, powder_id, metal_c, minutes_min, minutes_max)
			VALUES (@site, @powder, @metal, @min, @max)`, pgx.StrictNamedArgs{"site": site, "powder": powder,
			"metal": point.MetalC, "min": point.MinutesMin, "max": point.MinutesMax}); err != nil {
			return err
		}
	}
	return nil
}

// curePointsInOrder refuses two points at one temperature and a window in which hotter metal needs as long or longer, which
// no powder does and a slip of the finger makes.
func curePointsInOrder(points []CurePoint) error {
	byHeat := slices.SortedFunc(slices.Values(points), func(a, b CurePoint) int { return cmp.Compare(a.MetalC, b.MetalC) })
	for i, p := range byHeat {
		if i == 0 {
			continue
		}
		cooler := byHeat[i-1]
		if cooler.MetalC == p.MetalC {
			return refuse("powder_cure_point_pkey", fmt.Sprintf("%g °C stands twice in the cure window. Keep one line for each metal temperature.", p.MetalC))
		}
		if p.MinutesMin >= cooler.MinutesMin {
			return refuse("powder_cure_point_order", fmt.Sprintf("At %g °C the powder needs %g min and at %g °C %g min. Hotter metal needs less time: check the data sheet.",
				cooler.MetalC, cooler.MinutesMin, p.MetalC, p.MinutesMin))
		}
	}
	return nil
}
