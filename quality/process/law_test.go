package process

import (
	"encoding/json"
	"math"
	"slices"
	"testing"
)

func oneGroup(t testing.TB, values []float64) []Summary {
	t.Helper()
	return []Summary{summarize(t, values...)}
}

func TestCapabilityByPercentiles(t *testing.T) {
	film := column(t, "capability/nonnormal_film_lognormal.csv", "x")
	spec := Spec{Lower: new(60.0), Upper: new(120.0)}
	for law, method := range map[Distribution]string{LognormalLaw: "lognormal MLE", WeibullLaw: "weibull MLE", BoxCoxLaw: "box-cox"} {
		row := fitRow(t, "capability/nonnormal_film_lognormal_expected.csv", method)
		r := mustCapability(t, oneGroup(t, film), Options{Spec: spec, Readings: film, Distribution: law, Always: true})
		nearOrNone(t, string(law)+" Ppk", r.Ppk, optional(t, row, "Ppk"), 1e-5)
		nearOrNone(t, string(law)+" Pp", r.Pp, optional(t, row, "Pp"), 1e-5)
		near(t, string(law)+" ppm", *r.ExpectedBelow, num(t, row, "ppm_below"), 5e-5)
		if r.Cpk != nil || r.PpkInterval != nil || r.Fit == nil || !hasText(r.Notes, "percentile method") {
			t.Errorf("%s: %+v", law, r)
		}
		near(t, "observed below", *r.ObservedBelowPPM, 1e6*float64(*r.ObservedBelow)/120, 1e-12)
		if _, err := json.Marshal(r); err != nil {
			t.Error(err)
		}
		rejected := hasText(r.Reasons, "do not follow a "+string(law))
		if rejected != (r.Fit.GoodnessOfFit.P < 0.05) || rejected && r.Quotable {
			t.Errorf("%s: p %g, reasons %q", law, r.Fit.GoodnessOfFit.P, r.Reasons)
		}
	}
	_, err := Capability(oneGroup(t, film), Options{Spec: spec, Distribution: LognormalLaw})
	fails(t, "no readings", err, ErrTooFewReadings)
	_, err = Capability(oneGroup(t, film), Options{Spec: spec, Distribution: "cauchy", Readings: film})
	fails(t, "unknown", err, ErrUnknownMethod)
	below := append(slices.Clone(film), -1)
	_, err = Capability(oneGroup(t, below), Options{Spec: spec, Distribution: WeibullLaw, Readings: below})
	fails(t, "a negative reading", err, ErrNotPositive)
}

// A stable lot of lognormal readings that its law fits may be quoted by percentiles.
func TestFittedLawCanBeQuotable(t *testing.T) {
	values := normalValues(120, 4.4, 0.1)
	for i, x := range values {
		values[i] = math.Exp(x)
	}
	opt := Options{Spec: Spec{Lower: new(50.0)}, Readings: values, Distribution: LognormalLaw, Gauge: &Gauge{Resolution: 0.1, Study: new(8.0)}}
	r := mustCapability(t, oneGroup(t, values), opt)
	if !r.Quotable || r.Name != "capability" || r.Ppk == nil {
		t.Errorf("quotable %v, %s, reasons %q", r.Quotable, r.Name, r.Reasons)
	}
}

func TestAlwaysGivesFiguresAndKeepsTheJudgement(t *testing.T) {
	groups, readings := groupsOf(t, "capability/subgroups.csv", "subgroup", "film_um")
	opt := Options{Spec: filmSpec(), Readings: readings}
	withheld := mustCapability(t, groups, opt)
	if withheld.Cpk != nil || withheld.Name != "performance" || withheld.Stable {
		t.Fatalf("the published subgroups shift; got %s, Cpk %v", withheld.Name, withheld.Cpk)
	}
	opt.Always = true
	r := mustCapability(t, groups, opt)
	for _, row := range published(t, "capability/subgroups_expected.csv") {
		if row["sigma_kind"] == "pooled" {
			nearOrNone(t, "Cpk", r.Cpk, optional(t, row, "Cpk_or_Ppk"), 1e-8)
		}
	}
	if r.Quotable || r.Name != "performance" || !slices.Equal(r.Reasons, withheld.Reasons) {
		t.Errorf("quotable %v, %s, reasons %q", r.Quotable, r.Name, r.Reasons)
	}
	few := mustCapability(t, singles(t, []float64{78, 80, 83, 79}), Options{Spec: filmSpec(), Always: true})
	if few.Ppk == nil || few.Quotable || !hasText(few.Reasons, "Only 4 readings") || !hasText(few.Notes, "far off below 10") {
		t.Errorf("four readings: Ppk %v, reasons %q, notes %q", few.Ppk, few.Reasons, few.Notes)
	}
}

func TestGaugeCanForbidAnIndex(t *testing.T) {
	groups := parts(t, jumping, -1, 0.5, 1, -0.5)
	for name, c := range map[string]struct {
		gauge  *Gauge
		reason string
		note   string
	}{
		"unknown":    {nil, "", "The gauge was not judged"},
		"good":       {&Gauge{Resolution: 0.1, Study: new(5.0)}, "", ""},
		"so-so":      {&Gauge{Resolution: 0.1, Study: new(20.0)}, "", "takes 20 %"},
		"on ten":     {&Gauge{Resolution: 0.1, Study: new(10.0), Of: "tolerance"}, "", "takes 10 % of the tolerance"},
		"few groups": {&Gauge{Resolution: 0.1, Study: new(5.0), Categories: new(4)}, "", "only 4 groups"},
		"bad":        {&Gauge{Resolution: 0.1, Study: new(31.0)}, "takes 31 %", ""},
		"no study":   {&Gauge{Resolution: 0.1}, "No gauge study", ""},
		"coarse":     {&Gauge{Resolution: 5, Study: new(5.0)}, "The gauge resolves 5;", ""},
		"resolution": {&Gauge{Study: new(5.0)}, "", ""},
	} {
		r := mustCapability(t, groups, Options{Spec: filmSpec(), Within: BetweenAndWithin, Gauge: c.gauge})
		if r.Quotable != (c.reason == "") || c.reason != "" && !hasText(r.Reasons, c.reason) || c.note != "" && !hasText(r.Notes, c.note) {
			t.Errorf("%s: quotable %v, reasons %q, notes %q", name, r.Quotable, r.Reasons, r.Notes)
		}
		if r.Cpk == nil {
			t.Errorf("%s: the gauge must not hide the index", name)
		}
	}
	rounded := normalValues(60, 80, 0.8)
	for i, x := range rounded {
		rounded[i] = float64(int(x + 0.5))
	}
	r := mustCapability(t, singles(t, rounded), Options{Spec: filmSpec(), Readings: rounded, Rules: []Rule{}})
	if !hasText(r.Reasons, "The gauge resolves 1;") {
		t.Errorf("readings in steps of 1 with s %.2f: %q", *r.SDOverall, r.Reasons)
	}
	_, err := Capability(groups, Options{Spec: filmSpec(), Gauge: &Gauge{Resolution: -1}})
	fails(t, "negative resolution", err, ErrNotFinite)
}

func TestReadingsThatAreNotNormalAreNotQuoted(t *testing.T) {
	values := normalValues(200, 4, 0.5)
	for i, x := range values {
		values[i] = math.Exp(x)
	}
	r := mustCapability(t, oneGroup(t, values), Options{Spec: Spec{Upper: new(1000.0)}, Readings: values, Rules: []Rule{}})
	if r.Quotable || !hasText(r.Reasons, "do not look normal") || r.Cpk == nil {
		t.Errorf("quotable %v, reasons %q", r.Quotable, r.Reasons)
	}
}

// One subgroup of readings in time order is charted reading by reading.
func TestOneSubgroupIsChartedByItsReadings(t *testing.T) {
	values := normalValues(60, 80, 4)
	r := mustCapability(t, oneGroup(t, values), Options{Spec: filmSpec(), Readings: values})
	if r.Chart == nil || r.Chart.Kind != KindIndividuals || len(r.Chart.Points) != 60 || !r.Quotable {
		t.Errorf("chart %+v, reasons %q", r.Chart, r.Reasons)
	}
	if *r.SDWithin != *r.SDOverall {
		t.Errorf("one subgroup: within %g, overall %g", *r.SDWithin, *r.SDOverall)
	}
}
