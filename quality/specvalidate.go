package quality

import (
	"fmt"
	"math"
	"slices"
)

// problems collects sentences about what keeps a spec from being used.
type problems []string

func (p *problems) say(format string, args ...any) { *p = append(*p, fmt.Sprintf(format, args...)) }

// within asks for a number from low to high; NaN is outside.
func (p *problems) within(name string, value, low, high float64, unit string) {
	if !(value >= low && value <= high) {
		p.say("%s: enter %s to %s%s.", name, Number(low, 1), Number(high, 1), unit)
	}
}

// limits asks for finite limits in the right order, in units the characteristic is measured in.
func (p *problems) limits(name, code string, l Limits) {
	c, ok := CharacteristicOf(code)
	if !ok {
		p.say("%s: “%s” is not something the book measures.", name, clip(code))
		return
	}
	for _, bound := range []*Limit{l.Low, l.High} {
		if bound != nil && !p.limit(name, c, *bound) {
			return
		}
	}
	if l.Low != nil && l.High != nil {
		if high, err := l.High.In(l.Low.Unit); err == nil && l.Low.Value > high {
			p.say("%s: the lower limit %s is above the upper limit %s.", name, l.Low, l.High)
		}
	}
}

func (p *problems) limit(name string, c Characteristic, l Limit) bool {
	figures := []PairedLimit{{l.Value, l.Unit}}
	if l.Paired != nil {
		figures = append(figures, *l.Paired)
	}
	for _, figure := range figures {
		if math.IsNaN(figure.Value) || math.IsInf(figure.Value, 0) {
			p.say("%s: a limit must be a number.", name)
			return false
		}
		if !slices.Contains(c.Units, figure.Unit) {
			p.say("%s: a limit in “%s” does not fit; enter it in %s.", name, clip(figure.Unit.Symbol()), c.Canonical().Symbol())
			return false
		}
	}
	return true
}

// Validate returns one sentence for each thing that keeps the spec from being used, in the order of the sections.
func (s FinishSpec) Validate() []string {
	var p problems
	if len(s.Asks()) == 0 {
		p.say("The spec asks for nothing. Add at least one section.")
	}
	if s.MaxCycles < 1 || s.MaxCycles > 9 {
		p.say("Cycles allowed in all: enter 1 to 9.")
	}
	s.Weld.validate(&p)
	s.Pretreatment.validate(&p)
	s.Coating.validate(&p)
	s.Cure.validate(&p)
	s.CureTest.validate(&p)
	s.PanelTest.validate(&p)
	s.Finish.validate(&p)
	s.Film.validate(&p)
	s.FirstArticle.validate(&p)
	s.validateSampling(&p)
	return p
}

func (w *WeldSpec) validate(p *problems) {
	if w == nil {
		return
	}
	if w.Level != "B" && w.Level != "C" && w.Level != "D" {
		p.say("Weld quality level: enter B, C or D.")
	}
	p.limits("Weld leg", "weld_leg", w.Leg)
	p.limits("Weld throat", "weld_throat", w.Throat)
	p.limits("Light at the weld", "light", w.Light)
}

func (s *PretreatmentSpec) validate(p *problems) {
	if s == nil {
		return
	}
	if len(s.Stages) == 0 {
		p.say("Pretreatment needs at least one stage.")
	}
	for i, stage := range s.Stages {
		name := stage.Name
		if name == "" {
			name = "Stage " + StageKey(i, stage)
		}
		for _, code := range sortedKeys(stage.Limits) {
			label := name
			if c, ok := CharacteristicOf(code); ok {
				label += ", " + lowerFirst(c.Name)
			}
			p.limits(label, code, stage.Limits[code])
		}
	}
	p.within("Longest time from pretreatment to powder", s.MaxHoursToCoat, 0, 1000, " h")
	if s.BathUnchecked != "" && s.BathUnchecked != BathFlag && s.BathUnchecked != BathRefuse {
		p.say("Wash in an unchecked bath: choose flag or refuse.")
	}
}

func (c *CoatingSpec) validate(p *problems) {
	if c == nil {
		return
	}
	p.limits("Booth air", "air_temperature", c.Air)
	p.limits("Booth humidity", "humidity", c.Humidity)
	p.within("Margin over the dew point", c.DewPointMarginC, 0, 20, " K")
	p.limits("Resistance to earth", "ground_resistance", c.Ground)
	p.limits("Gun voltage", "gun_voltage", c.Voltage)
}

func (c *CureSpec) validate(p *problems) {
	if c == nil {
		return
	}
	p.within("Schedule temperature", c.ScheduleC, 50, 300, " °C")
	if c.Channels < 1 || c.Channels > 12 {
		p.say("Metal temperatures per cure run: enter 1 to 12.")
	}
	p.within("Spread of the peaks", c.MaxSpreadC, 0, 100, " K")
	if c.Decides != "" && !slices.Contains(CureMeasures, c.Decides) {
		p.say("Cure: “%s” is not a measure that can decide.", clip(string(c.Decides)))
	}
	if c.Decides == EquivalentTime {
		p.within("Reference temperature of the cure", c.ReferenceC, 50, 300, " °C")
		p.within("Activation energy of the cure", c.ActivationKJMol, 1, maxActivation, " kJ/mol")
	}
}

func (c *CureTestSpec) validate(p *problems) {
	if c == nil {
		return
	}
	if c.Solvent == "" {
		p.say("Cure test: name the solvent.")
	}
	if c.Rubs < 1 || c.Rubs > 200 {
		p.say("Cure test: enter 1 to 200 double rubs.")
	}
	if c.WaitS < 0 || c.WaitS > 3600 {
		p.say("Cure test: the wait before judging is 0 to 3600 s.")
	}
	if c.PassFrom < 2 || c.PassFrom > 4 {
		p.say("Cure test: the lowest rating that passes is 2, 3 or 4.")
	}
}

func (f *FinishCheckSpec) validate(p *problems) {
	if f == nil {
		return
	}
	p.within("Viewing distance", f.DistanceMM, 0, 10000, " mm")
	p.limits("Light at the finish", "light", f.Light)
	for _, row := range f.Allowed {
		if row.Code == ScratchToMetal {
			p.say("A scratch to metal cannot be permitted.")
		}
		if row.Count < 0 || !(row.SizeMM >= 0) {
			p.say("%s: count and size are 0 or more.", finishDefectName(row.Code))
		}
	}
	f.Gloss.validate(p)
	f.Adhesion.validate(p)
}

func (g *GlossSpec) validate(p *problems) {
	if g != nil && (!(g.Nominal >= 0) || !(g.Tolerance > 0) || g.GeometryDeg != 20 && g.GeometryDeg != 60 && g.GeometryDeg != 85) {
		p.say("Gloss: enter a nominal, a tolerance over 0 and a geometry of 20, 60 or 85°.")
	}
}

func (a *AdhesionSpec) validate(p *problems) {
	if a != nil && adhesionRank(a.Method, a.Worst) < 0 {
		p.say("Adhesion: “%s” is not a class of %s.", clip(a.Worst), methodName(a.Method))
	}
}

func (f *FilmSpec) validate(p *problems) {
	if f == nil {
		return
	}
	p.limits("Film thickness", "film_thickness", f.Limits)
	if f.Limits.Low == nil {
		p.say("Film thickness: enter the minimum.")
	}
	f.validateRule(p)
	if f.Floor != nil {
		p.limits("Film thickness, low limit", "film_thickness", Limits{Low: f.Floor})
	}
	if f.MaxTotal != nil {
		p.limits("Film thickness after recoating", "film_thickness", Limits{Low: f.Limits.Low, High: f.MaxTotal})
	}
	if f.Spots < 1 || f.Spots > 99 || f.ReadingsPerSpot < 1 || f.ReadingsPerSpot > 9 {
		p.say("Film thickness: enter 1 to 99 spots and 1 to 9 readings each.")
	}
	if f.Areas < 0 || f.Areas > 999 || f.SpotsPerArea < 0 || f.SpotsPerArea > 99 {
		p.say("Film thickness: enter 0 to 999 areas and 0 to 99 spots in each.")
	}
	if !(f.Guard >= 0) || math.IsInf(f.Guard, 0) {
		p.say("Film thickness: the guard band is 0 or more.")
	}
}

func (f *FilmSpec) validateRule(p *problems) {
	switch f.Rule {
	case Areas80, EachReading:
	case SpotArea:
		if f.Level < 1 || f.Level > 5 {
			p.say("Film thickness: the restriction level is 1 to 5.")
		}
		if f.Limits.High == nil && f.Level < 5 {
			p.say("Film thickness: the spot and area rule needs a maximum up to level 4.")
		}
	case ShareOfReadings:
		if !(f.Share > 0 && f.Share <= 1) || f.Floor == nil {
			p.say("Film thickness: enter the share of readings (over 0, up to 1) and the low limit.")
		}
		if !(f.UnderFloor >= 0 && f.UnderFloor < 1) {
			p.say("Film thickness: the share that may be under the low limit is 0 or more and under 1.")
		}
	default:
		p.say("Film thickness: choose an acceptance rule.")
	}
}
