package web

import "net/http"

// A route is one address, who may use it, and what answers it. slow ones hash secrets and are limited per client address.
type route struct {
	method, pattern string
	who             access
	handle          func(http.ResponseWriter, *http.Request) error
	slow            bool
}

// routes is every address the application answers and, in its third column, the role matrix.
func (s *Server) routes() []route {
	routes := []route{
		{"GET", "/", anybody, s.home, false},
		{"GET", "/signon", anybody, s.signOnPage, false},
		{"POST", "/signon/pin", anybody, s.signOnByPIN, true},
		{"POST", "/signon/badge", anybody, s.signOnByBadge, true},
		{"POST", "/signon/password", anybody, s.signOnByPassword, true},
		{"POST", "/lock", anybody, s.lock, false},
		{"GET", "/invite/{secret}", anybody, s.invitePage, true},
		{"POST", "/invite/{secret}", anybody, s.acceptInvite, true},
		{"GET", "/enrol/{secret}", anybody, s.enrolPage, true},
		{"POST", "/enrol/{secret}", anybody, s.enrol, true},
	}
	routes = append(routes, s.benchRoutes()...)
	routes = append(routes, s.deskRoutes()...)
	return append(routes, s.setupRoutes()...)
}

// benchRoutes are the pages where work is recorded.
func (s *Server) benchRoutes() []route {
	return []route{}
}

// deskRoutes are the pages where work is reviewed and decided.
func (s *Server) deskRoutes() []route {
	return []route{}
}

// setupRoutes are the pages where the shop is set up.
func (s *Server) setupRoutes() []route {
	return []route{}
}
