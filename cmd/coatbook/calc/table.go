package calc

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

// The bounds of memory: values of one column that a calculation may hold, and bytes of one row.
const (
	mostHeld = 1_000_000
	mostRow  = 1 << 20
)

// A table reads a CSV file row by row. RFC 4180 in UTF-8: a header, the same number of cells in every row, quotes where a cell
// holds a separator. Lines at the top that begin with “# ” are remarks.
type table struct {
	name   string
	csv    *csv.Reader
	limit  *rowLimit
	header []string
	record []string
	before int // lines in front of the header
	end    int // line on which the last row ended
	first  int // line of the first row of values
	line   int // line of the current row
	rows   int
}

// rowLimit ends the reading of a row that never ends, such as one behind a quote that nobody closes.
type rowLimit struct {
	r    io.Reader
	left int
}

var errLongRow = errors.New("row too long")

func (l *rowLimit) Read(p []byte) (int, error) {
	if l.left <= 0 {
		return 0, errLongRow
	}
	n, err := l.r.Read(p[:min(len(p), 4096)])
	l.left -= n
	return n, err
}

// open opens the file of the call, or standard input, and reads the header.
func (c *call) open() (*table, error) {
	name, r := "standard input", c.stdin
	if len(c.args) > 0 && c.args[0] != "-" {
		f, err := os.Open(c.args[0])
		if err != nil {
			return nil, refuse("“%s” cannot be opened: %v", clip(c.args[0]), bare(err))
		}
		name, r, c.file = clip(c.args[0]), f, f
	}
	return newTable(name, r)
}

func (c *call) close() {
	if c.file != nil {
		_ = c.file.Close() // it was only read
	}
}

func newTable(name string, r io.Reader) (*table, error) {
	t := &table{name: name}
	in := bufio.NewReaderSize(r, 64<<10)
	if mark, _ := in.Peek(3); bytes.Equal(mark, []byte("\ufeff")) {
		_, _ = in.Discard(3) // just peeked
	}
	if err := t.skipRemarks(in); err != nil {
		return nil, err
	}
	start, err := in.Peek(in.Size())
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, refuse("%s cannot be read: %v", name, bare(err))
	}
	t.limit = &rowLimit{r: in, left: mostRow}
	t.csv = csv.NewReader(t.limit)
	t.csv.Comma = separator(start)
	t.csv.ReuseRecord = true
	more, err := t.read()
	if err != nil {
		return nil, err
	}
	if !more {
		return nil, refuse("%s is empty; the first line must name the columns", name)
	}
	for _, cell := range t.record {
		t.header = append(t.header, strings.TrimSpace(cell))
	}
	return t, nil
}

func (t *table) skipRemarks(in *bufio.Reader) error {
	for {
		if start, _ := in.Peek(2); string(start) != "# " {
			return nil
		}
		t.before++
		for {
			_, err := in.ReadSlice('\n')
			if errors.Is(err, bufio.ErrBufferFull) {
				continue
			}
			if err != nil && !errors.Is(err, io.EOF) {
				return refuse("%s cannot be read: %v", t.name, bare(err))
			}
			break
		}
	}
}

// separator is the comma, unless the header has none outside quotes and has semicolons or tabs.
func separator(start []byte) rune {
	counts, quoted := map[byte]int{}, false
scan:
	for _, b := range start {
		switch {
		case b == '"':
			quoted = !quoted
		case quoted:
		case b == '\n':
			break scan
		default:
			counts[b]++
		}
	}
	switch {
	case counts[','] > 0:
		return ','
	case counts[';'] > 0:
		return ';'
	case counts['\t'] > 0:
		return '\t'
	}
	return ','
}

// read reads the next record and keeps its line.
func (t *table) read() (more bool, err error) {
	t.limit.left = mostRow
	t.record, err = t.csv.Read()
	if errors.Is(err, io.EOF) {
		return false, nil
	}
	if err != nil {
		return false, t.readError(err)
	}
	t.line, _ = t.csv.FieldPos(0)
	if t.end > 0 && t.line > t.end+1 {
		return false, refuse("%s, line %d: an empty line among the rows", t.name, t.before+t.end+1)
	}
	last := len(t.record) - 1
	lineOfLast, _ := t.csv.FieldPos(last)
	t.end = lineOfLast + strings.Count(t.record[last], "\n")
	t.line += t.before
	for i, cell := range t.record {
		if !utf8.ValidString(cell) || strings.IndexByte(cell, 0) >= 0 {
			return false, refuse("%s, line %d, column %d: this is not text in UTF-8", t.name, t.line, i+1)
		}
	}
	return true, nil
}

func (t *table) readError(err error) error {
	var wrong *csv.ParseError
	switch {
	case errors.Is(err, errLongRow):
		return refuse("%s, line %d: a row of more than %d bytes; perhaps a quote is not closed", t.name, t.before+t.end+1, mostRow)
	case !errors.As(err, &wrong):
		return refuse("%s cannot be read: %v", t.name, bare(err))
	case errors.Is(err, csv.ErrFieldCount):
		have := fmt.Sprintf("%d cells", len(t.record))
		if len(t.record) == 1 {
			have = "1 cell"
		}
		return refuse("%s, line %d, column %d: the row has %s and the header %d; the file may be cut off",
			t.name, t.before+wrong.StartLine, min(len(t.record), len(t.header))+1, have, len(t.header))
	case errors.Is(err, csv.ErrQuote) && wrong.Line > wrong.StartLine:
		return refuse("%s, line %d: a quote that is opened here is not closed properly; the file may be cut off", t.name, t.before+wrong.StartLine)
	}
	return refuse("%s, line %d, character %d: a quote that does not enclose a whole cell; the file may be cut off", t.name, t.before+wrong.Line, wrong.Column)
}

// next moves to the next row of values.
func (t *table) next() (bool, error) {
	more, err := t.read()
	if more {
		t.rows++
		if t.rows == 1 {
			t.first = t.line
		}
	}
	return more, err
}

// each calls visit for every row. A table without rows is refused.
func (t *table) each(visit func() error) error {
	for {
		more, err := t.next()
		if err != nil {
			return err
		}
		if !more {
			break
		}
		if err := visit(); err != nil {
			return err
		}
	}
	if t.rows == 0 {
		return refuse("%s, line %d: there is a header and no row of values", t.name, t.before+1)
	}
	return nil
}

// hold refuses a file with more rows than may be held.
func (t *table) hold() error {
	if t.rows > mostHeld {
		return refuse("%s, line %d: more than %d rows; this calculation holds its values in memory and takes no more", t.name, t.line, mostHeld)
	}
	return nil
}

// column finds a column by its header.
func (t *table) column(name string) (int, error) {
	name = strings.TrimSpace(name)
	at := slices.Index(t.header, name)
	if at < 0 {
		var have []string
		for _, h := range t.header[:min(len(t.header), 12)] {
			have = append(have, "“"+clip(h)+"”")
		}
		return 0, refuse("%s, line %d: there is no column “%s”; the header has %s", t.name, t.before+1, clip(name), strings.Join(have, ", "))
	}
	if slices.Contains(t.header[at+1:], name) {
		return 0, refuse("%s, line %d: two columns are called “%s”", t.name, t.before+1, clip(name))
	}
	return at, nil
}

// columns finds several columns.
func (t *table) columns(names ...string) ([]int, error) {
	var found []int
	for _, name := range names {
		at, err := t.column(name)
		if err != nil {
			return nil, err
		}
		found = append(found, at)
	}
	return found, nil
}

// at says where a cell of the current row stands.
func (t *table) at(column int) string {
	return fmt.Sprintf("%s, line %d, column “%s”", t.name, t.line, clip(t.header[column]))
}

// where says where the values of whole columns stand.
func (t *table) where(columns ...string) string {
	var quoted []string
	for _, c := range columns {
		quoted = append(quoted, "“"+clip(strings.TrimSpace(c))+"”")
	}
	noun, lines := "column", fmt.Sprintf("lines %d to %d", t.first, t.line)
	if len(columns) > 1 {
		noun = "columns"
	}
	if t.rows == 1 {
		lines = fmt.Sprintf("line %d", t.line)
	}
	return fmt.Sprintf("%s, %s, %s %s", t.name, lines, noun, strings.Join(quoted, ", "))
}

// number reads a cell of the current row as a number.
func (t *table) number(column int) (float64, error) {
	v, why := parseNumber(t.record[column])
	if why != "" {
		return 0, refuse("%s: %s", t.at(column), why)
	}
	return v, nil
}

// count reads a cell as a whole number of 0 or more.
func (t *table) count(column int) (int, error) {
	v, err := t.number(column)
	if err != nil {
		return 0, err
	}
	if v != math.Trunc(v) || v < 0 || v > 1e9 {
		return 0, refuse("%s: “%s” is not a count, a whole number from 0 to 1000000000", t.at(column), clip(t.record[column]))
	}
	return int(v), nil
}

// label reads a cell as a name, which must not be empty.
func (t *table) label(column int) (string, error) {
	text := strings.TrimSpace(t.record[column])
	if text == "" {
		return "", refuse("%s: the cell is empty", t.at(column))
	}
	return text, nil
}

var decimal = regexp.MustCompile(`^[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]+)?$`)

// parseNumber reads a number with a decimal point. Blanks around it do not count; anything else that is not part of a plain
// decimal number is refused, NaN, Inf and hexadecimal figures among it. why is empty for a number.
func parseNumber(text string) (v float64, why string) {
	text = strings.TrimSpace(text)
	switch {
	case text == "":
		return 0, "the cell is empty"
	case !isDecimal(text):
		hint := ""
		if isDecimal(strings.Replace(text, ",", ".", 1)) {
			hint = "; use a decimal point"
		}
		return 0, fmt.Sprintf("“%s” is not a number%s", clip(text), hint)
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.Abs(v) > 1e140 {
		return 0, fmt.Sprintf("“%s” is too large; use another unit", clip(text))
	}
	return v, ""
}

// isDecimal decides the usual short cells without the regular expression.
func isDecimal(text string) bool {
	points, digits := 0, 0
	for i := 0; i < len(text); i++ {
		switch b := text[i]; {
		case b >= '0' && b <= '9':
			digits++
		case b == '.':
			points++
		case (b == '-' || b == '+') && i == 0:
		default:
			return decimal.MatchString(text)
		}
	}
	return digits > 0 && points <= 1
}
