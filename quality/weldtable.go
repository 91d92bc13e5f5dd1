package quality

// A WeldImperfection is an entry of the catalogue of ISO 6520-1: its number, a plain name and its group.
type WeldImperfection struct {
	Code  string
	Name  string
	Group string
}

// WeldImperfections is the part of ISO 6520-1 that a visual check can find, in the order of the numbers.
//
// Source: ISO 6520-1. The numbers 100, 104, 2017, 2025, 401, 4021, 5011 to 5013, 502 to 506, 509 to 512 and 515 to 517 were
// seen in a list of quality levels; the others are from memory, unverified. The names are plain words of the trade.
var WeldImperfections = []WeldImperfection{
	{"100", "Crack", "Cracks"},
	{"104", "Crater crack", "Cracks"},
	{"2011", "Gas pore", "Cavities"},
	{"2012", "Even porosity", "Cavities"},
	{"2017", "Surface pore", "Cavities"},
	{"2025", "End crater pipe", "Cavities"},
	{"300", "Solid inclusion", "Inclusions"},
	{"401", "Lack of fusion", "Lack of fusion or penetration"},
	{"402", "Lack of penetration", "Lack of fusion or penetration"},
	{"4021", "Incomplete root penetration", "Lack of fusion or penetration"},
	{"5011", "Continuous undercut", "Shape and size"},
	{"5012", "Intermittent undercut", "Shape and size"},
	{"5013", "Shrinkage groove", "Shape and size"},
	{"502", "Excess weld metal (butt)", "Shape and size"},
	{"503", "Excess convexity (fillet)", "Shape and size"},
	{"504", "Excess penetration", "Shape and size"},
	{"505", "Bad weld toe", "Shape and size"},
	{"506", "Overlap", "Shape and size"},
	{"507", "Linear misalignment", "Shape and size"},
	{"509", "Sagging", "Shape and size"},
	{"510", "Burn-through", "Shape and size"},
	{"511", "Groove not filled", "Shape and size"},
	{"512", "Unequal legs", "Shape and size"},
	{"515", "Root concavity", "Shape and size"},
	{"516", "Root porosity", "Shape and size"},
	{"517", "Poor restart", "Shape and size"},
	{"5213", "Throat too small", "Shape and size"},
	{"5214", "Throat too large", "Shape and size"},
	{"601", "Stray arc", "Surface of the plate"},
	{"602", "Spatter", "Surface of the plate"},
}

// imperfectionName names an imperfection in a sentence, with its number.
func imperfectionName(code string) string {
	for _, w := range WeldImperfections {
		if w.Code == code {
			return w.Name + " (" + code + ")"
		}
	}
	return "Imperfection " + clip(code)
}

// DefaultWeldLimits returns starting rows for the quality levels B, C and D of aluminium, for a wall over 3 mm. They are
// from memory and some limits are simplified to the safe side where the standard's depends on more than the wall; every row
// says so in its Source. A shop edits them against the standard it has bought before it relies on them.
//
// Source: ISO 10042 (from memory, unverified) and common practice for parts that will be coated.
func DefaultWeldLimits() []WeldLimit {
	const memory = "ISO 10042 from memory; check against the standard before use"
	const strict = "from memory, standard permits a short or small one at some levels; set to none, check against ISO 10042 before use"
	const bead = "from memory, share of the bead width left out, so stricter than ISO 10042; check before use"
	const coated = "common practice for parts to be coated; check against ISO 10042 before use"
	no := func(level, code, source string) WeldLimit {
		return WeldLimit{Level: level, Code: code, Source: source}
	}
	upTo := func(level, code string, perWall, plus, most float64, source string) WeldLimit {
		w := WeldLimit{Level: level, Code: code, Permitted: true, PerWall: perWall, PlusMM: plus, Source: source}
		if most > 0 {
			w.MaxMM = &most
		}
		return w
	}
	var rows []WeldLimit
	for _, level := range []string{"B", "C", "D"} {
		rows = append(rows, no(level, "100", memory), no(level, "104", strict), no(level, "506", strict))
		// Pores and craters open to the surface hold gas and water that come out through the powder in the oven.
		for _, code := range []string{"2017", "2025", "510", "602"} {
			rows = append(rows, no(level, code, coated))
		}
		rows = append(rows, no(level, "5213", "the throat itself is measured against the drawing; ISO 10042 permits a share of it, check before use"))
	}
	return append(rows,
		no("B", "401", memory), no("C", "401", memory), upTo("D", "401", 0, 0.1, 0, memory),
		no("B", "4021", memory), upTo("C", "4021", 0.2, 0, 1.5, memory), upTo("D", "4021", 0.4, 0, 3, memory),
		no("B", "5011", memory), upTo("C", "5011", 0.1, 0, 0.5, memory), upTo("D", "5011", 0.2, 0, 1, memory),
		upTo("B", "502", 0, 1.5, 6, bead), upTo("C", "502", 0, 1.5, 8, bead), upTo("D", "502", 0, 1.5, 10, bead),
		upTo("B", "503", 0, 1.5, 3, bead), upTo("C", "503", 0, 1.5, 4, bead), upTo("D", "503", 0, 1.5, 5, bead),
		upTo("B", "504", 0, 3, 0, memory), upTo("C", "504", 0, 4, 0, memory), upTo("D", "504", 0, 5, 0, memory),
		upTo("B", "507", 0.2, 0, 2, memory), upTo("C", "507", 0.3, 0, 4, memory), upTo("D", "507", 0.4, 0, 8, memory),
	)
}
