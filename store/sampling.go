package store

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/quality/sampling"
)

// An InspectionLot is a set of parts that stand on one sample, with the plan that it was made by and where it stands.
type InspectionLot struct {
	ID           uuid.UUID         `db:"lot_id"`
	Number       string            `db:"number"`
	SpecCode     string            `db:"spec_code"`
	SpecRevision string            `db:"spec_revision"`
	Of           quality.Sampled   `db:"kind"`
	Basis        quality.SampleBy  `db:"basis"`
	Source       string            `db:"source"` // number of the job, rack or oven load
	SourceKind   string            `db:"source_kind"`
	First        bool              `db:"first_offered"`
	Plan         string            `db:"plan"`
	Standard     string            `db:"standard"`
	Level        string            `db:"level"`
	AQL          *float64          `db:"aql"`
	Severity     sampling.Severity `db:"severity"`
	CodeLetter   string            `db:"code_letter"`
	PlanLetter   string            `db:"plan_letter"`
	Size         int               `db:"lot_size"`
	Sample       int               `db:"sample_size"`
	Accept       int               `db:"accept"`
	Reject       int               `db:"reject"`
	Seed         []byte            `db:"seed"`
	State        quality.LotState  `db:"state"`
	Checked      int               `db:"checked"`
	Failed       int               `db:"failed"`
	Hold         string            `db:"hold"`
	MadeBy       string            `db:"made_by"`
	MadeAt       time.Time         `db:"made_at"`
	DecidedAt    *time.Time        `db:"decided_at"`
	DecidedBy    string            `db:"decided_by"`
}

const lotSQL = `SELECT l.lot_id, l.number, fs.code AS spec_code, rev.revision AS spec_revision, l.kind, l.basis, coalesce(j.number, rk.number, ol.number) AS source,
		CASE WHEN l.job_id IS NOT NULL THEN 'job' WHEN l.rack_id IS NOT NULL THEN 'rack' ELSE 'load' END AS source_kind,
		l.first_offered, l.plan, l.standard, l.level, l.aql, l.severity, l.code_letter, l.plan_letter, l.lot_size, l.sample_size, l.accept, l.reject, l.seed,
		st.state, st.checked, st.failed, p.name AS made_by, l.made_at,
		coalesce((SELECT string_agg(h.number, ', ' ORDER BY h.number) FROM inspection_hold ih JOIN hold h ON h.site_id = ih.site_id AND h.hold_id = ih.hold_id
			WHERE ih.site_id = l.site_id AND ih.lot_id = l.lot_id), '') AS hold,
		v.decided_at, coalesce(v.decided_by, '') AS decided_by
	FROM inspection_lot l
	JOIN inspection_lot_status st ON st.site_id = l.site_id AND st.lot_id = l.lot_id
	JOIN finish_spec fs ON fs.site_id = l.site_id AND fs.spec_id = l.spec_id
	JOIN finish_spec_revision rev ON rev.site_id = l.site_id AND rev.revision_id = l.spec_revision_id
	JOIN person p ON p.site_id = l.site_id AND p.person_id = l.made_by
	LEFT JOIN job j ON j.site_id = l.site_id AND j.job_id = l.job_id
	LEFT JOIN rack rk ON rk.site_id = l.site_id AND rk.rack_id = l.rack_id
	LEFT JOIN oven_load ol ON ol.site_id = l.site_id AND ol.load_id = l.load_id
	LEFT JOIN LATERAL (SELECT x.decided_at, w.name AS decided_by FROM inspection_verdict x JOIN person w ON w.site_id = x.site_id AND w.person_id = x.decided_by
		WHERE x.site_id = l.site_id AND x.lot_id = l.lot_id ORDER BY x.version DESC LIMIT 1) v ON true
	WHERE l.site_id = @site`

// InspectionLots returns the open lots and then the latest of the others, newest first.
func (db *DB) InspectionLots(ctx context.Context, site uuid.UUID, limit int) ([]InspectionLot, error) {
	return list[InspectionLot](ctx, db.pool, lotSQL+` ORDER BY st.state <> 'open', l.made_at DESC, l.number DESC LIMIT @limit`, sqlArgs{"site": site, "limit": limit})
}

// InspectionLotByNumber returns one lot.
func (db *DB) InspectionLotByNumber(ctx context.Context, site uuid.UUID, number string) (InspectionLot, error) {
	return one[InspectionLot](ctx, db.pool, lotSQL+` AND l.number = @number`, sqlArgs{"site": site, "number": number})
}

// A LotPart is a part of an inspection lot. Seq is its place in the sample, 0 when it is not in it; Sampled says that it is or
// once was. Verdict is that of its own record, empty without one that counts.
type LotPart struct {
	PartID   uuid.UUID       `db:"part_id"`
	Serial   string          `db:"serial"`
	Position int             `db:"position"`
	Seq      int             `db:"seq"`
	Sampled  bool            `db:"sampled"`
	Verdict  quality.Verdict `db:"verdict"`
	RecordID uuid.NullUUID   `db:"record_id"`
	Status   string          `db:"status"`
	NextKind quality.Kind    `db:"next_kind"`
}

const lotPartSQL = `SELECT m.part_id, p.serial, m.position, coalesce(now.seq, 0) AS seq,
		EXISTS (SELECT 1 FROM inspection_sample s WHERE s.site_id = m.site_id AND s.lot_id = m.lot_id AND s.part_id = m.part_id) AS sampled,
		coalesce(c.verdict, '') AS verdict, c.record_id, ps.status, ps.next_kind
	FROM inspection_lot_part m
	JOIN part p ON p.site_id = m.site_id AND p.part_id = m.part_id
	JOIN part_status ps ON ps.site_id = m.site_id AND ps.part_id = m.part_id
	LEFT JOIN LATERAL (SELECT s.seq FROM inspection_sample s WHERE s.site_id = m.site_id AND s.lot_id = m.lot_id AND s.part_id = m.part_id AND ` + sampledNow + `) now ON true
	` + sampleRecord + `
	WHERE m.site_id = @site AND m.lot_id = @lot ORDER BY m.position`

// LotParts returns the parts of a lot in the order that was drawn from.
func (db *DB) LotParts(ctx context.Context, site, lot uuid.UUID) ([]LotPart, error) {
	return list[LotPart](ctx, db.pool, lotPartSQL, sqlArgs{"site": site, "lot": lot})
}

// A SampleSwap is a part that was taken out of a sample, with what took its place and why.
type SampleSwap struct {
	Seq    int       `db:"seq"`
	Out    string    `db:"out_serial"`
	In     string    `db:"in_serial"`
	Reason string    `db:"reason"`
	By     string    `db:"by"`
	At     time.Time `db:"drawn_at"`
}

// Swaps returns the swaps in the sample of a lot, oldest first.
func (db *DB) Swaps(ctx context.Context, site, lot uuid.UUID) ([]SampleSwap, error) {
	return list[SampleSwap](ctx, db.pool, `SELECT s.seq, po.serial AS out_serial, pi.serial AS in_serial, s.reason, w.name AS by, s.drawn_at
		FROM inspection_sample s
		JOIN inspection_sample o ON o.site_id = s.site_id AND o.lot_id = s.lot_id AND o.seq = s.seq AND o.version = s.version - 1
		JOIN part po ON po.site_id = o.site_id AND po.part_id = o.part_id
		JOIN part pi ON pi.site_id = s.site_id AND pi.part_id = s.part_id
		JOIN person w ON w.site_id = s.site_id AND w.person_id = s.drawn_by
		WHERE s.site_id = @site AND s.lot_id = @lot AND s.version > 1 ORDER BY s.drawn_at, s.seq`, sqlArgs{"site": site, "lot": lot})
}

// A LotVerdict is one verdict on a lot, with the record that brought it.
type LotVerdict struct {
	Verdict  quality.LotState `db:"verdict"`
	Checked  int              `db:"checked"`
	Failed   int              `db:"failed"`
	RecordID uuid.UUID        `db:"record_id"`
	By       string           `db:"by"`
	At       time.Time        `db:"decided_at"`
}

// LotVerdicts returns the verdicts on a lot, oldest first.
func (db *DB) LotVerdicts(ctx context.Context, site, lot uuid.UUID) ([]LotVerdict, error) {
	return list[LotVerdict](ctx, db.pool, `SELECT v.verdict, v.checked, v.failed, v.record_id, p.name AS by, v.decided_at FROM inspection_verdict v
		JOIN person p ON p.site_id = v.site_id AND p.person_id = v.decided_by WHERE v.site_id = @site AND v.lot_id = @lot ORDER BY v.version`, sqlArgs{"site": site, "lot": lot})
}

// A Severity is how the next lot of a spec is inspected for one thing that it samples.
type Severity struct {
	SpecCode string            `db:"spec_code"`
	Of       quality.Sampled   `db:"kind"`
	Severity sampling.Severity `db:"severity"`
}

// Severities returns how the next lots are inspected, for everything that a spec samples and had one for.
func (db *DB) Severities(ctx context.Context, site uuid.UUID) ([]Severity, error) {
	return list[Severity](ctx, db.pool, `SELECT f.code AS spec_code, s.kind, s.severity FROM inspection_severity s
		JOIN finish_spec f ON f.site_id = s.site_id AND f.spec_id = s.spec_id
		WHERE s.site_id = @site AND EXISTS (SELECT 1 FROM inspection_lot l WHERE l.site_id = s.site_id AND l.spec_id = s.spec_id AND l.kind = s.kind AND l.plan = 'aql')
		ORDER BY f.code, s.kind`, sqlArgs{"site": site})
}

// A Switch is one change between severities, with the lots behind it.
type Switch struct {
	SpecCode string            `db:"spec_code"`
	Of       quality.Sampled   `db:"kind"`
	From     sampling.Severity `db:"from_severity"`
	To       sampling.Severity `db:"to_severity"`
	Reason   string            `db:"reason"`
	Lots     []string          `db:"lots"`
	By       string            `db:"by"`
	Signed   bool              `db:"signed"`
	At       time.Time         `db:"switched_at"`
}

// Switches returns all changes of severity, newest first.
func (db *DB) Switches(ctx context.Context, site uuid.UUID) ([]Switch, error) {
	return list[Switch](ctx, db.pool, `SELECT f.code AS spec_code, w.kind, w.from_severity, w.to_severity, w.reason, p.name AS by, w.signature_id IS NOT NULL AS signed, w.switched_at,
			ARRAY(SELECT l.number FROM inspection_switch_lot sl JOIN inspection_lot l ON l.site_id = sl.site_id AND l.lot_id = sl.lot_id
				WHERE sl.site_id = w.site_id AND sl.switch_id = w.switch_id ORDER BY l.number) AS lots
		FROM inspection_switch w JOIN finish_spec f ON f.site_id = w.site_id AND f.spec_id = w.spec_id
		JOIN person p ON p.site_id = w.site_id AND p.person_id = w.switched_by
		WHERE w.site_id = @site ORDER BY w.switched_at DESC, w.version DESC`, sqlArgs{"site": site})
}

// A LotWaiting is a set of parts that could be made a lot now: those of a job, or of an oven load, that follow one spec.
type LotWaiting struct {
	Spec  string
	Of    quality.Sampled
	Job   string // one of Job and Load
	Load  string
	Parts int
}

// WaitingForLots returns the sets of parts that wait for a lot, jobs before oven loads.
func (db *DB) WaitingForLots(ctx context.Context, site uuid.UUID) ([]LotWaiting, error) {
	revisions, err := db.Specs(ctx, site)
	if err != nil {
		return nil, err
	}
	found := map[LotWaiting]int{}
	for _, rev := range revisions {
		if rev.State != "approved" {
			continue
		}
		spec, err := db.readSpec(ctx, db.pool, site, rev.SpecHead)
		if err != nil {
			return nil, err
		}
		byLot := slices.DeleteFunc(slices.Clone(quality.Sampleable), func(w quality.Sampled) bool { return spec.Sampling[w].By != quality.SampleLot })
		if len(byLot) == 0 {
			continue
		}
		if err := db.countWaiting(ctx, site, rev, spec, byLot, found); err != nil {
			return nil, fmt.Errorf("parts that wait for a lot: %w", err)
		}
	}
	var all []LotWaiting
	for w, n := range found {
		w.Parts = n
		all = append(all, w)
	}
	slices.SortFunc(all, func(a, b LotWaiting) int {
		return cmp.Or(cmp.Compare(a.Load, b.Load), cmp.Compare(a.Job, b.Job), cmp.Compare(a.Spec, b.Spec), cmp.Compare(a.Of, b.Of))
	})
	return all, nil
}

func (db *DB) countWaiting(ctx context.Context, site uuid.UUID, rev SpecRevision, spec quality.FinishSpec, byLot []quality.Sampled, found map[LotWaiting]int) error {
	rows, err := list[PartRow](ctx, db.pool, partRowSQL+` AND pn.spec_id = @spec AND ps.status IN ('open', 'in_progress')`, sqlArgs{"site": site, "spec": rev.SpecID})
	if err != nil {
		return err
	}
	ids, byID := make([]uuid.UUID, len(rows)), map[uuid.UUID]PartRow{}
	for i, r := range rows {
		ids[i], byID[r.ID] = r.ID, r
	}
	all, err := db.standings(ctx, db.pool, site, ids)
	if err != nil {
		return err
	}
	for _, s := range all {
		for _, what := range byLot {
			if !waitsForLot(s, spec, what) {
				continue
			}
			r := byID[s.PartID]
			found[LotWaiting{Spec: rev.Code, Of: what, Job: r.JobNumber}]++
			if r.Load != "" {
				found[LotWaiting{Spec: rev.Code, Of: what, Load: r.Load}]++
			}
		}
	}
	return nil
}

// A DueSample is a lot in whose sample a part is that still has to be checked for it.
type DueSample struct {
	PartID uuid.UUID       `db:"part_id"`
	Lot    string          `db:"number"`
	Of     quality.Sampled `db:"kind"`
}

// SampledAmong returns the lots in whose sample parts are that still have to be checked for them in their next step, by part and
// in the order of the lots.
func (db *DB) SampledAmong(ctx context.Context, site uuid.UUID, parts []uuid.UUID) (map[uuid.UUID][]DueSample, error) {
	rows, err := list[DueSample](ctx, db.pool, `SELECT m.part_id, l.number, m.kind FROM inspection_lot_part m
		JOIN part_status ps ON ps.site_id = m.site_id AND ps.part_id = m.part_id AND ps.cycle = m.cycle AND ps.round = m.round AND ps.next_kind = `+sampledCheck+`
		JOIN inspection_lot l ON l.site_id = m.site_id AND l.lot_id = m.lot_id
		`+sampleRecord+`
		WHERE m.site_id = @site AND m.part_id = ANY(@parts) AND coalesce(c.verdict, 'incomplete') = 'incomplete'
		AND EXISTS (SELECT 1 FROM inspection_sample s WHERE s.site_id = m.site_id AND s.lot_id = m.lot_id AND s.part_id = m.part_id AND `+sampledNow+`)
		ORDER BY l.made_at, l.number`, sqlArgs{"site": site, "parts": parts})
	byPart := make(map[uuid.UUID][]DueSample, len(rows))
	for _, r := range rows {
		byPart[r.PartID] = append(byPart[r.PartID], r)
	}
	return byPart, err
}

// A CarrierSample is a part that is checked for a lot of a rack or of an oven load. Verdict is that of its record, empty without
// one that counts.
type CarrierSample struct {
	Lot     string           `db:"number"`
	Of      quality.Sampled  `db:"kind"`
	State   quality.LotState `db:"state"`
	Serial  string           `db:"serial"`
	Verdict quality.Verdict  `db:"verdict"`
}

// SamplesOn returns the samples of the lots of a rack and of its oven load, or of an oven load and its racks, lot by lot in the
// order of their serials, as whoever takes parts off the rack looks for them.
func (db *DB) SamplesOn(ctx context.Context, site uuid.UUID, on Subject) ([]CarrierSample, error) {
	where := `(l.rack_id = @id OR l.load_id IN (SELECT k.load_id FROM load_rack k WHERE k.site_id = @site AND k.rack_id = @id))`
	if on.Kind == quality.OnLoad {
		where = `(l.load_id = @id OR l.rack_id IN (SELECT k.rack_id FROM load_rack k WHERE k.site_id = @site AND k.load_id = @id))`
	}
	return list[CarrierSample](ctx, db.pool, `SELECT l.number, l.kind, st.state, p.serial, coalesce(c.verdict, '') AS verdict
		FROM inspection_lot l JOIN inspection_lot_status st ON st.site_id = l.site_id AND st.lot_id = l.lot_id
		JOIN inspection_sample s ON s.site_id = l.site_id AND s.lot_id = l.lot_id AND `+sampledNow+`
		JOIN inspection_lot_part m ON m.site_id = s.site_id AND m.lot_id = s.lot_id AND m.part_id = s.part_id
		JOIN part p ON p.site_id = m.site_id AND p.part_id = m.part_id
		`+sampleRecord+`
		WHERE l.site_id = @site AND `+where+` ORDER BY l.made_at, l.number, p.serial`, sqlArgs{"site": site, "id": on.ID})
}
