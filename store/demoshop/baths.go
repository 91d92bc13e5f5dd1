package demoshop

import (
	"context"
	"fmt"
	"math/rand/v2"
	"time"

	"coatbook/quality"
	"coatbook/store"
)

// newBathControls says what is read in each bath and makes the two chemical baths up. Limits are common practice or from memory;
// a shop enters its supplier's. The rinse's 30 µS/cm at 20 °C stands in a quality label for electrophoretic lines.
func (s *Shop) newBathControls(ctx context.Context, opened time.Time) error {
	const sheet = "demo data sheet"
	for bath, controls := range map[string][]store.BathControl{
		"B1": {{BathControl: quality.BathControl{Characteristic: "concentration", Method: quality.TitrateFactor, Unit: quality.Percent, Nominal: ptr(3.0), Limits: quality.Between(2, 4, quality.Percent), Factor: 0.4}, Rhythm: "day", Source: sheet},
			{BathControl: quality.BathControl{Characteristic: "stage_temperature", Method: quality.ReadDirect, Unit: quality.Celsius, Nominal: ptr(53.0), Limits: quality.Between(45, 60, quality.Celsius)}, Rhythm: "day", Source: sheet}},
		"B2": {{BathControl: quality.BathControl{Characteristic: "bath_conductivity", Method: quality.CorrectedToTemp, Unit: quality.MicroSiemens, Limits: quality.AtMost(300, quality.MicroSiemens), ReferenceC: 20, PerDegree: 0.02}, Rhythm: "day", Source: "shop's rule"}},
		"B3": {{BathControl: quality.BathControl{Characteristic: "ph", Method: quality.ReadDirect, Unit: quality.PH, Nominal: ptr(4.4), Limits: quality.Between(3.8, 5, quality.PH)}, Rhythm: "day", Source: sheet}},
		"B4": {{BathControl: quality.BathControl{Characteristic: "bath_conductivity", Method: quality.CorrectedToTemp, Unit: quality.MicroSiemens, Limits: quality.AtMost(30, quality.MicroSiemens), ReferenceC: 20, PerDegree: 0.02}, Rhythm: "day", Source: "quality label"}},
	} {
		for _, c := range controls {
			c.Active = true
			if err := s.DB.SetBathControl(ctx, s.People["nadia"], s.Baths[bath], c); err != nil {
				return fmt.Errorf("control of bath %s: %w", bath, err)
			}
		}
	}
	for _, m := range []struct{ bath, lot string }{{"B1", "AC-5510"}, {"B3", "ZC-0301"}} {
		if err := s.addToBath(ctx, opened, m.bath, quality.MadeUp, 60, "made up for the start of the line", m.lot); err != nil {
			return err
		}
	}
	return nil
}

// addToBath records an addition to a bath in litres.
func (s *Shop) addToBath(ctx context.Context, at time.Time, bath, act string, litres float64, reason, lot string) error {
	_, err := s.DB.At(at).Save(ctx, s.on("jonas", "WASH"), store.Entry{RecordID: store.NewID(), Kind: quality.BathAddition, Subject: store.Subject{Kind: quality.OnBath, ID: s.Baths[bath]}, ObservedAt: at,
		Check: quality.Check{Readings: []quality.Reading{typed(quality.AddedVolume, "", 0, 0, litres, 1, quality.Litre)},
			Ratings: []quality.Rating{{Characteristic: quality.RatingAct, Code: act}, {Characteristic: quality.RatingReason, Code: reason}}},
		Uses: []store.Use{{Role: "chemical", ID: s.Lots[lot]}}})
	if err != nil {
		return fmt.Errorf("addition to bath %s: %w", bath, err)
	}
	return nil
}

// readBaths reads every bath once on the morning of a shop day. The pH of the conversion bath rises as the washes see it; the
// cleaner is used up and topped up once a week.
func (s *simulation) readBaths(ctx context.Context, day int, at time.Time) error {
	if at.After(s.now) {
		return nil
	}
	rng := rand.New(rand.NewPCG(seed+11, uint64(day)))
	n := rng.NormFloat64
	sample := func(us float64) []quality.Reading {
		c := 24 + 1.5*n()
		return []quality.Reading{typed("conductivity_measured", "", 0, 0, us*(1+0.02*(c-20)), 1, quality.MicroSiemens), typed("conductivity_temperature", "", 0, 0, c, 1, quality.Celsius)}
	}
	titrant := 7.6 - 0.35*float64(day%6) + 0.1*n()
	for i, b := range []struct {
		code, meter string
		readings    []quality.Reading
	}{
		{"B1", "", []quality.Reading{typed("titrant_volume", "concentration", 0, 0, titrant, 1, quality.Millilitre), typed("stage_temperature", "", 0, 0, 53+1.2*n(), 1, quality.Celsius)}},
		{"B2", "CO-01", sample(160 + 12*n())},
		{"B3", "PH-03", []quality.Reading{typed("ph", "", 0, 0, conversionPH(day)+0.02*n(), 2, quality.PH)}},
		{"B4", "CO-01", sample(17 + 1.5*n())},
	} {
		when := at.Add(time.Duration(i) * time.Minute)
		e := store.Entry{RecordID: store.NewID(), Kind: quality.BathReading, Subject: store.Subject{Kind: quality.OnBath, ID: s.Baths[b.code]}, ObservedAt: when, Check: quality.Check{Readings: b.readings}}
		if b.meter != "" {
			e.Uses = []store.Use{{Role: "meter", ID: s.Gauges[b.meter].ID}}
		} else {
			e.Uses = []store.Use{{Role: "titrant", ID: s.Lots["HT-118"]}}
		}
		if _, err := s.DB.At(when).Save(ctx, s.on("jonas", "WASH"), e); err != nil {
			return fmt.Errorf("reading of bath %s: %w", b.code, err)
		}
	}
	if day%6 == 5 && at.Add(20*time.Minute).Before(s.now) {
		return s.addToBath(ctx, at.Add(20*time.Minute), "B1", quality.AddedChemical, 16.8, "concentration near its minimum", "AC-5510")
	}
	return nil
}
