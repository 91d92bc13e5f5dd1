package store

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
)

// The answers to whether an action removed its cause.
const (
	EffectPending = "pending"
	EffectYes     = "yes"
	EffectNo      = "no"
)

// A HoldAction is what is done about the cause of a hold, as one entry said it. The entries of a hold are numbered from 1;
// the latest counts and the earlier ones stay readable.
type HoldAction struct {
	HoldID    uuid.UUID `db:"hold_id"`
	Hold      string    `db:"hold"`
	Version   int       `db:"version"`
	Cause     string    `db:"cause"`
	Action    string    `db:"action"`
	OwnerID   uuid.UUID `db:"owner_id"`
	Owner     string    `db:"owner"`
	Due       time.Time `db:"due"`
	Effective string    `db:"effective"`
	Evidence  string    `db:"evidence"`
	Closed    bool      `db:"closed"`
	By        string    `db:"by"`
	At        time.Time `db:"entered_at"`
}

// Overdue reports whether the action is still open after its due day. today is the site's shop day.
func (a HoldAction) Overdue(today time.Time) bool { return !a.Closed && today.After(a.Due) }

const holdActionSQL = `SELECT x.hold_id, h.number AS hold, x.version, x.cause, x.action, x.owner_id, o.name AS owner, x.due, x.effective, x.evidence, x.closed, p.name AS by, x.entered_at
	FROM hold_action x JOIN hold h ON h.site_id = x.site_id AND h.hold_id = x.hold_id
	JOIN person o ON o.site_id = x.site_id AND o.person_id = x.owner_id
	JOIN person p ON p.site_id = x.site_id AND p.person_id = x.entered_by
	WHERE x.site_id = @site`

// HoldActions returns what was entered on the action of a hold, the latest first.
func (db *DB) HoldActions(ctx context.Context, site, hold uuid.UUID) ([]HoldAction, error) {
	return list[HoldAction](ctx, db.pool, holdActionSQL+` AND x.hold_id = @hold ORDER BY x.version DESC`, sqlArgs{"site": site, "hold": hold})
}

// OpenActions returns the actions that are not closed, the earliest due first.
func (db *DB) OpenActions(ctx context.Context, site uuid.UUID) ([]HoldAction, error) {
	return list[HoldAction](ctx, db.pool, holdActionSQL+` AND NOT x.closed
		AND NOT EXISTS (SELECT 1 FROM hold_action n WHERE n.site_id = x.site_id AND n.hold_id = x.hold_id AND n.version > x.version)
		ORDER BY x.due, h.number`, sqlArgs{"site": site})
}

// A NewHoldAction is what is entered of an action. After is the number of the entry that it was made from, 0 for the first.
type NewHoldAction struct {
	After     int
	Cause     string
	Action    string
	Owner     uuid.UUID
	Due       time.Time
	Effective string
	Evidence  string
	Close     bool
}

func (n *NewHoldAction) check(a Actor) error {
	n.Cause, n.Action, n.Evidence = strings.TrimSpace(n.Cause), strings.TrimSpace(n.Action), strings.TrimSpace(n.Evidence)
	short := func(text string) bool { return len([]rune(text)) < 5 }
	var rule string
	switch {
	case !a.Has(Supervisor, Engineer):
		return refuse(RuleNoRight, "A supervisor or an engineer enters the action on a hold.")
	case short(n.Cause):
		rule = "hold_action_cause_given"
	case short(n.Action):
		rule = "hold_action_action_given"
	case n.Owner == uuid.Nil:
		rule = "hold_action_owner_fkey"
	case n.Due.IsZero():
		return refuse(RuleInvalid, "Enter the day by which it is done.")
	case !slices.Contains([]string{EffectPending, EffectYes, EffectNo}, n.Effective):
		rule = "hold_action_effective_known"
	case n.Effective != EffectPending && short(n.Evidence):
		rule = "hold_action_evidence_given"
	case n.Close && n.Effective == EffectNo:
		return refuse("hold_action_closed_effective", "An action that did not work does not close. Enter what is done further, with a new due date.")
	case n.Close && n.Effective != EffectYes:
		rule = "hold_action_closed_effective"
	default:
		return nil
	}
	return refuse(rule, constraintSentences[rule])
}

// EnterAction writes the next entry of a hold's action. It closes the action only with a check that it worked. An entry made
// from another one than the latest is refused, so that nobody overwrites what they have not seen.
func (db *DB) EnterAction(ctx context.Context, a Actor, hold uuid.UUID, n NewHoldAction) error {
	if err := n.check(a); err != nil {
		return err
	}
	return db.inTx(ctx, a.Site, func(tx querier) error {
		before, err := one[HoldAction](ctx, tx, holdActionSQL+` AND x.hold_id = @hold ORDER BY x.version DESC LIMIT 1`, sqlArgs{"site": a.Site, "hold": hold})
		if err != nil && !errors.Is(err, ErrNotFound) {
			return err
		}
		switch {
		case before.Closed:
			return refuse(RuleChanged, fmt.Sprintf("The action on %s was closed by %s. Open a further hold if the cause is back.", before.Hold, before.By))
		case before.Version != n.After:
			return refuse(RuleChanged, fmt.Sprintf("%s has changed the action on %s meanwhile. Look at that entry first; nothing of yours was stored.", before.By, before.Hold))
		}
		if active, err := value[bool](ctx, tx, `SELECT active FROM person WHERE site_id = @site AND person_id = @owner`, sqlArgs{"site": a.Site, "owner": n.Owner}); err != nil || !active {
			return refuse("hold_action_owner_fkey", constraintSentences["hold_action_owner_fkey"])
		}
		due := n.Due.Format(time.DateOnly)
		if err := run(ctx, tx, `INSERT INTO hold_action (site_id, entry_id, hold_id, version, cause, action, owner_id, due, effective, evidence, closed, entered_by, entered_at)
			VALUES (@site, @id, @hold, @version, @cause, @action, @owner, @due::date, @effective, @evidence, @closed, @by, @at)`, sqlArgs{"site": a.Site, "id": NewID(),
			"hold": hold, "version": n.After + 1, "cause": n.Cause, "action": n.Action, "owner": n.Owner, "due": due, "effective": n.Effective, "evidence": n.Evidence,
			"closed": n.Close, "by": a.Person, "at": db.Clock()}); err != nil {
			return err
		}
		verb := "action changed"
		var was any
		switch {
		case n.Close:
			verb = "action closed"
		case n.After == 0:
			verb = "action entered"
		}
		if n.After > 0 {
			was = map[string]any{"cause": before.Cause, "action": before.Action, "owner": before.OwnerID, "due": before.Due.Format(time.DateOnly), "effective": before.Effective, "evidence": before.Evidence}
		}
		return db.event(ctx, tx, a, Event{Verb: verb, SubjectKind: "hold", Subject: hold, Before: was,
			After: map[string]any{"cause": n.Cause, "action": n.Action, "owner": n.Owner, "due": due, "effective": n.Effective, "evidence": n.Evidence, "version": n.After + 1}})
	})
}
