package store_test

import (
	"errors"
	"testing"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

var tuesday = time.Date(2026, 11, 24, 0, 0, 0, 0, time.UTC)

// mixedDay is a day with something of everything: 6 parts welded, 1 with a crack; 5 washed on two racks, one at a bad pH; the
// good rack of 3 baked and finished; one of the three thin, stripped and waiting; two released.
func mixedDay(t *testing.T) (*storetest.Shop, []uuid.UUID) {
	t.Helper()
	s := storetest.NewShop(t)
	parts := s.Parts(6)
	for _, p := range parts[:5] {
		s.Weld(p, quality.NoneFound)
	}
	s.Weld(parts[5], "100")
	good := s.Wash(parts[:3], "4.6", 0)
	s.Wash(parts[3:5], "5.4", 1)
	s.Bake([]uuid.UUID{good}, "196")
	s.Verify(0.4)
	for i, p := range parts[:3] {
		s.Finish(p)
		if i == 2 {
			s.Film(p, "81.0", "46.3", "79", "80", "82")
			continue
		}
		s.Film(p, "84.20", "81.0", "79", "80", "82")
	}
	if err := s.DB.Release(t.Context(), s.Everyone, parts[:2], s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	return s, parts
}

func TestStagesCountFirstRecordsOfTheDay(t *testing.T) {
	s, _ := mixedDay(t)
	stages, err := s.DB.Stages(t.Context(), s.Site.ID, store.OneDay(tuesday, ""))
	if err != nil {
		t.Fatal(err)
	}
	want := []store.StageCount{
		{Kind: quality.Weld, Subject: "part", Units: 6, Passed: 5, Failed: 1, Through: 6},
		{Kind: quality.Pretreatment, Subject: "rack", Units: 2, Passed: 1, Failed: 1, Through: 5},
		{Kind: quality.Coating, Subject: "rack", Units: 1, Passed: 1, Through: 3},
		{Kind: quality.Cure, Subject: "load", Units: 1, Passed: 1, Through: 3},
		{Kind: quality.CureTest, Subject: "load", Units: 1, Passed: 1, Through: 3},
		{Kind: quality.Finish, Subject: "part", Units: 3, Passed: 3, Through: 3},
		{Kind: quality.Film, Subject: "part", Units: 3, Passed: 2, Failed: 1, Through: 3},
	}
	if len(stages) != len(want) {
		t.Fatalf("got %d stages %+v, want %d", len(stages), stages, len(want))
	}
	for i := range want {
		if stages[i] != want[i] {
			t.Errorf("stage %d: got %+v, want %+v", i, stages[i], want[i])
		}
	}
}

func TestEveryCountEqualsTheLengthOfItsList(t *testing.T) {
	s, _ := mixedDay(t)
	ctx := t.Context()
	for _, shift := range []string{"", "Early", "Late"} {
		p := store.OneDay(tuesday, shift)
		stages, err := s.DB.Stages(ctx, s.Site.ID, p)
		if err != nil {
			t.Fatal(err)
		}
		if (shift == "Late") != (len(stages) == 0) {
			t.Errorf("shift %q: %d stages; everything happened in the early shift", shift, len(stages))
		}
		for _, c := range stages {
			for outcome, want := range map[string]int{"": c.Units, "passed": c.Passed, "failed": c.Failed, "incomplete": c.Incomplete, "not_passed": c.Units - c.Passed} {
				rows, err := s.DB.FirstRecords(ctx, s.Site.ID, p, c.Kind, outcome)
				if err != nil || len(rows) != want {
					t.Errorf("shift %q, %s %q: list of %d, %v, want %d", shift, c.Kind, outcome, len(rows), err, want)
				}
			}
			through, err := s.DB.PartsThrough(ctx, s.Site.ID, p, c.Kind)
			if err != nil || len(through) != c.Through {
				t.Errorf("shift %q, %s: %d parts through, %v, want %d", shift, c.Kind, len(through), err, c.Through)
			}
		}
		faults, err := s.DB.Faults(ctx, s.Site.ID, p)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range faults {
			rows, err := s.DB.FaultRecords(ctx, s.Site.ID, p, f.Fault)
			if err != nil || len(rows) != f.Findings {
				t.Errorf("shift %q, fault %s: list of %d, %v, want %d", shift, f.Fault, len(rows), err, f.Findings)
			}
			subjects := map[string]bool{}
			for _, r := range rows {
				subjects[r.Subject] = true
			}
			if len(subjects) != f.Subjects {
				t.Errorf("shift %q, fault %s: on %d subjects, want %d", shift, f.Fault, len(subjects), f.Subjects)
			}
		}
	}
}

func TestFaultsAreCountedByTheTradesWord(t *testing.T) {
	s, _ := mixedDay(t)
	faults, err := s.DB.Faults(t.Context(), s.Site.ID, store.OneDay(tuesday, ""))
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]int{}
	for _, f := range faults {
		got[f.Fault] = f.Findings
	}
	for fault, want := range map[string]int{"100": 1, "ph": 1, "thin_film": 1} {
		if got[fault] != want {
			t.Errorf("fault %s: %d findings, want %d (all: %v)", fault, got[fault], want, got)
		}
	}
	n, err := s.DB.FaultySubjects(t.Context(), s.Site.ID, store.OneDay(tuesday, ""))
	if err != nil || n != 3 {
		t.Errorf("%d faulty parts, racks and loads, %v, want 3: a part, a rack, a part", n, err)
	}
}

func TestRecoatedPartCountsInNoFirstPass(t *testing.T) {
	s, parts := mixedDay(t)
	ctx := t.Context()
	decideFirstHold(t, s, parts[2], "strip_recoat")
	before, err := s.DB.Stages(ctx, s.Site.ID, store.OneDay(tuesday, ""))
	if err != nil {
		t.Fatal(err)
	}
	s.Weld(parts[2], quality.NoneFound)
	after, err := s.DB.Stages(ctx, s.Site.ID, store.OneDay(tuesday, ""))
	if err != nil {
		t.Fatal(err)
	}
	if after[0].Units != before[0].Units || after[0].Passed != before[0].Passed {
		t.Errorf("a weld check of cycle 2 moved first-pass yield from %+v to %+v", before[0], after[0])
	}
}

// decideFirstHold decides the oldest open hold of a part.
func decideFirstHold(t *testing.T, s *storetest.Shop, part uuid.UUID, code string) {
	t.Helper()
	holds, err := s.DB.HoldsOf(t.Context(), s.Site.ID, part)
	if err != nil || len(holds) == 0 {
		t.Fatalf("no hold on the part: %v", err)
	}
	h, err := s.DB.HoldByNumber(t.Context(), s.Site.ID, holds[0].Number)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.DB.Decide(t.Context(), s.Everyone, h.ID, store.Decision{Parts: []uuid.UUID{part}, Code: code, Reason: "thin on spot 2"}, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
}

func TestFinalYieldCountsFinishedParts(t *testing.T) {
	s, parts := mixedDay(t)
	decideFirstHold(t, s, parts[5], "scrap")
	s.Now = s.Now.Add(7 * time.Hour) // the late shift
	decideFirstHold(t, s, parts[4], "scrap")
	for shift, want := range map[string]map[string]int{
		"":      {"released": 2, "scrapped": 2},
		"Early": {"released": 2, "scrapped": 1},
		"Late":  {"scrapped": 1},
		"Night": {},
	} {
		ends, err := s.DB.Ends(t.Context(), s.Site, store.OneDay(tuesday, shift))
		if err != nil {
			t.Fatal(err)
		}
		got := map[string]int{}
		for _, e := range ends {
			got[e.Status]++
		}
		if len(got) != len(want) || got["released"] != want["released"] || got["scrapped"] != want["scrapped"] {
			t.Errorf("shift %q: got %v, want %v", shift, got, want)
		}
	}
}

func TestUnknownOutcomeIsNotFound(t *testing.T) {
	s := storetest.NewShop(t)
	_, err := s.DB.FirstRecords(t.Context(), s.Site.ID, store.OneDay(tuesday, ""), quality.Film, "lucky")
	if !errors.Is(err, store.ErrNotFound) {
		t.Errorf("got %v, want not found", err)
	}
}

func TestPartsAreFoundBySerialJobAndPartNumber(t *testing.T) {
	s := storetest.NewShop(t)
	s.Parts(3)
	for text, want := range map[string]int{"th-00": 3, "TH-0002": 1, "24117": 3, "rf-210": 3, "": 3, "%": 0, "nothing": 0} {
		rows, err := s.DB.FindParts(t.Context(), s.Site.ID, text, 50)
		if err != nil || len(rows) != want {
			t.Errorf("%q finds %d parts, %v, want %d", text, len(rows), err, want)
		}
	}
}
