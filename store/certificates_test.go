package store_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

func certify(t *testing.T, s *storetest.Shop, n store.NewCertificate) store.Certificate {
	t.Helper()
	s.Now = s.Now.Add(time.Minute)
	c, err := s.DB.Certify(t.Context(), s.Everyone, n, s.Proof(s.Everyone))
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func stated(t *testing.T, s *storetest.Shop, number string) store.CertificateContent {
	t.Helper()
	_, content, whole, err := s.DB.CertificateByNumber(t.Context(), s.Site.ID, number)
	if err != nil || !whole {
		t.Fatalf("%s: whole %v, %v", number, whole, err)
	}
	return content
}

func TestCertificateStatesEveryItemOfItsParts(t *testing.T) {
	s := storetest.NewShop(t)
	parts := readyToShip(t, s, 2)
	made := ship(t, s, "DN-1", parts...)
	c := certify(t, s, store.NewCertificate{Shipment: made.ID})
	if c.Number != "C-2026-0001" || c.Parts != 2 || c.SignedBy != s.Everyone.Name || c.Meaning != "approved" || c.Shipment != made.Number || c.Changed {
		t.Errorf("the certificate: %+v", c)
	}
	got := stated(t, s, c.Number)
	if got.Customer != s.Job.Customer || got.OrderRef != "=PO 7" || got.Shipment.DeliveryNote != "DN-1" || got.Number != c.Number || got.Verdict != "Each of the 2 parts listed conforms to PC-60 revision A." {
		t.Errorf("the head: %+v", got)
	}
	if len(got.Specs) != 1 || got.Specs[0].Code != "PC-60" || got.Specs[0].Revision != "A" || got.Specs[0].Effective != "2026-11-24" {
		t.Errorf("the spec: %+v", got.Specs)
	}
	if len(got.Parts) != 2 || got.Parts[1].Serial != "TH-0002" || got.Parts[1].PartNumber != "RF-210" || got.Parts[1].ReleasedBy != s.Everyone.Name || got.Parts[1].Amended != 0 {
		t.Errorf("the parts: %+v", got.Parts)
	}
	// By hand: mean of 82, 68, 75, 93, 86 is 80.8; one reading a spot, so each spot is its own area.
	f := got.Film[0]
	if f.N != 5 || f.Mean != "80.8" || f.Min != "68.0" || f.Max != "93.0" || f.Unit != "µm" || f.Device != "FG-01" || f.Verdict != "pass" || len(f.Areas) != 5 || f.Areas[1].Min != "68.0" || f.Areas[1].Name != "spot 2" {
		t.Errorf("the film: %+v", f)
	}
	var methods []string
	for _, m := range got.Methods {
		methods = append(methods, string(m.Kind)+": "+m.Sample)
		if m.Method == "" || m.Rule == "" || m.Spec != "PC-60 rev A" {
			t.Errorf("a method: %+v", m)
		}
	}
	want := []string{"weld: 2 of 2 parts checked", "pretreatment: 1 rack, for 2 of 2 parts", "coating: 1 rack, for 2 of 2 parts", "cure: 1 oven load, for 2 of 2 parts", "cure_test: 1 oven load, for 2 of 2 parts",
		"finish: 2 of 2 parts checked", "film: 2 of 2 parts checked"}
	if !slices.Equal(methods, want) {
		t.Errorf("sample sizes %v, want %v", methods, want)
	}
	if i := slices.IndexFunc(got.Results, func(r store.CertificateResult) bool { return r.Kind == quality.Cure }); i < 0 || len(got.Results[i].Parts) != 2 ||
		!slices.ContainsFunc(got.Results[i].Lines, func(l store.CertificateLine) bool {
			return l.Value == "14" && l.Unit == "min" && strings.Contains(l.Limit, "min")
		}) {
		t.Errorf("the cure with its window: %+v", got.Results)
	}
	if len(got.Devices) != 1 || got.Devices[0].Code != "FG-01" || got.Devices[0].Serial != "00731" || got.Devices[0].Due == "" || len(got.Lots) != 1 || got.Lots[0].Lot != "000123" || got.Lots[0].Certificate != "C-1" {
		t.Errorf("devices %+v, lots %+v", got.Devices, got.Lots)
	}
	var out bytes.Buffer
	if err := store.WriteCertificateResults(&out, got); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&out).ReadAll()
	if err != nil || !slices.ContainsFunc(rows, func(r []string) bool {
		return r[3] == "TH-0001" && r[6] == "mean" && r[8] == "5" && r[9] == "80.8" && r[10] == "µm" && r[2] == "'=PO 7"
	}) {
		t.Errorf("the results as CSV: %v\n%v", err, rows)
	}
}

func TestCertificateNumbersHaveNoGaps(t *testing.T) {
	s := storetest.NewShop(t)
	parts := readyToShip(t, s, 6)
	refusedNow := func(n store.NewCertificate, p store.Proof, rule string) {
		t.Helper()
		_, err := s.DB.Certify(t.Context(), s.Everyone, n, p)
		refusedBy(t, err, rule)
	}
	refusedNow(store.NewCertificate{Parts: parts[:1]}, store.Proof{}, store.RuleWrongSecret)
	errs := make([]error, 4)
	proof := s.Proof(s.Everyone)
	var wait sync.WaitGroup
	for i := range errs {
		wait.Go(func() {
			_, errs[i] = s.DB.Certify(t.Context(), s.Everyone, store.NewCertificate{Parts: parts[i : i+1]}, proof)
		})
	}
	wait.Wait()
	refusedNow(store.NewCertificate{Parts: s.Parts(1)}, proof, store.RuleGateClosed)
	refusedNow(store.NewCertificate{Parts: parts[:2]}, proof, store.RuleInvalid)
	n := store.NewCertificate{ID: store.NewID(), Parts: parts[4:5]}
	first := certify(t, s, n)
	if again := certify(t, s, n); again.Number != first.Number {
		t.Errorf("sent again it is %s, want %s", again.Number, first.Number)
	}
	// The site's year begins with its own midnight, not with that of UTC.
	s.Now = time.Date(2027, 1, 1, 5, 30, 0, 0, time.UTC)
	all, err := s.DB.Certificates(t.Context(), s.Site.ID, "", 10)
	if err != nil || len(all) != 5 {
		t.Fatalf("%d certificates, %v, %v", len(all), errs, err)
	}
	numbers := map[string]bool{}
	for _, c := range all {
		numbers[c.Number] = true
	}
	for i := range 5 {
		if !numbers[fmt.Sprintf("C-2026-%04d", i+1)] {
			t.Errorf("number %d is missing: %v", i+1, numbers)
		}
	}
	if c := certify(t, s, store.NewCertificate{Parts: parts[5:]}); c.Number != "C-2026-0006" {
		t.Errorf("before midnight of New Year's Eve: %s", c.Number)
	}
}

func TestOnlyOfficesThatMaySignCertificatesDo(t *testing.T) {
	s := storetest.NewShop(t)
	parts := readyToShip(t, s, 1)
	inspector := s.AddPerson("Ona Reyes", "ona", store.Inspector, store.Operator)
	_, err := s.DB.Certify(t.Context(), inspector, store.NewCertificate{Parts: parts}, s.Proof(inspector))
	refusedBy(t, err, store.RuleNoRight)
}

// amendedPart releases a part whose film was corrected before its release, beside one that was not.
func amendedPart(t *testing.T, s *storetest.Shop) (parts []uuid.UUID) {
	t.Helper()
	s.Verify(0)
	parts = s.Ready(2, 0)
	for _, p := range parts {
		s.Finish(p)
	}
	film := s.Film(parts[0], "84", "68", "75", "93", "86")
	s.Film(parts[1], "82", "68", "75", "93", "86")
	if _, err := correct(t, s, film.RecordID, filmEntry(s, parts[0], "82", "68", "75", "93", "86")); err != nil {
		t.Fatal(err)
	}
	if err := s.DB.Release(t.Context(), s.Everyone, parts, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	return parts
}

func TestCertificateMarksEachAmendedPartAndCountsTheChanges(t *testing.T) {
	s := storetest.NewShop(t)
	parts := amendedPart(t, s)
	got := stated(t, s, certify(t, s, store.NewCertificate{Parts: parts}).Number)
	if got.Parts[0].Amended != 1 || got.Parts[1].Amended != 0 || !got.Film[0].Amended || got.Film[1].Amended || len(got.Changes) != 1 {
		t.Fatalf("amended: %+v, %+v, %+v", got.Parts, got.Film, got.Changes)
	}
	c := got.Changes[0]
	if c.Kind != quality.Film || c.Code != "typing_error" || c.Reason != "Read 28 for 82." || c.By != s.Everyone.Name || c.What != "was 84 µm, now 82 µm" || !slices.Equal(c.Parts, []string{"TH-0001"}) {
		t.Errorf("the change: %+v", c)
	}
	// What is taken back at once was a change as well.
	more := s.Parts(1)
	slip := s.Weld(more[0], quality.NoneFound)
	if _, err := s.DB.TakeBack(t.Context(), s.Everyone, store.NewID(), slip.RecordID); err != nil {
		t.Fatal(err)
	}
	s.Weld(more[0], quality.NoneFound)
	s.Bake([]uuid.UUID{s.Wash(more, "4.6", 0)}, "196")
	released(t, s, more)
	if got := stated(t, s, certify(t, s, store.NewCertificate{Parts: more}).Number); got.Parts[0].Amended != 1 || !got.Changes[0].Void {
		t.Errorf("an entry taken back: %+v", got.Changes)
	}
}

func TestReissueTakesThePlaceOfTheOldCertificateWithAReason(t *testing.T) {
	s := storetest.NewShop(t)
	s.Verify(0)
	part := s.Ready(1, 0)[0]
	s.Finish(part)
	film := s.Film(part, "84", "68", "75", "93", "86")
	parts := []uuid.UUID{part}
	if err := s.DB.Release(t.Context(), s.Everyone, parts, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	old := certify(t, s, store.NewCertificate{Parts: parts})
	saved, err := correct(t, s, film.RecordID, filmEntry(s, part, "82", "68", "75", "93", "86"))
	if err != nil {
		t.Fatal(err)
	}
	notices, err := s.DB.CertificateNotices(t.Context(), s.Site.ID, old.ID)
	if err != nil || len(notices) != 1 || notices[0].What != "changed" || notices[0].Kind != "film" || notices[0].Record != saved.RecordID {
		t.Errorf("notices: %+v, %v", notices, err)
	}
	if got := stated(t, s, old.Number); got.Film[0].Mean != "81.2" {
		t.Errorf("the old certificate now states %s", got.Film[0].Mean)
	}
	again := store.NewCertificate{Supersedes: old.ID, Code: "record_corrected", Reason: "Film reading corrected."}
	_, err = s.DB.Certify(t.Context(), s.Everyone, again, s.Proof(s.Everyone))
	refusedBy(t, err, store.RuleOnHold)
	h, err := s.DB.HoldByNumber(t.Context(), s.Site.ID, saved.HoldNumber)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.DB.Decide(t.Context(), s.Everyone, h.ID, store.Decision{Parts: parts, Code: "no_defect", Reason: "Still within the limits."}, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	if err := s.DB.Release(t.Context(), s.Everyone, parts, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	bare := again
	bare.Code = "because"
	_, err = s.DB.Certify(t.Context(), s.Everyone, bare, s.Proof(s.Everyone))
	refusedBy(t, err, "certificate_reason_code_known")
	bare.Code, bare.Reason = "other", " x "
	_, err = s.DB.Certify(t.Context(), s.Everyone, bare, s.Proof(s.Everyone))
	refusedBy(t, err, "certificate_reissue_reason")
	made := certify(t, s, again)
	got := stated(t, s, made.Number)
	if made.Number != "C-2026-0002" || made.Supersedes != old.Number || got.Supersedes.Number != old.Number || got.Supersedes.Reason != again.Reason || got.Film[0].Mean != "80.8" || len(got.Changes) != 1 {
		t.Errorf("the new one: %+v, %+v", made, got)
	}
	was, _, _, err := s.DB.CertificateByNumber(t.Context(), s.Site.ID, old.Number)
	if err != nil || was.SupersededBy != made.Number || !was.Changed {
		t.Errorf("the old one: %+v, %v", was, err)
	}
	_, err = s.DB.Certify(t.Context(), s.Everyone, again, s.Proof(s.Everyone))
	refusedBy(t, err, "certificate_superseded_once")
	papers, err := s.DB.PapersOf(t.Context(), s.Site.ID, part)
	if err != nil || papers.Certificate != made.Number {
		t.Errorf("the part's certificate is %+v, %v", papers, err)
	}
}

func TestCertificateOfAPartUnderConcessionNamesTheReference(t *testing.T) {
	s := storetest.NewShop(t)
	part := underConcession(t, s, store.Decision{ConcessionRef: "CR-9", ConcessionQuantity: 3})
	got := stated(t, s, certify(t, s, store.NewCertificate{Parts: []uuid.UUID{part}}).Number)
	if got.Parts[0].Concession != "CR-9" || len(got.Concessions) != 1 || got.Concessions[0].Limits != "for 3 parts" || got.Concessions[0].Reason != "Covered after assembly" ||
		!strings.Contains(got.Verdict, "except for what the customer accepted") || got.Film[0].Verdict != "fail" {
		t.Errorf("%+v, %+v, %q", got.Parts, got.Concessions, got.Verdict)
	}
}

func TestVerifyFindsACertificateThatWasChangedOrTakenOut(t *testing.T) {
	s := storetest.NewShop(t)
	parts := readyToShip(t, s, 3)
	made := ship(t, s, "DN-1", parts[2])
	if _, err := s.DB.TakeReturn(t.Context(), s.Everyone, store.NewReturn{Shipment: made.ID, Parts: parts[2:], Reason: "Sent too many."}, s.Proof(s.Everyone)); err != nil {
		t.Fatal(err)
	}
	first, second := certify(t, s, store.NewCertificate{Parts: parts[:1]}), certify(t, s, store.NewCertificate{Parts: parts[1:2]})
	faults := func() string {
		v, err := s.DB.Verify(t.Context(), s.Site, store.Trust{})
		if err != nil {
			t.Fatal(err)
		}
		var words []string
		for _, m := range v.Mismatches {
			words = append(words, m.Sentence)
		}
		return strings.Join(words, " | ")
	}
	if words := faults(); words != "" {
		t.Fatal(words)
	}
	owner := storetest.Owner(t, s.DB)
	tamper := func(sql string) {
		t.Helper()
		if _, err := owner.Exec(t.Context(), sql); err != nil {
			t.Fatal(err)
		}
	}
	tamper(`UPDATE certificate SET content = replace(content, 'TH-0002', 'TH-0009'), content_hash = encode(sha256(convert_to(replace(content, 'TH-0002', 'TH-0009'), 'UTF8')), 'hex') WHERE number = '` + second.Number + `'`)
	if words := faults(); !strings.Contains(words, "Certificate "+second.Number) {
		t.Errorf("a changed certificate: %q", words)
	}
	if _, _, whole, err := s.DB.CertificateByNumber(t.Context(), s.Site.ID, second.Number); whole || err != nil {
		t.Errorf("its page calls it whole: %v, %v", whole, err)
	}
	tamper(`DELETE FROM certificate_part; DELETE FROM certificate_record; DELETE FROM certificate WHERE number = '` + first.Number + `'`)
	if words := faults(); !strings.Contains(words, "Before certificate "+second.Number+" a number is missing") {
		t.Errorf("a certificate that is gone: %q", words)
	}
	tamper(`UPDATE shipment_return SET reason = 'Something else.'`)
	if words := faults(); !strings.Contains(words, "The taking back of part TH-0003") {
		t.Errorf("a changed return: %q", words)
	}
	// The server itself may do none of this, and no statement gets in beside its hash.
	if _, err := owner.Exec(t.Context(), `SET ROLE coatbook_app; UPDATE certificate SET content = ''`); err == nil {
		t.Error("the server's role changed a certificate")
	}
}
