package store

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/pquerna/otp"
	"github.com/pquerna/otp/totp"
)

// Limits on failed sign-ons (NIST SP 800-63B-4): at most 10 for a PIN, 100 for a password. Delays grow in between. They
// count per person and way in, so that a nuisance at a tablet cannot lock the whole shift out.
const (
	pinFailures      = 10
	passwordFailures = 100
	freeFailures     = 3
)

// wrongSecret is one sentence for every reason, so that it does not tell which part was wrong.
var wrongSecret = refuse(RuleWrongSecret, "That did not match. Try again.")

type secrets struct {
	ID       uuid.UUID `db:"person_id"`
	PIN      *string   `db:"pin_hash"`
	Password *string   `db:"password_hash"`
	Code     *string   `db:"totp_secret"`
	LastStep int64     `db:"totp_last_step"`
	Active   bool      `db:"active"`
}

const secretColumns = `person_id, pin_hash, password_hash, totp_secret, totp_last_step, active`

// SignOnByPIN checks a person's PIN on an enrolled tablet. Device must be one: a PIN is worth nothing elsewhere.
func (db *DB) SignOnByPIN(ctx context.Context, d Device, person uuid.UUID, pin string) (Person, error) {
	s, err := one[secrets](ctx, db.pool, `SELECT `+secretColumns+` FROM person WHERE site_id = @site AND person_id = @person`,
		sqlArgs{"site": d.Site, "person": person})
	if err != nil {
		return Person{}, err
	}
	a := Actor{Site: d.Site, Person: person, Device: null(d.ID), Station: d.StationID}
	if err := db.attempt(ctx, a, "pin", func() bool { return s.Active && db.secretFits(ctx, a, "pin_hash", pin, s.PIN) }); err != nil {
		return Person{}, err
	}
	return db.signedOn(ctx, a, "PIN")
}

// SignOnByBadge finds the person whose badge was scanned on an enrolled tablet.
func (db *DB) SignOnByBadge(ctx context.Context, d Device, badge string) (Person, error) {
	id, err := value[uuid.UUID](ctx, db.pool, `SELECT person_id FROM person WHERE site_id = @site AND badge_hash = @hash AND active`,
		sqlArgs{"site": d.Site, "hash": hashToken(badge)})
	if errors.Is(err, ErrNotFound) {
		return Person{}, refuse(RuleWrongSecret, "This badge is not known here. Use your name and PIN, or ask an administrator for a new badge.")
	}
	if err != nil {
		return Person{}, err
	}
	return db.signedOn(ctx, Actor{Site: d.Site, Person: id, Device: null(d.ID), Station: d.StationID}, "badge")
}

// SignOnByPassword checks a sign-on name, password and, where the person's roles ask for it, the code app's six digits.
func (db *DB) SignOnByPassword(ctx context.Context, site uuid.UUID, name, password, code string) (Person, error) {
	s, err := one[secrets](ctx, db.pool, `SELECT `+secretColumns+` FROM person WHERE site_id = @site AND sign_on_name = @name`,
		sqlArgs{"site": site, "name": name})
	if errors.Is(err, ErrNotFound) {
		// The same work as for a real person, so that time does not tell who exists.
		_, _ = hashSecret(password)
		return Person{}, wrongSecret
	}
	if err != nil {
		return Person{}, err
	}
	p, err := db.Person(ctx, site, s.ID)
	if err != nil {
		return Person{}, err
	}
	a := Actor{Site: site, Person: s.ID}
	err = db.attempt(ctx, a, "password", func() bool {
		if !s.Active || !db.secretFits(ctx, a, "password_hash", password, s.Password) {
			return false
		}
		return !p.NeedsSecondFactor() || s.Code != nil && db.useCode(ctx, a, *s.Code, code)
	})
	if err != nil {
		return Person{}, err
	}
	return db.signedOn(ctx, a, "password")
}

func (db *DB) signedOn(ctx context.Context, a Actor, way string) (Person, error) {
	if err := db.Note(ctx, a, Event{Verb: "signed on", SubjectKind: "person", Subject: a.Person, After: map[string]string{"way": way}}); err != nil {
		return Person{}, err
	}
	return db.Person(ctx, a.Site, a.Person)
}

// attempt runs one try at a secret under the guard of failed tries.
func (db *DB) attempt(ctx context.Context, a Actor, way string, fits func() bool) error {
	locked, err := value[*time.Time](ctx, db.pool, `SELECT CASE WHEN locked_until = 'infinity' THEN 'epoch'::timestamptz ELSE locked_until END
		FROM sign_on_guard WHERE site_id = @site AND person_id = @person AND way = @way AND locked_until > @now`,
		sqlArgs{"site": a.Site, "person": a.Person, "way": way, "now": db.Clock()})
	switch {
	case err == nil && locked != nil && locked.Unix() == 0:
		return refuse(RuleLocked, "Locked after too many wrong tries. Sign on with your password, or ask an administrator to unlock you.")
	case err == nil && locked != nil:
		return refuse(RuleLocked, fmt.Sprintf("Too many wrong tries. Wait %d seconds.", int(locked.Sub(db.Clock()).Seconds())+1))
	case err != nil && !errors.Is(err, ErrNotFound):
		return err
	}
	if fits() {
		return db.inTx(ctx, uuid.Nil, func(tx querier) error { return clearGuard(ctx, tx, a.Site, a.Person, way) })
	}
	if err := db.failed(ctx, a, way); err != nil {
		return err
	}
	return wrongSecret
}

// failed counts a wrong try: three are free, then the delay doubles, then the way in is locked.
func (db *DB) failed(ctx context.Context, a Actor, way string) error {
	return db.inTx(ctx, uuid.Nil, func(tx querier) error {
		n, err := value[int](ctx, tx, `INSERT INTO sign_on_guard (site_id, person_id, way, failures) VALUES (@site, @person, @way, 1)
			ON CONFLICT (site_id, person_id, way) DO UPDATE SET failures = sign_on_guard.failures + 1 RETURNING failures`,
			sqlArgs{"site": a.Site, "person": a.Person, "way": way})
		if err != nil {
			return err
		}
		limit := pinFailures
		if way == "password" {
			limit = passwordFailures
		}
		var until any
		switch {
		case n >= limit:
			until = "infinity"
		case n > freeFailures:
			until = db.Clock().Add(time.Duration(1<<min(n-freeFailures, 6)) * time.Second).Format(time.RFC3339Nano)
		}
		if until != nil {
			if err := run(ctx, tx, `UPDATE sign_on_guard SET locked_until = @until::text::timestamptz WHERE site_id = @site AND person_id = @person AND way = @way`,
				sqlArgs{"site": a.Site, "person": a.Person, "way": way, "until": until}); err != nil {
				return err
			}
		}
		return db.event(ctx, tx, a, Event{Verb: "sign-on refused", SubjectKind: "person", Subject: a.Person, After: map[string]any{"way": way, "failures": n}})
	})
}

func clearGuard(ctx context.Context, tx querier, site, person uuid.UUID, way string) error {
	_, err := tx.Exec(ctx, `UPDATE sign_on_guard SET failures = 0, locked_until = NULL WHERE site_id = @site AND person_id = @person AND way = @way`,
		sqlArgs{"site": site, "person": person, "way": way})
	return err
}

// Unlock lets a person try again after a lock.
func (db *DB) Unlock(ctx context.Context, a Actor, person uuid.UUID) error {
	return db.inTx(ctx, a.Site, func(tx querier) error {
		if err := clearGuard(ctx, tx, a.Site, person, "pin"); err != nil {
			return err
		}
		if err := clearGuard(ctx, tx, a.Site, person, "password"); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "person unlocked", SubjectKind: "person", Subject: person})
	})
}

// secretFits checks a secret and re-hashes it when the settings have risen since.
func (db *DB) secretFits(ctx context.Context, a Actor, column, secret string, hash *string) bool {
	if hash == nil {
		return false
	}
	ok, stale := checkSecret(secret, *hash)
	if ok && stale {
		if fresh, err := hashSecret(secret); err == nil {
			// A failure here only means that it is tried again at the next sign-on.
			_, _ = db.pool.Exec(ctx, `UPDATE person SET `+column+` = @hash WHERE site_id = @site AND person_id = @person`,
				sqlArgs{"site": a.Site, "person": a.Person, "hash": fresh})
		}
	}
	return ok
}

// useCode checks a time-based code (RFC 6238, one step either way) and uses its step up.
func (db *DB) useCode(ctx context.Context, a Actor, secret, code string) bool {
	step, ok := codeStep(secret, code, db.Clock())
	if !ok {
		return false
	}
	return run(ctx, db.pool, `UPDATE person SET totp_last_step = @step WHERE site_id = @site AND person_id = @person AND totp_last_step < @step`,
		sqlArgs{"site": a.Site, "person": a.Person, "step": step}) == nil
}

func codeStep(secret, code string, now time.Time) (int64, bool) {
	if secret == "" || code == "" {
		return 0, false
	}
	const period = 30
	for _, shift := range []int64{0, -1, 1} {
		step := now.Unix()/period + shift
		ok, err := totp.ValidateCustom(code, secret, time.Unix(step*period, 0), totp.ValidateOpts{Period: period, Digits: otp.DigitsSix})
		if err == nil && ok {
			return step, true
		}
	}
	return 0, false
}
