package store

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
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
	Nominal        *float64      `db:"nominal"`
	IntervalDays   int           `db:"interval_days"`
	DueOn          time.Time     `db:"due_on"`
	Certificate    string        `db:"certificate"`
	Status         string        `db:"status"` // in_use, failed, withdrawn
	VerifiedAt     *time.Time    `db:"verified_at"`
	VerifiedDay    *time.Time    `db:"verified_day"`
	VerifiedShift  string        `db:"verified_shift"`
	Verdict        string        `db:"verdict"`
	VerificationID uuid.NullUUID `db:"verification_id"`
	LastGoodAt     *time.Time    `db:"last_good_at"`
}

const selectInstrument = `SELECT i.instrument_id, i.code, i.kind, i.maker_serial, i.owner, i.unit, i.range_low, i.range_high, i.resolution,
	i.tolerance_abs, i.tolerance_share, i.nominal, i.interval_days, i.due_on, i.certificate, i.status,
	s.verified_at, s.shop_day AS verified_day, s.shift AS verified_shift, s.verdict, s.verification_id, s.last_good_at
	FROM instrument i JOIN instrument_status s ON s.site_id = i.site_id AND s.instrument_id = i.instrument_id `

// dueSoonDays is how long before its due date a device is named as due soon: time enough to send it away.
const dueSoonDays = 14

// Standing says where a device stands on a shop day: in_use, due_soon, overdue, failed or withdrawn. It may be used through
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
	instruments, err := list[Instrument](ctx, db.pool, selectInstrument+`WHERE i.site_id = @site ORDER BY i.code`, pgx.StrictNamedArgs{"site": site})
	if err != nil {
		return nil, fmt.Errorf("instruments: %w", err)
	}
	return instruments, nil
}

// InstrumentByCode returns the device with the code on its label.
func (db *DB) InstrumentByCode(ctx context.Context, site uuid.UUID, code string) (Instrument, error) {
	i, err := one[Instrument](ctx, db.pool, selectInstrument+`WHERE i.site_id = @site AND i.code = @code`,
		pgx.StrictNamedArgs{"site": site, "code": code})
	if err != nil {
		return i, fmt.Errorf("instrument %q: %w", code, err)
	}
	return i, nil
}

func instrument(ctx context.Context, q querier, site, id uuid.UUID) (Instrument, error) {
	i, err := one[Instrument](ctx, q, selectInstrument+`WHERE i.site_id = @site AND i.instrument_id = @id`, pgx.StrictNamedArgs{"site": site, "id": id})
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
	err := db.inTx(ctx, a.Site, func(tx pgx.Tx) error {
		if err := run(ctx, tx, `INSERT INTO instrument (site_id, instrument_id, code, kind, maker_serial, owner, unit, range_low, range_high,
			resolution, tolerance_abs, tolerance_share, nominal, interval_days, due_on, certificate)
			VALUES (@site, @id, @code, @kind, @serial, @owner, @unit, @low, @high, @resolution, @abs, @share, @nominal, @interval, @due, @certificate)`,
			pgx.StrictNamedArgs{"site": a.Site, "id": i.ID, "code": i.Code, "kind": i.Kind, "serial": i.MakerSerial, "owner": i.Owner,
				"unit": i.Unit, "low": i.RangeLow, "high": i.RangeHigh, "resolution": i.Resolution, "abs": i.ToleranceAbs,
				"share": i.ToleranceShare, "nominal": i.Nominal, "interval": i.IntervalDays, "due": i.DueOn, "certificate": i.Certificate}); err != nil {
			return err
		}
		if err := run(ctx, tx, `INSERT INTO instrument_status (site_id, instrument_id) VALUES (@site, @id)`,
			pgx.StrictNamedArgs{"site": a.Site, "id": i.ID}); err != nil {
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
	return db.inTx(ctx, a.Site, func(tx pgx.Tx) error {
		before, err := instrument(ctx, tx, a.Site, i.ID)
		if err != nil {
			return err
		}
		i.Kind = before.Kind
		if err := certified(i); err != nil {
			return err
		}
		if err := run(ctx, tx, `UPDATE instrument SET owner = @owner, range_low = @low, range_high = @high, resolution = @resolution,
			tolerance_abs = @abs, tolerance_share = @share, nominal = @nominal, interval_days = @interval, due_on = @due, certificate = @certificate
			WHERE site_id = @site AND instrument_id = @id`, pgx.StrictNamedArgs{"site": a.Site, "id": i.ID, "owner": i.Owner,
			"low": i.RangeLow, "high": i.RangeHigh, "resolution": i.Resolution, "abs": i.ToleranceAbs, "share": i.ToleranceShare,
			"nominal": i.Nominal, "interval": i.IntervalDays, "due": i.DueOn, "certificate": i.Certificate}); err != nil {
			return err
		}
		after, err := instrument(ctx, tx, a.Site, i.ID)
		if err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "instrument changed", SubjectKind: "instrument", Subject: i.ID, Before: before, After: after})
	})
}

// SetInstrumentStatus withdraws a device, marks it failed or takes it back into use, for a reason that stays readable.
func (db *DB) SetInstrumentStatus(ctx context.Context, a Actor, id uuid.UUID, status, reason string) error {
	if len([]rune(strings.TrimSpace(reason))) < 5 {
		return refuse("reason_given", "Say why the device's status changes, in a few words.")
	}
	return db.inTx(ctx, a.Site, func(tx pgx.Tx) error {
		before, err := instrument(ctx, tx, a.Site, id)
		if err != nil {
			return err
		}
		if err := run(ctx, tx, `UPDATE instrument SET status = @status WHERE site_id = @site AND instrument_id = @id`,
			pgx.StrictNamedArgs{"site": a.Site, "id": id, "status": status}); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "instrument status changed", SubjectKind: "instrument", Subject: id,
			Before: map[string]string{"Status": before.Status}, After: map[string]string{"Status": status}, Reason: strings.TrimSpace(reason)})
	})
}
