package calc

import (
	"fmt"
	"math"
	"strings"

	"coatbook/quality"
)

// mostDrawn is how many points a picture may show.
const mostDrawn = 20_000

var cureCommand = command{
	name: "cure", summary: "an oven profile: time above a temperature, peak, equivalent time, spread",
	usage:     "--time COL --channels A,B,… --above-c T [flags] [FILE|-]",
	readsFile: true, run: cure,
	flags: []flagDef{
		{"time", "COL", "column of the time in seconds, rising"}, {"channels", "COLS", "columns of the metal temperatures in °C, with commas between"},
		{"above-c", "T", "temperature at or over which time counts"},
		{"reference-c", "T", "temperature of the equivalent time, default 200"},
		{"activation-kj-mol", "E", "activation energy of the equivalent time"},
		{"points", "LIST", `points of the powder's data sheet as temperature:minutes, such as "190:15,200:10", for the dose`},
		{"max-gap", "S", "longest interval in seconds that is bridged; default five times the usual one, at least 60"},
		svgFlag, jsonFlag,
	},
	notes: []string{
		"Temperature runs straight between rows. equivalent_minutes takes the trapezoid rule on the rate at the rows, in kelvin with",
		"R = 8.314462618; equivalent_minutes_linear is exact for the straight line. spread_c is the largest difference between channels at one",
		"moment while all are at or over above-c; peak_spread_c that between their peaks. dose is the share of the cure that the points",
		"ask for (1 is just enough), interpolated as ln t against 1/T. An empty cell, or one outside −50 to 500 °C, is an open",
		"thermocouple: it makes the record incomplete, as a gap does, and the figures are then the least that is certain.",
	},
	input:   "time_s,T1,T2\n0,25,24\n300,150,140\n600,201,195\n900,203,199\n1200,160,150\n",
	example: "--time time_s --channels T1,T2 --reference-c 200 --activation-kj-mol 80 --above-c 190 --max-gap 300",
}

func cure(c *call) (*result, error) {
	if err := c.need("time", "channels", "above-c"); err != nil {
		return nil, err
	}
	settings, err := c.profileSettings()
	if err != nil {
		return nil, err
	}
	names := strings.Split(c.text("channels"), ",")
	for i := range names {
		names[i] = strings.TrimSpace(names[i])
	}
	profiler, err := quality.NewProfiler(settings, names...)
	if err != nil {
		return nil, profileRefusal(err)
	}
	t, err := c.open()
	if err != nil {
		return nil, err
	}
	at, err := t.columns(append([]string{c.text("time")}, names...)...)
	if err != nil {
		return nil, err
	}
	drawn := &profilePicture{above: settings.AboveC, names: names, celsius: make([][]float64, len(names))}
	row := make([]float64, len(names))
	err = t.each(func() error {
		seconds, err := t.profileRow(at, row)
		if err != nil {
			return err
		}
		if c.has("svg") && !drawn.add(seconds, row) {
			return refuse("--svg: a picture shows at most %d rows", mostDrawn)
		}
		if err := profiler.Add(seconds, row); err != nil {
			return refuse("%s: “%s” is not a time after the row before", t.at(at[0]), clip(t.record[at[0]]))
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	p, err := profiler.Profile()
	if err != nil {
		return nil, t.in(err, c.text("time"))
	}
	r := profileResult(p)
	r.svg = drawn.draw
	return r, nil
}

func (c *call) profileSettings() (quality.ProfileSettings, error) {
	var s quality.ProfileSettings
	var err error
	for _, f := range []struct {
		name      string
		otherwise float64
		field     *float64
	}{{"above-c", 0, &s.AboveC}, {"reference-c", 200, &s.ReferenceC}, {"activation-kj-mol", 0, &s.ActivationKJMol}, {"max-gap", 0, &s.MaxGapS}} {
		if *f.field, err = c.numberOr(f.name, f.otherwise); err != nil {
			return s, err
		}
	}
	if c.has("activation-kj-mol") && !(s.ActivationKJMol > 0) {
		return s, refuse("--activation-kj-mol is %s; it must be over 0", rounded(s.ActivationKJMol))
	}
	if !c.has("points") {
		return s, nil
	}
	for _, point := range strings.Split(c.text("points"), ",") {
		celsius, minutes, pair := strings.Cut(point, ":")
		temperature, wrongT := parseNumber(celsius)
		least, wrongM := parseNumber(minutes)
		if !pair || wrongT != "" || wrongM != "" {
			return s, refuse("--points: “%s” is not a temperature and minutes, such as 190:15", clip(point))
		}
		s.Window.Points = append(s.Window.Points, quality.CurePoint{MetalC: temperature, MinMinutes: least})
	}
	return s, nil
}

// profileRefusal says what is wrong with the settings of a profile.
func profileRefusal(err error) error {
	return refuse("%s", strings.TrimPrefix(err.Error(), quality.ErrProfileSettings.Error()+": "))
}

// profileRow reads the time and the temperatures of the current row; an empty temperature is an open thermocouple.
func (t *table) profileRow(at []int, celsius []float64) (seconds float64, err error) {
	if seconds, err = t.number(at[0]); err != nil {
		return 0, err
	}
	for i, column := range at[1:] {
		if strings.TrimSpace(t.record[column]) == "" {
			celsius[i] = math.NaN()
			continue
		}
		if celsius[i], err = t.number(column); err != nil {
			return 0, err
		}
	}
	return seconds, nil
}

func profileResult(p quality.CureProfile) *result {
	r := &result{notes: p.Notes}
	var channels, rows []object
	for _, ch := range p.Channels {
		read := ch.Readings > 0
		incomplete := ch.Incomplete
		if incomplete == nil {
			incomplete = []string{}
		}
		figures := object{
			{"name", ch.Name}, {"peak_c", ifGiven(read, ch.PeakC)}, {"seconds_above", ch.SecondsAbove}, {"longest_run_seconds", ch.LongestRunS},
			{"equivalent_minutes", ch.EquivalentMinutes},
		}
		rows = append(rows, append(figures[:len(figures):len(figures)], field{"complete", ch.Complete()}))
		channels = append(channels, append(figures, object{
			{"equivalent_minutes_linear", ch.EquivalentMinutesLinear}, {"peak_at_s", ifGiven(read, ch.PeakAtS)}, {"reached_at_s", ch.ReachedS},
			{"ramp_k_per_min", ch.RampKPerMin}, {"dose", ch.Dose}, {"dose_extrapolated", ch.DoseExtrapolated}, {"seconds_over_points", ch.SecondsOverWindow},
			{"complete", ch.Complete()}, {"incomplete", incomplete},
		}...))
	}
	figures := object{
		{"spread_c", p.SoakSpreadC}, {"soak_seconds", p.SoakS}, {"peak_spread_c", p.PeakSpreadC}, {"rows", p.Rows}, {"complete", p.Complete()},
		{"above_c", p.Settings.AboveC}, {"reference_c", p.Settings.ReferenceC}, {"activation_kj_mol", ifGiven(p.Settings.ActivationKJMol > 0, p.Settings.ActivationKJMol)},
	}
	r.values = append(object{{"channels", channels}}, figures...)
	r.text = append(object{{"channels", rows}}, figures[:5]...)
	if p.Settings.ActivationKJMol == 0 {
		r.notes = append(r.notes, "Equivalent minutes are not defined without --activation-kj-mol.")
	}
	if len(p.Settings.Window.Points) == 0 {
		r.notes = append(r.notes, "The dose is not defined without --points.")
	}
	for _, ch := range p.Channels {
		if ch.ReachedS == nil {
			r.notes = append(r.notes, fmt.Sprintf("%s was never at or over %s °C, so the time when it was is not defined.", ch.Name, rounded(p.Settings.AboveC)))
		}
	}
	return r
}
