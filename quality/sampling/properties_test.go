package sampling

import (
	"errors"
	"math"
	"math/big"
	"math/rand/v2"
	"strings"
	"testing"

	"coatbook/quality/process"
)

// exactHypergeometric sums whole binomial coefficients.
func exactHypergeometric(lot, bad, n, accept int) float64 {
	choose := func(n, k int) *big.Int {
		if k < 0 || k > n {
			return new(big.Int)
		}
		return new(big.Int).Binomial(int64(n), int64(k))
	}
	total := new(big.Int)
	for x := range accept + 1 {
		total.Add(total, new(big.Int).Mul(choose(bad, x), choose(lot-bad, n-x)))
	}
	f, _ := new(big.Rat).SetFrac(total, choose(lot, n)).Float64()
	return f
}

func TestHypergeometricIsExact(t *testing.T) {
	random := rand.New(rand.NewPCG(8, 8))
	for range 300 {
		lot := 1 + random.IntN(400)
		bad, n := random.IntN(lot+1), 1+random.IntN(lot)
		accept := random.IntN(n + 1)
		got, err := AcceptHypergeometric(lot, bad, n, accept)
		if err != nil {
			t.Fatal(err)
		}
		if want := exactHypergeometric(lot, bad, n, accept); math.Abs(got-want) > 1e-13*want+1e-300 {
			t.Errorf("lot %d, bad %d, n %d, accept %d: got %.15g, want %.15g", lot, bad, n, accept, got, want)
		}
	}
	got, err := AcceptHypergeometric(20_000, 800, 2000, 60)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "large lot", got, exactHypergeometric(20_000, 800, 2000, 60), 1e-12)
}

func TestBinomialIsTheSumOfItsTerms(t *testing.T) {
	for _, c := range []struct {
		n, accept int
		p         float64
	}{{5, 0, 0.2}, {20, 3, 0.1}, {125, 7, 0.04}, {50, 49, 0.9}, {13, 0, 1e-9}} {
		want := 0.0
		for x := range c.accept + 1 {
			want += float64(new(big.Int).Binomial(int64(c.n), int64(x)).Int64()) * math.Pow(c.p, float64(x)) * math.Pow(1-c.p, float64(c.n-x))
		}
		if c.n > 60 || c.n == 50 { // coefficients beyond int64
			want = 0
			for x := range c.accept + 1 {
				b, _ := new(big.Float).SetInt(new(big.Int).Binomial(int64(c.n), int64(x))).Float64()
				want += b * math.Pow(c.p, float64(x)) * math.Pow(1-c.p, float64(c.n-x))
			}
		}
		got, err := AcceptBinomial(c.n, c.accept, c.p)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "binomial", got, want, 1e-12)
	}
}

func TestAcceptanceFallsWithTheFractionAndMeetsItsQuality(t *testing.T) {
	for _, plan := range [][2]int{{2, 0}, {13, 0}, {50, 1}, {125, 7}, {2000, 21}} {
		last := 1.0
		for p := 0.0; p <= 1; p += 0.01 {
			chance, err := AcceptBinomial(plan[0], plan[1], p)
			if err != nil || chance > last+1e-15 {
				t.Fatalf("%v at %g: %g after %g, %v", plan, p, chance, last, err)
			}
			last = chance
		}
		for _, chance := range []float64{0.99, 0.95, 0.5, 0.1, 0.01} {
			p, err := QualityAt(plan[0], plan[1], chance)
			if err != nil {
				t.Fatal(err)
			}
			back, err := AcceptBinomial(plan[0], plan[1], p)
			if err != nil {
				t.Fatal(err)
			}
			near(t, "acceptance at the quality found", back, chance, 1e-9)
		}
	}
}

func TestAOQLIsTheHighestOutgoingQuality(t *testing.T) {
	for _, c := range []struct{ lot, n, accept int }{{0, 13, 0}, {500, 50, 1}, {3200, 125, 7}, {0, 2000, 21}, {20, 2, 1}} {
		limit, at, err := AOQL(c.lot, c.n, c.accept)
		if err != nil {
			t.Fatal(err)
		}
		here, err := AOQ(c.lot, c.n, c.accept, at)
		if err != nil || here != limit {
			t.Errorf("%+v: AOQ %g at %g, limit %g, %v", c, here, at, limit, err)
		}
		for i := range 2000 {
			if q, err := AOQ(c.lot, c.n, c.accept, float64(i)/2000); err != nil || q > limit*(1+1e-12) {
				t.Errorf("%+v: AOQ %g at %g is above the limit %g, %v", c, q, float64(i)/2000, limit, err)
			}
		}
	}
	// By hand: n·p(1-p)ⁿ is highest at p = 1/(n+1).
	limit, at, err := AOQL(0, 13, 0)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "place", at, 1.0/14, 1e-6)
	near(t, "limit", limit, math.Pow(13.0/14, 13)/14, 1e-13)
	if limit, _, err := AOQL(50, 50, 1); err != nil || limit != 0 {
		t.Errorf("all inspected: %g, %v", limit, err)
	}
	if limit, at, err := AOQL(0, 3, 3); err != nil || limit != 1 || at != 1 {
		t.Errorf("nothing rejected: %g at %g, %v", limit, at, err)
	}
}

func TestZeroAcceptanceIsTheSmallestSample(t *testing.T) {
	// Wilks: 59 and 299 pieces (0.95 and 0.05, 0.01); ln 0.1 / ln 0.95 = 44.9.
	for _, c := range []struct {
		fraction, confidence float64
		n                    int
	}{{0.05, 0.95, 59}, {0.01, 0.95, 299}, {0.05, 0.9, 45}, {0.5, 0.5, 1}, {0.5, 0.75, 2}} {
		if p, err := ZeroAcceptance(0, c.fraction, c.confidence); err != nil || p.N != c.n || p.Accept != 0 || p.Reject != 1 {
			t.Errorf("%+v: got %+v, %v", c, p, err)
		}
	}
	for _, lot := range []int{1, 5, 30, 200, 1000} {
		p, err := ZeroAcceptance(lot, 0.04, 0.9)
		if err != nil {
			t.Fatal(err)
		}
		bad := max(1, int(math.Ceil(0.04*float64(lot))))
		enough := exactHypergeometric(lot, bad, p.N, 0)
		if enough > 0.1+1e-12 || p.N > 1 && exactHypergeometric(lot, bad, p.N-1, 0) <= 0.1 {
			t.Errorf("lot %d: n %d lets %g through", lot, p.N, enough)
		}
	}
}

func TestSwitchingRules(t *testing.T) {
	for _, c := range []struct{ outcomes, want string }{
		{"aaaaaaaaaaga", "NNNNNNNNNNRN"},     // between ends reduced inspection, and that lot is accepted
		{"rraaaaaraaaara", "NNTTTTTNNNNNNN"}, // counts begin anew on normal; lots 8 and 13 are six apart
		{"rr" + strings.Repeat("ra", 6), "NNTTTTTTTTTTDD"},
		{"", ""},
	} {
		used, err := Severities(c.outcomes)
		if err != nil {
			t.Fatal(err)
		}
		got := ""
		for _, s := range used {
			got += s.Letter()
		}
		if got != c.want {
			t.Errorf("%s: got %s, want %s", c.outcomes, got, c.want)
		}
	}
	s := Switcher{NoReduced: true}
	for range 12 {
		if now, err := s.Record(Accepted); err != nil || now != Normal {
			t.Fatalf("reduced inspection although it is forbidden: %s, %v", now, err)
		}
	}
	s.NoReduced = false
	if s.Severity() != Reduced {
		t.Errorf("twelve accepted and no longer forbidden: %s", s.Severity())
	}
	if _, err := s.Record(Accepted); err != nil {
		t.Fatal(err)
	}
	s.NoReduced = true
	if s.Severity() != Normal {
		t.Errorf("production became irregular: %s", s.Severity())
	}
	stopped := Switcher{}
	for range 12 {
		if _, err := stopped.Record(Rejected); err != nil {
			t.Fatal(err)
		}
	}
	if stopped.Severity() != Discontinued {
		t.Errorf("got %s after twelve rejections", stopped.Severity())
	}
	stopped.Resume()
	if stopped.Severity() != Tightened {
		t.Errorf("got %s after the cause was mended", stopped.Severity())
	}
	if _, err := Severities("aax"); !errors.Is(err, ErrOutcome) {
		t.Errorf("unknown outcome: %v", err)
	}
}

func TestJudgeByCounting(t *testing.T) {
	p, err := SingleByLetter("H", 2.5, Reduced) // 20, 1, 4
	if err != nil {
		t.Fatal(err)
	}
	for bad, want := range []Outcome{Accepted, Accepted, Between, Between, Rejected} {
		if got := p.Judge(bad); got != want {
			t.Errorf("%d bad: got %c, want %c", bad, got, want)
		}
	}
}

func TestTwoLimitsAreJudgedTogether(t *testing.T) {
	p, err := VariablesByLetter("D", 1, Normal)
	if err != nil {
		t.Fatal(err)
	}
	// By hand: for n = 4 the estimate is linear, 1/2 - Q/3.
	near(t, "estimate of four readings", estimatedOutside(1.2, 4), 0.1, 1e-12)
	// One spread, limits 1.6 s to each side: each alone passes k = 1.53, together too much is outside.
	readings := []float64{76, 78, 80, 82, 84} // mean 80, s √10
	low, high := 80-1.6*math.Sqrt(10), 80+1.6*math.Sqrt(10)
	one, err := p.Judge(readings, &low, nil)
	if err != nil {
		t.Fatal(err)
	}
	both, err := p.Judge(readings, &low, &high)
	if err != nil {
		t.Fatal(err)
	}
	if !one.Accept || both.Accept {
		t.Errorf("one limit %v, both %v", one, both)
	}
	near(t, "estimates add", both.EstimatedPercent, 2*one.EstimatedPercent, 1e-9)
	same, err := p.Judge([]float64{80, 80, 80, 80, 80}, &low, &high)
	if err != nil || !same.Accept || same.QLower != nil {
		t.Errorf("equal readings inside: %+v, %v", same, err)
	}
	if same, err = p.Judge([]float64{60, 60, 60, 60, 60}, &low, nil); err != nil || same.Accept {
		t.Errorf("equal readings outside: %+v, %v", same, err)
	}
}

func TestTightenedVariablesUseTheColumnToTheLeft(t *testing.T) {
	tight, err := VariablesByLetter("H", 1.0, Tightened)
	if err != nil {
		t.Fatal(err)
	}
	normal, err := VariablesByLetter("H", 0.65, Normal)
	if err != nil || tight.K != normal.K || tight.AQL != 1 {
		t.Errorf("got k %g, want %g, %v", tight.K, normal.K, err)
	}
	for _, c := range []struct {
		aql      float64
		severity Severity
	}{{0.04, Tightened}, {1, Reduced}, {1, "loose"}} {
		if _, err := VariablesByLetter("H", c.aql, c.severity); !errors.Is(err, ErrSeverity) {
			t.Errorf("%+v: %v", c, err)
		}
	}
}

func TestVariablesOnlyWhenTheirConditionsHold(t *testing.T) {
	random := rand.New(rand.NewPCG(2, 2))
	normal, skewed := make([]float64, 60), make([]float64, 60)
	for i := range normal {
		normal[i] = 80 + 5*random.NormFloat64()
		skewed[i] = 60 + 10*random.ExpFloat64()
	}
	for _, c := range []struct {
		name    string
		c       VariablesConditions
		reasons int
	}{
		{"all hold", VariablesConditions{Readings: normal, Stable: true}, 0},
		{"not stable", VariablesConditions{Readings: normal}, 1},
		{"sorted", VariablesConditions{Readings: normal, Stable: true, Sorted: true}, 1},
		{"few", VariablesConditions{Readings: normal[:10], Stable: true}, 1},
		{"skewed", VariablesConditions{Readings: skewed, Stable: true}, 1},
		{"equal", VariablesConditions{Readings: make([]float64, 30), Stable: true}, 1},
	} {
		if offered, reasons := c.c.Check(); offered != (c.reasons == 0) || len(reasons) != c.reasons {
			t.Errorf("%s: offered %v, %q", c.name, offered, reasons)
		}
	}
}

func TestWhatDoesNotExistIsAnError(t *testing.T) {
	for _, c := range []struct {
		name string
		call func() error
		want error
	}{
		{"lot of one", func() error { _, err := Single(1, LevelII, 1, Normal); return err }, ErrLotSize},
		{"level", func() error { _, err := Single(50, "IV", 1, Normal); return err }, ErrLevel},
		{"AQL", func() error { _, err := Single(50, LevelII, 1.1, Normal); return err }, ErrAQL},
		{"AQL NaN", func() error { _, err := Single(50, LevelII, math.NaN(), Normal); return err }, ErrAQL},
		{"severity", func() error { _, err := Single(50, LevelII, 1, Discontinued); return err }, ErrSeverity},
		{"letter", func() error { _, err := SingleByLetter("I", 1, Normal); return err }, ErrCodeLetter},
		{"coating lot", func() error { _, err := CoatingLot(0); return err }, ErrLotSize},
		{"large coating lot", func() error { _, err := CoatingLot(110_001); return err }, ErrLotSize},
		{"variables lot", func() error { _, err := Variables(2, "IV", 1, Normal); return err }, ErrLotSize},
		{"variables level", func() error { _, err := Variables(50, "VI", 1, Normal); return err }, ErrLevel},
		{"variables letter", func() error { _, err := VariablesByLetter("A", 1, Normal); return err }, ErrCodeLetter},
		{"variables AQL", func() error { _, err := VariablesByLetter("D", 3, Normal); return err }, ErrAQL},
		{"zero fraction", func() error { _, err := ZeroAcceptance(50, 0, 0.9); return err }, ErrFraction},
		{"hopeless fraction", func() error { _, err := ZeroAcceptance(0, 1e-12, 0.9); return err }, ErrFraction},
		{"zero confidence", func() error { _, err := ZeroAcceptance(50, 0.1, 1); return err }, process.ErrBadConfidence},
		{"zero lot", func() error { _, err := ZeroAcceptance(-1, 0.1, 0.9); return err }, ErrLotSize},
		{"sample of none", func() error { _, err := AcceptBinomial(0, 0, 0.1); return err }, ErrPlan},
		{"fraction over 1", func() error { _, err := AcceptBinomial(5, 0, 1.1); return err }, ErrFraction},
		{"fraction NaN", func() error { _, err := AcceptPoisson(5, 0, math.NaN()); return err }, ErrFraction},
		{"sample over lot", func() error { _, err := AcceptHypergeometric(5, 1, 6, 0); return err }, ErrPlan},
		{"curve over lot", func() error { _, err := OC(5, 6, 0, []float64{0.1}); return err }, ErrPlan},
		{"AOQL over lot", func() error { _, _, err := AOQL(5, 6, 0); return err }, ErrPlan},
		{"quality without rejection", func() error { _, err := QualityAt(5, 5, 0.5); return err }, ErrPlan},
		{"bad in no lot", func() error { _, err := BadInLot(0, 0.5); return err }, ErrLotSize},
		{"probability", func() error { _, err := VariablesPlan{N: 5, K: 1}.AcceptProbability(0); return err }, ErrFraction},
	} {
		if err := c.call(); !errors.Is(err, c.want) {
			t.Errorf("%s: got error %v, want %v", c.name, err, c.want)
		}
	}
}

func TestBadVariablesSamplesAreErrors(t *testing.T) {
	p, err := VariablesByLetter("D", 1, Normal)
	if err != nil {
		t.Fatal(err)
	}
	limit, below := 60.0, 50.0
	five := []float64{70, 71, 72, 73, 74}
	for _, c := range []struct {
		readings     []float64
		lower, upper *float64
		want         error
	}{
		{five[1:], &limit, nil, process.ErrTooFewReadings},
		{five, nil, nil, process.ErrNoLimits},
		{five, &limit, &below, process.ErrBadLimits},
		{[]float64{70, 71, 72, 73, math.NaN()}, &limit, nil, process.ErrNotFinite},
	} {
		if _, err := p.Judge(c.readings, c.lower, c.upper); !errors.Is(err, c.want) {
			t.Errorf("%v: got error %v, want %v", c.readings, err, c.want)
		}
	}
	all, err := Variables(3, "V", 0.04, Normal) // C, arrow to a sample far above the lot
	if err != nil || !all.All || all.N != 3 {
		t.Fatalf("got %+v, %v", all, err)
	}
	if _, err := all.Judge([]float64{70, 71, 72}, &limit, nil); !errors.Is(err, ErrPlan) {
		t.Errorf("whole lot: %v", err)
	}
}

func FuzzParse(f *testing.F) {
	for _, seed := range []string{"II", "s-4", "S3", "normal", "T", "aaraag", "α"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if l, err := ParseLevel(text); err == nil {
			if _, err := Single(500, l, 1, Normal); err != nil {
				t.Errorf("level %q from %q: %v", l, text, err)
			}
		} else if !errors.Is(err, ErrLevel) {
			t.Errorf("%q: %v", text, err)
		}
		if s, err := ParseSeverity(text); err == nil {
			if _, err := Single(500, LevelII, 1, s); err != nil {
				t.Errorf("severity %q from %q: %v", s, text, err)
			}
		} else if !errors.Is(err, ErrSeverity) {
			t.Errorf("%q: %v", text, err)
		}
		used, err := Severities(text)
		if err != nil && !errors.Is(err, ErrOutcome) || err == nil && len(used) != len(text)-strings.Count(text, " ") {
			t.Errorf("%q: %v, %v", text, used, err)
		}
	})
}

func FuzzHypergeometric(f *testing.F) {
	f.Add(uint16(500), uint16(10), uint16(50), uint16(1))
	f.Fuzz(func(t *testing.T, lot, bad, n, accept uint16) {
		chance, err := AcceptHypergeometric(int(lot), int(bad), int(n), int(accept))
		if err == nil && !(chance >= 0 && chance <= 1) || err != nil && !errors.Is(err, ErrPlan) {
			t.Errorf("%d %d %d %d: %g, %v", lot, bad, n, accept, chance, err)
		}
	})
}
