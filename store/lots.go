package store

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// A PowderLot is one delivery of a powder. The dates are midnight UTC of their day.
type PowderLot struct {
	ID          uuid.UUID `db:"lot_id"`
	PowderID    uuid.UUID `db:"powder_id"`
	PowderCode  string    `db:"powder_code"`
	PowderName  string    `db:"powder_name"`
	LotNumber   string    `db:"lot_number"`
	MadeOn      time.Time `db:"made_on"`
	ReceivedOn  time.Time `db:"received_on"`
	ExpiresOn   time.Time `db:"expires_on"`
	QuantityKg  float64   `db:"quantity_kg"`
	Certificate string    `db:"certificate"`
	Status      string    `db:"status"` // accepted, held, rejected
}

const selectLot = `SELECT l.lot_id, l.powder_id, p.code AS powder_code, p.name AS powder_name, l.lot_number, l.made_on, l.received_on,
	l.expires_on, l.quantity_kg, l.certificate, l.status
	FROM powder_lot l JOIN powder p ON p.site_id = l.site_id AND p.powder_id = l.powder_id `

// PowderLots returns all lots of a site, the one that expires last first.
func (db *DB) PowderLots(ctx context.Context, site uuid.UUID) ([]PowderLot, error) {
	lots, err := list[PowderLot](ctx, db.pool, selectLot+`WHERE l.site_id = @site ORDER BY l.expires_on DESC, l.lot_number`,
		pgx.StrictNamedArgs{"site": site})
	if err != nil {
		return nil, fmt.Errorf("powder lots: %w", err)
	}
	return lots, nil
}

// PowderLot returns one lot.
func (db *DB) PowderLot(ctx context.Context, site, id uuid.UUID) (PowderLot, error) {
	return powderLot(ctx, db.pool, site, id)
}

func powderLot(ctx context.Context, q querier, site, id uuid.UUID) (PowderLot, error) {
	l, err := one[PowderLot](ctx, q, selectLot+`WHERE l.site_id = @site AND l.lot_id = @id`, pgx.StrictNamedArgs{"site": site, "id": id})
	if err != nil {
		return l, fmt.Errorf("powder lot %s: %w", id, err)
	}
	return l, nil
}

// PowderLotByNumber returns the lot with the number on its box.
func (db *DB) PowderLotByNumber(ctx context.Context, site uuid.UUID, number string) (PowderLot, error) {
	l, err := one[PowderLot](ctx, db.pool, selectLot+`WHERE l.site_id = @site AND l.lot_number = @number`,
		pgx.StrictNamedArgs{"site": site, "number": number})
	if err != nil {
		return l, fmt.Errorf("powder lot %q: %w", number, err)
	}
	return l, nil
}

// AddPowderLot records a delivery. Without a status it is accepted.
func (db *DB) AddPowderLot(ctx context.Context, a Actor, l PowderLot) (PowderLot, error) {
	l.ID = NewID()
	if l.Status == "" {
		l.Status = "accepted"
	}
	err := db.inTx(ctx, a.Site, func(tx pgx.Tx) error {
		if err := run(ctx, tx, `INSERT INTO powder_lot (site_id, lot_id, powder_id, lot_number, made_on, received_on, expires_on, quantity_kg, certificate, status)
			VALUES (@site, @id, @powder, @number, @made, @received, @expires, @kg, @certificate, @status)`, pgx.StrictNamedArgs{
			"site": a.Site, "id": l.ID, "powder": l.PowderID, "number": l.LotNumber, "made": l.MadeOn, "received": l.ReceivedOn,
			"expires": l.ExpiresOn, "kg": l.QuantityKg, "certificate": l.Certificate, "status": l.Status}); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "powder lot received", SubjectKind: "powder_lot", Subject: l.ID, After: l})
	})
	if err != nil {
		return PowderLot{}, err
	}
	return db.PowderLot(ctx, a.Site, l.ID)
}

// SetLotStatus accepts, holds or rejects a lot from now on, for a reason that stays readable.
func (db *DB) SetLotStatus(ctx context.Context, a Actor, id uuid.UUID, status, reason string) error {
	if len([]rune(strings.TrimSpace(reason))) < 5 {
		return refuse("reason_given", "Say why the lot's status changes, in a few words.")
	}
	return db.inTx(ctx, a.Site, func(tx pgx.Tx) error {
		before, err := powderLot(ctx, tx, a.Site, id)
		if err != nil {
			return err
		}
		if err := run(ctx, tx, `UPDATE powder_lot SET status = @status WHERE site_id = @site AND lot_id = @id`,
			pgx.StrictNamedArgs{"site": a.Site, "id": id, "status": status}); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "powder lot " + status, SubjectKind: "powder_lot", Subject: id,
			Before: map[string]string{"Status": before.Status}, After: map[string]string{"Status": status}, Reason: strings.TrimSpace(reason)})
	})
}
