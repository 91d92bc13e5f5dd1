package store

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"coatbook/quality"
)

// A placeRow is a part's place in an inspection lot of its present cycle.
type placeRow struct {
	PartID  uuid.UUID        `db:"part_id"`
	LotID   uuid.UUID        `db:"lot_id"`
	Number  string           `db:"number"`
	Of      quality.Sampled  `db:"kind"`
	From    string           `db:"from_words"`
	Round   int              `db:"round"`
	Drawn   bool             `db:"drawn"`
	State   quality.LotState `db:"state"`
	Sample  int              `db:"sample_size"`
	Checked int              `db:"checked"`
	Failed  int              `db:"failed"`
	Accept  int              `db:"accept"`
	Waived  string           `db:"waived"`
	// Held is how many open holds of the part are there because the lot was rejected.
	Held int `db:"held"`
}

func (p placeRow) place() quality.SamplePlace {
	return quality.SamplePlace{Of: p.Of, Lot: p.Number, From: p.From, Round: p.Round, Drawn: p.Drawn, State: p.State, Sample: p.Sample, Checked: p.Checked, Failed: p.Failed, Accept: p.Accept, Waived: p.Waived}
}

// sampledNow says of a row s of inspection_sample that nothing took its place.
const sampledNow = `NOT EXISTS (SELECT 1 FROM inspection_sample later WHERE later.site_id = s.site_id AND later.lot_id = s.lot_id AND later.seq = s.seq AND later.version > s.version)`

// sampledCheck and sampledCharacteristic are the two halves of what a lot m is for: the kind of record, and the characteristic of
// it where not the whole check is sampled (quality.Sampled).
const (
	sampledCheck          = `split_part(m.kind, '.', 1)`
	sampledCharacteristic = `replace(split_part(m.kind, '.', 2), '_', ' ')`
)

const placeSQL = `SELECT m.part_id, m.lot_id, l.number, m.kind,
		coalesce((SELECT 'oven load ' || ol.number FROM oven_load ol WHERE l.basis = 'load' AND ol.site_id = l.site_id AND ol.load_id = l.load_id),
			(SELECT 'rack ' || k.number FROM rack k WHERE k.site_id = l.site_id AND k.rack_id = l.rack_id), '') AS from_words, m.round, l.sample_size, l.accept, st.state, st.checked, st.failed,
		coalesce((SELECT true FROM inspection_sample s WHERE s.site_id = m.site_id AND s.lot_id = m.lot_id AND s.part_id = m.part_id AND ` + sampledNow + ` LIMIT 1), false) AS drawn,
		coalesce((SELECT d.concession_ref FROM inspection_hold ih JOIN disposition d ON d.site_id = ih.site_id AND d.hold_id = ih.hold_id
			WHERE ih.site_id = m.site_id AND ih.lot_id = m.lot_id AND d.part_id = m.part_id AND d.code = 'concession'
			AND (d.concession_ends IS NULL OR d.concession_ends >= (@now::timestamptz AT TIME ZONE (SELECT time_zone FROM site WHERE site.site_id = m.site_id))::date) LIMIT 1), '') AS waived,
		(SELECT count(*) FROM inspection_hold ih JOIN hold_part hp ON hp.site_id = ih.site_id AND hp.hold_id = ih.hold_id
			WHERE ih.site_id = m.site_id AND ih.lot_id = m.lot_id AND hp.part_id = m.part_id AND hp.open)::int AS held
	FROM inspection_lot_part m
	JOIN part_status ps ON ps.site_id = m.site_id AND ps.part_id = m.part_id AND ps.cycle = m.cycle AND ps.round >= m.round
	JOIN inspection_lot l ON l.site_id = m.site_id AND l.lot_id = m.lot_id
	JOIN inspection_lot_status st ON st.site_id = m.site_id AND st.lot_id = m.lot_id
	WHERE m.site_id = @site AND m.part_id = ANY(@parts) ORDER BY m.part_id, m.round`

// placesNow are the part's places in lots as rules of sampling see them.
func (s *standing) placesNow() []quality.SamplePlace {
	places := make([]quality.SamplePlace, len(s.places))
	for i, p := range s.places {
		places[i] = p.place()
	}
	return places
}

// placeIn returns the part's place for what is sampled in its present round, nil when it has none.
func (s *standing) placeIn(what quality.Sampled) *placeRow {
	for i := range s.places {
		if p := &s.places[i]; p.Of == what && p.Round == s.Round {
			return p
		}
	}
	return nil
}

// standsOn reports whether the part rests on a lot: it has no record of its own for what the lot's sample is checked for.
func (s *standing) standsOn(spec quality.FinishSpec, what quality.Sampled, lot string) bool {
	for _, item := range s.gate(spec) {
		if item.Sampled() == what {
			return item.Lot == lot
		}
	}
	return false
}

// screened reports whether the part is held for no other reason than that lots for a kind of check, or for a characteristic of
// it, are not accepted, so that it may be checked itself.
func (s *standing) screened(kind quality.Kind) bool {
	held := 0
	for _, p := range s.places {
		if p.Of.Check() == kind && p.Round == s.Round && !p.State.Accepted() {
			held += p.Held
		}
	}
	return held > 0 && held == s.OpenHolds
}

// lockSavedSQL locks the parts that a record is about and, where one of them is in an inspection lot of that kind or of a
// characteristic of it, the whole lot: its verdict may hold them all, and locks are taken in the order of the ids.
const lockSavedSQL = `SELECT 1 FROM part_status WHERE site_id = @site AND part_id = ANY(ARRAY(
		SELECT unnest(@parts::uuid[]) UNION
		SELECT o.part_id FROM inspection_lot_part m JOIN inspection_lot_part o ON o.site_id = m.site_id AND o.lot_id = m.lot_id
			WHERE m.site_id = @site AND m.part_id = ANY(@parts) AND ` + sampledCheck + ` = @kind))
	ORDER BY part_id FOR UPDATE`

// refuseSampled refuses a cure test on a whole load where the spec asks for it on drawn parts: one rub is one sample.
func (w *work) refuseSampled(e *Entry) {
	whole := quality.Sampled(e.Kind)
	rule, sampled := w.spec.Sampling[whole]
	if !sampled || e.Subject.Kind == quality.OnPart || e.correction != nil {
		return
	}
	drawn := ""
	for _, s := range w.parts {
		if p := s.placeIn(whole); p != nil && p.Drawn {
			drawn += " " + s.Serial
		}
	}
	words := "Make the lot on the Sampling page first."
	if drawn != "" {
		words = "Record it on each part of the sample:" + drawn + "."
	} else if rule.By != quality.SampleLot {
		words = "Record it on each part."
	}
	w.refusals = append(w.refusals, refuse(RuleInvalid, fmt.Sprintf("The spec asks for the %s on a sample, %s. %s", lower(e.Kind.Name()), rule, words)))
}

// placeOnSamples says where the part stands for what the spec samples apart from the check. A first article is measured in full,
// whatever was drawn.
func (w *work) placeOnSamples(ctx context.Context, q querier, site uuid.UUID, e *Entry) error {
	s := w.parts[0]
	w.circumstance.Sampled = quality.OnSample(w.spec, e.Kind, s.Round, s.placesNow())
	if len(w.circumstance.Sampled) == 0 || w.spec.FirstArticle == nil {
		return nil
	}
	named, err := namedArticles(ctx, q, site, w.parts[:1])
	if err != nil || len(named) == 0 {
		return err
	}
	for i, item := range w.circumstance.Sampled {
		w.circumstance.Sampled[i] = quality.Item{Kind: item.Kind, Characteristic: item.Characteristic, State: quality.Missing,
			Sentence: item.Name() + " is due: this part is a first article, which is measured in full."}
	}
	return nil
}

// sampledThen says what was asked of the part where a correction is about an earlier round or cycle. Places of an earlier cycle
// are not read, so nothing is missed in a record of it; the lots of that cycle count what it still says.
func (w *work) sampledThen(t *target) {
	if len(w.circumstance.Sampled) == 0 {
		return
	}
	s := w.parts[0]
	if t.Cycle == s.Cycle && t.Round == s.Round {
		return
	}
	w.circumstance.Sampled = quality.OnSample(w.spec, t.Kind, t.Round, s.placesNow())
	for i := range w.circumstance.Sampled {
		w.circumstance.Sampled[i].Waits = w.circumstance.Sampled[i].Waits || t.Cycle != s.Cycle
	}
}

// lotsAfter does what a record means for inspection lots: the verdict of those in whose sample its part is, and the draw after
// a cure run.
func (db *DB) lotsAfter(ctx context.Context, tx querier, a Actor, e Entry, w *work, j quality.Judgement) ([]string, error) {
	if len(w.spec.Sampling) == 0 {
		return nil, nil
	}
	if e.Kind == quality.Cure && j.Verdict != quality.Fail {
		return nil, db.drawAfterCure(ctx, tx, a, e, w)
	}
	var lots []uuid.UUID
	for _, s := range w.parts {
		for _, p := range s.places {
			if p.Of.Check() == e.Kind && p.Round == s.Round && p.Drawn && e.Subject.Kind == quality.OnPart {
				lots = append(lots, p.LotID)
			}
		}
	}
	return db.settleLots(ctx, tx, a, w.site, lots, change{record: e.RecordID})
}

// lotsOf returns the lots in whose sample one of the parts is or was, for a kind of check or a characteristic of it, in any cycle
// and round; all kinds when it is empty.
func lotsOf(ctx context.Context, q querier, site uuid.UUID, kind quality.Kind, parts []uuid.UUID) ([]uuid.UUID, error) {
	return column[uuid.UUID](ctx, q, `SELECT DISTINCT m.lot_id FROM inspection_lot_part m
		WHERE m.site_id = @site AND m.part_id = ANY(@parts) AND (@kind = '' OR `+sampledCheck+` = @kind)
		AND EXISTS (SELECT 1 FROM inspection_sample s WHERE s.site_id = m.site_id AND s.lot_id = m.lot_id AND s.part_id = m.part_id)`,
		sqlArgs{"site": site, "parts": parts, "kind": string(kind)})
}

// lockWithLots locks parts together with all parts of the lots.
func lockWithLots(ctx context.Context, tx querier, site uuid.UUID, parts, lots []uuid.UUID) error {
	_, err := tx.Exec(ctx, `SELECT 1 FROM part_status WHERE site_id = @site AND part_id = ANY(ARRAY(
			SELECT unnest(@parts::uuid[]) UNION SELECT part_id FROM inspection_lot_part WHERE site_id = @site AND lot_id = ANY(@lots)))
		ORDER BY part_id FOR UPDATE`, sqlArgs{"site": site, "parts": parts, "lots": lots})
	return err
}
