package store

import (
	"cmp"
	"context"
	"encoding/csv"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"coatbook/quality/gauge"
)

// A Study is how far a device can be trusted: the spread of gauge and people in percent, and how many groups of parts it can
// tell apart.
type Study struct {
	ID           uuid.UUID `db:"study_id"`
	InstrumentID uuid.UUID `db:"instrument_id"`
	Method       string    `db:"method"` // entered, anova, range
	GRR          float64   `db:"grr_pct"`
	Of           string    `db:"grr_of"` // tolerance, study
	NDC          *int      `db:"ndc"`
	MadeOn       time.Time `db:"made_on"`
	ValidTo      time.Time `db:"valid_to"`
	Report       string    `db:"report"`
	SourceData   string    `db:"source_data"`
	AddedBy      string    `db:"added_by"`
}

// Trust grades the study on a day: what may be said with figures from the device. A study that has run out says nothing.
func (s Study) Trust(day time.Time) gauge.Trust {
	if s.ID == uuid.Nil || day.After(s.ValidTo) {
		return ""
	}
	return gauge.TrustIn(s.GRR, s.NDC)
}

const selectStudy = `SELECT s.study_id, s.instrument_id, s.method, s.grr_pct, s.grr_of, s.ndc, s.made_on, s.valid_to, s.report, s.source_data, p.name AS added_by
	FROM measurement_study s JOIN person p ON p.site_id = s.site_id AND p.person_id = s.added_by WHERE s.site_id = @site `

// StudiesOf returns the studies of a device, the newest first.
func (db *DB) StudiesOf(ctx context.Context, site, device uuid.UUID) ([]Study, error) {
	return list[Study](ctx, db.pool, selectStudy+`AND s.instrument_id = @device ORDER BY s.made_on DESC, s.added_at DESC`, sqlArgs{"site": site, "device": device})
}

// A GaugeBehind is a gauge that took the values of a figure, with its newest study by then: a zero Study when there is none.
type GaugeBehind struct {
	Code  string
	Study Study
}

// GaugesBehind returns the gauges that took the readings of records, each with the newest study that was made by a day.
func (db *DB) GaugesBehind(ctx context.Context, site uuid.UUID, records []uuid.UUID, day time.Time) ([]GaugeBehind, error) {
	type row struct {
		Code    string        `db:"code"`
		Device  uuid.UUID     `db:"instrument_id"`
		StudyID uuid.NullUUID `db:"study_id"`
		Method  string        `db:"method"`
		GRR     float64       `db:"grr_pct"`
		Of      string        `db:"grr_of"`
		NDC     *int          `db:"ndc"`
		MadeOn  *time.Time    `db:"made_on"`
		ValidTo *time.Time    `db:"valid_to"`
		Report  string        `db:"report"`
	}
	rows, err := list[row](ctx, db.pool, `SELECT i.code, i.instrument_id, s.study_id, coalesce(s.method, '') AS method, coalesce(s.grr_pct, 0) AS grr_pct, coalesce(s.grr_of, '') AS grr_of,
			s.ndc, s.made_on, s.valid_to, coalesce(s.report, '') AS report
		FROM (SELECT DISTINCT u.instrument_id FROM record_use u WHERE u.site_id = @site AND u.record_id = ANY(@records) AND u.role = 'gauge') g
		JOIN instrument i ON i.site_id = @site AND i.instrument_id = g.instrument_id
		LEFT JOIN LATERAL (SELECT * FROM measurement_study m WHERE m.site_id = @site AND m.instrument_id = g.instrument_id AND m.made_on <= @day
			ORDER BY m.made_on DESC, m.added_at DESC LIMIT 1) s ON true ORDER BY i.code`, sqlArgs{"site": site, "records": records, "day": day})
	if err != nil {
		return nil, fmt.Errorf("gauges behind a figure: %w", err)
	}
	gauges := make([]GaugeBehind, len(rows))
	for i, r := range rows {
		gauges[i].Code = r.Code
		if r.StudyID.Valid {
			gauges[i].Study = Study{ID: r.StudyID.UUID, InstrumentID: r.Device, Method: r.Method, GRR: r.GRR, Of: r.Of, NDC: r.NDC, MadeOn: *r.MadeOn, ValidTo: *r.ValidTo, Report: r.Report}
		}
	}
	return gauges, nil
}

// AddStudy keeps a study of a device. With SourceData, a table of readings, the result is computed from it and not taken from
// the caller; tolerance is the width of the specification in the readings' unit, 0 for none.
func (db *DB) AddStudy(ctx context.Context, a Actor, s Study, tolerance float64) (Study, error) {
	s.ID, s.Method = NewID(), cmp.Or(s.Method, "entered")
	if s.SourceData != "" {
		result, err := studyOf(s.SourceData, s.Method, tolerance)
		if err != nil {
			return Study{}, err
		}
		s.GRR, s.Of, s.NDC = result.Gauge.PercentStudy, "study", result.DistinctCategories
		if result.Gauge.PercentTolerance != nil {
			s.GRR, s.Of = *result.Gauge.PercentTolerance, "tolerance"
		}
	}
	err := db.inTx(ctx, a.Site, func(tx querier) error {
		if err := run(ctx, tx, `INSERT INTO measurement_study (site_id, study_id, instrument_id, method, grr_pct, grr_of, ndc, made_on, valid_to, report, source_data, added_by, added_at)
			VALUES (@site, @id, @device, @method, @grr, @of, @ndc, @made, @valid, @report, @data, @by, @at)`, sqlArgs{"site": a.Site, "id": s.ID, "device": s.InstrumentID,
			"method": s.Method, "grr": s.GRR, "of": s.Of, "ndc": s.NDC, "made": s.MadeOn, "valid": s.ValidTo, "report": s.Report, "data": s.SourceData, "by": a.Person, "at": db.Clock()}); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "measurement study added", SubjectKind: "instrument", Subject: s.InstrumentID,
			After: map[string]any{"grr_pct": s.GRR, "of": s.Of, "ndc": s.NDC, "valid_to": s.ValidTo.Format(time.DateOnly), "method": s.Method}})
	})
	s.AddedBy = a.Name
	return s, err
}

func studyOf(table, method string, tolerance float64) (gauge.Study, error) {
	readings, err := StudyReadings(table)
	if err != nil {
		return gauge.Study{}, err
	}
	work := gauge.ANOVA
	options := gauge.Options{Tolerance: tolerance, Interaction: gauge.PoolAboveP}
	if method == "range" {
		work, options.Interaction = gauge.AverageAndRange, ""
	}
	result, err := work(readings, options)
	if err != nil {
		return result, refuse(RuleInvalid, fmt.Sprintf("The study cannot be computed: %s.", err))
	}
	return result, nil
}

// mostStudyReadings is far beyond any study by hand.
const mostStudyReadings = 5000

// StudyReadings reads the table of a gauge study: a head line with the columns part, appraiser and value in any order, then a
// line for each reading. Columns are parted by commas, semicolons or tabs; where they are not parted by commas, a comma serves
// as the decimal mark. A Refusal names the line that cannot be read.
func StudyReadings(table string) ([]gauge.Reading, error) {
	r := csv.NewReader(strings.NewReader(strings.TrimPrefix(table, "\ufeff")))
	head, _, _ := strings.Cut(table, "\n")
	for _, mark := range []rune{'\t', ';', ','} {
		if strings.ContainsRune(head, mark) {
			r.Comma = mark
			break
		}
	}
	r.TrimLeadingSpace = true
	rows, err := r.ReadAll()
	if err != nil {
		return nil, refuse(RuleInvalid, fmt.Sprintf("The table cannot be read: %s.", err))
	}
	if len(rows) < 2 || len(rows) > mostStudyReadings {
		return nil, refuse(RuleInvalid, fmt.Sprintf("The table needs a head line and 2 to %d lines of readings.", mostStudyReadings))
	}
	columns := map[string]int{}
	for i, name := range rows[0] {
		columns[strings.ToLower(strings.TrimSpace(name))] = i
	}
	for _, name := range []string{"part", "appraiser", "value"} {
		if _, ok := columns[name]; !ok {
			return nil, refuse(RuleInvalid, fmt.Sprintf("The head line of the table has no column “%s”. It needs part, appraiser and value.", name))
		}
	}
	var out []gauge.Reading
	for i, row := range rows[1:] {
		text := strings.TrimSpace(row[columns["value"]])
		if r.Comma != ',' {
			text = strings.Replace(text, ",", ".", 1)
		}
		v, err := strconv.ParseFloat(text, 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, refuse(RuleInvalid, fmt.Sprintf("Line %d of the table: “%.30s” is not a number.", i+2, text))
		}
		out = append(out, gauge.Reading{Part: strings.TrimSpace(row[columns["part"]]), Appraiser: strings.TrimSpace(row[columns["appraiser"]]), Value: v})
	}
	return out, nil
}
