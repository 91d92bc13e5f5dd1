package demoshop

import (
	"context"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"coatbook/store"
)

// partsOfTrace is how many parts BenchmarkTrace makes; twenty readings go with each. COATBOOK_BENCH_PARTS changes it.
const partsOfTrace = 50_000

// BenchmarkTrace traces from things in a book of many parts: a powder lot, a bath in one shift, a gauge on one day, an oven on
// one day, a load. The book is made in bulk, with every foreign key checked; only the status rows are what a trace reads.
func BenchmarkTrace(b *testing.B) {
	parts := partsOfTrace
	if text := os.Getenv("COATBOOK_BENCH_PARTS"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil || n < 1000 {
			b.Fatalf("COATBOOK_BENCH_PARTS=%q is no number of parts from 1000 up", text)
		}
		parts = n
	}
	cluster := startDurable(b)
	ctx := b.Context()
	if err := store.Migrate(ctx, cluster.url); err != nil {
		b.Fatal(err)
	}
	db, err := store.Open(ctx, cluster.url)
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close()
	shop, err := Open(ctx, db, time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC))
	if err != nil {
		b.Fatal(err)
	}
	made := fill(b, ctx, cluster.url, shop, parts)
	if err := db.Analyze(ctx); err != nil {
		b.Fatal(err)
	}
	shift := made.Add(8 * time.Hour)
	for _, from := range []store.TraceFrom{
		{Kind: "lot", Name: "BULK-00000"}, {Kind: "bath", Name: "B3", From: made, To: shift}, {Kind: "gauge", Name: "EC-07", From: made, To: made.Add(24 * time.Hour)},
		{Kind: "oven", Name: "OVEN-1", From: made, To: made.Add(24 * time.Hour)}, {Kind: "load", Name: "BULK-L-100"}, {Kind: "rack", Name: "BULK-R-100"},
	} {
		b.Run(from.Kind, func(b *testing.B) {
			var found int
			for b.Loop() {
				list, err := db.Trace(ctx, shop.Site.ID, from)
				if err != nil {
					b.Fatal(err)
				}
				found = len(list)
			}
			if found == 0 {
				b.Fatalf("the trace from %s %s found nothing", from.Kind, from.Name)
			}
			b.ReportMetric(float64(found), "parts")
			b.ReportMetric(float64(b.Elapsed().Milliseconds())/float64(b.N), "ms")
		})
	}
	for _, from := range []string{"lot"} {
		b.Run("back_from_a_part_"+from, func(b *testing.B) {
			var part store.Part
			if part, err = db.PartBySerial(ctx, shop.Site.ID, "BULK-500"); err != nil {
				b.Fatal(err)
			}
			for b.Loop() {
				if _, err := db.Story(ctx, shop.Site.ID, part.ID); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Milliseconds())/float64(b.N), "ms")
		})
	}
}

// fill makes parts with all their records in bulk: 6 parts a rack, 2 racks a load, 60 parts a day, 2000 parts a powder lot,
// each with a weld, finish and film check, and 20 readings. It returns the start of the middle day.
func fill(b *testing.B, ctx context.Context, url string, shop *Shop, parts int) time.Time {
	b.Helper()
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		b.Fatal(err)
	}
	defer conn.Close(ctx)
	// 600 parts a day keep a million within five years.
	start := time.Date(2021, 1, 4, 12, 0, 0, 0, time.UTC)
	perDay := 600
	if _, err := conn.Exec(ctx, `SET synchronous_commit = off`); err != nil {
		b.Fatal(err)
	}
	args := pgx.StrictNamedArgs{"site": shop.Site.ID, "parts": parts, "start": start, "per_day": perDay, "person": shop.People["marek"].Person,
		"number": shop.Products[0].PartNumber.ID, "revision": shop.Products[0].PartNumber.SpecID, "oven": shop.Stations["OVEN-1"], "booth": shop.Stations["BOOTH-1"],
		"bath": shop.Baths["B3"], "gauge": shop.Gauges["EC-07"].ID}
	for _, s := range fillStatements {
		used := pgx.StrictNamedArgs{}
		for name, v := range args {
			if containsArg(s, name) {
				used[name] = v
			}
		}
		if _, err := conn.Exec(ctx, s, used); err != nil {
			b.Fatalf("%v\n%s", err, s)
		}
	}
	return start.AddDate(0, 0, parts/perDay/2)
}

func containsArg(sql, name string) bool {
	for i := 0; i+len(name) < len(sql); i++ {
		if sql[i] == '@' && sql[i+1:i+1+len(name)] == name && (i+1+len(name) == len(sql) || !isWord(sql[i+1+len(name)])) {
			return true
		}
	}
	return false
}

func isWord(c byte) bool { return c == '_' || c >= 'a' && c <= 'z' || c >= '0' && c <= '9' }

// An id is made of a kind's letter and a running number, so that statements can name each other's rows.
const bulkID = `CREATE OR REPLACE FUNCTION pg_temp.bulk(kind int, n bigint) RETURNS uuid LANGUAGE sql IMMUTABLE AS
	$$ SELECT (lpad(to_hex(kind), 8, '0') || '-0000-7000-8000-' || lpad(to_hex(n), 12, '0'))::uuid $$`

// recordSQL makes one record for each n of a series.
func recordSQL(kindNo int, kind, subject, id, series, at string) string {
	return `INSERT INTO record (site_id, record_id, kind, ` + subject + `, first_pass, spec_revision_id, person_id, observed_at, utc_offset_s, recorded_at, counted_at, shop_day, shift, verdict, content_hash)
		SELECT @site, pg_temp.bulk(` + strconv.Itoa(kindNo) + `, n), '` + kind + `', ` + id + `, true,
			(SELECT revision_id FROM finish_spec_revision WHERE site_id = @site AND spec_id = @revision LIMIT 1), @person, t, 0, t, t, t::date, 'Early', 'pass', 'bulk'
		FROM ` + series + ` AS n CROSS JOIN LATERAL (SELECT @start::timestamptz + ` + at + ` AS t) x`
}

// A part's day and its place in it decide when it was done.
const (
	atPart    = `((n / @per_day::int) * interval '1 day' + (n % @per_day::int) * interval '1 minute')`
	atRack    = `((n * 6 / @per_day::int) * interval '1 day' + (n * 6 % @per_day::int) * interval '1 minute')`
	atLoad    = `((n * 12 / @per_day::int) * interval '1 day' + (n * 12 % @per_day::int) * interval '1 minute')`
	allParts  = `generate_series(0, @parts::int - 1)`
	allRacks  = `generate_series(0, (@parts::int - 1) / 6)`
	allLoads  = `generate_series(0, (@parts::int - 1) / 12)`
	useRecord = `INSERT INTO record_use (site_id, record_id, seq, role, `
)

// readingSQL gives every record of a series so many readings.
func readingSQL(kindNo int, characteristic, unit, series string, many int) string {
	return `INSERT INTO reading (site_id, record_id, seq, characteristic, spot, rep, value, value_text, unit, source, flag)
		SELECT @site, pg_temp.bulk(` + strconv.Itoa(kindNo) + `, n), s, '` + characteristic + `', (s + 2) / 3, (s + 2) % 3 + 1, 70 + (n * 7 + s * 3) % 30, (70 + (n * 7 + s * 3) % 30)::text, '` + unit + `', 'wedge', 'in'
		FROM ` + series + ` AS n, generate_series(1, ` + strconv.Itoa(many) + `) AS s`
}

var fillStatements = []string{
	bulkID,
	`INSERT INTO job (site_id, job_id, number, customer, received_at) SELECT @site, pg_temp.bulk(1, n), 'BULK-' || n, 'Customer ' || n % 40, @start::timestamptz + n * interval '1 day'
		FROM generate_series(0, @parts::int / @per_day::int) AS n`,
	`INSERT INTO material_lot (site_id, lot_id, material_id, kind, lot_number, made_on, received_on, expires_on, quantity, unit)
		SELECT @site, pg_temp.bulk(2, n), l.material_id, l.kind, 'BULK-' || lpad(n::text, 5, '0'), l.made_on, l.received_on, l.expires_on, 100, l.unit
		FROM generate_series(0, @parts::int / 2000) AS n, (SELECT * FROM material_lot WHERE site_id = @site AND kind = 'powder' LIMIT 1) l`,
	`INSERT INTO part (site_id, part_id, serial, job_id, part_number_id, received_at) SELECT @site, pg_temp.bulk(3, n), 'BULK-' || n, pg_temp.bulk(1, n / @per_day::int), @number, @start::timestamptz + ` + atPart + ` FROM ` + allParts + ` AS n`,
	`INSERT INTO part_status (site_id, part_id, status, next_kind, round_started_at) SELECT @site, pg_temp.bulk(3, n), 'accepted', '', @start::timestamptz FROM ` + allParts + ` AS n`,
	`INSERT INTO rack (site_id, rack_id, number, tag, hung_by, hung_at, unloaded_at) SELECT @site, pg_temp.bulk(4, n), 'BULK-R-' || n, 'B' || n, @person, t, t + interval '3 hours'
		FROM ` + allRacks + ` AS n CROSS JOIN LATERAL (SELECT @start::timestamptz + ` + atRack + ` AS t) x`,
	`INSERT INTO rack_part (site_id, rack_id, part_id, cycle, position) SELECT @site, pg_temp.bulk(4, n / 6), pg_temp.bulk(3, n), 1, n % 6 + 1 FROM ` + allParts + ` AS n`,
	`INSERT INTO oven_load (site_id, load_id, number, oven_id, opened_by, opened_at, closed_at) SELECT @site, pg_temp.bulk(5, n), 'BULK-L-' || n, @oven, @person, t, t + interval '1 hour'
		FROM ` + allLoads + ` AS n CROSS JOIN LATERAL (SELECT @start::timestamptz + ` + atLoad + ` AS t) x`,
	`INSERT INTO load_rack (site_id, load_id, rack_id) SELECT @site, pg_temp.bulk(5, n / 2), pg_temp.bulk(4, n) FROM ` + allRacks + ` AS n`,
	recordSQL(10, "weld", "part_id", "pg_temp.bulk(3, n)", allParts, atPart),
	recordSQL(11, "pretreatment", "rack_id", "pg_temp.bulk(4, n)", allRacks, atRack),
	recordSQL(12, "coating", "rack_id", "pg_temp.bulk(4, n)", allRacks, atRack),
	recordSQL(13, "cure", "load_id", "pg_temp.bulk(5, n)", allLoads, atLoad),
	recordSQL(14, "cure_test", "load_id", "pg_temp.bulk(5, n)", allLoads, atLoad),
	recordSQL(15, "finish", "part_id", "pg_temp.bulk(3, n)", allParts, atPart),
	recordSQL(16, "film", "part_id", "pg_temp.bulk(3, n)", allParts, atPart),
	useRecord + `bath_id) SELECT @site, pg_temp.bulk(11, n), 1, 'bath', @bath FROM ` + allRacks + ` AS n`,
	useRecord + `lot_id) SELECT @site, pg_temp.bulk(12, n), 1, 'powder', pg_temp.bulk(2, n * 6 / 2000) FROM ` + allRacks + ` AS n`,
	useRecord + `station_id) SELECT @site, pg_temp.bulk(12, n), 2, 'booth', @booth FROM ` + allRacks + ` AS n`,
	useRecord + `station_id) SELECT @site, pg_temp.bulk(13, n), 1, 'oven', @oven FROM ` + allLoads + ` AS n`,
	useRecord + `instrument_id) SELECT @site, pg_temp.bulk(16, n), 1, 'gauge', @gauge FROM ` + allParts + ` AS n`,
	readingSQL(11, "ph", "pH", allRacks, 8),
	readingSQL(13, "metal_peak", "degC", allLoads, 8),
	readingSQL(15, "gloss", "GU", allParts, 3),
	readingSQL(16, "film_thickness", "um", allParts, 15),
}
