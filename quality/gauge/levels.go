package gauge

import (
	"fmt"
	"math"

	"coatbook/quality/process"
)

// CheckDay is one day's result on a check standard: the average and standard deviation of N repeated readings.
type CheckDay struct {
	Artifact, Run string
	N             int
	Average, SD   float64
}

// LevelDeviations are standard deviations by the length of time that they cover, in the readings' unit.
type LevelDeviations struct {
	Short, Day, Run       float64 // s₁ of single readings, s₂ of daily averages, s₃ of run averages
	ShortDF, DayDF, RunDF int
	// DayAlone and RunAlone are s₂ and s₃ less what the level below puts into them: √(s₂² - s₁²/n), √(s₃² - s₂²/days).
	// They are 0 where that is negative, and nil where n or the days differ so that it has no single value; RunAlone is
	// also nil where there is one run only.
	DayAlone, RunAlone *float64
	Notes              []string
}

// Levels returns the level 1, 2 and 3 standard deviations of a study of check standards measured over days and runs:
//
//	s₁² = Σ(Nᵢ-1)sᵢ²/Σ(Nᵢ-1)     s₂² pools the variances of the daily averages inside each run of each artifact
//	                             s₃² pools the variances of the run averages of each artifact
//
// A run average is the mean of its daily averages. Days come in any order. Each has two readings or more; each run of an
// artifact two days or more. With one run of each artifact s₃ is not measured: Run and RunDF are 0, with a note.
//
// It returns process.ErrTooFewReadings, ErrBadCount for a day of fewer than two readings or a negative SD, ErrNotFinite.
//
// Source: NIST/SEMATECH e-Handbook 2.4.3 and the resistivity study of 2.6.1 (seen; results recomputed).
func Levels(days []CheckDay) (LevelDeviations, error) {
	type run struct{ artifact, run string }
	var r LevelDeviations
	runs, artifacts := map[run]*process.Summary{}, map[string]*process.Summary{}
	var order []run // in order of appearance, so that sums do not depend on the map
	var names []string
	short := 0.0
	for i, d := range days {
		switch {
		case d.N < 2 || d.SD < 0:
			return r, fmt.Errorf("day %d: %d readings with standard deviation %v: %w", i+1, d.N, d.SD, process.ErrBadCount)
		case !(d.SD <= 1e140):
			return r, fmt.Errorf("day %d: %w", i+1, process.ErrNotFinite)
		}
		short += float64(d.N-1) * d.SD * d.SD
		r.ShortDF += d.N - 1
		key := run{d.Artifact, d.Run}
		if runs[key] == nil {
			runs[key] = &process.Summary{}
			order = append(order, key)
		}
		if err := runs[key].Add(d.Average); err != nil {
			return r, fmt.Errorf("day %d: %w", i+1, err)
		}
	}
	day := 0.0
	for _, key := range order {
		s := runs[key]
		day += s.M2
		r.DayDF += s.N - 1
		if artifacts[key.artifact] == nil {
			artifacts[key.artifact] = &process.Summary{}
			names = append(names, key.artifact)
		}
		if err := artifacts[key.artifact].Add(s.Mean); err != nil {
			return r, err
		}
	}
	if r.DayDF == 0 {
		return r, fmt.Errorf("no artifact was measured on two days of one run: %w", process.ErrTooFewReadings)
	}
	between := 0.0
	for _, name := range names {
		between += artifacts[name].M2
		r.RunDF += artifacts[name].N - 1
	}
	r.Short, r.Day = math.Sqrt(short/float64(r.ShortDF)), math.Sqrt(day/float64(r.DayDF))
	if r.RunDF > 0 {
		r.Run = math.Sqrt(between / float64(r.RunDF))
	} else {
		r.Notes = append(r.Notes, "One run of each artifact: run-to-run variation is not measured.")
	}
	r.DayAlone = alone(r.Day, r.Short, commonN(len(days), func(i int) int { return days[i].N }))
	if r.RunDF > 0 {
		r.RunAlone = alone(r.Run, r.Day, commonN(len(order), func(i int) int { return runs[order[i]].N }))
	}
	return r, nil
}

// alone takes the level below out of a level.
func alone(s, below float64, n int) *float64 {
	if n == 0 {
		return nil
	}
	return new(math.Sqrt(max(0, s*s-below*below/float64(n))))
}

// commonN returns the number that all share, 0 if they differ.
func commonN(count int, n func(int) int) int {
	for i := range count {
		if n(i) != n(0) {
			return 0
		}
	}
	return n(0)
}
