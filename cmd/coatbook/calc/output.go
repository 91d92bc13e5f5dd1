package calc

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"coatbook/quality/process"
)

// An object is a list of named values, printed in its order.
type object []field

type field struct {
	key   string
	value any
}

// json renders the result as one object on one line, notes last. Floats are the shortest text that reads back as the same
// number.
func (r *result) json() ([]byte, error) {
	notes := r.notes
	if notes == nil {
		notes = []string{}
	}
	b, err := appendJSON(nil, append(r.values[:len(r.values):len(r.values)], field{"notes", notes}))
	return append(b, '\n'), err
}

func appendJSON(b []byte, value any) ([]byte, error) {
	switch v := value.(type) {
	case object:
		b = append(b, '{')
		for i, f := range v {
			if i > 0 {
				b = append(b, ',')
			}
			b = append(strconv.AppendQuote(b, f.key), ':')
			var err error
			if b, err = appendJSON(b, f.value); err != nil {
				return nil, fmt.Errorf("%s: %w", f.key, err)
			}
		}
		return append(b, '}'), nil
	case []object:
		b = append(b, '[')
		for i, o := range v {
			if i > 0 {
				b = append(b, ',')
			}
			var err error
			if b, err = appendJSON(b, o); err != nil {
				return nil, err
			}
		}
		return append(b, ']'), nil
	case *process.Interval:
		if v == nil {
			return append(b, "null"...), nil
		}
		value = []float64{v.Low, v.High}
	}
	var text bytes.Buffer
	e := json.NewEncoder(&text)
	e.SetEscapeHTML(false)
	if err := e.Encode(value); err != nil {
		return nil, refuse("a figure is too large to be computed; use another unit")
	}
	return append(b, bytes.TrimSpace(text.Bytes())...), nil
}

// table renders the result for people.
func (r *result) table() []byte {
	values := r.text
	if values == nil {
		values = r.values
	}
	var b strings.Builder
	width := 0
	for _, f := range values {
		width = max(width, utf8.RuneCountInString(words(f.key)))
	}
	for _, f := range values {
		switch v := f.value.(type) {
		case object:
			if v == nil {
				line(&b, width, f.key, "not defined")
				continue
			}
			line(&b, width, f.key, "")
			for _, inner := range v {
				line(&b, width, "  "+inner.key, shown(inner.value))
			}
		case []object:
			grid(&b, f.key, v)
		case []string:
			sentenceList(&b, f.key, v)
		default:
			line(&b, width, f.key, shown(f.value))
		}
	}
	sentenceList(&b, "note", r.notes)
	return []byte(b.String())
}

func line(b *strings.Builder, width int, key, value string) {
	text := words(key)
	b.WriteString(text)
	if value != "" {
		b.WriteString(strings.Repeat(" ", max(width-utf8.RuneCountInString(text), 0)+2) + value)
	}
	b.WriteByte('\n')
}

func sentenceList(b *strings.Builder, key string, sentences []string) {
	for _, s := range sentences {
		b.WriteString(words(key) + ": " + s + "\n")
	}
}

// grid prints rows that all have the same keys.
func grid(b *strings.Builder, key string, rows []object) {
	if len(rows) == 0 {
		b.WriteString(words(key) + ": none\n")
		return
	}
	if b.Len() > 0 && !strings.HasSuffix(b.String(), "\n\n") {
		b.WriteByte('\n')
	}
	b.WriteString(words(key) + "\n")
	cells := [][]string{nil}
	for _, f := range rows[0] {
		cells[0] = append(cells[0], words(f.key))
	}
	for _, row := range rows {
		var texts []string
		for _, f := range row {
			texts = append(texts, shown(f.value))
		}
		cells = append(cells, texts)
	}
	widths := make([]int, len(cells[0]))
	for _, row := range cells {
		for i, text := range row {
			widths[i] = max(widths[i], utf8.RuneCountInString(text))
		}
	}
	for _, row := range cells {
		var out strings.Builder
		for i, text := range row {
			gap := strings.Repeat(" ", widths[i]-utf8.RuneCountInString(text))
			if i == 0 {
				out.WriteString("  " + text + gap)
			} else if _, isText := rows[0][i].value.(string); isText {
				out.WriteString("  " + text + gap)
			} else {
				out.WriteString("  " + gap + text)
			}
		}
		b.WriteString(strings.TrimRight(out.String(), " ") + "\n")
	}
	b.WriteByte('\n')
}

// words turns a key into words.
func words(key string) string { return strings.ReplaceAll(key, "_", " ") }

// shown prints one value for people.
func shown(value any) string {
	switch v := value.(type) {
	case nil:
		return "not defined"
	case float64:
		return rounded(v)
	case *float64:
		if v == nil {
			return "not defined"
		}
		return rounded(*v)
	case *int:
		if v == nil {
			return "not defined"
		}
		return strconv.Itoa(*v)
	case *process.Interval:
		if v == nil {
			return "not defined"
		}
		return rounded(v.Low) + " to " + rounded(v.High)
	case bool:
		if v {
			return "yes"
		}
		return "no"
	case []float64:
		return list(v, rounded)
	case []*float64:
		return list(v, func(f *float64) string { return shown(f) })
	case []int:
		return list(v, strconv.Itoa)
	case []string:
		return strings.Join(v, ", ")
	}
	return fmt.Sprint(value)
}

func list[T any](values []T, text func(T) string) string {
	var out []string
	for _, v := range values {
		out = append(out, text(v))
	}
	return strings.Join(out, ", ")
}

// rounded prints seven significant digits, which is more than any gauge gives.
func rounded(v float64) string {
	size := math.Abs(v)
	if size != 0 && (size < 1e-5 || size >= 1e15) {
		return strconv.FormatFloat(v, 'g', 7, 64)
	}
	decimals := 6
	if size >= 1 {
		decimals = max(0, 6-int(math.Log10(size)))
	} else if size > 0 {
		decimals = 6 - int(math.Floor(math.Log10(size)))
	}
	text := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	if text == "-0" {
		return "0"
	}
	return text
}

// ifGiven returns the value, or nil where there is none: for keys that are null.
func ifGiven[T any](given bool, value T) any {
	if !given {
		return nil
	}
	return value
}
