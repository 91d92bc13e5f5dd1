package gauge_test

import (
	"fmt"

	"coatbook/quality/gauge"
)

// study is three parts, measured twice by each of two appraisers, in micrometres.
var study = []gauge.Reading{
	{Part: "1", Appraiser: "Ada", Value: 71}, {Part: "1", Appraiser: "Ada", Value: 72},
	{Part: "1", Appraiser: "Bo", Value: 73}, {Part: "1", Appraiser: "Bo", Value: 72},
	{Part: "2", Appraiser: "Ada", Value: 84}, {Part: "2", Appraiser: "Ada", Value: 83},
	{Part: "2", Appraiser: "Bo", Value: 86}, {Part: "2", Appraiser: "Bo", Value: 85},
	{Part: "3", Appraiser: "Ada", Value: 95}, {Part: "3", Appraiser: "Ada", Value: 96},
	{Part: "3", Appraiser: "Bo", Value: 97}, {Part: "3", Appraiser: "Bo", Value: 97},
}

func ExampleANOVA() {
	s, err := gauge.ANOVA(study, gauge.Options{Tolerance: 60, Interaction: gauge.PoolInteraction})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("gauge %.2f µm: %.1f %% of the study, %.1f %% of the tolerance, %d categories\n",
		s.Gauge.SD, s.Gauge.PercentStudy, *s.Gauge.PercentTolerance, *s.DistinctCategories)
	// Output: gauge 1.20 µm: 9.8 % of the study, 12.0 % of the tolerance, 14 categories
}

func ExampleAverageAndRange() {
	s, err := gauge.AverageAndRange(study, gauge.Options{Tolerance: 60})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("repeatability %.2f, reproducibility %.2f, parts %.2f µm\n", s.Repeatability.SD, s.Reproducibility.SD, s.Part.SD)
	// Output: repeatability 0.74, reproducibility 1.02, parts 12.69 µm
}

func ExampleNested() {
	bent := []gauge.Reading{ // each appraiser bends panels of their own; two strips of each panel
		{Part: "1", Appraiser: "Ada", Value: 5.1}, {Part: "1", Appraiser: "Ada", Value: 5.3},
		{Part: "2", Appraiser: "Ada", Value: 6.0}, {Part: "2", Appraiser: "Ada", Value: 5.9},
		{Part: "3", Appraiser: "Bo", Value: 5.6}, {Part: "3", Appraiser: "Bo", Value: 5.5},
		{Part: "4", Appraiser: "Bo", Value: 6.2}, {Part: "4", Appraiser: "Bo", Value: 6.4},
	}
	s, err := gauge.Nested(bent, gauge.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("repeatability %.3f mm, parts %.3f mm\n", s.Repeatability.SD, s.Part.SD)
	fmt.Println(s.Notes[0])
	// Output:
	// repeatability 0.112 mm, parts 0.524 mm
	// The estimate for appraiser was negative (-0.07938); it is reported as 0.
}

func ExampleLevels() {
	r, err := gauge.Levels([]gauge.CheckDay{
		{Artifact: "shim 75", Run: "1", N: 6, Average: 75.2, SD: 0.4},
		{Artifact: "shim 75", Run: "1", N: 6, Average: 75.5, SD: 0.5},
		{Artifact: "shim 75", Run: "2", N: 6, Average: 75.8, SD: 0.3},
		{Artifact: "shim 75", Run: "2", N: 6, Average: 76.1, SD: 0.4},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("short %.3f, day %.3f, run %.3f µm\n", r.Short, r.Day, r.Run)
	// Output: short 0.406, day 0.212, run 0.424 µm
}

func ExampleBias() {
	r, err := gauge.Bias(75.4, []float64{75.9, 76.1, 75.8, 76.0, 75.7}, 0.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("reads %.2f µm high, %.2f to %.2f\n", r.Bias, r.Interval.Low, r.Interval.High)
	// Output: reads 0.50 µm high, 0.30 to 0.70
}

func ExampleLinearity() {
	r, err := gauge.Linearity([]gauge.ShimReading{
		{Reference: 25, Value: 25.2}, {Reference: 25, Value: 25.3}, {Reference: 75, Value: 75.6},
		{Reference: 75, Value: 75.5}, {Reference: 125, Value: 126.1}, {Reference: 125, Value: 125.9},
	}, 0.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	bias, _ := r.At(100)
	fmt.Printf("the bias grows by %.4f µm per µm; at 100 µm it is %.2f µm\n", r.Slope, bias)
	// Output: the bias grows by 0.0075 µm per µm; at 100 µm it is 0.79 µm
}

func ExampleLinearityResult_At() {
	r, err := gauge.Linearity([]gauge.ShimReading{
		{Reference: 25, Value: 25.1}, {Reference: 75, Value: 75.2}, {Reference: 125, Value: 125.4},
	}, 0.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	bias, interval := r.At(75)
	fmt.Printf("%.2f µm, %.2f to %.2f\n", bias, interval.Low, interval.High)
	// Output: 0.23 µm, -0.07 to 0.53
}

func ExampleCohen() {
	ada := []string{"pass", "pass", "fail", "pass", "fail", "pass", "pass", "fail"}
	bo := []string{"pass", "pass", "fail", "pass", "pass", "pass", "pass", "fail"}
	k, err := gauge.Cohen(ada, bo)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("agree on %.1f %%, kappa %.3f\n", 100*k.Observed, k.Value)
	// Output: agree on 87.5 %, kappa 0.714
}

func ExampleFleiss() {
	k, err := gauge.Fleiss([][]string{{"pass", "pass", "pass"}, {"fail", "pass", "fail"}, {"fail", "fail", "fail"}, {"pass", "pass", "pass"}})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.3f\n", k.Value)
	// Output: 0.657
}

func ExampleAgreement() {
	var ratings []gauge.Rating
	for i, truth := range []string{"pass", "fail", "pass", "fail", "pass"} {
		item := fmt.Sprint(i + 1)
		ratings = append(ratings, gauge.Rating{Item: item, Appraiser: "Ada", Category: truth, Reference: truth},
			gauge.Rating{Item: item, Appraiser: "Bo", Category: "pass", Reference: truth})
	}
	r, err := gauge.Agreement(ratings, 0.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, a := range r.Appraisers {
		fmt.Printf("%s: %d of %d right, kappa %.2f\n", a.Appraiser, a.Right.Count, a.Right.Of, a.RightKappa.Value)
	}
	// Output:
	// Ada: 5 of 5 right, kappa 1.00
	// Bo: 3 of 5 right, kappa 0.00
}
