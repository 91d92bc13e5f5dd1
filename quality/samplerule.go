package quality

import (
	"fmt"
	"slices"
	"strings"
)

// A Sampled is what a rule of sampling is about: a kind of check, such as "film", or one characteristic of a check that the
// trade samples apart from it, such as "finish.gloss".
type Sampled string

// The characteristics that are sampled apart. Behind the point stands the rule of the findings that judge it, with an underscore
// for a space.
const (
	WeldLeg        Sampled = "weld.leg_length"
	WeldThroat     Sampled = "weld.throat_thickness"
	FinishGloss    Sampled = "finish.gloss"
	FinishAdhesion Sampled = "finish.adhesion"
)

// Sampleable is what a spec may ask for on a sample, in the order of the work. What was done to a rack or load is recorded for
// all of it.
var Sampleable = []Sampled{Sampled(Weld), WeldLeg, WeldThroat, Sampled(CureTest), Sampled(Finish), FinishGloss, FinishAdhesion, Sampled(Film)}

// Check returns the kind of record in which it is found.
func (s Sampled) Check() Kind {
	check, _, _ := strings.Cut(string(s), ".")
	return Kind(check)
}

// Characteristic returns the characteristic of the check, "" when the whole check is sampled.
func (s Sampled) Characteristic() string {
	_, characteristic, _ := strings.Cut(string(s), ".")
	return characteristic
}

// Rule returns the rule of the findings that judge the characteristic, which is its name within the check, such as "gloss"; ""
// when the whole check is sampled.
func (s Sampled) Rule() string { return strings.ReplaceAll(s.Characteristic(), "_", " ") }

// Name returns it in words, such as "Film thickness" or "Gloss of the finish check".
func (s Sampled) Name() string {
	if rule := s.Rule(); rule != "" {
		return upperFirst(rule) + " of the " + lowerFirst(s.Check().Name())
	}
	return s.Check().Name()
}

// characteristicsOf returns what may be sampled apart of a kind of check.
func characteristicsOf(kind Kind) []Sampled {
	return slices.DeleteFunc(slices.Clone(Sampleable), func(s Sampled) bool { return s.Check() != kind || s.Characteristic() == "" })
}

// asksFor reports whether a part needs it before release, on a sample or not.
func (s FinishSpec) asksFor(what Sampled) bool {
	switch what {
	case WeldLeg:
		return s.Weld != nil && !s.Weld.Leg.None()
	case WeldThroat:
		return s.Weld != nil && !s.Weld.Throat.None()
	case FinishGloss:
		return s.Finish != nil && s.Finish.Gloss != nil
	case FinishAdhesion:
		return s.Finish != nil && s.Finish.Adhesion != nil
	}
	return slices.Contains(s.Asks(), what.Check())
}

// onPanels reports whether a witness panel of each load is tested for the same characteristic.
func (s FinishSpec) onPanels(what Sampled) bool {
	if s.PanelTest == nil {
		return false
	}
	return what == FinishGloss && s.PanelTest.Gloss != nil || what == FinishAdhesion && s.PanelTest.Adhesion != nil
}

// A SampleBy says which parts one sample stands for.
type SampleBy string

// What a sample stands for: the parts of a rack, of an oven load, or of a lot that is offered together.
const (
	SampleRack SampleBy = "rack"
	SampleLoad SampleBy = "load"
	SampleLot  SampleBy = "lot"
)

// A SamplePlan names where the sample size and the acceptance number of a lot come from.
type SamplePlan string

// The plans of lots.
const (
	// PlanAQL: single sampling by MIL-STD-105E, with a level and an AQL.
	PlanAQL SamplePlan = "aql"
	// PlanCoating: the number of parts for thickness of the coating quality label.
	PlanCoating SamplePlan = "coating"
	// PlanZero: as many parts as show with a confidence, none of them bad, that fewer than a share of the lot are.
	PlanZero SamplePlan = "zero"
)

// A SampleRule says on which parts a check is made, or a characteristic of it measured. A check without a rule is made on every
// part; a characteristic without one is measured wherever its check is made.
type SampleRule struct {
	By SampleBy `json:"by"`
	// Number is how many parts of each rack or load are checked; one that fails rejects what the rest stand for.
	Number int        `json:"number,omitempty"`
	Plan   SamplePlan `json:"plan,omitempty"`
	// Level and AQL (percent bad, up to 10) are for PlanAQL; Reduced permits reduced inspection, which asks for steady
	// production and the consent of whoever is responsible besides the count of lots.
	Level   string  `json:"level,omitempty"`
	AQL     float64 `json:"aql,omitempty"`
	Reduced bool    `json:"reduced,omitempty"`
	// SharePercent and ConfidencePercent are for PlanZero.
	SharePercent      float64 `json:"share_percent,omitempty"`
	ConfidencePercent float64 `json:"confidence_percent,omitempty"`
}

// SampleLevels are the inspection levels of MIL-STD-105E.
var SampleLevels = []string{"S-1", "S-2", "S-3", "S-4", "I", "II", "III"}

// SampleAQLs are the AQLs of MIL-STD-105E in percent bad. Those above 10 count nonconformities per hundred units, which no
// verdict on a part is.
var SampleAQLs = []float64{0.010, 0.015, 0.025, 0.040, 0.065, 0.10, 0.15, 0.25, 0.40, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10}

// String returns the rule in words, such as "2 of each rack".
func (r SampleRule) String() string {
	switch {
	case r.By == SampleRack || r.By == SampleLoad:
		return fmt.Sprintf("%d of each %s", r.Number, map[SampleBy]string{SampleRack: "rack", SampleLoad: "oven load"}[r.By])
	case r.Plan == PlanAQL:
		words := fmt.Sprintf("by lot, MIL-STD-105E single sampling, level %s, AQL %s %%", r.Level, Number(r.AQL, 3))
		if r.Reduced {
			words += ", reduced inspection permitted"
		}
		return words
	case r.Plan == PlanZero:
		return fmt.Sprintf("by lot, none bad in a sample that shows with %s %% confidence that fewer than %s %% are", Number(r.ConfidencePercent, 2), Number(r.SharePercent, 2))
	}
	return "by lot, number of parts for thickness of the coating quality label"
}

func (s FinishSpec) validateSampling(p *problems) {
	for _, what := range Sampleable {
		rule, ok := s.Sampling[what]
		if !ok {
			continue
		}
		name := "Sampling, " + lowerFirst(what.Name())
		switch {
		case !s.asksFor(what) && what.Characteristic() == "":
			p.say("Sampling: the spec does not ask for %s, so there is nothing to sample.", lowerFirst(what.Name()))
		case !s.asksFor(what):
			p.say("%s: the spec does not ask for it, so there is nothing to sample.", name)
		case s.onPanels(what):
			p.say("%s: the panel test asks for %s on each oven load already. Ask for it in one of the two, or leave it to the %s.", name, what.Rule(), lowerFirst(what.Check().Name()))
		}
		rule.validate(p, name, what.Check())
	}
	for what := range s.Sampling {
		if !slices.Contains(Sampleable, what) {
			p.say("Sampling: %s is recorded for every part.", lowerFirst(what.Name()))
		}
	}
}

func (r SampleRule) validate(p *problems, name string, kind Kind) {
	switch r.By {
	case SampleRack, SampleLoad:
		if kind == Weld {
			p.say("%s: welds are checked before the part hangs on a rack. Choose every part, or a lot.", name)
		}
		if r.Number < 1 || r.Number > 999 {
			p.say("%s: enter 1 to 999 parts of each %s.", name, r.By)
		}
	case SampleLot:
		switch r.Plan {
		case PlanAQL:
			if !slices.Contains(SampleLevels, r.Level) {
				p.say("%s: choose an inspection level.", name)
			}
			if !slices.Contains(SampleAQLs, r.AQL) {
				p.say("%s: choose an AQL of the table.", name)
			}
		case PlanZero:
			p.within(name+", share bad that is to be found", r.SharePercent, 0.01, 99, " %")
			p.within(name+", confidence", r.ConfidencePercent, 1, 99.99, " %")
		case PlanCoating:
		default:
			p.say("%s: choose a plan.", name)
		}
	default:
		p.say("%s: choose what a sample stands for.", name)
	}
}

// A LotState is where an inspection lot stands.
type LotState string

// The states of a lot. Between is accepted with more bad parts than the acceptance number of reduced inspection, which ends
// it.
const (
	LotOpen     LotState = "open"
	LotAccepted LotState = "accepted"
	LotBetween  LotState = "between"
	LotRejected LotState = "rejected"
)

// Accepted reports whether the lot may go on.
func (s LotState) Accepted() bool { return s == LotAccepted || s == LotBetween }

// A SamplePlace is where a part stands in an inspection lot of one thing that is sampled, in one round.
type SamplePlace struct {
	Of    Sampled
	Lot   string // its number
	From  string // the rack or load that its parts have in common, such as "oven load L-12"; empty for parts offered together
	Round int
	Drawn bool // the part is in the sample
	State LotState
	// Sample, Checked, Failed and Accept are of the lot: how many are to be checked, are checked, failed, and may fail.
	Sample, Checked, Failed, Accept int
	// Waived names the concession under which the part was accepted although the lot was rejected.
	Waived string
}

// count says how the sample came out.
func (p SamplePlace) count() string {
	return fmt.Sprintf("%d of %s failed, %d allowed", p.Failed, counted(p.Checked, "sample"), p.Accept)
}

// of names the lot, with the rack or load that it is.
func (p SamplePlace) of() string {
	if p.From == "" {
		return "lot " + p.Lot
	}
	return p.From + ", lot " + p.Lot
}

// onSample returns where a requirement stands that the part itself has no record for, under a rule of sampling. Item is what
// it would be without the rule.
func onSample(rule SampleRule, item Item, round int, places []SamplePlace) Item {
	what := item.Sampled()
	var place *SamplePlace
	before := false
	for i := range places {
		switch p := &places[i]; {
		case p.Of != what:
		case p.Round == round:
			place = p
		case p.Round < round:
			before = before || p.State.Accepted()
		}
	}
	name := what.Name()
	on := Item{Kind: item.Kind, Characteristic: item.Characteristic, State: Missing}
	if place == nil {
		switch {
		case before:
			on.Again, on.Sentence = true, name+" is due again after rework."
			return on
		case rule.By == SampleLot && round == 1 && item.State == Missing && !item.Again:
			item.Waits, item.Sentence = true, name+" is by lot: a supervisor makes the lot on the Sampling page."
		}
		return item
	}
	on.Lot = place.Lot
	switch {
	case place.State == LotRejected && place.Waived != "":
		on.State, on.Sentence = Waived, fmt.Sprintf("Accepted under concession %s: lot %s was rejected.", place.Waived, place.Lot)
	case place.State == LotRejected:
		on.Sentence = fmt.Sprintf("Lot %s was rejected, %s: %s is due on this part itself.", place.Lot, place.count(), lowerFirst(name))
	case place.Drawn:
		on.Sentence = fmt.Sprintf("%s is due: this part is one of the %s of %s.", name, counted(place.Sample, "sample"), place.of())
	case place.State.Accepted():
		on.State, on.Sentence = Met, fmt.Sprintf("Stands on lot %s, accepted: %s.", place.Lot, place.count())
	default:
		on.Waits, on.Sentence = true, fmt.Sprintf("Stands on lot %s, which waits for its samples: %d of %d are checked.", place.Lot, place.Checked, place.Sample)
	}
	return on
}

// OnSample returns where a part stands for each characteristic of a check that the spec samples apart, by its place in lots and
// without a look at what is on record for it: an item that is due is asked for on this part.
func OnSample(spec FinishSpec, kind Kind, round int, places []SamplePlace) []Item {
	var items []Item
	for _, what := range characteristicsOf(kind) {
		if rule, sampled := spec.Sampling[what]; sampled && spec.asksFor(what) {
			items = append(items, onSample(rule, missing(what), round, places))
		}
	}
	return items
}

// asks reports whether a characteristic is asked for on a part, given where it stands for those that are sampled apart.
func asks(what Sampled, onSample []Item) bool {
	for _, item := range onSample {
		if item.Sampled() == what {
			return item.Due()
		}
	}
	return true
}
