package page

import (
	"strings"
	"testing"
)

func TestNumbersWithADashAreFoundInASentence(t *testing.T) {
	for sentence, want := range map[string]string{
		"coated, in load L-00145":           "coated, in load |[L-00145]",
		"sample of lot IL-2026-0006, TH-R7": "sample of lot |[IL-2026-0006]|, |[TH-R7]",
		"first-pass yield":                  "first-pass yield",
		"12 parts - empty":                  "12 parts - empty",
		"":                                  "",
	} {
		var got []string
		for _, s := range numbersIn(sentence) {
			if s.number {
				s.text = "[" + s.text + "]"
			}
			got = append(got, s.text)
		}
		if strings.Join(got, "|") != want {
			t.Errorf("%q: %q, want %q", sentence, strings.Join(got, "|"), want)
		}
	}
}
