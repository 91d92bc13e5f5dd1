package web

import (
	"bytes"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"github.com/go-chi/chi/v5"
	"github.com/google/uuid"

	"coatbook/store"
	"coatbook/web/page"
	"coatbook/web/ui"
)

// certificatesPage finds certificates.
func (s *Server) certificatesPage(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	text := strings.TrimSpace(r.URL.Query().Get("q"))
	// A scanned certificate carries its kind in front and its check code behind.
	if rest, scanned := strings.CutPrefix(text, "CERTIFICATE."); scanned {
		text, _, _ = strings.Cut(rest, ".")
	}
	all, err := s.store.Certificates(r.Context(), v.site.ID, text, mostPapers)
	if err != nil {
		return err
	}
	zone := v.site.Location()
	view := page.CertificatesView{Frame: s.deskFrame(v, "Certificates", "Shipping"), Title: "Which certificates were issued?", Search: text,
		Table: page.SetupTable{Caption: "Certificates", Heads: []string{"Certificate", "Signed", "Customer", "Order", "Job", "Shipment", "Parts", "Standing"},
			Empty: "No certificate has been issued yet. It is issued from the page of a shipment, or of a released part."}}
	if text != "" {
		view.Title = fmt.Sprintf("%s found for “%s”", counted(len(all), "certificate"), clipped(text))
		view.Table.Empty = fmt.Sprintf("No certificate, part, customer, job, order, shipment or delivery note is called “%s”.", clipped(text))
	}
	if len(all) == mostPapers {
		view.Note = fmt.Sprintf("These are the latest %d. Search for older ones.", mostPapers)
	}
	for _, c := range all {
		view.Table.Rows = append(view.Table.Rows, []page.SetupCell{page.Code(c.Number, "/certificates/"+c.Number), page.Words(shortTime(c.SignedAt, zone) + ", " + c.SignedBy),
			page.Words(c.Customer), page.Code(c.OrderRef, ""), page.Words(c.Jobs), paperRef("/shipments/", c.Shipment), page.Figure(fmt.Sprint(c.Parts)), {Standing: certificateStanding(c)}})
	}
	return s.render(w, r, http.StatusOK, page.Certificates(view))
}

// paperRef leads to the paper of that number; a dash where there is none. Several are named without a link.
func paperRef(under, number string) page.SetupCell {
	if number == "" || strings.Contains(number, ",") {
		return page.Words(dash(number))
	}
	return page.Code(number, under+number)
}

// certificateStanding says whether a certificate still counts.
func certificateStanding(c store.Certificate) page.Standing {
	switch {
	case c.SupersededBy != "":
		return page.Standing{Word: "superseded by " + c.SupersededBy, Kind: "none"}
	case c.Changed:
		return page.Standing{Word: "something behind it was changed", Kind: "hold"}
	}
	return page.Standing{Word: "in force", Kind: "pass"}
}

// certificatePage shows a certificate as it was signed, and says what became of it.
func (s *Server) certificatePage(w http.ResponseWriter, r *http.Request) error {
	v, ctx := visitFrom(r), r.Context()
	c, content, whole, err := s.store.CertificateByNumber(ctx, v.site.ID, chi.URLParam(r, "number"))
	if err != nil {
		return err
	}
	notices, err := s.store.CertificateNotices(ctx, v.site.ID, c.ID)
	if err != nil {
		return err
	}
	view, err := certificateView(v, c, content, notices, whole)
	if err != nil {
		return err
	}
	// The code on paper carries the beginning of the hash; another one is not a print of this certificate.
	if check := r.URL.Query().Get("check"); check != "" && !strings.HasPrefix(c.ContentHash, strings.ToLower(check)) {
		view.Notices = append([]page.CertNotice{{Text: "The check code that was scanned is not that of this certificate. The print is not of what was signed: do not rely on it."}}, view.Notices...)
	}
	view.Frame = s.deskFrame(v, "Certificate "+c.Number, "Shipping")
	view.Acts = []page.Ref{{Text: "All certificates", Href: "/certificates"}, {Text: "Its results as CSV", Href: "/certificates/" + c.Number + "/results.csv"}}
	if c.SupersededBy == "" && releasers.admits(v) == nil {
		view.Acts = append(view.Acts, page.Ref{Text: "Issue it anew", Href: "/certificates/" + c.Number + "/reissue"})
	}
	return s.render(w, r, http.StatusOK, page.Certificate(view))
}

// certificateFile is the results of a certificate as CSV, from what was frozen.
func (s *Server) certificateFile(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	c, content, _, err := s.store.CertificateByNumber(r.Context(), v.site.ID, chi.URLParam(r, "number"))
	if err != nil {
		return err
	}
	name := c.Number + "-results.csv"
	if chi.URLParam(r, "file") != "results.csv" {
		return fmt.Errorf("file %q: %w", chi.URLParam(r, "file"), store.ErrNotFound)
	}
	if err := s.store.Note(r.Context(), v.actor, store.Event{Verb: "exported", SubjectKind: "certificate", Subject: c.ID, After: map[string]string{"file": name}}); err != nil {
		return err
	}
	var b bytes.Buffer
	if err := store.WriteCertificateResults(&b, content); err != nil {
		return err
	}
	csvHeaders(w, name)
	_, err = b.WriteTo(w)
	return err
}

// certifyPage shows what a certificate of a shipment or of a job's parts would state.
func (s *Server) certifyPage(w http.ResponseWriter, r *http.Request) error {
	view, _, err := s.certifyView(r)
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, page.Certify(view))
}

// certifyView is the form with what was posted, or with everything chosen, and the certificate that it asks for.
func (s *Server) certifyView(r *http.Request) (page.CertifyView, store.NewCertificate, error) {
	v, ctx := visitFrom(r), r.Context()
	view := page.CertifyView{Frame: s.deskFrame(v, "Issue a certificate", "Shipping"), Title: "Issue a certificate?", Action: "/certificates", Back: page.Ref{Href: "/certificates"}}
	var n store.NewCertificate
	var candidates []store.PartRow
	job := r.FormValue("job")
	if number := r.FormValue("shipment"); number != "" {
		sh, err := s.store.ShipmentByNumber(ctx, v.site.ID, number)
		if err != nil {
			return view, n, err
		}
		n.Shipment, job = sh.ID, ""
		view.What, view.Back.Href, view.Hidden, view.Order = fmt.Sprintf("%s, delivery note %s, to %s", sh.Number, sh.DeliveryNote, sh.Customer), "/shipments/"+sh.Number, [][2]string{{"shipment", sh.Number}}, sh.OrderRef
	} else if job != "" {
		j, err := s.store.JobByNumber(ctx, v.site.ID, job)
		if err != nil {
			return view, n, err
		}
		view.What, view.Hidden, view.Order = fmt.Sprintf("Job %s, %s", j.Number, j.Customer), [][2]string{{"job", j.Number}}, j.OrderRef
	}
	candidates, err := s.store.Certifiable(ctx, v.site.ID, n.Shipment, job)
	if err != nil {
		return view, n, err
	}
	return s.finishCertify(r, view, n, candidates)
}

// finishCertify ticks the parts, and says what the certificate would state or why it cannot be issued.
func (s *Server) finishCertify(r *http.Request, view page.CertifyView, n store.NewCertificate, candidates []store.PartRow) (page.CertifyView, store.NewCertificate, error) {
	v := visitFrom(r)
	posted := r.Method == http.MethodPost
	view.Wrong, view.Form = map[string]string{}, firstOf(r.PostFormValue("record"), store.NewID().String())
	if posted {
		view.Order = strings.TrimSpace(r.PostFormValue("order"))
	}
	for _, p := range candidates {
		on := !posted || slices.Contains(r.PostForm["part"], p.ID.String())
		view.Parts = append(view.Parts, page.ShipPart{ID: p.ID.String(), Serial: p.Serial, What: p.PartNumber + ", job " + p.JobNumber + ", " + partStanding(p.Status, "").Word, On: on})
		if on {
			n.Parts = append(n.Parts, p.ID)
		}
	}
	n.ID, n.OrderRef = parsedID(view.Form), view.Order
	view.Signing = []string{fmt.Sprintf("I, %s, approve the certificate of %s: it states what the book holds of them. Meaning of the signature: approved.", v.person.Name, counted(len(n.Parts), "part"))}
	if len(n.Parts) == 0 {
		return view, n, nil
	}
	draft, err := s.store.DraftCertificate(r.Context(), v.actor, n)
	if problem, _, refused := refusedForm(err); refused {
		view.Problem = problem
		return view, n, nil
	}
	if err != nil {
		return view, n, err
	}
	view.Says = draftWords(draft)
	return view, n, nil
}

// draftWords say in short what a certificate would state.
func draftWords(c store.CertificateContent) []string {
	lines := []string{c.Verdict, fmt.Sprintf("%s with results, %s of film thickness, %s, %s.", counted(len(c.Methods), "kind of check"), counted(len(c.Film), "record"),
		counted(len(c.Devices), "device"), counted(len(c.Lots), "material lot"))}
	for _, w := range c.Concessions {
		lines = append(lines, fmt.Sprintf("Concession %s for %s.", w.Reference, strings.Join(w.Parts, ", ")))
	}
	return append(lines, amendedWords(c))
}

// certify signs and issues a certificate, or brings the form back with the reason.
func (s *Server) certify(w http.ResponseWriter, r *http.Request) error {
	view, n, err := s.certifyView(r)
	if err != nil {
		return err
	}
	return s.signCertificate(w, r, view, n)
}

func (s *Server) signCertificate(w http.ResponseWriter, r *http.Request, view page.CertifyView, n store.NewCertificate) error {
	v := visitFrom(r)
	if len(n.Parts) == 0 {
		view.Wrong["part"] = "Choose at least one part."
	}
	if view.Order == "" {
		view.Wrong["order"] = "Enter the customer's order."
	}
	if len(view.Wrong) > 0 || len(view.Parts) == 0 {
		return s.render(w, r, http.StatusUnprocessableEntity, page.Certify(view))
	}
	var made store.Certificate
	proof, err := s.sign(r)
	if err == nil {
		made, err = s.store.Certify(r.Context(), v.actor, n, proof)
	}
	if problem, wrong, refused := refusedForm(err); refused {
		view.Problem = problem
		if wrong != nil {
			view.Wrong = wrong
		}
		return s.render(w, r, http.StatusUnprocessableEntity, page.Certify(view))
	}
	if err != nil {
		return err
	}
	return s.done(w, r, "/certificates/"+made.Number, "Certificate "+made.Number+" is issued. Print it with Ctrl + P (on a Mac, Cmd + P).")
}

// reissueReasons are the codes in words.
var reissueReasons = map[string]string{"record_corrected": "A record behind it was corrected", "wrong_order": "The order on it is wrong", "wrong_parts": "The parts on it are wrong",
	"part_returned": "A part of it came back", "other": "Another reason"}

// reissue takes a certificate's place with a new one: the form, and its signing.
func (s *Server) reissue(w http.ResponseWriter, r *http.Request) error {
	v, ctx := visitFrom(r), r.Context()
	old, _, _, err := s.store.CertificateByNumber(ctx, v.site.ID, chi.URLParam(r, "number"))
	if err != nil {
		return err
	}
	parts, err := s.store.CertificateParts(ctx, v.site.ID, old.ID)
	if err != nil {
		return err
	}
	view := page.CertifyView{Frame: s.deskFrame(v, "Issue "+old.Number+" anew", "Shipping"), Title: "Issue " + old.Number + " anew?", What: "The new certificate has a number of its own. " + old.Number + " stays readable and says by which one it was superseded.",
		Action: "/certificates/" + old.Number + "/reissue", Back: page.Ref{Href: "/certificates/" + old.Number}, Order: old.OrderRef, Reason: strings.TrimSpace(r.PostFormValue("reason"))}
	n := store.NewCertificate{Supersedes: old.ID, Code: r.PostFormValue("code"), Reason: view.Reason}
	for _, code := range store.CertificateReasons {
		view.Codes = append(view.Codes, ui.Choice{Value: code, Label: reissueReasons[code], Chosen: code == n.Code})
	}
	view, n, err = s.finishCertify(r, view, n, parts)
	if err != nil {
		return err
	}
	if r.Method != http.MethodPost {
		return s.render(w, r, http.StatusOK, page.Certify(view))
	}
	if reissueReasons[n.Code] == "" {
		view.Wrong["code"] = "Choose why it is issued anew."
	}
	if len([]rune(n.Reason)) < 5 {
		view.Wrong["reason"] = "Give the reason in words, in at least 5 letters."
	}
	return s.signCertificate(w, r, view, n)
}

// partPapers are the facts about what a part left with, and the certificates on which it stands.
func (s *Server) partPapers(r *http.Request, v *visit, part uuid.UUID) ([]page.DeskFact, error) {
	papers, err := s.store.PapersOf(r.Context(), v.site.ID, part)
	if err != nil {
		return nil, err
	}
	all, err := s.store.CertificatesOf(r.Context(), v.site.ID, part)
	if err != nil {
		return nil, err
	}
	var facts []page.DeskFact
	if papers.Shipment != "" {
		facts = append(facts, page.DeskFact{Term: "Shipped", Refs: []page.Ref{{Text: longTime(*papers.ShippedAt, v.site.Location())}, {Text: papers.Shipment, Href: "/shipments/" + papers.Shipment}, {Text: "delivery note " + papers.DeliveryNote}}})
	}
	for _, c := range all {
		fact := page.DeskFact{Term: "Certificate", Refs: []page.Ref{{Text: c.Number, Href: "/certificates/" + c.Number}}}
		if word := certificateStanding(c).Word; word != "in force" {
			fact.Refs = append(fact.Refs, page.Ref{Text: word})
		}
		facts = append(facts, fact)
	}
	return facts, nil
}
