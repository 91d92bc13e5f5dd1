package demoshop

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
)

// panelDay is the shop day on which a small job with a witness panel goes through, and on which an engineer leaves a reading
// out of the statistics.
const panelDay = Days - 2

// newSamples puts the spec and part number of a customer's sample frames into the register: a panel goes with each load.
func (s *Shop) newSamples(ctx context.Context, _ time.Time) error {
	engineer := s.People["nadia"]
	rev, err := s.DB.AddSpec(ctx, engineer, "PC-70", "Sample frames, tested on a panel of the load", "A", quality.FinishSpec{Version: quality.SpecVersion, MaxCycles: 1,
		Coating: &quality.CoatingSpec{Humidity: quality.Between(30, 65, quality.Percent)}, Cure: &quality.CureSpec{ScheduleC: 180, Channels: 1},
		PanelTest: &quality.PanelSpec{Adhesion: &quality.AdhesionSpec{Method: "ISO2409", Worst: "1", Conditions: true}, Bend: &quality.BendSpec{MandrelMM: 5}, Impact: &quality.ImpactSpec{EnergyNm: 2.5, Tape: true}}})
	if err != nil {
		return fmt.Errorf("spec PC-70: %w", err)
	}
	if err := s.DB.ApproveSpec(ctx, engineer, rev.ID, s.proofs["nadia"]); err != nil {
		return fmt.Errorf("approving PC-70: %w", err)
	}
	s.samples, err = s.DB.AddPartNumber(ctx, engineer, store.PartNumber{Code: "SF-70", Name: "Sample frame", SpecID: rev.SpecID, Alloy: "6060 T66", BaseForm: "extrusion", WallMM: 2, Sketch: "frame", Active: true})
	return err
}

// testPanel brings two sample frames and a panel through booth and oven. The operator types another cure window for the load,
// which waits for a second person; the panel passes.
func (s *simulation) testPanel(ctx context.Context, day int, at time.Time) error {
	if day != panelDay || at.Add(4*time.Hour).After(s.now) {
		return nil
	}
	db, operator := s.DB.At(at), s.on("mirela", "OVEN-1")
	job, err := db.AddJob(ctx, s.on("marek", "OFFICE"), store.Job{Number: "24970", Customer: "Pinecrest Homes", OrderRef: "PO-5290", ReceivedAt: at})
	if err != nil {
		return err
	}
	parts, err := db.AddParts(ctx, s.on("marek", "OFFICE"), job.ID, s.samples.ID, []string{"TH-S00001", "TH-S00002"})
	if err != nil {
		return err
	}
	rack, err := db.HangRack(ctx, operator, store.NewID(), "K901")
	if err != nil {
		return err
	}
	if err := db.HangParts(ctx, operator, rack.ID, parts); err != nil {
		return err
	}
	panel := store.Panel{ID: store.NewID(), Code: "WP-1", RackID: uuid.NullUUID{UUID: rack.ID, Valid: true}, Alloy: "6060 T66", PretreatedWith: "in the wash with the day's racks", Position: "between the two frames"}
	if err := db.AddPanel(ctx, operator, panel); err != nil {
		return fmt.Errorf("panel WP-1: %w", err)
	}
	save := func(after time.Duration, who store.Actor, kind quality.Kind, on store.Subject, check quality.Check, uses ...store.Use) error {
		check.Kind = kind
		t := at.Add(after)
		_, err := s.DB.At(t).Save(ctx, who, store.Entry{RecordID: store.NewID(), Kind: kind, Subject: on, ObservedAt: t.Add(-time.Minute), Check: check, Uses: uses})
		return err
	}
	lots := s.Products[0].lots
	if err := save(20*time.Minute, s.on("mirela", "BOOTH-1"), quality.Coating, store.Subject{Kind: quality.OnRack, ID: rack.ID},
		quality.Check{Readings: []quality.Reading{typed("humidity", "", 0, 0, 47, 0, quality.Percent)}}, store.Use{Role: "powder", ID: s.Lots[lots[len(lots)-1]]}, store.Use{Role: "booth", ID: s.Stations["BOOTH-1"]}); err != nil {
		return fmt.Errorf("coating the samples: %w", err)
	}
	load, err := s.DB.At(at.Add(30*time.Minute)).OpenLoad(ctx, operator, store.NewID(), s.Stations["OVEN-1"])
	if err != nil {
		return err
	}
	if err := s.DB.At(at.Add(31*time.Minute)).AddRack(ctx, operator, load.ID, rack.ID); err != nil {
		return err
	}
	point := func(spot int, metal, least, longest float64) []quality.Reading {
		return []quality.Reading{typed(quality.WindowMetal, "", spot, 0, metal, 0, quality.Celsius), typed(quality.WindowLeast, "", spot, 0, least, 0, quality.Minute), typed(quality.WindowLongest, "", spot, 0, longest, 0, quality.Minute)}
	}
	cured := []quality.Reading{typed("set_point", "", 0, 0, 195, 0, quality.Celsius), typed("oven_time", "", 0, 0, 30, 0, quality.Minute),
		typed("metal_peak", "frame, mid rail", 1, 0, 188.5, 1, quality.Celsius), typed("metal_time", "frame, mid rail", 1, 0, 21.5, 1, quality.Minute)}
	cured = append(cured, append(point(1, 175, 20, 35), point(2, 195, 12, 25)...)...)
	if err := save(75*time.Minute, operator, quality.Cure, store.Subject{Kind: quality.OnLoad, ID: load.ID}, quality.Check{Readings: cured,
		Ratings: []quality.Rating{{Characteristic: quality.RatingWindowSource, Code: "powder maker's letter for this trial"}}}, store.Use{Role: "oven", ID: s.Stations["OVEN-1"]}); err != nil {
		return fmt.Errorf("curing the samples: %w", err)
	}
	check := quality.Check{Ratings: []quality.Rating{{Characteristic: quality.RatingAdhesion, Code: "0"}, {Characteristic: quality.RatingBend, Code: "whole"}, {Characteristic: quality.RatingImpact, Code: "cracked"}},
		Readings: []quality.Reading{typed("mandrel", "", 0, 0, 5, 0, quality.Millimetre), typed("impact_energy", "", 0, 0, 2.5, 1, quality.NewtonMetre),
			typed(quality.TestTemperature, "", 0, 0, 22.5, 1, quality.Celsius), typed(quality.TestHumidity, "", 0, 0, 49, 0, quality.Percent)}}
	if err := save(3*time.Hour, s.on("ilse", "FINAL-1"), quality.PanelTest, store.Subject{Kind: quality.OnPanel, ID: panel.ID}, check); err != nil {
		return fmt.Errorf("testing panel WP-1: %w", err)
	}
	return nil
}

// excludeReading leaves one reading of the day's first film check out of the statistics, in the evening.
func (s *simulation) excludeReading(ctx context.Context, day int, midnight time.Time) error {
	at := midnight.Add(21 * time.Hour)
	if day != panelDay || at.After(s.now) {
		return nil
	}
	shopDay, _ := s.Site.ShopDay(at)
	checks, err := s.DB.FilmChecks(ctx, s.Site.ID, store.FilmFilter{Period: store.OneDay(shopDay, ""), Spec: s.Products[0].SpecCode})
	if err != nil || len(checks) == 0 {
		return err
	}
	db, engineer := s.DB.At(at), s.on("nadia", "OFFICE")
	if err := db.Exclude(ctx, engineer, checks[0].RecordID, []int{1}, "wrong_spot", "Read on the mark of the hanger", s.proofs["nadia"]); err != nil {
		return fmt.Errorf("excluding a reading: %w", err)
	}
	return nil
}
