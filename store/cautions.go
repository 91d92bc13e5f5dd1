package store

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
)

// SheetMaxAge is after how many years a safety data sheet shows as old. Common practice; makers revise theirs when they
// learn of a hazard.
const SheetMaxAge = 5

// NeedsSheet reports whether a kind of material comes with a safety data sheet: whatever is sprayed, washed, tested or
// welded with. Aluminium and tape are articles.
func NeedsSheet(kind string) bool { return kind != Heat && kind != Tape }

// SheetStanding says how a material's safety data sheet stands on a day: ok, missing, old, or none where none is needed. A sheet
// in the book counts before the maker's link.
func (m Material) SheetStanding(day time.Time) string {
	switch issued := m.SheetIssued(); {
	case !NeedsSheet(m.Kind) || !m.Active:
		return "none"
	case !m.SheetFile.Valid && m.SheetLink == "" || m.SheetPaperAt == "":
		return "missing"
	case issued == nil || issued.AddDate(SheetMaxAge, 0, 0).Before(day):
		return "old"
	}
	return "ok"
}

// SheetIssued is the date of the sheet that counts: of the one in the book, else of the one behind the link. Nil where there is
// neither.
func (m Material) SheetIssued() *time.Time {
	if m.SheetFile.Valid {
		return m.SheetFileIssuedOn
	}
	return m.SheetIssuedOn
}

// A CautionRead says that a person read the caution of a hazard in a shift.
type CautionRead struct {
	Hazard   string    `db:"hazard"`
	Language string    `db:"language"`
	At       time.Time `db:"acknowledged_at"`
}

// CautionsRead returns the cautions that a person read in the shift that a time falls in.
func (db *DB) CautionsRead(ctx context.Context, st Site, person uuid.UUID, at time.Time) ([]CautionRead, error) {
	day, shift := st.ShopDay(at)
	return list[CautionRead](ctx, db.pool, `SELECT hazard, language, acknowledged_at FROM caution_acknowledgement
		WHERE site_id = @site AND person_id = @person AND shop_day = @day AND shift = @shift ORDER BY hazard`,
		sqlArgs{"site": st.ID, "person": person, "day": day, "shift": shift})
}

// ReadCautions stores that the actor read the cautions of hazards, once for each hazard and shift, and one event for those
// that are new. A time that is zero or has not come is now.
func (db *DB) ReadCautions(ctx context.Context, a Actor, hazards []string, language string, at time.Time) error {
	return db.inTx(ctx, a.Site, func(tx querier) error {
		st, err := site(ctx, tx, a.Site)
		if err != nil {
			return err
		}
		if at.IsZero() || at.After(db.Clock()) {
			at = db.Clock()
		}
		day, shift := st.ShopDay(at)
		added, err := column[string](ctx, tx, `INSERT INTO caution_acknowledgement (site_id, person_id, hazard, shop_day, shift, language, station_id, device_id, acknowledged_at)
			SELECT @site, @person, h, @day::date, @shift, @language, @station, @device, @at FROM (SELECT DISTINCT unnest(@hazards::text[]) AS h) AS named
			ON CONFLICT DO NOTHING RETURNING hazard`, sqlArgs{"site": a.Site, "person": a.Person, "day": day, "shift": shift, "language": language,
			"station": a.Station, "device": a.Device, "at": at, "hazards": hazards})
		if err != nil || len(added) == 0 {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "cautions read", SubjectKind: "person", Subject: a.Person,
			After: map[string]any{"hazards": added, "shift": shift, "shop_day": day.Format(time.DateOnly), "language": language}})
	})
}

// A CautionReview says who reviewed the texts of the cautions, and when.
type CautionReview struct {
	TextHash      string    `db:"text_hash"`
	Reviewer      string    `db:"reviewer"`
	Qualification string    `db:"qualification"`
	ReviewedOn    time.Time `db:"reviewed_on"`
	RecordedBy    string    `db:"recorded_by"`
}

// LastCautionReview returns the latest review. ErrNotFound if there is none.
func (db *DB) LastCautionReview(ctx context.Context, site uuid.UUID) (CautionReview, error) {
	return one[CautionReview](ctx, db.pool, `SELECT c.text_hash, c.reviewer, c.qualification, c.reviewed_on::timestamptz AS reviewed_on, p.name AS recorded_by
		FROM caution_review c JOIN person p ON p.site_id = c.site_id AND p.person_id = c.recorded_by
		WHERE c.site_id = @site ORDER BY c.recorded_at DESC LIMIT 1`, sqlArgs{"site": site})
}

// AddCautionReview records that a competent person reviewed the texts with this hash.
func (db *DB) AddCautionReview(ctx context.Context, a Actor, r CautionReview) error {
	st, err := site(ctx, db.pool, a.Site)
	if err != nil {
		return err
	}
	if r.ReviewedOn.Format(time.DateOnly) > db.Clock().In(st.Location()).Format(time.DateOnly) {
		return refuse(RuleFuture, "The day of the review has not come yet. Enter the day on which the texts were read.")
	}
	id := NewID()
	err = db.inTx(ctx, a.Site, func(tx querier) error {
		if err := run(ctx, tx, `INSERT INTO caution_review (site_id, review_id, text_hash, reviewer, qualification, reviewed_on, recorded_by, recorded_at)
			VALUES (@site, @id, @hash, @reviewer, @qualification, @on::date, @by, @at)`, sqlArgs{"site": a.Site, "id": id, "hash": r.TextHash,
			"reviewer": r.Reviewer, "qualification": r.Qualification, "on": r.ReviewedOn, "by": a.Person, "at": db.Clock()}); err != nil {
			return err
		}
		return db.event(ctx, tx, a, Event{Verb: "cautions reviewed", SubjectKind: "caution_review", Subject: id, After: r})
	})
	if err != nil {
		return fmt.Errorf("caution review: %w", err)
	}
	return nil
}
