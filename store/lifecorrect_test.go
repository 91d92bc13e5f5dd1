package store_test

import (
	"context"
	"fmt"
	"testing"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"coatbook/quality"
	"coatbook/store"
)

// A made is a record that was made on the parts, racks, loads or gauges of a life.
type made struct {
	ID     uuid.UUID
	Kind   quality.Kind
	On     quality.Subject
	OnID   uuid.UUID
	Waits  bool
	Serial int64
}

func (l *life) made(ctx context.Context) []made {
	return rows[made](ctx, l, `WITH racks AS (SELECT rack_id FROM rack_part WHERE site_id = $1 AND part_id = ANY($2))
		SELECT r.record_id, r.kind, CASE WHEN r.part_id IS NOT NULL THEN 'part' WHEN r.rack_id IS NOT NULL THEN 'rack' WHEN r.load_id IS NOT NULL THEN 'load' WHEN r.panel_id IS NOT NULL THEN 'panel' ELSE 'instrument' END,
			coalesce(r.part_id, r.rack_id, r.load_id, r.panel_id, r.instrument_id), EXISTS (SELECT 1 FROM critical_entry c WHERE c.site_id = r.site_id AND c.record_id = r.record_id),
			row_number() OVER (ORDER BY r.recorded_at, r.record_id)
		FROM record r WHERE r.site_id = $1 AND (r.part_id = ANY($2) OR r.instrument_id = ANY($3) OR r.rack_id IN (SELECT rack_id FROM racks)
			OR r.load_id IN (SELECT load_id FROM load_rack WHERE site_id = $1 AND rack_id IN (SELECT rack_id FROM racks))
			OR r.panel_id IN (SELECT pl.panel_id FROM panel pl JOIN load_rack k ON k.site_id = $1 AND k.load_id = pl.load_id WHERE pl.site_id = $1 AND k.rack_id IN (SELECT rack_id FROM racks)))
		ORDER BY r.recorded_at, r.record_id`)
}

func (l *life) correct(ctx context.Context, who hand) lifeAct {
	m := rapid.SampledFrom(l.made(ctx)).Draw(l.rt, "record")
	return l.correction(who, m, l.outcome())
}

func (l *life) correction(who hand, m made, outcome int) lifeAct {
	e := l.content(m.Kind, store.Subject{Kind: m.On, ID: m.OnID}, outcome)
	if m.Kind == quality.Calibration {
		c := calibration(l.Shop, [3]string{"100.4", "109.0", "100.4"}[outcome], "100.2")
		e.Check = c.Check
	}
	return lifeAct{fmt.Sprintf("%s corrects %s %d", who.Name, m.Kind, m.Serial), func(ctx context.Context) error {
		_, err := l.DB.Correct(ctx, who.Actor, e, store.Correction{Of: m.ID, Code: "typing_error", Text: "read the wrong line"}, who.proof)
		return err
	}}
}

func (l *life) void(ctx context.Context, who hand, reason bool) lifeAct {
	all := l.made(ctx)
	m := rapid.SampledFrom(all).Draw(l.rt, "record")
	if !reason { // only the last few are young enough
		m = rapid.SampledFrom(all[max(0, len(all)-3):]).Draw(l.rt, "last record")
	}
	return l.voiding(who, m, reason)
}

func (l *life) voiding(who hand, m made, reason bool) lifeAct {
	id := store.NewID()
	return lifeAct{fmt.Sprintf("%s voids %s %d, with a reason %v", who.Name, m.Kind, m.Serial, reason), func(ctx context.Context) (err error) {
		if reason {
			_, err = l.DB.Void(ctx, who.Actor, id, store.Correction{Of: m.ID, Code: "wrong_part", Text: "was the part beside it"}, who.proof)
		} else {
			_, err = l.DB.TakeBack(ctx, who.Actor, id, m.ID)
		}
		return err
	}}
}

func (l *life) confirm(ctx context.Context, who hand) lifeAct {
	for _, m := range l.made(ctx) {
		if m.Waits {
			yes := rapid.IntRange(0, 3).Draw(l.rt, "declines at 0") > 0
			return lifeAct{fmt.Sprintf("%s confirms %s %d: %v", who.Name, m.Kind, m.Serial, yes), func(ctx context.Context) error {
				return l.DB.Confirm(ctx, who.Actor, m.ID, yes, "looked at it", who.proof)
			}}
		}
	}
	return lifeAct{}
}

// What drawn lives found, each as a test of its own.

func TestHoldIsExtendedToAPartOnce(t *testing.T) {
	s := newSampledShop(t, byCoatingTable)
	_, parts := s.job(2)
	id := store.NewID()
	if _, err := s.DB.OpenHold(t.Context(), s.Everyone, store.HandHold{ID: id, Serials: []string{"BR-00001"}, Cause: "Dropped from the trolley"}); err != nil {
		t.Fatal(err)
	}
	if err := s.DB.ExtendHold(t.Context(), s.Everyone, id, parts[1:]); err != nil {
		t.Fatal(err)
	}
	// The second of two people who extend it to the same parts is told so.
	refusedBy(t, s.DB.ExtendHold(t.Context(), s.Everyone, id, parts[1:]), store.RuleChanged)
}

func TestPartIsNotHungOnARackThatIsInAnOvenLoad(t *testing.T) {
	s := newSampledShop(t, byCoatingTable)
	_, parts := s.job(2)
	ctx, a, rack, load := t.Context(), s.Everyone, store.NewID(), store.NewID()
	if _, err := s.DB.HangRack(ctx, a, rack, "T1"); err != nil {
		t.Fatal(err)
	}
	if err := s.DB.HangParts(ctx, a, rack, parts[:1]); err != nil {
		t.Fatal(err)
	}
	if _, err := s.DB.OpenLoad(ctx, a, load, s.Oven.ID); err != nil {
		t.Fatal(err)
	}
	if err := s.DB.AddRack(ctx, a, load, rack); err != nil {
		t.Fatal(err)
	}
	// Nothing is recorded on the rack itself, but the load may be in the oven already.
	refusedBy(t, s.DB.HangParts(ctx, a, rack, parts[1:]), store.RuleChanged)
}
