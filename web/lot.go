package web

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"

	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
)

// shownParts is how many parts of a lot its page lists; the exports have them all.
const shownParts = 500

func (s *Server) lotPage(w http.ResponseWriter, r *http.Request) error {
	return s.renderLot(w, r, http.StatusOK, form.New(url.Values{}), "", "")
}

// lotOf finds the lot of an address with the parts it touched.
func (s *Server) lotOf(r *http.Request) (l store.MaterialLot, parts []store.TouchedPart, err error) {
	id, err := idParam(r, "id")
	if err != nil {
		return l, nil, err
	}
	site := visitFrom(r).site.ID
	if l, err = s.store.MaterialLot(r.Context(), site, id); err != nil {
		return l, nil, err
	}
	parts, err = s.store.PartsOfLot(r.Context(), site, id)
	return l, parts, err
}

func (s *Server) renderLot(w http.ResponseWriter, r *http.Request, status int, a *form.Answers, problem, fileProblem string) error {
	v := visitFrom(r)
	l, parts, err := s.lotOf(r)
	if err != nil {
		return err
	}
	change := simpleForm("/setup/lots/"+l.ID.String(), "Change the status", problem, fields(a, lotStatus, reasonEntry))
	change.Cancel = "/setup/lots"
	inHouse, gone := splitTouched(parts)
	note := "A held, rejected or expired lot is refused where it is scanned, unless a supervisor authorises it with a reason."
	if len(inHouse) > 0 {
		note += fmt.Sprintf(" Holding or rejecting it first shows the %s in house that it touched, to be held in the same act.", counted(len(inHouse), "part"))
	}
	facts := []page.DeskFact{page.Plain("Material", l.MaterialCode+", "+l.MaterialName), page.Plain("Kind", store.MaterialKindNames[l.Kind]), page.Plain("Made on", dayOrNone(l.MadeOn)),
		page.Plain("Received on", setupDay(l.ReceivedOn)), page.Plain("Expires on", dayOrNone(l.ExpiresOn)), page.Plain("Quantity", setupNumber(l.Quantity)+" "+l.Unit),
		page.Plain("Maker's certificate", wordOrNone(l.Certificate)), page.Plain("Standing", lotStands(l, today(v)).Standing.Word)}
	if l.StorageMaxC != nil {
		facts = append(facts, page.Plain("Warmest storage on the box", setupNumber(*l.StorageMaxC)+" °C"))
	}
	sections := []page.SetupSection{{Head: "Accept, hold or reject", Note: note, Form: &change}}
	if l.CertificateFile != "" {
		sections = append(sections, page.SetupSection{Head: "Certificate", Links: []page.Ref{{Text: "Open the maker's certificate", Href: l.CertificateFile}}})
	}
	sections = append(sections, touchedSection("touched", "Parts in house that it touched", "None.", inHouse, v), touchedSection("gone", "Parts that left or ended", "None.", gone, v))
	files, err := s.filesView(r, store.FileOwner{Kind: store.FileOfLot, ID: l.ID}, "/setup/lots/"+l.ID.String(), fileProblem)
	if err != nil {
		return err
	}
	return s.render(w, r, status, page.SetupThing(page.SetupThingView{Frame: s.deskFrame(v, "Lot "+l.LotNumber, "Setup"), Subject: "Lots",
		Back: page.Ref{Text: "All lots", Href: "/setup/lots"}, Title: "Lot " + l.LotNumber, Facts: facts, Parts: sections, Files: &files}))
}

// splitTouched parts what can still be held from what cannot.
func splitTouched(parts []store.TouchedPart) (inHouse, gone []store.TouchedPart) {
	for _, p := range parts {
		if p.InHouse() {
			inHouse = append(inHouse, p)
		} else {
			gone = append(gone, p)
		}
	}
	return inHouse, gone
}

// touchedSection lists parts with their customer and how they stand.
func touchedSection(id, head, empty string, parts []store.TouchedPart, v *visit) page.SetupSection {
	table := page.SetupTable{Caption: head, Heads: []string{"Serial", "Part number", "Customer", "Job", "Standing", "Released", "Shipment and certificate"}, Empty: empty}
	for _, p := range parts[:min(len(parts), shownParts)] {
		released := ""
		if p.ReleasedAt != nil {
			released = longTime(*p.ReleasedAt, v.site.Location())
		}
		stands := partStanding(p.Status, "")
		table.Rows = append(table.Rows, []page.SetupCell{page.Code(p.Serial, subjectHref("part", p.Serial)), page.Words(p.PartNumber), page.Words(p.Customer), page.Words(p.JobNumber),
			{Standing: stands}, page.Words(released), page.Words(papersWords(p.Papers, v.site.Location()))})
	}
	section := page.SetupSection{ID: id, Head: fmt.Sprintf("%s: %d", head, len(parts)), Table: &table}
	if len(parts) > shownParts {
		section.Note = fmt.Sprintf("The first %d by serial. The exports list them all.", shownParts)
	}
	return section
}

func wordOrNone(s string) string {
	if s == "" {
		return "none"
	}
	return s
}

// changeLot changes the status of a lot. A lot that goes on hold or is rejected after it touched parts in house takes a second
// step, which proposes them for one hold.
func (s *Server) changeLot(w http.ResponseWriter, r *http.Request) error {
	l, parts, err := s.lotOf(r)
	if err != nil {
		return err
	}
	a := form.New(r.PostForm)
	status, reason := a.Pick(lotStatus), a.Text(reasonEntry)
	inHouse, gone := splitTouched(parts)
	proposed := notYetHeld(inHouse)
	if a.OK() && status != "accepted" && len(proposed) > 0 && a.Values.Get("step") != "hold" {
		return s.renderLotHold(w, r, http.StatusOK, l, proposed, gone, a, "")
	}
	hold, err := postedParts(r)
	if err != nil {
		return err
	}
	number := ""
	problem, err := attempt(a, []form.Entry{lotStatus, reasonEntry}, func() (err error) {
		number, err = s.store.SetLotStatus(r.Context(), visitFrom(r).actor, l.ID, status, reason, hold...)
		return err
	})
	switch {
	case err != nil:
		return err
	case problem != "" && a.Values.Get("step") == "hold" && a.OK():
		return s.renderLotHold(w, r, http.StatusUnprocessableEntity, l, proposed, gone, a, problem)
	case problem != "":
		return s.renderLot(w, r, http.StatusUnprocessableEntity, a, problem, "")
	}
	says := "The lot is now " + status + "."
	if number != "" {
		says += fmt.Sprintf(" %s on hold %s.", upperFirst(counted(len(hold), "part")), number)
	}
	return s.done(w, r, "/setup/lots/"+l.ID.String(), says)
}

// notYetHeld leaves out what this lot holds already.
func notYetHeld(parts []store.TouchedPart) (out []store.TouchedPart) {
	for _, p := range parts {
		if p.Held == "" {
			out = append(out, p)
		}
	}
	return out
}

// renderLotHold asks which of the parts in house go on hold with their lot, and shows those that are gone.
func (s *Server) renderLotHold(w http.ResponseWriter, r *http.Request, status int, l store.MaterialLot, proposed, gone []store.TouchedPart, a *form.Answers, problem string) error {
	v := visitFrom(r)
	to := a.Values.Get("status")
	view := page.LotHoldView{Frame: s.deskFrame(v, "Hold the parts of lot "+l.LotNumber, "Setup"), Back: page.Ref{Text: "Lot " + l.LotNumber, Href: "/setup/lots/" + l.ID.String()},
		Title: fmt.Sprintf("Lot %s becomes %s. Which of its parts go on hold?", l.LotNumber, to), Problem: problem, Action: "/setup/lots/" + l.ID.String(),
		Status: to, Reason: a.Values.Get("reason"), Submit: fmt.Sprintf("Make the lot %s and hold the ticked parts", to), Gone: touchedSection("gone", "Cannot be held: they left or ended", "None.", gone, v)}
	if len(gone) > 0 {
		view.Gone.Note = "Tell the customers of released parts; the hold cannot reach them."
	}
	ticked := r.PostForm["part"]
	for _, p := range proposed {
		id := p.PartID.String()
		view.Parts = append(view.Parts, page.LotHoldPart{ID: id, Serial: page.Ref{Text: p.Serial, Href: subjectHref("part", p.Serial)}, What: p.PartNumber + ", " + p.Customer,
			Standing: partStanding(p.Status, ""), On: a.Values.Get("step") != "hold" || slices.Contains(ticked, id)})
	}
	return s.render(w, r, status, page.LotHold(view))
}
