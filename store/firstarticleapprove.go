package store

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"coatbook/quality"
)

// ApproveFirstArticle approves the record of a first article that the approver has seen: every line answered and none failed,
// by a supervisor or an engineer who did not record it. Series work on the part number may go on then.
func (db *DB) ApproveFirstArticle(ctx context.Context, a Actor, number string, seen uuid.UUID, proof Proof) error {
	if !a.Has(Supervisor, Engineer) {
		return refuse(RuleNoRight, "A supervisor or an engineer approves a first article.")
	}
	return db.decideArticle(ctx, a, number, func(tx querier, f FirstArticle) error {
		if err := f.MayDecide(a, seen); err != nil {
			return err
		}
		if f.PartStatus == StatusOnHold {
			return refuse(RuleOnHold, fmt.Sprintf("Part %s is on hold. A supervisor decides first, on the Holds page.", f.Serial))
		}
		basis, err := db.approvable(ctx, tx, a, f)
		if err != nil {
			return err
		}
		return db.approveArticle(ctx, tx, a, f, basis, proof)
	})
}

// decideArticle reads a first article for a decision on it. Two decisions, or a decision and a record, wait for each other at
// the part.
func (db *DB) decideArticle(ctx context.Context, a Actor, number string, do func(querier, FirstArticle) error) error {
	f, err := db.FirstArticleByNumber(ctx, a.Site, number)
	if err != nil {
		return err
	}
	return asRefusal(db.inTx(ctx, a.Site, func(tx querier) error {
		if err := lockParts(ctx, tx, a.Site, []uuid.UUID{f.PartID}); err != nil {
			return err
		}
		f, err := one[FirstArticle](ctx, tx, firstArticleSQL+` AND fa.article_id = @article`, sqlArgs{"site": a.Site, "article": f.ID})
		if err != nil {
			return err
		}
		return do(tx, f)
	}))
}

// MayDecide returns nil when the actor may approve or decline the record that they have seen, else the refusal.
func (f FirstArticle) MayDecide(a Actor, seen uuid.UUID) error {
	switch state := f.State(); {
	case state == ArticleApproved:
		return refuse(RuleChanged, fmt.Sprintf("First article %s was approved by %s meanwhile.", f.Number, f.ApprovedBy))
	case state == ArticleDeclined:
		return refuse(RuleChanged, fmt.Sprintf("First article %s was declined by %s: %s. Record it anew, or another part as first article.", f.Number, f.DeclinedBy, strings.TrimRight(f.DeclineReason, ".")))
	case state == ArticleIncomplete:
		return refuse(RuleFirstArticle, fmt.Sprintf("A line of %s is not answered. Record it anew with every line answered.", f.Number))
	case state == ArticleFailed:
		return refuse(RuleFirstArticle, fmt.Sprintf("A requirement of %s failed. A first article is approved when every line passes; name and record another part.", f.Number))
	case state != ArticleRecorded:
		return refuse(RuleFirstArticle, fmt.Sprintf("There is no record of %s to decide on. Record it on part %s first.", f.Number, f.Serial))
	case f.RecordID.UUID != seen:
		return refuse(RuleChanged, fmt.Sprintf("%s has recorded %s anew meanwhile. Look at that record first; nothing was signed.", f.RecordedBy, f.Number))
	case f.Recorder.UUID == a.Person:
		return refuse(RuleSameInspector, "You recorded this first article. A second person approves or declines it.")
	}
	return nil
}

// approvable makes sure that what the record rests on still counts, and returns what the part was made with.
func (db *DB) approvable(ctx context.Context, tx querier, a Actor, f FirstArticle) (rackBasis, error) {
	stale, err := value[string](ctx, tx, `SELECT coalesce((SELECT l.number FROM first_article_line l JOIN record r ON r.site_id = l.site_id AND r.record_id = l.evidence_id
			CROSS JOIN (SELECT @part::uuid AS part_id) t
			WHERE l.site_id = @site AND l.record_id = @record AND (r.verdict = 'void' OR EXISTS (SELECT 1 FROM record s WHERE s.site_id = r.site_id AND s.supersedes_id = r.record_id) OR `+recalledEvidence+`)
			ORDER BY l.seq LIMIT 1), '')`, sqlArgs{"site": a.Site, "record": f.RecordID.UUID, "part": f.PartID})
	if err != nil {
		return rackBasis{}, fmt.Errorf("evidence of %s: %w", f.Number, err)
	}
	if stale != "" {
		return rackBasis{}, refuse(RuleFirstArticle, fmt.Sprintf("No. %s of %s rests on a record that was corrected. Record the first article anew.", stale, f.Number))
	}
	all, err := db.standings(ctx, tx, a.Site, []uuid.UUID{f.PartID})
	if err != nil {
		return rackBasis{}, err
	}
	if len(all) == 0 || all[0].Cycle != f.Cycle {
		return rackBasis{}, refuse(RuleChanged, fmt.Sprintf("Part %s is in another cycle by now, so %s says nothing of it. Name it anew.", f.Serial, f.Number))
	}
	rev, spec, err := db.approvedSpec(ctx, tx, a.Site, all[0].SpecID, db.Clock())
	if err != nil {
		return rackBasis{}, err
	}
	drawing, err := drawingListOf(ctx, tx, a.Site, f.NumberID)
	if err != nil {
		return rackBasis{}, err
	}
	if !f.SpecID.Valid || rev.ID != f.SpecID.UUID || drawing.Revision != f.Drawing {
		return rackBasis{}, refuse(RuleFirstArticle, fmt.Sprintf("Spec or drawing changed after %s was recorded. Record the first article anew.", f.Number))
	}
	b, err := basisOfRack(ctx, tx, a.Site, all[0].RackID)
	if err == nil && (spec.Coating != nil && b.Coating == nil || spec.Cure != nil && b.Cure == nil) {
		return b, refuse(RuleFirstArticle, fmt.Sprintf("Part %s has no coating or cure run that counts, so it is not known what %s stands for.", f.Serial, f.Number))
	}
	return b, err
}

// articleContent is what the approval of a first article signs.
func articleContent(article, record uuid.UUID, hash string, spec uuid.UUID, b rackBasis) any {
	return map[string]any{"article": article, "record": record, "content_hash": hash, "spec_revision": spec, "powder": b.PowderID, "booth": b.BoothID, "oven": b.OvenID,
		"coating": b.Coating, "cure": b.Cure}
}

// ArticleStatement is the sentence under the approval of a first article.
func ArticleStatement(f FirstArticle) string {
	kind := "partial"
	if f.Whole {
		kind = "full"
	}
	return fmt.Sprintf("Approved the %s first article %s on part %s for series work on %s: every numbered requirement is answered and met.", kind, f.Number, f.Serial, f.PartNumber)
}

func (db *DB) approveArticle(ctx context.Context, tx querier, a Actor, f FirstArticle, b rackBasis, proof Proof) error {
	batch := &pgx.Batch{}
	signature, err := db.sign(batch, a, proof, "approved", ArticleStatement(f), articleContent(f.ID, f.RecordID.UUID, f.Hash, f.SpecID.UUID, b))
	if err != nil {
		return err
	}
	id := NewID()
	batch.Queue(`INSERT INTO first_article_approval (site_id, approval_id, article_id, record_id, spec_revision_id, drawing_revision, powder_id, booth_id, oven_id, coating_id, cure_id,
			signature_id, approved_by, approved_at)
		VALUES (@site, @id, @article, @record, @spec, @drawing, @powder, @booth, @oven, @coating, @cure, @signature, @by, @at)`, sqlArgs{"site": a.Site, "id": id, "article": f.ID,
		"record": f.RecordID.UUID, "spec": f.SpecID.UUID, "drawing": f.Drawing, "powder": b.PowderID, "booth": b.BoothID, "oven": b.OvenID, "coating": b.Coating, "cure": b.Cure,
		"signature": signature, "by": a.Person, "at": db.Clock()})
	if err := db.queueEvent(batch, a, Event{Verb: "first article approved", SubjectKind: "part", Subject: f.PartID, Record: f.RecordID.UUID,
		After: map[string]any{"approval": id, "article": f.ID, "number": f.Number, "whole": f.Whole}}); err != nil {
		return err
	}
	if err := send(ctx, tx, batch); err != nil {
		return fmt.Errorf("approving %s: %w", f.Number, err)
	}
	return nil
}

// articleApprovals makes what the approvals of first articles signed again.
func (v *Verified) articleApprovals(ctx context.Context, tx pgx.Tx, st Site) error {
	type row struct {
		signed
		Article uuid.UUID `db:"article_id"`
		Record  uuid.UUID `db:"record_id"`
		Content string    `db:"record_hash"`
		Spec    uuid.UUID `db:"spec_revision_id"`
		rackBasis
		By string `db:"by"`
	}
	return each(ctx, tx, `SELECT 'The approval of first article ' || fa.number AS what, ap.approval_id AS id, ap.article_id, ap.record_id, coalesce(r.content_hash, '') AS record_hash, ap.spec_revision_id,
			ap.coating_id, ap.powder_id, '' AS powder, ap.booth_id, '' AS booth, ap.oven_id, '' AS oven, ap.cure_id, ap.approved_by::text AS by, `+signatureColumns+`
		FROM first_article_approval ap JOIN first_article fa ON fa.site_id = ap.site_id AND fa.article_id = ap.article_id
		LEFT JOIN record r ON r.site_id = ap.site_id AND r.record_id = ap.record_id
		LEFT JOIN signature s ON s.site_id = ap.site_id AND s.signature_id = ap.signature_id WHERE ap.site_id = @site`, sqlArgs{"site": st.ID}, func(r row) error {
		return v.bound(r.signed, "approved", r.By, articleContent(r.Article, r.Record, r.Content, r.Spec, r.rackBasis))
	})
}

// articlesFor reads the lines of first-article records into the entries whose content is made again.
func articlesFor(ctx context.Context, tx querier, site uuid.UUID, entries map[uuid.UUID]*Entry) error {
	for id, e := range entries {
		if e.Kind != quality.FirstArticle {
			continue
		}
		type scope struct {
			Whole   bool `db:"whole"`
			Drawing int  `db:"drawing_revision"`
		}
		s, err := one[scope](ctx, tx, `SELECT whole, drawing_revision FROM first_article_scope WHERE site_id = @site AND record_id = @record`, sqlArgs{"site": site, "record": id})
		if errors.Is(err, ErrNotFound) {
			continue // a void holds no lines
		}
		if err != nil {
			return err
		}
		c := &quality.ArticleCheck{Full: s.Whole, Drawing: s.Drawing}
		if c.Lines, err = articleLines(ctx, tx, site, id); err != nil {
			return err
		}
		e.Check.Article = c
	}
	return nil
}
