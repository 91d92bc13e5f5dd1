package web

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/quality/sampling"
	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
)

// mostLots bounds the list: the open ones come first, and what is older is in the export.
const mostLots = 100

var (
	lotParts     = form.Entry{Kind: form.Pick, Name: "parts", Label: "Parts that are offered together"}
	swapPart     = form.Entry{Kind: form.Pick, Name: "sample", Label: "Sample to be taken out"}
	swapReason   = form.Entry{Kind: form.Text, Name: "reason", Label: "Why", Hint: "such as why it cannot be reached; at least 5 letters", Max: 300, Wide: true}
	resumeReason = form.Entry{Kind: form.Text, Name: "reason", Label: "What was done about the cause", Hint: "at least 5 letters", Max: 300, Wide: true}
)

// lotStanding says where a lot stands.
func lotStanding(state quality.LotState) page.Standing {
	switch state {
	case quality.LotAccepted:
		return page.Standing{Word: "accepted", Kind: "pass"}
	case quality.LotBetween:
		return page.Standing{Word: "accepted, ends reduced inspection", Kind: "pass"}
	case quality.LotRejected:
		return page.Standing{Word: "rejected", Kind: "fail"}
	}
	return page.Standing{Word: "waits for its samples", Kind: "none"}
}

func lotHref(number string) string { return "/sampling/" + url.PathEscape(number) }

// samplingPage lists the lots, how the next ones are inspected, and every switch.
func (s *Server) samplingPage(w http.ResponseWriter, r *http.Request) error {
	return s.renderSampling(w, r, http.StatusOK, form.New(nil), "", form.New(nil), "")
}

func (s *Server) renderSampling(w http.ResponseWriter, r *http.Request, status int, making *form.Answers, problem string, resuming *form.Answers, refused string) error {
	v, ctx := visitFrom(r), r.Context()
	lots, err := s.store.InspectionLots(ctx, v.site.ID, mostLots)
	if err != nil {
		return err
	}
	severities, err := s.store.Severities(ctx, v.site.ID)
	if err != nil {
		return err
	}
	switches, err := s.store.Switches(ctx, v.site.ID)
	if err != nil {
		return err
	}
	view := page.SamplingView{Frame: s.deskFrame(v, "Sampling", "Parts"), Title: "No lot waits for its samples", Lead: "Where a spec asks for a check, or for one characteristic of it, on a sample, the parts that are not drawn stand on their lot."}
	open := 0
	for _, l := range lots {
		if l.State == quality.LotOpen {
			open++
		}
	}
	if open > 0 {
		view.Title = plural(open, "lot waits for its samples", "lots wait for their samples")
	}
	if deciders.admits(v) == nil {
		section, err := s.makeLotSection(r, making, problem)
		if err != nil {
			return err
		}
		view.Parts = append(view.Parts, section)
	}
	view.Parts = append(view.Parts, page.SetupSection{ID: "lots", Head: "Lots", Table: lotTable(v, lots)})
	view.Parts = append(view.Parts, severitySections(v, severities, resuming, refused)...)
	view.Parts = append(view.Parts, page.SetupSection{ID: "switches", Head: "Every switch, newest first", Table: switchTable(v, switches)})
	return s.render(w, r, status, page.Sampling(view))
}

// makeLotSection is the form that offers parts as a lot.
func (s *Server) makeLotSection(r *http.Request, a *form.Answers, problem string) (page.SetupSection, error) {
	section := page.SetupSection{ID: "make", Head: "Make a lot"}
	waiting, err := s.store.WaitingForLots(r.Context(), visitFrom(r).site.ID)
	if err != nil {
		return section, err
	}
	if len(waiting) == 0 && problem == "" {
		section.Note = "No part waits for a lot. Parts of a spec that asks for a check by lot are listed here once they have come that far."
		return section, nil
	}
	section.Note = "The plan is looked up by the number of parts and stored with the lot, and the sample is drawn at random."
	entry := waitingEntry(waiting)
	f := simpleForm("/sampling", "Make the lot and draw its sample", problem, fields(a, entry))
	id := a.Values.Get("lot")
	if _, err := uuid.Parse(id); err != nil {
		id = store.NewID().String()
	}
	f.Hidden = []page.SetupBox{{Name: "lot", Value: id}}
	section.Form = &f
	return section, nil
}

// waitingEntry is the choice among sets of parts; each value names what is sampled, spec, and the job or load.
func waitingEntry(waiting []store.LotWaiting) form.Entry {
	e := lotParts
	for _, w := range waiting {
		value, from := []string{string(w.Of), w.Spec, "job", w.Job}, "job "+w.Job
		if w.Load != "" {
			value, from = []string{string(w.Of), w.Spec, "load", w.Load}, "oven load "+w.Load
		}
		e.Options = append(e.Options, form.Option{Value: strings.Join(value, "|"), Label: fmt.Sprintf("%s, %s: %s of %s", w.Spec, lowerFirst(w.Of.Name()), counted(w.Parts, "part"), from)})
	}
	return e
}

// makeLot makes a lot of the chosen parts.
func (s *Server) makeLot(w http.ResponseWriter, r *http.Request) error {
	v, a := visitFrom(r), form.New(r.PostForm)
	chosen := a.Values.Get(lotParts.Name)
	pieces := strings.Split(chosen, "|")
	offer := store.LotOffer{}
	if chosen == "" || len(pieces) != 4 || pieces[2] != "job" && pieces[2] != "load" {
		a.Say(lotParts.Name, "Choose the parts that are offered together.")
	} else {
		offer.Of, offer.Spec, offer.Job = quality.Sampled(pieces[0]), pieces[1], pieces[3]
		if pieces[2] == "load" {
			offer.Job, offer.Load = "", pieces[3]
		}
	}
	offer.ID, _ = uuid.Parse(a.Values.Get("lot"))
	number := ""
	problem, err := attempt(a, nil, func() (err error) {
		number, err = s.store.MakeLot(r.Context(), v.actor, offer)
		return err
	})
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderSampling(w, r, http.StatusUnprocessableEntity, a, problem, form.New(nil), "")
	}
	return s.done(w, r, lotHref(number), "Lot "+number+" is made and its sample drawn.")
}

func lotTable(v *visit, lots []store.InspectionLot) *page.SetupTable {
	table := &page.SetupTable{Caption: "Inspection lots", Heads: []string{"Lot", "Check", "Parts", "Sample", "Failed", "Standing", "Made"},
		Empty: "No lot yet. A finish spec says under Sampling which checks are made, or gloss and adhesion measured, on a sample."}
	for _, l := range lots {
		table.Rows = append(table.Rows, []page.SetupCell{page.Code(l.Number, lotHref(l.Number)), page.Words(l.SpecCode + ", " + lowerFirst(l.Of.Name())),
			page.Words(fmt.Sprintf("%d, %s %s", l.Size, sourceWords[l.SourceKind], l.Source)), page.Words(fmt.Sprintf("%d of %d checked", l.Checked, l.Sample)),
			page.Words(fmt.Sprintf("%d, %d allowed", l.Failed, l.Accept)), {Standing: lotStanding(l.State)}, page.Words(lotTime(v, l.MadeAt))})
	}
	return table
}

// lotTime prints when something happened to a lot, short enough for a column.
func lotTime(v *visit, at time.Time) string {
	return shortTime(at, v.site.Location())
}

var sourceWords = map[string]string{"job": "job", "rack": "rack", "load": "oven load"}

// severitySections say how the next lots are inspected; where inspection has stopped, an engineer lets it begin again.
func severitySections(v *visit, severities []store.Severity, a *form.Answers, problem string) []page.SetupSection {
	if len(severities) == 0 {
		return nil
	}
	table := &page.SetupTable{Caption: "How the next lot is inspected", Heads: []string{"Spec", "Check", "The next lot is"}}
	sections := []page.SetupSection{{ID: "severity", Head: "How the next lot is inspected", Table: table,
		Note: "By the switching rules of MIL-STD-105E 4.7: two rejections in five lots or fewer tighten, five accepted in a row bring back normal, ten accepted in a row reduce where the spec permits it, ten lots in a row on tightened stop."}}
	for _, one := range severities {
		stands := page.Stands("none", "inspected "+string(one.Severity))
		if one.Severity == sampling.Discontinued {
			stands = page.Stands("fail", "stopped")
			if approvers.admits(v) == nil {
				f := simpleForm("/sampling/resume", "Sign and begin again", problem, fields(a, append([]form.Entry{resumeReason}, signing(v)...)...))
				f.Hidden = []page.SetupBox{{Name: "spec", Value: one.SpecCode}, {Name: "kind", Value: string(one.Of)}}
				sections = append(sections, page.SetupSection{Head: "Begin again: " + one.SpecCode + ", " + lowerFirst(one.Of.Name()), Note: "Inspection by lot is stopped until the cause is mended. It begins again on tightened inspection. Your signature means: authorised.", Form: &f})
			}
		}
		table.Rows = append(table.Rows, []page.SetupCell{page.Words(one.SpecCode), page.Words(one.Of.Name()), stands})
	}
	return sections
}

// resumeInspection signs that inspection by lot begins again.
func (s *Server) resumeInspection(w http.ResponseWriter, r *http.Request) error {
	v, a := visitFrom(r), form.New(r.PostForm)
	reason := a.Text(resumeReason)
	for _, e := range signing(v) {
		a.Text(e)
	}
	problem, err := attempt(a, nil, func() error {
		proof, err := s.sign(r)
		if _, wrong, refused := refusedForm(err); refused {
			for field, sentence := range wrong {
				a.Say(field, sentence)
			}
		}
		if err != nil {
			return err
		}
		return s.store.ResumeInspection(r.Context(), v.actor, a.Values.Get("spec"), quality.Sampled(a.Values.Get("kind")), reason, proof)
	})
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderSampling(w, r, http.StatusUnprocessableEntity, form.New(nil), "", a, problem)
	}
	return s.done(w, r, "/sampling", "Inspection by lot begins again, tightened.")
}

func switchTable(v *visit, switches []store.Switch) *page.SetupTable {
	table := &page.SetupTable{Caption: "Switches", Heads: []string{"When", "Check", "Inspection", "Why", "Lots behind it", "By"}, Empty: "No switch yet: every lot so far was inspected normally."}
	for _, w := range switches {
		by := w.By
		if w.Signed {
			by += ", signed: authorised"
		}
		lots := page.Words(strings.Join(w.Lots, ", "))
		if len(w.Lots) == 1 {
			lots = page.Code(w.Lots[0], lotHref(w.Lots[0]))
		}
		table.Rows = append(table.Rows, []page.SetupCell{page.Words(lotTime(v, w.At)), page.Words(w.SpecCode + ", " + lowerFirst(w.Of.Name())), page.Words(fmt.Sprintf("%s → %s", w.From, w.To)),
			page.Words(w.Reason), lots, page.Words(by)})
	}
	return table
}
