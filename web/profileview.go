package web

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/a-h/templ"

	"coatbook/quality"
	"coatbook/store/loggerfile"
	"coatbook/web/page"
	"coatbook/web/ui"
)

var (
	timeFormNames = map[loggerfile.TimeForm]string{loggerfile.Milliseconds: "elapsed milliseconds", loggerfile.Seconds: "elapsed seconds", loggerfile.Minutes: "elapsed minutes",
		loggerfile.Hours: "elapsed hours", loggerfile.HMS: "hours:minutes:seconds", loggerfile.HM: "hours:minutes", loggerfile.MS: "minutes:seconds", loggerfile.Clock: "clock with date"}
	dateOrderNames = map[loggerfile.DateOrder]string{loggerfile.YearFirst: "year, month, day", loggerfile.DayFirst: "day, month, year", loggerfile.MonthFirst: "month, day, year"}
	encodingNames  = map[loggerfile.Encoding]string{loggerfile.UTF8: "UTF-8", loggerfile.UTF16LE: "UTF-16, little end first", loggerfile.UTF16BE: "UTF-16, big end first", loggerfile.Windows1252: "Windows-1252"}
)

// options makes a list of choices out of values and their words.
func options[T ~string](values []T, names map[T]string, chosen T) []ui.Choice {
	var out []ui.Choice
	for _, v := range values {
		words := names[v]
		if words == "" {
			words = string(v)
		}
		out = append(out, ui.Choice{Value: string(v), Label: words, Chosen: v == chosen})
	}
	return out
}

// view prints the page of a logger's file.
func (p *profileSheet) view(e page.Entry) templ.Component {
	e.Heading, e.Save = "Oven profile of", "Save cure run"
	v := page.ProfileView{Entry: e, Wrong: p.wrong, Notes: p.guess.Notes, Warnings: p.seen.Warnings, Raw: strings.Join(p.guess.Lines, "\n"), Chart: p.plot,
		Typed: p.back + "/cure", Window: windowSentence(p.form.Circumstance.Window), WasSeparator: p.layout.Separator, WasDecimal: p.layout.Decimal}
	v.File = []page.Fact{{Name: "File", Value: p.file.Name}, {Name: "SHA-256", Value: p.file.Hash()}, {Name: "Size", Value: sizeWords(p.file.Size)}}
	if p.seen.Rows > 0 {
		v.File = append(v.File, page.Fact{Name: "Samples", Value: fmt.Sprintf("%d in %s min", p.seen.Rows, quality.Number(p.seen.EndS/60, 1))})
	}
	if p.file.Logger != "" {
		v.File = append(v.File, page.Fact{Name: "Logger", Value: p.file.Logger})
	}
	p.layoutFields(&v)
	p.columnFields(&v)
	p.stretchFields(&v)
	for _, slot := range p.ovenSlots() {
		v.Oven = append(v.Oven, p.field(slot, quality.Limits{}))
	}
	if p.figures != nil {
		for _, c := range p.figures.Channels {
			row := page.ProfileRow{Place: c.Name, Peak: degrees(p.visit.site, c.PeakC), Time: quality.Number(c.SecondsAbove/60, 1) + " min", Says: strings.Join(c.Incomplete, " ")}
			if c.Readings == 0 {
				row.Peak, row.Time = "none", "none"
			}
			v.Rows = append(v.Rows, row)
		}
		v.Above = degrees(p.visit.site, p.figures.Settings.AboveC)
	}
	return page.Profile(v)
}

func sizeWords(bytes int64) string {
	if bytes < 10_000 {
		return fmt.Sprintf("%d bytes", bytes)
	}
	return fmt.Sprintf("%d kB", (bytes+500)/1000)
}

// layoutFields are how the file is read as a whole.
func (p *profileSheet) layoutFields(v *page.ProfileView) {
	l := p.layout
	list := func(name, label, hint string, choices []ui.Choice) {
		v.Layout = append(v.Layout, ui.Select{Name: name, Label: label, Hint: hint, Problem: p.Wrong[name], Choices: choices})
	}
	var separators []ui.Choice
	for _, s := range separatorNames {
		separators = append(separators, ui.Choice{Value: s.name, Label: s.words, Chosen: s.mark == l.Separator})
	}
	list("separator", "Columns are separated by", "", separators)
	list("decimal", "Decimal mark", "", []ui.Choice{{Value: ".", Label: "point .", Chosen: l.Decimal == "."}, {Value: ",", Label: "comma ,", Chosen: l.Decimal == ","}})
	list("time_form", "The time is", "", options(loggerfile.TimeForms, timeFormNames, l.TimeForm))
	list("date_order", "Order of a date", "for a clock", options(loggerfile.DateOrders, dateOrderNames, l.DateOrder))
	list("encoding", "Encoding", "", options(loggerfile.Encodings, encodingNames, l.Encoding))
	number := func(name, label, hint string, value int) {
		text := ui.TextField{Name: name, Label: label, Hint: hint, Value: strconv.Itoa(value), Problem: p.Wrong[name]}
		if p.Wrong[name] != "" {
			text.Value = p.Values.Get(name)
		}
		v.Numbers = append(v.Numbers, text)
	}
	number("skip", "Lines before the first sample", "0 to 1000", l.Skip)
	number("time_column", "Column of the time", "1 to 64", l.TimeColumn)
	number("date_column", "Column of the date", "0 if it has none of its own", l.DateColumn)
}

// columnFields are what each column is and where on the load its thermocouple sits.
func (p *profileSheet) columnFields(v *page.ProfileView) {
	metal := 0
	for _, c := range p.layout.Columns {
		key := strconv.Itoa(c.Number)
		place := c.Place
		if c.Role == loggerfile.Metal {
			if place == "" && !p.Values.Has("place-"+key) {
				place = c.Name
			}
			metal++
		}
		v.Columns = append(v.Columns, page.ProfileColumn{Number: key, Name: c.Name,
			Role: ui.Select{Name: "role-" + key, Label: "Column " + key + " is", Choices: []ui.Choice{{Value: string(loggerfile.Metal), Label: "on the metal", Chosen: c.Role == loggerfile.Metal},
				{Value: string(loggerfile.Air), Label: "in the air", Chosen: c.Role == loggerfile.Air}, {Value: string(loggerfile.LeftOut), Label: "left out", Chosen: c.Role == loggerfile.LeftOut}}},
			Unit:  ui.Select{Name: "unit-" + key, Label: "Unit", Choices: []ui.Choice{{Value: "C", Label: "°C", Chosen: c.Unit != "F"}, {Value: "F", Label: "°F", Chosen: c.Unit == "F"}}},
			Place: ui.TextField{Name: "place-" + key, Label: "Place on the load", Hint: "such as heaviest section", Value: place}})
	}
	v.ColumnsSay = fmt.Sprintf("%s on the metal; the spec asks for %d", counted(metal, "channel"), p.askedChannels())
}

// stretchFields are the loads in the file.
func (p *profileSheet) stretchFields(v *page.ProfileView) {
	chosen, any := p.stretch()
	for _, seg := range p.free {
		v.Stretches = append(v.Stretches, ui.Choice{Value: stretchKey(seg), Label: p.stretchWords(seg), Hint: "warmest " + degrees(p.visit.site, seg.PeakC), Chosen: any && seg == chosen})
	}
	for _, t := range p.taken {
		v.Taken = append(v.Taken, fmt.Sprintf("%s is the profile of load %s.", upperFirst(p.stretchWords(loggerfile.Segment{FromS: t.FromS, ToS: t.ToS})), t.Load))
	}
	v.StretchProblem = p.Wrong["stretch"]
	v.Split = []ui.Select{{Name: "split_by", Label: "Loads are told apart by", Choices: []ui.Choice{{Value: string(loggerfile.Metal), Label: "the metal", Chosen: p.layout.SplitBy != loggerfile.Air},
		{Value: string(loggerfile.Air), Label: "the air, at the door", Chosen: p.layout.SplitBy == loggerfile.Air}}}}
	v.SplitC = ui.TextField{Name: "split_c", Label: "where it falls under, °C", Hint: "0 to 300", Value: quality.Number(p.layout.SplitC, 1), Problem: p.Wrong["split_c"]}
}
