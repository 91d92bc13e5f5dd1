package quality

import (
	"errors"
	"math"
	"strings"
	"testing"
)

func bathReading(characteristic, location, text string, unit Unit) Reading {
	r, problem := ParseReading(characteristic, text, unit)
	if problem != "" {
		panic(problem)
	}
	r.Location = location
	return r
}

func nominal(v float64) *float64 { return &v }

// The controls of a wash line as a shop sets them up.
var (
	cleanerControl  = BathControl{Characteristic: "concentration", Method: TitrateFactor, Unit: Percent, Nominal: nominal(3), Limits: Between(2, 4, Percent), Factor: 0.4, Due: true}
	causticControl  = BathControl{Characteristic: "concentration", Method: TitrateTwice, Unit: Percent, Nominal: nominal(5), Limits: Between(0.1, 6, Percent), Normality: 0.5, SampleML: 50, Due: true}
	carbonateOfBath = BathControl{Characteristic: "carbonate", Method: TitrateTwice, Unit: Percent, Limits: AtMost(3, Percent), Normality: 0.5, SampleML: 50}
	rinseControl    = BathControl{Characteristic: "bath_conductivity", Method: CorrectedToTemp, Unit: MicroSiemens, Limits: AtMost(30, MicroSiemens), ReferenceC: 20, PerDegree: 0.02, Due: true}
	etchControl     = BathControl{Characteristic: "etch_loss", Method: WeighPanel, Unit: GramPerM2, Limits: AtLeast(1, GramPerM2), Due: true}
)

func judgeBath(t *testing.T, controls []BathControl, readings ...Reading) (Judgement, Check) {
	t.Helper()
	check := Check{Kind: BathReading, Readings: readings}
	if err := check.WorkOutBath(controls); err != nil {
		t.Fatal(err)
	}
	return Judge(FinishSpec{}, Circumstance{Controls: controls}, &check), check
}

func TestTitrationIsWorkedOutWithTheFormulaShown(t *testing.T) {
	j, check := judgeBath(t, []BathControl{cleanerControl}, bathReading("titrant_volume", "concentration", "7.5", Millilitre))
	got := check.Of("concentration")
	if len(got) != 1 || got[0].Value != 3 || got[0].Source != "computed" || got[0].Raw != "7.5 mL · 0.4 = 3 %" || j.Verdict != Pass {
		t.Errorf("7.5 mL with factor 0.4: %+v, %s; want 3 %%, pass", got, j.Verdict)
	}
	byNormality := BathControl{Characteristic: "concentration_gl", Method: TitrateNormality, Unit: GramPerLitre, Limits: Between(40, 60, GramPerLitre), Normality: 1, EquivalentWeight: 40, SampleML: 10}
	// g/L = mL · N · equivalent weight / mL of the sample: 12.5 · 1 · 40 / 10.
	_, check = judgeBath(t, []BathControl{byNormality}, bathReading("titrant_volume", "concentration_gl", "12.5", Millilitre))
	if got := check.Of("concentration_gl"); len(got) != 1 || got[0].Value != 50 || !strings.Contains(got[0].Raw, "12.5 mL · 1 N · 40 / 10 mL = 50 g/L") {
		t.Errorf("12.5 mL of 1 N on 10 mL: %+v, want 50 g/L", got)
	}
}

// NaOH % = (2P − M)·0.04 and Na₂CO₃ % = (M − P)·0.106 with 50 mL and 0.5 N: a seen page on the analysis of caustic and soda,
// arithmetic checked.
func TestCausticToTwoEndPointsServesTwoControls(t *testing.T) {
	controls := []BathControl{causticControl, carbonateOfBath}
	for _, c := range []struct {
		p, m            string
		naoh, carbonate float64
		verdict         Verdict
	}{
		{"30", "40", 20 * 0.04, 10 * 0.106, Pass}, {"25", "26", 24 * 0.04, 0.106, Pass}, {"10", "40", 0, 10 * 0.106, Fail},
	} {
		j, check := judgeBath(t, controls, bathReading("titrant_first", "two end points", c.p, Millilitre), bathReading("titrant_total", "two end points", c.m, Millilitre))
		naoh, carbonate := check.Of("concentration"), check.Of("carbonate")
		if len(naoh) != 1 || len(carbonate) != 1 || math.Abs(naoh[0].Value-c.naoh) > 1e-9 || math.Abs(carbonate[0].Value-c.carbonate) > 1e-9 || j.Verdict != c.verdict {
			t.Errorf("P %s, M %s: %v and %v, %s; want %v %% and %v %%, %s", c.p, c.m, naoh, carbonate, j.Verdict, c.naoh, c.carbonate, c.verdict)
		}
		if spent := strings.Contains(sentences(j), "No free caustic is left: 2P is under M. Dose now."); spent != (c.verdict == Fail) {
			t.Errorf("P %s, M %s: %s", c.p, c.m, sentences(j))
		}
	}
	check := Check{Readings: []Reading{bathReading("titrant_first", "two end points", "12", Millilitre), bathReading("titrant_total", "two end points", "7", Millilitre)}}
	if err := check.WorkOutBath(controls); !errors.Is(err, ErrOutOfScale) {
		t.Errorf("M under P: %v, want ErrOutOfScale", err)
	}
}

func sentences(j Judgement) string {
	var all []string
	for _, f := range j.Findings {
		all = append(all, f.Text)
	}
	return strings.Join(all, " ")
}

// 30 µS/cm at 20 °C is the limit of a last rinse: QUALICOAT 6.1.2 (seen), figure of the 11th edition, there for
// electrophoretic lines.
func TestRinseConductivityIsJudgedAtItsReferenceTemperature(t *testing.T) {
	for text, want := range map[string]Verdict{"30": Pass, "30.1": Fail, "30.0001": Fail} {
		j, _ := judgeBath(t, []BathControl{rinseControl}, bathReading("conductivity_measured", "", text, MicroSiemens), bathReading("conductivity_temperature", "", "20", Celsius))
		if j.Verdict != want {
			t.Errorf("%s µS/cm at 20 °C: %s, want %s: %s", text, j.Verdict, want, sentences(j))
		}
	}
	// 33 µS/cm at 25 °C are 33 / (1 + 0.02·5) = 30 at 20 °C, also from a meter that shows mS/cm and °F.
	for _, readings := range [][]Reading{
		{bathReading("conductivity_measured", "", "33", MicroSiemens), bathReading("conductivity_temperature", "", "25", Celsius)},
		{bathReading("conductivity_measured", "", "0.033", MilliSiemens), bathReading("conductivity_temperature", "", "77", Fahrenheit)},
	} {
		j, check := judgeBath(t, []BathControl{rinseControl}, readings...)
		got := check.Of("bath_conductivity")
		if len(got) != 1 || math.Abs(got[0].Value-30) > 1e-9 || got[0].Location != "at 20 °C" || j.Verdict != Pass {
			t.Errorf("%v: %+v, %s; want 30 µS/cm at 20 °C, pass", readings, got, j.Verdict)
		}
	}
}

func TestEtchLossIsOverBothFaces(t *testing.T) {
	// A panel of 10 cm × 10 cm has 200 cm² on both faces; 0.02 g off it are 1 g/m², the least for standard etching (QUALICOAT
	// 3.2, seen in a copy).
	j, check := judgeBath(t, []BathControl{etchControl}, bathReading("mass_before", "etch_loss", "27.4210", Gram), bathReading("mass_after", "etch_loss", "27.4010", Gram),
		bathReading("panel_area", "etch_loss", "200", SquareCentimetre))
	if got := check.Of("etch_loss"); len(got) != 1 || math.Abs(got[0].Value-1) > 1e-9 || j.Verdict != Pass {
		t.Errorf("0.02 g off 200 cm²: %+v, %s; want 1 g/m², pass", got, j.Verdict)
	}
}

func TestDueControlThatIsMissingMakesAReadingIncomplete(t *testing.T) {
	ph := BathControl{Characteristic: "ph", Method: ReadDirect, Unit: PH, Limits: Between(3.8, 5, PH), Due: true}
	if j, _ := judgeBath(t, []BathControl{ph, rinseControl}, bathReading("ph", "", "4.4", PH)); j.Verdict != Incomplete || !strings.Contains(sentences(j), "Conductivity at 20 °C is due and missing") {
		t.Errorf("a due conductivity is missing: %s, %s", j.Verdict, sentences(j))
	}
	later := rinseControl
	later.Due = false
	if j, _ := judgeBath(t, []BathControl{ph, later}, bathReading("ph", "", "4.4", PH)); j.Verdict != Pass {
		t.Errorf("what is not due was asked for: %s", sentences(j))
	}
	if j, _ := judgeBath(t, []BathControl{ph}, bathReading("ph", "", "5.01", PH)); j.Verdict != Fail || j.Findings[0].Fault != "ph" {
		t.Errorf("pH 5.01 against 5: %s, %s", j.Verdict, sentences(j))
	}
	if j, _ := judgeBath(t, nil, bathReading("ph", "", "4.4", PH)); j.Verdict != Incomplete {
		t.Errorf("a bath without controls: %s, want incomplete", j.Verdict)
	}
}

func TestComputedValueIsWorkedOutAnew(t *testing.T) {
	forged := bathReading("concentration", "", "3", Percent)
	_, check := judgeBath(t, []BathControl{cleanerControl}, forged, bathReading("titrant_volume", "concentration", "2.5", Millilitre))
	if got := check.Of("concentration"); len(got) != 1 || got[0].Value != 1 {
		t.Errorf("a value that came with the entry stood beside the titration: %+v", got)
	}
	_, check = judgeBath(t, []BathControl{cleanerControl}, forged)
	if got := check.Of("concentration"); len(got) != 0 {
		t.Errorf("a value without its titration was kept: %+v", got)
	}
}

func TestTopUpIsProposedFromTheControl(t *testing.T) {
	// 2000 L from 2.4 % to 3 %: 2000 · 0.6 / 100 = 12 L; litres = tank · (target − found) / 100 (common practice, seen).
	if amount, unit, ok := cleanerControl.TopUpOf(2000, 2.4); !ok || amount != 12 || unit != Litre {
		t.Errorf("2000 L at 2.4 %%: %v %s, want 12 L", amount, unit)
	}
	if amount, unit, ok := causticControl.TopUpOf(1000, 4); !ok || amount != 10 || unit != Kilogram {
		t.Errorf("1000 L of caustic at 4 %%: %v %s, want 10 kg", amount, unit)
	}
	if _, _, ok := cleanerControl.TopUpOf(2000, 3.2); ok {
		t.Error("a bath over its nominal is topped up")
	}
	if _, _, ok := rinseControl.TopUpOf(2000, 40); ok {
		t.Error("a conductivity is topped up")
	}
}

func TestControlsThatCannotBeUsedAreSaid(t *testing.T) {
	for name, c := range map[string]BathControl{
		"no limits": {Characteristic: "ph", Method: ReadDirect, Unit: PH}, "wrong unit": {Characteristic: "ph", Method: ReadDirect, Unit: Percent, Limits: Between(1, 2, Percent)},
		"no factor": {Characteristic: "concentration", Method: TitrateFactor, Unit: Percent, Limits: Between(1, 2, Percent)}, "wrong method": {Characteristic: "ph", Method: WeighPanel, Unit: PH, Limits: Between(1, 2, PH)},
		"not of a bath": {Characteristic: "film_thickness", Method: ReadDirect, Unit: Micrometre, Limits: Between(1, 2, Micrometre)}, "nominal outside": {Characteristic: "ph", Method: ReadDirect, Unit: PH, Nominal: nominal(7), Limits: Between(3, 5, PH)},
	} {
		if len(c.Validate()) == 0 {
			t.Errorf("%s: the control is accepted", name)
		}
	}
	for _, c := range []BathControl{cleanerControl, causticControl, carbonateOfBath, rinseControl, etchControl} {
		if says := c.Validate(); len(says) > 0 {
			t.Errorf("%s: %v", c.Name(), says)
		}
	}
}

func TestAdditionSaysWhatHowMuchAndWhy(t *testing.T) {
	why := Rating{Characteristic: RatingReason, Code: "pH 5.1 over 5"}
	litres := bathReading(AddedVolume, "", "1.2", Litre)
	for name, c := range map[string]struct {
		check Check
		want  Verdict
	}{
		"whole":        {Check{Readings: []Reading{litres}, Ratings: []Rating{{Characteristic: RatingAct, Code: AddedChemical}, why}}, Pass},
		"a setting":    {Check{Ratings: []Rating{{Characteristic: RatingAct, Code: ChangedSet}, why}}, Pass},
		"no amount":    {Check{Ratings: []Rating{{Characteristic: RatingAct, Code: MadeUp}, why}}, Incomplete},
		"no reason":    {Check{Readings: []Reading{litres}, Ratings: []Rating{{Characteristic: RatingAct, Code: AddedWater}}}, Incomplete},
		"unknown acts": {Check{Readings: []Reading{litres}, Ratings: []Rating{{Characteristic: RatingAct, Code: "prayer"}, why}}, Incomplete},
	} {
		c.check.Kind = BathAddition
		if j := Judge(FinishSpec{}, Circumstance{}, &c.check); j.Verdict != c.want {
			t.Errorf("%s: %s, want %s: %s", name, j.Verdict, c.want, sentences(j))
		}
	}
}

func TestFlaggedBathDecidesNothing(t *testing.T) {
	spec := FinishSpec{Pretreatment: &PretreatmentSpec{Stages: []StageSpec{{Stage: "convert", Limits: map[string]Limits{"ph": Between(3.8, 5, PH)}}}}}
	check := Check{Kind: Pretreatment, Readings: []Reading{bathReading("ph", "1-convert", "4.4", PH)}}
	j := Judge(spec, Circumstance{Baths: []string{"Bath B3 is overdue."}}, &check)
	if j.Verdict != Pass || j.Findings[0].Rule != RuleBathChecked || j.Findings[0].Text != "Flagged: Bath B3 is overdue." {
		t.Errorf("%s, %+v", j.Verdict, j.Findings)
	}
}
