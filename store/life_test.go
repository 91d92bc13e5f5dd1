package store_test

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"pgregory.net/rapid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

// A life is a few parts of one job, the people who work on them, and everything that may happen to them. The shop around them
// serves many lives, one after the other; each has a job and gauges of its own.
type life struct {
	*storetest.Shop
	rt      *rapid.T
	people  []hand
	number  store.PartNumber
	spec    quality.FinishSpec
	full    bool // asks for first articles and panel tests too
	accepts bool // whatever is held is taken under a concession
	lives   int
	panels  int
	ticks   atomic.Int64

	job    store.Job
	parts  []uuid.UUID
	serial map[uuid.UUID]string
	gauges []uuid.UUID
}

// A hand is somebody who acts, with the proof of the PIN that they give.
type hand struct {
	store.Actor
	proof store.Proof
}

// A lifeAct is something that one person does at once; it is drawn before and may run beside others.
type lifeAct struct {
	name string
	do   func(context.Context) error
}

// What the spec of a shop for lives asks for.
const (
	usual   = iota
	sampled // the film on a sample
	full    // first articles and panel tests as well
)

// newLives opens a shop for lives. Its clock ticks whenever somebody looks at it, as clocks do, so that what comes after
// something else is later.
func newLives(t *testing.T, asks int) *life {
	t.Helper()
	l := &life{Shop: storetest.NewShop(t)}
	l.number = l.PartNumber
	var err error
	if l.spec, err = quality.DecodeFinishSpec([]byte(l.Spec.Body)); err != nil {
		t.Fatal(err)
	}
	if asks == sampled {
		s := sampleIn(t, l.Shop, quality.SampleRule{By: quality.SampleLot, Plan: quality.PlanZero, SharePercent: 60, ConfidencePercent: 80})
		l.number = s.number
		if l.spec, err = quality.DecodeFinishSpec([]byte(s.spec.Body)); err != nil {
			t.Fatal(err)
		}
	}
	if l.full = asks == full; l.full {
		if err := l.askForEverything(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	second := l.AddPerson("Sven Aho", "sven", store.Inspector, store.Operator, store.Supervisor, store.Engineer)
	third := l.AddPerson("Ona Reyes", "ona", store.Inspector, store.Operator)
	for _, a := range []store.Actor{l.Everyone, second, third} {
		l.people = append(l.people, hand{a, l.Proof(a)})
	}
	l.DB.Clock = func() time.Time { return l.Now.Add(time.Duration(l.ticks.Add(1)) * time.Microsecond) }
	return l
}

// checks sets how many sequences rapid draws in this test, few because each is many transactions, and from which seed, always the
// same so that a failure speaks of the change at hand; -rapid.checks and -rapid.seed draw more and others. A failure names
// the seed that draws it again.
func checks(t *testing.T, n int) {
	t.Helper()
	asked := map[string]bool{} // on the command line
	flag.Visit(func(f *flag.Flag) { asked[f.Name] = true })
	for name, value := range map[string]string{"rapid.checks": fmt.Sprint(n), "rapid.seed": "20261125", "rapid.shrinktime": "20s", "rapid.nofailfile": "true"} {
		f := flag.Lookup(name)
		before := f.Value.String()
		if asked[name] {
			continue
		}
		if err := f.Value.Set(value); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = f.Value.Set(before) })
	}
}

// TestLifeOfPartsNeverReleasesWithoutItsEvidence draws sequences of acts by several people, some of them at once, and reads
// after each step from the records alone where every part stands.
func TestLifeOfPartsNeverReleasesWithoutItsEvidence(t *testing.T) {
	l := newLives(t, usual)
	checks(t, 16)
	rapid.Check(t, func(rt *rapid.T) { l.run(t, rt, 22) })
}

// TestLifeOfSampledPartsNeverReleasesWithoutItsLot does the same under a spec that checks the film on a sample of a lot.
func TestLifeOfSampledPartsNeverReleasesWithoutItsLot(t *testing.T) {
	l := newLives(t, sampled)
	checks(t, 20)
	rapid.Check(t, func(rt *rapid.T) { l.run(t, rt, 20) })
}

// TestLifeOfSeriesNeverReleasesBehindAnArticleOrPanelThatDoesNotCount does the same under a spec that asks for first articles and
// for a panel test of each load.
func TestLifeOfSeriesNeverReleasesBehindAnArticleOrPanelThatDoesNotCount(t *testing.T) {
	l := newLives(t, full)
	checks(t, 14)
	rapid.Check(t, func(rt *rapid.T) { l.run(t, rt, 26) })
}

// TestLifeOfPartsWithTwoActsAtOnceOnOnePart has two people act on the same part, rack or load in the same instant, over and over:
// one of them is first, and the other acts on what that left.
func TestLifeOfPartsWithTwoActsAtOnceOnOnePart(t *testing.T) {
	l := newLives(t, usual)
	checks(t, 8)
	rapid.Check(t, func(rt *rapid.T) {
		ctx := t.Context()
		l.rt = rt
		l.begin(ctx, 4, 0)
		for _, p := range l.parts {
			l.must("weld", l.entry(l.people[0], quality.Weld, store.Subject{Kind: quality.OnPart, ID: p}, goes).bind(ctx))
		}
		l.joinAtOnce(ctx)
		l.begin(ctx, 4, 2)
		for range 3 {
			for _, p := range l.parts {
				l.Now = l.Now.Add(time.Second)
				l.read(ctx, l.together(ctx, []lifeAct{l.onOne(ctx, l.people[0], p), l.onOne(ctx, l.people[1], p)}))
			}
		}
		l.rebuild(ctx)
	})
}

// joinAtOnce hangs parts on a rack that is washed at once, and puts racks into a load that is cured at once.
func (l *life) joinAtOnce(ctx context.Context) {
	who, other := l.people[0], l.people[1]
	load := store.Subject{Kind: quality.OnLoad, ID: store.NewID()}
	for i := 0; i < 4; i += 2 {
		rack := store.Subject{Kind: quality.OnRack, ID: store.NewID()}
		l.Now = l.Now.Add(time.Second)
		l.must("rack", l.hangOn(who, rack.ID, true, l.parts[i:i+1]).bind(ctx))
		l.read(ctx, l.together(ctx, []lifeAct{l.entry(who, quality.Pretreatment, rack, goes), l.hangOn(other, rack.ID, false, l.parts[i+1:i+2])}))
		l.must("coat", l.entry(who, quality.Coating, rack, goes).bind(ctx))
		acts := []lifeAct{l.loadOn(other, load.ID, i == 0, rack.ID)}
		if i > 0 {
			acts = append(acts, l.entry(who, quality.Cure, load, goes))
		}
		l.read(ctx, l.together(ctx, acts))
	}
}

// onOne is an act on one part that is through the final bench.
func (l *life) onOne(ctx context.Context, who hand, part uuid.UUID) lifeAct {
	on := store.Subject{Kind: quality.OnPart, ID: part}
	var film *made
	for _, m := range l.made(ctx) {
		if m.Kind == quality.Film && m.OnID == part {
			film = &m
		}
	}
	switch rapid.IntRange(0, 7).Draw(l.rt, "what") {
	case 0, 1, 2:
		return lifeAct{"release " + l.serial[part], func(ctx context.Context) error { return l.DB.Release(ctx, who.Actor, []uuid.UUID{part}, who.proof) }}
	case 3:
		return l.ship(who, []uuid.UUID{part})
	case 4:
		return l.entry(who, quality.Finish, on, fails)
	case 5:
		return l.decide(ctx, who)
	case 6:
		return l.correction(who, *film, fails)
	}
	return l.voiding(who, *film, true)
}

// run is one sequence.
func (l *life) run(t *testing.T, rt *rapid.T, most int) {
	ctx := t.Context()
	l.rt = rt
	l.begin(ctx, rapid.IntRange(2, 4).Draw(rt, "parts"), rapid.IntRange(0, 3).Draw(rt, "how far"))
	l.read(ctx, "at the beginning")
	steps := rapid.IntRange(4, most).Draw(rt, "steps")
	for range steps {
		l.Now = l.Now.Add(time.Duration(rapid.IntRange(1, 40).Draw(rt, "seconds")) * time.Second)
		if rapid.IntRange(0, 4).Draw(rt, "works on at 0") == 0 {
			l.workOn(ctx, l.part())
			continue
		}
		n := rapid.SampledFrom([]int{1, 1, 2, 2, 3}).Draw(rt, "at once")
		var acts []lifeAct
		for range n {
			acts = append(acts, l.draw(ctx))
		}
		l.read(ctx, l.together(ctx, acts))
	}
	l.rebuild(ctx)
}

// workOn brings one part as far as it goes, so that also long ways are gone to their end. Every other time something comes up
// first, and what is held for it is taken under a concession.
func (l *life) workOn(ctx context.Context, part uuid.UUID) {
	if l.accepts = rapid.Bool().Draw(l.rt, "something comes up"); l.accepts {
		if a := l.trouble(ctx); a.do != nil {
			l.read(ctx, l.together(ctx, []lifeAct{a}))
		}
		defer func() { l.accepts = false }()
	}
	for range 8 {
		l.Now = l.Now.Add(time.Second)
		a := l.due(ctx, part, goes)
		if a.do == nil {
			return
		}
		l.read(ctx, l.together(ctx, []lifeAct{a}))
	}
}

// together runs acts at once and says what they were. A refusal is an answer; anything else is a fault.
func (l *life) together(ctx context.Context, acts []lifeAct) string {
	acts = slices.DeleteFunc(acts, func(a lifeAct) bool { return a.do == nil })
	errs := make([]error, len(acts))
	var wg sync.WaitGroup
	for i, a := range acts {
		wg.Go(func() { errs[i] = a.do(ctx) })
	}
	wg.Wait()
	var said []string
	for i, a := range acts {
		answer := "done"
		if errs[i] != nil {
			var refusal *store.Refusal
			if !errors.As(errs[i], &refusal) {
				l.rt.Fatalf("%s: %v", a.name, errs[i])
			}
			answer = refusal.Error()
		}
		said = append(said, a.name+": "+answer)
	}
	step := strings.Join(said, "\n   at once ")
	l.rt.Log(step)
	return step
}

// begin receives the parts of a life and brings them so far: 0 nowhere, 1 past the wash or to the final bench, 2 through it, 3 out of the gate.
func (l *life) begin(ctx context.Context, parts, far int) {
	l.lives++
	l.Now = l.Now.Add(time.Minute)
	a := l.people[0]
	l.must("job", func() (err error) {
		l.job, err = l.DB.AddJob(ctx, a.Actor, store.Job{Number: fmt.Sprintf("25%03d", l.lives), Customer: "Halden Balconies", OrderRef: "PO 7"})
		return err
	})
	l.must("powder", func() (err error) {
		l.Lot.LotNumber, l.Lot.ID, l.Lot.Status = fmt.Sprintf("L%03d", l.lives), uuid.Nil, ""
		l.Lot, err = l.DB.AddMaterialLot(ctx, a.Actor, l.Lot)
		return err
	})
	if l.full {
		l.must("number", func() (err error) {
			l.number, err = l.DB.AddPartNumber(ctx, a.Actor, store.PartNumber{Code: fmt.Sprintf("RF-%d", l.lives), Name: "Rail frame", SpecID: l.number.SpecID, Alloy: "6060 T66", BaseForm: "extrusion", WallMM: 3, Welds: 4, Sketch: "rail"})
			return err
		})
	}
	var serials []string
	for i := range parts {
		serials = append(serials, fmt.Sprintf("TH-%03d-%d", l.lives, i+1))
	}
	l.must("parts", func() (err error) {
		l.parts, err = l.DB.AddParts(ctx, a.Actor, l.job.ID, l.number.ID, serials)
		return err
	})
	l.serial = map[uuid.UUID]string{}
	for i, id := range l.parts {
		l.serial[id] = serials[i]
	}
	l.gauges = nil
	for i := range 2 {
		l.must("gauge", func() error {
			g, err := l.DB.AddInstrument(ctx, a.Actor, store.Instrument{Code: fmt.Sprintf("FG-%03d-%d", l.lives, i+1), Kind: "film_gauge", MakerSerial: "00731", Owner: "company",
				Unit: "um", ToleranceAbs: 1, ToleranceShare: 0.02, IntervalDays: 365, DueOn: l.Now.AddDate(1, 0, 0)})
			l.gauges = append(l.gauges, g.ID)
			return err
		})
		l.must("verification", l.entry(a, quality.Verification, store.Subject{Kind: quality.OnInstrument, ID: l.gauges[i]}, goes).bind(ctx))
	}
	if l.full {
		l.bringSeries(ctx, far)
		return
	}
	alone := far < 3 && rapid.IntRange(0, 2).Draw(l.rt, "alone at 0") == 0
	if alone { // one finish check counts only once a second person confirms it
		l.must("early", l.early(a, l.parts[0]).bind(ctx))
	}
	l.bring(ctx, l.parts, far, alone)
}

// bring does the usual work on parts.
func (l *life) bring(ctx context.Context, parts []uuid.UUID, far int, alone bool) {
	asked, who := l.spec.Asks(), l.people[0]
	if slices.Contains(asked, quality.Weld) && far > 0 {
		for _, p := range parts {
			l.must("weld", l.entry(who, quality.Weld, store.Subject{Kind: quality.OnPart, ID: p}, goes).bind(ctx))
		}
		rack, load := store.Subject{Kind: quality.OnRack, ID: store.NewID()}, store.Subject{Kind: quality.OnLoad, ID: store.NewID()}
		l.must("rack", l.hangOn(who, rack.ID, true, parts).bind(ctx))
		l.must("wash", l.entry(who, quality.Pretreatment, rack, goes).bind(ctx))
		if far == 1 && rapid.Bool().Draw(l.rt, "washed and no further") {
			return
		}
		l.must("coat", l.entry(who, quality.Coating, rack, goes).bind(ctx))
		l.must("load", l.loadOn(who, load.ID, true, rack.ID).bind(ctx))
		l.must("cure", l.entry(who, quality.Cure, load, goes).bind(ctx))
		l.must("rub", l.entry(who, quality.CureTest, load, goes).bind(ctx))
		if l.spec.PanelTest != nil {
			for len(l.panelsOf(ctx, load.ID)) == 0 {
				l.must("panel", l.panel(ctx, who, load.ID, goes).bind(ctx))
			}
			l.must("panel test", l.entry(who, quality.PanelTest, store.Subject{Kind: quality.OnPanel, ID: l.panelsOf(ctx, load.ID)[0].ID}, goes).bind(ctx))
		}
	}
	if far > 1 {
		if len(l.spec.Sampling) > 0 {
			l.must("lot", l.makeLot(who).bind(ctx))
		}
		for _, kind := range asked {
			for _, p := range parts {
				if kind == quality.Film || kind == quality.Finish && !(alone && p == l.parts[0]) {
					l.must("bench", l.entry(who, kind, store.Subject{Kind: quality.OnPart, ID: p}, goes).bind(ctx))
				}
			}
		}
	}
	if far > 2 {
		l.must("release", func() error { return l.DB.Release(ctx, who.Actor, parts, who.proof) })
	}
}

func (a lifeAct) bind(ctx context.Context) func() error { return func() error { return a.do(ctx) } }

func (l *life) must(what string, do func() error) {
	if err := do(); err != nil {
		l.rt.Fatalf("%s: %v", what, err)
	}
}

// rows returns what a question finds among the parts of this life; $1 is the site, $2 the parts, $3 the gauges.
func rows[T any](ctx context.Context, l *life, sql string) []T {
	found, err := l.DB.Pool().Query(ctx, sql, l.Site.ID, l.parts, l.gauges)
	if err != nil {
		l.rt.Fatalf("%s: %v", sql, err)
	}
	all, err := pgx.CollectRows(found, pgx.RowToStructByPos[T])
	if err != nil {
		l.rt.Fatalf("%s: %v", sql, err)
	}
	return all
}

// rebuild wants nothing changed by working out all statuses anew, beyond what Rebuild counts.
func (l *life) rebuild(ctx context.Context) {
	type kept struct{ Part, Row string }
	const sql = `SELECT part_id::text, (to_jsonb(ps) - 'changed_at')::text FROM part_status ps WHERE site_id = $1 AND part_id = ANY($2) AND $3::uuid[] IS NOT NULL ORDER BY part_id`
	before := rows[kept](ctx, l, sql)
	if changed, err := l.DB.Rebuild(ctx, l.Site.ID); changed != 0 || err != nil {
		l.rt.Fatalf("rebuilding changed %d rows, %v", changed, err)
	}
	for i, k := range rows[kept](ctx, l, sql) {
		if k != before[i] {
			l.rt.Fatalf("kept   %s\nrebuilt %s", before[i].Row, k.Row)
		}
	}
}
