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

// circumstances reads what a kind's limits depend on, and applies the rules about what goes into it.
func (db *DB) circumstances(ctx context.Context, q querier, a Actor, e *Entry, w *work) error {
	first := w.parts[0]
	switch e.Kind {
	case quality.Weld:
		w.circumstance.WallMM, w.circumstance.Welds = first.WallMM, first.Welds
		if w.spec.Weld != nil {
			limits, err := weldLimits(ctx, q, a.Site, w.spec.Weld.Level)
			w.circumstance.WeldLimits = limits
			return err
		}
	case quality.Coating:
		return db.checkCoating(ctx, q, a, e, w)
	case quality.Cure:
		return db.cureWindow(ctx, q, a.Site, e.Subject.ID, w)
	case quality.CureTest:
		return w.checkTestedPart(e)
	}
	return nil
}

// askFilm asks for the measuring plan of the part and for the gauge; the answer sets what the film's limits depend on and
// applies the rules on the gauge: in use, in date, verified this shift.
func askFilm(b *pgx.Batch, site, part uuid.UUID, e *Entry, w *work) (answered func() error) {
	type place struct {
		Spot    int    `db:"spot"`
		Area    string `db:"area"`
		Place   string `db:"place"`
		PerSpot int    `db:"readings_per_spot"`
	}
	places := ask[place](b, `SELECT s.spot, s.area, s.place, m.readings_per_spot FROM measuring_plan m
		JOIN measuring_spot s ON s.site_id = m.site_id AND s.plan_id = m.plan_id
		WHERE m.site_id = @site AND m.plan_id = (SELECT l.plan_id FROM measuring_plan l JOIN part p ON p.site_id = l.site_id AND p.part_number_id = l.part_number_id
			WHERE p.site_id = @site AND p.part_id = @part ORDER BY l.revision DESC LIMIT 1)
		ORDER BY s.spot`, pgx.StrictNamedArgs{"site": site, "part": part})
	gauges := ask[Instrument](b, selectInstrument+`WHERE i.site_id = @site AND i.instrument_id = @id`, pgx.StrictNamedArgs{"site": site, "id": e.use("gauge")})
	return func() error {
		for _, p := range *places {
			w.circumstance.PerSpot = p.PerSpot
			w.circumstance.Plan = append(w.circumstance.Plan, quality.Place{Spot: p.Spot, Area: p.Area, Name: p.Place})
		}
		if e.use("gauge") == uuid.Nil {
			w.refusals = append(w.refusals, refuse(RuleGaugeMissing, "Scan or choose the gauge that took these readings."))
			return nil
		}
		if len(*gauges) == 0 {
			return fmt.Errorf("gauge %s: %w", e.use("gauge"), ErrNotFound)
		}
		g := (*gauges)[0]
		if g.Kind != "film_gauge" {
			return refuse(RuleGaugeMissing, fmt.Sprintf("%s is not a thickness gauge.", g.Code))
		}
		w.gauge = &g
		if r := gaugeRefusal(w.site, g, e.ObservedAt); r != nil {
			w.refusals = append(w.refusals, r)
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

// checkCoating applies the rules on the powder lot and reads what the booth's limits depend on.
func (db *DB) checkCoating(ctx context.Context, q querier, a Actor, e *Entry, w *work) error {
	id := e.use("powder")
	if id == uuid.Nil {
		w.refusals = append(w.refusals, refuse(RuleLotMissing, "Scan or choose the powder lot."))
		return nil
	}
	lot, err := powderLot(ctx, q, a.Site, id)
	if err != nil {
		return err
	}
	w.circumstance.Powder = lot.PowderCode
	if r := lotRefusal(w.site, lot, e.ObservedAt); r != nil {
		w.refusals = append(w.refusals, r)
	}
	last, err := value[*time.Time](ctx, q, `SELECT max(r.observed_at) FROM record r WHERE r.site_id = @site AND r.rack_id = @rack AND r.kind = 'pretreatment'
		AND NOT EXISTS (SELECT 1 FROM record s WHERE s.site_id = r.site_id AND s.supersedes_id = r.record_id)`,
		pgx.StrictNamedArgs{"site": a.Site, "rack": e.Subject.ID})
	if err != nil {
		return err
	}
	if last != nil {
		w.circumstance.SincePretreatment = e.ObservedAt.Sub(*last)
	}
	return nil
}

// lotRefusal returns the rule that keeps a powder lot from being used at a time, or nil.
func lotRefusal(st Site, lot PowderLot, at time.Time) *Refusal {
	switch {
	case lot.Status != "accepted":
		return refuseUnlessAuthorised(RuleLotRejected, fmt.Sprintf("Powder lot %s is %s. Take another lot, or a supervisor authorises it.", lot.LotNumber, lot.Status))
	case lot.ExpiresOn.Format(time.DateOnly) < at.In(st.Location()).Format(time.DateOnly):
		return refuseUnlessAuthorised(RuleLotExpired, fmt.Sprintf("Powder lot %s expired on %s. Take another lot, or a supervisor authorises it.",
			lot.LotNumber, lot.ExpiresOn.Format("2 January 2006")))
	}
	return nil
}

// cureWindow reads the cure window of the powder on the racks of a load. Racks with different powders are not cured
// together: no one window could judge them.
func (db *DB) cureWindow(ctx context.Context, q querier, site, load uuid.UUID, w *work) error {
	powders, err := column[uuid.UUID](ctx, q, `SELECT DISTINCT l.powder_id FROM load_rack lr
		JOIN record r ON r.site_id = lr.site_id AND r.rack_id = lr.rack_id AND r.kind = 'coating'
		JOIN record_use u ON u.site_id = r.site_id AND u.record_id = r.record_id AND u.role = 'powder'
		JOIN powder_lot l ON l.site_id = u.site_id AND l.lot_id = u.lot_id
		WHERE lr.site_id = @site AND lr.load_id = @load
		AND NOT EXISTS (SELECT 1 FROM record s WHERE s.site_id = r.site_id AND s.supersedes_id = r.record_id)`,
		pgx.StrictNamedArgs{"site": site, "load": load})
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

// prepareVerification reads the gauge and the shims of a gauge verification.
func (db *DB) prepareVerification(ctx context.Context, q querier, a Actor, e *Entry, w *work) error {
	g, err := instrument(ctx, q, a.Site, e.Subject.ID)
	if err != nil {
		return err
	}
	if g.Kind != "film_gauge" {
		return refuse(RuleInvalid, fmt.Sprintf("%s is not a thickness gauge; it is not verified on shims.", g.Code))
	}
	w.gauge, w.label = &g, g.Code
	w.circumstance.Gauge = quality.Gauge{Abs: g.ToleranceAbs, Share: g.ToleranceShare, Unit: quality.Unit(g.Unit)}
	for _, u := range e.Uses {
		if u.Role != "shim" {
			continue
		}
		s, err := instrument(ctx, q, a.Site, u.ID)
		if err != nil {
			return err
		}
		if s.Kind != "shim" || s.Nominal == nil {
			return refuse(RuleInvalid, fmt.Sprintf("%s is not a certified shim.", s.Code))
		}
		if s.DueOn.Format(time.DateOnly) < e.ObservedAt.Format(time.DateOnly) {
			w.refusals = append(w.refusals, refuse(RuleGaugeOverdue, fmt.Sprintf("The certificate of shim %s ended on %s. Take another shim.", s.Code, s.DueOn.Format("2 January 2006"))))
		}
		w.circumstance.Shims = append(w.circumstance.Shims, quality.Shim{Code: s.Code, Nominal: *s.Nominal, Abs: s.ToleranceAbs, Share: s.ToleranceShare, Unit: quality.Unit(s.Unit)})
	}
	b := &pgx.Batch{}
	qualified := askQualification(b, a, e, w)
	if err := send(ctx, q, b); err != nil {
		return fmt.Errorf("qualification: %w", err)
	}
	qualified()
	return nil
}

// restateInstrument works out a device's state anew after one of its verifications was corrected: the latest one that
// counts decides. A device that was taken out of use stays out.
func (db *DB) restateInstrument(ctx context.Context, tx pgx.Tx, a Actor, e Entry, w *work, j quality.Judgement) error {
	if err := run(ctx, tx, `WITH counted AS (
			SELECT r.record_id, r.verdict, r.observed_at, r.shop_day, r.shift FROM record r
			WHERE r.site_id = @site AND r.instrument_id = @gauge AND r.kind = 'verification' AND r.verdict <> 'void'
			AND NOT EXISTS (SELECT 1 FROM record s WHERE s.site_id = r.site_id AND s.supersedes_id = r.record_id)),
		latest AS (SELECT * FROM counted ORDER BY observed_at DESC LIMIT 1)
		UPDATE instrument_status i SET verification_id = (SELECT record_id FROM latest), verdict = coalesce((SELECT verdict FROM latest), ''),
			verified_at = (SELECT observed_at FROM latest), shop_day = (SELECT shop_day FROM latest), shift = coalesce((SELECT shift FROM latest), ''),
			last_good_at = (SELECT max(observed_at) FROM counted WHERE verdict = 'pass')
		WHERE i.site_id = @site AND i.instrument_id = @gauge`, pgx.StrictNamedArgs{"site": a.Site, "gauge": e.Subject.ID}); err != nil {
		return fmt.Errorf("device after a correction: %w", err)
	}
	if j.Verdict == quality.Fail && w.original.Verdict != quality.Fail {
		return db.takeOutOfUse(ctx, tx, a, e, w, j)
	}
	return nil
}

// noteVerification moves a gauge's state after a verification. A failed one takes it out of use; a later good one does not
// bring it back by itself.
func (db *DB) noteVerification(ctx context.Context, tx pgx.Tx, a Actor, e Entry, w *work, j quality.Judgement) error {
	day, shift := w.site.ShopDay(e.ObservedAt)
	good := j.Verdict == quality.Pass
	if err := run(ctx, tx, `UPDATE instrument_status SET verification_id = @record, verdict = @verdict, verified_at = @at, shop_day = @day, shift = @shift,
		last_good_at = CASE WHEN @good THEN @at ELSE last_good_at END WHERE site_id = @site AND instrument_id = @gauge`, pgx.StrictNamedArgs{
		"site": a.Site, "gauge": e.Subject.ID, "record": e.RecordID, "verdict": j.Verdict, "at": e.ObservedAt, "day": day, "shift": shift, "good": good}); err != nil {
		return err
	}
	if j.Verdict != quality.Fail {
		return nil
	}
	return db.takeOutOfUse(ctx, tx, a, e, w, j)
}

// takeOutOfUse marks a gauge as failed.
func (db *DB) takeOutOfUse(ctx context.Context, tx pgx.Tx, a Actor, e Entry, w *work, j quality.Judgement) error {
	if w.gauge.Status != "in_use" {
		return nil
	}
	if err := run(ctx, tx, `UPDATE instrument SET status = 'failed' WHERE site_id = @site AND instrument_id = @gauge`,
		pgx.StrictNamedArgs{"site": a.Site, "gauge": e.Subject.ID}); err != nil {
		return err
	}
	return db.event(ctx, tx, a, Event{Verb: "gauge failed", SubjectKind: "instrument", Subject: e.Subject.ID, Record: e.RecordID,
		Before: map[string]string{"status": w.gauge.Status}, After: map[string]string{"status": "failed"}, Reason: j.Sentence()})
}
