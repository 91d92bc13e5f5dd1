package demoshop

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
)

// decideRecall is the morning after the gauge failed: the engineer calibrates it as found and as left, and decides on the
// first parts. The others wait, for whoever opens the demo.
func (s *simulation) decideRecall(ctx context.Context, at time.Time) error {
	if s.recall == "" || at.After(s.now) {
		return nil
	}
	if err := s.calibrate(ctx, at.Add(-30*time.Minute), "EC-04"); err != nil {
		return err
	}
	db, engineer := s.DB.At(at), s.on("nadia", "OFFICE")
	recall, err := db.RecallByNumber(ctx, s.Site.ID, s.recall)
	if err != nil {
		return err
	}
	lines, err := db.RecallLines(ctx, s.Site.ID, recall.ID)
	if err != nil {
		return err
	}
	var told []uuid.UUID
	for _, l := range lines {
		if l.Now == store.StatusReleased && len(told) < 4 {
			told = append(told, l.PartID)
		}
	}
	if len(told) == 0 {
		return nil
	}
	if err := db.DecideRecall(ctx, engineer, recall.ID, store.RecallDecision{Parts: told, Code: "no_effect",
		Reason: "The gauge read 4 µm high at most; these parts stay over the minimum with 5 µm taken off every reading."}, s.proofs["nadia"]); err != nil {
		return fmt.Errorf("deciding on %s: %w", s.recall, err)
	}
	return nil
}

// calibrate records the calibration of a gauge that was found reading high and adjusted.
func (s *simulation) calibrate(ctx context.Context, at time.Time, gauge string) error {
	check := quality.Check{Kind: quality.Calibration, Ratings: []quality.Rating{{Characteristic: quality.RatingCertificate, Code: "TH-CAL-" + gauge}, {Characteristic: quality.RatingCoverage, Code: "2"}},
		Readings: []quality.Reading{typed("air_temperature", "", 0, 0, 21.4, 1, quality.Celsius), typed("humidity", "", 0, 0, 46, 0, quality.Percent),
			typed("uncertainty_thickness", "", 0, 0, 0.7, 1, quality.Micrometre)}}
	e := store.Entry{RecordID: store.NewID(), Kind: quality.Calibration, Subject: store.Subject{Kind: quality.OnInstrument, ID: s.Gauges[gauge].ID}, ObservedAt: at}
	for i, shim := range s.Shims {
		um := *shim.Nominal
		check.Readings = append(check.Readings, typed("reference_thickness", "", i+1, 0, um, 1, quality.Micrometre), typed("found_thickness", "", i+1, 0, um*1.055, 1, quality.Micrometre),
			typed("left_thickness", "", i+1, 0, um+0.2, 1, quality.Micrometre))
		e.Uses = append(e.Uses, store.Use{Role: "standard", ID: shim.ID})
	}
	e.Check = check
	if _, err := s.DB.At(at.Add(time.Minute)).Save(ctx, s.on("nadia", "OFFICE"), e); err != nil && !errors.Is(err, errLater) {
		return fmt.Errorf("calibrating %s: %w", gauge, err)
	}
	return nil
}
