package web

import (
	"errors"
	"net/http"
	"slices"
	"strings"
	"time"

	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
)

var (
	lotScan        = form.Entry{Kind: form.Text, Name: "lot", Label: "Lot on the box", Hint: "scan it, or type it and press Enter", Max: 40, First: true}
	lotNumber      = form.Entry{Kind: form.Text, Name: "number", Label: "Lot number", Hint: "as it stands on the box; a heat number for aluminium", Max: 40}
	lotMade        = form.Entry{Kind: form.Date, Name: "made", Label: "Made on", Hint: "from the box; a powder has it", Optional: true}
	lotReceived    = form.Entry{Kind: form.Date, Name: "received", Label: "Received on"}
	lotExpires     = form.Entry{Kind: form.Date, Name: "expires", Label: "Expires on", Hint: "last day it may be used; powders, wash chemicals and titrants have one", Optional: true}
	lotQuantity    = form.Entry{Kind: form.Number, Name: "quantity", Label: "Quantity", Low: 0.1, High: 100000}
	lotUnit        = form.Entry{Kind: form.Pick, Name: "unit", Label: "Counted in", Options: optionsOf("kg", "kg", "L", "L", "m", "m", "pcs", "pieces")}
	lotStorage     = form.Entry{Kind: form.Number, Name: "storage", Label: "Warmest storage on the box", Unit: "°C", Hint: "where it is not the product's", Low: 0, High: 60, Optional: true}
	lotCertificate = form.Entry{Kind: form.Text, Name: "certificate", Label: "Maker's certificate", Hint: "its number", Max: 80, Optional: true}
	lotFile        = form.Entry{Kind: form.Text, Name: "certificate_file", Label: "Certificate to read", Hint: "its address: https://… or a file of this site", Max: 400, Optional: true, Wide: true}
	lotStatus      = form.Entry{Kind: form.Pick, Name: "status", Label: "New status", Options: optionsOf("accepted", "Accepted", "held", "Held", "rejected", "Rejected")}
	reasonEntry    = form.Entry{Kind: form.Text, Name: "reason", Label: "Reason", Hint: "in a few words; it stays readable", Max: 400, Wide: true}
)

// lotMaterial offers the materials in use.
func lotMaterial(materials []store.Material) form.Entry {
	e := form.Entry{Kind: form.Pick, Name: "material", Label: "Material"}
	for _, m := range materials {
		if m.Active {
			e.Options = append(e.Options, form.Option{Value: m.ID.String(), Label: m.Code + ", " + m.Name + " (" + store.MaterialKindNames[m.Kind] + ")"})
		}
	}
	return e
}

func lotEntries(materials []store.Material) []form.Entry {
	return []form.Entry{lotNumber, lotMaterial(materials), lotMade, lotReceived, lotExpires, lotQuantity, lotUnit, lotStorage, lotCertificate, lotFile}
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
	lot, err := s.store.MaterialLotByNumber(r.Context(), v.site.ID, number)
	if err == nil {
		http.Redirect(w, r, "/setup/lots/"+lot.ID.String(), http.StatusSeeOther)
		return nil
	}
	if !errors.Is(err, store.ErrNotFound) {
		return err
	}
	start := values("number", number, "received", today(v).Format(time.DateOnly), "unit", "kg")
	if last, err := s.store.MaterialLots(r.Context(), v.site.ID); err == nil && len(last) > 0 {
		newest := newestLot(last)
		start.Set("material", newest.MaterialID.String())
		start.Set("unit", newest.Unit)
	}
	return s.renderLots(w, r, http.StatusOK, form.New(start), "")
}

// newestLot is the lot received last: the next box is usually of the same material.
func newestLot(lots []store.MaterialLot) store.MaterialLot {
	newest := lots[0]
	for _, l := range lots {
		if l.ReceivedOn.After(newest.ReceivedOn) {
			newest = l
		}
	}
	return newest
}

// lotStands says in a word how a lot stands on a day.
func lotStands(l store.MaterialLot, day time.Time) page.SetupCell {
	switch {
	case l.Status == "rejected":
		return page.Stands("fail", "rejected")
	case l.Status == "held":
		return page.Stands("hold", "held")
	case l.ExpiresOn != nil && day.After(*l.ExpiresOn):
		return page.Stands("fail", "expired")
	case l.ExpiresOn != nil && day.AddDate(0, 0, 30).After(*l.ExpiresOn):
		return page.Stands("hold", "expires soon")
	}
	return page.Stands("pass", "accepted")
}

// renderLots shows the list with the scan box, and below it the form for a new lot once its number is known.
func (s *Server) renderLots(w http.ResponseWriter, r *http.Request, status int, a *form.Answers, problem string) error {
	v := visitFrom(r)
	var kinds []string
	if kind := r.URL.Query().Get("kind"); slices.Contains(store.MaterialKinds, kind) {
		kinds = []string{kind}
	}
	lots, err := s.store.MaterialLots(r.Context(), v.site.ID, kinds...)
	if err != nil {
		return err
	}
	materials, err := s.store.Materials(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	table := page.SetupTable{Caption: "Lots", Heads: []string{"Lot", "Material", "Kind", "Made", "Expires", "Quantity", "Standing"},
		Empty: "No lot yet. Scan the first box that came in."}
	for _, l := range lots {
		table.Rows = append(table.Rows, []page.SetupCell{page.Code(l.LotNumber, "/setup/lots/"+l.ID.String()), page.Words(l.MaterialCode + ", " + l.MaterialName),
			page.Words(store.MaterialKindNames[l.Kind]), page.Words(dayOrNone(l.MadeOn)), page.Words(dayOrNone(l.ExpiresOn)), page.Figure(setupNumber(l.Quantity) + " " + l.Unit), lotStands(l, today(v))})
	}
	view := page.SetupLotsView{Frame: s.deskFrame(v, "Lots", "Setup"), Table: table, Scan: field(form.New(nil), lotScan)}
	switch {
	case len(materials) == 0:
		view.CannotAdd, view.Needs = "A lot is a delivery of a material.", page.Ref{Text: "Add the material first.", Href: "/setup/materials#add"}
	case a != nil:
		receive := simpleForm("/setup/lots", "Receive the lot", problem, fields(a, lotEntries(materials)...))
		receive.Cancel = "/setup/lots"
		view.Receive = &receive
	}
	return s.render(w, r, status, page.SetupLots(view))
}

func (s *Server) addLot(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	materials, err := s.store.Materials(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	a, entries := form.New(r.PostForm), lotEntries(materials)
	a.Values.Set("number", scannedLot(a.Values.Get("number")))
	lot := store.MaterialLot{LotNumber: a.Text(lotNumber), MaterialID: parsedID(a.Pick(lotMaterial(materials))), MadeOn: optionalDay(a, lotMade), ReceivedOn: a.Date(lotReceived),
		ExpiresOn: optionalDay(a, lotExpires), Quantity: a.Amount(lotQuantity), Unit: a.Pick(lotUnit), StorageMaxC: a.Number(lotStorage), Certificate: a.Text(lotCertificate),
		CertificateFile: a.Text(lotFile)}
	lotDatesMakeSense(a, lot)
	problem, err := attempt(a, entries, func() error {
		_, err := s.store.AddMaterialLot(r.Context(), v.actor, lot)
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
func lotDatesMakeSense(a *form.Answers, l store.MaterialLot) {
	if !a.OK() {
		return
	}
	if l.MadeOn == nil {
		return
	}
	if l.ExpiresOn != nil && !l.ExpiresOn.After(*l.MadeOn) {
		a.Say("expires", "Expires on: the lot cannot expire before the day after it was made. Check both dates on the box.")
	}
	if l.ReceivedOn.Before(*l.MadeOn) {
		a.Say("received", "Received on: the lot cannot come in before it was made. Check both dates.")
	}
}

func dayOrNone(d *time.Time) string {
	if d == nil {
		return "none"
	}
	return d.Format(time.DateOnly)
}
