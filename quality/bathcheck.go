package quality

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// A BathMethod is how a control of a bath is found.
type BathMethod string

// The methods.
const (
	ReadDirect       BathMethod = "direct"         // read off a meter, or reported by who measured it
	TitrateFactor    BathMethod = "titration"      // percent = mL · factor of the chemical's maker
	TitrateNormality BathMethod = "titration_gl"   // g/L by normality and equivalent weight
	TitrateTwice     BathMethod = "two_end_points" // caustic and carbonate to two end points
	CorrectedToTemp  BathMethod = "corrected"      // conductivity as measured, corrected to the reference temperature
	WeighPanel       BathMethod = "weighing"       // loss of mass over the area of both faces
)

// Characteristics of a bath: what its controls limit, and what is read to work them out.
const (
	bathConcentration   = "concentration"
	bathConcentrationGL = "concentration_gl"
	bathCarbonate       = "carbonate"
	bathPH              = "ph"
	bathTemperature     = "stage_temperature"
	bathConductivity    = "bath_conductivity"
	bathEtchLoss        = "etch_loss"
	bathWeight          = "conversion_weight"

	readTitrant      = "titrant_volume"
	readFirst        = "titrant_first"
	readTotal        = "titrant_total"
	readConductivity = "conductivity_measured"
	readAtC          = "conductivity_temperature"
	readBefore       = "mass_before"
	readAfter        = "mass_after"
	readArea         = "panel_area"
)

// twoEndPoints is the Location of the two volumes of a titration to two end points: one titration serves two controls.
const twoEndPoints = "two end points"

// BathMethods says which methods find each characteristic that a bath can be controlled by; the first is the usual one. The
// order of BathControlled is that of the pages.
var (
	BathControlled = []string{bathConcentration, bathConcentrationGL, bathCarbonate, bathPH, bathTemperature, bathConductivity, bathEtchLoss, bathWeight}
	BathMethods    = map[string][]BathMethod{
		bathConcentration: {TitrateFactor, TitrateTwice, ReadDirect}, bathConcentrationGL: {TitrateNormality, ReadDirect}, bathCarbonate: {TitrateTwice},
		bathPH: {ReadDirect}, bathTemperature: {ReadDirect}, bathConductivity: {CorrectedToTemp, ReadDirect},
		bathEtchLoss: {WeighPanel, ReadDirect}, bathWeight: {ReadDirect, WeighPanel},
	}
	BathMethodNames = map[BathMethod]string{
		ReadDirect: "read directly", TitrateFactor: "titration, mL times a factor", TitrateNormality: "titration, by normality", TitrateTwice: "titration to two end points",
		CorrectedToTemp: "corrected to the reference temperature", WeighPanel: "weighing before and after",
	}
)

// bathCharacteristics are what is read and worked out at a bath. Plausible ranges are common practice, no published source.
func bathCharacteristics() []Characteristic {
	return []Characteristic{
		{bathConcentrationGL, "Concentration in g/L", []Unit{GramPerLitre}, 0, 500},
		{bathCarbonate, "Sodium carbonate", []Unit{Percent}, 0, 100},
		{bathConductivity, "Conductivity at the reference temperature", []Unit{MicroSiemens, MilliSiemens}, 0, 20000},
		{bathEtchLoss, "Etch loss", []Unit{GramPerM2}, 0, 20},
		{bathWeight, "Conversion coat weight", []Unit{GramPerM2, MilliPerM2, MilliPerFt2}, 0, 5},
		{readTitrant, "Titrant used", []Unit{Millilitre}, 0, 200},
		{readFirst, "Titrant to the first end point (P)", []Unit{Millilitre}, 0, 200},
		{readTotal, "Titrant in all, to the second end point (M)", []Unit{Millilitre}, 0, 200},
		{readConductivity, "Conductivity as measured", []Unit{MicroSiemens, MilliSiemens}, 0, 20000},
		{readAtC, "Temperature of the sample", []Unit{Celsius, Fahrenheit}, 0, 100},
		{readBefore, "Mass of the panel before", []Unit{Gram}, 0.1, 5000},
		{readAfter, "Mass of the panel after", []Unit{Gram}, 0.1, 5000},
		{readArea, "Area of both faces", []Unit{SquareCentimetre}, 1, 100000},
		{AddedVolume, "Amount added", []Unit{Litre}, 0.01, 100000},
		{AddedMass, "Mass added", []Unit{Kilogram}, 0.01, 100000},
	}
}

// A BathControl is one thing that is watched in a bath: how it is found, and where it must lie. Limits, Nominal and readings
// taken directly are in Unit.
type BathControl struct {
	Characteristic string
	Method         BathMethod
	Unit           Unit
	Nominal        *float64
	Limits         Limits
	// Factor is for TitrateFactor, in percent for each mL.
	Factor float64
	// Normality and SampleML are for TitrateNormality and TitrateTwice, EquivalentWeight for TitrateNormality alone.
	Normality, EquivalentWeight, SampleML float64
	// ReferenceC is the temperature that a conductivity is given at; PerDegree its coefficient for CorrectedToTemp, as a share
	// for each K (0.02 is 2 %).
	ReferenceC, PerDegree float64
	// Due says that a reading without this control is incomplete.
	Due bool
}

// Name is the control in words, such as "Conductivity at 20 °C".
func (c BathControl) Name() string {
	switch {
	case c.Characteristic == bathConductivity:
		return "Conductivity at " + withUnit(Number(c.ReferenceC, 1), Celsius)
	case c.Method == TitrateTwice && c.Characteristic == bathConcentration:
		return "Free caustic (NaOH)"
	}
	if known, ok := CharacteristicOf(c.Characteristic); ok {
		return known.Name
	}
	return c.Characteristic
}

// location is where the control's value stands: a conductivity says which temperature it is corrected to.
func (c BathControl) location() string {
	if c.Characteristic == bathConductivity {
		return "at " + withUnit(Number(c.ReferenceC, 1), Celsius)
	}
	return ""
}

// A BathInput is one value that has to be read for a control.
type BathInput struct {
	Characteristic, Location string
	Unit                     Unit
	// NamesUnit asks that the unit is chosen with the value: the meter can show either.
	NamesUnit bool
}

// Inputs are the values that have to be read for the control, in their order.
func (c BathControl) Inputs() []BathInput {
	switch c.Method {
	case TitrateFactor, TitrateNormality:
		return []BathInput{{Characteristic: readTitrant, Location: c.Characteristic, Unit: Millilitre}}
	case TitrateTwice:
		return []BathInput{{Characteristic: readFirst, Location: twoEndPoints, Unit: Millilitre}, {Characteristic: readTotal, Location: twoEndPoints, Unit: Millilitre}}
	case CorrectedToTemp:
		return []BathInput{{Characteristic: readConductivity, Unit: c.Unit, NamesUnit: true}, {Characteristic: readAtC, Unit: Celsius, NamesUnit: true}}
	case WeighPanel:
		return []BathInput{{Characteristic: readBefore, Location: c.Characteristic, Unit: Gram}, {Characteristic: readAfter, Location: c.Characteristic, Unit: Gram},
			{Characteristic: readArea, Location: c.Characteristic, Unit: SquareCentimetre}}
	}
	named := c.Characteristic == bathTemperature || c.Characteristic == bathConductivity
	return []BathInput{{Characteristic: c.Characteristic, Location: c.location(), Unit: c.Unit, NamesUnit: named}}
}

// Validate returns one sentence for each thing that keeps the control from being used.
func (c BathControl) Validate() []string {
	var p problems
	known, ok := CharacteristicOf(c.Characteristic)
	if !ok || !slices.Contains(BathControlled, c.Characteristic) {
		p.say("Choose what is watched in the bath.")
		return p
	}
	if !slices.Contains(BathMethods[c.Characteristic], c.Method) {
		p.say("%s is not found by “%s”. Choose another way.", known.Name, clip(BathMethodNames[c.Method]))
	}
	if !slices.Contains(known.Units, c.Unit) {
		p.say("%s is not given in “%s”.", known.Name, clip(c.Unit.Symbol()))
		return p
	}
	p.limits(known.Name, c.Characteristic, c.Limits)
	if c.Limits.None() {
		p.say("%s needs a minimum, a maximum or both.", known.Name)
	}
	if c.Nominal != nil {
		if flag, err := c.Limits.Judge(*c.Nominal, c.Unit); err == nil && flag != In && !c.Limits.None() {
			p.say("The nominal value lies outside the limits, %s.", c.Limits)
		}
	}
	switch c.Method {
	case TitrateFactor:
		p.over0("Factor", c.Factor)
	case TitrateNormality:
		p.over0("Normality", c.Normality)
		p.over0("Equivalent weight", c.EquivalentWeight)
		p.over0("Sample", c.SampleML)
	case TitrateTwice:
		p.over0("Normality", c.Normality)
		p.over0("Sample", c.SampleML)
	case CorrectedToTemp:
		p.within("Coefficient of the conductivity", c.PerDegree*100, 0, 5, " % for each degree")
	}
	if c.Characteristic == bathConductivity {
		p.within("Reference temperature", c.ReferenceC, 0, 50, " °C")
	}
	return p
}

func (p *problems) over0(name string, v float64) {
	if !(v > 0 && v <= 1e6) {
		p.say("%s: enter a number over 0.", name)
	}
}

// Result works out the control's value from what was read: the reading, with the formula and its numbers as Raw. spent says
// that a caustic bath has no free caustic left. ok is false when nothing, or not everything, was read for it, and for a
// control that is read directly. Figures that contradict each other, such as M under P, are ErrOutOfScale.
//
// Conductivity: κ_ref = κ / (1 + a·(T − T_ref)), linear compensation as in ISO 7888 (from memory, unverified). The others: see
// TitrationPercent, TitrationGramsPerLitre, TitrateCaustic and EtchLoss.
func (c BathControl) Result(check Check) (result Reading, spent, ok bool, err error) {
	inputs := c.Inputs()
	values := make([]float64, len(inputs))
	texts := make([]string, len(inputs))
	for i, in := range inputs {
		r, found := check.reading(in.Characteristic, in.Location)
		if !found {
			return Reading{}, false, false, nil
		}
		if in.Characteristic == readConductivity {
			in.Unit = MicroSiemens
		}
		if values[i], err = r.In(in.Unit); err != nil {
			return Reading{}, false, false, err
		}
		texts[i] = Number(tidy(values[i]), 6)
	}
	var value float64
	var formula string
	unit := c.Unit
	switch c.Method {
	case TitrateFactor:
		value, err = TitrationPercent(values[0], c.Factor)
		formula = fmt.Sprintf("%s mL · %s", texts[0], plainFigure(c.Factor))
	case TitrateNormality:
		value, err = TitrationGramsPerLitre(values[0], c.Normality, c.EquivalentWeight, c.SampleML)
		formula = fmt.Sprintf("%s mL · %s N · %s / %s mL", texts[0], plainFigure(c.Normality), plainFigure(c.EquivalentWeight), plainFigure(c.SampleML))
	case TitrateTwice:
		value, spent, formula, err = c.caustic(values[0], values[1], texts)
	case CorrectedToTemp:
		// In the canonical unit, whichever the meter shows.
		unit = MicroSiemens
		value, formula, err = c.corrected(values[0], values[1], texts)
	case WeighPanel:
		value, err = EtchLoss(values[0], values[1], values[2]/1e4)
		unit = GramPerM2
		formula = fmt.Sprintf("(%s − %s) g / %s m²", texts[0], texts[1], plainFigure(values[2]/1e4))
	default:
		return Reading{}, false, false, nil
	}
	if err != nil {
		return Reading{}, false, false, err
	}
	result = Reading{Characteristic: c.Characteristic, Location: c.location(), Value: tidy(value), Unit: unit, Source: "computed"}
	// All digits, so that what is stored is what is compared; Shown prints fewer.
	result.Text = strconv.FormatFloat(result.Value, 'f', -1, 64)
	result.Raw = fmt.Sprintf("%s = %s", formula, withUnit(Number(value, 4), unit))
	return result, spent, true, nil
}

// Shown returns the digits as they were entered; those of a computed value are cut to four decimals, for people.
func (r Reading) Shown() string {
	if v, err := strconv.ParseFloat(r.Text, 64); err == nil && r.Source == "computed" {
		return Number(v, 4)
	}
	return r.Text
}

// caustic works out free caustic or carbonate from P and M, in percent of a bath as dense as water.
func (c BathControl) caustic(p, m float64, texts []string) (percent float64, spent bool, formula string, err error) {
	found, err := TitrateCaustic(p, m, c.Normality, c.SampleML)
	if err != nil {
		return 0, false, "", err
	}
	tail := fmt.Sprintf("%s N", plainFigure(c.Normality))
	sample := plainFigure(c.SampleML) + " mL / 10"
	switch {
	case c.Characteristic == bathConcentration:
		return found.SodiumHydroxide / 10, found.Spent, fmt.Sprintf("NaOH = (2·P − M) · %s · %d / %s; P %s mL, M %s mL", tail, causticWeight, sample, texts[0], texts[1]), nil
	case found.Spent:
		return found.SodiumCarbonate / 10, true, fmt.Sprintf("Na₂CO₃ = 2·P · %s · %d / %s; P %s mL, M %s mL", tail, sodaWeight, sample, texts[0], texts[1]), nil
	}
	return found.SodiumCarbonate / 10, false, fmt.Sprintf("Na₂CO₃ = 2·(M − P) · %s · %d / %s; P %s mL, M %s mL", tail, sodaWeight, sample, texts[0], texts[1]), nil
}

func (c BathControl) corrected(measured, atC float64, texts []string) (value float64, formula string, err error) {
	by := 1 + c.PerDegree*(atC-c.ReferenceC)
	if by < 0.1 {
		return 0, "", fmt.Errorf("%w: %v °C against %v °C", ErrOutOfScale, atC, c.ReferenceC)
	}
	return measured / by, fmt.Sprintf("%s %s / (1 + %s·(%s − %s))", texts[0], MicroSiemens.Symbol(), plainFigure(c.PerDegree), texts[1], plainFigure(c.ReferenceC)), nil
}

// plainFigure prints a constant of a formula.
func plainFigure(v float64) string { return strconv.FormatFloat(tidy(v), 'f', -1, 64) }

// reading returns the first measured reading of a characteristic at a location.
func (c Check) reading(characteristic, location string) (Reading, bool) {
	for _, r := range c.Readings {
		if r.Characteristic == characteristic && r.Location == location && r.measured() {
			return r, true
		}
	}
	return Reading{}, false
}

// WorkOutBath puts the computed values of the controls into the check, in the place of any that are there.
func (c *Check) WorkOutBath(controls []BathControl) error {
	computed := map[string]bool{}
	for _, control := range controls {
		computed[control.Characteristic] = control.Method != ReadDirect
	}
	c.Readings = slices.DeleteFunc(slices.Clone(c.Readings), func(r Reading) bool { return computed[r.Characteristic] })
	for _, control := range controls {
		result, _, ok, err := control.Result(*c)
		if err != nil && !errors.Is(err, ErrUnits) {
			return err
		}
		if ok {
			c.Readings = append(c.Readings, result)
		}
	}
	return nil
}

// JudgeBath judges a reading of a bath: each control whose value was found lies within its limits. A control that was due and
// is missing makes the reading incomplete, and one that a meter could not read as well. A caustic bath without free caustic
// fails whatever its limits.
//
// Source: nominal, limit and actual value of each bath on its own log, QUALICOAT 6.1.1 (seen).
func JudgeBath(controls []BathControl, check *Check) Judgement {
	j := Judgement{Rule: "controls of the bath, each within its limits"}
	found := 0
	for _, c := range controls {
		value := -1
		var absent *Reading
		for i := range check.Readings {
			switch r := &check.Readings[i]; {
			case r.Characteristic != c.Characteristic:
			case r.measured():
				value = i
			default:
				absent = r
			}
		}
		switch {
		case value >= 0:
			found++
			r := &check.Readings[value]
			r.Flag = j.compare(comparison{rule: lowerFirst(c.Name()), place: "Bath", what: lowerFirst(c.Name()), value: r.Value, unit: r.Unit, limits: c.Limits,
				low: c.Characteristic, high: c.Characteristic})
			if r.Source == "computed" && r.Raw != "" {
				last := &j.Findings[len(j.Findings)-1]
				last.Text = strings.TrimSuffix(last.Text, ".") + ": " + r.Raw + "."
			}
			if _, spent, ok, _ := c.Result(*check); ok && spent && c.Characteristic == bathConcentration {
				j.failed("free caustic", "Bath", "2P at least M", bathConcentration, "No free caustic is left: 2P is under M. Dose now.")
			}
		case absent != nil:
			j.missing(lowerFirst(c.Name()), "Bath", c.Limits.String(), "%s %s; the limit is %s.", c.Name(), absent.why(), c.Limits)
		case c.Due:
			j.missing(lowerFirst(c.Name()), "Bath", c.Limits.String(), "%s is due and missing; the limit is %s.", c.Name(), c.Limits)
		}
	}
	if len(controls) == 0 {
		j.missing("controls", "Bath", "", "The bath has no controls, so nothing can be judged. An engineer sets them under Setup, Baths.")
	} else if found == 0 && len(j.Findings) == 0 {
		j.missing("controls", "Bath", "", "Nothing was read that the bath is controlled by.")
	}
	return j.conclude()
}

// What is done to a bath between two readings, in the order of the screens.
const (
	AddedChemical = "chemical" // a chemical added, its lot named
	AddedWater    = "water"    // water added or the overflow opened
	ChangedSet    = "setting"  // heater, flow or dosing set anew
	MadeUp        = "make_up"  // dumped and made up anew
)

// BathActs lists what is done to a bath.
var BathActs = []string{AddedChemical, AddedWater, ChangedSet, MadeUp}

// Characteristics and ratings of what is done to a bath.
const (
	AddedVolume  = "added_volume"
	AddedMass    = "added_mass"
	RatingAct    = "bath_act"
	RatingReason = "reason"
	// RatingProposed is the amount that the book proposed, in words.
	RatingProposed = "proposed"
)

// JudgeBathAddition asks that what was done to a bath is on record in full: what, why, and for everything but a change of a
// setting the amount.
func JudgeBathAddition(check *Check) Judgement {
	j := Judgement{Rule: "what was done, how much and why"}
	act, ok := check.anyRating(RatingAct)
	if !ok || !slices.Contains(BathActs, act) {
		j.missing("what was done", "", "", "What was done to the bath is not recorded.")
	}
	if _, given := check.anyRating(RatingReason); !given {
		j.missing("reason", "", "", "Why it was done is not recorded.")
	}
	_, litres := check.reading(AddedVolume, "")
	_, kilograms := check.reading(AddedMass, "")
	if act != ChangedSet && !litres && !kilograms {
		j.missing("amount", "", "", "The amount is not recorded.")
	}
	if len(j.Findings) == 0 {
		j.met("addition", "", "", "What was done, how much and why are on record.")
	}
	return j.conclude()
}

// TopUpOf proposes what brings a bath of volumeL litres from the value found back to the control's nominal, or to the middle
// of its limits: litres of concentrate for a percentage by volume, kg for caustic (as dense as water) and for g/L. ok is
// false where nothing is to be added or the control does not say how much.
func (c BathControl) TopUpOf(volumeL, found float64) (amount float64, unit Unit, ok bool) {
	target := c.Nominal
	if target == nil && c.Limits.Low != nil && c.Limits.High != nil {
		middle := (c.Limits.Low.Value + c.Limits.High.Value) / 2
		target = &middle
	}
	if target == nil {
		return 0, "", false
	}
	switch {
	case c.Characteristic == bathConcentration:
		added, err := TopUp(volumeL, *target, found)
		unit = Litre
		if c.Method == TitrateTwice {
			unit = Kilogram
		}
		return tidy(added), unit, err == nil && added > 0
	case c.Characteristic == bathConcentrationGL && volumeL > 0 && found >= 0:
		added := volumeL * (*target - found) / 1000
		return tidy(added), Kilogram, added > 0
	}
	return 0, "", false
}
