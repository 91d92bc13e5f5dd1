package variance_test

import (
	"fmt"

	"coatbook/quality/variance"
)

// Two racks on each of three days, two parts from each rack, film in micrometres.
var (
	film  = []float64{71, 73, 78, 77, 84, 86, 80, 83, 69, 70, 75, 71}
	days  = variance.Factor{Name: "day", Labels: []string{"1", "1", "1", "1", "2", "2", "2", "2", "3", "3", "3", "3"}}
	racks = variance.Factor{Name: "rack", Labels: []string{"A", "A", "B", "B", "A", "A", "B", "B", "A", "A", "B", "B"}}
)

func ExampleMoments() {
	r, err := variance.Moments(film, days, racks)
	if err != nil {
		fmt.Println(err)
		return
	}
	for i, c := range r.Components {
		fmt.Printf("%-5s df %d  SS %.2f  variance %.2f\n", c.Factor, r.Anova[i].DF, r.Anova[i].SS, c.Variance)
	}
	// Output:
	// day   df 2  SS 304.67  variance 33.52
	// rack  df 3  SS 54.75  variance 7.67
	// error df 6  SS 17.50  variance 2.92
}

func ExampleREML() {
	r, err := variance.REML(film, days, racks)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, c := range r.Components {
		fmt.Printf("%-5s %.2f µm², %.0f %%\n", c.Factor, c.Variance, *c.Percent)
	}
	// Output:
	// day   33.52 µm², 76 %
	// rack  7.67 µm², 17 %
	// error 2.92 µm², 7 %
}

func ExampleCentered() {
	rest, constant := variance.Centered([]float64{1000000000000.4, 1000000000000.3})
	fmt.Println(rest, constant == 1000000000000.3)
	// Output: [0.1 0] true
}
