package demoshop

import (
	"bytes"
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/loggerfile"
)

// newOvens adds the data logger and says how often each oven is measured: the first load of a day goes with the logger in one
// oven, so that the other one is overdue.
func (s *Shop) newOvens(ctx context.Context, opened time.Time) error {
	logger, err := s.DB.AddInstrument(ctx, s.People["nadia"], store.Instrument{Code: "LG-1", Kind: "logger", MakerSerial: "40417", Owner: "company", Unit: "degC",
		IntervalDays: 365, DueOn: opened.AddDate(0, 8, 0), Certificate: "C-40417"})
	if err != nil {
		return fmt.Errorf("logger: %w", err)
	}
	s.logger = logger.ID
	rhythms, err := s.DB.OvenRhythms(ctx, s.Site.ID)
	if err != nil {
		return err
	}
	for _, r := range rhythms {
		r.ProfilesPerWeek, r.AirEachShift, r.SurveyDays, r.MaxSpreadC = 2, true, 31, 10
		if err := s.DB.SetOvenRhythm(ctx, s.People["nadia"], r); err != nil {
			return fmt.Errorf("rhythm of %s: %w", r.Code, err)
		}
	}
	return nil
}

// ovenPlaces are where the thermocouples sit on a load.
var ovenPlaces = []string{"heaviest section, low", "lightest section, top"}

// surveyDay is the shop day on whose morning the ovens are surveyed.
const surveyDay = Days - 20

// survey measures how evenly both ovens heat.
func (s *simulation) survey(ctx context.Context, at time.Time) error {
	for i, oven := range []string{"OVEN-1", "OVEN-2"} {
		check := quality.Check{Kind: quality.OvenSurvey}
		for k, place := range []string{"front, low", "middle", "back, high"} {
			check.Readings = append(check.Readings, typed("oven_place", place, k+1, 0, 203+float64(i)+1.8*float64(k), 1, quality.Celsius))
		}
		if _, err := s.DB.At(at).Save(ctx, s.on("mirela", oven), store.Entry{RecordID: store.NewID(), Kind: quality.OvenSurvey, Subject: store.Subject{Kind: quality.OnOven, ID: s.Stations[oven]},
			ObservedAt: at, Check: check}); err != nil {
			return fmt.Errorf("survey of %s: %w", oven, err)
		}
	}
	return nil
}

// logged records the cure run of a load from a logger's file: the metal's peaks and minutes over 190 °C are those of a typed run.
func (l *load) logged(ctx context.Context, at float64, set quality.Check, peaks, minutes []float64) (store.Saved, error) {
	db, t, err := l.at(at)
	if err != nil {
		return store.Saved{}, err
	}
	actor := l.on("mirela", l.oven)
	body := loggerText(t.Add(-45*time.Minute), peaks, minutes)
	file, err := db.ReceiveLoggerFile(ctx, actor, "run-"+t.Format("0102-1504")+".csv", body, uuid.NullUUID{UUID: l.logger, Valid: true})
	if err != nil {
		return store.Saved{}, fmt.Errorf("logger file at %s: %w", t.Format(time.RFC3339), err)
	}
	guess, err := loggerfile.Inspect(bytes.NewReader(body))
	if err != nil {
		return store.Saved{}, err
	}
	seen, err := loggerfile.Look(bytes.NewReader(body), guess.Layout)
	if err != nil {
		return store.Saved{}, err
	}
	for i, place := range ovenPlaces {
		guess.Layout.Columns[i].Place = place
	}
	seg := seen.Segments[0]
	saved, err := db.Save(ctx, actor, store.Entry{RecordID: store.NewID(), Kind: quality.Cure, Subject: store.Subject{Kind: quality.OnLoad, ID: l.id}, ObservedAt: t.Add(-30 * time.Second), Check: set,
		Uses: []store.Use{{Role: "oven", ID: l.Stations[l.oven]}}, Profile: &store.ProfileUse{FileID: file.ID, Layout: guess.Layout, FromS: seg.FromS, ToS: seg.ToS}})
	if err != nil {
		return saved, fmt.Errorf("cure at %s: %w", t.Format(time.RFC3339), err)
	}
	return saved, nil
}

// loggerText is the file of a run: each channel is over 190 °C for its minutes and reaches its peak in them.
func loggerText(start time.Time, peaks, minutes []float64) []byte {
	var b strings.Builder
	b.WriteString("Date;Time;Heavy, low (°C);Light, top (°C);Oven air (°C)\n")
	const from, up, down = 190.0, 9.0, 10.0
	for at := 0.0; at <= 42*60; at += 15 {
		now := start.Add(time.Duration(at) * time.Second)
		b.WriteString(now.Format("2006-01-02;15:04:05"))
		for i, peak := range peaks {
			fmt.Fprintf(&b, ";%.1f", metalAt(at/60, peak, minutes[i], from, up, down))
		}
		fmt.Fprintf(&b, ";%.1f\n", min(peaks[0]+6, 120+9*at/60))
	}
	return []byte(b.String())
}

// metalAt is the metal's temperature at a minute of a run: up to 190 °C in nine minutes, over it for its minutes with a flat
// top, and down again. Metal that does not get there stays at its peak for a while.
func metalAt(minute, peak, over, from, up, down float64) float64 {
	if peak <= from {
		switch {
		case minute < up:
			return 24 + (peak-24)*minute/up
		case minute < up+18:
			return peak
		}
		return max(24, peak-(peak-24)*(minute-up-18)/down)
	}
	edge := over / 5
	switch into := minute - up; {
	case into < 0:
		return 24 + (from-24)*minute/up
	case into < edge:
		return from + (peak-from)*into/edge
	case into < over-edge:
		return peak
	case into < over:
		return from + (peak-from)*(over-into)/edge
	default:
		return max(24, from-(from-24)*(into-over)/down)
	}
}
