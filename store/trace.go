package store

import (
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// A TraceFrom is what a trace starts from: one thing by the name people know it by, and a window of time in which it was
// used. A zero time leaves that end open.
type TraceFrom struct {
	Kind     string // a Kind of TraceKinds
	Name     string
	From, To time.Time
}

// A TraceKind is one kind of thing that a trace can start from.
type TraceKind struct {
	Kind, Label string
	find        string // ids of the thing by name
	trace       string // from the ids to the parts
}

// What leads from a thing to its records, from those to parts, racks, loads and panels, each by its own index, and on to
// where the parts are now.
const (
	touchedBy      = `r.record_id, r.part_id, r.rack_id, r.load_id, r.panel_id, r.observed_at FROM `
	throughUses    = `WITH touched AS MATERIALIZED (SELECT DISTINCT ` + touchedBy + `record_use u JOIN record r ON r.site_id = u.site_id AND r.record_id = u.record_id WHERE u.site_id = @site AND `
	throughRecords = `WITH touched AS MATERIALIZED (SELECT ` + touchedBy + `record r WHERE r.site_id = @site AND `
	// The shop day says nothing more than the time, but has an index: a gauge in use for years is in too many records to read
	// them all.
	within = ` AND r.observed_at >= @from AND r.observed_at < @to AND r.verdict <> 'void'
		AND r.shop_day BETWEEN @from::timestamptz::date - 2 AND @to::timestamptz::date + 2
		AND NOT EXISTS (SELECT 1 FROM record s WHERE s.site_id = r.site_id AND s.supersedes_id = r.record_id)`
	// The offset keeps the loads of panels from being gathered for every panel there ever was.
	toParts = ` = ANY(@ids)` + within + `), ` + hits
	hits    = `hit AS (SELECT t.part_id, t.observed_at FROM touched t WHERE t.part_id IS NOT NULL
		UNION ALL SELECT rp.part_id, t.observed_at FROM touched t JOIN rack_part rp ON rp.site_id = @site AND rp.rack_id = t.rack_id
		UNION ALL SELECT rp.part_id, t.observed_at FROM touched t JOIN load_rack lr ON lr.site_id = @site AND lr.load_id = t.load_id
			JOIN rack_part rp ON rp.site_id = lr.site_id AND rp.rack_id = lr.rack_id
		UNION ALL SELECT x.part_id, t.observed_at FROM touched t CROSS JOIN LATERAL (SELECT rp.part_id FROM panel pl
			LEFT JOIN load_rack pk ON pk.site_id = pl.site_id AND pk.rack_id = pl.rack_id
			JOIN load_rack lr ON lr.site_id = pl.site_id AND lr.load_id = coalesce(pl.load_id, pk.load_id)
			JOIN rack_part rp ON rp.site_id = lr.site_id AND rp.rack_id = lr.rack_id
			WHERE pl.site_id = @site AND pl.panel_id = t.panel_id OFFSET 0) x WHERE t.panel_id IS NOT NULL)`
	loadsHit = `WITH hit (part_id, observed_at) AS (SELECT rp.part_id, ol.opened_at FROM oven_load ol
		JOIN load_rack lr ON lr.site_id = ol.site_id AND lr.load_id = ol.load_id JOIN rack_part rp ON rp.site_id = lr.site_id AND rp.rack_id = lr.rack_id
		WHERE ol.site_id = @site AND ol.opened_at >= @from AND ol.opened_at < @to AND `
	standNow = `, found AS (SELECT part_id, count(*)::int AS times, min(observed_at) AS first_at, max(observed_at) AS last_at FROM hit GROUP BY part_id)
	SELECT p.part_id, p.serial, pn.code AS part_number, j.number AS job_number, j.customer, j.order_ref, ps.status,
		(SELECT rl.released_at FROM release rl WHERE rl.site_id = @site AND rl.part_id = p.part_id
			AND NOT EXISTS (SELECT 1 FROM release_void v WHERE v.site_id = rl.site_id AND v.release_id = rl.release_id) LIMIT 1) AS released_at,
		` + papersColumns + `, f.times, f.first_at, f.last_at
	FROM found f JOIN part p ON p.site_id = @site AND p.part_id = f.part_id
	JOIN part_status ps ON ps.site_id = @site AND ps.part_id = f.part_id
	JOIN part_number pn ON pn.site_id = @site AND pn.part_number_id = p.part_number_id
	JOIN job j ON j.site_id = @site AND j.job_id = p.job_id` + papersOf + `
	ORDER BY p.serial`
)

// washedWithLot are the records r of washes in a bath that one of the lots @ids went into, from the first addition until the
// bath was next made up. The make-up itself goes into the new bath. The shop day again leads to an index.
const washedWithLot = `(SELECT ad.site_id, ad.bath_id, min(ad.observed_at) AS since, dumped.at AS until
	FROM record_use lu
	JOIN record ad ON ad.site_id = lu.site_id AND ad.record_id = lu.record_id AND ad.kind = 'bath_addition' AND ad.verdict <> 'void'
		AND NOT EXISTS (SELECT 1 FROM record s WHERE s.site_id = ad.site_id AND s.supersedes_id = ad.record_id)
	CROSS JOIN LATERAL (SELECT min(d.observed_at) AS at FROM record d
		JOIN rating t ON t.site_id = d.site_id AND t.record_id = d.record_id AND t.characteristic = 'bath_act' AND t.code = 'make_up'
		WHERE d.site_id = ad.site_id AND d.bath_id = ad.bath_id AND d.kind = 'bath_addition' AND d.observed_at > ad.observed_at AND d.verdict <> 'void'
		AND NOT EXISTS (SELECT 1 FROM record s WHERE s.site_id = d.site_id AND s.supersedes_id = d.record_id)) dumped
	WHERE lu.site_id = @site AND lu.lot_id = ANY(@ids) GROUP BY ad.site_id, ad.bath_id, dumped.at) filled
	JOIN record r ON r.site_id = filled.site_id AND r.kind = 'pretreatment' AND r.observed_at >= filled.since AND r.observed_at < coalesce(filled.until, 'infinity')
		AND r.shop_day BETWEEN filled.since::date - 2 AND coalesce(filled.until::date + 2, 'infinity')
	JOIN record_use bu ON bu.site_id = r.site_id AND bu.record_id = r.record_id AND bu.bath_id = filled.bath_id AND bu.role = 'bath'
	WHERE true`

// TraceKinds lists what a trace can start from, in the order of the work.
var TraceKinds = []TraceKind{
	{"lot", "Material lot", `SELECT lot_id FROM material_lot WHERE site_id = @site AND lot_number = @name`, throughUses + `u.lot_id = ANY(@ids)` + within + ` UNION SELECT ` + touchedBy + washedWithLot + within + `), ` + hits + standNow},
	{"bath", "Bath", `SELECT bath_id FROM bath WHERE site_id = @site AND @name IN (code, name)`, throughUses + `u.bath_id` + toParts + standNow},
	{"booth", "Booth", `SELECT station_id FROM station WHERE site_id = @site AND @name IN (code, name) AND kind = 'booth'`, throughUses + `u.station_id` + toParts + standNow},
	{"oven", "Oven", `SELECT station_id FROM station WHERE site_id = @site AND @name IN (code, name) AND kind = 'oven'`, loadsHit + `ol.oven_id = ANY(@ids))` + standNow},
	{"load", "Oven load", `SELECT load_id FROM oven_load WHERE site_id = @site AND number = @name`, loadsHit + `ol.load_id = ANY(@ids))` + standNow},
	{"rack", "Rack", `SELECT rack_id FROM rack WHERE site_id = @site AND number = @name`, `WITH hit (part_id, observed_at) AS (SELECT rp.part_id, k.hung_at
		FROM rack k JOIN rack_part rp ON rp.site_id = k.site_id AND rp.rack_id = k.rack_id
		WHERE k.site_id = @site AND k.rack_id = ANY(@ids) AND k.hung_at >= @from AND k.hung_at < @to)` + standNow},
	{"panel", "Witness panel", `SELECT panel_id FROM panel WHERE site_id = @site AND code = upper(@name)`, `WITH hit (part_id, observed_at) AS (SELECT rp.part_id, pl.added_at
		FROM panel pl LEFT JOIN load_rack pk ON pk.site_id = pl.site_id AND pk.rack_id = pl.rack_id
		JOIN load_rack lr ON lr.site_id = pl.site_id AND lr.load_id = coalesce(pl.load_id, pk.load_id)
		JOIN rack_part rp ON rp.site_id = lr.site_id AND rp.rack_id = lr.rack_id
		WHERE pl.site_id = @site AND pl.panel_id = ANY(@ids) AND pl.added_at >= @from AND pl.added_at < @to)` + standNow},
	{"gauge", "Gauge or other device", `SELECT instrument_id FROM instrument WHERE site_id = @site AND code = @name`, throughUses + `u.instrument_id` + toParts + standNow},
	{"welder", "Welder", findPerson, throughUses + `u.person_id` + toParts + standNow},
	{"person", "Person who recorded", findPerson, throughRecords + `r.person_id` + toParts + standNow},
	{"station", "Station", `SELECT station_id FROM station WHERE site_id = @site AND @name IN (code, name)`, throughRecords + `r.station_id` + toParts + standNow},
	{"part_number", "Part number", `SELECT part_number_id FROM part_number WHERE site_id = @site AND code = @name`, `WITH hit (part_id, observed_at) AS (SELECT p.part_id, p.received_at
		FROM part p WHERE p.site_id = @site AND p.part_number_id = ANY(@ids) AND p.received_at >= @from AND p.received_at < @to)` + standNow},
	{"spec", "Finish spec", `SELECT sr.revision_id FROM finish_spec_revision sr JOIN finish_spec fs ON fs.site_id = sr.site_id AND fs.spec_id = sr.spec_id
		WHERE sr.site_id = @site AND (fs.code = @name OR fs.code || ' rev ' || sr.revision = @name)`, throughRecords + `r.spec_revision_id` + toParts + standNow},
}

const findPerson = `SELECT person_id FROM person WHERE site_id = @site AND @name IN (name, sign_on_name)`

// traceKind returns the kind, or ErrNotFound.
func traceKind(kind string) (TraceKind, error) {
	for _, k := range TraceKinds {
		if k.Kind == kind {
			return k, nil
		}
	}
	return TraceKind{}, fmt.Errorf("tracing from %q: %w", kind, ErrNotFound)
}

// A TracedPart is a part that the thing touched: when first and last, in how many records, and where the part is now.
type TracedPart struct {
	PartID     uuid.UUID  `db:"part_id"`
	Serial     string     `db:"serial"`
	PartNumber string     `db:"part_number"`
	JobNumber  string     `db:"job_number"`
	Customer   string     `db:"customer"`
	OrderRef   string     `db:"order_ref"`
	Status     string     `db:"status"`
	ReleasedAt *time.Time `db:"released_at"`
	Papers
	Times   int       `db:"times"`
	FirstAt time.Time `db:"first_at"`
	LastAt  time.Time `db:"last_at"`
}

// Trace returns every part that a thing touched, released and shipped ones too, by serial, with the papers it left with. Records that a correction replaced, and
// voids, tie nothing together. ErrNotFound means that the site has no such thing.
func (db *DB) Trace(ctx context.Context, site uuid.UUID, f TraceFrom) ([]TracedPart, error) {
	k, err := traceKind(f.Kind)
	if err != nil {
		return nil, err
	}
	ids, err := column[uuid.UUID](ctx, db.pool, k.find, sqlArgs{"site": site, "name": f.Name})
	if err != nil {
		return nil, fmt.Errorf("tracing from %s %s: %w", f.Kind, f.Name, err)
	}
	if len(ids) == 0 {
		return nil, fmt.Errorf("%s %q: %w", f.Kind, f.Name, ErrNotFound)
	}
	if f.To.IsZero() {
		f.To = db.Clock().AddDate(1, 0, 0)
	}
	var parts []TracedPart
	err = db.byKeys(ctx, func(tx querier) error {
		// Planned for these very values each time: the plan for any thing and any window reads whole tables.
		rows, err := tx.Query(ctx, k.trace, pgx.QueryExecModeCacheDescribe, sqlArgs{"site": site, "ids": ids, "from": f.From, "to": f.To})
		if err != nil {
			return err
		}
		parts, err = pgx.CollectRows(rows, pgx.RowToStructByName[TracedPart])
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("tracing from %s %s: %w", f.Kind, f.Name, err)
	}
	return parts, nil
}

// byKeys reads what fetches some thousand rows of large tables by their keys: at the costs of a slow disk the planner would rather
// read whole tables.
func (db *DB) byKeys(ctx context.Context, read func(tx querier) error) error {
	return pgx.BeginTxFunc(ctx, db.pool, pgx.TxOptions{AccessMode: pgx.ReadOnly}, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, "SET LOCAL random_page_cost = 1.1; SET LOCAL max_parallel_workers_per_gather = 0"); err != nil {
			return err
		}
		return read(tx)
	})
}

// TraceNames returns up to limit names that a trace of a kind can start from: racks and loads the newest first, others sorted.
func (db *DB) TraceNames(ctx context.Context, site uuid.UUID, kind string, limit int) ([]string, error) {
	sql, ok := map[string]string{
		"lot": `SELECT lot_number FROM material_lot WHERE site_id = @site ORDER BY lot_number`, "bath": `SELECT code FROM bath WHERE site_id = @site ORDER BY code`,
		"booth":  `SELECT code FROM station WHERE site_id = @site AND kind = 'booth' ORDER BY code`,
		"oven":   `SELECT code FROM station WHERE site_id = @site AND kind = 'oven' ORDER BY code`,
		"gauge":  `SELECT code FROM instrument WHERE site_id = @site ORDER BY code`,
		"welder": `SELECT name FROM person WHERE site_id = @site ORDER BY name`, "person": `SELECT name FROM person WHERE site_id = @site ORDER BY name`,
		"station": `SELECT code FROM station WHERE site_id = @site ORDER BY code`, "part_number": `SELECT code FROM part_number WHERE site_id = @site ORDER BY code`,
		"spec": `SELECT fs.code || ' rev ' || sr.revision FROM finish_spec_revision sr JOIN finish_spec fs ON fs.site_id = sr.site_id AND fs.spec_id = sr.spec_id
			WHERE sr.site_id = @site ORDER BY 1`,
		"load":  `SELECT number FROM (SELECT number, opened_at FROM oven_load WHERE site_id = @site ORDER BY opened_at DESC LIMIT @limit) l ORDER BY opened_at DESC`,
		"panel": `SELECT code FROM (SELECT code, added_at FROM panel WHERE site_id = @site ORDER BY added_at DESC LIMIT @limit) p ORDER BY added_at DESC`,
		"rack":  `SELECT number FROM (SELECT number, hung_at FROM rack WHERE site_id = @site ORDER BY hung_at DESC LIMIT @limit) k ORDER BY hung_at DESC`,
	}[kind]
	if !ok {
		return nil, fmt.Errorf("tracing from %q: %w", kind, ErrNotFound)
	}
	return column[string](ctx, db.pool, sql+` LIMIT @limit`, sqlArgs{"site": site, "limit": limit})
}

// WriteTrace writes traced parts as CSV (RFC 4180, UTF-8, CRLF), times with their offset in the site's zone.
func WriteTrace(w io.Writer, st Site, parts []TracedPart) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	if err := out.Write([]string{"part_serial", "part_number", "job_number", "customer", "order_ref", "status", "released_at", "shipped_at", "shipment", "delivery_note", "certificate", "records", "first_at", "last_at"}); err != nil {
		return err
	}
	zone := st.Location()
	for _, p := range parts {
		if err := out.Write([]string{p.Serial, p.PartNumber, p.JobNumber, harmless(p.Customer), harmless(p.OrderRef), p.Status, moment(p.ReleasedAt, zone),
			moment(p.ShippedAt, zone), p.Shipment, harmless(p.DeliveryNote), p.Certificate, strconv.Itoa(p.Times),
			p.FirstAt.In(zone).Format(time.RFC3339), p.LastAt.In(zone).Format(time.RFC3339)}); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// moment writes a time with its offset, empty for none.
func moment(at *time.Time, zone *time.Location) string {
	if at == nil {
		return ""
	}
	return at.In(zone).Format(time.RFC3339)
}

// harmless puts a single quote before free text that a spreadsheet would take for a formula.
func harmless(text string) string {
	if text != "" && startsFormula(text[0]) {
		return "'" + text
	}
	return text
}

// A TraceCount is how many traced parts are where. Scrapped, returned and regraded ones are nowhere.
type TraceCount struct {
	InHouse   int
	Released  int // and not shipped
	Shipped   int
	Customers map[string]int // released and shipped parts by customer
}

// CountTraced counts traced parts by where they are now.
func CountTraced(parts []TracedPart) TraceCount {
	c := TraceCount{Customers: map[string]int{}}
	for _, p := range parts {
		switch {
		case p.Status == StatusReleased:
			c.Released++
			c.Customers[p.Customer]++
		case p.Status == StatusShipped:
			c.Shipped++
			c.Customers[p.Customer]++
		case !finished[p.Status]:
			c.InHouse++
		}
	}
	return c
}

// A MockRecall is one exercise: from a thing to every part it touched, with the clock running.
type MockRecall struct {
	TraceFrom
	TraceCount
	Parts []TracedPart
	Took  time.Duration
}

// MockRecall traces, counts and notes the exercise in the events, with how long it took.
func (db *DB) MockRecall(ctx context.Context, a Actor, f TraceFrom) (MockRecall, error) {
	start := time.Now()
	parts, err := db.Trace(ctx, a.Site, f)
	if err != nil {
		return MockRecall{}, err
	}
	m := MockRecall{TraceFrom: f, TraceCount: CountTraced(parts), Parts: parts, Took: time.Since(start)}
	return m, db.Note(ctx, a, Event{Verb: "mock recall", SubjectKind: f.Kind, After: map[string]any{"name": f.Name, "from": f.From, "to": f.To, "parts": len(parts),
		"in_house": m.InHouse, "released": m.Released, "shipped": m.Shipped, "took_ms": m.Took.Milliseconds()}})
}
