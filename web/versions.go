package web

import (
	"context"
	"fmt"
	"net/http"
	"strings"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/page"
	"coatbook/web/ui"
)

// correctionWords are the reason codes in words.
var correctionWords = map[string]string{"typing_error": "typing error", "wrong_part": "entered on the wrong part", "device_fault": "fault of the device",
	"late_information": "information that came later", "other": "another reason", store.EntryUndone: "entry undone"}

// readingPlace says what was measured and where, such as "Film thickness, 1 spot 3, reading 2".
func readingPlace(r quality.Reading) (what, where string) {
	what = r.Characteristic
	if known, ok := quality.CharacteristicOf(r.Characteristic); ok {
		what = known.Name
	}
	where = r.Location
	if r.Spot > 0 {
		where = strings.TrimSpace(fmt.Sprintf("%s spot %d", where, r.Spot))
	}
	if r.Rep > 0 {
		where = strings.TrimSpace(fmt.Sprintf("%s reading %d", where, r.Rep))
	}
	return what, where
}

// withUnit is a reading as entered with its unit, or the reason why there is none.
func withUnit(r quality.Reading) string {
	if r.Absence != quality.Present {
		return asEntered(r)
	}
	return r.Text + spaced(unitAfter(r.Unit))
}

func ratingName(r quality.Rating) string {
	return strings.TrimSpace(upperFirst(strings.ReplaceAll(r.Characteristic, "_", " ")) + " " + r.Location)
}

func defectWords(d quality.Defect) string {
	if d.Code == quality.NoneFound {
		return "none found"
	}
	words := quality.FaultName(d.Code)
	for _, more := range []struct{ text, unit string }{{d.SizeText, " mm"}, {d.LengthText, " mm long"}} {
		if more.text != "" {
			words += ", " + more.text + more.unit
		}
	}
	if d.Count > 1 {
		words += fmt.Sprintf(", %d times", d.Count)
	}
	return words
}

// A recordLine is one line of a record in words, with a key that is the same in each version of the record.
type recordLine struct{ key, what, where, value string }

// linesOf are all lines of a record in their order: readings, ratings, defects, what was used, the note.
func linesOf(r store.Record) []recordLine {
	var lines []recordLine
	seen := map[string]int{}
	add := func(kind, what, where, value string) {
		key := kind + "|" + what + "|" + where
		seen[key]++
		lines = append(lines, recordLine{fmt.Sprintf("%s|%d", key, seen[key]), what, where, value})
	}
	for _, reading := range r.Check.Readings {
		what, where := readingPlace(reading)
		add("reading", what, where, withUnit(reading))
	}
	for _, rating := range r.Check.Ratings {
		add("rating", ratingName(rating), "", rating.Code)
	}
	for _, d := range r.Check.Defects {
		add("defect", "Seen", d.Place, defectWords(d))
	}
	for _, u := range r.Uses {
		add("use", upperFirst(roleWord(u.Role)), "", u.Name)
	}
	if r.Note != "" {
		add("note", "Note", "", r.Note)
	}
	return lines
}

// roleWord is a role of use in words.
func roleWord(role string) string {
	if word, ok := roleWords[role]; ok {
		return word
	}
	return strings.ReplaceAll(role, "_", " ")
}

// changesBetween are the lines that two versions of a record do not share, in the order of the record. A line that one of them
// does not have is a dash there.
func changesBetween(before, after store.Record) []page.Change {
	now := map[string]string{}
	for _, l := range linesOf(after) {
		now[l.key] = l.value
	}
	var changes []page.Change
	was := map[string]bool{}
	for _, l := range linesOf(before) {
		was[l.key] = true
		if value := now[l.key]; value != l.value {
			changes = append(changes, page.Change{What: l.what, Where: l.where, Was: l.value, Now: dash(value)})
		}
	}
	for _, l := range linesOf(after) {
		if !was[l.key] {
			changes = append(changes, page.Change{What: l.what, Where: l.where, Was: "–", Now: l.value})
		}
	}
	return changes
}

// versionsOf words the chain of corrections that a record is part of; nil when there is none.
func (s *Server) versionsOf(ctx context.Context, v *visit, record store.Record) ([]page.VersionView, error) {
	zone := v.site.Location()
	versions, err := s.store.Versions(ctx, v.site.ID, record.ID)
	if err != nil || len(versions) < 2 {
		return nil, err
	}
	var views []page.VersionView
	var before store.Record
	for i, version := range versions {
		full := record
		if version.ID != record.ID {
			if full, err = s.store.RecordByID(ctx, v.site.ID, version.ID); err != nil {
				return nil, err
			}
		}
		view := page.VersionView{Record: page.Ref{Text: "Entered by " + version.Person + ", " + longTime(version.At, zone), Href: "/records/" + version.ID.String()},
			Standing: verdictStanding(version.Verdict), Here: version.ID == record.ID, Counts: i == len(versions)-1 && version.Verdict != quality.Voided}
		if i > 0 {
			view.Record.Text = correctedWord(version) + " by " + version.Person + ", " + longTime(version.At, zone)
			view.Why = upperFirst(correctionWords[version.ReasonCode]) + ": " + version.Reason
			view.Changes = changesBetween(before, full)
			if version.Verdict == quality.Voided {
				view.Changes = nil
			}
			if version.SignedAt != nil {
				view.Signed = fmt.Sprintf("Signed by %s, %s, meaning: %s.", version.PrintedName, longTime(*version.SignedAt, zone), version.Meaning)
				if i < len(versions)-1 {
					view.Signed += " Signature void: the record was corrected after it."
				}
			}
		}
		before = full
		views = append(views, view)
	}
	return views, nil
}

func correctedWord(v store.Version) string {
	switch {
	case v.ReasonCode == store.EntryUndone:
		return "Taken back"
	case v.Verdict == quality.Voided:
		return "Voided"
	}
	return "Corrected"
}

// offered is the entry that the person may still take back.
func (s *Server) offered(ctx context.Context) ui.TakeBack {
	until := time.Unix(s.sessions.GetInt64(ctx, "undo-until"), 0)
	left := int(until.Sub(s.store.Clock()).Seconds())
	if left <= 0 {
		return ui.TakeBack{}
	}
	return ui.TakeBack{Record: s.sessions.GetString(ctx, "undo"), ID: store.NewID().String(), What: s.sessions.GetString(ctx, "undo-what"), Seconds: left}
}

// offerTakeBack offers the author of an entry on their next pages to take it back.
func (s *Server) offerTakeBack(ctx context.Context, record uuid.UUID, what string) {
	s.sessions.Put(ctx, "undo", record.String())
	s.sessions.Put(ctx, "undo-what", what)
	s.sessions.Put(ctx, "undo-until", s.store.Clock().Add(store.TakeBackWithin).Unix())
}

// takeBack voids the entry that its author has just made, without a PIN.
func (s *Server) takeBack(w http.ResponseWriter, r *http.Request) error {
	v, ctx := visitFrom(r), r.Context()
	record, err := s.recordAt(r)
	if err != nil {
		return err
	}
	id, err := uuid.Parse(r.PostFormValue("record"))
	if err != nil {
		id = store.NewID()
	}
	saved, err := s.store.TakeBack(ctx, v.actor, id, record.ID)
	if problem, _, refused := refusedForm(err); refused {
		view := page.MessageView{Frame: s.benchFrame(v, "Not taken back"), Heading: "Not taken back", Sentence: problem,
			Links: []page.Link{{Href: "/records/" + record.ID.String(), Words: "Open the record"}, {Href: "/records/" + record.ID.String() + "/correct", Words: "Correct it with a reason"}}}
		return s.render(w, r, http.StatusConflict, page.Message(view))
	}
	if err != nil {
		return err
	}
	s.sessions.Remove(ctx, "undo-until")
	words := fmt.Sprintf("%s of %s is taken back. It stays on record as undone and counts nowhere.", record.Kind.Name(), record.Subject)
	if saved.HoldNumber != "" {
		words += " On hold: " + saved.HoldNumber + "."
	}
	s.flash(r, words)
	to := subjectHref(record.SubjectKind, record.Subject)
	if to == "" || record.SubjectKind == "instrument" {
		to = "/bench"
	}
	http.Redirect(w, r, to, http.StatusSeeOther)
	return nil
}
