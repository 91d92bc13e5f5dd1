package store

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"coatbook/quality"
)

func lower(s string) string { return strings.ToLower(s[:1]) + s[1:] }

func upper(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// circumstances reads what a kind's limits depend on, and applies the rules about what goes into it.
func (db *DB) circumstances(ctx context.Context, q querier, a Actor, e *Entry, w *work, read *asked) error {
	first := w.parts[0]
	switch e.Kind {
	case quality.Weld:
		if err := w.placeOnSamples(ctx, q, a.Site, e); err != nil {
			return err
		}
		w.circumstance.WallMM, w.circumstance.Welds = first.WallMM, first.Welds
		if w.spec.Weld != nil {
			return read.weldLimits(ctx, q, a.Site, w)
		}
	case quality.Pretreatment:
		return db.checkBaths(ctx, q, e, w)
	case quality.Coating:
		if err := db.sinceWash(ctx, q, a, e, w); err != nil {
			return err
		}
		return db.checkArticle(ctx, q, a, e, w)
	case quality.Cure:
		if err := db.cureWindow(ctx, q, a.Site, e.Subject.ID, w); err != nil {
			return err
		}
		if err := w.typedWindow(a, e); err != nil {
			return err
		}
		if err := db.checkArticle(ctx, q, a, e, w); err != nil {
			return err
		}
		return db.checkStretch(ctx, q, a.Site, e, w)
	case quality.CureTest:
		return w.checkTestedPart(e)
	case quality.Finish:
		return w.placeOnSamples(ctx, q, a.Site, e)
	case quality.FirstArticle:
		return admitArticle(ctx, q, a, e, w)
	}
	return nil
}

// askFilm asks for the measuring plans of parts and for what their gauges were verified on; the answer sets what the film's limits
// depend on and applies the rules on the gauge: in use, in date, verified this shift.
func askFilm(b *pgx.Batch, site uuid.UUID, parts []uuid.UUID, entries []Entry, device func(id uuid.UUID) (Instrument, error)) (answered func(e *Entry, w *work) error) {
	type place struct {
		PartNumberID uuid.UUID `db:"part_number_id"`
		Spot         int       `db:"spot"`
		Area         string    `db:"area"`
		Place        string    `db:"place"`
		PerSpot      int       `db:"readings_per_spot"`
	}
	places := ask[place](b, `SELECT m.part_number_id, s.spot, s.area, s.place, m.readings_per_spot FROM measuring_plan m
		JOIN measuring_spot s ON s.site_id = m.site_id AND s.plan_id = m.plan_id
		WHERE m.site_id = @site AND m.part_number_id IN (SELECT p.part_number_id FROM part p WHERE p.site_id = @site AND p.part_id = ANY(@parts))
			AND NOT EXISTS (SELECT 1 FROM measuring_plan l WHERE l.site_id = m.site_id AND l.part_number_id = m.part_number_id AND l.revision > m.revision)
		ORDER BY m.part_number_id, s.spot`, sqlArgs{"site": site, "parts": parts})
	var gauges []uuid.UUID
	for i := range entries {
		gauges = append(gauges, entries[i].use("gauge"))
	}
	checked := ask[verifiedOn](b, verifiedOnSQL, sqlArgs{"site": site, "gauges": gauges})
	return func(e *Entry, w *work) error {
		part := w.parts[0]
		w.circumstance.Recoated = part.recoated()
		for _, p := range *places {
			if p.PartNumberID == part.PartNumberID {
				w.circumstance.PerSpot = p.PerSpot
				w.circumstance.Plan = append(w.circumstance.Plan, quality.Place{Spot: p.Spot, Area: p.Area, Name: p.Place})
			}
		}
		if e.use("gauge") == uuid.Nil {
			w.refusals = append(w.refusals, refuse(RuleGaugeMissing, "Scan or choose the gauge that took these readings."))
			return nil
		}
		g, err := device(e.use("gauge"))
		if err != nil {
			return err
		}
		if g.Kind != "film_gauge" {
			return refuse(RuleGaugeMissing, fmt.Sprintf("%s is not a thickness gauge.", g.Code))
		}
		w.gauge = &g
		if r := gaugeRefusal(w.site, g, e.ObservedAt); r != nil {
			w.refusals = append(w.refusals, r)
			return nil
		}
		for _, v := range *checked {
			if v.GaugeID == g.ID && w.spec.Film != nil {
				w.refusals = append(w.refusals, v.refusals(g.Code, part.Alloy, w.spec.Film.Limits)...)
			}
		}
		return nil
	}
}

// checkTestedPart makes sure that the part a load's test was made on lay on that load.
func (w *work) checkTestedPart(e *Entry) error {
	tested := e.use("tested_part")
	if tested == uuid.Nil || e.Subject.Kind == quality.OnPart {
		return nil
	}
	if e.Subject.Kind == quality.OnPanel {
		return refuse(RuleInvalid, "The panel is what was rubbed; it speaks for its whole load. Record a rub of a part on the load or on the part.")
	}
	for _, s := range w.parts {
		if s.PartID == tested {
			return nil
		}
	}
	return refuse(RuleInvalid, "The part that was rubbed did not lie on this load. Scan a part of the load.")
}

// gaugeRefusal returns the rule that keeps a gauge from being used at a time, or nil.
func gaugeRefusal(st Site, g Instrument, at time.Time) *Refusal {
	day, shift := st.ShopDay(at)
	switch {
	case g.Status == "withdrawn":
		return refuse(RuleGaugeFailed, fmt.Sprintf("Gauge %s is withdrawn. Take another one.", g.Code))
	case g.Status == "doubtful":
		return refuse(RuleGaugeFailed, fmt.Sprintf("Gauge %s was dropped or gave a doubtful reading. Verify it on the zero plate and shims, or take another one.", g.Code))
	case g.Status == "failed" || g.Verdict == string(quality.Fail):
		return refuse(RuleGaugeFailed, fmt.Sprintf("Gauge %s failed its last verification. Take another one; an engineer puts it back in use after repair.", g.Code))
	case g.DueOn.Format(time.DateOnly) < at.In(st.Location()).Format(time.DateOnly):
		return refuseUnlessAuthorised(RuleGaugeOverdue, fmt.Sprintf("Gauge %s was due for calibration on %s. Take another one, or a supervisor authorises this use.",
			g.Code, g.DueOn.Format("2 January 2006")))
	case g.VerifiedDay == nil || !g.VerifiedDay.Equal(day) || g.VerifiedShift != shift || g.Verdict != string(quality.Pass):
		return refuse(RuleGaugeUnverified, fmt.Sprintf("Gauge %s is not verified in the %s shift of %s yet. Verify it on the zero plate and shims first.",
			g.Code, shift, day.Format("2 January")))
	}
	return nil
}

// sinceWash reads how long ago a rack was washed.
func (db *DB) sinceWash(ctx context.Context, q querier, a Actor, e *Entry, w *work) error {
	last, err := value[*time.Time](ctx, q, `SELECT max(r.observed_at) FROM record r WHERE r.site_id = @site AND r.rack_id = @rack AND r.kind = 'pretreatment'
		AND NOT EXISTS (SELECT 1 FROM record s WHERE s.site_id = r.site_id AND s.supersedes_id = r.record_id)`,
		sqlArgs{"site": a.Site, "rack": e.Subject.ID})
	if err == nil && last != nil {
		w.circumstance.SincePretreatment = e.ObservedAt.Sub(*last)
	}
	return err
}

// cureWindow reads the cure window of the powder on the racks of a load. Racks with different powders are not cured
// together: no one window could judge them.
func (db *DB) cureWindow(ctx context.Context, q querier, site, load uuid.UUID, w *work) error {
	powders, err := column[uuid.UUID](ctx, q, `SELECT DISTINCT l.material_id FROM load_rack lr
		JOIN record r ON r.site_id = lr.site_id AND r.rack_id = lr.rack_id AND r.kind = 'coating'
		JOIN record_use u ON u.site_id = r.site_id AND u.record_id = r.record_id AND u.role = 'powder'
		JOIN material_lot l ON l.site_id = u.site_id AND l.lot_id = u.lot_id
		WHERE lr.site_id = @site AND lr.load_id = @load
		AND NOT EXISTS (SELECT 1 FROM record s WHERE s.site_id = r.site_id AND s.supersedes_id = r.record_id)`,
		sqlArgs{"site": site, "load": load})
	if err != nil {
		return err
	}
	if len(powders) > 1 {
		return refuse(RuleMixed, "The racks on this load carry different powders, so no one cure window applies. Bake them apart.")
	}
	if len(powders) == 0 {
		return nil
	}
	points, err := curePoints(ctx, q, site, powders[0])
	if err != nil {
		return err
	}
	for _, p := range points {
		w.circumstance.Window.Points = append(w.circumstance.Window.Points, quality.CurePoint{MetalC: p.MetalC, MinMinutes: p.MinutesMin, MaxMinutes: p.MinutesMax})
	}
	return nil
}
