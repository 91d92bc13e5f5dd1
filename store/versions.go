package store

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
)

// A Version is one record of a chain of corrections: the first entry, or one that took the place of the version before it.
type Version struct {
	ID         uuid.UUID       `db:"record_id"`
	Person     string          `db:"person"`
	At         time.Time       `db:"recorded_at"`
	Verdict    quality.Verdict `db:"verdict"`
	ReasonCode string          `db:"reason_code"` // empty for the first entry
	Reason     string          `db:"reason"`
	// The signature of the correction. An entry taken back at once has none.
	PrintedName string     `db:"printed_name"`
	SignedAt    *time.Time `db:"signed_at"`
	Meaning     string     `db:"meaning"`
}

// Versions returns the whole chain of corrections that a record is part of, the first entry first. The last one counts.
func (db *DB) Versions(ctx context.Context, site, record uuid.UUID) ([]Version, error) {
	versions, err := list[Version](ctx, db.pool, `WITH RECURSIVE back AS (
			SELECT r.record_id, r.supersedes_id FROM record r WHERE r.site_id = @site AND r.record_id = @record
			UNION ALL SELECT o.record_id, o.supersedes_id FROM back b JOIN record o ON o.site_id = @site AND o.record_id = b.supersedes_id),
		chain AS (
			SELECT b.record_id, 1 AS n FROM back b WHERE b.supersedes_id IS NULL
			UNION ALL SELECT s.record_id, c.n + 1 FROM chain c JOIN record s ON s.site_id = @site AND s.supersedes_id = c.record_id)
		SELECT r.record_id, p.name AS person, r.recorded_at, r.verdict, r.reason_code, r.reason,
			coalesce(sg.printed_name, '') AS printed_name, sg.signed_at, coalesce(sg.meaning, '') AS meaning
		FROM chain c JOIN record r ON r.site_id = @site AND r.record_id = c.record_id
		JOIN person p ON p.site_id = r.site_id AND p.person_id = r.person_id
		LEFT JOIN signature sg ON sg.site_id = r.site_id AND sg.signature_id = r.signature_id
		ORDER BY c.n`, sqlArgs{"site": site, "record": record})
	if err != nil {
		return nil, fmt.Errorf("versions of record %s: %w", record, err)
	}
	return versions, nil
}

// A VoidedRelease is a release whose signature is void because a record behind it was corrected.
type VoidedRelease struct {
	Serial      string    `db:"serial"`
	PrintedName string    `db:"printed_name"`
	SignedAt    time.Time `db:"signed_at"`
}

// VoidedReleases returns the releases that a correction made void.
func (db *DB) VoidedReleases(ctx context.Context, site, record uuid.UUID) ([]VoidedRelease, error) {
	return list[VoidedRelease](ctx, db.pool, `SELECT pa.serial, sg.printed_name, sg.signed_at FROM release_void v
		JOIN release rl ON rl.site_id = v.site_id AND rl.release_id = v.release_id
		JOIN part pa ON pa.site_id = rl.site_id AND pa.part_id = rl.part_id
		JOIN signature sg ON sg.site_id = rl.site_id AND sg.signature_id = rl.signature_id
		WHERE v.site_id = @site AND v.record_id = @record ORDER BY pa.serial`, sqlArgs{"site": site, "record": record})
}

// HoldsOpenedBy returns the numbers of the holds that a record opened.
func (db *DB) HoldsOpenedBy(ctx context.Context, site, record uuid.UUID) ([]string, error) {
	return column[string](ctx, db.pool, `SELECT number FROM hold WHERE site_id = @site AND record_id = @record ORDER BY number`,
		sqlArgs{"site": site, "record": record})
}

// ReleasedOn returns the serials of the parts whose valid release stands on a record.
func (db *DB) ReleasedOn(ctx context.Context, site, record uuid.UUID) ([]string, error) {
	return column[string](ctx, db.pool, `SELECT DISTINCT pa.serial FROM record r CROSS JOIN `+partsOfRecord+`
		JOIN release rl ON rl.site_id = r.site_id AND rl.part_id = x.part_id AND rl.cycle >= r.cycle
			AND rl.gate @> jsonb_build_array(jsonb_build_object('record_id', r.record_id::text))
		JOIN part pa ON pa.site_id = rl.site_id AND pa.part_id = rl.part_id
		WHERE r.site_id = @site AND r.record_id = @record
		AND NOT EXISTS (SELECT 1 FROM release_void v WHERE v.site_id = rl.site_id AND v.release_id = rl.release_id)
		ORDER BY pa.serial`, sqlArgs{"site": site, "record": record})
}

// MayCorrect returns nil when the actor may correct or void a record: its author while no part is released on it, a
// supervisor or an engineer always. Otherwise it returns the refusal in words.
func (db *DB) MayCorrect(ctx context.Context, a Actor, record uuid.UUID) error {
	if a.Has(Supervisor, Engineer) {
		return nil
	}
	if !a.Has(Inspector, Operator) {
		return refuse(RuleNoRight, "Its author, a supervisor or an engineer corrects a record.")
	}
	author, err := value[uuid.UUID](ctx, db.pool, `SELECT person_id FROM record WHERE site_id = @site AND record_id = @record`,
		sqlArgs{"site": a.Site, "record": record})
	switch {
	case err != nil:
		return err
	case author != a.Person:
		return refuse(RuleNoRight, "Its author, a supervisor or an engineer corrects a record.")
	}
	released, err := db.ReleasedOn(ctx, a.Site, record)
	if err == nil && len(released) > 0 {
		return refuse(RuleNoRight, fmt.Sprintf("Part %s was released on this record. A supervisor or an engineer corrects it.", released[0]))
	}
	return err
}

// PreviewCorrection judges an entry as it would be judged in the place of a record, without storing it.
func (db *DB) PreviewCorrection(ctx context.Context, a Actor, e Entry, observed time.Time) (quality.Judgement, error) {
	e.ObservedAt, e.ClockOffset = observed, 0
	return db.Preview(ctx, a, e)
}

// NameUse finds what a name, code or lot number means in a role of use: the gauge FG-01, the lot 88-1403, the booth Booth 1.
// A name that nothing of the site has is a Refusal.
func (db *DB) NameUse(ctx context.Context, site uuid.UUID, role, name string) (Use, error) {
	sql := map[string]string{
		"instrument_id": `SELECT instrument_id FROM instrument WHERE site_id = @site AND code = upper(@name)`,
		"lot_id":        `SELECT lot_id FROM material_lot WHERE site_id = @site AND upper(lot_number) = upper(@name)`,
		"person_id":     `SELECT person_id FROM person WHERE site_id = @site AND (lower(name) = lower(@name) OR sign_on_name = lower(@name)) LIMIT 1`,
		"station_id":    `SELECT station_id FROM station WHERE site_id = @site AND (code = upper(@name) OR lower(name) = lower(@name)) LIMIT 1`,
		"bath_id":       `SELECT bath_id FROM bath WHERE site_id = @site AND (code = upper(@name) OR lower(name) = lower(@name)) LIMIT 1`,
		"part_id":       `SELECT part_id FROM part WHERE site_id = @site AND serial = upper(@name)`,
		"panel_id":      `SELECT panel_id FROM panel WHERE site_id = @site AND code = upper(@name)`,
	}[useColumns[role]]
	if sql == "" {
		return Use{}, fmt.Errorf("role %q: %w", role, ErrNotFound)
	}
	id, err := value[uuid.UUID](ctx, db.pool, sql, sqlArgs{"site": site, "name": strings.TrimSpace(name)})
	if errors.Is(err, ErrNotFound) {
		return Use{}, refuse(RuleInvalid, fmt.Sprintf("“%s” is not in the book. Scan its label or type its code.", name))
	}
	return Use{Role: role, ID: id}, err
}

// SubjectOf returns what a record is about.
func (db *DB) SubjectOf(ctx context.Context, site, record uuid.UUID) (Subject, error) {
	t, err := one[target](ctx, db.pool, targetSQL, sqlArgs{"site": site, "record": record})
	return t.subject(), err
}

// UsesAsEntered returns what went into a record as its entry named it, in the order of UseLine.
func (db *DB) UsesAsEntered(ctx context.Context, site, record uuid.UUID) ([]Use, error) {
	type row struct {
		Role string    `db:"role"`
		ID   uuid.UUID `db:"id"`
	}
	rows, err := list[row](ctx, db.pool, `SELECT role, coalesce(instrument_id, lot_id, person_id, station_id, bath_id, part_id, panel_id) AS id FROM record_use
		WHERE site_id = @site AND record_id = @record ORDER BY seq`, sqlArgs{"site": site, "record": record})
	uses := make([]Use, len(rows))
	for i, r := range rows {
		uses[i] = Use(r)
	}
	return uses, err
}
