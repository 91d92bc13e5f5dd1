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
	routes = append(routes, s.reviewRoutes()...)
	return append(routes, s.setupRoutes()...)
}

// benchRoutes are the pages where work is recorded.
func (s *Server) benchRoutes() []route {
	return []route{
		{"GET", "/bench", everyone, s.benchPage, false},
		{"GET", "/scan", everyone, s.scan, false},
		{"GET", "/parts/{serial}/weld", bench, s.weld, false},
		{"POST", "/parts/{serial}/weld", bench, s.weld, false},
		{"GET", "/parts/{serial}/finish", bench, s.finish, false},
		{"POST", "/parts/{serial}/finish", bench, s.finish, false},
		{"GET", "/parts/{serial}/film", bench, s.film, false},
		{"POST", "/parts/{serial}/film", bench, s.film, false},
		{"GET", "/parts/{serial}/cure-test", bench, s.cureTestOnPart, false},
		{"POST", "/parts/{serial}/cure-test", bench, s.cureTestOnPart, false},
		{"GET", "/racks", everyone, s.racks, false},
		{"POST", "/racks", bench, s.hangRack, false},
		{"GET", "/racks/{number}", everyone, s.rack, false},
		{"POST", "/racks/{number}/parts", bench, s.hangPart, false},
		{"POST", "/racks/{number}/parts/{serial}/remove", bench, s.takeOff, false},
		{"POST", "/racks/{number}/unload", bench, s.unloadRack, false},
		{"GET", "/racks/{number}/pretreatment", bench, s.pretreatment, false},
		{"POST", "/racks/{number}/pretreatment", bench, s.pretreatment, false},
		{"GET", "/racks/{number}/coating", bench, s.coating, false},
		{"POST", "/racks/{number}/coating", bench, s.coating, false},
		{"GET", "/loads", everyone, s.loads, false},
		{"POST", "/loads", bench, s.openLoad, false},
		{"GET", "/loads/{number}", everyone, s.load, false},
		{"POST", "/loads/{number}/racks", bench, s.addRack, false},
		{"GET", "/loads/{number}/cure", bench, s.cure, false},
		{"POST", "/loads/{number}/cure", bench, s.cure, false},
		{"GET", "/loads/{number}/cure-test", bench, s.cureTest, false},
		{"POST", "/loads/{number}/cure-test", bench, s.cureTest, false},
		{"GET", "/gauges/{code}/verification", bench, s.verification, false},
		{"POST", "/gauges/{code}/verification", bench, s.verification, false},
	}
}

// setupRoutes are the pages where the shop is set up.
func (s *Server) setupRoutes() []route {
	return []route{}
}
