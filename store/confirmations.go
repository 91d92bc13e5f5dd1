package store

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"coatbook/quality"
)

// CriticalWindow is the rule of a cure window that was typed for one load in place of the powder's.
const CriticalWindow = RuleWindow

// A critical is something of a record that one person alone stands behind, so that a second one has to confirm it: a cure
// window typed for a load, or an exception that its own author allowed.
type critical struct{ rule, sentence string }

// unconfirmed says what of the entry waits for a second person.
func (w *work) unconfirmed() string {
	if len(w.critical) == 0 {
		return ""
	}
	return w.critical[0].sentence + waits
}

const waits = " It counts once another supervisor or engineer confirms it."

// ownExceptions marks the exceptions that the author of the entry allowed alone.
func (w *work) ownExceptions(a Actor, proofs map[string]Proof) {
	for _, r := range w.refusals {
		if proofs[r.Rule].person == a.Person {
			w.critical = append(w.critical, critical{r.Rule, fmt.Sprintf("%s allowed an exception for an entry of their own: %s", a.Name, r.Sentence)})
		}
	}
}

// typedWindow takes a cure window that was typed for the load in place of the powder's.
func (w *work) typedWindow(a Actor, e *Entry) error {
	window, typed := quality.TypedWindow(e.Check)
	if !typed {
		return nil
	}
	if wrong := window.Validate(); len(wrong) > 0 {
		return refuse(RuleWindow, wrong[0])
	}
	source, ok := e.Check.RatingOf(quality.RatingWindowSource, "")
	if !ok || len([]rune(strings.TrimSpace(source))) < 5 {
		return refuse(RuleWindow, "Say where the typed cure window comes from, such as the powder maker's letter with its date.")
	}
	w.circumstance.Window = window
	w.critical = append(w.critical, critical{CriticalWindow, fmt.Sprintf("%s typed a cure window for this load: %s (%s).", a.Name, window.Words(), source)})
	return nil
}

func queueCritical(b *pgx.Batch, site, record uuid.UUID, w *work) {
	for _, c := range w.critical {
		b.Queue(`INSERT INTO critical_entry (site_id, record_id, rule, sentence) VALUES (@site, @record, @critical_rule, @critical_sentence)`,
			sqlArgs{"site": site, "record": record, "critical_rule": c.rule, "critical_sentence": c.sentence})
	}
}

// unconfirmedEvidence says of a record r what keeps it from counting although its verdict is good; empty if nothing does.
const unconfirmedEvidence = `coalesce((SELECT CASE WHEN cf.outcome = 'declined' THEN cp.name || ' declined it: ' || cf.reason || ' Correct or void the record, or record it anew.'
		ELSE ce.sentence || '` + waits + `' END
	FROM critical_entry ce LEFT JOIN confirmation cf ON cf.site_id = ce.site_id AND cf.record_id = ce.record_id
	LEFT JOIN person cp ON cp.site_id = cf.site_id AND cp.person_id = cf.decided_by
	WHERE ce.site_id = r.site_id AND ce.record_id = r.record_id AND cf.outcome IS DISTINCT FROM 'confirmed' ORDER BY ce.rule LIMIT 1), '') AS unconfirmed`

// A Waiting is a record that waits for a second person.
type Waiting struct {
	RecordID uuid.UUID    `db:"record_id"`
	Kind     quality.Kind `db:"kind"`
	Subject  string       `db:"subject"`
	Sentence string       `db:"sentence"`
	Author   uuid.UUID    `db:"person_id"`
	At       time.Time    `db:"recorded_at"`
}

// WaitingRecords returns the records that wait for a second person, the oldest first. Corrected ones wait no more.
func (db *DB) WaitingRecords(ctx context.Context, site uuid.UUID) ([]Waiting, error) {
	return list[Waiting](ctx, db.pool, `SELECT DISTINCT ON (r.recorded_at, r.record_id) r.record_id, r.kind, `+subjectOf+` AS subject, ce.sentence, r.person_id, r.recorded_at
		FROM critical_entry ce JOIN record r ON r.site_id = ce.site_id AND r.record_id = ce.record_id`+subjectJoins+`
		WHERE ce.site_id = @site AND NOT EXISTS (SELECT 1 FROM confirmation cf WHERE cf.site_id = ce.site_id AND cf.record_id = ce.record_id)
		AND NOT EXISTS (SELECT 1 FROM record s WHERE s.site_id = r.site_id AND s.supersedes_id = r.record_id)
		ORDER BY r.recorded_at, r.record_id, ce.rule`, sqlArgs{"site": site})
}

// A Critical is what of a record a second person confirms, and what they said; Outcome is empty while it waits.
type Critical struct {
	Sentences []string   `db:"sentences"`
	Outcome   string     `db:"outcome"`
	Reason    string     `db:"reason"`
	By        string     `db:"by"`
	At        *time.Time `db:"at"`
	Statement string     `db:"statement"`
}

const criticalSQL = `SELECT array_agg(ce.sentence ORDER BY ce.rule) AS sentences, coalesce(cf.outcome, '') AS outcome, coalesce(cf.reason, '') AS reason,
	coalesce(sg.printed_name, '') AS by, sg.signed_at AS at, coalesce(sg.statement, '') AS statement
	FROM critical_entry ce LEFT JOIN confirmation cf ON cf.site_id = ce.site_id AND cf.record_id = ce.record_id
	LEFT JOIN signature sg ON sg.site_id = cf.site_id AND sg.signature_id = cf.signature_id
	WHERE ce.site_id = @site AND ce.record_id = @record GROUP BY cf.outcome, cf.reason, sg.printed_name, sg.signed_at, sg.statement`

// criticalOf returns what of a record a second person has to confirm; no sentences when nothing.
func criticalOf(ctx context.Context, q querier, site, record uuid.UUID) (Critical, error) {
	c, err := one[Critical](ctx, q, criticalSQL, sqlArgs{"site": site, "record": record})
	if errors.Is(err, ErrNotFound) {
		return Critical{}, nil
	}
	return c, err
}

// MayConfirm returns nil when the actor may confirm a record, else the refusal: never the author of the record nor who allowed
// its exception, and nobody but a supervisor or an engineer.
func (db *DB) MayConfirm(ctx context.Context, a Actor, record uuid.UUID) error {
	_, _, err := mayConfirm(ctx, db.pool, a, record)
	return err
}

func mayConfirm(ctx context.Context, q querier, a Actor, record uuid.UUID) (t target, c Critical, err error) {
	if t, err = one[target](ctx, q, targetSQL, sqlArgs{"site": a.Site, "record": record}); err != nil {
		return t, c, err
	}
	if c, err = criticalOf(ctx, q, a.Site, record); err != nil {
		return t, c, err
	}
	switch {
	case len(c.Sentences) == 0:
		return t, c, refuse(RuleInvalid, "Nothing of this record waits for a second person.")
	case t.PersonID == a.Person:
		return t, c, refuse(RuleNoRight, "You entered this yourself. Another supervisor or engineer confirms it.")
	case !a.Has(Supervisor, Engineer):
		return t, c, refuse(RuleNoRight, "A supervisor or an engineer confirms this.")
	case t.CorrectedBy != "":
		return t, c, refuse(RuleChanged, fmt.Sprintf("%s has corrected this record meanwhile. Look at the correction.", t.CorrectedBy))
	case c.Outcome != "":
		return t, c, refuse(RuleChanged, fmt.Sprintf("%s has %s this already.", c.By, c.Outcome))
	}
	return t, c, nil
}

// Confirm signs what of a record waits for a second person, or declines it with a reason. The signature is bound to the
// record's content; a declined record never counts. Gates follow in the same transaction.
func (db *DB) Confirm(ctx context.Context, a Actor, record uuid.UUID, confirm bool, reason string, proof Proof) error {
	reason = strings.TrimSpace(reason)
	if !confirm && len([]rune(reason)) < 5 {
		return refuse("confirmation_reason_given", constraintSentences["confirmation_reason_given"])
	}
	return asRefusal(db.inTx(ctx, a.Site, func(tx querier) error {
		about, err := one[target](ctx, tx, targetSQL, sqlArgs{"site": a.Site, "record": record})
		if err != nil {
			return err
		}
		parts, err := subjectParts(ctx, tx, a.Site, about.subject())
		if err != nil {
			return err
		}
		if err := lockParts(ctx, tx, a.Site, parts); err != nil {
			return err
		}
		t, c, err := mayConfirm(ctx, tx, a, record)
		if err != nil {
			return err
		}
		outcome, statement := "confirmed", "Confirmed as the second person: "+strings.Join(c.Sentences, " ")
		if !confirm {
			outcome, statement = "declined", "Declined as the second person: "+strings.Join(c.Sentences, " ")
		}
		b := &pgx.Batch{}
		signature, err := db.sign(b, a, proof, "reviewed", statement, confirmationContent(record, t.ContentHash, c.Sentences, outcome, reason))
		if err != nil {
			return err
		}
		b.Queue(`INSERT INTO confirmation (site_id, confirmation_id, record_id, outcome, reason, signature_id, decided_by, decided_at)
			VALUES (@site, @id, @record, @outcome, @reason, @signature, @by, @at)`, sqlArgs{"site": a.Site, "id": NewID(), "record": record, "outcome": outcome,
			"reason": reason, "signature": signature, "by": a.Person, "at": db.Clock()})
		subject := t.subject()
		if err := db.queueEvent(b, a, Event{Verb: "critical value " + outcome, SubjectKind: string(subject.Kind), Subject: subject.ID, Record: record,
			After: map[string]any{"sentences": c.Sentences, "entered_by": t.PersonID, "content_hash": t.ContentHash}, Reason: reason}); err != nil {
			return err
		}
		if err := send(ctx, tx, b); err != nil {
			return fmt.Errorf("confirming record %s: %w", record, err)
		}
		_, err = db.refresh(ctx, tx, a.Site, parts)
		return err
	}))
}
