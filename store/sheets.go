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

// A Sheet is a safety data sheet of a material without its bytes.
type Sheet struct {
	ID uuid.UUID `db:"file_id"`
	// IssuedOn is the sheet's own date, Revision what it calls itself.
	IssuedOn time.Time `db:"issued_on"`
	Revision string    `db:"caption"`
	Size     int64     `db:"size_bytes"`
	By       string    `db:"by"`
	At       time.Time `db:"added_at"`
	// Withdrawn is why it no longer counts, empty while it does.
	Withdrawn   string     `db:"withdrawn"`
	WithdrawnBy string     `db:"withdrawn_by"`
	WithdrawnAt *time.Time `db:"withdrawn_at"`
}

const sheetSQL = `SELECT f.file_id, f.issued_on::timestamptz AS issued_on, f.caption, f.size_bytes, p.name AS by, f.added_at,
	coalesce(w.reason, '') AS withdrawn, coalesce(q.name, '') AS withdrawn_by, w.withdrawn_at
	FROM file f JOIN person p ON p.site_id = f.site_id AND p.person_id = f.added_by
	LEFT JOIN sheet_withdrawal w ON w.site_id = f.site_id AND w.file_id = f.file_id
	LEFT JOIN person q ON q.site_id = w.site_id AND q.person_id = w.withdrawn_by
	WHERE f.site_id = @site AND f.material_id = @material ORDER BY f.issued_on DESC, f.added_at DESC, f.file_id DESC`

// SheetsOf returns the safety data sheets of a material, the latest first, withdrawn ones included; the first that is not
// withdrawn counts.
func (db *DB) SheetsOf(ctx context.Context, site, material uuid.UUID) ([]Sheet, error) {
	sheets, err := list[Sheet](ctx, db.pool, sheetSQL, sqlArgs{"site": site, "material": material})
	if err != nil {
		return nil, fmt.Errorf("safety data sheets of %s: %w", material, err)
	}
	return sheets, nil
}

// SheetBytes returns a safety data sheet as it came; ErrNotFound for any other file and for a sheet that was withdrawn.
func (db *DB) SheetBytes(ctx context.Context, site, id uuid.UUID) ([]byte, error) {
	body, err := value[[]byte](ctx, db.pool, `SELECT c.bytes FROM file f JOIN file_content c ON c.site_id = f.site_id AND c.file_id = f.file_id
		WHERE f.site_id = @site AND f.file_id = @id AND f.material_id IS NOT NULL
		AND NOT EXISTS (SELECT 1 FROM sheet_withdrawal w WHERE w.site_id = f.site_id AND w.file_id = f.file_id)`,
		sqlArgs{"site": site, "id": id})
	if err != nil {
		return nil, fmt.Errorf("safety data sheet %s: %w", id, err)
	}
	return body, nil
}

// sheetsLike refuses a sheet that a material cannot have, and returns the files that count as the same one when their bytes are:
// those of the same date that were not withdrawn.
func (db *DB) sheetsLike(ctx context.Context, tx querier, a Actor, of FileOwner, files []File) ([]File, error) {
	kind, err := value[string](ctx, tx, `SELECT kind FROM material WHERE site_id = @site AND material_id = @of`, sqlArgs{"site": a.Site, "of": of.ID})
	switch {
	case errors.Is(err, ErrNotFound):
		return nil, refuse("file_material_fkey", constraintSentences["file_material_fkey"])
	case err != nil:
		return nil, err
	case !NeedsSheet(kind):
		return nil, refuse(RuleInvalid, "A material of the kind “"+MaterialKindNames[kind]+"” has no safety data sheet. Add it to the material that the sheet is about.")
	case of.IssuedOn == nil:
		return nil, refuse("file_sheet_dated", constraintSentences["file_sheet_dated"])
	}
	st, err := site(ctx, tx, a.Site)
	if err != nil {
		return nil, err
	}
	if of.IssuedOn.Format(time.DateOnly) > db.Clock().In(st.Location()).Format(time.DateOnly) {
		return nil, refuse(RuleFuture, "The date of the sheet has not come yet. Enter the day of issue or revision that stands on it.")
	}
	sheets, err := list[Sheet](ctx, tx, sheetSQL, sqlArgs{"site": a.Site, "material": of.ID})
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(files, func(f File) bool {
		return !slices.ContainsFunc(sheets, func(s Sheet) bool {
			return s.ID == f.ID && s.Withdrawn == "" && s.IssuedOn.Format(time.DateOnly) == of.IssuedOn.Format(time.DateOnly)
		})
	}), nil
}

// WithdrawSheet takes a safety data sheet of a material out of use, such as one that belongs to another product. It stays in the
// book, and the one before it counts again.
func (db *DB) WithdrawSheet(ctx context.Context, a Actor, material, id uuid.UUID, reason string) error {
	if !a.Has(Engineer, Administrator) {
		return refuse(RuleNoRight, "Your role does not withdraw safety data sheets. Ask an engineer.")
	}
	return db.inTx(ctx, a.Site, func(tx querier) error {
		sheets, err := list[Sheet](ctx, tx, sheetSQL, sqlArgs{"site": a.Site, "material": material})
		if err != nil {
			return err
		}
		i := slices.IndexFunc(sheets, func(s Sheet) bool { return s.ID == id })
		if i < 0 {
			return refuse("sheet_withdrawal_file_fkey", constraintSentences["sheet_withdrawal_file_fkey"])
		}
		if sheets[i].Withdrawn != "" {
			return refuse(RuleInvalid, "This sheet was withdrawn already.")
		}
		if err := run(ctx, tx, `INSERT INTO sheet_withdrawal (site_id, file_id, reason, withdrawn_by, withdrawn_at) VALUES (@site, @id, @reason, @by, @at)`,
			sqlArgs{"site": a.Site, "id": id, "reason": strings.TrimSpace(reason), "by": a.Person, "at": db.Clock()}); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "safety data sheet withdrawn", SubjectKind: "material", Subject: material,
			Before: map[string]any{"file": id, "issued_on": sheets[i].IssuedOn.Format(time.DateOnly)}, After: map[string]any{"reason": strings.TrimSpace(reason)}})
	})
}
