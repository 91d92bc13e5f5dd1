package quality

import (
	"fmt"
	"strconv"
	"strings"
)

// A Kind is one kind of record the book holds about parts. The order is the order of the work.
type Kind string

// The kinds of record. A run records what was done to a rack or load; a check records what was found.
const (
	Weld         Kind = "weld"
	Pretreatment Kind = "pretreatment"
	Coating      Kind = "coating"
	Cure         Kind = "cure"
	CureTest     Kind = "cure_test"
	Finish       Kind = "finish"
	Film         Kind = "film"
	PanelTest    Kind = "panel_test"
	FirstArticle Kind = "first_article"
	Verification Kind = "verification"
	Calibration  Kind = "calibration"
	BathReading  Kind = "bath_reading"
	BathAddition Kind = "bath_addition"
	OvenSurvey   Kind = "oven_survey"
)

// Kinds lists the kinds that a part can need, in the order of the work.
var Kinds = []Kind{Weld, Pretreatment, Coating, Cure, CureTest, PanelTest, Finish, Film}

// KindNames are the words the screens use.
var KindNames = map[Kind]string{
	Weld: "Weld check", Pretreatment: "Pretreatment", Coating: "Coating", Cure: "Cure", CureTest: "Cure test",
	Finish: "Finish check", Film: "Film thickness", Verification: "Gauge verification",
	PanelTest: "Panel test", FirstArticle: "First article", Calibration: "Calibration",
	BathReading: "Bath reading", BathAddition: "Bath addition", OvenSurvey: "Oven survey",
}

// Name returns the kind in words, such as "Film thickness".
func (k Kind) Name() string {
	if name, ok := KindNames[k]; ok {
		return name
	}
	return string(k)
}

// IsRun reports whether the kind records a process step on a rack or load. Rework reopens checks, not runs.
func (k Kind) IsRun() bool { return k == Pretreatment || k == Coating || k == Cure }

// A Subject is what a record is about.
type Subject string

// What records are about.
const (
	OnPart       Subject = "part"
	OnRack       Subject = "rack"
	OnLoad       Subject = "load"
	OnInstrument Subject = "instrument"
	OnBath       Subject = "bath"
	OnOven       Subject = "oven"
	OnPanel      Subject = "panel"
)

// Subjects says which things a kind may be recorded on; the first is the usual one.
var Subjects = map[Kind][]Subject{
	Weld: {OnPart}, Pretreatment: {OnRack}, Coating: {OnRack}, Cure: {OnLoad}, CureTest: {OnLoad, OnPart, OnPanel}, PanelTest: {OnPanel},
	Finish: {OnPart}, Film: {OnPart}, FirstArticle: {OnPart}, Verification: {OnInstrument}, Calibration: {OnInstrument},
	OvenSurvey: {OnOven}, BathReading: {OnBath}, BathAddition: {OnBath},
}

// An Absence is the reason why there is no number. None of these is zero, and none is blank.
type Absence string

// The absence codes.
const (
	Present       Absence = ""
	NotMeasured   Absence = "not_measured"
	NotApplicable Absence = "not_applicable"
	BelowRange    Absence = "below_range"
	AboveRange    Absence = "above_range"
	Pending       Absence = "pending"
)

// A Reading is one measured value. Value is in Unit and has exactly the digits of Text. Location, Spot and Rep say where
// it was taken: a wash stage, a measuring area, a thermocouple; the spot in it; the repeat on that spot. Zero means unused.
type Reading struct {
	Characteristic string
	Location       string
	Spot           int
	Rep            int
	Value          float64
	Text           string
	Unit           Unit
	Source         string // typed, wedge, scan, file, computed
	Raw            string // what was received, before any tidying
	Absence        Absence
	Flag           Flag // set by Judge
}

// In returns the reading's value in unit.
func (r Reading) In(unit Unit) (float64, error) { return Convert(r.Value, r.Unit, unit) }

// A Rating is a rank or class by eye or hand. Codes of different characteristics are never compared.
type Rating struct {
	Characteristic string
	Location       string
	Code           string
}

// A Defect is one imperfection seen, by its code in the trade's or the standard's catalogue. Code "none" is the explicit
// statement that nothing was found. A size that was not measured is nil.
type Defect struct {
	Code       string
	Place      string
	SizeMM     *float64
	SizeText   string
	LengthMM   *float64
	LengthText string
	Count      int
	Flag       Flag // set by Judge
}

// NoneFound is the defect code that states a search without a find.
const NoneFound = "none"

// A Check is what one record of any kind holds: what was measured, rated and seen.
type Check struct {
	Kind     Kind
	Readings []Reading
	Ratings  []Rating
	Defects  []Defect
	// Article is set for a first article alone.
	Article *ArticleCheck `json:",omitempty"`
}

// Of returns the readings of one characteristic, in order.
func (c Check) Of(characteristic string) []Reading {
	var found []Reading
	for _, r := range c.Readings {
		if r.Characteristic == characteristic {
			found = append(found, r)
		}
	}
	return found
}

// RatingOf returns the code of the first rating of a characteristic at a location, and whether there is one.
func (c Check) RatingOf(characteristic, location string) (string, bool) {
	for _, r := range c.Ratings {
		if r.Characteristic == characteristic && r.Location == location {
			return r.Code, true
		}
	}
	return "", false
}

// A Verdict is the outcome of a check.
type Verdict string

// The verdicts. Incomplete is never a pass; GuardBand is within the limit but inside the gauge's uncertainty of it. Voided is
// no verdict of Judge: a record that says so takes another one out of count.
const (
	Pass       Verdict = "pass"
	Fail       Verdict = "fail"
	GuardBand  Verdict = "guard_band"
	Incomplete Verdict = "incomplete"
	Voided     Verdict = "void"
)

// worst orders verdicts: one fail fails the check; else one missing thing makes it incomplete; else the guard band.
func worst(a, b Verdict) Verdict {
	rank := map[Verdict]int{Pass: 0, GuardBand: 1, Incomplete: 2, Fail: 3}
	if rank[b] > rank[a] {
		return b
	}
	return a
}

// A Flag marks one reading or defect against its own limit.
type Flag string

// The flags. Unflagged means that no limit applies to the single value.
const (
	Unflagged Flag = ""
	In        Flag = "in"
	Low       Flag = "low"
	High      Flag = "high"
	Short     Flag = "short"
	Guard     Flag = "guard"
)

// A Finding is one comparison that counted: the rule, the place, the limit, the value found and its unit.
type Finding struct {
	Rule    string   // what was compared, such as "spot mean" or "time at metal temperature"
	Place   string   // where, empty for the whole check
	Limit   string   // as written in the spec, with unit, such as "at least 48 µm"
	Value   *float64 // nil when the thing is missing or not a number
	Unit    Unit
	Verdict Verdict
	Fault   string // the trade's word for what is wrong, empty on a pass; see FaultNames
	Text    string // one plain sentence that names rule, limit, value and unit
}

// A Judgement is a verdict with everything that decided it. Findings lists failures and gaps first, then the comparisons
// that were met. Rule names the acceptance rule in a few words and is stored and printed with the verdict.
type Judgement struct {
	Verdict  Verdict
	Rule     string
	Findings []Finding
}

// Deciding returns the findings that are not a pass.
func (j Judgement) Deciding() []Finding {
	var out []Finding
	for _, f := range j.Findings {
		if f.Verdict != Pass {
			out = append(out, f)
		}
	}
	return out
}

// Sentence returns the judgement in one line for a list: the first thing that is wrong, or the rule that was met.
func (j Judgement) Sentence() string {
	if bad := j.Deciding(); len(bad) > 0 {
		if len(bad) == 1 {
			return bad[0].Text
		}
		return fmt.Sprintf("%s And %d more.", bad[0].Text, len(bad)-1)
	}
	return j.Rule
}

// add appends a finding and lets it weigh on the verdict.
func (j *Judgement) add(f Finding) {
	j.Findings = append(j.Findings, f)
	if j.Verdict == "" {
		j.Verdict = Pass
	}
	j.Verdict = worst(j.Verdict, f.Verdict)
}

// sorted puts what is wrong before what is met and keeps the order otherwise.
func (j Judgement) sorted() Judgement {
	var bad, good []Finding
	for _, f := range j.Findings {
		if f.Verdict == Pass {
			good = append(good, f)
		} else {
			bad = append(bad, f)
		}
	}
	j.Findings = append(bad, good...)
	return j
}

// Number prints a value with at most the given decimals and no trailing zeros, for sentences.
func Number(value float64, decimals int) string {
	s := strconv.FormatFloat(value, 'f', decimals, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" {
		return "0"
	}
	return s
}
