package quality

import (
	"slices"
)

// AdhesionMethods are the methods an AdhesionSpec may name.
var AdhesionMethods = []string{"D3359A", "D3359B", "ISO2409"}

// adhesionClasses lists the classes of each method, worst first. The D3359 scales and the ISO 2409 scale run in opposite
// directions: 5B is the best of one and 5 the worst of the other.
//
// Source: ASTM D3359 B seen (pslc.ws table); D3359 A and ISO 2409 from memory. Whole grades only: ASTM D3359-23 (seen).
var adhesionClasses = map[string][]string{
	"D3359A":  {"0A", "1A", "2A", "3A", "4A", "5A"},
	"D3359B":  {"0B", "1B", "2B", "3B", "4B", "5B"},
	"ISO2409": {"5", "4", "3", "2", "1", "0"},
}

// AdhesionClasses returns the classes of a method, best first, or nil for an unknown method.
func AdhesionClasses(method string) []string {
	classes := slices.Clone(adhesionClasses[method])
	slices.Reverse(classes)
	return classes
}

// adhesionRank returns where a class stands within its method, 0 worst and 5 best, or -1 when it is no class of it. Ranks of
// different methods are never compared.
func adhesionRank(method, class string) int { return slices.Index(adhesionClasses[method], class) }

func methodName(method string) string {
	switch method {
	case "D3359A":
		return "ASTM D3359 A"
	case "D3359B":
		return "ASTM D3359 B"
	case "ISO2409":
		return "ISO 2409"
	}
	return clip(method)
}

// AdhesionClassD3359B returns the class of a cross-cut by ASTM D3359 B for the percentage of the area removed: none is 5B,
// under 5 % 4B, 5 to 15 % 3B, 15 to 35 % 2B, 35 to 65 % 1B, over 65 % 0B. Where two ranges share an end, that end belongs to
// the better class. It returns "" for anything outside 0 to 100.
//
// Source: ASTM D3359 B as tabulated at pslc.ws/ret2003/adtable.html (seen); the shared ends are read as in ISO 2409.
func AdhesionClassD3359B(percent float64) string {
	switch {
	case !(percent >= 0 && percent <= 100):
		return ""
	case percent == 0:
		return "5B"
	case percent < 5:
		return "4B"
	case percent <= 15:
		return "3B"
	case percent <= 35:
		return "2B"
	case percent <= 65:
		return "1B"
	}
	return "0B"
}

// AdhesionClassISO2409 returns the class of a cross-cut by ISO 2409 for the percentage of the area affected: none is 0, up
// to 5 % 1, up to 15 % 2, up to 35 % 3, up to 65 % 4, more 5. At exactly 5 % it parts from D3359 B, which is why neither is
// computed from the other. It returns "" for anything outside 0 to 100.
//
// Source: ISO 2409, seen in makers' reproductions of the table.
func AdhesionClassISO2409(percent float64) string {
	switch {
	case !(percent >= 0 && percent <= 100):
		return ""
	case percent == 0:
		return "0"
	case percent <= 5:
		return "1"
	case percent <= 15:
		return "2"
	case percent <= 35:
		return "3"
	case percent <= 65:
		return "4"
	}
	return "5"
}
