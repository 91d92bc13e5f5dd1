package process

import (
	"math"
	"testing"
)

func BenchmarkSummarizeMillion(b *testing.B) {
	values := normalValues(1_000_000, 80, 5)
	for b.Loop() {
		if _, err := Summarize(values); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkPlainTwoPassMillion is what the summary is measured against: the loop that a textbook would write.
func BenchmarkPlainTwoPassMillion(b *testing.B) {
	values := normalValues(1_000_000, 80, 5)
	for b.Loop() {
		sum := 0.0
		for _, x := range values {
			sum += x
		}
		mean := sum / float64(len(values))
		squares := 0.0
		for _, x := range values {
			squares += (x - mean) * (x - mean)
		}
		if math.Sqrt(squares) == 0 {
			b.Fatal("no spread")
		}
	}
}

func BenchmarkAddMillion(b *testing.B) {
	values := normalValues(1_000_000, 80, 5)
	for b.Loop() {
		var s Summary
		for _, x := range values {
			if err := s.Add(x); err != nil {
				b.Fatal(err)
			}
		}
	}
}

// manySubgroups are a million readings in 100,000 subgroups.
func manySubgroups(b *testing.B) []Summary {
	b.Helper()
	values := normalValues(1_000_000, 80, 5)
	groups := make([]Summary, 100_000)
	for i := range groups {
		groups[i] = summarize(b, values[i*10:(i+1)*10]...)
	}
	return groups
}

func BenchmarkCapabilityOf100kSubgroups(b *testing.B) {
	groups := manySubgroups(b)
	opt := Options{Spec: Spec{Lower: new(60.0), Upper: new(100.0)}}
	for b.Loop() {
		if _, err := Capability(groups, opt); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkCapabilityOfMillionReadings(b *testing.B) {
	values := normalValues(1_000_000, 80, 5)
	opt := Options{Spec: Spec{Lower: new(60.0), Upper: new(100.0)}}
	for b.Loop() {
		groups := make([]Summary, 100_000)
		for i := range groups {
			var err error
			if groups[i], err = Summarize(values[i*10 : (i+1)*10]); err != nil {
				b.Fatal(err)
			}
		}
		if _, err := Capability(groups, opt); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkCapabilityOf60Parts(b *testing.B) {
	values := normalValues(900, 80, 5)
	groups := make([]Summary, 60)
	for i := range groups {
		groups[i] = summarize(b, values[i*15:(i+1)*15]...)
	}
	opt := Options{Spec: Spec{Lower: new(60.0), Upper: new(100.0)}, Within: BetweenAndWithin}
	for b.Loop() {
		if _, err := Capability(groups, opt); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkXbarSOf500Parts(b *testing.B) {
	groups := manySubgroups(b)[:500]
	for b.Loop() {
		if _, err := XbarS(groups, ChartOptions{Rules: NelsonRules()}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkLineYield(b *testing.B) {
	steps := []Step{{"weld", 480, 12, 8}, {"pretreat", 468, 20, 15}, {"cure", 463, 6, 0}, {"film", 457, 9, 4}}
	for b.Loop() {
		if _, err := LineYield(steps, 0.95); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkConstants(b *testing.B) {
	for b.Loop() {
		rangeMomentsOf.Clear()
		if _, err := ConstantsFor(15); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkAccumulatorMillion(b *testing.B) {
	values := normalValues(1_000_000, 80, 5)
	b.ReportAllocs()
	for b.Loop() {
		var a Accumulator
		for _, x := range values {
			if err := a.Add(x); err != nil {
				b.Fatal(err)
			}
		}
	}
}

func BenchmarkMergeAllOf100kSubgroups(b *testing.B) {
	groups := manySubgroups(b)
	for b.Loop() {
		if s := MergeAll(groups); s.N != 1_000_000 {
			b.Fatal(s.N)
		}
	}
}

func BenchmarkTwoSidedFactor(b *testing.B) {
	for b.Loop() {
		if _, err := TwoSidedFactor(43, 0.90, 0.99); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkFitDistribution(b *testing.B) {
	values := column(b, "capability/nonnormal_film_lognormal.csv", "x")
	for _, law := range []Distribution{LognormalLaw, WeibullLaw, BoxCoxLaw} {
		b.Run(string(law), func(b *testing.B) {
			for b.Loop() {
				if _, err := FitDistribution(values, law); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
