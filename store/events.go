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
func (db *DB) event(ctx context.Context, tx querier, a Actor, events ...Event) error {
	b := &pgx.Batch{}
	if err := db.queueEvent(b, a, events...); err != nil {
		return err
	}
	if err := send(ctx, tx, b); err != nil {
		return fmt.Errorf("writing events: %w", err)
	}
	return nil
}

// queueEvent adds events to what goes to the database next. It is the only place that writes them.
func (db *DB) queueEvent(b *pgx.Batch, a Actor, events ...Event) error {
	if len(events) == 0 {
		return nil
	}
	var ids []uuid.UUID
	var subjects, records []uuid.NullUUID
	var verbs, kinds, reasons []string
	var befores, afters []*string
	for _, e := range events {
		before, err := jsonOf(e.Before)
		if err != nil {
			return fmt.Errorf("event %s: %w", e.Verb, err)
		}
		after, err := jsonOf(e.After)
		if err != nil {
			return fmt.Errorf("event %s: %w", e.Verb, err)
		}
		ids, subjects, records = append(ids, NewID()), append(subjects, null(e.Subject)), append(records, null(e.Record))
		verbs, kinds, reasons = append(verbs, e.Verb), append(kinds, e.SubjectKind), append(reasons, e.Reason)
		befores, afters = append(befores, before), append(afters, after)
	}
	b.Queue(`INSERT INTO event (site_id, event_id, at, person_id, device_id, verb, subject_kind, subject_id, record_id, before, after, reason)
		SELECT @site, e.id, @event_at, @by, @device, e.verb, e.kind, e.subject, e.record, e.before::jsonb, e.after::jsonb, e.reason
		FROM unnest(@event_ids::uuid[], @verbs::text[], @kinds::text[], @subjects::uuid[], @records::uuid[], @befores::text[], @afters::text[], @reasons::text[])
			AS e(id, verb, kind, subject, record, before, after, reason)`, sqlArgs{"site": a.Site, "event_at": db.Clock(), "by": null(a.Person), "device": a.Device,
		"event_ids": ids, "verbs": verbs, "kinds": kinds, "subjects": subjects, "records": records, "befores": befores, "afters": afters, "reasons": reasons})
	return nil
}

// jsonOf writes a value as JSON, nil for none.
func jsonOf(v any) (*string, error) {
	if v == nil {
		return nil, nil
	}
	text, err := json.Marshal(v)
	if err != nil {
		return nil, err
	}
	s := string(text)
	return &s, nil
}

// Note writes an event that stands alone: a sign-on, a refusal, an export.
func (db *DB) Note(ctx context.Context, a Actor, e Event) error {
	return db.transact(ctx, func(tx *saving) error { return db.event(ctx, tx, a, e) })
}
