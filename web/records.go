package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/page"
)

// recordPage shows one record exactly as it was written.
func (s *Server) recordPage(w http.ResponseWriter, r *http.Request) error {
	return s.renderRecord(w, r, http.StatusOK, "")
}

// renderRecord shows a record; problem is what was wrong with a file for it.
func (s *Server) renderRecord(w http.ResponseWriter, r *http.Request, status int, problem string) error {
	return s.renderRecordWith(w, r, status, problem, nil)
}

// renderRecordWith shows a record with what was wrong in what its second person sent.
func (s *Server) renderRecordWith(w http.ResponseWriter, r *http.Request, status int, problem string, sent *page.ConfirmView) error {
	v := visitFrom(r)
	record, err := s.recordAt(r)
	if err != nil {
		return err
	}
	zone := v.site.Location()
	view := page.RecordView{Frame: s.deskFrame(v, record.Kind.Name()+" of "+record.Subject, "Parts"), Title: record.Kind.Name(),
		Subject:  page.Ref{Text: record.Subject, Href: subjectHref(record.SubjectKind, record.Subject)},
		Standing: verdictStanding(record.Verdict), Rule: record.Rule, Note: record.Note, Facts: recordFacts(record, zone)}
	if err := s.tieRecord(r.Context(), v, record, &view); err != nil {
		return err
	}
	for _, f := range record.Findings {
		view.Findings = append(view.Findings, findingRow(f))
	}
	for _, u := range record.Uses {
		view.Uses = append(view.Uses, useFact(u, zone))
	}
	for _, o := range record.Overrides {
		view.Overrides = append(view.Overrides, fmt.Sprintf("Exception: %s Reason: %s. Signed by %s, %s, meaning: authorised.", o.Sentence, o.Reason, o.By, longTime(o.At, zone)))
	}
	if view.Confirm, err = s.confirmView(r.Context(), v, record); err != nil {
		return err
	}
	if sent != nil && view.Confirm != nil {
		view.Confirm.Problem, view.Confirm.Wrong, view.Confirm.Reason = sent.Problem, sent.Wrong, sent.Reason
	}
	if err := s.fillExclusions(r.Context(), v, record, &view); err != nil {
		return err
	}
	fillLines(&view, record.Check)
	view.WindowHead = "Powder's window then"
	if _, typed := quality.TypedWindow(record.Check); typed {
		view.WindowHead = "Window typed for this load"
	}
	if record.Kind == quality.Cure {
		if err := s.fillProfile(r, record, &view); err != nil {
			return err
		}
	}
	if len(view.Versions) > 0 {
		markChanges(&view)
	}
	if view.Files, err = s.filesView(r, store.FileOwner{Kind: store.FileOfRecord, ID: record.ID}, "/records/"+record.ID.String(), problem); err != nil {
		return err
	}
	return s.render(w, r, status, page.Record(view))
}

// tieRecord puts what a record is tied to into the view: the versions of it, the releases that its correction made void, the
// holds it opened, and what this person may do about it.
func (s *Server) tieRecord(ctx context.Context, v *visit, record store.Record, view *page.RecordView) (err error) {
	zone, site := v.site.Location(), v.site.ID
	if view.Versions, err = s.versionsOf(ctx, v, record); err != nil {
		return err
	}
	for i, version := range view.Versions {
		if !version.Here {
			continue
		}
		if i+1 < len(view.Versions) {
			next := view.Versions[i+1]
			view.Struck = next.Record.Text + ". " + strings.TrimSuffix(next.Why, ".") + ". This record counts nowhere."
			view.StruckRef = page.Ref{Text: "The record that takes its place", Href: next.Record.Href}
		}
		if i > 0 {
			view.Replaces = strings.TrimSuffix(version.Record.Text+". "+version.Why, ".") + "."
			view.Before = page.Ref{Text: "The record before", Href: view.Versions[i-1].Record.Href}
		}
	}
	releases, err := s.store.VoidedReleases(ctx, site, record.ID)
	if err != nil {
		return err
	}
	for _, rl := range releases {
		view.Voided = append(view.Voided, page.Ref{Text: fmt.Sprintf("Release of %s signed by %s, %s: signature void", rl.Serial, rl.PrintedName, longTime(rl.SignedAt, zone)), Href: subjectHref("part", rl.Serial)})
	}
	holds, err := s.store.HoldsOpenedBy(ctx, site, record.ID)
	if err != nil {
		return err
	}
	for _, number := range holds {
		view.Holds = append(view.Holds, page.Ref{Text: "Opened hold " + number, Href: "/holds/" + number})
	}
	if record.SupersededBy.Valid || record.Verdict == quality.Voided || bench.admits(v) != nil {
		return nil
	}
	var refusal *store.Refusal
	switch err := s.store.MayCorrect(ctx, v.actor, record.ID); {
	case errors.As(err, &refusal):
		view.MayNot = refusal.Sentence
	case err != nil:
		return err
	default:
		at := "/records/" + record.ID.String()
		view.Acts = []page.Ref{{Text: "Correct this record", Href: at + "/correct"}, {Text: "Void this record", Href: at + "/void"}}
	}
	return nil
}

// markChanges puts the value that was, struck, beside each value of the record that a correction changed.
func markChanges(view *page.RecordView) {
	was := map[string]string{}
	for _, version := range view.Versions {
		if version.Here {
			for _, c := range version.Changes {
				was[c.What+"|"+c.Where] = c.Was
			}
		}
	}
	for i := range view.Readings {
		view.Readings[i].Was = was[view.Readings[i].Key]
	}
	if view.Grid != nil {
		for _, row := range view.Grid.Rows {
			for i := range row.Cells {
				row.Cells[i].Was = was[row.Cells[i].Key]
			}
		}
	}
	for i, rating := range view.Ratings {
		if old := was[rating.Term+"|"]; old != "" {
			view.Ratings[i].Was = old
		}
	}
}

func findingRow(f quality.Finding) page.RecordFinding {
	row := page.RecordFinding{Rule: f.Rule, Place: f.Place, Limit: f.Limit, Standing: verdictStanding(f.Verdict), Sentence: f.Text}
	if f.Value != nil {
		row.Found = strings.TrimSpace(quality.Number(*f.Value, 3) + spaced(unitAfter(f.Unit)))
	}
	return row
}

func recordFacts(r store.Record, zone *time.Location) []page.DeskFact {
	facts := []page.DeskFact{page.Plain("By", r.Person)}
	if r.Station != "" {
		facts = append(facts, page.Plain("At", r.Station))
	}
	if r.Device != "" {
		facts = append(facts, page.Plain("On tablet", r.Device))
	}
	facts = append(facts,
		page.Plain("Observed", stamp(r.ObservedAt, zone)), page.Plain("Stored", stamp(r.RecordedAt, zone)),
		page.Plain("Device's clock", fmt.Sprintf("%+.1f s against the server's", float64(r.ClockOffsetMS)/1000)),
		page.Plain("Counts for", r.ShopDay.Format("2 January 2006")+", "+r.Shift+" shift"))
	if r.LateReason != "" {
		facts = append(facts, page.Plain("Entered late", r.LateReason))
	}
	if r.SpecCode != "" {
		facts = append(facts, page.Plain("Judged by", r.SpecCode+" rev "+r.Revision))
	}
	facts = append(facts, page.Plain("Cycle, round", fmt.Sprintf("%d, %d", r.Cycle, r.Round)), page.Plain("Content", "SHA-256 "+r.ContentHash[:min(16, len(r.ContentHash))]+"…"))
	return facts
}

// flagWords says a flag; one that is in order needs no word.
func flagWords(f quality.Flag) string {
	switch f {
	case quality.Unflagged, quality.In:
		return ""
	case quality.Guard:
		return "near the limit"
	}
	return string(f)
}

// absenceWords say why there is no number.
var absenceWords = map[quality.Absence]string{quality.NotMeasured: "not measured", quality.NotApplicable: "not applicable", quality.BelowRange: "below range",
	quality.AboveRange: "above range", quality.Pending: "still to come"}

// asEntered is a reading's digits exactly as entered, or the reason why there are none.
func asEntered(r quality.Reading) string {
	if r.Absence != quality.Present {
		return absenceWords[r.Absence]
	}
	return r.Shown()
}

// received is what came in, where it differs from what was kept.
func received(r quality.Reading) string {
	if raw := strings.TrimSpace(r.Raw); raw != "" && raw != r.Text {
		return r.Raw
	}
	return ""
}

// lineKey names a reading as a Change names it.
func lineKey(r quality.Reading) string {
	what, where := readingPlace(r)
	return what + "|" + where
}

// fillLines puts a check's lines into the view: film readings as a grid by spot, everything else line by line.
func fillLines(view *page.RecordView, c quality.Check) {
	if c.Kind == quality.Film {
		view.Grid = filmGrid(c)
	} else {
		for _, r := range c.Readings {
			name := r.Characteristic
			if known, ok := quality.CharacteristicOf(r.Characteristic); ok {
				name = known.Name
			}
			place := r.Location
			if r.Spot > 0 {
				place = strings.TrimSpace(fmt.Sprintf("%s %d", place, r.Spot))
			}
			view.Readings = append(view.Readings, page.RecordReading{Name: name, Place: place, Text: asEntered(r), Unit: r.Unit.Symbol(), Flag: flagWords(r.Flag), Source: r.Source, Raw: received(r), Key: lineKey(r)})
		}
	}
	for _, r := range c.Ratings {
		view.Ratings = append(view.Ratings, page.Plain(ratingName(r), r.Code))
	}
	for _, d := range c.Defects {
		row := page.RecordDefect{Name: quality.FaultName(d.Code), Place: d.Place, Size: d.SizeText, Flag: flagWords(d.Flag), Count: fmt.Sprint(d.Count)}
		if d.SizeText != "" {
			row.Size += " mm"
		}
		if d.Code == quality.NoneFound {
			row.Name, row.Count = "None found", ""
		}
		view.Defects = append(view.Defects, row)
	}
}

func upperFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// filmGrid lays film readings out by spot, and beside them each spot's mean.
func filmGrid(c quality.Check) *page.ReadingGrid {
	readings := c.Of("film_thickness")
	if len(readings) == 0 {
		return nil
	}
	unit := readings[0].Unit
	g := &page.ReadingGrid{}
	var order []int
	rows := map[int]*page.GridRow{}
	sums, counts := map[int]float64{}, map[int]int{}
	for _, r := range readings {
		row := rows[r.Spot]
		if row == nil {
			row = &page.GridRow{Name: strings.TrimSpace(fmt.Sprintf("%d %s", r.Spot, r.Location))}
			rows[r.Spot] = row
			order = append(order, r.Spot)
		}
		row.Cells = append(row.Cells, page.GridCell{Text: asEntered(r), Flag: flagWords(r.Flag), Raw: received(r), Key: lineKey(r)})
		if um, err := r.In(unit); err == nil && r.Absence == quality.Present {
			sums[r.Spot] += um
			counts[r.Spot]++
		}
	}
	widest := 0
	for _, spot := range order {
		row := rows[spot]
		widest = max(widest, len(row.Cells))
		if counts[spot] > 0 {
			row.Mean = quality.Number(sums[spot]/float64(counts[spot]), 2)
		}
	}
	for i := range widest {
		g.Heads = append(g.Heads, fmt.Sprint(i+1))
	}
	for _, spot := range order {
		for len(rows[spot].Cells) < widest {
			rows[spot].Cells = append(rows[spot].Cells, page.GridCell{})
		}
		g.Rows = append(g.Rows, *rows[spot])
	}
	g.Caption = fmt.Sprintf("%s, %s", unit.Symbol(), counted(len(readings), "reading"))
	return g
}
