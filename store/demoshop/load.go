package demoshop

import (
	"context"
	"fmt"
	"math/rand/v2"
	"strconv"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
)

// A part is one part on its way through the demo shop.
type part struct {
	id     uuid.UUID
	serial string
	effect float64 // film of this part against the rack's mean, µm
	gone   bool    // held and not decided, or scrapped: no further work
}

// A load is one oven load: two racks, each through its own booth.
type load struct {
	*simulation
	product  *Product
	day, n   int
	base     time.Time
	rng      *rand.Rand
	id       uuid.UUID
	oven     string
	racks    []store.Rack
	received [][]*part // the parts of this load's job, by rack
	parts    [][]*part // what hangs, by rack: those, and what is coated again
	effect   float64
	rackDiff [2]float64
}

const partsPerRack = 6

// newLoad names the parts of a load and opens its racks and the load, so that numbers run in the order of time.
func (s *simulation) newLoad(ctx context.Context, day, n int, base time.Time) (*load, error) {
	if base.After(s.now) {
		return nil, errLater
	}
	l := &load{simulation: s, day: day, n: n, base: base, rng: rand.New(rand.NewPCG(seed, uint64(100*day+n+1000)))}
	l.product = s.Products[0]
	if n == 1 || n == 3 {
		l.product = s.Products[1]
	}
	l.oven = "OVEN-" + strconv.Itoa(1+n%2)
	l.effect = 1.5 * l.rng.NormFloat64()
	l.rackDiff = [2]float64{2 * l.rng.NormFloat64(), 2 * l.rng.NormFloat64()}
	for r := range 2 {
		var parts []*part
		for range partsPerRack {
			s.serials[l.product]++
			parts = append(parts, &part{serial: fmt.Sprintf("TH-%s%05d", l.product.prefix, s.serials[l.product]), effect: 2.5 * l.rng.NormFloat64()})
		}
		l.received = append(l.received, parts)
		if r == 0 {
			parts = append(parts, s.recoat[l.product]...)
			s.recoat[l.product] = nil
		}
		l.parts = append(l.parts, parts)
		// Two sets of steel take turns: a rack that waits for a decision still hangs the morning after.
		rack, err := s.DB.At(base.Add(22*time.Minute)).HangRack(ctx, s.on("jonas", "WASH"), store.NewID(), fmt.Sprintf("K%d", 50*(day%2)+10*n+r+1))
		if err != nil {
			return nil, err
		}
		l.racks = append(l.racks, rack)
	}
	opened, err := s.DB.At(base.Add(100*time.Minute)).OpenLoad(ctx, s.on("mirela", l.oven), store.NewID(), s.Stations[l.oven])
	l.id = opened.ID
	return l, err
}

// receive books the job and its parts in.
func (l *load) receive(ctx context.Context) error {
	at := l.base.Add(-10 * time.Minute)
	db, office := l.DB.At(at), l.on("marek", "OFFICE")
	job, err := db.AddJob(ctx, office, store.Job{Number: fmt.Sprintf("%d%02d%d", 24000+l.day, l.n, l.day%10), Customer: l.product.Customers[(l.day+l.n)%len(l.product.Customers)],
		OrderRef: fmt.Sprintf("PO-%04d", 4100+5*l.day+l.n), ReceivedAt: at})
	if err != nil {
		return err
	}
	for _, parts := range l.received {
		var serials []string
		for _, p := range parts {
			serials = append(serials, p.serial)
		}
		ids, err := db.AddParts(ctx, office, job.ID, l.product.PartNumber.ID, serials)
		if err != nil {
			return err
		}
		for i, id := range ids {
			parts[i].id = id
		}
	}
	return nil
}

// work takes the load through the shop. It stops where now is.
func (l *load) work(ctx context.Context) error {
	for _, step := range []func(context.Context) error{l.receive, l.weld, l.hang, l.wash, l.coat, l.bake, l.rub, l.inspect, l.release, l.unload} {
		if err := step(ctx); err != nil {
			return err
		}
	}
	return nil
}

// at returns the store with its clock at minutes after the load's start, or errLater.
func (l *load) at(minutes float64) (*store.DB, time.Time, error) {
	t := l.base.Add(time.Duration(minutes * float64(time.Minute)))
	if t.After(l.now) {
		return nil, t, errLater
	}
	return l.DB.At(t), t, nil
}

// save stores one entry, observed half a minute before it is saved.
func (l *load) save(ctx context.Context, minutes float64, a store.Actor, kind quality.Kind, subject store.Subject, check quality.Check, uses ...store.Use) (store.Saved, error) {
	db, t, err := l.at(minutes)
	if err != nil {
		return store.Saved{}, err
	}
	check.Kind = kind
	saved, err := db.Save(ctx, a, store.Entry{RecordID: store.NewID(), Kind: kind, Subject: subject, ObservedAt: t.Add(-30 * time.Second), Check: check, Uses: uses})
	if err != nil {
		return saved, fmt.Errorf("%s at %s: %w", kind, t.Format(time.RFC3339), err)
	}
	return saved, nil
}

// A partCheck is one part's check among those of a rack that are entered in one go.
type partCheck struct {
	part  *part
	at    float64 // minutes after the load's start
	check quality.Check
	uses  []store.Use
}

// saveAll stores the checks of a rack's parts once the last one is made, each observed half a minute before its own time.
func (l *load) saveAll(ctx context.Context, a store.Actor, kind quality.Kind, checks []partCheck) ([]store.Saved, error) {
	if len(checks) == 0 {
		return nil, nil
	}
	db, last, err := l.at(checks[len(checks)-1].at)
	if err != nil {
		return nil, err
	}
	entries := make([]store.Entry, len(checks))
	for i, c := range checks {
		c.check.Kind = kind
		observed := l.base.Add(time.Duration(c.at*float64(time.Minute)) - 30*time.Second)
		entries[i] = store.Entry{RecordID: store.NewID(), Kind: kind, Subject: onPart(c.part), ObservedAt: observed, Check: c.check, Uses: c.uses}
	}
	saved, err := db.SaveAll(ctx, a, entries)
	if err != nil {
		return nil, fmt.Errorf("%s of a rack at %s: %w", kind, last.Format(time.RFC3339), err)
	}
	return saved, nil
}

// typed makes a reading with the digits a person or gauge would enter.
func typed(code, location string, spot, rep int, value float64, decimals int, unit quality.Unit) quality.Reading {
	text := strconv.FormatFloat(value, 'f', decimals, 64)
	rounded, _ := strconv.ParseFloat(text, 64)
	return quality.Reading{Characteristic: code, Location: location, Spot: spot, Rep: rep, Value: rounded, Text: text, Unit: unit, Source: "typed", Raw: text}
}

func onPart(p *part) store.Subject { return store.Subject{Kind: quality.OnPart, ID: p.id} }

// decide disposes one part's hold, unless it is so fresh that nobody has come to it yet.
func (l *load) decide(ctx context.Context, minutes float64, hold string, p *part, code, reason string) (decided bool, err error) {
	db, t, err := l.at(minutes)
	if err != nil || l.now.Sub(t) < 26*time.Hour && l.rng.Float64() < 0.35 {
		p.gone = true
		return false, nil
	}
	h, err := db.HoldByNumber(ctx, l.Site.ID, hold)
	if err != nil {
		return false, err
	}
	d := store.Decision{Parts: []uuid.UUID{p.id}, Code: code, Reason: reason}
	if code == "concession" {
		day, _ := l.Site.ShopDay(t)
		d.ConcessionRef, d.ConcessionEnds = fmt.Sprintf("CR-%03d", 100+l.day), day.AddDate(0, 2, 0)
	}
	return true, db.Decide(ctx, l.on("marek", "OFFICE"), h.ID, d, l.proofs["marek"])
}

func (l *load) hang(ctx context.Context) error {
	db, _, err := l.at(24)
	if err != nil {
		return err
	}
	for r, parts := range l.parts {
		var ids []uuid.UUID
		for _, p := range parts {
			if !p.gone {
				ids = append(ids, p.id)
			}
		}
		if err := db.HangParts(ctx, l.on("jonas", "WASH"), l.racks[r].ID, ids); err != nil {
			return fmt.Errorf("hanging: %w", err)
		}
	}
	return nil
}

func (l *load) release(ctx context.Context) error {
	db, _, err := l.at(228)
	if err != nil {
		return err
	}
	rows, err := db.PartsOf(ctx, l.Site.ID, store.Subject{Kind: quality.OnLoad, ID: l.id})
	if err != nil {
		return err
	}
	ready := map[uuid.UUID]bool{}
	for _, row := range rows {
		ready[row.ID] = row.Status == store.StatusAccepted || row.Status == store.StatusUnderConcession
	}
	var ids []uuid.UUID
	for _, parts := range l.parts {
		for _, p := range parts {
			if !p.gone && ready[p.id] {
				ids = append(ids, p.id)
			}
		}
	}
	if len(ids) == 0 {
		return nil
	}
	return db.Release(ctx, l.on("marek", "OFFICE"), ids, l.proofs["marek"])
}

func (l *load) unload(ctx context.Context) error {
	db, _, err := l.at(229)
	if err != nil {
		return err
	}
	for _, rack := range l.racks {
		if err := db.Unload(ctx, l.on("mirela", l.oven), rack.ID); err != nil {
			return err
		}
	}
	return nil
}
