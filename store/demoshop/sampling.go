package demoshop

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
)

// bracketDays are the shop days on which brackets come back from a coater outside: eight a job, whose film is checked on a
// sample. The second and the fourth lot are rejected, which tightens inspection; today's waits for a sample.
var bracketDays = []int{8, 14, 19, 23, 26, Days - 1}

// newBrackets puts the spec and part number of the brackets into the register.
func (s *Shop) newBrackets(ctx context.Context, _ time.Time) error {
	engineer := s.People["nadia"]
	rev, err := s.DB.AddSpec(ctx, engineer, "PC-15", "Brackets coated outside, film on a sample", "A", quality.FinishSpec{Version: quality.SpecVersion, MaxCycles: 1,
		Film:     &quality.FilmSpec{Rule: quality.Areas80, Spots: 5, ReadingsPerSpot: 1, Limits: quality.Between(60, 120, quality.Micrometre)},
		Sampling: map[quality.Sampled]quality.SampleRule{quality.Sampled(quality.Film): {By: quality.SampleLot, Plan: quality.PlanAQL, Level: "II", AQL: 6.5}}})
	if err != nil {
		return fmt.Errorf("spec PC-15: %w", err)
	}
	if err := s.DB.ApproveSpec(ctx, engineer, rev.ID, s.proofs["nadia"]); err != nil {
		return fmt.Errorf("approving PC-15: %w", err)
	}
	s.brackets, err = s.DB.AddPartNumber(ctx, engineer, store.PartNumber{Code: "BR-15", Name: "Wall bracket", SpecID: rev.SpecID, Alloy: "6060 T66", BaseForm: "extrusion", WallMM: 3, Sketch: "bracket", Active: true})
	if err != nil {
		return err
	}
	plan := store.Plan{ReadingsPerSpot: 1}
	for i, at := range [][2]int{{75, 92}, {75, 138}, {75, 190}, {122, 190}, {166, 190}} {
		plan.Spots = append(plan.Spots, store.Spot{Spot: i + 1, Area: "A", Place: []string{"Top of the wall leg", "Wall leg, middle", "Corner", "Shelf leg, middle", "Shelf leg, end"}[i], X: at[0], Y: at[1]})
	}
	_, err = s.DB.AddPlan(ctx, engineer, s.brackets.ID, plan)
	return err
}

// sampleBrackets receives a job of brackets, makes its lot and checks the sample.
func (s *simulation) sampleBrackets(ctx context.Context, day int, at time.Time) error {
	n := slices.Index(bracketDays, day)
	if n < 0 || at.Add(time.Hour).After(s.now) {
		return nil
	}
	db, office := s.DB.At(at), s.on("marek", "OFFICE")
	number := fmt.Sprintf("%d95", 24000+day)
	job, err := db.AddJob(ctx, office, store.Job{Number: number, Customer: "Pinecrest Homes", OrderRef: fmt.Sprintf("PO-%04d", 5200+n), ReceivedAt: at})
	if err != nil {
		return err
	}
	serials := make([]string, 8)
	for i := range serials {
		serials[i] = fmt.Sprintf("TH-B%05d", 8*n+i+1)
	}
	parts, err := db.AddParts(ctx, office, job.ID, s.brackets.ID, serials)
	if err != nil {
		return err
	}
	lot, err := s.DB.At(at.Add(5*time.Minute)).MakeLot(ctx, office, store.LotOffer{ID: store.NewID(), Spec: "PC-15", Of: quality.Sampled(quality.Film), Job: number})
	if err != nil {
		return fmt.Errorf("lot of %s: %w", number, err)
	}
	made, err := db.InspectionLotByNumber(ctx, s.Site.ID, lot)
	if err != nil {
		return err
	}
	if err := s.checkBrackets(ctx, n, at.Add(20*time.Minute), made); err != nil {
		return fmt.Errorf("sample of %s: %w", lot, err)
	}
	return s.endBrackets(ctx, lot, parts, at.Add(50*time.Minute))
}

// checkBrackets measures the sample of a lot, but for one part of the last.
func (s *simulation) checkBrackets(ctx context.Context, n int, at time.Time, lot store.InspectionLot) error {
	parts, err := s.DB.LotParts(ctx, s.Site.ID, lot.ID)
	if err != nil {
		return err
	}
	rng := rand.New(rand.NewPCG(seed+16, uint64(n)))
	left := lot.Sample
	if n == len(bracketDays)-1 {
		left--
	}
	for _, p := range parts {
		if p.Seq == 0 || left == 0 {
			continue
		}
		left--
		at = at.Add(2 * time.Minute)
		mean, rejected := 80.0, n == 1 || n == 3
		if rejected {
			mean = 52
		}
		check := quality.Check{Kind: quality.Film}
		for spot := range 5 {
			check.Readings = append(check.Readings, typed("film_thickness", "A", spot+1, 1, mean+3*rng.NormFloat64(), 1, quality.Micrometre))
		}
		if _, err := s.DB.At(at).Save(ctx, s.on("ilse", "FINAL-1"), store.Entry{RecordID: store.NewID(), Kind: quality.Film, Subject: store.Subject{Kind: quality.OnPart, ID: p.PartID},
			ObservedAt: at.Add(-30 * time.Second), Check: check, Uses: []store.Use{{Role: "gauge", ID: s.Gauges["EC-07"].ID}}}); err != nil {
			return err
		}
		if rejected {
			return nil // one is too many; the rest is held
		}
	}
	return nil
}

// endBrackets releases what an accepted lot stood for; a rejected one goes back to the coater.
func (s *simulation) endBrackets(ctx context.Context, number string, parts []uuid.UUID, at time.Time) error {
	db, office := s.DB.At(at), s.on("marek", "OFFICE")
	lot, err := db.InspectionLotByNumber(ctx, s.Site.ID, number)
	if err != nil {
		return err
	}
	switch {
	case lot.State.Accepted():
		return db.Release(ctx, office, parts, s.proofs["marek"])
	case lot.State != quality.LotRejected || lot.Hold == "":
		return nil
	}
	hold, err := db.HoldByNumber(ctx, s.Site.ID, lot.Hold)
	if err != nil {
		return err
	}
	held, err := db.HeldParts(ctx, s.Site.ID, hold.ID)
	if err != nil {
		return err
	}
	ids := make([]uuid.UUID, len(held))
	for i, p := range held {
		ids[i] = p.PartID
	}
	return db.Decide(ctx, office, hold.ID, store.Decision{Parts: ids, Code: "return", Reason: "Back to the coater, who sorts them and coats the thin ones again."}, s.proofs["marek"])
}
