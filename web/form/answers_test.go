package form

import (
	"net/url"
	"strings"
	"testing"
	"time"
)

var storage = Entry{Kind: Number, Name: "storage", Label: "Warmest storage", Unit: "°C", Low: 0, High: 50}

func with(name, text string) *Answers { return New(url.Values{name: {text}}) }

func TestNumbersAreReadAsTyped(t *testing.T) {
	for text, want := range map[string]float64{"25": 25, " 25.5 ": 25.5, "0": 0, "50": 50, ".5": 0.5, "+3": 3} {
		a := with("storage", text)
		if got := a.Number(storage); got == nil || *got != want || !a.OK() {
			t.Errorf("%q: got %v, %v, want %v °C", text, got, a.Wrong, want)
		}
	}
}

func TestBadNumbersComeBackWithASentenceThatQuotesThem(t *testing.T) {
	for _, text := range []string{"3,2", "-1", "2.8.1", "1e9", "1e308", "NaN", "Inf", "-Inf", "0x10", "8420", "seven", "1 000", "--5", "５", strings.Repeat("9", 10000)} {
		a := with("storage", text)
		got := a.Number(storage)
		sentence := a.Wrong["storage"]
		if got != nil || !strings.Contains(sentence, "0 to 50 °C") || !strings.Contains(sentence, "“"+text[:1]) {
			t.Errorf("%.20q: got %v and %q, want no number and a sentence with the range", text, got, sentence)
		}
		if len(sentence) > 300 {
			t.Errorf("%.20q: the sentence has %d bytes", text, len(sentence))
		}
		if a.Values.Get("storage") != text {
			t.Errorf("%.20q: the typed text was lost", text)
		}
	}
}

func TestEmptyIsAnErrorOnlyWhereSomethingIsAsked(t *testing.T) {
	a := with("storage", "  ")
	if a.Number(storage) != nil || a.OK() {
		t.Error("an empty number was accepted")
	}
	optional := storage
	optional.Optional = true
	a = with("storage", "")
	if a.Number(optional) != nil || !a.OK() {
		t.Errorf("an empty optional number was refused: %v", a.Wrong)
	}
}

func TestWholeNumbersHaveNoPoint(t *testing.T) {
	welds := Entry{Kind: Whole, Name: "welds", Label: "Welds", Low: 0, High: 60}
	for text, ok := range map[string]bool{"0": true, "60": true, "61": false, "-1": false, "2.0": false, "1e1": false, "99999999999999999999": false, "": false} {
		a := with("welds", text)
		a.Whole(welds)
		if a.OK() != ok {
			t.Errorf("%q: accepted %v, want %v", text, a.OK(), ok)
		}
	}
}

func TestDatesAreDays(t *testing.T) {
	made := Entry{Kind: Date, Name: "made", Label: "Made on"}
	a := with("made", "2026-02-28")
	if got := a.Date(made); !got.Equal(time.Date(2026, 2, 28, 0, 0, 0, 0, time.UTC)) {
		t.Errorf("got %v", got)
	}
	for _, text := range []string{"2026-02-30", "28/02/2026", "0026-02-28", "9999-01-01", "yesterday", ""} {
		a := with("made", text)
		if got := a.Date(made); !got.IsZero() || a.OK() {
			t.Errorf("%q: got %v, want a sentence", text, got)
		}
	}
}

func TestWordsAreBoundedAndPrintable(t *testing.T) {
	name := Entry{Kind: Text, Name: "name", Label: "Name", Max: 8}
	for text, ok := range map[string]bool{"Åse Øyen": true, "ninechars": false, "a\x00b": false, "a\x1bb": false, "\xff": false, "": false} {
		a := with("name", text)
		a.Text(name)
		if a.OK() != ok {
			t.Errorf("%q: accepted %v, want %v (%v)", text, a.OK(), ok, a.Wrong)
		}
	}
}

func TestOnlyListedAnswersAreTaken(t *testing.T) {
	kind := Entry{Kind: Pick, Name: "kind", Label: "Kind", Options: []Option{{"weld", "Weld"}, {"wash", "Wash"}}}
	a := with("kind", "oven")
	if a.Pick(kind) != "" || a.OK() {
		t.Error("an answer that is not on the list was taken")
	}
	many := kind
	many.Kind = Many
	a = New(url.Values{"kind": {"wash", "weld"}})
	if got := a.Many(many); len(got) != 2 || got[0] != "weld" {
		t.Errorf("got %v, want weld and wash in the order of the list", got)
	}
	a = New(url.Values{"kind": {"wash", "root"}})
	if a.Many(many); a.OK() {
		t.Error("one answer of several is not on the list and was let by")
	}
	a = New(nil)
	if a.Many(many); a.OK() {
		t.Error("no answer was taken for one")
	}
}

func TestRangeStandsBesideTheBox(t *testing.T) {
	for want, e := range map[string]Entry{
		"0 to 50 °C":             storage,
		"0.5 to 50 mm, optional": {Kind: Number, Unit: "mm", Low: 0.5, High: 50, Optional: true},
		"letters and digits":     {Kind: Text, Hint: "letters and digits"},
		"optional":               {Kind: Text, Optional: true},
		"1 to 9, at each spot":   {Kind: Whole, Low: 1, High: 9, Hint: "at each spot"},
	} {
		if got := e.Range(); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}

func FuzzNumber(f *testing.F) {
	for _, seed := range []string{"25", "3,2", "NaN", "1e308", "-", ".", "٣"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		a := with("storage", text)
		got := a.Number(storage)
		if (got == nil) != !a.OK() {
			t.Fatalf("%q: %v with %v: either a number or a sentence", text, got, a.Wrong)
		}
		if got != nil && !(*got >= 0 && *got <= 50) {
			t.Fatalf("%q: %v is outside 0 to 50", text, *got)
		}
	})
}
