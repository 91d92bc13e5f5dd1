package store

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
)

// A PartNumber is a design the shop makes, and the finish spec its parts are judged by.
type PartNumber struct {
	ID       uuid.UUID `db:"part_number_id"`
	Code     string    `db:"code"`
	Name     string    `db:"name"`
	SpecID   uuid.UUID `db:"spec_id"`
	SpecCode string    `db:"spec_code"`
	Alloy    string    `db:"alloy"`
	BaseForm string    `db:"base_form"`
	WallMM   float64   `db:"wall_mm"`
	Welds    int       `db:"welds"`
	// Sketch names the outline that carries the measuring spots: frame, rail, bracket, panel or post.
	Sketch string `db:"sketch"`
	Active bool   `db:"active"`
}

// A Spot is one place to measure: its number, the area it counts for, the place in words and on the sketch.
type Spot struct {
	Spot  int    `db:"spot"`
	Area  string `db:"area"`
	Place string `db:"place"`
	X     int    `db:"sketch_x"`
	Y     int    `db:"sketch_y"`
}

// A Plan is a revision of a part number's measuring plan.
type Plan struct {
	ID              uuid.UUID `db:"plan_id"`
	Revision        int       `db:"revision"`
	ReadingsPerSpot int       `db:"readings_per_spot"`
	Spots           []Spot    `db:"-"`
}

const selectPartNumber = `SELECT n.part_number_id, n.code, n.name, n.spec_id, f.code AS spec_code, n.alloy, n.base_form, n.wall_mm, n.welds, n.sketch, n.active
	FROM part_number n JOIN finish_spec f ON f.site_id = n.site_id AND f.spec_id = n.spec_id `

// PartNumbers returns all part numbers of a site, retired ones included, in order of their code.
func (db *DB) PartNumbers(ctx context.Context, site uuid.UUID) ([]PartNumber, error) {
	numbers, err := list[PartNumber](ctx, db.pool, selectPartNumber+`WHERE n.site_id = @site ORDER BY n.code`, sqlArgs{"site": site})
	if err != nil {
		return nil, fmt.Errorf("part numbers: %w", err)
	}
	return numbers, nil
}

// PartNumber returns one part number.
func (db *DB) PartNumber(ctx context.Context, site, id uuid.UUID) (PartNumber, error) {
	return partNumber(ctx, db.pool, site, id)
}

func partNumber(ctx context.Context, q querier, site, id uuid.UUID) (PartNumber, error) {
	n, err := one[PartNumber](ctx, q, selectPartNumber+`WHERE n.site_id = @site AND n.part_number_id = @id`, sqlArgs{"site": site, "id": id})
	if err != nil {
		return n, fmt.Errorf("part number %s: %w", id, err)
	}
	return n, nil
}

// AddPartNumber adds a part number. Its code stays as it is for good.
func (db *DB) AddPartNumber(ctx context.Context, a Actor, n PartNumber) (PartNumber, error) {
	n.ID = NewID()
	var added PartNumber
	err := db.inTx(ctx, a.Site, func(tx querier) error {
		if err := run(ctx, tx, `INSERT INTO part_number (site_id, part_number_id, code, name, spec_id, alloy, base_form, wall_mm, welds, sketch)
			VALUES (@site, @id, @code, @name, @spec, @alloy, @form, @wall, @welds, @sketch)`, sqlArgs{
			"site": a.Site, "id": n.ID, "code": n.Code, "name": n.Name, "spec": n.SpecID, "alloy": n.Alloy, "form": n.BaseForm,
			"wall": n.WallMM, "welds": n.Welds, "sketch": n.Sketch}); err != nil {
			return err
		}
		var err error
		if added, err = partNumber(ctx, tx, a.Site, n.ID); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "part number added", SubjectKind: "part_number", Subject: n.ID, After: added})
	})
	return added, err
}

// ChangePartNumber changes everything about a part number but its code. Checks already recorded keep the spec revision
// they were judged by.
func (db *DB) ChangePartNumber(ctx context.Context, a Actor, n PartNumber) error {
	return db.inTx(ctx, a.Site, func(tx querier) error {
		before, err := partNumber(ctx, tx, a.Site, n.ID)
		if err != nil {
			return err
		}
		if err := run(ctx, tx, `UPDATE part_number SET name = @name, spec_id = @spec, alloy = @alloy, base_form = @form, wall_mm = @wall,
			welds = @welds, sketch = @sketch, active = @active WHERE site_id = @site AND part_number_id = @id`, sqlArgs{
			"site": a.Site, "id": n.ID, "name": n.Name, "spec": n.SpecID, "alloy": n.Alloy, "form": n.BaseForm, "wall": n.WallMM,
			"welds": n.Welds, "sketch": n.Sketch, "active": n.Active}); err != nil {
			return err
		}
		after, err := partNumber(ctx, tx, a.Site, n.ID)
		if err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "part number changed", SubjectKind: "part_number", Subject: n.ID, Before: before, After: after})
	})
}

// PlanOf returns the latest measuring plan of a part number, or ErrNotFound when it has none.
func (db *DB) PlanOf(ctx context.Context, site, partNumber uuid.UUID) (Plan, error) {
	return planOf(ctx, db.pool, site, partNumber)
}

func planOf(ctx context.Context, q querier, site, partNumber uuid.UUID) (Plan, error) {
	plan, err := one[Plan](ctx, q, `SELECT plan_id, revision, readings_per_spot FROM measuring_plan
		WHERE site_id = @site AND part_number_id = @number ORDER BY revision DESC LIMIT 1`, sqlArgs{"site": site, "number": partNumber})
	if err != nil {
		return plan, fmt.Errorf("measuring plan of part number %s: %w", partNumber, err)
	}
	plan.Spots, err = list[Spot](ctx, q, `SELECT spot, area, place, sketch_x, sketch_y FROM measuring_spot
		WHERE site_id = @site AND plan_id = @plan ORDER BY spot`, sqlArgs{"site": site, "plan": plan.ID})
	if err != nil {
		return plan, fmt.Errorf("spots of measuring plan %s: %w", plan.ID, err)
	}
	return plan, nil
}

// AddPlan makes the next revision of a part number's measuring plan. Its spots are numbered from 1 in the order given.
func (db *DB) AddPlan(ctx context.Context, a Actor, partNumberID uuid.UUID, plan Plan) (Plan, error) {
	if len(plan.Spots) == 0 {
		return Plan{}, refuse("measuring_plan_spots", "A measuring plan needs at least one spot.")
	}
	spots := make([]Spot, len(plan.Spots))
	for i, spot := range plan.Spots {
		spot.Spot = i + 1
		spots[i] = spot
	}
	plan.ID, plan.Spots = NewID(), spots
	err := db.inTx(ctx, a.Site, func(tx querier) error {
		// The lock gives two people who revise the plan at once two revisions in turn.
		if _, err := value[uuid.UUID](ctx, tx, `SELECT part_number_id FROM part_number WHERE site_id = @site AND part_number_id = @id FOR UPDATE`,
			sqlArgs{"site": a.Site, "id": partNumberID}); err != nil {
			return fmt.Errorf("part number %s: %w", partNumberID, err)
		}
		before, err := planOf(ctx, tx, a.Site, partNumberID)
		var was any = before
		if errors.Is(err, ErrNotFound) {
			was = nil
		} else if err != nil {
			return err
		}
		plan.Revision = before.Revision + 1
		if err := insertPlan(ctx, tx, a.Site, partNumberID, plan, db.Clock()); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "measuring plan revised", SubjectKind: "part_number", Subject: partNumberID, Before: was, After: plan})
	})
	if err != nil {
		return Plan{}, err
	}
	return plan, nil
}

func insertPlan(ctx context.Context, tx querier, site, partNumber uuid.UUID, plan Plan, at time.Time) error {
	if err := run(ctx, tx, `INSERT INTO measuring_plan (site_id, plan_id, part_number_id, revision, readings_per_spot, made_at)
		VALUES (@site, @plan, @number, @revision, @readings, @at)`, sqlArgs{"site": site, "plan": plan.ID,
		"number": partNumber, "revision": plan.Revision, "readings": plan.ReadingsPerSpot, "at": at}); err != nil {
		return err
	}
	for _, s := range plan.Spots {
		if err := run(ctx, tx, `INSERT INTO measuring_spot (site_id, plan_id, spot, area, place, sketch_x, sketch_y)
			VALUES (@site, @plan, @spot, @area, @place, @x, @y)`, sqlArgs{"site": site, "plan": plan.ID,
			"spot": s.Spot, "area": s.Area, "place": s.Place, "x": s.X, "y": s.Y}); err != nil {
			return err
		}
	}
	return nil
}
