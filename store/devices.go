package store

import (
	"context"
	"errors"
	"time"

	"github.com/google/uuid"
)

// A Device is an enrolled tablet or desk browser.
type Device struct {
	Site          uuid.UUID     `db:"site_id"`
	ID            uuid.UUID     `db:"device_id"`
	Name          string        `db:"name"`
	StationID     uuid.NullUUID `db:"station_id"`
	Station       string        `db:"station"`
	StationKind   string        `db:"station_kind"`
	LocationClass string        `db:"location_class"`
	PixelsPerInch int           `db:"css_px_per_inch"`
	EnrolledAt    *time.Time    `db:"enrolled_at"`
	RevokedAt     *time.Time    `db:"revoked_at"`
}

const deviceColumns = `d.site_id, d.device_id, d.name, d.station_id, coalesce(s.name, '') AS station, coalesce(s.kind, '') AS station_kind,
	d.location_class, d.css_px_per_inch, d.enrolled_at, d.revoked_at`

const deviceTables = ` FROM device d LEFT JOIN station s ON s.site_id = d.site_id AND s.station_id = d.station_id`

// Devices returns all tablets of a site, revoked ones last.
func (db *DB) Devices(ctx context.Context, site uuid.UUID) ([]Device, error) {
	return list[Device](ctx, db.pool, `SELECT `+deviceColumns+deviceTables+` WHERE d.site_id = @site ORDER BY d.revoked_at IS NOT NULL, d.name`,
		sqlArgs{"site": site})
}

// DeviceByCredential returns the enrolled, not revoked device that holds the credential, or ErrNotFound.
func (db *DB) DeviceByCredential(ctx context.Context, credential string) (Device, error) {
	site, hash := splitToken(credential)
	return one[Device](ctx, db.pool, `SELECT `+deviceColumns+deviceTables+` WHERE d.site_id = @site AND d.credential_hash = @hash AND d.revoked_at IS NULL`,
		sqlArgs{"site": site, "hash": hash})
}

// NewDevice is what it takes to enrol a tablet.
type NewDevice struct {
	Name          string
	Station       uuid.UUID
	LocationClass string
	PixelsPerInch int
}

// AddDevice registers a tablet and returns the single-use secret of its enrolment link. It lasts one day.
func (db *DB) AddDevice(ctx context.Context, a Actor, n NewDevice) (id uuid.UUID, secret string, err error) {
	id, secret = NewID(), newSiteToken(a.Site)
	if n.PixelsPerInch == 0 {
		n.PixelsPerInch = 132
	}
	err = db.inTx(ctx, a.Site, func(tx querier) error {
		if err := run(ctx, tx, `INSERT INTO device (site_id, device_id, name, station_id, location_class, css_px_per_inch, enrolled_by)
			VALUES (@site, @device, @name, @station, @class, @ppi, @by)`, sqlArgs{"site": a.Site, "device": id, "name": n.Name,
			"station": null(n.Station), "class": n.LocationClass, "ppi": n.PixelsPerInch, "by": a.Person}); err != nil {
			return err
		}
		if err := run(ctx, tx, `INSERT INTO invitation (site_id, secret_hash, purpose, device_id, expires_at)
			VALUES (@site, @hash, 'device', @device, @expires)`, sqlArgs{"site": a.Site, "hash": hashToken(secret), "device": id,
			"expires": db.Clock().Add(24 * time.Hour)}); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "tablet registered", SubjectKind: "device", Subject: id, After: n})
	})
	return id, secret, err
}

var enrolmentGone = refuse(RuleInvitationExpired, "This enrolment link was used already, has expired or never existed. Ask an administrator for a new one.")

// Enrolment returns the device that an unused enrolment secret is for.
func (db *DB) Enrolment(ctx context.Context, secret string) (Device, error) {
	site, hash := splitToken(secret)
	d, err := one[Device](ctx, db.pool, `SELECT `+deviceColumns+deviceTables+` JOIN invitation i ON i.site_id = d.site_id AND i.device_id = d.device_id
		WHERE i.site_id = @site AND i.secret_hash = @hash AND i.purpose = 'device' AND i.used_at IS NULL AND i.expires_at > @now AND d.revoked_at IS NULL`,
		sqlArgs{"site": site, "hash": hash, "now": db.Clock()})
	if errors.Is(err, ErrNotFound) {
		return d, enrolmentGone
	}
	return d, err
}

// Enrol uses an enrolment secret up, keeps what the tablet says of itself (where it is used and its CSS pixels per inch),
// and returns the credential for the tablet's cookie. Only its hash is kept.
func (db *DB) Enrol(ctx context.Context, secret, locationClass string, pixelsPerInch int) (credential string, err error) {
	d, err := db.Enrolment(ctx, secret)
	if err != nil {
		return "", err
	}
	credential = newSiteToken(d.Site)
	err = db.inTx(ctx, d.Site, func(tx querier) error {
		if err := run(ctx, tx, `UPDATE invitation SET used_at = @now WHERE site_id = @site AND secret_hash = @hash AND used_at IS NULL`,
			sqlArgs{"site": d.Site, "hash": hashToken(secret), "now": db.Clock()}); err != nil {
			return err
		}
		if err := run(ctx, tx, `UPDATE device SET credential_hash = @credential, enrolled_at = @now, location_class = @class, css_px_per_inch = @ppi
			WHERE site_id = @site AND device_id = @device`, sqlArgs{"site": d.Site, "device": d.ID, "class": locationClass, "ppi": pixelsPerInch, "credential": hashToken(credential), "now": db.Clock()}); err != nil {
			return err
		}
		return db.event(ctx, tx, Actor{Site: d.Site, Device: null(d.ID)}, Event{Verb: "tablet enrolled", SubjectKind: "device", Subject: d.ID,
			After: map[string]any{"location_class": locationClass, "css_px_per_inch": pixelsPerInch}})
	})
	if errors.Is(err, ErrNotFound) {
		return "", enrolmentGone
	}
	return credential, err
}

// RevokeDevice makes a tablet's credential, and every PIN on it, worthless at once.
func (db *DB) RevokeDevice(ctx context.Context, a Actor, id uuid.UUID, reason string) error {
	return db.inTx(ctx, a.Site, func(tx querier) error {
		if err := run(ctx, tx, `UPDATE device SET revoked_at = @now WHERE site_id = @site AND device_id = @device AND revoked_at IS NULL`,
			sqlArgs{"site": a.Site, "device": id, "now": db.Clock()}); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "tablet revoked", SubjectKind: "device", Subject: id, Reason: reason})
	})
}
