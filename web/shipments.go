package web

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"coatbook/store"
	"coatbook/web/page"
)

// mostPapers is how many shipments or certificates a list shows.
const mostPapers = 100

// shipmentsPage lists what left, and the jobs with parts that may leave.
func (s *Server) shipmentsPage(w http.ResponseWriter, r *http.Request) error {
	v, ctx := visitFrom(r), r.Context()
	text := strings.TrimSpace(r.URL.Query().Get("q"))
	all, err := s.store.Shipments(ctx, v.site.ID, text, mostPapers)
	if err != nil {
		return err
	}
	view := page.ShipmentsView{Title: "What has left the house", Search: text, Table: shipmentTable(all, v.site.Location(), "Nothing has been shipped yet. Choose a job above once parts of it are released.")}
	if text != "" {
		view.Title = fmt.Sprintf("%s found for “%s”", counted(len(all), "shipment"), clipped(text))
		view.Table.Empty = fmt.Sprintf("No shipment, delivery note, order, customer, job or part is called “%s”.", clipped(text))
	}
	if len(all) == mostPapers {
		view.Note = fmt.Sprintf("These are the latest %d. Search for older ones by number, delivery note, order, customer, job or part.", mostPapers)
	}
	if text == "" && releasers.admits(v) == nil {
		jobs, err := s.store.JobsToShip(ctx, v.site.ID)
		if err != nil {
			return err
		}
		for _, j := range jobs {
			view.Ready = append(view.Ready, page.ShipJob{Ship: page.Ref{Text: "Ship parts of job " + j.Number, Href: address("/shipments/new", "job", j.Number)},
				What: j.Customer + ", " + counted(j.Parts, "part")})
		}
	}
	view.Frame = s.deskFrame(v, "Shipments", "Shipping")
	return s.render(w, r, http.StatusOK, page.Shipments(view))
}

func shipmentTable(all []store.Shipment, zone *time.Location, empty string) page.SetupTable {
	table := page.SetupTable{Caption: "Shipments", Heads: []string{"Shipment", "Left", "Customer", "Delivery note", "Order", "Job", "Parts", "Certificate"}, Empty: empty}
	for _, sh := range all {
		parts := fmt.Sprint(sh.Parts)
		if sh.Returned > 0 {
			parts += fmt.Sprintf(", %d back", sh.Returned)
		}
		table.Rows = append(table.Rows, []page.SetupCell{page.Code(sh.Number, "/shipments/"+sh.Number), page.Words(shortTime(sh.ShippedAt, zone)), page.Words(sh.Customer),
			page.Code(sh.DeliveryNote, ""), page.Code(sh.OrderRef, ""), page.Words(sh.Jobs), page.Figure(parts), paperRef("/certificates/", sh.Certificates)})
	}
	return table
}

// shipPage asks which parts of a job leave.
func (s *Server) shipPage(w http.ResponseWriter, r *http.Request) error {
	job := r.URL.Query().Get("job")
	view, err := s.shipView(r, job)
	if err != nil {
		return err
	}
	for i := range view.Parts {
		view.Parts[i].On = view.Parts[i].Not == ""
	}
	return s.render(w, r, http.StatusOK, page.Ship(view))
}

// shipView is the form with what was posted, or empty.
func (s *Server) shipView(r *http.Request, number string) (page.ShipView, error) {
	v, ctx := visitFrom(r), r.Context()
	view := page.ShipView{Frame: s.deskFrame(v, "Ship parts", "Shipping"), Job: number, Wrong: map[string]string{}, Form: firstOf(r.PostFormValue("record"), store.NewID().String()),
		Note: strings.TrimSpace(r.PostFormValue("note")), Order: strings.TrimSpace(r.PostFormValue("order")), Carrier: strings.TrimSpace(r.PostFormValue("carrier"))}
	if number == "" {
		view.Problem = "Choose the job on the page of shipments."
		return view, nil
	}
	job, err := s.store.JobByNumber(ctx, v.site.ID, number)
	if err != nil {
		return view, err
	}
	view.Customer = job.Customer
	all := r.FormValue("all") != "" || r.Method == http.MethodPost
	parts, err := s.store.ReadyToShip(ctx, v.site.ID, number, all)
	if err != nil {
		return view, err
	}
	if !all && len(parts) > 0 {
		view.All = page.Ref{Text: "Other jobs of " + job.Customer + " too", Href: address("/shipments/new", "job", number, "all", "1")}
	}
	if r.Method != http.MethodPost {
		view.Order = job.OrderRef
	}
	for _, p := range parts {
		id := p.PartID.String()
		on := slices.Contains(r.PostForm["part"], id)
		if r.Method == http.MethodPost && !on && p.Job != number {
			continue
		}
		part := page.ShipPart{ID: id, Serial: p.Serial, What: p.PartNumber + ", job " + p.Job, On: on}
		if p.Concession != "" {
			part.What += ", under concession " + p.Concession
		}
		if p.Recall != "" {
			part.Not = "In recall " + p.Recall + " without a decision."
		}
		view.Parts = append(view.Parts, part)
	}
	return view, nil
}

// ship sends parts out, or brings the form back with the reason.
func (s *Server) ship(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	view, err := s.shipView(r, r.PostFormValue("job"))
	if err != nil {
		return err
	}
	parts, err := postedParts(r)
	if err != nil {
		return err
	}
	if len(parts) == 0 {
		view.Wrong["part"] = "Choose at least one part."
	}
	if view.Note == "" {
		view.Wrong["note"] = "Enter the number of the delivery note."
	}
	if view.Order == "" {
		view.Wrong["order"] = "Enter the customer's order."
	}
	if len(view.Wrong) > 0 {
		return s.render(w, r, http.StatusUnprocessableEntity, page.Ship(view))
	}
	made, err := s.store.Ship(r.Context(), v.actor, store.NewShipment{ID: parsedID(view.Form), Parts: parts, DeliveryNote: view.Note, OrderRef: view.Order, Carrier: view.Carrier})
	if problem, _, refused := refusedForm(err); refused {
		view.Problem = problem
		return s.render(w, r, http.StatusUnprocessableEntity, page.Ship(view))
	}
	if err != nil {
		return err
	}
	return s.done(w, r, "/shipments/"+made.Number, fmt.Sprintf("%s left with %s.", upperFirst(counted(len(parts), "part")), made.Number))
}

// shipmentPage shows one shipment.
func (s *Server) shipmentPage(w http.ResponseWriter, r *http.Request) error {
	return s.renderShipment(w, r, http.StatusOK, "", map[string]string{})
}

func (s *Server) renderShipment(w http.ResponseWriter, r *http.Request, status int, problem string, wrong map[string]string) error {
	v, ctx := visitFrom(r), r.Context()
	sh, err := s.store.ShipmentByNumber(ctx, v.site.ID, chi.URLParam(r, "number"))
	if err != nil {
		return err
	}
	parts, err := s.store.ShippedParts(ctx, v.site.ID, sh.ID)
	if err != nil {
		return err
	}
	zone := v.site.Location()
	view := page.ShipmentView{Frame: s.deskFrame(v, "Shipment "+sh.Number, "Shipping"), Number: sh.Number, What: fmt.Sprintf("%s to %s", counted(sh.Parts, "part"), sh.Customer),
		Standing: page.Standing{Word: "shipped", Kind: "pass"}, Problem: problem, Wrong: wrong, Form: firstOf(r.PostFormValue("record"), store.NewID().String()), Reason: strings.TrimSpace(r.PostFormValue("reason")),
		Facts: []page.DeskFact{page.Plain("Left", longTime(sh.ShippedAt, zone)+", "+sh.ShippedBy), page.Plain("Customer's order", sh.OrderRef), page.Plain("Delivery note", sh.DeliveryNote)}}
	if sh.Returned > 0 {
		view.Standing = page.Standing{Word: fmt.Sprintf("%d of %d came back", sh.Returned, sh.Parts), Kind: "hold"}
	}
	if sh.Carrier != "" {
		view.Facts = append(view.Facts, page.Plain("Carrier", sh.Carrier))
	}
	if sh.Certificates != "" {
		fact := page.DeskFact{Term: "Certificate"}
		for _, number := range strings.Split(sh.Certificates, ", ") {
			fact.Refs = append(fact.Refs, page.Ref{Text: number, Href: "/certificates/" + number})
		}
		view.Facts = append(view.Facts, fact)
	}
	may := releasers.admits(v) == nil
	if may && sh.Certificates == "" && sh.Returned < sh.Parts {
		view.Certify = page.Ref{Text: "Issue the certificate", Href: address("/certificates/new", "shipment", sh.Number)}
	}
	view.Table = page.SetupTable{Caption: "Parts", Heads: []string{"Serial", "Part number", "Job", "Now", "Came back"}}
	for _, p := range parts {
		back := page.Words("–")
		if p.ReturnedAt != nil {
			back = page.SetupCell{Ref: page.Ref{Text: fmt.Sprintf("%s, signed by %s, meaning: performed. %s Hold %s", longTime(*p.ReturnedAt, zone), p.ReturnedBy, p.Why, p.Hold), Href: "/holds/" + p.Hold}}
		} else if may {
			view.Out = append(view.Out, page.ShipPart{ID: p.PartID.String(), Serial: p.Serial, What: p.PartNumber, On: slices.Contains(r.PostForm["part"], p.PartID.String())})
		}
		view.Table.Rows = append(view.Table.Rows, []page.SetupCell{page.Code(p.Serial, subjectHref("part", p.Serial)), page.Words(p.PartNumber), page.Words(p.Job),
			{Standing: partStanding(p.Status, "")}, back})
	}
	return s.render(w, r, status, page.Shipment(view))
}

// takeReturn signs parts back into the house.
func (s *Server) takeReturn(w http.ResponseWriter, r *http.Request) error {
	v, ctx := visitFrom(r), r.Context()
	sh, err := s.store.ShipmentByNumber(ctx, v.site.ID, chi.URLParam(r, "number"))
	if err != nil {
		return err
	}
	parts, err := postedParts(r)
	if err != nil {
		return err
	}
	n := store.NewReturn{Shipment: sh.ID, Parts: parts, Reason: strings.TrimSpace(r.PostFormValue("reason"))}
	wrong := map[string]string{}
	if len(parts) == 0 {
		wrong["part"] = "Choose at least one part."
	}
	if len([]rune(n.Reason)) < 5 {
		wrong["reason"] = "Say why the customer sent it back, in at least 5 letters."
	}
	if len(wrong) > 0 {
		return s.renderShipment(w, r, http.StatusUnprocessableEntity, "", wrong)
	}
	var hold string
	proof, err := s.sign(r)
	if err == nil {
		hold, err = s.store.TakeReturn(ctx, v.actor, n, proof)
	}
	if problem, wrong, refused := refusedForm(err); refused {
		return s.renderShipment(w, r, http.StatusUnprocessableEntity, problem, wrong)
	}
	if err != nil {
		return err
	}
	return s.done(w, r, "/holds/"+hold, fmt.Sprintf("%s came back and %s on hold %s.", upperFirst(counted(len(parts), "part")), map[bool]string{true: "is", false: "are"}[len(parts) == 1], hold))
}
