package store

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
)

// An approvedArticle is one approval of a part number, as what it stands for.
type approvedArticle struct {
	quality.ApprovedArticle
	Number   string
	PartID   uuid.UUID
	Serial   string
	RecordID uuid.UUID
}

// lastRunSQL finds the last coating run of parts of a number (@number), going back from the newest run to @since. Parts
// named as first article are left out where @series is set.
const lastRunSQL = `SELECT c.record_id, c.rack_id, c.observed_at FROM record c WHERE c.site_id = @site AND c.kind = 'coating' AND c.verdict <> 'void' AND c.shop_day >= @since::date
	AND NOT EXISTS (SELECT 1 FROM record s WHERE s.site_id = c.site_id AND s.supersedes_id = c.record_id)
	AND EXISTS (SELECT 1 FROM rack_part rp JOIN part p ON p.site_id = rp.site_id AND p.part_id = rp.part_id
		WHERE rp.site_id = c.site_id AND rp.rack_id = c.rack_id AND p.part_number_id = @number
		AND NOT (@series AND EXISTS (SELECT 1 FROM first_article fa WHERE fa.site_id = rp.site_id AND fa.part_id = rp.part_id AND fa.cycle = rp.cycle)))
	ORDER BY c.shop_day DESC, c.observed_at DESC LIMIT 1`

// approvedArticles returns the approvals of a part number in their order, each with what it stands for and whether it still
// counts. The last series run is read only where the spec has a gap.
func (db *DB) approvedArticles(ctx context.Context, q querier, site, number uuid.UUID, spec quality.FirstArticleSpec) ([]approvedArticle, error) {
	type row struct {
		Number   string     `db:"number"`
		PartID   uuid.UUID  `db:"part_id"`
		Serial   string     `db:"serial"`
		RecordID uuid.UUID  `db:"record_id"`
		Whole    bool       `db:"whole"`
		At       time.Time  `db:"approved_at"`
		SpecID   uuid.UUID  `db:"spec_revision_id"`
		Spec     string     `db:"spec"`
		Drawing  int        `db:"drawing_revision"`
		PowderID *uuid.UUID `db:"powder_id"`
		Powder   string     `db:"powder"`
		BoothID  *uuid.UUID `db:"booth_id"`
		Booth    string     `db:"booth"`
		OvenID   *uuid.UUID `db:"oven_id"`
		Oven     string     `db:"oven"`
		Void     string     `db:"void"`
	}
	rows, err := list[row](ctx, q, `SELECT fa.number, fa.part_id, pa.serial, ap.record_id, sc.whole, ap.approved_at, ap.spec_revision_id, fs.code || ' rev ' || sr.revision AS spec, ap.drawing_revision,
			ap.powder_id, coalesce(m.name || ' (' || m.code || ')', '') AS powder, ap.booth_id, coalesce(bo.name, '') AS booth, ap.oven_id, coalesce(ov.name, '') AS oven, coalesce(v.void, '') AS void
		FROM first_article fa
		JOIN part pa ON pa.site_id = fa.site_id AND pa.part_id = fa.part_id
		JOIN first_article_approval ap ON ap.site_id = fa.site_id AND ap.article_id = fa.article_id
		JOIN first_article_scope sc ON sc.site_id = ap.site_id AND sc.record_id = ap.record_id
		JOIN finish_spec_revision sr ON sr.site_id = ap.site_id AND sr.revision_id = ap.spec_revision_id
		JOIN finish_spec fs ON fs.site_id = sr.site_id AND fs.spec_id = sr.spec_id
		LEFT JOIN material m ON m.site_id = ap.site_id AND m.material_id = ap.powder_id
		LEFT JOIN station bo ON bo.site_id = ap.site_id AND bo.station_id = ap.booth_id
		LEFT JOIN station ov ON ov.site_id = ap.site_id AND ov.station_id = ap.oven_id
		`+articleVoid+`WHERE fa.site_id = @site AND fa.part_number_id = @number ORDER BY ap.approved_at, ap.approval_id`, sqlArgs{"site": site, "number": number})
	if err != nil {
		return nil, fmt.Errorf("approved first articles: %w", err)
	}
	var last time.Time
	if spec.GapDays > 0 && len(rows) > 0 {
		if last, err = db.lastSeriesRun(ctx, q, site, number, spec.GapDays, rows[0].At); err != nil {
			return nil, err
		}
	}
	out := make([]approvedArticle, len(rows))
	for i, r := range rows {
		out[i] = approvedArticle{Number: r.Number, PartID: r.PartID, Serial: r.Serial, RecordID: r.RecordID, ApprovedArticle: quality.ApprovedArticle{Full: r.Whole, ApprovedAt: r.At,
			LastSeries: last, Void: r.Void, ArticleBasis: quality.ArticleBasis{Spec: quality.Named{ID: r.SpecID.String(), Name: r.Spec}, Drawing: drawingNamed(r.Drawing),
				Powder: named(r.PowderID, r.Powder), Booth: named(r.BoothID, r.Booth), Oven: named(r.OvenID, r.Oven)}}}
	}
	return out, nil
}

// lastSeriesRun returns when the last series part of a number was coated, zero if never. It looks at the days of the gap
// first, where a busy number is found at once.
func (db *DB) lastSeriesRun(ctx context.Context, q querier, site, number uuid.UUID, gapDays int, approved time.Time) (time.Time, error) {
	for _, since := range []time.Time{db.Clock().AddDate(0, 0, -gapDays-1), approved.AddDate(0, 0, -1)} {
		run, err := one[lastRun](ctx, q, lastRunSQL, sqlArgs{"site": site, "number": number, "since": since.Format(time.DateOnly), "series": true})
		if err == nil || !errors.Is(err, ErrNotFound) {
			return run.At, err
		}
	}
	return time.Time{}, nil
}

type lastRun struct {
	RecordID uuid.UUID `db:"record_id"`
	RackID   uuid.UUID `db:"rack_id"`
	At       time.Time `db:"observed_at"`
}

func named(id *uuid.UUID, name string) quality.Named {
	if id == nil {
		return quality.Named{}
	}
	return quality.Named{ID: id.String(), Name: name}
}

func drawingNamed(revision int) quality.Named {
	if revision == 0 {
		return quality.Named{}
	}
	return quality.Named{ID: strconv.Itoa(revision), Name: fmt.Sprintf("revision %d", revision)}
}

// A rackBasis is what was done to a rack: the powder, booth and oven, and the records that say so.
type rackBasis struct {
	Coating  *uuid.UUID `db:"coating_id"`
	PowderID *uuid.UUID `db:"powder_id"`
	Powder   string     `db:"powder"`
	BoothID  *uuid.UUID `db:"booth_id"`
	Booth    string     `db:"booth"`
	OvenID   *uuid.UUID `db:"oven_id"`
	Oven     string     `db:"oven"`
	Cure     *uuid.UUID `db:"cure_id"`
}

const rackBasisSQL = `SELECT c.record_id AS coating_id, m.material_id AS powder_id, coalesce(m.name || ' (' || m.code || ')', '') AS powder, bo.station_id AS booth_id, coalesce(bo.name, '') AS booth,
		ov.station_id AS oven_id, coalesce(ov.name, '') AS oven, cu.record_id AS cure_id
	FROM rack k
	LEFT JOIN load_rack lr ON lr.site_id = k.site_id AND lr.rack_id = k.rack_id
	LEFT JOIN oven_load o ON o.site_id = lr.site_id AND o.load_id = lr.load_id
	LEFT JOIN station ov ON ov.site_id = o.site_id AND ov.station_id = o.oven_id
	LEFT JOIN LATERAL (SELECT r.record_id FROM record r WHERE r.site_id = k.site_id AND r.rack_id = k.rack_id AND r.kind = 'coating' AND r.verdict <> 'void'
		AND NOT EXISTS (SELECT 1 FROM record s WHERE s.site_id = r.site_id AND s.supersedes_id = r.record_id) ORDER BY r.observed_at DESC LIMIT 1) c ON true
	LEFT JOIN LATERAL (SELECT r.record_id FROM record r WHERE r.site_id = o.site_id AND r.load_id = o.load_id AND r.kind = 'cure' AND r.verdict <> 'void'
		AND NOT EXISTS (SELECT 1 FROM record s WHERE s.site_id = r.site_id AND s.supersedes_id = r.record_id) ORDER BY r.observed_at DESC LIMIT 1) cu ON true
	LEFT JOIN LATERAL (SELECT l.material_id FROM record_use u JOIN material_lot l ON l.site_id = u.site_id AND l.lot_id = u.lot_id
		WHERE u.site_id = k.site_id AND u.record_id = c.record_id AND u.role = 'powder' LIMIT 1) p ON true
	LEFT JOIN LATERAL (SELECT u.station_id FROM record_use u WHERE u.site_id = k.site_id AND u.record_id = c.record_id AND u.role = 'booth' LIMIT 1) b ON true
	LEFT JOIN material m ON m.site_id = k.site_id AND m.material_id = p.material_id
	LEFT JOIN station bo ON bo.site_id = k.site_id AND bo.station_id = b.station_id
	WHERE k.site_id = @site AND k.rack_id = @rack`

// basisOfRack reads what was done to a rack; nothing of it is known for a rack without an id.
func basisOfRack(ctx context.Context, q querier, site uuid.UUID, rack uuid.NullUUID) (rackBasis, error) {
	if !rack.Valid {
		return rackBasis{}, nil
	}
	return one[rackBasis](ctx, q, rackBasisSQL, sqlArgs{"site": site, "rack": rack.UUID})
}

func (b rackBasis) basis() quality.ArticleBasis {
	return quality.ArticleBasis{Powder: named(b.PowderID, b.Powder), Booth: named(b.BoothID, b.Booth), Oven: named(b.OvenID, b.Oven)}
}

// specNamed is a spec revision as an article compares it.
func specNamed(r SpecHead) quality.Named {
	return quality.Named{ID: r.ID.String(), Name: r.Code + " rev " + r.Revision}
}

// checkArticle refuses a run of series parts that wait for a first article; what the spec does not ask for costs nothing.
func (db *DB) checkArticle(ctx context.Context, q querier, a Actor, e *Entry, w *work) error {
	if w.spec.FirstArticle == nil || e.correction != nil {
		return nil
	}
	var want quality.ArticleBasis
	if e.Kind == quality.Coating {
		type row struct {
			PowderID *uuid.UUID `db:"powder_id"`
			Powder   string     `db:"powder"`
			BoothID  *uuid.UUID `db:"booth_id"`
			Booth    string     `db:"booth"`
		}
		r, err := one[row](ctx, q, `SELECT (SELECT l.material_id FROM material_lot l WHERE l.site_id = @site AND l.lot_id = @lot) AS powder_id,
			coalesce((SELECT m.name || ' (' || m.code || ')' FROM material_lot l JOIN material m ON m.site_id = l.site_id AND m.material_id = l.material_id WHERE l.site_id = @site AND l.lot_id = @lot), '') AS powder,
			(SELECT s.station_id FROM station s WHERE s.site_id = @site AND s.station_id = @booth) AS booth_id,
			coalesce((SELECT s.name FROM station s WHERE s.site_id = @site AND s.station_id = @booth), '') AS booth`,
			sqlArgs{"site": a.Site, "lot": e.use("powder"), "booth": e.use("booth")})
		if err != nil {
			return fmt.Errorf("what the run is made with: %w", err)
		}
		want.Powder, want.Booth = named(r.PowderID, r.Powder), named(r.BoothID, r.Booth)
	} else {
		b, err := basisOfRack(ctx, q, a.Site, w.parts[0].RackID)
		if err != nil {
			return err
		}
		want = b.basis()
	}
	r, err := db.seriesWaits(ctx, q, a.Site, w.parts, w.revision, *w.spec.FirstArticle, want)
	if err != nil || r == nil {
		return err
	}
	// A load that was charged before the approval became void has been in the oven; a supervisor lets its record in.
	r.MayOverride = e.Kind == quality.Cure
	w.refusals = append(w.refusals, r)
	return nil
}

// seriesWaits returns why parts that are not named as first articles wait for one, with the way out, or nil.
func (db *DB) seriesWaits(ctx context.Context, q querier, site uuid.UUID, parts []*standing, rev SpecHead, spec quality.FirstArticleSpec, want quality.ArticleBasis) (*Refusal, error) {
	named, err := namedArticles(ctx, q, site, parts)
	if err != nil {
		return nil, err
	}
	want.Spec = specNamed(rev)
	seen := map[uuid.UUID]bool{}
	for _, s := range parts {
		if slices.Contains(named, s.PartID) || seen[s.PartNumberID] {
			continue
		}
		seen[s.PartNumberID] = true
		triggers, _, err := db.articleDue(ctx, q, site, s.PartNumberID, spec, want)
		if err != nil {
			return nil, err
		}
		if len(triggers) > 0 {
			return db.waitsFor(ctx, q, site, s, triggers)
		}
	}
	return nil, nil
}

// namedArticles returns those of the parts that are named as first article in their present cycle.
func namedArticles(ctx context.Context, q querier, site uuid.UUID, parts []*standing) ([]uuid.UUID, error) {
	ids, cycles := make([]uuid.UUID, len(parts)), make([]int, len(parts))
	for i, s := range parts {
		ids[i], cycles[i] = s.PartID, s.Cycle
	}
	named, err := column[uuid.UUID](ctx, q, `SELECT fa.part_id FROM first_article fa JOIN unnest(@parts::uuid[], @cycles::int[]) AS n(part_id, cycle) ON n.part_id = fa.part_id AND n.cycle = fa.cycle
		WHERE fa.site_id = @site AND fa.part_id = ANY(@parts)`, sqlArgs{"site": site, "parts": ids, "cycles": cycles})
	if err != nil {
		return nil, fmt.Errorf("parts named as first article: %w", err)
	}
	return named, nil
}

// articleDue returns why a part number needs a first article for what is wanted, and its approved ones.
func (db *DB) articleDue(ctx context.Context, q querier, site, number uuid.UUID, spec quality.FirstArticleSpec, want quality.ArticleBasis) ([]quality.Trigger, []approvedArticle, error) {
	approved, err := db.approvedArticles(ctx, q, site, number, spec)
	if err != nil {
		return nil, nil, err
	}
	l, err := drawingListOf(ctx, q, site, number)
	if err != nil {
		return nil, nil, err
	}
	want.Drawing = drawingNamed(l.Revision)
	return spec.ArticleTriggers(want, plain(approved), db.Clock()), approved, nil
}

func plain(approved []approvedArticle) []quality.ApprovedArticle {
	out := make([]quality.ApprovedArticle, len(approved))
	for i, a := range approved {
		out[i] = a.ApprovedArticle
	}
	return out
}

// waitsFor words the refusal of series work on a part, with what leads out of it.
func (db *DB) waitsFor(ctx context.Context, q querier, site uuid.UUID, s *standing, triggers []quality.Trigger) (*Refusal, error) {
	code, err := value[string](ctx, q, `SELECT code FROM part_number WHERE site_id = @site AND part_number_id = @number`, sqlArgs{"site": site, "number": s.PartNumberID})
	if err != nil {
		return nil, err
	}
	way, err := articleWay(ctx, q, site, s)
	if err != nil {
		return nil, err
	}
	return refuse(RuleFirstArticle, fmt.Sprintf("A first article of %s is due (%s), so series parts such as %s wait. %s", code, TriggerWords(triggers), s.Serial, way)), nil
}

// articleNext says what leads on from a first article that is not approved.
var articleNext = map[string]string{ArticleNamed: "take it through alone, record its first article and have it approved", ArticleIncomplete: "answer the lines that are open and have it approved",
	ArticleFailed: "a requirement failed; name and record another part", ArticleRecorded: "have it approved", ArticleVoid: "record it anew and have it approved"}

// TriggerWords are triggers in one line.
func TriggerWords(triggers []quality.Trigger) string {
	words := make([]string, len(triggers))
	for i, t := range triggers {
		words[i] = t.Text
	}
	return strings.Join(words, "; ")
}

// openArticle returns the latest first article of a part number that is not approved and not dropped, or nil. One on a part
// that is finished, declined or with a void approval, says so until another is approved.
func openArticle(ctx context.Context, q querier, site, number uuid.UUID) (*FirstArticle, error) {
	all, err := list[FirstArticle](ctx, q, firstArticleSQL+` AND fa.part_number_id = @number ORDER BY fa.named_at DESC LIMIT 20`, sqlArgs{"site": site, "number": number})
	if err != nil {
		return nil, err
	}
	approved := false
	for _, f := range all {
		switch s := f.State(); {
		case s == ArticleApproved:
			approved = true
		case s == ArticleDropped || finished[f.PartStatus] && approved:
		default:
			return &f, nil
		}
	}
	return nil, nil
}

// An ArticleDue is a part number with parts in work that wait for a first article.
type ArticleDue struct {
	PartNumber, PartName string
	Triggers             []quality.Trigger
	// Open is the first article that is under way, nil when no part is named.
	Open *FirstArticle
}

// FirstArticlesDue returns the part numbers with parts in work whose series waits for a first article, judged by the last
// run of each. A site whose specs do not ask for first articles is answered with one small query.
func (db *DB) FirstArticlesDue(ctx context.Context, site uuid.UUID) ([]ArticleDue, error) {
	type row struct {
		ID   uuid.UUID `db:"part_number_id"`
		Code string    `db:"code"`
		Name string    `db:"name"`
		Spec uuid.UUID `db:"spec_id"`
	}
	rows, err := list[row](ctx, db.pool, `SELECT pn.part_number_id, pn.code, pn.name, pn.spec_id FROM part_number pn
		WHERE pn.site_id = @site AND pn.active AND EXISTS (SELECT 1 FROM finish_spec_revision r WHERE r.site_id = pn.site_id AND r.spec_id = pn.spec_id AND r.effective_at <= @now
			AND (r.obsolete_at IS NULL OR r.obsolete_at > @now) AND r.body ? 'first_article')
		AND EXISTS (SELECT 1 FROM part p JOIN part_status ps ON ps.site_id = p.site_id AND ps.part_id = p.part_id
			WHERE p.site_id = pn.site_id AND p.part_number_id = pn.part_number_id AND ps.status IN ('open', 'in_progress', 'on_hold'))
		ORDER BY pn.code`, sqlArgs{"site": site, "now": db.Clock()})
	if err != nil {
		return nil, fmt.Errorf("part numbers that ask for first articles: %w", err)
	}
	var due []ArticleDue
	for _, r := range rows {
		rev, spec, err := db.approvedSpec(ctx, db.pool, site, r.Spec, db.Clock())
		if err != nil {
			return nil, err
		}
		if spec.FirstArticle == nil {
			continue
		}
		var want quality.ArticleBasis
		run, err := one[lastRun](ctx, db.pool, lastRunSQL, sqlArgs{"site": site, "number": r.ID, "since": "-infinity", "series": false})
		if err == nil {
			b, err := basisOfRack(ctx, db.pool, site, null(run.RackID))
			if err != nil {
				return nil, err
			}
			want = b.basis()
		} else if !errors.Is(err, ErrNotFound) {
			return nil, err
		}
		want.Spec = specNamed(rev)
		triggers, _, err := db.articleDue(ctx, db.pool, site, r.ID, *spec.FirstArticle, want)
		if err != nil {
			return nil, err
		}
		if len(triggers) == 0 {
			continue
		}
		d := ArticleDue{PartNumber: r.Code, PartName: r.Name, Triggers: triggers}
		if d.Open, err = openArticle(ctx, db.pool, site, r.ID); err != nil {
			return nil, err
		}
		due = append(due, d)
	}
	return due, nil
}
