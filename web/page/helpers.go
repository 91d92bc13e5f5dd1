// Package page holds one page per file, each with the view struct it prints above it. A view is ready to print: strings
// are formatted, nothing is computed in markup.
package page

import "coatbook/web/ui"

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
