package process_test

import (
	"errors"
	"fmt"

	"coatbook/quality/process"
)

// film are readings in micrometres.
var film = []float64{71, 74, 78, 75, 73, 80, 77, 69, 76, 74, 92, 72}

func ExampleAccumulator() {
	var morning, evening process.Accumulator
	for _, um := range film[:7] {
		if err := morning.Add(um); err != nil {
			fmt.Println(err)
			return
		}
	}
	for _, um := range film[7:] {
		if err := evening.Add(um); err != nil {
			fmt.Println(err)
			return
		}
	}
	morning.Merge(&evening) // time order matters to the autocorrelation alone
	d, err := morning.Describe()
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("n %d, mean %.2f, s %.3f, skewness %.3f, kurtosis %.3f, lag 1 %.3f\n",
		d.N, d.Mean, *d.SD, *d.Skewness, *d.ExcessKurtosis, *d.Lag1)
	// Output: n 12, mean 75.92, s 5.915, skewness 1.944, kurtosis 5.029, lag 1 -0.268
}

func ExampleQuantiles() {
	q, err := process.Quantiles(film, process.Type7, 0.25, 0.5, 0.75)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(q, "by", process.Type7)
	// Output: [72.75 74.5 77.25] by type 7, place (n-1)p+1
}

func ExampleShapiroWilk() {
	test, err := process.ShapiroWilk(film)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("W %.4f, p %.3f\n", test.Statistic, test.P)
	// Output: W 0.8270, p 0.019
}

func ExampleFitDistribution() {
	for _, law := range []process.Distribution{process.NormalLaw, process.LognormalLaw, process.WeibullLaw, process.BoxCoxLaw} {
		fit, err := process.FitDistribution(film, law)
		if err != nil {
			fmt.Println(err)
			return
		}
		fmt.Printf("%s: %s %.4g, goodness of fit p %.3f\n", law, fit.Parameters[0].Name, fit.Parameters[0].Value, fit.GoodnessOfFit.P)
	}
	// Output:
	// normal: mean 75.92, goodness of fit p 0.037
	// lognormal: mu 4.327, goodness of fit p 0.089
	// weibull: shape 11.07, goodness of fit p 0.002
	// boxcox: lambda -6.979, goodness of fit p 0.969
}

func ExampleFit_Indices() {
	fit, err := process.FitDistribution(film, process.LognormalLaw)
	if err != nil {
		fmt.Println(err)
		return
	}
	x, err := fit.Indices(process.Spec{Lower: new(60.0)})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("Ppk %.2f by percentiles\n", *x.K)
	// Output: Ppk 1.09 by percentiles
}

func ExampleFit_ExpectedOutside() {
	fit, err := process.FitDistribution(film, process.LognormalLaw)
	if err != nil {
		fmt.Println(err)
		return
	}
	below, _, err := fit.ExpectedOutside(process.Spec{Lower: new(60.0)})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.0f of a million below 60 µm\n", *below)
	// Output: 496 of a million below 60 µm
}

func ExampleCpLower() {
	lower, err := process.CpLower(1.5, 29, 0.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("Cp at least %.2f\n", lower)
	// Output: Cp at least 1.17
}

func ExampleTwoSidedFactor() {
	k, err := process.TwoSidedFactor(43, 0.90, 0.99)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.6f\n", k)
	// Output: 2.222825
}

func ExampleHoweFactor() {
	k, err := process.HoweFactor(43, 0.90, 0.99)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.4f\n", k)
	// Output: 2.2173
}

func ExampleOneSidedFactor() {
	k, err := process.OneSidedFactor(43, 0.90, 0.99)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.5f\n", k)
	// Output: 1.87395
}

func ExampleToleranceInterval() {
	s, err := process.Summarize(film)
	if err != nil {
		fmt.Println(err)
		return
	}
	ends, err := process.ToleranceInterval(s, 0.95, 0.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("95 %% of the film lies between %.1f and %.1f µm\n", ends.Low, ends.High)
	// Output: 95 % of the film lies between 57.1 and 94.7 µm
}

func ExampleToleranceBounds() {
	s, err := process.Summarize(film)
	if err != nil {
		fmt.Println(err)
		return
	}
	bounds, err := process.ToleranceBounds(s, 0.95, 0.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("95 %% of the film is over %.1f µm\n", bounds.Low)
	// Output: 95 % of the film is over 59.7 µm
}

func ExampleDistributionFreeSize() {
	one, err := process.DistributionFreeSize(0.95, 0.95, false)
	if err != nil {
		fmt.Println(err)
		return
	}
	two, err := process.DistributionFreeSize(0.95, 0.95, true)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(one, two)
	// Output: 59 93
}

func ExampleDistributionFreeConfidence() {
	confidence, err := process.DistributionFreeConfidence(60, 0.95, false)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.3f\n", confidence)
	// Output: 0.954
}

func ExampleSizeForMean() {
	n, err := process.SizeForMean(1.5, 6, 0.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(n)
	// Output: 62
}

func ExampleSizeForMeanEstimated() {
	n, err := process.SizeForMeanEstimated(1.5, 6, 0.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(n)
	// Output: 64
}

func ExampleSizeForShift() {
	n, err := process.SizeForShift(1, 0.95, 0.90)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(n)
	// Output: 11
}

func ExampleSizeForProportion() {
	_, err := process.SizeForProportion(0, 0.02, 0.95)
	fmt.Println(errors.Is(err, process.ErrBadCoverage))
	n, err := process.SizeForProportion(0.05, 0.02, 0.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(n)
	// Output:
	// true
	// 457
}

func ExampleOptions_always() {
	subgroups := []process.Summary{}
	for i := 0; i < len(film); i += 3 {
		s, err := process.Summarize(film[i : i+3])
		if err != nil {
			fmt.Println(err)
			return
		}
		subgroups = append(subgroups, s)
	}
	r, err := process.Capability(subgroups, process.Options{Spec: process.Spec{Lower: new(60.0)}, Readings: film, Always: true})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%s, Cpk %.2f, Ppk %.2f, quotable %v\n", r.Name, *r.Cpk, *r.Ppk, r.Quotable)
	for _, reason := range r.Reasons {
		fmt.Println(reason)
	}
	// Output:
	// performance, Cpk 0.82, Ppk 0.90, quotable false
	// Only 4 subgroups; 25 are needed before an index is quoted.
	// The readings do not look normal (Anderson-Darling p = 0.037): read the expected share outside with care.
}
