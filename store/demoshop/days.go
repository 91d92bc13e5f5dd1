package demoshop

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"math/rand/v2"
	"strings"
	"sync"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"

	"coatbook/quality"
	"coatbook/store"
)

// seed makes the demo the same every time.
const seed = 20261125

// Days is how many shop days of work the demo holds, the last one being today up to now.
const Days = 30

// errLater ends the work on a load that has not come that far by now.
var errLater = errors.New("demoshop: not yet")

// A simulation is the shop at work.
type simulation struct {
	*Shop
	key      ed25519.PrivateKey
	now      time.Time
	recall   string // number of the recall that the failed gauge opened
	zone     *time.Location
	dayDrift map[int]float64
	mu       sync.Mutex
	recoat   map[*Product][]*part // stripped parts that wait for the next hanging
	serials  map[*Product]int
}

// OpenLoader opens the database at url to load the demo through. The demo is acknowledged as a whole, so that its saves need not
// wait for the disk one by one: what its caller writes last puts them there. Each connection plans every statement for itself: with
// three, PostgreSQL spends a fifth less than with sixteen.
func OpenLoader(ctx context.Context, url string) (*store.DB, error) {
	return store.Open(ctx, loaderURL(url), func(p *pgxpool.Config) {
		p.ConnConfig.RuntimeParams["synchronous_commit"] = "off"
		p.MaxConns = 3
	})
}

// loaderURL makes plans fit: tables that grow from nothing to thousands of rows within seconds have no statistics yet, so the
// planner would read them from end to end; this tells it to use the indexes.
func loaderURL(url string) string {
	mark := "?"
	if strings.Contains(url, "?") {
		mark = "&"
	}
	return url + mark + "enable_seqscan=off&plan_cache_mode=force_generic_plan"
}

// Load builds the whole demo shop: the register and Days shop days of work up to now, about 60 parts a day. Each day is
// sealed once it has closed, and all but the last ones are reviewed.
func Load(ctx context.Context, db *store.DB, now time.Time, keyFor KeyMaker) (*Shop, error) {
	zone, err := time.LoadLocation("America/Chicago")
	if err != nil {
		return nil, fmt.Errorf("time zone of the demo shop: %w", err)
	}
	days := shopDays(now.In(zone))
	shop, err := Open(ctx, db, days[0].Add(-24*time.Hour))
	if err != nil {
		return nil, err
	}
	sim := &simulation{Shop: shop, now: now, zone: zone, dayDrift: map[int]float64{}, recoat: map[*Product][]*part{}, serials: map[*Product]int{}}
	if sim.key, err = keyFor(shop.DB, shop.Site); err != nil {
		return nil, fmt.Errorf("the demo shop's seal key: %w", err)
	}
	for i, day := range days {
		// What closed in between is sealed in the morning; the review follows once the offices are open.
		morning := func() error {
			if err := sim.seal(ctx, day.Add(6*time.Hour+store.SealGrace)); err != nil {
				return fmt.Errorf("sealing: %w", err)
			}
			if at := day.Add(8 * time.Hour); i <= len(days)-1-unreviewed && at.Before(now) {
				return sim.review(ctx, at)
			}
			return nil
		}
		if err := sim.day(ctx, i, day, morning); err != nil {
			return nil, fmt.Errorf("shop day %s: %w", day.Format(time.DateOnly), err)
		}
		if i == 0 || i == 2 || i == 6 {
			if err := db.Analyze(ctx); err != nil {
				return nil, err
			}
		}
	}
	shop.DB = db
	return shop, nil
}

// shopDays returns the midnights of the last Days working days, Sundays left out, ending with today.
func shopDays(now time.Time) []time.Time {
	var days []time.Time
	day := time.Date(now.Year(), now.Month(), now.Day(), 0, 0, 0, 0, now.Location())
	for len(days) < Days {
		if day.Weekday() != time.Sunday || len(days) == 0 {
			days = append([]time.Time{day}, days...)
		}
		day = day.AddDate(0, 0, -1)
	}
	return days
}

// day works through one shop day: deliveries, then five oven loads of two racks beside what the office does in the morning, then
// the gauges again.
func (s *simulation) day(ctx context.Context, n int, midnight time.Time, morning func() error) error {
	if n == failedDay+1 {
		if err := s.decideRecall(ctx, midnight.Add(9*time.Hour)); err != nil {
			return err
		}
		if err := s.actOnHolds(ctx, midnight.Add(10*time.Hour)); err != nil {
			return err
		}
	}
	var loads []*load
	err := inParallel([]func() error{
		func() error { return s.ship(ctx, n, midnight.Add(10*time.Hour+30*time.Minute)) },
		func() (err error) { loads, err = s.begin(ctx, n, midnight); return err },
	})
	if err != nil {
		return err
	}
	if err := s.testPanel(ctx, n, midnight.Add(9*time.Hour+40*time.Minute)); err != nil {
		return err
	}
	if err := s.firstPost(ctx, n, midnight.Add(9*time.Hour+50*time.Minute)); err != nil {
		return err
	}
	work := []func() error{morning, func() error { return s.sampleBrackets(ctx, n, midnight.Add(9*time.Hour+20*time.Minute)) }}
	for _, l := range loads {
		work = append(work, func() error { return l.work(ctx) })
	}
	if err := inParallel(work); err != nil {
		return err
	}
	for _, start := range []time.Duration{6 * time.Hour, 14 * time.Hour} {
		for _, g := range s.gaugesOf(n, start) {
			if err := s.verify(ctx, n, midnight.Add(start+7*time.Hour+50*time.Minute), g); err != nil && !errors.Is(err, errLater) {
				return err
			}
		}
	}
	return s.excludeReading(ctx, n, midnight)
}

// begin is what comes before the first load: the baths are read, racks and loads opened, gauges verified.
func (s *simulation) begin(ctx context.Context, n int, midnight time.Time) (loads []*load, err error) {
	if at := midnight.Add(6*time.Hour + 10*time.Minute); n == surveyDay && at.Before(s.now) {
		if err := s.survey(ctx, at); err != nil {
			return nil, err
		}
	}
	rng := rand.New(rand.NewPCG(seed, uint64(n)))
	s.dayDrift[n] = 1.2 * rng.NormFloat64()
	if err := s.readBaths(ctx, n, midnight.Add(6*time.Hour+8*time.Minute)); err != nil {
		return nil, err
	}
	for i := range 5 {
		l, err := s.newLoad(ctx, n, i, midnight.Add(6*time.Hour+20*time.Minute+time.Duration(i)*165*time.Minute))
		if errors.Is(err, errLater) {
			break
		}
		if err != nil {
			return nil, err
		}
		loads = append(loads, l)
	}
	for _, start := range []time.Duration{6 * time.Hour, 14 * time.Hour} {
		for _, g := range s.gaugesOf(n, start) {
			if err := s.verify(ctx, n, midnight.Add(start+4*time.Minute), g); err != nil && !errors.Is(err, errLater) {
				return nil, err
			}
		}
	}
	return loads, nil
}

// inParallel does the work of a day side by side, as the shop does.
func inParallel(work []func() error) error {
	errs := make([]error, len(work))
	var wg sync.WaitGroup
	for i, do := range work {
		wg.Go(func() {
			if err := do(); !errors.Is(err, errLater) {
				errs[i] = err
			}
		})
	}
	wg.Wait()
	return errors.Join(errs...)
}

// failedDay is the shop day on which gauge EC-04 fails its check at the end of the late shift.
const failedDay = Days - 4

// gaugesOf names the gauges in use in a shift: EC-07 early; late EC-04 until it fails, then EC-09.
func (s *simulation) gaugesOf(day int, start time.Duration) []string {
	if start < 12*time.Hour {
		return []string{"EC-07"}
	}
	return []string{s.lateGauge(day)}
}

func (s *simulation) lateGauge(day int) string {
	if day > failedDay {
		return "EC-09"
	}
	return "EC-04"
}

// bias is the fourth story: EC-04 begins to read high three days before its check catches it.
func bias(gauge string, day int) float64 {
	if gauge == "EC-04" && day > failedDay-3 && day <= failedDay {
		return 1.4 * float64(day-(failedDay-3))
	}
	return 0
}

// verify records a gauge check on the bare plate and the shims.
func (s *simulation) verify(ctx context.Context, day int, at time.Time, gauge string) error {
	if at.After(s.now) {
		return errLater
	}
	rng := rand.New(rand.NewPCG(seed+7, uint64(at.Unix())+uint64(len(gauge))))
	g := s.Gauges[gauge]
	check := quality.Check{Kind: quality.Verification}
	off := bias(gauge, day)
	if off > 0 && at.In(s.zone).Hour() < 18 {
		// At the start of a shift the drifting gauge is cold and still reads within its tolerance.
		off *= 0.35
	}
	occasion := "before_first"
	if local := at.In(s.zone); local.Hour() == 13 || local.Hour() == 21 {
		occasion = "end_of_shift"
	}
	check.Ratings = []quality.Rating{{Characteristic: quality.RatingOccasion, Code: occasion}}
	e := store.Entry{RecordID: store.NewID(), Kind: quality.Verification, Subject: store.Subject{Kind: quality.OnInstrument, ID: g.ID}, ObservedAt: at}
	zero := 0.3 * rng.NormFloat64()
	for _, plate := range s.Plates {
		check.Readings = append(check.Readings, typed("zero_reading", plate.Code, 0, 0, zero, 1, quality.Micrometre))
		e.Uses = append(e.Uses, store.Use{Role: "standard", ID: plate.ID})
	}
	for _, shim := range s.Shims {
		check.Readings = append(check.Readings, typed("shim_reading", shim.Code, 0, 0, *shim.Nominal+off*(*shim.Nominal)/76+0.4*rng.NormFloat64(), 1, quality.Micrometre))
		e.Uses = append(e.Uses, store.Use{Role: "shim", ID: shim.ID})
	}
	e.Check = check
	saved, err := s.DB.At(at.Add(time.Minute)).Save(ctx, s.on(inspectorAt(at.In(s.zone)), "FINAL-1"), e)
	if err != nil {
		return fmt.Errorf("verifying %s: %w", gauge, err)
	}
	if saved.RecallNumber != "" {
		s.recall = saved.RecallNumber
	}
	return nil
}

// inspectorAt names who inspects film and finish at a time of day.
func inspectorAt(local time.Time) string {
	if local.Hour() < 14 {
		return "ilse"
	}
	return "amara"
}
