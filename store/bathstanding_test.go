package store_test

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

func phControl() store.BathControl {
	nominal := 4.4
	return store.BathControl{BathControl: quality.BathControl{Characteristic: "ph", Method: quality.ReadDirect, Unit: quality.PH, Nominal: &nominal, Limits: quality.Between(3.8, 5, quality.PH)},
		Rhythm: "day", Source: "supplier's sheet", Active: true}
}

func rinseControl() store.BathControl {
	return store.BathControl{BathControl: quality.BathControl{Characteristic: "bath_conductivity", Method: quality.CorrectedToTemp, Unit: quality.MicroSiemens,
		Limits: quality.AtMost(30, quality.MicroSiemens), ReferenceC: 20, PerDegree: 0.02}, Rhythm: "week", Source: "quality label", Active: true}
}

// watched is a shop whose conversion bath is watched.
func watched(t *testing.T, controls ...store.BathControl) *storetest.Shop {
	t.Helper()
	s := storetest.NewShop(t)
	for _, c := range controls {
		if err := s.DB.SetBathControl(t.Context(), s.Everyone, s.Bath.ID, c); err != nil {
			t.Fatal(err)
		}
	}
	return s
}

func readPH(s *storetest.Shop, text string) store.Saved {
	return s.Save(quality.BathReading, quality.OnBath, s.Bath.ID, quality.Check{Readings: []quality.Reading{s.Reading("ph", "", 0, text, quality.PH)}})
}

func addition(act, amount string, s *storetest.Shop) quality.Check {
	check := quality.Check{Ratings: []quality.Rating{{Characteristic: quality.RatingAct, Code: act}, {Characteristic: quality.RatingReason, Code: "pH too high"}}}
	if amount != "" {
		check.Readings = []quality.Reading{s.Reading(quality.AddedVolume, "", 0, amount, quality.Litre)}
	}
	return check
}

// standing is how the shop's bath stands now, or after a while.
func bathNow(t *testing.T, s *storetest.Shop, later time.Duration) store.BathStanding {
	t.Helper()
	all, err := s.DB.BathStandings(t.Context(), s.Site, s.Now.Add(later))
	if err != nil || len(all) != 1 {
		t.Fatalf("standings: %v, %v", all, err)
	}
	return all[0]
}

func conversionLot(t *testing.T, s *storetest.Shop, kind, number string) uuid.UUID {
	t.Helper()
	expires := s.Now.AddDate(1, 0, 0)
	m, err := s.DB.AddMaterial(t.Context(), s.Everyone, store.Material{Kind: kind, Code: "M-" + number, Name: "Bath chemical", Maker: "Invented Chemicals"}, nil)
	if err != nil {
		t.Fatal(err)
	}
	lot, err := s.DB.AddMaterialLot(t.Context(), s.Everyone, store.MaterialLot{MaterialID: m.ID, LotNumber: number, ReceivedOn: s.Now.AddDate(0, -1, 0), ExpiresOn: &expires, Quantity: 25, Unit: "L"})
	if err != nil {
		t.Fatal(err)
	}
	return lot.ID
}

func TestBathOutOfLimitsWaitsForAnAdditionAndANewReading(t *testing.T) {
	s := watched(t, phControl())
	if b := bathNow(t, s, 0); len(b.Controls) != 1 || !b.Controls[0].Overdue || !strings.Contains(b.Controls[0].Says, "never read") {
		t.Fatalf("a bath that was never read: %+v", b.Controls)
	}
	if saved := readPH(s, "5.2"); saved.Judgement.Verdict != quality.Fail || saved.HoldNumber != "" {
		t.Fatalf("pH 5.2 against 5: %s, hold %q", saved.Judgement.Verdict, saved.HoldNumber)
	}
	if b := bathNow(t, s, time.Hour); !b.Controls[0].Out || !strings.Contains(b.Controls[0].Says, "needs a corrective addition today") {
		t.Errorf("out of limits: %q", b.Controls[0].Says)
	}
	if b := bathNow(t, s, 24*time.Hour); !strings.Contains(b.Controls[0].Says, "due on the same day and is overdue") {
		t.Errorf("not corrected by the next day: %q", b.Controls[0].Says)
	}
	lot := conversionLot(t, s, store.Conversion, "ZC-1")
	if saved := s.Save(quality.BathAddition, quality.OnBath, s.Bath.ID, addition(quality.AddedChemical, "1.2", s), store.Use{Role: "chemical", ID: lot}); saved.Judgement.Verdict != quality.Pass {
		t.Fatalf("the addition: %s", saved.Judgement.Sentence())
	}
	if b := bathNow(t, s, time.Hour); !b.Controls[0].Out || !b.Controls[0].Due || !strings.Contains(b.Controls[0].Says, "Read it again") {
		t.Errorf("corrected and not read again: %q", b.Controls[0].Says)
	}
	readPH(s, "4.5")
	if b := bathNow(t, s, time.Hour); len(b.Against()) != 0 || b.Controls[0].Says != "" {
		t.Errorf("read in limits again: %q", b.Controls[0].Says)
	}
}

// Once in 24 hours of work: hours in which the line stood still do not count.
func TestBathIsOverdueAfterItsHoursOfWork(t *testing.T) {
	s := watched(t, phControl())
	readPH(s, "4.4") // 08:00 in the early shift
	if b := bathNow(t, s, 40*time.Hour); b.Controls[0].Overdue || !b.Controls[0].Due {
		t.Errorf("40 hours later, of which the line worked a few: %q", b.Controls[0].Says)
	}
	for range 3 {
		parts := s.Parts(1)
		s.Weld(parts[0], quality.NoneFound)
		s.Wash(parts, "4.6", 0)
		s.Now = s.Now.Add(8 * time.Hour)
	}
	// Early, late and night shift each washed: the night ends 22 hours after the reading.
	if b := bathNow(t, s, -2*time.Hour); b.Controls[0].Overdue {
		t.Errorf("after 22 hours of work: %q", b.Controls[0].Says)
	}
	if b := bathNow(t, s, 90*time.Minute); !b.Controls[0].Overdue || !strings.Contains(b.Against()[0], "so it is overdue") {
		t.Errorf("after over 24 hours of work: %q", b.Controls[0].Says)
	}
}

func washEntry(t *testing.T, s *storetest.Shop) store.Entry {
	t.Helper()
	parts := s.Parts(1)
	s.Weld(parts[0], quality.NoneFound)
	rack := store.NewID()
	if _, err := s.DB.HangRack(t.Context(), s.Everyone, rack, "R"+strings.ToUpper(rack.String()[28:34])); err != nil {
		t.Fatal(err)
	}
	if err := s.DB.HangParts(t.Context(), s.Everyone, rack, parts); err != nil {
		t.Fatal(err)
	}
	return store.Entry{RecordID: store.NewID(), Kind: quality.Pretreatment, Subject: store.Subject{Kind: quality.OnRack, ID: rack}, Uses: []store.Use{{Role: "bath", ID: s.Bath.ID}},
		Check: quality.Check{Readings: []quality.Reading{s.Reading("ph", "1-convert", 0, "4.6", quality.PH)}}}
}

func TestWashInAnUncheckedBathIsFlaggedOrRefusedAsTheSpecSays(t *testing.T) {
	s := watched(t, phControl())
	readPH(s, "5.2")
	flagged, err := s.DB.Save(t.Context(), s.Everyone, washEntry(t, s))
	if err != nil || flagged.Judgement.Verdict != quality.Pass || flagged.Judgement.Findings[0].Rule != quality.RuleBathChecked || !strings.Contains(flagged.Judgement.Findings[0].Text, "Bath CONV: pH was 5.2") {
		t.Fatalf("flagged by default: %+v, %v", flagged.Judgement, err)
	}
	strict := shopSpecWith(t, s, func(spec *quality.FinishSpec) { spec.Pretreatment.BathUnchecked = quality.BathRefuse })
	if strict.Revision != "B" {
		t.Fatal(strict)
	}
	s.Now = s.Now.Add(time.Minute)
	e := washEntry(t, s)
	var refusal *store.Refusal
	if _, err := s.DB.Save(t.Context(), s.Everyone, e); !errors.As(err, &refusal) || refusal.Rule != store.RuleBathUnchecked || !refusal.MayOverride {
		t.Fatalf("a bath out of limits was used: %v", err)
	}
	readPH(s, "4.4")
	saved, err := s.DB.Save(t.Context(), s.Everyone, e)
	if err != nil || saved.Judgement.Verdict != quality.Pass {
		t.Fatalf("after a good reading: %+v, %v", saved, err)
	}
	record, err := s.DB.RecordByID(t.Context(), s.Site.ID, e.RecordID)
	if err != nil {
		t.Fatal(err)
	}
	bath := bathNow(t, s, 0)
	if i := slices.IndexFunc(record.Uses, func(u store.UseLine) bool { return u.Role == "bath" }); i < 0 || record.Uses[i].Vouched.UUID != bath.ReadID {
		t.Errorf("the wash names %+v, want the bath's last reading %s", record.Uses, bath.ReadID)
	}
}

// shopSpecWith approves a revision of the shop's spec.
func shopSpecWith(t *testing.T, s *storetest.Shop, change func(*quality.FinishSpec)) store.SpecRevision {
	t.Helper()
	rev, err := s.DB.NewRevision(t.Context(), s.Everyone, s.Spec.Code, "B")
	if err != nil {
		t.Fatal(err)
	}
	body, err := quality.DecodeFinishSpec(rev.Body)
	if err != nil {
		t.Fatal(err)
	}
	change(&body)
	if err := s.DB.SaveDraft(t.Context(), s.Everyone, rev.ID, body); err != nil {
		t.Fatal(err)
	}
	if err := s.DB.ApproveSpec(t.Context(), s.Everyone, rev.ID, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	return rev
}

func TestLotInABathTouchesWhatIsWashedUntilTheNextMakeUp(t *testing.T) {
	s := watched(t, phControl())
	lot := conversionLot(t, s, store.Conversion, "ZC-1")
	wash := func() string {
		s.Now = s.Now.Add(time.Minute)
		parts := s.Parts(1)
		s.Weld(parts[0], quality.NoneFound)
		s.Wash(parts, "4.6", 0)
		rows, err := s.DB.FindParts(t.Context(), s.Site.ID, "TH-", 1)
		if err != nil {
			t.Fatal(err)
		}
		return rows[0].Serial
	}
	add := func(act string, uses ...store.Use) {
		s.Now = s.Now.Add(time.Minute)
		s.Save(quality.BathAddition, quality.OnBath, s.Bath.ID, addition(act, "2", s), uses...)
	}
	wash()
	add(quality.AddedChemical, store.Use{Role: "chemical", ID: lot})
	want := []string{wash()}
	add(quality.AddedChemical, store.Use{Role: "chemical", ID: lot})
	want = append(want, wash())
	add(quality.MadeUp, store.Use{Role: "chemical", ID: conversionLot(t, s, store.Conversion, "ZC-2")})
	wash()
	// What was left of the lot goes into the new bath.
	add(quality.AddedChemical, store.Use{Role: "chemical", ID: lot})
	want = append(want, wash())
	traced, err := s.DB.Trace(t.Context(), s.Site.ID, store.TraceFrom{Kind: "lot", Name: "ZC-1"})
	if err != nil {
		t.Fatal(err)
	}
	touched, err := s.DB.PartsOfLot(t.Context(), s.Site.ID, lot)
	if err != nil {
		t.Fatal(err)
	}
	var byTrace, byHold []string
	for _, p := range traced {
		byTrace = append(byTrace, p.Serial)
	}
	for _, p := range touched {
		byHold = append(byHold, p.Serial)
	}
	slices.Sort(want)
	if !slices.Equal(byTrace, want) || !slices.Equal(byHold, want) {
		t.Errorf("the lot touched %v by trace and %v on its own page, want %v", byTrace, byHold, want)
	}
	if b := bathNow(t, s, 0); b.MadeUpAt == nil {
		t.Error("the make-up is not on the bath")
	}
}

func TestAdditionNamesItsLotAndTheRightBath(t *testing.T) {
	s := watched(t, phControl())
	entry := func(check quality.Check, uses ...store.Use) error {
		_, err := s.DB.Save(t.Context(), s.Everyone, store.Entry{RecordID: store.NewID(), Kind: quality.BathAddition, Subject: store.Subject{Kind: quality.OnBath, ID: s.Bath.ID}, Check: check, Uses: uses})
		return err
	}
	refusedBy(t, entry(addition(quality.AddedChemical, "1", s)), store.RuleLotMissing)
	refusedBy(t, entry(addition(quality.MadeUp, "1500", s)), store.RuleLotMissing)
	// Alkaline cleaner into an acid conversion bath.
	refusedBy(t, entry(addition(quality.AddedChemical, "1", s), store.Use{Role: "chemical", ID: conversionLot(t, s, store.Cleaner, "AC-1")}), store.RuleInvalid)
	if err := entry(addition(quality.AddedWater, "40", s)); err != nil {
		t.Errorf("water needs no lot: %v", err)
	}
}

func TestReadingIsJudgedByTheControlsOfItsTime(t *testing.T) {
	s := watched(t, phControl(), rinseControl())
	s.Now = s.Now.Add(time.Hour)
	check := quality.Check{Readings: []quality.Reading{s.Reading("ph", "", 0, "4.9", quality.PH), s.Reading("conductivity_measured", "", 0, "33", quality.MicroSiemens),
		s.Reading("conductivity_temperature", "", 0, "25", quality.Celsius)}}
	e := store.Entry{RecordID: store.NewID(), Kind: quality.BathReading, Subject: store.Subject{Kind: quality.OnBath, ID: s.Bath.ID}, Check: check}
	if saved, err := s.DB.Save(t.Context(), s.Everyone, e); err != nil || saved.Judgement.Verdict != quality.Pass {
		t.Fatalf("%+v, %v", saved, err)
	}
	if again, err := s.DB.Save(t.Context(), s.Everyone, e); err != nil || !again.Already {
		t.Errorf("sent twice: %+v, %v", again, err)
	}
	s.Now = s.Now.Add(time.Hour)
	tight := phControl()
	tight.Limits = quality.Between(3.8, 4.6, quality.PH)
	if err := s.DB.SetBathControl(t.Context(), s.Everyone, s.Bath.ID, tight); err != nil {
		t.Fatal(err)
	}
	corrected := e
	corrected.RecordID = store.NewID()
	corrected.Check.Readings = slices.Clone(check.Readings)
	corrected.Check.Readings[1] = s.Reading("conductivity_measured", "", 0, "32", quality.MicroSiemens)
	saved, err := s.DB.Correct(t.Context(), s.Everyone, corrected, typingError(e.RecordID), s.Proof(s.Everyone))
	if err != nil || saved.Judgement.Verdict != quality.Pass {
		t.Fatalf("the correction is judged by the limits of its time: %+v, %v", saved, err)
	}
	if j := readPHJudged(s, "4.9"); j != quality.Fail {
		t.Errorf("a new reading at pH 4.9 against 4.6: %s, want fail", j)
	}
	log, err := s.DB.BathLog(t.Context(), s.Site.ID, s.Bath.ID, s.Now.AddDate(0, 0, -1), s.Now.Add(time.Hour), 50)
	if err != nil || len(log) != 3 {
		t.Fatalf("%d lines on the log, %v; want 3", len(log), err)
	}
	i := slices.IndexFunc(log[1].Readings, func(r quality.Reading) bool { return r.Characteristic == "bath_conductivity" })
	if i < 0 || log[1].Readings[i].Location != "at 20 °C" || log[1].Readings[i].Source != "computed" || log[1].Readings[i].Shown() != "29.0909" {
		t.Errorf("32 µS/cm at 25 °C on the log: %+v, want 29.0909 at 20 °C", log[1].Readings)
	}
	v, err := s.DB.Verify(t.Context(), s.Site, store.Trust{})
	if err != nil || len(v.Mismatches) > 0 {
		t.Errorf("computed values do not verify: %v, %v", v.Mismatches, err)
	}
}

func readPHJudged(s *storetest.Shop, text string) quality.Verdict {
	return readPH(s, text).Judgement.Verdict
}

func TestControlsThatCannotBeUsedAreRefused(t *testing.T) {
	s := watched(t)
	for rule, change := range map[string]func(*store.BathControl){
		store.RuleInvalid: func(c *store.BathControl) { c.Limits = quality.Limits{} }, "bath_control_rhythm_known": func(c *store.BathControl) { c.Rhythm = "when it smells" },
		"bath_control_every_hours_range": func(c *store.BathControl) { c.Rhythm = "hours" }, "bath_control_source_present": func(c *store.BathControl) { c.Source = " " },
	} {
		c := phControl()
		change(&c)
		refusedBy(t, s.DB.SetBathControl(t.Context(), s.Everyone, s.Bath.ID, c), rule)
	}
	dump := s.Bath
	dump.DumpDays = 30
	if err := s.DB.ChangeBath(t.Context(), s.Everyone, dump); err != nil {
		t.Fatal(err)
	}
	if b := bathNow(t, s, 0); !strings.Contains(b.DumpDue, "make-up is not on record") {
		t.Errorf("a bath never made up: %q", b.DumpDue)
	}
}

func TestFiguresOfATitrationThatContradictEachOtherAreRefused(t *testing.T) {
	caustic := store.BathControl{BathControl: quality.BathControl{Characteristic: "concentration", Method: quality.TitrateTwice, Unit: quality.Percent, Limits: quality.Between(1, 6, quality.Percent), Normality: 0.5, SampleML: 50},
		Rhythm: "shift", Source: "shop's rule", Active: true}
	s := watched(t, caustic)
	e := store.Entry{RecordID: store.NewID(), Kind: quality.BathReading, Subject: store.Subject{Kind: quality.OnBath, ID: s.Bath.ID}, Check: quality.Check{Readings: []quality.Reading{
		s.Reading("titrant_first", "two end points", 0, "12", quality.Millilitre), s.Reading("titrant_total", "two end points", 0, "7", quality.Millilitre)}}}
	_, err := s.DB.Save(t.Context(), s.Everyone, e)
	refusedBy(t, err, store.RuleInvalid)
}
