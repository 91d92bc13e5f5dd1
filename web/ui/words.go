package ui

// VerdictClass maps verdicts, gate states and part states to the class that colours them.
func VerdictClass(kind string) string {
	switch kind {
	case "pass", "met", "waived", "released":
		return "v-pass"
	case "fail", "failed", "scrapped":
		return "v-fail"
	case "hold", "on_hold":
		return "v-hold"
	case "guard_band":
		return "v-guard"
	case "incomplete":
		return "v-incomplete"
	}
	return "v-none"
}

func verdictWords(kind, words string) string {
	if words != "" {
		return words
	}
	switch kind {
	case "guard_band":
		return "pass, inside the gauge's uncertainty"
	case "on_hold":
		return "on hold"
	case "none", "missing", "":
		return "not there yet"
	}
	return kind
}

func flagWords(flag string) string {
	switch flag {
	case "guard":
		return "near the limit"
	}
	return flag
}

// optionWords is one line of a list: its label, and its hint after a comma.
func optionWords(c Choice) string {
	if c.Hint == "" {
		return c.Label
	}
	return c.Label + ", " + c.Hint
}
