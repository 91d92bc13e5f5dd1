package store

import (
	"context"
	"encoding/json"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"coatbook/quality"
)

// Release releases parts through their open gates with one act of signing, wholly or not at all. Each part gets its own
// signature over its own evidence.
func (db *DB) Release(ctx context.Context, a Actor, parts []uuid.UUID, proof Proof) error {
	if len(parts) == 0 {
		return refuse(RuleInvalid, "Choose at least one part.")
	}
	return db.inTx(ctx, a.Site, func(tx querier) error {
		st, err := site(ctx, tx, a.Site)
		if err != nil {
			return err
		}
		articles, err := articleParts(ctx, tx, a.Site, parts)
		if err != nil {
			return err
		}
		if err := lockParts(ctx, tx, a.Site, append(articles, parts...)); err != nil {
			return err
		}
		all, err := db.standings(ctx, tx, a.Site, parts)
		if err != nil {
			return err
		}
		if len(all) != len(parts) {
			return ErrNotFound
		}
		specs, err := db.specsOf(ctx, tx, a.Site, all)
		if err != nil {
			return err
		}
		b := &pgx.Batch{}
		var events []Event
		for _, s := range all {
			events = append(events, Event{Verb: "released", SubjectKind: "part", Subject: s.PartID, Before: map[string]string{"status": s.Status},
				After: map[string]any{"status": StatusReleased, "cycle": s.Cycle}})
			if err := db.releaseOne(b, a, st, s, specs[s.SpecID], proof); err != nil {
				return err
			}
		}
		if err := db.releaseWaits(ctx, tx, a.Site, all, specs); err != nil {
			return err
		}
		if err := db.queueEvent(b, a, events...); err != nil {
			return err
		}
		db.queueSettle(b, a.Site, all, specs)
		if err := send(ctx, tx, b); err != nil {
			return fmt.Errorf("releasing %d parts: %w", len(all), err)
		}
		return nil
	})
}

func (db *DB) releaseOne(b *pgx.Batch, a Actor, st Site, s *standing, spec quality.FinishSpec, proof Proof) error {
	items := s.gate(spec)
	if err := mayRelease(a, s, spec, items); err != nil {
		return err
	}
	gate, err := json.Marshal(items)
	if err != nil {
		return fmt.Errorf("gate of %s: %w", s.Serial, err)
	}
	signature, err := db.sign(b, a, proof, "released", fmt.Sprintf("Released part %s in cycle %d: every requirement of its spec is met or under concession.", s.Serial, s.Cycle),
		releaseContent(s.PartID, s.Cycle, items))
	if err != nil {
		return err
	}
	day, shift := st.ShopDay(db.Clock())
	id := NewID()
	b.Queue(`INSERT INTO release (site_id, release_id, part_id, cycle, signature_id, released_by, released_at, shop_day, shift, gate)
		VALUES (@site, @id, @part, @cycle, @signature, @by, @at, @day, @shift, @gate)`, sqlArgs{"site": a.Site, "id": id, "part": s.PartID,
		"cycle": s.Cycle, "signature": signature, "by": a.Person, "at": db.Clock(), "day": day, "shift": shift, "gate": gate})
	s.Released = true
	return nil
}

// mayRelease refuses a part whose gate is not open, naming what it still asks for.
func mayRelease(a Actor, s *standing, spec quality.FinishSpec, items []quality.Item) error {
	switch {
	case finished[s.Status] && (s.Status != StatusShipped || s.Released):
		return refuse(RuleFinished, fmt.Sprintf("Part %s is %s already.", s.Serial, s.Status))
	case s.OpenHolds > 0:
		return refuse(RuleOnHold, fmt.Sprintf("Part %s is on hold. A supervisor decides first, on the Holds page.", s.Serial))
	case !quality.Open(items):
		for _, item := range items {
			if item.State != quality.Met && item.State != quality.Waived {
				return refuse(RuleGateClosed, fmt.Sprintf("Part %s cannot be released: %s", s.Serial, item.Sentence))
			}
		}
		return refuse(RuleGateClosed, fmt.Sprintf("Part %s cannot be released: its finish spec has no approved revision.", s.Serial))
	}
	if spec.ReleaserNotSoleInspector {
		sole := true
		for _, e := range s.evidence {
			sole = sole && (e.Superseded || e.Kind.IsRun() || e.Person == a.Person.String())
		}
		if sole {
			return refuse(RuleSameInspector, fmt.Sprintf("You made every check of part %s, and its spec asks for a second person to release it.", s.Serial))
		}
	}
	return nil
}

// releaseWaits refuses the release of parts whose gates are open while something outside their own evidence is open: a recall
// in which nobody has decided on them, or the first article that stands for them.
func (db *DB) releaseWaits(ctx context.Context, q querier, site uuid.UUID, all []*standing, specs map[uuid.UUID]quality.FinishSpec) error {
	type recalled struct {
		Serial string `db:"serial"`
		Recall string `db:"recall"`
	}
	open, err := list[recalled](ctx, q, `SELECT p.serial, x.recall FROM part p CROSS JOIN LATERAL (SELECT `+undecidedRecall+` AS recall) x
		WHERE p.site_id = @site AND p.part_id = ANY(@parts) AND x.recall <> '' ORDER BY p.serial LIMIT 1`, sqlArgs{"site": site, "parts": idsOf(all)})
	if err != nil {
		return fmt.Errorf("recalls of parts to release: %w", err)
	}
	for _, r := range open {
		return refuse(RuleUndecided, fmt.Sprintf("Part %s is in recall %s without a decision and cannot be released. Decide on it on the Recalls page first.", r.Serial, r.Recall))
	}
	return db.seriesRelease(ctx, q, site, all, specs)
}

// ReleaseWaits says why a part whose gate is open cannot be released yet, empty where it can.
func (db *DB) ReleaseWaits(ctx context.Context, site, part uuid.UUID) (string, error) {
	all, err := db.standings(ctx, db.pool, site, []uuid.UUID{part})
	if err != nil {
		return "", err
	}
	specs, err := db.specsOf(ctx, db.pool, site, all)
	if err != nil {
		return "", err
	}
	err = db.releaseWaits(ctx, db.pool, site, all, specs)
	if refusal, ok := err.(*Refusal); ok {
		return refusal.Sentence, nil
	}
	return "", err
}
