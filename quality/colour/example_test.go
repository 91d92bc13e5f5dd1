package colour_test

import (
	"fmt"

	"coatbook/quality/colour"
)

func ExampleCIEDE2000() {
	standard, sample := colour.Lab{50, 2.6772, -79.7751}, colour.Lab{50, 0, -82.7485}
	late, _ := colour.CIEDE2000(standard, sample)
	plain, _ := colour.CIE76(standard, sample)
	fmt.Printf("ΔE00 %.4f, ΔE*ab %.4f\n", late, plain)
	// Output: ΔE00 2.0425, ΔE*ab 4.0011
}

func ExampleCIEDE2000Weighted() {
	difference, _ := colour.CIEDE2000Weighted(colour.Lab{50, 20, 30}, colour.Lab{54, 20, 30}, colour.Weights{L: 2, C: 1, H: 1})
	fmt.Printf("%.4f\n", difference)
	// Output: 1.9758
}

func ExampleCIE76() {
	difference, err := colour.CIE76(colour.Lab{60, 2, -4}, colour.Lab{61, 4, -2})
	fmt.Println(difference, err)
	// Output: 3 <nil>
}

// The standard comes first: its colour sets the weights.
func ExampleCMC() {
	standard, sample := colour.Lab{50, 2.6772, -79.7751}, colour.Lab{50, 0, -82.7485}
	there, _ := colour.CMC(standard, sample, 2, 1)
	back, _ := colour.CMC(sample, standard, 2, 1)
	fmt.Printf("%.4f, swapped %.4f\n", there, back)
	// Output: 1.7387, swapped 1.7014
}

func ExampleCompare() {
	d, _ := colour.Compare(colour.Lab{61.3, 3.7, -5.4}, colour.Lab{61.9, 2.9, -5.0})
	fmt.Printf("lighter by %.1f, less red by %.1f, greyer by %.2f\n", d.DL, -d.DA, -d.DC)
	// Output: lighter by 0.6, less red by 0.8, greyer by 0.77
}
