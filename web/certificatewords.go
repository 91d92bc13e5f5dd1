package web

import (
	"fmt"
	"strings"
	"time"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/page"
	"coatbook/web/ui"
)

// certificateView words a frozen certificate. Everything in it but the notices comes from the content that was signed.
func certificateView(v *visit, c store.Certificate, content store.CertificateContent, notices []store.CertificateNotice, whole bool) (page.CertificateView, error) {
	zone := v.site.Location()
	code, err := ui.NewQR("CERTIFICATE." + c.Number + "." + c.ContentHash[:16])
	if err != nil {
		return page.CertificateView{}, err
	}
	view := page.CertificateView{Number: c.Number, Site: content.Site, QR: code, Verdict: content.Verdict, Amended: amendedWords(content), Rule: "Decision rule: " + content.Rule,
		Hash: c.ContentHash, Short: inFours(c.ContentHash[:16]), Notices: certificateNotices(c, notices, whole, zone), Facts: certificateFacts(content),
		Signed: []string{fmt.Sprintf("Signed by %s, %s, meaning: %s.", c.SignedBy, longTime(c.SignedAt, zone), c.Meaning), "“" + c.Statement + "”"}}
	for _, t := range []page.CertTable{partsTable(content), methodsTable(content), filmTable(content)} {
		if len(t.Rows) > 0 {
			view.Tables = append(view.Tables, t)
		}
	}
	view.Tables = append(view.Tables, resultTables(content)...)
	for _, t := range []page.CertTable{devicesTable(content), lotsTable(content), concessionsTable(content), exceptionsTable(content), changesTable(content)} {
		if len(t.Rows) > 0 {
			view.Tables = append(view.Tables, t)
		}
	}
	return view, nil
}

// inFours sets a hash in groups that people can compare.
func inFours(hash string) string {
	var groups []string
	for len(hash) > 4 {
		groups = append(groups, hash[:4])
		hash = hash[4:]
	}
	return strings.Join(append(groups, hash), " ")
}

// stated prints a time of a certificate's content for people.
func stated(text string) string {
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return text
	}
	return at.Format("2 January 2006 15:04 -07:00")
}

// amendedWords say whether any value was changed since it was first entered.
func amendedWords(c store.CertificateContent) string {
	n := len(c.Changes)
	if n == 0 {
		return "No value behind this certificate was changed since it was first entered."
	}
	parts := 0
	for _, p := range c.Parts {
		if p.Amended > 0 {
			parts++
		}
	}
	return fmt.Sprintf("%s made to records behind this certificate since they were first entered; %s marked “amended”, and each change is listed below.",
		plural(n, "change was", "changes were"), plural(parts, "part is", "parts are"))
}

func certificateFacts(c store.CertificateContent) []page.DeskFact {
	facts := []page.DeskFact{page.Plain("Certificate", c.Number), page.Plain("Issued", stated(c.IssuedAt)), page.Plain("Customer", c.Customer), page.Plain("Customer's order", c.OrderRef)}
	if c.Shipment != nil {
		facts = append(facts, page.Plain("Shipment", fmt.Sprintf("%s, delivery note %s, %s", c.Shipment.Number, c.Shipment.DeliveryNote, stated(c.Shipment.ShippedAt))))
	}
	for _, s := range c.Specs {
		facts = append(facts, page.Plain("Specification", fmt.Sprintf("%s revision %s, %s, in force from %s", s.Code, s.Revision, s.Title, s.Effective)))
	}
	facts = append(facts, page.Plain("Parts", fmt.Sprint(len(c.Parts))))
	if c.Supersedes != nil {
		facts = append(facts, page.Plain("Takes the place of", fmt.Sprintf("%s. %s: %s", c.Supersedes.Number, reissueReasons[c.Supersedes.Code], c.Supersedes.Reason)))
	}
	return facts
}

// certificateNotices say what became of a certificate after it was signed.
func certificateNotices(c store.Certificate, all []store.CertificateNotice, whole bool, zone *time.Location) []page.CertNotice {
	var notices []page.CertNotice
	if !whole {
		notices = append(notices, page.CertNotice{Text: "This certificate does not state what was signed: its content was changed in the database. Do not use it, and tell the administrator."})
	}
	if c.SupersededBy != "" {
		notices = append(notices, page.CertNotice{Link: page.Ref{Text: "Superseded by " + c.SupersededBy, Href: "/certificates/" + c.SupersededBy}, Text: ". It no longer counts."})
	}
	for _, n := range all {
		at := n.At.In(zone).Format("2 January 2006")
		switch n.What {
		case "changed":
			about := lowerFirst(quality.Kind(n.Kind).Name())
			if n.Serial != "" {
				about += " of " + n.Serial
			}
			notices = append(notices, page.CertNotice{Link: page.Ref{Text: "A value behind this certificate was changed on " + at, Href: "/records/" + n.Record.String()},
				Text: fmt.Sprintf(": %s, by %s. %s", about, n.By, n.Reason)})
		case "returned":
			notices = append(notices, page.CertNotice{Text: fmt.Sprintf("Part %s came back on %s: %s", n.Serial, at, n.Reason)})
		default:
			notices = append(notices, page.CertNotice{Text: fmt.Sprintf("Part %s was decided in a recall on %s, %s", n.Serial, at, n.Reason)})
		}
	}
	return notices
}

// mark is what stands beside something that was amended.
func mark(amended bool) string {
	if amended {
		return "amended"
	}
	return ""
}

func partsTable(c store.CertificateContent) page.CertTable {
	t := page.CertTable{Title: "Parts", Heads: []string{"Serial", "Part number", "Alloy", "Job", "Released", "Concession", "Changes"}}
	for _, p := range c.Parts {
		changes := "none"
		if p.Amended > 0 {
			changes = "amended, " + counted(p.Amended, "change")
		}
		concession := "none"
		if p.Concession != "" {
			concession = "under concession " + p.Concession
		}
		t.Rows = append(t.Rows, []string{p.Serial, p.PartNumber + " " + p.Name, p.Alloy, p.Job, p.ReleasedBy + ", " + stated(p.ReleasedAt), concession, changes})
		for _, sampled := range p.Sampled {
			t.Rows = append(t.Rows, []string{p.Serial, sampled, "", "", "", "", ""})
		}
	}
	return t
}

func methodsTable(c store.CertificateContent) page.CertTable {
	t := page.CertTable{Title: "Methods, decision rules and sample sizes", Heads: []string{"Check", "Specification", "Method", "Decision rule", "Sample"}}
	for _, m := range c.Methods {
		t.Rows = append(t.Rows, []string{m.Name(), m.Spec, m.Method, m.Rule, m.Sample})
	}
	return t
}

func filmTable(c store.CertificateContent) page.CertTable {
	unit := "µm"
	if len(c.Film) > 0 {
		unit = c.Film[0].Unit
	}
	t := page.CertTable{Title: "Film thickness, " + unit, Note: "n counts readings; mean is of the spot means, least and most are of single readings; an area shows its mean and its least spot mean.",
		Heads: []string{"Serial", "n", "Mean", "Least", "Most", "Areas", "Verdict", "Device", "Measured"}, Right: []bool{false, true, true, true, true}}
	for _, f := range c.Film {
		areas := make([]string, len(f.Areas))
		for i, a := range f.Areas {
			areas[i] = fmt.Sprintf("%s: %s, minimum %s (n %d)", a.Name, a.Mean, a.Min, a.N)
		}
		t.Rows = append(t.Rows, []string{f.Serial, fmt.Sprint(f.N), f.Mean, f.Min, f.Max, strings.Join(areas, "; "), strings.TrimSuffix(certVerdict(f.Verdict)+", "+mark(f.Amended), ", "), f.Device, stated(f.At) + ", " + f.By})
	}
	return t
}

// certVerdict says a verdict as a certificate prints it. A fail is there only under a concession.
func certVerdict(v string) string {
	if v == string(quality.Fail) {
		return "outside, accepted under concession"
	}
	return verdictStanding(quality.Verdict(v)).Word
}

// resultTables are the results of the other kinds, a table for each.
func resultTables(c store.CertificateContent) []page.CertTable {
	var tables []page.CertTable
	var last quality.Kind
	for _, r := range c.Results {
		if r.Kind != last {
			last = r.Kind
			tables = append(tables, page.CertTable{Title: r.Kind.Name(), Heads: []string{"On", "Parts", "What", "Found", "Limit", "Verdict", "When and by whom"}, Right: []bool{false, true, false, true}})
		}
		t := &tables[len(tables)-1]
		when := stated(r.At) + ", " + r.By
		if len(r.Lines) == 0 {
			t.Rows = append(t.Rows, []string{upperFirst(r.On), fmt.Sprint(len(r.Parts)), r.Rule, "", "", strings.TrimSuffix(certVerdict(r.Verdict)+", "+mark(r.Amended), ", "), when})
		}
		for i, l := range r.Lines {
			what, found := l.What, strings.TrimSpace(l.Value+" "+l.Unit)
			if l.Place != "" {
				what = l.Place + ", " + what
			}
			if found == "" {
				what = strings.TrimSuffix(l.Text, ".")
			}
			row := []string{"", "", what, found, l.Limit, strings.TrimSuffix(certVerdict(l.Verdict)+", "+mark(r.Amended), ", "), ""}
			if i == 0 {
				row[0], row[1], row[6] = upperFirst(r.On), fmt.Sprint(len(r.Parts)), when
			}
			t.Rows = append(t.Rows, row)
		}
	}
	return tables
}

func devicesTable(c store.CertificateContent) page.CertTable {
	t := page.CertTable{Title: "Measuring devices", Heads: []string{"Device", "Kind", "Maker's serial", "Certificate", "Calibration due"}}
	for _, d := range c.Devices {
		t.Rows = append(t.Rows, []string{d.Code, strings.ReplaceAll(d.Kind, "_", " "), d.Serial, dash(d.Certificate), dash(d.Due)})
	}
	return t
}

func lotsTable(c store.CertificateContent) page.CertTable {
	t := page.CertTable{Title: "Powder and other material lots", Heads: []string{"Lot", "Product", "Maker", "Used as", "Certificate", "Expires"}}
	for _, l := range c.Lots {
		t.Rows = append(t.Rows, []string{l.Lot, l.Product, l.Maker, firstOf(roleWords[l.Role], l.Role), dash(l.Certificate), dash(l.Expires)})
	}
	return t
}

func concessionsTable(c store.CertificateContent) page.CertTable {
	t := page.CertTable{Title: "Concessions", Heads: []string{"Customer's reference", "Holds", "What was accepted", "Parts"}}
	for _, w := range c.Concessions {
		t.Rows = append(t.Rows, []string{w.Reference, w.Limits, w.Reason, strings.Join(w.Parts, ", ")})
	}
	return t
}

func exceptionsTable(c store.CertificateContent) page.CertTable {
	t := page.CertTable{Title: "Authorised exceptions", Heads: []string{"Exception", "Reason", "Signed"}}
	for _, e := range c.Exceptions {
		t.Rows = append(t.Rows, []string{e.Sentence, e.Reason, e.By + ", " + stated(e.At) + ", meaning: authorised"})
	}
	return t
}

func changesTable(c store.CertificateContent) page.CertTable {
	t := page.CertTable{Title: "Changes since first entry", Heads: []string{"Record", "What", "Why", "By", "Parts"}}
	for _, ch := range c.Changes {
		what := firstOf(ch.What, "other content")
		if ch.Void {
			what = "taken out of count"
		}
		t.Rows = append(t.Rows, []string{ch.Kind.Name() + ", " + ch.On, what, firstOf(correctionWords[ch.Code], ch.Code) + ": " + ch.Reason, ch.By + ", " + stated(ch.At), strings.Join(ch.Parts, ", ")})
	}
	return t
}
