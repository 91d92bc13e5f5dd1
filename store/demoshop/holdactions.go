package demoshop

import (
	"context"
	"fmt"
	"time"

	"coatbook/store"
)

// actOnHolds is what the engineer entered on the recall's hold that morning, due in four days and not checked since.
func (s *simulation) actOnHolds(ctx context.Context, at time.Time) error {
	if s.recall == "" || at.After(s.now) {
		return nil
	}
	db := s.DB.At(at)
	recall, err := db.RecallByNumber(ctx, s.Site.ID, s.recall)
	if err != nil || !recall.HoldID.Valid {
		return err
	}
	engineer := s.on("nadia", "OFFICE")
	if err := db.EnterAction(ctx, engineer, recall.HoldID.UUID, store.NewHoldAction{Cause: "The gauge was dropped and read high; nobody reported the drop.",
		Action: "Every drop is reported on the gauge's page at once; shown to all three shifts.", Owner: engineer.Person, Due: at.AddDate(0, 0, 4), Effective: store.EffectPending}); err != nil {
		return fmt.Errorf("action on the hold of %s: %w", s.recall, err)
	}
	return nil
}
