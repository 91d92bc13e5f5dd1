package store

import (
	"context"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"io"
	"math"
	"strconv"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"coatbook/quality"
)

// An ExportFilter chooses what is exported: shop days, and a job or part number, empty for all.
type ExportFilter struct {
	From, To   time.Time
	Job        string
	PartNumber string
}

func (f ExportFilter) args(st Site, file ExportFile) sqlArgs {
	args := sqlArgs{"site": st.ID, "from": f.From, "to": f.To, "job": f.Job, "part_number": f.PartNumber}
	// These two count by the day of a time that has no shop day of its own.
	if file.Name == partsFile.Name || file.Name == signaturesFile.Name {
		args["zone"] = st.TimeZone
	}
	return args
}

// exportFile finds a file by its name.
func exportFile(name string) (ExportFile, error) {
	for _, f := range exportFiles {
		if f.Name == name {
			return f, nil
		}
	}
	return ExportFile{}, fmt.Errorf("export file %q: %w", name, ErrNotFound)
}

// CountExport returns how many lines, the header aside, a file will have.
func (db *DB) CountExport(ctx context.Context, st Site, name string, f ExportFilter) (int, error) {
	file, err := exportFile(name)
	if err != nil {
		return 0, err
	}
	return value[int](ctx, db.pool, `SELECT count(*)::int`+file.from, f.args(st, file))
}

// flushAt is how many bytes are gathered before they are written on.
const flushAt = 64 << 10

// Export writes a file as CSV (RFC 4180, UTF-8 without mark, CRLF) and returns how many lines it had, the header aside. It
// streams: memory does not grow with the number of rows, and no cell is allocated. When it returns an error the file is cut
// short, and the caller must let the reader notice.
func (db *DB) Export(ctx context.Context, st Site, name string, f ExportFilter, w io.Writer) (lines int64, err error) {
	file, err := exportFile(name)
	if err != nil {
		return 0, err
	}
	cells, sql, formats := file.plan(st.Location())
	rows, err := db.pool.Query(ctx, sql, formats, f.args(st, file))
	if err != nil {
		return 0, fmt.Errorf("exporting %s: %w", name, err)
	}
	defer rows.Close()
	buffer := make([]byte, 0, flushAt+16<<10)
	for i, c := range file.Columns {
		if i > 0 {
			buffer = append(buffer, ',')
		}
		buffer = append(buffer, c.Name...)
	}
	buffer = append(buffer, '\r', '\n')
	for rows.Next() {
		raw := rows.RawValues()
		for i, cell := range cells {
			if i > 0 {
				buffer = append(buffer, ',')
			}
			buffer = cell(buffer, raw)
		}
		buffer = append(buffer, '\r', '\n')
		lines++
		if len(buffer) >= flushAt {
			if _, err := w.Write(buffer); err != nil {
				return lines, fmt.Errorf("exporting %s: %w", name, err)
			}
			buffer = buffer[:0]
		}
	}
	if err := rows.Err(); err != nil {
		return lines, fmt.Errorf("exporting %s: %w", name, err)
	}
	if _, err := w.Write(buffer); err != nil {
		return lines, fmt.Errorf("exporting %s: %w", name, err)
	}
	return lines, nil
}

// A cell appends one column of a row to the line. raw are the row's values as the database sent them, nil for null.
type cell func(line []byte, raw [][]byte) []byte

// plan works out, once for a file, the query with the format of each of its columns, and a writer for each cell.
func (file ExportFile) plan(zone *time.Location) ([]cell, string, pgx.QueryResultFormats) {
	sql, places := "SELECT ", map[string]int{}
	var formats pgx.QueryResultFormats
	// take asks the database for an expression and says where it comes in the row; a time is read once for two columns.
	take := func(expression string, format int16) int {
		if place, ok := places[expression]; ok {
			return place
		}
		place := len(formats)
		if place > 0 {
			sql += ", "
		}
		places[expression] = place
		sql += expression
		formats = append(formats, format)
		return place
	}
	cells := make([]cell, len(file.Columns))
	for i, c := range file.Columns {
		switch {
		case c.sql == "":
			value, characteristic := take("l.value", pgx.BinaryFormatCode), take("l.characteristic", pgx.TextFormatCode)
			cells[i] = unitCell(value, characteristic, quality.Unit(c.Unit))
		case c.Type == Timestamp || c.Type == Local:
			cells[i] = timeCell(take(c.sql, pgx.BinaryFormatCode), zone, c.Type)
		case c.Type == Number && c.Unit != "ms":
			cells[i] = numberCell(take(c.sql, pgx.BinaryFormatCode))
		case c.Name == "record_id":
			cells[i] = uuidCell(take(c.sql, pgx.BinaryFormatCode))
		case c.Type == Boolean:
			cells[i] = boolCell(take(c.sql, pgx.TextFormatCode))
		case c.Type == Text:
			cells[i] = textCell(take(c.sql, pgx.TextFormatCode), true)
		default:
			cells[i] = textCell(take(c.sql, pgx.TextFormatCode), false)
		}
	}
	return cells, sql + file.from + file.order, formats
}

// textCell writes text, quoted where RFC 4180 asks for it. Guarded text that a spreadsheet would run as a formula gets a
// single quote in front; the rule is a list of first characters (OWASP, CSV injection).
func textCell(place int, guarded bool) cell {
	return func(line []byte, raw [][]byte) []byte { return appendText(line, raw[place], guarded) }
}

func appendText(line, text []byte, guarded bool) []byte {
	if len(text) == 0 {
		return line
	}
	guard := guarded && startsFormula(text[0])
	quoted := false
	for _, b := range text {
		if b == '"' || b == ',' || b == '\r' || b == '\n' {
			quoted = true
			break
		}
	}
	if !quoted {
		if guard {
			line = append(line, '\'')
		}
		return append(line, text...)
	}
	line = append(line, '"')
	if guard {
		line = append(line, '\'')
	}
	for _, b := range text {
		if b == '"' {
			line = append(line, '"')
		}
		line = append(line, b)
	}
	return append(line, '"')
}

func startsFormula(b byte) bool {
	switch b {
	case '=', '+', '-', '@', '\t', '\r', '\n', 0:
		return true
	}
	return false
}

// numberCell writes a float with up to 15 significant digits, which every decimal entered with 15 digits or fewer survives,
// so that 3 mil is 76.2 µm and not 76.19999999999999.
func numberCell(place int) cell {
	return func(line []byte, raw [][]byte) []byte {
		if len(raw[place]) != 8 {
			return line
		}
		return appendNumber(line, math.Float64frombits(binary.BigEndian.Uint64(raw[place])))
	}
}

func appendNumber(line []byte, v float64) []byte {
	if v == math.Trunc(v) && math.Abs(v) < 1e15 {
		return strconv.AppendInt(line, int64(v), 10)
	}
	start := len(line)
	line = strconv.AppendFloat(line, v, 'g', 15, 64)
	for _, b := range line[start:] {
		if b == 'e' {
			return strconv.AppendFloat(line[:start], v, 'f', -1, 64)
		}
	}
	return line
}

// unitCell writes a reading's value into the column of its characteristic's unit and leaves the others empty.
func unitCell(value, characteristic int, unit quality.Unit) cell {
	mine := map[string]bool{}
	for _, c := range quality.Characteristics() {
		if c.Canonical() == unit {
			mine[c.Code] = true
		}
	}
	number := numberCell(value)
	return func(line []byte, raw [][]byte) []byte {
		if raw[value] == nil || !mine[string(raw[characteristic])] {
			return line
		}
		return number(line, raw)
	}
}

// epoch is where PostgreSQL's binary times count from, in microseconds.
var epoch = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)

// timeCell writes a time in the site's zone to the millisecond, with the offset or as the wall clock showed it.
func timeCell(place int, zone *time.Location, t ColumnType) cell {
	layout := "2006-01-02T15:04:05.000-07:00"
	if t == Local {
		layout = "2006-01-02T15:04:05.000"
	}
	return func(line []byte, raw [][]byte) []byte {
		if len(raw[place]) != 8 {
			return line
		}
		micros := int64(binary.BigEndian.Uint64(raw[place]))
		return time.UnixMicro(epoch.UnixMicro()+micros).In(zone).AppendFormat(line, layout)
	}
}

func uuidCell(place int) cell {
	return func(line []byte, raw [][]byte) []byte {
		id := raw[place]
		if len(id) != len(uuid.UUID{}) {
			return line
		}
		for i, part := range [][]byte{id[:4], id[4:6], id[6:8], id[8:10], id[10:]} {
			if i > 0 {
				line = append(line, '-')
			}
			line = hex.AppendEncode(line, part)
		}
		return line
	}
}

func boolCell(place int) cell {
	return func(line []byte, raw [][]byte) []byte {
		switch string(raw[place]) {
		case "t":
			return append(line, "true"...)
		case "f":
			return append(line, "false"...)
		}
		return line
	}
}

// Dictionary writes the data dictionary of all exported files: one line a column.
func Dictionary(w io.Writer) error {
	line := []byte("file,column,type,unit,meaning,codes,since_version\r\n")
	for _, file := range exportFiles {
		for _, c := range file.Columns {
			for i, text := range []string{file.Name, c.Name, string(c.Type), c.Unit, c.Meaning, c.Codes, c.Since} {
				if i > 0 {
					line = append(line, ',')
				}
				line = appendText(line, []byte(text), false)
			}
			line = append(line, '\r', '\n')
		}
	}
	_, err := w.Write(line)
	return err
}

// DictionaryLines is how many lines the dictionary has, the header aside.
func DictionaryLines() int {
	n := 0
	for _, file := range exportFiles {
		n += len(file.Columns)
	}
	return n
}
