package store

import (
	"bytes"
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"coatbook/quality"
)

// prepareDevice reads what a verification or calibration of a device depends on.
func (db *DB) prepareDevice(ctx context.Context, q querier, a Actor, e *Entry, w *work, read *asked) error {
	g, err := instrument(ctx, q, a.Site, e.Subject.ID)
	if err != nil {
		return err
	}
	if e.Kind == quality.Verification && g.Kind != "film_gauge" {
		return refuse(RuleInvalid, fmt.Sprintf("%s is not a thickness gauge; it is not verified on shims.", g.Code))
	}
	w.gauge, w.label = &g, g.Code
	w.circumstance.Gauge = quality.Gauge{Abs: g.ToleranceAbs, Share: g.ToleranceShare, Unit: quality.Unit(g.Unit)}
	for _, u := range e.Uses {
		if err := w.useOnDevice(ctx, q, a.Site, e, u); err != nil {
			return err
		}
	}
	if e.Kind == quality.Calibration {
		w.checkCalibration(e, g)
	}
	read.qualified(e, w)
	return nil
}

// asFound completes a verification or calibration by what was left as it was found, and refuses one that says only how the
// device was left: that would hide what was measured with it before.
func asFound(e *Entry) error {
	if e.Kind != quality.Verification && e.Kind != quality.Calibration || e.voids {
		return nil
	}
	if !e.Check.LeaveAsFound() {
		return refuse(RuleAsFound, "Enter what the device read as found, before any adjustment. Readings as left alone cannot tell whether earlier work is in doubt.")
	}
	return nil
}

// useOnDevice reads a shim or standard that a device is set against, and refuses one that may not be used.
func (w *work) useOnDevice(ctx context.Context, q querier, site uuid.UUID, e *Entry, u Use) error {
	if u.Role != "shim" && u.Role != "standard" {
		return nil
	}
	s, err := instrument(ctx, q, site, u.ID)
	if err != nil {
		return err
	}
	switch {
	case u.Role == "shim" && (s.Kind != "shim" || s.Nominal == nil):
		return refuse(RuleInvalid, fmt.Sprintf("%s is not a certified shim.", s.Code))
	case s.ID == e.Subject.ID:
		return refuse(RuleInvalid, fmt.Sprintf("%s cannot be the standard for itself.", s.Code))
	case s.Status != "in_use":
		w.refusals = append(w.refusals, refuse(RuleGaugeFailed, fmt.Sprintf("%s is %s. Take another one.", s.Code, StandingNames[s.Status])))
	case s.DueOn.Format(time.DateOnly) < e.ObservedAt.In(w.site.Location()).Format(time.DateOnly):
		w.refusals = append(w.refusals, refuse(RuleGaugeOverdue, fmt.Sprintf("The certificate of shim %s ended on %s. Take another shim.", s.Code, s.DueOn.Format("2 January 2006"))))
	}
	if u.Role == "shim" {
		w.circumstance.Shims = append(w.circumstance.Shims, quality.Shim{Code: s.Code, Nominal: *s.Nominal, Abs: s.ToleranceAbs, Share: s.ToleranceShare, Unit: quality.Unit(s.Unit)})
	}
	return nil
}

// checkCalibration refuses a calibration that does not say what it was made against, under which conditions, and how well.
func (w *work) checkCalibration(e *Entry, g Instrument) {
	if e.voids {
		return
	}
	standard, known := e.Check.RatingOf(quality.RatingStandard, "")
	certificate, certified := e.Check.RatingOf(quality.RatingStandardRef, "")
	k, stated := e.Check.RatingOf(quality.RatingCoverage, "")
	missing := func(sentence string) { w.refusals = append(w.refusals, refuse(RuleCalibration, sentence)) }
	if quality.QuantityOf(quality.Unit(g.Unit)) == "" {
		missing(fmt.Sprintf("%s reads in a unit in which nothing is calibrated here.", g.Code))
	}
	if e.use("standard") == uuid.Nil && !(known && standard != "" && certified && certificate != "") {
		missing("Choose the reference standard from the register, or name it with its certificate.")
	}
	if len(e.Check.Of("air_temperature")) == 0 || len(e.Check.Of("humidity")) == 0 {
		missing("Give the conditions of the calibration: air temperature and relative humidity.")
	}
	if len(e.Check.Of("uncertainty_"+quality.QuantityOf(quality.Unit(g.Unit)))) == 0 || !stated || k == "" {
		missing("Give the expanded uncertainty of the calibration and its coverage factor, from the certificate.")
	}
}

// setState works out a device's state from those of its verifications and calibrations that count: the latest verification
// decides whether it may be used in a shift, and so does a calibration that found it wrong. A device that was taken out of use
// stays out.
func setState(ctx context.Context, tx querier, site, device uuid.UUID) error {
	err := run(ctx, tx, `WITH counted AS (
			SELECT r.record_id, r.kind, r.verdict, r.observed_at, r.shop_day, r.shift, `+leftGood+` AS good FROM record r
			WHERE r.site_id = @site AND r.instrument_id = @gauge AND r.kind IN ('verification', 'calibration') AND r.verdict <> 'void'
			AND NOT EXISTS (SELECT 1 FROM record s WHERE s.site_id = r.site_id AND s.supersedes_id = r.record_id)),
		latest AS (SELECT * FROM counted WHERE kind = 'verification' OR verdict = 'fail' ORDER BY observed_at DESC, record_id DESC LIMIT 1)
		UPDATE instrument_status i SET verification_id = (SELECT record_id FROM latest), verdict = coalesce((SELECT verdict FROM latest), ''),
			verified_at = (SELECT observed_at FROM latest), shop_day = (SELECT shop_day FROM latest), shift = coalesce((SELECT shift FROM latest), ''),
			last_good_at = (SELECT max(observed_at) FROM counted WHERE good)
		WHERE i.site_id = @site AND i.instrument_id = @gauge`, sqlArgs{"site": site, "gauge": device})
	if err != nil {
		return fmt.Errorf("state of a device: %w", err)
	}
	return nil
}

// leftGood says of a verification or calibration r that the device read true from then on: it passed, or a calibration
// left it good whatever was found.
const leftGood = `(r.verdict = 'pass' OR r.kind = 'calibration' AND r.verdict = 'fail'
	AND EXISTS (SELECT 1 FROM reading rd WHERE rd.site_id = r.site_id AND rd.record_id = r.record_id AND rd.characteristic LIKE 'left\_%')
	AND NOT EXISTS (SELECT 1 FROM reading rd WHERE rd.site_id = r.site_id AND rd.record_id = r.record_id AND rd.characteristic LIKE 'left\_%' AND rd.flag <> 'in'))`

// noteDevice moves a device's state after a verification or calibration. A failed one takes it out of use and recalls what
// was measured with it; a later good one brings back neither the device nor a part.
func (db *DB) noteDevice(ctx context.Context, tx querier, a Actor, e Entry, w *work, j quality.Judgement) (hold string, err error) {
	if err := setState(ctx, tx, a.Site, e.Subject.ID); err != nil {
		return "", err
	}
	switch {
	case j.Verdict == quality.Fail && (w.original == nil || w.original.Verdict != quality.Fail):
		if err := db.takeOutOfUse(ctx, tx, a, e, w, j); err != nil {
			return "", err
		}
		if e.Check.FoundWrong() {
			if hold, err = db.openRecall(ctx, tx, a, w.site, *w.gauge, e.ObservedAt, e.RecordID, foundWrong(e, w, j), w); err != nil {
				return "", err
			}
		}
	case e.Kind == quality.Verification && j.Verdict == quality.Pass && w.gauge.Status == "doubtful" && w.gauge.DoubtedAt != nil && e.ObservedAt.After(*w.gauge.DoubtedAt):
		if err := setInstrumentStatus(ctx, tx, a.Site, e.Subject.ID, "in_use"); err != nil {
			return "", err
		}
		if err := db.event(ctx, tx, a, Event{Verb: "instrument verified after doubt", SubjectKind: "instrument", Subject: e.Subject.ID, Record: e.RecordID,
			Before: map[string]string{"Status": "doubtful"}, After: map[string]string{"Status": "in_use"}}); err != nil {
			return "", err
		}
	}
	if e.Kind == quality.Calibration && e.Check.LeftGood() {
		return hold, db.calibrated(ctx, tx, a, e, w)
	}
	return hold, nil
}

// foundWrong is the cause of a recall in words.
func foundWrong(e Entry, w *work, j quality.Judgement) string {
	return fmt.Sprintf("%s of %s found it outside its permitted error. %s", e.Kind.Name(), w.gauge.Code, j.Sentence())
}

// takeOutOfUse marks a device as failed.
func (db *DB) takeOutOfUse(ctx context.Context, tx querier, a Actor, e Entry, w *work, j quality.Judgement) error {
	if w.gauge.Status == "failed" || w.gauge.Status == "withdrawn" {
		return nil
	}
	if err := setInstrumentStatus(ctx, tx, a.Site, e.Subject.ID, "failed"); err != nil {
		return err
	}
	return db.event(ctx, tx, a, Event{Verb: "gauge failed", SubjectKind: "instrument", Subject: e.Subject.ID, Record: e.RecordID,
		Before: map[string]string{"status": w.gauge.Status}, After: map[string]string{"status": "failed"}, Reason: j.Sentence()})
}

// calibrated moves the due date by the device's interval, and takes certificate and uncertainty into the register.
func (db *DB) calibrated(ctx context.Context, tx querier, a Actor, e Entry, w *work) error {
	day, _ := w.site.ShopDay(e.ObservedAt)
	due := day.AddDate(0, 0, w.gauge.IntervalDays)
	if due.Before(w.gauge.DueOn) && e.ObservedAt.Before(db.Clock().AddDate(0, 0, -w.gauge.IntervalDays)) {
		return nil // an old calibration entered late does not shorten what a newer one allows
	}
	certificate, _ := e.Check.RatingOf(quality.RatingCertificate, "")
	unit := quality.Unit(w.gauge.Unit)
	var uncertainty, k *float64
	for _, r := range e.Check.Of("uncertainty_" + quality.QuantityOf(unit)) {
		if v, err := r.In(unit); err == nil && v > 0 {
			uncertainty = &v
		}
	}
	if text, ok := e.Check.RatingOf(quality.RatingCoverage, ""); ok {
		var v float64
		if _, err := fmt.Sscan(text, &v); err == nil {
			k = &v
		}
	}
	if err := run(ctx, tx, `UPDATE instrument SET due_on = @due, certificate = coalesce(nullif(@certificate, ''), certificate), uncertainty = coalesce(@uncertainty, uncertainty),
		coverage_k = coalesce(@k, coverage_k) WHERE site_id = @site AND instrument_id = @gauge`, sqlArgs{"site": a.Site, "gauge": e.Subject.ID, "due": due,
		"certificate": certificate, "uncertainty": uncertainty, "k": k}); err != nil {
		return err
	}
	return db.event(ctx, tx, a, Event{Verb: "instrument calibrated", SubjectKind: "instrument", Subject: e.Subject.ID, Record: e.RecordID,
		Before: map[string]string{"DueOn": w.gauge.DueOn.Format(time.DateOnly), "Certificate": w.gauge.Certificate},
		After:  map[string]string{"DueOn": due.Format(time.DateOnly), "Certificate": certificate}})
}

// lockDevices makes acts on the same devices wait for each other: who verifies one waits for those who measure with it, and
// they for the verification. Devices are locked before parts, and in the order of their ids, so that none wait in a circle.
func lockDevices(b *pgx.Batch, site uuid.UUID, entries []Entry) {
	modes := map[uuid.UUID]string{}
	for _, e := range entries {
		for _, u := range e.Uses {
			if useColumns[u.Role] == "instrument_id" {
				modes[u.ID] = lockDeviceShared
			}
		}
		if e.Subject.Kind == quality.OnInstrument {
			modes[e.Subject.ID] = lockDevice
		}
	}
	for _, id := range slices.SortedFunc(maps.Keys(modes), func(x, y uuid.UUID) int { return bytes.Compare(x[:], y[:]) }) {
		b.Queue(modes[id], sqlArgs{"site": site, "device": id})
	}
}

const (
	lockDevice       = `SELECT 1 FROM instrument_status WHERE site_id = @site AND instrument_id = @device FOR UPDATE`
	lockDeviceShared = `SELECT 1 FROM instrument_status WHERE site_id = @site AND instrument_id = @device FOR SHARE`
)

// askDevices asks for the gauges, meters, loggers and other devices that went into entries. The answer gives one of them, and is
// an error where there is no such device.
func askDevices(b *pgx.Batch, site uuid.UUID, entries []Entry) (answered func(id uuid.UUID) (Instrument, error)) {
	var ids []uuid.UUID
	for _, e := range entries {
		if e.Subject.Kind == quality.OnInstrument {
			continue // its shims and standards have rules of their own
		}
		for _, u := range e.Uses {
			if useColumns[u.Role] == "instrument_id" {
				ids = append(ids, u.ID)
			}
		}
	}
	known := &[]Instrument{}
	if len(ids) > 0 {
		known = ask[Instrument](b, selectInstrument+`WHERE i.site_id = @site AND i.instrument_id = ANY(@ids)`, sqlArgs{"site": site, "ids": ids})
	}
	return func(id uuid.UUID) (Instrument, error) {
		for _, i := range *known {
			if i.ID == id {
				return i, nil
			}
		}
		return Instrument{}, fmt.Errorf("device %s: %w", id, ErrNotFound)
	}
}

// admitDevices applies the rules on the devices that went into an entry; the film gauge has its own.
func (w *work) admitDevices(e *Entry, device func(id uuid.UUID) (Instrument, error)) error {
	if e.Subject.Kind == quality.OnInstrument || e.correction != nil {
		return nil
	}
	for _, u := range e.Uses {
		if useColumns[u.Role] != "instrument_id" || u.Role == "gauge" && e.Kind == quality.Film {
			continue
		}
		i, err := device(u.ID)
		if err != nil {
			return err
		}
		if r := deviceRefusal(w.site, i, e.ObservedAt); r != nil {
			w.refusals = append(w.refusals, r)
		}
	}
	return nil
}

// deviceRefusal returns the rule that keeps a device other than a film gauge from being used at a time, or nil.
func deviceRefusal(st Site, i Instrument, at time.Time) *Refusal {
	switch {
	case i.Status != "in_use":
		return refuse(RuleGaugeFailed, fmt.Sprintf("%s is %s. Take another one.", i.Code, StandingNames[i.Status]))
	case i.DueOn.Format(time.DateOnly) < at.In(st.Location()).Format(time.DateOnly):
		return refuseUnlessAuthorised(RuleGaugeOverdue, fmt.Sprintf("%s was due for calibration on %s. Take another one, or a supervisor authorises this use.",
			i.Code, i.DueOn.Format("2 January 2006")))
	}
	return nil
}

// verifiedOn is what the last verification of a gauge was made on, against what it shall measure now.
type verifiedOn struct {
	GaugeID uuid.UUID `db:"instrument_id"`
	Lowest  *float64  `db:"lowest"` // of the shims, µm
	Highest *float64  `db:"highest"`
	Plates  []string  `db:"plates"` // alloys of the zero plates, where they are on record
}

const verifiedOnSQL = `SELECT s.instrument_id, (min(i.nominal * CASE i.unit WHEN 'mil' THEN 25.4 ELSE 1 END) FILTER (WHERE i.kind = 'shim')) AS lowest,
		(max(i.nominal * CASE i.unit WHEN 'mil' THEN 25.4 ELSE 1 END) FILTER (WHERE i.kind = 'shim')) AS highest,
		coalesce(array_agg(i.alloy) FILTER (WHERE i.kind = 'zero_plate' AND i.alloy <> ''), '{}') AS plates
	FROM instrument_status s JOIN record_use u ON u.site_id = s.site_id AND u.record_id = s.verification_id
	JOIN instrument i ON i.site_id = u.site_id AND i.instrument_id = u.instrument_id
	WHERE s.site_id = @site AND s.instrument_id = ANY(@gauges) GROUP BY s.instrument_id`

// refusals returns the rules that a verified gauge does not meet for this part: its shims must lie around the film that the
// spec asks for, and its zero plate be of the part's alloy, because an eddy current gauge reads another conductivity as film.
//
// Source: shims that bracket the film and bare metal like the part: ASTM D7091 (from memory, unverified).
func (v verifiedOn) refusals(gauge, alloy string, film quality.Limits) []*Refusal {
	var out []*Refusal
	low, high := film.Low, film.High
	if low == nil {
		low = high
	}
	if high == nil {
		high = low
	}
	if low != nil && v.Lowest != nil && v.Highest != nil {
		lowUM, err1 := low.In(quality.Micrometre)
		highUM, err2 := high.In(quality.Micrometre)
		if err1 == nil && err2 == nil && (*v.Lowest > lowUM || *v.Highest < highUM) {
			out = append(out, refuseUnlessAuthorised(RuleGaugeRange, fmt.Sprintf("Gauge %s was verified on shims from %s to %s µm, and the film is %s. Verify it on shims below and above that, or a supervisor authorises it.",
				gauge, quality.Number(*v.Lowest, 1), quality.Number(*v.Highest, 1), film)))
		}
	}
	series := func(alloy string) string {
		return strings.Join(strings.Fields(alloy)[:min(1, len(strings.Fields(alloy)))], "")
	}
	same := func(plate string) bool { return strings.EqualFold(series(plate), series(alloy)) }
	if alloy != "" && len(v.Plates) > 0 && !slices.ContainsFunc(v.Plates, same) {
		out = append(out, refuseUnlessAuthorised(RuleGaugeAlloy, fmt.Sprintf("Gauge %s was set to zero on %s, and the part is %s. Verify it on a bare plate of the part's alloy, or a supervisor authorises it.",
			gauge, strings.Join(v.Plates, ", "), alloy)))
	}
	return out
}
