package store_test

import (
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

// whatIsOnRecord reads the lines, findings, uses and events of every check of a kind, and where its part stands, without ids and
// times, in the order of the serials.
func whatIsOnRecord(t *testing.T, s *storetest.Shop, kind quality.Kind) []string {
	t.Helper()
	rows, err := storetest.Owner(t, s.DB).Query(t.Context(), `SELECT concat_ws(' | ', p.serial, r.verdict, r.rule, r.content_hash, r.first_pass, r.cycle, r.round, r.note, ps.status, ps.next_kind,
			(SELECT string_agg(concat_ws(' ', seq, characteristic, location, spot, rep, value, value_text, unit, flag), '; ' ORDER BY seq) FROM reading x WHERE x.record_id = r.record_id),
			(SELECT string_agg(concat_ws(' ', seq, code, place, size_mm, size_text, length_mm, length_text, count, flag), '; ' ORDER BY seq) FROM defect x WHERE x.record_id = r.record_id),
			(SELECT string_agg(concat_ws(' ', seq, rule, limit_text, value, unit, verdict, fault, sentence), '; ' ORDER BY seq) FROM finding x WHERE x.record_id = r.record_id),
			(SELECT string_agg(concat_ws(' ', seq, role, num_nonnulls(instrument_id, person_id), verification_id IS NOT NULL), '; ' ORDER BY seq) FROM record_use x WHERE x.record_id = r.record_id),
			(SELECT concat_ws(' ', n, mean_um, m2_um2, min_um, max_um, lowest_spot_um) FROM film_summary x WHERE x.record_id = r.record_id),
			(SELECT string_agg(concat_ws(' ', verb, after->>'verdict', reason), '; ' ORDER BY event_id) FROM event x WHERE x.record_id = r.record_id OR x.subject_id = r.part_id AND verb = 'part held'))
		FROM record r JOIN part p ON p.part_id = r.part_id JOIN part_status ps ON ps.part_id = r.part_id WHERE r.kind = $1 ORDER BY p.serial`, kind)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	var out []string
	for rows.Next() {
		var line string
		if err := rows.Scan(&line); err != nil {
			t.Fatal(err)
		}
		out = append(out, line)
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	return out
}

// TestChecksThatComeTogetherAreWhatTheyAreOneByOne enters the same weld and film checks in two shops, here one by one and there in
// one go: what is on record, held and next is the same. A hash of the content holds the parts' and devices' ids, so it is left out.
func TestChecksThatComeTogetherAreWhatTheyAreOneByOne(t *testing.T) {
	sets := []struct {
		kind  quality.Kind
		parts func(s *storetest.Shop) []uuid.UUID
		entry func(s *storetest.Shop, i int, part uuid.UUID) store.Entry
	}{
		{quality.Weld, func(s *storetest.Shop) []uuid.UUID { return s.Parts(4) }, func(s *storetest.Shop, i int, part uuid.UUID) store.Entry {
			e := store.Entry{Check: quality.Check{Defects: []quality.Defect{{Code: quality.NoneFound}}}, Note: fmt.Sprint("weld ", i)}
			if i == 1 {
				e.Check.Defects = []quality.Defect{{Code: "401", Place: "weld 1", Count: 1}, {Code: "100", Place: "weld 2", Count: 2}}
			}
			return e
		}},
		{quality.Film, func(s *storetest.Shop) []uuid.UUID { s.Verify(0); return s.Ready(4, 0) }, func(s *storetest.Shop, i int, part uuid.UUID) store.Entry {
			return filmEntry(s, part, [][]string{nil, {"57", "60", "59", "62", "53"}, {"75", "68", "63", "66", "56"}, {"85", "67", "71", "64", "44"}}[i]...)
		}},
	}
	for _, set := range sets {
		t.Run(string(set.kind), func(t *testing.T) {
			var found [2][]string
			var verdicts [2][]quality.Verdict
			for shop := range 2 {
				s := storetest.NewShop(t)
				var entries []store.Entry
				for i, part := range set.parts(s) {
					e := set.entry(s, i, part)
					e.RecordID, e.Kind, e.Subject = store.NewID(), set.kind, store.Subject{Kind: quality.OnPart, ID: part}
					if shop == 0 {
						saved, err := save(t, s, e)
						if err != nil {
							t.Fatal(err)
						}
						verdicts[shop] = append(verdicts[shop], saved.Judgement.Verdict)
						continue
					}
					entries = append(entries, e)
				}
				saved, err := s.DB.SaveAll(t.Context(), s.Everyone, entries)
				if err != nil {
					t.Fatal(err)
				}
				for i, one := range saved {
					verdicts[shop] = append(verdicts[shop], one.Judgement.Verdict)
					if held := one.HoldNumber != ""; held != (one.Judgement.Verdict == quality.Fail) || one.RecordID != entries[i].RecordID {
						t.Errorf("entry %d is answered with %+v", i, one)
					}
				}
				found[shop] = whatIsOnRecord(t, s, set.kind)
				for i, line := range found[shop] {
					fields := strings.Split(line, " | ")
					found[shop][i] = strings.Join(slices.Delete(fields, 3, 4), " | ")
				}
				if changed, err := s.DB.Rebuild(t.Context(), s.Site.ID); err != nil || changed != 0 {
					t.Errorf("rebuilding from the records changes %d parts, %v", changed, err)
				}
			}
			if !reflect.DeepEqual(found[0], found[1]) {
				t.Errorf("one by one:\n%s\ntogether:\n%s", strings.Join(found[0], "\n"), strings.Join(found[1], "\n"))
			}
			if len(found[0]) != 4 || !reflect.DeepEqual(verdicts[0], verdicts[1]) || !slices.Contains(verdicts[0], quality.Fail) || !slices.Contains(verdicts[0], quality.Pass) {
				t.Errorf("%d on record; verdicts %v and %v", len(found[0]), verdicts[0], verdicts[1])
			}
		})
	}
}

// TestChecksThatComeTogetherAreSavedAllOrNone puts one that is refused among good ones: the answer names it and nothing is stored.
// Sets that are no set are refused before anything is read.
func TestChecksThatComeTogetherAreSavedAllOrNone(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	parts := s.Ready(3, 0)
	fresh := s.Parts(1)[0]
	before := countOfRecords(t, s)
	for _, c := range []struct {
		name   string
		change func(entries []store.Entry)
		rule   string
		says   string
	}{
		{"no gauge", func(e []store.Entry) { e[1].Uses = nil }, store.RuleGaugeMissing, "entry 2 of 3: "},
		{"a part that was not coated", func(e []store.Entry) { e[2].Subject.ID = fresh }, store.RuleStepMissing, "entry 3 of 3: "},
		{"no id", func(e []store.Entry) { e[0].RecordID = uuid.Nil }, store.RuleInvalid, ""},
		{"an unknown part", func(e []store.Entry) { e[1].Subject.ID = store.NewID() }, "", "entry 2 of 3: "},
		{"an unknown gauge", func(e []store.Entry) { e[1].Uses[0].ID = store.NewID() }, "", "entry 2 of 3: "},
		{"another kind", func(e []store.Entry) { e[1].Kind = quality.Weld }, "", "of one kind"},
		{"a part twice", func(e []store.Entry) { e[1].Subject = e[0].Subject }, "", "a part of its own"},
		{"a rack", func(e []store.Entry) { e[0].Subject.Kind = quality.OnRack }, "", "a part of its own"},
		{"an exception", func(e []store.Entry) { e[0].Overrides = []store.Override{{Rule: store.RuleGaugeOverdue}} }, "", "by itself"},
	} {
		entries := make([]store.Entry, len(parts))
		for i, part := range parts {
			entries[i] = filmEntry(s, part)
		}
		c.change(entries)
		saved, err := s.DB.SaveAll(t.Context(), s.Everyone, entries)
		var refusal *store.Refusal
		if err == nil || len(saved) > 0 || errors.As(err, &refusal) != (c.rule != "") || refusal != nil && refusal.Rule != c.rule || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, %v", c.name, saved, err)
		}
		if now := countOfRecords(t, s); now != before {
			t.Errorf("%s: %d records became %d", c.name, before, now)
		}
	}
	if saved, err := s.DB.SaveAll(t.Context(), s.Everyone, nil); saved != nil || err != nil {
		t.Errorf("none: %v, %v", saved, err)
	}
}

func countOfRecords(t *testing.T, s *storetest.Shop) (n int) {
	t.Helper()
	if err := storetest.Owner(t, s.DB).QueryRow(t.Context(), "SELECT count(*) FROM record").Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

// TestChecksThatComeTogetherTwiceAreOnRecordOnce sends one set several times at once, and then with one check more and with one
// changed.
func TestChecksThatComeTogetherTwiceAreOnRecordOnce(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	parts := s.Ready(4, 0)
	var entries []store.Entry
	for i, part := range parts {
		entries = append(entries, filmEntry(s, part, [][]string{nil, {"57", "60", "59", "62", "53"}, nil, nil}[i]...))
	}
	before := countOfRecords(t, s)
	answers, errs := make([][]store.Saved, 5), make([]error, 5)
	var wg sync.WaitGroup
	for i := range answers {
		wg.Go(func() { answers[i], errs[i] = s.DB.SaveAll(t.Context(), s.Everyone, entries[:3]) })
	}
	wg.Wait()
	first := 0
	for i, saved := range answers {
		if errs[i] != nil {
			t.Fatal(errs[i])
		}
		if !saved[0].Already {
			first++
		}
		for k := range saved {
			if saved[k].Already != saved[0].Already || saved[k].HoldNumber != answers[0][k].HoldNumber || saved[k].Judgement.Verdict != answers[0][k].Judgement.Verdict {
				t.Errorf("answers to entry %d differ: %+v and %+v", k, saved[k], answers[0][k])
			}
		}
	}
	if now := countOfRecords(t, s); now != before+3 || first != 1 || answers[0][1].HoldNumber == "" {
		t.Errorf("%d new records, first %d times, %+v", now-before, first, answers[0])
	}
	saved, err := s.DB.SaveAll(t.Context(), s.Everyone, entries)
	if err != nil || !saved[0].Already || saved[3].Already || countOfRecords(t, s) != before+4 {
		t.Errorf("with one more: %+v, %v", saved, err)
	}
	entries[2].Note = "other content"
	var refusal *store.Refusal
	if _, err := s.DB.SaveAll(t.Context(), s.Everyone, entries); !errors.As(err, &refusal) || refusal.Rule != store.RuleSameID {
		t.Errorf("changed: %v", err)
	}
}
