package quality

import (
	"errors"
	"fmt"
	"math"
)

// ErrSurface is returned for a surface from which no number of areas follows.
var ErrSurface = errors.New("quality: the coated surface is not a figure over 0 in m² or ft²")

// ErrMapping is returned for a map of film thickness without lines or step, or with a value that is not a number.
var ErrMapping = errors.New("quality: the map of the film has no lines or no usable values")

// A FilmAreaPlan is how much of a coated surface the spot and area rule asks to measure.
type FilmAreaPlan struct {
	Areas int
	// Every says that the areas are all there are; otherwise they are picked at random.
	Every bool
	// SpotsPerArea and ReadingsPerSpot are the fewest in each.
	SpotsPerArea, ReadingsPerSpot int
}

// FilmAreas returns how many areas of 10 m² (100 ft²) the spot and area rule asks for on a coated surface, in the unit m2 or
// ft2:
//
//   - under 30 m² (300 ft²): every area;
//   - up to 100 m² (1000 ft²): 3;
//   - over 100 m² (1000 ft²): 3, and 1 for each further 100 m² (1000 ft²) or part of it;
//
// with 5 spots in each area and 3 readings at each spot. When an area fails, every area of that work shift is due. The two
// systems of units are not exact equals; use one throughout.
//
// It returns ErrSurface for a surface that is not over 0 and up to 10⁹, or in another unit.
//
// Source: SSPC-PA 2, seen in a summary of the magazine of the society; the count over 100 m² agrees with a worked total
// published there; areas of the shift from memory, unverified.
func FilmAreas(surface float64, unit Unit) (FilmAreaPlan, error) {
	area := 10.0
	switch unit {
	case SquareMetre:
	case SquareFoot:
		area = 100
	default:
		return FilmAreaPlan{}, fmt.Errorf("%w: unit %s", ErrSurface, clip(string(unit)))
	}
	if !(surface > 0 && surface <= 1e9) {
		return FilmAreaPlan{}, fmt.Errorf("%w: %v %s", ErrSurface, surface, unit)
	}
	plan := FilmAreaPlan{Areas: 3, SpotsPerArea: 5, ReadingsPerSpot: 3}
	switch {
	case surface < 3*area:
		plan.Areas, plan.Every = int(math.Ceil(surface/area)), true
	case surface > 10*area:
		plan.Areas += int(math.Ceil((surface - 10*area) / (10 * area)))
	}
	return plan, nil
}

// areas asks for the areas of the spec and of the surface, and for the spots in each.
func (f filmCheck) areas(j *Judgement, spec FilmSpec, c Circumstance, perSpot int) {
	areas, spots := spec.Areas, spec.SpotsPerArea
	if c.SurfaceM2 > 0 {
		plan, err := FilmAreas(c.SurfaceM2, SquareMetre)
		if err != nil {
			j.missing("areas", "", "", "The coated surface of %v m² is not plausible, so the number of areas is not known.", c.SurfaceM2)
			return
		}
		areas, spots = max(areas, plan.Areas), max(spots, plan.SpotsPerArea)
	}
	full := map[string]int{}
	for _, spot := range f.spots {
		n := full[spot.area]
		if len(spot.readings) >= perSpot {
			n++
		}
		full[spot.area] = n
	}
	for _, area := range sortedKeys(full) {
		if n := full[area]; n < spots {
			j.missing("spots in an area", areaName(area), "at least "+counted(spots, "spot"), "%s: %s measured in full, %d are asked.", areaName(area), counted(n, "spot"), spots)
		}
	}
	if len(full) < areas {
		j.missing("areas", "", "at least "+counted(areas, "area"), "%s measured, %d are asked.", counted(len(full), "area"), areas)
	}
}

func areaName(area string) string {
	if area == "" {
		return "Area"
	}
	return "Area " + area
}

// A FilmLine is a line of spots that leads away from a failed area: the mean of each spot, the nearest first.
type FilmLine struct {
	Direction string
	Means     []float64
}

// A LineExtent is how far the film is out of its limits along one line.
type LineExtent struct {
	Direction string
	Flags     []Flag // of each spot, Low, In or High
	// Reach is the distance from the failed area to the first of the two conforming spots that end the search, or to the
	// last spot measured where the search has not ended. The nonconforming film lies within it.
	Reach float64
	// Closed says that two conforming spots in a row were found.
	Closed bool
}

// A FilmExtent is the map of a failed area.
type FilmExtent struct {
	Lines []LineExtent
	// Complete says that every line is closed. An extent that is not complete bounds nothing.
	Complete bool
}

// MapFilmExtent returns how far a failed area reaches. From the area spots are measured in every direction that can be
// reached, at equal steps (1.5 m or 5 ft), until two spots in a row conform. The spots must meet the plain limits: the
// tolerances of the restriction levels do not apply here.
//
// Means are in unit, step and Reach in any unit of length alike. It returns ErrMapping without lines or without a step over
// 0, ErrNotNumber for a mean that is none, and ErrUnits when limits and unit do not belong together.
//
// Source: SSPC-PA 2, seen in a copy of its edition 3.
func MapFilmExtent(limits Limits, unit Unit, step float64, lines []FilmLine) (FilmExtent, error) {
	if len(lines) == 0 || !(step > 0 && step <= 1e6) || limits.None() {
		return FilmExtent{}, ErrMapping
	}
	out := FilmExtent{Complete: true}
	for _, line := range lines {
		extent := LineExtent{Direction: line.Direction, Reach: step * float64(len(line.Means))}
		conforming := 0
		for i, mean := range line.Means {
			flag, err := limits.Judge(mean, unit)
			if err != nil {
				return FilmExtent{}, fmt.Errorf("%s, spot %d: %w", clip(line.Direction), i+1, err)
			}
			extent.Flags = append(extent.Flags, flag)
			if conforming++; flag != In {
				conforming = 0
			}
			if conforming == 2 && !extent.Closed {
				extent.Closed, extent.Reach = true, step*float64(i)
			}
		}
		out.Complete = out.Complete && extent.Closed
		out.Lines = append(out.Lines, extent)
	}
	return out, nil
}
