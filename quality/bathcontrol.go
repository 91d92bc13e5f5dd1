package quality

import "slices"

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
