package web

import (
	"cmp"
	"fmt"
	"strings"

	"coatbook/quality"
	"coatbook/web/form"
	"coatbook/web/page"
)

// The form of a finish spec: its fields by section, how a stored spec stands in them, and how they are read back. A section
// whose box is not ticked is not asked for.

// specBound is one optional end of a limit.
func specBound(name, word, unit string, low, high float64) form.Entry {
	return form.Entry{Kind: form.Number, Name: name, Label: word, Unit: unit, Low: low, High: high, Optional: true}
}

// A specLimitField is a pair of optional bounds in one unit, within the specPlausible range of a characteristic.
type specLimitField struct {
	name, label, code string
	unit              quality.Unit
}

func (l specLimitField) entries() (low, high form.Entry) {
	from, to := specPlausible(l.code, l.unit)
	return specBound(l.name+"-low", "at least", "", from, to), specBound(l.name+"-high", "at most", l.unit.Symbol(), from, to)
}

func specPlausible(code string, unit quality.Unit) (low, high float64) {
	c, _ := quality.CharacteristicOf(code)
	low, errLow := quality.Convert(c.Low, c.Canonical(), unit)
	high, errHigh := quality.Convert(c.High, c.Canonical(), unit)
	if errLow != nil || errHigh != nil {
		return c.Low, c.High
	}
	return low, high
}

func (l specLimitField) field(a *form.Answers) page.SetupField {
	low, high := l.entries()
	return span(a, l.name, l.label, fmt.Sprintf("%s to %s %s", setupNumber(low.Low), quality.Number(low.High, 1), l.unit.Symbol()), low, high)
}

func (l specLimitField) read(a *form.Answers) quality.Limits {
	low, high := l.entries()
	low.Label, high.Label, low.Unit = l.label+", at least", l.label+", at most", high.Unit
	var limits quality.Limits
	if v := a.Number(low); v != nil {
		limits.Low = &quality.Limit{Value: *v, Unit: l.unit}
	}
	if v := a.Number(high); v != nil {
		limits.High = &quality.Limit{Value: *v, Unit: l.unit}
	}
	return limits
}

// stand writes limits into the form; those stored in another unit are converted exactly.
func (l specLimitField) stand(a *form.Answers, limits quality.Limits) {
	put := func(name string, limit *quality.Limit) {
		if limit == nil {
			return
		}
		if v, err := limit.In(l.unit); err == nil {
			a.Values.Set(name, setupNumber(v))
		}
	}
	put(l.name+"-low", limits.Low)
	put(l.name+"-high", limits.High)
}

var (
	specAskTick = func(name, label string) form.Entry {
		return form.Entry{Kind: form.Tick, Name: name, Label: label, Wide: true}
	}
	specCycles   = form.Entry{Kind: form.Whole, Name: "cycles", Label: "Trips through coating in all", Hint: "2 allows one strip and recoat", Low: 1, High: 9}
	specReleaser = form.Entry{Kind: form.Tick, Name: "releaser", Label: "Release by a second person", Hint: "when one person made every check"}

	specArticleAsk = specAskTick("article", "Ask for an approved first article before series work")
	specArticleGap = form.Entry{Kind: form.Whole, Name: "article-gap", Label: "Due again after days without a series part", Unit: "days", Hint: "0 does not ask", Low: 0, High: 3650}

	specWeldAsk    = specAskTick("weld", "Ask for a weld check")
	specWeldLevel  = form.Entry{Kind: form.Pick, Name: "weld-level", Label: "Quality level", Options: limitLevel.Options}
	specWeldLeg    = specLimitField{"weld-leg", "Leg length", "weld_leg", quality.Millimetre}
	specWeldThroat = specLimitField{"weld-throat", "Throat thickness", "weld_throat", quality.Millimetre}
	specWeldLight  = specLimitField{"weld-light", "Light at the weld", "light", quality.Lux}

	specWeldFiller = form.Entry{Kind: form.Tick, Name: "weld-filler", Label: "Name the filler metal's lot"}
	specWeldHeat   = form.Entry{Kind: form.Tick, Name: "weld-heat", Label: "Name the heat of the aluminium"}

	specWashAsk   = specAskTick("wash", "Ask for pretreatment")
	specWashBreak = form.Entry{Kind: form.Tick, Name: "wash-break", Label: "Water-break test after the last rinse"}
	specWashLots  = form.Entry{Kind: form.Tick, Name: "wash-lots", Label: "Name the lots of cleaner and conversion chemical"}
	specWashHours = form.Entry{Kind: form.Number, Name: "wash-hours", Label: "Longest time from wash to powder", Unit: "h", Hint: "0 sets no limit", Low: 0, High: 1000}
	specWashBath  = form.Entry{Kind: form.Pick, Name: "wash-bath", Label: "Wash in a bath out of limits or not read in time", Options: optionsOf("flag", "is flagged on the record", "refuse", "is refused")}
	specStageKind = form.Entry{Kind: form.Pick, Label: "stage", Options: washStageOptions, Optional: true}
	specStageName = form.Entry{Kind: form.Text, Label: "name", Max: 60, Optional: true, Wide: true}

	specCoatAsk     = specAskTick("coat", "Ask for a coating run")
	specCoatPowders = form.Entry{Kind: form.Text, Name: "coat-powders", Label: "Powders allowed", Hint: "their codes with spaces between; empty allows any", Max: 400, Optional: true, Wide: true}
	specCoatAir     = specLimitField{"coat-air", "Air temperature at the booth", "air_temperature", quality.Celsius}
	specCoatHumid   = specLimitField{"coat-humidity", "Relative humidity", "humidity", quality.Percent}
	specCoatDew     = form.Entry{Kind: form.Number, Name: "coat-dew", Label: "Part above the dew point by", Unit: "K", Hint: "0 does not ask", Low: 0, High: 20}
	specCoatGround  = specLimitField{"coat-ground", "Resistance of hanger to earth", "ground_resistance", quality.Megohm}
	specCoatVoltage = specLimitField{"coat-voltage", "Gun voltage", "gun_voltage", quality.Kilovolt}

	specCureAsk      = specAskTick("cure", "Ask for a cure run")
	specCureSchedule = form.Entry{Kind: form.Number, Name: "cure-schedule", Label: "Time counts from metal at", Unit: "°C", Low: 50, High: 300}
	specCureChannels = form.Entry{Kind: form.Whole, Name: "cure-channels", Label: "Metal temperatures for each run", Low: 1, High: 12}
	specCureSpread   = form.Entry{Kind: form.Number, Name: "cure-spread", Label: "Peaks apart by at most", Unit: "K", Hint: "0 does not ask", Low: 0, High: 100}

	specRubAsk       = specAskTick("rub", "Ask for a solvent-rub cure test")
	specRubSolvent   = form.Entry{Kind: form.Text, Name: "rub-solvent", Label: "Solvent", Hint: "such as MEK", Max: 60}
	specRubCount     = form.Entry{Kind: form.Whole, Name: "rub-count", Label: "Double rubs", Low: 1, High: 200}
	specRubWait      = form.Entry{Kind: form.Whole, Name: "rub-wait", Label: "Wait before judging", Unit: "s", Low: 0, High: 3600}
	specRubPass      = form.Entry{Kind: form.Pick, Name: "rub-pass", Label: "Lowest rating that passes", Options: optionsOf("2", "2, dull, can be scratched", "3", "3, slight loss of gloss", "4", "4, no change")}
	specRubLot       = form.Entry{Kind: form.Tick, Name: "rub-lot", Label: "Name the solvent's lot"}
	specRubReference = form.Entry{Kind: form.Text, Name: "rub-reference", Label: "Judged against", Hint: "such as the cured control panel", Max: 120, Optional: true}

	specFinishAsk      = specAskTick("finish", "Ask for a finish check")
	specFinishDistance = form.Entry{Kind: form.Number, Name: "finish-distance", Label: "Viewing distance", Unit: "mm", Hint: "0 does not ask", Low: 0, High: 10000}
	specFinishLight    = specLimitField{"finish-light", "Light at the part", "light", quality.Lux}
	specDefectCode     = form.Entry{Kind: form.Pick, Label: "defect", Options: specDefectOptions(), Optional: true}
	specDefectCount    = form.Entry{Kind: form.Whole, Label: "up to", Low: 0, High: 999, Optional: true}
	specDefectSize     = form.Entry{Kind: form.Number, Label: "of at most", Unit: "mm", Low: 0, High: 500, Optional: true}
	specGlossAsk       = form.Entry{Kind: form.Tick, Name: "gloss", Label: "Measure gloss"}
	specGlossGeometry  = form.Entry{Kind: form.Pick, Name: "gloss-geometry", Label: "Gloss geometry", Options: optionsOf("20", "20°", "60", "60°", "85", "85°")}
	specGlossNominal   = form.Entry{Kind: form.Number, Name: "gloss-nominal", Label: "Nominal gloss", Unit: "GU", Low: 0, High: 2000}
	specGlossTolerance = form.Entry{Kind: form.Number, Name: "gloss-tolerance", Label: "Plus or minus", Unit: "GU", Low: 0.1, High: 100}
	specAdhesionAsk    = form.Entry{Kind: form.Tick, Name: "adhesion", Label: "Test adhesion"}
	specAdhesionClass  = form.Entry{Kind: form.Pick, Name: "adhesion-class", Label: "Method and worst class that passes", Options: specAdhesionOptions()}

	specFilmAsk      = specAskTick("film", "Ask for film thickness")
	specFilmUnit     = form.Entry{Kind: form.Pick, Name: "film-unit", Label: "Written in", Options: optionsOf("um", "µm", "mil", "mil")}
	specFilmMicron   = specLimitField{"film-um", "Limits in µm", "film_thickness", quality.Micrometre}
	specFilmMil      = specLimitField{"film-mil", "Limits in mil", "film_thickness", quality.Mil}
	specFilmRule     = form.Entry{Kind: form.Pick, Name: "film-rule", Label: "Acceptance rule", Options: specRuleOptions()}
	specFilmLevel    = form.Entry{Kind: form.Whole, Name: "film-level", Label: "Restriction level", Hint: "spot and area rule only", Low: 1, High: 5, Optional: true}
	specFilmShare    = form.Entry{Kind: form.Number, Name: "film-share", Label: "Share of readings at the minimum", Unit: "%", Hint: "share rule only", Low: 1, High: 100, Optional: true}
	specFilmFloor    = form.Entry{Kind: form.Number, Name: "film-floor", Label: "No reading under", Hint: "share rule only, in the spec's unit", Low: 0, High: 1000, Optional: true}
	specFilmSpots    = form.Entry{Kind: form.Whole, Name: "film-spots", Label: "Spots at least", Low: 1, High: 99}
	specFilmReadings = form.Entry{Kind: form.Whole, Name: "film-readings", Label: "Readings at each spot at least", Low: 1, High: 9}
	specFilmGuard    = form.Entry{Kind: form.Number, Name: "film-guard", Label: "Guard band", Hint: "the gauge's uncertainty, in the spec's unit; 0 for none", Low: 0, High: 50}
	specFilmTotal    = form.Entry{Kind: form.Number, Name: "film-total", Label: "Greatest film after recoating", Hint: "in the spec's unit", Low: 0.1, High: 2000, Optional: true}
)

func specDefectOptions() []form.Option {
	var out []form.Option
	for _, d := range quality.FinishDefects {
		if d.Code != quality.ScratchToMetal {
			out = append(out, form.Option{Value: d.Code, Label: d.Name})
		}
	}
	return out
}

func specAdhesionOptions() []form.Option {
	names := map[string]string{"D3359A": "ASTM D3359 A", "D3359B": "ASTM D3359 B", "ISO2409": "ISO 2409"}
	var out []form.Option
	for _, method := range quality.AdhesionMethods {
		for _, class := range quality.AdhesionClasses(method) {
			out = append(out, form.Option{Value: method + " " + class, Label: names[method] + ", class " + class})
		}
	}
	return out
}

func specRuleOptions() []form.Option {
	return optionsOf(string(quality.Areas80), "Mean at the minimum, no area under 80 %", string(quality.SpotArea), "Spots and areas by restriction level",
		string(quality.EachReading), "Every reading within the limits", string(quality.ShareOfReadings), "A share of the readings, and a low limit")
}

// specStageLimits are the limits a stage of the wash can have.
var specStageLimits = []specLimitField{
	{"temperature", "Temperature", "stage_temperature", quality.Celsius}, {"time", "Time", "stage_time", quality.Second},
	{"concentration", "Concentration", "concentration", quality.Percent}, {"ph", "pH", "ph", quality.PH}, {"conductivity", "Conductivity at 20 °C", "conductivity", quality.MicroSiemens},
}

// specStages and specDefects are how many stages and permitted defects the form holds.
const (
	specStages  = 12
	specDefects = 12
	spareRows   = 2
)

func specStageAt(i int) (kind, name form.Entry, limits []specLimitField) {
	prefix := fmt.Sprintf("stage%d", i)
	for _, l := range specStageLimits {
		l.name = prefix + "-" + l.name
		limits = append(limits, l)
	}
	return specStageKind.As(prefix + "-kind"), specStageName.As(prefix + "-name"), limits
}

func specDefectAt(i int) []form.Entry {
	prefix := fmt.Sprintf("defect%d", i)
	return []form.Entry{specDefectCode.As(prefix + "-code"), specDefectCount.As(prefix + "-count"), specDefectSize.As(prefix + "-size")}
}

// specGroups are the sections of the form, with what Validate says at each.
func specGroups(a *form.Answers, says map[string][]string) []page.SetupGroup {
	weld := page.SetupGroup{Legend: "Weld check", Problems: says["weld"], Fields: append(fields(a, specWeldAsk, specWeldLevel), specWeldLeg.field(a), specWeldThroat.field(a), specWeldLight.field(a), field(a, specWeldFiller), field(a, specWeldHeat))}
	coat := page.SetupGroup{Legend: "Coating", Problems: says["coat"], Fields: append(fields(a, specCoatAsk, specCoatPowders), specCoatAir.field(a), specCoatHumid.field(a), field(a, specCoatDew), specCoatGround.field(a), specCoatVoltage.field(a))}
	film := page.SetupGroup{Legend: "Film thickness", Problems: says["film"], Note: "Fill the limits in the unit the spec is written in. Fill the other line too only where the spec gives its own figures in it: each rules for readings in its unit.",
		Fields: append(fields(a, specFilmAsk, specFilmUnit), specFilmMicron.field(a), specFilmMil.field(a))}
	film.Fields = append(film.Fields, fields(a, specFilmRule, specFilmLevel, specFilmShare, specFilmFloor, specFilmSpots, specFilmReadings, specFilmGuard, specFilmTotal)...)
	groups := []page.SetupGroup{weld, {Legend: "Pretreatment", Problems: says["wash"], Note: "Every value that has limits must be measured. Saving gives two more empty stages.", Fields: fields(a, specWashAsk, specWashBreak, specWashLots, specWashHours, specWashBath)}}
	groups = append(groups, specStageGroups(a)...)
	groups = append(groups, coat,
		page.SetupGroup{Legend: "Cure", Problems: says["cure"], Note: "The cure window itself belongs to the powder.", Fields: fields(a, specCureAsk, specCureSchedule, specCureChannels, specCureSpread)},
		page.SetupGroup{Legend: "Cure test", Problems: says["rub"], Fields: fields(a, specRubAsk, specRubSolvent, specRubCount, specRubWait, specRubPass, specRubReference, specRubLot)}, specPanelGroup(a, says["panel"]), specFinishGroup(a, says["finish"]), film)
	groups = append(groups, specSampleGroups(a, says)...)
	groups = append(groups, page.SetupGroup{Legend: "First article", Note: "Series parts of a part number wait until a first article is approved: for a new part number, and again after a new spec revision, powder, booth or oven.", Fields: fields(a, specArticleAsk, specArticleGap)})
	return append(groups, page.SetupGroup{Legend: "In all", Problems: says["all"], Fields: fields(a, specCycles, specReleaser)})
}

func specStageGroups(a *form.Answers) []page.SetupGroup {
	var groups []page.SetupGroup
	spare := 0
	for i := range specStages {
		kind, name, limits := specStageAt(i)
		empty := rowEmpty(a, []form.Entry{kind, name})
		if empty {
			if spare++; spare > spareRows {
				break
			}
		}
		g := page.SetupGroup{Legend: fmt.Sprintf("Stage %d", i+1), Folded: empty}
		if !empty {
			g.Legend += ": " + a.Values.Get(name.Name)
		}
		g.Fields = append(g.Fields, span(a, kind.Name+"-row", "Stage", "", kind, name))
		g.Fields[0].Wide = true
		for _, l := range limits {
			g.Fields = append(g.Fields, l.field(a))
		}
		groups = append(groups, g)
	}
	return groups
}

func specFinishGroup(a *form.Answers, problems []string) page.SetupGroup {
	g := page.SetupGroup{Legend: "Finish check", Problems: problems, Note: "A defect without a line here is not permitted. Size 0 sets no size. Saving gives two more empty lines.",
		Fields: append(fields(a, specFinishAsk, specFinishDistance), specFinishLight.field(a))}
	spare := 0
	for i := range specDefects {
		row := specDefectAt(i)
		if rowEmpty(a, row) {
			if spare++; spare > spareRows {
				break
			}
		}
		one := span(a, fmt.Sprintf("defect%d", i), fmt.Sprintf("Permitted defect %d", i+1), "", row...)
		one.Wide = true
		g.Fields = append(g.Fields, one)
	}
	g.Fields = append(g.Fields, fields(a, specGlossAsk, specGlossGeometry, specGlossNominal, specGlossTolerance, specAdhesionAsk, specAdhesionClass, specAdhesionConditions)...)
	return g
}

// specSays asks Validate about each section by itself, so that its sentences stand at the section.
func specSays(spec quality.FinishSpec) map[string][]string {
	alone := map[string]quality.FinishSpec{
		"weld": {MaxCycles: 1, Weld: spec.Weld}, "wash": {MaxCycles: 1, Pretreatment: spec.Pretreatment}, "coat": {MaxCycles: 1, Coating: spec.Coating},
		"cure": {MaxCycles: 1, Cure: spec.Cure}, "rub": {MaxCycles: 1, CureTest: spec.CureTest}, "panel": {MaxCycles: 1, PanelTest: spec.PanelTest}, "finish": {MaxCycles: 1, Finish: spec.Finish}, "film": {MaxCycles: 1, Film: spec.Film},
	}
	says := map[string][]string{}
	said := map[string]bool{}
	for section, part := range alone {
		if len(part.Asks()) == 0 {
			continue
		}
		says[section] = part.Validate()
		for _, sentence := range says[section] {
			said[sentence] = true
		}
	}
	for _, sentence := range spec.Validate() {
		if !said[sentence] {
			section := cmp.Or(sampleSection(sentence), "all")
			says[section] = append(says[section], sentence)
		}
	}
	return says
}

// specPowderCodes splits the codes of the powders allowed.
func specPowderCodes(text string) []string {
	return strings.FieldsFunc(strings.ToUpper(text), func(r rune) bool { return r == ' ' || r == ',' || r == ';' })
}
