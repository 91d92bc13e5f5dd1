package quality

import (
	"fmt"
	"slices"
)

// SampledKinds are the kinds of check that a spec may ask for on a sample. What was done to a rack or load is recorded for
// all of it.
var SampledKinds = []Kind{Weld, CureTest, Finish, Film}

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

// A SampleRule says on which parts a check is made. A kind without a rule is checked on every part.
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
	for _, kind := range SampledKinds {
		rule, ok := s.Sampling[kind]
		if !ok {
			continue
		}
		if !slices.Contains(s.Asks(), kind) {
			p.say("Sampling: the spec does not ask for %s, so there is nothing to sample.", lowerFirst(kind.Name()))
		}
		rule.validate(p, kind)
	}
	for kind := range s.Sampling {
		if !slices.Contains(SampledKinds, kind) {
			p.say("Sampling: %s is recorded for every part.", lowerFirst(kind.Name()))
		}
	}
}

func (r SampleRule) validate(p *problems, kind Kind) {
	name := "Sampling, " + lowerFirst(kind.Name())
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

// A SamplePlace is where a part stands in an inspection lot of one kind of check, in one round.
type SamplePlace struct {
	Kind  Kind
	Lot   string // its number
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

// onSample returns where a requirement stands that the part itself has no record for, under a rule of sampling. Item is what
// it would be without the rule.
func onSample(rule SampleRule, item Item, round int, places []SamplePlace) Item {
	var place *SamplePlace
	before := false
	for i := range places {
		switch p := &places[i]; {
		case p.Kind != item.Kind:
		case p.Round == round:
			place = p
		default:
			before = before || p.State.Accepted()
		}
	}
	name := item.Kind.Name()
	if place == nil {
		switch {
		case before:
			return Item{Kind: item.Kind, State: Missing, Again: true, Sentence: name + " is due again after rework."}
		case rule.By == SampleLot && round == 1 && item.State == Missing && !item.Again:
			item.Waits, item.Sentence = true, name+" is by lot: a supervisor makes the lot on the Sampling page."
		}
		return item
	}
	on := Item{Kind: item.Kind, State: Missing, Lot: place.Lot}
	switch {
	case place.State == LotRejected && place.Waived != "":
		on.State, on.Sentence = Waived, fmt.Sprintf("Accepted under concession %s: lot %s was rejected.", place.Waived, place.Lot)
	case place.State == LotRejected:
		on.Sentence = fmt.Sprintf("Lot %s was rejected, %s: %s is due on this part itself.", place.Lot, place.count(), lowerFirst(name))
	case place.Drawn:
		on.Sentence = fmt.Sprintf("%s is due: this part is one of the %s of lot %s.", name, counted(place.Sample, "sample"), place.Lot)
	case place.State.Accepted():
		on.State, on.Sentence = Met, fmt.Sprintf("Stands on lot %s, accepted: %s.", place.Lot, place.count())
	default:
		on.Waits, on.Sentence = true, fmt.Sprintf("Stands on lot %s, which waits for its samples: %d of %d are checked.", place.Lot, place.Checked, place.Sample)
	}
	return on
}
