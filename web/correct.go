package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/go-chi/chi/v5"
	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
	"coatbook/web/ui"
)

// A correction is the page on which a record of any kind is corrected or voided: each of its lines with the value on record
// beside a box that holds it, the reason, and the signature.
type correction struct {
	*form.Answers
	visit    *visit
	record   store.Record
	uses     []store.Use // as the record names them, in the order of record.Uses
	void     bool
	problem  string
	preview  *page.Preview
	released []string // parts whose release stands on the record
}

// recordAt reads the record that an address names.
func (s *Server) recordAt(r *http.Request) (store.Record, error) {
	id, err := uuid.Parse(chi.URLParam(r, "id"))
	if err != nil {
		return store.Record{}, fmt.Errorf("record %q: %w", chi.URLParam(r, "id"), store.ErrNotFound)
	}
	return s.store.RecordByID(r.Context(), visitFrom(r).site.ID, id)
}

// correct shows and takes the correction of a record.
func (s *Server) correct(w http.ResponseWriter, r *http.Request) error { return s.amend(w, r, false) }

// voidRecord shows and takes the voiding of a record.
func (s *Server) voidRecord(w http.ResponseWriter, r *http.Request) error { return s.amend(w, r, true) }

func (s *Server) amend(w http.ResponseWriter, r *http.Request, void bool) error {
	c, err := s.openCorrection(r, void)
	if err != nil {
		return err
	}
	if by := c.record.SupersededBy; by.Valid && by.UUID.String() != c.Values.Get("record") {
		return s.renderStale(w, r, c)
	}
	if r.Method != http.MethodPost || c.Values.Get("again") != "" || c.Values.Get("more") != "" {
		return s.renderCorrection(w, r, http.StatusOK, c)
	}
	entry := s.correctedEntry(r.Context(), c)
	if c.Values.Get("preview") != "" {
		if err := s.previewCorrection(r, c, entry); err != nil {
			return err
		}
		return s.renderCorrection(w, r, http.StatusOK, c)
	}
	reason := c.reason()
	if !c.OK() || c.problem != "" {
		return s.renderCorrection(w, r, http.StatusUnprocessableEntity, c)
	}
	saved, err := s.storeCorrection(r, c, entry, reason)
	var refusal *store.Refusal
	if errors.As(err, &refusal) {
		if refusal.Rule == "record_superseded_once" || refusal.Rule == store.RuleChanged {
			if c.record, err = s.recordAt(r); err != nil {
				return err
			}
			return s.renderStale(w, r, c)
		}
		c.refused(refusal)
		return s.renderCorrection(w, r, http.StatusUnprocessableEntity, c)
	}
	if err != nil {
		return err
	}
	words := fmt.Sprintf("%s of %s is corrected: %s.", c.record.Kind.Name(), c.record.Subject, strings.ReplaceAll(string(saved.Judgement.Verdict), "_", " "))
	if saved.Judgement.Verdict != quality.Pass {
		words += " " + saved.Judgement.Sentence()
	}
	if void {
		words = fmt.Sprintf("%s of %s is void. It stays readable and counts nowhere.", c.record.Kind.Name(), c.record.Subject)
	}
	if saved.HoldNumber != "" {
		words += " On hold: " + saved.HoldNumber + "."
	}
	return s.done(w, r, "/records/"+saved.RecordID.String(), words)
}

// openCorrection reads the record and whether this person may correct it. A form that opens holds what is on record.
func (s *Server) openCorrection(r *http.Request, void bool) (*correction, error) {
	ctx, v := r.Context(), visitFrom(r)
	record, err := s.recordAt(r)
	if err != nil {
		return nil, err
	}
	if err := s.store.MayCorrect(ctx, v.actor, record.ID); err != nil {
		return nil, err
	}
	c := &correction{visit: v, record: record, void: void}
	if record.Verdict == quality.Voided {
		return nil, &store.Refusal{Rule: store.RuleChanged, Sentence: "This record is void, so there is nothing to correct. Enter a new one."}
	}
	if c.uses, err = s.store.UsesAsEntered(ctx, v.site.ID, record.ID); err != nil {
		return nil, err
	}
	if c.released, err = s.store.ReleasedOn(ctx, v.site.ID, record.ID); err != nil {
		return nil, err
	}
	values := c.onRecord()
	if r.Method == http.MethodPost {
		values = r.PostForm
	}
	c.Answers = form.New(values)
	return c, nil
}

// onRecord are the values of the fields as they stand on record. The reason is never among them.
func (c *correction) onRecord() url.Values {
	values := url.Values{"note": {c.record.Note}}
	for i, reading := range c.record.Check.Readings {
		values.Set(boxName("reading", i), reading.Text)
		values.Set(boxName("reading", i)+"-absent", string(reading.Absence))
	}
	for i, rating := range c.record.Check.Ratings {
		values.Set(boxName("rating", i), rating.Code)
	}
	for i, use := range c.record.Uses {
		values.Set(boxName("use", i), use.Name)
	}
	for i, d := range c.record.Check.Defects {
		if d.Code == quality.NoneFound {
			values.Set("none_found", "1")
			continue
		}
		for part, text := range map[string]string{"code": d.Code, "place": d.Place, "size": d.SizeText, "length": d.LengthText, "count": strconv.Itoa(d.Count)} {
			values.Set(boxName("defect", i)+"-"+part, text)
		}
	}
	return values
}

func boxName(what string, i int) string { return fmt.Sprintf("%s-%d", what, i+1) }

// correctedEntry reads the form. A line that is as it was keeps its source and the text received.
func (s *Server) correctedEntry(ctx context.Context, c *correction) store.Entry {
	e := store.Entry{Kind: c.record.Kind, Note: strings.TrimSpace(c.Values.Get("note"))}
	var err error
	if e.RecordID, err = uuid.Parse(c.Values.Get("record")); err != nil {
		c.problem = "The form has lost its number. Send it again; what you typed is kept."
	}
	if c.void {
		return e
	}
	if len([]rune(e.Note)) > 2000 {
		c.Say("note", "The note has more than 2000 characters.")
	}
	e.Check = quality.Check{Kind: c.record.Kind, Readings: c.readings(), Ratings: c.ratings()}
	switch {
	case c.defectsAsTheyWere():
		e.Check.Defects = slices.Clone(c.record.Check.Defects)
	case c.listsDefects():
		e.Check.Defects = c.Defects(c.knows)
	}
	names := slices.Clone(c.record.Uses)
	for i, use := range c.record.Uses {
		field := boxName("use", i)
		name := form.ParseCode(c.Values.Get(field)).Value
		if names[i].Name = name; name == use.Name {
			e.Uses = append(e.Uses, c.uses[i])
			continue
		}
		named, err := s.store.NameUse(ctx, c.visit.site.ID, use.Role, name)
		var refusal *store.Refusal
		switch {
		case name == "":
			c.Say(field, fmt.Sprintf("%s is empty. Scan its label or type its code.", upperFirst(roleWord(use.Role))))
		case errors.As(err, &refusal):
			c.Say(field, refusal.Sentence)
		case err != nil:
			c.problem = "What was used could not be looked up just now. Try again."
		default:
			e.Uses = append(e.Uses, named)
		}
	}
	after := store.Record{Check: e.Check, Uses: names}
	after.Note = e.Note
	if c.OK() && len(changesBetween(c.record, after)) == 0 {
		c.problem = "Nothing is changed yet. Change the value that is wrong, or void the record if it should not be there."
	}
	return e
}

func (c *correction) readings() []quality.Reading {
	var readings []quality.Reading
	for i, old := range c.record.Check.Readings {
		slot := c.slot(i)
		if strings.TrimSpace(c.Values.Get(slot.Name)) == old.Text && c.Values.Get(slot.Name+"-absent") == string(old.Absence) {
			old.Flag = quality.Unflagged
			if value, err := strconv.ParseFloat(old.Text, 64); err == nil {
				old.Value = value // the digits themselves, not what came back from the canonical unit
			}
			readings = append(readings, old)
			continue
		}
		if reading, ok := c.Reading(slot, c.visit.comma()); ok {
			readings = append(readings, reading)
		}
	}
	return readings
}

func (c *correction) slot(i int) form.Slot {
	r := c.record.Check.Readings[i]
	what, where := readingPlace(r)
	return form.Slot{Name: boxName("reading", i), Label: strings.TrimSpace(what + " " + where), Characteristic: r.Characteristic, Location: r.Location, Spot: r.Spot, Rep: r.Rep, Unit: r.Unit}
}

func (c *correction) ratings() []quality.Rating {
	var ratings []quality.Rating
	for i, old := range c.record.Check.Ratings {
		code := strings.TrimSpace(c.Values.Get(boxName("rating", i)))
		choices := ratingChoices(old)
		switch {
		case code == old.Code:
		case len(choices) > 0 && !slices.ContainsFunc(choices, func(o ui.Choice) bool { return o.Value == code }):
			c.Say(boxName("rating", i), fmt.Sprintf("%s: “%s” is not on the list. Choose one.", ratingName(old), clipped(code)))
		case len(choices) == 0:
			code = c.Text(form.Entry{Kind: form.Text, Name: boxName("rating", i), Label: ratingName(old), Max: 80})
		}
		old.Code = code
		ratings = append(ratings, old)
	}
	return ratings
}

// ratingChoices are the codes a rating may take; none where it is a name that people type.
func ratingChoices(r quality.Rating) []ui.Choice {
	var codes []string
	switch r.Characteristic {
	case quality.RatingRub:
		for _, step := range quality.RubRatings {
			codes = append(codes, step.Code)
		}
	case quality.RatingSwab:
		codes = quality.SwabColours
	case quality.RatingWaterBreak:
		codes = []string{"held", "broken"}
	case quality.RatingAdhesion:
		for _, method := range quality.AdhesionMethods {
			if classes := quality.AdhesionClasses(method); slices.Contains(classes, r.Code) {
				codes = classes
			}
		}
	case ratingAid:
		return aids
	case ratingReady:
		codes = []string{"yes", "no"}
	}
	for _, q := range boothQuestions {
		if q.name == r.Characteristic {
			codes = []string{q.good, q.bad}
		}
	}
	var choices []ui.Choice
	for _, code := range codes {
		choices = append(choices, ui.Choice{Value: code, Label: code})
	}
	if len(choices) > 0 && !slices.Contains(codes, r.Code) {
		choices = append(choices, ui.Choice{Value: r.Code, Label: r.Code}) // what is on record can always be left
	}
	return choices
}

// defectsAsTheyWere reports whether no field about what was seen differs from the record.
func (c *correction) defectsAsTheyWere() bool {
	record := c.onRecord()
	for field := range c.Values {
		if strings.HasPrefix(field, "defect-") && c.Values.Get(field) != record.Get(field) {
			return false
		}
	}
	return c.Values.Get("none_found") == record.Get("none_found")
}

// listsDefects reports whether the kind lists what was seen.
func (c *correction) listsDefects() bool {
	return c.record.Kind == quality.Weld || c.record.Kind == quality.Finish || len(c.record.Check.Defects) > 0
}

// catalogue are the codes of what may be seen: those of the kind, and those the record has.
func (c *correction) catalogue() []page.CodeGroup {
	switch c.record.Kind {
	case quality.Weld:
		return weldGroups()
	case quality.Finish:
		group := page.CodeGroup{Name: "Defects of the finish"}
		for _, d := range quality.FinishDefects {
			group.Codes = append(group.Codes, ui.Choice{Value: d.Code, Label: d.Name})
		}
		return []page.CodeGroup{group}
	}
	group := page.CodeGroup{Name: "On this record"}
	for _, d := range c.record.Check.Defects {
		if d.Code != quality.NoneFound {
			group.Codes = append(group.Codes, ui.Choice{Value: d.Code, Label: quality.FaultName(d.Code)})
		}
	}
	return []page.CodeGroup{group}
}

func (c *correction) knows(code string) bool {
	return slices.ContainsFunc(c.catalogue(), func(g page.CodeGroup) bool {
		return slices.ContainsFunc(g.Codes, func(o ui.Choice) bool { return o.Value == code })
	})
}

// reason reads why, with sentences at the fields.
func (c *correction) reason() store.Correction {
	why := store.Correction{Of: c.record.ID, Code: c.Values.Get("code"), Text: strings.TrimSpace(c.Values.Get("reason"))}
	if !slices.Contains(store.CorrectionCodes, why.Code) {
		c.Say("code", "Choose why the record is corrected.")
	}
	switch n := len([]rune(why.Text)); {
	case n < 5:
		c.Say("reason", "Say in a few words why, in at least 5 letters.")
	case n > 500:
		c.Say("reason", "The reason has more than 500 characters.")
	}
	return why
}

// storeCorrection signs and stores the correction or the void.
func (s *Server) storeCorrection(r *http.Request, c *correction, e store.Entry, why store.Correction) (store.Saved, error) {
	proof, err := s.sign(r)
	if err != nil {
		return store.Saved{}, err
	}
	if c.void {
		return s.store.Void(r.Context(), c.visit.actor, e.RecordID, why, proof)
	}
	if e.Subject, err = s.store.SubjectOf(r.Context(), c.visit.site.ID, c.record.ID); err != nil {
		return store.Saved{}, err
	}
	return s.store.Correct(r.Context(), c.visit.actor, e, why, proof)
}

// refused puts a refusal beside the field it is about, or over the form.
func (c *correction) refused(refusal *store.Refusal) {
	problem, wrong, _ := refusedForm(refusal)
	c.problem = problem
	for field, sentence := range wrong {
		c.Say(field, sentence)
	}
	about := map[string]string{store.RuleGaugeMissing: "gauge", store.RuleGaugeUnverified: "gauge", store.RuleLotExpired: "lot", store.RuleLotRejected: "lot"}[refusal.Rule]
	for i, use := range c.record.Uses {
		gauge := use.Role == "gauge"
		if about == "gauge" && gauge || about == "lot" && !gauge && c.Values.Get(boxName("use", i)) != use.Name {
			c.problem = ""
			c.Say(boxName("use", i), refusal.Sentence)
		}
	}
}

// previewCorrection says what the book would decide.
func (s *Server) previewCorrection(r *http.Request, c *correction, e store.Entry) error {
	if !c.OK() || c.problem != "" {
		return nil
	}
	var err error
	if e.Subject, err = s.store.SubjectOf(r.Context(), c.visit.site.ID, c.record.ID); err != nil {
		return err
	}
	j, err := s.store.PreviewCorrection(r.Context(), c.visit.actor, e, c.record.ObservedAt)
	var refusal *store.Refusal
	if errors.As(err, &refusal) {
		c.refused(refusal)
		return nil
	}
	if err != nil {
		return err
	}
	c.preview = &page.Preview{Verdict: string(j.Verdict), Rule: j.Rule}
	for _, f := range j.Findings {
		c.preview.Findings = append(c.preview.Findings, page.PreviewFinding{Verdict: string(f.Verdict), Text: f.Text})
	}
	return nil
}
