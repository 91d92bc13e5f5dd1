package web

import (
	"net/http"
	"time"

	"github.com/go-chi/chi/v5"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
)

var (
	specCode     = form.Entry{Kind: form.Text, Name: "code", Label: "Spec code", Hint: "capitals, digits, dots, dashes, such as FS-100", Max: 30}
	specTitle    = form.Entry{Kind: form.Text, Name: "title", Label: "Title", Hint: "what it is for", Max: 120}
	specRevision = form.Entry{Kind: form.Text, Name: "revision", Label: "Revision", Hint: "a letter or number, such as A", Max: 12}
	specEntries  = []form.Entry{specCode, specTitle, specRevision}
	specSigner   = form.Entry{Kind: form.Text, Name: "signer", Label: "Who signs", Hint: "your sign-on name, or scan your badge; asked once after you sign on", Max: 200}
	specPIN      = form.Entry{Kind: form.Secret, Name: "pin", Label: "Your PIN: it is your signature", Hint: "in a browser that is no tablet, the password also signs", Max: 128}
)

func (s *Server) specsPage(w http.ResponseWriter, r *http.Request) error {
	return s.renderSpecs(w, r, http.StatusOK, form.New(values("revision", "A")), "")
}

// specState is the state of a revision in its word and shape.
func specState(state string) page.SetupCell {
	switch state {
	case "approved":
		return page.Stands("pass", "approved")
	case "draft":
		return page.Stands("none", "draft")
	}
	return page.Stands("none", state)
}

func (s *Server) renderSpecs(w http.ResponseWriter, r *http.Request, status int, a *form.Answers, problem string) error {
	v := visitFrom(r)
	specs, err := s.store.Specs(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	table := page.SetupTable{Caption: "Finish specs", Heads: []string{"Code", "Title", "Revision", "State", "In force since", "Approved by"},
		Empty: "No finish spec yet. Draft the first one: it says what each part is checked for, and by which limits."}
	for _, spec := range specs {
		table.Rows = append(table.Rows, []page.SetupCell{page.Code(spec.Code, "/setup/specs/"+spec.Code), page.Words(spec.Title), page.Words(spec.Revision), specState(spec.State),
			page.Words(instantOrEmpty(v, spec.EffectiveAt)), page.Words(spec.ApprovedBy)})
	}
	return s.render(w, r, status, page.SetupList(page.SetupListView{Frame: s.deskFrame(v, "Specs", "Setup"), Subject: "Specs", Title: "Which finish specs judge the parts?",
		Lead: "A draft may change. An approved revision never does; a change is a new revision.", Table: table, AddHead: "Draft a spec",
		Form: simpleForm("/setup/specs", "Draft it", problem, fields(a, specEntries...))}))
}

func instantOrEmpty(v *visit, at *time.Time) string {
	if at == nil {
		return ""
	}
	return shortTime(*at, v.site.Location())
}

// blankSpec is what a new draft starts from: nothing asked for, one strip and recoat allowed.
func blankSpec() quality.FinishSpec {
	return quality.FinishSpec{Version: quality.SpecVersion, MaxCycles: 2}
}

func (s *Server) addSpec(w http.ResponseWriter, r *http.Request) error {
	a := form.New(r.PostForm)
	code, title, revision := a.Code(specCode), a.Text(specTitle), a.Text(specRevision)
	var added store.SpecRevision
	problem, err := attempt(a, specEntries, func() (err error) {
		added, err = s.store.AddSpec(r.Context(), visitFrom(r).actor, code, title, revision, blankSpec())
		return err
	})
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderSpecs(w, r, http.StatusUnprocessableEntity, a, problem)
	}
	return s.done(w, r, specAddress(added), "Draft "+code+", revision "+revision+", is open. Next: its sections.")
}

func specAddress(rev store.SpecRevision) string {
	return "/setup/specs/" + rev.Code + "/" + rev.ID.String()
}

func (s *Server) specPage(w http.ResponseWriter, r *http.Request) error {
	return s.renderSpec(w, r, http.StatusOK, form.New(nil), "")
}

// renderSpec shows the revisions of one spec and the form for the next one.
func (s *Server) renderSpec(w http.ResponseWriter, r *http.Request, status int, a *form.Answers, problem string) error {
	v := visitFrom(r)
	revisions, err := s.store.SpecRevisions(r.Context(), v.site.ID, chi.URLParam(r, "code"))
	if err != nil {
		return err
	}
	if len(revisions) == 0 {
		return store.ErrNotFound
	}
	table := page.SetupTable{Caption: "Revisions", Heads: []string{"Revision", "State", "In force from", "to", "Approved by", "Drafted by"}}
	for _, rev := range revisions {
		table.Rows = append(table.Rows, []page.SetupCell{page.Code(rev.Revision, specAddress(rev)), specState(rev.State), page.Words(instantOrEmpty(v, rev.EffectiveAt)),
			page.Words(instantOrEmpty(v, rev.ObsoleteAt)), page.Words(rev.ApprovedBy), page.Words(rev.DraftedBy)})
	}
	code := revisions[0].Code
	view := page.SetupThingView{Frame: s.deskFrame(v, code, "Setup"), Subject: "Specs", Back: page.Ref{Text: "All specs", Href: "/setup/specs"}, Title: code, Lead: revisions[0].Title,
		Parts: []page.SetupSection{{Head: "Revisions", Table: &table}}}
	if revisions[0].State != "draft" {
		next := simpleForm("/setup/specs/"+code, "Draft the next revision", problem, fields(a, specRevision))
		view.Parts = append(view.Parts, page.SetupSection{Head: "Next revision", Note: "It starts as a copy of the newest one.", Form: &next})
	}
	return s.render(w, r, status, page.SetupThing(view))
}

func (s *Server) newSpecRevision(w http.ResponseWriter, r *http.Request) error {
	a := form.New(r.PostForm)
	revision := a.Text(specRevision)
	var added store.SpecRevision
	problem, err := attempt(a, []form.Entry{specRevision}, func() (err error) {
		added, err = s.store.NewRevision(r.Context(), visitFrom(r).actor, chi.URLParam(r, "code"), revision)
		return err
	})
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderSpec(w, r, http.StatusUnprocessableEntity, a, problem)
	}
	return s.done(w, r, specAddress(added), "Revision "+revision+" is a draft and may change until it is approved.")
}

// revision finds the spec revision an address names.
func (s *Server) revision(r *http.Request) (store.SpecRevision, quality.FinishSpec, error) {
	id, err := idParam(r, "id")
	if err != nil {
		return store.SpecRevision{}, quality.FinishSpec{}, err
	}
	rev, err := s.store.SpecRevision(r.Context(), visitFrom(r).site.ID, id)
	if err != nil {
		return rev, quality.FinishSpec{}, err
	}
	if rev.Code != chi.URLParam(r, "code") {
		return rev, quality.FinishSpec{}, store.ErrNotFound
	}
	spec, err := rev.Spec()
	return rev, spec, err
}

func (s *Server) specRevisionPage(w http.ResponseWriter, r *http.Request) error {
	rev, spec, err := s.revision(r)
	if err != nil {
		return err
	}
	if rev.State != "draft" {
		return s.renderFrozenSpec(w, r, http.StatusOK, rev, spec, form.New(nil), "")
	}
	return s.renderDraft(w, r, http.StatusOK, rev, specStarts(spec), specSays(spec), "")
}

// specStarts is the stored draft in the form, with usual figures in the boxes that have none yet. They count only when the
// section is ticked.
func specStarts(spec quality.FinishSpec) *form.Answers {
	a := specStands(spec)
	for name, usual := range map[string]string{"weld-level": "C", "wash-hours": "16", "wash-bath": quality.BathFlag, "coat-dew": "3", "cure-channels": "3", "cure-spread": "0", "rub-wait": "30", "rub-pass": "3",
		"finish-distance": "3000", "film-unit": "um", "film-rule": string(quality.Areas80), "film-spots": "5", "film-readings": "3", "film-guard": "0"} {
		if a.Values.Get(name) == "" {
			a.Values.Set(name, usual)
		}
	}
	return a
}

func (s *Server) renderDraft(w http.ResponseWriter, r *http.Request, status int, rev store.SpecRevision, a *form.Answers, says map[string][]string, problem string) error {
	at := specAddress(rev)
	view := page.SetupDraftView{Frame: s.deskFrame(visitFrom(r), rev.Code+" "+rev.Revision, "Setup"), Code: rev.Code, Title: rev.Title, Revision: rev.Revision,
		Form: page.SetupForm{Action: at, Submit: "Save the draft", Cancel: "/setup/specs/" + rev.Code, Problem: problem, Groups: specGroups(a, says)}}
	for _, sentences := range says {
		view.Faults += len(sentences)
	}
	if view.Faults == 0 && problem == "" {
		view.Approve = at + "/approve"
	}
	return s.render(w, r, status, page.SetupDraft(view))
}

func (s *Server) saveSpecDraft(w http.ResponseWriter, r *http.Request) error {
	rev, stored, err := s.revision(r)
	if err != nil {
		return err
	}
	a := form.New(r.PostForm)
	spec := readSpec(a)
	problem, err := attempt(a, nil, func() error { return s.store.SaveDraft(r.Context(), visitFrom(r).actor, rev.ID, spec) })
	switch {
	case err != nil:
		return err
	case problem != "" && rev.State != "draft":
		return s.renderFrozenSpec(w, r, http.StatusUnprocessableEntity, rev, stored, form.New(nil), problem)
	case problem != "":
		return s.renderDraft(w, r, http.StatusUnprocessableEntity, rev, a, nil, problem)
	}
	return s.done(w, r, specAddress(rev), "The draft is saved.")
}

// renderFrozenSpec shows an approved or obsolete revision as it was signed.
func (s *Server) renderFrozenSpec(w http.ResponseWriter, r *http.Request, status int, rev store.SpecRevision, spec quality.FinishSpec, a *form.Answers, problem string) error {
	v := visitFrom(r)
	view := page.SetupSpecView{Frame: s.deskFrame(v, rev.Code+" "+rev.Revision, "Setup"), Code: rev.Code, Title: rev.Title, Revision: rev.Revision, State: specState(rev.State).Standing,
		Sections: specWords(spec), Facts: []page.DeskFact{page.Plain("Approved by", rev.ApprovedBy), page.Plain("In force from", instantOrEmpty(v, rev.EffectiveAt)),
			page.Plain("to", wordOrNone(instantOrEmpty(v, rev.ObsoleteAt))), page.Plain("SHA-256 of the body", rev.BodyHash)}}
	if rev.State == "approved" {
		withdraw := simpleForm(specAddress(rev)+"/withdraw", "Withdraw this revision", problem, fields(a, reasonEntry))
		view.Withdraw = &withdraw
	}
	return s.render(w, r, status, page.SetupSpec(view))
}

func (s *Server) approveSpecPage(w http.ResponseWriter, r *http.Request) error {
	return s.renderApproval(w, r, http.StatusOK, form.New(nil), "")
}

// signing are the fields of a signature: the PIN, and before it the name when it is the first of the sitting.
func signing(v *visit) []form.Entry {
	if v.signed {
		return []form.Entry{specPIN}
	}
	return []form.Entry{specSigner, specPIN}
}

// renderApproval shows exactly what will be signed.
func (s *Server) renderApproval(w http.ResponseWriter, r *http.Request, status int, a *form.Answers, problem string) error {
	rev, spec, err := s.revision(r)
	if err != nil {
		return err
	}
	if rev.State != "draft" {
		http.Redirect(w, r, specAddress(rev), http.StatusSeeOther)
		return nil
	}
	sign := simpleForm(specAddress(rev)+"/approve", "Sign and put into force", problem, fields(a, signing(visitFrom(r))...))
	sign.Cancel = specAddress(rev)
	view := page.SetupSpecView{Frame: s.deskFrame(visitFrom(r), "Approve "+rev.Code, "Setup"), Code: rev.Code, Title: rev.Title, Revision: rev.Revision, State: specState(rev.State).Standing,
		Sections: specWords(spec), Faults: spec.Validate(), Sign: &sign,
		Statement: "I approve finish spec " + rev.Code + ", revision " + rev.Revision + ", for use from now on. An earlier approved revision becomes obsolete."}
	return s.render(w, r, status, page.SetupSpec(view))
}

func (s *Server) approveSpec(w http.ResponseWriter, r *http.Request) error {
	rev, _, err := s.revision(r)
	if err != nil {
		return err
	}
	v, a := visitFrom(r), form.New(r.PostForm)
	for _, e := range signing(v) {
		a.Text(e)
	}
	problem, err := attempt(a, nil, func() error {
		proof, err := s.sign(r)
		if _, wrong, refused := refusedForm(err); refused {
			for field, sentence := range wrong {
				a.Say(field, sentence)
			}
		}
		if err != nil {
			return err
		}
		return s.store.ApproveSpec(r.Context(), v.actor, rev.ID, proof)
	})
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderApproval(w, r, http.StatusUnprocessableEntity, a, problem)
	}
	return s.done(w, r, "/setup/specs/"+rev.Code, rev.Code+", revision "+rev.Revision+", is in force.")
}

func (s *Server) withdrawSpec(w http.ResponseWriter, r *http.Request) error {
	rev, spec, err := s.revision(r)
	if err != nil {
		return err
	}
	a := form.New(r.PostForm)
	reason := a.Text(reasonEntry)
	problem, err := attempt(a, []form.Entry{reasonEntry}, func() error { return s.store.WithdrawSpec(r.Context(), visitFrom(r).actor, rev.ID, reason) })
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderFrozenSpec(w, r, http.StatusUnprocessableEntity, rev, spec, a, problem)
	}
	return s.done(w, r, "/setup/specs/"+rev.Code, "Revision "+rev.Revision+" is obsolete.")
}
