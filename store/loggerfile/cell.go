package loggerfile

import (
	"bytes"
	"math"
	"strconv"
	"strings"
)

// openCodes are what loggers write for a thermocouple that is open or a reading that is missing, in small letters and
// without blanks. Common practice; shops name theirs in many ways.
var openCodes = map[string]bool{"": true, "na": true, "n/a": true, "#n/a": true, "nan": true, "null": true, "none": true, "nil": true, "open": true, "opn": true, "oc": true,
	"o.c.": true, "otc": true, "open tc": true, "opentc": true, "err": true, "error": true, "fault": true, "fail": true, "ol": true, "o.l.": true, "o/l": true, "over": true,
	"ovr": true, "overflow": true, "ovld": true, "overrange": true, "over range": true, "under": true, "underrange": true, "hi": true, "lo": true, "inf": true, "-inf": true, "+inf": true,
	"break": true, "burnout": true, "invalid": true, "bad": true, "offen": true, "bruch": true, "fehler": true, "abierto": true, "?": true}

// isOpenCode reports whether a cell says that there is no reading: it is empty, a known word, or marks only.
func isOpenCode(cell []byte) bool {
	if len(cell) == 0 {
		return true
	}
	if len(cell) > 12 {
		return false
	}
	marks := true
	for _, b := range cell {
		if b != '-' && b != '*' && b != '#' && b != '_' && b != '.' && b != '+' && b != '?' {
			marks = false
			break
		}
	}
	return marks || openCodes[strings.ToLower(string(cell))]
}

// powers are exact in binary.
var powers = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

// number reads a decimal number with the given mark: sign, digits, at most one mark, an exponent. Nothing else; no grouping.
func number(cell []byte, mark byte) (float64, bool) {
	i, negative := 0, false
	if len(cell) > 0 && (cell[0] == '-' || cell[0] == '+') {
		negative, i = cell[0] == '-', 1
	}
	var mantissa uint64
	digits, decimals, marked := 0, 0, false
	for ; i < len(cell); i++ {
		b := cell[i]
		if b >= '0' && b <= '9' {
			if digits++; digits > 15 {
				return 0, false
			}
			mantissa = mantissa*10 + uint64(b-'0')
			if marked {
				decimals++
			}
			continue
		}
		if b == mark && !marked {
			marked = true
			continue
		}
		if (b == 'e' || b == 'E') && digits > 0 {
			return withExponent(cell, mark)
		}
		return 0, false
	}
	if digits == 0 {
		return 0, false
	}
	// Both are exact, so the quotient is the nearest number there is.
	v := float64(mantissa) / powers[decimals]
	if negative {
		v = -v
	}
	return v, true
}

func withExponent(cell []byte, mark byte) (float64, bool) {
	if len(cell) > 30 {
		return 0, false
	}
	text := string(cell)
	if mark == ',' {
		if strings.Contains(text, ".") {
			return 0, false
		}
		text = strings.Replace(text, ",", ".", 1)
	}
	v, err := strconv.ParseFloat(text, 64)
	return v, err == nil && !math.IsInf(v, 0) && !math.IsNaN(v)
}

var unitMarks = []struct {
	suffix []byte
	unit   string
}{{[]byte("°C"), "C"}, {[]byte("°F"), "F"}, {[]byte("ºC"), "C"}, {[]byte("ºF"), "F"}, {[]byte("degC"), "C"}, {[]byte("degF"), "F"}, {[]byte("C"), "C"}, {[]byte("F"), "F"}}

// temperature reads a cell as a number with or without °C or °F behind it. unit is empty where none stands there.
func temperature(cell []byte, mark byte) (value float64, unit string, ok bool) {
	if value, ok = number(cell, mark); ok {
		return value, "", true
	}
	for _, m := range unitMarks {
		if rest, found := bytes.CutSuffix(cell, m.suffix); found {
			if value, ok = number(trim(rest), mark); ok {
				return value, m.unit, true
			}
		}
	}
	return 0, "", false
}

// otherMark reports whether a cell is a number if its decimals were written with the other mark, or with both.
func otherMark(cell []byte, mark byte) bool {
	other := byte(',')
	if mark == ',' {
		other = '.'
	}
	if _, _, ok := temperature(cell, other); ok {
		return true
	}
	_, _, ok := temperature(bytes.ReplaceAll(cell, []byte{other}, nil), mark)
	return ok && bytes.IndexByte(cell, other) >= 0
}

// celsius turns a value into °C. What no oven can have is an open thermocouple: NaN.
func celsius(value float64, unit string) float64 {
	if unit == "F" {
		value = (value - 32) / 1.8
	}
	if !(value >= -50 && value <= 500) {
		return math.NaN()
	}
	return value
}

func clip(cell []byte) string {
	runes := []rune(string(cell))
	if len(runes) > 30 {
		return string(runes[:30]) + "…"
	}
	return string(runes)
}
