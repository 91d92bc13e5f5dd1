package web

import (
	"bytes"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"coatbook/store"
	"coatbook/web/page"
)

// exportFilter reads what is to be exported; without dates, the last 30 shop days.
func (s *Server) exportFilter(r *http.Request) (f store.ExportFilter, problem string) {
	today, _ := visitFrom(r).site.ShopDay(s.store.Clock())
	p, problem := periodOf(r, today, 30)
	return store.ExportFilter{From: p.From, To: p.To, Job: strings.TrimSpace(r.URL.Query().Get("job")), PartNumber: r.URL.Query().Get("part_number")}, problem
}

// exportsPage offers the files, each with the number of its lines.
func (s *Server) exportsPage(w http.ResponseWriter, r *http.Request) error {
	v, ctx := visitFrom(r), r.Context()
	f, problem := s.exportFilter(r)
	view := page.ExportsView{Frame: s.deskFrame(v, "Exports", "Exports"), From: f.From.Format(time.DateOnly), To: f.To.Format(time.DateOnly), Job: f.Job, Problem: problem,
		PartNumbers: []page.ListChoice{{Text: "all"}}}
	numbers, err := s.store.PartNumbers(ctx, v.site.ID)
	if err != nil {
		return err
	}
	for _, n := range numbers {
		view.PartNumbers = append(view.PartNumbers, page.ListChoice{Value: n.Code, Text: n.Code + " " + n.Name, On: n.Code == f.PartNumber})
	}
	if problem != "" {
		return s.render(w, r, http.StatusUnprocessableEntity, page.Exports(view))
	}
	for _, file := range store.ExportFiles() {
		lines, err := s.store.CountExport(ctx, v.site, file.Name, f)
		if err != nil {
			return err
		}
		view.Files = append(view.Files, page.ExportFile{Name: file.Name, Line: file.Line, Rows: grouped(lines), Href: address("/exports/"+file.Name,
			"from", view.From, "to", view.To, "job", f.Job, "part_number", f.PartNumber)})
	}
	view.Files = append(view.Files, page.ExportFile{Name: "dictionary.csv", Line: "one column of the files above: type, unit, meaning, codes", Rows: grouped(store.DictionaryLines()), Href: "/exports/dictionary.csv"})
	return s.render(w, r, http.StatusOK, page.Exports(view))
}

// exportFile streams one file. An error after the first byte breaks the connection off, so that a short file is noticed.
func (s *Server) exportFile(w http.ResponseWriter, r *http.Request) error {
	v, ctx, name := visitFrom(r), r.Context(), chi.URLParam(r, "file")
	if name == "dictionary.csv" {
		var b bytes.Buffer
		if err := store.Dictionary(&b); err != nil {
			return err
		}
		csvHeaders(w, name)
		_, err := b.WriteTo(w)
		return err
	}
	if !slices.ContainsFunc(store.ExportFiles(), func(f store.ExportFile) bool { return f.Name == name }) {
		return fmt.Errorf("export %q: %w", name, store.ErrNotFound)
	}
	f, problem := s.exportFilter(r)
	if problem != "" {
		return &store.Refusal{Rule: store.RuleInvalid, Sentence: problem}
	}
	// Who took which records out is part of the book, also when the download breaks off.
	if err := s.store.Note(ctx, v.actor, store.Event{Verb: "exported", SubjectKind: "export", After: map[string]string{"file": name,
		"from": f.From.Format(time.DateOnly), "to": f.To.Format(time.DateOnly), "job": f.Job, "part_number": f.PartNumber, "layout": store.ExportVersion}}); err != nil {
		return err
	}
	out := &begun{ResponseWriter: w, name: name}
	// A year of readings takes longer than a page may.
	_ = http.NewResponseController(w).SetWriteDeadline(time.Time{})
	if _, err := s.store.Export(ctx, v.site, name, f, out); err != nil {
		if !out.started {
			return err
		}
		s.log.Warn("export broken off", "file", name, "err", err)
		panic(http.ErrAbortHandler)
	}
	return nil
}

func csvHeaders(w http.ResponseWriter, name string) {
	w.Header().Set("Content-Type", "text/csv; charset=utf-8; header=present")
	w.Header().Set("Content-Disposition", `attachment; filename="`+name+`"`)
}

// begun sends the headers with the first bytes, so that a query that fails at once is still answered with a page.
type begun struct {
	http.ResponseWriter
	name    string
	started bool
}

func (b *begun) Write(p []byte) (int, error) {
	if !b.started {
		b.started = true
		csvHeaders(b.ResponseWriter, b.name)
	}
	return b.ResponseWriter.Write(p)
}
