package store

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
)

// A FirstArticle is a part that was named to stand for the series of its part number, and how far its record and approval are.
type FirstArticle struct {
	ID         uuid.UUID       `db:"article_id"`
	Number     string          `db:"number"`
	NumberID   uuid.UUID       `db:"part_number_id"`
	PartNumber string          `db:"part_number"`
	PartName   string          `db:"part_name"`
	PartID     uuid.UUID       `db:"part_id"`
	Serial     string          `db:"serial"`
	Cycle      int             `db:"cycle"`
	PartStatus string          `db:"part_status"`
	NamedBy    string          `db:"named_by"`
	NamedAt    time.Time       `db:"named_at"`
	RecordID   uuid.NullUUID   `db:"record_id"` // the latest record that counts
	Verdict    quality.Verdict `db:"verdict"`
	Rule       string          `db:"rule"`
	Recorder   uuid.NullUUID   `db:"recorder_id"`
	RecordedBy string          `db:"recorded_by"`
	RecordedAt *time.Time      `db:"recorded_at"`
	SpecID     uuid.NullUUID   `db:"spec_revision_id"` // of the record
	Spec       string          `db:"spec"`
	Whole      bool            `db:"whole"`
	Drawing    int             `db:"drawing_revision"`
	Hash       string          `db:"content_hash"`
	// The latest approval, and why it is void; ApprovedRecord is the record that it was given for.
	ApprovalID     uuid.NullUUID `db:"approval_id"`
	ApprovedRecord uuid.NullUUID `db:"approved_record"`
	ApprovedBy     string        `db:"approved_by"`
	ApprovedAt     *time.Time    `db:"approved_at"`
	Statement      string        `db:"statement"`
	Void           string        `db:"void"`
	// The decline of the latest record, unless it was voided.
	DeclineID     uuid.NullUUID `db:"decline_id"`
	DeclineCode   string        `db:"decline_code"`
	DeclineReason string        `db:"decline_reason"`
	DeclinedBy    string        `db:"declined_by"`
	DeclinedAt    *time.Time    `db:"declined_at"`
}

// The states of a first article.
const (
	ArticleNamed      = "named"
	ArticleIncomplete = "incomplete"
	ArticleFailed     = "failed"
	ArticleRecorded   = "recorded" // waits for its approval
	ArticleApproved   = "approved"
	ArticleVoid       = "void" // was approved, and its evidence changed
	ArticleDeclined   = "declined"
	ArticleDropped    = "dropped"
)

// State returns where the first article stands.
func (f FirstArticle) State() string {
	switch {
	case f.ApprovalID.Valid && f.Void == "":
		return ArticleApproved
	case f.ApprovalID.Valid && (!f.RecordID.Valid || f.RecordID == f.ApprovedRecord):
		return ArticleVoid
	case f.DeclineID.Valid:
		return ArticleDeclined
	case finished[f.PartStatus]:
		return ArticleDropped
	case !f.RecordID.Valid:
		return ArticleNamed
	case f.Verdict == quality.Fail:
		return ArticleFailed
	case f.Verdict == quality.Pass || f.Verdict == quality.GuardBand:
		return ArticleRecorded
	}
	return ArticleIncomplete
}

// articleVoid finds, for an approval ap of an article fa, the first of the records behind it that no longer counts.
const articleVoid = `LEFT JOIN LATERAL (SELECT CASE WHEN s.record_id IS NULL THEN 'the ' || replace(r.kind, '_', ' ') || ' record is to be measured again after a recall'
			WHEN s.verdict = 'void' THEN 'the ' || replace(r.kind, '_', ' ') || ' record was voided by ' || vp.name || ' (' || rtrim(s.reason, '.') || ')'
			ELSE 'the ' || replace(r.kind, '_', ' ') || ' record was corrected by ' || vp.name || ' (' || rtrim(s.reason, '.') || ')' END AS void
		FROM (SELECT ap.record_id AS id UNION SELECT l.evidence_id FROM first_article_line l WHERE l.site_id = ap.site_id AND l.record_id = ap.record_id
			UNION SELECT ap.coating_id UNION SELECT ap.cure_id) x
		CROSS JOIN (SELECT fa.part_id) t
		JOIN record r ON r.site_id = ap.site_id AND r.record_id = x.id
		LEFT JOIN record s ON s.site_id = r.site_id AND s.supersedes_id = r.record_id
		LEFT JOIN person vp ON vp.site_id = s.site_id AND vp.person_id = s.person_id
		WHERE s.record_id IS NOT NULL OR ` + recalledEvidence + `
		ORDER BY s.recorded_at NULLS LAST LIMIT 1) v ON true `

// latestArticleRecord is the record that was entered last for an article fa, unless it was voided: an earlier entry does not
// come back in its place.
const latestArticleRecord = `(SELECT * FROM (SELECT * FROM record c WHERE c.site_id = fa.site_id AND c.part_id = fa.part_id AND c.cycle = fa.cycle AND c.kind = 'first_article' AND c.verdict <> 'void'
		ORDER BY c.recorded_at DESC, c.record_id DESC LIMIT 1) l WHERE NOT EXISTS (SELECT 1 FROM record s WHERE s.site_id = l.site_id AND s.supersedes_id = l.record_id)) r ON true`

const firstArticleSQL = `SELECT fa.article_id, fa.number, fa.part_number_id, pn.code AS part_number, pn.name AS part_name, fa.part_id, pa.serial, fa.cycle, ps.status AS part_status,
		np.name AS named_by, fa.named_at, r.record_id, coalesce(r.verdict, '') AS verdict, coalesce(r.rule, '') AS rule, r.person_id AS recorder_id, coalesce(rp.name, '') AS recorded_by,
		r.recorded_at, r.spec_revision_id, coalesce(fs.code || ' rev ' || sr.revision, '') AS spec, coalesce(sc.whole, true) AS whole, coalesce(sc.drawing_revision, 0) AS drawing_revision,
		coalesce(r.content_hash, '') AS content_hash, ap.approval_id, ap.record_id AS approved_record, coalesce(sg.printed_name, '') AS approved_by, ap.approved_at,
		coalesce(sg.statement, '') AS statement, coalesce(v.void, '') AS void, dc.decline_id, coalesce(dc.reason_code, '') AS decline_code, coalesce(dc.reason, '') AS decline_reason,
		coalesce(ds.printed_name, '') AS declined_by, dc.declined_at
	FROM first_article fa
	JOIN part_number pn ON pn.site_id = fa.site_id AND pn.part_number_id = fa.part_number_id
	JOIN part pa ON pa.site_id = fa.site_id AND pa.part_id = fa.part_id
	JOIN part_status ps ON ps.site_id = fa.site_id AND ps.part_id = fa.part_id
	JOIN person np ON np.site_id = fa.site_id AND np.person_id = fa.named_by
	LEFT JOIN LATERAL ` + latestArticleRecord + `
	LEFT JOIN person rp ON rp.site_id = r.site_id AND rp.person_id = r.person_id
	` + standingDecline + `
	LEFT JOIN first_article_scope sc ON sc.site_id = r.site_id AND sc.record_id = r.record_id
	LEFT JOIN finish_spec_revision sr ON sr.site_id = r.site_id AND sr.revision_id = r.spec_revision_id
	LEFT JOIN finish_spec fs ON fs.site_id = sr.site_id AND fs.spec_id = sr.spec_id
	LEFT JOIN LATERAL (SELECT * FROM first_article_approval p WHERE p.site_id = fa.site_id AND p.article_id = fa.article_id ORDER BY p.approved_at DESC, p.approval_id DESC LIMIT 1) ap ON true
	LEFT JOIN signature sg ON sg.site_id = ap.site_id AND sg.signature_id = ap.signature_id
	` + articleVoid + `WHERE fa.site_id = @site`

// FirstArticles returns the first articles of a site, the latest first, 200 at most.
func (db *DB) FirstArticles(ctx context.Context, site uuid.UUID) ([]FirstArticle, error) {
	return list[FirstArticle](ctx, db.pool, firstArticleSQL+` ORDER BY fa.named_at DESC, fa.number DESC LIMIT 200`, sqlArgs{"site": site})
}

// FirstArticleByNumber returns one first article.
func (db *DB) FirstArticleByNumber(ctx context.Context, site uuid.UUID, number string) (FirstArticle, error) {
	f, err := one[FirstArticle](ctx, db.pool, firstArticleSQL+` AND fa.number = @number`, sqlArgs{"site": site, "number": number})
	if err != nil {
		return f, fmt.Errorf("first article %q: %w", number, err)
	}
	return f, nil
}

// FirstArticleOfPart returns the first article that a part is in its present cycle, or ErrNotFound.
func (db *DB) FirstArticleOfPart(ctx context.Context, site, part uuid.UUID) (FirstArticle, error) {
	return articleOfPart(ctx, db.pool, site, part)
}

func articleOfPart(ctx context.Context, q querier, site, part uuid.UUID) (FirstArticle, error) {
	return one[FirstArticle](ctx, q, firstArticleSQL+` AND fa.part_id = @part AND fa.cycle = ps.cycle`, sqlArgs{"site": site, "part": part})
}

// ArticleLines returns the lines of a first-article record, in order.
func (db *DB) ArticleLines(ctx context.Context, site, record uuid.UUID) ([]quality.ArticleLine, error) {
	return articleLines(ctx, db.pool, site, record)
}

func articleLines(ctx context.Context, q querier, site, record uuid.UUID) ([]quality.ArticleLine, error) {
	return list[quality.ArticleLine](ctx, q, `SELECT number, code, requirement, result, device, verdict, coalesce(evidence_id::text, '') AS evidence FROM first_article_line
		WHERE site_id = @site AND record_id = @record ORDER BY seq`, sqlArgs{"site": site, "record": record})
}

// MostOpenArticles is how many parts of a part number may be named at once: naming lets a part pass where the series waits.
const MostOpenArticles = 5

// NameFirstArticle names a part as first article of its part number in its present cycle and returns it. Naming it again
// is the same first article.
func (db *DB) NameFirstArticle(ctx context.Context, a Actor, part uuid.UUID) (FirstArticle, error) {
	if !a.Has(Inspector, Supervisor, Engineer) {
		return FirstArticle{}, refuse(RuleNoRight, "An inspector, a supervisor or an engineer names a first article.")
	}
	var named FirstArticle
	err := db.inTx(ctx, a.Site, func(tx querier) error {
		// All namings of a part number wait for each other, so that their count holds; the part waits for its other acts.
		if _, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock(hashtextextended('first article ' || part_number_id::text, 0)) FROM part WHERE site_id = @site AND part_id = @part`,
			sqlArgs{"site": a.Site, "part": part}); err != nil {
			return err
		}
		if err := lockParts(ctx, tx, a.Site, []uuid.UUID{part}); err != nil {
			return err
		}
		var err error
		if named, err = articleOfPart(ctx, tx, a.Site, part); err == nil || !errors.Is(err, ErrNotFound) {
			return err
		}
		if err := db.mayName(ctx, tx, a, part); err != nil {
			return err
		}
		n, err := nextNumber(ctx, tx, a.Site, "first_article")
		if err != nil {
			return err
		}
		id, number := NewID(), fmt.Sprintf("FA-%04d", n)
		if err := run(ctx, tx, `INSERT INTO first_article (site_id, article_id, number, part_number_id, part_id, cycle, named_by, named_at)
			SELECT p.site_id, @id, @number, p.part_number_id, p.part_id, ps.cycle, @by, @at FROM part p JOIN part_status ps ON ps.site_id = p.site_id AND ps.part_id = p.part_id
			WHERE p.site_id = @site AND p.part_id = @part`, sqlArgs{"site": a.Site, "id": id, "number": number, "part": part, "by": a.Person, "at": db.Clock()}); err != nil {
			return err
		}
		if named, err = articleOfPart(ctx, tx, a.Site, part); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "named as first article", SubjectKind: "part", Subject: part, After: map[string]any{"article": id, "number": number, "cycle": named.Cycle}})
	})
	return named, err
}

// mayName refuses to name a part that no work is done on any more, or one more than MostOpenArticles.
func (db *DB) mayName(ctx context.Context, tx querier, a Actor, part uuid.UUID) error {
	type row struct {
		Serial string `db:"serial"`
		Status string `db:"status"`
		Code   string `db:"code"`
		Open   int    `db:"open"`
	}
	r, err := one[row](ctx, tx, `SELECT p.serial, ps.status, pn.code, (SELECT count(*) FROM first_article fa JOIN part_status os ON os.site_id = fa.site_id AND os.part_id = fa.part_id AND os.cycle = fa.cycle
			WHERE fa.site_id = p.site_id AND fa.part_number_id = p.part_number_id AND os.status NOT IN ('released', 'shipped', 'scrapped', 'returned', 'regraded')
			AND NOT EXISTS (SELECT 1 FROM first_article_approval ap WHERE ap.site_id = fa.site_id AND ap.article_id = fa.article_id))::int AS open
		FROM part p JOIN part_status ps ON ps.site_id = p.site_id AND ps.part_id = p.part_id JOIN part_number pn ON pn.site_id = p.site_id AND pn.part_number_id = p.part_number_id
		WHERE p.site_id = @site AND p.part_id = @part`, sqlArgs{"site": a.Site, "part": part})
	switch {
	case err != nil:
		return fmt.Errorf("part %s: %w", part, err)
	case finished[r.Status]:
		return refuse(RuleFinished, fmt.Sprintf("Part %s is %s. Name a part that is still in work.", r.Serial, r.Status))
	case r.Open >= MostOpenArticles:
		return refuse(RuleChanged, fmt.Sprintf("%d parts of %s are named as first article and not approved yet, which is the most. Record those first.", r.Open, r.Code))
	}
	return nil
}
