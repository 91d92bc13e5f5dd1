package store

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
)

// An Instrument is a measuring device or a certified shim, whoever owns it, with where its last verification left it.
type Instrument struct {
	ID          uuid.UUID `db:"instrument_id"`
	Code        string    `db:"code"`
	Kind        string    `db:"kind"`
	MakerSerial string    `db:"maker_serial"`
	Owner       string    `db:"owner"`
	Unit        string    `db:"unit"`
	RangeLow    *float64  `db:"range_low"`
	RangeHigh   *float64  `db:"range_high"`
	Resolution  *float64  `db:"resolution"`
	// ToleranceAbs and ToleranceShare of the nominal value, added, are the permitted error.
	ToleranceAbs   float64 `db:"tolerance_abs"`
	ToleranceShare float64 `db:"tolerance_share"`
	// Nominal is a shim's certified value; nil for a gauge.
	Nominal *float64 `db:"nominal"`
	// Uncertainty is the expanded one on the certificate, with the coverage factor it was stated with.
	Uncertainty *float64 `db:"uncertainty"`
	CoverageK   *float64 `db:"coverage_k"`
	// Location is where it is kept; OwnerName whose it is when it is not the company's; Alloy what a zero plate is made of.
	Location  string `db:"location"`
	OwnerName string `db:"owner_name"`
	Alloy     string `db:"alloy"`
	// DoubtedAt is since when it is doubtful, and Doubt what happened to it.
	DoubtedAt      *time.Time    `db:"doubted_at"`
	Doubt          string        `db:"doubt"`
	IntervalDays   int           `db:"interval_days"`
	DueOn          time.Time     `db:"due_on"`
	Certificate    string        `db:"certificate"`
	Status         string        `db:"status"` // in_use, doubtful, failed, withdrawn
	VerifiedAt     *time.Time    `db:"verified_at"`
	VerifiedDay    *time.Time    `db:"verified_day"`
	VerifiedShift  string        `db:"verified_shift"`
	Verdict        string        `db:"verdict"`
	VerificationID uuid.NullUUID `db:"verification_id"`
	LastGoodAt     *time.Time    `db:"last_good_at"`
}

const selectInstrument = `SELECT i.instrument_id, i.code, i.kind, i.maker_serial, i.owner, i.unit, i.range_low, i.range_high, i.resolution,
	i.tolerance_abs, i.tolerance_share, i.nominal, i.interval_days, i.due_on, i.certificate, i.status,
	i.uncertainty, i.coverage_k, i.location, i.owner_name, i.alloy, s.doubted_at, s.doubt,
	s.verified_at, s.shop_day AS verified_day, s.shift AS verified_shift, s.verdict, s.verification_id, s.last_good_at
	FROM instrument i JOIN instrument_status s ON s.site_id = i.site_id AND s.instrument_id = i.instrument_id `

// dueSoonDays is how long before its due date a device is named as due soon: time enough to send it away.
const dueSoonDays = 14

// StandingNames are the standings of a device in words.
var StandingNames = map[string]string{"in_use": "in use", "due_soon": "due soon", "overdue": "overdue", "doubtful": "dropped or doubtful", "failed": "failed", "withdrawn": "withdrawn"}

// Standing says where a device stands on a shop day: in_use, due_soon, overdue, doubtful, failed or withdrawn. It may be used through
// the day on which it is due.
func (i Instrument) Standing(day time.Time) string {
	switch {
	case i.Status != "in_use":
		return i.Status
	case day.After(i.DueOn):
		return "overdue"
	case !day.Before(i.DueOn.AddDate(0, 0, -dueSoonDays)):
		return "due_soon"
	}
	return "in_use"
}

// Instruments returns all devices and shims of a site in order of their code.
func (db *DB) Instruments(ctx context.Context, site uuid.UUID) ([]Instrument, error) {
	instruments, err := list[Instrument](ctx, db.pool, selectInstrument+`WHERE i.site_id = @site ORDER BY i.code`, sqlArgs{"site": site})
	if err != nil {
		return nil, fmt.Errorf("instruments: %w", err)
	}
	return instruments, nil
}

// InstrumentByCode returns the device with the code on its label.
func (db *DB) InstrumentByCode(ctx context.Context, site uuid.UUID, code string) (Instrument, error) {
	i, err := one[Instrument](ctx, db.pool, selectInstrument+`WHERE i.site_id = @site AND i.code = @code`,
		sqlArgs{"site": site, "code": code})
	if err != nil {
		return i, fmt.Errorf("instrument %q: %w", code, err)
	}
	return i, nil
}

func instrument(ctx context.Context, q querier, site, id uuid.UUID) (Instrument, error) {
	i, err := one[Instrument](ctx, q, selectInstrument+`WHERE i.site_id = @site AND i.instrument_id = @id`, sqlArgs{"site": site, "id": id})
	if err != nil {
		return i, fmt.Errorf("instrument %s: %w", id, err)
	}
	return i, nil
}

// certified refuses a shim without its value: nothing could be verified on it. The schema's rule lets an absent value by.
func certified(i Instrument) error {
	if i.Kind == "shim" && (i.Nominal == nil || *i.Nominal <= 0) {
		return refuse("instrument_nominal_of_shim", constraintSentences["instrument_nominal_of_shim"])
	}
	return nil
}

// AddInstrument puts a device into the register. It is in use, and not verified yet.
func (db *DB) AddInstrument(ctx context.Context, a Actor, i Instrument) (Instrument, error) {
	if err := certified(i); err != nil {
		return Instrument{}, err
	}
	i.ID, i.Status = NewID(), "in_use"
	err := db.inTx(ctx, a.Site, func(tx querier) error {
		if err := run(ctx, tx, `INSERT INTO instrument (site_id, instrument_id, code, kind, maker_serial, owner, unit, range_low, range_high,
			resolution, tolerance_abs, tolerance_share, nominal, interval_days, due_on, certificate, uncertainty, coverage_k, location, owner_name, alloy)
			VALUES (@site, @id, @code, @kind, @serial, @owner, @unit, @low, @high, @resolution, @abs, @share, @nominal, @interval, @due, @certificate, @uncertainty, @k, @location, @owner_name, @alloy)`,
			sqlArgs{"site": a.Site, "id": i.ID, "code": i.Code, "kind": i.Kind, "serial": i.MakerSerial, "owner": i.Owner,
				"unit": i.Unit, "low": i.RangeLow, "high": i.RangeHigh, "resolution": i.Resolution, "abs": i.ToleranceAbs,
				"share": i.ToleranceShare, "nominal": i.Nominal, "interval": i.IntervalDays, "due": i.DueOn, "certificate": i.Certificate,
				"uncertainty": i.Uncertainty, "k": i.CoverageK, "location": i.Location, "owner_name": i.OwnerName, "alloy": i.Alloy}); err != nil {
			return err
		}
		if err := run(ctx, tx, `INSERT INTO instrument_status (site_id, instrument_id) VALUES (@site, @id)`,
			sqlArgs{"site": a.Site, "id": i.ID}); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "instrument added", SubjectKind: "instrument", Subject: i.ID, After: i})
	})
	if err != nil {
		return Instrument{}, err
	}
	return i, nil
}

// ChangeInstrument changes what a certificate or a calibration changes: owner, range, resolution, tolerance, nominal value,
// interval, due date and certificate. Code, kind, maker's serial and unit stay as they are for good.
func (db *DB) ChangeInstrument(ctx context.Context, a Actor, i Instrument) error {
	return db.inTx(ctx, a.Site, func(tx querier) error {
		before, err := instrument(ctx, tx, a.Site, i.ID)
		if err != nil {
			return err
		}
		i.Kind = before.Kind
		if err := certified(i); err != nil {
			return err
		}
		if err := run(ctx, tx, `UPDATE instrument SET owner = @owner, range_low = @low, range_high = @high, resolution = @resolution,
			tolerance_abs = @abs, tolerance_share = @share, nominal = @nominal, interval_days = @interval, due_on = @due, certificate = @certificate,
			uncertainty = @uncertainty, coverage_k = @k, location = @location, owner_name = @owner_name, alloy = @alloy
			WHERE site_id = @site AND instrument_id = @id`, sqlArgs{"site": a.Site, "id": i.ID, "owner": i.Owner,
			"low": i.RangeLow, "high": i.RangeHigh, "resolution": i.Resolution, "abs": i.ToleranceAbs, "share": i.ToleranceShare,
			"nominal": i.Nominal, "interval": i.IntervalDays, "due": i.DueOn, "certificate": i.Certificate,
			"uncertainty": i.Uncertainty, "k": i.CoverageK, "location": i.Location, "owner_name": i.OwnerName, "alloy": i.Alloy}); err != nil {
			return err
		}
		after, err := instrument(ctx, tx, a.Site, i.ID)
		if err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "instrument changed", SubjectKind: "instrument", Subject: i.ID, Before: before, After: after})
	})
}

// SetInstrumentStatus withdraws a device, marks it failed or takes it back into use, for a reason that stays readable. A
// device that failed is put back in use by an engineer; one that is doubtful by its verification, or by an engineer where it
// is none that is verified on shims. Marking it failed recalls what was measured with it since it was last good; the number
// of that review is returned.
func (db *DB) SetInstrumentStatus(ctx context.Context, a Actor, id uuid.UUID, status, reason string) (recall string, err error) {
	reason = strings.TrimSpace(reason)
	if len([]rune(reason)) < 5 {
		return "", refuse("reason_given", "Say why the device's status changes, in a few words.")
	}
	err = db.inTx(ctx, a.Site, func(tx querier) error {
		st, before, err := lockInstrument(ctx, tx, a.Site, id)
		if err != nil {
			return err
		}
		switch {
		case status == "in_use" && before.Status == "doubtful" && before.Kind == "film_gauge":
			return refuse(RuleGaugeUnverified, fmt.Sprintf("%s is in doubt. Verify it on the zero plate and shims: a good verification puts it back in use.", before.Code))
		case status == "in_use" && before.Status != "in_use" && before.Status != "withdrawn" && !a.Has(Engineer):
			return refuse(RuleNoRight, fmt.Sprintf("%s is %s. An engineer puts it back in use.", before.Code, StandingNames[before.Status]))
		case status == "doubtful":
			return refuse("instrument_status_known", constraintSentences["instrument_status_known"])
		}
		if err := setInstrumentStatus(ctx, tx, a.Site, id, status); err != nil {
			return err
		}
		if err := db.event(ctx, tx, a, Event{Verb: "instrument status changed", SubjectKind: "instrument", Subject: id,
			Before: map[string]string{"Status": before.Status}, After: map[string]string{"Status": status}, Reason: reason}); err != nil {
			return err
		}
		if status != "failed" || before.Status == "failed" {
			return nil
		}
		w := &work{}
		_, err = db.openRecall(ctx, tx, a, st, before, db.Clock(), uuid.Nil, fmt.Sprintf("%s was marked as failed: %s", before.Code, reason), w)
		recall = w.recall
		return err
	})
	return recall, err
}

// Doubts are the reasons for which a device is blocked until it is verified.
var Doubts = []string{"dropped", "doubtful_reading"}

// DoubtInstrument blocks a device that was dropped or gave a reading that nobody believes, until it is verified. Anybody who
// measures may do it.
func (db *DB) DoubtInstrument(ctx context.Context, a Actor, id uuid.UUID, what, note string) error {
	if !slices.Contains(Doubts, what) {
		return refuse(RuleInvalid, "Say what happened: it was dropped, or a reading is doubtful.")
	}
	return db.inTx(ctx, a.Site, func(tx querier) error {
		_, before, err := lockInstrument(ctx, tx, a.Site, id)
		if err != nil {
			return err
		}
		if before.Status != "in_use" {
			return refuse(RuleGaugeFailed, fmt.Sprintf("%s is %s already.", before.Code, StandingNames[before.Status]))
		}
		if err := setInstrumentStatus(ctx, tx, a.Site, id, "doubtful"); err != nil {
			return err
		}
		doubt := strings.TrimSpace(strings.ReplaceAll(what, "_", " ") + ". " + strings.TrimSpace(note))
		if err := run(ctx, tx, `UPDATE instrument_status SET doubted_at = @at, doubt = @doubt WHERE site_id = @site AND instrument_id = @id`,
			sqlArgs{"site": a.Site, "id": id, "at": db.Clock(), "doubt": doubt}); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "instrument doubted", SubjectKind: "instrument", Subject: id,
			Before: map[string]string{"Status": before.Status}, After: map[string]string{"Status": "doubtful"}, Reason: doubt})
	})
}

// lockInstrument makes whoever measures with a device wait, and reads it as it stands then.
func lockInstrument(ctx context.Context, tx querier, siteID, id uuid.UUID) (st Site, i Instrument, err error) {
	if err := run(ctx, tx, `SELECT 1 FROM instrument_status WHERE site_id = @site AND instrument_id = @id FOR UPDATE`, sqlArgs{"site": siteID, "id": id}); err != nil {
		return st, i, err
	}
	if st, err = site(ctx, tx, siteID); err != nil {
		return st, i, err
	}
	i, err = instrument(ctx, tx, siteID, id)
	return st, i, err
}

// setInstrumentStatus changes the status alone; who calls it writes the event.
func setInstrumentStatus(ctx context.Context, tx querier, site, id uuid.UUID, status string) error {
	if err := run(ctx, tx, `UPDATE instrument SET status = @status WHERE site_id = @site AND instrument_id = @id`,
		sqlArgs{"site": site, "id": id, "status": status}); err != nil {
		return err
	}
	return run(ctx, tx, `UPDATE instrument_status SET doubted_at = NULL, doubt = '' WHERE site_id = @site AND instrument_id = @id`,
		sqlArgs{"site": site, "id": id})
}
