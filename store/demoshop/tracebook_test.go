package demoshop

import (
	"context"
	"fmt"
	"os"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"coatbook/store"
)

// The bulk book: 600 parts a day keep a million within five years. Six parts hang on a rack, two racks go into a load, each
// load is a job of its own; a powder lot lasts for 2000 parts of its product.
const (
	bulkPerDay       = 600
	partsPerBulkRack = 6
	partsPerBulkLoad = 12
	// bulkChunk parts are filled in one transaction, day after day, so that rows lie in the order of time as in a real book.
	bulkChunk = 10 * bulkPerDay
)

// bulkStart is when the first part was welded: 06:00 in the shop's winter.
var bulkStart = time.Date(2021, 1, 4, 12, 0, 0, 0, time.UTC)

// bulkLots are the materials that are used up while the book is filled: the letter in their lots' numbers, the demo's lot they
// are like, and how many parts one lasts.
var bulkLots = []struct {
	material, letter, like string
	lasts                  int
}{
	{"powder", "P", "88-1391", 4000}, {"other powder", "Q", "61-0207", 4000}, {"filler", "F", "FW-90417", 6000}, {"heat", "H", "HN-77120", 6000},
	{"cleaner", "A", "AC-5510", 18000}, {"conversion", "Z", "ZC-0301", 18000}, {"solvent", "M", "MK-2207", 18000},
}

// bulkLot is the number of the lot of a material that was in use for a part.
func bulkLot(material string, part int) string {
	for _, l := range bulkLots {
		if l.material == material {
			return fmt.Sprintf("BULK-%s-%d", l.letter, part/l.lasts)
		}
	}
	panic("no such material: " + material)
}

// fillOnce makes the schema, the demo's register and so many parts with all that a trace reads of them, or nothing when the
// database holds that already. Everything goes in through foreign keys and checks that are in force; events, seals and
// summaries, which no trace reads, are left out.
func fillOnce(ctx context.Context, url string, parts int) error {
	if err := store.Migrate(ctx, url); err != nil {
		return err
	}
	conn, err := pgx.Connect(ctx, loaderURL(url))
	if err != nil {
		return err
	}
	defer conn.Close(ctx)
	var held int
	if err := conn.QueryRow(ctx, `SELECT count(*) FROM part`).Scan(&held); err != nil || held == parts {
		return err
	}
	if held > 0 {
		return fmt.Errorf("the folder keeps a book of %d parts, not of %d: name another one", held, parts)
	}
	db, err := store.Open(ctx, url)
	if err != nil {
		return err
	}
	defer db.Close()
	shop, err := Open(ctx, db, bulkStart.AddDate(0, 0, -7))
	if err != nil {
		return err
	}
	args, err := bulkArgs(ctx, conn, shop, parts)
	if err != nil {
		return err
	}
	for _, s := range append([]string{`SET synchronous_commit = off`}, bulkFunctions()...) {
		if _, err := conn.Exec(ctx, s); err != nil {
			return fmt.Errorf("%w\n%s", err, s)
		}
	}
	statements, start := bulkStatements(), time.Now()
	for first, end := 0, bulkPerDay; first < parts; first, end = end, min(end-end%bulkChunk+bulkChunk, parts) {
		args["first"], args["end"] = first, end
		if err := pgx.BeginFunc(ctx, conn, func(tx pgx.Tx) error {
			for _, s := range statements {
				if _, err := tx.Exec(ctx, s, args); err != nil {
					return fmt.Errorf("%w\n%s", err, s)
				}
			}
			return nil
		}); err != nil {
			return err
		}
		// Without statistics the foreign keys are checked through whichever index comes first.
		if first <= bulkChunk {
			if err := db.Analyze(ctx); err != nil {
				return err
			}
		}
		if end%(10*bulkChunk) == 0 || end == parts {
			fmt.Fprintf(os.Stderr, "%d of %d parts filled in %s\n", end, parts, time.Since(start).Round(time.Second))
		}
	}
	_, err = conn.Exec(ctx, `VACUUM (ANALYZE)`)
	return err
}

// bulkArgs are the values that the statements name.
func bulkArgs(ctx context.Context, conn *pgx.Conn, shop *Shop, parts int) (pgx.NamedArgs, error) {
	args := pgx.NamedArgs{"site": shop.Site.ID, "parts": parts}
	for list, codes := range map[string][]string{"welders": {"ruben", "lena"}, "weld_inspectors": {"teodor"}, "washers": {"jonas"}, "coaters": {"mirela"},
		"inspectors": {"ilse", "amara"}, "supervisors": {"marek"}} {
		var ids []uuid.UUID
		for _, c := range codes {
			ids = append(ids, shop.People[c].Person)
		}
		args[list] = ids
	}
	for list, codes := range map[string][]string{"weld_benches": {"WELD-1"}, "wash_lines": {"WASH"}, "booths": {"BOOTH-1", "BOOTH-2"}, "ovens": {"OVEN-1", "OVEN-2"},
		"final_benches": {"FINAL-1", "FINAL-2"}} {
		var ids []uuid.UUID
		for _, c := range codes {
			ids = append(ids, shop.Stations[c])
		}
		args[list] = ids
	}
	args["baths"] = []uuid.UUID{shop.Baths["B1"], shop.Baths["B2"], shop.Baths["B3"], shop.Baths["B4"]}
	args["gauges"] = []uuid.UUID{shop.Gauges["EC-04"].ID, shop.Gauges["EC-07"].ID, shop.Gauges["EC-09"].ID}
	args["shims"] = []uuid.UUID{shop.Shims[0].ID, shop.Shims[1].ID}
	var numbers, specs []uuid.UUID
	for _, p := range shop.Products {
		var revision uuid.UUID
		if err := conn.QueryRow(ctx, `SELECT revision_id FROM finish_spec_revision WHERE site_id = $1 AND spec_id = $2`, shop.Site.ID, p.SpecID).Scan(&revision); err != nil {
			return nil, err
		}
		numbers, specs = append(numbers, p.PartNumber.ID), append(specs, revision)
	}
	args["numbers"], args["specs"] = numbers, specs
	return args, nil
}

// bulkFunctions compute a row's id and time from the part it begins with, so that statements can name each other's rows. Ids
// have their time in front, like those that clients make.
func bulkFunctions() []string {
	minutes := fmt.Sprintf("(part / %d * 1440 + part %% %d)", bulkPerDay, bulkPerDay)
	return []string{
		fmt.Sprintf(`CREATE FUNCTION pg_temp.id(kind int, part bigint, n bigint) RETURNS uuid LANGUAGE sql IMMUTABLE AS
			$$ SELECT (lpad(to_hex(%d + 60000 * %s), 12, '0') || '7' || lpad(to_hex(kind), 3, '0') || '8000' || lpad(to_hex(n), 12, '0'))::uuid $$`, bulkStart.UnixMilli(), minutes),
		fmt.Sprintf(`CREATE FUNCTION pg_temp.at(part bigint, later int) RETURNS timestamptz LANGUAGE sql STABLE AS
			$$ SELECT '%s'::timestamptz + interval '1 minute' * (%s + later) $$`, bulkStart.Format(time.RFC3339), minutes),
		`CREATE FUNCTION pg_temp.day(at timestamptz) RETURNS date LANGUAGE sql STABLE AS $$ SELECT (at AT TIME ZONE 'America/Chicago')::date $$`,
	}
}
