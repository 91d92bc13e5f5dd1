package web

import (
	"context"
	"errors"
	"net/http"
	"slices"
	"time"

	"github.com/google/uuid"

	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/ui"
)

const deviceCookie = "__Host-coatbook-tablet"

// A visit is who and what a request comes from.
type visit struct {
	site   store.Site
	device *store.Device // nil in a browser that is not enrolled
	person *store.Person // nil when nobody is signed on
	actor  store.Actor
	theme  string
	flash  string
	// signed is set once the person has signed something in this sitting.
	signed bool
	// takeBack is the entry that was saved last, while its author may still take it back.
	takeBack ui.TakeBack
}

type visitKey struct{}

// visitFrom returns the request's visit. Handlers that ask for a person can rely on one.
func visitFrom(r *http.Request) *visit { return r.Context().Value(visitKey{}).(*visit) }

// unit is the film unit this person reads and types.
func (v *visit) unit() string {
	if v.person != nil && v.person.FilmUnit != nil {
		return *v.person.FilmUnit
	}
	return v.site.FilmUnit
}

// comma reports whether the person writes decimals with a comma.
func (v *visit) comma() bool { return v.person != nil && v.person.Language == "es" }

// visitOf works out who a request comes from: the tablet by its credential, the person by the session. A person who was
// deactivated, a tablet that was revoked and a sitting that lay idle too long all end here, at the next request.
func (s *Server) visitOf(r *http.Request) (*visit, error) {
	ctx := r.Context()
	v := &visit{}
	if c, err := r.Cookie("look"); err == nil && (c.Value == "dark" || c.Value == "glare") {
		v.theme = c.Value
	}
	if c, err := r.Cookie(deviceCookie); err == nil {
		d, err := s.store.DeviceByCredential(ctx, c.Value)
		if err != nil && !errors.Is(err, store.ErrNotFound) {
			return nil, err
		}
		if err == nil {
			v.device = &d
		}
	}
	if err := s.findSite(ctx, v); err != nil {
		return nil, err
	}
	personID, err := uuid.Parse(s.sessions.GetString(ctx, "person"))
	if err != nil || s.sessions.GetString(ctx, "site") != v.site.ID.String() {
		return v, nil
	}
	if s.sessions.GetBool(ctx, "tablet") && v.device == nil || s.overdue(ctx, v) {
		return v, s.sessions.Destroy(ctx)
	}
	p, err := s.store.Person(ctx, v.site.ID, personID)
	switch {
	case errors.Is(err, store.ErrNotFound):
		return v, s.sessions.Destroy(ctx)
	case err != nil:
		return nil, err
	case !p.Active:
		return v, s.sessions.Destroy(ctx)
	}
	v.person = &p
	// Said on the next page, which a script's request beside it is not. A client that does not say what it asks for gets pages.
	if mode := r.Header.Get("Sec-Fetch-Mode"); mode == "" || mode == "navigate" {
		v.flash = s.sessions.PopString(ctx, "flash")
	}
	v.signed = s.sessions.GetBool(ctx, "signed")
	v.takeBack = s.offered(ctx)
	v.actor = store.Actor{Site: v.site.ID, Person: p.ID, Name: p.Name, Roles: p.Roles}
	if v.device != nil {
		v.actor.Device = uuid.NullUUID{UUID: v.device.ID, Valid: true}
		v.actor.Station = v.device.StationID
	}
	return v, nil
}

// findSite takes the tablet's site, else the session's, else the first.
func (s *Server) findSite(ctx context.Context, v *visit) (err error) {
	if v.device != nil {
		v.site, err = s.store.Site(ctx, v.device.Site)
		return err
	}
	if id, parseErr := uuid.Parse(s.sessions.GetString(ctx, "site")); parseErr == nil {
		v.site, err = s.store.Site(ctx, id)
		if !errors.Is(err, store.ErrNotFound) {
			return err
		}
	}
	sites, err := s.store.Sites(ctx)
	if err != nil {
		return err
	}
	if len(sites) > 0 {
		v.site = sites[0]
	}
	return nil
}

// overdue reports whether a sitting lay untouched for longer than its limit, or has lasted longer than anyone works, and notes
// that it is touched now.
func (s *Server) overdue(ctx context.Context, v *visit) bool {
	now := s.store.Clock().Unix()
	seen, since := s.sessions.GetInt64(ctx, "seen"), s.sessions.GetInt64(ctx, "since")
	if now-seen > int64(s.idleSeconds(v)) || now-since > int64(longestStint.Seconds()) {
		return true
	}
	if now-seen > 20 {
		s.sessions.Put(ctx, "seen", now)
	}
	return false
}

// signOn begins a sitting with a fresh session token.
func (s *Server) signOn(r *http.Request, v *visit, p store.Person) error {
	ctx := r.Context()
	if err := s.sessions.Clear(ctx); err != nil {
		return err
	}
	if err := s.sessions.RenewToken(ctx); err != nil {
		return err
	}
	s.sessions.Put(ctx, "site", v.site.ID.String())
	s.sessions.Put(ctx, "person", p.ID.String())
	s.sessions.Put(ctx, "tablet", v.device != nil)
	now := s.store.Clock().Unix()
	s.sessions.Put(ctx, "seen", now)
	s.sessions.Put(ctx, "since", now)
	return nil
}

// flash keeps a sentence for the page after a redirect.
func (s *Server) flash(r *http.Request, sentence string) {
	s.sessions.Put(r.Context(), "flash", sentence)
}

// sign checks what a form gave for a signature. The first one of a sitting asks who signs and for their secret, later ones
// for the secret alone; locking, a change of person and a sitting that lay too long end the session, and the sitting with it.
func (s *Server) sign(r *http.Request) (store.Proof, error) {
	ctx, v := r.Context(), visitFrom(r)
	if s.sessions.GetBool(ctx, "signed") {
		return s.store.Sign(ctx, v.actor, r.PostFormValue("pin"))
	}
	identity := form.ParseCode(r.PostFormValue("signer"))
	proof, err := s.store.SignFirst(ctx, v.actor, identity.Value, r.PostFormValue("pin"))
	if err == nil {
		s.sessions.Put(ctx, "signed", true)
	}
	return proof, err
}

// An access says who may use an address. The table in routes.go is the role matrix: what is not in it does not exist.
type access struct {
	public bool // anybody, signed on or not
	roles  []string
}

var (
	anybody   = access{public: true}
	everyone  = access{roles: store.Roles}
	bench     = access{roles: []string{store.Inspector, store.Operator, store.Supervisor, store.Engineer}}
	deciders  = access{roles: []string{store.Supervisor, store.Engineer}}
	engineers = access{roles: []string{store.Engineer, store.Administrator}}
	approvers = access{roles: []string{store.Engineer}}
	admins    = access{roles: []string{store.Administrator}}
	setup     = access{roles: []string{store.Supervisor, store.Engineer, store.Administrator}}
)

// admits returns nil when the visit may pass.
func (a access) admits(v *visit) error {
	switch {
	case a.public:
		return nil
	case v.person == nil:
		return errSignOn
	case slices.ContainsFunc(v.person.Roles, func(role string) bool { return slices.Contains(a.roles, role) }):
		return nil
	}
	return errNoRight
}

// benchFrame is the frame of a tablet page.
func (s *Server) benchFrame(v *visit, title string) ui.BenchFrame {
	f := ui.BenchFrame{Title: title, ServerTime: time.Now().UTC().Format("2006-01-02T15:04:05.000Z07:00")}
	if v == nil {
		return f
	}
	f.Site, f.Theme, f.Flash, f.TakeBack = v.site.Name, v.theme, v.flash, v.takeBack
	if v.device != nil {
		f.Station, f.PxPerInch, f.Enrolled = v.device.Station, v.device.PixelsPerInch, true
	}
	if v.person != nil {
		f.Person, f.PersonID, f.CanSetup = v.person.Name, v.person.ID.String(), setup.admits(v) == nil
		f.IdleSeconds = s.idleSeconds(v)
	}
	return f
}

// deskFrame is the frame of a browser page.
func (s *Server) deskFrame(v *visit, title, active string) ui.DeskFrame {
	b := s.benchFrame(v, title)
	return ui.DeskFrame{Title: title, Site: b.Site, Station: b.Station, Person: b.Person, PersonID: b.PersonID, Active: active, CanSetup: b.CanSetup,
		Theme: b.Theme, Flash: b.Flash, TakeBack: b.TakeBack, IdleSeconds: b.IdleSeconds, ServerTime: b.ServerTime}
}

func (s *Server) idleSeconds(v *visit) int {
	if v.device != nil {
		return v.site.IdleMinutes * 60
	}
	return int(browserIdle.Seconds())
}
