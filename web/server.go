// Package web is Coatbook's HTTP side: one file per subject. Handlers find the record, read the form, act and answer; they
// return their errors, and errors.go alone turns an error into a status and a sentence.
package web

import (
	"bytes"
	"context"
	"log/slog"
	"net"
	"net/http"
	"regexp"
	"time"

	"github.com/a-h/templ"
	"github.com/alexedwards/scs/v2"
	"github.com/go-chi/chi/v5"
	"github.com/go-chi/chi/v5/middleware"
	"github.com/go-chi/httprate"

	"coatbook/store"
	"coatbook/web/static"
	"coatbook/web/ui"
)

// Config is what the server needs to know about the world around it.
type Config struct {
	// TLS is set when browsers reach the server over HTTPS, directly or through a proxy.
	TLS bool
	// PublicOrigin is the address browsers use behind a proxy that does not pass the host on, such as https://coatbook.example.
	PublicOrigin string
}

// A Server answers HTTP. It keeps no state between requests: any number of servers may share one database.
type Server struct {
	store    *store.DB
	log      *slog.Logger
	config   Config
	sessions *scs.SessionManager
	live     *live
	handler  http.Handler
	draining chan struct{}
	sittings sessionStore
}

// The limits of a sitting: an enrolled tablet locks after its site's idle minutes, any browser after half an hour without a
// request, and nobody stays signed on for more than a shift of twelve hours.
const (
	browserIdle  = 30 * time.Minute
	longestStint = 12 * time.Hour
)

// New returns a server on a book. Close it when done.
func New(db *store.DB, log *slog.Logger, config Config) *Server {
	s := &Server{store: db, log: log, config: config, live: newLive(), draining: make(chan struct{})}
	s.sittings = newSessionStore(db.Pool())
	s.sessions = scs.New()
	s.sessions.Store = s.sittings
	s.sessions.HashTokenInStore = true
	s.sessions.Lifetime = longestStint
	s.sessions.Cookie.Name = "__Host-coatbook"
	s.sessions.Cookie.Secure = true
	s.sessions.Cookie.HttpOnly = true
	s.sessions.Cookie.SameSite = http.SameSiteLaxMode
	s.sessions.Cookie.Path = "/"
	s.sessions.ErrorFunc = func(w http.ResponseWriter, r *http.Request, err error) { s.fail(w, r, err) }
	s.handler = s.router()
	go s.live.run(db)
	return s
}

// ServeHTTP implements http.Handler.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) { s.handler.ServeHTTP(w, r) }

// Drain makes the server report that it is not ready and ends live pages, while open requests finish.
func (s *Server) Drain() {
	close(s.draining)
	s.live.stop()
}

// Close ends the server's background work after the last request.
func (s *Server) Close() { s.sittings.StopCleanup() }

func (s *Server) router() http.Handler {
	r := chi.NewRouter()
	r.Use(middleware.RequestID, s.logged, s.recovered, s.headers, middleware.Compress(5, "text/html", "text/css", "text/javascript", "image/svg+xml", "application/json"))
	r.Get("/healthz/alive", func(w http.ResponseWriter, _ *http.Request) { plain(w, http.StatusOK, "alive") })
	r.Get("/healthz/ready", s.ready)
	r.Handle("/static/*", static.Handler())
	r.Group(func(r chi.Router) {
		guard := http.NewCrossOriginProtection()
		if s.config.PublicOrigin != "" {
			if err := guard.AddTrustedOrigin(s.config.PublicOrigin); err != nil {
				s.log.Error("the public origin is not an origin and is ignored", "err", err)
			}
		}
		guard.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { s.fail(w, r, errCrossOrigin) }))
		r.Use(guard.Handler, limitBody, s.sittings.remembers, s.sessions.LoadAndSave)
		limited := httprate.LimitBy(120, time.Minute, peer)
		for _, route := range s.routes() {
			var h http.Handler = s.page(route.who, route.handle)
			if route.slow {
				h = limited(h)
			}
			r.Method(route.method, route.pattern, h)
		}
	})
	r.NotFound(func(w http.ResponseWriter, r *http.Request) { s.fail(w, r, store.ErrNotFound) })
	return r
}

// peer is the address a request comes from, as the connection says it: headers of proxies are not believed, so that nobody
// picks their own key. Behind a proxy all tablets share one key, which the limit leaves room for.
func peer(r *http.Request) (string, error) {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	return httprate.CanonicalizeIP(host), err
}

// maxBody bounds every posted form; the largest, a film check of 99 spots, is under 100 kB.
const maxBody = 1 << 20

// uploads are the addresses that take a file.
var (
	uploads     = regexp.MustCompile(`^/loads/[^/]+/profile$`)
	fileUploads = regexp.MustCompile(`^/((holds|records|gauges|first-articles|setup/lots)/[^/]+/files|setup/materials/[^/]+/sheets)$`)
)

func limitBody(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		limit := int64(maxBody)
		if r.Method == http.MethodPost && uploads.MatchString(r.URL.Path) {
			limit = store.MaxLoggerFile + maxBody
		}
		if r.Method == http.MethodPost && fileUploads.MatchString(r.URL.Path) {
			limit = store.MaxFile + maxBody
		}
		r.Body = http.MaxBytesReader(w, r.Body, limit)
		next.ServeHTTP(w, r)
	})
}

// page runs a handler for those who may use it, and turns the error it returns into an answer.
func (s *Server) page(who access, handle func(http.ResponseWriter, *http.Request) error) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		v, err := s.visitOf(r)
		if err == nil {
			r = r.WithContext(ui.WithSigned(context.WithValue(r.Context(), visitKey{}, v), v.signed))
			err = who.admits(v)
		}
		if err == nil && r.Method == http.MethodPost {
			err = r.ParseForm()
		}
		if err == nil {
			err = handle(w, r)
		}
		if err != nil {
			s.fail(w, r, err)
		}
	}
}

// render writes a page. The page is complete before the status is sent, so that one that fails is never half sent.
func (s *Server) render(w http.ResponseWriter, r *http.Request, status int, c templ.Component) error {
	var body bytes.Buffer
	if err := c.Render(r.Context(), &body); err != nil {
		return err
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, err := body.WriteTo(w)
	if err != nil {
		s.log.Info("the browser went away", "path", r.URL.Path, "err", err)
	}
	return nil
}

// ready says whether requests should come here: not during start, drain or while the database is away.
func (s *Server) ready(w http.ResponseWriter, r *http.Request) {
	select {
	case <-s.draining:
		plain(w, http.StatusServiceUnavailable, "draining")
		return
	default:
	}
	ctx, cancel := context.WithTimeout(r.Context(), 2*time.Second)
	defer cancel()
	if err := s.store.Ready(ctx); err != nil {
		plain(w, http.StatusServiceUnavailable, "the database does not answer")
		return
	}
	plain(w, http.StatusOK, "ready")
}

func plain(w http.ResponseWriter, status int, text string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write([]byte(text + "\n"))
}

// policy lets a page use what this server sends and nothing else. No inline script or style, no frames.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; font-src 'self'; connect-src 'self'; " +
	"form-action 'self'; base-uri 'none'; frame-ancestors 'none'; worker-src 'self'; manifest-src 'self'"

func (s *Server) headers(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(self), geolocation=(), microphone=()")
		// Records stay out of every cache; the static files set their own rule.
		h.Set("Cache-Control", "no-store")
		if s.config.TLS {
			h.Set("Strict-Transport-Security", "max-age=31536000")
		}
		next.ServeHTTP(w, r)
	})
}

// logged writes one line for each request that failed or was slow; everything else is quiet.
func (s *Server) logged(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		start := time.Now()
		ww := middleware.NewWrapResponseWriter(w, r.ProtoMajor)
		next.ServeHTTP(ww, r)
		if took := time.Since(start); ww.Status() >= 500 || took > 2*time.Second && r.URL.Path != "/day/live" {
			s.log.Warn("request", "method", r.Method, "path", r.URL.Path, "status", ww.Status(), "ms", took.Milliseconds(), "request", middleware.GetReqID(r.Context()))
		}
	})
}
