package web

import (
	"net/http"
	"strings"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
	"coatbook/web/ui"
)

var (
	personName     = form.Entry{Kind: form.Text, Name: "name", Label: "Name", Hint: "as it is printed on signatures, for ever", Max: 80}
	personSignOn   = form.Entry{Kind: form.Text, Name: "sign_on_name", Label: "Sign-on name", Hint: "small letters and digits, never used again", Max: 40}
	personRoles    = form.Entry{Kind: form.Many, Name: "roles", Label: "Roles", Options: optionsOf("inspector", "Inspector: records and checks", "operator", "Operator: wash, booth, oven", "supervisor", "Supervisor: decides holds, releases", "engineer", "Engineer: specs, plans, limits", "administrator", "Administrator: people, tablets, site", "auditor", "Auditor: reads and exports")}
	personLanguage = form.Entry{Kind: form.Pick, Name: "language", Label: "Language", Options: optionsOf("en", "English", "es", "Spanish")}
	personUnit     = form.Entry{Kind: form.Pick, Name: "film_unit", Label: "Film thickness in", Hint: "empty takes the site's unit", Optional: true, Options: optionsOf("um", "µm", "mil", "mil")}
	personActive   = form.Entry{Kind: form.Tick, Name: "active", Label: "Works here", Hint: "untick for a leaver: every sitting ends at once, the name stays on old records"}
	personEntries  = []form.Entry{personName, personSignOn, personRoles, personLanguage, personUnit}

	qualKind        = form.Entry{Kind: form.Many, Name: "kind", Label: "May record", Options: kindOptions()}
	qualCertificate = form.Entry{Kind: form.Text, Name: "certificate", Label: "Certificate or training", Hint: "its number or date", Max: 120, Optional: true}
	qualFrom        = form.Entry{Kind: form.Date, Name: "from", Label: "Valid from"}
	qualTo          = form.Entry{Kind: form.Date, Name: "to", Label: "Valid to", Hint: "last day"}
	qualEntries     = []form.Entry{qualKind, qualCertificate, qualFrom, qualTo}
)

func kindOptions() []form.Option {
	var out []form.Option
	for _, k := range append(append([]quality.Kind{}, quality.Kinds...), quality.FirstArticle, quality.Verification, quality.Calibration, quality.OvenSurvey, quality.BathReading, quality.BathAddition) {
		out = append(out, form.Option{Value: string(k), Label: k.Name()})
	}
	return out
}

func (s *Server) peoplePage(w http.ResponseWriter, r *http.Request) error {
	return s.renderPeople(w, r, http.StatusOK, form.New(values("language", "en")), "")
}

func (s *Server) renderPeople(w http.ResponseWriter, r *http.Request, status int, a *form.Answers, problem string) error {
	v := visitFrom(r)
	people, err := s.store.People(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	table := page.SetupTable{Caption: "People", Heads: []string{"Name", "Sign-on name", "Roles", "Signs on by", "Standing"}, Empty: "Nobody yet."}
	for _, p := range people {
		table.Rows = append(table.Rows, []page.SetupCell{{Ref: page.Ref{Text: p.Name, Href: "/setup/people/" + p.ID.String()}}, {Ref: page.Ref{Text: p.SignOnName}, Num: true},
			page.Words(strings.Join(p.Roles, ", ")), page.Words(waysIn(p)), personStanding(p)})
	}
	return s.render(w, r, status, page.SetupList(page.SetupListView{Frame: s.deskFrame(v, "People", "Setup"), Subject: "People", Title: "Who works with the book?",
		Lead:  "Add the person first; then give the invitation link, the qualifications and a badge on the person's own page.",
		Table: table, AddHead: "Add a person", Form: simpleForm("/setup/people", "Add the person", problem, fields(a, personEntries...))}))
}

// waysIn says how a person can sign on.
func waysIn(p store.Person) string {
	var ways []string
	for _, way := range []struct {
		has  bool
		word string
	}{{p.HasPIN, "PIN"}, {p.HasBadge, "badge"}, {p.HasPassword, "password"}, {p.HasCode, "code app"}} {
		if way.has {
			ways = append(ways, way.word)
		}
	}
	if len(ways) == 0 {
		return "not yet: invite"
	}
	return strings.Join(ways, ", ")
}

func personStanding(p store.Person) page.SetupCell {
	switch {
	case !p.Active:
		return page.Stands("none", "left")
	case p.PINLocked:
		return page.Stands("hold", "locked out")
	}
	return page.Stands("pass", "works here")
}

func (s *Server) addPerson(w http.ResponseWriter, r *http.Request) error {
	a := form.New(r.PostForm)
	n := store.NewPerson{Name: a.Text(personName), SignOnName: strings.ToLower(a.Text(personSignOn)), Roles: a.Many(personRoles), Language: a.Pick(personLanguage), FilmUnit: a.Pick(personUnit)}
	var added store.Person
	problem, err := attempt(a, personEntries, func() (err error) {
		added, err = s.store.AddPerson(r.Context(), visitFrom(r).actor, n)
		return err
	})
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderPeople(w, r, http.StatusUnprocessableEntity, a, problem)
	}
	return s.done(w, r, "/setup/people/"+added.ID.String(), added.Name+" is added. Next: the invitation link and the qualifications.")
}

// person finds the person an address names.
func (s *Server) person(r *http.Request) (store.Person, error) {
	id, err := idParam(r, "id")
	if err != nil {
		return store.Person{}, err
	}
	return s.store.Person(r.Context(), visitFrom(r).site.ID, id)
}

func (s *Server) personPage(w http.ResponseWriter, r *http.Request) error {
	p, err := s.person(r)
	if err != nil {
		return err
	}
	return s.renderPerson(w, r, http.StatusOK, p, personStands(p), "", qualStarts(visitFrom(r)), "")
}

// personStands is what stands in the form of a person who is opened.
func personStands(p store.Person) *form.Answers {
	unit := ""
	if p.FilmUnit != nil {
		unit = *p.FilmUnit
	}
	stands := values("language", p.Language, "film_unit", unit, "active", yes(p.Active))
	stands["roles"] = p.Roles
	return form.New(stands)
}

func qualStarts(v *visit) *form.Answers {
	return form.New(values("from", today(v).Format(time.DateOnly), "to", today(v).AddDate(1, 0, 0).Format(time.DateOnly)))
}

func (s *Server) renderPerson(w http.ResponseWriter, r *http.Request, status int, p store.Person, a *form.Answers, problem string, q *form.Answers, qProblem string) error {
	v := visitFrom(r)
	quals, err := s.store.Qualifications(r.Context(), v.site.ID, p.ID)
	if err != nil {
		return err
	}
	at := "/setup/people/" + p.ID.String()
	change := simpleForm(at, "Save", problem, fields(a, personRoles, personLanguage, personUnit, personActive))
	change.Cancel = "/setup/people"
	add := simpleForm(at+"/qualifications", "Add the qualification", qProblem, fields(q, qualEntries...))
	table := qualTable(v, at, quals)
	acts := []page.SetupAct{
		{Action: at + "/invite", Button: "New invitation link", Does: "To set or replace PIN and password; works once, for three days."},
		{Action: at + "/badge", Button: "New badge", Does: "Shown once, to print; the old badge stops working."},
	}
	if p.PINLocked {
		acts = append(acts, page.SetupAct{Action: at + "/unlock", Button: "Unlock the PIN", Does: "It was locked after too many wrong tries."})
	}
	return s.render(w, r, status, page.SetupThing(page.SetupThingView{Frame: s.deskFrame(v, p.Name, "Setup"), Subject: "People",
		Back: page.Ref{Text: "All people", Href: "/setup/people"}, Title: p.Name,
		Facts: []page.DeskFact{page.Plain("Sign-on name", p.SignOnName), page.Plain("Signs on by", waysIn(p)), page.Plain("Standing", personStanding(p).Standing.Word)},
		Parts: []page.SetupSection{{Head: "Signing on", Acts: acts},
			{ID: "qualifications", Head: "Qualifications", Note: "Without a valid one a check is refused. What counts is the day the thing was observed.", Table: &table},
			{Head: "Add a qualification", Form: &add},
			{Head: "Roles and settings", Note: "Name and sign-on name stay as they are: they stand on old records.", Form: &change}}}))
}

func qualTable(v *visit, at string, quals []store.Qualification) page.SetupTable {
	table := page.SetupTable{Caption: "Qualifications", Heads: []string{"May record", "Certificate", "From", "To", "Standing"},
		Empty: "None yet: this person cannot record any check."}
	for _, q := range quals {
		stands := page.Stands("pass", "valid")
		switch day := today(v); {
		case day.After(q.ValidTo):
			stands = page.Stands("none", "ended")
		case day.Before(q.ValidFrom):
			stands = page.Stands("none", "not yet")
		case day.AddDate(0, 0, 30).After(q.ValidTo):
			stands = page.Stands("hold", "ends soon")
		}
		table.Rows = append(table.Rows, []page.SetupCell{{Ref: page.Ref{Text: q.Kind.Name(), Href: at + "/qualifications/" + q.ID.String()}}, page.Words(wordOrNone(q.Certificate)),
			page.Words(q.ValidFrom.Format(time.DateOnly)), page.Words(q.ValidTo.Format(time.DateOnly)), stands})
	}
	return table
}

func (s *Server) changePerson(w http.ResponseWriter, r *http.Request) error {
	p, err := s.person(r)
	if err != nil {
		return err
	}
	v, a := visitFrom(r), form.New(r.PostForm)
	roles, language, unit, active := a.Many(personRoles), a.Pick(personLanguage), a.Pick(personUnit), a.Yes("active")
	if p.ID == v.actor.Person {
		if !active {
			a.Say("active", "You cannot deactivate yourself. Another administrator can.")
		}
		if v.actor.Has(store.Administrator) && !(store.Actor{Roles: roles}).Has(store.Administrator) {
			a.Say("roles", "You cannot take the administrator role from yourself. Another administrator can.")
		}
	}
	problem, err := attempt(a, personEntries, func() error { return s.store.ChangePerson(r.Context(), v.actor, p.ID, roles, language, unit, active) })
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderPerson(w, r, http.StatusUnprocessableEntity, p, a, problem, qualStarts(v), "")
	}
	return s.done(w, r, "/setup/people/"+p.ID.String(), p.Name+" is changed.")
}

func (s *Server) addQualification(w http.ResponseWriter, r *http.Request) error {
	p, err := s.person(r)
	if err != nil {
		return err
	}
	v, a := visitFrom(r), form.New(r.PostForm)
	kinds, certificate, from, to := a.Many(qualKind), a.Text(qualCertificate), a.Date(qualFrom), a.Date(qualTo)
	if a.OK() && to.Before(from) {
		a.Say("to", "Valid to: the qualification cannot end before it begins.")
	}
	problem, err := attempt(a, qualEntries, func() error {
		for _, kind := range kinds {
			if err := s.store.AddQualification(r.Context(), v.actor, store.Qualification{PersonID: p.ID, Kind: quality.Kind(kind), Certificate: certificate, ValidFrom: from, ValidTo: to}); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderPerson(w, r, http.StatusUnprocessableEntity, p, personStands(p), "", a, problem)
	}
	return s.done(w, r, "/setup/people/"+p.ID.String()+"#qualifications", "The qualification is added.")
}

// qualification finds one qualification of the person an address names.
func (s *Server) qualification(r *http.Request) (store.Person, store.Qualification, error) {
	p, err := s.person(r)
	if err != nil {
		return p, store.Qualification{}, err
	}
	quals, err := s.store.Qualifications(r.Context(), visitFrom(r).site.ID, p.ID)
	if err != nil {
		return p, store.Qualification{}, err
	}
	id, err := idParam(r, "qualification")
	for _, q := range quals {
		if err == nil && q.ID == id {
			return p, q, nil
		}
	}
	return p, store.Qualification{}, store.ErrNotFound
}

func (s *Server) qualificationPage(w http.ResponseWriter, r *http.Request) error {
	p, q, err := s.qualification(r)
	if err != nil {
		return err
	}
	return s.renderQualification(w, r, http.StatusOK, p, q, form.New(values("to", q.ValidTo.Format(time.DateOnly))), "")
}

func (s *Server) renderQualification(w http.ResponseWriter, r *http.Request, status int, p store.Person, q store.Qualification, a *form.Answers, problem string) error {
	at := "/setup/people/" + p.ID.String()
	end := simpleForm(at+"/qualifications/"+q.ID.String(), "Set the last day", problem, fields(a, qualTo, reasonEntry))
	end.Cancel = at
	return s.render(w, r, status, page.SetupThing(page.SetupThingView{Frame: s.deskFrame(visitFrom(r), q.Kind.Name(), "Setup"), Subject: "People",
		Back: page.Ref{Text: p.Name, Href: at}, Title: q.Kind.Name() + ": " + p.Name,
		Facts: []page.DeskFact{page.Plain("Certificate", wordOrNone(q.Certificate)), page.Plain("Valid", setupDay(q.ValidFrom)+" to "+setupDay(q.ValidTo))},
		Parts: []page.SetupSection{{Head: "End it earlier or renew it", Form: &end}}}))
}

func (s *Server) endQualification(w http.ResponseWriter, r *http.Request) error {
	p, q, err := s.qualification(r)
	if err != nil {
		return err
	}
	a := form.New(r.PostForm)
	to, reason := a.Date(qualTo), a.Text(reasonEntry)
	if a.OK() && to.Before(q.ValidFrom) {
		a.Say("to", "Valid to: the qualification cannot end before it begins, on "+setupDay(q.ValidFrom)+".")
	}
	problem, err := attempt(a, []form.Entry{qualTo, reasonEntry}, func() error { return s.store.EndQualification(r.Context(), visitFrom(r).actor, q.ID, to, reason) })
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderQualification(w, r, http.StatusUnprocessableEntity, p, q, a, problem)
	}
	return s.done(w, r, "/setup/people/"+p.ID.String()+"#qualifications", q.Kind.Name()+" is valid to "+setupDay(to)+".")
}

func (s *Server) invitePerson(w http.ResponseWriter, r *http.Request) error {
	p, err := s.person(r)
	if err != nil {
		return err
	}
	secret, err := s.store.Invite(r.Context(), visitFrom(r).actor, p.ID)
	if err != nil {
		return err
	}
	says := []string{"Give this link to " + p.Name + " only. It works once, within three days, and is not shown again."}
	if p.NeedsSecondFactor() {
		says = append(says, "These roles need a code app besides the password; the link's page shows how.")
	}
	return s.renderOnce(w, r, page.SetupOnceView{Subject: "People", Title: "Invitation for " + p.Name, For: p.Name, Label: "Link", Text: s.address(r, "/invite/"+secret),
		Says: says, Done: page.Ref{Text: "Done, back to " + p.Name, Href: "/setup/people/" + p.ID.String()}})
}

func (s *Server) issueBadge(w http.ResponseWriter, r *http.Request) error {
	p, err := s.person(r)
	if err != nil {
		return err
	}
	code, err := s.store.IssueBadge(r.Context(), visitFrom(r).actor, p.ID)
	if err != nil {
		return err
	}
	return s.renderOnce(w, r, page.SetupOnceView{Subject: "People", Title: "Badge of " + p.Name, For: p.Name, Label: "Code of the badge", Text: code,
		Says: []string{"Print this page and cut the badge out. It is not shown again; a lost badge is replaced by a new one here.",
			"A badge signs on at enrolled tablets only. Signatures still ask for the PIN."},
		Done: page.Ref{Text: "Done, back to " + p.Name, Href: "/setup/people/" + p.ID.String()}})
}

// renderOnce shows a secret once. The page answers the post itself, so that no address leads back to it.
func (s *Server) renderOnce(w http.ResponseWriter, r *http.Request, view page.SetupOnceView) error {
	var err error
	if view.QR, err = ui.NewQR(view.Text); err != nil {
		return err
	}
	view.Frame = s.deskFrame(visitFrom(r), view.Title, "Setup")
	return s.render(w, r, http.StatusOK, page.SetupOnce(view))
}

// address makes a path into the address that another device can open.
func (s *Server) address(r *http.Request, path string) string {
	if s.config.PublicOrigin != "" {
		return strings.TrimSuffix(s.config.PublicOrigin, "/") + path
	}
	scheme := "http://"
	if r.TLS != nil || s.config.TLS {
		scheme = "https://"
	}
	return scheme + r.Host + path
}

func (s *Server) unlockPerson(w http.ResponseWriter, r *http.Request) error {
	p, err := s.person(r)
	if err != nil {
		return err
	}
	if err := s.store.Unlock(r.Context(), visitFrom(r).actor, p.ID); err != nil {
		return err
	}
	return s.done(w, r, "/setup/people/"+p.ID.String(), "The PIN of "+p.Name+" works again.")
}

// parsedID reads a UUID that was picked from a list; the zero UUID when none was.
func parsedID(text string) uuid.UUID {
	id, err := uuid.Parse(text)
	if err != nil {
		return uuid.Nil
	}
	return id
}
