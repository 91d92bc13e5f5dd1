package quality

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// A Characteristic is one thing that can be measured: its name, the units it is entered in (the first one is canonical,
// in which it is stored and exported), and the plausible range in that unit. Outside the range the device or the typing
// is wrong and nothing is stored; inside it but outside the spec, the value is stored and fails.
type Characteristic struct {
	Code      string
	Name      string
	Units     []Unit
	Low, High float64
}

// Canonical is the unit the characteristic is stored and exported in.
func (c Characteristic) Canonical() Unit { return c.Units[0] }

// Range returns the plausible range in unit, in words, such as "0 to 1000 µm". A bound that has more decimals is rounded
// inwards, so that what is printed is always accepted.
func (c Characteristic) Range(unit Unit) string {
	low, high, err := c.bounds(unit)
	if err != nil {
		return ""
	}
	low, high = math.Ceil(tidy(low*10))/10, math.Floor(tidy(high*10))/10
	return strings.TrimSpace(fmt.Sprintf("%s to %s %s", Number(low, 1), Number(high, 1), unit.Symbol()))
}

func (c Characteristic) bounds(unit Unit) (low, high float64, err error) {
	if low, err = Convert(c.Low, c.Canonical(), unit); err != nil {
		return 0, 0, err
	}
	high, err = Convert(c.High, c.Canonical(), unit)
	return low, high, err
}

// characteristics is the register. Plausible ranges are common practice, no published source; they catch slips of the
// finger and wrong units, they are not limits on parts.
var characteristics = func() map[string]Characteristic {
	list := []Characteristic{
		// 1000 µm and not more, so that micrometres typed where mils are due (76 for 3.0) are caught as well.
		{"film_thickness", "Film thickness", []Unit{Micrometre, Mil}, 0, 1000},
		{"shim_reading", "Reading on shim", []Unit{Micrometre, Mil}, 0, 1000},
		{"zero_reading", "Reading on bare plate", []Unit{Micrometre, Mil}, -50, 50},
		{"weld_leg", "Leg length", []Unit{Millimetre}, 0.5, 50},
		{"weld_throat", "Throat thickness", []Unit{Millimetre}, 0.5, 40},
		{"light", "Light at the part", []Unit{Lux}, 10, 20000},
		{"stage_temperature", "Temperature", []Unit{Celsius, Fahrenheit}, 5, 150},
		{"stage_time", "Time in stage", []Unit{Second, Minute}, 1, 3600},
		{"concentration", "Concentration", []Unit{Percent}, 0, 100},
		{"ph", "pH", []Unit{PH}, 0, 14},
		{"conductivity", "Conductivity at 20 °C", []Unit{MicroSiemens}, 0, 5000},
		{"gun_voltage", "Gun voltage", []Unit{Kilovolt}, 0, 120},
		{"gun_current", "Gun current", []Unit{Microampere}, 0, 200},
		{"air_temperature", "Air temperature", []Unit{Celsius, Fahrenheit}, 0, 50},
		{"humidity", "Relative humidity", []Unit{Percent}, 1, 100},
		{"surface_temperature", "Part surface temperature", []Unit{Celsius, Fahrenheit}, 0, 60},
		{"ground_resistance", "Resistance of hanger to earth", []Unit{Megohm}, 0, 1000},
		{"reclaim", "Reclaimed powder", []Unit{Percent}, 0, 100},
		{"set_point", "Oven set point", []Unit{Celsius, Fahrenheit}, 50, 300},
		{"oven_air", "Oven air reading", []Unit{Celsius, Fahrenheit}, 50, 300},
		{"oven_place", "Oven temperature at a place", []Unit{Celsius, Fahrenheit}, 50, 300},
		{"oven_time", "Time in oven", []Unit{Minute, Second}, 1, 180},
		{"metal_peak", "Peak metal temperature", []Unit{Celsius, Fahrenheit}, 50, 300},
		{"metal_time", "Time at or over the schedule temperature", []Unit{Minute, Second}, 0, 180},
		{"rubs", "Double rubs", []Unit{DoubleRubs}, 1, 200},
		{"rub_wait", "Wait before judging", []Unit{Second, Minute}, 0, 3600},
		{"gloss", "Gloss", []Unit{GlossUnit}, 0, 2000},
		{"viewing_distance", "Viewing distance", []Unit{Millimetre}, 100, 10000},
		{TestTemperature, "Temperature at the test", []Unit{Celsius, Fahrenheit}, 0, 50},
		{TestHumidity, "Relative humidity at the test", []Unit{Percent}, 1, 100},
		{"mandrel", "Mandrel", []Unit{Millimetre}, 1, 50},
		{"impact_energy", "Impact energy", []Unit{NewtonMetre, InchPound}, 0.1, 50},
		{WindowMetal, "Metal temperature of the window", []Unit{Celsius, Fahrenheit}, 50, 300},
		{WindowLeast, "Least time of the window", []Unit{Minute}, 0.5, 180},
		{WindowLongest, "Longest time of the window", []Unit{Minute}, 0.5, 600},
	}
	list = append(list, calibrationCharacteristics()...)
	list = append(list, bathCharacteristics()...)
	m := make(map[string]Characteristic, len(list))
	for _, c := range list {
		m[c.Code] = c
	}
	return m
}()

// CharacteristicOf returns the registered characteristic with this code, and whether there is one.
func CharacteristicOf(code string) (Characteristic, bool) {
	c, ok := characteristics[code]
	return c, ok
}

// Characteristics returns the codes of all registered characteristics, in no order.
func Characteristics() []Characteristic {
	all := make([]Characteristic, 0, len(characteristics))
	for _, c := range characteristics {
		all = append(all, c)
	}
	return all
}

// ParseReading turns typed or received text into a reading of a characteristic. A comma serves as a decimal mark; a unit
// written behind the number (84.2 um) must be a unit of the characteristic and wins over unit. The digits are kept.
// problem is empty, or one sentence that quotes the text and says what would be right; then there is no reading.
func ParseReading(code, text string, unit Unit) (reading Reading, problem string) {
	c, ok := CharacteristicOf(code)
	if !ok {
		return Reading{}, fmt.Sprintf("“%s” is not something the book measures.", clip(code))
	}
	digits, unit, problem := splitUnit(c, text, unit)
	if problem != "" {
		return Reading{}, problem
	}
	value, ok := parseDecimal(digits)
	if !ok {
		return Reading{}, fmt.Sprintf("“%s” is not a number. Enter %s from %s.", clip(text), lowerFirst(c.Name), c.Range(unit))
	}
	low, high, err := c.bounds(unit)
	if err != nil {
		return Reading{}, fmt.Sprintf("%s is not given%s. Enter it from %s.", c.Name, in(unit), c.Range(c.Canonical()))
	}
	if value < low || value > high {
		return Reading{}, implausible(c, text, value, unit)
	}
	return Reading{Characteristic: code, Value: value, Text: strings.ReplaceAll(digits, ",", "."), Unit: unit, Source: "typed", Raw: text}, ""
}

// implausible words the refusal of a number that cannot be right, and says so when another unit would explain it.
func implausible(c Characteristic, text string, value float64, unit Unit) string {
	for _, other := range c.Units {
		if other == unit {
			continue
		}
		if low, high, err := c.bounds(other); err == nil && value >= low && value <= high {
			return fmt.Sprintf("“%s” cannot be right in %s: is it %s? Check the gauge. Enter %s from %s.",
				clip(text), unit.Symbol(), other.Symbol(), lowerFirst(c.Name), c.Range(unit))
		}
	}
	return fmt.Sprintf("“%s” cannot be right. Check the gauge and measure again: %s is from %s.", clip(text), lowerFirst(c.Name), c.Range(unit))
}

// splitUnit takes a unit suffix off the text.
func splitUnit(c Characteristic, text string, unit Unit) (digits string, u Unit, problem string) {
	s := strings.TrimSpace(text)
	if s == "" {
		return "", unit, fmt.Sprintf("%s is empty. Enter %s.", c.Name, c.Range(unit))
	}
	end := len(s)
	for i, r := range s {
		if !strings.ContainsRune("0123456789.,+-", r) {
			end = i
			break
		}
	}
	digits, suffix := s[:end], strings.TrimSpace(s[end:])
	if suffix == "" {
		return digits, unit, ""
	}
	for _, candidate := range c.Units {
		if strings.EqualFold(suffix, string(candidate)) || strings.EqualFold(suffix, candidate.Symbol()) || candidate == Micrometre && suffix == "μm" {
			return digits, candidate, ""
		}
	}
	return "", unit, fmt.Sprintf("“%s” is not a number%s. Enter %s from %s.", clip(text), in(unit), lowerFirst(c.Name), c.Range(unit))
}

// in returns " in µm" for a sentence, and nothing for a unit without a symbol.
func in(unit Unit) string {
	if strings.TrimSpace(unit.Symbol()) == "" {
		return ""
	}
	return " in " + clip(unit.Symbol())
}

// parseDecimal accepts an optional sign, digits, and at most one point or comma. No exponent, no grouping.
func parseDecimal(s string) (float64, bool) {
	marks, digits := 0, 0
	for i, r := range s {
		switch {
		case r >= '0' && r <= '9':
			digits++
		case r == '.' || r == ',':
			marks++
		case (r == '-' || r == '+') && i == 0:
		default:
			return 0, false
		}
	}
	if marks > 1 || digits == 0 || digits > 12 {
		return 0, false
	}
	value, err := strconv.ParseFloat(strings.ReplaceAll(s, ",", "."), 64)
	return value, err == nil && !math.IsInf(value, 0)
}

// clip shortens hostile or accidental floods of text for a sentence.
func clip(s string) string {
	runes := []rune(strings.TrimSpace(s))
	if len(runes) > 24 {
		return string(runes[:24]) + "…"
	}
	return string(runes)
}

func lowerFirst(s string) string {
	if strings.HasPrefix(s, "pH") {
		return s
	}
	return strings.ToLower(s[:1]) + s[1:]
}
