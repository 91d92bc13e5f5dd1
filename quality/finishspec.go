package quality

import (
	"encoding/json"
	"fmt"
)

// SpecVersion is the version of the FinishSpec layout that this program writes.
const SpecVersion = 1

// A FinishSpec is the body of one revision of a finish specification: every limit a part of it is judged by, and what its
// release asks for. A section that is nil is not asked for by the spec.
type FinishSpec struct {
	Version      int               `json:"version"`
	Weld         *WeldSpec         `json:"weld,omitempty"`
	Pretreatment *PretreatmentSpec `json:"pretreatment,omitempty"`
	Coating      *CoatingSpec      `json:"coating,omitempty"`
	Cure         *CureSpec         `json:"cure,omitempty"`
	CureTest     *CureTestSpec     `json:"cure_test,omitempty"`
	PanelTest    *PanelSpec        `json:"panel_test,omitempty"`
	Finish       *FinishCheckSpec  `json:"finish,omitempty"`
	Film         *FilmSpec         `json:"film,omitempty"`
	// Sampling says what is checked on a sample. A kind that is not here is checked on every part, and a characteristic that is
	// not here on every part that its check is made on.
	Sampling map[Sampled]SampleRule `json:"sampling,omitempty"`
	// FirstArticle blocks series work until a first article is approved; nil does not ask.
	FirstArticle *FirstArticleSpec `json:"first_article,omitempty"`
	// Requires are the lots that a run or check has to name.
	Requires MaterialsRequired `json:"requires,omitzero"`
	// MaxCycles is how many trips through coating a part may make in all: 2 allows one strip and recoat.
	MaxCycles int `json:"max_cycles"`
	// ReleaserNotSoleInspector asks for a second person when one person made every check.
	ReleaserNotSoleInspector bool `json:"releaser_not_sole_inspector"`
}

// MaterialsRequired says which lots the spec wants named beside the powder's, which is always named. What is not asked for
// may be named all the same.
type MaterialsRequired struct {
	// Chemicals: cleaner and conversion chemical of the wash stages that take them.
	Chemicals bool `json:"chemicals,omitempty"`
	// Solvent of the cure test.
	Solvent bool `json:"solvent,omitempty"`
	// Filler metal of the welds.
	Filler bool `json:"filler,omitempty"`
	// Heat of the aluminium.
	Heat bool `json:"heat,omitempty"`
}

// A WeldSpec names the quality level; the limits by level are rows of the site (WeldLimit).
type WeldSpec struct {
	Level string `json:"level"` // B, C or D
	// Leg and Throat bound the sizes of fillet welds where the drawing gives them; the shop states which one it specifies.
	Leg    Limits `json:"leg"`
	Throat Limits `json:"throat"`
	Light  Limits `json:"light"` // lux at the weld
}

// A WeldLimit is one row of the weld limits in force: for this level and imperfection, whether it is permitted at all and
// up to which size: min(PerWall·t + PlusMM, MaxMM) with wall thickness t in mm. MaxMM nil means no cap. Rows are data with
// their source named; the book ships no bought table as constants.
type WeldLimit struct {
	Level     string   `json:"level"`
	Code      string   `json:"code"` // ISO 6520-1 number
	Permitted bool     `json:"permitted"`
	PerWall   float64  `json:"per_wall"`
	PlusMM    float64  `json:"plus_mm"`
	MaxMM     *float64 `json:"max_mm"`
	Source    string   `json:"source"`
}

// A PretreatmentSpec lists the stages in order and what must hold between wash and powder.
type PretreatmentSpec struct {
	Stages []StageSpec `json:"stages"`
	// WaterBreak asks for the water-break test after the last rinse.
	WaterBreak bool `json:"water_break"`
	// MaxHoursToCoat is the longest time between pretreatment and powder; 0 sets no limit.
	MaxHoursToCoat float64 `json:"max_hours_to_coat"`
	// BathUnchecked says what happens to a wash in a bath that was out of limits when it was last read, or has not been read
	// for longer than its rhythm: BathRefuse, or BathFlag, which is meant when it is empty.
	BathUnchecked string `json:"bath_unchecked,omitempty"`
}

// The answers to BathUnchecked.
const (
	BathFlag   = "flag"
	BathRefuse = "refuse"
)

// A StageSpec is one stage of the wash: its limits by characteristic code (stage_temperature, stage_time, concentration,
// ph, conductivity). Every characteristic that has limits must be measured.
type StageSpec struct {
	Stage  string            `json:"stage"` // clean, rinse, etch, convert, final_rinse, dry_off
	Name   string            `json:"name"`
	Limits map[string]Limits `json:"limits"`
}

// A CoatingSpec bounds the conditions at the booth.
type CoatingSpec struct {
	Powders  []string `json:"powders"` // codes of the powders allowed; empty allows any
	Air      Limits   `json:"air"`
	Humidity Limits   `json:"humidity"`
	// DewPointMarginC is how far the part's surface must be above the dew point, in K; 0 does not ask.
	DewPointMarginC float64 `json:"dew_point_margin_c"`
	Ground          Limits  `json:"ground"` // hanger to earth, megohm
	Voltage         Limits  `json:"voltage"`
}

// A CureSpec says which measure decides and how far the channels may lie apart. The window itself is the powder's.
type CureSpec struct {
	// ScheduleC is the metal temperature from which time counts.
	ScheduleC float64 `json:"schedule_c"`
	// Channels is how many metal temperatures each run must record at least.
	Channels int `json:"channels"`
	// MaxSpreadC bounds the difference between the highest and lowest peak, in K; 0 does not ask.
	MaxSpreadC float64 `json:"max_spread_c"`
	// Decides names the measure that decides; empty is TimeAbove. The others need the recorded profile.
	Decides CureMeasure `json:"decides,omitempty"`
	// ReferenceC and ActivationKJMol are for EquivalentTime: minutes at ReferenceC by this activation energy.
	ReferenceC      float64 `json:"reference_c,omitempty"`
	ActivationKJMol float64 `json:"activation_kj_mol,omitempty"`
}

// A CureMeasure names what of an oven profile is compared with the powder's window.
type CureMeasure string

// The measures.
const (
	// TimeAbove: the whole time at or over ScheduleC against the window's time there.
	TimeAbove CureMeasure = "time_above"
	// LongestRun: the longest unbroken time at or over ScheduleC, for powders that must not cool in between.
	LongestRun CureMeasure = "longest_run"
	// EquivalentTime: the equivalent minutes at ReferenceC against the window's time there.
	EquivalentTime CureMeasure = "equivalent_time"
	// WindowDose: the dose by the powder's own points, at least 100 %.
	WindowDose CureMeasure = "window_dose"
)

// CureMeasures lists the measures in the order in which they grow in detail.
var CureMeasures = []CureMeasure{TimeAbove, LongestRun, EquivalentTime, WindowDose}

// CureMeasureNames are the measures in words.
var CureMeasureNames = map[CureMeasure]string{
	TimeAbove: "time at metal temperature", LongestRun: "longest unbroken time at metal temperature",
	EquivalentTime: "equivalent time", WindowDose: "dose by the powder's points",
}

// A CureTestSpec describes the solvent rub: all three of solvent, count and verdict come from the spec, not from the method.
type CureTestSpec struct {
	Solvent   string `json:"solvent"`
	Rubs      int    `json:"rubs"`
	WaitS     int    `json:"wait_s"`
	PassFrom  int    `json:"pass_from"` // rating on the four-step scale, 4 best
	Reference string `json:"reference"`
}

// A FinishCheckSpec says how the finish is looked at and which properties are measured.
type FinishCheckSpec struct {
	DistanceMM float64       `json:"distance_mm"`
	Light      Limits        `json:"light"`
	Allowed    []DefectLimit `json:"allowed"`
	Gloss      *GlossSpec    `json:"gloss,omitempty"`
	Adhesion   *AdhesionSpec `json:"adhesion,omitempty"`
}

// A DefectLimit permits a named defect up to a count on one part and a size. What has no row is not permitted.
type DefectLimit struct {
	Code   string  `json:"code"`
	Count  int     `json:"count"`
	SizeMM float64 `json:"size_mm"`
}

// A GlossSpec is a nominal gloss with its tolerance, at one geometry in degrees.
type GlossSpec struct {
	GeometryDeg int     `json:"geometry_deg"`
	Nominal     float64 `json:"nominal"`
	Tolerance   float64 `json:"tolerance"`
}

// An AdhesionSpec names the method and the worst class that passes. The scales of the methods run in opposite directions.
type AdhesionSpec struct {
	Method string `json:"method"` // D3359A, D3359B, ISO2409
	Worst  string `json:"worst"`  // 4B, 4A, 1
	// Conditions asks for temperature and humidity at the test.
	Conditions bool `json:"conditions,omitempty"`
}

// A FilmRule names a family of film acceptance rules. The same readings can pass one and fail another.
type FilmRule string

// The film acceptance rules.
const (
	// Areas80: mean of the area values at least the minimum, and no area value below 80 % of it.
	Areas80 FilmRule = "areas80"
	// SpotArea: spot means and area means each within the range of the restriction level.
	SpotArea FilmRule = "spot_area"
	// EachReading: every single reading within the limits.
	EachReading FilmRule = "each"
	// ShareOfReadings: at least a share of the readings at the minimum, none under a low limit.
	ShareOfReadings FilmRule = "share"
)

// FilmRuleNames are the rules in words.
var FilmRuleNames = map[FilmRule]string{
	Areas80: "mean and 80 %", SpotArea: "spot and area", EachReading: "every reading", ShareOfReadings: "share of readings",
}

// A FilmSpec is the film thickness section: the limits, the rule that applies them and the readings it needs.
type FilmSpec struct {
	Limits Limits   `json:"limits"`
	Rule   FilmRule `json:"rule"`
	// Level is the restriction level 1 to 5 of the spot and area rule.
	Level int `json:"level,omitempty"`
	// Share and Floor are for ShareOfReadings: at least Share (0.8) of the readings at or over the minimum, none under Floor.
	Share float64 `json:"share,omitempty"`
	Floor *Limit  `json:"floor,omitempty"`
	// UnderFloor is the share of the readings that may be under Floor all the same (0.05); 0 permits none.
	UnderFloor float64 `json:"under_floor,omitempty"`
	// MeanToo asks ShareOfReadings besides that the mean of all readings reaches the minimum.
	MeanToo bool `json:"mean_too,omitempty"`
	// Areas and SpotsPerArea are the fewest areas, and spots in each, that make a SpotArea check complete; 0 does not ask. A
	// known surface may ask for more (FilmAreas).
	Areas        int `json:"areas,omitempty"`
	SpotsPerArea int `json:"spots_per_area,omitempty"`
	// Spots and ReadingsPerSpot are the fewest that make the check complete; a measuring plan may ask for more.
	Spots           int `json:"spots"`
	ReadingsPerSpot int `json:"readings_per_spot"`
	// Guard is the gauge's expanded uncertainty to stay clear of the limits by, in the limits' unit; 0 is simple acceptance
	// (ISO/IEC 17025 7.8.6: the decision rule is stated and stored).
	Guard float64 `json:"guard,omitempty"`
	// MaxTotal bounds the film after recoating without stripping; nil does not ask.
	MaxTotal *Limit `json:"max_total,omitempty"`
}

// Asks returns the kinds of record that the spec demands before release, in the order of the work.
func (s FinishSpec) Asks() []Kind {
	asked := map[Kind]bool{
		Weld: s.Weld != nil, Pretreatment: s.Pretreatment != nil, Coating: s.Coating != nil, Cure: s.Cure != nil,
		CureTest: s.CureTest != nil, PanelTest: s.PanelTest != nil, Finish: s.Finish != nil, Film: s.Film != nil,
	}
	var kinds []Kind
	for _, k := range Kinds {
		if asked[k] {
			kinds = append(kinds, k)
		}
	}
	return kinds
}

// Encode returns the spec as JSON, the form it is stored, hashed and exported in.
func (s FinishSpec) Encode() ([]byte, error) { return json.Marshal(s) }

// DecodeFinishSpec reads a stored spec. A version this program does not know is an error, never a guess.
func DecodeFinishSpec(body []byte) (FinishSpec, error) {
	var s FinishSpec
	if err := json.Unmarshal(body, &s); err != nil {
		return FinishSpec{}, fmt.Errorf("quality: reading a finish spec: %w", err)
	}
	if s.Version != SpecVersion {
		return FinishSpec{}, fmt.Errorf("quality: finish spec layout %d is not known to this program", s.Version)
	}
	return s, nil
}
