package store

import (
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// A waiver is a concession under which a part was released.
type waiver struct {
	PartID    uuid.UUID  `db:"part_id"`
	Serial    string     `db:"serial"`
	Reference string     `db:"reference"`
	Ends      *time.Time `db:"ends"`
	Quantity  *int       `db:"quantity"`
	Taken     int        `db:"taken"` // parts decided under it
	Reason    string     `db:"reason"`
}

// limits says in words how far the concession goes.
func (w waiver) limits() string { return concession{Ends: w.Ends, Quantity: w.Quantity}.limits() }

// askWaivers asks for the concessions that the releases of parts rest on. It reads them from the signed gate, which does not
// change when a concession ends.
func askWaivers(b *pgx.Batch, site uuid.UUID, parts []uuid.UUID) *[]waiver {
	return ask[waiver](b, `SELECT DISTINCT d.part_id, p.serial, d.concession_ref AS reference, coalesce(d.concession_ends, c.ends) AS ends, c.quantity, d.reason,
			(SELECT count(DISTINCT o.part_id) FROM disposition o WHERE o.site_id = d.site_id AND o.concession_id = d.concession_id)::int AS taken
		FROM release rl JOIN part p ON p.site_id = rl.site_id AND p.part_id = rl.part_id
		JOIN part_status ps ON ps.site_id = rl.site_id AND ps.part_id = rl.part_id
		JOIN disposition d ON d.site_id = rl.site_id AND d.part_id = rl.part_id AND d.code = 'concession' AND d.decided_at >= ps.round_started_at
		LEFT JOIN concession c ON c.site_id = d.site_id AND c.concession_id = d.concession_id
		WHERE rl.site_id = @site AND rl.part_id = ANY(@parts) AND rl.gate @> '[{"state": "waived"}]'
		AND NOT EXISTS (SELECT 1 FROM release_void v WHERE v.site_id = rl.site_id AND v.release_id = rl.release_id)
		ORDER BY p.serial, reference`, sqlArgs{"site": site, "parts": parts})
}

// stillAllowed refuses parts under a concession that has ended by its day or is overdrawn. today is the site's date.
func stillAllowed(all []waiver, today string) error {
	for _, w := range all {
		switch {
		case w.Ends != nil && w.Ends.Format(time.DateOnly) < today:
			return refuse(RuleConcession, fmt.Sprintf("Part %s is under concession %s, which ended on %s. Ask the customer for a further concession, hold the part and decide on it anew.",
				w.Serial, w.Reference, w.Ends.Format("2 January 2006")))
		case w.Quantity != nil && w.Taken > *w.Quantity:
			return refuse(RuleConcession, fmt.Sprintf("Part %s is under concession %s, which is for %d parts and has %d under it. Ask the customer for a further concession.",
				w.Serial, w.Reference, *w.Quantity, w.Taken))
		}
	}
	return nil
}
