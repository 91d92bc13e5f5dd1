package quality_test

import (
	"fmt"
	"math"

	"coatbook/quality"
)

func ExampleProfiler() {
	p, err := quality.NewProfiler(quality.ProfileSettings{AboveC: 190, ReferenceC: 200, ActivationKJMol: 80}, "rail", "bracket")
	if err != nil {
		fmt.Println(err)
		return
	}
	for i, celsius := range [][]float64{{25, 25}, {150, 120}, {190, 170}, {200, 191}, {201, 197}, {201, 199}, {180, 185}} {
		if err := p.Add(float64(60*i), celsius); err != nil {
			fmt.Println(err)
		}
	}
	profile, err := p.Profile()
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, c := range profile.Channels {
		fmt.Printf("%s: peak %.0f °C, %.0f s over 190 °C, equal to %.2f min at 200 °C\n", c.Name, c.PeakC, c.SecondsAbove, *c.EquivalentMinutes)
	}
	fmt.Printf("spread at soak %.1f K\n", *profile.SoakSpreadC)
	// Output:
	// rail: peak 201 °C, 211 s over 190 °C, equal to 4.03 min at 200 °C
	// bracket: peak 199 °C, 161 s over 190 °C, equal to 3.04 min at 200 °C
	// spread at soak 9.5 K
}

func ExampleJudgeCureProfile() {
	window := quality.CureWindow{Points: []quality.CurePoint{{MetalC: 190, MinMinutes: 15}, {MetalC: 200, MinMinutes: 10}}}
	spec := quality.CureSpec{ScheduleC: 190, Channels: 1, Decides: quality.WindowDose}
	p, err := quality.NewProfiler(spec.ProfileSettings(window), "rail")
	if err != nil {
		fmt.Println(err)
		return
	}
	for i, celsius := range []float64{180, 192, 195, 195, math.NaN(), 195, 180} {
		if err := p.Add(float64(60*i), []float64{celsius}); err != nil {
			fmt.Println(err)
		}
	}
	profile, err := p.Profile()
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, finding := range quality.JudgeCureProfile(spec, window, profile).Deciding() {
		fmt.Println(finding.Text)
	}
	// Output:
	// Rail: the thermocouple is open for 1 reading, at 240 s.
	// Rail: dose by the powder's points, 19.5 % is under 100 %.
}

func ExampleEquivalentMinutes() {
	minutes, err := quality.EquivalentMinutes(15, 190, 200, 80)
	fmt.Printf("%.2f min %v\n", minutes, err)
	// Output: 9.67 min <nil>
}

func ExampleActivationEnergy() {
	energy, err := quality.ActivationEnergy(quality.CurePoint{MetalC: 200, MinMinutes: 10}, quality.CurePoint{MetalC: 190, MinMinutes: 15})
	fmt.Printf("%.3f kJ/mol %v\n", energy, err)
	// Output: 73.877 kJ/mol <nil>
}

func ExampleCureWindow_Required() {
	window := quality.CureWindow{Points: []quality.CurePoint{{MetalC: 190, MinMinutes: 15}, {MetalC: 200, MinMinutes: 10}}}
	for _, metalC := range []float64{195, 180} {
		minutes, extrapolated, err := window.Required(metalC)
		fmt.Printf("%v °C: %.1f min, extrapolated %v, %v\n", metalC, minutes, extrapolated, err)
	}
	// Output:
	// 195 °C: 12.2 min, extrapolated false, <nil>
	// 180 °C: 22.9 min, extrapolated true, <nil>
}
