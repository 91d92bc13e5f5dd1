package quality

import (
	"reflect"
	"slices"
	"strings"
	"testing"
)

func TestWholeSpecIsValidAndAsksForEveryKind(t *testing.T) {
	if wrong := whole.Validate(); len(wrong) > 0 {
		t.Errorf("objections: %v", wrong)
	}
	if got := whole.Asks(); !slices.Equal(got, Kinds) {
		t.Errorf("asks for %v", got)
	}
}

func TestStoredSpecReadsBackTheSame(t *testing.T) {
	body, err := whole.Encode()
	if err != nil {
		t.Fatal(err)
	}
	back, err := DecodeFinishSpec(body)
	if err != nil || !reflect.DeepEqual(back, whole) {
		t.Errorf("%+v\nis not\n%+v (%v)", back, whole, err)
	}
	for _, bad := range []string{"", "{", `{"version":99}`, `{}`} {
		if _, err := DecodeFinishSpec([]byte(bad)); err == nil {
			t.Errorf("%q was read", bad)
		}
	}
}

func TestValidateNamesWhatIsWrong(t *testing.T) {
	film := func(change func(f *FilmSpec)) FinishSpec {
		f := *whole.Film
		change(&f)
		return FinishSpec{MaxCycles: 1, Film: &f}
	}
	for want, spec := range map[string]FinishSpec{
		"The spec asks for nothing. Add at least one section.":                                      {MaxCycles: 1},
		"Cycles allowed in all: enter 1 to 9.":                                                      {Film: whole.Film},
		"Weld quality level: enter B, C or D.":                                                      {MaxCycles: 1, Weld: &WeldSpec{Level: "A"}},
		"Weld leg: a limit in “µm” does not fit; enter it in mm.":                                   {MaxCycles: 1, Weld: &WeldSpec{Level: "B", Leg: AtLeast(4, Micrometre)}},
		"Pretreatment needs at least one stage.":                                                    {MaxCycles: 1, Pretreatment: &PretreatmentSpec{}},
		"Rinse, conductivity at 20 °C: the lower limit 40 µS/cm is above the upper limit 30 µS/cm.": {MaxCycles: 1, Pretreatment: &PretreatmentSpec{Stages: []StageSpec{{Stage: "rinse", Name: "Rinse", Limits: map[string]Limits{"conductivity": Between(40, 30, MicroSiemens)}}}}},
		"Stage 1-rinse: “taste” is not something the book measures.":                                {MaxCycles: 1, Pretreatment: &PretreatmentSpec{Stages: []StageSpec{{Stage: "rinse", Limits: map[string]Limits{"taste": {}}}}}},
		"Longest time from pretreatment to powder: enter 0 to 1000 h.":                              {MaxCycles: 1, Pretreatment: &PretreatmentSpec{Stages: wash.Stages, MaxHoursToCoat: -1}},
		"Booth air: a limit must be a number.":                                                      {MaxCycles: 1, Coating: &CoatingSpec{Air: AtLeast(nan(), Celsius)}},
		"Margin over the dew point: enter 0 to 20 K.":                                               {MaxCycles: 1, Coating: &CoatingSpec{DewPointMarginC: nan()}},
		"Schedule temperature: enter 50 to 300 °C.":                                                 {MaxCycles: 1, Cure: &CureSpec{ScheduleC: 400, Channels: 1}},
		"Metal temperatures per cure run: enter 1 to 12.":                                           {MaxCycles: 1, Cure: &CureSpec{ScheduleC: 190}},
		"Cure test: name the solvent.":                                                              {MaxCycles: 1, CureTest: &CureTestSpec{Rubs: 50, PassFrom: 3}},
		"Cure test: the lowest rating that passes is 2, 3 or 4.":                                    {MaxCycles: 1, CureTest: &CureTestSpec{Solvent: "MEK", Rubs: 50, PassFrom: 1}},
		"Cure test: enter 1 to 200 double rubs.":                                                    {MaxCycles: 1, CureTest: &CureTestSpec{Solvent: "MEK", PassFrom: 3}},
		"Cure test: the wait before judging is 0 to 3600 s.":                                        {MaxCycles: 1, CureTest: &CureTestSpec{Solvent: "MEK", Rubs: 50, PassFrom: 3, WaitS: -1}},
		"Gloss: enter a nominal, a tolerance over 0 and a geometry of 20, 60 or 85°.":               {MaxCycles: 1, Finish: &FinishCheckSpec{Gloss: &GlossSpec{GeometryDeg: 45, Nominal: 70, Tolerance: 7}}},
		"Adhesion: “4.5B” is not a class of ASTM D3359 B.":                                          {MaxCycles: 1, Finish: &FinishCheckSpec{Adhesion: &AdhesionSpec{Method: "D3359B", Worst: "4.5B"}}},
		"Inclusion: count and size are 0 or more.":                                                  {MaxCycles: 1, Finish: &FinishCheckSpec{Allowed: []DefectLimit{{Code: "inclusion", Count: -1}}}},
		"Film thickness: enter the minimum.":                                                        film(func(f *FilmSpec) { f.Limits = AtMost(120, Micrometre) }),
		"Film thickness: choose an acceptance rule.":                                                film(func(f *FilmSpec) { f.Rule = "" }),
		"Film thickness: the restriction level is 1 to 5.":                                          film(func(f *FilmSpec) { f.Rule, f.Level = SpotArea, 6 }),
		"Film thickness: the spot and area rule needs a maximum up to level 4.":                     film(func(f *FilmSpec) { f.Rule, f.Level = SpotArea, 3 }),
		"Film thickness: enter the share of readings (over 0, up to 1) and the low limit.":          film(func(f *FilmSpec) { f.Rule, f.Share = ShareOfReadings, 0.8 }),
		"Film thickness: enter 1 to 99 spots and 1 to 9 readings each.":                             film(func(f *FilmSpec) { f.Spots = 0 }),
		"Film thickness: the guard band is 0 or more.":                                              film(func(f *FilmSpec) { f.Guard = nan() }),
		"Film thickness after recoating: the lower limit 60 µm is above the upper limit 50 µm.":     film(func(f *FilmSpec) { f.MaxTotal = &Limit{Value: 50, Unit: Micrometre} }),
		"Film thickness, low limit: a limit in “°C” does not fit; enter it in µm.":                  film(func(f *FilmSpec) { f.Floor = &Limit{Value: 50, Unit: Celsius} }),
		"Film thickness: a limit in “°F” does not fit; enter it in µm.": film(func(f *FilmSpec) {
			f.Limits.Low = &Limit{Value: 60, Unit: Micrometre, Paired: &PairedLimit{Value: 2, Unit: Fahrenheit}}
		}),
	} {
		if wrong := spec.Validate(); !slices.Contains(wrong, want) || len(wrong) != 1 {
			t.Errorf("want only %q, got\n\t%s", want, strings.Join(wrong, "\n\t"))
		}
	}
}
