package store_test

import (
	"bytes"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"coatbook/store"
	"coatbook/store/storetest"
)

// readyToShip brings n parts to their release.
func readyToShip(t *testing.T, s *storetest.Shop, n int) []uuid.UUID {
	t.Helper()
	s.Verify(0)
	parts := s.Ready(n, 0)
	released(t, s, parts)
	return parts
}

func ship(t *testing.T, s *storetest.Shop, note string, parts ...uuid.UUID) store.Shipment {
	t.Helper()
	s.Now = s.Now.Add(time.Minute)
	shipment, err := s.DB.Ship(t.Context(), s.Everyone, store.NewShipment{Parts: parts, DeliveryNote: note, Carrier: "Own van"})
	if err != nil {
		t.Fatal(err)
	}
	return shipment
}

func rebuilt(t *testing.T, s *storetest.Shop) {
	t.Helper()
	if changed, err := s.DB.Rebuild(t.Context(), s.Site.ID); changed != 0 || err != nil {
		t.Errorf("rebuilding changed %d parts, %v", changed, err)
	}
}

func TestShippedPartsLeaveWithTheirPapersAndStillAddUp(t *testing.T) {
	s := storetest.NewShop(t)
	parts := readyToShip(t, s, 3)
	made := ship(t, s, "DN-1", parts[:2]...)
	if made.Number != "S-2026-0001" || made.Customer != s.Job.Customer || made.OrderRef != "=PO 7" || made.Parts != 2 || made.ShippedBy != s.Everyone.Name || made.Jobs != "24117" {
		t.Errorf("the shipment: %+v", made)
	}
	for serial, want := range map[string]string{"TH-0001": store.StatusShipped, "TH-0003": store.StatusReleased} {
		if got := status(t, s, serial).Status; got != want {
			t.Errorf("%s is %s, want %s", serial, got, want)
		}
	}
	balance, err := s.DB.BalanceOf(t.Context(), s.Site.ID, s.Job.ID)
	if err != nil || balance.Released != 3 || balance.Shipped != 2 || balance.InHouse != 0 || balance.Missing() != 0 {
		t.Errorf("the balance: %+v, %v", balance, err)
	}
	rebuilt(t, s)
	left, err := s.DB.ReadyToShip(t.Context(), s.Site.ID, "24117", false)
	if err != nil || len(left) != 1 || left[0].Serial != "TH-0003" {
		t.Errorf("ready to ship: %+v, %v", left, err)
	}
	var csv bytes.Buffer
	if _, err := s.DB.Export(t.Context(), s.Site, "parts.csv", store.ExportFilter{From: s.Now.AddDate(0, 0, -1), To: s.Now}, &csv); err != nil || !strings.Contains(csv.String(), ",S-2026-0001,DN-1,") {
		t.Errorf("the export of parts: %v\n%s", err, csv.String())
	}
	// Nothing more is recorded of a part that left.
	_, err = save(t, s, filmEntry(s, parts[0]))
	refusedBy(t, err, store.RuleFinished)
}

func TestPartThatMayNotLeaveIsRefusedByName(t *testing.T) {
	s := storetest.NewShop(t)
	parts := readyToShip(t, s, 2)
	more := s.Parts(1)
	try := func(note string, chosen ...uuid.UUID) error {
		_, err := s.DB.Ship(t.Context(), s.Everyone, store.NewShipment{Parts: chosen, DeliveryNote: note})
		return err
	}
	named := func(err error, rule, serial string) {
		t.Helper()
		if words := refusedBy(t, err, rule); !strings.Contains(words, serial) {
			t.Errorf("%q does not name %s", words, serial)
		}
	}
	refusedBy(t, try("DN-1"), store.RuleNoParts)
	refusedBy(t, try(" ", parts...), "shipment_note_length")
	named(try("DN-1", parts[0], more[0]), store.RuleGateClosed, "TH-0003")
	inspector := s.AddPerson("Ona Reyes", "ona", store.Inspector)
	_, err := s.DB.Ship(t.Context(), inspector, store.NewShipment{Parts: parts, DeliveryNote: "DN-1"})
	refusedBy(t, err, store.RuleNoRight)

	other, err := s.DB.AddJob(t.Context(), s.Everyone, store.Job{Number: "24118", Customer: "Brook Rails", OrderRef: "B-1"})
	if err != nil {
		t.Fatal(err)
	}
	job := s.Job
	s.Job = other
	theirs := s.Ready(1, 1)
	released(t, s, theirs)
	s.Job = job
	refusedBy(t, try("DN-1", parts[0], theirs[0]), store.RuleMixed)

	// One is in a recall that nobody has decided yet.
	r, _ := theRecall(t, s, s.Verify(9).RecallNumber)
	named(try("DN-1", parts[0]), store.RuleUndecided, "TH-0001")
	if err := decideRecall(t, s, r, "no_effect", parts[:1]); err != nil {
		t.Fatal(err)
	}
	if err := decideRecall(t, s, r, "hold", parts[1:2]); err != nil {
		t.Fatal(err)
	}
	named(try("DN-1", parts[1]), store.RuleOnHold, "TH-0002")
	ship(t, s, "DN-1", parts[0])
	named(try("DN-2", parts[0]), store.RuleFinished, "TH-0001")
	if err := decideRecall(t, s, r, "no_effect", theirs); err != nil {
		t.Fatal(err)
	}
	refusedBy(t, try("DN-1", theirs[0]), "shipment_note_once")
	rebuilt(t, s)
}

func TestOnePartLeavesWithOneOfTwoShipmentsAtOnce(t *testing.T) {
	s := storetest.NewShop(t)
	parts := readyToShip(t, s, 2)
	errs := make([]error, 2)
	var wait sync.WaitGroup
	for i, note := range []string{"DN-1", "DN-2"} {
		wait.Go(func() {
			_, errs[i] = s.DB.Ship(t.Context(), s.Everyone, store.NewShipment{Parts: []uuid.UUID{parts[0], parts[1]}, DeliveryNote: note})
		})
	}
	wait.Wait()
	if (errs[0] == nil) == (errs[1] == nil) {
		t.Fatalf("one of two must win: %v, %v", errs[0], errs[1])
	}
	for _, err := range errs {
		if err != nil {
			refusedBy(t, err, store.RuleFinished)
		}
	}
	rebuilt(t, s)
}

func TestSameShipmentSentTwiceIsOneShipment(t *testing.T) {
	s := storetest.NewShop(t)
	parts := readyToShip(t, s, 2)
	n := store.NewShipment{ID: store.NewID(), Parts: parts, DeliveryNote: "DN-1"}
	first, err := s.DB.Ship(t.Context(), s.Everyone, n)
	if err != nil {
		t.Fatal(err)
	}
	second, err := s.DB.Ship(t.Context(), s.Everyone, n)
	if err != nil || second.Number != first.Number {
		t.Errorf("sent again it is %s, %v", second.Number, err)
	}
	n.DeliveryNote = "DN-2"
	_, err = s.DB.Ship(t.Context(), s.Everyone, n)
	refusedBy(t, err, store.RuleSameID)
}

// underConcession releases a part whose film was accepted under a concession.
func underConcession(t *testing.T, s *storetest.Shop, d store.Decision) uuid.UUID {
	t.Helper()
	parts, holds := thinParts(t, s, 1)
	d.Parts, d.Code, d.Reason = parts, "concession", "Covered after assembly"
	if err := s.DB.Decide(t.Context(), s.Everyone, holds[0].ID, d, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	if err := s.DB.Release(t.Context(), s.Everyone, parts, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	return parts[0]
}

func TestConcessionThatEndedKeepsItsPartInHouse(t *testing.T) {
	s := storetest.NewShop(t)
	part := underConcession(t, s, store.Decision{ConcessionRef: "CR-9", ConcessionEnds: time.Date(2026, 11, 26, 0, 0, 0, 0, time.UTC)})
	s.Now = time.Date(2026, 11, 27, 7, 0, 0, 0, time.UTC)
	rebuilt(t, s)
	_, err := s.DB.Ship(t.Context(), s.Everyone, store.NewShipment{Parts: []uuid.UUID{part}, DeliveryNote: "DN-1"})
	if words := refusedBy(t, err, store.RuleConcession); !strings.Contains(words, "CR-9") || !strings.Contains(words, "26 November 2026") {
		t.Error(words)
	}
	s.Now = time.Date(2026, 11, 27, 4, 0, 0, 0, time.UTC)
	ship(t, s, "DN-1", part)
}

func TestPartThatCameBackIsHeldAndNeedsANewRelease(t *testing.T) {
	s := storetest.NewShop(t)
	parts := readyToShip(t, s, 2)
	made := ship(t, s, "DN-1", parts...)
	inspector := s.AddPerson("Ona Reyes", "ona", store.Inspector)
	back := store.NewReturn{Shipment: made.ID, Parts: parts[:1], Reason: "Scratched on the site."}
	_, err := s.DB.TakeReturn(t.Context(), inspector, back, s.Proof(inspector))
	refusedBy(t, err, store.RuleNoRight)
	_, err = s.DB.TakeReturn(t.Context(), s.Everyone, back, store.Proof{})
	refusedBy(t, err, store.RuleWrongSecret)
	s.Now = s.Now.Add(time.Hour)
	number, err := s.DB.TakeReturn(t.Context(), s.Everyone, back, s.Proof(s.Everyone))
	if err != nil {
		t.Fatal(err)
	}
	if got := status(t, s, "TH-0001").Status; got != store.StatusOnHold {
		t.Errorf("the part that came back is %s", got)
	}
	rebuilt(t, s)
	_, err = s.DB.TakeReturn(t.Context(), s.Everyone, back, s.Proof(s.Everyone))
	refusedBy(t, err, store.RuleChanged)
	balance, err := s.DB.BalanceOf(t.Context(), s.Site.ID, s.Job.ID)
	if err != nil || balance.Released != 1 || balance.Shipped != 1 || balance.InHouse != 1 || balance.Missing() != 0 {
		t.Errorf("the balance: %+v, %v", balance, err)
	}
	h, err := s.DB.HoldByNumber(t.Context(), s.Site.ID, number)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.DB.Decide(t.Context(), s.Everyone, h.ID, store.Decision{Parts: parts[:1], Code: "no_defect", Reason: "Dirt, wiped off."}, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	_, err = s.DB.Ship(t.Context(), s.Everyone, store.NewShipment{Parts: parts[:1], DeliveryNote: "DN-2"})
	refusedBy(t, err, store.RuleGateClosed)
	if err := s.DB.Release(t.Context(), s.Everyone, parts[:1], s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	ship(t, s, "DN-2", parts[0])
	shipped, err := s.DB.ShippedParts(t.Context(), s.Site.ID, made.ID)
	if err != nil || len(shipped) != 2 || shipped[0].Why != back.Reason || shipped[0].Hold != number || shipped[0].Shipment != "S-2026-0002" || shipped[1].ReturnedAt != nil {
		t.Errorf("parts of the first shipment: %+v, %v", shipped, err)
	}
	rebuilt(t, s)
}

// A correction after shipping voids the release and opens a hold for the decision; where the part is does not change.
func TestCorrectionOfAShippedPartOpensAHoldAndLeavesItWhereItIs(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	part := s.Ready(1, 0)[0]
	s.Finish(part)
	film := s.Film(part, "82", "68", "75", "93", "86")
	if err := s.DB.Release(t.Context(), s.Everyone, []uuid.UUID{part}, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	ship(t, s, "DN-1", part)
	saved, err := correct(t, s, film.RecordID, filmEntry(s, part, "88", "68", "75", "93", "86"))
	if err != nil || saved.HoldNumber == "" {
		t.Fatalf("%+v, %v", saved, err)
	}
	if got := status(t, s, "TH-0001").Status; got != store.StatusShipped {
		t.Errorf("the part is %s", got)
	}
	rebuilt(t, s)
	h, err := s.DB.HoldByNumber(t.Context(), s.Site.ID, saved.HoldNumber)
	if err != nil || h.OpenParts != 1 {
		t.Fatalf("%+v, %v", h, err)
	}
	decide := func(code string) error {
		return s.DB.Decide(t.Context(), s.Everyone, h.ID, store.Decision{Parts: []uuid.UUID{part}, Code: code, Reason: "Still within the limits."}, s.Proof(s.Everyone))
	}
	refusedBy(t, decide("scrap"), store.RuleFinished)
	if err := decide("no_defect"); err != nil {
		t.Fatal(err)
	}
	if err := s.DB.Release(t.Context(), s.Everyone, []uuid.UUID{part}, s.Proof(s.Everyone)); err != nil {
		t.Errorf("a new release over the corrected record: %v", err)
	}
	refusedBy(t, s.DB.Release(t.Context(), s.Everyone, []uuid.UUID{part}, s.Proof(s.Everyone)), store.RuleFinished)
	if got := status(t, s, "TH-0001").Status; got != store.StatusShipped {
		t.Errorf("the part is %s", got)
	}
	rebuilt(t, s)
}

func TestTraceLotAndRecallNameCustomerShipmentAndCertificateOfShippedParts(t *testing.T) {
	s := storetest.NewShop(t)
	parts := readyToShip(t, s, 3)
	made := ship(t, s, "DN-1", parts[:2]...)
	certificate, err := s.DB.Certify(t.Context(), s.Everyone, store.NewCertificate{Shipment: made.ID}, s.Proof(s.Everyone))
	if err != nil {
		t.Fatal(err)
	}
	from := store.TraceFrom{Kind: "lot", Name: s.Lot.LotNumber}
	m, err := s.DB.MockRecall(t.Context(), s.Everyone, from)
	if err != nil || m.Shipped != 2 || m.Released != 1 || m.InHouse != 0 || m.Customers[s.Job.Customer] != 3 {
		t.Fatalf("the mock recall: %+v, %v", m, err)
	}
	var csv bytes.Buffer
	if err := store.WriteTrace(&csv, s.Site, m.Parts); err != nil {
		t.Fatal(err)
	}
	for i, p := range m.Parts {
		out := i < 2
		if (p.Shipment == made.Number) != out || (p.Certificate == certificate.Number) != out || (p.DeliveryNote == "DN-1") != out || (p.ShippedAt != nil) != out || p.Customer != s.Job.Customer {
			t.Errorf("%s: %+v", p.Serial, p)
		}
	}
	if got := strings.Count(csv.String(), ","+made.Number+",DN-1,"+certificate.Number+","); got != 2 {
		t.Errorf("%d lines of the file name shipment and certificate, want 2:\n%s", got, csv.String())
	}
	touched, err := s.DB.PartsOfLot(t.Context(), s.Site.ID, s.Lot.ID)
	if err != nil || len(touched) != 3 || touched[0].Certificate != certificate.Number || touched[0].InHouse() || touched[2].Shipment != "" {
		t.Errorf("parts of the lot: %+v, %v", touched, err)
	}
	// The gauge fails: what is shipped is reported, not held.
	r, lines := theRecall(t, s, s.Verify(9).RecallNumber)
	shipped := partsOf(lines, func(l store.RecallLine) bool {
		return l.Now == store.StatusShipped && l.Certificate == certificate.Number && l.Shipment == made.Number && l.Customer == s.Job.Customer && !l.Held
	})
	if len(shipped) != 2 || r.Out != 3 {
		t.Errorf("the recall: %+v", lines)
	}
	refusedBy(t, decideRecall(t, s, r, "hold", shipped[:1]), store.RuleInvalid)
	refusedBy(t, decideRecall(t, s, r, "re_measure", shipped[:1]), store.RuleInvalid)
	if err := decideRecall(t, s, r, "notify_customer", shipped); err != nil {
		t.Error(err)
	}
	notices, err := s.DB.CertificateNotices(t.Context(), s.Site.ID, certificate.ID)
	if err != nil || len(notices) != 2 || notices[0].What != "recalled" || !strings.Contains(notices[0].Reason, r.Number) {
		t.Errorf("what the certificate's page says: %+v, %v", notices, err)
	}
}
