package quality

import "fmt"

// The ratings that a test on a witness panel holds besides RatingAdhesion.
const (
	// RatingPencil is the hardest pencil that left no damage, such as "F".
	RatingPencil = "pencil"
	// RatingBend and RatingImpact are what the coat did: one of Deformations.
	RatingBend   = "bend"
	RatingImpact = "impact"
)

// The conditions of a test: kept as readings where the method is sensitive to them.
const (
	TestTemperature = "test_temperature"
	TestHumidity    = "test_humidity"
)

// A Deformation is what a coat did when the metal under it was bent or struck.
type Deformation struct{ Code, Text string }

// Deformations are the results of bend and impact, best first.
//
// Source: Qualicoat tests of bend and impact, seen for impact in a restatement (no cracks for class 1; no lifting under the
// tape for class 2 and 3), in our own words.
var Deformations = []Deformation{
	{"whole", "no crack to be seen"}, {"cracked", "fine cracks, nothing lifts on the tape"}, {"lifted", "the coat lifts"},
}

// A PanelSpec asks for destructive tests on a witness panel of each oven load. A test that is nil is not asked for.
type PanelSpec struct {
	Adhesion *AdhesionSpec `json:"adhesion,omitempty"`
	Gloss    *GlossSpec    `json:"gloss,omitempty"`
	Pencil   *PencilSpec   `json:"pencil,omitempty"`
	Bend     *BendSpec     `json:"bend,omitempty"`
	Impact   *ImpactSpec   `json:"impact,omitempty"`
}

// A PencilSpec names the method of pencil hardness and the softest grade that passes.
type PencilSpec struct {
	Method  string `json:"method"` // ISO15184, D3363
	Softest string `json:"softest"`
}

// A BendSpec bends the panel over a mandrel. With Tape, fine cracks pass as long as nothing lifts under the tape.
type BendSpec struct {
	MandrelMM float64 `json:"mandrel_mm"`
	Tape      bool    `json:"tape,omitempty"`
}

// An ImpactSpec strikes the panel on the back with so many N·m. With Tape, fine cracks pass as long as nothing lifts.
type ImpactSpec struct {
	EnergyNm float64 `json:"energy_nm"`
	Tape     bool    `json:"tape,omitempty"`
}

func (s *PanelSpec) validate(p *problems) {
	if s == nil {
		return
	}
	if s.Adhesion == nil && s.Gloss == nil && s.Pencil == nil && s.Bend == nil && s.Impact == nil {
		p.say("Panel test: choose at least one test.")
	}
	s.Adhesion.validate(p)
	s.Gloss.validate(p)
	if g := s.Pencil; g != nil {
		if ok, err := PencilMeets(g.Method, g.Softest, g.Softest); err != nil || !ok {
			p.say("Pencil hardness: “%s” is not a grade of %s.", clip(g.Softest), clip(g.Method))
		}
	}
	if s.Bend != nil {
		p.within("Bend, mandrel", s.Bend.MandrelMM, 1, 50, " mm")
	}
	if s.Impact != nil {
		p.within("Impact", s.Impact.EnergyNm, 0.1, 50, " N·m")
	}
}

// JudgePanelTest judges the destructive tests on a witness panel. Adhesion and gloss are judged as on a part. Pencil
// hardness passes from the spec's grade on. Bend and impact pass when the coat stays whole, or where the spec judges by the
// tape when nothing lifts; a wider mandrel or a weaker blow than the spec's shows nothing and is incomplete, unless the coat
// has given way already.
//
// Readings: gloss, mandrel, impact_energy, test_temperature, test_humidity. Ratings: RatingAdhesion, RatingPencil,
// RatingBend, RatingImpact.
func JudgePanelTest(spec PanelSpec, check *Check) Judgement {
	j := Judgement{Rule: "destructive tests on a panel"}
	if spec.Adhesion != nil {
		judgeAdhesion(&j, *spec.Adhesion, check)
	}
	if spec.Gloss != nil {
		judgeGloss(&j, *spec.Gloss, check)
	}
	if spec.Pencil != nil {
		judgePencil(&j, *spec.Pencil, check)
	}
	if b := spec.Bend; b != nil && !judgeDeformation(&j, check, RatingBend, "Bend", b.Tape) {
		j.condition(check, condition{code: "mandrel", rule: "mandrel", what: "mandrel", limits: AtMost(b.MandrelMM, Millimetre), again: "Bend over the spec's mandrel."})
	}
	if i := spec.Impact; i != nil && !judgeDeformation(&j, check, RatingImpact, "Impact", i.Tape) {
		j.condition(check, condition{code: "impact_energy", rule: "impact energy", what: "impact energy", limits: AtLeast(i.EnergyNm, NewtonMetre), again: "Strike with the spec's energy."})
	}
	return j.conclude()
}

func judgeGloss(j *Judgement, g GlossSpec, check *Check) {
	limits := Between(max(0, tidy(g.Nominal-g.Tolerance)), tidy(g.Nominal+g.Tolerance), GlossUnit)
	judgeEach(j, check, each{code: "gloss", anywhere: true, limits: limits, low: "gloss_off", high: "gloss_off"})
}

func judgePencil(j *Judgement, spec PencilSpec, check *Check) {
	limit := fmt.Sprintf("%s or harder by %s", spec.Softest, PencilMethodName(spec.Method))
	got, ok := check.anyRating(RatingPencil)
	if !ok {
		j.missing("pencil hardness", "", limit, "The pencil hardness is missing; %s is asked.", limit)
		return
	}
	switch hard, err := PencilMeets(spec.Method, got, spec.Softest); {
	case err != nil:
		j.missing("pencil hardness", "", limit, "“%s” is not a pencil of %s.", clip(got), PencilMethodName(spec.Method))
	case !hard:
		j.failed("pencil hardness", "", limit, "soft_film", "Pencil hardness: %s is softer than %s.", got, spec.Softest)
	default:
		j.met("pencil hardness", "", limit, "Pencil hardness: %s meets %s.", got, limit)
	}
}

// judgeDeformation judges what the coat did and reports whether it gave way.
func judgeDeformation(j *Judgement, check *Check, rating, name string, tape bool) (failed bool) {
	rule, limit := lowerFirst(name), "no crack"
	if tape {
		limit = "nothing lifts on the tape"
	}
	code, ok := check.anyRating(rating)
	text := ""
	for _, d := range Deformations {
		if d.Code == code {
			text = d.Text
		}
	}
	switch {
	case !ok:
		j.missing(rule, "", limit, "%s: what the coat did is missing.", name)
	case text == "":
		j.missing(rule, "", limit, "%s: “%s” is not a result of the test.", name, clip(code))
	case code == "lifted" || code == "cracked" && !tape:
		j.failed(rule, "", limit, "brittle_film", "%s: %s.", name, text)
		return true
	default:
		j.met(rule, "", limit, "%s: %s.", name, text)
	}
	return false
}

// ConditionsAsked reports whether the method of what a check holds asks for temperature and humidity at the test: an
// adhesion class by a spec that says so.
//
// Source: ASTM D3359-23 5.3, seen: temperature and humidity bear on the tape and are to be known.
func ConditionsAsked(spec FinishSpec, check Check) bool {
	var adhesion *AdhesionSpec
	switch {
	case check.Kind == PanelTest && spec.PanelTest != nil:
		adhesion = spec.PanelTest.Adhesion
	case check.Kind == Finish && spec.Finish != nil:
		adhesion = spec.Finish.Adhesion
	}
	_, tested := check.anyRating(RatingAdhesion)
	return adhesion != nil && adhesion.Conditions && tested
}

// ConditionsMissing names the conditions of a test that are asked for and not there, empty when none is.
func ConditionsMissing(spec FinishSpec, check Check) string {
	if !ConditionsAsked(spec, check) {
		return ""
	}
	temperature, humidity := false, false
	for _, r := range check.Readings {
		temperature = temperature || r.Characteristic == TestTemperature && r.measured()
		humidity = humidity || r.Characteristic == TestHumidity && r.measured()
	}
	switch {
	case !temperature && !humidity:
		return "The adhesion method asks for temperature and humidity at the test. Measure both beside the part and enter them."
	case !temperature:
		return "The adhesion method asks for the temperature at the test. Measure it beside the part and enter it."
	case !humidity:
		return "The adhesion method asks for the relative humidity at the test. Measure it beside the part and enter it."
	}
	return ""
}
