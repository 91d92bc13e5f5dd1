package web

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strings"
	"time"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/page"
	"coatbook/web/ui"
)

// mostTraced is how many parts the page lists; the file always holds them all.
const mostTraced = 1000

// minute is how the list prints a time of the site; the file has it with its offset.
const minute = "2006-01-02 15:04"

// traceAsked reads what a trace starts from; problem is a sentence when it cannot be read.
func traceAsked(r *http.Request, v *visit) (f store.TraceFrom, problem string) {
	values := r.URL.Query()
	if r.Method == http.MethodPost {
		values = r.PostForm
	}
	f.Kind, f.Name = values.Get("kind"), strings.TrimSpace(values.Get("name"))
	// A scanned tag carries its kind in front.
	if i := strings.IndexByte(f.Name, '.'); i > 0 && slices.Contains([]string{"LOT", "GAUGE", "BATH", "RACK", "LOAD", "STATION"}, f.Name[:i]) {
		f.Name = f.Name[i+1:]
	}
	if f.Kind == "" {
		f.Kind = "lot"
	}
	for _, end := range []struct {
		name string
		at   *time.Time
	}{{"from", &f.From}, {"to", &f.To}} {
		text := values.Get(end.name)
		if text == "" {
			continue
		}
		at, err := time.ParseInLocation("2006-01-02T15:04", text, v.site.Location())
		if err != nil {
			return f, fmt.Sprintf("“%s” is not a time. Enter one such as 2026-11-24T14:30.", text)
		}
		*end.at = at
	}
	if !f.To.IsZero() && !f.To.After(f.From) {
		return f, "The window must end after it begins."
	}
	return f, ""
}

// tracePage leads from one thing to every part it touched.
func (s *Server) tracePage(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	f, problem := traceAsked(r, v)
	return s.showTrace(w, r, v, f, problem, nil)
}

// traceFile is the same list as CSV, whole.
func (s *Server) traceFile(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	f, problem := traceAsked(r, v)
	if problem != "" {
		return &store.Refusal{Rule: store.RuleInvalid, Sentence: problem}
	}
	parts, err := s.store.Trace(r.Context(), v.site.ID, f)
	if err != nil {
		return err
	}
	if err := s.store.Note(r.Context(), v.actor, store.Event{Verb: "exported", SubjectKind: "export", After: map[string]any{"file": "trace.csv", "kind": f.Kind,
		"name": f.Name, "parts": len(parts)}}); err != nil {
		return err
	}
	var b bytes.Buffer
	if err := store.WriteTrace(&b, v.site, parts); err != nil {
		return err
	}
	csvHeaders(w, "trace.csv")
	_, err = b.WriteTo(w)
	return err
}

// mockRecall runs the trace against the clock and keeps the exercise in the events.
func (s *Server) mockRecall(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	f, problem := traceAsked(r, v)
	if problem != "" || f.Name == "" {
		return s.showTrace(w, r, v, f, problem, nil)
	}
	m, err := s.store.MockRecall(r.Context(), v.actor, f)
	if errors.Is(err, store.ErrNotFound) {
		return s.showTrace(w, r, v, f, "", nil)
	}
	if err != nil {
		return err
	}
	return s.showTrace(w, r, v, f, "", &m)
}

func (s *Server) showTrace(w http.ResponseWriter, r *http.Request, v *visit, f store.TraceFrom, problem string, recall *store.MockRecall) error {
	zone := v.site.Location()
	view := page.TraceView{Frame: s.deskFrame(v, "Trace", "Trace"), Title: "Which parts did it touch?", Name: f.Name, Problem: problem,
		From: atForm(f.From, zone), To: atForm(f.To, zone), MayRecall: v.actor.Has(store.Supervisor, store.Engineer)}
	label := ""
	for _, k := range store.TraceKinds {
		view.Kinds = append(view.Kinds, ui.Choice{Value: k.Kind, Label: k.Label, Chosen: k.Kind == f.Kind})
		if k.Kind == f.Kind {
			label = k.Label
		}
	}
	names, err := s.store.TraceNames(r.Context(), v.site.ID, f.Kind, 500)
	if err != nil {
		return err
	}
	view.Names = names
	if f.Name == "" || problem != "" {
		status := http.StatusOK
		if problem != "" {
			status = http.StatusUnprocessableEntity
		}
		return s.render(w, r, status, page.Trace(view))
	}
	var parts []store.TracedPart
	if recall != nil {
		parts = recall.Parts
	} else if parts, err = s.store.Trace(r.Context(), v.site.ID, f); errors.Is(err, store.ErrNotFound) {
		view.Problem = fmt.Sprintf("The site has no %s “%s”. Choose one from the list or scan its tag.", strings.ToLower(label), f.Name)
		return s.render(w, r, http.StatusUnprocessableEntity, page.Trace(view))
	} else if err != nil {
		return err
	}
	s.fillTrace(&view, v, f, label, parts)
	if recall != nil {
		view.Recall = recallWords(*recall)
	}
	return s.render(w, r, http.StatusOK, page.Trace(view))
}

func (s *Server) fillTrace(view *page.TraceView, v *visit, f store.TraceFrom, label string, parts []store.TracedPart) {
	zone := v.site.Location()
	count := store.CountTraced(parts)
	view.Title = fmt.Sprintf("%s %s touched %s", label, f.Name, counted(len(parts), "part"))
	view.Facts = []page.DeskFact{page.Plain("In house", fmt.Sprint(count.InHouse)), page.Plain("Released, not shipped", fmt.Sprint(count.Released)), page.Plain("Shipped", fmt.Sprint(count.Shipped))}
	for _, customer := range slices.Sorted(maps.Keys(count.Customers)) {
		view.Facts = append(view.Facts, page.Plain("Released or shipped to "+customer, fmt.Sprint(count.Customers[customer])))
	}
	asked := []string{"kind", f.Kind, "name", f.Name}
	if !f.From.IsZero() {
		asked = append(asked, "from", atForm(f.From, zone))
	}
	if !f.To.IsZero() {
		asked = append(asked, "to", atForm(f.To, zone))
	}
	view.File = page.Ref{Text: "All of them as CSV", Href: address("/trace/trace.csv", asked...)}
	for i, p := range parts {
		if i == mostTraced {
			view.Cut = fmt.Sprintf("The first %d of %d are shown. The file holds all.", mostTraced, len(parts))
			break
		}
		row := page.TraceRow{Serial: page.Ref{Text: p.Serial, Href: subjectHref("part", p.Serial)}, What: fmt.Sprintf("%s, job %s, %s", p.PartNumber, p.JobNumber, p.Customer),
			Standing: partStanding(p.Status, quality.Kind("")), Times: fmt.Sprint(p.Times), First: p.FirstAt.In(zone).Format(minute), Last: p.LastAt.In(zone).Format(minute)}
		if p.ReleasedAt != nil {
			row.Released = p.ReleasedAt.In(zone).Format(minute)
		}
		row.Papers = papersRefs(p.Papers, zone)
		view.Rows = append(view.Rows, row)
	}
}

func recallWords(m store.MockRecall) string {
	took := m.Took.Round(time.Millisecond).String()
	return fmt.Sprintf("Mock recall: %s found in %s, %d in house, %d released and %d shipped, for %s. The exercise is in the events.", counted(len(m.Parts), "part"), took,
		m.InHouse, m.Released, m.Shipped, counted(len(m.Customers), "customer"))
}

// papersRefs are the shipment and certificate of a part, empty for one that has neither.
func papersRefs(p store.Papers, zone *time.Location) []page.Ref {
	var refs []page.Ref
	if p.Shipment != "" {
		refs = append(refs, page.Ref{Text: p.Shipment, Href: "/shipments/" + p.Shipment}, page.Ref{Text: "note " + p.DeliveryNote + ", " + p.ShippedAt.In(zone).Format("2006-01-02")})
	}
	if p.Certificate != "" {
		refs = append(refs, page.Ref{Text: p.Certificate, Href: "/certificates/" + p.Certificate})
	}
	return refs
}

// papersWords are the same for print and for lists.
func papersWords(p store.Papers, zone *time.Location) string {
	var words []string
	if p.Shipment != "" {
		words = append(words, fmt.Sprintf("shipped %s, %s, delivery note %s", p.ShippedAt.In(zone).Format("2 January 2006"), p.Shipment, p.DeliveryNote))
	}
	if p.Certificate != "" {
		words = append(words, "certificate "+p.Certificate)
	}
	return strings.Join(words, ", ")
}

// atForm is a time as a form's field takes it, empty for none.
func atForm(at time.Time, zone *time.Location) string {
	if at.IsZero() {
		return ""
	}
	return at.In(zone).Format("2006-01-02T15:04")
}
