package store

import (
	"context"
	"fmt"
	"slices"

	"github.com/google/uuid"

	"coatbook/quality"
)

// articleParts returns the parts whose approved first articles stand for the part numbers of parts. Who releases a series locks
// them too, so that an approval does not become void in the same moment.
func articleParts(ctx context.Context, q querier, site uuid.UUID, parts []uuid.UUID) ([]uuid.UUID, error) {
	return column[uuid.UUID](ctx, q, `SELECT DISTINCT fa.part_id FROM part p JOIN first_article fa ON fa.site_id = p.site_id AND fa.part_number_id = p.part_number_id
		WHERE p.site_id = @site AND p.part_id = ANY(@parts)
		AND EXISTS (SELECT 1 FROM first_article_approval ap WHERE ap.site_id = fa.site_id AND ap.article_id = fa.article_id)`, sqlArgs{"site": site, "parts": parts})
}

// seriesRelease refuses the release of series parts that no first article stands for any more: its approval became void after
// they were coated, and no other that counts was made with their powder, in their booth and oven. What else makes a first
// article due, such as a new revision or a long gap, asks for one before the next run and says nothing of this one.
func (db *DB) seriesRelease(ctx context.Context, q querier, site uuid.UUID, all []*standing, specs map[uuid.UUID]quality.FinishSpec) error {
	var series []*standing
	for _, s := range all {
		if specs[s.SpecID].FirstArticle != nil {
			series = append(series, s)
		}
	}
	if len(series) == 0 {
		return nil
	}
	named, err := namedArticles(ctx, q, site, series)
	if err != nil {
		return err
	}
	approved, made := map[uuid.UUID][]approvedArticle{}, map[uuid.NullUUID]quality.ArticleBasis{}
	for _, s := range series {
		if slices.Contains(named, s.PartID) {
			continue
		}
		if _, read := approved[s.PartNumberID]; !read {
			if approved[s.PartNumberID], err = db.approvedArticles(ctx, q, site, s.PartNumberID, quality.FirstArticleSpec{}); err != nil {
				return err
			}
		}
		if _, read := made[s.RackID]; !read {
			b, err := basisOfRack(ctx, q, site, s.RackID)
			if err != nil {
				return fmt.Errorf("what %s was made with: %w", s.Serial, err)
			}
			made[s.RackID] = b.basis()
		}
		triggers := quality.FirstArticleSpec{}.ArticleTriggers(made[s.RackID], plain(approved[s.PartNumberID]), db.Clock())
		if len(triggers) == 0 {
			continue
		}
		way, err := articleWay(ctx, q, site, s)
		if err != nil {
			return err
		}
		return refuse(RuleFirstArticle, fmt.Sprintf("Part %s cannot be released: no first article that counts stands for how it was made (%s). %s", s.Serial, TriggerWords(triggers), way))
	}
	return nil
}

// articleWay says what leads to an approved first article of the part number of s.
func articleWay(ctx context.Context, q querier, site uuid.UUID, s *standing) (string, error) {
	open, err := openArticle(ctx, q, site, s.PartNumberID)
	switch {
	case err != nil:
		return "", err
	case open == nil:
		return fmt.Sprintf("Name a part as first article on its page, such as %s; it may go through alone. Then record its first article and have it approved.", s.Serial), nil
	case open.State() == ArticleDeclined:
		return open.DeclinedWords() + " " + open.declinedWay(), nil
	case finished[open.PartStatus]: // nothing more can be recorded on it
		return fmt.Sprintf("First article %s counts no longer, and its part %s is %s. %s", open.Number, open.Serial, open.PartStatus, anotherArticle), nil
	}
	return fmt.Sprintf("Part %s is named as first article %s: %s.", open.Serial, open.Number, articleNext[open.State()]), nil
}
