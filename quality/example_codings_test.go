package quality_test

import (
	"fmt"

	"coatbook/quality"
)

func ExampleConvertText() {
	um, _ := quality.ConvertText("2.40", quality.Mil, quality.Micrometre)
	mil, _ := quality.ConvertText("84", quality.Micrometre, quality.Mil)
	celsius, _ := quality.ConvertText("400", quality.Fahrenheit, quality.Celsius)
	fmt.Println(um, mil, celsius)
	// Output: 60.96 3.31 204.4
}

func ExampleConvert() {
	um, err := quality.Convert(3, quality.Mil, quality.Micrometre)
	fmt.Printf("%.1f %v\n", um, err)
	// Output: 76.2 <nil>
}

func ExampleDewPointMargin() {
	dew, margin, err := quality.DewPointMargin(25, 80, 24)
	fmt.Printf("%.1f °C, margin %.1f K, %v\n", dew, margin, err)
	// Output: 21.3 °C, margin 2.7 K, <nil>
}

func ExampleTitrateCaustic() {
	bath, err := quality.TitrateCaustic(20, 24, 0.5, 50)
	fmt.Printf("NaOH %.2f %%, Na2CO3 %.3f %%, spent %v, %v\n", bath.SodiumHydroxide/10, bath.SodiumCarbonate/10, bath.Spent, err)
	// Output: NaOH 0.64 %, Na2CO3 0.424 %, spent false, <nil>
}

func ExampleTitrationPercent() {
	percent, err := quality.TitrationPercent(8.4, 0.25)
	fmt.Printf("%.1f %% %v\n", percent, err)
	// Output: 2.1 % <nil>
}

func ExampleTopUp() {
	litres, err := quality.TopUp(2000, 3, 2.4)
	fmt.Printf("%.0f L %v\n", litres, err)
	// Output: 12 L <nil>
}

func ExampleEtchLoss() {
	loss, err := quality.EtchLoss(25.1234, 25.1009, 0.015)
	fmt.Printf("%.1f g/m² %v\n", loss, err)
	// Output: 1.5 g/m² <nil>
}

func ExamplePencilHardness() {
	grade, found, err := quality.PencilHardness("D3363", []quality.PencilTrial{{"2H", true}, {"H", true}, {"F", false}})
	fmt.Println(grade, found, err)
	// Output: F true <nil>
}

func ExampleCutPatternFor() {
	astm, _ := quality.CutPatternFor("D3359B", 55)
	iso, _ := quality.CutPatternFor("ISO2409", 55)
	fmt.Println(astm, iso)
	// Output: {6 2} {6 1}
}

func ExampleRustGradeD610() {
	grade, err := quality.RustGradeD610(0.3)
	fmt.Println(grade, err)
	// Output: 7 <nil>
}

func ExampleCreepRatingD1654() {
	creep, _ := quality.NetMeanCreep(140, 20, 100)
	rating, err := quality.CreepRatingD1654(creep)
	fmt.Println(creep, rating, err)
	// Output: 0.6 8 <nil>
}

func ExampleParseBlisters() {
	found, err := quality.ParseBlisters("3(S1)")
	fmt.Println(found.Within(quality.Blisters{Quantity: 2, Size: 2}), err)
	// Output: false <nil>
}

func ExampleGlossGeometry() {
	angle, err := quality.GlossGeometry(86)
	fmt.Println(angle, err)
	// Output: 20 <nil>
}

func ExampleThroatFromLegs() {
	throat, err := quality.ThroatFromLegs(3, 4)
	fmt.Printf("%.1f mm %v; European practice %.2f mm\n", throat, err, quality.ThroatFromLeg(3))
	// Output: 2.4 mm <nil>; European practice 2.12 mm
}

func ExampleRustGradeISO4628() {
	ri, err := quality.RustGradeISO4628(0.5)
	fmt.Println(ri, err)
	// Output: 2 <nil>
}

func ExampleNetMeanCreep() {
	creep, err := quality.NetMeanCreep(140, 20, 100)
	fmt.Println(creep, err)
	// Output: 0.6 <nil>
}

func ExampleParseBlistersD714() {
	limit := quality.BlistersD714{Size: 8, Frequency: "F"}
	found, err := quality.ParseBlistersD714("8 M")
	fmt.Println(found.Within(limit), err)
	// Output: false <nil>
}

func ExamplePencilMeets() {
	ok, err := quality.PencilMeets("D3363", "2H", "F")
	fmt.Println(ok, err)
	// Output: true <nil>
}

func ExampleTitrationGramsPerLitre() {
	caustic, err := quality.TitrationGramsPerLitre(12.5, 0.5, 40, 50)
	fmt.Println(caustic, err)
	// Output: 5 <nil>
}
