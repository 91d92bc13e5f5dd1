package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/page"
)

// register is everything the index of setup counts.
type register struct {
	site      store.Site
	stations  []store.Station
	people    []store.Person
	devices   []store.Device
	welds     []quality.WeldLimit
	specs     []store.SpecRevision
	numbers   []store.PartNumber
	planned   int // part numbers with a measuring plan
	materials []store.Material
	powders   []store.Material
	windows   int // powders with a cure window
	lots      []store.MaterialLot
	baths     []store.Bath
	gauges    []store.Instrument
	jobs      []store.Job
	able      int // people with a qualification that is valid today
}

// read fills the register of the visit's site.
func (s *Server) register(ctx context.Context, v *visit) (reg register, err error) {
	id := v.site.ID
	reg.site = v.site
	for _, read := range []func() error{
		func() error { reg.stations, err = s.store.Stations(ctx, id); return err },
		func() error { reg.people, err = s.store.People(ctx, id); return err },
		func() error { reg.devices, err = s.store.Devices(ctx, id); return err },
		func() error { reg.welds, err = s.store.WeldLimits(ctx, id); return err },
		func() error { reg.specs, err = s.store.Specs(ctx, id); return err },
		func() error { reg.numbers, err = s.store.PartNumbers(ctx, id); return err },
		func() error { reg.materials, err = s.store.Materials(ctx, id); return err },
		func() error { reg.lots, err = s.store.MaterialLots(ctx, id, store.Powder); return err },
		func() error { reg.baths, err = s.store.Baths(ctx, id); return err },
		func() error { reg.gauges, err = s.store.Instruments(ctx, id); return err },
		func() error { reg.jobs, err = s.store.Jobs(ctx, id); return err },
		func() error { return s.countTies(ctx, v, &reg) },
	} {
		if err := read(); err != nil {
			return reg, err
		}
	}
	return reg, nil
}

// countTies counts what hangs on something else: plans, cure windows and qualifications.
func (s *Server) countTies(ctx context.Context, v *visit, reg *register) error {
	for _, n := range reg.numbers {
		_, err := s.store.PlanOf(ctx, v.site.ID, n.ID)
		if err == nil {
			reg.planned++
		} else if !errors.Is(err, store.ErrNotFound) {
			return err
		}
	}
	for _, p := range reg.materials {
		if p.Kind != store.Powder {
			continue
		}
		reg.powders = append(reg.powders, p)
		points, err := s.store.CurePoints(ctx, v.site.ID, p.ID)
		if err != nil {
			return err
		}
		if len(points) > 0 {
			reg.windows++
		}
	}
	for _, p := range reg.people {
		quals, err := s.store.Qualifications(ctx, v.site.ID, p.ID)
		if err != nil {
			return err
		}
		if p.Active && slices.ContainsFunc(quals, func(q store.Qualification) bool { return !today(v).Before(q.ValidFrom) && !today(v).After(q.ValidTo) }) {
			reg.able++
		}
	}
	return nil
}

func (reg register) stationOf(kind string) bool {
	return slices.ContainsFunc(reg.stations, func(st store.Station) bool { return st.Active && st.Kind == kind })
}

func (reg register) someone(role string) bool {
	return slices.ContainsFunc(reg.people, func(p store.Person) bool { return p.Active && slices.Contains(p.Roles, role) })
}

func (reg register) gaugesOf(kind string) (n int) {
	for _, i := range reg.gauges {
		if i.Kind == kind && i.Status == "in_use" {
			n++
		}
	}
	return n
}

func (reg register) parts() (n int) {
	for _, j := range reg.jobs {
		n += j.Parts
	}
	return n
}

// peopleStep says who is missing before work can start.
func (reg register) peopleStep() page.SetupStep {
	step := page.SetupStep{Name: "People with roles and qualifications", Href: "/setup/people", Says: fmt.Sprintf("%d on the list, %d qualified", len(reg.people), reg.able)}
	for _, role := range []struct{ role, does string }{{store.Engineer, "an engineer to approve specs"}, {store.Inspector, "an inspector to record checks"}, {store.Supervisor, "a supervisor to decide and release"}} {
		if !reg.someone(role.role) {
			step.Says = "missing: " + role.does
			return step
		}
	}
	if reg.able == 0 {
		step.Says = "nobody has a qualification yet; checks would be refused"
		return step
	}
	step.Done = true
	return step
}

// steps are what an empty shop needs, in order.
func (reg register) steps(day func(store.MaterialLot) bool) []page.SetupStep {
	step := func(name, href string, done bool, says, missing string) page.SetupStep {
		if !done {
			says = missing
		}
		return page.SetupStep{Name: name, Href: href, Done: done, Says: says}
	}
	approved := slices.ContainsFunc(reg.specs, func(r store.SpecRevision) bool { return r.State == "approved" })
	places := reg.stationOf("booth") && reg.stationOf("oven") && reg.stationOf("final")
	tablets := slices.ContainsFunc(reg.devices, func(d store.Device) bool { return d.EnrolledAt != nil && d.RevokedAt == nil })
	enrol := step("Tablets", "/setup/tablets", tablets, fmt.Sprintf("%d enrolled or waiting", len(reg.devices)), "none enrolled; until then everybody signs on with a password")
	enrol.Optional = true
	return []page.SetupStep{
		{Name: "Site, time zone and shifts", Href: "/setup/site", Done: true, Says: fmt.Sprintf("%s, %d shifts, %s", reg.site.TimeZone, len(reg.site.ShiftNames), quality.Unit(reg.site.FilmUnit).Symbol())},
		step("Stations", "/setup/stations", places, numbered(len(reg.stations), "station"), "needed: a booth, an oven and a final bench"),
		reg.peopleStep(), enrol,
		step("Weld limits", "/setup/weld-limits", len(reg.welds) > 0, fmt.Sprintf("%d rows; check them against the standard you bought", len(reg.welds)), "none; every imperfection would fail"),
		step("A finish spec", "/setup/specs", len(reg.specs) > 0, numbered(len(reg.specs), "spec"), "draft the first one"),
		step("Its approval", "/setup/specs", approved, "approved", "no spec is approved; parts cannot be added"),
		step("A part number with its measuring plan", "/setup/part-numbers", reg.planned > 0, numbered(len(reg.numbers), "part number")+", "+strconv.Itoa(reg.planned)+" with a plan", "none has a measuring plan"),
		step("A powder with its cure window", "/setup/materials", reg.windows > 0, numbered(len(reg.powders), "powder"), "none with cure points"),
		step("A powder lot", "/setup/lots", slices.ContainsFunc(reg.lots, day), numbered(len(reg.lots), "lot"), "none that may be sprayed today"),
		step("Baths of the wash line", "/setup/baths", len(reg.baths) > 0, numbered(len(reg.baths), "bath"), "none"),
		step("A film gauge and its shims", "/setup/gauges", reg.gaugesOf("film_gauge") > 0 && reg.gaugesOf("shim") > 1, numbered(reg.gaugesOf("film_gauge"), "gauge")+", "+numbered(reg.gaugesOf("shim"), "shim")+" in use",
			numbered(reg.gaugesOf("film_gauge"), "gauge")+", "+numbered(reg.gaugesOf("shim"), "shim")+" in use; one gauge and two shims are needed"),
		step("The first job with its parts", "/setup/jobs", reg.parts() > 0, numbered(len(reg.jobs), "job")+", "+numbered(reg.parts(), "part"), "no parts yet"),
	}
}

// setupPage answers what is still missing before work can start.
func (s *Server) setupPage(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	reg, err := s.register(r.Context(), v)
	if err != nil {
		return err
	}
	view := page.SetupIndexView{Frame: s.deskFrame(v, "Setup", "Setup")}
	view.Steps = reg.steps(func(l store.MaterialLot) bool {
		return l.Status == "accepted" && (l.ExpiresOn == nil || !today(v).After(*l.ExpiresOn))
	})
	review, done, err := s.cautionReview(r)
	if err != nil {
		return err
	}
	view.Steps = append(view.Steps, reg.sheetsStep(today(v)), page.SetupStep{Name: "Review of the cautions", Href: "/setup/cautions", Done: done, Says: review, Optional: true})
	missing := 0
	for _, step := range view.Steps {
		if step.Done || step.Optional {
			continue
		}
		if missing++; missing == 1 {
			view.Next = page.Ref{Text: "Next: " + step.Name, Href: step.Href}
		}
	}
	switch missing {
	case 0:
		view.Title, view.Lead = "The shop is set up", "Work can start. What stands here can be changed at any time; nothing is ever deleted."
	case 1:
		view.Title, view.Lead = "One thing is missing before work can start", "In this order, each needs the ones above it."
	default:
		view.Title, view.Lead = fmt.Sprintf("%d things are missing before work can start", missing), "In this order, each needs the ones above it."
	}
	return s.render(w, r, http.StatusOK, page.SetupIndex(view))
}
