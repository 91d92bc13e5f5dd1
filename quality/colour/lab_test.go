package colour

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

func drawLab(t *rapid.T, name string) Lab {
	return Lab{
		rapid.Float64Range(0, 100).Draw(t, name+" L"),
		rapid.Float64Range(-130, 130).Draw(t, name+" a"),
		rapid.Float64Range(-130, 130).Draw(t, name+" b"),
	}
}

func TestDifferencesAreSymmetricAndNeverUnderZero(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		one, two := drawLab(t, "one"), drawLab(t, "two")
		for name, of := range map[string]func(a, b Lab) (float64, error){"CIE76": CIE76, "CIEDE2000": CIEDE2000} {
			there, err := of(one, two)
			back, errBack := of(two, one)
			if err != nil || errBack != nil || !(there >= 0) || math.Abs(there-back) > 1e-9 {
				t.Fatalf("%s of %v and %v: %v, swapped %v", name, one, two, there, back)
			}
			if same, err := of(one, one); err != nil || same != 0 {
				t.Fatalf("%s of %v with itself: %v", name, one, same)
			}
		}
		if got, err := CMC(one, two, 2, 1); err != nil || !(got >= 0) {
			t.Fatalf("CMC of %v and %v: %v (%v)", one, two, got, err)
		}
	})
}

func TestPartsOfADifferenceMakeTheWhole(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		one, two := drawLab(t, "one"), drawLab(t, "two")
		d, err := Compare(one, two)
		whole, _ := CIE76(one, two)
		parts := math.Sqrt(d.DL*d.DL + d.DC*d.DC + d.DH*d.DH)
		if err != nil || math.Abs(parts-whole) > 1e-9 {
			t.Fatalf("%v and %v: ΔL, ΔC, ΔH give %v, ΔE*ab is %v", one, two, parts, whole)
		}
	})
}

func TestDirectionOfADifference(t *testing.T) {
	for _, c := range []struct {
		standard, sample Lab
		want             Difference
	}{
		{Lab{50, 10, 0}, Lab{51, 0, 10}, Difference{DL: 1, DA: -10, DB: 10, DC: 0, DH: 10 * math.Sqrt2}},
		{Lab{50, 10, 0}, Lab{50, 0, -10}, Difference{DA: -10, DB: -10, DC: 0, DH: -10 * math.Sqrt2}},
		{Lab{50, 3, 4}, Lab{50, 6, 8}, Difference{DA: 3, DB: 4, DC: 5}},
		{Lab{50, 3, 4}, Lab{50, -3, -4}, Difference{DA: -6, DB: -8, DH: 10}},
		{Lab{50, 0, 0}, Lab{50, 3, 4}, Difference{DA: 3, DB: 4, DC: 5}},
	} {
		got, err := Compare(c.standard, c.sample)
		for name, pair := range map[string][2]float64{"ΔL": {got.DL, c.want.DL}, "Δa": {got.DA, c.want.DA}, "Δb": {got.DB, c.want.DB}, "ΔC": {got.DC, c.want.DC}, "ΔH": {got.DH, c.want.DH}} {
			if err != nil || math.Abs(pair[0]-pair[1]) > 1e-12 {
				t.Errorf("%v to %v: %s %v, by hand %v (%v)", c.standard, c.sample, name, pair[0], pair[1], err)
			}
		}
	}
}

func TestHueAndChroma(t *testing.T) {
	for c, want := range map[Lab][2]float64{{50, 3, 4}: {5, 53.13010235415598}, {50, 0, 0}: {0, 0}, {50, 0, -2}: {2, 270}, {50, -1, 0}: {1, 180}, {50, 7, 0}: {7, 0}} {
		if math.Abs(c.Chroma()-want[0]) > 1e-12 || math.Abs(c.Hue()-want[1]) > 1e-12 {
			t.Errorf("%v: chroma %v and hue %v, by hand %v", c, c.Chroma(), c.Hue(), want)
		}
	}
}

func TestWhatIsNoColourIsAnError(t *testing.T) {
	grey := Lab{50, 0, 0}
	for _, bad := range []Lab{{math.NaN(), 0, 0}, {50, math.Inf(1), 0}, {50, 0, math.Inf(-1)}, {50, 1001, 0}, {-1e300, 0, 0}} {
		for name, of := range map[string]func(a, b Lab) (float64, error){
			"CIE76": CIE76, "CIEDE2000": CIEDE2000,
			"CMC":     func(a, b Lab) (float64, error) { return CMC(a, b, 2, 1) },
			"Compare": func(a, b Lab) (float64, error) { d, err := Compare(a, b); return d.DL, err },
		} {
			for _, pair := range [][2]Lab{{bad, grey}, {grey, bad}} {
				if got, err := of(pair[0], pair[1]); !errors.Is(err, ErrNotColour) || got != 0 {
					t.Errorf("%s of %v: %v, %v; want ErrNotColour", name, pair, got, err)
				}
			}
		}
	}
	for _, weight := range []float64{0, -1, math.NaN(), math.Inf(1), 1e-300} {
		if _, err := CMC(grey, grey, weight, 1); !errors.Is(err, ErrWeight) {
			t.Errorf("CMC with weight %v: %v, want ErrWeight", weight, err)
		}
		if _, err := CIEDE2000Weighted(grey, grey, Weights{1, weight, 1}); !errors.Is(err, ErrWeight) {
			t.Errorf("CIEDE2000 with weight %v: %v, want ErrWeight", weight, err)
		}
	}
}

func TestWeightDividesItsOwnPart(t *testing.T) {
	one, two := Lab{50, 20, 30}, Lab{54, 20, 30}
	plain, _ := CIEDE2000(one, two)
	half, err := CIEDE2000Weighted(one, two, Weights{2, 1, 1})
	if err != nil || math.Abs(half-plain/2) > 1e-12 {
		t.Errorf("a difference in lightness alone, kL 2: %v, want half of %v (%v)", half, plain, err)
	}
}

func FuzzColourDifferences(f *testing.F) {
	f.Add(50.0, 2.49, -0.001, 50.0, -2.49, 0.001)
	f.Add(0.0, 0.0, 0.0, 100.0, 1e-320, -1e-320)
	f.Add(math.NaN(), math.Inf(1), 1e308, -1000.0, 1000.0, 1000.0)
	f.Fuzz(func(t *testing.T, l1, a1, b1, l2, a2, b2 float64) {
		one, two := Lab{l1, a1, b1}, Lab{l2, a2, b2}
		plain, err := CIE76(one, two)
		cmc, errCMC := CMC(one, two, 2, 1)
		late, errLate := CIEDE2000(one, two)
		d, errParts := Compare(one, two)
		if (err == nil) != (errCMC == nil) || (err == nil) != (errLate == nil) || (err == nil) != (errParts == nil) {
			t.Fatalf("the formulas disagree on what is a colour: %v, %v, %v, %v", err, errCMC, errLate, errParts)
		}
		for _, v := range []float64{plain, cmc, late, d.DC, d.DH} {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Fatalf("%v and %v: %v, %v, %v, %+v", one, two, plain, cmc, late, d)
			}
		}
	})
}

func BenchmarkCIEDE2000(b *testing.B) {
	pairs := make([][2]Lab, 1024)
	for i := range pairs {
		x := float64(i)
		pairs[i] = [2]Lab{{math.Mod(x*7.31, 100), 100 * math.Sin(x), 100 * math.Cos(1.7*x)}, {math.Mod(x*3.77, 100), 100 * math.Cos(2.3*x), 100 * math.Sin(0.9*x)}}
	}
	b.ReportAllocs()
	sum := 0.0
	for i := 0; b.Loop(); i++ {
		d, err := CIEDE2000(pairs[i&1023][0], pairs[i&1023][1])
		if err != nil {
			b.Fatal(err)
		}
		sum += d
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds()/1e6, "Mpairs/s")
	if !(sum > 0) {
		b.Fatal("no difference at all")
	}
}
