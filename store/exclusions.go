package store

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"coatbook/quality"
)

// ExclusionCodes are the reasons for which values are left out of the statistics, in the order of the screens.
var ExclusionCodes = []string{"device_fault", "wrong_spot", "wrong_part", "typing_error", "special_cause", "other"}

// An Exclusion is one reading, or with Seq nil all readings of a film check, that a person left out of the statistics. The
// record and its verdict stay as they are.
type Exclusion struct {
	ID       uuid.UUID  `db:"exclusion_id"`
	RecordID uuid.UUID  `db:"record_id"`
	Seq      *int       `db:"seq"`
	Values   string     `db:"value_texts"` // as entered, with the unit
	Code     string     `db:"reason_code"`
	Reason   string     `db:"reason"`
	By       string     `db:"excluded_by"`
	At       time.Time  `db:"excluded_at"`
	EndedBy  string     `db:"ended_by"` // who took it back, empty while it holds
	EndedAt  *time.Time `db:"ended_at"`
	EndedFor string     `db:"ended_for"`
}

const exclusionSQL = `SELECT x.exclusion_id, x.record_id, x.seq,
	coalesce((SELECT string_agg(rd.value_text || ' ' || rd.unit, '; ' ORDER BY rd.seq) FROM reading rd
		WHERE rd.site_id = x.site_id AND rd.record_id = x.record_id AND rd.characteristic = 'film_thickness' AND (x.seq IS NULL OR rd.seq = x.seq)), '') AS value_texts,
	x.reason_code, x.reason, sg.printed_name AS excluded_by, x.excluded_at, coalesce(es.printed_name, '') AS ended_by, e.ended_at, coalesce(e.reason, '') AS ended_for
	FROM exclusion x JOIN signature sg ON sg.site_id = x.site_id AND sg.signature_id = x.signature_id
	LEFT JOIN exclusion_end e ON e.site_id = x.site_id AND e.exclusion_id = x.exclusion_id
	LEFT JOIN signature es ON es.site_id = e.site_id AND es.signature_id = e.signature_id
	WHERE x.site_id = @site AND `

// ExclusionsOf returns what was left out of records, those taken back too, in the order of time.
func (db *DB) ExclusionsOf(ctx context.Context, site uuid.UUID, records ...uuid.UUID) ([]Exclusion, error) {
	return list[Exclusion](ctx, db.pool, exclusionSQL+`x.record_id = ANY(@records) ORDER BY x.excluded_at, x.exclusion_id`, sqlArgs{"site": site, "records": records})
}

// ExclusionByID returns one exclusion.
func (db *DB) ExclusionByID(ctx context.Context, site, id uuid.UUID) (Exclusion, error) {
	return one[Exclusion](ctx, db.pool, exclusionSQL+`x.exclusion_id = @id`, sqlArgs{"site": site, "id": id})
}

// Exclude leaves readings of a film check out of the statistics: those at the places seqs in the record, from 1, or all of
// them when none is named. Each is signed for itself, and nothing of the record changes.
func (db *DB) Exclude(ctx context.Context, a Actor, record uuid.UUID, seqs []int, code, reason string, proof Proof) error {
	reason = strings.TrimSpace(reason)
	switch {
	case !a.Has(Supervisor, Engineer):
		return refuse(RuleNoRight, "A supervisor or an engineer leaves values out of the statistics.")
	case !slices.Contains(ExclusionCodes, code):
		return refuse("exclusion_code_known", constraintSentences["exclusion_code_known"])
	case len([]rune(reason)) < 5:
		return refuse("exclusion_reason_given", constraintSentences["exclusion_reason_given"])
	}
	return db.inTx(ctx, a.Site, func(tx querier) error {
		// One act on a record's values after the other.
		if _, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock(hashtextextended(@record::uuid::text, 0))`, sqlArgs{"record": record}); err != nil {
			return err
		}
		t, err := one[target](ctx, tx, targetSQL, sqlArgs{"site": a.Site, "record": record})
		if err != nil {
			return err
		}
		if t.Kind != quality.Film || t.Verdict == quality.Voided || t.CorrectedBy != "" {
			return refuse(RuleInvalid, "Only the values of a film check that counts are in the statistics. Nothing was left out.")
		}
		places, values, err := exclusionPlaces(ctx, tx, a.Site, record, seqs)
		if err != nil {
			return err
		}
		b := &pgx.Batch{}
		for i, seq := range places {
			statement := fmt.Sprintf("Left %s out of the statistics (%s): %s", values[i], strings.ReplaceAll(code, "_", " "), reason)
			signature, err := db.sign(b, a, proof, "authorised", statement, exclusionContent(record, t.ContentHash, seq, code, reason))
			if err != nil {
				return err
			}
			id := NewID()
			b.Queue(`INSERT INTO exclusion (site_id, exclusion_id, record_id, seq, reason_code, reason, signature_id, excluded_by, excluded_at)
				VALUES (@site, @id, @record, @seq, @code, @reason, @signature, @by, @at)`, sqlArgs{"site": a.Site, "id": id, "record": record, "seq": seq,
				"code": code, "reason": reason, "signature": signature, "by": a.Person, "at": db.Clock()})
			if err := db.queueEvent(b, a, Event{Verb: "values excluded", SubjectKind: string(t.subject().Kind), Subject: t.subject().ID, Record: record,
				After: map[string]any{"exclusion": id, "seq": seq, "code": code}, Reason: reason}); err != nil {
				return err
			}
		}
		return send(ctx, tx, b)
	})
}

// exclusionPlaces checks which readings are to be left out and says each in words. A nil place stands for all of them.
func exclusionPlaces(ctx context.Context, tx querier, site, record uuid.UUID, seqs []int) (places []*int, values []string, err error) {
	type row struct {
		Seq  int    `db:"seq"`
		Text string `db:"value_text"`
		Unit string `db:"unit"`
		Out  bool   `db:"out"`
	}
	rows, err := list[row](ctx, tx, `SELECT rd.seq, rd.value_text, rd.unit, EXISTS (SELECT 1 FROM exclusion x WHERE x.site_id = rd.site_id AND x.record_id = rd.record_id
			AND (x.seq IS NULL OR x.seq = rd.seq) AND NOT EXISTS (SELECT 1 FROM exclusion_end e WHERE e.site_id = x.site_id AND e.exclusion_id = x.exclusion_id)) AS out
		FROM reading rd WHERE rd.site_id = @site AND rd.record_id = @record AND rd.characteristic = 'film_thickness' AND rd.value IS NOT NULL ORDER BY rd.seq`,
		sqlArgs{"site": site, "record": record})
	if err != nil {
		return nil, nil, err
	}
	left := 0
	for _, r := range rows {
		chosen := slices.Contains(seqs, r.Seq)
		switch {
		case chosen && r.Out:
			return nil, nil, refuse(RuleChanged, fmt.Sprintf("The reading %s is left out already. Reload the page.", r.Text))
		case chosen:
			places, values = append(places, &r.Seq), append(values, fmt.Sprintf("the reading %s %s", r.Text, quality.Unit(r.Unit).Symbol()))
		case !r.Out:
			left++
		}
	}
	switch {
	case len(places) != len(seqs):
		return nil, nil, refuse("exclusion_reading_fkey", constraintSentences["exclusion_reading_fkey"])
	case len(seqs) == 0 && left == 0:
		return nil, nil, refuse(RuleChanged, "All readings of this check are left out already. Reload the page.")
	case len(seqs) == 0:
		return []*int{nil}, []string{fmt.Sprintf("all %d readings", len(rows))}, nil
	}
	return places, values, nil
}

// Readmit takes an exclusion back, with a reason: the values count again.
func (db *DB) Readmit(ctx context.Context, a Actor, exclusion uuid.UUID, reason string, proof Proof) error {
	reason = strings.TrimSpace(reason)
	switch {
	case !a.Has(Supervisor, Engineer):
		return refuse(RuleNoRight, "A supervisor or an engineer takes values back into the statistics.")
	case len([]rune(reason)) < 5:
		return refuse("exclusion_end_reason_given", constraintSentences["exclusion_end_reason_given"])
	}
	return db.inTx(ctx, a.Site, func(tx querier) error {
		record, err := value[uuid.UUID](ctx, tx, `SELECT record_id FROM exclusion WHERE site_id = @site AND exclusion_id = @id`, sqlArgs{"site": a.Site, "id": exclusion})
		if err != nil {
			return err
		}
		b := &pgx.Batch{}
		signature, err := db.sign(b, a, proof, "authorised", "Took values back into the statistics: "+reason, exclusionEndContent(exclusion, reason))
		if err != nil {
			return err
		}
		b.Queue(`INSERT INTO exclusion_end (site_id, end_id, exclusion_id, reason, signature_id, ended_by, ended_at) VALUES (@site, @end, @id, @reason, @signature, @by, @at)`,
			sqlArgs{"site": a.Site, "end": NewID(), "id": exclusion, "reason": reason, "signature": signature, "by": a.Person, "at": db.Clock()})
		if err := db.queueEvent(b, a, Event{Verb: "exclusion taken back", SubjectKind: "record", Subject: record, Record: record,
			After: map[string]any{"exclusion": exclusion}, Reason: reason}); err != nil {
			return err
		}
		return send(ctx, tx, b)
	})
}

// leaveOut puts the figures without what was left out into those film checks that have anything left out. Their figures with
// all values stay beside them.
func (db *DB) leaveOut(ctx context.Context, site uuid.UUID, checks []FilmCheck) error {
	at := map[uuid.UUID]*FilmCheck{}
	var ids []uuid.UUID
	for i := range checks {
		if c := &checks[i]; c.HasExclusions {
			at[c.RecordID] = c
			ids = append(ids, c.RecordID)
		}
	}
	if len(ids) == 0 {
		return nil
	}
	exclusions, err := db.ExclusionsOf(ctx, site, ids...)
	if err != nil {
		return fmt.Errorf("excluded values: %w", err)
	}
	for _, x := range exclusions {
		if x.EndedAt == nil {
			at[x.RecordID].LeftOut = append(at[x.RecordID].LeftOut, x)
		}
	}
	type row struct {
		RecordID uuid.UUID `db:"record_id"`
		Seq      int       `db:"seq"`
		Value    float64   `db:"value"`
	}
	rows, err := list[row](ctx, db.pool, `SELECT record_id, seq, value FROM reading WHERE site_id = @site AND record_id = ANY(@records)
		AND characteristic = 'film_thickness' AND value IS NOT NULL ORDER BY record_id, seq`, sqlArgs{"site": site, "records": ids})
	if err != nil {
		return fmt.Errorf("readings beside excluded values: %w", err)
	}
	kept := map[uuid.UUID][]float64{}
	for _, r := range rows {
		out := slices.ContainsFunc(at[r.RecordID].LeftOut, func(x Exclusion) bool { return x.Seq == nil || *x.Seq == r.Seq })
		if !out {
			kept[r.RecordID] = append(kept[r.RecordID], r.Value)
		}
	}
	for id, c := range at {
		all := c.FilmFigures
		c.All = &all
		c.FilmFigures = figuresOf(kept[id])
	}
	return nil
}

// figuresOf sums up values in µm by the updating formula of Welford.
func figuresOf(values []float64) FilmFigures {
	var f FilmFigures
	for _, um := range values {
		f.N++
		delta := um - f.MeanUM
		f.MeanUM += delta / float64(f.N)
		f.M2 += delta * (um - f.MeanUM)
		if f.N == 1 {
			f.MinUM, f.MaxUM = um, um
		}
		f.MinUM, f.MaxUM = min(f.MinUM, um), max(f.MaxUM, um)
	}
	return f
}
