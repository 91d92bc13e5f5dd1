package store

import (
	"context"
	"fmt"

	"github.com/google/uuid"
)

// A Balance says where the parts of a job are. A part that was received and is nowhere else is missing.
type Balance struct {
	Number   string `db:"number"`
	Customer string `db:"customer"`
	Received int    `db:"received"`
	Released int    `db:"released"` // shipped ones included
	Shipped  int    `db:"shipped"`
	Scrapped int    `db:"scrapped"`
	Returned int    `db:"returned"`
	Regraded int    `db:"regraded"`
	InHouse  int    `db:"in_house"`
}

// Missing is received less everything else: 0 when the parts add up.
func (b Balance) Missing() int {
	return b.Received - b.Released - b.Scrapped - b.Returned - b.Regraded - b.InHouse
}

// selectBalance counts what was received by the events of receipt as well as by the list of parts, so that a part that is no
// longer in the list is missed.
const selectBalance = `
	SELECT j.number, j.customer, count(*)::int AS received, count(*) FILTER (WHERE ps.status IN ('released', 'shipped'))::int AS released,
		count(*) FILTER (WHERE ps.status = 'shipped')::int AS shipped,
		count(*) FILTER (WHERE ps.status = 'scrapped')::int AS scrapped, count(*) FILTER (WHERE ps.status = 'returned')::int AS returned,
		count(*) FILTER (WHERE ps.status = 'regraded')::int AS regraded,
		count(*) FILTER (WHERE ps.status NOT IN ('released', 'shipped', 'scrapped', 'returned', 'regraded'))::int AS in_house
	FROM job j CROSS JOIN LATERAL (
		SELECT p.part_id FROM part p WHERE p.site_id = j.site_id AND p.job_id = j.job_id
		UNION SELECT e.subject_id FROM event e WHERE e.site_id = j.site_id AND e.verb = 'part received' AND e.after ->> 'Job' = j.job_id::text) given
	LEFT JOIN part p ON p.site_id = j.site_id AND p.part_id = given.part_id AND p.job_id = j.job_id
	LEFT JOIN part_status ps ON ps.site_id = p.site_id AND ps.part_id = p.part_id
	WHERE j.site_id = @site AND j.job_id = ANY(@jobs) GROUP BY j.number, j.customer ORDER BY j.number`

// BalanceOf returns where the parts of one job are.
func (db *DB) BalanceOf(ctx context.Context, site, job uuid.UUID) (Balance, error) {
	found, err := list[Balance](ctx, db.pool, selectBalance, sqlArgs{"site": site, "jobs": []uuid.UUID{job}})
	if err != nil || len(found) == 0 {
		return Balance{}, err
	}
	return found[0], nil
}

// Unbalanced returns the jobs whose parts do not add up. It looks for parts without a status and receipts without a part,
// and counts only the jobs where it finds one.
func (db *DB) Unbalanced(ctx context.Context, site uuid.UUID) ([]Balance, error) {
	jobs, err := column[uuid.UUID](ctx, db.pool, `
		SELECT p.job_id FROM part p WHERE p.site_id = @site AND NOT EXISTS (SELECT 1 FROM part_status s WHERE s.site_id = p.site_id AND s.part_id = p.part_id)
		UNION SELECT (e.after ->> 'Job')::uuid FROM event e WHERE e.site_id = @site AND e.verb = 'part received' AND e.after ->> 'Job' IS NOT NULL
			AND NOT EXISTS (SELECT 1 FROM part p WHERE p.site_id = e.site_id AND p.part_id = e.subject_id AND p.job_id = (e.after ->> 'Job')::uuid)`, sqlArgs{"site": site})
	if err != nil {
		return nil, fmt.Errorf("parts that do not add up: %w", err)
	}
	return list[Balance](ctx, db.pool, selectBalance, sqlArgs{"site": site, "jobs": jobs})
}
