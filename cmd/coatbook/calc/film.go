package calc

import (
	"math"
	"slices"
	"strings"

	"coatbook/quality"
	"coatbook/quality/process"
)

// The fewest measuring areas of one object, and spots of one area, that decide anything.
//
// Source: Qualicoat specifications 2.3 (from memory, unverified); SSPC-PA 2 (seen in summaries).
const (
	fewestAreas = 5
	floorShare  = 0.85 // of the minimum, where --floor is not given; AAMA 2603 to 2605 (seen in a comparison table)
)

var filmCommand = command{
	name: "film", summary: "the verdict on film thickness readings by an acceptance rule",
	usage:     "--rule areas80|spot-area|each|share --min X [--max X] [flags] [FILE|-]",
	readsFile: true, run: film,
	flags: []flagDef{
		{"rule", "RULE", "areas80, spot-area, each or share; may be left out with --compare"},
		{"min", "X", "specified minimum"}, {"max", "X", "specified maximum"},
		{"level", "L", "spot-area: restriction level 1 to 5, default 3"},
		{"share", "P", "share: least share of the readings at the minimum or more, default 0.8"},
		{"floor", "X", "share: low limit of every reading, default 85 % of the minimum"},
		{"least", "N", "fewest areas that make the record complete, default 5 for areas80 and spot-area, else 1"},
		{"unit", "U", "um (default) or mil, of readings and limits"},
		{"compare", "", "give the verdict of every rule on the same readings as well"}, jsonFlag,
	},
	notes: []string{
		"The file has the columns area and reading, one row for each reading. What stands under one area was read at one place: the mean is the",
		"area's value for areas80, and a spot for spot-area, whose area is then all of them. With a column spot besides, spot-area takes",
		"spots in areas. An empty reading is one that is still missing: the record is incomplete, which is never a pass. A reading equal to",
		"a limit meets it. mean is that of the areas (of the readings for each and share); areas has the mean of each area in file order.",
	},
	input:   "area,reading\n1,82\n2,68\n3,75\n4,93\n5,86\n",
	example: "--rule areas80 --min 60 --compare",
}

func film(c *call) (*result, error) {
	spec, err := c.filmSpec()
	if err != nil {
		return nil, err
	}
	least, err := c.whole("least")
	if err != nil {
		return nil, err
	}
	t, err := c.open()
	if err != nil {
		return nil, err
	}
	f := &filmFile{unit: spec.unit()}
	if err := f.read(t, spec.Rule == quality.SpotArea); err != nil {
		return nil, err
	}
	judge := func(s quality.FilmSpec) quality.Judgement {
		s.Spots, s.SpotsPerArea = fewest(s.Rule, least, f.spotted)
		readings := slices.Clone(f.check.Readings)
		return quality.Judge(quality.FinishSpec{Film: &s}, quality.Circumstance{Plan: f.plan}, &quality.Check{Kind: quality.Film, Readings: readings})
	}
	r := f.result(spec.FilmSpec, judge)
	if c.has("compare") {
		var rows []object
		for _, set := range quality.FilmRuleSets(spec.FilmSpec) {
			rows = append(rows, object{{"rule", strings.Replace(set.Code, "spot_area", "spot-area", 1)}, {"verdict", string(judge(set.Spec).Verdict)}, {"name", set.Name}, {"source", set.Source}})
		}
		r.values = append(r.values, field{"compare", rows})
		r.text = append(r.text, field{"compare", rows})
	}
	return r, nil
}

type filmRequest struct{ quality.FilmSpec }

// unit is the unit of all figures of the request.
func (f filmRequest) unit() quality.Unit {
	if f.Limits.Low != nil {
		return f.Limits.Low.Unit
	}
	return f.Limits.High.Unit
}

// fewest is how many spots, and spots in an area, the rule asks for.
func fewest(rule quality.FilmRule, least int, spotted bool) (spots, perArea int) {
	switch {
	case rule == quality.SpotArea && spotted:
		return 1, max(least, fewestAreas)
	case least > 0:
		return least, 0
	case rule == quality.Areas80 || rule == quality.SpotArea:
		return fewestAreas, 0
	}
	return 1, 0
}

func (c *call) filmSpec() (filmRequest, error) {
	var s filmRequest
	rule, err := c.one("rule", "", "areas80", "spot-area", "each", "share")
	if err != nil || rule == "" && !c.has("compare") {
		return s, refuse("--rule is “%s”; give areas80, spot-area, each or share", clip(c.text("rule")))
	}
	unit, err := c.one("unit", "um", "mil")
	if err != nil {
		return s, err
	}
	s.Rule = quality.FilmRule(strings.ReplaceAll(rule, "-", "_"))
	for name, limit := range map[string]**quality.Limit{"min": &s.Limits.Low, "max": &s.Limits.High, "floor": &s.Floor} {
		v, err := c.number(name)
		if err != nil {
			return s, err
		}
		if v != nil {
			*limit = &quality.Limit{Value: *v, Unit: quality.Unit(unit)}
		}
	}
	if s.Share, err = c.numberOr("share", 0.8); err != nil {
		return s, err
	}
	if s.Level, err = c.whole("level"); err != nil {
		return s, err
	}
	if !c.has("level") {
		s.Level = 3
	}
	low, high := s.Limits.Low, s.Limits.High
	switch {
	case low == nil && (high == nil || s.Rule != quality.EachReading || c.has("compare")):
		return s, refuse("--min X is missing; without a minimum nothing can be judged")
	case low != nil && high != nil && low.Value > high.Value:
		return s, refuse("--min %s is above --max %s", rounded(low.Value), rounded(high.Value))
	case !(s.Share > 0 && s.Share <= 1):
		return s, refuse("--share is %s; give a figure over 0 and up to 1, such as 0.8", rounded(s.Share))
	case s.Level < 1 || s.Level > 5:
		return s, refuse("--level is %d; the restriction levels are 1 to 5", s.Level)
	case low != nil && s.Floor != nil && s.Floor.Value > low.Value:
		return s, refuse("--floor %s is above --min %s", rounded(s.Floor.Value), rounded(low.Value))
	}
	if s.Floor == nil && low != nil {
		s.Floor = &quality.Limit{Value: math.Round(low.Value*floorShare*1e9) / 1e9, Unit: low.Unit}
	}
	return s, nil
}

// A filmFile is what a file of readings holds, as a check. A spot is what was read at one place.
type filmFile struct {
	unit     quality.Unit
	check    quality.Check
	plan     []quality.Place
	names    []string
	spotted  bool // the file names spots inside areas, and the rule uses them
	readings []float64
}

func (f *filmFile) read(t *table, spots bool) error {
	at, err := t.columns("area", "reading")
	if err != nil {
		return err
	}
	spot := slices.Index(t.header, "spot")
	f.spotted = spots && spot >= 0
	known := map[string]int{}
	return t.each(func() error {
		if err := t.hold(); err != nil {
			return err
		}
		area, err := t.label(at[0])
		if err != nil {
			return err
		}
		label := strings.Clone(area)
		place := quality.Place{Name: "area " + label}
		if f.spotted {
			name, err := t.label(spot)
			if err != nil {
				return err
			}
			place = quality.Place{Area: label, Name: strings.Clone(name)}
			label += " " + place.Name
		}
		key := place.Area + "\x00" + place.Name
		if known[key] == 0 {
			known[key] = len(f.plan) + 1
			place.Spot = len(f.plan) + 1
			f.plan, f.names = append(f.plan, place), append(f.names, label)
		}
		r := quality.Reading{Characteristic: "film_thickness", Spot: known[key], Unit: f.unit, Source: "file"}
		if text := strings.TrimSpace(t.record[at[1]]); text == "" {
			r.Absence = quality.Pending
		} else if r.Value, err = t.number(at[1]); err != nil {
			return err
		} else {
			r.Text = strings.Clone(text)
			f.readings = append(f.readings, r.Value)
		}
		f.check.Readings = append(f.check.Readings, r)
		return nil
	})
}

func (f *filmFile) result(spec quality.FilmSpec, judge func(quality.FilmSpec) quality.Judgement) *result {
	r := &result{}
	means, mean := f.means(spec)
	verdict := any(nil)
	findings := []object{}
	if spec.Rule == "" {
		r.notes = append(r.notes, "No --rule was given, so there is no verdict of its own.")
	} else {
		j := judge(spec)
		verdict = string(j.Verdict)
		for _, finding := range j.Findings {
			findings = append(findings, object{
				{"rule", finding.Rule}, {"verdict", string(finding.Verdict)}, {"place", finding.Place}, {"limit", finding.Limit}, {"value", finding.Value},
				{"unit", ifGiven(finding.Unit != "", string(finding.Unit))}, {"text", finding.Text},
			})
		}
		r.notes = append(r.notes, "Rule: "+j.Rule+".")
	}
	if mean == nil {
		r.notes = append(r.notes, "No reading holds a number, so there is no mean.")
	} else if slices.Contains(means, nil) {
		r.notes = append(r.notes, "An area without a reading has no mean.")
	}
	r.values = object{
		{"verdict", verdict}, {"mean", mean}, {"areas", means}, {"area_names", f.names}, {"readings", len(f.readings)}, {"findings", findings},
	}
	var areas, deciding []object
	for i, name := range f.names {
		areas = append(areas, object{{"area", name}, {"mean", means[i]}})
	}
	for _, finding := range findings {
		deciding = append(deciding, object{finding[1], finding[len(finding)-1]})
	}
	r.text = object{{"verdict", verdict}, {"mean", mean}, {"areas", areas}, {"findings", deciding}}
	return r
}

// means returns the mean of each place in the order of the file, nil without a reading, and that of all.
func (f *filmFile) means(spec quality.FilmSpec) (means []*float64, all *float64) {
	means = make([]*float64, len(f.plan))
	summary := quality.FilmSummaryOf(spec, quality.Circumstance{Plan: f.plan}, f.check)
	for _, s := range summary.Spots {
		means[s.Spot-1] = &s.Mean
	}
	if len(summary.Spots) == 0 {
		return means, nil
	}
	mean := summary.Mean
	if spec.Rule == quality.EachReading || spec.Rule == quality.ShareOfReadings {
		if s, err := process.Summarize(f.readings); err == nil {
			mean = s.Mean
		}
	}
	return means, &mean
}
