package web

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"unicode"

	"github.com/a-h/templ"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
	"coatbook/web/ui"
)

var (
	bathReadingEntry  = entryKind{kind: quality.BathReading, find: onBath, read: readBath, show: showBathReading, hazards: []string{"pretreatment"}}
	bathAdditionEntry = entryKind{kind: quality.BathAddition, find: onBath, read: readAddition, show: showAddition, hazards: []string{"pretreatment"}}
)

// bathReading records a reading of the controls of a bath.
func (s *Server) bathReading(w http.ResponseWriter, r *http.Request) error {
	return s.enter(w, r, bathReadingEntry)
}

// bathAddition records what was added to a bath, or that it was made up anew.
func (s *Server) bathAddition(w http.ResponseWriter, r *http.Request) error {
	return s.enter(w, r, bathAdditionEntry)
}

// onBath finds the bath an address is about.
func onBath(s *Server, r *http.Request) (store.Subject, string, error) {
	b, err := s.bath(r)
	return store.Subject{Kind: quality.OnBath, ID: b.ID}, "/baths/" + url.PathEscape(b.Code), err
}

// bath is the bath that the page is about.
func (sh *sheet) bath() store.BathStanding {
	if i := slices.IndexFunc(sh.form.Baths, func(b store.BathStanding) bool { return b.ID == sh.form.Subject.ID }); i >= 0 {
		return sh.form.Baths[i]
	}
	return store.BathStanding{}
}

// A bathSlot is one value of a control as the page asks for it.
type bathSlot struct {
	form.Slot
	units []quality.Unit // among which the meter's is chosen; empty where there is one only
}

func (sh *sheet) bathSlots(c quality.BathControl) []bathSlot {
	var slots []bathSlot
	for _, in := range c.Inputs() {
		known, _ := quality.CharacteristicOf(in.Characteristic)
		s := bathSlot{Slot: form.Slot{Name: in.Characteristic, Label: known.Name, Characteristic: in.Characteristic, Location: in.Location, Unit: in.Unit, Optional: !c.Due}}
		if in.Location == c.Characteristic {
			s.Name += "-" + c.Characteristic
		}
		if in.NamesUnit {
			s.units = known.Units
			if in.Unit == quality.Celsius {
				s.Unit = sh.temperature()
			}
			if sh.Values.Has(s.Name) {
				s.Unit = quality.Unit(sh.Values.Get(s.Name + "-unit"))
			}
		}
		slots = append(slots, s)
	}
	return slots
}

// given reports whether anything stands in the field of a slot.
func (sh *sheet) given(s bathSlot) bool {
	return strings.TrimSpace(sh.Values.Get(s.Name)) != "" || sh.Values.Get(s.Name+"-absent") != ""
}

func readBath(sh *sheet) (quality.Check, []store.Use) {
	check := quality.Check{Kind: quality.BathReading}
	seen := map[string]bool{}
	for _, c := range sh.form.Circumstance.Controls {
		slots := sh.bathSlots(c)
		some := slices.ContainsFunc(slots, sh.given)
		for _, s := range slots {
			if seen[s.Name] {
				continue
			}
			seen[s.Name] = true
			// What belongs to one value is read together or not at all.
			s.Optional = s.Optional && !some
			text := strings.TrimSpace(sh.Values.Get(s.Name))
			if len(s.units) > 0 && s.Unit == "" && text != "" && !strings.ContainsFunc(text, unicode.IsLetter) && !strings.Contains(text, "°") {
				sh.Say(s.Name, fmt.Sprintf("%s: say in which unit the meter shows it. “%s” alone is not a value.", s.Label, clipped(text)))
				continue
			}
			if s.Unit == "" && s.Characteristic != "" {
				s.Unit = s.units[0]
			}
			if r, ok := sh.Reading(s.Slot, sh.visit.comma()); ok {
				check.Readings = append(check.Readings, r)
			}
		}
	}
	if len(check.Readings) == 0 && sh.OK() {
		sh.Say("record", "Nothing is read yet. Enter at least one value.")
	}
	return check, append(sh.use("titrant", "titrant"), sh.use("meter", "meter")...)
}

// bathHow says how a control's value is found.
func bathHow(c quality.BathControl) string {
	f := func(v float64) string { return quality.Number(v, 6) }
	switch c.Method {
	case quality.TitrateFactor:
		return fmt.Sprintf("Concentration in %% = mL of titrant · %s", f(c.Factor))
	case quality.TitrateNormality:
		return fmt.Sprintf("g/L = mL of titrant · %s N · %s / %s mL of the sample", f(c.Normality), f(c.EquivalentWeight), f(c.SampleML))
	case quality.TitrateTwice:
		return fmt.Sprintf("NaOH in %% = (2·P − M) · %s N · 40 / %s mL / 10; Na₂CO₃ in %% = 2·(M − P) · %s N · 53 / %s mL / 10. 2P under M: no free caustic left, dose now.",
			f(c.Normality), f(c.SampleML), f(c.Normality), f(c.SampleML))
	case quality.CorrectedToTemp:
		return fmt.Sprintf("At %s °C = as measured / (1 + %s · (temperature − %s)). Switch the meter's own compensation off.", f(c.ReferenceC), f(c.PerDegree), f(c.ReferenceC))
	case quality.WeighPanel:
		return "g/m² = (mass before − mass after) / area of both faces"
	}
	return ""
}

func limitsWords(c quality.BathControl) string {
	if c.Nominal != nil {
		return fmt.Sprintf("nominal %s, limits %s", strings.TrimSpace(quality.Number(*c.Nominal, 4)+spaced(unitAfter(c.Unit))), c.Limits)
	}
	return "limits " + c.Limits.String()
}

func showBathReading(sh *sheet, e page.Entry) templ.Component {
	v := page.BathReadingView{Entry: e}
	bath := sh.bath()
	v.Facts = bathFacts(sh.visit.site, bath)
	seen := map[string]bool{}
	titrates := false
	for i, c := range sh.form.Circumstance.Controls {
		block := page.BathBlock{Title: c.Name(), Limit: limitsWords(c), How: bathHow(c)}
		if i < len(bath.Controls) {
			block.Standing = controlStanding(bath.Controls[i])
		}
		for _, s := range sh.bathSlots(c) {
			titrates = titrates || s.Unit == quality.Millilitre
			if seen[s.Name] {
				continue
			}
			seen[s.Name] = true
			unit := s.Unit
			if unit == "" {
				s.Unit = s.units[0]
			}
			limits := quality.Limits{}
			if s.Characteristic == c.Characteristic {
				limits = c.Limits
			}
			field := page.BathField{Field: sh.field(s.Slot, limits)}
			field.Field.MayBeAbsent = !s.Optional
			if len(s.units) > 1 {
				field.Field.Unit = ""
				field.Unit = ui.Select{Name: s.Name + "-unit", Label: "Unit the meter shows", Hint: lowerFirst(s.Label), Empty: "choose"}
				for _, u := range s.units {
					field.Unit.Choices = append(field.Unit.Choices, ui.Choice{Value: string(u), Label: u.Symbol(), Chosen: u == unit})
				}
			} else if len(s.units) == 1 {
				field.Unit = ui.Select{Name: s.Name + "-unit", Label: "Unit", Choices: []ui.Choice{{Value: string(s.units[0]), Label: s.units[0].Symbol(), Chosen: true}}}
			}
			block.Fields = append(block.Fields, field)
		}
		v.Blocks = append(v.Blocks, block)
	}
	if len(v.Blocks) == 0 {
		v.Empty = "This bath has no controls yet. An engineer sets under Setup, Baths what is read in it and where it must lie."
	}
	if titrates {
		v.Titrant = sh.lotSelect("titrant", "titrant", store.Titrant, false)
	}
	v.Meter = ui.Select{Name: "meter", Label: "Meter or balance", Hint: "scan it", Empty: "not noted", Scan: "GAUGE", Problem: sh.Wrong["meter"]}
	meter, _ := sh.chosen("meter", "meter")
	for _, m := range sh.form.Meters {
		v.Meter.Choices = append(v.Meter.Choices, ui.Choice{Value: m.ID.String(), Label: m.Code, Hint: lowerFirst(labelOf(gaugeKind.Options, m.Kind)), Code: m.Code, Chosen: m.ID == meter})
	}
	return page.BathReading(v)
}

// bathActWords are what is done to a bath, in words.
var bathActWords = map[string][2]string{quality.AddedChemical: {"Chemical added", "its lot is named"}, quality.AddedWater: {"Water added", "or the overflow opened"},
	quality.ChangedSet: {"Setting changed", "heater, flow or dosing"}, quality.MadeUp: {"Dumped and made up", "the whole bath anew"}}

const addedField = "added"

// topUps are what the book proposes to add, one sentence for each control that asks for something.
func topUps(b store.BathStanding) []string {
	if b.VolumeL == nil {
		return nil
	}
	var says []string
	for _, c := range b.Controls {
		found, err := c.Reading.In(c.Unit)
		if err != nil || c.Reading.Text == "" || c.Added {
			continue
		}
		if amount, unit, ok := c.TopUpOf(*b.VolumeL, found); ok {
			says = append(says, fmt.Sprintf("%s found %s: add %s %s to %s L to come back to nominal. What the addition itself takes up is not counted.", c.Name(), c.Words(),
				quality.Number(amount, 2), unit.Symbol(), quality.Number(*b.VolumeL, 1)))
		}
	}
	return says
}

func readAddition(sh *sheet) (quality.Check, []store.Use) {
	check := quality.Check{Kind: quality.BathAddition}
	act := sh.Values.Get("act")
	if !slices.Contains(quality.BathActs, act) {
		sh.Say("act", "What was done: choose one.")
	}
	slot := form.Slot{Name: addedField, Label: "Amount", Characteristic: quality.AddedVolume, Unit: quality.Litre, Optional: act == quality.ChangedSet}
	switch unit := quality.Unit(sh.Values.Get(addedField + "-unit")); {
	case unit == quality.Kilogram:
		slot.Characteristic, slot.Unit = quality.AddedMass, unit
	case unit != quality.Litre && strings.TrimSpace(sh.Values.Get(addedField)) != "":
		sh.Say(addedField, "Amount: say whether it is L or kg.")
	}
	if r, ok := sh.Reading(slot, sh.visit.comma()); ok {
		check.Readings = append(check.Readings, r)
	}
	reason := sh.Text(form.Entry{Kind: form.Text, Name: "reason", Label: "Reason", Hint: "why it was done, such as the value that was out", Max: 80})
	check.Ratings = []quality.Rating{{Characteristic: quality.RatingAct, Code: act}, {Characteristic: quality.RatingReason, Code: reason}}
	if says := topUps(sh.bath()); len(says) > 0 {
		check.Ratings = append(check.Ratings, quality.Rating{Characteristic: quality.RatingProposed, Code: says[0]})
	}
	return check, sh.use("chemical", "chemical")
}

func showAddition(sh *sheet, e page.Entry) templ.Component {
	bath := sh.bath()
	v := page.BathAdditionView{Entry: e, Proposed: topUps(bath), ActProblem: sh.Wrong["act"],
		Reason: ui.TextField{Name: "reason", Label: "Reason", Hint: "such as pH 5.2 over 5", Value: sh.Values.Get("reason"), Problem: sh.Wrong["reason"]}}
	v.Facts = bathFacts(sh.visit.site, bath)
	for _, act := range quality.BathActs {
		v.Acts = append(v.Acts, ui.Choice{Value: act, Label: bathActWords[act][0], Hint: bathActWords[act][1], Chosen: act == sh.Values.Get("act")})
	}
	v.Amount.Field = sh.field(form.Slot{Name: addedField, Label: "Amount", Characteristic: quality.AddedVolume, Unit: quality.Litre, Optional: true}, quality.Limits{})
	v.Amount.Field.Unit, v.Amount.Field.Range = "", "0.01 to 100000; none for a setting"
	v.Amount.Unit = ui.Select{Name: addedField + "-unit", Label: "Unit", Choices: choicesWith([]ui.Choice{{Value: string(quality.Litre), Label: "L"}, {Value: string(quality.Kilogram), Label: "kg"}}, sh.Values.Get(addedField+"-unit"))}
	if kind := store.StageMaterial(bath.Stage); kind != "" {
		v.Lot = sh.lotSelect("chemical", "chemical:"+kind, kind, true)
	}
	return page.BathAddition(v)
}

// bathFacts are what is known of a bath.
func bathFacts(st store.Site, b store.BathStanding) []page.Fact {
	facts := []page.Fact{{Name: "Bath", Value: b.Name}, {Name: "Stage", Value: labelOf(washStageOptions, b.Stage)}}
	if b.VolumeL != nil {
		facts = append(facts, page.Fact{Name: "Volume", Value: quality.Number(*b.VolumeL, 1) + " L"})
	}
	if b.MadeUpAt != nil {
		facts = append(facts, page.Fact{Name: "Made up", Value: shortTime(*b.MadeUpAt, st.Location())})
	}
	return facts
}
