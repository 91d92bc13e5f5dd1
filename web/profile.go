package web

import (
	"encoding/base64"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/a-h/templ"
	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/loggerfile"
	"coatbook/web/form"
	"coatbook/web/page"
	"coatbook/web/ui"
)

func base64Of(b []byte) string { return base64.StdEncoding.EncodeToString(b) }

// A profileSheet is the page on which a logger's file becomes the cure run of a load.
type profileSheet struct {
	*sheet
	file    store.LoggerFile
	guess   loggerfile.Guess
	layout  loggerfile.Layout
	seen    loggerfile.Survey
	free    []loggerfile.Segment
	taken   []store.TakenStretch
	wrong   string // why the file cannot be read so
	figures *quality.CureProfile
	plot    *ui.ProfilePlot
}

// profile shows what is in a logger's file and how it is read; posted, it reads it again or saves the load's cure run.
func (s *Server) profile(w http.ResponseWriter, r *http.Request) error {
	id, err := uuid.Parse(param(r, "id"))
	if err != nil {
		return fmt.Errorf("logger file %q: %w", param(r, "id"), store.ErrNotFound)
	}
	p := &profileSheet{}
	kind := entryKind{kind: quality.Cure, find: onLoad, read: p.read, hazards: []string{"cure"}}
	kind.show = func(_ *sheet, e page.Entry) templ.Component { return p.view(e) }
	if p.sheet, err = s.openSheet(r, kind); err != nil {
		return err
	}
	if p.file, err = s.store.LoggerFileByID(r.Context(), p.visit.site.ID, id); err != nil {
		return err
	}
	if err := s.inspectProfile(r, p); err != nil {
		return err
	}
	posted := r.Method == http.MethodPost && p.Values.Get("again") == ""
	entry := p.entry()
	entry.Profile = p.use()
	switch {
	case posted && p.Values.Get("preview") != "" && r.Header.Get("X-Fragment") != "":
		return s.previewEntry(w, r, p.sheet, entry)
	case posted && p.Values.Get("preview") == "" && p.OK():
		saved, err := s.store.Save(r.Context(), p.visit.actor, entry)
		if errors.As(err, &p.refused) {
			if err := s.measureProfile(r, p, entry); err != nil {
				return err
			}
			return s.renderSheet(w, r, answerTo(r, p.refused).status, p.sheet)
		}
		if err != nil {
			return err
		}
		s.flash(r, p.savedWords(saved))
		return done(w, r, p.back)
	}
	if err := s.measureProfile(r, p, entry); err != nil {
		return err
	}
	status := http.StatusOK
	if posted && p.Values.Get("preview") == "" {
		status = http.StatusUnprocessableEntity
	} else if !posted {
		// Nothing of the run itself has been asked for yet.
		for _, name := range []string{"set_point", "oven_air", "oven_time", "record", "stretch", "late_reason"} {
			delete(p.Wrong, name)
		}
	}
	return s.renderSheet(w, r, status, p.sheet)
}

// inspectProfile reads the file's layout, as guessed, remembered or corrected, and what the file holds.
func (s *Server) inspectProfile(r *http.Request, p *profileSheet) error {
	ctx, site := r.Context(), p.visit.site.ID
	separator, decimal := separatorOf(p.Values.Get("separator")), p.Values.Get("decimal")
	if separator == p.Values.Get("was_separator") && decimal == p.Values.Get("was_decimal") {
		separator, decimal = "", ""
	}
	corrected := p.Values.Has("separator")
	var err error
	if corrected {
		p.guess, err = loggerfile.InspectAs(s.store.LoggerFileBytes(ctx, site, p.file.ID), separatorOf(p.Values.Get("separator")), p.Values.Get("decimal"))
	} else {
		p.guess, err = loggerfile.Inspect(s.store.LoggerFileBytes(ctx, site, p.file.ID))
	}
	var wrong *loggerfile.Error
	if err != nil && !errors.As(err, &wrong) {
		return err
	}
	p.layout = p.guess.Layout
	same := corrected && separator == "" && decimal == ""
	switch {
	case same || corrected && wrong != nil:
		p.layout.Separator, p.layout.Decimal = separatorOf(p.Values.Get("separator")), p.Values.Get("decimal")
		p.correct()
	case !corrected && p.file.LoggerID.Valid:
		if l, err := s.store.LastLayout(ctx, site, p.file.LoggerID.UUID); err == nil {
			if seen, err := loggerfile.Look(s.store.LoggerFileBytes(ctx, site, p.file.ID), l); err == nil && seen.Rows > 1 {
				p.layout = l
				p.guess.Notes = []string{"Read as the last file of logger " + p.file.Logger + " was."}
			}
		} else if !errors.Is(err, store.ErrNotFound) {
			return err
		}
	}
	if wrong != nil && !same {
		p.wrong = wrong.Error()
		return nil
	}
	if p.seen, err = loggerfile.Look(s.store.LoggerFileBytes(ctx, site, p.file.ID), p.layout); errors.As(err, &wrong) {
		p.wrong = wrong.Error()
		return nil
	} else if err != nil {
		return err
	}
	if p.taken, err = s.store.TakenStretches(ctx, site, p.file.ID); err != nil {
		return err
	}
	for _, seg := range p.seen.Segments {
		used := false
		for _, t := range p.taken {
			used = used || seg.FromS < t.ToS && seg.ToS > t.FromS
		}
		if !used {
			p.free = append(p.free, seg)
		}
	}
	return nil
}

var separatorNames = []struct{ name, mark, words string }{{"semicolon", ";", "semicolon ;"}, {"comma", ",", "comma ,"}, {"tab", "\t", "tab"}, {"bar", "|", "bar |"}}

func separatorOf(name string) string {
	for _, s := range separatorNames {
		if s.name == name {
			return s.mark
		}
	}
	return ""
}

// correct puts what a person chose in the place of what was guessed.
func (p *profileSheet) correct() {
	l := &p.layout
	l.Encoding = loggerfile.Encoding(p.Values.Get("encoding"))
	l.TimeForm, l.DateOrder = loggerfile.TimeForm(p.Values.Get("time_form")), loggerfile.DateOrder(p.Values.Get("date_order"))
	l.SplitBy = loggerfile.Role(p.Values.Get("split_by"))
	whole := func(name, label string, low, high float64) int {
		return p.Whole(form.Entry{Kind: form.Whole, Name: name, Label: label, Low: low, High: high})
	}
	l.Skip, l.TimeColumn, l.DateColumn = whole("skip", "Lines before the first sample", 0, 1000), whole("time_column", "Column of the time", 1, 64), whole("date_column", "Column of the date", 0, 64)
	l.SplitC = p.Amount(form.Entry{Kind: form.Number, Name: "split_c", Label: "Loads are told apart under", Unit: "°C", Low: 0, High: 300})
	var columns []loggerfile.Column
	for n := 1; n <= 64; n++ {
		key := strconv.Itoa(n)
		if n == l.TimeColumn || n == l.DateColumn || !p.Values.Has("role-"+key) {
			continue
		}
		columns = append(columns, loggerfile.Column{Number: n, Name: clipped(p.Values.Get("name-" + key)), Role: loggerfile.Role(p.Values.Get("role-" + key)), Unit: p.Values.Get("unit-" + key),
			Place: strings.TrimSpace(p.Values.Get("place-" + key))})
	}
	l.Columns = columns
}

// chosen is the stretch of the file that is this load's: the one ticked, else the first that has no record yet.
func (p *profileSheet) stretch() (loggerfile.Segment, bool) {
	for i, seg := range p.free {
		if stretchKey(seg) == p.Values.Get("stretch") || i == 0 && p.Values.Get("stretch") == "" {
			return seg, true
		}
	}
	if len(p.free) > 0 && p.Values.Get("again") != "" {
		return p.free[0], true
	}
	return loggerfile.Segment{}, false
}

func stretchKey(s loggerfile.Segment) string {
	return strconv.FormatFloat(s.FromS, 'f', -1, 64) + "_" + strconv.FormatFloat(s.ToS, 'f', -1, 64)
}

// use names the stretch and layout for the store, or nil where they cannot be used.
func (p *profileSheet) use() *store.ProfileUse {
	seg, ok := p.stretch()
	switch {
	case p.wrong != "":
		p.Say("separator", p.wrong)
	case !ok && len(p.free) == 0:
		p.Say("stretch", "Every load in this file has its record already. Choose the file of this load's run.")
	case !ok:
		p.Say("stretch", "Choose which stretch of the file is this load.")
	}
	if p.wrong != "" || !ok {
		// A profile that cannot be measured; nothing is saved without one from this page.
		return &store.ProfileUse{FileID: p.file.ID, Layout: p.layout}
	}
	return &store.ProfileUse{FileID: p.file.ID, Layout: p.layout, FromS: seg.FromS, ToS: seg.ToS}
}

// read takes the oven's own figures from the form; those of the metal come from the file.
func (p *profileSheet) read(sh *sheet) (quality.Check, []store.Use) {
	return quality.Check{Kind: quality.Cure, Readings: sh.Readings(p.ovenSlots(), sh.visit.comma())}, nil
}

// ovenSlots are those of a typed run; the time in the oven may be left to the profile.
func (p *profileSheet) ovenSlots() []form.Slot {
	slots := p.sheet.ovenSlots()
	for i := range slots {
		slots[i].Optional = slots[i].Name != "set_point"
	}
	return slots
}

// measureProfile works out the figures, the picture and the verdict for what is chosen so far.
func (s *Server) measureProfile(r *http.Request, p *profileSheet, entry store.Entry) error {
	seg, ok := p.stretch()
	if p.wrong != "" || !ok {
		return nil
	}
	entry.Profile = &store.ProfileUse{FileID: p.file.ID, Layout: p.layout, FromS: seg.FromS, ToS: seg.ToS}
	figures, profile, err := s.store.PreviewProfile(r.Context(), p.visit.actor, entry)
	var refusal *store.Refusal
	switch {
	case errors.As(err, &refusal):
		if p.refused == nil {
			p.wrong = refusal.Sentence
		}
		return nil
	case errors.Is(err, store.ErrNotFound):
		return nil
	case err != nil:
		return err
	}
	p.figures = &figures
	says := map[string]string{}
	for _, c := range figures.Channels {
		says[c.Name] = p.channelWords(c)
	}
	plot := profilePlot(p.visit.site, "Oven profile of load "+p.form.Label+": metal and air temperature over time", profile, p.form.Circumstance.Window, says)
	p.plot = &plot
	j, err := s.store.Preview(r.Context(), p.visit.actor, entry)
	if errors.As(err, &refusal) {
		return nil
	}
	if err != nil {
		return err
	}
	preview := page.Preview{Verdict: string(j.Verdict), Rule: j.Rule}
	for _, f := range j.Findings {
		preview.Findings = append(preview.Findings, page.PreviewFinding{Verdict: string(f.Verdict), Text: f.Text})
	}
	p.preview = &preview
	return nil
}

func (p *profileSheet) channelWords(c quality.ChannelProfile) string {
	if c.Readings == 0 {
		return "open in the whole record"
	}
	words := fmt.Sprintf("peak %s, %s min at or over %s", degrees(p.visit.site, c.PeakC), quality.Number(c.SecondsAbove/60, 1), degrees(p.visit.site, p.figures.Settings.AboveC))
	if !c.Complete() {
		words += ", incomplete"
	}
	return words
}

// stretchWords say when a stretch is, by the logger's clock where it has one.
func (p *profileSheet) stretchWords(seg loggerfile.Segment) string {
	words := fmt.Sprintf("minute %s to %s", quality.Number(seg.FromS/60, 1), quality.Number(seg.ToS/60, 1))
	if !p.seen.Start.IsZero() {
		at := func(s float64) string {
			return p.seen.Start.Add(time.Duration(s * float64(time.Second))).Format("2 Jan 15:04")
		}
		words = at(seg.FromS) + " to " + at(seg.ToS)
	}
	return words
}
