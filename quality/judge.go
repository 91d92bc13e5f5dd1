package quality

import "time"

// A Circumstance holds the facts about the thing checked that its limits depend on, besides the spec. A kind reads only
// the fields it needs; see the Judge function of each kind.
type Circumstance struct {
	WallMM     float64     // weld: wall thickness
	Welds      int         // weld: number of welds on the part
	WeldLimits []WeldLimit // weld: rows in force for the site
	Plan       []Place     // film: the measuring plan
	PerSpot    int         // film: readings at each spot
	SurfaceM2  float64     // film: coated surface, from which the spot and area rule asks for areas; 0 if not known
	Recoated   bool        // film: a coat lies over an older one, so the spec's total film counts
	Window     CureWindow  // cure: the powder's window
	// Profile is the recorded profile of a cure run; nil where peaks and times were typed.
	Profile *CureProfile
	Powder  string // coating: code of the powder of the lot used
	// SincePretreatment is the time between the last pretreatment of the rack and this coating run.
	SincePretreatment time.Duration
	Gauge             Gauge // verification, calibration: the device under test
	Shims             []Shim
	Controls          []BathControl // bath_reading
	// Sampled is where the part stands for the characteristics of the check that the spec samples apart (OnSample): what is not
	// due on this part is judged where it was measured all the same, and is not missed.
	Sampled []Item
	// Baths says what speaks against the baths that a wash used, where the spec only flags it.
	Baths []string
	// OvenSpreadC is how far the places of an oven survey may lie apart, in K.
	OvenSpreadC float64
}

// A Place is one spot of a measuring plan.
type Place struct {
	Spot int
	Area string
	Name string
}

// A Gauge is an instrument's permitted error: plus or minus Abs and Share of the nominal, added, in Unit.
type Gauge struct {
	Abs, Share float64
	Unit       Unit
}

// A Shim is a certified thickness with its own tolerance. Code is what readings name as their Location.
type Shim struct {
	Code       string
	Nominal    float64
	Abs, Share float64
	Unit       Unit
}

// Judge returns the verdict of a check against a spec and sets the flags of its readings and defects in place. It is the
// one way in: a new kind of check is a new case here with a function of its own.
func Judge(spec FinishSpec, c Circumstance, check *Check) Judgement {
	for i := range check.Readings {
		check.Readings[i].Flag = Unflagged
	}
	for i := range check.Defects {
		check.Defects[i].Flag = Unflagged
	}
	switch {
	case check.Kind == Weld && spec.Weld != nil:
		return JudgeWeld(*spec.Weld, c, check).sorted()
	case check.Kind == Pretreatment && spec.Pretreatment != nil:
		return JudgePretreatment(*spec.Pretreatment, c, check).sorted()
	case check.Kind == Coating && spec.Coating != nil:
		return JudgeCoating(*spec.Coating, spec.Pretreatment, c, check).sorted()
	case check.Kind == Cure && spec.Cure != nil && c.Profile != nil:
		return judgeRecordedCure(*spec.Cure, c, check).sorted()
	case check.Kind == Cure && spec.Cure != nil:
		return JudgeCure(*spec.Cure, c.Window, check).sorted()
	case check.Kind == CureTest && spec.CureTest != nil:
		return JudgeCureTest(*spec.CureTest, check).sorted()
	case check.Kind == PanelTest && spec.PanelTest != nil:
		return JudgePanelTest(*spec.PanelTest, check).sorted()
	case check.Kind == Finish && spec.Finish != nil:
		return JudgeFinish(*spec.Finish, check, c.Sampled...).sorted()
	case check.Kind == Film && spec.Film != nil:
		return JudgeFilm(*spec.Film, c, check).sorted()
	case check.Kind == FirstArticle && check.Article != nil:
		return JudgeFirstArticle(*check.Article).sorted()
	case check.Kind == Verification:
		return JudgeVerification(c.Gauge, c.Shims, check).sorted()
	case check.Kind == Calibration:
		return JudgeCalibration(c.Gauge, check).sorted()
	case check.Kind == BathReading:
		return JudgeBath(c.Controls, check).sorted()
	case check.Kind == BathAddition:
		return JudgeBathAddition(check).sorted()
	case check.Kind == OvenSurvey:
		return JudgeOvenSurvey(c.OvenSpreadC, check).sorted()
	}
	return Judgement{Verdict: Incomplete, Findings: []Finding{{Rule: "spec", Verdict: Incomplete,
		Text: "The finish spec says nothing about this kind of record, so it proves nothing."}}}
}
