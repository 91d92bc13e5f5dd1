package static

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"math"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

func TestVendoredFilesAreTheOnesChecksummed(t *testing.T) {
	list, err := files.ReadFile("vendor/CHECKSUMS")
	if err != nil {
		t.Fatal(err)
	}
	lines := 0
	for scan := bufio.NewScanner(bytes.NewReader(list)); scan.Scan(); lines++ {
		want, name, _ := strings.Cut(scan.Text(), "  ")
		path := "vendor/" + name
		if after, inFonts := strings.CutPrefix(name, "../"); inFonts {
			path = after
		}
		body, err := files.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if sum := sha256.Sum256(body); hex.EncodeToString(sum[:]) != want {
			t.Errorf("%s is not the file whose checksum is on record", path)
		}
	}
	if lines != 4 {
		t.Errorf("%d files are checksummed, want two scripts and two fonts", lines)
	}
}

func TestAddressesChangeWithTheContentAndMayBeKept(t *testing.T) {
	w := httptest.NewRecorder()
	Handler().ServeHTTP(w, httptest.NewRequest(http.MethodGet, Path("coatbook.css"), nil))
	if w.Code != http.StatusOK || !strings.Contains(w.Header().Get("Cache-Control"), "immutable") {
		t.Errorf("today's address: %d %q", w.Code, w.Header().Get("Cache-Control"))
	}
	w = httptest.NewRecorder()
	Handler().ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/static/000000000000/coatbook.css", nil))
	if w.Code != http.StatusOK || w.Header().Get("Cache-Control") != "no-cache" {
		t.Errorf("an older page's address: %d %q", w.Code, w.Header().Get("Cache-Control"))
	}
	for _, path := range []string{"/static/", "/static/x/", "/static/x/fonts/", "/static/x/../embed.go", "/static/x/none.css"} {
		w = httptest.NewRecorder()
		Handler().ServeHTTP(w, httptest.NewRequest(http.MethodGet, path, nil))
		if w.Code == http.StatusOK {
			t.Errorf("%s was answered", path)
		}
	}
}

// tokens reads the colours of one theme from the style sheet; a theme keeps what it does not set.
func tokens(t *testing.T, selector string) map[string]string {
	t.Helper()
	css, err := files.ReadFile("coatbook.css")
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]string{}
	for _, s := range []string{":root", selector} {
		block := regexp.MustCompile(`(?s)(?:^|\n)` + regexp.QuoteMeta(s) + ` \{(.*?)\n\}`).FindSubmatch(css)
		if block == nil {
			t.Fatalf("no block %s in coatbook.css", s)
		}
		for _, m := range regexp.MustCompile(`--([a-z-]+): (#[0-9a-f]{6});`).FindAllSubmatch(block[1], -1) {
			found[string(m[1])] = string(m[2])
		}
	}
	return found
}

// contrast is the ratio of WCAG 2.2 (relative luminance, sRGB).
func contrast(a, b string) float64 {
	la, lb := luminance(a), luminance(b)
	return (math.Max(la, lb) + 0.05) / (math.Min(la, lb) + 0.05)
}

func luminance(hexColour string) float64 {
	sum := 0.0
	for i, weight := range []float64{0.2126, 0.7152, 0.0722} {
		n, _ := strconv.ParseUint(hexColour[1+2*i:3+2*i], 16, 8)
		c := float64(n) / 255
		if c <= 0.04045 {
			c /= 12.92
		} else {
			c = math.Pow((c+0.055)/1.055, 2.4)
		}
		sum += weight * c
	}
	return sum
}

func TestContrastKnowsBlackOnWhite(t *testing.T) {
	if got := contrast("#000000", "#ffffff"); math.Abs(got-21) > 1e-9 {
		t.Errorf("black on white is %v, want 21 (WCAG 2.2, by definition)", got)
	}
}

func TestEveryThemeIsReadable(t *testing.T) {
	text := []string{"ink", "ink-soft", "accent", "pass", "fail", "hold", "none"}
	for theme, least := range map[string]float64{":root": 4.5, ":root.theme-dark": 4.5, ":root.theme-glare": 7} {
		c := tokens(t, theme)
		pairs := [][2]string{{"accent-ink", "accent"}, {"band-ink", "band"}, {"band-soft", "band"}, {"band-good", "band"}, {"band-bad", "band"}, {"band-ink", "band-well"},
			{"pass", "pass-tint"}, {"fail", "fail-tint"}, {"hold", "hold-tint"}, {"ink", "fail-tint"}, {"ink", "hold-tint"}, {"ink", "accent-tint"}, {"on-mark", "pass"}, {"on-mark", "fail"}}
		for _, front := range text {
			for _, ground := range []string{"ground", "sheet", "well"} {
				pairs = append(pairs, [2]string{front, ground})
			}
		}
		for _, p := range pairs {
			if got := contrast(c[p[0]], c[p[1]]); got < least {
				t.Errorf("%s: %s on %s is %.2f:1, want %.1f:1", theme, p[0], p[1], got, least)
			}
		}
		for _, ground := range []string{"ground", "sheet", "well"} {
			if got := contrast(c["rule-strong"], c[ground]); got < 3 {
				t.Errorf("%s: the edge of a box on %s is %.2f:1, want 3:1", theme, ground, got)
			}
		}
	}
}
