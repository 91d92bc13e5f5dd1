package web

import (
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"

	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
	"coatbook/web/ui"
)

// keepSheets is how long a tablet may show the list of safety data sheets without asking again: a long shift without network.
const keepSheets = 16 * time.Hour

// sheets lists the safety data sheets of everything in use. A tablet of the shop opens it without a sign-on; the page is the
// same for everybody and says nothing about anyone, so that a tablet may keep it for when the network is gone.
func (s *Server) sheets(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	if v.device == nil && v.person == nil {
		return errSignOn
	}
	materials, err := s.store.Materials(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	nobody := visit{site: v.site, device: v.device, theme: v.theme}
	view := page.SheetsView{Frame: s.benchFrame(&nobody, "Safety data sheets"), Site: v.site.Name, AsOf: s.store.Clock().In(v.site.Location()).Format("15:04, 2 January 2006")}
	for _, m := range materials {
		if !m.Active || !store.NeedsSheet(m.Kind) {
			continue
		}
		l := page.SheetLink{Name: m.Name, Code: m.Code, Href: m.SheetLink, Paper: m.SheetPaperAt, Maker: m.Maker, Kind: store.MaterialKindNames[m.Kind],
			Hazards: hazardWords(m.Hazards), Standing: sheetStands(m, today(v)).Standing}
		if m.SheetIssuedOn != nil {
			l.Issued = m.SheetIssuedOn.Format(time.DateOnly)
			if l.Standing.Kind == "pass" {
				l.Standing.Word = "in date"
			}
		}
		view.Sheets = append(view.Sheets, l)
	}
	w.Header().Set("Cache-Control", fmt.Sprintf("private, max-age=%d", int(keepSheets.Seconds())))
	return s.render(w, r, http.StatusOK, page.Sheets(view))
}

func hazardWords(hazards []string) string {
	words := make([]string, len(hazards))
	for i, h := range hazards {
		words[i] = lowerFirst(labelOf(hazardNames, h))
	}
	return upperFirst(strings.Join(words, ", "))
}

// sheetsStep says on the setup page which safety data sheets are missing or old.
func (reg register) sheetsStep(day time.Time) page.SetupStep {
	counts := map[string]int{}
	for _, m := range reg.materials {
		counts[m.SheetStanding(day)]++
	}
	step := page.SetupStep{Name: "Safety data sheets", Href: "/setup/materials", Optional: true}
	switch missing, old := counts["missing"], counts["old"]; {
	case missing == 0 && old == 0 && counts["ok"] > 0:
		step.Done, step.Says = true, numbered(counts["ok"], "sheet")+" in date, each with a paper copy"
	case missing == 0 && old == 0:
		step.Says = "none yet; each chemical, solvent and powder needs one"
	default:
		step.Says = fmt.Sprintf("%d missing or without a paper copy, %d over %d years old", missing, old, store.SheetMaxAge)
	}
	return step
}

var (
	reviewBy   = form.Entry{Kind: form.Text, Name: "reviewer", Label: "Reviewed by", Hint: "their name", Max: 80}
	reviewAs   = form.Entry{Kind: form.Text, Name: "qualification", Label: "Competent through", Hint: "such as occupational hygiene training", Max: 160}
	reviewedOn = form.Entry{Kind: form.Date, Name: "reviewed_on", Label: "Reviewed on"}
)

// cautionsPage shows the texts of all cautions in both languages, and who reviewed them.
func (s *Server) cautionsPage(w http.ResponseWriter, r *http.Request) error {
	return s.renderCautions(w, r, http.StatusOK, form.New(nil), "")
}

// cautionReview says how the review of the texts stands.
func (s *Server) cautionReview(r *http.Request) (says string, done bool, err error) {
	last, err := s.store.LastCautionReview(r.Context(), visitFrom(r).site.ID)
	switch {
	case errors.Is(err, store.ErrNotFound):
		return "not reviewed yet", false, nil
	case err != nil:
		return "", false, err
	case last.TextHash != ui.CautionHash():
		return "the texts changed since the review of " + setupDay(last.ReviewedOn), false, nil
	}
	return fmt.Sprintf("reviewed by %s (%s) on %s", last.Reviewer, last.Qualification, setupDay(last.ReviewedOn)), true, nil
}

func (s *Server) renderCautions(w http.ResponseWriter, r *http.Request, status int, a *form.Answers, problem string) error {
	says, _, err := s.cautionReview(r)
	if err != nil {
		return err
	}
	texts := page.SetupTable{Caption: "Cautions", Heads: []string{"Step", "English", "Spanish"}}
	for _, c := range ui.CautionTexts() {
		texts.Rows = append(texts.Rows, []page.SetupCell{page.Words(upperFirst(strings.ReplaceAll(c.Kind, "_", " "))), page.Words(c.English), page.Words(c.Spanish)})
	}
	review := simpleForm("/setup/cautions", "Record the review", problem, fields(a, reviewBy, reviewAs, reviewedOn))
	return s.render(w, r, status, page.SetupThing(page.SetupThingView{Frame: s.deskFrame(visitFrom(r), "Cautions", "Setup"), Subject: "Cautions",
		Title: "What do the cautions say, and who checked them?", Lead: "They stand where the work is recorded. Somebody who knows the hazards reads them; a text that changes needs a new review.",
		Facts: []page.DeskFact{page.Plain("Review", says)},
		Parts: []page.SetupSection{{Head: "Texts", Table: &texts}, {ID: "review", Head: "Record a review", Form: &review}}}))
}

func (s *Server) reviewCautions(w http.ResponseWriter, r *http.Request) error {
	a := form.New(r.PostForm)
	review := store.CautionReview{TextHash: ui.CautionHash(), Reviewer: a.Text(reviewBy), Qualification: a.Text(reviewAs), ReviewedOn: a.Date(reviewedOn)}
	problem, err := attempt(a, []form.Entry{reviewBy, reviewAs, reviewedOn}, func() error {
		return s.store.AddCautionReview(r.Context(), visitFrom(r).actor, review)
	})
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderCautions(w, r, http.StatusUnprocessableEntity, a, problem)
	}
	return s.done(w, r, "/setup/cautions", "The review by "+review.Reviewer+" is on record.")
}
