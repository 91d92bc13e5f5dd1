package demoshop

import (
	"context"
	"fmt"
	"strconv"
	"time"

	"coatbook/quality"
	"coatbook/store"
)

// weld checks the welds of every part; about one in thirty needs a repair and is checked again.
func (l *load) weld(ctx context.Context) error {
	for r, parts := range l.parts {
		var checks []partCheck
		for i, p := range parts {
			checks = append(checks, l.weldCheck(1.6*float64(partsPerRack*r+i), p, l.rng.Float64() < 0.033))
		}
		saved, err := l.saveAll(ctx, l.on("teodor", "WELD-1"), quality.Weld, checks)
		if err != nil {
			return err
		}
		at := checks[len(checks)-1].at
		var again []partCheck
		for i, p := range parts {
			if saved[i].HoldNumber == "" {
				continue
			}
			decided, err := l.decide(ctx, at+1, saved[i].HoldNumber, p, "rework", "Ground out and welded again, same welder.")
			if err != nil {
				return err
			}
			if decided {
				again = append(again, l.weldCheck(at+2, p, false))
			}
		}
		if _, err := l.saveAll(ctx, l.on("teodor", "WELD-1"), quality.Weld, again); err != nil {
			return err
		}
	}
	return nil
}

// weldAgain checks the welds of the parts of some racks once more after a rework.
func (l *load) weldAgain(ctx context.Context, at float64, racks ...[]*part) error {
	for _, parts := range racks {
		var checks []partCheck
		for _, p := range parts {
			if !p.gone {
				checks = append(checks, l.weldCheck(at, p, false))
			}
		}
		if _, err := l.saveAll(ctx, l.on("teodor", "WELD-1"), quality.Weld, checks); err != nil {
			return err
		}
	}
	return nil
}

func (l *load) weldCheck(at float64, p *part, bad bool) partCheck {
	check := quality.Check{Readings: []quality.Reading{typed("light", "", 0, 0, 620+40*l.rng.NormFloat64(), 0, quality.Lux)}}
	if l.product.Spec.Weld.Leg.Low != nil {
		for weld := range l.product.Welds {
			check.Readings = append(check.Readings, typed("weld_leg", "", weld+1, 0, 3.8+0.2*l.rng.NormFloat64(), 1, quality.Millimetre))
		}
	}
	size := 0.2
	switch {
	case bad && l.rng.Float64() < 0.6:
		size = 0.9
		check.Defects = []quality.Defect{{Code: "5011", Place: fmt.Sprintf("weld %d", 1+l.rng.IntN(l.product.Welds)), SizeMM: &size, SizeText: "0.9", Count: 1}}
	case bad:
		check.Defects = []quality.Defect{{Code: "401", Place: "weld 2", Count: 1}}
	default:
		check.Defects = []quality.Defect{{Code: quality.NoneFound}}
	}
	welder := []string{"ruben", "lena"}[l.rng.IntN(2)]
	return partCheck{p, at, check, []store.Use{{Role: "welder", ID: l.People[welder].Person}, {Role: "filler", ID: l.Lots["FW-90417"]}, {Role: "heat", ID: l.Lots["HN-77120"]}}}
}

// conversionPH is the third story: the conversion bath drifts upward over the last twelve days.
func conversionPH(day int) float64 {
	return 4.5 + 0.04*float64(max(0, day-(Days-13)))
}

// wash records the pretreatment of each rack. A bath out of limits holds the rack; it is corrected and the rack washed again.
func (l *load) wash(ctx context.Context) error {
	for r, rack := range l.racks {
		at := 36 + 6*float64(r)
		saved, err := l.washRack(ctx, at, rack, 0)
		if err != nil {
			return err
		}
		if saved.HoldNumber == "" {
			continue
		}
		again, err := l.rework(ctx, at+3, saved.HoldNumber, r, "Bath corrected with fresh make-up; rack washed again.")
		if err != nil {
			return err
		}
		if !again {
			continue // this rack waits for a decision; the other one goes on
		}
		if _, err := l.washRack(ctx, at+12, rack, -0.5); err != nil {
			return err
		}
		if err := l.weldAgain(ctx, at+14, l.parts[r]); err != nil {
			return err
		}
	}
	return nil
}

// rework decides rework for every part of a rack and says whether the rack goes on.
func (l *load) rework(ctx context.Context, at float64, hold string, r int, reason string) (bool, error) {
	for i, p := range l.parts[r] {
		if p.gone {
			continue
		}
		decided, err := l.decide(ctx, at, hold, p, "rework", reason)
		if err != nil {
			return false, err
		}
		if !decided && i == 0 {
			// The first part shows whether anybody has come to this hold yet; a rack is decided as one.
			for _, other := range l.parts[r] {
				other.gone = true
			}
			return false, nil
		}
		if !decided {
			p.gone = true
		}
	}
	return true, nil
}

func (l *load) washRack(ctx context.Context, at float64, rack store.Rack, corrected float64) (store.Saved, error) {
	var check quality.Check
	add := func(stage int, code string, value float64, decimals int, unit quality.Unit) {
		check.Readings = append(check.Readings, typed(code, quality.StageKey(stage, l.product.Spec.Pretreatment.Stages[stage]), 0, 0, value, decimals, unit))
	}
	n := l.rng.NormFloat64
	add(0, "concentration", 3+0.15*n(), 1, quality.Percent)
	add(0, "stage_temperature", 53+1.2*n(), 1, quality.Celsius)
	add(0, "stage_time", 95+4*n(), 0, quality.Second)
	add(1, "conductivity", 160+15*n(), 0, quality.MicroSiemens)
	add(2, "ph", conversionPH(l.day)+0.03*n()+corrected, 2, quality.PH)
	add(2, "stage_time", 70+4*n(), 0, quality.Second)
	add(3, "conductivity", 17+2*n(), 1, quality.MicroSiemens)
	add(4, "stage_temperature", 78+2*n(), 0, quality.Celsius)
	check.Ratings = []quality.Rating{{Characteristic: quality.RatingWaterBreak, Code: "held"}}
	uses := make([]store.Use, 0, 6)
	for _, code := range []string{"B1", "B2", "B3", "B4"} {
		uses = append(uses, store.Use{Role: "bath", ID: l.Baths[code]})
	}
	uses = append(uses, store.Use{Role: "chemical", ID: l.Lots["AC-5510"]}, store.Use{Role: "chemical", ID: l.Lots["ZC-0301"]})
	return l.save(ctx, at, l.on("jonas", "WASH"), quality.Pretreatment, store.Subject{Kind: quality.OnRack, ID: rack.ID}, check, uses...)
}

// coat records the coating run of each rack, the first in booth 1, the second in booth 2.
func (l *load) coat(ctx context.Context) error {
	for r, rack := range l.racks {
		if !l.any(r) {
			continue
		}
		n := l.rng.NormFloat64
		check := quality.Check{Readings: []quality.Reading{
			typed("gun_voltage", "", 0, 0, 70+2*n(), 0, quality.Kilovolt), typed("gun_current", "", 0, 0, 22+1.5*n(), 0, quality.Microampere),
			typed("air_temperature", "", 0, 0, 22+0.8*n(), 1, quality.Celsius), typed("humidity", "", 0, 0, 48+3*n(), 0, quality.Percent),
			typed("ground_resistance", "", 0, 0, 0.2+0.05*l.rng.Float64(), 2, quality.Megohm), typed("reclaim", "", 0, 0, 20, 0, quality.Percent)}}
		lot := l.product.lots[l.day*len(l.product.lots)/Days]
		booth := "BOOTH-" + strconv.Itoa(r+1)
		if _, err := l.save(ctx, 74+6*float64(r), l.on("mirela", booth), quality.Coating, store.Subject{Kind: quality.OnRack, ID: rack.ID}, check,
			store.Use{Role: "powder", ID: l.Lots[lot]}, store.Use{Role: "booth", ID: l.Stations[booth]}); err != nil {
			return err
		}
	}
	return nil
}

// any reports whether a rack still carries a part that goes on.
func (l *load) any(r int) bool {
	for _, p := range l.parts[r] {
		if !p.gone {
			return true
		}
	}
	return false
}

// ovenPeak is the second story: oven 2 loses temperature over the last ten days.
func (l *load) ovenPeak() float64 {
	peak := 200.5 + 1.2*l.rng.NormFloat64()
	if l.oven == "OVEN-2" {
		peak -= 0.95 * float64(max(0, l.day-(Days-11)))
	}
	return peak
}

// bake puts the coated racks on the load and records the cure run. An under-cured load is held, decided and baked again.
func (l *load) bake(ctx context.Context) error {
	db, _, err := l.at(104)
	if err != nil {
		return err
	}
	loaded := 0
	for r, rack := range l.racks {
		if l.any(r) {
			if err := db.AddRack(ctx, l.on("mirela", l.oven), l.id, rack.ID); err != nil {
				return err
			}
			loaded++
		}
	}
	if loaded == 0 {
		return errLater
	}
	saved, err := l.bakeOnce(ctx, 140, l.ovenPeak())
	if err != nil || saved.HoldNumber == "" {
		return err
	}
	for r := range l.parts {
		again, err := l.rework(ctx, 144, saved.HoldNumber, r, "Baked again in full after the burner was checked.")
		if err != nil {
			return err
		}
		if !again {
			for _, parts := range l.parts {
				for _, p := range parts {
					p.gone = true
				}
			}
			return errLater
		}
	}
	if _, err := l.bakeOnce(ctx, 176, 201); err != nil {
		return err
	}
	return l.weldAgain(ctx, 178, l.parts...)
}

func (l *load) bakeOnce(ctx context.Context, at, peak float64) (store.Saved, error) {
	check := quality.Check{Readings: []quality.Reading{typed("set_point", "", 0, 0, 205, 0, quality.Celsius),
		typed("oven_air", "", 0, 0, peak+5, 0, quality.Celsius), typed("oven_time", "", 0, 0, 30, 0, quality.Minute)}}
	var peaks, times []float64
	for ch := range ovenPlaces {
		p := peak + 2.2*float64(ch) + 0.4*l.rng.NormFloat64()
		peaks, times = append(peaks, p), append(times, 17.5+0.85*(p-201)+0.4*l.rng.NormFloat64())
	}
	if l.n == 0 && at < 150 {
		// The first load of a day takes the logger along; baked again, it goes without.
		return l.logged(ctx, at, check, peaks, times)
	}
	for ch, place := range ovenPlaces {
		p, minutes := peaks[ch], times[ch]
		check.Readings = append(check.Readings, typed("metal_peak", place, ch+1, 0, p, 1, quality.Celsius), typed("metal_time", place, ch+1, 0, minutes, 1, quality.Minute))
	}
	return l.save(ctx, at, l.on("mirela", l.oven), quality.Cure, store.Subject{Kind: quality.OnLoad, ID: l.id}, check, store.Use{Role: "oven", ID: l.Stations[l.oven]})
}

// rub records the solvent rub on one part of the load.
func (l *load) rub(ctx context.Context) error {
	var tested *part
	for _, parts := range l.parts {
		for _, p := range parts {
			if !p.gone {
				tested = p
			}
		}
	}
	if tested == nil {
		return errLater
	}
	rating, swab := "4", "none"
	if l.rng.Float64() < 0.2 {
		rating, swab = "3", "slight"
	}
	check := quality.Check{Readings: []quality.Reading{typed("rubs", "", 0, 0, 50, 0, quality.DoubleRubs), typed("rub_wait", "", 0, 0, 30, 0, quality.Second)},
		Ratings: []quality.Rating{{Characteristic: quality.RatingRub, Code: rating}, {Characteristic: quality.RatingSwab, Code: swab}}}
	_, err := l.save(ctx, 192, l.on("teodor", "FINAL-1"), quality.CureTest, store.Subject{Kind: quality.OnLoad, ID: l.id}, check, store.Use{Role: "tested_part", ID: tested.id}, store.Use{Role: "solvent", ID: l.Lots["MK-2207"]})
	return err
}

// inspect records finish and film of every part of the load, rack by rack.
func (l *load) inspect(ctx context.Context) error {
	for r, parts := range l.parts {
		at := 196 + 2.2*float64(partsPerRack*r)
		if err := l.finish(ctx, at, parts); err != nil {
			return err
		}
		if err := l.film(ctx, at+1, r, parts); err != nil {
			return err
		}
	}
	return nil
}

// finish records the finish check of a rack's parts. One that fails is accepted under concession, or stripped and recoated.
func (l *load) finish(ctx context.Context, at float64, parts []*part) error {
	var checks []partCheck
	for i, p := range parts {
		if p.gone {
			continue
		}
		gloss := l.product.Spec.Finish.Gloss
		check := quality.Check{Defects: []quality.Defect{{Code: quality.NoneFound}}, Readings: []quality.Reading{typed("viewing_distance", "", 0, 0, 3000, 0, quality.Millimetre),
			typed("light", "", 0, 0, 820+50*l.rng.NormFloat64(), 0, quality.Lux), typed("gloss", "", 0, 0, gloss.Nominal+1.2*l.rng.NormFloat64(), 1, quality.GlossUnit)}}
		if l.rng.Float64() < 0.035 {
			code := []string{"inclusion", "inclusion", "inclusion", "sag", "pinhole", "crater"}[l.rng.IntN(6)]
			size := 1.5
			check.Defects = []quality.Defect{{Code: code, Place: l.product.Plan.Spots[l.rng.IntN(5)].Place, SizeMM: &size, SizeText: "1.5", Count: 1 + l.rng.IntN(2)}}
		}
		checks = append(checks, partCheck{p, at + 2.2*float64(i), check, nil})
	}
	saved, err := l.saveAll(ctx, l.inspector(at), quality.Finish, checks)
	if err != nil {
		return err
	}
	for i, c := range checks {
		if saved[i].HoldNumber == "" {
			continue
		}
		decided := checks[len(checks)-1].at + 0.4
		if l.rng.Float64() < 0.2 {
			if _, err := l.decide(ctx, decided, saved[i].HoldNumber, c.part, "concession", "Customer accepts the mark on a face that is covered after assembly."); err != nil {
				return err
			}
			continue
		}
		if err := l.strip(ctx, decided, saved[i].HoldNumber, c.part); err != nil {
			return err
		}
	}
	return nil
}

// strip sends a held part to strip and recoat in a later load, or scraps it when its cycles are used up.
func (l *load) strip(ctx context.Context, at float64, hold string, p *part) error {
	db, _, err := l.at(at)
	if err != nil {
		return err
	}
	row, err := db.PartBySerial(ctx, l.Site.ID, p.serial)
	if err != nil {
		return err
	}
	code, reason := "strip_recoat", "Strip chemically, check the welds again and recoat."
	if row.Cycle >= l.product.Spec.MaxCycles {
		code, reason = "scrap", "The second coat failed as well; the spec allows no third."
	}
	decided, err := l.decide(ctx, at, hold, p, code, reason)
	p.gone = true
	if err != nil || !decided || code == "scrap" {
		return err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.recoat[l.product] = append(l.recoat[l.product], &part{id: p.id, serial: p.serial, effect: 2.5 * l.rng.NormFloat64()})
	return nil
}

func (l *load) inspector(at float64) store.Actor {
	local := l.base.Add(time.Duration(at * float64(time.Minute))).In(l.zone)
	return l.on(inspectorAt(local), "FINAL-"+strconv.Itoa(1+l.n%2))
}

// boothMean is the first story: film thins in booth 2 over the last nine days.
func (l *load) boothMean(rack int) float64 {
	mean := l.product.mean
	if rack == 1 {
		mean -= 1.8 * float64(max(0, l.day-(Days-10)))
	}
	return mean
}

// film records the film of a rack's parts. A thin one is stripped and recoated.
func (l *load) film(ctx context.Context, at float64, rack int, parts []*part) error {
	var checks []partCheck
	for i, p := range parts {
		if !p.gone {
			measured := at + 2.2*float64(i)
			check, gauge := l.filmCheck(measured, rack, p)
			checks = append(checks, partCheck{p, measured, check, []store.Use{gauge}})
		}
	}
	saved, err := l.saveAll(ctx, l.inspector(at), quality.Film, checks)
	if err != nil {
		return err
	}
	for i, c := range checks {
		if saved[i].HoldNumber == "" {
			continue
		}
		if err := l.strip(ctx, checks[len(checks)-1].at+0.5, saved[i].HoldNumber, c.part); err != nil {
			return err
		}
	}
	return nil
}

// filmCheck measures five spots of three readings: spot in part in rack in load in day, and the gauge's own repeatability.
func (l *load) filmCheck(at float64, rack int, p *part) (check quality.Check, with store.Use) {
	local := l.base.Add(time.Duration(at * float64(time.Minute))).In(l.zone)
	gauge := "EC-07"
	if local.Hour() >= 14 {
		gauge = l.lateGauge(l.day)
	}
	level := l.boothMean(rack) + l.dayDrift[l.day] + l.effect + l.rackDiff[rack] + p.effect + bias(gauge, l.day)
	for _, spot := range l.product.Plan.Spots {
		here := level + 3.5*l.rng.NormFloat64()
		for rep := range 3 {
			um := max(4, here+0.9*l.rng.NormFloat64())
			reading := typed("film_thickness", spot.Area, spot.Spot, rep+1, um, 1, quality.Micrometre)
			if l.product.unit == quality.Mil {
				reading = typed("film_thickness", spot.Area, spot.Spot, rep+1, um/25.4, 2, quality.Mil)
			}
			reading.Source, reading.Raw = "wedge", reading.Text+" "+string(reading.Unit)
			check.Readings = append(check.Readings, reading)
		}
	}
	return check, store.Use{Role: "gauge", ID: l.Gauges[gauge].ID}
}
