package store

import (
	"context"
	"encoding/json"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// An Actor is the person signed on, where and on what. Every writing method takes one; web decides who may do what.
type Actor struct {
	Site    uuid.UUID
	Person  uuid.UUID
	Name    string
	Roles   []string
	Device  uuid.NullUUID
	Station uuid.NullUUID
}

// Has reports whether the actor has one of the roles.
func (a Actor) Has(roles ...string) bool {
	for _, want := range roles {
		for _, have := range a.Roles {
			if want == have {
				return true
			}
		}
	}
	return false
}

// An Event says what changed: before and after hold the fields concerned and are stored as JSON.
type Event struct {
	Verb        string
	SubjectKind string
	Subject     uuid.UUID
	Record      uuid.UUID
	Before      any
	After       any
	Reason      string
}

// event writes events in the transaction of the change they tell of.
func (db *DB) event(ctx context.Context, tx pgx.Tx, a Actor, events ...Event) error {
	b := &pgx.Batch{}
	for _, e := range events {
		if err := db.queueEvent(b, a, e); err != nil {
			return err
		}
	}
	if err := send(ctx, tx, b); err != nil {
		return fmt.Errorf("writing events: %w", err)
	}
	return nil
}

// queueEvent adds an event to what goes to the database next. It is the only place that writes one.
func (db *DB) queueEvent(b *pgx.Batch, a Actor, e Event) error {
	encode := func(v any) ([]byte, error) {
		if v == nil {
			return nil, nil
		}
		return json.Marshal(v)
	}
	before, err := encode(e.Before)
	if err != nil {
		return fmt.Errorf("event %s: %w", e.Verb, err)
	}
	after, err := encode(e.After)
	if err != nil {
		return fmt.Errorf("event %s: %w", e.Verb, err)
	}
	b.Queue(`INSERT INTO event (site_id, event_id, at, person_id, device_id, verb, subject_kind, subject_id, record_id, before, after, reason)
		VALUES (@site, @event, @at, @person, @device, @verb, @kind, @subject, @record, @before, @after, @reason)`, pgx.StrictNamedArgs{
		"site": a.Site, "event": NewID(), "at": db.Clock(), "person": null(a.Person), "device": a.Device, "verb": e.Verb,
		"kind": e.SubjectKind, "subject": null(e.Subject), "record": null(e.Record), "before": before, "after": after, "reason": e.Reason})
	return nil
}

// Note writes an event that stands alone: a sign-on, a refusal, an export.
func (db *DB) Note(ctx context.Context, a Actor, e Event) error {
	return pgx.BeginFunc(ctx, db.pool, func(tx pgx.Tx) error { return db.event(ctx, tx, a, e) })
}
