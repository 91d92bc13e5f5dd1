package process_test

import (
	"fmt"

	"coatbook/quality/process"
)

func ExampleChartOptions() {
	film := []float64{78, 81, 79, 82, 80, 91, 93, 90, 92, 94}
	chart, err := process.Individuals(film, process.ChartOptions{Phases: []int{5}}) // a new gun from the sixth part on
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, phase := range chart.Phases {
		fmt.Printf("from part %d: centre %.0f µm\n", phase.Start+1, phase.Limits.Center)
	}
	fmt.Println(len(chart.Signals), "signals")
	// Output:
	// from part 1: centre 80 µm
	// from part 6: centre 92 µm
	// 0 signals
}

func ExampleEWMA() {
	film := []float64{80, 79, 81, 80, 82, 83, 82, 84}
	chart, err := process.EWMA(film, 0.3, 3, process.ChartOptions{Target: new(80.0), Sigma: new(1.5)})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, signal := range chart.Signals {
		at := signal.Points[0]
		fmt.Printf("part %d: average %.2f over %.2f µm\n", at+1, chart.Points[at], chart.Upper[at])
	}
	// Output: part 8: average 82.28 over 81.89 µm
}

func ExampleCUSUM() {
	film := []float64{80, 79, 81, 80, 82, 83, 82, 84}
	chart, err := process.CUSUM(film, process.CusumOptions{
		ChartOptions: process.ChartOptions{Target: new(80.0)}, K: new(0.75), H: new(6.0), // µm
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	signal := chart.Signals[0]
	last := signal.Points[len(signal.Points)-1]
	fmt.Printf("%s at part %d, rising since part %d\n", signal.Rule, last+1, signal.Points[0]+1)
	fmt.Printf("sum %.2f µm\n", chart.High[last])
	// Output:
	// upper cumulative sum beyond its limit at part 8, rising since part 5
	// sum 8.00 µm
}

func ExamplePChart() {
	chart, err := process.PChart([]int{2, 3, 1, 12}, []int{60, 80, 50, 70}, process.ChartOptions{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("centre %.3f\n", chart.Center)
	for _, signal := range chart.Signals {
		at := signal.Points[0]
		fmt.Printf("day %d: %.3f, limit %.3f\n", at+1, chart.Points[at], chart.Upper[at])
	}
	// Output:
	// centre 0.069
	// day 4: 0.171, limit 0.160
}

func ExampleNPChart() {
	chart, err := process.NPChart([]int{2, 3, 1, 4}, []int{50, 50, 50, 50}, process.ChartOptions{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("centre %.1f, up to %.2f of 50\n", chart.Center, chart.Upper[0])
	// Output: centre 2.5, up to 7.12 of 50
}

func ExampleCChart() {
	chart, err := process.CChart([]int{4, 6, 5, 5}, process.ChartOptions{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("centre %.0f, limits %.0f to %.2f\n", chart.Center, chart.Lower[0], chart.Upper[0])
	// Output: centre 5, limits 0 to 11.71
}

func ExampleUChart() {
	chart, err := process.UChart([]int{4, 9}, []float64{2, 3.2}, process.ChartOptions{}) // defects on square metres
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("centre %.1f, limits %.2f and %.2f\n", chart.Center, chart.Upper[0], chart.Upper[1])
	// Output: centre 2.5, limits 5.85 and 5.15
}
