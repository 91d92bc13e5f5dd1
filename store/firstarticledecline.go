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

// DeclineCodes are the reasons for which a first article is declined, in the order of the screens.
var DeclineCodes = []string{"result", "evidence", "device", "requirement", "not_like_series", "other"}

// An ArticleDecline is a record of a first article that was declined in place of being approved. VoidedAt is nil while it stands.
type ArticleDecline struct {
	ID        uuid.UUID  `db:"decline_id"`
	RecordID  uuid.UUID  `db:"record_id"`
	Code      string     `db:"reason_code"`
	Reason    string     `db:"reason"`
	By        string     `db:"declined_by"`
	At        time.Time  `db:"declined_at"`
	Statement string     `db:"statement"`
	VoidedBy  string     `db:"voided_by"`
	VoidedAt  *time.Time `db:"voided_at"`
	VoidedFor string     `db:"voided_for"`
}

// standingDecline is the decline dc of the latest record r of an article, unless it was voided.
const standingDecline = `LEFT JOIN LATERAL (SELECT d.* FROM first_article_decline d WHERE d.site_id = r.site_id AND d.record_id = r.record_id
		AND NOT EXISTS (SELECT 1 FROM first_article_decline_void dv WHERE dv.site_id = d.site_id AND dv.decline_id = d.decline_id)
		ORDER BY d.declined_at DESC, d.decline_id DESC LIMIT 1) dc ON true
	LEFT JOIN signature ds ON ds.site_id = dc.site_id AND ds.signature_id = dc.signature_id `

// ArticleDeclines returns every decline of a first article, voided ones too, the latest first.
func (db *DB) ArticleDeclines(ctx context.Context, site, article uuid.UUID) ([]ArticleDecline, error) {
	return list[ArticleDecline](ctx, db.pool, `SELECT d.decline_id, d.record_id, d.reason_code, d.reason, sg.printed_name AS declined_by, d.declined_at, sg.statement,
			coalesce(vs.printed_name, '') AS voided_by, v.voided_at, coalesce(v.reason, '') AS voided_for
		FROM first_article_decline d JOIN signature sg ON sg.site_id = d.site_id AND sg.signature_id = d.signature_id
		LEFT JOIN first_article_decline_void v ON v.site_id = d.site_id AND v.decline_id = d.decline_id
		LEFT JOIN signature vs ON vs.site_id = v.site_id AND vs.signature_id = v.signature_id
		WHERE d.site_id = @site AND d.article_id = @article ORDER BY d.declined_at DESC, d.decline_id DESC`, sqlArgs{"site": site, "article": article})
}

// DeclineStatement is the sentence under the decline of a first article.
func DeclineStatement(f FirstArticle) string {
	return fmt.Sprintf("Declined first article %s on part %s: series work on %s may not rest on this record of it.", f.Number, f.Serial, f.PartNumber)
}

// DeclineFirstArticle declines the record of a first article that the decider has seen, by whoever might have approved it. The
// series goes on waiting until another record, of this part or another, is approved.
func (db *DB) DeclineFirstArticle(ctx context.Context, a Actor, number string, seen uuid.UUID, code, reason string, proof Proof) error {
	reason = strings.TrimSpace(reason)
	switch {
	case !a.Has(Supervisor, Engineer):
		return refuse(RuleNoRight, "A supervisor or an engineer declines a first article.")
	case !slices.Contains(DeclineCodes, code):
		return refuse("first_article_decline_code_known", constraintSentences["first_article_decline_code_known"])
	case len([]rune(reason)) < 5 || len([]rune(reason)) > 500:
		return refuse("first_article_decline_reason_given", constraintSentences["first_article_decline_reason_given"])
	}
	return db.decideArticle(ctx, a, number, func(tx querier, f FirstArticle) error {
		if err := f.MayDecide(a, seen); err != nil {
			return err
		}
		batch := &pgx.Batch{}
		signature, err := db.sign(batch, a, proof, "reviewed", DeclineStatement(f), declineContent(f.ID, f.RecordID.UUID, f.Hash, code, reason))
		if err != nil {
			return err
		}
		id := NewID()
		batch.Queue(`INSERT INTO first_article_decline (site_id, decline_id, article_id, record_id, reason_code, reason, signature_id, declined_by, declined_at)
			VALUES (@site, @id, @article, @record, @code, @reason, @signature, @by, @at)`, sqlArgs{"site": a.Site, "id": id, "article": f.ID, "record": f.RecordID.UUID,
			"code": code, "reason": reason, "signature": signature, "by": a.Person, "at": db.Clock()})
		if err := db.queueEvent(batch, a, Event{Verb: "first article declined", SubjectKind: "part", Subject: f.PartID, Record: f.RecordID.UUID,
			After: map[string]any{"decline": id, "article": f.ID, "number": f.Number, "code": code}, Reason: reason}); err != nil {
			return err
		}
		return send(ctx, tx, batch)
	})
}

// MayVoidDecline returns nil when the actor may void a decline of the article, else the refusal.
func (f FirstArticle) MayVoidDecline(a Actor, decline uuid.UUID) error {
	switch {
	case f.State() != ArticleDeclined || f.DeclineID.UUID != decline:
		return refuse(RuleChanged, fmt.Sprintf("No such decline of %s stands any more: it was voided, or the first article was recorded anew. Look at its page.", f.Number))
	case f.Recorder.UUID == a.Person:
		return refuse(RuleSameInspector, "You recorded this first article. A second person voids its decline.")
	}
	return nil
}

// VoidDecline voids the decline of a first article that was made by mistake, with a reason: its record waits for approval
// again. Who recorded it may not, as they may not approve it.
func (db *DB) VoidDecline(ctx context.Context, a Actor, number string, decline uuid.UUID, reason string, proof Proof) error {
	reason = strings.TrimSpace(reason)
	switch {
	case !a.Has(Supervisor, Engineer):
		return refuse(RuleNoRight, "A supervisor or an engineer voids the decline of a first article.")
	case len([]rune(reason)) < 5 || len([]rune(reason)) > 500:
		return refuse("first_article_decline_void_reason_given", constraintSentences["first_article_decline_void_reason_given"])
	}
	return db.decideArticle(ctx, a, number, func(tx querier, f FirstArticle) error {
		if err := f.MayVoidDecline(a, decline); err != nil {
			return err
		}
		batch := &pgx.Batch{}
		signature, err := db.sign(batch, a, proof, "reviewed", DeclineVoidStatement(f), declineVoidContent(decline, reason))
		if err != nil {
			return err
		}
		batch.Queue(`INSERT INTO first_article_decline_void (site_id, decline_id, reason, signature_id, voided_by, voided_at) VALUES (@site, @decline, @reason, @signature, @by, @at)`,
			sqlArgs{"site": a.Site, "decline": decline, "reason": reason, "signature": signature, "by": a.Person, "at": db.Clock()})
		if err := db.queueEvent(batch, a, Event{Verb: "decline of first article voided", SubjectKind: "part", Subject: f.PartID, Record: f.RecordID.UUID,
			After: map[string]any{"decline": decline, "article": f.ID, "number": f.Number}, Reason: reason}); err != nil {
			return err
		}
		return send(ctx, tx, batch)
	})
}

// DeclineVoidStatement is the sentence under the void of a decline.
func DeclineVoidStatement(f FirstArticle) string {
	return fmt.Sprintf("Voided the decline of first article %s on part %s: its record waits for approval again.", f.Number, f.Serial)
}

// DeclinedWords say that the first article was declined, by whom and why.
func (f FirstArticle) DeclinedWords() string {
	return fmt.Sprintf("First article %s on part %s was declined by %s: %s.", f.Number, f.Serial, f.DeclinedBy, strings.TrimRight(f.DeclineReason, "."))
}

const anotherArticle = "Name and record another part, and have it approved."

func (f FirstArticle) declinedWay() string {
	if finished[f.PartStatus] {
		return anotherArticle
	}
	return "Put right what was wrong and record it anew on this part, or name and record another part; then have it approved."
}

// declineContent is what the decline of a first article signs, and declineVoidContent what its void does.
func declineContent(article, record uuid.UUID, hash, code, reason string) any {
	return map[string]any{"article": article, "record": record, "content_hash": hash, "code": code, "reason": reason}
}

func declineVoidContent(decline uuid.UUID, reason string) any {
	return map[string]any{"decline": decline, "reason": reason}
}

// articleDeclines makes what the declines of first articles and their voids signed again.
func (v *Verified) articleDeclines(ctx context.Context, tx pgx.Tx, st Site) error {
	type row struct {
		signed
		Article uuid.UUID `db:"article_id"`
		Record  uuid.UUID `db:"record_id"`
		Content string    `db:"record_hash"`
		Code    string    `db:"reason_code"`
		Reason  string    `db:"reason"`
		Voids   bool      `db:"voids"`
		By      string    `db:"by"`
	}
	return each(ctx, tx, `SELECT 'The decline of first article ' || fa.number AS what, d.decline_id AS id, d.article_id, d.record_id, coalesce(r.content_hash, '') AS record_hash, d.reason_code, d.reason,
			false AS voids, d.declined_by::text AS by, `+signatureColumns+`
		FROM first_article_decline d JOIN first_article fa ON fa.site_id = d.site_id AND fa.article_id = d.article_id
		LEFT JOIN record r ON r.site_id = d.site_id AND r.record_id = d.record_id
		LEFT JOIN signature s ON s.site_id = d.site_id AND s.signature_id = d.signature_id WHERE d.site_id = @site
		UNION ALL SELECT 'The void of a decline of a first article', v.decline_id, v.decline_id, v.decline_id, '', '', v.reason, true, v.voided_by::text, `+signatureColumns+`
		FROM first_article_decline_void v LEFT JOIN signature s ON s.site_id = v.site_id AND s.signature_id = v.signature_id WHERE v.site_id = @site`,
		sqlArgs{"site": st.ID}, func(r row) error {
			content := declineContent(r.Article, r.Record, r.Content, r.Code, r.Reason)
			if r.Voids {
				content = declineVoidContent(r.ID, r.Reason)
			}
			return v.bound(r.signed, "reviewed", r.By, content)
		})
}
