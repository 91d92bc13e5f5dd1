// Package loggerfile reads what a temperature data logger wrote: text in columns, in whatever layout its maker chose.
//
// Inspect guesses the layout of a file; people correct what it guessed; Read then gives the samples one by one. The store
// uses it to measure a cure run from the bytes it keeps, and web to show what will be measured.
package loggerfile

import (
	"fmt"
	"strings"
	"time"
)

// An Error says why a file is not read, and at which line: 0 for the file as a whole.
type Error struct {
	Line   int
	Reason string // a sentence
}

func (e *Error) Error() string {
	if e.Line > 0 {
		return fmt.Sprintf("Line %d: %s", e.Line, e.Reason)
	}
	return e.Reason
}

func fault(line int, format string, args ...any) *Error {
	return &Error{Line: line, Reason: fmt.Sprintf(format, args...)}
}

// An Encoding is how characters are written as bytes.
type Encoding string

// The encodings. A byte order mark is no part of the text in any of them.
const (
	UTF8        Encoding = "utf-8"
	UTF16LE     Encoding = "utf-16le"
	UTF16BE     Encoding = "utf-16be"
	Windows1252 Encoding = "windows-1252"
)

// Encodings lists the encodings.
var Encodings = []Encoding{UTF8, UTF16LE, UTF16BE, Windows1252}

// A TimeForm is how the time of a sample is written.
type TimeForm string

// The forms: elapsed time as a number of milliseconds, seconds, minutes or hours; hh:mm:ss (elapsed or of the day), hh:mm,
// mm:ss; and a clock with its date, in one column or two.
const (
	Milliseconds TimeForm = "ms"
	Seconds      TimeForm = "s"
	Minutes      TimeForm = "min"
	Hours        TimeForm = "h"
	HMS          TimeForm = "h:m:s"
	HM           TimeForm = "h:m"
	MS           TimeForm = "m:s"
	Clock        TimeForm = "clock"
)

// TimeForms lists the forms.
var TimeForms = []TimeForm{Seconds, Minutes, Hours, Milliseconds, HMS, HM, MS, Clock}

// A DateOrder is the order of day, month and year where digits leave it open.
type DateOrder string

// The orders.
const (
	YearFirst  DateOrder = "ymd"
	DayFirst   DateOrder = "dmy"
	MonthFirst DateOrder = "mdy"
)

// DateOrders lists the orders.
var DateOrders = []DateOrder{YearFirst, DayFirst, MonthFirst}

// A Role is what a column is taken for.
type Role string

// The roles.
const (
	Metal   Role = "metal"
	Air     Role = "air"
	LeftOut Role = "left out"
)

// A Column is one column of the file besides its time. Number counts from 1.
type Column struct {
	Number int    `json:"number"`
	Name   string `json:"name"`
	Role   Role   `json:"role"`
	Unit   string `json:"unit"`            // C or F
	Place  string `json:"place,omitempty"` // where on the load its thermocouple sits
}

// A Layout says how a file is laid out. Columns count from 1.
type Layout struct {
	Encoding   Encoding  `json:"encoding"`
	Separator  string    `json:"separator"` // , ; | or a tab
	Decimal    string    `json:"decimal"`   // . or ,
	Skip       int       `json:"skip"`      // lines before the first sample
	TimeColumn int       `json:"time_column"`
	DateColumn int       `json:"date_column,omitempty"` // of a date beside the time of day, 0 for none
	TimeForm   TimeForm  `json:"time_form"`
	DateOrder  DateOrder `json:"date_order,omitempty"`
	Columns    []Column  `json:"columns"`
	// SplitBy and SplitC say how loads are told apart: where the metal, or the air, falls under so many °C.
	SplitBy Role    `json:"split_by"`
	SplitC  float64 `json:"split_c"`
}

// Channels returns the columns that are not left out, in the order in which Read gives their temperatures.
func (l Layout) Channels() []Column {
	var out []Column
	for _, c := range l.Columns {
		if c.Role != LeftOut {
			out = append(out, c)
		}
	}
	return out
}

// Limits of a file. They bound the memory and the time that reading takes, whatever the file holds.
const (
	maxColumns   = 64
	maxLineBytes = 16 << 10
	maxRows      = 1_000_000
	maxSkip      = 1000
	// headBytes is how much of a file is looked at to guess its layout.
	headBytes = 64 << 10
)

// Separators are the marks between columns.
var Separators = []string{";", "\t", "|", ","}

// Validate returns the first thing that keeps a layout from being used, or nil.
func (l Layout) Validate() error {
	switch {
	case l.Encoding != UTF8 && l.Encoding != UTF16LE && l.Encoding != UTF16BE && l.Encoding != Windows1252:
		return fault(0, "The encoding “%s” is not known.", l.Encoding)
	case len(l.Separator) != 1 || !strings.Contains(";\t|,", l.Separator):
		return fault(0, "The columns are separated by a semicolon, a tab, a bar or a comma.")
	case l.Decimal != "." && l.Decimal != ",":
		return fault(0, "Decimals are written with a point or a comma.")
	case l.Skip < 0 || l.Skip > maxSkip:
		return fault(0, "Up to %d lines may come before the first sample.", maxSkip)
	case l.TimeColumn < 1 || l.TimeColumn > maxColumns || l.DateColumn < 0 || l.DateColumn > maxColumns || l.DateColumn == l.TimeColumn:
		return fault(0, "The time needs a column of its own, 1 to %d.", maxColumns)
	case l.TimeForm == Clock && l.DateOrder != YearFirst && l.DateOrder != DayFirst && l.DateOrder != MonthFirst:
		return fault(0, "The order of day, month and year is not chosen.")
	case l.DateColumn > 0 && l.TimeForm != Clock:
		return fault(0, "A column of dates goes with a clock.")
	case len(l.Columns) > maxColumns:
		return fault(0, "The file has %d columns; up to %d are read.", len(l.Columns), maxColumns)
	case l.SplitBy != Metal && l.SplitBy != Air || !(l.SplitC >= 0 && l.SplitC <= 300):
		return fault(0, "Loads are told apart where metal or air falls under a temperature of 0 to 300 °C.")
	}
	known := false
	for _, f := range TimeForms {
		known = known || f == l.TimeForm
	}
	if !known {
		return fault(0, "The form of time “%s” is not known.", l.TimeForm)
	}
	return l.validColumns()
}

func (l Layout) validColumns() error {
	seen := map[int]bool{l.TimeColumn: true, l.DateColumn: l.DateColumn > 0}
	metal := 0
	for _, c := range l.Columns {
		switch {
		case c.Number < 1 || c.Number > maxColumns || seen[c.Number]:
			return fault(0, "Column %d stands there twice, or is the time.", c.Number)
		case c.Role != Metal && c.Role != Air && c.Role != LeftOut:
			return fault(0, "Column %d is metal, air or left out.", c.Number)
		case c.Unit != "C" && c.Unit != "F":
			return fault(0, "Column %d is in °C or °F.", c.Number)
		}
		seen[c.Number] = true
		if c.Role == Metal {
			metal++
		}
	}
	if metal == 0 {
		return fault(0, "No column holds a metal temperature.")
	}
	return nil
}

// A Summary is what Read says of a file as a whole.
type Summary struct {
	Rows int
	// Lines is how many lines the file has, Trailing how many words without a sample follow the last one.
	Lines, Trailing int
	// EndS is the time of the last sample in seconds from the first.
	EndS float64
	// Start is the first sample's time as the logger's clock showed it, the zero time for elapsed times. Its zone is the
	// logger's own where the file names one; else it is UTC and means no zone.
	Start time.Time
	Zoned bool
}
