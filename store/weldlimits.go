package store

import (
	"context"
	"errors"
	"fmt"

	"github.com/google/uuid"

	"coatbook/quality"
)

const weldLimitColumns = `level, code, permitted, per_wall, plus_mm, max_mm, source`

// addDefaultWeldLimits gives a new site the rows it can start from; the shop checks them against the standard it bought.
func addDefaultWeldLimits(ctx context.Context, tx querier, site uuid.UUID) error {
	for _, l := range quality.DefaultWeldLimits() {
		if err := putWeldLimit(ctx, tx, site, l); err != nil {
			return fmt.Errorf("default weld limit %s %s: %w", l.Level, l.Code, err)
		}
	}
	return nil
}

func putWeldLimit(ctx context.Context, tx querier, site uuid.UUID, l quality.WeldLimit) error {
	return run(ctx, tx, `INSERT INTO weld_limit (site_id, level, code, permitted, per_wall, plus_mm, max_mm, source)
		VALUES (@site, @level, @code, @permitted, @wall, @plus, @max, @source)
		ON CONFLICT (site_id, level, code) DO UPDATE SET permitted = @permitted, per_wall = @wall, plus_mm = @plus, max_mm = @max, source = @source`,
		sqlArgs{"site": site, "level": l.Level, "code": l.Code, "permitted": l.Permitted, "wall": l.PerWall, "plus": l.PlusMM,
			"max": l.MaxMM, "source": l.Source})
}

// WeldLimits returns the weld limit rows of a site in order of level and imperfection.
func (db *DB) WeldLimits(ctx context.Context, site uuid.UUID) ([]quality.WeldLimit, error) {
	limits, err := list[quality.WeldLimit](ctx, db.pool, `SELECT `+weldLimitColumns+` FROM weld_limit WHERE site_id = @site ORDER BY level, code`,
		sqlArgs{"site": site})
	if err != nil {
		return nil, fmt.Errorf("weld limits: %w", err)
	}
	return limits, nil
}

// weldLimits returns the rows of one quality level.
func weldLimits(ctx context.Context, q querier, site uuid.UUID, level string) ([]quality.WeldLimit, error) {
	limits, err := list[quality.WeldLimit](ctx, q, `SELECT `+weldLimitColumns+` FROM weld_limit WHERE site_id = @site AND level = @level ORDER BY code`,
		sqlArgs{"site": site, "level": level})
	if err != nil {
		return nil, fmt.Errorf("weld limits of level %s: %w", level, err)
	}
	return limits, nil
}

func weldLimit(ctx context.Context, q querier, site uuid.UUID, level, code string) (quality.WeldLimit, error) {
	l, err := one[quality.WeldLimit](ctx, q, `SELECT `+weldLimitColumns+` FROM weld_limit WHERE site_id = @site AND level = @level AND code = @code`,
		sqlArgs{"site": site, "level": level, "code": code})
	if err != nil {
		return l, fmt.Errorf("weld limit %s %s: %w", level, code, err)
	}
	return l, nil
}

// SaveWeldLimit adds a row or changes the one of that level and imperfection. Checks already recorded keep their verdict.
func (db *DB) SaveWeldLimit(ctx context.Context, a Actor, l quality.WeldLimit) error {
	return db.inTx(ctx, a.Site, func(tx querier) error {
		before, err := weldLimit(ctx, tx, a.Site, l.Level, l.Code)
		var was any = before
		if errors.Is(err, ErrNotFound) {
			was = nil
		} else if err != nil {
			return err
		}
		if err := putWeldLimit(ctx, tx, a.Site, l); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "weld limit saved", SubjectKind: "weld_limit", Subject: a.Site, Before: was, After: l})
	})
}

// DeleteWeldLimit takes a row out of use: the imperfection then has no limit of its own at that level. The event keeps the row.
func (db *DB) DeleteWeldLimit(ctx context.Context, a Actor, level, code string) error {
	return db.inTx(ctx, a.Site, func(tx querier) error {
		before, err := weldLimit(ctx, tx, a.Site, level, code)
		if err != nil {
			return err
		}
		if err := run(ctx, tx, `DELETE FROM weld_limit WHERE site_id = @site AND level = @level AND code = @code`,
			sqlArgs{"site": a.Site, "level": level, "code": code}); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "weld limit removed", SubjectKind: "weld_limit", Subject: a.Site, Before: before})
	})
}
