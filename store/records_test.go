package store_test

import (
	"errors"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5/pgconn"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

// filmEntry is a film check of five readings that pass, as one entry that may be sent again.
func filmEntry(s *storetest.Shop, part uuid.UUID, readings ...string) store.Entry {
	if len(readings) == 0 {
		readings = []string{"82", "68", "75", "93", "86"}
	}
	check := quality.Check{}
	for i, text := range readings {
		check.Readings = append(check.Readings, s.Reading("film_thickness", "", i+1, text, quality.Micrometre))
	}
	return store.Entry{RecordID: store.NewID(), Kind: quality.Film, Subject: store.Subject{Kind: quality.OnPart, ID: part}, Check: check,
		Uses: []store.Use{{Role: "gauge", ID: s.Gauge.ID}}}
}

func save(t *testing.T, s *storetest.Shop, e store.Entry) (store.Saved, error) {
	t.Helper()
	return s.DB.Save(t.Context(), s.Everyone, e)
}

func status(t *testing.T, s *storetest.Shop, serial string) store.Part {
	t.Helper()
	p, err := s.DB.PartBySerial(t.Context(), s.Site.ID, serial)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// The published worked examples of the mean and 80 % rule (from memory, see testdata/published/film-acceptance) as records.
func TestPublishedFilmExamplesAreSavedWithTheirVerdicts(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	parts := s.Ready(4, 0)
	for i, example := range []struct {
		readings []string
		want     quality.Verdict
	}{
		{[]string{"82", "68", "75", "93", "86"}, quality.Pass}, {[]string{"75", "68", "63", "66", "56"}, quality.Pass},
		{[]string{"57", "60", "59", "62", "53"}, quality.Fail}, {[]string{"85", "67", "71", "64", "44"}, quality.Fail},
	} {
		saved, err := save(t, s, filmEntry(s, parts[i], example.readings...))
		if err != nil {
			t.Fatal(err)
		}
		if saved.Judgement.Verdict != example.want {
			t.Errorf("example %d: %s, want %s", i+1, saved.Judgement.Verdict, example.want)
		}
		if held := saved.HoldNumber != ""; held != (example.want == quality.Fail) {
			t.Errorf("example %d: held %v", i+1, held)
		}
	}
}

func TestSameEntryTwiceIsOneRecordAndOtherContentIsRefused(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	e := filmEntry(s, s.Ready(1, 0)[0])
	var wg sync.WaitGroup
	results := make([]store.Saved, 6)
	errs := make([]error, 6)
	for i := range results {
		wg.Go(func() { results[i], errs[i] = s.DB.Save(t.Context(), s.Everyone, e) })
	}
	wg.Wait()
	first := 0
	for i := range results {
		if errs[i] != nil {
			t.Fatal(errs[i])
		}
		if !results[i].Already {
			first++
		}
	}
	if first != 1 {
		t.Errorf("%d of 6 equal entries were written, want 1", first)
	}
	e.Check.Readings[0].Text, e.Check.Readings[0].Value = "83", 83
	_, err := save(t, s, e)
	refusedBy(t, err, store.RuleSameID)
}

func TestStepsAreRefusedBeforeWhatTheyNeed(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	part := s.Parts(1)[0]
	_, err := save(t, s, filmEntry(s, part))
	if sentence := refusedBy(t, err, store.RuleStepMissing); !strings.Contains(sentence, "weld check is missing") {
		t.Errorf("the refusal does not name the missing step: %s", sentence)
	}
	e := filmEntry(s, part)
	e.Overrides = []store.Override{{Rule: store.RuleStepMissing, Reason: "Trial part, customer agreed", By: s.Everyone.Person, PIN: storetest.PIN}}
	if _, err := save(t, s, e); err != nil {
		t.Fatalf("with a supervisor's leave: %v", err)
	}
	r, err := s.DB.RecordByID(t.Context(), s.Site.ID, e.RecordID)
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Overrides) != 1 || r.Overrides[0].By != "Maren Holt" || r.Overrides[0].Reason == "" {
		t.Errorf("the exception does not stand on the record: %+v", r.Overrides)
	}
	e = filmEntry(s, part)
	e.Overrides = []store.Override{{Rule: store.RuleStepMissing, Reason: "Trial part, customer agreed", By: s.Everyone.Person, PIN: "000001"}}
	_, err = save(t, s, e)
	refusedBy(t, err, store.RuleWrongSecret)
}

func TestGaugeMustBeVerifiedThisShiftInDateAndGood(t *testing.T) {
	s := storetest.NewShop(t)
	parts := s.Ready(2, 0)
	part := parts[0]
	_, err := save(t, s, filmEntry(s, part))
	refusedBy(t, err, store.RuleGaugeUnverified)
	s.Verify(0)
	if _, err := save(t, s, filmEntry(s, part)); err != nil {
		t.Fatalf("verified this shift: %v", err)
	}
	s.Now = s.Now.Add(7 * time.Hour) // the late shift
	_, err = save(t, s, filmEntry(s, part))
	refusedBy(t, err, store.RuleGaugeUnverified)
	if saved := s.Verify(9); saved.Judgement.Verdict != quality.Fail {
		t.Fatalf("a gauge 9 µm off: %s", saved.Judgement.Verdict)
	}
	_, err = save(t, s, filmEntry(s, parts[1]))
	refusedBy(t, err, store.RuleGaugeFailed)
	s.Verify(0) // a later good check does not bring it back by itself
	_, err = save(t, s, filmEntry(s, parts[1]))
	refusedBy(t, err, store.RuleGaugeFailed)
}

func TestOverdueGaugeIsRefusedUnlessAuthorised(t *testing.T) {
	s := storetest.NewShop(t)
	part := s.Ready(1, 0)[0]
	g := s.Gauge
	g.DueOn = s.Now.AddDate(0, 0, -1)
	if err := s.DB.ChangeInstrument(t.Context(), s.Everyone, g); err != nil {
		t.Fatal(err)
	}
	s.Verify(0)
	e := filmEntry(s, part)
	_, err := save(t, s, e)
	refusedBy(t, err, store.RuleGaugeOverdue)
	e.Overrides = []store.Override{{Rule: store.RuleGaugeOverdue, Reason: "Calibration booked for tomorrow", By: s.Everyone.Person, PIN: storetest.PIN}}
	if _, err := save(t, s, e); err != nil {
		t.Fatal(err)
	}
}

func TestExpiredOrRejectedPowderIsRefusedUnlessAuthorised(t *testing.T) {
	s := storetest.NewShop(t)
	part := s.Parts(1)[0]
	s.Weld(part, quality.NoneFound)
	rack := store.NewID()
	if _, err := s.DB.HangRack(t.Context(), s.Everyone, rack, "K1"); err != nil {
		t.Fatal(err)
	}
	if err := s.DB.HangParts(t.Context(), s.Everyone, rack, []uuid.UUID{part}); err != nil {
		t.Fatal(err)
	}
	s.Save(quality.Pretreatment, quality.OnRack, rack, quality.Check{Readings: []quality.Reading{s.Reading("ph", "1-convert", 0, "4.5", quality.PH)}})
	if _, err := s.DB.SetLotStatus(t.Context(), s.Everyone, s.Lot.ID, "rejected", "Lumps in the box"); err != nil {
		t.Fatal(err)
	}
	e := store.Entry{RecordID: store.NewID(), Kind: quality.Coating, Subject: store.Subject{Kind: quality.OnRack, ID: rack},
		Check: quality.Check{Readings: []quality.Reading{s.Reading("humidity", "", 0, "48", quality.Percent)}}, Uses: []store.Use{{Role: "powder", ID: s.Lot.ID}}}
	_, err := save(t, s, e)
	refusedBy(t, err, store.RuleLotRejected)
	e.Overrides = []store.Override{{Rule: store.RuleLotRejected, Reason: "Sieved and released by the maker", By: s.Everyone.Person, PIN: storetest.PIN}}
	if _, err := save(t, s, e); err != nil {
		t.Fatal(err)
	}
}

func TestOnlyTheQualifiedRecordAndOnlyWhileTheyAre(t *testing.T) {
	s := storetest.NewShop(t)
	part := s.Parts(1)[0]
	q, err := s.DB.Qualifications(t.Context(), s.Site.ID, s.Everyone.Person)
	if err != nil {
		t.Fatal(err)
	}
	for _, one := range q {
		if one.Kind == quality.Weld {
			if err := s.DB.EndQualification(t.Context(), s.Everyone, one.ID, s.Now.AddDate(0, 0, -1), "Eyesight check expired"); err != nil {
				t.Fatal(err)
			}
		}
	}
	e := store.Entry{RecordID: store.NewID(), Kind: quality.Weld, Subject: store.Subject{Kind: quality.OnPart, ID: part}, Check: quality.Check{Defects: []quality.Defect{{Code: quality.NoneFound}}}}
	_, err = save(t, s, e)
	refusedBy(t, err, store.RuleNotQualified)
}

func TestLateEntryNeedsAReasonAndWrongClockIsNotBelieved(t *testing.T) {
	s := storetest.NewShop(t)
	s.Now = s.Now.Add(4 * time.Hour)
	part := s.Parts(1)[0]
	weld := func() store.Entry {
		return store.Entry{RecordID: store.NewID(), Kind: quality.Weld, Subject: store.Subject{Kind: quality.OnPart, ID: part}, Check: quality.Check{Defects: []quality.Defect{{Code: quality.NoneFound}}}}
	}
	e := weld()
	e.ObservedAt = s.Now.Add(-3 * time.Hour)
	_, err := save(t, s, e)
	refusedBy(t, err, store.RuleLate)
	e.LateReason = "The tablet was flat"
	if _, err := save(t, s, e); err != nil {
		t.Fatal(err)
	}
	e = weld()
	e.ClockOffset, e.ObservedAt = 10*time.Minute, s.Now.Add(time.Minute)
	saved, err := save(t, s, e)
	if err != nil {
		t.Fatal(err)
	}
	r, err := s.DB.RecordByID(t.Context(), s.Site.ID, e.RecordID)
	if err != nil {
		t.Fatal(err)
	}
	if saved.ClockWarning == "" || !r.ObservedAt.Equal(s.Now) || r.ClockOffsetMS != 600000 {
		t.Errorf("clock 10 min off: warning %q, observed %s (server %s), offset %d ms", saved.ClockWarning, r.ObservedAt, s.Now, r.ClockOffsetMS)
	}
}

func TestVerdictStaysWithTheRevisionOfItsDay(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	part := s.Ready(1, 0)[0]
	e := filmEntry(s, part)
	if _, err := save(t, s, e); err != nil {
		t.Fatal(err)
	}
	tighter, err := s.DB.NewRevision(t.Context(), s.Everyone, "PC-60", "B")
	if err != nil {
		t.Fatal(err)
	}
	spec, err := tighter.Spec()
	if err != nil {
		t.Fatal(err)
	}
	spec.Film.Limits = quality.Between(90, 120, quality.Micrometre)
	if err := s.DB.SaveDraft(t.Context(), s.Everyone, tighter.ID, spec); err != nil {
		t.Fatal(err)
	}
	s.Now = s.Now.Add(time.Minute)
	if err := s.DB.ApproveSpec(t.Context(), s.Everyone, tighter.ID, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	r, err := s.DB.RecordByID(t.Context(), s.Site.ID, e.RecordID)
	if err != nil {
		t.Fatal(err)
	}
	if r.Verdict != quality.Pass || r.Revision != "A" {
		t.Errorf("after rev B the old record says %s under rev %s, want pass under A", r.Verdict, r.Revision)
	}
}

func TestFailHoldsAtOnceAndReworkReopensTheWholePlan(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	part := s.Ready(1, 0)[0]
	s.Finish(part)
	saved := s.Film(part, "57", "60", "59", "62", "53")
	if p := status(t, s, "TH-0001"); p.Status != store.StatusOnHold || saved.HoldNumber != "H-2026-0001" {
		t.Fatalf("after a fail: %s, hold %q", p.Status, saved.HoldNumber)
	}
	h, err := s.DB.HoldByNumber(t.Context(), s.Site.ID, saved.HoldNumber)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.DB.Decide(t.Context(), s.Everyone, h.ID, store.Decision{Parts: []uuid.UUID{part}, Code: "rework", Reason: "Second pass at the booth"}, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	s.Now = s.Now.Add(time.Minute)
	s.Film(part, "82", "68", "75", "93", "86")
	err = s.DB.Release(t.Context(), s.Everyone, []uuid.UUID{part}, s.Proof(s.Everyone))
	if sentence := refusedBy(t, err, store.RuleGateClosed); !strings.Contains(sentence, "due again after rework") {
		t.Errorf("release after rework with old checks: %s", sentence)
	}
	s.Weld(part, quality.NoneFound)
	s.Finish(part)
	s.Save(quality.CureTest, quality.OnPart, part, quality.Check{Readings: []quality.Reading{s.Reading("rubs", "", 0, "50", quality.DoubleRubs)},
		Ratings: []quality.Rating{{Characteristic: quality.RatingRub, Code: "4"}}})
	if err := s.DB.Release(t.Context(), s.Everyone, []uuid.UUID{part}, s.Proof(s.Everyone)); err != nil {
		t.Fatalf("with every check anew: %v", err)
	}
	_, err = save(t, s, filmEntry(s, part))
	refusedBy(t, err, store.RuleFinished)
}

func TestStripAndRecoatIsLimitedByTheSpec(t *testing.T) {
	s := storetest.NewShop(t)
	part := s.Parts(1)[0]
	for cycle := 1; cycle <= 2; cycle++ {
		saved := s.Weld(part, "100")
		h, err := s.DB.HoldByNumber(t.Context(), s.Site.ID, saved.HoldNumber)
		if err != nil {
			t.Fatal(err)
		}
		err = s.DB.Decide(t.Context(), s.Everyone, h.ID, store.Decision{Parts: []uuid.UUID{part}, Code: "strip_recoat", Reason: "Strip and weld again"}, s.Proof(s.Everyone))
		if cycle == 1 && err != nil {
			t.Fatal(err)
		}
		if cycle == 2 {
			refusedBy(t, err, store.RuleCycles)
		}
	}
	if p := status(t, s, "TH-0001"); p.Cycle != 2 || p.Status != store.StatusOnHold {
		t.Errorf("cycle %d, %s", p.Cycle, p.Status)
	}
}

func TestConcessionNeedsReferenceAndEndAndOpensTheGate(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	part := s.Ready(1, 0)[0]
	s.Finish(part)
	saved := s.Film(part, "57", "60", "59", "62", "53")
	h, err := s.DB.HoldByNumber(t.Context(), s.Site.ID, saved.HoldNumber)
	if err != nil {
		t.Fatal(err)
	}
	d := store.Decision{Parts: []uuid.UUID{part}, Code: "concession", Reason: "Covered after assembly"}
	refusedBy(t, s.DB.Decide(t.Context(), s.Everyone, h.ID, d, s.Proof(s.Everyone)), store.RuleConcession)
	d.ConcessionRef, d.ConcessionEnds = "CR-7", s.Now.AddDate(0, 1, 0)
	if err := s.DB.Decide(t.Context(), s.Everyone, h.ID, d, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	if p := status(t, s, "TH-0001"); p.Status != store.StatusUnderConcession {
		t.Errorf("status %s", p.Status)
	}
	if err := s.DB.Release(t.Context(), s.Everyone, []uuid.UUID{part}, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
}

func TestOnlyTheRightRoleDecides(t *testing.T) {
	s := storetest.NewShop(t)
	inspector := s.AddPerson("Ilse Brandt", "ilse", store.Inspector)
	supervisor := s.AddPerson("Marek Olsen", "marek", store.Supervisor)
	part := s.Parts(1)[0]
	h, err := s.DB.HoldByNumber(t.Context(), s.Site.ID, s.Weld(part, "100").HoldNumber)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		who  store.Actor
		code string
		may  bool
	}{{inspector, "scrap", false}, {inspector, "rework", false}, {supervisor, "regrade", false}, {supervisor, "scrap", true}} {
		err := s.DB.Decide(t.Context(), c.who, h.ID, store.Decision{Parts: []uuid.UUID{part}, Code: c.code, Reason: "A reason given"}, s.Proof(c.who))
		if c.may && err != nil {
			t.Errorf("%s %s: %v", c.who.Name, c.code, err)
		}
		if !c.may {
			refusedBy(t, err, store.RuleNoRight)
		}
	}
}

func TestTwoPeopleDecideOnePartAndOneIsTold(t *testing.T) {
	s := storetest.NewShop(t)
	part := s.Parts(1)[0]
	h, err := s.DB.HoldByNumber(t.Context(), s.Site.ID, s.Weld(part, "100").HoldNumber)
	if err != nil {
		t.Fatal(err)
	}
	proof := s.Proof(s.Everyone)
	errs := make([]error, 2)
	var wg sync.WaitGroup
	for i, code := range []string{"rework", "scrap"} {
		wg.Go(func() {
			errs[i] = s.DB.Decide(t.Context(), s.Everyone, h.ID, store.Decision{Parts: []uuid.UUID{part}, Code: code, Reason: "Decided at once"}, proof)
		})
	}
	wg.Wait()
	if (errs[0] == nil) == (errs[1] == nil) {
		t.Fatalf("both or none decided: %v, %v", errs[0], errs[1])
	}
	for _, err := range errs {
		if err != nil {
			refusedBy(t, err, store.RuleChanged)
		}
	}
}

func TestFailedCureTestProposesTheOtherPartsOfItsLoad(t *testing.T) {
	s := storetest.NewShop(t)
	parts := s.Parts(24)
	for _, p := range parts {
		s.Weld(p, quality.NoneFound)
	}
	rack := s.Wash(parts, "4.6", 0)
	load := s.Bake([]uuid.UUID{rack}, "196")
	saved := s.Save(quality.CureTest, quality.OnLoad, load, quality.Check{Readings: []quality.Reading{s.Reading("rubs", "", 0, "50", quality.DoubleRubs)},
		Ratings: []quality.Rating{{Characteristic: quality.RatingRub, Code: "1"}}}, store.Use{Role: "tested_part", ID: parts[0]})
	h, err := s.DB.HoldByNumber(t.Context(), s.Site.ID, saved.HoldNumber)
	if err != nil {
		t.Fatal(err)
	}
	others, err := s.DB.Neighbours(t.Context(), s.Site.ID, h.ID)
	if err != nil {
		t.Fatal(err)
	}
	if h.Parts != 1 || len(others) != 23 {
		t.Fatalf("%d held, %d proposed, want 1 and 23", h.Parts, len(others))
	}
	var ids []uuid.UUID
	for _, o := range others {
		ids = append(ids, o.PartID)
	}
	if err := s.DB.ExtendHold(t.Context(), s.Everyone, h.ID, ids); err != nil {
		t.Fatal(err)
	}
	if h, err = s.DB.HoldByNumber(t.Context(), s.Site.ID, saved.HoldNumber); err != nil || h.OpenParts != 24 {
		t.Errorf("%d parts on hold (%v), want 24", h.OpenParts, err)
	}
}

func TestServerCannotChangeOrDeleteRecords(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	s.Ready(1, 0)
	for _, table := range []string{"record", "reading", "rating", "defect", "finding", "record_use", "film_summary", "signature", "hold", "disposition", "release", "override", "event"} {
		for _, sql := range []string{"DELETE FROM " + table, "UPDATE " + table + " SET site_id = site_id", "TRUNCATE " + table} {
			_, err := s.DB.Pool().Exec(t.Context(), sql)
			var pg *pgconn.PgError
			if !errors.As(err, &pg) || pg.Code != "42501" {
				t.Errorf("%s: %v, want permission denied", sql, err)
			}
		}
	}
}

// TestSiteLeadsEveryKey walks the schema: every key, unique index and foreign key of a table of shop data begins with the site.
func TestSiteLeadsEveryKey(t *testing.T) {
	s := storetest.NewShop(t)
	rows, err := storetest.Owner(t, s.DB).Query(t.Context(), `
		SELECT c.relname::text, i.relname::text, a.attname::text FROM pg_index x
		JOIN pg_class c ON c.oid = x.indrelid JOIN pg_class i ON i.oid = x.indexrelid JOIN pg_namespace n ON n.oid = c.relnamespace
		JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum = x.indkey[0]
		WHERE n.nspname = 'public' AND c.relname NOT IN ('site', 'sessions', 'schema_migrations')
		UNION ALL
		SELECT c.relname::text, k.conname::text, a.attname::text FROM pg_constraint k JOIN pg_class c ON c.oid = k.conrelid
		JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum = k.conkey[1] WHERE k.contype = 'f'`)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	n := 0
	for rows.Next() {
		var table, key, first string
		if err := rows.Scan(&table, &key, &first); err != nil {
			t.Fatal(err)
		}
		n++
		if first != "site_id" {
			t.Errorf("%s of %s begins with %s", key, table, first)
		}
	}
	if rows.Err() != nil || n < 60 {
		t.Fatalf("looked at %d keys: %v", n, rows.Err())
	}
}

func TestEveryChangeIsAnEventInTheSameTransaction(t *testing.T) {
	s := storetest.NewShop(t)
	part := s.Parts(1)[0]
	s.Weld(part, "100")
	if got := strings.Join(verbs(t, s.DB, s.Everyone, part), ", "); !strings.Contains(got, "recorded") || !strings.Contains(got, "part held") {
		t.Errorf("events of a held part: %s", got)
	}
	owner := storetest.Owner(t, s.DB)
	if _, err := owner.Exec(t.Context(), "ALTER TABLE event ADD CONSTRAINT event_refused CHECK (verb <> 'recorded') NOT VALID"); err != nil {
		t.Fatal(err)
	}
	second := s.Parts(1)[0]
	e := store.Entry{RecordID: store.NewID(), Kind: quality.Weld, Subject: store.Subject{Kind: quality.OnPart, ID: second}, Check: quality.Check{Defects: []quality.Defect{{Code: quality.NoneFound}}}}
	if _, err := save(t, s, e); err == nil {
		t.Fatal("saved although the event could not be written")
	}
	if _, err := s.DB.RecordByID(t.Context(), s.Site.ID, e.RecordID); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("the record stands without its event: %v", err)
	}
}
