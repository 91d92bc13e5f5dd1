package store

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// A Proof says that a person gave their secret for one act of signing. It comes from Sign alone and cannot be stored.
type Proof struct {
	person uuid.UUID
	auth   string
}

// Sign checks the actor's secret once more, for the signatures of one act, after they have signed before in this sitting. On a
// tablet it is the PIN, elsewhere the PIN or the password.
func (db *DB) Sign(ctx context.Context, a Actor, secret string) (Proof, error) {
	return db.proveFor(ctx, a, a.Person, secret)
}

// SignFirst is Sign for the first act of a sitting, which asks for both components: who signs, by sign-on name, full name or
// badge, and their secret. The signature says that both were given.
//
// Source: 21 CFR 11.200(a)(1)(i), seen: the first signing of a continuous period uses all components.
func (db *DB) SignFirst(ctx context.Context, a Actor, identity, secret string) (Proof, error) {
	identity = strings.TrimSpace(identity)
	if identity == "" {
		return Proof{}, refuse(RuleNotSigner, "This is your first signature since you signed on. Enter your sign-on name or scan your badge, then your PIN.")
	}
	way, err := value[string](ctx, db.pool, `SELECT CASE WHEN badge_hash = @badge THEN 'badge' ELSE 'name' END FROM person
		WHERE site_id = @site AND person_id = @person AND (lower(sign_on_name) = lower(@identity) OR lower(name) = lower(@identity) OR badge_hash = @badge)`,
		sqlArgs{"site": a.Site, "person": a.Person, "identity": identity, "badge": hashToken(identity)})
	if errors.Is(err, ErrNotFound) {
		return Proof{}, refuse(RuleNotSigner, fmt.Sprintf("%s is signed on here, and that is another name. Lock and sign on yourself to sign.", a.Name))
	}
	if err != nil {
		return Proof{}, err
	}
	proof, err := db.proveFor(ctx, a, a.Person, secret)
	proof.auth += "+" + way
	return proof, err
}

// proveFor checks the secret of a person who may be another than the one signed on: a supervisor who authorises an
// exception at the inspector's tablet.
func (db *DB) proveFor(ctx context.Context, a Actor, person uuid.UUID, secret string) (Proof, error) {
	s, err := one[secrets](ctx, db.pool, `SELECT `+secretColumns+` FROM person WHERE site_id = @site AND person_id = @person`,
		sqlArgs{"site": a.Site, "person": person})
	if err != nil {
		return Proof{}, err
	}
	auth := "pin"
	signer := a
	signer.Person = person
	err = db.attempt(ctx, signer, "pin", func() bool {
		if !s.Active {
			return false
		}
		if db.secretFits(ctx, signer, "pin_hash", secret, s.PIN) {
			return true
		}
		auth = "password"
		return !a.Device.Valid && db.secretFits(ctx, signer, "password_hash", secret, s.Password)
	})
	if err != nil {
		return Proof{}, err
	}
	return Proof{person: person, auth: auth}, nil
}

// ContentHash returns the SHA-256 of content's JSON in hex: what a signature is bound to.
func ContentHash(content any) (string, error) {
	body, err := json.Marshal(content)
	if err != nil {
		return "", fmt.Errorf("hashing what is signed: %w", err)
	}
	sum := sha256.Sum256(body)
	return hex.EncodeToString(sum[:]), nil
}

// sign adds a signature on content by the person of the proof to what goes to the database next, and returns its id.
// statement is the sentence they signed.
func (db *DB) sign(b *pgx.Batch, a Actor, p Proof, meaning, statement string, content any) (uuid.UUID, error) {
	if p.person == uuid.Nil {
		return uuid.Nil, refuse(RuleWrongSecret, "This needs your PIN.")
	}
	hash, err := ContentHash(content)
	if err != nil {
		return uuid.Nil, err
	}
	id := NewID()
	b.Queue(`INSERT INTO signature (site_id, signature_id, person_id, printed_name, meaning, statement, signed_at, content_hash, auth_used)
		SELECT @site, @id, person_id, name, @meaning, @statement, @at, @hash, @auth FROM person WHERE site_id = @site AND person_id = @person`,
		sqlArgs{"site": a.Site, "id": id, "person": p.person, "meaning": meaning, "statement": statement, "at": db.Clock(),
			"hash": hash, "auth": p.auth})
	return id, nil
}
