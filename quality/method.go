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
	case kind == Finish && s.Finish != nil:
		return s.Finish.method()
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
		parts = append(parts, fmt.Sprintf("gloss at %d degrees (ISO 2813)", f.Gloss.GeometryDeg))
	}
	if f.Adhesion != nil {
		name := adhesionMethodNames[f.Adhesion.Method]
		if name == "" {
			name = f.Adhesion.Method
		}
		parts = append(parts, "adhesion by "+name)
	}
	return strings.Join(parts, "; ")
}
