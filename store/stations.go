package store

import (
	"context"
	"fmt"

	"github.com/google/uuid"
)

// A Station is a place of work: a weld bench, the wash line, a booth, an oven, the final bench or a desk.
type Station struct {
	ID     uuid.UUID `db:"station_id"`
	Code   string    `db:"code"`
	Name   string    `db:"name"`
	Kind   string    `db:"kind"`
	Active bool      `db:"active"`
}

const stationColumns = `station_id, code, name, kind, active`

// Stations returns all stations of a site, retired ones included, in order of their code.
func (db *DB) Stations(ctx context.Context, site uuid.UUID) ([]Station, error) {
	stations, err := list[Station](ctx, db.pool, `SELECT `+stationColumns+` FROM station WHERE site_id = @site ORDER BY code`,
		sqlArgs{"site": site})
	if err != nil {
		return nil, fmt.Errorf("stations: %w", err)
	}
	return stations, nil
}

// Station returns one station.
func (db *DB) Station(ctx context.Context, site, id uuid.UUID) (Station, error) {
	return station(ctx, db.pool, site, id)
}

func station(ctx context.Context, q querier, site, id uuid.UUID) (Station, error) {
	s, err := one[Station](ctx, q, `SELECT `+stationColumns+` FROM station WHERE site_id = @site AND station_id = @id`,
		sqlArgs{"site": site, "id": id})
	if err != nil {
		return s, fmt.Errorf("station %s: %w", id, err)
	}
	return s, nil
}

// AddStation adds a station. Its code and kind stay as they are for good.
func (db *DB) AddStation(ctx context.Context, a Actor, s Station) (Station, error) {
	s.ID, s.Active = NewID(), true
	err := db.inTx(ctx, a.Site, func(tx querier) error {
		if err := run(ctx, tx, `INSERT INTO station (site_id, station_id, code, name, kind) VALUES (@site, @id, @code, @name, @kind)`,
			sqlArgs{"site": a.Site, "id": s.ID, "code": s.Code, "name": s.Name, "kind": s.Kind}); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "station added", SubjectKind: "station", Subject: s.ID, After: s})
	})
	if err != nil {
		return Station{}, err
	}
	return s, nil
}

// ChangeStation changes a station's name and whether it is in use.
func (db *DB) ChangeStation(ctx context.Context, a Actor, s Station) error {
	return db.inTx(ctx, a.Site, func(tx querier) error {
		before, err := station(ctx, tx, a.Site, s.ID)
		if err != nil {
			return err
		}
		if err := run(ctx, tx, `UPDATE station SET name = @name, active = @active WHERE site_id = @site AND station_id = @id`,
			sqlArgs{"site": a.Site, "id": s.ID, "name": s.Name, "active": s.Active}); err != nil {
			return err
		}
		after := before
		after.Name, after.Active = s.Name, s.Active
		return db.event(ctx, tx, a, Event{Verb: "station changed", SubjectKind: "station", Subject: s.ID, Before: before, After: after})
	})
}
