package loggerfile

import (
	"strconv"
	"strings"
	"unicode"
)

// tokens cuts a name into its words, in small letters.
func tokens(name string) map[string]bool {
	out := map[string]bool{}
	for _, word := range strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return !unicode.IsLetter(r) && r != '#' && r != '%' }) {
		out[word] = true
	}
	return out
}

func anyOf(have map[string]bool, words ...string) bool {
	for _, w := range words {
		if have[w] {
			return true
		}
	}
	return false
}

// kinds counts what the cells of a column look like.
func (t *table) kinds(column int) map[cellKind]int {
	out := map[cellKind]int{}
	for _, row := range t.rows {
		out[kindOf(row[column], t.decimal[0])]++
	}
	return out
}

// A timing is one way to read the time of the samples.
type timing struct {
	column, date int // from 0; date -1 for none
	form         TimeForm
	order        DateOrder
}

// findTime finds the time's column and form: the first way to read it in which it always grows.
func (t *table) findTime(g *Guess) error {
	ways, assumed := t.timings()
	if len(ways) == 0 {
		return fault(t.start+1, "No column holds the time of the samples.")
	}
	best := ways[0]
	for _, w := range ways {
		if t.grows(w) {
			best = w
			break
		}
	}
	g.Layout.TimeColumn, g.Layout.DateColumn, g.Layout.TimeForm, g.Layout.DateOrder = best.column+1, best.date+1, best.form, best.order
	if assumed && best.form == Seconds {
		note(g, "Nothing says what unit the time is in; seconds are assumed.")
	}
	return nil
}

// timings lists the ways in which the time can be read, the likeliest first. assumed says that a plain number has no unit.
func (t *table) timings() (ways []timing, assumed bool) {
	n := len(t.rows)
	var stamps, clocks, named, plain []timing
	date := -1
	for c := range t.columns {
		if mostly(t.kinds(c)[dateCell], n) && date < 0 {
			date = c
		}
	}
	for c := range t.columns {
		kinds := t.kinds(c)
		words := tokens(t.name(c) + " " + t.unit(c))
		switch {
		case mostly(kinds[stampCell], n):
			stamps = append(stamps, timing{c, -1, Clock, t.orderOf(c, -1)})
		case mostly(kinds[timeCell], n) && date >= 0:
			stamps = append(stamps, timing{c, date, Clock, t.orderOf(c, date)})
		case mostly(kinds[timeCell], n):
			clocks = append(clocks, timing{c, -1, t.formOf(c, words), ""})
		case mostly(kinds[numberCell], n) && !anyOf(words, indexWords...):
			if form, known := unitOfTime(words); known {
				named = append(named, timing{c, -1, form, ""})
			} else if anyOf(words, "time", "elapsed", "zeit", "tiempo", "duration", "runtime") || strings.EqualFold(t.name(c), "t") {
				named, assumed = append(named, timing{c, -1, Seconds, ""}), true
			} else if t.grows(timing{c, -1, Seconds, ""}) {
				plain, assumed = append(plain, timing{c, -1, Seconds, ""}), true
			}
		}
	}
	if len(named) > 0 || len(clocks) > 0 || len(stamps) > 0 {
		plain = nil
	}
	return append(append(append(stamps, clocks...), named...), plain...), assumed
}

// mostly is two of three: a spoilt cell is told of when the file is read, and does not hide what its column is.
func mostly(count, of int) bool { return 3*count >= 2*of }

var indexWords = []string{"no", "nr", "#", "index", "sample", "record", "rec", "count", "row", "scan", "id"}

func unitOfTime(words map[string]bool) (TimeForm, bool) {
	switch {
	case anyOf(words, "c", "f", "degc", "degf"):
		return "", false
	case anyOf(words, "ms", "msec", "milliseconds"):
		return Milliseconds, true
	case anyOf(words, "s", "sec", "secs", "second", "seconds", "sek", "segundos"):
		return Seconds, true
	case anyOf(words, "min", "mins", "minute", "minutes", "minuten", "minutos") && !anyOf(words, "max", "avg"):
		return Minutes, true
	case anyOf(words, "h", "hr", "hrs", "hour", "hours", "std", "stunden", "horas"):
		return Hours, true
	}
	return "", false
}

// formOf tells hh:mm:ss, hh:mm and mm:ss apart.
func (t *table) formOf(column int, words map[string]bool) TimeForm {
	for _, row := range t.rows {
		parts, n, ok := clockParts([]byte(row[column]))
		if ok && n == 3 {
			return HMS
		}
		if ok && parts[0] > 23 {
			return MS
		}
	}
	if words["mm"] && words["ss"] && !words["hh"] || words["min"] && words["sec"] {
		return MS
	}
	return HM
}

// orderOf finds the order of day, month and year in which every row is a date.
func (t *table) orderOf(column, dateColumn int) DateOrder {
	fits := map[DateOrder]bool{}
	half := false
	for _, order := range DateOrders {
		fits[order] = true
		for _, row := range t.rows {
			var day []byte
			if dateColumn >= 0 {
				day = []byte(row[dateColumn])
			}
			if _, ok := clock(day, []byte(row[column]), order); !ok {
				fits[order] = false
				break
			}
			upper := strings.ToUpper(row[column])
			half = half || strings.HasSuffix(upper, "AM") || strings.HasSuffix(upper, "PM")
		}
	}
	switch {
	case fits[YearFirst]:
		return YearFirst
	case fits[MonthFirst] && (half || !fits[DayFirst]):
		return MonthFirst
	}
	return DayFirst
}

// grows reports whether the time always grows, read in one way.
func (t *table) grows(w timing) bool {
	l := Layout{TimeColumn: w.column + 1, DateColumn: w.date + 1, TimeForm: w.form, DateOrder: w.order, Decimal: t.decimal}
	s := sampler{layout: l, decimal: t.decimal[0]}
	last := 0.0
	for i, row := range t.rows {
		cells := make([][]byte, len(row))
		for k, c := range row {
			cells[k] = []byte(c)
		}
		at, wrong := s.time(i, cells)
		if wrong != nil || i > 0 && at <= last {
			return false
		}
		last = at
		s.sum.Rows++
	}
	return true
}

// findColumns lists every column besides the time, with what it is likely to be.
func (t *table) findColumns(g *Guess, preamble []string) {
	common := unitOfPreamble(preamble)
	written := common != ""
	for i := range t.columns {
		if i+1 == g.Layout.TimeColumn || i+1 == g.Layout.DateColumn {
			continue
		}
		kinds, name := t.kinds(i), t.name(i)
		if name == "" && kinds[numberCell] == 0 && kinds[openCell] == 0 {
			continue // the empty column behind a separator at the end of each line
		}
		c := Column{Number: i + 1, Name: name, Role: t.roleOf(i, kinds), Unit: unitOfName(t.unit(i), 1)}
		if c.Unit == "" {
			c.Unit = unitOfName(name, 2)
		}
		if c.Unit == "" {
			c.Unit = t.unitOfCells(i)
		}
		written = written || c.Unit != "" && c.Role != LeftOut
		if c.Unit == "" {
			c.Unit = common
		}
		if c.Unit == "" {
			c.Unit = "C"
		}
		if c.Name == "" {
			c.Name = "Column " + strconv.Itoa(c.Number)
		}
		g.Layout.Columns = append(g.Layout.Columns, c)
	}
	g.UnitWritten = written
	if !written {
		note(g, "Nothing says whether the temperatures are in °C or °F; °C is assumed.")
	}
}

var otherWords = []string{"%", "rh", "humidity", "feuchte", "volt", "volts", "v", "mv", "battery", "batt", "bat", "pressure", "bar", "mbar", "hpa", "psi", "event", "alarm", "status",
	"marker", "dew", "speed", "ma", "average", "avg", "mean", "delta", "cj", "junction", "internal"}

// roleOf says what a column is likely to be.
func (t *table) roleOf(column int, kinds map[cellKind]int) Role {
	words := tokens(t.name(column) + " " + t.unit(column))
	switch {
	case 2*(kinds[wordCell]+kinds[dateCell]+kinds[timeCell]+kinds[stampCell]) > len(t.rows), anyOf(words, otherWords...), anyOf(words, indexWords...):
		return LeftOut
	case kinds[numberCell] > 0 && t.grows(timing{column, -1, Seconds, ""}) && unitlessTime(words):
		return LeftOut
	case anyOf(words, "air", "luft", "ofenluft", "umluft", "aire", "ambient", "oven", "ofen", "horno"):
		return Air
	}
	return Metal
}

func unitlessTime(words map[string]bool) bool {
	_, known := unitOfTime(words)
	return known || anyOf(words, "time", "elapsed", "zeit", "tiempo")
}

// unitOfName reads °C or °F from a column's name, such as probe1_f, "Air (°C)" or "T2 [degF]". A C or F alone counts among at
// least so many words: a channel may be called C.
func unitOfName(name string, words int) string {
	lower := strings.ToLower(name)
	for _, u := range []struct {
		unit  string
		words []string
	}{{"F", []string{"°f", "ºf", "fahrenheit"}}, {"C", []string{"°c", "ºc", "celsius"}}} {
		for _, w := range u.words {
			if strings.Contains(lower, w) {
				return u.unit
			}
		}
	}
	have := tokens(name)
	switch {
	case have["degf"] || have["f"] && len(have) >= words:
		return "F"
	case have["degc"] || have["c"] && len(have) >= words:
		return "C"
	}
	return ""
}

// unitOfPreamble reads the unit from the lines above the table, where only one is named.
func unitOfPreamble(preamble []string) string {
	var found string
	for _, line := range preamble {
		unit := unitOfName(line, 2)
		if unit == "" || found != "" && unit != found {
			continue
		}
		lower := strings.ToLower(line)
		if strings.Contains(lower, "unit") || strings.Contains(lower, "einheit") || strings.Contains(lower, "°") || strings.Contains(lower, "deg") || strings.Contains(lower, "fahrenheit") || strings.Contains(lower, "celsius") {
			found = unit
		}
	}
	return found
}

func (t *table) unitOfCells(column int) string {
	for _, row := range t.rows {
		if _, unit, ok := temperature([]byte(row[column]), t.decimal[0]); ok {
			return unit
		}
	}
	return ""
}
