package store

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"strings"
	"unicode/utf8"

	"github.com/alexedwards/argon2id"
	"github.com/google/uuid"
)

// hashSettings is the floor of OWASP's password storage sheet: 19 MiB, 2 passes, 1 lane. Raising it re-hashes at the next
// sign-on.
var hashSettings = &argon2id.Params{Memory: 19 * 1024, Iterations: 2, Parallelism: 1, SaltLength: 16, KeyLength: 32}

// hashing bounds how many hashes are computed at once, because each takes 19 MiB.
var hashing = make(chan struct{}, 4)

func hashSecret(secret string) (string, error) {
	hashing <- struct{}{}
	defer func() { <-hashing }()
	return argon2id.CreateHash(secret, hashSettings)
}

// checkSecret reports whether the secret fits the hash, and whether the hash was made with weaker settings than today's.
func checkSecret(secret, hash string) (ok, stale bool) {
	if hash == "" {
		return false, false
	}
	hashing <- struct{}{}
	defer func() { <-hashing }()
	ok, params, err := argon2id.CheckHash(secret, hash)
	if err != nil || !ok {
		return false, false
	}
	return true, params.Memory < hashSettings.Memory || params.Iterations < hashSettings.Iterations
}

// newToken returns 256 random bits as text, for links, tablets and badges.
func newToken() string {
	b := make([]byte, 32)
	// crypto/rand.Read never returns an error since Go 1.24; it ends the program instead.
	_, _ = rand.Read(b)
	return base64.RawURLEncoding.EncodeToString(b)
}

// newSiteToken returns a random token that names its site, so that looking it up names the site as every query does.
func newSiteToken(site uuid.UUID) string { return site.String() + "." + newToken() }

// splitToken returns the site of a token and the hash it is stored under. A malformed token belongs to no site.
func splitToken(token string) (site uuid.UUID, hash string) {
	head, _, _ := strings.Cut(token, ".")
	site, err := uuid.Parse(head)
	if err != nil {
		return uuid.Nil, ""
	}
	return site, hashToken(token)
}

// hashToken hashes a random token for storage. A plain hash is enough for 256 random bits.
func hashToken(token string) string {
	sum := sha256.Sum256([]byte(token))
	return hex.EncodeToString(sum[:])
}

// The lengths of secrets: a password that stands alone has 15 characters or more (NIST SP 800-63B-4); with a second factor
// 8 are enough, but one rule for all is easier to remember. A PIN has 6 digits and works on an enrolled tablet only.
const (
	minPassword = 15
	maxPassword = 128
	pinDigits   = 6
)

// commonPasswords are refused although they are long enough: what people type when made to type fifteen characters. Any
// password that repeats a short piece is refused by rule instead.
var commonPasswords = []string{
	"passwordpassword", "password1234567", "123456789012345", "1234567890123456", "qwertyuiopasdfgh", "qwertyuiop12345",
	"iloveyouiloveyou", "correcthorsebatterystaple", "adminadminadmin", "letmeinletmeinletmein", "welcome12345678",
	"thequickbrownfox", "abcdefghijklmno", "abcdefghijklmnop", "changemechangeme", "administrator123", "administrator1234",
}

// CheckPassword returns a sentence that says why a password is refused, or "".
func CheckPassword(password string) string {
	n := utf8.RuneCountInString(password)
	lower := strings.ToLower(password)
	switch {
	case n < minPassword:
		return fmt.Sprintf("The password has %d characters; it needs %d or more. A short sentence is easy to remember.", n, minPassword)
	case n > maxPassword:
		return fmt.Sprintf("The password is longer than %d characters.", maxPassword)
	case repeats(lower):
		return "The password repeats a short piece. Use different words."
	case strings.Contains(lower, "coatbook"):
		return "The password contains the name of this program. Use other words."
	}
	for _, common := range commonPasswords {
		if lower == common {
			return "That password is on the list of common ones. Use other words."
		}
	}
	return ""
}

// repeats reports whether s is a piece of up to six bytes over and over.
func repeats(s string) bool {
	for size := 1; size <= 6 && size < len(s); size++ {
		if strings.HasPrefix(s, s[:size]) && strings.TrimRight(strings.Repeat(s[:size], len(s)/size+1)[:len(s)], "") == s {
			return true
		}
	}
	return false
}

// CheckPIN returns a sentence that says why a PIN is refused, or "".
func CheckPIN(pin string) string {
	if len(pin) != pinDigits || strings.Trim(pin, "0123456789") != "" {
		return fmt.Sprintf("The PIN has %d digits.", pinDigits)
	}
	if repeats(pin) || strings.Contains("01234567890", pin) || strings.Contains("09876543210", pin) {
		return "That PIN is too easy to guess. Use six digits that do not repeat or count."
	}
	return ""
}
