package web

import (
	"encoding/hex"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/go-chi/chi/v5"

	"coatbook/quality"
	"coatbook/quality/sampling"
	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
)

// inspectionLotPage shows one lot: its plan, its sample, and who stands on it.
func (s *Server) inspectionLotPage(w http.ResponseWriter, r *http.Request) error {
	return s.renderInspectionLot(w, r, http.StatusOK, form.New(nil), "")
}

func (s *Server) renderInspectionLot(w http.ResponseWriter, r *http.Request, status int, a *form.Answers, problem string) error {
	v, ctx := visitFrom(r), r.Context()
	l, err := s.store.InspectionLotByNumber(ctx, v.site.ID, chi.URLParam(r, "number"))
	if err != nil {
		return err
	}
	parts, err := s.store.LotParts(ctx, v.site.ID, l.ID)
	if err != nil {
		return err
	}
	swaps, err := s.store.Swaps(ctx, v.site.ID, l.ID)
	if err != nil {
		return err
	}
	verdicts, err := s.store.LotVerdicts(ctx, v.site.ID, l.ID)
	if err != nil {
		return err
	}
	view := page.SamplingView{Frame: s.deskFrame(v, "Lot "+l.Number, "Parts"), Title: "Lot " + l.Number, Back: page.Ref{Text: "All lots", Href: "/sampling"}, Standing: lotStanding(l.State),
		Lead:  fmt.Sprintf("%s of %s, %s %s: %d of %d samples checked, %d failed, %d allowed.", l.Of.Name(), counted(l.Size, "part"), sourceWords[l.SourceKind], l.Source, l.Checked, l.Sample, l.Failed, l.Accept),
		Facts: inspectionLotFacts(v, l)}
	sample, rest := lotLists(l, parts)
	view.Parts = append(view.Parts, page.SetupSection{ID: "sample", Head: "Sample", Table: sample})
	if swap := swapSection(v, l, parts, a, problem); swap != nil {
		view.Parts = append(view.Parts, *swap)
	}
	if len(swaps) > 0 {
		view.Parts = append(view.Parts, page.SetupSection{ID: "swaps", Head: "Swapped", Table: swapTable(v, swaps)})
	}
	view.Parts = append(view.Parts, page.SetupSection{ID: "rest", Head: "Who stands on this sample", Note: restNote(l), Table: rest}, ocSection(l))
	if len(verdicts) > 0 {
		view.Parts = append(view.Parts, page.SetupSection{ID: "verdicts", Head: "Verdicts", Table: verdictTable(v, verdicts)})
	}
	return s.render(w, r, status, page.Sampling(view))
}

// inspectionLotFacts are the plan as it was stored, and where the lot comes from.
func inspectionLotFacts(v *visit, l store.InspectionLot) []page.DeskFact {
	plan := fmt.Sprintf("%d of %d, accept with up to %d failed, reject with %d", l.Sample, l.Size, l.Accept, l.Reject)
	facts := []page.DeskFact{page.Plain("Spec", l.SpecCode+" rev "+l.SpecRevision), page.Plain("Plan", plan), page.Plain("By", l.Standard)}
	if l.Plan == string(quality.PlanAQL) && l.AQL != nil {
		how := fmt.Sprintf("level %s, AQL %s %%, %s inspection", l.Level, setupNumber(*l.AQL), l.Severity)
		if l.CodeLetter != "" {
			how += ", code letter " + l.CodeLetter
		}
		if l.PlanLetter != l.CodeLetter {
			how += ", whose arrow leads to letter " + l.PlanLetter
		}
		facts = append(facts, page.Plain("Looked up at", how))
	}
	facts = append(facts, page.Plain("Made", longTime(l.MadeAt, v.site.Location())+", "+l.MadeBy))
	if l.DecidedAt != nil {
		facts = append(facts, page.Plain("Decided", longTime(*l.DecidedAt, v.site.Location())+", by a record of "+l.DecidedBy))
	}
	if !l.First {
		facts = append(facts, page.Plain("Offered again", "a part of it was in a lot that was rejected; it does not count for switching"))
	}
	if l.Hold != "" {
		fact := page.DeskFact{Term: "Hold"}
		for _, number := range strings.Split(l.Hold, ", ") {
			fact.Refs = append(fact.Refs, page.Ref{Text: number, Href: "/holds/" + url.PathEscape(number)})
		}
		facts = append(facts, fact)
	}
	return append(facts, page.Plain("Seed of the draw", hex.EncodeToString(l.Seed)))
}

func restNote(l store.InspectionLot) string {
	switch {
	case l.State == quality.LotRejected:
		return "The lot is rejected and what it stood for is held. Each part is checked itself, and a supervisor ends its hold once it passed; or another disposition is made."
	case l.State.Accepted():
		return "The lot is accepted: these parts need no check of their own."
	}
	return "These parts need no check of their own; they wait until the sample is complete."
}

// lotLists are the sample in its order, and the parts that were not drawn.
func lotLists(l store.InspectionLot, parts []store.LotPart) (sample, rest *page.SetupTable) {
	sample = &page.SetupTable{Caption: "Sample", Heads: []string{"Sample", "Part", "Record", "Part is"}}
	rest = &page.SetupTable{Caption: "Parts that were not drawn", Heads: []string{"Part", "Record of its own", "Part is"}, Empty: "Every part is in the sample."}
	drawn := slices.DeleteFunc(slices.Clone(parts), func(p store.LotPart) bool { return p.Seq == 0 })
	slices.SortFunc(drawn, func(a, b store.LotPart) int { return a.Seq - b.Seq })
	record := func(p store.LotPart) page.SetupCell {
		if p.RecordID.Valid {
			return page.SetupCell{Ref: page.Ref{Text: verdictStanding(p.Verdict).Word, Href: "/records/" + p.RecordID.UUID.String()}}
		}
		if store.Finished(p.Status) {
			return page.Words("none")
		}
		if p.Seq > 0 || l.State == quality.LotRejected {
			return page.SetupCell{Ref: page.Ref{Text: "record it", Href: sampleHref(p.Serial, l.Of.Check())}}
		}
		return page.Words("none needed")
	}
	status := func(p store.LotPart) page.SetupCell {
		return page.SetupCell{Standing: partStanding(p.Status, p.NextKind)}
	}
	for _, p := range drawn {
		sample.Rows = append(sample.Rows, []page.SetupCell{page.Code(fmt.Sprint(p.Seq), ""), page.Code(p.Serial, subjectHref("part", p.Serial)), record(p), status(p)})
	}
	for _, p := range parts {
		if p.Seq == 0 {
			rest.Rows = append(rest.Rows, []page.SetupCell{page.Code(p.Serial, subjectHref("part", p.Serial)), record(p), status(p)})
		}
	}
	return sample, rest
}

// sampleHref is where a sample is checked: always on the part itself.
func sampleHref(serial string, kind quality.Kind) string {
	return subjectHref("part", serial) + "/" + strings.ReplaceAll(string(kind), "_", "-")
}

// carrierLots are what is checked on a sample of a rack or oven load, lot by lot.
func (s *Server) carrierLots(r *http.Request, on store.Subject) ([]page.CarrierLot, error) {
	samples, err := s.store.SamplesOn(r.Context(), visitFrom(r).site.ID, on)
	var lots []page.CarrierLot
	for _, one := range samples {
		text := "Lot " + one.Lot
		if len(lots) == 0 || lots[len(lots)-1].Lot.Text != text {
			stands := lotStanding(one.State)
			lots = append(lots, page.CarrierLot{What: one.Of.Name(), Lot: page.Ref{Text: text, Href: lotHref(one.Lot)}, Verdict: stands.Kind, Words: stands.Word})
		}
		line := page.CarrierSample{Serial: one.Serial, Href: sampleHref(one.Serial, one.Of.Check()), Verdict: "none", Words: "to be checked"}
		if one.Verdict != "" {
			stands := verdictStanding(one.Verdict)
			line.Href, line.Verdict, line.Words = subjectHref("part", one.Serial), stands.Kind, stands.Word
		}
		last := &lots[len(lots)-1]
		last.Samples = append(last.Samples, line)
	}
	return lots, err
}

// swapSection is the form that takes a part out of the sample; nil where nobody may or nothing can be swapped.
func swapSection(v *visit, l store.InspectionLot, parts []store.LotPart, a *form.Answers, problem string) *page.SetupSection {
	if l.State != quality.LotOpen || l.Sample == l.Size || deciders.admits(v) != nil {
		return nil
	}
	e := swapPart
	for _, p := range parts {
		if p.Seq > 0 && p.Verdict == "" {
			e.Options = append(e.Options, form.Option{Value: p.Serial, Label: fmt.Sprintf("%s, sample %d", p.Serial, p.Seq)})
		}
	}
	if len(e.Options) == 0 && problem == "" {
		return nil
	}
	f := simpleForm(lotHref(l.Number)+"/swap", "Swap it", problem, fields(a, e, swapReason))
	return &page.SetupSection{ID: "swap", Head: "Swap a sample", Note: "The next part of the draw takes its place. The reason stays with the lot and is in the export.", Form: &f}
}

// swapSample takes a part out of the sample.
func (s *Server) swapSample(w http.ResponseWriter, r *http.Request) error {
	v, a := visitFrom(r), form.New(r.PostForm)
	l, err := s.store.InspectionLotByNumber(r.Context(), v.site.ID, chi.URLParam(r, "number"))
	if err != nil {
		return err
	}
	serial, reason := strings.TrimSpace(a.Values.Get(swapPart.Name)), a.Text(swapReason)
	if serial == "" {
		a.Say(swapPart.Name, "Choose the sample that is taken out.")
	}
	in := ""
	problem, err := attempt(a, []form.Entry{swapReason}, func() (err error) {
		in, err = s.store.SwapSample(r.Context(), v.actor, l.ID, serial, reason)
		return err
	})
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderInspectionLot(w, r, http.StatusUnprocessableEntity, a, problem)
	}
	return s.done(w, r, lotHref(l.Number), "Part "+in+" takes the place of "+serial+" in the sample.")
}

func swapTable(v *visit, swaps []store.SampleSwap) *page.SetupTable {
	table := &page.SetupTable{Caption: "Swapped samples", Heads: []string{"Sample", "Out", "In", "Why", "By", "When"}}
	for _, w := range swaps {
		table.Rows = append(table.Rows, []page.SetupCell{page.Code(fmt.Sprint(w.Seq), ""), page.Code(w.Out, subjectHref("part", w.Out)), page.Code(w.In, subjectHref("part", w.In)), page.Words(w.Reason),
			page.Words(w.By), page.Words(lotTime(v, w.At))})
	}
	return table
}

func verdictTable(v *visit, verdicts []store.LotVerdict) *page.SetupTable {
	table := &page.SetupTable{Caption: "Verdicts on this lot", Heads: []string{"When", "Verdict", "Checked", "Failed", "By the record of"}}
	for _, one := range verdicts {
		table.Rows = append(table.Rows, []page.SetupCell{page.Words(lotTime(v, one.At)), {Standing: lotStanding(one.Verdict)}, page.Figure(fmt.Sprint(one.Checked)), page.Figure(fmt.Sprint(one.Failed)),
			{Ref: page.Ref{Text: one.By, Href: "/records/" + one.RecordID.String()}}})
	}
	return table
}

// ocSection says what the plan lets through: the key points of its operating characteristic.
func ocSection(l store.InspectionLot) page.SetupSection {
	section := page.SetupSection{ID: "oc", Head: "What this plan lets through"}
	// Between the numbers of reduced inspection a lot is accepted as well.
	accept := l.Reject - 1
	if l.Sample == l.Size {
		section.Note = fmt.Sprintf("Every part is checked; the lot is accepted with up to %d failed.", accept)
		return section
	}
	points, err := sampling.OC(l.Size, l.Sample, accept, []float64{0.01, 0.02, 0.05, 0.10, 0.20, 0.30})
	good, errGood := sampling.QualityAt(l.Sample, accept, 0.95)
	poor, errPoor := sampling.QualityAt(l.Sample, accept, 0.10)
	if err != nil || errGood != nil || errPoor != nil {
		section.Note = "This plan accepts whatever comes: its numbers reject nothing."
		return section
	}
	section.Note = fmt.Sprintf("In a long series, lots with %s %% bad are accepted 95 times in 100, lots with %s %% bad 10 times in 100 (binomial law). In this lot, by drawing without putting back:",
		quality.Number(100*good, 1), quality.Number(100*poor, 1))
	table := &page.SetupTable{Caption: "Operating characteristic", Heads: []string{"Bad in the lot", "Bad parts", "Accepted in 100"}}
	for _, p := range points {
		table.Rows = append(table.Rows, []page.SetupCell{page.Words(quality.Number(100*p.Fraction, 0) + " %"), page.Figure(fmt.Sprint(*p.Bad)), page.Figure(quality.Number(100**p.Hypergeometric, 1))})
	}
	section.Table = table
	return section
}
