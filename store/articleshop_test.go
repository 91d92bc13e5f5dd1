package store_test

import (
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

// An articleShop is a shop whose spec asks for first articles, with somebody to approve what Everyone recorded.
type articleShop struct {
	*storetest.Shop
	t        *testing.T
	approver store.Actor
}

func newArticleShop(t *testing.T, gapDays int) *articleShop {
	t.Helper()
	s := &articleShop{Shop: storetest.NewShop(t), t: t}
	s.approver = s.AddPerson("Ada Lindqvist", "ada", store.Engineer)
	if _, err := s.DB.AddPlan(t.Context(), s.Everyone, s.PartNumber.ID, store.Plan{ReadingsPerSpot: 1, Spots: []store.Spot{{Area: "A", Place: "top"}, {Area: "A", Place: "side"},
		{Area: "A", Place: "back"}, {Area: "B", Place: "foot"}, {Area: "B", Place: "rail"}}}); err != nil {
		t.Fatal(err)
	}
	s.revise("B", func(spec *quality.FinishSpec) { spec.FirstArticle = &quality.FirstArticleSpec{GapDays: gapDays} })
	return s
}

// revise approves the next revision of the shop's spec.
func (s *articleShop) revise(revision string, change func(*quality.FinishSpec)) {
	s.t.Helper()
	draft, err := s.DB.NewRevision(s.t.Context(), s.Everyone, s.Spec.Code, revision)
	if err != nil {
		s.t.Fatal(err)
	}
	spec, err := draft.Spec()
	if err != nil {
		s.t.Fatal(err)
	}
	change(&spec)
	if err := s.DB.SaveDraft(s.t.Context(), s.Everyone, draft.ID, spec); err != nil {
		s.t.Fatal(err)
	}
	if err := s.DB.ApproveSpec(s.t.Context(), s.Everyone, draft.ID, s.Proof(s.Everyone)); err != nil {
		s.t.Fatal(err)
	}
	s.Now = s.Now.Add(time.Second)
}

// powder adds another powder product with the window of the first, and returns a lot of it.
func (s *articleShop) powder(code, name string) store.MaterialLot {
	s.t.Helper()
	storage := 25.0
	p, err := s.DB.AddMaterial(s.t.Context(), s.Everyone, store.Material{Kind: store.Powder, Code: code, Name: name, Maker: "Invented Coatings", Colour: "grey", StorageMaxC: &storage},
		[]store.CurePoint{{MetalC: 180, MinutesMin: 12, MinutesMax: 30}, {MetalC: 210, MinutesMin: 8, MinutesMax: 20}})
	if err != nil {
		s.t.Fatal(err)
	}
	made, expires := s.Now.AddDate(0, -1, 0), s.Now.AddDate(1, 0, 0)
	lot, err := s.DB.AddMaterialLot(s.t.Context(), s.Everyone, store.MaterialLot{MaterialID: p.ID, LotNumber: code + "-1", MadeOn: &made, ReceivedOn: s.Now.AddDate(0, 0, -7), ExpiresOn: &expires, Quantity: 100})
	if err != nil {
		s.t.Fatal(err)
	}
	return lot
}

// washed are n new parts on a rack of their own, ready for powder.
func (s *articleShop) washed(n int) (parts []uuid.UUID, rack uuid.UUID) {
	s.t.Helper()
	parts, rack = s.Parts(n), store.NewID()
	if _, err := s.DB.HangRack(s.t.Context(), s.Everyone, rack, "T"+strings.ToUpper(rack.String()[28:34])); err != nil {
		s.t.Fatal(err)
	}
	for _, p := range parts {
		s.Weld(p, quality.NoneFound)
	}
	if err := s.DB.HangParts(s.t.Context(), s.Everyone, rack, parts); err != nil {
		s.t.Fatal(err)
	}
	s.Save(quality.Pretreatment, quality.OnRack, rack, quality.Check{Readings: []quality.Reading{s.Reading("ph", "1-convert", 0, "4.6", quality.PH)}}, store.Use{Role: "bath", ID: s.Bath.ID})
	return parts, rack
}

// coat records a coating run and returns what the book said to it.
func (s *articleShop) coat(rack uuid.UUID, lot store.MaterialLot, booth int) error {
	s.Now = s.Now.Add(time.Second)
	_, err := s.DB.Save(s.t.Context(), s.Everyone, store.Entry{RecordID: store.NewID(), Kind: quality.Coating, Subject: store.Subject{Kind: quality.OnRack, ID: rack},
		Check: quality.Check{Readings: []quality.Reading{s.Reading("humidity", "", 0, "48", quality.Percent)}}, Uses: []store.Use{{Role: "powder", ID: lot.ID}, {Role: "booth", ID: s.Booths[booth].ID}}})
	return err
}

// throughWith takes one new part, named as first article, through powder, oven and the final bench.
func (s *articleShop) throughWith(lot store.MaterialLot) (uuid.UUID, store.FirstArticle) {
	s.t.Helper()
	parts, rack := s.washed(1)
	article, err := s.DB.NameFirstArticle(s.t.Context(), s.Everyone, parts[0])
	if err != nil {
		s.t.Fatal(err)
	}
	if err := s.coat(rack, lot, 0); err != nil {
		s.t.Fatal(err)
	}
	s.Bake([]uuid.UUID{rack}, "196")
	s.Verify(0)
	s.Finish(parts[0])
	s.Film(parts[0], "80", "84", "79", "90", "92")
	return parts[0], article
}

// record answers every line of a first article by the part's own records, and by hand where there is none.
func (s *articleShop) record(part uuid.UUID, whole bool, change ...func([]quality.ArticleLine) []quality.ArticleLine) (store.Saved, error) {
	s.t.Helper()
	s.Now = s.Now.Add(time.Second)
	f, err := s.DB.ArticleFormOf(s.t.Context(), s.Everyone, part, whole)
	if err != nil {
		return store.Saved{}, err
	}
	var lines []quality.ArticleLine
	for _, l := range f.Lines {
		line := quality.ArticleLine{Number: l.Number, Evidence: l.Found.Evidence}
		if line.Evidence == "" {
			line.Result, line.Device, line.Verdict = "9.1 mm", s.Gauge.Code, quality.Pass
		}
		lines = append(lines, line)
	}
	for _, c := range change {
		lines = c(lines)
	}
	return s.DB.Save(s.t.Context(), s.Everyone, store.Entry{RecordID: store.NewID(), Kind: quality.FirstArticle, Subject: store.Subject{Kind: quality.OnPart, ID: part},
		Check: quality.Check{Article: &quality.ArticleCheck{Full: whole, Lines: lines}}})
}

func (s *articleShop) read(number string) store.FirstArticle {
	s.t.Helper()
	f, err := s.DB.FirstArticleByNumber(s.t.Context(), s.Site.ID, number)
	if err != nil {
		s.t.Fatal(err)
	}
	return f
}

func (s *articleShop) approve(number string, who store.Actor) error {
	s.t.Helper()
	s.Now = s.Now.Add(time.Second)
	return s.DB.ApproveFirstArticle(s.t.Context(), who, number, s.read(number).RecordID.UUID, s.Proof(who))
}

// approved takes one part all the way to its approval as full or partial first article.
func (s *articleShop) approved(lot store.MaterialLot, whole bool) (uuid.UUID, store.FirstArticle) {
	s.t.Helper()
	part, article := s.throughWith(lot)
	if _, err := s.record(part, whole); err != nil {
		s.t.Fatal(err)
	}
	if err := s.approve(article.Number, s.approver); err != nil {
		s.t.Fatal(err)
	}
	return part, s.read(article.Number)
}

func (s *articleShop) due() string {
	s.t.Helper()
	due, err := s.DB.FirstArticlesDue(s.t.Context(), s.Site.ID)
	if err != nil {
		s.t.Fatal(err)
	}
	var words []string
	for _, d := range due {
		words = append(words, d.PartNumber+": "+store.TriggerWords(d.Triggers))
	}
	return strings.Join(words, " | ")
}

// verified fails when anything that was signed cannot be made again from what is stored.
func (s *articleShop) verified() {
	s.t.Helper()
	v, err := s.DB.Verify(s.t.Context(), s.Site, store.Trust{})
	if err != nil || len(v.Mismatches) > 0 {
		s.t.Errorf("verify: %v %v", v.Mismatches, err)
	}
}

func says(t *testing.T, err error, words ...string) {
	t.Helper()
	for _, w := range words {
		if err == nil || !strings.Contains(err.Error(), w) {
			t.Errorf("got %v, want “%s” in it", err, w)
		}
	}
}

// articleADay records a first article that nobody asked for, with a result as nasty as texts get.
func articleADay(t *testing.T, s *storetest.Shop) {
	t.Helper()
	part := s.Parts(1)[0]
	if _, err := s.DB.NameFirstArticle(t.Context(), s.Everyone, part); err != nil {
		t.Fatal(err)
	}
	saved, err := s.DB.Save(t.Context(), s.Everyone, store.Entry{RecordID: store.NewID(), Kind: quality.FirstArticle, Subject: store.Subject{Kind: quality.OnPart, ID: part},
		Check: quality.Check{Article: &quality.ArticleCheck{Full: true, Lines: []quality.ArticleLine{{Number: "1", Result: "=none, \"by eye\"\r\nµ", Device: "@loupe", Verdict: quality.Pass}}}}})
	if err != nil || saved.Judgement.Verdict != quality.Incomplete {
		t.Fatalf("%+v, %v", saved, err)
	}
}
