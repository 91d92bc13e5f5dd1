package store

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
)

// An OvenLoad is one or more racks baked together.
type OvenLoad struct {
	ID       uuid.UUID  `db:"load_id"`
	Number   string     `db:"number"`
	OvenID   uuid.UUID  `db:"oven_id"`
	Oven     string     `db:"oven"`
	OpenedBy string     `db:"opened_by"`
	OpenedAt time.Time  `db:"opened_at"`
	ClosedAt *time.Time `db:"closed_at"`
	Racks    int        `db:"racks"`
	Parts    int        `db:"parts"`
	Done     []string   `db:"done"`
}

const loadSQL = `SELECT o.load_id, o.number, o.oven_id, s.name AS oven, p.name AS opened_by, o.opened_at, o.closed_at,
	(SELECT count(*) FROM load_rack lr WHERE lr.site_id = o.site_id AND lr.load_id = o.load_id)::int AS racks,
	(SELECT count(*) FROM load_rack lr JOIN rack_part rp ON rp.site_id = lr.site_id AND rp.rack_id = lr.rack_id WHERE lr.site_id = o.site_id AND lr.load_id = o.load_id)::int AS parts,
	ARRAY(SELECT DISTINCT r.kind FROM record r WHERE r.site_id = o.site_id AND r.load_id = o.load_id) AS done
	FROM oven_load o JOIN station s ON s.site_id = o.site_id AND s.station_id = o.oven_id
	JOIN person p ON p.site_id = o.site_id AND p.person_id = o.opened_by WHERE o.site_id = @site`

// RecentLoads returns the loads opened since a time, newest first.
func (db *DB) RecentLoads(ctx context.Context, site uuid.UUID, since time.Time) ([]OvenLoad, error) {
	return list[OvenLoad](ctx, db.pool, loadSQL+` AND o.opened_at >= @since ORDER BY o.opened_at DESC`, sqlArgs{"site": site, "since": since})
}

// LoadByNumber returns one oven load.
func (db *DB) LoadByNumber(ctx context.Context, site uuid.UUID, number string) (OvenLoad, error) {
	return one[OvenLoad](ctx, db.pool, loadSQL+` AND o.number = @number`, sqlArgs{"site": site, "number": number})
}

// RacksOf returns the racks of a load.
func (db *DB) RacksOf(ctx context.Context, site, load uuid.UUID) ([]Rack, error) {
	return list[Rack](ctx, db.pool, rackSQL+` AND lr.load_id = @load ORDER BY k.number`, sqlArgs{"site": site, "load": load})
}

// OpenLoad opens a load in an oven and returns it.
func (db *DB) OpenLoad(ctx context.Context, a Actor, id, oven uuid.UUID) (OvenLoad, error) {
	var number string
	err := db.inTx(ctx, a.Site, func(tx querier) error {
		existing, err := one[OvenLoad](ctx, tx, loadSQL+` AND o.load_id = @load`, sqlArgs{"site": a.Site, "load": id})
		if err == nil {
			number = existing.Number
			return nil
		}
		if !errors.Is(err, ErrNotFound) {
			return err
		}
		kind, err := value[string](ctx, tx, `SELECT kind FROM station WHERE site_id = @site AND station_id = @oven AND active`, sqlArgs{"site": a.Site, "oven": oven})
		if err != nil || kind != "oven" {
			return refuse(RuleInvalid, "Choose an oven for the load.")
		}
		n, err := nextNumber(ctx, tx, a.Site, "load")
		if err != nil {
			return err
		}
		number = fmt.Sprintf("L-%05d", n)
		if err := run(ctx, tx, `INSERT INTO oven_load (site_id, load_id, number, oven_id, opened_by, opened_at) VALUES (@site, @load, @number, @oven, @by, @at)`,
			sqlArgs{"site": a.Site, "load": id, "number": number, "oven": oven, "by": a.Person, "at": db.Clock()}); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "load opened", SubjectKind: "load", Subject: id, After: map[string]any{"number": number, "oven": oven}})
	})
	if err != nil {
		return OvenLoad{}, err
	}
	return db.LoadByNumber(ctx, a.Site, number)
}

// AddRack puts a coated rack on a load before its cure run.
func (db *DB) AddRack(ctx context.Context, a Actor, load, rack uuid.UUID) error {
	return db.inTx(ctx, a.Site, func(tx querier) error {
		if _, err := tx.Exec(ctx, `SELECT 1 FROM oven_load WHERE site_id = @site AND load_id = @load FOR NO KEY UPDATE`, sqlArgs{"site": a.Site, "load": load}); err != nil {
			return err
		}
		o, err := one[OvenLoad](ctx, tx, loadSQL+` AND o.load_id = @load`, sqlArgs{"site": a.Site, "load": load})
		if err != nil {
			return err
		}
		if len(o.Done) > 0 {
			return refuse(RuleChanged, fmt.Sprintf("Load %s has been in the oven. Open a new load.", o.Number))
		}
		k, err := lockRack(ctx, tx, a.Site, rack)
		if err != nil {
			return err
		}
		switch {
		case k.LoadID.Valid && k.LoadID.UUID == load:
			return nil
		case k.LoadID.Valid:
			return refuse(RuleChanged, fmt.Sprintf("Rack %s is on load %s.", k.Number, k.Load))
		case k.Parts == 0:
			return refuse(RuleNoParts, fmt.Sprintf("Rack %s carries no parts.", k.Number))
		}
		parts, err := subjectParts(ctx, tx, a.Site, Subject{quality.OnRack, rack})
		if err != nil {
			return err
		}
		if len(parts) == 0 {
			return refuse(RuleNoParts, fmt.Sprintf("Rack %s carries no parts of this cycle any more. Hang the stripped parts on a rack of their own.", k.Number))
		}
		if err := lockParts(ctx, tx, a.Site, parts); err != nil {
			return err
		}
		all, err := db.standings(ctx, tx, a.Site, parts)
		if err != nil {
			return err
		}
		specs, err := db.specsOf(ctx, tx, a.Site, all)
		if err != nil {
			return err
		}
		for _, s := range all {
			if ok, reason := quality.MayStart(quality.Cure, s.gate(specs[s.SpecID])); !ok && s.Status != StatusOnHold {
				return refuse(RuleStepMissing, fmt.Sprintf("Rack %s, part %s: %s", k.Number, s.Serial, reason))
			}
		}
		if err := db.mayLoad(ctx, tx, a.Site, o, k, all, specs); err != nil {
			return err
		}
		if err := run(ctx, tx, `INSERT INTO load_rack (site_id, load_id, rack_id) VALUES (@site, @load, @rack)`,
			sqlArgs{"site": a.Site, "load": load, "rack": rack}); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "rack loaded", SubjectKind: "rack", Subject: rack, After: map[string]string{"load": o.Number}})
	})
}

// mayLoad refuses a rack of series parts that wait for a first article, by the powder and booth of its coating run and the
// oven of the load.
func (db *DB) mayLoad(ctx context.Context, tx querier, site uuid.UUID, o OvenLoad, k Rack, all []*standing, specs map[uuid.UUID]quality.FinishSpec) error {
	asked := specs[all[0].SpecID].FirstArticle
	if asked == nil {
		return nil
	}
	rev, _, err := db.approvedSpec(ctx, tx, site, all[0].SpecID, db.Clock())
	if err != nil {
		return err
	}
	b, err := basisOfRack(ctx, tx, site, null(k.ID))
	if err != nil {
		return err
	}
	want := b.basis()
	want.Oven = quality.Named{ID: o.OvenID.String(), Name: o.Oven}
	r, err := db.seriesWaits(ctx, tx, site, all, rev, *asked, want)
	if err != nil || r == nil {
		return err
	}
	return r
}
