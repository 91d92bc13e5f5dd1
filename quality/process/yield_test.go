package process

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

func TestProportionIntervalsAgreeWithPublishedValues(t *testing.T) {
	for _, row := range published(t, "attributes/proportion_intervals.csv") {
		x, n, confidence := integer(t, row, "x"), integer(t, row, "n"), num(t, row, "conf")
		p, err := NewProportion(x, n, confidence)
		if err != nil {
			t.Fatal(err)
		}
		upper, err := ClopperPearsonUpper(x, n, confidence)
		if err != nil {
			t.Fatal(err)
		}
		count, err := CountInterval(x, confidence)
		if err != nil {
			t.Fatal(err)
		}
		for column, got := range map[string]float64{
			"p_hat": p.Value, "wilson_lo": p.Wilson.Low, "wilson_hi": p.Wilson.High, "clopper_lo": p.Exact.Low,
			"clopper_hi": p.Exact.High, "clopper_upper_one_sided": upper,
			"poisson_exact_lo(count x)": count.Low, "poisson_exact_hi(count x)": count.High,
		} {
			near(t, row["x"]+" of "+row["n"]+", "+column, got, num(t, row, column), 1e-7)
		}
	}
}

// The requirement's own vector: 3 rejects of 200 are 1.5 %, 95 % interval 0.31 % to 4.32 %.
func TestThreeRejectsOfTwoHundred(t *testing.T) {
	p, err := NewProportion(3, 200, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	if p.Value != 0.015 || math.Abs(p.Exact.Low-0.0031) > 5e-5 || math.Abs(p.Exact.High-0.0432) > 5e-5 {
		t.Errorf("got %.4f (%.4f to %.4f), want 0.0150 (0.0031 to 0.0432)", p.Value, p.Exact.Low, p.Exact.High)
	}
	good, err := NewProportion(197, 200, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "good is the mirror of rejected", good.Exact.Low, 1-p.Exact.High, 1e-12)
	near(t, "good is the mirror of rejected", good.Exact.High, 1-p.Exact.Low, 1e-12)
}

// The defining property of the exact interval: at its ends, x or fewer and x or more have probability 2.5 %.
func TestExactIntervalHasItsTails(t *testing.T) {
	for _, c := range []struct{ x, n int }{{1, 5}, {4, 9}, {12, 40}, {39, 40}} {
		ends, err := ClopperPearson(c.x, c.n, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "x or fewer at the upper end", binomialCDF(c.x, c.n, ends.High), 0.025, 1e-9)
		near(t, "x or more at the lower end", 1-binomialCDF(c.x-1, c.n, ends.Low), 0.025, 1e-9)
	}
}

func binomialCDF(x, n int, p float64) float64 {
	total := 0.0
	term := math.Pow(1-p, float64(n))
	for k := 0; k <= x; k++ {
		total += term
		term *= float64(n-k) / float64(k+1) * p / (1 - p)
	}
	return total
}

func TestProportionsRefuseImpossibleCounts(t *testing.T) {
	for name, c := range map[string]struct {
		x, n       int
		confidence float64
		want       error
	}{
		"of none": {0, 0, 0.95, ErrTooFewReadings}, "negative": {-1, 5, 0.95, ErrBadCount}, "too many": {6, 5, 0.95, ErrBadCount},
		"one of none": {1, 0, 0.95, ErrBadCount}, "confidence": {1, 5, 95, ErrBadConfidence},
		"no confidence": {1, 5, math.NaN(), ErrBadConfidence},
	} {
		_, err := NewProportion(c.x, c.n, c.confidence)
		fails(t, name, err, c.want)
		_, err = Wilson(c.x, c.n, c.confidence)
		fails(t, name, err, c.want)
		_, err = ClopperPearsonUpper(c.x, c.n, c.confidence)
		fails(t, name, err, c.want)
	}
	_, err := CountInterval(-1, 0.95)
	fails(t, "negative count", err, ErrBadCount)
	_, err = CountInterval(1, 1)
	fails(t, "confidence of a count", err, ErrBadConfidence)
}

func stepsOf(t *testing.T, line string) []Step {
	t.Helper()
	var steps []Step
	for _, row := range published(t, "attributes/yield_steps.csv") {
		if row["line"] == line {
			steps = append(steps, Step{Name: row["step"], In: integer(t, row, "units_in"),
				FailedFirstPass: integer(t, row, "failed_first_pass"), Recovered: integer(t, row, "recovered_by_rework")})
		}
	}
	return steps
}

func TestYieldsAgreeWithPublishedValues(t *testing.T) {
	for _, line := range []string{"line_A", "line_B"} {
		want := map[string]float64{}
		for _, row := range published(t, "attributes/yield_expected.csv") {
			if row["line"] == line {
				want[row["item"]] = num(t, row, "expected")
			}
		}
		y, err := LineYield(stepsOf(t, line), 0.95)
		if err != nil {
			t.Fatal(err)
		}
		near(t, line+" normalised", *y.Normalized, want["normalised_yield (RTY^(1/steps))"], 1e-9)
		near(t, line+" rolled", *y.Rolled, want["rolled_throughput_yield"], 1e-9)
		near(t, line+" final", *y.Final, want["product of final (after rework) yields"], 1e-9)
		d, err := DefectRate(int(want["defects"]), int(want["units"]), int(want["opportunities_per_unit"]), 0.95)
		if err != nil {
			t.Fatal(err)
		}
		near(t, line+" DPU", d.PerUnit, want["DPU"], 1e-12)
		near(t, line+" DPMO", d.PerMillion, want["DPMO"], 1e-9)
		near(t, line+" exp(-DPU)", d.NoneExpected, want["exp(-DPU)"], 1e-9)
	}
	i := 0
	for _, line := range []string{"line_A", "line_B"} {
		y, err := LineYield(stepsOf(t, line), 0.95)
		if err != nil {
			t.Fatal(err)
		}
		for _, step := range y.Steps {
			row := published(t, "attributes/yield_steps.csv")[i]
			near(t, line+" "+step.Name+" first pass", step.FirstPass.Value, num(t, row, "first_pass_yield"), 1e-9)
			near(t, line+" "+step.Name+" final", step.Final.Value, num(t, row, "final_yield"), 1e-9)
			i++
		}
	}
}

func TestReworkCountsAgainstFirstPassOnly(t *testing.T) {
	y, err := LineYield([]Step{{Name: "film", In: 200, FailedFirstPass: 3, Recovered: 3}}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "first pass", y.Steps[0].FirstPass.Value, 0.985, 1e-12)
	near(t, "final", y.Steps[0].Final.Value, 1, 0)
	// One step: the rolled interval is that of the step.
	for _, rolled := range []*Interval{y.RolledInterval, y.RolledGuaranteed} {
		near(t, "rolled over one step, low", rolled.Low, y.Steps[0].FirstPass.Exact.Low, 1e-12)
		near(t, "rolled over one step, high", rolled.High, y.Steps[0].FirstPass.Exact.High, 1e-12)
	}
}

// What the documentation says of the two intervals of a rolled yield, at 90 %.
func TestRolledIntervalsHoldTheTrueYield(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	const trials = 1500
	for _, line := range []struct {
		parts int
		truth []float64
	}{{60, []float64{0.9, 0.97, 0.8, 0.995}}, {58, []float64{0.97, 0.995, 0.93}}, {200, []float64{0.99, 0.99, 0.99, 0.99}}} {
		held, guaranteed, tooHigh := 0, 0, 0
		for range trials {
			steps := make([]Step, len(line.truth))
			product, in := 1.0, line.parts
			for i, p := range line.truth {
				product *= p
				steps[i] = Step{Name: "step", In: in}
				for range in {
					if random.Float64() > p {
						steps[i].FailedFirstPass++
					}
				}
				in -= steps[i].FailedFirstPass // only what passes goes on
			}
			y, err := LineYield(steps, 0.9)
			if err != nil {
				t.Fatal(err)
			}
			holds := func(ends *Interval) bool { return ends.Low <= product && product <= ends.High }
			if holds(y.RolledInterval) {
				held++
			}
			if holds(y.RolledGuaranteed) {
				guaranteed++
			}
			if y.RolledInterval.Low > product {
				tooHigh++
			}
			if y.RolledInterval.Low < y.RolledGuaranteed.Low-1e-12 || *y.Rolled > y.RolledInterval.High {
				t.Fatalf("rolled %g, interval %v, guaranteed %v", *y.Rolled, *y.RolledInterval, *y.RolledGuaranteed)
			}
		}
		if held < trials*86/100 || guaranteed < trials*90/100 || tooHigh > trials*6/100 {
			t.Errorf("%v: held %d, guaranteed %d, promised too much %d times of %d",
				line, held, guaranteed, tooHigh, trials)
		}
	}
}

func TestStepThatPassesNothingRollsToNothing(t *testing.T) {
	y, err := LineYield([]Step{{Name: "weld", In: 20, FailedFirstPass: 1}, {Name: "cure", In: 8, FailedFirstPass: 8}}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	if *y.Rolled != 0 || y.RolledInterval.Low != 0 || !(y.RolledInterval.High > 0.3 && y.RolledInterval.High < 0.5) {
		t.Errorf("got %g (%v); nothing of 8 leaves up to some 40 %% open", *y.Rolled, *y.RolledInterval)
	}
}

func TestFailuresAreCountedOnTheUnitsThatStarted(t *testing.T) {
	y, err := LineYield(stepsOf(t, "line_A"), 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "failures per unit", *y.FailuresPerUnit, 47.0/480, 1e-15) // by hand: 12+20+6+9 of 480
	none, err := LineYield([]Step{{Name: "weld"}, {Name: "cure", In: 5}}, 0.95)
	if err != nil || none.FailuresPerUnit != nil || none.Normalized != nil {
		t.Errorf("nothing started: %+v, %v", none, err)
	}
}

func TestStepWithoutPartsHasNoYield(t *testing.T) {
	y, err := LineYield([]Step{{Name: "weld", In: 5}, {Name: "cure"}}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	if y.Rolled != nil || y.RolledInterval != nil || y.Final != nil || y.Steps[1].FirstPass != nil || y.Steps[0].FirstPass == nil {
		t.Errorf("a step without parts has a yield: %+v", y)
	}
	if !strings.Contains(y.Reason, "No parts through cure") {
		t.Errorf("reason %q", y.Reason)
	}
}

func TestYieldRefusesImpossibleCounts(t *testing.T) {
	for _, step := range []Step{
		{In: -1}, {In: 5, FailedFirstPass: 6}, {In: 5, FailedFirstPass: 2, Recovered: 3}, {In: 5, FailedFirstPass: -1},
		{In: 5, Recovered: -1},
	} {
		step.Name = "cure"
		_, err := LineYield([]Step{step}, 0.95)
		fails(t, "step", err, ErrBadCount)
		if !strings.Contains(err.Error(), "cure") {
			t.Errorf("%v does not name the step", err)
		}
	}
	_, err := LineYield(nil, 0.95)
	fails(t, "no steps", err, ErrTooFewReadings)
	_, err = LineYield([]Step{{In: 5}}, 0)
	fails(t, "confidence", err, ErrBadConfidence)
	_, err = DefectRate(1, 0, 1, 0.95)
	fails(t, "no units", err, ErrTooFewReadings)
	_, err = DefectRate(1, 5, 0, 0.95)
	fails(t, "no opportunities", err, ErrBadCount)
	_, err = DefectRate(1, 5, 1, 95)
	fails(t, "confidence of defects", err, ErrBadConfidence)
}

func TestParetoSortsAndAddsUp(t *testing.T) {
	bars, err := Pareto([]Tally{{"runs", 2}, {"inclusion", 5}, {"thin", 2}, {"inclusion", 1}, {"crater", 0}})
	if err != nil {
		t.Fatal(err)
	}
	want := []ParetoBar{{Tally{"inclusion", 6}, 0.6, 0.6}, {Tally{"runs", 2}, 0.2, 0.8}, {Tally{"thin", 2}, 0.2, 1}}
	if !slices.Equal(bars, want) {
		t.Errorf("got %v, want %v", bars, want)
	}
	if bars, err := Pareto(nil); err != nil || len(bars) != 0 {
		t.Errorf("nothing counted: %v, %v", bars, err)
	}
	_, err = Pareto([]Tally{{"runs", -1}})
	fails(t, "negative", err, ErrBadCount)
}
