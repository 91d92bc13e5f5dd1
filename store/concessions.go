package store

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
)

// A concession is a customer's leave for parts that do not meet the spec, as it stands now.
type concession struct {
	ID           uuid.UUID  `db:"concession_id"`
	Customer     string     `db:"customer"`
	Reference    string     `db:"reference"`
	Ends         *time.Time `db:"ends"`
	Quantity     *int       `db:"quantity"`
	QuantityLeft *int       `db:"quantity_left"`
}

// takeConcession counts the parts of a decision against the concession that it names, and writes into the decision the day
// that the concession ends. The first decision under a reference opens the concession with its end by date or by number of
// parts; later ones find it and may leave both out. Its row stays locked until the transaction ends, so that two people at
// once cannot take the same last part.
func (db *DB) takeConcession(ctx context.Context, tx querier, a Actor, st Site, d *Decision) (uuid.UUID, error) {
	customers, err := column[string](ctx, tx, `SELECT DISTINCT j.customer FROM part p JOIN job j ON j.site_id = p.site_id AND j.job_id = p.job_id
		WHERE p.site_id = @site AND p.part_id = ANY(@parts) ORDER BY 1`, sqlArgs{"site": a.Site, "parts": d.Parts})
	if err != nil {
		return uuid.Nil, err
	}
	if len(customers) != 1 {
		return uuid.Nil, refuse(RuleMixed, fmt.Sprintf("These parts are for %s. A concession is one customer's: decide on each customer's parts apart.", strings.Join(customers, " and ")))
	}
	where := sqlArgs{"site": a.Site, "customer": customers[0], "reference": d.ConcessionRef}
	const sql = `SELECT concession_id, customer, reference, ends, quantity, quantity_left FROM concession
		WHERE site_id = @site AND customer = @customer AND reference = @reference FOR UPDATE`
	c, err := one[concession](ctx, tx, sql, where)
	if errors.Is(err, ErrNotFound) {
		if err := db.openConcession(ctx, tx, a, customers[0], *d); err != nil {
			return uuid.Nil, err
		}
		c, err = one[concession](ctx, tx, sql, where)
	}
	if err != nil {
		return uuid.Nil, err
	}
	if err := c.covers(*d, db.Clock().In(st.Location()).Format(time.DateOnly)); err != nil {
		return uuid.Nil, err
	}
	d.ConcessionEnds = time.Time{}
	if c.Ends != nil {
		d.ConcessionEnds = *c.Ends
	}
	if c.Quantity == nil {
		return c.ID, nil
	}
	return c.ID, db.countDown(ctx, tx, a, c, d.Parts)
}

// openConcession opens the concession of a reference that is named for the first time.
func (db *DB) openConcession(ctx context.Context, tx querier, a Actor, customer string, d Decision) error {
	if d.ConcessionEnds.IsZero() && d.ConcessionQuantity == 0 {
		return refuse(RuleConcession, "A concession needs the customer's reference and either the date it ends or the number of parts it is for.")
	}
	var ends, quantity any
	if !d.ConcessionEnds.IsZero() {
		ends = d.ConcessionEnds.Format(time.DateOnly)
	}
	if d.ConcessionQuantity != 0 {
		quantity = d.ConcessionQuantity
	}
	id := NewID()
	// Somebody may open it at the same instant; then theirs is found next.
	tag, err := tx.Exec(ctx, `INSERT INTO concession (site_id, concession_id, customer, reference, ends, quantity, quantity_left, opened_by, opened_at)
		VALUES (@site, @id, @customer, @reference, @ends::date, @quantity, @quantity, @by, @at) ON CONFLICT ON CONSTRAINT concession_reference_once DO NOTHING`,
		sqlArgs{"site": a.Site, "id": id, "customer": customer, "reference": d.ConcessionRef, "ends": ends, "quantity": quantity, "by": a.Person, "at": db.Clock()})
	if err != nil || tag.RowsAffected() == 0 {
		return err
	}
	return db.event(ctx, tx, a, Event{Verb: "concession opened", SubjectKind: "concession", Subject: id,
		After: map[string]any{"customer": customer, "reference": d.ConcessionRef, "ends": ends, "quantity": quantity}, Reason: d.Reason})
}

// covers refuses a decision that says something else of the concession than is on record, or comes after its end. today is
// the site's date.
func (c concession) covers(d Decision, today string) error {
	switch {
	case c.Ends != nil && c.Ends.Format(time.DateOnly) < today:
		return refuse(RuleConcession, fmt.Sprintf("The concession's end date has passed: %s ended on %s.", c.Reference, c.Ends.Format("2 January 2006")))
	case !d.ConcessionEnds.IsZero() && (c.Ends == nil || c.Ends.Format(time.DateOnly) != d.ConcessionEnds.Format(time.DateOnly)):
		return refuse(RuleConcession, fmt.Sprintf("%s is on record as %s. Leave date and number empty to use it, or give another reference.", c.Reference, c.limits()))
	case d.ConcessionQuantity != 0 && (c.Quantity == nil || *c.Quantity != d.ConcessionQuantity):
		return refuse(RuleConcession, fmt.Sprintf("%s is on record as %s. Leave date and number empty to use it, or give another reference.", c.Reference, c.limits()))
	}
	return nil
}

// limits says in words how far the concession goes.
func (c concession) limits() string {
	var words []string
	if c.Ends != nil {
		words = append(words, "valid to "+c.Ends.Format("2 January 2006"))
	}
	if c.Quantity != nil {
		words = append(words, fmt.Sprintf("for %d parts", *c.Quantity))
	}
	return strings.Join(words, " and ")
}

// countDown takes parts off what is left. A part that came under the concession before is counted once.
func (db *DB) countDown(ctx context.Context, tx querier, a Actor, c concession, parts []uuid.UUID) error {
	before, err := column[uuid.UUID](ctx, tx, `SELECT DISTINCT part_id FROM disposition WHERE site_id = @site AND concession_id = @id AND part_id = ANY(@parts)`,
		sqlArgs{"site": a.Site, "id": c.ID, "parts": parts})
	if err != nil {
		return err
	}
	n := 0
	for _, p := range parts {
		if !slices.Contains(before, p) {
			n++
		}
	}
	if n == 0 {
		return nil
	}
	left := *c.QuantityLeft - n
	if left < 0 {
		return refuse(RuleConcession, fmt.Sprintf("Concession %s is for %d parts and has %d left; %d were chosen. Choose fewer parts, or ask the customer for a further concession.",
			c.Reference, *c.Quantity, *c.QuantityLeft, n))
	}
	if err := run(ctx, tx, `UPDATE concession SET quantity_left = @left WHERE site_id = @site AND concession_id = @id`,
		sqlArgs{"site": a.Site, "id": c.ID, "left": left}); err != nil {
		return err
	}
	return db.event(ctx, tx, a, Event{Verb: "concession counted down", SubjectKind: "concession", Subject: c.ID,
		Before: map[string]int{"quantity_left": *c.QuantityLeft}, After: map[string]any{"quantity_left": left, "reference": c.Reference}})
}

// A PartConcession is a concession under which a part was accepted in its present cycle.
type PartConcession struct {
	PartID       uuid.UUID  `db:"part_id"`
	Reference    string     `db:"reference"`
	Ends         *time.Time `db:"ends"`
	Quantity     *int       `db:"quantity"`
	QuantityLeft *int       `db:"quantity_left"`
	Hold         string     `db:"hold"`
}

// Limits says in words how far the concession goes, such as "valid to 24 December 2026".
func (c PartConcession) Limits() string {
	return concession{Reference: c.Reference, Ends: c.Ends, Quantity: c.Quantity, QuantityLeft: c.QuantityLeft}.limits()
}

// Concessions returns the concessions under which parts stand in their present cycle and round, for the page, the tag and the
// certificate of each. A decision that was overtaken by rework or by another cycle is not among them.
func (db *DB) Concessions(ctx context.Context, site uuid.UUID, parts ...uuid.UUID) ([]PartConcession, error) {
	return list[PartConcession](ctx, db.pool, `SELECT d.part_id, d.concession_ref AS reference, d.concession_ends AS ends, c.quantity, c.quantity_left, h.number AS hold
		FROM disposition d
		JOIN hold h ON h.site_id = d.site_id AND h.hold_id = d.hold_id
		JOIN hold_part hp ON hp.site_id = d.site_id AND hp.hold_id = d.hold_id AND hp.part_id = d.part_id
		JOIN part_status ps ON ps.site_id = d.site_id AND ps.part_id = d.part_id AND ps.cycle = hp.cycle AND ps.concession
		LEFT JOIN concession c ON c.site_id = d.site_id AND c.concession_id = d.concession_id
		WHERE d.site_id = @site AND d.part_id = ANY(@parts) AND d.code = 'concession' AND d.decided_at >= ps.round_started_at
		ORDER BY d.part_id, d.decided_at, d.concession_ref`, sqlArgs{"site": site, "parts": parts})
}
