package web

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"coatbook/store/storetest"
)

func TestOvenThatLostABurnerIsFoundFromItsProfile(t *testing.T) {
	t.Parallel()
	shop := storetest.NewShop(t)
	shop.DB.Clock = time.Now
	shop.Now = time.Now()
	b := newBrowser(t, shop.DB)
	b.enrolAndSignOn(shop)
	good, cold := bakeable(t, shop), bakeable(t, shop)
	dir := t.TempDir()
	file := func(name string, low float64) string {
		path := filepath.Join(dir, name)
		var text strings.Builder
		text.WriteString("time_s,top_c,bottom_c,air_c\n")
		for at := 0; at <= 2400; at += 10 {
			minute := float64(at) / 60
			shape := min(minute/10, 1)
			if minute > 30 {
				shape = max(1-(minute-30)/10, 0)
			}
			fmt.Fprintf(&text, "%d,%.1f,%.1f,%.1f\n", at, 25+(200-25)*shape, 25+(low-25)*shape, 60+145*min(minute/4, 1))
		}
		if err := os.WriteFile(path, []byte(text.String()), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	take := func(load, path string) {
		t.Helper()
		b.open("/loads/" + load)
		b.press("Take the cure run from a logger's file")
		b.wait("#file")
		b.do(chromedp.SetUploadFiles("#file", []string{path}))
		b.press("Look at the file")
		b.wait(".profile svg")
	}
	take(good, file("good.csv", 198))
	b.fill("Place on the load", "top rail")
	b.fill("Oven set point", "205")
	b.until("the verdict on the even oven", `document.querySelector('[data-preview]')?.innerText.toLowerCase().includes('pass')`)
	b.save()
	b.sees("pass")
	// The lower burner is out: the bottom of the rack never gets there, while the top and the air look as always.
	take(cold, file("cold.csv", 181))
	b.sees("peak 181 °C, 0 min at or over 190 °C")
	b.picture("oven-profile")
	for _, g := range glasses {
		b.show(g)
		if wide := b.eval(overflow); wide != "" {
			t.Errorf("the profile at %s %s", g, wide)
		}
	}
	b.show(glasses[0])
	b.fill("Oven set point", "205")
	b.save()
	b.sees("fail", "On hold: H-")
	b.open("/day")
	b.sees("The last load of Oven 1 failed its cure", "coldest metal 181 °C")
	b.press("The last load of Oven 1 failed its cure")
	b.wait(".profile svg")
	b.sees("bottom_c", "181", "is under 190 °C")
}
