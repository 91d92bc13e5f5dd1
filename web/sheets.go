package web

import (
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

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
	// Whoever looks, the page says nothing of them: a tablet keeps it.
	nobody := visit{site: v.site, device: v.device, theme: v.theme}
	view := page.SheetsView{Frame: s.benchFrame(&nobody, "Safety data sheets"), Site: v.site.Name, AsOf: s.store.Clock().In(v.site.Location()).Format("15:04, 2 January 2006")}
	for _, m := range materials {
		if !m.Active || !store.NeedsSheet(m.Kind) {
			continue
		}
		l := page.SheetLink{Name: m.Name, Code: m.Code, Href: sheetHref(m), Paper: m.SheetPaperAt, Maker: m.Maker, Kind: store.MaterialKindNames[m.Kind],
			Hazards: hazardWords(m.Hazards), Standing: sheetStands(m, today(v)).Standing, Away: !m.SheetFile.Valid && m.SheetLink != ""}
		if issued := m.SheetIssued(); issued != nil {
			l.Issued = issued.Format(time.DateOnly)
			if l.Standing.Kind == "pass" {
				l.Standing.Word = "in date"
			}
		}
		view.Sheets = append(view.Sheets, l)
	}
	w.Header().Set("Cache-Control", fmt.Sprintf("private, max-age=%d", int(keepSheets.Seconds())))
	return s.render(w, r, http.StatusOK, page.Sheets(view))
}

// sheetHref is where a material's safety data sheet opens: the one in the book, else the maker's.
func sheetHref(m store.Material) string {
	if m.SheetFile.Valid {
		return "/sheets/" + m.SheetFile.UUID.String()
	}
	return m.SheetLink
}

// sheetPolicy lets nothing run in a sheet and nothing load beside it but what a browser's own viewer of PDFs is made of. It is
// not a sandbox, in which some of those viewers stay empty.
const sheetPolicy = "default-src 'none'; object-src 'self'; style-src 'unsafe-inline'; frame-ancestors 'none'"

// sheet gives out a safety data sheet to whoever stands before a tablet of the shop. Other files are downloads; a sheet opens in
// place, because with a download the way to it ends in a list of files, one or two taps further and different on every device.
// It was proven to be a PDF and is never called anything else, so that no browser runs it as a page of this site.
func (s *Server) sheet(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	if v.device == nil && v.person == nil {
		return errSignOn
	}
	id, err := idParam(r, "file")
	if err != nil {
		return err
	}
	body, err := s.store.SheetBytes(r.Context(), v.site.ID, id)
	if err != nil {
		return err
	}
	h := w.Header()
	h.Set("Content-Type", "application/pdf")
	h.Set("Content-Disposition", `inline; filename="`+id.String()+`.pdf"`)
	h.Set("Content-Security-Policy", sheetPolicy)
	h.Set("Content-Length", strconv.Itoa(len(body)))
	h.Set("Cache-Control", fmt.Sprintf("private, max-age=%d", int(keepSheets.Seconds())))
	if _, err := w.Write(body); err != nil {
		s.log.Info("a sheet broke off", "path", r.URL.Path, "err", err)
	}
	return nil
}

var (
	sheetIssued   = form.Entry{Kind: form.Date, Name: "issued", Label: "Issued or revised on", Hint: "the date that stands on the sheet"}
	sheetRevision = form.Entry{Kind: form.Text, Name: "caption", Label: "Revision", Hint: "as the sheet says it, such as 4.1", Max: 60, Optional: true}
	sheetToEnd    = form.Entry{Kind: form.Pick, Name: "sheet", Label: "Sheet"}
	sheetEnds     = form.Entry{Kind: form.Text, Name: "reason", Label: "Why", Hint: "such as sheet of another product", Max: 160}
)

// materialSheets are the safety data sheets of a material.
func (s *Server) materialSheets(r *http.Request) (fileHome, error) {
	m, err := s.store.MaterialByCode(r.Context(), visitFrom(r).site.ID, param(r, "code"))
	return fileHome{of: store.FileOwner{Kind: store.FileOfMaterial, ID: m.ID}, back: "/setup/materials/" + m.Code + "#sheets",
		read: func(typed *form.Answers, of *store.FileOwner) {
			day := typed.Date(sheetIssued)
			of.IssuedOn = &day
			typed.Text(sheetRevision)
		},
		again: func(w http.ResponseWriter, r *http.Request, status int, problem string, typed *form.Answers) error {
			stands, err := s.materialStands(r, m)
			if err != nil {
				return err
			}
			return s.renderMaterial(w, r, status, m, materialForms{change: stands, sheet: typed, sheetProblem: problem, withdraw: form.New(nil)})
		}}, err
}

// withdrawSheet takes a sheet out of use.
func (s *Server) withdrawSheet(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	m, err := s.store.MaterialByCode(r.Context(), v.site.ID, param(r, "code"))
	if err != nil {
		return err
	}
	sheets, err := s.store.SheetsOf(r.Context(), v.site.ID, m.ID)
	if err != nil {
		return err
	}
	a := form.New(r.PostForm)
	which := endable(sheets)
	id, reason := a.Pick(which), a.Text(sheetEnds)
	problem, err := attempt(a, []form.Entry{which, sheetEnds}, func() error {
		return s.store.WithdrawSheet(r.Context(), v.actor, m.ID, uuid.MustParse(id), reason)
	})
	if err != nil {
		return err
	}
	if problem != "" {
		stands, err := s.materialStands(r, m)
		if err != nil {
			return err
		}
		return s.renderMaterial(w, r, http.StatusUnprocessableEntity, m, materialForms{change: stands, sheet: form.New(nil), withdraw: a, withdrawProblem: problem})
	}
	return s.done(w, r, "/setup/materials/"+m.Code+"#sheets", "The sheet is withdrawn. Tablets drop it when they next have network.")
}

// endable offers the sheets that are not withdrawn yet.
func endable(sheets []store.Sheet) form.Entry {
	e := sheetToEnd
	for _, sh := range sheets {
		if sh.Withdrawn == "" {
			e.Options = append(e.Options, form.Option{Value: sh.ID.String(), Label: strings.TrimSpace(sh.IssuedOn.Format(time.DateOnly) + " " + sh.Revision)})
		}
	}
	return e
}

// sheetSections are the sheets of a material, the form for a newer one, and the one that takes a wrong one back.
func (s *Server) sheetSections(r *http.Request, m store.Material, f materialForms) ([]page.SetupSection, error) {
	v := visitFrom(r)
	sheets, err := s.store.SheetsOf(r.Context(), v.site.ID, m.ID)
	if err != nil {
		return nil, err
	}
	table := page.SetupTable{Caption: "Safety data sheets", Heads: []string{"Issued", "Revision", "Added", "Standing", "Withdrawn because"}, Empty: "None in the book yet. The maker's address, if one is given above, opens with network only."}
	for _, sh := range sheets {
		stands, href, because := page.Stands("none", "replaced"), "/sheets/"+sh.ID.String(), ""
		switch {
		case sh.Withdrawn != "":
			stands, href = page.Stands("fail", "withdrawn"), "/files/"+sh.ID.String()
			because = fmt.Sprintf("%s (%s, %s)", sh.Withdrawn, sh.WithdrawnBy, longTime(*sh.WithdrawnAt, v.site.Location()))
		case sh.ID == m.SheetFile.UUID:
			stands = page.Stands("pass", "in use")
		}
		table.Rows = append(table.Rows, []page.SetupCell{page.Code(sh.IssuedOn.Format(time.DateOnly), href), page.Words(sh.Revision),
			page.Words(fmt.Sprintf("%s, %s, %d kB", sh.By, longTime(sh.At, v.site.Location()), (sh.Size+1023)/1024)), stands, page.Words(because)})
	}
	add := simpleForm("/setup/materials/"+m.Code+"/sheets", "Add the sheet", f.sheetProblem, append(fields(f.sheet, sheetIssued, sheetRevision),
		page.SetupField{Kind: "file", Name: "file", Label: "Safety data sheet", Hint: fmt.Sprintf("a PDF of up to %d MB that opens without a password", store.MaxFile>>20), Accept: "application/pdf", Wide: true}))
	add.Multipart = true
	sections := []page.SetupSection{{ID: "sheets", Head: "Safety data sheets in the book", Table: &table, Form: &add,
		Note: "The one with the latest date counts. The shop's tablets keep it and open it without network and without a sign-on; older ones can still be read here."}}
	if which := endable(sheets); len(which.Options) > 0 {
		end := simpleForm("/setup/materials/"+m.Code+"/sheets/withdraw", "Withdraw the sheet", f.withdrawProblem, fields(f.withdraw, which, sheetEnds))
		sections = append(sections, page.SetupSection{ID: "withdraw", Head: "Withdraw a sheet", Form: &end,
			Note: "For a sheet that was added by mistake. It stays in the book; the one before it counts again."})
	}
	return sections, nil
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
