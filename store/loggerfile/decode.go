package loggerfile

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"unicode/utf16"
	"unicode/utf8"
)

// windows1252 has the characters that Windows-1252 puts where ISO 8859-1 has control characters, 0x80 to 0x9F; 0 is none.
// Source: the WHATWG Encoding Standard, index windows-1252 (from memory, unverified).
var windows1252 = [32]rune{0x20AC, 0, 0x201A, 0x0192, 0x201E, 0x2026, 0x2020, 0x2021, 0x02C6, 0x2030, 0x0160, 0x2039, 0x0152, 0, 0x017D, 0,
	0, 0x2018, 0x2019, 0x201C, 0x201D, 0x2022, 0x2013, 0x2014, 0x02DC, 0x2122, 0x0161, 0x203A, 0x0153, 0, 0x017E, 0x0178}

// encodingOf guesses the encoding of the first bytes of a file: by its byte order mark, by the zero bytes that plain letters
// have in UTF-16, else UTF-8 where that is possible.
func encodingOf(head []byte) Encoding {
	switch {
	case bytes.HasPrefix(head, []byte{0xFF, 0xFE}):
		return UTF16LE
	case bytes.HasPrefix(head, []byte{0xFE, 0xFF}):
		return UTF16BE
	}
	var even, odd int
	for i, b := range head[:min(len(head), 4096)] {
		if b == 0 && i%2 == 0 {
			even++
		} else if b == 0 {
			odd++
		}
	}
	pairs := min(len(head), 4096) / 2
	switch {
	case pairs > 3 && odd > pairs*7/10 && even < pairs/10:
		return UTF16LE
	case pairs > 3 && even > pairs*7/10 && odd < pairs/10:
		return UTF16BE
	}
	// The head may end within a character.
	for cut := 0; cut < utf8.UTFMax && cut <= len(head); cut++ {
		if utf8.Valid(head[:len(head)-cut]) {
			return UTF8
		}
	}
	return Windows1252
}

// errOddByte is what a file in UTF-16 with half a character at its end gives.
var errOddByte = errors.New("loggerfile: half a character at the end")

// A utf16Reader turns UTF-16 into UTF-8.
type utf16Reader struct {
	r     *bufio.Reader
	order binary.ByteOrder
	high  uint16 // half of a pair that waits for the other
	out   []byte
	err   error
}

func (u *utf16Reader) Read(p []byte) (int, error) {
	for len(u.out) == 0 && u.err == nil {
		u.fill()
	}
	if len(u.out) == 0 {
		return 0, u.err
	}
	n := copy(p, u.out)
	u.out = u.out[n:]
	return n, nil
}

func (u *utf16Reader) fill() {
	var raw [4096]byte
	n, err := io.ReadFull(u.r, raw[:])
	if errors.Is(err, io.ErrUnexpectedEOF) {
		err = io.EOF
	}
	u.out = u.out[:0]
	for i := 0; i+1 < n; i += 2 {
		unit := u.order.Uint16(raw[i:])
		switch {
		case u.high != 0:
			u.out = utf8.AppendRune(u.out, utf16.DecodeRune(rune(u.high), rune(unit)))
			u.high = 0
		case unit >= 0xD800 && unit < 0xDC00:
			u.high = unit
		default:
			u.out = utf8.AppendRune(u.out, rune(unit))
		}
	}
	if u.err = err; n%2 == 1 || errors.Is(err, io.EOF) && u.high != 0 {
		u.err = errOddByte
	}
}

// lines gives the lines of a file one by one as UTF-8, without their ends, and bounds their length.
type lines struct {
	r        *bufio.Reader
	encoding Encoding
	number   int // of the line given last
	buf      []byte
}

func newLines(r io.Reader, e Encoding) *lines {
	switch e {
	case UTF16LE:
		r = &utf16Reader{r: bufio.NewReader(r), order: binary.LittleEndian}
	case UTF16BE:
		r = &utf16Reader{r: bufio.NewReader(r), order: binary.BigEndian}
	}
	return &lines{r: bufio.NewReaderSize(r, maxLineBytes), encoding: e}
}

// next returns the next line, valid until the one after it is asked for; io.EOF behind the last.
func (l *lines) next() ([]byte, error) {
	line, err := l.r.ReadSlice('\n')
	switch {
	case errors.Is(err, bufio.ErrBufferFull):
		return nil, fault(l.number+1, "The line is longer than %d bytes. This is not a table of samples.", maxLineBytes)
	case errors.Is(err, errOddByte):
		return nil, fault(l.number+1, "The file ends in the middle of a character of UTF-16. It was cut off; export it again.")
	case err != nil && !errors.Is(err, io.EOF):
		return nil, err
	case len(line) == 0:
		return nil, io.EOF
	}
	l.number++
	line = bytes.TrimSuffix(bytes.TrimSuffix(line, []byte("\n")), []byte("\r"))
	if l.number == 1 {
		line = bytes.TrimPrefix(line, []byte("\uFEFF"))
	}
	if bytes.IndexByte(line, 0) >= 0 {
		return nil, fault(l.number, "There are bytes that no text has. This is not a logger's text file.")
	}
	if l.encoding == Windows1252 {
		l.buf = from1252(l.buf[:0], line)
		return l.buf, nil
	}
	if !utf8.Valid(line) {
		return nil, fault(l.number, "There are bytes that are no characters in %s. Choose another encoding.", l.encoding)
	}
	return line, nil
}

func from1252(out, line []byte) []byte {
	for _, b := range line {
		switch {
		case b < 0x80:
			out = append(out, b)
		case b < 0xA0:
			r := windows1252[b-0x80]
			if r == 0 {
				r = utf8.RuneError
			}
			out = utf8.AppendRune(out, r)
		default:
			out = utf8.AppendRune(out, rune(b))
		}
	}
	return out
}

// split cuts a line into its cells, trimmed; a cell in double quotes may hold the separator. It reports false for a quote
// that is not closed. cells is used again.
func split(line []byte, separator byte, cells [][]byte) ([][]byte, bool) {
	cells = cells[:0]
	for {
		rest := bytes.TrimLeft(line, " ")
		if len(rest) > 0 && rest[0] == '"' {
			end := bytes.IndexByte(rest[1:], '"')
			if end < 0 {
				return cells, false
			}
			cell := rest[1 : end+1]
			line = bytes.TrimLeft(rest[end+2:], " ")
			cells = append(cells, trim(cell))
			if len(line) == 0 {
				return cells, true
			}
			if line[0] != separator {
				return cells, false
			}
			line = line[1:]
			continue
		}
		i := bytes.IndexByte(line, separator)
		if i < 0 {
			return append(cells, trim(line)), true
		}
		cells = append(cells, trim(line[:i]))
		line = line[i+1:]
	}
}

// trim takes blanks off both ends of a cell, the no-break space of some exports included.
func trim(cell []byte) []byte {
	for len(cell) > 0 && (cell[0] == ' ' || cell[0] == '\t') {
		cell = cell[1:]
	}
	for len(cell) > 0 && (cell[len(cell)-1] == ' ' || cell[len(cell)-1] == '\t' || cell[len(cell)-1] == '\r') {
		cell = cell[:len(cell)-1]
	}
	if len(cell) > 1 && (cell[0] == 0xC2 || cell[len(cell)-1] == 0xA0) {
		cell = bytes.Trim(cell, " \u00A0")
	}
	return cell
}
