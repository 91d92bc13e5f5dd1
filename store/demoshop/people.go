// Package demoshop builds Tern Hollow Metalworks, a shop of our own invention that welds and coats aluminium railings and
// trailer frames: its register, and thirty shop days of work with four stories to discover. Everything goes in through the
// store's own methods, under the same rules as real work. All names, numbers and readings are invented.
package demoshop

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
)

// A Login is a demo person's way in, for the start-up message.
type Login struct {
	Name, SignOnName, Role, PIN string
}

// Logins lists who can sign on in the demo and how. These secrets exist in the demo shop only.
var Logins = []Login{
	{"Ilse Brandt", "ilse", "inspector", "402917"},
	{"Amara Diallo", "amara", "inspector", "718206"},
	{"Teodor Quist", "teodor", "inspector", "530681"},
	{"Jonas Feld", "jonas", "operator", "264907"},
	{"Mirela Stan", "mirela", "operator", "915038"},
	{"Ruben Aske", "ruben", "operator", "380462"},
	{"Lena Forsgren", "lena", "operator", "671093"},
	{"Marek Olsen", "marek", "supervisor", "846120"},
	{"Nadia Verheyen", "nadia", "engineer", "159374"},
	{"Petra Lindqvist", "petra", "administrator", "703518"},
	{"Owen Tarrant", "owen", "auditor", "292641"},
}

// A Shop is the register of the demo shop: everything that work refers to.
type Shop struct {
	DB       *store.DB
	Site     store.Site
	People   map[string]store.Actor // by sign-on name
	Stations map[string]uuid.UUID   // by code
	Gauges   map[string]store.Instrument
	Shims    []store.Instrument
	Plates   []store.Instrument   // bare plates, one of each alloy
	Baths    map[string]uuid.UUID // by code
	Lots     map[string]uuid.UUID // by lot number
	Products []*Product
	brackets store.PartNumber
	samples  store.PartNumber
	posts    []store.PartNumber
	logger   uuid.UUID              // the data logger that goes through the oven
	proofs   map[string]store.Proof // that supervisor and engineer gave their PIN, once for this run
}

// A Product is one part number with its spec and its customers.
type Product struct {
	store.PartNumber
	Spec      quality.FinishSpec
	Plan      store.Plan
	Customers []string
	prefix    string
	unit      quality.Unit
	mean      float64 // film in µm
	lots      []string
}

// newPeople adds everybody with their PIN and qualifications as from the day the shop opened.
func (s *Shop) newPeople(ctx context.Context, opened time.Time) error {
	kinds := map[string][]quality.Kind{
		"inspector":  {quality.Weld, quality.CureTest, quality.PanelTest, quality.Finish, quality.Film, quality.FirstArticle, quality.Verification, quality.Cure},
		"operator":   {quality.Pretreatment, quality.Coating, quality.Cure, quality.CureTest, quality.OvenSurvey, quality.BathReading, quality.BathAddition},
		"supervisor": {quality.Weld, quality.CureTest, quality.PanelTest, quality.Finish, quality.Film, quality.Verification, quality.Pretreatment, quality.Coating, quality.Cure, quality.OvenSurvey, quality.BathReading, quality.BathAddition},
		"engineer":   {quality.Weld, quality.CureTest, quality.Finish, quality.Film, quality.FirstArticle, quality.Verification, quality.Calibration},
	}
	founder := store.Actor{Site: s.Site.ID}
	var pins []func() error // hashing them takes most of the time, and may take it on every core
	for _, l := range Logins {
		p, err := s.DB.AddPerson(ctx, founder, store.NewPerson{Name: l.Name, SignOnName: l.SignOnName, Roles: []string{l.Role}})
		if err != nil {
			return fmt.Errorf("adding %s: %w", l.Name, err)
		}
		secret, err := s.DB.Invite(ctx, founder, p.ID)
		if err != nil {
			return err
		}
		pins = append(pins, func() error {
			if _, err := s.DB.Accept(ctx, secret, l.PIN, "", "", ""); err != nil {
				return fmt.Errorf("PIN of %s: %w", l.Name, err)
			}
			return nil
		})
		s.People[l.SignOnName] = store.Actor{Site: s.Site.ID, Person: p.ID, Name: p.Name, Roles: p.Roles}
		for _, k := range kinds[l.Role] {
			q := store.Qualification{PersonID: p.ID, Kind: k, Certificate: "TH-Q-" + l.SignOnName + "-" + string(k), ValidFrom: opened.AddDate(0, -6, 0), ValidTo: opened.AddDate(2, 0, 0)}
			if err := s.DB.AddQualification(ctx, founder, q); err != nil {
				return fmt.Errorf("qualification of %s: %w", l.Name, err)
			}
		}
	}
	if err := inParallel(pins); err != nil {
		return err
	}
	s.proofs = map[string]store.Proof{}
	for _, name := range []string{"marek", "nadia"} {
		proof, err := s.DB.Sign(ctx, s.People[name], pinOf(name))
		if err != nil {
			return err
		}
		s.proofs[name] = proof
	}
	return nil
}

// on returns a person at a station.
func (s *Shop) on(person, station string) store.Actor {
	a := s.People[person]
	a.Station = uuid.NullUUID{UUID: s.Stations[station], Valid: true}
	return a
}
