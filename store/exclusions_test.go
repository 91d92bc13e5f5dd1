package store_test

import (
	"math"
	"testing"

	"coatbook/store"
	"coatbook/store/storetest"
)

func TestExcludedReadingsLeaveTheStatisticsAndNothingElse(t *testing.T) {
	s := storetest.NewShop(t)
	ctx := t.Context()
	s.Verify(0)
	part := s.Ready(1, 0)[0]
	finish := s.Finish(part).RecordID
	film := s.Film(part, "80", "82", "84", "86", "20")
	day, _ := s.Site.ShopDay(s.Now)
	figures := func() store.FilmCheck {
		t.Helper()
		checks, err := s.DB.FilmChecks(ctx, s.Site.ID, store.FilmFilter{Period: store.OneDay(day, "")})
		if err != nil || len(checks) != 1 {
			t.Fatalf("film checks: %+v, %v", checks, err)
		}
		return checks[0]
	}
	inspector := s.AddPerson("Pal Strand", "pal", store.Inspector)
	refusedBy(t, s.DB.Exclude(ctx, inspector, film.RecordID, []int{5}, "wrong_spot", "Read beside the part", s.Proof(inspector)), store.RuleNoRight)
	refusedBy(t, s.DB.Exclude(ctx, s.Everyone, film.RecordID, []int{5}, "far_off", "Read beside the part", s.Proof(s.Everyone)), "exclusion_code_known")
	refusedBy(t, s.DB.Exclude(ctx, s.Everyone, film.RecordID, []int{5}, "wrong_spot", "x", s.Proof(s.Everyone)), "exclusion_reason_given")
	refusedBy(t, s.DB.Exclude(ctx, s.Everyone, film.RecordID, []int{9}, "wrong_spot", "Read beside the part", s.Proof(s.Everyone)), "exclusion_reading_fkey")
	if c := figures(); c.N != 5 || c.All != nil || len(c.LeftOut) != 0 {
		t.Fatalf("refused acts left something out: %+v", c)
	}
	before := status(t, s, "TH-0001").Status
	if err := s.DB.Exclude(ctx, s.Everyone, film.RecordID, []int{5}, "wrong_spot", "Read beside the part", s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	c := figures()
	// 80, 82, 84, 86: mean 83, squared deviations 9+1+1+9 = 20. With 20: mean 70.4.
	if c.N != 4 || c.MeanUM != 83 || math.Abs(c.M2-20) > 1e-9 || c.MinUM != 80 || c.All == nil || c.All.N != 5 || math.Abs(c.All.MeanUM-70.4) > 1e-9 || c.All.MinUM != 20 {
		t.Errorf("figures without %+v, with %+v", c.FilmFigures, c.All)
	}
	if len(c.LeftOut) != 1 || c.LeftOut[0].By != "Maren Holt" || c.LeftOut[0].Reason != "Read beside the part" || c.LeftOut[0].Values != "20 um" {
		t.Errorf("the list says %+v", c.LeftOut)
	}
	record, err := s.DB.RecordByID(ctx, s.Site.ID, film.RecordID)
	if err != nil || record.Verdict != film.Judgement.Verdict || len(record.Check.Readings) != 5 || status(t, s, "TH-0001").Status != before {
		t.Errorf("the record changed: %s, %d readings, %v", record.Verdict, len(record.Check.Readings), err)
	}
	refusedBy(t, s.DB.Exclude(ctx, s.Everyone, film.RecordID, []int{5}, "wrong_spot", "Read beside the part", s.Proof(s.Everyone)), store.RuleChanged)
	if err := s.DB.Exclude(ctx, s.Everyone, film.RecordID, nil, "special_cause", "Gun was being cleaned", s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	if c := figures(); c.N != 0 || c.All.N != 5 {
		t.Errorf("all left out: %+v", c.FilmFigures)
	}
	for _, x := range figures().LeftOut {
		refusedBy(t, s.DB.Readmit(ctx, inspector, x.ID, "It was right after all", s.Proof(inspector)), store.RuleNoRight)
		if err := s.DB.Readmit(ctx, s.Everyone, x.ID, "It was right after all", s.Proof(s.Everyone)); err != nil {
			t.Fatal(err)
		}
		refusedBy(t, s.DB.Readmit(ctx, s.Everyone, x.ID, "It was right after all", s.Proof(s.Everyone)), "exclusion_end_once")
	}
	if c := figures(); c.N != 5 || c.All != nil {
		t.Errorf("taken back: %+v", c)
	}
	if all, err := s.DB.ExclusionsOf(ctx, s.Site.ID, film.RecordID); err != nil || len(all) != 2 || all[0].EndedBy != "Maren Holt" || all[0].EndedFor != "It was right after all" {
		t.Errorf("what was taken back is not kept: %+v, %v", all, err)
	}
	// Only film checks are in the statistics.
	refusedBy(t, s.DB.Exclude(ctx, s.Everyone, finish, nil, "other", "Nothing to leave out", s.Proof(s.Everyone)), store.RuleInvalid)
}

// excludeADay leaves two readings of the day's first film check out and takes the second one back.
func excludeADay(t *testing.T, s *storetest.Shop) {
	t.Helper()
	ctx := t.Context()
	checks, err := s.DB.FilmChecks(ctx, s.Site.ID, store.FilmFilter{Period: store.Period{From: november.From, To: november.To}})
	if err != nil || len(checks) == 0 {
		t.Fatalf("no film check to leave values out of: %v", err)
	}
	record := checks[0].RecordID
	if err := s.DB.Exclude(ctx, s.Everyone, record, []int{1, 2}, "wrong_spot", "Read beside the part", s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	all, err := s.DB.ExclusionsOf(ctx, s.Site.ID, record)
	if err != nil || len(all) != 2 {
		t.Fatalf("%+v, %v", all, err)
	}
	if err := s.DB.Readmit(ctx, s.Everyone, all[1].ID, "It was on the part", s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
}

func TestExclusionsAreExportedWithFlagReasonAndPerson(t *testing.T) {
	s := exportDay(t)
	excludeADay(t, s)
	rows := table(t, export(t, s, "exclusions.csv", november))
	if len(rows) != 2 {
		t.Fatalf("%d lines, want both acts", len(rows))
	}
	flags := map[string]int{}
	for _, r := range rows {
		flags[r["excluded"]]++
		if r["reason"] != "Read beside the part" || r["reason_code"] != "wrong_spot" || r["excluded_by"] != "Maren Holt" || r["value_recorded"] == "" || r["record_id"] == "" {
			t.Errorf("a line says %v", r)
		}
		if back := r["excluded"] == "false"; back != (r["taken_back_by"] == "Maren Holt" && r["taken_back_reason"] == "It was on the part") {
			t.Errorf("a line that is taken back or not says %v", r)
		}
	}
	marked := 0
	for _, r := range table(t, export(t, s, "readings.csv", november)) {
		if r["excluded"] == "true" {
			marked++
		}
	}
	if flags["true"] != 1 || flags["false"] != 1 || marked != 1 {
		t.Errorf("flags %v in the list, %d readings marked; want one each", flags, marked)
	}
}

func TestVerifyBindsConfirmationsAndExclusionsToTheirContent(t *testing.T) {
	s := storetest.NewShop(t)
	ctx := t.Context()
	second := s.AddPerson("Idun Bakke", "idun", store.Supervisor)
	_, load := loaded(t, s)
	e := windowTyped(s, load, "maker's letter of 3 November")
	if _, err := save(t, s, e); err != nil {
		t.Fatal(err)
	}
	if err := s.DB.Confirm(ctx, second, e.RecordID, true, "", s.Proof(second)); err != nil {
		t.Fatal(err)
	}
	s.Verify(0)
	film := s.Film(s.Ready(1, 0)[0], "80", "82", "84", "86", "88")
	if err := s.DB.Exclude(ctx, s.Everyone, film.RecordID, []int{5}, "wrong_spot", "Read beside the part", s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	owner := storetest.Owner(t, s.DB)
	faults := func() int {
		t.Helper()
		v, err := s.DB.Verify(ctx, s.Site, store.Trust{})
		if err != nil {
			t.Fatal(err)
		}
		return len(v.Mismatches)
	}
	before := faults()
	for _, sql := range []string{`UPDATE confirmation SET reason = 'quietly changed'`, `UPDATE exclusion SET seq = 4`} {
		if _, err := owner.Exec(ctx, sql); err != nil {
			t.Fatal(err)
		}
		if after := faults(); after != before+1 {
			t.Errorf("after %s there are %d faults, want %d", sql, after, before+1)
		}
		before++
	}
}
