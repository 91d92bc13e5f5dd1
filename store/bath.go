package store

import (
	"context"
	"fmt"

	"github.com/google/uuid"
)

// A Bath is one vessel of the wash line and the stage it serves.
type Bath struct {
	ID     uuid.UUID `db:"bath_id"`
	Code   string    `db:"code"`
	Name   string    `db:"name"`
	Stage  string    `db:"stage"`
	Active bool      `db:"active"`
	// VolumeL is how much it holds; nil when it is not known.
	VolumeL *float64 `db:"volume_l"`
	// DumpDays is after how many days it is dumped and made up anew; 0 does not ask.
	DumpDays int `db:"dump_days"`
}

const bathColumns = `bath_id, code, name, stage, active, volume_l, dump_days`

// Baths returns all baths of a site, retired ones included, in order of their code.
func (db *DB) Baths(ctx context.Context, site uuid.UUID) ([]Bath, error) {
	baths, err := list[Bath](ctx, db.pool, `SELECT `+bathColumns+` FROM bath WHERE site_id = @site ORDER BY code`,
		sqlArgs{"site": site})
	if err != nil {
		return nil, fmt.Errorf("baths: %w", err)
	}
	return baths, nil
}

// AddBath adds a bath. Its code and stage stay as they are for good.
func (db *DB) AddBath(ctx context.Context, a Actor, b Bath) (Bath, error) {
	b.ID, b.Active = NewID(), true
	err := db.inTx(ctx, a.Site, func(tx querier) error {
		if err := run(ctx, tx, `INSERT INTO bath (site_id, bath_id, code, name, stage, volume_l, dump_days) VALUES (@site, @id, @code, @name, @stage, @volume, @dump)`,
			sqlArgs{"site": a.Site, "id": b.ID, "code": b.Code, "name": b.Name, "stage": b.Stage, "volume": b.VolumeL, "dump": b.DumpDays}); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "bath added", SubjectKind: "bath", Subject: b.ID, After: b})
	})
	if err != nil {
		return Bath{}, err
	}
	return b, nil
}

// ChangeBath changes a bath's name, volume, rhythm of make-up and whether it is in use.
func (db *DB) ChangeBath(ctx context.Context, a Actor, b Bath) error {
	return db.inTx(ctx, a.Site, func(tx querier) error {
		before, err := one[Bath](ctx, tx, `SELECT `+bathColumns+` FROM bath WHERE site_id = @site AND bath_id = @id`,
			sqlArgs{"site": a.Site, "id": b.ID})
		if err != nil {
			return fmt.Errorf("bath %s: %w", b.ID, err)
		}
		if err := run(ctx, tx, `UPDATE bath SET name = @name, active = @active, volume_l = @volume, dump_days = @dump WHERE site_id = @site AND bath_id = @id`,
			sqlArgs{"site": a.Site, "id": b.ID, "name": b.Name, "active": b.Active, "volume": b.VolumeL, "dump": b.DumpDays}); err != nil {
			return err
		}
		after := before
		after.Name, after.Active, after.VolumeL, after.DumpDays = b.Name, b.Active, b.VolumeL, b.DumpDays
		return db.event(ctx, tx, a, Event{Verb: "bath changed", SubjectKind: "bath", Subject: b.ID, Before: before, After: after})
	})
}
