package store_test

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

// How an entry of a life comes out.
const (
	goes = iota
	fails
	lacks // something that the spec asks for is missing
)

// draw chooses what somebody does next. Half of it is the work that is due.
func (l *life) draw(ctx context.Context) lifeAct {
	who := rapid.SampledFrom([]hand{l.people[0], l.people[0], l.people[1], l.people[1], l.people[2]}).Draw(l.rt, "who")
	if l.full && rapid.IntRange(0, 2).Draw(l.rt, "article or panel at 0") == 0 {
		if rapid.IntRange(0, 3).Draw(l.rt, "panel at 0") == 0 {
			return l.anyPanel(ctx, who)
		}
		return l.articleStep(ctx, who)
	}
	switch rapid.SampledFrom([]string{"due", "due", "due", "due", "due", "due", "due", "due", "check", "early", "confirm", "correct", "correct", "void", "take back", "hold", "extend",
		"decide", "decide", "decide", "gauge", "calibrate", "calibrate", "gauge standing", "powder", "powder", "powder", "recall", "recall", "recall", "release", "release", "ship", "return", "lot", "swap"}).Draw(l.rt, "act") {
	case "due":
		return l.due(ctx, l.part(), rapid.SampledFrom([]int{goes, goes, goes, goes, goes, goes, fails, lacks}).Draw(l.rt, "outcome"))
	case "check":
		return l.checks(who, l.kind(quality.Weld, quality.Finish, quality.Film))
	case "early":
		return l.early(who, l.part())
	case "confirm":
		return l.confirm(ctx, who)
	case "correct":
		return l.correct(ctx, who)
	case "void", "take back":
		return l.void(ctx, who, rapid.Bool().Draw(l.rt, "with a reason"))
	case "hold":
		return l.hold(who)
	case "extend":
		return l.extend(ctx, who)
	case "decide":
		return l.decide(ctx, who)
	case "gauge":
		return l.entry(who, quality.Verification, store.Subject{Kind: quality.OnInstrument, ID: rapid.SampledFrom(l.gauges).Draw(l.rt, "gauge")}, l.outcome())
	case "calibrate":
		return l.calibrate(who, rapid.SampledFrom(l.gauges).Draw(l.rt, "gauge"), l.outcome())
	case "gauge standing":
		return l.gaugeStanding(who)
	case "powder":
		return l.lotStanding(who)
	case "recall":
		return l.recall(ctx, who)
	case "release":
		parts := l.some(l.parts)
		return lifeAct{"release " + l.names(parts), func(ctx context.Context) error { return l.DB.Release(ctx, who.Actor, parts, who.proof) }}
	case "ship":
		return l.ship(who, l.some(l.parts))
	case "return":
		return l.takeBack(ctx, who)
	case "lot":
		if len(l.spec.Sampling) > 0 {
			return l.makeLot(who)
		}
	case "swap":
		return l.swap(ctx, who)
	}
	return lifeAct{}
}

// part draws a part, every other time the first one, so that much happens to it.
func (l *life) part() uuid.UUID {
	return rapid.SampledFrom(append(l.parts[:1:1], l.parts...)).Draw(l.rt, "part")
}

func (l *life) kind(of ...quality.Kind) quality.Kind { return rapid.SampledFrom(of).Draw(l.rt, "kind") }

func (l *life) outcome() int {
	return rapid.SampledFrom([]int{goes, goes, fails, lacks}).Draw(l.rt, "outcome")
}

// some draws some of several things, at least one, in their order.
func (l *life) some(all []uuid.UUID) []uuid.UUID {
	first := rapid.IntRange(0, len(all)-1).Draw(l.rt, "from")
	return append([]uuid.UUID(nil), all[first:rapid.IntRange(first, len(all)-1).Draw(l.rt, "to")+1]...)
}

func (l *life) names(parts []uuid.UUID) (all string) {
	for _, p := range parts {
		all += " " + l.serial[p]
	}
	return all
}

// entry is a record of any kind on any subject.
func (l *life) entry(who hand, kind quality.Kind, on store.Subject, outcome int) lifeAct {
	e := l.content(kind, on, outcome)
	return lifeAct{fmt.Sprintf("%s records %s %d on %s %s", who.Name, kind, outcome, on.Kind, l.serial[on.ID]), func(ctx context.Context) error {
		_, err := l.DB.Save(ctx, who.Actor, e)
		return err
	}}
}

// checks are checks of one part, or every other time of several in one go.
func (l *life) checks(who hand, kind quality.Kind) lifeAct {
	if rapid.Bool().Draw(l.rt, "one part") {
		return l.entry(who, kind, store.Subject{Kind: quality.OnPart, ID: l.part()}, l.outcome())
	}
	parts := l.some(l.parts)
	var entries []store.Entry
	for _, p := range parts {
		entries = append(entries, l.content(kind, store.Subject{Kind: quality.OnPart, ID: p}, l.outcome()))
	}
	return lifeAct{fmt.Sprintf("%s records %s together on%s", who.Name, kind, l.names(parts)), func(ctx context.Context) error {
		_, err := l.DB.SaveAll(ctx, who.Actor, entries)
		return err
	}}
}

// content is what is entered of a kind: it passes, fails or lacks something.
func (l *life) content(kind quality.Kind, on store.Subject, outcome int) store.Entry {
	e := store.Entry{RecordID: store.NewID(), Kind: kind, Subject: on}
	read := func(characteristic, location string, spot int, texts [3]string, unit quality.Unit) {
		if text := texts[outcome]; text != "" {
			e.Check.Readings = append(e.Check.Readings, l.Reading(characteristic, location, spot, text, unit))
		}
	}
	use := func(role string, id uuid.UUID) { e.Uses = append(e.Uses, store.Use{Role: role, ID: id}) }
	switch kind {
	case quality.Weld:
		e.Check.Defects = [3][]quality.Defect{{{Code: quality.NoneFound, Place: "weld 1", Count: 1}}, {{Code: "100", Place: "weld 1", Count: 1}}, nil}[outcome]
	case quality.Pretreatment:
		read("ph", "1-convert", 0, [3]string{"4.6", "5.9", ""}, quality.PH)
		use("bath", l.Bath.ID)
	case quality.Coating:
		read("humidity", "", 0, [3]string{"48", "81", ""}, quality.Percent)
		use("powder", l.Lot.ID)
		use("booth", l.Booths[0].ID)
	case quality.Cure:
		read("metal_peak", "middle", 1, [3]string{"196", "168", ""}, quality.Celsius)
		read("metal_time", "middle", 1, [3]string{"14", "14", "14"}, quality.Minute)
		use("oven", l.Oven.ID)
	case quality.CureTest:
		read("rubs", "", 0, [3]string{"50", "50", ""}, quality.DoubleRubs)
		e.Check.Ratings = []quality.Rating{{Characteristic: quality.RatingRub, Code: [3]string{"4", "1", "4"}[outcome]}}
	case quality.Finish:
		e.Check.Defects = [3][]quality.Defect{{{Code: quality.NoneFound}}, {{Code: "sag", Place: "front", Count: 1}}, nil}[outcome]
	case quality.Film:
		for spot, texts := range [][3]string{{"82", "41", "82"}, {"79", "42", "81"}, {"85", "43", "80"}, {"88", "40", ""}, {"80", "44", ""}} {
			read("film_thickness", "", spot+1, texts, quality.Micrometre)
		}
		use("gauge", rapid.SampledFrom(l.gauges).Draw(l.rt, "with"))
	case quality.PanelTest:
		e.Check.Ratings = [3][]quality.Rating{{{Characteristic: quality.RatingAdhesion, Code: "5B"}}, {{Characteristic: quality.RatingAdhesion, Code: "2B"}}, nil}[outcome]
		read(quality.TestTemperature, "", 0, [3]string{"23", "23", "23"}, quality.Celsius)
		read(quality.TestHumidity, "", 0, [3]string{"48", "48", "48"}, quality.Percent)
	case quality.Verification:
		read("zero_reading", "", 0, [3]string{"0.2", "0.2", "0.2"}, quality.Micrometre)
		for _, shim := range l.Shims {
			read("shim_reading", shim.Code, 0, [3]string{fmt.Sprint(*shim.Nominal + 0.3), fmt.Sprint(*shim.Nominal + 9), ""}, quality.Micrometre)
			use("shim", shim.ID)
		}
	}
	return e
}

// due does what the part waits for, as a person would who looks at its page.
func (l *life) due(ctx context.Context, part uuid.UUID, outcome int) lifeAct {
	type where struct {
		Next, Status string
		Rack, Load   uuid.NullUUID
	}
	var at where
	if err := l.DB.Pool().QueryRow(ctx, `SELECT ps.next_kind, ps.status, rp.rack_id, lr.load_id FROM part_status ps
		LEFT JOIN rack_part rp ON rp.site_id = ps.site_id AND rp.part_id = ps.part_id AND rp.cycle = ps.cycle
		LEFT JOIN load_rack lr ON lr.site_id = rp.site_id AND lr.rack_id = rp.rack_id WHERE ps.site_id = $1 AND ps.part_id = $2`, l.Site.ID, part).
		Scan(&at.Next, &at.Status, &at.Rack, &at.Load); err != nil {
		l.rt.Fatal(err)
	}
	who, kind := l.people[0], quality.Kind(at.Next)
	onPart, onRack, onLoad := store.Subject{Kind: quality.OnPart, ID: part}, store.Subject{Kind: quality.OnRack, ID: at.Rack.UUID}, store.Subject{Kind: quality.OnLoad, ID: at.Load.UUID}
	switch {
	case at.Status == store.StatusOnHold:
		return l.decide(ctx, who)
	case at.Status == store.StatusAccepted || at.Status == store.StatusUnderConcession:
		return lifeAct{"release " + l.serial[part], func(ctx context.Context) error { return l.DB.Release(ctx, who.Actor, []uuid.UUID{part}, who.proof) }}
	case at.Status == store.StatusReleased:
		return l.ship(who, []uuid.UUID{part})
	case kind == quality.Pretreatment && !at.Rack.Valid:
		return l.hang(ctx, who)
	case kind == quality.Coating && l.full:
		if a := l.seriesDue(ctx, part); a.do != nil {
			return a
		}
		return l.coat(ctx, who, at.Rack.UUID, outcome)
	case kind == quality.Coating:
		return l.coat(ctx, who, at.Rack.UUID, outcome)
	case kind == quality.Pretreatment:
		return l.entry(who, kind, onRack, outcome)
	case kind == quality.PanelTest:
		return l.panel(ctx, who, at.Load.UUID, outcome)
	case kind == quality.Cure && !at.Load.Valid:
		return l.load(ctx, who)
	case kind == quality.Cure || kind == quality.CureTest:
		return l.entry(who, kind, onLoad, outcome)
	case kind != "":
		return l.entry(who, kind, onPart, outcome)
	}
	return lifeAct{}
}

// hang hangs all parts that wait for it on a new rack, or on one that hangs there already.
func (l *life) hang(ctx context.Context, who hand) lifeAct {
	type id struct{ ID uuid.UUID }
	var parts []uuid.UUID
	for _, p := range rows[id](ctx, l, `SELECT part_id FROM part_status WHERE site_id = $1 AND part_id = ANY($2) AND $3::uuid[] IS NOT NULL AND rack_id IS NULL ORDER BY part_id`) {
		parts = append(parts, p.ID)
	}
	if len(parts) == 0 {
		return lifeAct{}
	}
	parts = l.some(parts)
	for _, f := range l.articles(ctx) { // apart from the series
		if l.full && f.State() != store.ArticleApproved && slices.Contains(parts, f.PartID) {
			return l.hangOn(who, store.NewID(), true, []uuid.UUID{f.PartID})
		}
	}
	rack, fresh := store.NewID(), true
	if racks := rows[id](ctx, l, `SELECT DISTINCT rack_id FROM rack_part WHERE site_id = $1 AND part_id = ANY($2) AND $3::uuid[] IS NOT NULL ORDER BY rack_id`); len(racks) > 0 && rapid.Bool().Draw(l.rt, "on a rack that hangs") {
		rack, fresh = racks[len(racks)-1].ID, false
	}
	return l.hangOn(who, rack, fresh, parts)
}

func (l *life) hangOn(who hand, rack uuid.UUID, fresh bool, parts []uuid.UUID) lifeAct {
	return lifeAct{"hang" + l.names(parts), func(ctx context.Context) error {
		if fresh {
			if _, err := l.DB.HangRack(ctx, who.Actor, rack, "T"+strings.ToUpper(rack.String()[24:])); err != nil {
				return err
			}
		}
		return l.DB.HangParts(ctx, who.Actor, rack, parts)
	}}
}

// load puts the racks that are not in a load yet on a new load, or on one that waits.
func (l *life) load(ctx context.Context, who hand) lifeAct {
	type id struct{ ID uuid.UUID }
	racks := rows[id](ctx, l, `SELECT DISTINCT rp.rack_id FROM rack_part rp WHERE rp.site_id = $1 AND rp.part_id = ANY($2) AND $3::uuid[] IS NOT NULL
		AND NOT EXISTS (SELECT 1 FROM load_rack lr WHERE lr.site_id = rp.site_id AND lr.rack_id = rp.rack_id) ORDER BY 1`)
	if len(racks) == 0 {
		return lifeAct{}
	}
	rack := rapid.SampledFrom(racks).Draw(l.rt, "rack").ID
	load, fresh := store.NewID(), true
	if loads := rows[id](ctx, l, `SELECT DISTINCT lr.load_id FROM rack_part rp JOIN load_rack lr ON lr.site_id = rp.site_id AND lr.rack_id = rp.rack_id
		WHERE rp.site_id = $1 AND rp.part_id = ANY($2) AND $3::uuid[] IS NOT NULL ORDER BY 1`); len(loads) > 0 && rapid.Bool().Draw(l.rt, "in a load that waits") {
		load, fresh = loads[len(loads)-1].ID, false
	}
	return l.loadOn(who, load, fresh, rack)
}

func (l *life) loadOn(who hand, load uuid.UUID, fresh bool, rack uuid.UUID) lifeAct {
	return lifeAct{"load a rack", func(ctx context.Context) error {
		if fresh {
			if _, err := l.DB.OpenLoad(ctx, who.Actor, load, l.Oven.ID); err != nil {
				return err
			}
		}
		return l.DB.AddRack(ctx, who.Actor, load, rack)
	}}
}

// early checks a part before its turn, under an exception that the author allows alone: it counts once somebody else confirms.
func (l *life) early(who hand, part uuid.UUID) lifeAct {
	e := l.content(quality.Finish, store.Subject{Kind: quality.OnPart, ID: part}, goes)
	e.Overrides = []store.Override{{Rule: store.RuleStepMissing, Reason: "came coated from the other plant", By: who.Person, PIN: storetest.PIN}}
	return lifeAct{"finish before its turn on " + l.serial[e.Subject.ID], func(ctx context.Context) error {
		_, err := l.DB.Save(ctx, who.Actor, e)
		return err
	}}
}

func (l *life) hold(who hand) lifeAct {
	var serials []string
	for _, p := range l.some(l.parts) {
		serials = append(serials, l.serial[p])
	}
	id := store.NewID()
	return lifeAct{fmt.Sprintf("hold %v", serials), func(ctx context.Context) error {
		_, err := l.DB.OpenHold(ctx, who.Actor, store.HandHold{ID: id, Serials: serials, Cause: "Dropped from the trolley"})
		return err
	}}
}

// A held is a part under a hold that nobody has decided on.
type held struct {
	Hold, Part uuid.UUID
	Number     string
}

func (l *life) held(ctx context.Context) []held {
	return rows[held](ctx, l, `SELECT hp.hold_id, hp.part_id, h.number FROM hold_part hp JOIN hold h ON h.site_id = hp.site_id AND h.hold_id = hp.hold_id
		WHERE hp.site_id = $1 AND hp.part_id = ANY($2) AND hp.open AND $3::uuid[] IS NOT NULL ORDER BY h.number, hp.part_id`)
}

func (l *life) extend(ctx context.Context, who hand) lifeAct {
	all := l.held(ctx)
	if len(all) == 0 {
		return lifeAct{}
	}
	h, parts := rapid.SampledFrom(all).Draw(l.rt, "hold"), l.some(l.parts)
	return lifeAct{"extend " + h.Number + " to" + l.names(parts), func(ctx context.Context) error { return l.DB.ExtendHold(ctx, who.Actor, h.Hold, parts) }}
}

func (l *life) decide(ctx context.Context, who hand) lifeAct {
	all := l.held(ctx)
	if len(all) == 0 {
		return lifeAct{}
	}
	h := rapid.SampledFrom(all).Draw(l.rt, "hold")
	var parts []uuid.UUID
	for _, other := range all {
		if other.Hold == h.Hold {
			parts = append(parts, other.Part)
		}
	}
	d := store.Decision{Parts: l.some(parts), Reason: "looked at them all", Code: rapid.SampledFrom([]string{"rework", "rework", "strip_recoat", "concession", "concession", "concession", "concession", "no_defect", "no_defect",
		"scrap", "return", "regrade"}).Draw(l.rt, "decision")}
	if l.accepts {
		d.Code = "concession"
	}
	if d.Code == "concession" {
		n := rapid.IntRange(1, 2).Draw(l.rt, "reference")
		d.ConcessionRef, d.ConcessionQuantity = fmt.Sprintf("CR-%d-%d", l.lives, n), n
	}
	return lifeAct{fmt.Sprintf("%s decides %s on %s for%s", who.Name, d.Code, h.Number, l.names(d.Parts)), func(ctx context.Context) error { return l.DB.Decide(ctx, who.Actor, h.Hold, d, who.proof) }}
}

func (l *life) recall(ctx context.Context, who hand) lifeAct {
	type line struct{ Review, Part uuid.UUID }
	lines := rows[line](ctx, l, `SELECT rl.review_id, rl.part_id FROM recall_line rl JOIN recall_review v ON v.site_id = rl.site_id AND v.review_id = rl.review_id
		WHERE rl.site_id = $1 AND rl.part_id = ANY($2) AND $3::uuid[] IS NOT NULL
		AND NOT EXISTS (SELECT 1 FROM recall_decision d WHERE d.site_id = rl.site_id AND d.review_id = rl.review_id AND d.part_id = rl.part_id) ORDER BY v.number, rl.part_id`)
	if len(lines) == 0 {
		return l.entry(who, quality.Verification, store.Subject{Kind: quality.OnInstrument, ID: rapid.SampledFrom(l.gauges).Draw(l.rt, "gauge")}, fails)
	}
	at := rapid.SampledFrom(lines).Draw(l.rt, "line")
	d := store.RecallDecision{Parts: []uuid.UUID{at.Part}, Code: rapid.SampledFrom(store.RecallCodes).Draw(l.rt, "decision"), Reason: "compared with the other gauge"}
	return lifeAct{"recall: " + d.Code + " for " + l.serial[at.Part], func(ctx context.Context) error { return l.DB.DecideRecall(ctx, who.Actor, at.Review, d, who.proof) }}
}

func (l *life) ship(who hand, parts []uuid.UUID) lifeAct {
	n := store.NewShipment{ID: store.NewID(), Parts: parts, DeliveryNote: "DN-" + store.NewID().String()}
	return lifeAct{"ship" + l.names(parts), func(ctx context.Context) error {
		_, err := l.DB.Ship(ctx, who.Actor, n)
		return err
	}}
}

func (l *life) takeBack(ctx context.Context, who hand) lifeAct {
	type out struct{ Shipment, Part uuid.UUID }
	all := rows[out](ctx, l, `SELECT sp.shipment_id, sp.part_id FROM shipment_part sp WHERE sp.site_id = $1 AND sp.part_id = ANY($2) AND $3::uuid[] IS NOT NULL ORDER BY sp.trip, sp.part_id`)
	if len(all) == 0 {
		return lifeAct{}
	}
	o := rapid.SampledFrom(all).Draw(l.rt, "shipped")
	return lifeAct{"customer returns " + l.serial[o.Part], func(ctx context.Context) error {
		_, err := l.DB.TakeReturn(ctx, who.Actor, store.NewReturn{Shipment: o.Shipment, Parts: []uuid.UUID{o.Part}, Reason: "scratched on arrival"}, who.proof)
		return err
	}}
}

func (l *life) makeLot(who hand) lifeAct {
	id := store.NewID()
	return lifeAct{"make a lot", func(ctx context.Context) error {
		_, err := l.DB.MakeLot(ctx, who.Actor, store.LotOffer{ID: id, Spec: "PC-S", Of: quality.Sampled(quality.Film), Job: l.job.Number})
		return err
	}}
}

func (l *life) swap(ctx context.Context, who hand) lifeAct {
	type place struct {
		Lot    uuid.UUID
		Serial string
	}
	all := rows[place](ctx, l, `SELECT s.lot_id, p.serial FROM inspection_sample s JOIN part p ON p.site_id = s.site_id AND p.part_id = s.part_id
		WHERE s.site_id = $1 AND s.part_id = ANY($2) AND $3::uuid[] IS NOT NULL ORDER BY s.drawn_at, s.seq, s.version`)
	if len(all) == 0 {
		return lifeAct{}
	}
	at := rapid.SampledFrom(all).Draw(l.rt, "sample")
	return lifeAct{"swap " + at.Serial, func(ctx context.Context) error {
		_, err := l.DB.SwapSample(ctx, who.Actor, at.Lot, at.Serial, "hangs out of reach")
		return err
	}}
}
