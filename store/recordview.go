package store

import (
	"context"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
)

// A Header is a record's header as it is read back.
type Header struct {
	ID            uuid.UUID       `db:"record_id"`
	Kind          quality.Kind    `db:"kind"`
	SubjectKind   string          `db:"subject_kind"`
	Subject       string          `db:"subject"` // serial, number or code
	Cycle         int             `db:"cycle"`
	Round         int             `db:"round"`
	FirstPass     bool            `db:"first_pass"`
	SpecCode      string          `db:"spec_code"`
	Revision      string          `db:"revision"`
	Station       string          `db:"station"`
	Device        string          `db:"device"`
	Person        string          `db:"person"`
	ObservedAt    time.Time       `db:"observed_at"`
	OffsetS       int             `db:"utc_offset_s"`
	ClockOffsetMS int64           `db:"clock_offset_ms"`
	RecordedAt    time.Time       `db:"recorded_at"`
	ShopDay       time.Time       `db:"shop_day"`
	Shift         string          `db:"shift"`
	LateReason    string          `db:"late_reason"`
	Note          string          `db:"note"`
	Rule          string          `db:"rule"`
	Verdict       quality.Verdict `db:"verdict"`
	ContentHash   string          `db:"content_hash"`
	PersonID      uuid.UUID       `db:"person_id"`
	SupersededBy  uuid.NullUUID   `db:"superseded_by"`
	Supersedes    uuid.NullUUID   `db:"supersedes_id"`
	ReasonCode    string          `db:"reason_code"` // why it corrects the record before, empty for a first record
	Reason        string          `db:"reason"`
}

// A Record is one record with all its lines.
type Record struct {
	Header
	Check     quality.Check
	Findings  []quality.Finding
	Uses      []UseLine
	Overrides []OverrideLine
	Critical  Critical
}

// An OverrideLine is an authorised exception on a record.
type OverrideLine struct {
	Rule     string    `db:"rule"`
	Sentence string    `db:"sentence"`
	Reason   string    `db:"reason"`
	By       string    `db:"printed_name"`
	At       time.Time `db:"signed_at"`
}

const headerSQL = `SELECT r.record_id, r.kind, CASE WHEN r.part_id IS NOT NULL THEN 'part' WHEN r.rack_id IS NOT NULL THEN 'rack' WHEN r.load_id IS NOT NULL THEN 'load'
		WHEN r.bath_id IS NOT NULL THEN 'bath' WHEN r.oven_id IS NOT NULL THEN 'oven' WHEN r.panel_id IS NOT NULL THEN 'panel' ELSE 'instrument' END AS subject_kind,
	coalesce(pa.serial, rk.number, ol.number, i.code, ba.code, ov.code, pl.code) AS subject, r.cycle, r.round, r.first_pass, coalesce(fs.code, '') AS spec_code, coalesce(sr.revision, '') AS revision,
	coalesce(st.name, '') AS station, coalesce(d.name, '') AS device, pe.name AS person, r.observed_at, r.utc_offset_s, r.clock_offset_ms, r.recorded_at, r.shop_day, r.shift,
	r.late_reason, r.note, r.rule, r.verdict, r.content_hash, r.person_id, r.supersedes_id, r.reason_code, r.reason,
	(SELECT s.record_id FROM record s WHERE s.site_id = r.site_id AND s.supersedes_id = r.record_id) AS superseded_by
	FROM record r JOIN person pe ON pe.site_id = r.site_id AND pe.person_id = r.person_id
	LEFT JOIN part pa ON pa.site_id = r.site_id AND pa.part_id = r.part_id
	LEFT JOIN rack rk ON rk.site_id = r.site_id AND rk.rack_id = r.rack_id
	LEFT JOIN oven_load ol ON ol.site_id = r.site_id AND ol.load_id = r.load_id
	LEFT JOIN instrument i ON i.site_id = r.site_id AND i.instrument_id = r.instrument_id
	LEFT JOIN bath ba ON ba.site_id = r.site_id AND ba.bath_id = r.bath_id
	LEFT JOIN station ov ON ov.site_id = r.site_id AND ov.station_id = r.oven_id
	LEFT JOIN panel pl ON pl.site_id = r.site_id AND pl.panel_id = r.panel_id
	LEFT JOIN finish_spec_revision sr ON sr.site_id = r.site_id AND sr.revision_id = r.spec_revision_id
	LEFT JOIN finish_spec fs ON fs.site_id = sr.site_id AND fs.spec_id = sr.spec_id
	LEFT JOIN station st ON st.site_id = r.site_id AND st.station_id = r.station_id
	LEFT JOIN device d ON d.site_id = r.site_id AND d.device_id = r.device_id
	WHERE r.site_id = @site`

// RecordByID returns one record with its readings as entered, findings, uses and exceptions.
func (db *DB) RecordByID(ctx context.Context, site, id uuid.UUID) (Record, error) {
	args := sqlArgs{"site": site, "record": id}
	h, err := one[Header](ctx, db.pool, headerSQL+` AND r.record_id = @record`, args)
	if err != nil {
		return Record{}, err
	}
	r := Record{Header: h}
	r.Check.Kind = h.Kind
	if r.Check.Readings, err = readings(ctx, db.pool, site, id); err != nil {
		return r, err
	}
	if r.Check.Ratings, err = list[quality.Rating](ctx, db.pool, `SELECT characteristic, location, code FROM rating
		WHERE site_id = @site AND record_id = @record ORDER BY seq`, args); err != nil {
		return r, err
	}
	if r.Check.Defects, err = list[quality.Defect](ctx, db.pool, `SELECT code, place, size_mm AS sizemm, size_text AS sizetext, length_mm AS lengthmm, length_text AS lengthtext, count, flag
		FROM defect WHERE site_id = @site AND record_id = @record ORDER BY seq`, args); err != nil {
		return r, err
	}
	if r.Findings, err = findings(ctx, db.pool, site, id); err != nil {
		return r, err
	}
	if r.Uses, err = db.UsesOf(ctx, site, []uuid.UUID{id}); err != nil {
		return r, err
	}
	if r.Critical, err = criticalOf(ctx, db.pool, site, id); err != nil {
		return r, err
	}
	r.Overrides, err = list[OverrideLine](ctx, db.pool, `SELECT o.rule, o.sentence, o.reason, s.printed_name, s.signed_at FROM override o
		JOIN signature s ON s.site_id = o.site_id AND s.signature_id = o.signature_id WHERE o.site_id = @site AND o.record_id = @record`, args)
	return r, err
}

// readings returns a record's readings as they were entered: the number in the unit received.
func readings(ctx context.Context, q querier, site, record uuid.UUID) ([]quality.Reading, error) {
	type row struct {
		Characteristic string   `db:"characteristic"`
		Location       string   `db:"location"`
		Spot           int      `db:"spot"`
		Rep            int      `db:"rep"`
		Value          *float64 `db:"value"`
		Text           string   `db:"value_text"`
		Unit           string   `db:"unit"`
		Source         string   `db:"source"`
		Raw            string   `db:"raw_text"`
		Absence        string   `db:"absence"`
		Flag           string   `db:"flag"`
	}
	rows, err := list[row](ctx, q, `SELECT characteristic, location, spot, rep, value, value_text, unit, source, raw_text, absence, flag FROM reading
		WHERE site_id = @site AND record_id = @record ORDER BY seq`, sqlArgs{"site": site, "record": record})
	if err != nil {
		return nil, err
	}
	out := make([]quality.Reading, len(rows))
	for i, r := range rows {
		out[i] = quality.Reading{Characteristic: r.Characteristic, Location: r.Location, Spot: r.Spot, Rep: r.Rep, Text: r.Text, Unit: quality.Unit(r.Unit),
			Source: r.Source, Raw: r.Raw, Absence: quality.Absence(r.Absence), Flag: quality.Flag(r.Flag)}
		if r.Value == nil {
			continue
		}
		if c, ok := quality.CharacteristicOf(r.Characteristic); ok {
			if v, err := quality.Convert(*r.Value, c.Canonical(), quality.Unit(r.Unit)); err == nil {
				out[i].Value = v
			}
		}
	}
	return out, nil
}

func findings(ctx context.Context, q querier, site, record uuid.UUID) ([]quality.Finding, error) {
	type row struct {
		Rule    string   `db:"rule"`
		Place   string   `db:"place"`
		Limit   string   `db:"limit_text"`
		Value   *float64 `db:"value"`
		Unit    string   `db:"unit"`
		Verdict string   `db:"verdict"`
		Fault   string   `db:"fault"`
		Text    string   `db:"sentence"`
	}
	rows, err := list[row](ctx, q, `SELECT rule, place, limit_text, value, unit, verdict, fault, sentence FROM finding
		WHERE site_id = @site AND record_id = @record ORDER BY seq`, sqlArgs{"site": site, "record": record})
	if err != nil {
		return nil, err
	}
	out := make([]quality.Finding, len(rows))
	for i, r := range rows {
		out[i] = quality.Finding{Rule: r.Rule, Place: r.Place, Limit: r.Limit, Value: r.Value, Unit: quality.Unit(r.Unit), Verdict: quality.Verdict(r.Verdict), Fault: r.Fault, Text: r.Text}
	}
	return out, nil
}

// RecordsOn returns the headers of what was recorded on a rack, load or instrument, newest first.
func (db *DB) RecordsOn(ctx context.Context, site uuid.UUID, s Subject) ([]Header, error) {
	column := map[quality.Subject]string{quality.OnPart: "part_id", quality.OnRack: "rack_id", quality.OnLoad: "load_id", quality.OnInstrument: "instrument_id",
		quality.OnPanel: "panel_id"}[s.Kind]
	return list[Header](ctx, db.pool, headerSQL+` AND r.`+column+` = @id ORDER BY r.observed_at DESC LIMIT 200`, sqlArgs{"site": site, "id": s.ID})
}
