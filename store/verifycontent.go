package store

import (
	"context"
	"encoding/json"
	"fmt"
	"strconv"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"coatbook/quality"
)

// contents makes the content hashes of records and what was signed again, also of what is not sealed yet.
func (v *Verified) contents(ctx context.Context, tx pgx.Tx, st Site) error {
	for _, check := range []func(context.Context, pgx.Tx, Site) error{v.recordHashes, v.releases, v.dispositions, v.overrides, v.corrections, v.approvals, v.reviews, v.recalls, v.returns, v.certificates, v.confirmations, v.exclusions, v.resumes, v.articleApprovals, v.articleDeclines, v.files} {
		if err := check(ctx, tx, st); err != nil {
			return fmt.Errorf("what was signed: %w", err)
		}
	}
	return nil
}

// A signed is what is common to everything signed: what it is, and the hash, meaning and signer of the signature that stands
// with it; empty where there is none.
type signed struct {
	What    string    `db:"what"`
	ID      uuid.UUID `db:"id"`
	Hash    string    `db:"hash"`
	Meaning string    `db:"meaning"`
	Signer  string    `db:"signer"`
}

// bound compares one signature with what it stands with.
func (v *Verified) bound(s signed, meaning string, signer string, content any) error {
	hash, err := ContentHash(content)
	if err != nil {
		return err
	}
	v.Hashes++
	switch {
	case s.Hash == "":
		v.fault(0, "%s (%s) has no signature.", s.What, s.ID)
	case s.Hash != hash || s.Meaning != meaning || signer != "" && s.Signer != signer:
		v.fault(0, "%s (%s) is not what its signature was made for: it was changed, or the signature was moved here from something else.", s.What, s.ID)
	}
	return nil
}

// each streams rows, so that a year of releases takes no more memory than one.
func each[T any](ctx context.Context, q querier, sql string, args sqlArgs, do func(T) error) error {
	rows, err := q.Query(ctx, sql, args)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		row, err := pgx.RowToStructByName[T](rows)
		if err != nil {
			return err
		}
		if err := do(row); err != nil {
			return err
		}
	}
	return rows.Err()
}

const signatureColumns = `coalesce(s.content_hash, '') AS hash, coalesce(s.meaning, '') AS meaning, coalesce(s.person_id::text, '') AS signer`

func (v *Verified) releases(ctx context.Context, tx pgx.Tx, st Site) error {
	type row struct {
		signed
		Part  uuid.UUID `db:"part_id"`
		Cycle int       `db:"cycle"`
		Gate  []byte    `db:"gate"`
		By    string    `db:"by"`
	}
	return each(ctx, tx, `SELECT 'The release of part ' || coalesce(p.serial, '?') AS what, r.release_id AS id, r.part_id, r.cycle, r.gate, r.released_by::text AS by, `+signatureColumns+`
		FROM release r LEFT JOIN part p ON p.site_id = r.site_id AND p.part_id = r.part_id LEFT JOIN signature s ON s.site_id = r.site_id AND s.signature_id = r.signature_id
		WHERE r.site_id = @site`, sqlArgs{"site": st.ID}, func(r row) error {
		var gate []quality.Item
		if err := json.Unmarshal(r.Gate, &gate); err != nil {
			v.fault(0, "%s (%s) has a gate that cannot be read.", r.What, r.ID)
			return nil
		}
		return v.bound(r.signed, "released", r.By, releaseContent(r.Part, r.Cycle, gate))
	})
}

func (v *Verified) dispositions(ctx context.Context, tx pgx.Tx, st Site) error {
	type row struct {
		signed
		Hold   uuid.UUID  `db:"hold_id"`
		Part   uuid.UUID  `db:"part_id"`
		Code   string     `db:"code"`
		Reason string     `db:"reason"`
		Ref    string     `db:"concession_ref"`
		Ends   *time.Time `db:"concession_ends"`
		By     string     `db:"by"`
	}
	return each(ctx, tx, `SELECT 'The decision on part ' || coalesce(p.serial, '?') AS what, d.disposition_id AS id, d.hold_id, d.part_id, d.code, d.reason, d.concession_ref, d.concession_ends,
		d.decided_by::text AS by, `+signatureColumns+`
		FROM disposition d LEFT JOIN part p ON p.site_id = d.site_id AND p.part_id = d.part_id LEFT JOIN signature s ON s.site_id = d.site_id AND s.signature_id = d.signature_id
		WHERE d.site_id = @site`, sqlArgs{"site": st.ID}, func(r row) error {
		var ends time.Time
		if r.Ends != nil {
			ends = *r.Ends
		}
		return v.bound(r.signed, "disposed", r.By, dispositionContent(r.Hold, r.Part, r.Code, r.Reason, r.Ref, ends))
	})
}

func (v *Verified) resumes(ctx context.Context, tx pgx.Tx, st Site) error {
	type row struct {
		signed
		Spec   uuid.UUID       `db:"spec_id"`
		Of     quality.Sampled `db:"kind"`
		Reason string          `db:"reason"`
		By     string          `db:"by"`
	}
	return each(ctx, tx, `SELECT 'The new beginning of inspection by lot of ' || f.code AS what, w.switch_id AS id, w.spec_id, w.kind, w.reason, w.switched_by::text AS by, `+signatureColumns+`
		FROM inspection_switch w JOIN finish_spec f ON f.site_id = w.site_id AND f.spec_id = w.spec_id
		LEFT JOIN signature s ON s.site_id = w.site_id AND s.signature_id = w.signature_id WHERE w.site_id = @site AND w.from_severity = 'discontinued' AND w.signature_id IS NOT NULL`,
		sqlArgs{"site": st.ID}, func(r row) error {
			return v.bound(r.signed, "authorised", r.By, resumeContent(r.ID, r.Spec, r.Of, r.Reason))
		})
}

func (v *Verified) confirmations(ctx context.Context, tx pgx.Tx, st Site) error {
	type row struct {
		signed
		Record    uuid.UUID `db:"record_id"`
		Content   string    `db:"content_hash"`
		Sentences []string  `db:"sentences"`
		Outcome   string    `db:"outcome"`
		Reason    string    `db:"reason"`
		By        string    `db:"by"`
	}
	return each(ctx, tx, `SELECT 'What a second person said of a ' || replace(r.kind, '_', ' ') || ' record' AS what, c.confirmation_id AS id, c.record_id, r.content_hash, c.outcome, c.reason,
		c.decided_by::text AS by, ARRAY(SELECT ce.sentence FROM critical_entry ce WHERE ce.site_id = c.site_id AND ce.record_id = c.record_id ORDER BY ce.rule) AS sentences, `+signatureColumns+`
		FROM confirmation c JOIN record r ON r.site_id = c.site_id AND r.record_id = c.record_id
		LEFT JOIN signature s ON s.site_id = c.site_id AND s.signature_id = c.signature_id WHERE c.site_id = @site`, sqlArgs{"site": st.ID}, func(r row) error {
		return v.bound(r.signed, "reviewed", r.By, confirmationContent(r.Record, r.Content, r.Sentences, r.Outcome, r.Reason))
	})
}

func (v *Verified) exclusions(ctx context.Context, tx pgx.Tx, st Site) error {
	type row struct {
		signed
		Record  uuid.UUID `db:"record_id"`
		Content string    `db:"content_hash"`
		Seq     *int      `db:"seq"`
		Code    string    `db:"reason_code"`
		Reason  string    `db:"reason"`
		Ends    bool      `db:"ends"`
		By      string    `db:"by"`
	}
	return each(ctx, tx, `SELECT 'The exclusion of values' AS what, x.exclusion_id AS id, x.record_id, r.content_hash, x.seq, x.reason_code, x.reason, false AS ends, x.excluded_by::text AS by, `+signatureColumns+`
		FROM exclusion x JOIN record r ON r.site_id = x.site_id AND r.record_id = x.record_id
		LEFT JOIN signature s ON s.site_id = x.site_id AND s.signature_id = x.signature_id WHERE x.site_id = @site
		UNION ALL SELECT 'The taking back of an exclusion', e.exclusion_id, e.exclusion_id, '', NULL, '', e.reason, true, e.ended_by::text, `+signatureColumns+`
		FROM exclusion_end e LEFT JOIN signature s ON s.site_id = e.site_id AND s.signature_id = e.signature_id WHERE e.site_id = @site`,
		sqlArgs{"site": st.ID}, func(r row) error {
			content := exclusionContent(r.Record, r.Content, r.Seq, r.Code, r.Reason)
			if r.Ends {
				content = exclusionEndContent(r.ID, r.Reason)
			}
			return v.bound(r.signed, "authorised", r.By, content)
		})
}

func (v *Verified) overrides(ctx context.Context, tx pgx.Tx, st Site) error {
	type row struct {
		signed
		Record   uuid.UUID `db:"record_id"`
		Rule     string    `db:"rule"`
		Sentence string    `db:"sentence"`
		Reason   string    `db:"reason"`
	}
	return each(ctx, tx, `SELECT 'The exception “' || o.sentence || '”' AS what, o.override_id AS id, o.record_id, o.rule, o.sentence, o.reason, `+signatureColumns+`
		FROM override o LEFT JOIN signature s ON s.site_id = o.site_id AND s.signature_id = o.signature_id WHERE o.site_id = @site`, sqlArgs{"site": st.ID},
		func(r row) error {
			return v.bound(r.signed, "authorised", "", overrideContent(r.Record, r.Rule, r.Sentence, r.Reason))
		})
}

func (v *Verified) corrections(ctx context.Context, tx pgx.Tx, st Site) error {
	type row struct {
		signed
		RecordHash   string    `db:"content_hash"`
		Original     uuid.UUID `db:"supersedes_id"`
		OriginalHash string    `db:"original_hash"`
		By           string    `db:"by"`
	}
	return each(ctx, tx, `SELECT 'The correction of the ' || replace(r.kind, '_', ' ') || ' record of ' || `+subjectOf+` AS what, r.record_id AS id, r.content_hash, r.supersedes_id,
		coalesce(o.content_hash, '') AS original_hash, r.person_id::text AS by, `+signatureColumns+`
		FROM record r LEFT JOIN record o ON o.site_id = r.site_id AND o.record_id = r.supersedes_id
		LEFT JOIN signature s ON s.site_id = r.site_id AND s.signature_id = r.signature_id `+subjectJoins+`
		WHERE r.site_id = @site AND r.supersedes_id IS NOT NULL AND r.reason_code <> 'entry_undone'`, sqlArgs{"site": st.ID}, func(r row) error {
		return v.bound(r.signed, "corrected", r.By, correctionContent(r.ID, r.RecordHash, r.Original, r.OriginalHash))
	})
}

// approvals looks for each approved revision's signature by what it was made for: the hash of the body as it is now.
func (v *Verified) approvals(ctx context.Context, tx pgx.Tx, st Site) error {
	type row struct {
		ID       uuid.UUID  `db:"revision_id"`
		Code     string     `db:"code"`
		Revision string     `db:"revision"`
		Hash     string     `db:"hash"`
		Stored   string     `db:"body_hash"`
		By       *uuid.UUID `db:"approved_by"`
	}
	rows, err := list[row](ctx, tx, `SELECT r.revision_id, f.code, r.revision, encode(sha256(convert_to(r.body::text, 'UTF8')), 'hex') AS hash, coalesce(r.body_hash, '') AS body_hash, r.approved_by
		FROM finish_spec_revision r JOIN finish_spec f ON f.site_id = r.site_id AND f.spec_id = r.spec_id WHERE r.site_id = @site AND r.state <> 'draft'`, sqlArgs{"site": st.ID})
	if err != nil {
		return err
	}
	for _, r := range rows {
		hash, err := ContentHash(approvalContent(r.Code, r.Revision, r.Hash))
		if err != nil {
			return err
		}
		found, err := value[bool](ctx, tx, `SELECT EXISTS (SELECT 1 FROM signature WHERE site_id = @site AND content_hash = @hash AND meaning = 'approved' AND person_id = @by)`,
			sqlArgs{"site": st.ID, "hash": hash, "by": r.By})
		if err != nil {
			return err
		}
		v.Hashes++
		if r.Hash != r.Stored || !found {
			v.fault(0, "Finish spec %s, revision %s (%s) is not what was approved: its body was changed, or its signature is missing.", r.Code, r.Revision, r.ID)
		}
	}
	return nil
}

func (v *Verified) reviews(ctx context.Context, tx pgx.Tx, st Site) error {
	reviews, err := list[DayReview](ctx, tx, selectReview+`ORDER BY r.number`, sqlArgs{"site": st.ID})
	if err != nil {
		return err
	}
	for _, r := range reviews {
		if err := v.bound(r.signed, "reviewed", r.By.String(), reviewContent(r.Number, r.Head, r.Listed, r.Note)); err != nil {
			return err
		}
	}
	return nil
}

// files makes the hash of each picture and certificate again from its bytes, inside the database.
func (v *Verified) files(ctx context.Context, tx pgx.Tx, st Site) error {
	type row struct {
		ID    uuid.UUID `db:"file_id"`
		Whole bool      `db:"whole"`
	}
	return each(ctx, tx, `SELECT f.file_id, coalesce(sha256(c.bytes) = f.sha256, false) AS whole FROM file f
		LEFT JOIN file_content c ON c.site_id = f.site_id AND c.file_id = f.file_id WHERE f.site_id = @site`, sqlArgs{"site": st.ID}, func(r row) error {
		v.Hashes++
		if !r.Whole {
			v.fault(0, "The picture or certificate %s does not have the bytes that were kept.", r.ID)
		}
		return nil
	})
}

func (v *Verified) recalls(ctx context.Context, tx pgx.Tx, st Site) error {
	type row struct {
		signed
		Review uuid.UUID  `db:"review_id"`
		Part   *uuid.UUID `db:"part_id"`
		Code   string     `db:"code"`
		Text   string     `db:"text"`
		By     string     `db:"by"`
	}
	return each(ctx, tx, `SELECT 'The decision on part ' || coalesce(p.serial, '?') || ' in a recall' AS what, d.decision_id AS id, d.review_id, d.part_id, d.code, d.reason AS text,
			d.decided_by::text AS by, `+signatureColumns+`
		FROM recall_decision d LEFT JOIN part p ON p.site_id = d.site_id AND p.part_id = d.part_id LEFT JOIN signature s ON s.site_id = d.site_id AND s.signature_id = d.signature_id
		WHERE d.site_id = @site
		UNION ALL SELECT 'The closing of recall ' || coalesce(r.number, '?'), c.review_id, c.review_id, NULL, '', c.conclusion, c.closed_by::text, `+signatureColumns+`
		FROM recall_closing c LEFT JOIN recall_review r ON r.site_id = c.site_id AND r.review_id = c.review_id LEFT JOIN signature s ON s.site_id = c.site_id AND s.signature_id = c.signature_id
		WHERE c.site_id = @site`, sqlArgs{"site": st.ID}, func(r row) error {
		if r.Part == nil {
			return v.bound(r.signed, "reviewed", r.By, recallClosingContent(r.Review, r.Text))
		}
		return v.bound(r.signed, "disposed", r.By, recallDecisionContent(r.Review, *r.Part, r.Code, r.Text))
	})
}

// returns checks the signatures of parts that were taken back.
func (v *Verified) returns(ctx context.Context, tx pgx.Tx, st Site) error {
	type row struct {
		signed
		Shipment uuid.UUID `db:"shipment_id"`
		Part     uuid.UUID `db:"part_id"`
		Reason   string    `db:"reason"`
		By       string    `db:"by"`
	}
	return each(ctx, tx, `SELECT 'The taking back of part ' || coalesce(p.serial, '?') AS what, b.return_id AS id, b.shipment_id, b.part_id, b.reason, b.taken_by::text AS by, `+signatureColumns+`
		FROM shipment_return b LEFT JOIN part p ON p.site_id = b.site_id AND p.part_id = b.part_id LEFT JOIN signature s ON s.site_id = b.site_id AND s.signature_id = b.signature_id
		WHERE b.site_id = @site`, sqlArgs{"site": st.ID}, func(r row) error {
		return v.bound(r.signed, "performed", r.By, returnContent(r.Shipment, r.Part, r.Reason))
	})
}

// certificates makes the hash of what each certificate states again, and looks for gaps in their numbers.
func (v *Verified) certificates(ctx context.Context, tx pgx.Tx, st Site) error {
	type row struct {
		signed
		Number  string `db:"number"`
		Year    int    `db:"year"`
		Seq     int    `db:"seq"`
		Content string `db:"content"`
		Stated  string `db:"content_hash"`
		By      string `db:"by"`
	}
	year, seq := 0, 0
	return each(ctx, tx, `SELECT 'Certificate ' || c.number AS what, c.certificate_id AS id, c.number, c.year, c.seq, c.content, c.content_hash, c.signed_by::text AS by, `+signatureColumns+`
		FROM certificate c LEFT JOIN signature s ON s.site_id = c.site_id AND s.signature_id = c.signature_id WHERE c.site_id = @site ORDER BY c.year, c.seq`,
		sqlArgs{"site": st.ID}, func(r row) error {
			if r.Year != year {
				year, seq = r.Year, 0
			}
			if seq++; r.Seq != seq {
				v.fault(0, "Before certificate %s a number is missing.", r.Number)
				seq = r.Seq
			}
			if hashOf(r.Content) != r.Stated {
				v.fault(0, "Certificate %s (%s) does not state what was signed.", r.Number, r.ID)
			}
			return v.bound(r.signed, "approved", r.By, certificateContent(r.ID, r.Number, r.Stated))
		})
}

// recordHashes makes each record's content hash again from its lines, some hundred records at a time.
func (v *Verified) recordHashes(ctx context.Context, tx pgx.Tx, st Site) error {
	after := uuid.Nil
	for {
		args := sqlArgs{"site": st.ID, "after": after}
		records, err := list[hashRow](ctx, tx, `SELECT r.record_id, r.kind, r.part_id, r.rack_id, r.load_id, r.instrument_id, r.bath_id, r.oven_id, r.panel_id, r.note,
			r.supersedes_id, r.reason_code, r.reason, r.content_hash, replace(r.kind, '_', ' ') || ' record of ' || `+subjectOf+` AS what
			FROM (SELECT * FROM record WHERE site_id = @site AND record_id > @after ORDER BY record_id LIMIT 500) r`+subjectJoins+`ORDER BY r.record_id`, args)
		if err != nil || len(records) == 0 {
			return err
		}
		ids := make([]uuid.UUID, len(records))
		for i, r := range records {
			ids[i] = r.RecordID
		}
		if err := v.hashBatch(ctx, tx, st, records, ids); err != nil {
			return err
		}
		after = ids[len(ids)-1]
	}
}

// A hashRow is the header of a record, as far as its content hash goes.
type hashRow struct {
	RecordID     uuid.UUID     `db:"record_id"`
	Kind         quality.Kind  `db:"kind"`
	PartID       uuid.NullUUID `db:"part_id"`
	RackID       uuid.NullUUID `db:"rack_id"`
	LoadID       uuid.NullUUID `db:"load_id"`
	InstrumentID uuid.NullUUID `db:"instrument_id"`
	BathID       uuid.NullUUID `db:"bath_id"`
	OvenID       uuid.NullUUID `db:"oven_id"`
	PanelID      uuid.NullUUID `db:"panel_id"`
	Note         string        `db:"note"`
	Of           uuid.NullUUID `db:"supersedes_id"`
	Code         string        `db:"reason_code"`
	Reason       string        `db:"reason"`
	Hash         string        `db:"content_hash"`
	What         string        `db:"what"`
}

func (r hashRow) entry() Entry {
	e := Entry{RecordID: r.RecordID, Kind: r.Kind, Note: r.Note, Subject: target{PartID: r.PartID, RackID: r.RackID, LoadID: r.LoadID, InstrumentID: r.InstrumentID,
		BathID: r.BathID, OvenID: r.OvenID, PanelID: r.PanelID}.subject()}
	if r.Of.Valid {
		e.correction = &Correction{Of: r.Of.UUID, Code: r.Code, Text: r.Reason}
	}
	return e
}

func (v *Verified) hashBatch(ctx context.Context, tx pgx.Tx, st Site, records []hashRow, ids []uuid.UUID) error {
	entries := make(map[uuid.UUID]*Entry, len(records))
	for _, r := range records {
		e := r.entry()
		entries[r.RecordID] = &e
	}
	args := sqlArgs{"site": st.ID, "ids": ids}
	type of struct {
		Record uuid.UUID `db:"record_id"`
	}
	type reading struct {
		of
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
	}
	if err := each(ctx, tx, `SELECT record_id, characteristic, location, spot, rep, value, value_text, unit, source, raw_text, absence FROM reading
		WHERE site_id = @site AND record_id = ANY(@ids) ORDER BY record_id, seq`, args, func(r reading) error {
		e := entries[r.Record]
		line := quality.Reading{Characteristic: r.Characteristic, Location: r.Location, Spot: r.Spot, Rep: r.Rep, Text: r.Text, Unit: quality.Unit(r.Unit), Source: r.Source,
			Raw: r.Raw, Absence: quality.Absence(r.Absence)}
		line.Value = enteredValue(r.Value, line)
		e.Check.Readings = append(e.Check.Readings, line)
		return nil
	}); err != nil {
		return err
	}
	type rating struct {
		of
		Characteristic string `db:"characteristic"`
		Location       string `db:"location"`
		Code           string `db:"code"`
	}
	if err := each(ctx, tx, `SELECT record_id, characteristic, location, code FROM rating WHERE site_id = @site AND record_id = ANY(@ids) ORDER BY record_id, seq`, args, func(r rating) error {
		e := entries[r.Record]
		e.Check.Ratings = append(e.Check.Ratings, quality.Rating{Characteristic: r.Characteristic, Location: r.Location, Code: r.Code})
		return nil
	}); err != nil {
		return err
	}
	type defect struct {
		of
		Code       string   `db:"code"`
		Place      string   `db:"place"`
		SizeMM     *float64 `db:"size_mm"`
		SizeText   string   `db:"size_text"`
		LengthMM   *float64 `db:"length_mm"`
		LengthText string   `db:"length_text"`
		Count      int      `db:"count"`
	}
	if err := each(ctx, tx, `SELECT record_id, code, place, size_mm, size_text, length_mm, length_text, count FROM defect
		WHERE site_id = @site AND record_id = ANY(@ids) ORDER BY record_id, seq`, args, func(d defect) error {
		e := entries[d.Record]
		e.Check.Defects = append(e.Check.Defects, quality.Defect{Code: d.Code, Place: d.Place, SizeMM: d.SizeMM, SizeText: d.SizeText, LengthMM: d.LengthMM, LengthText: d.LengthText, Count: d.Count})
		return nil
	}); err != nil {
		return err
	}
	type use struct {
		of
		Role string        `db:"role"`
		ID   uuid.NullUUID `db:"id"`
	}
	if err := each(ctx, tx, `SELECT record_id, role, coalesce(instrument_id, lot_id, person_id, station_id, bath_id, part_id, panel_id) AS id FROM record_use
		WHERE site_id = @site AND record_id = ANY(@ids) ORDER BY record_id, seq`, args, func(u use) error {
		e := entries[u.Record]
		e.Uses = append(e.Uses, Use{Role: u.Role, ID: u.ID.UUID})
		return nil
	}); err != nil {
		return err
	}
	if err := articlesFor(ctx, tx, st.ID, entries); err != nil {
		return err
	}
	for _, r := range records {
		hash, err := entries[r.RecordID].contentHash()
		if err != nil {
			return err
		}
		v.Hashes++
		if hash != r.Hash {
			v.fault(0, "The %s (record %s) does not have the content that was entered.", r.What, r.RecordID)
		}
	}
	return nil
}

// enteredValue is a reading's number in the unit it was entered in: that of its digits, else converted back.
func enteredValue(canonical *float64, r quality.Reading) float64 {
	if canonical == nil {
		return 0
	}
	back := *canonical
	if c, ok := quality.CharacteristicOf(r.Characteristic); ok {
		if converted, err := quality.Convert(*canonical, c.Canonical(), r.Unit); err == nil {
			back = converted
		}
	}
	typed, err := strconv.ParseFloat(r.Text, 64)
	if err != nil {
		return back
	}
	// Digits that say another number than the one stored are themselves a mismatch, which the hash then shows.
	if difference := typed - back; difference > 1e-9*(1+typed*typed) || difference < -1e-9*(1+typed*typed) {
		return back
	}
	return typed
}
