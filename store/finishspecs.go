package store

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"coatbook/quality"
)

// A SpecHead names one revision of a finish spec and says when it was in force.
type SpecHead struct {
	ID          uuid.UUID  `db:"revision_id"`
	SpecID      uuid.UUID  `db:"spec_id"`
	Code        string     `db:"code"`
	Title       string     `db:"title"`
	Revision    string     `db:"revision"`
	State       string     `db:"state"` // draft, approved, obsolete
	EffectiveAt *time.Time `db:"effective_at"`
	ObsoleteAt  *time.Time `db:"obsolete_at"`
}

// A SpecRevision is one revision of a finish spec. A draft may change; an approved revision never does.
type SpecRevision struct {
	SpecHead
	Body       []byte `db:"body"`
	BodyHash   string `db:"body_hash"`
	DraftedBy  string `db:"drafted_by"`
	ApprovedBy string `db:"approved_by"`
}

// Spec reads the body.
func (r SpecRevision) Spec() (quality.FinishSpec, error) { return quality.DecodeFinishSpec(r.Body) }

const (
	specHead = `SELECT r.revision_id, r.spec_id, f.code, f.title, r.revision, r.state, r.effective_at, r.obsolete_at`
	ofSpec   = `
	FROM finish_spec_revision r
	JOIN finish_spec f ON f.site_id = r.site_id AND f.spec_id = r.spec_id `
	selectSpec = specHead + `, r.body, coalesce(r.body_hash, '') AS body_hash, coalesce(d.name, '') AS drafted_by, coalesce(p.name, '') AS approved_by` + ofSpec + `
	LEFT JOIN person d ON d.site_id = r.site_id AND d.person_id = r.drafted_by
	LEFT JOIN person p ON p.site_id = r.site_id AND p.person_id = r.approved_by `
)

// Specs returns one revision of every finish spec, in order of the code: the approved one, else the draft, else the one
// that became obsolete last.
func (db *DB) Specs(ctx context.Context, site uuid.UUID) ([]SpecRevision, error) {
	specs, err := list[SpecRevision](ctx, db.pool, selectSpec+`
		JOIN (SELECT DISTINCT ON (spec_id) spec_id, revision_id FROM finish_spec_revision WHERE site_id = @site
			ORDER BY spec_id, CASE state WHEN 'approved' THEN 0 WHEN 'draft' THEN 1 ELSE 2 END, revision_id DESC) chosen
			ON chosen.revision_id = r.revision_id
		WHERE r.site_id = @site ORDER BY f.code`, sqlArgs{"site": site})
	if err != nil {
		return nil, fmt.Errorf("finish specs: %w", err)
	}
	return specs, nil
}

// SpecRevisions returns all revisions of one finish spec, newest first, or of all specs when code is empty.
func (db *DB) SpecRevisions(ctx context.Context, site uuid.UUID, code string) ([]SpecRevision, error) {
	revisions, err := list[SpecRevision](ctx, db.pool, selectSpec+`WHERE r.site_id = @site AND (@code = '' OR f.code = @code)
		ORDER BY f.code, r.revision_id DESC`, sqlArgs{"site": site, "code": code})
	if err != nil {
		return nil, fmt.Errorf("revisions of finish spec %q: %w", code, err)
	}
	return revisions, nil
}

// SpecRevision returns one revision.
func (db *DB) SpecRevision(ctx context.Context, site, id uuid.UUID) (SpecRevision, error) {
	return specRevision(ctx, db.pool, site, id, "")
}

func specRevision(ctx context.Context, q querier, site, id uuid.UUID, lock string) (SpecRevision, error) {
	r, err := one[SpecRevision](ctx, q, selectSpec+`WHERE r.site_id = @site AND r.revision_id = @id`+lock, sqlArgs{"site": site, "id": id})
	if err != nil {
		return r, fmt.Errorf("finish spec revision %s: %w", id, err)
	}
	return r, nil
}

// approvedSpec returns the revision of a spec that was in force at an instant, or a Refusal that names the way out.
func (db *DB) approvedSpec(ctx context.Context, q querier, site, specID uuid.UUID, at time.Time) (SpecHead, quality.FinishSpec, error) {
	revisions, err := list[SpecHead](ctx, q, specHead+ofSpec+`WHERE r.site_id = @site AND r.spec_id = @spec`, sqlArgs{"site": site, "spec": specID})
	if err != nil {
		return SpecHead{}, quality.FinishSpec{}, fmt.Errorf("finish spec %s in force: %w", specID, err)
	}
	r, known := inForce(revisions, at)
	if !known {
		return r, quality.FinishSpec{}, noApprovedSpec(ctx, q, site, specID)
	}
	spec, err := db.readSpec(ctx, q, site, r)
	return r, spec, err
}

// partSpecsSQL finds the revisions of the specs that parts follow.
const partSpecsSQL = specHead + ofSpec + `WHERE r.site_id = @site AND r.spec_id IN (SELECT pn.spec_id FROM part p
	JOIN part_number pn ON pn.site_id = p.site_id AND pn.part_number_id = p.part_number_id WHERE p.site_id = @site AND p.part_id = ANY(@parts))`

// inForce chooses the revision of a spec that was in force at an instant, if there was one.
func inForce(revisions []SpecHead, at time.Time) (chosen SpecHead, found bool) {
	for _, r := range revisions {
		if r.EffectiveAt != nil && !r.EffectiveAt.After(at) && (r.ObsoleteAt == nil || r.ObsoleteAt.After(at)) && (!found || r.EffectiveAt.After(*chosen.EffectiveAt)) {
			chosen, found = r, true
		}
	}
	return chosen, found
}

// readSpec returns the body of a revision that is or was in force. Such a body never changes, so it is read once.
func (db *DB) readSpec(ctx context.Context, q querier, site uuid.UUID, r SpecHead) (quality.FinishSpec, error) {
	if known, ok := db.specs.Load(r.ID); ok {
		return known.(quality.FinishSpec), nil
	}
	whole, err := specRevision(ctx, q, site, r.ID, "")
	if err != nil {
		return quality.FinishSpec{}, err
	}
	spec, err := whole.Spec()
	if err != nil {
		return spec, fmt.Errorf("finish spec %s revision %s: %w", r.Code, r.Revision, err)
	}
	db.specs.Store(r.ID, spec)
	return spec, nil
}

// noApprovedSpec words why there is nothing to judge by, after what became of the newest revision.
func noApprovedSpec(ctx context.Context, q querier, site, specID uuid.UUID) error {
	newest, err := one[SpecRevision](ctx, q, selectSpec+`WHERE r.site_id = @site AND r.spec_id = @spec ORDER BY r.revision_id DESC LIMIT 1`,
		sqlArgs{"site": site, "spec": specID})
	if err != nil {
		return fmt.Errorf("finish spec %s: %w", specID, err)
	}
	switch newest.State {
	case "draft":
		return refuse(RuleSpecNotApproved, fmt.Sprintf("Finish spec %s is a draft (revision %s). A quality engineer must approve it under Setup, Specs before it can be used.", newest.Code, newest.Revision))
	case "obsolete":
		return refuse(RuleSpecNotApproved, fmt.Sprintf("Finish spec %s is obsolete (revision %s). A quality engineer must approve a new revision under Setup, Specs, or give the part number another spec.", newest.Code, newest.Revision))
	}
	return refuse(RuleSpecNotApproved, fmt.Sprintf("Finish spec %s was not approved yet at that time. Revision %s is in force since %s.",
		newest.Code, newest.Revision, newest.EffectiveAt.UTC().Format("2006-01-02 15:04 MST")))
}

// AddSpec opens a finish spec with its first draft. What Validate says is no obstacle to a draft, only to its approval.
func (db *DB) AddSpec(ctx context.Context, a Actor, code, title, revision string, spec quality.FinishSpec) (SpecRevision, error) {
	specID, id := NewID(), NewID()
	var added SpecRevision
	err := db.inTx(ctx, a.Site, func(tx querier) error {
		if err := run(ctx, tx, `INSERT INTO finish_spec (site_id, spec_id, code, title) VALUES (@site, @id, @code, @title)`,
			sqlArgs{"site": a.Site, "id": specID, "code": code, "title": title}); err != nil {
			return err
		}
		var err error
		added, err = db.insertDraft(ctx, tx, a, specID, id, revision, spec)
		return err
	})
	return added, err
}

func (db *DB) insertDraft(ctx context.Context, tx querier, a Actor, specID, id uuid.UUID, revision string, spec quality.FinishSpec) (SpecRevision, error) {
	if strings.TrimSpace(revision) == "" {
		return SpecRevision{}, refuse("finish_spec_revision_present", "Give the revision a letter or number, such as A or 1.")
	}
	spec.Version = quality.SpecVersion
	body, err := spec.Encode()
	if err != nil {
		return SpecRevision{}, fmt.Errorf("draft of finish spec %s: %w", specID, err)
	}
	if err := run(ctx, tx, `INSERT INTO finish_spec_revision (site_id, revision_id, spec_id, revision, body, drafted_by)
		VALUES (@site, @id, @spec, @revision, @body, @person)`, sqlArgs{"site": a.Site, "id": id, "spec": specID,
		"revision": revision, "body": body, "person": a.Person}); err != nil {
		return SpecRevision{}, err
	}
	added, err := specRevision(ctx, tx, a.Site, id, "")
	if err != nil {
		return added, err
	}
	return added, db.event(ctx, tx, a, Event{Verb: "spec drafted", SubjectKind: "finish_spec", Subject: specID, Record: id,
		After: specEvent(added, spec)})
}

// specEvent is what an event keeps of a revision.
func specEvent(r SpecRevision, spec quality.FinishSpec) any {
	return struct {
		Code, Title, Revision, State string
		Spec                         quality.FinishSpec
	}{r.Code, r.Title, r.Revision, r.State, spec}
}

// SaveDraft replaces the body of a draft. An approved or obsolete revision is refused.
func (db *DB) SaveDraft(ctx context.Context, a Actor, revisionID uuid.UUID, spec quality.FinishSpec) error {
	spec.Version = quality.SpecVersion
	body, err := spec.Encode()
	if err != nil {
		return fmt.Errorf("draft %s: %w", revisionID, err)
	}
	return db.inTx(ctx, a.Site, func(tx querier) error {
		r, was, err := lockedDraft(ctx, tx, a.Site, revisionID)
		if err != nil {
			return err
		}
		if err := run(ctx, tx, `UPDATE finish_spec_revision SET body = @body WHERE site_id = @site AND revision_id = @id AND state = 'draft'`,
			sqlArgs{"site": a.Site, "id": revisionID, "body": body}); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "spec draft changed", SubjectKind: "finish_spec", Subject: r.SpecID, Record: r.ID,
			Before: specEvent(r, was), After: specEvent(r, spec)})
	})
}

// lockedDraft returns a draft that nobody else can change until the transaction ends.
func lockedDraft(ctx context.Context, tx querier, site, id uuid.UUID) (SpecRevision, quality.FinishSpec, error) {
	r, err := specRevision(ctx, tx, site, id, ` FOR UPDATE OF r, f`)
	if err != nil {
		return r, quality.FinishSpec{}, err
	}
	if r.State != "draft" {
		return r, quality.FinishSpec{}, refuse("spec_frozen", fmt.Sprintf("Revision %s of %s is %s and never changes. Draft a new revision instead.", r.Revision, r.Code, r.State))
	}
	spec, err := r.Spec()
	return r, spec, err
}

// NewRevision drafts the next revision of a spec as a copy of its newest one. A spec has one draft at a time.
func (db *DB) NewRevision(ctx context.Context, a Actor, code, revision string) (SpecRevision, error) {
	var added SpecRevision
	err := db.inTx(ctx, a.Site, func(tx querier) error {
		newest, err := one[SpecRevision](ctx, tx, selectSpec+`WHERE r.site_id = @site AND f.code = @code ORDER BY r.revision_id DESC LIMIT 1 FOR UPDATE OF r, f`,
			sqlArgs{"site": a.Site, "code": code})
		if err != nil {
			return fmt.Errorf("finish spec %q: %w", code, err)
		}
		if newest.State == "draft" {
			return refuse("spec_draft_once", fmt.Sprintf("Revision %s of %s is still a draft. Change that one.", newest.Revision, newest.Code))
		}
		spec, err := newest.Spec()
		if err != nil {
			return err
		}
		added, err = db.insertDraft(ctx, tx, a, newest.SpecID, NewID(), revision, spec)
		return err
	})
	return added, err
}

// ApproveSpec puts a draft into force from now on and makes the revision before it obsolete, signed.
func (db *DB) ApproveSpec(ctx context.Context, a Actor, revisionID uuid.UUID, proof Proof) error {
	return db.inTx(ctx, a.Site, func(tx querier) error {
		r, spec, err := lockedDraft(ctx, tx, a.Site, revisionID)
		if err != nil {
			return err
		}
		if wrong := spec.Validate(); len(wrong) > 0 {
			return refuse("spec_invalid", "The draft cannot be approved yet. "+strings.Join(wrong, " "))
		}
		now := db.Clock()
		if _, err := tx.Exec(ctx, `UPDATE finish_spec_revision SET state = 'obsolete', obsolete_at = @now
			WHERE site_id = @site AND spec_id = @spec AND state = 'approved'`, sqlArgs{"site": a.Site, "spec": r.SpecID, "now": now}); err != nil {
			return err
		}
		// The hash is taken of the text that PostgreSQL keeps, so that it can be checked without this program.
		hash, err := value[string](ctx, tx, `UPDATE finish_spec_revision SET state = 'approved', approved_by = @person, effective_at = @now,
			body_hash = encode(sha256(convert_to(body::text, 'UTF8')), 'hex') WHERE site_id = @site AND revision_id = @id RETURNING body_hash`,
			sqlArgs{"site": a.Site, "id": r.ID, "person": a.Person, "now": now})
		if err != nil {
			return err
		}
		statement := fmt.Sprintf("I approve finish spec %s, revision %s, for use from now on.", r.Code, r.Revision)
		b := &pgx.Batch{}
		if _, err := db.sign(b, a, proof, "approved", statement, approvalContent(r.Code, r.Revision, hash)); err != nil {
			return err
		}
		if err := send(ctx, tx, b); err != nil {
			return fmt.Errorf("signing: %w", err)
		}
		if err := db.settleSeverities(ctx, tx, a, r.SpecID); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "spec approved", SubjectKind: "finish_spec", Subject: r.SpecID, Record: r.ID,
			Before: map[string]string{"State": "draft"}, After: map[string]string{"State": "approved", "Revision": r.Revision, "BodySHA256": hash}})
	})
}

// WithdrawSpec makes the approved revision of a spec obsolete without a successor, for a reason that stays readable.
func (db *DB) WithdrawSpec(ctx context.Context, a Actor, revisionID uuid.UUID, reason string) error {
	if len([]rune(strings.TrimSpace(reason))) < 5 {
		return refuse("reason_given", "Say why the spec is no longer to be used, in a few words.")
	}
	return db.inTx(ctx, a.Site, func(tx querier) error {
		r, err := specRevision(ctx, tx, a.Site, revisionID, ` FOR UPDATE OF r`)
		if err != nil {
			return err
		}
		if r.State != "approved" {
			return refuse("spec_not_in_force", fmt.Sprintf("Revision %s of %s is %s; only an approved revision can be withdrawn.", r.Revision, r.Code, r.State))
		}
		if err := run(ctx, tx, `UPDATE finish_spec_revision SET state = 'obsolete', obsolete_at = @now WHERE site_id = @site AND revision_id = @id`,
			sqlArgs{"site": a.Site, "id": r.ID, "now": db.Clock()}); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "spec withdrawn", SubjectKind: "finish_spec", Subject: r.SpecID, Record: r.ID,
			Before: map[string]string{"State": "approved"}, After: map[string]string{"State": "obsolete"}, Reason: strings.TrimSpace(reason)})
	})
}
