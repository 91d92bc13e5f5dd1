package store

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
)

// A MaterialLot is one delivery of a material. The dates are midnight UTC of their day; what the box does not say is nil.
type MaterialLot struct {
	ID           uuid.UUID  `db:"lot_id"`
	MaterialID   uuid.UUID  `db:"material_id"`
	Kind         string     `db:"kind"`
	MaterialCode string     `db:"material_code"`
	MaterialName string     `db:"material_name"`
	LotNumber    string     `db:"lot_number"`
	MadeOn       *time.Time `db:"made_on"`
	ReceivedOn   time.Time  `db:"received_on"`
	ExpiresOn    *time.Time `db:"expires_on"`
	Quantity     float64    `db:"quantity"`
	Unit         string     `db:"unit"` // kg, L, m, pcs
	// StorageMaxC is the warmest storage printed on the box, where it is not the product's.
	StorageMaxC     *float64 `db:"storage_max_c"`
	Certificate     string   `db:"certificate"`      // its number
	CertificateFile string   `db:"certificate_file"` // where it can be read
	Status          string   `db:"status"`           // accepted, held, rejected
}

const selectLot = `SELECT l.lot_id, l.material_id, l.kind, p.code AS material_code, p.name AS material_name, l.lot_number, l.made_on::timestamptz AS made_on,
	l.received_on, l.expires_on::timestamptz AS expires_on, l.quantity, l.unit, l.storage_max_c, l.certificate, l.certificate_file, l.status
	FROM material_lot l JOIN material p ON p.site_id = l.site_id AND p.material_id = l.material_id `

// MaterialLots returns the lots of a site, of the given kinds or all, the one that expires last first; what does not expire
// stands before.
func (db *DB) MaterialLots(ctx context.Context, site uuid.UUID, kinds ...string) ([]MaterialLot, error) {
	lots, err := list[MaterialLot](ctx, db.pool, selectLot+`WHERE l.site_id = @site AND (cardinality(@kinds::text[]) = 0 OR l.kind = ANY(@kinds))
		ORDER BY l.expires_on DESC NULLS FIRST, l.lot_number`, sqlArgs{"site": site, "kinds": append([]string{}, kinds...)})
	if err != nil {
		return nil, fmt.Errorf("lots: %w", err)
	}
	return lots, nil
}

// MaterialLot returns one lot.
func (db *DB) MaterialLot(ctx context.Context, site, id uuid.UUID) (MaterialLot, error) {
	return materialLot(ctx, db.pool, site, id)
}

func materialLot(ctx context.Context, q querier, site, id uuid.UUID) (MaterialLot, error) {
	l, err := one[MaterialLot](ctx, q, selectLot+`WHERE l.site_id = @site AND l.lot_id = @id`, sqlArgs{"site": site, "id": id})
	if err != nil {
		return l, fmt.Errorf("lot %s: %w", id, err)
	}
	return l, nil
}

// MaterialLotByNumber returns the lot with the number on its box.
func (db *DB) MaterialLotByNumber(ctx context.Context, site uuid.UUID, number string) (MaterialLot, error) {
	l, err := one[MaterialLot](ctx, db.pool, selectLot+`WHERE l.site_id = @site AND l.lot_number = @number`,
		sqlArgs{"site": site, "number": number})
	if err != nil {
		return l, fmt.Errorf("lot %q: %w", number, err)
	}
	return l, nil
}

// AddMaterialLot records a delivery of a material. Its kind is the material's; without a status it is accepted, without a
// unit it is in kg.
func (db *DB) AddMaterialLot(ctx context.Context, a Actor, l MaterialLot) (MaterialLot, error) {
	l.ID, l.Status, l.Unit = NewID(), cmp.Or(l.Status, "accepted"), cmp.Or(l.Unit, "kg")
	err := db.inTx(ctx, a.Site, func(tx querier) error {
		m, err := one[Material](ctx, tx, materialSQL+` AND material_id = @id`,
			sqlArgs{"site": a.Site, "id": l.MaterialID})
		if errors.Is(err, ErrNotFound) {
			return refuse("material_lot_material_fkey", constraintSentences["material_lot_material_fkey"])
		}
		if err != nil {
			return err
		}
		l.Kind, l.MaterialCode, l.MaterialName = m.Kind, m.Code, m.Name
		if err := run(ctx, tx, `INSERT INTO material_lot (site_id, lot_id, material_id, kind, lot_number, made_on, received_on, expires_on, quantity, unit,
				storage_max_c, certificate, certificate_file, status)
			VALUES (@site, @id, @material, @kind, @number, @made, @received, @expires, @quantity, @unit, @storage, @certificate, @file, @status)`, sqlArgs{
			"site": a.Site, "id": l.ID, "material": l.MaterialID, "kind": l.Kind, "number": l.LotNumber, "made": l.MadeOn, "received": l.ReceivedOn,
			"expires": l.ExpiresOn, "quantity": l.Quantity, "unit": l.Unit, "storage": l.StorageMaxC, "certificate": l.Certificate, "file": l.CertificateFile,
			"status": l.Status}); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: MaterialKindNames[l.Kind] + " lot received", SubjectKind: "material_lot", Subject: l.ID, After: l})
	})
	if err != nil {
		return MaterialLot{}, err
	}
	return db.MaterialLot(ctx, a.Site, l.ID)
}
