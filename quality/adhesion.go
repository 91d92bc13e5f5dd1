package quality

import (
	"fmt"
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

// A CutPattern is how the lattice of a cross-cut is made: how many cuts in each direction, and how far apart.
type CutPattern struct {
	Cuts      int
	SpacingMM float64
}

// CutPatternFor returns the lattice that a method asks for on a film of a thickness in µm:
//
//   - D3359B: up to 50 µm 11 cuts 1 mm apart, up to 125 µm 6 cuts 2 mm apart; thicker films are tested by method A;
//   - ISO2409: up to 60 µm 6 cuts 1 mm apart, up to 120 µm 2 mm, up to 250 µm 3 mm; not for thicker or textured films.
//
// Between 50 and 60 µm the two part, so that the pattern must follow the method on the record. It returns ErrOutOfScale for
// a film the method is not made for, and for any other method.
//
// Source: ASTM D3359 B seen in a test report and a copy's preview; ISO 2409 limits seen in a copy's preview, spacing from
// memory, unverified.
func CutPatternFor(method string, micrometres float64) (CutPattern, error) {
	type step struct {
		upTo float64
		CutPattern
	}
	steps := map[string][]step{
		"D3359B":  {{50, CutPattern{11, 1}}, {125, CutPattern{6, 2}}},
		"ISO2409": {{60, CutPattern{6, 1}}, {120, CutPattern{6, 2}}, {250, CutPattern{6, 3}}},
	}
	for _, s := range steps[method] {
		if micrometres > 0 && micrometres <= s.upTo {
			return s.CutPattern, nil
		}
	}
	return CutPattern{}, fmt.Errorf("%w: a film of %v µm by %s", ErrOutOfScale, micrometres, methodName(method))
}

// An AdhesionClass is one class of an adhesion test and what it looks like.
type AdhesionClass struct{ Code, Text string }

// XCutClasses are the classes of the X-cut of ASTM D3359 A in plain words, best first.
//
// Source: ASTM D3359 A (from memory, unverified), in our own words.
var XCutClasses = []AdhesionClass{
	{"5A", "nothing lifts"},
	{"4A", "a trace lifts along the cut or at the crossing"},
	{"3A", "ragged lifting along the cuts, up to 1.6 mm on either side"},
	{"2A", "ragged lifting along the cuts, up to 3.2 mm on either side"},
	{"1A", "most of the X under the tape lifts"},
	{"0A", "the film lifts beyond the X"},
}
