package quality

import (
	"errors"
	"fmt"
)

// A Unit is the short code of a unit of measurement, as stored and exported.
type Unit string

// The units readings are entered, stored and exported in.
const (
	Micrometre   Unit = "um"
	Mil          Unit = "mil"
	Millimetre   Unit = "mm"
	Celsius      Unit = "degC"
	Fahrenheit   Unit = "degF"
	Second       Unit = "s"
	Minute       Unit = "min"
	Percent      Unit = "percent"
	PH           Unit = "pH"
	MicroSiemens Unit = "uS/cm"
	GramPerLitre Unit = "g/L"
	Kilovolt     Unit = "kV"
	Microampere  Unit = "uA"
	Lux          Unit = "lx"
	GlossUnit    Unit = "GU"
	Megohm       Unit = "Mohm"
	DoubleRubs   Unit = "double_rubs"
	GramPerM2    Unit = "g/m2"
)

// ErrUnits is returned for a conversion between units of different quantities.
var ErrUnits = errors.New("quality: these units measure different things")

// unitSymbols are the printed forms; a code that is not listed prints as itself.
var unitSymbols = map[Unit]string{
	Micrometre: "µm", Celsius: "°C", Fahrenheit: "°F", Percent: "%",
	// pH is its own name, and a number behind the name needs no unit: "pH 4.2".
	PH: "", MicroSiemens: "µS/cm",
	Microampere: "µA", Megohm: "MΩ", DoubleRubs: "double rubs", GramPerM2: "g/m²",
}

// Symbol returns the unit as people print it, such as µm for um. It is empty for pH, which is printed before its number.
func (u Unit) Symbol() string {
	if s, ok := unitSymbols[u]; ok {
		return s
	}
	return string(u)
}

// Convert returns value, given in unit from, in unit to. 1 mil is 25.4 µm exactly; °C = (°F − 32)/1.8 exactly; 1 min is
// 60 s. It returns ErrUnits when the two do not measure the same quantity.
func Convert(value float64, from, to Unit) (float64, error) {
	switch {
	case from == to:
		return value, nil
	case from == Mil && to == Micrometre:
		return value * 25.4, nil
	case from == Micrometre && to == Mil:
		return value / 25.4, nil
	case from == Fahrenheit && to == Celsius:
		return (value - 32) / 1.8, nil
	case from == Celsius && to == Fahrenheit:
		return value*1.8 + 32, nil
	case from == Minute && to == Second:
		return value * 60, nil
	case from == Second && to == Minute:
		return value / 60, nil
	}
	return 0, fmt.Errorf("%w: %s and %s", ErrUnits, from, to)
}
