package web

import (
	"cmp"
	"net/url"
	"strconv"
	"strings"

	"coatbook/quality"
	"coatbook/web/form"
)

// specStands writes a spec into the form it is changed in.
func specStands(spec quality.FinishSpec) *form.Answers {
	a := form.New(url.Values{})
	set := func(e form.Entry, text string) { a.Values.Set(e.Name, text) }
	set(specCycles, strconv.Itoa(spec.MaxCycles))
	set(specReleaser, yes(spec.ReleaserNotSoleInspector))
	set(specWeldFiller, yes(spec.Requires.Filler))
	set(specWeldHeat, yes(spec.Requires.Heat))
	set(specWashLots, yes(spec.Requires.Chemicals))
	set(specRubLot, yes(spec.Requires.Solvent))
	if w := spec.Weld; w != nil {
		set(specWeldAsk, "yes")
		set(specWeldLevel, w.Level)
		specWeldLeg.stand(a, w.Leg)
		specWeldThroat.stand(a, w.Throat)
		specWeldLight.stand(a, w.Light)
	}
	specStandWash(a, spec.Pretreatment)
	if c := spec.Coating; c != nil {
		set(specCoatAsk, "yes")
		set(specCoatPowders, strings.Join(c.Powders, " "))
		specCoatAir.stand(a, c.Air)
		specCoatHumid.stand(a, c.Humidity)
		specCoatGround.stand(a, c.Ground)
		specCoatVoltage.stand(a, c.Voltage)
		set(specCoatDew, setupNumber(c.DewPointMarginC))
	}
	if c := spec.Cure; c != nil {
		set(specCureAsk, "yes")
		set(specCureSchedule, setupNumber(c.ScheduleC))
		set(specCureChannels, strconv.Itoa(c.Channels))
		set(specCureSpread, setupNumber(c.MaxSpreadC))
	}
	if c := spec.CureTest; c != nil {
		set(specRubAsk, "yes")
		set(specRubSolvent, c.Solvent)
		set(specRubCount, strconv.Itoa(c.Rubs))
		set(specRubWait, strconv.Itoa(c.WaitS))
		set(specRubPass, strconv.Itoa(c.PassFrom))
		set(specRubReference, c.Reference)
	}
	specStandPanel(a, spec.PanelTest)
	specStandFinish(a, spec.Finish)
	specStandFilm(a, spec.Film)
	specStandSampling(a, spec.Sampling)
	if f := spec.FirstArticle; f != nil {
		set(specArticleAsk, "yes")
		set(specArticleGap, strconv.Itoa(f.GapDays))
	}
	return a
}

func specStandWash(a *form.Answers, p *quality.PretreatmentSpec) {
	if p == nil {
		return
	}
	a.Values.Set(specWashAsk.Name, "yes")
	a.Values.Set(specWashBreak.Name, yes(p.WaterBreak))
	a.Values.Set(specWashHours.Name, setupNumber(p.MaxHoursToCoat))
	a.Values.Set(specWashBath.Name, cmp.Or(p.BathUnchecked, quality.BathFlag))
	for i, stage := range p.Stages {
		kind, name, limits := specStageAt(i)
		a.Values.Set(kind.Name, stage.Stage)
		a.Values.Set(name.Name, stage.Name)
		for _, l := range limits {
			l.stand(a, stage.Limits[l.code])
		}
	}
}

func specStandFinish(a *form.Answers, f *quality.FinishCheckSpec) {
	if f == nil {
		return
	}
	a.Values.Set(specFinishAsk.Name, "yes")
	a.Values.Set(specFinishDistance.Name, setupNumber(f.DistanceMM))
	specFinishLight.stand(a, f.Light)
	for i, d := range f.Allowed {
		row := specDefectAt(i)
		a.Values.Set(row[0].Name, d.Code)
		a.Values.Set(row[1].Name, strconv.Itoa(d.Count))
		a.Values.Set(row[2].Name, setupNumber(d.SizeMM))
	}
	if g := f.Gloss; g != nil {
		a.Values.Set(specGlossAsk.Name, "yes")
		a.Values.Set(specGlossGeometry.Name, strconv.Itoa(g.GeometryDeg))
		a.Values.Set(specGlossNominal.Name, setupNumber(g.Nominal))
		a.Values.Set(specGlossTolerance.Name, setupNumber(g.Tolerance))
	}
	if ad := f.Adhesion; ad != nil {
		a.Values.Set(specAdhesionAsk.Name, "yes")
		a.Values.Set(specAdhesionClass.Name, ad.Method+" "+ad.Worst)
		a.Values.Set(specAdhesionConditions.Name, yes(ad.Conditions))
	}
}

func specStandFilm(a *form.Answers, f *quality.FilmSpec) {
	if f == nil {
		return
	}
	a.Values.Set(specFilmAsk.Name, "yes")
	unit := quality.Micrometre
	for _, l := range []*quality.Limit{f.Limits.High, f.Limits.Low} {
		if l != nil {
			unit = l.Unit
		}
	}
	a.Values.Set(specFilmUnit.Name, string(unit))
	for end, l := range map[string]*quality.Limit{"-low": f.Limits.Low, "-high": f.Limits.High} {
		if l == nil {
			continue
		}
		a.Values.Set("film-"+string(l.Unit)+end, setupNumber(l.Value))
		if l.Paired != nil {
			a.Values.Set("film-"+string(l.Paired.Unit)+end, setupNumber(l.Paired.Value))
		}
	}
	a.Values.Set(specFilmRule.Name, string(f.Rule))
	if f.Level > 0 {
		a.Values.Set(specFilmLevel.Name, strconv.Itoa(f.Level))
	}
	if f.Share > 0 {
		a.Values.Set(specFilmShare.Name, setupNumber(f.Share*100))
	}
	for name, l := range map[string]*quality.Limit{specFilmFloor.Name: f.Floor, specFilmTotal.Name: f.MaxTotal} {
		if l != nil {
			a.Values.Set(name, setupNumber(l.Value))
		}
	}
	a.Values.Set(specFilmSpots.Name, strconv.Itoa(f.Spots))
	a.Values.Set(specFilmReadings.Name, strconv.Itoa(f.ReadingsPerSpot))
	a.Values.Set(specFilmGuard.Name, setupNumber(f.Guard))
}

// readSpec reads the form. What is not a number comes back; what contradicts the spec is for Validate to say.
func readSpec(a *form.Answers) quality.FinishSpec {
	spec := quality.FinishSpec{Version: quality.SpecVersion, MaxCycles: a.Whole(specCycles), ReleaserNotSoleInspector: a.Yes(specReleaser.Name)}
	spec.Requires = quality.MaterialsRequired{Filler: a.Yes(specWeldFiller.Name), Heat: a.Yes(specWeldHeat.Name), Chemicals: a.Yes(specWashLots.Name), Solvent: a.Yes(specRubLot.Name)}
	if a.Yes(specWeldAsk.Name) {
		spec.Weld = &quality.WeldSpec{Level: a.Pick(specWeldLevel), Leg: specWeldLeg.read(a), Throat: specWeldThroat.read(a), Light: specWeldLight.read(a)}
	}
	if a.Yes(specWashAsk.Name) {
		spec.Pretreatment = &quality.PretreatmentSpec{WaterBreak: a.Yes(specWashBreak.Name), MaxHoursToCoat: a.Amount(specWashHours), Stages: specReadStages(a)}
		// Flagging is what is meant where the spec says nothing.
		if a.Values.Get(specWashBath.Name) != "" && a.Pick(specWashBath) == quality.BathRefuse {
			spec.Pretreatment.BathUnchecked = quality.BathRefuse
		}
	}
	if a.Yes(specCoatAsk.Name) {
		spec.Coating = &quality.CoatingSpec{Powders: specPowderCodes(a.Text(specCoatPowders)), Air: specCoatAir.read(a), Humidity: specCoatHumid.read(a), DewPointMarginC: a.Amount(specCoatDew),
			Ground: specCoatGround.read(a), Voltage: specCoatVoltage.read(a)}
	}
	if a.Yes(specCureAsk.Name) {
		spec.Cure = &quality.CureSpec{ScheduleC: a.Amount(specCureSchedule), Channels: a.Whole(specCureChannels), MaxSpreadC: a.Amount(specCureSpread)}
	}
	if a.Yes(specRubAsk.Name) {
		pass, _ := strconv.Atoi(a.Pick(specRubPass))
		spec.CureTest = &quality.CureTestSpec{Solvent: a.Text(specRubSolvent), Rubs: a.Whole(specRubCount), WaitS: a.Whole(specRubWait), PassFrom: pass, Reference: a.Text(specRubReference)}
	}
	if a.Yes(specPanelAsk.Name) {
		spec.PanelTest = specReadPanel(a)
	}
	if a.Yes(specFinishAsk.Name) {
		spec.Finish = specReadFinishSpec(a)
	}
	if a.Yes(specFilmAsk.Name) {
		spec.Film = specReadFilmSpec(a)
	}
	spec.Sampling = specReadSampling(a)
	if a.Yes(specArticleAsk.Name) {
		spec.FirstArticle = &quality.FirstArticleSpec{GapDays: a.Whole(specArticleGap)}
	}
	return spec
}

func specReadStages(a *form.Answers) []quality.StageSpec {
	var stages []quality.StageSpec
	for i := range specStages {
		kind, name, limits := specStageAt(i)
		if rowEmpty(a, []form.Entry{kind, name}) {
			continue
		}
		number := "Stage " + strconv.Itoa(i+1)
		kind.Optional, kind.Label, name.Optional, name.Label = false, number, false, number+", name"
		stage := quality.StageSpec{Stage: a.Pick(kind), Name: a.Text(name), Limits: map[string]quality.Limits{}}
		for _, l := range limits {
			l.label = number + ", " + l.label
			if read := l.read(a); !read.None() {
				stage.Limits[l.code] = read
			}
		}
		stages = append(stages, stage)
	}
	return stages
}

func specReadFinishSpec(a *form.Answers) *quality.FinishCheckSpec {
	f := &quality.FinishCheckSpec{DistanceMM: a.Amount(specFinishDistance), Light: specFinishLight.read(a)}
	for i := range specDefects {
		row := specDefectAt(i)
		if rowEmpty(a, row) {
			continue
		}
		number := "Permitted defect " + strconv.Itoa(i+1)
		row[0].Optional, row[0].Label, row[1].Optional, row[1].Label, row[2].Label = false, number, false, number+", count", number+", size"
		f.Allowed = append(f.Allowed, quality.DefectLimit{Code: a.Pick(row[0]), Count: a.Whole(row[1]), SizeMM: a.Amount(row[2])})
	}
	if a.Yes(specGlossAsk.Name) {
		geometry, _ := strconv.Atoi(a.Pick(specGlossGeometry))
		f.Gloss = &quality.GlossSpec{GeometryDeg: geometry, Nominal: a.Amount(specGlossNominal), Tolerance: a.Amount(specGlossTolerance)}
	}
	if a.Yes(specAdhesionAsk.Name) {
		method, class, _ := strings.Cut(a.Pick(specAdhesionClass), " ")
		f.Adhesion = &quality.AdhesionSpec{Method: method, Worst: class, Conditions: a.Yes(specAdhesionConditions.Name)}
	}
	return f
}

func specReadFilmSpec(a *form.Answers) *quality.FilmSpec {
	unit := quality.Unit(a.Pick(specFilmUnit))
	f := &quality.FilmSpec{Rule: quality.FilmRule(a.Pick(specFilmRule)), Level: a.Whole(specFilmLevel), Spots: a.Whole(specFilmSpots), ReadingsPerSpot: a.Whole(specFilmReadings), Guard: a.Amount(specFilmGuard)}
	own, other := specFilmMicron.read(a), specFilmMil.read(a)
	if unit == quality.Mil {
		own, other = other, own
	}
	pair := func(end string, own, other *quality.Limit) *quality.Limit {
		if other == nil {
			return own
		}
		if own == nil {
			a.Say("film-"+string(unit)+end, "The limit stands only in the unit the spec is not written in. Enter it here, or change “Written in”.")
			return nil
		}
		own.Paired = &quality.PairedLimit{Value: other.Value, Unit: other.Unit}
		return own
	}
	if unit != "" {
		f.Limits = quality.Limits{Low: pair("-low", own.Low, other.Low), High: pair("-high", own.High, other.High)}
	}
	if share := a.Number(specFilmShare); share != nil {
		f.Share = *share / 100
	}
	limit := func(e form.Entry) *quality.Limit {
		if v := a.Number(e); v != nil {
			return &quality.Limit{Value: *v, Unit: unit}
		}
		return nil
	}
	f.Floor, f.MaxTotal = limit(specFilmFloor), limit(specFilmTotal)
	return f
}
