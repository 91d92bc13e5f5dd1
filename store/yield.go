package store

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
)

// A Period is shop days, the first and last included, of all shifts or of one. Days are midnight UTC of their date, as
// Site.ShopDay gives them.
type Period struct {
	From, To time.Time
	Shift    string // empty for all
}

// OneDay is a period of one shop day.
func OneDay(day time.Time, shift string) Period { return Period{From: day, To: day, Shift: shift} }

func (p Period) args(site uuid.UUID) sqlArgs {
	return sqlArgs{"site": site, "from": p.From, "to": p.To, "shift": p.Shift}
}

// inPeriod restricts records r to current ones of a period: a record that a correction replaced counts nowhere, nor does a
// void.
const inPeriod = `r.site_id = @site AND r.shop_day BETWEEN @from AND @to AND (@shift = '' OR r.shift = @shift) AND r.verdict <> 'void'
	AND NOT EXISTS (SELECT 1 FROM record s WHERE s.site_id = r.site_id AND s.supersedes_id = r.record_id)`

// partsOfRecord joins a record r to the parts it speaks for: the part itself, those of its rack, those of its load, those
// of the load that its witness panel went with.
const partsOfRecord = `LATERAL (
		SELECT r.part_id WHERE r.part_id IS NOT NULL
		UNION ALL SELECT rp.part_id FROM rack_part rp WHERE rp.site_id = r.site_id AND rp.rack_id = r.rack_id
		UNION ALL SELECT rp.part_id FROM load_rack lr JOIN rack_part rp ON rp.site_id = lr.site_id AND rp.rack_id = lr.rack_id
			WHERE lr.site_id = r.site_id AND lr.load_id = r.load_id
		UNION ALL SELECT rp.part_id FROM panel pl LEFT JOIN load_rack pk ON pk.site_id = pl.site_id AND pk.rack_id = pl.rack_id
			JOIN load_rack lr ON lr.site_id = pl.site_id AND lr.load_id = coalesce(pl.load_id, pk.load_id)
			JOIN rack_part rp ON rp.site_id = lr.site_id AND rp.rack_id = lr.rack_id
			WHERE pl.site_id = r.site_id AND pl.panel_id = r.panel_id) x`

// A StageCount is what went through one stage in a period. Units are the parts, racks or loads that had their first record
// of the kind in their first cycle then; Passed of them passed it, Failed and Incomplete did not. Through counts the parts
// that had any record of the kind, repeats included.
type StageCount struct {
	Kind       quality.Kind `db:"kind"`
	Subject    string       `db:"subject"` // part, rack, load, or mixed
	Units      int          `db:"units"`
	Passed     int          `db:"passed"`
	Failed     int          `db:"failed"`
	Incomplete int          `db:"incomplete"`
	Through    int          `db:"through"`
}

// Stages counts a period by kind of record, in the order of the work. Kinds without any record are left out.
func (db *DB) Stages(ctx context.Context, site uuid.UUID, p Period) ([]StageCount, error) {
	counts, err := list[StageCount](ctx, db.pool, `
		WITH seen AS (SELECT r.* FROM record r WHERE `+inPeriod+` AND num_nonnulls(r.part_id, r.rack_id, r.load_id) = 1),
		through AS (SELECT r.kind, count(DISTINCT x.part_id)::int AS parts FROM seen r CROSS JOIN `+partsOfRecord+` GROUP BY r.kind)
		SELECT r.kind,
			CASE WHEN count(r.part_id) = count(*) THEN 'part' WHEN count(r.rack_id) = count(*) THEN 'rack' WHEN count(r.load_id) = count(*) THEN 'load' ELSE 'mixed' END AS subject,
			count(*) FILTER (WHERE r.first_pass)::int AS units,
			count(*) FILTER (WHERE r.first_pass AND r.verdict IN ('pass', 'guard_band'))::int AS passed,
			count(*) FILTER (WHERE r.first_pass AND r.verdict = 'fail')::int AS failed,
			count(*) FILTER (WHERE r.first_pass AND r.verdict = 'incomplete')::int AS incomplete,
			coalesce(max(t.parts), 0) AS through
		FROM seen r LEFT JOIN through t ON t.kind = r.kind GROUP BY r.kind`, p.args(site))
	if err != nil {
		return nil, fmt.Errorf("counting stages: %w", err)
	}
	byKind := map[quality.Kind]StageCount{}
	for _, c := range counts {
		byKind[c.Kind] = c
	}
	ordered := counts[:0]
	for _, k := range quality.Kinds {
		if c, ok := byKind[k]; ok {
			ordered = append(ordered, c)
		}
	}
	return ordered, nil
}

// A ListedRecord is one record in a list behind a number, with what it is about.
type ListedRecord struct {
	RecordID    uuid.UUID       `db:"record_id"`
	Kind        quality.Kind    `db:"kind"`
	SubjectKind string          `db:"subject_kind"`
	Subject     string          `db:"subject"`
	What        string          `db:"what"`
	Status      string          `db:"status"` // of the part; empty for racks and loads
	Verdict     quality.Verdict `db:"verdict"`
	Sentence    string          `db:"sentence"`
	Person      string          `db:"person"`
	ObservedAt  time.Time       `db:"observed_at"`
}

const listedRecord = `SELECT r.record_id, r.kind,
	CASE WHEN r.part_id IS NOT NULL THEN 'part' WHEN r.rack_id IS NOT NULL THEN 'rack' WHEN r.load_id IS NOT NULL THEN 'load' ELSE 'instrument' END AS subject_kind,
	coalesce(pa.serial, rk.number, ol.number, i.code) AS subject,
	coalesce(pn.name || ' ' || pn.code || ', job ' || j.number, rk.tag, ov.name, i.kind) AS what, coalesce(ps.status, '') AS status, r.verdict,
	%s AS sentence, pe.name AS person, r.observed_at
	FROM record r
	JOIN person pe ON pe.site_id = r.site_id AND pe.person_id = r.person_id
	LEFT JOIN part pa ON pa.site_id = r.site_id AND pa.part_id = r.part_id
	LEFT JOIN part_status ps ON ps.site_id = r.site_id AND ps.part_id = r.part_id
	LEFT JOIN part_number pn ON pn.site_id = pa.site_id AND pn.part_number_id = pa.part_number_id
	LEFT JOIN job j ON j.site_id = pa.site_id AND j.job_id = pa.job_id
	LEFT JOIN rack rk ON rk.site_id = r.site_id AND rk.rack_id = r.rack_id
	LEFT JOIN oven_load ol ON ol.site_id = r.site_id AND ol.load_id = r.load_id
	LEFT JOIN station ov ON ov.site_id = ol.site_id AND ov.station_id = ol.oven_id
	LEFT JOIN instrument i ON i.site_id = r.site_id AND i.instrument_id = r.instrument_id `

const firstSentence = `coalesce((SELECT f.sentence FROM finding f WHERE f.site_id = r.site_id AND f.record_id = r.record_id ORDER BY f.seq LIMIT 1), r.rule)`

// outcomes are the conditions that the lists of first records may be narrowed by.
var outcomes = map[string]string{
	"":           ``,
	"passed":     ` AND r.verdict IN ('pass', 'guard_band')`,
	"failed":     ` AND r.verdict = 'fail'`,
	"incomplete": ` AND r.verdict = 'incomplete'`,
	"not_passed": ` AND r.verdict NOT IN ('pass', 'guard_band')`,
}

// FirstRecords lists the first records of a kind that Stages counts: all, or those with the outcome passed, failed,
// incomplete or not_passed. An outcome that does not exist is ErrNotFound.
func (db *DB) FirstRecords(ctx context.Context, site uuid.UUID, p Period, kind quality.Kind, outcome string) ([]ListedRecord, error) {
	narrow, ok := outcomes[outcome]
	if !ok {
		return nil, fmt.Errorf("outcome %q: %w", outcome, ErrNotFound)
	}
	args := p.args(site)
	args["kind"] = kind
	return list[ListedRecord](ctx, db.pool, fmt.Sprintf(listedRecord, firstSentence)+`WHERE `+inPeriod+` AND r.first_pass AND r.kind = @kind`+narrow+
		` ORDER BY r.observed_at, r.record_id`, args)
}

// PartsThrough lists the parts that a record of the kind spoke for in a period: what StageCount.Through counts.
func (db *DB) PartsThrough(ctx context.Context, site uuid.UUID, p Period, kind quality.Kind) ([]PartRow, error) {
	args := p.args(site)
	args["kind"] = kind
	return list[PartRow](ctx, db.pool, partRowSQL+` AND p.part_id IN (SELECT x.part_id FROM record r CROSS JOIN `+partsOfRecord+
		` WHERE `+inPeriod+` AND r.kind = @kind) ORDER BY p.serial`, args)
}

// An End is a part that came to the end of its way through the shop: released, scrapped, returned or regraded.
type End struct {
	PartID     uuid.UUID `db:"part_id"`
	Serial     string    `db:"serial"`
	What       string    `db:"what"`
	Status     string    `db:"status"`
	Concession bool      `db:"concession"`
	By         string    `db:"by_name"`
	At         time.Time `db:"at"`
}

// Ends lists the parts that were finished in a period, in the order it happened. Final yield is the share of them that was
// released.
func (db *DB) Ends(ctx context.Context, st Site, p Period) ([]End, error) {
	all, err := list[End](ctx, db.pool, `
		SELECT e.part_id, pa.serial, pn.name || ' ' || pn.code || ', job ' || j.number AS what, e.status, ps.concession, pe.name AS by_name, e.at
		FROM (SELECT part_id, 'released' AS status, released_by AS person_id, released_at AS at FROM release rl WHERE site_id = @site AND shop_day BETWEEN @from AND @to
			AND NOT EXISTS (SELECT 1 FROM release_void v WHERE v.site_id = rl.site_id AND v.release_id = rl.release_id)
			UNION ALL
			SELECT part_id, CASE code WHEN 'scrap' THEN 'scrapped' WHEN 'return' THEN 'returned' ELSE 'regraded' END, decided_by, decided_at
			FROM disposition WHERE site_id = @site AND shop_day BETWEEN @from AND @to AND code IN ('scrap', 'return', 'regrade')) e
		JOIN part pa ON pa.site_id = @site AND pa.part_id = e.part_id
		JOIN part_status ps ON ps.site_id = @site AND ps.part_id = e.part_id
		JOIN part_number pn ON pn.site_id = @site AND pn.part_number_id = pa.part_number_id
		JOIN job j ON j.site_id = @site AND j.job_id = pa.job_id
		JOIN person pe ON pe.site_id = @site AND pe.person_id = e.person_id
		ORDER BY e.at, pa.serial`, sqlArgs{"site": st.ID, "from": p.From, "to": p.To})
	if err != nil || p.Shift == "" {
		return all, err
	}
	// A disposition has no shift of its own; both are told from their time in the same way.
	kept := all[:0]
	for _, e := range all {
		if _, shift := st.ShopDay(e.At); shift == p.Shift {
			kept = append(kept, e)
		}
	}
	return kept, nil
}

// A FaultCount is how many findings of a period name a fault, and on how many parts, racks and loads.
type FaultCount struct {
	Fault    string `db:"fault"`
	Findings int    `db:"findings"`
	Subjects int    `db:"subjects"`
}

const faultFrom = ` FROM finding f JOIN record r ON r.site_id = f.site_id AND r.record_id = f.record_id
	WHERE f.site_id = @site AND f.shop_day BETWEEN @from AND @to AND f.fault <> '' AND f.verdict <> 'pass' AND num_nonnulls(r.instrument_id, r.bath_id, r.oven_id) = 0 AND `

// Faults counts the findings of a period by fault, most frequent first.
func (db *DB) Faults(ctx context.Context, site uuid.UUID, p Period) ([]FaultCount, error) {
	return list[FaultCount](ctx, db.pool, `SELECT f.fault, count(*)::int AS findings, count(DISTINCT coalesce(r.part_id, r.rack_id, r.load_id))::int AS subjects`+
		faultFrom+inPeriod+` GROUP BY f.fault ORDER BY findings DESC, f.fault`, p.args(site))
}

// FaultySubjects counts the parts, racks and loads that have any fault in a period.
func (db *DB) FaultySubjects(ctx context.Context, site uuid.UUID, p Period) (int, error) {
	return value[int](ctx, db.pool, `SELECT count(DISTINCT coalesce(r.part_id, r.rack_id, r.load_id))::int`+faultFrom+inPeriod, p.args(site))
}

// FaultRecords lists the findings that Faults counts for one fault: one row each.
func (db *DB) FaultRecords(ctx context.Context, site uuid.UUID, p Period, fault string) ([]ListedRecord, error) {
	args := p.args(site)
	args["fault"] = fault
	return list[ListedRecord](ctx, db.pool, fmt.Sprintf(listedRecord, `f.sentence`)+`
		JOIN finding f ON f.site_id = r.site_id AND f.record_id = r.record_id
		WHERE f.shop_day BETWEEN @from AND @to AND f.fault = @fault AND f.verdict <> 'pass' AND num_nonnulls(r.instrument_id, r.bath_id, r.oven_id) = 0 AND `+inPeriod+`
		ORDER BY r.observed_at, f.seq`, args)
}

// FindParts searches by the beginning of a serial, a job number or a part number, latest first. An empty text lists the
// parts that moved last.
func (db *DB) FindParts(ctx context.Context, site uuid.UUID, text string, limit int) ([]PartRow, error) {
	return list[PartRow](ctx, db.pool, partRowSQL+` AND (@text = '' OR starts_with(lower(p.serial), lower(@text)) OR lower(j.number) = lower(@text) OR lower(pn.code) = lower(@text))
		ORDER BY ps.changed_at DESC, p.serial LIMIT @limit`, sqlArgs{"site": site, "text": text, "limit": limit})
}
