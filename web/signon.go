package web

import (
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/go-chi/chi/v5"
	"github.com/google/uuid"

	"coatbook/store"
	"coatbook/web/page"
	"coatbook/web/ui"
)

// home sends people where they work: tablets to the bench, browsers to the day.
func (s *Server) home(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	to := "/day"
	if v.device != nil {
		to = "/bench"
	}
	http.Redirect(w, r, to, http.StatusSeeOther)
	return nil
}

func (s *Server) signOnPage(w http.ResponseWriter, r *http.Request) error {
	return s.renderSignOn(w, r, http.StatusOK, "", "")
}

// renderSignOn shows the sign-on page that fits the browser, with what went wrong.
func (s *Server) renderSignOn(w http.ResponseWriter, r *http.Request, status int, name, problem string) error {
	v := visitFrom(r)
	view := page.SignOnView{Frame: s.benchFrame(v, "Sign on"), Enrolled: v.device != nil, Name: name, Problem: problem, Next: localPath(r.FormValue("next")), ShopName: v.site.Name}
	if v.device != nil {
		people, err := s.store.People(r.Context(), v.site.ID)
		if err != nil {
			return err
		}
		for _, p := range people {
			if p.Active && p.HasPIN {
				view.People = append(view.People, ui.Choice{Value: p.ID.String(), Label: p.Name, Chosen: p.ID.String() == name})
			}
		}
	}
	return s.render(w, r, status, page.SignOn(view))
}

// localPath keeps a redirect on this server.
func localPath(next string) string {
	u, err := url.Parse(next)
	if err != nil || u.IsAbs() || u.Host != "" || !strings.HasPrefix(u.Path, "/") || strings.HasPrefix(next, "//") || strings.Contains(next, "\\") {
		return ""
	}
	return next
}

func (s *Server) signOnByPIN(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	if v.device == nil {
		return s.renderSignOn(w, r, http.StatusUnauthorized, "", "A PIN works on an enrolled tablet only. Use your password.")
	}
	person, err := uuid.Parse(r.PostFormValue("person"))
	if err != nil {
		return s.renderSignOn(w, r, http.StatusUnprocessableEntity, "", "Tap your name first, then enter your PIN.")
	}
	p, err := s.store.SignOnByPIN(r.Context(), *v.device, person, r.PostFormValue("pin"))
	return s.finishSignOn(w, r, p, err, person.String())
}

func (s *Server) signOnByBadge(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	if v.device == nil {
		return s.renderSignOn(w, r, http.StatusUnauthorized, "", "A badge works on an enrolled tablet only. Use your password.")
	}
	p, err := s.store.SignOnByBadge(r.Context(), *v.device, strings.TrimSpace(r.PostFormValue("badge")))
	return s.finishSignOn(w, r, p, err, "")
}

func (s *Server) signOnByPassword(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	name := strings.ToLower(strings.TrimSpace(r.PostFormValue("name")))
	// Several plants on one server: kari@TH names the site as well.
	if account, code, found := strings.Cut(name, "@"); found {
		sites, err := s.store.Sites(r.Context())
		if err != nil {
			return err
		}
		if i := slices.IndexFunc(sites, func(st store.Site) bool { return strings.EqualFold(st.Code, code) }); i >= 0 {
			v.site = sites[i]
		}
		name = account
	}
	p, err := s.store.SignOnByPassword(r.Context(), v.site.ID, name, r.PostFormValue("password"), strings.TrimSpace(r.PostFormValue("code")))
	return s.finishSignOn(w, r, p, err, name)
}

// finishSignOn begins the sitting, or brings the page back with the reason.
func (s *Server) finishSignOn(w http.ResponseWriter, r *http.Request, p store.Person, err error, name string) error {
	var refusal *store.Refusal
	if errors.As(err, &refusal) {
		status := http.StatusUnauthorized
		if refusal.Rule == store.RuleLocked {
			status = http.StatusTooManyRequests
		}
		return s.renderSignOn(w, r, status, name, refusal.Sentence)
	}
	if errors.Is(err, store.ErrNotFound) {
		return s.renderSignOn(w, r, http.StatusUnauthorized, "", "That did not match. Try again.")
	}
	if err != nil {
		return err
	}
	if err := s.signOn(r, visitFrom(r), p); err != nil {
		return err
	}
	next := localPath(r.PostFormValue("next"))
	if next == "" {
		next = "/"
	}
	http.Redirect(w, r, next, http.StatusSeeOther)
	return nil
}

// lock ends the sitting. The next person signs on afresh, and nothing of the last one stays.
func (s *Server) lock(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	if v.person != nil {
		if err := s.store.Note(r.Context(), v.actor, store.Event{Verb: "signed off", SubjectKind: "person", Subject: v.person.ID}); err != nil {
			return err
		}
	}
	if err := s.sessions.Destroy(r.Context()); err != nil {
		return err
	}
	w.Header().Set("Clear-Site-Data", `"cache"`)
	http.Redirect(w, r, "/signon", http.StatusSeeOther)
	return nil
}

func (s *Server) invitePage(w http.ResponseWriter, r *http.Request) error {
	inv, err := s.store.Invitation(r.Context(), chi.URLParam(r, "secret"))
	var refusal *store.Refusal
	if errors.As(err, &refusal) {
		return s.render(w, r, http.StatusGone, page.Invite(page.InviteView{Frame: s.benchFrame(visitFrom(r), "Invitation"), Expired: true}))
	}
	if err != nil {
		return err
	}
	codeSecret := ""
	if inv.Person.NeedsSecondFactor() {
		if codeSecret, err = store.NewCodeSecret(visitFrom(r).site.Name, inv.Person.SignOnName); err != nil {
			return err
		}
	}
	return s.renderInvite(w, r, http.StatusOK, inv.Person, codeSecret, nil)
}

func (s *Server) renderInvite(w http.ResponseWriter, r *http.Request, status int, p store.Person, codeSecret string, problems []page.FieldProblem) error {
	view := page.InviteView{Frame: s.benchFrame(visitFrom(r), "Invitation"), Action: r.URL.Path, Name: p.Name, SignOnName: p.SignOnName,
		AsksPIN: true, AsksCode: codeSecret != "", CodeSecret: codeSecret, Problems: problems}
	if view.AsksCode {
		var err error
		if view.CodeQR, err = ui.NewQR(store.CodeAddress(visitFrom(r).site.Name, p.SignOnName, codeSecret)); err != nil {
			return err
		}
	}
	return s.render(w, r, status, page.Invite(view))
}

func (s *Server) acceptInvite(w http.ResponseWriter, r *http.Request) error {
	secret := chi.URLParam(r, "secret")
	inv, err := s.store.Invitation(r.Context(), secret)
	if err != nil {
		return err
	}
	f := r.PostForm
	var problems []page.FieldProblem
	if f.Get("password") != f.Get("password_again") {
		problems = append(problems, page.FieldProblem{Field: "password_again", Sentence: "The two passwords differ. Type the same one twice."})
	}
	if f.Get("pin") != f.Get("pin_again") {
		problems = append(problems, page.FieldProblem{Field: "pin_again", Sentence: "The two PINs differ. Type the same one twice."})
	}
	var p store.Person
	if len(problems) == 0 {
		p, err = s.store.Accept(r.Context(), secret, f.Get("pin"), f.Get("password"), f.Get("code_secret"), strings.TrimSpace(f.Get("code")))
		var refusal *store.Refusal
		if errors.As(err, &refusal) {
			field := "password"
			switch {
			case refusal.Rule == store.RuleSecondFactor:
				field = "code"
			case strings.Contains(refusal.Sentence, "PIN"):
				field = "pin"
			}
			problems = append(problems, page.FieldProblem{Field: field, Sentence: refusal.Sentence})
		} else if err != nil {
			return err
		}
	}
	if len(problems) > 0 {
		return s.renderInvite(w, r, http.StatusUnprocessableEntity, inv.Person, f.Get("code_secret"), problems)
	}
	v := visitFrom(r)
	if v.site, err = s.store.Site(r.Context(), inv.Site); err != nil {
		return err
	}
	return s.finishSignOn(w, r, p, nil, "")
}

func (s *Server) enrolPage(w http.ResponseWriter, r *http.Request) error {
	return s.renderEnrol(w, r, http.StatusOK, "")
}

func (s *Server) renderEnrol(w http.ResponseWriter, r *http.Request, status int, problem string) error {
	view := page.EnrolView{Frame: s.benchFrame(visitFrom(r), "Enrol this tablet"), Action: r.URL.Path, Problem: problem,
		Scale: r.PostFormValue("css_px_per_inch"), Location: r.PostFormValue("location_class")}
	d, err := s.store.Enrolment(r.Context(), chi.URLParam(r, "secret"))
	var refusal *store.Refusal
	if errors.As(err, &refusal) {
		view.Expired, view.Device = true, "a Coatbook tablet"
		return s.render(w, r, http.StatusGone, page.Enrol(view))
	}
	if err != nil {
		return err
	}
	view.Device, view.Station = d.Name, d.Station
	if view.Scale == "" {
		view.Scale = strconv.Itoa(d.PixelsPerInch)
	}
	if view.Location == "" {
		view.Location = d.LocationClass
	}
	return s.render(w, r, status, page.Enrol(view))
}

// enrol gives this browser the tablet's credential in a cookie. The book keeps only its hash.
func (s *Server) enrol(w http.ResponseWriter, r *http.Request) error {
	scale, err := strconv.Atoi(strings.TrimSpace(r.PostFormValue("css_px_per_inch")))
	if err != nil || scale < 90 || scale > 220 {
		return s.renderEnrol(w, r, http.StatusUnprocessableEntity, "Pixels per inch: enter a whole number from 90 to 220. 132 fits most 10-inch tablets.")
	}
	class := r.PostFormValue("location_class")
	if class != "unclassified" && class != "rated" {
		return s.renderEnrol(w, r, http.StatusUnprocessableEntity, "Choose where this tablet will be used.")
	}
	credential, err := s.store.Enrol(r.Context(), chi.URLParam(r, "secret"), class, scale)
	var refusal *store.Refusal
	if errors.As(err, &refusal) {
		return s.renderEnrol(w, r, http.StatusGone, refusal.Sentence)
	}
	if err != nil {
		return err
	}
	if err := s.sessions.Destroy(r.Context()); err != nil {
		return err
	}
	http.SetCookie(w, &http.Cookie{Name: deviceCookie, Value: credential, Path: "/", Secure: true, HttpOnly: true, SameSite: http.SameSiteLaxMode, MaxAge: 400 * 24 * 3600})
	http.Redirect(w, r, "/signon", http.StatusSeeOther)
	return nil
}
