package loggerfile

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"
)

// A Guess is what a file's first lines say of its layout.
type Guess struct {
	Layout Layout
	// Lines are the first lines as they stand in the file.
	Lines []string
	// Notes say in sentences what nothing in the file says and was assumed.
	Notes []string
	// UnitWritten is whether the file says °C or °F; if not, °C is assumed.
	UnitWritten bool
}

const (
	shownLines = 14
	// splitC is under what any oven bakes at and over what a shop is warm. Common practice.
	splitC = 60
)

// Inspect guesses the layout of a file from its first 64 kB. It returns an *Error for what is no table of samples: an empty
// file, one that is not text, one column only.
func Inspect(r io.Reader) (Guess, error) { return InspectAs(r, "", "") }

// InspectAs is Inspect where the separator, the decimal mark or both are known; empty leaves one to be guessed.
func InspectAs(r io.Reader, separator, decimal string) (Guess, error) {
	head := make([]byte, headBytes)
	n, err := io.ReadFull(r, head)
	cut := err == nil
	if err != nil && !errors.Is(err, io.ErrUnexpectedEOF) && !errors.Is(err, io.EOF) {
		return Guess{}, err
	}
	head = head[:n]
	if len(bytes.TrimSpace(head)) == 0 {
		return Guess{}, fault(0, "The file is empty.")
	}
	encoding := encodingOf(head)
	text, err := textOf(head, encoding, cut)
	if err != nil {
		return Guess{}, err
	}
	table, err := bestTable(text, separator, decimal)
	if err != nil {
		return Guess{Lines: firstLines(text)}, err
	}
	g := Guess{Lines: firstLines(text)}
	g.Layout = Layout{Encoding: encoding, Separator: table.separator, Decimal: table.decimal, Skip: table.start, SplitBy: Metal, SplitC: splitC}
	table.findHeader(text)
	if err := table.findTime(&g); err != nil {
		return g, err
	}
	table.findColumns(&g, text[:table.start])
	if err := g.Layout.Validate(); err != nil {
		return g, err
	}
	return g, nil
}

// textOf returns the lines of a head; the last one is left out where the head was cut from a longer file.
func textOf(head []byte, encoding Encoding, cut bool) ([]string, error) {
	var text []string
	control := 0
	in := newLines(bytes.NewReader(head), encoding)
	for {
		line, err := in.next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			if cut && len(text) > 0 && in.number > len(text) {
				return text, nil // the cut went through a character
			}
			return nil, err
		}
		for _, b := range line {
			if b < 0x20 && b != '\t' && b != '\r' || b == 0x7F {
				control++
			}
		}
		text = append(text, string(line))
	}
	if control > 3 && control > len(head)/200 {
		return nil, fault(1, "The file is not text: it has %d control characters. Export the logger's table as text (CSV).", control)
	}
	if cut && len(text) > 1 {
		text = text[:len(text)-1]
	}
	return text, nil
}

func firstLines(text []string) []string {
	var out []string
	for _, line := range text[:min(len(text), shownLines)] {
		if runes := []rune(line); len(runes) > 200 {
			line = string(runes[:200]) + "…"
		}
		out = append(out, line)
	}
	return out
}

// A table is a run of lines with the same columns, read with one pair of separator and decimal mark.
type table struct {
	separator, decimal string
	start              int // lines before it
	columns            int
	rows               [][]string
	good               int // cells that are numbers, times or codes
	header, units      []string
}

func cellsOf(line, separator string) []string {
	raw, ok := split([]byte(line), separator[0], nil)
	if !ok {
		return nil
	}
	cells := make([]string, len(raw))
	for i, c := range raw {
		cells[i] = string(c)
	}
	return cells
}

// A cellKind is what a cell looks like.
type cellKind int

const (
	wordCell cellKind = iota
	blankCell
	openCell
	numberCell
	timeCell  // hh:mm:ss
	dateCell  // a date
	stampCell // both
)

func kindOf(cell string, decimal byte) cellKind {
	raw := []byte(cell)
	if len(raw) == 0 {
		return blankCell
	}
	if _, _, ok := temperature(raw, decimal); ok {
		return numberCell
	}
	if isOpenCode(raw) {
		return openCell
	}
	rest, _, _, ok := cutOffset(raw)
	if _, n, good := clockParts(rest); ok && good && n >= 2 {
		return timeCell
	}
	for _, order := range DateOrders {
		if _, _, _, good := date(raw, order); good {
			return dateCell
		}
		if _, good := clock(nil, raw, order); good {
			return stampCell
		}
	}
	return wordCell
}

// bestTable tries every pair of separator and decimal mark that is not ruled out and takes the one that makes the most sense of the file.
func bestTable(text []string, knownSeparator, knownDecimal string) (*table, error) {
	var best *table
	var most float64
	for _, separator := range Separators {
		for _, decimal := range []string{".", ","} {
			if knownSeparator != "" && separator != knownSeparator || knownDecimal != "" && decimal != knownDecimal {
				continue
			}
			t := longestRun(text, separator, decimal)
			if t == nil {
				continue
			}
			score := float64(t.good) * float64(t.good) / float64(len(t.rows)*t.columns)
			if score > most*1.0001 {
				best, most = t, score
			}
		}
	}
	if best == nil {
		return nil, noTable(text)
	}
	if best.columns > maxColumns {
		return nil, fault(best.start+1, "There are %d columns; up to %d are read.", best.columns, maxColumns)
	}
	return best, best.bothMarks(text)
}

// noTable says why no run of samples was found.
func noTable(text []string) error {
	single := 0
	for _, line := range text {
		if kindOf(strings.TrimSpace(line), '.') >= numberCell || kindOf(strings.TrimSpace(line), ',') >= numberCell {
			single++
		}
	}
	if single > 1 {
		return fault(1, "There is one column only. A profile needs a time and at least one temperature.")
	}
	return fault(1, "No table of samples was found in the first %d lines: a time and temperatures, separated by semicolons, commas, tabs or bars.", len(text))
}

// bothMarks refuses a file in which commas separate the columns and the decimals too.
func (t *table) bothMarks(text []string) error {
	if t.separator != "," || t.start == 0 {
		return nil
	}
	names := len(cellsOf(text[t.start-1], ","))
	if names > 1 && t.columns > names && t.columns >= 2*names-2 && t.columns <= 2*names {
		return fault(t.start+1, "There are %d columns and %d names: commas separate the columns and the decimals too. Export with semicolons, or with decimal points.", t.columns, names)
	}
	return nil
}

// longestRun finds the longest run of lines that have the same number of columns and hold mostly numbers and times.
func longestRun(text []string, separator, decimal string) *table {
	var best, now *table
	finish := func() {
		if now != nil && len(now.rows) > 1 && (best == nil || now.good > best.good) {
			best = now
		}
		now = nil
	}
	for i, line := range text {
		if strings.TrimSpace(line) == "" {
			continue
		}
		cells := cellsOf(line, separator)
		good, strong, filled := 0, 0, 0
		for _, c := range cells {
			k := kindOf(c, decimal[0])
			if k != blankCell {
				filled++
			}
			if k >= openCell {
				good++
			}
			if k >= numberCell {
				strong++
			}
		}
		if len(cells) < 2 || filled == 0 || good*10 < filled*6 || strong == 0 {
			finish()
			continue
		}
		if now != nil && len(cells) != now.columns {
			finish()
		}
		if now == nil {
			now = &table{separator: separator, decimal: decimal, start: i, columns: len(cells)}
		}
		now.rows = append(now.rows, cells)
		now.good += good
	}
	finish()
	return best
}

// findHeader looks above the samples for the names of the columns and for a line of units.
func (t *table) findHeader(text []string) {
	for i := t.start - 1; i >= 0 && i >= t.start-6; i-- {
		cells := cellsOf(text[i], t.separator)
		if len(cells) < 2 || len(cells) < t.columns-1 || len(cells) > t.columns+1 {
			continue
		}
		if t.units == nil && unitLine(cells) {
			t.units = cells
			continue
		}
		t.header = cells
		return
	}
}

var unitWords = map[string]bool{"s": true, "sec": true, "min": true, "h": true, "ms": true, "c": true, "f": true, "degc": true, "degf": true, "deg c": true, "deg f": true, "v": true,
	"mv": true, "%": true, "%rh": true, "h:m:s": true, "hh:mm:ss": true, "mm:ss": true, "hh:mm": true}

func unitLine(cells []string) bool {
	units := 0
	for _, c := range cells {
		if c == "" {
			continue
		}
		word := strings.ToLower(strings.Trim(c, "[]() °º"))
		if !unitWords[word] {
			return false
		}
		units++
	}
	return units > 0
}

func (t *table) name(i int) string {
	if i < len(t.header) {
		return t.header[i]
	}
	return ""
}

func (t *table) unit(i int) string {
	if i < len(t.units) {
		return t.units[i]
	}
	return ""
}

func note(g *Guess, format string, args ...any) {
	g.Notes = append(g.Notes, fmt.Sprintf(format, args...))
}
