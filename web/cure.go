package web

import (
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/a-h/templ"
	"github.com/go-chi/chi/v5"
	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/page"
	"coatbook/web/ui"
)

// enterOnLoad answers an entry page about one oven load.
func (s *Server) enterOnLoad(w http.ResponseWriter, r *http.Request, k entryKind) error {
	load, err := s.store.LoadByNumber(r.Context(), visitFrom(r).site.ID, chi.URLParam(r, "number"))
	if err != nil {
		return err
	}
	if k.kind == quality.Cure {
		inner := k.fields
		k.fields = func(e *entryForm) func(page.Entry) templ.Component {
			if e.posted() {
				// The oven is the load's; nobody types it.
				e.uses = append(e.uses, store.Use{Role: "oven", ID: load.OvenID})
			}
			return inner(e)
		}
	}
	about := fmt.Sprintf("%s, %d racks, %d parts", load.Oven, load.Racks, load.Parts)
	return s.enter(w, r, k, store.Subject{Kind: quality.OnLoad, ID: load.ID}, about, "/loads/"+load.Number)
}

func (s *Server) cure(w http.ResponseWriter, r *http.Request) error {
	return s.enterOnLoad(w, r, entryKind{kind: quality.Cure, hazards: []string{"cure"}, fields: cureFields})
}

func cureFields(e *entryForm) func(page.Entry) templ.Component {
	spec := quality.CureSpec{Channels: 1}
	if e.form.Spec.Cure != nil {
		spec = *e.form.Spec.Cure
	}
	v := page.CureView{Schedule: fmt.Sprintf("time counts from %s °C on the metal", quality.Number(spec.ScheduleC, 1))}
	v.Oven = []ui.Field{e.reading(measure{name: "set_point", characteristic: "set_point"}), e.reading(measure{name: "oven_air", characteristic: "oven_air"}),
		e.reading(measure{name: "oven_time", characteristic: "oven_time"})}
	limits, err := e.form.Circumstance.Window.At(spec.ScheduleC)
	if err == nil {
		v.Window = fmt.Sprintf("The powder asks for %s at %s °C.", limits, quality.Number(spec.ScheduleC, 1))
	} else {
		v.Window = "The cure window of the powder on these racks is not known here."
	}
	for i := 1; i <= e.lineCount("peak-", "", max(spec.Channels, 1), 12); i++ {
		n := strconv.Itoa(i)
		optional := i > spec.Channels
		ch := page.Channel{Number: n, Place: ui.TextField{Name: "place-" + n, Label: "Place " + n, Hint: "such as heaviest section, low", Value: e.text("place-"+n, 80), Optional: optional}}
		place := ch.Place.Value
		if place == "" {
			place = "Place " + n
		}
		ch.Peak = e.reading(measure{name: "peak-" + n, characteristic: "metal_peak", location: place, spot: i, optional: optional, absent: true,
			limits: quality.AtLeast(spec.ScheduleC, quality.Celsius)})
		ch.Time = e.reading(measure{name: "time-" + n, characteristic: "metal_time", location: place, spot: i, optional: optional, absent: true, limits: limits})
		v.Channels = append(v.Channels, ch)
	}
	return func(entry page.Entry) templ.Component {
		v.Entry = entry
		return page.Cure(v)
	}
}

// hoursMinutes prints a duration as people say it: 1 h 52 min.
func hoursMinutes(d time.Duration) string {
	d = d.Round(time.Minute)
	if d < time.Hour {
		return fmt.Sprintf("%d min", int(d.Minutes()))
	}
	return strings.TrimSuffix(fmt.Sprintf("%d h %d min", int(d.Hours()), int(d.Minutes())%60), " 0 min")
}

// loads lists the oven loads of the last day and a half, and opens one.
func (s *Server) loads(w http.ResponseWriter, r *http.Request) error {
	return s.renderLoads(w, r, http.StatusOK, "")
}

func (s *Server) renderLoads(w http.ResponseWriter, r *http.Request, status int, problem string) error {
	v := visitFrom(r)
	view := page.LoadsView{Frame: s.benchFrame(v, "Oven loads"), Record: store.NewID().String(), Problem: problem}
	stations, err := s.store.Stations(r.Context(), v.site.ID)
	if err != nil {
		return err
	}
	view.Ovens = ui.Select{Name: "oven", Label: "Oven"}
	for _, st := range stations {
		if st.Kind == "oven" && st.Active {
			view.Ovens.Choices = append(view.Ovens.Choices, ui.Choice{Value: st.ID.String(), Label: st.Name, Chosen: v.device != nil && v.device.StationID.UUID == st.ID})
		}
	}
	loads, err := s.store.RecentLoads(r.Context(), v.site.ID, time.Now().Add(-36*time.Hour))
	if err != nil {
		return err
	}
	for _, l := range loads {
		view.Loads = append(view.Loads, loadDue(v, l))
	}
	return s.render(w, r, status, page.Loads(view))
}

func loadDue(v *visit, l store.OvenLoad) page.Due {
	words := "waits for the oven"
	switch {
	case contains(l.Done, "cure_test"):
		words = "cure and cure test recorded"
	case contains(l.Done, "cure"):
		words = "waits for the cure test"
	}
	return page.Due{Href: "/loads/" + l.Number, What: words, Subject: l.Number, About: fmt.Sprintf("%s, %d racks, %d parts", l.Oven, l.Racks, l.Parts),
		Since: l.OpenedAt.In(v.site.Location()).Format("15:04")}
}

func contains(all []string, one string) bool {
	for _, s := range all {
		if s == one {
			return true
		}
	}
	return false
}

func (s *Server) openLoad(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	oven, err := uuid.Parse(r.PostFormValue("oven"))
	if err != nil {
		return s.renderLoads(w, r, http.StatusUnprocessableEntity, "Choose an oven for the load.")
	}
	id, err := uuid.Parse(r.PostFormValue("record"))
	if err != nil {
		id = store.NewID()
	}
	load, err := s.store.OpenLoad(r.Context(), v.actor, id, oven)
	if err != nil {
		return err
	}
	http.Redirect(w, r, "/loads/"+load.Number, http.StatusSeeOther)
	return nil
}

func (s *Server) load(w http.ResponseWriter, r *http.Request) error {
	return s.renderLoad(w, r, http.StatusOK, "", "")
}

func (s *Server) renderLoad(w http.ResponseWriter, r *http.Request, status int, typed, problem string) error {
	ctx, v := r.Context(), visitFrom(r)
	l, err := s.store.LoadByNumber(ctx, v.site.ID, chi.URLParam(r, "number"))
	if err != nil {
		return err
	}
	racks, err := s.store.RacksOf(ctx, v.site.ID, l.ID)
	if err != nil {
		return err
	}
	view := page.LoadView{Frame: s.benchFrame(v, "Oven load "+l.Number), Number: l.Number, AddValue: typed, AddProblem: problem,
		About: fmt.Sprintf("%s, opened %s by %s, %d parts", l.Oven, l.OpenedAt.In(v.site.Location()).Format("15:04 on 2 January"), l.OpenedBy, l.Parts)}
	for _, k := range racks {
		view.Racks = append(view.Racks, page.LoadRack{Number: k.Number, Words: fmt.Sprintf("tag %s, %d parts", k.Tag, k.Parts), Href: "/racks/" + k.Number})
	}
	if len(l.Done) == 0 {
		view.Add = "/loads/" + l.Number + "/racks"
	} else {
		view.WhyNoMore = "This load has been in the oven; a further rack goes on a new load."
	}
	blocked := ""
	if l.Racks == 0 {
		blocked = "Put at least one rack on the load first."
	}
	if view.Steps, err = s.steps(r, store.Subject{Kind: quality.OnLoad, ID: l.ID}, "/loads/"+l.Number, blocked, quality.Cure, quality.CureTest); err != nil {
		return err
	}
	return s.render(w, r, status, page.Load(view))
}

func (s *Server) addRack(w http.ResponseWriter, r *http.Request) error {
	ctx, v := r.Context(), visitFrom(r)
	l, err := s.store.LoadByNumber(ctx, v.site.ID, chi.URLParam(r, "number"))
	if err != nil {
		return err
	}
	typed := strings.TrimSpace(r.PostFormValue("rack"))
	found, err := s.store.Scan(ctx, v.site.ID, bareCode(typed))
	if err != nil || found.Kind != "rack" {
		return s.renderLoad(w, r, http.StatusUnprocessableEntity, typed, fmt.Sprintf("“%s” is not a rack that hangs. Scan a rack's tag or type its number.", clipText(typed)))
	}
	rack, err := s.store.RackByNumber(ctx, v.site.ID, found.Code)
	if err != nil {
		return err
	}
	if err := s.store.AddRack(ctx, v.actor, l.ID, rack.ID); err != nil {
		if sentence, refused := refusalSentence(err); refused {
			return s.renderLoad(w, r, http.StatusUnprocessableEntity, typed, sentence)
		}
		return err
	}
	http.Redirect(w, r, "/loads/"+l.Number, http.StatusSeeOther)
	return nil
}
