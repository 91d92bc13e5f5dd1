package quality

import (
	"testing"
)

// bake is a profile of rows every 60 s: heating from 25 °C in one, minutes at the given temperature of each channel, cooling in one.
func bake(minutes int, metal ...float64) []row {
	level := func(share float64) []float64 {
		c := make([]float64, len(metal))
		for i, m := range metal {
			c[i] = 25 + share*(m-25)
		}
		return c
	}
	rows := []row{{0, level(0)}}
	for i := range minutes + 1 {
		rows = append(rows, row{float64(60 + 60*i), level(1)})
	}
	return append(rows, row{rows[len(rows)-1].s + 60, level(0)})
}

func TestMeasureThatDecidesIsAnInput(t *testing.T) {
	window := CureWindow{Points: []CurePoint{{190, 15, 30}, {200, 10, 20}, {210, 8, 16}}}
	dip := bake(14, 195)
	dip[8].c = []float64{160}
	for name, c := range map[string]struct {
		spec CureSpec
		rows []row
		want Verdict
		says string
	}{
		"time":                 {CureSpec{ScheduleC: 190}, bake(15, 195), Pass, ""},
		"time short":           {CureSpec{ScheduleC: 190}, bake(13, 195), Fail, "Channel 1: time at or over 190 °C, 13.1 min is under 15 min. It is 116.5 s short."},
		"time too long":        {CureSpec{ScheduleC: 200}, bake(21, 205), Fail, "Channel 1: time at or over 200 °C, 21.1 min is over 20 min."},
		"run whole":            {CureSpec{ScheduleC: 190, Decides: LongestRun}, bake(15, 195), Pass, ""},
		"run broken":           {CureSpec{ScheduleC: 190, Decides: LongestRun}, dip, Fail, "Channel 1: longest time at or over 190 °C, 6.2 min is under 15 min. It is 529.7 s short."},
		"equivalent, cooler":   {CureSpec{ScheduleC: 200, Decides: EquivalentTime, ReferenceC: 200, ActivationKJMol: 80}, bake(15, 195), Pass, ""},
		"equivalent, short":    {CureSpec{ScheduleC: 200, Decides: EquivalentTime, ReferenceC: 200, ActivationKJMol: 80}, bake(8, 195), Fail, ""},
		"equivalent, two long": {CureSpec{ScheduleC: 200, Decides: EquivalentTime, ReferenceC: 200, ActivationKJMol: 80}, bake(26, 200), Fail, ""},
		"dose":                 {CureSpec{ScheduleC: 190, Decides: WindowDose}, bake(15, 195), Pass, ""},
		"dose short":           {CureSpec{ScheduleC: 190, Decides: WindowDose}, bake(9, 195), Fail, ""},
		"dose too high":        {CureSpec{ScheduleC: 190, Decides: WindowDose}, bake(26, 200), Fail, ""},
		"over the window":      {CureSpec{ScheduleC: 190}, bake(15, 212), Fail, "Channel 1: peak metal temperature 212 °C is over 210 °C."},
		"never at schedule":    {CureSpec{ScheduleC: 200}, bake(15, 195), Fail, "Channel 1: peak metal temperature 195 °C is under 200 °C."},
		"schedule outside":     {CureSpec{ScheduleC: 180}, bake(15, 195), Incomplete, "The spec counts time from 180 °C, outside the powder's cure window of 190 to 210 °C; nothing is extrapolated."},
		"channel missing":      {CureSpec{ScheduleC: 190, Channels: 2}, bake(15, 195), Incomplete, "1 channel with a metal temperature, 2 are asked."},
		"peaks apart":          {CureSpec{ScheduleC: 190, MaxSpreadC: 5}, bake(15, 195, 201), Fail, "Spread of the peaks, 6 K is over 5 K."},
		"no such measure":      {CureSpec{ScheduleC: 190, Decides: "colour of the smoke"}, bake(15, 195), Incomplete, ""},
		"cut off hot":          {CureSpec{ScheduleC: 190}, bake(17, 195)[:18], Incomplete, "Channel 1: the record starts or ends hot, so that the time may be over 30 min."},
	} {
		got := JudgeCureProfile(c.spec, window, profileOf(t, c.spec.ProfileSettings(window), c.rows...))
		if got.Verdict != c.want || c.says != "" && !contains(got.Findings, c.says) {
			t.Errorf("%s: %s, want %s and %q, but\n\t%s", name, got.Verdict, c.want, c.says, texts(got.Findings))
		}
		sound(t, got)
	}
}

func TestIncompleteProfileNeverPasses(t *testing.T) {
	window := CureWindow{Points: []CurePoint{{190, 15, 0}, {200, 10, 0}}}
	whole := bake(20, 195, 195)
	for name, change := range map[string]func([]row) []row{
		"open for one row": func(r []row) []row { r[9].c = []float64{195, nan()}; return r },
		"open all along": func(r []row) []row {
			for i := range r {
				r[i].c = []float64{r[i].c[0], 9999}
			}
			return r
		},
		"gap": func(r []row) []row { return append(r[:5], r[18:]...) },
	} {
		rows := append([]row(nil), whole...)
		for _, measure := range CureMeasures {
			spec := CureSpec{ScheduleC: 190, Channels: 2, Decides: measure, ReferenceC: 195, ActivationKJMol: 80}
			settings := spec.ProfileSettings(window)
			if got := JudgeCureProfile(spec, window, profileOf(t, settings, rows...)); got.Verdict != Pass {
				t.Fatalf("the whole record by %s: %s\n\t%s", measure, got.Verdict, texts(got.Findings))
			}
			got := JudgeCureProfile(spec, window, profileOf(t, settings, change(append([]row(nil), whole...))...))
			if got.Verdict == Pass || got.Verdict == GuardBand {
				t.Errorf("%s, %s: %s", name, measure, got.Verdict)
			}
			sound(t, got)
		}
	}
}

func TestProfileMeasuredForAnotherSpecIsNotJudged(t *testing.T) {
	window := CureWindow{Points: []CurePoint{{190, 15, 0}, {200, 10, 0}}}
	for _, c := range []struct {
		spec CureSpec
		got  ProfileSettings
	}{
		{CureSpec{ScheduleC: 190}, ProfileSettings{AboveC: 180}},
		{CureSpec{ScheduleC: 190, Decides: EquivalentTime, ReferenceC: 200, ActivationKJMol: 80}, ProfileSettings{AboveC: 190, ReferenceC: 200, ActivationKJMol: 60}},
		{CureSpec{ScheduleC: 190, Decides: WindowDose}, ProfileSettings{AboveC: 190, Window: CureWindow{Points: []CurePoint{{190, 12, 0}, {200, 10, 0}}}}},
		{CureSpec{ScheduleC: 190, Decides: WindowDose}, ProfileSettings{AboveC: 190}},
	} {
		if got := JudgeCureProfile(c.spec, window, profileOf(t, c.got, bake(20, 195)...)); got.Verdict != Incomplete {
			t.Errorf("%s by %+v: %s", got.Rule, c.got, got.Verdict)
		}
	}
}

func TestTypedFiguresCannotStandForAProfile(t *testing.T) {
	check := metal([2]float64{200, 20})
	for _, measure := range CureMeasures[1:] {
		got := JudgeCure(CureSpec{ScheduleC: 190, Channels: 1, Decides: measure, ReferenceC: 200, ActivationKJMol: 80}, polyester, &check)
		if got.Verdict != Incomplete {
			t.Errorf("%s from a typed peak and time: %s, want incomplete", measure, got.Verdict)
		}
		sound(t, got)
	}
}

func TestCureSpecNamesItsMeasure(t *testing.T) {
	base := FinishSpec{Version: SpecVersion, MaxCycles: 1, Cure: &CureSpec{ScheduleC: 190, Channels: 1}}
	if wrong := base.Validate(); len(wrong) > 0 {
		t.Fatal(wrong)
	}
	body, err := base.Encode()
	if err != nil || string(body) != `{"version":1,"cure":{"schedule_c":190,"channels":1,"max_spread_c":0},"max_cycles":1,"releaser_not_sole_inspector":false}` {
		t.Errorf("a spec without the new fields must be stored as before: %s (%v)", body, err)
	}
	base.Cure.Decides = "smoke"
	if wrong := base.Validate(); len(wrong) != 1 {
		t.Errorf("an unknown measure: %q", wrong)
	}
	base.Cure.Decides = EquivalentTime
	if wrong := base.Validate(); len(wrong) != 2 {
		t.Errorf("equivalent time without reference and energy: %q", wrong)
	}
}
