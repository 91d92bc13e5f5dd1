package quality

import (
	"fmt"
	"strings"
)

// adhesionMethodNames are the adhesion methods as a certificate prints them.
var adhesionMethodNames = map[string]string{
	"D3359A": "ASTM D3359 method A, X-cut", "D3359B": "ASTM D3359 method B, cross-cut", "ISO2409": "ISO 2409 cross-cut",
}

// Method says in words how a kind of record is made under the spec, as a certificate prints it: what is looked at or
// measured, with what, and how often. A kind that the spec does not ask for gives an empty string. The standards named are
// those whose way of measuring the book follows; it claims conformity to none of them.
func (s FinishSpec) Method(kind Kind) string {
	switch {
	case kind == Weld && s.Weld != nil:
		return fmt.Sprintf("Welds examined by eye before coating, quality level %s by wall thickness", s.Weld.Level)
	case kind == Pretreatment && s.Pretreatment != nil:
		return s.Pretreatment.method()
	case kind == Coating && s.Coating != nil:
		return "Powder lot, booth and air recorded for each rack"
	case kind == Cure && s.Cure != nil:
		return s.Cure.method()
	case kind == CureTest && s.CureTest != nil:
		return fmt.Sprintf("Solvent rub, %d double rubs with %s, rated 1 to 4, 4 best, from %d on passes", s.CureTest.Rubs, s.CureTest.Solvent, s.CureTest.PassFrom)
	case kind == PanelTest && s.PanelTest != nil:
		return s.PanelTest.method()
	case kind == Finish && s.Finish != nil:
		return s.seenAlone().method()
	case kind == Film && s.Film != nil:
		return fmt.Sprintf("Dry film thickness by gauge on aluminium (eddy current, ISO 2360), %s of %s", counted(s.Film.Spots, "spot"), counted(s.Film.ReadingsPerSpot, "reading"))
	}
	return ""
}

func (p PretreatmentSpec) method() string {
	names := make([]string, len(p.Stages))
	for i, stage := range p.Stages {
		names[i] = lowerFirst(stage.Name)
	}
	words := "Wash of " + counted(len(p.Stages), "stage")
	if len(names) > 0 {
		words += ": " + strings.Join(names, ", ")
	}
	if p.WaterBreak {
		words += "; water-break test after the last rinse"
	}
	return words
}

func (c CureSpec) method() string {
	decides := c.Decides
	if decides == "" {
		decides = TimeAbove
	}
	words := fmt.Sprintf("Metal temperature at %s or more, %s", counted(c.Channels, "place"), CureMeasureNames[decides])
	if c.ScheduleC > 0 {
		words += fmt.Sprintf(" from %s °C", Number(c.ScheduleC, 1))
	}
	return words + " against the powder's window"
}

func (f FinishCheckSpec) method() string {
	parts := []string{"Finish seen by eye"}
	if f.DistanceMM > 0 {
		parts[0] += " from " + Number(f.DistanceMM/1000, 2) + " m"
	}
	if f.Gloss != nil {
		parts = append(parts, f.Gloss.method())
	}
	if f.Adhesion != nil {
		parts = append(parts, f.Adhesion.method())
	}
	return strings.Join(parts, "; ")
}

// seenAlone is the finish check without what the spec samples apart from it.
func (s FinishSpec) seenAlone() FinishCheckSpec {
	f := *s.Finish
	if _, apart := s.Sampling[FinishGloss]; apart {
		f.Gloss = nil
	}
	if _, apart := s.Sampling[FinishAdhesion]; apart {
		f.Adhesion = nil
	}
	return f
}

// MethodOf says like Method how one characteristic of a check is measured; empty where the spec does not ask for it.
func (s FinishSpec) MethodOf(what Sampled) string {
	switch {
	case !s.asksFor(what):
		return ""
	case what == WeldLeg, what == WeldThroat:
		return upperFirst(what.Rule()) + " of each weld measured"
	case what == FinishGloss:
		return upperFirst(s.Finish.Gloss.method())
	case what == FinishAdhesion:
		return upperFirst(s.Finish.Adhesion.method())
	}
	return s.Method(what.Check())
}

// method names the tests on a panel. Bend and impact name their mandrel and energy, and how the coat is judged after them.
func (s PanelSpec) method() string {
	var tests []string
	if s.Adhesion != nil {
		tests = append(tests, s.Adhesion.method())
	}
	if s.Gloss != nil {
		tests = append(tests, s.Gloss.method())
	}
	if s.Pencil != nil {
		tests = append(tests, "pencil hardness by "+PencilMethodName(s.Pencil.Method))
	}
	if s.Bend != nil {
		tests = append(tests, fmt.Sprintf("bend over a mandrel of %s mm, %s", Number(s.Bend.MandrelMM, 2), cracksJudged(s.Bend.Tape)))
	}
	if s.Impact != nil {
		tests = append(tests, fmt.Sprintf("impact of %s N·m on the back, %s", Number(s.Impact.EnergyNm, 2), cracksJudged(s.Impact.Tape)))
	}
	return "Destructive tests on a witness panel of the oven load: " + strings.Join(tests, "; ")
}

// cracksJudged says how a deformed coat is judged.
func cracksJudged(tape bool) string {
	if tape {
		return "cracks judged by tape"
	}
	return "seen for cracks"
}

func (g GlossSpec) method() string {
	return fmt.Sprintf("gloss at %d degrees (ISO 2813)", g.GeometryDeg)
}

func (a AdhesionSpec) method() string {
	name := adhesionMethodNames[a.Method]
	if name == "" {
		name = a.Method
	}
	if a.Conditions {
		name += ", temperature and humidity recorded"
	}
	return "adhesion by " + name
}
