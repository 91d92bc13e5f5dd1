package store

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"coatbook/quality"
)

// A Rack is one hanging of parts. Its tag is the steel's; its number is its own.
type Rack struct {
	ID         uuid.UUID     `db:"rack_id"`
	Number     string        `db:"number"`
	Tag        string        `db:"tag"`
	HungBy     string        `db:"hung_by"`
	HungAt     time.Time     `db:"hung_at"`
	UnloadedAt *time.Time    `db:"unloaded_at"`
	Parts      int           `db:"parts"`
	LoadID     uuid.NullUUID `db:"load_id"`
	Load       string        `db:"load"`
	// Done are the kinds recorded on the rack so far.
	Done []string `db:"done"`
}

const rackSQL = `SELECT k.rack_id, k.number, k.tag, p.name AS hung_by, k.hung_at, k.unloaded_at,
	(SELECT count(*) FROM rack_part rp WHERE rp.site_id = k.site_id AND rp.rack_id = k.rack_id)::int AS parts,
	lr.load_id, coalesce(ol.number, '') AS load,
	ARRAY(SELECT DISTINCT r.kind FROM record r WHERE r.site_id = k.site_id AND r.rack_id = k.rack_id) AS done
	FROM rack k JOIN person p ON p.site_id = k.site_id AND p.person_id = k.hung_by
	LEFT JOIN load_rack lr ON lr.site_id = k.site_id AND lr.rack_id = k.rack_id
	LEFT JOIN oven_load ol ON ol.site_id = lr.site_id AND ol.load_id = lr.load_id
	WHERE k.site_id = @site`

// OpenRacks returns the racks that still hang, newest first.
func (db *DB) OpenRacks(ctx context.Context, site uuid.UUID) ([]Rack, error) {
	return list[Rack](ctx, db.pool, rackSQL+` AND k.unloaded_at IS NULL ORDER BY k.hung_at DESC`, sqlArgs{"site": site})
}

// RackByNumber returns one rack.
func (db *DB) RackByNumber(ctx context.Context, site uuid.UUID, number string) (Rack, error) {
	return one[Rack](ctx, db.pool, rackSQL+` AND k.number = @number`, sqlArgs{"site": site, "number": number})
}

// HangRack opens a rack on a tag that is free and returns it.
func (db *DB) HangRack(ctx context.Context, a Actor, id uuid.UUID, tag string) (Rack, error) {
	var number string
	err := db.inTx(ctx, a.Site, func(tx querier) error {
		existing, err := one[Rack](ctx, tx, rackSQL+` AND k.rack_id = @rack`, sqlArgs{"site": a.Site, "rack": id})
		if err == nil {
			number = existing.Number // the same hanging came twice
			return nil
		}
		if !errors.Is(err, ErrNotFound) {
			return err
		}
		n, err := nextNumber(ctx, tx, a.Site, "rack")
		if err != nil {
			return err
		}
		number = fmt.Sprintf("R-%05d", n)
		if err := run(ctx, tx, `INSERT INTO rack (site_id, rack_id, number, tag, hung_by, hung_at) VALUES (@site, @rack, @number, @tag, @by, @at)`,
			sqlArgs{"site": a.Site, "rack": id, "number": number, "tag": tag, "by": a.Person, "at": db.Clock()}); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "rack hung", SubjectKind: "rack", Subject: id, After: map[string]string{"number": number, "tag": tag}})
	})
	if err != nil {
		return Rack{}, err
	}
	return db.RackByNumber(ctx, a.Site, number)
}

// lockRack returns an open rack and keeps others from changing it meanwhile, or recording on it (lockCarrier). The lock lets
// rows refer to the rack, so that who holds its parts and writes such a row does not wait for who waits for the parts.
func lockRack(ctx context.Context, tx querier, site, id uuid.UUID) (Rack, error) {
	if _, err := tx.Exec(ctx, `SELECT 1 FROM rack WHERE site_id = @site AND rack_id = @rack FOR NO KEY UPDATE`, sqlArgs{"site": site, "rack": id}); err != nil {
		return Rack{}, err
	}
	k, err := one[Rack](ctx, tx, rackSQL+` AND k.rack_id = @rack`, sqlArgs{"site": site, "rack": id})
	if err == nil && k.UnloadedAt != nil {
		return k, refuse(RuleChanged, fmt.Sprintf("Rack %s was unloaded at %s. Hang a new one.", k.Number, k.UnloadedAt.Format("15:04 on 2 January")))
	}
	return k, err
}

// HangParts hangs parts on a rack before its first run. A part hangs on one rack in a cycle, is not held or finished, has
// passed what comes before the wash, and follows the same finish spec as the others.
func (db *DB) HangParts(ctx context.Context, a Actor, rack uuid.UUID, parts []uuid.UUID) error {
	return db.inTx(ctx, a.Site, func(tx querier) error {
		k, err := lockRack(ctx, tx, a.Site, rack)
		if err != nil {
			return err
		}
		if len(k.Done) > 0 {
			return refuse(RuleChanged, fmt.Sprintf("Rack %s has been through the line. Hang the part on a new rack.", k.Number))
		}
		if k.LoadID.Valid {
			return refuse(RuleChanged, fmt.Sprintf("Rack %s is in oven load %s. Hang the part on a new rack.", k.Number, k.Load))
		}
		if err := lockParts(ctx, tx, a.Site, parts); err != nil {
			return err
		}
		others, err := subjectParts(ctx, tx, a.Site, Subject{quality.OnRack, rack})
		if err != nil {
			return err
		}
		all, err := db.standings(ctx, tx, a.Site, append(others, parts...))
		if err != nil {
			return err
		}
		specs, err := db.specsOf(ctx, tx, a.Site, all)
		if err != nil {
			return err
		}
		adding := map[uuid.UUID]bool{}
		for _, id := range parts {
			adding[id] = true
		}
		position := len(others)
		var hung []*standing
		var ids []uuid.UUID
		var cycles, positions []int
		var events []Event
		for _, s := range all {
			if s.SpecID != all[0].SpecID {
				return refuse(RuleMixed, fmt.Sprintf("Parts %s and %s follow different finish specs. Hang them on different racks.", all[0].Serial, s.Serial))
			}
			if !adding[s.PartID] || s.RackID.Valid && s.RackID.UUID == rack {
				continue
			}
			if err := mayHang(s, specs[s.SpecID]); err != nil {
				return err
			}
			position++
			ids, cycles, positions = append(ids, s.PartID), append(cycles, s.Cycle), append(positions, position)
			s.RackID = null(rack)
			hung = append(hung, s)
			events = append(events, Event{Verb: "hung", SubjectKind: "part", Subject: s.PartID, After: map[string]any{"rack": k.Number, "position": position}})
		}
		b := &pgx.Batch{}
		b.Queue(`INSERT INTO rack_part (site_id, rack_id, part_id, cycle, position)
			SELECT @site, @rack, n.part_id, n.cycle, n.position FROM unnest(@parts::uuid[], @cycles::int[], @positions::int[]) AS n(part_id, cycle, position)`,
			sqlArgs{"site": a.Site, "rack": rack, "parts": ids, "cycles": cycles, "positions": positions})
		if err := db.queueEvent(b, a, events...); err != nil {
			return err
		}
		db.queueSettle(b, a.Site, hung, specs)
		return send(ctx, tx, b)
	})
}

func mayHang(s *standing, spec quality.FinishSpec) error {
	switch {
	case finished[s.Status]:
		return refuse(RuleFinished, fmt.Sprintf("Part %s is %s.", s.Serial, s.Status))
	case s.Status == StatusOnHold:
		return refuse(RuleOnHold, fmt.Sprintf("Part %s is on hold. A supervisor decides first, on the Holds page.", s.Serial))
	case s.RackID.Valid:
		return refuse(RuleChanged, fmt.Sprintf("Part %s hangs on another rack in this cycle.", s.Serial))
	}
	if ok, reason := quality.MayStart(quality.Pretreatment, s.gate(spec)); !ok {
		return refuse(RuleStepMissing, fmt.Sprintf("Part %s: %s", s.Serial, reason))
	}
	return nil
}

// TakeOff takes a part off a rack before its first run.
func (db *DB) TakeOff(ctx context.Context, a Actor, rack, part uuid.UUID) error {
	return db.inTx(ctx, a.Site, func(tx querier) error {
		k, err := lockRack(ctx, tx, a.Site, rack)
		if err != nil {
			return err
		}
		if len(k.Done) > 0 {
			return refuse(RuleChanged, fmt.Sprintf("Rack %s has been through the line; its parts stay with it.", k.Number))
		}
		if err := lockParts(ctx, tx, a.Site, []uuid.UUID{part}); err != nil {
			return err
		}
		if err := run(ctx, tx, `DELETE FROM rack_part WHERE site_id = @site AND rack_id = @rack AND part_id = @part`,
			sqlArgs{"site": a.Site, "rack": rack, "part": part}); err != nil {
			return err
		}
		if _, err := db.refresh(ctx, tx, a.Site, []uuid.UUID{part}); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "taken off", SubjectKind: "part", Subject: part, Before: map[string]string{"rack": k.Number}})
	})
}

// Unload frees the steel of a rack for the next hanging. What was recorded on the rack stays evidence for its parts.
func (db *DB) Unload(ctx context.Context, a Actor, rack uuid.UUID) error {
	return db.inTx(ctx, a.Site, func(tx querier) error {
		k, err := lockRack(ctx, tx, a.Site, rack)
		if err != nil {
			return err
		}
		if err := run(ctx, tx, `UPDATE rack SET unloaded_at = @at WHERE site_id = @site AND rack_id = @rack AND unloaded_at IS NULL`,
			sqlArgs{"site": a.Site, "rack": rack, "at": db.Clock()}); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "rack unloaded", SubjectKind: "rack", Subject: rack, Before: map[string]string{"tag": k.Tag}})
	})
}
