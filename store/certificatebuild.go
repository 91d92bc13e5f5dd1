package store

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"coatbook/quality"
)

// certPart is one part as a certificate states it.
type certPart struct {
	PartID     uuid.UUID `db:"part_id"`
	Serial     string    `db:"serial"`
	PartNumber string    `db:"part_number"`
	Name       string    `db:"name"`
	Alloy      string    `db:"alloy"`
	Job        string    `db:"job"`
	Release    uuid.UUID `db:"release_id"`
	Cycle      int       `db:"cycle"`
	Gate       []byte    `db:"gate"`
	ReleasedAt time.Time `db:"released_at"`
	ReleasedBy string    `db:"released_by"`

	items []quality.Item
}

const certifiedSQL = `SELECT p.part_id, p.serial, pn.code AS part_number, pn.name, pn.alloy, j.number AS job, rl.release_id, rl.cycle, rl.gate, rl.released_at, sg.printed_name AS released_by
	FROM part p JOIN part_number pn ON pn.site_id = p.site_id AND pn.part_number_id = p.part_number_id
	JOIN job j ON j.site_id = p.site_id AND j.job_id = p.job_id
	JOIN release rl ON rl.site_id = p.site_id AND rl.part_id = p.part_id AND NOT EXISTS (SELECT 1 FROM release_void v WHERE v.site_id = rl.site_id AND v.release_id = rl.release_id)
	JOIN signature sg ON sg.site_id = rl.site_id AND sg.signature_id = rl.signature_id
	WHERE p.site_id = @site AND p.part_id = ANY(@parts) ORDER BY p.serial`

// certifiedUse is a device or lot that went into a record.
type certifiedUse struct {
	RecordID    uuid.UUID `db:"record_id"`
	Role        string    `db:"role"`
	Device      bool      `db:"device"`
	Code        string    `db:"code"`
	Kind        string    `db:"kind"`
	Maker       string    `db:"maker"`
	Serial      string    `db:"serial"`
	Certificate string    `db:"certificate"`
	Until       string    `db:"until"`
}

const certifiedUseSQL = `SELECT u.record_id, u.role, i.instrument_id IS NOT NULL AS device, coalesce(i.code, l.lot_number) AS code, coalesce(i.kind, m.code || ' ' || m.name) AS kind,
		coalesce(m.maker, '') AS maker, coalesce(i.maker_serial, '') AS serial, coalesce(i.certificate, l.certificate) AS certificate, coalesce(coalesce(i.due_on, l.expires_on)::text, '') AS until
	FROM record_use u LEFT JOIN instrument i ON i.site_id = u.site_id AND i.instrument_id = u.instrument_id
	LEFT JOIN material_lot l ON l.site_id = u.site_id AND l.lot_id = u.lot_id
	LEFT JOIN material m ON m.site_id = l.site_id AND m.material_id = l.material_id
	WHERE u.site_id = @site AND u.record_id = ANY(@records) AND coalesce(u.instrument_id, u.lot_id) IS NOT NULL ORDER BY u.role, code`

// certifiedFilm is one film reading in µm.
type certifiedFilm struct {
	RecordID uuid.UUID `db:"record_id"`
	Location string    `db:"location"`
	Spot     int       `db:"spot"`
	Value    float64   `db:"value"`
}

// certifiedFinding is a finding of a record.
type certifiedFinding struct {
	RecordID uuid.UUID `db:"record_id"`
	Rule     string    `db:"rule"`
	Place    string    `db:"place"`
	Limit    string    `db:"limit_text"`
	Value    *float64  `db:"value"`
	Unit     string    `db:"unit"`
	Verdict  string    `db:"verdict"`
	Text     string    `db:"sentence"`
}

// certifiedSpec is the spec revision of a record.
type certifiedSpec struct {
	RecordID uuid.UUID `db:"record_id"`
	SpecRevision
}

// certifiedChange is a correction of a record behind a part, in the part's cycle.
type certifiedChange struct {
	Serial   string       `db:"serial"`
	RecordID uuid.UUID    `db:"record_id"`
	Kind     quality.Kind `db:"kind"`
	On       string       `db:"subject"`
	What     string       `db:"what"`
	Void     bool         `db:"void"`
	Code     string       `db:"reason_code"`
	Reason   string       `db:"reason"`
	By       string       `db:"by"`
	At       time.Time    `db:"recorded_at"`
}

// certifiedChangeSQL finds every correction and void among what was ever recorded for the parts in the cycle of their release:
// on them, their rack, its load and the panels of both. What changed is worded from the readings that differ, with
// each unit's code between marks.
const certifiedChangeSQL = `WITH t AS (
		SELECT rl.part_id, rl.cycle, rp.rack_id, lr.load_id FROM release rl
		LEFT JOIN rack_part rp ON rp.site_id = rl.site_id AND rp.part_id = rl.part_id AND rp.cycle = rl.cycle
		LEFT JOIN load_rack lr ON lr.site_id = rp.site_id AND lr.rack_id = rp.rack_id
		WHERE rl.site_id = @site AND rl.part_id = ANY(@parts) AND NOT EXISTS (SELECT 1 FROM release_void v WHERE v.site_id = rl.site_id AND v.release_id = rl.release_id)),
	behind AS (SELECT t.part_id, r.record_id FROM t JOIN record r ON r.site_id = @site AND r.part_id = t.part_id AND r.cycle = t.cycle
		UNION SELECT t.part_id, r.record_id FROM t JOIN record r ON r.site_id = @site AND r.rack_id = t.rack_id
		UNION SELECT t.part_id, r.record_id FROM t JOIN record r ON r.site_id = @site AND r.load_id = t.load_id
		UNION SELECT t.part_id, r.record_id FROM t JOIN panel l ON l.site_id = @site AND (l.rack_id = t.rack_id OR l.load_id = t.load_id)
			JOIN record r ON r.site_id = @site AND r.panel_id = l.panel_id)
	SELECT p.serial, r.record_id, r.kind, ` + subjectOf + ` AS subject, r.verdict = 'void' AS void, r.reason_code, r.reason, pe.name AS by, r.recorded_at,
		coalesce((SELECT string_agg(CASE WHEN n.seq IS NULL THEN 'was ' || o.value_text || chr(1) || o.unit || chr(1) || ', now none' WHEN o.seq IS NULL THEN 'was none, now ' || n.value_text || chr(1) || n.unit || chr(1)
				ELSE 'was ' || coalesce(nullif(o.value_text, ''), o.absence) || chr(1) || o.unit || chr(1) || ', now ' || coalesce(nullif(n.value_text, ''), n.absence) || chr(1) || n.unit || chr(1) END, '; ' ORDER BY coalesce(o.seq, n.seq))
			FROM (SELECT * FROM reading WHERE site_id = @site AND record_id = r.supersedes_id) o
			FULL JOIN (SELECT * FROM reading WHERE site_id = @site AND record_id = r.record_id) n
				ON o.characteristic = n.characteristic AND o.location = n.location AND o.spot = n.spot AND o.rep = n.rep
			WHERE r.verdict <> 'void' AND (o.value_text, o.unit, o.absence) IS DISTINCT FROM (n.value_text, n.unit, n.absence)), '') AS what
	FROM behind b JOIN record r ON r.site_id = @site AND r.record_id = b.record_id AND r.supersedes_id IS NOT NULL
	JOIN part p ON p.site_id = @site AND p.part_id = b.part_id
	JOIN person pe ON pe.site_id = r.site_id AND pe.person_id = r.person_id` + subjectJoins + ` ORDER BY r.recorded_at, r.record_id, p.serial`

// A draft is a certificate in the making.
type draft struct {
	content  CertificateContent
	st       Site
	parts    []certPart
	records  []uuid.UUID
	headers  []Header
	findings map[uuid.UUID][]certifiedFinding
	film     map[uuid.UUID][]certifiedFilm
	uses     []certifiedUse
	specs    map[uuid.UUID]certifiedSpec
	covers   map[uuid.UUID][]string // serials by record
	amended  map[uuid.UUID]bool     // records that are corrections
}

// build reads what is behind released parts and states it. The caller has made sure that they may be certified.
func (db *DB) build(ctx context.Context, q querier, st Site, parts []uuid.UUID) (*draft, error) {
	d := &draft{st: st, covers: map[uuid.UUID][]string{}, findings: map[uuid.UUID][]certifiedFinding{}, film: map[uuid.UUID][]certifiedFilm{},
		specs: map[uuid.UUID]certifiedSpec{}, amended: map[uuid.UUID]bool{}}
	d.content = CertificateContent{Version: CertificateVersion, Site: st.Name, SiteCode: st.Code}
	b := &pgx.Batch{}
	args := sqlArgs{"site": st.ID, "parts": parts}
	rows, waivers, changes := ask[certPart](b, certifiedSQL, args), askWaivers(b, st.ID, parts), ask[certifiedChange](b, certifiedChangeSQL, args)
	if err := send(ctx, q, b); err != nil {
		return nil, fmt.Errorf("parts of a certificate: %w", err)
	}
	d.parts = *rows
	for i := range d.parts {
		p := &d.parts[i]
		if err := json.Unmarshal(p.Gate, &p.items); err != nil {
			return nil, fmt.Errorf("gate of %s: %w", p.Serial, err)
		}
		for _, item := range p.items {
			id, err := uuid.Parse(item.RecordID)
			if err != nil {
				continue // met by a sample of its lot
			}
			if d.covers[id] == nil {
				d.records = append(d.records, id)
			}
			// One finish check may meet more than one requirement.
			if !slices.Contains(d.covers[id], p.Serial) {
				d.covers[id] = append(d.covers[id], p.Serial)
			}
		}
	}
	if err := db.readBehind(ctx, q, d); err != nil {
		return nil, err
	}
	d.state(*waivers, *changes)
	return d, nil
}

// readBehind reads the records behind a certificate with everything that is printed of them.
func (db *DB) readBehind(ctx context.Context, q querier, d *draft) error {
	b := &pgx.Batch{}
	args := sqlArgs{"site": d.st.ID, "records": d.records}
	headers := ask[Header](b, headerSQL+` AND r.record_id = ANY(@records) ORDER BY r.observed_at, r.record_id`, args)
	found := ask[certifiedFinding](b, `SELECT record_id, rule, place, limit_text, value, unit, verdict, sentence FROM finding WHERE site_id = @site AND record_id = ANY(@records) ORDER BY record_id, seq`, args)
	film := ask[certifiedFilm](b, `SELECT record_id, location, spot, value FROM reading WHERE site_id = @site AND record_id = ANY(@records)
		AND characteristic = 'film_thickness' AND value IS NOT NULL ORDER BY record_id, seq`, args)
	uses := ask[certifiedUse](b, certifiedUseSQL, args)
	specs := ask[certifiedSpec](b, `SELECT x.record_id, s.* FROM record x JOIN (`+selectSpec+`WHERE r.site_id = @site) s ON s.revision_id = x.spec_revision_id
		WHERE x.site_id = @site AND x.record_id = ANY(@records)`, args)
	exceptions := ask[OverrideLine](b, `SELECT o.rule, o.sentence, o.reason, s.printed_name, s.signed_at FROM override o
		JOIN signature s ON s.site_id = o.site_id AND s.signature_id = o.signature_id WHERE o.site_id = @site AND o.record_id = ANY(@records) ORDER BY s.signed_at`, args)
	if err := send(ctx, q, b); err != nil {
		return fmt.Errorf("records of a certificate: %w", err)
	}
	d.headers, d.uses = *headers, *uses
	for _, h := range d.headers {
		d.amended[h.ID] = h.Supersedes.Valid
	}
	for _, f := range *found {
		d.findings[f.RecordID] = append(d.findings[f.RecordID], f)
	}
	for _, r := range *film {
		d.film[r.RecordID] = append(d.film[r.RecordID], r)
	}
	for _, s := range *specs {
		d.specs[s.RecordID] = s
	}
	for _, o := range *exceptions {
		d.content.Exceptions = append(d.content.Exceptions, CertificateException{Sentence: o.Sentence, Reason: o.Reason, By: o.By, At: d.at(o.At)})
	}
	return nil
}

func (d *draft) at(t time.Time) string { return t.In(d.st.Location()).Format(time.RFC3339) }

// state puts what was read into the content.
func (d *draft) state(waivers []waiver, changes []certifiedChange) {
	c := &d.content
	changed := d.stateChanges(changes)
	under := map[string][]string{}
	for _, w := range waivers {
		i := slices.IndexFunc(c.Concessions, func(o CertificateConcession) bool { return o.Reference == w.Reference })
		if i < 0 {
			i = len(c.Concessions)
			c.Concessions = append(c.Concessions, CertificateConcession{Reference: w.Reference, Limits: w.limits(), Reason: w.Reason})
		}
		if !slices.Contains(c.Concessions[i].Parts, w.Serial) {
			c.Concessions[i].Parts = append(c.Concessions[i].Parts, w.Serial)
		}
		if !slices.Contains(under[w.Serial], w.Reference) {
			under[w.Serial] = append(under[w.Serial], w.Reference)
		}
	}
	for _, p := range d.parts {
		part := CertificatePart{Serial: p.Serial, PartNumber: p.PartNumber, Name: p.Name, Alloy: p.Alloy, Job: p.Job, Cycle: p.Cycle, ReleasedAt: d.at(p.ReleasedAt),
			ReleasedBy: p.ReleasedBy, Concession: strings.Join(under[p.Serial], ", "), Amended: changed[p.Serial]}
		for _, item := range p.items {
			if item.RecordID == "" {
				part.Sampled = append(part.Sampled, item.Name()+": "+item.Sentence)
			}
		}
		c.Parts = append(c.Parts, part)
	}
	d.stateSpecs()
	for _, h := range d.headers {
		if h.Kind == quality.Film {
			c.Film = append(c.Film, d.filmOf(h))
		} else {
			c.Results = append(c.Results, d.resultOf(h))
		}
	}
	order := func(k quality.Kind) int { return slices.Index(quality.Kinds, k) }
	slices.SortStableFunc(c.Results, func(a, b CertificateResult) int { return order(a.Kind) - order(b.Kind) })
	slices.SortStableFunc(c.Film, func(a, b CertificateFilm) int { return strings.Compare(a.Serial, b.Serial) })
	d.stateMethods()
	d.stateUses()
	d.stateVerdict()
}

// stateChanges lists each change once, with the parts behind which it stands, and returns how many each part has.
func (d *draft) stateChanges(changes []certifiedChange) map[string]int {
	perPart := map[string]int{}
	last := uuid.Nil
	for _, ch := range changes {
		perPart[ch.Serial]++
		if ch.RecordID != last {
			last = ch.RecordID
			d.content.Changes = append(d.content.Changes, CertificateChange{Kind: ch.Kind, On: ch.On, What: withSymbols(ch.What), Void: ch.Void, Code: ch.Code, Reason: ch.Reason, By: ch.By, At: d.at(ch.At)})
		}
		n := len(d.content.Changes) - 1
		d.content.Changes[n].Parts = append(d.content.Changes[n].Parts, ch.Serial)
	}
	return perPart
}

// withSymbols prints the units whose codes stand between marks.
func withSymbols(marked string) string {
	pieces := strings.Split(marked, "\x01")
	for i := 1; i < len(pieces); i += 2 {
		pieces[i] = strings.TrimRight(" "+quality.Unit(pieces[i]).Symbol(), " ")
	}
	return strings.Join(pieces, "")
}

func (d *draft) stateSpecs() {
	for _, h := range d.headers {
		s, ok := d.specs[h.ID]
		if !ok || slices.ContainsFunc(d.content.Specs, func(o CertificateSpec) bool { return o.Code == s.Code && o.Revision == s.Revision }) {
			continue
		}
		effective := ""
		if s.EffectiveAt != nil {
			effective = s.EffectiveAt.In(d.st.Location()).Format(time.DateOnly)
		}
		d.content.Specs = append(d.content.Specs, CertificateSpec{Code: s.Code, Revision: s.Revision, Title: s.Title, Effective: effective})
	}
	slices.SortFunc(d.content.Specs, func(a, b CertificateSpec) int { return strings.Compare(a.Code+" "+a.Revision, b.Code+" "+b.Revision) })
}
