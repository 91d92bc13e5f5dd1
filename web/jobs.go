package web

import (
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"
	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
	"coatbook/web/ui"
)

var (
	jobNumber   = form.Entry{Kind: form.Text, Name: "number", Label: "Job number", Hint: "letters, digits, dashes", Max: 30}
	jobCustomer = form.Entry{Kind: form.Text, Name: "customer", Label: "Customer", Max: 80}
	jobOrder    = form.Entry{Kind: form.Text, Name: "order", Label: "Customer's order", Max: 60, Optional: true}
	jobDue      = form.Entry{Kind: form.Date, Name: "due", Label: "Due on", Optional: true}
	jobEntries  = []form.Entry{jobNumber, jobCustomer, jobOrder, jobDue}

	partsSerials = form.Entry{Kind: form.Area, Name: "serials", Label: "Serials, one on each line", Hint: "or a prefix and a count below", Max: 25000, Optional: true, Wide: true}
	partsPrefix  = form.Entry{Kind: form.Text, Name: "prefix", Label: "Prefix", Hint: "such as J118-", Max: 34, Optional: true}
	partsFrom    = form.Entry{Kind: form.Whole, Name: "from", Label: "First number", Low: 0, High: 99999, Optional: true}
	partsCount   = form.Entry{Kind: form.Whole, Name: "count", Label: "How many", Low: 1, High: 500, Optional: true}
)

func (s *Server) jobsPage(w http.ResponseWriter, r *http.Request) error {
	return s.renderJobs(w, r, http.StatusOK, form.New(nil), "")
}

func (s *Server) renderJobs(w http.ResponseWriter, r *http.Request, status int, a *form.Answers, problem string) error {
	v := visitFrom(r)
	jobs, err := s.store.Jobs(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	table := page.SetupTable{Caption: "Jobs", Heads: []string{"Job", "Customer", "Order", "Received", "Due", "Parts", "Released", "Shipped"},
		Empty: "No job yet. Open the first one; its parts get their serials and hangtags next."}
	for _, j := range jobs {
		table.Rows = append(table.Rows, []page.SetupCell{page.Code(j.Number, "/setup/jobs/"+j.Number), page.Words(j.Customer), page.Words(j.OrderRef),
			page.Words(j.ReceivedAt.In(v.site.Location()).Format(time.DateOnly)), page.Words(dueWords(j.DueOn)), page.Figure(strconv.Itoa(j.Parts)), page.Figure(strconv.Itoa(j.Released)), page.Figure(strconv.Itoa(j.Shipped))})
	}
	return s.render(w, r, status, page.SetupList(page.SetupListView{Frame: s.deskFrame(v, "Jobs", "Setup"), Subject: "Jobs", Title: "Which jobs are in the shop?",
		Table: table, AddHead: "Open a job", Form: simpleForm("/setup/jobs", "Open the job", problem, fields(a, jobEntries...))}))
}

func dueWords(due *time.Time) string {
	if due == nil {
		return ""
	}
	return due.Format(time.DateOnly)
}

func (s *Server) addJob(w http.ResponseWriter, r *http.Request) error {
	a := form.New(r.PostForm)
	j := store.Job{Number: a.Text(jobNumber), Customer: a.Text(jobCustomer), OrderRef: a.Text(jobOrder)}
	if due := a.Date(jobDue); !due.IsZero() {
		j.DueOn = &due
	}
	problem, err := attempt(a, jobEntries, func() error {
		_, err := s.store.AddJob(r.Context(), visitFrom(r).actor, j)
		return err
	})
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderJobs(w, r, http.StatusUnprocessableEntity, a, problem)
	}
	return s.done(w, r, "/setup/jobs/"+j.Number, "Job "+j.Number+" is open. Next: its parts.")
}

// partsNumber offers the part numbers in use.
func partsNumber(numbers []store.PartNumber) form.Entry {
	e := form.Entry{Kind: form.Pick, Name: "part_number", Label: "Part number"}
	for _, n := range numbers {
		if n.Active {
			e.Options = append(e.Options, form.Option{Value: n.ID.String(), Label: n.Code + ", " + n.Name})
		}
	}
	return e
}

func (s *Server) job(r *http.Request) (store.Job, error) {
	return s.store.JobByNumber(r.Context(), visitFrom(r).site.ID, chi.URLParam(r, "number"))
}

func (s *Server) jobPage(w http.ResponseWriter, r *http.Request) error {
	j, err := s.job(r)
	if err != nil {
		return err
	}
	return s.renderJob(w, r, http.StatusOK, j, form.New(values("from", "1")), "")
}

func (s *Server) renderJob(w http.ResponseWriter, r *http.Request, status int, j store.Job, a *form.Answers, problem string) error {
	v := visitFrom(r)
	parts, err := s.store.JobParts(r.Context(), v.site.ID, j.ID)
	if err != nil {
		return err
	}
	numbers, err := s.store.PartNumbers(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	balance, err := s.store.BalanceOf(r.Context(), v.site.ID, j.ID)
	if err != nil {
		return err
	}
	table := page.SetupTable{Caption: "Parts", Heads: []string{"Serial", "Part number", "Name", "Standing", "Next"}, Empty: "No part yet. Give the parts their serials below."}
	for _, p := range parts {
		table.Rows = append(table.Rows, []page.SetupCell{page.Code(p.Serial, partAddress(p.Serial)), page.Words(p.PartNumber), page.Words(p.Name),
			page.Words(strings.ReplaceAll(p.Status, "_", " ")), page.Words(nextWords(p.NextKind))})
	}
	add := page.SetupForm{Action: "/setup/jobs/" + j.Number + "/parts", Submit: "Add the parts", Problem: problem, Groups: []page.SetupGroup{
		{Fields: fields(a, partsNumber(numbers), partsSerials)},
		{Legend: "Or number them in a row", Fields: fields(a, partsPrefix, partsFrom, partsCount)}}}
	list := page.SetupSection{Head: "Parts", Table: &table}
	if len(parts) > 0 {
		list.Links = []page.Ref{{Text: "Print the hangtags", Href: "/setup/jobs/" + j.Number + "/hangtags"}}
		if j.Released > j.Shipped && releasers.admits(v) == nil {
			list.Links = append(list.Links, page.Ref{Text: "Ship parts of it", Href: address("/shipments/new", "job", j.Number)})
		}
	}
	adding := page.SetupSection{ID: "add", Head: "Add parts", Note: "A serial is given once and never again, not even after scrapping.", Form: &add}
	if len(partsNumber(numbers).Options) == 0 {
		adding = page.SetupSection{Head: "Add parts", Note: "Parts need a part number first.", Links: []page.Ref{{Text: "Add a part number", Href: "/setup/part-numbers#add"}}}
	}
	return s.render(w, r, status, page.SetupThing(page.SetupThingView{Frame: s.deskFrame(v, "Job "+j.Number, "Setup"), Subject: "Jobs", Back: page.Ref{Text: "All jobs", Href: "/setup/jobs"},
		Title: "Job " + j.Number, Facts: []page.DeskFact{page.Plain("Customer", j.Customer), page.Plain("Order", wordOrNone(j.OrderRef)), page.Plain("Due", wordOrNone(dueWords(j.DueOn))),
			page.Plain("Parts", balanceWords(balance))}, Parts: []page.SetupSection{list, adding}}))
}

// partAddress is the page of a part.
func partAddress(serial string) string { return "/parts/" + strings.ReplaceAll(serial, "/", "%2F") }

func nextWords(kind string) string {
	if kind == "" {
		return "nothing more"
	}
	return quality.Kind(kind).Name()
}

// readSerials takes the list, or the prefix and count; not both, and not neither.
func readSerials(a *form.Answers) []string {
	listed := strings.Fields(a.Text(partsSerials))
	prefix, from, count := a.Text(partsPrefix), a.Whole(partsFrom), a.Whole(partsCount)
	switch {
	case !a.OK():
		return nil
	case len(listed) > 0 && (prefix != "" || count > 0):
		a.Say("serials", "Serials are listed and numbered in a row. Use one of the two.")
	case len(listed) > 0:
		return listed
	case count == 0 && prefix == "":
		a.Say("serials", "Serials are empty. Enter them one on each line, or a prefix and how many.")
	case count == 0:
		a.Say("count", "How many is empty. Enter 1 to 500.")
	case prefix == "":
		a.Say("prefix", "Prefix is empty. Enter what the serials begin with, such as J118-.")
	}
	if !a.OK() {
		return nil
	}
	serials := make([]string, count)
	width := max(2, len(strconv.Itoa(from+count-1)))
	for i := range serials {
		serials[i] = fmt.Sprintf("%s%0*d", prefix, width, from+i)
	}
	return serials
}

func (s *Server) addParts(w http.ResponseWriter, r *http.Request) error {
	j, err := s.job(r)
	if err != nil {
		return err
	}
	v := visitFrom(r)
	numbers, err := s.store.PartNumbers(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	a := form.New(r.PostForm)
	number := parsedID(a.Pick(partsNumber(numbers)))
	serials := readSerials(a)
	problem, err := attempt(a, nil, func() error {
		_, err := s.store.AddParts(r.Context(), v.actor, j.ID, number, serials)
		return err
	})
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderJob(w, r, http.StatusUnprocessableEntity, j, a, problem)
	}
	return s.done(w, r, "/setup/jobs/"+j.Number, fmt.Sprintf("%d parts are added. Print their hangtags.", len(serials)))
}

func (s *Server) hangtagsPage(w http.ResponseWriter, r *http.Request) error {
	j, err := s.job(r)
	if err != nil {
		return err
	}
	v := visitFrom(r)
	parts, err := s.store.JobParts(r.Context(), v.site.ID, j.ID)
	if err != nil {
		return err
	}
	if len(parts) == 0 {
		return errors.Join(store.ErrNotFound, fmt.Errorf("job %s has no parts", j.Number))
	}
	ids := make([]uuid.UUID, len(parts))
	for i, p := range parts {
		ids[i] = p.ID
	}
	concessions, err := s.store.Concessions(r.Context(), v.site.ID, ids...)
	if err != nil {
		return err
	}
	under := map[uuid.UUID][]store.PartConcession{}
	for _, c := range concessions {
		under[c.PartID] = append(under[c.PartID], c)
	}
	view := page.SetupHangtagsView{Frame: s.deskFrame(v, "Hangtags of job "+j.Number, "Setup"), Job: j.Number}
	for _, p := range parts {
		qr, err := ui.NewQR("PART." + p.Serial)
		if err != nil {
			return err
		}
		view.Tags = append(view.Tags, page.SetupTag{Serial: p.Serial, QR: qr, Lines: []string{p.PartNumber, p.Name, "Job " + j.Number + ", " + j.Customer},
			Concession: tagConcession(under[p.ID])})
	}
	return s.render(w, r, http.StatusOK, page.SetupHangtags(view))
}
