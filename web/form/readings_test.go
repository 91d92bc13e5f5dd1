package form

import (
	"net/url"
	"strings"
	"testing"

	"coatbook/quality"
)

var film = Slot{Name: "film-1-1", Label: "Spot 1, reading 1", Characteristic: "film_thickness", Spot: 1, Rep: 1, Unit: quality.Micrometre}

func TestReadingKeepsDigitsSourceAndPlace(t *testing.T) {
	a := New(url.Values{"film-1-1": {" 84.20 "}, "film-1-1-source": {"wedge"}, "film-1-1-raw": {"84.20"}})
	r, ok := a.Reading(film, false)
	if !ok || r.Text != "84.20" || r.Value != 84.2 || r.Source != "wedge" || r.Spot != 1 || r.Rep != 1 || r.Unit != quality.Micrometre {
		t.Errorf("got %+v, %v, %v", r, ok, a.Wrong)
	}
}

func TestBadReadingsComeBackWithASentence(t *testing.T) {
	for _, text := range []string{"3,2", "-1", "2.8.1", "", "1e9", "NaN", "8420", "seven"} {
		a := New(url.Values{"film-1-1": {text}})
		if r, ok := a.Reading(film, false); ok || !strings.HasPrefix(a.Wrong["film-1-1"], "Spot 1, reading 1") {
			t.Errorf("%q: got %+v and %q, want no reading and a sentence that names the field", text, r, a.Wrong["film-1-1"])
		}
		if a.Values.Get("film-1-1") != text {
			t.Errorf("%q: the typed text was lost", text)
		}
	}
}

func TestCommaIsADecimalMarkOnlyForThoseWhoWriteItSo(t *testing.T) {
	a := New(url.Values{"film-1-1": {"84,2"}})
	if _, ok := a.Reading(film, false); ok || !strings.Contains(a.Wrong["film-1-1"], "write 84.2") {
		t.Errorf("got %q, want the way out", a.Wrong["film-1-1"])
	}
	a = New(url.Values{"film-1-1": {"84,2"}})
	if r, ok := a.Reading(film, true); !ok || r.Value != 84.2 {
		t.Errorf("got %+v, %v, want 84.2 µm", r, a.Wrong)
	}
}

func TestMicrometresWhereMilsAreDueAreCaught(t *testing.T) {
	a := New(url.Values{"film-1-1": {"76"}})
	slot := film
	slot.Unit = quality.Mil
	if _, ok := a.Reading(slot, false); ok || !strings.Contains(a.Wrong["film-1-1"], "µm") {
		t.Errorf("76 mil: got %q, want a sentence that asks whether it is µm", a.Wrong["film-1-1"])
	}
}

func TestAbsenceIsAValueAndNeverBesideANumber(t *testing.T) {
	for code, absent := range map[string]quality.Absence{"not_measured": quality.NotMeasured, "not_applicable": quality.NotApplicable,
		"below_range": quality.BelowRange, "above_range": quality.AboveRange, "pending": quality.Pending} {
		a := New(url.Values{"film-1-1-absent": {code}})
		if r, ok := a.Reading(film, false); !ok || r.Absence != absent || r.Text != "" {
			t.Errorf("%s: got %+v, %v", code, r, a.Wrong)
		}
	}
	for _, values := range []url.Values{
		{"film-1-1": {"80"}, "film-1-1-absent": {"not_measured"}},
		{"film-1-1-absent": {"lost"}},
	} {
		a := New(values)
		if _, ok := a.Reading(film, false); ok || a.OK() {
			t.Errorf("%v was accepted", values)
		}
	}
}

func anyCode(code string) bool { return code == "2017" || code == "100" }

func TestNoneFoundIsStatedOrAtLeastOneLineGiven(t *testing.T) {
	a := New(nil)
	if a.Defects(anyCode); a.Wrong["lines"] == "" {
		t.Error("a search that says nothing was accepted")
	}
	a = New(url.Values{"none_found": {"1"}})
	if d := a.Defects(anyCode); !a.OK() || len(d) != 1 || d[0].Code != quality.NoneFound {
		t.Errorf("got %v, %v", d, a.Wrong)
	}
	a = New(url.Values{"none_found": {"1"}, "defect-1-code": {"100"}})
	if a.Defects(anyCode); a.Wrong["lines"] == "" {
		t.Error("none found beside an imperfection was accepted")
	}
}

func TestLinesKeepSizesAsTyped(t *testing.T) {
	a := New(url.Values{"defect-2-code": {"2017"}, "defect-2-place": {"weld 3"}, "defect-2-size": {"0.40"}, "defect-2-length": {"2"}})
	d := a.Defects(anyCode)
	if !a.OK() || len(d) != 1 || *d[0].SizeMM != 0.4 || d[0].SizeText != "0.40" || *d[0].LengthMM != 2 || d[0].Count != 1 {
		t.Errorf("got %+v, %v", d, a.Wrong)
	}
}

func TestBadLinesSayWhichLine(t *testing.T) {
	for _, values := range []url.Values{
		{"defect-2-place": {"weld 3"}},
		{"defect-2-code": {"9999"}},
		{"defect-2-code": {"100"}, "defect-2-size": {"-1"}},
		{"defect-2-code": {"100"}, "defect-2-size": {"3,2"}},
		{"defect-2-code": {"100"}, "defect-2-count": {"0"}},
	} {
		a := New(values)
		if a.Defects(anyCode); !strings.HasPrefix(a.Wrong["defect-2"], "Line 2: ") {
			t.Errorf("%v: got %v", values, a.Wrong)
		}
	}
}

func TestCodesCarryTheirType(t *testing.T) {
	for text, want := range map[string]Code{
		"LOT.88-1403": {"LOT", "88-1403"}, " lot.88-1403": {"LOT", "88-1403"}, "TH-24117-03": {"", "TH-24117-03"},
		"88.1403": {"", "88.1403"}, "LOT.": {"", "LOT."}, "PART.TH.1": {"PART", "TH.1"},
	} {
		if got := ParseCode(text); got != want {
			t.Errorf("%q: got %v, want %v", text, got, want)
		}
	}
}

func FuzzReading(f *testing.F) {
	for _, seed := range []string{"84.2", "84,2", "84.2 um", "3.3 mil", "NaN", "1e9", "-", "µ", "\x00"} {
		f.Add(seed, false)
	}
	f.Fuzz(func(t *testing.T, text string, comma bool) {
		a := New(url.Values{"film-1-1": {text}})
		r, ok := a.Reading(film, comma)
		if ok == !a.OK() {
			t.Fatalf("%q: %+v with %v: either a reading or a sentence", text, r, a.Wrong)
		}
		if ok {
			if um, err := r.In(quality.Micrometre); err != nil || !(um >= 0 && um <= 1000.0001) {
				t.Fatalf("%q: %v µm (%v) is not plausible", text, um, err)
			}
		}
	})
}
