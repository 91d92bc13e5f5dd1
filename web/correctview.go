package web

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/form"
	"coatbook/web/page"
	"coatbook/web/ui"
)

// renderCorrection shows the form with what is typed so far.
func (s *Server) renderCorrection(w http.ResponseWriter, r *http.Request, status int, c *correction) error {
	return s.render(w, r, status, page.Correct(s.correctView(c)))
}

func (s *Server) correctView(c *correction) page.CorrectView {
	name := c.record.Kind.Name()
	v := page.CorrectView{Void: c.void, Title: "Correct " + lowerFirst(name), Href: "/records/" + c.record.ID.String(), Record: c.Values.Get("record"), Problem: c.problem, Wrong: c.Wrong, Preview: c.preview,
		Subject: page.Ref{Text: c.record.Subject, Href: subjectHref(c.record.SubjectKind, c.record.Subject)}, Standing: verdictStanding(c.record.Verdict),
		Entered: fmt.Sprintf("Entered by %s, observed %s.", c.record.Person, longTime(c.record.ObservedAt, c.visit.site.Location())),
		Note:    c.Values.Get("note"), NoteWas: c.record.Note, Reason: c.Values.Get("reason")}
	v.Action = v.Href + "/correct"
	if c.void {
		v.Title, v.Action = "Void "+lowerFirst(name), v.Href+"/void"
	}
	v.Frame = s.deskFrame(c.visit, v.Title+" of "+c.record.Subject, "Parts")
	if v.Record == "" || c.Values.Get("again") != "" {
		v.Record = store.NewID().String()
	}
	for _, code := range store.CorrectionCodes {
		if code == "wrong_part" && !c.void {
			continue
		}
		v.Codes = append(v.Codes, ui.Choice{Value: code, Label: upperFirst(correctionWords[code]), Chosen: code == c.Values.Get("code")})
	}
	if len(c.released) > 0 {
		v.Follows = fmt.Sprintf("Released on this record: %s. A correction makes the signature of the release void and puts %s on hold, to be decided and released anew.",
			strings.Join(c.released, ", "), map[bool]string{true: "the part", false: "these parts"}[len(c.released) == 1])
	}
	verb := "correct"
	if c.void {
		verb = "void"
	}
	v.Statement = []string{fmt.Sprintf("I, %s, %s this record of %s. What it said stays readable.", c.visit.person.Name, verb, c.record.Subject), "Meaning of the signature: corrected."}
	c.fillLines(&v)
	return v
}

// fillLines puts every line of the record into the view, with what stands on record and what is typed.
func (c *correction) fillLines(v *page.CorrectView) {
	for i, r := range c.record.Check.Readings {
		slot := c.slot(i)
		what, where := readingPlace(r)
		line := page.CorrectLine{Name: slot.Name, What: what, Where: where, Was: withUnit(r), Unit: r.Unit.Symbol(), Value: c.Values.Get(slot.Name), Problem: c.Wrong[slot.Name], Reading: true}
		if known, ok := quality.CharacteristicOf(r.Characteristic); ok {
			line.Hint = known.Range(r.Unit)
		}
		for _, absence := range []quality.Absence{quality.NotMeasured, quality.NotApplicable, quality.BelowRange, quality.AboveRange, quality.Pending} {
			line.Absences = append(line.Absences, ui.Choice{Value: string(absence), Label: absenceWords[absence], Chosen: string(absence) == c.Values.Get(slot.Name+"-absent")})
		}
		v.Lines = append(v.Lines, line)
	}
	for i, r := range c.record.Check.Ratings {
		name := boxName("rating", i)
		line := page.CorrectLine{Name: name, What: ratingName(r), Was: r.Code, Value: c.Values.Get(name), Problem: c.Wrong[name]}
		line.Choices = choicesWith(ratingChoices(r), line.Value)
		v.Lines = append(v.Lines, line)
	}
	for i, u := range c.record.Uses {
		name := boxName("use", i)
		v.Lines = append(v.Lines, page.CorrectLine{Name: name, What: upperFirst(roleWord(u.Role)), Was: u.Name, Value: c.Values.Get(name), Problem: c.Wrong[name], Hint: "scan its label or type its code"})
	}
	if !c.listsDefects() {
		return
	}
	v.Defects = &page.CorrectDefects{NoneFound: c.Values.Get("none_found") != "", Groups: c.catalogue(), Problem: c.Wrong["lines"]}
	for _, d := range c.record.Check.Defects {
		words := defectWords(d)
		if d.Place != "" {
			words += ", " + d.Place
		}
		v.Defects.Was = append(v.Defects.Was, words)
	}
	for n := range c.Answers.Lines(len(c.record.Check.Defects) + 1) {
		number := strconv.Itoa(n + 1)
		get := func(part string) string { return c.Values.Get("defect-" + number + "-" + part) }
		v.Defects.Lines = append(v.Defects.Lines, page.DefectLine{N: number, Code: get("code"), Place: get("place"), Size: get("size"), Length: get("length"), Count: get("count"), Problem: c.Wrong["defect-"+number]})
	}
}

// renderStale tells a person whose record was corrected by somebody else meanwhile: what stood when they began, what stands
// now and what they typed, and what to do. Nothing of it is stored or lost.
func (s *Server) renderStale(w http.ResponseWriter, r *http.Request, c *correction) error {
	ctx, zone := r.Context(), c.visit.site.Location()
	versions, err := s.store.Versions(ctx, c.visit.site.ID, c.record.ID)
	if err != nil {
		return err
	}
	last := versions[len(versions)-1]
	latest, err := s.store.RecordByID(ctx, c.visit.site.ID, last.ID)
	if err != nil {
		return err
	}
	v := page.StaleView{Frame: s.deskFrame(c.visit, "Corrected meanwhile", "Parts"), Subject: page.Ref{Text: c.record.Subject, Href: subjectHref(c.record.SubjectKind, c.record.Subject)},
		Says: fmt.Sprintf("%s by %s, %s: %s. Nothing of yours was stored.", correctedWord(last), last.Person, longTime(last.At, zone), strings.TrimSuffix(last.Reason, ".")),
		Now:  page.Ref{Text: "Open the record that stands now", Href: "/records/" + last.ID.String()}, Posted: r.Method == http.MethodPost}
	now, known := map[string]string{}, map[string]bool{}
	for _, l := range linesOf(latest) {
		now[l.key] = l.value
	}
	typed := c.typed()
	// The note is a line whether there was one or not.
	began := linesOf(c.record)
	if c.record.Note == "" {
		began = append(began, recordLine{key: "note|Note||1", what: "Note", value: "–"})
	}
	for i, l := range began {
		known[l.key] = true
		row := page.StaleRow{What: l.what, Where: l.where, Was: l.value, Now: dash(now[l.key])}
		if v.Posted && i < len(typed) {
			row.Yours = typed[i]
		}
		if row.Was != row.Now || row.Yours != "" && row.Yours != row.Was {
			v.Rows = append(v.Rows, row)
		}
	}
	for _, l := range linesOf(latest) {
		if !known[l.key] {
			v.Rows = append(v.Rows, page.StaleRow{What: l.what, Where: l.where, Was: "–", Now: l.value})
		}
	}
	switch {
	case last.Verdict == quality.Voided:
		v.Do = "The record is void. If the work was done, enter it anew on its own page."
		return s.render(w, r, http.StatusConflict, page.Stale(v))
	case !v.Posted || c.void:
		v.Do = "Look at the record that stands now. If it is still wrong, correct or void that one."
		return s.render(w, r, http.StatusConflict, page.Stale(v))
	}
	v.Do = "Compare the values. If the record that stands now is right, leave it. If it is still wrong, go on with your values: they are put beside it, and nothing is stored until you sign."
	v.Action = "/records/" + last.ID.String() + "/correct"
	names := make([]string, 0, len(c.Values))
	for name := range c.Values {
		if !slices.Contains([]string{"pin", "signer", "record", "preview", "again"}, name) {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	for _, name := range names {
		v.Carried = append(v.Carried, page.ListChoice{Value: name, Text: c.Values.Get(name)})
	}
	return s.render(w, r, http.StatusConflict, page.Stale(v))
}

// typed are the values of the form in the order of linesOf, as they were typed.
func (c *correction) typed() []string {
	var typed []string
	for i, r := range c.record.Check.Readings {
		field := boxName("reading", i)
		text := strings.TrimSpace(c.Values.Get(field))
		switch {
		case text == r.Text && r.Absence == quality.Present:
			text = withUnit(r)
		case text == "":
			text = absenceWords[quality.Absence(c.Values.Get(field+"-absent"))]
		default:
			text += spaced(unitAfter(r.Unit))
		}
		typed = append(typed, text)
	}
	for i := range c.record.Check.Ratings {
		typed = append(typed, c.Values.Get(boxName("rating", i)))
	}
	for i := range c.record.Check.Defects {
		get := func(part string) string { return c.Values.Get(boxName("defect", i) + "-" + part) }
		if c.Values.Get("none_found") != "" {
			typed = append(typed, "none found")
			continue
		}
		d := quality.Defect{Code: get("code"), SizeText: get("size"), LengthText: get("length"), Count: 1}
		d.Count, _ = strconv.Atoi(get("count")) // what cannot be read is not a count to speak of
		typed = append(typed, defectWords(d))
	}
	for i := range c.record.Uses {
		typed = append(typed, form.ParseCode(c.Values.Get(boxName("use", i))).Value)
	}
	return append(typed, strings.TrimSpace(c.Values.Get("note")))
}
