package loggerfile

import (
	"bytes"
	"time"
)

// clockParts reads up to four groups of digits between colons: hours, minutes, seconds with decimals. It returns the
// seconds that the groups say in their form, and how many groups there are. A day's twelve hours carry AM or PM.
func clockParts(cell []byte) (parts [3]float64, n int, ok bool) {
	pm, am := false, false
	if upper := bytes.ToUpper(cell); bytes.HasSuffix(upper, []byte("PM")) || bytes.HasSuffix(upper, []byte("AM")) {
		pm, am = upper[len(upper)-2] == 'P', upper[len(upper)-2] == 'A'
		cell = trim(cell[:len(cell)-2])
	}
	for n < 3 {
		i := bytes.IndexByte(cell, ':')
		group := cell
		if i >= 0 {
			group = cell[:i]
		}
		if len(group) == 0 || len(group) > 12 || group[0] == '-' || group[0] == '+' {
			return parts, n, false
		}
		mark := byte('.')
		if bytes.IndexByte(group, ',') >= 0 {
			mark = ','
		}
		v, good := number(group, mark)
		if !good || i >= 0 && v != float64(int64(v)) || n > 0 && v >= 60 {
			return parts, n, false
		}
		parts[n] = v
		n++
		if i < 0 {
			if (am || pm) && (parts[0] < 1 || parts[0] > 12) {
				return parts, n, false
			}
			if pm && parts[0] < 12 {
				parts[0] += 12
			} else if am && parts[0] == 12 {
				parts[0] = 0
			}
			return parts, n, n > 1
		}
		cell = cell[i+1:]
	}
	return parts, n, false
}

// elapsed returns the seconds of a cell by its form.
func elapsed(cell []byte, form TimeForm, mark byte) (float64, bool) {
	switch form {
	case Seconds, Milliseconds, Minutes, Hours:
		v, ok := number(cell, mark)
		switch form {
		case Milliseconds:
			v /= 1000
		case Minutes:
			v *= 60
		case Hours:
			v *= 3600
		}
		return v, ok
	}
	parts, n, ok := clockParts(cell)
	switch {
	case !ok || form == HMS && n != 3 || form != HMS && n != 2:
		return 0, false
	case form == MS:
		return parts[0]*60 + parts[1], true
	}
	return parts[0]*3600 + parts[1]*60 + parts[2], true
}

var months = [...]string{"JAN", "FEB", "MAR", "APR", "MAY", "JUN", "JUL", "AUG", "SEP", "OCT", "NOV", "DEC"}

// date reads a date: three groups between - / . or blanks, the month in digits or as its first three English letters.
func date(cell []byte, order DateOrder) (year, month, day int, ok bool) {
	var groups [3][]byte
	n, start := 0, 0
	for i := 0; i <= len(cell); i++ {
		if i < len(cell) && cell[i] != '-' && cell[i] != '/' && cell[i] != '.' && cell[i] != ' ' {
			continue
		}
		if i > start {
			if n == 3 {
				return 0, 0, 0, false
			}
			groups[n] = cell[start:i]
			n++
		}
		start = i + 1
	}
	if n != 3 {
		return 0, 0, 0, false
	}
	y, m, d := groups[0], groups[1], groups[2]
	switch {
	case order == YearFirst || len(groups[0]) == 4:
		if len(y) != 4 {
			return 0, 0, 0, false
		}
	case order == MonthFirst && !isMonthName(groups[1]) || isMonthName(groups[0]):
		m, d, y = groups[0], groups[1], groups[2]
	default:
		d, m, y = groups[0], groups[1], groups[2]
	}
	year, okY := digits(y)
	day, okD := digits(d)
	month, okM := digits(m)
	if isMonthName(m) {
		month, okM = monthOf(m), true
	}
	if len(y) == 2 {
		year += 2000
	}
	if !okY || !okM || !okD || len(y) != 2 && len(y) != 4 || month < 1 || month > 12 || day < 1 || day > 31 || year < 1980 || year > 2199 {
		return 0, 0, 0, false
	}
	// 31 June is no day.
	t := time.Date(year, time.Month(month), day, 0, 0, 0, 0, time.UTC)
	return year, month, day, t.Day() == day
}

func isMonthName(group []byte) bool { return monthOf(group) > 0 }

func monthOf(group []byte) int {
	if len(group) < 3 || len(group) > 9 {
		return 0
	}
	name := string(bytes.ToUpper(group[:3]))
	for i, m := range months {
		if m == name {
			return i + 1
		}
	}
	return 0
}

func digits(group []byte) (int, bool) {
	if len(group) == 0 || len(group) > 4 {
		return 0, false
	}
	v := 0
	for _, b := range group {
		if b < '0' || b > '9' {
			return 0, false
		}
		v = v*10 + int(b-'0')
	}
	return v, true
}

// A stamp is an instant in seconds since 1970 as the clock showed it, with its offset where the cell names one.
type stamp struct {
	seconds float64
	zoned   bool
	offsetS int
}

// clock reads a date and a time of day, from one cell or two. A time with an offset or a Z is counted in UTC.
func clock(dateCell, timeCell []byte, order DateOrder) (stamp, bool) {
	if dateCell == nil {
		i := bytes.IndexAny(timeCell, "Tt")
		if i < 0 || i < 6 || i+1 < len(timeCell) && (timeCell[i+1] < '0' || timeCell[i+1] > '9') {
			// The blank before the time is the last one before a colon.
			colon := bytes.IndexByte(timeCell, ':')
			if colon < 0 {
				return stamp{}, false
			}
			i = bytes.LastIndexByte(timeCell[:colon], ' ')
		}
		if i < 0 {
			return stamp{}, false
		}
		dateCell, timeCell = trim(timeCell[:i]), trim(timeCell[i+1:])
		dateCell = bytes.TrimRight(dateCell, ",")
	}
	year, month, day, ok := date(dateCell, order)
	if !ok {
		return stamp{}, false
	}
	timeCell, offset, zoned, ok := cutOffset(timeCell)
	if !ok {
		return stamp{}, false
	}
	parts, n, ok := clockParts(timeCell)
	if !ok || n < 2 || parts[0] >= 24 {
		return stamp{}, false
	}
	midnight := time.Date(year, time.Month(month), day, 0, 0, 0, 0, time.UTC).Unix()
	return stamp{float64(midnight) + parts[0]*3600 + parts[1]*60 + parts[2] - float64(offset), zoned, offset}, true
}

// cutOffset takes Z, +hh:mm, +hhmm or +hh off the end of a time of day.
func cutOffset(cell []byte) (rest []byte, offsetS int, zoned, ok bool) {
	if n := len(cell); n > 0 && (cell[n-1] == 'Z' || cell[n-1] == 'z') {
		return trim(cell[:n-1]), 0, true, true
	}
	i := bytes.LastIndexAny(cell, "+-")
	if i < 0 {
		return cell, 0, false, true
	}
	text := bytes.ReplaceAll(cell[i+1:], []byte(":"), nil)
	v, good := digits(text)
	if !good || len(text) != 2 && len(text) != 4 {
		return cell, 0, false, false
	}
	if len(text) == 2 {
		v *= 100
	}
	offsetS = (v/100)*3600 + v%100*60
	if cell[i] == '-' {
		offsetS = -offsetS
	}
	return trim(cell[:i]), offsetS, true, v%100 < 60 && v <= 1400
}
