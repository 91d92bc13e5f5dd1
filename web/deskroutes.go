package web

import "coatbook/store"

// Who may do what at the desk, besides the groups of session.go.
var (
	releasers = access{roles: []string{store.Supervisor, store.Engineer}}
	exporters = access{roles: []string{store.Supervisor, store.Engineer, store.Administrator, store.Auditor}}
)

// reviewRoutes are the pages where work is reviewed, decided and taken out.
func (s *Server) reviewRoutes() []route {
	return []route{
		{"GET", "/day", everyone, s.dayPage, false},
		{"GET", "/day/live", everyone, s.dayLive, false},
		{"GET", "/parts", everyone, s.partsPage, false},
		{"GET", "/parts/{serial}", everyone, s.partPage, false},
		{"GET", "/parts/{serial}/release", releasers, s.releasePage, false},
		{"POST", "/parts/{serial}/release", releasers, s.release, true},
		{"GET", "/records/{id}", everyone, s.recordPage, false},
		{"GET", "/holds", everyone, s.holdsPage, false},
		{"GET", "/holds/{number}", everyone, s.holdPage, false},
		{"POST", "/holds/{number}/parts", deciders, s.extendHold, false},
		{"GET", "/holds/{number}/decide", deciders, s.decidePage, false},
		{"POST", "/holds/{number}/decide", deciders, s.decide, true},
		{"GET", "/charts/film", everyone, s.filmChart, false},
		{"GET", "/exports", exporters, s.exportsPage, false},
		{"GET", "/exports/{file}", exporters, s.exportFile, false},
	}
}
