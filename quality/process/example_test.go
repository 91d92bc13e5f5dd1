package process_test

import (
	"errors"
	"fmt"

	"coatbook/quality/process"
)

func ExampleSummarize() {
	film, err := process.Summarize([]float64{71, 74, 78, 75})
	if err != nil {
		fmt.Println(err)
		return
	}
	sd, err := film.SD()
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("n %d, mean %.1f µm, s %.2f µm, %g to %g µm\n", film.N, film.Mean, sd, film.Min, film.Max)
	// Output: n 4, mean 74.5 µm, s 2.89 µm, 71 to 78 µm
}

func ExampleSummary_Add() {
	var film process.Summary
	for _, um := range []float64{71, 74, 78, 75} {
		if err := film.Add(um); err != nil {
			fmt.Println(err)
			return
		}
	}
	fmt.Println(film.N, film.Mean)
	// Output: 4 74.5
}

func ExampleSummary_Merge() {
	morning, _ := process.Summarize([]float64{71, 74})
	evening, _ := process.Summarize([]float64{78, 75})
	day := morning
	day.Merge(evening)
	fmt.Println(day.N, day.Mean, day.M2)
	// Output: 4 74.5 25
}

func ExampleMergeAll() {
	first, _ := process.Summarize([]float64{71, 74})
	second, _ := process.Summarize([]float64{78, 75})
	fmt.Println(process.MergeAll([]process.Summary{first, second}).Mean)
	// Output: 74.5
}

func ExampleSummary_SD() {
	one, _ := process.Summarize([]float64{71})
	_, err := one.SD()
	fmt.Println(errors.Is(err, process.ErrTooFewReadings))
	// Output: true
}

func ExampleDescribe() {
	d, err := process.Describe([]float64{71, 74, 78, 75, 73})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("mean %.1f, s %.3f, skewness %.3f, lag 1 %.3f\n", d.Mean, *d.SD, *d.Skewness, *d.Lag1)
	// Output: mean 74.2, s 2.588, skewness 0.502, lag 1 0.073
}

func ExampleConstantsFor() {
	c, err := process.ConstantsFor(5)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("c4 %.4f, d2 %.4f, d3 %.4f, A3 %.4f, B4 %.4f\n", c.C4, c.D2, c.D3, c.A3, c.B4)
	// Output: c4 0.9400, d2 2.3259, d3 0.8641, A3 1.4273, B4 2.0890
}

// subgroups are parts with three spots each.
func subgroups(readings ...[]float64) []process.Summary {
	var groups []process.Summary
	for _, spots := range readings {
		part, err := process.Summarize(spots)
		if err != nil {
			panic(err) // the examples have numbers only
		}
		groups = append(groups, part)
	}
	return groups
}

func ExampleXbarS() {
	chart, err := process.XbarS(subgroups(
		[]float64{74, 76, 75}, []float64{75, 77, 73}, []float64{76, 74, 74}, []float64{84, 86, 85},
	), process.ChartOptions{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("centre %.2f, limits %.2f to %.2f\n", chart.Center, chart.Lower[0], chart.Upper[0])
	last := chart.Signals[len(chart.Signals)-1]
	fmt.Printf("%s: subgroup %d\n", last.Rule, last.Points[0]+1)
	// Output:
	// centre 77.42, limits 74.90 to 79.94
	// 1 point beyond 3 sigma: subgroup 4
}

func ExampleXbarR() {
	chart, err := process.XbarR(subgroups(
		[]float64{74, 76, 75}, []float64{75, 77, 73}, []float64{76, 74, 74},
	), process.ChartOptions{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("mean range %.3f, its upper limit %.3f\n", chart.Dispersion.Center, chart.Dispersion.Upper[0])
	// Output: mean range 2.667, its upper limit 6.866
}

func ExampleIndividuals() {
	// Flow rates of ten batches, NIST/SEMATECH e-Handbook 6.3.2.2.
	chart, err := process.Individuals(
		[]float64{49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1}, process.ChartOptions{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.3f to %.3f, stable: %v\n", chart.Lower[0], chart.Upper[0], chart.Stable())
	// Output: 45.818 to 55.802, stable: true
}

func ExampleBetweenWithin() {
	// Parts differ by several micrometres, spots on a part by one or two.
	parts := subgroups([]float64{80, 81, 79}, []float64{85, 84, 87}, []float64{78, 77, 78}, []float64{83, 84, 82})
	chart, err := process.BetweenWithin(parts, process.ChartOptions{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("part means %.1f to %.1f, stable: %v\n", chart.Lower[0], chart.Upper[0], chart.Stable())
	// Freeze the lines of this base period for the parts to come.
	next, err := process.BetweenWithin(subgroups([]float64{99, 100, 101}), process.ChartOptions{Limits: &chart.Limits})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println("next part stable:", next.Stable())
	// Output:
	// part means 65.3 to 97.7, stable: true
	// next part stable: false
}

func ExampleRunRules() {
	signals, err := process.RunRules([]float64{0.2, 2.1, 0.4, 2.3}, process.NelsonRules())
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, s := range signals {
		fmt.Println(string(s.Rule), s.Rule, s.Points)
	}
	// Output: n5 2 of 3 points beyond 2 sigma on one side [1 3]
}

func ExampleParseRules() {
	rules, err := process.ParseRules("n1, n2, we3")
	fmt.Println(len(rules), err)
	_, err = process.ParseRules("n1,n9")
	fmt.Println(err)
	// Output:
	// 3 <nil>
	// "n9": unknown run rule
}

func ExampleSpreadWithin() {
	spread, err := process.SpreadWithin(subgroups([]float64{74, 76, 75}, []float64{75, 77, 73}), process.PooledSD)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%s: %.3f on %g degrees of freedom\n", process.PooledSD, spread.Sigma, spread.DF)
	// Output: pooled standard deviation within subgroups: 1.581 on 4 degrees of freedom
}

func ExampleBetweenParts() {
	parts := subgroups([]float64{80, 81, 79}, []float64{85, 84, 87}, []float64{78, 77, 78}, []float64{83, 84, 82})
	c, err := process.BetweenParts(parts)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("between parts %.2f, within a part %.2f\n", c.Between, c.Within)
	// Output: between parts 5.38, within a part 1.08
}

func ExampleCapability() {
	// 28 parts with three spots each; levels jump from part to part.
	var parts []process.Summary
	for i := range 28 {
		level := 80 + float64(i*7%11-5)/2
		parts = append(parts, subgroups([]float64{level - 1, level, level + 1 + float64(i%3)/2})...)
	}
	r, err := process.Capability(parts, process.Options{
		Spec:     process.Spec{Lower: new(60.0), Upper: new(100.0)},
		Within:   process.BetweenAndWithin,
		Subgroup: "part",
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	name, index, lower, _ := r.Headline()
	fmt.Printf("%s %.2f, at least %.2f (95 %%), %d readings on %d parts, s %.2f µm\n",
		name, index, lower, r.N, r.Subgroups, *r.SDWithin)

	few, err := process.Capability(parts[:18], process.Options{Spec: r.Spec, Subgroup: "part", Within: r.Within})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(few.Cpk == nil, few.Reasons)
	// Output:
	// Cpk 2.68, at least 2.05 (95 %), 84 readings on 28 parts, s 2.47 µm
	// true [Only 18 parts; 25 are needed before an index is quoted.]
}

func ExampleCapabilityFromFigures() {
	r, err := process.CapabilityFromFigures(30, 97, 1.6, process.Options{
		Spec: process.Spec{Lower: new(90.0), Upper: new(100.0)},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("Cpk %.3f, %.3f to %.3f, at least %.3f, quotable: %v\n",
		*r.Cpk, r.CpkInterval.Low, r.CpkInterval.High, *r.CpkLower, r.Quotable)
	// Output: Cpk 0.625, 0.425 to 0.825, at least 0.457, quotable: false
}

func ExampleComputeIndices() {
	// NIST/SEMATECH e-Handbook 6.1.6.
	x, err := process.ComputeIndices(16, 2, process.Spec{Lower: new(8.0), Upper: new(20.0), Target: new(14.0)})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("Cp %.4f, Cpk %.4f, Cpm %.4f\n", *x.P, *x.K, *x.PM)
	// Output: Cp 1.0000, Cpk 0.6667, Cpm 0.7071
}

func ExampleExpectedOutside() {
	below, above, err := process.ExpectedOutside(16, 2, process.Spec{Lower: new(8.0), Upper: new(20.0)})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.1f and %.0f parts per million\n", *below, *above)
	// Output: 31.7 and 22750 parts per million
}

func ExampleCpInterval() {
	ends, err := process.CpInterval(1, 49, 0.95)
	fmt.Printf("%.3f to %.3f %v\n", ends.Low, ends.High, err)
	// Output: 0.802 to 1.197 <nil>
}

func ExampleCpkInterval() {
	ends, err := process.CpkInterval(0.625, 30, 29, 0.95)
	fmt.Printf("%.3f to %.3f %v\n", ends.Low, ends.High, err)
	// Output: 0.425 to 0.825 <nil>
}

func ExampleCpkLower() {
	for _, n := range []float64{25, 50, 100} {
		lower, err := process.CpkLower(1.33, n, n-1, 0.95)
		fmt.Printf("%g readings: %.3f %v\n", n, lower, err)
	}
	// Output:
	// 25 readings: 0.996 <nil>
	// 50 readings: 1.096 <nil>
	// 100 readings: 1.165 <nil>
}

func ExampleOneSidedLower() {
	lower, err := process.OneSidedLower(0.989247312, 30, 29, 0.95)
	fmt.Printf("%.4f %v\n", lower, err)
	// Output: 0.7497 <nil>
}

func ExampleOneSidedInterval() {
	ends, err := process.OneSidedInterval(0.989247312, 30, 29, 0.95)
	fmt.Printf("%.4f to %.4f %v\n", ends.Low, ends.High, err)
	// Output: 0.7076 to 1.2674 <nil>
}

func ExampleAndersonDarling() {
	test, err := process.AndersonDarling([]float64{71, 74, 78, 75, 73, 76, 74, 72, 77, 120})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("A² %.2f, p below 0.001: %v\n", test.Statistic, test.P < 0.001)
	// Output: A² 2.20, p below 0.001: true
}

func ExampleNewProportion() {
	p, err := process.NewProportion(3, 200, 0.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%d of %d: %.1f %% (%.2f %% to %.2f %%)\n", p.Count, p.Of, 100*p.Value, 100*p.Exact.Low, 100*p.Exact.High)
	// Output: 3 of 200: 1.5 % (0.31 % to 4.32 %)
}

func ExampleClopperPearson() {
	ends, err := process.ClopperPearson(0, 20, 0.95)
	fmt.Printf("%g to %.4f %v\n", ends.Low, ends.High, err)
	// Output: 0 to 0.1684 <nil>
}

func ExampleClopperPearsonUpper() {
	upper, err := process.ClopperPearsonUpper(0, 59, 0.95)
	fmt.Printf("%.3f %v\n", upper, err)
	// Output: 0.050 <nil>
}

func ExampleWilson() {
	ends, err := process.Wilson(81, 263, 0.95)
	fmt.Printf("%.4f to %.4f %v\n", ends.Low, ends.High, err)
	// Output: 0.2553 to 0.3662 <nil>
}

func ExampleCountInterval() {
	ends, err := process.CountInterval(12, 0.95)
	fmt.Printf("%.3f to %.3f %v\n", ends.Low, ends.High, err)
	// Output: 6.201 to 20.962 <nil>
}

func ExampleLineYield() {
	y, err := process.LineYield([]process.Step{
		{Name: "weld", In: 60, FailedFirstPass: 2, Recovered: 2},
		{Name: "cure", In: 58, FailedFirstPass: 0},
		{Name: "film", In: 58, FailedFirstPass: 4, Recovered: 3},
	}, 0.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, step := range y.Steps {
		p := step.FirstPass
		fmt.Printf("%s %d of %d, %.1f %% (%.1f to %.1f)\n", step.Name, p.Count, p.Of, 100*p.Value, 100*p.Exact.Low, 100*p.Exact.High)
	}
	fmt.Printf("rolled %.1f %% (%.1f to %.1f), final %.1f %%\n",
		100**y.Rolled, 100*y.RolledInterval.Low, 100*y.RolledInterval.High, 100**y.Final)
	// Output:
	// weld 58 of 60, 96.7 % (88.5 to 99.6)
	// cure 58 of 58, 100.0 % (93.8 to 100.0)
	// film 54 of 58, 93.1 % (83.3 to 98.1)
	// rolled 90.0 % (77.0 to 95.6), final 98.3 %
}

func ExampleDefectRate() {
	d, err := process.DefectRate(24, 480, 6, 0.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.3f a unit, %.0f per million opportunities\n", d.PerUnit, d.PerMillion)
	// Output: 0.050 a unit, 8333 per million opportunities
}

func ExamplePareto() {
	bars, err := process.Pareto([]process.Tally{{Name: "runs", Count: 3}, {Name: "inclusion", Count: 9}})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, bar := range bars {
		fmt.Printf("%s %d, %.0f %%, %.0f %% so far\n", bar.Name, bar.Count, 100*bar.Share, 100*bar.Cumulative)
	}
	// Output:
	// inclusion 9, 75 %, 75 % so far
	// runs 3, 25 %, 100 % so far
}
