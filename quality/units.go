package quality

import (
	"errors"
	"fmt"
	"math"
	"math/big"
	"strings"
)

// A Unit is the short code of a unit of measurement, as stored and exported.
type Unit string

// The units readings are entered, stored and exported in, and those that limits, areas and impact energies are given in.
const (
	Micrometre   Unit = "um"
	Mil          Unit = "mil"
	Millimetre   Unit = "mm"
	Inch         Unit = "in"
	Metre        Unit = "m"
	Foot         Unit = "ft"
	Celsius      Unit = "degC"
	Fahrenheit   Unit = "degF"
	Second       Unit = "s"
	Minute       Unit = "min"
	Hour         Unit = "h"
	Percent      Unit = "percent"
	PH           Unit = "pH"
	MicroSiemens Unit = "uS/cm"
	GramPerLitre Unit = "g/L"
	MilliSiemens Unit = "mS/cm"
	Millilitre   Unit = "mL"
	Litre        Unit = "L"
	Gram         Unit = "g"
	Kilogram     Unit = "kg"
	Kilovolt     Unit = "kV"
	Microampere  Unit = "uA"
	Lux          Unit = "lx"
	GlossUnit    Unit = "GU"
	Megohm       Unit = "Mohm"
	DoubleRubs   Unit = "double_rubs"
	GramPerM2    Unit = "g/m2"
	MilliPerM2   Unit = "mg/m2"
	MilliPerFt2  Unit = "mg/ft2"
	SquareMetre  Unit = "m2"
	SquareFoot   Unit = "ft2"

	SquareCentimetre Unit = "cm2"

	NewtonMetre Unit = "N.m"
	InchPound   Unit = "in.lbf"
)

// ErrUnits is returned for a conversion between units of different quantities.
var ErrUnits = errors.New("quality: these units measure different things")

// unitSymbols are the printed forms; a code that is not listed prints as itself.
var unitSymbols = map[Unit]string{
	Micrometre: "µm", Celsius: "°C", Fahrenheit: "°F", Percent: "%",
	// pH is its own name, and a number behind the name needs no unit: "pH 4.2".
	PH: "", MicroSiemens: "µS/cm",
	Microampere: "µA", Megohm: "MΩ", DoubleRubs: "double rubs", GramPerM2: "g/m²", MilliPerM2: "mg/m²", MilliPerFt2: "mg/ft²",
	SquareMetre: "m²", SquareFoot: "ft²", SquareCentimetre: "cm²", NewtonMetre: "N·m", InchPound: "in·lbf",
}

// Symbol returns the unit as people print it, such as µm for um. It is empty for pH, which is printed before its number.
func (u Unit) Symbol() string {
	if s, ok := unitSymbols[u]; ok {
		return s
	}
	return string(u)
}

// A scale leads from a unit to the base unit of its quantity: base = (value − zero)·num/den. Whole numbers keep every
// factor exact.
type scale struct {
	base           Unit
	num, den, zero int64
}

// scales holds the units that can be converted. A unit that is not listed converts to itself only.
//
// Source: definitions. The inch is 25.4 mm, the foot 0.3048 m and the pound 4.4482216152605 N exactly (international yard
// and pound, 1959).
var scales = map[Unit]scale{
	Micrometre: {Micrometre, 1, 1, 0}, Mil: {Micrometre, 127, 5, 0}, Millimetre: {Micrometre, 1000, 1, 0},
	Inch: {Micrometre, 25400, 1, 0}, Metre: {Micrometre, 1000000, 1, 0}, Foot: {Micrometre, 304800, 1, 0},
	Celsius: {Celsius, 1, 1, 0}, Fahrenheit: {Celsius, 5, 9, 32},
	Second: {Second, 1, 1, 0}, Minute: {Second, 60, 1, 0}, Hour: {Second, 3600, 1, 0},
	SquareMetre: {SquareMetre, 1, 1, 0}, SquareFoot: {SquareMetre, 145161, 1562500, 0}, SquareCentimetre: {SquareMetre, 1, 10000, 0},
	MicroSiemens: {MicroSiemens, 1, 1, 0}, MilliSiemens: {MicroSiemens, 1000, 1, 0},
	GramPerM2: {GramPerM2, 1, 1, 0}, MilliPerM2: {GramPerM2, 1, 1000, 0}, MilliPerFt2: {GramPerM2, 3125, 290322, 0},
	NewtonMetre: {NewtonMetre, 1, 1, 0}, InchPound: {NewtonMetre, 1129848290276167, 10000000000000000, 0},
}

// between returns the way from one unit to another: out = (value − from.zero)·num/den + to.zero in lowest terms.
func (from scale) between(to scale) (num, den int64) {
	num, den = from.num, from.den
	if to.num != 1 || to.den != 1 {
		num, den = num*to.den, den*to.num
	}
	a, b := num, den
	for b != 0 {
		a, b = b, a%b
	}
	return num / a, den / a
}

func pathOf(from, to Unit) (a, b scale, err error) {
	a, okA := scales[from]
	b, okB := scales[to]
	if !okA || !okB || a.base != b.base {
		return a, b, fmt.Errorf("%w: %s and %s", ErrUnits, from, to)
	}
	return a, b, nil
}

// Convert returns value, given in unit from, in unit to, by factors that are whole fractions: 1 mil = 127/5 µm,
// °C = (°F − 32)·5/9, 1 min = 60 s, 1 ft² = 0.09290304 m², 1 in·lbf = 0.1129848290276167 N·m. The result is exact up to
// the rounding of at most three operations in double precision; nothing else is rounded.
//
// It returns ErrUnits when the two do not measure the same quantity and ErrNotNumber when the result is not finite.
// Temperatures are converted as readings, not as differences.
func Convert(value float64, from, to Unit) (float64, error) {
	if from == to {
		return value, nil
	}
	a, b, err := pathOf(from, to)
	if err != nil {
		return 0, err
	}
	num, den := a.between(b)
	out := (value-float64(a.zero))*float64(num)/float64(den) + float64(b.zero)
	if math.IsNaN(out) || math.IsInf(out, 0) {
		return 0, fmt.Errorf("%w: %v %s in %s", ErrNotNumber, value, from, to)
	}
	return out, nil
}

// ConvertText converts decimal digits and keeps what they say. Where the result ends after finitely many decimals it is
// given in full ("2.40" mil is "60.96" µm); where it does not, it has as few decimals as keep the step of the last digit
// typed ("84" µm is "3.31" mil, "400" °F is "204.4" °C), so that converting back and rounding to the decimals typed
// returns the same digits. Comma and point are decimal marks; the result has a point.
//
// It returns ErrNotNumber for text that is not plain decimal digits (at most 12, no exponent) and ErrUnits when the two do
// not measure the same quantity.
func ConvertText(text string, from, to Unit) (string, error) {
	text = strings.ReplaceAll(strings.TrimSpace(text), ",", ".")
	if _, ok := parseDecimal(text); !ok {
		return "", fmt.Errorf("%w: “%s”", ErrNotNumber, clip(text))
	}
	value, ok := new(big.Rat).SetString(text)
	if !ok {
		return "", fmt.Errorf("%w: “%s”", ErrNotNumber, clip(text))
	}
	if from == to {
		return text, nil
	}
	a, b, err := pathOf(from, to)
	if err != nil {
		return "", err
	}
	factor := big.NewRat(a.between(b))
	value.Sub(value, big.NewRat(a.zero, 1)).Mul(value, factor).Add(value, big.NewRat(b.zero, 1))
	decimals := 0
	if point := strings.IndexByte(text, '.'); point >= 0 {
		decimals = len(text) - point - 1
	}
	return value.FloatString(max(stepDecimals(decimals, factor), finiteDecimals(value))), nil
}

// stepDecimals returns how many decimals a converted figure needs for its last digit to be no coarser than the last digit
// of the figure it comes from.
func stepDecimals(decimals int, factor *big.Rat) int {
	ten := big.NewRat(10, 1)
	step := new(big.Rat).Abs(factor)
	for range decimals {
		step.Quo(step, ten)
	}
	n := 0
	for last := big.NewRat(1, 1); last.Cmp(step) > 0; last.Quo(last, ten) {
		n++
	}
	return n
}

// finiteDecimals returns how many decimals it takes to write the value in full, or 0 when it has no end.
func finiteDecimals(value *big.Rat) int {
	if n, exact := value.FloatPrec(); exact {
		return n
	}
	return 0
}
