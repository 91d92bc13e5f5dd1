package web

import (
	"errors"
	"fmt"
	"net/http"
	"strings"

	"github.com/a-h/templ"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/page"
	"coatbook/web/ui"
)

// nameFirstArticle names a part.
func (s *Server) nameFirstArticle(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	part, err := s.store.PartBySerial(r.Context(), v.site.ID, param(r, "serial"))
	if err != nil {
		return err
	}
	f, err := s.store.NameFirstArticle(r.Context(), v.actor, part.ID)
	var refusal *store.Refusal
	if errors.As(err, &refusal) {
		return s.renderNaming(w, r, answerTo(r, err).status, part, refusal.Sentence)
	}
	if err != nil {
		return err
	}
	s.flash(r, fmt.Sprintf("Part %s is first article %s. It may go through while series parts wait.", part.Serial, f.Number))
	http.Redirect(w, r, articleHref(f.Number), http.StatusSeeOther)
	return nil
}

func (s *Server) renderNaming(w http.ResponseWriter, r *http.Request, status int, part store.Part, problem string) error {
	v := visitFrom(r)
	return s.render(w, r, status, page.NameArticle(page.NameArticleView{Frame: s.benchFrame(v, "First article "+part.Serial), Serial: part.Serial, May: v.actor.Has(articleNamers...), Problem: problem,
		What: fmt.Sprintf("%s %s, job %s, %s", part.PartName, part.PartNumber, part.JobNumber, part.Customer)}))
}

// firstArticle is the form of a part's first article; for a part that is not named yet, the question whether it shall be.
func (s *Server) firstArticle(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	part, err := s.store.PartBySerial(r.Context(), v.site.ID, param(r, "serial"))
	if err != nil {
		return err
	}
	whole := r.FormValue("scope") == "full"
	f, err := s.store.ArticleFormOf(r.Context(), v.actor, part.ID, whole)
	var refusal *store.Refusal
	if errors.As(err, &refusal) && refusal.Rule == store.RuleFirstArticle {
		if r.Method == http.MethodPost {
			return s.renderNaming(w, r, http.StatusUnprocessableEntity, part, refusal.Sentence)
		}
		return s.renderNaming(w, r, http.StatusOK, part, "")
	}
	if err != nil {
		return err
	}
	instruments, err := s.store.Instruments(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	return s.enter(w, r, articleEntry(f, r.PostFormValue("scope"), instruments))
}

// articleEntry is the entry page of one first article.
func articleEntry(f store.ArticleForm, scope string, instruments []store.Instrument) entryKind {
	return entryKind{kind: quality.FirstArticle,
		find: func(s *Server, r *http.Request) (store.Subject, string, error) {
			return store.Subject{Kind: quality.OnPart, ID: f.Article.PartID}, articleHref(f.Article.Number), nil
		},
		read: func(sh *sheet) (quality.Check, []store.Use) { return readArticle(sh, f, scope), nil },
		show: func(sh *sheet, e page.Entry) templ.Component { return showArticle(sh, f, instruments, e) },
	}
}

// readArticle reads the answers. What is left empty is a line that is not answered, which the book says in its verdict.
func readArticle(sh *sheet, f store.ArticleForm, scope string) quality.Check {
	check := &quality.ArticleCheck{Full: scope != "partial"}
	for _, l := range f.Lines {
		get := func(name string) string { return strings.TrimSpace(sh.Values.Get(name + "-" + l.Number)) }
		line := quality.ArticleLine{Number: l.Number, Evidence: get("evidence"), Result: get("result"), Device: get("device"), Verdict: quality.Verdict(get("verdict"))}
		switch {
		case line.Evidence != "":
		case len([]rune(line.Result)) > 400:
			sh.Say("result-"+l.Number, fmt.Sprintf("No. %s: the result has more than 400 characters.", l.Number))
		case len([]rune(line.Device)) > 200:
			sh.Say("result-"+l.Number, fmt.Sprintf("No. %s: the device has more than 200 characters.", l.Number))
		case line.Verdict != "" && line.Verdict != quality.Pass && line.Verdict != quality.Fail:
			sh.Say("verdict-"+l.Number, fmt.Sprintf("No. %s: choose pass or fail.", l.Number))
		case line.Verdict != "" && line.Result == "":
			sh.Say("result-"+l.Number, fmt.Sprintf("No. %s: enter what was found.", l.Number))
		}
		check.Lines = append(check.Lines, line)
	}
	return quality.Check{Kind: quality.FirstArticle, Article: check}
}

func showArticle(sh *sheet, f store.ArticleForm, instruments []store.Instrument, e page.Entry) templ.Component {
	v := page.ArticleEntryView{Entry: e, Scope: scopeWord(f.Whole), Says: articleLead(f)}
	if f.MayPartial {
		v.Other = page.Ref{Text: "List every requirement instead", Href: sh.action + "?scope=full"}
		if f.Whole {
			v.Other = page.Ref{Text: "List only what changed", Href: sh.action}
		}
	}
	posted := sh.Values.Has("record")
	for _, l := range f.Lines {
		line := page.ArticleEntryLine{Number: l.Number, Requirement: l.Text, Evidence: l.Found.Evidence, Result: l.Found.Result, Device: l.Found.Device, Standing: verdictStanding(l.Found.Verdict), Not: l.Not,
			ResultProblem: sh.Wrong["result-"+l.Number], VerdictProblem: sh.Wrong["verdict-"+l.Number]}
		if line.Evidence != "" {
			line.Record = page.Ref{Text: l.Kind.Name(), Href: "/records/" + line.Evidence}
		} else {
			verdict := ""
			if line.Result, line.Device, verdict = sh.Values.Get("result-"+l.Number), sh.Values.Get("device-"+l.Number), sh.Values.Get("verdict-"+l.Number); !posted && l.Before.Evidence == "" {
				line.Result, line.Device, verdict = l.Before.Result, l.Before.Device, string(l.Before.Verdict)
			}
			if l.Kind != "" && line.Not == "" {
				line.Not = fmt.Sprintf("There is no %s of this part that counts yet. Record it first where it can be; otherwise enter the result.", lowerFirst(l.Kind.Name()))
			}
			for _, c := range []string{string(quality.Pass), string(quality.Fail)} {
				line.Verdicts = append(line.Verdicts, ui.Choice{Value: c, Label: c, Chosen: c == verdict})
			}
		}
		v.Lines = append(v.Lines, line)
	}
	for _, i := range instruments {
		if i.Status == "in_use" {
			v.Devices = append(v.Devices, i.Code)
		}
	}
	return page.ArticleEntry(v)
}

// articleLead says what the form lists and why.
func articleLead(f store.ArticleForm) string {
	lead := "Every requirement of " + f.Spec
	if len(f.Drawing.Requirements) > 0 {
		lead += " and of the drawing"
		if f.Drawing.Drawing != "" {
			lead += " " + f.Drawing.Drawing
		}
	}
	if !f.Whole {
		lead = "A partial first article of " + f.Spec + ": what changed since the full one. Results of the earlier part do not count here"
	}
	if len(f.Triggers) > 0 {
		lead += ". Due: " + store.TriggerWords(f.Triggers)
	}
	return lead + "."
}
