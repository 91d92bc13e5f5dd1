package process

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// fitRow reads the expected figures of one set, by the start of the method's name.
func fitRow(t testing.TB, file, method string) map[string]string {
	t.Helper()
	for _, row := range published(t, file) {
		if strings.HasPrefix(row["method"], method) {
			return row
		}
	}
	t.Fatalf("%s has no %s", file, method)
	return nil
}

// parametersOf reads "mu=4.39 sigma=0.14".
func parametersOf(t testing.TB, text string) []float64 {
	t.Helper()
	var values []float64
	for word := range strings.FieldsSeq(text) {
		_, figure, _ := strings.Cut(word, "=")
		x, err := strconv.ParseFloat(figure, 64)
		if err != nil {
			t.Fatal(err)
		}
		values = append(values, x)
	}
	return values
}

func TestFitsAgreeWithPublishedValues(t *testing.T) {
	for _, set := range []string{"nonnormal_film_lognormal", "nonnormal_weibull"} {
		values := column(t, "capability/"+set+".csv", "x")
		limits := published(t, "capability/"+set+"_limits.csv")[0]
		spec := Spec{Lower: optional(t, limits, "lsl"), Upper: optional(t, limits, "usl")}
		for law, method := range map[Distribution]string{
			NormalLaw: "normal", LognormalLaw: "lognormal MLE", WeibullLaw: "weibull MLE", BoxCoxLaw: "box-cox",
		} {
			row, name := fitRow(t, "capability/"+set+"_expected.csv", method), set+" "+string(law)
			tolerance := 1e-6
			if law == BoxCoxLaw {
				tolerance = 2e-5 // λ is given to six decimals
			}
			original := slices.Clone(values)
			fit, err := FitDistribution(values, law)
			if err != nil {
				t.Fatal(err)
			}
			for i, want := range parametersOf(t, row["parameters"]) {
				near(t, name+" "+fit.Parameters[i].Name, fit.Parameters[i].Value, want, tolerance)
			}
			if law != BoxCoxLaw {
				nearOrNone(t, name+" 0.135 %", fit.Low, optional(t, row, "x_0.135%"), tolerance)
				nearOrNone(t, name+" 50 %", fit.Middle, optional(t, row, "x_50%"), tolerance)
				nearOrNone(t, name+" 99.865 %", fit.High, optional(t, row, "x_99.865%"), tolerance)
			}
			x, err := fit.Indices(spec)
			if err != nil {
				t.Fatal(err)
			}
			nearOrNone(t, name+" Pp", x.P, optional(t, row, "Pp"), tolerance)
			nearOrNone(t, name+" Ppl", x.L, optional(t, row, "Ppl"), tolerance)
			nearOrNone(t, name+" Ppu", x.U, optional(t, row, "Ppu"), tolerance)
			nearOrNone(t, name+" Ppk", x.K, optional(t, row, "Ppk"), tolerance)
			below, above, err := fit.ExpectedOutside(spec)
			if err != nil {
				t.Fatal(err)
			}
			if below != nil {
				near(t, name+" below", *below, num(t, row, "ppm_below"), max(tolerance, 5e-5))
			}
			near(t, name+" above", *above, num(t, row, "ppm_above"), max(tolerance, 5e-5))
			if !slices.Equal(values, original) {
				t.Errorf("%s: the readings were changed", name)
			}
		}
	}
}

func TestQuantilesAgreeWithPublishedValues(t *testing.T) {
	for _, set := range []string{"nonnormal_film_lognormal", "nonnormal_weibull"} {
		values := column(t, "capability/"+set+".csv", "x")
		for method, definition := range map[string]QuantileDefinition{
			"empirical percentiles, type 7": Type7, "empirical percentiles, type 6": Type6,
		} {
			row := fitRow(t, "capability/"+set+"_expected.csv", method)
			q, err := Quantiles(values, definition, upperTail(3), 0.5, upperTail(-3))
			if err != nil {
				t.Fatal(err)
			}
			near(t, set+" low, "+definition.String(), q[0], num(t, row, "x_0.135%"), 1e-8)
			near(t, set+" middle", q[1], num(t, row, "x_50%"), 1e-8)
			near(t, set+" high", q[2], num(t, row, "x_99.865%"), 1e-8)
		}
		row := fitRow(t, "capability/"+set+"_expected.csv", "handbook Cnpk")
		q, err := Quantiles(values, Type7, 0.005, 0.5, 0.995)
		if err != nil {
			t.Fatal(err)
		}
		near(t, set+" 0.5 %", q[0], num(t, row, "x_0.135%"), 1e-8)
		near(t, set+" 99.5 %", q[2], num(t, row, "x_99.865%"), 1e-8)
	}
	// By hand: places 1.25, 1 and 13/12 of 1, 2, 4.
	for definition, want := range map[QuantileDefinition]float64{Type7: 1.25, Type6: 1, Type8: 1} {
		q, err := Quantiles([]float64{4, 1, 2}, definition, 0.125)
		if err != nil || math.Abs(q[0]-want) > 1e-15 {
			t.Errorf("%s: %v, %v; want %g", definition, q, err, want)
		}
	}
	for name, c := range map[string]struct {
		values     []float64
		definition QuantileDefinition
		share      float64
		want       error
	}{
		"none": {nil, Type7, 0.5, ErrTooFewReadings}, "share": {[]float64{1}, Type7, 1.5, ErrBadCoverage},
		"definition": {[]float64{1}, 3, 0.5, ErrUnknownMethod}, "NaN": {[]float64{math.NaN()}, Type7, 0.5, ErrNotFinite},
	} {
		_, err := Quantiles(c.values, c.definition, c.share)
		fails(t, name, err, c.want)
	}
}

// A law does not know the unit: in mils, the indices are the same and the quantiles 25.4 times smaller.
func TestFitDoesNotDependOnTheUnit(t *testing.T) {
	um := column(t, "capability/nonnormal_film_lognormal.csv", "x")
	for _, law := range []Distribution{NormalLaw, LognormalLaw, WeibullLaw, BoxCoxLaw} {
		a, err := FitDistribution(um, law)
		if err != nil {
			t.Fatal(err)
		}
		for _, factor := range []float64{1 / 25.4, 1e-6, 1e6} {
			other := make([]float64, len(um))
			for i, x := range um {
				other[len(um)-1-i] = x * factor // order does not matter either
			}
			b, err := FitDistribution(other, law)
			if err != nil {
				t.Fatal(err)
			}
			x, err := a.Indices(Spec{Lower: new(60.0), Upper: new(120.0)})
			if err != nil {
				t.Fatal(err)
			}
			y, err := b.Indices(Spec{Lower: new(60 * factor), Upper: new(120 * factor)})
			if err != nil {
				t.Fatal(err)
			}
			nearOrNone(t, string(law)+" P", y.P, x.P, 1e-9)
			nearOrNone(t, string(law)+" K", y.K, x.K, 1e-9)
			near(t, string(law)+" median", *b.Middle, *a.Middle*factor, 1e-9)
			near(t, string(law)+" A²", b.GoodnessOfFit.Statistic, a.GoodnessOfFit.Statistic, 1e-8)
		}
	}
}

// λ is where the likelihood is largest, and the law of the transform at λ = 1 is the normal one, at 0 the lognormal.
func TestBoxCoxMaximisesItsLikelihood(t *testing.T) {
	values := column(t, "capability/nonnormal_weibull.csv", "x")
	fit, err := FitDistribution(values, BoxCoxLaw)
	if err != nil {
		t.Fatal(err)
	}
	likelihood := func(lambda float64) float64 {
		var logs float64
		transformed := make([]float64, len(values))
		for i, x := range values {
			transformed[i] = (math.Pow(x, lambda) - 1) / lambda
			logs += math.Log(x)
		}
		s := summarize(t, transformed...)
		n := float64(s.N)
		return -n/2*math.Log(s.M2/n) + (lambda-1)*logs
	}
	lambda := fit.Parameters[0].Value
	if top := likelihood(lambda); top < likelihood(lambda-1e-3) || top < likelihood(lambda+1e-3) {
		t.Errorf("the likelihood at λ %g is not the largest", lambda)
	}
	for _, w := range []float64{-0.00099999, 0.00099999, -0.00100001, 0.00100001} { // both forms of the transform meet
		y, slope := powerOf(w, 1)
		near(t, "transform", y, math.Expm1(w)/w, 1e-15)
		near(t, "slope", slope, 1.0/2+w/3+w*w/8+w*w*w/30, 1e-9)
	}
}

// Critical values of A² (1 + 0.2/√n) as printed by Stephens (1977) for the Weibull law, both parameters estimated (from memory).
func TestWeibullFitHasStephensCriticalValues(t *testing.T) {
	for critical, p := range map[float64]float64{0.474: 0.25, 0.637: 0.10, 0.757: 0.05, 0.877: 0.025, 1.038: 0.01} {
		if got := weibullP(critical); math.Abs(got-p) > 0.002 {
			t.Errorf("A*² %g: p %.4f, want %g", critical, got, p)
		}
	}
}

func TestFitRefusesWhatTheLawCannotHave(t *testing.T) {
	for _, law := range []Distribution{LognormalLaw, WeibullLaw, BoxCoxLaw} {
		_, err := FitDistribution([]float64{1, 2, 0, 3}, law)
		fails(t, "zero", err, ErrNotPositive)
		_, err = FitDistribution([]float64{1, 2}, law)
		fails(t, "two", err, ErrTooFewReadings)
		_, err = FitDistribution([]float64{4, 4, 4}, law)
		fails(t, "equal", err, ErrNoSpread)
		_, err = FitDistribution([]float64{4, math.Inf(1), 4}, law)
		fails(t, "infinite", err, ErrNotFinite)
		fit, err := FitDistribution([]float64{4, 5, 7, 6, 9, 5}, law)
		if err != nil {
			t.Fatal(err)
		}
		_, err = fit.Indices(Spec{})
		fails(t, "no limits", err, ErrNoLimits)
		_, err = fit.Indices(Spec{Lower: new(2.0), Upper: new(1.0)})
		fails(t, "reversed", err, ErrBadLimits)
		below, _, err := fit.ExpectedOutside(Spec{Lower: new(-1.0)})
		if err != nil || *below != 0 {
			t.Errorf("%s: below a negative limit %v, %v", law, *below, err)
		}
	}
	_, err := FitDistribution([]float64{4, 5, 7}, "cauchy")
	fails(t, "unknown", err, ErrUnknownMethod)
}

// FuzzFit holds that a fit of any readings is finite or an error.
func FuzzFit(f *testing.F) {
	f.Add(floats(60, 70, 80, 90, 100), uint8(3), 65.0)
	f.Add(floats(1e-300, 1, 1e139), uint8(2), 1e-5)
	f.Add(floats(1, 1, 1, 1, 1.0000001), uint8(3), 1.0)
	f.Fuzz(func(t *testing.T, data []byte, which uint8, lower float64) {
		values := numbersOf(data)
		law := []Distribution{NormalLaw, LognormalLaw, WeibullLaw, BoxCoxLaw}[which%4]
		fit, err := FitDistribution(values, law)
		if err != nil {
			return
		}
		x, err := fit.Indices(Spec{Lower: &lower})
		if err == nil {
			if x.K == nil || math.IsNaN(*x.K) || math.IsInf(*x.K, 0) {
				t.Errorf("%s of %v: index %v", law, values, x.K)
			}
			if _, _, err := fit.ExpectedOutside(Spec{Lower: &lower}); err != nil {
				t.Error(err)
			}
		}
		for _, p := range append(fit.Parameters, Parameter{"p", fit.GoodnessOfFit.P}, Parameter{"A²", fit.GoodnessOfFit.Statistic}) {
			if math.IsNaN(p.Value) || math.IsInf(p.Value, 0) {
				t.Errorf("%s of %v: %s %g", law, values, p.Name, p.Value)
			}
		}
	})
}
