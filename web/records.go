package web

import (
	"fmt"
	"net/http"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"
	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/page"
)

// recordPage shows one record exactly as it was written.
func (s *Server) recordPage(w http.ResponseWriter, r *http.Request) error {
	v := visitFrom(r)
	id, err := uuid.Parse(chi.URLParam(r, "id"))
	if err != nil {
		return fmt.Errorf("record %q: %w", chi.URLParam(r, "id"), store.ErrNotFound)
	}
	record, err := s.store.RecordByID(r.Context(), v.site.ID, id)
	if err != nil {
		return err
	}
	links, err := s.store.RecordLinks(r.Context(), v.site.ID, id)
	if err != nil {
		return err
	}
	zone := v.site.Location()
	view := page.RecordView{Frame: s.deskFrame(v, record.Kind.Name()+" of "+record.Subject, "Parts"), Title: record.Kind.Name(),
		Subject:  page.Ref{Text: record.Subject, Href: subjectHref(record.SubjectKind, record.Subject)},
		Standing: verdictStanding(record.Verdict), Rule: record.Rule, Note: record.Note, Facts: recordFacts(record, zone)}
	if l := links.SupersededBy; l != nil {
		view.Struck = fmt.Sprintf("Corrected by %s, %s: %s. This record counts nowhere.", l.Person, longTime(l.At, zone), l.Reason)
		view.StruckRef = page.Ref{Text: "The record that replaces it", Href: "/records/" + l.ID.String()}
	}
	if l := links.Supersedes; l != nil {
		view.Replaces = fmt.Sprintf("Corrects a record of %s: %s.", longTime(l.At, zone), l.Reason)
		view.Before = page.Ref{Text: "The record before", Href: "/records/" + l.ID.String()}
	}
	for _, number := range links.Holds {
		view.Holds = append(view.Holds, page.Ref{Text: "Opened hold " + number, Href: "/holds/" + number})
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
	fillLines(&view, record.Check)
	return s.render(w, r, http.StatusOK, page.Record(view))
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
	return r.Text
}

// received is what came in, where it differs from what was kept.
func received(r quality.Reading) string {
	if raw := strings.TrimSpace(r.Raw); raw != "" && raw != r.Text {
		return r.Raw
	}
	return ""
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
			view.Readings = append(view.Readings, page.RecordReading{Name: name, Place: place, Text: asEntered(r), Unit: r.Unit.Symbol(), Flag: flagWords(r.Flag), Source: r.Source, Raw: received(r)})
		}
	}
	for _, r := range c.Ratings {
		view.Ratings = append(view.Ratings, page.Plain(strings.TrimSpace(upperFirst(strings.ReplaceAll(r.Characteristic, "_", " "))+" "+r.Location), r.Code))
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
		row.Cells = append(row.Cells, page.GridCell{Text: asEntered(r), Flag: flagWords(r.Flag), Raw: received(r)})
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
