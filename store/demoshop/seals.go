package demoshop

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"time"

	"coatbook/store"
)

// A KeyMaker makes the key that the demo shop's days are sealed with and registers it in db.
type KeyMaker func(db *store.DB, site store.Site) (ed25519.PrivateKey, error)

// unreviewed is how many of the last sealed days wait for their review.
const unreviewed = 2

// seal seals what closed before an instant.
func (s *simulation) seal(ctx context.Context, before time.Time) error {
	_, err := s.DB.At(before).SealDays(ctx, s.Site.ID, s.key)
	return err
}

// review is the supervisor's first look in the morning of a shop day: at the sealed days that nobody has reviewed. What they
// had a hand in themselves is left to the engineer.
func (s *simulation) review(ctx context.Context, morning time.Time) error {
	db := s.DB.At(morning)
	days, err := db.SealedDays(ctx, s.Site.ID, 3)
	if err != nil {
		return err
	}
	for i := len(days) - 1; i >= 0; i-- {
		if days[i].Reviewed() {
			continue
		}
		err := db.SignReview(ctx, s.on("marek", "OFFICE"), days[i].ShopDay, "", s.proofs["marek"])
		var refused *store.Refusal
		if errors.As(err, &refused) && refused.Rule == store.RuleOwnChanges {
			nadia := s.on("nadia", "OFFICE")
			err = db.SignReview(ctx, nadia, days[i].ShopDay, "", s.proofs["nadia"])
		}
		if err != nil {
			return fmt.Errorf("review of %s: %w", days[i].ShopDay.Format(time.DateOnly), err)
		}
	}
	return nil
}
