package store_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"

	"github.com/google/uuid"

	"coatbook/store"
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
