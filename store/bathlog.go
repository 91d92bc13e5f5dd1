package store

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"coatbook/quality"
)

// A BathLogLine is one record on the log of a bath: a reading of its controls, or what was done to it.
type BathLogLine struct {
	Header
	Readings []quality.Reading
	Ratings  []quality.Rating
	Uses     []UseLine
}

// BathLog returns what is on record of a bath from one instant up to another, the newest first. Corrected records stay in,
// marked as superseded.
func (db *DB) BathLog(ctx context.Context, site, bath uuid.UUID, from, to time.Time, limit int) ([]BathLogLine, error) {
	headers, err := list[Header](ctx, db.pool, headerSQL+` AND r.bath_id = @bath AND r.observed_at >= @from AND r.observed_at < @to ORDER BY r.observed_at DESC, r.record_id DESC LIMIT @limit`,
		sqlArgs{"site": site, "bath": bath, "from": from, "to": to, "limit": limit})
	if err != nil {
		return nil, fmt.Errorf("log of bath %s: %w", bath, err)
	}
	lines := make([]BathLogLine, len(headers))
	at := map[uuid.UUID]*BathLogLine{}
	ids := make([]uuid.UUID, len(headers))
	for i, h := range headers {
		lines[i].Header, ids[i] = h, h.ID
		at[h.ID] = &lines[i]
	}
	type reading struct {
		RecordID       uuid.UUID `db:"record_id"`
		Characteristic string    `db:"characteristic"`
		Location       string    `db:"location"`
		Value          *float64  `db:"value"`
		Text           string    `db:"value_text"`
		Unit           string    `db:"unit"`
		Source         string    `db:"source"`
		Raw            string    `db:"raw_text"`
		Absence        string    `db:"absence"`
		Flag           string    `db:"flag"`
	}
	type rating struct {
		RecordID       uuid.UUID `db:"record_id"`
		Characteristic string    `db:"characteristic"`
		Location       string    `db:"location"`
		Code           string    `db:"code"`
	}
	args := sqlArgs{"site": site, "records": ids}
	b := &pgx.Batch{}
	readings := ask[reading](b, `SELECT record_id, characteristic, location, value, value_text, unit, source, raw_text, absence, flag FROM reading
		WHERE site_id = @site AND record_id = ANY(@records) ORDER BY record_id, seq`, args)
	ratings := ask[rating](b, `SELECT record_id, characteristic, location, code FROM rating WHERE site_id = @site AND record_id = ANY(@records) ORDER BY record_id, seq`, args)
	if err := send(ctx, db.pool, b); err != nil {
		return nil, fmt.Errorf("lines of the log of bath %s: %w", bath, err)
	}
	for _, r := range *readings {
		out := quality.Reading{Characteristic: r.Characteristic, Location: r.Location, Text: r.Text, Unit: quality.Unit(r.Unit), Source: r.Source, Raw: r.Raw,
			Absence: quality.Absence(r.Absence), Flag: quality.Flag(r.Flag)}
		if c, ok := quality.CharacteristicOf(r.Characteristic); ok && r.Value != nil {
			if v, err := quality.Convert(*r.Value, c.Canonical(), out.Unit); err == nil {
				out.Value = v
			}
		}
		at[r.RecordID].Readings = append(at[r.RecordID].Readings, out)
	}
	for _, r := range *ratings {
		at[r.RecordID].Ratings = append(at[r.RecordID].Ratings, quality.Rating{Characteristic: r.Characteristic, Location: r.Location, Code: r.Code})
	}
	uses, err := db.UsesOf(ctx, site, ids)
	for _, u := range uses {
		at[u.RecordID].Uses = append(at[u.RecordID].Uses, u)
	}
	return lines, err
}
