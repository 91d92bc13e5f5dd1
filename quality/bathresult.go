package quality

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
)

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
