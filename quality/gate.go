package quality

import (
	"fmt"
	"time"
)

// Evidence is one judged record as the gate sees it: on the part itself, on a rack that held it or on a load that held
// that rack, in the cycle in question.
type Evidence struct {
	RecordID string
	Kind     Kind
	Verdict  Verdict
	At       time.Time
	Round    int
	Person   string
	// Superseded is set when a correction replaced or voided the record. Such a record never counts.
	Superseded bool
	// Waived names the concession that accepted what this record found, empty if none.
	Waived string
	// Sentence is the record's own summary for people.
	Sentence string
	// Findings are those of the characteristics that a spec may sample apart from their check; others do no harm.
	Findings []Finding
	// Unconfirmed says why the record waits for a second person, or that one declined it; empty when nothing is pending.
	Unconfirmed string
}

// A State is where one requirement of the gate stands.
type State string

// The states of a requirement.
const (
	Met     State = "met"
	Missing State = "missing"
	Failed  State = "failed"
	Waived  State = "waived"
	Void    State = "void"
)

// An Item is one requirement of the gate, where it stands, and the record that says so.
type Item struct {
	Kind     Kind   `json:"kind"`
	State    State  `json:"state"`
	RecordID string `json:"record_id,omitempty"`
	Sentence string `json:"sentence"`
	// Again is set when the item was met in an earlier round and is due again after rework. Release asks for it; the steps
	// after it do not wait for it, because a rebake is no reason to look at welds under the film first.
	Again bool `json:"again,omitempty"`
	// Pending is set when the record is there and waits for a second person. Release waits with it; the work goes on.
	Pending bool `json:"pending,omitempty"`
	// Lot is the inspection lot that the part stands on, where it has no record of its own.
	Lot string `json:"lot,omitempty"`
	// Waits is set when there is nothing to do on this part: others of its lot are checked for it, or its lot is not made yet.
	Waits bool `json:"waits,omitempty"`
	// Characteristic is set when the requirement is one characteristic of the check, which the spec samples apart from it.
	Characteristic string `json:"characteristic,omitempty"`
}

// Sampled returns what the requirement asks for, as rules of sampling name it.
func (i Item) Sampled() Sampled {
	if i.Characteristic == "" {
		return Sampled(i.Kind)
	}
	return Sampled(string(i.Kind) + "." + i.Characteristic)
}

// Name returns the requirement in words, such as "Finish check" or "Gloss of the finish check".
func (i Item) Name() string { return i.Sampled().Name() }

// Due reports whether there is something to do about it on the part itself.
func (i Item) Due() bool { return i.State != Met && i.State != Waived && !i.Waits && !i.Pending }

// Gate returns where each requirement of the spec stands for a part in its current round, in the order of the work.
//
// The latest record of a kind that is not superseded decides. Checks of an earlier round do not count: after rework the
// whole inspection plan is due again, while runs (what was done to the rack) stay valid within the cycle. Evidence of
// other cycles must not be passed in. What the spec asks for on a sample is met by the part's own record, or by the lot the
// part has a place in; a characteristic with a rule of its own is a requirement of its own, met by the latest record that
// says something of it. Nothing else in the program decides whether a part may go on.
func Gate(spec FinishSpec, round int, evidence []Evidence, places ...SamplePlace) []Item {
	var items []Item
	for _, kind := range spec.Asks() {
		for _, what := range append([]Sampled{Sampled(kind)}, characteristicsOf(kind)...) {
			rule, sampled := spec.Sampling[what]
			if what.Characteristic() != "" && !(sampled && spec.asksFor(what)) {
				continue // as the check it belongs to
			}
			item := stand(what, round, evidence)
			if sampled && (item.State == Void || item.State == Missing && item.RecordID == "") {
				item = onSample(rule, item, round, places)
			}
			items = append(items, item)
		}
	}
	return items
}

// missing is a requirement that nothing is on record for.
func missing(what Sampled) Item {
	return Item{Kind: what.Check(), Characteristic: what.Characteristic(), State: Missing, Sentence: what.Name() + " is not recorded yet."}
}

func stand(what Sampled, round int, evidence []Evidence) Item {
	kind := what.Check()
	var latest, void *Evidence
	due := false
	for i := range evidence {
		e := &evidence[i]
		if e.Kind != kind {
			continue
		}
		if rule := what.Rule(); rule != "" {
			one, says := e.of(rule)
			if !says {
				continue
			}
			e = &one
		}
		switch {
		case !kind.IsRun() && e.Round != round:
			due = true
		case e.Superseded || e.Verdict == Voided:
			void = e
		// Of two at one instant the later number decides, in whatever order they were read: numbers are made in the order of time.
		case latest == nil || e.At.After(latest.At) || e.At.Equal(latest.At) && e.RecordID >= latest.RecordID:
			latest = e
		}
	}
	item := missing(what)
	switch {
	case latest != nil:
		item = latest.item()
		item.Characteristic = what.Characteristic()
	case void != nil:
		item.State, item.RecordID, item.Sentence = Void, void.RecordID, what.Name()+" was corrected; a valid record is missing."
	case due:
		item.Again, item.Sentence = true, what.Name()+" is due again after rework."
	}
	return item
}

// Says reports whether the record is about what is sampled: of that kind and, for a characteristic, with a finding on it.
func (e Evidence) Says(what Sampled) bool {
	if e.Kind != what.Check() || what.Characteristic() == "" {
		return e.Kind == what.Check()
	}
	_, says := e.of(what.Rule())
	return says
}

// of returns the record as it speaks for one characteristic of it, by the rule of its findings, and whether it says anything of it.
func (e Evidence) of(rule string) (Evidence, bool) {
	var decides *Finding
	for i := range e.Findings {
		if f := &e.Findings[i]; f.Rule == rule && (decides == nil || worst(decides.Verdict, f.Verdict) != decides.Verdict) {
			decides = f
		}
	}
	if decides == nil {
		return e, false
	}
	e.Verdict, e.Sentence = decides.Verdict, decides.Text
	if e.Verdict != Fail {
		e.Waived = "" // the concession is about something else that the record found
	}
	return e, true
}

func (e Evidence) item() Item {
	item := Item{Kind: e.Kind, State: Failed, RecordID: e.RecordID, Sentence: e.Sentence}
	switch {
	case e.Unconfirmed != "" && (e.Waived != "" || e.Verdict == Pass || e.Verdict == GuardBand):
		item.State, item.Pending, item.Sentence = Missing, true, e.Unconfirmed
	case e.Waived != "":
		item.State = Waived
		item.Sentence = fmt.Sprintf("Accepted under concession %s: %s", e.Waived, e.Sentence)
	case e.Verdict == Pass || e.Verdict == GuardBand:
		item.State = Met
	case e.Verdict == Incomplete:
		item.State = Missing
	}
	return item
}

// Open reports whether every requirement is met or waived. A gate with no requirements is not open: a spec that asks for
// nothing proves nothing.
func Open(items []Item) bool {
	for _, item := range items {
		if item.State != Met && item.State != Waived {
			return false
		}
	}
	return len(items) > 0
}

// needs lists what must be met before a kind may be recorded. Weld checks come before the wash because no weld can be
// judged under powder; the checks at the end need the oven behind them because a soft film reads wrong and marks.
var needs = map[Kind][]Kind{
	Pretreatment: {Weld},
	Coating:      {Weld, Pretreatment},
	Cure:         {Weld, Pretreatment, Coating},
	CureTest:     {Cure},
	PanelTest:    {Cure},
	Finish:       {Weld, Pretreatment, Coating, Cure},
	Film:         {Weld, Pretreatment, Coating, Cure},
}

// MayStart reports whether a kind may be recorded now, given the gate. If not, reason names the missing step and what to
// do. Requirements that the spec does not ask for do not block. A failed earlier step blocks unless it was waived.
func MayStart(kind Kind, items []Item) (ok bool, reason string) {
	for _, need := range needs[kind] {
		for _, item := range items {
			if item.Kind != need || item.State == Met || item.State == Waived || item.Again || item.Pending {
				continue
			}
			if item.Waits {
				return false, fmt.Sprintf("%s cannot be recorded yet: %s", kind.Name(), lowerFirst(item.Sentence))
			}
			verb := "is missing"
			if item.State == Failed {
				verb = "failed"
			}
			return false, fmt.Sprintf("%s cannot be recorded yet: %s %s.", kind.Name(), lowerFirst(need.Name()), verb)
		}
	}
	return true, ""
}

// Next returns the first kind that is neither met nor waived and may be recorded now, or "" when the gate asks for
// nothing more.
func Next(items []Item) Kind {
	for _, item := range items {
		if !item.Due() {
			continue
		}
		if ok, _ := MayStart(item.Kind, items); ok {
			return item.Kind
		}
	}
	return ""
}
