package loggerfile

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"
	"unicode/utf16"

	"coatbook/quality"
)

// A layout is one file of our own invention and what it has to be read as.
type layout struct {
	name, text      string
	encode          func(string) []byte
	time            TimeForm
	separator, mark string
	skip            int
	channels        string // role and unit of each column in order, such as "metal C, air C"
	seconds         []float64
	rows            [][]float64 // °C
	start           string
}

var gap = math.NaN()

func utf8BOM(s string) []byte { return append([]byte{0xEF, 0xBB, 0xBF}, s...) }

func utf16Of(order binary.AppendByteOrder, mark bool) func(string) []byte {
	return func(s string) []byte {
		var out []byte
		if mark {
			s = "\uFEFF" + s
		}
		for _, u := range utf16.Encode([]rune(s)) {
			out = order.AppendUint16(out, u)
		}
		return out
	}
}

func latin(s string) []byte {
	var out []byte
	for _, r := range s {
		out = append(out, byte(r))
	}
	return out
}

var layouts = []layout{
	{name: "neutral form", text: "time_s,probe1_c,probe2_c,probe3_c,air_c\n0,25,24.5,,30\n5,26.1,25,24,180\n10,28,26,25,185\n",
		time: Seconds, separator: ",", mark: ".", skip: 1, channels: "metal C, metal C, metal C, air C", seconds: []float64{0, 5, 10},
		rows: [][]float64{{25, 24.5, gap, 30}, {26.1, 25, 24, 180}, {28, 26, 25, 185}}},
	{name: "Fahrenheit, semicolons, decimal commas", text: "Ofenlauf 7;;\nEinheit;°F;\nZeit [min];Kante [°F];Luft [°F]\n0,0;77,0;86,0\n0,5;212,0;392,0\n1,0;392,0;401,0\n",
		time: Minutes, separator: ";", mark: ",", skip: 3, channels: "metal F, air F", seconds: []float64{0, 30, 60}, rows: [][]float64{{25, 30}, {100, 200}, {200, 205}}},
	{name: "the same in Windows-1252", text: "Zeit [min];Kante [°F];Luft [°F]\r\n0,0;77,0;86,0\r\n0,5;212,0;392,0\r\n", encode: latin,
		time: Minutes, separator: ";", mark: ",", skip: 1, channels: "metal F, air F", seconds: []float64{0, 30}, rows: [][]float64{{25, 30}, {100, 200}}},
	{name: "UTF-8 with byte order mark, tabs, h:m:s", text: "Elapsed\tHeavy\tLight\n00:00:00\t25.0\t25.5\n00:00:10\t---\t26.0\n00:00:20\t27.5\tOPEN\n", encode: utf8BOM,
		time: HMS, separator: "\t", mark: ".", skip: 1, channels: "metal C, metal C", seconds: []float64{0, 10, 20}, rows: [][]float64{{25, 25.5}, {gap, 26}, {27.5, gap}}},
	{name: "UTF-16 little endian", text: "t;T1 (°C);T2 (°C)\n0;20,5;21\n60;22,5;23\n", encode: utf16Of(binary.LittleEndian, true),
		time: Seconds, separator: ";", mark: ",", skip: 1, channels: "metal C, metal C", seconds: []float64{0, 60}, rows: [][]float64{{20.5, 21}, {22.5, 23}}},
	{name: "UTF-16 big endian without a mark", text: "seconds|rail|post\n0|20.5|21\n60|22.5|23\n", encode: utf16Of(binary.BigEndian, false),
		time: Seconds, separator: "|", mark: ".", skip: 1, channels: "metal C, metal C", seconds: []float64{0, 60}, rows: [][]float64{{20.5, 21}, {22.5, 23}}},
	{name: "clock, ISO 8601 with zone", text: "stamp,rail\n2026-11-24T14:00:00+01:00,20\n2026-11-24T14:00:05.5+01:00,21\n",
		time: Clock, separator: ",", mark: ".", skip: 1, channels: "metal C", seconds: []float64{0, 5.5}, rows: [][]float64{{20}, {21}}, start: "2026-11-24T14:00:00+01:00"},
	{name: "date and time in two columns, day first", text: "Logger;LG 4\nSerial;0042\n\nNr;Datum;Uhrzeit;Profil unten;Feuchte %\n1;24.11.2026;23:59:50;20,1;40,0\n2;24.11.2026;23:59:55;20,3;40,1\n3;25.11.2026;00:00:00;20,9;40,2\n",
		time: Clock, separator: ";", mark: ",", skip: 4, channels: "left out C, metal C, left out C", seconds: []float64{0, 5, 10}, rows: [][]float64{{20.1}, {20.3}, {20.9}}, start: "2026-11-24T23:59:50Z"},
	{name: "twelve hours, month first, unit in the cells", text: "\"Date\",\"Time\",\"Rail\",\"Oven air\"\n\"11/24/2026\",\"11:59:58 AM\",\"68.0 °F\",\"392 °F\"\n\"11/24/2026\",\"12:00:03 PM\",\"86.0 °F\",\"401 °F\"\n",
		time: Clock, separator: ",", mark: ".", skip: 1, channels: "metal F, air F", seconds: []float64{0, 5}, rows: [][]float64{{20, 200}, {30, 205}}, start: "2026-11-24T11:59:58Z"},
	{name: "month names, unit line, words at the end", text: "# run 12\nDate Time;A;B\n;°C;°C\n24-Nov-2026 08:00;20,0;21,0\n24-Nov-2026 08:01;30,0;n/a\nEnd of data\n",
		time: Clock, separator: ";", mark: ",", skip: 3, channels: "metal C, metal C", seconds: []float64{0, 60}, rows: [][]float64{{20, 21}, {30, gap}}, start: "2026-11-24T08:00:00Z"},
	{name: "no header at all, no unit of time", text: "0 ; 20.0 ; 21\n2 ; 20.5 ; 21\n4 ; 21.0 ; 20.5\n",
		time: Seconds, separator: ";", mark: ".", skip: 0, channels: "metal C, metal C", seconds: []float64{0, 2, 4}, rows: [][]float64{{20, 21}, {20.5, 21}, {21, 20.5}}},
	{name: "quoted decimal commas between commas", text: "Time s,Rail,Air\n0,\"20,5\",\"180,5\"\n1,\"20,6\",\"181,5\"\n",
		time: Seconds, separator: ",", mark: ",", skip: 1, channels: "metal C, air C", seconds: []float64{0, 1}, rows: [][]float64{{20.5, 180.5}, {20.6, 181.5}}},
	{name: "separator at the end of each line, open codes of numbers", text: "Time (s);Ch1;Ch2;\n0;20;1372;\n1;21;-9999;\n2;22;23;\n",
		time: Seconds, separator: ";", mark: ".", skip: 1, channels: "metal C, metal C", seconds: []float64{0, 1, 2}, rows: [][]float64{{20, gap}, {21, gap}, {22, 23}}},
	{name: "time of the day past midnight", text: "Time,Rail\n23:59:55,20\n00:00:00,21\n00:00:05,22\n",
		time: HMS, separator: ",", mark: ".", skip: 1, channels: "metal C", seconds: []float64{0, 5, 10}, rows: [][]float64{{20}, {21}, {22}}},
}

func TestEveryLayoutIsRecognisedAndRead(t *testing.T) {
	for _, l := range layouts {
		t.Run(l.name, func(t *testing.T) {
			body := []byte(l.text)
			if l.encode != nil {
				body = l.encode(l.text)
			}
			g, err := Inspect(bytes.NewReader(body))
			if err != nil {
				t.Fatal(err)
			}
			var roles []string
			for _, c := range g.Layout.Columns {
				roles = append(roles, string(c.Role)+" "+c.Unit)
			}
			if got := strings.Join(roles, ", "); g.Layout.TimeForm != l.time || g.Layout.Separator != l.separator || g.Layout.Decimal != l.mark || g.Layout.Skip != l.skip || got != l.channels {
				t.Errorf("got time %s, separator %q, decimal %q, %d lines before, channels %s\nwant %s, %q, %q, %d, %s", g.Layout.TimeForm, g.Layout.Separator, g.Layout.Decimal, g.Layout.Skip, got,
					l.time, l.separator, l.mark, l.skip, l.channels)
			}
			row := 0
			sum, err := Read(bytes.NewReader(body), g.Layout, func(seconds float64, celsius []float64) error {
				if row < len(l.rows) && (math.Abs(seconds-l.seconds[row]) > 1e-6 || !same(celsius, l.rows[row])) {
					t.Errorf("sample %d: %g s %v, want %g s %v", row+1, seconds, celsius, l.seconds[row], l.rows[row])
				}
				row++
				return nil
			})
			if err != nil || row != len(l.rows) {
				t.Errorf("%d samples, %v, want %d", row, err, len(l.rows))
			}
			if l.start != "" && sum.Start.Format(time.RFC3339) != l.start {
				t.Errorf("starts at %s, want %s", sum.Start.Format(time.RFC3339), l.start)
			}
		})
	}
}

func same(a, b []float64) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if math.IsNaN(a[i]) != math.IsNaN(b[i]) || math.Abs(a[i]-b[i]) > 1e-9 {
			return false
		}
	}
	return true
}

func TestWhatIsNoTableOfSamplesIsRefusedWithLineAndReason(t *testing.T) {
	head := "time_s;rail;air\n0;20,5;21\n5;21,5;22\n10;22,5;23\n"
	for name, c := range map[string]struct{ text, want string }{
		"empty":                       {"", "The file is empty."},
		"blanks only":                 {" \n\n\t\n", "The file is empty."},
		"binary":                      {"PK\x03\x04\x00\x00\x08\x00", "bytes that no text has"},
		"control characters":          {strings.Repeat("\x01\x02\x03,\x05\n", 50), "is not text"},
		"one column":                  {"20.1\n20.2\n20.3\n", "one column only"},
		"a text":                      {"Dear Nadia,\nhere is the profile.\n", "No table of samples"},
		"a page":                      {"<script>alert(1)</script>\n<p>1,2</p>\n", "No table of samples"},
		"mixed decimal marks":         {head + "15;23.5;24\n", "Line 5: “23.5” in column 2 mixes decimal marks"},
		"grouped thousands":           {"time_s,rail\n0,20.5\n1,20.5\n2,\"1,020.5\"\n", "Line 4: “1,020.5” in column 2 mixes decimal marks"},
		"commas for both":             {"time,rail,air\n0,25,3,26,1\n1,25,4,26,2\n", "commas separate the columns and the decimals too"},
		"repeated time":               {head + "10;22,6;23\n", "Line 5: The time of this sample is the same"},
		"time going back":             {head + "9;22,6;23\n", "Line 5: The time goes back by 1 s"},
		"words among the samples":     {head + "pause\n15;23,5;24\n", "Line 5: “pause” in column 1 is not a time"},
		"a word for a temperature":    {head + "15;hot;24\n", "Line 5: “hot” in column 2 is not a temperature"},
		"a column missing":            {head + "15;23,5\n", "Line 5: There are 2 columns; the last channel stands in column 3"},
		"a quotation left open":       {head + "15;\"23,5;24\n", "Line 5: A quotation mark is not closed"},
		"a line without an end":       {head + strings.Repeat("9", 20000), "Line 5: The line is longer than"},
		"one sample":                  {"time_s;rail\n0;20\n", "No table of samples"},
		"not UTF-8 further down":      {head + strings.Repeat("\n", 70000) + "15;23\xB0;24\n", "no characters in utf-8"},
		"half a character at its end": {"\xFF\xFE" + "t\x00;\x00r\x00\n\x000\x00;\x002\x00\n\x001\x00;\x002\x00\n\x002", "middle of a character"},
	} {
		_, err := lookAt([]byte(c.text))
		var wrong *Error
		if !errors.As(err, &wrong) || !strings.Contains(wrong.Error(), c.want) {
			t.Errorf("%s: got %v, want %q", name, err, c.want)
		}
	}
}

// lookAt reads a file as the book does: inspect, then look.
func lookAt(body []byte) (Survey, error) {
	g, err := Inspect(bytes.NewReader(body))
	if err != nil {
		return Survey{}, err
	}
	return Look(bytes.NewReader(body), g.Layout)
}

func TestCorrectedGuessesAreFollowed(t *testing.T) {
	body := []byte("time,a,b\n0,10,20\n1,11,21\n2,12,22\n")
	g, err := Inspect(bytes.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	l := g.Layout
	l.TimeForm, l.Skip = Minutes, 2
	l.Columns[0].Role = LeftOut
	l.Columns[1].Unit = "F"
	s, err := Look(bytes.NewReader(body), l)
	if err != nil || s.Rows != 2 || s.EndS != 60 || len(s.Channels) != 1 || math.Abs(s.Channels[0].HighC-(22-32)/1.8) > 1e-9 {
		t.Errorf("got %+v, %v, want two samples a minute apart, one channel in °F", s, err)
	}
	for name, spoil := range map[string]func(*Layout){
		"no metal":           func(l *Layout) { l.Columns[1].Role = Air },
		"time as a channel":  func(l *Layout) { l.Columns[1].Number = 1 },
		"a strange encoding": func(l *Layout) { l.Encoding = "ebcdic" },
		"a strange form":     func(l *Layout) { l.TimeForm = "weeks" },
		"no mark":            func(l *Layout) { l.Decimal = "" },
		"no separator":       func(l *Layout) { l.Separator = "" },
		"many lines before":  func(l *Layout) { l.Skip = 1 << 20 },
	} {
		bad := l
		bad.Columns = append([]Column{}, l.Columns...)
		spoil(&bad)
		if _, err := Look(bytes.NewReader(body), bad); err == nil {
			t.Errorf("%s was taken", name)
		}
	}
}

// run is a load as a logger sees it: up to a peak within ten minutes, twenty minutes there, down within ten.
func run(peak float64, minute int) float64 {
	switch {
	case minute < 10:
		return 25 + (peak-25)*float64(minute)/10
	case minute < 30:
		return peak
	case minute < 40:
		return peak - (peak-25)*float64(minute-30)/10
	}
	return 25
}

func TestLoadsInOneFileAreSplitWhereTheMetalCoolsDown(t *testing.T) {
	var b strings.Builder
	b.WriteString("min,metal,air\n")
	for i := range 150 {
		air := 205.0
		if i%50 > 44 {
			air = 90 // the door is open
		}
		fmt.Fprintf(&b, "%d,%.1f,%.1f\n", i, run(200-float64(i/50), i%50), air)
	}
	body := []byte(b.String())
	s, err := lookAt(body)
	if err != nil || len(s.Segments) != 3 {
		t.Fatalf("got %v, %v, want 3 loads", s.Segments, err)
	}
	// By hand: the metal is under 60 °C up to minute 2 (60 at 2.0 exactly for 200 °C) and from minute 38.
	for i, want := range []Segment{{60, 2340, 200}, {3060 + 60, 5340, 199}, {6000 + 120, 8340, 198}} {
		if got := s.Segments[i]; math.Abs(got.FromS-want.FromS) > 60 || math.Abs(got.ToS-want.ToS) > 60 || got.PeakC != want.PeakC {
			t.Errorf("load %d: got %+v, want about %+v", i+1, got, want)
		}
	}
	g, _ := Inspect(bytes.NewReader(body))
	g.Layout.SplitBy, g.Layout.SplitC = Air, 120
	s, err = Look(bytes.NewReader(body), g.Layout)
	if err != nil || len(s.Segments) != 3 || s.Segments[1].FromS != 49*60 || s.Segments[1].ToS != 95*60 {
		t.Errorf("by the air: got %v, %v, want 3 loads, the second from 2940 to 5700 s", s.Segments, err)
	}
	g.Layout.SplitC = 20
	if s, err = Look(bytes.NewReader(body), g.Layout); err != nil || len(s.Segments) != 1 || s.Segments[0] != (Segment{0, 149 * 60, 205}) {
		t.Errorf("never under 20 °C: got %v, %v, want the whole file", s.Segments, err)
	}
}

func TestFahrenheitWithoutAWordIsPointedOut(t *testing.T) {
	s, err := lookAt([]byte("min,rail\n0,77\n10,392\n20,395\n30,120\n"))
	if err != nil || len(s.Warnings) != 1 || !strings.Contains(s.Warnings[0], "Is the file in °F?") {
		t.Errorf("got %q, %v", s.Warnings, err)
	}
}

// endless is a file of any length, made as it is read.
type endless struct{ row int }

func (e *endless) Read(p []byte) (int, error) {
	n := 0
	for n+32 < len(p) {
		if e.row == 0 {
			n += copy(p[n:], "time_s,rail\n")
		}
		n += copy(p[n:], fmt.Sprintf("%d,%d.5\n", e.row, 20+e.row%180))
		e.row++
	}
	return n, nil
}

func TestFileWithoutAnEndIsRefusedInBoundedMemory(t *testing.T) {
	l := Layout{Encoding: UTF8, Separator: ",", Decimal: ".", Skip: 1, TimeColumn: 1, TimeForm: Seconds, SplitBy: Metal, SplitC: 60, Columns: []Column{{Number: 2, Name: "rail", Role: Metal, Unit: "C"}}}
	rows := 0
	_, err := Read(&endless{}, l, func(float64, []float64) error { rows++; return nil })
	var wrong *Error
	if !errors.As(err, &wrong) || !strings.Contains(wrong.Reason, "more than 1000000 samples") || wrong.Line != maxRows+2 {
		t.Errorf("after %d samples: %v", rows, err)
	}
	text, layout := large(2000, 12), largeLayout(12)
	per := testing.AllocsPerRun(1, func() {
		if _, err := Read(strings.NewReader(text), layout, func(float64, []float64) error { return nil }); err != nil {
			t.Fatal(err)
		}
	})
	if per > 40 {
		t.Errorf("2000 samples make %.0f allocations: memory grows with the file", per)
	}
}

func large(rows, channels int) string {
	var b strings.Builder
	b.WriteString("time_s")
	for c := range channels {
		fmt.Fprintf(&b, ",probe%d_c", c+1)
	}
	b.WriteByte('\n')
	for i := range rows {
		fmt.Fprintf(&b, "%d", i)
		for c := range channels {
			fmt.Fprintf(&b, ",%.1f", 20+float64((i*7+c*13)%1800)/10)
		}
		b.WriteByte('\n')
	}
	return b.String()
}

func largeLayout(channels int) Layout {
	l := Layout{Encoding: UTF8, Separator: ",", Decimal: ".", Skip: 1, TimeColumn: 1, TimeForm: Seconds, SplitBy: Metal, SplitC: 60}
	for c := range channels {
		l.Columns = append(l.Columns, Column{Number: c + 2, Name: fmt.Sprintf("probe%d_c", c+1), Role: Metal, Unit: "C"})
	}
	return l
}

func BenchmarkLook100kSamples12Channels(b *testing.B) {
	text := large(100_000, 12)
	layout := largeLayout(12)
	b.SetBytes(int64(len(text)))
	b.ReportAllocs()
	for b.Loop() {
		if s, err := Look(strings.NewReader(text), layout); err != nil || s.Rows != 100_000 {
			b.Fatal(s.Rows, err)
		}
	}
}

// What a saved file takes: it is read and its channels are measured.
func BenchmarkMeasure100kSamples12Channels(b *testing.B) {
	text, layout := large(100_000, 12), largeLayout(12)
	var names []string
	for _, c := range layout.Columns {
		names = append(names, c.Name)
	}
	b.ReportAllocs()
	for b.Loop() {
		p, err := quality.NewProfiler(quality.ProfileSettings{AboveC: 180, ReferenceC: 200, ActivationKJMol: 60}, names...)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := Read(strings.NewReader(text), layout, p.Add); err != nil {
			b.Fatal(err)
		}
		if profile, err := p.Profile(); err != nil || profile.Rows != 100_000 {
			b.Fatal(profile.Rows, err)
		}
	}
}

func FuzzLoggerFile(f *testing.F) {
	for _, l := range layouts {
		body := []byte(l.text)
		if l.encode != nil {
			body = l.encode(l.text)
		}
		f.Add(body)
	}
	f.Add([]byte("\xFF\xFE\x00"))
	f.Fuzz(func(t *testing.T, body []byte) {
		g, err := Inspect(bytes.NewReader(body))
		if err != nil {
			var wrong *Error
			if !errors.As(err, &wrong) || wrong.Reason == "" {
				t.Fatalf("refused without a reason: %v", err)
			}
			return
		}
		last, rows := -1.0, 0
		_, err = Read(bytes.NewReader(body), g.Layout, func(seconds float64, celsius []float64) error {
			if !(seconds > last) || len(celsius) != len(g.Layout.Channels()) {
				t.Fatalf("sample at %v s after %v s with %d channels", seconds, last, len(celsius))
			}
			for _, c := range celsius {
				if !math.IsNaN(c) && !(c >= -50 && c <= 500) {
					t.Fatalf("%v °C is no temperature of an oven", c)
				}
			}
			last = seconds
			rows++
			return nil
		})
		var wrong *Error
		if err != nil && !errors.As(err, &wrong) {
			t.Fatalf("refused without a reason: %v", err)
		}
		s, err := Look(bytes.NewReader(body), g.Layout)
		if err == nil {
			for i, seg := range s.Segments {
				if !(seg.ToS > seg.FromS) || i > 0 && seg.FromS < s.Segments[i-1].ToS {
					t.Fatalf("loads %v", s.Segments)
				}
			}
		}
	})
}
