package web

import (
	"fmt"
	"net/http"
	"time"

	"coatbook/quality/process"
	"coatbook/store"
	"coatbook/web/page"
)

// mostChecks is how many film checks one chart shows: more are a grey band on any screen. The figures need no such limit,
// but a chart and its index must speak of the same parts.
const mostChecks = 5000

// filmChart shows the film of a choice of days, part number, booth and spec: both charts and the capability.
func (s *Server) filmChart(w http.ResponseWriter, r *http.Request) error {
	v, ctx := visitFrom(r), r.Context()
	today, _ := v.site.ShopDay(s.store.Clock())
	p, problem := periodOf(r, today, 30)
	view := page.ChartsView{Frame: s.deskFrame(v, "Film chart", "Charts"), From: p.From.Format(time.DateOnly), To: p.To.Format(time.DateOnly), Problem: problem}
	kind := filmKinds[0].kind
	for _, k := range filmKinds {
		on := r.URL.Query().Get("chart") == string(k.kind)
		if on {
			kind = k.kind
		}
		view.Kinds = append(view.Kinds, page.ListChoice{Value: string(k.kind), Text: k.name, On: on})
	}
	f := filmFilter(r, p)
	if err := s.filmChoices(r, v, f, &view); err != nil {
		return err
	}
	if problem == "" {
		checks, err := s.store.FilmChecks(ctx, v.site.ID, f)
		if err != nil {
			return err
		}
		if view.Film, view.Problem, err = s.chartOf(r, v, f, checks, kind, today); err != nil {
			return err
		}
	}
	status := http.StatusOK
	if view.Problem != "" {
		status = http.StatusUnprocessableEntity
	}
	return s.render(w, r, status, page.Charts(view))
}

// chartOf draws the checks. Those judged by other limits do not belong on one chart: the limits with the most checks are drawn and
// the others offered.
func (s *Server) chartOf(r *http.Request, v *visit, f store.FilmFilter, checks []store.FilmCheck, kind process.Kind, today time.Time) (figure page.FilmFigure, problem string, err error) {
	if len(checks) == 0 {
		return page.FilmFigure{Empty: "No film check is on record for this choice. Widen the dates, or take another part number or booth."}, "", nil
	}
	if len(checks) > mostChecks {
		return figure, fmt.Sprintf("These are %s; a chart shows up to %s. Shorten the period or choose a part number.", counted(len(checks), "film check"), grouped(mostChecks)), nil
	}
	bodies, err := s.store.SpecBodies(r.Context(), v.site.ID, revisionIDs(checks))
	if err != nil {
		return figure, "", err
	}
	groups, err := filmGroups(checks, bodies)
	if err != nil {
		return figure, "", err
	}
	gauges, err := s.store.GaugesBehind(r.Context(), v.site.ID, recordIDs(groups[0].checks), f.Period.To)
	if err != nil {
		return figure, "", err
	}
	figure = groups[0].figure(filmDrawing{gauges: gauges, leftOut: func(x store.Exclusion, serial string) page.LeftOut { return s.leftOut(v, x, serial) },
		width: 1240, height: 330, unit: v.unit(), zone: v.site.Location(), period: f.Period, today: today, kind: kind,
		list: address("/parts", append(periodQuery(f.Period), "list", "film", "part_number", f.PartNumber, "booth", f.Booth, "spec", groups[0].spec)...)})
	for _, g := range groups[1:] {
		// Its own days, so that another revision of the same spec is found too.
		own := store.Period{From: g.checks[0].ShopDay, To: g.checks[len(g.checks)-1].ShopDay, Shift: f.Period.Shift}
		figure.Others = append(figure.Others, page.Ref{Text: fmt.Sprintf("%s, %s (%s)", g.name(), g.film.Limits, counted(len(g.checks), "film check")),
			Href: address("/charts/film", append(periodQuery(own), "part_number", f.PartNumber, "booth", f.Booth, "chart", string(kind), "spec", g.spec)...)})
	}
	return figure, "", nil
}

// filmChoices fills the lists of part numbers, booths and specs.
func (s *Server) filmChoices(r *http.Request, v *visit, f store.FilmFilter, view *page.ChartsView) error {
	numbers, err := s.store.PartNumbers(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	stations, err := s.store.Stations(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	specs, err := s.store.Specs(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	view.PartNumbers = []page.ListChoice{{Text: "all"}}
	for _, n := range numbers {
		view.PartNumbers = append(view.PartNumbers, page.ListChoice{Value: n.Code, Text: n.Code + " " + n.Name, On: n.Code == f.PartNumber})
	}
	view.Booths = []page.ListChoice{{Text: "all"}}
	for _, st := range stations {
		if st.Kind == "booth" {
			view.Booths = append(view.Booths, page.ListChoice{Value: st.Code, Text: st.Name, On: st.Code == f.Booth})
		}
	}
	view.Specs = []page.ListChoice{{Text: "all"}}
	for _, spec := range specs {
		view.Specs = append(view.Specs, page.ListChoice{Value: spec.Code, Text: spec.Code, On: spec.Code == f.Spec})
	}
	return nil
}
