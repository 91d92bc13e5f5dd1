package store

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/google/uuid"

	"coatbook/quality"
)

// A DrawingList is a revision of what a part number's drawing requires besides its finish spec. Revision 0 is no list.
type DrawingList struct {
	ID           uuid.UUID                    `db:"list_id"`
	Revision     int                          `db:"revision"`
	Drawing      string                       `db:"drawing"` // number of the drawing, with its issue
	Requirements []quality.DrawingRequirement `db:"-"`
}

// MostDrawingRequirements is how many lines a list may have.
const MostDrawingRequirements = 60

// DrawingListOf returns the latest list of a part number; one without lines when it has none.
func (db *DB) DrawingListOf(ctx context.Context, site, partNumber uuid.UUID) (DrawingList, error) {
	return drawingListOf(ctx, db.pool, site, partNumber)
}

func drawingListOf(ctx context.Context, q querier, site, partNumber uuid.UUID) (DrawingList, error) {
	l, err := one[DrawingList](ctx, q, `SELECT list_id, revision, drawing FROM drawing_list WHERE site_id = @site AND part_number_id = @number ORDER BY revision DESC LIMIT 1`,
		sqlArgs{"site": site, "number": partNumber})
	if errors.Is(err, ErrNotFound) {
		return DrawingList{}, nil
	}
	if err != nil {
		return l, fmt.Errorf("drawing requirements of part number %s: %w", partNumber, err)
	}
	l.Requirements, err = list[quality.DrawingRequirement](ctx, q, `SELECT number, requirement AS text FROM drawing_requirement WHERE site_id = @site AND list_id = @list ORDER BY seq`,
		sqlArgs{"site": site, "list": l.ID})
	return l, err
}

// AddDrawingList makes the next revision of a part number's drawing requirements, made from revision after. An empty list
// says that the drawing asks for nothing more.
func (db *DB) AddDrawingList(ctx context.Context, a Actor, partNumberID uuid.UUID, after int, next DrawingList) (DrawingList, error) {
	if !a.Has(Engineer, Administrator) {
		return DrawingList{}, refuse(RuleNoRight, "An engineer enters what the drawing requires.")
	}
	if len(next.Requirements) > MostDrawingRequirements {
		return DrawingList{}, refuse(RuleInvalid, fmt.Sprintf("The list has up to %d requirements. Enter those that a first article has to show.", MostDrawingRequirements))
	}
	next.ID, next.Drawing = NewID(), strings.TrimSpace(next.Drawing)
	err := db.inTx(ctx, a.Site, func(tx querier) error {
		if _, err := value[uuid.UUID](ctx, tx, `SELECT part_number_id FROM part_number WHERE site_id = @site AND part_number_id = @id FOR UPDATE`,
			sqlArgs{"site": a.Site, "id": partNumberID}); err != nil {
			return fmt.Errorf("part number %s: %w", partNumberID, err)
		}
		before, err := drawingListOf(ctx, tx, a.Site, partNumberID)
		if err != nil {
			return err
		}
		if before.Revision != after {
			return refuse("drawing_list_revision_unique", constraintSentences["drawing_list_revision_unique"])
		}
		next.Revision = before.Revision + 1
		if err := run(ctx, tx, `INSERT INTO drawing_list (site_id, list_id, part_number_id, revision, drawing, made_by, made_at) VALUES (@site, @list, @number, @revision, @drawing, @by, @at)`,
			sqlArgs{"site": a.Site, "list": next.ID, "number": partNumberID, "revision": next.Revision, "drawing": next.Drawing, "by": a.Person, "at": db.Clock()}); err != nil {
			return err
		}
		for i, r := range next.Requirements {
			if err := run(ctx, tx, `INSERT INTO drawing_requirement (site_id, list_id, seq, number, requirement) VALUES (@site, @list, @seq, @number, @text)`,
				sqlArgs{"site": a.Site, "list": next.ID, "seq": i + 1, "number": strings.TrimSpace(r.Number), "text": strings.TrimSpace(r.Text)}); err != nil {
				return err
			}
		}
		return db.event(ctx, tx, a, Event{Verb: "drawing requirements changed", SubjectKind: "part_number", Subject: partNumberID, Before: before, After: next})
	})
	return next, err
}
