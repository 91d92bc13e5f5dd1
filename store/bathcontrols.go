package store

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"coatbook/quality"
)

// A BathControl is one thing that is watched in a bath, how often, and where the limits come from.
type BathControl struct {
	quality.BathControl
	Rhythm     string // a code of Rhythms
	EveryHours float64
	Source     string
	Active     bool
	SetBy      string
	SetAt      time.Time
}

// Rhythms are how often a control may be asked for, in the order of the screens: every so many hours of work, in each shift,
// once in 24 hours of work, once in seven days.
var Rhythms = []string{"hours", "shift", "day", "week"}

type controlRow struct {
	BathID         uuid.UUID `db:"bath_id"`
	Characteristic string    `db:"characteristic"`
	Method         string    `db:"method"`
	Unit           string    `db:"unit"`
	Nominal        *float64  `db:"nominal"`
	Minimum        *float64  `db:"minimum"`
	Maximum        *float64  `db:"maximum"`
	Factor         float64   `db:"factor"`
	Normality      float64   `db:"normality"`
	Equivalent     float64   `db:"equivalent_weight"`
	SampleML       float64   `db:"sample_ml"`
	ReferenceC     float64   `db:"reference_c"`
	PerDegree      float64   `db:"per_degree"`
	Rhythm         string    `db:"rhythm"`
	EveryHours     float64   `db:"every_hours"`
	Source         string    `db:"source"`
	Active         bool      `db:"active"`
	SetBy          string    `db:"set_by"`
	SetAt          time.Time `db:"set_at"`
}

func (r controlRow) control() BathControl {
	unit := quality.Unit(r.Unit)
	c := BathControl{BathControl: quality.BathControl{Characteristic: r.Characteristic, Method: quality.BathMethod(r.Method), Unit: unit, Nominal: r.Nominal, Factor: r.Factor, Normality: r.Normality,
		EquivalentWeight: r.Equivalent, SampleML: r.SampleML, ReferenceC: r.ReferenceC, PerDegree: r.PerDegree},
		Rhythm: r.Rhythm, EveryHours: r.EveryHours, Source: r.Source, Active: r.Active, SetBy: r.SetBy, SetAt: r.SetAt}
	if r.Minimum != nil {
		c.Limits.Low = &quality.Limit{Value: *r.Minimum, Unit: unit}
	}
	if r.Maximum != nil {
		c.Limits.High = &quality.Limit{Value: *r.Maximum, Unit: unit}
	}
	return c
}

const selectControl = `SELECT c.bath_id, c.characteristic, c.method, c.unit, c.nominal, c.minimum, c.maximum, coalesce(c.factor, 0) AS factor, coalesce(c.normality, 0) AS normality,
	coalesce(c.equivalent_weight, 0) AS equivalent_weight, coalesce(c.sample_ml, 0) AS sample_ml, coalesce(c.reference_c, 0) AS reference_c, coalesce(c.per_degree, 0) AS per_degree,
	c.rhythm, coalesce(c.every_hours, 0) AS every_hours, c.source, c.active, p.name AS set_by, c.set_at
	FROM bath_control c JOIN person p ON p.site_id = c.site_id AND p.person_id = c.set_by WHERE c.site_id = @site `

// controlsAt returns what is watched in each bath at an instant, in the order of quality.BathControlled.
func controlsAt(ctx context.Context, q querier, site uuid.UUID, at time.Time) (map[uuid.UUID][]BathControl, error) {
	rows, err := list[controlRow](ctx, q, selectControl+`AND c.control_id IN (SELECT DISTINCT ON (bath_id, characteristic) control_id FROM bath_control
		WHERE site_id = @site AND set_at <= @at ORDER BY bath_id, characteristic, set_at DESC, control_id DESC) AND c.active`, sqlArgs{"site": site, "at": at})
	if err != nil {
		return nil, fmt.Errorf("controls of the baths: %w", err)
	}
	controls := map[uuid.UUID][]BathControl{}
	for _, r := range rows {
		controls[r.BathID] = append(controls[r.BathID], r.control())
	}
	for _, list := range controls {
		slices.SortFunc(list, func(a, b BathControl) int {
			return slices.Index(quality.BathControlled, a.Characteristic) - slices.Index(quality.BathControlled, b.Characteristic)
		})
	}
	return controls, nil
}

// ControlHistory returns every setting of a bath's controls, the newest first.
func (db *DB) ControlHistory(ctx context.Context, site, bath uuid.UUID) ([]BathControl, error) {
	rows, err := list[controlRow](ctx, db.pool, selectControl+`AND c.bath_id = @bath ORDER BY c.set_at DESC, c.control_id DESC`, sqlArgs{"site": site, "bath": bath})
	if err != nil {
		return nil, fmt.Errorf("controls of bath %s: %w", bath, err)
	}
	history := make([]BathControl, len(rows))
	for i, r := range rows {
		history[i] = r.control()
	}
	return history, nil
}

// SetBathControl sets how something is watched in a bath from now on, or with Active false that it is no longer. Records made
// before keep the limits they were judged by.
func (db *DB) SetBathControl(ctx context.Context, a Actor, bath uuid.UUID, c BathControl) error {
	if says := c.Validate(); len(says) > 0 {
		return refuse(RuleInvalid, says[0])
	}
	end := func(l *quality.Limit) *float64 {
		if l == nil {
			return nil
		}
		return &l.Value
	}
	used := func(v float64, methods ...quality.BathMethod) *float64 {
		if !slices.Contains(methods, c.Method) {
			return nil
		}
		return &v
	}
	args := sqlArgs{"site": a.Site, "id": NewID(), "bath": bath, "characteristic": c.Characteristic, "method": string(c.Method), "unit": string(c.Unit), "nominal": c.Nominal,
		"minimum": end(c.Limits.Low), "maximum": end(c.Limits.High), "factor": used(c.Factor, quality.TitrateFactor), "normality": used(c.Normality, quality.TitrateNormality, quality.TitrateTwice),
		"equivalent": used(c.EquivalentWeight, quality.TitrateNormality), "sample": used(c.SampleML, quality.TitrateNormality, quality.TitrateTwice),
		"reference": c.ReferenceC, "per_degree": used(c.PerDegree, quality.CorrectedToTemp), "rhythm": c.Rhythm, "every": nil, "source": c.Source, "active": c.Active, "by": a.Person, "at": db.Clock()}
	if c.Rhythm == "hours" {
		args["every"] = c.EveryHours
	}
	return db.inTx(ctx, a.Site, func(tx querier) error {
		if err := run(ctx, tx, `INSERT INTO bath_control (site_id, control_id, bath_id, characteristic, method, unit, nominal, minimum, maximum, factor, normality, equivalent_weight, sample_ml,
				reference_c, per_degree, rhythm, every_hours, source, active, set_by, set_at)
			VALUES (@site, @id, @bath, @characteristic, @method, @unit, @nominal, @minimum, @maximum, @factor, @normality, @equivalent, @sample, @reference, @per_degree, @rhythm, @every,
				@source, @active, @by, @at)`, args); err != nil {
			return err
		}
		verb := "bath control set"
		if !c.Active {
			verb = "bath control ended"
		}
		c.SetBy, c.SetAt = a.Name, db.Clock()
		return db.event(ctx, tx, a, Event{Verb: verb, SubjectKind: "bath", Subject: bath, After: c})
	})
}
