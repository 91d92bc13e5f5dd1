package web

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
	"coatbook/web/ui"
)

// The fields of a new panel.
var (
	panelCode       = form.Entry{Kind: form.Text, Name: "panel-code", Label: "Panel", Hint: "the code scribed on it, such as WP-104", Max: 40}
	panelPosition   = form.Entry{Kind: form.Text, Name: "panel-position", Label: "Place", Hint: "such as top, beside the door", Max: 120}
	panelAlloy      = form.Entry{Kind: form.Text, Name: "panel-alloy", Label: "Alloy", Hint: "such as 6060 T66", Max: 60}
	panelPretreated = form.Entry{Kind: form.Text, Name: "panel-pretreated", Label: "Pretreated", Hint: "such as with the rack, or the run it went through", Max: 120}
)

// panelBlock lists the panels of a rack or load and offers to add one. a is a form that was refused, nil for a fresh one.
func (s *Server) panelBlock(r *http.Request, on store.Subject, address string, racks []store.Rack, a *form.Answers) (page.PanelBlock, error) {
	v := visitFrom(r)
	b := page.PanelBlock{Record: store.NewID().String()}
	panels, err := s.store.PanelsOf(r.Context(), v.site.ID, on)
	if err != nil {
		return b, err
	}
	for _, p := range panels {
		line := page.PanelLine{Code: p.Code, Href: subjectHref("panel", p.Code), Words: panelPlace(p) + ", " + p.Alloy, Verdict: "none", VerdictWords: "not tested"}
		if p.RecordID.Valid {
			stands := verdictStanding(p.Verdict)
			line.Verdict, line.VerdictWords = stands.Kind, stands.Word
		}
		b.Panels = append(b.Panels, line)
	}
	if bench.admits(v) != nil {
		return b, nil
	}
	if a == nil {
		a = form.New(nil)
	} else {
		b.Record, b.Problem = a.Values.Get("record"), a.Wrong["panel"]
	}
	text := func(e form.Entry) ui.TextField {
		return ui.TextField{Name: e.Name, Label: e.Label, Hint: e.Hint, Value: a.Values.Get(e.Name), Problem: a.Wrong[e.Name]}
	}
	b.Action = address + "/panels"
	b.Code, b.Position, b.Alloy, b.Pretreated = text(panelCode), text(panelPosition), text(panelAlloy), text(panelPretreated)
	if len(a.Wrong) > 0 && b.Problem == "" {
		b.Problem = "Not added. Look at the marked fields; what you typed is kept."
	}
	if on.Kind == quality.OnLoad {
		b.On = &ui.Select{Name: "panel-on", Label: "Hangs on", Empty: "the load itself", Scan: "RACK"}
		for _, k := range racks {
			b.On.Choices = append(b.On.Choices, ui.Choice{Value: k.ID.String(), Label: "rack " + k.Number, Code: k.Number, Chosen: a.Values.Get("panel-on") == k.ID.String()})
		}
	}
	return b, nil
}

func panelPlace(p store.Panel) string {
	if p.Rack != "" {
		return "rack " + p.Rack + ", " + p.Position
	}
	return p.Position
}

// readPanel reads the form of a new panel.
func readPanel(r *http.Request) (store.Panel, *form.Answers) {
	a := form.New(r.PostForm)
	p := store.Panel{Code: a.Code(panelCode), Position: a.Text(panelPosition), Alloy: a.Text(panelAlloy), PretreatedWith: a.Text(panelPretreated)}
	var err error
	if p.ID, err = uuid.Parse(a.Values.Get("record")); err != nil {
		a.Say("panel", "The form has lost its number. Reload the page and add the panel again.")
	}
	return p, a
}

// addPanel adds a panel and reports whether the form has to come back, with what is wrong in a.
func (s *Server) addPanel(w http.ResponseWriter, r *http.Request, p store.Panel, a *form.Answers, address string) (again bool, err error) {
	if !a.OK() {
		return true, nil
	}
	err = s.store.AddPanel(r.Context(), visitFrom(r).actor, p)
	var refusal *store.Refusal
	if errors.As(err, &refusal) {
		a.Say("panel", refusal.Sentence)
		return true, nil
	}
	if err != nil {
		return false, err
	}
	s.flash(r, "Panel "+p.Code+" is added.")
	http.Redirect(w, r, address+"#panels", http.StatusSeeOther)
	return false, nil
}

// addPanelToRack hangs a panel beside the parts of a rack.
func (s *Server) addPanelToRack(w http.ResponseWriter, r *http.Request) error {
	rack, err := s.store.RackByNumber(r.Context(), visitFrom(r).site.ID, param(r, "number"))
	if err != nil {
		return err
	}
	p, a := readPanel(r)
	p.RackID = uuid.NullUUID{UUID: rack.ID, Valid: true}
	again, err := s.addPanel(w, r, p, a, "/racks/"+url.PathEscape(rack.Number))
	if again {
		return s.renderRack(w, r, http.StatusUnprocessableEntity, "", a)
	}
	return err
}

// addPanelToLoad puts a panel on a load, or on one of its racks.
func (s *Server) addPanelToLoad(w http.ResponseWriter, r *http.Request) error {
	ctx, site := r.Context(), visitFrom(r).site.ID
	load, err := s.store.LoadByNumber(ctx, site, param(r, "number"))
	if err != nil {
		return err
	}
	p, a := readPanel(r)
	p.LoadID = uuid.NullUUID{UUID: load.ID, Valid: true}
	if id, err := uuid.Parse(a.Values.Get("panel-on")); err == nil {
		racks, err := s.store.RacksOf(ctx, site, load.ID)
		if err != nil {
			return err
		}
		if !slices.ContainsFunc(racks, func(k store.Rack) bool { return k.ID == id }) {
			a.Say("panel", "That rack is not in this load. Choose one of the load's racks, or the load itself.")
		}
		p.LoadID, p.RackID = uuid.NullUUID{}, uuid.NullUUID{UUID: id, Valid: true}
	}
	again, err := s.addPanel(w, r, p, a, "/loads/"+url.PathEscape(load.Number))
	if again {
		return s.renderLoad(w, r, http.StatusUnprocessableEntity, "", a)
	}
	return err
}

// panelAsked says whether parts of a load wait for a test on a panel.
func (s *Server) panelAsked(r *http.Request, load store.OvenLoad) (string, error) {
	parts, err := s.store.PartsOf(r.Context(), visitFrom(r).site.ID, store.Subject{Kind: quality.OnLoad, ID: load.ID})
	waiting := 0
	for _, p := range parts {
		if p.NextKind == quality.PanelTest {
			waiting++
		}
	}
	if err != nil || waiting == 0 {
		return "", err
	}
	return fmt.Sprintf("The spec asks for a test on a panel of this load; %s for it.", plural(waiting, "part waits", "parts wait")), nil
}

// panelPage is one witness panel.
func (s *Server) panelPage(w http.ResponseWriter, r *http.Request) error {
	v, ctx := visitFrom(r), r.Context()
	p, err := s.store.PanelByCode(ctx, v.site.ID, param(r, "code"))
	if err != nil {
		return err
	}
	lots, err := s.store.PanelPowders(ctx, v.site.ID, p)
	if err != nil {
		return err
	}
	records, err := s.store.RecordsOn(ctx, v.site.ID, store.Subject{Kind: quality.OnPanel, ID: p.ID})
	if err != nil {
		return err
	}
	address := subjectHref("panel", p.Code)
	view := page.PanelView{Frame: s.benchFrame(v, "Panel "+p.Code), Code: p.Code, Facts: []page.DeskFact{page.Plain("Alloy", p.Alloy), page.Plain("Pretreated", p.PretreatedWith)}}
	if p.Rack != "" {
		view.Facts = append(view.Facts, page.DeskFact{Term: "Rack", Refs: []page.Ref{{Text: p.Rack, Href: subjectHref("rack", p.Rack)}}})
	}
	if p.Load != "" {
		view.Facts = append(view.Facts, page.DeskFact{Term: "Oven load", Refs: []page.Ref{{Text: p.Load, Href: subjectHref("load", p.Load)}}})
	}
	view.Facts = append(view.Facts, page.Plain("Place", p.Position), page.Plain("Powder lot", dash(strings.Join(lots, ", "))),
		page.Plain("Added", longTime(p.AddedAt, v.site.Location())+", "+p.AddedBy),
		page.DeskFact{Term: "Speaks for", Refs: []page.Ref{{Text: "the parts of its load", Href: traceHref("panel", p.Code)}}})
	for _, rec := range records {
		line := page.PanelLine{Code: rec.Kind.Name(), Href: "/records/" + rec.ID.String(), Words: clockWords(v.site, rec.ObservedAt, s.store.Clock()) + ", " + rec.Person, Verdict: "none", VerdictWords: "corrected, counts no more"}
		if !rec.SupersededBy.Valid {
			stands := verdictStanding(rec.Verdict)
			line.Verdict, line.VerdictWords = stands.Kind, stands.Word
		}
		view.Records = append(view.Records, line)
	}
	switch {
	case !p.LoadID.Valid:
		view.Loose = fmt.Sprintf("It hangs on rack %s, which is on no oven load yet. Put the rack on its load, then record the tests.", p.Rack)
	case bench.admits(v) == nil:
		view.Acts = []page.Link{{Href: address + "/test", Words: "Record the panel test"}, {Href: address + "/cure-test", Words: "Record a cure test on it"}}
	}
	return s.render(w, r, http.StatusOK, page.Panel(view))
}

// onPanel finds the panel an address is about.
func onPanel(s *Server, r *http.Request) (store.Subject, string, error) {
	p, err := s.store.PanelByCode(r.Context(), visitFrom(r).site.ID, param(r, "code"))
	return store.Subject{Kind: quality.OnPanel, ID: p.ID}, subjectHref("panel", p.Code), err
}
