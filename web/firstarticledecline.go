package web

import (
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"github.com/google/uuid"

	"coatbook/store"
	"coatbook/web/page"
)

// declineWords are the reasons for declining a first article.
var declineWords = map[string]string{"result": "a result is not right", "evidence": "the evidence does not show the requirement", "device": "device or method not fit for the requirement",
	"requirement": "a requirement is missing or read wrongly", "not_like_series": "not made as the series will be", "other": "other"}

// declinedFirst is the sentence of a decline before what is to be done next, empty where the article is not declined.
func declinedFirst(f store.FirstArticle) string {
	if f.State() != store.ArticleDeclined {
		return ""
	}
	return f.DeclinedWords() + " "
}

// articleDeclines fills in the declines of a first article: the one that stands over the page, all of them in the list.
func (s *Server) articleDeclines(r *http.Request, f store.FirstArticle, view *page.ArticleView) error {
	v := visitFrom(r)
	zone := v.site.Location()
	declines, err := s.store.ArticleDeclines(r.Context(), v.site.ID, f.ID)
	if err != nil {
		return fmt.Errorf("declines of %s: %w", f.Number, err)
	}
	for _, d := range declines {
		row := page.ArticleDecline{Record: page.Ref{Text: "the record it was about", Href: "/records/" + d.RecordID.String()},
			Says: fmt.Sprintf("%s: %s", upperFirst(declineWords[d.Code]), d.Reason), Signed: fmt.Sprintf("Signed by %s, %s, meaning: reviewed. “%s”", d.By, longTime(d.At, zone), d.Statement)}
		if d.VoidedAt != nil {
			row.Void = fmt.Sprintf("Decline void by %s, %s: %s", d.VoidedBy, longTime(*d.VoidedAt, zone), d.VoidedFor)
		}
		view.Declines = append(view.Declines, row)
	}
	if f.State() != store.ArticleDeclined {
		return nil
	}
	view.Declined = fmt.Sprintf("Declined by %s, %s: %s. Series parts wait.", f.DeclinedBy, longTime(*f.DeclinedAt, zone), strings.TrimRight(f.DeclineReason, "."))
	if deciders.admits(v) == nil && f.MayVoidDecline(v.actor, f.DeclineID.UUID) == nil {
		view.VoidDecline = page.Ref{Text: "Declined by mistake? Void the decline", Href: articleHref(f.Number) + "/void-decline"}
	}
	return nil
}

// declineArticlePage asks why a first article is declined.
func (s *Server) declineArticlePage(w http.ResponseWriter, r *http.Request) error {
	return s.renderDecline(w, r, http.StatusOK, "", nil)
}

func (s *Server) renderDecline(w http.ResponseWriter, r *http.Request, status int, problem string, wrong map[string]string) error {
	v := visitFrom(r)
	f, err := s.store.FirstArticleByNumber(r.Context(), v.site.ID, param(r, "number"))
	if err != nil {
		return err
	}
	href := articleHref(f.Number)
	view := page.DeclineArticleView{Frame: s.deskFrame(v, "Decline "+f.Number, "Parts"), Title: "Decline first article " + f.Number, About: page.Ref{Text: f.Number + " on part " + f.Serial, Href: href},
		Says: "Series parts go on waiting. The part keeps its own standing: its checks and its gate stay as they are.", Action: href + "/decline", Seen: f.RecordID.UUID.String(),
		Statement: store.DeclineStatement(f), Ask: "In words, what is wrong", Button: "Sign and decline", Reason: r.PostFormValue("reason"), Problem: problem, Wrong: wrong,
		Codes: []page.ListChoice{{Text: "choose"}}}
	for _, code := range store.DeclineCodes {
		view.Codes = append(view.Codes, page.ListChoice{Value: code, Text: upperFirst(declineWords[code]), On: code == r.PostFormValue("code")})
	}
	view.MayNot = refusedWords(f.MayDecide(v.actor, f.RecordID.UUID))
	return s.render(w, r, status, page.DeclineArticle(view))
}

// declineArticle signs the decline of a first article.
func (s *Server) declineArticle(w http.ResponseWriter, r *http.Request) error {
	seen, err := uuid.Parse(r.PostFormValue("seen"))
	if err != nil {
		return fmt.Errorf("record %q: %w", r.PostFormValue("seen"), store.ErrNotFound)
	}
	number, code, wrong := param(r, "number"), r.PostFormValue("code"), map[string]string{}
	if !slices.Contains(store.DeclineCodes, code) {
		wrong["code"] = "Choose why the first article is declined."
	}
	reason := declineReason(r, wrong)
	if len(wrong) > 0 {
		return s.renderDecline(w, r, http.StatusUnprocessableEntity, "", wrong)
	}
	proof, err := s.sign(r)
	if err == nil {
		err = s.store.DeclineFirstArticle(r.Context(), visitFrom(r).actor, number, seen, code, reason, proof)
	}
	if problem, wrong, refused := refusedForm(err); refused {
		return s.renderDecline(w, r, answerTo(r, err).status, problem, wrong)
	}
	if err != nil {
		return err
	}
	return s.done(w, r, articleHref(number), "First article "+number+" is declined. Series parts wait.")
}

// voidDeclinePage asks why a decline was a mistake.
func (s *Server) voidDeclinePage(w http.ResponseWriter, r *http.Request) error {
	return s.renderVoidDecline(w, r, http.StatusOK, "", nil)
}

func (s *Server) renderVoidDecline(w http.ResponseWriter, r *http.Request, status int, problem string, wrong map[string]string) error {
	v := visitFrom(r)
	f, err := s.store.FirstArticleByNumber(r.Context(), v.site.ID, param(r, "number"))
	if err != nil {
		return err
	}
	href := articleHref(f.Number)
	view := page.DeclineArticleView{Frame: s.deskFrame(v, "Void the decline of "+f.Number, "Parts"), Title: "Void the decline of " + f.Number, About: page.Ref{Text: f.Number + " on part " + f.Serial, Href: href},
		Action: href + "/void-decline", Seen: f.DeclineID.UUID.String(), Statement: store.DeclineVoidStatement(f),
		Ask: "Why the decline was a mistake", Button: "Sign and void the decline", Reason: r.PostFormValue("reason"), Problem: problem, Wrong: wrong}
	if view.MayNot = refusedWords(f.MayVoidDecline(v.actor, f.DeclineID.UUID)); view.MayNot == "" {
		view.Says = f.DeclinedWords() + " The decline and its void both stay in the book."
	}
	return s.render(w, r, status, page.DeclineArticle(view))
}

// voidDecline signs that a decline was a mistake.
func (s *Server) voidDecline(w http.ResponseWriter, r *http.Request) error {
	decline, err := uuid.Parse(r.PostFormValue("seen"))
	if err != nil {
		return fmt.Errorf("decline %q: %w", r.PostFormValue("seen"), store.ErrNotFound)
	}
	number, wrong := param(r, "number"), map[string]string{}
	reason := declineReason(r, wrong)
	if len(wrong) > 0 {
		return s.renderVoidDecline(w, r, http.StatusUnprocessableEntity, "", wrong)
	}
	proof, err := s.sign(r)
	if err == nil {
		err = s.store.VoidDecline(r.Context(), visitFrom(r).actor, number, decline, reason, proof)
	}
	if problem, wrong, refused := refusedForm(err); refused {
		return s.renderVoidDecline(w, r, answerTo(r, err).status, problem, wrong)
	}
	if err != nil {
		return err
	}
	return s.done(w, r, articleHref(number), "The decline of "+number+" is void. Its record waits for approval.")
}

// declineReason reads why something is declined, or why that was a mistake.
func declineReason(r *http.Request, wrong map[string]string) string {
	reason := strings.TrimSpace(r.PostFormValue("reason"))
	if n := len([]rune(reason)); n < 5 || n > 500 {
		wrong["reason"] = fmt.Sprintf("Say why in 5 to 500 characters; this has %d.", n)
	}
	return reason
}

// refusedWords is the sentence of a refusal, empty where nothing is refused.
func refusedWords(err error) string {
	var refusal *store.Refusal
	if errors.As(err, &refusal) {
		return refusal.Sentence
	}
	return ""
}
