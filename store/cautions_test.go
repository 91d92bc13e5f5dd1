package store_test

import (
	"testing"
	"time"

	"coatbook/store"
	"coatbook/store/storetest"
)

func TestCautionIsStoredOncePerHazardPersonAndShift(t *testing.T) {
	s := storetest.NewShop(t)
	for range 50 {
		if err := s.DB.ReadCautions(t.Context(), s.Everyone, []string{"pretreatment", "fluoride"}, "en", time.Time{}); err != nil {
			t.Fatal(err)
		}
		s.Now = s.Now.Add(time.Minute)
	}
	read, err := s.DB.CautionsRead(t.Context(), s.Site, s.Everyone.Person, s.Now)
	if err != nil || len(read) != 2 || read[0].Hazard != "fluoride" || !read[0].At.Equal(time.Date(2026, 11, 24, 14, 0, 0, 0, time.UTC)) {
		t.Fatalf("read %+v, %v, want each hazard once, at the first time", read, err)
	}
	if got := verbs(t, s.DB, s.Everyone, s.Everyone.Person); count(got, "cautions read") != 1 {
		t.Errorf("events %v, want one", got)
	}
	other := s.AddPerson("Teo Brandt", "teo", store.Inspector)
	if read, err := s.DB.CautionsRead(t.Context(), s.Site, other.Person, s.Now); err != nil || len(read) != 0 {
		t.Errorf("another person has read %+v, %v, want nothing", read, err)
	}
	if read, err := s.DB.CautionsRead(t.Context(), s.Site, s.Everyone.Person, s.Now.Add(24*time.Hour)); err != nil || len(read) != 0 {
		t.Errorf("the next day %+v, %v, want to be asked again", read, err)
	}
	refusedBy(t, s.DB.ReadCautions(t.Context(), s.Everyone, []string{"weld"}, "fr", time.Time{}), "caution_acknowledgement_language_known")
}

func count(words []string, word string) (n int) {
	for _, w := range words {
		if w == word {
			n++
		}
	}
	return n
}

func TestSheetIsMissingOrOldBeforeItIsOk(t *testing.T) {
	day := time.Date(2026, 11, 24, 0, 0, 0, 0, time.UTC)
	issued := func(y int) *time.Time { return ptr(time.Date(y, 11, 24, 0, 0, 0, 0, time.UTC)) }
	for name, c := range map[string]struct {
		m    store.Material
		want string
	}{
		"no link":                  {store.Material{Kind: store.Solvent, SheetPaperAt: "Wash bay", SheetIssuedOn: issued(2026)}, "missing"},
		"no paper copy":            {store.Material{Kind: store.Solvent, SheetLink: "/files/1", SheetIssuedOn: issued(2026)}, "missing"},
		"five years to the day":    {store.Material{Kind: store.Solvent, SheetLink: "/files/1", SheetPaperAt: "Wash bay", SheetIssuedOn: issued(2021)}, "ok"},
		"a day over five years":    {store.Material{Kind: store.Solvent, SheetLink: "/files/1", SheetPaperAt: "Wash bay", SheetIssuedOn: ptr(issued(2021).AddDate(0, 0, -1))}, "old"},
		"aluminium is an article":  {store.Material{Kind: store.Heat}, "none"},
		"powder without any sheet": {store.Material{Kind: store.Powder}, "missing"},
	} {
		c.m.Active = true
		if got := c.m.SheetStanding(day); got != c.want {
			t.Errorf("%s: %s, want %s", name, got, c.want)
		}
	}
}

func TestReviewOfCautionsIsKeptWithItsDay(t *testing.T) {
	s := storetest.NewShop(t)
	_, err := s.DB.LastCautionReview(t.Context(), s.Site.ID)
	notFound(t, err)
	r := store.CautionReview{TextHash: "ab12", Reviewer: "Ines Coll", Qualification: "industrial hygienist", ReviewedOn: day(t, "2026-11-20")}
	if err := s.DB.AddCautionReview(t.Context(), s.Everyone, r); err != nil {
		t.Fatal(err)
	}
	got, err := s.DB.LastCautionReview(t.Context(), s.Site.ID)
	if err != nil || got.Reviewer != r.Reviewer || !got.ReviewedOn.Equal(r.ReviewedOn) || got.RecordedBy != s.Everyone.Name || got.TextHash != "ab12" {
		t.Errorf("got %+v, %v, want %+v", got, err, r)
	}
	r.ReviewedOn = day(t, "2026-11-25")
	refusedBy(t, s.DB.AddCautionReview(t.Context(), s.Everyone, r), store.RuleFuture)
	r.ReviewedOn, r.Reviewer = day(t, "2026-11-20"), " "
	refusedBy(t, s.DB.AddCautionReview(t.Context(), s.Everyone, r), "caution_review_reviewer_present")
}
