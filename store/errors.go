package store

import (
	"errors"
	"strings"

	"github.com/jackc/pgx/v5/pgconn"
)

type commandTag = pgconn.CommandTag

// ErrNotFound is returned when the site has no such thing.
var ErrNotFound = errors.New("store: not found")

// A Refusal is a rule of the book that keeps something from being done. Sentence says what and names the way out. Rule is
// a constant of this package or the name of a constraint of the schema.
type Refusal struct {
	Rule     string
	Sentence string
	// MayOverride is set when a supervisor may authorise the exception, with a reason that shows on the part.
	MayOverride bool
}

func (r *Refusal) Error() string { return "refused (" + r.Rule + "): " + r.Sentence }

// The rules that are not constraints of the schema.
const (
	RuleSpecNotApproved   = "spec_not_approved"
	RuleNotQualified      = "not_qualified"
	RuleGaugeMissing      = "gauge_missing"
	RuleGaugeOverdue      = "gauge_overdue"
	RuleGaugeUnverified   = "gauge_unverified"
	RuleGaugeFailed       = "gauge_failed"
	RuleGaugeRange        = "gauge_range"
	RuleGaugeAlloy        = "gauge_alloy"
	RuleAsFound           = "as_found_missing"
	RuleCalibration       = "calibration_incomplete"
	RuleUndecided         = "undecided"
	RuleLotMissing        = "lot_missing"
	RuleLotExpired        = "lot_expired"
	RuleLotRejected       = "lot_rejected"
	RuleBathUnchecked     = "bath_unchecked"
	RuleStepMissing       = "step_missing"
	RuleOnHold            = "on_hold"
	RuleFinished          = "finished"
	RuleNoParts           = "no_parts"
	RuleMixed             = "mixed"
	RuleLate              = "late_without_reason"
	RuleFuture            = "observed_in_future"
	RuleSameID            = "same_id_other_content"
	RuleGateClosed        = "gate_closed"
	RuleSameInspector     = "same_inspector"
	RuleCycles            = "cycles_used_up"
	RuleChanged           = "changed_meanwhile"
	RuleWrongSecret       = "wrong_secret"
	RuleLocked            = "locked"
	RuleNotSigner         = "not_the_signer"
	RuleNoRight           = "no_right"
	RuleConcession        = "concession_incomplete"
	RuleInvalid           = "invalid"
	RuleLoggerFile        = "logger_file"
	RuleFile              = "file"
	RuleUsedBefore        = "used_before"
	RuleInvitationExpired = "invitation_expired"
	RuleWeakSecret        = "weak_secret"
	RuleSecondFactor      = "second_factor"
	RuleNotSealed         = "not_sealed"
	RuleOwnChanges        = "own_changes"
	RuleFirstArticle      = "first_article_due"
	RulePanelLoose        = "panel_not_on_load"
	RuleConditions        = "conditions_missing"
	RuleWindow            = "cure_window_typed"
	RuleStopped           = "inspection_stopped"
)

func refuse(rule, sentence string) *Refusal { return &Refusal{Rule: rule, Sentence: sentence} }

func refuseUnlessAuthorised(rule, sentence string) *Refusal {
	return &Refusal{Rule: rule, Sentence: sentence, MayOverride: true}
}

// asRefusal turns a violated constraint into a Refusal by its name, which comes from the driver's fields and never from
// the text of the message. Other errors pass through.
func asRefusal(err error) error {
	var pg *pgconn.PgError
	if !errors.As(err, &pg) || pg.ConstraintName == "" {
		return err
	}
	if sentence, ok := constraintSentences[pg.ConstraintName]; ok {
		return refuse(pg.ConstraintName, sentence)
	}
	return err
}

const uniqueViolation = "23505" // PostgreSQL documentation, appendix A

// cameTwice reports whether err is a violation of a primary key: the keys of a record and of its lines begin with an id that was
// made where the entry was, so that another request has written the same entry.
func cameTwice(err error) bool {
	var pg *pgconn.PgError
	return errors.As(err, &pg) && pg.Code == uniqueViolation && strings.HasSuffix(pg.ConstraintName, "_pkey")
}

// violates reports whether err is a violation of the named constraint or unique index.
func violates(err error, constraint string) bool {
	var pg *pgconn.PgError
	return errors.As(err, &pg) && pg.ConstraintName == constraint
}
