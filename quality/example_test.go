package quality_test

import (
	"fmt"
	"time"

	"coatbook/quality"
)

// filmReadings makes one reading for each spot.
func filmReadings(um ...float64) quality.Check {
	check := quality.Check{Kind: quality.Film}
	for i, v := range um {
		check.Readings = append(check.Readings, quality.Reading{Characteristic: "film_thickness", Spot: i + 1, Rep: 1, Value: v, Unit: quality.Micrometre})
	}
	return check
}

func ExampleParseReading() {
	reading, _ := quality.ParseReading("film_thickness", "84,20", quality.Micrometre)
	fmt.Println(reading.Value, reading.Text)
	_, problem := quality.ParseReading("film_thickness", "76", quality.Mil)
	fmt.Println(problem)
	// Output:
	// 84.2 84.20
	// “76” cannot be right in mil: is it µm? Check the gauge. Enter film thickness from 0 to 39.3 mil.
}

func ExampleJudge() {
	spec := quality.FinishSpec{Film: &quality.FilmSpec{Limits: quality.AtLeast(60, quality.Micrometre), Rule: quality.Areas80, Spots: 5, ReadingsPerSpot: 1}}
	check := filmReadings(85, 67, 71, 64, 44)
	judgement := quality.Judge(spec, quality.Circumstance{}, &check)
	fmt.Println(judgement.Verdict)
	fmt.Println(judgement.Rule)
	fmt.Println(judgement.Sentence())
	// Output:
	// fail
	// film thickness by mean and 80 %, at least 60 µm, simple acceptance
	// Spot 5: mean 44 µm is under 48 µm, 80 % of the minimum.
}

func ExampleJudgeFilm() {
	spec := quality.FilmSpec{Limits: quality.AtLeast(60, quality.Micrometre), Rule: quality.EachReading, Spots: 1, ReadingsPerSpot: 1, Guard: 3}
	for _, um := range []float64{59.96, 62, 63} {
		check := filmReadings(um)
		fmt.Println(um, quality.JudgeFilm(spec, quality.Circumstance{}, &check).Verdict)
	}
	// Output:
	// 59.96 fail
	// 62 guard_band
	// 63 pass
}

func ExampleFilmSummaryOf() {
	spec := quality.FilmSpec{Limits: quality.AtLeast(60, quality.Micrometre), Rule: quality.Areas80, Spots: 3, ReadingsPerSpot: 1}
	summary := quality.FilmSummaryOf(spec, quality.Circumstance{}, filmReadings(75, 68, 46))
	for _, spot := range summary.Spots {
		fmt.Println(spot.Place, spot.Mean, spot.Flag)
	}
	fmt.Println(summary.Mean)
	// Output:
	// Spot 1 75 in
	// Spot 2 68 in
	// Spot 3 46 low
	// 63
}

func ExampleJudgeWeld() {
	size := 0.45
	check := quality.Check{Kind: quality.Weld, Defects: []quality.Defect{{Code: "5011", Place: "2", SizeMM: &size, SizeText: "0.45"}}}
	judgement := quality.JudgeWeld(quality.WeldSpec{Level: "C"}, quality.Circumstance{WallMM: 4, WeldLimits: quality.DefaultWeldLimits()}, &check)
	fmt.Println(judgement.Sentence())
	// Output: Weld 2: continuous undercut (5011), 0.45 mm is over 0.4 mm permitted at level C.
}

func ExampleThroatFromLeg() {
	fmt.Printf("leg 5 mm: throat %.2f mm; throat 4 mm: leg %.2f mm\n", quality.ThroatFromLeg(5), quality.LegFromThroat(4))
	// Output: leg 5 mm: throat 3.54 mm; throat 4 mm: leg 5.66 mm
}

func ExampleJudgePretreatment() {
	stage := quality.StageSpec{Stage: "final_rinse", Name: "Final rinse", Limits: map[string]quality.Limits{"conductivity": quality.AtMost(30, quality.MicroSiemens)}}
	check := quality.Check{Kind: quality.Pretreatment, Readings: []quality.Reading{
		{Characteristic: "conductivity", Location: quality.StageKey(0, stage), Value: 30.1, Unit: quality.MicroSiemens}}}
	fmt.Println(quality.JudgePretreatment(quality.PretreatmentSpec{Stages: []quality.StageSpec{stage}}, quality.Circumstance{}, &check).Sentence())
	// Output: Final rinse: conductivity at 20 °C 30.1 µS/cm is over 30 µS/cm.
}

func ExampleJudgeCoating() {
	check := quality.Check{Kind: quality.Coating, Readings: []quality.Reading{
		{Characteristic: "air_temperature", Value: 25, Unit: quality.Celsius},
		{Characteristic: "humidity", Value: 80, Unit: quality.Percent},
		{Characteristic: "surface_temperature", Value: 24, Unit: quality.Celsius}}}
	judgement := quality.JudgeCoating(quality.CoatingSpec{DewPointMarginC: 3}, nil, quality.Circumstance{SincePretreatment: time.Hour}, &check)
	fmt.Println(judgement.Sentence())
	// Output: The part is at 24 °C, the dew point is 21.3 °C; the margin 2.7 K is under 3 K.
}

func ExampleDewPoint() {
	dew, err := quality.DewPoint(20, 60)
	fmt.Printf("%.1f °C %v\n", dew, err)
	// Output: 12.0 °C <nil>
}

func ExampleJudgeCure() {
	window := quality.CureWindow{Points: []quality.CurePoint{{MetalC: 190, MinMinutes: 12}, {MetalC: 200, MinMinutes: 10}, {MetalC: 210, MinMinutes: 8}}}
	check := quality.Check{Kind: quality.Cure, Readings: []quality.Reading{
		{Characteristic: "metal_peak", Spot: 1, Location: "bottom rail", Value: 198, Unit: quality.Celsius},
		{Characteristic: "metal_time", Spot: 1, Location: "bottom rail", Value: 11.5, Text: "11.5", Unit: quality.Minute}}}
	fmt.Println(quality.JudgeCure(quality.CureSpec{ScheduleC: 190, Channels: 1}, window, &check).Sentence())
	// Output: Channel 1, bottom rail: time at or over 190 °C, 11.5 min is under 12 min. It is 30 s short.
}

func ExampleCureWindow_At() {
	window := quality.CureWindow{Points: []quality.CurePoint{{MetalC: 190, MinMinutes: 12}, {MetalC: 200, MinMinutes: 10}, {MetalC: 210, MinMinutes: 8}}}
	limits, _ := window.At(195)
	_, err := window.At(180)
	fmt.Printf("%.1f min; %v\n", limits.Low.Value, err)
	// Output: 10.9 min; quality: temperature under the powder's cure window
}

func ExampleJudgeCureTest() {
	check := quality.Check{Kind: quality.CureTest,
		Readings: []quality.Reading{{Characteristic: "rubs", Value: 50, Unit: quality.DoubleRubs}},
		Ratings:  []quality.Rating{{Characteristic: quality.RatingRub, Code: "2"}}}
	fmt.Println(quality.JudgeCureTest(quality.CureTestSpec{Solvent: "MEK", Rubs: 50, PassFrom: 3}, &check).Sentence())
	// Output: Solvent rub: rating 2, very dull, a nail scratches it; 3 or better passes.
}

func ExampleJudgeFinish() {
	check := quality.Check{Kind: quality.Finish, Defects: []quality.Defect{{Code: "crater", Place: "top rail", Count: 1}}}
	fmt.Println(quality.JudgeFinish(quality.FinishCheckSpec{}, &check).Sentence())
	// Output: Top rail: crater is not permitted by the spec.
}

func ExampleGlossBand() {
	tolerance, ok := quality.GlossBand(70)
	fmt.Println(tolerance, ok)
	// Output: 7 true
}

// At exactly 5 % the two standards part.
func ExampleAdhesionClassD3359B() {
	fmt.Println(quality.AdhesionClassD3359B(5), quality.AdhesionClassISO2409(5))
	// Output: 3B 1
}

func ExampleJudgeVerification() {
	gauge := quality.Gauge{Abs: 1, Share: 0.01, Unit: quality.Micrometre}
	shims := []quality.Shim{{Code: "S25", Nominal: 25, Abs: 0.5, Unit: quality.Micrometre}, {Code: "S76", Nominal: 76, Abs: 1.54, Unit: quality.Micrometre}}
	check := quality.Check{Kind: quality.Verification, Readings: []quality.Reading{
		{Characteristic: "zero_reading", Value: 0.2, Unit: quality.Micrometre},
		{Characteristic: "shim_reading", Location: "S25", Value: 25.4, Unit: quality.Micrometre},
		{Characteristic: "shim_reading", Location: "S76", Value: 79.6, Text: "79.6", Unit: quality.Micrometre}}}
	fmt.Println(quality.JudgeVerification(gauge, shims, &check).Sentence())
	// Output: Shim S76: reads 79.6 µm, outside 76.0 ± 3.3 µm.
}

func ExampleGate() {
	spec := quality.FinishSpec{Weld: &quality.WeldSpec{Level: "C"}, Film: &quality.FilmSpec{}}
	at := time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)
	items := quality.Gate(spec, 1, []quality.Evidence{{Kind: quality.Weld, Verdict: quality.Pass, At: at, Round: 1, Sentence: "Nothing was found."}})
	for _, item := range items {
		fmt.Println(item.Kind, item.State, item.Sentence)
	}
	fmt.Println(quality.Open(items), quality.Next(items))
	// Output:
	// weld met Nothing was found.
	// film missing Film thickness is not recorded yet.
	// false film
}

func ExampleFaultName() {
	fmt.Println(quality.FaultName("thin_film"), "/", quality.FaultName("5011"), "/", quality.FaultName("crater"))
	// Output: Thin film / Continuous undercut / Crater
}
