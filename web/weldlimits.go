package web

import (
	"net/http"

	"coatbook/quality"
	"coatbook/web/form"
	"coatbook/web/page"
)

var (
	limitLevel     = form.Entry{Kind: form.Pick, Name: "level", Label: "Quality level", Options: optionsOf("B", "B, stringent", "C", "C, intermediate", "D", "D, moderate")}
	limitCode      = form.Entry{Kind: form.Pick, Name: "code", Label: "Imperfection", Options: imperfectionOptions()}
	limitPermitted = form.Entry{Kind: form.Tick, Name: "permitted", Label: "Permitted up to a size", Hint: "unticked: not permitted at all"}
	limitWall      = form.Entry{Kind: form.Number, Name: "wall", Label: "Share of the wall thickness", Hint: "0.2 means 0.2 t", Low: 0, High: 5}
	limitPlus      = form.Entry{Kind: form.Number, Name: "plus", Label: "Plus", Unit: "mm", Low: 0, High: 50}
	limitMax       = form.Entry{Kind: form.Number, Name: "max", Label: "At most", Unit: "mm", Low: 0.01, High: 50, Optional: true}
	limitSource    = form.Entry{Kind: form.Text, Name: "source", Label: "Source", Hint: "the standard with edition and table, or the shop's own rule", Max: 200, Wide: true}
	limitEntries   = []form.Entry{limitLevel, limitCode, limitPermitted, limitWall, limitPlus, limitMax, limitSource}
)

func imperfectionOptions() []form.Option {
	var out []form.Option
	for _, i := range quality.WeldImperfections {
		out = append(out, form.Option{Value: i.Code, Label: i.Code + " " + i.Name})
	}
	return out
}

// limitWords prints a weld limit as people read it.
func limitWords(l quality.WeldLimit) string {
	if !l.Permitted {
		return "not permitted"
	}
	says := ""
	switch {
	case l.PerWall > 0 && l.PlusMM > 0:
		says = "up to " + setupNumber(l.PerWall) + " t + " + setupNumber(l.PlusMM) + " mm"
	case l.PerWall > 0:
		says = "up to " + setupNumber(l.PerWall) + " t"
	case l.PlusMM > 0:
		says = "up to " + setupNumber(l.PlusMM) + " mm"
	}
	if l.MaxMM != nil {
		says += ", at most " + setupNumber(*l.MaxMM) + " mm"
	}
	return says
}

// weldLimitsPage lists the rows; level and code in the address open one of them for change.
func (s *Server) weldLimitsPage(w http.ResponseWriter, r *http.Request) error {
	limits, err := s.store.WeldLimits(r.Context(), visitFrom(r).site.ID)
	if err != nil {
		return err
	}
	a := form.New(values("permitted", "yes", "wall", "0", "plus", "0"))
	for _, l := range limits {
		if l.Level == r.URL.Query().Get("level") && l.Code == r.URL.Query().Get("code") {
			a = form.New(values("level", l.Level, "code", l.Code, "permitted", yes(l.Permitted), "wall", setupNumber(l.PerWall), "plus", setupNumber(l.PlusMM),
				"max", setupNumberOrEmpty(l.MaxMM), "source", l.Source))
		}
	}
	return s.renderWeldLimits(w, r, http.StatusOK, a, "")
}

func (s *Server) renderWeldLimits(w http.ResponseWriter, r *http.Request, status int, a *form.Answers, problem string) error {
	v := visitFrom(r)
	limits, err := s.store.WeldLimits(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	view := page.SetupWeldLimitsView{Frame: s.deskFrame(v, "Weld limits", "Setup"), Form: simpleForm("/setup/weld-limits", "Save this limit", problem, fields(a, limitEntries...))}
	for _, level := range limitLevel.Options {
		table := page.SetupTable{Caption: "Level " + level.Label, Heads: []string{"Imperfection", "Limit", "Source"}, Empty: "No limit at this level yet."}
		for _, l := range limits {
			if l.Level == level.Value {
				table.Rows = append(table.Rows, []page.SetupCell{{Ref: page.Ref{Text: labelOf(limitCode.Options, l.Code), Href: "/setup/weld-limits?level=" + l.Level + "&code=" + l.Code + "#add"}},
					page.Words(limitWords(l)), page.Words(l.Source)})
			}
		}
		view.Levels = append(view.Levels, page.SetupLevel{Name: "Level " + level.Label, Table: table})
	}
	if level, code := a.Values.Get("level"), a.Values.Get("code"); level != "" && code != "" && problem == "" {
		view.Remove = &page.SetupForm{Action: "/setup/weld-limits/remove", Submit: "Take this limit out of use", Hidden: []page.SetupBox{{Name: "level", Value: level}, {Name: "code", Value: code}}}
	}
	return s.render(w, r, status, page.SetupWeldLimits(view))
}

func (s *Server) saveWeldLimit(w http.ResponseWriter, r *http.Request) error {
	a := form.New(r.PostForm)
	l := quality.WeldLimit{Level: a.Pick(limitLevel), Code: a.Pick(limitCode), Permitted: a.Yes("permitted"), PerWall: a.Amount(limitWall), PlusMM: a.Amount(limitPlus),
		MaxMM: a.Number(limitMax), Source: a.Text(limitSource)}
	if l.Permitted && l.PerWall == 0 && l.PlusMM == 0 {
		a.Say("wall", "Permitted up to which size? Enter a share of the wall, millimetres, or both.")
	}
	problem, err := attempt(a, limitEntries, func() error { return s.store.SaveWeldLimit(r.Context(), visitFrom(r).actor, l) })
	if err != nil {
		return err
	}
	if problem != "" {
		return s.renderWeldLimits(w, r, http.StatusUnprocessableEntity, a, problem)
	}
	return s.done(w, r, "/setup/weld-limits", "Level "+l.Level+", "+labelOf(limitCode.Options, l.Code)+": "+limitWords(l)+".")
}

func (s *Server) removeWeldLimit(w http.ResponseWriter, r *http.Request) error {
	level, code := r.PostFormValue("level"), r.PostFormValue("code")
	if err := s.store.DeleteWeldLimit(r.Context(), visitFrom(r).actor, level, code); err != nil {
		return err
	}
	return s.done(w, r, "/setup/weld-limits", "Level "+level+", "+labelOf(limitCode.Options, code)+" has no row any more, so it is not permitted.")
}
