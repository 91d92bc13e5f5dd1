package web

import (
	"errors"
	"net/http"
	"net/url"
	"strings"
	"time"

	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
)

var (
	lotScan        = form.Entry{Kind: form.Text, Name: "lot", Label: "Lot on the box", Hint: "scan it, or type it and press Enter", Max: 40, First: true}
	lotNumber      = form.Entry{Kind: form.Text, Name: "number", Label: "Lot number", Hint: "as it stands on the box", Max: 40}
	lotMade        = form.Entry{Kind: form.Date, Name: "made", Label: "Made on", Hint: "from the box"}
	lotReceived    = form.Entry{Kind: form.Date, Name: "received", Label: "Received on"}
	lotExpires     = form.Entry{Kind: form.Date, Name: "expires", Label: "Expires on", Hint: "last day it may be sprayed"}
	lotQuantity    = form.Entry{Kind: form.Number, Name: "quantity", Label: "Quantity", Unit: "kg", Low: 0.1, High: 20000}
	lotCertificate = form.Entry{Kind: form.Text, Name: "certificate", Label: "Maker's certificate", Hint: "its number", Max: 80, Optional: true}
	lotStatus      = form.Entry{Kind: form.Pick, Name: "status", Label: "New status", Options: optionsOf("accepted", "Accepted", "held", "Held", "rejected", "Rejected")}
	reasonEntry    = form.Entry{Kind: form.Text, Name: "reason", Label: "Reason", Hint: "in a few words; it stays readable", Max: 400, Wide: true}
)

// lotPowder offers the powders of the site.
func lotPowder(powders []store.Powder) form.Entry {
	e := form.Entry{Kind: form.Pick, Name: "powder", Label: "Powder"}
	for _, p := range powders {
		e.Options = append(e.Options, form.Option{Value: p.ID.String(), Label: p.Code + ", " + p.Name})
	}
	return e
}

func lotEntries(powders []store.Powder) []form.Entry {
	return []form.Entry{lotNumber, lotPowder(powders), lotMade, lotReceived, lotExpires, lotQuantity, lotCertificate}
}

// scannedLot takes the type mark off a scanned label.
func scannedLot(text string) string {
	text = strings.TrimSpace(text)
	if mark, code, found := strings.Cut(text, "."); found && strings.EqualFold(mark, "LOT") {
		return code
	}
	return text
}

// lotsPage lists the lots. With a scanned number it goes to the lot, or opens the form for a new one.
func (s *Server) lotsPage(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	number := scannedLot(r.URL.Query().Get("lot"))
	if number == "" {
		return s.renderLots(w, r, http.StatusOK, nil, "")
	}
	lot, err := s.store.PowderLotByNumber(r.Context(), v.site.ID, number)
	if err == nil {
		http.Redirect(w, r, "/setup/lots/"+lot.ID.String(), http.StatusSeeOther)
		return nil
	}
	if !errors.Is(err, store.ErrNotFound) {
		return err
	}
	start := values("number", number, "received", today(v).Format(time.DateOnly))
	if last, err := s.store.PowderLots(r.Context(), v.site.ID); err == nil && len(last) > 0 {
		start.Set("powder", newestLot(last).PowderID.String())
	}
	return s.renderLots(w, r, http.StatusOK, form.New(start), "")
}

// newestLot is the lot received last: the next box is usually of the same powder.
func newestLot(lots []store.PowderLot) store.PowderLot {
	newest := lots[0]
	for _, l := range lots {
		if l.ReceivedOn.After(newest.ReceivedOn) {
			newest = l
		}
	}
	return newest
}

// lotStands says in a word how a lot stands on a day.
func lotStands(l store.PowderLot, day time.Time) page.SetupCell {
	switch {
	case l.Status == "rejected":
		return page.Stands("fail", "rejected")
	case l.Status == "held":
		return page.Stands("hold", "held")
	case day.After(l.ExpiresOn):
		return page.Stands("fail", "expired")
	case day.AddDate(0, 0, 30).After(l.ExpiresOn):
		return page.Stands("hold", "expires soon")
	}
	return page.Stands("pass", "accepted")
}

// renderLots shows the list with the scan box, and below it the form for a new lot once its number is known.
func (s *Server) renderLots(w http.ResponseWriter, r *http.Request, status int, a *form.Answers, problem string) error {
	v := visitFrom(r)
	lots, err := s.store.PowderLots(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	powders, err := s.store.Powders(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	table := page.SetupTable{Caption: "Powder lots", Heads: []string{"Lot", "Powder", "Made", "Expires", "kg", "Standing"},
		Empty: "No lot yet. Scan the first box that came in."}
	for _, l := range lots {
		table.Rows = append(table.Rows, []page.SetupCell{page.Code(l.LotNumber, "/setup/lots/"+l.ID.String()), page.Words(l.PowderCode + ", " + l.PowderName),
			page.Words(l.MadeOn.Format(time.DateOnly)), page.Words(l.ExpiresOn.Format(time.DateOnly)), page.Figure(setupNumber(l.QuantityKg)), lotStands(l, today(v))})
	}
	view := page.SetupLotsView{Frame: s.deskFrame(v, "Lots", "Setup"), Table: table, Scan: field(form.New(nil), lotScan)}
	switch {
	case len(powders) == 0:
		view.CannotAdd, view.Needs = "A lot is a delivery of a powder.", page.Ref{Text: "Add the powder first.", Href: "/setup/powders#add"}
	case a != nil:
		receive := simpleForm("/setup/lots", "Receive the lot", problem, fields(a, lotEntries(powders)...))
		receive.Cancel = "/setup/lots"
		view.Receive = &receive
	}
	return s.render(w, r, status, page.SetupLots(view))
}

func (s *Server) addLot(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	powders, err := s.store.Powders(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	a, entries := form.New(r.PostForm), lotEntries(powders)
	a.Values.Set("number", scannedLot(a.Values.Get("number")))
	lot := store.PowderLot{LotNumber: a.Text(lotNumber), PowderID: parsedID(a.Pick(lotPowder(powders))), MadeOn: a.Date(lotMade), ReceivedOn: a.Date(lotReceived),
		ExpiresOn: a.Date(lotExpires), QuantityKg: a.Amount(lotQuantity), Certificate: a.Text(lotCertificate)}
	lotDatesMakeSense(a, lot)
	problem, err := attempt(a, entries, func() error {
		_, err := s.store.AddPowderLot(r.Context(), v.actor, lot)
		return err
	})
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderLots(w, r, http.StatusUnprocessableEntity, a, problem)
	}
	return s.done(w, r, "/setup/lots", "Lot "+lot.LotNumber+" is received.")
}

// lotDatesMakeSense names the date that contradicts another.
func lotDatesMakeSense(a *form.Answers, l store.PowderLot) {
	if !a.OK() {
		return
	}
	if !l.ExpiresOn.After(l.MadeOn) {
		a.Say("expires", "Expires on: the lot cannot expire before the day after it was made. Check both dates on the box.")
	}
	if l.ReceivedOn.Before(l.MadeOn) {
		a.Say("received", "Received on: the lot cannot come in before it was made. Check both dates.")
	}
}

func (s *Server) lotPage(w http.ResponseWriter, r *http.Request) error {
	return s.renderLot(w, r, http.StatusOK, form.New(url.Values{}), "")
}

func (s *Server) renderLot(w http.ResponseWriter, r *http.Request, status int, a *form.Answers, problem string) error {
	v := visitFrom(r)
	id, err := idParam(r, "id")
	if err != nil {
		return err
	}
	l, err := s.store.PowderLot(r.Context(), v.site.ID, id)
	if err != nil {
		return err
	}
	change := simpleForm("/setup/lots/"+id.String(), "Change the status", problem, fields(a, lotStatus, reasonEntry))
	change.Cancel = "/setup/lots"
	return s.render(w, r, status, page.SetupThing(page.SetupThingView{Frame: s.deskFrame(v, "Lot "+l.LotNumber, "Setup"), Subject: "Lots",
		Back: page.Ref{Text: "All lots", Href: "/setup/lots"}, Title: "Lot " + l.LotNumber,
		Facts: []page.DeskFact{page.Plain("Powder", l.PowderCode+", "+l.PowderName), page.Plain("Made on", setupDay(l.MadeOn)),
			page.Plain("Received on", setupDay(l.ReceivedOn)), page.Plain("Expires on", setupDay(l.ExpiresOn)), page.Plain("Quantity", setupNumber(l.QuantityKg)+" kg"),
			page.Plain("Maker's certificate", wordOrNone(l.Certificate)), page.Plain("Standing", lotStands(l, today(v)).Standing.Word)},
		Parts: []page.SetupSection{{Head: "Accept, hold or reject", Note: "A held, rejected or expired lot cannot be sprayed unless a supervisor authorises it with a reason.", Form: &change}}}))
}

func wordOrNone(s string) string {
	if s == "" {
		return "none"
	}
	return s
}

func (s *Server) changeLot(w http.ResponseWriter, r *http.Request) error {
	id, err := idParam(r, "id")
	if err != nil {
		return err
	}
	a := form.New(r.PostForm)
	status, reason := a.Pick(lotStatus), a.Text(reasonEntry)
	problem, err := attempt(a, []form.Entry{lotStatus, reasonEntry}, func() error {
		return s.store.SetLotStatus(r.Context(), visitFrom(r).actor, id, status, reason)
	})
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderLot(w, r, http.StatusUnprocessableEntity, a, problem)
	}
	return s.done(w, r, "/setup/lots/"+id.String(), "The lot is now "+status+".")
}
