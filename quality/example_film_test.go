package quality_test

import (
	"fmt"

	"coatbook/quality"
)

func ExampleCompareFilmRules() {
	spec := quality.FilmSpec{Limits: quality.Between(60, 120, quality.Micrometre), Spots: 5, ReadingsPerSpot: 1}
	check := quality.Check{Kind: quality.Film}
	for i, um := range []float64{75, 68, 63, 66, 56} {
		check.Readings = append(check.Readings, quality.Reading{Characteristic: "film_thickness", Spot: i + 1, Value: um, Unit: quality.Micrometre})
	}
	for _, c := range quality.CompareFilmRules(spec, quality.Circumstance{}, check)[:4] {
		fmt.Println(c.Set.Name, "-", c.Judgement.Verdict)
	}
	// Output:
	// mean and 80 % - pass
	// spot and area, level 3 - pass
	// every reading - fail
	// share of readings - pass
}

func ExampleFilmAreas() {
	plan, err := quality.FilmAreas(950, quality.SquareMetre)
	fmt.Println(plan.Areas, plan.Every, plan.SpotsPerArea, plan.ReadingsPerSpot, err)
	// Output: 12 false 5 3 <nil>
}

func ExampleMapFilmExtent() {
	extent, err := quality.MapFilmExtent(quality.AtLeast(60, quality.Micrometre), quality.Micrometre, 1.5, []quality.FilmLine{{"left", []float64{52, 61, 58, 60, 63}}})
	fmt.Println(extent.Lines[0].Reach, extent.Complete, err)
	// Output: 6 true <nil>
}

func ExampleJudgeFilmLot() {
	parts := []quality.Verdict{quality.Pass, quality.Pass, quality.Fail, quality.Pass, quality.Pass, quality.Pass, quality.Pass, quality.Fail, quality.Pass, quality.Pass}
	judgement := quality.JudgeFilmLot(quality.LotPlan{Lot: 120, Sample: 10, Accept: 1}, parts)
	fmt.Println(judgement.Verdict, "-", judgement.Sentence())
	// Output: fail - 2 of 10 parts failed; the plan accepts 1.
}
