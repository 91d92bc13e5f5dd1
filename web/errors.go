package web

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"runtime/debug"
	"strings"

	"github.com/go-chi/chi/v5/middleware"
	"github.com/jackc/pgx/v5/pgconn"

	"coatbook/store"
	"coatbook/web/page"
)

// The errors that web itself gives rise to.
var (
	errSignOn      = errors.New("web: nobody is signed on")
	errNotEnrolled = errors.New("web: not an enrolled tablet")
	errNoRight     = errors.New("web: the role does not allow this")
	errCrossOrigin = errors.New("web: the request came from another site")
)

// An answer is what people get to see of an error.
type answer struct {
	status            int
	heading, sentence string
	surprise          bool
}

// answerTo is the only place where an error becomes a status and a sentence.
func answerTo(r *http.Request, err error) answer {
	var refusal *store.Refusal
	var tooLarge *http.MaxBytesError
	switch {
	case errors.As(err, &refusal):
		status := http.StatusUnprocessableEntity
		switch refusal.Rule {
		case store.RuleNoRight, store.RuleSameInspector:
			status = http.StatusForbidden
		case store.RuleChanged, store.RuleUsedBefore:
			status = http.StatusConflict
		case store.RuleLocked:
			status = http.StatusTooManyRequests
		}
		return answer{status, "This cannot be done", refusal.Sentence, false}
	case errors.Is(err, store.ErrNotFound):
		return answer{http.StatusNotFound, "Not found", "The book of this site has nothing under that name. Check the number or scan the tag again.", false}
	case errors.Is(err, errSignOn):
		return answer{http.StatusUnauthorized, "Sign on first", "Nobody is signed on here, or the sitting has ended. What you typed is kept on this tablet.", false}
	case errors.Is(err, errNotEnrolled):
		return answer{http.StatusForbidden, "Not an enrolled tablet", "A badge or PIN works on an enrolled tablet only. Use your password, or ask an administrator to enrol this tablet.", false}
	case errors.Is(err, errNoRight):
		return answer{http.StatusForbidden, "Not in your role", "Your role does not include this. Ask a supervisor or an administrator.", false}
	case errors.Is(err, errCrossOrigin):
		return answer{http.StatusForbidden, "Refused", "The request came from another site. Open Coatbook itself and try again.", false}
	case errors.As(err, &tooLarge):
		return answer{http.StatusRequestEntityTooLarge, "Too much", "That is more than a form may hold. Nothing was saved.", false}
	case databaseAway(err):
		if r.Method == http.MethodPost {
			return answer{http.StatusServiceUnavailable, "Not saved", "Not saved: the book cannot be written just now. Nothing is lost on this tablet; try again in a moment.", true}
		}
		return answer{http.StatusServiceUnavailable, "Not available", "The book cannot be read just now. Try again in a moment.", true}
	case errors.As(err, new(*url.Error)) || strings.Contains(err.Error(), "invalid URL escape"):
		return answer{http.StatusBadRequest, "Not readable", "The form could not be read. Go back and send it again.", false}
	}
	return answer{http.StatusInternalServerError, "Something went wrong", "Something went wrong on our side, and nothing was saved by this step.", true}
}

// databaseAway reports whether err means that the database does not answer or cannot be written now.
func databaseAway(err error) bool {
	var connect *pgconn.ConnectError
	var pg *pgconn.PgError
	if errors.As(err, &pg) {
		// Class 08 connection, 53 resources (disk full), 57 operator intervention, 58 system; 25006 read-only.
		for _, class := range []string{"08", "53", "57", "58"} {
			if strings.HasPrefix(pg.Code, class) {
				return true
			}
		}
		return pg.Code == "25006"
	}
	return errors.As(err, &connect) || pgconn.SafeToRetry(err) || strings.Contains(err.Error(), "unexpected EOF") ||
		strings.Contains(err.Error(), "conn closed") || strings.Contains(err.Error(), "closed pool")
}

// fail answers a request that could not be done.
func (s *Server) fail(w http.ResponseWriter, r *http.Request, err error) {
	a := answerTo(r, err)
	reference := ""
	if a.surprise {
		reference = middleware.GetReqID(r.Context())
		s.log.Error("request failed", "method", r.Method, "path", r.URL.Path, "err", err, "request", reference)
	}
	if a.status == http.StatusServiceUnavailable || a.status == http.StatusTooManyRequests {
		w.Header().Set("Retry-After", "5")
	}
	w.Header().Del("Content-Disposition")
	if r.Header.Get("X-Outbox") != "" || r.Header.Get("HX-Request") != "" {
		w.Header().Set("Refused-Because", url.PathEscape(a.sentence))
	}
	if errors.Is(err, errSignOn) && r.Method == http.MethodGet && r.Header.Get("X-Outbox") == "" && r.Header.Get("HX-Request") == "" {
		http.Redirect(w, r, "/signon?next="+url.QueryEscape(r.URL.RequestURI()), http.StatusSeeOther)
		return
	}
	v, _ := r.Context().Value(visitKey{}).(*visit)
	view := page.MessageView{Frame: s.benchFrame(v, a.heading), Heading: a.heading, Sentence: a.sentence, Reference: reference,
		Links: []page.Link{{Href: "/bench", Words: "To the bench"}}}
	if a.status == http.StatusUnauthorized {
		view.Links = []page.Link{{Href: "/signon", Words: "Sign on"}}
	}
	if err := s.render(w, r, a.status, page.Message(view)); err != nil {
		s.log.Error("the error page failed", "err", err)
		plain(w, http.StatusInternalServerError, a.sentence)
	}
}

// recovered turns a panic into a failed request instead of a broken connection.
func (s *Server) recovered(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		defer func() {
			if p := recover(); p != nil {
				if p == http.ErrAbortHandler {
					panic(p)
				}
				s.log.Error("panic", "path", r.URL.Path, "panic", fmt.Sprint(p), "stack", string(debug.Stack()))
				s.fail(w, r, fmt.Errorf("panic: %v", p))
			}
		}()
		next.ServeHTTP(w, r)
	})
}
