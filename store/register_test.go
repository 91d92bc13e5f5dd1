package store_test

import (
	"errors"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

// registerPIN is the secret of the engineer that openShop adds.
const registerPIN = "594713"

// openShop returns an empty shop and an engineer of it who can sign.
func openShop(t *testing.T) (*store.DB, store.Actor) {
	t.Helper()
	db := storetest.New(t)
	site, err := db.AddSite(t.Context(), store.NewSite{Code: "TH", Name: "Tern Hollow Metalworks", TimeZone: "America/Chicago"})
	if err != nil {
		t.Fatalf("open the site: %v", err)
	}
	engineer, err := db.AddPerson(t.Context(), store.Actor{Site: site.ID}, store.NewPerson{Name: "Maren Holt", SignOnName: "maren", Roles: []string{"engineer"}})
	if err != nil {
		t.Fatalf("add the engineer: %v", err)
	}
	a := store.Actor{Site: site.ID, Person: engineer.ID, Name: engineer.Name, Roles: engineer.Roles}
	secret, err := db.Invite(t.Context(), a, engineer.ID)
	if err != nil {
		t.Fatalf("invite the engineer: %v", err)
	}
	if _, err := db.Accept(t.Context(), secret, registerPIN, "", "", ""); err != nil {
		t.Fatalf("set the engineer's PIN: %v", err)
	}
	return db, a
}

// filmOnly is the smallest useful spec: a film thickness section.
func filmOnly() quality.FinishSpec {
	return quality.FinishSpec{Version: quality.SpecVersion, MaxCycles: 2, Film: &quality.FilmSpec{
		Limits: quality.Between(60, 120, quality.Micrometre), Rule: quality.Areas80, Spots: 5, ReadingsPerSpot: 3}}
}

func addSpec(t *testing.T, db *store.DB, a store.Actor, code string, spec quality.FinishSpec) store.SpecRevision {
	t.Helper()
	r, err := db.AddSpec(t.Context(), a, code, "Railing, outdoors", "A", spec)
	if err != nil {
		t.Fatalf("draft spec %s: %v", code, err)
	}
	return r
}

func approve(t *testing.T, db *store.DB, a store.Actor, r store.SpecRevision) {
	t.Helper()
	proof, err := db.Sign(t.Context(), a, registerPIN)
	if err != nil {
		t.Fatalf("sign: %v", err)
	}
	if err := db.ApproveSpec(t.Context(), a, r.ID, proof); err != nil {
		t.Fatalf("approve %s %s: %v", r.Code, r.Revision, err)
	}
}

func addPartNumber(t *testing.T, db *store.DB, a store.Actor, code string, spec store.SpecRevision) store.PartNumber {
	t.Helper()
	n, err := db.AddPartNumber(t.Context(), a, store.PartNumber{Code: code, Name: "Rail section", SpecID: spec.SpecID, Alloy: "6060 T66",
		BaseForm: "extrusion", WallMM: 3, Welds: 4, Sketch: "rail"})
	if err != nil {
		t.Fatalf("add part number %s: %v", code, err)
	}
	return n
}

// refusedBy fails the test unless err is a Refusal by the rule, and returns its sentence.
func refusedBy(t *testing.T, err error, rule string) string {
	t.Helper()
	var refusal *store.Refusal
	if !errors.As(err, &refusal) {
		t.Fatalf("got %v, want a refusal by %s", err, rule)
	}
	if refusal.Rule != rule {
		t.Fatalf("refused by %s (%s), want %s", refusal.Rule, refusal.Sentence, rule)
	}
	return refusal.Sentence
}

// A loggedEvent is an event as it stands in the book.
type loggedEvent struct {
	person, verb  string
	before, after []byte
	reason        string
}

// eventsOf returns the events of a subject, the oldest first.
func eventsOf(t *testing.T, db *store.DB, a store.Actor, subject uuid.UUID) (events []loggedEvent) {
	t.Helper()
	rows, err := db.Pool().Query(t.Context(), `SELECT coalesce(p.name, ''), e.verb, e.before, e.after, e.reason
		FROM event e LEFT JOIN person p ON p.site_id = e.site_id AND p.person_id = e.person_id WHERE e.site_id = $1 AND e.subject_id = $2 ORDER BY e.at, e.event_id`, a.Site, subject)
	if err != nil {
		t.Fatalf("events: %v", err)
	}
	var e loggedEvent
	if _, err := pgx.ForEachRow(rows, []any{&e.person, &e.verb, &e.before, &e.after, &e.reason}, func() error {
		events = append(events, e)
		return nil
	}); err != nil {
		t.Fatalf("events: %v", err)
	}
	return events
}

// verbs returns the verbs of a subject's events in order.
func verbs(t *testing.T, db *store.DB, a store.Actor, subject uuid.UUID) (list []string) {
	t.Helper()
	for _, e := range eventsOf(t, db, a, subject) {
		list = append(list, e.verb)
	}
	return list
}

func day(t *testing.T, s string) time.Time {
	t.Helper()
	d, err := time.Parse(time.DateOnly, s)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func notFound(t *testing.T, err error) {
	t.Helper()
	if !errors.Is(err, store.ErrNotFound) {
		t.Fatalf("got %v, want not found", err)
	}
}
