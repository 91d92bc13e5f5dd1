package store

import (
	"context"
	"fmt"
	"strings"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// A NewReturn is what a customer sends back of one shipment.
type NewReturn struct {
	Shipment uuid.UUID
	Parts    []uuid.UUID
	Reason   string
}

// TakeReturn takes shipped parts back into the house by signature and puts them on hold. Their release ends; after the
// decision on the hold they need a new one. It returns the number of the hold.
func (db *DB) TakeReturn(ctx context.Context, a Actor, r NewReturn, proof Proof) (hold string, err error) {
	r.Reason = strings.TrimSpace(r.Reason)
	if err := mayCertify(a, "takes parts back"); err != nil {
		return "", err
	}
	switch {
	case len(r.Parts) == 0:
		return "", refuse(RuleNoParts, "Choose at least one part.")
	case len([]rune(r.Reason)) < 5:
		return "", refuse("shipment_return_reason_given", constraintSentences["shipment_return_reason_given"])
	}
	err = db.inTx(ctx, a.Site, func(tx querier) error {
		hold, err = db.takeReturn(ctx, tx, a, r, proof)
		return err
	})
	return hold, err
}

func (db *DB) takeReturn(ctx context.Context, tx querier, a Actor, r NewReturn, proof Proof) (string, error) {
	st, err := site(ctx, tx, a.Site)
	if err != nil {
		return "", err
	}
	if err := lockParts(ctx, tx, a.Site, r.Parts); err != nil {
		return "", err
	}
	s, err := one[Shipment](ctx, tx, shipmentSQL+` AND s.shipment_id = @shipment`, sqlArgs{"site": a.Site, "shipment": r.Shipment})
	if err != nil {
		return "", err
	}
	out, err := column[uuid.UUID](ctx, tx, `SELECT sp.part_id FROM shipment_part sp WHERE sp.site_id = @site AND sp.shipment_id = @shipment AND sp.part_id = ANY(@parts) AND `+notReturned,
		sqlArgs{"site": a.Site, "shipment": r.Shipment, "parts": r.Parts})
	if err != nil {
		return "", err
	}
	all, err := db.standings(ctx, tx, a.Site, r.Parts)
	if err != nil {
		return "", err
	}
	isOut := map[uuid.UUID]bool{}
	for _, id := range out {
		isOut[id] = true
	}
	for _, p := range all {
		if !isOut[p.PartID] {
			return "", refuse(RuleChanged, fmt.Sprintf("Part %s is not out with %s: it came back already, or left with another shipment. Reload the page.", p.Serial, s.Number))
		}
		p.Shipped, p.Released, p.Status = false, false, StatusInProgress
	}
	if len(all) != len(r.Parts) {
		return "", fmt.Errorf("a part of %s: %w", s.Number, ErrNotFound)
	}
	holdID := NewID()
	hold, err := db.openHoldAs(ctx, tx, a, st, holdID, "Came back from "+s.Customer+": "+r.Reason, fmt.Sprintf("Shipment %s, delivery note %s", s.Number, s.DeliveryNote), uuid.Nil, all)
	if err != nil {
		return "", err
	}
	b := &pgx.Batch{}
	day, _ := st.ShopDay(db.Clock())
	for _, p := range all {
		id := NewID()
		signature, err := db.sign(b, a, proof, "performed", fmt.Sprintf("Took part %s back from %s, shipment %s: %s", p.Serial, s.Customer, s.Number, r.Reason), returnContent(r.Shipment, p.PartID, r.Reason))
		if err != nil {
			return "", err
		}
		b.Queue(`INSERT INTO shipment_return (site_id, return_id, shipment_id, part_id, reason, hold_id, signature_id, taken_by, taken_at, shop_day)
			VALUES (@site, @id, @shipment, @part, @reason, @hold, @signature, @by, @at, @day)`, sqlArgs{"site": a.Site, "id": id, "shipment": r.Shipment, "part": p.PartID,
			"reason": r.Reason, "hold": holdID, "signature": signature, "by": a.Person, "at": db.Clock(), "day": day})
		b.Queue(`INSERT INTO release_void (site_id, release_id, return_id, voided_at)
			SELECT rl.site_id, rl.release_id, @id, @at FROM release rl WHERE rl.site_id = @site AND rl.part_id = @part
			AND NOT EXISTS (SELECT 1 FROM release_void v WHERE v.site_id = rl.site_id AND v.release_id = rl.release_id)`,
			sqlArgs{"site": a.Site, "id": id, "part": p.PartID, "at": db.Clock()})
		if err := db.queueEvent(b, a, Event{Verb: "came back", SubjectKind: "part", Subject: p.PartID, Before: map[string]string{"status": StatusShipped, "shipment": s.Number},
			After: map[string]string{"hold": hold}, Reason: r.Reason}); err != nil {
			return "", err
		}
	}
	if err := send(ctx, tx, b); err != nil {
		return "", fmt.Errorf("taking parts of %s back: %w", s.Number, err)
	}
	_, err = db.refresh(ctx, tx, a.Site, r.Parts)
	return hold, err
}
