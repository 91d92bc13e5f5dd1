package store_test

import (
	"strings"
	"testing"
	"time"

	"coatbook/quality"
	study "coatbook/quality/gauge"
	"coatbook/store"
	"coatbook/store/storetest"
)

// calibration of the shop's gauge (±(1 µm + 2 %)) at one point of 100 µm.
func calibration(s *storetest.Shop, found, left string) store.Entry {
	at := func(characteristic, text string) quality.Reading {
		return s.Reading(characteristic, "", 1, text, quality.Micrometre)
	}
	check := quality.Check{Readings: []quality.Reading{at("reference_thickness", "100.0"), s.Reading("air_temperature", "", 0, "21.5", quality.Celsius),
		s.Reading("humidity", "", 0, "45", quality.Percent), s.Reading("uncertainty_thickness", "", 0, "0.8", quality.Micrometre)},
		Ratings: []quality.Rating{{Characteristic: quality.RatingCertificate, Code: "CAL-2026-17"}, {Characteristic: quality.RatingStandard, Code: "Step block 7"},
			{Characteristic: quality.RatingStandardRef, Code: "SB-7-2026"}, {Characteristic: quality.RatingCoverage, Code: "2"}}}
	if found != "" {
		check.Readings = append(check.Readings, at("found_thickness", found))
	}
	if left != "" {
		check.Readings = append(check.Readings, at("left_thickness", left))
	}
	return store.Entry{RecordID: store.NewID(), Kind: quality.Calibration, Subject: store.Subject{Kind: quality.OnInstrument, ID: s.Gauge.ID}, Check: check}
}

func theGauge(t *testing.T, s *storetest.Shop) store.Instrument {
	t.Helper()
	g, err := s.DB.InstrumentByCode(t.Context(), s.Site.ID, s.Gauge.Code)
	if err != nil {
		t.Fatal(err)
	}
	return g
}

func TestCalibrationKeepsAsFoundAndAsLeftAndSetsTheDueDate(t *testing.T) {
	s := storetest.NewShop(t)
	s.Now = s.Now.AddDate(0, 1, 0)
	saved, err := save(t, s, calibration(s, "100.4", ""))
	if err != nil || saved.Judgement.Verdict != quality.Pass {
		t.Fatalf("%+v, %v", saved, err)
	}
	checks, err := s.DB.DeviceChecks(t.Context(), s.Site.ID, s.Gauge.ID, 10)
	if err != nil || len(checks) != 1 || len(checks[0].Points) != 1 {
		t.Fatalf("%+v, %v", checks, err)
	}
	if p := checks[0].Points[0]; p.FoundAs != "100.4" || p.LeftAs != "100.4" || *p.Nominal != 100 || checks[0].Certificate != "CAL-2026-17" {
		t.Errorf("the point: %+v", p)
	}
	g := theGauge(t, s)
	if want := day(t, "2027-12-24"); !g.DueOn.Equal(want) || g.Certificate != "CAL-2026-17" || *g.Uncertainty != 0.8 || *g.CoverageK != 2 || g.Status != "in_use" {
		t.Errorf("the register: %+v, want due on %s", g, want)
	}
	// A calibration is no verification of the shift.
	if g.VerifiedAt != nil || g.LastGoodAt == nil {
		t.Errorf("verified %v, last good %v", g.VerifiedAt, g.LastGoodAt)
	}
}

func TestCheckThatSaysOnlyHowTheDeviceWasLeftIsRefused(t *testing.T) {
	s := storetest.NewShop(t)
	_, err := save(t, s, calibration(s, "", "100.1"))
	refusedBy(t, err, store.RuleAsFound)
	check := quality.Check{Readings: []quality.Reading{s.Reading("zero_as_left", "", 0, "0.1", quality.Micrometre), s.Reading("shim_as_left", s.Shims[0].Code, 0, "50.1", quality.Micrometre)}}
	_, err = save(t, s, store.Entry{RecordID: store.NewID(), Kind: quality.Verification, Subject: store.Subject{Kind: quality.OnInstrument, ID: s.Gauge.ID}, Check: check})
	refusedBy(t, err, store.RuleAsFound)
}

func TestCalibrationNeedsStandardConditionsAndUncertainty(t *testing.T) {
	s := storetest.NewShop(t)
	for name, spoil := range map[string]func(*store.Entry){
		"standard's certificate": func(e *store.Entry) { e.Check.Ratings = append(e.Check.Ratings[:2:2], e.Check.Ratings[3]) },
		"humidity":               func(e *store.Entry) { e.Check.Readings = append(e.Check.Readings[:2:2], e.Check.Readings[3:]...) },
		"uncertainty":            func(e *store.Entry) { e.Check.Readings = append(e.Check.Readings[:3:3], e.Check.Readings[4:]...) },
		"coverage factor":        func(e *store.Entry) { e.Check.Ratings = e.Check.Ratings[:3] },
	} {
		e := calibration(s, "100.4", "")
		spoil(&e)
		if _, err := save(t, s, e); ruleOf(err) != store.RuleCalibration {
			t.Errorf("without %s: %v", name, err)
		}
	}
	e := calibration(s, "100.4", "")
	e.Check.Ratings = e.Check.Ratings[:0:0]
	e.Check.Ratings = append(e.Check.Ratings, quality.Rating{Characteristic: quality.RatingCoverage, Code: "2"})
	e.Uses = []store.Use{{Role: "standard", ID: s.Shims[1].ID}}
	if _, err := save(t, s, e); err != nil {
		t.Errorf("with a standard of the register: %v", err)
	}
}

func TestCalibrationThatFoundTheDeviceWrongRecallsAndAnEngineerPutsItBack(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	part := s.Ready(2, 0)
	s.Film(part[0], "82", "68", "75", "93", "86")
	bad, err := save(t, s, calibration(s, "109.0", "100.2"))
	if err != nil || bad.RecallNumber == "" || bad.HoldNumber == "" {
		t.Fatalf("%+v, %v", bad, err)
	}
	if g := theGauge(t, s); g.Status != "failed" || !g.DueOn.Equal(day(t, "2027-11-24")) {
		t.Errorf("the gauge: %s, due %s", g.Status, g.DueOn)
	}
	supervisor := s.AddPerson("Ona Reyes", "ona", store.Supervisor)
	_, err = s.DB.SetInstrumentStatus(t.Context(), supervisor, s.Gauge.ID, "in_use", "Came back from the laboratory.")
	refusedBy(t, err, store.RuleNoRight)
	if _, err := s.DB.SetInstrumentStatus(t.Context(), s.Everyone, s.Gauge.ID, "in_use", "Came back from the laboratory."); err != nil {
		t.Fatal(err)
	}
	// Back in use, it is verified before its first reading.
	_, err = save(t, s, filmEntry(s, part[1]))
	refusedBy(t, err, store.RuleGaugeFailed)
	s.Verify(0)
	s.Film(part[1], "82", "68", "75", "93", "86")
	// What is found wrong next goes back to the calibration that left it good, not before.
	r, lines := theRecall(t, s, s.Verify(9).RecallNumber)
	if r.Records != 1 || lines[0].PartID != part[1] {
		t.Errorf("%+v %+v", r, lines)
	}
}

func TestDroppedGaugeIsBlockedUntilItIsVerified(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	parts := s.Ready(2, 0)
	inspector := s.AddPerson("Ona Reyes", "ona", store.Inspector)
	refusedBy(t, s.DB.DoubtInstrument(t.Context(), inspector, s.Gauge.ID, "lost", ""), store.RuleInvalid)
	s.Now = s.Now.Add(time.Minute)
	if err := s.DB.DoubtInstrument(t.Context(), inspector, s.Gauge.ID, "dropped", "From the bench to the floor."); err != nil {
		t.Fatal(err)
	}
	refusedBy(t, s.DB.DoubtInstrument(t.Context(), inspector, s.Gauge.ID, "dropped", ""), store.RuleGaugeFailed)
	_, err := save(t, s, filmEntry(s, parts[0]))
	refusedBy(t, err, store.RuleGaugeFailed)
	_, err = s.DB.SetInstrumentStatus(t.Context(), s.Everyone, s.Gauge.ID, "in_use", "It looks fine.")
	refusedBy(t, err, store.RuleGaugeUnverified)
	if g := theGauge(t, s); g.Standing(day(t, "2026-11-24")) != "doubtful" || g.Doubt != "dropped. From the bench to the floor." {
		t.Errorf("%s: %q", g.Standing(day(t, "2026-11-24")), g.Doubt)
	}
	s.Verify(0)
	if g := theGauge(t, s); g.Status != "in_use" || g.Doubt != "" {
		t.Errorf("after a good verification: %s, %q", g.Status, g.Doubt)
	}
	s.Film(parts[0], "82", "68", "75", "93", "86")
	// Dropped once more, and this time it shows: what was measured since the good check is recalled.
	s.Now = s.Now.Add(time.Minute)
	if err := s.DB.DoubtInstrument(t.Context(), inspector, s.Gauge.ID, "doubtful_reading", ""); err != nil {
		t.Fatal(err)
	}
	if bad := s.Verify(9); bad.RecallNumber == "" || theGauge(t, s).Status != "failed" {
		t.Errorf("%+v", bad)
	}
}

func TestMeterThatMayNotBeUsedIsRefused(t *testing.T) {
	s := storetest.NewShop(t)
	meter, err := s.DB.AddInstrument(t.Context(), s.Everyone, store.Instrument{Code: "PH-1", Kind: "ph_meter", MakerSerial: "4", Owner: "employee", OwnerName: "R. Aske", Unit: "pH",
		ToleranceAbs: 0.1, IntervalDays: 30, DueOn: s.Now.AddDate(0, 0, 10), Location: "Wash line"})
	if err != nil {
		t.Fatal(err)
	}
	parts := s.Parts(1)
	s.Weld(parts[0], quality.NoneFound)
	rack := store.NewID()
	if _, err := s.DB.HangRack(t.Context(), s.Everyone, rack, "K1"); err != nil {
		t.Fatal(err)
	}
	if err := s.DB.HangParts(t.Context(), s.Everyone, rack, parts); err != nil {
		t.Fatal(err)
	}
	wash := func() error {
		_, err := save(t, s, store.Entry{RecordID: store.NewID(), Kind: quality.Pretreatment, Subject: store.Subject{Kind: quality.OnRack, ID: rack},
			Check: quality.Check{Readings: []quality.Reading{s.Reading("ph", "1-convert", 0, "4.6", quality.PH)}},
			Uses:  []store.Use{{Role: "bath", ID: s.Bath.ID}, {Role: "meter", ID: meter.ID}}})
		return err
	}
	if err := s.DB.DoubtInstrument(t.Context(), s.Everyone, meter.ID, "dropped", ""); err != nil {
		t.Fatal(err)
	}
	refusedBy(t, wash(), store.RuleGaugeFailed)
	if _, err := s.DB.SetInstrumentStatus(t.Context(), s.Everyone, meter.ID, "in_use", "Read true in both buffers."); err != nil {
		t.Fatal(err)
	}
	if err := wash(); err != nil {
		t.Fatal(err)
	}
	// A meter found wrong recalls the parts on the rack it measured for.
	number, err := s.DB.SetInstrumentStatus(t.Context(), s.Everyone, meter.ID, "failed", "Glass of the electrode is broken.")
	if err != nil {
		t.Fatal(err)
	}
	if r, lines := theRecall(t, s, number); r.Records != 1 || len(lines) != 1 || lines[0].PartID != parts[0] || !lines[0].HoldOpen {
		t.Errorf("%+v %+v", r, lines)
	}
	s.Now = s.Now.AddDate(0, 0, 30)
	refusedBy(t, wash(), store.RuleOnHold)
}

func TestStudyOfAGaugeIsEnteredOrComputedAndRunsOut(t *testing.T) {
	s := storetest.NewShop(t)
	ctx := t.Context()
	five := 5
	on := day(t, "2026-11-01")
	for _, c := range []struct {
		grr  float64
		want study.Trust
	}{{8, study.Free}, {22, study.Marked}, {34, study.Withheld}} {
		if _, err := s.DB.AddStudy(ctx, s.Everyone, store.Study{InstrumentID: s.Gauge.ID, GRR: c.grr, Of: "tolerance", NDC: &five, MadeOn: on, ValidTo: on.AddDate(1, 0, 0)}, 0); err != nil {
			t.Fatal(err)
		}
		s.Now = s.Now.Add(time.Second)
		got, err := s.DB.StudiesOf(ctx, s.Site.ID, s.Gauge.ID)
		if err != nil || got[0].Trust(day(t, "2026-11-24")) != c.want {
			t.Errorf("%g %%: %s, %v", c.grr, got[0].Trust(day(t, "2026-11-24")), err)
		}
		if got[0].Trust(day(t, "2027-11-02")) != "" {
			t.Error("a study that has run out still grades the gauge")
		}
	}
	// Two appraisers, three parts, two trials: by hand, the average range of a cell is 0.2 and the parts lie 10 apart.
	table := "Part;Appraiser;Value\n1;A;10,0\n1;A;10,2\n1;B;10,0\n1;B;10,2\n2;A;20,0\n2;A;20,2\n2;B;20,0\n2;B;20,2\n3;A;30,0\n3;A;30,2\n3;B;30,0\n3;B;30,2\n"
	computed, err := s.DB.AddStudy(ctx, s.Everyone, store.Study{InstrumentID: s.Gauge.ID, Method: "anova", SourceData: table, MadeOn: on, ValidTo: on.AddDate(1, 0, 0)}, 60)
	if err != nil {
		t.Fatal(err)
	}
	// Repeatability: six cells with a variance of 0.02 each, pooled with an interaction and appraisers of no variation:
	// SS 0.12 on 6+2 degrees of freedom, variance 0.015, sd 0.12247; 600·sd/60 = 1.2247 % of the tolerance.
	if computed.GRR < 1.2246 || computed.GRR > 1.2249 || computed.Of != "tolerance" || computed.NDC == nil || *computed.NDC < 5 {
		t.Errorf("%+v", computed)
	}
	for name, table := range map[string]string{"no column": "part,value\n1,2\n1,3", "no number": "part,appraiser,value\n1,A,x\n", "one trial": "part,appraiser,value\n1,A,2\n2,A,3\n", "ragged": "part,appraiser,value\n1,A\n", "empty": "part,appraiser,value\n"} {
		if _, err := s.DB.AddStudy(ctx, s.Everyone, store.Study{InstrumentID: s.Gauge.ID, Method: "anova", SourceData: table, MadeOn: on, ValidTo: on}, 0); ruleOf(err) != store.RuleInvalid {
			t.Errorf("%s: %v", name, err)
		}
	}
	_, err = s.DB.AddStudy(ctx, s.Everyone, store.Study{InstrumentID: s.Gauge.ID, GRR: 5, Of: "tolerance", MadeOn: on, ValidTo: on.AddDate(0, 0, -1)}, 0)
	refusedBy(t, err, "measurement_study_valid_to_ordered")
}

func TestGaugeIsVerifiedAroundTheFilmAndOnThePartsAlloy(t *testing.T) {
	s := storetest.NewShop(t)
	ctx := t.Context()
	add := func(i store.Instrument) store.Instrument {
		i.MakerSerial, i.Owner, i.Unit, i.IntervalDays, i.DueOn = "1", "company", "um", 365, s.Now.AddDate(1, 0, 0)
		added, err := s.DB.AddInstrument(ctx, s.Everyone, i)
		if err != nil {
			t.Fatal(err)
		}
		return added
	}
	nominal := 75.0
	middle := add(store.Instrument{Code: "SH-75", Kind: "shim", Nominal: &nominal, ToleranceAbs: 0.5})
	wrong, right := add(store.Instrument{Code: "ZP-5754", Kind: "zero_plate", Alloy: "5754 H22"}), add(store.Instrument{Code: "ZP-6060", Kind: "zero_plate", Alloy: "6060 T6"})
	part := s.Ready(1, 0)[0]
	verify := func(plate store.Instrument, shims ...store.Instrument) {
		check := quality.Check{Readings: []quality.Reading{s.Reading("zero_reading", plate.Code, 0, "0.1", quality.Micrometre)}}
		uses := []store.Use{{Role: "standard", ID: plate.ID}}
		for _, shim := range shims {
			check.Readings = append(check.Readings, s.Reading("shim_reading", shim.Code, 0, quality.Number(*shim.Nominal, 1), quality.Micrometre))
			uses = append(uses, store.Use{Role: "shim", ID: shim.ID})
		}
		if saved := s.Save(quality.Verification, quality.OnInstrument, s.Gauge.ID, check, uses...); saved.Judgement.Verdict != quality.Pass {
			t.Fatalf("%+v", saved.Judgement)
		}
	}
	// The spec asks for 60 to 120 µm.
	verify(right, s.Shims[0], middle)
	_, err := save(t, s, filmEntry(s, part))
	refusedBy(t, err, store.RuleGaugeRange)
	verify(wrong, s.Shims...)
	_, err = save(t, s, filmEntry(s, part))
	refusedBy(t, err, store.RuleGaugeAlloy)
	verify(right, s.Shims...)
	if _, err := save(t, s, filmEntry(s, part)); err != nil {
		t.Error(err)
	}
}

func TestBothReadingsOfACalibrationAreExported(t *testing.T) {
	s := storetest.NewShop(t)
	if _, err := save(t, s, calibration(s, "109.0", "100.2")); err != nil {
		t.Fatal(err)
	}
	file := export(t, s, "readings.csv", store.ExportFilter{From: day(t, "2026-11-24"), To: day(t, "2026-11-24")})
	for _, want := range []string{"found_thickness", "109.0", "left_thickness", "100.2", "reference_thickness", "uncertainty_thickness", "standard_certificate", "SB-7-2026"} {
		if !strings.Contains(file, want) {
			t.Errorf("the export has no %s", want)
		}
	}
}
