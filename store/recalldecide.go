package store

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// RecallCodes are the decisions on a recalled part, in the order of the screens.
var RecallCodes = []string{"no_effect", "re_measure", "hold", "notify_customer"}

// A RecallDecision is what is decided of recalled parts.
//
//   - no_effect: the device's error cannot have hidden anything; the part's hold of the recall ends.
//   - re_measure: what was measured with the device no longer counts and is due again with another one; the hold ends, a
//     release is void.
//   - hold: the part is kept back, or fetched back and its release void, until its hold is decided.
//   - notify_customer: the part is out of the house, and the customer is told.
type RecallDecision struct {
	Parts  []uuid.UUID
	Code   string
	Reason string
}

// DecideRecall writes a signed decision for each part, wholly or not at all. A part is decided once.
func (db *DB) DecideRecall(ctx context.Context, a Actor, review uuid.UUID, d RecallDecision, proof Proof) error {
	d.Reason = strings.TrimSpace(d.Reason)
	switch {
	case !slices.Contains(RecallCodes, d.Code):
		return refuse("recall_decision_code_known", constraintSentences["recall_decision_code_known"])
	case !a.Has(Supervisor, Engineer):
		return refuse(RuleNoRight, "A supervisor or an engineer decides on recalled parts.")
	case len(d.Parts) == 0:
		return refuse(RuleInvalid, "Choose at least one part.")
	case len([]rune(d.Reason)) < 5:
		return refuse("recall_decision_reason_given", constraintSentences["recall_decision_reason_given"])
	}
	return db.inTx(ctx, a.Site, func(tx querier) error { return db.decideRecall(ctx, tx, a, review, d, proof) })
}

func (db *DB) decideRecall(ctx context.Context, tx querier, a Actor, review uuid.UUID, d RecallDecision, proof Proof) error {
	st, err := site(ctx, tx, a.Site)
	if err != nil {
		return err
	}
	r, err := one[Recall](ctx, tx, recallSQL+` AND v.review_id = @review`, sqlArgs{"site": a.Site, "review": review})
	if err != nil {
		return err
	}
	// What no longer counts of a sample may reject its lot, so the whole lot is locked.
	lots, err := lotsOf(ctx, tx, a.Site, "", d.Parts)
	if err != nil {
		return err
	}
	if err := lockWithLots(ctx, tx, a.Site, d.Parts, lots); err != nil {
		return err
	}
	lines, err := list[RecallLine](ctx, tx, recallLineSQL+` AND l.part_id = ANY(@parts) ORDER BY p.serial`, sqlArgs{"site": a.Site, "review": review, "parts": d.Parts})
	if err != nil {
		return err
	}
	if len(lines) != len(d.Parts) {
		return fmt.Errorf("a part of %s: %w", r.Number, ErrNotFound)
	}
	all, err := db.standings(ctx, tx, a.Site, d.Parts)
	if err != nil {
		return err
	}
	byPart := map[uuid.UUID]*standing{}
	for _, s := range all {
		byPart[s.PartID] = s
	}
	b := &pgx.Batch{}
	var toHold []*standing
	for _, l := range lines {
		if err := l.may(d.Code); err != nil {
			return err
		}
		s := byPart[l.PartID]
		if err := db.queueRecallDecision(b, a, r, l, d, proof); err != nil {
			return err
		}
		if s.Released && (d.Code == "hold" || d.Code == "re_measure") {
			if err := db.queueReleaseVoid(b, a, r, s, d.Reason); err != nil {
				return err
			}
		}
		switch held := l.HoldOpen; {
		case held && (d.Code == "no_effect" || d.Code == "re_measure"):
			if err := db.queueLift(b, a, st, r, s, d.Reason, proof); err != nil {
				return err
			}
		case !held && d.Code == "hold":
			toHold = append(toHold, s)
		}
	}
	if err := send(ctx, tx, b); err != nil {
		return fmt.Errorf("deciding on %s: %w", r.Number, err)
	}
	if len(toHold) > 0 {
		// A finished part is taken as what it is now: back in the house.
		for _, s := range toHold {
			s.Status, s.Released = StatusInProgress, false
		}
		if _, err := db.openHold(ctx, tx, a, st, r.Cause, fmt.Sprintf("Recall %s: %s", r.Number, d.Reason), r.RecordID.UUID, toHold); err != nil {
			return err
		}
	}
	if _, err = db.refresh(ctx, tx, a.Site, d.Parts); err != nil || len(lots) == 0 {
		return err
	}
	record, err := value[uuid.UUID](ctx, tx, `SELECT coalesce(@record::uuid, (SELECT record_id FROM recall_record WHERE site_id = @site AND review_id = @review LIMIT 1))`,
		sqlArgs{"site": a.Site, "record": r.RecordID, "review": r.ID})
	if err != nil {
		return err
	}
	_, err = db.settleLots(ctx, tx, a, st, lots, change{record, fmt.Sprintf("Recall %s: %s", r.Number, d.Reason)})
	return err
}

// may refuses a decision that does not fit where the part is.
func (l RecallLine) may(code string) error {
	gone := dispositionEnded(l.Now)
	switch {
	case l.Code != "":
		return refuse("recall_decision_once", fmt.Sprintf("Part %s was decided by %s already. Reload the page.", l.Serial, l.DecidedBy))
	case code == "notify_customer" && l.Now != StatusReleased && l.Now != StatusShipped && l.Now != StatusReturned:
		return refuse(RuleInvalid, fmt.Sprintf("Part %s is still in house. Choose no effect, measure again or hold.", l.Serial))
	case l.Now == StatusShipped && (code == "hold" || code == "re_measure"):
		return refuse(RuleInvalid, fmt.Sprintf("Part %s is shipped. Choose no effect or notify the customer; a part that comes back is taken in on the page of its shipment, and is held there.", l.Serial))
	case gone && (code == "hold" || code == "re_measure"):
		return refuse(RuleInvalid, fmt.Sprintf("Part %s is %s and cannot be held or measured again.", l.Serial, l.Now))
	}
	return nil
}

// dispositionEnded reports whether a decision ended the part's way in the shop.
func dispositionEnded(status string) bool {
	return status == StatusScrapped || status == StatusReturned || status == StatusRegraded
}

func recallDecisionContent(review, part uuid.UUID, code, reason string) any {
	return map[string]any{"review": review, "part": part, "code": code, "reason": reason}
}

func recallClosingContent(review uuid.UUID, conclusion string) any {
	return map[string]any{"review": review, "conclusion": conclusion}
}

func (db *DB) queueRecallDecision(b *pgx.Batch, a Actor, r Recall, l RecallLine, d RecallDecision, proof Proof) error {
	signature, err := db.sign(b, a, proof, "disposed", fmt.Sprintf("Decided %s for part %s in recall %s: %s", strings.ReplaceAll(d.Code, "_", " "), l.Serial, r.Number, d.Reason),
		recallDecisionContent(r.ID, l.PartID, d.Code, d.Reason))
	if err != nil {
		return err
	}
	b.Queue(`INSERT INTO recall_decision (site_id, decision_id, review_id, part_id, code, reason, signature_id, decided_by, decided_at)
		VALUES (@site, @id, @review, @part, @code, @reason, @signature, @by, @at)`, sqlArgs{"site": a.Site, "id": NewID(), "review": r.ID, "part": l.PartID,
		"code": d.Code, "reason": d.Reason, "signature": signature, "by": a.Person, "at": db.Clock()})
	return db.queueEvent(b, a, Event{Verb: "recall decided", SubjectKind: "part", Subject: l.PartID, Record: r.RecordID.UUID, Before: map[string]string{"status": l.Now},
		After: map[string]string{"recall": r.Number, "code": d.Code}, Reason: d.Reason})
}

// queueReleaseVoid takes back the release of a part that rested on a device that was wrong.
func (db *DB) queueReleaseVoid(b *pgx.Batch, a Actor, r Recall, s *standing, reason string) error {
	b.Queue(`INSERT INTO release_void (site_id, release_id, record_id, voided_at)
		SELECT rl.site_id, rl.release_id, coalesce(@record::uuid, (SELECT rr.record_id FROM recall_record rr WHERE rr.site_id = @site AND rr.review_id = @review LIMIT 1)), @at
		FROM release rl WHERE rl.site_id = @site AND rl.part_id = @part
		AND NOT EXISTS (SELECT 1 FROM release_void v WHERE v.site_id = rl.site_id AND v.release_id = rl.release_id)`,
		sqlArgs{"site": a.Site, "record": r.RecordID, "review": r.ID, "at": db.Clock(), "part": s.PartID})
	return db.queueEvent(b, a, Event{Verb: "release void", SubjectKind: "part", Subject: s.PartID, Record: r.RecordID.UUID,
		Before: map[string]string{"status": s.Status}, Reason: fmt.Sprintf("Recall %s: %s", r.Number, reason)})
}

// queueLift ends the recall's hold on one part by a signed disposition: nothing is wrong with the part, or it is measured
// again.
func (db *DB) queueLift(b *pgx.Batch, a Actor, st Site, r Recall, s *standing, reason string, proof Proof) error {
	hold := r.HoldID.UUID
	b.Queue(`UPDATE hold_part SET open = false WHERE site_id = @site AND hold_id = @hold AND part_id = @part AND open`,
		sqlArgs{"site": a.Site, "hold": hold, "part": s.PartID})
	text := fmt.Sprintf("Recall %s: %s", r.Number, reason)
	signature, err := db.sign(b, a, proof, "disposed", fmt.Sprintf("Decided no_defect for part %s: %s", s.Serial, text), dispositionContent(hold, s.PartID, "no_defect", text, "", time.Time{}))
	if err != nil {
		return err
	}
	day, _ := st.ShopDay(db.Clock())
	b.Queue(`INSERT INTO disposition (site_id, disposition_id, hold_id, part_id, code, reason, concession_ref, concession_ends, signature_id, decided_by, decided_at, shop_day)
		VALUES (@site, @id, @hold, @part, 'no_defect', @reason, '', NULL, @signature, @by, @at, @day)`, sqlArgs{"site": a.Site, "id": NewID(), "hold": hold,
		"part": s.PartID, "reason": text, "signature": signature, "by": a.Person, "at": db.Clock(), "day": day})
	return nil
}

// CloseRecall closes a review by signature, once every part in it is decided.
func (db *DB) CloseRecall(ctx context.Context, a Actor, review uuid.UUID, conclusion string, proof Proof) error {
	conclusion = strings.TrimSpace(conclusion)
	switch {
	case !a.Has(Supervisor, Engineer):
		return refuse(RuleNoRight, "A supervisor or an engineer closes a recall.")
	case len([]rune(conclusion)) < 5:
		return refuse("recall_closing_conclusion_given", constraintSentences["recall_closing_conclusion_given"])
	}
	return db.inTx(ctx, a.Site, func(tx querier) error {
		r, err := one[Recall](ctx, tx, recallSQL+` AND v.review_id = @review`, sqlArgs{"site": a.Site, "review": review})
		if err != nil {
			return err
		}
		switch {
		case r.ClosedAt != nil:
			return refuse(RuleChanged, fmt.Sprintf("%s was closed by %s already.", r.Number, r.ClosedBy))
		case r.Undecided > 0:
			return refuse(RuleUndecided, fmt.Sprintf("%d of %d parts in %s have no decision yet. Decide on each of them first.", r.Undecided, r.Parts, r.Number))
		}
		b := &pgx.Batch{}
		signature, err := db.sign(b, a, proof, "reviewed", fmt.Sprintf("Closed recall %s, %d records on %d parts: %s", r.Number, r.Records, r.Parts, conclusion),
			recallClosingContent(r.ID, conclusion))
		if err != nil {
			return err
		}
		b.Queue(`INSERT INTO recall_closing (site_id, review_id, conclusion, signature_id, closed_by, closed_at) VALUES (@site, @review, @conclusion, @signature, @by, @at)`,
			sqlArgs{"site": a.Site, "review": review, "conclusion": conclusion, "signature": signature, "by": a.Person, "at": db.Clock()})
		if err := db.queueEvent(b, a, Event{Verb: "recall closed", SubjectKind: "recall", Subject: review, Record: r.RecordID.UUID, After: map[string]string{"number": r.Number}, Reason: conclusion}); err != nil {
			return err
		}
		return send(ctx, tx, b)
	})
}
