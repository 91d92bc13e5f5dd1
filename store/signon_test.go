package store_test

import (
	"strings"
	"testing"
	"time"

	"github.com/pquerna/otp/totp"

	"coatbook/store"
	"coatbook/store/storetest"
)

func enrolled(t *testing.T, s *storetest.Shop) (store.Device, string) {
	t.Helper()
	_, secret, err := s.DB.AddDevice(t.Context(), s.Everyone, store.NewDevice{Name: "Final bench", LocationClass: "unclassified"})
	if err != nil {
		t.Fatal(err)
	}
	credential, err := s.DB.Enrol(t.Context(), secret, "unclassified", 132)
	if err != nil {
		t.Fatal(err)
	}
	d, err := s.DB.DeviceByCredential(t.Context(), credential)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.DB.Enrol(t.Context(), secret, "unclassified", 132); err == nil {
		t.Error("an enrolment link worked twice")
	}
	return d, credential
}

func TestWrongPINsSlowDownThenLockOnlyThatPerson(t *testing.T) {
	s := storetest.NewShop(t)
	d, _ := enrolled(t, s)
	other := s.AddPerson("Ilse Brandt", "ilse", store.Inspector)
	for range 3 {
		_, err := s.DB.SignOnByPIN(t.Context(), d, s.Everyone.Person, "111222")
		refusedBy(t, err, store.RuleWrongSecret)
	}
	_, err := s.DB.SignOnByPIN(t.Context(), d, s.Everyone.Person, "111222")
	refusedBy(t, err, store.RuleWrongSecret)
	_, err = s.DB.SignOnByPIN(t.Context(), d, s.Everyone.Person, storetest.PIN)
	if sentence := refusedBy(t, err, store.RuleLocked); !strings.Contains(sentence, "seconds") {
		t.Errorf("fourth wrong PIN: %s", sentence)
	}
	for range 10 {
		s.Now = s.Now.Add(5 * time.Minute)
		_, _ = s.DB.SignOnByPIN(t.Context(), d, s.Everyone.Person, "111222")
	}
	s.Now = s.Now.Add(24 * time.Hour)
	_, err = s.DB.SignOnByPIN(t.Context(), d, s.Everyone.Person, storetest.PIN)
	refusedBy(t, err, store.RuleLocked)
	if _, err := s.DB.SignOnByPIN(t.Context(), d, other.Person, storetest.PIN); err != nil {
		t.Errorf("somebody else is locked out too: %v", err)
	}
	if err := s.DB.Unlock(t.Context(), s.Everyone, s.Everyone.Person); err != nil {
		t.Fatal(err)
	}
	if _, err := s.DB.SignOnByPIN(t.Context(), d, s.Everyone.Person, storetest.PIN); err != nil {
		t.Errorf("after unlocking: %v", err)
	}
}

func TestRevokedTabletIsWorthNothing(t *testing.T) {
	s := storetest.NewShop(t)
	d, credential := enrolled(t, s)
	if err := s.DB.RevokeDevice(t.Context(), s.Everyone, d.ID, "Lost at the loading dock"); err != nil {
		t.Fatal(err)
	}
	if _, err := s.DB.DeviceByCredential(t.Context(), credential); err == nil {
		t.Error("the credential of a revoked tablet still works")
	}
}

func TestApproverNeedsPasswordAndCodeAndNoCodeWorksTwice(t *testing.T) {
	s := storetest.NewShop(t)
	secret, err := s.DB.Invite(t.Context(), s.Everyone, s.Everyone.Person)
	if err != nil {
		t.Fatal(err)
	}
	key, err := store.NewCodeSecret("Tern Hollow Metalworks", "maren")
	if err != nil {
		t.Fatal(err)
	}
	const password = "rail frames dry on tuesday"
	_, err = s.DB.Accept(t.Context(), secret, "", password, key, "000000")
	refusedBy(t, err, store.RuleSecondFactor)
	code, err := totp.GenerateCode(key, s.Now)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.DB.Accept(t.Context(), secret, "", password, key, code); err != nil {
		t.Fatal(err)
	}
	_, err = s.DB.Accept(t.Context(), secret, "", password, key, code)
	refusedBy(t, err, store.RuleInvitationExpired)
	_, err = s.DB.SignOnByPassword(t.Context(), s.Site.ID, "maren", password, "")
	refusedBy(t, err, store.RuleWrongSecret)
	if _, err := s.DB.SignOnByPassword(t.Context(), s.Site.ID, "maren", password, code); err != nil {
		t.Fatalf("password and code: %v", err)
	}
	_, err = s.DB.SignOnByPassword(t.Context(), s.Site.ID, "maren", password, code)
	refusedBy(t, err, store.RuleWrongSecret)
}

func TestSecretsAreStoredWithArgon2idAndWeakOnesRefused(t *testing.T) {
	s := storetest.NewShop(t)
	var hash string
	if err := storetest.Owner(t, s.DB).QueryRow(t.Context(), "SELECT pin_hash FROM person LIMIT 1").Scan(&hash); err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(hash, "$argon2id$v=19$m=19456,t=2,p=1$") {
		t.Errorf("PIN hash %q is not at the floor of 19 MiB, 2 passes, 1 lane", hash)
	}
	for password, ok := range map[string]bool{
		"": false, "short": false, "fourteen chars": false, "fifteen chars !": true, "aaaaaaaaaaaaaaaa": false, "passwordpassword": false, "Coatbook is great": false,
		"rail frames dry on tuesday": true, "größe und höhe passen": true, "123456789012345": false, strings.Repeat("long words ", 13): false, "abcabcabcabcabcabc": false,
	} {
		if got := store.CheckPassword(password) == ""; got != ok {
			t.Errorf("password %q accepted: %v, want %v", password, got, ok)
		}
	}
	for pin, ok := range map[string]bool{"594713": true, "123456": false, "111111": false, "121212": false, "98765": false, "59471a": false, "": false, "987654": false} {
		if got := store.CheckPIN(pin) == ""; got != ok {
			t.Errorf("PIN %q accepted: %v, want %v", pin, got, ok)
		}
	}
}

func TestNamesAreNeverReused(t *testing.T) {
	s := storetest.NewShop(t)
	if err := s.DB.ChangePerson(t.Context(), s.Everyone, s.Everyone.Person, s.Everyone.Roles, "en", "", false); err != nil {
		t.Fatal(err)
	}
	_, err := s.DB.AddPerson(t.Context(), store.Actor{Site: s.Site.ID}, store.NewPerson{Name: "Another", SignOnName: "maren", Roles: []string{store.Inspector}})
	refusedBy(t, err, "person_sign_on_name_unique")
}

func TestShopDayBelongsToTheShiftThatBeganIt(t *testing.T) {
	s := storetest.NewShop(t)
	zone := s.Site.Location()
	for _, c := range []struct{ at, day, shift string }{
		{"2026-11-24 06:00", "2026-11-24", "Early"}, {"2026-11-24 05:59", "2026-11-23", "Night"}, {"2026-11-24 14:00", "2026-11-24", "Late"},
		{"2026-11-24 23:30", "2026-11-24", "Night"}, {"2026-11-25 01:30", "2026-11-24", "Night"},
	} {
		at, err := time.ParseInLocation("2006-01-02 15:04", c.at, zone)
		if err != nil {
			t.Fatal(err)
		}
		day, shift := s.Site.ShopDay(at)
		if day.Format(time.DateOnly) != c.day || shift != c.shift {
			t.Errorf("%s belongs to %s %s, want %s %s", c.at, day.Format(time.DateOnly), shift, c.day, c.shift)
		}
	}
}
