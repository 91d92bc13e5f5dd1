package demoshop

import (
	"context"
	"fmt"
	"time"

	"coatbook/quality"
	"coatbook/store"
)

// articleDay is the shop day on which the first gate post goes through as first article. Its sister with another foot has
// come in beside it, and waits for one.
const articleDay = Days - 3

// newPosts puts the gate posts into the register: their spec asks for a first article, and the drawing for a bore.
func (s *Shop) newPosts(ctx context.Context, _ time.Time) error {
	engineer := s.People["nadia"]
	rev, err := s.DB.AddSpec(ctx, engineer, "PC-65", "Gate posts, first article before the series", "A", quality.FinishSpec{Version: quality.SpecVersion, MaxCycles: 2,
		Coating: &quality.CoatingSpec{Humidity: quality.Between(30, 65, quality.Percent)}, Cure: &quality.CureSpec{ScheduleC: 190, Channels: 1},
		Film:         &quality.FilmSpec{Rule: quality.Areas80, Spots: 5, ReadingsPerSpot: 1, Limits: quality.Between(60, 120, quality.Micrometre)},
		FirstArticle: &quality.FirstArticleSpec{GapDays: 180}})
	if err != nil {
		return fmt.Errorf("spec PC-65: %w", err)
	}
	if err := s.DB.ApproveSpec(ctx, engineer, rev.ID, s.proofs["nadia"]); err != nil {
		return fmt.Errorf("approving PC-65: %w", err)
	}
	for _, code := range []string{"GP-14", "GP-16"} {
		post, err := s.DB.AddPartNumber(ctx, engineer, store.PartNumber{Code: code, Name: "Gate post", SpecID: rev.SpecID, Alloy: "6060 T66", BaseForm: "extrusion", WallMM: 3, Sketch: "post", Active: true})
		if err != nil {
			return fmt.Errorf("part number %s: %w", code, err)
		}
		s.posts = append(s.posts, post)
	}
	_, err = s.DB.AddDrawingList(ctx, engineer, s.posts[0].ID, 0, store.DrawingList{Drawing: "GP-14 issue 2", Requirements: []quality.DrawingRequirement{{Number: "7", Text: "Hinge bore 12.0 to 12.2 mm, free of powder"}}})
	return err
}

// firstPost brings one gate post through booth, oven and film check, records its first article and has it approved.
func (s *simulation) firstPost(ctx context.Context, day int, at time.Time) error {
	if day != articleDay || at.Add(4*time.Hour).After(s.now) {
		return nil
	}
	db, office, operator := s.DB.At(at), s.on("marek", "OFFICE"), s.on("mirela", "OVEN-1")
	job, err := db.AddJob(ctx, office, store.Job{Number: "24965", Customer: "Halden Balconies", OrderRef: "PO-5265", ReceivedAt: at})
	if err != nil {
		return err
	}
	if _, err := db.AddParts(ctx, office, job.ID, s.posts[1].ID, []string{"TH-P00011", "TH-P00012"}); err != nil {
		return err
	}
	parts, err := db.AddParts(ctx, office, job.ID, s.posts[0].ID, []string{"TH-P00001"})
	if err != nil {
		return err
	}
	article, err := db.NameFirstArticle(ctx, s.on("ilse", "FINAL-1"), parts[0])
	if err != nil {
		return err
	}
	rack, err := db.HangRack(ctx, operator, store.NewID(), "K902")
	if err != nil {
		return err
	}
	if err := db.HangParts(ctx, operator, rack.ID, parts); err != nil {
		return err
	}
	if err := s.finishPost(ctx, at, article, rack); err != nil {
		return fmt.Errorf("first article %s: %w", article.Number, err)
	}
	approval := s.DB.At(at.Add(4 * time.Hour))
	recorded, err := approval.FirstArticleByNumber(ctx, s.Site.ID, article.Number)
	if err != nil {
		return err
	}
	return approval.ApproveFirstArticle(ctx, s.on("nadia", "OFFICE"), article.Number, recorded.RecordID.UUID, s.proofs["nadia"])
}

// finishPost coats, bakes and measures the post, and records its first article by what was found.
func (s *simulation) finishPost(ctx context.Context, at time.Time, article store.FirstArticle, rack store.Rack) error {
	save := func(after time.Duration, who store.Actor, kind quality.Kind, on store.Subject, check quality.Check, uses ...store.Use) error {
		check.Kind = kind
		t := at.Add(after)
		saved, err := s.DB.At(t).Save(ctx, who, store.Entry{RecordID: store.NewID(), Kind: kind, Subject: on, ObservedAt: t.Add(-time.Minute), Check: check, Uses: uses})
		if err == nil && saved.Judgement.Verdict != quality.Pass {
			return fmt.Errorf("%s: %s", kind, saved.Judgement.Sentence())
		}
		return err
	}
	part := store.Subject{Kind: quality.OnPart, ID: article.PartID}
	lots := s.Products[0].lots
	if err := save(20*time.Minute, s.on("mirela", "BOOTH-1"), quality.Coating, store.Subject{Kind: quality.OnRack, ID: rack.ID},
		quality.Check{Readings: []quality.Reading{typed("humidity", "", 0, 0, 48, 0, quality.Percent)}}, store.Use{Role: "powder", ID: s.Lots[lots[len(lots)-1]]}, store.Use{Role: "booth", ID: s.Stations["BOOTH-1"]}); err != nil {
		return err
	}
	load, err := s.DB.At(at.Add(30*time.Minute)).OpenLoad(ctx, s.on("mirela", "OVEN-1"), store.NewID(), s.Stations["OVEN-1"])
	if err != nil {
		return err
	}
	if err := s.DB.At(at.Add(31*time.Minute)).AddRack(ctx, s.on("mirela", "OVEN-1"), load.ID, rack.ID); err != nil {
		return err
	}
	cured := []quality.Reading{typed("set_point", "", 0, 0, 205, 0, quality.Celsius), typed("oven_time", "", 0, 0, 30, 0, quality.Minute),
		typed("metal_peak", "post, foot plate", 1, 0, 199.5, 1, quality.Celsius), typed("metal_time", "post, foot plate", 1, 0, 14.5, 1, quality.Minute)}
	if err := save(75*time.Minute, s.on("mirela", "OVEN-1"), quality.Cure, store.Subject{Kind: quality.OnLoad, ID: load.ID}, quality.Check{Readings: cured}, store.Use{Role: "oven", ID: s.Stations["OVEN-1"]}); err != nil {
		return err
	}
	film := quality.Check{}
	for i, um := range []float64{81.4, 84.0, 79.8, 86.3, 83.1} {
		film.Readings = append(film.Readings, typed("film_thickness", "", i+1, 1, um, 1, quality.Micrometre))
	}
	if err := save(3*time.Hour, s.on("ilse", "FINAL-1"), quality.Film, part, film, store.Use{Role: "gauge", ID: s.Gauges["EC-07"].ID}); err != nil {
		return err
	}
	form, err := s.DB.At(at.Add(200*time.Minute)).ArticleFormOf(ctx, s.on("ilse", "FINAL-1"), article.PartID, true)
	if err != nil {
		return err
	}
	check := &quality.ArticleCheck{Full: true}
	for _, l := range form.Lines {
		line := quality.ArticleLine{Number: l.Number, Evidence: l.Found.Evidence}
		if line.Evidence == "" {
			line.Result, line.Device, line.Verdict = "12.1 mm, free", "plug gauge 12.0/12.2", quality.Pass
		}
		check.Lines = append(check.Lines, line)
	}
	return save(200*time.Minute, s.on("ilse", "FINAL-1"), quality.FirstArticle, part, quality.Check{Article: check})
}
