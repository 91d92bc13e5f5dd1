package store

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"
)

// Kinds of material. What they are called stands in MaterialKindNames.
const (
	Powder     = "powder"
	Cleaner    = "cleaner"
	Conversion = "conversion"
	Titrant    = "titrant"
	Solvent    = "solvent"
	Filler     = "filler"
	Heat       = "heat"
	Tape       = "tape"
)

// MaterialKinds are all kinds in the order of the work.
var MaterialKinds = []string{Heat, Filler, Cleaner, Conversion, Titrant, Powder, Solvent, Tape}

// MaterialKindNames are the trade's words for the kinds, as they stand in a sentence.
var MaterialKindNames = map[string]string{Powder: "powder", Cleaner: "cleaner", Conversion: "conversion chemical", Titrant: "titrant", Solvent: "solvent",
	Filler: "filler metal", Heat: "aluminium heat", Tape: "tape"}

// A Material is a product as its maker sells it: what the shop sprays, washes, tests, welds with or welds.
type Material struct {
	ID    uuid.UUID `db:"material_id"`
	Kind  string    `db:"kind"`
	Code  string    `db:"code"`
	Name  string    `db:"name"`
	Maker string    `db:"maker"`
	// Colour, film range and rub method are a powder's.
	Colour    string   `db:"colour"`
	FilmMinUM *float64 `db:"film_min_um"`
	FilmMaxUM *float64 `db:"film_max_um"`
	RubMethod string   `db:"rub_method"`
	// StorageMinC and StorageMaxC are the coldest and the warmest it may be stored; a powder always has the latter.
	StorageMinC *float64 `db:"storage_min_c"`
	StorageMaxC *float64 `db:"storage_max_c"`
	StorageNote string   `db:"storage_note"`
	// Source names the technical data sheet that its figures come from.
	Source string `db:"source"`
	// Hazards are what its safety data sheet warns of.
	Hazards []string `db:"hazards"`
	// SheetLink is where the maker's safety data sheet opens, SheetPaperAt where its paper copy hangs.
	SheetLink     string     `db:"sheet_link"`
	SheetIssuedOn *time.Time `db:"sheet_issued_on"`
	SheetPaperAt  string     `db:"sheet_paper_at"`
	Active        bool       `db:"active"`
	// SheetFile is the sheet in the book that counts, with its date. It is read with the material and not part of it.
	SheetFile         uuid.NullUUID `db:"sheet_file" json:"-"`
	SheetFileIssuedOn *time.Time    `db:"sheet_file_issued_on" json:"-"`
}

// A CurePoint is one point of a powder's cure window: at this metal temperature, at least and at most this long.
type CurePoint struct {
	MetalC     float64 `db:"metal_c"`
	MinutesMin float64 `db:"minutes_min"`
	MinutesMax float64 `db:"minutes_max"`
}

// materialWithWindow is what the event of a change tells.
type materialWithWindow struct {
	Material
	CurePoints []CurePoint
}

// materialSQL reads materials with the latest sheet of each that was not withdrawn.
const materialSQL = `SELECT material_id, kind, code, name, maker, colour, film_min_um, film_max_um, rub_method, storage_min_c, storage_max_c, storage_note,
	source, hazards, sheet_link, sheet_issued_on::timestamptz AS sheet_issued_on, sheet_paper_at, active, sheet_file, sheet_file_issued_on
	FROM material LEFT JOIN LATERAL (SELECT f.file_id AS sheet_file, f.issued_on::timestamptz AS sheet_file_issued_on FROM file f
		WHERE f.site_id = material.site_id AND f.material_id = material.material_id
		AND NOT EXISTS (SELECT 1 FROM sheet_withdrawal w WHERE w.site_id = f.site_id AND w.file_id = f.file_id)
		ORDER BY f.issued_on DESC, f.added_at DESC, f.file_id DESC LIMIT 1) AS sheet ON true
	WHERE site_id = @site`

// Materials returns the materials of a site in order of their code: those of the given kinds, or all.
func (db *DB) Materials(ctx context.Context, site uuid.UUID, kinds ...string) ([]Material, error) {
	materials, err := list[Material](ctx, db.pool, materialSQL+` AND (cardinality(@kinds::text[]) = 0 OR kind = ANY(@kinds)) ORDER BY code`,
		sqlArgs{"site": site, "kinds": append([]string{}, kinds...)})
	if err != nil {
		return nil, fmt.Errorf("materials: %w", err)
	}
	return materials, nil
}

// MaterialByCode returns one material.
func (db *DB) MaterialByCode(ctx context.Context, site uuid.UUID, code string) (Material, error) {
	m, err := one[Material](ctx, db.pool, materialSQL+` AND code = @code`,
		sqlArgs{"site": site, "code": code})
	if err != nil {
		return m, fmt.Errorf("material %q: %w", code, err)
	}
	return m, nil
}

// CurePoints returns the cure window of a powder in order of temperature; none is an empty slice.
func (db *DB) CurePoints(ctx context.Context, site, powder uuid.UUID) ([]CurePoint, error) {
	return curePoints(ctx, db.pool, site, powder)
}

func curePoints(ctx context.Context, q querier, site, powder uuid.UUID) ([]CurePoint, error) {
	points, err := list[CurePoint](ctx, q, `SELECT metal_c, minutes_min, minutes_max FROM powder_cure_point
		WHERE site_id = @site AND powder_id = @powder ORDER BY metal_c`, sqlArgs{"site": site, "powder": powder})
	if err != nil {
		return nil, fmt.Errorf("cure points of powder %s: %w", powder, err)
	}
	return points, nil
}

// AddMaterial adds a material; a powder comes with its cure window.
func (db *DB) AddMaterial(ctx context.Context, a Actor, m Material, points []CurePoint) (Material, error) {
	m.ID, m.Active, m.Hazards = NewID(), true, append([]string{}, m.Hazards...)
	if err := curePointsInOrder(m.Kind, points); err != nil {
		return Material{}, err
	}
	err := db.inTx(ctx, a.Site, func(tx querier) error {
		if err := run(ctx, tx, `INSERT INTO material (site_id, material_id, kind, code, name, maker, colour, film_min_um, film_max_um, rub_method, storage_min_c,
				storage_max_c, storage_note, source, hazards, sheet_link, sheet_issued_on, sheet_paper_at, active)
			VALUES (@site, @id, @kind, @code, @name, @maker, @colour, @film_min, @film_max, @rub, @storage_min, @storage_max, @storage_note, @source, @hazards,
				@sheet, @issued, @paper, @active)`, m.args(a.Site, "kind", m.Kind, "code", m.Code)); err != nil {
			return err
		}
		if err := insertCurePoints(ctx, tx, a.Site, m.ID, points); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: MaterialKindNames[m.Kind] + " added", SubjectKind: "material", Subject: m.ID, After: materialWithWindow{m, points}})
	})
	if err != nil {
		return Material{}, err
	}
	return m, nil
}

// args names what may change about a material, and more.
func (m Material) args(site uuid.UUID, more ...any) sqlArgs {
	args := sqlArgs{"site": site, "id": m.ID, "name": m.Name, "maker": m.Maker, "colour": m.Colour, "film_min": m.FilmMinUM, "film_max": m.FilmMaxUM,
		"rub": m.RubMethod, "storage_min": m.StorageMinC, "storage_max": m.StorageMaxC, "storage_note": m.StorageNote, "source": m.Source,
		"hazards": append([]string{}, m.Hazards...), "sheet": m.SheetLink, "issued": m.SheetIssuedOn, "paper": m.SheetPaperAt, "active": m.Active}
	for i := 0; i+1 < len(more); i += 2 {
		args[more[i].(string)] = more[i+1]
	}
	return args
}

// ChangeMaterial changes everything about a material but its kind and code, and replaces a powder's cure window. Cure runs
// already recorded keep the verdict they were given.
func (db *DB) ChangeMaterial(ctx context.Context, a Actor, m Material, points []CurePoint) error {
	return db.inTx(ctx, a.Site, func(tx querier) error {
		before, err := one[Material](ctx, tx, materialSQL+` AND material_id = @id FOR UPDATE OF material`,
			sqlArgs{"site": a.Site, "id": m.ID})
		if err != nil {
			return fmt.Errorf("material %s: %w", m.ID, err)
		}
		had, err := curePoints(ctx, tx, a.Site, m.ID)
		if err != nil {
			return err
		}
		m.Kind, m.Code = before.Kind, before.Code
		if err := curePointsInOrder(m.Kind, points); err != nil {
			return err
		}
		if err := run(ctx, tx, `UPDATE material SET name = @name, maker = @maker, colour = @colour, film_min_um = @film_min, film_max_um = @film_max,
				rub_method = @rub, storage_min_c = @storage_min, storage_max_c = @storage_max, storage_note = @storage_note, source = @source, hazards = @hazards,
				sheet_link = @sheet, sheet_issued_on = @issued, sheet_paper_at = @paper, active = @active
			WHERE site_id = @site AND material_id = @id`, m.args(a.Site)); err != nil {
			return err
		}
		if _, err := tx.Exec(ctx, `DELETE FROM powder_cure_point WHERE site_id = @site AND powder_id = @id`,
			sqlArgs{"site": a.Site, "id": m.ID}); err != nil {
			return err
		}
		if err := insertCurePoints(ctx, tx, a.Site, m.ID, points); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: MaterialKindNames[m.Kind] + " changed", SubjectKind: "material", Subject: m.ID,
			Before: materialWithWindow{before, had}, After: materialWithWindow{m, points}})
	})
}

func insertCurePoints(ctx context.Context, tx querier, site, powder uuid.UUID, points []CurePoint) error {
	for _, point := range points {
		if err := run(ctx, tx, `INSERT INTO powder_cure_point (site_id, powder_id, metal_c, minutes_min, minutes_max)
			VALUES (@site, @powder, @metal, @min, @max)`, sqlArgs{"site": site, "powder": powder,
			"metal": point.MetalC, "min": point.MinutesMin, "max": point.MinutesMax}); err != nil {
			return err
		}
	}
	return nil
}

// curePointsInOrder refuses two points at one temperature and a window in which hotter metal needs as long or longer, which
// no powder does and a slip of the finger makes. Only powders are cured.
func curePointsInOrder(kind string, points []CurePoint) error {
	if kind != Powder && len(points) > 0 {
		return refuse(RuleInvalid, "A cure window belongs to a powder. Leave it empty for anything else.")
	}
	byHeat := slices.SortedFunc(slices.Values(points), func(a, b CurePoint) int { return cmp.Compare(a.MetalC, b.MetalC) })
	for i, p := range byHeat {
		if i == 0 {
			continue
		}
		cooler := byHeat[i-1]
		if cooler.MetalC == p.MetalC {
			return refuse("powder_cure_point_pkey", fmt.Sprintf("%g °C stands twice in the cure window. Keep one line for each metal temperature.", p.MetalC))
		}
		if p.MinutesMin >= cooler.MinutesMin {
			return refuse("powder_cure_point_order", fmt.Sprintf("At %g °C the powder needs %g min and at %g °C %g min. Hotter metal needs less time: check the data sheet.",
				cooler.MetalC, cooler.MinutesMin, p.MetalC, p.MinutesMin))
		}
	}
	return nil
}
