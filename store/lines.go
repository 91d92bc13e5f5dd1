package store

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"coatbook/quality"
)

// queueRecord adds the header of a record, all its lines and the event that tells of it to what goes to the database next.
func (db *DB) queueRecord(batch *pgx.Batch, a Actor, e Entry, w *work, j quality.Judgement, hash string, told Event) error {
	day, shift := w.site.ShopDay(e.ObservedAt)
	_, offset := e.ObservedAt.In(w.site.Location()).Zone()
	cycle, round, cycleOne := 1, 1, false
	for _, s := range w.parts {
		cycle, round = s.Cycle, s.Round
		cycleOne = cycleOne || s.Cycle == 1
	}
	if e.Subject.Kind != quality.OnPart {
		round = 1
	}
	counted := db.Clock()
	var supersedes, signature uuid.NullUUID
	var reasonCode, reason string
	if w.original != nil {
		cycle, round, counted = w.original.Cycle, w.original.Round, w.original.CountedAt
		supersedes, signature = null(w.original.RecordID), null(w.signature)
		reasonCode, reason = e.correction.Code, e.correction.Text
	}
	subject := map[quality.Subject]*uuid.UUID{e.Subject.Kind: &e.Subject.ID}
	lines := &pgx.Batch{}
	lines.Queue(`INSERT INTO record (site_id, record_id, kind, part_id, rack_id, load_id, instrument_id, bath_id, oven_id, panel_id, cycle, round, first_pass, spec_revision_id,
			station_id, device_id, person_id, observed_at, utc_offset_s, clock_offset_ms, recorded_at, counted_at, shop_day, shift, late_reason, note, rule, verdict, content_hash,
			supersedes_id, reason_code, reason, signature_id)
		VALUES (@site, @record, @kind, @part, @rack, @load, @instrument, @bath, @oven, @panel, @cycle, @round,
			CASE WHEN @supersedes::uuid IS NOT NULL THEN @first ELSE @cycle_one AND @round = 1 AND NOT EXISTS (SELECT 1 FROM record o
				WHERE o.site_id = @site AND o.kind = @kind AND o.`+onColumns[e.Subject.Kind]+` = @subject AND o.verdict <> 'void'
				AND NOT EXISTS (SELECT 1 FROM record s WHERE s.site_id = o.site_id AND s.supersedes_id = o.record_id)) END,
			@spec, @station, @device, @person, @observed, @offset, @clock, @recorded, @counted, @day, @shift, @late, @note, @rule, @verdict, @hash,
			@supersedes, @code, @reason, @signature)`,
		sqlArgs{"site": a.Site, "record": e.RecordID, "kind": e.Kind, "subject": e.Subject.ID, "part": subject[quality.OnPart], "rack": subject[quality.OnRack],
			"load": subject[quality.OnLoad], "instrument": subject[quality.OnInstrument],
			"bath": subject[quality.OnBath], "oven": subject[quality.OnOven], "panel": subject[quality.OnPanel], "cycle": cycle, "round": round, "cycle_one": cycleOne,
			"spec": null(w.revision.ID), "station": w.station, "device": a.Device, "person": a.Person, "observed": e.ObservedAt, "offset": offset,
			"clock": e.ClockOffset.Milliseconds(), "recorded": db.Clock(), "day": day, "shift": shift, "late": e.LateReason, "note": e.Note,
			"rule": j.Rule, "verdict": j.Verdict, "hash": hash, "counted": counted, "supersedes": supersedes,
			"first": w.original != nil && w.original.FirstPass, "code": reasonCode, "reason": reason, "signature": signature})
	queueReadings(lines, a.Site, e)
	queueRatings(lines, a.Site, e)
	queueDefects(lines, a.Site, e)
	queueUses(lines, a.Site, e, w)
	queueFindings(lines, a.Site, e.RecordID, day, j)
	queueCritical(lines, a.Site, e.RecordID, w)
	queueArticle(lines, a.Site, e)
	if e.Kind == quality.Film {
		queueFilmSummary(lines, a.Site, e, day)
	}
	if e.Kind == quality.Cure && !e.voids {
		queueCure(lines, a.Site, e, w)
	}
	if err := db.queueEvent(lines, a, told); err != nil {
		return err
	}
	if err := together(lines); err != nil {
		return fmt.Errorf("record %s: %w", e.RecordID, err)
	}
	batch.QueuedQueries = append(batch.QueuedQueries, lines.QueuedQueries...)
	return nil
}

// onColumns says which column of record holds a subject of each kind.
var onColumns = map[quality.Subject]string{
	quality.OnPart: "part_id", quality.OnRack: "rack_id", quality.OnLoad: "load_id", quality.OnInstrument: "instrument_id",
	quality.OnBath: "bath_id", quality.OnOven: "oven_id", quality.OnPanel: "panel_id",
}

func queueReadings(b *pgx.Batch, site uuid.UUID, e Entry) {
	if len(e.Check.Readings) == 0 {
		return
	}
	n := len(e.Check.Readings)
	var seqs, spots, reps = make([]int, n), make([]int, n), make([]int, n)
	var values = make([]*float64, n)
	cols := make([][]string, 8) // characteristic, location, value_text, unit, source, raw_text, absence, flag
	for i := range cols {
		cols[i] = make([]string, n)
	}
	for i, r := range e.Check.Readings {
		seqs[i], spots[i], reps[i] = i+1, r.Spot, r.Rep
		if r.Absence == quality.Present {
			canonical := r.Value
			if c, ok := quality.CharacteristicOf(r.Characteristic); ok {
				if v, err := r.In(c.Canonical()); err == nil {
					canonical = v
				}
			}
			values[i] = &canonical
		}
		for k, s := range []string{r.Characteristic, r.Location, r.Text, string(r.Unit), orElse(r.Source, "typed"), r.Raw, string(r.Absence), string(r.Flag)} {
			cols[k][i] = s
		}
	}
	b.Queue(`INSERT INTO reading (site_id, record_id, seq, characteristic, location, spot, rep, value, value_text, unit, source, raw_text, absence, flag)
		SELECT @site, @record, seq, characteristic, location, spot, rep, value, value_text, unit, source, raw_text, absence, flag
		FROM unnest(@reading_seqs::int[], @spots::int[], @reps::int[], @readings::float8[], @characteristics::text[], @locations::text[], @texts::text[],
			@reading_units::text[], @sources::text[], @raws::text[], @absences::text[], @flags::text[])
			AS n(seq, spot, rep, value, characteristic, location, value_text, unit, source, raw_text, absence, flag)`,
		sqlArgs{"site": site, "record": e.RecordID, "reading_seqs": seqs, "spots": spots, "reps": reps, "readings": values, "characteristics": cols[0],
			"locations": cols[1], "texts": cols[2], "reading_units": cols[3], "sources": cols[4], "raws": cols[5], "absences": cols[6], "flags": cols[7]})
}

func queueRatings(b *pgx.Batch, site uuid.UUID, e Entry) {
	n := len(e.Check.Ratings)
	if n == 0 {
		return
	}
	seqs, characteristics, locations, codes := make([]int, n), make([]string, n), make([]string, n), make([]string, n)
	for i, r := range e.Check.Ratings {
		seqs[i], characteristics[i], locations[i], codes[i] = i+1, r.Characteristic, r.Location, r.Code
	}
	b.Queue(`INSERT INTO rating (site_id, record_id, seq, characteristic, location, code)
		SELECT @site, @record, n.* FROM unnest(@rating_seqs::int[], @rated::text[], @rated_at::text[], @rating_codes::text[]) AS n`,
		sqlArgs{"site": site, "record": e.RecordID, "rating_seqs": seqs, "rated": characteristics, "rated_at": locations, "rating_codes": codes})
}

func queueDefects(b *pgx.Batch, site uuid.UUID, e Entry) {
	n := len(e.Check.Defects)
	if n == 0 {
		return
	}
	seqs, counts, sizes, lengths := make([]int, n), make([]int, n), make([]*float64, n), make([]*float64, n)
	cols := make([][]string, 5) // code, place, size_text, length_text, flag
	for i := range cols {
		cols[i] = make([]string, n)
	}
	for i, d := range e.Check.Defects {
		seqs[i], counts[i], sizes[i], lengths[i] = i+1, d.Count, d.SizeMM, d.LengthMM
		for k, s := range []string{d.Code, d.Place, d.SizeText, d.LengthText, string(d.Flag)} {
			cols[k][i] = s
		}
	}
	b.Queue(`INSERT INTO defect (site_id, record_id, seq, code, place, size_mm, size_text, length_mm, length_text, count, flag)
		SELECT @site, @record, n.* FROM unnest(@defect_seqs::int[], @defects::text[], @defect_places::text[], @sizes::float8[], @size_texts::text[],
			@lengths::float8[], @length_texts::text[], @counts::int[], @defect_flags::text[]) AS n`,
		sqlArgs{"site": site, "record": e.RecordID, "defect_seqs": seqs, "defects": cols[0], "defect_places": cols[1], "sizes": sizes, "size_texts": cols[2],
			"lengths": lengths, "length_texts": cols[3], "counts": counts, "defect_flags": cols[4]})
}

// useColumns says which column of record_use holds the thing of a role.
var useColumns = map[string]string{
	"gauge": "instrument_id", "shim": "instrument_id", "powder": "lot_id", "welder": "person_id", "booth": "station_id", "oven": "station_id",
	"bath": "bath_id", "tested_part": "part_id", "chemical": "lot_id", "titrant": "lot_id", "solvent": "lot_id", "filler": "lot_id", "heat": "lot_id",
	"tape": "lot_id", "meter": "instrument_id", "logger": "instrument_id", "standard": "instrument_id", "panel": "panel_id",
}

func queueUses(b *pgx.Batch, site uuid.UUID, e Entry, w *work) {
	if len(e.Uses) == 0 {
		return
	}
	n := len(e.Uses)
	seqs, roles, verifications := make([]int, n), make([]string, n), make([]*uuid.UUID, n)
	ids := map[string][]*uuid.UUID{}
	for _, column := range useColumns {
		ids[column] = make([]*uuid.UUID, n)
	}
	for i, u := range e.Uses {
		seqs[i], roles[i] = i+1, u.Role
		if column, known := useColumns[u.Role]; known {
			ids[column][i] = &e.Uses[i].ID
		}
		reading, read := w.bathReadings[u.ID]
		switch {
		case u.Role == "bath" && read:
			verifications[i] = &reading
		case u.Role != "gauge" || w.gauge == nil || e.Kind == quality.Verification:
		case w.verification != uuid.Nil:
			verifications[i] = &w.verification
		case w.gauge.VerificationID.Valid:
			verifications[i] = &w.gauge.VerificationID.UUID
		}
	}
	b.Queue(`INSERT INTO record_use (site_id, record_id, seq, role, instrument_id, lot_id, person_id, station_id, bath_id, part_id, panel_id, verification_id)
		SELECT @site, @record, n.* FROM unnest(@use_seqs::int[], @roles::text[], @instruments::uuid[], @lots::uuid[], @people::uuid[], @stations::uuid[],
			@baths::uuid[], @parts::uuid[], @panels::uuid[], @verifications::uuid[]) AS n`,
		sqlArgs{"site": site, "record": e.RecordID, "use_seqs": seqs, "roles": roles, "instruments": ids["instrument_id"], "lots": ids["lot_id"],
			"people": ids["person_id"], "stations": ids["station_id"], "baths": ids["bath_id"], "parts": ids["part_id"], "panels": ids["panel_id"], "verifications": verifications})
}

func queueFindings(b *pgx.Batch, site, record uuid.UUID, day time.Time, j quality.Judgement) {
	n := len(j.Findings)
	if n == 0 {
		return
	}
	seqs, values := make([]int, n), make([]*float64, n)
	cols := make([][]string, 7) // rule, place, limit, unit, verdict, fault, sentence
	for i := range cols {
		cols[i] = make([]string, n)
	}
	for i, f := range j.Findings {
		seqs[i], values[i] = i+1, f.Value
		for k, s := range []string{f.Rule, f.Place, f.Limit, string(f.Unit), string(f.Verdict), f.Fault, f.Text} {
			cols[k][i] = s
		}
	}
	b.Queue(`INSERT INTO finding (site_id, record_id, seq, shop_day, rule, place, limit_text, value, unit, verdict, fault, sentence)
		SELECT @site, @record, seq, @day, rule, place, limit_text, value, unit, verdict, fault, sentence
		FROM unnest(@finding_seqs::int[], @findings::float8[], @rules::text[], @places::text[], @limits::text[], @units::text[], @verdicts::text[], @faults::text[], @sentences::text[])
			AS n(seq, value, rule, place, limit_text, unit, verdict, fault, sentence)`,
		sqlArgs{"site": site, "record": record, "day": day, "finding_seqs": seqs, "findings": values, "rules": cols[0], "places": cols[1], "limits": cols[2],
			"units": cols[3], "verdicts": cols[4], "faults": cols[5], "sentences": cols[6]})
}

// queueFilmSummary keeps n, mean, sum of squared deviations, least and greatest of a film check in µm, by the updating
// formula of Welford, so that summaries of many checks merge without their readings.
func queueFilmSummary(b *pgx.Batch, site uuid.UUID, e Entry, day time.Time) {
	var values []float64
	spotSum, spotN := map[int]float64{}, map[int]int{}
	for _, r := range e.Check.Of("film_thickness") {
		um, err := r.In(quality.Micrometre)
		if r.Absence != quality.Present || err != nil {
			continue
		}
		values = append(values, um)
		spotSum[r.Spot] += um
		spotN[r.Spot]++
	}
	if len(values) == 0 {
		return
	}
	f := figuresOf(values)
	lowest := f.MaxUM
	for spot, sum := range spotSum {
		lowest = min(lowest, sum/float64(spotN[spot]))
	}
	b.Queue(`INSERT INTO film_summary (site_id, record_id, shop_day, observed_at, part_id, n, mean_um, m2_um2, min_um, max_um, lowest_spot_um)
		VALUES (@site, @record, @day, @at, @measured, @n, @mean, @m2, @min, @max, @lowest)`, sqlArgs{"site": site, "record": e.RecordID, "day": day,
		"at": e.ObservedAt, "measured": e.Subject.ID, "n": f.N, "mean": f.MeanUM, "m2": f.M2, "min": f.MinUM, "max": f.MaxUM, "lowest": lowest})
}

// checkOverrides proves the PINs of those who authorise exceptions and returns the proofs by rule. Only a supervisor or an
// engineer may, and never for their own entry.
func (db *DB) checkOverrides(ctx context.Context, a Actor, overrides []Override) (map[string]Proof, error) {
	proofs := map[string]Proof{}
	for _, o := range overrides {
		p, err := db.Person(ctx, a.Site, o.By)
		if err != nil {
			return nil, err
		}
		if !(Actor{Roles: p.Roles}).Has(Supervisor, Engineer) {
			return nil, refuse(RuleNoRight, fmt.Sprintf("%s may not authorise exceptions. A supervisor or an engineer does.", p.Name))
		}
		if len(o.Reason) < 5 {
			return nil, refuse(RuleInvalid, "Say why the exception is authorised, in at least five letters.")
		}
		proof, err := db.proveFor(ctx, a, o.By, o.PIN)
		if err != nil {
			return nil, err
		}
		// They were chosen by name where the work is, and gave their PIN.
		proof.auth += "+name"
		proofs[o.Rule] = proof
	}
	return proofs, nil
}

// insertOverride records an exception that was used, signed by the one who authorised it.
func (db *DB) insertOverride(ctx context.Context, tx querier, a Actor, e Entry, r *Refusal, p Proof) error {
	reason := ""
	for _, o := range e.Overrides {
		if o.Rule == r.Rule {
			reason = o.Reason
		}
	}
	statement := "Authorised the exception: " + r.Sentence
	b := &pgx.Batch{}
	signature, err := db.sign(b, a, p, "authorised", statement, overrideContent(e.RecordID, r.Rule, r.Sentence, reason))
	if err != nil {
		return err
	}
	id := NewID()
	b.Queue(`INSERT INTO override (site_id, override_id, record_id, rule, sentence, reason, signature_id)
		VALUES (@site, @id, @record, @rule, @sentence, @reason, @signature)`, sqlArgs{"site": a.Site, "id": id, "record": e.RecordID,
		"rule": r.Rule, "sentence": r.Sentence, "reason": reason, "signature": signature})
	if err := db.queueEvent(b, a, Event{Verb: "exception authorised", SubjectKind: string(e.Subject.Kind), Subject: e.Subject.ID, Record: e.RecordID,
		After: map[string]any{"rule": r.Rule, "by": p.person}, Reason: reason}); err != nil {
		return err
	}
	return send(ctx, tx, b)
}
