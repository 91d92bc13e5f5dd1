package sampling_test

import (
	"fmt"

	"coatbook/quality/sampling"
)

func ExampleSingle() {
	p, err := sampling.Single(500, sampling.LevelII, 1.0, sampling.Tightened)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%s: letter %s, take %d, accept with %d bad, reject with %d\n", p.Standard, p.PlanLetter, p.N, p.Accept, p.Reject)
	fmt.Println(p.Notes[0])
	// Output:
	// MIL-STD-105E: letter J, take 80, accept with 1 bad, reject with 2
	// The table has an arrow at H: the plan of letter J is used.
}

func ExampleSingleByLetter() {
	p, err := sampling.SingleByLetter("K", 2.5, sampling.Normal)
	fmt.Println(p.N, p.Accept, p.Reject, err)
	// Output: 125 7 8 <nil>
}

func ExampleCodeLetter() {
	letter, err := sampling.CodeLetter(150, sampling.LevelS3)
	fmt.Println(letter, err)
	// Output: C <nil>
}

func ExamplePlan_Judge() {
	p, err := sampling.Single(500, sampling.LevelII, 2.5, sampling.Reduced)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%c %c %c\n", p.Judge(1), p.Judge(2), p.Judge(4))
	// Output: a g r
}

func ExampleSeverities() {
	used, err := sampling.Severities("raaaraaaaaaa")
	fmt.Println(used[4:6], used[11], err)
	// Output: [normal tightened] normal <nil>
}

func ExampleSwitcher() {
	s := sampling.Switcher{NoReduced: true}
	for _, lot := range "rr" {
		if _, err := s.Record(sampling.Outcome(lot)); err != nil {
			fmt.Println(err)
			return
		}
	}
	fmt.Println(s.Severity())
	// Output: tightened
}

func ExampleISO2859Differences() {
	fmt.Println(len(sampling.ISO2859Differences()))
	// Output: 5
}

func ExampleCoatingLot() {
	p, err := sampling.CoatingLot(640)
	fmt.Println(p.N, p.Accept, err)
	// Output: 30 3 <nil>
}

func ExampleZeroAcceptance() {
	p, err := sampling.ZeroAcceptance(200, 0.05, 0.9)
	fmt.Println(p.N, err)
	// Output: 41 <nil>
}

func ExampleVariables() {
	p, err := sampling.Variables(60, "IV", 1.0, sampling.Normal)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("take %d, k %.2f\n", p.N, p.K)
	// Output: take 7, k 1.62
}

func ExampleVariablesPlan_Judge() {
	p, err := sampling.VariablesByLetter("D", 1.0, sampling.Normal)
	if err != nil {
		fmt.Println(err)
		return
	}
	least := 60.0 // µm
	d, err := p.Judge([]float64{78.2, 81.5, 74.9, 80.3, 77.7}, &least, nil)
	fmt.Println(d.Accept, d.Reason, err)
	// Output: true The limit is 7.274 standard deviations from the mean; at least 1.53 is asked for. <nil>
}

func ExampleVariablesConditions_Check() {
	offered, reasons := sampling.VariablesConditions{Readings: []float64{71, 74, 78}, Sorted: true}.Check()
	fmt.Println(offered)
	for _, reason := range reasons {
		fmt.Println(reason)
	}
	// Output:
	// false
	// The process is not shown to be stable.
	// The lot was sorted, so that its tails are cut off; count bad pieces instead.
	// There are 3 earlier readings; 25 are needed to look for departures from normal.
}

func ExampleOC() {
	points, err := sampling.OC(500, 50, 1, []float64{0.01, 0.05})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, p := range points {
		fmt.Printf("%g %% bad: accepted %.3f (series), %.3f (this lot)\n", 100*p.Fraction, p.Binomial, *p.Hypergeometric)
	}
	// Output:
	// 1 % bad: accepted 0.911 (series), 0.919 (this lot)
	// 5 % bad: accepted 0.279 (series), 0.264 (this lot)
}

func ExampleAcceptBinomial() {
	chance, err := sampling.AcceptBinomial(13, 0, 0.05)
	fmt.Printf("%.4f %v\n", chance, err)
	// Output: 0.5133 <nil>
}

func ExampleAcceptHypergeometric() {
	chance, err := sampling.AcceptHypergeometric(90, 4, 13, 0)
	fmt.Printf("%.4f %v\n", chance, err)
	// Output: 0.5296 <nil>
}

func ExampleAOQ() {
	out, err := sampling.AOQ(500, 50, 1, 0.03)
	fmt.Printf("%.4f %v\n", out, err)
	// Output: 0.0150 <nil>
}

func ExampleAOQL() {
	limit, at, err := sampling.AOQL(0, 13, 0)
	fmt.Printf("at most %.4f leaves, when %.4f comes in %v\n", limit, at, err)
	// Output: at most 0.0273 leaves, when 0.0714 comes in <nil>
}

func ExampleQualityAt() {
	consumer, err := sampling.QualityAt(50, 1, 0.10)
	fmt.Printf("%.4f %v\n", consumer, err)
	// Output: 0.0756 <nil>
}

func ExampleDraw() {
	order, err := sampling.Draw([32]byte{1}, 10)
	fmt.Println(len(order), err)
	// Output: 10 <nil>
}
