package store

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"coatbook/quality"
)

// An ArticleForm is what the record of a first article has to answer, with the part's own records that answer it.
type ArticleForm struct {
	Article  FirstArticle
	Triggers []quality.Trigger
	// Whole lists everything; a partial first article lists what changed. MayPartial says whether that is possible.
	Whole, MayPartial bool
	Spec              string
	Drawing           DrawingList
	Lines             []ArticleFormLine

	every, changed []quality.Requirement
	found          map[quality.Kind]foundRecord
	earlier        []approvedArticle
}

// An ArticleFormLine is one requirement with the record that answers it, and what was entered on this article before.
type ArticleFormLine struct {
	quality.Requirement
	// Found is the part's record that answers it; without an id there is none, and Not says why one that is there cannot be used.
	Found  quality.ArticleLine
	Not    string
	Before quality.ArticleLine
}

// foundRecord is the record of a kind that counts for a part now.
type foundRecord struct {
	Record
	device string
	not    string
}

// ArticleFormOf returns the form of a first article. whole asks for every requirement; a partial form is given only where
// a full first article stands and nothing but spec, drawing, powder or line has changed since.
func (db *DB) ArticleFormOf(ctx context.Context, a Actor, part uuid.UUID, whole bool) (ArticleForm, error) {
	article, err := db.FirstArticleOfPart(ctx, a.Site, part)
	if errors.Is(err, ErrNotFound) {
		return ArticleForm{}, refuse(RuleFirstArticle, "This part is not named as first article. Name it on its page first.")
	}
	if err != nil {
		return ArticleForm{}, err
	}
	f := ArticleForm{Article: article}
	all, err := db.standings(ctx, db.pool, a.Site, []uuid.UUID{part})
	if err != nil {
		return f, err
	}
	if len(all) == 0 {
		return f, ErrNotFound
	}
	s := all[0]
	rev, spec, err := db.approvedSpec(ctx, db.pool, a.Site, s.SpecID, db.Clock())
	if err != nil {
		return f, err
	}
	f.Spec = rev.Code + " rev " + rev.Revision
	if err := db.articleRequirements(ctx, a, s, rev, spec, &f); err != nil {
		return f, err
	}
	f.Whole = whole || !f.MayPartial
	if err := db.foundRecords(ctx, a.Site, s, &f); err != nil {
		return f, err
	}
	return f, db.fillLines(ctx, a.Site, &f)
}

// articleRequirements works out what the article has to show, in full and as a partial one, and why it is due.
func (db *DB) articleRequirements(ctx context.Context, a Actor, s *standing, rev SpecHead, spec quality.FinishSpec, f *ArticleForm) error {
	b, err := basisOfRack(ctx, db.pool, a.Site, s.RackID)
	if err != nil {
		return err
	}
	want := b.basis()
	want.Spec = specNamed(rev)
	asked := quality.FirstArticleSpec{}
	if spec.FirstArticle != nil {
		asked = *spec.FirstArticle
	}
	if f.Triggers, f.earlier, err = db.articleDue(ctx, db.pool, a.Site, s.PartNumberID, asked, want); err != nil {
		return err
	}
	if f.Drawing, err = drawingListOf(ctx, db.pool, a.Site, s.PartNumberID); err != nil {
		return err
	}
	plan, err := planOf(ctx, db.pool, a.Site, s.PartNumberID)
	if err != nil && !errors.Is(err, ErrNotFound) {
		return err
	}
	var places []quality.Place
	for _, p := range plan.Spots {
		places = append(places, quality.Place{Spot: p.Spot, Area: p.Area, Name: p.Place})
	}
	var window quality.CureWindow
	if b.PowderID != nil {
		points, err := curePoints(ctx, db.pool, a.Site, *b.PowderID)
		if err != nil {
			return err
		}
		for _, p := range points {
			window.Points = append(window.Points, quality.CurePoint{MetalC: p.MetalC, MinMinutes: p.MinutesMin, MaxMinutes: p.MinutesMax})
		}
	}
	whole := quality.ArticleRequirements(spec, places, window, f.Drawing.Requirements)
	texts, err := db.approvedTexts(ctx, a.Site, f.earlier)
	if err != nil {
		return err
	}
	f.every, f.changed = whole, quality.ChangedRequirements(whole, texts, f.Triggers)
	same := slices.ContainsFunc(f.earlier, func(e approvedArticle) bool { return e.PartID == s.PartID })
	f.MayPartial = !same && quality.MayBePartial(f.Triggers, plain(f.earlier))
	return nil
}

// approvedTexts returns the requirements as they were approved last, by code: those of the last full first article that
// counts and of the partial ones after it.
func (db *DB) approvedTexts(ctx context.Context, site uuid.UUID, earlier []approvedArticle) (map[string]string, error) {
	texts := map[string]string{}
	for _, e := range earlier {
		if e.Void != "" {
			continue
		}
		if e.Full {
			clear(texts)
		}
		lines, err := articleLines(ctx, db.pool, site, e.RecordID)
		if err != nil {
			return nil, err
		}
		for _, l := range lines {
			texts[l.Code] = l.Requirement
		}
	}
	return texts, nil
}

// foundRecords reads, for each kind, the part's record that counts in its present cycle and round.
func (db *DB) foundRecords(ctx context.Context, site uuid.UUID, s *standing, f *ArticleForm) error {
	latest := map[quality.Kind]quality.Evidence{}
	for _, e := range s.evidence {
		if e.Superseded || e.Verdict == quality.Voided || e.Kind == quality.FirstArticle || !e.Kind.IsRun() && e.Round != s.Round {
			continue
		}
		if was, ok := latest[e.Kind]; !ok || !e.At.Before(was.At) {
			latest[e.Kind] = e
		}
	}
	f.found = map[quality.Kind]foundRecord{}
	for kind, e := range latest {
		id, err := uuid.Parse(e.RecordID)
		if err != nil {
			return fmt.Errorf("record %q: %w", e.RecordID, err)
		}
		r := foundRecord{}
		if r.Record, err = db.RecordByID(ctx, site, id); err != nil {
			return err
		}
		var devices []string
		for _, u := range r.Uses {
			if useColumns[u.Role] == "instrument_id" && !slices.Contains(devices, u.Name) {
				devices = append(devices, u.Name)
			}
		}
		r.device = strings.Join(devices, ", ")
		if !f.Whole {
			if r.not, err = db.copied(ctx, site, id, f.earlier); err != nil {
				return err
			}
		}
		f.found[kind] = r
	}
	return nil
}

// copied says that a record is behind an earlier first article, or about its part; empty where it is neither.
func (db *DB) copied(ctx context.Context, site, record uuid.UUID, earlier []approvedArticle) (string, error) {
	for _, e := range earlier {
		there, err := value[bool](ctx, db.pool, `SELECT EXISTS (SELECT 1 FROM first_article_line l WHERE l.site_id = @site AND l.record_id = @article AND l.evidence_id = @record)
			OR EXISTS (SELECT 1 FROM record r WHERE r.site_id = @site AND r.record_id = @record AND r.part_id = @part)`,
			sqlArgs{"site": site, "article": e.RecordID, "record": record, "part": e.PartID})
		if err != nil {
			return "", err
		}
		if there {
			return fmt.Sprintf("That result belongs to the earlier first article %s on part %s. A partial first article shows new results only.", e.Number, e.Serial), nil
		}
	}
	return "", nil
}

// fillLines puts each requirement together with what answers it.
func (db *DB) fillLines(ctx context.Context, site uuid.UUID, f *ArticleForm) error {
	before := map[string]quality.ArticleLine{}
	if f.Article.RecordID.Valid {
		lines, err := articleLines(ctx, db.pool, site, f.Article.RecordID.UUID)
		if err != nil {
			return err
		}
		for _, l := range lines {
			before[l.Code] = l
		}
	}
	requirements := f.changed
	if f.Whole {
		requirements = f.every
	}
	for _, r := range requirements {
		line := ArticleFormLine{Requirement: r, Before: before[r.Code]}
		if found, ok := f.found[r.Kind]; ok && r.Kind != "" {
			line.Not = found.not
			if found.not == "" {
				line.Found = lineOf(r, found)
			}
		}
		f.Lines = append(f.Lines, line)
	}
	return nil
}

// maxResult bounds the result of a line that is taken from a record.
const maxResult = 1900

// lineOf answers a requirement by a record.
func lineOf(r quality.Requirement, found foundRecord) quality.ArticleLine {
	result, verdict := r.Answer(found.Check, found.Findings, found.Verdict)
	if runes := []rune(result); len(runes) > maxResult {
		result = string(runes[:maxResult]) + " …"
	}
	if strings.TrimSpace(result) == "" {
		result = "see the record"
	}
	return quality.ArticleLine{Number: r.Number, Code: r.Code, Requirement: r.Text, Result: result, Device: found.device, Verdict: verdict, Evidence: found.ID.String()}
}

// answerArticle completes what was entered of a first article before it is judged: numbers and requirements come from the
// spec and the drawing, and results that a record gives come from the record. Every requirement has its line; one that was
// left out is not answered.
func (db *DB) answerArticle(ctx context.Context, a Actor, e *Entry) error {
	if e.Kind != quality.FirstArticle || e.voids {
		return nil
	}
	if e.correction != nil {
		return refuse(RuleInvalid, "A first article is not corrected line by line. Record it anew on its page: the latest one counts until it is approved. If this one is wrong, void it.")
	}
	if e.Check.Article == nil || e.Subject.Kind != quality.OnPart {
		return refuse(RuleInvalid, "The form of the first article came without its lines. Reload the page and enter it again.")
	}
	entered := *e.Check.Article
	f, err := db.ArticleFormOf(ctx, a, e.Subject.ID, entered.Full)
	if err != nil {
		return err
	}
	if !entered.Full && f.Whole {
		return refuse(RuleFirstArticle, "A partial first article is not enough here: there is no full one that counts, or the gap was too long. Record every requirement.")
	}
	answers := map[string]quality.ArticleLine{}
	for _, l := range entered.Lines {
		answers[l.Number] = l
	}
	check := &quality.ArticleCheck{Full: entered.Full, Drawing: f.Drawing.Revision}
	var uses []Use
	for _, line := range f.Lines {
		given, ok := answers[line.Number]
		delete(answers, line.Number)
		answered := quality.ArticleLine{Number: line.Number, Code: line.Code, Requirement: line.Text, Verdict: quality.Incomplete}
		switch {
		case ok && given.Evidence != "":
			if err := db.mayAnswer(ctx, a.Site, f, line, given.Evidence); err != nil {
				return err
			}
			answered = line.Found
		case ok:
			if answered, err = answerByHand(answered, given); err != nil {
				return err
			}
			if uses, err = db.deviceUse(ctx, a.Site, answered.Device, uses); err != nil {
				return err
			}
		}
		check.Lines = append(check.Lines, answered)
	}
	for number := range answers {
		return refuse(RuleChanged, fmt.Sprintf("No. %s is not a requirement of this first article any more: spec or drawing changed meanwhile. Reload the page and look at each line again.", number))
	}
	e.Check.Article, e.Uses = check, uses
	return nil
}

// answerByHand takes a result that a person entered. Only a pass or fail with a result is an answer.
func answerByHand(line, given quality.ArticleLine) (quality.ArticleLine, error) {
	line.Result, line.Device = strings.TrimSpace(given.Result), strings.TrimSpace(given.Device)
	switch given.Verdict {
	case quality.Pass, quality.Fail:
		if line.Result == "" {
			return line, refuse("first_article_line_answered", fmt.Sprintf("No. %s: %s", line.Number, constraintSentences["first_article_line_answered"]))
		}
		line.Verdict = given.Verdict
	case "", quality.Incomplete:
	default:
		return line, refuse("first_article_line_verdict_known", fmt.Sprintf("No. %s: %s", line.Number, constraintSentences["first_article_line_verdict_known"]))
	}
	return line, nil
}

// deviceUse adds a device of the register to what went into the record, so that a recall finds it. A device that is not in
// the register, such as a template, stays as it was written.
func (db *DB) deviceUse(ctx context.Context, site uuid.UUID, device string, uses []Use) ([]Use, error) {
	if device == "" {
		return uses, nil
	}
	i, err := db.InstrumentByCode(ctx, site, device)
	if errors.Is(err, ErrNotFound) {
		return uses, nil
	}
	if err != nil {
		return uses, err
	}
	if use := (Use{"meter", i.ID}); !slices.Contains(uses, use) {
		uses = append(uses, use)
	}
	return uses, nil
}

// mayAnswer refuses a record that does not answer the line: another part's, a corrected one, one of the earlier article.
func (db *DB) mayAnswer(ctx context.Context, site uuid.UUID, f ArticleForm, line ArticleFormLine, evidence string) error {
	if evidence == line.Found.Evidence {
		return nil
	}
	say := func(sentence string) error {
		return refuse(RuleFirstArticle, fmt.Sprintf("No. %s: %s", line.Number, sentence))
	}
	if line.Not != "" {
		return say(line.Not)
	}
	id, err := uuid.Parse(evidence)
	if err != nil {
		return say("That is not a record. Reload the page and choose it again.")
	}
	if !f.Whole {
		not, err := db.copied(ctx, site, id, f.earlier)
		if err != nil {
			return err
		}
		if not != "" {
			return say(not)
		}
	}
	return say("That record does not count for this part now: it is another part's, or was corrected or made anew. Reload the page.")
}

// admitArticle refuses a record on a part that is not named, or whose first article is approved.
func admitArticle(ctx context.Context, q querier, a Actor, e *Entry, w *work) error {
	if e.voids {
		return nil
	}
	f, err := articleOfPart(ctx, q, a.Site, e.Subject.ID)
	switch {
	case errors.Is(err, ErrNotFound):
		return refuse(RuleFirstArticle, "This part is not named as first article. Name it on its page first.")
	case err != nil:
		return err
	case f.State() == ArticleApproved:
		w.refusals = append(w.refusals, refuse(RuleFinished, fmt.Sprintf("First article %s is approved by %s. Name another part to show something new.", f.Number, f.ApprovedBy)))
	}
	return nil
}

// queueArticle adds the lines of a first article to what goes to the database next.
func queueArticle(b *pgx.Batch, site uuid.UUID, e Entry) {
	c := e.Check.Article
	if c == nil {
		return
	}
	b.Queue(`INSERT INTO first_article_scope (site_id, record_id, whole, drawing_revision) VALUES (@site, @record, @whole, @drawing)`,
		sqlArgs{"site": site, "record": e.RecordID, "whole": c.Full, "drawing": c.Drawing})
	for i, l := range c.Lines {
		b.Queue(`INSERT INTO first_article_line (site_id, record_id, seq, number, code, requirement, result, device, verdict, evidence_id)
			VALUES (@site, @record, @seq, @number, @line_code, @requirement, @result, @shown_by, @line_verdict, nullif(@evidence, '')::uuid)`,
			sqlArgs{"site": site, "record": e.RecordID, "seq": i + 1, "number": l.Number, "line_code": l.Code, "requirement": l.Requirement, "result": l.Result,
				"shown_by": l.Device, "line_verdict": l.Verdict, "evidence": l.Evidence})
	}
}
