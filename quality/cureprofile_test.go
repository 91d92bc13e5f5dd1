package quality

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// near reports whether two figures agree to a relative tolerance.
func near(got, want, relative float64) bool { return math.Abs(got-want) <= relative*math.Abs(want) }

// readProfile measures a published profile; its first column is time_s and the others are channels.
func readProfile(t *testing.T, name string, s ProfileSettings, channels ...string) CureProfile {
	t.Helper()
	p, err := NewProfiler(s, channels...)
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range published(t, "cure/"+name+".csv") {
		celsius := make([]float64, len(channels))
		for i, channel := range channels {
			celsius[i] = number(t, row[channel])
		}
		if err := p.Add(number(t, row["time_s"]), celsius); err != nil {
			t.Fatal(err)
		}
	}
	out, err := p.Profile()
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestPublishedProfiles(t *testing.T) {
	channels := []string{"pmt1_C", "pmt2_C", "pmt3_C", "pmt4_C", "pmt5_C", "pmt6_C"}
	for _, row := range published(t, "cure/expected.csv") {
		channel := channels[int(number(t, row["channel"]))-1]
		check := func(what string, got float64, column string, relative float64) {
			if want := number(t, row[column]); !near(got, want, relative) {
				t.Errorf("%s %s: %s %.12g, want %.12g (%s)", row["profile"], channel, what, got, want, column)
			}
		}
		for _, above := range []string{"160", "180", "190", "200"} {
			p := readProfile(t, row["profile"], ProfileSettings{AboveC: number(t, above)}, channel).Channels[0]
			check("time above", p.SecondsAbove, "s_above_"+above, 1e-9)
			if above == "190" {
				check("longest run", p.LongestRunS, "longest_run_above_190_s", 1e-9)
				check("peak", p.PeakC, "peak_C", 0)
				check("time of the peak", p.PeakAtS, "time_of_first_peak_s", 0)
			}
			if p.EquivalentMinutes != nil || p.Dose != nil || !p.Complete() {
				t.Errorf("%s %s: figures nobody asked for: %+v", row["profile"], channel, p)
			}
		}
		for _, energy := range []string{"60", "80", "100"} {
			p := readProfile(t, row["profile"], ProfileSettings{AboveC: 190, ReferenceC: 200, ActivationKJMol: number(t, energy)}, channel).Channels[0]
			check("trapezoid", *p.EquivalentMinutes, "eqmin200_trapezoid_Ea"+energy, 1e-9)
			check("linear", *p.EquivalentMinutesLinear, "eqmin200_linear_Ea"+energy, 1e-9)
		}
	}
}

func TestTinyProfile(t *testing.T) {
	want := map[string]float64{}
	for _, row := range published(t, "cure/tiny_expected.csv") {
		want[row["item"]] = number(t, row["expected"])
	}
	for item, above := range map[string]float64{"s_above_190": 190, "s_above_210 (at or above)": 210, "s_above_180": 180} {
		got := readProfile(t, "tiny_profile", ProfileSettings{AboveC: above}, "pmt_C").Channels[0].SecondsAbove
		if !near(got, want[item], 1e-12) {
			t.Errorf("%s: %v s, want %v s", item, got, want[item])
		}
	}
	p := readProfile(t, "tiny_profile", ProfileSettings{AboveC: 190, ReferenceC: 200, ActivationKJMol: 80}, "pmt_C").Channels[0]
	if w := want["eqmin200 trapezoid Ea=80000"]; !near(*p.EquivalentMinutes, w, 1e-11) {
		t.Errorf("trapezoid: %v min, want %v min", *p.EquivalentMinutes, w)
	}
	if w := want["eqmin200 linear temperature Ea=80000"]; !near(*p.EquivalentMinutesLinear, w, 1e-11) {
		t.Errorf("linear: %.12g min, want %v min", *p.EquivalentMinutesLinear, w)
	}
}

func TestIsothermalChecks(t *testing.T) {
	for _, row := range published(t, "cure/isothermal_checks.csv") {
		want := number(t, row["expected_equivalent_minutes"])
		var metal, reference, minutes, other, energy, got float64
		var err error
		text := row["case"]
		switch {
		case strings.HasPrefix(text, "gas constant"):
			got = GasConstant
		case strings.HasPrefix(text, "Ea"):
			got, err = ActivationEnergy(CurePoint{MetalC: 200, MinMinutes: 10}, CurePoint{MetalC: 190, MinMinutes: 15})
			got *= 1000
		case strings.HasPrefix(text, "isothermal"):
			if _, err := fmt.Sscanf(text, "isothermal %f C for %f min, Ea=%f J/mol", &metal, &minutes, &energy); err != nil {
				t.Fatal(err)
			}
			got, err = EquivalentMinutes(minutes, metal, 200, energy/1000)
			held := hold(t, ProfileSettings{AboveC: 100, ReferenceC: 200, ActivationKJMol: energy / 1000}, metal, minutes*60)
			for _, of := range []*float64{held.EquivalentMinutes, held.EquivalentMinutesLinear} {
				if !near(*of, want, 1e-11) {
					t.Errorf("%s as a profile of two rows: %v min, want %v min", text, *of, want)
				}
			}
		default:
			if _, err := fmt.Sscanf(text, "minutes at %f C equal to %f min at %f C, Ea=%f", &other, &minutes, &reference, &energy); err != nil {
				t.Fatal(err)
			}
			got, err = EquivalentMinutes(minutes, reference, other, energy/1000)
		}
		if err != nil || !near(got, want, 1e-9) {
			t.Errorf("%s: %.12g, want %.12g (%v)", text, got, want, err)
		}
	}
}

// hold is a profile of two rows at one temperature.
func hold(t *testing.T, s ProfileSettings, celsius, seconds float64) ChannelProfile {
	t.Helper()
	return profileOf(t, s, row{0, []float64{celsius}}, row{seconds, []float64{celsius}}).Channels[0]
}

type row struct {
	s float64
	c []float64
}

func profileOf(t testing.TB, s ProfileSettings, rows ...row) CureProfile {
	t.Helper()
	var names []string
	for i := range rows[0].c {
		names = append(names, "channel "+strconv.Itoa(i+1))
	}
	p, err := NewProfiler(s, names...)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rows {
		if err := p.Add(r.s, r.c); err != nil {
			t.Fatal(err)
		}
	}
	out, err := p.Profile()
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// The worked profile of the reference table, a reading each minute: peak 200 °C; 8.0 min over 180 °C; 6.1 min over 190 °C;
// equivalent at 200 °C 7.9 min (Ea 60) or 7.2 min (Ea 80) (worked out there).
func TestWorkedProfile(t *testing.T) {
	var rows []row
	for i, c := range []float64{25, 60, 95, 125, 150, 168, 180, 188, 193, 196, 198, 199, 200, 200, 180, 140} {
		rows = append(rows, row{float64(60 * i), []float64{c}})
	}
	for _, c := range []struct{ above, energy, minutes, equivalent float64 }{{180, 60, 8.0, 7.9}, {190, 80, 6.1, 7.2}} {
		p := profileOf(t, ProfileSettings{AboveC: c.above, ReferenceC: 200, ActivationKJMol: c.energy}, rows...).Channels[0]
		if math.Abs(p.SecondsAbove/60-c.minutes) > 0.05 || math.Abs(*p.EquivalentMinutes-c.equivalent) > 0.05 || p.PeakC != 200 || p.PeakAtS != 720 {
			t.Errorf("over %v °C: %.3f min and %.3f equivalent, want %v and %v", c.above, p.SecondsAbove/60, *p.EquivalentMinutes, c.minutes, c.equivalent)
		}
		if *p.RampKPerMin != 35 || !p.Complete() {
			t.Errorf("steepest rise %v K/min, want 35; incomplete %v", *p.RampKPerMin, p.Incomplete)
		}
	}
}

func TestNothingIsBridgedAcrossAGap(t *testing.T) {
	open := nan()
	hot := func(times ...float64) []row {
		var rows []row
		for _, s := range times {
			rows = append(rows, row{s, []float64{200}})
		}
		return rows
	}
	for name, c := range map[string]struct {
		maxGap float64
		rows   []row
		above  float64
		run    float64
		says   string
	}{
		"whole":         {0, hot(0, 10, 20, 30, 40), 40, 40, ""},
		"interval long": {0, hot(0, 10, 20, 30, 330, 340), 40, 30, "Nothing is recorded from 30 to 330 s; intervals over 60 s are not bridged."},
		"just bridged":  {0, hot(0, 10, 20, 30, 90, 100), 100, 100, ""},
		"limit given":   {25, hot(0, 10, 20, 50, 60), 30, 20, "Nothing is recorded from 20 to 50 s; intervals over 25 s are not bridged."},
		"slow logger":   {0, hot(0, 120, 240, 360), 360, 360, ""},
		"open once":     {0, append(hot(0, 10, 20), row{30, []float64{open}}, row{40, []float64{200}}, row{50, []float64{200}}), 30, 20, "The thermocouple is open for 1 reading, at 30 s."},
		"burnt out":     {0, append(hot(0, 10, 20), row{30, []float64{1372}}, row{40, []float64{-200}}), 20, 20, "The thermocouple is open for 2 readings, from 30 to 40 s."},
		"flickers":      {0, []row{{0, []float64{200}}, {10, []float64{open}}, {20, []float64{200}}, {30, []float64{open}}, {40, []float64{200}}}, 0, 0, "The thermocouple is open for 2 readings, at 10 s and once more."},
		"never there":   {0, []row{{0, []float64{open}}, {10, []float64{open}}}, 0, 0, "The thermocouple is open in the whole record."},
	} {
		p := profileOf(t, ProfileSettings{AboveC: 190, ReferenceC: 200, ActivationKJMol: 80, MaxGapS: c.maxGap}, c.rows...)
		ch := p.Channels[0]
		if ch.SecondsAbove != c.above || ch.LongestRunS != c.run || math.Abs(*ch.EquivalentMinutes*60-c.above) > 1e-9 || math.Abs(*ch.EquivalentMinutesLinear*60-c.above) > 1e-9 {
			t.Errorf("%s: %v s above, run %v s, equivalent %v s; want %v and %v s", name, ch.SecondsAbove, ch.LongestRunS, *ch.EquivalentMinutes*60, c.above, c.run)
		}
		if c.says == "" != ch.Complete() || c.says != "" && !slices.Contains(ch.Incomplete, c.says) || p.Complete() != ch.Complete() {
			t.Errorf("%s: incomplete says %q, want %q", name, ch.Incomplete, c.says)
		}
	}
}

func TestCrossingsAreInterpolated(t *testing.T) {
	// By hand: over 190 from 5 s to 35 s; a touch at exactly 190 in between does not break the run.
	p := profileOf(t, ProfileSettings{AboveC: 190}, row{0, []float64{180}}, row{10, []float64{200}}, row{20, []float64{190}}, row{30, []float64{200}}, row{40, []float64{180}}).Channels[0]
	if p.SecondsAbove != 30 || p.LongestRunS != 30 || *p.ReachedS != 5 || p.StartsAbove || p.EndsAbove {
		t.Errorf("got %+v", p)
	}
	p = profileOf(t, ProfileSettings{AboveC: 190}, row{0, []float64{180}}, row{10, []float64{190}}, row{20, []float64{180}}).Channels[0]
	if p.SecondsAbove != 0 || *p.ReachedS != 10 {
		t.Errorf("touching 190 °C for no time: %+v", p)
	}
	p = profileOf(t, ProfileSettings{AboveC: 190}, row{0, []float64{200}}, row{10, []float64{200}}).Channels[0]
	if !p.StartsAbove || !p.EndsAbove {
		t.Errorf("a record cut out of the soak must say so: %+v", p)
	}
}

func TestSpreadAtSoakIsOfOneMoment(t *testing.T) {
	rows := []row{{0, []float64{180, 170}}, {10, []float64{200, 190}}, {20, []float64{202, 198}}, {30, []float64{204, 205}}, {40, []float64{180, 181}}}
	p := profileOf(t, ProfileSettings{AboveC: 190}, rows...)
	// By hand: together from 10 s, where they lie 10 K apart, until the first falls through 190 at 30 + 10·14/24 s.
	if math.Abs(p.SoakS-(20+140.0/24)) > 1e-12 || math.Abs(*p.SoakSpreadC-10) > 1e-12 || *p.PeakSpreadC != 1 {
		t.Errorf("together %v s, spread %v K, peaks %v K apart", p.SoakS, *p.SoakSpreadC, *p.PeakSpreadC)
	}
	cold := profileOf(t, ProfileSettings{AboveC: 203}, rows[:4]...)
	if cold.SoakSpreadC == nil || math.Abs(*cold.SoakSpreadC-1) > 1e-9 {
		t.Errorf("together in the last interval only: %v", cold.SoakSpreadC)
	}
	never := profileOf(t, ProfileSettings{AboveC: 210}, rows...)
	if never.SoakSpreadC != nil || !slices.Contains(never.Notes, "The spread at soak is not defined: the channels were never at or over 210 °C together.") {
		t.Errorf("never together: %v, %q", never.SoakSpreadC, never.Notes)
	}
	one := profileOf(t, ProfileSettings{AboveC: 190}, row{0, []float64{200}}, row{9, []float64{200}})
	if one.SoakSpreadC != nil || one.PeakSpreadC != nil {
		t.Errorf("one channel has no spread: %v, %v", one.SoakSpreadC, one.PeakSpreadC)
	}
}

func TestDoseByThePowdersPoints(t *testing.T) {
	window := CureWindow{Points: []CurePoint{{190, 15, 0}, {200, 10, 0}, {210, 8, 0}}}
	s := ProfileSettings{AboveC: 190, Window: window}
	for metal, want := range map[float64]float64{200: 1, 190: 10.0 / 15, 210: 10.0 / 8, 230: 10.0 / 8, 189.9: 0} {
		if got := hold(t, s, metal, 600); math.Abs(*got.Dose-want) > 1e-12 {
			t.Errorf("10 min at %v °C: dose %v, want %v", metal, *got.Dose, want)
		}
	}
	if got := hold(t, s, 180, 600); *got.Dose != 0 || !(*got.DoseExtrapolated > 0.3 && *got.DoseExtrapolated < 0.6) {
		t.Errorf("10 min at 180 °C: dose %v, extrapolated %v", *got.Dose, *got.DoseExtrapolated)
	}
	if got := hold(t, s, 215, 600); got.SecondsOverWindow != 600 {
		t.Errorf("10 min at 215 °C: %v s over the window", got.SecondsOverWindow)
	}
	rise := profileOf(t, s, row{0, []float64{170}}, row{40, []float64{210}}).Channels[0]
	if want := 20.0 / 60 * (1.0/15 + 1.0/8) / 2; math.Abs(*rise.Dose-want) > 1e-12 {
		t.Errorf("rising through 190 °C: dose %v, by hand %v", *rise.Dose, want)
	}
	if got := hold(t, ProfileSettings{AboveC: 190, Window: CureWindow{Points: []CurePoint{{200, 10, 0}}}}, 210, 600); math.Abs(*got.Dose-1) > 1e-12 || got.DoseExtrapolated != nil {
		t.Errorf("a single point has no slope to prolong: %+v", got)
	}
}

func TestRequiredMinutesFlagExtrapolation(t *testing.T) {
	w := CureWindow{Points: []CurePoint{{190, 15, 0}, {200, 10, 0}}}
	for metal, outside := range map[float64]bool{190: false, 195: false, 200: false, 180: true, 210: true} {
		energy, err := ActivationEnergy(w.Points[0], w.Points[1])
		if err != nil {
			t.Fatal(err)
		}
		want, err := EquivalentMinutes(10, 200, metal, energy)
		if err != nil {
			t.Fatal(err)
		}
		got, extrapolated, err := w.Required(metal)
		if err != nil || extrapolated != outside || !near(got, want, 1e-9) {
			t.Errorf("%v °C: %v min, extrapolated %v; want %v and %v (%v)", metal, got, extrapolated, want, outside, err)
		}
	}
	one := CureWindow{Points: []CurePoint{{200, 10, 0}}}
	if got, extrapolated, err := one.Required(200); got != 10 || extrapolated || err != nil {
		t.Errorf("the single point itself: %v, %v, %v", got, extrapolated, err)
	}
	if _, _, err := one.Required(190); !errors.Is(err, ErrNoWindow) {
		t.Errorf("a single point at another temperature: %v, want ErrNoWindow", err)
	}
	if _, _, err := w.Required(nan()); !errors.Is(err, ErrCureFigure) {
		t.Errorf("no temperature: %v, want ErrCureFigure", err)
	}
}

func TestProfileRefusesWhatItCannotMeasure(t *testing.T) {
	for name, s := range map[string]ProfileSettings{
		"no threshold":       {AboveC: nan()},
		"energy under 0":     {AboveC: 190, ActivationKJMol: -1, ReferenceC: 200},
		"energy in J/mol":    {AboveC: 190, ActivationKJMol: 80000, ReferenceC: 200},
		"no reference":       {AboveC: 190, ActivationKJMol: 80},
		"gap under 0":        {AboveC: 190, MaxGapS: -1},
		"window not in line": {AboveC: 190, Window: CureWindow{Points: []CurePoint{{190, 10, 0}, {200, 11, 0}}}},
	} {
		if _, err := NewProfiler(s, "a"); !errors.Is(err, ErrProfileSettings) {
			t.Errorf("%s: %v, want ErrProfileSettings", name, err)
		}
	}
	good := ProfileSettings{AboveC: 190}
	for _, names := range [][]string{{}, {"a", "a"}} {
		if _, err := NewProfiler(good, names...); !errors.Is(err, ErrProfileSettings) {
			t.Errorf("channels %q: %v, want ErrProfileSettings", names, err)
		}
	}
	p, err := NewProfiler(good, "a", "b")
	if err != nil {
		t.Fatal(err)
	}
	if err := p.Add(0, []float64{200}); !errors.Is(err, ErrChannels) {
		t.Errorf("one temperature for two channels: %v, want ErrChannels", err)
	}
	if err := p.Add(0, []float64{200, 200}); err != nil {
		t.Fatal(err)
	}
	for _, s := range []float64{0, -1, nan(), math.Inf(1)} {
		if err := p.Add(s, []float64{200, 200}); !errors.Is(err, ErrTimeOrder) {
			t.Errorf("time %v after 0: %v, want ErrTimeOrder", s, err)
		}
	}
	if _, err := p.Profile(); !errors.Is(err, ErrTooFewRows) {
		t.Errorf("one row: %v, want ErrTooFewRows", err)
	}
	// Asking early must not fix the gap limit: this logger is slow but even.
	for s := 600.0; s <= 3000; s += 600 {
		if err := p.Add(s, []float64{200, 200}); err != nil {
			t.Fatal(err)
		}
	}
	if got, err := p.Profile(); err != nil || !got.Complete() || got.MaxGapS != 3000 || got.Channels[1].SecondsAbove != 3000 {
		t.Errorf("six rows 600 s apart: %+v (%v)", got, err)
	}
	for _, c := range [][4]float64{{-1, 190, 200, 80}, {10, nan(), 200, 80}, {10, 190, 600, 80}, {10, 190, 200, 0}, {math.Inf(1), 190, 200, 80}} {
		if got, err := EquivalentMinutes(c[0], c[1], c[2], c[3]); !errors.Is(err, ErrCureFigure) || got != 0 {
			t.Errorf("%v: %v, %v; want ErrCureFigure", c, got, err)
		}
	}
	if _, err := ActivationEnergy(CurePoint{MetalC: 200, MinMinutes: 10}, CurePoint{MetalC: 200, MinMinutes: 15}); !errors.Is(err, ErrCureFigure) {
		t.Errorf("two points at one temperature: %v, want ErrCureFigure", err)
	}
}

// Rows kept back to find the usual interval and rows after them are one profile.
func TestLongProfileIsMeasuredWhole(t *testing.T) {
	const n = 3 * usualRows
	var rows []row
	for i := range n {
		rows = append(rows, row{float64(7 * i), []float64{200, 195}})
	}
	p := profileOf(t, ProfileSettings{AboveC: 190, ReferenceC: 200, ActivationKJMol: 80}, rows...)
	if c := p.Channels[0]; p.Rows != n || c.Readings != n || c.SecondsAbove != 7*(n-1) || !near(*c.EquivalentMinutes*60, 7*(n-1), 1e-13) || *p.SoakSpreadC != 5 || p.MaxGapS != 60 {
		t.Errorf("%d rows: %+v", p.Rows, c)
	}
}

// A straight rise cut into pieces of any length is the same profile; only the trapezoid rule sees more of the curve.
func TestFinerSamplingOfAStraightLineChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := rapid.Float64Range(20, 230).Draw(t, "from"), rapid.Float64Range(20, 230).Draw(t, "to")
		s := ProfileSettings{AboveC: rapid.Float64Range(100, 220).Draw(t, "above"), ReferenceC: 200, ActivationKJMol: rapid.Float64Range(30, 120).Draw(t, "energy"), MaxGapS: 1e6}
		whole, _ := NewProfiler(s, "a")
		cut, _ := NewProfiler(s, "a")
		at := []float64{0, 600}
		for _, x := range rapid.SliceOfNDistinct(rapid.IntRange(1, 599), 1, 20, rapid.ID).Draw(t, "cuts") {
			at = append(at, float64(x))
		}
		slices.Sort(at)
		for _, x := range at {
			if err := cut.Add(x, []float64{a + (b-a)*x/600}); err != nil {
				t.Fatal(err)
			}
		}
		for _, x := range []float64{0, 600} {
			if err := whole.Add(x, []float64{a + (b-a)*x/600}); err != nil {
				t.Fatal(err)
			}
		}
		one, err := whole.Profile()
		two, errCut := cut.Profile()
		if err != nil || errCut != nil {
			t.Fatal(err, errCut)
		}
		x, y := one.Channels[0], two.Channels[0]
		if math.Abs(x.SecondsAbove-y.SecondsAbove) > 1e-8 || !near(*x.EquivalentMinutesLinear, *y.EquivalentMinutesLinear, 1e-10) || !near(x.PeakC, max(a, b), 1e-12) {
			t.Fatalf("whole %v s, %v min; cut %v s, %v min", x.SecondsAbove, *x.EquivalentMinutesLinear, y.SecondsAbove, *y.EquivalentMinutesLinear)
		}
	})
}

func FuzzProfile(f *testing.F) {
	f.Add(190.0, 200.0, 80.0, 0.0, 190.0, 15.0, []byte{10, 200, 10, 201, 10, 0, 200, 220})
	f.Add(190.0, 300.0, 1000.0, 5.0, 200.0, 1e-300, []byte{1, 255, 1, 254, 1, 0})
	f.Fuzz(func(t *testing.T, above, reference, energy, maxGap, at, minutes float64, data []byte) {
		s := ProfileSettings{AboveC: above, ReferenceC: reference, ActivationKJMol: energy, MaxGapS: maxGap}
		if at > 0 {
			s.Window = CureWindow{Points: []CurePoint{{at, minutes, 0}, {at + 10, minutes / 2, 0}}}
		}
		p, err := NewProfiler(s, "a", "b")
		if err != nil {
			return
		}
		seconds, opens := 0.0, 0
		for i := 0; i+2 < len(data); i += 3 {
			seconds += float64(data[i])
			c := []float64{2 * float64(data[i+1]), 2 * float64(data[i+2])}
			if data[i+1] == 255 {
				c[0] = nan()
			}
			if p.Add(seconds, c) == nil && (isOpen(c[0]) || isOpen(c[1])) {
				opens++
			}
		}
		got, err := p.Profile()
		if err != nil {
			return
		}
		if opens > 0 && got.Complete() {
			t.Fatalf("%d open readings in a record that is called complete", opens)
		}
		for _, c := range got.Channels {
			for _, v := range []*float64{&c.SecondsAbove, &c.LongestRunS, c.EquivalentMinutes, c.EquivalentMinutesLinear, c.Dose, c.DoseExtrapolated, c.RampKPerMin, got.SoakSpreadC} {
				if v != nil && (math.IsNaN(*v) || math.IsInf(*v, 0)) {
					t.Fatalf("a figure that is none: %+v", c)
				}
			}
			if c.LongestRunS > c.SecondsAbove*(1+1e-12) || c.SecondsAbove > (got.EndS-got.StartS)*(1+1e-12) {
				t.Fatalf("run %v s, above %v s in a record of %v s", c.LongestRunS, c.SecondsAbove, got.EndS-got.StartS)
			}
		}
		spec := CureSpec{ScheduleC: above, Channels: 2}
		for _, measure := range CureMeasures {
			spec.Decides, spec.ReferenceC, spec.ActivationKJMol = measure, reference, energy
			j := JudgeCureProfile(spec, s.Window, got)
			sound(t, j)
			if j.Verdict == Pass && !got.Complete() {
				t.Fatalf("an incomplete record passed by %s: %s", measure, texts(j.Findings))
			}
		}
	})
}

func BenchmarkProfile100kRows12Channels(b *testing.B) {
	const rows, channels = 100_000, 12
	data := make([]float64, rows*channels)
	for i := range data {
		t := float64(i/channels) / rows
		data[i] = 25 + 175*(1-math.Exp(-8*t)) + 3*math.Sin(float64(i))
	}
	names := make([]string, channels)
	for i := range names {
		names[i] = strconv.Itoa(i)
	}
	s := ProfileSettings{AboveC: 190, ReferenceC: 200, ActivationKJMol: 80, Window: CureWindow{Points: []CurePoint{{190, 15, 0}, {200, 10, 0}}}}
	b.ReportAllocs()
	for b.Loop() {
		p, err := NewProfiler(s, names...)
		if err != nil {
			b.Fatal(err)
		}
		for i := range rows {
			if err := p.Add(float64(i), data[i*channels:(i+1)*channels]); err != nil {
				b.Fatal(err)
			}
		}
		if _, err := p.Profile(); err != nil {
			b.Fatal(err)
		}
	}
}
