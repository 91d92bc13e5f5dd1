package store_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/loggerfile"
	"coatbook/store/storetest"
)

// A run is one load as a logger sees it: its metal rises to a peak in ten minutes, stays and cools in ten.
type run struct {
	peak float64
	soak int // minutes at the peak
}

// loggerText is the file of a logger that went through the oven with one load after the other, a sample every ten seconds.
func loggerText(runs ...run) []byte {
	var b strings.Builder
	b.WriteString("time_s,heavy_c,light_c,air_c\n")
	second := 0
	for _, r := range runs {
		for i := 0; i < (25+r.soak)*6; i++ {
			minute := float64(i) / 6
			metal := 25.0
			switch {
			case minute < 10:
				metal = 25 + (r.peak-25)*minute/10
			case minute < 10+float64(r.soak):
				metal = r.peak
			case minute < 20+float64(r.soak):
				metal = r.peak - (r.peak-25)*(minute-10-float64(r.soak))/10
			}
			fmt.Fprintf(&b, "%d,%.2f,%.2f,%.1f\n", second, metal, metal+1.5, 210.0)
			second += 10
		}
	}
	return []byte(b.String())
}

// aLoad brings n new parts to an oven load that has not been baked yet.
func aLoad(s *storetest.Shop, t *testing.T, n int) (uuid.UUID, []uuid.UUID) {
	t.Helper()
	parts := s.Parts(n)
	for _, p := range parts {
		s.Weld(p, quality.NoneFound)
	}
	rack, load := s.Wash(parts, "4.6", 0), store.NewID()
	if _, err := s.DB.OpenLoad(t.Context(), s.Everyone, load, s.Oven.ID); err != nil {
		t.Fatal(err)
	}
	if err := s.DB.AddRack(t.Context(), s.Everyone, load, rack); err != nil {
		t.Fatal(err)
	}
	return load, parts
}

// profileEntry receives a file and makes the cure run of a load from its nth stretch.
func profileEntry(s *storetest.Shop, t *testing.T, load uuid.UUID, body []byte, stretch int) (store.Entry, store.LoggerFile) {
	t.Helper()
	f, err := s.DB.ReceiveLoggerFile(t.Context(), s.Everyone, "run.csv", body, uuid.NullUUID{})
	if err != nil {
		t.Fatal(err)
	}
	g, err := loggerfile.Inspect(bytes.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	seen, err := loggerfile.Look(bytes.NewReader(body), g.Layout)
	if err != nil {
		t.Fatal(err)
	}
	seg := seen.Segments[stretch]
	return store.Entry{RecordID: store.NewID(), Kind: quality.Cure, Subject: store.Subject{Kind: quality.OnLoad, ID: load},
		Check: quality.Check{Readings: []quality.Reading{s.Reading("set_point", "", 0, "210", quality.Celsius)}}, Uses: []store.Use{{Role: "oven", ID: s.Oven.ID}},
		Profile: &store.ProfileUse{FileID: f.ID, Layout: g.Layout, FromS: seg.FromS, ToS: seg.ToS}}, f
}

func refusedFor(t *testing.T, err error, rule, says string) {
	t.Helper()
	var r *store.Refusal
	if !errors.As(err, &r) || r.Rule != rule || !strings.Contains(r.Sentence, says) {
		t.Fatalf("got %v, want %s with %q", err, rule, says)
	}
}

func TestCureRunIsReadFromTheLoggersFileAndKeepsIt(t *testing.T) {
	s := storetest.NewShop(t)
	ctx := t.Context()
	load, parts := aLoad(s, t, 2)
	body := loggerText(run{200, 14})
	e, file := profileEntry(s, t, load, body, 0)
	j, err := s.DB.Preview(ctx, s.Everyone, e)
	if err != nil || j.Verdict != quality.Pass {
		t.Fatalf("preview: %+v, %v", j, err)
	}
	saved, err := s.DB.Save(ctx, s.Everyone, e)
	if err != nil || saved.Judgement.Verdict != quality.Pass {
		t.Fatalf("%+v, %v", saved, err)
	}
	record, err := s.DB.RecordByID(ctx, s.Site.ID, saved.RecordID)
	if err != nil {
		t.Fatal(err)
	}
	// By hand: 200 °C for 14 min, and the ends over 190 °C: 10·10/175 min on the way up and as much on the way down.
	peaks, times := record.Check.Of("metal_peak"), record.Check.Of("metal_time")
	if len(peaks) != 2 || peaks[0].Text != "200" || peaks[1].Text != "201.5" || math.Abs(times[0].Value-(14+2*100.0/175)) > 0.01 || peaks[0].Source != "file" ||
		!strings.Contains(peaks[0].Raw, file.Hash()) || record.Check.Of("set_point")[0].Source != "typed" {
		t.Errorf("readings %+v %+v", peaks, times)
	}
	if air := record.Check.Of("oven_air"); len(air) != 1 || air[0].Text != "210" || air[0].Source != "file" {
		t.Errorf("oven air %+v", air)
	}
	kept, err := io.ReadAll(s.DB.LoggerFileBytes(ctx, s.Site.ID, file.ID))
	if err != nil || !bytes.Equal(kept, body) {
		t.Errorf("the original came back as %d bytes, %v, want the %d that came", len(kept), err, len(body))
	}
	window, err := s.DB.CureWindowOf(ctx, s.Site.ID, saved.RecordID)
	if err != nil || len(window.Points) != 2 || window.Points[0] != (quality.CurePoint{MetalC: 180, MinMinutes: 12, MaxMinutes: 30}) {
		t.Errorf("window on record %+v, %v", window, err)
	}
	p, err := s.DB.ProfileOf(ctx, s.Site.ID, saved.RecordID)
	if err != nil || len(p.Channels) != 3 || len(p.Seconds) != len(p.Channels[0].Celsius) || p.Channels[2].Role != "air" || p.AboveC != 190 || p.File.Hash() != file.Hash() {
		t.Errorf("profile %d channels, %v", len(p.Channels), err)
	}
	again, err := s.DB.Save(ctx, s.Everyone, e)
	if err != nil || !again.Already {
		t.Errorf("the same entry again: %+v, %v", again, err)
	}
	items, _, err := s.DB.GateOf(ctx, s.Site.ID, parts[0])
	if err != nil || !strings.Contains(fmt.Sprint(items), saved.RecordID.String()) {
		t.Errorf("the parts' gate does not know the run: %v, %v", items, err)
	}
	found, err := s.DB.Verify(ctx, s.Site, store.Trust{})
	if err != nil || len(found.Mismatches) > 0 {
		t.Errorf("verify: %+v, %v", found.Mismatches, err)
	}
	if _, err := storetest.Owner(t, s.DB).Exec(ctx, "SET ROLE coatbook_app; UPDATE cure_channel SET place = 'x'"); err == nil {
		t.Error("the server may change a profile")
	}
}

func TestProfileThirtySecondsShortFailsAndSaysSo(t *testing.T) {
	s := storetest.NewShop(t)
	load, _ := aLoad(s, t, 1)
	// The window asks for 10.42 min at 190 °C (12 at 180, 8 at 210, straight in ln t over 1/T); the colder channel peaks at 190 °C
	// and stays there for 30 s less.
	least, err := quality.CureWindow{Points: []quality.CurePoint{{MetalC: 180, MinMinutes: 12}, {MetalC: 210, MinMinutes: 8}}}.At(190)
	if err != nil {
		t.Fatal(err)
	}
	seconds := least.Low.Value*60 - 30
	var b strings.Builder
	b.WriteString("time_s,heavy_c\n")
	for at := 0.0; at <= 300; at += 10 {
		fmt.Fprintf(&b, "%g,%g\n", at, 25+at*165/300)
	}
	for at := 310.0; at < 300+seconds; at += 10 {
		fmt.Fprintf(&b, "%g,190\n", at)
	}
	fmt.Fprintf(&b, "%g,190\n", 300+seconds)
	for at := 10.0; at <= 300; at += 10 {
		fmt.Fprintf(&b, "%g,%g\n", 300+seconds+at, 190-at*165/300)
	}
	e, file := profileEntry(s, t, load, []byte(b.String()), 0)
	saved, err := s.DB.Save(t.Context(), s.Everyone, e)
	if err != nil || saved.Judgement.Verdict != quality.Fail || !strings.Contains(saved.Judgement.Sentence(), "30 s short") || saved.HoldNumber == "" {
		t.Fatalf("%+v, %v, want a fail that is 30 s short and a hold", saved, err)
	}
	record, err := s.DB.RecordByID(t.Context(), s.Site.ID, saved.RecordID)
	if err != nil || record.Check.Of("metal_time")[0].Flag != quality.Short || !strings.Contains(record.Check.Of("metal_time")[0].Raw, file.Hash()) {
		t.Errorf("%+v, %v", record.Check.Readings, err)
	}
}

func TestOpenThermocoupleAndGapAreIncompleteAndNeverAPass(t *testing.T) {
	s := storetest.NewShop(t)
	good := string(loggerText(run{200, 14}))
	lines := strings.Split(good, "\n")
	open := append([]string{}, lines...)
	open[100] = strings.Replace(open[100], strings.Split(open[100], ",")[1], "---", 1)
	gap := append(append([]string{}, lines[:100]...), lines[112:]...)
	for name, text := range map[string][]string{"open": open, "gap": gap} {
		load, _ := aLoad(s, t, 1)
		e, _ := profileEntry(s, t, load, []byte(strings.Join(text, "\n")), 0)
		saved, err := s.DB.Save(t.Context(), s.Everyone, e)
		if err != nil || saved.Judgement.Verdict != quality.Incomplete {
			t.Errorf("%s: %s, %v, want incomplete", name, saved.Judgement.Verdict, err)
		}
	}
}

func TestFileIsImportedOnceAndEachOfItsLoadsOnce(t *testing.T) {
	s := storetest.NewShop(t)
	ctx := t.Context()
	body := loggerText(run{200, 14}, run{199, 14})
	first, _ := aLoad(s, t, 1)
	second, _ := aLoad(s, t, 1)
	e, file := profileEntry(s, t, first, body, 0)
	saved, err := s.DB.Save(ctx, s.Everyone, e)
	if err != nil {
		t.Fatal(err)
	}
	// The file comes again for the other load in it, and is the same file.
	other, again := profileEntry(s, t, second, body, 1)
	if again.ID != file.ID {
		t.Error("the same bytes are another file")
	}
	wrong := other
	wrong.Profile = e.Profile
	_, err = s.DB.Save(ctx, s.Everyone, wrong)
	refusedFor(t, err, store.RuleUsedBefore, "profile of load L-00001")
	half := *other.Profile
	half.FromS -= 600
	wrong.Profile = &half
	_, err = s.DB.Save(ctx, s.Everyone, wrong)
	refusedFor(t, err, store.RuleUsedBefore, "L-00001")
	if _, err = s.DB.Save(ctx, s.Everyone, other); err != nil {
		t.Fatal(err)
	}
	_, err = s.DB.ReceiveLoggerFile(ctx, s.Everyone, "renamed.txt", body, uuid.NullUUID{})
	refusedFor(t, err, store.RuleUsedBefore, "L-00001, L-00002")
	// A record that is voided gives its stretch back.
	if _, err := s.DB.Void(ctx, s.Everyone, store.NewID(), store.Correction{Of: saved.RecordID, Code: "wrong_part", Text: "The run of another load."}, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	if _, err := s.DB.ReceiveLoggerFile(ctx, s.Everyone, "run.csv", body, uuid.NullUUID{}); err != nil {
		t.Errorf("after the void: %v", err)
	}
	taken, err := s.DB.TakenStretches(ctx, s.Site.ID, file.ID)
	if err != nil || len(taken) != 1 || taken[0].Load != "L-00002" {
		t.Errorf("taken: %+v, %v", taken, err)
	}
}

func TestTwoWhoImportOneStretchAtOnceDoNotBothGetIt(t *testing.T) {
	s := storetest.NewShop(t)
	body := loggerText(run{200, 14})
	var entries []store.Entry
	for range 4 {
		load, _ := aLoad(s, t, 1)
		e, _ := profileEntry(s, t, load, body, 0)
		entries = append(entries, e)
	}
	var wait sync.WaitGroup
	errs := make([]error, len(entries))
	for i, e := range entries {
		wait.Go(func() { _, errs[i] = s.DB.Save(context.WithoutCancel(t.Context()), s.Everyone, e) })
	}
	wait.Wait()
	won := 0
	for _, err := range errs {
		if err == nil {
			won++
			continue
		}
		refusedFor(t, err, store.RuleUsedBefore, "is the profile of load")
	}
	if won != 1 {
		t.Errorf("%d loads have the stretch, want 1", won)
	}
}

func TestFilesThatAreNoProfileAreNotKept(t *testing.T) {
	s := storetest.NewShop(t)
	ctx := t.Context()
	for name, body := range map[string]string{"empty": "", "a program": "#!/bin/sh\nrm -rf /\n", "a page": "<script>alert(1)</script>", "zip": "PK\x03\x04\x00\x00", "one column": "1\n2\n3\n"} {
		_, err := s.DB.ReceiveLoggerFile(ctx, s.Everyone, "x.csv", []byte(body), uuid.NullUUID{})
		var r *store.Refusal
		if !errors.As(err, &r) || r.Rule != store.RuleLoggerFile {
			t.Errorf("%s: %v", name, err)
		}
	}
	_, err := s.DB.ReceiveLoggerFile(ctx, s.Everyone, "x.csv", make([]byte, store.MaxLoggerFile+1), uuid.NullUUID{})
	refusedFor(t, err, store.RuleLoggerFile, "more than 20 MB")
	var n int
	if err := storetest.Owner(t, s.DB).QueryRow(ctx, "SELECT count(*) FROM logger_file").Scan(&n); err != nil || n != 0 {
		t.Errorf("%d files kept, %v", n, err)
	}
	for given, want := range map[string]string{"../../x": "x", `C:\temp\run 7.csv`: "run 7.csv", "": "logger file", "a\x00\nb<script>.csv": "abscript.csv", strings.Repeat("ä", 300): strings.Repeat("ä", 120)} {
		f, err := s.DB.ReceiveLoggerFile(ctx, s.Everyone, given, []byte("s;c\n0;20\n1;21\n"+strings.Repeat("\n", len(given))), uuid.NullUUID{})
		if err != nil || f.Name != want {
			t.Errorf("%q is called %q, %v, want %q", given, f.Name, err, want)
		}
	}
	for i := range 60 {
		_, err = s.DB.ReceiveLoggerFile(ctx, s.Everyone, "x.csv", fmt.Appendf(nil, "s;c\n0;20\n1;%d\n", 30+i), uuid.NullUUID{})
		if err != nil {
			break
		}
	}
	refusedFor(t, err, store.RuleLoggerFile, "have not become a cure run yet")
}

func TestLayoutIsRememberedForItsLogger(t *testing.T) {
	s := storetest.NewShop(t)
	ctx := t.Context()
	logger, err := s.DB.AddInstrument(ctx, s.Everyone, store.Instrument{Code: "LG-01", Kind: "logger", MakerSerial: "77", Owner: "company", Unit: "degC", IntervalDays: 365, DueOn: s.Now.AddDate(1, 0, 0)})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.DB.LastLayout(ctx, s.Site.ID, logger.ID); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("a new logger: %v", err)
	}
	load, _ := aLoad(s, t, 1)
	body := loggerText(run{200, 14})
	f, err := s.DB.ReceiveLoggerFile(ctx, s.Everyone, "run.csv", body, uuid.NullUUID{UUID: logger.ID, Valid: true})
	if err != nil {
		t.Fatal(err)
	}
	e, _ := profileEntry(s, t, load, body, 0)
	e.Profile.FileID = f.ID
	e.Profile.Layout.Columns[0].Place = "bottom rail"
	saved, err := s.DB.Save(ctx, s.Everyone, e)
	if err != nil {
		t.Fatal(err)
	}
	l, err := s.DB.LastLayout(ctx, s.Site.ID, logger.ID)
	if err != nil || l.Columns[0].Place != "bottom rail" || l.Separator != "," {
		t.Errorf("remembered %+v, %v", l, err)
	}
	record, err := s.DB.RecordByID(ctx, s.Site.ID, saved.RecordID)
	if err != nil || len(record.Uses) != 2 || record.Check.Of("metal_peak")[0].Location != "bottom rail" {
		t.Errorf("uses %+v, %v", record.Uses, err)
	}
	overdue := store.Instrument{Code: "LG-02", Kind: "logger", MakerSerial: "78", Owner: "company", Unit: "degC", IntervalDays: 365, DueOn: s.Now.AddDate(0, 0, -1)}
	if overdue, err = s.DB.AddInstrument(ctx, s.Everyone, overdue); err != nil {
		t.Fatal(err)
	}
	load, _ = aLoad(s, t, 1)
	body = loggerText(run{200.5, 14})
	if _, err = s.DB.ReceiveLoggerFile(ctx, s.Everyone, "run.csv", body, uuid.NullUUID{UUID: overdue.ID, Valid: true}); err != nil {
		t.Fatal(err)
	}
	e, _ = profileEntry(s, t, load, body, 0)
	_, err = s.DB.Save(ctx, s.Everyone, e)
	refusedFor(t, err, store.RuleGaugeOverdue, "LG-02")
}

func TestOvenSaysWhatItWaitsFor(t *testing.T) {
	s := storetest.NewShop(t)
	ctx := t.Context()
	oven, err := s.DB.OvenByCode(ctx, s.Site.ID, "OV1")
	if err != nil {
		t.Fatal(err)
	}
	due := func() string {
		t.Helper()
		list, err := s.DB.OvenDueAt(ctx, s.Site, s.Oven.ID, s.Now)
		if err != nil {
			t.Fatal(err)
		}
		return fmt.Sprint(list)
	}
	if got := due(); got != "[]" {
		t.Errorf("an oven without a rhythm waits for %s", got)
	}
	oven.ProfilesPerWeek, oven.AirEachShift, oven.SurveyDays, oven.MaxSpreadC = 2, true, 7, 10
	if err := s.DB.SetOvenRhythm(ctx, s.Everyone, oven); err != nil {
		t.Fatal(err)
	}
	contains := func(when, got string, want ...string) {
		t.Helper()
		for _, w := range want {
			if !strings.Contains(got, w) {
				t.Errorf("%s: %s\nwithout %q", when, got, w)
			}
		}
	}
	contains("at first", due(), "No profile of the parts' temperature is on record", "has no uniformity survey", "not recorded in the Early shift yet")
	load, _ := aLoad(s, t, 1)
	e, _ := profileEntry(s, t, load, loggerText(run{200, 14}), 0)
	if _, err := s.DB.Save(ctx, s.Everyone, e); err != nil {
		t.Fatal(err)
	}
	survey := func(temperatures ...string) store.Saved {
		t.Helper()
		check := quality.Check{}
		for i, text := range temperatures {
			check.Readings = append(check.Readings, s.Reading("oven_place", fmt.Sprintf("place %d", i+1), i+1, text, quality.Celsius))
		}
		return s.Save(quality.OvenSurvey, quality.OnOven, s.Oven.ID, check)
	}
	if saved := survey("195", "200", "206"); saved.Judgement.Verdict != quality.Fail || saved.HoldNumber != "" {
		t.Errorf("an uneven oven: %+v", saved)
	}
	contains("after an uneven survey", due(), "was not uniform", "11 K is over 10 K")
	s.Now = s.Now.Add(time.Minute)
	if saved := survey("196", "200", "206"); saved.Judgement.Verdict != quality.Pass {
		t.Errorf("an even oven: %+v", saved)
	}
	if got := due(); got != "[]" {
		t.Errorf("everything is measured: %s", got)
	}
	// Two a week are one every three and a half days.
	s.Now = s.Now.AddDate(0, 0, 4)
	contains("four days later", due(), "so it is overdue", "2 a week are asked", "not recorded in the")
	s.Now = s.Now.AddDate(0, 0, 4)
	contains("eight days later", due(), "last uniformity survey was on 24 November", "one is asked every 7 days")
	// A typed run is no profile.
	s.Now = s.Now.AddDate(0, 0, 60)
	s.Bake([]uuid.UUID{s.Wash(func() []uuid.UUID { p := s.Parts(1); s.Weld(p[0], quality.NoneFound); return p }(), "4.6", 0)}, "196")
	contains("after a typed run", due(), "No profile of the parts' temperature is on record for the last 60 days")
}
