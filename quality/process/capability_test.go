package process

import (
	"encoding/binary"
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// filmSpec are the limits of the published subgroups, in micrometres.
func filmSpec() Spec { return Spec{Lower: new(60.0), Upper: new(100.0), Target: new(80.0)} }

func mustCapability(t testing.TB, groups []Summary, opt Options) Result {
	t.Helper()
	r, err := Capability(groups, opt)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestCapabilityOfPublishedSubgroups(t *testing.T) {
	groups, readings := groupsOf(t, "capability/subgroups.csv", "subgroup", "film_um")
	limits := published(t, "capability/subgroups_limits.csv")[0]
	spec := Spec{Lower: optional(t, limits, "lsl"), Upper: optional(t, limits, "usl"), Target: optional(t, limits, "target")}
	want := map[string]map[string]string{}
	for _, row := range published(t, "capability/subgroups_expected.csv") {
		want[row["sigma_kind"]] = row
	}
	for method, name := range map[Within]string{
		PooledSD: "pooled", FromSBar: "S_bar/c4", FromRBar: "R_bar/d2", FromMovingRange: "MR_bar/d2",
	} {
		// The published subgroups shift, so no rule is run: the figures are what is checked here.
		r := mustCapability(t, groups, Options{Spec: spec, Within: method, Rules: []Rule{}, Readings: readings})
		row := want[name]
		near(t, name+" mean", r.Mean, num(t, row, "mean"), 1e-8)
		nearOrNone(t, name+" sigma", r.SDWithin, optional(t, row, "sigma"), 1e-8)
		for column, got := range map[string]*float64{
			"Cp_or_Pp": r.Cp, "lower": r.Cpl, "upper": r.Cpu, "Cpk_or_Ppk": r.Cpk, "Cpm": r.Cpm,
		} {
			nearOrNone(t, name+" "+column, got, optional(t, row, column), 1e-8)
		}
		row = want["overall"]
		nearOrNone(t, "overall sigma", r.SDOverall, optional(t, row, "sigma"), 1e-8)
		for column, got := range map[string]*float64{
			"Cp_or_Pp": r.Pp, "lower": r.Ppl, "upper": r.Ppu, "Cpk_or_Ppk": r.Ppk, "Cpm": r.Ppm,
		} {
			nearOrNone(t, "overall "+column, got, optional(t, row, column), 1e-8)
		}
		near(t, "ppm", *r.ExpectedBelow+*r.ExpectedAbove, num(t, row, "ppm_total"), 1e-7)
		if *r.ObservedBelow != 0 || *r.ObservedAbove != 0 || r.N != 125 || r.Subgroups != 25 || !r.Quotable {
			t.Errorf("%s: outside %d and %d of %d in %d subgroups, quotable %v (%v)",
				name, *r.ObservedBelow, *r.ObservedAbove, r.N, r.Subgroups, r.Quotable, r.Reasons)
		}
	}
}

func TestOneLimitGivesTheIndexOfItsSideOnly(t *testing.T) {
	groups := parts(t, jumping, -1, 0.5, 1, -0.5)
	r := mustCapability(t, groups, Options{Spec: Spec{Lower: new(60.0)}, Within: BetweenAndWithin})
	if r.Cp != nil || r.Cpu != nil || r.Cpm != nil || r.Pp != nil || r.Ppu != nil || r.CpInterval != nil ||
		r.CpuLowerExact != nil || r.ExpectedAbove != nil {
		t.Errorf("an index of the missing side: %+v", r)
	}
	if r.Cpk == nil || *r.Cpk != *r.Cpl || r.CplLowerExact == nil || r.CpkLower == nil || r.ExpectedBelow == nil {
		t.Fatalf("no index of the side that is limited: %+v", r)
	}
	if _, value, lower, ok := r.Headline(); !ok || value != *r.Cpk || lower != *r.CplLowerExact {
		t.Errorf("headline %g with bound %g; one limit has the exact bound, %g", value, lower, *r.CplLowerExact)
	}
	upper := mustCapability(t, groups, Options{Spec: Spec{Upper: new(100.0)}, Within: BetweenAndWithin})
	if _, value, lower, ok := upper.Headline(); !ok || value != *upper.Cpu || lower != *upper.CpuLowerExact {
		t.Errorf("headline %g with bound %g, want the exact bound", value, lower)
	}
	if !hasText(r.Notes, "One limit only") {
		t.Errorf("notes %q do not say that there is one limit", r.Notes)
	}
}

func hasText(lines []string, text string) bool {
	return slices.ContainsFunc(lines, func(line string) bool { return strings.Contains(line, text) })
}

func TestTooFewSubgroupsGiveNoIndex(t *testing.T) {
	groups := parts(t, jumping, -1, 0.5, 1, -0.5)
	opt := Options{Spec: filmSpec(), Within: BetweenAndWithin, Subgroup: "part"}
	r := mustCapability(t, groups[:18], opt)
	if anyIndex(r) || r.Quotable {
		t.Errorf("18 parts give an index: %+v", r)
	}
	if want := []string{"Only 18 parts; 25 are needed before an index is quoted."}; !slices.Equal(r.Reasons, want) {
		t.Errorf("reasons %q, want %q", r.Reasons, want)
	}
	if r.N != 72 || r.Min == r.Max || r.SDWithin == nil || r.SDOverall == nil {
		t.Errorf("the values and their range must stay: %+v", r)
	}
	if r := mustCapability(t, groups[:24], opt); anyIndex(r) {
		t.Error("24 parts give an index")
	}
	if r := mustCapability(t, groups[:25], opt); !r.Quotable || r.Cpk == nil || len(r.Reasons) != 0 {
		t.Errorf("25 parts: quotable %v, reasons %q", r.Quotable, r.Reasons)
	}
	opt.MinSubgroups = 10
	if r := mustCapability(t, groups[:18], opt); !r.Quotable {
		t.Errorf("18 parts where 10 are enough: %q", r.Reasons)
	}
}

func TestSingleReadingsNeedFifty(t *testing.T) {
	values := normalValues(60, 80, 4)
	if r := mustCapability(t, singles(t, values[:49]), Options{Spec: filmSpec()}); anyIndex(r) ||
		!hasText(r.Reasons, "Only 49 readings; 50 are needed") {
		t.Errorf("49 readings: %q", r.Reasons)
	}
	r := mustCapability(t, singles(t, values), Options{Spec: filmSpec(), Readings: values})
	if !r.Quotable || r.Within != FromMovingRange || r.Chart.Kind != KindIndividuals {
		t.Errorf("60 readings: quotable %v (%q) by %s", r.Quotable, r.Reasons, r.Within)
	}
}

func singles(t testing.TB, values []float64) []Summary {
	t.Helper()
	groups := make([]Summary, len(values))
	for i, x := range values {
		if err := groups[i].Add(x); err != nil {
			t.Fatal(err)
		}
	}
	return groups
}

// normalValues are n normal values from a fixed seed.
func normalValues(n int, mean, sd float64) []float64 {
	random := rand.New(rand.NewPCG(7, uint64(n)))
	values := make([]float64, n)
	for i := range values {
		values[i] = mean + sd*random.NormFloat64()
	}
	return values
}

// anyIndex tells whether the result has any index or figure that stands for one.
func anyIndex(r Result) bool {
	for _, x := range []*float64{
		r.Cp, r.Cpl, r.Cpu, r.Cpk, r.Cpm, r.Pp, r.Ppl, r.Ppu, r.Ppk, r.Ppm, r.CpkLower, r.PpkLower,
		r.CplLowerExact, r.CpuLowerExact, r.PplLowerExact, r.PpuLowerExact, r.ExpectedBelow, r.ExpectedAbove,
	} {
		if x != nil {
			return true
		}
	}
	return r.CpInterval != nil || r.CpkInterval != nil || r.PpInterval != nil || r.PpkInterval != nil
}

func TestUnstableProcessHasPerformanceOnly(t *testing.T) {
	drifting := slices.Clone(jumping)
	for i := range drifting {
		drifting[i] = 80 + 0.4*(drifting[i]-80) + 0.2*float64(i)
	}
	r := mustCapability(t, parts(t, drifting, -1, 0.5, 1, -0.5),
		Options{Spec: filmSpec(), Within: BetweenAndWithin, Subgroup: "part"})
	if r.Cp != nil || r.Cpk != nil || r.CpkLower != nil || r.CpkInterval != nil || r.Quotable || r.Stable {
		t.Errorf("a drifting process has capability: %+v", r)
	}
	if r.Ppk == nil || r.PpkLower == nil || r.PpkInterval == nil {
		t.Errorf("performance is missing: %+v", r)
	}
	if len(r.Reasons) != 1 || !strings.HasPrefix(r.Reasons[0], "Not stable: 9 points in a row on one side, the last at part ") ||
		!strings.HasSuffix(r.Reasons[0], ": shown as performance, not capability.") {
		t.Errorf("reasons %q", r.Reasons)
	}
	name, value, lower, ok := r.Headline()
	if !ok || name != "Ppk" || value != *r.Ppk || lower >= value {
		t.Errorf("headline %s %g, lower %g", name, value, lower)
	}
}

func TestReasonNamesRuleAndPoint(t *testing.T) {
	groups := parts(t, jumping, -1, 0.5, 1, -0.5)
	groups[9] = summarize(t, 119, 121, 120.5, 119.5)
	r := mustCapability(t, groups, Options{Spec: filmSpec(), Within: BetweenAndWithin, Subgroup: "part"})
	if want := "Not stable: 1 point beyond 3 sigma, at part 10"; r.Unstable != want {
		t.Errorf("got %q, want %q", r.Unstable, want)
	}
	groups[9] = summarize(t, 70, 90, 78, 86)
	r = mustCapability(t, groups, Options{Spec: filmSpec(), Within: BetweenAndWithin, Subgroup: "part"})
	if want := "Not stable: 1 point beyond 3 sigma on the spread within parts, at part 10"; !strings.HasPrefix(r.Unstable, want) {
		t.Errorf("got %q, want %q", r.Unstable, want)
	}
}

func TestResultSaysWhyThereIsNoIndex(t *testing.T) {
	good := parts(t, jumping, -1, 0.5, 1, -0.5)
	equal := slices.Repeat([]Summary{summarize(t, 70.1, 70.1, 70.1)}, 30)
	flat := make([]Summary, 30)
	for i := range flat {
		flat[i] = summarize(t, jumping[i%len(jumping)], jumping[i%len(jumping)])
	}
	for _, c := range []struct {
		name   string
		groups []Summary
		opt    Options
		want   string
	}{
		{"no readings", nil, Options{Spec: filmSpec()}, "No readings"},
		{"empty subgroups", make([]Summary, 30), Options{Spec: filmSpec()}, "No readings"},
		{"no limits", good, Options{Within: BetweenAndWithin}, "No limits"},
		{"no spread", equal, Options{Spec: filmSpec()}, "No spread: all 90 readings are equal"},
		{"one reading", []Summary{summarize(t, 70)}, Options{Spec: filmSpec(), Reading: "spot mean"}, "No spread: one spot mean has none"},
		{"no spread within", flat, Options{Spec: filmSpec(), Subgroup: "part"}, "No spread within parts"},
		{"no pairs", singles(t, jumping), Options{Spec: filmSpec(), Within: PooledSD}, "No subgroup has two readings"},
		{"moving range without readings", good, Options{Spec: filmSpec(), Within: FromMovingRange}, "needs the single readings"},
		{"one part", good[:1], Options{Spec: filmSpec(), Within: BetweenAndWithin}, "Only 1 subgroup, so the spread within"},
	} {
		r := mustCapability(t, c.groups, c.opt)
		if r.Quotable || r.Cpk != nil || !hasText(r.Reasons, c.want) ||
			slices.ContainsFunc(r.Reasons, func(reason string) bool { return !strings.HasSuffix(reason, ".") }) {
			t.Errorf("%s: quotable %v, reasons %q, want %q", c.name, r.Quotable, r.Reasons, c.want)
		}
		if _, _, _, ok := r.Headline(); ok && c.name != "no spread within" && c.name != "moving range without readings" {
			t.Errorf("%s: has a headline index", c.name)
		}
	}
	if r := mustCapability(t, flat, Options{Spec: filmSpec()}); r.Ppk == nil {
		t.Errorf("parts without spread within still have performance: %q", r.Reasons)
	}
}

func TestCapabilityRefusesBadInput(t *testing.T) {
	good := parts(t, jumping, -1, 0.5, 1, -0.5)
	for name, c := range map[string]struct {
		groups []Summary
		opt    Options
		want   error
	}{
		"limits reversed": {good, Options{Spec: Spec{Lower: new(9.0), Upper: new(8.0)}}, ErrBadLimits},
		"confidence":      {good, Options{Spec: filmSpec(), Confidence: 95}, ErrBadConfidence},
		"rule":            {good, Options{Spec: filmSpec(), Rules: []Rule{"n0"}}, ErrUnknownRule},
		"estimate":        {good, Options{Spec: filmSpec(), Within: "guess"}, ErrUnknownMethod},
		"chart":           {good, Options{Spec: filmSpec(), Chart: "pie"}, ErrUnknownMethod},
		"readings":        {good, Options{Spec: filmSpec(), Readings: []float64{1, 2}}, ErrBadCount},
		"summary":         {[]Summary{{N: 1, Mean: 5, Min: 1, Max: 2}}, Options{Spec: filmSpec()}, ErrBadSummary},
		"NaN":             {[]Summary{{N: 1, Mean: math.NaN()}}, Options{Spec: filmSpec()}, ErrNotFinite},
		"NaN reading":     {singles(t, []float64{1}), Options{Spec: filmSpec(), Readings: []float64{math.NaN()}}, ErrNotFinite},
	} {
		_, err := Capability(c.groups, c.opt)
		fails(t, name, err, c.want)
	}
}

// Readings on one part share its level: the bound must not take 112 of them for 112 independent ones.
func TestSpotsOnAPartAreNotIndependent(t *testing.T) {
	few := parts(t, jumping, -1, 0.5, 1, -0.5)
	many := parts(t, jumping, -1, 0.5, 1, -0.5, -1, 0.5, 1, -0.5, -1, 0.5, 1, -0.5)
	opt := Options{Spec: filmSpec(), Within: BetweenAndWithin}
	a, b := mustCapability(t, few, opt), mustCapability(t, many, opt)
	if a.IndependentOverall > 40 || a.IndependentWithin > 40 {
		t.Errorf("%d parts of 4 spots are worth %.0f and %.0f independent readings, want little over %d",
			len(few), a.IndependentWithin, a.IndependentOverall, len(few))
	}
	if *a.BetweenShare < 0.8 {
		t.Errorf("share between parts %.2f, want most", *a.BetweenShare)
	}
	if math.Abs(*a.CpkLower-*b.CpkLower) > 0.05 || math.Abs(*a.PpkLower-*b.PpkLower) > 0.05 {
		t.Errorf("three times the spots on the same parts move the bounds from %.3f and %.3f to %.3f and %.3f",
			*a.CpkLower, *a.PpkLower, *b.CpkLower, *b.PpkLower)
	}
	pooled := mustCapability(t, few, Options{Spec: filmSpec()})
	if !hasText(pooled.Notes, "of the variance lies between subgroups") {
		t.Errorf("the spread within alone flatters, and the notes %q do not say so", pooled.Notes)
	}
}

// The unit is nothing to an index: the same parts in mils have the same capability. Nor is the order of the readings
// within a part, nor the place of zero.
func TestIndexDoesNotDependOnTheUnit(t *testing.T) {
	scale := func(factor, shift float64) Result {
		groups := make([]Summary, len(jumping))
		for i, level := range jumping {
			for _, spot := range []float64{-1, 0.5, 1, -0.5} {
				if err := groups[i].Add((level+spot*(1+0.3*math.Sin(2.3*float64(i))))*factor + shift); err != nil {
					t.Fatal(err)
				}
			}
		}
		spec := Spec{Lower: new(60*factor + shift), Upper: new(100*factor + shift), Target: new(80*factor + shift)}
		return mustCapability(t, groups, Options{Spec: spec, Within: BetweenAndWithin})
	}
	um := scale(1, 0)
	for name, other := range map[string]Result{"mil": scale(1/25.4, 0), "m": scale(1e-6, 0), "shifted": scale(1, 1000)} {
		for column, pair := range map[string][2]*float64{
			"Cp": {um.Cp, other.Cp}, "Cpk": {um.Cpk, other.Cpk}, "Cpm": {um.Cpm, other.Cpm}, "Ppk": {um.Ppk, other.Ppk},
			"Cpk lower": {um.CpkLower, other.CpkLower}, "Ppk lower": {um.PpkLower, other.PpkLower},
			"exact": {um.CplLowerExact, other.CplLowerExact}, "ppm": {um.ExpectedBelow, other.ExpectedBelow},
		} {
			nearOrNone(t, column+" in "+name, pair[1], pair[0], 1e-8)
		}
	}
}

func TestOrderOfReadingsWithinAPartDoesNotMatter(t *testing.T) {
	forth := parts(t, jumping, -1, 0.5, 1, -0.5)
	back := parts(t, jumping, -0.5, 1, 0.5, -1)
	a := mustCapability(t, forth, Options{Spec: filmSpec(), Within: BetweenAndWithin})
	b := mustCapability(t, back, Options{Spec: filmSpec(), Within: BetweenAndWithin})
	nearOrNone(t, "Cpk", b.Cpk, a.Cpk, 1e-12)
	nearOrNone(t, "Ppk", b.Ppk, a.Ppk, 1e-12)
}

func TestEveryIndexCarriesWhatMustStandBesideIt(t *testing.T) {
	r := mustCapability(t, parts(t, jumping, -1, 0.5, 1, -0.5), Options{Spec: filmSpec(), Within: BetweenAndWithin})
	if r.N == 0 || r.Subgroups == 0 || r.SmallestSubgroup != 4 || r.LargestSubgroup != 4 || r.SDWithin == nil ||
		r.SDOverall == nil || r.Within.String() == "" || r.Spec.none() || r.Chart == nil || r.Normality == nil ||
		r.NormalityOf != "subgroup means" || r.CpkLower == nil || r.PpkLower == nil || r.Confidence != 0.95 {
		t.Errorf("something is missing beside the index: %+v", r)
	}
	if *r.CpkLower >= *r.Cpk || *r.PpkLower >= *r.Ppk {
		t.Error("a lower bound is not below its index")
	}
	if _, err := json.Marshal(r); err != nil { // JSON has neither NaN nor infinity
		t.Error(err)
	}
}

// FuzzCapability holds the promise that no figure is NaN or infinite and nothing panics, whatever the readings and limits:
// JSON can carry neither.
func FuzzCapability(f *testing.F) {
	f.Add(floats(74, 75, 76, 80, 81, 79, 90, 91), 60.0, 100.0, uint8(2), uint8(0))
	f.Add(floats(1e139, -1e139, 3, 4, 5, 6), -1e140, 1e140, uint8(1), uint8(3))
	f.Add(floats(1e-200, 2e-200, 1e-300, 0), 0.0, 1e-308, uint8(2), uint8(4))
	f.Add(floats(5, 5, 5, 5, 6, 6, 6, 6), 1.0, 9e99, uint8(4), uint8(2))
	f.Add(floats(-9e139, 9e139, 9e139, -9e139), -2e139, 2.5e139, uint8(0), uint8(3))
	methods := []Within{PooledSD, FromSBar, FromRBar, FromMovingRange, BetweenAndWithin, ""}
	f.Fuzz(func(t *testing.T, data []byte, lower, upper float64, size, method uint8) {
		var groups []Summary
		var readings []float64
		for ; len(data) >= 8; data = data[8:] {
			x := math.Float64frombits(binary.LittleEndian.Uint64(data))
			if len(readings)%(int(size)%6+1) == 0 {
				groups = append(groups, Summary{})
			}
			if groups[len(groups)-1].Add(x) == nil {
				readings = append(readings, x)
			}
		}
		spec := Spec{Lower: &lower, Upper: &upper, Target: new((lower + upper) / 2)}
		if lower >= upper {
			spec = Spec{Lower: &lower}
		}
		opt := Options{Spec: spec, Within: methods[int(method)%len(methods)], MinSubgroups: 2, MinReadings: 2, Readings: readings,
			Rules: NelsonRules()}
		r, err := Capability(groups, opt)
		if err != nil {
			if !errors.Is(err, ErrBadLimits) {
				t.Fatalf("ordinary readings refused: %v", err)
			}
			return
		}
		if _, err := json.Marshal(r); err != nil {
			t.Errorf("%v: %+v", err, r)
		}
		if r.Cpk != nil && (!r.Stable || r.Ppk == nil) || r.Quotable != (r.Cpk != nil && len(r.Reasons) == 0) ||
			!r.Quotable && len(r.Reasons) == 0 {
			t.Errorf("contradicts itself: %+v", r)
		}
	})
}

func TestSkewedReadingsAreSaidToBeSo(t *testing.T) {
	film := column(t, "capability/nonnormal_film_lognormal.csv", "x")
	skewed := make([]float64, len(film))
	for i, x := range film {
		skewed[i] = math.Exp(x / 20)
	}
	r := mustCapability(t, singles(t, skewed), Options{Spec: Spec{Upper: new(300.0)}, Readings: skewed, Rules: []Rule{}})
	if r.Normality == nil || r.Normality.P > 0.01 || !hasText(r.Reasons, "do not look normal") {
		t.Errorf("normality %+v, notes %q", r.Normality, r.Notes)
	}
	if r.NormalityOf != "readings" || *r.ObservedAbove == 0 || r.ObservedBelow != nil {
		t.Errorf("checked %s, observed above %v", r.NormalityOf, *r.ObservedAbove)
	}
}

func TestCapabilityFromFigures(t *testing.T) {
	r, err := CapabilityFromFigures(30, 97, 1.6, Options{Spec: Spec{Lower: new(90.0), Upper: new(100.0)}})
	if err != nil {
		t.Fatal(err)
	}
	nearOrNone(t, "Cpk", r.Cpk, new(0.625), 1e-12)
	nearOrNone(t, "Ppk", r.Ppk, new(0.625), 1e-12)
	if r.Quotable || !hasText(r.Reasons, "Stability cannot be judged") || !hasText(r.Reasons, "Only 30 readings; 50") {
		t.Errorf("quotable %v, reasons %q", r.Quotable, r.Reasons)
	}
	r, err = CapabilityFromFigures(5, 80, 5, Options{Spec: filmSpec()})
	if err != nil || !hasText(r.Notes, "far off below 10 readings") {
		t.Errorf("n 5: error %v, notes %q", err, r.Notes)
	}
	for name, c := range map[string]struct {
		n    int
		sd   float64
		spec Spec
		want error
	}{
		"n": {1, 1, filmSpec(), ErrTooFewReadings}, "sd": {30, 0, filmSpec(), ErrNoSpread},
		"limits": {30, 1, Spec{}, ErrNoLimits},
	} {
		_, err := CapabilityFromFigures(c.n, 80, c.sd, Options{Spec: c.spec})
		fails(t, name, err, c.want)
	}
}

func TestFrozenLimitsJudgeStability(t *testing.T) {
	groups := parts(t, jumping, -1, 0.5, 1, -0.5)
	opt := Options{Spec: filmSpec(), Within: BetweenAndWithin}
	opt.Limits = &Limits{Center: 95, Sigma: 1, Between: 2}
	r := mustCapability(t, groups, opt)
	if r.Stable || r.Cpk != nil || !r.Chart.Frozen {
		t.Errorf("parts far from their frozen centre line are called stable: %+v", r.Unstable)
	}
}
