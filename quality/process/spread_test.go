package process

import (
	"go/build"
	"math"
	"slices"
	"strings"
	"testing"
)

// The degrees of freedom promised for an estimate decide its bounds: they must match how much it really varies.
func TestEstimatesVaryAsTheirDegreesOfFreedomSay(t *testing.T) {
	const trials, size, groups = 3000, 5, 20
	estimates := map[Within]*Summary{PooledSD: {}, FromSBar: {}, FromRBar: {}, FromMovingRange: {}}
	promised := map[Within]float64{}
	values := normalValues(trials*size*groups, 0, 1)
	for trial := range trials {
		sample := values[trial*size*groups : (trial+1)*size*groups]
		subgroups := make([]Summary, groups)
		for i := range subgroups {
			subgroups[i] = summarize(t, sample[i*size:(i+1)*size]...)
		}
		for method, seen := range estimates {
			from := subgroups
			if method == FromMovingRange {
				from = singles(t, sample)
			}
			spread, err := SpreadWithin(from, method)
			if err != nil {
				t.Fatal(err)
			}
			if err := seen.Add(spread.Sigma); err != nil {
				t.Fatal(err)
			}
			promised[method] = spread.DF
		}
	}
	for method, seen := range estimates {
		cv := seen.sd() / seen.Mean
		if worth := 1 / (2 * cv * cv); math.Abs(worth/promised[method]-1) > 0.1 {
			t.Errorf("%s: worth %.1f degrees of freedom, promised %.1f", method, worth, promised[method])
		}
		if method != PooledSD && math.Abs(seen.Mean-1) > 0.01 {
			t.Errorf("%s: mean %.4f, want 1: the estimate is biased", method, seen.Mean)
		}
	}
}

// Capability bounds for parts with spots must hold as often as they say, although the spots of a part are alike.
func TestLowerBoundHoldsForSpotsOnParts(t *testing.T) {
	const trials, parts, spots = 1000, 30, 5
	const between, within = 4.0, 2.0
	truth := (80.0 - 60) / (3 * math.Hypot(between, within))
	values := normalValues(trials*parts*(spots+1), 0, 1)
	held := map[string]int{}
	for range trials {
		groups := make([]Summary, parts)
		for i := range groups {
			level := 80 + between*values[0]
			for _, z := range values[1 : spots+1] {
				if err := groups[i].Add(level + within*z); err != nil {
					t.Fatal(err)
				}
			}
			values = values[spots+1:]
		}
		r := mustCapability(t, groups, Options{Spec: Spec{Lower: new(60.0)}, Within: BetweenAndWithin, Rules: []Rule{}})
		for name, lower := range map[string]*float64{"Cpk": r.CpkLower, "Ppk": r.PpkLower, "exact Ppl": r.PplLowerExact} {
			if *lower <= truth {
				held[name]++
			}
		}
	}
	for _, name := range []string{"Cpk", "Ppk", "exact Ppl"} {
		if share := float64(held[name]) / trials; share < 0.93 || share > 0.985 {
			t.Errorf("the 95 %% bound of %s held %.1f %% of the time", name, 100*share)
		}
	}
}

func TestEstimatesHaveNames(t *testing.T) {
	for _, method := range []Within{PooledSD, FromSBar, FromRBar, FromMovingRange, BetweenAndWithin} {
		if text := method.String(); !strings.Contains(text, " ") {
			t.Errorf("%s has no name for print: %q", string(method), text)
		}
	}
}

// The package computes and does nothing else: no files, no network, nothing of the rest of the program.
func TestProcessStandsAlone(t *testing.T) {
	pkg, err := build.ImportDir(".", 0)
	if err != nil {
		t.Fatal(err)
	}
	allowed := []string{
		"cmp", "errors", "fmt", "math", "math/big", "math/bits", "slices", "strings", "sync",
		"gonum.org/v1/gonum/integrate/quad", "gonum.org/v1/gonum/mathext", "gonum.org/v1/gonum/stat/distuv",
	}
	for _, imported := range pkg.Imports {
		if !slices.Contains(allowed, imported) {
			t.Errorf("process imports %s", imported)
		}
	}
}
