// Package page holds one page per file, each with the view struct it prints above it. A view is ready to print: strings
// are formatted, nothing is computed in markup.
package page

import (
	"regexp"
	"strings"

	"coatbook/web/ui"
)

// chosen returns the choices with the one that has this value marked.
func chosen(choices []ui.Choice, value string) []ui.Choice {
	out := make([]ui.Choice, len(choices))
	for i, c := range choices {
		c.Chosen = c.Value == value
		out[i] = c
	}
	return out
}

func anyAbsent(spots []FilmSpot) bool {
	for _, s := range spots {
		if s.Absent != "" {
			return true
		}
	}
	return false
}

func boolWord(yes bool) string {
	if yes {
		return "true"
	}
	return "false"
}

func gaugeWord(verdict string) string {
	switch verdict {
	case "pass":
		return "verified"
	case "fail":
		return "failed"
	}
	return "not verified this shift"
}

// commaWord is empty for people who write a point, so that the script can test it.
func commaWord(comma bool) string {
	if comma {
		return "yes"
	}
	return ""
}

// A stretch is a part of a sentence: a number with a dash in it, or what stands between two of them.
type stretch struct {
	text   string
	number bool
}

var dashed = regexp.MustCompile(`[A-Za-z0-9.]+(?:-[A-Za-z0-9.]+)+`)

// numbersIn takes a sentence apart at its numbers with a dash, at which a line would break.
func numbersIn(sentence string) (out []stretch) {
	at := 0
	for _, found := range dashed.FindAllStringIndex(sentence, -1) {
		if !strings.ContainsAny(sentence[found[0]:found[1]], "0123456789") {
			continue
		}
		if found[0] > at {
			out = append(out, stretch{text: sentence[at:found[0]]})
		}
		out = append(out, stretch{sentence[found[0]:found[1]], true})
		at = found[1]
	}
	if at < len(sentence) {
		out = append(out, stretch{text: sentence[at:]})
	}
	return out
}
