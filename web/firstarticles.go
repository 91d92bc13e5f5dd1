package web

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/page"
)

var articleNamers = []string{store.Inspector, store.Supervisor, store.Engineer}

// articleStanding says where a first article stands.
func articleStanding(f store.FirstArticle) page.Standing {
	return map[string]page.Standing{
		store.ArticleNamed: {Word: "named, not recorded", Kind: "none"}, store.ArticleIncomplete: {Word: "lines not answered", Kind: "incomplete"}, store.ArticleFailed: {Word: "failed", Kind: "fail"},
		store.ArticleRecorded: {Word: "waits for approval", Kind: "hold"}, store.ArticleApproved: {Word: "approved", Kind: "pass"}, store.ArticleVoid: {Word: "approval void", Kind: "fail"},
		store.ArticleDeclined: {Word: "declined", Kind: "fail"}, store.ArticleDropped: {Word: "part finished without it", Kind: "none"},
	}[f.State()]
}

// articleSays is what is to be done next about a first article.
var articleSays = map[string]string{
	store.ArticleNamed:      "Take the part through alone, check it in full, then record its first article.",
	store.ArticleIncomplete: "A line is not answered. Record it anew with every line answered; it is approved then.",
	store.ArticleFailed:     "A requirement failed. Decide on the part, put right what caused it, and name another part.",
	store.ArticleRecorded:   "Every line is answered and met. A supervisor or an engineer who did not record it approves or declines it.",
	store.ArticleApproved:   "Series parts may be run like it: same spec revision, drawing requirements, powder, booth and oven.",
	store.ArticleVoid:       "Check what was corrected, record the first article anew on this part, and have it approved again.",
	store.ArticleDeclined:   "Put right what was wrong and record it anew on this part, or name and record another part. Series parts wait until one is approved.",
	store.ArticleDropped:    "The part left before its first article was approved. Name another part.",
}

// articleNext is what is to be done next about a first article. On a part that is finished nothing more can be recorded.
func articleNext(f store.FirstArticle) string {
	if st := f.State(); store.Finished(f.PartStatus) && (st == store.ArticleVoid || st == store.ArticleDeclined) {
		return fmt.Sprintf("Its part is %s, so nothing more is recorded on it. Name and record another part. Series parts wait until one is approved.", strings.ReplaceAll(f.PartStatus, "_", " "))
	}
	return articleSays[f.State()]
}

// articleOpen are the states in which a first article is to be recorded.
var articleOpen = []string{store.ArticleNamed, store.ArticleIncomplete, store.ArticleVoid, store.ArticleDeclined}

func articleHref(number string) string { return "/first-articles/" + url.PathEscape(number) }

func scopeWord(whole bool) string {
	if whole {
		return "full"
	}
	return "partial"
}

// firstArticlesPage lists what waits for a first article, and all of them.
func (s *Server) firstArticlesPage(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	due, err := s.store.FirstArticlesDue(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	all, err := s.store.FirstArticles(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	view := page.ArticlesView{Frame: s.deskFrame(v, "First articles", "Parts"), Title: "No first article is due"}
	if len(due) > 0 {
		view.Title = plural(len(due), "part number waits for a first article", "part numbers wait for a first article")
	}
	for _, d := range due {
		row := page.ArticleDueRow{PartNumber: d.PartNumber, Says: "Name a part of it on the part's page.", Next: page.Ref{Text: "Parts of " + d.PartNumber, Href: address("/parts", "q", d.PartNumber)}}
		if d.Open != nil {
			row.Says, row.Next = declinedFirst(*d.Open)+articleNext(*d.Open), page.Ref{Text: d.Open.Number + " on part " + d.Open.Serial, Href: articleHref(d.Open.Number)}
		}
		row.Says = ": " + store.TriggerWords(d.Triggers) + ". " + row.Says
		view.Due = append(view.Due, row)
	}
	for _, f := range all {
		row := page.ArticleRow{Number: page.Ref{Text: f.Number, Href: articleHref(f.Number)}, PartNumber: f.PartNumber, Part: page.Ref{Text: f.Serial, Href: subjectHref("part", f.Serial)},
			Standing: articleStanding(f), Who: "named by " + f.NamedBy}
		if f.RecordID.Valid {
			row.Scope, row.Who = scopeWord(f.Whole), "recorded by "+f.RecordedBy
		}
		if f.ApprovedAt != nil {
			row.Who = "approved by " + f.ApprovedBy + ", " + longTime(*f.ApprovedAt, v.site.Location())
		}
		if f.State() == store.ArticleDeclined {
			row.Who = fmt.Sprintf("declined by %s, %s: %s", f.DeclinedBy, longTime(*f.DeclinedAt, v.site.Location()), f.DeclineReason)
		}
		view.Rows = append(view.Rows, row)
	}
	return s.render(w, r, http.StatusOK, page.Articles(view))
}

// firstArticlePage shows one first article.
func (s *Server) firstArticlePage(w http.ResponseWriter, r *http.Request) error {
	view, err := s.articleView(r, "")
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, page.Article(view))
}

// firstArticleSheet is the same to print.
func (s *Server) firstArticleSheet(w http.ResponseWriter, r *http.Request) error {
	view, err := s.articleView(r, "")
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, page.ArticleSheet(view))
}

// articleView reads the first article that an address names. fileProblem is what was wrong with a file for it.
func (s *Server) articleView(r *http.Request, fileProblem string) (page.ArticleView, error) {
	v, ctx := visitFrom(r), r.Context()
	f, err := s.store.FirstArticleByNumber(ctx, v.site.ID, param(r, "number"))
	if err != nil {
		return page.ArticleView{}, err
	}
	state := f.State()
	view := page.ArticleView{Frame: s.deskFrame(v, "First article "+f.Number, "Parts"), Number: f.Number, Standing: articleStanding(f), Says: articleNext(f), Site: v.site.Name,
		What: fmt.Sprintf("First article of %s %s, part %s", f.PartName, f.PartNumber, f.Serial), Facts: articleFacts(f, v.site.Location()), Wrong: map[string]string{},
		Sheet: page.Ref{Text: "Sheet to print", Href: articleHref(f.Number) + "/sheet"}}
	if state == store.ArticleVoid {
		view.Void = f.Void
	}
	if f.ApprovedAt != nil {
		view.Signed = fmt.Sprintf("Signed by %s, %s, meaning: approved. “%s”", f.ApprovedBy, longTime(*f.ApprovedAt, v.site.Location()), f.Statement)
		if f.Void != "" {
			view.Signed += " Signature void: " + f.Void + "."
		}
	}
	if err := s.articleLines(r, f, &view, fileProblem); err != nil {
		return view, err
	}
	if err := s.articleDeclines(r, f, &view); err != nil {
		return view, err
	}
	if state != store.ArticleApproved && !store.Finished(f.PartStatus) {
		form, err := s.store.ArticleFormOf(ctx, v.actor, f.PartID, true)
		var refusal *store.Refusal
		if err != nil && !errors.As(err, &refusal) {
			return view, err
		}
		for _, t := range form.Triggers {
			view.Why = append(view.Why, t.Text)
		}
		if bench.admits(v) == nil && refusal == nil {
			view.Record = page.Ref{Text: "Record this first article", Href: subjectHref("part", f.Serial) + "/first-article"}
			if f.RecordID.Valid {
				view.Record.Text = "Record it anew"
			}
		}
	}
	if state == store.ArticleRecorded {
		switch {
		case deciders.admits(v) != nil:
		case f.Recorder.UUID == v.actor.Person:
			view.MayNot = "You recorded it, so somebody else approves or declines it."
		default:
			view.Statement, view.Seen = store.ArticleStatement(f), f.RecordID.UUID.String()
			view.Decline = page.Ref{Text: "Decline it instead", Href: articleHref(f.Number) + "/decline"}
		}
	}
	return view, nil
}

func articleFacts(f store.FirstArticle, zone *time.Location) []page.DeskFact {
	facts := []page.DeskFact{{Term: "Part", Refs: []page.Ref{{Text: f.Serial, Href: subjectHref("part", f.Serial)}}}, page.Plain("Part number", f.PartNumber),
		page.Plain("Cycle", fmt.Sprint(f.Cycle)), page.Plain("Named", f.NamedBy+", "+longTime(f.NamedAt, zone))}
	if f.RecordID.Valid {
		lists := "every requirement"
		if !f.Whole {
			lists = "what changed since the full first article"
		}
		facts = append(facts, page.Plain("Lists", lists), page.Plain("Spec", f.Spec),
			page.DeskFact{Term: "Recorded", Refs: []page.Ref{{Text: f.RecordedBy + ", " + longTime(*f.RecordedAt, zone), Href: "/records/" + f.RecordID.UUID.String()}}})
		if f.Drawing > 0 {
			facts = append(facts, page.Plain("Drawing requirements", fmt.Sprintf("revision %d", f.Drawing)))
		}
	}
	return facts
}

// articleLines fills in the numbered lines and the files that show them.
func (s *Server) articleLines(r *http.Request, f store.FirstArticle, view *page.ArticleView, problem string) error {
	v, ctx := visitFrom(r), r.Context()
	owner := store.FileOwner{Kind: store.FileOfArticle, ID: f.ID}
	files, err := s.store.FilesOf(ctx, v.site.ID, owner)
	if err != nil {
		return err
	}
	byLine := map[string][]page.FileItem{}
	view.Files = page.FilesView{Problem: problem}
	for _, file := range files {
		item := fileItem(file, v.site.Location())
		if file.Line != "" {
			item.Name = "No. " + file.Line + ": " + item.Name
			byLine[file.Line] = append(byLine[file.Line], item)
		}
		view.Files.Items = append(view.Files.Items, item)
	}
	if bench.admits(v) == nil {
		view.Files.Action = articleHref(f.Number) + "/files"
	}
	if !f.RecordID.Valid {
		return nil
	}
	lines, err := s.store.ArticleLines(ctx, v.site.ID, f.RecordID.UUID)
	if err != nil {
		return err
	}
	for _, l := range lines {
		row := page.ArticleLineRow{Number: l.Number, Requirement: l.Requirement, Result: l.Result, Device: l.Device, Standing: verdictStanding(l.Verdict), Files: byLine[l.Number]}
		if l.Verdict == quality.Incomplete {
			row.Standing.Word = "not answered"
		}
		if l.Evidence != "" {
			row.Evidence = page.Ref{Text: "record", Href: "/records/" + l.Evidence}
		}
		view.Lines = append(view.Lines, row)
		view.Files.Lines = append(view.Files.Lines, page.Option{Value: l.Number, Text: clipped("No. " + l.Number + ", " + l.Requirement)})
	}
	return nil
}

// approveFirstArticle signs the approval.
func (s *Server) approveFirstArticle(w http.ResponseWriter, r *http.Request) error {
	seen, err := uuid.Parse(r.PostFormValue("seen"))
	if err != nil {
		return fmt.Errorf("record %q: %w", r.PostFormValue("seen"), store.ErrNotFound)
	}
	number := param(r, "number")
	proof, err := s.sign(r)
	if err == nil {
		err = s.store.ApproveFirstArticle(r.Context(), visitFrom(r).actor, number, seen, proof)
	}
	var refusal *store.Refusal
	if errors.As(err, &refusal) {
		view, viewErr := s.articleView(r, "")
		if viewErr != nil {
			return viewErr
		}
		problem, wrong, _ := refusedForm(refusal)
		view.Problem, view.Wrong = problem, wrong
		return s.render(w, r, answerTo(r, err).status, page.Article(view))
	}
	if err != nil {
		return err
	}
	s.flash(r, "First article "+number+" is approved. Series parts may be run.")
	http.Redirect(w, r, articleHref(number), http.StatusSeeOther)
	return nil
}

// articleOnPart puts the first article that a part is into its page, or the way to name it where its spec asks for them.
func (s *Server) articleOnPart(r *http.Request, part store.Part, revision store.SpecHead, view *page.PartView) error {
	v := visitFrom(r)
	to := page.Ref{Text: "Name as first article", Href: subjectHref("part", part.Serial) + "/first-article"}
	f, err := s.store.FirstArticleOfPart(r.Context(), v.site.ID, part.ID)
	switch {
	case err == nil:
		view.Facts = append(view.Facts, page.DeskFact{Term: "First article", Refs: []page.Ref{{Text: f.Number + ", " + articleStanding(f).Word, Href: articleHref(f.Number)}}})
		to.Text = "Record its first article"
		if st := f.State(); bench.admits(v) == nil && slices.Contains(articleOpen, st) && !store.Finished(part.Status) {
			view.Acts = append(view.Acts, to)
		}
		return nil
	case !errors.Is(err, store.ErrNotFound):
		return err
	case revision.State == "" || !v.actor.Has(articleNamers...) || store.Finished(part.Status):
		return nil
	}
	rev, err := s.store.SpecRevision(r.Context(), v.site.ID, revision.ID)
	if err != nil {
		return err
	}
	spec, err := rev.Spec()
	if err == nil && spec.FirstArticle != nil {
		view.Acts = append(view.Acts, to)
	}
	return err
}

// firstArticlesDue are the part numbers that wait now, for the supervisor's day.
func (d *dayRead) firstArticlesDue() (items []page.DayFirst) {
	if !d.day.Equal(d.today) {
		return nil
	}
	for _, a := range d.articles {
		item := page.DayFirst{Kind: "hold", Link: page.Ref{Text: "Series of " + a.PartNumber + " waits for a first article", Href: "/first-articles"}, Rest: ": " + store.TriggerWords(a.Triggers) + "."}
		if a.Open != nil {
			item.Link.Href = articleHref(a.Open.Number)
			item.Rest += fmt.Sprintf(" %s on part %s: %s.", a.Open.Number, a.Open.Serial, articleStanding(*a.Open).Word)
			if a.Open.State() == store.ArticleDeclined {
				item.Rest = ": " + store.TriggerWords(a.Triggers) + ". " + a.Open.DeclinedWords()
			}
		}
		items = append(items, item)
	}
	return items
}

// articleDues are the same for the bench: where to go on.
func articleDues(all []store.ArticleDue) []page.Due {
	dues := make([]page.Due, len(all))
	for i, a := range all {
		dues[i] = page.Due{Href: "/first-articles", Subject: a.PartNumber, What: "First article", About: store.TriggerWords(a.Triggers)}
		if a.Open == nil {
			continue
		}
		dues[i].Href, dues[i].About = articleHref(a.Open.Number), a.Open.Number+" on "+a.Open.Serial+": "+articleStanding(*a.Open).Word
		if slices.Contains(articleOpen, a.Open.State()) && !store.Finished(a.Open.PartStatus) {
			dues[i].Href = "/parts/" + url.PathEscape(a.Open.Serial) + "/first-article"
		}
	}
	return dues
}
