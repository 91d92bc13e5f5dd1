package store

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
)

// A Form is everything an entry page shows before anything is typed.
type Form struct {
	Kind         quality.Kind
	Subject      Subject
	Label        string // serial, rack or load number, gauge code
	Parts        []PartRow
	SpecCode     string
	Revision     string
	Spec         quality.FinishSpec
	Circumstance quality.Circumstance
	Sketch       string
	Spots        []Spot
	Gauges       []Instrument
	Shims        []Instrument
	Plates       []Instrument // bare plates for the zero
	Standards    []Instrument // what a device may be calibrated against
	Device       *Instrument  // the device under test
	Meters       []Instrument // what a bath may be read with
	Now          time.Time    // by the server's clock
	Lots         []MaterialLot
	// Sheets are the materials in use at this step, for their safety data sheets.
	Sheets  []Material
	Booths  []Station
	Ovens   []Station
	Baths   []BathStanding // as they stand now
	Welders []Person
	// Authorisers may allow an exception with their PIN.
	Authorisers []Person
	// LastUsed is what the person used last, by role (chemicals by role and kind, chemical:cleaner): carried forward and not asked
	// again.
	LastUsed map[string]uuid.UUID
	// Blocks are the rules that would refuse an entry now, as far as they are known before it is typed.
	Blocks []*Refusal
}

// bathMeters are the kinds of device that baths are read with.
var bathMeters = []string{"ph_meter", "conductivity_meter", "thermometer", "other"}

// Form returns what the entry page of a kind for a subject needs.
func (db *DB) Form(ctx context.Context, a Actor, kind quality.Kind, s Subject) (Form, error) {
	f := Form{Kind: kind, Subject: s, Now: db.Clock()}
	st, err := site(ctx, db.pool, a.Site)
	if err != nil {
		return f, err
	}
	if f.LastUsed, err = db.lastUsed(ctx, a, kind); err != nil {
		return f, err
	}
	e := Entry{Kind: kind, Subject: s}
	for role, id := range f.LastUsed {
		if role == "gauge" || lotRoles[role] != nil {
			e.Uses = append(e.Uses, Use{role, id})
		}
	}
	w, err := db.prepare(ctx, db.pool, st, a, &e, nil)
	var refusal *Refusal
	switch {
	case errors.As(err, &refusal):
		f.Blocks = append(f.Blocks, refusal)
	case err != nil:
		return f, err
	default:
		f.SpecCode, f.Revision, f.Spec, f.Circumstance = w.revision.Code, w.revision.Revision, w.spec, w.circumstance
		f.Label = w.label
		if s.Kind == quality.OnInstrument {
			f.Device = w.gauge
		}
		for _, r := range w.refusals {
			// What is still to be chosen on the page is no obstacle yet.
			if r.Rule != RuleCalibration && r.Rule != RuleGaugeMissing && r.Rule != RuleLotMissing {
				f.Blocks = append(f.Blocks, r)
			}
		}
	}
	return f, db.fillForm(ctx, a, &f)
}

// fillForm reads the choices of a form.
func (db *DB) fillForm(ctx context.Context, a Actor, f *Form) (err error) {
	if f.Subject.Kind != quality.OnInstrument {
		if f.Parts, err = db.PartsOf(ctx, a.Site, f.Subject); err != nil {
			return err
		}
	}
	if f.Label == "" {
		if f.Label, err = db.labelOf(ctx, a.Site, f.Subject); err != nil {
			return err
		}
	}
	if len(f.Parts) > 0 {
		p, err := db.PartBySerial(ctx, a.Site, f.Parts[0].Serial)
		if err != nil {
			return err
		}
		f.Sketch = p.Sketch
		plan, err := db.PlanOf(ctx, a.Site, p.PartNumberID)
		if err != nil && !errors.Is(err, ErrNotFound) {
			return err
		}
		f.Spots = plan.Spots
	}
	instruments, err := db.Instruments(ctx, a.Site)
	if err != nil {
		return err
	}
	for _, i := range instruments {
		switch {
		case i.Kind == "film_gauge" && i.Status == "in_use":
			f.Gauges = append(f.Gauges, i)
		case i.Kind == "shim" && i.Status == "in_use":
			f.Shims = append(f.Shims, i)
		case i.Kind == "zero_plate" && i.Status == "in_use":
			f.Plates = append(f.Plates, i)
		}
		if i.Status == "in_use" && slices.Contains(bathMeters, i.Kind) {
			f.Meters = append(f.Meters, i)
		}
		if i.Status == "in_use" && (i.Kind == "shim" || i.Kind == "zero_plate" || i.Kind == "reference") && i.ID != f.Subject.ID {
			f.Standards = append(f.Standards, i)
		}
	}
	stations, err := db.Stations(ctx, a.Site)
	if err != nil {
		return err
	}
	for _, s := range stations {
		switch {
		case s.Kind == "booth" && s.Active:
			f.Booths = append(f.Booths, s)
		case s.Kind == "oven" && s.Active:
			f.Ovens = append(f.Ovens, s)
		}
	}
	if kinds := lotKinds[f.Kind]; len(kinds) > 0 {
		if f.Lots, err = db.MaterialLots(ctx, a.Site, kinds...); err != nil {
			return err
		}
	}
	if kinds := sheetKinds[f.Kind]; len(kinds) > 0 {
		materials, err := db.Materials(ctx, a.Site, kinds...)
		if err != nil {
			return err
		}
		f.Sheets = slices.DeleteFunc(materials, func(m Material) bool { return !m.Active })
	}
	if f.Kind == quality.Pretreatment || f.Subject.Kind == quality.OnBath {
		st, err := site(ctx, db.pool, a.Site)
		if err != nil {
			return err
		}
		if f.Baths, err = db.BathStandings(ctx, st, f.Now); err != nil {
			return err
		}
	}
	people, err := db.People(ctx, a.Site)
	if err != nil {
		return err
	}
	for _, p := range people {
		if !p.Active {
			continue
		}
		f.Welders = append(f.Welders, p)
		if (Actor{Roles: p.Roles}).Has(Supervisor, Engineer) {
			f.Authorisers = append(f.Authorisers, p)
		}
	}
	return nil
}

// labelOf returns the number people know a subject by.
func (db *DB) labelOf(ctx context.Context, site uuid.UUID, s Subject) (string, error) {
	return labelIn(ctx, db.pool, site, s)
}

func labelIn(ctx context.Context, q querier, site uuid.UUID, s Subject) (string, error) {
	sql := map[quality.Subject]string{
		quality.OnPart:       `SELECT serial FROM part WHERE site_id = @site AND part_id = @id`,
		quality.OnRack:       `SELECT number FROM rack WHERE site_id = @site AND rack_id = @id`,
		quality.OnLoad:       `SELECT number FROM oven_load WHERE site_id = @site AND load_id = @id`,
		quality.OnBath:       `SELECT code FROM bath WHERE site_id = @site AND bath_id = @id`,
		quality.OnPanel:      `SELECT code FROM panel WHERE site_id = @site AND panel_id = @id`,
		quality.OnOven:       `SELECT code FROM station WHERE site_id = @site AND station_id = @id`,
		quality.OnInstrument: `SELECT code FROM instrument WHERE site_id = @site AND instrument_id = @id`,
	}[s.Kind]
	label, err := value[string](ctx, q, sql, sqlArgs{"site": site, "id": s.ID})
	if err != nil {
		return "", fmt.Errorf("%s: %w", s.Kind, err)
	}
	return label, nil
}

// lastUsed returns the thing of each role that the person put into their latest record of a kind today or yesterday.
func (db *DB) lastUsed(ctx context.Context, a Actor, kind quality.Kind) (map[string]uuid.UUID, error) {
	type row struct {
		Role string    `db:"role"`
		ID   uuid.UUID `db:"id"`
	}
	rows, err := list[row](ctx, db.pool, `SELECT DISTINCT ON (1) u.role || coalesce(':' || l.kind, '') AS role, coalesce(u.instrument_id, u.lot_id, u.person_id, u.station_id, u.bath_id) AS id
		FROM record r JOIN record_use u ON u.site_id = r.site_id AND u.record_id = r.record_id
		LEFT JOIN material_lot l ON l.site_id = u.site_id AND l.lot_id = u.lot_id AND u.role = 'chemical'
		WHERE r.site_id = @site AND r.kind = @kind AND r.shop_day >= (@now::timestamptz - interval '2 days')::date
		AND (r.person_id = @person OR r.device_id = @device) AND u.role NOT IN ('tested_part', 'bath', 'shim')
		ORDER BY 1, r.recorded_at DESC`, sqlArgs{"site": a.Site, "kind": kind, "now": db.Clock(), "person": a.Person, "device": a.Device})
	if err != nil {
		return nil, err
	}
	used := map[string]uuid.UUID{}
	for _, r := range rows {
		used[r.Role] = r.ID
	}
	return used, nil
}
