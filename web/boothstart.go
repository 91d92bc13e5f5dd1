package web

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/web/page"
	"coatbook/web/ui"
)

// The ratings of a booth's start-up. They stand on the first coating run of a shift in that booth.
const (
	ratingFan       = "booth_fan"
	ratingInterlock = "booth_interlock"
	ratingMeter     = "earth_meter"
	ratingReady     = "booth_ready"
)

// startedBooths are the names of the booths that had a coating run this shift, whose start-up is therefore on record.
func (s *Server) startedBooths(ctx context.Context, v *visit) ([]string, error) {
	day, shift := v.site.ShopDay(s.store.Clock())
	runs, err := s.store.FirstRecords(ctx, v.site.ID, store.OneDay(day, shift), quality.Coating, "")
	if err != nil || len(runs) == 0 {
		return nil, err
	}
	ids := make([]uuid.UUID, len(runs))
	for i, r := range runs {
		ids[i] = r.RecordID
	}
	uses, err := s.store.UsesOf(ctx, v.site.ID, ids)
	var names []string
	for _, u := range uses {
		if u.Role == "booth" {
			names = append(names, u.Name)
		}
	}
	return names, err
}

// starts reports whether a run in this booth is its first of the shift.
func (sh *sheet) starts(booth uuid.UUID) bool {
	i := slices.IndexFunc(sh.form.Booths, func(b store.Station) bool { return b.ID == booth })
	return i >= 0 && !slices.Contains(sh.started, sh.form.Booths[i].Name)
}

// readStart reads the start-up of a booth. One that is not ready keeps the run out: nothing is sprayed in it before it is.
func (sh *sheet) readStart(check *quality.Check) {
	meter := strings.TrimSpace(sh.Values.Get(ratingMeter))
	if n := len([]rune(meter)); n < 2 || n > 80 {
		sh.Say(ratingMeter, "Measured with: name the meter, 2 to 80 characters, as on its label.")
	}
	for _, q := range boothQuestions {
		switch sh.Values.Get(q.name) {
		case q.good:
		case q.bad:
			sh.Say(q.name, fmt.Sprintf("The booth is not ready: %s. Do not spray in it; have it put right, check again and then record the run.", q.words))
		default:
			sh.Say(q.name, q.missing)
		}
		check.Ratings = append(check.Ratings, quality.Rating{Characteristic: q.name, Code: sh.Values.Get(q.name)})
	}
	check.Ratings = append(check.Ratings, quality.Rating{Characteristic: ratingMeter, Code: meter}, quality.Rating{Characteristic: ratingReady, Code: "yes"})
	limits := sh.coatingLimits("ground_resistance")
	for _, r := range check.Of("ground_resistance") {
		value, err := r.In(quality.Megohm)
		high := limits.High
		if err != nil || high == nil {
			continue
		}
		if limit, err := high.In(quality.Megohm); err == nil && value > limit {
			sh.Say("ground_resistance", fmt.Sprintf("The booth is not ready: the hanger has %s MΩ to earth, %s is permitted. Do not spray; clean the contacts, measure again and then record the run.", r.Text, limits))
		}
	}
}

// boothQuestions are what is looked at before the first run.
var boothQuestions = []struct{ name, legend, good, goodWords, bad, badWords, words, missing string }{
	{ratingFan, "Exhaust fan", "running", "Running", "stopped", "Not running", "the exhaust fan is not running", "Exhaust fan: say whether it runs."},
	{ratingInterlock, "Interlock of fan and powder", "proved", "Works", "failed", "Does not work", "the interlock does not work", "Interlock: say whether it works."},
}

// startView is the start-up as the page asks for it; nil where it is on record.
func (sh *sheet) startView(booth uuid.UUID, known bool) *page.BoothStart {
	if known && !sh.starts(booth) || len(sh.form.Booths) == 0 {
		return nil
	}
	v := &page.BoothStart{Meter: ui.TextField{Name: ratingMeter, Label: "Resistance measured with", Hint: "the meter's label", Value: sh.Values.Get(ratingMeter), Problem: sh.Wrong[ratingMeter]}}
	for _, q := range boothQuestions {
		at := sh.Values.Get(q.name)
		v.Questions = append(v.Questions, page.BoothQuestion{Name: q.name, Legend: q.legend, Problem: sh.Wrong[q.name],
			Choices: []ui.Choice{{Value: q.good, Label: q.goodWords, Chosen: at == q.good}, {Value: q.bad, Label: q.badWords, Chosen: at == q.bad}}})
	}
	if len(sh.started) > 0 {
		v.Done = "On record this shift: " + strings.Join(sh.started, ", ") + "."
	}
	return v
}
