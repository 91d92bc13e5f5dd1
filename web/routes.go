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
		{"GET", "/sheets", anybody, s.sheets, false},
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
		{"GET", "/parts/{serial}/first-article", bench, s.firstArticle, false},
		{"POST", "/parts/{serial}/first-article", bench, s.firstArticle, false},
		{"POST", "/parts/{serial}/first-article/name", bench, s.nameFirstArticle, false},
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
		{"POST", "/racks/{number}/panels", bench, s.addPanelToRack, false},
		{"POST", "/loads/{number}/panels", bench, s.addPanelToLoad, false},
		{"GET", "/panels/{code}", everyone, s.panelPage, false},
		{"GET", "/panels/{code}/test", bench, s.panelTest, false},
		{"POST", "/panels/{code}/test", bench, s.panelTest, false},
		{"GET", "/panels/{code}/cure-test", bench, s.cureTestOnPanel, false},
		{"POST", "/panels/{code}/cure-test", bench, s.cureTestOnPanel, false},
		{"GET", "/loads/{number}/cure", bench, s.cure, false},
		{"POST", "/loads/{number}/cure", bench, s.cure, false},
		{"GET", "/loads/{number}/profile", bench, s.profileUpload, false},
		{"POST", "/loads/{number}/profile", bench, s.receiveProfile, false},
		{"GET", "/loads/{number}/profile/{id}", bench, s.profile, false},
		{"POST", "/loads/{number}/profile/{id}", bench, s.profile, false},
		{"GET", "/ovens/{code}/survey", bench, s.ovenSurvey, false},
		{"POST", "/ovens/{code}/survey", bench, s.ovenSurvey, false},
		{"GET", "/baths", everyone, s.bathList, false},
		{"GET", "/baths/{code}", everyone, s.bathLog, false},
		{"GET", "/baths/{code}/reading", bench, s.bathReading, false},
		{"POST", "/baths/{code}/reading", bench, s.bathReading, false},
		{"GET", "/baths/{code}/addition", bench, s.bathAddition, false},
		{"POST", "/baths/{code}/addition", bench, s.bathAddition, false},
		{"GET", "/loads/{number}/cure-test", bench, s.cureTest, false},
		{"POST", "/loads/{number}/cure-test", bench, s.cureTest, false},
		{"GET", "/gauges/{code}/verification", bench, s.verification, false},
		{"POST", "/gauges/{code}/verification", bench, s.verification, false},
		{"GET", "/gauges/{code}/calibration", deciders, s.calibration, false},
		{"POST", "/gauges/{code}/calibration", deciders, s.calibration, false},
	}
}

// setupRoutes are the pages where the shop is set up.
func (s *Server) setupRoutes() []route {
	return []route{
		{"GET", "/setup", setup, s.setupPage, false},
		{"GET", "/setup/site", admins, s.sitePage, false},
		{"POST", "/setup/site", admins, s.changeSite, false},
		{"GET", "/setup/stations", admins, s.stationsPage, false},
		{"POST", "/setup/stations", admins, s.addStation, false},
		{"GET", "/setup/stations/{code}", admins, s.stationPage, false},
		{"POST", "/setup/stations/{code}", admins, s.changeStation, false},
		{"GET", "/setup/people", admins, s.peoplePage, false},
		{"POST", "/setup/people", admins, s.addPerson, false},
		{"GET", "/setup/people/{id}", admins, s.personPage, false},
		{"POST", "/setup/people/{id}", admins, s.changePerson, false},
		{"POST", "/setup/people/{id}/invite", admins, s.invitePerson, false},
		{"POST", "/setup/people/{id}/badge", admins, s.issueBadge, false},
		{"POST", "/setup/people/{id}/unlock", admins, s.unlockPerson, false},
		{"POST", "/setup/people/{id}/qualifications", admins, s.addQualification, false},
		{"GET", "/setup/people/{id}/qualifications/{qualification}", admins, s.qualificationPage, false},
		{"POST", "/setup/people/{id}/qualifications/{qualification}", admins, s.endQualification, false},
		{"GET", "/setup/tablets", admins, s.tabletsPage, false},
		{"POST", "/setup/tablets", admins, s.addTablet, false},
		{"GET", "/setup/tablets/{id}", admins, s.tabletPage, false},
		{"POST", "/setup/tablets/{id}", admins, s.revokeTablet, false},
		{"GET", "/setup/weld-limits", engineers, s.weldLimitsPage, false},
		{"POST", "/setup/weld-limits", engineers, s.saveWeldLimit, false},
		{"POST", "/setup/weld-limits/remove", engineers, s.removeWeldLimit, false},
		{"GET", "/setup/specs", engineers, s.specsPage, false},
		{"POST", "/setup/specs", engineers, s.addSpec, false},
		{"GET", "/setup/specs/{code}", engineers, s.specPage, false},
		{"POST", "/setup/specs/{code}", engineers, s.newSpecRevision, false},
		{"GET", "/setup/specs/{code}/{id}", engineers, s.specRevisionPage, false},
		{"POST", "/setup/specs/{code}/{id}", engineers, s.saveSpecDraft, false},
		{"GET", "/setup/specs/{code}/{id}/approve", approvers, s.approveSpecPage, false},
		{"POST", "/setup/specs/{code}/{id}/approve", approvers, s.approveSpec, true},
		{"POST", "/setup/specs/{code}/{id}/withdraw", approvers, s.withdrawSpec, false},
		{"GET", "/setup/part-numbers", engineers, s.partNumbersPage, false},
		{"POST", "/setup/part-numbers", engineers, s.addPartNumber, false},
		{"GET", "/setup/part-numbers/{id}", engineers, s.partNumberPage, false},
		{"POST", "/setup/part-numbers/{id}", engineers, s.changePartNumber, false},
		{"POST", "/setup/part-numbers/{id}/plan", engineers, s.revisePlan, false},
		{"POST", "/setup/part-numbers/{id}/drawing", engineers, s.reviseDrawing, false},
		{"GET", "/setup/materials", engineers, s.materialsPage, false},
		{"POST", "/setup/materials", engineers, s.addMaterial, false},
		{"GET", "/setup/materials/{code}", engineers, s.materialPage, false},
		{"POST", "/setup/materials/{code}", engineers, s.changeMaterial, false},
		{"GET", "/setup/cautions", setup, s.cautionsPage, false},
		{"POST", "/setup/cautions", setup, s.reviewCautions, false},
		{"GET", "/setup/lots", setup, s.lotsPage, false},
		{"POST", "/setup/lots", setup, s.addLot, false},
		{"GET", "/setup/lots/{id}", setup, s.lotPage, false},
		{"POST", "/setup/lots/{id}", setup, s.changeLot, false},
		{"GET", "/setup/baths", engineers, s.bathsPage, false},
		{"POST", "/setup/baths", engineers, s.addBath, false},
		{"GET", "/setup/baths/{code}", engineers, s.bathPage, false},
		{"POST", "/setup/baths/{code}", engineers, s.changeBath, false},
		{"POST", "/setup/baths/{code}/controls", engineers, s.setBathControl, false},
		{"GET", "/setup/ovens", engineers, s.ovensPage, false},
		{"GET", "/setup/ovens/{code}", engineers, s.ovenPage, false},
		{"POST", "/setup/ovens/{code}", engineers, s.changeOven, false},
		{"GET", "/setup/gauges", setup, s.gaugesPage, false},
		{"POST", "/setup/gauges", engineers, s.addGauge, false},
		{"GET", "/setup/gauges/{code}", setup, s.gaugePage, false},
		{"POST", "/setup/gauges/{code}", engineers, s.changeGauge, false},
		{"POST", "/setup/gauges/{code}/status", setup, s.changeGaugeStatus, false},
		{"GET", "/setup/jobs", setup, s.jobsPage, false},
		{"POST", "/setup/jobs", setup, s.addJob, false},
		{"GET", "/setup/jobs/{number}", setup, s.jobPage, false},
		{"POST", "/setup/jobs/{number}/parts", setup, s.addParts, false},
		{"GET", "/setup/jobs/{number}/hangtags", setup, s.hangtagsPage, false},
	}
}
