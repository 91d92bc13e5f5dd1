package demoshop

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"coatbook/store"
)

// certifiedFrom is the shop day from which on one customer gets a certificate with each delivery.
const certifiedFrom = Days - 6

// ship sends out what was released up to that morning: one delivery to each customer.
func (s *simulation) ship(ctx context.Context, n int, at time.Time) error {
	if n == 0 || at.After(s.now) {
		return nil
	}
	db, a := s.DB.At(at), s.on("marek", "OFFICE")
	jobs, err := db.JobsToShip(ctx, s.Site.ID)
	if err != nil {
		return err
	}
	jobOf := map[string]string{}
	var customers []string
	for _, j := range jobs {
		if jobOf[j.Customer] == "" {
			customers = append(customers, j.Customer)
		}
		jobOf[j.Customer] = j.Number
	}
	slices.Sort(customers)
	for i, customer := range customers {
		ready, err := db.ReadyToShip(ctx, s.Site.ID, jobOf[customer], true)
		if err != nil {
			return err
		}
		var parts []uuid.UUID
		for _, p := range ready {
			if p.Recall == "" {
				parts = append(parts, p.PartID)
			}
		}
		if len(parts) == 0 {
			continue
		}
		orders := fmt.Sprintf("PO-%d", 5100+10*n+i)
		shipment, err := db.Ship(ctx, a, store.NewShipment{Parts: parts, DeliveryNote: fmt.Sprintf("DN-%05d", 7000+10*n+i), OrderRef: orders, Carrier: "Own lorry"})
		if err != nil {
			return fmt.Errorf("shipping to %s: %w", customer, err)
		}
		if n >= certifiedFrom && customer == s.Products[0].Customers[0] {
			if err := s.certify(ctx, db, a, n, shipment); err != nil {
				return err
			}
		}
	}
	return nil
}

// certify issues the certificate of a delivery. The first one had the wrong order on it and was issued anew.
func (s *simulation) certify(ctx context.Context, db *store.DB, a store.Actor, n int, shipment store.Shipment) error {
	first := store.NewCertificate{Shipment: shipment.ID}
	if n == certifiedFrom {
		first.OrderRef = "PO-9999"
	}
	c, err := db.Certify(ctx, a, first, s.proofs["marek"])
	if err == nil && n == certifiedFrom {
		_, err = db.Certify(ctx, a, store.NewCertificate{Supersedes: c.ID, Code: "wrong_order", Reason: "The order of another delivery was on it.", OrderRef: shipment.OrderRef}, s.proofs["marek"])
	}
	if err != nil {
		return fmt.Errorf("certificate of %s: %w", shipment.Number, err)
	}
	return nil
}
