package quality

import (
	"fmt"
	"slices"
	"strconv"
	"time"
)

// A FirstArticleSpec asks for an approved first article before series work on each part number of the spec.
type FirstArticleSpec struct {
	// GapDays is how many days may pass without a series part before a first article is due again; 0 does not ask.
	GapDays int `json:"gap_days"`
}

func (s *FirstArticleSpec) validate(p *problems) {
	if s != nil && (s.GapDays < 0 || s.GapDays > 3650) {
		p.say("Gap after which a first article is due again: enter 0 to 3650 days.")
	}
}

// An ArticleChange is a kind of change after which a first article is due.
type ArticleChange string

// The changes. NewPart, LongGap and NotValid ask for a full first article; after the others a partial one shows what changed.
const (
	NewPart     ArticleChange = "new_part"
	NewSpec     ArticleChange = "new_spec"
	NewDrawing  ArticleChange = "new_drawing"
	NewPowder   ArticleChange = "new_powder"
	NewBooth    ArticleChange = "new_booth"
	NewOven     ArticleChange = "new_oven"
	LongGap     ArticleChange = "long_gap"
	NotValid    ArticleChange = "approval_void"
	hoursInADay               = 24
)

// A Named is a thing with the id it is compared by and the words it is shown by. Its zero value is not known.
type Named struct{ ID, Name string }

// An ArticleBasis is what a first article stands for: made by this spec revision and list of drawing requirements, with
// this powder, in this booth and oven. A zero thing is not known yet and is not compared.
type ArticleBasis struct{ Spec, Drawing, Powder, Booth, Oven Named }

// An ApprovedArticle is an approved first article of a part number.
type ApprovedArticle struct {
	ArticleBasis
	Full       bool
	ApprovedAt time.Time
	// LastSeries is when the last series part like it was run, zero if none was since.
	LastSeries time.Time
	// Void says why the approval no longer counts; empty while it does.
	Void string
}

// A Trigger is one reason why a first article is due, in words.
type Trigger struct {
	Change ArticleChange
	Text   string
}

// ArticleTriggers returns why series work on the basis want needs a first article now; none when an approved one stands for
// it. approved is in the order of the approvals. An article stands for work of the same spec revision, drawing requirements,
// powder, booth and oven, as long as neither its approval is void nor the gap between series parts was too long; so a shop
// that takes turns with two powders, each approved, is not asked at each change. What is named as new is new against the
// latest article that counts.
//
// Source: the occasions are those of aerospace first article inspection (AS9102, from memory).
func (s FirstArticleSpec) ArticleTriggers(want ArticleBasis, approved []ApprovedArticle, now time.Time) []Trigger {
	if len(approved) == 0 {
		return []Trigger{{NewPart, "new part number: no first article is approved yet"}}
	}
	var latest *ApprovedArticle
	for i := range slices.Backward(approved) {
		a := &approved[i]
		if a.Void != "" {
			continue
		}
		if len(s.against(*a, want, now)) == 0 {
			return nil
		}
		if latest == nil {
			latest = a
		}
	}
	last := approved[len(approved)-1]
	var triggers []Trigger
	if last.Void != "" {
		triggers = append(triggers, Trigger{NotValid, "the approval is void: " + last.Void})
	}
	if latest != nil {
		triggers = append(triggers, s.against(*latest, want, now)...)
	}
	return triggers
}

// against names what differs between an article and what is wanted.
func (s FirstArticleSpec) against(a ApprovedArticle, want ArticleBasis, now time.Time) []Trigger {
	var out []Trigger
	differs := func(change ArticleChange, what string, is, was Named) {
		if is.ID != "" && is.ID != was.ID {
			out = append(out, Trigger{change, fmt.Sprintf("%s: %s in place of %s", what, is.Name, orNone(was.Name))})
		}
	}
	differs(NewSpec, "new spec revision", want.Spec, a.Spec)
	differs(NewDrawing, "new list of drawing requirements", want.Drawing, a.Drawing)
	differs(NewPowder, "new powder", want.Powder, a.Powder)
	differs(NewBooth, "changed line", want.Booth, a.Booth)
	differs(NewOven, "changed line", want.Oven, a.Oven)
	since := a.ApprovedAt
	if a.LastSeries.After(since) {
		since = a.LastSeries
	}
	if gap := now.Sub(since); s.GapDays > 0 && gap > time.Duration(s.GapDays)*hoursInADay*time.Hour {
		out = append(out, Trigger{LongGap, fmt.Sprintf("long gap: no series part was run for %d days, and %d are allowed", int(gap.Hours()/hoursInADay), s.GapDays)})
	}
	return out
}

func orNone(name string) string {
	if name == "" {
		return "none"
	}
	return name
}

// MayBePartial reports whether a first article for these triggers may list only what changed.
func MayBePartial(triggers []Trigger, approved []ApprovedArticle) bool {
	full := slices.ContainsFunc(approved, func(a ApprovedArticle) bool { return a.Full && a.Void == "" })
	return full && len(triggers) > 0 && !slices.ContainsFunc(triggers, func(t Trigger) bool {
		return t.Change == NewPart || t.Change == LongGap || t.Change == NotValid
	})
}

// A DrawingRequirement is one that an engineer took from the drawing, with its number there.
type DrawingRequirement struct{ Number, Text string }

// A Requirement is one numbered line of a first article.
type Requirement struct {
	Number string
	// Code says what it is across revisions, such as "film A" or "drawing 7".
	Code string
	Text string
	// Kind is the record that answers it; empty for one that is answered by hand.
	Kind Kind
	// after are the changes that ask to show it again although its text is the same.
	after  []ArticleChange
	answer func(c Check, findings []Finding) (result string, v Verdict)
}

// Answer returns what a record says of the requirement: its result in words and the verdict. whole is the verdict of the
// record, which stands where the record has no verdict on the requirement alone.
func (r Requirement) Answer(c Check, findings []Finding, whole Verdict) (string, Verdict) {
	if r.answer == nil {
		return "", Incomplete
	}
	result, v := r.answer(c, findings)
	if v == "" {
		v = whole
	}
	return result, v
}

// ArticleRequirements lists what a first article of a spec shows: every requirement of the spec, numbered from 1, then those
// of the drawing, numbered D and their number there. places is the measuring plan and window the powder's cure window.
func ArticleRequirements(s FinishSpec, places []Place, window CureWindow, drawing []DrawingRequirement) []Requirement {
	var list []Requirement
	add := func(r Requirement) {
		r.Number = strconv.Itoa(len(list) + 1)
		list = append(list, r)
	}
	if s.Weld != nil {
		add(weldRequirement(*s.Weld))
	}
	if s.Pretreatment != nil {
		for _, r := range washRequirements(*s.Pretreatment) {
			add(r)
		}
	}
	if s.Cure != nil {
		add(cureRequirement(*s.Cure, window))
	}
	if s.CureTest != nil {
		add(rubRequirement(*s.CureTest))
	}
	if s.PanelTest != nil {
		add(Requirement{Code: "panel tests", Kind: PanelTest, Text: "Tests on a witness panel, each as the spec asks", after: []ArticleChange{NewPowder, NewOven},
			answer: func(c Check, _ []Finding) (string, Verdict) { return summary(c), "" }})
	}
	if s.Finish != nil {
		for _, r := range finishRequirements(*s.Finish) {
			add(r)
		}
	}
	if s.Film != nil {
		for _, r := range filmRequirements(*s.Film, places) {
			add(r)
		}
	}
	for _, d := range drawing {
		list = append(list, Requirement{Number: "D" + d.Number, Code: "drawing " + d.Number, Text: d.Text})
	}
	return list
}

// ChangedRequirements returns those of a list that a partial first article shows: new ones, those with another text than was
// approved last (approved has the texts by code), and those that a change of powder or line may have touched. Where nothing
// is left the whole list is returned, because an empty article shows nothing.
func ChangedRequirements(list []Requirement, approved map[string]string, triggers []Trigger) []Requirement {
	var changed []Requirement
	for _, r := range list {
		text, known := approved[r.Code]
		touched := slices.ContainsFunc(triggers, func(t Trigger) bool { return slices.Contains(r.after, t.Change) })
		if !known || text != r.Text || touched {
			changed = append(changed, r)
		}
	}
	if len(changed) == 0 {
		return list
	}
	return changed
}

// An ArticleCheck is what a first-article record holds besides what every record does.
type ArticleCheck struct {
	// Full lists every requirement; a partial article lists what changed since the full one.
	Full bool
	// Drawing is the revision of the drawing requirements, 0 where there are none.
	Drawing int
	Lines   []ArticleLine
}

// An ArticleLine is the answer to one requirement. Verdict is Incomplete while it is not answered.
type ArticleLine struct {
	Number, Code, Requirement string
	Result, Device            string
	Verdict                   Verdict
	Evidence                  string // id of the record that answers it, empty for a result entered by hand
}

// JudgeFirstArticle returns the verdict of a first article: one finding for each numbered requirement. A line without an
// answer makes it incomplete, a failed one fails it.
func JudgeFirstArticle(a ArticleCheck) Judgement {
	kind := "partial"
	if a.Full {
		kind = "full"
	}
	j := Judgement{Rule: fmt.Sprintf("%s first article, %s", kind, counted(len(a.Lines), "requirement"))}
	if len(a.Lines) == 0 {
		j.missing("requirement", "", "", "The first article lists no requirement.")
	}
	for _, l := range a.Lines {
		place := "no. " + l.Number
		switch l.Verdict {
		case Pass, GuardBand:
			j.add(Finding{Rule: "requirement", Place: place, Limit: l.Requirement, Verdict: l.Verdict, Text: fmt.Sprintf("No. %s: %s. %s", l.Number, l.Requirement, l.Result)})
		case Fail:
			j.add(Finding{Rule: "requirement", Place: place, Limit: l.Requirement, Verdict: Fail, Fault: "first_article", Text: fmt.Sprintf("No. %s is not met: %s. Found: %s", l.Number, l.Requirement, l.Result)})
		default:
			j.missing("requirement", place, l.Requirement, "No. %s is not answered: %s.", l.Number, l.Requirement)
		}
	}
	return j
}
