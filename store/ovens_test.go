package store_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

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
