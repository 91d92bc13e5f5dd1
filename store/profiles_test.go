package store_test

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/loggerfile"
	"coatbook/store/storetest"
)

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
