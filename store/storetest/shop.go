package storetest

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
)

// PIN is the secret of everybody in a Shop.
const PIN = "594713"

// A Shop is a small shop with one spec, one part number and everything it takes to bring a part from the weld bench to its
// release, for tests that look at records rather than at how they come about. Its clock stands still until a test moves it.
type Shop struct {
	DB   *store.DB
	Site store.Site
	// Everyone may do everything: inspector, operator, supervisor and engineer in one.
	Everyone   store.Actor
	Spec       store.SpecRevision
	PartNumber store.PartNumber
	Job        store.Job
	Gauge      store.Instrument
	Shims      []store.Instrument
	Lot        store.MaterialLot
	Booths     []store.Station
	Oven       store.Station
	Bath       store.Bath
	Now        time.Time

	t       testing.TB
	serials int
}

// Spec is the finish spec of a Shop: every kind of record is asked for.
func shopSpec() quality.FinishSpec {
	return quality.FinishSpec{
		Version: quality.SpecVersion, MaxCycles: 2,
		Weld: &quality.WeldSpec{Level: "C"},
		Pretreatment: &quality.PretreatmentSpec{Stages: []quality.StageSpec{
			{Stage: "convert", Name: "Conversion", Limits: map[string]quality.Limits{"ph": quality.Between(3.8, 5, quality.PH)}}}},
		Coating:  &quality.CoatingSpec{Humidity: quality.Between(30, 70, quality.Percent)},
		Cure:     &quality.CureSpec{ScheduleC: 190, Channels: 1},
		CureTest: &quality.CureTestSpec{Solvent: "MEK", Rubs: 50, PassFrom: 3},
		Finish:   &quality.FinishCheckSpec{},
		Film:     &quality.FilmSpec{Limits: quality.Between(60, 120, quality.Micrometre), Rule: quality.Areas80, Spots: 5, ReadingsPerSpot: 1},
	}
}

// furnished is the book of a new Shop.
var furnished Filled[Shop]

// NewShop opens a shop at 08:00 local time on Tuesday 24 November 2026.
func NewShop(t testing.TB) *Shop {
	t.Helper()
	db, made := furnished.New(t, func(db *store.DB) Shop { return furnish(t, db) })
	s := &made
	s.t, s.DB = t, db
	s.Everyone.Roles, s.Shims, s.Booths = slices.Clone(s.Everyone.Roles), slices.Clone(s.Shims), slices.Clone(s.Booths)
	db.Clock = func() time.Time { return s.Now }
	return s
}

func furnish(t testing.TB, db *store.DB) Shop {
	t.Helper()
	s := &Shop{DB: db, t: t, Now: time.Date(2026, 11, 24, 14, 0, 0, 0, time.UTC)}
	db.Clock = func() time.Time { return s.Now }
	ctx := t.Context()
	must(t, "site", func() (err error) {
		s.Site, err = db.AddSite(ctx, store.NewSite{Code: "TH", Name: "Tern Hollow Metalworks", TimeZone: "America/Chicago"})
		return err
	})
	s.Everyone = s.AddPerson("Maren Holt", "maren", store.Inspector, store.Operator, store.Supervisor, store.Engineer)
	a := s.Everyone
	must(t, "spec", func() (err error) {
		if s.Spec, err = db.AddSpec(ctx, a, "PC-60", "Railing, outdoors", "A", shopSpec()); err != nil {
			return err
		}
		return db.ApproveSpec(ctx, a, s.Spec.ID, s.Proof(a))
	})
	must(t, "part number, job", func() (err error) {
		if s.PartNumber, err = db.AddPartNumber(ctx, a, store.PartNumber{Code: "RF-210", Name: "Rail frame", SpecID: s.Spec.SpecID, Alloy: "6060 T66",
			BaseForm: "extrusion", WallMM: 3, Welds: 4, Sketch: "rail"}); err != nil {
			return err
		}
		s.Job, err = db.AddJob(ctx, a, store.Job{Number: "24117", Customer: "Halden, \"Balconies\"", OrderRef: "=PO 7"})
		return err
	})
	s.equip(a)
	return *s
}

func (s *Shop) equip(a store.Actor) {
	ctx, t, db := s.t.Context(), s.t, s.DB
	must(t, "gauge and shims", func() (err error) {
		due := s.Now.AddDate(1, 0, 0)
		s.Gauge, err = db.AddInstrument(ctx, a, store.Instrument{Code: "FG-01", Kind: "film_gauge", MakerSerial: "00731", Owner: "company", Unit: "um",
			ToleranceAbs: 1, ToleranceShare: 0.02, IntervalDays: 365, DueOn: due})
		for i, nominal := range []float64{50, 125} {
			shim, e := db.AddInstrument(ctx, a, store.Instrument{Code: fmt.Sprintf("SH-%d", i+1), Kind: "shim", MakerSerial: "S", Owner: "company", Unit: "um",
				ToleranceAbs: 0.5, Nominal: &nominal, IntervalDays: 365, DueOn: due})
			s.Shims = append(s.Shims, shim)
			if e != nil {
				err = e
			}
		}
		return err
	})
	must(t, "powder", func() error {
		p, err := db.AddMaterial(ctx, a, store.Material{Kind: store.Powder, Code: "PE-7016", Name: "Polyester, matt", Maker: "Invented Coatings", Colour: "anthracite", StorageMaxC: ptr(25.0)},
			[]store.CurePoint{{MetalC: 180, MinutesMin: 12, MinutesMax: 30}, {MetalC: 210, MinutesMin: 8, MinutesMax: 20}})
		if err != nil {
			return err
		}
		s.Lot, err = db.AddMaterialLot(ctx, a, store.MaterialLot{MaterialID: p.ID, LotNumber: "000123", MadeOn: ptr(s.Now.AddDate(0, -2, 0)),
			ReceivedOn: s.Now.AddDate(0, -1, 0), ExpiresOn: ptr(s.Now.AddDate(1, 0, 0)), Quantity: 500, Certificate: "C-1"})
		return err
	})
	must(t, "stations and bath", func() (err error) {
		for _, code := range []string{"B1", "B2"} {
			booth, e := db.AddStation(ctx, a, store.Station{Code: code, Name: "Booth " + code[1:], Kind: "booth"})
			s.Booths = append(s.Booths, booth)
			if e != nil {
				err = e
			}
		}
		if err != nil {
			return err
		}
		if s.Oven, err = db.AddStation(ctx, a, store.Station{Code: "OV1", Name: "Oven 1", Kind: "oven"}); err != nil {
			return err
		}
		s.Bath, err = db.AddBath(ctx, a, store.Bath{Code: "CONV", Name: "Conversion", Stage: "convert"})
		return err
	})
}

func ptr[T any](v T) *T { return &v }

func must(t testing.TB, what string, do func() error) {
	t.Helper()
	if err := do(); err != nil {
		t.Fatalf("shop: %s: %v", what, err)
	}
}

// AddPerson adds a person with PIN, qualified for everything.
func (s *Shop) AddPerson(name, signOnName string, roles ...string) store.Actor {
	s.t.Helper()
	a := store.Actor{Site: s.Site.ID, Name: name, Roles: roles}
	must(s.t, "person", func() error {
		ctx := s.t.Context()
		p, err := s.DB.AddPerson(ctx, store.Actor{Site: s.Site.ID}, store.NewPerson{Name: name, SignOnName: signOnName, Roles: roles})
		if err != nil {
			return err
		}
		a.Person = p.ID
		secret, err := s.DB.Invite(ctx, a, p.ID)
		if err != nil {
			return err
		}
		if _, err := s.DB.Accept(ctx, secret, PIN, "", "", ""); err != nil {
			return err
		}
		for kind := range quality.KindNames {
			if err := s.DB.AddQualification(ctx, a, store.Qualification{PersonID: p.ID, Kind: kind, ValidFrom: s.Now.AddDate(-1, 0, 0), ValidTo: s.Now.AddDate(1, 0, 0)}); err != nil {
				return err
			}
		}
		return nil
	})
	return a
}

// Proof signs once more as a person of the shop.
func (s *Shop) Proof(a store.Actor) store.Proof {
	s.t.Helper()
	proof, err := s.DB.Sign(s.t.Context(), a, PIN)
	if err != nil {
		s.t.Fatalf("shop: sign: %v", err)
	}
	return proof
}

// Parts receives n parts and returns their ids. Their serials count up from TH-0001.
func (s *Shop) Parts(n int) []uuid.UUID {
	s.t.Helper()
	serials := make([]string, n)
	for i := range serials {
		s.serials++
		serials[i] = fmt.Sprintf("TH-%04d", s.serials)
	}
	ids, err := s.DB.AddParts(s.t.Context(), s.Everyone, s.Job.ID, s.PartNumber.ID, serials)
	if err != nil {
		s.t.Fatalf("shop: parts: %v", err)
	}
	return ids
}

// Save records an entry of its own id, one second after the last one.
func (s *Shop) Save(kind quality.Kind, on quality.Subject, id uuid.UUID, check quality.Check, uses ...store.Use) store.Saved {
	s.t.Helper()
	s.Now = s.Now.Add(time.Second)
	saved, err := s.DB.Save(s.t.Context(), s.Everyone, store.Entry{RecordID: store.NewID(), Kind: kind, Subject: store.Subject{Kind: on, ID: id}, Check: check, Uses: uses})
	if err != nil {
		s.t.Fatalf("shop: %s: %v", kind, err)
	}
	return saved
}

// Reading reads text as the bench does.
func (s *Shop) Reading(characteristic, location string, spot int, text string, unit quality.Unit) quality.Reading {
	s.t.Helper()
	r, problem := quality.ParseReading(characteristic, text, unit)
	if problem != "" {
		s.t.Fatalf("shop: reading: %s", problem)
	}
	r.Location, r.Spot, r.Rep = location, spot, 1
	return r
}

// Weld records a weld check; a fault is an ISO 6520-1 number, or quality.NoneFound.
func (s *Shop) Weld(part uuid.UUID, fault string) store.Saved {
	s.t.Helper()
	return s.Save(quality.Weld, quality.OnPart, part, quality.Check{Defects: []quality.Defect{{Code: fault, Place: "weld 1", Count: 1}}})
}

// Wash hangs parts on a rack and washes them at a pH (3.8 to 5 passes); washed well, it coats them in a booth. It returns
// the rack.
func (s *Shop) Wash(parts []uuid.UUID, ph string, booth int) uuid.UUID {
	s.t.Helper()
	ctx := s.t.Context()
	rack := store.NewID()
	must(s.t, "rack", func() error {
		if _, err := s.DB.HangRack(ctx, s.Everyone, rack, "T"+strings.ToUpper(rack.String()[28:34])); err != nil {
			return err
		}
		return s.DB.HangParts(ctx, s.Everyone, rack, parts)
	})
	washed := s.Save(quality.Pretreatment, quality.OnRack, rack, quality.Check{Readings: []quality.Reading{s.Reading("ph", "1-convert", 0, ph, quality.PH)}},
		store.Use{Role: "bath", ID: s.Bath.ID})
	if washed.Judgement.Verdict != quality.Pass {
		return rack
	}
	s.Save(quality.Coating, quality.OnRack, rack, quality.Check{Readings: []quality.Reading{s.Reading("humidity", "", 0, "48", quality.Percent)}},
		store.Use{Role: "powder", ID: s.Lot.ID}, store.Use{Role: "booth", ID: s.Booths[booth].ID})
	return rack
}

// Bake bakes racks together with a coldest metal temperature in °C (190 passes) and rubs the coat. It returns the load.
func (s *Shop) Bake(racks []uuid.UUID, coldest string) uuid.UUID {
	s.t.Helper()
	ctx := s.t.Context()
	load := store.NewID()
	must(s.t, "load", func() error {
		if _, err := s.DB.OpenLoad(ctx, s.Everyone, load, s.Oven.ID); err != nil {
			return err
		}
		for _, rack := range racks {
			if err := s.DB.AddRack(ctx, s.Everyone, load, rack); err != nil {
				return err
			}
		}
		return nil
	})
	saved := s.Save(quality.Cure, quality.OnLoad, load, quality.Check{Readings: []quality.Reading{
		s.Reading("metal_peak", "middle", 1, coldest, quality.Celsius), s.Reading("metal_time", "middle", 1, "14", quality.Minute)}},
		store.Use{Role: "oven", ID: s.Oven.ID})
	if saved.Judgement.Verdict == quality.Pass {
		s.Save(quality.CureTest, quality.OnLoad, load, quality.Check{
			Readings: []quality.Reading{s.Reading("rubs", "", 0, "50", quality.DoubleRubs)}, Ratings: []quality.Rating{{Characteristic: quality.RatingRub, Code: "4"}}})
	}
	return load
}

// Verify checks the gauge on plate and shims, off by so many µm on each (up to 2.5 passes).
func (s *Shop) Verify(off float64) store.Saved {
	s.t.Helper()
	check := quality.Check{Readings: []quality.Reading{s.Reading("zero_reading", "", 0, "0.2", quality.Micrometre)}}
	var uses []store.Use
	for _, shim := range s.Shims {
		check.Readings = append(check.Readings, s.Reading("shim_reading", shim.Code, 0, fmt.Sprintf("%.1f", *shim.Nominal+off), quality.Micrometre))
		uses = append(uses, store.Use{Role: "shim", ID: shim.ID})
	}
	return s.Save(quality.Verification, quality.OnInstrument, s.Gauge.ID, check, uses...)
}

// Finish records a finish check without a find, and Film the five readings of a film check.
func (s *Shop) Finish(part uuid.UUID) store.Saved {
	s.t.Helper()
	return s.Save(quality.Finish, quality.OnPart, part, quality.Check{Defects: []quality.Defect{{Code: quality.NoneFound}}})
}

// Film records a film check: one reading a spot, in µm, as typed.
func (s *Shop) Film(part uuid.UUID, readings ...string) store.Saved {
	s.t.Helper()
	check := quality.Check{}
	for i, text := range readings {
		check.Readings = append(check.Readings, s.Reading("film_thickness", "", i+1, text, quality.Micrometre))
	}
	return s.Save(quality.Film, quality.OnPart, part, check, store.Use{Role: "gauge", ID: s.Gauge.ID})
}

// Ready brings n new parts through one rack and one load, up to the final bench. Gauge and oven are good.
func (s *Shop) Ready(n, booth int) []uuid.UUID {
	s.t.Helper()
	parts := s.Parts(n)
	for _, p := range parts {
		s.Weld(p, quality.NoneFound)
	}
	s.Bake([]uuid.UUID{s.Wash(parts, "4.6", booth)}, "196")
	return parts
}
