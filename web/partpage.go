package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"
	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/page"
	"coatbook/web/ui"
)

// partPage shows a part's whole story and what its release still asks; with print=hangtag, the tag to be printed.
func (s *Server) partPage(w http.ResponseWriter, r *http.Request) error {
	v, ctx := visitFrom(r), r.Context()
	part, err := s.store.PartBySerial(ctx, v.site.ID, chi.URLParam(r, "serial"))
	if err != nil {
		return err
	}
	view := page.PartView{Frame: s.deskFrame(v, "Part "+part.Serial, "Parts"), Serial: part.Serial, Standing: partStanding(part.Status, part.NextKind),
		What: fmt.Sprintf("%s %s, job %s, %s", part.PartName, part.PartNumber, part.JobNumber, part.Customer)}
	concessions, err := s.store.Concessions(ctx, v.site.ID, part.ID)
	if err != nil {
		return err
	}
	if r.URL.Query().Get("print") == "hangtag" {
		code, err := ui.NewQR("PART." + part.Serial)
		if err != nil {
			return err
		}
		view.Hangtag = &page.Hangtag{QR: code, Lines: []string{part.PartName + " " + part.PartNumber, "Job " + part.JobNumber, v.site.Name}, Concession: tagConcession(concessions)}
		return s.render(w, r, http.StatusOK, page.Part(view))
	}
	if v.device != nil {
		frame := s.benchFrame(v, "Part "+part.Serial)
		view.Bench = &frame
	}
	items, revision, err := s.store.GateOf(ctx, v.site.ID, part.ID)
	if err != nil {
		return err
	}
	story, err := s.store.Story(ctx, v.site.ID, part.ID)
	if err != nil {
		return err
	}
	uses, err := s.usesOf(r, v, story)
	if err != nil {
		return err
	}
	view.Gate = gateRows(part, items)
	s.partActs(v, part, items, &view)
	papers, err := s.partPapers(r, v, part.ID)
	if err != nil {
		return err
	}
	papersActs(v, part, items, story, &view)
	view.Facts = append(append(concessionFacts(concessions), papers...), partFacts(v, part, revision)...)
	if err := s.articleOnPart(r, part, revision, &view); err != nil {
		return err
	}
	changes, err := s.changesIn(ctx, v, story)
	if err != nil {
		return err
	}
	view.Cycles = cycles(v, part, story, uses, changes, s.store.Clock())
	if len(story) == 0 {
		view.Empty = "Nothing is recorded of this part yet."
		if next := quality.Next(items); next != "" {
			view.Empty += " The first step is the " + lowerFirst(next.Name()) + "."
		}
	}
	return s.render(w, r, http.StatusOK, page.Part(view))
}

// concessionFacts are the concessions under which a part stands, each with how far it goes.
func concessionFacts(all []store.PartConcession) []page.DeskFact {
	facts := make([]page.DeskFact, len(all))
	for i, c := range all {
		text := c.Reference + ", " + c.Limits()
		if c.QuantityLeft != nil {
			text += fmt.Sprintf(", %d left", *c.QuantityLeft)
		}
		facts[i] = page.DeskFact{Term: "Under concession", Refs: []page.Ref{{Text: text}, {Text: "Hold " + c.Hold, Href: "/holds/" + url.PathEscape(c.Hold)}}}
	}
	return facts
}

// tagConcession is the line of a part's tag that marks it; empty for a part that meets its spec.
func tagConcession(all []store.PartConcession) string {
	var references []string
	for _, c := range all {
		if !slices.Contains(references, c.Reference) {
			references = append(references, c.Reference)
		}
	}
	if len(references) == 0 {
		return ""
	}
	return "Under concession " + strings.Join(references, ", ")
}

// stateStanding says where a requirement of the gate stands.
func stateStanding(state quality.State) page.Standing {
	switch state {
	case quality.Met:
		return page.Standing{Word: "met", Kind: "pass"}
	case quality.Waived:
		return page.Standing{Word: "under concession", Kind: "pass"}
	case quality.Failed:
		return page.Standing{Word: "failed", Kind: "fail"}
	}
	return page.Standing{Word: "not there yet", Kind: "none"}
}

// gateRows are the requirements; one that is not met leads to the form that would meet it.
func gateRows(part store.Part, items []quality.Item) []page.GateRow {
	rows := make([]page.GateRow, len(items))
	for i, item := range items {
		rows[i] = page.GateRow{Name: item.Name(), Standing: stateStanding(item.State)}
		if item.RecordID != "" {
			rows[i].Record = page.Ref{Text: item.Kind.Name(), Href: "/records/" + item.RecordID}
		}
		if item.State != quality.Met || item.Lot != "" || item.Kind == quality.PanelTest {
			rows[i].Sentence = item.Sentence
		}
		switch {
		case store.Finished(part.Status) && item.State != quality.Met && item.State != quality.Waived:
			// Nothing more is recorded on a part that has come to its end.
		case item.Lot != "" && (item.State == quality.Met || item.State == quality.Waived || item.Waits):
			rows[i].Do = page.Ref{Text: "Lot " + item.Lot, Href: lotHref(item.Lot)}
		case item.Lot != "":
			rows[i].Do = page.Ref{Text: "Record " + lowerFirst(item.Kind.Name()), Href: sampleHref(part.Serial, item.Kind)}
		case item.Waits:
			rows[i].Do = page.Ref{Text: "Make the lot", Href: "/sampling"}
		case item.Pending:
			rows[i].Standing = page.Standing{Word: "waits for a second person", Kind: "hold"}
			rows[i].Do = page.Ref{Text: "To the record", Href: "/records/" + item.RecordID + "#confirm"}
		case item.State != quality.Met:
			rows[i].Do = formOf(part, item.Kind)
		}
	}
	return rows
}

// formOf is the form that records a kind for a part: on the part, its rack or its load. Empty while it hangs on none.
func formOf(part store.Part, kind quality.Kind) page.Ref {
	text := "Record " + lowerFirst(kind.Name())
	switch kind {
	case quality.Weld, quality.Finish, quality.Film:
		return page.Ref{Text: text, Href: subjectHref("part", part.Serial) + "/" + string(kind)}
	case quality.Pretreatment, quality.Coating:
		if part.Rack == "" {
			return page.Ref{Text: "Hang the part on a rack", Href: "/racks"}
		}
		return page.Ref{Text: text, Href: subjectHref("rack", part.Rack) + "/" + string(kind)}
	case quality.PanelTest:
		if part.Load != "" {
			return page.Ref{Text: "Test a panel of load " + part.Load, Href: subjectHref("load", part.Load) + "#panels"}
		}
		return page.Ref{Text: "Put the rack on an oven load", Href: "/loads"}
	case quality.Cure, quality.CureTest:
		if part.Load == "" {
			return page.Ref{Text: "Put the rack on an oven load", Href: "/loads"}
		}
		return page.Ref{Text: text, Href: subjectHref("load", part.Load) + "/" + strings.ReplaceAll(string(kind), "_", "-")}
	}
	return page.Ref{}
}

// partActs offers what the person may do next: release through an open gate, record the next step, print the tag.
func (s *Server) partActs(v *visit, part store.Part, items []quality.Item, view *page.PartView) {
	href := subjectHref("part", part.Serial)
	open := part.Status == store.StatusAccepted || part.Status == store.StatusUnderConcession
	next := quality.Next(items)
	switch {
	case open && releasers.admits(v) == nil:
		view.Release = page.Ref{Text: "Release this part", Href: href + "/release"}
	case open:
		view.GateNote = "Everything is there. A person with the right to release signs next."
	case part.Status == store.StatusOnHold:
		view.GateNote = "On hold: a supervisor decides first."
		view.Acts = append(view.Acts, page.Ref{Text: "To the holds", Href: "/holds"})
	case len(items) == 0:
		view.GateNote = "The finish spec of this part number has no approved revision, so nothing can be recorded."
	case next != "" && !store.Finished(part.Status) && bench.admits(v) == nil:
		view.Release = formOf(part, next)
		if slices.ContainsFunc(items, func(i quality.Item) bool { return i.Kind == next && i.Lot != "" }) {
			view.Release.Href = sampleHref(part.Serial, next)
		}
	}
	view.Acts = append(view.Acts, page.Ref{Text: "Print hangtag", Href: href + "?print=hangtag"})
}

// papersActs offers what follows a release: shipping and certifying, or a new release of a part that is out without one.
func papersActs(v *visit, part store.Part, items []quality.Item, story []store.StoryLine, view *page.PartView) {
	if releasers.admits(v) != nil {
		return
	}
	valid := false
	for _, l := range story {
		valid = valid || l.What == "release" && !l.Superseded
	}
	switch part.Status {
	case store.StatusReleased:
		view.Acts = append(view.Acts, page.Ref{Text: "Ship parts of its job", Href: address("/shipments/new", "job", part.JobNumber)},
			page.Ref{Text: "Certificate for its job", Href: address("/certificates/new", "job", part.JobNumber)})
	case store.StatusShipped:
		switch {
		case valid:
		case quality.Open(items):
			view.Release, view.GateNote = page.Ref{Text: "Release this part anew", Href: subjectHref("part", part.Serial) + "/release"}, "It is out of the house, and its release is void. A new one takes its place."
		default:
			view.GateNote = "It is out of the house, and its release is void. Decide on its hold."
		}
	}
}

func partFacts(v *visit, part store.Part, revision store.SpecHead) []page.DeskFact {
	zone := v.site.Location()
	spec := "no approved revision"
	if revision.EffectiveAt != nil {
		spec = fmt.Sprintf("%s rev %s, approved %s", revision.Code, revision.Revision, revision.EffectiveAt.In(zone).Format("2 January 2006"))
	}
	facts := []page.DeskFact{page.Plain("Spec", spec), page.Plain("Received", longTime(part.ReceivedAt, zone)),
		{Term: "Job", Refs: []page.Ref{{Text: part.JobNumber, Href: address("/parts", "q", part.JobNumber)}}}}
	if part.OrderRef != "" {
		facts = append(facts, page.Plain("Order", part.OrderRef))
	}
	facts = append(facts, page.Plain("Metal", fmt.Sprintf("%s, wall %s mm, %s", part.Alloy, quality.Number(part.WallMM, 2), counted(part.Welds, "weld"))))
	if part.Rack != "" {
		facts = append(facts, page.DeskFact{Term: "Rack", Refs: []page.Ref{{Text: part.Rack, Href: subjectHref("rack", part.Rack)}}})
	}
	if part.Load != "" {
		facts = append(facts, page.DeskFact{Term: "Oven load", Refs: []page.Ref{{Text: part.Load, Href: subjectHref("load", part.Load)}}})
	}
	return facts
}

// usesOf reads what went into the records of a story, by record.
func (s *Server) usesOf(r *http.Request, v *visit, story []store.StoryLine) (map[uuid.UUID][]store.UseLine, error) {
	var ids []uuid.UUID
	for _, l := range story {
		if l.RecordID.Valid {
			ids = append(ids, l.RecordID.UUID)
		}
	}
	byRecord := map[uuid.UUID][]store.UseLine{}
	if len(ids) == 0 {
		return byRecord, nil
	}
	lines, err := s.store.UsesOf(r.Context(), v.site.ID, ids)
	for _, u := range lines {
		byRecord[u.RecordID] = append(byRecord[u.RecordID], u)
	}
	return byRecord, err
}

// changesIn reads what the corrections of a story changed, by the record of the correction.
func (s *Server) changesIn(ctx context.Context, v *visit, story []store.StoryLine) (map[uuid.UUID][]page.Change, error) {
	changes := map[uuid.UUID][]page.Change{}
	for _, l := range story {
		if !l.Before.Valid || quality.Verdict(l.Verdict) == quality.Voided {
			continue
		}
		before, err := s.store.RecordByID(ctx, v.site.ID, l.Before.UUID)
		if err != nil {
			return nil, err
		}
		after, err := s.store.RecordByID(ctx, v.site.ID, l.RecordID.UUID)
		if err != nil {
			return nil, err
		}
		changes[after.ID] = changesBetween(before, after)
	}
	return changes, nil
}

// roleWords are the uses in words.
var roleWords = map[string]string{"gauge": "gauge", "shim": "shim", "powder": "powder lot", "welder": "welder", "booth": "booth", "oven": "oven", "bath": "bath", "tested_part": "tested on",
	"chemical": "chemical lot", "titrant": "titrant lot", "solvent": "solvent lot", "filler": "filler metal lot", "heat": "aluminium heat", "tape": "tape lot", "meter": "meter", "panel": "panel"}

// traceOf says which kind of trace leads on from a thing used in a role.
var traceOf = map[string]string{"gauge": "gauge", "shim": "gauge", "meter": "gauge", "logger": "gauge", "standard": "gauge", "powder": "lot", "chemical": "lot", "titrant": "lot",
	"solvent": "lot", "filler": "lot", "heat": "lot", "tape": "lot", "welder": "welder", "booth": "booth", "oven": "oven", "bath": "bath", "panel": "panel"}

// traceHref leads to all parts that a thing used in a role touched.
func traceHref(role, name string) string {
	if traceOf[role] == "" {
		return ""
	}
	return address("/trace", "kind", traceOf[role], "name", name)
}

// useFact is one use; it leads to all parts that share it.
func useFact(u store.UseLine, zone *time.Location) page.DeskFact {
	f := page.DeskFact{Term: roleWords[u.Role], Refs: []page.Ref{{Text: u.Name, Href: traceHref(u.Role, u.Name)}}}
	switch {
	case u.Role == "tested_part":
		f.Refs[0].Href = subjectHref("part", u.Name)
	case u.Role == "bath" && u.Vouched.Valid:
		if at, err := time.Parse(time.RFC3339, u.Detail); err == nil {
			f.Refs = append(f.Refs, page.Ref{Text: "last read " + at.In(zone).Format("2 Jan 15:04"), Href: "/records/" + u.Vouched.UUID.String()})
		}
	case u.Role == "gauge" && u.Detail != "":
		if at, err := time.Parse(time.RFC3339, u.Detail); err == nil {
			f.Refs = append(f.Refs, page.Ref{Text: "verified " + at.In(zone).Format("2 Jan 15:04")})
		}
	case u.Detail != "":
		f.Refs = append(f.Refs, page.Ref{Text: u.Detail})
	}
	return f
}

// cycles groups a story by cycle, newest first within and among them.
func cycles(v *visit, part store.Part, story []store.StoryLine, uses map[uuid.UUID][]store.UseLine, changes map[uuid.UUID][]page.Change, now time.Time) []page.CycleView {
	zone := v.site.Location()
	today, _ := v.site.ShopDay(now)
	overrides := map[uuid.UUID][]string{}
	for _, l := range story {
		if l.What == "confirmation" {
			words := fmt.Sprintf("%s Signed by %s, %s, meaning: reviewed.", l.Sentence, l.Person, longTime(l.At, zone))
			if l.Reason != "" {
				words += " Reason: " + l.Reason
			}
			overrides[l.RecordID.UUID] = append(overrides[l.RecordID.UUID], words)
		}
		if l.What == "override" {
			words := fmt.Sprintf("Exception: %s Signed by %s, %s, meaning: authorised. Reason: %s", l.Sentence, l.Person, longTime(l.At, zone), l.Reason)
			if l.Later.Valid {
				words += " Signature void: the record was corrected after it."
			}
			overrides[l.RecordID.UUID] = append(overrides[l.RecordID.UUID], words)
		}
	}
	byCycle := map[int]*page.CycleView{}
	var order []int
	for _, l := range slices.Backward(story) {
		if l.What == "override" || l.What == "confirmation" {
			continue
		}
		c := byCycle[l.Cycle]
		if c == nil {
			c = &page.CycleView{Title: fmt.Sprintf("Cycle %d", l.Cycle)}
			if l.Cycle > 1 {
				c.Title += ", after strip and recoat"
			}
			byCycle[l.Cycle] = c
			order = append(order, l.Cycle)
		}
		item := storyItem(l, zone, today)
		if l.RecordID.Valid && l.What != "hold" {
			item.Overrides, item.Changes = overrides[l.RecordID.UUID], changes[l.RecordID.UUID]
			for _, u := range uses[l.RecordID.UUID] {
				item.Uses = append(item.Uses, useFact(u, zone))
			}
		}
		c.Items = append(c.Items, item)
	}
	slices.Sort(order)
	var views []page.CycleView
	for _, n := range slices.Backward(order) {
		views = append(views, *byCycle[n])
	}
	return views
}

// storyItem words one line of the story.
func storyItem(l store.StoryLine, zone *time.Location, today time.Time) page.StoryItem {
	item := page.StoryItem{When: clock(l.At, zone, today), Stamp: stamp(l.At, zone)}
	switch l.What {
	case "hold":
		item.Kind, item.Title = "hold", "Hold"
		item.Link, item.Rest = page.Ref{Text: l.Number, Href: "/holds/" + url.PathEscape(l.Number)}, ": "+l.Sentence
		item.Details = []string{l.Rule}
	case "disposition":
		item.Kind, item.Title = "none", dispositionName(l.Verdict)
		item.Link, item.Rest = page.Ref{Text: "decided on hold " + l.Number, Href: "/holds/" + url.PathEscape(l.Number)}, ": "+l.Reason
		item.Details = []string{fmt.Sprintf("Signed by %s, %s, meaning: disposed. “%s”", l.Person, longTime(l.At, zone), l.Sentence)}
	case "release":
		item.Kind, item.Title = "pass", "Released"
		item.Details = []string{fmt.Sprintf("Signed by %s, %s, meaning: released. “%s”", l.Person, longTime(l.At, zone), l.Sentence)}
		switch {
		case l.Superseded && !l.Later.Valid:
			item.Kind, item.Title = "none", "Release, ended"
			item.Struck = "Ended when the part came back from the customer."
		case l.Superseded:
			item.Kind, item.Title = "none", "Release, signature void"
			item.Struck = fmt.Sprintf("Signature void: a record it was signed on was corrected by %s, %s: %s.", l.LaterBy, longTime(*l.LaterAt, zone), strings.TrimSuffix(l.LaterWhy, "."))
			item.StruckRef = page.Ref{Text: "The record that made it void", Href: "/records/" + l.Later.UUID.String()}
		}
	case "shipment":
		item.Kind, item.Title = "pass", "Shipped"
		item.Link, item.Rest = page.Ref{Text: l.Number, Href: "/shipments/" + l.Number}, " "+l.Sentence
		item.Details = []string{l.Person}
	case "return":
		item.Kind, item.Title = "hold", "Came back"
		item.Link, item.Rest = page.Ref{Text: "from shipment " + l.Number, Href: "/shipments/" + l.Number}, ": "+l.Reason
		item.Details = []string{fmt.Sprintf("Signed by %s, %s, meaning: performed. “%s”", l.Person, longTime(l.At, zone), l.Sentence)}
	case "certificate":
		item.Kind, item.Title = "pass", "Certificate"
		item.Link = page.Ref{Text: l.Number, Href: "/certificates/" + l.Number}
		item.Details = []string{fmt.Sprintf("Signed by %s, %s, meaning: approved. “%s”", l.Person, longTime(l.At, zone), l.Sentence)}
		if l.Superseded {
			item.Kind, item.Details = "none", append(item.Details, "Superseded by a later certificate.")
		}
	default:
		kind := quality.Kind(l.What)
		item.Kind, item.Title = l.Verdict, kind.Name()
		switch {
		case strings.HasPrefix(l.Number, "panel "):
			item.Title += ", " + l.Number
		case l.Number != "":
			item.Title += ", " + string(quality.Subjects[kind][0]) + " " + l.Number
		}
		item.Link = page.Ref{Text: firstOf(l.Sentence, l.Rule, verdictStanding(quality.Verdict(l.Verdict)).Word), Href: "/records/" + l.RecordID.UUID.String()}
		var by []string
		for _, part := range []string{verdictStanding(quality.Verdict(l.Verdict)).Word, l.Spec, l.Rule, l.Person, l.Station} {
			if part != "" {
				by = append(by, part)
			}
		}
		item.Details = []string{strings.Join(by, " · ")}
		if l.Late != "" {
			item.Details = append(item.Details, "Entered late: "+l.Late)
		}
		if l.Reason != "" {
			item.Details = append(item.Details, "Note: "+l.Reason)
		}
		if l.Before.Valid {
			word := "Corrects"
			if quality.Verdict(l.Verdict) == quality.Voided {
				word = "Voids"
			}
			item.Details = append(item.Details, fmt.Sprintf("%s an earlier record, %s: %s.", word, correctionWords[l.Code], strings.TrimSuffix(l.Why, ".")))
			if l.SignedAt != nil {
				item.Details = append(item.Details, fmt.Sprintf("Signed by %s, %s, meaning: corrected.", l.Signer, longTime(*l.SignedAt, zone)))
			}
		}
		if l.Superseded {
			item.Struck = fmt.Sprintf("Was; no longer counts. Corrected by %s, %s, %s: %s.", l.LaterBy, longTime(*l.LaterAt, zone), correctionWords[l.LaterCode], strings.TrimSuffix(l.LaterWhy, "."))
			item.StruckRef = page.Ref{Text: "The record that takes its place", Href: "/records/" + l.Later.UUID.String()}
		}
	}
	return item
}

func firstOf(words ...string) string {
	for _, w := range words {
		if w != "" {
			return w
		}
	}
	return ""
}

// releasePage shows what a release would sign.
func (s *Server) releasePage(w http.ResponseWriter, r *http.Request) error {
	return s.renderRelease(w, r, http.StatusOK, "", nil)
}

func (s *Server) renderRelease(w http.ResponseWriter, r *http.Request, status int, problem string, wrong map[string]string) error {
	v, ctx := visitFrom(r), r.Context()
	part, err := s.store.PartBySerial(ctx, v.site.ID, chi.URLParam(r, "serial"))
	if err != nil {
		return err
	}
	items, revision, err := s.store.GateOf(ctx, v.site.ID, part.ID)
	if err != nil {
		return err
	}
	holds, err := s.store.HoldsOf(ctx, v.site.ID, part.ID)
	if err != nil {
		return err
	}
	view := page.ReleaseView{Frame: s.deskFrame(v, "Release "+part.Serial, "Parts"), Serial: part.Serial, What: part.PartName + " " + part.PartNumber + ", job " + part.JobNumber,
		Gate: gateRows(part, items), Problem: problem, Wrong: wrong, Form: store.NewID().String()}
	view.Open = part.Status == store.StatusAccepted || part.Status == store.StatusUnderConcession || part.Status == store.StatusShipped && quality.Open(items) && len(holds) == 0
	if posted := r.PostFormValue("record"); posted != "" {
		view.Form = posted
	}
	for _, h := range holds {
		view.Blocks = append(view.Blocks, fmt.Sprintf("Hold %s is undecided: %s", h.Number, h.Cause))
	}
	waived := 0
	for _, item := range items {
		switch item.State {
		case quality.Waived:
			waived++
		case quality.Met:
		default:
			view.Blocks = append(view.Blocks, item.Sentence)
		}
	}
	if part.Status == store.StatusReleased {
		view.Blocks = append(view.Blocks, "This part is released already.")
	}
	if view.Open {
		waits, err := s.store.ReleaseWaits(ctx, v.site.ID, part.ID)
		if err != nil {
			return err
		}
		if waits != "" {
			view.Open, view.Blocks = false, append(view.Blocks, waits)
		}
	}
	view.Statement = []string{
		fmt.Sprintf("I, %s, release part %s in cycle %d, judged by %s rev %s.", v.person.Name, part.Serial, part.Cycle, revision.Code, revision.Revision),
		fmt.Sprintf("%s: %d met, %d under concession. Meaning of the signature: released.", counted(len(items), "requirement"), len(items)-waived, waived)}
	return s.render(w, r, status, page.Release(view))
}

// release signs and releases a part, or brings the review back with the reason.
func (s *Server) release(w http.ResponseWriter, r *http.Request) error {
	v, ctx := visitFrom(r), r.Context()
	part, err := s.store.PartBySerial(ctx, v.site.ID, chi.URLParam(r, "serial"))
	if err != nil {
		return err
	}
	proof, err := s.sign(r)
	if err == nil {
		err = s.store.Release(ctx, v.actor, []uuid.UUID{part.ID}, proof)
	}
	if problem, wrong, refused := refusedForm(err); refused {
		return s.renderRelease(w, r, http.StatusUnprocessableEntity, problem, wrong)
	}
	if err != nil {
		return err
	}
	s.flash(r, "Part "+part.Serial+" is released.")
	http.Redirect(w, r, subjectHref("part", part.Serial), http.StatusSeeOther)
	return nil
}

// refusedForm turns a refusal into the sentence over a form, or at its PIN. It reports false for any other error.
func refusedForm(err error) (problem string, wrong map[string]string, refused bool) {
	var refusal *store.Refusal
	if !errors.As(err, &refusal) {
		return "", nil, false
	}
	switch refusal.Rule {
	case store.RuleWrongSecret, store.RuleLocked:
		return "", map[string]string{"pin": refusal.Sentence}, true
	case store.RuleNotSigner:
		return "", map[string]string{"signer": refusal.Sentence}, true
	}
	return refusal.Sentence, nil, true
}
