package web

import (
	"fmt"
	"net/http"
	"time"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/page"
)

// mostParts is how many rows a search shows; a list behind a number is never cut.
const mostParts = 200

// partsPage lists the parts behind a number, or those found by a search. The address says which question is asked:
// first=KIND&outcome=… through=KIND, end=…, fault=…, list=film, status=…, else q.
func (s *Server) partsPage(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	today, _ := v.site.ShopDay(s.store.Clock())
	p, problem := periodOf(r, today, 1)
	view := page.PartsView{Subjects: "Part", Empty: "Nothing is in this list.", Problem: problem}
	status := http.StatusOK
	var err error
	q := r.URL.Query()
	words := periodWords(p, today)
	switch {
	case problem != "":
		view.Title, status = "Parts", http.StatusUnprocessableEntity
	case q.Get("first") != "":
		err = s.listFirst(r, v, p, words, &view)
	case q.Get("through") != "":
		err = s.listThrough(r, v, p, words, &view)
	case q.Get("end") != "":
		err = s.listEnds(r, v, p, words, &view)
	case q.Get("fault") != "":
		err = s.listFault(r, v, p, words, &view)
	case q.Get("list") == "film":
		err = s.listFilm(r, v, p, words, &view)
	default:
		err = s.searchParts(r, v, &view)
	}
	if err != nil {
		return err
	}
	view.Frame = s.deskFrame(v, view.Title, "Parts")
	return s.render(w, r, status, page.Parts(view))
}

func recordRow(l store.ListedRecord, zone *time.Location, day time.Time) page.PartsRow {
	row := page.PartsRow{Subject: page.Ref{Text: l.Subject, Href: subjectHref(l.SubjectKind, l.Subject)}, What: l.What,
		Record: page.Ref{Text: l.Kind.Name() + ": " + verdictStanding(l.Verdict).Word, Href: "/records/" + l.RecordID.String()},
		Found:  l.Sentence, When: clock(l.ObservedAt, zone, day), Stamp: stamp(l.ObservedAt, zone)}
	if l.Status != "" {
		row.Standing = partStanding(l.Status, "")
	}
	return row
}

func partRow(p store.PartRow, zone *time.Location, day time.Time) page.PartsRow {
	return page.PartsRow{Subject: page.Ref{Text: p.Serial, Href: subjectHref("part", p.Serial)}, What: fmt.Sprintf("%s %s, job %s, %s", p.PartName, p.PartNumber, p.JobNumber, p.Customer),
		Standing: partStanding(p.Status, p.NextKind), When: clock(p.ChangedAt, zone, day), Stamp: stamp(p.ChangedAt, zone)}
}

func (v *visit) partRows(parts []store.PartRow, day time.Time) []page.PartsRow {
	rows := make([]page.PartsRow, len(parts))
	for i, p := range parts {
		rows[i] = partRow(p, v.site.Location(), day)
	}
	return rows
}

// outcomeWords say an outcome in a title.
var outcomeWords = map[string]string{"": "had their first %s", "passed": "passed %s the first time", "not_passed": "did not pass %s the first time",
	"failed": "failed %s the first time", "incomplete": "had an incomplete first %s"}

func (s *Server) listFirst(r *http.Request, v *visit, p store.Period, words string, view *page.PartsView) error {
	q := r.URL.Query()
	kind, outcome := quality.Kind(q.Get("first")), q.Get("outcome")
	records, err := s.store.FirstRecords(r.Context(), v.site.ID, p, kind, outcome)
	if err != nil {
		return err
	}
	noun := "part"
	if subjects := quality.Subjects[kind]; len(subjects) > 0 && subjects[0] != quality.OnPart {
		noun = string(subjects[0])
		view.Subjects = map[string]string{"rack": "Rack", "load": "Oven load"}[noun]
	}
	view.Title = fmt.Sprintf("%s %s", counted(len(records), noun), fmt.Sprintf(outcomeWords[outcome], lowerFirst(kind.Name())))
	view.Note = words + "."
	for _, other := range []string{"", "passed", "not_passed"} {
		if other != outcome {
			view.Other = append(view.Other, page.Ref{Text: map[string]string{"": "all first ones", "passed": "those that passed", "not_passed": "those that did not"}[other],
				Href: address("/parts", append(periodQuery(p), "first", string(kind), "outcome", other)...)})
		}
	}
	for _, l := range records {
		view.Rows = append(view.Rows, recordRow(l, v.site.Location(), p.To))
	}
	return nil
}

func (s *Server) listThrough(r *http.Request, v *visit, p store.Period, words string, view *page.PartsView) error {
	kind := quality.Kind(r.URL.Query().Get("through"))
	parts, err := s.store.PartsThrough(r.Context(), v.site.ID, p, kind)
	if err != nil {
		return err
	}
	view.Title = fmt.Sprintf("%s went through %s", counted(len(parts), "part"), lowerFirst(kind.Name()))
	view.Note, view.Rows = words+", repeats included.", v.partRows(parts, p.To)
	return nil
}

func (s *Server) listEnds(r *http.Request, v *visit, p store.Period, words string, view *page.PartsView) error {
	which := r.URL.Query().Get("end")
	ends, err := s.store.Ends(r.Context(), v.site, p)
	if err != nil {
		return err
	}
	for _, e := range ends {
		released := e.Status == store.StatusReleased
		if which == "released" && !released || which == "other" && released {
			continue
		}
		row := page.PartsRow{Subject: page.Ref{Text: e.Serial, Href: subjectHref("part", e.Serial)}, What: e.What, Standing: partStanding(e.Status, ""),
			Found: "signed by " + e.By, When: clock(e.At, v.site.Location(), p.To), Stamp: stamp(e.At, v.site.Location())}
		if e.Concession {
			row.Found = "under concession, " + row.Found
		}
		view.Rows = append(view.Rows, row)
	}
	view.Title = fmt.Sprintf("%s came to their end", counted(len(view.Rows), "part"))
	switch which {
	case "released":
		view.Title = fmt.Sprintf("%s released", counted(len(view.Rows), "part"))
	case "other":
		view.Title = fmt.Sprintf("%s scrapped, returned or regraded", counted(len(view.Rows), "part"))
	}
	view.Note = words + "."
	return nil
}

func (s *Server) listFault(r *http.Request, v *visit, p store.Period, words string, view *page.PartsView) error {
	fault := r.URL.Query().Get("fault")
	records, err := s.store.FaultRecords(r.Context(), v.site.ID, p, fault)
	if err != nil {
		return err
	}
	view.Title = fmt.Sprintf("%s of %s", counted(len(records), "finding"), lowerFirst(quality.FaultName(fault)))
	view.Note, view.Subjects = words+".", "On"
	for _, l := range records {
		view.Rows = append(view.Rows, recordRow(l, v.site.Location(), p.To))
	}
	return nil
}

func filmFilter(r *http.Request, p store.Period) store.FilmFilter {
	q := r.URL.Query()
	return store.FilmFilter{Period: p, PartNumber: q.Get("part_number"), Booth: q.Get("booth"), Spec: q.Get("spec")}
}

func (s *Server) listFilm(r *http.Request, v *visit, p store.Period, words string, view *page.PartsView) error {
	checks, err := s.store.FilmChecks(r.Context(), v.site.ID, filmFilter(r, p))
	if err != nil {
		return err
	}
	view.Title = counted(len(checks), "film check")
	view.Note = words + "."
	for _, c := range checks {
		view.Rows = append(view.Rows, page.PartsRow{Subject: page.Ref{Text: c.Serial, Href: subjectHref("part", c.Serial)}, What: c.PartNumber + ", " + dash(c.BoothName),
			Standing: verdictStanding(c.Verdict), Record: page.Ref{Text: fmt.Sprintf("mean %s of %s", filmText(c.MeanUM, v.unit()), counted(c.N, "reading")), Href: "/records/" + c.RecordID.String()},
			Found: fmt.Sprintf("lowest spot %s, %s rev %s", filmText(c.LowestSpot, v.unit()), c.Spec, c.Revision), When: clock(c.ObservedAt, v.site.Location(), p.To), Stamp: stamp(c.ObservedAt, v.site.Location())})
	}
	return nil
}

func (s *Server) searchParts(r *http.Request, v *visit, view *page.PartsView) error {
	view.Search = r.URL.Query().Get("q")
	parts, err := s.store.FindParts(r.Context(), v.site.ID, view.Search, mostParts)
	if err != nil {
		return err
	}
	today, _ := v.site.ShopDay(s.store.Clock())
	view.Rows = v.partRows(parts, today)
	view.Title, view.Empty = "Parts that moved last", "No part is in the book yet. Open a job under Setup, Jobs, and give its parts their serials."
	if view.Search != "" {
		view.Title = fmt.Sprintf("%s found for “%s”", counted(len(parts), "part"), clipped(view.Search))
		view.Empty = fmt.Sprintf("No serial begins with “%s”, and no job or part number is called so.", clipped(view.Search))
	}
	if len(parts) == mostParts {
		view.Note = fmt.Sprintf("These are the %d that moved last. Type more of the serial, or a job or part number.", mostParts)
	}
	return nil
}
