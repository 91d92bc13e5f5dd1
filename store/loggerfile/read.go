package loggerfile

import (
	"bytes"
	"errors"
	"io"
	"math"
	"time"
)

// Read gives the samples of a file one by one: the time in seconds from the first sample, and one temperature in °C for each
// of l.Channels(), NaN where the thermocouple is open or the reading missing. The slice is used again. Memory does not grow
// with the file.
//
// A file that cannot be read as l says gives an *Error with the line; an error of row ends the reading and is returned.
func Read(r io.Reader, l Layout, row func(seconds float64, celsius []float64) error) (Summary, error) {
	if err := l.Validate(); err != nil {
		return Summary{}, err
	}
	s := sampler{layout: l, channels: l.Channels(), row: row, decimal: l.Decimal[0]}
	s.celsius = make([]float64, len(s.channels))
	s.need = max(l.TimeColumn, l.DateColumn)
	for _, c := range s.channels {
		s.need = max(s.need, c.Number)
	}
	in := newLines(r, l.Encoding)
	for {
		line, err := in.next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return s.sum, err
		}
		if in.number <= l.Skip {
			continue
		}
		if err := s.line(in.number, line); err != nil {
			return s.sum, err
		}
	}
	s.sum.Lines = in.number
	switch {
	case s.sum.Rows == 0 && s.pending != nil:
		return s.sum, s.pending
	case s.sum.Rows == 0:
		return s.sum, fault(0, "There is no sample in the file behind its first %d lines.", l.Skip)
	case s.sum.Rows == 1:
		return s.sum, fault(in.number, "There is one sample only. A profile needs at least two.")
	}
	return s.sum, nil
}

// A sampler reads line after line.
type sampler struct {
	layout   Layout
	channels []Column
	decimal  byte
	need     int // columns that a line must have
	row      func(float64, []float64) error
	cells    [][]byte
	celsius  []float64
	sum      Summary
	first    float64 // time of the first sample
	last     float64
	midnight float64 // seconds added since times of the day passed midnight
	dayTime  float64
	pending  *Error // words behind the last sample, which are an error if another sample follows
}

func (s *sampler) line(number int, line []byte) error {
	if len(trim(line)) == 0 {
		return nil
	}
	cells, ok := split(line, s.layout.Separator[0], s.cells)
	s.cells = cells
	if !ok {
		return fault(number, "A quotation mark is not closed.")
	}
	if onlyEmpty(cells) {
		return nil
	}
	at, wrong := s.time(number, cells)
	if wrong != nil {
		if s.words(cells) {
			// The words that some loggers write behind the last sample.
			s.pending = wrong
			s.sum.Trailing++
			return nil
		}
		return wrong
	}
	if s.pending != nil {
		return s.pending
	}
	if err := s.temperatures(number, cells); err != nil {
		return err
	}
	return s.sample(number, at)
}

func onlyEmpty(cells [][]byte) bool {
	for _, c := range cells {
		if len(c) > 0 {
			return false
		}
	}
	return true
}

// words reports whether a line without a time is words: a cell of the time that begins with a letter.
func (s *sampler) words(cells [][]byte) bool {
	first := cells[0]
	if s.layout.TimeColumn <= len(cells) && len(cells[s.layout.TimeColumn-1]) > 0 {
		first = cells[s.layout.TimeColumn-1]
	}
	for _, r := range string(first[:min(len(first), 4)]) {
		return r >= 'A' && r <= 'Z' || r >= 'a' && r <= 'z' || r > 0x7F || r == '#' || r == '*' || r == '-' || r == '['
	}
	return false
}

// time returns the time of a line in seconds.
func (s *sampler) time(number int, cells [][]byte) (float64, *Error) {
	l := s.layout
	if len(cells) < l.TimeColumn || len(cells) < l.DateColumn {
		return 0, fault(number, "There are %d columns; the time stands in column %d.", len(cells), max(l.TimeColumn, l.DateColumn))
	}
	cell := cells[l.TimeColumn-1]
	if l.TimeForm == Clock {
		var day []byte
		if l.DateColumn > 0 {
			day = cells[l.DateColumn-1]
		}
		at, ok := clock(day, cell, l.DateOrder)
		if !ok {
			return 0, fault(number, "“%s” is not a date and time.", clip(bytes.TrimSpace(append(append(append([]byte{}, day...), ' '), cell...))))
		}
		if s.sum.Rows == 0 {
			s.sum.Start, s.sum.Zoned = startOf(at), at.zoned
		}
		return at.seconds, nil
	}
	at, ok := elapsed(cell, l.TimeForm, s.decimal)
	if !ok {
		if numeric := l.TimeForm == Seconds || l.TimeForm == Minutes || l.TimeForm == Hours || l.TimeForm == Milliseconds; numeric && otherMark(cell, s.decimal) {
			return 0, fault(number, "“%s” mixes decimal marks: decimals are read with a %s.", clip(cell), markName(s.decimal))
		}
		return 0, fault(number, "“%s” in column %d is not a time.", clip(cell), l.TimeColumn)
	}
	if l.TimeForm == HMS || l.TimeForm == HM {
		// A time of the day that passes midnight goes on.
		const day = 86400
		if s.sum.Rows > 0 && s.dayTime >= day-3600 && s.dayTime < day && at < 3600 {
			s.midnight += day
		}
		s.dayTime = at
		at += s.midnight
	}
	return at, nil
}

func startOf(at stamp) time.Time {
	whole, part := math.Modf(at.seconds)
	t := time.Unix(int64(whole), int64(math.Round(part*1e3))*1e6).UTC()
	if at.zoned && at.offsetS != 0 {
		return t.In(time.FixedZone("", at.offsetS))
	}
	return t
}

func markName(mark byte) string {
	if mark == ',' {
		return "comma"
	}
	return "point"
}

// temperatures reads the channels of a line.
func (s *sampler) temperatures(number int, cells [][]byte) error {
	if len(cells) < s.need {
		return fault(number, "There are %d columns; the last channel stands in column %d.", len(cells), s.need)
	}
	for i, c := range s.channels {
		cell := cells[c.Number-1]
		value, unit, ok := temperature(cell, s.decimal)
		switch {
		case ok && unit != "" && unit != c.Unit:
			return fault(number, "“%s” in column %d is not in °%s like the rest of the column.", clip(cell), c.Number, c.Unit)
		case ok:
			s.celsius[i] = celsius(value, c.Unit)
		case isOpenCode(cell):
			s.celsius[i] = math.NaN()
		case otherMark(cell, s.decimal):
			return fault(number, "“%s” in column %d mixes decimal marks: decimals are read with a %s.", clip(cell), c.Number, markName(s.decimal))
		default:
			return fault(number, "“%s” in column %d is not a temperature.", clip(cell), c.Number)
		}
	}
	return nil
}

// sample hands on one sample after the one before.
func (s *sampler) sample(number int, at float64) error {
	if s.sum.Rows == 0 {
		s.first = at
	}
	at -= s.first
	switch {
	case s.sum.Rows > 0 && at == s.last:
		return fault(number, "The time of this sample is the same as the one before it.")
	case s.sum.Rows > 0 && at < s.last:
		return fault(number, "The time goes back by %.6g s.", s.last-at)
	case s.sum.Rows >= maxRows:
		return fault(number, "There are more than %d samples.", maxRows)
	case !(at <= 1e9):
		return fault(number, "The time is %.6g s after the first sample.", at)
	}
	s.last = at
	s.sum.Rows++
	s.sum.EndS = at
	return s.row(at, s.celsius)
}
