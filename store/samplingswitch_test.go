package store

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"coatbook/quality"
	"coatbook/quality/sampling"
)

// lotsOfWord makes one lot of each letter: a accepted, r rejected, g between the numbers; a capital was drawn tightened, a
// letter after a minus reduced, any other normal. One is decided each hour.
func lotsOfWord(word string) (lots []decidedLot) {
	severity := sampling.Normal
	for _, c := range word {
		if c == '-' {
			severity = sampling.Reduced
			continue
		}
		l := decidedLot{Number: fmt.Sprint(len(lots) + 1), Severity: severity, State: quality.LotAccepted, At: time.Date(2026, 11, 1, len(lots), 0, 0, 0, time.UTC)}
		switch strings.ToLower(string(c)) {
		case "r":
			l.State = quality.LotRejected
		case "g":
			l.State = quality.LotBetween
		}
		if c < 'a' {
			l.Severity = sampling.Tightened
		}
		lots, severity = append(lots, l), sampling.Normal
	}
	return lots
}

// The rules are those of MIL-STD-105E 4.7 (from memory, unverified); that an acceptance counts only where the lot was inspected
// strictly enough is this book's.
func TestSeverityFollowsTheSequenceOfLots(t *testing.T) {
	for _, c := range []struct {
		word    string
		reduced bool
		now     sampling.Severity
		causes  string
	}{
		{"", true, sampling.Normal, ""},
		{"raaaar", true, sampling.Normal, ""}, // two in six
		{"raaar", true, sampling.Tightened, "1 5"},
		{"rr", true, sampling.Tightened, "1 2"},
		{"rrAAAAA", true, sampling.Normal, "3 4 5 6 7"},
		{"rrAAAARAAAA", true, sampling.Tightened, "1 2"},
		{"rraaaaaAAAA", true, sampling.Tightened, "1 2"}, // five drawn before the switch do not count
		{"rraaaaaAAAAA", true, sampling.Normal, "8 9 10 11 12"},
		{"rrRARARARARA", true, sampling.Discontinued, "3 4 5 6 7 8 9 10 11 12"},
		{"aaaaaaaaaa", true, sampling.Reduced, "1 2 3 4 5 6 7 8 9 10"},
		{"aaaaaaaaaa", false, sampling.Normal, ""},
		{"aaaaaaaaaa-a-g", true, sampling.Normal, "12"},
		{"aaaaaaaaaa-r", true, sampling.Normal, "11"},
		{"aaaaaaaaaar", true, sampling.Normal, "11"}, // drawn before the switch, and rejected
	} {
		now, causes, why := severityAfter(lotsOfWord(c.word), nil, c.reduced)
		var numbers []string
		for _, l := range causes {
			numbers = append(numbers, l.Number)
		}
		if got := strings.Join(numbers, " "); now != c.now || got != c.causes || (why == "") != (c.causes == "") {
			t.Errorf("after %q: %s because of %q (%s), want %s because of %q", c.word, now, got, why, c.now, c.causes)
		}
	}
}

func TestResumedInspectionIsTightened(t *testing.T) {
	lots := lotsOfWord("rrRARARARARAAAAA")
	resumed := []time.Time{lots[11].At.Add(time.Minute)}
	for n, want := range map[int]sampling.Severity{12: sampling.Tightened, 15: sampling.Tightened, 16: sampling.Tightened} {
		if now, _, _ := severityAfter(lots[:n], resumed, false); now != want {
			t.Errorf("after %d lots: %s, want %s", n, now, want)
		}
	}
	if now, _, _ := severityAfter(append(lots, lotsOfWord("AAAAAAAAAAAAAAAAA")[16]), resumed, false); now != sampling.Normal {
		t.Errorf("five accepted since it began again: %s", now)
	}
}
