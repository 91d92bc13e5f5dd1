package store

import (
	"context"
	"fmt"
	"regexp"
	"strings"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
)

// A Job is one customer's order in the shop, with how many of its parts there are, how many are released and how many of those are shipped.
type Job struct {
	ID         uuid.UUID  `db:"job_id"`
	Number     string     `db:"number"`
	Customer   string     `db:"customer"`
	OrderRef   string     `db:"order_ref"`
	ReceivedAt time.Time  `db:"received_at"`
	DueOn      *time.Time `db:"due_on"`
	Parts      int        `db:"parts"`
	Released   int        `db:"released"`
	Shipped    int        `db:"shipped"`
}

const selectJob = `SELECT j.job_id, j.number, j.customer, j.order_ref, j.received_at, j.due_on, c.parts, c.released, c.shipped
	FROM job j LEFT JOIN LATERAL (SELECT count(*) AS parts, count(*) FILTER (WHERE s.status IN ('released', 'shipped')) AS released,
			count(*) FILTER (WHERE s.status = 'shipped') AS shipped
		FROM part p JOIN part_status s ON s.site_id = p.site_id AND s.part_id = p.part_id
		WHERE p.site_id = j.site_id AND p.job_id = j.job_id) c ON true `

// Jobs returns all jobs of a site, the newest first.
func (db *DB) Jobs(ctx context.Context, site uuid.UUID) ([]Job, error) {
	jobs, err := list[Job](ctx, db.pool, selectJob+`WHERE j.site_id = @site ORDER BY j.received_at DESC, j.number DESC`, sqlArgs{"site": site})
	if err != nil {
		return nil, fmt.Errorf("jobs: %w", err)
	}
	return jobs, nil
}

// JobByNumber returns one job.
func (db *DB) JobByNumber(ctx context.Context, site uuid.UUID, number string) (Job, error) {
	j, err := one[Job](ctx, db.pool, selectJob+`WHERE j.site_id = @site AND j.number = @number`, sqlArgs{"site": site, "number": number})
	if err != nil {
		return j, fmt.Errorf("job %q: %w", number, err)
	}
	return j, nil
}

// AddJob opens a job. Without a time it was received now.
func (db *DB) AddJob(ctx context.Context, a Actor, j Job) (Job, error) {
	j.ID = NewID()
	if j.ReceivedAt.IsZero() {
		j.ReceivedAt = db.Clock()
	}
	err := db.inTx(ctx, a.Site, func(tx querier) error {
		if err := run(ctx, tx, `INSERT INTO job (site_id, job_id, number, customer, order_ref, received_at, due_on)
			VALUES (@site, @id, @number, @customer, @order, @received, @due)`, sqlArgs{"site": a.Site, "id": j.ID,
			"number": j.Number, "customer": j.Customer, "order": j.OrderRef, "received": j.ReceivedAt, "due": j.DueOn}); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "job opened", SubjectKind: "job", Subject: j.ID, After: j})
	})
	if err != nil {
		return Job{}, err
	}
	return j, nil
}

// A JobPart is a part as its job's list shows it.
type JobPart struct {
	ID         uuid.UUID `db:"part_id"`
	Serial     string    `db:"serial"`
	PartNumber string    `db:"part_number"`
	Name       string    `db:"name"`
	Status     string    `db:"status"`
	NextKind   string    `db:"next_kind"`
}

// JobParts returns the parts of a job in order of their serial.
func (db *DB) JobParts(ctx context.Context, site, job uuid.UUID) ([]JobPart, error) {
	parts, err := list[JobPart](ctx, db.pool, `SELECT p.part_id, p.serial, n.code AS part_number, n.name, s.status, s.next_kind
		FROM part p JOIN part_number n ON n.site_id = p.site_id AND n.part_number_id = p.part_number_id
		JOIN part_status s ON s.site_id = p.site_id AND s.part_id = p.part_id
		WHERE p.site_id = @site AND p.job_id = @job ORDER BY p.serial`, sqlArgs{"site": site, "job": job})
	if err != nil {
		return nil, fmt.Errorf("parts of job %s: %w", job, err)
	}
	return parts, nil
}

var serialForm = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9./_-]{0,39}$`)

// maxParts bounds one batch of hangtags: more is a slip of the finger in the count.
const maxParts = 500

// AddParts gives parts their serials. A serial is never given out twice, not even after scrapping. The part number's spec
// must be approved, because its gate says what each part needs first.
func (db *DB) AddParts(ctx context.Context, a Actor, jobID, partNumberID uuid.UUID, serials []string) ([]uuid.UUID, error) {
	if err := serialsUsable(serials); err != nil {
		return nil, err
	}
	ids := make([]uuid.UUID, len(serials))
	for i := range ids {
		ids[i] = NewID()
	}
	err := db.inTx(ctx, a.Site, func(tx querier) error {
		number, err := partNumber(ctx, tx, a.Site, partNumberID)
		if err != nil {
			return err
		}
		now := db.Clock()
		_, spec, err := db.approvedSpec(ctx, tx, a.Site, number.SpecID, now)
		if err != nil {
			return err
		}
		if err := serialsUnused(ctx, tx, a.Site, serials); err != nil {
			return err
		}
		if err := run(ctx, tx, `INSERT INTO part (site_id, part_id, serial, job_id, part_number_id, received_at)
			SELECT @site, given.id, given.serial, @job, @number, @now FROM unnest(@ids::uuid[], @serials::text[]) AS given (id, serial)`,
			sqlArgs{"site": a.Site, "ids": ids, "serials": serials, "job": jobID, "number": partNumberID, "now": now}); err != nil {
			return err
		}
		first := quality.Next(quality.Gate(spec, 1, nil))
		if err := run(ctx, tx, `INSERT INTO part_status (site_id, part_id, next_kind, round_started_at, changed_at)
			SELECT @site, given.id, @next, @now, @now FROM unnest(@ids::uuid[]) AS given (id)`,
			sqlArgs{"site": a.Site, "ids": ids, "next": string(first), "now": now}); err != nil {
			return err
		}
		var events []Event
		for i, serial := range serials {
			events = append(events, Event{Verb: "part received", SubjectKind: "part", Subject: ids[i],
				After: map[string]string{"Serial": serial, "PartNumber": number.Code, "Job": jobID.String()}})
		}
		return db.event(ctx, tx, a, events...)
	})
	if err != nil {
		return nil, err
	}
	return ids, nil
}

// serialsUsable refuses what cannot stand on a hangtag.
func serialsUsable(serials []string) error {
	if len(serials) == 0 {
		return refuse(RuleNoParts, "Give at least one serial.")
	}
	if len(serials) > maxParts {
		return refuse("part_count_range", fmt.Sprintf("%d parts at once are more than %d. Add them in several goes.", len(serials), maxParts))
	}
	seen := map[string]bool{}
	for _, serial := range serials {
		if !serialForm.MatchString(serial) {
			return refuse("part_serial_form", fmt.Sprintf("“%s” cannot be a serial. Use up to 40 letters, digits, dots, slashes, dashes and underscores, beginning with a letter or digit.", clip(serial)))
		}
		if seen[serial] {
			return refuse("part_serial_unique", fmt.Sprintf("Serial %s stands twice in the list.", serial))
		}
		seen[serial] = true
	}
	return nil
}

func serialsUnused(ctx context.Context, tx querier, site uuid.UUID, serials []string) error {
	used, err := column[string](ctx, tx, `SELECT serial FROM part WHERE site_id = @site AND serial = ANY(@serials) ORDER BY serial`,
		sqlArgs{"site": site, "serials": serials})
	switch {
	case err != nil:
		return fmt.Errorf("serials in use: %w", err)
	case len(used) == 1:
		return refuse("part_serial_unique", fmt.Sprintf("Serial %s was already given to a part. A serial is never used again: choose another.", used[0]))
	case len(used) > 1:
		return refuse("part_serial_unique", fmt.Sprintf("Serials %s were already given to parts. A serial is never used again: choose others.",
			clip(strings.Join(used, ", "))))
	}
	return nil
}

// clip shortens a flood of text for a sentence.
func clip(s string) string {
	runes := []rune(strings.TrimSpace(s))
	if len(runes) > 60 {
		return string(runes[:60]) + "…"
	}
	return string(runes)
}
