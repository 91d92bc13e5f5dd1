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
		{"GET", "/records/{id}/logger-file/{file}", everyone, s.loggerFile, false},
		{"GET", "/records/{id}/correct", bench, s.correct, false},
		{"POST", "/records/{id}/correct", bench, s.correct, true},
		{"GET", "/records/{id}/void", bench, s.voidRecord, false},
		{"POST", "/records/{id}/void", bench, s.voidRecord, true},
		{"POST", "/records/{id}/take-back", bench, s.takeBack, false},
		{"GET", "/holds", everyone, s.holdsPage, false},
		{"GET", "/holds/{number}", everyone, s.holdPage, false},
		{"GET", "/holds/new", deciders, s.newHoldPage, false},
		{"POST", "/holds", deciders, s.openHold, false},
		{"POST", "/holds/{number}/parts", deciders, s.extendHold, false},
		{"GET", "/holds/{number}/action", deciders, s.holdAction, false},
		{"POST", "/holds/{number}/action", deciders, s.holdAction, false},
		{"POST", "/holds/{number}/files", bench, s.addHoldFile, false},
		{"POST", "/records/{id}/files", bench, s.addRecordFile, false},
		{"GET", "/files/{file}", everyone, s.file, false},
		{"GET", "/files/{file}/thumbnail", everyone, s.thumbnail, false},
		{"GET", "/holds/{number}/decide", deciders, s.decidePage, false},
		{"POST", "/holds/{number}/decide", deciders, s.decide, true},
		{"GET", "/gauges/{code}", everyone, s.devicePage, false},
		{"POST", "/gauges/{code}/doubt", bench, s.doubtDevice, false},
		{"POST", "/gauges/{code}/studies", engineers, s.addStudy, false},
		{"GET", "/recalls", everyone, s.recallsPage, false},
		{"GET", "/recalls/{number}", everyone, s.recallPage, false},
		{"GET", "/recalls/{number}/notice", everyone, s.recallNotice, false},
		{"POST", "/recalls/{number}/decide", deciders, s.decideRecall, true},
		{"POST", "/recalls/{number}/close", deciders, s.closeRecall, true},
		{"GET", "/reviews", everyone, s.reviewsPage, false},
		{"GET", "/reviews/{date}", everyone, s.reviewPage, false},
		{"POST", "/reviews/{date}", deciders, s.signReview, true},
		{"GET", "/trace", everyone, s.tracePage, false},
		{"GET", "/trace/{file}", exporters, s.traceFile, false},
		{"POST", "/trace", releasers, s.mockRecall, false},
		{"GET", "/charts/film", everyone, s.filmChart, false},
		{"GET", "/exports", exporters, s.exportsPage, false},
		{"GET", "/exports/{file}", exporters, s.exportFile, false},
	}
}
