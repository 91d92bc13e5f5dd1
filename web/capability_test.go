package web

import (
	"fmt"
	"math/rand/v2"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"coatbook/quality"
	"coatbook/store"
)

// steadyFilm measures n parts about 85 µm from a fixed seed.
func (d *desk) steadyFilm(n int) {
	d.t.Helper()
	r := rand.New(rand.NewPCG(7, 7))
	parts := d.Ready(n, 0)
	d.Verify(0)
	for _, p := range parts {
		level := 85 + 3*r.NormFloat64()
		var readings []string
		for range 5 {
			readings = append(readings, fmt.Sprintf("%.1f", level+2*r.NormFloat64()))
		}
		d.Film(p, readings...)
	}
}

func TestCapabilityStandsWithEverythingThatBelongsToIt(t *testing.T) {
	d := newDesk(t)
	d.steadyFilm(30)
	for _, path := range []string{"/charts/film?date=2026-11-24", "/charts/film?date=2026-11-24&chart=xbar-s", "/day"} {
		page := d.get(path, http.StatusOK)
		contains(t, page, "pk ", "at least, with 95 % confidence", "150 readings of 30 film checks", "each part a subgroup of 5", "none is left out", "Period", "60 to 120 µm, PC-60 rev A",
			"Mean", "short-term", "overall", "Method", "Stability", "Anderson-Darling", "List 30 film checks")
		estimate := regexp.MustCompile(`pk <b class="num">(-?\d+\.\d\d)</b>`).FindStringSubmatch(page)
		bound := regexp.MustCompile(`confidence <b class="num">(-?\d+\.\d\d)</b>`).FindStringSubmatch(page)
		if estimate == nil || bound == nil {
			t.Fatalf("%s: the estimate and its bound are not set alike", path)
		}
		if e, _ := strconv.ParseFloat(estimate[1], 64); e <= 0 {
			t.Errorf("%s: estimate %s", path, estimate[1])
		}
		if n := strings.Count(page, `class="c-point`); n != 60 {
			t.Errorf("%s: %d points, want 30 on either chart", path, n)
		}
	}
}

func TestCapabilityIsWithheldBelow25Parts(t *testing.T) {
	d := newDesk(t)
	d.steadyFilm(24)
	page := d.get("/charts/film?date=2026-11-24", http.StatusOK)
	contains(t, page, "No capability figure.", "25", "The readings lie between")
	if strings.Contains(textOf(page), "pk ") && regexp.MustCompile(`[CP]pk <b`).MatchString(page) {
		t.Error("an index is shown from 24 parts")
	}
}

func TestFilmShowsInTheReadersUnit(t *testing.T) {
	d := newDesk(t)
	d.steadyFilm(3)
	mil := "mil"
	d.unit = &mil
	contains(t, d.get("/charts/film?date=2026-11-24", http.StatusOK), "Mean of a part's readings, mil", "minimum 2.36 mil")
}

func TestPartsJudgedByDifferentLimitsShareNoChart(t *testing.T) {
	d := newDesk(t)
	d.steadyFilm(3)
	ctx := t.Context()
	spec, err := d.Spec.Spec()
	if err != nil {
		t.Fatal(err)
	}
	limits := *spec.Film
	limits.Limits = quality.Between(55, 110, quality.Micrometre)
	spec.Film = &limits
	other, err := d.DB.AddSpec(ctx, d.Everyone, "PC-40", "Indoors", "A", spec)
	if err == nil {
		err = d.DB.ApproveSpec(ctx, d.Everyone, other.ID, d.Proof(d.Everyone))
	}
	if err != nil {
		t.Fatal(err)
	}
	if d.PartNumber, err = d.DB.AddPartNumber(ctx, d.Everyone, store.PartNumber{Code: "BR-1", Name: "Bracket", SpecID: other.SpecID, Alloy: "6060", BaseForm: "sheet", WallMM: 3, Welds: 1, Sketch: "bracket"}); err != nil {
		t.Fatal(err)
	}
	for _, p := range d.Ready(2, 0) {
		d.Film(p, "70", "71", "72", "73", "74")
	}
	contains(t, d.get("/charts/film?date=2026-11-24", http.StatusOK), "3 film checks", "Judged by other limits, so not on this chart: PC-40 rev A, 55 to 110 µm (2 film checks)")
	contains(t, d.get("/charts/film?date=2026-11-24&spec=PC-40", http.StatusOK), "2 film checks", "PC-40 rev A")
	contains(t, d.get("/day", http.StatusOK), "3 film checks", "Judged by other limits, so not on this chart: PC-40 rev A: 2 film checks")
}

func TestTrendNeedsDaysAndASteadySlope(t *testing.T) {
	day := time.Date(2026, 11, 1, 0, 0, 0, 0, time.UTC)
	series := func(values ...float64) (points []dayValue) {
		for i, v := range values {
			points = append(points, dayValue{day.AddDate(0, 0, i), v})
		}
		return points
	}
	for name, tt := range map[string]struct {
		points []dayValue
		want   bool
	}{
		"four days":   {series(1, 2, 3, 4), false},
		"steady rise": {series(4.1, 4.22, 4.3, 4.41, 4.5, 4.62), true},
		"noise":       {series(4.1, 4.4, 4.0, 4.5, 4.2, 4.1), false},
		"flat":        {series(4, 4, 4, 4, 4), false},
	} {
		if _, ok := trendOf(tt.points); ok != tt.want {
			t.Errorf("%s: trend %v, want %v", name, ok, tt.want)
		}
	}
	// By hand: a line of slope 0.1 a day through 4.0; 5.0 is 6 days after the fifth point's 4.4.
	tr, ok := trendOf(series(4, 4.1, 4.2, 4.3, 4.4))
	limit, days, toLimit := tr.soonest(quality.Between(3.8, 5, quality.PH), quality.PH)
	if !ok || !toLimit || limit != 5 || days < 5.99 || days > 6.01 {
		t.Errorf("got %+v, limit %v in %v days, want 5 in 6", tr, limit, days)
	}
}
