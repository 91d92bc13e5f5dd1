package store

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"time"

	"github.com/google/uuid"
	"github.com/pquerna/otp/totp"

	"coatbook/quality"
)

// The roles. A person may have several.
const (
	Inspector     = "inspector"
	Operator      = "operator"
	Supervisor    = "supervisor"
	Engineer      = "engineer"
	Administrator = "administrator"
	Auditor       = "auditor"
)

// Roles lists all roles in the order of the screens.
var Roles = []string{Inspector, Operator, Supervisor, Engineer, Administrator, Auditor}

// A Person is somebody who can be named in the book. Secrets are never read into it.
type Person struct {
	ID          uuid.UUID `db:"person_id"`
	Name        string    `db:"name"`
	SignOnName  string    `db:"sign_on_name"`
	Roles       []string  `db:"roles"`
	Language    string    `db:"language"`
	FilmUnit    *string   `db:"film_unit"`
	Active      bool      `db:"active"`
	HasPIN      bool      `db:"has_pin"`
	HasPassword bool      `db:"has_password"`
	HasCode     bool      `db:"has_code"`
	HasBadge    bool      `db:"has_badge"`
	PINLocked   bool      `db:"pin_locked"`
}

const personColumns = `p.person_id, p.name, p.sign_on_name, p.roles, p.language, p.film_unit, p.active, p.pin_hash IS NOT NULL AS has_pin,
	p.password_hash IS NOT NULL AS has_password, p.totp_secret IS NOT NULL AS has_code, p.badge_hash IS NOT NULL AS has_badge,
	EXISTS (SELECT 1 FROM sign_on_guard g WHERE g.site_id = p.site_id AND g.person_id = p.person_id AND g.way = 'pin' AND g.locked_until = 'infinity') AS pin_locked`

// NeedsSecondFactor reports whether the person's roles ask for a code besides the password.
func (p Person) NeedsSecondFactor() bool {
	return Actor{Roles: p.Roles}.Has(Supervisor, Engineer, Administrator)
}

// People returns everybody, leavers included, by name.
func (db *DB) People(ctx context.Context, site uuid.UUID) ([]Person, error) {
	return list[Person](ctx, db.pool, `SELECT `+personColumns+` FROM person p WHERE p.site_id = @site ORDER BY p.active DESC, p.name`,
		sqlArgs{"site": site})
}

// Person returns one person.
func (db *DB) Person(ctx context.Context, site, id uuid.UUID) (Person, error) {
	return one[Person](ctx, db.pool, `SELECT `+personColumns+` FROM person p WHERE p.site_id = @site AND p.person_id = @person`,
		sqlArgs{"site": site, "person": id})
}

// NewPerson is what it takes to add a person.
type NewPerson struct {
	Name, SignOnName string
	Roles            []string
	Language         string
	FilmUnit         string
}

// AddPerson adds a person who cannot sign on until the invitation is used.
func (db *DB) AddPerson(ctx context.Context, a Actor, n NewPerson) (Person, error) {
	id := NewID()
	err := db.inTx(ctx, a.Site, func(tx querier) error {
		if err := run(ctx, tx, `INSERT INTO person (site_id, person_id, name, sign_on_name, roles, language, film_unit, created_at)
			VALUES (@site, @person, @name, @sign_on, @roles, @language, nullif(@unit, ''), @at)`, sqlArgs{
			"site": a.Site, "person": id, "name": n.Name, "sign_on": n.SignOnName, "roles": n.Roles, "language": orElse(n.Language, "en"),
			"unit": n.FilmUnit, "at": db.Clock()}); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "person added", SubjectKind: "person", Subject: id, After: n})
	})
	if err != nil {
		return Person{}, err
	}
	return db.Person(ctx, a.Site, id)
}

func orElse(s, fallback string) string {
	if s == "" {
		return fallback
	}
	return s
}

// ChangePerson changes roles, language, unit or whether the person is active. The name and sign-on name stay for ever.
func (db *DB) ChangePerson(ctx context.Context, a Actor, id uuid.UUID, roles []string, language, filmUnit string, active bool) error {
	return db.inTx(ctx, a.Site, func(tx querier) error {
		before, err := one[Person](ctx, tx, `SELECT `+personColumns+` FROM person p WHERE p.site_id = @site AND p.person_id = @person FOR UPDATE OF p`,
			sqlArgs{"site": a.Site, "person": id})
		if err != nil {
			return err
		}
		if err := run(ctx, tx, `UPDATE person SET roles = @roles, language = @language, film_unit = nullif(@unit, ''), active = @active
			WHERE site_id = @site AND person_id = @person`, sqlArgs{"site": a.Site, "person": id, "roles": roles,
			"language": orElse(language, "en"), "unit": filmUnit, "active": active}); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "person changed", SubjectKind: "person", Subject: id, Before: before,
			After: map[string]any{"roles": roles, "language": language, "film_unit": filmUnit, "active": active}})
	})
}

// IssueBadge gives a person a new badge code and returns it once; the old badge stops working.
func (db *DB) IssueBadge(ctx context.Context, a Actor, person uuid.UUID) (string, error) {
	code := "BADGE." + newToken()[:22]
	err := db.inTx(ctx, a.Site, func(tx querier) error {
		if err := run(ctx, tx, `UPDATE person SET badge_hash = @hash WHERE site_id = @site AND person_id = @person`,
			sqlArgs{"site": a.Site, "person": person, "hash": hashToken(code)}); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "badge issued", SubjectKind: "person", Subject: person})
	})
	return code, err
}

// A Qualification lets a person record one kind of check from one date to another.
type Qualification struct {
	ID          uuid.UUID    `db:"qualification_id"`
	PersonID    uuid.UUID    `db:"person_id"`
	Kind        quality.Kind `db:"record_kind"`
	Certificate string       `db:"certificate"`
	ValidFrom   time.Time    `db:"valid_from"`
	ValidTo     time.Time    `db:"valid_to"`
}

const selectQualification = `SELECT qualification_id, person_id, record_kind, certificate, valid_from, valid_to FROM qualification `

// Qualifications returns a person's qualifications, the longest running first.
func (db *DB) Qualifications(ctx context.Context, site, person uuid.UUID) ([]Qualification, error) {
	return list[Qualification](ctx, db.pool, selectQualification+`
		WHERE site_id = @site AND person_id = @person ORDER BY valid_to DESC, record_kind`, sqlArgs{"site": site, "person": person})
}

// AddQualification adds one. Its ID may be left zero.
func (db *DB) AddQualification(ctx context.Context, a Actor, q Qualification) error {
	if q.ID == uuid.Nil {
		q.ID = NewID()
	}
	if _, known := quality.KindNames[q.Kind]; !known {
		return refuse(RuleInvalid, fmt.Sprintf("“%s” is not a kind of check.", q.Kind))
	}
	return db.inTx(ctx, a.Site, func(tx querier) error {
		if err := run(ctx, tx, `INSERT INTO qualification (site_id, qualification_id, person_id, record_kind, certificate, valid_from, valid_to)
			VALUES (@site, @id, @person, @kind, @certificate, @from, @to)`, sqlArgs{"site": a.Site, "id": q.ID, "person": q.PersonID,
			"kind": q.Kind, "certificate": q.Certificate, "from": q.ValidFrom, "to": q.ValidTo}); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "qualification added", SubjectKind: "person", Subject: q.PersonID, After: q})
	})
}

// EndQualification moves the end of a qualification, with the reason.
func (db *DB) EndQualification(ctx context.Context, a Actor, id uuid.UUID, validTo time.Time, reason string) error {
	return db.inTx(ctx, a.Site, func(tx querier) error {
		before, err := one[Qualification](ctx, tx, selectQualification+`
			WHERE site_id = @site AND qualification_id = @id FOR UPDATE`, sqlArgs{"site": a.Site, "id": id})
		if err != nil {
			return err
		}
		if err := run(ctx, tx, `UPDATE qualification SET valid_to = @to WHERE site_id = @site AND qualification_id = @id`,
			sqlArgs{"site": a.Site, "id": id, "to": validTo}); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "qualification ended", SubjectKind: "person", Subject: before.PersonID, Before: before,
			After: map[string]any{"valid_to": validTo}, Reason: reason})
	})
}

// Invite returns a single-use secret with which the person sets PIN and password. It lasts three days.
func (db *DB) Invite(ctx context.Context, a Actor, person uuid.UUID) (string, error) {
	secret := newSiteToken(a.Site)
	err := db.inTx(ctx, a.Site, func(tx querier) error {
		if err := run(ctx, tx, `INSERT INTO invitation (site_id, secret_hash, purpose, person_id, expires_at)
			VALUES (@site, @hash, 'person', @person, @expires)`, sqlArgs{"site": a.Site, "hash": hashToken(secret), "person": person,
			"expires": db.Clock().Add(72 * time.Hour)}); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "person invited", SubjectKind: "person", Subject: person})
	})
	return secret, err
}

// An Invitation is an unused, unexpired secret and the person it is for.
type Invitation struct {
	Site   uuid.UUID
	Person Person
}

// Invitation looks a secret up. A used, expired or unknown one is refused alike.
func (db *DB) Invitation(ctx context.Context, secret string) (Invitation, error) {
	type row struct {
		Site   uuid.UUID `db:"site_id"`
		Person uuid.UUID `db:"person_id"`
	}
	site, hash := splitToken(secret)
	r, err := one[row](ctx, db.pool, `SELECT site_id, person_id FROM invitation
		WHERE site_id = @site AND secret_hash = @hash AND purpose = 'person' AND used_at IS NULL AND expires_at > @now`,
		sqlArgs{"site": site, "hash": hash, "now": db.Clock()})
	if errors.Is(err, ErrNotFound) {
		return Invitation{}, refuse(RuleInvitationExpired, "This link was used already, has expired or never existed. Ask an administrator for a new one.")
	}
	if err != nil {
		return Invitation{}, err
	}
	p, err := db.Person(ctx, r.Site, r.Person)
	return Invitation{Site: r.Site, Person: p}, err
}

// NewCodeSecret returns a fresh secret for a code app (RFC 6238).
func NewCodeSecret(siteName, signOnName string) (string, error) {
	key, err := totp.Generate(totp.GenerateOpts{Issuer: siteName, AccountName: signOnName})
	if err != nil {
		return "", fmt.Errorf("making a code secret: %w", err)
	}
	return key.Secret(), nil
}

// CodeAddress returns the address that a code app's QR code carries.
func CodeAddress(siteName, signOnName, secret string) string {
	return "otpauth://totp/" + url.PathEscape(siteName+":"+signOnName) + "?" + url.Values{"secret": {secret}, "issuer": {siteName}}.Encode()
}

// Accept uses an invitation up and sets the person's secrets. Each may be empty to leave it unset, but a person whose roles
// ask for a second factor cannot have a password without a code secret, proved by a current code.
func (db *DB) Accept(ctx context.Context, secret, pin, password, codeSecret, code string) (Person, error) {
	inv, err := db.Invitation(ctx, secret)
	if err != nil {
		return Person{}, err
	}
	if pin == "" && password == "" {
		return Person{}, refuse(RuleWeakSecret, "Set a PIN for the tablets, a password for other browsers, or both.")
	}
	var pinHash, passwordHash *string
	if pin != "" {
		if problem := CheckPIN(pin); problem != "" {
			return Person{}, refuse(RuleWeakSecret, problem)
		}
		h, err := hashSecret(pin)
		if err != nil {
			return Person{}, err
		}
		pinHash = &h
	}
	var codeStored *string
	if password != "" {
		if problem := CheckPassword(password); problem != "" {
			return Person{}, refuse(RuleWeakSecret, problem)
		}
		if inv.Person.NeedsSecondFactor() {
			if _, ok := codeStep(codeSecret, code, db.Clock()); !ok {
				return Person{}, refuse(RuleSecondFactor, "Enter the six digits that the code app shows now. Check that the device's clock is right.")
			}
			codeStored = &codeSecret
		}
		h, err := hashSecret(password)
		if err != nil {
			return Person{}, err
		}
		passwordHash = &h
	}
	a := Actor{Site: inv.Site, Person: inv.Person.ID}
	err = db.inTx(ctx, inv.Site, func(tx querier) error {
		if err := run(ctx, tx, `UPDATE invitation SET used_at = @now WHERE site_id = @site AND secret_hash = @hash AND used_at IS NULL`,
			sqlArgs{"site": inv.Site, "hash": hashToken(secret), "now": db.Clock()}); err != nil {
			return err
		}
		if err := run(ctx, tx, `UPDATE person SET pin_hash = coalesce(@pin, pin_hash), password_hash = coalesce(@password, password_hash),
			totp_secret = coalesce(@code, totp_secret) WHERE site_id = @site AND person_id = @person`, sqlArgs{"site": inv.Site,
			"person": inv.Person.ID, "pin": pinHash, "password": passwordHash, "code": codeStored}); err != nil {
			return err
		}
		if err := clearGuard(ctx, tx, inv.Site, inv.Person.ID, "pin"); err != nil {
			return err
		}
		if err := clearGuard(ctx, tx, inv.Site, inv.Person.ID, "password"); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "secrets set", SubjectKind: "person", Subject: inv.Person.ID})
	})
	if errors.Is(err, ErrNotFound) {
		return Person{}, refuse(RuleInvitationExpired, "This link was used already. Ask an administrator for a new one.")
	}
	return inv.Person, err
}
