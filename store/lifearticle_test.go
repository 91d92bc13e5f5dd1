package store_test

import (
	"context"
	"fmt"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"coatbook/quality"
	"coatbook/store"
	"coatbook/store/storetest"
)

// askForEverything makes the number of a life follow a spec that asks for a panel test and a first article besides the rest.
// Articles stand for a part number, so each life has a number of its own.
func (l *life) askForEverything(ctx context.Context) error {
	l.spec.PanelTest = &quality.PanelSpec{Adhesion: &quality.AdhesionSpec{Method: "D3359B", Worst: "4B", Conditions: true}}
	l.spec.FirstArticle = &quality.FirstArticleSpec{}
	rev, err := l.DB.AddSpec(ctx, l.Everyone, "PC-F", "Railing, first articles and panels", "A", l.spec)
	if err != nil {
		return err
	}
	l.number.SpecID = rev.SpecID
	return l.DB.ApproveSpec(ctx, l.Everyone, rev.ID, l.Proof(l.Everyone))
}

// calibrate is a calibration of a gauge: it was right, it was wrong and is adjusted, or it does not say how sure it is.
func (l *life) calibrate(who hand, gauge uuid.UUID, outcome int) lifeAct {
	e := calibration(l.Shop, [3]string{"100.4", "109.0", "100.4"}[outcome], [3]string{"", "100.2", ""}[outcome])
	e.Subject.ID = gauge
	if outcome == lacks {
		e.Check.Ratings = nil
	}
	return lifeAct{fmt.Sprintf("%s calibrates a gauge %d", who.Name, outcome), func(ctx context.Context) error {
		_, err := l.DB.Save(ctx, who.Actor, e)
		return err
	}}
}

// gaugeStanding puts a gauge into use again, or marks it as failed.
func (l *life) gaugeStanding(who hand) lifeAct {
	gauge, to := rapid.SampledFrom(l.gauges).Draw(l.rt, "gauge"), rapid.SampledFrom([]string{"in_use", "in_use", "in_use", "failed"}).Draw(l.rt, "standing")
	return lifeAct{fmt.Sprintf("%s says that a gauge is %s", who.Name, to), func(ctx context.Context) error {
		_, err := l.DB.SetInstrumentStatus(ctx, who.Actor, gauge, to, "back from repair")
		return err
	}}
}

// lotStanding holds, rejects or accepts the powder of the life, and holds all, some or none of the parts that it is proposed for.
func (l *life) lotStanding(who hand) lifeAct {
	to := rapid.SampledFrom([]string{"accepted", "accepted", "held", "held", "held", "rejected"}).Draw(l.rt, "standing of the lot")
	share := rapid.IntRange(0, 3).Draw(l.rt, "parts held, of three")
	return lifeAct{fmt.Sprintf("%s says that the powder is %s", who.Name, to), func(ctx context.Context) error {
		var hold []uuid.UUID
		if to != "accepted" {
			touched, err := l.DB.PartsOfLot(ctx, l.Site.ID, l.Lot.ID)
			if err != nil {
				return err
			}
			for i, p := range touched {
				if p.InHouse() && p.Held == "" && i < share+1 && share > 0 {
					hold = append(hold, p.PartID)
				}
			}
		}
		_, err := l.DB.SetLotStatus(ctx, who.Actor, l.Lot.ID, to, "maker's letter of that day", hold...)
		return err
	}}
}

// coat coats a rack. With a lot that is barred somebody tries, takes it back into use, or has an exception allowed.
func (l *life) coat(ctx context.Context, who hand, rack uuid.UUID, outcome int) lifeAct {
	lot, err := l.DB.MaterialLot(ctx, l.Site.ID, l.Lot.ID)
	if err != nil {
		l.rt.Fatal(err)
	}
	if lot.Status != "accepted" {
		switch rapid.IntRange(0, 3).Draw(l.rt, "barred") {
		case 0:
			return l.allowed(who, rack)
		case 1:
			return lifeAct{"accept the powder", func(ctx context.Context) error {
				_, err := l.DB.SetLotStatus(ctx, who.Actor, l.Lot.ID, "accepted", "the maker took the letter back")
				return err
			}}
		}
	}
	return l.entry(who, quality.Coating, store.Subject{Kind: quality.OnRack, ID: rack}, outcome)
}

// allowed is a coating run with whatever lot there is, under an exception that another supervisor allows.
func (l *life) allowed(who hand, rack uuid.UUID) lifeAct {
	e := l.content(quality.Coating, store.Subject{Kind: quality.OnRack, ID: rack}, goes)
	e.Overrides = []store.Override{{Rule: store.RuleLotRejected, Reason: "maker's letter says it may be used up", By: l.people[1].Person, PIN: storetest.PIN}}
	return lifeAct{who.Name + " coats under an exception", func(ctx context.Context) error {
		_, err := l.DB.Save(ctx, who.Actor, e)
		return err
	}}
}

// panel tests a panel of a load, or puts one on it where there is none.
func (l *life) panel(ctx context.Context, who hand, load uuid.UUID, outcome int) lifeAct {
	panels := l.panelsOf(ctx, load)
	if len(panels) == 0 || len(panels) < 2 && rapid.IntRange(0, 3).Draw(l.rt, "another panel at 0") == 0 {
		l.panels++
		p := store.Panel{ID: store.NewID(), Code: fmt.Sprintf("WP-%d-%d", l.lives, l.panels), LoadID: uuid.NullUUID{UUID: load, Valid: true}, Alloy: "6060 T66", PretreatedWith: "with the rack", Position: "top"}
		return lifeAct{"add panel " + p.Code, func(ctx context.Context) error { return l.DB.AddPanel(ctx, who.Actor, p) }}
	}
	p := rapid.SampledFrom(panels).Draw(l.rt, "panel")
	return l.entry(who, quality.PanelTest, store.Subject{Kind: quality.OnPanel, ID: p.ID}, outcome)
}

func (l *life) panelsOf(ctx context.Context, load uuid.UUID) []store.Panel {
	panels, err := l.DB.PanelsOf(ctx, l.Site.ID, store.Subject{Kind: quality.OnLoad, ID: load})
	if err != nil {
		l.rt.Fatal(err)
	}
	return panels
}

// anyPanel tests a panel of any load of the life.
func (l *life) anyPanel(ctx context.Context, who hand) lifeAct {
	type id struct{ ID uuid.UUID }
	loads := rows[id](ctx, l, `SELECT DISTINCT lr.load_id FROM rack_part rp JOIN load_rack lr ON lr.site_id = rp.site_id AND lr.rack_id = rp.rack_id
		WHERE rp.site_id = $1 AND rp.part_id = ANY($2) AND $3::uuid[] IS NOT NULL ORDER BY 1`)
	if len(loads) == 0 {
		return lifeAct{}
	}
	return l.panel(ctx, who, rapid.SampledFrom(loads).Draw(l.rt, "load").ID, l.outcome())
}

// articles are the first articles of the life, the latest named last.
func (l *life) articles(ctx context.Context) (all []store.FirstArticle) {
	type named struct{ Number string }
	for _, n := range rows[named](ctx, l, `SELECT number FROM first_article WHERE site_id = $1 AND part_id = ANY($2) AND $3::uuid[] IS NOT NULL ORDER BY named_at, number`) {
		f, err := l.DB.FirstArticleByNumber(ctx, l.Site.ID, n.Number)
		if err != nil {
			l.rt.Fatal(err)
		}
		all = append(all, f)
	}
	return all
}

// articleStep does what a first article of the life waits for, or something that it does not.
func (l *life) articleStep(ctx context.Context, who hand) lifeAct {
	all := l.articles(ctx)
	if len(all) == 0 || rapid.IntRange(0, 7).Draw(l.rt, "names another at 0") == 0 {
		part := l.part()
		return lifeAct{"name " + l.serial[part], func(ctx context.Context) error {
			_, err := l.DB.NameFirstArticle(ctx, who.Actor, part)
			return err
		}}
	}
	f := all[len(all)-1]
	if rapid.IntRange(0, 3).Draw(l.rt, "an older one at 0") == 0 {
		f = rapid.SampledFrom(all).Draw(l.rt, "article")
	}
	does := map[string][]string{
		store.ArticleRecorded: {"approve", "approve", "approve", "approve", "decline", "decline", "record"}, store.ArticleDeclined: {"record", "record in part", "void the decline", "void the decline", "approve"},
		store.ArticleApproved: {"void the record", "void the record", "void the record", "decline", "record"}}[f.State()]
	if does == nil {
		does = []string{"record", "record", "record", "record", "record in part", "approve", "decline"}
	}
	act := rapid.SampledFrom(does).Draw(l.rt, "does with the article")
	if decides := act == "approve" || act == "decline" || act == "void the decline"; rapid.IntRange(0, 3).Draw(l.rt, "somebody at 0") > 0 {
		who = l.people[0] // one records, the other decides
		if decides {
			who = l.people[1]
		}
	}
	return l.articleAct(who, f, act)
}

func (l *life) articleAct(who hand, f store.FirstArticle, act string) lifeAct {
	whole := act != "record in part"
	id := store.NewID()
	return lifeAct{fmt.Sprintf("%s: %s %s", who.Name, act, f.Number), func(ctx context.Context) error {
		switch act {
		case "approve":
			return l.DB.ApproveFirstArticle(ctx, who.Actor, f.Number, f.RecordID.UUID, who.proof)
		case "decline":
			return l.DB.DeclineFirstArticle(ctx, who.Actor, f.Number, f.RecordID.UUID, "result", "not what the gauge says", who.proof)
		case "void the record":
			_, err := l.DB.Void(ctx, who.Actor, id, store.Correction{Of: f.RecordID.UUID, Code: "other", Text: "answered for another drawing"}, who.proof)
			return err
		case "void the decline":
			return l.DB.VoidDecline(ctx, who.Actor, f.Number, f.DeclineID.UUID, "looked at the wrong one", who.proof)
		}
		form, err := l.DB.ArticleFormOf(ctx, who.Actor, f.PartID, whole)
		if err != nil {
			return err
		}
		check := &quality.ArticleCheck{Full: whole}
		for _, line := range form.Lines {
			answer := quality.ArticleLine{Number: line.Number, Evidence: line.Found.Evidence}
			if answer.Evidence == "" {
				answer.Result, answer.Verdict = "seen by eye", quality.Pass
			}
			check.Lines = append(check.Lines, answer)
		}
		_, err = l.DB.Save(ctx, who.Actor, store.Entry{RecordID: id, Kind: quality.FirstArticle, Subject: store.Subject{Kind: quality.OnPart, ID: f.PartID}, Check: quality.Check{Article: check}})
		return err
	}}
}

// trouble is something that comes to light about what was done: a gauge was wrong, the powder is barred, a panel fails, the
// first article was answered wrongly.
func (l *life) trouble(ctx context.Context) lifeAct {
	who, gauge := l.people[0], rapid.SampledFrom(l.gauges).Draw(l.rt, "gauge")
	most := 2
	if l.full {
		most = 4
	}
	switch rapid.IntRange(0, most).Draw(l.rt, "trouble") {
	case 0:
		return l.entry(who, quality.Verification, store.Subject{Kind: quality.OnInstrument, ID: gauge}, fails)
	case 1:
		return l.calibrate(who, gauge, fails)
	case 2:
		return l.lotStanding(who)
	case 3:
		type id struct{ ID uuid.UUID }
		for _, p := range rows[id](ctx, l, `SELECT pl.panel_id FROM panel pl JOIN load_rack k ON k.site_id = $1 AND k.load_id = pl.load_id JOIN rack_part rp ON rp.site_id = $1 AND rp.rack_id = k.rack_id
			WHERE pl.site_id = $1 AND rp.part_id = ANY($2) AND $3::uuid[] IS NOT NULL ORDER BY pl.added_at DESC LIMIT 1`) {
			return l.entry(who, quality.PanelTest, store.Subject{Kind: quality.OnPanel, ID: p.ID}, fails)
		}
	case 4:
		for _, f := range l.articles(ctx) {
			if f.State() == store.ArticleApproved {
				return l.articleAct(who, f, "void the record")
			}
		}
	}
	return lifeAct{}
}

// seriesDue does what lets a series part be coated: the work on the first article, its record, and its approval by a second
// person. Without a do there is nothing to wait for.
func (l *life) seriesDue(ctx context.Context, part uuid.UUID) lifeAct {
	for _, f := range l.articles(ctx) {
		switch {
		case f.PartID == part && !store.Finished(f.PartStatus), f.State() == store.ArticleApproved:
			return lifeAct{}
		case store.Finished(f.PartStatus):
		case f.State() == store.ArticleRecorded:
			return l.articleAct(l.people[1], f, "approve")
		default:
			if !l.through(ctx, f.PartID) {
				if a := l.due(ctx, f.PartID, goes); a.do != nil {
					return a
				}
			}
			return l.articleAct(l.people[0], f, "record")
		}
	}
	return lifeAct{"name " + l.serial[part], func(ctx context.Context) error {
		_, err := l.DB.NameFirstArticle(ctx, l.people[0].Actor, part)
		return err
	}}
}

// through reports whether nothing more is asked of a part than its release.
func (l *life) through(ctx context.Context, part uuid.UUID) bool {
	type at struct{ Status string }
	for _, p := range rows[at](ctx, l, `SELECT status FROM part_status WHERE site_id = $1 AND part_id = ANY($2) AND $3::uuid[] IS NOT NULL AND part_id = '`+part.String()+`'`) {
		return p.Status == store.StatusAccepted || p.Status == store.StatusUnderConcession
	}
	return false
}

// bringSeries brings the first part as first article to its record, then the others behind it.
func (l *life) bringSeries(ctx context.Context, far int) {
	if far == 0 {
		return
	}
	l.must("name", func() error {
		_, err := l.DB.NameFirstArticle(ctx, l.people[0].Actor, l.parts[0])
		return err
	})
	l.bring(ctx, l.parts[:1], 2, false)
	l.must("record", l.articleAct(l.people[0], l.articles(ctx)[0], "record").bind(ctx))
	if far > 1 {
		l.must("approve", l.articleAct(l.people[1], l.articles(ctx)[0], "approve").bind(ctx))
		l.bring(ctx, l.parts[1:], far-rapid.IntRange(0, 1).Draw(l.rt, "series is behind"), false)
	}
}
